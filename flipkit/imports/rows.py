"""Cells of an export read into the text that the books write, each distinct one once."""

from __future__ import annotations

import datetime as dt
import functools
import re
from collections.abc import Callable, Sequence
from decimal import ROUND_HALF_UP, Decimal

from flipkit.books import schema
from flipkit.books.cells import Bad, Units, reader_of
from flipkit.books.exports import dates
from flipkit.books.exports.layout import Layout
from flipkit.books.exports.words import other_choices
from flipkit.imports import match as import_match
from flipkit.imports.mapping import Mapping, Source
from flipkit.imports.sheets import LOST
from flipkit.imports.values import DECIMALS, NOTHING, PlainNumbers, number_of, read_written
from flipkit.money import LARGEST_CENTS

_MEMORY = 200_000
_CENT = Decimal("0.01")
_KM_IN_MILES = Decimal("0.621371192")
_MEASURE = re.compile(r"[\d.,]+")


class ColumnReader:
    """Reads one column of a table out of the cells of an export, each distinct text once.

    Parameters
    ----------
    name : str
        Column of the table.
    source : Source
        Where its cells come from.
    mapping : Mapping
        What holds for the whole export.
    layout : Layout
        Where the table lies in the export.
    currency : str
        Currency of the shop.
    """

    def __init__(self, name: str, source: Source, mapping: Mapping, layout: Layout, currency: str) -> None:
        self.name = name
        self.source = source
        self.sure = True
        self.places = [layout.headers.index(header) for header in source.headers]
        self.blank = layout.headers.index(source.blank) if source.blank else -1
        kind = import_match.kind_of(mapping.table, name)
        decimal = DECIMALS[source.decimal or mapping.decimal or "point"]
        order = source.order or mapping.order or "year-month-day"
        choices = schema.BY_NAME[mapping.table].column(name).choices if mapping.table in schema.BY_NAME else ()
        self.read = _reader(kind, decimal=decimal, order=order, source=source, currency=currency, choices=choices)
        self.plain = PlainNumbers(decimal, currency) if "money" in kind and not source.turned else None
        self.known: dict[str, str | Bad] = {"": ""}

    def column(self, cells: list[tuple[str, ...]], count: int) -> list[str | Bad]:
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
        if self.read is _text:
            # Most words stay as they are; only line ends and the like are smoothed.
            whole = " ".join(texts)
            if whole.isprintable() and LOST not in whole:
                return list(texts)
        if self.plain is not None:
            plain = self.plain.cents(texts)
            if plain is not None:
                return list(plain)
        distinct = set(texts)
        if len(self.known) > _MEMORY:
            self.known = {"": ""}
        for text in distinct.difference(self.known):
            self._value(text)
        return list(map(self.known.__getitem__, texts))

    def _value(self, text: str) -> str | Bad:
        value = self.known.get(text)
        if value is None:
            value = self.known[text] = self.read(text)
        if isinstance(value, Bad):
            self.sure = False
        return value

    def complaint(self, bad: Bad, cells: list[str]) -> str:
        """Why a cell of this column cannot be taken."""
        shown = " ".join(cells[at] for at in self.places)[:60]
        mend = f" ({bad.mend})" if bad.mend else ""
        return f"{self.name}: '{shown}' is not {bad.needed}{mend}"


def _reader(
    kind: str, *, decimal: str, order: str, source: Source, currency: str, choices: tuple[str, ...]
) -> Callable[[str], str | Bad]:
    if kind in ("money", "signed money"):
        return functools.partial(
            _money, decimal=decimal, currency=currency, turned=source.turned, signed=kind == "signed money"
        )
    if kind in ("date", "month"):
        return functools.partial(_date, order=order, month=kind == "month")
    if kind in ("number", "miles", "count"):
        factor = _KM_IN_MILES if source.unit == "km" else Decimal(1)
        return functools.partial(_number, decimal=decimal, whole=kind == "count", factor=factor)
    if kind in ("length", "weight", "minutes"):
        return functools.partial(_measure, decimal=decimal, unit=source.unit, kind=kind)
    if kind == "rate":
        return functools.partial(_rate, decimal=decimal)
    if kind == "choice":
        return functools.partial(_choice, choices=choices)
    return _text


def _text(text: str) -> str | Bad:
    if text.startswith(LOST):
        return Bad("a value", "open the workbook in a spreadsheet, let it calculate and save it")
    return text if text.isprintable() else " ".join(text.split())


def _money(text: str, *, decimal: str, currency: str, turned: bool, signed: bool) -> str | Bad:
    if text.casefold() in NOTHING:
        return ""
    value = number_of(text, decimal)
    written = read_written(text)
    if value is None or written is None or written.percent:
        return Bad("an amount" if written is None or written.percent else f"an amount with a decimal {_word(decimal)}")
    if written.currency and written.currency != currency:
        return Bad(f"in {currency}, the currency of the shop")
    if turned:
        value = -value
    if value < 0 and not signed:
        return Bad("an amount of at least 0", "it came in instead of going out" if turned else "")
    if abs(value) > LARGEST_CENTS // 100:
        return Bad("an amount of a second-hand shop")
    cents = value.quantize(_CENT, rounding=ROUND_HALF_UP)
    if cents != value:
        return Bad("an amount in whole cents")
    return f"{abs(cents):.2f}" if not cents else f"{cents:.2f}"


def _word(decimal: str) -> str:
    return "point" if decimal == "." else "comma"


def _date(text: str, *, order: str, month: bool) -> str | Bad:
    if text.casefold() in NOTHING:
        return ""
    day = dates.day_of(text, order)
    if day is None and month:
        day = _only_month(text)
    if day is None:
        reading = dates.read_date(text)
        return Bad("a date" if reading is None else f"a date in the order {order}")
    return day.isoformat()[:7] if month else day.isoformat()


def _only_month(text: str) -> dt.date | None:
    if re.fullmatch(r"\d{4}-\d{1,2}", text):
        return dates.day_of(f"{text}-01", "year-month-day")
    if re.fullmatch(r"\d{1,2}/\d{4}", text):
        number, year = text.split("/")
        return dates.day_of(f"{year}-{number}-01", "year-month-day")
    return dates.day_of(f"1 {text}", "day-month-year")


def _number(text: str, *, decimal: str, whole: bool, factor: Decimal) -> str | Bad:
    if text.casefold() in NOTHING:
        return ""
    value = number_of(text, decimal)
    if value is None or value < 0:
        return Bad("a number of at least 0")
    if whole and (value != value.to_integral_value() or not 1 <= value <= 1_000_000):
        return Bad("a whole number of at least 1")
    value *= factor
    return f"{int(value)}" if value == value.to_integral_value() else f"{value.normalize():f}"


def _measure(text: str, *, decimal: str, unit: str, kind: str) -> str | Bad:
    if text.casefold() in NOTHING:
        return ""
    value = number_of(text, decimal)
    if value is None:
        plain = _MEASURE.sub(lambda match: _plain(match.group(), decimal), text)
        column = schema.Column(kind, kind, "")  # type: ignore[arg-type]
        read = reader_of(column, unit="", units=Units())(plain)
        return Bad(read.needed) if isinstance(read, Bad) else plain
    if value < 0:
        return Bad("a measure above 0")
    if value == 0 and kind != "minutes":
        return ""
    shown = f"{value.normalize():f}"
    return f"{shown} {unit}" if unit and unit not in ("in", "lb", "min") else shown


def _plain(text: str, decimal: str) -> str:
    value = number_of(text.rstrip(".,"), decimal)
    return text if value is None else f"{value:f}"


def _rate(text: str, *, decimal: str) -> str | Bad:
    value = number_of(text, decimal)
    if value is None:
        return Bad("a rate such as 7.65 %")
    written = read_written(text)
    return f"{value:f} %" if written is not None and (written.percent or value > 1) else f"{value:f}"


def _choice(text: str, *, choices: tuple[str, ...]) -> str | Bad:
    word = " ".join(text.lower().replace("_", " ").split())
    if word in choices or not word:
        return word
    other = other_choices().get(word, "")
    if other in choices:
        return other
    return Bad(f"one of {', '.join(choices)}")
