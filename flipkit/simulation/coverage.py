"""How often the kit's intervals held the truth of simulated shops, as measured and kept in a file."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

#: The file of the tables, which ``tests/benchmarks/bench_calibration.py`` writes.
CALIBRATION = Path(__file__).with_name("calibration.json")


@dataclass(frozen=True)
class Measured:
    """A table of the file, with the day, the version and the seed that it was measured with."""

    table: pd.DataFrame
    made_on: dt.date
    version: str
    seed: int


def calibration() -> dict[str, Measured]:
    """The tables that were measured, by name.

    >>> sorted(set(calibration()["returns"].table["family"]))
    ['mixtures', 'weekly buyers']
    """
    kept: dict[str, Any] = json.loads(CALIBRATION.read_text(encoding="utf-8"))
    return {
        name: Measured(
            pd.DataFrame(one["rows"]), dt.date.fromisoformat(one["made_on"]), str(one["version"]), int(one["seed"])
        )
        for name, one in kept.items()
    }
