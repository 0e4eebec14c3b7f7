"""Dimensional and billable weight, girth, thresholds and dates against figures printed elsewhere."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from flipkit.rules.parcels import billable, length_plus_girth_in, united_in, volume_cu_in, without_sides

ERA_194 = dt.date(2018, 1, 1)
LAST_194, FIRST_166 = dt.date(2019, 6, 22), dt.date(2019, 6, 23)
LAST_166, FIRST_139 = dt.date(2026, 7, 11), dt.date(2026, 7, 12)
LAST_NEAREST, FIRST_UP = dt.date(2025, 8, 17), dt.date(2025, 8, 18)
KG = 1 / 0.45359237
CM = 1 / 2.54


def one(rules, on, sides, weight=1.0, **more):
    length, width, height = sides
    found = billable(rules, on=on, length_in=length, width_in=width, height_in=height, weight_lb=weight, **more)
    return found.iloc[0]


def metric(rules, sides_cm, weight_kg):
    return one(rules, FIRST_139, [side * CM for side in sides_cm], weight_kg * KG)


# --- the post


@pytest.mark.published(source="dmm-advisory-2006", where="sides rounded to the nearest inch", seen="found")
@pytest.mark.parametrize(("side", "whole"), [(20.25, 20), (20.75, 21)])
def test_old_postal_rule_rounds_sides_to_the_nearest_inch(post, side, whole):
    assert one(post, FIRST_166, (side, 30, 40))["shortest_in"] == whole


@pytest.mark.published(source="dmm-advisory-2006", where="the threshold of 1,728 cu in", seen="found")
@pytest.mark.parametrize("on", [ERA_194, FIRST_166, FIRST_139])
def test_1728_cubic_inches_are_exempt_and_one_more_inch_is_not(post, on):
    at = one(post, on, (12, 12, 12), zone=8)
    over = one(post, on, (12, 12, 13), zone=8)
    assert (at["volume_cu_in"], at["dimensional_lb"]) == (1728, 0)
    # 12 x 12 x 13 = 1,872 cu in
    assert over["dimensional_lb"] == np.ceil(1872 / {ERA_194: 194, FIRST_166: 166, FIRST_139: 139}[on])


@pytest.mark.published(source="postal-manual-123-quoted", where="123.1.4.2, nonrectangular parcels", seen="found")
def test_factor_comes_before_threshold_and_after_rounding(post):
    # Sides round to 13 x 13 x 13 = 2,197; x 0.785 = 1,724.6, which is not above 1,728: exempt.
    sides = (12.6, 13.4, 13.0)
    assert one(post, ERA_194, sides, zone=8, nonrectangular=True)["dimensional_lb"] == 0
    assert one(post, ERA_194, sides, zone=8)["dimensional_lb"] == np.ceil(2197 / 194)


@pytest.mark.published(source="postal-manual-123-quoted", where="over 70 lb pays the 70-lb price", seen="found")
def test_dimensional_weight_is_capped_at_70_lb(post):
    # 36 x 24 x 18 = 15,552 cu in; / 194 = 80.2 lb
    assert one(post, ERA_194, (36, 24, 18), zone=8)["dimensional_lb"] == 70


@pytest.mark.published(source="postal-measuring", where="worked volumes", seen="found")
@pytest.mark.parametrize(
    ("sides", "factor", "volume", "tolerance"),
    [((16, 6, 12), None, 1152, 0), ((25.5, 6, 5.25), 0.785, 630.5, 0.06), ((12, 4, 4), 0.785, 150.7, 0.05)],
)
def test_worked_volumes_of_the_training_video(post, sides, factor, volume, tolerance):
    assert factor is None or post.at(FIRST_166).dimensional.nonrectangular_factor == factor
    length, width, height = sides
    found = volume_cu_in(length_in=length, width_in=width, height_in=height, nonrectangular_factor=factor)
    assert found[0] == pytest.approx(volume, abs=tolerance)


@pytest.mark.published(source="dimensional-shipping-explained", where="12 x 12 x 14 over 194", seen="secondary")
def test_2016_cubic_inches_over_194_are_11_lb(post):
    found = one(post, ERA_194, (12, 12, 14), zone=5)
    assert (found["volume_cu_in"], found["dimensional_lb"]) == (2016, 11)


@pytest.mark.published(source="postal-code-calculator", where="12 x 12 x 20", seen="secondary")
def test_2880_cubic_inches_over_166_are_18_lb(post):
    # 2,880 stands on the page; 2,880 / 166 = 17.35 is computed.
    found = one(post, FIRST_166, (12, 12, 20))
    assert (found["volume_cu_in"], found["dimensional_lb"]) == (2880, 18)


@pytest.mark.worked
def test_same_box_under_two_divisors(post):
    # 18 x 14 x 12 = 3,024; / 166 = 18.22 -> 19 lb; / 139 = 21.76 -> 22 lb
    assert one(post, LAST_166, (18, 14, 12))["dimensional_lb"] == 19
    assert one(post, FIRST_139, (18, 14, 12))["dimensional_lb"] == 22


@pytest.mark.published(source="postal-rule-2026", where="every fraction of an inch rounded up", seen="secondary")
def test_new_postal_rule_rounds_12_2_up_to_13(post):
    assert one(post, LAST_166, (12.2, 20, 20))["shortest_in"] == 12
    assert one(post, FIRST_139, (12.2, 20, 20))["shortest_in"] == 13


@pytest.mark.published(source="dmm-advisory-2010", where="each side down to a quarter inch", seen="found")
def test_cubic_tier_measuring_rounds_down_to_a_quarter_inch(carrier):
    cubic = carrier(
        'trigger_sides = "as rounded"\nscale = { weight_step = 1 }\n'
        'dimensional = { sides = "down", side_step = 0.25, volume_over = 0, divisor = 1728, weight_step = 0.1 }\n'
    )
    assert one(cubic, ERA_194, (11.99, 14, 20))["shortest_in"] == 11.75


@pytest.mark.published(source="postal-divisor-2019", where="194 to 166 on 23 June 2019, all zones", seen="secondary")
def test_divisor_and_zones_change_on_23_june_2019(post):
    # 2,016 / 194 = 10.39 -> 11 and / 166 = 12.14 -> 13
    for zone, before in ((4, 0), (5, 11)):
        assert one(post, LAST_194, (12, 12, 14), zone=zone)["dimensional_lb"] == before
        assert one(post, FIRST_166, (12, 12, 14), zone=zone)["dimensional_lb"] == 13


@pytest.mark.published(source="postal-rule-2026", where="divisor 139 from 12 July 2026", seen="secondary")
def test_divisor_changes_on_12_july_2026(post):
    assert post.at(LAST_166).dimensional.divisor == 166
    assert post.at(FIRST_139).dimensional.divisor == 139


@pytest.mark.published(source="postal-guide-120", where="balloon price", seen="found")
@pytest.mark.parametrize(
    ("sides", "weight", "zone", "billed"),
    [
        ((24, 15, 15), 6, 4, 6),  # 24 + 60 = 84 exactly is not above 84
        ((25, 15, 15), 6, 4, 20),  # 85
        ((48, 15, 15), 6, 1, 20),  # 108
        ((25, 15, 15), 21, 4, 21),  # not under 20 lb
        ((25, 15, 15), 6, 5, 29),  # zone 5 pays for space: 5,625 / 194 = 28.99
    ],
)
def test_balloon_price_is_20_lb_in_near_zones(post, sides, weight, zone, billed):
    assert one(post, LAST_194, sides, weight, zone=zone)["billable_lb"] == billed


@pytest.mark.published(source="postal-divisor-2019", where="balloon price ended 23 June 2019", seen="secondary")
def test_balloon_price_ended_in_2019(post):
    assert one(post, LAST_194, (25, 15, 15), 6, zone=4)["balloon_price"]
    assert not one(post, FIRST_166, (25, 15, 15), 6, zone=4)["balloon_price"]


@pytest.mark.published(source="postal-notice-123", where="triggers of the nonstandard fees", seen="secondary")
@pytest.mark.parametrize(
    ("sides", "length_22", "length_30", "volume"),
    [
        ((22, 10, 5), False, False, False),
        ((22.01, 10, 5), True, False, False),
        ((30, 10, 5), True, False, False),
        ((30.01, 10, 5), False, True, False),
        ((18, 16, 12), False, False, False),  # 3,456 exactly
        ((18, 16, 12.01), False, False, True),
        ((31, 12, 10), False, True, True),
    ],
)
@pytest.mark.parametrize("on", [LAST_166, FIRST_139])
def test_one_length_fee_at_most_and_length_and_volume_fees_add(post, on, sides, length_22, length_30, volume):
    found = one(post, on, sides)
    assert found["nonstandard_length_22"] == length_22
    assert found["nonstandard_length_30"] == length_30
    assert found["nonstandard_volume"] == volume


@pytest.mark.published(source="postal-guide-201e", where="maximum weight and size", seen="found")
def test_70_lb_and_130_in_are_the_most(post):
    assert not one(post, FIRST_139, (50, 20, 20), 70)["over_maximum"]  # 50 + 80 = 130
    assert one(post, FIRST_139, (50, 20, 20), 70.1)["over_maximum"]
    assert one(post, FIRST_139, (50.1, 20, 20), 70)["over_maximum"]
    # So it is for whoever knows a parcel's weight alone.
    weights = np.array([69.999, 70.0, 70.001])
    known = without_sides(post.at(FIRST_139), {"exact_scale": weights, "seen_weight": weights})
    assert known["over_maximum"].tolist() == [False, False, True]


@pytest.mark.published(source="postal-rule-2026-dimensions", where="duty of all, fee deferred", seen="found")
def test_the_duty_to_state_dimensions_and_its_fee_are_two_things(post):
    # A small parcel without its dimensions breaks the duty from 12 July 2026 on, and pays no fee for it.
    small = {"sides": (10, 8, 4), "dimensions_entered": False}
    assert post.at(LAST_166).dimensions_required != "all parcels"
    assert post.at(FIRST_139).dimensions_required == "all parcels"
    for on in (LAST_166, FIRST_139):
        found = one(post, on, **small)
        assert not found["dimensions_missing_length"]
        assert not found["dimensions_missing_volume"]
        assert one(post, on, (23, 8, 4), dimensions_entered=False)["dimensions_missing_length"]
        assert one(post, on, (13, 12, 12), dimensions_entered=False)["dimensions_missing_volume"]
        assert not one(post, on, (13, 12, 12))["dimensions_missing_volume"]


@pytest.mark.published(source="postal-volume-note-2019", where="prints 1,056 for 12 x 12 x 8", seen="secondary")
def test_a_misprinted_volume_is_not_copied():
    assert volume_cu_in(length_in=12, width_in=12, height_in=8)[0] == 1152


@pytest.mark.published(source="dimensional-rules-note", where="prints 288 for 8 x 8 x 6", seen="secondary")
def test_another_misprinted_volume_is_not_copied():
    assert volume_cu_in(length_in=8, width_in=8, height_in=6)[0] == 384
    assert volume_cu_in(length_in=8, width_in=6, height_in=6)[0] == 288


# --- air


@pytest.mark.published(source="air-volume", where="70 x 50 x 60 cm over 6,000", seen="found")
def test_air_volume_weight(packaged):
    assert metric(packaged.parcels["air-6000"], (70, 50, 60), 1)["dimensional_kg"] == 35


@pytest.mark.published(source="air-volume", where="the same box in inches", seen="found")
def test_air_volume_weight_in_inches():
    volume = volume_cu_in(length_in=27, width_in=20, height_in=24)[0]
    assert volume == 12_960
    assert volume / 366 == pytest.approx(35.4, abs=0.05)
    assert volume / 166 == pytest.approx(78.1, abs=0.05)


@pytest.mark.published(source="air-volume", where="half-kilogram rounding", seen="found")
@pytest.mark.parametrize(("scale", "billed"), [(100.4, 100.5), (100.6, 101.0)])
def test_air_rounds_up_to_half_a_kilogram(packaged, scale, billed):
    assert metric(packaged.parcels["air-6000"], (30, 30, 30), scale)["billable_kg"] == billed


@pytest.mark.published(source="air-volume", where="rounded sides, 300 kg", seen="found")
def test_air_rounds_sides_to_the_nearest_centimetre(packaged):
    found = metric(packaged.parcels["air-6000"], (150.2, 125.5, 100.6), 300)
    assert found["longest_in"] * 2.54 == pytest.approx(150)
    assert found["second_in"] * 2.54 == pytest.approx(126)
    assert found["shortest_in"] * 2.54 == pytest.approx(101)
    assert 150 * 126 * 101 / 6000 == 318.15
    assert found["billable_kg"] == 318.5


@pytest.mark.published(source="air-fact-sheet", where="30 x 45 x 65 cm, 14 kg", seen="found")
def test_air_chargeable_weight(packaged):
    assert metric(packaged.parcels["air-6000"], (30, 45, 65), 14)["billable_kg"] == 15


@pytest.mark.published(source="shipping-and-tracking", where="cube of 46 cm at 167 kg per cu m", seen="found")
@pytest.mark.parametrize(("step", "weight"), [(0.1, 16.2), (1, 17)])
def test_cube_by_density_with_its_volume_rounded_first(carrier, step, weight):
    # The page rounds .097336 cu m to .097 and multiplies: 16.199.
    density = carrier(
        'trigger_sides = "as rounded"\nscale = { weight_step = 1 }\n'
        'dimensional = { sides = "nearest", volume_over = 0, volume_step = 1000, '
        f"divisor = {1e6 / 167!r}, weight_step = {step} }}\n",
        units="cm, kg",
    )
    assert metric(density, (46, 46, 46), 1)["dimensional_kg"] == pytest.approx(weight, abs=0.01)


@pytest.mark.published(source="shipping-and-tracking", where="cube of 18 in over 194", seen="found")
def test_cube_of_18_inches_over_194(post):
    found = one(post, ERA_194, (18, 18, 18), zone=8)
    assert found["volume_cu_in"] / 194 == pytest.approx(30.06, abs=0.005)
    assert found["dimensional_lb"] == 31


@pytest.mark.published(source="forwarder-6000", where="6,000 = 366 = 166", seen="computed")
@pytest.mark.parametrize(
    ("cubic_inches", "pounds", "metric_divisor"), [(166, 1, 5997.1), (139, 1, 5021.7), (366, 1 / 0.45359237, 5997.7)]
)
def test_divisors_in_other_units(cubic_inches, pounds, metric_divisor):
    assert cubic_inches * 2.54**3 / (pounds * 0.45359237) == pytest.approx(metric_divisor, abs=0.1)


# --- a private network


@pytest.mark.published(source="private-network-billable", where="sides to the nearest inch", seen="found")
@pytest.mark.parametrize(("side", "whole"), [(1.0, 1), (1.49, 1), (1.5, 2), (1.99, 2)])
def test_network_rounded_to_the_nearest_inch_until_17_august_2025(network, side, whole):
    assert one(network, LAST_NEAREST, (side, 20, 20))["shortest_in"] == whole


@pytest.mark.published(source="private-network-rounding-2025", where="sides up from 18 August 2025", seen="secondary")
@pytest.mark.parametrize(("side", "whole", "before"), [(11.1, 12, 11), (9.5, 10, 10), (6.2, 7, 6)])
def test_network_rounds_up_from_18_august_2025(network, side, whole, before):
    assert one(network, LAST_NEAREST, (side, 20, 20))["shortest_in"] == before
    assert one(network, FIRST_UP, (side, 20, 20))["shortest_in"] == whole


@pytest.mark.published(source="private-network-billable", where="divisors by kind of rates", seen="found")
def test_network_divisors(packaged, network):
    # 12 x 12 x 12 = 1,728; / 166 = 10.4 -> 11; / 139 = 12.4 -> 13
    assert one(network, FIRST_UP, (12, 12, 12), rates="retail")["dimensional_lb"] == 11
    assert one(network, FIRST_UP, (12, 12, 12), rates="export")["dimensional_lb"] == 13
    assert packaged.parcels["air-5000"].at(FIRST_UP).dimensional.divisor == 5000


@pytest.mark.published(source="private-network-billable", where="the larger, both rounded up; pieces add", seen="found")
def test_network_bills_the_larger_of_the_two_and_sums_pieces(network):
    pieces = billable(
        network, on=FIRST_UP, length_in=[12, 12], width_in=[12, 6], height_in=[12, 6], weight_lb=[3.2, 20.1]
    )
    # 13 lb by space and 4 on the scale; 4 by space (432 / 139 = 3.1) and 21 on the scale
    assert pieces["billable_lb"].tolist() == [13, 21]
    assert pieces["billable_lb"].sum() == 34


@pytest.mark.published(source="private-network-rounding-2025", where="11.1 x 8.5 x 6.2", seen="secondary")
def test_network_old_and_new_rounding_of_one_box(network):
    assert pytest.approx(4.208, abs=0.005) == 11.1 * 8.5 * 6.2 / 139
    found = one(network, FIRST_UP, (11.1, 8.5, 6.2))
    assert found["volume_cu_in"] == 756
    assert found["volume_cu_in"] / 139 == pytest.approx(5.439, abs=0.005)
    assert found["dimensional_lb"] == 6


@pytest.mark.published(source="private-network-rounding-2025", where="11 x 10 x 9", seen="secondary")
def test_network_990_cubic_inches_are_8_lb(network):
    found = one(network, FIRST_UP, (11, 10, 9))
    assert found["volume_cu_in"] / 139 == pytest.approx(7.12, abs=0.005)
    assert found["dimensional_lb"] == 8


@pytest.mark.published(source="accessorials-2002", where="oversize 1 and 2: minimum billable weight", seen="found")
def test_old_oversize_classes_bill_30_and_70_lb(carrier):
    # The minimum weights stand in the source; the bounds of 84 and 108 in are from memory.
    old = carrier(
        'trigger_sides = "as rounded"\nscale = { weight_step = 1 }\none_of = ["oversize"]\n'
        'dimensional = { sides = "nearest", volume_over = 1e9, divisor = 194, weight_step = 1 }\n'
        '[[block.surcharge]]\nname = "oversize_1"\ngroup = "oversize"\nminimum_billable = 30\n'
        "when = { length_plus_girth_over = 84, length_plus_girth_at_most = 108, weight_at_most = 30 }\n"
        '[[block.surcharge]]\nname = "oversize_2"\ngroup = "oversize"\nminimum_billable = 70\n'
        "when = { length_plus_girth_over = 108, weight_at_most = 70 }\n"
    )
    assert one(old, ERA_194, (24, 15, 15), 6)["billable_lb"] == 6
    assert one(old, ERA_194, (25, 15, 15), 6)["billable_lb"] == 30
    assert one(old, ERA_194, (49, 15, 15), 6)["billable_lb"] == 70


# --- girth and united inches


@pytest.mark.published(source="postal-guide-201e", where="length plus girth of a box", seen="found")
def test_length_plus_girth_of_a_box(post):
    assert length_plus_girth_in(length_in=10, width_in=8, height_in=5)[0] == 36
    found = one(post, FIRST_139, (5, 10, 8))
    assert (found["girth_in"], found["length_plus_girth_in"]) == (26, 36)


@pytest.mark.published(source="private-network-size", where="length is the longest side; L + 2W + 2H", seen="found")
@pytest.mark.parametrize("sides", [(40, 20, 10), (10, 40, 20), (20, 10, 40)])
def test_length_is_the_longest_side_whatever_the_order(sides):
    length, width, height = sides
    assert length_plus_girth_in(length_in=length, width_in=width, height_in=height)[0] == 40 + 2 * 20 + 2 * 10


@pytest.mark.published(source="item-222", where="united inches: length, width and depth added", seen="found")
def test_united_inches():
    assert united_in(length_in=12, width_in=10, height_in=8)[0] == 30
