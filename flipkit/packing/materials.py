"""Board, cartons and cushions: what they weigh, bear and soften, with the rules for them."""

from __future__ import annotations

import datetime as dt
import importlib.resources
import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal

from flipkit.errors import MeasureError
from flipkit.packing.lifting import LiftingBlock, read_lifting
from flipkit.rules.blocks import Block, Keys, RuleSet, read_blocks, read_toml
from flipkit.units import Measures

# Corrugated board by flute: caliper, weight and what a score eats.

WALLS = ("single", "double", "triple", "solid")


@dataclass(frozen=True)
class Flute:
    """One kind of board."""

    name: str
    wall: str
    medium_in: float
    per_foot: int
    caliper_in: float
    lb_per_sqft: float  # [lb/sq ft]


@dataclass(frozen=True)
class ScoreAllowance:
    """What is added to inside sizes so that the folded carton measures them."""

    panel_in: float
    depth_in: float
    flap_in: float
    joint_in: float


@dataclass(frozen=True)
class BoardBlock(Block):
    """Board as one edition of the sources gives it."""

    flutes: dict[str, Flute]
    panel: float
    depth: float
    flap: float
    joint_least_in: float
    joint_better_in: float
    large_over_in: float
    large_in: float
    small_in: float
    flap_gap_in: float
    thumbs: dict[str, tuple[tuple[float, ...], tuple[float, ...]]]

    def flute(self, name: str) -> Flute:
        """The board of a flute; a name that is not in the table is an error that lists them."""
        if name not in self.flutes:
            raise MeasureError("flute", need=f"one of {', '.join(self.flutes)}", got=name)
        return self.flutes[name]


def read_board(file: Path) -> RuleSet[BoardBlock]:
    """Read the board table."""

    def make(keys: Keys, common: dict[str, Any]) -> BoardBlock:
        flutes = {}
        for row in keys.tables("flute"):
            flute = Flute(
                name=row.text("name"),
                wall=row.text("wall", among=WALLS),
                medium_in=row.number("medium_in", above=0.0),
                per_foot=row.whole("per_foot", least=1),
                caliper_in=row.number("caliper_in", above=0.0),
                lb_per_sqft=row.number("lb_per_sqft", above=0.0),
            )
            row.done()
            flutes[flute.name] = flute
        if not flutes:
            keys.fail("flute", "nothing", "at least one flute")
        thumbs = {}
        for row in keys.tables("thumb"):
            name = row.text("name")
            thumbs[name] = tuple(
                tuple(row.number(f"{way}_{part}", 0.0) for part in ("length", "width", "height", "in"))
                for way in ("x", "y")
            )
            row.done()
        allowance, joint, tolerance = (_part(keys, name) for name in ("allowance", "joint", "tolerance"))
        block = BoardBlock(
            **common,
            flutes=flutes,
            panel=allowance.number("panel"),
            depth=allowance.number("depth"),
            flap=allowance.number("flap"),
            joint_least_in=joint.number("least_in", above=0.0),
            joint_better_in=joint.number("better_in", above=0.0),
            large_over_in=tolerance.number("large_over_in"),
            large_in=tolerance.number("large_in"),
            small_in=tolerance.number("small_in"),
            flap_gap_in=tolerance.number("flap_gap_in"),
            thumbs=thumbs,  # type: ignore[arg-type]
        )
        for part in (allowance, joint, tolerance):
            part.done()
        return block

    name, blocks = read_blocks(read_toml(file, shown=file.name), file=file.name, kind="board", make=make)
    return RuleSet("board", name, file.name, blocks)


def score_allowance(flute: Flute, *, block: BoardBlock) -> ScoreAllowance:
    """Allowances for the scores of a carton of this board."""
    caliper = flute.caliper_in
    return ScoreAllowance(block.panel * caliper, block.depth * caliper, block.flap * caliper, block.joint_better_in)


def _part(keys: Keys, name: str) -> Keys:
    part = keys.table(name)
    if part is None:
        keys.fail(name, "nothing", f"a table [block.{name}]")
    return part


# What a corrugated carton may weigh and measure, by the strength printed on it.
#
# The carton rule sets a gross weight and united inches for each burst strength, with an edge-crush (ECT) strength
# standing beside it; carriers' working guides are stricter. What a carton bears in a stack is in
# :mod:`flipkit.packing.materials`, what its outside costs extra in :mod:`flipkit.packing.materials`.

Packaging = Literal["box", "not in corrugated", "cylinder", "soft pack", "shrink wrap"]
#: Outer packaging in the words of the carriers' rule sets.
PACKAGINGS: tuple[Packaging, ...] = ("box", "not in corrugated", "cylinder", "soft pack", "shrink wrap")
Strength = Literal["carton rule", "carriers' working guide"]


@dataclass(frozen=True)
class Grade:
    """One row of the carton rule."""

    wall: str
    burst: int  # [lb/sq in]
    ect: int | None  # [lb/in]
    gross_lb: float
    united_in: float
    facings_lb: float

    @property
    def text(self) -> str:
        """The grade as a carton's certificate words it."""
        return f"{self.wall} wall, {self.ect} ECT" if self.ect else f"{self.wall} fibre, {self.burst} burst"


@dataclass(frozen=True)
class PackagingTrigger:
    """Something about the outer packaging that carriers charge extra for."""

    trigger: str
    when: tuple[str, ...]
    at_most_in: float | None
    soft_over_in: tuple[float, ...] | None


@dataclass(frozen=True)
class CartonBlock(Block):
    """The carton rule as in force for a time."""

    grades: tuple[Grade, ...]
    guide: dict[int, float]  # [lb]
    guide_double_from_ect: int
    dense: tuple[tuple[float, float, int], ...]  # [lb, lb, lb/sq in]
    losses: dict[str, float]
    packaging: tuple[PackagingTrigger, ...]
    compression_constant: float
    perimeters_per_depth: float


def read_cartons(file: Path) -> RuleSet[CartonBlock]:
    """Read the carton rule."""
    name, blocks = read_blocks(read_toml(file, shown=file.name), file=file.name, kind="cartons", make=_carton_block)
    return RuleSet("cartons", name, file.name, blocks)


def _rows(keys: Keys, name: str) -> list[Keys]:
    rows = keys.tables(name)
    if not rows:
        keys.fail(name, "nothing", "at least one row")
    return rows


def _carton_block(keys: Keys, common: dict[str, Any]) -> CartonBlock:
    grades = tuple(
        Grade(
            wall=row.text("wall", among=WALLS),
            burst=row.whole("burst", least=1),
            ect=row.whole("ect", None, least=1),
            gross_lb=row.number("gross_lb", above=0.0),
            united_in=row.number("united_in", above=0.0),
            facings_lb=row.number("facings_lb", above=0.0),
        )
        for row in _rows(keys, "grade")
    )
    guide = {row.whole("ect", least=1): row.number("gross_lb", above=0.0) for row in _rows(keys, "guide")}
    dense = tuple(
        (row.number("over_lb"), row.number("to_lb", above=0.0), row.whole("burst", least=1))
        for row in _rows(keys, "dense")
    )
    losses = {row.text("cause"): row.number("keeps", above=0.0) for row in _rows(keys, "loss")}
    packaging = tuple(_trigger(row) for row in _rows(keys, "packaging"))
    formula = _part(keys, "compression")
    block = CartonBlock(
        **common,
        grades=grades,
        guide=guide,
        guide_double_from_ect=keys.whole("guide_double_from_ect", least=1),
        dense=dense,
        losses=losses,
        packaging=packaging,
        compression_constant=formula.number("constant", above=0.0),
        perimeters_per_depth=formula.number("perimeters_per_depth", above=0.0),
    )
    formula.done()
    return block


def _trigger(row: Keys) -> PackagingTrigger:
    trigger, when = row.text("trigger"), row.texts("when", among=PACKAGINGS)
    at_most = row.number("at_most_in", None, above=0.0)
    names = ("soft_length_in", "soft_width_in", "soft_height_in")
    soft = tuple(row.number(name, above=0.0) for name in names) if row.has(names[0]) else None
    row.done()
    return PackagingTrigger(trigger, when, at_most, soft)


_GRADE_TEXT = re.compile(r"(?:(single|double|triple|solid)(?:[ -]?wall)?,?\s*)?(\d+)\s*(ECT|burst|test)?", re.I)


def carton_grade(text: str, *, block: CartonBlock) -> Grade:
    """The row of the rule that a carton's certificate names."""
    known = ", ".join(f"{grade.ect} ECT" for grade in block.grades if grade.ect)
    match = _GRADE_TEXT.fullmatch(text.strip())
    if match is None:
        raise MeasureError("grade", need="a strength such as 32 ECT or 200 burst", got=text, mend=f"known: {known}")
    wall, value, word = (match[1] or "").lower(), int(match[2]), (match[3] or "").lower()
    weakest_burst = min(grade.burst for grade in block.grades)
    by_ect = word == "ect" or (not word and value < weakest_burst)
    rows = [grade for grade in block.grades if (grade.ect if by_ect else grade.burst) == value]
    rows = [grade for grade in rows if grade.wall == wall] if wall else rows
    if not rows:
        raise MeasureError("grade", need=f"a row of the carton rule ({known})", got=text)
    return rows[0]


def gross_limit_lb(grade: Grade, *, strength: Strength, block: CartonBlock) -> float:
    """Most that a carton of this strength may weigh with its contents."""
    if strength == "carton rule" or grade.ect is None:
        return grade.gross_lb
    if grade.wall != "single" and grade.ect >= block.guide_double_from_ect:
        return grade.gross_lb
    allowed = [limit for ect, limit in block.guide.items() if ect <= grade.ect]
    return max(allowed, default=0.0)


def dense_burst(weight_lb: float, *, block: CartonBlock) -> int:
    """Burst strength that dense contents sent by post need.

    >>> import datetime
    >>> from flipkit.packing.materials import packing_rules
    >>> rule = packing_rules(on=datetime.date(2026, 11, 25)).cartons
    >>> dense_burst(20, block=rule), dense_burst(30, block=rule), dense_burst(60, block=rule)
    (0, 200, 275)
    """
    return next((burst for over, to, burst in block.dense if over < weight_lb <= to), 0)


# What a slotted carton bears from above, by the simplified McKee formula, and when that holds.
#
# An estimate of the load under which a new, dry, empty carton fails in a laboratory. It is no safe load and no
# certificate: time, damp air, a crushed corner and every earlier trip take from it.


def box_compression_lb(
    length_in: float, width_in: float, *, ect_lb_per_in: float, caliper_in: float, block: CartonBlock
) -> float:
    """Load under which a slotted carton fails in a laboratory, by the simplified McKee formula.

    Constant x edge crush x square root of (caliper x perimeter). It holds for a regular
    slotted carton with its flutes upright, new and dry; the height does not enter. See
    :func:`compression_scope` for what takes a carton out of it.
    """
    for name, value in (
        ("length_in", length_in),
        ("width_in", width_in),
        ("ect_lb_per_in", ect_lb_per_in),
        ("caliper_in", caliper_in),
    ):
        if not (math.isfinite(value) and value > 0):
            raise MeasureError(name, need="a finite number above 0", got=value)
    perimeter = 2.0 * (length_in + width_in)
    return block.compression_constant * ect_lb_per_in * math.sqrt(caliper_in * perimeter)


def compression_scope(
    length_in: float,
    width_in: float,
    depth_in: float,
    *,
    slotted: bool,
    flutes_upright: bool,
    block: CartonBlock,
    measures: Measures | None = None,
) -> list[str]:
    """Why the compression formula does not hold for a carton; nothing where it does."""
    reasons = []
    if not slotted:
        reasons.append("not a regular slotted carton")
    if not flutes_upright:
        reasons.append("its flutes do not stand upright")
    perimeter = 2.0 * (length_in + width_in)
    if depth_in * block.perimeters_per_depth < perimeter:
        said = measures or Measures()
        deep, around = said.span(depth_in, spec="g"), said.span(perimeter, spec="g")
        reasons.append(f"{deep} deep, less than a seventh of its {around} perimeter")
    return reasons


def stacking_load_lb(compression_lb: float, *, causes: Sequence[str], block: CartonBlock) -> float:
    """What is left of a carton's compression strength after time and damp have taken their share."""
    left = compression_lb
    for cause in causes:
        if cause not in block.losses:
            raise MeasureError("cause", need=f"one of {', '.join(block.losses)}", got=cause)
        left *= block.losses[cause]
    return left


# What a cushion lets through: G = C h / T at the best point of its curve.


@dataclass(frozen=True)
class Fragility:
    """How much shock a class of things survives."""

    name: str
    g: float | None
    clearance_in: float
    such_as: str


@dataclass(frozen=True)
class CushionMaterial:
    """A kind of cushioning."""

    name: str
    factor: float
    best_psi: float  # [lb/sq in] for a cushion as thick as the fall is high
    lb_per_cuft: float  # [lb/cu ft]


@dataclass(frozen=True)
class CushionBlock(Block):
    """Cushioning as one edition of the sources gives it."""

    fragility: dict[str, Fragility]
    drops: tuple[tuple[float, float, float], ...]  # [lb, in, in]
    drop_above_in: float
    materials: dict[str, CushionMaterial]
    wall: tuple[str, float]  # its material and thickness [in]
    sheets: dict[str, float]  # [in]
    tape_past_edge_in: float
    tape_strips: int

    def fragility_class(self, name: str) -> Fragility:
        """A fragility class by name; an unknown name is an error that lists them."""
        if name not in self.fragility:
            raise MeasureError("fragility", need=f"one of {', '.join(self.fragility)}", got=name)
        return self.fragility[name]


_SHEETS = (
    "overwrap_in",
    "liner_width_in",
    "liner_length_in",
    "pallet_width_in",
    "pallet_length_in",
    "drum_pi",
    "drum_length_in",
    "bag_mil_divisor",
)


def read_cushions(file: Path) -> RuleSet[CushionBlock]:
    """Read the cushioning table."""
    name, blocks = read_blocks(read_toml(file, shown=file.name), file=file.name, kind="cushions", make=_cushion_block)
    return RuleSet("cushions", name, file.name, blocks)


def _cushion_block(keys: Keys, common: dict[str, Any]) -> CushionBlock:
    fragility = {}
    for row in keys.tables("fragility"):
        found = Fragility(
            name=row.text("name"),
            g=row.number("g", None, above=0.0),
            clearance_in=row.number("clearance_in"),
            such_as=row.text("such_as"),
        )
        row.done()
        fragility[found.name] = found
    drops = []
    for row in keys.tables("drop"):
        drops.append(tuple(row.number(name, above=0.0) for name in ("below_lb", "height_in", "rough_in")))
        row.done()
    if not drops or [drop[0] for drop in drops] != sorted({drop[0] for drop in drops}):
        keys.fail("drop", [drop[0] for drop in drops], "rows of rising weight")
    materials = {}
    for row in keys.tables("material"):
        material = CushionMaterial(
            row.text("name"),
            row.number("factor", above=0.0),
            row.number("best_psi", above=0.0),
            row.number("lb_per_cuft", above=0.0),
        )
        row.done()
        materials[material.name] = material
    sheets, tape, wall = (_part(keys, name) for name in ("sheets", "tape", "wall"))
    block = CushionBlock(
        **common,
        fragility=fragility,
        drops=tuple(drops),
        drop_above_in=keys.number("drop_above_in", above=0.0),
        materials=materials,
        wall=(wall.text("material", among=list(materials)), wall.number("thickness_in", above=0.0)),
        sheets={name: sheets.number(name, above=0.0) for name in _SHEETS},
        tape_past_edge_in=tape.number("past_edge_in"),
        tape_strips=tape.whole("strips", least=1),
    )
    for part in (sheets, tape, wall):
        part.done()
    return block


def drop_height_in(weight_lb: float, *, rough: bool, block: CushionBlock) -> float:
    """Height from which a parcel of this weight must expect to fall."""
    if not (math.isfinite(weight_lb) and weight_lb >= 0):
        raise MeasureError("weight_lb", need="a finite number of at least 0", got=weight_lb)
    row = next((drop for drop in block.drops if weight_lb < drop[0]), None)
    return block.drop_above_in if row is None else row[2 if rough else 1]


# What carriers charge extra for because of the outer packaging, whatever is inside.


def packaging_triggers(packaging: Packaging, sides_in: Sequence[float], *, block: CartonBlock) -> tuple[str, ...]:
    """What about the outer packaging makes carriers charge extra handling, in words.

    >>> import datetime
    >>> from flipkit.packing.materials import packing_rules
    >>> rule = packing_rules(on=datetime.date(2026, 11, 25)).cartons
    >>> packaging_triggers("cylinder", [30, 4, 4], block=rule), packaging_triggers("box", [9, 9, 9], block=rule)
    (('a cylinder',), ())
    """
    sides = sorted(sides_in, reverse=True)
    found = []
    for rule in block.packaging:
        if packaging not in rule.when:
            continue
        if rule.at_most_in is not None and sides[-1] > rule.at_most_in:
            continue
        if packaging == "soft pack" and rule.soft_over_in is not None:
            large = sorted(rule.soft_over_in, reverse=True)
            if all(side <= most for side, most in zip(sides, large, strict=True)):
                continue
        found.append(rule.trigger)
    return tuple(found)


# The packing rules in force on a day: lifting, cartons, board and cushioning together.


@dataclass(frozen=True)
class PackingRules:
    """One block of each of the four rule sets that a packing plan uses."""

    lifting: LiftingBlock
    cartons: CartonBlock
    board: BoardBlock
    cushions: CushionBlock
    own: tuple[str, ...] = ()


def packing_rules(*, on: dt.date, folder: Path | None = None) -> PackingRules:
    """The packing rules in force on a day, the books' own tables before the packaged ones.

    >>> packing_rules(on=dt.date(2026, 11, 25)).lifting.load_constant_lb
    51.0
    """
    found: dict[str, Any] = {}
    own = []
    for part, file, read in _PARTS:
        path = folder / file if folder is not None else None
        if path is not None and path.exists():
            own.append(file)
            found[part] = read(path.parent if part == "lifting" else path).at(on)
        else:
            found[part] = _packaged(part).at(on)
    return PackingRules(**found, own=tuple(own))


_PARTS: tuple[tuple[str, str, Callable[[Path], RuleSet[Any]]], ...] = (
    ("lifting", "lifting/lifting.toml", read_lifting),
    ("cartons", "cartons/carton_rule.toml", read_cartons),
    ("board", "cartons/flutes.toml", read_board),
    ("cushions", "cushions/cushions.toml", read_cushions),
)


@cache
def _packaged(part: str) -> RuleSet[Any]:
    file, read = next((file, read) for name, file, read in _PARTS if name == part)
    with importlib.resources.as_file(importlib.resources.files("flipkit.rules") / "data") as data:
        path = data / file
        return read(path.parent if part == "lifting" else path)
