"""Rows of an export turned into rows of the books' tables."""

from __future__ import annotations

import hashlib
from base64 import b32encode
from collections import Counter
from collections.abc import Sequence
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from flipkit.books.cells import InvalidCell, Units
from flipkit.imports import match as import_match
from flipkit.imports.cells import ColumnReader
from flipkit.imports.join import AcceptedRow, Cell
from flipkit.imports.mapping import Mapping
from flipkit.imports.sheets import SkippedRow, SortedBlock
from flipkit.money import share_out_groups

if TYPE_CHECKING:
    from flipkit.imports.detect import Proposal

# Rows of one order: amounts shared among its items, and a name for every item.

#: What a row of items is known by when nothing in the export names it.
_IDENTITY = ("order_id", "title", "bought_on", "cost", "quantity", "sold_on", "sold_price")


def share_orders(taken: AcceptedRow, mapping: Mapping) -> None:
    """Share the amounts of an order among its items, so that not a cent is lost or invented."""
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
        taken.joined.append(SkippedRow(taken.origins[place], reason, []))
    taken.drop(bad, silently=set(heads))


def _cents(text: str) -> int:
    return int(Decimal(text or "0") * 100)


def _shared(total: int, weights: list[int]) -> list[str]:
    shares = share_out_groups([total], np.zeros(len(weights), dtype=np.int64), weights)
    return [f"{Decimal(int(share)) / 100:.2f}" for share in shares]


def join_refunds(taken: AcceptedRow) -> None:
    """Money given back, a row with a negative price, put to the sale of the same order."""
    at = {name: taken.columns.index(name) for name in taken.columns}
    price = at["sold_price"]
    back = [place for place, row in enumerate(taken.rows) if row[price].startswith("-")]
    if not back:
        return
    if "refund" not in at:
        at["refund"] = len(taken.columns)
        taken.columns.append("refund")
        for row in taken.rows:
            row.append("")
    sales: dict[tuple[str, str], list[int]] = {}
    for place, row in enumerate(taken.rows):
        for name in ("item_id", "order_id", "title") if not row[price].startswith("-") else ():
            if name in at and row[at[name]]:
                sales.setdefault((name, row[at[name]]), []).append(place)
                if name == "order_id" and "title" in at:
                    sales.setdefault(("line", f"{row[at[name]]}\0{row[at['title']]}"), []).append(place)
    bad: dict[int, str] = {}
    joined: set[int] = set()
    for place in back:
        row = taken.rows[place]
        cell = {name: row[at[name]] for name in ("item_id", "order_id", "title") if name in at}
        ways = [("line", f"{cell.get('order_id', '')}\0{cell.get('title', '')}")]
        ways += [(name, cell.get(name, "")) for name in ("order_id", "item_id")]
        ways += [("title", cell.get("title", ""))] if not (cell.get("order_id") or cell.get("item_id")) else []
        fits = next((sales[way] for way in ways if len(sales.get(way, ())) == 1), None)
        if fits is None:
            bad[place] = "money given back, and no one sale in this file is of the same order"
            continue
        sale = taken.rows[fits[0]]
        given = -sum(
            _cents(row[at[name]]) for name in ("sold_price", "shipping_charged") if name in at and row[at[name]]
        )
        sale[at["refund"]] = f"{Decimal(_cents(sale[at['refund']]) + given) / 100:.2f}"
        if "fees_paid" in at and sale[at["fees_paid"]] and row[at["fees_paid"]].startswith("-"):
            fees = _cents(sale[at["fees_paid"]]) + _cents(row[at["fees_paid"]])
            sale[at["fees_paid"]] = f"{Decimal(fees) / 100:.2f}"
        joined.add(place)
        taken.joined.append(SkippedRow(taken.origins[place], f"money given back: to row {taken.origins[fits[0]]}", []))
    taken.drop(bad, silently=joined)


def name_rows(taken: AcceptedRow, mapping: Mapping) -> None:
    """Give every row a name: its own, its place in its order, or one made from what it says.

    A made name depends on the row alone, so that the same row has it in every later export; rows
    that say the same are counted, so that separate things keep separate names.
    """
    key = {"items": "item_id", "trips": "trip_id", "lots": "lot_id"}[mapping.table]
    if key in taken.columns:
        at = taken.columns.index(key)
        taken.named = True
        if mapping.rows.ids == "separate":
            again: Counter[str] = Counter()
            for row in taken.rows:
                again[row[at]] += 1
                row[at] += f"-{again[row[at]]}" if again[row[at]] > 1 and row[at] else ""
        if all(row[at] for row in taken.rows):
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
    if mapping.rows.named_by:
        parts = [taken.columns.index(name) for name in mapping.rows.named_by]
    taken.named_by = tuple(taken.columns[place] for place in parts)
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


def name_orders(taken: AcceptedRow) -> None:
    """Say that a line of several like things sold them together, where the export names no order.

    The books split such a row into items, and ask about a sale that does not say how many it sold.
    """
    if not {"quantity", "sold_on", "item_id"} <= set(taken.columns):
        return
    count_at, sold_at, id_at = (taken.columns.index(name) for name in ("quantity", "sold_on", "item_id"))
    several = [row for row in taken.rows if row[sold_at] and row[count_at] not in ("", "1")]
    if several and "order_id" not in taken.columns:
        taken.columns.append("order_id")
        for row in taken.rows:
            row.append("")
    for row in several:
        order_at = taken.columns.index("order_id")
        row[order_at] = row[order_at] or row[id_at]


# Rows of an export turned into rows of a table: every one taken or refused with its reasons.


def taken_rows(proposal: Proposal, *, units: Units) -> AcceptedRow:
    """Turn the rows of an export into rows of its table."""
    layout, mapping = proposal.layout, proposal.mapping
    assert layout is not None  # noqa: S101 - a proposal without questions has a layout
    columns = list(mapping.columns)
    taken = AcceptedRow(columns)
    readers = [ColumnReader(name, source, mapping, layout, units) for name, source in mapping.columns.items()]
    unsold = [(layout.headers.index(header), set(words)) for header, words in mapping.rows.unsold.items()]
    totals = {total.row for total in layout.totals} if mapping.rows.totals != "keep" else set()
    skip = [(layout.headers.index(header), set(texts)) for header, texts in mapping.rows.skip.items() if texts]
    keep = [(layout.headers.index(h), h, texts) for h, texts in mapping.rows.keep.items() if texts and "*" not in texts]
    seen: dict[int, int] = {}
    for block in layout.sorted_blocks(proposal.export, once=True):
        taken.refused += block.left
        numbers, rows = block.numbers, block.rows
        if totals or skip or keep or mapping.rows.duplicates == "once":
            once = mapping.rows.duplicates == "once"
            numbers, rows = _counted(block, totals, skip, keep, seen, once=once, taken=taken)
        if rows:
            _take(numbers, rows, readers, mapping, taken, unsold)
    if mapping.rows.refunds == "join":
        join_refunds(taken)
    share_orders(taken, mapping)
    if mapping.table in ("items", "trips", "lots"):
        name_rows(taken, mapping)
    if mapping.table == "items":
        name_orders(taken)
    return taken


def _counted(
    block: SortedBlock,
    totals: set[int],
    skip: list[tuple[int, set[str]]],
    keep: list[tuple[int, str, tuple[str, ...]]],
    seen: dict[int, int],
    *,
    once: bool,
    taken: AcceptedRow,
) -> tuple[Sequence[int], list[list[str]]]:
    """The rows of a block that count, the others refused with their reason."""
    numbers: list[int] = []
    rows: list[list[str]] = []
    for number, cells in zip(block.numbers, block.rows, strict=True):
        reason = "a row that adds up others" if number in totals else ""
        if not reason and skip:
            hit = next((cells[at] for at, texts in skip if cells[at] in texts), None)
            reason = f"left out as you said: {hit}" if hit is not None else ""
        for at, header, texts in keep if not reason else ():
            if not any(text in cells[at].lower() for text in texts):
                reason = f"none of the words to keep stands in {header}"
        if not reason and once:
            first = seen.setdefault(hash(tuple(cells)), number)
            reason = f"equal to row {first} in every cell" if first != number else ""
        if reason:
            taken.refused.append(SkippedRow(number, reason, cells))
        else:
            numbers.append(number)
            rows.append(cells)
    return numbers, rows


#: What a row of items that is not sold has none of.
_SALE = (
    "sold_on",
    "sold_price",
    "shipping_charged",
    "fees_paid",
    "label_paid",
    "label_adjustment",
    "refund",
    "order_id",
)


def _take(
    numbers: Sequence[int],
    rows: list[list[str]],
    readers: list[ColumnReader],
    mapping: Mapping,
    taken: AcceptedRow,
    unsold: list[tuple[int, set[str]]],
) -> None:
    cells = list(zip(*rows, strict=True))
    columns = [reader.column(cells, len(rows)) for reader in readers]
    bad: dict[int, list[str]] = {}
    for reader, values in zip(readers, columns, strict=True):
        if reader.sure:
            continue
        needed = not _may_be_blank(reader.name, mapping) or reader.name == "title"
        for place, value in enumerate(values):
            if isinstance(value, InvalidCell) and (needed or "currency" in value.needed or "calculate" in value.mend):
                bad.setdefault(place, []).append(reader.complaint(value, rows[place]))
            elif isinstance(value, InvalidCell):
                # One odd cell costs the cell, not the row.
                taken.cells.append(Cell(numbers[place], reader.name, reader.complaint(value, rows[place])))
                values[place] = ""
    _times_quantity(readers, columns, bad)
    if mapping.table == "items":
        _without_sale(rows, readers, columns, taken, unsold)
    for reader, values in zip(readers, columns, strict=True):
        if _may_be_blank(reader.name, mapping) or "" not in values:
            continue
        for place, value in enumerate(values):
            if value == "":
                bad.setdefault(place, []).append(f"no {reader.name}")
    if not bad:
        taken.rows.extend(map(list, zip(*columns, strict=True)))
        taken.origins.extend(numbers)
        return
    for place, values_of in enumerate(zip(*columns, strict=True)):
        if place in bad:
            taken.refused.append(SkippedRow(numbers[place], "; ".join(bad[place]), rows[place]))
        else:
            taken.rows.append([str(value) for value in values_of])
            taken.origins.append(numbers[place])


def _without_sale(
    rows: list[list[str]],
    readers: list[ColumnReader],
    columns: list[list[str | InvalidCell]],
    taken: AcceptedRow,
    unsold: list[tuple[int, set[str]]],
) -> None:
    """Empty the sale of rows that a word calls unsold, and a sale of 0.00 that has no day."""
    names = [reader.name for reader in readers]
    price = columns[names.index("sold_price")] if "sold_price" in names else None
    day = columns[names.index("sold_on")] if "sold_on" in names else None
    if price is None or (day is None and not unsold):
        return
    for place in range(len(rows)) if unsold or "0.00" in price else ():
        zero = day is not None and price[place] == "0.00" and not day[place]
        if zero or any(rows[place][at] in words for at, words in unsold):
            taken.unsold += zero
            for name, values in zip(names, columns, strict=True):
                if name in _SALE:
                    values[place] = ""


def _may_be_blank(name: str, mapping: Mapping) -> bool:
    """Whether a row can do without a column: it is not required, or another stands in for it."""
    if name not in import_match.required_of(mapping.table):
        return True
    if name == "cost" and mapping.table == "items":
        # Not known, or its share of a lot.
        return True
    # The head of an order has no title: its amounts go to the lines of the order.
    shared = "order_id" in mapping.columns and any(source.per_order for source in mapping.columns.values())
    return name == "title" and shared


def _times_quantity(
    readers: list[ColumnReader], columns: list[list[str | InvalidCell]], bad: dict[int, list[str]]
) -> None:
    names = [reader.name for reader in readers]
    if "quantity" not in names:
        return
    counts = columns[names.index("quantity")]
    for reader, values in zip(readers, columns, strict=True):
        if not reader.source.each:
            continue
        for place, (value, count) in enumerate(zip(values, counts, strict=True)):
            if (
                place not in bad
                and isinstance(value, str)
                and isinstance(count, str)
                and value
                and count not in ("", "1")
            ):
                values[place] = f"{Decimal(value) * int(count):.2f}"
