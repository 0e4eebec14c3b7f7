"""Forecasts of a category's hour hold what the next month brings as often as they say.

``tests/benchmarks/bench_forecasts.py`` prints the table for every kind of shop.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
import pytest

from flipkit.simulation.shops import histories
from tests.benchmarks.forecast_coverage import forecast_days, foretold_returns, oracle_month, sales_known
from tests.benchmarks.scenarios import scenarios


@cache
def scores(level):
    drawn = histories(scenarios()[0].shop, seed=31, copies=6)
    found = foretold_returns(drawn, first="2025-09", last="2026-11", months=12, level=level, too_few=10, seed=1)
    return found[found["outcome"].notna()]


@pytest.mark.parametrize(("level", "least", "most"), [(0.8, 0.74, 0.88), (0.95, 0.915, 0.985)])
def test_as_many_months_lie_inside_as_are_meant_to(level, least, most):
    # About 530 forecasts of 6 shops: standard errors near .02 and .01; the bounds are three of them.
    found = scores(level)
    assert len(found) > 450
    assert least <= found["inside"].mean() <= most
    outside = (1 - level) / 2
    assert (found["outcome"] < found["low"]).mean() < 2.2 * outside
    assert (found["outcome"] > found["high"]).mean() < 2.2 * outside


def test_the_gaps_come_to_little_in_the_long_run():
    found = scores(0.8)
    error = found["error"].std() / len(found) ** 0.5
    assert abs(found["error"].mean()) < 4 * error


def test_the_measure_sees_intervals_that_are_half_as_wide():
    found = scores(0.95)
    low, high = ((found["middle"] + found[end]) / 2 for end in ("low", "high"))
    assert ((low <= found["outcome"]) & (found["outcome"] <= high)).mean() < 0.85


@pytest.fixture(scope="module")
def ends():
    """Month ends of two shops, every second month of the last year."""
    shops = [histories(scenarios()[0].shop, seed=seed) for seed in (2, 3)]
    months = ("2026-04", "2026-07", "2026-10")
    return [
        (one, day)
        for one in shops
        for month in months
        for day in forecast_days(one, first=month, last=month, level=0.95)
    ]


def test_a_month_is_forecast_from_what_stands_on_the_shelf(ends):
    told = pd.DataFrame([day.month() for _, day in ends])
    inside = (told["low"] <= told["came"]) & (told["came"] <= told["high"])
    # Six months, a chance of .95 each: fewer than four come with a chance of .002.
    assert inside.sum() >= 4
    width, before = (
        (told[high] - told[low]).median() for low, high in (("low", "high"), ("low_before", "high_before"))
    )
    assert width < 0.85 * before
    sales = sales_known(ends[0][0].shop, seed=9, copies=2)
    known = [oracle_month(drawn, made=day.made, due=day.due, sales=sales) for drawn, day in ends]
    oracle = 2 * 1.96 * np.median([spread for _, spread in known])
    assert 0.85 * oracle < width < 1.4 * oracle
    assert all(abs(came - mean) < 3.5 * spread for came, (mean, spread) in zip(told["came"], known, strict=True))


def test_prices_lie_on_either_side_of_their_intervals_as_often_as_meant(ends):
    done = pd.concat([day.stock_scored() for _, day in ends])
    prices = done[(done["what"] == "sold price") & done["outcome"].notna()]
    # Some 170 sales, 2.5 % meant on either side: a standard error of 1.2 %, and the bounds are three of them.
    assert len(prices) > 120
    assert (prices["outcome"] < prices["low"]).mean() <= 0.061
    assert (prices["outcome"] > prices["high"]).mean() <= 0.061
    assert (prices["high"] <= prices["asked"]).all()
    assert (prices["high"] < prices["asked"]).mean() > 0.05
