"""Small groups pulled towards the whole (empirical Bayes), with the weight shown.

The best of twelve categories is partly the luckiest. Each category's raw figure is pulled
towards the mean of all, the more the less is known of it; how far categories truly differ is
estimated from the figures themselves. The method is Morris's, whose equal-variance case is the
estimator of Efron and Morris.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import stdtr

from flipkit.analysis.resamples import generator
from flipkit.analysis.words import chance_verdict

Floats = npt.NDArray[np.float64]

#: How many degrees of freedom the categories' common error weighs beside a category's own.
COMMON_FREEDOM = 4.0
#: Draws for the chance of being the best.
_DRAWS = 20_000


class Pulled(NamedTuple):
    """Figures pulled towards their mean.

    ``weight`` is the weight of each raw figure, 1 less that of the ``centre``; ``error`` the
    standard deviation of what is still unknown of each; ``spread`` how far the groups truly
    differ (a standard deviation).
    """

    value: Floats
    weight: Floats
    error: Floats
    centre: float
    spread: float


def pulled(raw: npt.ArrayLike, error: npt.ArrayLike) -> Pulled:
    """Raw figures pulled towards their weighted mean by empirical Bayes.

    With fewer than four groups the spread between them cannot be told from their errors, and
    nothing is pulled.

    Parameters
    ----------
    raw : array, shape (k,)
        Figures of the groups.
    error : array, shape (k,)
        Their standard errors, above zero.

    Returns
    -------
    Pulled
        Pulled figures, weights, errors, centre and spread, in the figures' unit.

    References
    ----------
    ``efron-morris-1977`` and ``morris-1983`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> found = pulled([10.0, 20.0, 30.0, 40.0, 50.0], [10.0] * 5)
    >>> found.weight.round(2).tolist(), found.value.round(1).tolist()
    ([0.8, 0.8, 0.8, 0.8, 0.8], [14.0, 22.0, 30.0, 38.0, 46.0])
    """
    values = np.asarray(raw, dtype=np.float64)
    variance = np.asarray(error, dtype=np.float64) ** 2
    size = values.size
    if size < 4:
        centre = float(np.average(values, weights=1 / variance)) if size else 0.0
        return Pulled(values.copy(), np.ones(size), np.sqrt(variance), centre, 0.0)
    between = _between(values, variance)
    pull = 1 / (variance + between)
    part = pull / pull.sum()
    centre = float(part @ values)
    away = np.minimum((size - 3) / (size - 1) * variance * pull, 1.0)
    value = centre + (1 - away) * (values - centre)
    # Morris's allowance for not knowing the centre and the spread themselves.
    known = variance * (1 - (1 - part) * away)
    doubt = 2 / (size - 3) * away**2 * (variance.mean() + between) * pull * (values - centre) ** 2
    return Pulled(value, 1 - away, np.sqrt(known + doubt), centre, float(np.sqrt(between)))


def steadied_errors(error: npt.ArrayLike, size: npt.ArrayLike, hours: npt.ArrayLike) -> Floats:
    """Standard errors of groups of few trips, leaning on what all groups have in common.

    An error from three trips is itself little more than a guess. The common figure is the
    variance of one hour, over all groups; a group's own counts with its trips less one beside
    ``COMMON_FREEDOM``.

    Parameters
    ----------
    error : array, shape (k,)
        Own standard errors; NaN where a group has none.
    size : int array, shape (k,)
        Trips behind each.
    hours : array, shape (k,)
        Owner hours behind each, above zero.

    Returns
    -------
    array, shape (k,)
        The errors to use; NaN where no group has one.

    Examples
    --------
    >>> steadied_errors([2.0, float("nan")], [9, 1], [10.0, 40.0]).round(3).tolist()
    [2.0, 1.0]
    """
    own = np.asarray(error, dtype=np.float64) ** 2
    work = np.asarray(hours, dtype=np.float64)
    freedom = np.where(np.isfinite(own), np.maximum(np.asarray(size, dtype=np.float64) - 1, 0.0), 0.0)
    own = np.where(freedom > 0, own, 0.0)
    if freedom.sum() == 0:
        return np.full(own.shape, np.nan)
    hour = float((freedom * own * work).sum() / freedom.sum())
    return np.asarray(np.sqrt((freedom * own + COMMON_FREEDOM * hour / work) / (freedom + COMMON_FREEDOM)))


def pulled_returns(
    returns: pd.DataFrame, *, target: float, by: str = "category", seed: int, minutes: str = "owner_min"
) -> pd.DataFrame:
    """Hourly returns pulled towards the whole, ranked by the chance of beating the target.

    Parameters
    ----------
    returns : DataFrame
        As ``category_returns`` or ``bought_returns`` gives it.
    target : float
        What an hour should bring. [dollars per hour]
    by : str
        Column that names the group.
    seed : int
        Start of the draws for the chance of being the best.
    minutes : str
        Column of the owner minutes behind each figure.

    Returns
    -------
    DataFrame
        One row a group with hours behind it, likeliest to beat the target first: the group's
        column, ``items``, ``trips``, ``raw`` (hourly as it is), ``pulled``, ``weight`` (of the
        raw figure, 0 to 1), ``error``, ``beats_target`` and ``is_best`` (chances, 0 to 1),
        ``claimed``, ``verdict``. [dollars per hour]

    References
    ----------
    ``efron-morris-1977`` and ``morris-1983`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> table = pd.DataFrame({"category": list("abcde"), "items": 30, "trips": 20, "owner_min": 600.0,
    ...     "hourly": [10.0, 20.0, 30.0, 40.0, 50.0], "delta_se": 10.0, "claimed": True})
    >>> found = pulled_returns(table, target=35.0, seed=1)
    >>> found["category"].tolist(), found["pulled"].round(1).tolist()
    (['e', 'd', 'c', 'b', 'a'], [46.0, 38.0, 30.0, 22.0, 14.0])
    """
    table = returns.loc[returns["hourly"].notna()].reset_index(drop=True)
    raw = table["hourly"].to_numpy(dtype=np.float64)
    trips = table["trips"].to_numpy(dtype=np.float64)
    error = steadied_errors(table["delta_se"], trips, table[minutes].to_numpy(dtype=np.float64) / 60)
    out = table[[by, "items", "trips"]].assign(raw=raw)
    if np.isfinite(error).all() and (error > 0).all() and len(table):
        found = pulled(raw, error)
        freedom = np.maximum(trips - 1, 0) + COMMON_FREEDOM
        beats = 1 - stdtr(freedom, (target - found.value) / found.error)
        draws = _student_draws(seed, tuple(freedom.tolist()))
        winner = np.argmax(found.value + found.error * draws, axis=1)
        best = np.bincount(winner, minlength=len(table)) / _DRAWS
        out = out.assign(pulled=found.value, weight=found.weight, error=found.error, beats_target=beats, is_best=best)
    else:
        out = out.assign(pulled=raw, weight=1.0, error=np.nan, beats_target=np.nan, is_best=np.nan)
    out["claimed"] = table["claimed"].to_numpy(dtype=bool)
    out["verdict"] = [
        chance_verdict(chance, claimed=claimed)
        for chance, claimed in zip(out["beats_target"], out["claimed"], strict=True)
    ]
    order = np.lexsort((out[by].astype(str), -out["pulled"], -out["beats_target"].fillna(-1.0)))
    return out.iloc[order].reset_index(drop=True)


@lru_cache(maxsize=4)
def _student_draws(seed: int, freedom: tuple[float, ...]) -> Floats:
    """Draws for the chance of being the best: of the trips alone, so kept while assumptions move."""
    drawn = generator(seed, "best").standard_t(np.array(freedom), size=(_DRAWS, len(freedom)))
    drawn.flags.writeable = False
    return drawn


def _between(values: Floats, variance: Floats) -> float:
    """Variance between groups by Morris's weighted moments, iterated; zero where errors explain all."""
    size = values.size
    between = max(float(values.var(ddof=1) - variance.mean()), 0.0)
    for _ in range(200):
        weight = 1 / (variance + between)
        centre = float(weight @ values / weight.sum())
        gained = size / (size - 1) * (values - centre) ** 2 - variance
        later = max(float(weight @ gained / weight.sum()), 0.0)
        if abs(later - between) <= 1e-12 * (1 + between):
            return later
        between = later
    return between
