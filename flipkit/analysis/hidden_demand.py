"""The fit behind ``selling``: weekly hazards among things that differ in ways that no column tells."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from flipkit.analysis.demand import Wanting
from flipkit.errors import NotEnoughDataError

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Bools = npt.NDArray[np.bool_]

_TINY = 1e-300


def posterior_mode(
    design: Floats,
    offset: Floats,
    first: Ints,
    sold: Bools,
    never_design: Floats,
    never_columns: npt.NDArray[np.int64],
    levels: Wanting,
    prior_mean: Floats,
    prior_spread: Floats,
) -> tuple[Floats, Floats]:
    """Most likely coefficients under a normal prior, and their covariance there.

    A thing that has met the sum h of weekly rates is unsold with chance
    never + (1 - never) * mean of exp(-level * h); a sale falls in its last week.

    Parameters
    ----------
    design : array, shape (rows, coefficients)
        One row a week on sale, things one after the other.
    offset : array, shape (rows,)
        Logarithm of the part of the week that was seen.
    first : array of int, shape (things,)
        First row of each thing.
    sold : array of bool, shape (things,)
        Whether it sold in its last week.
    never_design : array, shape (things, never coefficients)
        What the coefficients of the odds of never being wanted multiply.
    never_columns : array of int
        Places of those coefficients.
    levels : Wanting
        How much the others are wanted.
    prior_mean, prior_spread : array, shape (coefficients,)
        The prior.

    Returns
    -------
    mean : array, shape (coefficients,)
        The mode.
    covariance : array, shape (coefficients, coefficients)
        The inverse of the curvature.

    Raises
    ------
    NotEnoughDataError
        If the search does not settle.
    """
    if not first.size:
        return prior_mean.copy(), np.diag(prior_spread**2)
    from scipy.optimize import minimize

    last = np.concatenate((first[1:], [design.shape[0]])) - 1
    thing = np.repeat(np.arange(first.size), last + 1 - first)
    ends = np.zeros(design.shape[0], dtype=bool)
    ends[last] = True

    def loss(scaled: Floats) -> tuple[float, Floats]:
        beta = prior_mean + prior_spread * scaled
        rate = np.exp(np.clip(design @ beta + offset, -700, 30))
        met = np.add.reduceat(rate, first)
        before = met - rate[last]
        never = 1 / (1 + np.exp(-(never_design @ beta[never_columns])))
        wait_all, wait_slope = _unsold(met, levels)
        pre_all, pre_slope = _unsold(before, levels)
        unsold = never + (1 - never) * wait_all
        chance = np.maximum(np.where(sold, (1 - never) * (pre_all - wait_all), unsold), _TINY)
        # Slopes of the logarithm of the chance by the rates met before the last week and in all.
        by_before = np.where(sold, (1 - never) * pre_slope, 0.0) / chance
        by_all = np.where(sold, -(1 - never) * wait_slope, (1 - never) * wait_slope) / chance
        by_never = np.where(sold, -(pre_all - wait_all), 1 - wait_all) / chance * never * (1 - never)
        weight = by_all[thing] + np.where(ends, 0.0, by_before[thing])
        gradient = design.T @ (rate * weight)
        gradient[never_columns] += never_design.T @ by_never
        return (
            float(scaled @ scaled) / 2 - float(np.log(chance).sum()),
            scaled - prior_spread * gradient,
        )

    found = minimize(
        loss,
        np.zeros(prior_mean.size),
        jac=True,
        method="L-BFGS-B",
        options={"maxiter": 400, "gtol": 1e-3, "ftol": 1e-10},
    )
    at = np.asarray(found.x, dtype=np.float64)
    curve = _curvature(loss, at)
    for _ in range(20):
        slope = loss(at)[1]
        if float(np.abs(slope).max()) < 1e-6:
            break
        at = at - np.linalg.solve(curve, slope)
        curve = _curvature(loss, at)
    if not np.isfinite(at).all() or float(np.abs(loss(at)[1]).max()) > 1e-3:
        raise NotEnoughDataError("person-weeks", need="a fit that settles", got=float(np.abs(loss(at)[1]).max()))
    covariance = np.linalg.inv(curve) * np.outer(prior_spread, prior_spread)
    return prior_mean + prior_spread * at, np.asarray((covariance + covariance.T) / 2, dtype=np.float64)


def _unsold(met: Floats, levels: Wanting) -> tuple[Floats, Floats]:
    """Share of the wanted still unsold after the rates met, and its slope."""
    left = levels.share * np.exp(-levels.level * met[:, None])
    return left.sum(axis=1), -(left * levels.level).sum(axis=1)


def _curvature(loss: object, at: Floats) -> Floats:
    """Second derivatives by differences of the slope; kept from falling below the prior's half."""
    step = 1e-4
    rows = []
    for place in range(at.size):
        moved = np.zeros(at.size)
        moved[place] = step
        rows.append((loss(at + moved)[1] - loss(at - moved)[1]) / (2 * step))  # type: ignore[operator]
    curve = np.array(rows)
    value, vector = np.linalg.eigh((curve + curve.T) / 2)
    return np.asarray((vector * np.maximum(value, 0.5)) @ vector.T, dtype=np.float64)
