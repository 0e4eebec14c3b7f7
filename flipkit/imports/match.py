"""Which header of an export is which column of the books, and which table its rows belong in.

A header is matched by its words and by what stands below it: a column of dates is never a
price, whatever it is called.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from flipkit.books import schema
from flipkit.books.exports import words
from flipkit.books.exports.facts import ColumnFacts
from flipkit.books.exports.layout import Layout
from flipkit.books.exports.words import CERTAIN, FAIR, LABELS

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
    """One header matched with one column.

    Parameters
    ----------
    column : str
        Column of the table.
    header : str
        Header of the export.
    likeness : float
        How well the words fit, 0 to 100.
    rivals : tuple of str
        Headers that fit as well.
    """

    column: str
    header: str
    likeness: float
    rivals: tuple[str, ...] = ()

    @property
    def certain(self) -> bool:
        """Whether the header is the column's own word and no other is."""
        return self.likeness >= CERTAIN and not self.rivals


def kind_of(table: str, column: str) -> str:
    """The kind of a column of a table or of labels.

    Parameters
    ----------
    table : str
        Table, or ``labels``.
    column : str
        Its column.

    Returns
    -------
    str
        Its kind, as in the schema.
    """
    return LABEL_KINDS[column] if table == LABELS else str(schema.BY_NAME[table].column(column).kind)


def columns_of(table: str) -> tuple[str, ...]:
    """Columns of a table or of labels.

    Parameters
    ----------
    table : str
        Table, or ``labels``.

    Returns
    -------
    tuple of str
        Their names.
    """
    return tuple(LABEL_KINDS) if table == LABELS else tuple(c.name for c in schema.BY_NAME[table].columns)


def required_of(table: str) -> tuple[str, ...]:
    """Columns that a row of a table or of labels cannot be without.

    Parameters
    ----------
    table : str
        Table, or ``labels``.

    Returns
    -------
    tuple of str
        Their names.
    """
    return _LABELS_REQUIRED if table == LABELS else schema.BY_NAME[table].required


def matches(layout: Layout, table: str, *, taken: frozenset[str] = frozenset()) -> list[Match]:
    """The best match of headers with columns of one table.

    Parameters
    ----------
    layout : Layout
        The table of the export.
    table : str
        Table, or ``labels``.
    taken : frozenset of str
        Columns and headers that the seller has matched already.

    Returns
    -------
    list of Match
        At most one for each column and each header, in the order of the table's columns.
    """
    pairs: list[tuple[float, int, str, str]] = []
    order = {column: at for at, column in enumerate(columns_of(table))}
    for fact in layout.facts:
        plain = words.heading(fact.header)
        if not fact.filled or fact.header in taken or words.COMPUTED.search(plain.words):
            continue
        for column, at in order.items():
            if column in taken:
                continue
            score = words.likeness(plain.words, table, column)
            if score >= FAIR:
                score += _fit(fact, kind_of(table, column))
                if score >= FAIR:
                    pairs.append((score, at, column, fact.header))
    pairs.sort(key=lambda pair: (-pair[0], pair[1]))
    found: dict[str, Match] = {}
    used: set[str] = set()
    for score, _, column, header in pairs:
        if column in found or header in used:
            continue
        rivals = tuple(
            other
            for s, _, c, other in pairs
            if c == column and other != header and s > score - 2.5 and other not in used
        )
        found[column] = Match(column, header, score, rivals)
        used.add(header)
    _price_of_a_sale(found)
    kept = list(found.values())
    for at, match in enumerate(kept):
        free = tuple(rival for rival in match.rivals if rival not in used)
        kept[at] = Match(match.column, match.header, match.likeness, free)
    return sorted(kept, key=lambda match: order[match.column])


def _price_of_a_sale(found: dict[str, Match]) -> None:
    """A bare "price" beside days of sale and no other price of a sale is what the thing sold for."""
    match = found.get("list_price")
    if match is not None and match.likeness < 70 and "sold_on" in found and "sold_price" not in found:
        del found["list_price"]
        found["sold_price"] = Match("sold_price", match.header, match.likeness, match.rivals)


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
        return 0.0 if not fact.is_date else -25.0
    return 0.5 if fact.letters else 0.0


def _names_known(layout: Layout, found: list[Match], known: Collection[str]) -> bool:
    """Whether most rows name an item that the books hold."""
    match = next((match for match in found if match.column == "item_id"), None)
    if match is None or not known:
        return False
    at = layout.headers.index(match.header)
    return sum(record.cells[at] in known for record in layout.kept) > 0.5 * len(layout.kept)


def likely_tables(layout: Layout, *, known: Collection[str] = ()) -> list[tuple[str, float]]:
    """How well each table fits the headers of an export.

    Parameters
    ----------
    layout : Layout
        The table of the export.
    known : collection of str
        Names of items that the books hold; a column of them speaks for sales of these.

    Returns
    -------
    list of tuple
        Table and score, best first.
    """
    scores: list[tuple[str, float]] = []
    spare: dict[str, int] = {}
    for table in words.tables():
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
