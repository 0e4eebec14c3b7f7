"""Where the table lies inside an export: title lines, header, rows, notes, totals, repeats.

Every record has one place: before the header, the header, blank, a row of the table, or left
out for a reason that is listed.
"""

from __future__ import annotations

import statistics
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from flipkit.books.exports import totals
from flipkit.books.exports.dates import read_date
from flipkit.books.exports.dialect import Record
from flipkit.books.exports.facts import ColumnFacts
from flipkit.books.exports.numbers import read_written
from flipkit.books.exports.opening import Export, refusal
from flipkit.books.exports.totals import Total

#: Rows looked at to find the header, and rows kept for sums and comparisons.
LOOKED_AT = 200
KEPT = 5_000
#: Rows taken together when a file is surveyed.
CHUNK = 20_000


@dataclass(slots=True)
class Left:
    """A record that is no row of the table.

    Parameters
    ----------
    row : int
        Its number.
    reason : str
        Why it was left out.
    cells : list of str
        What stands in it.
    """

    row: int
    reason: str
    cells: list[str]


@dataclass(slots=True)
class Layout:
    """The table inside an export, surveyed from the first record to the last.

    Parameters
    ----------
    header_row : int
        Row of the headers; 0 where the table has none.
    headers : list of str
        Headers, made different from each other; a column without one is called by its number.
    given : list of str
        Headers as they stand there.
    before : list of Left
        Lines above the header.
    facts : list of ColumnFacts
        What each column holds.
    rows_in : int
        Records below the header that are not blank.
    kept : list of Record
        The first rows of the table.
    duplicates : list of tuple of int
        Row numbers of rows equal to an earlier one in every cell, with the earlier row.
    totals : list of Total
        Rows that look like sums.
    hashes : bool
        Whether rows that begin with # are rows of the table.
    typical : int
        Filled cells of a typical row.
    short : list of int
        Rows with fewer cells than the header.
    """

    header_row: int
    headers: list[str]
    given: list[str]
    before: list[Left]
    hashes: bool = False
    typical: int = 1
    facts: list[ColumnFacts] = field(default_factory=list)
    rows_in: int = 0
    data_rows: int = 0
    kept: list[Record] = field(default_factory=list)
    duplicate_count: int = 0
    duplicates: list[tuple[int, int]] = field(default_factory=list)
    totals: list[Total] = field(default_factory=list)
    short: list[int] = field(default_factory=list)

    def fact(self, header: str) -> ColumnFacts:
        """What the column of that header holds.

        Parameters
        ----------
        header : str
            One of ``headers``.

        Returns
        -------
        ColumnFacts
            The facts.
        """
        return self.facts[self.headers.index(header)]

    def left_out(self, record: Record) -> str:
        """Why a record below the header is no row of the table; empty where it is one.

        Parameters
        ----------
        record : Record
            The record.

        Returns
        -------
        str
            The reason.
        """
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

    def rows(self, export: Export) -> Iterator[tuple[Record, str]]:
        """The records below the header that are not blank, each with the reason to leave it out.

        Parameters
        ----------
        export : Export
            The export.

        Yields
        ------
        Record
            The record, as wide as the header.
        str
            Why it is no row of the table; empty where it is one.
        """
        width = len(self.headers)
        for record in export.records():
            if record.row <= self.last_before or not any(record.cells):
                continue
            reason = self.left_out(record)
            if not reason:
                cells = record.cells
                if len(cells) != width:
                    cells = cells[:width] + [""] * (width - len(cells))
                record = Record(record.row, cells)
            yield record, reason

    @property
    def last_before(self) -> int:
        """The last record above the rows of the table."""
        return self.header_row or (self.before[-1].row if self.before else 0)


def survey(export: Export, *, header_row: int | None = None) -> Layout:
    """Survey an export: find its table and learn what each column holds, from every row.

    Parameters
    ----------
    export : Export
        The export.
    header_row : int or None
        Row of the headers where the seller names it, 0 for none; None to find it.

    Returns
    -------
    Layout
        The table. A header row that was not found is told by ``header_row`` 0.

    Raises
    ------
    ConversionError
        If there is no table, or the named header row is not there.
    """
    head: list[Record] = []
    for record in export.records():
        if any(record.cells):
            head.append(record)
        if len(head) >= LOOKED_AT or record.row >= LOOKED_AT + 100:
            break
    if not head:
        raise refusal(export.label, None, "blank rows alone", "a table", "export it anew")
    layout = _framed(export, head, header_row)
    rows: list[list[str]] = []
    seen: dict[int, int] = {}
    last: Record | None = None
    for record, reason in layout.rows(export):
        layout.rows_in += 1
        if reason:
            continue
        cells = record.cells
        label = totals.total_label(cells)
        if label:
            layout.totals.append(Total(record.row, label, cells))
            continue
        layout.data_rows += 1
        last = record
        if len(layout.kept) < KEPT:
            layout.kept.append(record)
        first = seen.setdefault(hash(tuple(cells)), record.row)
        if first != record.row:
            layout.duplicate_count += 1
            if len(layout.duplicates) < 20:
                layout.duplicates.append((record.row, first))
        rows.append(cells)
        if len(rows) >= CHUNK:
            _flush(layout, rows)
    _flush(layout, rows)
    totals.judge(
        layout.totals,
        last,
        layout.facts,
        lambda: (record for record, reason in layout.rows(export) if not reason),
    )
    return layout


def _flush(layout: Layout, rows: list[list[str]]) -> None:
    if rows:
        for fact, cells in zip(layout.facts, zip(*rows, strict=True), strict=True):
            fact.add(cells)
        rows.clear()


def _wordlike(cell: str) -> bool:
    return bool(cell) and read_written(cell) is None and (read_date(cell) is None) and any(c.isalpha() for c in cell)


def _framed(export: Export, head: list[Record], header_row: int | None) -> Layout:
    """The header and what stands above it."""
    good = [record for record in head if not record.broken]
    hashes = sum(record.cells[0][:1] == "#" for record in good) > 0.5 * len(good)
    plain = [r for r in good if hashes or r.cells[0][:1] != "#"] or good
    if not plain:
        raise refusal(
            export.label, head[0].row, head[0].broken, "a table", "if quotes are plain characters: --quote none"
        )
    counts = [len(record.cells) - record.cells.count("") for record in plain]
    typical = max(1, int(statistics.median_high(counts[-max(1, len(counts) * 3 // 4) :])))
    if header_row is None:
        found = _header(plain, typical)
    elif header_row == 0:
        found = None
    else:
        found = next((record for record in head if record.row == header_row), None)
        if found is None:
            first = ", ".join(str(record.row) for record in head[:5])
            raise refusal(export.label, header_row, "no header there", f"a filled row, such as {first}", "--header-row")
    widths = Counter(_width(record.cells) for record in plain if found is None or record.row > found.row)
    common = max(widths, key=lambda width: (widths[width], width), default=0)
    given = list(found.cells) if found is not None else []
    while given and not given[-1]:
        given.pop()
    width = max(len(given), common, 1)
    headers = _different(given + [""] * (width - len(given)))
    above = [Left(r.row, "above the header", r.cells) for r in head if found is not None and r.row < found.row]
    layout = Layout(found.row if found is not None else 0, headers, given, above, hashes, typical)
    layout.facts = [ColumnFacts(i, header) for i, header in enumerate(headers)]
    return layout


def _width(cells: list[str]) -> int:
    width = len(cells)
    while width and not cells[width - 1]:
        width -= 1
    return width


def _header(plain: list[Record], typical: int) -> Record | None:
    """The first row that is filled like a row of the table and holds words alone."""
    for record in plain[:50]:
        filled = [cell for cell in record.cells if cell]
        if len(filled) < max(1, 0.5 * typical) or (typical > 1 and len(filled) < 2):
            continue
        words = sum(map(_wordlike, filled))
        if words >= 0.8 * len(filled) and len(set(filled)) >= 0.7 * len(filled):
            return record
        return None
    return None


def _different(given: list[str]) -> list[str]:
    """Headers made different: a blank one is called by its number, a repeated one counted."""
    headers: list[str] = []
    for at, header in enumerate(given, start=1):
        name = " ".join(header.split())[:80] or f"column {at}"
        count = 2
        unique = name
        while unique in headers:
            unique = f"{name} ({count})"
            count += 1
        headers.append(unique)
    return headers
