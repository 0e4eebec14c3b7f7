"""Histories keep their own arithmetic, and have the chances that they state."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest

from flipkit.simulation.demo import DEMO_SEED, demo_rules, demo_shop
from flipkit.simulation.shops import MINUTES, Histories, Kind, PlainCharges, Shop, histories
from tests.benchmarks.truth import true_returns

#: A kind without spread: sold at its list price of 20.00 or never, at the same chance each week.
STILL = Kind(
    name="still",
    price_usd=20,
    price_spread=0,
    cost_usd=5,
    cost_spread=0,
    sides_in=(10, 8, 6),
    sides_spread=0,
    weight_lb=1,
    weekly_rate=0.1,
    price_pull=0,
    fading=0,
    never_share=0,
    appeal_spread=0,
    markup=1,
    markup_spread=0,
    markdown_share=0,
    give_up_weeks=10,
    offer_share=0,
    local_share=1,
    return_share=0,
    damage_share=0,
    materials_usd=0,
    minutes={"research": 30.0, "photograph": 15.0},
    minutes_spread=0,
)
STILL_SHOP = Shop(
    kinds=(STILL,),
    trip_spread=0,
    parking_share=0,
    entry_share=0,
    charges=PlainCharges(mile_cents=0),
)


@pytest.fixture(scope="module")
def drawn() -> Histories:
    return histories(demo_shop(demo_rules()), seed=DEMO_SEED, copies=4)


def test_the_same_seed_draws_the_same(drawn: Histories) -> None:
    again = histories(demo_shop(demo_rules()), seed=DEMO_SEED, copies=4)
    pd.testing.assert_frame_equal(drawn.items, again.items)
    other = histories(demo_shop(demo_rules()), seed=DEMO_SEED + 1, copies=4)
    assert not drawn.items["net_cents"].head(50).equals(other.items["net_cents"].head(50))


def test_net_is_gross_less_every_cost(drawn: Histories) -> None:
    items = drawn.items
    gross = (
        items["sold_price_cents"] + items["shipping_charged_cents"] - items["refund_cents"] + items["fees_back_cents"]
    )
    assert items["fees_back_cents"].sum() > 0
    assert (items.loc[items["refund_cents"] == 0, "fees_back_cents"] == 0).all()
    costs = ("fees", "label", "label_adjustment", "materials", "cost", "trip", "hired")
    assert (items["net_cents"] == gross - sum(items[f"{name}_cents"] for name in costs)).all()


def test_owner_minutes_are_all_minutes_less_the_packers(drawn: Histories) -> None:
    items = drawn.items
    np.testing.assert_allclose(items["owner_min"], items[list(MINUTES)].sum(axis=1) - items["hired_min"])
    assert (items["hired_min"] > 0).sum() > 50
    assert (items["hired_cents"] > 0).equals(items["hired_min"] > 0)


def test_events_come_in_order(drawn: Histories) -> None:
    items = drawn.items
    assert (items["listed_on"] > items["bought_on"]).all()
    sold = items[items["outcome"] != "gone"]
    assert (sold["sold_on"] >= sold["listed_on"]).all()
    returned = items[items["outcome"] == "returned"]
    assert len(returned) > 20
    assert (returned["returned_on"] > returned["sold_on"]).all()
    assert (returned["gone_on"] > returned["returned_on"]).all()
    gone = items[items["outcome"] == "gone"]
    assert gone["sold_on"].isna().all()
    assert (gone["sold_price_cents"] == 0).all()
    assert set(pd.to_datetime(items["listed_on"]).dt.day_of_week) == {1, 3, 6}


def test_a_collected_sale_has_no_label(drawn: Histories) -> None:
    local = drawn.items[drawn.items["local"]]
    assert len(local) > 50
    assert (local["label_cents"] == 0).all()
    assert (local["zone"] == "pickup").all()


def test_items_of_a_trip_are_alike() -> None:
    kind = dataclasses.replace(STILL, price_spread=0.3)
    shop = dataclasses.replace(STILL_SHOP, kinds=(kind,), trip_spread=0.3)
    items = histories(shop, seed=3, copies=40).items
    value = np.log(items["value_cents"])
    between = value.groupby(items["trip"]).transform("mean")
    # Half of the variance is the trip's: within trips .3**2 is left of 2 x .3**2.
    assert abs((value - between).var() / value.var() - 0.5) < 0.08


@pytest.mark.worked
def test_a_flat_rate_sells_at_the_exponential_pace() -> None:
    # P(still unsold after w weeks) = exp(-0.1 w); sold within ten weeks 1 - exp(-1) = .63212.
    items = histories(STILL_SHOP, seed=8, copies=60).items
    n, sold = len(items), items["outcome"] == "sold"
    assert n > 50_000
    assert abs(sold.mean() - (1 - math.exp(-1))) < 4 * math.sqrt(0.632 * 0.368 / n)
    after_three = (items["weeks_listed"] >= 3).mean()
    assert abs(after_three - math.exp(-0.3)) < 4 * math.sqrt(0.741 * 0.259 / n)


@pytest.mark.worked
def test_truth_of_a_still_shop_is_its_formula() -> None:
    # Every item costs 5.00 and sells for 20.00 with chance q = 1 - exp(-1) = .63212, less the fee
    # 15 % of 20.00 + .40 = 3.40. Net of a sale: 11.60; of an item bought: .63212 x 16.60 - 5.00
    # = 5.49321. Minutes: 45 of each item, and of the trip 95 e^(.25**2/2) a trip over 11 items a
    # trip, with 4 more for each item: 98.0154/11 + 4 = 12.9105. So 57.9105 minutes.
    # Hourly: 60 x 11.60 / 57.9105 = 12.0185 sold, 60 x 5.49321 / 57.9105 = 5.6914 bought.
    truth = true_returns(STILL_SHOP, seed=4, items=400_000).loc["still"]
    minutes = 45 + 95 * math.exp(0.25**2 / 2) / 11 + 4
    q = 1 - math.exp(-1)
    assert truth["net_sold_cents"] == 1160
    assert abs(truth["bought_min"] - minutes) < 0.15
    assert abs(truth["hourly_sold"] - 60 * 11.60 / minutes) < 4 * truth["hourly_sold_error"]
    assert abs(truth["hourly_bought"] - 60 * (q * 16.60 - 5.00) / minutes) < 4 * truth["hourly_bought_error"]
    assert truth["hourly_bought_error"] < 0.03


def test_copies_are_different_shops(drawn: Histories) -> None:
    assert sorted(drawn.items["copy"].unique()) == [0, 1, 2, 3]
    sizes = drawn.items.groupby("copy").size()
    assert sizes.nunique() > 1
    assert not drawn.trips.groupby("trip")["copy"].nunique().gt(1).any()


def test_no_two_trips_on_one_day(drawn: Histories) -> None:
    assert not drawn.trips.duplicated(["copy", "day"]).any()
    first = (dt.date(2025, 1, 4) - dt.date(1970, 1, 1)).days
    assert drawn.trips["day"].min() >= first
