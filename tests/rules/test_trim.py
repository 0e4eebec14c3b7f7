"""Trim advice, triggers and likely adjustments."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flipkit.errors import MeasureError
from flipkit.rules.parcel_advice import SIDES, trim_advice
from flipkit.rules.parcels import parcel_triggers
from flipkit.rules.postage import adjustment_columns, label_columns, labels
from flipkit.rules.tables import load_rules

DAY = dt.date(2026, 10, 1)
FLAT = {"length_in": 58, "width_in": 26, "height_in": 6, "weight_lb": 14}
PLAIN = (
    'trigger_sides = "as rounded"\nscale = { weight_step = 1 }\n'
    'dimensional = { sides = "up", volume_over = 1728, divisor = 139, weight_step = 1 }\n'
    '[[block.surcharge]]\nname = "long"\ngroup = "handling"\nwhen = { longest_over = 30 }\n'
)
CARD = 'surcharges = { long = "9.00" }\n[[block.service]]\nname = "ground"\ntable = "t.csv"\n'


@pytest.fixture(scope="module")
def plain(carrier):
    return carrier(PLAIN)


@pytest.fixture(scope="module")
def card(rate_card):
    # A dollar a pound.
    rows = "".join(f"{pound},{pound}.00\n" for pound in range(1, 151))
    return rate_card(CARD, {"t.csv": f"weight,1\n{rows}"})


def advice(card, rules, **parcel):
    given = {"on": DAY, "zone": 1, "reach_in": 2, "reach_lb": 2, "residential": False, **parcel}
    return trim_advice(card, rules, **given)


@pytest.mark.worked
def test_every_breakpoint_of_each_side_and_of_the_weight(card, plain):
    # 31.5 x 10 x 6 rounds up to 32 x 10 x 6 = 1,920 / 139 = 13.8 -> 14 lb + 9.00 for 31.5 > 30.
    found = advice(card, plain, length_in=31.5, width_in=10, height_in=6, weight_lb=5)
    alone = {(trim.what, trim.by_in): (trim.saves_cents, trim.why) for trim in found if trim.what in SIDES}
    assert alone == {
        # to 30: 1,800 / 139 = 12.9 -> 13 lb, and not over 30; 31 x 60 = 1,860 -> 14 lb saves nothing
        ("length", 1.5): (1000, "billed at 13 lb, not 14; no more long"),
        # to 9: 32 x 54 = 1,728 exactly is exempt: 5 lb on the scale
        ("width", 1.0): (900, "billed at 5 lb, not 14"),
        # to 5: 32 x 50 = 1,600 is exempt
        ("height", 1.0): (900, "billed at 5 lb, not 14"),
    }
    # The dearest inch first: 9.00 for one inch, then length and another side together, then the length alone.
    assert [trim.what for trim in found][:2] == ["width", "height"]
    assert [trim.cents_per_in for trim in found] == sorted((trim.cents_per_in for trim in found), reverse=True)
    both = next(trim for trim in found if " and " in trim.what)
    # 2.5 in together: 30 long and one inch off another side: 5 lb, no surcharge: 5.00 instead of 23.00
    assert (both.by_in, both.saves_cents) == (2.5, 1800)


@pytest.mark.worked
def test_lighter_is_advised_where_the_scale_is_billed(card, plain):
    found = advice(card, plain, length_in=10, width_in=10, height_in=10, weight_lb=5.2)
    # Exempt, billed at 6 lb: to 5 lb saves 1.00 for .2 lb, to 4 lb 2.00 for 1.2 lb
    lighter = [(trim.what, trim.weight_lb, trim.by_lb, trim.saves_cents) for trim in found]
    assert lighter == [("weight", 5.0, 0.2, 100), ("weight", 4.0, 1.2, 200)]
    assert found[0].cents_per_lb == pytest.approx(500)
    assert found[0].why == "billed at 5 lb, not 6"


def test_nothing_within_reach_is_no_advice(card, plain):
    assert advice(card, plain, length_in=10, width_in=10, height_in=10, weight_lb=4.9, reach_lb=0.5) == []


def test_a_refused_parcel_gets_no_advice(card, plain):
    with pytest.raises(
        MeasureError, match="parcel must be one that the card takes, got 'ground: heavier than it takes'"
    ):
        advice(card, plain, length_in=10, width_in=10, height_in=10, weight_lb=151)


DEMO = load_rules(Path(__file__).resolve().parents[2] / "data_demo" / "rules")
quarters = st.integers(8, 140).map(lambda quarter: quarter / 4)


@settings(max_examples=40, deadline=None)
@given(
    name=st.sampled_from(["post", "network"]),
    on=st.sampled_from([dt.date(2025, 3, 1), dt.date(2025, 9, 1), DAY]),
    parcel=st.tuples(quarters, quarters, quarters),
    weight=st.integers(1, 200).map(lambda tenth: tenth / 5),
)
def test_what_is_advised_saves_what_it_says_and_nothing_cheaper_lies_between(name, on, parcel, weight):
    card = DEMO.rate_cards[name]
    rules = DEMO.rules_of(card)
    start = dict(zip(("length_in", "width_in", "height_in"), parcel, strict=True))
    now = label_columns(card, rules, on=on, zone=5, weight_lb=weight, **start)
    if now["refused"][0]:
        return
    found = trim_advice(card, rules, on=on, zone=5, weight_lb=weight, reach_in=2, reach_lb=1, **start)
    for trim in found:
        after = {"length_in": trim.length_in, "width_in": trim.width_in, "height_in": trim.height_in}
        label = label_columns(card, rules, on=on, zone=5, weight_lb=trim.weight_lb, **after)
        assert label["total_cents"][0] == trim.total_cents
        assert now["total_cents"][0] - trim.total_cents == trim.saves_cents > 0
    # Brute force over hundredths of an inch of each side by itself: no larger saving for as small a cut.
    for place, side in enumerate(SIDES):
        cuts = np.arange(1, 201) / 100
        cuts = cuts[parcel[place] - cuts >= 1]
        tried = {key: np.full(cuts.size, value) for key, value in start.items()}
        tried[f"{side}_in"] = parcel[place] - cuts
        saved = (
            now["total_cents"][0] - label_columns(card, rules, on=on, zone=5, weight_lb=weight, **tried)["total_cents"]
        )
        named = [(trim.by_in, trim.saves_cents) for trim in found if trim.what == side]
        for cut, saving in zip(cuts, saved, strict=True):
            best = max((value for by, value in named if by <= cut + 1e-9), default=0)
            assert saving <= best, (side, cut)


# --- triggers


@pytest.mark.worked
def test_triggers_say_by_how_much(network):
    found = parcel_triggers(network, on=DAY, **FLAT)
    # 58 - 48 = 10 in; 122 - 105 = 17 in
    assert [(t.surcharge, t.measure, t.unit, t.value, t.threshold, t.over_by, t.applies) for t in found] == [
        ("handling_longest", "longest", "in", 58, 48, 10, True),
        ("handling_length_girth", "length_plus_girth", "in", 122, 105, 17, True),
    ]


@pytest.mark.worked
def test_a_dropped_surcharge_is_shown_as_not_due(network):
    found = parcel_triggers(network, on=DAY, length_in=97, width_in=10, height_in=8, weight_lb=60)
    due = {(t.surcharge, t.over_by): t.applies for t in found}
    # 97 + 36 = 133
    assert due == {
        ("handling_weight", 10): False,
        ("handling_longest", 49): False,
        ("handling_length_girth", 28): False,
        ("large_length", 1): True,
        ("large_length_girth", 3): True,
    }


def test_packaging_limits_and_missing_dimensions_are_triggers_too(network, post):
    soft = parcel_triggers(network, on=DAY, length_in=20, width_in=15, height_in=5, weight_lb=2, packaging="soft pack")
    assert [(t.surcharge, t.measure, t.over_by, t.word) for t in soft] == [
        ("handling_soft_pack", "longest", 2, ""),
        ("handling_soft_pack", "second", 1, ""),
        ("handling_soft_pack", "packaging", 0, "soft pack"),
    ]
    thin = parcel_triggers(network, on=DAY, length_in=20, width_in=15, height_in=1, weight_lb=2)
    assert [(t.surcharge, t.measure, t.value, t.threshold) for t in thin] == [("handling_thin", "shortest", 1, 1)]
    over = parcel_triggers(post, on=DAY, length_in=20, width_in=15, height_in=1, weight_lb=71, dimensions_entered=False)
    assert [(t.surcharge, t.measure, t.unit, t.over_by) for t in over] == [("over_maximum", "weight", "lb", 1)]
    long = parcel_triggers(post, on=DAY, length_in=24, width_in=5, height_in=5, weight_lb=1, dimensions_entered=False)
    assert {t.surcharge for t in long} == {"nonstandard_length_22", "dimensions_missing_length"}


# --- entered below billable


@pytest.mark.worked
def test_a_label_bought_by_weight_alone_is_adjusted_later(card, plain):
    # Bought for 14 lb: 14.00. Due: 58 x 26 x 6 = 9,048 / 139 -> 66 lb = 66.00, and 9.00 for the length.
    found = pd.DataFrame(adjustment_columns(card, plain, on=DAY, zone=1, residential=False, **FLAT)).iloc[0]
    assert (found["entered_lb"], found["billable_lb"], found["below_billable"]) == (14, 66, True)
    assert (found["bought_cents"], found["due_cents"], found["adjustment_cents"]) == (1400, 7500, 6100)


@pytest.mark.worked
def test_a_parcel_billed_by_its_scale_weight_is_not_adjusted(card, plain):
    box = {"length_in": 10, "width_in": 10, "height_in": 10, "weight_lb": 9.5}
    exact = pd.DataFrame(adjustment_columns(card, plain, on=DAY, zone=1, residential=False, **box)).iloc[0]
    assert (exact["below_billable"], exact["adjustment_cents"]) == (False, 0)
    # Entered as 7 lb: 3 lb short
    short = pd.DataFrame(adjustment_columns(card, plain, on=DAY, zone=1, residential=False, entered_lb=7, **box)).iloc[
        0
    ]
    assert (short["below_billable"], short["bought_cents"], short["adjustment_cents"]) == (True, 700, 300)


def test_missing_dimensions_are_charged_where_the_rule_says_so(demo):
    card = demo.rate_cards["post"]
    found = pd.DataFrame(
        adjustment_columns(
            card,
            demo.rules_of(card),
            on=DAY,
            zone=5,
            length_in=24,
            width_in=5,
            height_in=5,
            weight_lb=2,
            service="ground",
        )
    ).iloc[0]
    bought = labels(
        card, demo.rules_of(card), on=DAY, zone=5, length_in=9, width_in=6, height_in=4, weight_lb=2, service="ground"
    ).iloc[0]
    # Exempt by volume, so the same row; 24 in trips one length fee and the fee for missing dimensions.
    prices = card.at(DAY).services[1].extras.surcharges
    assert found["bought_cents"] == bought["total_cents"]
    assert found["adjustment_cents"] == prices["nonstandard_length_22"] + prices["dimensions_missing_length"]
    assert not found["below_billable"]


def test_adjustments_of_many_parcels_equal_each_alone(demo):
    card = demo.rate_cards["network"]
    rng = np.random.default_rng(6)
    n = 60
    parcels = {
        "on": np.datetime64("2025-06-01") + rng.integers(0, 500, n).astype("timedelta64[D]"),
        "zone": rng.integers(1, 9, n),
        "length_in": rng.uniform(5, 90, n),
        "width_in": rng.uniform(4, 30, n),
        "height_in": rng.uniform(1, 20, n),
        "weight_lb": rng.uniform(1, 60, n),
    }
    every = pd.DataFrame(adjustment_columns(card, demo.rules_of(card), **parcels))
    for row in range(n):
        alone = pd.DataFrame(
            adjustment_columns(card, demo.rules_of(card), **{key: column[row] for key, column in parcels.items()})
        )
        pd.testing.assert_frame_equal(alone, every.iloc[[row]].reset_index(drop=True))


def test_a_parcel_that_would_be_handed_back_says_so(card, demo):
    network = demo.rate_cards["network"]
    found = pd.DataFrame(
        adjustment_columns(
            network, demo.rules_of(network), on=DAY, zone=5, length_in=110, width_in=5, height_in=5, weight_lb=9
        )
    ).iloc[0]
    assert found["refused"] == f"{found['service']}: over the carrier's maximum"
    assert found["adjustment_cents"] == 0


@pytest.mark.worked
def test_a_side_that_trips_as_measured_is_cut_to_the_bound_itself(card, carrier):
    # 31.5 trips 30.25; at 30.25 it is rounded up to 31 x 60 = 1,860 / 139 = 13.4 -> 14 lb as before: 9.00 less.
    rules = carrier(PLAIN.replace("as rounded", "as measured").replace("longest_over = 30", "longest_over = 30.25"))
    found = advice(card, rules, length_in=31.5, width_in=10, height_in=6, weight_lb=5)
    alone = {(trim.what, trim.by_in): (trim.saves_cents, trim.why) for trim in found if trim.what == "length"}
    assert alone == {
        ("length", 1.25): (900, "no more long"),
        ("length", 1.5): (1000, "billed at 13 lb, not 14; no more long"),
    }


def test_a_parcel_of_just_the_maximum_is_not_over_it(network):
    for longest, over in ((108.0, []), (108.1, ["over_maximum"])):
        found = parcel_triggers(network, on=DAY, length_in=longest, width_in=4, height_in=4, weight_lb=10)
        assert [one.surcharge for one in found if one.surcharge == "over_maximum"] == over


def test_a_day_that_is_none_is_named(card, plain):
    with pytest.raises(MeasureError, match=r"^on must be"):
        adjustment_columns(card, plain, on="soon", zone="1", weight_lb=5, length_in=9, width_in=9, height_in=9)
    with pytest.raises(MeasureError, match=r"^residential must be"):
        adjustment_columns(
            card, plain, on=DAY, zone="1", weight_lb=5, residential="maybe", length_in=9, width_in=9, height_in=9
        )


@pytest.mark.worked
def test_weights_without_a_common_step_are_paid_by_the_next_row(rate_card, plain):
    card = rate_card(CARD, {"t.csv": "weight,1\n0.3,1.00\n1.1,2.00\n5,3.00\n"})
    price = {"on": DAY, "zone": "1", "residential": False, "length_in": 5, "width_in": 5, "height_in": 5}
    found = [labels(card, plain, weight_lb=weight, **price).iloc[0]["total_cents"] for weight in (1, 2, 5)]
    assert found == [200, 300, 300]


@pytest.mark.worked
def test_space_as_measured_is_cut_to_the_next_pound_of_it(card, carrier):
    # 31.5 x 10 x 6 = 1,890 / 139 = 13.6 -> 14 lb + 9.00. 13 x 139 / 60 = 30.12 long is 13 lb; 30 is not over 30 too.
    rules = carrier(PLAIN.replace("as rounded", "as measured").replace('sides = "up"', 'sides = "as measured"'))
    found = advice(card, rules, length_in=31.5, width_in=10, height_in=6, weight_lb=5)
    alone = [(round(trim.by_in, 1), trim.saves_cents, trim.why) for trim in found if trim.what == "length"]
    assert sorted(alone) == [
        (1.4, 100, "billed at 13 lb, not 14"),
        (1.5, 1000, "billed at 13 lb, not 14; no more long"),
    ]


@pytest.mark.worked
def test_inches_within_reach_are_so_for_a_carrier_in_centimeters_too(card, carrier):
    # 103 cm are 3 cm over 100, which is 1.18 in, within the 2 in asked for; the scale's 5 kg stay.
    body = PLAIN.replace("volume_over = 1728, divisor = 139", "volume_over = 0, divisor = 5000")
    rules = carrier(body.replace("longest_over = 30", "longest_over = 100"), units="cm, kg")
    sides = {"length_in": 103 / 2.54, "width_in": 10 / 2.54, "height_in": 10 / 2.54}
    found = advice(card, rules, **sides, weight_lb=4.9 / 0.45359237, reach_lb=0)
    assert [(trim.what, trim.saves_cents, trim.why) for trim in found] == [("length", 900, "no more long")]
    assert found[0].by_in == pytest.approx(3 / 2.54, abs=1e-3)
