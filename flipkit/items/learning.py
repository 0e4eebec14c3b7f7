"""Learning curves: how the time for one more of the same falls with the number done.

Two models share one exponent and must not be mixed. In the *cumulative average* model (Wright)
the average of all so far falls by a stated rate with each doubling; in the *unit* model
(Crawford) the time of the unit itself does.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from flipkit.errors import AssumptionError

Floats = npt.NDArray[np.float64]


def learning_exponent(rate: float) -> float:
    """Exponent of a learning rate: log(rate) / log(2).

    Parameters
    ----------
    rate : float
        What a doubling leaves of the time, above 0 and at most 1; 0.8 is an 80 % curve.

    Returns
    -------
    float
        The exponent, zero or negative.

    Raises
    ------
    AssumptionError
        If the rate does not lie above 0 and at most at 1.

    Examples
    --------
    >>> round(learning_exponent(0.8), 3)
    -0.322
    """
    if not 0 < rate <= 1:
        raise AssumptionError("rate", need="above 0 and at most 1", got=rate)
    return math.log2(rate)


def average_time(first_min: float, units: npt.ArrayLike, *, rate: float) -> Floats:
    """Average time of the first units by the cumulative average model.

    Parameters
    ----------
    first_min : float
        Time of the first unit. [min]
    units : int or array, shape (n,)
        How many units, at least one.
    rate : float
        What a doubling leaves of the average.

    Returns
    -------
    array, shape (n,)
        The averages; times ``units`` they are the totals. [min]

    Raises
    ------
    AssumptionError
        If the rate or a number of units is out of range.

    References
    ----------
    ``wright-1936`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> average_time(100.0, [1, 2, 4], rate=0.8).round(6).tolist()
    [100.0, 80.0, 64.0]
    """
    return first_min * _whole_units(units) ** learning_exponent(rate)


def unit_time(first_min: float, unit: npt.ArrayLike, *, rate: float) -> Floats:
    """Time of a unit by the unit model.

    Parameters
    ----------
    first_min : float
        Time of the first unit. [min]
    unit : int or array, shape (n,)
        Which unit, counted from one.
    rate : float
        What a doubling leaves of the unit's time.

    Returns
    -------
    array, shape (n,)
        The times. [min]

    Raises
    ------
    AssumptionError
        If the rate or a unit is out of range.

    Examples
    --------
    >>> unit_time(50.0, [1, 2, 4], rate=0.8).round(6).tolist()
    [50.0, 40.0, 32.0]
    """
    return first_min * _whole_units(unit) ** learning_exponent(rate)


def unit_total(first_min: float, units: int, *, rate: float) -> float:
    """Time of the first units together by the unit model.

    Parameters
    ----------
    first_min : float
        Time of the first unit. [min]
    units : int
        How many units, at least one.
    rate : float
        What a doubling leaves of the unit's time.

    Returns
    -------
    float
        The total. [min]

    Raises
    ------
    AssumptionError
        If the rate or the number of units is out of range.

    Examples
    --------
    >>> unit_total(100.0, 2, rate=0.8)
    180.0
    """
    _whole_units(units)
    return float(unit_time(first_min, np.arange(1, units + 1), rate=rate).sum())


def learning_rate(earlier_min: float, later_min: float, *, earlier_unit: int, later_unit: int) -> float:
    """Learning rate that two observed unit times imply.

    Parameters
    ----------
    earlier_min, later_min : float
        Times of the two units, above zero. [min]
    earlier_unit, later_unit : int
        Which units they were, counted from one.

    Returns
    -------
    float
        What a doubling leaves of the time; above 1 where the work got slower.

    Raises
    ------
    AssumptionError
        If a time is not above zero or the units do not rise.

    Examples
    --------
    >>> round(learning_rate(30.0, 25.0, earlier_unit=1, later_unit=2), 4)
    0.8333
    """
    if min(earlier_min, later_min) <= 0:
        raise AssumptionError("earlier_min and later_min", need="above 0", got=min(earlier_min, later_min))
    if not 1 <= earlier_unit < later_unit:
        raise AssumptionError(
            "earlier_unit and later_unit", need="rising from at least 1", got=(earlier_unit, later_unit)
        )
    return float(2.0 ** (math.log(later_min / earlier_min) / math.log(later_unit / earlier_unit)))


def unit_reached(first_min: float, goal_min: float, *, rate: float) -> float:
    """Unit at which the time has fallen to a goal, by the unit model.

    Parameters
    ----------
    first_min : float
        Time of the first unit. [min]
    goal_min : float
        The time to reach, above zero. [min]
    rate : float
        What a doubling leaves of the unit's time.

    Returns
    -------
    float
        The unit, not rounded; infinity where nothing is learnt and the goal lies below the
        first unit's time.

    Raises
    ------
    AssumptionError
        If a time is not above zero or the rate is out of range.

    Examples
    --------
    >>> round(unit_reached(30.0, 18.0, rate=25 / 30), 2)
    6.97
    """
    if min(first_min, goal_min) <= 0:
        raise AssumptionError("first_min and goal_min", need="above 0", got=min(first_min, goal_min))
    exponent = learning_exponent(rate)
    if goal_min >= first_min:
        return 1.0
    return math.inf if exponent == 0 else float((goal_min / first_min) ** (1 / exponent))


def _whole_units(units: npt.ArrayLike) -> Floats:
    given = np.asarray(units, dtype=np.float64)
    if given.size and (given.min() < 1 or (given != np.floor(given)).any()):
        raise AssumptionError("units", need="whole numbers of at least 1", got=float(given.min()))
    return given
