"""What makes every figure doubtful stands at the headline, and beside the verdicts."""

from __future__ import annotations

import datetime as dt

import pytest

from flipkit.reports.category import Category
from flipkit.reports.sentences import doubts, month_sentence
from flipkit.reports.study import open_study
from flipkit.reports.this_month import ThisMonth

HEAD = "item_id,title,category,bought_on,cost,listed_on,list_price,sold_on,sold_price"
HEAD += ",length_in,width_in,height_in,weight_lb"
AS_OF = dt.date(2026, 10, 31)


def shop(folder, *, cost="5", unsold=True, measured=True, logged=True, rest="jugs"):
    """Sixty things, every third unsold where asked."""
    rows = []
    for n in range(60):
        left = unsold and n % 3 == 0
        sale = "," if left else f"2026-10-{n % 27 + 1:02},{30 + n % 30}"
        name = (rest if left else "lamps") if rest != "jugs" else "lamps" if n % 2 else "jugs"
        sides = "9,9,9,3" if measured else ",,,"
        rows.append(f"A{n},thing {n},{name},2026-0{n % 6 + 3}-{n % 7 + 1:02},{cost},2026-09-10,40,{sale},{sides}")
    folder.mkdir(exist_ok=True)
    (folder / "items.csv").write_text("\n".join([HEAD, *rows]) + "\n", encoding="utf-8")
    if logged:
        lines = ["date,activity,minutes,worker,item_id", "2026-09-12,photograph,12,me,A1"]
        (folder / "work.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return open_study(folder, month="2026-10", as_of=AS_OF)


CASES = {
    "Everything in these books sold": {"unsold": False},
    "Everything cost 0": {"cost": "0"},
    "No work is logged": {"logged": False},
    "No parcel was measured": {"measured": False},
    "Everything unsold is called leftovers": {"rest": "leftovers"},
    "Everything unsold is called unsorted": {"rest": ""},
}


@pytest.mark.parametrize("begins", CASES)
def test_each_doubt_stands_at_the_headline_and_beside_the_verdicts(tmp_path, begins):
    study = shop(tmp_path / "books", **CASES[begins])
    told = doubts(study)
    assert len(told) == 1
    assert told[0].startswith(begins)
    assert month_sentence(study)[1].count(told[0]) == 1
    assert told[0] in Category(study, "lamps").answer().text
    beside = ThisMonth(study).verdicts()
    assert told[0] in beside.text
    assert 'class="caution"' in beside.html


def test_blank_categories_are_a_group_of_their_own_and_no_row_is_lost(tmp_path):
    study = shop(tmp_path / "books", rest="")
    assert study.items["category"].value_counts().to_dict() == {"lamps": 40, "unsorted": 20}
    assert [str(note) for note in study.books.notes if note.column == "category"] == [
        "items.csv row 2, column category: blank in 20 of 60 rows. Expected a category such as stoneware: until filled "
        "in, they count as unsorted"
    ]
    claimed = study.bought_returns.set_index("category")["claimed"]
    assert not claimed["unsorted"]


def test_books_that_hold_what_they_should_draw_no_doubt(tmp_path):
    study = shop(tmp_path / "books")
    assert doubts(study) == []
    assert "caution" not in ThisMonth(study).verdicts().html


def test_free_finds_beside_paid_ones_and_unknown_costs_are_no_doubt(tmp_path):
    assert not [one for one in doubts(shop(tmp_path / "blank", cost="")) if "cost" in one]
