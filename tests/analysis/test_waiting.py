"""Groups beside each other: shares sold that keep their word, Holm's correction, verdicts that few can draw by luck."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from flipkit.analysis.returns import TOO_FEW
from flipkit.analysis.survival import (
    ALIKE,
    LATER,
    MARKED,
    NEVER_MARKED,
    SOONER,
    UNKNOWN,
    common_days,
    compared,
    days_to_sale,
    holm,
    log_rank,
    restricted_mean_error,
    share_sold,
    unsold_missing,
    waiting_groups,
    waiting_table,
)
from flipkit.errors import AssumptionError


def waits(**parts):
    """Groups of things: name to (days, sold)."""
    frames = [pd.DataFrame({"group": name, "days": days, "sold": sold}) for name, (days, sold) in parts.items()]
    return pd.concat(frames, ignore_index=True).assign(given_up=False)


@pytest.mark.published(source="holm-examples", where="pingouin.holm, example", seen="found")
def test_holm_as_one_library_prints_it():
    assert holm([0.50, 0.003, 0.32, 0.054, 0.0003]) == pytest.approx([0.64, 0.012, 0.64, 0.162, 0.0015])


@pytest.mark.published(source="holm-examples", where="stdlib padjust, example", seen="found")
def test_holm_as_another_library_prints_it():
    found = holm([0.319, 0.201, 0.4, 0.374, 0.113])
    assert found[[0, 1, 3, 4]] == pytest.approx([0.957, 0.804, 0.957, 0.565], abs=5e-4)


@pytest.mark.worked
def test_holm_step_by_step():
    # .005 * 4, .01 * 3, .03 * 2, and .04 * 1, which may not be smaller than the .06 before it
    assert holm([0.01, 0.04, 0.03, 0.005]) == pytest.approx([0.03, 0.06, 0.06, 0.02])
    assert holm([0.9, 0.8]).tolist() == [1.0, 1.0]
    assert holm([]).size == 0


@pytest.mark.worked
def test_share_sold_is_wilsons_interval_where_nothing_is_censored_before():
    # 3 of 12 sold by day 30 and the rest watched beyond it: the plain share of twelve
    found = share_sold([3, 9, 30, *[31] * 9], [True] * 3 + [False] * 9, by_days=30, confidence=0.95)
    theirs = stats.binomtest(3, 12).proportion_ci(0.95, method="wilson")
    assert found == pytest.approx((0.25, theirs.low, theirs.high))


def test_no_sale_is_no_certainty_and_nothing_watched_is_unknown():
    none = share_sold([40, 50, 60], [False] * 3, by_days=30, confidence=0.95)
    assert none.share == 0
    assert 0 == none.low < 0.4 < none.high
    every = share_sold([4, 5, 6], [True] * 3, by_days=30, confidence=0.95)
    assert every.share == 1
    assert every.low < 0.6
    assert all(math.isnan(value) for value in share_sold([10, 20], [True, False], by_days=30, confidence=0.95))


@pytest.mark.parametrize("size", [12, 40])
def test_intervals_of_shares_hold_the_truth(size):
    """A third never sell, the rest at random; books of any age, so that some are watched too short."""
    random = np.random.default_rng(size)
    held = known = 0
    truth = 2 / 3 * (1 - math.exp(-60 / 70))
    for _ in range(1500):
        sale = np.where(random.random(size) < 1 / 3, np.inf, random.exponential(70, size))
        seen = random.uniform(20, 300, size)
        found = share_sold(np.minimum(sale, seen), sale <= seen, by_days=60, confidence=0.95)
        if not math.isnan(found.share):
            known += 1
            held += found.low <= truth <= found.high
    assert known > 1450
    # 1,500 shops: a standard error of .006 about .95
    assert 0.925 <= held / known <= 0.98


def test_groups_at_one_pace_are_seldom_told_apart():
    random = np.random.default_rng(7)
    wrong, overall = 0, 0
    for _ in range(400):
        groups = waits(**{f"g{k}": (random.exponential(50, 30), random.random(30) < 0.8) for k in range(6)})
        found = compared(groups, confidence=0.95, too_few=10)
        wrong += bool(found.each["verdict"].isin([SOONER, LATER]).any())
        overall += found.overall.p_value < 0.05
    # At most 5 % of shops by Holm's bound; a standard error of .011.
    assert wrong / 400 <= 0.08
    assert 0.02 <= overall / 400 <= 0.085


def test_without_the_correction_luck_would_be_called_a_difference():
    random = np.random.default_rng(7)
    raw = 0
    for _ in range(200):
        groups = waits(**{f"g{k}": (random.exponential(50, 30), random.random(30) < 0.8) for k in range(6)})
        raw += bool((compared(groups, confidence=0.95, too_few=10).each["p_value"] < 0.05).any())
    assert raw / 200 > 0.15


def test_a_quick_and_a_slow_group_are_seen_and_a_small_one_is_not_judged():
    random = np.random.default_rng(2)
    groups = waits(
        quick=(random.exponential(20, 60), [True] * 60),
        usual=(random.exponential(60, 60), [True] * 60),
        usual_too=(random.exponential(60, 60), [True] * 60),
        slow=(random.exponential(200, 60), [True] * 60),
        rare=([1.0] * 9, [True] * 9),
    )
    each = compared(groups, confidence=0.95, too_few=10).each.set_index("group")
    assert each["verdict"].to_dict() == {
        "quick": SOONER, "usual": ALIKE, "usual_too": ALIKE, "slow": LATER, "rare": TOO_FEW,
    }  # fmt: skip
    assert math.isnan(each.loc["rare", "p_value"])
    # each group against the rest: a two-group test
    rest = np.where(groups["group"] == "quick", "a", "b")
    split = [
        stats.CensoredData.right_censored(groups["days"][rest == side], ~groups["sold"][rest == side]) for side in "ab"
    ]
    assert each.loc["quick", "p_value"] == pytest.approx(stats.logrank(*split).pvalue)


def test_one_group_or_no_sale_is_compared_with_nothing():
    alone = compared(waits(only=([5.0] * 20, [True] * 20)), confidence=0.95, too_few=10)
    assert alone.overall is None
    assert alone.each["verdict"].tolist() == [TOO_FEW]
    still = compared(waits(a=([5.0] * 20, [False] * 20), b=([6.0] * 20, [False] * 20)), confidence=0.95, too_few=10)
    assert still.overall is None
    assert still.each["verdict"].tolist() == [TOO_FEW, TOO_FEW]
    assert compared(waits(a=([], [])), confidence=0.95, too_few=10).each.empty


def test_table_says_what_is_not_known():
    table = waiting_table(
        waits(young=([10.0, 20.0], [True, False]), gone=([10.0, 20.0], [True, True]), old=([300.0] * 3, [False] * 3)),
        within_days=180,
        confidence=0.95,
    ).set_index("group")
    assert math.isnan(table.loc["young", "mean_days"])
    assert table.loc["gone", "mean_days"] == 15
    assert table.loc["old", "mean_days"] == 180
    assert math.isnan(table.loc["old", "mean_error"])
    assert math.isnan(table.loc["old", "half_days"])
    assert math.isnan(table.loc["young", "sold_30"])
    assert unsold_missing(table.reset_index()).startswith("Gone: no unsold item")
    assert unsold_missing(table.reset_index().iloc[1:2].assign(all_sold=False)) == ""
    assert unsold_missing(pd.DataFrame()) == ""


def test_table_counts_what_is_still_for_sale_and_reckons_by_trip():
    groups = waits(mugs=([5.0, 8.0, 8.0, 12.0, 30.0], [True, True, False, False, False]))
    groups["given_up"] = [False] * 3 + [True, False]
    groups["trip"] = ["a", "a", "b", "b", "c"]
    row = waiting_table(groups, within_days=10, confidence=0.8).iloc[0]
    assert row[["listed", "sold", "still", "given_up"]].tolist() == [5, 2, 2, 1]
    how = {"confidence": 0.8, "trip": groups["trip"]}
    half = days_to_sale(groups["days"], groups["sold"], **how)
    assert row[["half_days", "half_low", "half_high"]].tolist() == pytest.approx(list(half), nan_ok=True)
    assert half.low == 8
    month = share_sold(groups["days"], groups["sold"], by_days=30, **how)
    assert row[["sold_30", "low_30", "high_30"]].tolist() == pytest.approx(list(month))
    assert month.low < share_sold(groups["days"], groups["sold"], by_days=30, confidence=0.8).low
    error = restricted_mean_error(groups["days"], groups["sold"], within_days=10, trip=groups["trip"])
    assert row["mean_error"] == pytest.approx(error)


def test_groups_are_compared_by_trip_where_trips_are_told():
    groups = waits(a=(range(1, 25), [True] * 24), b=(range(13, 37), [True] * 24))
    groups["trip"] = [at // 4 for at in range(48)]
    each = compared(groups, confidence=0.95, too_few=10).each.set_index("group")
    by_trip, alone = (log_rank(groups["days"], groups["sold"], groups["group"], trip=t) for t in (groups["trip"], None))
    assert each.loc["a", "p_value"] == pytest.approx(by_trip.p_value)
    assert by_trip.p_value > 2 * alone.p_value


@pytest.fixture
def shop():
    day = pd.to_datetime
    items = pd.DataFrame(
        {
            "item_id": list("abcde"),
            "category": ["mugs"] * 5,
            "size_class": ["small"] * 4 + ["bulky"],
            "listed_on": day(["2026-01-01", "2026-01-01", "2026-01-01", None, "2026-01-01"]),
            "list_price_cents": pd.array([1000, 1000, None, 1000, 1000], dtype="Int64"),
            "days_listed": [5.0, 40.0, 50.0, np.nan, 60.0],
            "sold_on": day(["2026-01-06", "2026-02-10", None, None, None]),
            "status": ["sold", "sold", "for sale", "not listed", "gone"],
        }
    )
    recorded = pd.DataFrame({"item_id": list("abcde"), "source": ["Fair ", None, "fair", "", "barn"]})
    changes = pd.DataFrame(
        {
            "item_id": ["b", "c", "e", "e", "a"],
            "changed_on": day(["2026-01-20", "2026-01-10", "2026-01-10", "2026-01-20", "2026-01-03"]),
            "price_cents": pd.array([800, 700, 1200, 1100, 1000], dtype="Int64"),
        }
    )
    return items, recorded, changes


def test_things_are_grouped_by_what_is_recorded(shop):
    by = {name: waiting_groups(*shop, by=name).set_index("item_id") for name in ("source", "condition", "size")}
    assert by["source"]["group"].to_dict() == {"a": "fair", "b": UNKNOWN, "c": "fair", "e": "barn"}
    assert set(by["condition"]["group"]) == {UNKNOWN}
    assert by["size"]["group"].to_dict() == {"a": "small", "b": "small", "c": "small", "e": "bulky"}
    assert by["size"]["given_up"].to_dict() == {"a": False, "b": False, "c": False, "e": True}
    items, recorded, changes = shop
    assert by["size"]["trip"].tolist() == list("abce"), "where no trip is told, each thing is one"
    told = waiting_groups(items.assign(trip_id=list("ttuuv")), recorded.assign(source=""), changes, by="source")
    assert told["trip"].tolist() == list("ttuv")
    assert set(told["group"]) == {UNKNOWN}
    with pytest.raises(AssumptionError, match=r"by must be one of category, size.*, got 'weather'"):
        waiting_groups(*shop, by="weather")


def test_marked_down_is_a_price_below_the_one_before_it(shop):
    # a kept its price, b fell below its listing, c has no earlier price to fall from, e rose and then fell
    items, *others = shop
    found = waiting_groups(items.set_axis([9, 7, 5, 3, 1]), *others, by="markdown").set_index("item_id")["group"]
    assert found.to_dict() == {"a": NEVER_MARKED, "b": MARKED, "c": NEVER_MARKED, "e": MARKED}


def test_means_compare_over_days_that_every_larger_group_has_waited():
    old, young = ([300.0] * 12, [False] * 12), ([100.0] * 12, [False] * 12)
    assert common_days(waits(old=old), too_few=10) == 180
    assert common_days(waits(old=old, young=young), too_few=10) == 90
    # a group that all sold is known for good; a small one shortens nothing
    assert common_days(waits(old=old, sold=([40.0] * 12, [True] * 12)), too_few=10) == 180
    assert common_days(waits(old=old, rare=([20.0], [False])), too_few=10) == 180
    assert common_days(waits(new=([5.0] * 12, [False] * 12)), too_few=10) == 30


def test_a_group_named_by_being_unsold_is_not_tested_and_blank_ones_are_one_group():
    sold = [True] * 36 + [False] * 24
    names = [*["quick", "slow"] * 18, *[None] * 24]
    groups = pd.DataFrame({"group": names, "days": [*range(1, 37), *range(5, 29)], "sold": sold, "given_up": False})
    each = compared(groups, confidence=0.95, too_few=10).each.set_index("group")
    assert each["listed"].to_dict() == {"quick": 18, "slow": 18, UNKNOWN: 24}
    assert each.loc[UNKNOWN, "verdict"] == "too few to tell"
    assert np.isnan(each.loc[UNKNOWN, "p_value"])
    # The others are compared with each other alone.
    alone = log_rank(groups["days"][:36], sold[:36], names[:36])
    assert each.loc["quick", "p_value"] == pytest.approx(alone.p_value)
    assert log_rank(groups["days"], [True] * 60, names).groups == (UNKNOWN, "quick", "slow")
