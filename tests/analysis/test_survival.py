"""Time to sale against the tables that everybody prints."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from flipkit.analysis.survival import days_to_sale, log_rank, restricted_mean, restricted_mean_error, survival_table
from flipkit.errors import NotEnoughDataError

DATA = Path(__file__).parent / "data"

#: The aml data of the R package survival: weeks of remission, 0 where still in remission.
KEPT = ([9, 13, 13, 18, 23, 28, 31, 34, 45, 48, 161], [1, 1, 0, 1, 1, 0, 1, 1, 0, 1, 0])
OTHER = ([5, 5, 8, 8, 12, 16, 23, 27, 30, 33, 43, 45], [1, 1, 1, 1, 1, 0, 1, 1, 1, 1, 1, 1])
#: Freireich's and Gehan's weeks under 6-MP and placebo.
TREATED = [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35]
RELAPSED = [1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0]
PLACEBO = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]


def share_at(table, days):
    return float(table.loc[table["days"] <= days, "unsold_share"].iloc[-1])


@pytest.fixture(scope="module")
def lung_rows():
    with (DATA / "lung.csv").open(newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def lung(lung_rows):
    return tuple(np.array([float(row[name]) for row in lung_rows]) for name in ("time", "status", "sex"))


@pytest.mark.published(source="r-survival-expected", where="aml, maintained, survival", seen="found")
def test_aml_shares():
    table = survival_table(*KEPT, confidence=0.95)
    shares = table.loc[table["sold"] > 0, "unsold_share"].tolist()
    printed = [0.90909, 0.81818, 0.71591, 0.61364, 0.49091, 0.36818, 0.18409]
    assert shares == pytest.approx(printed, abs=5e-6)
    assert shares[-1] == pytest.approx(0.18409090909, abs=1e-9)


@pytest.mark.published(source="r-survival-expected", where="aml, Greenwood error and log limit at 9", seen="found")
def test_aml_error_and_limit():
    first = survival_table(*KEPT, confidence=0.95).iloc[0]
    assert first["standard_error"] == pytest.approx(0.086678417, abs=1e-8)
    assert first["low"] == pytest.approx(0.75413384508, abs=1e-8)
    assert first["high"] == 1.0


@pytest.mark.published(source="r-survival-expected", where="aml, Nelson-Aalen at 48", seen="found")
def test_aml_hazard_sum():
    table = survival_table(*KEPT, confidence=0.95)
    assert table.loc[table["days"] == 48, "hazard_sum"].item() == pytest.approx(1.4087662338, abs=1e-8)


@pytest.mark.published(source="r-survival-expected", where="aml, medians and log-rank", seen="found")
def test_aml_medians_and_log_rank():
    assert days_to_sale(*KEPT).days == 31
    assert days_to_sale(*OTHER).days == 23
    found = log_rank(KEPT[0] + OTHER[0], KEPT[1] + OTHER[1], ["kept"] * 11 + ["other"] * 12)
    assert found.chi_square == pytest.approx(3.396388699, abs=1e-8)
    assert found.p_value == pytest.approx(0.065339322041, abs=1e-8)
    assert found.observed == (7.0, 11.0)
    assert found.expected == pytest.approx((10.6893, 7.3107), abs=5e-5)


@pytest.mark.published(source="r-survival-expected", where="aml, restricted means", seen="found")
@pytest.mark.parametrize(
    ("arm", "within", "expected"),
    [(KEPT, 30, 24.6022727273), (KEPT, 48, 31.8431818182), (OTHER, 30, 19.6944444444), (OTHER, 48, 22.7083333333)],
)
def test_aml_restricted_means(arm, within, expected):
    assert restricted_mean(*arm, within_days=within) == pytest.approx(expected, abs=1e-8)


@pytest.mark.published(source="r-survival-lung", where="events, median, limits, quartiles", seen="found")
def test_lung_median_and_quartiles(lung):
    time, event, _ = lung
    assert (time.size, int(event.sum())) == (228, 165)
    assert tuple(days_to_sale(time, event)) == (310, 285, 363)
    assert [days_to_sale(time, event, share=share).days for share in (0.25, 0.5, 0.75)] == [170, 310, 550]


@pytest.mark.published(source="r-survival-lung", where="by sex: medians, log-rank, shares", seen="found")
def test_lung_by_sex(lung):
    time, event, sex = lung
    men, women = (survival_table(time[sex == s], event[sex == s], confidence=0.95) for s in (1, 2))
    assert [days_to_sale(time[sex == s], event[sex == s]).days for s in (1, 2)] == [270, 426]
    assert [share_at(men, 365), share_at(men, 730)] == pytest.approx([0.33608783, 0.07812409], abs=1e-8)
    assert [share_at(women, 365), share_at(women, 730)] == pytest.approx([0.52646303, 0.18723250], abs=1e-8)
    found = log_rank(time, event, sex)
    assert found.chi_square == pytest.approx(10.3267, abs=5e-5)
    assert found.p_value == pytest.approx(0.00131, abs=5e-6)
    assert found.observed == (112.0, 53.0)
    assert found.expected == pytest.approx((91.6, 73.4), abs=0.05)


@pytest.mark.published(source="r-survival-lung-groups", where="survdiff by ph.ecog, one row without", seen="found")
def test_lung_over_four_grades(lung_rows):
    rows = [row for row in lung_rows if row["grade"]]
    time, event = ([float(row[name]) for row in rows] for name in ("time", "status"))
    found = log_rank(time, event, [row["grade"] for row in rows])
    assert found.groups == ("0", "1", "2", "3")
    assert [sum(row["grade"] == grade for row in rows) for grade in found.groups] == [63, 113, 50, 1]
    assert found.observed == (37.0, 82.0, 44.0, 1.0)
    printed = (54.152697018922929, 83.527564575081882, 26.147353065330211, 0.172385340664962)
    assert found.expected == pytest.approx(printed, rel=1e-12)
    assert found.chi_square == pytest.approx(21.962131682476, rel=1e-11)


@pytest.mark.published(source="r-survival-lung-groups", where="print_survfit by sex, rmean common", seen="found")
@pytest.mark.parametrize(("sex", "mean", "error"), [(1, 326, 22.9), (2, 461, 34.7)])
def test_lung_restricted_means_and_their_errors(lung, sex, mean, error):
    time, event, which = lung
    own = time[which == sex], event[which == sex]
    assert restricted_mean(*own, within_days=1022) == pytest.approx(mean, abs=0.5)
    assert restricted_mean_error(*own, within_days=1022) == pytest.approx(error, abs=0.05)


@pytest.mark.worked
def test_error_of_a_restricted_mean_step_by_step():
    # 4 at risk, one sells at 5; 3 at risk, one sells at 8 (one more is lost there): unsold .75, then .5.
    # Areas still ahead up to 10: .75 * 3 + .5 * 2 = 3.25 from 5 on, 1 from 8 on; Greenwood's terms 1/12 and 1/6.
    found = restricted_mean_error([5, 8, 8, 12], [True, True, False, False], within_days=10)
    assert found == pytest.approx(math.sqrt(3.25**2 / 12 + 1 / 6))
    # All sold by then: only the first sale is unsure, the last leaves nothing ahead.
    assert restricted_mean_error([2, 4], [True, True], within_days=10) == pytest.approx(math.sqrt((0.5 * 2) ** 2 / 2))


@pytest.mark.published(source="scipy-survival-docs", where="ecdf, fan belts", seen="found")
def test_fan_belts():
    broken, running = [77, 47, 81, 56, 80], [62, 60, 43, 71, 37]
    table = survival_table(broken + running, [True] * 5 + [False] * 5, confidence=0.95)
    assert table.loc[table["sold"] > 0, ["days", "unsold_share"]].to_numpy().tolist() == [
        [47, 0.875],
        [56, 0.75],
        [77, 0.5],
        [80, 0.25],
        [81, 0.0],
    ]


@pytest.mark.published(source="freireich-gehan", where="6-MP against placebo", seen="from memory")
def test_freireich_and_gehan():
    assert (sum(TREATED), sum(PLACEBO), sum(RELAPSED), len(PLACEBO)) == (359, 182, 9, 21)
    table = survival_table(TREATED, RELAPSED, confidence=0.95)
    printed = {6: 0.8571, 7: 0.8067, 10: 0.7529, 13: 0.6902, 16: 0.6275, 22: 0.5378, 23: 0.4482}
    assert {day: share_at(table, day) for day in printed} == pytest.approx(printed, abs=5e-5)
    assert days_to_sale(TREATED, RELAPSED).days == 23
    assert days_to_sale(PLACEBO, [1] * 21).days == 8
    found = log_rank(TREATED + PLACEBO, RELAPSED + [1] * 21, ["6-MP"] * 21 + ["placebo"] * 21)
    assert found.chi_square == pytest.approx(16.793, abs=5e-4)
    assert found.p_value == pytest.approx(4.17e-5, abs=5e-8)


@pytest.mark.published(source="scipy-survival-docs", where="logrank, glioma", seen="found")
def test_glioma():
    first = [6, 13, 21, 30, 37, 38, 49, 50, 63, 79, 86, 98, 202, 219], [31, 47, 80, 82, 82, 149]
    second = [10, 10, 12, 13, 14, 15, 16, 17, 18, 20, 24, 24, 25, 28, 30, 33, 35, 37, 40, 40, 46, 48, 76, 81]
    second = [*second, 82, 91, 112, 181], [34, 40, 70]
    time = [*first[0], *first[1], *second[0], *second[1]]
    event = [True] * 14 + [False] * 6 + [True] * 28 + [False] * 3
    found = log_rank(time, event, ["x"] * 20 + ["y"] * 31)
    assert math.sqrt(found.chi_square) == pytest.approx(2.73799, abs=1e-5)
    # fewer ends than expected in the first group: the source's minus sign
    assert found.observed[0] < found.expected[0]
    assert found.p_value == pytest.approx(0.00618, abs=5e-6)


def test_agrees_with_scipy_on_ties_and_censoring():
    random = np.random.default_rng(3)
    time = random.integers(1, 30, 120).astype(float)
    event = random.random(120) < 0.6
    censored = stats.CensoredData.right_censored(time, ~event)
    theirs = stats.ecdf(censored).sf
    ours = survival_table(time, event, confidence=0.95)
    assert ours["unsold_share"].to_numpy() == pytest.approx(theirs.probabilities[-len(ours) :], abs=1e-12)
    assert ours["days"].to_numpy() == pytest.approx(theirs.quantiles)
    half = time.size // 2
    split = [stats.CensoredData.right_censored(time[part], ~event[part]) for part in (slice(half), slice(half, None))]
    found = log_rank(time, event, np.arange(time.size) >= half)
    theirs = stats.logrank(*split)
    assert found.chi_square == pytest.approx(theirs.statistic**2)
    assert found.p_value == pytest.approx(theirs.pvalue)


def test_three_groups_have_two_degrees_of_freedom():
    random = np.random.default_rng(4)
    time, group = random.exponential(10, 90), np.repeat(list("abc"), 30)
    found = log_rank(time, np.ones(90, dtype=bool), group)
    assert found.p_value == pytest.approx(stats.chi2.sf(found.chi_square, 2))
    assert sum(found.expected) == pytest.approx(90)


def test_a_median_that_is_never_reached_is_said_so():
    found = days_to_sale([10, 20, 30, 40], [True, False, False, False])
    assert math.isnan(found.days)
    assert math.isnan(found.high)
    assert math.isnan(days_to_sale([], []).days)


@pytest.mark.worked
def test_a_median_between_two_sales_lies_midway():
    # half sold from day 8 on, the next sale on day 12: (8 + 12) / 2
    assert days_to_sale([5, 8, 12, 20], [True] * 4).days == 10


#: Waits of four things, the last trip's first: 12 and 8 days still unsold, sold after 5 and after 8.
WAITS = [12, 8, 5, 8], [False, False, True, True]


@pytest.mark.worked
@pytest.mark.parametrize(
    ("trip", "variance", "freedom"),
    [
        # At risk 4 and 3, one sold each time: usual variance 1/12, then 1/12 + 1/6 = 1/4. By trip, on day 5 the
        # pair that sold adds (2/4 - 1)/3 = -1/6 and the others 1/6 in all, by day 8 -1/2 and 1/2.
        # Two trips: 1/4 + 1/4 = 1/2, which is 1/4 above the usual; times 2/1: 1/4 + 1/2. Share 2/3: 1 / (2/3)^2.
        (["b", "b", "a", "a"], 3 / 4, 9 / 4),
        ([None, None, "a", "a"], 3 / 4, 9 / 4),
        # Three trips: 1/4 + 1/16 + 1/16 = 3/8, 1/8 above; times 3/2: 1/4 + 3/16. Share 3/7: 2 / (3/7)^2.
        (["c", "b", "a", "a"], 7 / 16, 98 / 9),
    ],
)
def test_bands_of_things_that_share_a_trip_step_by_step(trip, variance, freedom):
    table = survival_table(*WAITS, confidence=0.95, trip=trip)
    # On day 5 the trips say less than the usual variance: it stands, with the normal's reach.
    spread = np.array([math.sqrt(1 / 12), *[math.sqrt(variance)] * 2])
    reach = np.array([stats.norm.ppf(0.975), *[stats.t.ppf(0.975, freedom)] * 2])
    share = np.array([0.75, 0.5, 0.5])
    assert table["standard_error"].to_numpy() == pytest.approx(share * spread)
    assert table["low"].to_numpy() == pytest.approx(share / np.exp(reach * spread))


@pytest.mark.worked
def test_error_of_a_restricted_mean_by_trip_step_by_step():
    # 3.25 lies ahead on day 5 and 1 on day 8: each trip adds 3.25/6 + 1/3 = 7/8. 2 x 49/64 by trip,
    # 3.25^2/12 + 1/6 as usual; what is above counts twice for two trips.
    usual = 3.25**2 / 12 + 1 / 6
    found = restricted_mean_error(*WAITS, within_days=10, trip=["b", "b", "a", "a"])
    assert found == pytest.approx(math.sqrt(usual + 2 * (2 * 49 / 64 - usual)))


def test_things_that_are_each_a_trip_of_their_own_have_the_textbooks_bands():
    own = range(len(KEPT[0]))
    for name in ("standard_error", "low", "high"):
        usual, by_trip = (survival_table(*KEPT, confidence=0.95, trip=trip)[name].to_numpy() for trip in (None, own))
        assert by_trip == pytest.approx(usual, nan_ok=True)


@pytest.mark.worked
@pytest.mark.parametrize("trip", [["x", "x", "y", "y"], [None, None, "y", "y"], ["y", "y", None, None]])
def test_log_rank_by_trip_step_by_step(trip):
    # Sales of a on days 1 and 2, of b on 3 and 4: expected of a 1/2 + 1/3, gap 7/6, variance 1/4 + 2/9 = 17/36.
    # Hazards 1/4, 1/3, 1/2, 1: what each thing adds to the gap is 27, 23, 17 and 17 of 72.
    # In common: 2 x (27 x 23 + 17 x 17) / 72^2 = 455/1296. So 49/36 over 17/36 + 455/1296.
    alone = log_rank([1, 2, 3, 4], [True] * 4, list("aabb"))
    assert alone.chi_square == pytest.approx(49 / 17)
    found = log_rank([1, 2, 3, 4], [True] * 4, list("aabb"), trip=trip)
    assert found.expected == pytest.approx((5 / 6, 19 / 6))
    assert found.chi_square == pytest.approx(1764 / 1067)
    assert found.p_value == pytest.approx(stats.chi2.sf(1764 / 1067, 1))


@pytest.mark.worked
def test_hazards_sum_up_to_the_last_thing_sold():
    # One of two, then one of one; a ten-millionth of a day is no day.
    assert survival_table([5, 8], [True, True], confidence=0.95)["hazard_sum"].tolist() == [0.5, 1.5]
    assert survival_table([5, 5.0000002], [True, True], confidence=0.95)["hazard_sum"].tolist() == [1.0]


def test_mistakes_are_named():
    with pytest.raises(NotEnoughDataError, match="days must be known"):
        survival_table([3.0, math.nan], [True, True], confidence=0.95)
    with pytest.raises(NotEnoughDataError, match=r"^group must be at least two groups, got 1"):
        log_rank([1.0, 2.0], [True, True], ["a", "a"])
    with pytest.raises(NotEnoughDataError, match=r"^sold must be at least one sale, got 0"):
        log_rank([1.0, 2.0], [False, False], ["a", "b"])
