"""Rows of an export turned into rows of a table: every one taken or refused with its reasons."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from flipkit.books.cells import Bad
from flipkit.books.exports.layout import Left, SortedBlock
from flipkit.books.exports.orders import name_rows, share_orders
from flipkit.books.exports.taken import Taken
from flipkit.imports import match
from flipkit.imports.detect import Proposal
from flipkit.imports.mapping import Mapping
from flipkit.imports.rows import ColumnReader


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
    keep = [(layout.headers.index(h), h, texts) for h, texts in mapping.rows.keep.items() if texts and "*" not in texts]
    seen: dict[int, int] = {}
    for block in layout.sorted_blocks(proposal.export, once=True):
        taken.refused += block.left
        numbers, rows = block.numbers, block.rows
        if totals or skip or keep or mapping.rows.duplicates == "once":
            once = mapping.rows.duplicates == "once"
            numbers, rows = _counted(block, totals, skip, keep, seen, once=once, taken=taken)
        if rows:
            _take(numbers, rows, readers, mapping, taken)
    share_orders(taken, mapping)
    if mapping.table in ("items", "trips", "lots"):
        name_rows(taken, mapping)
    return taken


def _counted(
    block: SortedBlock,
    totals: set[int],
    skip: list[tuple[int, set[str]]],
    keep: list[tuple[int, str, tuple[str, ...]]],
    seen: dict[int, int],
    *,
    once: bool,
    taken: Taken,
) -> tuple[Sequence[int], list[list[str]]]:
    """The rows of a block that count, the others refused with their reason."""
    numbers: list[int] = []
    rows: list[list[str]] = []
    for number, cells in zip(block.numbers, block.rows, strict=True):
        reason = "a row that adds up others" if number in totals else ""
        if not reason and skip:
            hit = next((cells[at] for at, texts in skip if cells[at] in texts), None)
            reason = f"left out as you said: {hit}" if hit is not None else ""
        for at, header, texts in keep if not reason else ():
            if not any(text in cells[at].lower() for text in texts):
                reason = f"none of the words to keep stands in {header}"
        if not reason and once:
            first = seen.setdefault(hash(tuple(cells)), number)
            reason = f"equal to row {first} in every cell" if first != number else ""
        if reason:
            taken.refused.append(Left(number, reason, cells))
        else:
            numbers.append(number)
            rows.append(cells)
    return numbers, rows


def _take(
    numbers: Sequence[int], rows: list[list[str]], readers: list[ColumnReader], mapping: Mapping, taken: Taken
) -> None:
    cells = list(zip(*rows, strict=True))
    columns = [reader.column(cells, len(rows)) for reader in readers]
    bad: dict[int, list[str]] = {}
    for reader, values in zip(readers, columns, strict=True):
        if not reader.sure:
            for place, value in enumerate(values):
                if isinstance(value, Bad):
                    bad.setdefault(place, []).append(reader.complaint(value, rows[place]))
    _times_quantity(readers, columns, bad)
    for reader, values in zip(readers, columns, strict=True):
        if _may_be_blank(reader.name, mapping) or "" not in values:
            continue
        for place, value in enumerate(values):
            if value == "":
                bad.setdefault(place, []).append(f"no {reader.name}")
    if not bad:
        taken.rows.extend(map(list, zip(*columns, strict=True)))
        taken.origins.extend(numbers)
        return
    for place, values_of in enumerate(zip(*columns, strict=True)):
        if place in bad:
            taken.refused.append(Left(numbers[place], "; ".join(bad[place]), rows[place]))
        else:
            taken.rows.append([str(value) for value in values_of])
            taken.origins.append(numbers[place])


def _may_be_blank(name: str, mapping: Mapping) -> bool:
    """Whether a row can do without a column: it is not required, or another stands in for it."""
    if name not in match.required_of(mapping.table):
        return True
    if name == "cost" and "lot_id" in mapping.columns:
        return True
    # The head of an order has no title: its amounts go to the lines of the order.
    shared = "order_id" in mapping.columns and any(source.per_order for source in mapping.columns.values())
    return name == "title" and shared


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
