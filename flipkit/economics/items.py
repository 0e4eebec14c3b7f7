"""The economics of each item: from the sold price down to the net, every line with its origin.

A line is *recorded* in the books, follows from a *rule* in force on the day, or is *assumed*.
A recorded line beats a computed one and a computed one an assumed one. Net is the exact sum of
its lines; an item that never sold has a net too, what it cost so far.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.assumptions import Assumptions, load_assumptions
from flipkit.books.problems import shortened
from flipkit.books.read import Books, books_as_of
from flipkit.books.schema import ACTIVITIES, ITEMS
from flipkit.economics.costs import (
    MEASURES,
    Line,
    SuppliesUsed,
    by_rule,
    cost_of_goods,
    label_lines,
    listing_charges,
    listing_frame,
    marketplace_fees,
    materials_line,
    orders_of,
    overhead_shares,
    packed_parcels,
    per_size,
    posted_parcels,
    recorded,
    trip_costs,
    with_order_words,
)
from flipkit.economics.labor import EVERYBODY, TIMINGS, Labor, Parcels, item_labor, next_timings
from flipkit.economics.overrides import NOTHING_SUPPOSED, labels_dearer, supposed_lines, suppositions
from flipkit.money import PPM, Cents, percentage
from flipkit.rules.tables import Rules, load_rules

#: Steps from the result of a span to its lines by their own days.
_UNSOLD = "overheads, trips, fees and help of the unsold"
_SUPPLIES = "supplies put into stock"
_BACK = "goods that came back or that you kept"
_OPEN = "refunds of other months, losses still expected"


@dataclass(frozen=True, kw_only=True)
class MoneyLine:
    """One line of an item's money: all who show or move money read this table."""

    name: str
    #: What a page calls it, and what its column means.
    label: str
    meaning: str
    #: Whether it adds to the net; the others take from it. Amounts themselves are positive.
    gain: bool = False
    #: Column of the items in which the books record it; empty where it is shared out or reckoned.
    recorded: str = ""
    #: Whether the items of one order share it.
    by_order: bool = False
    #: What the summary of a year calls it, where that is not its label.
    year: str = ""
    #: What moves it as a whole in "what if"; empty where nothing does.
    moved_with: str = ""
    #: Whether a thing bears it by being held, sold or not.
    held: bool = False
    #: Whether posting a sale takes it, beside the venue's fees and the seller's work: part of the highest price to pay.
    at_sale: bool = False
    #: What parts the result of a span from the line by its own days: a step of ``analysis.results``.
    timing: str = _OPEN
    #: Keys of the assumptions that fill it; ``{size}`` stands for the size class.
    assumed_by: tuple[str, ...] = ()


MONEY_LINES = (
    MoneyLine(
        name="sold_price",
        label="sold price",
        meaning="what the buyer paid for the goods",
        gain=True,
        recorded="sold_price",
    ),
    MoneyLine(
        name="shipping_charged",
        label="shipping charged",
        meaning="what the buyer paid for shipping",
        gain=True,
        recorded="shipping_charged",
        by_order=True,
    ),
    MoneyLine(name="refund", label="refunds", meaning="given back to the buyer", recorded="refund"),
    MoneyLine(
        name="marketplace_fee",
        label="marketplace fees",
        meaning="all fees of the venue",
        recorded="fees_paid",
        by_order=True,
        moved_with="marketplace fees",
        assumed_by=("fees.assumed_rate", "fees.assumed_per_order"),
    ),
    MoneyLine(
        name="refunded_fee",
        label="fees given back with refunds",
        meaning="fees that the venue gave back with a refund, less what the refund itself cost",
        gain=True,
        recorded="fees_refunded",
        moved_with="marketplace fees",
    ),
    MoneyLine(
        name="listing_fee",
        label="listing fees",
        meaning="listing and relisting, sold or not",
        moved_with="marketplace fees",
        held=True,
        timing=_UNSOLD,
    ),
    MoneyLine(
        name="label",
        label="postage",
        meaning="the shipping label",
        recorded="label_paid",
        by_order=True,
        moved_with="postage",
        at_sale=True,
        assumed_by=("label.assumed.{size}",),
    ),
    MoneyLine(
        name="label_adjustment",
        label="later postage charges",
        meaning="a later charge by the carrier, or minus a credit",
        recorded="label_adjustment",
        by_order=True,
        moved_with="postage",
        at_sale=True,
    ),
    MoneyLine(
        name="protection",
        label="protection",
        meaning="declared value and signature",
        recorded="protection_paid",
        by_order=True,
        year="declared value and signatures",
        at_sale=True,
        assumed_by=("protection.declare_from", "protection.signature_from"),
    ),
    MoneyLine(
        name="materials",
        label="packing materials",
        meaning="carton, cushioning and tape",
        recorded="materials_paid",
        by_order=True,
        at_sale=True,
        timing=_SUPPLIES,
        assumed_by=("materials.assumed.{size}", "materials.assumed.medium", "packing.like_plans"),
    ),
    MoneyLine(
        name="cost",
        label="cost of goods",
        meaning="paid for the thing, or its share of a lot",
        recorded="cost",
        moved_with="cost of the goods",
        held=True,
        timing=_BACK,
    ),
    MoneyLine(
        name="trip",
        label="sourcing trips",
        meaning="its share of the sourcing trip",
        moved_with="trips",
        held=True,
        timing=_UNSOLD,
    ),
    MoneyLine(
        name="hired",
        label="hired help",
        meaning="hired work on it",
        timing=_UNSOLD,
        assumed_by=("help.wage", "help.burden", "help.share_of_packing"),
    ),
    MoneyLine(
        name="overhead",
        label="overheads",
        meaning="its share of the months' overheads",
        moved_with="overheads",
        held=True,
        timing=_UNSOLD,
    ),
    MoneyLine(
        name="expected_loss",
        label="losses still expected",
        meaning="what its sale may still lose by coming back",
        assumed_by=("loss.chance.{size}", "loss.share", "loss.return_window_days"),
    ),
)
GAINS = tuple(line.name for line in MONEY_LINES if line.gain)
COSTS = tuple(line.name for line in MONEY_LINES if not line.gain)
LINES = GAINS + COSTS
#: Costs that stay spent whether a thing sells or not.
HELD = tuple(line.name for line in MONEY_LINES if line.held)
#: Longest title that tables and charts show; two of 100,000 letters made a page that no browser opened.
LONGEST_TITLE = 100
#: Columns taken from the books as they stand: names first, then days and the first price.
_OWN: tuple[str, ...] = ("item_id", "title", "category", "source", "condition", "lot_id", "venue", "zone", "order_id")
_OWN += ("bought_on", "listed_on", "sold_on", "returned_on", "gone_on", "list_price_cents")


@dataclass(frozen=True)
class Economics:
    """What every item brought and took, as of a day."""

    items: pd.DataFrame
    labor: Labor
    unborne_cents: int
    as_of: dt.date
    #: Every listing and relisting that cost something: ``row`` of the items, ``day``, ``cents``.
    listings: pd.DataFrame = field(default_factory=lambda: listing_frame([]))
    supplies: SuppliesUsed | None = None
    #: Fees computed without the buyer's tax though the schedule takes them of it too, and the venues.
    untaxed: int = 0
    untaxed_venues: tuple[str, ...] = ()


#: What an assumption touches, by the beginning of its key; anything else may touch every line.
_TOUCHED = {
    **dict.fromkeys(("minutes.", "help.share_of_packing"), "labor"),
    **dict.fromkeys(("label.", "postage.", "protection."), "label"),
    **dict.fromkeys(("materials.", "packing."), "materials"),
    "fees.": "fees",
    "loss.": "expected_loss",
    # Help is paid anew each time, and the rest says what to do with the finished lines.
    **dict.fromkeys(("help.", "suppose.", "hour.", "stock.", "report.", "what_if.", "buying.", "pricing."), ""),
}
_ALL = frozenset(_TOUCHED.values())


class Supposing:
    """Economics as the books have them, asked under other assumptions: only the lines that these touch are anew."""

    def __init__(self, books: Books, rules: Rules, assumptions: Assumptions, as_of: dt.date) -> None:
        self._books, self._rules, self._as_of = books, rules, as_of
        self._held = assumptions.changed(NOTHING_SUPPOSED) if suppositions(assumptions) else assumptions
        self._known = books_as_of(books, as_of)
        items = self._items = with_order_words(self._known.items)
        self._parcels = packed_parcels(items, rules, self._held, as_of=as_of)
        self._orders = orders_of(items)
        self._posted = posted_parcels(items, self._parcels, self._orders, rules)
        self._sold = items["sold_on"].notna().to_numpy()
        #: Whether what parcels lack stands in others of their category, so that no measure is an assumed one.
        self._measured = bool((items.groupby("category")[list(MEASURES)].count() > 0).all(axis=None))
        self._dearer: dict[int, Cents] = {}
        lines, said = self._lines(self._held, _ALL)
        unborne, columns = said.pop("unborne"), _columns(lines)
        described = _described(items, self._parcels, as_of)
        frame = described.assign(**{name: columns[name] for line in LINES for name in _names(line)})
        frame["net_cents"] = net_of(frame)
        frame = pd.concat([frame, said["labor"].minutes.drop(columns=list(_names("hired")))], axis=1)
        self.recorded = Economics(frame, unborne_cents=unborne, as_of=as_of, **said)

    def under(self, assumptions: Assumptions) -> Economics:
        """The economics under other assumptions of the same shop."""
        before = self._held.entries
        moved = [key for key, entry in assumptions.entries.items() if entry.value != before[key].value]
        if not moved:
            return self.recorded
        touched = {self._touches(key) for key in moved}
        if None in touched:
            return Supposing(self._books, self._rules, assumptions, self._as_of).under(assumptions)
        lines, said = self._lines(assumptions, touched)
        found = dataclasses.replace(self.recorded, **said)
        changed = _columns(lines)
        if "labor" in touched:
            changed |= {name: found.labor.minutes[name] for name in found.labor.minutes}
        hired, origin = _names("hired")
        changed[hired] = found.labor.hired.cents(assumptions)
        alike = (changed[hired] != 0) & (assumptions.text("suppose.wage_for") == EVERYBODY)
        changed[origin] = np.where(alike, "assumed", found.labor.minutes[origin]).astype(object)
        frame = found.items.assign(**changed)
        frame = frame.assign(**supposed_lines(frame, assumptions, self.dearer))
        frame["net_cents"] = net_of(frame)
        return dataclasses.replace(found, items=frame)

    def _touches(self, key: str) -> str | None:
        """The line that an assumption touches, empty for none; None where it may touch every line."""
        if key.startswith("parcel.") and self._measured:
            return "materials"
        return next((line for head, line in _TOUCHED.items() if key.startswith(head)), None)

    def dearer(self, *divisors: int) -> Cents:
        """What each label would cost more at the first of some divisors; all are kept for whoever asks again."""
        new = [divisor for divisor in divisors if divisor not in self._dearer]
        if new:
            self._dearer |= labels_dearer(self.recorded.items, new, rules=self._rules, assumptions=self._held)
        return self._dearer[divisors[0]]

    def _lines(self, held: Assumptions, touched: Collection[str | None]) -> tuple[dict[str, Line], dict[str, Any]]:
        """The lines that are touched, and what else is said of them."""
        items, parcels, orders, posted, sold = self._items, self._parcels, self._orders, self._posted, self._sold
        known, rules, as_of = self._known, self._rules, self._as_of
        room = parcels["volume_cuft"].to_numpy()
        lines, said = dict[str, Line](), dict[str, Any]()
        if "labor" in touched:
            labor = said["labor"] = item_labor(
                items,
                known.work,
                known.people,
                parcels["size_class"],
                held,
                parcel=Parcels(
                    posted["size_class"].to_numpy(dtype=object), orders.part(room), orders.code, orders.lead
                ),
            )
            hired, origin = (labor.minutes[name].to_numpy() for name in _names("hired"))
            lines["hired"] = hired, origin
        if "fees" in touched:
            charged, refund = _line(recorded(items["shipping_charged_cents"], sold, orders, room)), _refunds(items)
            sales = items.assign(shipping_charged_cents=charged[0])
            taken = marketplace_fees(sales, sold, refund, orders, rules, held)
            lines |= {"shipping_charged": charged, "refund": refund}
            lines |= {"marketplace_fee": taken.fee, "refunded_fee": taken.back}
            said |= {"untaxed": taken.untaxed, "untaxed_venues": taken.untaxed_venues}
        if "label" in touched:
            lines["label"], lines["protection"] = label_lines(
                items, parcels, sold, rules, held, orders=orders, posted=posted
            )
        if "materials" in touched:
            lines["materials"], said["supplies"] = materials_line(
                items, room, posted, sold, known.supplies, orders, held
            )
        if "expected_loss" in touched:
            lines["expected_loss"] = _expected_loss(items, parcels, as_of, held)
        if touched == _ALL:
            listings = said["listings"] = listing_charges(items, orders, rules, held, as_of=as_of)
            listed = np.bincount(listings["row"], weights=listings["cents"], minlength=len(items)).astype(np.int64)
            stale = np.isin(np.arange(len(items)), listings.loc[listings["past"], "row"])
            lines["listing_fee"] = (listed, np.where(listed != 0, by_rule(stale), "none").astype(object))
            cost = lines["cost"] = cost_of_goods(items, known.lots, parcels["weight_lb"])
            lines["trip"] = trip_costs(items, known.trips, cost[0], rules, held)
            overhead, unborne = overhead_shares(items, known.overheads, as_of=pd.Timestamp(as_of))
            lines["overhead"] = _line((overhead, overhead != 0))
            said["unborne"] = int(unborne.sum())
            # What no rule and no assumption fills stands as the books have it.
            for line in MONEY_LINES:
                if line.recorded and line.name not in lines:
                    shared = (orders, room) if line.by_order else ()
                    lines[line.name] = _line(recorded(items[f"{line.recorded}_cents"], sold, *shared))
        return lines, said


def _names(line: str) -> tuple[str, str]:
    """The columns of a line."""
    return f"{line}_cents", f"{line}_origin"


def _columns(lines: Mapping[str, Line]) -> dict[str, Any]:
    """The columns of some lines."""
    return {name: values for line, both in lines.items() for name, values in zip(_names(line), both, strict=True)}


def item_economics(books: Books, rules: Rules, assumptions: Assumptions, as_of: dt.date) -> Economics:
    """Every line of every item's economics, as the books stood on a day.

    Parameters
    ----------
    books : Books
        The seller's books.
    rules : Rules
        Fee schedules, rate cards, parcel rules, mileage and size classes.
    assumptions : Assumptions
        What stands in for what is neither recorded nor ruled.
    as_of : date
        The last day that is known; later events are left out.

    Returns
    -------
    Economics
        One row an item; the lines of an item sum exactly to its net.

    Raises
    ------
    RuleNotInForceError
        If a sale falls on a day that its venue's schedule or rate card does not cover.
    """
    return Supposing(books, rules, assumptions, as_of).under(assumptions)


def net_parts(changes: Mapping[str, npt.NDArray[Any]]) -> npt.NDArray[Any]:
    """What changes of some lines do to the net.

    >>> net_parts({"sold_price_cents": np.array([400]), "label_cents": np.array([90])}).tolist()
    [310]
    """
    return np.asarray(sum(value if name.removesuffix("_cents") in GAINS else -value for name, value in changes.items()))


def net_of(frame: pd.DataFrame) -> Cents:
    """Gains less costs, line by line."""
    return net_parts({f"{line}_cents": frame[f"{line}_cents"].to_numpy(dtype=np.int64) for line in LINES})


def _described(items: pd.DataFrame, parcels: pd.DataFrame, as_of: dt.date) -> pd.DataFrame:
    """What each item is, where it stands and how long it has waited."""
    frame = items[list(_OWN[:9])].copy()
    long = frame["title"].str.len() > LONGEST_TITLE
    if long.any():
        frame.loc[long, "title"] = [shortened(title, LONGEST_TITLE) for title in frame.loc[long, "title"]]
    day = items["bought_on"].dt.strftime("%Y-%m-%d")
    frame["trip_id"] = items["trip_id"].where(items["trip_id"] != "", "bought " + day)
    frame[list(_OWN[9:])] = items[list(_OWN[9:])]
    sold, returned, gone = (items[name].notna() for name in ("sold_on", "returned_on", "gone_on"))
    frame["status"] = np.select(
        [gone, returned, sold, items["listed_on"].notna()], ["gone", "returned", "sold", "for sale"], "not listed"
    )
    frame = pd.concat([frame, parcels], axis=1)
    left = items["gone_on"].fillna(items["sold_on"].where(~returned)).fillna(pd.Timestamp(as_of))
    frame["days_held"] = (left - items["bought_on"]).dt.days
    shown = items["sold_on"].fillna(items["gone_on"]).fillna(pd.Timestamp(as_of))
    frame["days_listed"] = (shown - items["listed_on"]).dt.days.astype(np.float64)
    return frame


def _line(found: tuple[Cents, npt.NDArray[np.bool_]]) -> Line:
    cents, given = found
    return cents, np.where(given, "recorded", "none").astype(object)


def _refunds(items: pd.DataFrame) -> Line:
    """Refunds as recorded; a return without one is taken to have given the price back."""
    back = items["returned_on"].notna().to_numpy()
    given = items["refund_cents"].notna().to_numpy()
    price = items["sold_price_cents"].fillna(0).to_numpy(dtype=np.int64)
    cents = np.where(given, items["refund_cents"].fillna(0).to_numpy(dtype=np.int64), np.where(back, price, 0))
    return cents, np.select([given, back], ["recorded", "assumed"], "none").astype(object)


def _expected_loss(items: pd.DataFrame, parcels: pd.DataFrame, as_of: dt.date, assumptions: Assumptions) -> Line:
    """What sales that can still come back are expected to lose."""
    window = pd.Timedelta(days=assumptions.whole("loss.return_window_days"))
    open_ = (items["sold_on"].notna() & items["returned_on"].isna()).to_numpy()
    open_ = open_ & (items["sold_on"] + window > pd.Timestamp(as_of)).to_numpy()
    chance = per_size(parcels["size_class"], assumptions, "loss.chance")
    rate = chance * assumptions.ppm("loss.share") // PPM
    price = items["sold_price_cents"].fillna(0).to_numpy(dtype=np.int64)
    cents = np.where(open_, percentage(price, rate), 0)
    return cents, np.where(open_, "assumed", "none").astype(object)


def timings_wanted(books: Books, as_of: dt.date) -> list[str]:
    """The jobs whose timing would narrow the doubt about your hours most, a sentence each, and the rule."""
    assumptions = load_assumptions(books.assumptions_file, currency=books.shop.currency)
    found = item_economics(books, load_rules(books.rules_folder).lasts(), assumptions, as_of)
    if found.items.empty:
        return []
    jobs = next_timings(found.items, found.labor, assumptions, as_of=as_of).head(5)
    said = [
        f"{job.activity}, {job.size_class} things: some {job.monthly:.{0 if job.monthly >= 2 else 1}f} a month without "
        f"a log, counted as {job.used_min:.0f} minutes each ({job.logged_items or 'none'} timed so far). "
        f"Timing {TIMINGS} narrows the doubt from ±{job.doubt_min:.0f} to ±{job.then_min:.0f} minutes a month"
        for job in jobs[jobs["gain_min"] >= 0.5].itertuples()
        if round(job.doubt_min) > round(job.then_min)
    ]
    weight = assumptions.number("minutes.logged_weight")
    rule = (
        f"The rule: jobs a month without a log, times how unsure their minutes still are. The kit's own minutes count "
        f"as {weight:g} timings and yours as one each, so the first few of a kind teach most."
    )
    return [*said, rule] if said else []


# What the columns of the frame mean, for whoever asks it a question of their own.

_MEANINGS: tuple[tuple[str, str, str], ...] = (
    ("trip_id", "", "the trip that found it; things bought on one day without a trip count as one"),
    ("status", "", "sold, for sale, not listed, returned or gone"),
    ("size_class", "", "small, medium, bulky or oversize, by the packed parcel"),
    ("volume_cuft", "cu ft", "space that the packed parcel takes"),
    ("measures_origin", "", "whether sides and weight were recorded or assumed"),
    ("days_held", "days", "from the purchase until it left, or until the day of the study"),
    ("days_listed", "days", "from the first listing until it sold or left, or until the day of the study"),
    ("net_cents", "cents", "what it left: gains less costs; for an unsold thing what it cost so far"),
    ("owner_min", "min", "your own work on it, all activities"),
    ("logged_min", "min", "of your own work, what the log holds"),
    ("corrected_min", "min", "of your own work, standard minutes that your own logs corrected"),
    ("hired_min", "min", "hired work on it"),
)


def column_meanings() -> list[tuple[str, str, str]]:
    """Name, unit and meaning of each column of an item's economics."""
    found = {}
    for column in ITEMS.columns:
        unit = {"money": "cents", "signed money": "cents", "date": "day"}.get(column.kind, column.unit)
        found[column.frame_name] = (unit, column.meaning)
    described = [(name, *found[name]) for name in _OWN if name in found]
    measures = [(name, *found[name]) for name in ("length_in", "width_in", "height_in", "weight_lb")]
    lines = [(f"{line.name}_cents", "cents", line.meaning) for line in MONEY_LINES]
    origins = [
        (f"{line}_origin", "", f"where {line}_cents comes from: recorded, rule, assumed, none") for line in LINES
    ]
    work = [(f"{activity}_min", "min", f"your own work: {activity}") for activity in ACTIVITIES]
    logs = [
        (f"{activity}_origin", "", f"where {activity}_min comes from: recorded, assumed, none")
        for activity in ACTIVITIES
    ]
    return [*described, *measures, *_MEANINGS, *lines, *origins, *work, *logs]
