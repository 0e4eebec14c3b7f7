"""The files of the books as rows of text, before a cell is understood.

A row keeps the number that a spreadsheet shows for it, whatever comments, blank lines or
quoted line ends stand above it.
"""

from __future__ import annotations

import csv
import difflib
import hashlib
import io
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

from flipkit.books import schema, tabular
from flipkit.books.problems import Findings, Problem
from flipkit.books.tabling import RawTable, TableMaker

#: Longest cell that the books may hold; a longer one is an unclosed quote or not a table.
LONGEST_CELL = 100_000
#: Rows that are taken together.
BLOCK = 20_000
#: Largest CSV file of the books. [bytes]
LARGEST_FILE = 1_000_000_000

#: Spaces beside a mark, or of a kind that seldom stands in a table: without them nothing needs trimming.
_SPACED = (" ,", ", ", " \n", "\n ", " \r", '" ', ' "', "\t", "\u00a0", "\u3000", "\u2003", "\x0b", "\x0c", "\x1f")


@dataclass(slots=True)
class RawBooks:
    """All tables as text, with what was noticed on the way.

    Parameters
    ----------
    path : Path
        The folder or the workbook.
    tables : dict of str to RawTable
        By table name; ``shop`` is one of them.
    problems : list of Problem
        What was noticed.
    hashes : dict of str to str
        SHA-256 of every file read, by its name relative to the folder.
    """

    path: Path
    tables: dict[str, RawTable] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    hashes: dict[str, str] = field(default_factory=dict)


def read_raw(path: Path, *, without: str = "") -> RawBooks:
    """The tables of a folder of CSV files or of one workbook, as text.

    Parameters
    ----------
    path : Path
        The folder or the workbook.
    without : str
        Name of a table of the folder that is not read.

    Returns
    -------
    RawBooks
        The tables and what was noticed; nothing is raised for what the files hold.
    """
    raw = RawBooks(path)
    if path.is_dir():
        _read_folder(raw, without)
    elif path.suffix.lower() in tabular.ENDINGS and path.is_file():
        _read_workbook(raw)
    else:
        findings = Findings(str(path.name), raw.problems)
        if path.is_file():
            findings.stop(
                None,
                "",
                f"a file {path.name}",
                "a folder of CSV files with items.csv, or one .xlsx workbook with a sheet items",
                "for an export of another program run: flipkit convert",
            )
        else:
            findings.stop(
                None, "", f"nothing at {path}", "the folder or the workbook of the books", "look at the spelling"
            )
    return raw


def _known() -> list[str]:
    return [table.name for table in schema.TABLES] + ["shop"]


def _near(word: str, words: list[str]) -> str:
    close = difflib.get_close_matches(word.lower(), words, n=1, cutoff=0.7)
    return close[0] if close else ""


def _read_folder(raw: RawBooks, without: str) -> None:
    entries = sorted(entry for entry in raw.path.iterdir() if entry.is_file() and not entry.name.startswith("."))
    for entry in entries:
        stem, ending = entry.stem.strip().lower(), entry.suffix.lower()
        findings = Findings(entry.name, raw.problems)
        if ending == ".csv" and stem == without:
            continue
        if ending == ".csv" and stem in _known():
            if stem in raw.tables:
                findings.stop(None, "", f"a second file for {stem}", "one file a table", "keep one of the two")
                continue
            table = _read_csv(entry, stem, findings, raw.hashes)
            if table is not None:
                raw.tables[stem] = table
        elif ending in (".csv", ".tsv", ".txt", *tabular.ENDINGS):
            near = _near(stem, _known())
            mend = f"if it is {near}, rename it {near}.csv" if near else "it was not read"
            findings.note(None, "", f"a file {entry.name}", "files named after the tables", mend)


def _read_workbook(raw: RawBooks) -> None:
    findings = Findings(raw.path.name, raw.problems)
    try:
        raw.hashes[raw.path.name] = hashlib.sha256(raw.path.read_bytes()).hexdigest()
        sheets = tabular.read_sheets(raw.path)
        lost = tabular.lost_cells(raw.path)
    except (tabular.WorkbookError, OSError) as error:
        findings.stop(None, "", str(error), "a workbook that opens", "open it in a spreadsheet and save it anew")
        return
    for sheet in sheets:
        name = sheet.name.strip().lower().replace(" ", "_")
        label = f"{raw.path.name} sheet {sheet.name}"
        of_sheet = Findings(label, raw.problems)
        if name not in _known():
            if any(any(row) for row in sheet.rows):
                near = _near(name, _known())
                mend = f"if it is {near}, rename it {near}" if near else "it was not read"
                of_sheet.note(None, "", f"a sheet {sheet.name}", "sheets named after the tables", mend)
            continue
        if name in raw.tables:
            of_sheet.stop(None, "", f"a second sheet for {name}", "one sheet a table", "keep one of the two")
            continue
        for cell in lost:
            if cell.sheet == sheet.name:
                of_sheet.stop(
                    cell.row,
                    _letters(cell.column),
                    cell.found,
                    "a value",
                    "open the workbook in a spreadsheet, let it calculate, mend the cell and save",
                )
        maker = TableMaker(name, label, of_sheet)
        maker.take(sheet.rows)
        table = maker.made()
        if table is not None:
            raw.tables[name] = table


def _letters(column: int) -> str:
    text, left = "", column + 1
    while left > 0:
        left, digit = divmod(left - 1, 26)
        text = chr(65 + digit) + text
    return text


def _read_csv(path: Path, name: str, findings: Findings, hashes: dict[str, str]) -> RawTable | None:
    try:
        size = path.stat().st_size
        if size > LARGEST_FILE:
            findings.stop(None, "", f"{size:,} bytes", f"at most {LARGEST_FILE:,} bytes", "split the shop")
            return None
        body = path.read_bytes()
    except OSError as error:
        findings.stop(None, "", error.strerror or str(error), "a file that opens", "look at its permissions")
        return None
    hashes[path.name] = hashlib.sha256(body).hexdigest()
    text = _decoded(body, findings)
    if text is None:
        return None
    maker = TableMaker(name, path.name, findings)
    limit = csv.field_size_limit(LONGEST_CELL)
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    trimmed = not any(space in text for space in _SPACED)
    try:
        while maker.usable:
            rows: list[list[str]] = []
            try:
                rows.extend(islice(reader, BLOCK))
            except csv.Error as error:
                needed, mend = _csv_words(str(error))
                findings.stop(maker.count + len(rows) + 1, "", str(error), needed, mend)
                return None
            if not rows:
                break
            maker.take(rows, trimmed=trimmed)
    finally:
        csv.field_size_limit(limit)
    return maker.made()


def _csv_words(error: str) -> tuple[str, str]:
    if "field larger" in error:
        return f"cells of at most {LONGEST_CELL:,} characters", "a quote before it may never have been closed"
    mend = "a quote that opens in this row is never closed, or text follows a closing one"
    return "cells in matching quotes", f"{mend}; inside a quoted cell write a quote twice"


def _decoded(body: bytes, findings: Findings) -> str | None:
    if body.startswith((b"\xff\xfe", b"\xfe\xff")):
        findings.stop(None, "", "UTF-16 text", "UTF-8 text", "save it as CSV UTF-8, or run: flipkit convert")
        return None
    if b"\0" in body:
        row = body[: body.index(b"\0")].count(b"\n") + 1
        findings.stop(row, "", "a NUL byte", "text", "it is no CSV file, or damaged; export it anew")
        return None
    try:
        return body.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = body[: error.start].count(b"\n") + 1
        found = f"a byte {body[error.start]:#04x} that is no UTF-8"
        findings.stop(row, "", found, "UTF-8 text", "save it as CSV UTF-8, or run: flipkit convert")
        return None
