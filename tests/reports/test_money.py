"""The year for a preparer and the partners' statement: each item at its own cost, not a cent lost."""

from __future__ import annotations

import csv
import datetime as dt

import numpy as np
import pandas as pd
import pytest

from flipkit.analysis.results import BOOK_LINES, RESULT, SALES, WRITTEN_OFF, people_worked
from flipkit.analysis.stock import goods_flow, stock_status
from flipkit.books.read import books_as_of
from flipkit.reports.category import sold_csv
from flipkit.reports.money import GOODS_LINES, Money
from flipkit.reports.study import open_study
from tests.helpers.small_books import write_books

YEAR = (dt.date(2026, 1, 1), dt.date(2026, 12, 31))
ITEMS = """
item_id,title,category,bought_on,cost,listed_on,sold_on,sold_price,returned_on,gone_on,gone_how
A,old and sold,jars,2025-11-03,10.00,2025-12-05,2026-02-20,50.00,,,
B,bought and sold,jars,2026-01-04,12.50,2026-02-05,2026-03-28,40.00,,,
C,bought and here,jars,2026-02-04,2.00,,,,,,
D,sold last year and given back in this,jars,2025-10-04,7.00,2025-11-01,2025-12-20,30.00,2026-01-15,,
E,kept,jars,2026-01-20,3.00,,,,,2026-02-01,kept
F,thrown away,jars,2025-10-04,1.25,,,,,2026-03-01,scrapped
G,sold and gone last year,jars,2025-10-04,99.00,2025-10-05,2025-10-30,120.00,,,
"""
PEOPLE = """
worker,role,wage,payroll_burden,share_of_profit
ana,owner,,,60 %
ben,owner,,,30 %
cyd,hired,20.00,10 %,
"""
WORK = """
date,activity,minutes,worker,item_id
2026-02-01,clean,90,ana,A
2026-03-02,pack,30,ben,B
2026-03-03,pack,60,cyd,B
"""


@pytest.fixture
def study(tmp_path):
    return open_study(write_books(tmp_path / "books", items=ITEMS, people=PEOPLE, work=WORK), as_of="2026-03-31")


@pytest.fixture(scope="module")
def demo(demo_study):
    return demo_study


@pytest.mark.published(source="accounting-periods-538", where="specific identification", seen="from memory")
def test_the_cost_of_goods_sold_is_the_cost_of_the_very_items_that_sold():
    days = {"bought_on": ["2026-01-05"] * 3, "sold_on": ["2026-02-01", None, None]}
    rows = pd.DataFrame({name: pd.to_datetime(day) for name, day in days.items()})
    # Three of a kind at 10, 20 and 60: an average says 30, the order of arrival 10; the one that sold cost 60.
    rows = rows.assign(returned_on=pd.NaT, gone_on=pd.NaT, gone_how="", cost_cents=[6000, 1000, 2000])
    assert goods_flow(rows, window=YEAR)["sold"] == 6000


@pytest.mark.worked
def test_every_way_in_and_out_is_counted_once(study):
    goods = Money(study).goods()
    # Held on 31 December 2025: A 10.00 and F 1.25; D was sold then. Bought in 2026: B 12.50, C 2.00, E 3.00.
    # Sold: A and B less D, which came back: 10.00 + 12.50 - 7.00. Here on 31 March: C and D.
    assert goods == {"opening": 1125, "purchases": 1750, "kept": 300, "given": 125, "sold": 1550, "closing": 900}
    assert goods["opening"] + goods["purchases"] == sum(goods[name] for name in ("kept", "given", "sold", "closing"))


@pytest.mark.published(source="cost-of-goods-lines", where="lines 40 to 42", seen="secondary")
def test_the_lines_add_up_as_the_form_says(study):
    text = Money(study).goods_table().text.splitlines()
    line = {row.split()[0]: float(row.split()[-1].replace(",", "")) for row in text if row[:2] in GOODS_LINES}
    assert list(line) == ["35", "36", "37", "38", "39", "40", "41", "42"]
    assert line["40"] == pytest.approx(sum(line[number] for number in ("35", "36", "37", "38", "39")))
    assert line["42"] == pytest.approx(line["40"] - line["41"])
    # Opening 11.25, purchases 17.50 less 3.00 kept, closing 9.00.
    assert (line["36"], line["42"]) == (14.50, 16.75)


def test_nothing_is_lost_in_any_month_of_the_demo_shop(demo):
    items = demo.items.assign(gone_how=books_as_of(demo.books, demo.as_of).items["gone_how"].to_numpy())
    before = None
    for month in pd.period_range("2025-01", "2026-10", freq="M"):
        flow = goods_flow(items, window=(month.start_time.date(), month.end_time.date()))
        assert flow["opening"] + flow["purchases"] == sum(flow[n] for n in ("kept", "given", "sold", "closing"))
        assert before is None or flow["opening"] == before
        before = flow["closing"]
    assert before > 0
    at_end = stock_status(items, on=demo.window()[1])
    assert before == int(items["cost_cents"].to_numpy()[at_end == "held"].sum())


def test_the_year_ends_with_the_reports_month(demo):
    assert demo.year_so_far() == (dt.date(2026, 1, 1), dt.date(2026, 10, 31))


def test_miles_are_worth_the_rate_of_their_day(demo):
    trips = demo.books.trips
    inside = trips[(trips["date"] >= "2026-01-01") & (trips["date"] <= "2026-10-31")]
    # 72.5 cents a mile in 2026.
    expected = sum(int(np.floor(miles * 72.5 + 0.5)) for miles in inside["miles"].dropna())
    assert f"{expected / 100:,.2f}" in Money(demo).mileage_table().text
    assert f"−{expected / 100:,.2f}" in Money(demo).income_table().text


def test_the_lines_of_the_year_come_to_the_last_step_of_its_bridge(demo):
    steps = demo.bridges["year"].set_index("step")["amount_cents"]
    between = steps.drop([SALES, WRITTEN_OFF, RESULT, BOOK_LINES])
    assert steps[RESULT] + between.sum() == steps[BOOK_LINES]
    lines = Money(demo).income_table().text.splitlines()
    assert lines[-1].startswith(BOOK_LINES)
    assert f"{steps[BOOK_LINES] / 100:,.2f}" in lines[-1]


def test_shares_add_up_to_the_net_and_wages_carry_their_taxes(study):
    text = Money(study).shares().text
    assert "If help had cost $1 more an hour" in text.splitlines()[1]
    logged = people_worked(study.books, study.assumptions, YEAR)
    assert logged["minutes"].tolist() == [90.0, 30.0, 60.0]
    assert logged["paid_cents"].tolist() == [0, 0, 2200]  # an hour at 20.00 and 10 % on top
    settled = study.items["sold_on"].fillna(study.items["gone_on"])
    year = int(study.items.loc[settled >= "2026-01-01", "net_cents"].sum())
    due = [float(row.split()[-2].replace(",", "").replace("−", "-")) for row in text.splitlines()[3:]]
    assert round(due[0] + due[1], 2) == year / 100
    assert due[0] == pytest.approx(2 * due[1], abs=0.02)  # 60 to 30
    assert due[2] == 22.00
    assert "come to 90%, not to 100%" in Money(study).answer().text


def test_the_sheet_of_sales_says_what_each_took_cost_and_left(study):
    row = next(row for row in csv.DictReader(sold_csv(study).splitlines()) if row["item_id"] == "A")
    item = study.items.set_index("item_id").loc["A"]
    assert (row["title"], row["category"], row["sold_on"]) == ("old and sold", "jars", "2026-02-20")
    assert (row["sold_price"], row["taken"], row["net"]) == ("50.00", "50.00", f"{item['net_cents'] / 100:.2f}")
    assert row["costs"] == f"{(5000 - item['net_cents']) / 100:.2f}"
    assert row["minutes"] == f"{item['owner_min']:.0f}"


def test_books_without_sales_people_or_trips_say_so(tmp_path):
    bare = "item_id,title,category,bought_on,cost\nA,Jug,jars,2026-01-03,10.00\n"
    study = open_study(write_books(tmp_path / "bare", items=bare))
    page = Money(study)
    assert "nothing sold" in page.answer().text
    assert "nothing sold" in page.year().text
    assert "name nobody" in page.shares().text
    assert "no owner" in page.answer().text
    assert page.mileage_table().html == page.to_do().html == ""
    for shown in (page.goods_table(), page.income_table(), page.hours(), page.bridge(), page.lines()):
        assert shown.html
    assert "not tax advice" in page.cautions().text
    assert "No money moved" in page.picture().to_dict()["description"]


def test_who_logged_work_shares_where_nobody_is_named(tmp_path):
    work = "date,activity,minutes,worker,item_id\n2026-02-01,clean,90,me,A\n"
    books = write_books(tmp_path / "alone", items=ITEMS, work=work)
    # Nothing is logged in March: the year's people stand in the month's column too.
    page = Money(open_study(books, as_of="2026-03-31"))
    row = page.shares().text.splitlines()[-1].split()
    assert row[:2] == ["Me", "100%"]
    assert "goes to who logged the work: Me." in page.answer().text
    assert "nobody to share" not in page.answer().text


def test_the_lines_of_the_tax_form_are_named_in_dollars_alone(tmp_path, study):
    def year(page):
        return " ".join(part().text for part in (page.year, page.goods_table, page.income_table, page.cautions))

    shop = "key,value\ncurrency,EUR\n"
    abroad = year(Money(open_study(write_books(tmp_path / "abroad", items=ITEMS, shop=shop), as_of="2026-03-31")))
    assert "line 42" in year(Money(study))
    assert not any(word in abroad for word in ("line 42", "form", "35 "))
    assert "16.75" in abroad
