"""The interval of a ratio of sums over few, unequal trips with heavy-tailed money.

Three intervals stand side by side. *BCa* is the textbook bootstrap; with five to twenty trips
it holds the truth too seldom (measured: 79 to 92 % where 95 % is claimed), because so few
trips rarely contain the dear sale that the long tail owes. The interval that the reports claim
is therefore *studentised*: the distribution of the estimate in units of its own standard error
is taken twice, once from the trips drawn anew and once from trips simulated from a skewed
parent fitted to them, and the outer of the two limits counts on each side (with fewer than ten
trips, where the outer would reach too far, a point between it and their mean). What each kind
holds is measured by ``tests/benchmarks/bench_intervals.py`` and ``bench_calibration.py``. The
*delta-method* error is the plain check.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.special import stdtrit

from flipkit.analysis.ratios import jackknife_error, ratio_of_sums, ratio_standard_error, ratios_without_each
from flipkit.analysis.resamples import bca_limits, generator, resampled_sums
from flipkit.errors import AssumptionError, NotEnoughDataError

Floats = npt.NDArray[np.float64]

#: Beyond so many trips the skewed parent changes a limit by less than the draws' own noise.
SMALL_SAMPLE = 200
#: Shape of the skewed parent before the trips have spoken: second-hand money is right-skewed,
#: about as a log-normal of log standard deviation 1 (negative by the convention of the
#: generalised normal distribution) ...
PRIOR_SHAPE = -1.0
#: ... and how many trips that prior weighs. Both were chosen by measured coverage.
PRIOR_TRIPS = 10
#: From so few trips on, at which the mean of the two limits counts, the outer counts the more with
#: each trip, until from ten on it counts alone; chosen by measured coverage as well.
MEAN_TRIPS = 4
OUTER_TRIPS = 10
#: A trip counts as at least this part of the mean trip's hours where its residual is scaled.
_LEAST_SHARE = 0.05


class RatioInterval(NamedTuple):
    """A ratio of sums with what is known about its error.

    ``low`` and ``high`` are the interval that the reports claim; ``bca_low`` and ``bca_high``
    the textbook bootstrap beside it; ``delta_se`` the delta-method standard error with the
    correction for few clusters. NaN where the units do not suffice.
    """

    estimate: float
    low: float
    high: float
    delta_se: float
    bca_low: float
    bca_high: float
    units: int


def ratio_interval(
    numerator: npt.ArrayLike,
    denominator: npt.ArrayLike,
    *,
    confidence: float,
    resamples: int,
    seed: int,
    name: object = "",
    normals: npt.NDArray[np.float32] | None = None,
    prior_shape: float = PRIOR_SHAPE,
) -> RatioInterval:
    """A ratio of sums over independent units with its intervals.

    Parameters
    ----------
    numerator, denominator : array, shape (n,)
        One pair of sums a unit (a sourcing trip).
    confidence : float
        How often the interval is meant to hold the truth, such as 0.95.
    resamples : int
        How many times the units are drawn anew.
    seed : int
        Start of the draws.
    name : object
        Name of the group, which gives it draws of its own.
    normals : array, shape (at least n, resamples), optional
        What ``parent_normals`` gave for this seed and number of resamples, so that a caller
        with many groups makes it once.
    prior_shape : float
        Shape of the skewed parent before the units have spoken; 0 where neither side's tail is
        the longer, as for a difference.

    Returns
    -------
    RatioInterval
        Estimate, claimed limits, delta-method error, BCa limits, number of units.

    Raises
    ------
    AssumptionError
        If the confidence does not lie between 0 and 1, or there are fewer than 100 resamples.

    References
    ----------
    ``efron-tibshirani-1993``, ``hall-1992`` and ``hosking-wallis-1997`` in
    ``rules/data/sources.toml``.

    Examples
    --------
    >>> found = ratio_interval([40, 55, 20, 90, 35, 60], [2, 3, 1, 4, 2, 3], confidence=0.9, resamples=500, seed=1)
    >>> found.estimate, found.low < 20.0 < found.high
    (20.0, True)
    """
    require_interval_settings(confidence, resamples)
    above = np.asarray(numerator, dtype=np.float64)
    below = np.asarray(denominator, dtype=np.float64)
    estimate = ratio_of_sums(above, below)
    size = above.size
    rest = ratios_without_each(above, below)
    if size < 2 or not math.isfinite(estimate) or not np.isfinite(rest).all():
        return RatioInterval(estimate, math.nan, math.nan, math.nan, math.nan, math.nan, size)
    error = ratio_standard_error(above, below, clusters_correction=True)
    if error <= 1e-12 * max(1.0, abs(estimate)):
        return RatioInterval(estimate, estimate, estimate, error, estimate, estimate, size)
    sums = resampled_sums(
        np.column_stack([above, below, above**2, above * below, below**2]),
        resamples=resamples,
        seed=seed,
        name=name,
    )
    sums = sums[sums[:, 1] > 0]
    drawn = sums[:, 0] / sums[:, 1]
    bca_low, bca_high = bca_limits(estimate, drawn, rest, confidence=confidence)
    tails = np.array([(1 - confidence) / 2, (1 + confidence) / 2])
    limits = [np.quantile(_studentised(estimate, error, drawn, sums, size), tails)]
    if size <= SMALL_SAMPLE:
        if normals is None:
            normals = parent_normals(size, resamples=resamples, seed=seed)
        limits.append(np.quantile(_parent_studentised(estimate, above, below, normals[:size], prior_shape), tails))
    spread = jackknife_error(rest)
    table = np.array(limits)
    reach = min(max((size - MEAN_TRIPS) / (OUTER_TRIPS - MEAN_TRIPS), 0.0), 1.0)
    least, most = (1 - reach) * table.mean(axis=0) + reach * np.array([table[:, 0].min(), table[:, 1].max()])
    low, high = estimate - float(most) * spread, estimate - float(least) * spread
    return RatioInterval(estimate, low, high, error, bca_low, bca_high, size)


def require_interval_settings(confidence: float, resamples: int) -> None:
    """Refuse a confidence or a number of resamples that makes no interval.

    Parameters
    ----------
    confidence : float
        How often the interval is meant to hold the truth.
    resamples : int
        How many times the units are drawn anew.

    Raises
    ------
    AssumptionError
        If the confidence does not lie between 0 and 1, or there are fewer than 100 resamples.

    Examples
    --------
    >>> require_interval_settings(0.95, 4000)
    """
    if not 0 < confidence < 1:
        raise AssumptionError("confidence", need="between 0 and 1", got=confidence)
    if resamples < 100:
        raise AssumptionError("resamples", need="at least 100", got=resamples)


def parent_normals(units: int, *, resamples: int, seed: int) -> npt.NDArray[np.float32]:
    """Standard normal draws for the skewed parent, one row a unit.

    A longer table begins with the rows of a shorter one, so that a group's interval does not
    depend on how large its neighbours are.

    Parameters
    ----------
    units : int
        How many rows; more than ``SMALL_SAMPLE`` are never needed.
    resamples : int
        Draws a row.
    seed : int
        Start of the draws.

    Returns
    -------
    array, shape (units, resamples)
        The draws.

    Examples
    --------
    >>> long, short = (parent_normals(n, resamples=100, seed=1) for n in (9, 3))
    >>> bool((long[:3] == short).all())
    True
    """
    return _parent_normals(min(units, SMALL_SAMPLE), resamples, seed)


@lru_cache(maxsize=4)
def _parent_normals(rows: int, resamples: int, seed: int) -> npt.NDArray[np.float32]:
    drawn = generator(seed, "skewed parent").standard_normal((rows, resamples), dtype=np.float32)
    # Kept for whoever asks again, so nobody may write into it.
    drawn.flags.writeable = False
    return drawn


def student_limits(estimate: float, error: float, units: int, *, confidence: float) -> tuple[float, float]:
    """Limits by Student's t with one degree of freedom less than there are units.

    Parameters
    ----------
    estimate, error : float
        The statistic and its standard error.
    units : int
        Independent units behind it.
    confidence : float
        How often the limits are meant to hold the truth.

    Returns
    -------
    tuple of float
        Lower and upper limit.

    Raises
    ------
    NotEnoughDataError
        If there are fewer than two units.

    Examples
    --------
    >>> low, high = student_limits(10.0, 1.0, 10, confidence=0.95)
    >>> round(low, 3), round(high, 3)
    (7.738, 12.262)
    """
    if units < 2:
        raise NotEnoughDataError("units", need="at least 2", got=units)
    reach = float(stdtrit(units - 1, (1 + confidence) / 2)) * error
    return estimate - reach, estimate + reach


def _studentised(estimate: float, error: float, drawn: Floats, sums: Floats, size: int) -> Floats:
    """The resampled ratio's distance from the ratio in units of its own standard error."""
    squares = sums[:, 2] - 2 * drawn * sums[:, 3] + drawn**2 * sums[:, 4]
    errors = np.sqrt(np.maximum(squares, 0.0) * size / (size - 1)) / sums[:, 1]
    # One unit drawn n times over has no spread of its own and says nothing.
    kept = errors > 1e-6 * error
    return (drawn[kept] - estimate) / errors[kept]


def _parent_studentised(
    estimate: float, above: Floats, below: Floats, normals: npt.NDArray[np.float32], prior: float
) -> Floats:
    """The same distance where the residuals come from a skewed parent and the hours are as they were.

    A trip's residual grows as the root of its hours, so that one long trip among short ones
    counts as what it is. The parent is the generalised normal (log-normal with a shift), its
    shape from the residuals' L-skewness and pulled towards the prior.
    """
    total = below.sum()
    scale = np.sqrt(np.maximum(below, _LEAST_SHARE * total / below.size))
    left = 1 - below / total
    residual = (above - estimate * below) / (scale * np.sqrt(left))
    shape = _shape(residual, prior)
    skewed = (1 - np.exp(np.float32(-shape) * normals)) / np.float32(shape)
    skewed -= np.float32((1 - math.exp(shape * shape / 2)) / shape)
    part = 1 / (left * total)
    first = np.stack([scale, part**2 * below * scale]).astype(np.float32) @ skewed
    second = (part**2 * scale**2).astype(np.float32) @ np.square(skewed, out=skewed)
    ratio = first[0].astype(np.float64) / total
    squares = second - 2 * ratio * first[1] + ratio**2 * float((part**2 * below**2).sum())
    size = below.size
    error = np.sqrt((size - 1) / size * np.maximum(squares, 0.0))
    return np.asarray(ratio[error > 0] / error[error > 0], dtype=np.float64)


def _shape(residual: Floats, prior: float) -> float:
    """Shape of the generalised normal from the L-skewness, pulled towards the prior."""
    size = residual.size
    shape = prior
    if size >= 3:
        ordered = np.sort(residual)
        rank = np.arange(size)
        b0 = ordered.mean()
        b1 = (rank * ordered).sum() / (size * (size - 1))
        b2 = (rank * (rank - 1) * ordered).sum() / (size * (size - 1) * (size - 2))
        scale = 2 * b1 - b0
        skewness = (6 * b2 - 6 * b1 + b0) / scale if scale > 0 else 0.0
        fitted = generalised_normal_shape(float(skewness))
        shape = (size * fitted + PRIOR_TRIPS * prior) / (size + PRIOR_TRIPS)
    # Shape 0 is the normal itself, whose formula would divide by zero.
    return shape if abs(shape) > 1e-3 else -1e-3


def generalised_normal_shape(l_skewness: float) -> float:
    """Shape of the generalised normal distribution that has a given L-skewness.

    Parameters
    ----------
    l_skewness : float
        Third L-moment over the second; held within 0.94 of zero, where the formula ends.

    Returns
    -------
    float
        The shape; negative for a long right tail, and minus the log standard deviation of a
        log-normal.

    References
    ----------
    ``hosking-wallis-1997`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> round(generalised_normal_shape(0.0), 6)
    -0.0
    """
    t = min(max(l_skewness, -0.94), 0.94)
    square = t * t
    above = 2.0466534 + square * (-3.6544371 + square * (1.8396733 + square * -0.20360244))
    below = 1 + square * (-2.0182173 + square * (1.2420401 + square * -0.21741801))
    return -t * above / below
