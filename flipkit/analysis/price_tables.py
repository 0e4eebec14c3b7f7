"""The prices that can be asked for a thing, and what a sale at each leaves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flipkit.analysis.demand import Demand
from flipkit.errors import AssumptionError

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class PriceTable:
    """The prices that can be asked for each thing, and what a sale at them leaves.

    Attributes
    ----------
    price_cents : array, shape (n, prices)
        Prices, rising. [cents]
    log_ratio : array, shape (n, prices)
        Logarithm of each over the typical price.
    net_cents : array, shape (n, prices)
        What a sale at each leaves. [cents]
    offer_steps : tuple of int
        How many places below the asking price each kind of offer stands.
    asked : int
        First place that may be asked; those below serve for offers only.
    """

    price_cents: Floats
    log_ratio: Floats
    net_cents: Floats
    offer_steps: tuple[int, ...]
    asked: int

    def part(self, rows: slice | Ints) -> PriceTable:
        """The table of some of the things.

        Parameters
        ----------
        rows : slice or array of int
            Which.

        Returns
        -------
        PriceTable
            Theirs.
        """
        return PriceTable(
            self.price_cents[rows], self.log_ratio[rows], self.net_cents[rows], self.offer_steps, self.asked
        )


@dataclass(frozen=True)
class PriceGrid:
    """The prices considered, over the typical price.

    Attributes
    ----------
    low, high : float
        Lowest and highest price asked, over the typical one.
    step : float
        Step of the logarithm from one price to the next.
    """

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
    """Prices around each thing's typical price, and what a sale at them leaves.

    Parameters
    ----------
    typical_cents : array, shape (n,)
        Typical price of each thing. [cents]
    net_of : callable
        Gives what sales at prices, shape (n, prices) in cents, leave. [cents]
    demand : Demand
        Says which offers are to be covered.
    grid : PriceGrid
        How far and how finely.
    endings_cents : tuple of int
        Endings below a whole dollar that prices may have, such as 95 or 99; empty: any cent.

    Returns
    -------
    PriceTable
        The table.

    Examples
    --------
    >>> demand = Demand(np.array([-2.0]), np.array([2.0]), np.zeros(9))
    >>> table = price_table([5000], lambda price: price, demand, grid=PriceGrid(0.8, 1.2, 0.1), endings_cents=(99,))
    >>> table.price_cents[0].tolist()
    [3999.0, 4399.0, 4899.0, 5399.0, 5999.0]
    """
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

    Parameters
    ----------
    price_cents : array
        Prices. [cents]
    endings_cents : tuple of int
        Endings below a whole dollar.

    Returns
    -------
    array
        Prices of at least one cent. [cents]

    Examples
    --------
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
