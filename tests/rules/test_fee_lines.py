"""Fee schedules line by line: every shape, several items in an order, dates, and the vector against the single."""

from __future__ import annotations

import datetime as dt
import itertools

import numpy as np
import pandas as pd
import pytest

from flipkit.errors import MeasureError, MoneyError, RuleNotInForceError, RuleTableError
from flipkit.rules.fees import LINES, order_fees

DAY = dt.date(2026, 1, 1)


def line(schedule, name, **order):
    return order_fees(schedule, on=order.pop("on", DAY), **order)[f"{name}_cents"].tolist()


@pytest.mark.worked
@pytest.mark.parametrize(
    ("base", "cents"),
    [
        ('["goods"]', 640),
        ('["goods", "shipping"]', 765),
        ('["goods", "shipping", "tax"]', 819),
        ('["shipping"]', 125),
        ('["tax"]', 54),
    ],
)
def test_percentage_is_taken_of_the_stated_base(schedule, base, cents):
    # 10 % of 64.00; + 12.50; + 5.36, each rounded half up once: 6.40, 7.65, 8.186, 1.25, .536
    found = schedule(f'commission = {{ base = {base}, rate = "10 %" }}\n')
    assert line(found, "commission", goods_cents=6400, shipping_cents=1250, tax_cents=536) == [cents]


MARGINAL = (
    '[block.commission]\ntier_kind = "marginal"\n'
    'tiers = [{ up_to = "100.00", rate = "12 %" }, { up_to = "500.00", rate = "6 %" }, { rate = "2 %" }]\n'
)


@pytest.mark.worked
def test_marginal_tiers_charge_each_slice_its_own_rate(schedule):
    # 100: 12.00; 100.01: 12.00 + .0006; 500: 12 + 24; 700: 12 + 24 + 4; 500.25: 36 + .005 -> 36.01 half up
    prices = [10000, 10001, 50000, 70000, 50025]
    assert line(schedule(MARGINAL), "commission", goods_cents=prices) == [1200, 1200, 3600, 4000, 3601]


@pytest.mark.worked
def test_whole_amount_tiers_charge_everything_the_rate_of_their_tier(schedule):
    # 100: 12.00; 100.01: 6 % of all, 6.0006; 500: 30.00; 500.01: 10.0002
    found = schedule(MARGINAL.replace('"marginal"', '"whole amount"'))
    assert line(found, "commission", goods_cents=[10000, 10001, 50000, 50001]) == [1200, 600, 3000, 1000]


@pytest.mark.worked
def test_minimum_cap_and_fixed(schedule):
    # 10 %, at least 1.00, at most 5.00, then .30: 5 -> .50 -> 1.00; 20 -> 2.00; 80 -> 8.00 -> 5.00
    found = schedule('commission = { rate = "10 %", minimum = "1.00", cap = "5.00", fixed = "0.30" }\n')
    assert line(found, "commission", goods_cents=[500, 2000, 8000]) == [130, 230, 530]


CATEGORIES = (
    '[block.commission]\nbase = ["goods", "shipping"]\nrate = "10 %"\nminimum = "0.50"\n'
    '[block.commission.category.lamps]\nrate = "5 %"\n'
    '[block.commission.category."hand tools"]\nbase = ["goods"]\ntier_kind = "whole amount"\n'
    'tiers = [{ up_to = "50.00", rate = "8 %" }, { rate = "4 %" }]\ncap = "2.50"\nminimum = "0.00"\n'
)


@pytest.mark.worked
def test_categories_have_their_own_commission_and_inherit_the_rest(schedule):
    # 40.00 + 10.00: 10 % 5.00; lamps 5 % 2.50; tools 8 % of 40.00 = 3.20 capped 2.50. 2.00 + 1.00: minimum .50;
    # lamps keep the minimum; tools 8 % of 2.00 = .16
    found = schedule(CATEGORIES)
    words = ["lamps", "hand tools", "chairs", None]
    assert line(found, "commission", goods_cents=4000, shipping_cents=1000, category=words) == [250, 250, 500, 500]
    assert line(found, "commission", goods_cents=200, shipping_cents=100, category=words) == [50, 16, 50, 50]


@pytest.mark.parametrize("make", [list, np.array, pd.Series, pd.Categorical, lambda w: pd.Series(w, dtype="str")])
def test_categories_come_in_any_column(schedule, make):
    words = ["lamps", "hand tools", "chairs"] * 40
    found = line(schedule(CATEGORIES), "commission", goods_cents=4000, shipping_cents=1000, category=make(words))
    assert found == [250, 250, 500] * 40


@pytest.mark.worked
def test_amount_an_order_steps_with_its_size(schedule):
    found = schedule(
        '[block.per_order]\nbase = ["goods", "shipping"]\n'
        'steps = [{ up_to = "10.00", amount = "0.30" }, { up_to = "50.00", amount = "0.40" }, { amount = "0.75" }]\n'
    )
    goods = [500, 999, 1000, 1001, 5000, 5001]
    assert line(found, "per_order", goods_cents=goods) == [30, 30, 30, 40, 40, 75]
    # 9.99 + .02 shipping is above 10.00
    assert line(found, "per_order", goods_cents=999, shipping_cents=2) == [40]


@pytest.mark.worked
def test_advertising_only_where_it_brought_the_sale(schedule):
    found = schedule('advertising = { base = ["goods", "shipping"], rate = "4 %" }\n')
    assert line(found, "advertising", goods_cents=5000, shipping_cents=500, advertised=[True, False]) == [220, 0]
    # The seller's own rate in place of the schedule's: 7.5 % of 55.00 = 4.125 -> 4.13
    assert line(
        found, "advertising", goods_cents=5000, shipping_cents=500, advertised=True, advertising_ppm=75_000
    ) == [413]


@pytest.mark.worked
def test_international_only_abroad(schedule):
    found = schedule('international = { base = ["goods", "tax"], rate = "1.65 %", fixed = "0.20" }\n')
    # 1.65 % of 50.00 + 3.00 = .8745 -> .87, + .20 before rounding: 1.0745 -> 1.07
    assert line(found, "international", goods_cents=5000, tax_cents=300, international=[True, False]) == [107, 0]


LEVELS = (
    'commission = { rate = "12.5 %" }\n[block.seller_level.trusted]\ncommission_off = "10 %"\n'
    '[block.seller_level.watched]\nrate = "5 %"\n'
)


@pytest.mark.worked
def test_standing_takes_off_the_commission_or_puts_a_surcharge_on(schedule):
    # 12.5 % of 47.00 = 5.875 -> 5.88; 10 % of 5.88 = .588 -> .59 off; 5 % of 47.00 = 2.35 on
    found = order_fees(schedule(LEVELS), on=DAY, goods_cents=4700, seller_level=["trusted", "watched", None])
    assert found["commission_cents"].tolist() == [588, 588, 588]
    assert found["seller_level_cents"].tolist() == [-59, 235, 0]
    assert found["total_cents"].tolist() == [529, 823, 588]


def test_unknown_standing_is_an_error_that_names_the_known_ones(schedule):
    with pytest.raises(
        MoneyError, match=r"seller_level must be one that fees 'test' names \(trusted, watched\), got 'gold'"
    ):
        order_fees(schedule(LEVELS), on=DAY, goods_cents=4700, seller_level="gold")


def test_advertising_where_there_is_none_is_an_error(schedule):
    with pytest.raises(MoneyError, match="advertised must be false, since the block from 2000-01-01 has none"):
        order_fees(schedule(LEVELS), on=DAY, goods_cents=4700, advertised=True)


def test_listing_fees_are_carried_into_the_total(schedule):
    found = order_fees(schedule(LEVELS), on=DAY, goods_cents=4700, listing_cents=[0, 35])
    assert found["listing_cents"].tolist() == [0, 35]
    assert found["total_cents"].tolist() == [588, 623]


# --- several items in one order


ORDERS = (
    '[block.per_order]\nbase = ["goods", "shipping"]\n'
    'steps = [{ up_to = "10.00", amount = "0.30" }, { amount = "0.41" }]\n'
    '[block.commission]\nrate = "10 %"\n'
    '[block.payment]\nrate = "2.9 %"\nfixed = "0.30"\nper = "order"\nbase = ["goods", "shipping"]\n'
)


@pytest.mark.worked
def test_items_of_an_order_share_what_is_charged_per_order(schedule):
    # Order a: 30.00 + 10.00 + 5.00 shipping: per order .41 shared 30:10 = .3075, .1025 -> .31, .10;
    # payment 2.9 % of 45.00 = 1.305 -> 1.31 rounded once with .30: 1.605 -> 1.61, shared 1.2075, .4025 -> 1.21, .40.
    # Order b: 8.00 alone: .30; payment .232 + .30 = .532 -> .53
    found = order_fees(
        schedule(ORDERS),
        on=DAY,
        goods_cents=[3000, 800, 1000],
        shipping_cents=[500, 0, 0],
        order=["a", "b", "a"],
    )
    assert found["per_order_cents"].tolist() == [31, 30, 10]
    assert found["payment_cents"].tolist() == [121, 53, 40]
    assert found["commission_cents"].tolist() == [300, 80, 100]


def test_orders_of_one_item_pay_as_without_orders(schedule):
    rng = np.random.default_rng(3)
    goods, shipping = rng.integers(0, 30_000, 200), rng.integers(0, 3_000, 200)
    alone = order_fees(schedule(ORDERS), on=DAY, goods_cents=goods, shipping_cents=shipping)
    named = order_fees(schedule(ORDERS), on=DAY, goods_cents=goods, shipping_cents=shipping, order=np.arange(200))
    pd.testing.assert_frame_equal(alone, named)


def test_an_order_pays_what_its_sum_would_pay_alone(schedule):
    rng = np.random.default_rng(4)
    goods, order = rng.integers(1, 30_000, 300), rng.integers(0, 80, 300)
    split = order_fees(schedule(ORDERS), on=DAY, goods_cents=goods, order=order)
    sums = pd.Series(goods).groupby(order).sum()
    whole = order_fees(schedule(ORDERS), on=DAY, goods_cents=sums.to_numpy())
    for name in ("per_order_cents", "payment_cents"):
        assert split[name].groupby(order).sum().tolist() == whole[name].tolist()


def test_items_of_one_order_must_share_day_and_standing(demo):
    lantern = demo.fee_schedules["lantern"]
    days = [dt.date(2025, 9, 30), dt.date(2025, 10, 1)]
    with pytest.raises(MeasureError, match="order must be items alike in day, got 'x'"):
        order_fees(lantern, on=days, goods_cents=100, order=["x", "x"])


# --- rounded once


ONCE = (
    'rounding = "once"\ncommission = { rate = "10 %" }\npayment = { rate = "2.5 %" }\n'
    'advertising = { rate = "1 %" }\ninternational = { rate = "1.5 %" }\n'
)


@pytest.mark.worked
def test_fees_rounded_once_share_the_rounded_sum(schedule):
    # 15 % of .90 = .135 -> .14. Exact lines .09, .0225, .009, .0135: floors .09, .02, 0, .01, two cents left
    # go to the largest remainders: advertising .9 and international .35.
    found = order_fees(schedule(ONCE), on=DAY, goods_cents=90, advertised=True, international=True).iloc[0]
    assert found["total_cents"] == 14
    names = ("commission_cents", "payment_cents", "advertising_cents", "international_cents")
    assert [int(found[name]) for name in names] == [9, 2, 1, 2]


def test_rounding_once_never_strays_from_the_exact_sum(schedule):
    goods = np.arange(0, 4000)
    once = order_fees(schedule(ONCE), on=DAY, goods_cents=goods, advertised=True, international=True)
    assert once["total_cents"].tolist() == ((goods * 150_000 + 500_000) // 1_000_000).tolist()


# --- dates


def test_each_row_meets_the_block_of_its_day(demo):
    lantern = demo.fee_schedules["lantern"]
    days = [dt.date(2025, 9, 30), dt.date(2025, 10, 1)]
    found = order_fees(lantern, on=days, goods_cents=10000)
    # 11.4 % and 11.9 % of 100.00
    assert found["commission_cents"].tolist() == [1140, 1190]
    for number, on in enumerate(days):
        single = order_fees(lantern, on=on, goods_cents=10000)
        assert single.iloc[0].tolist() == found.iloc[number].tolist()


def test_a_day_before_the_first_block_names_the_dates_that_exist(demo):
    words = (
        r"fees 'quayside' has no block in force on 2024-12-31; "
        r"its blocks: from 2025-01-01 to 2026-03-31; from 2026-04-01"
    )
    with pytest.raises(RuleNotInForceError, match=words):
        order_fees(demo.fee_schedules["quayside"], on=[DAY, dt.date(2024, 12, 31)], goods_cents=100)


# --- the vector and the single answer


def test_a_column_of_orders_pays_as_each_order_alone(demo):
    rng = np.random.default_rng(11)
    n = 120
    columns = {
        "on": np.datetime64("2025-01-01") + rng.integers(0, 690, n).astype("timedelta64[D]"),
        "goods_cents": rng.integers(0, 400_000, n),
        "shipping_cents": rng.integers(0, 4_000, n),
        "tax_cents": rng.integers(0, 20_000, n),
        "category": rng.choice(["sewing machines", "film cameras and lenses", "stoneware", ""], n),
        "international": rng.random(n) < 0.3,
        "advertised": rng.random(n) < 0.3,
        "seller_level": rng.choice(["trusted", "watched", ""], n),
    }
    every = order_fees(demo.fee_schedules["lantern"], **columns)
    for row in range(n):
        own = {name: column[row].item() for name, column in columns.items()}
        single = order_fees(demo.fee_schedules["lantern"], **own)
        assert single.iloc[0].tolist() == every.iloc[row].tolist(), own
    assert (every[[f"{name}_cents" for name in LINES]].sum(axis=1) == every["total_cents"]).all()


@pytest.mark.parametrize(
    ("column", "value", "error", "words"),
    [
        ("goods_cents", [100.5, 2], MoneyError, "goods_cents must be whole cents"),
        ("goods_cents", [float("nan"), 2], MoneyError, "goods_cents must be whole cents"),
        ("shipping_cents", [-1, 2], MoneyError, r"shipping_cents must be .* not below 0, got -1 \(row 1 of 2\)"),
        ("goods_cents", [1, 2, 3], MeasureError, "goods_cents must be one value or 2"),
        ("international", ["yes", "no"], MeasureError, "international must be true or false"),
        ("on", ["2026-13-01", "2026-01-01"], MeasureError, "on must be dates"),
    ],
)
def test_bad_columns_are_refused_by_name(schedule, column, value, error, words):
    order = {"on": [DAY, DAY], "goods_cents": [100, 200], column: value}
    with pytest.raises(error, match=words):
        order_fees(schedule(ORDERS), **order)


def test_no_order_at_all_is_an_empty_bill(schedule):
    empty = np.zeros(0, dtype=np.int64)
    found = order_fees(schedule(ORDERS), on=np.zeros(0, dtype="datetime64[D]"), goods_cents=empty)
    assert len(found) == 0
    assert list(found.columns) == [f"{name}_cents" for name in (*LINES, "total")]


def test_lines_are_whole_cents(demo):
    found = order_fees(demo.fee_schedules["lantern"], on=DAY, goods_cents=[1, 2])
    assert set(found.dtypes.astype(str)) == {"int64"}


def test_the_demo_venues_are_invented_and_say_so(demo):
    for schedule, block in itertools.chain.from_iterable(
        [(schedule, block) for block in schedule.blocks] for schedule in demo.fee_schedules.values()
    ):
        assert block.seen == "invented for the demo", schedule.name


@pytest.mark.worked
def test_a_category_with_one_rate_leaves_the_tiers_of_the_rest(schedule):
    # 700.00: 12.00 + 24.00 + 4.00 by the slices, lamps 5 % of all of it.
    found = schedule(MARGINAL + '[block.commission.category.lamps]\nrate = "5 %"\n')
    assert line(found, "commission", goods_cents=70000, category=["lamps", "chairs"]) == [3500, 4000]


@pytest.mark.worked
def test_a_charge_of_a_large_order_is_exact_to_the_cent(schedule):
    # 12.5001 % of 800,000,624,999 cents is 100,000,878,125.499999 cents, a hair under the half.
    found = schedule('commission = { rate = "12.5001 %", per = "order" }\n')
    assert line(found, "commission", goods_cents=[800_000_624_999], order=["A"]) == [100_000_878_125]


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (
            'per_order = { base = ["moon"], amount = "0.30" }\n',
            r"key per_order\.base: this is 'moon'\. It needs a list of 'goods', 'shipping', 'tax'",
        ),
        (
            'seller_level = { watched = { rate = "5 %", per = "order" } }\n',
            r"key seller_level\.watched\.per: this is 'order'\. It needs 'item': a standing's",
        ),
        (
            '[block.commission]\nrate = "5 %"\nper = "order"\n[block.commission.category.lamps]\nrate = "4 %"\n',
            r"key commission\.category\.lamps\.per: this is 'order'\. It needs 'item': a category's",
        ),
    ],
)
def test_what_no_schedule_may_say_is_named_by_its_place(schedule, body, words):
    with pytest.raises(RuleTableError, match=words):
        schedule(body)


def test_a_tax_that_is_no_amount_is_named(schedule):
    with pytest.raises(MoneyError, match=r"^tax_cents must be"):
        order_fees(schedule('commission = { rate = "5 %" }\n'), on=DAY, goods_cents=100, tax_cents="much")
