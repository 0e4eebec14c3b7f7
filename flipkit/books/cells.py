"""Cells of the books: text in, a typed column out, each wrong cell told with its row."""

from __future__ import annotations

import datetime as dt
import functools
import itertools
import operator
import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from flipkit import money
from flipkit import units as the_units
from flipkit.books import write
from flipkit.books.problems import Findings, near
from flipkit.books.schema import Column
from flipkit.errors import MeasureError, MoneyError

if TYPE_CHECKING:
    import pandas as pd

# Many short texts handled at once, at the speed of the processor instead of one call a text.

#: Digits above 0 are alike where only the marks between them matter.
_ALIKE = bytes(ord("9") if 48 < code < 58 else code for code in range(256))
_AMOUNT = re.compile(rb"9{1,9}\.99")


def shapes_of(texts: Collection[str]) -> list[bytes] | None:
    """The shape of each text: its digits above 0 made 9, everything else as it stands.

    >>> shapes_of(["1.204,50", "7"])
    [b'9.909,90', b'9']
    """
    shapes = "\n".join(texts).encode("utf-8", "surrogatepass").translate(_ALIKE).split(b"\n")
    return shapes if len(shapes) == len(texts) else None


def cents_of(texts: Sequence[str]) -> npt.NDArray[np.int64] | None:
    """Amounts such as ``1234.50`` as whole cents, all at once.

    >>> cents_of(["1234.50", "0.07"]).tolist(), cents_of(["12.5"]) is None
    ([123450, 7], True)
    """
    if not texts:
        return np.zeros(0, dtype=np.int64)
    shapes = shapes_of(texts)
    if shapes is None or not all(_AMOUNT.fullmatch(shape.replace(b"0", b"9")) for shape in set(shapes)):
        return None
    digits = "\n".join(texts).replace(".", "")
    return np.fromstring(digits, dtype=np.int64, sep="\n")


def first_letters(texts: Collection[str]) -> set[str]:
    """The letters that some texts begin with; an empty one where a text is blank.

    >>> sorted(first_letters(["#1", "lamp", ""]))
    ['', '#', 'l']
    """
    return set(map(_FIRST, texts))


_FIRST = operator.itemgetter(slice(0, 1))


# Cells of the books: text in, a typed column out, each wrong cell told with its row.
#
# A column is understood one distinct text at a time, so ten thousand rows cost little more than the texts that
# differ. Reading one cell needs no pandas, and a command that records one row should not wait for it: the four
# functions that make whole columns import it when they are called.

#: Years that second-hand books can speak of; others are slips of a finger.
FIRST_YEAR, LAST_YEAR = 1970, 2100
#: Largest whole number in a count.
LARGEST_COUNT = 1_000_000

#: Longest name of an item, a category, a venue: it stands in tables, headings and the names of files.
LONGEST_NAME = 200
#: Columns of free text, which may hold a whole pasted page.
_FREE = ("title", "note")

_PLAIN_MONEY = re.compile(r"(-?)(\d{1,9})(?:\.(\d{1,2}))?")
_PLAIN_NUMBER = re.compile(r"\d{1,9}(?:\.\d{0,9})?|\.\d{1,9}")
_MEASURE = re.compile(r"(\d{1,9}(?:\.\d{1,9})?)\s*([A-Za-z]{1,12})\.?")
_DATE = re.compile(r"(\d{4}-\d{2}-\d{2})(?:[ T]\d{2}:\d{2}(?::\d{2}(?:\.\d+)?)?)?")
_OTHER_DATE = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4}|\d{2})")


@dataclass(frozen=True, slots=True)
class InvalidCell:
    """A text that a column cannot take."""

    needed: str
    mend: str = ""


@dataclass(frozen=True, slots=True)
class Units:
    """What a bare number means in these books."""

    currency: str = "USD"
    length: str = "in"
    weight: str = "lb"


def typed_column(
    column: Column, header: str, texts: Sequence[str], rows: Sequence[int], *, unit: str, units: Units, into: Findings
) -> pd.Series:
    """One column of a table, typed; wrong cells become problems and blanks."""
    import pandas as pd

    read = reader_of(column, unit=unit, units=units)
    plain = column.kind in ("id", "text") and "'" not in "\n".join(texts)
    if plain and (read is write.unescape_formula or max(map(len, texts), default=0) <= LONGEST_NAME):
        return pd.Series(list(texts), dtype="str")
    known: dict[str, Any] = {text: read(text) if text else None for text in set(texts)}
    values = list(map(known.__getitem__, texts))
    if any(isinstance(value, InvalidCell) for value in known.values()):
        for i, value in enumerate(values):
            if isinstance(value, InvalidCell):
                into.stop(rows[i], header, texts[i], value.needed, value.mend)
                values[i] = None
    return as_series(column, values)


def blank_series(column: Column, count: int) -> pd.Series:
    """A column that a file does not have, as if every cell were blank."""
    import pandas as pd

    one = as_series(column, [None])
    if isinstance(one.dtype, pd.Int64Dtype):
        return pd.Series(pd.arrays.IntegerArray(np.zeros(count, dtype=np.int64), np.ones(count, dtype=bool)))
    if isinstance(one.dtype, pd.StringDtype):
        return pd.Series(np.full(count, one[0], dtype=object), dtype="str")
    return pd.Series(np.full(count, one.to_numpy()[0]))


def as_series(column: Column, values: list[Any]) -> pd.Series:
    """Values of one column in the type of its kind."""
    import pandas as pd

    kind = column.kind
    if kind in ("date", "month"):
        codes, days = pd.factorize(np.array(values, dtype=object), use_na_sentinel=True)
        made = np.append(np.array(days, dtype="datetime64[us]"), np.datetime64("NaT", "us"))
        return pd.Series(made[codes])
    if kind in ("money", "signed money", "rate", "count"):
        numbers = np.array(values, dtype=np.float64)  # None becomes NaN; amounts stay far below 2 ** 53
        missing = np.isnan(numbers)
        if kind == "count" and column.default:
            return pd.Series(np.where(missing, float(column.default), numbers).astype(np.int64))
        numbers[missing] = 0.0
        return pd.Series(pd.arrays.IntegerArray(numbers.astype(np.int64), missing))
    if kind in ("length", "weight", "number", "minutes", "miles"):
        return pd.Series(np.array(values, dtype=np.float64))
    return pd.Series([column.default if v is None else v for v in values], dtype="str")


def reader_of(column: Column, *, unit: str, units: Units) -> Callable[[str], Any]:
    """The function that reads one cell of a column."""
    name = column.name
    if column.kind in ("money", "signed money"):
        signed = column.kind == "signed money"
        return functools.partial(_money, name=name, currency=units.currency, signed=signed)
    if column.kind == "length":
        return functools.partial(_measure, name=name, unit=unit or units.length, read=the_units.read_length)
    if column.kind == "weight":
        return functools.partial(_measure, name=name, unit=unit or units.weight, read=the_units.read_weight)
    if column.kind == "minutes":
        return functools.partial(_measure, name=name, unit="min", read=the_units.read_minutes, zero=True)
    if column.kind in ("id", "text"):
        return write.unescape_formula if name in _FREE else _name
    if column.kind == "miles":
        return functools.partial(_distance, unit=unit or "mile")
    if column.kind == "choice":
        return functools.partial(_choice, choices=column.choices)
    return {
        "date": _date,
        "month": _month,
        "number": _number,
        "count": _count,
        "rate": _rate,
    }[column.kind]


def _money(text: str, *, name: str, currency: str, signed: bool) -> int | InvalidCell:
    whole, _, part = text.partition(".")
    if len(part) == 2 and len(whole) <= 9 and text.isascii() and whole.isdigit() and part.isdigit():
        return int(whole + part)
    plain = _PLAIN_MONEY.fullmatch(text)
    if plain is not None:
        cents = int(plain.group(2)) * 100 + int((plain.group(3) or "0").ljust(2, "0"))
        cents = -cents if plain.group(1) else cents
    else:
        try:
            cents = money.read_cents(text, name=name, currency=currency)
        except MoneyError as error:
            return InvalidCell(error.need, error.mend or _money_hint(text))
    if cents < 0 and not signed:
        return InvalidCell(
            "an amount of at least 0", "leave the sign out (a cost, a fee and a refund are written as positive)"
        )
    return cents


def _money_hint(text: str) -> str:
    if re.fullmatch(r"[^\d-]*-?\d{1,3}(\.\d{3})*,\d{1,2}\D*", text) or re.fullmatch(r"\d+,\d{1,2}", text):
        return "write the decimals after a point, and no mark between thousands"
    return "write digits with a point before the cents"


@functools.lru_cache(maxsize=256)
def _factor(unit: str, read: Callable[..., float]) -> float | None:
    try:
        return read(f"1 {unit}")
    except MeasureError:
        return None


def _measure(text: str, *, name: str, unit: str, read: Callable[..., float], zero: bool = False) -> float | InvalidCell:
    own = {"in": 1.0, "lb": 1.0, "min": 1.0, "mile": 1.0}.get(unit)
    if _PLAIN_NUMBER.fullmatch(text):
        factor = own if own is not None else _factor(unit, read)
        value = float(text) * factor if factor is not None else None
    else:
        value = None
        match = _MEASURE.fullmatch(text)
        factor = _factor(match.group(2), read) if match else None
        if match is not None and factor is not None:
            value = float(match.group(1)) * factor
    if value is None:
        try:
            value = read(text, unit=unit, name=name)
        except MeasureError as error:
            return InvalidCell(error.need, error.mend or "write a number with its unit")
    if value == 0 and not zero:
        return InvalidCell("a measure above 0", "leave the cell blank where it was not measured")
    return value


def _distance(text: str, *, unit: str) -> float | InvalidCell:
    found = _measure(text, name="miles", unit=unit, read=the_units.read_distance, zero=True)
    if isinstance(found, InvalidCell):
        return InvalidCell(
            "a number of at least 0", "write digits, with a point before decimals (50 km is understood too)"
        )
    return found


def _date(text: str) -> str | InvalidCell:
    match = _DATE.fullmatch(text)
    needed = "a date written year-month-day, such as 2026-03-07"
    if match is None:
        return InvalidCell(needed, _date_hint(text))
    try:
        day = dt.date.fromisoformat(match.group(1))
    except ValueError:
        return InvalidCell(needed, "the calendar has no such day")
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        return InvalidCell(f"a date from {FIRST_YEAR} to {LAST_YEAR}", "look at the year")
    return match.group(1)


def _date_hint(text: str) -> str:
    match = _OTHER_DATE.fullmatch(text)
    if match is not None:
        a, b, year = int(match.group(1)), int(match.group(3)), int(match.group(4))
        year += 2000 if year < 100 else 0
        ways = []
        for month, day in ((a, b), (b, a)):
            try:
                way = dt.date(year, month, day).isoformat()
            except ValueError:
                continue
            if way not in ways:
                ways.append(way)
        if ways:
            return f"write {' or '.join(ways)}" + (", whichever it is" if len(ways) > 1 else "")
    if re.fullmatch(r"\d{5}(\.\d+)?", text) and 20_000 < float(text) < 80_000:
        counted = dt.date(1899, 12, 30) + dt.timedelta(days=int(float(text)))
        return f"it looks like a spreadsheet's day number for {counted.isoformat()}"
    return "flipkit convert reads other ways of writing dates"


def _month(text: str) -> str | InvalidCell:
    day = _date(f"{text}-01" if re.fullmatch(r"\d{4}-\d{2}", text) else text)
    if isinstance(day, InvalidCell):
        return InvalidCell(
            "a month written year-month, such as 2026-03", day.mend if "calendar" not in day.mend else ""
        )
    return f"{day[:8]}01"


def _number(text: str) -> float | InvalidCell:
    if _PLAIN_NUMBER.fullmatch(text):
        return float(text)
    return InvalidCell("a number of at least 0", "write digits, with a point before decimals")


def _count(text: str) -> int | InvalidCell:
    if re.fullmatch(r"\d{1,9}(\.0*)?", text) and 1 <= int(float(text)) <= LARGEST_COUNT:
        return int(float(text))
    return InvalidCell(f"a whole number from 1 to {LARGEST_COUNT:,}", "write digits alone")


def _rate(text: str) -> int | InvalidCell:
    try:
        ppm = money.read_ppm(text)
    except MoneyError as error:
        return InvalidCell("a rate from 0 to 100 %, such as 7.65 % or 0.0765", error.mend)
    if ppm > money.PPM:
        return InvalidCell("a rate from 0 to 100 %, such as 7.65 % or 0.0765", f"write {text} % if per cent is meant")
    return ppm


def _name(text: str) -> str | InvalidCell:
    if len(text) > LONGEST_NAME:
        return InvalidCell(f"a name of at most {LONGEST_NAME} characters", "give it a short name (a note may be long)")
    return write.unescape_formula(text)


def _choice(text: str, *, choices: tuple[str, ...]) -> str | InvalidCell:
    word = " ".join(text.lower().replace("_", " ").split())
    if word in choices:
        return word
    like = _near(word, choices)
    return InvalidCell(f"one of {', '.join(choices)}", f"did you mean {like}?" if like else "")


def _near(word: str, choices: tuple[str, ...]) -> str:
    """The choice that a word is another form or a slip of; empty where none is near enough to be meant."""

    def begins_alike(choice: str) -> int:
        alike = itertools.takewhile(lambda pair: pair[0] == pair[1], zip(word, choice, strict=False))
        shared = sum(1 for _ in alike)
        return shared if shared >= (3 if shared == min(len(word), len(choice)) else 4) else 0

    best = max(choices, key=begins_alike)
    if begins_alike(best):
        return best
    return near(word, choices, cutoff=0.75)
