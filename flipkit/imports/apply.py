"""An export converted into the books, with a count of every row taken or refused."""

from __future__ import annotations

import contextlib
import dataclasses
import hashlib
import re
from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

import numpy as np
import pandas as pd

from flipkit.books import cells as book_cells
from flipkit.books import schema
from flipkit.books.cells import InvalidCell, Units, reader_of
from flipkit.books.problems import Findings, Problem, collector_held, rows_in_words
from flipkit.books.read import Books, RawBooks, inspect_raw, read_raw
from flipkit.books.schema import ITEMS
from flipkit.books.tabular import TableMaker
from flipkit.books.write import CONVERTED, NOT_TAKEN, Stage, csv_text, finish_moves, staged
from flipkit.errors import ConversionError, count_of
from flipkit.imports import match as import_match
from flipkit.imports import merge
from flipkit.imports.detect import Proposal
from flipkit.imports.dialect import refusal
from flipkit.imports.join import (
    AcceptedRow,
    Cell,
    Stock,
    as_text,
    cents_in,
    fitting_item,
    labels_of,
    match_labels,
    shares_of,
    stock_of,
)
from flipkit.imports.merge import Change, Merged, books_in, read_ledger
from flipkit.imports.rows import taken_rows
from flipkit.imports.sheets import SkippedRow
from flipkit.imports.values import LABELS, columns_of

# What a conversion did: counts that add up, sums to compare, and every row that was not taken.


@dataclass(frozen=True)
class Conversion:
    """What a conversion did."""

    export: Path
    folder: Path
    table: str
    rows_in: int
    taken: int
    refused: tuple[SkippedRow, ...]
    added: int
    there: int
    changes: tuple[Change, ...]
    matched: tuple[str, ...]
    sums: dict[str, str]
    written: tuple[str, ...]
    cells: tuple[Cell, ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def lost(self) -> int:
        """Rows refused that may be records."""
        return sum(left.lost for left in self.refused)

    def text(self) -> str:
        """What was done, in words."""
        return self.summary() + self.written_text()

    def written_text(self) -> str:
        """Which files are new."""
        if self.written:
            return f"written in {self.folder}: {', '.join(self.written)}\n"
        return "nothing written\n" if self.added or self.changes else "nothing new: nothing written\n"

    def summary(self) -> str:
        """What comes of the rows of the export, in words."""
        came = count_of(self.rows_in, "row")
        lines = [
            f"{self.export.name}: {came} in = {self.taken:,} taken + {len(self.refused):,} refused",
            f"{self.table}: {count_of(self.added, 'row')} added, {count_of(self.there, 'was', 'were')} there already",
        ]
        lines += [f"sum of {name} over the rows taken: {total}" for name, total in self.sums.items()]
        lines += [f"look at this: {remark}" for remark in self.remarks]
        if self.cells:
            lines.append(
                f"cells that could not be read are left blank, and their rows are taken ({len(self.cells):,}):"
            )
            lines += [f"  row {cell.row}: {cell.why}" for cell in self.cells[:10]]
        done = {what: sum(change.done == what for change in self.changes) for what in ("filled", "taken")}
        left = [change for change in self.changes if change.done not in done]
        if done["filled"]:
            lines.append(f"{count_of(done['filled'], 'blank cell')} filled")
        if done["taken"]:
            lines.append(f"{count_of(done['taken'], 'changed cell')} taken")
        if left:
            lines.append(
                f"{count_of(len(left), 'cell differs', 'cells differ')} from the export, and the books keep theirs:"
            )
            lines += [f"  {c.key} {c.column}: books {c.books!r}, export {c.export!r} ({c.done})" for c in left[:10]]
        if self.matched:
            lines.append(f"{count_of(len(self.matched), 'row')} matched with the books")
        reasons: dict[str, list[int]] = {}
        for row in self.refused:
            reason = re.sub(r"^equal to row \d+", "equal to an earlier row", row.reason)
            reasons.setdefault(reason, []).append(row.row)
        for reason, rows in sorted(reasons.items(), key=lambda pair: -len(pair[1]))[:12]:
            lines.append(f"refused, {rows_in_words(rows, most=5)}: {reason}")
        if len(reasons) > 12:
            lines.append(f"refused for {count_of(len(reasons) - 12, 'more reason')}, all in {CONVERTED}/")
        if self.lost:
            stem = _stem(self.export)
            lines.append(
                f"not in the books: {self.lost:,} of the rows. {CONVERTED}/{stem}-refused.csv has them, with reasons"
            )
        return "\n".join(lines) + "\n"


# The files that a conversion leaves beside the books: mapping, refused rows, changes, what was taken.

_SUMMED = ("quantity", "minutes", "miles")


def _stem(export: Path) -> str:
    return "".join(c if c.isalnum() or c in "-_" else "-" for c in export.stem)[:60]


def answers_file(export: Path, into: Path) -> Path:
    """Where the answers of a conversion under way are kept."""
    return into / CONVERTED / f"{_stem(export)}-answers.json"


def told_files(
    proposal: Proposal, refused: list[SkippedRow], changes: list[Change], matched: list[str], blanked: list[Cell]
) -> dict[str, str]:
    """What a conversion tells, by file."""
    layout = proposal.table
    home = f"{CONVERTED}/{_stem(proposal.export.path)}"
    width = max([len(layout.headers), *(len(left.cells) for left in refused)])
    header = [*layout.headers, *(f"more {n}" for n in range(1, width - len(layout.headers) + 1))]
    lines = [[str(left.row), left.reason, "yes" if left.lost else "no", *left.cells] for left in refused]
    files = {
        f"{home}-mapping.toml": proposal.mapping_toml,
        f"{home}-refused.csv": csv_text(["row", "reason", "a record", *header], lines),
        f"{home}-cells.csv": csv_text(["row", "column", "why"], [[str(c.row), c.column, c.why] for c in blanked]),
    }
    if changes:
        cells = [[c.key, c.column, c.books, c.export, c.done] for c in changes]
        files[f"{home}-changes.csv"] = csv_text(["name", "column", "books", "export", "done"], cells)
    if matched:
        files[f"{home}-matched.csv"] = csv_text(["matched"], [[line] for line in matched])
    return files


def with_cells(proposal: Proposal, refused: list[SkippedRow]) -> list[SkippedRow]:
    """Refused rows with the cells of the export, in order."""
    bare = {left.row for left in refused if not left.cells}
    if bare:
        cells = {record.row: record.cells for record in proposal.export.records() if record.row in bare}
        refused = [left if left.cells else SkippedRow(left.row, left.reason, cells[left.row]) for left in refused]
    return sorted(refused, key=lambda left: left.row)


def ledger_text(table: str, columns: list[str], accepted: list[list[str]], before: list[dict[str, str]]) -> str:
    """What conversions have put into each named row, the newest word of each."""
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
    """Keep a table file that was written by hand since the last conversion, before it is replaced."""
    place = folder / name
    if not place.exists():
        return
    digest = hashlib.sha256(place.read_bytes()).hexdigest()
    known = folder / CONVERTED / f"written-{Path(name).stem}.txt"
    if not known.is_file() or known.read_text(encoding="utf-8").strip() != digest:
        stage.copy(place, f"{CONVERTED}/before/{Path(name).stem}-{digest[:10]}.csv")


def sums_of(taken: AcceptedRow, table: str) -> dict[str, str]:
    """Sums over the rows taken, for comparison with the other program."""
    sums: dict[str, str] = {}
    columns = columns_of(table)
    money = [name for name in taken.columns if columns[name].kind in import_match.MONEY]
    for name in (*(name for name in _SUMMED if name in taken.columns), *money):
        texts = [text for text in taken.texts(name) if text]
        cents = book_cells.cents_of(texts)
        with contextlib.suppress(ArithmeticError):  # minutes may stand there with their unit
            several = (Decimal(text) * count for text, count in Counter(texts).items()) if cents is None else ()
            sums[name] = (
                f"{sum(several, Decimal(0)):,f}" if cents is None else f"{Decimal(int(cents.sum())) / 100:,.2f}"
            )
    return sums


#: Sides and weights above these, and prices so many times their category's middle one, are remarked.
_LONGEST_IN, _HEAVIEST_LB, _DEAREST = 120.0, 200.0, 1_000


def remarks_of(taken: AcceptedRow, table: str) -> list[str]:
    """What is hardly right about the rows taken: a slipped unit or mark shows here."""
    found: list[str] = []
    if taken.unsold:
        found.append(f"{count_of(taken.unsold, 'row has', 'rows have')} a sale of 0.00 and no day: taken as not sold")
    if taken.undated:
        which = rows_in_words(taken.undated, most=5)
        found.append(f"{which}: gone, and no day says when: in stock until gone_on and gone_how are filled in")
    if table != "items":
        return found
    for name, most in (*((side, _LONGEST_IN) for side in import_match.SIDES), ("weight_lb", _HEAVIEST_LB)):
        texts, unit = taken.texts(name), name[-2:]
        read = reader_of(ITEMS.column(name), unit=unit, units=Units())
        known = {text: read(text) for text in set(texts) - {""}}
        large = [t for t, value in known.items() if not isinstance(value, InvalidCell) and float(value) > most]
        rows = [origin for origin, text in zip(taken.origins, texts, strict=False) if text in large]
        if rows:
            found.append(
                f"{rows_in_words(rows, most=5)}: {name} of {large[0]} is more than {most:g} {unit}: the right unit?"
            )
    kinds = pd.Series(pd.factorize(np.array(taken.texts("category"), dtype=object))[0])
    for name in ("cost", "list_price", "sold_price") if len(kinds) else ():
        texts = taken.texts(name)
        given = np.fromiter(map(bool, texts), dtype=bool, count=len(texts))
        cents = book_cells.cents_of([text for text in texts if text])
        if cents is None or not len(cents):
            continue
        middle = pd.Series(cents).groupby(kinds[given].to_numpy()).transform("median").to_numpy()
        for at in np.flatnonzero((middle > 0) & (cents >= _DEAREST * middle)):
            place = int(np.flatnonzero(given)[at])
            kind, price = taken.texts("category")[place], Decimal(texts[place])
            times = f"{cents[at] / middle[at]:,.0f} times what {kind} usually has"
            found.append(f"row {taken.origins[place]}: {name} {price:,} is {times}")
    return found


# What the labels of a postage history cost each sold item, however often they are converted.

_LEDGER = ("label", "items", "amount", "adjustment", "date", "how")


def _costs(stock: Stock, ledger: list[dict[str, str]]) -> list[list[str]]:
    paid: dict[str, int] = defaultdict(int)
    later: dict[str, int] = defaultdict(int)
    known = stock.ids
    for row in ledger:
        items = [item for item in row["items"].split("|") if item in known]
        for sums, name in ((paid, "amount"), (later, "adjustment")) if items else ():
            for item, share in shares_of(stock, items, cents_in(row[name])).items():
                sums[item] += share
    rows = []
    for item in paid:
        # A label given back leaves nothing to pay; more than that is a credit.
        credit = min(paid[item], 0)
        adjustment = later[item] + credit
        rows.append([item, as_text(paid[item] - credit), as_text(adjustment) if adjustment else ""])
    return rows


def _weights(taken: AcceptedRow) -> list[float]:
    read = reader_of(ITEMS.column("weight_lb"), unit="lb", units=Units())
    given = [read(text) if text else 0.0 for text in taken.texts("weight_lb")] or [0.0] * len(taken.rows)
    return [0.0 if isinstance(value, InvalidCell) else float(value) for value in given]


# Bring an export of another program into the books: propose how to read it, then apply that.
#
# Nothing is printed here and the export is never written to. What is written appears whole: the tables, and under
# ``converted/`` the mapping, what was taken, what was refused and why, and what changed.

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
    taken: AcceptedRow
    currency: str
    table: schema.Table
    matched: list[str] = field(default_factory=list)
    #: Labels of this and of earlier conversions, and how many are new and were there.
    labels: list[dict[str, str]] | None = None
    counts: tuple[int, int] | None = None

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


def apply(
    proposal: Proposal,
    into: Path | str,
    *,
    changes: str = "leave",
    agreed: Callable[[Conversion], bool] = lambda conversion: True,
) -> Conversion:
    """Apply a proposal: put the rows of an export into a folder of books, once what would be done is agreed to."""
    if proposal.questions:
        raise ConversionError(questions=proposal.questions)
    with collector_held():
        folder = Path(into)
        finish_moves(folder)
        books = books_in(folder)
        currency = _currency(books, proposal)
        taken = taken_rows(proposal, units=Units(currency))
        _require_rows(proposal, taken)
        labels = proposal.mapping.table == LABELS
        table = schema.ITEMS if labels else schema.BY_NAME[proposal.mapping.table]
        job = _Job(proposal, folder, books, taken, currency, table)
        return _write(job, _posted(job) if labels else _placed(job, changes == "take"), agreed)


def _currency(books: Books | None, proposal: Proposal) -> str:
    own = books.shop.currency if books is not None else ""
    said = proposal.mapping.currency
    if own and said and own != said:
        mend = "convert the amounts before they enter the books, or name another folder with --into"
        raise refusal(proposal.export.label, None, f"amounts in {said}", f"in {own}", mend)
    return own or said or "USD"


def _require_rows(proposal: Proposal, taken: AcceptedRow) -> None:
    if taken.rows:
        return
    first = taken.refused[0] if taken.refused else None
    found = f"{count_of(len(taken.refused), 'row')}, none of which can be taken" if first else "no rows"
    mend = f"the first: {first.reason}" if first else ""
    row = first.row if first else None
    raise refusal(proposal.export.label, row, found, "rows of the table", mend)


def _posted(job: _Job) -> Merged:
    """Labels put to the items that they posted."""
    if job.books is None or not job.books.items["sold_on"].notna().any():
        needed = "sales in the books that labels can be matched with"
        raise refusal(job.folder.name, None, "no sold items", needed, "convert the sales first")
    taken, stock = job.taken, stock_of(job.books.items)
    earlier = read_ledger(job.folder / CONVERTED / "labels.csv")
    known = {row["label"]: row["items"].split("|") for row in earlier}
    labels = {at: label for at, label in enumerate(labels_of(taken, _weights(taken))) if label.key not in known}
    already = {key.split(":", 1)[0]: items for key, items in known.items()}
    posted = match_labels(stock, list(labels.values()), already=already)
    bad: dict[int, str] = {}
    job.labels, there = list(earlier), len(taken.rows) - len(labels)
    for at, label in labels.items():
        items, how = posted[label.key]
        if not items:
            bad[at] = how
            continue
        job.matched.append(f"row {label.origin}: {', '.join(items)}, by {how}")
        amounts = as_text(label.amount_cents), as_text(label.adjustment_cents)
        entry = (label.key, "|".join(items), *amounts, label.date, how)
        job.labels.append(dict(zip(_LEDGER, entry, strict=True)))
    job.counts = len(labels) - len(bad), there
    taken.drop(bad)
    costs = AcceptedRow(["item_id", "label_paid", "label_adjustment"], _costs(stock, job.labels))
    before = (zip(costs.columns, row, strict=True) for row in _costs(stock, earlier))
    last = {(item, name): text for (_, item), *cells in before for name, text in cells}
    file = merge.read_table_file(job.folder / schema.ITEMS.file)
    return merge.merged(schema.ITEMS, file, costs, last=last, units=job.units, take_changes=True, adds=False)


def _placed(job: _Job, take_changes: bool) -> Merged:
    """Rows put into their table."""
    taken, table = job.taken, job.table
    stock = stock_of(job.books.items) if job.books is not None else Stock()
    if table is schema.ITEMS:
        cost = job.proposal.mapping.columns.get("cost")
        named = job.proposal.mapping.rows.names == "match"
        if (named or cost is None or not cost.headers) and not _named_alone(job, stock):
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
    raise refusal(job.proposal.export.label, None, "rows that fit no books", "rows that do", "")


def _named_alone(job: _Job, stock: Stock) -> bool:
    """Whether the rows have names of their own by which the books know their items: then those alone count."""
    source = job.proposal.mapping.columns.get("item_id")
    if source is None or not source.headers:
        return False
    ids, at = stock.ids, job.taken.columns.index("item_id")
    known = read_ledger(job.folder / CONVERTED / "named.csv")
    same = any(row["table"] == "items" and source.headers[0] in row["by"].split("|") for row in known)
    return same or any(row[at] in ids for row in job.taken.rows)


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
    _, problems = inspect_raw(raw, as_written=True)
    bad: dict[int, str] = {}
    others: list[Problem] = []
    for problem in problems:
        if problem.severity != "stop" or "no items in" in problem.found:
            continue
        number = result.origins.get((problem.row or 0) - 1) if problem.file == job.table.file else None
        if number is None:
            others.append(problem)
        else:
            text = f"{problem.column}: {problem.sentence}"
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


def _write(job: _Job, result: Merged, agreed: Callable[[Conversion], bool]) -> Conversion:
    refused = with_cells(job.proposal, job.taken.refused)
    added, there = job.counts or (result.added, result.there)
    table = job.proposal.mapping.table
    done = Conversion(
        export=job.proposal.export.path,
        folder=job.folder,
        table=table,
        rows_in=job.proposal.table.rows_in,
        taken=len(set(job.taken.origins)) + len(job.taken.joined),
        refused=tuple(refused),
        added=added,
        there=there,
        changes=tuple(result.changes),
        matched=tuple(job.matched),
        sums=sums_of(job.taken, table),
        written=(),
        cells=tuple(job.taken.cells),
        remarks=tuple(remarks_of(job.taken, table)),
    )
    return dataclasses.replace(done, written=tuple(_put(job, result, refused))) if agreed(done) else done


def _put(job: _Job, result: Merged, refused: list[SkippedRow]) -> list[str]:
    """Write what is new: the table, and beside it what was taken, refused, changed."""
    file = job.table.file
    ledger = f"{CONVERTED}/taken-{job.table.name}.csv"
    written: list[str] = []
    with staged(job.folder) as stage:
        files = told_files(job.proposal, refused, result.changes, job.matched, job.taken.cells)
        if result.altered or not (job.folder / file).exists():
            keep_by_hand(stage, job.folder, file)
            result.text = result.file.text(job.table)
            stage.write(file, result.text)
            written.append(file)
            digest = hashlib.sha256(result.text.encode()).hexdigest()
            files[f"{CONVERTED}/written-{job.table.name}.txt"] = f"{digest}\n"
        files["shop.csv"] = job.shop_text
        files[f"{CONVERTED}/named.csv"] = _naming_text(job)
        files[f"{CONVERTED}/{NOT_TAKEN}"] = _not_taken_text(job, refused)
        if job.labels is not None:
            files[f"{CONVERTED}/labels.csv"] = csv_text(
                _LEDGER, [[row[name] for name in _LEDGER] for row in job.labels]
            )
        else:
            earlier = read_ledger(job.folder / ledger)
            # A table made anew holds just what was taken: the ledger is the same text.
            files[ledger] = (
                result.text
                if result.whole and not earlier
                else ledger_text(job.table.name, job.taken.columns, result.accepted, earlier)
            )
        for name, text in files.items():
            place = job.folder / name
            there = place.is_file()
            settled = there and not result.altered and name.endswith(("-changes.csv", "-matched.csv"))
            bare = name.endswith("-cells.csv") and not (job.taken.cells or there)
            if text and not bare and not settled and not (there and place.read_text(encoding="utf-8") == text):
                stage.write(name, text)
                written.append(name)
    return written


def _not_taken_text(job: _Job, refused: list[SkippedRow]) -> str:
    """How many rows and cells of each file the books lack, so that the check and the reports can say so."""
    name, lost, cells = job.proposal.export.path.name, sum(left.lost for left in refused), len(job.taken.cells)
    rows = [row for row in read_ledger(job.folder / CONVERTED / NOT_TAKEN) if row["file"] != name]
    if lost or cells:
        reasons = f"{CONVERTED}/{_stem(job.proposal.export.path)}-refused.csv"
        rows.append({"file": name, "rows": str(lost), "cells": str(cells), "reasons": reasons})
    known = (job.folder / CONVERTED / NOT_TAKEN).is_file()
    header = ["file", "rows", "cells", "reasons"]
    rows.sort(key=lambda row: row["file"])
    return csv_text(header, [[row[key] for key in header] for row in rows]) if rows or known else ""


def _naming_text(job: _Job) -> str:
    """By what the rows of each table are named, the first choice of each kept."""
    rows = read_ledger(job.folder / CONVERTED / "named.csv")
    table = job.table.name
    if job.labels is None and table in ("items", "trips", "lots") and all(row["table"] != table for row in rows):
        source = job.proposal.mapping.columns.get(f"{table[:-1]}_id")
        by = source.headers if source is not None and source.headers else ("", *job.taken.named_by)
        rows.append({"table": table, "by": "|".join(by)})
    return csv_text(["table", "by"], [[row["table"], row["by"]] for row in rows]) if rows else ""
