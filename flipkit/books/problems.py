"""What is wrong, or worth knowing, in the books: one record a finding."""

from __future__ import annotations

import contextlib
import difflib
import gc
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

# What is wrong, or worth knowing, in the seller's books: one record a finding.

Severity = Literal["stop", "note"]

#: Longest piece of a cell that a message repeats; a cell can hold a whole pasted page.
_LONGEST = 60
#: So many alike findings are told one by one.
_ALIKE = 3
#: What a cell can fail to be; other findings are told in words of their own.
_KIND = re.compile(r"(?:an amount|a (?:whole |finite )?number|a (?:date|month|measure|name|rate)|one of|in [A-Z]{3})\b")


@dataclass(frozen=True, slots=True)
class Problem:
    """One finding: where, what was found, what is needed, how to mend it.

    >>> print(Problem("items.csv", 17, "cost", "-5", "an amount of at least 0", "write 5.00"))
    items.csv row 17, column cost: "-5" isn't an amount of at least 0; write 5.00
    """

    file: str
    row: int | None
    column: str
    found: str
    needed: str
    mend: str
    severity: Severity = "stop"

    @property
    def where(self) -> str:
        """File, row and column in words."""
        return located(self.file, self.row, self.column)

    def __str__(self) -> str:
        return f"{self.where}: {self.sentence}"

    @property
    def sentence(self) -> str:
        """What is wrong and how to mend it, in words.

        >>> print(Problem("items.csv", 4, "sold_price", "", "what the buyer paid", "fill it in").sentence)
        this is blank. It needs what the buyer paid: fill it in
        """
        if self.found and _KIND.match(self.needed):
            return f'"{self.found}" isn\'t {self.needed}' + (f"; {self.mend}" if self.mend else "")
        found = f'"{self.found}"' if self.found and " " not in self.found else self.found
        found = found or ("this is missing" if self.row is None else "this is blank")
        text = f"{found}. {'It needs' if self.severity == 'stop' else 'Expected'} {self.needed}"
        return f"{text}: {self.mend}" if self.mend else text


def located(file: str, row: int | None, column: str) -> str:
    """File, row and column in words.

    >>> located("items.csv", 17, "cost")
    'items.csv row 17, column cost'
    """
    text = file if row is None else f"{file} row {row}"
    return f"{text}, column {column}" if column else text


def shortened(text: str, most: int = _LONGEST) -> str:
    r"""A text on one line and no longer than a message should repeat.

    >>> shortened("abc\ndef", most=5)
    'abc …'
    """
    head = text[: most + 1]
    flat = "".join(c if c.isprintable() else " " for c in head)
    return flat if len(flat) <= most else flat[: most - 1] + "…"


def rows_in_words(rows: Sequence[int], most: int = 8) -> str:
    """Row numbers as words, the first few and a count of the rest.

    >>> rows_in_words([2]), rows_in_words([2, 5, 9], most=2)
    ('row 2', 'rows 2, 5 and 1 more')
    """
    if len(rows) == 1:
        return f"row {rows[0]}"
    named = ", ".join(str(row) for row in rows[:most])
    more = len(rows) - most
    return f"rows {named} and {more} more" if more > 0 else f"rows {named}"


def folded(problems: Iterable[Problem]) -> list[str]:
    """Findings as lines, alike ones folded into one line that names their rows.

    >>> lines = folded([Problem("items.csv", r, "cost", "?", "an amount", "") for r in (2, 3, 4, 5)])
    >>> print(lines[0])
    items.csv, column cost: 4 times (rows 2, 3, 4, 5): "?" isn't an amount
    """
    groups: dict[tuple[str, str, str, str], list[Problem]] = {}
    for problem in problems:
        groups.setdefault((problem.file, problem.column, problem.needed, problem.severity), []).append(problem)
    lines: list[str] = []
    for members in groups.values():
        rows = [p.row for p in members if p.row is not None]
        if len(members) <= _ALIKE or len(rows) < len(members):
            lines += [str(p) for p in members]
            continue
        first = members[0]
        place = f"{located(first.file, None, first.column)}: {len(members)} times ({rows_in_words(rows)})"
        which = ":" if len({p.found for p in members}) == 1 else f"; row {first.row}:"
        lines.append(f"{place}{which} {first.sentence}")
    return lines


def near(word: str, known: Iterable[str], *, cutoff: float = 0.6) -> str:
    """The name that a word is a slip of; empty where none is near enough.

    >>> near("tripid", ["item_id", "trip_id"])
    'trip_id'
    """
    return next(iter(difflib.get_close_matches(word, list(known), n=1, cutoff=cutoff)), "")


def meant(word: str, known: Iterable[str], otherwise: str = "", *, cutoff: float = 0.6) -> str:
    """How to mend a name that is none of those known: the one that it is near, or something else to do."""
    found = near(word, known, cutoff=cutoff)
    return f"did you mean {found}?" if found else otherwise


def plain_header(header: str) -> str:
    """A header as the tables spell it: lower case, words joined by underscores.

    >>> plain_header(" Bought on "), plain_header("Item-ID")
    ('bought_on', 'item_id')
    """
    return "_".join(header.strip().lower().replace("-", " ").replace("_", " ").split())


class Findings:
    """A list of problems under construction, with the file named once."""

    def __init__(self, file: str, into: list[Problem] | None = None) -> None:
        self.file = file
        self.problems: list[Problem] = [] if into is None else into
        stops = (p for p in self.problems if p.file == file and p.severity == "stop" and p.row is not None)
        self._told = {(p.row, plain_header(p.column)) for p in stops if p.column}

    def told(self, column: str) -> list[int]:
        """Rows whose cell in that column has already been found wrong."""
        return [row for row, name in self._told if name == column and row is not None]

    def stop(self, row: int | None, column: str, found: object, needed: str, mend: str = "") -> None:
        """Record a finding that keeps the books from being read; one a cell is enough."""
        cell = (row, plain_header(column))
        if row is not None and column:
            if cell in self._told:
                return
            self._told.add(cell)
        self.problems.append(Problem(self.file, row, column, shortened(str(found)), needed, mend, "stop"))

    def note(self, row: int | None, column: str, found: object, needed: str, mend: str = "") -> None:
        """Record a finding that is told and listed, and stops nothing."""
        self.problems.append(Problem(self.file, row, column, shortened(str(found)), needed, mend, "note"))


# The garbage collector held while many rows are made: none of them is garbage yet.


@contextlib.contextmanager
def collector_held() -> Iterator[None]:
    """Hold the cyclic collector inside a block; it would walk over every row again and again."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()
