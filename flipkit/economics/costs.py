"""TODO"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.assumptions import SIZES, Assumptions
from flipkit.books.schema import PICKUP
from flipkit.errors import AssumptionError, MeasureError
from flipkit.money import Cents, percentage, share_out_groups
from flipkit.rules import fees, mileage, postage
from flipkit.rules import parcels as rule_parcels
from flipkit.rules.rate_cards import RateCard
from flipkit.rules.tables import Rules

if TYPE_CHECKING:
    import pandas as pd


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
    # The classes are a yardstick, not a charge: books older than the table are measured by its first block.
    on = np.maximum(on, np.datetime64(rules.size_classes.blocks[0].starts, "D"))
    sides = {name: filled[name].to_numpy() for name in MEASURES}
    filled["size_class"] = rule_parcels.size_class(rules.size_classes, on=on, **sides)
    filled["volume_cuft"] = filled[["length_in", "width_in", "height_in"]].prod(axis=1) / 1_728
    filled["measures_origin"] = np.where(given.notna().all(axis=1), "recorded", "assumed")
    return filled


# What a sale costs: the marketplace's fee and the label, recorded, by rule or assumed.

Origins = npt.NDArray[np.object_]

#: Stands for a label that no service sells.
_REFUSED = np.iinfo(np.int64).max


def marketplace_fees(
    items: pd.DataFrame, sold: npt.ArrayLike, rules: Rules, assumptions: Assumptions
) -> tuple[Cents, Origins]:
    """The marketplace's fee on each sale."""
    is_sold = np.asarray(sold, dtype=bool)
    given = items["fees_paid_cents"].notna().to_numpy() & is_sold
    cents = np.where(given, items["fees_paid_cents"].fillna(0).to_numpy(dtype=np.int64), 0)
    origin = np.where(given, "recorded", "none").astype(object)
    goods = items["sold_price_cents"].fillna(0).to_numpy(dtype=np.int64)
    shipping = items["shipping_charged_cents"].fillna(0).to_numpy(dtype=np.int64)
    venue = items["venue"].where(items["venue"] != "", assumptions.text("venue.default")).to_numpy()
    for name in sorted(set(venue[is_sold & ~given])):
        rows = np.flatnonzero(is_sold & ~given & (venue == name))
        schedule = rules.fee_schedules.get(name)
        if schedule is None:
            rate, fixed = assumptions.ppm("fees.assumed_rate"), assumptions.cents("fees.assumed_per_order")
            cents[rows] = percentage(goods[rows] + shipping[rows], rate) + fixed
            origin[rows] = "assumed"
        else:
            on = items["sold_on"].to_numpy()[rows].astype("datetime64[D]")
            lines = fees.order_fees(
                schedule,
                on=on,
                goods_cents=goods[rows],
                shipping_cents=shipping[rows],
                category=items["category"].to_numpy()[rows],
            )
            cents[rows] = lines["total_cents"].to_numpy()
            origin[rows] = by_rule(schedule.past(on))
    return cents, origin


def by_rule(past: npt.NDArray[np.bool_]) -> Origins:
    """Origin of what a rule gave: assumed where its table had run out and the last known value stood in."""
    return np.where(past, "assumed", "rule").astype(object)


def label_lines(
    items: pd.DataFrame, parcels: pd.DataFrame, sold: npt.ArrayLike, rules: Rules, assumptions: Assumptions
) -> tuple[tuple[Cents, Origins], tuple[Cents, Origins]]:
    """The label of each parcel and, apart, what protection it carries."""
    is_sold = np.asarray(sold, dtype=bool)
    given = items["label_paid_cents"].notna().to_numpy() & is_sold
    cents = np.where(given, items["label_paid_cents"].fillna(0).to_numpy(dtype=np.int64), 0)
    origin = np.where(given, "recorded", "none").astype(object)
    protection = np.zeros(len(items), dtype=np.int64)
    none = np.full(len(items), "none", dtype=object)
    rows = np.flatnonzero(is_sold & ~given & (items["zone"] != PICKUP).to_numpy())
    cards = own_rate_cards(rules, assumptions)
    if cards and rows.size:
        found, past = _by_rate_card(items, parcels, rows, cards, rules, assumptions)
        taken = found >= 0
        cents[rows[taken]] = found[taken]
        measured = (parcels["measures_origin"] == "recorded").to_numpy() & (items["zone"] != "").to_numpy()
        origin[rows[taken]] = by_rule(past[taken] | ~measured[rows[taken]])
        rows = rows[~taken]
    table = np.array([int(assumptions.by_size("label.assumed")[size]) for size in SIZES], dtype=np.int64)
    cents[rows] = table[np.array([SIZES.index(size) for size in parcels["size_class"].to_numpy()[rows]], dtype=int)]
    origin[rows] = "assumed"
    return (cents, origin), (protection, none)


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
    rows: npt.NDArray[np.int64],
    cards: list[RateCard],
    rules: Rules,
    assumptions: Assumptions,
) -> tuple[Cents, npt.NDArray[np.bool_]]:
    """Cheapest label of each row, -1 where no service of any card takes the parcel; whose table had run out."""
    zone = items["zone"].to_numpy()[rows]
    on = items["sold_on"].to_numpy()[rows].astype("datetime64[D]")

    stale = np.zeros(rows.size, dtype=bool)

    def cheapest(at: npt.NDArray[np.int64], zones: object, mix: dict[str, float] | None) -> Cents:
        side = {name: parcels[name].to_numpy()[rows[at]] for name in MEASURES}
        best = np.full(at.size, _REFUSED, dtype=np.int64)
        for card in cards:
            frame = postage.labels(card, rules.rules_of(card), on=on[at], zone=zones, zone_mix=mix, **side)
            price = frame["total_cents"].to_numpy(dtype=np.int64)
            price = np.where((frame["refused"] == "").to_numpy(), price, _REFUSED)
            past = card.past(on[at]) | rules.rules_of(card).past(on[at])
            stale[at] = np.where(price < best, past, stale[at])
            best = np.minimum(best, price)
        return best

    result = np.full(rows.size, _REFUSED, dtype=np.int64)
    known = np.flatnonzero(zone != "")
    if known.size:
        result[known] = cheapest(known, zone[known], None)
    unknown = np.flatnonzero(zone == "")
    if unknown.size:
        result[unknown] = cheapest(unknown, None, assumptions.zone_mix())
    return np.where(result == _REFUSED, -1, result), stale


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
    end = items[["sold_on", "gone_on"]].min(axis=1).fillna(as_of).to_numpy().astype("datetime64[D]")
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

    >>> import pandas as pd
    >>> bought = pd.DataFrame({
    ...     "date": pd.to_datetime(["2026-01-05", "2026-10-01", "2026-11-01"]),
    ...     "supply": "tape", "unit": "roll", "quantity": [6, 6, 2], "cost_cents": [1200, 1440, 560]})
    >>> unit_costs(bought, as_of=dt.date(2026, 11, 25), days=180)
    {'tape': 250.0}
    """
    import pandas as pd

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
