"""The typical price of a thing from few recorded sales of like things, and how sure it is.

Recent sales weigh more than old ones, sales of things in another condition less; the same sale
typed twice is one. A sale far from the median is shown and damped, never dropped. The middle is
the Hodges-Lehmann estimate of the logarithms: the median of the means of all pairs. Of three with
one far out it is their median. With few sales the spread leans on a stated one.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from flipkit.assumptions import Assumptions
from flipkit.errors import NotEnoughDataError

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: A median absolute deviation is this part of a normal standard deviation.
MAD_OF_NORMAL = 0.6744897501960817
#: Variance of the Hodges-Lehmann middle over that of the mean, for normal values.
HODGES_LEHMANN_COST = math.pi / 3
#: No more further comparables than these are considered.
_MOST_MORE = 100
#: Two groups: the gap between them over the widest within one, and the least gap (half again the price).
_GROUPS_APART = 2.0
_LEAST_APART = math.log(1.5)
#: A price given in these many of the spreads that both allow is in full agreement with what the kind sells for ...
_AGREES = 2.0
#: ... and one comparable more than so many further off says nothing beside it; several that agree may stand further.
_REACH = 2.0
#: Error of a kind's usual price where all of it sold for the same. [of the logarithm]
_LEAST_ERROR = 0.01
#: Of three sales, one so many stated spreads from the middle one leaves the middle one alone to count.
_FAR_OF_THREE = 2.0
#: The place of a tenth in the normal distribution: a range of 80 % reaches so many errors either way.
_TENTH = 1.2815515655446004


def weighted_quantile(values: npt.ArrayLike, share: npt.ArrayLike, weights: npt.ArrayLike | None = None) -> Floats:
    """Quantiles by straight lines between the values, the type 7 of the textbooks when all weigh the same.

    >>> weighted_quantile([15, 20, 35, 40, 50], [0.25, 0.3, 0.4]).tolist()
    [20.0, 23.0, 29.0]
    """
    value = np.asarray(values, dtype=np.float64)
    if not value.size:
        raise NotEnoughDataError("values", need="at least one", got=0)
    order = np.argsort(value, kind="stable")
    weight = np.ones(value.size) if weights is None else np.asarray(weights, dtype=np.float64)[order]
    middle = np.cumsum(weight) - weight / 2
    reach = middle[-1] - middle[0]
    place = (middle - middle[0]) / reach if reach > 0 else np.zeros(value.size)
    return np.asarray(np.interp(np.asarray(share, dtype=np.float64), place, value[order]))


def hodges_lehmann(values: npt.ArrayLike, weights: npt.ArrayLike | None = None) -> float:
    """Median of the means of all pairs, each value paired with itself too (``hodges-lehmann-1963``).

    >>> hodges_lehmann([1, 2, 3, 4, 100])
    3.0
    """
    value = np.asarray(values, dtype=np.float64)
    first, second = np.triu_indices(value.size)
    pairs = (value[first] + value[second]) / 2
    if weights is None:
        return float(weighted_quantile(pairs, 0.5))
    weight = np.asarray(weights, dtype=np.float64)
    return float(weighted_quantile(pairs, 0.5, weight[first] * weight[second]))


def absolute_deviation(values: npt.ArrayLike, weights: npt.ArrayLike | None = None) -> float:
    """Median distance from the median.

    >>> absolute_deviation([10, 7, 4, 3, 2, 1])
    2.0
    """
    value = np.asarray(values, dtype=np.float64)
    middle = weighted_quantile(value, 0.5, weights)
    return float(weighted_quantile(np.abs(value - middle), 0.5, weights))


@dataclass(frozen=True)
class ComparableRules:
    """How comparables are weighed."""

    half_life_days: float
    other_condition: float
    unknown_condition: float
    outlier_spreads: float
    spread: float
    spread_weight: float


def comparable_rules(assumptions: Assumptions) -> ComparableRules:
    """How comparables are weighed, as the assumptions say."""
    return ComparableRules(
        assumptions.number("comparables.half_life_days"),
        assumptions.share("comparables.other_condition"),
        assumptions.share("comparables.unknown_condition"),
        assumptions.number("comparables.outlier_spreads"),
        assumptions.number("comparables.spread"),
        assumptions.number("comparables.spread_weight"),
    )


class TypicalPrice(NamedTuple):
    """What like things sold for.

    ``cents`` is the middle; ``spread`` is that of the logarithm from sale to sale; ``error`` is
    the standard error of the middle's logarithm. ``weights`` and ``outlier`` are one a sale, in
    the order given; ``sales`` is how many there are and ``effective`` how many full-weight sales they are worth.
    ``groups`` holds the middles of two groups far apart, where there are two.
    """

    cents: int
    spread: float
    error: float
    sales: int
    effective: float
    weights: Floats
    outlier: Bools
    groups: tuple[int, ...] = ()


def comparable_weights(
    days_ago: npt.ArrayLike, condition: npt.ArrayLike | None, wanted: str, *, rules: ComparableRules
) -> Floats:
    """Weight of each sale by its age and its condition."""
    age = np.asarray(days_ago, dtype=np.float64)
    weight = 0.5 ** (np.where(np.isnan(age), rules.half_life_days, np.maximum(age, 0.0)) / rules.half_life_days)
    if condition is not None and wanted:
        words = [str(word).strip().casefold() for word in np.asarray(condition, dtype=object)]
        same = {wanted.strip().casefold(): 1.0, "": rules.unknown_condition}
        weight = weight * np.array([same.get(word, rules.other_condition) for word in words])
    return np.asarray(weight)


def typical_price(
    price_cents: npt.ArrayLike, weights: npt.ArrayLike | None = None, *, rules: ComparableRules
) -> TypicalPrice:
    """Typical price and its spread from recorded sales of like things."""
    price = np.asarray(price_cents, dtype=np.float64)
    if not price.size or not (price > 0).all():
        bad = 0 if not price.size else float(price.min())
        raise NotEnoughDataError("price_cents", need="at least one sale above 0", got=bad)
    log = np.log(price)
    weight = np.ones(price.size) if weights is None else np.asarray(weights, dtype=np.float64)
    weight = np.maximum(weight, 1e-9)
    # A weight is an age and a condition: alike in these and in price, it is one sale typed again.
    _, same, times = np.unique(np.stack((log, weight)), axis=1, return_inverse=True, return_counts=True)
    weight = weight / times[same.ravel()]
    middle = float(weighted_quantile(log, 0.5, weight))
    # Few sales say little about their own spread: half of the stated one is the least scale.
    scale = max(absolute_deviation(log, weight) / MAD_OF_NORMAL, rules.spread / 2)
    far = np.abs(log - middle) / scale
    outlier = far > rules.outlier_spreads
    damped = weight * np.where(outlier, (rules.outlier_spreads / np.maximum(far, 1e-9)) ** 2, 1.0)
    # Of three, most pairs hold the far one: there the median alone is steady.
    if times.size != 3 or float(np.abs(log - middle).max()) <= _FAR_OF_THREE * rules.spread:
        middle = hodges_lehmann(log, damped)
    # A damped sale counts in the spread as if it stood at the bound, so that one slip does not rule.
    gap = np.clip(log - middle, -rules.outlier_spreads * scale, rules.outlier_spreads * scale)
    effective = float(damped.sum() ** 2 / (damped**2 * times[same.ravel()]).sum())
    squares = float((damped * gap**2).sum() / damped.sum()) * effective
    spread = math.sqrt((rules.spread_weight * rules.spread**2 + squares) / (rules.spread_weight + effective - 1))
    # Old sales in another condition say less than so many fresh ones.
    worth = max(min(effective, float(damped.sum())), 1e-9)
    error = spread * math.sqrt(HODGES_LEHMANN_COST / worth) if times.size > 1 else spread / math.sqrt(worth)
    groups = two_groups(log, weight)
    if groups:
        # Nobody knows which of the two the thing belongs to: the range covers both.
        error = max(error, max(abs(at - middle) for at in groups) / _TENTH)
    middles = tuple(round(math.exp(at)) for at in groups)
    return TypicalPrice(round(math.exp(middle)), spread, error, price.size, worth, damped, outlier, middles)


def two_groups(log: Floats, weight: Floats) -> tuple[float, ...]:
    """Middles of two groups of at least two sales that stand far apart; nothing where there are no two.

    >>> [round(float(np.exp(at)), 1) for at in two_groups(np.log([20.0, 21.0, 60.0, 62.0]), np.ones(4))]
    [20.5, 61.0]
    >>> two_groups(np.log([20.0, 30.0, 45.0, 60.0]), np.ones(4))
    ()
    """
    order = np.argsort(log, kind="stable")
    value, share = log[order], weight[order]
    if np.unique(value).size < 4:
        return ()
    apart = np.diff(value)
    at = int(apart[1:-1].argmax()) + 2
    low, high = value[:at], value[at:]
    within = max(np.ptp(low), np.ptp(high))
    if apart[at - 1] < max(_GROUPS_APART * within, _LEAST_APART):
        return ()
    return tuple(
        float(weighted_quantile(part, 0.5, part_share)) for part, part_share in ((low, share[:at]), (high, share[at:]))
    )


class LikelyPrice(NamedTuple):
    """What a thing is likely to sell for, from its comparables, what its kind sells for and the seller's own guess.

    ``trust`` is how much of the comparables' weight is left: 1 where they agree with the kind, 0 where the books alone
    count.
    """

    cents: float
    error: float
    trust: float


def likely_price(
    found: TypicalPrice | None,
    *,
    usual: tuple[float, float] | None = None,
    guess: tuple[float, float] | None = None,
) -> LikelyPrice:
    """Comparables, the kind's usual price and a guess weighed together, each as a price and an error of its logarithm.

    Far from what the kind sells for, comparables lose their weight, few of them sooner than many: a slipped decimal
    point moves nothing.
    """
    parts, trust = [], 1.0
    if found is not None:
        precision = found.error**-2
        if usual is not None:
            gap = abs(math.log(found.cents / usual[0])) / math.hypot(usual[1], found.error)
            reach = _REACH * math.sqrt(max(found.effective, 1.0))
            trust = (1 - min(max((gap - _AGREES) / reach, 0.0), 1.0) ** 2) ** 2
            precision *= trust
            parts.append((math.log(usual[0]), max(usual[1], _LEAST_ERROR) ** -2))
        parts.append((math.log(found.cents), precision))
    elif guess is None and usual is not None:
        parts.append((math.log(usual[0]), max(usual[1], _LEAST_ERROR) ** -2))
    if guess is not None:
        parts.append((math.log(guess[0]), max(guess[1], 1e-6) ** -2))
    total = sum(precision for _, precision in parts)
    middle = sum(log * precision for log, precision in parts) / total
    # One source alone stands as it is, to the last digit.
    cents = math.exp(middle) if len(parts) > 1 else (guess or usual or (math.exp(middle), 0.0))[0]
    error = total**-0.5
    if found is not None and found.groups and trust > 0:
        error = max(error, trust * found.error)
    return LikelyPrice(cents, error, trust)


def more_comparables(
    found: TypicalPrice, *, turning_cents: float, chance: float, leaning: tuple[float, float] | None = None
) -> int | None:
    """How many more comparables it takes until they change the decision with a stated chance.

    The decision turns where the typical price crosses ``turning_cents``. More sales will move
    the middle; how far is itself uncertain, and shrinks what is left to learn.
    """
    from statistics import NormalDist

    if turning_cents <= 0:
        return None
    middle, error = leaning or (found.cents, found.error)
    gap = abs(math.log(middle) - math.log(turning_cents))
    other = max(error**-2 - found.error**-2, 0.0)
    for more in range(1, _MOST_MORE + 1):
        left = 1 / (other + (found.effective + more) / (HODGES_LEHMANN_COST * found.spread**2))
        moves = math.sqrt(max(error**2 - left, 0.0))
        if moves > 0 and NormalDist().cdf(-gap / moves) >= chance:
            return more
    return None


def days_before(days: npt.ArrayLike, as_of: dt.date) -> Floats:
    """Age of each sale on a day.

    >>> days_before(np.array(["2026-11-01", "NaT"], dtype="datetime64[D]"), dt.date(2026, 11, 14)).tolist()
    [13.0, nan]
    """
    when = np.asarray(days, dtype="datetime64[D]")
    age = (np.datetime64(as_of, "D") - when).astype(np.float64)
    return np.where(np.isnat(when), np.nan, age)
