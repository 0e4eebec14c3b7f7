"""Resampled sums and the limits they give, against R's boot and the law school."""

from __future__ import annotations

import numpy as np
import pytest

from flipkit.analysis.ratio_stats import bca_limits, generator, resampled_sums

SIXTEEN = [10, 12, 12.5, 12.5, 13.9, 15, 21, 22, 23, 34, 50, 81, 89, 121, 134, 213]
LSAT = [576, 635, 558, 578, 666, 580, 555, 661, 651, 605, 653, 575, 545, 572, 594]
GPA = [3.39, 3.30, 2.81, 3.03, 3.44, 3.07, 3.00, 3.43, 3.36, 3.13, 3.12, 2.74, 2.76, 2.88, 2.96]


def means_without_each(values):
    values = np.asarray(values, dtype=float)
    return (values.sum() - values) / (values.size - 1)


@pytest.mark.published(source="scipy-bootstrap-tests", where="bootstrap of a mean as in R's boot", seen="found")
def test_limits_of_a_mean():
    values = np.array(SIXTEEN)
    draws = resampled_sums(values[:, None], resamples=1_000_000, seed=1, name="x")[:, 0] / 16
    low, high = bca_limits(values.mean(), draws, means_without_each(values), confidence=0.95)
    assert low == pytest.approx(32.31, rel=0.005)
    assert high == pytest.approx(91.43, rel=0.005)
    assert np.quantile(draws, [0.025, 0.975]) == pytest.approx([28.86, 84.21], rel=0.005)
    basic = 2 * values.mean() - np.quantile(draws, [0.975, 0.025])
    assert basic == pytest.approx([23.77, 79.12], rel=0.005)


def correlation(sums):
    n, x, y, xx, yy, xy = sums.T
    return (xy - x * y / n) / np.sqrt((xx - x**2 / n) * (yy - y**2 / n))


@pytest.mark.published(source="efron-tibshirani-1993", where="law school data", seen="from memory")
def test_law_school_correlation():
    x, y = np.array(LSAT, dtype=float), np.array(GPA)
    table = np.column_stack([np.ones(15), x, y, x * x, y * y, x * y])
    estimate = float(correlation(table.sum(axis=0)[None, :])[0])
    assert estimate == pytest.approx(0.776, abs=5e-4)
    sums = resampled_sums(table, resamples=200_000, seed=1, name="law")
    draws = correlation(sums)
    low, high = bca_limits(estimate, draws, correlation(table.sum(axis=0) - table), confidence=0.95)
    assert (low, high) == pytest.approx((0.32, 0.94), abs=0.02)
    assert float(draws.std(ddof=1)) == pytest.approx(0.134, abs=0.02)


def test_weights_are_those_of_drawing_with_replacement():
    sums = resampled_sums(np.eye(4), resamples=40_000, seed=3, name="weights")
    assert (sums.sum(axis=1) == 4).all()
    # Each weight is binomial(4, 1/4): mean 1, variance 3/4; two weights have covariance -1/4.
    assert sums.mean(axis=0) == pytest.approx(np.ones(4), abs=0.02)
    assert np.cov(sums.T) == pytest.approx(np.eye(4) - 0.25, abs=0.02)


def test_many_units_take_the_wide_draws():
    values = np.ones((70_000, 1))
    assert resampled_sums(values, resamples=2, seed=1, name="many").tolist() == [[70_000.0], [70_000.0]]


def test_draws_belong_to_the_name():
    first, again, other = (generator(7, name).integers(0, 2**32, 5).tolist() for name in ("lamps", "lamps", "games"))
    assert first == again
    assert first != other


def test_kept_draws_are_those_of_the_name_and_of_the_values_asked_about():
    one, other = np.array([[1.0], [5.0], [9.0]]), np.array([[2.0], [3.0], [7.0]])
    first = resampled_sums(one, resamples=300, seed=7, name="lamps")
    between = resampled_sums(other, resamples=300, seed=7, name="lamps")
    assert resampled_sums(one, resamples=300, seed=7, name="lamps").tolist() == first.tolist()
    both = resampled_sums(np.column_stack([one, other]), resamples=300, seed=7, name="lamps")
    assert both.tolist() == np.column_stack([first, between]).tolist()
    for changed in ({"name": "games"}, {"seed": 8}):
        asked = {"resamples": 300, "seed": 7, "name": "lamps"} | changed
        assert resampled_sums(one, **asked).tolist() != first.tolist()


def test_a_statistic_without_spread_has_no_width():
    assert bca_limits(5.0, np.full(100, 5.0), np.full(8, 5.0), confidence=0.95) == (5.0, 5.0)
