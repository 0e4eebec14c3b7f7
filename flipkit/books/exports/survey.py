"""An export surveyed: its header found, and what each column holds learned from every row."""

from __future__ import annotations

import statistics
from collections import Counter
from collections.abc import Sequence

from flipkit.books.collector import collector_held
from flipkit.books.exports import totals
from flipkit.books.exports.dates import read_date
from flipkit.books.exports.facts import ColumnFacts
from flipkit.books.exports.layout import Layout, Left, SortedBlock
from flipkit.books.exports.totals import Total
from flipkit.imports.dialect import Record
from flipkit.imports.sheets import Export, refusal
from flipkit.imports.values import read_written

#: Rows looked at to find the header, and rows kept for sums and comparisons.
LOOKED_AT = 200
KEPT = 5_000
#: Cells that are held after the survey, so that they need not be read twice.
MOST_HELD = 15_000_000


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
    for record in export.records(LOOKED_AT):
        if any(record.cells):
            head.append(record)
        if len(head) >= LOOKED_AT or record.row >= 10 * LOOKED_AT:
            break
    if not head:
        raise refusal(export.label, None, "blank rows alone", "a table", "export it anew")
    layout = _framed(export, head, header_row)
    with collector_held():
        _survey_rows(export, layout)
    return layout


def _survey_rows(export: Export, layout: Layout) -> None:
    seen: dict[int, int] | None = {}
    last: Record | None = None
    holding: list[SortedBlock] | None = []
    for block in layout.sorted_blocks(export):
        layout.rows_in += len(block.rows) + len(block.left)
        if holding is not None:
            holding.append(block)
            if layout.rows_in * len(layout.headers) > MOST_HELD:
                holding = None
        if not block.rows:
            continue
        numbers, rows = block.numbers, block.rows
        columns = list(zip(*rows, strict=True))
        distinct = [dict.fromkeys(column) for column in columns]
        labels = {text for texts in distinct for text in totals.labels_among(texts)}
        if labels:
            numbers, rows = _without_totals(layout, block, labels)
            if not rows:
                continue
            columns = list(zip(*rows, strict=True))
            distinct = [dict.fromkeys(column) for column in columns]
        layout.data_rows += len(rows)
        last = Record(numbers[-1], rows[-1])
        for number, cells in zip(numbers, rows, strict=False) if len(layout.kept) < KEPT else ():
            layout.kept.append(Record(number, cells))
            if len(layout.kept) >= KEPT:
                break
        for fact, column, texts in zip(layout.facts, columns, distinct, strict=True):
            fact.add(column, texts)
        # Where a column names every row, no row can equal another: nothing need be remembered.
        named = any(fact.unique and fact.filled == fact.rows for fact in layout.facts)
        if named and (seen is None or layout.data_rows == len(rows)):
            seen = None
            continue
        if seen is None:
            seen = {}
            for earlier in layout.sorted_blocks(export):
                if not earlier.rows or earlier.numbers[0] >= numbers[0]:
                    break
                _note_duplicates(layout, earlier.numbers, earlier.rows, seen)
        _note_duplicates(layout, numbers, rows, seen)
    totals.judge(layout.totals, last, layout.facts, lambda: layout.sorted_blocks(export))
    layout._held = holding or []


def _without_totals(layout: Layout, block: SortedBlock, labels: set[str]) -> tuple[Sequence[int], list[list[str]]]:
    """The rows of a block that no word calls a total; the others are noted as such."""
    numbers: list[int] = []
    rows: list[list[str]] = []
    for number, cells in zip(block.numbers, block.rows, strict=True):
        label = totals.total_label(cells) if not labels.isdisjoint(cells) else ""
        if label:
            layout.totals.append(Total(number, label, cells))
        else:
            numbers.append(number)
            rows.append(cells)
    return numbers, rows


def _note_duplicates(layout: Layout, numbers: Sequence[int], rows: list[list[str]], seen: dict[int, int]) -> None:
    for number, key in zip(numbers, map(hash, map(tuple, rows)), strict=True):
        first = seen.setdefault(key, number)
        if first != number:
            layout.duplicate_count += 1
            if len(layout.duplicates) < 20:
                layout.duplicates.append((number, first))


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
    over = _line_above(plain, found) if found is not None and header_row is None else []
    headers = _different(_with_line_above(given + [""] * (width - len(given)), over))
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
        if not _is_words(filled):
            return None
        # A second line of words below, with more of them, is the header; the first one groups it.
        below = next((other for other in plain if other.row > record.row), None)
        if below is not None:
            cells = [cell for cell in below.cells if cell]
            if len(cells) > len(filled) and all(map(_wordlike, cells)) and len(cells) >= 0.9 * typical:
                return below
        return record
    return None


def _is_words(filled: list[str]) -> bool:
    """Whether the filled cells of a row are words, and mostly different."""
    words = sum(map(_wordlike, filled))
    return words >= 0.8 * len(filled) and len(set(filled)) >= 0.5 * len(filled)


def _line_above(plain: list[Record], found: Record) -> list[str]:
    """The line that groups the headers, where the row above them is one: each word carried to the right."""
    above = next((record for record in plain if record.row == found.row - 1), None)
    if above is None or sum(map(bool, above.cells)) < 2 or not _is_words([cell for cell in above.cells if cell]):
        return []
    carried: list[str] = []
    for cell in above.cells:
        carried.append(cell or (carried[-1] if carried else ""))
    return carried


def _with_line_above(given: list[str], over: list[str]) -> list[str]:
    """Headers that stand twice, told apart by the line above them."""
    counts = Counter(given)
    return [
        f"{over[at]} {header}" if counts[header] > 1 and at < len(over) and over[at] else header
        for at, header in enumerate(given)
    ]


def _different(given: list[str]) -> list[str]:
    """Headers made different: a blank one is called by its number, a repeated one counted."""
    headers: list[str] = []
    seen: set[str] = set()
    counts: Counter[str] = Counter()
    for at, header in enumerate(given, start=1):
        name = " ".join(header.split())[:80] or f"column {at}"
        unique = name
        while unique in seen:
            counts[name] += 1
            unique = f"{name} ({counts[name] + 1})"
        seen.add(unique)
        headers.append(unique)
    return headers
