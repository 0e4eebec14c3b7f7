"""Charges of the demo shop are those of its rule tables, at the day of the event."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from flipkit.errors import AssumptionError
from flipkit.rules import fees, postage
from flipkit.simulation.books import RuleCharges
from flipkit.simulation.demo import DEMO_CARDS, demo_rules

DAYS = [dt.date(2025, 3, 1), dt.date(2026, 9, 1), dt.date(2026, 9, 1)]
SINCE = np.array([(day - dt.date(1970, 1, 1)).days for day in DAYS])
SIDES = np.array([[10.0, 8.0, 6.0], [26.0, 16.0, 16.0], [12.0, 9.0, 4.0]])
POUNDS = np.array([3.0, 11.0, 2.0])


@pytest.fixture(scope="module")
def charges() -> RuleCharges:
    return RuleCharges(demo_rules(), DEMO_CARDS)


def test_fees_are_each_venues_own(charges: RuleCharges) -> None:
    goods, shipping = np.array([5000, 5000, 5000]), np.array([900, 900, 0])
    venues = np.array(["lantern", "quayside", "stall"])
    kinds = np.array(["film cameras and lenses", "cookware", "cookware"])
    found = charges.fees_cents(SINCE, venues, kinds, goods, shipping)
    for at, venue in enumerate(venues):
        one = fees.order_fees(
            charges.rules.fee_schedules[venue],
            on=DAYS[at],
            goods_cents=int(goods[at]),
            shipping_cents=int(shipping[at]),
            category=kinds[at],
        )
        assert found[at] == one["total_cents"].iloc[0], venue
    assert found[2] == 0


@pytest.mark.worked
def test_fees_come_back_by_each_venues_schedule(charges: RuleCharges) -> None:
    goods, shipping, refund = np.array([5000, 5000, 5000]), np.array([900, 900, 0]), np.array([5900, 2950, 5000])
    venues = np.array(["lantern", "quayside", "stall"])
    kinds = np.array(["film cameras and lenses", "cookware", "cookware"])
    found = charges.fees_back_cents(SINCE, venues, kinds, goods, shipping, refund)
    # Lantern: 8.6 % of 59.00, all of it; quayside: half of 9.8 % of 50.00; the stall takes nothing.
    assert found.tolist() == [507, 245, 0]


def test_a_label_is_the_cheaper_cards(charges: RuleCharges) -> None:
    found = charges.labels_cents(SINCE, np.array(["4", "6", "8"]), SIDES, POUNDS)
    totals = []
    for card in charges.cards:
        frame = postage.labels(
            card,
            charges.rules.rules_of(card),
            on=DAYS,
            zone=["4", "6", "8"],
            length_in=SIDES[:, 0],
            width_in=SIDES[:, 1],
            height_in=SIDES[:, 2],
            weight_lb=POUNDS,
        )
        assert (frame["refused"] == "").all()
        totals.append(frame["total_cents"].to_numpy())
    assert found.tolist() == np.minimum(*totals).tolist()


def test_an_unknown_card_is_refused() -> None:
    with pytest.raises(AssumptionError, match=r"network, post"):
        RuleCharges(demo_rules(), ("posted",))


def test_a_parcel_that_no_card_takes_is_named(charges: RuleCharges) -> None:
    with pytest.raises(AssumptionError, match=r"parcel .*60\.0"):
        charges.labels_cents(SINCE[:1], np.array(["4"]), np.array([[60.0, 50.0, 40.0]]), np.array([200.0]))
