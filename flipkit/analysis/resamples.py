"""Sums over units drawn anew with replacement, and the limits that such draws give.

A statistic that is a function of sums needs no resampled rows: the weights of the drawn units
times the units' sums are enough, a few numbers a resample however many items stand behind.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

Floats = npt.NDArray[np.float64]
Counts = npt.NDArray[np.unsignedinteger | np.int64]

#: Draws held in memory at a time: a block that stays in the processor's cache.
_BLOCK = 200_000
#: Draws of up to so many weights are kept, and of so many groups the latest: at most 80 MB.
_KEPT_WEIGHTS, _KEPT_GROUPS = 1_000_000, 40


def generator(seed: int, name: object) -> np.random.Generator:
    """Random numbers of one group: the same whatever other groups are asked about beside it.

    Parameters
    ----------
    seed : int
        Start of the draws.
    name : object
        The group; its text is what counts.

    Returns
    -------
    Generator
        A generator of its own.

    Examples
    --------
    >>> bool(generator(1, "lamps").integers(100) == generator(1, "lamps").integers(100))
    True
    """
    return np.random.default_rng([seed, zlib.crc32(str(name).encode())])


def resampled_sums(values: npt.ArrayLike, *, resamples: int, seed: int, name: object) -> Floats:
    """Column sums over as many units as there are, drawn with replacement, again and again.

    Parameters
    ----------
    values : array, shape (n, k)
        The values of each unit.
    resamples : int
        How many draws of n units.
    seed : int
        Start of the draws.
    name : object
        The group, which has draws of its own: the same whenever it is asked about.

    Returns
    -------
    array, shape (resamples, k)
        The sums of each draw.

    Examples
    --------
    >>> sums = resampled_sums([[1.0, 2.0], [1.0, 6.0]], resamples=4, seed=1, name="x")
    >>> sums[:, 0].tolist()
    [2.0, 2.0, 2.0, 2.0]
    """
    table = np.asarray(values, dtype=np.float64)
    # Who moves an assumption asks about the same units again: how often each was drawn stays as it was.
    drawn = _kept_weights if len(table) * resamples <= _KEPT_WEIGHTS else _weights
    start = 0
    sums = np.empty((resamples, table.shape[1]))
    for weights in drawn(len(table), resamples, seed, str(name)):
        sums[start : start + len(weights)] = weights.astype(np.float64) @ table
        start += len(weights)
    return sums


def _weights(size: int, resamples: int, seed: int, name: str) -> Iterator[Counts]:
    """How often each unit stands in each draw, a block of draws at a time."""
    random = generator(seed, name)
    block = max(1, min(resamples, _BLOCK // max(size, 1)))
    kind = np.uint16 if size <= np.iinfo(np.uint16).max else np.int64
    offset = (np.arange(block, dtype=np.int64) * size)[:, None]
    for start in range(0, resamples, block):
        count = min(block, resamples - start)
        drawn = random.integers(0, size, size=(count, size), dtype=kind)
        weights = np.bincount((drawn + offset[:count]).ravel(), minlength=count * size)
        yield weights.reshape(count, size).astype(kind)


@lru_cache(maxsize=_KEPT_GROUPS)
def _kept_weights(size: int, resamples: int, seed: int, name: str) -> tuple[Counts, ...]:
    return tuple(_weights(size, resamples, seed, name))


def bca_limits(
    estimate: float, resampled: npt.ArrayLike, without_each: npt.ArrayLike, *, confidence: float
) -> tuple[float, float]:
    """Bias-corrected and accelerated bootstrap limits.

    Parameters
    ----------
    estimate : float
        The statistic of the sample.
    resampled : array, shape (b,)
        The statistic of each resample.
    without_each : array, shape (n,)
        The statistic without each unit, for the acceleration.
    confidence : float
        How often the limits are meant to hold the truth, such as 0.95.

    Returns
    -------
    tuple of float
        Lower and upper limit.

    References
    ----------
    ``efron-tibshirani-1993`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> draws = np.linspace(-1, 1, 2001)
    >>> low, high = bca_limits(0.0, draws, [-1.0, 0.0, 1.0], confidence=0.9)
    >>> round(low, 6), round(high, 6)
    (-0.9, 0.9)
    """
    draws = np.asarray(resampled, dtype=np.float64)
    rest = np.asarray(without_each, dtype=np.float64)
    gap = rest.mean() - rest
    spread = float((gap**2).sum())
    if spread == 0 or draws.size == 0:
        return estimate, estimate
    acceleration = float((gap**3).sum()) / (6 * spread**1.5)
    # Ties count half, so that a statistic of few values is not called biased for being coarse.
    share = (np.count_nonzero(draws < estimate) + np.count_nonzero(draws <= estimate)) / (2 * draws.size)
    bias = ndtri(np.clip(share, 1 / draws.size, 1 - 1 / draws.size))
    tails = bias + ndtri(np.array([(1 - confidence) / 2, (1 + confidence) / 2]))
    level = ndtr(bias + tails / (1 - acceleration * tails))
    low, high = np.quantile(draws, level)
    return float(low), float(high)
