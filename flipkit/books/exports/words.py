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
    r"\b(?:cancel|cancelled|canceled|void|voided|unpaid|failed|declined|not paid|expired|abandoned)", re.I
)
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
_CURRENCY = re.compile(r"[$€£¥]|\b(?:usd|eur|gbp|cad|aud|nzd|chf|sek|nok|dkk|pln|czk|jpy)\b")


@functools.cache
def known_words() -> dict[str, dict[str, list[str]]]:
    """The words over each column of each table that a conversion can fill.

    Returns
    -------
    dict of str to dict of str to list of str
        By table and column, the likelier first; one that ends in ``?`` is weak.
    """
    text = importlib.resources.files("flipkit.books.exports").joinpath("words.toml").read_text(encoding="utf-8")
    words: dict[str, dict[str, list[str]]] = tomllib.loads(text)
    return words


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
    if len(words) > 1 and words[-1] in _UNIT_WORDS:
        unit = _UNIT_WORDS[words.pop()]
    elif len(words) == 1 and words[0] in ("minutes", "hours", "mins", "miles", "km", "kilometers", "kilometres"):
        unit = _UNIT_WORDS[words[0]]
    return Heading(" ".join(words), unit, currency)


#: A score from which a header is the column's own word, and one from which it is a fair guess.
CERTAIN, FAIR = 95.0, 60.0


@functools.lru_cache(maxsize=100_000)
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
    from rapidfuzz import fuzz

    if not words:
        return 0.0
    if words == column.replace("_", " ") or words == re.sub(r"_(?:in|lb)$", "", column).replace("_", " "):
        return 100.0
    best = 0.0
    for at, word in enumerate(known_words()[table].get(column, ())):
        weak = word.endswith("?")
        plain = word.rstrip("?")
        if words == plain:
            score = 64.0 if weak else 99.0 - min(at, 30) / 10
        elif weak:
            continue
        else:
            alike = fuzz.ratio(words, plain)
            score = alike - 8 if alike >= 86 else 0.0
            if len(plain) > 3 and set(plain.split()) < set(words.split()):
                spare = len(words.split()) - len(plain.split())
                score = max(score, 84.0 + 2 * len(plain.split()) - 6 * spare)
        best = max(best, min(score, 100.0))
    return best


def tables() -> tuple[str, ...]:
    """Names of what a conversion can fill: the tables of the books, and labels.

    Returns
    -------
    tuple of str
        The names.
    """
    return (*(table.name for table in schema.TABLES), LABELS)
