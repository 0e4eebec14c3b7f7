"""Costs that several items share: lots, trips and the month's overheads, not a cent lost."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.assumptions import Assumptions
from flipkit.money import Cents, share_out_groups
from flipkit.rules import mileage
from flipkit.rules.tables import Rules

Origins = npt.NDArray[np.object_]


def cost_of_goods(items: pd.DataFrame, lots: pd.DataFrame, labels_lb: npt.ArrayLike) -> tuple[Cents, Origins]:
    """What each item cost: its own price, or its share of the lot that it came in.

    Items of a lot that carry a cost of their own keep it; the rest of the lot's price is shared
    over the others by the lot's key: expected value (list price), weight, or equally.

    Parameters
    ----------
    items : DataFrame, n rows
        ``cost_cents`` (missing where the lot says), ``lot_id``, ``list_price_cents``.
    lots : DataFrame
        ``lot_id``, ``cost_cents``, ``share_by``.
    labels_lb : array, shape (n,)
        Weight of each item, for lots shared by weight. [lb]

    Returns
    -------
    array, shape (n,)
        Cost of each item. [cents]
    array of str, shape (n,)
        ``recorded``, ``rule`` (a share of a recorded lot) or ``none``.
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
    """Each item's share of its sourcing trip: miles at the dated rate, parking and entry.

    Parameters
    ----------
    items : DataFrame, n rows
        ``trip_id``, empty where the item came from no recorded trip.
    trips : DataFrame
        ``trip_id``, ``date``, ``miles``, ``parking_cents``, ``entry_cents``.
    cost_cents : array, shape (n,)
        Cost of each item, for trips shared by cost. [cents]
    rules : Rules
        Holds the mileage table.
    assumptions : Assumptions
        ``trip.share_by``.

    Returns
    -------
    array, shape (n,)
        Share of the trip. [cents]
    array of str, shape (n,)
        ``rule`` (miles at the dated rate), ``recorded`` (parking and entry alone) or ``none``.
    """
    share = np.zeros(len(items), dtype=np.int64)
    origin = np.full(len(items), "none", dtype=object)
    used = trips[trips["trip_id"].isin(items["trip_id"])]
    if used.empty:
        return share, origin
    miles = used["miles"].fillna(0).to_numpy(dtype=np.float64)
    driven = mileage.mileage_cents(rules.mileage, on=used["date"].to_numpy().astype("datetime64[D]"), miles=miles)
    fares = used[["parking_cents", "entry_cents"]].fillna(0).sum(axis=1).to_numpy(dtype=np.int64)
    place = pd.Index(used["trip_id"])
    rows = np.flatnonzero(items["trip_id"].isin(place).to_numpy())
    group = place.get_indexer(items["trip_id"].to_numpy()[rows])
    weight = np.asarray(cost_cents)[rows] if assumptions.text("trip.share_by") == "cost" else np.ones(rows.size)
    share[rows] = share_out_groups(np.asarray(driven, dtype=np.int64) + fares, group, weight)
    origin[rows] = np.where(miles[group] > 0, "rule", "recorded")
    return share, origin


def overhead_shares(items: pd.DataFrame, overheads: pd.DataFrame, *, as_of: pd.Timestamp) -> tuple[Cents, Cents]:
    """Each item's share of every month's overheads, by the days that it was held in that month.

    Parameters
    ----------
    items : DataFrame, n rows
        ``bought_on``, ``sold_on``, ``gone_on``.
    overheads : DataFrame
        ``month`` (its first day) and ``amount_cents``.
    as_of : Timestamp
        Day of the report: a month that has not ended is charged in full so far as it is recorded.

    Returns
    -------
    array, shape (n,)
        Share of the overheads. [cents]
    array, shape (m,)
        Amounts of months in which nothing was held, which no item bears. [cents]
    """
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
