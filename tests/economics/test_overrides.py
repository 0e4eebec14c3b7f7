"""Suppositions laid over the lines of an item: by hand, and against the economics computed anew."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from flipkit.assumptions import load_assumptions
from flipkit.books.read import read_books
from flipkit.books.schema import ACTIVITIES
from flipkit.economics.items import LINES, Supposing, item_economics, net_of
from flipkit.economics.overrides import NOTHING_SUPPOSED, supposed_lines, suppositions
from flipkit.errors import AssumptionError
from flipkit.rules.tables import load_rules
from tests.helpers.small_books import small_books

AS_OF = dt.date(2026, 3, 31)
ITEMS = """
item_id,title,category,bought_on,cost,listed_on,sold_on,sold_price,shipping_charged,zone,fees_paid,label_paid
A,Jug,stoneware,2025-11-01,10.00,2025-11-05,2026-01-10,50.00,12.00,4,7.10,11.30
B,Jar,stoneware,2025-11-01,5.00,2025-11-05,,,,,,
C,Vase,stoneware,2026-03-01,6.00,2026-03-03,2026-03-20,30.00,,pickup,0.00,
"""
WORK = """
date,activity,minutes,worker,item_id
2026-01-11,pack,60,juno,A
2026-01-11,post,10,wren,A
"""
PEOPLE = """
worker,role,wage,payroll_burden
wren,owner,,
juno,hired,16.50,9 %
"""


@pytest.fixture(scope="module")
def books(tmp_path_factory):
    return small_books(tmp_path_factory.mktemp("books"), items=ITEMS, work=WORK, people=PEOPLE)


def economics(books, **supposed):
    values = {key.replace("__", "."): value for key, value in supposed.items()}
    return item_economics(books, load_rules(), load_assumptions(overrides=values), AS_OF).items.set_index("item_id")


@pytest.mark.worked
def test_points_are_of_price_and_shipping_where_a_fee_was_paid(books):
    plain, moved = economics(books), economics(books, suppose__fee_points=2.5)
    # 2.5 % of 62.00 is 1.55 on top of 7.10; nothing where no fee was paid or nothing sold
    assert moved["marketplace_fee_cents"].tolist() == [865, 0, 0]
    assert moved["marketplace_fee_origin"].tolist() == ["assumed", "none", "recorded"]
    assert (plain["net_cents"] - moved["net_cents"]).tolist() == [155, 0, 0]
    # Half a point of 62.00 is 0.31, more or less.
    assert economics(books, suppose__fee_points=0.5).loc["A", "marketplace_fee_cents"] == 741
    assert economics(books, suppose__fee_points=-0.5).loc["A", "marketplace_fee_cents"] == 679
    # 20 points less would be 5.30 below nothing at all: a fee is never paid to the seller
    assert economics(books, suppose__fee_points=-20)["marketplace_fee_cents"].tolist() == [0, 0, 0]


@pytest.mark.worked
def test_a_supposed_wage_is_paid_to_everybody_and_an_assumed_one_is_not(books):
    # an hour at 16.50 with 9 % burden, then at 20.00 with the same: 17.985, rounded half up, and 21.80
    assert economics(books)["hired_cents"].tolist() == [1799, 0, 0]
    assert economics(books, help__wage="20.00")["hired_cents"].tolist() == [1799, 0, 0]
    moved = economics(books, help__wage="20.00", suppose__wage_for="everybody")
    assert moved["hired_cents"].tolist() == [2180, 0, 0]
    assert moved["hired_origin"].tolist() == ["assumed", "none", "none"]
    assert economics(books)["hired_origin"].tolist() == ["recorded", "none", "none"]


def test_minutes_move_in_proportion_and_hired_ones_stay(books):
    plain, moved = economics(books), economics(books, suppose__minutes=1.25)
    for name in (*(f"{activity}_min" for activity in ACTIVITIES), "owner_min"):
        assert moved[name].tolist() == (plain[name] * 1.25).tolist()
    assert moved["owner_min"].gt(plain["owner_min"]).all()
    assert moved["hired_min"].tolist() == plain["hired_min"].tolist()
    assert moved.loc["A", "post_origin"] == "assumed"
    assert plain.loc["A", "post_origin"] == "recorded"
    assert moved["net_cents"].tolist() == plain["net_cents"].tolist()


def test_what_is_supposed_is_named(books):
    assert suppositions(load_assumptions()) == []
    assert suppositions(load_assumptions(overrides=NOTHING_SUPPOSED)) == []
    moved = {"suppose.wage_for": "everybody", "suppose.fee_points": 1, "suppose.divisor": 166, "suppose.minutes": 2}
    assert suppositions(load_assumptions(overrides=moved)) == list(moved)
    for key, bad in (("suppose.minutes", 0), ("suppose.divisor", -1), ("suppose.wage_for", "nobody")):
        with pytest.raises(AssumptionError, match=key):
            load_assumptions(overrides={key: bad})


@pytest.fixture(scope="module")
def demo(demo_folder):
    books = read_books(demo_folder)
    return books, load_rules(books.rules_folder), load_assumptions(books.assumptions_file)


def test_a_supposed_divisor_moves_recorded_labels_as_the_rate_cards_say(demo):
    books, rules, assumptions = demo
    as_of = dt.date(2026, 11, 14)
    plain = item_economics(books, rules, assumptions, as_of).items
    lighter, heavier = (
        item_economics(books, rules, assumptions.changed({"suppose.divisor": divisor}), as_of).items
        for divisor in (10_000, 100)
    )
    recorded = plain["label_origin"] == "recorded"
    assert (lighter["label_cents"] <= plain["label_cents"]).all()
    assert (heavier["label_cents"] >= plain["label_cents"]).all()
    for moved in (lighter, heavier):
        changed = moved["label_cents"] != plain["label_cents"]
        assert (changed & recorded).sum() > 10
        assert set(moved.loc[changed, "label_origin"]) == {"assumed"}
        assert (moved.loc[~changed, "label_origin"] == plain.loc[~changed, "label_origin"]).all()
        assert (moved["net_cents"] == net_of(moved)).all()
        assert ((plain["net_cents"] - moved["net_cents"]) == (moved["label_cents"] - plain["label_cents"])).all()


#: Assumptions whose lines alone are computed anew, one line after another.
OTHERS = (
    {},
    {"minutes.pack": 19, "minutes.allowance": "4 %", "minutes.logged_weight": 3},
    {"label.assumed.bulky": "31.00", "materials.assumed.medium": "0.40", "packing.like_plans": 2},
    {"fees.assumed_rate": "9 %", "loss.chance.small": "8 %", "help.share_of_packing": "10 %"},
    {"parcel.weight_lb.medium": 9, "parcel.size_when_unknown": "bulky"},
    {"stock.salvage": "20 %", "protection.declare_from": "30.00", "trip.share_by": "cost"},
)


def test_asked_anew_or_computed_anew_is_the_same_to_the_cent(demo):
    books, rules, assumptions = demo
    as_of = dt.date(2026, 11, 14)
    # Help that no log tells, so that its wage and its burden move something too.
    assumptions = assumptions.changed({"help.share_of_packing": "40 %"})
    asked = Supposing(books, rules, assumptions, as_of)
    draw = np.random.default_rng(8)
    seen = set()
    for others in OTHERS:
        moved = assumptions.changed(
            {
                "help.wage": f"{int(draw.integers(0, 4000)) / 100:.2f}",
                "help.burden": f"{int(draw.integers(0, 30))} %",
                "suppose.wage_for": str(draw.choice(["everybody", "those without a wage"])),
                "suppose.fee_points": float(draw.integers(-20, 41)) / 4,
                "suppose.divisor": int(draw.choice([0, 139, 166, 194])),
                "suppose.minutes": float(draw.integers(10, 41)) / 20,
                "suppose.prices": float(draw.integers(10, 31)) / 20,
                "suppose.postage": float(draw.integers(10, 41)) / 20,
                "suppose.goods": float(draw.integers(0, 41)) / 20,
                # An assumption that touches one line, every line, or none.
                **others,
            }
        )
        anew = item_economics(books, rules, moved, as_of).items
        pd.testing.assert_frame_equal(asked.under(moved).items, anew, check_exact=True)
        assert (anew["net_cents"] == net_of(anew)).all()
        for line in LINES:
            assert set(anew[f"{line}_origin"]) <= {"recorded", "rule", "assumed", "none"}
        seen.add((int(anew["net_cents"].sum()), float(anew["owner_min"].sum())))
    assert len(seen) == 6
    pd.testing.assert_frame_equal(
        asked.under(assumptions).items, item_economics(books, rules, assumptions, as_of).items
    )


@pytest.mark.worked
def test_dearer_postage_moves_what_was_added_and_what_was_given_back():
    # A quarter more: 10.00 -> 12.50, 4.00 added later -> 5.00, 2.00 given back -> 2.50 given back.
    items = pd.DataFrame({"label_cents": [1000, 1000], "label_adjustment_cents": [400, -200]})
    items = items.assign(label_origin="recorded", label_adjustment_origin="recorded")
    held = load_assumptions(overrides={"suppose.postage": 1.25})
    found = supposed_lines(items, held, lambda _: np.zeros(2, dtype=np.int64))
    assert found["label_cents"].tolist() == [1250, 1250]
    assert found["label_adjustment_cents"].tolist() == [500, -250]


@pytest.mark.worked
def test_two_suppositions_on_one_line_are_laid_one_over_the_other():
    # Half as dear again: 60.00 -> 90.00 and its fee of 8.00 -> 12.00; 1.5 % of 94.00 is 1.41 on top of it.
    items = pd.DataFrame({"sold_price_cents": [6000], "shipping_charged_cents": [400], "marketplace_fee_cents": [800]})
    items = items.assign(sold_price_origin="recorded", marketplace_fee_origin="recorded")
    held = load_assumptions(overrides={"suppose.prices": 1.5, "suppose.fee_points": 1.5})
    found = supposed_lines(items, held, lambda _: np.zeros(1, dtype=np.int64))
    assert (found["sold_price_cents"].tolist(), found["marketplace_fee_cents"].tolist()) == ([9000], [1341])
