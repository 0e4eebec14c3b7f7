"""Working time: standard minutes, logged minutes that correct them, and what a time depends on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from flipkit.errors import AssumptionError, NotEnoughDataError

Floats = npt.NDArray[np.float64]


def standard_time(
    observed_min: npt.ArrayLike, *, rating: float, allowance: float, allowance_of: str = "work time"
) -> float:
    """Standard time of a task from observed times: mean x rating, with an allowance for the person.

    Parameters
    ----------
    observed_min : array, shape (n,)
        Observed times, in any one unit; the result has the same. [min]
    rating : float
        Pace of the observed work over the normal pace; 1.2 where it was a fifth quicker.
    allowance : float
        Part for personal needs, fatigue and delays; 0.2 is 20 %.
    allowance_of : "work time" or "shift time"
        What the allowance is a part of: of the work, NT x (1 + A), or of the whole shift,
        NT / (1 - A).

    Returns
    -------
    float
        The standard time. [min]

    Raises
    ------
    NotEnoughDataError
        If nothing was observed.
    AssumptionError
        If the rating or the allowance is out of range.

    References
    ----------
    ``campus-standard-time`` and ``allowance-bases`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> round(standard_time([27, 19, 20, 21, 13], rating=1.2, allowance=0.2), 9)
    28.8
    """
    times = np.asarray(observed_min, dtype=np.float64)
    if not times.size:
        raise NotEnoughDataError("observed_min", need="at least one observed time", got=0)
    if rating <= 0:
        raise AssumptionError("rating", need="above 0", got=rating)
    if not 0 <= allowance < 1:
        raise AssumptionError("allowance", need="at least 0 and below 1", got=allowance)
    if allowance_of not in ("work time", "shift time"):
        raise AssumptionError("allowance_of", need="'work time' or 'shift time'", got=allowance_of)
    normal = float(times.mean()) * rating
    return normal * (1 + allowance) if allowance_of == "work time" else normal / (1 - allowance)


def shrunk_minutes(prior: npt.ArrayLike, n: npt.ArrayLike, mean: npt.ArrayLike, *, weight: float) -> Floats:
    """Standard minutes pulled towards what was logged, the more the more was logged.

    Parameters
    ----------
    prior : float or array, shape (k,)
        Standard minutes. [min]
    n : int or array, shape (k,)
        How many items were logged.
    mean : float or array, shape (k,)
        Their mean minutes; without meaning where ``n`` is zero. [min]
    weight : float
        How many logged items the standard weighs as much as, at least zero.

    Returns
    -------
    array, shape (k,)
        The minutes to use: (weight x prior + n x mean) / (weight + n). [min]

    Raises
    ------
    AssumptionError
        If the weight or a count is negative, or a prior without weight meets no log.

    Examples
    --------
    >>> shrunk_minutes([10.0, 10.0, 10.0], [0, 2, 30], [float("nan"), 20.0, 20.0], weight=8).round(2).tolist()
    [10.0, 12.0, 17.89]
    """
    standard, count, logged = (np.asarray(value, dtype=np.float64) for value in (prior, n, mean))
    if weight < 0:
        raise AssumptionError("minutes.logged_weight", need="at least 0", got=weight)
    if count.size and count.min() < 0:
        raise AssumptionError("n", need="at least 0", got=float(count.min()))
    if weight == 0 and (count == 0).any():
        raise AssumptionError("minutes.logged_weight", need="above 0 where nothing is logged", got=weight)
    return np.asarray((weight * standard + count * np.where(count > 0, logged, 0.0)) / (weight + count))


def person_minutes(minutes: npt.ArrayLike, workers: npt.ArrayLike) -> Floats:
    """Minutes of all pairs of hands: two people for ten minutes are twenty.

    Parameters
    ----------
    minutes : float or array, shape (n,)
        Time on the clock. [min]
    workers : int or array, shape (n,)
        How many worked at once.

    Returns
    -------
    array, shape (n,)
        Person-minutes. [min]

    Raises
    ------
    AssumptionError
        If a time is negative or nobody worked.

    Examples
    --------
    >>> person_minutes([10.0, 5.0], [2, 1]).tolist()
    [20.0, 5.0]
    """
    clock, hands = np.asarray(minutes, dtype=np.float64), np.asarray(workers, dtype=np.float64)
    if clock.size and clock.min() < 0:
        raise AssumptionError("minutes", need="at least 0", got=float(clock.min()))
    if hands.size and hands.min() < 1:
        raise AssumptionError("workers", need="at least 1", got=float(hands.min()))
    return np.asarray(clock * hands)


class TimeModel(NamedTuple):
    """A time as a sum of a fixed part and so much for each unit of what drives it.

    ``minutes`` and ``standard_error`` are by driver, "fixed" first; ``explained`` is the part
    of the variance that the drivers explain, ``spread_min`` the residual standard deviation.
    """

    minutes: dict[str, float]
    standard_error: dict[str, float]
    explained: float
    spread_min: float

    def expected(self, **drivers: npt.ArrayLike) -> Floats:
        """Expected time for given drivers.

        Parameters
        ----------
        drivers : float or array, shape (n,)
            Amount of each driver, by its name.

        Returns
        -------
        array, shape (n,)
            The times. [min]
        """
        total = np.asarray(self.minutes["fixed"], dtype=np.float64)
        for name, amount in drivers.items():
            total = total + self.minutes[name] * np.asarray(amount, dtype=np.float64)
        return np.asarray(total)


def time_model(minutes: npt.ArrayLike, drivers: Mapping[str, npt.ArrayLike]) -> TimeModel:
    """What a time depends on, by least squares: so much fixed, so much a parcel, a mile, a pound.

    Parameters
    ----------
    minutes : array, shape (n,)
        Logged times. [min]
    drivers : mapping of str to array, shape (n,)
        What may drive them.

    Returns
    -------
    TimeModel
        Minutes per unit of each driver, with their standard errors.

    Raises
    ------
    NotEnoughDataError
        If there are no more logs than figures to find, or two drivers say the same.

    References
    ----------
    ``delivery-times`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> found = time_model([5.0, 7.0, 9.0, 11.0], {"parcels": [1, 2, 3, 4]})
    >>> {name: round(value, 6) for name, value in found.minutes.items()}
    {'fixed': 3.0, 'parcels': 2.0}
    """
    times = np.asarray(minutes, dtype=np.float64)
    table = np.column_stack([np.ones(times.size), *(np.asarray(value, dtype=np.float64) for value in drivers.values())])
    size, figures = table.shape
    if size <= figures:
        raise NotEnoughDataError("minutes", need=f"more than {figures} logged times", got=size)
    if np.linalg.matrix_rank(table) < figures:
        raise NotEnoughDataError("drivers", need="each with something of its own to say", got=list(drivers))
    found = np.linalg.lstsq(table, times, rcond=None)[0]
    residual = times - table @ found
    variance = float(residual @ residual) / (size - figures)
    errors = np.sqrt(np.diag(np.linalg.inv(table.T @ table)) * variance)
    around = times - times.mean()
    total = float(around @ around)
    names = ["fixed", *drivers]
    return TimeModel(
        dict(zip(names, found.tolist(), strict=True)),
        dict(zip(names, errors.tolist(), strict=True)),
        1 - float(residual @ residual) / total if total > 0 else 0.0,
        variance**0.5,
    )
