"""Frames as the analysis hands them to charts, with invented figures."""

from __future__ import annotations

import json
import math

import pandas as pd
import pytest

NAN = math.nan


@pytest.fixture
def returns():
    return pd.DataFrame(
        [
            ("stoneware", 38, 41.3, 33.1, 50.2, "above the target"),
            ("film cameras and lenses", 52, 28.4, 19.9, 37.7, "may be above or below the target"),
            ("folding chairs", 23, -4.2, -12.0, 5.6, "below the target"),
            ("wool blankets", 4, 61.0, NAN, NAN, "too few to tell"),
            ("gifts", 2, NAN, NAN, NAN, "too few to tell"),
        ],
        columns=["category", "items", "hourly", "low", "high", "verdict"],
    )


@pytest.fixture
def lines():
    rows = [("sold price", 412000), ("refunds", -9100), ("protection", 0), ("labels", -61233), ("net", 341667)]
    frame = pd.DataFrame(rows, columns=["line", "amount_cents"])
    return frame.assign(per_item_cents=frame["amount_cents"] / 52)


@pytest.fixture
def minutes():
    rows = [("small", "find", 9.0), ("small", "pack", 12.5), ("bulky", "find", 11.0), ("bulky", "pack", 44.0)]
    return pd.DataFrame(rows, columns=["size_class", "activity", "minutes_per_item"])


@pytest.fixture
def sizes():
    return pd.DataFrame(
        {
            "size_class": ["small", "bulky", "oversize"],
            "items": [202, 70, 4],
            "verdict": ["above the target", "below the target", "too few to tell"],
            "hourly": [31.0, 14.0, 8.0],
            "low": [27.0, 6.0, NAN],
            "high": [36.0, 22.0, NAN],
            "net_per_sale_cents": [1830.0, 3920.0, -210.0],
            "days_to_sale": [31.0, 71.0, NAN],
            "days_low": [27.0, 50.0, NAN],
            "days_high": [37.0, NAN, NAN],
        }
    )


@pytest.fixture
def waiting():
    return pd.DataFrame(
        {
            "days": [5, 20, 40, 100],
            "at_risk": [40, 30, 18, 5],
            "unsold_share": [0.9, 0.6, 0.5, 0.3],
            "low": [0.8, 0.5, 0.4, NAN],
            "high": [0.97, 0.7, 0.65, NAN],
        }
    )


@pytest.fixture
def seen():
    """What a chart is, as its spec says, validated: a small reader of specs."""
    return Seen


class Seen:
    """A validated spec, taken apart."""

    def __init__(self, chart):
        self.spec = chart.to_dict(validate=True)
        self.text = json.dumps(self.spec, allow_nan=False, ensure_ascii=False)

    @property
    def reading(self):
        return self.spec["description"]

    @property
    def numbers(self):
        return self.spec["usermeta"]["numbers"]

    def layers(self, part=None):
        """Every single view: (mark type, encoding, its data), layers and panels taken apart."""
        found = []
        self._collect(part or self.spec, [], found)
        return found

    def _collect(self, part, inherited, found):
        values = part.get("data", {}).get("values", inherited)
        if "mark" in part:
            mark = part["mark"]
            found.append((mark if isinstance(mark, str) else mark["type"], part.get("encoding", {}), values))
        for key in ("layer", "vconcat"):
            for child in part.get(key, []):
                self._collect(child, values, found)

    def marks(self, kind):
        return [(encoding, values) for mark, encoding, values in self.layers() if mark == kind]

    def titles(self):
        """Every axis title and heading."""
        return {t for _, encoding, _ in self.layers() for t in self._axis_titles(encoding)}

    @staticmethod
    def _axis_titles(encoding):
        for channel in encoding.values():
            if isinstance(channel, dict):
                for text in (channel.get("title"), (channel.get("axis") or {}).get("title")):
                    if isinstance(text, str):
                        yield text
