from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flipkit.errors import MoneyError
from flipkit.money import (
    LARGEST_CENTS,
    nearest_cent,
    percentage,
    read_cents,
    read_ppm,
    share_out,
    share_out_groups,
    show_cents,
)

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
        ("(64)", -6400),
        ("−3.20", -320),
        (".5", 50),
        (0.1, 10),
        (64, 6400),
    ],
)
def test_amounts_are_read_exactly(text, cents):
    assert read_cents(text) == cents


AMOUNT = "an amount such as 64.00, with at most two decimals"
MOST = "at most $9,000,000,000.00"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        *(
            (text, AMOUNT)
            for text in ("abc", "", ".", "-", "-(5)", "(51", "51)", "1,23", "1,2345", "1" * 41, True, None)
        ),
        (float("nan"), AMOUNT),
        ("€5", "in USD"),
        ("CAD 5", "in USD"),
        ("1.234", AMOUNT),
        *((text, MOST) for text in (LARGEST_CENTS + 1, -LARGEST_CENTS - 1, "9000000000.01", "-9000000000.01")),
    ],
)
def test_unreadable_amounts_say_what_is_needed(text, words):
    mend = {"1.234": ": round it to a whole cent", "in USD": ": convert it before it enters the books"}
    with pytest.raises(MoneyError) as caught:
        read_cents(text, name="cost")
    assert str(caught.value) == f"cost must be {words}, got {text!r}{mend.get(text, mend.get(words, ''))}"


def test_the_largest_amount_and_the_longest_are_read():
    assert read_cents("(9,000,000,000.00)") == read_cents("-9000000000") == -LARGEST_CENTS
    assert read_cents("0" * 39 + "7") == 700
    assert read_cents(" ( + 5. ) ") == -500
    assert read_cents("€5", currency="EUR") == read_cents("EUR5", currency="EUR") == 500
    with pytest.raises(MoneyError, match=r"amount must be at most €9,000,000,000\.00, got 9000000000000$"):
        read_cents(9 * 10**12, currency="EUR")
    with pytest.raises(MoneyError, match=r"amount must be at most €9,000,000,000\.00, got '90000000000'"):
        read_cents("90000000000", currency="EUR")


@given(amounts)
def test_an_amount_shown_reads_back(cents):
    assert read_cents(show_cents(cents)) == read_cents(show_cents(cents, plus=True)) == cents


def test_amounts_are_shown_with_sign_mark_and_thousands():
    shown = [show_cents(cents, plus=True) for cents in (1, 0, -1, 123_450_07)]
    assert shown == ["+$0.01", "$0.00", "−$0.01", "+$123,450.07"]
    assert [show_cents(120_000, currency=code) for code in ("SEK", "JPY", "CHF")] == [
        "kr 1,200.00", "¥1,200.00", "CHF 1,200.00",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "ppm"),
    [
        *((text, 132_500) for text in ("13.25 %", "13.25 percent", "13.25%", " 0.1325 ")),
        *((0.029, 29_000), ("0", 0), (9, 9_000_000), ("900 %", 9_000_000), (1e-6, 1), ("25e-2", 250_000)),
    ],
)
def test_rates_are_read_exactly(text, ppm):
    assert read_ppm(text) == ppm


RATE = "a rate such as '13.25 %' or 0.1325"
BETWEEN = "between 0 and 9 (a bare number is a fraction of one)"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        *((text, RATE) for text in ("13,25 %", "x", "-1 %", "1.2.3", "", None, True, False, -1)),
        ("0.00000001", "a whole number of parts per million"),
        *((text, BETWEEN) for text in ("13.25", "9.000001", 10, 9_000_001, -9_000_001)),
    ],
)
def test_unreadable_rates_are_refused(text, words):
    with pytest.raises(MoneyError) as caught:
        read_ppm(text)
    assert str(caught.value) == f"rate must be {words}, got {text!r}"
    with pytest.raises(MoneyError, match=r"^fee must be"):
        read_ppm(text, name="fee")


@pytest.mark.worked
def test_an_exact_half_goes_away_from_zero():
    """10 cents at 5 % are half a cent; a millionth less is none."""
    assert percentage([10, -10, 30], 50_000).tolist() == [1, -1, 2]
    assert percentage(10, 49_999) == 0
    assert [nearest_cent(cents) for cents in (0.5, -0.5, 1.5, 0.49, -0.49, 2)] == [1, -1, 2, 0, 0, 2]


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
    # Narrow columns, as files of other programs hold them, do not overflow.
    assert percentage(np.array([200_000_000], np.int32), np.array([132_500], np.int32)).tolist() == [26_500_000]


def test_a_percentage_refuses_what_it_cannot_take_exactly():
    top = 9_000_000
    assert percentage([LARGEST_CENTS, -LARGEST_CENTS], [top, 0]).tolist() == [9 * LARGEST_CENTS, 0]
    assert percentage([], []).size == percentage([], 1).size == 0
    for cents in (LARGEST_CENTS + 1, -LARGEST_CENTS - 1):
        with pytest.raises(MoneyError) as caught:
            percentage([5, cents], 1)
        assert str(caught.value) == f"amount_cents must be within {LARGEST_CENTS} cents, got {LARGEST_CENTS + 1}"
    for rate, got in (([-1, 5], 5), ([0, top + 1], top + 1)):
        with pytest.raises(MoneyError) as caught:
            percentage(1, rate)
        assert str(caught.value) == f"rate_ppm must be from 0 to 9000000 ppm, got {got}"


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
    empty = "group must be at least one member to share with, got 'an empty group with money'"
    for totals, group, weights in (([100, 5], [0], [1.0]), ([0, -5], [0], [1.0])):
        with pytest.raises(MoneyError) as caught:
            share_out_groups(totals, group, weights)
        assert str(caught.value) == empty
    assert share_out_groups([3, 0], [0], [1.0]).tolist() == [3]
    assert share_out_groups([], [], []).size == 0
    for wrong in (-1.0, float("nan"), float("inf")):
        with pytest.raises(MoneyError) as caught:
            share_out(100, [1.0, wrong])
        assert str(caught.value) == f"weights must be finite numbers of at least 0, got {wrong}"


@pytest.mark.worked
def test_what_is_left_goes_to_the_largest_remainders_and_of_equals_to_the_earlier():
    """10 over 1, 2, 3 is 1.67, 3.33, 5: one is left. 5 is 0.83, 1.67, 2.5: two are. 11 over 1, 1, 1: two are."""
    assert share_out(10, [1, 2, 3]).tolist() == [2, 3, 5]
    assert share_out(-11, [1, 1, 1]).tolist() == [-4, -4, -3]
    assert share_out_groups([10, 5], [1, 0, 1, 0, 1], [1, 0, 2, 0, 3]).tolist() == [1, 5, 2, 5, 2]


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


@pytest.mark.worked
def test_shares_of_small_weights_of_many_groups_and_of_equal_remainders():
    assert share_out_groups([100], [0, 0], [0.25, 0.75]).tolist() == [25, 75]
    # Four groups, the last one with nothing and nobody.
    assert share_out_groups([7, 50, 9, 0], [0, 0, 1, 2], [1, 1, 1, 1]).tolist() == [4, 3, 50, 9]
    # 92,057 2/3, 368,230 2/3 and 92,057 2/3: two cents are left, and the first two members have them.
    assert share_out(552_346, [1, 4, 1]).tolist() == [92_058, 368_231, 92_057]


def test_no_amounts_at_all_are_whole_cents_too():
    assert percentage([], 132_500).dtype == np.int64
