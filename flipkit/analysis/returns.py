"""Hourly return by category, with intervals, verdicts and small groups adjusted."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import stdtrit

from flipkit.analysis.ratio_stats import (
    MOST_LENT,
    IntervalSettings,
    RatioInterval,
    SkewedSpread,
    generator,
    jackknife_error,
    lent_reach,
    one_find_decides,
    ratio_interval,
    ratio_of_sums,
    ratios_without_each,
)
from flipkit.analysis.stock_value import (
    Horizon,
    Shelves,
    expected_stock_values,
    expected_values_by_trip,
)
from flipkit.errors import AssumptionError

# Which items count, and what they sum to by group and sourcing trip.

Window = tuple[dt.date, dt.date]


def in_window(economics: pd.DataFrame, *, window: Window, basis: str) -> pd.DataFrame:
    """The items of a window, by the day of their sale, of their purchase, or of their sale or write-off.

    >>> rows = pd.DataFrame({"sold_on": pd.to_datetime(["2026-01-31", "2026-02-01", None])})
    >>> len(in_window(rows, window=(dt.date(2026, 1, 1), dt.date(2026, 1, 31)), basis="sold"))
    1
    """
    if basis not in ("sold", "bought", "settled"):
        raise AssumptionError("basis", need="'sold', 'bought' or 'settled'", got=basis)
    first, last = (pd.Timestamp(day) for day in window)
    if last < first:
        raise AssumptionError("window", need="a first day no later than its last", got=f"{first:%F} to {last:%F}")
    day = settled_on(economics) if basis == "settled" else economics[f"{basis}_on"]
    return economics.loc[((day >= first) & (day <= last)).to_numpy(dtype=bool)]


#: What stands for a source, a condition or a category that the books do not name.
UNKNOWN = "not recorded"


def blanks_named(group: npt.ArrayLike) -> npt.NDArray[np.object_]:
    """The names with one for the group of those that state none, so that every row is accounted for.

    >>> blanks_named(["fair", "", None]).tolist()
    ['fair', 'not recorded', 'not recorded']
    """
    given = pd.Series(np.asarray(group, dtype=object))
    return given.mask(given.isna() | (given == ""), UNKNOWN).to_numpy(dtype=object)


def unsold_group(group: npt.ArrayLike, sold: npt.ArrayLike) -> str | None:
    """The group that holds all that is unsold and nothing that sold: it was named by what became of its things.

    >>> unsold_group(["lamps", "lamps", "rest"], [True, True, False])
    'rest'
    >>> unsold_group(["lamps", "rest", "rest"], [True, True, False])
    """
    names, done = np.asarray(group, dtype=object), np.asarray(sold, dtype=bool)
    left = set(names[~done])
    return str(*left) if len(left) == 1 and done.any() and not left & set(names[done]) else None


def settled_on(items: pd.DataFrame) -> pd.Series:
    """The day on which a thing's money counts: that of its sale or, if it never sold, that on which it left.

    >>> rows = pd.DataFrame({"sold_on": pd.to_datetime(["2026-01-31", None]),
    ...     "gone_on": pd.to_datetime([None, "2026-02-03"])})
    >>> settled_on(rows).dt.day.tolist()
    [31, 3]
    """
    return items["sold_on"].fillna(items["gone_on"])


def trip_sums(
    items: pd.DataFrame, *, by: str
) -> tuple[list[Any], npt.NDArray[np.bool_], npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Net and owner minutes summed over the items of each group (a row) and trip (a column), and which have any.

    >>> rows = pd.DataFrame({"category": ["a", "a", "b"], "trip_id": ["t", "t", "t"],
    ...     "net_cents": [1, 2, 5], "owner_min": [1.0, 1.0, 4.0]})
    >>> names, touched, net, minutes = trip_sums(rows, by="category")
    >>> names, touched.tolist(), net.tolist()
    (['a', 'b'], [[True], [True]], [[3.0], [5.0]])
    """
    group, labels = pd.factorize(items[by].astype(object), sort=True)
    trip, trip_labels = pd.factorize(items["trip_id"].astype(object), sort=True)
    shape = len(labels), len(trip_labels)
    net, minutes, count = (
        np.bincount(group * shape[1] + trip, weights, shape[0] * shape[1]).reshape(shape).astype(np.float64)
        for weights in (items["net_cents"].to_numpy(), items["owner_min"].to_numpy(), np.ones(len(items)))
    )
    return list(labels), count > 0, net, minutes


def group_counts(items: pd.DataFrame, *, by: str, names: Sequence[Any]) -> pd.DataFrame:
    """Items, trips, sales, exact net and owner minutes of each group.

    >>> rows = pd.DataFrame({"category": ["a"], "trip_id": ["t"], "sold_on": pd.to_datetime(["2026-01-02"]),
    ...     "net_cents": [7], "owner_min": [3.0]})
    >>> group_counts(rows, by="category", names=["a", "b"])["items"].tolist()
    [1, 0]
    """
    grouped = items.groupby(by, sort=False)
    counts = pd.DataFrame(
        {
            "items": grouped.size(),
            "trips": grouped["trip_id"].nunique(),
            "sold": grouped["sold_on"].count(),
            "net_cents": grouped["net_cents"].sum(),
            "owner_min": grouped["owner_min"].sum(),
        }
    ).reindex(pd.Index(names, dtype=object, name=by))
    whole = ["items", "trips", "sold", "net_cents"]
    counts[whole] = counts[whole].fillna(0).astype(np.int64)
    counts["owner_min"] = counts["owner_min"].fillna(0.0).astype(np.float64)
    return counts.reset_index()


def coded_sums(values: npt.ArrayLike, code: npt.NDArray[np.intp]) -> npt.NDArray[np.float64]:
    """Sums of values that carry the same code.

    >>> coded_sums([5, 7, 1], np.array([0, 1, 0])).tolist()
    [6.0, 7.0]
    """
    return np.bincount(code, weights=np.asarray(values, dtype=np.float64)).astype(np.float64)


# Verdicts in plain words, each by a stated bound.
#
# A verdict is never stronger than the interval behind it: a category that may or may not beat the target is said
# to be just that.

#: What is said where no interval is claimed.
TOO_FEW = "too few to tell"
#: What is added where that is because of one rare dear find that there may or may not be.
ONE_DECIDES = "one find decides"

#: A chance from here on counts as likely or almost sure ...
LIKELY = 0.80
ALMOST_SURE = 0.95
#: ... and one from here down as unlikely or almost surely not.
UNLIKELY = 0.20
ALMOST_SURELY_NOT = 0.05


def too_few_words(row: Mapping[Any, Any] | pd.Series) -> str:
    """Why nothing is claimed of a row: too few, and where one dear find decides, that.

    >>> too_few_words({"one_decides": True})
    'too few to tell: one find decides'
    """
    return f"{TOO_FEW}: {ONE_DECIDES}" if row["one_decides"] else TOO_FEW


def hourly_verdict(low: float, high: float, *, claimed: bool, target: float | None = None) -> str:
    """What an hourly return's interval lets one say.

    >>> hourly_verdict(22.0, 31.0, claimed=True, target=20.0)
    'above the target'
    >>> hourly_verdict(12.0, 31.0, claimed=True, target=20.0)
    'may be above or below the target'
    >>> hourly_verdict(-9.0, -1.0, claimed=True)
    'loses money'
    """
    if not claimed or math.isnan(low) or math.isnan(high):
        return TOO_FEW
    if target is None:
        if low > 0:
            return "makes money"
        return "loses money" if high < 0 else "may make or lose money"
    if low > target:
        return "above the target"
    return "below the target" if high < target else "may be above or below the target"


def chance_verdict(chance: float, *, claimed: bool) -> str:
    """What the chance of beating the target lets one say.

    >>> chance_verdict(0.97, claimed=True), chance_verdict(0.5, claimed=True)
    ('almost surely beats the target', 'could go either way')
    """
    if not claimed or math.isnan(chance):
        return TOO_FEW
    if chance >= ALMOST_SURE:
        return "almost surely beats the target"
    if chance >= LIKELY:
        return "probably beats the target"
    if chance > UNLIKELY:
        return "could go either way"
    return "probably misses the target" if chance > ALMOST_SURELY_NOT else "almost surely misses the target"


def difference_verdict(low: float, high: float, *, first: str, second: str, claimed: bool) -> str:
    """What the interval of a difference between two groups lets one say.

    >>> difference_verdict(1.0, 4.0, first="bulky", second="small", claimed=True)
    'bulky earns more an hour than small'
    """
    if not claimed or math.isnan(low) or math.isnan(high):
        return TOO_FEW
    if low > 0:
        return f"{first} earns more an hour than {second}"
    if high < 0:
        return f"{second} earns more an hour than {first}"
    return f"no difference shown between {first} and {second}"


def wage_verdict(wage: float, limit: float, low: float, high: float, *, claimed: bool) -> str:
    """What a wage for help does to the owner's hour, as far as the limit's interval lets one say.

    >>> wage_verdict(16.0, 12.0, 9.0, 15.0, claimed=True)
    'would not raise it'
    >>> wage_verdict(14.0, 12.0, 9.0, 15.0, claimed=True)
    'would not raise it by these figures, though that is not sure'
    """
    if not claimed:
        return TOO_FEW
    # No wage at all is a limit below every wage.
    limit, low, high = (-math.inf if math.isnan(value) else value for value in (limit, low, high))
    if wage < low:
        return "would raise it"
    if wage >= high:
        return "would not raise it"
    return f"{'would' if wage < limit else 'would not'} raise it by these figures, though that is not sure"


# True hourly return: total net over total owner hours, per category and of the whole shop.
#
# Three bases answer three questions. The *sold basis* takes the items sold in a window: what did the hours behind
# these sales earn? The *bought basis* takes the items bought in a window, unsold ones included: what does buying
# such things earn? It is the one to buy by. The *settled basis* takes what was sold or written off in a window: what
# did the month come to?

#: Below this many sourcing trips no interval is claimed: measured coverage falls away.
FEW_TRIPS = 5

#: What the whole shop's row is called.
SHOP = "whole shop"


def true_hourly_return(net_cents: npt.ArrayLike, owner_min: npt.ArrayLike) -> float:
    """Total net over total owner hours: a ratio of sums, never a mean of ratios.

    Parameters
    ----------
    net_cents : array, shape (n,)
        Net of each item. [cents]
    owner_min : array, shape (n,)
        Owner minutes of each item. [min]

    Returns
    -------
    float
        Dollars per hour; NaN where no minute was worked.

    Examples
    --------
    >>> true_hourly_return([3000, -500], [60.0, 15.0])
    20.0
    """
    return ratio_of_sums(net_cents, owner_min) * 0.6


def category_returns(
    economics: pd.DataFrame,
    *,
    window: Window,
    basis: str = "sold",
    by: str = "category",
    settings: IntervalSettings,
    target: float | None = None,
) -> pd.DataFrame:
    """True hourly return of each group with its interval, best first.

    >>> rows = pd.DataFrame({
    ...     "category": ["lamps", "lamps", "games"], "trip_id": ["t1", "t2", "t2"],
    ...     "bought_on": pd.to_datetime(["2026-01-03"] * 3), "sold_on": pd.to_datetime(["2026-02-01"] * 3),
    ...     "net_cents": [3000, 1000, 400], "owner_min": [60.0, 60.0, 30.0]})
    >>> import datetime as dt
    >>> table = category_returns(rows, window=(dt.date(2026, 1, 1), dt.date(2026, 12, 31)),
    ...     settings=IntervalSettings(0.95, 500, 1, 10))
    >>> table[["category", "items", "hourly", "verdict"]].values.tolist()
    [['lamps', 2, 20.0, 'too few to tell'], ['games', 1, 8.0, 'too few to tell']]
    """
    economics = economics.assign(**{by: blanks_named(economics[by])})
    inside = in_window(economics, window=window, basis=basis)
    names, *sums = trip_sums(inside, by=by)
    table = _told_by_group(inside, group_counts(inside, by=by, names=names), sums, by, settings, target)
    order = np.lexsort((table[by].astype(str), -table["hourly"].fillna(-math.inf)))
    return table.iloc[order].reset_index(drop=True)


def shop_return(
    economics: pd.DataFrame,
    *,
    window: Window,
    basis: str = "sold",
    settings: IntervalSettings,
    target: float | None = None,
) -> pd.DataFrame:
    """True hourly return of the whole shop, one row shaped like those of ``category_returns``.

    >>> rows = pd.DataFrame({
    ...     "category": ["lamps", "games"], "trip_id": ["t1", "t2"],
    ...     "bought_on": pd.to_datetime(["2026-01-03"] * 2), "sold_on": pd.to_datetime(["2026-02-01", None]),
    ...     "net_cents": [3000, -500], "owner_min": [60.0, 15.0]})
    >>> import datetime as dt
    >>> found = shop_return(rows, window=(dt.date(2026, 1, 1), dt.date(2026, 12, 31)), basis="bought",
    ...     settings=IntervalSettings(0.95, 500, 1, 10))
    >>> int(found["items"][0]), int(found["sold"][0]), float(found["hourly"][0])
    (2, 1, 20.0)
    """
    inside = in_window(economics, window=window, basis=basis).assign(category=SHOP)
    _, _, net, minutes = trip_sums(inside, by="category")
    interval = ratio_interval(net.ravel(), minutes.ravel(), **settings.drawn, name=SHOP)
    counts = group_counts(inside, by="category", names=[SHOP])
    return returns_table(counts, [interval], too_few=settings.too_few, target=target)


Floats = npt.NDArray[np.float64]


def _told_by_group(
    items: pd.DataFrame,
    counts: pd.DataFrame,
    by_trip: Sequence[npt.NDArray[Any]],
    by: str,
    settings: IntervalSettings,
    target: float | None,
) -> pd.DataFrame:
    """The rows of a report on groups, each with its interval and with what one find contributes."""
    sums = [(net[mine], minutes[mine]) for mine, net, minutes in zip(*by_trip, strict=True)]
    intervals = [
        ratio_interval(net, minutes, **settings.drawn, name=name)
        for name, (net, minutes) in zip(counts[by], sums, strict=True)
    ]
    one_decides = _one_decides(items, counts, sums, intervals, by, settings)
    table = returns_table(counts, intervals, too_few=settings.too_few, target=target, one_decides=one_decides)
    table["shared"] = shared_luck(*by_trip[1:])
    # What was named by being unsold is no kind of thing, so nothing is claimed of it.
    named = table[by] == unsold_group(items[by], items["sold_on"].notna())
    table.loc[named, ["low", "high", "bca_low", "bca_high"]] = math.nan
    table.loc[named, ["claimed", "verdict"]] = False, TOO_FEW
    best = items.loc[items["sold_on"].notna()].sort_values("net_cents", kind="stable").groupby(by).tail(1).set_index(by)
    best = best.reindex(counts[by])
    for name, sign in (("without_best", -1), ("one_more", 1)):
        net, minutes = (
            np.array([one[at].sum() for one in sums], dtype=np.float64) + sign * best[column].to_numpy(dtype=np.float64)
            for at, column in enumerate(("net_cents", "owner_min"))
        )
        table[name] = 0.6 * np.divide(net, minutes, out=np.full(len(table), np.nan), where=minutes > 0)
    return table


def _one_decides(
    items: pd.DataFrame,
    counts: pd.DataFrame,
    sums: Sequence[tuple[Floats, Floats]],
    intervals: Sequence[RatioInterval],
    by: str,
    settings: IntervalSettings,
) -> list[bool]:
    """Whether the tail of all groups together reaches so much further up than a group's own that one find decides."""
    code = pd.Index(counts[by]).get_indexer(items[by].astype(object))
    net, minutes = (items[name].to_numpy(dtype=np.float64) for name in ("net_cents", "owner_min"))
    rates = np.array([one.estimate for one in intervals])
    residual = net - rates[code] * minutes if len(rates) else net
    # Only what sales bring is lent, not how many there are: that the group knows of itself.
    sold = items["sold_on"].notna().to_numpy(dtype=bool) & np.isfinite(residual)
    sales = pd.Series(residual[sold]).groupby(code[sold])
    middle, away = sales.transform("median"), sales.transform(lambda one: (one - one.median()).abs().median())
    usual = (away > 0).to_numpy()
    pool = ((residual[sold] - middle) / away).to_numpy()[usual]
    found = [False] * len(intervals)
    trip, _ = pd.factorize(items["trip_id"].astype(object), sort=True)
    for at, one in enumerate(intervals):
        mine = code == at
        # A group that is nearly the whole shop has nothing to borrow.
        enough = counts["items"].iloc[at] >= settings.too_few and counts["trips"].iloc[at] >= FEW_TRIPS
        own_sales, unsold = np.flatnonzero((code == at)[sold] & usual), residual[mine & ~sold]
        known = enough and one.low < one.high and own_sales.size
        if not known or mine.sum() > MOST_LENT or own_sales.size > pool.size / 2:
            continue
        lent = middle.iloc[own_sales[0]] + away.iloc[own_sales[0]] * pool
        reach = lent_reach(
            lent,
            unsold,
            trip[mine],
            minutes[mine],
            confidence=settings.confidence,
            seed=settings.seed,
            name=counts[by].iloc[at],
        )
        own = (one.high - one.estimate) / jackknife_error(ratios_without_each(*sums[at]))
        found[at] = one_find_decides(reach, own, int(mine.sum()), one.units, confidence=settings.confidence)
    return found


def returns_table(
    counts: pd.DataFrame,
    intervals: Sequence[RatioInterval],
    *,
    too_few: int,
    target: float | None,
    one_decides: Sequence[bool] | bool = False,
) -> pd.DataFrame:
    """Counts and intervals as the rows of a report, with the words for each.

    Parameters
    ----------
    counts : DataFrame
        As ``group_counts`` gives it.
    intervals : sequence of RatioInterval
        One a row, in cents per minute.
    too_few : int
        Below this many items no interval is claimed.
    target : float or None
        What an hour should bring. [dollars per hour]
    one_decides : sequence of bool or bool
        Where one rare dear find decides, nothing is claimed either.

    Returns
    -------
    DataFrame
        As ``category_returns`` describes it.

    Examples
    --------
    >>> counts = pd.DataFrame({"category": ["a"], "items": [1], "trips": [1], "sold": [1],
    ...     "net_cents": [600], "owner_min": [60.0]})
    >>> nan = math.nan
    >>> table = returns_table(counts, [RatioInterval(10.0, nan, nan, nan, nan, nan, 1)], too_few=10, target=None)
    >>> float(table["hourly"][0]), bool(table["claimed"][0])
    (6.0, False)
    """
    table = counts.copy()
    found = pd.DataFrame(intervals, columns=list(RatioInterval._fields), index=table.index, dtype=np.float64)
    enough = (table["items"] >= too_few) & (table["trips"] >= FEW_TRIPS) & found["low"].notna()
    table["one_decides"] = enough.to_numpy(dtype=bool) & np.asarray(one_decides, dtype=bool)
    claimed = enough & ~table["one_decides"]
    claims = ["low", "high", "bca_low", "bca_high"]
    table["hourly"] = 0.6 * found["estimate"]
    for name in ("delta_se", "jackknife_se", "lean", *claims):
        table[name] = found[name] if name == "lean" else 0.6 * found[name]
    table.loc[~claimed, claims] = math.nan
    table["claimed"] = claimed.to_numpy(dtype=bool)
    table["verdict"] = [
        hourly_verdict(low, high, claimed=said, target=target)
        for low, high, said in zip(table["low"], table["high"], table["claimed"], strict=True)
    ]
    return table


# True hourly return on bought basis, unsold stock entering with what it may still bring.


def bought_returns(
    economics: pd.DataFrame,
    *,
    window: Window,
    horizon: Horizon,
    by: str = "category",
    settings: IntervalSettings,
    target: float | None = None,
) -> pd.DataFrame:
    """Hourly return of what was bought in a window, per group, best first.

    Sold items count as they are; unsold ones with what they cost and took so far, what they may
    still bring and the work that they still need. The interval holds the uncertainty of those
    forecasts too.

    The function needs the frame of ``item_economics``; see ``tests/analysis``.
    """
    economics = economics.assign(**{by: blanks_named(economics[by])})
    rows = in_window(economics, window=window, basis="bought")
    shelves = Shelves(economics, horizon)
    inside = economics.index.isin(rows.index)
    names, *sums = expected_values_by_trip(economics, horizon, inside=inside, by=by, shelves=shelves)
    prospects = (
        expected_stock_values(economics, horizon, shelves=shelves).loc[rows.index].assign(group=rows[by].astype(object))
    )
    counts = group_counts(rows, by=by, names=names)
    in_the_end = rows.assign(net_cents=prospects["expected_net_cents"], owner_min=prospects["expected_min"])
    table = _told_by_group(in_the_end, counts, sums, by, settings, target)
    prospects["unsold"] = rows["status"].isin(["for sale", "not listed", "returned"])
    stock = prospects.groupby("group").sum(numeric_only=True).reindex(names)
    table["unsold"] = stock["unsold"].to_numpy(dtype=np.int64)
    table["may_bring_cents"] = np.rint(stock["value_cents"].to_numpy()).astype(np.int64)
    table["still_to_do_min"] = stock["work_min"].to_numpy()
    table["expected_net_cents"] = table["net_cents"] + table["may_bring_cents"]
    table["expected_min"] = table["owner_min"] + table["still_to_do_min"]
    table["hourly_so_far"] = [
        true_hourly_return([net], [spent]) for net, spent in zip(table["net_cents"], table["owner_min"], strict=True)
    ]
    order = np.lexsort((table[by].astype(str), -table["hourly"].fillna(-math.inf)))
    return table.iloc[order].reset_index(drop=True)


def shop_bought_return(
    economics: pd.DataFrame,
    *,
    window: Window,
    horizon: Horizon,
    settings: IntervalSettings,
    target: float | None = None,
) -> pd.DataFrame:
    """Hourly return of all that was bought in a window: one row shaped like ``bought_returns``.

    The function needs the frame of ``item_economics``; see ``tests/analysis``.
    """
    found = bought_returns(
        economics.assign(shop=SHOP),
        window=window,
        horizon=horizon,
        by="shop",
        settings=settings,
        target=target,
    )
    return found.rename(columns={"shop": "category"})


def side_by_side(sold: pd.DataFrame, bought: pd.DataFrame, *, by: str = "category") -> pd.DataFrame:
    """Two tables of returns joined, best on bought basis first.

    >>> sold = pd.DataFrame({"category": ["lamps"], "hourly": [20.0]})
    >>> bought = pd.DataFrame({"category": ["games", "lamps"], "hourly": [6.0, 15.0]})
    >>> side_by_side(sold, bought)[["category", "gap"]].values.tolist()
    [['lamps', 5.0], ['games', nan]]
    """
    joined = pd.merge(
        sold.rename(columns={name: f"sold_{name}" for name in sold if name != by}),
        bought.rename(columns={name: f"bought_{name}" for name in bought if name != by}),
        on=by,
        how="outer",
    )
    joined["gap"] = joined["sold_hourly"] - joined["bought_hourly"]
    order = np.lexsort((joined[by].astype(str), -joined["bought_hourly"].fillna(-math.inf)))
    return joined.iloc[order].reset_index(drop=True)


# How much more an hour on one group earns than an hour on another, with its interval.


@dataclass(frozen=True)
class HourlyGap:
    """An hourly return less another. [dollars per hour]"""

    first: str
    second: str
    hourly_first: float
    hourly_second: float
    gap: float
    low: float
    high: float
    claimed: bool
    verdict: str


def hourly_difference(
    economics: pd.DataFrame,
    *,
    by: str,
    first: Sequence[str],
    second: Sequence[str],
    window: Window,
    basis: str = "sold",
    settings: IntervalSettings,
    horizon: Horizon | None = None,
) -> HourlyGap:
    """Difference of two groups' hourly returns, both drawn anew with the trips that they share.

    Two overlapping intervals do not show that two groups are alike, and a trip that brings both
    moves both: only the interval of the difference itself answers.

    The function needs the frame of ``item_economics``; see ``tests/analysis``.
    """
    both = sorted(set(first) & set(second))
    if both:
        raise AssumptionError("first", need="values that are not in second as well", got=both)
    rows = in_window(economics, window=window, basis=basis)
    side = pd.Series(np.nan, index=rows.index, dtype=np.float64)
    for at, names in enumerate((first, second)):
        side[rows[by].isin(list(names))] = at
    counted = [rows.loc[side == at] for at in (0, 1)]
    net, minutes = _sums_by_trip(economics, side, horizon if basis == "bought" else None)
    enough = all(len(part) >= settings.too_few and part["trip_id"].nunique() >= FEW_TRIPS for part in counted)
    rates = [ratio_of_sums(above, below) * 0.6 for above, below in zip(net, minutes, strict=True)]
    parts = np.zeros(net.shape[1])
    if enough:
        for above, below, sign in zip(net, minutes, (1.0, -1.0), strict=True):
            # What each trip changes: the return less the return without it, scaled to one unit.
            parts += sign * (parts.size - 1) * (ratio_of_sums(above, below) - ratios_without_each(above, below))
    gap = rates[0] - rates[1]
    low = high = np.nan
    if enough and np.isfinite(parts).all():
        values = parts - parts.mean() + gap / 0.6
        found = ratio_interval(
            values,
            np.ones(values.size),
            **settings.drawn,
            name=f"{'+'.join(first)} less {'+'.join(second)}",
            prior_shape=0.0,
        )
        low, high = 0.6 * found.low, 0.6 * found.high
    claimed = bool(np.isfinite(low))
    told = " and ".join(first), " and ".join(second)
    words = difference_verdict(low, high, first=told[0], second=told[1], claimed=claimed)
    return HourlyGap(told[0], told[1], rates[0], rates[1], gap, low, high, claimed, words)


def _sums_by_trip(economics: pd.DataFrame, side: pd.Series, horizon: Horizon | None) -> tuple[Floats, Floats]:
    """Net and minutes of both sides, a column each trip that brought or taught either of them anything."""
    if horizon is not None and side.notna().any():
        everywhere = side.reindex(economics.index)
        inside = everywhere.notna().to_numpy(dtype=bool)
        names, touched, *found = expected_values_by_trip(
            economics.assign(side=everywhere), horizon, inside=inside, by="side"
        )
        used = touched.any(axis=0)
        both = np.zeros((2, 2, int(used.sum())))
        for at, name in enumerate(names):
            for of, values in enumerate(found):
                both[of, int(name)] = values[at, used]
        return both[0], both[1]
    kept = economics.loc[side.index[side.notna()]]
    code, trips = pd.factorize(kept["trip_id"].astype(object), sort=True)
    net, minutes = np.zeros((2, len(trips))), np.zeros((2, len(trips)))
    for at in (0, 1):
        mine = (side.dropna() == at).to_numpy(dtype=bool)
        if len(trips):
            net[at], minutes[at] = (
                coded_sums(kept[name].to_numpy() * mine, code) for name in ("net_cents", "owner_min")
            )
    return net, minutes


# Small groups pulled towards the whole (empirical Bayes), with the weight shown.
#
# The best of twelve categories is partly the luckiest. Each category's figure is pulled towards the mean of all, the
# more the less is known of it; how far categories truly differ is estimated from the figures themselves. The method
# is Morris's (``morris-1983``), whose equal-variance case is the estimator of Efron and Morris. What is pulled is the
# median of what the figure may be, and the more of its error is a category's own, the more of the skewness of its own
# interval is kept: chance, interval and verdict are read off that one distribution, whose median is the pulled figure.

#: How many degrees of freedom the categories' common error weighs beside a category's own. Where no dear sale came
#: yet, figure and error are both too low: with half as much weight on the common error such groups drew the whole
#: down, and chances of 15 % were true in 21 % of 1,900 cases.
COMMON_FREEDOM = 8.0
#: How many it adds to the tails: categories of one shop differ in the variance of an hour by .7 in its logarithm (over
#: 3,000 simulated shops of three families), as much as estimates from four degrees of freedom do.
_ALIKE_FREEDOM = 4.0
#: No side of a pulled interval is more than so many times as long as the other.
_MOST_SKEWED = 8.0
#: Draws for the chance of being the best.
_DRAWS = 20_000


class Pulled(NamedTuple):
    """Figures pulled towards their mean.

    ``weight`` is the weight of each raw figure, 1 less that of the ``centre``; ``error`` the
    standard deviation of what is still unknown of each; ``spread`` how far the groups truly
    differ (a standard deviation).
    """

    value: Floats
    weight: Floats
    error: Floats
    centre: float
    spread: float


def shared_luck(net: Floats, minutes: Floats) -> float:
    """Correlation of the errors of groups that share their trips, one for all pairs; a row a group, a column a trip.

    >>> net = np.array([[10.0, 30.0, 20.0], [20.0, 60.0, 40.0]])
    >>> round(shared_luck(net, np.ones((2, 3))), 3), shared_luck(net[:1], np.ones((1, 3)))
    (0.95, 0.0)
    """
    total = minutes.sum(axis=1, keepdims=True)
    worked = total[:, 0] > 0
    net, minutes, total = net[worked], minutes[worked], total[worked]
    part = (net - net.sum(axis=1, keepdims=True) / total * minutes) / total
    own = np.square(part).sum(axis=1)
    alike = float(np.square(part.sum(axis=0)).sum() - own.sum())
    most = float(np.sqrt(own).sum() ** 2 - own.sum())
    # Never all of it, since a group's own trips always differ by its own things too.
    return min(max(alike / most, 0.0), 0.95) if most > 0 else 0.0


def pulled(raw: npt.ArrayLike, error: npt.ArrayLike, shared: float = 0.0) -> Pulled:
    """Raw figures pulled towards their weighted mean by empirical Bayes.

    ``shared`` is the correlation of their errors. What all share moves them and their mean
    together: it neither shows as a difference between groups nor goes away by pulling.

    With fewer than four groups the spread between them cannot be told from their errors, and
    nothing is pulled.

    >>> found = pulled([10.0, 20.0, 30.0, 40.0, 50.0], [10.0] * 5)
    >>> found.weight.round(2).tolist(), found.value.round(1).tolist()
    ([0.8, 0.8, 0.8, 0.8, 0.8], [14.0, 22.0, 30.0, 38.0, 46.0])
    """
    values = np.asarray(raw, dtype=np.float64)
    variance = np.asarray(error, dtype=np.float64) ** 2
    size = values.size
    if size < 4:
        centre = float(np.average(values, weights=1 / variance)) if size else 0.0
        return Pulled(values.copy(), np.ones(size), np.sqrt(variance), centre, 0.0)
    common = shared * variance
    variance = variance - common
    between = _between(values, variance)
    pull = 1 / (variance + between)
    part = pull / pull.sum()
    centre = float(part @ values)
    away = np.minimum((size - 3) / (size - 1) * variance * pull, 1.0)
    value = centre + (1 - away) * (values - centre)
    # Morris's allowance for not knowing the centre and the spread themselves.
    known = variance * (1 - (1 - part) * away) + ((1 - away) * np.sqrt(common) + away * (part @ np.sqrt(common))) ** 2
    doubt = 2 / (size - 3) * away**2 * (variance.mean() + between) * pull * (values - centre) ** 2
    return Pulled(value, 1 - away, np.sqrt(known + doubt), centre, float(np.sqrt(between)))


def steadied_errors(error: npt.ArrayLike, size: npt.ArrayLike, hours: npt.ArrayLike) -> Floats:
    """Standard errors of groups of few trips, leaning on what all groups have in common.

    An error from three trips is itself little more than a guess. The common figure is the
    variance of one hour, over all groups; a group's own counts with its trips less one beside
    ``COMMON_FREEDOM``.

    >>> steadied_errors([2.0, float("nan")], [9, 1], [10.0, 40.0]).round(3).tolist()
    [2.0, 1.0]
    """
    own = np.asarray(error, dtype=np.float64) ** 2
    work = np.asarray(hours, dtype=np.float64)
    freedom = np.where(np.isfinite(own), np.maximum(np.asarray(size, dtype=np.float64) - 1, 0.0), 0.0)
    own = np.where(freedom > 0, own, 0.0)
    if freedom.sum() == 0:
        return np.full(own.shape, np.nan)
    hour = float((freedom * own * work).sum() / freedom.sum())
    return np.asarray(np.sqrt((freedom * own + COMMON_FREEDOM * hour / work) / (freedom + COMMON_FREEDOM)))


def shrunken_returns(
    returns: pd.DataFrame,
    *,
    target: float,
    by: str = "category",
    seed: int,
    confidence: float = 0.95,
    minutes: str = "owner_min",
) -> pd.DataFrame:
    """Hourly returns pulled towards the whole, ranked by the chance of beating the target.

    >>> table = pd.DataFrame({"category": list("abcde"), "items": 30, "trips": 20, "owner_min": 600.0,
    ...     "hourly": [10.0, 20.0, 30.0, 40.0, 50.0], "delta_se": 10.0, "jackknife_se": 10.0, "lean": 0.0,
    ...     "claimed": True, "shared": 0.0,
    ...     "low": [-10.0, 0.0, 10.0, 20.0, 30.0], "high": [30.0, 40.0, 50.0, 60.0, 70.0]})
    >>> found = shrunken_returns(table, target=35.0, seed=1)
    >>> found["category"].tolist(), found["pulled"].round(1).tolist()
    (['e', 'd', 'c', 'b', 'a'], [46.0, 38.0, 30.0, 22.0, 14.0])
    """
    table = returns.loc[returns["hourly"].notna()].reset_index(drop=True)
    names = ("hourly", "jackknife_se", "lean", "trips")
    raw, own, lean, trips = (table[name].to_numpy(dtype=np.float64) for name in names)
    hours = table[minutes].to_numpy(dtype=np.float64) / 60
    out = table[[by, "items", "trips"]].assign(raw=raw)
    found = pulled_medians(raw, own, lean, trips, hours, float(table["shared"].iloc[0]) if len(table) else 0.0)
    if found is not None:
        spread = _spread_of(table, raw + np.nan_to_num(lean) * table["delta_se"].to_numpy(), found, confidence)
        draws = spread.drawn(_student_draws(seed, tuple(spread.freedom.tolist())))
        best = np.bincount(np.argmax(draws, axis=1), minlength=len(table)) / _DRAWS
        out = out.assign(pulled=found.value, weight=found.weight, error=found.error, low=spread.low, high=spread.high)
        sure, hopeful = (spread.drawn(stdtrit(spread.freedom, 1 - chance)) for chance in (LIKELY, UNLIKELY))
        out = out.assign(beats_target=spread.chance_above(target), is_best=best, sure=sure, hopeful=hopeful)
    else:
        nothing = dict.fromkeys(("error", "low", "high", "beats_target", "is_best", "sure", "hopeful"), np.nan)
        out = out.assign(pulled=raw, weight=1.0, **nothing)
    for name in ("claimed", "one_decides"):
        out[name] = table[name].to_numpy(dtype=bool) if name in table else False
    out["verdict"] = [
        chance_verdict(chance, claimed=claimed)
        for chance, claimed in zip(out["beats_target"], out["claimed"], strict=True)
    ]
    order = np.lexsort((out[by].astype(str), -out["pulled"], -out["beats_target"].fillna(-1.0)))
    return out.iloc[order].reset_index(drop=True)


def pulled_medians(
    hourly: Floats, error: Floats, lean: Floats, trips: Floats, hours: Floats, shared: float
) -> Pulled | None:
    """The median of what each hourly return may be, pulled towards the whole; None where no error is known.

    >>> pulled_medians(*(np.array([one]) for one in (20.0, 4.0, 0.25, 9.0, 30.0)), 0.0).value.tolist()
    [21.0]
    """
    steady = steadied_errors(error, trips, hours)
    if not (hourly.size and np.isfinite(steady).all() and (steady > 0).all()):
        return None
    return pulled(hourly + np.nan_to_num(lean) * steady, steady, shared)


def _spread_of(table: pd.DataFrame, middle: Floats, found: Pulled, confidence: float) -> SkewedSpread:
    """What each pulled figure may be: as wide as its error, and skewed as its interval where the error is its own."""
    # An interval is skewed because a group's own error moves with its figure; what is common to all groups does not.
    own = np.maximum(table["trips"].to_numpy(dtype=np.float64) - 1, 0)
    freedom = own + _ALIKE_FREEDOM
    below = middle - table["low"].to_numpy(dtype=np.float64)
    above = table["high"].to_numpy(dtype=np.float64) - middle
    known = (below > 0) & (above > 0)
    ratio = np.divide(above, below, out=np.ones(len(table)), where=known)
    ratio = np.clip(ratio, 1 / _MOST_SKEWED, _MOST_SKEWED) ** (own / (own + COMMON_FREEDOM))
    width = 2 * stdtrit(freedom, (1 + confidence) / 2) * found.error
    low, high = found.value - width / (1 + ratio), found.value + width * ratio / (1 + ratio)
    return SkewedSpread(found.value, low, high, freedom, confidence)


@lru_cache(maxsize=4)
def _student_draws(seed: int, freedom: tuple[float, ...]) -> Floats:
    """Draws for the chance of being the best: of the trips alone, so kept while assumptions move."""
    drawn = generator(seed, "best").standard_t(np.array(freedom), size=(_DRAWS, len(freedom)))
    drawn.flags.writeable = False
    return drawn


def _between(values: Floats, variance: Floats) -> float:
    """Variance between groups by Morris's weighted moments, iterated; zero where errors explain all."""
    size = values.size
    between = max(float(values.var(ddof=1) - variance.mean()), 0.0)
    for _ in range(200):
        weight = 1 / (variance + between)
        centre = float(weight @ values / weight.sum())
        gained = size / (size - 1) * (values - centre) ** 2 - variance
        later = max(float(weight @ gained / weight.sum()), 0.0)
        if abs(later - between) <= 1e-12 * (1 + between):
            return later
        between = later
    return between
