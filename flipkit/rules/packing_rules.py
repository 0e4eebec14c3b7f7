"""The packing rules in force on a day: lifting, cartons, board and cushioning together."""

from __future__ import annotations

import datetime as dt
import importlib.resources
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from flipkit.packing.materials import CartonBlock, read_cartons
from flipkit.rules.board import BoardBlock, read_board
from flipkit.rules.cushions import CushionBlock, read_cushions
from flipkit.rules.dated import RuleSet
from flipkit.rules.lifting_tables import LiftingBlock, read_lifting


@dataclass(frozen=True)
class PackingRules:
    """One block of each of the four rule sets that a packing plan uses.

    Attributes
    ----------
    lifting : LiftingBlock
        The revised lifting equation.
    cartons : CartonBlock
        What a carton may weigh and measure, and how strong it is.
    board : BoardBlock
        Flutes, calipers and allowances for scores.
    cushions : CushionBlock
        Fragility, drop heights, cushion factors, covers and tape.
    own : tuple of str
        Files taken from the books' folder in place of the packaged ones.
    """

    lifting: LiftingBlock
    cartons: CartonBlock
    board: BoardBlock
    cushions: CushionBlock
    own: tuple[str, ...] = ()


def packing_rules(*, on: dt.date, folder: Path | None = None) -> PackingRules:
    """The packing rules in force on a day, the books' own tables before the packaged ones.

    Parameters
    ----------
    on : datetime.date
        Day of packing.
    folder : Path, optional
        The books' ``rules`` folder; a file of the same name in it (``cartons/carton_rule.toml``,
        ``cartons/flutes.toml``, ``cushions/cushions.toml``, ``lifting/lifting.toml`` with its
        tables) takes the place of the packaged one.

    Returns
    -------
    PackingRules
        The four blocks.

    Raises
    ------
    RuleNotInForceError
        If a rule set has no block for the day.
    RuleTableError
        If a file of the books' folder is malformed.

    Examples
    --------
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
