"""One item traced: each line of its money and each minute of its work, with where it comes from."""

from __future__ import annotations

import dataclasses
import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from rapidfuzz import process

from flipkit.assumptions import Assumptions
from flipkit.books.problems import rows_in_words
from flipkit.books.read import Books, books_as_of
from flipkit.books.schema import ACTIVITIES, BY_NAME, DOING
from flipkit.economics.costs import MEASURES, orders_of, own_rate_cards, with_order_words
from flipkit.economics.items import MONEY_LINES, Economics, MoneyLine
from flipkit.economics.labor import entries_for
from flipkit.economics.overrides import SCALED, suppositions
from flipkit.errors import AssumptionError, count_of
from flipkit.money import show_cents
from flipkit.rules import postage
from flipkit.rules.blocks import RuleSet
from flipkit.rules.fees import FeeSchedule
from flipkit.rules.tables import Rules

#: What a supposition moves.
_SUPPOSED = {
    "suppose.wage_for": ("hired",),
    "suppose.fee_points": ("marketplace_fee",),
    "suppose.divisor": ("label",),
    **SCALED,
}


@dataclass(frozen=True, repr=False)
class ItemTrace:
    """Why one item's net is what it is."""

    item_id: str
    title: str
    category: str
    status: str
    as_of: dt.date
    currency: str
    #: A row a line: ``line``, ``label``, ``amount_cents`` (costs below zero), ``origin``, ``where_from``.
    lines: pd.DataFrame
    #: A row an activity: ``activity``, ``owner_min``, ``origin``, ``where_from``.
    minutes: pd.DataFrame
    net_cents: int
    owner_min: float
    hired_min: float

    @property
    def cents_per_hour(self) -> int | None:
        """What an hour of the owner's work on it left; None without any work. [cents per hour]"""
        return round(self.net_cents * 60 / self.owner_min) if self.owner_min > 0 else None

    def as_dict(self) -> dict[str, Any]:
        """The trace as plain values, units in the keys."""
        plain = {field.name: getattr(self, field.name) for field in dataclasses.fields(self)}
        for name in ("lines", "minutes"):
            plain[name] = plain[name].to_dict("records")
        return {**plain, "as_of": self.as_of.isoformat(), "cents_per_hour": self.cents_per_hour}

    def __repr__(self) -> str:
        """The trace as lines of text."""
        head = f"{self.item_id}, {self.title} ({self.category}): {self.status}, as of {self.as_of.isoformat()}"
        money = [(row.label, self._money(row.amount_cents), row.origin, row.where_from) for row in self._shown]
        work = [
            (DOING[row.activity], f"{row.owner_min:.1f} min", row.origin, row.where_from)
            for row in self.minutes.itertuples(index=False)
        ]
        total = [("net", self._money(self.net_cents), "", "")]
        hours = [("your own work", f"{self.owner_min:.1f} min", "", f"{self.owner_min / 60:.2f} hours")]
        if self.hired_min:
            hours.append(("hired work", f"{self.hired_min:.1f} min", "", ""))
        hourly = self.cents_per_hour
        last = "You have not worked on it, so there is no figure per hour."
        if hourly is not None:
            so_far = "" if self.status == "sold" else " so far"
            last = f"An hour of your own work on it has made {self._money(hourly)}{so_far}."
        return "\n".join([head, "", *_table([*money, *total]), "", *_table([*work, *hours]), "", last])

    @property
    def _shown(self) -> list[Any]:
        """The lines that have an amount or an origin: a zero that was recorded is shown."""
        return [row for row in self.lines.itertuples(index=False) if row.amount_cents or row.origin != "none"]

    def _money(self, cents: int) -> str:
        return show_cents(int(cents), currency=self.currency)


def _table(rows: list[tuple[str, str, str, str]]) -> list[str]:
    widths = [max(len(row[at]) for row in rows) for at in range(3)]
    return [
        f"  {name:<{widths[0]}}  {amount:>{widths[1]}}  {origin:<{widths[2]}}  {where}".rstrip()
        for name, amount, origin, where in rows
    ]


def item_trace(economics: Economics, books: Books, rules: Rules, assumptions: Assumptions, item_id: str) -> ItemTrace:
    """One item's money and minutes, each with where it comes from."""
    frame = economics.items
    titled = frame.loc[frame["title"].str.casefold() == item_id.casefold(), "item_id"]
    if item_id not in set(frame["item_id"]) and len(titled) == 1:
        item_id = titled.iloc[0]
    if item_id not in set(frame["item_id"]):
        ids = frame["item_id"].tolist()
        close = process.extract(item_id, ids, limit=3, score_cutoff=50, processor=str.lower)
        near = [name for name, _, _ in close]
        mend = f"did you mean {', '.join(near)}?" if near else ""
        need = f"the item_id of a thing bought by {economics.as_of.isoformat()}"
        raise AssumptionError("item", need=need, got=item_id, mend=mend)
    tracing = _Tracing(economics, books_as_of(books, economics.as_of), rules, assumptions, item_id)
    item = tracing.item
    lines = [
        {
            "line": line.name,
            "label": line.label,
            "amount_cents": int(item[f"{line.name}_cents"]) * (1 if line.gain else -1),
            "origin": item[f"{line.name}_origin"],
            "where_from": tracing.money(line),
        }
        for line in MONEY_LINES
    ]
    minutes = [
        {
            "activity": activity,
            "owner_min": float(item[f"{activity}_min"]),
            "origin": item[f"{activity}_origin"],
            "where_from": tracing.work(activity),
        }
        for activity in ACTIVITIES
        if item[f"{activity}_origin"] != "none" or item[f"{activity}_min"]
    ]
    return ItemTrace(
        item_id=item_id,
        title=item["title"],
        category=item["category"],
        status=item["status"],
        as_of=economics.as_of,
        currency=books.shop.currency,
        lines=pd.DataFrame(lines),
        minutes=pd.DataFrame(minutes, columns=["activity", "owner_min", "origin", "where_from"]),
        net_cents=int(item["net_cents"]),
        owner_min=float(item["owner_min"]),
        hired_min=float(item["hired_min"]),
    )


class _Tracing:
    """Where the lines of one item come from."""

    def __init__(
        self, economics: Economics, books: Books, rules: Rules, assumptions: Assumptions, item_id: str
    ) -> None:
        self._economics, self._books, self._rules, self._held = economics, books, rules, assumptions
        self.item = economics.items.set_index("item_id", drop=False).loc[item_id]
        self._record = books.items.set_index("item_id").loc[item_id]
        items = with_order_words(books.items)
        orders = orders_of(items)
        self._entries = entries_for(items, books.work, item_id, orders.code) if len(books.work) else books.work
        at = int(np.flatnonzero((items["item_id"] == item_id).to_numpy())[0])
        self._mates = items["item_id"].to_numpy()[orders.code == orders.code[at]]
        #: The order that the item shared its parcel with; empty where it was sold alone.
        self._order = str(items["order_id"].iloc[at]) if orders.several[at] else ""

    def money(self, line: MoneyLine) -> str:
        """Where one line comes from: a cell of the books, a rule block of a day, or assumptions."""
        origin = self.item[f"{line.name}_origin"]
        if origin == "none":
            return ""
        supposed = [key for key in suppositions(self._held) if line.name in _SUPPOSED.get(key, ())]
        if origin == "assumed" and supposed:
            return self._assumed(tuple(supposed))
        if origin == "recorded" and line.recorded:
            rows = self._rows("items", self._cells(f"{line.recorded}_cents"))
            return f"{rows}, column {line.recorded}{self._shared(rows)}"
        found = getattr(self, f"_{line.name}", None)
        told: str = found(origin) if found else ""
        told = told or self._assumed(line.assumed_by)
        return f"{told}{self._shared(told)}" if line.by_order else told

    def _cells(self, column: str) -> pd.DataFrame:
        """The rows of the items that record an amount: its own, or else its order's."""
        items = self._books.items
        own = items[items["item_id"] == self.item.name]
        if self._order and pd.isna(self._record[column]):
            of_order = items[items["item_id"].isin(self._mates) & items[column].notna()]
            return of_order if len(of_order) else own
        return own

    def _shared(self, told: str) -> str:
        return f"; shared within order {self._order}" if told and self._order else ""

    def work(self, activity: str) -> str:
        """Where the minutes of an activity come from."""
        origin, size = self.item[f"{activity}_origin"], self.item["size_class"]
        if origin == "recorded":
            return self._rows("work", self._entries[self._entries["activity"] == activity])
        if origin == "none":
            return ""
        told = self._assumed((f"minutes.{activity}.{size}",))
        learned = self._economics.labor.learned
        own = learned[(learned["activity"] == activity) & (learned["size_class"] == size)]
        told += f", corrected by the logs of {int(own['logged_items'].max())} things" if len(own) else ""
        return (
            f"{told}, {self._assumed(('suppose.minutes',))}" if "suppose.minutes" in suppositions(self._held) else told
        )

    def _file(self, table: str) -> str:
        path = self._books.path
        return f"{path.name} sheet {table}" if path.is_file() else BY_NAME[table].file

    def _rows(self, table: str, frame: pd.DataFrame) -> str:
        return f"{self._file(table)} {rows_in_words(sorted(frame['row'].tolist()))}" if len(frame) else ""

    def _assumed(self, keys: tuple[str, ...]) -> str:
        entries = [self._held.entries[key.format(size=self.item["size_class"])] for key in keys]
        currency = self._books.shop.currency
        return ", ".join(f"{entry.key} = {entry.text(currency=currency)} ({entry.layer})" for entry in entries)

    def _block(self, table: RuleSet[Any], day: dt.date) -> str:
        block = table.at(day)
        past = ", ended; its last value is used" if table.past([day])[0] else ""
        return f"{table.title} {block.described}{past} (source {', '.join(block.sources)}, {block.seen})"

    @property
    def _sold(self) -> dt.date:
        day: dt.date = self.item["sold_on"].date()
        return day

    def _refund(self, origin: str) -> str:
        return "no refund is recorded, so the whole price counts as given back"

    @property
    def _schedule(self) -> FeeSchedule | None:
        return self._rules.fee_schedules.get(self.item["venue"] or self._held.text("venue.default"))

    def _marketplace_fee(self, origin: str) -> str:
        return self._block(self._schedule, self._sold) if self._schedule else ""

    def _refunded_fee(self, origin: str) -> str:
        back = "what the schedule gives back with a refund: "
        return back + self._block(self._schedule, self._sold) if self._schedule else ""

    def _listing_fee(self, origin: str) -> str:
        if self._schedule is None:
            return ""
        row = int(np.flatnonzero((self._economics.items["item_id"] == self.item.name).to_numpy())[0])
        listings = self._economics.listings
        days = [day.date() for day in listings.loc[listings["row"] == row, "day"]]
        blocks = dict.fromkeys(self._block(self._schedule, day) for day in days)
        return f"{count_of(len(days), 'listing')}: {'; '.join(blocks)}"

    def _protection(self, origin: str) -> str:
        told = self._label(origin)
        if origin == "rule":
            rows = self._rows("items", self._cells("declared_value_cents"))
            return f"declared in {rows}, column declared_value{'; ' + told if told else ''}"
        return f"{self._assumed(('protection.declare_from', 'protection.signature_from'))}; {told}".rstrip("; ")

    def _materials(self, origin: str) -> str:
        used = self._economics.supplies.used if self._economics.supplies else 1
        measured = self.item["measures_origin"] == "recorded"
        size = "medium" if measured else self.item["size_class"]
        told = self._assumed((f"materials.assumed.{size}",))
        told += ", adjusted for its size and price" if measured else ""
        return told if used == 1 else f"{told}, times {used:.2f} by the supplies you bought"

    def _label(self, origin: str) -> str:
        """The card and service that the label was priced by; nothing where the assumed label stands in."""
        item = self.item
        sides: dict[str, Any] = {name: [float(item[name])] for name in MEASURES}
        zone = [item["zone"]] if item["zone"] else None
        for card in own_rate_cards(self._rules, self._held):
            parcels = self._rules.rules_of(card)
            mix = None if zone else self._held.zone_mix()
            found = postage.labels(
                card, parcels, on=np.array([self._sold], dtype="datetime64[D]"), zone=zone, zone_mix=mix, **sides
            ).iloc[0]
            bare = int(found["total_cents"]) - int(found["signature_cents"]) - int(found["protection_cents"])
            if not self._order and found["refused"] == "" and bare == int(item["label_cents"]):
                lacking = [] if zone else ["zone"]
                lacking += ["measures"] if item["measures_origin"] != "recorded" else []
                said = f", with assumed {' and '.join(lacking)}" if lacking else ""
                by = f"{self._block(card, self._sold)} and {self._block(parcels, self._sold)}"
                return f"service {found['service']} of {by}{said}"
        if self._order and own_rate_cards(self._rules, self._held):
            return f"the cheapest label of {', '.join(card.name for card in own_rate_cards(self._rules, self._held))}"
        return ""

    def _cost(self, origin: str) -> str:
        lot = self._books.lots[self._books.lots["lot_id"] == self.item["lot_id"]]
        share_by = lot["share_by"].iloc[0] if len(lot) else ""
        return f"its share of lot {self.item['lot_id']} by {share_by or 'equal parts'}, {self._rows('lots', lot)}"

    def _trip(self, origin: str) -> str:
        trip = self._books.trips[self._books.trips["trip_id"] == self.item["trip_id"]]
        told = f"its share of trip {self.item['trip_id']}, {self._rows('trips', trip)}"
        return (
            told if origin == "recorded" else f"{told}; {self._block(self._rules.mileage, trip['date'].iloc[0].date())}"
        )

    def _hired(self, origin: str) -> str:
        people = self._books.people
        hands = people.loc[people["role"] == "hired", "worker"]
        told = self._rows("work", self._entries[self._entries["worker"].isin(hands)])
        return f"{told} at the wage of {self._file('people')}" if told and origin == "recorded" else told

    def _overhead(self, origin: str) -> str:
        overheads, record = self._books.overheads, self._record
        left = record[["sold_on", "gone_on"]].min()
        last = pd.Timestamp(self._economics.as_of) if pd.isna(left) else left
        first = record["bought_on"].to_period("M").start_time
        held = overheads[(overheads["month"] >= first) & (overheads["month"] <= last)]
        return f"its share of {self._rows('overheads', held)}, by the days you held it"
