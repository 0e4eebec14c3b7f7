"""Rows of one order: amounts shared among its items, and a name for every item."""

from __future__ import annotations

import hashlib
from base64 import b32encode
from collections import Counter
from decimal import Decimal

import numpy as np

from flipkit.books.exports.layout import Left
from flipkit.books.exports.taken import Taken
from flipkit.imports.mapping import Mapping
from flipkit.money import share_out_groups

#: What a row of items is known by when nothing in the export names it.
_IDENTITY = ("order_id", "title", "bought_on", "cost", "quantity", "sold_on", "sold_price")


def share_orders(taken: Taken, mapping: Mapping) -> None:
    """Share the amounts of an order among its items, so that not a cent is lost or invented.

    Parameters
    ----------
    taken : Taken
        The rows; amounts that belong to an order are shared by sold price in place.
    mapping : Mapping
        Which columns belong to an order.
    """
    shared = [name for name, source in mapping.columns.items() if source.per_order]
    if not shared or "order_id" not in taken.columns:
        return
    order_at = taken.columns.index("order_id")
    title_at = taken.columns.index("title") if "title" in taken.columns else -1
    price_at = taken.columns.index("sold_price") if "sold_price" in taken.columns else -1
    groups: dict[str, list[int]] = {}
    for place, row in enumerate(taken.rows):
        groups.setdefault(row[order_at] or f"\0{place}", []).append(place)
    bad: dict[int, str] = {}
    heads: dict[int, str] = {}
    for order, places in groups.items():
        lines = [place for place in places if title_at < 0 or taken.rows[place][title_at]]
        if not lines:
            bad.update(dict.fromkeys(places, "no title"))
            continue
        amounts: dict[str, str] = {}
        for name in shared:
            at = taken.columns.index(name)
            said = {taken.rows[place][at] for place in places} - {""}
            if len(said) > 1:
                shown = " and ".join(sorted(said)[:3])
                reason = f"{name} differs between the lines of order {order}: {shown}"
                bad.update(dict.fromkeys(places, reason))
            amounts[name] = said.pop() if len(said) == 1 else ""
        if places[0] in bad:
            continue
        for place in places:
            if place not in lines:
                heads[place] = f"its amounts went to the items of order {order}"
        if len(lines) > 1 or len(places) > 1:
            prices = [_cents(taken.rows[place][price_at]) if price_at >= 0 else 0 for place in lines]
            for name, text in amounts.items():
                at = taken.columns.index(name)
                shares = _shared(_cents(text), prices) if text else [""] * len(lines)
                for place, share in zip(lines, shares, strict=True):
                    taken.rows[place][at] = share
    for place, reason in heads.items():
        taken.joined.append(Left(taken.origins[place], reason, []))
    taken.drop(bad, silently=set(heads))


def _cents(text: str) -> int:
    return int(Decimal(text or "0") * 100)


def _shared(total: int, weights: list[int]) -> list[str]:
    shares = share_out_groups([total], np.zeros(len(weights), dtype=np.int64), weights)
    return [f"{Decimal(int(share)) / 100:.2f}" for share in shares]


def name_rows(taken: Taken, mapping: Mapping) -> None:
    """Give every row a name: its own, its place in its order, or one made from what it says.

    A made name depends on the row alone, so that the same row has it in every later export; rows
    that say the same are counted, so that separate things keep separate names.

    Parameters
    ----------
    taken : Taken
        The rows; named in place.
    mapping : Mapping
        Where their columns come from.
    """
    key = {"items": "item_id", "trips": "trip_id", "lots": "lot_id"}[mapping.table]
    if key in taken.columns:
        at = taken.columns.index(key)
        taken.named = all(row[at] for row in taken.rows)
        if taken.named:
            return
    else:
        taken.columns.insert(0, key)
        for row in taken.rows:
            row.insert(0, "")
        at = 0
    order_at = taken.columns.index("order_id") if "order_id" in taken.columns else -1
    fixed = {name for name, source in mapping.columns.items() if source.value}
    parts = [taken.columns.index(name) for name in _IDENTITY if name in taken.columns and name not in fixed]
    if mapping.table == "items" and "bought_on" in mapping.columns and "bought_on" not in fixed:
        parts = [place for place in parts if taken.columns[place] not in ("sold_on", "sold_price")]
    if mapping.table != "items":
        parts = [place for place in range(len(taken.columns)) if place != at]
    seen: Counter[str] = Counter()
    for row in taken.rows:
        if row[at]:
            continue
        if order_at >= 0 and row[order_at]:
            stem = row[order_at]
        else:
            said = "\x1f".join(row[place] for place in parts)
            stem = b32encode(hashlib.blake2b(said.encode(), digest_size=7).digest()).decode().lower().rstrip("=")[:11]
        seen[stem] += 1
        row[at] = f"{stem}-{seen[stem]}"
