"""A ratio of sums, its standard error, and what becomes of it without each cluster.

An hourly return is total net over total hours, never a mean of single ratios: one item with
two minutes of work would drown the rest. The observations of one sourcing trip are alike, so
everything here takes one pair of sums a trip.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def ratio_of_sums(numerator: npt.ArrayLike, denominator: npt.ArrayLike) -> float:
    """Sum of the numerators over the sum of the denominators.

    Parameters
    ----------
    numerator, denominator : array, shape (n,)
        One pair a unit.

    Returns
    -------
    float
        The ratio; NaN where the denominators sum to nothing.

    References
    ----------
    ``cochran-1977`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> ratio_of_sums([30.0, 10.0], [2.0, 3.0])
    8.0
    """
    below = float(np.sum(np.asarray(denominator, dtype=np.float64)))
    return float(np.sum(np.asarray(numerator, dtype=np.float64))) / below if below > 0 else math.nan


def ratio_standard_error(numerator: npt.ArrayLike, denominator: npt.ArrayLike, *, clusters_correction: bool) -> float:
    """Delta-method standard error of a ratio of sums over independent units.

    Parameters
    ----------
    numerator, denominator : array, shape (n,)
        One pair of sums an independent unit (a sourcing trip).
    clusters_correction : bool
        Whether the variance is multiplied by n / (n - 1), as for a sample of few units; without
        it the figure is the infinitesimal jackknife's.

    Returns
    -------
    float
        The standard error, in the ratio's unit; NaN below two units or without a denominator.

    References
    ----------
    ``cochran-1977`` and ``davison-hinkley-1997`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> round(ratio_standard_error([2.0, 4.0], [1.0, 1.0], clusters_correction=True), 4)
    1.0
    """
    above = np.asarray(numerator, dtype=np.float64)
    below = np.asarray(denominator, dtype=np.float64)
    total = float(below.sum())
    if above.size < 2 or total <= 0:
        return math.nan
    residual = above - ratio_of_sums(above, below) * below
    size = above.size
    factor = size / (size - 1) if clusters_correction else 1.0
    return math.sqrt(factor * float(residual @ residual)) / total


def ratios_without_each(numerator: npt.ArrayLike, denominator: npt.ArrayLike) -> Floats:
    """The ratio of sums with each unit left out in turn.

    Parameters
    ----------
    numerator, denominator : array, shape (n,)
        One pair of sums a unit.

    Returns
    -------
    array, shape (n,)
        The ratios; NaN where nothing is left below the line.

    Examples
    --------
    >>> ratios_without_each([30.0, 10.0, 20.0], [2.0, 3.0, 1.0]).tolist()
    [7.5, 16.666666666666668, 8.0]
    """
    above = np.asarray(numerator, dtype=np.float64)
    below = np.asarray(denominator, dtype=np.float64)
    rest = below.sum() - below
    return np.divide(above.sum() - above, rest, out=np.full(above.shape, np.nan), where=rest > 0)


def jackknife_error(without_each: npt.ArrayLike) -> float:
    """Standard error from the values of a statistic with each unit left out.

    Parameters
    ----------
    without_each : array, shape (n,)
        The statistic without each unit.

    Returns
    -------
    float
        The standard error, in the statistic's unit.

    Examples
    --------
    >>> jackknife_error([1.0, 2.0, 3.0])
    1.1547005383792515
    """
    values = np.asarray(without_each, dtype=np.float64)
    size = values.size
    return math.sqrt((size - 1) / size * float(((values - values.mean()) ** 2).sum())) if size > 1 else math.nan
