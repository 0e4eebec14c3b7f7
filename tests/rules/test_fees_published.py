"""Fees and gross-ups printed elsewhere."""

from __future__ import annotations

import datetime as dt

import pytest

from flipkit.rules.fees import order_fees
from flipkit.rules.net_price import net_at_price, price_for_net

DAY = dt.date(2026, 1, 1)


def processor(schedule, rate, fixed="0.00"):
    return schedule(f'payment = {{ rate = "{rate} %", fixed = "{fixed}" }}\n')


@pytest.mark.published(source="processing-fee-example", where="3 % + .25 of 50", seen="secondary")
def test_processing_fee(schedule):
    fees = order_fees(processor(schedule, 3, "0.25"), on=DAY, goods_cents=50_00)
    assert fees["payment_cents"].tolist() == fees["total_cents"].tolist() == [175]


@pytest.mark.published(source="gross-up-example", where="2.9 % + .30", seen="secondary")
@pytest.mark.parametrize(("net", "gross"), [(1000, 1061), (9500, 9815), (10000, 10330), (100000, 103018)])
def test_gross_up(schedule, net, gross):
    # The printed one leaves out how the fee is rounded: the smallest price that nets as much may be a cent less.
    (found,) = price_for_net(processor(schedule, 2.9, "0.30"), on=DAY, net_cents=net).tolist()
    assert gross - found in (0, 1)
    assert net_at_price(processor(schedule, 2.9, "0.30"), on=DAY, goods_cents=gross).tolist() == [net]


@pytest.mark.published(source="gross-up-guide", where="3.5 % + 15.00 of 1,000.00", seen="found")
def test_gross_up_with_a_large_fixed_amount(schedule):
    assert price_for_net(processor(schedule, 3.5, "15.00"), on=DAY, net_cents=1000_00).tolist() == [105181]


@pytest.mark.published(source="fee-on-fee-guide", where="3 %, net 10", seen="found")
def test_a_fee_is_taken_of_the_fee_too(schedule):
    plain = processor(schedule, 3)
    # The naive price 10.30 nets 9.99.
    assert net_at_price(plain, on=DAY, goods_cents=10_30).tolist() == [9_99]
    assert price_for_net(plain, on=DAY, net_cents=10_00).tolist() == [10_31]


@pytest.mark.worked
def test_the_smallest_price_can_be_a_cent_below_the_printed_gross_up(schedule):
    # Prints 1,030.18 = (1,000 + .30) / .971 = 1,030.1751. At 1,030.17 the fee is 29.87493 -> 29.87, + .30 = 30.17,
    # which leaves 1,000.00 too; at 1,030.16 it is 29.87464 -> 29.87 and leaves 999.99.
    plain = processor(schedule, 2.9, "0.30")
    assert price_for_net(plain, on=DAY, net_cents=[10_00, 95_00, 100_00, 1000_00]).tolist() == [
        1061,
        9815,
        10330,
        103017,
    ]
    assert net_at_price(plain, on=DAY, goods_cents=[103016, 103017, 103018]).tolist() == [99999, 100000, 100000]
