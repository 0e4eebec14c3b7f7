"""The price path of a thing whose demand is not known for sure: every possibility weighed, week by week.

Things of a category differ in ways that no column tells, comparables err, and books teach level
and pull of the demand only roughly. What has not sold yet is likelier one of the less wanted.
That it has not sold is all that a seller learns on the way, so the best path is still one list of
prices. It is sought by backward induction in which each week's possibilities weigh as much as
they have left unsold along the path found before, and again along the path so found.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from flipkit.analysis.demand import Demand, Possible
from flipkit.analysis.price_tables import PriceTable
from flipkit.analysis.pricing import GIVE_UP, PricePaths, PriceSettings, best_change, best_paths, lowest_offer

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Things priced at a time, so that the tables stay in the processor's memory.
_CHUNK = 40
#: How often a path is sought along the one before; a third time moves the worth by less than a thousandth.
_SWEEPS = 2


def weighed_paths(
    demand: Demand,
    possible: Possible,
    table: PriceTable,
    settings: PriceSettings,
    *,
    storage_cents: npt.ArrayLike = 0.0,
    end_cents: npt.ArrayLike = 0.0,
    start: Ints | None = None,
    sweeps: int = _SWEEPS,
) -> PricePaths:
    """The path that is worth most on average over all that the demand may be, for each of many things.

    Parameters
    ----------
    demand : Demand
        The middling demand of each thing.
    possible : Possible
        What it may be beside that, and how likely.
    table : PriceTable
        Prices and what a sale at them leaves.
    settings : PriceSettings
        Weeks, tied-up money, work of a change.
    storage_cents : float or array, shape (n,)
        Cost of each week on the shelf. [cents]
    end_cents : float or array, shape (n,)
        What giving up brings. [cents]
    start : array of int, shape (n,), optional
        Place of the price asked already, as in ``best_paths``.
    sweeps : int
        How often a path is sought along the one before.

    Returns
    -------
    PricePaths
        Prices, lowest offers, the week to give up, and the value with all possibilities weighed.

    Raises
    ------
    AssumptionError
        If the demand knows fewer weeks than the settings ask for.

    Examples
    --------
    >>> from flipkit.analysis.demand import possible_demand
    >>> from flipkit.analysis.price_tables import PriceGrid, price_table
    >>> demand = Demand(np.array([-2.0]), np.array([2.5]), np.zeros(52))
    >>> table = price_table([3000], lambda price: 0.8 * price, demand, grid=PriceGrid(0.5, 1.5, 0.05))
    >>> sure = best_paths(demand, table, PriceSettings(52), storage_cents=50)
    >>> unsure = weighed_paths(demand, possible_demand(0.7, 0.4), table, PriceSettings(52), storage_cents=50)
    >>> bool(unsure.weeks_to_give_up[0] < sure.weeks_to_give_up[0])
    True
    """
    n = table.price_cents.shape[0]
    storage = np.broadcast_to(np.asarray(storage_cents, dtype=np.float64), (n,))
    end = np.broadcast_to(np.asarray(end_cents, dtype=np.float64), (n,))
    found = []
    for rows in (slice(at, at + _CHUNK) for at in range(0, n, _CHUNK)):
        own = _Things(demand.part(rows), possible.rows(rows), table.part(rows), settings, storage[rows], end[rows])
        found.append(own.best(None if start is None else start[rows], sweeps))
    return PricePaths(*(np.concatenate(parts) for parts in zip(*found, strict=True)))


class _Things:
    """Some things, and the sweeps for their best paths."""

    def __init__(
        self,
        demand: Demand,
        possible: Possible,
        table: PriceTable,
        settings: PriceSettings,
        storage: Floats,
        end: Floats,
    ) -> None:
        self.demand, self.table, self.settings, self.storage, self.end = demand, table, settings, storage, end
        n, prices = table.price_cents.shape
        self.moved = possible.moved(demand)
        self.share = np.broadcast_to(possible.share, (n, len(self.moved)))
        # Possibilities first: whole tables of all of them at once.
        self.rates = np.stack([one.price_rates(table.log_ratio[:, table.asked :]) for one in self.moved])
        self.net = table.net_cents[:, table.asked :]
        self.offers = [table.net_cents[:, table.asked - step : prices - step] for step in table.offer_steps]

    def best(self, start: Ints | None, sweeps: int) -> tuple[Ints, Floats, Floats, Floats]:
        """The best path of each thing out of those of all sweeps."""
        plain = best_paths(
            self.demand, self.table, self.settings, storage_cents=self.storage, end_cents=self.end, start=start
        )
        place, offer = plain.place, plain.lowest_offer_cents
        found = []
        for _ in range(sweeps):
            place, offer, worth = self._sweep(self._left(place, offer), start)
            found.append((place, offer, worth))
        places, offers, worths = (np.stack(parts) for parts in zip(*found, strict=True))
        best, row = worths.argmax(axis=0), np.arange(worths.shape[1])
        place, offer, worth = places[best, row], offers[best, row], worths[best, row]
        price = np.take_along_axis(self.table.price_cents, np.maximum(place, 0), axis=1)
        return place, np.where(place == GIVE_UP, 0.0, price), offer, worth

    def _left(self, place: Ints, offer: Floats) -> Floats:
        """How likely each possibility is at the beginning of each week of a path, shape (possibilities, n, weeks)."""
        row, at = np.arange(len(place))[:, None], np.maximum(place, self.table.asked)
        count = np.ones(place.shape)
        for step, often in zip(self.table.offer_steps, self.demand.offers.per_sale, strict=True):
            count += often * (self.table.price_cents[row, at - step] >= offer)
        # Beyond the path's end nothing sells: what was unsold then stays so.
        count *= place != GIVE_UP
        weeks = np.exp(self.demand.weekly[..., : place.shape[1]])
        met = np.cumsum(self.rates[:, row, at - self.table.asked] * (weeks * count), axis=2)
        before = np.concatenate((np.zeros((*met.shape[:2], 1)), met[..., :-1]), axis=2)
        left = self.share.T[:, :, None] * np.exp(-before)
        return np.asarray(left / np.maximum(left.sum(axis=0), 1e-300))

    def _sweep(self, likely: Floats, start: Ints | None) -> tuple[Ints, Floats, Floats]:
        """Values and actions backward with the possibilities weighed, then the path forward."""
        n, size = self.net.shape
        weeks, often = self.settings.weeks, self.demand.offers.per_sale
        value = np.broadcast_to(self.end[:, None], self.rates.shape).copy()
        held, come = np.empty_like(value), np.empty_like(value)
        action = np.empty((weeks, n, size), dtype=np.int16)
        wait = np.empty((weeks, n, size))
        column, row = np.arange(size), size * np.arange(n)[:, None]
        for week in range(weeks - 1, -1, -1):
            share = likely[:, :, week, None]
            np.multiply(value, self.settings.keep, out=held)
            held -= self.storage[:, None]
            # What refusing an offer leaves, each possibility counted as its buyers come.
            np.multiply(self.rates, share, out=come)
            buyers = come.sum(axis=0)
            come *= held
            wait[week] = come.sum(axis=0) / np.maximum(buyers, 1e-300)
            count, sale = np.ones((n, size)), self.net.copy()
            for left, many in zip(self.offers, often, strict=True):
                taken = left > wait[week]
                count += many * taken
                sale += many * np.where(taken, left, 0.0)
            sale /= count
            count *= -self.demand.week_factor(week)[:, None]
            # A week's value is the sale's, or by the chance of none what waiting leaves.
            np.multiply(self.rates, count, out=come)
            np.exp(come, out=come)
            held -= sale
            held *= come
            held += sale
            np.multiply(held, share, out=come)
            mean = come.sum(axis=0)
            free = week == 0 and start is None
            changed, target = best_change(mean, self.settings, free=free)
            better = changed > mean
            chosen = np.where(better, target, column)
            stop = np.where(better, changed, mean) < self.end[:, None]
            value = held.reshape(len(held), -1).take((row + chosen).ravel(), axis=1).reshape(held.shape)
            if not free:
                value -= np.where(better, self.settings.change_cents, 0.0)
            if stop.any():
                value = np.where(stop, self.end[:, None], value)
            action[week] = np.where(stop, GIVE_UP, chosen)
        return self._path(action, wait, value, start)

    def _path(
        self, action: npt.NDArray[np.int16], wait: Floats, value: Floats, start: Ints | None
    ) -> tuple[Ints, Floats, Floats]:
        n, size = self.net.shape
        first, weeks, row = self.table.asked, self.settings.weeks, np.arange(n)
        at = np.full(n, size - 1) if start is None else np.clip(start - first, 0, size - 1)
        worth = (self.share.T * value[:, row, at]).sum(axis=0)
        place, refused = np.full((n, weeks), GIVE_UP, dtype=np.int64), np.zeros((n, weeks))
        alive = np.ones(n, dtype=bool)
        for week in range(weeks):
            chosen = action[week][row, at].astype(np.int64)
            alive = alive & (chosen != GIVE_UP)
            at = np.where(alive, chosen, at)
            place[alive, week] = at[alive] + first
            refused[:, week] = wait[week][row, at]
        offer = lowest_offer(self.table, refused, np.maximum(place, 0))
        return place, np.where(place == GIVE_UP, 0.0, offer), worth
