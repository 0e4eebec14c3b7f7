"""An export opened, and the table found among titles, notes and totals."""

from __future__ import annotations

import contextlib
import re
from collections import Counter
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from itertools import islice
from pathlib import Path

from flipkit.books import cells as book_cells
from flipkit.books import tabular
from flipkit.imports import dialect as import_dialect
from flipkit.imports.dialect import Block, Dialect, Encoding, Record, refusal
from flipkit.imports.values import (
    NOTHING,
    DateEvidence,
    NumberEvidence,
    number_of,
    read_date,
    read_written,
    three_sides,
    unit_in,
)

# An export opened: its records one by one, whatever kind of file it is.

#: How the text of a cell begins that the workbook holds no value of.
LOST = "\u26a0"
#: Records that are read together.
BLOCK = 20_000
#: Most columns that an export may have.
MOST_COLUMNS = 1_000
#: Largest export in which several tables are looked for. [bytes]
SMALL = 2_000_000
#: Largest export. [bytes]
LARGEST_EXPORT = 4_000_000_000

#: First bytes of files that are no table, with what they are and what to do.
_ANEW = "ask the program for a CSV or spreadsheet export instead"
_KINDS = (
    ((b"%PDF",), "a PDF document", _ANEW),
    ((b"\x1f\x8b", b"BZh", b"7z\xbc\xaf", b"Rar!"), "a compressed file", "unpack it first"),
    ((b"\x89PNG", b"\xff\xd8\xff"), "a picture", _ANEW),
    ((b"SQLite format 3",), "a database", _ANEW),
)
_MARKUP = (b"<html", b"<!doctype", b"<table", b"<?xml", b"<div")


@dataclass(frozen=True)
class Export:
    """A file of another program, opened."""

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

    def of_sheet(self, sheet: str) -> Export:
        """The export with its tables apart, where there are several, and one of them named or the first."""
        rows = {name: lines for own, all_ in self._rows.items() for name, lines in _tables_in(own, all_)}
        if sheet and sheet not in rows and sheet not in self._rows:
            needed = f"one of {', '.join(rows)}"
            raise refusal(self.path.name, None, f"no sheet {sheet}", needed, "name it with --sheet")
        chosen = (
            sheet
            if sheet in rows
            else next((n for n in rows if sheet and n.startswith(f"{sheet}: ")), next(iter(rows)))
        )
        return replace(self, sheet=chosen, sheets=tuple(rows), _rows=rows)

    def blocks(self, size: int = BLOCK) -> Iterator[Block]:
        """Its records, block by block."""
        # Closed at once when a block is refused, so that no file stays open behind the error.
        with contextlib.closing(self._of_sheet(size) if self._rows else self._of_text(size)) as source:
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
        """Its records, one by one."""
        for block in self.blocks(size):
            for at, cells in enumerate(block.rows):
                yield Record(block.first + at, cells, block.broken.get(at, ""))

    def _of_text(self, size: int) -> Generator[Block]:
        assert self.encoding is not None and self.dialect is not None  # noqa: PT018, S101
        yield from import_dialect.blocks_of(self.path, self.encoding, self.dialect, size=size)

    def _of_sheet(self, size: int) -> Generator[Block]:
        rows = self._rows[self.sheet]
        for first in range(0, len(rows), size):
            yield Block(first + 1, [[cell.strip() for cell in row] for row in rows[first : first + size]])


def open_export(
    path: Path, *, encoding_name: str = "", delimiter: str = "", quote: str | None = None, sheet: str = ""
) -> Export:
    """Open an export: find out what it is, how its bytes become text and how its cells are separated."""
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
    for marks, kind, mend in _KINDS:
        if head.startswith(marks):
            raise refusal(label, None, kind, "a table (CSV, TSV or a workbook)", mend)
    if head.startswith((b"PK", b"\xd0\xcf\x11\xe0")):
        return _open_workbook(path, sheet)
    if head.lstrip(b"\xef\xbb\xbf \t\r\n").lower().startswith(_MARKUP):
        mend = "open it in a spreadsheet and save it as CSV or as a workbook"
        raise refusal(label, 1, "a web page or XML", "a table", mend)
    if head.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] in (b"{", b"["):
        raise refusal(label, 1, "JSON", "a table (CSV, TSV or a workbook)", "ask the program for a CSV export instead")
    return _open_text(path, encoding_name, delimiter, quote, sheet)


def _open_text(path: Path, encoding_name: str, delimiter: str, quote: str | None, sheet: str) -> Export:
    try:
        text = import_dialect.encoding_of(path, given=encoding_name)
    except import_dialect.BytesError as error:
        mend = "export it anew" if "NUL" in error.found else "name its encoding with --encoding"
        raise refusal(path.name, error.row, error.found, "text", mend) from None
    found = import_dialect.dialect_of(path, text) if not delimiter or quote is None else Dialect(",")
    mark = import_dialect.DELIMITER_WORDS.get(delimiter, delimiter) or found.delimiter
    if len(mark) != 1:
        raise refusal(path.name, None, f"the delimiter {delimiter!r}", "one character", "such as --delimiter semicolon")
    export = Export(path, text, Dialect(mark, found.quote if quote is None else quote, found.escape))
    if path.stat().st_size <= SMALL:
        # Several tables below each other are tables of their own.
        blocks = list(export.blocks())
        rows = [row for block in blocks for row in block.rows]
        apart = _tables_in("", rows) if not any(block.broken for block in blocks) else []
        if len(apart) > 1:
            return replace(export, _rows={"": rows}).of_sheet(sheet)
    return export


def _open_workbook(path: Path, sheet: str) -> Export:
    try:
        sheets = tabular.read_sheets(path)
        lost = tabular.lost_cells(path)
    except tabular.WorkbookError as error:
        raise refusal(path.name, None, str(error), "a workbook that opens", error.mend) from None
    rows_of = {s.name: s.rows for s in sheets}
    for cell in lost:
        rows = rows_of.get(cell.sheet, [])
        if 0 < cell.row <= len(rows) and 0 <= cell.column < len(rows[cell.row - 1]):
            rows[cell.row - 1][cell.column] = f"{LOST} {cell.found}"
    filled = {s.name: s.rows for s in sheets if any(map(any, s.rows))}
    if not filled:
        raise refusal(path.name, None, "a workbook with nothing in it", "a table", "export it anew")
    return Export(path, _rows=filled).of_sheet(sheet)


def wordlike(cell: str) -> bool:
    """Whether a cell is a word, no number and no date."""
    return any(c.isalpha() for c in cell) and read_written(cell) is None and read_date(cell) is None


def _tables_in(name: str, rows: list[list[str]]) -> list[tuple[str, list[list[str]]]]:
    """The tables of a sheet below each other, each with a name and its rows where they stand.

    Another table begins below a blank row, perhaps with a title, where words of its own head rows with numbers or days.
    """
    starts: list[tuple[int, list[str]]] = []
    heads: list[list[str]] = []
    for at in range(len(rows) - 1 if len(rows) <= SMALL // 100 else 0):
        cells = [cell.strip() for cell in rows[at] if cell.strip()]
        if len(cells) < 2 or len(set(cells)) < len(cells) or not all(map(wordlike, cells)):
            continue
        below = [cell.strip() for cell in rows[at + 1] if cell.strip()]
        if len(below) < max(2, len(cells) // 2) or all(map(wordlike, below)) or cells in heads:
            continue
        title = at > 0 and sum(map(bool, rows[at - 1])) == 1
        begin = at - title
        if not starts or (begin > 0 and not any(rows[begin - 1])):
            heads.append(cells)
            starts.append((begin if starts else 0, cells))
    ends = [begin for begin, _ in starts[1:]] + [len(rows)]
    if len(starts) < 2:
        return [(name, rows)]
    blank: list[list[str]] = [[]]
    parts = [
        (", ".join(cells[:3]), blank * begin + rows[begin:end])
        for (begin, cells), end in zip(starts, ends, strict=True)
    ]
    return [(f"{name}: {words}".removeprefix(": "), lines) for words, lines in parts]


# What one column of an export holds, gathered from all of its rows.

#: Words for "nothing" in the capitals that programs use.
_NOTHINGS = frozenset(way for word in NOTHING for way in (word, word.upper(), word.title(), word.capitalize()))
#: Different texts of a column that are kept.
_EXAMPLES = 12
#: Distinct texts after which a column that is plainly no number or date is not tried any more.
_ENOUGH = 2_000
#: Distinct texts after which one mark or order, seen in no other way, is settled.
_PLENTY = 50_000


@dataclass(slots=True)
class ColumnFacts:
    """What one column of an export holds, from all of its rows."""

    index: int
    header: str
    filled: int = 0
    rows: int = 0
    examples: list[str] = field(default_factory=list)
    numbers: NumberEvidence = field(default_factory=NumberEvidence)
    dates: DateEvidence = field(default_factory=DateEvidence)
    distinct: int = 0
    unique: bool = True
    letters: int = 0
    nothings: dict[str, int] = field(default_factory=dict)
    _seen: set[int] = field(default_factory=set)
    _lettered: int = 0

    def add(self, cells: tuple[str, ...], distinct: dict[str, None]) -> None:
        """Take the cells of more rows into account."""
        self.rows += len(cells)
        blanks = cells.count("") if "" in distinct else 0
        self.filled += len(cells) - blanks
        texts = distinct
        texts.pop("", None)
        if not texts:
            return
        self.distinct += len(texts)
        if self.unique:
            size = len(self._seen)
            self.unique = len(texts) == len(cells) - blanks
            if self.unique:
                self._seen.update(map(hash, texts))
                self.unique = len(self._seen) == size + len(texts)
            if not self.unique:
                self._seen = set()
        if len(self.examples) < _EXAMPLES:
            more = (text for text in texts if text not in self.examples)
            self.examples += islice(more, _EXAMPLES - len(self.examples))
        for text in sorted(_NOTHINGS.intersection(texts)):
            self.nothings[text] = self.nothings.get(text, 0) + cells.count(text)
            texts.pop(text)
        if self._lettered < _ENOUGH:
            looked = list(islice(texts, _ENOUGH))
            self._lettered += len(looked)
            self.letters += sum(any(c.isalpha() for c in text) for text in looked)
        for evidence in (self.numbers, self.dates):
            tried = evidence.read + evidence.unread
            if tried < _ENOUGH:
                # A few tell whether the rest need be tried at all.
                evidence.add(islice(texts, _ENOUGH))
                tried = evidence.read + evidence.unread
                if evidence.read > 0.1 * tried:
                    evidence.add(islice(texts, _ENOUGH, None))
            elif evidence.read > 0.1 * tried:
                # What so many say of marks and orders is settled; of the rest a part is looked at,
                # and a text that says otherwise is refused when its row is read.
                settled = tried > _PLENTY and len(evidence.decisive) == 1
                evidence.add(islice(texts, _ENOUGH) if settled else texts)

    @property
    def is_number(self) -> bool:
        """Whether nearly all of its texts are numbers."""
        return self.numbers.mostly

    @property
    def is_date(self) -> bool:
        """Whether nearly all of its texts are dates, plain numbers that might be a day number aside."""
        return self.dates.mostly and self.dates.read > (self.dates.serials if self.is_number else 0)

    @property
    def is_sides(self) -> bool:
        """Whether its texts are three sides each."""
        return bool(self.examples) and all(map(three_sides, self.examples))

    @property
    def units(self) -> set[str]:
        """The units behind its numbers, empty for a bare one; none where not all texts are numbers or none has one."""
        found = {unit_in(text) for text in self.examples}
        return {unit or "" for unit in found} if None not in found and any(found) else set()

    @property
    def is_bare(self) -> bool:
        """Whether some of its measures are written without a unit."""
        if self.is_sides:
            return any(side[-1].isdigit() for text in self.examples for side in three_sides(text))
        return self.numbers.read > self.numbers.unread or "" in self.units

    @property
    def likely_decimal(self) -> str:
        """The decimal mark that its numbers speak for; a point where they do not say."""
        return self.numbers.ways[0] if len(self.numbers.ways) == 1 else "."


# Rows of an export that add up others: found by their word, proved by their sums.

#: A line that calls a row a total; looked for in all texts of a column at once.
_TOTAL = re.compile(
    r"\n((?:grand\s+|sub-?\s?|net\s+|overall\s+)?(?:totals?|sums?|summe|gesamt(?:summe)?|insgesamt|somme|suma|totale?|"
    r"totaal|razem|celkem|summa|yhteensä|итого|合計|总计|合计)(?:\s+(?:général|general|geral|of|for|in)\b.*|\s*\(.*\)|\s+\d{4})?\s*:?)"
    r"(?![^\n])".replace(r"\s", r"[^\S\n]"),
    re.IGNORECASE,
)


@dataclass(slots=True)
class Total:
    """A row that looks like the sum of others."""

    row: int
    label: str
    cells: list[str]
    sums: list[str] = field(default_factory=list)
    misses: list[str] = field(default_factory=list)

    @property
    def certain(self) -> bool:
        """Whether word and sums agree."""
        return bool(self.label and self.sums and not self.misses)


def total_label(cells: list[str]) -> str:
    """The word in a row that calls it a total, where it stands in the first filled cells.

    >>> total_label(["", "Grand total:", "506,914"]), total_label(["Total Station", "12"])
    ('Grand total:', '')
    """
    for cell in cells:
        if not cell:
            continue
        if _TOTAL.fullmatch(f"\n{cell}"):
            return cell
        if read_written(cell) is None:
            return ""
    return ""


def labels_among(texts: Iterable[str]) -> list[str]:
    """The texts that call a row a total."""
    return _TOTAL.findall("\n" + "\n".join(texts))


def judge(
    totals: list[Total],
    last: Record | None,
    facts: list[ColumnFacts],
    blocks: Callable[[], Iterable[SortedBlock]],
) -> None:
    """Compare rows that look like sums with the sums of the rows above them."""
    suspect = _unlabelled(last, facts)
    wanted = {total.row: total for total in (*totals, suspect) if total is not None}
    for fact in facts if wanted else ():
        overall = part = Decimal(0)
        for block in blocks() if fact.is_number else ():
            for number, cells in zip(block.numbers, block.rows, strict=True):
                cell = cells[fact.index]
                value = number_of(cell, fact.likely_decimal) if cell else None
                if total := wanted.get(number):
                    agrees = total.sums if value in (overall, part) else total.misses
                    agrees += [fact.header] if value is not None else []
                    part = Decimal(0)
                elif value is not None:
                    overall += value
                    part += value
    if suspect is not None and suspect.sums and not suspect.misses:
        totals.append(suspect)


def _sum(cells: Iterable[str], decimal: str) -> Decimal:
    total = Decimal(0)
    for text, count in Counter(cells).items():
        value = number_of(text, decimal) if text else None
        if value is not None:
            total += value * count
    return total


def _unlabelled(last: Record | None, facts: list[ColumnFacts]) -> Total | None:
    """The last row, where the cells that all others fill with words are blank in it."""
    if last is None or not facts or facts[0].rows < 3:
        return None
    words = [fact for fact in facts if not fact.is_number and fact.filled >= 0.6 * fact.rows]
    if words and not any(last.cells[fact.index] for fact in words):
        return Total(last.row, "", last.cells)
    return None


# Where the table lies inside an export: title lines, header, rows, notes, totals, repeats.
#
# Every record has one place: before the header, the header, blank, a row of the table, or left out for a reason
# that is listed.


#: Reasons of records that are none, or that the seller left out.
_NO_RECORD = (
    "a comment", "one filled cell alone", "the header again", "above the header", "a row that adds up others",
    "left out as you said", "none of the words to keep", "equal to row",
)  # fmt: skip


@dataclass(slots=True)
class SkippedRow:
    """A record that is no row of the table."""

    row: int
    reason: str
    cells: list[str]

    @property
    def lost(self) -> bool:
        """Whether it may be a record that the books now lack."""
        return not self.reason.startswith(_NO_RECORD)


@dataclass(slots=True)
class SortedBlock:
    """Records that follow each other, rows of the table apart from those left out."""

    numbers: Sequence[int]
    rows: list[list[str]]
    left: list[SkippedRow]

    def sifted(self, why: Callable[[int, list[str]], str]) -> SortedBlock:
        """The rows that nothing speaks against, those apart that something does, with what."""
        numbers: list[int] = []
        rows: list[list[str]] = []
        left: list[SkippedRow] = []
        for number, cells in zip(self.numbers, self.rows, strict=True):
            if reason := why(number, cells):
                left.append(SkippedRow(number, reason, cells))
            else:
                numbers.append(number)
                rows.append(cells)
        return SortedBlock(numbers, rows, left)


@dataclass(slots=True)
class Layout:
    """The table inside an export, surveyed from the first record to the last."""

    header_row: int
    headers: list[str]
    given: list[str]
    before: list[SkippedRow]
    hashes: bool = False
    typical: int = 1
    facts: list[ColumnFacts] = field(default_factory=list)
    rows_in: int = 0
    data_rows: int = 0
    kept: list[Record] = field(default_factory=list)
    duplicate_count: int = 0
    duplicates: list[tuple[int, int]] = field(default_factory=list)
    totals: list[Total] = field(default_factory=list)
    _held: list[SortedBlock] = field(default_factory=list)

    def fact(self, header: str) -> ColumnFacts:
        """What the column of that header holds."""
        return self.facts[self.headers.index(header)]

    def left_out(self, record: Record) -> str:
        """Why a record below the header is no row of the table; empty where it is one."""
        if record.broken:
            return record.broken
        cells = record.cells
        if cells[0][:1] == "#" and not self.hashes:
            return "a comment"
        width = len(self.headers)
        if len(cells) > width and any(cells[width:]):
            return f"{len(cells)} cells where the header has {width}"
        filled = len(cells) - cells.count("")
        if filled <= 1 and self.typical >= 3:
            return "one filled cell alone: a note or a heading"
        if filled > 1 and cells[: len(self.given)] == self.given and any(self.given):
            return "the header again"
        return ""

    def sorted_blocks(self, export: Export, *, once: bool = False) -> Iterator[SortedBlock]:
        """The records below the header, rows of the table apart from those left out."""
        if once and self._held:
            held, self._held = self._held[::-1], []
            while held:
                yield held.pop()
            return
        yield from self._read_blocks(export)

    def all_cells(self, export: Export) -> Iterator[list[str]]:
        """The cells of every row of the table, those of totals among them."""
        if len(self.kept) >= self.data_rows:
            yield from (record.cells for record in self.kept)
        else:
            for block in self._held or self.sorted_blocks(export):
                yield from block.rows

    def sums(self, export: Export, facts: list[ColumnFacts]) -> dict[str, Decimal]:
        """What the numbers of columns add up to, by header."""
        totals = [total.cells for total in self.totals]
        return {
            fact.header: _sum(
                (cells[fact.index] for cells in self.all_cells(export) if cells not in totals), fact.likely_decimal
            )
            for fact in facts
        }

    def _read_blocks(self, export: Export) -> Iterator[SortedBlock]:
        width = len(self.headers)
        first_header = self.given[0] if self.given else "#"
        for block in export.blocks():
            rows, first = block.rows, block.first
            if first <= self.last_before:
                rows = rows[self.last_before - first + 1 :]
                first = self.last_before + 1
            if not rows:
                continue
            # A row like its neighbours, filled, and no comment or header: nearly all are.
            alike = not block.broken and set(map(len, rows)) == {width}
            lone = width - 1 if width > 1 else 1
            if alike and not self._strange(rows, first_header) and not any(row.count("") >= lone for row in rows):
                yield SortedBlock(range(first, first + len(rows)), rows, [])
            else:
                yield self._sorted(Block(first, rows, {}), {block.first + at: why for at, why in block.broken.items()})

    @staticmethod
    def _strange(rows: list[list[str]], first_header: str) -> bool:
        """Whether any row may be a comment or the header again."""
        cells = [row[0] for row in rows]
        return "#" in book_cells.first_letters(cells) or first_header in cells

    def _sorted(self, block: Block, broken: dict[int, str]) -> SortedBlock:
        width = len(self.headers)
        numbers: list[int] = []
        rows: list[list[str]] = []
        left: list[SkippedRow] = []
        for number, cells in enumerate(block.rows, start=block.first):
            if not any(cells):
                continue
            reason = self.left_out(Record(number, cells, broken.get(number, "")))
            if reason:
                left.append(SkippedRow(number, reason, cells))
                continue
            numbers.append(number)
            rows.append(cells if len(cells) == width else cells[:width] + [""] * (width - len(cells)))
        return SortedBlock(numbers, rows, left)

    @property
    def last_before(self) -> int:
        """The last record above the rows of the table."""
        return self.header_row or (self.before[-1].row if self.before else 0)
