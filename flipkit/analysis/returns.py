"""True hourly return: total net over total owner hours, per category and of the whole shop.

Two bases answer two questions. The *sold basis* takes the items sold in a window: what did the
hours behind these sales earn? The *bought basis* takes the items bought in a window, unsold
ones included: what does buying such things earn? The second is the one to buy by.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.groups import Window, coded_sums, group_counts, in_window, trip_sums
from flipkit.analysis.ratio_stats import RatioInterval, parent_normals, ratio_interval, require_interval_settings
from flipkit.analysis.ratios import ratio_of_sums
from flipkit.analysis.words import hourly_verdict

#: Below this many sourcing trips no interval is claimed: measured coverage falls away.
FEW_TRIPS = 5

#: What the whole shop's row is called.
SHOP = "whole shop"


class HourlyInterval(NamedTuple):
    """True hourly return with its interval, in dollars per hour.

    ``low`` and ``high`` are what the kit claims, ``bca_low`` and ``bca_high`` the textbook
    bootstrap beside it, ``delta_se`` the delta-method error as a check.
    """

    hourly: float
    low: float
    high: float
    delta_se: float
    bca_low: float
    bca_high: float
    trips: int


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


def hourly_interval(
    net_cents: npt.ArrayLike,
    owner_min: npt.ArrayLike,
    trip: npt.ArrayLike,
    *,
    confidence: float,
    resamples: int,
    seed: int,
) -> HourlyInterval:
    """True hourly return with an interval by drawing whole sourcing trips anew.

    Parameters
    ----------
    net_cents : array, shape (n,)
        Net of each item. [cents]
    owner_min : array, shape (n,)
        Owner minutes of each item. [min]
    trip : array, shape (n,)
        Trip of each item; items of one trip are alike and stay together.
    confidence : float
        How often the interval is meant to hold the truth, such as 0.95.
    resamples : int
        How many times the trips are drawn anew.
    seed : int
        Start of the draws.

    Returns
    -------
    HourlyInterval
        The return and its limits; NaN limits where there are fewer than two trips.

    Raises
    ------
    AssumptionError
        If the confidence or the number of resamples makes no interval.

    References
    ----------
    ``efron-tibshirani-1993`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> found = hourly_interval(
    ...     [900, 2500, 400, 3100, 1200, 800], [30, 50, 20, 60, 40, 40], list("aabbcd"),
    ...     confidence=0.95, resamples=500, seed=1)
    >>> round(found.hourly, 2), found.trips
    (22.25, 4)
    """
    code, _ = pd.factorize(np.asarray(trip))
    net, minutes = coded_sums(net_cents, code), coded_sums(owner_min, code)
    return _dollars(ratio_interval(net, minutes, confidence=confidence, resamples=resamples, seed=seed))


def category_returns(
    economics: pd.DataFrame,
    *,
    window: Window,
    basis: str = "sold",
    by: str = "category",
    confidence: float,
    resamples: int,
    seed: int,
    too_few: int,
    target: float | None = None,
) -> pd.DataFrame:
    """True hourly return of each group with its interval, best first.

    Parameters
    ----------
    economics : DataFrame
        One row an item, as ``item_economics`` gives it.
    window : tuple of date
        First and last day, both included.
    basis : "sold" or "bought"
        Whether the sale or the purchase must lie in the window.
    by : str
        Column that names the group.
    confidence : float
        How often an interval is meant to hold the truth.
    resamples : int
        How many times the trips are drawn anew.
    seed : int
        Start of the draws; a group's draws do not depend on the other groups.
    too_few : int
        Below this many items no interval is claimed.
    target : float, optional
        What an hour should bring, for the words. [dollars per hour]

    Returns
    -------
    DataFrame
        One row a group: the group's column, ``items``, ``trips``, ``sold``, ``net_cents``,
        ``owner_min``, ``hourly``, ``low``, ``high``, ``delta_se``, ``bca_low``, ``bca_high``
        (dollars per hour; the intervals NaN where none is claimed), ``claimed``, ``verdict``.
        ``delta_se`` stands wherever there are two trips: ``pulled_returns`` needs it.

    Raises
    ------
    AssumptionError
        If the basis is unknown or the interval's settings make no interval.

    Examples
    --------
    >>> rows = pd.DataFrame({
    ...     "category": ["lamps", "lamps", "games"], "trip_id": ["t1", "t2", "t2"],
    ...     "bought_on": pd.to_datetime(["2026-01-03"] * 3), "sold_on": pd.to_datetime(["2026-02-01"] * 3),
    ...     "net_cents": [3000, 1000, 400], "owner_min": [60.0, 60.0, 30.0]})
    >>> import datetime as dt
    >>> table = category_returns(rows, window=(dt.date(2026, 1, 1), dt.date(2026, 12, 31)),
    ...     confidence=0.95, resamples=500, seed=1, too_few=10)
    >>> table[["category", "items", "hourly", "verdict"]].values.tolist()
    [['lamps', 2, 20.0, 'too few to tell'], ['games', 1, 8.0, 'too few to tell']]
    """
    require_interval_settings(confidence, resamples)
    inside = in_window(economics, window=window, basis=basis)
    names, trips, net, minutes = trip_sums(inside, by=by)
    largest = max((len(part) for part in trips), default=0)
    normals = parent_normals(largest, resamples=resamples, seed=seed)
    intervals = [
        ratio_interval(
            net[part], minutes[part], confidence=confidence, resamples=resamples, seed=seed, name=name, normals=normals
        )
        for name, part in zip(names, trips, strict=True)
    ]
    counts = group_counts(inside, by=by, names=names)
    table = returns_table(counts, intervals, too_few=too_few, target=target)
    order = np.lexsort((table[by].astype(str), -table["hourly"].fillna(-math.inf)))
    return table.iloc[order].reset_index(drop=True)


def shop_return(
    economics: pd.DataFrame,
    *,
    window: Window,
    basis: str = "sold",
    confidence: float,
    resamples: int,
    seed: int,
    too_few: int,
    target: float | None = None,
) -> pd.DataFrame:
    """True hourly return of the whole shop, one row shaped like those of ``category_returns``.

    Parameters
    ----------
    economics : DataFrame
        One row an item, as ``item_economics`` gives it.
    window : tuple of date
        First and last day, both included.
    basis : "sold" or "bought"
        Whether the sale or the purchase must lie in the window.
    confidence : float
        How often an interval is meant to hold the truth.
    resamples : int
        How many times the trips are drawn anew.
    seed : int
        Start of the draws.
    too_few : int
        Below this many items no interval is claimed.
    target : float, optional
        What an hour should bring, for the words. [dollars per hour]

    Returns
    -------
    DataFrame
        One row, its ``category`` "whole shop"; with no item in the window its figures are
        zero and NaN.

    Raises
    ------
    AssumptionError
        If the basis is unknown or the interval's settings make no interval.

    Examples
    --------
    >>> rows = pd.DataFrame({
    ...     "category": ["lamps", "games"], "trip_id": ["t1", "t2"],
    ...     "bought_on": pd.to_datetime(["2026-01-03"] * 2), "sold_on": pd.to_datetime(["2026-02-01", None]),
    ...     "net_cents": [3000, -500], "owner_min": [60.0, 15.0]})
    >>> import datetime as dt
    >>> found = shop_return(rows, window=(dt.date(2026, 1, 1), dt.date(2026, 12, 31)), basis="bought",
    ...     confidence=0.95, resamples=500, seed=1, too_few=10)
    >>> int(found["items"][0]), int(found["sold"][0]), float(found["hourly"][0])
    (2, 1, 20.0)
    """
    inside = in_window(economics, window=window, basis=basis).assign(category=SHOP)
    _, _, net, minutes = trip_sums(inside, by="category")
    interval = ratio_interval(net, minutes, confidence=confidence, resamples=resamples, seed=seed, name=SHOP)
    counts = group_counts(inside, by="category", names=[SHOP])
    return returns_table(counts, [interval], too_few=too_few, target=target)


def returns_table(
    counts: pd.DataFrame, intervals: Sequence[RatioInterval], *, too_few: int, target: float | None
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
    dollars = [_dollars(interval) for interval in intervals]
    found = pd.DataFrame(dollars, columns=list(HourlyInterval._fields), index=table.index)
    claimed = (table["items"] >= too_few) & (table["trips"] >= FEW_TRIPS) & found["low"].notna()
    for name in ("hourly", "low", "high", "delta_se", "bca_low", "bca_high"):
        table[name] = found[name].astype(np.float64)
        if name not in ("hourly", "delta_se"):
            table.loc[~claimed, name] = math.nan
    table["claimed"] = claimed.to_numpy(dtype=bool)
    table["verdict"] = [
        hourly_verdict(low, high, claimed=said, target=target)
        for low, high, said in zip(table["low"], table["high"], table["claimed"], strict=True)
    ]
    return table


def _dollars(interval: RatioInterval) -> HourlyInterval:
    """Cents per minute to dollars per hour."""
    hourly, low, high, delta_se, bca_low, bca_high = (0.6 * value for value in interval[:-1])
    return HourlyInterval(hourly, low, high, delta_se, bca_low, bca_high, interval.units)
