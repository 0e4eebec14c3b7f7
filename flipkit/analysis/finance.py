"""Rates of return and present values of cash flows."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from flipkit.errors import NotEnoughDataError

Floats = npt.NDArray[np.float64]


def present_value(rate: float, flows: npt.ArrayLike) -> float:
    """Value today of equally spaced cash flows, the first of them today.

    >>> round(present_value(0.08, [-40_000, 5_000, 8_000, 12_000, 30_000]), 5)
    3065.22267
    """
    amounts = np.asarray(flows, dtype=np.float64)
    return float(amounts @ (1.0 + rate) ** -np.arange(amounts.size))


def future_value(rate: float, periods: int, *, payment: float, start: float) -> float:
    """What a start and equal payments at the end of each period grow to; money paid in is negative.

    >>> round(future_value(0.1, 2, payment=0.0, start=-100.0), 6)
    121.0
    """
    growth = (1.0 + rate) ** periods
    series = periods if rate == 0 else (growth - 1.0) / rate
    return -(start * growth + payment * series)


def internal_rates(flows: npt.ArrayLike) -> Floats:
    """Every rate at which equally spaced cash flows are worth nothing today.

    >>> internal_rates([-100.0, 230.0, -132.0]).round(6).tolist()
    [0.1, 0.2]
    """
    amounts = np.trim_zeros(np.asarray(flows, dtype=np.float64), trim="b")
    if amounts.size < 2 or (amounts >= 0).all() or (amounts <= 0).all():
        return np.zeros(0)
    # In the discount factor 1 / (1 + rate) the value is a polynomial.
    roots = np.roots(amounts[::-1])
    factors = np.real(roots[(np.abs(np.imag(roots)) < 1e-6 * np.maximum(np.abs(roots), 1.0)) & (np.real(roots) > 0)])
    return np.sort(1.0 / factors - 1.0)


def internal_rate(flows: npt.ArrayLike) -> float:
    """Internal rate of return a period: of several rates the one nearest to zero.

    Flows that change sign more than once may have several rates, or none; ``internal_rates``
    lists them. The nearest to zero is the convention of the usual packages.

    >>> round(internal_rate([-100, 39, 59, 55, 20]), 5)
    0.28095
    """
    rates = internal_rates(flows)
    return float(rates[np.argmin(np.abs(rates))]) if rates.size else math.nan


def annual_rate(days: npt.ArrayLike, flows: npt.ArrayLike) -> float:
    """Internal rate of return of dated cash flows, a year of 365 days.

    >>> round(annual_rate([0, 365], [-100.0, 110.0]), 6)
    0.1
    """
    when = np.asarray(days, dtype=np.float64)
    amounts = np.asarray(flows, dtype=np.float64)
    if when.shape != amounts.shape:
        raise NotEnoughDataError("days", need=f"one a flow, {amounts.size}", got=when.size)
    if not when.size or (amounts >= 0).all() or (amounts <= 0).all():
        return math.nan
    years = (when - when.min()) / 365.0

    def value(log_growth: Floats) -> Floats:
        return np.asarray(np.exp(-np.outer(log_growth, years)) @ amounts)

    # A sign change is looked for on a fine grid in the logarithm of the yearly growth, then halved.
    grid = np.linspace(math.log(1e-4), math.log(1e4), 4001)
    signs = np.sign(value(grid))
    starts = np.flatnonzero(signs[:-1] * signs[1:] < 0)
    roots = [float(grid[at]) for at in np.flatnonzero(signs == 0)]
    for at in starts:
        low, high = float(grid[at]), float(grid[at + 1])
        for _ in range(60):
            middle = (low + high) / 2
            if float(value(np.array([middle]))[0]) * signs[at] > 0:
                low = middle
            else:
                high = middle
        roots.append((low + high) / 2)
    return math.expm1(min(roots, key=abs)) if roots else math.nan
