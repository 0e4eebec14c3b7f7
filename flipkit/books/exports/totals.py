"""Rows of an export that add up others: found by their word, proved by their sums."""

from __future__ import annotations

import operator
import re
from collections import Counter
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from flipkit.books import bulk
from flipkit.books.exports.facts import ColumnFacts
from flipkit.imports.dialect import Record
from flipkit.imports.values import number_of, read_written

if TYPE_CHECKING:
    from flipkit.books.exports.layout import SortedBlock

_TOTAL = re.compile(
    r"(?:grand\s+|sub-?\s?|net\s+|overall\s+)?(?:totals?|sums?|summe|gesamt(?:summe)?|insgesamt|somme|suma|totale?|"
    r"totaal|razem|celkem|summa|yhteensä|итого|合計|总计|合计)(?:\s+(?:général|general|geral|of|for|in)\b.*|\s*\(.*\)|\s+\d{4})?\s*:?",
    re.IGNORECASE,
)


_WORDS = (
    "total",
    "sum",
    "gesamt",
    "somme",
    "suma",
    "totaal",
    "razem",
    "celkem",
    "summa",
    "yhteens",
    "итого",
    "合",
    "总计",
)
#: The first two letters of every such word, small: a quick look before the pattern.
_BEGINNINGS = frozenset(
    ["gr", "su", "ne", "ov", "to", "ge", "in", "so", "ra", "ce", "yh", "ит", "合計", "总计", "合计"]
)


#: The same in any capitals.
_BEGUN = frozenset(way for two in _BEGINNINGS for way in (two, two.upper(), two.capitalize(), two[0] + two[1:].upper()))
_TWO = operator.itemgetter(slice(0, 2))


@dataclass(slots=True)
class Total:
    """A row that looks like the sum of others.

    Parameters
    ----------
    row : int
        Its number.
    label : str
        The word that says so; empty where only the sums do.
    cells : list of str
        What stands in it.
    sums : tuple of str
        Headers whose cell is the exact sum of the rows above.
    misses : tuple of str
        Headers whose cell is a number and not that sum.
    """

    row: int
    label: str
    cells: list[str]
    sums: tuple[str, ...] = ()
    misses: tuple[str, ...] = ()

    @property
    def certain(self) -> bool:
        """Whether word and sums agree."""
        return bool(self.label and self.sums and not self.misses)


def total_label(cells: list[str]) -> str:
    """The word in a row that calls it a total, where it stands in the first filled cells.

    Parameters
    ----------
    cells : list of str
        The cells.

    Returns
    -------
    str
        The word; empty where there is none.

    Examples
    --------
    >>> total_label(["", "Grand total:", "506,914"]), total_label(["Total Station", "12"])
    ('Grand total:', '')
    """
    for cell in cells:
        if not cell:
            continue
        if cell[:2].lower() in _BEGINNINGS and _TOTAL.fullmatch(cell):
            return cell
        if read_written(cell) is None:
            return ""
    return ""


def labels_among(texts: Collection[str]) -> list[str]:
    """The texts that call a row a total.

    Parameters
    ----------
    texts : collection of str
        Distinct cells of a column.

    Returns
    -------
    list of str
        Those that do.
    """
    begun = set(map(_TWO, texts))
    if begun.isdisjoint(_BEGUN) or not bulk.any_among(_WORDS, texts):
        return []
    return [text for text in texts if text[:2].lower() in _BEGINNINGS and _TOTAL.fullmatch(text)]


def judge(
    totals: list[Total],
    last: Record | None,
    facts: list[ColumnFacts],
    blocks: Callable[[], Iterable[SortedBlock]],
) -> None:
    """Compare rows that look like sums with the sums of the rows above them.

    Parameters
    ----------
    totals : list of Total
        Rows that a word calls a total; a last row that adds up the others without a word joins them.
    last : Record or None
        The last row of the table.
    facts : list of ColumnFacts
        What each column holds.
    blocks : callable
        Gives the rows of the table anew, totals included.
    """
    suspect = _unlabelled(last, facts)
    if not totals and suspect is None:
        return
    numeric = [fact for fact in facts if fact.is_number]
    wanted = {total.row: total for total in [*totals, *([suspect] if suspect is not None else [])]}
    overall = {fact.index: Decimal(0) for fact in numeric}
    part = dict(overall)
    for block in blocks():
        begin = 0
        marks = [at for at, number in enumerate(block.numbers) if number in wanted]
        for at in [*marks, len(block.rows)]:
            for fact in numeric:
                added = _sum((row[fact.index] for row in block.rows[begin:at]), fact.likely_decimal)
                overall[fact.index] += added
                part[fact.index] += added
            begin = at + 1
            if at < len(block.rows):
                _compare(wanted[block.numbers[at]], numeric, overall, part)
                part = dict.fromkeys(part, Decimal(0))
    if suspect is not None and suspect.sums and not suspect.misses:
        totals.append(suspect)


def _sum(cells: Iterable[str], decimal: str) -> Decimal:
    total = Decimal(0)
    for text, count in Counter(cells).items():
        value = number_of(text, decimal) if text else None
        if value is not None:
            total += value * count
    return total


def _unlabelled(last: Record | None, facts: list[ColumnFacts]) -> Total | None:
    """The last row, where the cells that all others fill with words are blank in it."""
    if last is None or not facts or facts[0].rows < 3:
        return None
    words = [fact for fact in facts if not fact.is_number and fact.filled >= 0.6 * fact.rows]
    if words and not any(last.cells[fact.index] for fact in words):
        return Total(last.row, "", last.cells)
    return None


def _compare(total: Total, numeric: list[ColumnFacts], overall: dict[int, Decimal], part: dict[int, Decimal]) -> None:
    sums: list[str] = []
    misses: list[str] = []
    for fact in numeric:
        cell = total.cells[fact.index]
        value = number_of(cell, fact.likely_decimal) if cell else None
        if value is not None:
            agrees = value in (overall[fact.index], part[fact.index])
            (sums if agrees else misses).append(fact.header)
    total.sums, total.misses = tuple(sums), tuple(misses)
