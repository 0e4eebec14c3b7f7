"""What a price path leads to: money, weeks, chance of a sale; and money against weeks as a frontier."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from flipkit.analysis.demand import SURE, Demand, Possible
from flipkit.analysis.price_tables import PriceTable
from flipkit.analysis.pricing import GIVE_UP, PricePaths, PriceSettings
from flipkit.analysis.weighed_prices import weighed_paths

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Outcomes:
    """What following a path leads to, for each of n things.

    Attributes
    ----------
    chance : array, shape (n, weeks, 1 + offers)
        Chance that the thing sells in a week at the asking price, or by each kind of offer.
    net_cents : array, shape (n, weeks, 1 + offers)
        What that sale leaves. [cents]
    price_cents : array, shape (n, weeks, 1 + offers)
        Its price. [cents]
    still : array, shape (n, weeks)
        Chance of being on sale when a week begins.
    changes : array, shape (n,)
        Price changes to be expected.
    """

    chance: Floats
    net_cents: Floats
    price_cents: Floats
    still: Floats
    changes: Floats

    @property
    def sold_share(self) -> Floats:
        """Chance that the thing sells at all."""
        return np.asarray(self.chance.sum(axis=(1, 2)))

    @property
    def takings_cents(self) -> Floats:
        """What sales leave on average, things that never sell counted with nothing. [cents]"""
        return np.asarray((self.chance * self.net_cents).sum(axis=(1, 2)))

    @property
    def weeks(self) -> Floats:
        """Weeks on sale on average."""
        return np.asarray(self.still.sum(axis=1))

    @property
    def mean_price_cents(self) -> Floats:
        """Mean price of what sells; NaN where nothing does. [cents]"""
        share = self.sold_share
        total = (self.chance * self.price_cents).sum(axis=(1, 2))
        return np.asarray(np.divide(total, share, out=np.full(share.shape, np.nan), where=share > 0))


def path_outcomes(
    place: Ints, lowest_offer_cents: Floats, demand: Demand, table: PriceTable, *, start: npt.ArrayLike = 0
) -> Outcomes:
    """What paths lead to under a demand, which need not be the one that they were made for.

    Parameters
    ----------
    place : array, shape (n, weeks)
        Places of the asking prices in the table, ``GIVE_UP`` from the end on.
    lowest_offer_cents : array, shape (n, weeks)
        Offers from here on are taken. [cents]
    demand : Demand
        How buyers come.
    table : PriceTable
        Prices and what a sale at them leaves.
    start : int or array, shape (n,)
        Weeks already on sale: the path's first week is that week of the demand.

    Returns
    -------
    Outcomes
        Chances, money, weeks.

    Examples
    --------
    >>> from flipkit.analysis.price_tables import PriceGrid, price_table
    >>> demand = Demand(np.array([np.log(np.log(2.0))]), np.array([0.0]), np.zeros(2))
    >>> table = price_table([1000], lambda price: price, demand, grid=PriceGrid(0.9, 1.1, 0.1))
    >>> found = path_outcomes(np.array([[1, 1]]), np.full((1, 2), 1e9), demand, table)
    >>> found.sold_share.round(9).tolist(), found.weeks.round(9).tolist()
    ([0.75], [1.5])
    """
    n, weeks = place.shape
    on = place != GIVE_UP
    at = np.maximum(place, 0)
    first = np.broadcast_to(np.asarray(start, dtype=np.int64), (n,))
    week = np.minimum(first[:, None] + np.arange(weeks), demand.weeks - 1)
    weekly = demand.weekly[week] if demand.weekly.ndim == 1 else np.take_along_axis(demand.weekly, week, axis=1)
    ratio = np.take_along_axis(table.log_ratio, at, axis=1)
    rate = np.where(on, np.exp(demand.log_rate[:, None] - demand.pull[:, None] * ratio + weekly), 0.0)
    part: list[Floats] = [np.ones((n, weeks))]
    price: list[Floats] = []
    net: list[Floats] = []
    for step, often in zip((0, *table.offer_steps), (1.0, *demand.offers.per_sale), strict=True):
        lower = np.maximum(at - step, 0)
        price.append(np.take_along_axis(table.price_cents, lower, axis=1))
        net.append(np.take_along_axis(table.net_cents, lower, axis=1))
        if step:
            part.append(np.asarray(often * (price[-1] >= lowest_offer_cents), dtype=np.float64))
    share = np.stack(part, axis=2)
    total = share.sum(axis=2)
    event = -np.expm1(-rate * total)
    still = np.cumprod(np.concatenate((np.ones((n, 1)), 1 - event[:, :-1]), axis=1), axis=1) * on
    moved = (place[:, 1:] != place[:, :-1]) & on[:, 1:]
    return Outcomes(
        (still * event / total)[:, :, None] * share,
        np.stack(net, axis=2),
        np.stack(price, axis=2),
        still,
        (still[:, 1:] * moved).sum(axis=1),
    )


def worth_cents(
    found: Outcomes, settings: PriceSettings, *, storage_cents: npt.ArrayLike, end_cents: npt.ArrayLike
) -> Floats:
    """What outcomes are worth on the first day, by the same rules as the best path's value.

    Parameters
    ----------
    found : Outcomes
        As ``path_outcomes`` gives them.
    settings : PriceSettings
        Weeks, tied-up money, work of a change.
    storage_cents : float or array, shape (n,)
        Cost of each week on the shelf. [cents]
    end_cents : float or array, shape (n,)
        What giving up brings. [cents]

    Returns
    -------
    array, shape (n,)
        The worth. [cents]

    Examples
    --------
    See ``tests/analysis/test_pricing.py``, where it equals the value found backward.
    """
    n, weeks = found.still.shape
    keep = settings.keep ** np.arange(weeks + 1)
    storage = np.broadcast_to(np.asarray(storage_cents, dtype=np.float64), (n,))[:, None]
    end = np.broadcast_to(np.asarray(end_cents, dtype=np.float64), (n,))
    event = found.chance.sum(axis=2)
    sales = (found.chance * found.net_cents).sum(axis=2)
    waits = found.still - event
    # Who is on sale at the end of a week but not at the beginning of the next is given up then.
    onward = np.concatenate((found.still[:, 1:], np.zeros((n, 1))), axis=1)
    never = 1.0 - found.still[:, 0]
    return np.asarray(
        ((sales - waits * storage) * keep[:-1]).sum(axis=1)
        + end * (never + ((waits - onward) * keep[1:]).sum(axis=1))
        - settings.change_cents * _change_worth(found, keep)
    )


def _change_worth(found: Outcomes, keep: Floats) -> Floats:
    moved = found.price_cents[:, 1:, 0] != found.price_cents[:, :-1, 0]
    return np.asarray((found.still[:, 1:] * moved * keep[1:-1]).sum(axis=1))


class FrontierPoint(NamedTuple):
    """One path on the frontier of money against weeks."""

    week_cents: float
    money_cents: float
    weeks: float
    sold_share: float
    list_price_cents: float
    paths: PricePaths


def price_frontier(
    demand: Demand,
    table: PriceTable,
    settings: PriceSettings,
    *,
    storage_cents: float,
    end_cents: float,
    week_cents: npt.ArrayLike,
    possible: Possible = SURE,
) -> list[FrontierPoint]:
    """Expected money against expected weeks for one thing, from patient to hurried.

    Each point is the best path of a seller to whom a further week is worth so many cents beyond
    what it costs; 0 is the path that the kit proposes.

    Parameters
    ----------
    demand : Demand
        How buyers come, for one thing.
    table : PriceTable
        Its prices.
    settings : PriceSettings
        Weeks, tied-up money, work of a change.
    storage_cents : float
        Cost of each week on the shelf. [cents]
    end_cents : float
        What giving up brings. [cents]
    week_cents : array, shape (m,)
        What a further week is worth to the seller. [cents]
    possible : Possible
        What the demand may be; without it the demand is sure.

    Returns
    -------
    list of FrontierPoint
        One a value, money without that worth of the weeks.

    Examples
    --------
    >>> from flipkit.analysis.price_tables import PriceGrid, price_table
    >>> demand = Demand(np.array([-2.0]), np.array([2.5]), np.zeros(26))
    >>> table = price_table([5000], lambda price: 0.87 * price, demand, grid=PriceGrid(0.5, 1.5, 0.05))
    >>> patient, hurried = price_frontier(
    ...     demand, table, PriceSettings(26), storage_cents=0, end_cents=0, week_cents=[0, 300]
    ... )
    >>> hurried.weeks < patient.weeks, hurried.money_cents < patient.money_cents
    (True, True)
    """
    points = []
    for extra in np.asarray(week_cents, dtype=np.float64):
        held = storage_cents + float(extra)
        paths = weighed_paths(demand, possible, table, settings, storage_cents=held, end_cents=end_cents)
        found = [path_outcomes(paths.place, paths.lowest_offer_cents, one, table) for one in possible.moved(demand)]
        money = [worth_cents(one, settings, storage_cents=storage_cents, end_cents=end_cents)[0] for one in found]
        points.append(
            FrontierPoint(
                float(extra),
                float(possible.share @ money),
                float(possible.share @ [one.weeks[0] for one in found]),
                float(possible.share @ [one.sold_share[0] for one in found]),
                float(paths.price_cents[0, 0]),
                paths,
            )
        )
    return points
