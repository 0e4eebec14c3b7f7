"""Mileage by the rate of the day, and size classes by published thresholds."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from flipkit.errors import MeasureError, RuleNotInForceError
from flipkit.rules import parcels
from flipkit.rules.mileage import mileage_cents
from flipkit.rules.parcels import size_class

DAY = dt.date(2026, 10, 1)
RATES = [
    ("2017-01-01", "2017-12-31", 53.5),
    ("2018-01-01", "2018-12-31", 54.5),
    ("2019-01-01", "2019-12-31", 58),
    ("2020-01-01", "2020-12-31", 57.5),
    ("2021-01-01", "2021-12-31", 56),
    ("2022-01-01", "2022-06-30", 58.5),
    ("2022-07-01", "2022-12-31", 62.5),
    ("2023-01-01", "2023-12-31", 65.5),
    ("2024-01-01", "2024-12-31", 67),
]


@pytest.mark.published(source="mileage-2017-2024", where="rates by year", seen="secondary")
@pytest.mark.parametrize(("first", "last", "rate"), RATES)
def test_rates_to_2024_on_their_first_and_last_day(packaged, first, last, rate):
    assert mileage_cents(packaged.mileage, on=[first, last], miles=100).tolist() == [rate * 100] * 2


@pytest.mark.published(source="mileage-2025-2026", where="70 and 72.5 cents", seen="secondary")
@pytest.mark.parametrize(
    ("first", "last", "rate"), [("2025-01-01", "2025-12-31", 70), ("2026-01-01", "2026-12-31", 72.5)]
)
def test_rates_of_2025_and_2026_on_their_first_and_last_day(packaged, first, last, rate):
    assert mileage_cents(packaged.mileage, on=[first, last], miles=100).tolist() == [rate * 100] * 2


@pytest.mark.published(source="mileage-2017-2024", where="65 for 2023 is wrong, 65.5 right", seen="secondary")
def test_half_cents_are_not_dropped(packaged):
    assert mileage_cents(packaged.mileage, on="2023-06-01", miles=2).tolist() == [131]


@pytest.mark.worked
def test_miles_count_to_the_thousandth_and_cents_round_half_up_once(packaged):
    # 72.5 x 12.4 = 899.0; x .02 = 1.45 -> 1; x 1 = 72.5 -> 73; x 0 = 0
    assert mileage_cents(packaged.mileage, on=DAY, miles=[12.4, 0.02, 1, 0]).tolist() == [899, 1, 73, 0]


def test_a_day_without_a_rate_names_the_dates(packaged):
    with pytest.raises(
        RuleNotInForceError, match="has no block in force on 2027-01-01; its blocks: from 2017-01-01 to"
    ):
        mileage_cents(packaged.mileage, on=["2026-12-31", "2027-01-01"], miles=1)
    with pytest.raises(RuleNotInForceError, match="2016-12-31"):
        mileage_cents(packaged.mileage, on="2016-12-31", miles=1)
    with pytest.raises(RuleNotInForceError, match="the day asked for is missing"):
        mileage_cents(packaged.mileage, on=np.array(["NaT"], dtype="datetime64[D]"), miles=1)


def test_miles_below_nothing_are_refused(packaged):
    with pytest.raises(MeasureError, match=r"miles must be a finite number of at least 0, got -1.0"):
        mileage_cents(packaged.mileage, on=DAY, miles=[3, -1])


@pytest.mark.worked
@pytest.mark.parametrize(
    ("parcel", "weight", "word"),
    [
        ((12, 12, 12), 2, "small"),  # 1,728 cu in exactly
        ((12, 12, 12.1), 2, "medium"),
        ((22, 8, 8), 2, "small"),  # 22 in exactly
        ((22.1, 8, 8), 2, "medium"),
        ((48, 10, 8), 40, "medium"),
        ((48.1, 10, 8), 40, "bulky"),
        ((38, 30, 2), 40, "medium"),
        ((38, 30.1, 2), 40, "bulky"),
        ((45, 20, 10), 70, "bulky"),  # by weight; 105 in exactly
        ((45, 20, 10), 50, "bulky"),  # 9,000 cu in is 65 lb by space, above 50
        ((20, 15, 12), 50, "medium"),  # 3,600 cu in is 26 lb by space, below the scale
        ((20, 15, 12), 25, "bulky"),  # 26 lb by space, above the scale
        ((18, 16, 12), 1, "medium"),  # 3,456 cu in exactly
        ((20, 15, 12), 50.1, "bulky"),
        ((97, 6, 6), 9, "oversize"),
        ((30, 24, 24), 9, "bulky"),
        ((30, 24, 24.1), 9, "oversize"),
        ((20, 20, 20), 111, "oversize"),
        ((10, 10, 10), 151, "oversize"),
    ],
)
def test_both_sides_of_every_threshold(packaged, parcel, weight, word):
    length, width, height = parcel
    found = size_class(
        packaged.size_classes, on=DAY, length_in=width, width_in=height, height_in=length, weight_lb=weight
    )
    assert found.tolist() == [word]


def test_size_class_of_a_column_across_eras(packaged):
    # 30 x 24 x 24.1 is a large package by volume only since 26 January 2026.
    found = parcels.size_class(
        packaged.size_classes,
        on=["2026-01-25", "2026-01-26"],
        length_in=30,
        width_in=24,
        height_in=24.1,
        weight_lb=9,
    )
    assert found.tolist() == ["bulky", "oversize"]


def test_another_carrier_may_decide_what_is_large(packaged, post):
    # The post has no large packages; its maximum of 130 in length plus girth is passed by 97 + 2 x 40.
    sides = {"length_in": 97, "width_in": 20, "height_in": 20, "weight_lb": 9}
    assert size_class(packaged.size_classes, on=DAY, **sides, parcel_rules=post).tolist() == ["oversize"]
    long = {"length_in": 97, "width_in": 6, "height_in": 6, "weight_lb": 9}
    assert size_class(packaged.size_classes, on=DAY, **long, parcel_rules=post).tolist() == ["bulky"]
