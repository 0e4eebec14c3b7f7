"""A drawing given other figures is the drawing drawn anew."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from flipkit.charts.sliders import plot_moved_returns, with_figures
from flipkit.charts.style import MIME_TYPE, spec_bundle
from flipkit.errors import ChartError

FIRST = pd.DataFrame(
    {
        "category": ["lamps", "games", "odd & <b>"],
        "items": [40, 30, 3],
        "hourly": [31.0, 12.5, -2.0],
        "low": [25.0, 8.0, math.nan],
        "high": [38.0, 19.0, math.nan],
        "claimed": [True, True, False],
        "verdict": ["above the target", "may be above or below the target", "too few to tell"],
    }
)
OTHER = FIRST.iloc[[1, 0, 2]].assign(
    hourly=[33.0, 9.0, math.nan],
    low=[24.0, 4.0, math.nan],
    verdict=["above the target", "below the target", "too few to tell"],
)


def drawn(frame, target, **rest):
    return spec_bundle(plot_moved_returns(frame, target, confidence=0.9, **rest).to_dict())


@pytest.mark.parametrize("currency", ["USD", "EUR"])
def test_other_figures_are_those_of_a_drawing_anew(currency):
    before = drawn(FIRST, 18.0, currency=currency)
    kept = drawn(FIRST, 18.0, currency=currency)
    again = with_figures(before, OTHER, 21.5, currency=currency)
    assert again == drawn(OTHER, 21.5, currency=currency)
    assert again != before
    assert before == kept, "the drawing before stays as it was"


def test_the_rows_stand_once_and_hold_what_the_layers_read():
    spec = drawn(FIRST, 18.0)[MIME_TYPE]
    rows = spec["data"]["values"]
    assert [(row["place"], row["category"], row["value"]) for row in rows] == [
        (1, "lamps", 31.0), (2, "games", 12.5), (3, "odd & <b>", -2.0),
    ]  # fmt: skip
    assert [(row["lower"], row["upper"]) for row in rows] == [(25.0, 38.0), (8.0, 19.0), (None, None)]
    assert [layer["data"] for layer in spec["layer"] if "data" in layer] == [{"values": [{}]}]
    assert spec["params"] == [{"name": "target", "value": 18.0}]
    assert "lamps $31 ($25 to $38, 40 bought)" in spec["description"]


def test_no_rows_are_words_and_a_missing_column_is_named():
    assert "Nothing bought yet" in drawn(FIRST.iloc[:0], 18.0)["text/plain"]
    with pytest.raises(ChartError, match="claimed"):
        drawn(FIRST.drop(columns="claimed"), 18.0)
