"""A folder to begin with: every table, examples that are not read, nothing overwritten, nothing assumed anew."""

from __future__ import annotations

import csv
import datetime as dt
import re
import tomllib

import openpyxl
import pytest

from flipkit.assumptions import load_assumptions
from flipkit.books import schema
from flipkit.books.check import check, make_folder
from flipkit.books.read import inspect_books, read_books
from flipkit.books.record import record_listing, record_work
from flipkit.errors import BooksError
from flipkit.imports.apply import apply
from flipkit.imports.detect import propose
from flipkit.rules.tables import load_rules


def test_every_table_has_its_headers_and_two_examples(tmp_path):
    made = make_folder(tmp_path / "books")
    assert {f"{table.name}.csv" for table in schema.TABLES} < set(made.made)
    for table in schema.TABLES:
        with (tmp_path / "books" / table.file).open(newline="", encoding="utf-8") as handle:
            header, *examples = csv.reader(handle)
        assert header == [column.name for column in table.columns]
        assert len(examples) == 2
        assert all(row[0].startswith("# example") for row in examples)
    books, problems = inspect_books(tmp_path / "books")
    assert books is not None
    assert problems == []
    assert all(books.table(table.name).empty for table in schema.TABLES)


def test_the_examples_are_right_when_they_are_made_records(tmp_path):
    """With the mark taken away the example rows are books that can be read."""
    make_folder(tmp_path / "books")
    for table in schema.TABLES:
        path = tmp_path / "books" / table.file
        path.write_text(path.read_text().replace("# example ", "").replace("# example", ""))
    items = tmp_path / "books" / "items.csv"
    items.write_text(items.read_text().replace("2026-04-20,2026-09-01,donated", "2026-04-20,,"))
    work = tmp_path / "books" / "trips.csv"
    assert work.exists()
    books, problems = inspect_books(tmp_path / "books")
    assert books is not None, [str(problem) for problem in problems]
    assert len(books.items) == len(books.work) == 2


def test_nothing_is_overwritten(tmp_path):
    home = tmp_path / "books"
    home.mkdir()
    (home / "items.csv").write_text("mine")
    made = make_folder(home)
    assert "items.csv" in made.kept
    assert (home / "items.csv").read_text() == "mine"
    assert make_folder(home).made == ()
    (tmp_path / "file").write_text("x")
    with pytest.raises(BooksError, match="choose another"):
        make_folder(tmp_path / "file")
    with pytest.raises(BooksError, match="make that one first"):
        make_folder(tmp_path / "no" / "such")


def test_assumptions_explain_every_line_and_change_nothing(tmp_path):
    make_folder(tmp_path / "books")
    path = tmp_path / "books" / "assumptions.toml"
    assert load_assumptions(path) == load_assumptions()
    text = path.read_text()
    packaged = load_assumptions().entries
    for entry in packaged.values():
        assert entry.meaning in text
    uncommented = re.sub(r"^# (\w+ = )", r"\1", text, flags=re.MULTILINE)
    path.write_text(uncommented)
    again = load_assumptions(path)
    assert {key: entry.value for key, entry in again.entries.items()} == {k: e.value for k, e in packaged.items()}


def test_templates_are_not_read_until_they_are_filled_in(tmp_path):
    make_folder(tmp_path / "books")
    rules = tmp_path / "books" / "rules"
    assert load_rules(rules).own == ()
    for template in rules.rglob("*.template"):
        template.rename(template.with_suffix(""))
    table = rules / "rate_cards" / "my-post-ground-2026-01.csv"
    table.write_text("weight,1,2\n1,5.00,6.00\n2,5.50,6.50\n")
    loaded = load_rules(rules)
    assert "my-venue" in loaded.fee_schedules
    assert "my-post" in loaded.rate_cards


def test_the_readme_and_the_assumptions_come_along_and_the_notebooks_with_lab(tmp_path):
    make_folder(tmp_path / "books")
    assert (tmp_path / "books" / "README.md").read_text().startswith("# Books")
    assert not list((tmp_path / "books").rglob("*.ipynb"))
    assert tomllib.loads((tmp_path / "books" / "assumptions.toml").read_text())


def test_an_export_goes_into_a_started_folder(tmp_path):
    make_folder(tmp_path / "books")
    path = tmp_path / "stock.csv"
    path.write_text("Item,Category,Bought,Cost\nlamp,lamps,2026-03-07,5\n")
    done = apply(propose(path, into=tmp_path / "books"), tmp_path / "books")
    assert done.added == 1
    text = (tmp_path / "books" / "items.csv").read_text()
    assert "# example A-0001" in text
    assert read_books(tmp_path / "books").items["title"].tolist() == ["lamp"]


def test_check_of_the_demo_says_what_its_report_can_and_cannot_say(demo_folder):
    found = check(demo_folder)
    assert found.stops == ()
    text = found.text()
    assert "The report can say:" in text
    assert "an hourly return with its interval for board games" in text
    assert "The report cannot say, or only assume:" in text
    assert text.rstrip().splitlines()[-4:][0].startswith("To gain most") or "To gain most, record next:" in text


@pytest.mark.parametrize(
    ("tables", "words"),
    [
        ({}, "what an hour earned: nothing sold yet"),
        ({"sold": True}, "your own hours: no work table, so hours are standard minutes"),
        ({"sold": True}, "with fewer than 10 sales each: lamps (1): too few to tell"),
        ({"sold": True}, "postage of 1 posted sale: no label_paid"),
        ({"sold": True}, "fees of 1 sale: neither fees_paid nor a schedule"),
        (
            {"sold": True, "work": True},
            "hours of find, research, clean, photograph, write, store, messages, post, returns: none",
        ),
    ],
)
def test_check_names_what_is_lacking(tmp_path, tables, words):
    sale = ",listed_on,sold_on,sold_price\nA-1,lamp,lamps,2026-01-02,5,2026-01-03,2026-02-02,9\n"
    head = "item_id,title,category,bought_on,cost"
    (tmp_path / "items.csv").write_text(head + (sale if tables.get("sold") else "\nA-1,lamp,lamps,2026-01-02,5\n"))
    if tables.get("work"):
        (tmp_path / "work.csv").write_text("date,activity,minutes,worker,item_id\n2026-01-05,pack,9,me,A-1\n")
    assert words in check(tmp_path).text()


def test_check_puts_the_greatest_gain_first(tmp_path):
    (tmp_path / "items.csv").write_text("item_id,title,category,bought_on,cost\nA-1,lamp,lamps,2026-01-02,5\n")
    first, *rest = check(tmp_path).next_to_record
    assert first == "each sale: sold_on and sold_price"
    assert len(rest) >= 3


def test_check_of_broken_books_lists_and_stops(tmp_path):
    rows = "\n".join(f"A-{n},lamp,lamps,2.1.2026,5" for n in range(9))
    (tmp_path / "items.csv").write_text(f"item_id,title,category,bought_on,cost\n{rows}\n")
    text = check(tmp_path).text()
    assert text.startswith("9 problems to mend before a report can be made:")
    assert "items.csv, column bought_on: 9 times (rows 2, 3, 4, 5, 6, 7, 8, 9 and 1 more)" in text
    assert "write 2026-02-01 or 2026-01-02" in text
    assert "The report can say" not in text


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (["A,Jug,stoneware,2026-01-03,10"], "what 1 item in 1 category cost"),
        (["A,Jug,stoneware,2026-01-03,10", "B,Lamp,lamps,2026-01-03,10"], "what 2 items in 2 categories cost"),
    ],
)
def test_one_of_a_kind_is_counted_in_the_singular(tmp_path, rows, words):
    lines = ["item_id,title,category,bought_on,cost", *rows]
    (tmp_path / "items.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert words in check(tmp_path).text()


@pytest.mark.parametrize("metric", [False, True])
def test_a_workbook_to_begin_with_holds_every_table_and_reads_as_empty(tmp_path, metric):
    made = make_folder(tmp_path / "books", workbook=True, metric=metric, currency="EUR")
    assert not [name for name in made.made if name.endswith(".csv")]
    path = tmp_path / "books" / "books.xlsx"
    books, problems = inspect_books(path)
    assert books is not None
    assert problems == []
    assert all(books.table(table.name).empty for table in schema.TABLES)
    assert books.shop.currency == "EUR"
    assert (books.shop.length_unit, books.shop.weight_unit) == (("cm", "kg") if metric else ("in", "lb"))
    heads = [cell.value for cell in openpyxl.load_workbook(path)["items"][1]]
    assert ("length_cm" in heads) == metric
    assert ("weight_lb" in heads) != metric


def test_the_workbook_explains_its_headers_and_offers_its_words(tmp_path):
    make_folder(tmp_path / "books", workbook=True)
    book = openpyxl.load_workbook(tmp_path / "books" / "books.xlsx")
    assert book.sheetnames == [*(table.name for table in schema.TABLES), "shop"]
    for table in schema.TABLES:
        sheet = book[table.name]
        for column, cell in zip(table.columns, sheet[1], strict=True):
            assert cell.value == column.name
            assert column.meaning in cell.comment.text
            offered = [
                one.formula1 for one in sheet.data_validations.dataValidation if f"{cell.column_letter}9" in one.sqref
            ]
            if column.choices:
                assert offered == [f'"{",".join(column.choices)}"']
        assert str(sheet["A2"].value).startswith("# example")
    work = book["work"]
    places = {cell.value: cell.column_letter for cell in work[1]}
    lists = {str(one.sqref): one.formula1 for one in work.data_validations.dataValidation}
    assert lists[f"{places['item_id']}2:{places['item_id']}5000"] == "items!$A$2:$A$5000"
    assert lists[f"{places['worker']}2:{places['worker']}5000"] == "people!$A$2:$A$5000"
    # A list written out in a cell may hold 255 characters.
    assert all(len(one.formula1) <= 255 for sheet in book for one in sheet.data_validations.dataValidation)


def test_a_row_typed_into_the_workbook_and_one_recorded_are_read(tmp_path):
    make_folder(tmp_path / "books", workbook=True)
    path = tmp_path / "books" / "books.xlsx"
    book = openpyxl.load_workbook(path)
    sheet = book["items"]
    for at, value in enumerate(("00123", "Jug", "jugs", dt.date(2026, 1, 3), 4), start=1):
        sheet.cell(4, at, value)
    book["people"].append(["me"])
    book.save(path)
    assert record_listing(path, "00123", "20", on=dt.date(2026, 1, 5))
    assert record_work(path, "00123", "pack", "1 h", who=(), on=dt.date(2026, 1, 6))
    found = read_books(path)
    assert found.items["list_price_cents"].tolist() == [2000]
    assert found.work["minutes"].tolist() == [60.0]
    kept = openpyxl.load_workbook(path)
    assert len(kept["work"].data_validations.dataValidation) == len(book["work"].data_validations.dataValidation)
    assert kept["items"]["A1"].comment is not None


def test_start_asks_for_a_currency_of_three_letters(tmp_path):
    with pytest.raises(BooksError, match="three capital letters"):
        make_folder(tmp_path / "books", currency="euro")
    make_folder(tmp_path / "books", metric=True, currency="SEK")
    assert "currency,SEK" in (tmp_path / "books" / "shop.csv").read_text()
    assert "write your own in SEK" in (tmp_path / "books" / "assumptions.toml").read_text()
    assert (tmp_path / "books" / "trips.csv").read_text().startswith("trip_id,date,km,")
