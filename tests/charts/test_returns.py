"""Hourly returns as dots: each row drawn as it is, its interval only where one is claimed."""

from __future__ import annotations

import pandas as pd
import pytest

from flipkit.analysis.returns import LIKELY, TOO_FEW, chance_verdict, hourly_verdict
from flipkit.charts import style
from flipkit.charts.returns import _return_phrase, plot_category_returns, plot_price_bands
from flipkit.charts.style import TONES, tone
from flipkit.errors import ChartError


def data(seen):
    return {row["name"]: row for _, values in seen.marks("point") for row in values if "name" in row}


def test_each_row_is_drawn_as_it_came(returns, seen):
    rows = data(seen(plot_category_returns(returns, 25.0)))
    assert list(rows) == returns["category"].tolist()
    row = rows["stoneware"]
    assert (row["value"], row["low"], row["high"]) == (41.3, 33.1, 50.2)
    assert (row["text"], row["count"], row["role"]) == ("$41", "38", "above")


def test_dots_and_intervals_are_encoded_by_position(returns, seen):
    chart = seen(plot_category_returns(returns, 25.0))
    (dots, _), *_ = chart.marks("point")
    assert dots["x"]["field"] == "value"
    assert dots["y"]["field"] == "row"
    bars = [encoding for encoding, _ in chart.marks("rule") if "x2" in encoding]
    assert [(bar["x"]["field"], bar["x2"]["field"]) for bar in bars] == [("low", "high")]


def test_rows_keep_the_frames_order(returns, seen):
    chart = seen(plot_category_returns(returns.iloc[::-1], 25.0))
    (dots, _), *_ = chart.marks("point")
    assert [label.replace("\n", " ") for label in dots["y"]["sort"]] == returns["category"].tolist()[::-1]


def test_where_no_interval_is_claimed_none_is_drawn_and_the_words_say_so(returns, seen):
    row = data(seen(plot_category_returns(returns, 25.0)))["wool blankets"]
    assert (row["low"], row["high"], row["text"], row["role"]) == (None, None, "too few to tell", "unsure")


def test_an_interval_in_the_frame_is_not_drawn_for_too_few(returns, seen):
    frame = returns.assign(low=1.0, high=99.0)
    row = data(seen(plot_category_returns(frame, 25.0)))["wool blankets"]
    assert (row["low"], row["high"]) == (None, None)


def test_the_target_is_a_line_with_its_own_label(returns, seen):
    chart = seen(plot_category_returns(returns, 25.0))
    goals = [(e, v) for e, v in chart.marks("rule") if v == [{"value": 25.0}]]
    assert len(goals) == 1
    axis = goals[0][0]["x"]["axis"]
    assert (axis["values"], axis["labelExpr"], axis["orient"]) == ([25.0], "'target $25'", "top")


def test_without_a_target_there_is_no_line(returns, seen):
    frame = returns.assign(verdict=["makes money", "may make or lose money", "loses money", *["too few to tell"] * 2])
    chart = seen(plot_category_returns(frame, None))
    assert "target" not in chart.text


def test_units_are_on_the_axis_and_counts_at_the_row_ends(returns, seen):
    chart = seen(plot_category_returns(returns, 25.0, currency="EUR"))
    assert "net per hour of your own work" in chart.titles()
    assert "sold" in chart.titles()
    assert "'€'" in chart.text
    assert '\\"stoneware\\": \\"38\\"' in chart.text


def test_colours_follow_the_verdict(returns, seen):
    chart = seen(plot_category_returns(returns, 25.0))
    (dots, _), *_ = chart.marks("point")
    scale = dict(zip(dots["color"]["scale"]["domain"], dots["color"]["scale"]["range"], strict=True))
    assert scale == {role: style.color(role) for role in ("above", "below", "ink", "unsure")}
    assert dots["color"]["legend"] is None


def test_the_reading_says_every_row(returns, seen):
    assert seen(plot_category_returns(returns, 25.0)).reading == (
        "Above the target of $25 an hour: stoneware $41 ($33 to $50, 38 sold). "
        "May be above or below the target of $25 an hour: film cameras and lenses $28 ($20 to $38, 52 sold). "
        "Below the target of $25 an hour: folding chairs −$4 (−$12 to $6, 23 sold). "
        "Too few to tell: wool blankets (4 sold) and gifts (no hours recorded, 2 sold)."
    )


def test_the_confidence_is_said(returns, seen):
    assert "(90% interval)" in seen(plot_category_returns(returns, 25.0, confidence=0.9)).text
    assert "% interval" not in seen(plot_category_returns(returns, 25.0)).text


def test_nothing_sold_is_words(returns, seen):
    chart = seen(plot_category_returns(returns.head(0), 25.0))
    assert chart.reading == "Nothing sold yet, so there is no hour to value."
    assert chart.spec["usermeta"] == {"wordless": True}


def test_a_missing_column_is_named(returns):
    with pytest.raises(ChartError, match="it lacks low, verdict") as caught:
        plot_category_returns(returns.drop(columns=["low", "verdict"]), 25.0)
    assert "plot_category_returns" in str(caught.value)


def test_a_verdict_that_is_not_known_is_an_error_and_not_a_grey_dot(returns):
    with pytest.raises(ChartError, match="got 'splendid'"):
        plot_category_returns(returns.assign(verdict="splendid"), 25.0)


def test_an_infinite_return_is_refused(returns):
    with pytest.raises(ChartError, match="finite or missing"):
        plot_category_returns(returns.assign(hourly=float("inf")), 25.0)


def test_two_rows_of_one_name_are_refused(returns):
    with pytest.raises(ChartError, match="different names"):
        plot_category_returns(pd.concat([returns, returns]), 25.0)


def test_long_names_that_are_cut_alike_stay_two_rows(returns, seen):
    long = "the very longest category name that any seller would ever think of writing down"
    frame = returns.head(2).assign(category=[f"{long} one", f"{long} two"])
    (dots, _), *_ = seen(plot_category_returns(frame, 25.0)).marks("point")
    assert len(set(dots["y"]["sort"])) == 2


@pytest.mark.parametrize("name", ['6" shells', "it's", "back\\slash", "Kaffee & Küche", "</script>", "{x}"])
def test_any_name_can_be_a_row(returns, seen, name):
    chart = seen(plot_category_returns(returns.head(1).assign(category=name), 25.0))
    assert f": {name} $" in chart.reading


def test_every_verdict_of_the_analysis_has_its_colour():
    verdicts = {
        hourly_verdict(low, high, claimed=claimed, target=target)
        for low, high in [(1.0, 2.0), (-2.0, -1.0), (-1.0, 1.0)]
        for claimed in (True, False)
        for target in (None, 0.0)
    }
    verdicts |= {chance_verdict(chance, claimed=True) for chance in (0.0, 0.1, 0.5, LIKELY, 1.0)}
    assert {tone(verdict) for verdict in verdicts} == {"above", "below", "ink", "unsure"}
    assert verdicts == set(TONES)


@pytest.fixture
def bands():
    rows = [
        (0, 5000, "small", 120, 14.0, 9.0, 20.0, "below the target"),
        (0, 5000, "bulky", 12, 4.0, -5.0, 13.0, "below the target"),
        (5000, None, "small", 22, 38.0, 31.0, 45.0, "above the target"),
    ]
    columns = ["from_cents", "below_cents", "size_class", "items", "hourly", "low", "high", "verdict"]
    return pd.DataFrame(rows, columns=columns)


def test_price_bands_are_named_by_their_edges(bands, seen):
    assert list(data(seen(plot_price_bands(bands, 25.0)))) == [
        "under $50: small",
        "under $50: bulky",
        "$50 and over: small",
    ]


def test_a_band_between_two_edges_has_both(bands, seen):
    frame = bands.assign(below_cents=[5000, 5000, 12000])
    assert "$50 to $120: small" in data(seen(plot_price_bands(frame, 25.0)))


def test_no_price_band_is_words(bands, seen):
    assert "Nothing sold yet" in seen(plot_price_bands(bands.head(0), 25.0)).reading


def test_without_a_single_interval_none_is_drawn_and_the_rows_keep_their_names(returns, seen):
    frame = returns.assign(low=float("nan"), high=float("nan"), verdict="too few to tell")
    chart = seen(plot_category_returns(frame, 25.0))
    assert not [encoding for encoding, _ in chart.marks("rule") if encoding.get("x", {}).get("field") == "low"]
    (dots, rows), *_ = chart.marks("point")
    assert dots["y"]["axis"]["labelExpr"]
    assert len(rows) == len(frame)


def test_a_month_without_a_sale_is_not_said_to_lack_hours():
    row = {"items": 0, "hourly": None, "low": None, "high": None, "verdict": TOO_FEW}
    assert _return_phrase("May 2026", row, "items", "USD") == "May 2026 (0 items)"
    assert _return_phrase("May 2026", {**row, "items": 2}, "items", "USD") == "May 2026 (no hours recorded, 2 items)"
