"""Size classes of a packed parcel, by dated thresholds: small, medium, bulky, oversize."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from flipkit.errors import RuleTableError
from flipkit.rules import columns as cols
from flipkit.rules.blocks import Keys, read_blocks
from flipkit.rules.dated import Block, RuleSet
from flipkit.rules.measuring import parcel_columns
from flipkit.rules.parcel_rules import MEASURES, ParcelRules
from flipkit.units import SNAP

#: From the smallest to the largest.
SIZE_CLASSES = ("small", "medium", "bulky", "oversize")


@dataclass(frozen=True)
class SizeBlock(Block):
    """One dated block of thresholds.

    Parameters
    ----------
    small_at_most : mapping
        Measures that a small parcel does not exceed, all of them.
    bulky_over : mapping
        Measures of which a bulky parcel exceeds one.
    bulky_space_over : float
        Volume above which a parcel is bulky if space is billed above its scale weight. [cu in]
    oversize_group : str
        Group of surcharges of the parcel rules that makes a parcel oversize.
    """

    small_at_most: Mapping[str, float]
    bulky_over: Mapping[str, float]
    bulky_space_over: float
    oversize_group: str


@dataclass(frozen=True)
class SizeClasses(RuleSet[SizeBlock]):
    """Thresholds of the size classes, by date.

    Parameters
    ----------
    parcel_rules : str
        Name of the parcel rule set that says what is billed and what is large.
    rules : ParcelRules or None
        That rule set, once the tables are loaded.
    """

    parcel_rules: str = ""
    rules: ParcelRules | None = None


def read_size_classes(data: Mapping[str, Any], *, file: str) -> SizeClasses:
    """Size classes from the content of their TOML file.

    Parameters
    ----------
    data : mapping
        What ``tomllib`` made of the file.
    file : str
        The file's name in errors.

    Returns
    -------
    SizeClasses
        The thresholds, not yet joined to their parcel rules.

    Raises
    ------
    RuleTableError
        If anything in it is missing, unknown or out of range.
    """
    named: list[str] = []

    def header(top: Keys) -> None:
        named.append(top.text("parcel_rules"))

    name, blocks = read_blocks(data, file=file, kind="size classes", make=_block, header=header)
    return SizeClasses(kind="size classes", name=name, file=file, blocks=blocks, parcel_rules=named[0])


def _block(keys: Keys, common: dict[str, Any]) -> SizeBlock:
    return SizeBlock(
        **common,
        small_at_most=_thresholds(keys, "small", "at_most"),
        bulky_over=_thresholds(keys, "bulky", "over"),
        bulky_space_over=keys.number("bulky_space_over_volume", above=0),
        oversize_group=keys.text("oversize_group"),
    )


def _thresholds(keys: Keys, name: str, end: str) -> dict[str, float]:
    table = keys.table(name) or keys.fail(name, "nothing", f"a table with thresholds such as longest_{end}")
    found = {
        measure: table.number(f"{measure}_{end}", above=0) for measure in MEASURES if table.has(f"{measure}_{end}")
    }
    table.done()
    if not found:
        keys.fail(name, "no threshold", f"at least one, such as longest_{end}")
    return found


def size_class(
    table: SizeClasses,
    *,
    on: object,
    length_in: npt.ArrayLike,
    width_in: npt.ArrayLike,
    height_in: npt.ArrayLike,
    weight_lb: npt.ArrayLike,
    parcel_rules: ParcelRules | None = None,
) -> npt.NDArray[np.object_]:
    """The size class of packed parcels.

    Parameters
    ----------
    table : SizeClasses
        The thresholds; every row meets the block in force on its day.
    on : date or array of dates, shape (n,)
        Days of the question.
    length_in, width_in, height_in : float or array, shape (n,)
        Outside of the packed parcel, in any order. [in]
    weight_lb : float or array, shape (n,)
        What the scale says. [lb]
    parcel_rules : ParcelRules, optional
        The rule set that says what is billed and what is large, in place of the table's own.

    Returns
    -------
    array of str, shape (n,)
        ``small``, ``medium``, ``bulky`` or ``oversize``.

    Raises
    ------
    RuleNotInForceError
        If a day has no block.
    MeasureError
        If a side or a weight is not a finite number above zero.
    RuleTableError
        If the table was not joined to its parcel rules.

    Examples
    --------
    >>> import datetime as dt
    >>> from flipkit.rules.tables import load_rules
    >>> sizes = load_rules().size_classes
    >>> day = dt.date(2026, 10, 1)
    >>> size_class(sizes, on=day, length_in=[9, 58], width_in=[6, 26], height_in=[4, 6], weight_lb=[2, 14]).tolist()
    ['small', 'bulky']
    """
    rules = parcel_rules or table.rules
    if rules is None:
        needed = "the rule set itself: load_rules joins the two, or give parcel_rules"
        raise RuleTableError(
            table.file, key="parcel_rules", found=f"only its name, {table.parcel_rules!r}", needed=needed
        )
    sides: dict[str, Any] = {
        "length_in": length_in,
        "width_in": width_in,
        "height_in": height_in,
        "weight_lb": weight_lb,
    }
    rows = cols.row_count(on=on, **sides)
    found = parcel_columns(rules, on=on, zone=None, **sides)
    exact = {name: cols.measures(name, value, rows) for name, value in sides.items()}
    longest, second, shortest = np.sort(
        np.stack([exact[f"{side}_in"] for side in ("length", "width", "height")]), axis=0
    )[::-1]
    measured = {
        "longest": longest,
        "second": second,
        "shortest": shortest,
        "length_plus_girth": longest + 2 * (second + shortest),
        "volume": longest * second * shortest,
        "weight": exact["weight_lb"],
    }
    index = cols.blocks(table, on, rows)
    classes = np.full(rows, "medium", dtype=object)
    for number, at in cols.groups(index):
        where = slice(None) if at is None else at
        block = table.blocks[number]
        part = {name: values[where] for name, values in measured.items()}
        small = np.logical_and.reduce([part[name] <= limit + SNAP for name, limit in block.small_at_most.items()])
        bulky = np.logical_or.reduce([part[name] > limit + SNAP for name, limit in block.bulky_over.items()])
        bulky |= (part["volume"] > block.bulky_space_over + SNAP) & found["space_pays"][where]
        names = dict.fromkeys(e.name for b in rules.blocks for e in b.surcharges if e.group == block.oversize_group)
        large = found["over_maximum"][where].copy()
        for name in names:
            large |= found[name][where]
        classes[where] = np.select([large, bulky, small], ["oversize", "bulky", "small"], default="medium")
    return classes
