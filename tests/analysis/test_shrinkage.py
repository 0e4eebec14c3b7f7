"""Small groups pulled towards the whole, against Efron and Morris's batting averages."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from flipkit.analysis.ratio_stats import IntervalSettings
from flipkit.analysis.returns import (
    COMMON_FREEDOM,
    Pulled,
    _spread_of,
    category_returns,
    pulled,
    shared_luck,
    shrunken_returns,
    steadied_errors,
)
from tests.benchmarks.bench_intervals import TARGET, by_shop, mixed_shops, surprise, told

HITS = [18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7]
REMAINDER = [0.346, 0.298, 0.276, 0.222, 0.273, 0.270, 0.263, 0.210, 0.269, 0.230, 0.264, 0.256, 0.303, 0.264, 0.226]
REMAINDER += [0.285, 0.316, 0.200]


def batting():
    average = np.array(HITS) / 45
    variance = average.mean() * (1 - average.mean()) / 45
    return average, pulled(average, np.full(18, math.sqrt(variance)))


@pytest.mark.published(source="efron-morris-1977", where="shrinking factor c", seen="secondary")
def test_shrinking_factor():
    average, found = batting()
    assert found.centre == pytest.approx(0.265, abs=5e-4)
    assert found.weight == pytest.approx(np.full(18, 0.212), abs=1e-3)
    assert average.mean() == pytest.approx(found.centre)


@pytest.mark.published(source="efron-morris-1977", where="the .400 hitter", seen="secondary")
def test_the_400_hitter_becomes_294():
    average, found = batting()
    assert average[0] == pytest.approx(0.400)
    assert found.value[0] == pytest.approx(0.294, abs=5e-4)


@pytest.mark.published(source="efron-morris-1977", where="total squared error, about 3.5 times", seen="from memory")
def test_total_squared_error():
    average, found = batting()
    raw = float(((average - REMAINDER) ** 2).sum())
    after = float(((found.value - REMAINDER) ** 2).sum())
    assert (raw, after) == pytest.approx((0.0753, 0.0213), abs=5e-4)
    assert raw / after == pytest.approx(3.5, abs=0.05)


@pytest.mark.worked
def test_equal_errors_by_hand():
    # mean 30, S = 1000, c = 1 - (5 - 3) x 100 / 1000 = 0.8; 10 -> 30 - 0.8 x 20
    found = pulled([10, 20, 30, 40, 50], [10.0] * 5)
    assert found.weight == pytest.approx(np.full(5, 0.8))
    assert found.value == pytest.approx([14, 22, 30, 38, 46])
    # between groups: S / 4 - 100 = 150
    assert found.spread == pytest.approx(math.sqrt(150))


def test_less_known_is_pulled_more_and_never_past_the_centre():
    found = pulled([10.0, 12.0, 30.0, 28.0, 50.0, 40.0], [1.0, 20.0, 5.0, 1.0, 20.0, 5.0])
    assert found.weight[0] > found.weight[2] > found.weight[1]
    raw = np.array([10.0, 12.0, 30.0, 28.0, 50.0, 40.0])
    assert ((found.value - found.centre) * (raw - found.centre) >= 0).all()
    assert (np.abs(found.value - found.centre) <= np.abs(raw - found.centre) + 1e-12).all()


def test_noise_alone_is_pulled_nearly_all_the_way():
    found = pulled([19.9, 20.1, 20.0, 20.05, 19.95, 20.02, 19.98, 20.0], [5.0] * 8)
    assert found.spread == 0
    assert (found.weight <= 2 / 7 + 1e-9).all()


def test_fewer_than_four_groups_are_left_alone():
    found = pulled([10.0, 20.0, 60.0], [5.0, 5.0, 5.0])
    assert found.value.tolist() == [10.0, 20.0, 60.0]
    assert found.weight.tolist() == [1.0, 1.0, 1.0]
    assert found.error.tolist() == [5.0, 5.0, 5.0]


def test_pulled_figures_are_nearer_the_truth_and_their_errors_honest():
    random = np.random.default_rng(12)
    error = np.array([2.0, 3.0, 4.0, 6.0, 8.0, 8.0, 10.0, 12.0, 4.0, 5.0])
    raw_loss = pulled_loss = 0.0
    held = 0
    for _ in range(600):
        truth = 20 + 6 * random.standard_normal(10)
        raw = truth + error * random.standard_normal(10)
        found = pulled(raw, error)
        raw_loss += float(((raw - truth) ** 2).sum())
        pulled_loss += float(((found.value - truth) ** 2).sum())
        held += int((np.abs(found.value - truth) <= 1.96 * found.error).sum())
    assert pulled_loss < 0.65 * raw_loss
    assert 0.93 <= held / 6000 <= 0.97


@pytest.mark.worked
def test_errors_lean_on_the_common_hour():
    # one hour's variance: (8 x 4 x 10 + 2 x 16 x 5) / 10 = 48; group two: 2 of its own 16 beside the common 48 / 5
    found = steadied_errors([2.0, 4.0, math.nan], [9, 3, 1], [10.0, 5.0, 12.0])
    common = COMMON_FREEDOM
    assert found[1] == pytest.approx(math.sqrt((2 * 16 + common * 48 / 5) / (2 + common)))
    assert found[2] == pytest.approx(math.sqrt(48 / 12))
    assert np.isnan(steadied_errors([math.nan], [1], [3.0])).all()


def table(hourly, error, *, items=30, trips=20):
    names = [f"c{at}" for at in range(len(hourly))]
    frame = pd.DataFrame({"category": names, "items": items, "trips": trips, "owner_min": 600.0, "hourly": hourly})
    frame = frame.assign(delta_se=error, jackknife_se=error, claimed=True, lean=0.0, shared=0.0)
    return frame.assign(low=frame["hourly"] - 2 * frame["delta_se"], high=frame["hourly"] + 2 * frame["delta_se"])


@pytest.mark.worked
def test_a_pulled_figures_sides_step_by_step():
    # Nine trips: 8 + 4 degrees of freedom, and 8 of 16 of the error its own, so the square root of each ratio.
    # Sides 4 and 16: 1 to 2. No side known: even. 1 to 100 counts as 1 to 8, and 100 to 1 as 8 to 1. One trip: even.
    middle = np.full(5, 10.0)
    sides = pd.DataFrame({"trips": [9, 9, 9, 9, 1], "low": [6.0, 6.0, 9.0, -90.0, 6.0], "high": [26, 9, 110, 11, 26.0]})
    error = np.array([2.0, 1.0, 1.0, 1.0, 1.0])
    found = _spread_of(sides, middle, Pulled(middle, np.full(5, 0.6), error, 10.0, 1.0), 0.9)
    whole = 2 * stats.t.ppf(0.95, [12, 12, 12, 12, 4]) * error
    root = math.sqrt(8)
    assert found.low == pytest.approx(10 - whole * [1 / 3, 1 / 2, 1 / (1 + root), root / (1 + root), 1 / 2])
    assert found.high == pytest.approx(10 + whole * [2 / 3, 1 / 2, root / (1 + root), 1 / (1 + root), 1 / 2])


def test_what_is_said_of_each_figure_where_errors_are_known_and_where_not():
    known = shrunken_returns(table([10.0, 20.0, 30.0, 40.0, 50.0], [10.0] * 5), target=30.0, seed=1)
    assert (known[["low", "sure", "pulled", "hopeful", "high"]].diff(axis=1).iloc[:, 1:] > 0).all(axis=None)
    # At eight in ten sure the figure is above "sure", and at two in ten above "hopeful".
    edges = known.iloc[0][["sure", "hopeful"]].astype(float)
    for edge, chance in zip(edges, (0.8, 0.2), strict=True):
        again = shrunken_returns(table([10.0, 20.0, 30.0, 40.0, 50.0], [10.0] * 5), target=edge, seed=1)
        assert again.set_index("category").loc[known["category"].iloc[0], "beats_target"] == pytest.approx(chance)
    alone = shrunken_returns(table([10.0, 20.0], [math.nan] * 2, trips=1), target=30.0, seed=1)
    unknown = ["error", "low", "high", "beats_target", "is_best", "sure", "hopeful"]
    assert alone[unknown].isna().all(axis=None)
    assert (alone[unknown].dtypes == np.float64).all()
    assert alone["one_decides"].tolist() == [False, False]
    assert alone["category"].tolist() == ["c1", "c0"]
    told = table([10.0] * 5, [10.0] * 5).assign(one_decides=[True, False, False, False, False])
    assert shrunken_returns(told, target=30.0, seed=1).set_index("category")["one_decides"].to_dict() == {
        f"c{at}": at == 0 for at in range(5)
    }
    assert pulled([], []).centre == 0


def test_ranked_by_the_chance_of_beating_the_target():
    returns = table([24.0, 26.0, 15.0, 18.0, 21.0], [1.0, 12.0, 2.0, 2.0, 2.0])
    returns["owner_min"] = [6000.0, 60.0, 600.0, 600.0, 600.0]
    found = shrunken_returns(returns, target=20.0, seed=1)
    assert found["category"].iloc[0] == "c0"
    assert found["beats_target"].is_monotonic_decreasing
    # the highest raw figure is the least sure
    assert found.loc[found["raw"].idxmax(), "beats_target"] < found["beats_target"].iloc[0]
    assert found["is_best"].sum() == pytest.approx(1.0)
    assert found["verdict"].iloc[0] == "almost surely beats the target"


def test_chances_of_a_symmetric_case():
    found = shrunken_returns(table([10.0, 20.0, 30.0, 40.0, 50.0], [10.0] * 5), target=30.0, seed=1)
    chance = found.set_index("category")["beats_target"]
    assert chance["c2"] == pytest.approx(0.5)
    assert chance["c0"] == pytest.approx(1 - chance["c4"])


def test_unclaimed_groups_are_pulled_and_still_too_few(shop, window):
    frame = shop(3, items=60, categories=tuple("abcdefgh"))
    returns = category_returns(frame, window=window, settings=IntervalSettings(0.95, 200, 1, 10), target=20.0)
    found = shrunken_returns(returns, target=20.0, seed=1)
    assert len(found) == len(returns)
    assert not found["claimed"].all()
    assert found["pulled"].notna().all()
    assert (found.loc[~found["claimed"], "verdict"] == "too few to tell").all()
    assert ((found["weight"] >= 0) & (found["weight"] <= 1)).all()


def test_nothing_to_pull():
    empty = table([], [])
    assert shrunken_returns(empty, target=20.0, seed=1).empty
    one = shrunken_returns(table([12.0], [math.nan], trips=1).assign(claimed=False), target=20.0, seed=1)
    assert one["pulled"].tolist() == [12.0]
    assert one["verdict"].tolist() == ["too few to tell"]


def skewed(low, high, *, trips=20):
    """Five groups of which the first has an interval as given around 20."""
    frame = table([20.0, 20.0, 26.0, 32.0, 38.0], [4.0] * 5, trips=trips)
    return frame.assign(low=[low, *frame["low"][1:]], high=[high, *frame["high"][1:]])


@pytest.mark.parametrize(("low", "high"), [(14.0, 26.0), (16.0, 40.0), (-5.0, 24.0), (19.9, 200.0)])
@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.98])
def test_chance_interval_and_pulled_figure_are_of_one_distribution(low, high, confidence):
    def first(target):
        found = shrunken_returns(skewed(low, high), target=target, seed=1, confidence=confidence)
        return found.set_index("category").loc["c0"]

    row = first(20.0)
    assert first(row["low"])["beats_target"] == pytest.approx((1 + confidence) / 2)
    assert first(row["high"])["beats_target"] == pytest.approx((1 - confidence) / 2)
    assert first(row["pulled"])["beats_target"] == pytest.approx(0.5)
    # As lopsided as its own interval, as far as the error is its own: 19 of 27 with 20 trips.
    ratio = (row["high"] - row["pulled"]) / (row["pulled"] - row["low"])
    own = min(max((high - 20) / (20 - low), 1 / 8), 8)
    assert ratio == pytest.approx(own ** (19 / (19 + COMMON_FREEDOM)))
    chances = [first(target)["beats_target"] for target in np.linspace(-40, 120, 30)]
    assert (np.diff(chances) <= 0).all()
    assert 0 <= chances[-1] < 0.01 < 0.99 < chances[0] <= 1


def test_chances_come_true_in_shops_of_other_families():
    # 24 shops of three families: tenths too thin to test, so the halves and the score; bench_intervals has the table
    found = told(mixed_shops(24, 5), resamples=300)
    claimed = found[found["claimed"]]
    came = claimed["truth"] > TARGET
    for low, high in ((0.0, 0.5), (0.5, 1.0)):
        part = claimed["beats_target"].between(low, high)
        off, error = by_shop(came[part] - claimed.loc[part, "beats_target"], claimed.loc[part, "shop"])
        assert abs(off) < 0.03 + 2 * error
    gained, error = by_shop(surprise(claimed, "former") - surprise(claimed, "beats_target"), claimed["shop"])
    assert gained > -2 * error
    for of in ("", "_pulled"):
        held = (claimed[f"low{of}"] <= claimed["truth"]) & (claimed["truth"] <= claimed[f"high{of}"])
        share, error = by_shop(held, claimed["shop"])
        assert abs(share - 0.95) < 0.02 + 2 * error
    reached = claimed["high_pulled"] > TARGET
    assert (reached == (claimed["beats_target"] > 0.025)).all()


def test_luck_that_groups_share_is_not_pulled_away():
    """Two thousand shops of eight equal groups whose errors are alike by .5: the figures are no surer than said."""
    random = np.random.default_rng(5)
    shops, groups = 2_000, 8
    error = 2.0 * (
        np.sqrt(0.5) * random.standard_normal((shops, 1)) + np.sqrt(0.5) * random.standard_normal((shops, 8))
    )
    apart, together = ([pulled(10 + one, [2.0] * groups, shared) for one in error] for shared in (0.0, 0.5))
    off = [np.mean([((one.value - 10) ** 2 / one.error**2).mean() for one in found]) for found in (apart, together)]
    # Equal groups are Morris's safe side; taken as apart, the errors said are too small by a quarter all the same.
    assert off[1] < 1 < 1.2 < off[0]


def test_shared_luck_is_found_again():
    """Groups of forty trips with half their variance in common: over shops the estimate comes to the half."""
    random = np.random.default_rng(6)
    found = [
        shared_luck(20 + random.standard_normal((1, 40)) + random.standard_normal((6, 40)), np.ones((6, 40)))
        for _ in range(300)
    ]
    assert np.mean(found) == pytest.approx(0.5, abs=0.02)
    assert shared_luck(20 + random.standard_normal((40, 400)), np.ones((40, 400))) < 0.01
