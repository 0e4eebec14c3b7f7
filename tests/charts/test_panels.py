"""Sizes and days listed: small panels and steps, units in their headings."""

from __future__ import annotations

import math

import pytest

from flipkit.charts.returns import plot_size_comparison
from flipkit.charts.stock import plot_days_listed
from flipkit.errors import ChartError


def headings(seen):
    return [panel["title"]["text"] for panel in seen.spec["vconcat"]]


def panel(seen, heading):
    return next(part for part in seen.spec["vconcat"] if part["title"]["text"] == heading)


def values(seen, heading):
    return next(v for _, _, v in seen.layers(panel(seen, heading)) if len(v) > 1)


def test_sizes_have_a_panel_for_each_measure_that_is_there(sizes, seen):
    assert headings(seen(plot_size_comparison(sizes))) == [
        "net per hour of your own work",
        "net per sale",
        "days until half have sold",
    ]


def test_a_size_is_drawn_as_it_came(sizes, seen):
    rows = values(seen(plot_size_comparison(sizes)), "net per hour of your own work")
    assert [(r["size"], r["value"], r["low"], r["high"]) for r in rows] == [
        ("small", 31.0, 27.0, 36.0),
        ("bulky", 14.0, 6.0, 22.0),
        ("oversize", 8.0, None, None),
    ]
    assert [r["role"] for r in rows] == ["above", "below", "unsure"]


def test_estimates_are_dots_with_intervals_and_amounts_are_bars(sizes, seen):
    chart = seen(plot_size_comparison(sizes))
    kinds = {heading: {mark for mark, _, _ in chart.layers(panel(chart, heading))} for heading in headings(chart)}
    assert "bar" not in kinds["net per hour of your own work"]
    assert "bar" in kinds["net per sale"]
    rules = [e for m, e, _ in chart.layers(panel(chart, "net per hour of your own work")) if m == "rule" and "x2" in e]
    assert [(e["x"]["field"], e["x2"]["field"]) for e in rules] == [("low", "high")]


def test_a_median_that_is_not_reached_says_so(sizes, seen):
    chart = seen(plot_size_comparison(sizes))
    assert "oversize not reached" in chart.reading


def test_an_interval_open_at_one_end_is_not_given_a_number(sizes, seen):
    assert "small 31 days (27 days to 37 days), bulky 71 days, " in seen(plot_size_comparison(sizes)).reading


def test_too_few_are_not_given_a_figure(sizes, seen):
    chart = seen(plot_size_comparison(sizes))
    assert "oversize too few to tell" in chart.reading


def test_panels_share_their_width_and_tell_what_their_axes_take(sizes, seen):
    spec = seen(plot_size_comparison(sizes)).spec
    assert len({part["width"] for part in spec["vconcat"]}) == 1
    assert spec["usermeta"]["margin"] > 0


def test_no_size_is_words(sizes, seen):
    assert "Nothing sold yet" in seen(plot_size_comparison(sizes.head(0))).reading


def test_waiting_begins_with_everything_unsold_and_falls_in_steps(waiting, seen):
    chart = seen(plot_days_listed(waiting))
    ((line, rows),) = chart.marks("line")
    assert [(row["days"], row["unsold"]) for row in rows] == [
        (0.0, 1.0),
        (5.0, 0.9),
        (20.0, 0.6),
        (40.0, 0.5),
        (100.0, 0.3),
    ]
    assert (line["x"]["field"], line["y"]["field"]) == ("days", "unsold")
    assert line["y"]["scale"]["domain"] == [0, 1]
    assert '"interpolate": "step-after"' in chart.text


def test_the_band_is_drawn_where_it_is_known(waiting, seen):
    ((band, rows),) = seen(plot_days_listed(waiting)).marks("area")
    assert (band["y"]["field"], band["y2"]["field"]) == ("low", "high")
    assert (rows[-1]["low"], rows[-1]["high"]) == (None, None)


def test_the_median_is_marked_where_it_is_reached(waiting, seen):
    chart = seen(plot_days_listed(waiting, median=40.0))
    ((_, rows),) = chart.marks("point")
    assert rows == [{"days": 40.0, "unsold": 0.5, "text": "half sold after 40 days"}]
    assert seen(plot_days_listed(waiting, median=math.nan)).marks("point") == []


def test_the_reading_of_waiting_counts_and_says_how_it_stood(waiting, seen):
    assert seen(plot_days_listed(waiting, median=40.0)).reading == (
        "Of 40 items listed, half had sold after 40 days. Still unsold: 60% after 30 days and 50% after 90 days."
    )
    assert "half have not sold yet" in seen(plot_days_listed(waiting)).reading


def test_nothing_listed_is_words(waiting, seen):
    assert seen(plot_days_listed(waiting.head(0))).reading == "Nothing has been listed yet."


@pytest.mark.parametrize(
    ("plot", "frame"),
    [(plot_size_comparison, "sizes"), (plot_days_listed, "waiting")],
)
def test_a_missing_column_is_named(plot, frame, request):
    given = request.getfixturevalue(frame)
    with pytest.raises(ChartError, match=f"the frame of {plot.__name__}") as caught:
        plot(given.drop(columns=given.columns[0]))
    assert f"it lacks {given.columns[0]}" in str(caught.value)
