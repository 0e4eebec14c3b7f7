"""Rates of return and present values, against the usual packages' documentation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flipkit.analysis.finance import annual_rate, future_value, internal_rate, internal_rates, present_value
from flipkit.errors import NotEnoughDataError


@pytest.mark.published(source="numpy-financial", where="irr, examples", seen="found")
@pytest.mark.parametrize(
    ("flows", "expected", "printed_to"),
    [
        ([-100, 39, 59, 55, 20], 0.28095, 5e-6),
        ([-100, 0, 0, 74], -0.0955, 5e-5),
        ([-100, 100, 0, -7], -0.0833, 5e-5),
        ([-100, 100, 0, 7], 0.06206, 5e-6),
    ],
)
def test_internal_rate(flows, expected, printed_to):
    assert internal_rate(flows) == pytest.approx(expected, abs=printed_to)


@pytest.mark.published(source="numpy-financial", where="npv, example", seen="found")
def test_present_value():
    assert present_value(0.08, [-40_000, 5_000, 8_000, 12_000, 30_000]) == pytest.approx(3065.22267, abs=1e-5)


@pytest.mark.published(source="numpy-financial", where="fv, example", seen="found")
def test_future_value():
    found = future_value(0.05 / 12, 120, payment=-100.0, start=-100.0)
    assert found == pytest.approx(15692.928894335748, abs=1e-6)


@pytest.mark.worked
def test_of_several_rates_the_nearest_to_zero():
    # -100 (x - 1.1)(x - 1.2) with x = 1 + rate
    assert internal_rates([-100.0, 230.0, -132.0]) == pytest.approx([0.1, 0.2])
    assert internal_rate([-100.0, 230.0, -132.0]) == pytest.approx(0.1)
    # -100 + 100 / x - 7 / x^3 has a second rate far below zero
    rates = internal_rates([-100, 100, 0, -7])
    assert len(rates) == 2
    assert all(present_value(rate, [-100, 100, 0, -7]) == pytest.approx(0, abs=1e-6) for rate in rates)


def test_no_rate_is_no_number():
    assert math.isnan(internal_rate([100.0, 10.0]))
    assert math.isnan(internal_rate([-100.0]))
    assert math.isnan(internal_rate([-100.0, 150.0, -100.0]))
    assert math.isnan(annual_rate([0, 10], [5.0, 5.0]))
    assert math.isnan(annual_rate([], []))


@given(st.floats(-0.5, 2.0), st.lists(st.integers(0, 500), min_size=1, max_size=6))
def test_internal_rate_makes_the_value_nothing(rate, later):
    start = -present_value(rate, [0, *later])
    if start >= -1e-3:
        return
    found = internal_rate([start, *later])
    assert found == pytest.approx(rate, abs=1e-5)


@pytest.mark.worked
def test_dated_rate():
    assert annual_rate([0, 365], [-100.0, 110.0]) == pytest.approx(0.10)
    # ten percent in 73 days, five times a year: 1.1^5 - 1
    assert annual_rate([100, 173], [-50.0, 55.0]) == pytest.approx(1.1**5 - 1)
    assert annual_rate([0, 365, 730], [-100.0, 39.0, 59.0]) == pytest.approx(internal_rate([-100, 39, 59]))
    assert annual_rate([0, 365], [-100.0, 0.5]) == pytest.approx(-0.995)


def test_order_of_dated_flows_does_not_matter():
    days, flows = np.array([0, 30, 200, 400]), np.array([-100.0, -20.0, 60.0, 90.0])
    assert annual_rate(days[::-1], flows[::-1]) == pytest.approx(annual_rate(days, flows))
    with pytest.raises(NotEnoughDataError, match="days must be one a flow"):
        annual_rate([0], [1.0, -1.0])
