"""Whole lifting jobs: duration class, mean frequency, several tasks, reach, grip and teams."""

from __future__ import annotations

from collections.abc import Sequence

from flipkit.errors import MeasureError
from flipkit.packing.lifting import Coupling, Duration
from flipkit.rules.lifting_tables import LiftingBlock


def composite_lifting_index(
    single_task_index: Sequence[float], frequency_independent_index: Sequence[float], multiplier: Sequence[float]
) -> float:
    """Index of a job of several tasks, hardest first.

    The hardest task counts in full; each further one adds its frequency-independent index times
    what its own lifts take from the frequency multiplier.

    Parameters
    ----------
    single_task_index : sequence of float, shape (n,)
        Index of each task alone, in falling order; only the first enters.
    frequency_independent_index : sequence of float, shape (n,)
        Index of each task with a frequency multiplier of 1.
    multiplier : sequence of float, shape (n,)
        Frequency multiplier at the lifts of the first task, of the first two together, and so on.

    Returns
    -------
    float
        The composite index.

    Raises
    ------
    MeasureError
        If the lengths differ, a task is missing, or a multiplier is 0.

    Examples
    --------
    >>> round(composite_lifting_index([1.6, 0, 0], [0, 1.0, 0.67], [0.94, 0.88, 0.70]), 3)
    1.868
    """
    sizes = {len(single_task_index), len(frequency_independent_index), len(multiplier)}
    if len(sizes) != 1 or 0 in sizes:
        raise MeasureError("tasks", need="one index and one multiplier a task, at least one task", got=sorted(sizes))
    if min(multiplier) <= 0:
        raise MeasureError("multiplier", need="above 0", got=min(multiplier), mend="fewer lifts a minute")
    total = float(single_task_index[0])
    for place in range(1, len(multiplier)):
        share = 1.0 / multiplier[place] - 1.0 / multiplier[place - 1]
        total += float(frequency_independent_index[place]) * share
    return total


def mean_frequency(lifts_per_min: float, *, lifting_min: float, window_min: float) -> float:
    """Lifts a minute over the whole window, where lifting goes on for a part of it.

    Parameters
    ----------
    lifts_per_min : float
        While lifting. [1/min]
    lifting_min : float
        How long lifting goes on within the window. [min]
    window_min : float
        The window, 15 minutes in the manual. [min]

    Returns
    -------
    float
        Mean lifts a minute. [1/min]

    Examples
    --------
    >>> round(mean_frequency(10, lifting_min=8, window_min=15), 2)
    5.33
    """
    if not 0 <= lifting_min <= window_min or window_min <= 0:
        raise MeasureError("lifting_min", need=f"from 0 to the window of {window_min:g} min", got=lifting_min)
    return lifts_per_min * lifting_min / window_min


def recovery_needed_min(work_min: float, *, equation: LiftingBlock) -> float:
    """Light work or rest that must follow a stretch of lifting for its duration class to hold.

    Parameters
    ----------
    work_min : float
        Lifting without a break. [min]
    equation : LiftingBlock
        The edition in force on the day, from :func:`flipkit.rules.packing_rules.packing_rules`.

    Returns
    -------
    float
        Minutes of recovery; 0 for the long class, which asks for usual breaks only. [min]

    Examples
    --------
    >>> import datetime
    >>> from flipkit.rules.packing_rules import packing_rules
    >>> equation = packing_rules(on=datetime.date(2026, 11, 25)).lifting
    >>> recovery_needed_min(120, equation=equation)
    36.0
    """
    rule = equation.constants["duration"]
    if work_min <= rule["short_min"]:
        return work_min * rule["recovery_short"]
    return work_min * rule["recovery_moderate"] if work_min <= rule["moderate_min"] else 0.0


def lifting_duration(stretches: Sequence[tuple[float, float]], *, equation: LiftingBlock) -> Duration:
    """Duration class of a pattern of lifting and light work.

    A stretch whose recovery is too short runs on into the next one: their lifting minutes add.
    After the last stretch the lifting is over, so its recovery is enough.

    Parameters
    ----------
    stretches : sequence of (float, float)
        Minutes of lifting and of light work after them, in order. [min]
    equation : LiftingBlock
        The edition in force on the day, from :func:`flipkit.rules.packing_rules.packing_rules`.

    Returns
    -------
    str
        ``short``, ``moderate`` or ``long``.

    Raises
    ------
    MeasureError
        If a time is negative, or one run of lifting passes 8 hours.

    Examples
    --------
    >>> import datetime
    >>> from flipkit.rules.packing_rules import packing_rules
    >>> equation = packing_rules(on=datetime.date(2026, 11, 25)).lifting
    >>> lifting_duration([(30, 10), (45, 0)], equation=equation)
    'moderate'
    >>> lifting_duration([(30, 30), (45, 0)], equation=equation)
    'short'
    """
    rule = equation.constants["duration"]
    longest = run = 0.0
    for place, (work, rest) in enumerate(stretches):
        if work < 0 or rest < 0:
            raise MeasureError("stretches", need="minutes of at least 0", got=(work, rest))
        run += work
        longest = max(longest, run)
        if place + 1 < len(stretches) and rest >= recovery_needed_min(run, equation=equation) > 0:
            run = 0.0
    if longest > rule["long_min"]:
        raise MeasureError("stretches", need=f"at most {rule['long_min']:g} min of lifting", got=longest)
    if longest <= rule["short_min"]:
        return "short"
    return "moderate" if longest <= rule["moderate_min"] else "long"


def reach_in(width_in: float, vertical_in: float, *, equation: LiftingBlock) -> float:
    """Horizontal distance of a carton held against the body, when it is not measured.

    Parameters
    ----------
    width_in : float
        The carton's side that points away from the body. [in]
    vertical_in : float
        Hands above the floor. [in]
    equation : LiftingBlock
        The edition in force on the day, from :func:`flipkit.rules.packing_rules.packing_rules`.

    Returns
    -------
    float
        8 in and half the width; 10 in and half the width with the hands below 10 in. [in]

    Examples
    --------
    >>> import datetime
    >>> from flipkit.rules.packing_rules import packing_rules
    >>> equation = packing_rules(on=datetime.date(2026, 11, 25)).lifting
    >>> reach_in(12, 30, equation=equation)
    14.0
    """
    rule = equation.constants["reach"]
    return rule["low_in" if vertical_in < rule["low_hands_in"] else "high_in"] + width_in / 2


def carton_coupling(front_in: float, height_in: float, *, equation: LiftingBlock) -> Coupling:
    """Grip on a plain carton without handholds, fingers flexed under it.

    Parameters
    ----------
    front_in : float
        Side across the body, between the hands. [in]
    height_in : float
        Height as held. [in]
    equation : LiftingBlock
        The edition in force on the day, from :func:`flipkit.rules.packing_rules.packing_rules`.

    Returns
    -------
    str
        ``fair`` for a container of optimal size, ``poor`` for a longer or higher one.

    References
    ----------
    ``materials-handling-2-6`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> import datetime
    >>> from flipkit.rules.packing_rules import packing_rules
    >>> equation = packing_rules(on=datetime.date(2026, 11, 25)).lifting
    >>> carton_coupling(16, 12, equation=equation), carton_coupling(24, 12, equation=equation)
    ('fair', 'poor')
    """
    rule = equation.constants["grip"]
    optimal = front_in <= rule["optimal_front_in"] and height_in <= rule["optimal_height_in"]
    return "fair" if optimal else "poor"


def team_limit_lb(limit_lb: float, people: int, *, equation: LiftingBlock) -> float:
    """What two or three people may lift together: a share of the sum of their limits.

    The lifting equation itself does not speak of teams; the shares are a safety authority's rule
    of thumb, met at second hand.

    Parameters
    ----------
    limit_lb : float
        Limit of one person. [lb]
    people : int
        One, two or three.
    equation : LiftingBlock
        The edition in force on the day, from :func:`flipkit.rules.packing_rules.packing_rules`.

    Returns
    -------
    float
        Limit of the team. [lb]

    Raises
    ------
    MeasureError
        If the number of people is none of these.

    Examples
    --------
    >>> import datetime
    >>> from flipkit.rules.packing_rules import packing_rules
    >>> equation = packing_rules(on=datetime.date(2026, 11, 25)).lifting
    >>> round(team_limit_lb(30.0, 2, equation=equation), 6)
    40.0
    """
    share = {1: 1.0, 2: equation.constants["team"]["two"], 3: equation.constants["team"]["three"]}
    if people not in share:
        raise MeasureError("people", need="1, 2 or 3", got=people, mend="more hands than three: use a truck")
    return limit_lb * people * share[people]
