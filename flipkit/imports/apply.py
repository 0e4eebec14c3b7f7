"""Bring an export of another program into the books: propose how to read it, then apply that.

Nothing is printed here and the export is never written to. What is written appears whole: the
tables, and under ``converted/`` the mapping, what was taken, what was refused and why, and what
changed.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from pathlib import Path

from flipkit.books import schema, telling
from flipkit.books.cells import Units
from flipkit.books.collector import collector_held
from flipkit.books.conversion import CONVERTED, Conversion
from flipkit.books.destination import books_in, read_ledger
from flipkit.books.exports.rows import taken_rows
from flipkit.books.exports.taken import Taken
from flipkit.books.exports.words import LABELS
from flipkit.books.posting import Postings, post_labels
from flipkit.books.problems import Findings, Problem
from flipkit.books.raw import RawBooks, read_raw
from flipkit.books.read import Books, inspect_raw
from flipkit.books.tabling import TableMaker
from flipkit.books.write import csv_text, staged
from flipkit.errors import ConversionError
from flipkit.imports import merge
from flipkit.imports.detect import Proposal, propose
from flipkit.imports.join import Stock, fitting_item, stock_of
from flipkit.imports.mapping import read_mapping
from flipkit.imports.merge import Merged

__all__ = ["Conversion", "Proposal", "apply", "propose", "read_mapping"]

#: Columns without which a row cannot become a new item.
_NEEDED = ("title", "category", "bought_on", "cost")
#: Times that rows which the books would stop at are taken out and the rest tried again.
_TRIES = 4


@dataclass
class _Job:
    """One conversion under way."""

    proposal: Proposal
    folder: Path
    books: Books | None
    taken: Taken
    currency: str
    table: schema.Table
    matched: list[str] = field(default_factory=list)
    postings: Postings | None = None

    @property
    def units(self) -> Units:
        """What a bare number means in the books."""
        if self.books is None:
            return Units(self.currency)
        return Units(self.books.shop.currency, self.books.shop.length_unit, self.books.shop.weight_unit)

    @property
    def shop_text(self) -> str:
        """A shop file that names the currency, where new books need one."""
        if self.books is not None or self.currency == "USD" or (self.folder / "shop.csv").exists():
            return ""
        return csv_text(["key", "value"], [["currency", self.currency]])


def apply(proposal: Proposal, into: Path | str, *, changes: str = "leave") -> Conversion:
    """Apply a proposal: put the rows of an export into a folder of books.

    Parameters
    ----------
    proposal : Proposal
        How the export is read, without open questions.
    into : Path or str
        Folder of the books; made when it does not exist.
    changes : str
        ``leave`` shows cells that the export says otherwise, ``take`` takes them unless they
        were written by hand.

    Returns
    -------
    Conversion
        What was done.

    Raises
    ------
    ConversionError
        If a question is open, the folder is no folder of books, its books have problems of their
        own, or no row can be taken. Nothing is written then.
    """
    if proposal.questions:
        raise ConversionError(questions=proposal.questions)
    if changes not in ("leave", "take"):
        raise ConversionError([Problem("answers", None, "changes", changes, "one of leave, take", "")])
    with collector_held():
        folder = Path(into)
        books = books_in(folder)
        currency = _currency(books, proposal)
        taken = taken_rows(proposal, currency=currency)
        _require_rows(proposal, taken)
        labels = proposal.mapping.table == LABELS
        table = schema.ITEMS if labels else schema.BY_NAME[proposal.mapping.table]
        job = _Job(proposal, folder, books, taken, currency, table)
        return _write(job, _posted(job) if labels else _placed(job, changes == "take"))


def _currency(books: Books | None, proposal: Proposal) -> str:
    own = books.shop.currency if books is not None else ""
    said = proposal.mapping.currency
    if own and said and own != said:
        mend = "convert the amounts before they enter the books, or name another folder with --into"
        raise ConversionError([Problem(proposal.export.label, None, "", f"amounts in {said}", f"in {own}", mend)])
    return own or said or "USD"


def _require_rows(proposal: Proposal, taken: Taken) -> None:
    if taken.rows:
        return
    first = taken.refused[0] if taken.refused else None
    found = f"{len(taken.refused):,} rows, none of which can be taken" if first else "no rows"
    mend = f"the first: {first.reason}" if first else ""
    row = first.row if first else None
    raise ConversionError([Problem(proposal.export.label, row, "", found, "rows of the table", mend)])


def _posted(job: _Job) -> Merged:
    """Labels put to the items that they posted."""
    if job.books is None or not job.books.items["sold_on"].notna().any():
        needed = "sales in the books that labels can be matched with"
        raise ConversionError([Problem(job.folder.name, None, "", "no sold items", needed, "convert the sales first")])
    postings = post_labels(job.taken, stock_of(job.books.items), read_ledger(job.folder / CONVERTED / "labels.csv"))
    job.postings = postings
    job.matched = postings.told
    unmatched = {left.row for left in postings.refused}
    why = {left.row: left.reason for left in postings.refused}
    job.taken.drop({at: why[row] for at, row in enumerate(job.taken.origins) if row in unmatched})
    costs = postings.as_rows()
    names = costs.columns[1:]
    last = {(row[0], name): text for row in postings.before for name, text in zip(names, row[1:], strict=True)}
    file = merge.read_table_file(job.folder / schema.ITEMS.file)
    return merge.merged(
        schema.ITEMS, file, costs, last=last, units=job.units, take_changes=True, may_add=lambda place: False
    )


def _placed(job: _Job, take_changes: bool) -> Merged:
    """Rows put into their table."""
    taken, table = job.taken, job.table
    stock = stock_of(job.books.items) if job.books is not None else Stock()
    if table is schema.ITEMS:
        cost = job.proposal.mapping.columns.get("cost")
        if cost is None or not cost.headers:
            _name_by_books(job, stock)
        needed = [name for name in _NEEDED if name not in taken.columns]
        if "lot_id" in taken.columns and "cost" in needed:
            needed.remove("cost")
        if needed:
            at = taken.columns.index("item_id")
            why = f"no item in the books is this one, and a new one needs {', '.join(needed)}"
            ids = stock.ids
            taken.drop({place: why for place, row in enumerate(taken.rows) if row[at] not in ids})
            _require_rows(job.proposal, taken)
    file = merge.read_table_file(job.folder / table.file)
    ledger = read_ledger(job.folder / CONVERTED / f"taken-{table.name}.csv")
    last = {(row[table.key], name): text for row in ledger for name, text in row.items()} if table.key else {}
    for _ in range(_TRIES):
        result = merge.merged(table, file, taken, last=last, units=job.units, take_changes=take_changes)
        bad = _refused_by_books(job, result)
        if not bad:
            return result
        taken.drop(bad)
        _require_rows(job.proposal, taken)
    raise ConversionError([Problem(job.proposal.export.label, None, "", "rows that fit no books", "rows that do", "")])


def _name_by_books(job: _Job, stock: Stock) -> None:
    """Give sales of items that the books hold the names that they have there.

    A list of stock, which says what things cost, names them itself: two things of one title stay two.
    """
    taken = job.taken
    names, by_title = fitting_item(stock, taken)
    at = taken.columns.index("item_id")
    for place, name in by_title:
        title = taken.rows[place][taken.columns.index("title")]
        job.matched.append(f"row {taken.origins[place]}: {title} is {name}, by its title")
    # What the books know of an item since it was bought is not for a list of sales to say.
    known = [taken.columns.index(name) for name in _NEEDED if name in taken.columns]
    ids = stock.ids
    for row, name in zip(taken.rows, names, strict=True):
        row[at] = name
        if name in ids:
            for place in known:
                row[place] = ""


def _refused_by_books(job: _Job, result: Merged) -> dict[int, str]:
    """Rows that the books would stop at, by their place among those taken."""
    name = job.table.name
    raw = read_raw(job.folder, without=name) if job.folder.is_dir() else RawBooks(job.folder)
    _put_table(raw, name, job.table.file, result.file.lines)
    if job.shop_text:
        _put_table(raw, "shop", "shop.csv", [["key", "value"], ["currency", job.currency]])
    _, problems = inspect_raw(raw)
    bad: dict[int, str] = {}
    others: list[Problem] = []
    for problem in problems:
        if problem.severity != "stop" or "no items in" in problem.found:
            continue
        number = result.origins.get((problem.row or 0) - 1) if problem.file == job.table.file else None
        if number is None:
            others.append(problem)
        else:
            text = f"{problem.column}: {problem.found}, needed {problem.needed}"
            bad[number] = f"{bad[number]}; {text}" if number in bad else text
    if others and not bad:
        raise ConversionError(others)
    return bad


def _put_table(raw: RawBooks, name: str, file: str, lines: list[list[str]]) -> None:
    maker = TableMaker(name, file, Findings(file, raw.problems), sharing=False)
    maker.take(lines, trimmed=True)
    table = maker.made()
    if table is not None:
        raw.tables[name] = table


def _write(job: _Job, result: Merged) -> Conversion:
    layout = job.proposal.layout
    assert layout is not None  # noqa: S101 - applied proposals are surveyed
    refused = telling.with_cells(job.proposal, job.taken.refused)
    file = job.table.file
    ledger = f"{CONVERTED}/taken-{job.table.name}.csv"
    written: list[str] = []
    with staged(job.folder) as stage:
        files = telling.told_files(job.proposal, refused, result.changes, job.matched)
        if result.altered or not (job.folder / file).exists():
            telling.keep_by_hand(stage, job.folder, file)
            result.text = result.file.text(job.table)
            text = result.text
            stage.write(file, text)
            written.append(file)
            digest = hashlib.sha256(text.encode()).hexdigest()
            files[f"{CONVERTED}/written-{job.table.name}.txt"] = f"{digest}\n"
        files["shop.csv"] = job.shop_text
        if job.postings is not None:
            files[f"{CONVERTED}/labels.csv"] = job.postings.ledger_text()
        else:
            earlier = read_ledger(job.folder / ledger)
            # A table made anew holds just what was taken: the ledger is the same text.
            files[ledger] = (
                result.text
                if result.whole and not earlier
                else telling.ledger_text(job.table.name, job.taken.columns, result.accepted, earlier)
            )
        for name, text in files.items():
            place = job.folder / name
            settled = place.is_file() and not result.altered and name.endswith(("-changes.csv", "-matched.csv"))
            if text and not settled and not (place.is_file() and place.read_text(encoding="utf-8") == text):
                stage.write(name, text)
                written.append(name)
    counted = result if job.postings is None else job.postings
    return Conversion(
        export=job.proposal.export.path,
        folder=job.folder,
        table=job.proposal.mapping.table,
        rows_in=layout.rows_in,
        taken=len(job.taken.rows) + len(job.taken.joined),
        refused=tuple(refused),
        added=counted.added,
        there=counted.there,
        changes=tuple(result.changes),
        matched=tuple(job.matched),
        sums=telling.sums_of(job.taken),
        written=tuple(written),
    )
