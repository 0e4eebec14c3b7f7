"""What each sale costs: parcel, label, fees and materials, recorded, by rule or assumed."""

from __future__ import annotations

import datetime as dt
import functools
import importlib.resources
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.assumptions import SIZES, Assumptions
from flipkit.books.schema import PICKUP
from flipkit.economics.labor import shrunk_minutes
from flipkit.errors import AssumptionError, MeasureError
from flipkit.money import LARGEST_CENTS, PPM, Cents, percentage, share_out_groups
from flipkit.rules import fees, mileage, postage
from flipkit.rules import parcels as rule_parcels
from flipkit.rules.rate_cards import RateCard
from flipkit.rules.tables import Rules

Bools = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]
Index = npt.NDArray[np.int64]

# The packed parcel of each item: recorded where measured, else like its category, else assumed.

MEASURES = ("length_in", "width_in", "height_in", "weight_lb")


def packed_parcels(items: pd.DataFrame, rules: Rules, assumptions: Assumptions, *, as_of: dt.date) -> pd.DataFrame:
    """Sides, weight and size class of each item's parcel, with where they come from.

    A parcel with all four measures is taken as recorded. One with some or none takes what it
    lacks from the median of the measured items of its category, and where there is none from
    the assumed parcel.
    """
    given = items[list(MEASURES)].astype(np.float64)
    typical = given.groupby(items["category"]).transform("median")
    filled = given.fillna(typical)
    size = assumptions.text("parcel.size_when_unknown")
    for name in MEASURES:
        filled[name] = filled[name].fillna(assumptions.number(f"parcel.{name}.{size}"))
    on = items["sold_on"].fillna(pd.Timestamp(as_of)).to_numpy().astype("datetime64[D]")
    filled["size_class"] = size_classes(rules, on, {name: filled[name].to_numpy() for name in MEASURES})
    filled["volume_cuft"] = filled[["length_in", "width_in", "height_in"]].prod(axis=1) / 1_728
    filled["measures_origin"] = np.where(given.notna().all(axis=1), "recorded", "assumed")
    return filled


def size_classes(rules: Rules, on: npt.NDArray[np.datetime64], measures: dict[str, Any]) -> npt.NDArray[Any]:
    """Size classes on days: a yardstick, not a charge, so that older books are measured by the first block."""
    on = np.maximum(on, np.datetime64(rules.size_classes.blocks[0].starts, "D"))
    return np.asarray(rule_parcels.size_class(rules.size_classes, on=on, **measures))


# Parcels: what the items of one order share.


@dataclass(frozen=True)
class Orders:
    """Which items went in one parcel; what is unsold, or sold alone, is an order of its own."""

    code: Index
    #: Rows in order of their item ids: ties of a share go by it, so that the order of rows moves no cent.
    by_id: Index
    #: Items whose order has more than one.
    several: Bools
    #: The first item of each order.
    lead: Bools

    def pooled(self, cents: Cents, weights: npt.ArrayLike, *, among: Bools | None = None) -> Cents:
        """Amounts summed over each order and shared among its items again, not a cent lost or invented."""
        wanted = self.several if among is None else self.several & among
        rows = self.by_id[wanted[self.by_id]]
        found = np.array(cents, dtype=np.int64)
        if rows.size:
            names, code = np.unique(self.code[rows], return_inverse=True)
            totals = np.zeros(names.size, dtype=np.int64)
            np.add.at(totals, code, found[rows])
            found[rows] = share_out_groups(totals, code, np.asarray(weights, dtype=np.float64)[rows])
        return found

    def part(self, weights: npt.ArrayLike) -> Floats:
        """What part of its order each item is."""
        weight = np.asarray(weights, dtype=np.float64)
        sums = np.bincount(self.code, weights=weight)[self.code]
        members = np.bincount(self.code)[self.code]
        return np.where(self.several, np.where(sums > 0, weight / np.where(sums > 0, sums, 1.0), 1 / members), 1.0)


def with_order_words(items: pd.DataFrame) -> pd.DataFrame:
    """The items with a blank venue or zone filled from another item of the same order."""
    named = (items["sold_on"].notna() & (items["order_id"] != "")).to_numpy()
    if not named.any():
        return items
    found = items.copy()
    rows = items.loc[named].sort_values("item_id", kind="stable")
    for name in ("venue", "zone"):
        first = rows[name].replace("", pd.NA).groupby([rows["order_id"], rows["sold_on"]]).transform("first")
        found.loc[rows.index, name] = rows[name].where(rows[name] != "", first.fillna("")).astype(items[name].dtype)
    return found


def orders_of(items: pd.DataFrame) -> Orders:
    """Which items share a parcel: sold by one order number, at one venue, on one day, all posted or all collected."""
    by_id = np.argsort(items["item_id"].to_numpy(dtype=object), kind="stable").astype(np.int64)
    named = (items["sold_on"].notna() & (items["order_id"] != "")).to_numpy()
    code = np.arange(len(items), dtype=np.int64)
    if named.any():
        keys = items.loc[named, ["order_id", "venue", "sold_on"]].assign(collected=items.loc[named, "zone"] == PICKUP)
        code[named] = len(items) + keys.groupby(list(keys.columns), sort=False).ngroup().to_numpy()
        code = np.unique(code, return_inverse=True)[1].astype(np.int64)
    lead = np.zeros(len(items), dtype=bool)
    lead[by_id[np.unique(code[by_id], return_index=True)[1]]] = True
    return Orders(code, by_id, np.bincount(code)[code] > 1 if len(items) else lead, lead)


def recorded(
    amounts: pd.Series, applies: Bools, orders: Orders | None = None, weights: npt.ArrayLike = ()
) -> tuple[Cents, Bools]:
    """Recorded amounts and where they stand; what only some items of an order have is the whole order's."""
    given = amounts.notna().to_numpy() & applies
    cents = np.where(given, amounts.fillna(0).to_numpy(dtype=np.int64), 0)
    if orders is None or not orders.several.any():
        return cents, given
    known = np.bincount(orders.code, weights=given)[orders.code]
    partly = orders.several & (known > 0) & (known < np.bincount(orders.code)[orders.code])
    return orders.pooled(cents, weights, among=partly), given | partly


def posted_parcels(items: pd.DataFrame, parcels: pd.DataFrame, orders: Orders, rules: Rules) -> pd.DataFrame:
    """The parcel that each item went in: its own, or its order's.

    Items of an order that give the same measures share that parcel, and a single one that is measured
    stands for all. Others are taken to lie on one another, each on its largest side.
    """
    if not orders.several.any():
        return parcels
    found = parcels.copy()
    rows = np.flatnonzero(orders.several)
    code = orders.code[rows]
    own = parcels[list(MEASURES)].iloc[rows]
    measured = (parcels["measures_origin"] == "recorded").to_numpy()[rows]
    group = own.groupby(code)
    alike = (group.transform("max") == group.transform("min")).all(axis=1).to_numpy()
    known = pd.Series(measured).groupby(code).transform("sum").to_numpy()
    members = pd.Series(measured).groupby(code).transform("size").to_numpy()
    sides = np.sort(own[list(MEASURES[:3])].to_numpy(), axis=1)[:, ::-1]
    stacked = pd.DataFrame(np.column_stack([sides, own["weight_lb"]]), columns=list(MEASURES))
    stacked = stacked.groupby(code).transform(
        lambda column: column.max() if column.name in MEASURES[:2] else column.sum()
    )
    one = own.reset_index(drop=True).where(pd.Series(measured)).groupby(code).transform("max")
    whole = (known == members) & alike
    of_one = known == 1
    parcel = np.where((whole | of_one)[:, None], one.to_numpy(), stacked.to_numpy())
    found.loc[found.index[rows], list(MEASURES)] = parcel
    found.loc[found.index[rows], "measures_origin"] = np.where(whole | of_one, "recorded", "assumed")
    on = items["sold_on"].to_numpy().astype("datetime64[D]")[rows]
    measures = {name: parcel[:, at] for at, name in enumerate(MEASURES)}
    found.loc[found.index[rows], "size_class"] = size_classes(rules, on, measures)
    found.loc[found.index[rows], "volume_cuft"] = parcel[:, :3].prod(axis=1) / 1_728
    return found


# What a sale costs: the marketplace's fee and the label, recorded, by rule or assumed.

Origins = npt.NDArray[np.object_]
Line = tuple[Cents, Origins]

#: Stands for a label that no service sells.
_REFUSED = np.iinfo(np.int64).max


@dataclass(frozen=True)
class SaleFees:
    """What the marketplace took of each sale, and what came back of it with a refund."""

    fee: Line
    back: Line
    #: Fees that a schedule takes of the buyer's tax too, computed without it, and the venues.
    untaxed: int = 0
    untaxed_venues: tuple[str, ...] = ()


def marketplace_fees(
    items: pd.DataFrame, sold: Bools, refund: Line, orders: Orders, rules: Rules, assumptions: Assumptions
) -> SaleFees:
    """The marketplace's fee on each sale, and what came back of it with a refund."""
    goods, shipping = (
        items[name].fillna(0).to_numpy(dtype=np.int64) for name in ("sold_price_cents", "shipping_charged_cents")
    )
    cents, given = recorded(items["fees_paid_cents"], sold, orders, goods)
    origin = np.where(given, "recorded", "none").astype(object)
    back, told = recorded(items["fees_refunded_cents"], sold)
    back_origin = np.where(told, "recorded", "none").astype(object)
    tax, taxed = recorded(items["tax_paid_cents"], sold)
    rate = assumptions.ppm("fees.buyer_tax")
    if rate:
        tax, taxed = np.where(taxed, tax, percentage(goods + shipping, rate)), np.ones(len(items), dtype=bool)
    day = items["sold_on"].to_numpy().astype("datetime64[D]")
    category = items["category"].to_numpy()
    venue = venues(items, assumptions)
    refunded = sold & (refund[0] > 0) & ~told
    whole = np.isin(orders.code, orders.code[refunded])
    untaxed = 0
    untaxed_venues = []
    for name in sorted(set(venue[sold & (~given | refunded)])):
        here = sold & (venue == name)
        schedule = rules.fee_schedules.get(name)
        if schedule is None:
            rows = here & ~given
            fixed = np.where(rows & orders.lead, assumptions.cents("fees.assumed_per_order"), 0)
            share = percentage(goods + shipping, assumptions.ppm("fees.assumed_rate"))
            cents = np.where(rows, share + orders.pooled(fixed, goods, among=rows), cents)
            origin[rows] = "assumed"
            continue
        # A recorded fee asks the schedule only for what comes back, and only where the schedule reaches.
        known = here & given & whole
        known[known] = _covered(schedule, day[known])
        asked = (here & ~given) | known
        rows = orders.by_id[asked[orders.by_id]]
        lines = fees.order_fee_lines(
            schedule,
            on=day[rows],
            goods_cents=goods[rows],
            shipping_cents=shipping[rows],
            tax_cents=tax[rows],
            category=category[rows],
            order=orders.code[rows],
        )
        ruled = ~given[rows]
        cents[rows[ruled]] = lines["total_cents"][ruled]
        origin[rows[ruled]] = by_rule(schedule.past(day[rows]))[ruled]
        of_tax = _taken_of_tax(schedule)[schedule.index_at(day[rows])] if rows.size else np.zeros(0, dtype=bool)
        without = int((of_tax & ruled & ~taxed[rows]).sum())
        if without:
            untaxed += without
            untaxed_venues.append(str(name))
        at = np.flatnonzero(refunded[rows])
        if at.size:
            back[rows[at]] = _fees_back(
                schedule, day, goods, shipping, refund[0], cents, {"lines": lines, "rows": rows, "at": at}, orders
            )
            doubtful = (refund[1][rows[at]] == "assumed") | schedule.past(day[rows[at]])
            back_origin[rows[at]] = by_rule(doubtful)
    back_origin[(back == 0) & ~told] = "none"
    return SaleFees((cents, origin), (back, back_origin), untaxed, tuple(untaxed_venues))


def venues(items: pd.DataFrame, assumptions: Assumptions) -> npt.NDArray[Any]:
    """Where each item is listed or was sold, the assumed venue where the books do not say."""
    return np.asarray(items["venue"].where(items["venue"] != "", assumptions.text("venue.default")).to_numpy())


def _covered(schedule: fees.FeeSchedule, days: npt.NDArray[np.datetime64]) -> Bools:
    unique, at = np.unique(days, return_inverse=True)
    return np.array([schedule.covers(day) for day in unique.tolist()], dtype=bool)[at]


def _taken_of_tax(schedule: fees.FeeSchedule) -> Bools:
    """Whether an ordinary sale's fees under each block are taken of the buyer's tax too."""
    return np.array(
        [
            any(
                "tax" in charge.base
                for charge in (block.commission, block.payment, *block.categories.values())
                if charge
            )
            for block in schedule.blocks
        ]
    )


def _fees_back(
    schedule: fees.FeeSchedule,
    day: npt.NDArray[np.datetime64],
    goods: Cents,
    shipping: Cents,
    refund: Cents,
    paid_fee: Cents,
    asked: dict[str, Any],
    orders: Orders,
) -> Cents:
    """What comes back of the fees on refunded sales; of a recorded fee the part that comes back of the ruled one."""
    rows, at = asked["rows"], asked["at"]
    here = rows[at]
    block = schedule.index_at(day[rows])
    fixed = np.array([entry.payment.fixed_cents if entry.payment else 0 for entry in schedule.blocks])[block]
    alone = np.array([not (entry.payment and entry.payment.per_order) for entry in schedule.blocks])[block]
    each = np.zeros(day.size, dtype=np.int64)
    each[rows] = np.where(alone | orders.lead[rows], fixed, 0)
    among = np.zeros(day.size, dtype=bool)
    among[rows] = ~alone
    each = orders.pooled(each, goods, among=among)
    bought = goods[here] + shipping[here]
    found = fees.refunded_fees(
        schedule,
        sold_on=day[here],
        fees={name: values[at] for name, values in asked["lines"].items()},
        paid_cents=bought,
        refund_cents=np.minimum(refund[here], bought),
        payment_fixed_cents=each[here],
    )
    total = np.maximum(asked["lines"]["total_cents"][at], 1)
    whole = found["back_cents"] + found["refund_fee_cents"]
    part = (2 * whole * paid_fee[here] + total) // (2 * total)
    return np.asarray(np.minimum(part, paid_fee[here]) - found["refund_fee_cents"])


def listing_charges(
    items: pd.DataFrame, orders: Orders, rules: Rules, assumptions: Assumptions, *, as_of: dt.date
) -> pd.DataFrame:
    """Every listing and relisting up to a day that cost something: the item's row, the day, what it cost.

    A thing is on sale from its listing until it sells, leaves, or the day of the study. What was charged
    before a schedule's first day, or after its last, is not known and not counted.
    """
    listed = items["listed_on"].to_numpy().astype("datetime64[D]")
    ended = items[["sold_on", "gone_on"]].min(axis=1).fillna(pd.Timestamp(as_of)).to_numpy().astype("datetime64[D]")
    venue = venues(items, assumptions)
    parts = []
    for name in sorted(set(venue[~np.isnat(listed)])):
        schedule = rules.fee_schedules.get(name)
        if schedule is None or not any(block.listing for block in schedule.blocks):
            continue
        first, last = schedule.blocks[0], schedule.blocks[-1]
        begins = np.datetime64(first.starts, "D")
        closes = None if schedule.lasting else last.ends
        end = np.minimum(ended, np.datetime64(closes or dt.date.max, "D"))
        length = first.listing.relist_every_days if first.listing else 0
        # What stood there before the table began is counted from its first relisting inside the table.
        early = np.maximum((begins - listed).astype(np.int64), 0)
        steps = -(-early // length) if length else np.where(early > 0, np.int64(36_500), 0)
        start = listed + (steps * max(length, 1)).astype("timedelta64[D]")
        wanted = (venue == name) & ~np.isnat(listed) & (start <= end)
        rows = orders.by_id[wanted[orders.by_id]]
        thing, day, paid = fees.listing_charges(schedule, listed_on=start[rows], ended_on=end[rows])
        charged = paid > 0
        parts.append((rows[thing][charged], day[charged], paid[charged], schedule.past(day[charged])))
    return listing_frame(parts)


def listing_frame(parts: list[tuple[Index, npt.NDArray[np.datetime64], Cents, Bools]]) -> pd.DataFrame:
    """Charges of several venues, each given as rows of the items, days, amounts and whether the table had run out."""
    kinds = {"row": "int64", "day": "datetime64[s]", "cents": "int64", "past": "bool"}
    columns = zip(*parts, strict=True) if parts else ([np.zeros(0)] for _ in kinds)
    return pd.DataFrame({name: np.concatenate(list(part)) for name, part in zip(kinds, columns, strict=True)}).astype(
        kinds
    )


def by_rule(past: npt.NDArray[np.bool_]) -> Origins:
    """Origin of what a rule gave: assumed where its table had run out and the last known value stood in."""
    return np.where(past, "assumed", "rule").astype(object)


def label_lines(
    items: pd.DataFrame,
    parcels: pd.DataFrame,
    sold: Bools,
    rules: Rules,
    assumptions: Assumptions,
    *,
    orders: Orders,
    posted: pd.DataFrame,
    protected: bool = True,
) -> tuple[Line, Line]:
    """The label of each parcel and, apart, what protection it carries; an order's by the room each item takes."""
    room = parcels["volume_cuft"].to_numpy()
    cents, given = recorded(items["label_paid_cents"], sold, orders, room)
    origin = np.where(given, "recorded", "none").astype(object)
    protection, told = np.zeros(len(items), dtype=np.int64), np.zeros(len(items), dtype=bool)
    declared, signed = protection.copy(), told
    if protected:
        protection, told = recorded(items["protection_paid_cents"], sold, orders, room)
        declared, signed = _chosen_protection(items, orders, assumptions, ~told)
    kind = np.where(told, "recorded", "none").astype(object)
    unknown = sold & ~given & (items["zone"] != PICKUP).to_numpy()
    rows = np.flatnonzero(unknown & orders.lead)
    cents[unknown] = 0
    zone = items["zone"].to_numpy(dtype=object)
    cards = own_rate_cards(rules, assumptions)
    by_card = np.zeros(len(items), dtype=bool)
    if cards and rows.size:
        found, guarded, past = _by_rate_card(items, posted, rows, cards, rules, assumptions, declared, signed)
        taken = found >= 0
        cents[rows[taken]] = found[taken]
        protection[rows[taken]] += np.where(told[rows[taken]], 0, guarded[taken])
        measured = (posted["measures_origin"] == "recorded").to_numpy() & (zone != "")
        by_card[unknown] = np.isin(orders.code[unknown], orders.code[rows[taken]])
        stale = np.isin(orders.code, orders.code[rows[taken & past]])
        origin[unknown] = by_rule(stale | ~(by_card & measured))[unknown]
        rows = rows[~taken]
    cents[rows] = per_size(posted["size_class"].iloc[rows], assumptions, "label.assumed")
    origin[unknown & ~by_card] = "assumed"
    cents = orders.pooled(cents, room, among=unknown)
    protection = orders.pooled(protection, room, among=unknown & ~told)
    # What one thing of an order is declared at is the parcel's.
    stated = np.isin(orders.code, orders.code[items["declared_value_cents"].notna()]) if protected else told
    chosen = np.where(stated, "rule", "assumed")
    kind = np.where((protection != 0) & ~told, chosen, kind).astype(object)
    return (cents, origin), (protection, kind)


def _chosen_protection(
    items: pd.DataFrame, orders: Orders, assumptions: Assumptions, open_: Bools
) -> tuple[Cents, Bools]:
    """What each parcel is declared to be worth, and whether it needs a signature, as recorded or else as assumed."""
    value = items["sold_price_cents"].fillna(0).to_numpy(dtype=np.int64)
    worth = np.bincount(orders.code, weights=value)[orders.code].astype(np.int64)
    said = items["declared_value_cents"]
    stated = np.bincount(orders.code, weights=said.fillna(0).to_numpy(dtype=np.int64))[orders.code].astype(np.int64)
    named = np.bincount(orders.code, weights=said.notna())[orders.code] > 0
    assumed, signed = usual_protection(worth, assumptions)
    return np.where(open_, np.where(named, stated, assumed), 0), open_ & signed


def usual_protection(worth_cents: Cents, assumptions: Assumptions) -> tuple[Cents, Bools]:
    """What parcels with so much in them are taken to be declared at, and whether they take a signature."""
    declare, sign = (assumptions.cents(f"protection.{name}") for name in ("declare_from", "signature_from"))
    declared = np.where((declare > 0) & (worth_cents >= declare), worth_cents, 0)
    return declared, np.asarray((sign > 0) & (worth_cents >= sign))


def own_rate_cards(rules: Rules, assumptions: Assumptions) -> list[RateCard]:
    """The rate cards that price a label which is not recorded."""
    names = [name.strip() for name in assumptions.text("postage.rate_cards").split(",") if name.strip()]
    for name in names:
        if name not in rules.rate_cards:
            raise AssumptionError(
                "postage.rate_cards",
                need=f"names of rate cards among {', '.join(sorted(rules.rate_cards)) or 'none'}",
                got=name,
                mend="put the card into the books' rules folder",
            )
    return [rules.rate_cards[name] for name in names]


def _by_rate_card(
    items: pd.DataFrame,
    parcels: pd.DataFrame,
    rows: Index,
    cards: list[RateCard],
    rules: Rules,
    assumptions: Assumptions,
    declared: Cents,
    signed: Bools,
) -> tuple[Cents, Cents, Bools]:
    """Cheapest label of each row, -1 where none takes the parcel, its protection, and whose table had run out."""
    zone = items["zone"].to_numpy(dtype=object)[rows]
    on = items["sold_on"].to_numpy()[rows].astype("datetime64[D]")

    past = np.zeros(rows.size, dtype=bool)

    def cheapest(at: Index, where: object, mix: dict[str, float] | None) -> tuple[Cents, Cents]:
        side = {name: parcels[name].to_numpy()[rows[at]] for name in MEASURES}
        best = np.full(at.size, _REFUSED, dtype=np.int64)
        guard = np.zeros(at.size, dtype=np.int64)
        for card in cards:
            block = card.index_at(on[at])
            # A card that covers less, or asks for no signature, is taken for what it offers.
            most = np.array([b.declared_value.maximum_cents if b.declared_value else 0 for b in card.blocks])[block]
            signs = np.array([bool(b.signature_cents) for b in card.blocks])[block]
            frame = postage.label_columns(
                card,
                rules.rules_of(card),
                on=on[at],
                zone=where,
                zone_mix=mix,
                declared_cents=np.minimum(declared[rows[at]], most),
                signature=signed[rows[at]] & signs,
                **side,
            )
            price = np.where(frame["refused"] == "", frame["total_cents"], _REFUSED)
            better = price < best
            past[at] = np.where(better, card.past(on[at]) | rules.rules_of(card).past(on[at]), past[at])
            best = np.where(better, price, best)
            guard = np.where(better, frame["signature_cents"] + frame["protection_cents"], guard)
        return best, guard

    best = np.full(rows.size, _REFUSED, dtype=np.int64)
    guard = np.zeros(rows.size, dtype=np.int64)
    for at, mix in ((np.flatnonzero(zone != ""), None), (np.flatnonzero(zone == ""), assumptions.zone_mix())):
        if at.size:
            best[at], guard[at] = cheapest(at, zone[at] if mix is None else None, mix)
    return np.where(best == _REFUSED, -1, best - guard), guard, past


def per_size(size_class: pd.Series, assumptions: Assumptions, key: str) -> Cents:
    """What an assumption says of each size class."""
    table = np.array([int(assumptions.by_size(key)[size]) for size in SIZES], dtype=np.int64)
    return table[np.array([SIZES.index(size) for size in size_class], dtype=np.int64)]


# Packing materials: recorded, or as plans have them and corrected by the supplies that were bought.


#: Plans whose middle stands for a parcel.
_ALIKE = 5


@functools.cache
def _plans() -> tuple[Any, Floats]:
    """The kit's plans by what is known of a parcel, and what each took by its surface, over the assumed medium's."""
    from scipy.spatial import KDTree

    with (importlib.resources.files("flipkit.economics") / "plans.csv").open(encoding="utf-8") as file:
        *known, taken = np.loadtxt(file, delimiter=",", skiprows=1, unpack=True)
    place, surface = _placed(np.array(known))
    return KDTree(place), taken / surface


def _placed(known: Floats) -> tuple[Floats, Floats]:
    """Where parcels stand by logarithms of their sides, of weight and worth weighed less; and their surfaces."""
    sides = np.sort(known[:3], axis=0)
    return np.log([*sides, known[3] ** 0.3, known[4] ** 0.2]).T, sides[0] * (sides[1] + sides[2]) + sides[1] * sides[2]


def materials_like_plans(posted: pd.DataFrame, worth_cents: npt.ArrayLike, assumptions: Assumptions) -> Floats:
    """Packing materials of each measured parcel as the kit's plans have them; missing where it is not measured. [cents]

    A plan for every sale takes too long, so the middle of the plans of the parcels most alike stands for it, all of
    them for things as fragile as ``flipkit packing`` takes one to be that is not said to be otherwise
    (``python -m tests.benchmarks.bench_packing like`` makes their table and measures how far off that is).
    """
    found = np.full(len(posted), np.nan)
    rows = np.flatnonzero(posted["measures_origin"] == "recorded")
    if rows.size:
        plans, taken = _plans()
        worth = np.maximum(np.asarray(worth_cents, dtype=np.float64)[rows], 100.0)
        worth /= max(assumptions.cents("packing.value"), 100)
        place, surface = _placed(np.vstack([posted[list(MEASURES)].to_numpy(dtype=np.float64)[rows].T, worth]))
        _, alike = plans.query(place, k=_ALIKE)
        medium = assumptions.number("packing.like_plans") * assumptions.cents("materials.assumed.medium")
        found[rows] = np.minimum(medium * surface * np.median(taken[alike], axis=1), LARGEST_CENTS)
    return found


#: How far purchases may move the assumed materials: beyond it they were not made for these parcels alone.
MOST_TAUGHT = 4.0


@dataclass(frozen=True)
class SuppliesUsed:
    """What bought supplies say of the materials that parcels were charged."""

    bought_cents: int
    charged_cents: int
    since: dt.date | None
    parcels: int
    #: What a parcel took over what is assumed for it, as bought, and as used here.
    seen: float
    used: float


def materials_line(
    items: pd.DataFrame,
    room: Floats,
    posted: pd.DataFrame,
    sold: Bools,
    supplies: pd.DataFrame,
    orders: Orders,
    assumptions: Assumptions,
) -> tuple[Line, SuppliesUsed]:
    """Packing materials as recorded; where they are not, what such a parcel takes, as bought supplies teach."""
    cents, given = recorded(items["materials_paid_cents"], np.ones(len(items), dtype=bool), orders, room)
    by_post = sold & (items["zone"] != PICKUP).to_numpy()
    price = items["sold_price_cents"].fillna(0).to_numpy(dtype=np.float64)
    planned = materials_like_plans(posted, np.bincount(orders.code, weights=price)[orders.code], assumptions)
    by_size = per_size(posted["size_class"], assumptions, "materials.assumed")
    parcel = by_post & orders.lead
    usual = np.where(np.isnan(planned), by_size, np.rint(planned)).astype(np.int64)
    standard = np.where(parcel, usual, 0)
    day = items["sold_on"].to_numpy().astype("datetime64[D]")
    since, seen, used = _taught(supplies, day[parcel], standard[parcel], assumptions)
    late = parcel & (day >= np.datetime64(since, "D")) if since else np.zeros(len(items), dtype=bool)
    open_ = by_post & ~given
    assumed = (np.where(open_, standard, 0) * round(used * PPM) + PPM // 2) // PPM
    cents = np.where(open_, orders.pooled(assumed, room, among=open_), cents)
    charged = cents[by_post & (day >= np.datetime64(since, "D"))].sum() if since else 0
    bought = int(supplies["cost_cents"].fillna(0).sum()) if len(supplies) else 0
    told = SuppliesUsed(bought, int(charged), since, int(late.sum()), seen, used)
    return (cents, np.select([given, open_], ["recorded", "assumed"], "none").astype(object)), told


def _taught(
    supplies: pd.DataFrame, day: npt.NDArray[np.datetime64], standard: Cents, assumptions: Assumptions
) -> tuple[dt.date | None, float, float]:
    """First purchase of supplies, what a parcel took over its assumed materials, and the figure to use.

    What was bought before the last purchase of a supply was used up between its first and its last one, as
    with fuel filled up again. A supply bought so seldom that few parcels lie between is taken to be used up by now.
    The figure, at most four times the assumption and at least a quarter of it, counts beside the assumption as
    logged minutes count beside standard ones, once there are enough parcels.
    """
    if supplies.empty:
        return None, np.nan, 1.0
    bought = supplies["date"].to_numpy().astype("datetime64[D]")
    cost = supplies["cost_cents"].fillna(0).to_numpy(dtype=np.float64)
    since = bought.min()
    parcels = int((day >= since).sum())
    enough = assumptions.whole("materials.enough_parcels")
    if parcels < enough:
        return since.item(), np.nan, 1.0
    seen = 0.0
    for rows in supplies.groupby("supply", sort=True).indices.values():
        first, last = bought[rows].min(), bought[rows].max()
        between = (day >= first) & (day < last)
        if between.sum() >= enough:
            spent = cost[rows][bought[rows] < last].sum()
        else:
            spent, between = cost[rows].sum(), day >= first
        if standard[between].sum() > 0:
            seen += float(spent / standard[between].sum())
    weight = assumptions.number("materials.learned_weight")
    likely = min(max(seen, 1 / MOST_TAUGHT), MOST_TAUGHT)
    return since.item(), seen, float(shrunk_minutes(1.0, parcels, likely, weight=weight))


# Costs that several items share: lots, trips and the month's overheads, not a cent lost.


def cost_of_goods(items: pd.DataFrame, lots: pd.DataFrame, labels_lb: npt.ArrayLike) -> tuple[Cents, Origins]:
    """What each item cost: its own price, or its share of the lot that it came in.

    Items of a lot that carry a cost of their own keep it; the rest of the lot's price is shared
    over the others by the lot's key: expected value (list price), weight, or equally.
    """
    own = items["cost_cents"]
    cost = own.fillna(0).to_numpy(dtype=np.int64).copy()
    origin = np.where(own.notna(), "recorded", "none").astype(object)
    waiting = own.isna().to_numpy() & items["lot_id"].isin(lots["lot_id"]).to_numpy()
    if not waiting.any():
        return cost, origin
    spent = pd.Series(cost).groupby(items["lot_id"].to_numpy()).sum()
    frame = lots.set_index("lot_id")
    rest = (frame["cost_cents"].astype(np.int64) - spent.reindex(frame.index).fillna(0).astype(np.int64)).clip(lower=0)
    rows = np.flatnonzero(waiting)
    codes, names = pd.factorize(items["lot_id"].to_numpy()[rows])
    by = frame["share_by"].reindex(names).to_numpy()[codes]
    value = items["list_price_cents"].astype("Float64").to_numpy(dtype=np.float64, na_value=np.nan)[rows]
    value = np.where(np.isnan(value), _group_mean(value, codes), value)
    weight = np.select([by == "weight", by == "expected value"], [np.asarray(labels_lb)[rows], value], 1.0)
    cost[rows] = share_out_groups(rest.reindex(names).to_numpy(dtype=np.int64), codes, weight)
    origin[rows] = "rule"
    return cost, origin


def _group_mean(values: npt.NDArray[np.float64], codes: npt.NDArray[np.int64]) -> npt.NDArray[np.float64]:
    """Mean of the known values of each member's group; zero, which shares equally, where none is known."""
    known = ~np.isnan(values)
    total = np.bincount(codes, weights=np.where(known, values, 0.0))
    count = np.bincount(codes, weights=known)
    return np.divide(total, count, out=np.zeros_like(total), where=count > 0)[codes]


def trip_costs(
    items: pd.DataFrame, trips: pd.DataFrame, cost_cents: Cents, rules: Rules, assumptions: Assumptions
) -> tuple[Cents, Origins]:
    """Each item's share of its sourcing trip: miles at the dated rate, parking and entry."""
    share = np.zeros(len(items), dtype=np.int64)
    origin = np.full(len(items), "none", dtype=object)
    used = trips[trips["trip_id"].isin(items["trip_id"])]
    if used.empty:
        return share, origin
    miles = used["miles"].fillna(0).to_numpy(dtype=np.float64)
    on = used["date"].to_numpy().astype("datetime64[D]")
    driven = mileage.mileage_cents(rules.mileage, on=on, miles=miles)
    fares = used[["parking_cents", "entry_cents"]].fillna(0).sum(axis=1).to_numpy(dtype=np.int64)
    place = pd.Index(used["trip_id"])
    rows = np.flatnonzero(items["trip_id"].isin(place).to_numpy())
    group = place.get_indexer(items["trip_id"].to_numpy()[rows])
    weight = np.asarray(cost_cents)[rows] if assumptions.text("trip.share_by") == "cost" else np.ones(rows.size)
    share[rows] = share_out_groups(np.asarray(driven, dtype=np.int64) + fares, group, weight)
    origin[rows] = np.where(miles[group] > 0, by_rule(rules.mileage.past(on))[group], "recorded")
    return share, origin


def overhead_shares(items: pd.DataFrame, overheads: pd.DataFrame, *, as_of: pd.Timestamp) -> tuple[Cents, Cents]:
    """Each item's share of every month's overheads, by the days that it was held in that month."""
    total = np.zeros(len(items), dtype=np.int64)
    unborne: list[int] = []
    if overheads.empty:
        return total, np.array(unborne, dtype=np.int64)
    start = items["bought_on"].to_numpy().astype("datetime64[D]")
    # What came back from a sale takes room again until it leaves for good.
    sold = items["sold_on"].where(items["returned_on"].isna())
    end = items["gone_on"].fillna(sold).fillna(as_of).to_numpy().astype("datetime64[D]")
    months = overheads.groupby("month")["amount_cents"].sum()
    for month, amount in months.items():
        first = np.datetime64(month, "D")
        last = np.datetime64(month + pd.offsets.MonthEnd(0), "D")
        held = (np.minimum(end, last) - np.maximum(start, first)).astype(np.int64) + 1
        rows = np.flatnonzero(held > 0)
        if rows.size:
            total[rows] += share_out_groups([int(amount)], np.zeros(rows.size, dtype=np.int64), held[rows])
        else:
            unborne.append(int(amount))
    return total, np.array(unborne, dtype=np.int64)


# What a unit of each supply costs, from the books.


def unit_costs(supplies: pd.DataFrame, *, as_of: dt.date, days: int) -> dict[str, float]:
    """Mean cost of a unit of each supply over its recent purchases, weighted by quantity.

    Where nothing was bought within the days asked for, the last purchase before them counts.
    """
    day = pd.Timestamp(as_of)
    known = supplies[(supplies["date"] <= day) & (supplies["quantity"] > 0)]
    found = {}
    for supply, rows in known.groupby("supply", sort=True):
        units = sorted(set(rows["unit"]))
        if len(units) > 1:
            raise MeasureError(str(supply), need="one unit", got=", ".join(units), where="supplies")
        recent = rows[rows["date"] > day - pd.Timedelta(days=days)]
        if recent.empty:
            recent = rows[rows["date"] == rows["date"].max()]
        found[str(supply)] = float(recent["cost_cents"].sum() / recent["quantity"].sum())
    return found
