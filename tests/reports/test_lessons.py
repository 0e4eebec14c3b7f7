"""Packing lessons in words, in a table, and in a shop that has none."""

from __future__ import annotations

import dataclasses

import pytest

from flipkit.charts.stock import plot_packing_lessons
from flipkit.money import show_cents
from flipkit.reports.packing_review import packing_lessons
from flipkit.reports.study import open_study
from tests.helpers.small_books import write_books


@pytest.fixture(scope="module")
def lessons():
    return packing_lessons(open_study())


def test_the_sentence_and_the_note_state_the_numbers(lessons):
    trims = lessons.frame[lessons.frame["trim_cents"] > 0]
    assert f"Of {len(lessons.frame)} parcels" in lessons.sentence()
    assert f"{show_cents(int(trims['trim_cents'].sum()))} together" in lessons.sentence()
    later = lessons.frame.loc[lessons.frame["adjustment_cents"] > 0, "adjustment_cents"]
    assert f"{show_cents(int(later.sum()))} later on {len(later)} parcels" in lessons.note()
    assert f"{lessons.shipped - len(lessons.frame)} parcels without" in lessons.note()


def test_the_table_holds_the_ten_most_costly_and_says_what_to_do(lessons):
    text = lessons.table().text
    dearest = lessons.frame.sort_values("cost_cents", ascending=False).iloc[0]
    lines = text.splitlines()
    assert lines[0] == f"The 10 most costly of {int((lessons.frame['cost_cents'] > 0).sum())} parcels"
    assert len(lines) == 12
    assert lines[2].startswith(str(dearest["title"]))
    assert all(" in, not " in line or "measure and weigh" in line for line in lines[2:])


def test_a_dearer_label_has_its_own_advice(lessons):
    frame = lessons.frame.assign(above_cents=0)
    name = frame.index[0]
    frame.loc[name, ["above_cents", "cost_cents"]] = 99_999
    dear = dataclasses.replace(lessons, frame=frame)
    assert "compare the cards" in dear.table().text.splitlines()[2]
    assert "Billed above" in dear.table().text
    assert "Billed above" not in lessons.table().text
    assert "1 label cost $999.99 more" in dear.note()


def test_a_knife_and_a_heavy_parcel_come_with_their_cautions(lessons):
    assert "away from the body" in lessons.cautions().text
    assert "two people" in lessons.cautions().text
    light = dataclasses.replace(lessons, frame=lessons.frame[lessons.frame["weight_lb"] < 10])
    assert "two people" not in light.cautions().text


def test_the_chart_has_a_bar_for_each_category_that_cost_something(lessons):
    chart = plot_packing_lessons(lessons.totals)
    reading = chart.to_dict()["description"]
    for row in lessons.totals.to_dict("records"):
        shown = f"{row['category']} {show_cents(int(row['cost_cents']))} over {row['parcels']} parcels".lower()
        assert (shown in reading.lower()) == (row["cost_cents"] > 0)


def test_parcels_that_cost_no_more_than_they_had_to_are_said_to(lessons):
    fair = lessons.frame.assign(trim_cents=0, adjustment_cents=0, above_cents=0, cost_cents=0)
    good = dataclasses.replace(lessons, frame=fair)
    assert "none stood so close above a step" in good.sentence()
    assert good.note().startswith("No label cost more than the rules ask for the measures entered. No carrier took")
    assert good.table().text == "No parcel cost more than it had to."
    totals = lessons.totals.assign(trim_cents=0, adjustment_cents=0, cost_cents=0)
    assert "No parcel cost more" in plot_packing_lessons(totals).to_dict()["description"]


def test_a_shop_without_a_sale_says_so(tmp_path):
    books = write_books(tmp_path / "books", items="item_id,title,category,bought_on,cost\nA,Jug,x,2026-01-03,1")
    lessons = packing_lessons(open_study(books))
    assert lessons.sentence().startswith("No parcel of these months can be weighed again")
    assert lessons.note() == ""
    assert lessons.table().text == "No parcel with measures to show."
    assert lessons.totals_table().text == "No category has a parcel with measures."
    assert "two people" not in lessons.cautions().text
    assert "No parcel with measures" in plot_packing_lessons(lessons.totals).to_dict()["description"]
