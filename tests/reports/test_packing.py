"""Packing lessons in words, in a table, and in a shop that has none."""

from __future__ import annotations

import dataclasses

import pytest

from flipkit.analysis.packing_review import lesson_totals
from flipkit.charts.stock import plot_packing_lessons
from flipkit.charts.style import money
from flipkit.money import show_cents
from flipkit.reports.packing import packing_page
from flipkit.reports.study import open_study
from tests.helpers.small_books import write_books


@pytest.fixture(scope="module")
def lessons(demo_study):
    return packing_page(demo_study)


def test_the_answer_and_what_to_do_state_the_numbers(lessons):
    trims = lessons.frame.loc[lessons.frame["trim_cents"] > 0, "trim_cents"]
    answer, to_do = lessons.answer().text, lessons.to_do().text
    assert f"{len(trims)} of {len(lessons.frame)} boxes were an inch or less too big. That cost" in answer
    assert f"That cost {money(trims.sum())}, about {money(trims.median())} or less for half of them." in answer
    later = lessons.frame.loc[lessons.frame["adjustment_cents"] > 0, "adjustment_cents"]
    assert f"charged {money(later.sum())} more on {len(later)} boxes" in to_do
    assert f"{lessons.shipped - len(lessons.frame)} more boxes can't be judged" in answer
    # What is still bought comes first: its next boxes can be smaller.
    bought = lessons.totals[~lessons.totals["category"].isin(lessons.to_leave)]
    dearest = bought.sort_values("trim_cents").iloc[-1]
    assert to_do.splitlines()[1].startswith(f"- For {dearest['category']}")
    assert f"{money(dearest['trim_cents'])} ({dearest['trims']} of {dearest['parcels']} boxes)" in to_do


def test_the_boxes_of_a_kind_to_leave_matter_only_for_what_is_still_held(lessons):
    advised = [line for line in lessons.to_do().text.splitlines() if "use a box" in line]
    left = [line for line in advised if ", if you still ship what you hold, use a box" in line]
    assert (len(advised), len(left)) == (2, 1)
    for one in open_study().decisions:
        for line in advised:
            assert one.category not in line or (one.verdict == "leave") == (line in left)
    alike = dataclasses.replace(lessons, to_leave=frozenset()).to_do().text
    assert "still ship" not in alike


def test_the_table_holds_the_ten_most_costly_and_says_what_to_do(lessons):
    text = lessons.dearest().text
    dearest = lessons.frame.sort_values("cost_cents", ascending=False).iloc[0]
    lines = text.splitlines()
    assert (
        lines[0]
        == f"The 10 most costly of {int((lessons.frame['cost_cents'] > 0).sum())} boxes, too big or charged more later"
    )
    assert len(lines) == 12
    assert lines[2].startswith(str(dearest["title"]))
    assert all(" in, not " in line or "measure and weigh" in line for line in lines[2:])


def test_a_dearer_label_has_its_own_advice(lessons):
    frame = lessons.frame.assign(above_cents=0)
    name = frame.index[0]
    frame.loc[name, ["above_cents", "cost_cents"]] = 99_999
    dear = dataclasses.replace(lessons, frame=frame)
    assert "compare the cards" in dear.dearest().text.splitlines()[2]
    assert "1 label cost $1,000 more" in dear.to_do().text
    assert "overbilled" not in lessons.by_category().text
    assert "overbilled" in dataclasses.replace(dear, totals=lesson_totals(frame)).by_category().text


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
    totals = lessons.totals.assign(trims=0, trim_cents=0, adjustment_cents=0, cost_cents=0)
    good = dataclasses.replace(lessons, frame=fair, totals=totals)
    assert "none was just too big" in good.answer().text
    assert good.to_do().html == good.dearest().html == ""
    assert "No parcel cost more" in plot_packing_lessons(totals).to_dict()["description"]


def test_a_shop_without_a_sale_says_so(tmp_path):
    books = write_books(tmp_path / "books", items="item_id,title,category,bought_on,cost\nA,Jug,x,2026-01-03,1")
    lessons = packing_page(open_study(books))
    assert lessons.answer().text.startswith("No box can be judged")
    assert lessons.to_do().html == lessons.dearest().html == lessons.by_category().html == ""
    assert "two people" not in lessons.cautions().text
    assert "No parcel with measures" in plot_packing_lessons(lessons.totals).to_dict()["description"]
