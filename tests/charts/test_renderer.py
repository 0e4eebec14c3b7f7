"""What a chart hands over: a type that JupyterLab draws, a reading, and no number that JSON lacks."""

from __future__ import annotations

import json
import math
import subprocess
import sys

import altair as alt
import pandas as pd
import pytest
import vl_convert

from flipkit.charts.drawing import FIT_KEY
from flipkit.charts.returns import (
    plot_break_even_moves,
    plot_category_returns,
    plot_minutes,
    plot_size_comparison,
    plot_waterfall,
)
from flipkit.charts.stock import plot_days_listed, plot_packing_lessons
from flipkit.charts.style import LAB_WIDTH, MIME_TYPE, PICTURE_TYPE, SCHEMA, TABLE_KEY, described, spec_bundle, wordless
from flipkit.errors import ChartError


def a_chart(value=1.0):
    return alt.Chart(alt.Data(values=[{"a": value}])).mark_point().encode(x="a:Q")


def test_a_chart_shows_under_the_type_that_jupyterlab_draws():
    bundle = described(a_chart(), "One dot at 1.", [])._repr_mimebundle_()
    assert set(bundle) == {MIME_TYPE, PICTURE_TYPE, "text/plain"}
    assert bundle[MIME_TYPE]["$schema"] == SCHEMA
    assert bundle["text/plain"] == "One dot at 1."


def test_a_chart_that_fits_its_place_has_a_width_of_its_own_in_jupyterlab():
    # With "container" there, JupyterLab 4.6 never comes to rest.
    spec = a_chart().properties(width="container")._repr_mimebundle_()[MIME_TYPE]
    assert spec["width"] == LAB_WIDTH
    assert spec["usermeta"] == {FIT_KEY: True}
    assert FIT_KEY not in a_chart().properties(width=300)._repr_mimebundle_()[MIME_TYPE].get("usermeta", {})


def test_the_theme_is_in_the_spec():
    spec = a_chart().to_dict()
    assert "Liberation Sans" in spec["config"]["font"]
    assert spec["config"]["view"]["stroke"] is None


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_a_number_that_json_lacks_is_refused_with_the_chart_named(bad):
    with pytest.raises(ChartError, match="must be finite or missing") as caught:
        spec_bundle({"description": "Net by month.", "data": {"values": [{"a": bad}]}})
    assert "Net by month." in str(caught.value)


def test_rendering_leaves_the_spec_as_it_was():
    spec = {"$schema": "other", "description": "x"}
    spec_bundle(spec)
    assert spec == {"$schema": "other", "description": "x"}


def test_two_renders_are_the_same():
    first, second = (json.dumps(described(a_chart(), "x", [])._repr_mimebundle_()) for _ in range(2))
    assert first == second


def test_described_keeps_what_the_chart_already_carries():
    chart = described(a_chart().properties(usermeta={"margin": 9}), "x", [{"A": "1"}])
    assert chart.to_dict()["usermeta"] == {"margin": 9, TABLE_KEY: [{"A": "1"}]}


def test_words_in_a_charts_place_are_a_valid_chart():
    spec = wordless("Nothing sold yet.").to_dict(validate=True)
    assert spec["description"] == "Nothing sold yet."


def test_importing_charts_skips_the_slow_grammar_and_leaves_nothing_behind():
    code = "import flipkit.charts.style, sys; print('rfc3987_syntax' in sys.modules, 'lark' in sys.modules)"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.split() == ["False", "False"]


def test_the_package_of_charts_does_not_load_the_library_before_a_chart_is_asked_for():
    asked = "print('altair' in sys.modules)"
    code = f"import flipkit.charts, sys; {asked}; flipkit.plot_minutes; {asked}"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.split() == ["False", "True"]


@pytest.mark.parametrize("version", ["5.8", "5.21", "6.4"])
def test_every_chart_draws_with_the_grammar_that_jupyterlab_has_and_with_the_pages(
    version, returns, lines, minutes, sizes, waiting
):
    drawings = [
        plot_category_returns(returns, 25.0),
        plot_waterfall(lines),
        plot_minutes(minutes, group="size_class"),
        plot_size_comparison(sizes),
        plot_days_listed(waiting, median=40.0),
    ]
    least = [5, 4, 4, 6, 2]
    for chart, count in zip(drawings, least, strict=True):
        spec = chart._repr_mimebundle_()[MIME_TYPE]
        svg = vl_convert.vegalite_to_svg(json.dumps(spec), vl_version=version)
        assert svg.count("<path") >= count


def test_every_title_is_its_finding_and_the_line_below_names_the_source(returns, lines, minutes, sizes, waiting, seen):
    source = "Your books, May 2026 to October 2026"
    lessons = pd.DataFrame(
        {"category": ["lamps", "rugs"], "parcels": [9, 3], "trim_cents": [1200, 0], "adjustment_cents": [300, 400],
         "above_cents": 0, "cost_cents": [1500, 400]}
    )  # fmt: skip
    moves = pd.DataFrame(
        {"moved": ["", "wage"], "wage": [16.0, 32.0], "divisor": 0, "claimed": True,
         "price_cents": [15900.0, 16900.0], "low_cents": 13300.0, "high_cents": [21600.0, math.inf]}
    )  # fmt: skip
    one = minutes[minutes["size_class"] == "bulky"].drop(columns="size_class")
    even = pd.DataFrame({"activity": ["find", "clean", "pack", "post", "write"], "minutes_per_item": 4.0})
    found = {
        "1 of 5 earned more than $25 an hour for sure": plot_category_returns(returns, 25.0, source=source),
        "None of 1 made money for sure": plot_category_returns(returns.tail(1), None, source=source),
        # 612.33 of the 703.33 that went out
        "Of $4,120 that came in, $3,417 is left: labels took most of the rest": plot_waterfall(lines, source=source),
        "Bulky takes the most minutes each (55), small the fewest (22)": plot_minutes(
            minutes, group="size_class", source=source
        ),
        "Each takes 55 minutes of your work, mostly packing (44) and finding (11)": plot_minutes(one, source=source),
        # 8 of 20 minutes are no "mostly"
        "Each takes 20 minutes of your work: the largest parts are finding (4) and cleaning (4)": plot_minutes(
            even, source=source
        ),
        "Net per hour of your own work: $31 for small things, $14 for bulky": plot_size_comparison(
            sizes, source=source
        ),
        "Half had sold after 40 days": plot_days_listed(waiting, median=40.0, source=source),
        "Half have not sold yet": plot_days_listed(waiting, source=source),
        "Bulky beats the average small item from $159; with one change, from $159 to $169": plot_break_even_moves(
            moves, source=source
        ),
        "Parcels cost $19 more than they had to, lamps the most ($15)": plot_packing_lessons(lessons, source=source),
    }
    told = {title: seen(chart).spec["title"] for title, chart in found.items()}
    assert [title["text"] for title in told.values()] == list(found)
    assert all(title["subtitle"].endswith(f". {source}.") for title in told.values())
