"""Hours over categories: the best plan, checked by brute force, and hours that stay free."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.stats import norm

from flipkit.analysis.hours import available_hours, best_hours, hour_plan
from flipkit.errors import AssumptionError


@pytest.mark.worked
def test_the_best_goes_first_as_far_as_finds_allow():
    # 30 an hour for 4 h, then 12 for 10 h; what loses money gets nothing; 6 of 20 h stay free
    assert best_hours([12.0, 30.0, -2.0], [10.0, 4.0, 50.0], hours=20.0).tolist() == [10, 4, 0]
    assert best_hours([12.0, 30.0, 11.0], [10.0, 4.0, 50.0], hours=20.0, least=11.5).tolist() == [10, 4, 0]


def test_no_other_plan_in_whole_hours_earns_more():
    hourly, most, hours = np.array([9.0, 21.0, 14.0]), np.array([5, 3, 4]), 8
    plans = [plan for plan in itertools.product(*(range(top + 1) for top in most)) if sum(plan) <= hours]
    best = max(float(np.dot(plan, hourly)) for plan in plans)
    assert float(best_hours(hourly, most, hours=hours) @ hourly) == best


@pytest.mark.worked
def test_benefit_of_the_doubt_gives_hours_to_what_is_little_known() -> None:
    # counted as 20 + 1 and 18 + 8: the second comes first, and 40 h bring 30 * 18 + 10 * 20
    plan = hour_plan([20.0, 18.0], [1.0, 8.0], [30.0, 30.0], hours=40.0, doubt=1.0)
    assert plan.counted.tolist() == [21.0, 26.0]
    assert plan.hours.tolist() == [10.0, 30.0]
    assert plan.expected == pytest.approx(740.0)


@pytest.mark.worked
def test_hours_that_reach_no_target_stay_free():
    # 12 an hour misses 15, whatever the doubt: 10 of the 40 hours stay free.
    plan = hour_plan([20.0, 12.0], [1.0, 9.0], [30.0, 30.0], hours=40.0, least=15.0, doubt=1.0)
    assert plan.hours.tolist() == [30.0, 0.0]


def test_the_interval_of_a_plan_is_that_of_its_returns():
    plan = hour_plan([20.0, 15.0], [4.0, 2.0], [6.0, 10.0], hours=10.0)
    # 6 h at 20 +- 4 and 4 h at 15 +- 2: 180 +- sqrt(24^2 + 8^2)
    assert plan.expected == pytest.approx(180)
    assert (plan.low, plan.high) == pytest.approx(180 + norm.ppf([0.1, 0.9]) * np.hypot(24, 8))


def test_hours_that_finds_can_take():
    assert available_hours([6, 2], [60, 90], stretch=1.5).tolist() == [9.0, 4.5]


def test_what_cannot_be_is_refused():
    with pytest.raises(AssumptionError, match="hours must be at least 0"):
        best_hours([1.0], [1.0], hours=-1.0)
    with pytest.raises(AssumptionError, match="available_h must be at least 0"):
        best_hours([1.0], [-1.0], hours=1.0)
    with pytest.raises(AssumptionError, match="a known return"):
        hour_plan([float("nan")], [1.0], [1.0], hours=1.0)
