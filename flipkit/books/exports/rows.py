"""Rows of an export turned into rows of a table: every one taken or refused with its reasons."""

from __future__ import annotations

from decimal import Decimal

from flipkit.books.cells import Bad
from flipkit.books.exports import matching
from flipkit.books.exports.dialect import Record
from flipkit.books.exports.layout import CHUNK, Left
from flipkit.books.exports.mapping import Mapping
from flipkit.books.exports.orders import name_rows, share_orders
from flipkit.books.exports.propose import Proposal
from flipkit.books.exports.readers import ColumnReader
from flipkit.books.exports.taken import Taken


def taken_rows(proposal: Proposal, *, currency: str = "USD") -> Taken:
    """Turn the rows of an export into rows of its table.

    Parameters
    ----------
    proposal : Proposal
        How the export is read; its questions are settled.
    currency : str
        Currency of the shop.

    Returns
    -------
    Taken
        The rows taken and refused; together they are all rows of the export.
    """
    layout, mapping = proposal.layout, proposal.mapping
    assert layout is not None  # noqa: S101 - a proposal without questions has a layout
    columns = list(mapping.columns)
    taken = Taken(columns)
    readers = [ColumnReader(name, source, mapping, layout, currency) for name, source in mapping.columns.items()]
    totals = {total.row for total in layout.totals} if mapping.rows.totals != "keep" else set()
    skip = [(layout.headers.index(header), set(texts)) for header, texts in mapping.rows.skip.items() if texts]
    seen: dict[int, int] = {}
    chunk: list[Record] = []
    for record, left_out in layout.rows(proposal.export):
        reason = left_out
        if not reason and record.row in totals:
            reason = "a row that adds up others"
        if not reason:
            hit = next((record.cells[at] for at, texts in skip if record.cells[at] in texts), None)
            reason = f"left out as you said: {hit}" if hit is not None else ""
        if not reason and mapping.rows.duplicates == "once":
            first = seen.setdefault(hash(tuple(record.cells)), record.row)
            reason = f"equal to row {first} in every cell" if first != record.row else ""
        if reason:
            taken.refused.append(Left(record.row, reason, record.cells))
            continue
        chunk.append(record)
        if len(chunk) >= CHUNK:
            _take(chunk, readers, mapping, taken)
    _take(chunk, readers, mapping, taken)
    share_orders(taken, mapping)
    if mapping.table in ("items", "trips", "lots"):
        name_rows(taken, mapping)
    return taken


def _take(chunk: list[Record], readers: list[ColumnReader], mapping: Mapping, taken: Taken) -> None:
    if not chunk:
        return
    cells = list(zip(*(record.cells for record in chunk), strict=True))
    columns = [reader.column(cells, len(chunk)) for reader in readers]
    bad: dict[int, list[str]] = {}
    for reader, values in zip(readers, columns, strict=True):
        if not reader.sure:
            for place, value in enumerate(values):
                if isinstance(value, Bad):
                    bad.setdefault(place, []).append(reader.complaint(value, chunk[place].cells))
            reader.sure = True
    _times_quantity(readers, columns, bad)
    required = [
        (at, reader.name)
        for at, reader in enumerate(readers)
        if reader.name in matching.required_of(mapping.table)
        and not (reader.name == "cost" and "lot_id" in mapping.columns)
    ]
    titles = [reader.name for reader in readers].index("title") if any(r.name == "title" for r in readers) else -1
    for at, name in required:
        if at == titles and "order_id" in mapping.columns and any(s.per_order for s in mapping.columns.values()):
            continue
        values = columns[at]
        if "" in values:
            for place, value in enumerate(values):
                if value == "":
                    bad.setdefault(place, []).append(f"no {name}")
    for place, cells_of in enumerate(zip(*columns, strict=True)):
        record = chunk[place]
        if place in bad:
            taken.refused.append(Left(record.row, "; ".join(bad[place]), record.cells))
        else:
            taken.rows.append([str(value) for value in cells_of])
            taken.origins.append(record.row)
    chunk.clear()


def _times_quantity(readers: list[ColumnReader], columns: list[list[str | Bad]], bad: dict[int, list[str]]) -> None:
    names = [reader.name for reader in readers]
    if "quantity" not in names:
        return
    counts = columns[names.index("quantity")]
    for reader, values in zip(readers, columns, strict=True):
        if not reader.source.each:
            continue
        for place, (value, count) in enumerate(zip(values, counts, strict=True)):
            if (
                place not in bad
                and isinstance(value, str)
                and isinstance(count, str)
                and value
                and count not in ("", "1")
            ):
                values[place] = f"{Decimal(value) * int(count):.2f}"
