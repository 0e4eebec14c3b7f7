"""What the demo shop's books know about buying."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pytest

from flipkit.analysis.max_bid import SHOP, answer, pocket_table
from flipkit.analysis.shop_knowledge import FEE_PRICES, _fees, endings, shop_knowledge
from flipkit.assumptions import load_assumptions
from flipkit.errors import AssumptionError
from flipkit.rules.fees import order_fee_lines


@pytest.fixture(scope="module")
def study(demo_study):
    return demo_study


@pytest.fixture(scope="module")
def knowledge(study):
    return shop_knowledge(study)


def test_every_category_is_known_and_so_is_the_whole_shop(study, knowledge):
    assert set(knowledge["categories"]) == {*study.categories, SHOP}
    for name, kind in knowledge["categories"].items():
        assert sum(kind["size_shares"].values()) == pytest.approx(1), name
        assert 0 < kind["never_share"] < 1
        assert all(terms["before_min"] > 0 and terms["sale_min"] > 0 for terms in kind["sizes"].values())


def test_fees_are_the_schedules_of_today(study, knowledge):
    for place, schedule in study.rules.fee_schedules.items():
        kind = knowledge["categories"]["hand tools"]
        sold = study.items[(study.items["category"] == "hand tools") & study.items["sold_on"].notna()]
        posted = sold.loc[sold["zone"] != "pickup", "shipping_charged_cents"].mean()
        shipping = 0 if place in knowledge["collected"] else round(posted)
        n = len(FEE_PRICES)
        lines = order_fee_lines(
            schedule,
            on=study.as_of,
            goods_cents=np.array(FEE_PRICES),
            shipping_cents=np.full(n, shipping),
            category=np.full(n, "hand tools"),
        )
        assert kind["fees"][place] == lines["total_cents"].tolist()


def test_before_a_schedule_begins_fees_are_the_assumed_ones(study):
    # As a seller has it who fills in this year's schedule beside books of last year.
    early = SimpleNamespace(rules=study.rules, assumptions=study.assumptions, as_of=dt.date(2024, 12, 31))
    rate, fixed = study.assumptions.ppm("fees.assumed_rate"), study.assumptions.cents("fees.assumed_per_order")
    found = _fees("lantern", "stoneware", 0.0, early)
    # Half a cent counts as a whole one.
    assert found == [(price * rate + 500_000) // 1_000_000 + fixed for price in FEE_PRICES]


def test_work_at_a_sale_is_what_the_books_say_pulled_a_little(study, knowledge):
    items = study.items
    mine = items[(items["category"] == "hand tools") & (items["size_class"] == "small") & items["sold_on"].notna()]
    mine = mine[mine["zone"] != "pickup"]
    own = mine[["messages_min", "pack_min", "post_min", "returns_min"]].sum(axis=1).mean()
    kept = knowledge["categories"]["hand tools"]["sizes"]["small"]["sale_min"]
    assert len(mine) > 80
    assert kept == pytest.approx(own, rel=0.08)


def test_what_loses_money_in_truth_is_worth_nothing(knowledge):
    # The demo's folding chairs cost more to send than they bring, and its framed prints mostly never sell.
    assert answer(knowledge, "folding chairs").highest_cents == 0
    assert answer(knowledge, "framed prints").highest_cents == 0
    assert answer(knowledge, "film cameras and lenses").highest_cents > 500
    assert knowledge["categories"]["framed prints"]["never_share"] > 0.45
    assert knowledge["categories"]["hand tools"]["never_share"] < 0.25


def test_the_pocket_table_rises_with_the_price(knowledge):
    rows = pocket_table(knowledge, categories=["hand tools", "wool blankets"])
    assert len(rows) >= 6
    for low, usual, high in zip(rows[::3], rows[1::3], rows[2::3], strict=True):
        assert len({(row["category"], row["size_class"]) for row in (low, usual, high)}) == 1
        assert low["price_cents"] <= usual["price_cents"] <= high["price_cents"]
        assert low["highest_cents"] <= usual["highest_cents"] <= high["highest_cents"]


def test_endings_are_read_or_refused():
    assert endings(load_assumptions(overrides={"pricing.endings": "95, 99"})) == [95, 99]
    with pytest.raises(AssumptionError, match="cents from 0 to 99"):
        endings(load_assumptions(overrides={"pricing.endings": "1.99"}))


def test_what_a_pound_more_costs_is_the_slope_of_the_shops_labels(study, knowledge):
    sold = study.items[study.items["sold_on"].notna() & (study.items["zone"] != "pickup")]
    small = sold[(sold["size_class"] == "small") & sold["weight_lb"].notna()]
    slope = np.polyfit(small["weight_lb"].astype(float), small["label_cents"].astype(float), 1)[0]
    charged = small["shipping_charged_cents"].sum() / small["label_cents"].sum()
    for kind in knowledge["categories"].values():
        assert kind["sizes"]["small"]["pound_cents"] == pytest.approx(slope * (1 - charged))
        # Nothing oversize was posted: nobody knows what a pound more of it costs.
        assert kind["sizes"]["oversize"]["pound_cents"] == 0
        assert 0 < kind["sizes"]["small"]["weight_lb"] < kind["sizes"]["bulky"]["weight_lb"]
