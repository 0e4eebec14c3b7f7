"""Labels: the row and column of the card, what is charged on top, refusals, the cheapest service, mixes of zones."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from flipkit.errors import MeasureError, RuleTableError
from flipkit.rules.postage import LINES, choice_columns, labels, zone_shares

DAY = dt.date(2026, 10, 1)
PLAIN = (
    'trigger_sides = "as rounded"\nscale = { weight_step = 1 }\nlimits = { longest = 60, weight = 70 }\n'
    'dimensional = { sides = "up", volume_over = 1728, divisor = 139, weight_step = 1 }\none_of = ["handling"]\n'
    '[[block.surcharge]]\nname = "long"\ngroup = "handling"\nwhen = { longest_over = 30 }\n'
    '[[block.surcharge]]\nname = "wide"\ngroup = "handling"\nwhen = { second_over = 20 }\n'
    '[[block.surcharge]]\nname = "heavy"\ngroup = "heavy"\nwhen = { weight_over = 40 }\nminimum_billable = 50\n'
)
TABLES = {
    "light.csv": "weight,1,5,8\n4 oz,3.00,3.10,3.20\n8 oz,3.50,3.60,3.70\n1,4.00,4.20,4.40\n",
    "ground.csv": "weight,1,5,8\n1,5.00,6.00,7.00\n2,5.50,6.60,7.70\n10,8.00,9.00,10.00\n70,20.00,30.00,40.00\n"
    "oversized,90.00,95.00,99.00\n",
    "fast.csv": "weight,1,5,8\n2,6.00,6.50,\n20,9.00,9.90,-\n",
}
CARD = (
    'fuel = "10 %"\nresidential = "1.00"\n'
    '[block.surcharges]\nlong = "4.00"\nwide = ["3.00", "5.00", "6.00"]\nheavy = "7.00"\n'
    '[block.signature]\nplain = "2.50"\nadult = "5.00"\n'
    '[block.declared_value]\nsteps = [{ up_to = "100.00", amount = "0.00" }]\n'
    'then_each = "100.00"\nthen_amount = "1.15"\nmaximum = "1000.00"\n'
    '[[block.service]]\nname = "light"\ntable = "light.csv"\nmax_longest = 12\n'
    '[[block.service]]\nname = "ground"\ntable = "ground.csv"\noversized_over_length_plus_girth = 108\n'
    '[[block.service]]\nname = "fast"\ntable = "fast.csv"\n'
    'fuel = "20 %"\nfuel_on = ["base", "surcharges", "residential"]\n'
)
SMALL = {"length_in": 9, "width_in": 6, "height_in": 4}


@pytest.fixture(scope="module")
def rules(carrier):
    return carrier(PLAIN)


@pytest.fixture(scope="module")
def card(rate_card):
    return rate_card(CARD, TABLES)


def label(card, rules, **parcel):
    given = {**SMALL, "weight_lb": 1, "on": DAY, "zone": 5, "residential": False, **parcel}
    return labels(card, rules, **given)


def one(card, rules, **parcel):
    return label(card, rules, **parcel).iloc[0]


@pytest.mark.worked
@pytest.mark.parametrize(
    ("weight", "billed", "base"),
    [(0.25, 0.25, 310), (0.2501, 0.5, 360), (0.5, 0.5, 360), (0.75, 1, 420), (1, 1, 420)],
)
def test_ounces_below_a_pound_where_the_card_has_them(card, rules, weight, billed, base):
    found = one(card, rules, weight_lb=weight, service="light")
    assert (found["billable_lb"], found["base_cents"]) == (billed, base)
    assert found["refused"] == ""


@pytest.mark.worked
@pytest.mark.parametrize(
    ("weight", "billed", "base"), [(0.3, 1, 600), (1.01, 2, 660), (2.5, 10, 900), (10.1, 70, 3000)]
)
def test_the_next_row_of_the_table_is_paid(card, rules, weight, billed, base):
    found = one(card, rules, weight_lb=weight, service="ground", zone=5)
    assert (found["billable_lb"], found["base_cents"]) == (billed, base)


@pytest.mark.worked
def test_space_is_looked_up_where_it_weighs_more(card, rules):
    # 18 x 14 x 12 = 3,024 / 139 = 21.8 -> 22 lb -> row 70
    found = one(card, rules, length_in=18, width_in=14, height_in=12, weight_lb=3, service="ground")
    assert (found["dimensional_lb"], found["billable_lb"], found["base_cents"]) == (22, 70, 3000)


@pytest.mark.worked
def test_fuel_is_taken_of_what_the_card_says(card, rules):
    # ground, zone 5: base 6.00; residential 1.00 without fuel; fuel 10 % of the base alone = .60
    ground = one(card, rules, residential=True, service="ground")
    assert (ground["surcharge_cents"], ground["fuel_cents"], ground["total_cents"]) == (100, 60, 760)
    # fast, zone 5: base 6.50 + residential 1.00, fuel 20 % of both = 1.50
    fast = one(card, rules, residential=True, service="fast")
    assert (fast["fuel_cents"], fast["total_cents"]) == (150, 900)


@pytest.mark.worked
def test_one_surcharge_of_a_group_is_paid_the_dearest(card, rules):
    # 31 x 21 x 3 = 1,953 / 139 = 14.05 -> 15 lb: long 4.00, wide 3.00 in zone 1 and 5.00 in zone 5
    slab = {"length_in": 31, "width_in": 21, "height_in": 3, "service": "ground"}
    assert label(card, rules, zone=[1, 5], **slab)["surcharge_cents"].tolist() == [400, 500]
    # Another group adds, and brings its minimum: 41 lb is billed at 50 lb, row 70
    heavy = one(card, rules, zone=5, weight_lb=41, **slab)
    assert (heavy["surcharge_cents"], heavy["billable_lb"]) == (1200, 70)


@pytest.mark.worked
@pytest.mark.parametrize(
    ("parcel", "words"),
    [
        ({"weight_lb": 8}, ""),
        ({"weight_lb": 8.01}, "narrow: heavier than it takes"),
        ({"length_in": 20}, ""),  # 20 + 2 x (6 + 4) = 40
        ({"length_in": 20.01}, "narrow: longer than it takes"),
        ({"length_in": 18, "width_in": 7}, ""),  # 18 + 2 x (7 + 4) = 40
        ({"length_in": 18, "width_in": 7.01}, "narrow: length plus girth is more than it takes"),
    ],
)
def test_a_services_own_limits_may_be_met_exactly(rules, rate_card, parcel, words):
    body = '[[block.service]]\nname = "narrow"\ntable = "ground.csv"\noversized_over_length_plus_girth = 108\n'
    limits = "max_longest = 20\nmax_length_plus_girth = 40\nmax_weight = 8\n"
    prices = "[block.surcharges]\nlong = 1\nwide = 1\nheavy = 1\n"
    assert one(rate_card(prices + body + limits, TABLES), rules, **parcel)["refused"] == words


@pytest.mark.worked
def test_oversized_has_one_price_a_zone_whatever_the_weight(card, rules):
    # 40 + 2 x (17 + 17) = 108 exactly is not over; 40 + 2 x (18 + 17) = 110 is
    at = one(card, rules, length_in=40, width_in=17, height_in=17, weight_lb=3, service="ground", zone=1)
    over = one(card, rules, length_in=40, width_in=18, height_in=17, weight_lb=3, service="ground", zone=1)
    # 11,560 / 139 = 83.2 -> 84 lb is more than the last row
    assert at["refused"] == "ground: heavier than it takes"
    assert over["base_cents"] == 9000


@pytest.mark.worked
def test_declared_value_and_signature_are_lines_of_their_own(card, rules):
    found = one(card, rules, declared_cents=250_00, signature=True, service="ground")
    # 250: two hundreds begun above the first, 2 x 1.15; plain signature 2.50
    assert (found["protection_cents"], found["signature_cents"]) == (230, 250)
    assert found["total_cents"] == 600 + 60 + 230 + 250
    assert one(card, rules, signature="adult")["signature_cents"] == 500
    assert one(card, rules, signature=False)["signature_cents"] == 0


@pytest.mark.parametrize(
    ("parcel", "words"),
    [
        ({"weight_lb": 71}, "light: over the carrier's maximum; ground: over the carrier's maximum; fast: over the"),
        ({"length_in": 13, "weight_lb": 21}, ""),
        ({"length_in": 61}, "light: over the carrier's maximum"),
        ({"service": "light", "length_in": 13}, "light: longer than it takes"),
        ({"service": "fast", "zone": 8}, "fast: not offered to this zone at this weight"),
        ({"service": "fast", "weight_lb": 20.1}, "fast: heavier than it takes"),
        ({"declared_cents": 1000_01}, "so much cannot be declared"),
    ],
)
def test_refusals_say_why_and_cost_nothing(card, rules, parcel, words):
    found = one(card, rules, **parcel)
    assert found["refused"].startswith(words)
    assert bool(found["refused"]) == bool(words)
    if words:
        assert found["total_cents"] == 0
        assert found["service"] == ""


def test_the_cheapest_service_that_takes_it_is_chosen(card, rules):
    rng = np.random.default_rng(8)
    n = 300
    parcels = {
        "length_in": rng.uniform(5, 62, n),
        "width_in": rng.uniform(4, 25, n),
        "height_in": rng.uniform(1, 18, n),
        "weight_lb": rng.gamma(1.5, 8, n) + 0.05,
        "zone": rng.choice([1, 5, 8], n),
        "residential": rng.random(n) < 0.5,
    }
    best = label(card, rules, **parcels)
    each = pd.DataFrame(choice_columns(card, rules, on=DAY, **parcels))
    taken = each[each["refused"] == ""]
    low = taken.groupby("parcel")["total_cents"].min()
    assert (best["refused"] == "").tolist() == [row in low.index for row in range(n)]
    assert best.loc[low.index, "total_cents"].tolist() == low.tolist()
    first = each.groupby("parcel").first().loc[low.index]
    assert first["service"].tolist() == best.loc[low.index, "service"].tolist()
    # Those that none takes name every service.
    for row in best.index.difference(low.index):
        assert all(f"{name}: " in best["refused"][row] for name in ("light", "ground", "fast"))
    assert {"light", "ground", "fast"} == set(best["service"]) - {""}


def test_lines_sum_to_the_total_and_the_vector_equals_the_single(demo):
    rng = np.random.default_rng(9)
    n = 80
    columns = {
        "on": np.datetime64("2025-01-01") + rng.integers(0, 690, n).astype("timedelta64[D]"),
        "zone": rng.integers(1, 9, n),
        "length_in": rng.uniform(5, 60, n),
        "width_in": rng.uniform(4, 30, n),
        "height_in": rng.uniform(1, 25, n),
        "weight_lb": rng.gamma(1.5, 8, n) + 0.05,
        "declared_cents": rng.integers(0, 40_000, n),
        "signature": rng.random(n) < 0.3,
        "residential": rng.random(n) < 0.7,
    }
    for name in ("post", "network"):
        card = demo.rate_cards[name]
        every = labels(card, demo.rules_of(card), **columns)
        assert (every[[f"{line}_cents" for line in LINES]].sum(axis=1) == every["total_cents"]).all()
        for row in range(n):
            own = {key: column[row].item() for key, column in columns.items()}
            single = labels(card, demo.rules_of(card), **own)
            alone = every.iloc[[row]].reset_index(drop=True)
            for name in ("service", "refused"):
                assert single[name].tolist() == alone[name].tolist()
            numbers = single.columns.difference(["service", "refused"])
            pd.testing.assert_frame_equal(single[numbers], alone[numbers])


@pytest.mark.parametrize("make", [list, np.array, pd.Series, pd.Categorical, lambda z: pd.Series(z, dtype="str")])
def test_zones_come_in_any_column_and_pickup_has_no_label(card, rules, make):
    zones = ["1", "5", "pickup", "8"] * 20
    found = label(card, rules, zone=make(zones), service="ground")
    assert found["base_cents"].tolist() == [500, 600, 0, 700] * 20
    assert found["service"].tolist() == ["ground", "ground", "", "ground"] * 20
    assert (found["refused"] == "").all()


@pytest.mark.parametrize("zone", [5, "5", 5.0, np.int64(5), [5], [5.0], np.array(["5"]), pd.Series([5])])
def test_a_zone_is_a_number_or_its_digits(card, rules, zone):
    assert one(card, rules, zone=zone, service="ground")["base_cents"] == 600


@pytest.mark.parametrize(("zone", "got"), [(2, "2"), ("x", "x"), ([1, 9], "9"), (["1", "nine"], "nine")])
def test_a_zone_that_the_card_lacks_is_refused(card, rules, zone, got):
    with pytest.raises(MeasureError, match=f"zone must be one of 1, 5, 8, or pickup, got '{got}'"):
        label(card, rules, zone=zone)


@pytest.mark.parametrize("zone", [None, "", 0, float("nan"), ["1", None], [1, 0], [1.0, float("nan")]])
def test_a_missing_zone_needs_a_mix(card, rules, zone):
    with pytest.raises(MeasureError, match="or give a mix of zones"):
        label(card, rules, zone=zone)


@pytest.mark.worked
def test_a_missing_zone_is_the_mean_over_the_mix_with_its_spread(card, rules):
    # ground, 1 lb: 5.00, 6.00, 7.00 + 10 % fuel: 5.50, 6.60, 7.70. Weights 1, 2, 1: base 6.00, fuel .60.
    found = label(card, rules, zone=["5", None], zone_mix={"1": 1, "5": 2, "8": 1}, service="ground")
    assert found["total_cents"].tolist() == [660, 660]
    assert found["low_cents"].tolist() == [660, 550]
    assert found["high_cents"].tolist() == [660, 770]
    # Weights 1 and 2 of zones 1 and 8, as 333,333 and 666,667 millionths: base 633.3334, fuel 63.33334 cents, in all
    # 696.67 -> 697; of the floors 633 and 63 the base has the larger remainder and takes the cent.
    third = one(card, rules, zone=None, zone_mix={"1": 1, "8": 2}, service="ground")
    assert (third["base_cents"], third["fuel_cents"], third["total_cents"]) == (634, 63, 697)


def test_a_mix_in_which_services_differ_or_refuse_says_so(card, rules):
    # In zone 1 fast is not the cheapest; in zone 8 it is not offered.
    mixed = one(card, rules, weight_lb=15, zone=None, zone_mix={"1": 1, "5": 1, "8": 1})
    assert mixed["service"] == "by zone"
    alike = one(card, rules, weight_lb=71, zone=None, zone_mix={"1": 1, "8": 1}, service="fast")
    assert alike["refused"] == "fast: over the carrier's maximum"
    refused = one(card, rules, weight_lb=15, zone=None, zone_mix={"1": 1, "8": 1}, service="fast")
    assert refused["refused"] == "zone 8: fast: not offered to this zone at this weight"
    assert refused["total_cents"] == refused["low_cents"] == 0


def test_shares_of_a_mix_sum_to_a_million(card):
    assert zone_shares(card, {"1": 1, "5": 1, "8": 1}) == {"1": 333_334, "5": 333_333, "8": 333_333}
    assert zone_shares(card, {"1": 0, "5": 0.2}) == {"5": 1_000_000}
    with pytest.raises(MeasureError, match="zone_mix must be a weight above 0 for some zone"):
        zone_shares(card, {"1": 0})
    with pytest.raises(MeasureError, match=r"zone_mix must be zones of rate card 'test' \(1, 5, 8\), got '3'"):
        zone_shares(card, {"3": 1})


def test_unknown_service_and_signature_name_the_known_ones(card, rules):
    with pytest.raises(MeasureError, match="service must be one of light, ground, fast, got 'slow'"):
        label(card, rules, service="slow")
    with pytest.raises(
        MeasureError, match=r"signature must be a kind that the block .* prices \(plain, adult\), got 'child'"
    ):
        label(card, rules, signature="child")


def test_a_surcharge_without_a_price_is_an_error_not_a_gift(rate_card, rules):
    bare = rate_card(
        '[[block.service]]\nname = "ground"\ntable = "ground.csv"\noversized_over_length_plus_girth = 108\n', TABLES
    )
    assert one(bare, rules)["total_cents"] == 600
    with pytest.raises(
        RuleTableError, match=r"test.toml: key surcharges.long: this is missing. It needs a price, since ground"
    ):
        one(bare, rules, length_in=31)


def test_card_and_rules_change_on_days_of_their_own(demo):
    # The demo's postal card changes on 18 January 2026, the postal rules on 12 July 2026, where the card changes too.
    card = demo.rate_cards["post"]
    days = [dt.date(2026, 1, 17), dt.date(2026, 1, 18), dt.date(2026, 7, 11), dt.date(2026, 7, 12)]
    found = labels(
        card,
        demo.rules_of(card),
        on=days,
        zone=5,
        length_in=18,
        width_in=14,
        height_in=12,
        weight_lb=3,
        service="ground",
    )
    assert found["dimensional_lb"].tolist() == [19, 19, 19, 22]
    base = found["base_cents"].tolist()
    assert base[0] < base[1] == base[2] < base[3]
