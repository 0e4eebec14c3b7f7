"""How the price from which bulky wins moves with the hired wage and with the divisor."""

from __future__ import annotations

import pandas as pd
import pytest

from flipkit.reports.bulky import BreakEvenMoves, break_even_moves
from flipkit.reports.sentences import money_per_hour
from flipkit.reports.study import open_study


@pytest.fixture(scope="module")
def moves(demo_study) -> BreakEvenMoves:
    return break_even_moves(demo_study)


def test_a_dearer_helper_raises_the_price_and_a_larger_divisor_lowers_it(moves: BreakEvenMoves) -> None:
    frame = moves.frame
    now = frame[frame["moved"] == ""]["price_cents"].item()
    wages = frame[frame["moved"] == "wage"].set_index("wage")["price_cents"]
    assert wages.is_monotonic_increasing
    assert wages.iloc[0] < now < wages.iloc[-1]
    divisors = frame[frame["moved"] == "divisor"].set_index("divisor")["price_cents"]
    assert divisors.index.tolist() == [139, 166, 194]
    assert divisors.is_monotonic_decreasing
    assert divisors.iloc[-1] < divisors.iloc[0]


@pytest.mark.parametrize(
    ("moved", "value", "settings"),
    [
        ("wage", 33.0, {"help.wage": "33.00", "suppose.wage_for": "everybody"}),
        ("divisor", 166, {"suppose.divisor": 166}),
    ],
)
def test_each_price_is_that_of_the_whole_model(
    moves: BreakEvenMoves, moved: str, value: float, settings: dict[str, object]
) -> None:
    row = moves.frame[(moves.frame["moved"] == moved) & (moves.frame[moved] == value)].iloc[0]
    whole = open_study(settings=settings).break_even
    assert row["price_cents"] == whole.price_cents
    assert (row["low_cents"], row["high_cents"]) == (whole.low_cents, whole.high_cents)


def test_the_sentence_says_both(moves: BreakEvenMoves) -> None:
    now = moves.frame.iloc[0]
    dearest = moves.frame[moves.frame["moved"] == "wage"].iloc[-1]
    assert f"from ${round(dearest['price_cents'] / 100)}." in moves.sentence()
    assert f"instead of {money_per_hour(now['wage'], currency='USD').removesuffix('.00')}" in moves.sentence()
    assert "139: from" in moves.sentence()


def test_without_hired_help_its_wage_is_said_to_move_nothing(moves: BreakEvenMoves) -> None:
    alone = BreakEvenMoves(moves.frame, 0, "USD", 0.95)
    assert alone.sentence().startswith("No hired help went into these sales")


def test_a_wage_at_which_bulky_never_wins_has_no_price(moves: BreakEvenMoves) -> None:
    frame = moves.frame.copy()
    frame.loc[frame["wage"] == frame["wage"].max(), ["price_cents", "high_cents"]] = float("inf")
    assert "at no price." in BreakEvenMoves(frame, 1, "USD", 0.95).sentence()


def test_a_shop_without_a_sale_says_too_few() -> None:
    none = pd.DataFrame(
        [{"moved": "", "wage": 16.0, "divisor": 0, "claimed": False, "verdict": "too few to tell"}]
    ).assign(price_cents=float("nan"), low_cents=float("nan"), high_cents=float("nan"))
    moves = BreakEvenMoves(none, 0, "USD", 0.95)
    assert moves.sentence().endswith("too few to tell.")
