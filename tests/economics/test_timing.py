"""Standard time, logged minutes, the time model and whether help pays."""

from __future__ import annotations

import math

import pytest

from flipkit.economics.hiring import help_table, hired_costs, wage_limit
from flipkit.economics.labor import shrunk_minutes


@pytest.mark.worked
def test_two_logs_move_the_standard_a_little_and_thirty_replace_it():
    moved = shrunk_minutes(10.0, [0, 2, 30, 1000], [math.nan, 20.0, 20.0, 20.0], weight=8)
    # (80 + 2 x 20) / 10 = 12; (80 + 600) / 38
    assert moved == pytest.approx([10, 12, 680 / 38, 20080 / 1008])
    assert (moved[1] - 10) / 10 < 0.25
    assert (moved[2] - 10) / 10 > 0.75


def test_weight_nothing_takes_the_log_as_it_is():
    assert shrunk_minutes(10.0, 3, 25.0, weight=0.0) == pytest.approx(25)


@pytest.mark.published(source="irs-topic-751", where="employer's 6.2 % + 1.45 %", seen="secondary")
def test_payroll_burden():
    # an hour at 16.00 with 7.65 %: 17.224
    assert hired_costs(60.0, wage_cents=1600, burden_ppm=62_000 + 14_500) == 1722
    assert hired_costs(60.0, wage_cents=100_000, burden_ppm=76_500) == 107_650


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
