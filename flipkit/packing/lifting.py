"""The revised lifting equation: what one person may lift, and how a lift compares with it.

The recommended weight limit is a load constant times six multipliers, one for each thing that
makes a lift harder: reach, height, travel, twist, frequency and grip. The manual prints every
multiplier in a table with two decimals and gives the formula beside it. ``worksheet=True`` works
as its worksheets do: table values where the table has the row, two decimals rounded half up
elsewhere, limit and index to one decimal. Without it everything stays at full precision.

The equation speaks of two-handed lifting and lowering by one person, standing, with a firm
floor and warm enough hands. It does not speak of carrying, pushing, one hand, kneeling, or of
two people: the share for a team comes from another source and says so.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Literal

from flipkit.errors import MeasureError
from flipkit.rules.lifting_tables import LiftingBlock

Coupling = Literal["good", "fair", "poor"]
Duration = Literal["short", "moderate", "long"]


@dataclass(frozen=True)
class WeightLimit:
    """A recommended weight limit with the multipliers that made it.

    Attributes
    ----------
    limit_lb : float
        Recommended weight limit. [lb]
    horizontal, vertical, distance, asymmetry, frequency, coupling : float
        Multipliers from 0 to 1.
    worksheet : bool
        Whether the manual's two-decimal tables were used.
    """

    limit_lb: float
    horizontal: float
    vertical: float
    distance: float
    asymmetry: float
    frequency: float
    coupling: float
    worksheet: bool

    def hardest(self) -> str:
        """The multiplier that lowers the limit most, by name."""
        names = ("horizontal", "vertical", "distance", "asymmetry", "frequency", "coupling")
        return min(names, key=lambda name: float(getattr(self, name)))


def weight_limit(
    *,
    equation: LiftingBlock,
    horizontal_in: float,
    vertical_in: float,
    distance_in: float,
    asymmetry_deg: float,
    lifts_per_min: float,
    duration: Duration,
    coupling: Coupling,
    worksheet: bool = False,
) -> WeightLimit:
    """What nearly every healthy worker may lift under the conditions given.

    Parameters
    ----------
    equation : LiftingBlock
        The edition in force on the day, from :func:`flipkit.rules.packing_rules.packing_rules`.
    horizontal_in : float
        From the middle between the ankles to the middle between the hands. [in]
    vertical_in : float
        Hands above the floor. [in]
    distance_in : float
        How far up or down the hands travel. [in]
    asymmetry_deg : float
        How far the load stands to the side of straight ahead. [deg]
    lifts_per_min : float
        Mean lifts a minute over 15 minutes. [1/min]
    duration : str
        ``short`` (to 1 h), ``moderate`` (to 2 h) or ``long`` (to 8 h), see :func:`lifting_duration`.
    coupling : str
        Grip: ``good``, ``fair`` or ``poor``.
    worksheet : bool
        Whether to work as the manual's worksheets do.

    Returns
    -------
    WeightLimit
        The limit and its multipliers; 0 where a bound of the equation is passed.

    Raises
    ------
    MeasureError
        If a measure is negative or not finite, or a word is unknown.

    References
    ----------
    ``niosh-94-110`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> import datetime
    >>> from flipkit.rules.packing_rules import packing_rules
    >>> equation = packing_rules(on=datetime.date(2026, 11, 25)).lifting
    >>> task = dict(horizontal_in=10, vertical_in=22, distance_in=37, asymmetry_deg=0, lifts_per_min=3)
    >>> weight_limit(equation=equation, **task, duration="short", coupling="fair", worksheet=True).limit_lb
    34.9
    """
    for name, value in (
        ("horizontal_in", horizontal_in),
        ("vertical_in", vertical_in),
        ("distance_in", distance_in),
        ("asymmetry_deg", asymmetry_deg),
        ("lifts_per_min", lifts_per_min),
    ):
        if not math.isfinite(value) or value < 0:
            raise MeasureError(name, need="a finite number of at least 0", got=value)
    for name, word, known in (("duration", duration, equation.frequency), ("coupling", coupling, equation.coupling)):
        if word not in known:
            raise MeasureError(name, need=f"one of {', '.join(known)}", got=word)
    found = {
        "horizontal": _horizontal(equation, horizontal_in, worksheet),
        "vertical": _vertical(equation, vertical_in, worksheet),
        "distance": _distance(equation, distance_in, worksheet),
        "asymmetry": _asymmetry(equation, asymmetry_deg, worksheet),
        "frequency": frequency_multiplier(
            equation=equation,
            lifts_per_min=lifts_per_min,
            duration=duration,
            vertical_in=vertical_in,
            worksheet=worksheet,
        ),
        "coupling": equation.coupling[coupling][int(_high(equation, vertical_in))],
    }
    limit = equation.load_constant_lb * math.prod(found.values())
    return WeightLimit(limit_lb=half_up(limit, 1) if worksheet else limit, worksheet=worksheet, **found)


def frequency_multiplier(
    *,
    equation: LiftingBlock,
    lifts_per_min: float,
    duration: Duration,
    vertical_in: float,
    worksheet: bool = False,
) -> float:
    """Multiplier for how often a lift comes: the table's rows, a straight line between them.

    Parameters
    ----------
    equation : LiftingBlock
        The edition in force on the day, from :func:`flipkit.rules.packing_rules.packing_rules`.
    lifts_per_min : float
        Mean lifts a minute; fewer than one in five minutes count as that. [1/min]
    duration : str
        ``short``, ``moderate`` or ``long``.
    vertical_in : float
        Hands above the floor; the table has one column below 30 in and one from there. [in]
    worksheet : bool
        Whether to round to two decimals, half up.

    Returns
    -------
    float
        The multiplier; 0 above the table's last row.

    Examples
    --------
    >>> import datetime
    >>> from flipkit.rules.packing_rules import packing_rules
    >>> equation = packing_rules(on=datetime.date(2026, 11, 25)).lifting
    >>> frequency_multiplier(equation=equation, lifts_per_min=7, duration="short", vertical_in=36)
    0.7
    """
    table = equation.frequency[duration]
    rates, column = table.lifts_per_min, table.high if _high(equation, vertical_in) else table.low
    if lifts_per_min > rates[-1]:
        return 0.0
    if lifts_per_min in rates:
        return column[rates.index(lifts_per_min)]
    below = bisect_left(rates, lifts_per_min) - 1
    if below >= 0 and column[below + 1] == 0.0:
        return 0.0  # between the last row allowed and the first forbidden one nothing is promised
    if below < 0:
        return column[0]
    share = (lifts_per_min - rates[below]) / (rates[below + 1] - rates[below])
    value = column[below] + share * (column[below + 1] - column[below])
    return half_up(value, 2) if worksheet else value


def lifting_index(load_lb: float, limit: WeightLimit) -> float:
    """How many times the recommended limit a load weighs; above 1 the risk rises for some workers.

    Parameters
    ----------
    load_lb : float
        Weight lifted. [lb]
    limit : WeightLimit
        From :func:`weight_limit`.

    Returns
    -------
    float
        The index, to one decimal in worksheet mode; infinite where the limit is 0.

    Examples
    --------
    >>> import datetime
    >>> from flipkit.rules.packing_rules import packing_rules
    >>> equation = packing_rules(on=datetime.date(2026, 11, 25)).lifting
    >>> task = dict(horizontal_in=20, vertical_in=59, distance_in=37, asymmetry_deg=0, lifts_per_min=3)
    >>> limit = weight_limit(equation=equation, **task, duration="short", coupling="fair", worksheet=True)
    >>> limit.limit_lb, lifting_index(26, limit)
    (15.2, 1.7)
    """
    if limit.limit_lb <= 0:
        return float("inf")
    return half_up(load_lb / limit.limit_lb, 1) if limit.worksheet else load_lb / limit.limit_lb


def half_up(value: float, places: int) -> float:
    """A number rounded half up as the manual rounds, conversion noise aside.

    Parameters
    ----------
    value : float
        The number.
    places : int
        Decimals kept.

    Returns
    -------
    float
        The rounded number.

    Examples
    --------
    >>> half_up(0.925, 2), half_up(1 - 0.0075 * 10, 2)
    (0.93, 0.93)
    """
    # Twelve decimals first: 1 - .0075 x 10 is .925 less one bit, and must still round up.
    exact = Decimal(repr(round(value, 12)))
    return float(exact.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP))


def _high(equation: LiftingBlock, vertical_in: float) -> bool:
    """Whether the hands are at knuckle height or above, where two tables change column."""
    return vertical_in >= equation.constants["vertical"]["knuckle_in"]


def _horizontal(equation: LiftingBlock, value: float, worksheet: bool) -> float:
    rule = equation.constants["horizontal"]
    if value > rule["most_in"]:
        return 0.0
    return _tabled(
        equation.tables["horizontal"], max(value, rule["least_in"]), lambda h: rule["least_in"] / h, worksheet
    )


def _vertical(equation: LiftingBlock, value: float, worksheet: bool) -> float:
    rule = equation.constants["vertical"]
    if value > rule["most_in"]:
        return 0.0
    return _tabled(
        equation.tables["vertical"], value, lambda v: 1 - rule["per_in"] * abs(v - rule["knuckle_in"]), worksheet
    )


def _distance(equation: LiftingBlock, value: float, worksheet: bool) -> float:
    rule = equation.constants["distance"]
    if value > rule["most_in"]:
        return 0.0
    near = max(value, rule["least_in"])
    return _tabled(equation.tables["distance"], near, lambda d: rule["constant"] + rule["over_in"] / d, worksheet)


def _asymmetry(equation: LiftingBlock, value: float, worksheet: bool) -> float:
    rule = equation.constants["asymmetry"]
    if value > rule["most_deg"]:
        return 0.0
    return _tabled(equation.tables["asymmetry"], value, lambda a: 1 - rule["per_deg"] * a, worksheet)


def _tabled(table: dict[float, float], value: float, formula: Callable[[float], float], worksheet: bool) -> float:
    """The formula; in worksheet mode the printed row where there is one, else two decimals."""
    if not worksheet:
        return formula(value)
    return table[value] if value in table else half_up(formula(value), 2)
