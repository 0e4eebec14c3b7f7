"""Numbers, dates and header words as other programs write them."""

from __future__ import annotations

import datetime as dt
import functools
import importlib.resources
import itertools
import re
import tomllib
import unicodedata
from collections import Counter
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from flipkit.books import cells, schema
from flipkit.imports import ANSWERS
from flipkit.money import SYMBOLS

# Numbers as other programs write them: marks, signs, brackets, currencies, and what settles them.
#
# ``1,234`` is a thousand or a little over one. Only marks that read one way settle a column; where none does, the
# seller is asked.


@functools.cache
def _file() -> dict[str, Any]:
    text = importlib.resources.files("flipkit.imports").joinpath("words.toml").read_text(encoding="utf-8")
    words: dict[str, Any] = tomllib.loads(text)
    return words


#: Decimal marks, by the word that options and mappings use.
DECIMALS = {"point": ".", "comma": ","}
MARK_WORDS = {mark: word for word, mark in DECIMALS.items()}
#: Texts that programs write where there is nothing.
NOTHING = frozenset(_file()["nothing"])
#: Currencies that a sign or a word beside an amount can mean, the likeliest first.
SIGNS: dict[str, tuple[str, ...]] = dict.fromkeys(SYMBOLS.values(), ())
for _code, _sign in SYMBOLS.items():
    SIGNS[_sign] += (_code,)
SIGNS |= {sign: (code,) for sign, code in _file()["signs"].items()}
_WHOLE = re.compile(
    r"(?P<open>\()?\s*(?P<sign>[-+−–])?\s*(?P<before>S?Fr\.|[^0-9\s.,()+−–-]{1,4}|[A-Z]{3})?\s*(?P<inner>[-+−])?\s*"
    r"(?P<body>(?:[0-9][0-9.,'’\u00a0\u202f\u2009 ]*)?[0-9][.,]?|[.,][0-9]+)\s*"
    r"(?P<behind>[-−](?=\s*[^\s\d)]))?\s*(?P<after>(?!CR\b|DR\b)(?:[^0-9\s.,()+−–%-]{1,4}|[A-Z]{3}))?\s*"
    r"(?P<percent>%)?\s*(?P<trail>[-−]|CR|DR)?\s*(?P<close>\))?"
)
#: A stroke where the cents would stand: 40.- and 12,--.
_NO_CENTS = re.compile(r"(?<=\d)[.,]\s?(?:--?|[–—])(?=\s*(?:[^\d\s]{1,4})?\s*\)?$)")
_SPACES = str.maketrans("", "", "'’\u00a0\u202f\u2009 ")
_PLAIN = re.compile(r"-?[0-9]{1,15}(?:\.[0-9][0-9]?|\.[0-9]{4,9})?")


@dataclass(frozen=True, slots=True)
class Written:
    """One number as it is written."""

    negative: bool
    body: str
    currency: str
    percent: bool
    decimal: str
    doubtful: str


def read_written(text: str) -> Written | None:
    """A number as it is written, before its marks are settled.

    >>> read_written("(1.234,50 €)").decimal, read_written("1,234").doubtful
    (',', ',')
    >>> read_written("12 in") is None
    True
    """
    if len(text) > 40:
        return None
    if _PLAIN.fullmatch(text):
        return Written(text[0] == "-", text.lstrip("-"), "", False, "." if "." in text else "", "")
    match = _WHOLE.fullmatch(_NO_CENTS.sub("", text) if text[-1:] not in "0123456789" else text)
    if match is None or (match["open"] is None) != (match["close"] is None):
        return None
    currency = ""
    affixes = [affix for affix in (match["before"], match["after"]) if affix is not None]
    if len(affixes) == 2 and not any(affix.isalpha() for affix in affixes):
        return None
    for affix in affixes:
        code = _currency(affix.strip())
        if code is None or (currency and code and code != currency):
            return None
        currency = code or currency
    marks = [match[name] for name in ("sign", "inner", "behind", "trail")]
    minus = sum(mark in ("-", "−", "–", "DR") for mark in marks if mark)
    if minus > 1 or (minus and match["open"]):
        return None
    body = match["body"].translate(_SPACES)
    if match["body"] != body and not _spaced(match["body"]):
        return None
    settled = _marks(body, spaced=match["body"] != body)
    if settled is None:
        return None
    return Written(bool(minus or match["open"]), body, currency, bool(match["percent"]), *settled)


def _currency(affix: str) -> str | None:
    """Code of a currency sign or word; the sign itself where several share it; None for any other word."""
    if affix in SIGNS:
        return SIGNS[affix][0] if len(SIGNS[affix]) == 1 else affix
    return affix if len(affix) == 3 and affix.isupper() and affix in _codes() else None


def fits_currency(written: str, currency: str) -> bool:
    """Whether a sign or code beside an amount can mean a currency.

    >>> fits_currency("$", "CAD"), fits_currency("$", "EUR"), fits_currency("", "EUR")
    (True, False, True)
    """
    return written in ("", currency) or currency in SIGNS.get(written, ())


@functools.cache
def _codes() -> frozenset[str]:
    from babel.numbers import list_currencies

    return frozenset(list_currencies())


def currency_of(text: str) -> str | None:
    """The currency that a cell names by its code or its sign, if it does."""
    return _currency(text.strip().upper() if len(text) == 3 else text.strip()) if text else None


def _spaced(body: str) -> bool:
    """Whether spaces or apostrophes inside a number stand between groups of three."""
    head = re.split(r"[.,]\d*$", body)[0]
    return re.fullmatch(r"\d{1,3}(?:['’\u00a0\u202f\u2009 ]\d{3})+", head) is not None


def _marks(body: str, *, spaced: bool) -> tuple[str, str] | None:
    """The mark that must be the decimal one, and the mark in doubt."""
    points, commas = body.count("."), body.count(",")
    if not points and not commas:
        return "", ""
    if points and commas:
        decimal = max(".,", key=body.rfind)
        thousands = "," if decimal == "." else "."
        whole, part = body.rsplit(decimal, 1)
        if decimal in whole or not _grouped(whole, thousands):
            return None
        return decimal, ""
    mark = "." if points else ","
    if points + commas > 1:
        return ("," if mark == "." else ".", "") if _grouped(body, mark) else None
    whole, part = body.split(mark)
    if len(part) == 3 and 1 <= len(whole) <= 3 and whole.strip("0") and not whole.startswith("0") and not spaced:
        return "", mark
    return mark, ""


def _grouped(whole: str, mark: str) -> bool:
    """Groups of three behind the first, or of two with a last of three."""
    return re.fullmatch(rf"\d{{1,3}}(?:\{mark}\d{{3}})+|\d{{1,2}}(?:\{mark}\d{{2}})+\{mark}\d{{3}}", whole) is not None


def _shapes(texts: Iterable[str]) -> dict[tuple[bytes, bool, bool], tuple[str, int]]:
    """Texts by their shape, whether they are zero and begin with a zero: one of each, and how many."""
    given = list(texts)
    found: dict[tuple[bytes, bool, bool], tuple[str, int]] = {}
    marked = cells.shapes_of(given)
    if marked is None:
        return {(text.encode(), False, False): (text, 1) for text in given}
    one = dict(zip(marked, given, strict=True))
    for shape, count in Counter(marked).items():
        above, none = shape.find(b"9"), shape.find(b"0")
        key = (shape.replace(b"0", b"9"), above < 0, 0 <= none < above or above < 0)
        text, before = found.get(key, (one[shape], 0))
        found[key] = (text, before + count)
    return found


@dataclass(slots=True)
class Evidence:
    """How many of a column's distinct texts could be read, and in which ways those whose way matters."""

    read: int = 0
    unread: int = 0
    marked: int = 0
    fits: dict[str, int] = field(default_factory=dict)
    decisive: dict[str, str] = field(default_factory=dict)
    differing: str = ""

    def note(self, text: str, ways: Collection[str], *, count: int = 1, differ: bool = True) -> None:
        """Take texts into account that some ways read, and whether those read them differently."""
        self.marked += count
        for way in ways:
            self.fits[way] += count
        if len(ways) == 1:
            self.decisive.setdefault(next(iter(ways)), text)
        elif differ and not self.differing:
            self.differing = text

    @property
    def ways(self) -> tuple[str, ...]:
        """The ways that fit every text whose way matters."""
        return tuple(way for way, count in self.fits.items() if count == self.marked)

    @property
    def matters(self) -> bool:
        """Whether the way changes any text."""
        return bool(self.differing) or bool(self.decisive)

    @property
    def mostly(self) -> bool:
        """Whether nearly all could."""
        return self.read > 0 and self.read >= 0.9 * (self.read + self.unread)


@dataclass(slots=True)
class NumberEvidence(Evidence):
    """What the numbers of a column say about their marks, gathered one distinct text at a time."""

    fits: dict[str, int] = field(default_factory=lambda: dict.fromkeys(".,", 0))
    doubtful: set[str] = field(default_factory=set)
    below_thousand: int = 0
    from_thousand: int = 0
    with_part: int = 0
    percents: int = 0
    negatives: int = 0
    positives: int = 0
    currencies: dict[str, int] = field(default_factory=dict)

    def add(self, texts: Iterable[str]) -> None:
        """Take more distinct texts into account."""
        # Texts that differ in their digits alone say the same about marks: one of each is read.
        for (_, zero, _), (text, count) in _shapes(texts).items():
            written = read_written(text)
            if written is None:
                self.unread += count
                continue
            self.read += count
            self.percents += count * written.percent
            self.negatives += count * (written.negative and not zero)
            self.positives += count * (not written.negative and not zero)
            if written.currency:
                self.currencies[written.currency] = self.currencies.get(written.currency, 0) + count
            if written.decimal or written.doubtful:
                self.note(text, written.decimal or ".,", count=count)
                self.with_part += count * bool(written.decimal)
                self.doubtful |= {written.doubtful} - {""}
            elif len(written.body) > 3:
                self.from_thousand += count
            elif not zero:
                self.below_thousand += count

    @property
    def grouped(self) -> str:
        """The mark in doubt that can only group thousands, by how the whole column is written.

        Every number of a thousand and more carries it, none below does, and no number has a
        part: a decimal mark would not know where the thousand begins.
        """
        if len(self.doubtful) != 1 or self.with_part or self.from_thousand:
            return ""
        return next(iter(self.doubtful)) if self.below_thousand >= 3 and self.marked >= 3 else ""

    @property
    def ways(self) -> tuple[str, ...]:
        """The decimal marks that fit every number: not the one that groups thousands."""
        return tuple(mark for mark, count in self.fits.items() if count == self.marked and mark != self.grouped)


def number_of(text: str, decimal: str) -> Decimal | None:
    """The number that a text names, exactly, under a decimal mark.

    >>> number_of("(1.234,50 €)", ","), number_of("1,234", "."), number_of("12,5", ".") is None
    (Decimal('-1234.50'), Decimal('1234'), True)
    """
    written = read_written(text)
    if written is None or (written.decimal and written.decimal != decimal):
        return None
    thousands = "," if decimal == "." else "."
    body = written.body.replace(thousands, "").replace(decimal, ".")
    value = Decimal(body.rstrip(".") if not body.startswith(".") else f"0{body}")
    return -value if written.negative else value


class PlainNumbers:
    """Turns texts into plain decimals under one decimal mark, those of a known shape at once."""

    def __init__(self, decimal: str, currency: str) -> None:
        self._decimal = decimal
        self._currency = currency
        self._known: dict[bytes, tuple[str, ...] | None] = {}

    def cents(self, texts: Collection[str]) -> list[str] | None:
        """Amounts that are not negative and have two decimals, as the books write them."""
        shapes = cells.shapes_of(texts)
        if shapes is None:
            return None
        one = dict(zip(shapes, texts, strict=True))
        marks: set[str] = set()
        for shape, text in one.items():
            if shape not in self._known:
                self._known[shape] = self._marks(text) if text else ()
            found = self._known[shape]
            if found is None:
                return None
            marks.update(found)
        plain = "\n".join(texts)
        for mark in marks:
            plain = plain.replace(mark, "")
        if self._decimal == ",":
            plain = plain.replace(",", ".")
        return plain.split("\n")

    def _marks(self, text: str) -> tuple[str, ...] | None:
        """The characters to take away from texts of this shape; None where it is no plain amount."""
        written = read_written(text)
        if written is None or written.negative or written.percent or written.decimal != self._decimal:
            return None
        if not fits_currency(written.currency, self._currency):
            return None
        whole, _, part = written.body.rpartition(self._decimal)
        if len(part) != 2 or not whole or len(whole) > 9 or (whole[0] == "0" and len(whole) > 1):
            return None
        return tuple(sorted({c for c in text if not c.isdigit() and c != self._decimal}))


# Dates as other programs write them: what they can mean, what settles it, and the day itself.
#
# A date that reads both ways is never settled here: the readings that fit every date of a column are counted, and
# where two are left that differ, the seller is asked.

#: The orders of day, month and year, by the word that options and mappings use.
ORDERS = tuple(ANSWERS["dates"][1])
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
    """What one text can mean as a date."""

    days: dict[str, dt.date]
    plain: bool = False
    short_year: bool = False
    serial: bool = False
    clock: bool = False


@dataclass(slots=True)
class DateEvidence(Evidence):
    """What the dates of a column say about their order, gathered one distinct text at a time."""

    fits: dict[str, int] = field(default_factory=lambda: dict.fromkeys(ORDERS, 0))
    short_years: int = 0
    serials: int = 0
    clocks: int = 0
    yearless: int = 0

    def add(self, texts: Iterable[str]) -> None:
        """Take more distinct texts into account."""
        for text in texts:
            reading = read_date(text)
            if reading is None and len(text) <= 16 and any(map(str.isalpha, text)) and day_of(text, ORDERS[0], "2024"):
                # A month and a day whose year is asked for.
                self.read += 1
                self.yearless += 1
                continue
            if reading is None:
                self.unread += 1
                continue
            self.read += 1
            self.short_years += reading.short_year
            self.serials += reading.serial
            self.clocks += reading.clock
            if not reading.plain:
                self.note(text, reading.days, differ=len(set(reading.days.values())) > 1)


def _calendar(kind: str) -> Iterator[tuple[int, str]]:
    """The names of months or days in every language, each with its number."""
    from babel import Locale

    for name in LOCALES:
        held = getattr(Locale.parse(name), kind)
        for context, width in itertools.product(("format", "stand-alone"), ("wide", "abbreviated")):
            yield from ((number, word.casefold().strip(". ")) for number, word in held[context][width].items())


@functools.cache
def _months() -> dict[str, int]:
    known: dict[str, int] = {}
    clash = {word for number, word in _calendar("months") if known.setdefault(word, number) != number}
    return {word: n for word, n in known.items() if word not in clash and not word.isdigit()} | {"sept": 9}


@functools.cache
def _day_words() -> frozenset[str]:
    words = {"de", "of", "the", "den", "le", "el", "del", "th", "st", "nd", "rd"}
    return frozenset(words.union(*(_WORD.findall(word) for _, word in _calendar("days"))))


def read_date(text: str) -> Reading | None:
    """What a text can mean as a date.

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


def day_of(text: str, order: str, year: str = "") -> dt.date | None:
    """The day that a text names under an order; a text without a year lies in the one given.

    >>> day_of("03/04/2026", "month-day-year").isoformat()
    '2026-03-04'
    >>> day_of("13/04/2026", "month-day-year") is None
    True
    """
    reading = read_date(text)
    if reading is None and year:
        bare = text.rstrip("./- ")
        mark = next((c for c in bare if c in "./-"), " ")
        reading = read_date(f"{bare}{' ' if any(map(str.isalpha, bare)) else mark}{year}")
    return None if reading is None else reading.days.get(order)


# The words that spreadsheets and exports use for the columns of the books.
#
# The words themselves stand in ``words.toml``: only the trade's own, what people write over a column.

#: Tables that a conversion can fill, beside those of the books: labels go to the items they posted.
LABELS = "labels"
_LANGUAGES = ("de", "fr", "es", "it", "nl", "pl")

#: How a thing leaves the stock without a sale, and the word for one that its buyer fetches.
GONE = ("donated", "scrapped", "kept")
COLLECTED = "collected"
#: The word for one that is still there.
UNSOLD = "unsold"

#: Units that are words of their own, which need a measure before them.
_DOUBTFUL = frozenset(["in", "g", "h", "s", "m", "ore", "min"])
_IN_BRACKETS = re.compile(r"[(\[]\s*([a-z]+)\.?\s*[)\]]\s*$")
_SIDES = frozenset(
    ["length", "width", "height", "depth", "l", "w", "h", "size", "girth", "weight", "wt", "time", "duration"]
)
_CURRENCY = re.compile(r"[$€£¥]|\b(?:usd|eur|gbp|cad|aud|nzd|chf|sek|nok|dkk|pln|czk|jpy)\b")


@functools.cache
def known_words() -> dict[str, dict[str, list[str]]]:
    """The words over each column of each table that a conversion can fill, those of every language."""
    known: dict[str, dict[str, list[str]]] = {}
    for table in tables():
        known[table] = {column: list(words) for column, words in _file()[table].items()}
    for language in _LANGUAGES:
        for table, columns in _file()[language].items():
            for column, words in columns.items():
                known[table][column] += words
    return known


@functools.cache
def by_word(section: str) -> dict[str, str]:
    """The words of a section of the list of words, each with what it means."""
    return {
        plain_words(word): meaning.removeprefix("=") for meaning, words in _file()[section].items() for word in words
    }


@functools.cache
def _pattern(kind: str) -> re.Pattern[str]:
    return re.compile(rf"\b(?:{'|'.join(_file()['headers'][kind])})\b", re.IGNORECASE)


def says(kind: str, words: str) -> bool:
    """Whether a text says one of the things that the list of words has for headers.

    >>> says("each", "unit price"), says("each", "united"), says("void", "Cancelled by buyer")
    (True, False, True)
    """
    return _pattern(kind).search(words) is not None


@functools.cache
def with_gone(section: str) -> dict[str, str]:
    """The words of a section and those for how a thing leaves the stock unsold, each with what it means."""
    ways = {how: how for how in GONE} | {word: how for word, how in by_word("choices").items() if how in GONE}
    return ways | by_word(section)


def state_of(text: str) -> str:
    """Whether a word says that a thing is sold, unsold, kept and so on, or just yes or no; empty for any other."""
    return with_gone("states").get(plain_words(text)) or ("void" if says("void", text) else "")


def says_several(title: str) -> bool:
    """Whether a title speaks of several things.

    >>> says_several("Lot of 4 cups"), says_several("Lotus vase"), says_several("3 x spoon")
    (True, False, True)
    """
    words = plain_words(title).split()
    return (
        not by_word("several").keys().isdisjoint(words)
        or re.search(r"\b(?:\d+ ?x|x ?\d+)\b", " ".join(words)) is not None
    )


def direction_of(text: str) -> str:
    """Whether a word of a bank list says that money went out or came in; empty for any other."""
    return by_word("directions").get(plain_words(text), "")


_PLAIN_LETTERS = str.maketrans({"ł": "l", "ø": "o", "æ": "ae", "ı": "i", "đ": "d"})


def unaccented(text: str) -> str:
    """A text in small plain letters.

    >>> unaccented("Größe"), unaccented("Sprzedaż")
    ('grosse', 'sprzedaz')
    """
    letters = unicodedata.normalize("NFKD", text.casefold().translate(_PLAIN_LETTERS))
    return "".join(c for c in letters if not unicodedata.combining(c))


def plain_words(text: str) -> str:
    """The words of a text in small plain letters, without marks."""
    return " ".join(re.sub(r"[^\w]+", " ", unaccented(text)).split())


@dataclass(frozen=True, slots=True)
class Heading:
    """A header in plain words."""

    words: str
    unit: str
    currency: str


@functools.lru_cache(maxsize=10_000)
def heading(header: str) -> Heading:
    """A header in plain words.

    >>> heading("Package Weight (oz)"), heading("sale_price USD").currency
    (Heading(words='package weight', unit='oz', currency=''), 'USD')
    """
    text = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", header)
    text = re.sub(r"\s\(\d+\)$", "", text).lower().replace("#", " number ").replace("&", " and ")
    text = re.sub(r"\bn(?:[°º]|\.\s?º)|\bnr\b\.?|№", " number ", text)
    currency = ""
    for found in _CURRENCY.findall(text):
        currency = found.upper() if len(found) == 3 else {"€": "EUR", "£": "GBP"}.get(found, currency)
    text = _CURRENCY.sub(" ", text)
    bracketed = _IN_BRACKETS.search(text)
    words = re.sub(r"[^\w]+|_", " ", unaccented(text)).split()
    unit = ""
    doubtful = not _SIDES.intersection(words[:-1]) and bracketed is None
    if len(words) > 1 and words[-1] in by_word("units") and not (words[-1] in _DOUBTFUL and doubtful):
        unit = by_word("units")[words.pop()]
    elif len(words) == 1 and words[0] not in _DOUBTFUL:
        unit = by_word("units").get(words[0], "")
    return Heading(" ".join(words), unit, currency)


#: A score from which a header is the column's own word, and one from which it is a fair guess.
CERTAIN, FAIR = 95.0, 60.0
#: The score of a weak word.
WEAK = 64.0


@functools.lru_cache(maxsize=20_000)
def likenesses(words: str) -> dict[tuple[str, str], float]:
    """How well a header's words fit each column that they fit at all, from 0 to 100.

    >>> likenesses("purchase date")["items", "bought_on"] >= CERTAIN
    True
    >>> FAIR <= likenesses("date of purchase of item")["items", "bought_on"] < CERTAIN
    True
    """
    from rapidfuzz import fuzz, process

    found: dict[tuple[str, str], float] = {}
    if not words:
        return found
    index = _index()

    def take(word: str, score: float) -> None:
        for column, own in index[word]:
            found[column] = max(found.get(column, 0.0), min(own if score == 100.0 else score, 100.0))

    # Short words that differ in a letter are other words.
    near = 86.0 if len(words) > 5 else 100.0
    for word, score, _ in process.extract(words, list(index), scorer=fuzz.ratio, score_cutoff=near, limit=20):
        if score == 100.0:
            take(word, 100.0)
        elif not word.endswith("?") and _misspelt(words, word):
            take(word, score - 8)
    given = set(words.split())
    for word in {word for part in given for word in _by_part().get(part, ())}:
        parts = word.split()
        if len(word) > 3 and set(parts) < given:
            take(word, 84.0 + 2 * len(parts) - 6 * (len(given) - len(parts)))
    if f"{words}?" in index:
        for column, own in index[f"{words}?"]:
            found[column] = max(found.get(column, 0.0), own)
    if says("buyer", words):
        # What the buyer paid is no cost, whatever other words say, and postage that the buyer paid is income.
        found.pop(("items", "cost"), None)
        if label := found.pop(("items", "label_paid"), 0.0):
            found["items", "shipping_charged"] = max(label, 90.0)
    return found


def _misspelt(words: str, other: str) -> bool:
    """Whether each word is the other's, but for a letter of a long one that is no known word itself.

    >>> _misspelt("purchse dates", "purchase date"), _misspelt("preso il", "reso il")
    (True, False)
    """
    pairs = zip(words.split(), other.split(), strict=False)
    alike = all(a.rstrip("s") == b.rstrip("s") or (min(len(a), len(b)) > 5 and a not in _by_part()) for a, b in pairs)
    return alike or words.count(" ") != other.count(" ")


@functools.cache
def _index() -> dict[str, list[tuple[tuple[str, str], float]]]:
    """Every word with the columns that it may stand over, and how well it does when it is just that."""
    index: dict[str, list[tuple[tuple[str, str], float]]] = {}
    for table, columns in known_words().items():
        for column, over in columns.items():
            plain = {column.replace("_", " "), re.sub(r"_(?:in|lb)$", "", column).replace("_", " ")}
            for word in sorted(plain):
                index.setdefault(word, []).append(((table, column), 100.0))
            for at, word in enumerate(map(unaccented, over)):
                if word not in plain:
                    own = WEAK if word.endswith("?") else 99.0 - min(at, 30) / 10
                    index.setdefault(word, []).append(((table, column), own))
    return index


@functools.cache
def _by_part() -> dict[str, list[str]]:
    """Words by each of their parts, the weak ones left out."""
    parts: dict[str, list[str]] = {}
    for word in _index():
        if not word.endswith("?"):
            for part in word.split():
                parts.setdefault(part, []).append(word)
    return parts


def tables() -> tuple[str, ...]:
    """Names of what a conversion can fill: the tables of the books, and labels."""
    return (*schema.BY_NAME, LABELS)


@functools.cache
def columns_of(table: str) -> dict[str, schema.Column]:
    """Columns that a conversion can fill, those of labels and how many of a row sold among them."""
    if table == LABELS:
        made = schema.Column
        columns = [made("date", "date", "", required=True), made("amount", "signed money", "", required=True)]
        columns += [made(name, "id", "") for name in ("order_id", "item_id", "tracking")]
        columns += [made("zone", "text", ""), made("weight_lb", "weight", ""), made("service", "text", "")]
        return {column.name: column for column in [*columns, made("adjustment", "signed money", "")]}
    own = {column.name: column for column in schema.BY_NAME[table].columns}
    return own | ({SOLD_OF: schema.Column(SOLD_OF, "count", "how many of them sold")} if table == "items" else {})


#: The column of an export that says how many of a row's things sold; the row is split by it.
SOLD_OF = "quantity_sold"

# A measure, or three sides, in one cell.

_MEASURE = re.compile(r"[\d.,]+\s*([a-z]*|[\"”″])\.?", re.IGNORECASE)


def unit_in(text: str) -> str | None:
    """The unit behind a number: empty where none is written, None where the text is no such measure.

    >>> unit_in("2.5 kg"), unit_in("12"), unit_in("12 pieces")
    ('kg', '', None)
    """
    match = _MEASURE.fullmatch(text)
    if match is None:
        return None
    return "in" if match[1] in tuple('"”″') else by_word("units").get(match[1].lower()) if match[1] else ""


_SIDE = r"(?:[lwhdbt]\s*)?([\d.,]+)\s*(in(?:ch(?:es)?)?|cm|mm|ft|[\"”″])?\.?"
_THREE = re.compile(rf"{_SIDE}\s*(?:[x×*]|by)\s*{_SIDE}\s*(?:[x×*]|by)\s*{_SIDE}", re.IGNORECASE)


def three_sides(text: str) -> tuple[str, ...]:
    """The sides in a cell such as ``30x20x10 cm``, each with the unit that is written; nothing for any other text.

    >>> three_sides("30 x 20,5 x 10 cm"), three_sides("30x20")
    (('30 cm', '20,5 cm', '10 cm'), ())
    """
    match = _THREE.fullmatch(text.strip())
    if match is None:
        return ()
    units = [(unit or match[6] or "").lower() for unit in (match[2], match[4], match[6])]
    marks = ["in" if unit and unit not in ("cm", "mm", "ft") else unit for unit in units]
    return tuple(f"{match[at]} {unit}".strip() for at, unit in zip((1, 3, 5), marks, strict=True))
