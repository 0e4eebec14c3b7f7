"""Curves of groups that wait: a few a panel, the counts beneath in the curves' colours."""

from __future__ import annotations

import json
import math

import pandas as pd
import pytest

from flipkit.charts.stock import plot_waiting
from flipkit.errors import ChartError


def frames(names):
    curves = pd.concat(
        [
            pd.DataFrame(
                {
                    "group": name,
                    "days": [0.0, 10.0 + k, 80.0],
                    "unsold_share": [1.0, 0.6, 0.25],
                    "low": [1.0, 0.5, math.nan],
                    "high": [1.0, 0.7, math.nan],
                }
            )
            for k, name in enumerate(names)
        ],
        ignore_index=True,
    )
    counts = pd.DataFrame(
        [(name, day, n) for name in names for day, n in ((0.0, 40), (40.0, 12), (80.0, 3))],
        columns=["group", "days", "at_risk"],
    )
    return curves, counts


def drawn(names):
    return plot_waiting(*frames(names), title="How long things wait", subtitle="")


def test_twelve_groups_are_three_panels_of_four_and_five_are_two(seen):
    assert len(seen(drawn([f"kind {k}" for k in range(12)])).spec["vconcat"]) == 6
    five = seen(drawn([f"kind {k}" for k in range(5)])).spec["vconcat"]
    assert [len({row["group"] for row in part["data"]["values"]}) for part in five[1::2]] == [3, 2]


def test_the_counts_stand_beneath_their_own_curves(seen):
    chart = seen(drawn(["lamps", "mugs"]))
    (encoding, rows), *_ = chart.marks("text")
    assert [(row["group"], row["days"], row["at_risk"]) for row in rows][:3] == [
        ("lamps", 0, 40), ("lamps", 40, 12), ("lamps", 80, 3),
    ]  # fmt: skip
    (line, _), *_ = chart.marks("line")
    assert encoding["x"]["scale"] == line["x"]["scale"]
    assert line["x"]["axis"]["values"] == [0, 40, 80]
    named = {rule["test"]: rule["value"] for rule in encoding["y"]["axis"]["labelColor"]["condition"]}
    scale = line["color"]["scale"]
    assert list(named.values()) == scale["range"]
    assert all(name in test for name, test in zip(scale["domain"], named, strict=True))


def test_a_band_stands_only_where_it_is_known(seen):
    chart = seen(drawn(["lamps"]))
    ((_, rows),) = chart.marks("area")
    assert [(row["low"] is None, row["high"] is None) for row in rows] == [(False, False)] * 2 + [(True, True)]
    band = chart.spec["vconcat"][0]["layer"][0]
    assert band["mark"]["type"] == "area"
    assert band["transform"] == [{"filter": "isValid(datum.low) && isValid(datum.high)"}]


def test_the_curves_of_a_panel_are_written_once(seen):
    text = json.dumps(seen(drawn(["lamps"])).spec)
    assert text.count('"unsold_share": 0.6') == 1


def test_the_reading_and_the_table_say_how_each_stood(seen):
    chart = seen(drawn(["lamps", "mugs"]))
    assert chart.reading == (
        "Still unsold: lamps 60% after 40 days and 25% after 80 days; mugs 60% after 40 days and 25% after 80 days."
    )
    assert chart.numbers[1] == {
        "Group": "lamps", "Days": "40", "Still unsold": "60%", "From": "50%", "To": "70%", "Waited so long": "12",
    }  # fmt: skip
    assert chart.numbers[2]["From"] == "–"


def test_a_group_that_nothing_waited_for_so_long_is_told_no_further(seen):
    curves, counts = frames(["lamps"])
    counts.loc[counts["days"] == 80, "at_risk"] = 0
    chart = seen(plot_waiting(curves, counts, title="", subtitle=""))
    assert chart.reading == "Still unsold: lamps 60% after 40 days."


def test_nothing_listed_is_said_and_a_missing_column_is_named(seen):
    curves, counts = frames(["lamps"])
    assert seen(plot_waiting(curves.head(0), counts.head(0), title="", subtitle="")).reading == (
        "Nothing has been listed yet."
    )
    with pytest.raises(ChartError, match="it lacks unsold_share"):
        plot_waiting(curves.drop(columns="unsold_share"), counts, title="", subtitle="")
