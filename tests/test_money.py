from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flipkit.errors import MoneyError
from flipkit.money import LARGEST_CENTS, percentage, read_cents, read_ppm, share_out, share_out_groups, show_cents

amounts = st.integers(-LARGEST_CENTS, LARGEST_CENTS)
rates = st.integers(0, 9_000_000)


@pytest.mark.parametrize(
    ("text", "cents"),
    [
        ("64", 6400),
        ("64.5", 6450),
        ("$1,234.50", 123450),
        ("USD 5.00", 500),
        ("5 USD", 500),
        ("-$3.20", -320),
        ("(3.20)", -320),
        ("−3.20", -320),
        (".5", 50),
        (0.1, 10),
        (64, 6400),
    ],
)
def test_amounts_are_read_exactly(text, cents):
    assert read_cents(text) == cents


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("abc", "with at most two decimals"),
        ("", "with at most two decimals"),
        ("1.234", "round it to a whole cent"),
        ("1,23", "with at most two decimals"),
        ("€5", "in USD"),
        ("CAD 5", "in USD"),
        (float("nan"), "with at most two decimals"),
        (True, "with at most two decimals"),
        ("99999999999999", "at most $9,000,000,000.00"),
    ],
)
def test_unreadable_amounts_say_what_is_needed(text, words):
    with pytest.raises(MoneyError, match="amount must be") as caught:
        read_cents(text)
    assert words in str(caught.value)


@given(amounts)
def test_an_amount_shown_reads_back(cents):
    assert read_cents(show_cents(cents)) == cents


@pytest.mark.parametrize(("text", "ppm"), [("13.25 %", 132500), ("13.25 percent", 132500), (0.029, 29000), ("0", 0)])
def test_rates_are_read_exactly(text, ppm):
    assert read_ppm(text) == ppm


@pytest.mark.parametrize("text", ["13,25 %", "x", "-1 %", "0.00000001", "13.25", None, True])
def test_unreadable_rates_are_refused(text):
    with pytest.raises(MoneyError, match="rate must be"):
        read_ppm(text)


@given(amounts, rates)
def test_a_percentage_is_rounded_half_up_once(cents, ppm):
    exact = Decimal(abs(cents)) * ppm / 1_000_000
    expected = int(exact.quantize(Decimal(1), rounding=ROUND_HALF_UP))
    assert int(percentage(cents, ppm)) == (expected if cents >= 0 else -expected)


def test_one_and_many_percentages_are_equal():
    cents = np.arange(-5_000, 5_000, 7)
    many = percentage(cents, 132_500)
    assert many.dtype == np.int64
    assert many.tolist() == [int(percentage(amount, 132_500)) for amount in cents]


def test_a_percentage_refuses_what_it_cannot_take_exactly():
    with pytest.raises(MoneyError, match="amount_cents"):
        percentage(LARGEST_CENTS + 1, 1)
    with pytest.raises(MoneyError, match="rate_ppm"):
        percentage(1, -1)


@given(st.integers(-(10**12), 10**12), st.lists(st.floats(0, 1e6, allow_nan=False), min_size=1, max_size=40))
def test_sharing_out_loses_and_invents_no_cent(total, weights):
    shares = share_out(total, weights)
    assert int(shares.sum()) == total
    assert (shares * np.sign(total) >= 0).all()
    even = weights if sum(weights) > 0 else [1.0] * len(weights)
    exact = np.array(even) / sum(even) * total
    assert np.abs(shares - exact).max() <= 1 + abs(total) * 1e-12


@given(st.lists(st.tuples(st.integers(0, 4), st.floats(0, 10)), min_size=1, max_size=60), st.integers(0, 10**6))
def test_groups_share_as_each_would_alone(members, base):
    group = np.array([code for code, _ in members])
    weight = np.array([weight for _, weight in members])
    totals = np.array([base + code if (group == code).any() else 0 for code in range(5)])
    shares = share_out_groups(totals, group, weight)
    for code in range(5):
        mine = group == code
        if mine.any():
            assert shares[mine].tolist() == share_out(int(totals[code]), weight[mine]).tolist()


def test_sharing_with_nobody_or_by_a_negative_weight_is_refused():
    with pytest.raises(MoneyError, match="at least one member"):
        share_out_groups([100, 5], [0], [1.0])
    with pytest.raises(MoneyError, match="weights"):
        share_out(100, [1.0, -1.0])


@pytest.mark.published(source="accountingtools-lump-sum", where="lump-sum purchase example", seen="found")
def test_lump_sum_of_land_and_building():
    shares = share_out(1_000_000_00, [250_000, 800_000]) / 100
    assert shares.tolist() == pytest.approx([238_095, 761_905], abs=0.5)


@pytest.mark.published(source="wizedu-lump-sum", where="question 420733", seen="found")
def test_lump_sum_of_three_assets():
    assert share_out(60_000_00, [30_000, 18_000, 27_000]).tolist() == [24_000_00, 14_400_00, 21_600_00]


@pytest.mark.published(source="superfastcpa-joint-cost", where="joint costs by sales value", seen="computed")
def test_joint_cost_by_sales_value():
    assert share_out(10_000_00, [15_000, 5_000]).tolist() == [7_500_00, 2_500_00]


@pytest.mark.published(source="chron-joint-cost", where="relative sales value example", seen="found")
def test_joint_cost_of_one_of_three_products():
    assert int(share_out(200_00, [200, 250, 350])[0]) == 50_00
