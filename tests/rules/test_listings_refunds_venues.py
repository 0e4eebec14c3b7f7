"""Listing fees, refunds, and the same item at several venues."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flipkit.errors import MeasureError, MoneyError, RuleNotInForceError
from flipkit.rules.fees import listing_fees, listing_periods, order_fee_lines, order_fees, refunded_fees
from flipkit.rules.net_price import plain_listing_cents, venue_nets

DAY = dt.date(2026, 10, 1)


@pytest.fixture(scope="module")
def relisting(schedule):
    return schedule('listing = { fee = "0.30", free_a_month = 2, relist_every_days = 30 }\n')


@pytest.mark.worked
@pytest.mark.parametrize(("days", "periods"), [(0, 1), (29, 1), (30, 2), (59, 2), (60, 3)])
def test_a_thing_is_put_up_again_every_thirty_days(relisting, days, periods):
    first = dt.date(2026, 1, 1)
    ended = first + dt.timedelta(days=days)
    assert listing_periods(relisting, listed_on=first, ended_on=ended).tolist() == [periods]
    assert listing_fees(relisting, listed_on=first, ended_on=ended, free_a_month=0).tolist() == [30 * periods]


def test_a_listing_that_never_expires_is_paid_once(schedule):
    forever = schedule('listing = { fee = "0.30" }\n')
    assert listing_fees(forever, listed_on="2026-01-01", ended_on="2026-12-31").tolist() == [30]
    none = schedule('commission = { rate = "1 %" }\n')
    assert listing_fees(none, listed_on="2026-01-01", ended_on="2026-12-31").tolist() == [0]


@pytest.mark.worked
def test_free_listings_go_to_the_earliest_of_each_month(relisting):
    # January: the 3rd, 5th and 7th; two are free. The thing of the 3rd is put up again on 2 February, that of the 5th
    # on 4 February, that of the 7th on 6 February: two free, one paid. Rows are not in order of date.
    listed = ["2026-01-07", "2026-01-03", "2026-01-05"]
    ended = ["2026-02-20", "2026-02-20", "2026-02-20"]
    assert listing_fees(relisting, listed_on=listed, ended_on=ended).tolist() == [60, 0, 0]
    # On one day the earlier row is first.
    assert listing_fees(relisting, listed_on="2026-01-01", ended_on=["2026-01-02"] * 4).tolist() == [0, 0, 30, 30]


@pytest.mark.worked
def test_each_period_is_paid_at_the_fee_of_its_own_day(demo):
    # .28 to 30 September 2025 and .31 from 1 October: put up on 15 September, again on 15 October and 14 November.
    lantern = demo.fee_schedules["lantern"]
    found = listing_fees(lantern, listed_on="2025-09-15", ended_on="2025-11-20", free_a_month=0)
    assert found.tolist() == [28 + 31 + 31]
    assert plain_listing_cents(lantern, on=dt.date(2025, 11, 20), days_listed=66) == 90
    assert plain_listing_cents(lantern, on=DAY, days_listed=None) == 0


def test_a_thing_cannot_end_before_it_is_listed(relisting):
    with pytest.raises(MeasureError, match=r"ended_on must be not before 2026-01-02, got '2026-01-01' \(row 2\)"):
        listing_fees(relisting, listed_on=["2026-01-01", "2026-01-02"], ended_on="2026-01-01")


def test_no_things_have_no_fees(relisting):
    empty = np.zeros(0, dtype="datetime64[D]")
    assert listing_fees(relisting, listed_on=empty, ended_on=empty).tolist() == []


# --- refunds


REFUND = (
    'commission = { rate = "10 %" }\npayment = { rate = "3 %", fixed = "0.30" }\nper_order = { amount = "0.40" }\n'
    'refund = { commission = "100 %", payment = "50 %", payment_fixed = "0 %", fee = "0.25" }\n'
)


def refund(schedule, paid, back, **more):
    fees = order_fees(schedule, on=DAY, goods_cents=paid, **more).iloc[0].to_dict()
    return refunded_fees(schedule, sold_on=DAY, fees=fees, paid_cents=paid, refund_cents=back)


@pytest.mark.worked
def test_a_full_refund_brings_back_what_the_rule_says(schedule):
    # Of 50.00: commission 5.00 back; payment 1.50 + .30: half of 1.50; per order .40 stays; .25 for the refund
    found = refund(schedule(REFUND), 5000, 5000)
    assert (found["commission_cents"], found["payment_cents"], found["per_order_cents"]) == (500, 75, 0)
    assert found["back_cents"] == 500 + 75 - 25
    assert found["kept_cents"] == 105 + 40 + 25


@pytest.mark.worked
def test_a_partial_refund_brings_back_its_part(schedule):
    # 12.34 of 50.00: commission 5.00 x .2468 = 1.234 -> 1.23; payment .75 x .2468 = .1851 -> .19
    found = refund(schedule(REFUND), 5000, 1234)
    assert (found["commission_cents"], found["payment_cents"]) == (123, 19)


def test_no_refund_costs_nothing(schedule):
    found = refund(schedule(REFUND), 5000, 0)
    assert (found["back_cents"], found["refund_fee_cents"]) == (0, 0)
    assert found["kept_cents"] == 500 + 180 + 40


def test_a_discount_that_comes_back_is_taken_back(demo):
    # The demo's lantern brings its commission and its standing's discount back in full; the per-order amount stays.
    found = refund(demo.fee_schedules["lantern"], 10_000, 10_000, seller_level="trusted")
    assert found["seller_level_cents"] < 0
    assert found["kept_cents"] == 52


def test_more_than_was_paid_cannot_come_back(schedule):
    with pytest.raises(MoneyError, match="refund_cents must be from 0 to the 5000 cents that were paid, got 5001"):
        refund(schedule(REFUND), 5000, 5001)


@settings(deadline=None)
@given(paid=st.integers(1, 1_000_00), share=st.integers(0, 1_000))
def test_what_comes_back_and_what_stays_are_the_whole_bill(demo, paid, share):
    lantern = demo.fee_schedules["lantern"]
    fees = {name: int(cents[0]) for name, cents in order_fee_lines(lantern, on=DAY, goods_cents=paid).items()}
    found = refunded_fees(lantern, sold_on=DAY, fees=fees, paid_cents=paid, refund_cents=paid * share // 1000)
    assert found["back_cents"] + found["kept_cents"] == fees["total_cents"]
    assert 0 <= found["back_cents"] <= fees["total_cents"]


# --- venues


@pytest.mark.worked
def test_venues_are_compared_by_what_they_leave(schedule):
    # 40.00 + 8.00 shipping - label 6.00, less 10 % of 40.00 = 4.00: 38.00; less 5 % + .50 = 2.50: 39.50
    venues = {
        "ten": schedule('commission = { rate = "10 %" }\n'),
        "five": schedule('commission = { rate = "5 %", fixed = "0.50" }\n'),
    }
    found = venue_nets(venues, on=DAY, goods_cents=4000, shipping_cents=800, label_cents=600)
    assert [(venue["venue"], venue["net_cents"]) for venue in found] == [("five", 3950), ("ten", 3800)]
    # At ten, 39.50 = .9 p + 2.00: p = 41.67 (.9 x 41.67 = 37.503, fee 4.167 -> 4.17 leaves 37.50)
    assert [venue["even_price_cents"] for venue in found] == [4000, 4167]


def test_the_even_price_leaves_what_the_best_venue_leaves(demo):
    order = {"on": DAY, "shipping_cents": 1250, "label_cents": 1100, "tax_ppm": 70_000}
    found = venue_nets(demo.fee_schedules, goods_cents=6400, **order)
    best = found[0]["net_cents"]
    assert found[0]["even_price_cents"] <= 6400
    for venue in found[1:]:
        name, price = venue["venue"], venue["even_price_cents"]
        only = {name: demo.fee_schedules[name]}
        assert venue_nets(only, goods_cents=price, **order)[0]["net_cents"] >= best
        assert venue_nets(only, goods_cents=price - 1, **order)[0]["net_cents"] < best


def test_a_venue_that_cannot_answer_comes_last_and_says_why(demo):
    early = dt.date(2024, 6, 1)
    found = venue_nets(demo.fee_schedules, on=early, goods_cents=6400)
    assert all("no block in force on 2024-06-01" in venue["refused"] for venue in found)
    advertised = venue_nets(demo.fee_schedules, on=DAY, goods_cents=6400, advertised=True)
    assert [venue["venue"] for venue in advertised if not venue["refused"]] == ["lantern"]
    with pytest.raises(RuleNotInForceError):
        venue_nets(demo.fee_schedules, on=early, goods_cents=6400, strict=True)


def test_a_listing_of_a_day_is_paid_every_day(schedule):
    daily = schedule('listing = { fee = "0.30", relist_every_days = 1 }\n')
    assert listing_periods(daily, listed_on="2026-01-01", ended_on="2026-01-04").tolist() == [4]
