"""The face: what a notebook's author types, given in every form, and refused where it cannot be understood."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import flipkit as fk
from flipkit.analysis.max_bid import buying_answer
from flipkit.errors import AssumptionError, MeasureError, MoneyError
from flipkit.units import unit_registry

DAY = "2026-08-01"
#: Weeks until a relapse, and weeks without one, under treatment and without.
TREATED = (6, 6, 6, 7, 10, 13, 16, 22, 23), (6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35)
UNTREATED = (1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23), ()


def listed(weeks):
    ended, going_on = weeks
    return [*ended, *going_on], [True] * len(ended) + [False] * len(going_on)


@pytest.mark.published(source="postal-rule-2026", where="18 x 14 x 12 in by 166 and by 139", seen="computed")
def test_dimensional_weight_before_and_after_the_change():
    assert fk.dimensional_weight("18x14x12 in", on="2026-07-11") == 19
    assert fk.dimensional_weight(18, 14, 12, on="2026-07-12") == 22


def test_sides_in_every_form_give_the_like():
    q = unit_registry().Quantity
    assert fk.dimensional_weight(18, 14, 12, on=DAY) == 22.0
    assert fk.dimensional_weight("18 in", "14 in", "1 ft", on=DAY) == 22.0
    assert fk.dimensional_weight([18, 18], 14, 12, on=DAY) == [22.0, 22.0]
    assert fk.dimensional_weight(np.array([18.0]), 14, 12, on=DAY).tolist() == [22.0]
    series = pd.Series([18.0, 24.0], index=["jug", "lamp"])
    found = fk.dimensional_weight(series, 14, 12, on=DAY)
    assert found["jug"] == 22
    assert list(found.index) == ["jug", "lamp"]
    metric = fk.dimensional_weight(q(45.72, "cm"), q(35.56, "cm"), q(30.48, "cm"), on=DAY)
    assert metric.to("pound").magnitude == 22
    # Sixty centimetres are no sixty inches.
    assert fk.dimensional_weight(q(60, "cm"), 14, 12, on=DAY).magnitude < fk.dimensional_weight(60, 14, 12, on=DAY)


@pytest.mark.parametrize(
    "sides", [("wide", 2, 3), (0, 2, 3), (-1, 2, 3), (float("nan"), 2, 3), ("3 kg", 2, 3), (1, 2, None)]
)
def test_sides_that_cannot_be_understood_are_refused(sides):
    with pytest.raises(MeasureError):
        fk.dimensional_weight(*sides, on=DAY)
    with pytest.raises(MeasureError):
        fk.dimensional_weight(unit_registry().Quantity(3, "kg"), 2, 3, on=DAY)


def test_two_series_with_different_indexes_are_refused():
    with pytest.raises(MeasureError, match="the same index"):
        fk.dimensional_weight(pd.Series([1.0], index=["a"]), pd.Series([1.0], index=["b"]), 3, on=DAY)


def test_fees_of_one_price_and_of_many_agree():
    one = fk.fees(64, shipping=12.5, on="2026-11-01")
    assert "quayside takes $8.61" in repr(one)
    assert one._repr_html_().startswith("<p>quayside")
    many = fk.fees(pd.Series([64, 10], index=["x", "y"]), shipping=12.5, on="2026-11-01")
    assert many.loc["x", "quayside_fees_usd"] == one.frame.loc["quayside", "total_cents"] / 100
    assert list(many.index) == ["x", "y"]
    with pytest.raises(MoneyError):
        fk.fees("dear")


def test_the_price_for_a_net_leaves_it():
    found = fk.net_price(40, label=11.30, on="2026-11-01", venues=["lantern"])
    price = found.frame.loc["lantern", "price_cents"] / 100
    back = fk.fees(price, on="2026-11-01", venues=["lantern"])
    assert back.frame.loc["lantern", "net_cents"] - 1130 >= 4000


def test_labor_cost_in_every_form():
    assert fk.labor_cost(45, wage=16, burden=0) == 12.0
    assert fk.labor_cost("1 h 30 min", wage="16.00", burden="10 %") == 26.4
    assert fk.labor_cost(unit_registry().Quantity(0.75, "hour"), wage=16, burden=0) == 12.0
    assert fk.labor_cost([30, "1 h"], wage=16, burden=0) == [8.0, 16.0]
    assert fk.labor_cost(pd.Series([60], index=["a"]), wage=16, burden=0)["a"] == 16.0
    assert fk.labor_cost(60, wage=16) > 16
    with pytest.raises(MeasureError):
        fk.labor_cost("a while", wage=16)


@pytest.mark.published(source="freireich-gehan", where="medians 23 and 8 weeks", seen="from memory")
def test_medians_of_a_published_trial():
    assert fk.waiting(*listed(TREATED))["median_days"] == 23
    assert fk.waiting(*listed(UNTREATED))["median_days"] == 8


@pytest.mark.parametrize(
    "flags",
    [
        [1, 0, 1, 0],
        [True, False, True, False],
        ["yes", "no", "Yes", "NO"],
        ["2026-01-02", "", "2026-02-01", None],
        pd.to_datetime(["2026-01-02", None, "2026-02-01", None]),
        pd.Series([1.0, np.nan, 1.0, 0.0]),
        pd.Series([True, None, True, False], dtype="boolean"),
        pd.Series(["sold", None, "sold", "unsold"]),
        np.array(["1", "0", "1", "0"]),
    ],
)
def test_every_way_to_write_sold_gives_the_same_median(flags):
    found = fk.waiting([3, 9, 5, 9], flags)
    assert found["sold"] == 2
    # Three quarters wait past day 3, one half past day 5, and no more sell.
    assert found["median_days"] == 5.0


@pytest.mark.parametrize("flags", [["perhaps", 0], [2, 0], [0.5, 1]])
def test_flags_that_cannot_be_understood_are_refused(flags):
    with pytest.raises(MeasureError, match="sold must be"):
        fk.waiting([3, 9], flags)


def test_columns_of_other_lengths_or_indexes_are_refused():
    with pytest.raises(MeasureError):
        fk.waiting([1, 2], [1])
    with pytest.raises(MeasureError):
        fk.waiting(pd.Series([1, 2], index=[0, 1]), pd.Series([1, 0], index=[1, 0]))


@pytest.mark.published(source="freireich-gehan", where="log-rank 16.79", seen="from memory")
def test_a_published_comparison():
    a, b = listed(TREATED), listed(UNTREATED)
    found = fk.compare_waiting(a[0] + b[0], a[1] + b[1], ["treated"] * 21 + ["not"] * 21)
    assert found["p_value"] == pytest.approx(4.17e-5, rel=0.01)
    assert found.frame.set_index("group")["median_days"].to_dict() == {"not": 8.0, "treated": 23.0}


@pytest.mark.published(source="cochran-1977", where="ten cities: 1.5203125", seen="from memory")
def test_a_ratio_of_sums_is_no_mean_of_ratios():
    after = [143, 104, 69, 260, 75, 63, 50, 48, 111, 50]
    before = [138, 93, 61, 179, 48, 37, 29, 23, 30, 2]
    assert fk.true_hourly_return(after, before) == pytest.approx(1.5203125, abs=1e-9)
    parted = fk.true_hourly_return(after, before, ["a"] * 5 + ["b"] * 5)
    assert parted["a"] == pytest.approx(sum(after[:5]) / sum(before[:5]))
    with pytest.raises(MeasureError):
        fk.true_hourly_return([1, 2], [0, 0])


def test_the_highest_price_is_the_one_that_the_aisle_gives():
    study = fk.open_study()
    found = fk.highest_price("hand tools", 60, study=study)
    assert repr(found).startswith("pay at most $")
    assert found["highest_cents"] == buying_answer(study.knowledge, "hand tools", price_cents=6000)["highest_cents"]
    with pytest.raises(AssumptionError):
        fk.highest_price(" ", study=study)
