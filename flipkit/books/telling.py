"""The files that a conversion leaves beside the books: mapping, refused rows, changes, what was taken."""

from __future__ import annotations

import hashlib
import operator
from collections import Counter
from decimal import Decimal
from pathlib import Path

from flipkit.books import bulk, schema
from flipkit.books.conversion import CONVERTED
from flipkit.books.exports.layout import Left
from flipkit.books.exports.taken import Taken
from flipkit.books.write import Stage, csv_text
from flipkit.imports.detect import Proposal
from flipkit.imports.merge import Change

_SUMMED = ("quantity", "cost", "sold_price", "amount", "price", "minutes")


def told_files(proposal: Proposal, refused: list[Left], changes: list[Change], matched: list[str]) -> dict[str, str]:
    """What a conversion tells, by file.

    Parameters
    ----------
    proposal : Proposal
        How the export was read.
    refused : list of Left
        Rows refused.
    changes : list of Change
        Cells that the export says otherwise.
    matched : list of str
        Rows matched with the books.

    Returns
    -------
    dict of str to str
        Text by path inside the books.
    """
    layout = proposal.layout
    assert layout is not None  # noqa: S101 - applied proposals are surveyed
    stem = "".join(c if c.isalnum() or c in "-_" else "-" for c in proposal.export.path.stem)[:60]
    home = f"{CONVERTED}/{stem}"
    width = max([len(layout.headers), *(len(left.cells) for left in refused)])
    header = [*layout.headers, *(f"more {n}" for n in range(1, width - len(layout.headers) + 1))]
    lines = [[str(left.row), left.reason, *left.cells] for left in refused]
    files = {
        f"{home}-mapping.toml": proposal.mapping_toml,
        f"{home}-refused.csv": csv_text(["row", "reason", *header], lines),
    }
    if changes:
        cells = [[c.key, c.column, c.books, c.export, c.done] for c in changes]
        files[f"{home}-changes.csv"] = csv_text(["name", "column", "books", "export", "done"], cells)
    if matched:
        files[f"{home}-matched.csv"] = csv_text(["matched"], [[line] for line in matched])
    return files


def with_cells(proposal: Proposal, refused: list[Left]) -> list[Left]:
    """Refused rows with the cells of the export, in order.

    Parameters
    ----------
    proposal : Proposal
        How the export was read.
    refused : list of Left
        Rows refused, some without their cells.

    Returns
    -------
    list of Left
        All with their cells.
    """
    bare = {left.row for left in refused if not left.cells}
    if bare:
        cells = {record.row: record.cells for record in proposal.export.records() if record.row in bare}
        refused = [left if left.cells else Left(left.row, left.reason, cells[left.row]) for left in refused]
    return sorted(refused, key=lambda left: left.row)


def ledger_text(table: str, columns: list[str], accepted: list[list[str]], before: list[dict[str, str]]) -> str:
    """What conversions have put into each named row, the newest word of each.

    Parameters
    ----------
    table : str
        Table of the books.
    columns : list of str
        Columns of the rows.
    accepted : list of list of str
        Rows of this export, the cells that were left taken away.
    before : list of dict of str to str
        What earlier conversions put there.

    Returns
    -------
    str
        The text of the file; empty for a table without names.
    """
    key = schema.BY_NAME[table].key
    if not key:
        return ""
    at = columns.index(key)
    if not before:
        kinds = {column.name: column.kind for column in schema.BY_NAME[table].columns}
        words = [place for place, name in enumerate(columns) if kinds[name] in ("id", "text", "choice")]
        return csv_text(columns, accepted, words=words)
    rows = {row[key]: row for row in before}
    for row in accepted:
        said = {name: cell for name, cell in zip(columns, row, strict=True) if cell}
        rows[row[at]] = {**rows.get(row[at], {}), **said}
    header = list(dict.fromkeys([*before[0], *columns]))
    return csv_text(header, [[row.get(name, "") for name in header] for row in rows.values()])


def keep_by_hand(stage: Stage, folder: Path, name: str) -> None:
    """Keep a table file that was written by hand since the last conversion, before it is replaced.

    Parameters
    ----------
    stage : Stage
        Where files are made ready.
    folder : Path
        The books.
    name : str
        The table file.
    """
    place = folder / name
    if not place.exists():
        return
    digest = hashlib.sha256(place.read_bytes()).hexdigest()
    known = folder / CONVERTED / f"written-{Path(name).stem}.txt"
    if not known.is_file() or known.read_text(encoding="utf-8").strip() != digest:
        stage.copy(place, f"{CONVERTED}/before/{Path(name).stem}-{digest[:10]}.csv")


def sums_of(taken: Taken) -> dict[str, str]:
    """Sums over the rows taken, for comparison with the other program.

    Parameters
    ----------
    taken : Taken
        The rows.

    Returns
    -------
    dict of str to str
        By column.
    """
    sums: dict[str, str] = {}
    for name in _SUMMED:
        if name in taken.columns:
            at = taken.columns.index(name)
            texts = [text for text in map(operator.itemgetter(at), taken.rows) if text]
            cents = bulk.cents_of(texts)
            if cents is not None:
                total = (Decimal(int(cents.sum())) / 100).quantize(Decimal("0.01"))
            else:
                try:
                    total = sum((Decimal(text) * count for text, count in Counter(texts).items()), Decimal(0))
                except ArithmeticError:
                    continue
            sums[name] = f"{total:,f}"
    return sums
