"""Groups alike in everything but the name are seldom told apart, though things of one trip are alike.

``tests/benchmarks/bench_waiting.py`` prints the table for groups mixed and nested, with the power beside it.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from flipkit.analysis.survival import log_rank, restricted_mean_error, share_sold, survival_table
from flipkit.simulation.shops import histories
from tests.benchmarks.scenarios import scenarios
from tests.benchmarks.truth import observed
from tests.benchmarks.waiting_groups import MIXED, NESTED, bands_held, rejections, waits


def test_the_log_rank_test_keeps_its_level_in_shops_with_trips():
    shop = next(one.shop for one in scenarios() if one.name == "two equal")
    seen = observed(histories(shop, seed=5, copies=150), as_of=shop.last_day)
    twins = seen[seen["category"].isin(["hand tools", "garden tools"]) & seen["days_listed"].notna()]
    chance = np.array(
        [
            log_rank(
                own["days_listed"], own["sold_on"].notna(), own["category"].astype(str), trip=own["trip_id"]
            ).p_value
            for _, own in twins.groupby("copy")
        ]
    )
    assert chance.size == 150
    # 5 % meant; a standard error of .018. And the chances lie evenly, so that none is flattered.
    assert (chance < 0.05).mean() <= 0.11
    assert 0.4 < np.median(chance) < 0.6


@pytest.mark.parametrize(("how", "groups", "trips"), [(NESTED, 3, 30), (NESTED, 8, 64), (MIXED, 5, 50)])
def test_groups_of_whole_trips_are_told_apart_no_more_often_than_meant(how, groups, trips):
    found = rejections(3, 120, how=how, groups=groups, trips=trips, spread=0.8)
    # 5 % meant; of 120 shops a standard error of .02, and the bound is three of them.
    assert found["by_trip"] <= 0.11
    assert found["called"] <= 0.11
    if how == NESTED and groups == 8:
        # As if each thing stood for itself, whole trips would be called a difference in half of the shops.
        assert found["alone"] > 0.3


def test_a_group_that_takes_twice_as_long_is_still_seen():
    found = rejections(4, 60, how=MIXED, groups=3, trips=30, spread=0.4, slower=np.log(2))
    assert found["by_trip"] > 0.4


def test_bands_by_trip_hold_the_truth_where_those_of_single_things_do_not():
    held = bands_held(5, 250, trips=12, spread=0.8)
    # A standard error of .014 about .95.
    assert held["curve_trip"] >= 0.90
    assert held["share_trip"] >= 0.90
    assert held["curve_alone"] < 0.85


def test_where_every_thing_is_a_trip_all_is_as_in_scipy():
    one = waits(np.random.default_rng(6), how=MIXED, groups=2, trips=25, spread=0.0)
    days, sold, group = one.days, one.sold, one.group
    alone = np.arange(days.size)
    split = [stats.CensoredData.right_censored(days[group == side], ~sold[group == side]) for side in (0, 1)]
    theirs, ours = stats.logrank(*split), log_rank(days, sold, group, trip=alone)
    assert ours.chi_square == pytest.approx(theirs.statistic**2)
    assert ours.p_value == pytest.approx(theirs.pvalue)
    curve = survival_table(days, sold, confidence=0.95, trip=alone)
    their_curve = stats.ecdf(stats.CensoredData.right_censored(days, ~sold)).sf
    assert curve["unsold_share"].to_numpy() == pytest.approx(their_curve.probabilities[-len(curve) :])
    # Their band is a plain one, symmetric about the share: its error is ours.
    plain = their_curve.confidence_interval(0.95, method="linear")
    error = (their_curve.probabilities - plain.low.probabilities) / stats.norm.ppf(0.975)
    inside = plain.low.probabilities[-len(curve) :] > 0
    assert curve["standard_error"].to_numpy()[inside] == pytest.approx(error[-len(curve) :][inside])
    for figure in (
        lambda trip: restricted_mean_error(days, sold, within_days=90, trip=trip),
        lambda trip: share_sold(days, sold, by_days=60, confidence=0.95, trip=trip),
    ):
        assert figure(alone) == pytest.approx(figure(None))


def test_the_same_things_twice_on_their_trips_teach_nothing_new():
    # The gap doubles, and its variance by trip is four times as large; taken alone it would be twice as large.
    random = np.random.default_rng(8)
    days, sold, group = random.exponential(40, 600), random.random(600) < 0.8, random.integers(2, size=600)
    trip = np.arange(days.size)
    twice = [np.repeat(one, 2) for one in (days, sold, group)]
    once = log_rank(days, sold, group, trip=trip).chi_square
    assert log_rank(*twice).chi_square == pytest.approx(2 * once, rel=0.02)
    assert log_rank(*twice, trip=np.repeat(trip, 2)).chi_square == pytest.approx(once, rel=0.05)
    error, alone = (
        survival_table(twice[0], twice[1], confidence=0.95, trip=told)["standard_error"].to_numpy()
        for told in (np.repeat(trip, 2), None)
    )
    usual = survival_table(days, sold, confidence=0.95)["standard_error"].to_numpy()
    assert error[:400] == pytest.approx(usual[:400], rel=0.02)
    assert alone[:400] == pytest.approx(usual[:400] / np.sqrt(2), rel=0.02)
