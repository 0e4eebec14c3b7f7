"""The words that spreadsheets and exports use for the columns of the books.

The words themselves stand in ``words.toml``: only the trade's own, what people write over a
column.
"""

from __future__ import annotations

import functools
import importlib.resources
import re
import tomllib
from dataclasses import dataclass

from flipkit.books import schema

#: Tables that a conversion can fill, beside those of the books: labels go to the items they posted.
LABELS = "labels"

#: Headers that say an amount is for one of several like things, or for all of them together.
EACH = re.compile(r"\b(?:unit|each|per (?:item|unit|piece|pc)|apiece|ea)\b")
WHOLE = re.compile(r"\b(?:total|subtotal|sum|all|line)\b")
#: Headers that say an amount belongs to the whole order.
OF_ORDER = re.compile(r"\border\b")
#: Headers of a column that says whether an order stands.
STATUS = re.compile(r"\b(?:status|state|order state|cancelled|canceled|cancellation)\b")
#: Words in such a column for an order that does not count as a sale.
VOID = re.compile(
    r"\b(?:cancel|cancelled|canceled|void|voided|unpaid|failed|declined|not paid|expired|abandoned|refund|return)", re.I
)
#: Headers that a bank list has and a list of expenses has not.
BALANCE = re.compile(r"\b(?:balance|running total|credit|paid in|money in|deposit|deposits)\b")
#: Figures that the kit computes itself and never takes.
COMPUTED = re.compile(
    r"\b(?:profit|net|margin|roi|return on investment|gain|loss|hourly|days (?:listed|held|on hand)|sell.?through)\b"
)

_UNIT_WORDS = {
    "in": "in", "inch": "in", "inches": "in", "cm": "cm", "mm": "mm", "ft": "ft", "feet": "ft",
    "lb": "lb", "lbs": "lb", "pound": "lb", "pounds": "lb", "oz": "oz", "ounce": "oz", "ounces": "oz",
    "kg": "kg", "kgs": "kg", "kilogram": "kg", "kilograms": "kg", "g": "g", "gram": "g", "grams": "g",
    "min": "min", "mins": "min", "minutes": "min", "hours": "hour", "hrs": "hour", "h": "hour", "hour": "hour",
    "km": "km", "kilometers": "km", "kilometres": "km", "miles": "mile", "mi": "mile",
}  # fmt: skip
#: Units that are words of their own, which need a measure before them.
_DOUBTFUL = frozenset(["in", "g", "h"])
_SIDES = frozenset(
    ["length", "width", "height", "depth", "l", "w", "h", "size", "girth", "weight", "wt", "time", "duration"]
)
_CURRENCY = re.compile(r"[$€£¥]|\b(?:usd|eur|gbp|cad|aud|nzd|chf|sek|nok|dkk|pln|czk|jpy)\b")


@functools.cache
def _file() -> dict[str, dict[str, list[str]]]:
    text = importlib.resources.files("flipkit.books.exports").joinpath("words.toml").read_text(encoding="utf-8")
    words: dict[str, dict[str, list[str]]] = tomllib.loads(text)
    return words


@functools.cache
def known_words() -> dict[str, dict[str, list[str]]]:
    """The words over each column of each table that a conversion can fill.

    Returns
    -------
    dict of str to dict of str to list of str
        By table and column, the likelier first; one that ends in ``?`` is weak.
    """
    return {table: columns for table, columns in _file().items() if table != "choices"}


@functools.cache
def other_choices() -> dict[str, str]:
    """Other words for the choices that a column of the books may hold.

    Returns
    -------
    dict of str to str
        By other word, the choice.
    """
    return {other: choice for choice, others in _file()["choices"].items() for other in others}


@dataclass(frozen=True, slots=True)
class Heading:
    """A header in plain words.

    Parameters
    ----------
    words : str
        Its words, lower case, without unit, currency and marks.
    unit : str
        Unit that it names; empty where none.
    currency : str
        Currency code that it names; empty where none.
    """

    words: str
    unit: str
    currency: str


@functools.lru_cache(maxsize=10_000)
def heading(header: str) -> Heading:
    """A header in plain words.

    Parameters
    ----------
    header : str
        The header.

    Returns
    -------
    Heading
        Its words, with unit and currency taken out.

    Examples
    --------
    >>> heading("Package Weight (oz)"), heading("sale_price USD").currency
    (Heading(words='package weight', unit='oz', currency=''), 'USD')
    """
    text = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", header)
    text = re.sub(r"\s\(\d+\)$", "", text).lower().replace("#", " number ").replace("&", " and ")
    currency = ""
    for found in _CURRENCY.findall(text):
        currency = found.upper() if len(found) == 3 else {"€": "EUR", "£": "GBP"}.get(found, currency)
    text = _CURRENCY.sub(" ", text)
    words = re.sub(r"[^\w]+|_", " ", text).split()
    unit = ""
    if len(words) > 1 and words[-1] in _UNIT_WORDS and (words[-1] not in _DOUBTFUL or _SIDES.intersection(words)):
        unit = _UNIT_WORDS[words.pop()]
    elif len(words) == 1 and words[0] in ("minutes", "hours", "mins", "miles", "km", "kilometers", "kilometres"):
        unit = _UNIT_WORDS[words[0]]
    return Heading(" ".join(words), unit, currency)


#: A score from which a header is the column's own word, and one from which it is a fair guess.
CERTAIN, FAIR = 95.0, 60.0


def likeness(words: str, table: str, column: str) -> float:
    """How well a header's words fit a column, from 0 to 100.

    Parameters
    ----------
    words : str
        Words of a `Heading`.
    table : str
        Table, or ``labels``.
    column : str
        Column of the table.

    Returns
    -------
    float
        At least `CERTAIN` for the column's own words, at least `FAIR` for a fair guess.

    Examples
    --------
    >>> likeness("purchase date", "items", "bought_on") >= CERTAIN
    True
    >>> FAIR <= likeness("date of purchase of item", "items", "bought_on") < CERTAIN
    True
    """
    return _likenesses(words).get((table, column), 0.0)


@functools.lru_cache(maxsize=20_000)
def _likenesses(words: str) -> dict[tuple[str, str], float]:
    """How well a header's words fit each column that they fit at all."""
    from rapidfuzz import fuzz, process

    found: dict[tuple[str, str], float] = {}
    if not words:
        return found
    index = _index()

    def take(word: str, score: float) -> None:
        for column, own in index[word]:
            found[column] = max(found.get(column, 0.0), min(own if score == 100.0 else score, 100.0))

    for word, score, _ in process.extract(words, list(index), scorer=fuzz.ratio, score_cutoff=86.0, limit=20):
        if score == 100.0:
            take(word, 100.0)
        elif not word.endswith("?"):
            take(word, score - 8)
    given = set(words.split())
    for word in {word for part in given for word in _by_part().get(part, ())}:
        parts = word.split()
        if len(word) > 3 and set(parts) < given:
            take(word, 84.0 + 2 * len(parts) - 6 * (len(given) - len(parts)))
    if f"{words}?" in index:
        for column, own in index[f"{words}?"]:
            found[column] = max(found.get(column, 0.0), own)
    return found


@functools.cache
def _index() -> dict[str, list[tuple[tuple[str, str], float]]]:
    """Every word with the columns that it may stand over, and how well it does when it is just that."""
    index: dict[str, list[tuple[tuple[str, str], float]]] = {}
    for table, columns in known_words().items():
        for column, over in columns.items():
            plain = {column.replace("_", " "), re.sub(r"_(?:in|lb)$", "", column).replace("_", " ")}
            for word in sorted(plain):
                index.setdefault(word, []).append(((table, column), 100.0))
            for at, word in enumerate(over):
                if word not in plain:
                    own = 64.0 if word.endswith("?") else 99.0 - min(at, 30) / 10
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
    """Names of what a conversion can fill: the tables of the books, and labels.

    Returns
    -------
    tuple of str
        The names.
    """
    return (*(table.name for table in schema.TABLES), LABELS)
