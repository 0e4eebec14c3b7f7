"""What if: any assumption moved, alone and together, on whatever the month comes to.

The month is a function of the assumptions that the caller gives: its net, its hourly return or
whatever is to be judged. Here the assumptions are moved, one at a time (tornado) and all at
once (Monte Carlo), and what the conclusion hangs on is told.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from flipkit.assumptions import Assumptions
from flipkit.errors import AssumptionError

Floats = npt.NDArray[np.float64]

#: Orders tried for each assumption's draws, so that none goes by chance with another.
_ORDERS = 25

#: What the month comes to under overrides of the assumptions, as ``load_assumptions`` takes them.
Month = Callable[[Mapping[str, object]], float]


class Spread(NamedTuple):
    """How far an assumption may be off: low, middle, high in the assumption's own kind.

    Money is in whole cents, a rate in parts per million, as ``Assumption.value`` has them.
    """

    key: str
    low: float
    middle: float
    high: float


def as_override(assumptions: Assumptions, key: str, value: float) -> object:
    """A value in the assumption's own kind as ``load_assumptions`` reads it.

    >>> from flipkit.assumptions import load_assumptions
    >>> held = load_assumptions()
    >>> as_override(held, "help.wage", 1725.0), as_override(held, "help.burden", 76500.0)
    ('17.25', '7.6500 %')
    """
    if key not in assumptions.entries:
        # A group of assumptions that the month itself knows, moved by a factor.
        return value
    kind = assumptions.entries[key].kind
    if kind == "money":
        cents = round(value)
        return f"{cents // 100}.{cents % 100:02d}"
    if kind == "rate":
        return f"{round(value) / 10_000:.4f} %"
    return round(value) if kind == "whole" else value


class Bar(NamedTuple):
    """One assumption moved alone, and what the month comes to at its low and its high."""

    key: str
    low: float
    high: float
    at_low: float
    at_high: float

    @property
    def width(self) -> float:
        """How far the month moves."""
        return abs(self.at_high - self.at_low)


def tornado(month: Month, assumptions: Assumptions, spreads: Sequence[Spread]) -> tuple[float, list[Bar]]:
    """The month with each assumption moved alone, the widest first.

    >>> from flipkit.assumptions import load_assumptions
    >>> held = load_assumptions()
    >>> spreads = [Spread("help.wage", 800, 1600, 2400), Spread("help.burden", 38_250, 76_500, 114_750)]
    >>> def month(overrides):
    ...     moved = load_assumptions(overrides=overrides)
    ...     return 100 - moved.cents("help.wage") / 100 * (1 + moved.share("help.burden"))
    >>> middle, bars = tornado(month, held, spreads)
    >>> [bar.key for bar in bars]
    ['help.wage', 'help.burden']
    """
    bars = []
    for spread in spreads:
        at = [month({spread.key: as_override(assumptions, spread.key, end)}) for end in (spread.low, spread.high)]
        bars.append(Bar(spread.key, spread.low, spread.high, at[0], at[1]))
    return month({}), sorted(bars, key=lambda bar: -bar.width)


class Cloud(NamedTuple):
    """The month with all assumptions moved together.

    ``values`` is one a draw; ``low``, ``middle`` and ``high`` are its 10, 50 and 90 % quantiles;
    ``above`` is the share of the draws above the bound asked for. ``hangs_on`` gives for each
    assumption the part of the month's variance that moves with its rank, falling.
    """

    values: Floats
    low: float
    middle: float
    high: float
    above: float
    hangs_on: dict[str, float]


def monte_carlo(
    month: Month, assumptions: Assumptions, spreads: Sequence[Spread], *, bound: float, draws: int, seed: int
) -> Cloud:
    """The month with every assumption drawn from its spread at once.

    Each is triangular: certain to lie between its low and its high, likeliest in its middle.
    The draws are spread evenly over each assumption's range (a Latin hypercube), so that few do.

    See ``tests/analysis/test_scenarios.py``.
    """
    if draws < 10:
        raise AssumptionError("draws", need="at least 10", got=draws)
    for spread in spreads:
        if not spread.low <= spread.middle <= spread.high:
            raise AssumptionError(spread.key, need="low <= middle <= high", got=tuple(spread[1:]))
    random = np.random.default_rng(seed)
    places = _places(len(spreads), draws, random)
    drawn = np.array([_triangular(spread, place) for spread, place in zip(spreads, places, strict=True)])
    values = np.array(
        [
            month(
                {
                    spread.key: as_override(assumptions, spread.key, float(value))
                    for spread, value in zip(spreads, column, strict=True)
                }
            )
            for column in drawn.T
        ]
    )
    low, middle, high = np.quantile(values, [0.1, 0.5, 0.9])
    share = {spread.key: _shared(row, values) for spread, row in zip(spreads, drawn, strict=True)}
    hangs = dict(sorted(share.items(), key=lambda pair: -pair[1]))
    return Cloud(values, float(low), float(middle), float(high), float((values > bound).mean()), hangs)


def turning_point(
    month: Month, assumptions: Assumptions, spread: Spread, *, bound: float, steps: int = 30
) -> float | None:
    """Value of one assumption at which the month crosses a bound, between its low and its high.

    >>> from flipkit.assumptions import load_assumptions
    >>> held = load_assumptions()
    >>> def month(overrides):
    ...     return 100 - load_assumptions(overrides=overrides).cents("help.wage") / 100 * 5
    >>> found = turning_point(month, held, Spread("help.wage", 1000, 1600, 3000), bound=0.0)
    >>> 1999 <= found <= 2000
    True
    """

    def above(value: float) -> bool:
        return month({spread.key: as_override(assumptions, spread.key, value)}) > bound

    low, high = spread.low, spread.high
    first = above(low)
    if above(high) == first:
        return None
    for _ in range(steps):
        middle = (low + high) / 2
        if above(middle) == first:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _places(count: int, draws: int, random: np.random.Generator) -> list[Floats]:
    """Places spread evenly over 0 to 1, each assumption's in the least correlated of some orders."""
    found: list[Floats] = []
    for _ in range(count):
        orders = [(random.permutation(draws) + random.random(draws)) / draws for _ in range(_ORDERS)]
        alike = [max((abs(float(np.corrcoef(order, one)[0, 1])) for one in found), default=0.0) for order in orders]
        found.append(orders[int(np.argmin(alike))])
    return found


def _triangular(spread: Spread, place: Floats) -> Floats:
    """Quantiles of the triangular distribution."""
    reach = spread.high - spread.low
    if reach == 0:
        return np.full(place.size, spread.middle)
    top = (spread.middle - spread.low) / reach
    up = spread.low + np.sqrt(place * reach * (spread.middle - spread.low))
    down = spread.high - np.sqrt((1 - place) * reach * (spread.high - spread.middle))
    return np.asarray(np.where(place < top, up, down))


def _shared(drawn: Floats, values: Floats) -> float:
    """Squared rank correlation."""
    ranks = [np.argsort(np.argsort(part, kind="stable"), kind="stable").astype(np.float64) for part in (drawn, values)]
    if np.ptp(drawn) == 0 or np.ptp(values) == 0:
        return 0.0
    return float(np.corrcoef(ranks[0], ranks[1])[0, 1] ** 2)
