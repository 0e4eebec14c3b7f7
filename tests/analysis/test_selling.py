"""Chance of a sale by price and week: known truths found again, and the prior where data are few."""

from __future__ import annotations

import dataclasses
import datetime as dt

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize

from flipkit.analysis.comparables import comparable_rules
from flipkit.analysis.demand import wanting
from flipkit.analysis.sale_hazard import (
    OFFER_PARTS,
    SHARED,
    PersonWeeks,
    highest_ratio,
    person_weeks,
    price_endings,
    seller_habit,
    selling_model,
    selling_prior,
    typical_prices,
)
from flipkit.assumptions import load_assumptions
from tests.helpers.path_worth import pace_covariance


@pytest.fixture(scope="module")
def prior():
    return selling_prior(load_assumptions())


def drawn_weeks(
    seed, *, things=600, rate=0.08, pull=2.8, fading=-0.03, weeks=30, spread=0.35, names=("lamps",), never=0.1
):
    """Person-weeks of things at steady prices, straight from the model, some wanted more than others."""
    random = np.random.default_rng(seed)
    ratio = spread * random.standard_normal(things)
    category = random.integers(0, len(names), things)
    level = np.exp(0.4 * random.standard_normal(things)) * (random.random(things) >= never)
    rows = []
    for thing in range(things):
        for week in range(weeks):
            mean = level[thing] * rate * (1 + 0.6 * category[thing]) * np.exp(-pull * ratio[thing] + fading * week)
            hit = random.random() < -np.expm1(-mean)
            rows.append((thing, names[category[thing]], week, ratio[thing], random.random() if not week else 0.5, hit))
            if hit:
                break
    item, name, week, log_ratio, year, sold = zip(*rows, strict=True)
    n = len(rows)
    return PersonWeeks(
        np.array(item),
        np.array(name, dtype=object),
        np.array(week),
        np.array(log_ratio),
        np.ones(n),
        np.zeros(n, dtype=bool),
        np.array(year),
        np.array(sold),
        np.array([0.9, 0.9, 0.81, 0.7]),
    )


def test_a_known_truth_is_found_again(prior):
    model = selling_model(drawn_weeks(1, things=1500), ("lamps",), prior=prior)
    level, level_error = model.level("lamps")
    pull, pull_error = model.pull("lamps")
    assert abs(level - np.log(0.08)) < 3 * level_error
    assert abs(pull - 2.8) < 3 * pull_error
    assert pull_error < 0.2
    odds, odds_error = model.never("lamps")
    assert abs(odds - np.log(0.1 / 0.9)) < 3 * odds_error
    fading = model.mean[SHARED.index("weeks")] + model.mean[SHARED.index("log weeks")] * np.log(31) / 30
    assert fading == pytest.approx(-0.03, abs=0.02)


def test_stated_errors_hold_the_truth_as_often_as_they_say(prior):
    misses = []
    for seed in range(60):
        weeks = drawn_weeks(seed, things=120, weeks=20, names=("lamps", "games"))
        model = selling_model(weeks, ("lamps", "games"), prior=prior)
        for name, true in (("lamps", 0.08), ("games", 0.128)):
            level, error = model.level(name)
            misses.append(abs(level - np.log(true)) > 1.96 * error)
    # 5 % meant of 120 cases; the prior is near the truth, so fewer is no surprise
    assert np.mean(misses) < 0.05 + 3 * np.sqrt(0.05 * 0.95 / 120)


def test_the_mode_is_where_a_general_optimiser_finds_it(prior):
    """The likelihood written anew, thing by thing, and searched without slopes."""
    weeks = drawn_weeks(7, things=60, weeks=12)
    model = selling_model(weeks, (), prior=prior)
    level = wanting(0.0, prior.appeal_spread)
    angle = 2 * np.pi * weeks.year_part
    columns = (np.ones(weeks.week.size), -weeks.log_ratio, weeks.week, np.log1p(weeks.week))
    design = np.column_stack((*columns, np.sin(angle), np.cos(angle), weeks.cut))
    things = [np.flatnonzero(weeks.item == name) for name in np.unique(weeks.item)]

    def loss(beta):
        rate = np.exp(design @ beta[:-1])
        never = 1 / (1 + np.exp(-beta[-1]))
        total = 0.0
        for rows in things:
            unsold = [
                never + (1 - never) * float(level.share @ np.exp(-level.level * met))
                for met in (rate[rows[:-1]].sum(), rate[rows].sum())
            ]
            total += np.log(max(unsold[0] - unsold[1] if weeks.sold[rows[-1]] else unsold[1], 1e-300))
        gap = (beta - np.array(prior.mean)) / np.array(prior.spread)
        return -total + float(gap @ gap) / 2

    found = minimize(loss, model.mean, method="Powell", options={"xtol": 1e-9, "ftol": 1e-14})
    assert loss(model.mean) <= found.fun + 1e-7
    assert model.mean == pytest.approx(found.x, abs=1e-3)


def test_leaving_hidden_differences_out_makes_buyers_look_tired(prior):
    """Why they are in the model: without them waiting itself seems to slow sales."""
    weeks = drawn_weeks(11, things=1500, never=0.35, fading=0.0, weeks=40)
    whole = selling_model(weeks, ("lamps",), prior=prior)
    blind = dataclasses.replace(
        prior,
        appeal_spread=0.0,
        mean=(*prior.mean[:-1], -12.0),
        spread=(*prior.spread[:-1], 0.01),
        category=(*prior.category[:-1], 0.01),
    )
    plain = selling_model(weeks, ("lamps",), prior=blind)
    late = [model.demand("lamps", weeks=40).weekly[39] for model in (whole, plain)]
    assert abs(late[0]) < 0.6
    assert late[1] < -1.0


def test_few_weeks_leave_the_prior_and_many_replace_it(prior):
    shares = []
    for things, weeks_on in ((1, 1), (40, 15), (1500, 15)):
        weeks = drawn_weeks(3, things=things, weeks=weeks_on)
        # no coefficients of the category's own: those would share the credit with the shop's
        found = selling_model(weeks, (), prior=prior).coefficients()
        shares.append(found["data_share"][SHARED.index("pull")])
    assert shares[0] < 0.05 < shares[1] < 0.9 < shares[2]


def test_a_category_without_books_takes_the_shops_level_and_says_that_it_is_unsure(prior):
    model = selling_model(drawn_weeks(5), ("lamps",), prior=prior)
    own, own_error = model.level("lamps")
    other, other_error = model.level("typewriters")
    assert abs(other - own) < 0.6
    assert model.wanted("typewriters").share.sum() == pytest.approx(1)
    assert other_error > 3 * own_error


@pytest.mark.worked
def test_offers_are_the_books_with_a_little_prior(prior):
    plain = dataclasses.replace(prior, offers_per_sale=(0.0,) * 5, offers_weight=10.0)
    weeks = drawn_weeks(1, things=200)
    model = selling_model(weeks, ("lamps",), prior=plain)
    # four of the sales by offer: two at 90 %, one at 81 % (nearest 80 %), one at 70 %; over the
    # sales at the asking price and the prior's ten
    count = weeks.sold.sum() - 4 + 10
    assert model.at_asking == pytest.approx(count / (count + 4))
    assert model.offers.parts == OFFER_PARTS
    assert model.offers.per_sale == pytest.approx((0, 2 / count, 0, 1 / count, 1 / count))


def test_demand_follows_the_coefficients_and_the_season(prior):
    model = selling_model(drawn_weeks(2), ("lamps",), prior=prior)
    plain = model.demand("lamps", weeks=20)
    dated = model.demand("lamps", weeks=20, start=dt.date(2026, 11, 14))
    assert plain.weekly[0] == 0.0
    assert plain.log_rate[0] == pytest.approx(model.level("lamps")[0] + np.log(model.at_asking))
    assert not np.allclose(plain.weekly, dated.weekly)


def _items(**columns):
    rows = len(columns["item_id"])
    plain = {"category": ["lamps"] * rows, "sold_price_cents": [0] * rows}
    frame = pd.DataFrame({**plain, **columns})
    for name in ("listed_on", "sold_on", "gone_on"):
        frame[name] = pd.to_datetime(frame.get(name, pd.Series([None] * rows)))
    return frame


def _changes(*rows):
    frame = pd.DataFrame(rows, columns=["item_id", "changed_on", "price_cents"])
    frame["changed_on"] = pd.to_datetime(frame["changed_on"])
    return frame


@pytest.mark.worked
def test_weeks_of_an_unsold_a_sold_and_a_haggled_thing():
    items = _items(
        item_id=["a", "b", "c", "d"],
        listed_on=["2026-01-01", "2026-01-01", "2026-01-01", None],
        sold_on=[None, "2026-01-10", "2026-01-24", None],
        list_price_cents=[5000, 4000, 4000, 900],
        sold_price_cents=[0, 4000, 2700, 0],
    )
    changes = _changes(("c", "2026-01-15", 3000), ("a", "2026-01-30", 100), ("z", "2026-01-02", 5))
    weeks = person_weeks(items, changes, [5000, 5000, 4000, 900], as_of=dt.date(2026, 1, 18))
    # a: 17 days on, three weeks, the last seen for 4 of its 7 days; b sells in its second week;
    # c is not sold yet on the 18th: three weeks, the third at the lowered price; d is not listed.
    assert weeks.item.tolist() == [0, 0, 0, 1, 1, 2, 2, 2]
    assert weeks.exposure.tolist() == pytest.approx([1, 1, 4 / 7, 1, 1, 1, 1, 4 / 7])
    assert weeks.sold.tolist() == [False] * 4 + [True] + [False] * 3
    assert np.exp(weeks.log_ratio) == pytest.approx([1, 1, 1, 0.8, 0.8, 1, 1, 0.75])
    assert weeks.cut.tolist() == [False] * 7 + [True]
    later = person_weeks(items, changes, [5000, 5000, 4000, 900], as_of=dt.date(2026, 1, 25))
    # c sold at 27 of 30 asked: an accepted offer, no sale at the asking price
    assert later.offer_part.tolist() == [0.9]
    assert later.sold.sum() == 2
    assert later.sold[(later.item == 2) & (later.week == 3)].tolist() == [True]


def test_without_price_changes_the_first_price_stands():
    items = _items(item_id=["a"], listed_on=["2026-01-01"], list_price_cents=[5000])
    weeks = person_weeks(items, _changes(), [4000], as_of=dt.date(2026, 1, 20))
    assert np.exp(weeks.log_ratio) == pytest.approx([1.25] * 3)


def test_typical_prices_weigh_comparables_and_what_was_asked():
    rules = comparable_rules(load_assumptions())
    items = pd.DataFrame(
        {"item_id": ["a", "b", "c"], "category": ["lamps"] * 3, "list_price_cents": [6000, 5750, None]}
    )
    comparables = pd.DataFrame(
        {
            "item_id": ["a"] * 30 + [""],
            "sold_on": pd.to_datetime(["2026-01-01"] * 31),
            "price_cents": [5000] * 30 + [6500],
            "category": [""] * 30 + ["lamps"],
            "condition": "",
        }
    )
    found = typical_prices(items, comparables, as_of=dt.date(2026, 3, 1), rules=rules, markup=1.15, markup_spread=0.2)
    assert 5000 < found.cents[0] < 5100
    assert found.error[0] < 0.1
    assert found.cents[1] == pytest.approx(5000, rel=0.05)
    assert found.error[1] == found.markup_spread
    assert np.isnan(found.cents[2])
    assert (found.like["lamps"].cents, found.like["lamps"].sales) == (6500, 1)
    assert 1.14 < found.markup["lamps"] < 1.21


@pytest.mark.worked
def test_the_pace_over_the_time_on_sale_is_a_sum_of_coefficients(prior):
    names = ("lamps", "games")
    model = selling_model(drawn_weeks(3, things=150, weeks=20, names=names), names, prior=prior)
    error, with_pull = model.pace("games", weeks=3)
    # Weeks 0, 1, 2 weigh as their rates: with rates r0, r1, r2 the middling week is (r1 + 2 r2) / sum.
    rate = np.exp(model.mean[2] * np.arange(3) + model.mean[3] * np.log1p(np.arange(3)))
    week, log_week = rate @ np.arange(3) / rate.sum(), rate @ np.log1p(np.arange(3)) / rate.sum()
    # Places: level 0, pull 1, weeks 2, log weeks 3; eight shared, then the levels of lamps and games, then the pulls.
    part = {0: 1.0, 9: 1.0, 2: week, 3: log_week}
    cov = model.covariance
    assert error**2 == pytest.approx(sum(a * b * cov[i, j] for i, a in part.items() for j, b in part.items()))
    assert with_pull == pytest.approx(sum(a * (cov[i, 1] + cov[i, 11]) for i, a in part.items()))
    both = pace_covariance(model, names, [0.0, 0.0], weeks=3)
    assert both[1, 1] == pytest.approx(error**2)
    # One shop's kinds share what is learned of all of them, and each has something of its own.
    assert 0.1 < both[0, 1] / np.sqrt(both[0, 0] * both[1, 1]) < 0.95
    # A category that the fit does not know is less sure by as much as categories differ.
    unknown = model.pace("chairs", weeks=3)[0]
    assert unknown > prior.category[0] > error


def habitual(things, *, cut=0.15, first=28, gap=21, seed=3):
    """Listings of a seller with one habit: 1.3 times the typical price, then lower and lower; a third sells."""
    random = np.random.default_rng(seed)
    listed = pd.Timestamp("2025-01-06") + pd.to_timedelta(random.integers(0, 100, things), unit="D")
    days = np.where(random.random(things) < 1 / 3, random.integers(3, 200, things), 210)
    sold = days < 210
    end = listed + pd.to_timedelta(days, unit="D")
    items = pd.DataFrame(
        {
            "item_id": [f"{at}" for at in range(things)],
            "list_price_cents": pd.array(np.full(things, 13_000), dtype="Int64"),
            "listed_on": listed,
            "sold_on": pd.to_datetime(np.where(sold, end, pd.NaT)),
            "gone_on": pd.to_datetime(np.where(sold, pd.NaT, end)),
            "sold_price_cents": pd.array(np.where(sold, 9_000, 0), dtype="Int64"),
        }
    )
    rows = [
        (name, start + pd.Timedelta(days=first + gap * step), round(13_000 * (1 - cut) ** (step + 1)))
        for name, start, lasted in zip(items["item_id"], listed, days, strict=True)
        for step in range(1 + (int(lasted) - first) // gap if lasted >= first else 0)
    ]
    changes = pd.DataFrame(rows, columns=["item_id", "changed_on", "price_cents"])
    return items, changes.assign(changed_on=pd.to_datetime(changes["changed_on"]))


def test_a_sellers_habit_is_found_again_and_common_practice_fills_in():
    held = load_assumptions()
    items, changes = habitual(150)
    asked = {"as_of": dt.date(2026, 1, 1), "held": held}
    habit = seller_habit(items, changes, np.full(150, 10_000.0), **asked)
    assert habit.ratio == pytest.approx(1.3, rel=0.02)
    assert habit.cut_share == pytest.approx(0.15, abs=0.01)
    assert (habit.first_cut_weeks, habit.cut_weeks) == pytest.approx((4, 3), abs=0.3)
    assert habit.patience_weeks == pytest.approx(30, abs=1.5)
    # Nobody gives up what has waited two years: the wait is as long as the oldest have seen, not the common one.
    days = pd.to_timedelta(np.linspace(10, 720, 150), unit="D")
    kept = items.assign(listed_on=pd.Timestamp("2026-01-01") - days, sold_on=pd.NaT, gone_on=pd.NaT)
    assert seller_habit(kept, changes.iloc[:0], np.full(150, 10_000.0), **asked).patience_weeks > 95
    none = seller_habit(items.iloc[:0], changes.iloc[:0], np.zeros(0), **asked)
    assert none.ratio == pytest.approx(held.number("selling.markup"))
    assert (none.cut_share, none.first_cut_weeks, none.offer_share) == (0.1, 8, 0.85)
    # Who lists and never marks down has that habit, whatever common practice is.
    steady = seller_habit(items, changes.iloc[:0], np.full(150, 10_000.0), **asked)
    assert steady.cut_share == 0


def test_more_listings_at_a_price_never_lower_the_highest_one_considered():
    random = np.random.default_rng(5)
    common = {"enough": 20, "markup": 1.15, "spread": 0.2, "bound": 1.65}
    for _ in range(200):
        asked = random.normal(random.uniform(-0.2, 0.4), random.uniform(0.01, 0.4), random.integers(1, 400))
        high = highest_ratio(asked, **common)
        assert 1.0 <= high <= 1.65
        assert highest_ratio(np.append(asked, np.log(high) + 0.01), **common) >= high - 1e-9
        assert highest_ratio(asked, **{**common, "bound": 2.0}) >= high * (1 - 1e-3), "to a thousandth"


def test_prices_end_as_the_sellers_own_do():
    changes = pd.DataFrame({"price_cents": [1999, 2499]})
    assert price_endings(pd.DataFrame({"list_price_cents": [1499, 2999, 999, 4999]}), changes) == [99]
    assert price_endings(pd.DataFrame({"list_price_cents": [1499]}), changes.iloc[:0]) == [0]
