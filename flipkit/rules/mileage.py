"""What a business mile is worth, by the rate in force on the day of the trip."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from flipkit.money import Cents
from flipkit.rules import blocks as cols
from flipkit.rules.blocks import Block, Keys, RuleSet, read_blocks
from flipkit.units import KM_A_MILE


@dataclass(frozen=True)
class MileageBlock(Block):
    """One dated rate, a mile or a kilometer."""

    tenth_cents: int
    unit: str


@dataclass(frozen=True)
class Mileage(RuleSet[MileageBlock]):
    """Rates a mile, by date."""


def read_mileage(data: Mapping[str, Any], *, file: str) -> Mileage:
    """A mileage table from the content of its TOML file."""
    name, blocks = read_blocks(data, file=file, kind="mileage", make=_block)
    return Mileage(kind="mileage", name=name, file=file, blocks=blocks)


#: No rate ever came near; more is a slip of the pen.
_MOST_CENTS = 10_000


def _block(keys: Keys, common: dict[str, Any]) -> MileageBlock:
    unit = "km" if keys.has("cents_a_km") else "mile"
    key = f"cents_a_{unit}"
    cents = keys.number(key, above=0)
    if cents > _MOST_CENTS:
        keys.fail(key, cents, f"at most {_MOST_CENTS:g}")
    tenths = round(cents * 10)
    if abs(cents * 10 - tenths) > 1e-9:
        keys.fail(key, cents, "a rate to the tenth of a cent")
    return MileageBlock(**common, tenth_cents=tenths, unit=unit)


def mileage_cents(table: Mileage, *, on: object, miles: npt.ArrayLike) -> Cents:
    """What driving is worth at the rate in force on the day.

    >>> import datetime as dt
    >>> from flipkit.rules.tables import load_rules
    >>> mileage_cents(load_rules().mileage, on=dt.date(2026, 3, 1), miles=[10, 12.4]).tolist()
    [725, 899]
    """
    rows = cols.row_count(on=on, miles=miles)
    distance = cols.measures("miles", miles, rows, zero=True)
    block = cols.blocks(table, on, rows)
    rates = np.array([one.tenth_cents for one in table.blocks], dtype=np.int64)
    long = np.array([KM_A_MILE if one.unit == "km" else 1.0 for one in table.blocks])
    driven = np.rint(distance * long[block] * 1000).astype(np.int64)
    return (driven * rates[block] + 5_000) // 10_000
