"""Constants and printed tables of the revised lifting equation, as blocks with dates and sources."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from flipkit.errors import RuleTableError
from flipkit.rules.blocks import Keys, read_blocks, read_table_text, read_toml
from flipkit.rules.dated import Block, RuleSet

DURATIONS = ("short", "moderate", "long")
COUPLINGS = ("good", "fair", "poor")


@dataclass(frozen=True)
class FrequencyTable:
    """Multiplier by lifts a minute, for hands below knuckle height and from there up.

    Attributes
    ----------
    lifts_per_min, low, high : tuple of float
        Rows of one duration class.
    """

    lifts_per_min: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]


@dataclass(frozen=True)
class LiftingBlock(Block):
    """The equation as one edition of the manual gives it.

    Attributes
    ----------
    load_constant_lb : float
        Limit under the best conditions. [lb]
    constants : dict
        Coefficients and bounds by component: horizontal, vertical, distance, asymmetry, duration,
        grip, reach, team.
    tables : dict
        Printed multiplier by printed argument, for horizontal, vertical, distance and asymmetry.
    frequency : dict
        A table a duration class.
    coupling : dict
        Grip to (multiplier below knuckle height, multiplier from there up).
    """

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
    """Read the lifting equation from a folder with ``lifting.toml`` and its printed tables.

    Parameters
    ----------
    folder : Path
        Folder that holds ``lifting.toml``, ``horizontal.csv`` and the other five tables.

    Returns
    -------
    RuleSet
        The equation's editions.

    Raises
    ------
    RuleTableError
        If a file is missing, a key unknown or a multiplier outside 0 to 1.
    """
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
