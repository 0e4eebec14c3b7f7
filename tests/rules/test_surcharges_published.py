"""Both sides of every threshold of the surcharges, against figures printed elsewhere."""

from __future__ import annotations

import datetime as dt

import pytest

from flipkit.rules.parcels import billable
from flipkit.rules.postage import labels

BEFORE_VOLUME, WITH_VOLUME = dt.date(2026, 1, 25), dt.date(2026, 1, 26)
HANDLING = ("handling_weight", "handling_longest", "handling_second_side", "handling_length_girth", "handling_volume")
LARGE = ("large_length", "large_length_girth", "large_volume", "large_weight")


def tripped(rules, on, sides, weight=1.0, **more):
    length, width, height = sides
    found = billable(rules, on=on, length_in=length, width_in=width, height_in=height, weight_lb=weight, **more)
    row = found.iloc[0]
    return {name for name in rules.surcharge_names if row[name]}, row


@pytest.mark.published(
    source="private-network-guide", where="additional handling by side and girth", seen="from memory"
)
@pytest.mark.parametrize(
    ("at", "over", "name"),
    [
        ((48, 10, 8), (48.01, 10, 8), "handling_longest"),
        ((38, 30, 2), (38, 30.01, 2), "handling_second_side"),
        ((45, 20, 10), (45, 20, 10.01), "handling_length_girth"),  # 45 + 60 = 105
    ],
)
def test_additional_handling_exceeds_its_side(network, at, over, name):
    assert tripped(network, WITH_VOLUME, at)[0] == set()
    names, row = tripped(network, WITH_VOLUME, over)
    assert names == {name}
    assert row["billable_lb"] >= 40


@pytest.mark.published(source="private-network-guide", where="additional handling above 50 lb", seen="from memory")
def test_additional_handling_by_weight_has_no_minimum(network):
    assert tripped(network, WITH_VOLUME, (12, 12, 12), 50)[0] == set()
    names, row = tripped(network, WITH_VOLUME, (12, 12, 12), 50.2)
    assert names == {"handling_weight"}
    assert row["billable_lb"] == 51


@pytest.mark.published(source="private-network-guide", where="40 lb at least, dimension kind", seen="from memory")
def test_additional_handling_by_dimension_bills_40_lb(network):
    # 49 x 5 x 5 = 1,225 cu in is 9 lb by space
    names, row = tripped(network, WITH_VOLUME, (49, 5, 5), 7)
    assert names == {"handling_longest"}
    assert (row["dimensional_lb"], row["billable_lb"]) == (9, 40)


@pytest.mark.published(source="private-network-volume-2026", where="10,368 cu in", seen="secondary")
def test_additional_handling_by_volume_since_26_january_2026(network):
    # 32 x 18 x 18 = 10,368 exactly, length plus girth 104; an inch more is 10,692 and 105
    assert tripped(network, WITH_VOLUME, (32, 18, 18))[0] == set()
    assert tripped(network, WITH_VOLUME, (33, 18, 18))[0] == {"handling_volume"}
    assert tripped(network, BEFORE_VOLUME, (33, 18, 18))[0] == set()


@pytest.mark.published(source="private-network-volume-2026", where="8,640 stands nowhere", seen="secondary")
def test_8640_cubic_inches_are_no_threshold(network):
    # 24 x 20 x 18 = 8,640
    assert tripped(network, WITH_VOLUME, (24, 20, 19))[0] == set()


@pytest.mark.published(source="private-network-large", where="large package", seen="secondary")
@pytest.mark.parametrize(
    ("at", "over", "name"),
    [
        ((96, 8, 8), (96.01, 8, 8), "large_length"),
        ((70, 15, 15), (70, 15, 15.01), "large_length_girth"),  # 70 + 60 = 130
        ((30, 24, 24), (30, 24, 24.01), "large_volume"),  # 17,280 exactly, length plus girth 126
    ],
)
def test_large_package_exceeds_its_bound_and_drops_additional_handling(network, at, over, name):
    assert not tripped(network, WITH_VOLUME, at)[0] & set(LARGE)
    names, row = tripped(network, WITH_VOLUME, over)
    assert names == {name}
    assert row["billable_lb"] >= 90


@pytest.mark.published(source="private-network-large", where="takes 30 x 24 x 24 for a large package", seen="secondary")
def test_17280_cubic_inches_are_not_over_17280(network):
    names, row = tripped(network, WITH_VOLUME, (30, 24, 24))
    assert row["volume_cu_in"] == 17_280
    assert row["length_plus_girth_in"] == 126
    assert not names & set(LARGE)
    assert "handling_volume" in names


@pytest.mark.published(source="private-network-volume-2026", where="110 lb", seen="secondary")
def test_large_package_above_110_lb_since_2026(network):
    assert tripped(network, WITH_VOLUME, (20, 20, 20), 110)[0] == {"handling_weight"}
    names, row = tripped(network, WITH_VOLUME, (20, 20, 20), 110.5)
    assert names == {"large_weight"}
    assert row["billable_lb"] == 111
    assert tripped(network, BEFORE_VOLUME, (20, 20, 20), 110.5)[0] == {"handling_weight"}


@pytest.mark.published(source="private-network-large", where="90 lb at least, from the carrier's page", seen="found")
def test_large_package_bills_90_lb(network):
    # 97 x 5 x 5 = 2,425 cu in is 18 lb by space
    row = tripped(network, WITH_VOLUME, (97, 5, 5), 12)[1]
    assert (row["dimensional_lb"], row["billable_lb"]) == (18, 90)


@pytest.mark.published(source="private-network-size", where="150 lb, 108 in, 165 in", seen="found")
@pytest.mark.parametrize(
    ("at", "weight_at", "over", "weight_over"),
    [
        ((20, 20, 20), 150, (20, 20, 20), 150.1),
        ((108, 10, 10), 20, (108.1, 10, 10), 20),
        ((65, 30, 20), 20, (65, 30, 20.1), 20),  # 65 + 100 = 165
    ],
)
def test_network_maximum(network, at, weight_at, over, weight_over):
    assert not tripped(network, WITH_VOLUME, at, weight_at)[1]["over_maximum"]
    assert tripped(network, WITH_VOLUME, over, weight_over)[1]["over_maximum"]


@pytest.mark.published(source="private-network-packaging", where="packaging that needs handling", seen="secondary")
@pytest.mark.parametrize(
    ("packaging", "sides", "names"),
    [
        ("box", (20, 15, 8), set()),
        ("not in corrugated", (20, 15, 8), {"handling_packaging"}),
        ("cylinder", (20, 6, 6), {"handling_packaging"}),
        ("shrink wrap", (20, 15, 8), {"handling_packaging"}),
        ("wheels or straps", (20, 15, 8), {"handling_packaging"}),
        ("soft pack", (18, 14, 6), set()),
        ("soft pack", (18.1, 14, 6), {"handling_soft_pack"}),
        ("soft pack", (18, 14.1, 6), {"handling_soft_pack"}),
        ("soft pack", (18, 14, 6.1), {"handling_soft_pack"}),
        ("box", (20, 15, 1), {"handling_thin"}),
        ("box", (20, 15, 1.1), set()),
    ],
)
def test_packaging_that_needs_handling(network, packaging, sides, names):
    assert tripped(network, WITH_VOLUME, sides, packaging=packaging)[0] == names


@pytest.fixture(scope="module")
def fees_of_2022(post, rate_card):
    amounts = (
        'nonstandard_length_22 = "4.00"\nnonstandard_length_30 = "15.00"\nnonstandard_volume = "15.00"\n'
        'dimensions_missing_length = "1.50"\ndimensions_missing_volume = "1.50"\n'
    )
    body = f'[block.surcharges]\n{amounts}[[block.service]]\nname = "ground"\ntable = "t.csv"\n'
    return rate_card(body, {"t.csv": "weight,1\n70,10.00\n"})


@pytest.mark.published(source="postal-notice-123", where="amounts of 2022: 4, 15, 15; 1.50", seen="secondary")
@pytest.mark.parametrize(
    ("sides", "entered", "cents"),
    [
        ((22, 12, 10), True, 0),
        ((23, 12, 10), True, 400),
        ((31, 10, 10), True, 1500),
        ((20, 16, 12), True, 1500),
        ((31, 12, 10), True, 3000),  # 31 in and 3,720 cu in: pays both
        ((31, 12, 10), False, 3150),  # one fee for missing dimensions, though two triggers
        ((23, 8, 4), False, 550),
    ],
)
def test_nonstandard_fees_add_up_as_in_2022(post, fees_of_2022, sides, entered, cents):
    length, width, height = sides
    found = labels(
        fees_of_2022,
        post,
        on=dt.date(2023, 5, 1),
        zone=1,
        length_in=length,
        width_in=width,
        height_in=height,
        weight_lb=5,
        dimensions_entered=entered,
    )
    assert found["surcharge_cents"].tolist() == [cents]


@pytest.mark.published(source="postal-guide-201e", where="108 in, ground 130 in at the oversized price", seen="found")
def test_length_plus_girth_of_108_and_130_at_the_post(demo):
    card = demo.rate_cards["post"]
    parcel = {"on": dt.date(2026, 10, 1), "zone": 4, "width_in": 12, "height_in": 12, "weight_lb": [3, 60, 3, 60, 3, 3]}
    # 48 more of girth: 108, 108.1, 130, 130.1
    length = [60, 60, 60.1, 60.1, 82, 82.1]
    fast = labels(card, demo.rules_of(card), length_in=length, service="fast", **parcel)
    assert (fast["refused"] == "").tolist() == [True, True, False, False, False, False]
    assert fast["refused"][2] == "fast: length plus girth is more than it takes"
    ground = labels(card, demo.rules_of(card), length_in=length, service="ground", **parcel)
    oversized = card.at(dt.date(2026, 10, 1)).services[1].table.oversized[3]
    # Above 108 one price whatever the weight; above 130 nothing.
    assert ground["base_cents"].tolist()[2:5] == [oversized] * 3
    assert ground["refused"][5] == "ground: over the carrier's maximum"
    assert ground["base_cents"][0] != oversized


@pytest.mark.worked
def test_flat_parcel_that_every_packer_meets(post, network):
    # Common practice, no source. 58 x 26 x 6 = 9,048; / 139 = 65.1 -> 66 lb; / 166 = 54.5 -> 55 lb;
    # 58 + 2 x 26 + 2 x 6 = 122 in; 58 is over 48 and 122 is over 105, while the scale says 14 lb.
    names, row = tripped(network, WITH_VOLUME, (58, 26, 6), 14)
    assert names == {"handling_longest", "handling_length_girth"}
    assert (row["length_plus_girth_in"], row["dimensional_lb"], row["billable_lb"]) == (122, 66, 66)
    assert tripped(post, dt.date(2026, 7, 11), (58, 26, 6), 14)[1]["billable_lb"] == 55
    assert tripped(post, dt.date(2026, 7, 12), (58, 26, 6), 14)[1]["billable_lb"] == 66
