"""Files and workbooks as rows of text, each with the number that a spreadsheet shows."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from html import unescape
from pathlib import Path
from typing import Any

from flipkit.books import cells as book_cells
from flipkit.books import schema
from flipkit.books.problems import Findings, plain_header, rows_in_words
from flipkit.workarounds import is_native_panic

# Workbooks as rows of text: every cell as the reader of a CSV file would meet it.

#: Endings of the workbooks that can be read.
ENDINGS = (".xlsx", ".xlsm", ".xlsb", ".xls", ".ods")
#: A workbook that unpacks to more than this is refused: it is damaged or hostile.
LARGEST_UNPACKED = 300_000_000
#: One that unpacks to so many times its size, beyond a size that a small table can have, is made to fill memory.
_SWOLLEN, _SMALL = 300, 30_000_000
#: Most cells of a sheet, blank ones inside its corners included: they are all made when it is read.
MOST_CELLS = 10_000_000
#: References of columns with two and three letters, of rows of five digits and of three hundred thousand or more.
_WIDE, _WIDER = re.compile(rb"r=[\"'][A-Za-z]{2}\d"), re.compile(rb"r=[\"'][A-Za-z]{3}\d")
_LONG, _LONGER = re.compile(rb"r=[\"'][A-Za-z]*\d{5}"), re.compile(rb"r=[\"'][A-Za-z]*(?:[3-9]\d{5}|\d{7})")
#: Rows or cells that an OpenDocument sheet repeats a thousand times or more, and how often it does.
_REPEATED, _REPEATED_TIMES = re.compile(rb'-repeated="\d{4}'), re.compile(rb'-repeated="(\d{1,9})"')
_REFERENCE = re.compile(rb"r=[\"']([A-Za-z]{1,3})(\d{1,7})[\"']")

_CELL = re.compile(rb"<c\b([^>]*)>\s*<f\b[^>]*?(?:/>|>[^<]*</f>)\s*(?:<v\s*/>|<v></v>)?\s*</c>")
_ERROR = re.compile(rb'<c\b([^>]*\bt="e"[^>]*)>(?:.{0,2000}?)<v>([^<]*)</v>', re.DOTALL)
_PLACE = re.compile(rb'\br="([A-Z]+)(\d+)"')


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet as text."""

    name: str
    rows: list[list[str]]


@dataclass(frozen=True, slots=True)
class LostCell:
    """A cell whose value the file does not hold: an unfinished formula or an error."""

    sheet: str
    row: int
    column: int
    found: str


class WorkbookError(ValueError):
    """A workbook that cannot be opened: the reason in the seller's words, and what to do about it."""

    def __init__(self, found: str, mend: str = "open it in a spreadsheet and save it again, or save the sheet as CSV"):
        super().__init__(found)
        self.mend = mend

    @classmethod
    def locked(cls) -> WorkbookError:
        """A workbook that asks for a password."""
        return cls("a workbook locked with a password", "open it in a spreadsheet and save it without the password")

    @classmethod
    def large(cls, found: str) -> WorkbookError:
        """A workbook that would fill the memory."""
        return cls(found, "delete what is not needed, or save the one sheet as CSV")


def read_sheets(path: Path | io.BytesIO, *, only: str = "") -> list[Sheet]:
    """Every sheet of a workbook, a file or its bytes, as text; or only those whose plain name is given.

    Dates come as ``2026-03-07`` (with the time of day where there is one), numbers without
    the noise of binary fractions, true and false as ``TRUE`` and ``FALSE``.
    """
    import python_calamine

    _require_modest(path)
    if isinstance(path, io.BytesIO):
        path.seek(0)
    try:
        with python_calamine.CalamineWorkbook.from_object(path) as book:
            plain = [
                meta.name
                for meta in book.sheets_metadata
                if meta.typ in (python_calamine.SheetTypeEnum.WorkSheet, python_calamine.SheetTypeEnum.DialogSheet)
                and (not only or plain_header(meta.name) == only)
            ]
            return [
                Sheet(name, _text_rows(book.get_sheet_by_name(name).to_python(skip_empty_area=False))) for name in plain
            ]
    except python_calamine.PasswordError:
        raise WorkbookError.locked() from None
    except (python_calamine.CalamineError, OSError, ValueError):
        raise WorkbookError("a damaged workbook, or something else with that name") from None
    except BaseException as error:  # a panic of the reader's native part is no Exception
        if not is_native_panic(error):
            raise
        raise WorkbookError("a damaged workbook") from None


def lost_cells(path: Path) -> list[LostCell]:
    """Cells of an .xlsx file that would read as blank although something stands there.

    A formula that no spreadsheet has calculated yet has no value in the file, and an error
    such as ``#REF!`` has none to use: both would vanish silently.
    """
    if path.suffix.lower() not in (".xlsx", ".xlsm"):
        return []
    lost: list[LostCell] = []
    try:
        with zipfile.ZipFile(path) as archive:
            for name, part in sheet_parts(archive):
                text = archive.read(part)
                if b"<f" in text:
                    lost += [
                        LostCell(name, row, column, "a formula without its result")
                        for row, column in (_place(m.group(1)) for m in _CELL.finditer(text))
                    ]
                if b't="e"' in text:
                    for match in _ERROR.finditer(text):
                        row, column = _place(match.group(1))
                        lost.append(LostCell(name, row, column, match.group(2).decode("utf-8", "replace")))
    except (zipfile.BadZipFile, KeyError, OSError, ValueError):
        return lost
    return lost


def _require_modest(path: Path | io.BytesIO) -> None:
    if not zipfile.is_zipfile(path):
        return
    try:
        with zipfile.ZipFile(path) as archive:
            unpacked = sum(info.file_size for info in archive.infolist())
            packed = sum(info.compress_size for info in archive.infolist())
            if unpacked > LARGEST_UNPACKED or unpacked > max(_SMALL, _SWOLLEN * packed):
                raise WorkbookError.large(f"a workbook that would unpack to {unpacked:,} bytes")
            _require_near(archive, cells="xl/workbook.xml" in archive.namelist())
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError):
        raise WorkbookError("a damaged workbook") from None
    except RuntimeError:
        raise WorkbookError.locked() from None


def _require_near(archive: zipfile.ZipFile, *, cells: bool) -> None:
    """Unpack every part, which must be as long as it says, and refuse cells that lie far apart.

    The blanks between them would be made one by one and fill the memory.
    """
    for part in archive.infolist():
        text = archive.read(part)
        if part.filename == "content.xml" and _REPEATED.search(text):
            _require_few(text)
        if not cells or not part.filename.endswith(".xml"):
            continue
        if _WIDER.search(text) or _LONGER.search(text) or (_LONG.search(text) and _WIDE.search(text)):
            places = _REFERENCE.findall(text)
            across = max((column_index(letters.decode().upper()) + 1 for letters, _ in set(places)), default=0)
            spanned = across * max((int(row) for _, row in places), default=0)
            if spanned > MOST_CELLS:
                raise WorkbookError.large(f"a sheet spans {spanned:,} cells, more than {MOST_CELLS:,}")


def _require_few(text: bytes) -> None:
    """Refuse an OpenDocument sheet whose filled cells, repeats counted, span too many."""
    for sheet in text.split(b"<table:table ")[1:]:
        down = across = spanned = 0
        for row in sheet.split(b"<table:table-row")[1:]:
            head, _, cells = row.partition(b">")
            down += _repeats(head)
            # Blanks behind the last filled cell are not made.
            filled = cells[: cells.rfind(b"value-type") + 1]
            across = max(across, sum(map(_repeats, filled.split(b"<table:table-cell")[1:])) if filled else 0)
            spanned = down * across if filled else spanned
        if spanned > MOST_CELLS:
            raise WorkbookError.large(f"a sheet spans {spanned:,} cells, more than {MOST_CELLS:,}")


def _repeats(tag: bytes) -> int:
    found = _REPEATED_TIMES.search(tag.partition(b">")[0])
    return int(found[1]) if found else 1


def column_letters(at: int) -> str:
    """Letters of a column that counts from 0.

    >>> column_letters(0), column_letters(27)
    ('A', 'AB')
    """
    text, left = "", at + 1
    while left:
        left, digit = divmod(left - 1, 26)
        text = chr(65 + digit) + text
    return text


def column_index(letters: str) -> int:
    """Number of a column, from 0.

    >>> column_index("A"), column_index("AB")
    (0, 27)
    """
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number - 1


def sheet_parts(archive: zipfile.ZipFile) -> list[tuple[str, str]]:
    """Name of each sheet of an .xlsx file, and of the part that holds it."""
    book = archive.read("xl/workbook.xml").decode("utf-8", "replace")
    links = archive.read("xl/_rels/workbook.xml.rels").decode("utf-8", "replace")
    target: dict[str, str] = {}
    for link in re.findall(r"<Relationship\b[^>]*>", links):
        ident, where = re.search(r'\bId="([^"]*)"', link), re.search(r'\bTarget="([^"]*)"', link)
        if ident and where:
            path = where.group(1)
            target[ident.group(1)] = path.lstrip("/") if path.startswith("/") else f"xl/{path}"
    parts: list[tuple[str, str]] = []
    for sheet in re.findall(r"<sheet\b[^>]*>", book):
        name, ident = re.search(r'\bname="([^"]*)"', sheet), re.search(r'\br:id="([^"]*)"', sheet)
        if name and ident and target.get(ident.group(1), "") in archive.namelist():
            parts.append((unescape(name.group(1)), target[ident.group(1)]))
    return parts


def _place(attributes: bytes) -> tuple[int, int]:
    match = _PLACE.search(attributes)
    if match is None:
        return 0, 0
    return int(match.group(2)), column_index(match.group(1).decode())


def _text_rows(rows: list[list[Any]]) -> list[list[str]]:
    return [[cell if type(cell) is str else _text(cell) for cell in row] for row in rows]


def _text(cell: object) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, int):
        return str(cell)
    if isinstance(cell, float):
        # Fifteen digits are what a spreadsheet shows at most: 3 x 1.37 is 4.11 there.
        shown = format(cell, ".15g")
        return shown if "e" not in shown else format(cell, "f").rstrip("0").rstrip(".")
    if isinstance(cell, dt.datetime):
        if (cell.hour, cell.minute, cell.second, cell.microsecond) == (0, 0, 0, 0):
            return cell.date().isoformat()
        return cell.replace(microsecond=0).isoformat(sep=" ")
    if isinstance(cell, dt.date | dt.time):
        return cell.isoformat()
    if isinstance(cell, dt.timedelta):
        return f"{cell.total_seconds() / 60:.15g} min"
    return str(cell)


# Rows of text made into one table of text, each with the number that a spreadsheet shows.

#: Most columns that a table may have.
MOST_COLUMNS = 1_000
#: How the example rows of a new folder begin: comments that need not be told.
EXAMPLE = "# example"
#: A column whose first rows repeat fewer texts than this share is not searched for repeats.
_REPEATING = 0.5


@dataclass(slots=True)
class RawTable:
    """One table as text."""

    name: str
    file: str
    header: list[str]
    columns: list[list[str]]
    rows: list[int]


class TableMaker:
    """Makes a table of text out of rows that come block by block."""

    def __init__(self, name: str, file: str, findings: Findings, *, sharing: bool = True) -> None:
        self.name = name
        self.file = file
        self.findings = findings
        self.count = 0
        self.usable = True
        self._sharing = sharing
        self._header: list[str] | None = None
        self._columns: list[list[str]] = []
        self._known: list[dict[str, str] | None] = []
        self._rows: list[int] = []
        self._comments: list[int] = []
        self._full_comments: list[int] = []
        self._short: list[int] = []

    def take(self, rows: Sequence[list[str]], *, trimmed: bool = False) -> None:
        """Take the next rows."""
        if not self.usable:
            return
        body = list(rows) if trimmed else [[cell.strip() for cell in row] for row in rows]
        first = self.count + 1
        self.count += len(body)
        if self._header is None:
            at = next((i for i, row in enumerate(body) if any(row) and row[0][:1] != "#"), None)
            if at is None:
                return
            self._begin(body[at], first + at)
            body, first = body[at + 1 :], first + at + 1
        if self.usable and body:
            self._keep(body, first)

    def _begin(self, header: list[str], row: int) -> None:
        while header and not header[-1]:
            header = header[:-1]
        width = len(header)
        self._header = header
        if width == 1 and self.name != "shop" and re.search(r"[;\t|]", header[0]):
            mark = next(m for m in ";\t|" if m in header[0])
            shown = "a tab" if mark == "\t" else f"'{mark}'"
            mend = "save it as CSV separated by commas, or run: flipkit convert"
            self.findings.stop(row, "", f"cells separated by {shown}", "cells separated by commas", mend)
            self.usable = False
        elif width > MOST_COLUMNS:
            self.findings.stop(row, "", f"{width:,} columns", f"at most {MOST_COLUMNS:,}", "is this one table?")
            self.usable = False
        self._columns = [[] for _ in header]
        self._known = [{} if self._sharing else None for _ in header]

    def _keep(self, body: list[list[str]], first: int) -> None:
        assert self._header is not None  # noqa: S101
        width = len(self._header)
        numbers: Sequence[int] = range(first, first + len(body))
        # Rows like their neighbours, none of them blank or a comment: nearly all blocks are.
        alike = set(map(len, body)) == {width}
        columns = list(zip(*body, strict=True)) if alike else []
        begun = book_cells.first_letters(columns[0]) if alike else {""}
        if "#" in begun or ("" in begun and (not alike or any(row.count("") == width for row in body))):
            numbers, body = self._with_care(body, first)
            columns = list(zip(*body, strict=True))
        if not body:
            return
        self._rows.extend(numbers)
        for at, cells in enumerate(columns):
            known = self._known[at]
            if known is None:
                self._columns[at].extend(cells)
                continue
            # A text that stands many times is kept once.
            self._columns[at].extend(map(known.setdefault, cells, cells))
            if len(known) > _REPEATING * len(self._columns[at]) and len(self._columns[at]) > 1_000:
                self._known[at] = None

    def _with_care(self, body: list[list[str]], first: int) -> tuple[list[int], list[list[str]]]:
        assert self._header is not None  # noqa: S101
        width = len(self._header)
        numbers: list[int] = []
        kept: list[list[str]] = []
        for number, row in enumerate(body, start=first):
            if not any(row):
                continue
            if row[0][:1] == "#":
                if not row[0].startswith(EXAMPLE):
                    self._comments.append(number)
                    if re.match(r"#\w", row[0]) and sum(map(bool, row)) > 3:
                        self._full_comments.append(number)
                continue
            if len(row) > width:
                extra = [cell for cell in row[width:] if cell]
                if extra:
                    self.findings.stop(
                        number,
                        "",
                        f"{len(row)} cells, the last {extra[-1]}",
                        f"{width} cells as in the header",
                        "put a cell that holds a comma in quotes",
                    )
                row = row[:width]
            elif len(row) < width:
                self._short.append(number)
                row = row + [""] * (width - len(row))
            numbers.append(number)
            kept.append(row)
        return numbers, kept

    def made(self) -> RawTable | None:
        """The table."""
        if not self.usable:
            return None
        if self._header is None:
            if self.name == "items":
                needed = f"a header row with {', '.join(schema.ITEMS.required)}"
                self.findings.stop(None, "", "no header", needed, "")
            return None
        self._tell_comments()
        if self._short and self.file.lower().endswith(".csv"):
            found = f"{rows_in_words(self._short)} with fewer cells"
            needed = f"{len(self._header)} cells as in the header"
            self.findings.note(self._short[0], "", found, needed, "the rest was taken as blank")
        return RawTable(self.name, self.file, self._header, self._columns, self._rows)

    def _tell_comments(self) -> None:
        """Comment rows are listed, and where most rows look like one, an id beginning with # is likelier."""
        comments, full = self._comments, self._full_comments
        if not comments:
            return
        if len(full) > max(len(self._rows), 2):
            self.findings.stop(
                full[0],
                "",
                f"{len(full)} of {len(self._rows) + len(comments)} rows that begin with #",
                "ids that do not begin with # (such a row is a comment)",
                "leave the # out of the ids",
            )
            return
        mend = "they were left out; if one is a record, take the # away" if full else "they were left out as comments"
        self.findings.note(comments[0], "", f"{rows_in_words(comments)} beginning with #", "records or comments", mend)
