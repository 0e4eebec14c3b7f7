"""Where the table lies inside an export: title lines, header, rows, notes, totals, repeats.

Every record has one place: before the header, the header, blank, a row of the table, or left
out for a reason that is listed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from flipkit.books import bulk
from flipkit.books.exports.facts import ColumnFacts
from flipkit.books.exports.totals import Total
from flipkit.imports.dialect import Block, Record
from flipkit.imports.sheets import Export


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
class SortedBlock:
    """Records that follow each other, rows of the table apart from those left out.

    Parameters
    ----------
    numbers : sequence of int
        Row numbers of the rows of the table.
    rows : list of list of str
        Their cells, as many as the header has.
    left : list of Left
        What was left out.
    """

    numbers: Sequence[int]
    rows: list[list[str]]
    left: list[Left]


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
    _held: list[SortedBlock] = field(default_factory=list)

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

    def sorted_blocks(self, export: Export, *, once: bool = False) -> Iterator[SortedBlock]:
        """The records below the header, rows of the table apart from those left out.

        Parameters
        ----------
        export : Export
            The export.
        once : bool
            Whether this is the last time, so that what the survey held can be given out and
            forgotten instead of being read again.

        Yields
        ------
        SortedBlock
            Rows as wide as the header, and what was left out with its reason.
        """
        if once and self._held:
            held, self._held = self._held[::-1], []
            while held:
                yield held.pop()
            return
        yield from self._read_blocks(export)

    def all_cells(self, export: Export) -> Iterator[list[str]]:
        """The cells of every row of the table, those of totals among them.

        Parameters
        ----------
        export : Export
            The export.

        Yields
        ------
        list of str
            The cells of a row.
        """
        if len(self.kept) >= self.data_rows:
            yield from (record.cells for record in self.kept)
        else:
            for block in self._held or self.sorted_blocks(export):
                yield from block.rows

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
        return "#" in bulk.first_letters(cells) or first_header in cells

    def _sorted(self, block: Block, broken: dict[int, str]) -> SortedBlock:
        width = len(self.headers)
        numbers: list[int] = []
        rows: list[list[str]] = []
        left: list[Left] = []
        for number, cells in enumerate(block.rows, start=block.first):
            if not any(cells):
                continue
            reason = self.left_out(Record(number, cells, broken.get(number, "")))
            if reason:
                left.append(Left(number, reason, cells))
                continue
            numbers.append(number)
            rows.append(cells if len(cells) == width else cells[:width] + [""] * (width - len(cells)))
        return SortedBlock(numbers, rows, left)

    @property
    def last_before(self) -> int:
        """The last record above the rows of the table."""
        return self.header_row or (self.before[-1].row if self.before else 0)
