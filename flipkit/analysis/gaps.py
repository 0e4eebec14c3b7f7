"""How much more an hour on one group earns than an hour on another, with its interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.groups import Window, coded_sums, in_window
from flipkit.analysis.ratio_stats import ratio_interval, require_interval_settings
from flipkit.analysis.ratios import ratio_of_sums, ratios_without_each
from flipkit.analysis.returns import FEW_TRIPS
from flipkit.analysis.stock_value import Horizon, prospects_by_trip
from flipkit.analysis.words import difference_verdict
from flipkit.errors import AssumptionError

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class HourlyGap:
    """An hourly return less another. [dollars per hour]

    Attributes
    ----------
    first, second : str
        The groups.
    hourly_first, hourly_second, gap : float
        The two returns and their difference.
    low, high : float
        Interval of the difference; NaN where none is claimed.
    claimed : bool
        Whether each group has enough items and trips.
    verdict : str
        The words.
    """

    first: str
    second: str
    hourly_first: float
    hourly_second: float
    gap: float
    low: float
    high: float
    claimed: bool
    verdict: str


def hourly_gap(
    economics: pd.DataFrame,
    *,
    by: str,
    first: Sequence[str],
    second: Sequence[str],
    window: Window,
    basis: str = "sold",
    confidence: float,
    resamples: int,
    seed: int,
    too_few: int,
    horizon: Horizon | None = None,
) -> HourlyGap:
    """Difference of two groups' hourly returns, both drawn anew with the trips that they share.

    Two overlapping intervals do not show that two groups are alike, and a trip that brings both
    moves both: only the interval of the difference itself answers.

    Parameters
    ----------
    economics : DataFrame
        One row an item, as ``item_economics`` gives it.
    by : str
        Column that names the groups.
    first, second : sequence of str
        Values of that column on each side.
    window : tuple of date
        First and last day, both included.
    basis : "sold" or "bought"
        Whether the sale or the purchase must lie in the window.
    confidence : float
        How often the interval is meant to hold the truth.
    resamples : int
        How many times the trips are drawn anew.
    seed : int
        Start of the draws.
    too_few : int
        Below this many items on either side nothing is claimed.
    horizon : Horizon, optional
        On bought basis: how far ahead unsold stock is valued, as in ``bought_returns``; left
        out, it counts with what it cost so far.

    Returns
    -------
    HourlyGap
        The difference, its interval, and the words.

    Raises
    ------
    AssumptionError
        If a value stands on both sides or the interval's settings make no interval.

    Examples
    --------
    The function needs the frame of ``item_economics``; see ``tests/analysis``.
    """
    require_interval_settings(confidence, resamples)
    both = sorted(set(first) & set(second))
    if both:
        raise AssumptionError("first", need="values that are not in second as well", got=both)
    rows = in_window(economics, window=window, basis=basis)
    side = pd.Series(np.nan, index=rows.index, dtype=np.float64)
    for at, names in enumerate((first, second)):
        side[rows[by].isin(list(names))] = at
    counted = [rows.loc[side == at] for at in (0, 1)]
    net, minutes = _sums_by_trip(economics, side, horizon if basis == "bought" else None)
    enough = all(len(part) >= too_few and part["trip_id"].nunique() >= FEW_TRIPS for part in counted)
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
            confidence=confidence,
            resamples=resamples,
            seed=seed,
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
        names, touched, *found = prospects_by_trip(economics.assign(side=everywhere), horizon, inside=inside, by="side")
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
