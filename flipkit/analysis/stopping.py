"""When to stop waiting: the textbook cases of search and markdown, in closed form or by recursion.

A seller of one thing waits for offers, or lowers a price until somebody takes it. These cases
have published answers; the price path of ``pricing`` is checked against them.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from flipkit.errors import AssumptionError

Floats = npt.NDArray[np.float64]


class FixedThreshold(NamedTuple):
    """One threshold for all offers but the last, and what it brings on average."""

    threshold: float
    value: float


def fixed_threshold(offers: int) -> FixedThreshold:
    """Best single threshold for offers between 0 and 1, all as likely, the last one being taken.

    >>> round(fixed_threshold(10).threshold, 6)
    0.774264
    """
    if offers < 2:
        raise AssumptionError("offers", need="at least 2", got=offers)
    threshold = offers ** (-1 / (offers - 1))
    return FixedThreshold(threshold, (1 - threshold**offers + threshold) / 2)


def offer_values(offers: int, *, discount: float = 1.0, cost: float = 0.0) -> Floats:
    """What 1, 2, ... offers still to come are worth, each between 0 and 1 and all as likely.

    An offer is taken when it is at least what the remaining ones are worth after the wait.

    >>> offer_values(3).tolist()
    [0.5, 0.625, 0.6953125]
    """
    values = np.empty(offers)
    wait = 0.0
    for at in range(offers):
        # E max(X, w) for X uniform on [0, 1]: w below 0 never binds, above 1 always.
        values[at] = (1 + wait**2) / 2 if 0 <= wait <= 1 else max(wait, 0.5)
        wait = discount * values[at] - cost
    return values


def reservation_offer(*, discount: float = 1.0, cost: float = 0.0) -> float:
    """Lowest offer to take when offers between 0 and 1 go on coming for ever.

    >>> round(reservation_offer(discount=0.9), 5), round(reservation_offer(cost=0.02), 12)
    (0.62679, 0.8)
    """
    if discount >= 1 and cost <= 0:
        raise AssumptionError("cost", need="above 0 where money loses nothing by waiting", got=cost)
    # x = b (1 + x^2) / 2 - c, the smaller root.
    root = 1 - discount * (discount - 2 * cost)
    return max((1 - math.sqrt(root)) / discount, 0.0) if root >= 0 else 0.0


class Markdown(NamedTuple):
    """Prices of the periods, and what they bring on average."""

    prices: Floats
    value: float


def markdown_prices(prices: npt.ArrayLike, below: npt.ArrayLike, *, periods: int) -> Markdown:
    """Best falling prices for one thing whose worth to the buyers is unknown and the same to all.

    That it did not sell at a price says that it is worth less.

    >>> grid = np.linspace(0, 1, 301)
    >>> best = markdown_prices(grid, grid, periods=2)
    >>> best.prices.round(3).tolist(), round(best.value, 3)
    ([0.667, 0.333], 0.333)
    """
    price = np.asarray(prices, dtype=np.float64)
    chance = np.asarray(below, dtype=np.float64)
    later = np.zeros(price.size)
    choice = []
    for _ in range(periods):
        # Row: price already refused; column: price asked now.
        table = price * (chance[:, None] - chance) + later
        table = np.where(price <= price[:, None], table, -np.inf)
        choice.append(table.argmax(axis=1))
        later = table.max(axis=1)
    first = price * (1 - chance) + _after(price, chance, choice[:-1])
    at = int(first.argmax())
    path = [at]
    for step in reversed(choice[:-1]):
        path.append(int(step[path[-1]]))
    return Markdown(price[path], float(first[at]))


def _after(price: Floats, chance: Floats, choice: list[npt.NDArray[np.intp]]) -> Floats:
    """What the prices after the first bring, once each first price was refused."""
    value = np.zeros(price.size)
    at = np.arange(price.size)
    for step in reversed(choice):
        after = step[at]
        value += price[after] * (chance[at] - chance[after])
        at = after
    return value


class TimedPrice(NamedTuple):
    """What units in stock are worth with time left, and the price to ask now."""

    value: float
    price: float


def timed_price(units: int, time: float, *, rate: float = 1.0) -> TimedPrice:
    """Best price now for some units and a time left, buyers coming at rate times exp(-price).

    >>> [round(number, 6) for number in timed_price(1, 1.0)]
    [0.313262, 1.313262]
    """
    mean = rate * time / math.e
    values = [math.log(sum(mean**i / math.factorial(i) for i in range(n + 1))) for n in (units, units - 1)]
    return TimedPrice(values[0], values[0] - values[1] + 1)
