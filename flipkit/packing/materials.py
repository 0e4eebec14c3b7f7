"""What a corrugated carton may weigh and measure, by the strength printed on it.

The carton rule sets a gross weight and united inches for each burst strength, with an edge-crush
(ECT) strength standing beside it; carriers' working guides are stricter. What a carton bears in a
stack is in :mod:`flipkit.rules.compression`, what its outside costs extra in
:mod:`flipkit.rules.packaging`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from flipkit.errors import MeasureError
from flipkit.rules.blocks import Keys, read_blocks, read_toml
from flipkit.rules.board import WALLS
from flipkit.rules.dated import Block, RuleSet

Packaging = Literal["box", "not in corrugated", "cylinder", "soft pack", "shrink wrap"]
#: Outer packaging in the words of the carriers' rule sets.
PACKAGINGS: tuple[Packaging, ...] = ("box", "not in corrugated", "cylinder", "soft pack", "shrink wrap")
Strength = Literal["carton rule", "carriers' working guide"]


@dataclass(frozen=True)
class Grade:
    """One row of the carton rule.

    Attributes
    ----------
    wall : str
        ``single``, ``double``, ``triple`` or ``solid``.
    burst : int
        Least burst strength. [lb/sq in]
    ect : int or None
        Edge crush that stands for it; None for solid board. [lb/in]
    gross_lb : float
        Most that carton and contents weigh. [lb]
    united_in : float
        Most that outside length + width + height measure. [in]
    facings_lb : float
        Least weight of the facings. [lb per 1,000 sq ft]
    """

    wall: str
    burst: int
    ect: int | None
    gross_lb: float
    united_in: float
    facings_lb: float

    @property
    def text(self) -> str:
        """The grade as a carton's certificate words it."""
        return f"{self.wall} wall, {self.ect} ECT" if self.ect else f"{self.wall} fibre, {self.burst} burst"


@dataclass(frozen=True)
class PackagingTrigger:
    """Something about the outer packaging that carriers charge extra for.

    Attributes
    ----------
    trigger : str
        What it is, in words.
    when : tuple of str
        Packagings that it applies to.
    at_most_in : float or None
        Only when the lowest side is at most this. [in]
    soft_over_in : tuple of float or None
        For a soft pack, only when a side is larger than these, sides sorted. [in]
    """

    trigger: str
    when: tuple[str, ...]
    at_most_in: float | None
    soft_over_in: tuple[float, ...] | None


@dataclass(frozen=True)
class CartonBlock(Block):
    """The carton rule as in force for a time.

    Attributes
    ----------
    grades : tuple of Grade
        Weakest first within each wall.
    guide : dict
        Edge crush to gross weight by carriers' working guide. [lb]
    guide_double_from_ect : int
        Double wall that the guide asks for above its last row.
    dense : tuple of (float, float, int)
        Above, up to, burst needed for dense contents by post. [lb, lb, lb/sq in]
    losses : dict
        Cause to the share of compression strength that is left.
    packaging : tuple of PackagingTrigger
        Extra charges for packaging.
    compression_constant, perimeters_per_depth : float
        Simplified McKee formula, and its limit of depth.
    """

    grades: tuple[Grade, ...]
    guide: dict[int, float]
    guide_double_from_ect: int
    dense: tuple[tuple[float, float, int], ...]
    losses: dict[str, float]
    packaging: tuple[PackagingTrigger, ...]
    compression_constant: float
    perimeters_per_depth: float


def read_cartons(file: Path) -> RuleSet[CartonBlock]:
    """Read the carton rule.

    Parameters
    ----------
    file : Path
        The TOML file.

    Returns
    -------
    RuleSet
        Its blocks.

    Raises
    ------
    RuleTableError
        If a key is missing, unknown or out of range.
    """
    name, blocks = read_blocks(read_toml(file, shown=file.name), file=file.name, kind="cartons", make=_block)
    return RuleSet("cartons", name, file.name, blocks)


def _rows(keys: Keys, name: str) -> list[Keys]:
    rows = keys.tables(name)
    if not rows:
        keys.fail(name, "nothing", "at least one row")
    return rows


def _block(keys: Keys, common: dict[str, Any]) -> CartonBlock:
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
    formula = keys.table("compression")
    if formula is None:
        keys.fail("compression", "nothing", "a table [block.compression]")
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
    """The row of the rule that a carton's certificate names.

    Parameters
    ----------
    text : str
        Such as ``32 ECT``, ``200 burst``, ``double wall, 48 ECT``. A bare number is edge crush
        below 125 and burst from there; a burst strength without a wall means single wall.
    block : CartonBlock
        The rule in force.

    Returns
    -------
    Grade
        Its row.

    Raises
    ------
    MeasureError
        If the rule has no such row.

    Examples
    --------
    >>> import datetime
    >>> from flipkit.rules.packing_rules import packing_rules
    >>> rule = packing_rules(on=datetime.date(2026, 11, 25)).cartons
    >>> carton_grade("32 ECT", block=rule).gross_lb, carton_grade("double 275", block=rule).united_in
    (65.0, 95.0)
    """
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
    """Most that a carton of this strength may weigh with its contents.

    Parameters
    ----------
    grade : Grade
        The carton's row.
    strength : str
        ``carton rule``, or ``carriers' working guide`` for the stricter figures that carriers
        advise for a single parcel; a row that the guide leaves out takes the guide's next lower
        one, and double wall from the guide's mark takes the rule's own figure.
    block : CartonBlock
        The rule in force.

    Returns
    -------
    float
        Gross weight; 0 where the guide allows nothing so weak. [lb]

    Examples
    --------
    >>> import datetime
    >>> from flipkit.rules.packing_rules import packing_rules
    >>> rule = packing_rules(on=datetime.date(2026, 11, 25)).cartons
    >>> grade = carton_grade("32 ECT", block=rule)
    >>> gross_limit_lb(grade, strength="carton rule", block=rule)
    65.0
    >>> gross_limit_lb(grade, strength="carriers' working guide", block=rule)
    30.0
    """
    if strength == "carton rule" or grade.ect is None:
        return grade.gross_lb
    if grade.wall != "single" and grade.ect >= block.guide_double_from_ect:
        return grade.gross_lb
    allowed = [limit for ect, limit in block.guide.items() if ect <= grade.ect]
    return max(allowed, default=0.0)


def grade_needed(gross_lb: float, united_in: float, *, wall: str, block: CartonBlock) -> Grade | None:
    """Weakest row of a wall that the carton rule allows for a weight and a size.

    Parameters
    ----------
    gross_lb : float
        Carton and contents. [lb]
    united_in : float
        Outside length + width + height. [in]
    wall : str
        ``single``, ``double``, ``triple`` or ``solid``.
    block : CartonBlock
        The rule in force.

    Returns
    -------
    Grade or None
        None where no row of this wall is enough.

    Examples
    --------
    >>> import datetime
    >>> from flipkit.rules.packing_rules import packing_rules
    >>> rule = packing_rules(on=datetime.date(2026, 11, 25)).cartons
    >>> grade_needed(30, 55, wall="single", block=rule).ect
    29
    """
    rows = [grade for grade in block.grades if grade.wall == wall]
    return next((grade for grade in rows if gross_lb <= grade.gross_lb and united_in <= grade.united_in), None)


def dense_burst(weight_lb: float, *, block: CartonBlock) -> int:
    """Burst strength that dense contents sent by post need.

    Parameters
    ----------
    weight_lb : float
        Weight of the parcel. [lb]
    block : CartonBlock
        The rule in force.

    Returns
    -------
    int
        Burst strength; 0 where the rule asks for none. [lb/sq in]

    References
    ----------
    ``usps-publication-2`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> import datetime
    >>> from flipkit.rules.packing_rules import packing_rules
    >>> rule = packing_rules(on=datetime.date(2026, 11, 25)).cartons
    >>> dense_burst(20, block=rule), dense_burst(30, block=rule), dense_burst(60, block=rule)
    (0, 200, 275)
    """
    return next((burst for over, to, burst in block.dense if over < weight_lb <= to), 0)
