"""Forecasts of a category's hour: the month's luck inside, what is known exact, and nothing said of too few."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest

from flipkit.analysis.forecasts import (
    FILE,
    WHAT,
    category_forecasts,
    category_outcomes,
    forecast_table,
    keep_forecasts,
    kept_forecasts,
    month_draws,
    scored,
)

MADE, DUE = dt.date(2026, 4, 30), dt.date(2026, 5, 31)
SETTINGS = {"due_on": DUE, "months": 12, "level": 0.8, "too_few": 10, "seed": 1}

#: As the kit wrote it before it forecast the categories.
OLD = """made_on,due_on,what,subject,category,chance,low,middle,high,level
2026-04-30,2026-05-31,sale,0012,mugs,0.25,,,,
2026-04-30,2026-05-31,sold price,0012,mugs,,2000.0,3000.0,3500.0,0.95
2026-04-30,2026-05-31,month hourly,2026-05,,,11.0,14.5,19.0,0.95
"""


def sales(category="mugs", count=24, trips=8):
    day = pd.date_range("2025-12-03", periods=count, freq="6D")
    return pd.DataFrame(
        {
            "category": category,
            "trip_id": [f"t{k % trips}" for k in range(count)],
            "bought_on": day,
            "sold_on": day,
            "net_cents": [600 + 900 * (k % 3) for k in range(count)],
            "owner_min": [30.0 + 10 * (k % 2) for k in range(count)],
        }
    )


def draws(counts, **known):
    own = sales()
    return month_draws(
        own["net_cents"], own["owner_min"], own["trip_id"], counts, random=np.random.default_rng(3), **known
    )


def test_a_month_of_few_sales_is_less_sure_than_one_of_many():
    spread = [float(np.std(draws([count]))) for count in (1, 4, 16)]
    assert spread[0] > 1.6 * spread[1] > 2.0 * spread[2]


def test_endless_months_leave_the_error_of_the_estimate():
    own = sales(count=240)
    many = month_draws(own["net_cents"], own["owner_min"], own["trip_id"], [4000], random=np.random.default_rng(3))
    middle = own["net_cents"].sum() / own["owner_min"].sum() * 0.6
    assert many.mean() == pytest.approx(middle, rel=0.02)
    # eight trips of thirty like sales each: what is left is their difference, not one sale's
    assert np.std(many) < 0.25 * np.std(draws([1]))


def test_months_without_a_sale_say_nothing_of_a_return():
    assert np.array_equal(draws([0, 3, 0]), draws([3]))


@pytest.mark.worked
def test_what_the_month_has_sold_already_counts_as_it_is():
    # nothing is left of the month: 3,000 cents in 60 minutes are 30 dollars an hour, whatever is drawn
    assert draws([3], known=(3000.0, 60.0), left=0.0) == pytest.approx(np.full(2000, 30.0))
    half = draws([3], known=(3000.0, 60.0), left=0.5)
    assert np.std(half) < np.std(draws([3]))


def test_a_forecast_is_the_same_whatever_else_is_forecast():
    both = category_forecasts(pd.concat([sales(), sales("jugs")], ignore_index=True), as_of=MADE, **SETTINGS)
    assert [one.subject for one in both] == ["jugs", "mugs"]
    alone = category_forecasts(sales(), as_of=MADE, **SETTINGS)
    assert alone == both[1:]
    assert alone[0].low < alone[0].middle < alone[0].high


def test_a_wider_level_is_a_wider_interval():
    narrow, wide = (category_forecasts(sales(), as_of=MADE, **SETTINGS | {"level": level})[0] for level in (0.8, 0.95))
    assert wide.low < narrow.low < narrow.high < wide.high
    assert wide.middle == narrow.middle


def test_of_too_few_sales_or_trips_nothing_is_forecast():
    assert category_forecasts(sales(count=9), as_of=MADE, **SETTINGS) == []
    assert category_forecasts(sales(trips=4), as_of=MADE, **SETTINGS) == []
    assert category_forecasts(sales().head(0), as_of=MADE, **SETTINGS) == []
    unsold = sales().assign(sold_on=pd.NaT)
    assert category_forecasts(unsold, as_of=MADE, **SETTINGS) == []


def test_sales_after_the_day_are_not_known():
    later = sales().assign(net_cents=99_900, sold_on=pd.Timestamp("2026-05-10"))
    assert category_forecasts(
        pd.concat([sales(), later], ignore_index=True), as_of=MADE, **SETTINGS
    ) == category_forecasts(sales(), as_of=MADE, **SETTINGS)


@pytest.mark.worked
def test_the_outcome_is_a_ratio_of_sums_over_the_months_sales():
    told = forecast_table(category_forecasts(sales(), as_of=MADE, **SETTINGS))
    day = pd.to_datetime(["2026-05-01", "2026-05-31", "2026-06-01"])
    later = sales().head(3).assign(sold_on=day, net_cents=[1000, 200, 9999], owner_min=[20.0, 100.0, 1.0])
    # 1,200 cents in 120 minutes: 6 dollars an hour; the mean of ratios would be 15.6
    assert category_outcomes(later, told) == {(WHAT, "mugs", DUE): 6.0}
    none = category_outcomes(later.tail(1), told)
    assert math.isnan(scored(told, none, as_of=DUE)["outcome"].iloc[0])


def test_a_file_of_earlier_runs_is_read_on_and_added_to(tmp_path):
    (tmp_path / FILE).write_text(OLD, encoding="utf-8")
    assert len(kept_forecasts(tmp_path)) == 3
    assert keep_forecasts(tmp_path, forecast_table(category_forecasts(sales(), as_of=MADE, **SETTINGS))) == 1
    text = (tmp_path / FILE).read_text(encoding="utf-8")
    assert text.startswith(OLD)
    again = kept_forecasts(tmp_path)
    assert again["what"].tolist() == ["sale", "sold price", "month hourly", WHAT]
    assert again["subject"].tolist()[0] == "0012"
