"""The sold price above which an hour on one size class beats an hour on another."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.groups import Window, in_window
from flipkit.analysis.ratio_stats import require_interval_settings
from flipkit.analysis.ratios import ratio_of_sums
from flipkit.analysis.resamples import resampled_sums
from flipkit.analysis.returns import FEW_TRIPS
from flipkit.errors import AssumptionError

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class BreakEven:
    """From which sold price on the larger size class wins.

    Parameters
    ----------
    price_cents : float
        The break-even price; NaN where there is none. [cents]
    low_cents, high_cents : float
        Its interval; infinity where the upper end has no crossing, NaN where none is claimed.
        [cents]
    crossing_share : float
        Part of the resamples in which there is a crossing at all.
    seen_from_cents, seen_to_cents : int
        Cheapest and dearest sale of the larger class: beyond them the price is extrapolated.
    hourly_small : float
        What an hour on the smaller class earns: the bar to clear. [dollars per hour]
    claimed : bool
        Whether there are enough sales and trips to claim an interval.
    verdict : str
        The words.
    """

    price_cents: float
    low_cents: float
    high_cents: float
    crossing_share: float
    seen_from_cents: int
    seen_to_cents: int
    hourly_small: float
    claimed: bool
    verdict: str


def break_even_price(
    economics: pd.DataFrame,
    *,
    window: Window,
    large: Sequence[str] = ("bulky", "oversize"),
    small: Sequence[str] = ("small",),
    confidence: float,
    resamples: int,
    seed: int,
    too_few: int,
) -> BreakEven:
    """Sold price above which an hour on a large item earns more than an hour on small ones.

    Net and minutes of the large items are fitted as straight lines in the sold price (a dear
    lamp brings more and is packed more carefully), so that the hourly return at a price is the
    ratio of the two lines. The break-even price is where it meets the true hourly return of the
    small class. The interval comes from drawing whole trips anew, both classes together.

    Parameters
    ----------
    economics : DataFrame
        One row an item, as ``item_economics`` gives it.
    window : tuple of date
        First and last day of the sales, both included.
    large, small : sequence of str
        Size classes on each side.
    confidence : float
        How often the interval is meant to hold the truth.
    resamples : int
        How many times the trips are drawn anew.
    seed : int
        Start of the draws.
    too_few : int
        Below this many sales on either side nothing is claimed.

    Returns
    -------
    BreakEven
        The price, its interval, and the words.

    Raises
    ------
    AssumptionError
        If a size class stands on both sides or the interval's settings make no interval.

    Examples
    --------
    The function needs the frame of ``item_economics``; see ``tests/analysis``.
    """
    require_interval_settings(confidence, resamples)
    if set(large) & set(small):
        raise AssumptionError(
            "large", need="size classes that are not in small as well", got=sorted(set(large) & set(small))
        )
    sold = in_window(economics, window=window, basis="sold")
    is_large, is_small = sold["size_class"].isin(list(large)), sold["size_class"].isin(list(small))
    sold = sold.loc[is_large | is_small]
    flag = sold["size_class"].isin(list(large)).to_numpy(dtype=bool)
    prices = sold["sold_price_cents"].to_numpy(dtype=np.float64)
    sums = _trip_moments(sold, flag, prices)
    count_large, count_small = int(flag.sum()), int((~flag).sum())
    seen = (int(prices[flag].min()), int(prices[flag].max())) if count_large else (0, 0)
    bar = ratio_of_sums(sold["net_cents"][~flag], sold["owner_min"][~flag]) * 0.6
    estimate = float(_crossing(sums.sum(axis=0)[None, :])[0]) if count_large and count_small else math.nan
    trips = min(sold["trip_id"][flag].nunique(), sold["trip_id"][~flag].nunique())
    claimed = min(count_large, count_small) >= too_few and trips >= FEW_TRIPS and not math.isnan(estimate)
    low = high = share = math.nan
    if claimed:
        drawn = _crossing(resampled_sums(sums, resamples=resamples, seed=seed, name="break-even price"))
        drawn = drawn[~np.isnan(drawn)]
        share = float(np.isfinite(drawn).mean())
        # Taken from the sorted draws and not between two of them, which infinity would spoil.
        tails = [(1 - confidence) / 2, (1 + confidence) / 2]
        low, high = (float(v) for v in np.quantile(drawn, tails, method="closest_observation"))
    words = _words(estimate, low, high, seen, claimed, large[0] if large else "", small[0] if small else "")
    price = estimate if math.isfinite(estimate) else math.nan
    return BreakEven(price, low, high, share, *seen, bar, claimed, words)


def _trip_moments(sold: pd.DataFrame, large: npt.NDArray[np.bool_], prices: Floats) -> Floats:
    """Per trip: of the large items the sums that two straight lines need, of the small ones net and minutes."""
    code, names = pd.factorize(sold["trip_id"].astype(object), sort=True)
    net = sold["net_cents"].to_numpy(dtype=np.float64)
    minutes = sold["owner_min"].to_numpy(dtype=np.float64)
    columns = [large, large * prices, large * prices**2, large * net, large * net * prices, large * minutes]
    columns += [large * minutes * prices, ~large * net, ~large * minutes]
    return np.column_stack([np.bincount(code, weights=column, minlength=len(names)) for column in columns])


def _crossing(sums: Floats) -> Floats:
    """Price at which the two meet: 0 where the large always win, infinity where they never do, NaN where unknown."""
    count, price, squares, net, net_price, minutes, minutes_price, small_net, small_minutes = sums.T
    with np.errstate(divide="ignore", invalid="ignore"):
        bar = small_net / small_minutes
        spread = count * squares - price**2
        # The line of net - bar x minutes in the price: it crosses zero where the returns are equal.
        gain = net - bar * minutes
        gain_price = net_price - bar * minutes_price
        slope = (count * gain_price - price * gain) / spread
        level = (gain - slope * price) / count
        crossing = -level / slope
    crossing = np.where(slope > 0, np.maximum(crossing, 0.0), np.where(level > 0, 0.0, np.inf))
    known = (count > 1) & (spread > 1e-9 * np.maximum(squares, 1.0)) & (small_minutes > 0)
    return np.where(known, crossing, np.nan)


def _words(price: float, low: float, high: float, seen: tuple[int, int], claimed: bool, large: str, small: str) -> str:
    if not claimed:
        return "too few to tell"
    if price == 0:
        return f"{large} beats {small} at every price"
    if math.isinf(price):
        return f"not found: at no price does {large} beat {small}"
    if not seen[0] <= price <= seen[1]:
        return f"{large} beats {small} above a price outside what was sold so far"
    if math.isinf(high):
        return f"{large} may beat {small} above the price shown, or never"
    return f"{large} beats {small} above the price shown"
