"""Where next month's hours go: to the categories whose finds reach the target; the rest stay free.

The best plan by the means fills the best category first as far as finds allow, then the next.
What is little known may be given the benefit of the doubt, as buying it is how it becomes known.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from flipkit.errors import AssumptionError

Floats = npt.NDArray[np.float64]


def best_hours(hourly: npt.ArrayLike, available_h: npt.ArrayLike, *, hours: float, least: float = 0.0) -> Floats:
    """Hours for each category: the best first as far as its finds allow, nothing below a least return.

    >>> best_hours([12.0, 30.0, -2.0], [10.0, 4.0, 50.0], hours=20.0).tolist()
    [10.0, 4.0, 0.0]
    """
    if hours < 0:
        raise AssumptionError("hours", need="at least 0", got=hours)
    value = np.asarray(hourly, dtype=np.float64)
    most = np.broadcast_to(np.asarray(available_h, dtype=np.float64), value.shape)
    if (most < 0).any():
        raise AssumptionError("available_h", need="at least 0", got=float(most.min()))
    order = np.argsort(-value, axis=-1, kind="stable")
    room = np.take_along_axis(np.where(value > least, most, 0.0), order, axis=-1)
    before = np.cumsum(room, axis=-1) - room
    given = np.minimum(room, np.maximum(hours - before, 0.0))
    found = np.zeros_like(value)
    np.put_along_axis(found, order, given, axis=-1)
    return found


class HourPlan(NamedTuple):
    """Hours for next month, and how sure that is.

    ``hours`` [h] and ``counted`` (the return that each was ranked by) [dollars per hour] are one a category;
    ``expected`` is what the plan earns on average [dollars], ``low`` and ``high`` its 80 % limits by how sure the
    returns are.
    """

    hours: Floats
    counted: Floats
    expected: float
    low: float
    high: float


#: The place of a tenth in the normal distribution.
_TENTH = 1.2815515655446004


def hour_plan(
    hourly: npt.ArrayLike,
    error: npt.ArrayLike,
    available_h: npt.ArrayLike,
    *,
    hours: float,
    least: float = 0.0,
    doubt: float = 0.0,
) -> HourPlan:
    """Share next month's hours among categories whose returns are only estimated; below ``least`` none gets any."""
    mean, spread = np.asarray(hourly, dtype=np.float64), np.asarray(error, dtype=np.float64)
    if not (np.isfinite(mean).all() and np.isfinite(spread).all() and (spread >= 0).all()):
        raise AssumptionError("hourly", need="a known return and an error of at least 0 for every category", got=mean)
    counted = mean + doubt * spread
    # The doubt settles the order; what is expected to miss the least gets nothing all the same.
    room = np.where(mean >= least, np.asarray(available_h, dtype=np.float64), 0.0)
    chosen = best_hours(counted, room, hours=hours, least=-np.inf)
    expected, away = float(mean @ chosen), _TENTH * float(np.sqrt((spread**2) @ (chosen**2)))
    return HourPlan(chosen, counted, expected, expected - away, expected + away)


def available_hours(items_a_month: npt.ArrayLike, minutes_an_item: npt.ArrayLike, *, stretch: float) -> Floats:
    """Hours that next month's finds can take, from what was found so far.

    >>> available_hours([6, 2], [60, 90], stretch=1.5).tolist()
    [9.0, 4.5]
    """
    return np.asarray(items_a_month, dtype=np.float64) * stretch * np.asarray(minutes_an_item, dtype=np.float64) / 60
