"""How much cushioning an item needs: T = C h / G."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from flipkit.errors import MeasureError
from flipkit.rules.blocks import Keys, read_blocks, read_toml
from flipkit.rules.dated import Block, RuleSet


@dataclass(frozen=True)
class Fragility:
    """How much shock a class of things survives.

    Attributes
    ----------
    name : str
        The class in words.
    g : float or None
        Lower end of what it survives, in multiples of gravity; None where nothing can break.
    clearance_in : float
        Least distance to every wall. [in]
    such_as : str
        Examples.
    """

    name: str
    g: float | None
    clearance_in: float
    such_as: str


@dataclass(frozen=True)
class CushionMaterial:
    """A kind of cushioning.

    Attributes
    ----------
    name : str
        What it is called.
    factor : float
        Cushion factor C near the best point of its curve.
    lb_per_cuft : float
        Weight. [lb/cu ft]
    """

    name: str
    factor: float
    lb_per_cuft: float


@dataclass(frozen=True)
class CushionBlock(Block):
    """Cushioning as one edition of the sources gives it.

    Attributes
    ----------
    fragility : dict
        Class name to :class:`Fragility`, most fragile first.
    drops : tuple of (float, float, float)
        Below this weight, height, height for rougher handling. [lb, in, in]
    drop_above_in : float
        Height for what is heavier than the last row. [in]
    materials : dict
        Name to :class:`CushionMaterial`.
    sheets : dict
        Allowances of the flat covers. [in]
    tape_past_edge_in : float
        How far tape runs past an edge. [in]
    tape_strips : int
        Strips a face in the H closure.
    """

    fragility: dict[str, Fragility]
    drops: tuple[tuple[float, float, float], ...]
    drop_above_in: float
    materials: dict[str, CushionMaterial]
    sheets: dict[str, float]
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
    """Read the cushioning table.

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
    name, blocks = read_blocks(read_toml(file, shown=file.name), file=file.name, kind="cushions", make=_block)
    return RuleSet("cushions", name, file.name, blocks)


def _block(keys: Keys, common: dict[str, Any]) -> CushionBlock:
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
            row.text("name"), row.number("factor", above=0.0), row.number("lb_per_cuft", above=0.0)
        )
        row.done()
        materials[material.name] = material
    sheets, tape = keys.table("sheets"), keys.table("tape")
    if sheets is None or tape is None:
        keys.fail("sheets" if sheets is None else "tape", "nothing", "a table")
    block = CushionBlock(
        **common,
        fragility=fragility,
        drops=tuple(drops),
        drop_above_in=keys.number("drop_above_in", above=0.0),
        materials=materials,
        sheets={name: sheets.number(name, above=0.0) for name in _SHEETS},
        tape_past_edge_in=tape.number("past_edge_in"),
        tape_strips=tape.whole("strips", least=1),
    )
    sheets.done()
    tape.done()
    return block


def drop_height_in(weight_lb: float, *, rough: bool, block: CushionBlock) -> float:
    """Height from which a parcel of this weight must expect to fall.

    Parameters
    ----------
    weight_lb : float
        Weight of the parcel. [lb]
    rough : bool
        Whether to take the column for rougher handling.
    block : CushionBlock
        The table in force.

    Returns
    -------
    float
        Free-fall height. [in]

    References
    ----------
    ``drop-heights`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> import datetime
    >>> from flipkit.rules.packing_rules import packing_rules
    >>> table = packing_rules(on=datetime.date(2026, 11, 25)).cushions
    >>> drop_height_in(20.9, rough=False, block=table), drop_height_in(21, rough=True, block=table)
    (30.0, 32.0)
    """
    if not (math.isfinite(weight_lb) and weight_lb >= 0):
        raise MeasureError("weight_lb", need="a finite number of at least 0", got=weight_lb)
    row = next((drop for drop in block.drops if weight_lb < drop[0]), None)
    return block.drop_above_in if row is None else row[2 if rough else 1]


def cushion_thickness_in(cushion_factor: float, drop_in: float, fragility_g: float) -> float:
    """Cushion that brings a fall's shock down to what the item survives: T = C h / G.

    Parameters
    ----------
    cushion_factor : float
        C of the material, from its curve at the load that it will carry.
    drop_in : float
        Height h of the fall. [in]
    fragility_g : float
        Shock G that the item survives, in multiples of gravity.

    Returns
    -------
    float
        Thickness T on every side. [in]

    Raises
    ------
    MeasureError
        If a value is not above zero.

    References
    ----------
    ``cushion-formula`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> cushion_thickness_in(3, 30, 50)
    1.8
    """
    for name, value in (("cushion_factor", cushion_factor), ("drop_in", drop_in), ("fragility_g", fragility_g)):
        if not (math.isfinite(value) and value > 0):
            raise MeasureError(name, need="a finite number above 0", got=value)
    return cushion_factor * drop_in / fragility_g
