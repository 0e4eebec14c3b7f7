"""What one person may lift, by the revised lifting equation and its printed tables."""

from __future__ import annotations

import csv
import itertools
import math
from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from flipkit.assumptions import Assumptions
from flipkit.errors import MeasureError, RuleTableError
from flipkit.rules.blocks import Block, Keys, RuleSet, read_blocks, read_table_text, read_toml

# Constants and printed tables of the revised lifting equation, as blocks with dates and sources.

Floats = npt.NDArray[np.float64]
DURATIONS = ("short", "moderate", "long")
COUPLINGS = ("good", "fair", "poor")


@dataclass(frozen=True)
class FrequencyTable:
    """Multiplier by lifts a minute, for hands below knuckle height and from there up."""

    lifts_per_min: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]


@dataclass(frozen=True)
class LiftingBlock(Block):
    """The equation as one edition of the manual gives it."""

    load_constant_lb: float
    constants: dict[str, dict[str, float]]
    tables: dict[str, dict[float, float]]
    frequency: dict[str, FrequencyTable]
    coupling: dict[str, tuple[float, float]]


_CONSTANTS = {
    "horizontal": ("least_in", "most_in"),
    "vertical": ("knuckle_in", "per_in", "most_in"),
    "distance": ("constant", "over_in", "least_in", "most_in"),
    "asymmetry": ("per_deg", "most_deg"),
    "duration": ("short_min", "moderate_min", "long_min", "recovery_short", "recovery_moderate"),
    "grip": ("optimal_front_in", "optimal_height_in"),
    "reach": ("low_hands_in", "low_in", "high_in"),
    "team": ("two", "three"),
}
_TABLES = {
    "horizontal": "horizontal_in",
    "vertical": "vertical_in",
    "distance": "distance_in",
    "asymmetry": "angle_deg",
}


def read_lifting(folder: Path) -> RuleSet[LiftingBlock]:
    """Read the lifting equation from a folder with ``lifting.toml`` and its printed tables."""
    tables = {name: _pairs(folder / f"{name}.csv", head) for name, head in _TABLES.items()}
    frequency = _frequency(folder / "frequency.csv")
    coupling = _coupling(folder / "coupling.csv")

    def make(keys: Keys, common: dict[str, Any]) -> LiftingBlock:
        constants = {}
        load = keys.number("load_constant_lb", above=0.0)
        for part, names in _CONSTANTS.items():
            inner = keys.table(part)
            if inner is None:
                keys.fail(part, "nothing", f"a table [block.{part}]")
            constants[part] = {name: inner.number(name) for name in names}
            inner.done()
        return LiftingBlock(
            **common,
            load_constant_lb=load,
            constants=constants,
            tables=tables,
            frequency=frequency,
            coupling=coupling,
        )

    file = folder / "lifting.toml"
    name, blocks = read_blocks(read_toml(file, shown=file.name), file=file.name, kind="lifting", make=make)
    return RuleSet("lifting", name, file.name, blocks)


def _columns(file: Path, heads: tuple[str, ...]) -> list[dict[str, str]]:
    if not file.exists():
        raise RuleTableError(file.name, found="no such file", needed="a CSV with columns " + ", ".join(heads))
    rows = list(csv.DictReader(read_table_text(file, shown=file.name).splitlines()))
    found = tuple(rows[0]) if rows else ()
    if found != heads:
        raise RuleTableError(file.name, key="header", found=found, needed="columns " + ", ".join(heads))
    return rows


def _number(file: Path, row: int, head: str, text: str, most: float | None = None) -> float:
    try:
        value = float(text)
    except (TypeError, ValueError):
        value = float("nan")
    if not (value >= 0 and (most is None or value <= most)):
        needed = "a number of at least 0" if most is None else f"a number from 0 to {most:g}"
        raise RuleTableError(file.name, block=f"row {row}", key=head, found=text, needed=needed)
    return value


def _pairs(file: Path, head: str) -> dict[float, float]:
    rows = _columns(file, (head, "multiplier"))
    return {
        _number(file, place, head, row[head]): _number(file, place, "multiplier", row["multiplier"], 1.0)
        for place, row in enumerate(rows, start=2)
    }


def _frequency(file: Path) -> dict[str, FrequencyTable]:
    heads = ("lifts_per_min", "duration", "below_30_in", "at_30_in_or_above")
    rows = _columns(file, heads)
    found = {}
    for duration in DURATIONS:
        chosen = [(place, row) for place, row in enumerate(rows, start=2) if row["duration"] == duration]
        columns = [
            tuple(_number(file, place, head, row[head], most) for place, row in chosen)
            for head, most in ((heads[0], None), (heads[2], 1.0), (heads[3], 1.0))
        ]
        if not columns[0] or list(columns[0]) != sorted(set(columns[0])):
            raise RuleTableError(
                file.name, block=duration, key=heads[0], found=columns[0], needed="rising lifts a minute"
            )
        found[duration] = FrequencyTable(*columns)
    return found


def _coupling(file: Path) -> dict[str, tuple[float, float]]:
    heads = ("coupling", "below_30_in", "at_30_in_or_above")
    rows = _columns(file, heads)
    found = {
        row["coupling"]: (
            _number(file, place, heads[1], row[heads[1]], 1.0),
            _number(file, place, heads[2], row[heads[2]], 1.0),
        )
        for place, row in enumerate(rows, start=2)
    }
    if tuple(found) != COUPLINGS:
        raise RuleTableError(file.name, key="coupling", found=tuple(found), needed=", ".join(COUPLINGS))
    return found


# The revised lifting equation: what one person may lift, and how a lift compares with it.
#
# The recommended weight limit is a load constant times six multipliers, one for each thing that makes a lift
# harder: reach, height, travel, twist, frequency and grip. The manual prints every multiplier in a table with two
# decimals and gives the formula beside it. ``worksheet=True`` works as its worksheets do: table values where the
# table has the row, two decimals rounded half up elsewhere, limit and index to one decimal. Without it everything
# stays at full precision.
#
# The equation speaks of two-handed lifting and lowering by one person, standing, with a firm floor and warm enough
# hands. It does not speak of carrying, pushing, one hand, kneeling, or of two people: the share for a team comes
# from another source and says so.

Coupling = Literal["good", "fair", "poor"]
Duration = Literal["short", "moderate", "long"]


@dataclass(frozen=True)
class WeightLimit:
    """A recommended weight limit with the multipliers that made it."""

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
    """What nearly every healthy worker may lift under the conditions given."""
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
    """Multiplier for how often a lift comes: the table's rows, a straight line between them."""
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
    """How many times the recommended limit a load weighs; above 1 the risk rises for some workers."""
    if limit.limit_lb <= 0:
        return float("inf")
    return half_up(load_lb / limit.limit_lb, 1) if limit.worksheet else load_lb / limit.limit_lb


def half_up(value: float, places: int) -> float:
    """A number rounded half up as the manual rounds, conversion noise aside.

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


# Whole lifting jobs: duration class, mean frequency, several tasks, reach, grip and teams.


def reach_in(width_in: Any, vertical_in: float, *, equation: LiftingBlock) -> Any:
    """Horizontal distance of a carton held against the body, when it is not measured."""
    rule = equation.constants["reach"]
    return rule["low_in" if vertical_in < rule["low_hands_in"] else "high_in"] + width_in / 2


def carton_coupling(front_in: float, height_in: float, *, equation: LiftingBlock) -> Coupling:
    """Grip on a plain carton without handholds, fingers flexed under it."""
    rule = equation.constants["grip"]
    optimal = front_in <= rule["optimal_front_in"] and height_in <= rule["optimal_height_in"]
    return "fair" if optimal else "poor"


def team_limit_lb(limit_lb: float, people: int, *, equation: LiftingBlock) -> float:
    """What two or three people may lift together: a share of the sum of their limits.

    The lifting equation itself does not speak of teams; the shares are a safety authority's rule
    of thumb, met at second hand.
    """
    share = {1: 1.0, 2: equation.constants["team"]["two"], 3: equation.constants["team"]["three"]}
    if people not in share:
        raise MeasureError("people", need="1, 2 or 3", got=people, mend="more hands than three: use a truck")
    return limit_lb * people * share[people]


# How many people a parcel takes: pick-up and carry-out against the revised lifting equation.


@dataclass(frozen=True)
class Hands:
    """Who lifts a parcel, and why."""

    people: int
    limit_lb: float
    team_limit_lb: float
    lifting_index: float
    enough: bool
    hardest: str
    why: str


def hands(
    sides_in: tuple[float, float, float],
    weight_lb: float,
    *,
    equation: LiftingBlock,
    assumptions: Assumptions,
    worksheet: bool = False,
) -> Hands:
    """People that a packed parcel takes to pick up and carry out.

    The parcel is held with its shortest side pointing away from the body, its longest across, and
    lifted from the packing table, or the floor if it is long, to the place of hand-over. Two
    people stand at its ends and reach no farther than assumed for a team. The equation covers the
    two lifts, not the way between them.
    """
    away, height, front = sorted(sides_in)
    start = 0.0 if front > assumptions.number("packing.floor_over_in") else assumptions.number("packing.table_in")
    end = assumptions.number("packing.hand_over_in")
    travel, grip = abs(end - start), carton_coupling(front, height, equation=equation)
    most_reach = assumptions.number("packing.team_reach_in")

    def lower(reach: float) -> WeightLimit:
        found = (
            _limit(
                at, travel, min(reach_in(away, at, equation=equation), reach), grip, equation, assumptions, worksheet
            )
            for at in (start, end)
        )
        return min(found, key=lambda one: one.limit_lb)

    limit = lower(float("inf"))
    index = weight_lb / limit.limit_lb if limit.limit_lb > 0 else float("inf")
    most = assumptions.number("packing.lifting_index")
    long, said = assumptions.number("packing.long_in"), assumptions.measures
    reasons = []
    if index > most:
        reasons.append(
            f"{said.mass(weight_lb)} against a recommended limit of {said.mass(limit.limit_lb)} for one person"
            if limit.limit_lb > 0
            else f"{said.span(away)} deep, too far from the body for one person to hold"
        )
    if front > long:
        reasons.append(f"{said.span(front)} long, more than the {said.span(long, spec='g')} that one person handles")
    people = 2 if reasons else 1
    # Only a deep parcel is out of reach: for any other the team's limit follows from the one person's.
    deep = max(reach_in(away, at, equation=equation) for at in (start, end)) > most_reach
    together = team_limit_lb((lower(most_reach) if deep else limit).limit_lb, 2, equation=equation)
    enough = weight_lb <= most * (together if people == 2 else limit.limit_lb)
    return Hands(people, limit.limit_lb, together, index, enough, limit.hardest(), " and ".join(reasons))


def two_needed(
    sides_in: Floats, weight_lb: Floats, *, equation: LiftingBlock, assumptions: Assumptions
) -> npt.NDArray[np.bool_]:
    """Which of many parcels take two people, a row each, as :func:`hands` tells of one."""
    away, height, front = np.sort(sides_in, axis=1).T
    rule, grip = equation.constants["horizontal"], equation.constants["grip"]
    on_floor = front > assumptions.number("packing.floor_over_in")
    fair = (front <= grip["optimal_front_in"]) & (height <= grip["optimal_height_in"])
    end = assumptions.number("packing.hand_over_in")
    limit = np.zeros(front.size)
    for low, coupling in itertools.product((False, True), ("fair", "poor")):
        rows = np.flatnonzero((on_floor == low) & (fair == (coupling == "fair")))
        start = 0.0 if low else assumptions.number("packing.table_in")
        for at in (start, end) if rows.size else ():
            # Only the reach differs between these parcels: the limit of the nearest one, by its multiplier.
            near = _limit(at, abs(end - start), rule["least_in"], coupling, equation, assumptions, False).limit_lb
            reach = reach_in(away[rows], at, equation=equation)
            far = np.where(reach > rule["most_in"], 0.0, near * rule["least_in"] / np.maximum(reach, rule["least_in"]))
            limit[rows] = far if at == start else np.minimum(limit[rows], far)
    over = weight_lb > assumptions.number("packing.lifting_index") * limit
    return np.asarray(over | (front > assumptions.number("packing.long_in")))


def _limit(
    at_in: float,
    travel_in: float,
    reach_in: float,
    coupling: str,
    equation: LiftingBlock,
    assumptions: Assumptions,
    worksheet: bool,
) -> WeightLimit:
    return weight_limit(
        equation=equation,
        horizontal_in=reach_in,
        vertical_in=at_in,
        distance_in=travel_in,
        asymmetry_deg=0.0,
        lifts_per_min=assumptions.number("packing.lifts_per_min"),
        duration="short",
        coupling=coupling,  # type: ignore[arg-type]
        worksheet=worksheet,
    )
