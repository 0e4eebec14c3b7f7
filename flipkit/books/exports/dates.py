"""Dates as other programs write them: what they can mean, what settles it, and the day itself.

A date that reads both ways is never settled here: the readings that fit every date of a column
are counted, and where two are left that differ, the seller is asked.
"""

from __future__ import annotations

import datetime as dt
import functools
import re
from collections.abc import Iterable
from dataclasses import dataclass, field

#: The orders of day, month and year, by the word that options and mappings use.
ORDERS = ("day-month-year", "month-day-year", "year-month-day")
#: Locales whose month names are understood.
LOCALES = ("en", "de", "fr", "es", "it", "pt", "nl", "sv", "da", "nb", "fi", "pl", "cs", "hu", "ro", "tr")
#: Dates outside are slips of a finger.
FIRST_YEAR, LAST_YEAR = 1970, 2100
#: Two-digit years up to here lie in this century.
LAST_SHORT_YEAR = 69

_TIME = re.compile(
    r"(?:T|,?\s+|\s*\bat\s+)(?P<clock>\d{1,2}[:.]\d{2}(?:[:.]\d{2}(?:[.,]\d+)?)?)\s*(?:[AaPp]\.?\s?[Mm]\.?)?"
    r"\s*(?:Z|[A-Z]{2,5}|(?:UTC|GMT)?[+-]\d{1,2}:?(?:\d{2})?)?(?:\s*\([^)]*\))?$"
)
_NUMERIC = re.compile(r"(\d{1,4})\s*([-./ ])\s*(\d{1,2})\s*\2\s*(\d{1,4})\.?", re.ASCII)
_COMPACT = re.compile(r"(19|20|21)[0-9]{6}")
_SERIAL = re.compile(r"[2-7][0-9]{4}(?:\.[0-9]+)?")
_WORD = re.compile(r"[^\W\d_]+")
_DIGITS = re.compile(r"[0-9]+")


@dataclass(frozen=True, slots=True)
class Reading:
    """What one text can mean as a date.

    Parameters
    ----------
    days : dict of str to date
        The day under each order that fits; a text that reads one way only has it under all.
    plain : bool
        Whether it reads one way whatever the order.
    short_year : bool
        Whether its year has two digits.
    serial : bool
        Whether it is a spreadsheet's day number.
    clock : bool
        Whether a time of day stands behind it.
    """

    days: dict[str, dt.date]
    plain: bool = False
    short_year: bool = False
    serial: bool = False
    clock: bool = False


@dataclass(slots=True)
class DateEvidence:
    """What the dates of a column say about their order, gathered one distinct text at a time.

    Parameters
    ----------
    read : int
        Texts that are a date under some order.
    unread : int
        Texts that are none.
    fits : dict of str to int
        How many texts each order fits.
    decisive : dict of str to str
        For each order, a text that only it fits.
    differing : str
        A text that reads as two days under two orders; empty when none does.
    short_years, serials, clocks : int
        How many texts have a two-digit year, are a day number, carry a time of day.
    """

    read: int = 0
    unread: int = 0
    fits: dict[str, int] = field(default_factory=lambda: dict.fromkeys(ORDERS, 0))
    decisive: dict[str, str] = field(default_factory=dict)
    differing: str = ""
    plain: int = 0
    short_years: int = 0
    serials: int = 0
    clocks: int = 0

    def add(self, texts: Iterable[str]) -> None:
        """Take more distinct texts into account.

        Parameters
        ----------
        texts : iterable of str
            Cells that are not blank.
        """
        for text in texts:
            reading = read_date(text)
            if reading is None:
                self.unread += 1
                continue
            self.read += 1
            self.short_years += reading.short_year
            self.serials += reading.serial
            self.clocks += reading.clock
            if reading.plain:
                self.plain += 1
                continue
            for order in reading.days:
                self.fits[order] += 1
            if len(reading.days) == 1:
                self.decisive.setdefault(next(iter(reading.days)), text)
            elif not self.differing and len(set(reading.days.values())) > 1:
                self.differing = text

    @property
    def orders(self) -> tuple[str, ...]:
        """The orders that fit every date whose order matters."""
        ordered = self.read - self.plain
        return tuple(order for order in ORDERS if self.fits[order] == ordered)

    @property
    def matters(self) -> bool:
        """Whether the order changes any day."""
        return bool(self.differing) or bool(self.decisive)


@functools.cache
def _months() -> dict[str, int]:
    from babel import Locale

    known: dict[str, int] = {}
    clash: set[str] = set()
    for name in LOCALES:
        locale = Locale.parse(name)
        for context in ("format", "stand-alone"):
            for width in ("wide", "abbreviated"):
                for number, word in locale.months[context][width].items():
                    plain = word.casefold().strip(". ")
                    if known.setdefault(plain, number) != number:
                        clash.add(plain)
    known["sept"] = 9
    return {word: number for word, number in known.items() if word not in clash and not word.isdigit()}


@functools.cache
def _day_words() -> frozenset[str]:
    from babel import Locale

    words = {"de", "of", "the", "den", "le", "el", "del", "th", "st", "nd", "rd"}
    for name in LOCALES:
        days = Locale.parse(name).days
        for context in ("format", "stand-alone"):
            for width in ("wide", "abbreviated"):
                for word in days[context][width].values():
                    words.update(_WORD.findall(word.casefold()))
    return frozenset(words)


@functools.lru_cache(maxsize=200_000)
def read_date(text: str) -> Reading | None:
    """What a text can mean as a date.

    Parameters
    ----------
    text : str
        A cell.

    Returns
    -------
    Reading or None
        The days that it can mean, by order; None where it is no date at all.

    Examples
    --------
    >>> sorted(read_date("03/04/2026").days)
    ['day-month-year', 'month-day-year']
    >>> read_date("7 Mar 2026, 10:15").days["day-month-year"].isoformat()
    '2026-03-07'
    >>> read_date("soon") is None
    True
    """
    if not 5 <= len(text) <= 60:
        return None
    body, clock = text, False
    match = _TIME.search(text)
    if match is not None and match.start() > 0:
        body, clock = text[: match.start()].strip(" ,"), True
    numeric = _NUMERIC.fullmatch(body)
    if numeric is not None:
        return _numeric(numeric, clock)
    if _COMPACT.fullmatch(body):
        return _one(_day(int(body[:4]), int(body[4:6]), int(body[6:])), clock=clock)
    if _SERIAL.fullmatch(body):
        return _one(dt.date(1899, 12, 30) + dt.timedelta(days=int(float(body))), serial=True)
    if any(c.isalpha() for c in body):
        return _named(body, clock)
    return None


def _one(day: dt.date | None, *, short: bool = False, serial: bool = False, clock: bool = False) -> Reading | None:
    if day is None:
        return None
    return Reading(dict.fromkeys(ORDERS, day), plain=True, short_year=short, serial=serial, clock=clock)


def _day(year: int, month: int, day: int) -> dt.date | None:
    try:
        made = dt.date(year, month, day)
    except ValueError:
        return None
    return made if FIRST_YEAR <= year <= LAST_YEAR else None


def _full(year: str) -> int:
    if len(year) > 2:
        return int(year)
    return int(year) + (2000 if int(year) <= LAST_SHORT_YEAR else 1900)


def _numeric(match: re.Match[str], clock: bool) -> Reading | None:
    a, b, c = match.group(1), match.group(3), match.group(4)
    if len(a) == 4:
        return _one(_day(int(a), int(b), int(c)), clock=clock) if len(c) <= 2 else None
    if len(a) == 3 or len(c) not in (2, 4):
        return None
    ways = {"day-month-year": (c, b, a), "month-day-year": (c, a, b)}
    if len(c) == 2 and len(a) == 2 and len(b) == 2:
        ways["year-month-day"] = (a, b, c)
    days = {order: _day(_full(y), int(m), int(d)) for order, (y, m, d) in ways.items()}
    fitting = {order: day for order, day in days.items() if day is not None}
    if not fitting:
        return None
    return Reading(fitting, short_year=len(c) == 2, clock=clock)


def _named(body: str, clock: bool) -> Reading | None:
    months = _months()
    month = 0
    for word in _WORD.findall(body):
        plain = word.casefold()
        if plain in months and not month:
            month = months[plain]
        elif plain not in _day_words():
            return None
    numbers = _DIGITS.findall(body)
    if not month or len(numbers) != 2:
        return None
    first, second = numbers
    if len(first) == 4:
        return _one(_day(int(first), month, int(second)), clock=clock)
    if len(second) == 4 or (len(second) == 2 and len(first) <= 2):
        return _one(_day(_full(second), month, int(first)), short=len(second) == 2, clock=clock)
    return None


def day_of(text: str, order: str) -> dt.date | None:
    """The day that a text names under an order.

    Parameters
    ----------
    text : str
        A cell.
    order : str
        One of `ORDERS`.

    Returns
    -------
    date or None
        The day; None where the text is no date in that order.

    Examples
    --------
    >>> day_of("03/04/2026", "month-day-year").isoformat()
    '2026-03-04'
    >>> day_of("13/04/2026", "month-day-year") is None
    True
    """
    reading = read_date(text)
    return None if reading is None else reading.days.get(order)
