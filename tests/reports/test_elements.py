"""Tables, cautions and headlines: what they say, how they line up, what they escape."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from flipkit.reports.elements import caution, headline, table, table_html

FRAME = pd.DataFrame(
    {
        "category": ["table lamps", "films"],
        "net_cents": pd.array([123456, -320], dtype="Int64"),
        "rate_ppm": [132_500, 0],
        "owner_min": [92.4, float("nan")],
        "sold": [12, 3],
        "listed_on": pd.to_datetime(["2026-10-03", None]),
        "whole": [True, False],
    }
)


def lines(element):
    return [line.split("  ") for line in str(element).splitlines()]


def test_units_come_from_the_names_of_the_columns():
    text = str(table(FRAME))
    assert text.splitlines()[0].split("  ")[0] == "Category"
    assert "Net ($)" in text
    assert "Rate (%)" in text
    assert "Owner (min)" in text


def test_each_kind_of_value_is_written_its_own_way():
    text = str(table(FRAME))
    for written in ("1,234.56", "−3.20", "13.25", "92", "–", "3 Oct 2026", "yes", "no"):
        assert written in text


def test_a_figure_has_no_sign_of_the_currency_in_its_cell():
    assert "$1" not in table(FRAME).html
    assert "Net (€)" in table(FRAME, currency="EUR").html


def test_headings_choose_and_order_the_columns():
    element = table(FRAME, headings={"sold": "Sold", "category": "Kind"})
    assert str(element).splitlines()[0].split() == ["Sold", "Kind"]
    assert "1,234.56" not in str(element)


def test_money_has_its_sign_in_the_heading_whoever_chose_the_words():
    def first(**more):
        return str(table(FRAME, currency="EUR", **more)).splitlines()[0]

    assert first(headings={"net_cents": "It left"}) == "It left (€)"
    assert first(headings={"net_cents": "It left (€)"}) == "It left (€)"
    # A format of its own shows the sign in the cell, or needs none.
    assert first(headings={"net_cents": "It left"}, formats={"net_cents": str}) == "It left"
    assert str(table(pd.DataFrame({"hourly": [21.5]}))).splitlines() == ["Per hour ($)", "21.50"]


def test_a_heading_for_a_column_that_is_not_there_is_refused():
    with pytest.raises(KeyError, match=r"got \['price'\]"):
        table(FRAME, headings={"price": "Price"})


def test_columns_of_figures_are_aligned_right_and_words_are_not():
    html = table(FRAME).html
    assert '<th scope="col" class="figure">Net ($)</th>' in html
    assert '<th scope="col" class="short">Category</th>' in html
    assert '<th scope="row" class="short">table lamps</th>' in html


def test_what_comes_from_the_books_is_escaped():
    html = table(pd.DataFrame({"title": ["<b>lamp</b> & 'shade'"]}), caption="A <i>caption</i>").html
    assert "<b>" not in html
    assert "<i>" not in html
    assert "&lt;b&gt;lamp&lt;/b&gt; &amp; &#x27;shade&#x27;" in html


def test_a_folded_table_waits_behind_its_caption():
    html = table(FRAME, caption="Every line", fold=True).html
    assert html.startswith("<details><summary>Every line</summary>")
    assert "table-title" not in html
    assert '<p class="table-title">Every line</p>' in table(FRAME, caption="Every line").html


def test_an_empty_frame_is_a_table_of_headings():
    assert "<tbody></tbody>" in table(FRAME.head(0)).html


def test_formats_decide_for_their_column():
    assert "12 pieces" in str(table(FRAME, formats={"sold": lambda n: f"{n} pieces"}))


@pytest.mark.parametrize(
    ("value", "written"), [(np.int64(1234), "1,234"), (np.float64(-1.5), "−1.50"), (np.bool_(True), "yes")]
)
def test_numbers_of_the_library_are_written_like_python_ones(value, written):
    frame = pd.DataFrame({"a": pd.Series([value], dtype=object)})
    assert str(table(frame)).splitlines()[1] == written


def test_a_caution_is_a_box_and_plain_text():
    box = caution("Two people lift <this>.")
    assert 'class="caution"' in box.html
    assert "&lt;this&gt;" in box.html
    assert str(box) == "Caution: Two people lift <this>."


def test_a_headline_has_its_note_below():
    element = headline("An hour earned $21.", note="Likely $17 to $26.")
    assert element.html.index("An hour") < element.html.index("Likely")
    assert "note" not in headline("An hour earned $21.").html


def test_an_element_shows_as_html_and_as_text():
    bundle = headline("x")._repr_mimebundle_()
    assert set(bundle) == {"text/html", "text/plain"}


@pytest.mark.parametrize("cell", ["$20.56 to $61.90", "−$13.92 to $5.48", "19 of 34", "12 %", "4.2%", "31 days", "–"])
def test_ranges_shares_and_measures_are_figures(cell):
    assert '<td class="figure">' in table_html(["Kind", "Value"], [["a", cell], ["b", "1"]])


def test_a_long_text_may_wrap_and_a_short_one_stays_on_its_line():
    html = table_html(["Item", "Title"], [["R-0955", "Turned walnut bedside lamps, pair, original shade"]])
    assert '<th scope="row" class="short">R-0955</th>' in html
    assert '<td class="long">Turned walnut' in html


def test_measures_show_their_units_in_the_heading():
    frame = pd.DataFrame({"volume_cuft": [12.34], "weight_lb": [3.0], "listed_days": [30.0]})
    assert str(table(frame)).splitlines() == [
        "Volume (cu ft)  Weight (lb)  Listed (days)",
        "12.3            3.0          30",
    ]


def test_a_label_that_looks_like_a_figure_in_one_row_leaves_the_column_as_words():
    html = table_html(["Item"], [["12"], ["lamp 12"]])
    assert "figure" not in html
