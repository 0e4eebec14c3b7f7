"""Search and markdown: published answers."""

from __future__ import annotations

import math

import numpy as np
import pytest

from flipkit.analysis.stopping import fixed_threshold, markdown_prices, offer_values, reservation_offer, timed_price
from flipkit.errors import AssumptionError


@pytest.mark.published(source="house-selling", where="ten uniform offers, one threshold, last one forced", seen="found")
def test_the_best_fixed_threshold_for_ten_offers():
    found = fixed_threshold(10)
    assert found.threshold == pytest.approx(0.7742636826811271, abs=1e-12)
    assert found.value == pytest.approx(0.8484186572065071, abs=1e-12)


@pytest.mark.published(source="finite-search", where="p. 84: one and two offers left", seen="found")
def test_one_and_two_offers_left():
    assert offer_values(2).tolist() == [0.5, 0.625]


@pytest.mark.worked
def test_three_offers_left():
    # E max(X, .625) = (1 + .625^2) / 2 = .6953125
    assert offer_values(3)[2] == 0.6953125


@pytest.mark.published(source="finite-search", where="p. 88: growth 2, threshold 1/4", seen="found")
def test_two_offers_where_money_doubles_by_the_end():
    values = offer_values(2, discount=1 / 2)
    assert values[0] / 2 == 1 / 4
    assert 2 * values[1] == 17 / 16


@pytest.mark.published(source="discounted-search", where="uniform offers, factor .9: .63", seen="found")
def test_discounted_search():
    found = reservation_offer(discount=0.9)
    assert found == pytest.approx(0.63, abs=0.005)
    assert found == pytest.approx((1 - math.sqrt(1 - 0.81)) / 0.9, abs=1e-12)


@pytest.mark.published(source="mccall-1970", where="uniform offers, cost .02", seen="from memory")
def test_search_that_costs_something_each_time():
    assert reservation_offer(cost=0.02) == pytest.approx(0.8, abs=1e-12)


@pytest.mark.worked
@pytest.mark.parametrize("cost", [0.005, 0.02, 0.125, 0.4])
def test_the_reservation_is_one_less_the_root_of_twice_the_cost(cost):
    # E (X - x)+ = (1 - x)^2 / 2 = c
    assert reservation_offer(cost=cost) == pytest.approx(1 - math.sqrt(2 * cost), abs=1e-12)


def test_the_infinite_search_is_where_the_finite_one_leads():
    for setting in ({"discount": 0.9}, {"cost": 0.02}, {"discount": 0.95, "cost": 0.01}):
        values = offer_values(400, **setting)
        wait = setting.get("discount", 1.0) * values[-1] - setting.get("cost", 0.0)
        assert wait == pytest.approx(reservation_offer(**setting), abs=1e-9)


def test_waiting_that_costs_more_than_it_brings_takes_anything():
    assert reservation_offer(cost=0.7) == 0.0


def test_free_waiting_for_ever_is_refused():
    with pytest.raises(AssumptionError, match="above 0"):
        reservation_offer()
    with pytest.raises(AssumptionError, match="at least 2"):
        fixed_threshold(1)


@pytest.mark.published(
    source="lazear-1986", where="two periods, uniform prior: 2/3, 1/3, value 1/3", seen="from memory"
)
def test_two_prices_for_a_thing_of_unknown_worth():
    grid = np.linspace(0, 1, 1201)
    two = markdown_prices(grid, grid, periods=2)
    assert two.prices == pytest.approx([2 / 3, 1 / 3], abs=1e-3)
    assert two.value == pytest.approx(1 / 3, abs=1e-3)
    one = markdown_prices(grid, grid, periods=1)
    assert (one.prices[0], one.value) == (0.5, 0.25)


@pytest.mark.worked
def test_many_periods_of_markdown():
    # With T equal steps p_k = k / (T + 1) from the top the takings are T / (2 (T + 1)).
    grid = np.linspace(0, 1, 601)
    five = markdown_prices(grid, grid, periods=5)
    assert five.prices == pytest.approx(np.arange(5, 0, -1) / 6, abs=2e-3)
    assert five.value == pytest.approx(5 / 12, abs=1e-4)


@pytest.mark.published(source="gallego-van-ryzin-1994", where="exponential demand, closed form", seen="from memory")
@pytest.mark.parametrize(("units", "time", "value", "price"), [(1, 1, 0.313262, 1.313262), (3, 4, 1.407386, 1.139256)])
def test_units_to_sell_by_a_day(units, time, value, price):
    assert timed_price(units, time) == pytest.approx((value, price), abs=1e-6)


@pytest.mark.worked
def test_the_value_grows_with_time_by_the_sales_rate_at_the_best_price():
    # dJ/dt = max over p of exp(-p) (p - gain) = exp(-p*)
    step = 1e-5
    slope = (timed_price(3, 4 + step).value - timed_price(3, 4 - step).value) / (2 * step)
    assert slope == pytest.approx(math.exp(-timed_price(3, 4).price), abs=1e-8)
