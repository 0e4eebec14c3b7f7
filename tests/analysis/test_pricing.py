"""Price paths: published answers through the same recursion, and the recursion against brute force."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from flipkit.analysis.demand import Demand, Offers
from flipkit.analysis.pricing import (
    GIVE_UP,
    PriceGrid,
    PriceSettings,
    PriceTable,
    best_paths,
    path_outcomes,
    price_table,
    rounded_price,
)
from flipkit.errors import AssumptionError
from tests.helpers.path_worth import expected_value_cents

OFFERS = Offers((0.9, 0.75), (0.3, 0.2))


def one(*, rate=0.12, pull=2.4, weeks=20, fading=0.03, offers=OFFERS, n=1):
    return Demand(np.full(n, math.log(rate)), np.full(n, pull), -fading * np.arange(weeks), offers)


def exponential(time, steps):
    """Demand exp(-price) a unit of time, in small steps, prices from 0 to 6."""
    price = np.linspace(0.0, 6.0, 1201)[None, :]
    demand = Demand(np.array([math.log(time / steps)]), np.array([1.0]), np.zeros(steps))
    return demand, PriceTable(price, price, price, (), 0)


@pytest.mark.worked
def test_two_weeks_by_hand():
    # One price of 100 (net 100), chance 1/2 a week, nothing at the end:
    # week 2: 50; week 1: 100/2 + 50/2 = 75. With 10 a week of storage:
    # week 2: (100 - 10)/2 - ... = 50 - 5 = 45; week 1: 50 + (45 - 10)/2 = 67.5
    demand = Demand(np.array([math.log(math.log(2))]), np.array([0.0]), np.zeros(2))
    table = PriceTable(np.array([[100.0]]), np.zeros((1, 1)), np.array([[100.0]]), (), 0)
    assert best_paths(demand, table, PriceSettings(2)).value_cents[0] == pytest.approx(75)
    assert best_paths(demand, table, PriceSettings(2), storage_cents=10).value_cents[0] == pytest.approx(67.5)


@pytest.mark.worked
def test_an_offer_worth_the_wait_is_taken_by_hand():
    # Week 2 of 2: a buyer at 100 with chance 1/2 leaves 50 to wait for. In week 1 an offer of 60
    # comes as often as a buyer: rates ln 2 each, an event with chance 3/4, half of each kind:
    # 3/4 * (100 + 60)/2 + 1/4 * week 2. In week 2 both are taken: 3/4 * 80 = 60; so the offer of
    # 60 in week 1 is worth the wait of 60 exactly: 60 + 60 * ... = 1/2 * 100 + 1/2 * 60 = 80.
    demand = Demand(np.array([math.log(math.log(2))]), np.array([0.0]), np.zeros(2), Offers((0.6,), (1.0,)))
    table = PriceTable(np.array([[60.0, 100.0]]), np.zeros((1, 2)), np.array([[60.0, 100.0]]), (1,), 1)
    assert best_paths(demand, table, PriceSettings(2)).value_cents[0] == pytest.approx(80)


@pytest.mark.parametrize(("keep", "change", "storage", "end"), [(1.0, 0, 0, 0), (0.97, 40, 25, 150), (0.9, 5, 0, 700)])
def test_the_path_beats_every_other_path(keep, change, storage, end):
    """All non-rising paths of four weeks over five prices, each given the best offers for it."""
    demand = one(weeks=4, fading=0.1, offers=Offers())
    table = price_table([3000], lambda price: 0.85 * price - 300, demand, grid=PriceGrid(0.6, 1.4, 0.2))
    settings = PriceSettings(4, keep=keep, change_cents=change)
    best = best_paths(demand, table, settings, storage_cents=storage, end_cents=end)
    prices = table.price_cents.shape[1]
    tried = []
    for path in itertools.product(range(GIVE_UP, prices), repeat=4):
        if any(later > now for now, later in itertools.pairwise(path)):
            continue
        place = np.array([path])
        found = path_outcomes(place, np.full((1, 4), np.inf), demand, table)
        tried.append(expected_value_cents(found, settings, storage_cents=storage, end_cents=end)[0])
    assert best.value_cents[0] == pytest.approx(max(tried), abs=1e-6)


@pytest.mark.parametrize("change", [0, 150])
def test_the_value_found_backward_is_the_worth_found_forward(change):
    demand = one(n=3)
    table = price_table([1500, 4000, 12_000], lambda price: 0.86 * price - 700, demand, grid=PriceGrid(0.4, 1.5, 0.03))
    settings = PriceSettings(20, keep=0.996, change_cents=change)
    cost = {"storage_cents": np.array([5.0, 20.0, 80.0]), "end_cents": np.array([30.0, 0.0, 400.0])}
    paths = best_paths(demand, table, settings, **cost)
    found = path_outcomes(paths.place, paths.lowest_offer_cents, demand, table)
    # Offers to take are said in whole dollars, which can cost a hair.
    worth = expected_value_cents(found, settings, **cost)
    assert (worth <= paths.value_cents + 1e-6).all()
    assert worth == pytest.approx(paths.value_cents, rel=2e-3)


def test_prices_never_rise_and_offers_fall_with_the_weeks():
    demand = one(weeks=30)
    table = price_table([5000], lambda price: 0.86 * price - 700, demand, grid=PriceGrid(0.4, 1.5, 0.03))
    path = best_paths(demand, table, PriceSettings(30, keep=0.997, change_cents=80), storage_cents=15)
    on = path.place[0] != GIVE_UP
    assert on.any()
    assert (np.diff(path.price_cents[0][on]) <= 0).all()
    assert (np.diff(path.lowest_offer_cents[0][on]) <= 0).all()
    assert (path.lowest_offer_cents[0][on] <= path.price_cents[0][on]).all()
    assert not on[path.weeks_to_give_up[0] :].any()


def test_dear_storage_means_giving_up_sooner_and_dear_changes_fewer_of_them():
    demand = one(weeks=40)
    table = price_table([2500], lambda price: 0.86 * price - 700, demand, grid=PriceGrid(0.3, 1.5, 0.03))

    def weeks(storage):
        return best_paths(demand, table, PriceSettings(40), storage_cents=storage).weeks_to_give_up[0]

    def prices(change):
        path = best_paths(demand, table, PriceSettings(40, change_cents=change)).price_cents[0]
        return np.unique(path[path > 0]).size

    assert weeks(0) > weeks(120) > weeks(2000)
    assert prices(0) > prices(60) > prices(600) >= 1


def test_what_costs_more_to_send_than_it_brings_is_given_up_at_once():
    demand = one()
    table = price_table([1000], lambda price: 0.86 * price - 5000, demand, grid=PriceGrid(0.4, 1.5, 0.05))
    path = best_paths(demand, table, PriceSettings(20), end_cents=0)
    assert path.weeks_to_give_up[0] == 0
    assert path.value_cents[0] == 0


def test_more_buyers_are_worth_more_and_more_of_them_mean_a_higher_price():
    table = price_table([5000], lambda price: 0.87 * price, one(), grid=PriceGrid(0.4, 1.8, 0.02))
    paths = [best_paths(one(rate=rate), table, PriceSettings(20)) for rate in (0.03, 0.1, 0.3)]
    values = [path.value_cents[0] for path in paths]
    first = [path.price_cents[0, 0] for path in paths]
    assert values == sorted(values)
    assert first == sorted(first)
    assert first[0] < first[2]


@pytest.mark.worked
def test_prices_end_as_wished():
    wished = rounded_price(np.array([4320.4, 4380.0, 120.0, 30.0]), (0, 95))
    # 43.204 is nearest to 43.00, 43.80 to 43.95, 1.20 to 1.00, 0.30 to .95 (nothing is given away)
    assert wished.tolist() == [4300, 4395, 100, 95]
    assert rounded_price(np.array([4320.4])).tolist() == [4320]


def test_what_cannot_be_is_refused():
    with pytest.raises(AssumptionError, match="at least 1"):
        PriceSettings(0)
    with pytest.raises(AssumptionError, match="keep must be above 0"):
        PriceSettings(5, keep=0.0)
    with pytest.raises(AssumptionError, match="low < high"):
        PriceGrid(1.0, 0.5, 0.1)
    demand = one(weeks=5)
    table = price_table([1000], lambda price: price, demand, grid=PriceGrid(0.8, 1.2, 0.1))
    with pytest.raises(AssumptionError, match="at most 5"):
        best_paths(demand, table, PriceSettings(6))


def units_value(units, time):
    """The closed form for buyers coming at exp(-price): what some units are worth with a time left."""
    return math.log(sum((time / math.e) ** i / math.factorial(i) for i in range(units + 1)))


@pytest.mark.published(source="gallego-van-ryzin-1994", where="exponential demand: J(1,1), J(3,4)", seen="from memory")
@pytest.mark.parametrize(("units", "time", "value", "price"), [(1, 1, 0.313262, 1.313262), (3, 4, 1.407386, 1.139256)])
def test_small_steps_lead_to_the_known_value_of_units_to_sell_by_a_day(units, time, value, price):
    steps = 1500
    demand, table = exponential(time, steps)
    settings = PriceSettings(steps, rising=True)
    left = np.zeros(steps + 1)
    for number in range(1, units + 1):
        paths = best_paths(demand, table, settings, after_sale=left)
        # What is left to sell after the next sale, by the steps gone, from the closed form.
        left = np.array([units_value(number, time * (1 - step / steps)) for step in range(1, steps + 1)] + [0.0])
    assert paths.value_cents[0] == pytest.approx(value, abs=1.5e-3)
    assert paths.price_cents[0, 0] == pytest.approx(price, abs=0.01)
