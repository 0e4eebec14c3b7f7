"""The verdicts of the overview in words."""

from __future__ import annotations

import dataclasses
import re
from collections import Counter

import pandas as pd
import pytest

from flipkit.analysis.decisions import BUY, LEAVE, UNDER_A_PRICE, Decision
from flipkit.analysis.knowledge_file import read_knowledge
from flipkit.analysis.max_bid import buying_answer
from flipkit.analysis.returns import TOO_FEW
from flipkit.charts.style import hourly, money
from flipkit.pack import month
from flipkit.reports.buy import Buy, chance_words
from flipkit.reports.category import Category
from flipkit.reports.sentences import of_category
from flipkit.reports.stock import Stock
from flipkit.reports.study import open_study
from flipkit.reports.this_month import ThisMonth, threshold
from flipkit.reports.what_if import what_if
from tests.helpers.small_books import write_books

UNSOLD = """
item_id,title,category,bought_on,cost
A,Jug,stoneware <b>,2026-01-03,10.00
B,Lamp,lamps,2026-02-04,12.50
"""


@pytest.fixture(scope="module")
def study(demo_study):
    return demo_study


def test_the_list_names_every_category_once_with_its_reason(study):
    shown = Buy(study).verdicts()
    for one in study.decisions:
        assert shown.text.count(f"  {one.category}: {one.sentence}") == 1
        assert f"<strong>{one.category}</strong>: " in shown.html
    for verdict, count in Counter(one.verdict for one in study.decisions).items():
        assert f"{verdict.capitalize()} ({count})" in shown.text
    assert "80% or more to make your target" in shown.text


def test_one_figure_stands_on_every_page_that_speaks_of_a_category(study):
    """The first page, the page on buying and each category hand on the same figures of the same decisions."""
    buy = Buy(study)
    first = ThisMonth(study).verdicts().figures
    pages = [buy.answer().figures, buy.sheet().figures, buy.hours().figures, buy.verdicts().figures]
    pages += [Category(study, one.category).answer().figures for one in study.decisions]
    said = {(one.name, one.scope, one.day): one.value for one in first}
    for page in pages:
        shared = {(one.name, one.scope, one.day): one.value for one in page}.items()
        assert any(key in said for key, _ in shared)
        assert all(said.get(key, value) == value for key, value in shared)
    for one in study.decisions:
        if one.verdict in (BUY, UNDER_A_PRICE):
            assert said["pay at most", of_category(one.category), study.as_of.isoformat()] == one.highest_cents


def test_the_first_page_says_each_threshold_and_leads_to_its_category(study):
    shown = ThisMonth(study).verdicts()
    for one in study.decisions:
        assert f"{one.category}{threshold(study, one)}" in shown.text
    assert '<a href="category-typewriters.html">typewriters</a>' in shown.html
    assert 'href="category-typewriters' not in ThisMonth(study, "stoneware").verdicts().html


def test_the_first_page_shows_ten_things_to_do_worth_most_first(study):
    lines = ThisMonth(study).to_do().text.splitlines()
    change = study.biggest_changes[0]
    assert lines[1].startswith("What helps most is to find better use for the ")
    assert f" that {change.parts[0][0]}, {change.parts[1][0]} and 7 more kinds take" in lines[1]
    assert lines[1] == what_if(study).answer().text.splitlines()[0]
    places = [lines[1].index(money(one.cents_a_month)) for one in study.biggest_changes if one.cents_a_month >= 1_000]
    assert places == sorted(places)
    assert len(lines) <= 13
    assert lines[-1].endswith("Stock and prices")


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
        ({}, "Chance to make $18 an hour: 50%."),
        ({"chance": 0.999}, "over 99%."),
        ({"chance": 0.001}, "under 1%."),
        ({"verdict": LEAVE, "chance": 0.1}, "10%."),
        ({"verdict": LEAVE}, "50%, but none cost you $7 or less."),
        ({"verdict": LEAVE, "highest_cents": 0}, "50%, but at usual prices none pays."),
    ],
)
def test_each_chance_in_words(study, change, words):
    assert words in chance_words(study, dataclasses.replace(ONE, **change))


def test_a_shop_without_a_sale_is_told_what_it_bought_and_no_more(tmp_path):
    study = open_study(write_books(tmp_path / "books", items=UNSOLD))
    shown = ThisMonth(study).verdicts()
    assert "Too few to tell" in shown.text
    assert "  stoneware <b>: 1 bought on 1 trip." in shown.text
    assert "<b>" not in shown.html
    assert "chance" not in shown.text.lower()
    assert Buy(study).answer().text.startswith("Too few to tell")


def test_the_bought_interval_says_which_months_it_is_of(study):
    text = Category(study, "vintage audio").answer().text
    row = study.bought_returns.set_index("category").loc["vintage audio"]
    assert f"Unsold items counted, an hour made {hourly(row['hourly'])} (the past 22 months, not next month)" in text
    assert f"Without its best sale it would have made {hourly(row['without_best'])};" in text
    assert "the past 22 months, not next month" in Buy(study).verdicts().text


def test_no_line_disagrees_with_itself(study):
    for one in study.decisions:
        if one.verdict == TOO_FEW:
            continue
        assert one.low < one.hourly < one.high
        assert (one.chance > 0.5) == (one.hourly > study.target)
        assert (one.chance > 0.025) == (one.high > study.target)
        assert (one.chance > 0.975) == (one.low > study.target)


def test_a_category_counts_its_stock_as_the_stock_page_does(study):
    for name in study.categories:
        told = Category(study, name).to_do().text
        count = len(study.unsold_items(name))
        assert re.search(rf"\b{count} items? in stock", told)
        mine = study.price_plan[study.price_plan["category"] == name]
        unknown = count - len(mine)
        assert (f"For {unknown} we don't know a typical price yet" in told) == (unknown > 0)
        # What is kept today and cleared out within four weeks is counted, by the days of the plan.
        held, last = mine[mine["action"] == "hold"], pd.Timestamp(study.as_of) + pd.Timedelta(days=28)
        leaving = (held["markdown_on"].isna() & (held["give_up_on"] <= last)).sum()
        assert (f"({leaving} to be cleared out within four weeks)" in told) == (leaving > 0)


def test_what_lost_money_is_stopped_without_waiting_for_other_work(study):
    net = study.bought_returns.set_index("category")["net_cents"]
    losing = {one.category for one in study.decisions if one.verdict == LEAVE and net[one.category] < 0}
    (said,) = re.findall(r"Stop buying (.+) at those prices now", Buy(study).to_do().text)
    assert set(said.split(" and ")) == losing == {"framed prints", "folding chairs"}
    # The others wait for other work, on every page that says so.
    assert "left idle they bring nothing" in Buy(study).to_do().text
    assert "once there is other work for the hours" in Stock(study).to_do().text
