"""An export opened: its records one by one, whatever kind of file it is."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Generator, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from flipkit.books import tabular
from flipkit.books.exports import encoding as book_encoding
from flipkit.books.exports.encoding import Encoding
from flipkit.books.problems import Problem
from flipkit.errors import ConversionError
from flipkit.imports import dialect as import_dialect
from flipkit.imports.dialect import Block, Dialect, Record

#: How the text of a cell begins that the workbook holds no value of.
LOST = "\u26a0"
#: Records that are read together.
BLOCK = 20_000
#: Most columns that an export may have.
MOST_COLUMNS = 1_000
#: Largest export. [bytes]
LARGEST_EXPORT = 4_000_000_000

#: First bytes of files that are no table, with what they are and what to do.
_KINDS = (
    (b"%PDF", "a PDF document", "ask the program for a CSV or spreadsheet export instead"),
    (b"\x1f\x8b", "a compressed file", "unpack it first"),
    (b"BZh", "a compressed file", "unpack it first"),
    (b"7z\xbc\xaf", "a compressed file", "unpack it first"),
    (b"Rar!", "a compressed file", "unpack it first"),
    (b"\x89PNG", "a picture", "ask the program for a CSV or spreadsheet export instead"),
    (b"\xff\xd8\xff", "a picture", "ask the program for a CSV or spreadsheet export instead"),
    (b"SQLite format 3", "a database", "ask the program for a CSV or spreadsheet export instead"),
)
_MARKUP = (b"<html", b"<!doctype", b"<table", b"<?xml", b"<div")


@dataclass(frozen=True)
class Export:
    """A file of another program, opened.

    Parameters
    ----------
    path : Path
        The file.
    encoding : Encoding or None
        How its bytes become text; None for a workbook.
    dialect : Dialect or None
        How its cells are separated; None for a workbook.
    sheet : str
        The sheet that is read; empty for a file of text.
    sheets : tuple of str
        The sheets with something in them.
    """

    path: Path
    encoding: Encoding | None = None
    dialect: Dialect | None = None
    sheet: str = ""
    sheets: tuple[str, ...] = ()
    _rows: Mapping[str, list[list[str]]] = field(default_factory=dict, repr=False)

    @property
    def label(self) -> str:
        """What messages call it."""
        return f"{self.path.name} sheet {self.sheet}" if self.sheet else self.path.name

    def blocks(self, size: int = BLOCK) -> Iterator[Block]:
        """Its records, block by block.

        Parameters
        ----------
        size : int
            Records of a block.

        Yields
        ------
        Block
            Every record in order, blank ones as no cells or blank cells.

        Raises
        ------
        ConversionError
            If its quotes match nowhere, or a record has too many cells.
        """
        # Closed at once when a block is refused, so that no file stays open behind the error.
        with contextlib.closing(self._of_sheet(size) if self.dialect is None else self._of_text(size)) as source:
            for block in source:
                if max(map(len, block.rows)) > MOST_COLUMNS:
                    at = next(at for at, cells in enumerate(block.rows) if len(cells) > MOST_COLUMNS)
                    raise refusal(
                        self.label,
                        block.first + at,
                        f"{len(block.rows[at]):,} cells",
                        f"at most {MOST_COLUMNS:,} columns",
                        "is this one table, with that delimiter? name it with --delimiter",
                    )
                yield block

    def records(self, size: int = BLOCK) -> Iterator[Record]:
        """Its records, one by one.

        Parameters
        ----------
        size : int
            Records read together.

        Yields
        ------
        Record
            Every record, blank ones as no cells or blank cells.
        """
        for block in self.blocks(size):
            for at, cells in enumerate(block.rows):
                yield Record(block.first + at, cells, block.broken.get(at, ""))

    def _of_text(self, size: int) -> Generator[Block]:
        assert self.encoding is not None and self.dialect is not None  # noqa: PT018, S101
        try:
            yield from import_dialect.blocks_of(self.path, self.encoding, self.dialect, size=size)
        except import_dialect.TooManyBrokenError as error:
            raise refusal(
                self.label,
                error.row,
                f"quotes that do not match in more than {import_dialect.MOST_BROKEN} rows",
                "cells in matching quotes",
                "if quotes are plain characters in this file: --quote none",
            ) from None

    def _of_sheet(self, size: int) -> Generator[Block]:
        rows = self._rows[self.sheet]
        for first in range(0, len(rows), size):
            yield Block(first + 1, [[cell.strip() for cell in row] for row in rows[first : first + size]])

    def digest(self) -> str:
        """SHA-256 of its bytes."""
        with self.path.open("rb") as handle:
            return hashlib.file_digest(handle, "sha256").hexdigest()


def refusal(file: str, row: int | None, found: str, needed: str, mend: str) -> ConversionError:
    """The error that says why an export cannot be taken at all.

    Parameters
    ----------
    file : str
        What messages call the export.
    row : int or None
        Row, where there is one.
    found, needed, mend : str
        As in `Problem`.

    Returns
    -------
    ConversionError
        The error.
    """
    return ConversionError([Problem(file, row, "", found, needed, mend)])


def open_export(
    path: Path, *, encoding_name: str = "", delimiter: str = "", quote: str | None = None, sheet: str = ""
) -> Export:
    """Open an export: find out what it is, how its bytes become text and how its cells are separated.

    Parameters
    ----------
    path : Path
        The file.
    encoding_name : str
        Encoding, where the seller names it.
    delimiter : str
        Mark between cells or its word, where the seller names it.
    quote : str or None
        Mark around cells, empty for none, where the seller names it.
    sheet : str
        Sheet, where the seller names it; otherwise the first with something in it.

    Returns
    -------
    Export
        The export.

    Raises
    ------
    ConversionError
        If it is no table that can be read; the message says what it is.
    """
    label = path.name
    try:
        with path.open("rb") as handle:
            head = handle.read(512)
        size = path.stat().st_size
    except IsADirectoryError:
        raise refusal(label, None, "a folder", "one file", "convert its files one by one") from None
    except OSError as error:
        found = error.strerror or str(error)
        raise refusal(label, None, found, "a file that opens", "look at its path and permissions") from None
    if size > LARGEST_EXPORT:
        raise refusal(label, None, f"{size:,} bytes", f"at most {LARGEST_EXPORT:,} bytes", "split it")
    if not head.strip():
        raise refusal(label, None, "an empty file", "a table", "export it anew")
    for mark, kind, mend in _KINDS:
        if head.startswith(mark):
            raise refusal(label, None, kind, "a table (CSV, TSV or a workbook)", mend)
    if head.startswith((b"PK", b"\xd0\xcf\x11\xe0")):
        return _open_workbook(path, sheet)
    if head.lstrip(b"\xef\xbb\xbf \t\r\n").lower().startswith(_MARKUP):
        mend = "open it in a spreadsheet and save it as CSV or as a workbook"
        raise refusal(label, 1, "a web page or XML", "a table", mend)
    if head.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] in (b"{", b"["):
        raise refusal(label, 1, "JSON", "a table (CSV, TSV or a workbook)", "ask the program for a CSV export instead")
    return _open_text(path, encoding_name, delimiter, quote)


def _open_text(path: Path, encoding_name: str, delimiter: str, quote: str | None) -> Export:
    try:
        text = book_encoding.encoding_of(path, given=encoding_name)
    except book_encoding.BytesError as error:
        mend = "export it anew" if "NUL" in error.found else "name its encoding with --encoding"
        raise refusal(path.name, error.row, error.found, "text", mend) from None
    found = import_dialect.dialect_of(path, text) if not delimiter or quote is None else Dialect(",")
    mark = import_dialect.DELIMITER_WORDS.get(delimiter, delimiter) or found.delimiter
    if len(mark) != 1:
        raise refusal(path.name, None, f"the delimiter {delimiter!r}", "one character", "such as --delimiter semicolon")
    return Export(path, text, Dialect(mark, found.quote if quote is None else quote, found.escape))


def _open_workbook(path: Path, sheet: str) -> Export:
    try:
        sheets = tabular.read_sheets(path)
        lost = tabular.lost_cells(path)
    except tabular.WorkbookError as error:
        mend = "open it in a spreadsheet and save it anew; unpack it first if it is an archive"
        raise refusal(path.name, None, str(error), "a workbook that opens", mend) from None
    rows_of = {s.name: s.rows for s in sheets}
    for cell in lost:
        rows = rows_of.get(cell.sheet, [])
        if 0 < cell.row <= len(rows) and 0 <= cell.column < len(rows[cell.row - 1]):
            rows[cell.row - 1][cell.column] = f"{LOST} {cell.found}"
    filled = [s for s in sheets if any(any(row) for row in s.rows)]
    if not filled:
        raise refusal(path.name, None, "a workbook with nothing in it", "a table", "export it anew")
    names = tuple(s.name for s in filled)
    if sheet and sheet not in names:
        raise refusal(path.name, None, f"no sheet {sheet}", f"one of {', '.join(names)}", "name it with --sheet")
    return Export(path, sheet=sheet or names[0], sheets=names, _rows={s.name: s.rows for s in filled})
