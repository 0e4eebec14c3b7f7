"""The second family of shops: mixtures with the traits that it is for, and a truth that is known."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from flipkit.simulation.shops import Draws, histories
from tests.benchmarks.coverage import FAMILIES
from tests.benchmarks.mixtures import Part, mixed, mixture_scenarios
from tests.benchmarks.truth import observed, true_returns

SCENARIOS = {one.name: one.shop for one in mixture_scenarios()}


def drawn(name: str, copies: int = 12):
    return histories(SCENARIOS[name], seed=4, copies=copies).items


@pytest.mark.worked
def test_a_mixture_has_its_parts_means_and_spreads() -> None:
    # A third at 3, two thirds a gamma of mean 12 and shape 4: mean 9; the gamma's variance is 144 / 4.
    found = mixed(Draws(2), "x", (Part(1.0, 3.0), Part(2.0, 12.0, 4.0)), 30_000)
    assert found.mean() == pytest.approx(9.0, abs=0.15)
    assert (found == 3.0).mean() == pytest.approx(1 / 3, abs=0.012)
    assert found[found != 3.0].var() == pytest.approx(36.0, rel=0.06)


def test_the_same_seed_gives_the_same_shop_and_other_names_other_draws() -> None:
    assert drawn("plain mixtures", 1).equals(drawn("plain mixtures", 1))
    assert not drawn("plain mixtures", 1)["net_cents"].equals(drawn("drift", 1)["net_cents"])


def test_what_is_seen_on_a_day_knows_no_future() -> None:
    shop = SCENARIOS["plain mixtures"]
    day = dt.date(2026, 3, 1)
    seen = observed(histories(shop, seed=4), as_of=day)
    assert (seen["sold_on"].dropna() <= "2026-03-01").all()
    assert set(seen["status"]) == {"sold", "returned", "for sale", "not listed", "gone"}
    assert (seen["owner_min"] > 0).all()


def test_round_prices_stand_out() -> None:
    pots = drawn("plain mixtures").query("category == 'teapots'")
    value = np.round(pots["value_cents"] / 100, 2)
    assert value.nunique() > 100
    costs = pots["cost_cents"].value_counts(normalize=True)
    assert costs.iloc[:2].sum() > 0.35


def test_a_share_never_sells_and_losses_lose() -> None:
    unsold = (drawn("half never sells")["outcome"] == "gone").mean()
    assert 0.48 < unsold < 0.6
    lost = {
        name: (items.loc[items["outcome"] != "gone", "net_cents"] < 0).mean()
        for name in ("plain mixtures", "many losses")
        for items in [drawn(name)]
    }
    assert lost["many losses"] > 1.4 * lost["plain mixtures"]


def test_rare_finds_bring_a_large_part() -> None:
    value = np.sort(drawn("rare dear finds").query("category == 'quilts'")["value_cents"].to_numpy())
    assert value[-value.size // 25 :].sum() > 0.22 * value.sum()


def test_a_trip_that_brings_more_takes_longer_where_the_shop_says_so() -> None:
    tied = {}
    for name in ("plain mixtures", "minutes follow luck"):
        items = drawn(name, 30)
        log = np.log(items[["value_cents", "photograph_min"]].clip(lower=1))
        log -= log.groupby(items["category"].astype(str)).transform("mean")
        tied[name] = log.groupby(items["trip"]).mean().corr().iloc[0, 1]
    assert tied["minutes follow luck"] > 0.2 > abs(tied["plain mixtures"])


def test_prices_drift_down_and_waits_up() -> None:
    items = drawn("drift", 30)
    late = items["bought_on"] >= "2026-01-01"
    sold = items["outcome"] != "gone"
    price = items.groupby(late)["value_cents"].mean()
    assert price[True] / price[False] == pytest.approx(np.exp(-0.2), abs=0.05)
    wait = items[sold].groupby(late)["weeks_listed"].mean()
    assert wait[True] > wait[False]


def test_the_truth_is_that_of_endlessly_many_items() -> None:
    shop = SCENARIOS["minutes follow luck"]
    first, second = (true_returns(shop, seed=seed, items=60_000) for seed in (1, 2))
    gap = first["hourly_bought"] - second["hourly_bought"]
    error = np.hypot(first["hourly_bought_error"], second["hourly_bought_error"])
    assert (gap.abs() < 4 * error).all()


def test_both_families_are_named() -> None:
    assert [len(made()) for made in FAMILIES.values()] == [7, 6]
