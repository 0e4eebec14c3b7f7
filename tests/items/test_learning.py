"""Learning curves against the textbooks' tables."""

from __future__ import annotations

import math

import numpy as np
import pytest

from flipkit.economics.labor import average_time, learning_exponent, learning_rate, unit_reached, unit_time, unit_total
from flipkit.errors import AssumptionError


@pytest.mark.published(source="learning-curve-workbook", where="p. 330, 80 %, first 100", seen="found")
def test_cumulative_average():
    units = np.array([1, 2, 4, 8, 16])
    average = average_time(100.0, units, rate=0.8)
    assert average == pytest.approx([100, 80, 64, 51.2, 40.96], abs=1e-6)
    total = average * units
    assert total == pytest.approx([100, 160, 256, 409.6, 655.36], abs=1e-6)
    # the workbook misprints the last increment as 254.76; its own 30.72 x 8 is 245.76
    increment = np.diff(total) / np.diff(units)
    assert increment == pytest.approx([60, 48, 38.4, 30.72], abs=1e-6)


@pytest.mark.published(source="learning-curve-unit", where="50 min, 80 %", seen="found")
def test_unit_model():
    assert unit_time(50.0, [2, 4], rate=0.8) == pytest.approx([40, 32], abs=1e-9)
    assert learning_exponent(0.8) == pytest.approx(-0.322, abs=5e-4)


@pytest.mark.published(source="learning-curve-projects", where="table 18-1, 75 %, 812 h, 250 units", seen="found")
def test_total_of_250_units():
    total = unit_total(812.0, 250, rate=0.75)
    assert total == pytest.approx(34_170, rel=1e-4)
    assert total / 250 == pytest.approx(137, abs=0.5)


@pytest.mark.published(source="learning-curve-projects", where="quadrupling at 80 %", seen="found")
def test_quadrupling_saves_36_percent():
    assert 1 - unit_time(1.0, 4, rate=0.8) == pytest.approx(0.36)


@pytest.mark.published(source="learning-curve-problems", where="90 % at 20, 85 % at 10", seen="found")
@pytest.mark.parametrize(("rate", "unit", "factor"), [(0.90, 20, 0.634), (0.85, 10, 0.583)])
def test_unit_factors(rate, unit, factor):
    assert float(unit_time(1.0, unit, rate=rate)) == pytest.approx(factor, abs=5e-4)


@pytest.mark.published(source="learning-curve-tables", where="80 % at 10 units", seen="from memory")
def test_table_of_the_textbooks():
    assert float(unit_time(1.0, 10, rate=0.8)) == pytest.approx(0.4765, abs=5e-4)
    assert unit_total(1.0, 10, rate=0.8) == pytest.approx(6.315, abs=5e-4)


@pytest.mark.published(source="learning-curve-problems", where="7S-16, 30 then 25 min", seen="found")
def test_observed_rate():
    rate = learning_rate(30.0, 25.0, earlier_unit=1, later_unit=2)
    assert rate == pytest.approx(0.8333, abs=5e-5)
    assert unit_reached(30.0, 18.0, rate=rate) == pytest.approx(6.97, abs=0.005)
    assert math.ceil(unit_reached(30.0, 18.0, rate=rate)) == 7


def test_no_learning_and_goals_already_met():
    assert unit_time(10.0, [1, 5, 100], rate=1.0).tolist() == [10.0, 10.0, 10.0]
    assert unit_reached(10.0, 12.0, rate=0.9) == 1.0
    assert unit_reached(10.0, 8.0, rate=1.0) == math.inf


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: learning_exponent(0.0), "rate must be above 0 and at most 1, got 0.0"),
        (lambda: unit_time(10.0, [0], rate=0.8), "units must be whole numbers of at least 1"),
        (lambda: average_time(10.0, [1.5], rate=0.8), "units must be whole numbers"),
        (lambda: learning_rate(0.0, 5.0, earlier_unit=1, later_unit=2), "must be above 0"),
        (lambda: learning_rate(5.0, 5.0, earlier_unit=2, later_unit=2), "rising from at least 1"),
        (lambda: unit_reached(10.0, 0.0, rate=0.8), "must be above 0"),
    ],
)
def test_mistakes_are_named(call, words):
    with pytest.raises(AssumptionError, match=words):
        call()
