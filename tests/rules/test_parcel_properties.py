"""What holds for every parcel under every rule set."""

from __future__ import annotations

import datetime as dt
import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flipkit.errors import MeasureError, RuleNotInForceError
from flipkit.rules.parcels import billable, parcel_columns
from flipkit.rules.tables import load_rules
from flipkit.units import read_length, read_weight

PARCELS = load_rules().parcels
BLOCKS = [(name, block.starts) for name, rules in PARCELS.items() for block in rules.blocks]
sides = st.floats(0.1, 120)
weights = st.floats(0.01, 160)
zones = st.integers(1, 8)


def billed(name, on, parcel, weight, zone, **more):
    length, width, height = parcel
    found = parcel_columns(
        PARCELS[name], on=on, length_in=length, width_in=width, height_in=height, weight_lb=weight, zone=zone, **more
    )
    return found["billable_lb"]


@settings(max_examples=150, deadline=None)
@given(parcel=st.tuples(sides, sides, sides), weight=weights, zone=zones, more=st.floats(0, 30), odd=st.booleans())
@pytest.mark.parametrize(("name", "on"), BLOCKS)
def test_billable_weight_never_falls_when_a_side_or_the_weight_grows(name, on, parcel, weight, zone, more, odd):
    before = billed(name, on, parcel, weight, zone, nonrectangular=odd)
    for grown in range(3):
        larger = tuple(side + more * (place == grown) for place, side in enumerate(parcel))
        assert billed(name, on, larger, weight, zone, nonrectangular=odd) >= before
    assert billed(name, on, parcel, weight + more, zone, nonrectangular=odd) >= before


@settings(max_examples=100, deadline=None)
@given(parcel=st.tuples(sides, sides, sides), weight=weights, zone=zones)
@pytest.mark.parametrize(("name", "on"), BLOCKS)
def test_the_order_of_the_sides_does_not_matter(name, on, parcel, weight, zone):
    length, width, height = np.array(list(itertools.permutations(parcel))).T
    found = parcel_columns(
        PARCELS[name], on=on, length_in=length, width_in=width, height_in=height, weight_lb=weight, zone=zone
    )
    for label, column in found.items():
        assert column == pytest.approx(column[0]), label


@settings(max_examples=100, deadline=None)
@given(parcel=st.tuples(*[st.integers(2, 480)] * 3), weight=st.integers(1, 600), zone=zones)
@pytest.mark.parametrize(("name", "on"), BLOCKS)
def test_metric_and_imperial_entries_of_one_parcel_agree(name, on, parcel, weight, zone):
    # Quarter inches and quarter pounds have finite decimals in centimetres and kilograms.
    inches = [side / 4 for side in parcel]
    imperial = [read_length(f"{side} in") for side in inches]
    metric = [read_length(f"{side * 2.54:.4f} cm") for side in inches]
    pounds = read_weight(f"{weight / 4} lb")
    kilograms = read_weight(f"{weight / 4 * 0.45359237:.12f} kg")
    one = parcel_columns(
        PARCELS[name],
        on=on,
        length_in=[imperial[0], metric[0]],
        width_in=[imperial[1], metric[1]],
        height_in=[imperial[2], metric[2]],
        weight_lb=[pounds, kilograms],
        zone=zone,
    )
    for label, column in one.items():
        assert column[0] == pytest.approx(column[1]), label


@pytest.mark.worked
@pytest.mark.parametrize("on", [dt.date(2026, 7, 12), dt.date(2025, 8, 18)])
def test_30_48_cm_are_12_inches_and_30_49_are_13(network, on):
    found = billable(
        network,
        on=on,
        length_in=[read_length("30.48 cm"), read_length("30.49 cm")],
        width_in=20,
        height_in=20,
        weight_lb=1,
    )
    assert found["shortest_in"].tolist() == [12, 13]


def test_a_column_of_parcels_measures_as_each_parcel_alone(post):
    rng = np.random.default_rng(5)
    n = 90
    columns = {
        "on": np.datetime64("2019-01-01") + rng.integers(0, 2_870, n).astype("timedelta64[D]"),
        "length_in": rng.uniform(1, 60, n),
        "width_in": rng.uniform(1, 30, n),
        "height_in": rng.uniform(1, 30, n),
        "weight_lb": rng.uniform(0.1, 75, n),
        "zone": rng.integers(1, 9, n),
        "nonrectangular": rng.random(n) < 0.3,
        "dimensions_entered": rng.random(n) < 0.7,
    }
    every = billable(post, **columns)
    for row in range(n):
        single = billable(post, **{name: column[row] for name, column in columns.items()})
        pd.testing.assert_frame_equal(single, every.iloc[[row]].reset_index(drop=True))


def test_days_on_both_sides_of_a_change_stand_in_one_column(post):
    days = [dt.date(2026, 7, 11), dt.date(2026, 7, 12), dt.date(2019, 6, 22), dt.date(2019, 6, 23)]
    found = billable(post, on=days, length_in=18, width_in=14, height_in=12, weight_lb=1, zone=8)
    # 3,024 / 166 = 18.2; / 139 = 21.8; / 194 = 15.6; / 166
    assert found["dimensional_lb"].tolist() == [19, 22, 16, 19]


def test_more_rows_than_a_chunk_are_all_worked(post):
    n = 40_000
    found = billable(post, on=dt.date(2026, 8, 1), length_in=np.full(n, 18.0), width_in=14, height_in=12, weight_lb=1)
    assert (found["billable_lb"] == 22).all()
    assert len(found) == n


@pytest.mark.parametrize(
    ("column", "value", "words"),
    [
        ("length_in", [12, 0], r"length_in must be a finite number above 0, got 0.0 \(row 2 of 2\)"),
        ("width_in", [-3, 1], r"width_in must be a finite number above 0, got -3.0 \(row 1 of 2\)"),
        ("height_in", [float("nan"), 1], "height_in must be a finite number above 0, got nan"),
        ("weight_lb", [1, float("inf")], "weight_lb must be a finite number above 0, got inf"),
        ("length_in", ["long", "short"], "length_in must be numbers"),
        ("packaging", ["box", "sack"], "packaging must be one of box, not in corrugated, .*, got 'sack'"),
        ("height_in", [1, 2, 3], "height_in must be one value or 2 of them, as length_in, got .shape"),
        ("rates", "wholesale", r"rates must be a kind that the block .* has a divisor for \(retail, export\)"),
    ],
)
def test_bad_measures_are_refused_by_name_and_row(network, column, value, words):
    parcel = {"length_in": [9, 9], "width_in": 6, "height_in": 4, "weight_lb": 1, column: value}
    with pytest.raises(MeasureError, match=words):
        billable(network, on=dt.date(2026, 8, 1), **parcel)


def test_zones_are_needed_only_where_the_rule_tells_them_apart(post):
    box = {"length_in": 20, "width_in": 20, "height_in": 20, "weight_lb": 1}
    words = "zone must be given, since the block from 2007-05-14 to 2019-06-22 tells zones"
    with pytest.raises(MeasureError, match=words):
        billable(post, on=dt.date(2018, 1, 1), **box)
    assert billable(post, on=dt.date(2020, 1, 1), **box)["dimensional_lb"].tolist() == [49]


def test_a_day_before_the_rules_names_the_dates(post):
    words = "parcel rules 'post' has no block in force on 2007-05-13; its blocks: from 2007-05-14 to 2019-06-22; from"
    with pytest.raises(RuleNotInForceError, match=words):
        billable(post, on=dt.date(2007, 5, 13), length_in=9, width_in=6, height_in=4, weight_lb=1)
