"""How much more an hour on one group earns than an hour on another, with its interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from flipkit.analysis.groups import Window, coded_sums, in_window
from flipkit.analysis.hourly import FEW_TRIPS
from flipkit.analysis.intervals import ratio_interval, require_interval_settings
from flipkit.analysis.ratios import ratio_of_sums, ratios_without_each
from flipkit.analysis.words import difference_verdict
from flipkit.errors import AssumptionError


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
    sides = [rows[by].isin(list(names)).to_numpy(dtype=bool) for names in (first, second)]
    kept = rows.loc[sides[0] | sides[1]]
    code, trips = pd.factorize(kept["trip_id"].astype(object), sort=True)
    rates, parts, enough = [], np.zeros(len(trips)), True
    for names, sign in ((first, 1.0), (second, -1.0)):
        mine = kept[by].isin(list(names)).to_numpy(dtype=bool)
        net, minutes = (coded_sums(kept[column].to_numpy() * mine, code) for column in ("net_cents", "owner_min"))
        rate = ratio_of_sums(net, minutes)
        rates.append(rate * 0.6)
        enough &= int(mine.sum()) >= too_few and len(np.unique(code[mine])) >= FEW_TRIPS
        if enough:
            # What each trip changes: the return less the return without it, scaled to one unit.
            parts += sign * (len(trips) - 1) * (rate - ratios_without_each(net, minutes))
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
    names = " and ".join(first), " and ".join(second)
    words = difference_verdict(low, high, first=names[0], second=names[1], claimed=claimed)
    return HourlyGap(names[0], names[1], rates[0], rates[1], gap, low, high, claimed, words)
