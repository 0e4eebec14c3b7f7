"""The books are read whole: every table, from a folder and from a workbook alike."""

from __future__ import annotations

import datetime as dt
import hashlib
import pickle

import openpyxl
import pandas as pd
import pytest

from flipkit.books import schema
from flipkit.books.read import book_hashes, inspect_books, read_books
from flipkit.errors import BooksError
from tests.helpers.small_books import small_books

DAY = pd.Timestamp


def test_every_table_is_read(shop, folder):
    books = read_books(folder(shop))
    assert {t.name: len(books.table(t.name)) for t in schema.TABLES} == {
        "items": 4,
        "price_changes": 1,
        "work": 3,
        "trips": 1,
        "lots": 1,
        "supplies": 1,
        "comparables": 2,
        "overheads": 1,
        "people": 2,
    }
    for table in schema.TABLES:
        assert list(books.table(table.name).columns) == [*(c.frame_name for c in table.columns), "row"]


def test_items_typed(shop, folder):
    items = read_books(folder(shop)).items
    # A-2 stands for two lamps, which are two items.
    assert items["item_id"].tolist() == ["A-1", "A-2/1", "A-2/2", "A-3"]
    assert items["title"].tolist() == ["Stoneware crock", "Lamp, brass", "Lamp, brass", "=Lamp shade"]
    assert items["row"].tolist() == [3, 4, 4, 5]
    assert items["cost_cents"].dtype == "Int64"
    assert items["cost_cents"].fillna(-1).tolist() == [1800, -1, -1, 0]
    assert items["list_price_cents"].fillna(-1).tolist() == [8500, 2000, 2000, -1]
    assert items["label_adjustment_cents"].fillna(0).tolist() == [310, 0, 0, -50]
    assert items["quantity"].dtype == "int64"
    assert items["quantity"].tolist() == [1, 1, 1, 1]
    assert items["bought_on"].tolist() == [DAY("2026-03-07")] * 3 + [DAY("2026-03-08")]
    assert items["sold_on"].isna().tolist() == [False, True, True, False]
    assert items["gone_how"].tolist() == ["", "", "", "donated"]
    assert items["venue"].dtype == "str"


@pytest.mark.worked
def test_measures_become_inches_and_pounds(shop, folder):
    items = read_books(folder(shop)).items
    assert items.at[1, "length_in"] == pytest.approx(59)  # 4 x 12 + 11
    assert items.at[1, "width_in"] == pytest.approx(31 / 2.54)
    assert items.at[1, "height_in"] == pytest.approx(20.25)
    assert items.at[1, "weight_lb"] == pytest.approx(1.25)  # 1 + 4 / 16
    assert items["length_in"].isna().tolist() == [False, False, False, True]


def test_other_tables_typed(shop, folder):
    books = read_books(folder(shop))
    assert books.work["minutes"].tolist() == [130.0, 35.0, 12.5]
    assert books.work["activity"].tolist() == ["find", "photograph", "pack"]
    assert books.trips.at[0, "miles"] == 31.4
    assert books.trips["entry_cents"].isna().tolist() == [True]
    assert books.lots.at[0, "share_by"] == "expected value"
    assert books.overheads.at[0, "month"] == DAY("2026-03-01")
    assert books.people["role"].tolist() == ["owner", "hired"]
    assert books.people["payroll_burden_ppm"].fillna(0).tolist() == [0, 76_500]
    assert books.people["wage_cents"].fillna(0).tolist() == [0, 1600]
    assert books.comparables["condition"].tolist() == ["", "good"]  # in an order that the rows give
    assert books.shop.name == "The Landing"


def test_folder_and_workbook_give_equal_books(shop, folder, book):
    one, other = read_books(folder(shop)), read_books(book(shop))
    assert one.shop == other.shop
    for table in schema.TABLES:
        pd.testing.assert_frame_equal(one.table(table.name), other.table(table.name))


def test_typed_cells_of_a_workbook(tmp_path):
    made = openpyxl.Workbook()
    sheet = made.active
    sheet.title = "Items"
    sheet.append(["Item ID", "Title", "Category", "Bought on", "Cost", "sold_on", "sold_price", "zone", "weight_oz"])
    sheet.append([12, "lamp", "lamps", dt.datetime(2026, 3, 7), 3 * 1.37, dt.date(2026, 4, 2), 10, 5, 40])
    path = tmp_path / "typed.xlsx"
    made.save(path)
    items = read_books(path).items
    assert items.loc[0, ["item_id", "cost_cents", "sold_price_cents", "zone", "weight_lb"]].tolist() == [
        "12",
        411,
        1000,
        "5",
        2.5,
    ]
    assert items.at[0, "bought_on"] == DAY("2026-03-07")


def test_five_columns_are_enough(folder):
    books = read_books(folder({"items": "item_id,title,category,bought_on,cost\n1,a,b,2026-01-02,3\n"}))
    assert len(books.items) == 1
    assert books.notes == ()
    assert books.shop.currency == "USD"
    assert all(books.table(t.name).empty for t in schema.TABLES if t.name != "items")
    assert books.work["minutes"].dtype == "float64"


def test_header_rows_bom_and_spelling(folder):
    text = "\ufeff# my shop\n\nItem-ID, TITLE ,category,Bought On,cost\n1,a,b,2026-01-02,3\n"
    books = read_books(folder({"items": text}))
    assert books.items["row"].tolist() == [4]
    assert books.items["item_id"].tolist() == ["1"]


def test_units_of_the_shop(folder):
    shop = "key,value\nlength_unit,cm\nweight_unit,kg\ncurrency,EUR\n"
    header = "item_id,title,category,bought_on,cost,length,width_in,height_mm,weight\n"
    items = read_books(folder({"shop": shop, "items": header + "1,a,b,2026-01-02,€3.20,30.48,4,254,1.2\n"})).items
    row = items.iloc[0]
    assert row["length_in"] == pytest.approx(12)
    assert row["width_in"] == 4
    assert row["height_in"] == pytest.approx(10)
    assert row["weight_lb"] == pytest.approx(1.2 / 0.45359237)
    assert row["cost_cents"] == 320


def test_shielded_text_comes_back_plain(folder):
    header = "item_id,title,category,bought_on,cost,note\n"
    items = read_books(folder({"items": header + "1,'=SUM(A1),b,2026-01-02,3,'90s lamp\n"})).items
    assert items.at[0, "title"] == "=SUM(A1)"
    assert items.at[0, "note"] == "'90s lamp"


def test_hashes_rules_and_assumptions(shop, folder):
    home = folder(shop)
    (home / "assumptions.toml").write_text("[hours]\n")
    (home / "rules" / "cards").mkdir(parents=True)
    (home / "rules" / "cards" / "own.toml").write_text("x = 1\n")
    books = read_books(home)
    assert books.rules_folder == home / "rules"
    assert books.assumptions_file == home / "assumptions.toml"
    assert books.hashes["items.csv"] == hashlib.sha256((home / "items.csv").read_bytes()).hexdigest()
    assert {"assumptions.toml", "rules/cards/own.toml", "shop.csv"} <= set(books.hashes)
    (home / "Notes.csv").write_text("not ours\n")
    (home / "shop.csv").rename(home / "Shop.CSV")
    assert book_hashes(home) == read_books(home).hashes


def test_lot_share_may_leave_cost_blank(shop, folder):
    books, problems = inspect_books(folder(shop))
    assert books is not None
    assert not [p for p in problems if p.column == "cost"]


def test_all_problems_at_once_in_order(folder):
    header = "item_id,title,category,bought_on,cost,sold_on,sold_price\n"
    text = header + "1,a,b,2026-13-02,3,,\n1,,b,2026-01-02,-3,,\n2,c,b,2026-01-02,x,2025-01-01,2\n"
    books, problems = inspect_books(folder({"items": text, "price_changes": "item_id,changed_on,price\n9,1,2\n"}))
    assert books is None
    stops = [(p.file, p.row, p.column) for p in problems if p.severity == "stop"]
    assert stops == [
        ("items.csv", 2, "bought_on"),
        ("items.csv", 3, "title"),
        ("items.csv", 3, "cost"),
        ("items.csv", 3, "item_id"),
        ("items.csv", 4, "cost"),
        ("items.csv", 4, "sold_on"),
        ("price_changes.csv", 2, "changed_on"),
        ("price_changes.csv", 2, "item_id"),
    ]


def test_read_books_raises_them_all(folder):
    home = folder({"items": "item_id,title,category,bought_on,cost\n1,,b,2026-01-02,-3\n"})
    with pytest.raises(BooksError, match="2 problems") as caught:
        read_books(home)
    assert 'items.csv row 2, column cost: "-3"' in str(caught.value)
    again = pickle.loads(pickle.dumps(caught.value))  # noqa: S301
    assert again.problems == caught.value.problems


def test_dates_after_the_day_of_the_report(folder):
    header = "item_id,title,category,bought_on,cost\n"
    home = folder({"items": header + "1,a,b,2026-01-02,3\n2,a,b,2026-03-02,3\n"})
    assert not read_books(home).notes
    notes = read_books(home, as_of=dt.date(2026, 2, 1)).notes
    assert [(n.row, n.column, n.found) for n in notes] == [(3, "bought_on", "2026-03-02")]


def test_comments_are_listed(shop, folder):
    notes = [n for n in read_books(folder(shop)).notes if "#" in n.found]
    assert [(n.row, n.found) for n in notes] == [(2, "row 2 beginning with #")]


def test_improbable_comparables_are_noted(tmp_path):
    """A slipped point beside what the thing was listed at, or what its category brings; a dear one is no slip."""
    books = small_books(
        tmp_path,
        items="""
        item_id,title,category,bought_on,cost,listed_on,list_price
        A,Portable,typewriters,2026-01-03,10.00,2026-01-05,120.00
        B,Desktop,typewriters,2026-01-03,10.00,2026-01-05,150.00
        """,
        comparables="""
        item_id,category,sold_on,price
        A,,2026-01-02,1100.00
        B,,2026-01-02,290.00
        ,typewriters,2026-01-02,13350
        ,typewriters,2026-01-02,410
        ,typewriters,2026-01-02,95
        """,
    )
    told = [str(note) for note in books.notes if "decimal point" in str(note)]
    assert ["1,100.00" in told[0], "13,350.00" in told[1], len(told)] == [True, True, 2]
    assert "about 120.00, as A usually brings" in told[0]
