"""What to ask now for what is on the shelf."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from flipkit.analysis.demand import Offers
from flipkit.analysis.repricing import stock_plans
from flipkit.analysis.sale_hazard import OWN, SHARED, SellingModel, Typical
from tests.helpers.known_shop import known_shop

TODAY = dt.date(2026, 11, 14)


def model(never=0.1):
    """A shop's chance of a sale, set by hand."""
    mean = np.zeros(len(SHARED) + len(OWN))
    mean[:3] = np.log(0.1), 2.4, -0.01
    mean[SHARED.index("never wanted")] = np.log(never / (1 - never))
    offers = Offers((0.9, 0.8), (0.2, 0.1))
    one = np.ones(mean.size)
    return SellingModel(("lamps",), mean, np.diag(0.01 * one), mean, one, offers, 0.8, 0.4, 100, 2000)


def plan(rows, never=0.1, habit=None, **wishes):
    items = pd.DataFrame(rows)
    for name in ("listed_on", "sold_on", "gone_on"):
        items[name] = pd.to_datetime(items.get(name, pd.Series([None] * len(items))))
    items["days_listed"] = (pd.Timestamp(TODAY) - items["listed_on"]).dt.days.astype(float)
    items = items.assign(sold_price_cents=0, size_class="small", title="a lamp", category="lamps")
    typical = Typical(np.full(len(items), 5000.0), np.full(len(items), 0.1), {}, 0.2)
    changes = pd.DataFrame({"item_id": [], "changed_on": pd.to_datetime([]), "price_cents": []})
    known = known_shop()
    known["wishes"] |= wishes
    if habit:
        known["categories"]["lamps"]["habit"] = habit
    return stock_plans(items, changes, model(never), typical, known, as_of=TODAY).plan().set_index("item_id")


def test_each_thing_in_stock_has_a_row_and_nothing_is_raised():
    found = plan(
        [
            {"item_id": "new", "status": "not listed", "list_price_cents": None},
            {"item_id": "fair", "status": "for sale", "list_price_cents": 5600, "listed_on": "2026-11-01"},
            {"item_id": "cheap", "status": "for sale", "list_price_cents": 3500, "listed_on": "2026-11-01"},
            {"item_id": "dear", "status": "for sale", "list_price_cents": 20_000, "listed_on": "2026-11-01"},
            {"item_id": "gone", "status": "sold", "list_price_cents": 5000, "listed_on": "2026-10-01"},
        ]
    )
    assert list(found.index) == ["new", "fair", "cheap", "dear"]
    assert found["action"].to_dict() == {"new": "list", "fair": "hold", "cheap": "hold", "dear": "lower"}
    listed = found.drop(index="new")
    assert (listed["price_cents"] <= listed["asked_cents"]).all()
    assert found.loc["new", "price_cents"] > found.loc["cheap", "price_cents"]
    assert (found["lowest_offer_cents"] <= found["price_cents"]).all()
    assert found["sold_share"].between(0.3, 1).all()


@pytest.mark.parametrize("never", [0.1, 0.6])
def test_what_has_waited_long_is_less_likely_to_sell_and_worth_less(never):
    found = plan(
        [
            {"item_id": "young", "status": "for sale", "list_price_cents": 5500, "listed_on": "2026-11-10"},
            {"item_id": "old", "status": "for sale", "list_price_cents": 5500, "listed_on": "2025-12-10"},
        ],
        never,
    )
    assert found.loc["old", "sold_share"] < found.loc["young", "sold_share"]
    assert found.loc["old", "worth_cents"] < found.loc["young", "worth_cents"]
    assert found.loc["old", "give_up_weeks"] <= found.loc["young", "give_up_weeks"]


def test_old_stock_of_a_seller_who_keeps_it_has_a_plan_and_not_an_end():
    """A year and a half on sale is past the usual end, but not for who keeps things for three years."""
    rows = [{"item_id": "old", "status": "for sale", "list_price_cents": 5500, "listed_on": "2025-05-10"}]
    habit = {"ratio": 1.2, "cut_share": 0.1, "first_cut_weeks": 8, "cut_weeks": 8, "offer_share": 0.85}
    assert plan(rows).loc["old", "action"] == "give up"
    kept = plan(rows, habit={**habit, "patience_weeks": 150.0})
    assert kept.loc["old", "action"] in {"hold", "lower"}
    assert kept.loc["old", "give_up_weeks"] <= 156 - 78


def test_a_plan_ends_sooner_where_room_is_dear_or_where_waiting_hardly_brings_more():
    rows = [{"item_id": "new", "status": "for sale", "list_price_cents": 5500, "listed_on": "2026-11-10"}]
    weeks = [
        plan(rows, never=0.4, **wishes).loc["new", "give_up_weeks"]
        for wishes in ({}, {"storage_cents": 150.0}, {"wait_worth_cents": 1200.0})
    ]
    assert max(weeks[1:]) < weeks[0]


def test_nothing_in_stock_is_an_empty_plan():
    assert plan([{"item_id": "gone", "status": "sold", "list_price_cents": 5000, "listed_on": "2026-10-01"}]).empty
