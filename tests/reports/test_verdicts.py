"""The verdicts of the overview in words."""

from __future__ import annotations

import pytest

from flipkit.analysis.decisions import STOP, UNDER_A_PRICE
from flipkit.analysis.knowledge_file import read_knowledge
from flipkit.analysis.max_bid import buying_answer
from flipkit.pack import month
from flipkit.reports.sentences import category_sentence
from flipkit.reports.study import open_study
from flipkit.reports.verdicts import verdict_list, verdict_reason
from tests.helpers.small_books import write_books

UNSOLD = """
item_id,title,category,bought_on,cost
A,Jug,stoneware <b>,2026-01-03,10.00
B,Lamp,lamps,2026-02-04,12.50
"""


@pytest.fixture(scope="module")
def study():
    return open_study()


def test_the_list_names_every_category_once_with_its_reason(study):
    shown = verdict_list(study)
    rows = study.buying_verdicts.to_dict("records")
    for row in rows:
        line = f"{row['category']}: {verdict_reason(study, row)}"
        assert shown.text.count(line) == 1
        assert f"<strong>{row['category']}</strong>: " in shown.html
    for verdict, count in study.buying_verdicts["verdict"].value_counts().items():
        assert f"{verdict.capitalize()} ({count})" in shown.text
    assert "beat $18 an hour" in shown.text
    assert "80% or more" in shown.text


def test_the_shop_aisle_is_told_what_the_overview_says_stop_of(study, tmp_path):
    month._leave_knowledge(study, tmp_path)
    left = read_knowledge(tmp_path)
    verdicts = study.buying_verdicts.set_index("category")["verdict"]
    assert 0 < (verdicts == STOP).sum() < len(verdicts)
    for category, verdict in verdicts.items():
        said = buying_answer(left, str(category), price_cents=10_000)
        assert said["overview_says_stop"] == (verdict == STOP)


ROW = {
    "category": "jugs",
    "verdict": UNDER_A_PRICE,
    "beats_target": 0.5,
    "low": 3.2,
    "high": 20.7,
    "items": 30,
    "trips": 9,
    "highest_cents": 799,
    "binding": "target",
    "typical_cents": 4000.0,
    "sells_from_cents": float("nan"),
    "usual_cost_cents": 900.0,
    "cheap_share": 0.25,
}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        # A price not to be passed is rounded down.
        ({}, "50%, likely $3 to $21. At most $7 for one that sells at $40; you usually paid $9."),
        (
            {"highest_cents": 0, "sells_from_cents": 6000.0},
            "Only what sells at $60 or more bears the usual cost of $9.",
        ),
        ({"highest_cents": 0}, "No price was found low enough"),
        (
            {"verdict": STOP, "cheap_share": 0.0},
            "Worth $7 at most if it sells at $40, and none of yours cost so little.",
        ),
        ({"verdict": STOP, "highest_cents": 0}, "Not even free, if it sells at $40."),
        ({"verdict": STOP, "highest_cents": 0, "binding": "loss"}, "At any cost, the chance of a loss is over 40%."),
        ({"verdict": STOP, "highest_cents": 0, "binding": "record"}, "By its record, not even free."),
        ({"beats_target": 0.999}, "over 99%, "),
        ({"beats_target": 0.001}, "under 1%, "),
    ],
)
def test_each_reason_in_words(study, change, words):
    assert words in verdict_reason(study, ROW | change)


def test_a_shop_without_a_sale_is_told_what_it_bought_and_no_more(tmp_path):
    shown = verdict_list(open_study(write_books(tmp_path / "books", items=UNSOLD)))
    assert (
        shown.text == "Too few to tell (2)\n  lamps (none bought in these months), stoneware <b> (1 bought on 1 trip)."
    )
    assert "<b>" not in shown.html
    assert "chance" not in shown.text


def test_the_bought_interval_says_which_months_it_is_of(study):
    sentence, note = category_sentence(study, "vintage audio")
    row = study.bought_returns.set_index("category").loc["vintage audio"]
    assert f"to ${row['high']:,.2f}, for the past 22 months, not next month" in note
    assert f"Without its best sale it would be ${row['without_best']:,.2f} an hour" in note
    assert "the past 22 months, not next month" in verdict_list(study).text
    assert "above the target" in sentence


def test_no_line_disagrees_with_itself(study):
    for row in study.buying_verdicts.to_dict("records"):
        assert row["low"] < row["pulled"] < row["high"]
        assert (row["beats_target"] > 0.5) == (row["pulled"] > study.target)
        assert (row["beats_target"] > 0.025) == (row["high"] > study.target)
        assert (row["beats_target"] > 0.975) == (row["low"] > study.target)
