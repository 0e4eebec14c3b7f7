"""Where next month's hours go: hours over categories under what can be found, unsure returns included.

The best plan by the means fills the best category first as far as finds allow, then the next.
That the returns are only estimates shows in three ways: what is little known may be given the
benefit of the doubt, as buying it is how it becomes known; how often another category would
have come out first; and what knowing them better would be worth.
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

    ``hours`` [h], ``counted`` (the return that each was ranked by) [dollars per hour] and
    ``first_share`` (how often each category is truly the best) are one a category; ``expected`` is
    what the plan earns on average [dollars], ``low`` and ``high`` its 80 % limits; ``knowing`` what
    the best plan would earn if the returns were known before [dollars]; ``worth_of_knowing``
    [dollars] the gain from learning each category's return alone.
    """

    hours: Floats
    counted: Floats
    first_share: Floats
    expected: float
    low: float
    high: float
    knowing: float
    worth_of_knowing: Floats


def hour_plan(
    hourly: npt.ArrayLike,
    error: npt.ArrayLike,
    available_h: npt.ArrayLike,
    *,
    hours: float,
    least: float = 0.0,
    doubt: float = 0.0,
    draws: int,
    seed: int,
) -> HourPlan:
    """Share next month's hours among categories whose returns are only estimated.

    >>> plan = hour_plan([20.0, 18.0], [1.0, 8.0], [30.0, 30.0], hours=40.0, draws=2000, seed=1)
    >>> plan.hours.tolist(), bool(plan.worth_of_knowing[1] > plan.worth_of_knowing[0])
    ([30.0, 10.0], True)
    >>> hour_plan([20.0, 18.0], [1.0, 8.0], [30.0, 30.0], hours=40.0, doubt=1.0, draws=2000, seed=1).hours.tolist()
    [10.0, 30.0]
    """
    mean, spread = np.asarray(hourly, dtype=np.float64), np.asarray(error, dtype=np.float64)
    if not (np.isfinite(mean).all() and np.isfinite(spread).all() and (spread >= 0).all()):
        raise AssumptionError("hourly", need="a known return and an error of at least 0 for every category", got=mean)
    most = np.asarray(available_h, dtype=np.float64)
    counted = mean + doubt * spread
    chosen = best_hours(counted, most, hours=hours, least=least)
    # An hour not worked is worth the least return; plans are compared by what they earn beyond it.
    plain = best_hours(mean, most, hours=hours, least=least)
    normal = np.random.default_rng(seed).standard_normal((draws // 2, mean.size))
    truth = mean + spread * np.concatenate((normal, -normal))
    earned = truth @ chosen
    ahead = best_hours(truth, most, hours=hours, least=least)
    gain = ((truth - least) * ahead).sum(axis=1) - (truth - least) @ plain
    alone = np.zeros(mean.size)
    for at in range(mean.size):
        # Only this one is learnt: the others stay at their means, where the plan is linear in them.
        seen = np.broadcast_to(mean, truth.shape).copy()
        seen[:, at] = truth[:, at]
        plan = best_hours(seen, most, hours=hours, least=least)
        alone[at] = float((((seen - least) * plan).sum(axis=1) - (seen - least) @ plain).mean())
    first = np.bincount(truth.argmax(axis=1), minlength=mean.size) / len(truth)
    low, high = np.quantile(earned, [0.1, 0.9])
    knowing = float(mean @ plain) + float(gain.mean())
    return HourPlan(chosen, counted, first, float(mean @ chosen), float(low), float(high), knowing, alone)


def expected_value_of_items(
    hourly: npt.ArrayLike,
    error: npt.ArrayLike,
    items: npt.ArrayLike,
    available_h: npt.ArrayLike,
    *,
    more: int,
    hours: float,
    least: float = 0.0,
    draws: int,
    seed: int,
) -> Floats:
    """What some more recorded items of each category would be worth for next month's plan.

    The estimate will move by what the new items teach: a normal whose variance is the part of
    the present one that they take away.

    >>> found = expected_value_of_items([20, 19], [1, 6], [200, 8], [30, 30], more=10, hours=30, draws=4000, seed=1)
    >>> bool(found[1] > found[0])
    True
    """
    count = np.asarray(items, dtype=np.float64)
    learnt = np.asarray(error, dtype=np.float64) * np.sqrt(more / (count + more))
    return hour_plan(hourly, learnt, available_h, hours=hours, least=least, draws=draws, seed=seed).worth_of_knowing


def available_hours(items_a_month: npt.ArrayLike, minutes_an_item: npt.ArrayLike, *, stretch: float) -> Floats:
    """Hours that next month's finds can take, from what was found so far.

    >>> available_hours([6, 2], [60, 90], stretch=1.5).tolist()
    [9.0, 4.5]
    """
    return np.asarray(items_a_month, dtype=np.float64) * stretch * np.asarray(minutes_an_item, dtype=np.float64) / 60
