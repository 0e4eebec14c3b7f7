"""A ratio of sums and its error, against Cochran's cities."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flipkit.analysis.ratio_stats import jackknife_error, ratio_of_sums, ratio_standard_error, ratios_without_each

CITY_1920 = [138, 93, 61, 179, 48, 37, 29, 23, 30, 2]
CITY_1930 = [143, 104, 69, 260, 75, 63, 50, 48, 111, 50]
MORE_1920 = [38, 46, 71, 25, 298, 74, 50, 76, 381, 387, 78, 60, 507, 50, 77, 64, 40, 136, 243, 256, 94, 36, 45, 67]
MORE_1920 += [120, 172, 66, 46, 121, 44, 64, 56, 40, 116, 87, 43, 43, 161, 36]
MORE_1930 = [
    52,
    53,
    79,
    57,
    317,
    93,
    58,
    80,
    464,
    459,
    106,
    57,
    634,
    64,
    89,
    77,
    60,
    139,
    291,
    288,
    85,
    46,
    53,
    67,
    115,
]
MORE_1930 += [183, 86, 65, 113, 58, 63, 142, 64, 130, 105, 61, 50, 232, 54]


@pytest.mark.published(source="davison-hinkley-1997", where="example 2.19, ten cities", seen="from memory")
def test_ratio_of_sums_of_ten_cities():
    assert ratio_of_sums(CITY_1930, CITY_1920) == pytest.approx(1.5203125, abs=1e-6)


@pytest.mark.published(source="davison-hinkley-1997", where="example 2.19, delta variance .0325", seen="from memory")
def test_delta_error_of_ten_cities():
    # The example's own form divides by n where ours divides by n - 1.
    error = ratio_standard_error(CITY_1930, CITY_1920) * math.sqrt(9 / 10)
    assert error == pytest.approx(0.1802, abs=5e-5)
    assert error**2 == pytest.approx(0.03249, abs=5e-6)


@pytest.mark.published(source="cochran-1977", where="chapter 6, n - 1 form of the standard error", seen="from memory")
def test_cluster_correction_gives_cochran_s_form():
    assert ratio_standard_error(CITY_1930, CITY_1920) == pytest.approx(0.1900, abs=5e-5)


@pytest.mark.published(source="cochran-1977", where="section 6.1, 49 cities", seen="from memory")
def test_forty_nine_cities():
    before, after = CITY_1920 + MORE_1920, CITY_1930 + MORE_1930
    assert (len(before), sum(before), sum(after)) == (49, 5054, 6262)
    ratio = ratio_of_sums(after, before)
    assert ratio == pytest.approx(1.2390, abs=5e-5)
    assert ratio * 22_919 == pytest.approx(28_397, abs=0.5)
    error = ratio_standard_error(after, before)
    assert error == pytest.approx(0.0345, abs=5e-5)
    assert error * math.sqrt(1 - 49 / 196) == pytest.approx(0.0299, abs=5e-5)


@pytest.mark.published(source="cochran-1977", where="ten cities, mean of ratios", seen="computed")
def test_a_mean_of_ratios_is_far_from_the_ratio_of_sums():
    mean_of_ratios = float(np.mean(np.array(CITY_1930) / np.array(CITY_1920)))
    assert mean_of_ratios == pytest.approx(4.0514, abs=5e-5)
    assert mean_of_ratios > 2.6 * ratio_of_sums(CITY_1930, CITY_1920)


@pytest.mark.worked
def test_ratios_without_each_unit():
    # sums 60 and 6; without each: 50/5, 40/3, 30/4
    assert ratios_without_each([10, 20, 30], [1, 3, 2]).tolist() == pytest.approx([10.0, 40 / 3, 7.5])


def test_nothing_below_the_line_is_no_number_and_no_warning():
    assert math.isnan(ratio_of_sums([5.0], [0.0]))
    assert math.isnan(ratio_standard_error([5.0, 1.0], [0.0, 0.0]))
    assert math.isnan(ratio_standard_error([5.0], [1.0]))
    assert np.isnan(ratios_without_each([5.0, 1.0], [0.0, 2.0])[1])


@given(st.lists(st.tuples(st.integers(-10_000, 10_000), st.integers(1, 500)), min_size=2, max_size=30))
def test_order_and_scale_do_not_matter(pairs):
    above, below = np.array(pairs, dtype=float).T
    assert ratio_of_sums(above[::-1], below[::-1]) == pytest.approx(ratio_of_sums(above, below))
    error = ratio_standard_error(above, below)
    assert ratio_standard_error(3 * above, below) == pytest.approx(3 * error, abs=1e-9)
    assert ratio_standard_error(above, 2 * below) == pytest.approx(error / 2, abs=1e-9)


@pytest.mark.worked
def test_jackknife_of_a_mean_is_its_standard_error():
    # the mean without each of 1, 2, 6: 4, 3.5, 1.5; s / sqrt(n) with s^2 = 7 gives sqrt(7 / 3)
    assert jackknife_error([4.0, 3.5, 1.5]) == pytest.approx(math.sqrt(7 / 3))
