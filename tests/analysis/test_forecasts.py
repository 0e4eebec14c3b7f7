"""Chances of a sale of what is on the shelf: honest on a shop whose future is drawn."""

from __future__ import annotations

import datetime as dt
import json

import numpy as np
import pandas as pd
import pytest

from flipkit.analysis.forecasts import (
    _Paid,
    _price_ends,
    imagined_months,
    item_outcomes,
    month_interval,
    return_forecast,
    score_table,
    scored,
    stock_forecasts,
)
from flipkit.assumptions import load_assumptions
from flipkit.simulation.demo import scenarios
from flipkit.simulation.shops import Draws
from tests.benchmarks.buying_year import knowledge_of, year_assumptions
from tests.benchmarks.price_habits import TODAY, learned_from, past_books, world


@pytest.fixture(scope="module")
def foretold():
    """A shop as of a day before the last that is known, and what its things did in the month between."""
    assumptions = load_assumptions(overrides=year_assumptions({}))
    kinds = scenarios()[0].shop.kinds
    worlds = [world(kind, hour_cents=1500, storage_cuft_month_cents=50, trip_spread=0.15) for kind in kinds]
    items, changes, like = past_books(worlds, things=150, draws=Draws(8))
    then = TODAY - dt.timedelta(days=28)
    day = pd.Timestamp(then)
    known = items.copy()
    known["listed_on"] = known["listed_on"].where(known["listed_on"] <= day)
    for name in ("sold_on", "gone_on"):
        known[name] = known[name].where(known[name] <= day)
    known["sold_price_cents"] = known["sold_price_cents"].where(known["sold_on"].notna(), 0)
    on_sale = known["listed_on"].notna() & known["sold_on"].isna() & known["gone_on"].isna()
    known["status"] = np.where(on_sale, "for sale", "gone")
    earlier = changes[changes["changed_on"] <= day].reset_index(drop=True)
    model, typical = learned_from(known, earlier, like, as_of=then, assumptions=assumptions)
    told = stock_forecasts(known, earlier, model, typical, as_of=then, due_on=TODAY, level=0.8)
    return told, items.assign(days_listed=0.0), known


def test_every_thing_on_sale_has_a_chance_and_a_price(foretold):
    told, _, known = foretold
    chances = told[told["what"] == "sale"]
    assert len(chances) == (known["status"] == "for sale").sum() > 100
    assert chances["chance"].between(0, 1).all()
    assert chances["chance"].nunique() > 50


def test_as_many_sell_as_was_said_and_chances_beat_the_base_rate(foretold):
    told, later, _ = foretold
    table = score_table(scored(told, item_outcomes(later, told), as_of=TODAY)).set_index("what")
    sale = table.loc["sale"]
    assert abs(sale["bias"]) < 3 * sale["bias_error"] + 0.02
    assert sale["brier"] < sale["brier_of_base"]


@pytest.mark.worked
def test_the_tail_above_is_left_where_the_price_of_today_is_least_likely():
    # Of things just priced 60 % bring what is asked; of those soon due for a lower price 10 %, and they are a fifth
    # of the sales: a tenth of a fifth is 2 %, within the 2.5 % that may lie above; 60 % of the rest would be too much.
    just = _Paid(np.array([0.8, 0.9, 1.0]), np.array([0.02, 0.38, 0.6]), 0.95)
    due = _Paid(np.array([0.7, 0.8, 0.9, 1.0]), np.array([0.02, 0.03, 0.85, 0.1]), 0.9)
    found = _price_ends([just, due], np.array([80.0, 20.0]), level=0.95)
    assert found == [(0.9, 0.95, 1.0), (0.8, 0.9, 0.9)]
    # Where nothing is soon due, nothing lies above.
    assert _price_ends([just], np.array([1.0]), level=0.95) == [(0.9, 0.95, 1.0)]


def test_what_has_waited_through_many_chances_is_less_likely_to_sell(foretold):
    told, _, known = foretold
    waited = (pd.Timestamp(told["made_on"].iloc[0]) - known.set_index("item_id")["listed_on"]).dt.days
    chances = told[told["what"] == "sale"].set_index("subject")["chance"]
    weeks = waited[chances.index] / 7
    assert chances[weeks < 8].mean() > 1.2 * chances[weeks > 35].mean()


def test_figures_of_a_month():
    day = dt.date(2026, 10, 31)
    low, high = month_interval(10.0, 3.0, 4.0, level=0.9)
    made = return_forecast("month hourly", "2026-11", 10.0, low, high, made_on=day, due_on=day, level=0.9)
    assert made.low == pytest.approx(10 - 1.6448536 * 5)
    assert made.what == "month hourly"


@pytest.mark.worked
def test_a_month_keeps_its_days_so_far_and_takes_the_rest_from_months_before():
    day = pd.to_datetime(["2026-01-04", "2026-01-20", "2026-02-11", "2026-03-05", "2026-03-30", None])
    items = pd.DataFrame({"sold_on": day, "net_cents": [900, 2000, 3000, 500, 7000, 0], "owner_min": 60.0})
    march = pd.Period("2026-03")
    within = imagined_months(items, march, as_of=dt.date(2026, 3, 10), months=12)
    # 5.00 so far beside 20.00 of January after its 10th and 30.00 of February: two hours each.
    assert within["net_cents"].tolist() == [2500, 3500]
    assert within["hourly"].tolist() == [12.5, 17.5]
    # Past the 25th nothing of those months is left: what came in counts alone.
    assert imagined_months(items, march, as_of=dt.date(2026, 3, 25), months=12)["net_cents"].tolist() == [500, 500]
    ahead = imagined_months(items, march, as_of=dt.date(2026, 2, 28), months=12)
    assert ahead["net_cents"].tolist() == [2900, 3000]
    assert imagined_months(items, march, as_of=dt.date(2026, 2, 28), months=1)["net_cents"].tolist() == [3000]


def test_knowledge_is_plain_and_complete():
    assumptions = load_assumptions(overrides=year_assumptions({}))
    kinds = scenarios()[0].shop.kinds[:2]
    worlds = [world(kind, hour_cents=1500, storage_cuft_month_cents=50, trip_spread=0.15) for kind in kinds]
    found = knowledge_of(worlds, things=40, assumptions=assumptions, draws=Draws(3))
    assert json.loads(json.dumps(found)) == found
    assert set(found["categories"]) == {*(kind.name for kind in kinds), "whole shop"}
    for kind, name in zip(kinds, found["categories"], strict=False):
        assert set(found["categories"][name]["sizes"]) == {"small", "medium", "bulky", "oversize"}
        assert found["categories"][kind.name]["typical_cents"] == pytest.approx(100 * kind.price_usd, rel=0.3)
