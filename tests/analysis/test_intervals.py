"""The claimed interval of a ratio: what it must obey, and that it holds the truth often enough."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from flipkit.analysis.ratio_stats import (
    generalised_normal_shape,
    ratio_interval,
    require_interval_settings,
)
from flipkit.errors import AssumptionError

SETTINGS = {"confidence": 0.95, "resamples": 2000, "seed": 5}


def l_skewness(distribution):
    def quantile_moment(weight):
        return integrate.quad(lambda u: distribution.ppf(u) * weight(u), 0, 1, limit=200)[0]

    second = quantile_moment(lambda u: 2 * u - 1)
    third = quantile_moment(lambda u: 6 * u * u - 6 * u + 1)
    return third / second


@pytest.mark.parametrize("spread", [0.2, 0.5, 0.8])
@pytest.mark.published(source="hosking-wallis-1997", where="appendix A.8", seen="from memory")
def test_shape_of_a_log_normal_is_minus_its_spread(spread):
    # the approximation's stated accuracy is 2.5e-6 in the shape
    assert generalised_normal_shape(l_skewness(stats.lognorm(spread))) == pytest.approx(-spread, abs=5e-5)


def test_shape_is_odd_and_bounded():
    assert generalised_normal_shape(0.3) == -generalised_normal_shape(-0.3)
    assert generalised_normal_shape(2.0) == generalised_normal_shape(0.94)


def sample(trips, spread, random):
    hours = 1 + random.poisson(2, trips)
    net = np.array([np.exp(spread * random.standard_normal(h)).sum() for h in hours]) - 0.4 * hours
    return net, hours.astype(float)


@pytest.mark.parametrize(("trips", "spread", "least"), [(8, 0.4, 0.92), (20, 0.7, 0.92), (12, 0.9, 0.88)])
def test_holds_the_truth_often_enough_and_oftener_than_the_textbook_bootstrap(trips, spread, least):
    # A seeded check on few shops; the measured table stands in tests/benchmarks.
    random = np.random.default_rng(20260101)
    truth = math.exp(spread**2 / 2) - 0.4
    held = textbook = 0
    for at in range(250):
        net, hours = sample(trips, spread, random)
        found = ratio_interval(net, hours, confidence=0.95, resamples=600, seed=at)
        held += found.low <= truth <= found.high
        textbook += found.bca_low <= truth <= found.bca_high
    assert least <= held / 250 <= 0.99
    assert held > textbook


def test_claimed_interval_is_wider_than_students_with_few_trips_and_close_with_many():
    random = np.random.default_rng(2)
    few, many = (
        ratio_interval(*sample(8, 0.6, random), **SETTINGS),
        ratio_interval(*sample(400, 0.6, random), **SETTINGS),
    )
    assert few.high - few.low > 2 * stats.t(7).ppf(0.975) * few.delta_se
    assert (many.high - many.low) / (2 * 1.96 * many.delta_se) == pytest.approx(1.0, abs=0.08)
    assert (many.bca_low, many.bca_high) == pytest.approx((many.low, many.high), rel=0.03)


def test_long_right_tail_reaches_further_up_than_down():
    found = ratio_interval(*sample(15, 0.9, np.random.default_rng(8)), **SETTINGS)
    assert found.high - found.estimate > 1.2 * (found.estimate - found.low)


def test_scale_moves_the_interval_with_it():
    net, hours = sample(15, 0.6, np.random.default_rng(4))
    one, hundred = ratio_interval(net, hours, **SETTINGS), ratio_interval(100 * net, hours, **SETTINGS)
    assert np.array(hundred[:6]) == pytest.approx(100 * np.array(one[:6]), rel=1e-4)


def test_more_confidence_is_wider():
    net, hours = sample(15, 0.6, np.random.default_rng(4))
    narrow = ratio_interval(net, hours, confidence=0.8, resamples=2000, seed=1)
    wide = ratio_interval(net, hours, confidence=0.99, resamples=2000, seed=1)
    assert wide.low < narrow.low < narrow.estimate < narrow.high < wide.high


def test_same_seed_same_interval_whoever_asked_before():
    net, hours = sample(15, 0.6, np.random.default_rng(4))
    one = ratio_interval(net, hours, **SETTINGS, name="a")
    assert ratio_interval(*sample(60, 0.6, np.random.default_rng(5)), **SETTINGS, name="a") != one
    assert ratio_interval(net, hours, **SETTINGS, name="a") == one
    assert ratio_interval(net, hours, **SETTINGS, name="b") != one


def test_one_trip_and_no_hours_claim_nothing():
    assert math.isnan(ratio_interval([5.0], [1.0], **SETTINGS).low)
    assert math.isnan(ratio_interval([5.0, 3.0], [0.0, 0.0], **SETTINGS).estimate)
    assert math.isnan(ratio_interval([5.0, 3.0], [1.0, 0.0], **SETTINGS).low)
    assert math.isnan(ratio_interval([], [], **SETTINGS).estimate)


def test_equal_trips_have_no_width():
    found = ratio_interval([10.0, 20.0, 30.0], [1.0, 2.0, 3.0], **SETTINGS)
    assert (found.low, found.estimate, found.high) == (10.0, 10.0, 10.0)


def test_a_trip_without_hours_among_others_is_borne():
    found = ratio_interval([10.0, 22.0, 30.0, 4.0, -2.0, 9.0], [1.0, 2.0, 3.0, 0.0, 1.0, 1.0], **SETTINGS)
    assert found.low < found.estimate < found.high


def test_settings_that_make_no_interval_are_refused():
    with pytest.raises(AssumptionError, match="confidence must be between 0 and 1, got 95"):
        require_interval_settings(95, 1000)
    with pytest.raises(AssumptionError, match="resamples must be at least 100"):
        require_interval_settings(0.95, 10)
