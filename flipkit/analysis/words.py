"""Verdicts in plain words, each by a stated bound.

A verdict is never stronger than the interval behind it: a category that may or may not beat
the target is said to be just that.
"""

from __future__ import annotations

import math

#: What is said where no interval is claimed.
TOO_FEW = "too few to tell"

#: A chance from here on counts as likely or almost sure ...
LIKELY = 0.80
ALMOST_SURE = 0.95
#: ... and one from here down as unlikely or almost surely not.
UNLIKELY = 0.20
ALMOST_SURELY_NOT = 0.05


def hourly_verdict(low: float, high: float, *, claimed: bool, target: float | None = None) -> str:
    """What an hourly return's interval lets one say.

    Parameters
    ----------
    low, high : float
        The claimed interval. [dollars per hour]
    claimed : bool
        Whether there is enough behind it to claim an interval at all.
    target : float, optional
        What an hour should bring; without it the return is judged against nothing at all,
        that is, against zero. [dollars per hour]

    Returns
    -------
    str
        The words.

    Examples
    --------
    >>> hourly_verdict(22.0, 31.0, claimed=True, target=20.0)
    'above the target'
    >>> hourly_verdict(12.0, 31.0, claimed=True, target=20.0)
    'may be above or below the target'
    >>> hourly_verdict(-9.0, -1.0, claimed=True)
    'loses money'
    """
    if not claimed or math.isnan(low) or math.isnan(high):
        return TOO_FEW
    if target is None:
        if low > 0:
            return "makes money"
        return "loses money" if high < 0 else "may make or lose money"
    if low > target:
        return "above the target"
    return "below the target" if high < target else "may be above or below the target"


def chance_verdict(chance: float, *, claimed: bool) -> str:
    """What the chance of beating the target lets one say.

    Parameters
    ----------
    chance : float
        Chance that the true hourly return is above the target, 0 to 1.
    claimed : bool
        Whether there is enough behind it to claim anything.

    Returns
    -------
    str
        The words; the bounds are 95, 80, 20 and 5 %.

    Examples
    --------
    >>> chance_verdict(0.97, claimed=True), chance_verdict(0.5, claimed=True)
    ('almost surely beats the target', 'could go either way')
    """
    if not claimed or math.isnan(chance):
        return TOO_FEW
    if chance >= ALMOST_SURE:
        return "almost surely beats the target"
    if chance >= LIKELY:
        return "probably beats the target"
    if chance > UNLIKELY:
        return "could go either way"
    return "probably misses the target" if chance > ALMOST_SURELY_NOT else "almost surely misses the target"


def difference_verdict(low: float, high: float, *, first: str, second: str, claimed: bool) -> str:
    """What the interval of a difference between two groups lets one say.

    Parameters
    ----------
    low, high : float
        Interval of the first group's figure less the second's.
    first, second : str
        Names of the groups.
    claimed : bool
        Whether there is enough behind it to claim an interval.

    Returns
    -------
    str
        The words.

    Examples
    --------
    >>> difference_verdict(1.0, 4.0, first="bulky", second="small", claimed=True)
    'bulky earns more an hour than small'
    """
    if not claimed or math.isnan(low) or math.isnan(high):
        return TOO_FEW
    if low > 0:
        return f"{first} earns more an hour than {second}"
    if high < 0:
        return f"{second} earns more an hour than {first}"
    return f"no difference shown between {first} and {second}"


def wage_verdict(wage: float, limit: float, low: float, high: float, *, claimed: bool) -> str:
    """What a wage for help does to the owner's hour, as far as the limit's interval lets one say.

    Parameters
    ----------
    wage : float
        The wage. [dollars per hour]
    limit : float
        The wage below which the owner's hour rises; NaN where no wage would do. [dollars per hour]
    low, high : float
        The limit's interval; NaN where the owner's hour may earn nothing. [dollars per hour]
    claimed : bool
        Whether there is enough behind it to claim an interval.

    Returns
    -------
    str
        The words.

    Examples
    --------
    >>> wage_verdict(16.0, 12.0, 9.0, 15.0, claimed=True)
    'would not raise it'
    >>> wage_verdict(14.0, 12.0, 9.0, 15.0, claimed=True)
    'would not raise it by these figures, though that is not sure'
    """
    if not claimed:
        return TOO_FEW
    # No wage at all is a limit below every wage.
    limit, low, high = (-math.inf if math.isnan(value) else value for value in (limit, low, high))
    if wage < low:
        return "would raise it"
    if wage >= high:
        return "would not raise it"
    return f"{'would' if wage < limit else 'would not'} raise it by these figures, though that is not sure"
