"""One row of the books added or changed where it stands; the rest of the file stays as the seller left it.

A CSV file keeps every other byte. Of a workbook only the one sheet is written anew, as text, row by row: a library
that loads and saves it would drop the results of its formulas, and with them every figure that the reader needs.
"""

from __future__ import annotations

import csv
import datetime as dt
import functools
import io
import re
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from html import escape
from pathlib import Path

from flipkit.books import tabular
from flipkit.books.problems import plain_header
from flipkit.books.schema import Column, Table
from flipkit.books.tabular import column_index, column_letters
from flipkit.books.write import csv_text, escape_formula, unescape_formula
from flipkit.errors import RecordError

_CSV_CELL = re.compile(r'"(?:[^"]|"")*"[^,]*|[^,]*')
_NUMBER = re.compile(r"-?\d+(\.\d+)?")


class TableFile:
    """One table of the books, read to be changed: rows of text by the number that a spreadsheet shows."""

    def __init__(self, table: Table, label: str, rows: Sequence[Sequence[str]]) -> None:
        self.table = table
        self.label = label
        self._all = [[cell.strip() for cell in row] for row in rows]
        head = next((i for i, row in enumerate(self._all) if any(row) and row[0][:1] != "#"), None)
        self.head: int | None = None if head is None else head + 1
        self.header: list[str] = [] if head is None else list(self._all[head])
        while self.header and not self.header[-1]:
            self.header.pop()
        self.places = {plain_header(word): at for at, word in enumerate(self.header)}
        if self.header and not set(table.required) <= set(self.places):
            missing = ", ".join(name for name in table.required if name not in self.places)
            raise RecordError(f"{label} has no column {missing}: flipkit check says how to mend it")

    def records(self) -> Iterator[tuple[int, dict[str, str]]]:
        """Number and known cells of every row that is a record."""
        begin = self.head if self.head is not None else 0
        for number, row in enumerate(self._all[begin:], start=begin + 1):
            if any(row) and row[0][:1] != "#":
                yield (
                    number,
                    {name: unescape_formula(row[at]) if at < len(row) else "" for name, at in self.places.items()},
                )

    def change(self, number: int, cells: Mapping[str, str]) -> None:
        """Put texts into cells of one row."""
        raise NotImplementedError

    def append(self, cells: Mapping[str, str]) -> int:
        """Add a row; its number."""
        raise NotImplementedError

    def remove(self, number: int) -> None:
        """Take away a row that was added."""
        raise NotImplementedError

    def body(self) -> bytes:
        """The whole file with what was changed."""
        raise NotImplementedError


def open_table(books: Path, table: Table) -> TableFile:
    """The file or the sheet of a table of the books; one that is not there yet is begun."""
    if books.is_dir():
        path = books / table.file
        return CsvTable(table, path.read_bytes() if path.is_file() else b"")
    return SheetTable(table, books.name, books.read_bytes())


def table_path(books: Path, table: Table) -> Path:
    """The file that holds a table, behind any link."""
    return (books / table.file if books.is_dir() else books).resolve()


class CsvTable(TableFile):
    """A CSV file: every record keeps its own text until it is changed."""

    def __init__(self, table: Table, body: bytes) -> None:
        self._mark = b"\xef\xbb\xbf" if body.startswith(b"\xef\xbb\xbf") else b""
        try:
            text = body.decode("utf-8-sig")
            self._parts, rows = _csv_records(text)
        except (UnicodeDecodeError, csv.Error):
            raise RecordError(f"{table.file} is no CSV file in UTF-8: flipkit check says how to mend it") from None
        self._end = "\r\n" if "\r\n" in text else "\n"
        if not any(any(row) for row in rows):
            begun = csv_text([column.name for column in table.columns], [])
            self._parts, rows = _csv_records(begun)
        super().__init__(table, table.file, rows)

    def change(self, number: int, cells: Mapping[str, str]) -> None:
        """Put texts into cells of one row."""
        self._widen(cells)
        raw, end = _csv_cells(self._parts[number - 1])
        raw += [""] * (len(self.header) - len(raw))
        quoted = all(cell.startswith('"') for cell in raw)
        for name, text in cells.items():
            raw[self.places[name]] = _csv_raw(text, quoted=quoted)
        self._parts[number - 1] = ",".join(raw) + end

    def append(self, cells: Mapping[str, str]) -> int:
        """Add a row; its number."""
        self._widen(cells)
        quoted = all(cell.startswith('"') for cell in _csv_cells(self._parts[-1])[0])
        if not self._parts[-1].endswith(("\n", "\r")):
            self._parts[-1] += self._end
        self._parts.append(",".join([_csv_raw("", quoted=quoted)] * len(self.header)) + self._end)
        self._all.append([])
        self.change(len(self._parts), cells)
        return len(self._parts)

    def remove(self, number: int) -> None:
        """Take away a row that was added."""
        self._parts[number - 1] = ""

    def body(self) -> bytes:
        """The whole file with what was changed."""
        return self._mark + "".join(self._parts).encode("utf-8")

    def _widen(self, cells: Mapping[str, str]) -> None:
        """Columns that the file lacks, added at its right, with blanks in every record."""
        new = [name for name in cells if name not in self.places]
        if not new or self.head is None:
            return
        width = len(self.header)
        for at, row in enumerate(self._all):
            raw, end = _csv_cells(self._parts[at])
            if at == self.head - 1:
                self._parts[at] = ",".join([*raw[:width], *new]) + end
            elif any(row) and row[0][:1] != "#" and at >= self.head:
                raw = [*raw[:width], *[""] * (width - len(raw))]
                self._parts[at] = ",".join([*raw, *[""] * len(new)]) + end
        self.header += new
        self.places |= {name: width + more for more, name in enumerate(new)}


def _csv_records(text: str) -> tuple[list[str], list[list[str]]]:
    """The text of each record, line end and all, and its cells."""
    read = 0

    def lines() -> Iterator[str]:
        nonlocal read
        for line in io.StringIO(text, newline=""):
            read += len(line)
            yield line

    parts, rows, begun = [], [], 0
    for row in csv.reader(lines(), strict=True):
        parts.append(text[begun:read])
        rows.append(row)
        begun = read
    return parts, rows


def _csv_cells(record: str) -> tuple[list[str], str]:
    """The cells of one record as they are written, and its line end."""
    body = record.rstrip("\r\n")
    raw, at = [], 0
    while True:
        found = _CSV_CELL.match(body, at)
        assert found is not None  # noqa: S101 - the pattern takes an empty cell too
        raw.append(found.group())
        at = found.end() + 1
        if found.end() >= len(body):
            return raw, record[len(body) :]


def _csv_raw(text: str, *, quoted: bool) -> str:
    cell = escape_formula(text)
    if quoted or any(mark in cell for mark in ',"\r\n'):
        return '"' + cell.replace('"', '""') + '"'
    return cell


# Workbooks: the XML of the one sheet.

_ROW = re.compile(r"<row\b[^>]*?(?:/>|>.*?</row>)", re.DOTALL)
_CELL = re.compile(r"<c\b[^>]*?(?:/>|>.*?</c>)", re.DOTALL)
_STYLE = re.compile(r'^<c\b[^>]*?\bs="(\d+)"')
#: Number formats of dates that every workbook knows without naming them.
_DATE_FORMATS = frozenset({*range(14, 18), 22, *range(27, 37), 50, 57})
_SHEET = (
    '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData></sheetData></worksheet>'
)
_SHEET_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"


class SheetTable(TableFile):
    """A sheet of an .xlsx workbook: cells of one row are written anew, in the format that the column has."""

    def __init__(self, table: Table, name: str, body: bytes) -> None:
        if not name.lower().endswith((".xlsx", ".xlsm")):
            raise RecordError(f"{name} cannot be changed in place: save it as an .xlsx workbook or as CSV files")
        self._name = name
        self.head, self.header = None, []
        try:
            with zipfile.ZipFile(io.BytesIO(body)) as archive:
                self._infos = archive.infolist()
                self._files = {info.filename: archive.read(info) for info in self._infos}
                parts = tabular.sheet_parts(archive)
            rows = next((sheet.rows for sheet in _sheets(body, table.name)), [])
        except (zipfile.BadZipFile, KeyError, tabular.WorkbookError) as error:
            raise RecordError(f"{name} does not open: {error}") from None
        places = {plain_header(sheet): part for sheet, part in parts}
        self._part = places.get(table.name) or self._begin_sheet(table)
        text = self._files[self._part].decode("utf-8")
        text = re.sub(r"<sheetData\s*/>", "<sheetData></sheetData>", text, count=1)
        found = re.search(r"<sheetData>(.*)</sheetData>", text, re.DOTALL)
        elements = _ROW.findall(found.group(1)) if found else []
        numbers = [re.match(r'<row\b[^>]*?\br="(\d+)"', element) for element in elements]
        if found is None or not all(numbers):
            raise RecordError(f"{name} is written in an unusual way: open it in a spreadsheet and save it again")
        self._before, self._after = text[: found.start(1)], text[found.end(1) :]
        self._rows = {int(number.group(1)): row for number, row in zip(numbers, elements, strict=True) if number}
        if not any(any(row) for row in rows):
            rows = [[column.name for column in table.columns]]
            self._put(1, {at: _inline(column.name) for at, column in enumerate(table.columns)})
        super().__init__(table, f"{name} sheet {table.name}", rows)

    def change(self, number: int, cells: Mapping[str, str]) -> None:
        """Put texts into cells of one row."""
        new = [name for name in cells if name not in self.places]
        if new and self.head is not None:
            width = len(self.header)
            self._put(self.head, {width + more: _inline(name) for more, name in enumerate(new)})
            self.header += new
            self.places |= {name: width + more for more, name in enumerate(new)}
        self._put(
            number, {self.places[name]: self._content(self._column(name), text, number) for name, text in cells.items()}
        )

    def append(self, cells: Mapping[str, str]) -> int:
        """Add a row; its number."""
        last = max(number for number, row in enumerate(self._all, start=1) if any(row))
        self._all[last:] = [list(cells.values())]
        self.change(last + 1, cells)
        self._lengthen_tables(last)
        return last + 1

    def remove(self, number: int) -> None:
        """Take away a row that was added: its cells become blank and keep their format."""
        self._put(number, dict.fromkeys(self.places.values(), ""))

    def body(self) -> bytes:
        """The whole file with what was changed."""
        inner = "".join(self._rows[number] for number in sorted(self._rows))
        before = re.sub(r'(<dimension\b[^>]*?\bref=")[^"]*', rf"\g<1>A1:{self._corner()}", self._before, count=1)
        self._files[self._part] = (before + inner + self._after).encode("utf-8")
        book = self._files["xl/workbook.xml"].decode("utf-8")
        if "fullCalcOnLoad" not in book:
            # Formulas that look at the changed row are reckoned anew when a spreadsheet opens the file.
            book = re.sub(r"<calcPr\b", '<calcPr fullCalcOnLoad="1"', book, count=1)
        self._files["xl/workbook.xml"] = book.encode("utf-8")
        out = io.BytesIO()
        known = {info.filename: info for info in self._infos}
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, content in self._files.items():
                archive.writestr(known.get(name, name), content, zipfile.ZIP_DEFLATED, 1)
        return out.getvalue()

    def _column(self, name: str) -> Column:
        return self.table.column(name)

    def _content(self, column: Column, text: str, number: int) -> str:
        """What stands inside a cell: a number or a date where the column's own format shows one, or else text."""
        if not text:
            return ""
        if column.kind in ("date", "month"):
            day = self._serial(column, text, number)
            return f"<v>{day}</v>" if day else _inline(text)
        if column.kind not in ("id", "text", "choice") and _NUMBER.fullmatch(text):
            return f"<v>{text}</v>"
        return _inline(text)

    def _serial(self, column: Column, text: str, number: int) -> int:
        """The day number of a date where the column is formatted as dates; 0 elsewhere."""
        style = self._style(number, self.places[column.name])
        if not style or not self._is_date(int(style)) or not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
            return 0
        old = re.search(r'\bdate1904="(1|true)"', self._files["xl/workbook.xml"].decode("utf-8"))
        return (dt.date.fromisoformat(text) - (dt.date(1904, 1, 1) if old else dt.date(1899, 12, 30))).days

    def _is_date(self, style: int) -> bool:
        styles = self._files.get("xl/styles.xml", b"").decode("utf-8")
        formats = re.search(r"<cellXfs\b.*?</cellXfs>", styles, re.DOTALL)
        used = re.findall(r"<xf\b[^>]*", formats.group()) if formats else []
        number = re.search(r'\bnumFmtId="(\d+)"', used[style]) if style < len(used) else None
        if number is None:
            return False
        own = re.search(rf'<numFmt\b[^>]*?\bnumFmtId="{number.group(1)}"[^>]*?\bformatCode="([^"]*)"', styles)
        shape = re.sub(r"&quot;.*?&quot;|\[[^]]*\]|\\.", "", own.group(1)) if own else ""
        return int(number.group(1)) in _DATE_FORMATS or bool(re.search(r"[yYdD]", shape))

    def _style(self, number: int, at: int) -> str:
        """The style of a cell, or of the nearest one above it that is no header."""
        for above in range(number, self.head or 0, -1):
            cell = self._cells(above).get(at, "")
            found = _STYLE.match(cell)
            if found:
                return found.group(1)
            if cell and above < number:
                return ""
        return ""

    def _cells(self, number: int) -> dict[int, str]:
        found: dict[int, str] = {}
        for cell in _CELL.findall(self._rows.get(number, "")):
            place = re.match(r'<c\b[^>]*?\br="([A-Z]+)\d+"', cell)
            if place is None:
                raise RecordError(f"{self._name} is written in an unusual way: open it in a spreadsheet, save it again")
            found[column_index(place.group(1))] = cell
        return found

    def _put(self, number: int, contents: Mapping[int, str]) -> None:
        cells = self._cells(number)
        for at, content in contents.items():
            if "<f" in cells.get(at, ""):
                shown = self.header[at] if at < len(self.header) else ""
                raise RecordError(f"{self.label} row {number}, column {shown} holds a formula: change it by hand")
            style = self._style(number, at)
            shape = f' s="{style}"' if style else ""
            kind = ' t="inlineStr"' if content.startswith("<is>") else ""
            cells[at] = f'<c r="{column_letters(at)}{number}"{shape}{kind}' + (f">{content}</c>" if content else "/>")
        opened = re.match(r"<row\b([^>]*?)/?>", self._rows.get(number, f'<row r="{number}">'))
        attributes = re.sub(r'\s*\bspans="[^"]*"', "", opened.group(1)) if opened else ""
        self._rows[number] = f"<row{attributes}>{''.join(cells[at] for at in sorted(cells))}</row>"

    def _corner(self) -> str:
        width = max((max(self._cells(number), default=0) for number in (self.head or 1, max(self._rows))), default=0)
        wide = re.search(r'<dimension\b[^>]*?\bref="[^":]*:([A-Z]+)\d+"', self._before)
        return f"{column_letters(max(width, column_index(wide.group(1)) if wide else 0))}{max(self._rows)}"

    def _lengthen_tables(self, last: int) -> None:
        """A spreadsheet's own table that ended in the row above takes the new row in."""
        folder, _, file = self._part.rpartition("/")
        links = self._files.get(f"{folder}/_rels/{file}.rels", b"").decode("utf-8")
        for target in re.findall(r'\bTarget="[^"]*?(tables/[^"/]+\.xml)"', links):
            part = f"xl/{target}"
            text = self._files.get(part, b"").decode("utf-8")
            if text:
                longer = re.sub(rf'(\bref="[A-Z]+\d+:[A-Z]+){last}"', rf'\g<1>{last + 1}"', text)
                self._files[part] = longer.encode("utf-8")

    def _begin_sheet(self, table: Table) -> str:
        """A sheet for a table that the workbook lacks."""
        book, links = "xl/workbook.xml", "xl/_rels/workbook.xml.rels"
        taken = re.findall(r'\bsheetId="(\d+)"', self._files[book].decode("utf-8"))
        ident = max(map(int, taken), default=0) + 1
        part = f"xl/worksheets/flipkit-{table.name}.xml"
        self._files[part] = _SHEET.encode()
        sheet = f'<sheet xmlns:r="{_OFFICE}" name="{table.name}" sheetId="{ident}" r:id="flipkit{ident}"/></sheets>'
        link = (
            f'<Relationship Id="flipkit{ident}" Type="{_OFFICE}/worksheet" Target="worksheets/flipkit-{table.name}.xml"'
            "/></Relationships>"
        )
        kind = f'<Override PartName="/{part}" ContentType="{_SHEET_TYPE}"/></Types>'
        for name, end, more in (
            (book, "</sheets>", sheet),
            (links, "</Relationships>", link),
            ("[Content_Types].xml", "</Types>", kind),
        ):
            self._files[name] = self._files[name].decode("utf-8").replace(end, more).encode("utf-8")
        return part


@functools.lru_cache(maxsize=8)
def _sheets(body: bytes, name: str) -> list[tabular.Sheet]:
    """The sheet of a table, read once however often it is looked at."""
    return tabular.read_sheets(io.BytesIO(body), only=name)


def _inline(text: str) -> str:
    return f'<is><t xml:space="preserve">{escape(text, quote=False)}</t></is>'
