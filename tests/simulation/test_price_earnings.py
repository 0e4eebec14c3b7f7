"""A small seeded proof: the kit's price path against a knowing seller and three habits."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from flipkit.analysis.demand import Demand, wanting
from flipkit.analysis.price_outcomes import path_outcomes, worth_cents
from flipkit.analysis.price_tables import PriceGrid, price_table
from flipkit.analysis.pricing import PriceSettings, best_paths
from flipkit.assumptions import load_assumptions
from flipkit.simulation.buying_year import buying_year, year_assumptions
from flipkit.simulation.knowing_prices import knowing_paths
from flipkit.simulation.price_earnings import price_earnings
from flipkit.simulation.scenarios import scenarios

HABITS = ("fixed price", "10 % every four weeks", "first offer")


@pytest.fixture(scope="module")
def assumptions():
    return load_assumptions(overrides=year_assumptions({"hour.target": "15.00"}))


@pytest.mark.slow
def test_the_path_earns_nearly_what_a_knowing_seller_earns_and_more_than_habits(assumptions):
    scenario = scenarios()[0]
    small = dataclasses.replace(scenario.shop, kinds=scenario.shop.kinds[:3])
    found = price_earnings(
        dataclasses.replace(scenario, shop=small),
        shops=2,
        things=3,
        past_things=150,
        comparables=3,
        settings=PriceSettings(52, keep=0.9973, change_cents=75),
        assumptions=assumptions,
        seed=5,
    ).mean()
    assert found["kit"] >= 0.97 * found["knowing"]
    assert found["knowing"] <= found["knowing the thing too"]
    assert all(found["kit"] > found[habit] for habit in HABITS)


@pytest.mark.slow
def test_a_year_of_buying_by_the_highest_price_meets_the_target_within_the_stated_error(assumptions):
    scenario = scenarios()[0]
    small = dataclasses.replace(scenario.shop, kinds=scenario.shop.kinds[:3])
    year = buying_year(
        dataclasses.replace(scenario, shop=small),
        shops=2,
        finds=15,
        past_things=150,
        comparables=3,
        assumptions=assumptions,
        seed=12,
    )
    assert (year["bought"] > 0.3).all()
    assert (year["hourly"] > 15.0 - year["error"]).all()
    assert (year["tag_hourly"] > 15.0).all()
    assert (year["tag_hourly"] > year["all_hourly"]).all()


def test_the_knowing_sellers_value_is_what_the_path_is_worth():
    demand = Demand(np.array([np.log(0.08)]), np.array([2.5]), -0.01 * np.arange(20.0))
    table = price_table([4000], lambda price: 0.85 * price - 600, demand, grid=PriceGrid(0.4, 1.6, 0.06))
    settings = PriceSettings(20, keep=0.997, change_cents=60)
    liking = wanting(0.3, 0.4)
    chances = np.concatenate(([0.0], np.geomspace(0.005, 20, 80)))
    place, lowest, value = knowing_paths(
        demand, liking, table, settings, storage_cents=20.0, end_cents=0.0, chances=chances
    )

    def worth(place, lowest):
        total = 0.0
        for level, share in zip(liking.level, liking.share, strict=True):
            moved = Demand(demand.log_rate + np.log(max(level, 1e-300)), demand.pull, demand.weekly)
            found = path_outcomes(place, lowest, moved, table)
            total += share * worth_cents(found, settings, storage_cents=20.0, end_cents=0.0)[0]
        return total

    assert value[0] == pytest.approx(worth(place, lowest), rel=0.01)
    # With hidden differences known, no path made without them does better.
    plain = best_paths(demand, table, settings, storage_cents=20.0)
    assert worth(place, lowest) > 0.999 * worth(plain.place, plain.lowest_offer_cents)


def test_without_hidden_differences_the_knowing_path_is_the_plain_one():
    demand = Demand(np.array([np.log(0.1)]), np.array([2.2]), np.zeros(15))
    table = price_table([4000], lambda price: 0.85 * price - 600, demand, grid=PriceGrid(0.4, 1.6, 0.06))
    settings = PriceSettings(15, keep=0.997, change_cents=60)
    chances = np.linspace(0.0, 12.0, 50)
    _, _, value = knowing_paths(
        demand, wanting(0.0, 0.0), table, settings, storage_cents=5.0, end_cents=0.0, chances=chances
    )
    assert value[0] == pytest.approx(best_paths(demand, table, settings, storage_cents=5.0).value_cents[0], rel=1e-6)
