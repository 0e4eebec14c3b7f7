"""Waterfall and minutes: bars that begin where the last one ended, and add up."""

from __future__ import annotations

import pandas as pd
import pytest

from flipkit.books.schema import ACTIVITIES
from flipkit.charts import style
from flipkit.charts.returns import PHASES, plot_minutes, plot_waterfall
from flipkit.errors import ChartError


def bars(seen):
    ((encoding, values),) = seen.marks("bar")
    return encoding, values


def test_each_bar_begins_where_the_last_one_ended(lines, seen):
    encoding, rows = bars(seen(plot_waterfall(lines)))
    assert [(row["line"], row["start"], row["end"]) for row in rows] == [
        ("sold price", 0, 412000),
        ("refunds", 412000, 402900),
        ("labels", 402900, 341667),
        ("net", 0, 341667),
    ]
    assert (encoding["x"]["field"], encoding["x2"]["field"], encoding["y"]["field"]) == ("start", "end", "row")


def test_a_line_of_zero_is_not_in_the_picture(lines, seen):
    chart = seen(plot_waterfall(lines))
    assert "protection" not in [row["line"] for row in bars(chart)[1]]


def test_gains_and_costs_have_their_colours(lines, seen):
    encoding, rows = bars(seen(plot_waterfall(lines)))
    assert [row["role"] for row in rows] == ["above", "below", "below", "above"]
    assert encoding["color"]["scale"]["range"] == [style.color("above"), style.color("below")]


def test_a_loss_is_drawn_below_nothing_and_said(lines, seen):
    frame = pd.DataFrame({"line": ["sold price", "labels", "net"], "amount_cents": [1000, -1500, -500]})
    chart = seen(plot_waterfall(frame))
    assert bars(chart)[1][-1]["role"] == "below"
    assert chart.reading == "Of $10.00 sold price, labels took $15.00. The loss is $5.00."


def test_lines_that_do_not_add_up_are_refused_to_the_cent(lines):
    wrong = lines.assign(amount_cents=[412000, -9100, 0, -61233, 341668])
    with pytest.raises(ChartError, match="the lines add up to 341667 cents"):
        plot_waterfall(wrong)


def test_the_figures_at_the_right_are_sums(lines, seen):
    assert '\\"labels\\": \\"−$612\\"' in seen(plot_waterfall(lines)).text


def test_the_reading_takes_the_largest_cost_first(lines, seen):
    assert seen(plot_waterfall(lines)).reading == (
        "Of $4,120.00 sold price, labels took $612.33 and refunds took $91.00. $3,416.67 is left."
    )


def test_no_money_moved_is_words(lines, seen):
    assert seen(plot_waterfall(lines.assign(amount_cents=0))).reading == "No money has moved."
    empty = plot_waterfall(lines.assign(amount_cents=0), nothing="No lamp sold in May.")
    assert seen(empty).reading == "No lamp sold in May."


def test_minutes_are_stacked_in_the_order_of_the_work(minutes, seen):
    encoding, rows = bars(seen(plot_minutes(minutes, group="size_class")))
    assert encoding["x"]["field"] == "minutes"
    assert encoding["x"]["stack"] == "zero"
    assert encoding["order"]["field"] == "place"
    assert [(r["group"], r["activity"], r["minutes"]) for r in rows] == [
        ("small", "find", 9.0),
        ("small", "pack", 12.5),
        ("bulky", "find", 11.0),
        ("bulky", "pack", 44.0),
    ]
    places = {row["activity"]: row["place"] for row in rows}
    assert places["find"] < places["pack"]


def test_the_axis_says_minutes_and_the_rows_their_totals(minutes, seen):
    chart = seen(plot_minutes(minutes, group="size_class"))
    assert {"minutes per item", "min"} <= chart.titles()
    # 9 + 12.5 = 21.5, shown as a whole number; 11 + 44 = 55
    assert '\\"bulky\\": \\"55\\"' in chart.text


def test_every_activity_of_the_books_has_its_phase(seen):
    frame = pd.DataFrame({"activity": list(ACTIVITIES), "minutes_per_item": 1.0})
    _, rows = bars(seen(plot_minutes(frame)))
    assert {row["phase"] for row in rows} == set(PHASES)
    assert sorted(row["place"] for row in rows) == list(range(len(ACTIVITIES)))


def test_four_colours_tell_the_phases_apart(minutes, seen):
    encoding, _ = bars(seen(plot_minutes(minutes, group="size_class")))
    assert encoding["color"]["scale"]["domain"] == list(PHASES)
    assert encoding["color"]["scale"]["range"] == [style.color(f"series_{k}") for k in (1, 2, 3, 4)]


def test_an_unknown_activity_is_refused(minutes):
    with pytest.raises(ChartError, match="got \\['juggle'\\]"):
        plot_minutes(minutes.assign(activity="juggle"))


def test_minutes_below_nothing_are_refused(minutes):
    with pytest.raises(ChartError, match="at least 0, got -1"):
        plot_minutes(minutes.assign(minutes_per_item=-1.0))


def test_minutes_that_are_not_known_are_left_out_and_say_so_in_the_table(minutes, seen):
    frame = minutes.assign(minutes_per_item=[9.0, float("nan"), 11.0, 44.0])
    chart = seen(plot_minutes(frame, group="size_class"))
    assert len(bars(chart)[1]) == 3
    assert chart.numbers[0] == {"Size class": "small", "Finding": "9.0", "Packing": "–", "Total (min)": "9.0"}


def test_no_minutes_are_words(minutes, seen):
    assert seen(plot_minutes(minutes.assign(minutes_per_item=0.0))).reading == "No minutes are known yet."
    assert seen(plot_minutes(minutes.head(0))).reading == "No minutes are known yet."
