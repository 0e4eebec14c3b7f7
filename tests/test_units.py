from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flipkit.errors import MeasureError
from flipkit.units import read_length, read_minutes, read_weight, rounded_down, rounded_nearest, rounded_up, snapped


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("4 ft 11 in", 59.0),
        ("4ft11in", 59.0),
        ("5'11\"", 71.0),
        ('20 1/4"', 20.25),
        ("20-1/4 in", 20.25),
        ("1/2 in", 0.5),
        ("5 ft .5 in", 60.5),
        ("30.48cm", 12.0),
        ("150 cm", 59.0551181),
        ("1.2 m", 47.2440945),
        ("12", 12.0),
        (12, 12.0),
        (np.float64(12.5), 12.5),
    ],
)
def test_lengths_are_read_into_inches(text, inches):
    assert read_length(text) == pytest.approx(inches, abs=1e-7)


def test_a_bare_number_takes_the_unit_that_the_books_declare():
    assert read_length("30.48", unit="cm") == pytest.approx(12.0)
    assert read_weight(1000, unit="g") == pytest.approx(2.20462262)


@pytest.mark.parametrize(
    ("text", "pounds"), [("1 lb 4 oz", 1.25), ("1.2 kg", 2.6455471), ("9 lbs", 9.0), ("20#", 20.0), ("8 oz", 0.5)]
)
def test_weights_are_read_into_pounds(text, pounds):
    assert read_weight(text) == pytest.approx(pounds, abs=1e-7)


@pytest.mark.parametrize(("text", "minutes"), [("45 min", 45.0), ("1 h 20 min", 80.0), ("1.5 hours", 90.0), (12, 12.0)])
def test_times_are_read_into_minutes(text, minutes):
    assert read_minutes(text) == pytest.approx(minutes)


@pytest.mark.parametrize(
    "text", ["", "abc", "12 in 3", "5 kg", "-3", "nan", "inf", "12 x", None, True, "1/0 in", "12''x"]
)
def test_what_is_no_length_is_refused_by_name(text):
    with pytest.raises(MeasureError, match="side must be"):
        read_length(text, name="side")


def test_conversion_noise_is_snapped_and_a_true_excess_is_not():
    assert rounded_up(30.48 / 2.54) == 12
    assert rounded_up(30.49 / 2.54) == 13
    assert snapped(12.5) == 12.5


@pytest.mark.published(source="dmm-advisory-2006", where="dimensional weight, rounding of sides", seen="found")
def test_sides_round_to_the_nearest_inch():
    assert rounded_nearest([20.25, 20.75]).tolist() == [20, 21]


@pytest.mark.published(
    source="dmm-advisory-2010", where="cubic tier: each side down to the quarter inch", seen="computed"
)
def test_sides_round_down_to_the_quarter_inch():
    assert rounded_down(11.99, step=0.25) == 11.75


@given(st.floats(0.01, 500), st.sampled_from([1.0, 0.25, 0.5]))
def test_rounding_up_is_least_and_idempotent(value, step):
    up = float(rounded_up(value, step=step))
    assert up >= value - 1e-6
    assert up - value < step
    assert rounded_up(up, step=step) == pytest.approx(up)


@given(st.integers(1, 200))
def test_metric_and_imperial_entries_agree(inches):
    assert rounded_up(read_length(f"{inches * 2.54} cm")) == inches
