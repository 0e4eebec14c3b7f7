"""Forecasts kept and scored: nothing said is unsaid, and the scores are the textbooks'."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest

from flipkit.analysis.forecasts import (
    FILE,
    Forecast,
    faults,
    forecast_table,
    item_outcomes,
    keep_forecasts,
    kept_forecasts,
    score_table,
    scored,
)
from flipkit.errors import AssumptionError, NotEnoughDataError

MADE, DUE = dt.date(2026, 10, 31), dt.date(2026, 11, 30)


def sale(name, chance, category="lamps"):
    return Forecast(MADE, DUE, "sale", name, category, chance=chance)


def price(name, low, middle, high, level=0.8):
    return Forecast(MADE, DUE, "sold price", name, "lamps", low=low, middle=middle, high=high, level=level)


def test_what_was_kept_is_read_back(tmp_path):
    told = forecast_table([sale("0012", 0.25), price("0012", 20.0, 30.0, 35.0)])
    assert keep_forecasts(tmp_path, told) == 2
    again = kept_forecasts(tmp_path)
    pd.testing.assert_frame_equal(again, told, check_dtype=False)
    assert again["subject"].tolist() == ["0012", "0012"]


def test_the_first_word_stands(tmp_path):
    keep_forecasts(tmp_path, forecast_table([sale("a", 0.25)]))
    before = (tmp_path / FILE).read_bytes()
    assert keep_forecasts(tmp_path, forecast_table([sale("a", 0.99)])) == 0
    assert (tmp_path / FILE).read_bytes() == before
    assert keep_forecasts(tmp_path, forecast_table([sale("b", 0.5)])) == 1
    assert kept_forecasts(tmp_path)["chance"].tolist() == [0.25, 0.5]


def test_nothing_kept_is_an_empty_table(tmp_path):
    assert kept_forecasts(tmp_path).empty
    with pytest.raises(NotEnoughDataError, match="at least one"):
        score_table(scored(kept_forecasts(tmp_path), {}, as_of=DUE))


@pytest.mark.worked
def test_brier_scores_and_bias_of_chances():
    told = forecast_table([sale("a", 0.8), sale("b", 0.4), sale("c", 0.6)])
    happened = {("sale", "a", DUE): 1.0, ("sale", "b", DUE): 0.0, ("sale", "c", DUE): 0.0}
    table = score_table(scored(told, happened, as_of=DUE))
    # (.04 + .16 + .36) / 3; said .6 on average, a third happened; base 1/3 * 2/3
    assert table["brier"][0] == pytest.approx(0.56 / 3)
    assert table["bias"][0] == pytest.approx(0.6 - 1 / 3)
    assert table["brier_of_base"][0] == pytest.approx(2 / 9)


@pytest.mark.worked
def test_coverage_and_pinball_losses_of_amounts():
    told = forecast_table([price("a", 20.0, 30.0, 40.0), price("b", 20.0, 30.0, 40.0)])
    happened = {("sold price", "a", DUE): 35.0, ("sold price", "b", DUE): 45.0}
    found = scored(told, happened, as_of=DUE)
    assert found["inside"].tolist() == [1.0, 0.0]
    # a: .1 * 15, .5 * 5, (.9 - 1) * (35 - 40) = 1.5, 2.5, .5; b: 2.5, 7.5, .9 * 5 = 4.5
    assert found["pinball"].tolist() == pytest.approx([4.5 / 3, 14.5 / 3])
    table = score_table(found)
    assert table["coverage"][0] == 0.5
    assert table["level"][0] == pytest.approx(0.8)
    assert table["bias"][0] == pytest.approx(-10)


def test_only_what_has_come_due_is_scored_and_what_did_not_happen_stays_open():
    late = Forecast(DUE, DUE + dt.timedelta(days=30), "sale", "a", "lamps", chance=0.5)
    told = forecast_table([sale("a", 0.5), price("a", 1.0, 2.0, 3.0), late])
    items = pd.DataFrame(
        {"item_id": ["a"], "sold_on": pd.to_datetime([None]), "sold_price_cents": [0], "days_listed": [40.0]}
    )
    found = scored(told, item_outcomes(items, told), as_of=DUE)
    assert found["outcome"].tolist()[0] == 0.0
    assert math.isnan(found["outcome"][1])
    assert len(found) == 2
    table = score_table(found, by="category")
    assert table.set_index("what").loc["sold price", "scored"] == 0


def test_outcomes_are_what_the_books_say_by_the_due_day():
    told = forecast_table([sale("a", 0.5), sale("b", 0.5), price("a", 1.0, 2.0, 3.0), sale("gone", 0.5)])
    items = pd.DataFrame(
        {
            "item_id": ["a", "b"],
            "sold_on": pd.to_datetime(["2026-11-30", "2026-12-01"]),
            "sold_price_cents": [4100, 900],
            "days_listed": [10.0, 11.0],
        }
    )
    found = item_outcomes(items, told)
    assert found == {("sale", "a", DUE): 1.0, ("sale", "b", DUE): 0.0, ("sold price", "a", DUE): 4100.0}


def test_good_chances_score_better_than_the_base_rate():
    random = np.random.default_rng(1)
    chance = random.random(400)
    told = forecast_table([sale(str(at), float(value)) for at, value in enumerate(chance)])
    happened = {("sale", str(at), DUE): float(random.random() < value) for at, value in enumerate(chance)}
    table = score_table(scored(told, happened, as_of=DUE))
    assert table["brier"][0] < 0.8 * table["brier_of_base"][0]
    assert abs(table["bias"][0]) < 3 * table["bias_error"][0]


@pytest.mark.parametrize(
    ("bad", "word"),
    [
        (sale("a", 1.2), "from 0 to 1"),
        (price("a", 5.0, 4.0, 6.0), "low <= middle"),
        (Forecast(DUE, MADE, "sale", "a", "", chance=0.1), "on or after"),
        (Forecast(MADE, DUE, "weather", "a", "", chance=0.1), "one of sale"),
    ],
)
def test_forecasts_that_make_no_sense_are_refused(bad, word):
    with pytest.raises(AssumptionError, match=word):
        forecast_table([bad])


def test_a_file_without_its_columns_is_told(tmp_path):
    (tmp_path / FILE).write_text("made_on,what\n2026-01-01,sale\n", encoding="utf-8")
    with pytest.raises(AssumptionError, match="no due_on"):
        kept_forecasts(tmp_path)


def fates(chances, level=0.95, shift=0.0):
    """Two hundred prices drawn from what their forecasts say, or beside it, and chances that come true or not."""
    random = np.random.default_rng(5)
    told = [sale(str(k), chance) for k, chance in enumerate(chances)]
    told += [price(f"p{k}", -1.959964, 0.0, 1.959964, level) for k in range(200)]
    happened = {("sale", str(k), DUE): float(random.random() < 0.3) for k in range(len(chances))}
    happened |= {("sold price", f"p{k}", DUE): shift + float(random.normal()) for k in range(200)}
    return scored(forecast_table(told), happened, as_of=DUE)


def test_forecasts_that_are_right_are_not_called_faulty():
    assert faults(fates([0.3] * 200), too_few=10) == []


def test_what_is_off_by_more_than_luck_is_called_by_its_name():
    assert [(one.what, one.fault) for one in faults(fates([0.5] * 200), too_few=10)] == [("sale", "too high")]
    (low,) = faults(fates([0.1] * 200), too_few=10)
    assert (low.fault, low.scored) == ("too low", 200)
    assert low.said == pytest.approx(0.1)
    assert 0.2 < low.happened < 0.4
    assert [one.fault for one in faults(fates([0.3] * 200, shift=1.0), too_few=10)] == ["too low", "too narrow"]
    # the same intervals, meant to hold half: they hold 19 of 20
    assert [one.fault for one in faults(fates([0.3] * 200, level=0.5), too_few=10)] == ["too wide"]


def test_few_forecasts_are_not_judged():
    assert faults(fates([0.99] * 9).head(9), too_few=10) == []
    assert faults(kept_forecasts_none(), too_few=10) == []


def kept_forecasts_none():
    return scored(forecast_table([]), {}, as_of=DUE)
