"""The price path of a thing: what to ask, when to mark down, when to give up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flipkit.analysis.demand import Demand, Possible
from flipkit.errors import AssumptionError

# The prices that can be asked for a thing, and what a sale at each leaves.

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class PriceTable:
    """The prices that can be asked for each thing, and what a sale at them leaves."""

    price_cents: Floats
    log_ratio: Floats
    net_cents: Floats
    offer_steps: tuple[int, ...]
    asked: int

    def part(self, rows: slice | Ints) -> PriceTable:
        """The table of some of the things."""
        return PriceTable(
            self.price_cents[rows], self.log_ratio[rows], self.net_cents[rows], self.offer_steps, self.asked
        )

    @classmethod
    def joined(cls, parts: Sequence[PriceTable]) -> PriceTable:
        """Tables of the same shape under one another."""
        price, ratio, net = (
            np.concatenate([getattr(part, name) for part in parts])
            for name in ("price_cents", "log_ratio", "net_cents")
        )
        return cls(price, ratio, net, parts[0].offer_steps, parts[0].asked)

    def reached(self, start: Ints | None, *, rising: bool) -> int:
        """How many of the prices asked can still be reached: from what is asked already, lower ones alone."""
        size = self.price_cents.shape[1] - self.asked
        return size if start is None or rising else int(np.clip(start.max() - self.asked, 0, size - 1)) + 1


@dataclass(frozen=True)
class PriceGrid:
    """The prices considered, over the typical price."""

    low: float
    high: float
    step: float

    def __post_init__(self) -> None:
        if not (0 < self.low < self.high and self.step > 0):
            raise AssumptionError("pricing.grid", need="0 < low < high and a step above 0", got=self)


def price_table(
    typical_cents: npt.ArrayLike,
    net_of: object,
    demand: Demand,
    *,
    grid: PriceGrid,
    endings_cents: tuple[int, ...] = (),
) -> PriceTable:
    """Prices around each thing's typical price, and what a sale at them leaves."""
    typical = np.asarray(typical_cents, dtype=np.float64)
    steps = tuple(max(round(-np.log(part) / grid.step), 1) for part in demand.offers.parts)
    below = max(steps, default=0)
    asked = round(np.log(grid.high / grid.low) / grid.step) + 1
    log = np.log(grid.high) - grid.step * np.arange(asked + below - 1, -1, -1)
    price = rounded_price(typical[:, None] * np.exp(log), endings_cents)
    net = np.asarray(net_of(price), dtype=np.float64)  # type: ignore[operator]
    return PriceTable(price, np.log(price / typical[:, None]), net, steps, below)


def rounded_price(price_cents: Floats, endings_cents: tuple[int, ...] = ()) -> Floats:
    """Prices moved to the nearest one with an allowed ending; whole cents where none is named.

    >>> rounded_price(np.array([4320.4, 120.0]), (0, 95)).tolist()
    [4300.0, 100.0]
    """
    price = np.asarray(price_cents, dtype=np.float64)
    if not endings_cents:
        return np.maximum(np.rint(price), 1.0)
    dollars = np.floor(price / 100)
    choices = np.stack(
        [100 * (dollars + whole) + ending for whole in (-1, 0, 1) for ending in sorted(set(endings_cents))], axis=-1
    )
    choices = np.where(choices > 0, choices, np.inf)
    nearest = np.abs(choices - price[..., None]).argmin(axis=-1)
    return np.asarray(np.take_along_axis(choices, nearest[..., None], axis=-1)[..., 0])


# How the seller prices now: the path that every other one is set beside.


@dataclass(frozen=True)
class Habit:
    """How a seller prices: first price over the typical one, its spread, markdowns, offers taken, patience."""

    ratio: float
    cut_share: float
    first_cut_weeks: float
    cut_weeks: float
    patience_weeks: float
    offer_share: float
    spread: float = 0.2

    def ratios(self, weeks: int) -> Floats:
        """What is asked in each week, over the typical price.

        >>> Habit(1.2, 0.1, 7.0, 7.0, 52.0, 0.85).ratios(8).round(2).tolist()
        [1.2, 1.2, 1.2, 1.2, 1.2, 1.2, 1.2, 1.08]
        """
        week = np.arange(weeks)
        cuts = np.where(week < self.first_cut_weeks, 0, 1 + (week - self.first_cut_weeks) // self.cut_weeks)
        return np.asarray(self.ratio * (1 - self.cut_share) ** cuts)


def habit_paths(habit: Habit, table: PriceTable, weeks: int) -> PricePaths:
    """The paths of a seller who goes on as before, on the prices of a table.

    >>> table = PriceTable(np.array([[4000.0, 5000.0, 6000.0]]), np.log([[0.8, 1.0, 1.2]]), np.zeros((1, 3)), (), 0)
    >>> habit_paths(Habit(1.2, 0.2, 1.0, 1.0, 3.0, 0.9), table, 4).price_cents.tolist()
    [[6000.0, 5000.0, 4000.0, 0.0]]
    """
    asked = np.log(habit.ratios(weeks))
    place = np.abs(table.log_ratio[:, None, table.asked :] - asked[None, :, None]).argmin(axis=2) + table.asked
    on = np.arange(weeks) < habit.patience_weeks
    place = np.where(on, place, GIVE_UP)
    price = np.where(on, np.take_along_axis(table.price_cents, np.maximum(place, 0), axis=1), 0.0)
    offer = np.minimum(np.ceil(habit.offer_share * price / 100) * 100, price)
    return PricePaths(place, price, offer, np.full(len(place), np.nan))


# The price path of a thing: what to ask, when to mark down, which offer to take, when to give up.
#
# Backward induction over weeks and a grid of prices. In each week the seller holds the price, lowers it (which
# costs some work) or gives up; a buyer comes with a chance that depends on price and week, or writes an offer.
# Money is what a sale leaves after fees, label and the work of selling, before what the thing cost, which is spent
# whatever happens.

#: Action that ends the listing.
GIVE_UP = -1
#: What is worth no more than this beyond its end is given up: a week in which nobody comes is worth nothing. [cents]
_NOTHING = 1e-6
#: Things priced at a time, so that the tables stay in the processor's memory.
_CHUNK = 200


@dataclass(frozen=True)
class PriceSettings:
    """What waiting and changing a price cost."""

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
    """The best path of each thing."""

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
    """The path that is worth most on the first day, for each of many things."""
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
    n, first = len(table.price_cents), table.asked
    size = table.reached(start, rising=settings.rising)
    last = first + size
    rates = demand.price_rates(table.log_ratio[:, first:last])
    net = table.net_cents[:, first:last]
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
            [(table.net_cents[:, first - step : last - step] + later[week]) for step in table.offer_steps],
            demand.offers.per_sale,
        )
        changed, target = best_change(held, settings, free=week == 0 and start is None)
        better = changed > held
        value = np.where(better, changed, held)
        action[week] = np.where(better, target, column)
        stop = value <= end[:, None] + _NOTHING
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

    >>> price = np.array([[1000.0, 2000.0, 3000.0]])
    >>> table = PriceTable(price, price / 2000, price - 500, (), 0)
    >>> lowest_offer(table, np.array([[900.0]]), np.array([[2]])).tolist()
    [[1400.0]]
    """
    return whole_offer(price_worth(table, wait), table.price_cents[np.arange(len(at))[:, None], at])


def whole_offer(cents: Floats, asked: Floats) -> Floats:
    """Offers rounded up to whole units, at most what is asked."""
    return np.asarray(np.minimum(np.ceil(cents / 100) * 100, asked))


def price_worth(table: PriceTable, wait: Floats) -> Floats:
    """The price of the table, or between two of them, whose net is worth the wait."""
    net, price = table.net_cents, table.price_cents
    # Giving up costs nothing, so no wait is worth less.
    wait = np.maximum(wait, 0.0)
    short = (net[:, None, :] < wait[:, :, None]).sum(axis=2)
    row = np.arange(len(net))[:, None]
    upper = np.clip(short, 1, net.shape[1] - 1)
    low, high = net[row, upper - 1], net[row, upper]
    part = np.clip((wait - low) / np.maximum(high - low, 1e-9), 0.0, 1.0)
    between = price[row, upper - 1] * (1 - part) + price[row, upper] * part
    return np.where(short == 0, price[:, :1], between)


# The price path of a thing whose demand is not known for sure: every possibility weighed, week by week.
#
# Things of a category differ in ways that no column tells, comparables err, and books teach level and pull of the
# demand only roughly. What has not sold yet is likelier one of the less wanted. That it has not sold is all that a
# seller learns on the way, so the best path is still one list of prices. It is sought by backward induction in
# which each week's possibilities weigh as much as they have left unsold along the path found before, and again
# along the path so found.

#: Things priced at a time, so that the tables stay in the processor's memory.
_WEIGHED_CHUNK = 40
#: How often a path is sought along the one before; a third time moves the worth by less than a thousandth.
SWEEPS = 2


def weighed_paths(
    demand: Demand,
    possible: Possible,
    table: PriceTable,
    settings: PriceSettings,
    *,
    storage_cents: npt.ArrayLike = 0.0,
    end_cents: npt.ArrayLike = 0.0,
    start: Ints | None = None,
    sweeps: int = SWEEPS,
) -> PricePaths:
    """The path that is worth most on average over all that the demand may be, for each of many things."""
    n = table.price_cents.shape[0]
    storage = np.broadcast_to(np.asarray(storage_cents, dtype=np.float64), (n,))
    end = np.broadcast_to(np.asarray(end_cents, dtype=np.float64), (n,))
    found = []
    # Those with the lowest prices first: they have the fewest left to look at.
    order = np.arange(n) if start is None else np.argsort(start, kind="stable")
    for rows in (order[at : at + _WEIGHED_CHUNK] for at in range(0, n, _WEIGHED_CHUNK)):
        own = None if start is None else start[rows]
        things = _Things(
            demand.part(rows), possible.rows(rows), table.part(rows), settings, storage[rows], end[rows], own
        )
        found.append(things.best(sweeps))
    back = np.argsort(order)
    return PricePaths(*(np.concatenate(parts)[back] for parts in zip(*found, strict=True)))


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
        start: Ints | None,
    ) -> None:
        self.demand, self.table, self.settings, self.storage, self.end = demand, table, settings, storage, end
        self.start = start
        first, last = table.asked, table.asked + table.reached(start, rising=settings.rising)
        # Possibilities first: whole tables of all of them at once.
        self.rates = possible.moved(demand).price_rates(table.log_ratio[:, first:last])
        self.share = np.broadcast_to(possible.share, (self.rates.shape[1], len(self.rates)))
        self.net = table.net_cents[:, first:last]
        self.offers = [table.net_cents[:, first - step : last - step] for step in table.offer_steps]

    def best(self, sweeps: int) -> tuple[Ints, Floats, Floats, Floats]:
        """The best path of each thing out of those of all sweeps."""
        plain = best_paths(
            self.demand, self.table, self.settings, storage_cents=self.storage, end_cents=self.end, start=self.start
        )
        place, offer = plain.place, plain.lowest_offer_cents
        found = []
        for _ in range(sweeps):
            place, offer, worth = self._sweep(self._left(place, offer))
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

    def _sweep(self, likely: Floats) -> tuple[Ints, Floats, Floats]:
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
            free = week == 0 and self.start is None
            changed, target = best_change(mean, self.settings, free=free)
            better = changed > mean
            chosen = np.where(better, target, column)
            stop = np.where(better, changed, mean) <= self.end[:, None] + _NOTHING
            value = held.reshape(len(held), -1).take((row + chosen).ravel(), axis=1).reshape(held.shape)
            if not free:
                value -= np.where(better, self.settings.change_cents, 0.0)
            if stop.any():
                value = np.where(stop, self.end[:, None], value)
            action[week] = np.where(stop, GIVE_UP, chosen)
        return self._path(action, wait, value)

    def _path(self, action: npt.NDArray[np.int16], wait: Floats, value: Floats) -> tuple[Ints, Floats, Floats]:
        n, size = self.net.shape
        first, weeks, row, start = self.table.asked, self.settings.weeks, np.arange(n), self.start
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


# What a price path leads to: money, weeks, chance of a sale.


@dataclass(frozen=True)
class Outcomes:
    """What following a path leads to, for each of n things, and each possibility where there are several."""

    chance: Floats
    net_cents: Floats
    price_cents: Floats
    still: Floats
    changes: Floats

    @property
    def sold_share(self) -> Floats:
        """Chance that the thing sells at all."""
        return np.asarray(self.chance.sum(axis=(-1, -2)))

    @property
    def takings_cents(self) -> Floats:
        """What sales leave on average, things that never sell counted with nothing. [cents]"""
        return np.asarray((self.chance * self.net_cents).sum(axis=(-1, -2)))

    @property
    def weeks(self) -> Floats:
        """Weeks on sale on average."""
        return np.asarray(self.still.sum(axis=-1))


def path_outcomes(place: Ints, lowest_offer_cents: Floats, demand: Demand, table: PriceTable) -> Outcomes:
    """What paths lead to under a demand, which need not be the one that they were made for."""
    n, weeks = place.shape
    on = place != GIVE_UP
    at = np.maximum(place, 0)
    week = np.minimum(np.arange(weeks), demand.weeks - 1)
    weekly = demand.weekly[..., week]
    ratio = np.take_along_axis(table.log_ratio, at, axis=1)
    rate = np.where(on, np.exp(demand.log_rate[..., None] - demand.pull[..., None] * ratio + weekly), 0.0)
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
    still = np.cumprod(np.concatenate((np.ones_like(event[..., :1]), 1 - event[..., :-1]), axis=-1), axis=-1) * on
    moved = (place[:, 1:] != place[:, :-1]) & on[:, 1:]
    return Outcomes(
        (still * event / total)[..., None] * share,
        np.stack(net, axis=2),
        np.stack(price, axis=2),
        still,
        (still[..., 1:] * moved).sum(axis=-1),
    )


def worth_by_week(found: Outcomes, settings: PriceSettings, *, storage_cents: npt.ArrayLike) -> Floats:
    """What each week of outcomes is worth on the first day, nothing coming at the end."""
    keep = settings.keep ** np.arange(found.still.shape[-1])
    storage = np.asarray(storage_cents, dtype=np.float64)[..., None]
    event = found.chance.sum(axis=-1)
    sales = (found.chance * found.net_cents).sum(axis=-1)
    worth = (sales - (found.still - event) * storage) * keep
    moved = found.price_cents[:, 1:, 0] != found.price_cents[:, :-1, 0]
    worth[..., 1:] -= settings.change_cents * found.still[..., 1:] * moved * keep[1:]
    return np.asarray(worth)
