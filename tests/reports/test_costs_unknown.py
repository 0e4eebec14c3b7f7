"""A cost that is not known is said at the headline, and where most are not known no profit is."""

from __future__ import annotations

import datetime as dt

import pytest

from flipkit.books.read import read_books
from flipkit.reports.sentences import month_sentence
from flipkit.reports.study import open_study

HEAD = "item_id,title,category,bought_on,cost,listed_on,list_price,sold_on,sold_price,fees_paid,label_paid\n"


def shop(folder, costs):
    rows = [
        f"A{n},lamp {n},lamps,2026-08-0{n + 1},{cost},2026-08-10,40,2026-10-0{n + 1},30,3,5"
        for n, cost in enumerate(costs)
    ]
    (folder / "items.csv").write_text(HEAD + "\n".join(rows) + "\n", encoding="utf-8")
    return open_study(folder, month="2026-10", as_of=dt.date(2026, 10, 31))


@pytest.mark.parametrize(
    ("costs", "words"),
    [
        (["5", "5", "0", "5"], ""),
        (["5", "5", "", "5"], "What 1 item cost is not known and counts as 0, so this is too high."),
        (["5", "", "", ""], "What 3 of 4 cost is not known, so nobody can say what you earned."),
    ],
)
def test_the_headline_says_what_is_not_known(tmp_path, costs, words):
    study = shop(tmp_path, costs)
    sentence, _ = month_sentence(study)
    assert words in str(sentence)
    assert ("not known" in str(sentence)) == bool(words)
    assert ("profit" in str(sentence)) == (costs.count("") < 3)
    told = [line for line in study.left_out if "is not known" in line]
    assert len(told) == (costs.count("") > 0)


def test_a_blank_cost_is_read_and_noted_and_a_zero_is_a_free_find(tmp_path):
    shop(tmp_path, ["", "0"])
    books = read_books(tmp_path)
    assert books.items["cost_cents"].isna().tolist() == [True, False]
    assert any("blank is not known, and 0 is a free find" in str(note) for note in books.notes)


def test_refused_rows_stand_in_the_place_of_nothing_was_left_out(tmp_path):
    study = shop(tmp_path, ["5", "5"])
    assert not [line for line in study.left_out if "could not be taken" in line]
    (tmp_path / "converted").mkdir()
    (tmp_path / "converted" / "not-taken.csv").write_text(
        "file,rows,cells,reasons\nflips2026.xlsx,48,1,converted/flips2026-refused.csv\n", encoding="utf-8"
    )
    assert [line for line in study.left_out if "flips2026" in line] == [
        "48 rows of flips2026.xlsx could not be taken and are missing here.",
        "1 cell of flips2026.xlsx could not be read and is blank.",
    ]
