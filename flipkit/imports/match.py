"""Which header of an export is which column of the books."""

from __future__ import annotations

import statistics
from collections import Counter
from collections.abc import Collection, Sequence
from collections.abc import Mapping as Answers
from dataclasses import dataclass, field

from flipkit.books import schema
from flipkit.books.problems import Problem, collector_held
from flipkit.errors import ConversionError
from flipkit.imports import sheets, values
from flipkit.imports.dialect import Record
from flipkit.imports.join import Stock
from flipkit.imports.mapping import Choice, Mapping, Question
from flipkit.imports.sheets import ColumnFacts, Export, Layout, SkippedRow, SortedBlock, Total, refusal
from flipkit.imports.values import CERTAIN, FAIR, LABELS, read_date, read_written

# Which header of an export is which column of the books, and which table its rows belong in.
#
# A header is matched by its words and by what stands below it: a column of dates is never a price, whatever it is
# called.

#: Columns of labels and their kinds; the books' own tables have theirs in the schema.
LABEL_KINDS = {
    "date": "date",
    "amount": "signed money",
    "order_id": "id",
    "item_id": "id",
    "tracking": "id",
    "zone": "text",
    "weight_lb": "weight",
    "service": "text",
    "adjustment": "signed money",
}
_LABELS_REQUIRED = ("date", "amount")


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
    return LABEL_KINDS[column] if table == LABELS else str(schema.BY_NAME[table].column(column).kind)


def columns_of(table: str) -> tuple[str, ...]:
    """Columns of a table or of labels."""
    return tuple(LABEL_KINDS) if table == LABELS else tuple(c.name for c in schema.BY_NAME[table].columns)


def required_of(table: str) -> tuple[str, ...]:
    """Columns that a row of a table or of labels cannot be without."""
    return _LABELS_REQUIRED if table == LABELS else schema.BY_NAME[table].required


def matches(
    layout: Layout, table: str, *, taken: frozenset[str] = frozenset(), used: frozenset[str] = frozenset()
) -> list[Match]:
    """The best match of headers with columns of one table, those apart that the seller has spoken of."""
    pairs: list[tuple[float, int, str, str]] = []
    order = {column: at for at, column in enumerate(columns_of(table))}
    for fact in layout.facts:
        plain = values.heading(fact.header)
        if not fact.filled or values.COMPUTED.search(plain.words) or is_flag(fact):
            continue
        for column, at in order.items():
            # A day may be that of the purchase and of the sale; an amount that the seller has placed is placed.
            if column in taken or (fact.header in used and kind_of(table, column) in NUMBERS):
                continue
            score = values.likeness(plain.words, table, column)
            if score >= FAIR:
                score += _fit(fact, kind_of(table, column)) + _words_fit(fact, column)
                if score >= FAIR:
                    pairs.append((score, at, column, fact.header))
    pairs.sort(key=lambda pair: (-pair[0], pair[1]))
    found: dict[str, Match] = {}
    gone: set[str] = set()
    for score, _, column, header in pairs:
        if column in found or header in gone:
            continue
        rivals = tuple(
            other
            for s, _, c, other in pairs
            if c == column and other != header and s > score - 2.5 and other not in gone
        )
        found[column] = Match(column, header, score, rivals)
        gone.add(header)
    _price_of_a_sale(found)
    kept = list(found.values())
    for at, match in enumerate(kept):
        free = tuple(rival for rival in match.rivals if rival not in gone)
        kept[at] = Match(match.column, match.header, match.likeness, free)
    return sorted(kept, key=lambda match: order[match.column])


def _price_of_a_sale(found: dict[str, Match]) -> None:
    """A bare "price" beside days of sale and no other price of a sale is what the thing sold for."""
    match = found.get("list_price")
    if match is not None and match.likeness < 70 and {"sold_on", "order_id"} & set(found) and "sold_price" not in found:
        del found["list_price"]
        found["sold_price"] = Match("sold_price", match.header, match.likeness, match.rivals)


def is_flag(fact: ColumnFacts) -> bool:
    """Whether a column says yes or no throughout, in words."""
    words = [text.casefold() for text in fact.examples]
    return 0 < fact.distinct <= 2 and all(word in values.YES | values.NO and word not in "01x" for word in words)


def _words_fit(fact: ColumnFacts, column: str) -> float:
    """A title differs from row to row, and a category stands in many."""
    if fact.filled < 8 or fact.is_number or column not in ("title", "category", "item_id"):
        return 0.0
    varied = fact.distinct / fact.filled
    if column == "category":
        return -6.0 if varied > 0.9 else 0.0
    return -30.0 if varied < 0.15 else 0.0


def _fit(fact: ColumnFacts, kind: str) -> float:
    """What the cells below a header say for or against a kind; far below zero rules it out."""
    out = -1000.0
    if kind in ("date", "month"):
        if fact.is_date or fact.may_be_date:
            return 0.5 if fact.is_date else -3.0
        if kind == "month" and not fact.is_number:
            return -10.0
        return -20.0 if fact.dates.read and fact.dates.read >= fact.dates.unread else out
    if kind in ("money", "signed money", "number", "count", "miles", "rate"):
        if fact.is_date:
            return out
        return 0.5 if fact.is_number else -20.0 if fact.numbers.read >= max(fact.numbers.unread, 1) else out
    if kind in ("length", "weight", "minutes"):
        return 0.5 if fact.is_number else -5.0
    if fact.is_date and kind in ("text", "choice"):
        return out
    if kind == "text" and fact.is_number:
        return -25.0
    if kind == "id":
        return -25.0 if fact.is_date or (fact.is_number and fact.numbers.with_part > 0.2 * fact.numbers.read) else 0.0
    return 0.5 if fact.letters else 0.0


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


# A proposal under construction: what was said, what is certain, guessed and asked.

MONEY = ("money", "signed money")
NUMBERS = (*MONEY, "number", "count", "miles", "rate", "length", "weight", "minutes")
#: Evidence from which a reading is certain, from which it may be guessed, and how far it must stand above the next.
SURE, LIKELY, APART = 0.95, 0.7, 0.3


@dataclass(frozen=True, slots=True)
class Candidate:
    """One reading of something that an export leaves open, with the evidence for it, from 0 to 1."""

    value: str
    meaning: str = ""
    evidence: float = 0.5
    told: str = ""
    typed: str = ""


@dataclass
class Draft:
    """A proposal under construction."""

    answers: Answers[str, str]
    kept: bool = False
    stock: Stock = field(default_factory=Stock)
    naming: dict[str, tuple[str, ...]] = field(default_factory=dict)
    seen: frozenset[str] = frozenset()
    certain: list[str] = field(default_factory=list)
    guessed: list[str] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)

    def ask(self, key: str, text: str, option: str) -> None:
        """A question that only words of the seller's own answer."""
        self.questions.append(Question(key, option, text, (), True))

    def decide(
        self, key: str, text: str, *candidates: Candidate, given: str = "", option: str = "", free: bool = False
    ) -> str | None:
        """The one way in which a guess is made: the seller's word, else evidence that stands out, else a question."""
        values = [candidate.value for candidate in candidates]
        if key in self.answers or given:
            said = self.answers.get(key, given)
            if said not in values and not free:
                raise ConversionError([Problem("answers", None, key, said, f"one of {', '.join(values)}", "")])
            return said
        ranked = sorted(candidates, key=lambda candidate: -candidate.evidence)
        best, after = ranked[0], ranked[1].evidence if len(ranked) > 1 else 0.0
        if best.evidence >= LIKELY and best.evidence - after >= APART:
            if best.told:
                (self.certain if best.evidence >= SURE else self.guessed).append(best.told)
            return best.value
        choices = tuple(Choice(c.value, c.meaning, c.typed) for c in candidates)
        self.questions.append(Question(key, option or f"--{key}", text, choices, free))
        return None


def facts_of(layout: Layout, mapping: Mapping, kinds: tuple[str, ...]) -> dict[str, ColumnFacts]:
    """Facts of the columns of some kinds that come from one header, by column."""
    return {
        name: layout.fact(source.headers[0])
        for name, source in mapping.columns.items()
        if len(source.headers) == 1 and kind_of(mapping.table, name) in kinds
    }


def updated(mapping: Mapping, **changes: object) -> Mapping:
    """A mapping with changes."""
    return mapping.model_copy(update=changes)


def with_column(mapping: Mapping, name: str, **changes: object) -> Mapping:
    """A mapping with one column changed."""
    source = mapping.columns[name].model_copy(update=changes)
    return updated(mapping, columns={**mapping.columns, name: source})


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
        labels = {text for texts in distinct for text in sheets.labels_among(texts)}
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
    sheets.judge(layout.totals, last, layout.facts, lambda: layout.sorted_blocks(export))
    layout._held = holding or []


def _without_totals(layout: Layout, block: SortedBlock, labels: set[str]) -> tuple[Sequence[int], list[list[str]]]:
    """The rows of a block that no word calls a total; the others are noted as such."""
    numbers: list[int] = []
    rows: list[list[str]] = []
    for number, cells in zip(block.numbers, block.rows, strict=True):
        label = sheets.total_label(cells) if not labels.isdisjoint(cells) else ""
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
    above = [SkippedRow(r.row, "above the header", r.cells) for r in head if found is not None and r.row < found.row]
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
