"""What a chart hands over: a type that JupyterLab draws, a reading, and no number that JSON lacks."""

from __future__ import annotations

import json
import subprocess
import sys

import altair as alt
import pytest

from flipkit.charts import renderer
from flipkit.charts.renderer import MIME_TYPE, SCHEMA, TABLE_KEY, described, render_bundle, wordless
from flipkit.errors import ChartError


def a_chart(value=1.0):
    return alt.Chart(alt.Data(values=[{"a": value}])).mark_point().encode(x="a:Q")


def test_a_chart_shows_under_the_type_that_jupyterlab_draws():
    bundle = described(a_chart(), "One dot at 1.", [])._repr_mimebundle_()
    assert set(bundle) == {MIME_TYPE, "text/plain"}
    assert bundle[MIME_TYPE]["$schema"] == SCHEMA
    assert bundle["text/plain"] == "One dot at 1."


def test_the_theme_is_in_the_spec():
    spec = a_chart().to_dict()
    assert "system-ui" in spec["config"]["font"]
    assert spec["config"]["view"]["stroke"] is None


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_a_number_that_json_lacks_is_refused_with_the_chart_named(bad):
    with pytest.raises(ChartError, match="must be finite or missing") as caught:
        render_bundle({"description": "Net by month.", "data": {"values": [{"a": bad}]}})
    assert "Net by month." in str(caught.value)


def test_rendering_leaves_the_spec_as_it_was():
    spec = {"$schema": "other", "description": "x"}
    render_bundle(spec)
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


def test_importing_charts_skips_the_slow_grammar():
    code = "import flipkit.charts.renderer, sys; print(sys.modules['rfc3987_syntax'])"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "None"


def test_the_package_of_charts_does_not_load_the_library_before_a_chart_is_asked_for():
    asked = "print('altair' in sys.modules)"
    code = f"import flipkit.charts, sys; {asked}; flipkit.charts.plot_months; {asked}"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.split() == ["False", "True"]


def test_the_spec_holds_nothing_that_only_the_later_grammar_has():
    # JupyterLab draws with the grammar's version 5; its schema comes with the library altair carries,
    # so what is checked is the list of words that version 6 brought.
    later = {"break-paths-show-path-domains", "break-paths-show-domains", "break-paths-filter-domains"}
    assert not later & set(json.dumps(a_chart().to_dict()).split('"'))
    assert renderer.SCHEMA.endswith("/v5.json")
