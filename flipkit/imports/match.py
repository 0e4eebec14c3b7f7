"""Which header of an export is which column of the books."""

from __future__ import annotations

import functools
import statistics
from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass, replace

from flipkit.books.problems import collector_held
from flipkit.imports import sheets, values
from flipkit.imports.dialect import Record, refusal
from flipkit.imports.mapping import Source
from flipkit.imports.sheets import ColumnFacts, Export, Layout, SkippedRow, SortedBlock, Total
from flipkit.imports.values import CERTAIN, FAIR, LABELS, WEAK, columns_of

# A header is matched by its words and by what stands below it: a column of dates is never a price, whatever it is
# called.

MONEY = ("money", "signed money")
NUMBERS = (*MONEY, "number", "count", "miles", "length", "weight", "minutes")
SIDES = ("length_in", "width_in", "height_in")
#: How sure a header is the three sides by what stands below it alone: words over a side of its own say more.
_BY_CONTENT = 90.0
#: Units that a column of a kind can have.
_FITTING = {
    "length": ("in", "cm", "mm", "ft"),
    "weight": ("lb", "oz", "kg", "g"),
    "minutes": ("min", "hour", "s"),
    "miles": ("mile", "km"),
}


@dataclass(frozen=True, slots=True)
class Match:
    """One header matched with one column."""

    column: str
    header: str
    likeness: float
    rivals: tuple[str, ...] = ()

    @property
    def certain(self) -> bool:
        """Whether the header is the column's own word and no other is."""
        return self.likeness >= CERTAIN and not self.rivals


def kind_of(table: str, column: str) -> str:
    """The kind of a column of a table or of labels."""
    return str(columns_of(table)[column].kind)


def required_of(table: str) -> list[str]:
    """Columns that a row of a table or of labels cannot be without."""
    return [name for name, column in columns_of(table).items() if column.required]


def sources_of(layout: Layout, table: str, column: str, header: str, unit: str = "") -> dict[str, Source]:
    """A column taken from a header, in the unit that it names; three sides where each cell holds three."""
    said = unit or values.heading(header).unit
    fits = said if said in _FITTING.get(kind_of(table, column), ()) else unit
    if column in SIDES and layout.fact(header).is_sides:
        return {side: Source(headers=(header,), unit=fits, part=at) for at, side in enumerate(SIDES, start=1)}
    return {column: Source(headers=(header,), unit=fits)}


def matches(
    layout: Layout, table: str, *, taken: frozenset[str] = frozenset(), used: frozenset[str] = frozenset()
) -> list[Match]:
    """The best match of headers with columns of one table, those apart that the seller has spoken of."""
    pairs: list[tuple[float, int, str, str]] = []
    for fact in layout.facts:
        words = values.heading(fact.header).words
        likely = values.likenesses(words)
        if not fact.filled or values.says("computed", words) or states_of(fact):
            continue
        for at, (column, held) in enumerate(columns_of(table).items()):
            # A day may be that of the purchase and of the sale by words of both; what the seller has placed is placed.
            score = likely.get((table, column), 0.0)
            if column in taken or (fact.header in used and (held.kind in NUMBERS or score <= WEAK)):
                continue
            if column in SIDES and fact.is_sides:
                score = _BY_CONTENT * (column == SIDES[0])
            if score >= FAIR:
                score += _fit(fact, held.kind) + _words_fit(fact, column)
                if score >= FAIR:
                    pairs.append((score, at, column, fact.header))
    pairs.sort(key=lambda pair: (-pair[0], pair[1]))
    found: dict[str, Match] = {}
    gone: set[str] = set()
    for score, _, column, header in pairs:
        if column not in found and header not in gone:
            rivals = (o for s, _, c, o in pairs if c == column and o != header and s > score - 2.5 and o not in gone)
            found[column] = Match(column, header, score, tuple(rivals))
            gone.add(header)
    # A bare "price" beside days of sale and no other price of a sale is what the thing sold for; how many sold is how
    # many there are where nothing else is said and every row sold some.
    weak = "list_price" in found and found["list_price"].likeness < 70 and "sold_price" not in taken
    if weak and {"sold_on", "order_id"} & ({*found} | taken):
        _instead(found, "list_price", "sold_price")
    sold = layout.fact(found[values.SOLD_OF].header) if values.SOLD_OF in found else None
    if sold is not None and sold.filled == sold.rows and "0" not in sold.examples:
        _instead(found, values.SOLD_OF, "quantity")
    kept = (found[column] for column in columns_of(table) if column in found)
    return [replace(match, rivals=tuple(rival for rival in match.rivals if rival not in gone)) for match in kept]


def _instead(found: dict[str, Match], one: str, other: str) -> None:
    """Take a header for another column that has none."""
    if one in found and other not in found:
        found[other] = replace(found.pop(one), column=other)


def states_of(fact: ColumnFacts) -> set[str]:
    """What a column says of its things, sold, unsold, yes, no and so on, where it says little else."""
    states = [values.state_of(text) for text in fact.examples] if 0 < fact.distinct <= 8 else []
    # Among sold, unsold and donated a word of the seller's own, such as a place, is one for what is in stock.
    rest = states.count("") * 3 <= len(states) and {"sold", "unsold"} <= {*states}
    return {*states} - {""} if rest or "" not in states else set()


def _words_fit(fact: ColumnFacts, column: str) -> float:
    """A title differs from row to row, and a category or a lot stands in many."""
    if fact.filled >= 8 and fact.unique and column == "lot_id":
        return -60.0
    if fact.filled < 8 or fact.is_number or column not in ("title", "category", "item_id"):
        return 0.0
    varied = fact.distinct / fact.filled
    if column == "category":
        return -6.0 if varied > 0.9 else 0.0
    return -30.0 if varied < 0.15 else 0.0


#: What the cells below a header say against a kind: little, nearly everything, everything.
_DOUBT, _POOR, _OUT = -5.0, -20.0, -1000.0


def _fit(fact: ColumnFacts, kind: str) -> float:
    """What the cells below a header say for or against a kind; far below zero rules it out."""
    dates, numbers = fact.dates, fact.numbers
    if kind in ("date", "month"):
        if fact.dates.mostly:
            return 0.5 if fact.is_date else -3.0
        if kind == "month" and not fact.is_number:
            return 2 * _DOUBT
        return _POOR if dates.read and dates.read >= dates.unread else _OUT
    if kind in ("length", "weight", "minutes"):
        return 0.5 if fact.is_number or fact.is_sides or fact.units else _DOUBT
    if fact.is_date and kind != "id":
        return _OUT
    if kind in NUMBERS:
        return 0.5 if fact.is_number else _POOR if numbers.read >= max(numbers.unread, 1) else _OUT
    if kind == "id":
        return _POOR + _DOUBT if fact.is_date or (fact.is_number and numbers.with_part > 0.2 * numbers.read) else 0.0
    return _POOR + _DOUBT if kind == "text" and fact.is_number else 0.5 * bool(fact.letters)


def _names_known(layout: Layout, found: list[Match], known: Collection[str]) -> bool:
    """Whether most rows name an item that the books hold."""
    match = next((match for match in found if match.column == "item_id"), None)
    if match is None or not known:
        return False
    at = layout.headers.index(match.header)
    return sum(record.cells[at] in known for record in layout.kept) > 0.5 * len(layout.kept)


def likely_tables(layout: Layout, *, known: Collection[str] = ()) -> list[tuple[str, float]]:
    """How well each table fits the headers of an export."""
    scores: list[tuple[str, float]] = []
    spare: dict[str, int] = {}
    for table in values.tables():
        found = matches(layout, table)
        score = sum(1.0 if m.likeness >= CERTAIN else 0.6 if m.likeness > 70 else 0.2 for m in found)
        have = {match.column for match in found}
        needed = [column for column in required_of(table) if column not in ("item_id", "trip_id", "lot_id")]
        named = table == "items" and _names_known(layout, found, known)
        if named or (table == "items" and {"title", "sold_on", "sold_price"} <= have):
            # A list of sales: what they cost stands elsewhere.
            needed = []
        missing = [column for column in needed if column not in have]
        score += 1.5 * (1 - len(missing) / max(len(needed), 1)) - 0.25 * len(missing)
        used = {match.header for match in found}
        spare[table] = sum(fact.filled > 0 and fact.header not in used for fact in layout.facts)
        if table == LABELS and not have & {"tracking", "service", "zone"}:
            score -= 2.0
        if named:
            score += 2.0
        elif table == "items" and "title" not in have:
            score -= 3.0
        if table in ("trips", "lots") and f"{table[:-1]}_id" not in have:
            score -= 2.0
        scores.append((table, score))
    # A header that one table has a place for and another has not speaks against the other.
    least = min(spare.values())
    final = [(table, round(score - 0.5 * (spare[table] - least), 3)) for table, score in scores]
    return sorted(final, key=lambda pair: -pair[1])


# An export surveyed: its header found, and what each column holds learned from every row.

#: Rows looked at to find the header, and rows kept for sums and comparisons.
LOOKED_AT = 200
KEPT = 5_000
#: Cells that are held after the survey, so that they need not be read twice.
MOST_HELD = 15_000_000


def survey(export: Export, *, header_row: int | None = None) -> Layout:
    """Survey an export: find its table and learn what each column holds, from every row."""
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
    last: Record | None = None
    holding: list[SortedBlock] | None = []
    for block in layout.sorted_blocks(export):
        layout.rows_in += len(block.rows) + len(block.left)
        if holding is not None:
            holding.append(block)
            if layout.rows_in * len(layout.headers) > MOST_HELD:
                holding = None
        columns = list(zip(*block.rows, strict=True))
        distinct = [dict.fromkeys(column) for column in columns]
        labels = {text for texts in distinct for text in sheets.labels_among(texts)}
        if labels:
            block = block.sifted(functools.partial(_total, labels))
            layout.totals += [Total(left.row, left.reason, left.cells) for left in block.left]
            columns = list(zip(*block.rows, strict=True))
            distinct = [dict.fromkeys(column) for column in columns]
        if not block.rows:
            continue
        layout.data_rows += len(block.rows)
        last = Record(block.numbers[-1], block.rows[-1])
        room = max(KEPT - len(layout.kept), 0)
        layout.kept += map(Record, block.numbers[:room], block.rows[:room])
        for fact, column, texts in zip(layout.facts, columns, distinct, strict=True):
            fact.add(column, texts)
    layout._held = holding or []
    # Where a column names every row, no row can equal another.
    if not any(fact.unique and fact.filled == fact.rows for fact in layout.facts):
        _note_duplicates(export, layout)
    sheets.judge(layout.totals, last, layout.facts, lambda: layout._held or layout.sorted_blocks(export))


def _total(labels: set[str], number: int, cells: list[str]) -> str:
    """The word that calls a row a total, where one does."""
    return sheets.total_label(cells) if not labels.isdisjoint(cells) else ""


def _note_duplicates(export: Export, layout: Layout) -> None:
    seen: dict[int, int] = {}
    totals = {total.row for total in layout.totals}
    for block in layout._held or layout.sorted_blocks(export):
        for number, key in zip(block.numbers, map(hash, map(tuple, block.rows)), strict=True):
            first = seen.setdefault(key, number)
            if first != number and number not in totals:
                layout.duplicate_count += 1
                layout.duplicates += [(number, first)] * (len(layout.duplicates) < 20)


def _framed(export: Export, head: list[Record], header_row: int | None) -> Layout:
    """The header and what stands above it."""
    good = [record for record in head if not record.broken]
    hashes = sum(record.cells[0][:1] == "#" for record in good) > 0.5 * len(good)
    # A header that is the mark alone stands over the numbers of the rows.
    plain = [r for r in good if hashes or r.cells[0][:1] != "#" or (r.cells[0] == "#" and sum(map(bool, r.cells)) > 2)]
    plain = plain or good
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
    given = found.cells[: _width(found.cells)] if found is not None else []
    width = max(len(given), common, 1)
    over = _line_above(plain, found) if found is not None and header_row is None else []
    headers = _different(_with_line_above(given + [""] * (width - len(given)), over))
    above = [SkippedRow(r.row, "above the header", r.cells) for r in head if found is not None and r.row < found.row]
    layout = Layout(found.row if found is not None else 0, headers, given, above, hashes, typical)
    layout.facts = [ColumnFacts(i, header) for i, header in enumerate(headers)]
    return layout


def _width(cells: list[str]) -> int:
    return max((at for at, cell in enumerate(cells, start=1) if cell), default=0)


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
            if len(cells) > len(filled) and all(map(sheets.wordlike, cells)) and len(cells) >= 0.9 * typical:
                return below
        return record
    return None


def _is_words(filled: list[str]) -> bool:
    """Whether the filled cells of a row are words, and mostly different."""
    words = sum(map(sheets.wordlike, filled))
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
