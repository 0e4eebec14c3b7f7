"""How many to buy for a demand that is only known as a distribution, when leftovers lose value."""

from __future__ import annotations

import math
from typing import NamedTuple, Protocol

from flipkit.errors import AssumptionError


class Demand(Protocol):
    """A distribution of demand, as ``scipy.stats`` freezes one."""

    def ppf(self, q: float) -> float:
        """Demand that is not exceeded with a chance."""

    def cdf(self, x: float) -> float:
        """Chance that demand is at most so much."""

    def mean(self) -> float:
        """Mean demand."""


class Order(NamedTuple):
    """How many to buy, and what follows on average.

    ``missed`` is demand that finds nothing left, ``left`` what is left over, ``cost`` what both
    cost together.
    """

    quantity: float
    missed: float
    left: float
    cost: float


def best_order(demand: Demand, *, over: float, under: float, quantity: float | None = None) -> Order:
    """Quantity at which one more would cost as much left over as it costs when missed.

    >>> from scipy.stats import norm
    >>> best = best_order(norm(50, 8), over=0.18, under=0.70)
    >>> round(best.quantity, 4), round(best.cost, 4)
    (56.604, 1.9976)
    """
    for name, value in (("over", over), ("under", under)):
        if not value > 0:
            raise AssumptionError(name, need="above 0", got=value)
    chosen = float(demand.ppf(under / (over + under))) if quantity is None else float(quantity)
    missed = _missed(demand, chosen)
    left = chosen - float(demand.mean()) + missed
    return Order(chosen, missed, left, over * left + under * missed)


def expected_profit(order: Order, demand: Demand, *, price: float, cost: float, salvage: float = 0.0) -> float:
    """What an order earns on average.

    >>> from scipy.stats import norm
    >>> demand = norm(50, 20)
    >>> order = best_order(demand, over=5, under=2)
    >>> round(expected_profit(order, demand, price=7, cost=5), 4)
    52.4132
    """
    sold = float(demand.mean()) - order.missed
    return price * sold + salvage * order.left - cost * order.quantity


def _missed(demand: Demand, quantity: float) -> float:
    """Mean demand above a quantity: the area above the distribution's curve from there on."""
    if hasattr(getattr(demand, "dist", None), "pmf"):
        last = int(demand.ppf(1 - 1e-15)) + 1
        whole = math.floor(quantity)
        area: float = sum(1 - float(demand.cdf(k)) for k in range(whole, max(last, whole)))
        return area - (quantity - whole) * (1 - float(demand.cdf(whole)))
    from scipy.integrate import quad

    top = float(demand.ppf(1 - 1e-15))
    return float(quad(lambda x: 1 - demand.cdf(x), quantity, max(top, quantity), epsabs=1e-12, limit=200)[0])
