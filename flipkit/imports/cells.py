"""Cells of an export read into the text that the books write, each distinct one once."""

from __future__ import annotations

import datetime as dt
import functools
import re
from collections.abc import Callable, Sequence
from decimal import ROUND_HALF_UP, Decimal

from flipkit.books import schema
from flipkit.books.cells import InvalidCell, Units, reader_of
from flipkit.imports import values as import_values
from flipkit.imports.mapping import Mapping, Source
from flipkit.imports.sheets import LOST, Layout
from flipkit.imports.values import (
    DECIMALS,
    MARK_WORDS,
    NOTHING,
    PlainNumbers,
    by_word,
    fits_currency,
    number_of,
    read_written,
)
from flipkit.money import LARGEST_CENTS

_MEMORY = 200_000
_UNCALCULATED = "open the workbook in a spreadsheet, let it calculate and save it"
_CENT = Decimal("0.01")
_KM_IN_MILES = Decimal("0.621371192")
_MEASURE = re.compile(r"[\d.,]+")


class ColumnReader:
    """Reads one column of a table out of the cells of an export, each distinct text once."""

    def __init__(self, name: str, source: Source, mapping: Mapping, layout: Layout, units: Units | None = None) -> None:
        self.name = name
        self.source = source
        self.sure = True
        self.places = [layout.headers.index(header) for header in source.headers]
        self.blank = layout.headers.index(source.blank) if source.blank else -1
        column = import_values.columns_of(mapping.table)[name]
        kind = column.kind
        units = units or Units(mapping.currency or "USD")
        decimal = DECIMALS[source.decimal or mapping.decimal or "point"]
        if source.value and "," not in source.value:
            decimal = "."
        order = source.order or mapping.order or "year-month-day"
        # Money given back stands in the same columns as sales, with a minus.
        signed = kind == "signed money" or (kind == "money" and mapping.rows.refunds == "join")
        self.money = kind in ("money", "signed money")
        if self.money:
            self._of: Callable[[str], str | InvalidCell] = functools.partial(
                _money, decimal=decimal, currency=units.currency, turned=source.turned, signed=signed
            )
        elif kind in ("date", "month"):
            self._of = functools.partial(_date, order=order, month=kind == "month", year=mapping.year)
        elif kind in ("number", "miles", "count"):
            factor = _KM_IN_MILES if source.unit == "km" else Decimal(1)
            least = {"count": 0 if name == import_values.SOLD_OF else 1}.get(kind)
            self._of = functools.partial(_number, decimal=decimal, least=least, factor=factor)
        elif kind in ("length", "weight", "minutes"):
            own = {"length": "in", "weight": "lb"}.get(kind, "min")
            part = source.part
            self._of = functools.partial(_measure, decimal=decimal, unit=source.unit, kind=kind, own=own, part=part)
        elif kind == "choice":
            self._of = functools.partial(_choice, choices=column.choices)
        else:
            self._of = _text
        self.plain = PlainNumbers(decimal, units.currency) if self.money and not source.turned else None
        self.nothing = NOTHING if kind not in ("id", "text", "choice", "rate") else frozenset()
        self.known: dict[str, str | InvalidCell] = {"": ""}
        if source.otherwise:
            self.known[""] = self.read(source.otherwise)

    def column(self, cells: list[tuple[str, ...]], count: int) -> list[str | InvalidCell]:
        """The cells of this column."""
        if self.source.value or not self.places:
            return [self._value(self.source.value)] * count
        texts: Sequence[str]
        if len(self.places) == 1:
            texts = cells[self.places[0]]
        else:
            joined = zip(*(cells[at] for at in self.places), strict=True)
            texts = [" ".join(filter(None, parts)) for parts in joined]
        if self.blank >= 0 and "" in texts:
            texts = [text or other for text, other in zip(texts, cells[self.blank], strict=True)]
        if self._of is _text and not self.source.otherwise and not self.source.words:
            # Most words stay as they are; only line ends and the like are smoothed.
            whole = " ".join(texts)
            if whole.isprintable() and LOST not in whole:
                return list(texts)
        if self.plain is not None and not self.source.otherwise:
            plain = self.plain.cents(texts)
            if plain is not None:
                return list(plain)
        distinct = set(texts)
        if len(self.known) > _MEMORY:
            self.known = {"": self.known[""]}
        for text in distinct.difference(self.known):
            self._value(text)
        return list(map(self.known.__getitem__, texts))

    def _value(self, text: str) -> str | InvalidCell:
        value = self.known.get(text)
        if value is None:
            value = self.known[text] = self.read_worded(text)
        if isinstance(value, InvalidCell):
            self.sure = False
        return value

    def read(self, text: str) -> str | InvalidCell:
        """A text read; a word for nothing in the place of a number or a day is blank."""
        return "" if text.casefold() in self.nothing else self._of(text)

    def read_worded(self, text: str) -> str | InvalidCell:
        """A text read, a word of the mapping as what it means."""
        return self.meant(self.source.words[text]) if text in self.source.words else self.read(text)

    def meant(self, meaning: str) -> str | InvalidCell:
        """What a word means, read: a thing that was fetched cost no postage, one that is gone has no sale."""
        if meaning == import_values.COLLECTED and self.money:
            return "0.00"
        return "" if meaning in ("", import_values.COLLECTED, *import_values.GONE) else self.read(meaning)

    def complaint(self, bad: InvalidCell, cells: list[str]) -> str:
        """Why a cell of this column cannot be taken."""
        shown = " ".join(cells[at] for at in self.places)[:60]
        return f'{self.name}: "{shown}" isn\'t {bad.needed}' + (f"; {bad.mend}" if bad.mend else "")


def _text(text: str) -> str | InvalidCell:
    if text.startswith(LOST):
        return InvalidCell("a value", _UNCALCULATED)
    return text if text.isprintable() else " ".join(text.split())


def _money(text: str, *, decimal: str, currency: str, turned: bool, signed: bool) -> str | InvalidCell:
    value = number_of(text, decimal)
    written = read_written(text)
    if text.startswith(LOST):
        return InvalidCell("an amount", _UNCALCULATED)
    if value is None or written is None or written.percent:
        return InvalidCell(
            "an amount" if written is None or written.percent else f"an amount with a decimal {MARK_WORDS[decimal]}"
        )
    if not fits_currency(written.currency, currency):
        return InvalidCell(f"in {currency}, the currency of the shop")
    if turned:
        value = -value
    if value < 0 and not signed:
        return InvalidCell("an amount of at least 0", "it came in instead of going out" if turned else "")
    if abs(value) > LARGEST_CENTS // 100:
        return InvalidCell("an amount of a second-hand shop")
    cents = value.quantize(_CENT, rounding=ROUND_HALF_UP)
    if cents != value:
        return InvalidCell("an amount in whole cents")
    return f"{abs(cents):.2f}" if not cents else f"{cents:.2f}"


def _date(text: str, *, order: str, month: bool, year: str) -> str | InvalidCell:
    day = import_values.day_of(text, order, year)
    if day is None and month:
        day = _only_month(text)
    if day is None:
        reading = import_values.read_date(text)
        return InvalidCell("a date" if reading is None else f"a date in the order {order}")
    return day.isoformat()[:7] if month else day.isoformat()


def _only_month(text: str) -> dt.date | None:
    ways = ((f"{text}-01", "year-month-day"), (f"1 {text}", "day-month-year"), (f"1/{text}", "day-month-year"))
    return next(filter(None, (import_values.day_of(*way) for way in ways)), None)


def _number(text: str, *, decimal: str, least: int | None, factor: Decimal) -> str | InvalidCell:
    value = number_of(text, decimal)
    if value is None or value < 0:
        return InvalidCell("a number of at least 0")
    if least is not None and (value != value.to_integral_value() or not least <= value <= 1_000_000):
        return InvalidCell(f"a whole number of at least {least}")
    value *= factor
    return f"{int(value)}" if value == value.to_integral_value() else f"{value.normalize():f}"


#: Hours and minutes as clocks and people write them: 0:45, 1:30:00, 1h30, 2 h 5 min.
_CLOCK = re.compile(
    r"(\d{1,3}):(\d{2})(?::(\d{2}))?|(\d{1,3})\s*(?:h|u|std|hrs?|hours?|godz)\.?\s*(\d{1,2})\s*(?:m|min|mins|minutes)?\.?",
    re.IGNORECASE,
)


def _minutes(text: str) -> str:
    """Hours and minutes as plain minutes; empty where a text is none."""
    clock = _CLOCK.fullmatch(text)
    if clock is None:
        return ""
    hours, minutes = int(clock[1] or clock[4]), int(clock[2] or clock[5])
    return f"{Decimal(hours * 3600 + minutes * 60 + int(clock[3] or 0)) / 60:.6f}".rstrip("0").rstrip(".")


def _measure(text: str, *, decimal: str, unit: str, kind: str, own: str, part: int) -> str | InvalidCell:
    if part:
        sides = import_values.three_sides(text)
        if not sides:
            return InvalidCell("three sides such as 30x20x10 cm")
        text = sides[part - 1]
    if kind == "minutes" and _minutes(text):
        return _minutes(text)
    value = number_of(text, decimal)
    if value is None:
        plain = _MEASURE.sub(lambda match: _plain(match.group(), decimal), text)
        column = schema.Column(kind, kind, "")  # type: ignore[arg-type]
        read = reader_of(column, unit="", units=Units())(plain)
        return InvalidCell(read.needed) if isinstance(read, InvalidCell) else plain
    if value < 0:
        return InvalidCell("a measure above 0")
    if value == 0 and kind != "minutes":
        return ""
    if unit == "s":
        value, unit = round(value / 60, 6), "min"
    shown = f"{value.normalize():f}"
    return f"{shown} {unit}" if unit and unit != own else shown


def _plain(text: str, decimal: str) -> str:
    value = number_of(text.rstrip(".,"), decimal)
    return text if value is None else f"{value:f}"


def _choice(text: str, *, choices: tuple[str, ...]) -> str | InvalidCell:
    word = " ".join(text.lower().replace("_", " ").split())
    if word in choices or not word:
        return word
    other = by_word("choices").get(import_values.plain_words(word), "")
    if other in choices:
        return other
    return InvalidCell(f"one of {', '.join(choices)}")
