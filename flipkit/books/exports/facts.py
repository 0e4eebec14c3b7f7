"""What one column of an export holds, gathered from all of its rows."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import islice

from flipkit.books.exports.dates import DateEvidence
from flipkit.imports.values import NOTHING, NumberEvidence

#: Words for "nothing" in the capitals that programs use.
_NOTHINGS = frozenset(way for word in NOTHING for way in (word, word.upper(), word.title(), word.capitalize()))
#: Distinct texts after which a column that is plainly no number or date is not tried any more.
_ENOUGH = 2_000
#: Distinct texts after which one mark or order, seen in no other way, is settled.
_PLENTY = 50_000


@dataclass(slots=True)
class ColumnFacts:
    """What one column of an export holds, from all of its rows.

    Parameters
    ----------
    index : int
        Its place, 0 for the first.
    header : str
        Its header, made different from the others.
    filled, rows : int
        Filled cells, and all.
    examples : list of str
        Its first distinct texts.
    numbers : NumberEvidence
        What it says as numbers.
    dates : DateEvidence
        What it says as dates.
    distinct : int
        Distinct texts, counted chunk by chunk (an upper bound).
    unique : bool
        Whether no filled cell repeats another.
    nothings : dict of str to int
        Words for "nothing" that stand in it.
    """

    index: int
    header: str
    filled: int = 0
    rows: int = 0
    examples: list[str] = field(default_factory=list)
    numbers: NumberEvidence = field(default_factory=NumberEvidence)
    dates: DateEvidence = field(default_factory=DateEvidence)
    distinct: int = 0
    unique: bool = True
    letters: int = 0
    nothings: dict[str, int] = field(default_factory=dict)
    _seen: set[int] = field(default_factory=set)
    _lettered: int = 0

    def add(self, cells: tuple[str, ...], distinct: dict[str, None]) -> None:
        """Take the cells of more rows into account.

        Parameters
        ----------
        cells : tuple of str
            The cells.
        distinct : dict of str to None
            The different ones, in the order of the cells; the blank one and words for "nothing" are taken out.
        """
        self.rows += len(cells)
        blanks = cells.count("") if "" in distinct else 0
        self.filled += len(cells) - blanks
        texts = distinct
        texts.pop("", None)
        if not texts:
            return
        self.distinct += len(texts)
        if self.unique:
            size = len(self._seen)
            self.unique = len(texts) == len(cells) - blanks
            if self.unique:
                self._seen.update(map(hash, texts))
                self.unique = len(self._seen) == size + len(texts)
            if not self.unique:
                self._seen = set()
        if len(self.examples) < 3:
            more = (text for text in texts if text not in self.examples)
            self.examples += islice(more, 3 - len(self.examples))
        for text in sorted(_NOTHINGS.intersection(texts)):
            self.nothings[text] = self.nothings.get(text, 0) + cells.count(text)
            texts.pop(text)
        if self._lettered < _ENOUGH:
            looked = list(islice(texts, _ENOUGH))
            self._lettered += len(looked)
            self.letters += sum(any(c.isalpha() for c in text) for text in looked)
        for evidence in (self.numbers, self.dates):
            tried = evidence.read + evidence.unread
            if tried < _ENOUGH:
                # A few tell whether the rest need be tried at all.
                evidence.add(islice(texts, _ENOUGH))
                tried = evidence.read + evidence.unread
                if evidence.read > 0.1 * tried:
                    evidence.add(islice(texts, _ENOUGH, None))
            elif evidence.read > 0.1 * tried:
                # What so many say of marks and orders is settled; of the rest a part is looked at,
                # and a text that says otherwise is refused when its row is read.
                settled = tried > _PLENTY and len(evidence.decisive) == 1
                evidence.add(islice(texts, _ENOUGH) if settled else texts)

    @property
    def is_number(self) -> bool:
        """Whether nearly all of its texts are numbers."""
        return self.numbers.read > 0 and self.numbers.read >= 0.9 * (self.numbers.read + self.numbers.unread)

    @property
    def is_date(self) -> bool:
        """Whether nearly all of its texts are dates, plain numbers that might be a day number aside."""
        real = self.dates.read - (self.dates.serials if self.is_number else 0)
        return real > 0 and self.dates.read >= 0.9 * (self.dates.read + self.dates.unread)

    @property
    def may_be_date(self) -> bool:
        """Whether nearly all of its texts could be dates, day numbers included."""
        return self.dates.read > 0 and self.dates.read >= 0.9 * (self.dates.read + self.dates.unread)

    @property
    def likely_decimal(self) -> str:
        """The decimal mark that its numbers speak for; a point where they do not say."""
        decisive = list(self.numbers.decisive)
        if len(decisive) == 1:
            return decisive[0]
        return "," if self.numbers.grouped == "." else "."
