"""Forecasts of a category's hour hold what the next month brings as often as they say.

``tests/benchmarks/bench_forecasts.py`` prints the table for every kind of shop.
"""

from __future__ import annotations

import pytest

from flipkit.simulation.demo import scenarios
from flipkit.simulation.shops import histories
from tests.benchmarks.forecast_coverage import foretold_returns


@pytest.fixture(scope="module")
def drawn():
    return histories(scenarios()[0].shop, seed=31, copies=6)


def foretold(drawn, level):
    found = foretold_returns(drawn, first="2025-09", last="2026-11", months=12, level=level, too_few=10, seed=1)
    return found[found["outcome"].notna()]


@pytest.mark.parametrize(("level", "least", "most"), [(0.8, 0.74, 0.88), (0.95, 0.915, 0.985)])
def test_as_many_months_lie_inside_as_are_meant_to(drawn, level, least, most):
    # About 530 forecasts of 6 shops: standard errors near .02 and .01; the bounds are three of them.
    found = foretold(drawn, level)
    assert len(found) > 450
    assert least <= found["inside"].mean() <= most
    outside = (1 - level) / 2
    assert (found["outcome"] < found["low"]).mean() < 2.2 * outside
    assert (found["outcome"] > found["high"]).mean() < 2.2 * outside


def test_the_gaps_come_to_little_in_the_long_run(drawn):
    found = foretold(drawn, 0.8)
    error = found["error"].std() / len(found) ** 0.5
    assert abs(found["error"].mean()) < 4 * error


def test_the_measure_sees_intervals_that_are_half_as_wide(drawn):
    found = foretold(drawn, 0.95)
    low, high = ((found["middle"] + found[end]) / 2 for end in ("low", "high"))
    assert ((low <= found["outcome"]) & (found["outcome"] <= high)).mean() < 0.85
