"""Rows of an export turned into rows of the books' tables."""

from __future__ import annotations

import datetime as dt
import functools
import hashlib
import re
from base64 import b32encode
from collections import Counter
from collections.abc import Callable, Sequence
from decimal import ROUND_HALF_UP, Decimal

import numpy as np

from flipkit.books import schema
from flipkit.books.cells import Bad, Units, reader_of
from flipkit.imports import match as import_match
from flipkit.imports import values as import_values
from flipkit.imports.detect import Proposal
from flipkit.imports.join import Taken
from flipkit.imports.mapping import Mapping, Source
from flipkit.imports.sheets import LOST, Layout, Left, SortedBlock
from flipkit.imports.values import DECIMALS, NOTHING, PlainNumbers, number_of, other_choices, read_written
from flipkit.money import LARGEST_CENTS, share_out_groups

# Cells of an export read into the text that the books write, each distinct one once.

_MEMORY = 200_000
_CENT = Decimal("0.01")
_KM_IN_MILES = Decimal("0.621371192")
_MEASURE = re.compile(r"[\d.,]+")


class ColumnReader:
    """Reads one column of a table out of the cells of an export, each distinct text once."""

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
    day = import_values.day_of(text, order)
    if day is None and month:
        day = _only_month(text)
    if day is None:
        reading = import_values.read_date(text)
        return Bad("a date" if reading is None else f"a date in the order {order}")
    return day.isoformat()[:7] if month else day.isoformat()


def _only_month(text: str) -> dt.date | None:
    if re.fullmatch(r"\d{4}-\d{1,2}", text):
        return import_values.day_of(f"{text}-01", "year-month-day")
    if re.fullmatch(r"\d{1,2}/\d{4}", text):
        number, year = text.split("/")
        return import_values.day_of(f"{year}-{number}-01", "year-month-day")
    return import_values.day_of(f"1 {text}", "day-month-year")


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


# Rows of one order: amounts shared among its items, and a name for every item.

#: What a row of items is known by when nothing in the export names it.
_IDENTITY = ("order_id", "title", "bought_on", "cost", "quantity", "sold_on", "sold_price")


def share_orders(taken: Taken, mapping: Mapping) -> None:
    """Share the amounts of an order among its items, so that not a cent is lost or invented."""
    shared = [name for name, source in mapping.columns.items() if source.per_order]
    if not shared or "order_id" not in taken.columns:
        return
    order_at = taken.columns.index("order_id")
    title_at = taken.columns.index("title") if "title" in taken.columns else -1
    price_at = taken.columns.index("sold_price") if "sold_price" in taken.columns else -1
    groups: dict[str, list[int]] = {}
    for place, row in enumerate(taken.rows):
        groups.setdefault(row[order_at] or f"\0{place}", []).append(place)
    bad: dict[int, str] = {}
    heads: dict[int, str] = {}
    for order, places in groups.items():
        lines = [place for place in places if title_at < 0 or taken.rows[place][title_at]]
        if not lines:
            bad.update(dict.fromkeys(places, "no title"))
            continue
        amounts: dict[str, str] = {}
        for name in shared:
            at = taken.columns.index(name)
            said = {taken.rows[place][at] for place in places} - {""}
            if len(said) > 1:
                shown = " and ".join(sorted(said)[:3])
                reason = f"{name} differs between the lines of order {order}: {shown}"
                bad.update(dict.fromkeys(places, reason))
            amounts[name] = said.pop() if len(said) == 1 else ""
        if places[0] in bad:
            continue
        for place in places:
            if place not in lines:
                heads[place] = f"its amounts went to the items of order {order}"
        if len(lines) > 1 or len(places) > 1:
            prices = [_cents(taken.rows[place][price_at]) if price_at >= 0 else 0 for place in lines]
            for name, text in amounts.items():
                at = taken.columns.index(name)
                shares = _shared(_cents(text), prices) if text else [""] * len(lines)
                for place, share in zip(lines, shares, strict=True):
                    taken.rows[place][at] = share
    for place, reason in heads.items():
        taken.joined.append(Left(taken.origins[place], reason, []))
    taken.drop(bad, silently=set(heads))


def _cents(text: str) -> int:
    return int(Decimal(text or "0") * 100)


def _shared(total: int, weights: list[int]) -> list[str]:
    shares = share_out_groups([total], np.zeros(len(weights), dtype=np.int64), weights)
    return [f"{Decimal(int(share)) / 100:.2f}" for share in shares]


def name_rows(taken: Taken, mapping: Mapping) -> None:
    """Give every row a name: its own, its place in its order, or one made from what it says.

    A made name depends on the row alone, so that the same row has it in every later export; rows
    that say the same are counted, so that separate things keep separate names.
    """
    key = {"items": "item_id", "trips": "trip_id", "lots": "lot_id"}[mapping.table]
    if key in taken.columns:
        at = taken.columns.index(key)
        taken.named = all(row[at] for row in taken.rows)
        if taken.named:
            return
    else:
        taken.columns.insert(0, key)
        for row in taken.rows:
            row.insert(0, "")
        at = 0
    order_at = taken.columns.index("order_id") if "order_id" in taken.columns else -1
    fixed = {name for name, source in mapping.columns.items() if source.value}
    parts = [taken.columns.index(name) for name in _IDENTITY if name in taken.columns and name not in fixed]
    if mapping.table == "items" and "bought_on" in mapping.columns and "bought_on" not in fixed:
        parts = [place for place in parts if taken.columns[place] not in ("sold_on", "sold_price")]
    if mapping.table != "items":
        parts = [place for place in range(len(taken.columns)) if place != at]
    seen: Counter[str] = Counter()
    for row in taken.rows:
        if row[at]:
            continue
        if order_at >= 0 and row[order_at]:
            stem = row[order_at]
        else:
            said = "\x1f".join(row[place] for place in parts)
            stem = b32encode(hashlib.blake2b(said.encode(), digest_size=7).digest()).decode().lower().rstrip("=")[:11]
        seen[stem] += 1
        row[at] = f"{stem}-{seen[stem]}"


def name_orders(taken: Taken) -> None:
    """Say that a line of several like things sold them together, where the export names no order.

    The books split such a row into items, and ask about a sale that does not say how many it sold.
    """
    if not {"quantity", "sold_on", "item_id"} <= set(taken.columns):
        return
    count_at, sold_at, id_at = (taken.columns.index(name) for name in ("quantity", "sold_on", "item_id"))
    several = [row for row in taken.rows if row[sold_at] and row[count_at] not in ("", "1")]
    if several and "order_id" not in taken.columns:
        taken.columns.append("order_id")
        for row in taken.rows:
            row.append("")
    for row in several:
        order_at = taken.columns.index("order_id")
        row[order_at] = row[order_at] or row[id_at]


# Rows of an export turned into rows of a table: every one taken or refused with its reasons.


def taken_rows(proposal: Proposal, *, currency: str = "USD") -> Taken:
    """Turn the rows of an export into rows of its table."""
    layout, mapping = proposal.layout, proposal.mapping
    assert layout is not None  # noqa: S101 - a proposal without questions has a layout
    columns = list(mapping.columns)
    taken = Taken(columns)
    readers = [ColumnReader(name, source, mapping, layout, currency) for name, source in mapping.columns.items()]
    totals = {total.row for total in layout.totals} if mapping.rows.totals != "keep" else set()
    skip = [(layout.headers.index(header), set(texts)) for header, texts in mapping.rows.skip.items() if texts]
    keep = [(layout.headers.index(h), h, texts) for h, texts in mapping.rows.keep.items() if texts and "*" not in texts]
    seen: dict[int, int] = {}
    for block in layout.sorted_blocks(proposal.export, once=True):
        taken.refused += block.left
        numbers, rows = block.numbers, block.rows
        if totals or skip or keep or mapping.rows.duplicates == "once":
            once = mapping.rows.duplicates == "once"
            numbers, rows = _counted(block, totals, skip, keep, seen, once=once, taken=taken)
        if rows:
            _take(numbers, rows, readers, mapping, taken)
    share_orders(taken, mapping)
    if mapping.table in ("items", "trips", "lots"):
        name_rows(taken, mapping)
    if mapping.table == "items":
        name_orders(taken)
    return taken


def _counted(
    block: SortedBlock,
    totals: set[int],
    skip: list[tuple[int, set[str]]],
    keep: list[tuple[int, str, tuple[str, ...]]],
    seen: dict[int, int],
    *,
    once: bool,
    taken: Taken,
) -> tuple[Sequence[int], list[list[str]]]:
    """The rows of a block that count, the others refused with their reason."""
    numbers: list[int] = []
    rows: list[list[str]] = []
    for number, cells in zip(block.numbers, block.rows, strict=True):
        reason = "a row that adds up others" if number in totals else ""
        if not reason and skip:
            hit = next((cells[at] for at, texts in skip if cells[at] in texts), None)
            reason = f"left out as you said: {hit}" if hit is not None else ""
        for at, header, texts in keep if not reason else ():
            if not any(text in cells[at].lower() for text in texts):
                reason = f"none of the words to keep stands in {header}"
        if not reason and once:
            first = seen.setdefault(hash(tuple(cells)), number)
            reason = f"equal to row {first} in every cell" if first != number else ""
        if reason:
            taken.refused.append(Left(number, reason, cells))
        else:
            numbers.append(number)
            rows.append(cells)
    return numbers, rows


def _take(
    numbers: Sequence[int], rows: list[list[str]], readers: list[ColumnReader], mapping: Mapping, taken: Taken
) -> None:
    cells = list(zip(*rows, strict=True))
    columns = [reader.column(cells, len(rows)) for reader in readers]
    bad: dict[int, list[str]] = {}
    for reader, values in zip(readers, columns, strict=True):
        if not reader.sure:
            for place, value in enumerate(values):
                if isinstance(value, Bad):
                    bad.setdefault(place, []).append(reader.complaint(value, rows[place]))
    _times_quantity(readers, columns, bad)
    for reader, values in zip(readers, columns, strict=True):
        if _may_be_blank(reader.name, mapping) or "" not in values:
            continue
        for place, value in enumerate(values):
            if value == "":
                bad.setdefault(place, []).append(f"no {reader.name}")
    if not bad:
        taken.rows.extend(map(list, zip(*columns, strict=True)))
        taken.origins.extend(numbers)
        return
    for place, values_of in enumerate(zip(*columns, strict=True)):
        if place in bad:
            taken.refused.append(Left(numbers[place], "; ".join(bad[place]), rows[place]))
        else:
            taken.rows.append([str(value) for value in values_of])
            taken.origins.append(numbers[place])


def _may_be_blank(name: str, mapping: Mapping) -> bool:
    """Whether a row can do without a column: it is not required, or another stands in for it."""
    if name not in import_match.required_of(mapping.table):
        return True
    if name == "cost" and "lot_id" in mapping.columns:
        return True
    # The head of an order has no title: its amounts go to the lines of the order.
    shared = "order_id" in mapping.columns and any(source.per_order for source in mapping.columns.values())
    return name == "title" and shared


def _times_quantity(readers: list[ColumnReader], columns: list[list[str | Bad]], bad: dict[int, list[str]]) -> None:
    names = [reader.name for reader in readers]
    if "quantity" not in names:
        return
    counts = columns[names.index("quantity")]
    for reader, values in zip(readers, columns, strict=True):
        if not reader.source.each:
            continue
        for place, (value, count) in enumerate(zip(values, counts, strict=True)):
            if (
                place not in bad
                and isinstance(value, str)
                and isinstance(count, str)
                and value
                and count not in ("", "1")
            ):
                values[place] = f"{Decimal(value) * int(count):.2f}"
