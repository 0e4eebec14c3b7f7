"""The price path of a thing: what to ask, when to mark down, which offer to take, when to give up.

Backward induction over weeks and a grid of prices. In each week the seller holds the price,
lowers it (which costs some work) or gives up; a buyer comes with a chance that depends on price
and week, or writes an offer. Money is what a sale leaves after fees, label and the work of
selling, before what the thing cost, which is spent whatever happens.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flipkit.analysis.demand import Demand
from flipkit.analysis.price_tables import PriceTable
from flipkit.errors import AssumptionError

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Action that ends the listing.
GIVE_UP = -1
#: Things priced at a time, so that the tables stay in the processor's memory.
_CHUNK = 200


@dataclass(frozen=True)
class PriceSettings:
    """What waiting and changing a price cost.

    Attributes
    ----------
    weeks : int
        Weeks on sale at most.
    keep : float
        Part of its value that money keeps over a week.
    change_cents : float
        Cost of the work of one price change. [cents]
    rising : bool
        Whether a price may go up too.
    """

    weeks: int
    keep: float = 1.0
    change_cents: float = 0.0
    rising: bool = False

    def __post_init__(self) -> None:
        if self.weeks < 1:
            raise AssumptionError("pricing.weeks", need="at least 1", got=self.weeks)
        if not 0 < self.keep <= 1:
            raise AssumptionError("keep", need="above 0 and at most 1", got=self.keep)


@dataclass(frozen=True)
class PricePaths:
    """The best path of each thing.

    Attributes
    ----------
    place : array, shape (n, weeks)
        Place of the asking price in the table, ``GIVE_UP`` from the week of giving up on.
    price_cents : array, shape (n, weeks)
        The asking prices; 0 once given up. [cents]
    lowest_offer_cents : array, shape (n, weeks)
        Lowest offer to take in each week; 0 once given up. [cents]
    value_cents : array, shape (n,)
        What the best path is worth on the first day, costs of waiting and changing taken off. [cents]
    """

    place: Ints
    price_cents: Floats
    lowest_offer_cents: Floats
    value_cents: Floats

    @property
    def weeks_to_give_up(self) -> Ints:
        """Weeks after which each thing is given up."""
        return np.asarray((self.place != GIVE_UP).sum(axis=1), dtype=np.int64)


def best_paths(
    demand: Demand,
    table: PriceTable,
    settings: PriceSettings,
    *,
    storage_cents: npt.ArrayLike = 0.0,
    end_cents: npt.ArrayLike = 0.0,
    after_sale: Floats | None = None,
    start: Ints | None = None,
) -> PricePaths:
    """The path that is worth most on the first day, for each of many things.

    Parameters
    ----------
    demand : Demand
        Chance of a sale by week and price, and offers.
    table : PriceTable
        Prices and what a sale at them leaves.
    settings : PriceSettings
        Weeks, tied-up money, work of a change.
    storage_cents : float or array, shape (n,)
        Cost of each week on the shelf. [cents]
    end_cents : float or array, shape (n,)
        What giving up brings. [cents]
    after_sale : array, shape (weeks + 1,), optional
        What a sale leaves the seller to sell still, by the weeks gone; for several like things
        sold one after the other. [cents]
    start : array of int, shape (n,), optional
        Place in the table of the price asked already: from there on, the first change costs as
        every other, and no price above it is asked unless prices may rise. Without it the first
        price is free.

    Returns
    -------
    PricePaths
        Prices, lowest offers, the week to give up, and the value.

    Raises
    ------
    AssumptionError
        If the demand knows fewer weeks than the settings ask for.

    Examples
    --------
    >>> from flipkit.analysis.price_tables import PriceGrid, price_table
    >>> demand = Demand(np.array([-2.0]), np.array([2.5]), np.zeros(26))
    >>> table = price_table(np.array([5000]), lambda price: 0.87 * price - 800, demand, grid=PriceGrid(0.5, 1.5, 0.05))
    >>> path = best_paths(demand, table, PriceSettings(26, keep=0.997, change_cents=100))
    >>> bool(path.price_cents[0, 0] > 5000), bool((np.diff(path.price_cents[0]) <= 0).all())
    (True, True)
    """
    if demand.weeks < settings.weeks:
        raise AssumptionError("pricing.weeks", need=f"at most {demand.weeks}, as far as demand is known", got=settings)
    n = table.price_cents.shape[0]
    storage = np.broadcast_to(np.asarray(storage_cents, dtype=np.float64), (n,))
    end = np.broadcast_to(np.asarray(end_cents, dtype=np.float64), (n,))
    later = np.zeros(settings.weeks + 1) if after_sale is None else np.asarray(after_sale, dtype=np.float64)
    found = [
        _solved(
            demand.part(rows),
            table.part(rows),
            settings,
            storage[rows],
            end[rows],
            later,
            None if start is None else start[rows],
        )
        for rows in (slice(at, at + _CHUNK) for at in range(0, n, _CHUNK))
    ]
    return PricePaths(*(np.concatenate(parts) for parts in zip(*found, strict=True)))


def _solved(
    demand: Demand,
    table: PriceTable,
    settings: PriceSettings,
    storage: Floats,
    end: Floats,
    later: Floats,
    start: Ints | None,
) -> tuple[Ints, Floats, Floats, Floats]:
    """Values and actions backward, then the path forward."""
    n, prices = table.price_cents.shape
    first = table.asked
    size = prices - first
    rates = demand.price_rates(table.log_ratio[:, first:])
    net = table.net_cents[:, first:]
    value = np.broadcast_to(end[:, None], (n, size)).copy()
    action = np.empty((settings.weeks, n, size), dtype=np.int16)
    wait = np.empty((settings.weeks, n, size))
    column = np.arange(size)
    for week in range(settings.weeks - 1, -1, -1):
        wait[week] = settings.keep * value - storage[:, None]
        held = held_value(
            rates * demand.week_factor(week)[:, None],
            net + later[week],
            wait[week],
            [(table.net_cents[:, first - step : prices - step] + later[week]) for step in table.offer_steps],
            demand.offers.per_sale,
        )
        changed, target = best_change(held, settings, free=week == 0 and start is None)
        better = changed > held
        value = np.where(better, changed, held)
        action[week] = np.where(better, target, column)
        stop = value < end[:, None]
        value = np.where(stop, end[:, None], value)
        action[week] = np.where(stop, GIVE_UP, action[week])
    row = np.arange(n)
    place = np.full((n, settings.weeks), GIVE_UP, dtype=np.int64)
    refused = np.zeros((n, settings.weeks))
    # Without a price asked already, every price can be reached from the highest place without cost.
    at = np.full(n, size - 1) if start is None else np.clip(start - first, 0, size - 1)
    worth = value[row, at]
    alive = np.ones(n, dtype=bool)
    for week in range(settings.weeks):
        chosen = action[week][row, at].astype(np.int64)
        alive = alive & (chosen != GIVE_UP)
        at = np.where(alive, chosen, at)
        place[alive, week] = at[alive] + first
        refused[:, week] = wait[week][row, at] - later[week]
    on, asked = place != GIVE_UP, np.maximum(place, 0)
    price = np.where(on, np.take_along_axis(table.price_cents, asked, axis=1), 0.0)
    return place, price, np.where(on, lowest_offer(table, refused, asked), 0.0), worth


def held_value(
    rates: Floats, net: Floats, wait: Floats, offer_net: list[Floats], offers_per_sale: tuple[float, ...]
) -> Floats:
    """Value of a week at a held price, a buyer or an acceptable offer coming at most once.

    Parameters
    ----------
    rates : array
        Sales a week at the price.
    net : array
        What a sale at it leaves. [cents]
    wait : array
        What is left if nothing happens, as of this week. [cents]
    offer_net : list of array
        What each kind of offer would leave. [cents]
    offers_per_sale : tuple of float
        How many of each come for every sale at the price.

    Returns
    -------
    array
        The value. [cents]

    Examples
    --------
    >>> held_value(np.array([np.log(2)]), np.array([100.0]), np.array([60.0]), [], ()).round(9).tolist()
    [80.0]
    """
    gain = net - wait
    count = np.ones_like(gain)
    for left, often in zip(offer_net, offers_per_sale, strict=True):
        better = left - wait
        taken = better > 0
        gain = gain + often * np.where(taken, better, 0.0)
        count = count + often * taken
    return np.asarray(wait - np.expm1(-rates * count) / count * gain)


def best_change(held: Floats, settings: PriceSettings, *, free: bool) -> tuple[Floats, Ints]:
    """Best value after a change of price from each place, and the place changed to.

    Parameters
    ----------
    held : array, shape (n, prices)
        Value of the week at each price held. [cents]
    settings : PriceSettings
        Work of a change, and whether prices may rise.
    free : bool
        Whether the change costs nothing, as that to the first price.

    Returns
    -------
    value : array, shape (n, prices)
        The value after the best change. [cents]
    target : array, shape (n, prices)
        The place changed to.

    Examples
    --------
    >>> value, target = best_change(np.array([[5.0, 9.0, 7.0]]), PriceSettings(4, change_cents=1.0), free=False)
    >>> value.tolist(), target.tolist()
    ([[4.0, 8.0, 8.0]], [[0, 1, 1]])
    """
    cost = 0.0 if free else settings.change_cents
    if settings.rising:
        best = held.argmax(axis=1)
        top = held.max(axis=1)
        return np.broadcast_to((top - cost)[:, None], held.shape), np.broadcast_to(best[:, None], held.shape)
    peak = np.maximum.accumulate(held, axis=1)
    fresh = np.where(held == peak, np.arange(held.shape[1]), 0)
    return peak - cost, np.maximum.accumulate(fresh, axis=1)


def lowest_offer(table: PriceTable, wait: Floats, at: Ints) -> Floats:
    """Lowest price of the table, or between two of them, whose net is worth the wait; at most the asking price.

    Parameters
    ----------
    table : PriceTable
        Prices and what a sale at them leaves.
    wait : array, shape (n, weeks)
        What is left if the offer is refused. [cents]
    at : array of int, shape (n, weeks)
        Places of the asking prices.

    Returns
    -------
    array, shape (n, weeks)
        In whole dollars. [cents]

    Examples
    --------
    >>> price = np.array([[1000.0, 2000.0, 3000.0]])
    >>> table = PriceTable(price, price / 2000, price - 500, (), 0)
    >>> lowest_offer(table, np.array([[900.0]]), np.array([[2]])).tolist()
    [[1400.0]]
    """
    net, price = table.net_cents, table.price_cents
    short = (net[:, None, :] < wait[:, :, None]).sum(axis=2)
    row = np.arange(len(net))[:, None]
    upper = np.clip(short, 1, net.shape[1] - 1)
    low, high = net[row, upper - 1], net[row, upper]
    part = np.clip((wait - low) / np.maximum(high - low, 1e-9), 0.0, 1.0)
    between = price[row, upper - 1] * (1 - part) + price[row, upper] * part
    between = np.where(short == 0, price[:, :1], between)
    return np.asarray(np.minimum(np.ceil(between / 100) * 100, price[row, at]))
