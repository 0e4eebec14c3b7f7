"""The price for a wanted net: brute force over every cent, and how the net moves with the price."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flipkit.errors import MoneyError
from flipkit.money import percentage
from flipkit.rules.fees import order_fees
from flipkit.rules.net_price import HIGHEST_PRICE_CENTS, net_at_price, price_for_net
from tests.helpers.random_schedules import schedules

DAY = dt.date(2026, 1, 1)
EVERY_CENT = np.arange(60_001)


@settings(max_examples=120, deadline=None)
@given(
    drawn=schedules(),
    shipping=st.sampled_from([0, 0, 499, 1250]),
    costs=st.sampled_from([0, 777]),
    tax=st.sampled_from([0, 0, 70_000, 88_750]),
    seed=st.integers(0, 2**32 - 1),
)
def test_it_is_the_first_of_all_prices_that_leaves_the_net(drawn, shipping, costs, tax, seed):
    schedule, options = drawn
    order = {"on": DAY, "shipping_cents": shipping, "costs_cents": costs, "tax_ppm": tax, **options}
    nets = net_at_price(schedule, goods_cents=EVERY_CENT, **order)
    # Every net that occurs is a fair question, those beside it too.
    rng = np.random.default_rng(seed)
    wanted = np.unique(np.concatenate([rng.choice(nets, 40), rng.choice(nets, 20) + 1, nets[:3], [nets.max()]]))
    wanted = wanted[wanted <= nets.max()]
    first = np.array([int(np.argmax(nets >= net)) for net in wanted])
    assert price_for_net(schedule, net_cents=wanted, **order).tolist() == first.tolist()


@settings(max_examples=100, deadline=None)
@given(
    drawn=schedules(rounding="once", jumps=False), shipping=st.sampled_from([0, 499]), tax=st.sampled_from([0, 88_750])
)
def test_net_never_falls_when_the_price_rises_where_fees_are_rounded_once(drawn, shipping, tax):
    schedule, options = drawn
    nets = net_at_price(schedule, on=DAY, goods_cents=EVERY_CENT, shipping_cents=shipping, tax_ppm=tax, **options)
    assert (np.diff(nets) >= 0).all()


@settings(max_examples=100, deadline=None)
@given(drawn=schedules(), shipping=st.sampled_from([0, 499]), tax=st.sampled_from([0, 88_750]))
def test_net_falls_only_where_the_table_says_so_or_by_the_rounding_of_several_lines(drawn, shipping, tax):
    schedule, options = drawn
    block = schedule.blocks[0]
    nets = net_at_price(schedule, on=DAY, goods_cents=EVERY_CENT, shipping_cents=shipping, tax_ppm=tax, **options)
    amounts = {
        "goods": EVERY_CENT,
        "shipping": np.full(EVERY_CENT.size, shipping),
        "tax": percentage(EVERY_CENT + shipping, tax),
    }
    jumping = [(block.commission.base, block.commission.edges_cents)] if block.commission.whole_amount else []
    jumping += [(block.per_order.base, block.per_order.edges_cents)] if block.per_order else []
    at_jump = np.zeros(EVERY_CENT.size - 1, dtype=bool)
    for base, edges in jumping:
        size = sum(amounts[name] for name in base)
        for edge in edges:
            at_jump |= (size[:-1] <= edge) & (size[1:] > edge)
    # Each line rounds on its own: all may step up by a cent at one price, while the price steps by one.
    lines = (
        1
        if block.rounded_once
        else 1
        + sum(charge is not None for charge in (block.payment, block.advertising, block.international))
        + bool(block.seller_levels)
    )
    assert (np.diff(nets)[~at_jump] >= 1 - lines).all()


@pytest.mark.worked
def test_two_lines_rounded_apart_can_take_two_cents_for_one(schedule):
    # 49: 6.37 -> 6 and 1.47 -> 1 leave 42; 50: 6.5 -> 7 and 1.5 -> 2 leave 41
    body = 'commission = { rate = "13 %" }\npayment = { rate = "3 %" }\n'
    assert net_at_price(schedule(body), on=DAY, goods_cents=[49, 50]).tolist() == [42, 41]
    # Rounded once: 7.84 -> 8 leaves 41; 8.00 leaves 42
    assert net_at_price(schedule(f'rounding = "once"\n{body}'), on=DAY, goods_cents=[49, 50]).tolist() == [41, 42]
    # The smallest price for a net of 42 is the lower one, though the next price leaves less. 51: 6.63 -> 7 and
    # 1.53 -> 2 leave 42; 52: 6.76 -> 7 and 1.56 -> 2 leave 43
    assert price_for_net(schedule(body), on=DAY, net_cents=[41, 42, 43]).tolist() == [48, 49, 52]


@pytest.mark.worked
def test_whole_amount_tier_that_rises_makes_a_hole(schedule):
    # To 100.00 5 %, above 10 % of all: 100.00 leaves 95.00; 100.01 leaves 90.01; 105.56 leaves 95.00; 105.57, 95.01
    body = (
        'commission = { tier_kind = "whole amount", tiers = [{ up_to = "100.00", rate = "5 %" }, { rate = "10 %" }] }\n'
    )
    found = schedule(body)
    assert net_at_price(found, on=DAY, goods_cents=[10000, 10001, 10556, 10557]).tolist() == [9500, 9001, 9500, 9501]
    assert price_for_net(found, on=DAY, net_cents=[9500, 9501]).tolist() == [10000, 10557]


@pytest.mark.worked
def test_a_net_that_no_price_just_above_leaves_waits_for_the_next_step(demo):
    # Commission and payment as in the demo's table; each price is checked by the fees of itself and of a cent less.
    quayside = demo.fee_schedules["quayside"]
    for net in (1, 500, 2_730, 27_400, 40_000):
        price = int(price_for_net(quayside, on=DAY, net_cents=net, shipping_cents=900)[0])
        nets = [
            goods
            + 900
            - int(order_fees(quayside, on=DAY, goods_cents=goods, shipping_cents=900)["total_cents"].iloc[0])
            for goods in (price, max(price - 1, 0))
        ]
        assert nets[0] >= net
        assert price == 0 or nets[1] < net


def test_no_price_below_nothing(schedule):
    assert price_for_net(schedule('commission = { rate = "10 %" }\n'), on=DAY, net_cents=-500).tolist() == [0]


def test_a_net_out_of_reach_says_so(schedule):
    with pytest.raises(MoneyError, match="net_cents must be a net that some price up to"):
        price_for_net(schedule('commission = { rate = "10 %" }\n'), on=DAY, net_cents=HIGHEST_PRICE_CENTS)


def test_fees_that_take_everything_have_no_inverse(schedule):
    with pytest.raises(MoneyError, match=r"fees must be below 99 % of the price in all, got '104.5%'"):
        price_for_net(schedule('commission = { rate = "95 %" }\npayment = { rate = "9.5 %" }\n'), on=DAY, net_cents=100)


@pytest.mark.worked
def test_fees_of_nearly_all_are_allowed_where_no_tax_is_in_them(schedule):
    # 95 % of 99.91 is 94.9145 -> 94.91 and leaves 5.00; of 99.90 it is 94.905 -> 94.91 and leaves 4.99.
    steep = schedule('commission = { base = ["goods"], rate = "95 %" }\n')
    assert price_for_net(steep, on=dt.date(2026, 1, 1), net_cents=500, tax_ppm=70_000).tolist() == [9991]
    taxed = schedule('commission = { base = ["goods", "tax"], rate = "95 %" }\n')
    with pytest.raises(MoneyError, match=r"^fees must be below 99 % of the price in all, got '101"):
        price_for_net(taxed, on=dt.date(2026, 1, 1), net_cents=500, tax_ppm=70_000)
