"""Sales matched with items and labels with sales, by numbers, days and titles."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from decimal import Decimal

import pandas as pd

from flipkit.books.schema import PICKUP
from flipkit.imports.sheets import SkippedRow
from flipkit.money import share_out

# Rows of an export on their way into the books.


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell that could not be read and was left blank, its row taken."""

    row: int
    column: str
    why: str


@dataclass(slots=True)
class AcceptedRow:
    """The rows of an export, turned into text as the books write it."""

    columns: list[str]
    rows: list[list[str]] = field(default_factory=list)
    origins: list[int] = field(default_factory=list)
    refused: list[SkippedRow] = field(default_factory=list)
    joined: list[SkippedRow] = field(default_factory=list)
    named_by: tuple[str, ...] = ()
    cells: list[Cell] = field(default_factory=list)
    unsold: int = 0
    undated: list[int] = field(default_factory=list)

    def at(self, name: str) -> int:
        """The place of a column; -1 where there is none."""
        return self.columns.index(name) if name in self.columns else -1

    def cell(self, row: list[str], name: str) -> str:
        """A cell of a row; blank where there is no such column."""
        return row[self.columns.index(name)] if name in self.columns else ""

    def texts(self, name: str) -> list[str]:
        """The cells of a column; none where there is no such column."""
        at = self.at(name)
        return [row[at] for row in self.rows] if at >= 0 else []

    def add(self, name: str) -> int:
        """The place of a column, made blank where there is none."""
        if name not in self.columns:
            self.columns.append(name)
            for row in self.rows:
                row.append("")
        return self.columns.index(name)

    def drop(self, bad: dict[int, str], *, silently: set[int] = frozenset()) -> None:  # type: ignore[assignment]
        """Refuse rows that were taken, each with whatever else came of its row of the export."""
        if not bad and not silently:
            return
        why = {self.origins[place]: reason for place, reason in sorted(bad.items())}
        self.refused += [SkippedRow(origin, reason, []) for origin, reason in why.items()]
        kept = [at for at, origin in enumerate(self.origins) if origin not in why and at not in silently]
        self.rows = [self.rows[place] for place in kept]
        self.origins = [self.origins[place] for place in kept]


def cents_in(text: str) -> int:
    """An amount as the books write it, in cents; 0 for a blank."""
    return int(Decimal(text or "0") * 100)


def as_text(cents: int) -> str:
    """Cents as the books write an amount."""
    return f"{Decimal(cents) / 100:.2f}"


# Sales matched with items and labels matched with sales, by numbers, days and titles, never by addresses.
#
# A match is made only where it is the only one; whatever fits nothing or fits several is listed.

#: Days after a sale within which its parcel is posted.
POSTED_WITHIN_DAYS = 10
#: How far two weights of one parcel may lie apart, as a share of the heavier.
WEIGHTS_APART = 0.25


@dataclass(slots=True)
class Stock:
    """What the books know of their items, as far as matching needs it."""

    rows: list[dict[str, str]] = field(default_factory=list)

    @property
    def ids(self) -> set[str]:
        """Their names."""
        return {row.get("item_id", "") for row in self.rows}


def stock_of(items: pd.DataFrame) -> Stock:
    """The items of the books as matching needs them."""
    text = {name: items[name].tolist() for name in ("item_id", "title", "order_id", "zone")}
    for name in ("bought_on", "sold_on", "gone_on"):
        text[name] = ["" if pd.isna(day) else day.date().isoformat() for day in items[name]]
    for name in ("sold_price", "label_paid"):
        cents = items[f"{name}_cents"]
        text[name] = ["" if pd.isna(value) else as_text(int(value)) for value in cents]
    text["weight_lb"] = ["" if pd.isna(value) else repr(float(value)) for value in items["weight_lb"]]
    return Stock([dict(zip(text, cells, strict=True)) for cells in zip(*text.values(), strict=True)])


def plain(text: str) -> str:
    """A number or a title as it is compared: letters and digits alone, small.

    >>> plain(" #1042 "), plain("Lamp, brass")
    ('1042', 'lampbrass')
    """
    return "".join(c for c in text.casefold() if c.isalnum())


def fitting_item(stock: Stock, taken: AcceptedRow) -> tuple[list[str], list[tuple[int, str]]]:
    """For every row of sales the item of the books that it sold."""
    id_at, title_at = taken.at("item_id"), taken.at("title")
    ids = stock.ids
    names = [row[id_at] for row in taken.rows]
    if title_at < 0 or not stock.rows:
        return names, []
    open_rows = [place for place, name in enumerate(names) if name not in ids]
    wanted = Counter(plain(taken.rows[place][title_at]) for place in open_rows)
    held: dict[str, list[dict[str, str]]] = defaultdict(list)
    for item in stock.rows:
        held[plain(item.get("title", ""))].append(item)
    by_title: list[tuple[int, str]] = []
    for place in open_rows:
        title = plain(taken.rows[place][title_at])
        day = taken.cell(taken.rows[place], "sold_on")
        fits = [item for item in held.get(title, []) if _may_be_sold(item, day)]
        if title and len(fits) == 1 and wanted[title] == 1:
            names[place] = fits[0]["item_id"]
            by_title.append((place, fits[0]["item_id"]))
    return names, by_title


def _may_be_sold(item: dict[str, str], day: str) -> bool:
    """Whether a sale on that day can be this item's: unsold and bought before, or sold that day."""
    if item.get("sold_on"):
        return bool(day) and item["sold_on"] == day
    return not item.get("gone_on") and (not day or item.get("bought_on", "") <= day)


#: Items that a label posted and by what they are known; or none, and why.
Match = tuple[list[str], str]


@dataclass(frozen=True, slots=True)
class Label:
    """One label of a postage history."""

    key: str
    origin: int
    date: str
    amount_cents: int
    adjustment_cents: int
    order_id: str
    item_id: str
    zone: str
    weight_lb: float


def labels_of(taken: AcceptedRow, weights_lb: list[float]) -> list[Label]:
    """The rows of a postage history as labels."""
    seen: Counter[str] = Counter()
    labels = []
    for row, origin, weight in zip(taken.rows, taken.origins, weights_lb, strict=True):
        date, amount, adjustment, order, item, zone, tracking = (
            taken.cell(row, name)
            for name in ("date", "amount", "adjustment", "order_id", "item_id", "zone", "tracking")
        )
        stem = tracking or hashlib.blake2b("\x1f".join(row).encode(), digest_size=8).hexdigest()
        stem = f"{stem}:{date}:{amount}:{adjustment}"
        seen[stem] += 1
        key = f"{stem}#{seen[stem]}"
        labels.append(Label(key, origin, date, cents_in(amount), cents_in(adjustment), order, item, zone, weight))
    return labels


def match_labels(stock: Stock, labels: list[Label], *, already: dict[str, list[str]]) -> dict[str, Match]:
    """The sales that labels posted, by the key of each label.

    First by order number, then by item, then by the parcel that an earlier label of the same
    tracking number posted, and last by day, zone and weight, where exactly one sale fits exactly
    one label.
    """
    sold = [item for item in stock.rows if item.get("sold_on")]
    by_order: dict[str, list[str]] = defaultdict(list)
    for item in sold:
        if item.get("order_id"):
            by_order[plain(item["order_id"])].append(item["item_id"])
    by_item = {plain(item["item_id"]): [item["item_id"]] for item in sold}
    posted: dict[str, Match] = {}
    tracked = dict(already)
    loose: list[Label] = []
    for label in labels:
        tracking, order, own = label.key.split(":", 1)[0], label.order_id, label.item_id
        ways = [("order", order, by_order), ("item", own, by_item), ("item", order, by_item)]
        fits = [(held[plain(name)], f"{what} {name}") for what, name, held in ways if name and plain(name) in held]
        fits += [(tracked[tracking], f"tracking number {tracking}")] if tracking in tracked else []
        if fits:
            posted[label.key] = fits[0]
            tracked[tracking] = fits[0][0]
        elif order:
            posted[label.key] = [], f"no sale in the books has the order number {order}"
        elif own:
            posted[label.key] = [], f"no sold item in the books is {own}"
        else:
            loose.append(label)
    _by_day(sold, loose, posted)
    return posted


def _by_day(sold: list[dict[str, str]], labels: list[Label], posted: dict[str, Match]) -> None:
    taken = {item for items, _ in posted.values() for item in items}
    parcels: dict[str, list[dict[str, str]]] = defaultdict(list)
    for item in sold:
        free = item["item_id"] not in taken and not item.get("label_paid")
        if free and item.get("zone", "").lower() != PICKUP:
            parcels[plain(item.get("order_id", "")) or f"\0{item['item_id']}"].append(item)
    fits: dict[str, list[str]] = {}
    for label in labels:
        fits[label.key] = [key for key, items in parcels.items() if _fits(label, items)] if label.date else []
    wanted = Counter(key for keys in fits.values() for key in keys)
    for label in labels:
        keys = fits[label.key]
        if len(keys) == 1 and wanted[keys[0]] == 1:
            posted[label.key] = [item["item_id"] for item in parcels[keys[0]]], "the only sale that fits its day"
        elif not keys:
            posted[label.key] = [], f"no sale without a label in the {POSTED_WITHIN_DAYS} days before it"
        else:
            names = [parcels[key][0]["item_id"] for key in keys[:4]]
            why = f"{len(keys)} sales fit" if len(keys) > 1 else "another label fits the same sale"
            posted[label.key] = [], f"{why}: {', '.join(names)}"


def _fits(label: Label, items: list[dict[str, str]]) -> bool:
    posted, sold = dt.date.fromisoformat(label.date), dt.date.fromisoformat(items[0]["sold_on"])
    if not dt.timedelta(0) <= posted - sold <= dt.timedelta(days=POSTED_WITHIN_DAYS):
        return False
    zones = {plain(item["zone"]) for item in items if item.get("zone")}
    if label.zone and zones and plain(label.zone) not in zones:
        return False
    weights = [float(item.get("weight_lb") or 0) for item in items]
    if label.weight_lb and all(weights):
        heavy = max(label.weight_lb, sum(weights))
        return abs(label.weight_lb - sum(weights)) <= WEIGHTS_APART * heavy
    return True


def shares_of(stock: Stock, items: list[str], cents: int) -> dict[str, int]:
    """What each item of a parcel bears of an amount, by sold price, not a cent lost or invented."""
    price = {row["item_id"]: row.get("sold_price", "") for row in stock.rows}
    weights = [float(price.get(item) or 0) for item in items]
    return dict(zip(items, share_out(cents, weights).tolist(), strict=True))
