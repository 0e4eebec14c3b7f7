"""The price from which bulky wins, drawn under one supposition after another."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from flipkit.charts.returns import plot_break_even_moves
from flipkit.errors import ChartError


@pytest.fixture
def moves() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "moved": ["", "wage", "wage", "divisor"],
            "wage": [16.0, 8.0, 32.0, 16.0],
            "divisor": [0, 0, 0, 166],
            "price_cents": [15900.0, 15400.0, math.inf, 15200.0],
            "low_cents": [13300.0, 12800.0, 17000.0, 12700.0],
            "high_cents": [21600.0, 20900.0, math.inf, math.inf],
            "claimed": True,
        }
    )


def test_each_setting_is_a_row_under_its_heading(moves, seen):
    (dots, rows), *_ = seen(plot_break_even_moves(moves)).marks("point")
    assert dots["y"]["sort"] == [
        "as the books have it",
        "Hired wage",
        "$8 an hour",
        "Divisor",
        "166",
    ]
    # An interval without an upper end is drawn as far as the others go.
    assert [row["high"] for row in rows if row["name"] not in ("Hired wage", "Divisor")] == [216.0, 209.0, 216.0]


def test_a_setting_without_a_price_is_said_though_it_cannot_be_drawn(moves, seen):
    chart = seen(plot_break_even_moves(moves, confidence=0.9))
    assert "Hired wage $32: no price ($170 to no price)." in chart.reading
    assert "(90% interval)" in chart.text


def test_too_few_sales_are_words(moves, seen):
    chart = seen(plot_break_even_moves(moves.assign(claimed=False)))
    assert chart.reading == "There are too few sales to find a price from which bulky wins."


def test_a_missing_column_is_named(moves):
    with pytest.raises(ChartError, match="it lacks claimed"):
        plot_break_even_moves(moves.drop(columns=["claimed"]))
