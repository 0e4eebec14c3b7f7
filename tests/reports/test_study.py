from __future__ import annotations

import datetime as dt
import os
import shutil
from pathlib import Path

import pandas as pd
import pytest

from flipkit.analysis.results import by_month
from flipkit.charts.style import hourly, money
from flipkit.errors import AssumptionError, BooksError, PackError
from flipkit.money import nearest_cent
from flipkit.pack.month import month_plan
from flipkit.reports import elements, sentences
from flipkit.reports import study as reports_study
from flipkit.reports.bulky import Bulky
from flipkit.reports.buy import helps_most
from flipkit.reports.category import Category
from flipkit.reports.stock import Stock
from flipkit.reports.study import STUDIES, open_study
from flipkit.reports.tables import (
    assumptions_table,
    cautions,
    ranking_table,
    returns_table,
)
from tests.helpers.small_books import write_books

UNSOLD = """
item_id,title,category,bought_on,cost
A,Jug,stoneware,2026-01-03,10.00
B,Lamp,lamps,2026-02-04,12.50
"""
SOLD = """
item_id,title,category,bought_on,cost,listed_on,sold_on,sold_price,length_in,width_in,height_in,weight_lb
A,Jug,stoneware,2026-01-03,10.00,2026-01-05,2026-01-20,50.00,10,8,6,3
B,Lamp,lamps,2026-02-04,12.50,2026-02-05,2026-03-31,40.00,30,18,16,20
C,Jar,stoneware,2026-03-04,2.00,2026-03-05,,,10,8,6,3
"""


@pytest.fixture(scope="module")
def demo(demo_study):
    return demo_study


@pytest.fixture
def unsold(tmp_path):
    return open_study(write_books(tmp_path / "books", items=UNSOLD))


def test_the_day_and_the_month_come_from_the_books_where_nobody_says(demo):
    assert demo.as_of == dt.date(2026, 11, 14)
    assert demo.month == "2026-10"
    assert demo.window(months=12) == (dt.date(2025, 11, 1), dt.date(2026, 10, 31))


def test_a_month_that_ends_on_the_last_day_is_full(tmp_path):
    assert open_study(write_books(tmp_path, items=SOLD)).month == "2026-03"


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"month": "2026-13"}, "month must be a month such as 2026-10"),
        ({"month": "2027-01"}, "a month that has begun by 2026-11-14"),
        ({"as_of": "14.11.2026"}, "as_of must be a day such as 2026-11-14"),
        ({"settings": "help.wage"}, "setting must be KEY=VALUE"),
        ({"settings": "help.wag=3"}, "did you mean help.wage"),
    ],
)
def test_what_cannot_be_used_is_refused_in_words(demo_folder, asked, words):
    with pytest.raises(AssumptionError) as caught:
        open_study(demo_folder, **asked)
    assert words in str(caught.value)


def test_books_with_problems_give_no_study(tmp_path):
    with pytest.raises(BooksError, match=r"items\.csv"):
        open_study(write_books(tmp_path, items="item_id,title,category,bought_on,cost\nA,Jug,x,yesterday,1"))


def test_items_sum_to_categories_and_months_to_the_cent(demo):
    sold = demo.items["sold_on"].notna()
    left = sold | demo.items["gone_on"].notna()
    months = by_month(demo.items, last="2026-11")
    for column, rows in (("sales_net_cents", sold), ("net_cents", left)):
        assert int(months[column].sum()) == int(demo.items.loc[rows, "net_cents"].sum())
    assert (months["sold"].sum(), months["written_off"].sum()) == (sold.sum(), (left & ~sold).sum())
    assert int(demo.sold_returns["net_cents"].sum()) == int(demo.shop_sales.loc["the window", "net_cents"])
    for category in demo.categories:
        lines = elements.line_sums(demo.sold_items(category))
        assert int(lines["amount_cents"].iloc[:-1].sum()) == int(lines["amount_cents"].iloc[-1])
        # Per sale too, in whole cents, and the net per sale is the one of the table of returns.
        each, sales = lines["per_item_cents"], len(demo.sold_items(category))
        assert each.iloc[:-1].sum() == each.iloc[-1] == nearest_cent(lines["amount_cents"].iloc[-1] / sales)
        assert (each - lines["amount_cents"] / sales).abs().max() < 1


def test_every_month_stands_in_the_table_sold_or_not(tmp_path):
    months = open_study(write_books(tmp_path, items=SOLD)).months
    assert [str(month.date()) for month in months["month"]] == ["2026-01-01", "2026-02-01", "2026-03-01"]
    assert months["sold"].tolist() == [1, 0, 1]
    assert pd.isna(months["hourly"][1])


def test_bought_basis_counts_what_did_not_sell(tmp_path):
    study = open_study(write_books(tmp_path, items=SOLD))
    bought = study.bought_returns.set_index("category").loc["stoneware"]
    sold = study.sold_returns.set_index("category").loc["stoneware"]
    assert (bought["items"], bought["sold"], sold["items"]) == (2, 1, 1)
    assert bought["net_cents"] < sold["net_cents"]
    assert bought["owner_min"] > sold["owner_min"]
    assert sold["verdict"] == "too few to tell"


def test_a_categorys_page_says_the_decision_and_counts_the_unsold(demo):
    for row in demo.bought_returns.to_dict("records"):
        answer = Category(demo, row["category"]).answer().text
        sentence = demo.decision(row["category"]).sentence
        assert sentence[1:] in answer
        assert f"{int(row['sold'])} of {int(row['items'])} bought had sold by" in answer


def test_an_average_sale_adds_up_and_is_the_mean(demo):
    chart = Category(demo, "typewriters").picture().to_dict()
    net = demo.sold_items("typewriters")["net_cents"].mean()
    assert f"{money(net)} is left" in chart["title"]["text"]


def test_nothing_sold_yet_is_said_and_shown(unsold, monkeypatch):
    sentence, note = sentences.month_sentence(unsold)
    assert sentence == "Nothing sold yet."
    assert note.startswith("In stock: 2 items that cost $22.50")
    assert Category(unsold, "lamps").answer().text.startswith("Lamps: too few to tell")
    nothing = "No lamps sold from January 2026 to January 2026: there is no price to follow."
    assert Category(unsold, "lamps").picture().to_dict()["description"] == nothing
    assert Bulky(unsold).answer().text.startswith("Nothing small and nothing bulky sold")
    assert sentences.trace_sentence(unsold.sold_items()) == "No sale has brought money yet."
    assert Bulky(unsold).break_even().startswith("We can't say")
    assert "nobody can say what they may bring" in Stock(unsold).answer().text
    # Nor, then, what a plan for them is worth.
    monkeypatch.setattr("flipkit.reports.buy.stock_gain", lambda study: 5_000.0)
    assert helps_most(unsold) == ""
    assert "42%" not in ranking_table(unsold).text
    assert "inf" not in Stock(unsold).by_category().text
    for shown in (returns_table, assumptions_table):
        assert shown(unsold).html
    assert Bulky(unsold).facts().html


def test_the_sentence_states_the_numbers(demo):
    sentence, note = sentences.month_sentence(demo)
    row, sales = demo.shop_results.loc["this month"], demo.shop_sales.loc["this month"]
    assert sentence.startswith(f"You made about {hourly(row['hourly'])} an hour in October 2026")
    assert f"{hourly(18 - row['hourly'])} short of your $18 target" in sentence
    off = int(row["items"] - sales["items"])
    assert f"{int(sales['items'])} sales, {money(row['net_cents'])} profit after {off} items you wrote off" in sentence
    assert f"probably between {hourly(row['low'])} and {hourly(row['high'])}." in note
    assert f"Sales alone made {hourly(sales['hourly'])} an hour." in note
    assert sentences.year_sentence(demo) in note


def test_this_year_stands_against_the_same_months_of_the_last(demo):
    gap = demo.year_gap
    day = demo.items["sold_on"].fillna(demo.items["gone_on"])
    for year, hour in ((2026, gap.hourly_first), (2025, gap.hourly_second)):
        mine = demo.items[(day.dt.year == year) & (day.dt.month <= 10)]
        assert hour == pytest.approx(mine["net_cents"].sum() / 100 / (mine["owner_min"].sum() / 60))
    assert gap.low < gap.gap < gap.high
    said = sentences.year_sentence(demo)
    assert hourly(gap.hourly_first) in said
    assert ("too close to call" in said) == (gap.low < 0 < gap.high)
    # Of the sales alone too: what is written off can begin late.
    sold = demo.items[(demo.items["sold_on"].dt.year == 2025) & (demo.items["sold_on"].dt.month <= 10)]
    alone = hourly(sold["net_cents"].sum() / 100 / (sold["owner_min"].sum() / 60))
    assert said.endswith(f" and {alone}.")


def test_the_latest_thirteen_months_have_their_intervals(demo):
    shown = demo.month_results
    assert shown["month"].tolist()[::12] == ["October 2025", "October 2026"]
    assert shown["hourly"].to_numpy() == pytest.approx(demo.months["hourly"].tail(13).to_numpy())
    assert shown["hourly"].iloc[-1] == pytest.approx(demo.shop_results.loc["this month", "hourly"])


def test_what_is_supposed_stands_on_the_first_page(demo, demo_folder):
    assert sentences.overrides_sentence(demo) == ""
    assert "Supposed" not in sentences.month_sentence(demo)[1]
    other = open_study(
        demo_folder,
        settings="help.wage=19; suppose.wage_for=everybody; suppose.fee_points=-1.5; suppose.divisor=166; "
        "suppose.minutes=1.25",
    )
    said = (
        "Supposed in place of the books: help at $19.00 an hour whatever was paid; fees −1.5 percentage points; "
        "a divisor of 166 for every parcel; 1.25 times your own minutes."
    )
    assert sentences.month_sentence(other)[1].endswith(said)
    assert sentences.month_sentence(other)[0] != sentences.month_sentence(demo)[0]


def test_a_lifting_caution_stands_where_things_are_heavy(demo, unsold):
    assert "two people" in cautions(demo.items).text
    assert "two people" not in cautions(unsold.items).text
    assert "restricted goods" in cautions(unsold.items).text


def test_a_study_is_computed_once_and_found_by_its_digest(tmp_path, monkeypatch):
    books = write_books(tmp_path / "books", items=SOLD)
    kept = tmp_path / "kept"
    kept.mkdir(mode=0o700)
    study = open_study(books)
    study.keep(kept)
    monkeypatch.setenv(STUDIES, str(kept))
    monkeypatch.setattr("flipkit.reports.study.item_economics", _refuse_to_compute)
    again = open_study(books)
    assert again.items.equals(study.items)
    with pytest.raises(AssertionError, match="computed anew"):
        open_study(books, settings="help.wage=99")
    # Loaded beforehand, it is handed out once: who asks again has one of his own.
    reports_study.load_kept()
    first, second = open_study(books), open_study(books)
    assert first is not second
    assert first.items.equals(second.items)
    assert not reports_study._LOADED
    # What is asked for in full is found without reading the books; a byte more in them is another study.
    asked = {"month": study.month, "as_of": study.as_of.isoformat()}
    monkeypatch.setattr("flipkit.reports.study.read_books", _refuse_to_compute)
    assert open_study(books, **asked).items.equals(study.items)
    with pytest.raises(AssertionError, match="computed anew"):
        open_study(books, **asked, settings="help.wage=99")
    (books / "items.csv").write_bytes((books / "items.csv").read_bytes() + b"\n")
    with pytest.raises(AssertionError, match="computed anew"):
        open_study(books, **asked)


@pytest.mark.skipif(os.name == "nt", reason="folders have no modes there")
def test_a_study_is_not_opened_where_others_can_write(tmp_path, monkeypatch):
    books = write_books(tmp_path / "books", items=SOLD)
    kept = tmp_path / "kept"
    kept.mkdir(mode=0o700)
    study = open_study(books)
    study.keep(kept)
    monkeypatch.setenv(STUDIES, str(kept))
    for mode in (0o777, 0o770, 0o755, 0o701):
        kept.chmod(mode)
        with pytest.raises(PackError, match=f"FLIPKIT_STUDIES must be a folder of your own .*mode 0{mode:o}"):
            open_study(books)
        with pytest.raises(PackError, match="FLIPKIT_STUDIES"):
            study.keep(kept)
    kept.chmod(0o700)
    assert open_study(books).key == study.key
    monkeypatch.setattr("os.getuid", lambda: kept.stat().st_uid + 1)
    with pytest.raises(PackError, match="FLIPKIT_STUDIES"):
        open_study(books)


@pytest.mark.parametrize("changed", ["analysis/returns.py", "rules/data/sources.toml", "assumptions.toml"])
def test_the_digest_knows_the_code_and_what_is_packaged(tmp_path, monkeypatch, changed):
    root = Path(reports_study.__file__).parents[1]
    target = next(root.rglob(changed)).relative_to(root)
    copy = tmp_path / "flipkit"
    shutil.copytree(root, copy, ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(reports_study, "__file__", str(copy / "reports" / "study.py"))
    before = reports_study._code_digest.__wrapped__()
    assert before == reports_study._code_digest.__wrapped__()
    (copy / target).write_bytes((copy / target).read_bytes() + b"\n")
    assert reports_study._code_digest.__wrapped__() != before


def _refuse_to_compute(*_, **named):
    raise AssertionError("computed anew")


def test_a_plan_has_a_page_for_each_category_under_a_name_of_its_own(tmp_path):
    rows = ["A,x,Hand tools,2026-01-01,1", "B,x,hand-tools,2026-01-01,1", "C,x,ß,2026-01-01,1"]
    items = "\n".join(["item_id,title,category,bought_on,cost", *rows])
    plan = month_plan(write_books(tmp_path / "books", items=items))
    names = [page.name for page in plan.pages]
    assert names[:8] == ["index", "buy", "stock", "bulky", "packing", "what-if", "money", "trust"]
    assert sorted(names[8:]) == ["category-hand-tools", "category-hand-tools-2", "category-unnamed"]
    with pytest.raises(AssumptionError, match="category must be one of"):
        month_plan(tmp_path / "books", categories=["typewriters"])


def test_the_digest_knows_the_shops_own_rules_and_assumptions(tmp_path):
    books = write_books(tmp_path / "books", items=SOLD)
    keys = {open_study(books).key, open_study(books, settings="help.wage=99").key}
    (books / "assumptions.toml").write_text('[hour]\ntarget = "30.00"\n', encoding="utf-8")
    keys.add(open_study(books).key)
    (books / "rules").mkdir()
    (books / "rules" / "stall.toml").write_text(
        'kind = "fees"\nname = "stall"\n[[block]]\nfrom = 2025-01-01\nsource = "demo"\n'
        'seen = "invented for the demo"\n',
        encoding="utf-8",
    )
    keys.add(open_study(books).key)
    assert len(keys) == 4


def test_a_window_begins_no_earlier_than_the_first_purchase() -> None:
    study = open_study()
    first = study.items["bought_on"].min().date()
    assert study.window() == (first, dt.date(2026, 10, 31))
    assert study.window(months=3) == (dt.date(2026, 8, 1), dt.date(2026, 10, 31))
    # A month before the shop began is what it is: nothing happened in it.
    assert study.window("2024-10", months=1) == (dt.date(2024, 10, 1), dt.date(2024, 10, 31))
