"""The books, read whole: typed tables, or every reason why not, at once."""

from __future__ import annotations

import dataclasses
import datetime as dt
import difflib
import hashlib
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from flipkit.books import cells, schema, validate
from flipkit.books.cells import Units
from flipkit.books.collector import collector_held
from flipkit.books.problems import Findings, Problem, plain_header, rows_in_words
from flipkit.books.raw import RawBooks, read_raw
from flipkit.books.schema import Column, Table
from flipkit.books.tabling import RawTable
from flipkit.errors import BooksError

_LENGTH_UNITS = ("in", "ft", "cm", "mm", "m")
_WEIGHT_UNITS = ("lb", "oz", "kg", "g")


@dataclass(frozen=True, slots=True)
class Shop:
    """What holds for the whole shop.

    Parameters
    ----------
    name : str
        What reports call it.
    currency : str
        The one currency of the books.
    length_unit : str
        Unit of a bare number in ``length``, ``width`` and ``height``.
    weight_unit : str
        Unit of a bare number in ``weight``.
    """

    name: str = "My shop"
    currency: str = "USD"
    length_unit: str = "in"
    weight_unit: str = "lb"


@dataclass(frozen=True, eq=False)
class Books:
    """Everything that the seller recorded, typed; a frame a table, empty where there is none.

    Money is ``Int64`` cents in columns that end in ``_cents``, measures are ``float64``, dates
    ``datetime64``, text ``str`` with ``""`` for a blank; ``row`` is the spreadsheet's row.

    Parameters
    ----------
    path : Path
        The folder or the workbook.
    rules_folder : Path or None
        The seller's own rule tables, where there are any.
    assumptions_file : Path or None
        The shop's ``assumptions.toml``, where there is one.
    shop : Shop
        What holds for the whole shop.
    items, price_changes, work, trips, lots, supplies, comparables, overheads, people : DataFrame
        The tables of `flipkit.books.schema`.
    notes : tuple of Problem
        What was noticed and stops nothing.
    hashes : dict of str to str
        SHA-256 of every file read, by its name.
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
        """The frame of one table.

        Parameters
        ----------
        name : str
            Name of the table.

        Returns
        -------
        DataFrame
            The frame.
        """
        frame: pd.DataFrame = getattr(self, schema.BY_NAME[name].name)
        return frame

    def same_records(self, other: Books) -> bool:
        """Whether two books hold the same shop and the same records, wherever they were read from.

        Parameters
        ----------
        other : Books
            The books to compare with.

        Returns
        -------
        bool
            True when every table is equal, types included.
        """
        return self.shop == other.shop and all(
            self.table(table.name).equals(other.table(table.name)) for table in schema.TABLES
        )


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


def inspect_books(path: Path | str, *, as_of: dt.date | None = None) -> tuple[Books | None, list[Problem]]:
    """Read the books and tell everything that is wrong or worth knowing.

    Parameters
    ----------
    path : Path or str
        The folder, or the .xlsx workbook with a sheet a table.
    as_of : date or None
        Day to which dates are compared; later ones draw a note.

    Returns
    -------
    Books or None
        The records; None when a problem stops them.
    list of Problem
        Every problem and note, table by table, in the order of the rows.
    """
    with collector_held():
        return inspect_raw(read_raw(Path(path)), as_of=as_of)


def inspect_raw(raw: RawBooks, *, as_of: dt.date | None = None) -> tuple[Books | None, list[Problem]]:
    """Read books whose tables are text already, and tell everything that is wrong or worth knowing.

    Parameters
    ----------
    raw : RawBooks
        The tables as text.
    as_of : date or None
        Day to which dates are compared; later ones draw a note.

    Returns
    -------
    Books or None
        The records; None when a problem stops them.
    list of Problem
        Every problem and note, table by table, in the order of the rows.
    """
    place, problems = raw.path, raw.problems
    shop = _shop(raw.tables.get("shop"), problems)
    units = Units(shop.currency, shop.length_unit, shop.weight_unit)
    frames = {table.name: _frame(table, raw.tables.get(table.name), units, problems) for table in schema.TABLES}
    readable = place.is_dir() or "items" in raw.tables
    if (
        "items" not in raw.tables
        and readable
        and not any(p.severity == "stop" and p.file.startswith("items") for p in problems)
    ):
        _tell_no_items(place, problems)
    labels = {table.name: _label(place, raw.tables.get(table.name), table) for table in schema.TABLES}
    validate.check(frames, labels, problems, as_of=as_of)
    _in_order(problems, list(labels.values()))
    if any(problem.severity == "stop" for problem in problems):
        return None, problems
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


def _label(path: Path, table: RawTable | None, of: Table) -> str:
    if table is not None:
        return table.file
    return of.file if path.is_dir() else f"{path.name} sheet {of.name}"


def _tell_no_items(path: Path, problems: list[Problem]) -> None:
    findings = Findings("items.csv" if path.is_dir() else path.name, problems)
    books = sorted(p.name for p in path.iterdir() if p.suffix.lower() == ".xlsx") if path.is_dir() else []
    mend = f"the folder holds {books[0]}: give the path of that file" if books else "flipkit start makes a template"
    kind = "a file items.csv" if path.is_dir() else "a sheet items"
    findings.stop(None, "", f"no items in {path.name}", f"{kind} with {', '.join(schema.ITEMS.required)}", mend)


def _in_order(problems: list[Problem], labels: list[str]) -> None:
    place = {label: i for i, label in enumerate(labels)}
    problems.sort(key=lambda p: (place.get(p.file, -1), p.row if p.row is not None else -1))


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
    known = {key: default for key, _, default in schema.SHOP}
    found: dict[str, str] = {}
    for row, key, value in pairs:
        name = plain_header(key)
        if name not in known:
            near = difflib.get_close_matches(name, list(known), n=1)
            findings.note(row, "key", key, f"one of {', '.join(known)}", f"did you mean {near[0]}?" if near else "")
        elif name in found:
            findings.stop(row, "key", key, "each key once", "keep one of the two rows")
        elif value:
            found[name] = value
            good = {
                "currency": len(value) == 3 and value.isascii() and value.isalpha() and value.isupper(),
                "length_unit": value in _LENGTH_UNITS,
                "weight_unit": value in _WEIGHT_UNITS,
            }
            if not good.get(name, True):
                needed = {
                    "currency": "three capital letters such as USD",
                    "length_unit": f"one of {', '.join(_LENGTH_UNITS)}",
                    "weight_unit": f"one of {', '.join(_WEIGHT_UNITS)}",
                }[name]
                findings.stop(row, "value", value, needed, "")
                found.pop(name)
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
            near = difflib.get_close_matches(plain, sorted(names), n=1, cutoff=0.75)
            mend = f"if it is {near[0]}, rename it" if near and near[0] not in seen else "it was not read"
            findings.note(None, header, f"a column {header}", "a column that flipkit knows", mend)
    for column in table.columns:
        if column.required and column.name not in sources:
            near = difflib.get_close_matches(column.name, list(seen), n=1, cutoff=0.6)
            mend = f"is it the column {seen[near[0]]}? then rename it" if near and near[0] not in sources else ""
            mend = mend or "add it; for another program's export run: flipkit convert"
            findings.stop(None, column.name, "", f"a column {column.name}: {column.meaning}", mend)
    return sources


def _tell_blanks(raw: RawTable, at: int, column: Column, findings: Findings) -> None:
    if "" not in raw.columns[at]:
        return
    for row, text in zip(raw.rows, raw.columns[at], strict=True):
        if not text:
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
        found = f"{len(bare)} bare numbers beside {named} with a unit"
        mend = f"the bare ones ({rows_in_words(bare)}) were taken as {bare_unit}"
        findings.note(None, raw.header[at], found, "units that are plain", mend)
