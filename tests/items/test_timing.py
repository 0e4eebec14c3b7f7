"""Standard time, logged minutes, the time model and whether help pays."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from flipkit.economics.hiring import help_table, hired_cost, wage_limit
from flipkit.economics.labor import person_minutes, shrunk_minutes, standard_time, time_model
from flipkit.errors import AssumptionError, NotEnoughDataError

DELIVERY = Path(__file__).parents[1] / "analysis" / "data" / "delivery.csv"


@pytest.mark.published(source="campus-standard-time", where="27, 19, 20, 21, 13 s; 120 %; 20 %", seen="found")
def test_standard_time():
    observed = [27, 19, 20, 21, 13]
    assert np.mean(observed) == 20
    assert standard_time(observed, rating=1.2, allowance=0.0) == pytest.approx(24)
    assert standard_time(observed, rating=1.2, allowance=0.2) == pytest.approx(28.8, abs=1e-9)


@pytest.mark.published(source="allowance-bases", where="NT (1 + A) and NT / (1 - A)", seen="found")
def test_two_bases_of_the_allowance():
    assert standard_time([24.0], rating=1.0, allowance=0.05) == pytest.approx(25.2)
    shift = standard_time([456.0], rating=1.0, allowance=0.05, allowance_of="shift time")
    # 5 % of a shift of 480 min are 24 min
    assert shift == pytest.approx(480)
    assert shift - 456 == pytest.approx(24)


@pytest.mark.worked
def test_two_logs_move_the_standard_a_little_and_thirty_replace_it():
    moved = shrunk_minutes(10.0, [0, 2, 30, 1000], [math.nan, 20.0, 20.0, 20.0], weight=8)
    # (80 + 2 x 20) / 10 = 12; (80 + 600) / 38
    assert moved == pytest.approx([10, 12, 680 / 38, 20080 / 1008])
    assert (moved[1] - 10) / 10 < 0.25
    assert (moved[2] - 10) / 10 > 0.75


def test_weight_nothing_takes_the_log_as_it_is():
    assert shrunk_minutes(10.0, 3, 25.0, weight=0.0) == pytest.approx(25)


def test_two_people_are_twice_the_minutes():
    assert person_minutes([10.0, 7.0], [2, 1]).tolist() == [20.0, 7.0]


@pytest.mark.published(source="delivery-times", where="minutes on cases and feet", seen="from memory")
def test_delivery_times():
    with DELIVERY.open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 25
    cases, feet, minutes = ([float(row[name]) for row in rows] for name in ("cases", "feet", "minutes"))
    found = time_model(minutes, {"cases": cases, "feet": feet})
    assert found.minutes["fixed"] == pytest.approx(2.34123, abs=5e-6)
    assert found.minutes["cases"] == pytest.approx(1.61591, abs=5e-6)
    assert found.minutes["feet"] == pytest.approx(0.01438, abs=5e-6)
    assert found.explained == pytest.approx(0.9596, abs=5e-5)
    assert found.expected(cases=8.0, feet=275.0) == pytest.approx(2.34123 + 8 * 1.61591 + 275 * 0.014385, abs=1e-3)


def test_a_model_needs_enough_to_go_by():
    with pytest.raises(NotEnoughDataError, match="more than 2 logged times, got 2"):
        time_model([1.0, 2.0], {"parcels": [1, 2]})
    with pytest.raises(NotEnoughDataError, match="something of its own"):
        time_model([1.0, 2.0, 3.0, 5.0], {"parcels": [1, 2, 3, 4], "twice": [2, 4, 6, 8]})
    flat = time_model([5.0] * 4, {"parcels": [1, 2, 3, 4]})
    assert flat.minutes["parcels"] == pytest.approx(0.0, abs=1e-12)
    assert flat.explained == 0.0


@pytest.mark.published(source="irs-topic-751", where="employer's 6.2 % + 1.45 %", seen="secondary")
def test_payroll_burden():
    # an hour at 16.00 with 7.65 %: 17.224
    assert hired_cost(60.0, wage_cents=1600, burden_ppm=62_000 + 14_500) == 1722
    assert hired_cost(60.0, wage_cents=100_000, burden_ppm=76_500) == 107_650


@pytest.mark.worked
def test_help_pays_below_the_owners_own_hour():
    # 20 h earn 400.00: 20.00 an hour; 10 h at 16.00 cost 160.00 and leave 240.00 in 10 h
    table = help_table({"pack": 600.0, "post": 300.0, "write": 300.0}, net_cents=40_000, wage_cents=1600, burden_ppm=0)
    pack = table.iloc[0]
    assert (pack["activity"], pack["hours_freed"], pack["hired_cents"]) == ("pack", 10.0, 16_000)
    assert (pack["hourly_now"], pack["hourly_then"]) == pytest.approx((20.0, 24.0))
    assert pack["wage_limit"] == pytest.approx(20.0)
    assert pack["must_earn"] == pytest.approx(16.0)
    assert table["activity"].tolist() == ["pack", "post", "write"]
    assert table["pays"].all()


@pytest.mark.parametrize(("pace", "guidance", "burden"), [(1.0, 0.0, 76_500), (1.5, 0.0, 0), (1.2, 0.1, 76_500)])
def test_the_wage_limit_is_where_the_hour_stands_still(pace, guidance, burden):
    shared = {"net_cents": 40_000, "burden_ppm": burden, "pace": pace, "guidance": guidance}
    minutes = {"pack": 600.0, "write": 900.0}
    limit = help_table(minutes, wage_cents=0, **shared)["wage_limit"].iloc[0]
    below, at, above = (help_table(minutes, wage_cents=round(100 * limit) + step, **shared) for step in (-50, 0, 50))
    assert below["pays"].all()
    assert not above["pays"].any()
    assert at["hourly_then"].to_numpy() == pytest.approx(at["hourly_now"].to_numpy(), abs=0.01)


@pytest.mark.worked
def test_the_wage_limit_takes_burden_pace_and_guidance():
    # 20.00 x 0.9 / (1.2 x 1.25) = 12.00
    assert wage_limit(20.0, burden_ppm=250_000, pace=1.2, guidance=0.1) == pytest.approx(12.0)
    assert math.isnan(wage_limit(0.0, burden_ppm=0))
    assert math.isnan(wage_limit(math.nan, burden_ppm=0))


def test_help_when_nothing_is_earned():
    table = help_table({"pack": 60.0, "write": 60.0, "post": 0.0}, net_cents=-1000, wage_cents=1000, burden_ppm=0)
    assert len(table) == 2
    assert table["wage_limit"].isna().all()
    assert not table["pays"].any()
    only = help_table({"pack": 60.0}, net_cents=5000, wage_cents=1000, burden_ppm=0).iloc[0]
    assert math.isnan(only["hourly_then"])
    assert only["pays"]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: standard_time([1.0], rating=0.0, allowance=0.1), "rating must be above 0"),
        (lambda: standard_time([1.0], rating=1.0, allowance=1.0), "allowance must be at least 0 and below 1"),
        (lambda: standard_time([1.0], rating=1.0, allowance=0.1, allowance_of="day"), "'work time' or 'shift time'"),
        (lambda: shrunk_minutes(1.0, 1, 1.0, weight=-1), "logged_weight must be at least 0"),
        (lambda: shrunk_minutes(1.0, 0, 1.0, weight=0), "above 0 where nothing is logged"),
        (lambda: shrunk_minutes(1.0, -1, 1.0, weight=1), "n must be at least 0"),
        (lambda: person_minutes([5.0], [0]), "workers must be at least 1"),
        (lambda: person_minutes([-5.0], [1]), "minutes must be at least 0"),
        (lambda: help_table({}, net_cents=0, wage_cents=-1, burden_ppm=0), "help.wage must be at least 0"),
        (lambda: wage_limit(20.0, burden_ppm=-1), "help.burden must be at least 0"),
        (lambda: help_table({}, net_cents=0, wage_cents=1, burden_ppm=0, pace=0), "pace must be above 0"),
        (lambda: help_table({}, net_cents=0, wage_cents=1, burden_ppm=0, guidance=1), "guidance must be"),
    ],
)
def test_mistakes_are_named(call, words):
    with pytest.raises(AssumptionError, match=words):
        call()
    with pytest.raises(NotEnoughDataError, match="at least one observed time"):
        standard_time([], rating=1.0, allowance=0.1)
