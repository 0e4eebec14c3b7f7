"""The chance that an unsold item sells within a horizon, given the days it has already waited.

Kaplan-Meier by category says too little where few sold, so each category's daily chance of a
sale is pulled towards the shop's in two steps: first the shop's curve is moved to the
category's own pace (its sales over the sales that the shop's curve would expect, counted beside
``PACE_SALES`` expected ones), then each day's figure is the category's own counted beside
``DAY_ITEMS`` items that follow that curve. A category with a hundred items at risk speaks for
itself; one with three speaks mostly through the shop.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

#: How many expected sales the shop's pace weighs beside a category's own sales.
PACE_SALES = 5.0
#: How many items at risk the moved shop curve weighs beside a category's own on each day.
DAY_ITEMS = 5.0
#: The shop's curve is trusted while so many items are at risk; beyond, the mean of the last
#: ``TAIL_DAYS`` days goes on.
LEAST_AT_RISK = 10
TAIL_DAYS = 90


@dataclass(frozen=True)
class Shelf:
    """Counts by day on sale: items at risk, sales, and items given up.

    Each has shape (..., days): leading axes hold alternatives, such as one trip left out.
    """

    at_risk: Floats
    sold: Floats
    given_up: Floats


def shelf_counts(days_listed: npt.ArrayLike, sold: npt.ArrayLike, given_up: npt.ArrayLike, *, days: int) -> Shelf:
    """How many items were on sale at each day of their listing, and how many sold or left on it.

    Parameters
    ----------
    days_listed : array, shape (n,)
        Days on sale, to the sale, the giving up or the report's day. [days]
    sold, given_up : array of bool, shape (n,)
        How it ended; neither: still for sale.
    days : int
        Length of the counts.

    Returns
    -------
    Shelf
        Counts, shape (days,).

    Examples
    --------
    >>> shelf_counts([0, 2, 2], [True, True, False], [False] * 3, days=4).at_risk.tolist()
    [3.0, 2.0, 2.0, 0.0]
    """
    day = np.minimum(np.asarray(days_listed, dtype=np.float64), days - 1).astype(np.int64)

    def count(mask: npt.ArrayLike) -> Floats:
        return np.bincount(day[np.asarray(mask, dtype=bool)], minlength=days).astype(np.float64)

    leaving = count(np.ones(day.size, dtype=bool))
    at_risk = np.cumsum(leaving[::-1])[::-1]
    return Shelf(at_risk, count(sold), count(given_up))


def shop_hazards(shelf: Shelf) -> tuple[Floats, Floats]:
    """The shop's daily chance of a sale and of giving up, carried on where too few items are left.

    Parameters
    ----------
    shelf : Shelf
        Counts of the whole shop, shape (days,).

    Returns
    -------
    tuple of array, shape (days,)
        Chance of a sale on each day for an item still there, and chance of being given up.

    Examples
    --------
    >>> rates, _ = shop_hazards(shelf_counts([1] * 50 + [9] * 50, [True] * 50 + [False] * 50, [False] * 100, days=12))
    >>> rates.round(2).tolist()
    [0.0, 0.5, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.08, 0.08]
    """
    risk = np.maximum(shelf.at_risk, 1.0)
    sale, leave = shelf.sold / risk, shelf.given_up / risk
    thin = np.flatnonzero(shelf.at_risk < LEAST_AT_RISK)
    if thin.size:
        start = thin[0]
        first = max(0, start - TAIL_DAYS)
        seen = shelf.at_risk[first:start].sum()
        sale[start:] = shelf.sold[first:start].sum() / seen if seen else 0.0
        leave[start:] = shelf.given_up[first:start].sum() / seen if seen else 0.0
    return sale, leave


def pooled_hazards(own: Shelf, shop_sale: Floats, shop_leave: Floats) -> tuple[Floats, Floats]:
    """A category's daily chances of a sale and of giving up, pulled towards the shop's.

    Parameters
    ----------
    own : Shelf
        Counts of the category, shape (..., days).
    shop_sale, shop_leave : array, shape (days,)
        As ``shop_hazards`` gives them.

    Returns
    -------
    tuple of array, shape (..., days)
        Chance of a sale, and of being given up, on each day for an item still there.

    Examples
    --------
    >>> own = shelf_counts([3], [False], [False], days=5)
    >>> sale, _ = pooled_hazards(own, np.full(5, 0.1), np.zeros(5))
    >>> sale.round(3).tolist()
    [0.077, 0.077, 0.077, 0.077, 0.093]
    """
    expected = own.at_risk @ shop_sale
    pace = (own.sold.sum(axis=-1) + PACE_SALES) / (expected + PACE_SALES)
    moved = np.minimum(pace[..., None] * shop_sale, 1.0)
    weight = own.at_risk + DAY_ITEMS
    sale = np.minimum((own.sold + DAY_ITEMS * moved) / weight, 1.0)
    # Giving up is the seller's habit rather than the category's nature: no pace of its own.
    leave = np.minimum((own.given_up + DAY_ITEMS * shop_leave) / weight, 1.0 - sale)
    return sale, leave


def chances_by_day(sale: Floats, leave: Floats, *, horizon_days: int) -> Floats:
    """Chance of a sale within the horizon for an item that has got through each number of days.

    Parameters
    ----------
    sale, leave : array, shape (..., days)
        Daily chances of a sale and of being given up, for the first day on sale and on.
    horizon_days : int
        How far ahead is looked, at least one and at most ``days``. [days]

    Returns
    -------
    array, shape (..., days - horizon_days + 1)
        The chance after getting through 0, 1, 2, ... days without a sale.

    Examples
    --------
    >>> chances_by_day(np.array([0.5, 0.5, 0.5]), np.zeros(3), horizon_days=2).tolist()
    [0.75, 0.75]
    """
    still = np.cumprod(1.0 - sale - leave, axis=-1)
    before = np.concatenate((np.ones((*still.shape[:-1], 1)), still[..., :-1]), axis=-1)
    sold = np.concatenate((np.zeros((*still.shape[:-1], 1)), np.cumsum(before * sale, axis=-1)), axis=-1)
    gain = sold[..., horizon_days:] - sold[..., : sold.shape[-1] - horizon_days]
    base = before[..., : gain.shape[-1]]
    return np.asarray(np.divide(gain, base, out=np.zeros_like(gain), where=base > 1e-12))
