"""The files of the books as rows of text, before a cell is understood.

A row keeps the number that a spreadsheet shows for it, whatever comments, blank lines or
quoted line ends stand above it.
"""

from __future__ import annotations

import csv
import difflib
import hashlib
import io
import re
from dataclasses import dataclass, field
from pathlib import Path

from flipkit.books import schema, workbook
from flipkit.books.problems import Findings, Problem, rows_in_words

#: Longest cell that the books may hold; a longer one is an unclosed quote or not a table.
LONGEST_CELL = 100_000
#: Most columns that a table may have.
MOST_COLUMNS = 1_000
#: How the example rows of a new folder begin: comments that need not be told.
EXAMPLE = "# example"
#: Largest CSV file of the books. [bytes]
LARGEST_FILE = 1_000_000_000


@dataclass(slots=True)
class RawTable:
    """One table as text.

    Parameters
    ----------
    name : str
        Name of the table.
    file : str
        What messages call it: the file, with the sheet where it is a workbook.
    header : list of str
        Its headers as they stand there.
    columns : list of tuple of str
        The cells, column by column, trimmed.
    rows : list of int
        Row numbers as a spreadsheet shows them.
    """

    name: str
    file: str
    header: list[str]
    columns: list[tuple[str, ...]]
    rows: list[int]


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


def read_raw(path: Path) -> RawBooks:
    """The tables of a folder of CSV files or of one workbook, as text.

    Parameters
    ----------
    path : Path
        The folder or the workbook.

    Returns
    -------
    RawBooks
        The tables and what was noticed; nothing is raised for what the files hold.
    """
    raw = RawBooks(path)
    if path.is_dir():
        _read_folder(raw)
    elif path.suffix.lower() in workbook.ENDINGS and path.is_file():
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


def _read_folder(raw: RawBooks) -> None:
    entries = sorted(entry for entry in raw.path.iterdir() if entry.is_file() and not entry.name.startswith("."))
    for entry in entries:
        stem, ending = entry.stem.strip().lower(), entry.suffix.lower()
        findings = Findings(entry.name, raw.problems)
        if ending == ".csv" and stem in _known():
            if stem in raw.tables:
                findings.stop(None, "", f"a second file for {stem}", "one file a table", "keep one of the two")
                continue
            table = _read_csv(entry, stem, findings, raw.hashes)
            if table is not None:
                raw.tables[stem] = table
        elif ending in (".csv", ".tsv", ".txt", *workbook.ENDINGS):
            near = _near(stem, _known())
            mend = f"if it is {near}, rename it {near}.csv" if near else "it was not read"
            findings.note(None, "", f"a file {entry.name}", "files named after the tables", mend)


def _read_workbook(raw: RawBooks) -> None:
    findings = Findings(raw.path.name, raw.problems)
    try:
        raw.hashes[raw.path.name] = hashlib.sha256(raw.path.read_bytes()).hexdigest()
        sheets = workbook.read_sheets(raw.path)
        lost = workbook.lost_cells(raw.path)
    except (workbook.WorkbookError, OSError) as error:
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
        rows = [[cell.strip() for cell in row] for row in sheet.rows]
        table = _table(name, label, rows, of_sheet)
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
    rows: list[list[str]] = []
    limit = csv.field_size_limit(LONGEST_CELL)
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        for row in reader:
            rows.append([cell.strip() for cell in row])
    except csv.Error as error:
        needed, mend = _csv_words(str(error))
        findings.stop(len(rows) + 1, "", str(error), needed, mend)
        return None
    finally:
        csv.field_size_limit(limit)
    return _table(name, path.name, rows, findings)


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


def _is_comment(row: list[str]) -> bool:
    return bool(row) and row[0].startswith("#")


def _table(name: str, file: str, rows: list[list[str]], findings: Findings) -> RawTable | None:
    at = next((i for i, row in enumerate(rows) if any(row) and not _is_comment(row)), None)
    if at is None:
        if name == "items":
            findings.stop(None, "", "no header", f"a header row with {', '.join(schema.ITEMS.required)}", "")
        return None
    header = rows[at]
    while header and not header[-1]:
        header = header[:-1]
    width = len(header)
    if width == 1 and name != "shop" and re.search(r"[;\t|]", header[0]):
        mark = next(m for m in ";\t|" if m in header[0])
        shown = "a tab" if mark == "\t" else f"'{mark}'"
        mend = "save it as CSV separated by commas, or run: flipkit convert"
        findings.stop(at + 1, "", f"cells separated by {shown}", "cells separated by commas", mend)
        return None
    if width > MOST_COLUMNS:
        findings.stop(at + 1, "", f"{width:,} columns", f"at most {MOST_COLUMNS:,}", "is this one table?")
        return None
    kept: list[list[str]] = []
    numbers: list[int] = []
    comments: list[int] = []
    short: list[int] = []
    for number, row in enumerate(rows[at + 1 :], start=at + 2):
        if not any(row):
            continue
        if _is_comment(row):
            if not row[0].startswith(EXAMPLE):
                comments.append(number)
            continue
        if len(row) > width:
            extra = [cell for cell in row[width:] if cell]
            if extra:
                findings.stop(
                    number,
                    "",
                    f"{len(row)} cells, the last {extra[-1]}",
                    f"{width} cells as in the header",
                    "put a cell that holds a comma in quotes",
                )
            row = row[:width]
        elif len(row) < width:
            short.append(number)
            row = row + [""] * (width - len(row))
        kept.append(row)
        numbers.append(number)
    _tell_comments(comments, rows, len(kept), findings)
    if short and file.lower().endswith(".csv"):
        needed = f"{width} cells as in the header"
        findings.note(short[0], "", f"{rows_in_words(short)} with fewer cells", needed, "the rest was taken as blank")
    columns: list[tuple[str, ...]] = list(zip(*kept, strict=True)) if kept else [() for _ in range(width)]
    return RawTable(name, file, header, columns, numbers)


def _tell_comments(comments: list[int], rows: list[list[str]], kept: int, findings: Findings) -> None:
    """Comment rows are listed, and where most rows look like one, an id beginning with # is likelier."""
    if not comments:
        return
    full = [n for n in comments if re.match(r"#\w", rows[n - 1][0]) and sum(map(bool, rows[n - 1])) > 3]
    if len(full) > max(kept, 2):
        findings.stop(
            full[0],
            "",
            f"{len(full)} of {kept + len(comments)} rows that begin with #",
            "ids that do not begin with # (such a row is a comment)",
            "leave the # out of the ids",
        )
        return
    mend = "they were left out; if one is a record, take the # away" if full else "they were left out as comments"
    found = f"{rows_in_words(comments)} beginning with #"
    findings.note(comments[0], "", found, "records or comments", mend)
