"""Corrugated board by flute: caliper, weight and what a score eats."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from flipkit.errors import MeasureError
from flipkit.rules.blocks import Keys, read_blocks, read_toml
from flipkit.rules.dated import Block, RuleSet

WALLS = ("single", "double", "triple", "solid")


@dataclass(frozen=True)
class Flute:
    """One kind of board.

    Attributes
    ----------
    name : str
        Letter or letters, outside first.
    wall : str
        ``single``, ``double`` or ``triple``.
    medium_in : float
        Height of the fluted medium, liners not counted. [in]
    per_foot : int
        Flutes in a foot.
    caliper_in : float
        Thickness of the combined board. [in]
    lb_per_sqft : float
        Weight of the combined board. [lb/sq ft]
    """

    name: str
    wall: str
    medium_in: float
    per_foot: int
    caliper_in: float
    lb_per_sqft: float


@dataclass(frozen=True)
class ScoreAllowance:
    """What is added to inside sizes so that the folded carton measures them.

    Attributes
    ----------
    panel_in, depth_in, flap_in : float
        Added to each panel, to the depth between the flaps, and to each flap. [in]
    joint_in : float
        Lap where the ends of the blank meet. [in]
    """

    panel_in: float
    depth_in: float
    flap_in: float
    joint_in: float


@dataclass(frozen=True)
class BoardBlock(Block):
    """Board as one edition of the sources gives it.

    Attributes
    ----------
    flutes : dict
        Name to :class:`Flute`.
    panel, depth, flap : float
        Allowances in calipers.
    joint_least_in, joint_better_in : float
        Lap of the joint. [in]
    large_over_in, large_in, small_in : float
        Tolerance of a finished carton, by its length + width + depth. [in]
    flap_gap_in : float
        Gap allowed between the outer flaps. [in]
    thumbs : dict
        Name of a style to (lengths, widths, heights, inches) across and along its blank.
    """

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
    """Read the board table.

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
    """Allowances for the scores of a carton of this board.

    Parameters
    ----------
    flute : Flute
        The board.
    block : BoardBlock
        The table in force.

    Returns
    -------
    ScoreAllowance
        In inches, with the better joint.

    References
    ----------
    ``three-ply-blank`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> import datetime
    >>> from flipkit.rules.packing_rules import packing_rules
    >>> board = packing_rules(on=datetime.date(2026, 11, 25)).board
    >>> score_allowance(board.flute("B"), block=board)
    ScoreAllowance(panel_in=0.125, depth_in=0.25, flap_in=0.125, joint_in=1.25)
    """
    caliper = flute.caliper_in
    return ScoreAllowance(block.panel * caliper, block.depth * caliper, block.flap * caliper, block.joint_better_in)


def carton_tolerance_in(length_in: float, width_in: float, depth_in: float, *, block: BoardBlock) -> float:
    """How far a finished slotted carton's sides may lie from the size asked for.

    Parameters
    ----------
    length_in, width_in, depth_in : float
        Inside sizes. [in]
    block : BoardBlock
        The table in force.

    Returns
    -------
    float
        Plus or minus. [in]

    References
    ----------
    ``astm-d5118`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> import datetime
    >>> from flipkit.rules.packing_rules import packing_rules
    >>> carton_tolerance_in(12, 10, 8, block=packing_rules(on=datetime.date(2026, 11, 25)).board)
    0.125
    """
    return block.large_in if length_in + width_in + depth_in > block.large_over_in else block.small_in


def thumb_blank_in(
    style: str, length_in: float, width_in: float, height_in: float, *, block: BoardBlock
) -> tuple[float, float]:
    """Blank of a carton by a rule of thumb, board thickness left out: a check, not a size to cut by.

    Parameters
    ----------
    style : str
        ``slotted carton``, ``lid and base``, ``folding mailer`` or ``tuck-end carton``.
    length_in, width_in, height_in : float
        Of the carton. [in]
    block : BoardBlock
        The table in force.

    Returns
    -------
    tuple of float
        Across and along. [in]

    Raises
    ------
    MeasureError
        If there is no rule for the style.

    References
    ----------
    ``blank-rules-of-thumb`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> import datetime
    >>> from flipkit.rules.packing_rules import packing_rules
    >>> thumb_blank_in("slotted carton", 16, 12, 8, block=packing_rules(on=datetime.date(2026, 11, 25)).board)
    (58.0, 20.0)
    """
    if style not in block.thumbs:
        raise MeasureError("style", need=f"one of {', '.join(block.thumbs)}", got=style)
    across, along = (
        long * length_in + wide * width_in + high * height_in + more for long, wide, high, more in block.thumbs[style]
    )
    return across, along


def _part(keys: Keys, name: str) -> Keys:
    part = keys.table(name)
    if part is None:
        keys.fail(name, "nothing", f"a table [block.{name}]")
    return part
