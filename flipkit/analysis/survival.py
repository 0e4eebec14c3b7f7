"""Time to sale with the unsold items counted for as long as they have waited (Kaplan-Meier).

An item still for sale is *censored*: it says only that it took longer than its days so far.
Leaving such items out makes everything look quick to sell.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import chdtrc, ndtri

from flipkit.errors import NotEnoughDataError

Floats = npt.NDArray[np.float64]

#: Said of a group without one unsold item, for times without the unsold look quicker than they are.
ALL_SOLD = "no unsold item: if unsold ones were left out of the books, these times are too short"


def survival_table(days: npt.ArrayLike, sold: npt.ArrayLike, *, confidence: float) -> pd.DataFrame:
    """Share of items still unsold after each number of days, by Kaplan and Meier.

    Parameters
    ----------
    days : array, shape (n,)
        Days on sale, to the sale or so far. [days]
    sold : array of bool, shape (n,)
        Whether the item sold; the others are censored.
    confidence : float
        How often each limit pair is meant to hold the true share.

    Returns
    -------
    DataFrame
        One row a distinct number of days: ``days``, ``at_risk``, ``sold``, ``unsold_share``,
        ``standard_error`` (Greenwood), ``low``, ``high`` (by the logarithm, so that no limit
        is negative), ``hazard_sum`` (Nelson-Aalen).

    References
    ----------
    ``kaplan-meier-1958`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> table = survival_table([5, 8, 8, 12], [True, True, False, False], confidence=0.95)
    >>> table["unsold_share"].round(4).tolist()
    [0.75, 0.5, 0.5]
    """
    time, event = _checked(days, sold)
    moments, where = np.unique(time, return_inverse=True)
    leaving = np.bincount(where, minlength=moments.size)
    events = np.bincount(where, weights=event, minlength=moments.size).astype(np.int64)
    at_risk = time.size - np.concatenate(([0], np.cumsum(leaving)[:-1])) if moments.size else leaving
    share = np.cumprod(1 - events / np.maximum(at_risk, 1))
    left = at_risk - events
    # The last item at risk, sold, leaves a share of nothing, of which no error is known.
    terms = np.divide(events, at_risk * left, out=np.where(events > 0, np.inf, 0.0), where=left > 0)
    variance = np.cumsum(terms)
    reach = float(ndtri((1 + confidence) / 2)) * np.sqrt(variance)
    known = np.isfinite(variance)
    factor = np.exp(np.where(known, reach, 0.0))
    low = np.where(known, share / factor, np.nan)
    high = np.where(known, np.minimum(share * factor, 1.0), np.nan)
    error = np.where(known, share * np.sqrt(np.where(known, variance, 0.0)), np.nan)
    return pd.DataFrame(
        {
            "days": moments,
            "at_risk": at_risk,
            "sold": events,
            "unsold_share": share,
            "standard_error": error,
            "low": low,
            "high": high,
            "hazard_sum": np.cumsum(events / np.maximum(at_risk, 1)),
        }
    )


class DaysToSale(NamedTuple):
    """Days by which a stated share of the items has sold, with its interval.

    Each is NaN where the share is never reached, which is a finding and not a gap: more than
    that share of the items still waits.
    """

    days: float
    low: float
    high: float


def days_to_sale(
    days: npt.ArrayLike, sold: npt.ArrayLike, *, share: float = 0.5, confidence: float = 0.95
) -> DaysToSale:
    """Days by which a share of the items has sold (the median by default), unsold ones counted.

    Parameters
    ----------
    days : array, shape (n,)
        Days on sale, to the sale or so far. [days]
    sold : array of bool, shape (n,)
        Whether the item sold.
    share : float
        The share that is to have sold, 0 to 1.
    confidence : float
        How often the interval is meant to hold the truth.

    Returns
    -------
    DaysToSale
        The days and their interval; NaN where not reached. [days]

    References
    ----------
    ``brookmeyer-crowley-1982`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> days_to_sale([5, 8, 8, 12], [True, True, False, False]).days
    8.0
    """
    table = survival_table(days, sold, confidence=confidence)
    level = 1 - share

    def first(column: str) -> float:
        # A share that stands exactly at the level from one sale to the next is crossed midway,
        # as the usual packages report it.
        values = table[column].to_numpy(dtype=np.float64)
        reached = np.flatnonzero(values <= level + 1e-9)
        if not reached.size:
            return math.nan
        at = reached[0]
        moments = table["days"].to_numpy(dtype=np.float64)
        if column == "unsold_share" and abs(values[at] - level) < 1e-9:
            later = np.flatnonzero(values < level - 1e-9)
            return float((moments[at] + moments[later[0]]) / 2) if later.size else float(moments[at])
        return float(moments[at])

    return DaysToSale(first("unsold_share"), first("low"), first("high"))


def restricted_mean(days: npt.ArrayLike, sold: npt.ArrayLike, *, within_days: float) -> float:
    """Mean days on sale up to a stated day: the area under the unsold share.

    Parameters
    ----------
    days : array, shape (n,)
        Days on sale, to the sale or so far. [days]
    sold : array of bool, shape (n,)
        Whether the item sold.
    within_days : float
        The day up to which is counted. [days]

    Returns
    -------
    float
        The mean. [days]

    Examples
    --------
    >>> restricted_mean([5, 8, 8, 12], [True, True, False, False], within_days=10)
    8.25
    """
    table = survival_table(days, sold, confidence=0.95)
    inside = table["days"].to_numpy(dtype=np.float64) < within_days
    edges = np.concatenate(([0.0], table["days"].to_numpy(dtype=np.float64)[inside], [within_days]))
    share = np.concatenate(([1.0], table["unsold_share"].to_numpy()[inside]))
    return float(np.diff(edges) @ share)


def restricted_mean_error(days: npt.ArrayLike, sold: npt.ArrayLike, *, within_days: float) -> float:
    """Standard error of the restricted mean: Greenwood's terms, each weighed by the area still ahead.

    Parameters
    ----------
    days : array, shape (n,)
        Days on sale, to the sale or so far. [days]
    sold : array of bool, shape (n,)
        Whether the item sold.
    within_days : float
        The day up to which is counted. [days]

    Returns
    -------
    float
        The error; 0 where nothing sold by then, of which it is then no measure. [days]

    References
    ----------
    ``greenwood-1926`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> round(restricted_mean_error([5, 8, 8, 12], [True, True, False, False], within_days=10), 3)
    1.023
    """
    table = survival_table(days, sold, confidence=0.95)
    table = table[table["days"] < within_days]
    share, at_risk, events = (table[name].to_numpy(dtype=np.float64) for name in ("unsold_share", "at_risk", "sold"))
    widths = np.diff(np.concatenate((table["days"].to_numpy(dtype=np.float64), [within_days])))
    ahead = np.cumsum((widths * share)[::-1])[::-1]
    left = at_risk - events
    # Where the last item sells, nothing lies ahead, and nothing of it is unsure.
    terms = np.divide(events, at_risk * left, out=np.zeros(events.size), where=left > 0)
    return float(np.sqrt((ahead**2 * terms).sum()))


class LogRank(NamedTuple):
    """Log-rank test of equal times to sale.

    ``observed`` and ``expected`` sales are per group, in the order of ``groups``.
    """

    groups: tuple[str, ...]
    observed: tuple[float, ...]
    expected: tuple[float, ...]
    chi_square: float
    p_value: float


def log_rank(days: npt.ArrayLike, sold: npt.ArrayLike, group: npt.ArrayLike) -> LogRank:
    """Test whether groups sell at the same pace, unsold items counted.

    Parameters
    ----------
    days : array, shape (n,)
        Days on sale, to the sale or so far. [days]
    sold : array of bool, shape (n,)
        Whether the item sold.
    group : array, shape (n,)
        Group of each item.

    Returns
    -------
    LogRank
        Observed and expected sales per group, chi-square, p-value.

    Raises
    ------
    NotEnoughDataError
        If there are fewer than two groups or no sale at all.

    References
    ----------
    ``mantel-1966`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> found = log_rank([3, 4, 5, 9, 10, 12], [True] * 6, list("aaabbb"))
    >>> round(found.chi_square, 3), found.observed
    (5.052, (3.0, 3.0))
    """
    time, event = _checked(days, sold)
    code, names = pd.factorize(np.asarray(group), sort=True)
    if len(names) < 2:
        raise NotEnoughDataError("group", need="at least two groups", got=len(names))
    if not event.any():
        raise NotEnoughDataError("sold", need="at least one sale", got=0)
    moments = np.unique(time[event])
    size = len(names)
    mine = code == np.arange(size)[:, None]
    at_risk = np.array([(mine & (time >= moment)).sum(axis=1) for moment in moments], dtype=np.float64)
    events = np.array([(mine & event & (time == moment)).sum(axis=1) for moment in moments], dtype=np.float64)
    all_risk, all_events = at_risk.sum(axis=1), events.sum(axis=1)
    part = at_risk / all_risk[:, None]
    expected = (part * all_events[:, None]).sum(axis=0)
    scale = np.where(all_risk > 1, all_events * (all_risk - all_events) / np.maximum(all_risk - 1, 1), 0.0)
    covariance = np.einsum("t,ti,tj->ij", -scale, part, part) + np.diag((scale[:, None] * part).sum(axis=0))
    gap = (events.sum(axis=0) - expected)[:-1]
    chi_square = float(gap @ np.linalg.pinv(covariance[:-1, :-1]) @ gap)
    return LogRank(
        tuple(str(name) for name in names),
        tuple(float(value) for value in events.sum(axis=0)),
        tuple(float(value) for value in expected),
        chi_square,
        float(chdtrc(size - 1, chi_square)),
    )


def sale_times(economics: pd.DataFrame, *, by: str = "category", confidence: float) -> pd.DataFrame:
    """Days to sale of each group's listed items, those that still wait or were given up counted as such.

    Parameters
    ----------
    economics : DataFrame
        One row an item: ``days_listed``, ``sold_on`` and the group's column.
    by : str
        Column that names the group.
    confidence : float
        How often an interval is meant to hold the truth.

    Returns
    -------
    DataFrame
        One row a group, sorted by name: ``listed``, ``sold``, ``unsold``, ``quarter_days``,
        ``half_days`` (the median) with ``half_low`` and ``half_high``, ``three_quarter_days``
        (NaN where not reached), ``sold_in_90_days`` (share), and ``note``: "half not sold yet"
        where the median is not reached, a warning where a group has no unsold item at all.

    Examples
    --------
    >>> rows = pd.DataFrame({"category": ["a"] * 4, "days_listed": [5.0, 8.0, 12.0, 90.0],
    ...     "sold_on": pd.to_datetime(["2026-01-01"] * 3 + [None])})
    >>> table = sale_times(rows, confidence=0.95)
    >>> table[["listed", "sold", "half_days", "note"]].values.tolist()
    [[4, 3, 10.0, '']]
    """
    listed = economics.loc[economics["days_listed"].notna()]
    rows: list[list[object]] = []
    for name, part in sorted(listed.groupby(listed[by].astype(object)), key=lambda pair: str(pair[0])):
        days, sold = part["days_listed"], part["sold_on"].notna()
        half = days_to_sale(days, sold, share=0.5, confidence=confidence)
        quarters = [days_to_sale(days, sold, share=share, confidence=confidence).days for share in (0.25, 0.75)]
        table = survival_table(days, sold, confidence=confidence)
        early = table.loc[table["days"] <= 90, "unsold_share"]
        soon = 1 - float(early.iloc[-1]) if len(early) else 0.0
        note = ALL_SOLD if sold.all() else "half not sold yet" if math.isnan(half.days) else ""
        rows.append([name, len(part), int(sold.sum()), int((~sold).sum()), quarters[0], *half, quarters[1], soon, note])
    columns = [by, "listed", "sold", "unsold", "quarter_days", "half_days", "half_low", "half_high"]
    return pd.DataFrame(rows, columns=[*columns, "three_quarter_days", "sold_in_90_days", "note"])


def _checked(days: npt.ArrayLike, sold: npt.ArrayLike) -> tuple[Floats, npt.NDArray[np.bool_]]:
    time = np.asarray(days, dtype=np.float64)
    event = np.asarray(sold, dtype=bool)
    if time.size and (not np.isfinite(time).all() or time.min() < 0):
        raise NotEnoughDataError("days", need="known and at least 0 for every item", got=float(np.min(time)))
    return time, event
