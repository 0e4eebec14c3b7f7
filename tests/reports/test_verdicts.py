"""The verdicts of the overview in words."""

from __future__ import annotations

import dataclasses
from collections import Counter

import pytest

from flipkit.analysis.decisions import BUY, UNDER_A_PRICE, Decision
from flipkit.analysis.knowledge_file import read_knowledge
from flipkit.analysis.max_bid import buying_answer
from flipkit.analysis.returns import TOO_FEW
from flipkit.pack import month
from flipkit.reports.elements import figures_said
from flipkit.reports.hours import next_hours
from flipkit.reports.pocket import pocket_note, pocket_sheet
from flipkit.reports.sentences import category_sentence, of_category
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
    for one in study.decisions:
        assert shown.text.count(f"{one.category}: {verdict_reason(study, one)}") == 1
        assert f"<strong>{one.category}</strong>: " in shown.html
    for verdict, count in Counter(one.verdict for one in study.decisions).items():
        assert f"{verdict.capitalize()} ({count})" in shown.text
    assert "80% or more to make $18 an hour" in shown.text


def test_one_figure_stands_on_every_page_that_speaks_of_a_category(study):
    """The list, the pocket sheet and next month's hours hand on the same figures of the same decisions."""
    hours = next_hours(study)
    pages = [
        verdict_list(study).figures,
        pocket_sheet(study).figures + pocket_note(study).figures,
        figures_said(hours.sentence()) + hours.table().figures,
    ]
    said = [{(one.name, one.scope, one.day): one.value for one in page} for page in pages]
    for page in said[1:]:
        shared = page.keys() & said[0].keys()
        assert shared
        assert {key: page[key] for key in shared} == {key: said[0][key] for key in shared}
    for one in study.decisions:
        if one.verdict in (BUY, UNDER_A_PRICE):
            assert said[0]["pay at most", of_category(one.category), study.as_of.isoformat()] == one.highest_cents


def test_the_shop_aisle_is_told_the_decision_on_each_category(study, tmp_path):
    month._leave_knowledge(study, tmp_path)
    left = read_knowledge(tmp_path)
    for one in study.decisions:
        assert buying_answer(left, one.category, price_cents=10_000)["decision"] == one.sentence


ONE = Decision(
    "jugs",
    UNDER_A_PRICE,
    "Pay up to $7 for one that sells at $40.",
    items=30,
    trips=9,
    chance=0.5,
    hourly=12.0,
    low=3.2,
    high=20.7,
    highest_cents=799,
    typical_cents=4000,
)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({}, "Pay up to $7 for one that sells at $40. Chance to make $18 an hour: 50%; probably $3 to $21."),
        ({"chance": 0.999}, "over 99%; "),
        ({"chance": 0.001}, "under 1%; "),
        ({"note": "They disagree."}, "$21. They disagree."),
    ],
)
def test_each_reason_in_words(study, change, words):
    assert words in verdict_reason(study, dataclasses.replace(ONE, **change))


def test_a_shop_without_a_sale_is_told_what_it_bought_and_no_more(tmp_path):
    shown = verdict_list(open_study(write_books(tmp_path / "books", items=UNSOLD)))
    assert shown.text.endswith("Too few to tell (2)\n  lamps (none bought lately), stoneware <b> (1 bought on 1 trip).")
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
    for one in study.decisions:
        if one.verdict == TOO_FEW:
            continue
        assert one.low < one.hourly < one.high
        assert (one.chance > 0.5) == (one.hourly > study.target)
        assert (one.chance > 0.025) == (one.high > study.target)
        assert (one.chance > 0.975) == (one.low > study.target)
