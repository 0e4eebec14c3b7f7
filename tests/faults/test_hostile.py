"""Hostile texts, files and settings: taken, or refused in one line with what, where and how to mend it."""

from __future__ import annotations

import errno
import json
import os
import re
import socket
import time
import zipfile

import numpy as np
import openpyxl
import pytest
from click.testing import CliRunner

from flipkit.assumptions import load_assumptions
from flipkit.books import write
from flipkit.books.read import read_books
from flipkit.books.tabular import WorkbookError, read_sheets
from flipkit.books.write import csv_text, escape_formula, unescape_formula
from flipkit.charts import style
from flipkit.cli import main as cli
from flipkit.cli.answers import visible
from flipkit.economics.items import LONGEST_TITLE
from flipkit.errors import AssumptionError, BooksError, FlipkitError, MeasureError, MoneyError, PackError
from flipkit.imports.detect import propose
from flipkit.imports.mapping import read_mapping
from flipkit.money import read_cents, read_ppm
from flipkit.pack import build
from flipkit.pack.build import read_run, replacing, require_writable
from flipkit.pack.run import NotebookTask, run_notebooks
from flipkit.reports.study import open_study
from flipkit.units import read_length, read_weight
from tests.helpers.fuzz import failures
from tests.helpers.kills import files_of, small_shop
from tests.helpers.random_shops import faults_of_shop
from tests.helpers.small_books import ITEMS_HEAD, small_books


def test_five_thousand_fuzzed_inputs_are_taken_or_refused_in_words(tmp_path):
    assert list(failures(5_000, tmp_path, seed=11)) == []


def test_a_shop_that_has_sold_nothing_says_what_is_left_out(tmp_path):
    small_books(tmp_path, items=f"{ITEMS_HEAD},sold_on\nA-1,lamp,lamps,2026-03-07,3.00,")
    assert open_study(tmp_path, month="2026-03").left_out == []


@pytest.mark.parametrize("seed", [3_010, 10_329, 10_491])
def test_a_random_shop_is_summed_exactly_and_says_no_nan(tmp_path, seed):
    assert faults_of_shop(tmp_path, seed) == []


@pytest.mark.parametrize(
    ("read", "given", "kind"),
    [
        (read_length, "14 in (approx", MeasureError),
        (read_weight, "9lb(", MeasureError),
        (read_length, "1 " + "(" * 5_000, MeasureError),
        (read_length, "1 a" + " " * 100_000 + "b", MeasureError),
        (read_ppm, "1e999999999", MoneyError),
        (read_ppm, "1e-999999999", MoneyError),
        (read_ppm, 10**5_000, MoneyError),
        (read_cents, 10**5_000, MoneyError),
        (read_cents, "9" * 100_000, MoneyError),
    ],
    ids=range(9),
)
def test_a_cell_that_crashed_a_reader_is_refused_at_once_and_briefly(read, given, kind):
    began = time.monotonic()
    with pytest.raises(kind) as caught:
        read(given)
    assert time.monotonic() - began < 3, "importing pint takes a part of a second"
    assert len(str(caught.value)) < 500


@pytest.mark.parametrize(
    ("key", "value", "need"),
    [
        ("report.resamples", "1e12", "at most"),
        ("report.window_months", "1e9", "at most 600"),
        ("report.confidence", "0", "at least 50 %"),
        ("report.confidence", "1e999999999", "a rate"),
        ("stock.horizon_days", "1e12", "at most"),
        ("help.pace", "1e300", "at most 1,000,000,000"),
        ("help.pace", [], "a number"),
        ("minutes.pack", "1e300", "at most 1,000,000,000"),
    ],
)
def test_an_absurd_setting_is_refused_before_anything_is_computed(key, value, need):
    with pytest.raises(AssumptionError) as caught:
        load_assumptions(overrides={key: value})
    assert key in str(caught.value)
    assert need in str(caught.value)
    assert "--set" in str(caught.value) or key in ("minutes.pack",) or "rate" in need


def test_the_largest_settings_allowed_are_computed(tmp_path):
    shop = small_shop(tmp_path / "shop")
    most = {"report.window_months": "600", "stock.horizon_days": "3650", "report.confidence": "50 %"}
    study = open_study(shop, settings=most).prepare()
    assert np.isfinite(study.items["net_cents"].to_numpy(dtype=float)).all()


OTHER_KINDS = '{"month": "", "as_of": "", "inputs": {}, "options": {"categories": [], "settings": [1]}}'
DEEP = "a = " + "[" * 5_000 + "]" * 5_000 + "\n"


@pytest.mark.parametrize(
    ("name", "body", "read", "kind"),
    [
        ("assumptions.toml", DEEP, load_assumptions, AssumptionError),
        ("mapping.toml", DEEP, read_mapping, FlipkitError),
        ("run.json", "[" * 5_000, read_run, PackError),
        ("run.json", OTHER_KINDS, read_run, PackError),
    ],
)
def test_a_file_nested_too_deeply_or_of_other_kinds_is_named(tmp_path, name, body, read, kind):
    (tmp_path / name).write_text(body)
    with pytest.raises(kind) as caught:
        read(tmp_path / name)
    assert name in str(caught.value)


def test_a_header_row_below_zero_is_refused_in_words(tmp_path):
    (tmp_path / "export.csv").write_text("Title,Cost\nlamp,3.00\n")
    (tmp_path / "mapping.toml").write_text('table = "items"\n[file]\nheader_row = -5\n')
    with pytest.raises(FlipkitError, match="header"):
        propose(tmp_path / "export.csv", mapping=read_mapping(tmp_path / "mapping.toml"))


# Disks that are full or closed.


def told(*words):
    return CliRunner().invoke(cli.main, list(words))


@pytest.mark.parametrize(
    ("number", "said"),
    [
        (errno.ENOSPC, "make room on the disk"),
        (errno.EROFS, "a folder that can be written to"),
        (errno.EACCES, "rights"),
    ],
)
def test_a_disk_that_takes_nothing_is_one_line(tmp_path, monkeypatch, number, said):
    def refused(target, body):
        raise OSError(number, os.strerror(number), str(target))

    monkeypatch.setattr(write, "_write_down", refused)
    shop = small_shop(tmp_path / "shop")
    before = files_of(tmp_path)
    drawn = ["packing", "20x14x10in", "9lb", "--drawing", str(tmp_path / "drawn.html")]
    for words, name in (
        (["start", str(tmp_path / "books")], "books"),
        (["sold", "A-0", "64", "--books", str(shop)], "shop/items.csv"),
        (["log", "A-0", "pack", "31min", "--who", "me", "--books", str(shop)], "shop/work.csv"),
        (["timesheet", "--books", str(shop), "--out", str(tmp_path / "sheet.html")], "sheet.html"),
        (drawn, "drawn.html"),
    ):
        result = told(*words)
        assert result.exit_code == 2
        (line,) = result.stderr.splitlines()
        assert line.startswith(f"flipkit: {tmp_path / name}")
        assert said in line
        assert files_of(tmp_path) == before, "nothing half made is left"


def test_no_room_for_a_pack_is_said_before_the_work(tmp_path, monkeypatch):
    class Usage:
        free = 5_000_000

    monkeypatch.setattr(build.shutil, "disk_usage", lambda place: Usage)
    with pytest.raises(PackError, match=r"free by at least 100 MB, got '5 MB': make room"):
        require_writable(tmp_path / "packs" / "2026-10")
    assert list(tmp_path.iterdir()) == []


def test_a_place_that_may_not_be_written_to_is_said_before_the_work(tmp_path, monkeypatch):
    monkeypatch.setattr(build.os, "access", lambda *_: False)
    with pytest.raises(PackError, match="in a folder that you may write to"), replacing(tmp_path / "pack"):
        pass


# The terminal.

HOSTILE = "lamp\x1b[2J\x9b31m\u202egpj\u200b\x07\x7f"


def test_what_would_move_the_cursor_is_shown_and_the_rest_left():
    assert visible(HOSTILE) == "lamp\\u001b[2J\\u009b31m\\u202egpj\\u200b\\u0007\\u007f"
    assert visible("Größe\u00a012 € 東京 🧸\n") == "Größe\u00a012 € 東京 🧸\n"


def test_commands_show_the_books_control_characters_escaped(tmp_path):
    folder = tmp_path / "books"
    folder.mkdir()
    (folder / "items.csv").write_text(f"{ITEMS_HEAD},{HOSTILE}\nA-1,{HOSTILE},{HOSTILE},2026-03-07,x{HOSTILE},1\n")
    (tmp_path / "export.csv").write_text(
        f"Title,Category,Purchase date,Cost,{HOSTILE}\n{HOSTILE},{HOSTILE},2026-03-07,3.00,{HOSTILE}\n"
    )
    (tmp_path / "assumptions.toml").write_text(
        f'[report]\n"{HOSTILE.encode("unicode_escape").decode()}" = 1\n'.replace("\\x", "\\u00")
    )
    for words in (
        ["check", str(folder)],
        ["report", str(folder)],
        ["convert", str(tmp_path / "export.csv"), "--into", str(tmp_path / "new"), "--yes"],
        ["assumptions", "--assumptions", str(tmp_path / "assumptions.toml")],
        ["assumptions", "--set", f"{HOSTILE}=1"],
        ["start", str(tmp_path / HOSTILE.replace("\x07", ""))],
    ):
        result = told(*words)
        loud = [c for c in result.output if not c.isprintable() and c != "\n"]
        assert loud == [], (words[0], result.output)


# Pages.


def test_a_title_of_a_hundred_thousand_letters_is_shortened_on_pages(tmp_path):
    title = "w" * 99_000
    books = small_books(
        tmp_path, items=f"{ITEMS_HEAD}\nA-1,{title},lamps,2026-03-07,3.00\nA-2,lamp,lamps,2026-03-08,3.00"
    )
    assert books.items["title"][0] == title, "the books keep it"
    shown = open_study(tmp_path, month="2026-03").items["title"]
    assert shown.str.len().tolist() == [LONGEST_TITLE, 4]


def test_no_character_of_a_name_ends_the_drawing():
    """Eight of them ended the whole process, and two the drawing."""
    names = [f"{HOSTILE}\x00\x08\x0b\x0c\x1f\u2028\u2029\ufffe\uffff", "\\u0007'\"\\"]
    dots = [style.Dot(name, name, 1.0, 0.5, 2.0, "$1", "2 sold", "ink", heading=name == names[0]) for name in names]
    how = {"x_title": "dollars", "count_title": "sold", "currency": "EUR"}
    spec = style.draw_dots(dots, target=1.0, target_text="target", **how).to_dict()
    bundle = style.spec_bundle(spec)
    said = json.dumps(bundle[style.MIME_TYPE], ensure_ascii=False)
    assert not re.search(r"(?<!\\)\\u00[01]|[\u2028\u2029\ufffe\uffff]", said)
    assert json.dumps(names[1], ensure_ascii=False) in said, "what can be drawn is left"
    assert style.with_picture(bundle)[style.PICTURE_TYPE]


def test_a_category_longer_than_a_heading_is_refused(tmp_path):
    with pytest.raises(
        BooksError, match=r"items.csv row 2, column category: .* isn't a name of at most 200 characters"
    ):
        small_books(tmp_path, items=f"{ITEMS_HEAD}\nA-1,lamp,{'k' * 201},2026-03-07,3.00")


# Workbooks and spreadsheets.


def test_cells_that_lie_far_apart_do_not_fill_the_memory(tmp_path):
    book = openpyxl.Workbook()
    book.active["A1"], book.active["XFD1048576"] = "item_id", 1
    book.save(tmp_path / "far.xlsx")
    with pytest.raises(WorkbookError, match=r"a sheet spans 17,179,869,184 cells, more than 10,000,000"):
        read_sheets(tmp_path / "far.xlsx")


def test_a_small_file_that_unpacks_to_much_is_refused_unread(tmp_path):
    book = openpyxl.Workbook()
    book.active["A1"] = "item_id"
    book.save(tmp_path / "swollen.xlsx")
    with zipfile.ZipFile(tmp_path / "swollen.xlsx", "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/more.xml", b" " * 40_000_000)
    assert (tmp_path / "swollen.xlsx").stat().st_size < 100_000
    with pytest.raises(WorkbookError, match="would unpack to"):
        read_sheets(tmp_path / "swollen.xlsx")


def test_a_part_longer_than_it_says_is_refused(tmp_path):
    book = openpyxl.Workbook()
    book.active["A1"] = "item_id"
    book.save(tmp_path / "liar.xlsx")
    with zipfile.ZipFile(tmp_path / "liar.xlsx", "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/media/more.xml", b"a" * 1_000_000)
    body = (tmp_path / "liar.xlsx").read_bytes()
    assert body.count((1_000_000).to_bytes(4, "little")) == 2
    (tmp_path / "liar.xlsx").write_bytes(body.replace((1_000_000).to_bytes(4, "little"), (1_000).to_bytes(4, "little")))
    with pytest.raises(WorkbookError, match="a damaged workbook"):
        read_sheets(tmp_path / "liar.xlsx")


@pytest.mark.parametrize(("down", "across", "large"), [(1_000_000, 16_000, True), (1_000_000, 1, False)])
def test_repeats_of_an_open_document_are_counted_before_they_are_made(down, across, large, tmp_path):
    """A filled cell that repeats is refused; the blank rows that every such file ends with are not."""
    cell = f'<table:table-cell table:number-columns-repeated="{across}"'
    cell += ' office:value-type="string"><text:p>x</text:p></table:table-cell>' if large else "/>"
    row = '<table:table-row><table:table-cell office:value-type="string"><text:p>y</text:p></table:table-cell>'
    row += "</table:table-row>"
    names = " ".join(
        f'xmlns:{short}="urn:oasis:names:tc:opendocument:xmlns:{short}:1.0"' for short in ("office", "table", "text")
    )
    body = f'<table:table-row table:number-rows-repeated="{down}">{cell}</table:table-row>'
    with zipfile.ZipFile(tmp_path / "few.ods", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("META-INF/manifest.xml", "<manifest/>")
        archive.writestr(
            "content.xml",
            f'<office:document-content {names}><office:body><office:spreadsheet><table:table table:name="S">{row}{body}'
            "</table:table></office:spreadsheet></office:body></office:document-content>",
        )
    if large:
        with pytest.raises(WorkbookError, match="a sheet spans 16,000,016,000 cells"):
            read_sheets(tmp_path / "few.ods")
    else:
        assert read_sheets(tmp_path / "few.ods")[0].rows == [["y"]]


def test_links_and_macros_of_a_workbook_are_never_followed(tmp_path, monkeypatch):
    book = openpyxl.Workbook()
    book.active.title = "items"
    for column, (head, cell) in enumerate(
        zip(ITEMS_HEAD.split(","), ("A-1", "lamp", "lamps", "2026-03-07", "3.00"), strict=True)
    ):
        book.active.cell(1, column + 1, head)
        book.active.cell(2, column + 1, cell)
    book.active["F1"] = "note"
    book.active["F2"] = '=WEBSERVICE("http://localhost:9/x")'
    book.save(tmp_path / "books.xlsm")
    with zipfile.ZipFile(tmp_path / "books.xlsm", "a") as archive:
        archive.writestr("xl/vbaProject.bin", b"Sub Auto_Open()")
        archive.writestr("xl/externalLinks/externalLink1.xml", b"<externalLink/>")
    monkeypatch.setattr(socket.socket, "connect", lambda *_: pytest.fail("a socket was opened"))
    # The formula has no result in the file, which is told; nothing is run to find one.
    with pytest.raises(BooksError, match="a formula without its result"):
        read_books(tmp_path / "books.xlsm")


@pytest.mark.parametrize("mark", [",", ";", "\t", "|"])
def test_no_separator_makes_a_formula_of_a_cell_that_we_wrote(mark):
    cells = ["=1+1", "a;=1+1", "a\t@x", "a|+1", "a\n=1", 'a;"=1"', "a; -2+3", "-3.20", "'90s lamp", "a;'=b", "plain"]
    text = csv_text(["title", "cost"], [[cell, "3.20"] for cell in cells])
    for line in text.splitlines():
        for cell in line.split(mark):
            bare = cell.strip().strip('"').strip()
            assert re.fullmatch(r"-[\d.,]+", bare) or bare[:1] not in ("=", "@", "+", "-"), (mark, line)
    assert [unescape_formula(escape_formula(cell)) for cell in cells] == cells


# The network.


@pytest.mark.parametrize("warm", [True, False])
def test_a_run_opens_no_socket_but_local_ones(write_notebook, tmp_path, monkeypatch, warm):
    import psutil

    quick = write_notebook("1 + 1")
    opened, listening = [], []
    real = socket.socket.connect

    def noted(self, address):
        opened.append((self.family, address))
        return real(self, address)

    monkeypatch.setattr(socket.socket, "connect", noted)
    process = psutil.Process()
    # A browser that other tests left open is not the run's.
    others, theirs = set(process.children(recursive=True)), set(process.net_connections("inet"))

    def look(result):
        for one in [process, *(set(process.children(recursive=True)) - others)]:
            try:
                found = [c for c in one.net_connections("inet") if c.status == psutil.CONN_LISTEN or c.raddr]
            except psutil.Error:
                continue
            listening.extend(c for c in found if one != process or c not in theirs)

    tasks = [NotebookTask(f"p{k}", quick) for k in range(2)]
    results = run_notebooks(tasks, tmp_path / "out", warm=warm, on_done=look)
    assert [result.error for result in results] == [None, None]
    assert [family for family, _ in opened if family != socket.AF_UNIX] == []
    # zmq opens its own: none of them is on the network.
    assert listening == []


def test_a_busy_machine_is_no_fault(write_notebook, tmp_path, monkeypatch):
    """A kernel that is ended from outside once is tried again; one that never answers is said in words."""
    from flipkit.pack import run as runner

    started = runner.Kernels._started
    quick, left = write_notebook("1 + 1"), [1]

    def unlucky(self, arguments, how, log):
        process = started(self, arguments, how, log)
        if left[0] > 0:
            left[0] -= 1
            process.kill()
        return process

    monkeypatch.setattr(runner.Kernels, "_started", unlucky)
    (result,) = run_notebooks([NotebookTask("a", quick)], tmp_path / "out")
    assert result.error is None
    left[0] = 2
    (result,) = run_notebooks([NotebookTask("b", quick)], tmp_path / "out")
    assert "its kernel gave no answer, twice" in str(result.error)
    assert "close other programs, or give --jobs 1" in str(result.error)
