"""Sums that sliders work on, against the full model run anew."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest

from flipkit.analysis.returns import bought_returns
from flipkit.analysis.sliders import MovingSums, PageSettings, moved_returns
from flipkit.economics.items import item_economics
from flipkit.economics.overrides import labels_dearer, with_divisor
from flipkit.reports.sliders import help_paid, starting_settings, study_sums
from flipkit.reports.study import open_study

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def study(demo_folder):
    return open_study(demo_folder)


@pytest.fixture(scope="module")
def sums(study):
    return study_sums(study)


def by_category(study, economics):
    """Net and hours of what sold in the window, by category."""
    items = economics.items.loc[study.sold_items().index]
    return items.groupby("category").agg(net=("net_cents", "sum"), minutes=("owner_min", "sum"), n=("item_id", "size"))


@pytest.mark.parametrize("basis", ["bought", "sold"])
def test_unmoved_they_are_the_report(study, sums, basis):
    start = starting_settings(study)
    moved = moved_returns(sums[basis], start, wage=start.wage).set_index("category")
    known = getattr(study, f"{basis}_returns").set_index("category").loc[moved.index]
    for name in ("hourly", "low", "high"):
        assert moved[name].to_numpy() == pytest.approx(known[name].to_numpy(), abs=1e-4, nan_ok=True)
    assert moved["verdict"].tolist() == known["verdict"].tolist()


def test_a_wage_moves_them_as_it_moves_the_full_model(study, sums):
    people = study.books.people.copy()
    people.loc[people["role"] == "hired", "wage_cents"] = 2450
    books = type(study.books)(**{**vars(study.books), "people": people})
    full = by_category(study, item_economics(books, study.rules, study.assumptions, study.as_of))
    moved = moved_returns(sums["sold"], PageSettings(study.target, 24.50), wage=help_paid(study)[0]).set_index(
        "category"
    )
    unmoved = moved_returns(sums["sold"], starting_settings(study), wage=help_paid(study)[0]).set_index("category")[
        "net"
    ]
    assert (moved["net"] - unmoved.loc[moved.index]).abs().max() > 1
    # Help is rounded to the cent once a logged entry, here once a category.
    gap = (moved["net"] - full["net"].loc[moved.index] / 100).abs()
    assert (gap <= 0.01 * full["n"].loc[moved.index]).all()


@pytest.mark.parametrize(
    ("settings", "lines"),
    [
        ({"price": 1.2}, {"sold_price": 1.2, "marketplace_fee": 1.2}),
        ({"postage": 0.7}, {"label": 0.7}),
        ({"cost": 1.5}, {"cost": 1.5}),
        (
            {"price": 0.9, "postage": 1.2, "cost": 0.8},
            {"sold_price": 0.9, "marketplace_fee": 0.9, "label": 1.2, "cost": 0.8},
        ),
    ],
)
def test_counting_unsold_items_they_move_as_the_full_model_does(study, sums, settings, lines):
    """Every forecast of waiting stock made anew from lines multiplied one by one, against sums and slopes."""
    start = starting_settings(study)
    items = study.planned_items.copy()
    for name, factor in lines.items():
        more = (items[f"{name}_cents"] * (factor - 1)).round().astype("int64")
        items[f"{name}_cents"] += more
        items["net_cents"] += more if name == "sold_price" else -more
    full = bought_returns(items, window=study.window(), horizon=study.horizon, settings=study._settings)
    full = full.set_index("category")["hourly"]
    moved = moved_returns(sums["bought"], dataclasses.replace(start, **settings), wage=start.wage)
    moved, before = moved.set_index("category")["hourly"], study.bought_returns.set_index("category")["hourly"]
    gap, move = (moved - full.loc[moved.index]).abs(), (full - before.loc[full.index]).abs()
    assert move.max() > 1
    # What waiting stock brings follows the late sales' prices by a quotient: a straight line is off by a little.
    assert gap.max() < 0.03 * move.max()


@pytest.mark.parametrize("divisor", [139, 194])
def test_a_divisor_moves_labels_as_the_full_model_does(study, divisor):
    sold = study.sold_items()
    economics = item_economics(study.books, with_divisor(study.rules, divisor), study.assumptions, study.as_of)
    full = economics.items.loc[sold.index, "label_cents"] - sold["label_cents"]
    found = labels_dearer(sold, divisor, rules=study.rules, assumptions=study.assumptions)
    dearer = pd.Series(found, index=sold.index)
    computed = (sold["label_origin"] == "rule") | (sold["label_origin"] == "assumed")
    assert computed.any()
    assert (full[computed] == dearer[computed]).all()
    assert (dearer[sold["zone"] == "pickup"] == 0).all()
    assert (dearer >= 0).all() if divisor == 139 else (dearer <= 0).all()


def test_sliders_start_from_what_is_supposed(study):
    supposed = {"suppose.divisor": 166, "help.wage": "21.00", "suppose.wage_for": "everybody", "suppose.minutes": 1.5}
    other = open_study(study.books.path, settings=supposed)
    sums, start = study_sums(other), starting_settings(other)
    assert start.wage == 21.0
    unmoved = moved_returns(sums["sold"], start, wage=start.wage).set_index("category")["hourly"]
    sold = other.sold_returns.set_index("category")["hourly"]
    assert unmoved.to_numpy() == pytest.approx(sold.loc[unmoved.index].to_numpy(), abs=1e-4)
    # A parcel weighed at the divisor that is supposed already is weighed as it is.
    at_166 = moved_returns(sums["sold"], PageSettings(start.target, start.wage, divisor=166), wage=start.wage)
    assert at_166.set_index("category")["hourly"].loc[unmoved.index].tolist() == unmoved.tolist()
    assert (study.sold_returns.set_index("category")["hourly"] - sold).abs().max() > 1


@pytest.mark.worked
def test_points_minutes_and_interval_by_hand():
    # Two trips: net 10 and 20, help 2 and 0, a point worth 1 and 3, hours 1 and 1.
    n, h, p, m = (np.array(pair, dtype=float) for pair in ((10, 20), (-2, 0), (-1, -3), (1, 1)))
    parts = np.zeros((11, 2))
    parts[[0, 4, 6, 10]] = n, h, p, m
    # Ratio 15, residuals -5 and 5, error sqrt(50) / 2.
    row = MovingSums("x", 20, True, 11.0, 21.0, parts.sum(axis=1), parts @ parts.T)
    found = moved_returns([row], PageSettings(target=10, wage=20, points=2, factor=0.5), wage=10).iloc[0]
    # Help doubles: net 30 - 2 - 2 x 4 = 20 in one hour. Trips 10-2-2 = 6 and 20-0-6 = 14, ratio 10 an unhalved
    # hour, residuals -4 and 4, error sqrt(32) in one hour: stretched by sqrt(32) / (sqrt(50) / 2) = 1.6.
    assert found["hourly"] == pytest.approx(20.0)
    assert (found["low"], found["high"]) == pytest.approx((20 - 4 * 1.6, 20 + 6 * 1.6))
    assert found["verdict"] == "above the target"
