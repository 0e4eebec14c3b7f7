"""The books read whole: typed tables, or every reason why not."""

from __future__ import annotations

import csv
import dataclasses
import datetime as dt
import hashlib
import io
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.books import cells, schema, tabular, validate
from flipkit.books.cells import Units
from flipkit.books.problems import Findings, Problem, collector_held, meant, near, plain_header, rows_in_words
from flipkit.books.schema import Column, Table
from flipkit.books.tabular import RawTable, TableMaker
from flipkit.errors import BooksError, count_of
from flipkit.money import share_out_groups
from flipkit.units import Measures

# The files of the books as rows of text, before a cell is understood.
#
# A row keeps the number that a spreadsheet shows for it, whatever comments, blank lines or quoted line ends stand
# above it.

#: Longest cell that the books may hold; a longer one is an unclosed quote or not a table.
LONGEST_CELL = 100_000
#: Rows that are taken together.
BLOCK = 20_000
#: Largest CSV file of the books. [bytes]
LARGEST_FILE = 1_000_000_000

#: Spaces beside a mark, or of a kind that seldom stands in a table: without them nothing needs trimming.
_SPACED = (" ,", ", ", " \n", "\n ", " \r", '" ', ' "', "\t", "\u00a0", "\u3000", "\u2003", "\x0b", "\x0c", "\x1f")


#: Names of files and sheets that are read.
_KNOWN = (*schema.BY_NAME, "shop")


@dataclass(slots=True)
class RawBooks:
    """All tables as text, with what was noticed on the way."""

    path: Path
    tables: dict[str, RawTable] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    hashes: dict[str, str] = field(default_factory=dict)


def read_raw(path: Path, *, without: str = "") -> RawBooks:
    """The tables of a folder of CSV files or of one workbook, as text."""
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


def _read_folder(raw: RawBooks, without: str) -> None:
    entries = sorted(entry for entry in raw.path.iterdir() if entry.is_file() and not entry.name.startswith("."))
    for entry in entries:
        stem, ending = entry.stem.strip().lower(), entry.suffix.lower()
        findings = Findings(entry.name, raw.problems)
        if ending == ".csv" and stem == without:
            continue
        if ending == ".csv" and stem in _KNOWN:
            if stem in raw.tables:
                findings.stop(None, "", f"a second file for {stem}", "one file a table", "keep one of the two")
                continue
            table = _read_csv(entry, stem, findings, raw.hashes)
            if table is not None:
                raw.tables[stem] = table
        elif ending in (".csv", ".tsv", ".txt", *tabular.ENDINGS):
            like = near(stem, _KNOWN, cutoff=0.7)
            mend = f"if it is {like}, rename it {like}.csv" if like else "it was not read"
            findings.note(None, "", f"a file {entry.name}", "files named after the tables", mend)


def _read_workbook(raw: RawBooks) -> None:
    findings = Findings(raw.path.name, raw.problems)
    try:
        raw.hashes[raw.path.name] = hashlib.sha256(raw.path.read_bytes()).hexdigest()
        sheets = tabular.read_sheets(raw.path)
        lost = tabular.lost_cells(raw.path)
    except (tabular.WorkbookError, OSError) as error:
        mend = error.mend if isinstance(error, tabular.WorkbookError) else "look at its path and permissions"
        findings.stop(None, "", str(error), "a workbook that opens", mend)
        return
    for sheet in sheets:
        name = sheet.name.strip().lower().replace(" ", "_")
        label = f"{raw.path.name} sheet {sheet.name}"
        of_sheet = Findings(label, raw.problems)
        if name not in _KNOWN:
            if any(any(row) for row in sheet.rows):
                like = near(name, _KNOWN, cutoff=0.7)
                mend = f"if it is {like}, rename it {like}" if like else "it was not read"
                of_sheet.note(None, "", f"a sheet {sheet.name}", "sheets named after the tables", mend)
            continue
        if name in raw.tables:
            of_sheet.stop(None, "", f"a second sheet for {name}", "one sheet a table", "keep one of the two")
            continue
        for cell in lost:
            if cell.sheet == sheet.name:
                of_sheet.stop(
                    cell.row,
                    tabular.column_letters(cell.column),
                    cell.found,
                    "a value",
                    "open the workbook in a spreadsheet, let it calculate, mend the cell and save",
                )
        maker = TableMaker(name, label, of_sheet)
        maker.take(sheet.rows)
        table = maker.made()
        if table is not None:
            raw.tables[name] = table


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


# The books, read whole: typed tables, or every reason why not, at once.


@dataclass(frozen=True, slots=True)
class Shop:
    """What holds for the whole shop."""

    name: str = "My shop"
    currency: str = "USD"
    length_unit: str = "in"
    weight_unit: str = "lb"

    @property
    def measures(self) -> Measures:
        """How the shop writes lengths, weights and room."""
        return Measures(self.length_unit, self.weight_unit)


@dataclass(frozen=True, eq=False)
class Books:
    """Everything that the seller recorded, typed; a frame a table, empty where there is none.

    Money is ``Int64`` cents in columns that end in ``_cents``, measures are ``float64``, dates
    ``datetime64``, text ``str`` with ``""`` for a blank; ``row`` is the spreadsheet's row.
    """

    path: Path
    rules_folder: Path | None
    assumptions_file: Path | None
    shop: Shop
    items: pd.DataFrame
    price_changes: pd.DataFrame
    work: pd.DataFrame
    trips: pd.DataFrame
    lots: pd.DataFrame
    supplies: pd.DataFrame
    comparables: pd.DataFrame
    overheads: pd.DataFrame
    people: pd.DataFrame
    notes: tuple[Problem, ...]
    hashes: dict[str, str]

    def table(self, name: str) -> pd.DataFrame:
        """The frame of one table."""
        frame: pd.DataFrame = getattr(self, schema.BY_NAME[name].name)
        return frame


def read_books(path: Path | str, *, as_of: dt.date | None = None) -> Books:
    """Read the books from a folder of CSV files or from one workbook.

    Parameters
    ----------
    path : Path or str
        The folder, or the .xlsx workbook with a sheet a table.
    as_of : date or None
        Day to which dates are compared; later ones draw a note.

    Returns
    -------
    Books
        The records.

    Raises
    ------
    BooksError
        If anything in them must be mended first; it lists every problem.
    """
    books, problems = inspect_books(path, as_of=as_of)
    if books is None:
        raise BooksError([problem for problem in problems if problem.severity == "stop"])
    return books


def inspect_books(
    path: Path | str, *, as_of: dt.date | None = None, as_written: bool = False
) -> tuple[Books | None, list[Problem]]:
    """Read the books and tell everything that is wrong or worth knowing."""
    with collector_held():
        return inspect_raw(read_raw(Path(path)), as_of=as_of, as_written=as_written)


def inspect_raw(
    raw: RawBooks, *, as_of: dt.date | None = None, as_written: bool = False
) -> tuple[Books | None, list[Problem]]:
    """Read books whose tables are text already, and tell everything that is wrong or worth knowing.

    ``as_written`` leaves a row of several like things whole, and the rows as they stand.
    """
    place, problems = raw.path, raw.problems
    shop = _shop(raw.tables.get("shop"), problems)
    units = Units(shop.currency, shop.length_unit, shop.weight_unit)
    frames = {table.name: _frame(table, raw.tables.get(table.name), units, problems) for table in schema.TABLES}
    stops = [p for p in problems if p.severity == "stop" and (p.file.startswith("items") or not place.is_dir())]
    if "items" not in raw.tables and not stops:
        _tell_no_items(place, problems)
    labels = {table.name: _label(place, raw.tables.get(table.name), table) for table in schema.TABLES}
    validate.check(frames, labels, problems, as_of=as_of)
    _in_order(problems, list(labels.values()))
    if any(problem.severity == "stop" for problem in problems):
        return None, problems
    if not as_written:
        frames = {name: _in_own_order(name, frame) for name, frame in one_item_a_row(frames).items()}
    rules, assumptions, more = _beside(place)
    notes = tuple(problem for problem in problems if problem.severity == "note")
    books = Books(
        path=place,
        rules_folder=rules,
        assumptions_file=assumptions,
        shop=shop,
        notes=notes,
        hashes={**raw.hashes, **more},
        **frames,
    )
    return books, problems


def _in_own_order(name: str, frame: pd.DataFrame) -> pd.DataFrame:
    """A table's rows in an order that their content gives, so that a sheet sorted anew moves no figure.

    Of two prices of one thing on one day the lower row counts, so these keep their order. The index
    still says which row of the file each was.
    """
    by = {"price_changes": ["item_id", "changed_on"], "people": []}.get(name, list(frame.columns))
    return frame.sort_values(by, kind="stable") if by else frame


def _label(path: Path, table: RawTable | None, of: Table) -> str:
    if table is not None:
        return table.file
    return of.file if path.is_dir() else f"{path.name} sheet {of.name}"


def _tell_no_items(path: Path, problems: list[Problem]) -> None:
    kind, mend = "a sheet items", "for an export of another program run: flipkit convert"
    if path.is_dir():
        books = sorted(p.name for p in path.iterdir() if p.suffix.lower() == ".xlsx")
        mend = f"the folder holds {books[0]}: give the path of that file" if books else "flipkit start makes a template"
        kind = "a file items.csv"
    findings = Findings("items.csv" if path.is_dir() else path.name, problems)
    findings.stop(None, "", f"no items in {path.name}", f"{kind} with {', '.join(schema.ITEMS.required)}", mend)


def _in_order(problems: list[Problem], labels: list[str]) -> None:
    place = {label: i for i, label in enumerate(labels)}
    problems.sort(key=lambda p: (place.get(p.file, -1), p.row if p.row is not None else -1))


def book_hashes(path: Path) -> dict[str, str]:
    """``Books.hashes`` by the files alone, without reading what stands in them."""
    files = [path] if path.is_file() else sorted(path.glob("*.[cC][sS][vV]"))
    known = [file for file in files if file == path or file.stem.strip().lower() in _KNOWN]
    return {file.name: hashlib.sha256(file.read_bytes()).hexdigest() for file in known} | _beside(path)[2]


def _beside(path: Path) -> tuple[Path | None, Path | None, dict[str, str]]:
    """The shop's own rules and assumptions, which lie in the folder or beside the workbook."""
    home = path if path.is_dir() else path.parent
    rules, assumptions = home / "rules", home / "assumptions.toml"
    files = sorted(f for f in rules.rglob("*") if f.suffix.lower() in (".toml", ".csv")) if rules.is_dir() else []
    hashes = {
        file.relative_to(home).as_posix(): hashlib.sha256(file.read_bytes()).hexdigest()
        for file in [*([assumptions] if assumptions.is_file() else []), *files]
    }
    return (rules if files else None), (assumptions if assumptions.is_file() else None), hashes


def _shop(table: RawTable | None, problems: list[Problem]) -> Shop:
    shop = Shop()
    if table is None:
        return shop
    findings = Findings(table.file, problems)
    pairs = list(zip(table.rows, *table.columns[:2], strict=True)) if len(table.columns) > 1 else []
    if [plain_header(word) for word in table.header[:2]] != ["key", "value"]:
        findings.stop(None, "", ", ".join(table.header), "the headers key, value", "")
        return shop
    known = [key for key, _, _ in schema.SHOP]
    found: dict[str, str] = {}
    for row, key, value in pairs:
        name = plain_header(key)
        if name not in known:
            findings.note(row, "key", key, f"one of {', '.join(known)}", meant(name, known))
        elif name in found:
            findings.stop(row, "key", key, "each key once", "keep one of the two rows")
        elif value and (needed := schema.setting_needs(name, value)):
            findings.stop(row, "value", value, needed)
        elif value:
            found[name] = value
    return dataclasses.replace(shop, **found)


def _frame(table: Table, raw: RawTable | None, units: Units, problems: list[Problem]) -> pd.DataFrame:
    if raw is None:
        raw = RawTable(table.name, table.file, [], [], [])
        sources: dict[str, list[tuple[int, str]]] = {}
    else:
        sources = _sources(table, raw, Findings(raw.file, problems))
    findings = Findings(raw.file, problems)
    count = len(raw.rows)
    frame: dict[str, pd.Series] = {}
    for column in table.columns:
        places = sources.get(column.name, [])
        if not places:
            frame[column.frame_name] = cells.blank_series(column, count)
            continue
        typed = []
        for at, unit in places:
            typed.append(
                cells.typed_column(
                    column, raw.header[at], raw.columns[at], raw.rows, unit=unit, units=units, into=findings
                )
            )
            if column.kind in ("length", "weight"):
                _tell_mixed_units(raw, at, unit, column, units, findings)
        frame[column.frame_name] = _one_of(typed, [raw.header[at] for at, _ in places], raw, findings)
        if column.required and not (table.name == "items" and column.name == "cost"):
            _tell_blanks(raw, places[0][0], column, findings)
            if column.default:
                frame[column.name] = frame[column.name].replace("", column.default)
    frame["row"] = pd.Series(raw.rows, dtype="int64")
    return pd.DataFrame(frame, copy=False)


def _sources(table: Table, raw: RawTable, findings: Findings) -> dict[str, list[tuple[int, str]]]:
    """Where each column of the table stands in the file, with the unit of its bare numbers."""
    names = {column.name for column in table.columns}
    sources: dict[str, list[tuple[int, str]]] = {}
    seen: dict[str, str] = {}
    for at, header in enumerate(raw.header):
        plain = plain_header(header)
        if not plain:
            if any(raw.columns[at]):
                findings.note(None, f"{at + 1} without a header", "", "a header", "its cells were not read")
            continue
        if plain in seen:
            findings.stop(None, header, f"the header {header} twice", "each header once", "rename or remove one")
            continue
        seen[plain] = header
        if plain in schema.OTHER_UNITS and schema.OTHER_UNITS[plain][0] in names:
            name, unit = schema.OTHER_UNITS[plain]
            sources.setdefault(name, []).append((at, unit))
        elif plain in names:
            sources.setdefault(plain, []).append((at, table.column(plain).unit))
        else:
            like = near(plain, sorted(names), cutoff=0.75)
            mend = f"if it is {like}, rename it" if like and like not in seen else "it was not read"
            findings.note(None, header, f"a column {header}", "a column that flipkit knows", mend)
    for column in table.columns:
        if column.required and column.name not in sources:
            like = near(column.name, seen)
            mend = f"is it the column {seen[like]}? then rename it" if like and like not in sources else ""
            mend = mend or "add it; for another program's export run: flipkit convert"
            findings.stop(None, column.name, "", f"a column {column.name}: {column.meaning}", mend)
    return sources


def _tell_blanks(raw: RawTable, at: int, column: Column, findings: Findings) -> None:
    blank = [row for row, text in zip(raw.rows, raw.columns[at], strict=True) if not text]
    if column.default and blank:
        found, needed = (
            f"blank in {len(blank):,} of {len(raw.rows):,} rows",
            f"a {column.name} such as {column.example}",
        )
        findings.note(blank[0], raw.header[at], found, needed, f"until filled in, they count as {column.default}")
        return
    for row in blank:
        findings.stop(row, raw.header[at], "", f"{column.meaning}, such as {column.example}", "fill it in")


def _one_of(typed: list[pd.Series], headers: list[str], raw: RawTable, findings: Findings) -> pd.Series:
    """One measure out of several columns for it; two that differ in one row are asked about."""
    result = typed[0]
    for series, header in zip(typed[1:], headers[1:], strict=True):
        both = result.notna() & series.notna()
        differ = both & ((result - series).abs() > 0.01 * series.abs())
        for i in differ[differ].index:
            found = f"{headers[0]} {raw.columns[raw.header.index(headers[0])][i]} and {header} "
            found += raw.columns[raw.header.index(header)][i]
            mend = "if they belong together, write both in one cell, such as 2 lb 4 oz; otherwise empty one"
            findings.stop(raw.rows[i], header, found, "one measure", mend)
        result = result.fillna(series)
    return result


def _tell_mixed_units(raw: RawTable, at: int, unit: str, column: Column, units: Units, findings: Findings) -> None:
    bare_unit = unit or (units.length if column.kind == "length" else units.weight)
    bare: list[int] = []
    named = 0
    for row, text in zip(raw.rows, raw.columns[at], strict=True):
        if not text:
            continue
        if text.replace(".", "", 1).isdigit():
            bare.append(row)
        else:
            named += 1
    if bare and named:
        found = f"{count_of(len(bare), 'bare number')} beside {named} with a unit"
        mend = f"the bare ones ({rows_in_words(bare)}) were taken as {bare_unit}"
        findings.note(None, raw.header[at], found, "units that are plain", mend)


# Rows that stand for several like things become as many items.

#: Columns of the items whose money is for all that the row stands for.
_OF_ALL = tuple(column.frame_name for column in schema.ITEMS.columns if column.kind in ("money", "signed money"))


def one_item_a_row(frames: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """The tables with each row of several like things as so many items, which share its money to the cent.

    Item ``A-7`` of quantity 3 becomes ``A-7/1`` to ``A-7/3``. Prices asked for it are shared likewise, minutes
    of work on it are spread, and comparables of it are like each.
    """
    items = frames["items"]
    count = items["quantity"].to_numpy(dtype=np.int64)
    if (count <= 1).all():
        return frames
    found = dict(frames)
    row, number = _repeated(count)
    parts = items.iloc[row].reset_index(drop=True)
    parts["item_id"] = _part_names(items["item_id"], count, row, number)
    for column in _OF_ALL:
        parts[column] = _shared(items[column], row)
    parts["quantity"] = np.ones(row.size, dtype=np.int64)
    found["items"] = parts
    several = items.loc[count > 1].set_index("item_id")["quantity"]
    for name, money in (("price_changes", "price_cents"), ("work", ""), ("comparables", "")):
        table = frames[name]
        times = table["item_id"].map(several).fillna(1).to_numpy(dtype=np.int64)
        if (times > 1).any():
            row, number = _repeated(times)
            parts = table.iloc[row].reset_index(drop=True)
            parts["item_id"] = _part_names(table["item_id"], times, row, number)
            if money:
                parts[money] = _shared(table[money], row)
            if name == "work":
                parts["minutes"] = parts["minutes"] / times[row]
            found[name] = parts
    return found


def _repeated(count: npt.NDArray[np.int64]) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Place of the row that each part comes from, and its number among that row's parts."""
    row = np.repeat(np.arange(count.size), count)
    return row, np.arange(row.size) - np.repeat(np.cumsum(count) - count, count) + 1


def _part_names(
    names: pd.Series, count: npt.NDArray[np.int64], row: npt.NDArray[np.int64], number: npt.NDArray[np.int64]
) -> pd.Series:
    whole = names.iloc[row].reset_index(drop=True)
    parts = whole + "/" + pd.Series(number.astype(str), dtype="str")
    return whole.where(count[row] <= 1, parts)


def _shared(amounts: pd.Series, row: npt.NDArray[np.int64]) -> pd.Series:
    """Amounts shared equally over the parts of their rows; a blank stays blank."""
    cents = share_out_groups(amounts.fillna(0).to_numpy(dtype=np.int64), row, np.ones(row.size))
    return pd.Series(cents, dtype="Int64").mask(amounts.isna().to_numpy()[row])


# The books as they stood on a day: what happened later is not known yet.

#: What an item's row says of each event, to be forgotten where the event lies ahead.
_EVENTS = {
    event: tuple(column.frame_name for column in schema.ITEMS.columns if column.known_on == event)
    for event in ("listed_on", "sold_on", "returned_on", "gone_on")
}
_DATED = {table.name: table.day for table in schema.TABLES if table.day and table is not schema.ITEMS}


def books_as_of(books: Books, as_of: dt.date) -> Books:
    """The books without anything that happened after a day."""
    day = pd.Timestamp(as_of)
    items = books.items[books.items["bought_on"] <= day].reset_index(drop=True)
    for date, told in _EVENTS.items():
        later = items[date] > day
        if later.any():
            items.loc[later, date] = pd.NaT
            items.loc[later, [f"{column}_cents" for column in told]] = pd.NA
            if date == "gone_on":
                items.loc[later, "gone_how"] = ""
    tables = {
        name: table[table[column] <= day].reset_index(drop=True)
        for name, column in _DATED.items()
        if not (table := getattr(books, name)).empty
    }
    return dataclasses.replace(books, items=items, **tables)


def last_recorded_day(books: Books, *, until: dt.date) -> dt.date:
    """The latest day up to a day on which the books say that something happened; a mistyped year lies beyond."""
    told = [books.items[column] for column in ("bought_on", *_EVENTS)]
    told += [getattr(books, name)[column] for name, column in _DATED.items() if name != "overheads"]
    dates = [days[days <= pd.Timestamp(until)].max() for days in told]
    known = [pd.Timestamp(date).date() for date in dates if not pd.isna(date)]
    if not known:
        file = f"{books.path.name} sheet items" if books.path.is_file() else "items.csv"
        found = "no row yet" if books.items.empty else f"no date up to {until.isoformat()}"
        mend = "fill in the first thing that you bought" if books.items.empty else "mend the years"
        raise BooksError([Problem(file, None, "", found, "at least one thing bought by today", mend)])
    return max(known)
