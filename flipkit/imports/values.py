"""Numbers as other programs write them: marks, signs, brackets, currencies, and what settles them.

``1,234`` is a thousand or a little over one. Only marks that read one way settle a column;
where none does, the seller is asked.
"""

from __future__ import annotations

import functools
import re
from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from decimal import Decimal

from flipkit.books import bulk

#: Decimal marks, by the word that options and mappings use.
DECIMALS = {"point": ".", "comma": ","}
#: Texts that programs write where there is nothing.
NOTHING = frozenset(
    ["-", "--", "---", "–", "—", ".", "?", "n/a", "na", "#n/a", "none", "null", "nil", "nan", "n.a.", "n. a.", "tbd"]
)

_SIGNS = {"$": "", "€": "EUR", "£": "GBP", "¥": "", "₹": "INR", "₽": "RUB", "₩": "KRW", "₺": "TRY", "₴": "UAH"}
_AFFIXED = {
    "US$": "USD",
    "C$": "CAD",
    "CA$": "CAD",
    "A$": "AUD",
    "AU$": "AUD",
    "NZ$": "NZD",
    "kr": "",
    "zł": "PLN",
    "Kč": "CZK",
    "Ft": "HUF",
    "R$": "BRL",
    "Fr.": "CHF",
    "lei": "RON",
}
_WHOLE = re.compile(
    r"(?P<open>\()?\s*(?P<sign>[-+−–])?\s*(?P<before>[^0-9\s.,()+−–-]{1,4}|[A-Z]{3})?\s*(?P<inner>[-+−])?\s*"
    r"(?P<body>(?:[0-9][0-9.,'’\u00a0\u202f\u2009 ]*)?[0-9][.,]?|[.,][0-9]+)\s*"
    r"(?P<after>(?!CR\b|DR\b)(?:[^0-9\s.,()+−–%-]{1,4}|[A-Z]{3}))?\s*"
    r"(?P<percent>%)?\s*(?P<trail>[-−]|CR|DR)?\s*(?P<close>\))?"
)
_SPACES = str.maketrans("", "", "'’\u00a0\u202f\u2009 ")
_PLAIN = re.compile(r"-?[0-9]{1,15}(?:\.[0-9][0-9]?|\.[0-9]{4,9})?")


@dataclass(frozen=True, slots=True)
class Written:
    """One number as it is written.

    Parameters
    ----------
    negative : bool
        Whether a sign, brackets or a word make it negative.
    body : str
        Its digits and its points and commas, other thousands marks taken away.
    currency : str
        Code of its currency; empty where none or only a sign that several share stands there.
    percent : bool
        Whether a percent sign stands behind it.
    decimal : str
        The mark that must be the decimal one; empty where the body does not settle it.
    doubtful : str
        The mark that may be a decimal or a thousands mark; empty where there is none.
    """

    negative: bool
    body: str
    currency: str
    percent: bool
    decimal: str
    doubtful: str


@functools.lru_cache(maxsize=200_000)
def read_written(text: str) -> Written | None:
    """A number as it is written, before its marks are settled.

    Parameters
    ----------
    text : str
        A cell.

    Returns
    -------
    Written or None
        What stands there; None where it is no number.

    Examples
    --------
    >>> read_written("(1.234,50 €)").decimal, read_written("1,234").doubtful
    (',', ',')
    >>> read_written("12 in") is None
    True
    """
    if len(text) > 40:
        return None
    if _PLAIN.fullmatch(text):
        return Written(text[0] == "-", text.lstrip("-"), "", False, "." if "." in text else "", "")
    match = _WHOLE.fullmatch(text)
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
    marks = [match["sign"], match["inner"], match["trail"]]
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
    """Code of a currency sign or word; empty for a sign that several share; None for any other word."""
    if affix in _SIGNS:
        return _SIGNS[affix]
    if affix in _AFFIXED:
        return _AFFIXED[affix]
    return affix if len(affix) == 3 and affix.isupper() and affix in _codes() else None


@functools.cache
def _codes() -> frozenset[str]:
    from babel.numbers import list_currencies

    return frozenset(list_currencies())


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
    marked = bulk.shapes_of(given)
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
class NumberEvidence:
    """What the numbers of a column say about their marks, gathered one distinct text at a time.

    Parameters
    ----------
    read, unread : int
        Texts that are a number, and that are none.
    decisive : dict of str to str
        For each decimal mark, a text that needs it.
    doubtful : dict of str to str
        For each mark in doubt, a text with it.
    currencies : dict of str to int
        Texts in each currency.
    """

    read: int = 0
    unread: int = 0
    decisive: dict[str, str] = field(default_factory=dict)
    doubtful: dict[str, str] = field(default_factory=dict)
    doubts: int = 0
    below_thousand: int = 0
    from_thousand: int = 0
    with_part: int = 0
    percents: int = 0
    negatives: int = 0
    positives: int = 0
    signed: int = 0
    currencies: dict[str, int] = field(default_factory=dict)

    def add(self, texts: Iterable[str]) -> None:
        """Take more distinct texts into account.

        Parameters
        ----------
        texts : iterable of str
            Cells that are not blank.
        """
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
            if written.decimal:
                self.decisive.setdefault(written.decimal, text)
                self.with_part += count
            elif written.doubtful:
                self.doubtful.setdefault(written.doubtful, text)
                self.doubts += count
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
        return next(iter(self.doubtful)) if self.below_thousand >= 3 and self.doubts >= 3 else ""


def number_of(text: str, decimal: str) -> Decimal | None:
    """The number that a text names, exactly, under a decimal mark.

    Parameters
    ----------
    text : str
        A cell.
    decimal : str
        ``.`` or ``,``.

    Returns
    -------
    Decimal or None
        The number, a percentage as written (``5 %`` is 5); None where the text is no number
        under that mark.

    Examples
    --------
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
    """Turns texts into plain decimals under one decimal mark, those of a known shape at once.

    Parameters
    ----------
    decimal : str
        ``.`` or ``,``.
    currency : str
        The currency that may stand beside them.
    """

    def __init__(self, decimal: str, currency: str) -> None:
        self._decimal = decimal
        self._currency = currency
        self._known: dict[bytes, tuple[str, ...] | None] = {}

    def cents(self, texts: Collection[str]) -> list[str] | None:
        """Amounts that are not negative and have two decimals, as the books write them.

        Parameters
        ----------
        texts : collection of str, n texts
            Cells, blank ones among them.

        Returns
        -------
        list of str, n texts, or None
            Such as ``1234.50`` for ``1.234,50 €``; None where any cell must be looked at with care.
        """
        shapes = bulk.shapes_of(texts)
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
        if written.currency not in ("", self._currency):
            return None
        whole, _, part = written.body.rpartition(self._decimal)
        if len(part) != 2 or not whole or len(whole) > 9 or (whole[0] == "0" and len(whole) > 1):
            return None
        return tuple(sorted({c for c in text if not c.isdigit() and c != self._decimal}))
