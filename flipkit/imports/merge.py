"""New rows laid over the books: added, filled in or shown, never overwriting."""

from __future__ import annotations

import csv
import functools
import io
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from flipkit.books.cells import InvalidCell, Units, reader_of
from flipkit.books.problems import plain_header
from flipkit.books.read import Books, inspect_books
from flipkit.books.schema import Table
from flipkit.books.write import csv_text, unescape_formula
from flipkit.errors import ConversionError
from flipkit.imports.dialect import refusal
from flipkit.imports.join import AcceptedRow

# New rows among those that the books hold already: added, filled in, or shown as changed.
#
# A row that is already there is never overwritten: blank cells are filled, a cell that differs is shown, and is
# taken only when the seller says so and has not written it by hand.

#: Kinds of columns that hold words, which a spreadsheet could take for formulas.
_WORDS = ("id", "text", "choice")


@dataclass(frozen=True, slots=True)
class Change:
    """A cell of the books that an export says otherwise."""

    key: str
    column: str
    books: str
    export: str
    done: str


@dataclass(slots=True)
class TableFile:
    """A table file of the books as it stands, comments and all."""

    header_at: int = -1
    lines: list[list[str]] = field(default_factory=list)
    columns: list[str] = field(default_factory=list)

    @property
    def records(self) -> range:
        """Places of the lines below the header."""
        return range(self.header_at + 1, len(self.lines))

    def text(self, table: Table) -> str:
        """The file as it is written."""
        plain = {column.name for column in table.columns if column.kind not in _WORDS}
        words = [at for at, name in enumerate(self.columns) if name not in plain]
        return csv_text(self.lines[0], self.lines[1:], words=words)


def read_table_file(path: Path) -> TableFile:
    """A table file of the books, every record as it stands."""
    if not path.exists():
        return TableFile()
    text = path.read_text(encoding="utf-8-sig")
    lines = [[unescape_formula(cell.strip()) for cell in line] for line in csv.reader(io.StringIO(text, newline=""))]
    at = next((i for i, line in enumerate(lines) if any(line) and not line[0].startswith("#")), -1)
    columns = [plain_header(cell) for cell in lines[at]] if at >= 0 else []
    return TableFile(at, lines, columns)


@dataclass(slots=True)
class Merged:
    """A table file with the rows of an export among its own."""

    file: TableFile
    added: int = 0
    there: int = 0
    changes: list[Change] = field(default_factory=list)
    origins: dict[int, int] = field(default_factory=dict)
    accepted: list[list[str]] = field(default_factory=list)
    text: str = ""
    whole: bool = False

    def add(self, row: list[str], number: int, order: list[int]) -> None:
        """Put a row of the export behind those of the file, its cells in the order of those."""
        self.origins[len(self.file.lines)] = number
        self.file.lines.append(_ordered(row, order))
        self.added += 1

    @property
    def altered(self) -> bool:
        """Whether anything in the file is new."""
        return bool(self.added) or any(change.done in ("filled", "taken") for change in self.changes)


def merged(
    table: Table,
    file: TableFile,
    taken: AcceptedRow,
    *,
    last: dict[tuple[str, str], str],
    units: Units,
    take_changes: bool,
    adds: bool = True,
) -> Merged:
    """Put the rows of an export among those of a table."""
    result = Merged(_with_columns(table, file, taken))
    if table.key:
        _by_key(table, result, taken, last, units, take_changes, adds)
    else:
        _by_content(table, result, taken, units)
    return result


def _with_columns(table: Table, file: TableFile, taken: AcceptedRow) -> TableFile:
    """The file with every column that the new rows fill, its own lines as wide as its header."""
    filled = [name for at, name in enumerate(taken.columns) if any(row[at] for row in taken.rows)]
    if file.header_at < 0:
        wanted = set(filled) | set(table.required)
        columns = [column.name for column in table.columns if column.name in wanted]
        return TableFile(len(file.lines), [*file.lines, list(columns)], columns)
    new = [column.name for column in table.columns if column.name in filled and column.name not in file.columns]
    columns = [*file.columns, *new]
    lines = []
    for at, line in enumerate(file.lines):
        if at == file.header_at:
            lines.append([*line, *new])
        elif at < file.header_at or not any(line) or line[0].startswith("#"):
            lines.append(list(line))
        else:
            lines.append([*line, *[""] * (len(columns) - len(line))])
    return TableFile(file.header_at, lines, columns)


def _by_key(
    table: Table,
    result: Merged,
    taken: AcceptedRow,
    last: dict[tuple[str, str], str],
    units: Units,
    take_changes: bool,
    adds: bool,
) -> None:
    file, bare = result.file, len(result.file.lines) == 1
    key_at = file.columns.index(table.key)
    where = {
        file.lines[place][key_at]: place
        for place in file.records
        if len(file.lines[place]) > key_at and not file.lines[place][0].startswith("#")
    }
    places, order = _places(file, taken)
    key_from = taken.columns.index(table.key)
    mean = {name: _meaning(table, name, units) for _, _, name in places}
    if adds and not where and len({row[key_from] for row in taken.rows}) == len(taken.rows):
        # A table that has no row yet takes all of them as they stand, which is many times faster.
        begin, count = len(file.lines), len(taken.rows)
        alike = file.columns == taken.columns
        file.lines += taken.rows if alike else (_ordered(row, order) for row in taken.rows)
        result.origins = dict(zip(range(begin, begin + count), range(count), strict=True))
        result.added, result.accepted, result.whole = count, taken.rows, bare
        return
    for number, row in enumerate(taken.rows):
        place = where.get(row[key_from])
        if place is None:
            if adds:
                where[row[key_from]] = len(file.lines)
                result.add(row, number, order)
                result.accepted.append(row)
            continue
        result.there += 1
        line = file.lines[place]
        accepted = row
        for at, to, name in places:
            said, stands = row[at], line[to]
            if not said or said == stands or (stands and mean[name](stands) == mean[name](said)):
                continue
            before = last.get((row[key_from], name), "")
            if not stands:
                done = "filled" if not before else "left: you emptied this cell"
            elif not before or mean[name](stands) != mean[name](before):
                done = "left: you wrote this cell by hand"
            else:
                done = "taken" if take_changes else "left: take changes with --changes take"
            result.changes.append(Change(row[key_from], name, stands, said, done))
            if done in ("filled", "taken"):
                line[to] = said
                result.origins[place] = number
                continue
            if accepted is row:
                accepted = list(row)
            accepted[at] = ""
        result.accepted.append(accepted)


def _ordered(row: list[str], order: list[int]) -> list[str]:
    """The cells of a row in an order; a place behind its end is blank."""
    padded = [*row, ""]
    return [padded[at] for at in order]


def _places(file: TableFile, taken: AcceptedRow) -> tuple[list[tuple[int, int, str]], list[int]]:
    """Where each cell of a row of the export stands in the file, and the order in which it comes there."""
    shared = [(at, file.columns.index(name), name) for at, name in enumerate(taken.columns) if name in file.columns]
    places = {name: at for at, _, name in shared}
    return shared, [places.get(name, len(taken.columns)) for name in file.columns]


def _meaning(table: Table, name: str, units: Units) -> Callable[[str], object]:
    """What the texts of a column mean, each read once; a text that cannot be read means itself."""
    read = reader_of(table.column(name), unit=table.column(name).unit, units=units)

    @functools.cache
    def meaning(text: str) -> object:
        found = read(text) if text else None
        return text if isinstance(found, InvalidCell) else found

    return meaning


def _by_content(table: Table, result: Merged, taken: AcceptedRow, units: Units) -> None:
    """Rows without a name: as many of each as the export has, those already there included."""
    file = result.file
    places, order = _places(file, taken)
    meanings = [_meaning(table, name, units) for _, _, name in places]

    def meant(cells: list[str]) -> tuple[object, ...]:
        return tuple(meaning(text) for meaning, text in zip(meanings, cells, strict=True))

    have: Counter[tuple[object, ...]] = Counter()
    for place in file.records:
        line = file.lines[place]
        if any(line) and not line[0].startswith("#"):
            have[meant([line[to] for _, to, _ in places])] += 1
    for number, row in enumerate(taken.rows):
        said = meant([row[at] for at, _, _ in places])
        if have[said]:
            have[said] -= 1
            result.there += 1
        else:
            result.add(row, number, order)


# The folder of books that an export goes to, as it stands before the conversion.


def books_in(folder: Path) -> Books | None:
    """The books in a folder."""
    if folder.exists() and not folder.is_dir():
        raise refusal(folder.name, None, "a file", "a folder", "name a folder with --into")
    if not folder.exists() or not any(folder.glob("*.csv")):
        parent = folder if folder.exists() else folder.parent
        if not parent.is_dir():
            raise refusal(folder.name, None, f"no folder {parent}", "a folder that it can be made in", "")
        return None
    books, problems = inspect_books(folder, as_written=True)
    if books is None:
        stops = [problem for problem in problems if problem.severity == "stop"]
        if all(stop.file == "items.csv" and "no items in" in stop.found for stop in stops):
            return None
        raise ConversionError(stops)
    return books


def read_ledger(path: Path) -> list[dict[str, str]]:
    """What earlier conversions took, as they wrote it down."""
    if not path.is_file():
        return []
    rows = csv.reader(io.StringIO(path.read_text(encoding="utf-8"), newline=""))
    header = [unescape_formula(cell) for cell in next(rows, [])]
    return [dict(zip(header, (unescape_formula(cell) for cell in row), strict=False)) for row in rows]
