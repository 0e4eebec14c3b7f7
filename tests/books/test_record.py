"""What happens is written down one row at a time: safely, said back, taken back, whatever else the file holds."""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import os
import subprocess
import sys
import time
import zipfile
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.table import Table as SpreadsheetTable

from flipkit.books.check import check
from flipkit.books.read import read_books
from flipkit.books.record import SHEET_ROWS, find_books, timing_sheet
from flipkit.cli.main import main
from flipkit.errors import RecordError

WAITING = "A-4,Blue vase,stoneware,2026-03-07,5.00,,,,,,,,,,2026-03-20,45.00,,,,,,,,,,,,,,\n"


def run(books: Path, *words: str, fails: bool = False) -> str:
    result = CliRunner().invoke(main, [*words, "--books", str(books)])
    assert (result.exit_code != 0) == fails, result.output
    if fails:
        assert len(result.output.strip().splitlines()) == 1, result.output
    return result.output


@pytest.fixture(params=["folder", "workbook"])
def books(request, shop, folder, book) -> Path:
    shop["items"] += WAITING
    return folder(shop) if request.param == "folder" else book(shop)


def records(books: Path, table: str) -> list[tuple]:
    frame = read_books(books).table(table)
    return list(frame.drop(columns="row").astype(str).itertuples(index=False))


def test_an_item_may_be_called_by_its_title(books):
    assert "A-4 (Blue vase): $41.00" in run(books, "price", "blue vase", "41", "--on", "2026-11-12")
    assert "packing for A-4 (Blue vase)" in run(books, "log", "Blue Vase", "pack", "3", "--who", "me")
    assert "did you mean Blue vase" in run(books, "price", "Blue vases", "41", fails=True)


def test_of_two_items_with_one_title_neither_is_taken(shop, folder):
    shop["items"] += WAITING + WAITING.replace("A-4", "A-5")
    said = run(folder(shop), "price", "Blue vase", "41", fails=True)
    assert "name the one by its item_id" in said


def test_each_command_writes_one_row_says_it_back_and_takes_it_back(books):
    before = {name: records(books, name) for name in ("items", "work", "price_changes")}
    for words, table, said in (
        (("log", "A-4", "pack", "31min", "--who", "Ann"), "work", "31 minutes of packing for A-4 (Blue vase), Ann"),
        (("log", "T-1", "find", "1 h 5 min", "--who", "me"), "work", "65 minutes of finding for trip T-1, me"),
        (
            ("log", "stoneware", "photograph", "40", "--who", "me"),
            "work",
            "40 minutes of photographing for stoneware",
        ),
        (
            ("log", "day", "store", "10", "--who", "me", "--count", "3"),
            "work",
            "10 minutes of storing for all of the day",
        ),
        (("price", "A-4", "39.50"), "price_changes", "A-4 (Blue vase): $39.50 from 5 Apr 2026, $45.00 before"),
        (("sold", "A-4", "64", "--shipping", "12.5", "--venue", "riverside"), "items", "sold 5 Apr 2026 for $64.00"),
        (("gone", "A-4", "Donated"), "items", "A-4 (Blue vase): donated 5 Apr 2026"),
        (("listed", "A-3", "9"), "items", ""),
    ):
        out = run(books, *words, "--on", "2026-04-05", fails=not said)
        if not said:
            continue
        assert said in out
        now = records(books, table)
        if table == "items":
            assert len(now) == len(before[table])
            assert sum(row not in before[table] for row in now) == 1
        else:
            assert now[:-1] == before[table]
        assert run(books, words[0], "--undo").startswith("Took back")
        assert {name: records(books, name) for name in before} == before
    assert "nothing left to undo for flipkit gone" in run(books, "gone", "--undo", fails=True)


def test_what_is_written_is_what_the_books_read(books):
    run(books, "sold", "A-4", "64", "--shipping", "12.5", "--venue", "riverside", "--zone", "4", "--on", "2026-04-05")
    run(books, "log", "A-4", "pack", "31min", "--who", "both", "--on", "2026-04-05")
    found = read_books(books)
    item = found.items.set_index("item_id").loc["A-4"]
    assert (item["sold_price_cents"], item["shipping_charged_cents"], item["zone"]) == (6400, 1250, "4")
    assert item["sold_on"].date() == dt.date(2026, 4, 5)
    work = found.work[found.work["item_id"] == "A-4"].sort_values("row")
    assert work["worker"].tolist() == ["me", "Ann"]
    assert work["minutes"].tolist() == [31.0, 31.0]
    assert work["item_id"].tolist() == ["A-4", "A-4"]
    run(books, "log", "--undo")
    assert len(read_books(books).work) == 3


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("log", "A-44", "pack", "3", "--who", "me"), "did you mean A-4"),
        (("log", "jukeboxes", "pack", "3", "--who", "me"), "categories: stoneware, table lamps"),
        (("log", "A-4", "pakc", "3", "--who", "me"), "one of find, research, clean"),
        (("log", "A-4", "pack", "3", "--who", "Bob"), "nobody in people is called Bob; known: me, Ann"),
        (("log", "A-4", "pack", "3"), "say who worked: --who me or --who Ann"),
        (("log", "A-4", "pack", "soon", "--who", "me"), "the time must be a measure such as"),
        (("log", "A-4", "pack"), "flipkit log --help"),
        (("log", "A-4", "pack", "3", "--who", "me", "--on", "2026-03-01"), "before the day you bought it, 7 Mar 2026"),
        (("sold", "A-9", "5"), "no item A-9"),
        (("sold", "A-1", "5"), "A-1 sold on 2 Apr 2026 already"),
        (("sold", "A-4", "five"), "sold price must be an amount"),
        (("sold", "A-4", "€5"), "in USD"),
        (("sold", "A-4", "(5)"), "at least 0"),
        (("sold", "A-4", "5", "--on", "2026-03-01"), "before the day you bought it"),
        (("sold", "A-4", "5", "--on", "2026-03-10"), "before the day you listed it"),
        (("sold", "A-4", "5", "--on", "2999-03-10"), "today or earlier"),
        (("sold", "A-2", "5"), "stands for 2 things"),
        (("listed", "A-4", "5"), "you listed A-4 on 20 Mar 2026"),
        (("price", "A-3", "5"), "A-3 has been gone since 1 Jun 2026 (donated"),
        (("gone", "A-4", "lost"), "one of donated, scrapped, kept"),
        (("gone", "A-1", "donated"), "A-1 sold on 2 Apr 2026"),
        (("sold", "A-4", "--undo"), "--undo stands alone"),
    ],
)
def test_what_cannot_be_is_one_line_and_writes_nothing(books, words, said):
    before = (books if books.is_file() else books / "items.csv").read_bytes()
    files = {path.name for path in books.parent.iterdir()}
    assert said.lower() in run(books, *words, fails=True).lower()
    assert (books if books.is_file() else books / "items.csv").read_bytes() == before
    assert {path.name for path in books.parent.iterdir()} == files


def test_a_csv_file_keeps_every_other_byte(shop, folder):
    mine = shop["items"].replace("\n", "\r\n").replace(",note\r\n", ",note,my own column\r\n")
    mine = mine.replace("A-1,Stoneware crock", '"A-1","Stoneware ""big"" crock"') + WAITING.strip()
    books = folder(shop)
    items, work = books / "items.csv", books / "work.csv"
    items.write_bytes(b"\xef\xbb\xbf" + mine.encode() + b',"kept, as it is"')
    was, was_work = items.read_bytes(), work.read_bytes()
    os.chmod(items, 0o640)
    run(books, "sold", "A-4", "64", "--venue", 'the "old" barn, east', "--on", "2026-04-05")
    now = items.read_bytes()
    assert now.startswith(was[: was.index(b"A-4,Blue")])
    assert now.endswith(b'2026-04-05,64.00,,"the ""old"" barn, east",,,,,,,,,,,"kept, as it is"')
    assert items.stat().st_mode & 0o777 == 0o640
    run(books, "log", "A-4", "pack", "5", "--who", "me", "--on", "2026-04-05")
    run(books, "log", "--undo")
    run(books, "sold", "--undo")
    assert items.read_bytes() == was
    assert work.read_bytes() == was_work


def test_five_columns_are_enough_and_missing_ones_are_added(tmp_path):
    (tmp_path / "items.csv").write_text(
        "item_id,title,category,bought_on,cost\nA,Jug,jugs,2026-01-03,2\nB,Mug,jugs,2026-01-03,2"
    )
    run(tmp_path, "listed", "A", "20", "--on", "2026-01-04")
    run(tmp_path, "price", "A", "18", "--on", "2026-01-05")
    run(tmp_path, "log", "A", "pack", "12", "--on", "2026-01-06")
    run(tmp_path, "sold", "a", "17", "--on", "2026-01-06")
    found = check(tmp_path)
    assert [str(problem) for problem in found.problems if "fewer cells" in str(problem)] == []
    assert found.books is not None
    assert found.books.items["sold_price_cents"].tolist()[0] == 1700
    assert found.books.work["worker"].tolist() == ["me"]
    assert found.books.price_changes["price_cents"].tolist() == [1800]


def test_a_row_that_was_changed_since_is_not_taken_back(books):
    run(books, "sold", "A-4", "64", "--on", "2026-04-05")
    if books.is_dir():
        path = books / "items.csv"
        path.write_text(path.read_text().replace("64.00", "65.00"))
    else:
        made = openpyxl.load_workbook(books)
        cells = [cell for row in made["items"] for cell in row if cell.value == 64]
        assert len(cells) == 1
        cells[0].value = 65
        made.save(books)
    assert "was changed after it was recorded" in run(books, "sold", "--undo", fails=True)


def test_rows_that_moved_since_are_found_again(shop, folder):
    shop["items"] += WAITING
    books = folder(shop)
    run(books, "sold", "A-4", "64", "--on", "2026-04-05")
    run(books, "log", "A-4", "pack", "7", "--who", "me", "--on", "2026-04-05")
    for name in ("items", "work"):
        head, *rows = (books / f"{name}.csv").read_text().splitlines()
        (books / f"{name}.csv").write_text("\n".join([head, *reversed(rows)]) + "\n")
    run(books, "log", "--undo")
    run(books, "sold", "--undo")
    found = read_books(books)
    assert len(found.work) == 3
    assert found.items.set_index("item_id")["sold_on"].isna()["A-4"]


def test_an_open_spreadsheet_a_lock_and_a_read_only_file_stop_it(shop, folder, monkeypatch):
    books = folder(shop)
    lock = books / ".~lock.work.csv#"
    lock.write_text("me")
    assert "open in a spreadsheet" in run(books, "log", "A-2", "pack", "3", "--who", "me", fails=True)
    lock.unlink()
    monkeypatch.setattr("flipkit.books.record._WAIT", 0.1)
    held = books / ".flipkit-recorded.lock"
    held.write_text("")
    assert "another command is writing" in run(books, "log", "A-2", "pack", "3", "--who", "me", fails=True)
    os.utime(held, (time.time() - 100, time.time() - 100))
    run(books, "log", "A-2", "pack", "3", "--who", "me")
    assert not held.exists()


def workbook_of_a_seller(path: Path) -> None:
    """Dates as dates, a table, drop-downs, a formula with its result, a sheet of sums, a column of the seller's own."""
    made = openpyxl.Workbook()
    sheet = made.worksheets[0]
    sheet.title = "Items"
    sheet.append(["item_id", "title", "category", "bought_on", "cost", "sold_on", "sold_price", "my margin"])
    for name in ("A", "B"):
        sheet.append([name, "Jug", "jugs", dt.date(2026, 1, 3), 2.5, None, None, None])
        for column in "DF":
            sheet[f"{column}{sheet.max_row}"].number_format = "DD.MM.YYYY"
    sheet["H2"] = "=G2-E2"
    sheet.add_table(SpreadsheetTable(displayName="mine", ref="A1:H3"))
    choices = DataValidation(type="list", formula1='"jugs,lamps"')
    choices.add("C2:C500")
    sheet.add_data_validation(choices)
    sheet.freeze_panes = "A2"
    work = made.create_sheet("work")
    work.append(["date", "activity", "minutes", "worker", "item_id"])
    work.append([dt.date(2026, 1, 4), "clean", 12, "me", "A"])
    work["A2"].number_format = "yyyy-mm-dd"
    work.add_table(SpreadsheetTable(displayName="logged", ref="A1:E2"))
    sums = made.create_sheet("sums")
    sums["A1"] = "=SUM(Items!G2:G9)"
    buffer = io.BytesIO()
    made.save(buffer)
    # As a spreadsheet leaves it: formulas with their results.
    with zipfile.ZipFile(buffer) as old, zipfile.ZipFile(path, "w") as new:
        for name in old.namelist():
            body = old.read(name).replace(b"</f><v></v>", b"</f><v>7</v>").replace(b"</f><v />", b"</f><v>7</v>")
            new.writestr(name, body)


def test_a_workbook_keeps_its_sheets_formats_tables_and_results(tmp_path):
    path = tmp_path / "shop.xlsx"
    workbook_of_a_seller(path)
    assert check(path).books is not None, [str(p) for p in check(path).problems]

    def parts() -> dict[str, str]:
        with zipfile.ZipFile(path) as archive:
            return {name: hashlib.sha256(archive.read(name)).hexdigest() for name in archive.namelist()}

    before = parts()
    run(path, "sold", "B", "30", "--on", "2026-01-09")
    run(path, "log", "B", "pack", "9", "--on", "2026-01-09")
    run(path, "price", "B", "5", "--on", "2026-01-09", fails=True)
    changed = {name for name, digest in parts().items() if before.get(name) != digest}
    assert changed == {
        "xl/worksheets/sheet1.xml", "xl/worksheets/sheet2.xml", "xl/tables/table2.xml"
    }  # fmt: skip
    made = openpyxl.load_workbook(path)
    sheet, work = made["Items"], made["work"]
    assert (sheet["F3"].value, sheet["F3"].number_format) == (dt.datetime(2026, 1, 9), "DD.MM.YYYY")
    assert sheet["H2"].value == "=G2-E2"
    assert sheet.freeze_panes == "A2"
    assert sheet.data_validations.dataValidation[0].sqref.ranges
    assert work.tables["logged"].ref == "A1:E3"
    assert (work["A3"].value, work["A3"].number_format) == (dt.datetime(2026, 1, 9), "yyyy-mm-dd")
    # The result of the formula is still there for whoever reads the file.
    assert openpyxl.load_workbook(path, data_only=True)["Items"]["H2"].value == 7
    assert check(path).books is not None


def test_a_formula_is_not_written_over_and_a_missing_sheet_is_begun(tmp_path):
    path = tmp_path / "shop.xlsx"
    workbook_of_a_seller(path)
    made = openpyxl.load_workbook(path)
    made["Items"]["F3"] = "=D3+2"
    made["Items"]["H2"] = None
    made["sums"]["A1"] = None
    made.save(path)
    assert "holds a formula" in run(path, "sold", "B", "30", "--on", "2026-01-09", fails=True)
    run(path, "listed", "A", "9", "--on", "2026-01-05")
    run(path, "price", "A", "8", "--on", "2026-01-06")
    made = openpyxl.load_workbook(path)
    assert [cell.value for cell in made["price_changes"][2]] == ["A", "2026-01-06", 8]
    assert [cell.value for cell in made["Items"][1]][-2:] == ["listed_on", "list_price"]
    run(path, "price", "--undo")
    run(path, "listed", "--undo")
    assert openpyxl.load_workbook(path)["Items"]["I2"].value is None


def test_other_workbooks_are_told_apart(tmp_path):
    old = tmp_path / "shop.ods"
    old.write_bytes(b"x")
    assert "save it as an .xlsx" in run(old, "sold", "A", "3", fails=True)
    broken = tmp_path / "shop.xlsx"
    broken.write_bytes(b"x")
    assert "does not open" in run(broken, "sold", "A", "3", fails=True)


def test_where_the_books_are(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(RecordError, match="--books"):
        find_books(None)
    workbook_of_a_seller(tmp_path / "shop.xlsx")
    assert find_books(None) == tmp_path / "shop.xlsx"
    with pytest.raises(RecordError, match="there are no books"):
        find_books(tmp_path / "none")


def test_no_heavy_import_stands_between_a_parcel_and_its_row(shop, folder):
    books = folder(shop)
    program = (
        "import sys; from click.testing import CliRunner; from flipkit.cli.main import main\n"
        f"r = CliRunner().invoke(main, ['log', 'A-2', 'pack', '31min', '--who', 'me', '--books', {str(books)!r}])\n"
        "assert r.exit_code == 0, r.output\n"
        "print([name for name in ('pandas', 'scipy', 'altair', 'pint', 'openpyxl') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_timing_sheet_prints_on_one_page(shop, folder, tmp_path):
    books = folder(shop)
    page = timing_sheet(books, on=dt.date(2026, 4, 5))
    assert page.count("<tr>") == SHEET_ROWS + 1
    assert "Who: me, Ann." in page
    assert "flipkit log A-3 pack 31min --who me --on 2026-04-05" in page
    # 24 rows of 7.6 mm, a header row, a title and three lines of text are under 240 mm; Letter leaves 259.
    assert SHEET_ROWS * 7.6 + 55 < 259
    out = run(books, "timesheet", "--out", str(tmp_path / "sheet.html"))
    assert "print it and write your times on it as you work" in out
    assert (tmp_path / "sheet.html").read_text().startswith("<!doctype html>")
