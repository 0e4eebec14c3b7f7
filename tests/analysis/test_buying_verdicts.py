"""One decision a category: the bounds at their edges, nothing said of too few, and every figure its own."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flipkit.analysis.decisions import (
    BUY,
    FEW_FINDS,
    LEAVE,
    PACK_SMALLER,
    PRICE_AS_RECOMMENDED,
    STOP_BUYING,
    UNDER_A_PRICE,
    VERDICTS,
    biggest_changes,
    buying_verdict,
    decide,
)
from flipkit.analysis.max_bid import LEAST_CENTS, answer, pocket_table
from flipkit.analysis.returns import LIKELY, TOO_FEW, UNLIKELY, in_window
from flipkit.reports.study import open_study
from tests.helpers.random_shops import aisle_faults, random_shop

SHARES = st.floats(0.0, 1.0)


@pytest.fixture(scope="module")
def study(demo_study):
    return demo_study


def decided(study, *, ranking=None, purchases=None, knowledge=None):
    if purchases is None:
        typical = study.items.assign(typical_cents=study.selling[1].cents)
        purchases = in_window(typical, window=study.window(), basis="bought")
    found = decide(
        study.ranking if ranking is None else ranking,
        study.bought_returns,
        purchases,
        study.knowledge if knowledge is None else knowledge,
        target=study.target,
        plan=study.price_plan,
    )
    return {one.category: one for one in found}


@pytest.fixture(scope="module")
def every(study):
    return {one.category: one for one in study.verdicts}


@pytest.fixture(scope="module")
def some(study):
    """What the books know of three kinds, which is quicker."""
    names = ("film cameras and lenses", "hand tools", "folding chairs", "whole shop")
    return {**study.knowledge, "categories": {name: study.knowledge["categories"][name] for name in names}}


@pytest.mark.parametrize(
    ("chance", "cheap", "said"),
    [
        (LIKELY, FEW_FINDS, BUY),
        (math.nextafter(LIKELY, 0), FEW_FINDS, UNDER_A_PRICE),
        (LIKELY, math.nextafter(FEW_FINDS, 0), UNDER_A_PRICE),
        # Without a price there is no buying below one.
        (LIKELY, 0.0, LEAVE),
        (UNLIKELY, math.nextafter(FEW_FINDS, 0), LEAVE),
        (math.nextafter(UNLIKELY, 1), 0.01, UNDER_A_PRICE),
        (math.nextafter(UNLIKELY, 1), 0.0, LEAVE),
        (UNLIKELY, FEW_FINDS, UNDER_A_PRICE),
        (0.0, 0.0, LEAVE),
        (1.0, 1.0, BUY),
    ],
)
def test_the_bounds_at_their_edges(chance, cheap, said):
    assert buying_verdict(chance, cheap, claimed=True) == said


@given(SHARES, SHARES, SHARES, SHARES)
def test_more_chance_and_more_cheap_finds_never_make_it_worse(chance, cheap, more_chance, more_cheap):
    low = buying_verdict(min(chance, more_chance), min(cheap, more_cheap), claimed=True)
    high = buying_verdict(max(chance, more_chance), max(cheap, more_cheap), claimed=True)
    assert VERDICTS.index(high) <= VERDICTS.index(low)


@given(SHARES, SHARES)
def test_where_nothing_is_claimed_nothing_is_to_be_acted_on(chance, cheap):
    assert buying_verdict(chance, cheap, claimed=False) == TOO_FEW
    assert buying_verdict(math.nan, cheap, claimed=True) == TOO_FEW


def test_every_category_has_one_decision_and_its_figures_are_the_kits_own(study, every):
    found = every
    assert sorted(found) == study.categories
    ranking = study.ranking.set_index("category")
    bought = in_window(study.items, window=study.window(), basis="bought")
    for name, one in found.items():
        assert one.verdict != TOO_FEW
        costs = bought.loc[bought["category"] == name, "cost_cents"]
        # The same price as the aisle gives for a thing that sells at the typical one.
        assert one.highest_cents == answer(study.knowledge, name, price_cents=one.typical_cents).highest_cents
        assert one.recommended_cents >= one.highest_cents
        assert one.cheap_share == pytest.approx((costs <= one.highest_cents).mean() if one.highest_cents else 0)
        assert one.chance == ranking.loc[name, "beats_target"]
        assert one.verdict == buying_verdict(one.chance, one.cheap_share, claimed=True)
        # No buying below a price without a price, and none said where even a free one is to be left.
        assert (one.verdict not in (BUY, UNDER_A_PRICE)) or one.highest_cents >= LEAST_CENTS
        assert "even if it's free" not in one.sentence or not one.highest_cents
        assert sum(count for _, count in one.stock) == (study.price_plan["category"] == name).sum()


def test_the_aisle_says_what_the_page_says_of_every_kind_and_size(study, tmp_path):
    assert aisle_faults(study) == []
    for seed in (0, 7):
        assert aisle_faults(open_study(random_shop(tmp_path / f"shop {seed}", seed))) == []


def test_the_threshold_of_what_is_left_is_where_it_bears_its_usual_cost(study, every):
    left = [one for one in every.values() if one.verdict == LEAVE and one.sells_from_cents is not None]
    assert left
    for one in left:
        above = answer(study.knowledge, one.category, price_cents=one.sells_from_cents * 1.01).highest_cents
        below = answer(study.knowledge, one.category, price_cents=one.sells_from_cents * 0.97).highest_cents
        assert below < one.usual_cost_cents <= above
        assert f"${one.sells_from_cents // 100:,}" in one.sentence


def test_the_demo_shop_hears_all_three(every):
    assert {one.verdict for one in every.values()} == {BUY, UNDER_A_PRICE, LEAVE}


@pytest.mark.parametrize("chance", [0.0, 1.0])
def test_too_few_never_gets_a_verdict_to_act_on_nor_a_figure(study, some, chance):
    ranking = study.ranking.assign(claimed=study.ranking["category"] != "hand tools", beats_target=chance)
    one = decided(study, ranking=ranking, knowledge=some)["hand tools"]
    assert one.verdict == TOO_FEW
    assert np.isnan([one.chance, one.hourly, one.cheap_share]).all()
    assert (one.highest_cents, one.sells_from_cents, one.prices) == (0, None, ())
    assert one.items > study.knowledge["too_few_items"]


def test_a_category_without_purchases_in_the_months_is_named_all_the_same(study, some):
    one = decided(study, ranking=study.ranking[study.ranking["category"] != "hand tools"], knowledge=some)["hand tools"]
    assert (one.verdict, one.items) == (TOO_FEW, 0)


def test_a_shop_with_few_sales_is_told_nothing_to_act_on(study, some):
    needed = study.knowledge["too_few_items"]
    kinds = dict(some["categories"])
    kinds["whole shop"] = {**kinds["whole shop"], "sold": needed - 1}
    found = decided(study, knowledge={**study.knowledge, "categories": kinds})
    assert {one.verdict for one in found.values()} == {TOO_FEW}


def test_cheaper_finds_make_a_verdict_no_worse(study, every, some):
    typical = study.items.assign(typical_cents=study.selling[1].cents)
    bought = in_window(typical, window=study.window(), basis="bought")
    ranking = study.ranking.assign(beats_target=UNLIKELY)
    name = "film cameras and lenses"
    highest = every[name].highest_cents
    above, at = (
        decided(study, ranking=ranking, purchases=bought.assign(cost_cents=cost), knowledge=some)
        for cost in (highest + 1, highest)
    )
    assert above[name].verdict == LEAVE
    assert at[name].verdict == UNDER_A_PRICE


def test_record_and_prices_that_disagree_are_said_to(study, every, some):
    assert all("disagree" not in one.note for one in every.values() if one.verdict != LEAVE)
    rich = study.ranking.assign(pulled=study.ranking["pulled"] + 60)
    noted = [one.note for one in decided(study, ranking=rich, knowledge=some).values()]
    assert all("Go by the prices, the lower of the two" in note for note in noted)


def test_the_order_is_best_verdict_first_then_by_chance(every):
    found = list(every.values())
    places = [VERDICTS.index(one.verdict) for one in found]
    assert places == sorted(places)
    for verdict in VERDICTS:
        assert pd.Series([round(one.chance, 2) for one in found if one.verdict == verdict]).is_monotonic_decreasing


def test_the_changes_are_ranked_and_each_is_the_sum_of_its_parts(study):
    found = study.biggest_changes
    assert {one.name for one in found} == {STOP_BUYING, PRICE_AS_RECOMMENDED, PACK_SMALLER}
    assert [one.cents_a_month for one in found] == sorted((one.cents_a_month for one in found), reverse=True)
    for one in found:
        assert one.cents_a_month == sum(cents for _, cents in one.parts)
        assert all(cents > 0 for _, cents in one.parts)
    left = {one.category for one in study.decisions if one.verdict == LEAVE}
    stop = next(one for one in found if one.name == STOP_BUYING)
    assert {name for name, _ in stop.parts} <= left
    # The hours that it frees are those of the same kinds, and fill up to what they would make at the target.
    bought = study.bought_returns.set_index("category")["expected_min"]
    assert stop.hours == pytest.approx(sum(bought[name] for name, _ in stop.parts) / 60 / study.months_looked_back)
    made = sum(study.decision(name).hourly * bought[name] / 60 for name, _ in stop.parts) / study.months_looked_back
    assert made + stop.cents_a_month / 100 == pytest.approx(study.target * stop.hours, abs=0.1)


def test_what_is_left_says_the_sizes_of_which_a_cheap_one_pays(study, every):
    """A price for some size on the sheet and a verdict to leave the kind stand in one sentence."""
    sheet = pocket_table(study.knowledge, categories=[one.category for one in every.values() if one.verdict == LEAVE])
    pays = {(row["category"], row["size_class"]): row["highest_cents"] for row in sheet if row["which"] == "usual"}
    said = {(one.category, size): cents for one in every.values() for size, cents in one.cheap_sizes}
    assert said == {key: cents for key, cents in pays.items() if cents >= LEAST_CENTS}
    assert said
    for (name, size), cents in said.items():
        assert f"up to ${cents // 100} for a {size} one" in every[name].sentence


@pytest.mark.worked
def test_what_stopping_is_worth_counts_an_hour_at_the_target(study):
    one = dataclasses.replace(study.decision("folding chairs"), hourly=6.0)
    returns = pd.DataFrame({"category": ["folding chairs"], "expected_min": [1200.0]})
    # Twenty hours in ten months, each 18 - 6 dollars short: 24 dollars a month.
    found = biggest_changes([one], returns, pd.DataFrame(), study.knowledge, target=18.0, months=10)
    assert found[0].cents_a_month == 2400
