"""Chances of a sale of what is on the shelf: honest on a shop whose future is drawn."""

from __future__ import annotations

import datetime as dt
import json
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from flipkit.analysis.forecasts import (
    Forecast,
    _Paid,
    _price_ends,
    forecast_table,
    imagined_months,
    item_outcomes,
    score_table,
    scored,
    stock_forecasts,
)
from flipkit.assumptions import load_assumptions
from flipkit.simulation.shops import Draws
from tests.benchmarks.buying_year import knowledge_of, year_assumptions
from tests.benchmarks.price_habits import TODAY, learned_from, past_books, world
from tests.benchmarks.scenarios import scenarios


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
    due = _Paid(np.array([0.7, 0.8, 0.9, 1.0]), np.array([0.02, 0.03, 0.85, 0.1]), 0.88)
    kind, chance = np.array([0, 0, 0, 0, 1]), np.full(5, 0.2)
    found = _price_ends([just, due], kind, chance, np.full(5, 2000.0), level=0.95)
    assert found.tolist() == [[0.9, 0.95, 1.0]] * 4 + [[0.8, 0.88, 0.9]]
    # Where nothing is soon due, nothing lies above.
    assert _price_ends([just], kind[:1], chance[:1], np.array([2000.0]), level=0.95).tolist() == [[0.9, 0.95, 1.0]]
    # Where not all can have it, the dearest do: of two things due and six others, one of the two.
    kind, asked = np.array([0] * 4 + [1, 1]), np.array([2000.0] * 4 + [2000.0, 9000.0])
    found = _price_ends([just, due], kind, np.full(6, 0.2), asked, level=0.95)
    assert found[:, 2].tolist() == [1.0] * 4 + [1.0, 0.9]


def test_what_has_waited_through_many_chances_is_less_likely_to_sell(foretold):
    told, _, known = foretold
    waited = (pd.Timestamp(told["made_on"].iloc[0]) - known.set_index("item_id")["listed_on"]).dt.days
    chances = told[told["what"] == "sale"].set_index("subject")["chance"]
    weeks = waited[chances.index] / 7
    assert chances[weeks < 8].mean() > 1.2 * chances[weeks > 35].mean()


def months_of(net_cents, *, listed=None):
    """Sales on the 20th of January 2026 and of the months after it, an hour of work each."""
    day = pd.date_range("2026-01-20", periods=len(net_cents), freq=pd.DateOffset(months=1))
    return pd.DataFrame(
        {
            "item_id": [str(at) for at in range(len(net_cents))],
            "category": "mugs",
            "trip_id": "t",
            "status": "sold",
            "listed_on": day if listed is None else pd.to_datetime(listed),
            "sold_on": day,
            "days_listed": 0.0,
            "net_cents": net_cents,
            "owner_min": 60.0,
            "cost_cents": 0,
            "list_price_cents": 2000,
            "sold_price_cents": 2000,
        }
    )


SEPTEMBER = {"as_of": dt.date(2026, 8, 31), "due_on": dt.date(2026, 9, 30), "months": 12, "seed": 1}


@pytest.mark.worked
def test_a_months_own_listings_are_as_those_of_the_months_before():
    # Eight months of 10 and 14 dollars in turn: mean 12, standard deviation 2.138; the next one of eight lies about
    # it by that times the root of 1 + 1/8, and a t distribution of 7 freedoms is wider by the root of 7/5.
    found = imagined_months(months_of([1000, 1400] * 4), forecast_table([]), None, **SEPTEMBER)
    assert found["net_cents"].mean() == pytest.approx(1200, abs=20)
    assert found["net_cents"].std() == pytest.approx(213.8 * (9 / 8) ** 0.5 * 1.4**0.5, rel=0.08)
    assert found["owner_min"].std() == pytest.approx(0, abs=1e-9)


def test_what_was_on_sale_before_a_month_began_is_none_of_its_own_listings():
    items = months_of([1000] * 8)
    # Listed in January and sold in the months after it: no thing of those months' own.
    early = pd.concat([items, months_of([5000] * 8, listed=["2026-01-05"] * 8).tail(7)], ignore_index=True)
    early["item_id"] = early.index.astype(str)
    found = imagined_months(early, forecast_table([]), None, **SEPTEMBER)
    assert found["net_cents"].to_numpy() == pytest.approx(1000)


def test_a_month_that_has_begun_keeps_its_sales_and_takes_the_rest_from_the_same_days_of_others():
    items = months_of([1000] * 9)
    late = {"as_of": dt.date(2026, 9, 25), "due_on": dt.date(2026, 9, 30), "months": 12, "seed": 1}
    # By the 25th September's own sale of the 20th is in; after their 25th the other months sold nothing.
    assert imagined_months(items, forecast_table([]), None, **late)["net_cents"].to_numpy() == pytest.approx(1000)
    early = {**late, "as_of": dt.date(2026, 9, 19)}
    begun = items[items["sold_on"] <= "2026-09-19"]
    assert imagined_months(begun, forecast_table([]), None, **early)["net_cents"].to_numpy() == pytest.approx(1000)
    assert imagined_months(items.tail(5), forecast_table([]), None, **late).empty


@pytest.mark.worked
def test_things_on_sale_bring_what_sales_leave_of_their_forecast_price():
    # Sales leave 80 % of the price less 2 dollars: at 30 dollars 22, less 5 that the thing cost; two of three sell.
    items = months_of([1400] * 8)
    items["sold_price_cents"] = [1500, 2000, 2500, 2000] * 2
    items["net_cents"] = items["sold_price_cents"] * 0.8 - 200
    things = items.head(3).assign(item_id=["x", "y", "z"], status="for sale", sold_on=pd.NaT, sold_price_cents=0)
    things["net_cents"], things["cost_cents"], things["owner_min"] = -500, 500, 20.0
    made, due = SEPTEMBER["as_of"], SEPTEMBER["due_on"]
    told = [
        Forecast(made, due, "sale", name, "mugs", chance=sure)
        for name, sure in zip("xyz", (1.0, 1.0, 0.0), strict=True)
    ]
    price = {"low": 2000.0, "middle": 3000.0, "high": 3000.0, "level": 0.95}
    told += [Forecast(made, due, "sold price", name, "mugs", **price) for name in "xyz"]
    sure = SimpleNamespace(pace_covariance=lambda names, ratio, weeks: np.zeros((1, 1)))
    both = pd.concat([items, things], ignore_index=True)
    alone = imagined_months(items, forecast_table([]), None, **SEPTEMBER)
    found = imagined_months(both, forecast_table(told), sure, **SEPTEMBER)
    assert (found["net_cents"] - alone["net_cents"]).to_numpy() == pytest.approx(2 * (2200 - 500))
    # What is unsure in the pace moves all chances together.
    unsure = SimpleNamespace(pace_covariance=lambda names, ratio, weeks: np.full((1, 1), 0.25))
    half = [one._replace(chance=0.5) if one.what == "sale" else one for one in told]
    spread = [
        imagined_months(both, forecast_table(half), one, **SEPTEMBER)["net_cents"].std() for one in (sure, unsure)
    ]
    assert spread[1] > 1.05 * spread[0]


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
