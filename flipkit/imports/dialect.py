"""How the cells of an export are separated and quoted, and its records one by one.

A record whose quotes do not match is handed out as it stands and the reading goes on with the
next line, so that one bad line never swallows its neighbours.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

from flipkit.books.exports.encoding import Encoding

#: Marks that programs put between cells.
DELIMITERS = (",", ";", "\t", "|", "^", "~", ":")
#: Words for marks in options and mappings.
DELIMITER_WORDS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|", "caret": "^", "tilde": "~", "colon": ":"}
#: A first line by which some spreadsheets tell the delimiter.
_TOLD = re.compile(r'\ufeff?"?sep=(.)"?[\r\n]', re.IGNORECASE)
#: Characters looked at to find the delimiter; more makes the search slow and no surer.
_LOOKED_AT = 8_000
#: Longest cell and longest record that a table may hold.
LONGEST_CELL = 100_000
LONGEST_RECORD_LINES = 200
#: Records with unmatched quotes after which the quotes are plainly not what they seem.
MOST_BROKEN = 50


@dataclass(frozen=True, slots=True)
class Dialect:
    """How cells are separated and quoted.

    Parameters
    ----------
    delimiter : str
        The mark between cells.
    quote : str
        The mark around cells; empty where quotes are plain characters.
    escape : str
        The mark before a quote inside quotes; empty where a quote is written twice.
    """

    delimiter: str
    quote: str = '"'
    escape: str = ""

    @property
    def word(self) -> str:
        """The delimiter in words."""
        for word, mark in DELIMITER_WORDS.items():
            if mark == self.delimiter:
                return word
        return repr(self.delimiter)


@dataclass(frozen=True, slots=True)
class Record:
    """One record of an export.

    Parameters
    ----------
    row : int
        Its number as a spreadsheet shows it.
    cells : list of str
        Its cells, trimmed.
    broken : str
        Why it cannot be read, empty where it can.
    """

    row: int
    cells: list[str]
    broken: str = ""


@dataclass(slots=True)
class Block:
    """Records of an export that follow each other.

    Parameters
    ----------
    first : int
        Row number of the first.
    rows : list of list of str
        Their cells, trimmed.
    broken : dict of int to str
        By place in the block, why a record cannot be read.
    """

    first: int
    rows: list[list[str]]
    broken: dict[int, str] = field(default_factory=dict)


class TooManyBrokenError(ValueError):
    """Quotes do not match in so many records that the dialect must be wrong.

    Parameters
    ----------
    row : int
        The first of them.
    """

    def __init__(self, row: int) -> None:
        super().__init__(f"quotes that do not match, first in row {row}")
        self.row = row


def dialect_of(path: Path, encoding: Encoding) -> Dialect:
    """The dialect of a file of text.

    Parameters
    ----------
    path : Path
        The file.
    encoding : Encoding
        Its encoding.

    Returns
    -------
    Dialect
        The dialect; commas where it has one column alone.
    """
    with path.open(encoding=encoding.name, newline="") as handle:
        sample = handle.read(_LOOKED_AT)
        whole = not handle.read(1)
    told = _TOLD.match(sample)
    if told is not None:
        return Dialect(told.group(1))
    lines = sample.splitlines(keepends=True)
    if not whole and len(lines) > 1:
        lines = lines[:-1]
    lines = [line for line in lines if line.strip() and not line.startswith("#")]
    return _detected("".join(lines))


def _detected(sample: str) -> Dialect:
    import clevercsv

    try:
        found = clevercsv.Detector().detect(sample, delimiters=list(DELIMITERS))
    except (clevercsv.Error, ValueError):
        found = None
    if found is None or not found.delimiter:
        return Dialect(",")
    # A quote that is no double one, or an escape, is believed only where it is seen at work.
    quote = found.quotechar if found.quotechar == "'" and f"{found.delimiter}'" in sample else '"'
    escape = found.escapechar if found.escapechar and f"{found.escapechar}{quote}" in sample else ""
    return Dialect(found.delimiter, quote, escape)


class _Lines:
    """The lines of a file, with the means to go back to the line after the record's first."""

    def __init__(self, lines: Iterator[str]) -> None:
        self._lines = lines
        self._again: list[str] = []
        self.record: list[str] = []

    def __iter__(self) -> _Lines:
        return self

    def __next__(self) -> str:
        if len(self.record) >= LONGEST_RECORD_LINES:
            raise _LongRecordError
        line = self._again.pop() if self._again else next(self._lines)
        self.record.append(line)
        return line

    def back(self) -> str:
        """Give back all lines of the record but its first, which is returned."""
        first, *rest = self.record
        self._again.extend(reversed(rest))
        self.record = []
        return first


class _LongRecordError(Exception):
    """A record that runs over more lines than any cell should."""


def blocks_of(path: Path, encoding: Encoding, dialect: Dialect, *, size: int) -> Iterator[Block]:
    """The records of a file of text, block by block.

    Records are read at full speed until one does not match its quotes; from there on each is
    read with care.

    Parameters
    ----------
    path : Path
        The file.
    encoding : Encoding
        Its encoding.
    dialect : Dialect
        Its dialect.
    size : int
        Records of a block.

    Yields
    ------
    Block
        The records in order, blank ones as no cells.

    Raises
    ------
    TooManyBrokenError
        If quotes do not match in more than a few records.
    """
    limit = csv.field_size_limit(LONGEST_CELL)
    first = 1
    try:
        with path.open(encoding=encoding.name, newline="") as handle:
            reader = _reader(handle, dialect)
            while True:
                rows: list[list[str]] = []
                failed = False
                try:
                    rows.extend(islice(reader, size))
                except csv.Error:
                    failed = True
                if rows:
                    yield Block(first, trimmed(rows))
                    first += len(rows)
                if failed:
                    yield from _careful(path, encoding, dialect, skip=first - 1, size=size)
                    return
                if not rows:
                    return
    finally:
        csv.field_size_limit(limit)


#: Spaces other than the common one, which are rare enough to be looked for in all cells at once.
_RARE_SPACES = ("\t", "\x0b", "\x0c", "\u00a0", "\u1680", "\u2002", "\u2003", "\u2009", "\u202f", "\u3000", "\r")


def trimmed(rows: list[list[str]]) -> list[list[str]]:
    """Rows with the spaces around their cells taken away.

    Parameters
    ----------
    rows : list of list of str
        The cells.

    Returns
    -------
    list of list of str
        The trimmed cells; the rows themselves where there is nothing to trim.
    """
    text = "\x1f".join(map("\x1f".join, rows))
    if "\x1f " in text or " \x1f" in text or text[:1] == " " or text[-1:] == " ":
        return [[cell.strip() for cell in row] for row in rows]
    if "\n" in text or any(space in text for space in _RARE_SPACES):
        return [[cell.strip() for cell in row] for row in rows]
    return rows


def _careful(path: Path, encoding: Encoding, dialect: Dialect, *, skip: int, size: int) -> Iterator[Block]:
    """The records after the first ones, those that do not match their quotes handed out as they stand."""
    broken: list[int] = []
    row = 0
    block = Block(skip + 1, [])
    with path.open(encoding=encoding.name, newline="") as handle:
        lines = _Lines(iter(handle))
        reader = _reader(lines, dialect)
        while True:
            lines.record = []
            row += 1
            try:
                cells = next(reader)
            except StopIteration:
                break
            except (csv.Error, _LongRecordError) as error:
                reader = _reader(lines, dialect)
                text = lines.back()
                broken.append(row)
                if len(broken) > MOST_BROKEN:
                    raise TooManyBrokenError(broken[0]) from None
                if row > skip:
                    block.broken[len(block.rows)] = _why(error)
                    block.rows.append([text.rstrip("\r\n")[:1000]])
                continue
            if row <= skip:
                continue
            block.rows.append([cell.strip() for cell in cells])
            if len(block.rows) >= size:
                yield block
                block = Block(row + 1, [])
    if block.rows:
        yield block


def _reader(lines: Iterable[str], dialect: Dialect) -> Iterator[list[str]]:
    return csv.reader(
        lines,
        delimiter=dialect.delimiter,
        quotechar=dialect.quote or None,
        quoting=csv.QUOTE_MINIMAL if dialect.quote else csv.QUOTE_NONE,
        escapechar=dialect.escape or None,
        doublequote=not dialect.escape,
        strict=True,
    )


def _why(error: Exception) -> str:
    if "field larger" in str(error):
        return f"a cell of more than {LONGEST_CELL:,} characters"
    return "quotes that do not match"
