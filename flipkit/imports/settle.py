"""What an export leaves open: settled where the file settles it, asked otherwise."""

from __future__ import annotations

import re
from collections import Counter
from decimal import Decimal

from flipkit.books import schema
from flipkit.books.cells import InvalidCell
from flipkit.books.problems import Problem, rows_in_words
from flipkit.errors import ConversionError
from flipkit.imports import match as import_match
from flipkit.imports import values
from flipkit.imports.cells import ColumnReader
from flipkit.imports.join import plain
from flipkit.imports.mapping import Mapping, Source
from flipkit.imports.match import MONEY, NUMBERS, Candidate, Draft, facts_of, updated, with_column
from flipkit.imports.sheets import ColumnFacts, Export, Layout
from flipkit.imports.values import DECIMALS, ORDERS, number_of

# What the amounts of an export are for: one thing or several, a line or its order, spent or earned.


def settle_rivals(export: Export, layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Ask where two headers both say what a column of money or dates holds, and differ."""
    if mapping.table != "items" and mapping.table != values.LABELS:
        return mapping
    said = {key.removeprefix("column ") for key in draft.answers if key.startswith("column ")}
    for match in import_match.matches(layout, mapping.table):
        kind = import_match.kind_of(mapping.table, match.column)
        source = mapping.columns.get(match.column)
        if source is None or source.headers != (match.header,) or match.column in said or not match.rivals:
            continue
        if kind not in (*MONEY, "date"):
            continue
        rival = match.rivals[0]
        one, other = layout.headers.index(match.header), layout.headers.index(rival)
        if all(cells[one] == cells[other] for cells in layout.all_cells(export)):
            continue
        if match.column in ("cost", "sold_price"):
            product = _product(export, layout, mapping, one, other)
            if product:
                draft.certain.append(product)
                continue
        draft.decide(
            f"column {match.column}",
            f"{match.header} and {rival} could both be {match.column}, and they differ",
            *(Candidate(header, typed=f"'{match.column}={header}'") for header in (match.header, *match.rivals)),
            option="--column",
        )
    return mapping


def _product(export: Export, layout: Layout, mapping: Mapping, one: int, other: int) -> str:
    """Whether one amount is the other times the quantity, in every row."""
    quantity = mapping.columns.get("quantity")
    if quantity is None or not quantity.headers:
        return ""
    at = layout.headers.index(quantity.headers[0])
    several = 0
    for cells in layout.all_cells(export):
        whole, each, count = (_number(layout, cells, place) for place in (one, other, at))
        if whole is None or each is None or count is None:
            continue
        if abs(each * count - whole) > Decimal("0.01") * max(count / 2, Decimal(1)):
            return ""
        several += count > 1
    if several:
        return f"{layout.headers[one]} is {layout.headers[other]} times {quantity.headers[0]}"
    return ""


def _number(layout: Layout, cells: list[str], at: int) -> Decimal | None:
    return number_of(cells[at], layout.facts[at].likely_decimal) if cells[at] else None


def settle_each(layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Settle whether an amount is for one of several like things or for all of them."""
    quantity = mapping.columns.get("quantity")
    if mapping.table != "items" or quantity is None or not quantity.headers:
        return mapping
    at = layout.headers.index(quantity.headers[0])
    several = [record.row for record in layout.kept if (_number(layout, record.cells, at) or 0) > 1]
    # The examples are the first different texts of the whole column: where all say one, every row does.
    decimal = layout.facts[at].likely_decimal
    if not several and all((number_of(text, decimal) or 0) <= 1 for text in layout.facts[at].examples):
        return mapping
    for column, key in (("cost", "cost-is"), ("sold_price", "price-is"), ("list_price", "list-is")):
        source = mapping.columns.get(column)
        if source is None or len(source.headers) != 1 or source.each:
            continue
        header = source.headers[0]
        words = values.heading(header).words
        whole = bool(values.WHOLE.search(words)) or any(header in line and " times " in line for line in draft.certain)
        each = not whole and bool(values.EACH.search(words))
        said = draft.decide(
            key,
            f"{rows_in_words(several, most=5) if several else 'some rows'} have a quantity above 1, and "
            f"{header} does not say what it is for",
            Candidate(
                "each",
                "for one, so the row costs that times the quantity",
                0.9 if each else 0.0 if whole else 0.5,
                f"{header} is for one; the row's {column} is that times the quantity",
            ),
            Candidate("row", "for all of the row", 0.9 if whole else 0.1 if each else 0.5),
        )
        if said == "each":
            mapping = with_column(mapping, column, each=True)
    return mapping


def settle_of_order(export: Export, layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Settle whether an amount that repeats within an order belongs to the order or to each line."""
    order = mapping.columns.get("order_id")
    if mapping.table != "items" or order is None or not order.headers:
        return mapping
    at = layout.headers.index(order.headers[0])
    groups: dict[str, list[list[str]]] = {}
    price = mapping.columns.get("sold_price")
    price_at = layout.headers.index(price.headers[0]) if price is not None and price.headers else -1
    for cells in layout.all_cells(export) if not layout.facts[at].unique else ():
        # Money given back says nothing about how the sale's own lines are written.
        if cells[at] and not (price_at >= 0 and (_number(layout, cells, price_at) or 0) < 0):
            groups.setdefault(cells[at], []).append(cells)
    several = [lines for lines in groups.values() if len(lines) > 1]
    if not several:
        return mapping
    for column, key in (("shipping_charged", "shipping-is"), ("fees_paid", "fees-are"), ("label_paid", "shipping-is")):
        source = mapping.columns.get(column)
        if source is None or len(source.headers) != 1 or source.per_order:
            continue
        place = layout.headers.index(source.headers[0])
        alike = sum(len({cells[place] for cells in lines}) == 1 and bool(lines[0][place]) for lines in several)
        equal = alike >= 0.5 * len(several)
        first = all(sum(bool(cells[place]) for cells in lines) <= 1 for lines in several)
        some = any(cells[place] and _number(layout, cells, place) for lines in several for cells in lines)
        if key not in draft.answers and not (some and (first or equal)):
            continue
        named = bool(values.OF_ORDER.search(values.heading(source.headers[0]).words))
        way = "stands once an order and is" if first else "repeats on the lines of an order and is"
        whose = "its items" if first else "them"
        said = draft.decide(
            key,
            f"{source.headers[0]} is the same on all lines of each order",
            Candidate(
                "order",
                "it was paid once for the order and is shared among its items",
                1.0 if first else 0.9 if named else 0.5,
                f"{source.headers[0]} {way} shared among {whose}",
            ),
            Candidate("line", "it was paid for each line", 0.0 if first else 0.3),
        )
        if said:
            mapping = with_column(mapping, column, per_order=said == "order")
    return mapping


def settle_signs(layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Turn costs that a list writes as negative."""
    kinds = MONEY if mapping.table == values.LABELS else ("money",)
    for name, fact in facts_of(layout, mapping, kinds).items():
        numbers = fact.numbers
        if name in ("adjustment", "label_adjustment"):
            continue
        if numbers.negatives and not numbers.positives and not mapping.columns[name].turned:
            mapping = with_column(mapping, name, turned=True)
            draft.guessed.append(f"{fact.header} writes amounts as negative throughout; the sign is turned")
        elif mapping.table == "overheads" and name == "amount" and numbers.negatives and numbers.positives:
            mapping = with_column(mapping, name, turned=True)
            draft.guessed.append(f"negative amounts in {fact.header} are spent, positive ones came in and are refused")
    return mapping


# Marks of an export that one file settles or the seller must: decimals, dates, currency.

_WORD_OF = {mark: word for word, mark in DECIMALS.items()}


def settle_decimal(layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Settle the decimal mark, from the whole file where a column does not say."""
    said = _said(draft, "decimal", mapping.decimal, tuple(DECIMALS))
    numeric = facts_of(layout, mapping, NUMBERS)
    if said:
        return updated(mapping, decimal=said)
    settled: dict[str, str] = {}
    open_: dict[str, ColumnFacts] = {}
    for name, fact in numeric.items():
        if mapping.columns[name].decimal:
            continue
        decisive = list(fact.numbers.decisive)
        if len(decisive) == 1:
            settled[name] = decisive[0]
        elif len(decisive) == 2:
            shown = " and ".join(fact.numbers.decisive.values())
            draft.decide(
                "decimal",
                f"{fact.header} writes numbers in two ways, {shown}; the others would be refused",
                Candidate("point", f"{fact.numbers.decisive['.']} is meant"),
                Candidate("comma", f"{fact.numbers.decisive[',']} is meant"),
            )
            return mapping
        elif fact.numbers.grouped:
            settled[name] = "," if fact.numbers.grouped == "." else "."
        elif fact.numbers.doubtful:
            open_[name] = fact
    marks = set(settled.values())
    if len(marks) == 1:
        mark = next(iter(marks))
        name = next(iter(settled))
        header = mapping.columns[name].headers[0]
        seen = numeric[name].numbers.decisive.get(mark)
        proof = f"{header} holds {seen}" if seen else f"{header} marks every thousand with it and nothing below"
        told = f"the decimal mark is a {_WORD_OF[mark]}: {proof}"
        draft.certain.append(told)
        if open_:
            draft.guessed.append(f"the same mark holds in {', '.join(f.header for f in open_.values())}")
        return updated(mapping, decimal=_WORD_OF[mark])
    if len(marks) == 2:
        for name, mark in settled.items():
            mapping = with_column(mapping, name, decimal=_WORD_OF[mark])
        draft.certain.append("columns differ in their decimal mark, each written in its own way throughout")
    if open_:
        fact = next(iter(open_.values()))
        mark, text = next(iter(fact.numbers.doubtful.items()))
        plain = text.strip("()$€£ -")
        draft.decide(
            "decimal",
            f"{fact.header} holds {text}, and nothing says what the mark is",
            Candidate("point", f"{plain} is {_shown(number_of(text, '.'))}"),
            Candidate("comma", f"{plain} is {_shown(number_of(text, ','))}"),
        )
        return mapping
    return updated(mapping, decimal=mapping.decimal or "point") if len(marks) < 2 else mapping


def _shown(value: Decimal | None) -> str:
    return "no number" if value is None else f"{abs(value):f}"


def settle_order(layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Settle the order of day, month and year, from the whole file where a column does not say."""
    said = _said(draft, "dates", mapping.order, ORDERS)
    facts = facts_of(layout, mapping, ("date", "month"))
    for fact in facts.values():
        if fact.dates.serials:
            draft.guessed.append(f"numbers in {fact.header} such as {fact.examples[0]} are a spreadsheet's day numbers")
        if fact.dates.short_years:
            draft.guessed.append(f"two-digit years in {fact.header} are 1970 to 2069")
        if fact.dates.clocks:
            draft.certain.append(f"the time of day in {fact.header} is left aside")
    if said:
        return updated(mapping, order=said)
    settled: dict[str, str] = {}
    open_: dict[str, ColumnFacts] = {}
    for name, fact in facts.items():
        if mapping.columns[name].order or not fact.dates.matters:
            continue
        fitting = fact.dates.orders
        if len(fitting) == 1:
            settled[name] = fitting[0]
        else:
            open_[name] = fact
    found = list(dict.fromkeys(settled.values()))
    if found:
        name = next(iter(settled))
        fact = facts[name]
        seen = fact.dates.decisive.get(settled[name], fact.examples[0])
        draft.certain.append(f"dates are {found[0]}: {fact.header} holds {seen}")
        if len(found) > 1:
            for other, order in settled.items():
                if order != found[0]:
                    mapping = with_column(mapping, other, order=order)
                    draft.certain.append(f"dates in {facts[other].header} are {order}")
    if open_:
        contrary = [fact for fact in open_.values() if not fact.dates.orders]
        if found and len(found) == 1 and not contrary:
            draft.guessed.append(f"the same order holds in {', '.join(f.header for f in open_.values())}")
            return updated(mapping, order=found[0])
        fact = contrary[0] if contrary else next(iter(open_.values()))
        _ask_order(fact, draft)
    return updated(mapping, order=found[0]) if found else mapping


def _ask_order(fact: ColumnFacts, draft: Draft) -> None:
    evidence = fact.dates
    if not evidence.orders:
        shown = " and ".join(evidence.decisive.values())
        choices = [
            Candidate(order, f"{evidence.fits[order]} texts fit, the others are refused")
            for order in ORDERS
            if evidence.fits[order]
        ]
        draft.decide("dates", f"{fact.header} holds dates in more than one order, such as {shown}", *choices)
        return
    text = evidence.differing
    choices = []
    for order in evidence.orders:
        day = values.day_of(text, order)
        if day is not None:
            choices.append(Candidate(order, f"{text} is {day.day} {day:%B} {day.year}"))
    draft.decide("dates", f"every date in {fact.header} reads in more than one way, such as {text}", *choices)


def _said(draft: Draft, key: str, given: str, choices: tuple[str, ...]) -> str:
    """What the seller said to one question, here or in a kept mapping."""
    said = draft.answers.get(key, given)
    if said and said not in choices:
        raise ConversionError([Problem("answers", None, key, said, f"one of {', '.join(choices)}", "")])
    return said


def settle_currency(export: Export, layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Settle the currency of the amounts: two signs, or two codes in a column, are never one currency."""
    found: dict[str, str] = {}
    for fact in facts_of(layout, mapping, MONEY).values():
        for code in (*fact.numbers.currencies, values.heading(fact.header).currency):
            if code:
                found.setdefault(code, fact.header)
    column = next((fact for fact in layout.facts if _holds_codes(fact)), None)
    codes: list[str] = []
    if column is not None:
        codes = sorted({cells[column.index] for cells in layout.all_cells(export)} - {""})
        found = {**dict.fromkeys(map(str.upper, codes), column.header), **found}
    for sign, fitting in values.SHARED_SIGNS.items():
        named = [code for code in found if code in fitting]
        if sign in found and len(named) == 1:
            del found[sign]
        elif sign in found and len(found) > 1:
            found[fitting[0]] = found.pop(sign)
    said = draft.answers.get("currency", mapping.currency).upper()
    if not said and len(found) == 1 and not set(found) & set(values.SHARED_SIGNS):
        said, header = next(iter(found.items()))
        draft.certain.append(f"amounts are in {said}: {header} says so")
    elif not said and len(found) > 1:
        draft.decide(
            "currency",
            "the amounts are in more than one currency, and a shop has one",
            *(Candidate(code, f"as in {head}; rows in another currency are refused") for code, head in found.items()),
        )
    if column is not None and said and len(codes) > 1 and column.header not in mapping.rows.keep:
        keep = {**mapping.rows.keep, column.header: (said.lower(),)}
        mapping = updated(mapping, rows=mapping.rows.model_copy(update={"keep": keep}))
    return updated(mapping, currency=said) if said else mapping


def _holds_codes(fact: ColumnFacts) -> bool:
    """Whether a column holds currencies, by their codes or signs."""
    return 0 < fact.distinct <= 12 and all(values.is_currency(text) for text in fact.examples)


# What an export leaves open once its columns are known: settled where the whole file settles it.
#
# Every decision follows one rule: where all rows speak for one reading it is certain, where a wrong reading would
# be seen it is guessed and told, and otherwise it is asked.

#: Columns that an export of sales or stock may lack and that only the seller can give.
_HINTS = {
    "cost": "0 if all of it was free, blank if you do not know, or the column of another export later",
    "bought_on": "a header that comes close, such as the day of listing, or one day for all rows",
    "category": "one word for all rows, such as unsorted; mend it in the books later",
    "title": "a header; two joined by + become one text",
    "worker": "a name, such as me",
    "sold_on": "a header, or one day for all rows",
    "sold_price": "what the buyer paid for the goods alone",
}
_SIDES = ("length_in", "width_in", "height_in")


def settle(export: Export, layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Settle what an export leaves open."""
    mapping = settle_decimal(layout, mapping, draft)
    mapping = settle_order(layout, mapping, draft)
    mapping = settle_currency(export, layout, mapping, draft)
    _require_readable(layout, mapping)
    mapping = _identity(export, layout, mapping, draft)
    if not draft.kept:
        mapping = settle_rivals(export, layout, mapping, draft)
        mapping = settle_each(layout, mapping, draft)
        mapping = settle_of_order(export, layout, mapping, draft)
        mapping = _refunds(layout, mapping, draft)
        mapping = settle_signs(layout, mapping, draft)
        mapping = _blanks(layout, mapping, draft)
        mapping = _flags(layout, mapping, draft)
        mapping = _units(layout, mapping, draft)
    mapping = _skip(export, layout, mapping, draft)
    mapping = _keep(layout, mapping, draft)
    mapping = _repeats(layout, mapping, draft)
    _missing(layout, mapping, draft)
    mapping = _meanings(layout, mapping, draft)
    mapping = _free_or_unknown(mapping, draft)
    mapping = _otherwise(layout, mapping, draft)
    _nothings(layout, mapping, draft)
    return _words(export, layout, mapping, draft)


def _require_readable(layout: Layout, mapping: Mapping) -> None:
    """Refuse a value for every row, or for every blank, that its column cannot take."""
    for name, source in mapping.columns.items():
        for word, text in (("column", source.value), ("blank", source.otherwise)):
            read = ColumnReader(name, source, mapping, layout).read(text) if text else ""
            if isinstance(read, InvalidCell):
                raise ConversionError([Problem("answers", None, f"{word} {name}", text, read.needed, read.mend)])


def _with_rows(mapping: Mapping, **changes: object) -> Mapping:
    return updated(mapping, rows=mapping.rows.model_copy(update=changes))


def _identity(export: Export, layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """What names the rows: what the books' table is named by already, else a number that no two things share."""
    if mapping.table not in ("items", "trips", "lots"):
        return mapping
    key = f"{mapping.table[:-1]}_id"
    named = draft.naming.get(mapping.table, ())
    source = mapping.columns.get(key)
    own = source.headers[0] if source is not None and len(source.headers) == 1 else ""
    if named[:1] == ("",) and own not in named[1:] and all(name in mapping.columns for name in named[1:]):
        # The rows in the books were named by what they say: the later file's are, too.
        mapping = _without_id(mapping, key) if own else mapping
        return _with_rows(mapping, named_by=named[1:])
    if not own and named[:1] > ("",) and mapping.table == "items":
        return _names(layout, mapping, draft, named[0])
    if not own or mapping.table != "items":
        return mapping
    fact = layout.fact(own)
    if fact.unique and (fact.filled == fact.rows or own in named):
        return mapping
    price = mapping.columns.get("sold_price")
    price_at = layout.headers.index(price.headers[0]) if price is not None and price.headers else -1
    totals = {tuple(total.cells) for total in layout.totals}
    rows: dict[str, set[int]] = {}
    blank = 0
    for cells in layout.all_cells(export):
        back = price_at >= 0 and (_number(layout, cells, price_at) or 0) < 0
        if cells[fact.index] and not back:
            rows.setdefault(cells[fact.index], set()).add(hash(tuple(cells)))
        blank += not cells[fact.index] and tuple(cells) not in totals
    repeats = [name for name, seen in rows.items() if len(seen) > 1]
    if own in named or (not repeats and blank < 0.3 * fact.rows):
        if blank and own not in named:
            draft.guessed.append(f"{fact.header} is blank in {blank:,} rows, which get names of their own")
        if not repeats and layout.duplicate_count and "duplicates" not in draft.answers and not mapping.rows.duplicates:
            count = layout.duplicate_count
            draft.certain.append(f"{count:,} rows are copies of an earlier one, {own} and all: they count once")
            mapping = _with_rows(mapping, duplicates="once")
        return mapping
    few = bool(repeats) and len(repeats) <= 0.2 * len(rows)
    why = "repeats" if repeats else f"is blank in {blank:,} rows"
    told = f"{fact.header} {why}, so each row gets a name of its own"
    spare = "" if "note" in mapping.columns else f", and {fact.header} goes to note"
    said = draft.decide(
        "ids",
        f"{own} repeats in rows that differ ({', '.join(repeats[:3])}): are they the same thing?",
        Candidate("separate", "different things: the second gets -2 behind its number", 0.5 if few else 0.0),
        Candidate("same", "one thing, written more than once", 0.5 if few else 0.0),
        Candidate("note", "the number names no thing: each row gets a name of its own", 0.8 - 0.4 * few, told + spare),
        given=mapping.rows.ids,
    )
    if said == "note":
        columns = mapping.columns if "note" in mapping.columns else {**mapping.columns, "note": mapping.columns[key]}
        draft.guessed[:] = [line for line in draft.guessed if not line.startswith("item_id is ")]
        draft.certain[:] = [line for line in draft.certain if not line.startswith("item_id is ")]
        mapping = _without_id(updated(mapping, columns=columns), key)
    return _with_rows(mapping, ids=said or "")


def _names(layout: Layout, mapping: Mapping, draft: Draft, by: str) -> Mapping:
    """Rows without the number that the books name their items by: things that are there, or new ones."""
    at = _place(layout, mapping, "title")
    held = {plain(row["title"]) for row in draft.stock.rows}
    there = sum(plain(record.cells[at]) in held for record in layout.kept) if at >= 0 else 0
    if not there or _place(layout, mapping, "cost") < 0:
        return mapping
    said = draft.decide(
        "names",
        f"the books name their items by {by}, which this file lacks, and {there:,} titles are in the books",
        Candidate("match", "these rows are those items, where one title fits one item"),
        Candidate("new", "these rows are other things"),
        given=mapping.rows.names,
    )
    return _with_rows(mapping, names=said or "")


def _without_id(mapping: Mapping, key: str) -> Mapping:
    return updated(mapping, columns={name: source for name, source in mapping.columns.items() if name != key})


def _refunds(layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Rows with a negative price beside sales of the same order: money given back."""
    price = mapping.columns.get("sold_price")
    linked = {"order_id", "item_id", "title"} & set(mapping.columns)
    if mapping.table != "items" or price is None or len(price.headers) != 1 or not linked:
        return mapping
    numbers = layout.fact(price.headers[0]).numbers
    if not numbers.negatives or not numbers.positives:
        return mapping
    said = draft.decide(
        "refunds",
        f"{price.headers[0]} is negative in some rows",
        Candidate(
            "join",
            "money given back: it goes to the sale of the same order",
            0.9 if linked & {"order_id", "item_id"} else 0.6,
            f"rows with a negative {price.headers[0]} are money given back; it goes to the sale of the same order",
        ),
        Candidate("refuse", "list these rows and take the others", 0.4),
        given=mapping.rows.refunds,
    )
    return _with_rows(mapping, refunds=said or "")


def _flags(layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """A column that says yes or no to whether a thing is sold: where it says no there is no sale."""
    if mapping.table != "items":
        return mapping
    for fact in layout.facts:
        if import_match.is_flag(fact) and values.SOLD_FLAG.search(values.heading(fact.header).words.rstrip("? ")):
            no = tuple(text for text in fact.examples if text.casefold() in values.NO)
            if no:
                draft.guessed.append(f"where {fact.header} says {no[0]} the thing is not sold")
                mapping = _with_rows(mapping, unsold={fact.header: no})
    return mapping


def _units(layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """The unit of bare numbers in sides, weights and times: as other headers say, or asked."""
    groups = (
        ("length-unit", _SIDES, (("in", "inches"), ("cm", "centimeters"), ("mm", "millimeters"), ("ft", "feet"))),
        ("weight-unit", ("weight_lb",), (("lb", "pounds"), ("oz", "ounces"), ("kg", "kilograms"), ("g", "grams"))),
        ("time-unit", ("minutes",), (("min", "minutes"), ("hour", "hours"), ("s", "seconds"))),
    )
    for key, names, choices in groups:
        named = [name for name in names if name in mapping.columns and mapping.columns[name].headers]
        bare = [n for n in named if not mapping.columns[n].unit and _bare(layout, mapping.columns[n].headers[0])]
        if not bare:
            continue
        said = {mapping.columns[name].unit for name in named} - {""}
        headers = ", ".join(mapping.columns[name].headers[0] for name in bare)
        # A time that is called minutes or hours has its unit; what is called time has none.
        candidates = [
            Candidate(unit, word, 0.9 if said == {unit} else 0.5, f"{headers} is in {word}, like the sides beside it")
            for unit, word in choices
        ]
        unit = draft.decide(key, f"{headers} holds bare numbers: in which unit?", *candidates)
        for name in bare if unit else ():
            mapping = with_column(mapping, name, unit=unit)
    return mapping


def _bare(layout: Layout, header: str) -> bool:
    fact = layout.fact(header)
    return fact.numbers.read > 0.5 * (fact.numbers.read + fact.numbers.unread)


#: What a column of money, days or measures may be that no header tells, the likelier first.
_MAY_BE = {
    "money": (
        "sold_price",
        "shipping_charged",
        "label_paid",
        "fees_paid",
        "materials_paid",
        "cost",
        "list_price",
        "refund",
    ),
    "date": ("listed_on", "sold_on", "bought_on", "returned_on"),
    "length": _SIDES,
    "weight": ("weight_lb",),
}
_IGNORED = re.compile(
    r"pct\b|\b(?:zip|postcode|plz|phone|code|ean|isbn|station|per|percent|square|sq|tax|vat|year|age|shelf|bin|box|row|line|page|views?|watchers?|days?|count|rank|number|no|id)\b"
)
_PRICED = re.compile(r"\b(?:price|cost|paid|fees?|charged?|amount|preis|kosten|prix|precio|prezzo|prijs|cena|koszt)\b")


def _meanings(layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Columns of money, days or measures that no header tells, or that may be income or cost: by evidence, or asked."""
    ignored = list(mapping.ignore)
    for fact in layout.facts if mapping.table == "items" else ():
        if draft.answers.get(f"means {fact.header}") == "ignore" or fact.header in ignored:
            ignored = list(dict.fromkeys([*ignored, fact.header]))
            mapping = updated(
                mapping, columns={n: s for n, s in mapping.columns.items() if s.headers != (fact.header,)}
            )
            continue
        taken = next((name for name, s in mapping.columns.items() if fact.header in (*s.headers, s.blank)), "")
        candidates = _meaning_of(fact, taken, mapping, draft)
        if not candidates or (
            f"means {fact.header}" not in draft.answers
            and any(question.key.startswith("column ") for question in draft.questions)
        ):
            # What a record cannot be without is asked first: it may be this header.
            continue
        seen = ", ".join(fact.examples[:3])
        said = draft.decide(f"means {fact.header}", f"what is {fact.header} ({seen})?", *candidates, option="--column")
        if said is None or said == taken:
            continue
        columns = {name: source for name, source in mapping.columns.items() if name != taken}
        if said != "ignore":
            unit = unit_for(values.heading(fact.header).unit, "items", said)
            columns[said] = Source(headers=(fact.header,), unit=unit)
        mapping = updated(mapping, columns=columns)
    return updated(mapping, ignore=tuple(ignored))


def _meaning_of(fact: ColumnFacts, taken: str, mapping: Mapping, draft: Draft) -> list[Candidate]:
    """What a header may be: nothing where that is settled."""
    if fact.header in draft.seen:
        return []
    heading = values.heading(fact.header)
    said = f"column {taken}" in draft.answers or draft.kept
    own = [
        column for (table, column), score in values.likenesses(heading.words).items() if table == "items" and score > 90
    ]
    if not taken and any(
        f" {fact.header} times " in line or line.startswith(f"{fact.header} is") for line in draft.certain
    ):
        return []
    if not taken and any(name in mapping.columns and f"column {name}" in draft.answers for name in own):
        # The seller took that column from elsewhere.
        return []
    doubtful = [n for n in ("shipping_charged", "label_paid") if values.likeness(heading.words, "items", n) == 64.0]
    either = len(doubtful) == 2 and taken in ("", *doubtful) and not (said and taken)
    if not either and (taken or not fact.filled or values.COMPUTED.search(heading.words) or not _counts(fact, heading)):
        return []
    kind = "date" if fact.is_date else "money"
    kind = {"in": "length", "cm": "length", "mm": "length", "lb": "weight", "kg": "weight"}.get(heading.unit, kind)
    names = doubtful if either else [name for name in _MAY_BE[kind] if name not in mapping.columns]
    other = next((n for n in doubtful if n != taken and n in mapping.columns), "") if either else ""
    found = []
    for name in names:
        meaning = schema.ITEMS.column(name).meaning
        evidence = 0.5
        if either:
            cost = name == "label_paid"
            if fact.numbers.negatives and not fact.numbers.positives:
                evidence = 0.9 if cost else 0.1
            elif other:
                evidence = 0.0 if name == other else 0.85
        typed = f"'{name}={fact.header}'"
        found.append(Candidate(name, meaning, evidence, f"{name} is {fact.header}, by what stands beside it", typed))
    return [*found, Candidate("ignore", "not for the books", 0.3, typed=f"'ignore={fact.header}'")]


def _counts(fact: ColumnFacts, heading: values.Heading) -> bool:
    """Whether a column that no header tells holds money, days or measures."""
    if fact.is_date:
        return fact.dates.serials < fact.dates.read
    if not fact.is_number or values.STATUS.search(heading.words) or _IGNORED.search(heading.words):
        return bool(fact.is_number and heading.currency)
    # Prices are mostly above ten, have no more than cents, and are neither years nor a number a row.
    given = [abs(number_of(text, fact.likely_decimal) or Decimal(0)) for text in fact.examples]
    priced = any(value >= 10 for value in given) and all(round(value, 2) == value for value in given)
    whole = not fact.numbers.with_part
    # Whole numbers of one length are codes or years, and one a row is a number of the row.
    codes = whole and (len({len(text) for text in fact.examples}) == 1 or (fact.unique and fact.filled > 20))
    priced = priced and not codes
    return bool(heading.unit or heading.currency or fact.numbers.currencies or priced or _PRICED.search(heading.words))


def _free_or_unknown(mapping: Mapping, draft: Draft) -> Mapping:
    """A cost of 0 for every row is asked about once: free finds, or costs that nobody knows."""
    cost = mapping.columns.get("cost")
    if mapping.table != "items" or cost is None or cost.headers or number_of(cost.value or "-", ".") != 0:
        return mapping
    said = draft.decide(
        "cost-zero",
        "a cost of 0 for every row: was all of it free, or is the cost not known?",
        Candidate("free", "all of it was free"),
        Candidate("unknown", "not known: the cost stays blank"),
    )
    return with_column(mapping, "cost", value="" if said == "unknown" else cost.value) if said else mapping


#: Columns whose blanks may be filled with one value, with what is offered.
_FILLED = {"category": "unsorted", "bought_on": "", "sold_on": ""}


def _otherwise(layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """What stands for a blank that a row cannot be without."""
    for name, offered in _FILLED.items() if not draft.questions else ():
        source = mapping.columns.get(name)
        if mapping.table != "items" or source is None or len(source.headers) != 1 or source.otherwise:
            continue
        fact = layout.fact(source.headers[0])
        title = mapping.columns.get("title")
        place = layout.headers.index(title.headers[0]) if title is not None and title.headers else fact.index
        # A line of words below a small table has no category, and no record lacks only that.
        bare = sum(not (record.cells[fact.index] or record.cells[place]) for record in layout.kept)
        lacking = fact.rows - fact.filled - bare * (place != fact.index)
        price = mapping.columns.get("sold_price")
        if name == "sold_on":
            at = layout.headers.index(price.headers[0]) if price is not None and price.headers else -1
            unsold = {layout.headers.index(h): set(no) for h, no in mapping.rows.unsold.items()}
            lacking = sum(
                not r.cells[fact.index]
                and (_number(layout, r.cells, at) or 0) > 0
                and not any(r.cells[place] in no for place, no in unsold.items())
                for r in layout.kept if at >= 0
            )  # fmt: skip
        if lacking < (1 if name == "category" else _OFTEN) or (
            name == "bought_on" and "bought_on" in _known_elsewhere(mapping, draft)
        ):
            continue
        offers = [Candidate(offered, "for these rows", typed=f"{name}={offered}")] if offered else []
        said = draft.decide(
            f"blank {name}",
            f"{lacking:,} rows have no {source.headers[0]}",
            *offers,
            Candidate("refuse", "list these rows and take the others", typed=f"{name}=refuse"),
            option="--blank",
            free=True,
        )
        if said and said != "refuse":
            mapping = with_column(mapping, name, otherwise=said)
    _require_readable(layout, mapping)
    return mapping


def _known_elsewhere(mapping: Mapping, draft: Draft) -> tuple[str, ...]:
    return ("bought_on",) if draft.stock.rows and "sold_on" in mapping.columns else ()


#: Unreadable texts that stand so often in a column are asked about; a lone one is left blank and told.
_OFTEN = 3
_DOUBTED = re.compile(r"(?:(?:~|ca\.?|circa|about|approx\.?|env\.?)\s*)?([\d.,]+)\s*\??")


def _words(export: Export, layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Words in the place of amounts, days or choices: what they mean is asked once a column and kept."""
    if draft.questions:
        return mapping
    yearless: Counter[str] = Counter()
    for name, source in mapping.columns.items():
        kind = import_match.kind_of(mapping.table, name)
        if kind not in (*NUMBERS, "date", "choice"):
            continue
        if not source.headers:
            continue
        facts = [layout.fact(header) for header in source.headers]
        dates = facts[0].dates
        odd_cells = dates.unread + dates.yearless if kind == "date" else facts[0].numbers.unread
        if not odd_cells and kind not in ("choice", "length", "weight", "minutes"):
            continue
        reader = ColumnReader(name, source, mapping, layout)
        texts = Counter(cells[facts[0].index] for cells in layout.all_cells(export)) if len(facts) == 1 else Counter()
        odd = {
            text: count for text, count in texts.items() if text and isinstance(reader.read_worded(text), InvalidCell)
        }
        if kind == "date" and not mapping.year and "year" not in draft.answers:
            order = source.order or mapping.order or "day-month-year"
            yearless.update({t: c for t, c in odd.items() if values.day_of(t, order, "2024") is not None})
            odd = {t: c for t, c in odd.items() if t not in yearless}
        mapping = _worded(name, odd, reader, mapping, draft)
    if "year" in draft.answers:
        return updated(mapping, year=draft.answers["year"])
    if yearless:
        draft.decide(
            "year",
            f"{next(iter(yearless))} is written without a year, as {yearless.total():,} days are: of which year?",
            *(Candidate(str(year), "") for year in _years(layout, mapping)),
            option="--year",
            free=True,
        )
    return mapping


def _years(layout: Layout, mapping: Mapping) -> list[int]:
    """The years that other days of the export lie in."""
    order = mapping.order or "day-month-year"
    texts = [text for fact in layout.facts if fact.is_date for text in fact.examples]
    return sorted({day.year for text in texts if (day := values.day_of(text, order)) is not None}, reverse=True)


def _worded(name: str, odd: dict[str, int], reader: ColumnReader, mapping: Mapping, draft: Draft) -> Mapping:
    """Settle the words of one column."""
    header = mapping.columns[name].headers[0]
    meant: dict[str, str] = {}
    for text in odd:
        doubted = _DOUBTED.fullmatch(text.casefold())
        word = values.cell_words().get(" ".join(values.unaccented(text).split()))
        guess = word if word is not None else doubted[1] if doubted else None
        if guess is not None and not isinstance(reader.read(guess), InvalidCell):
            meant[text] = guess
    asked = [text for text, count in odd.items() if text in meant or count >= _OFTEN]
    if not asked and f"words {name}" not in draft.answers:
        return mapping
    shown = ", ".join(f"{text} ({odd[text]:,})" for text in asked[:8])
    proposed = "|".join(f"{text}={meant.get(text, '')}" for text in asked)
    choices = schema.BY_NAME[mapping.table].column(name).choices if mapping.table in schema.BY_NAME else ()
    needed = f"one of {', '.join(choices)}" if choices else "a date" if "_on" in name or name == "date" else "a number"
    reading = "; ".join(f"{text} is {meant.get(text) or 'blank'}" for text in asked[:8])
    offers = [Candidate(proposed, reading, typed=f"'{name}={proposed}'")] if not choices else []
    said = draft.decide(
        f"words {name}",
        f"{header} holds {shown}, where {name} needs {needed}: what do they mean? (WORD=MEANING|WORD=MEANING)",
        *offers,
        option="--words" if offers else f"--words '{name}=WORD=MEANING|WORD=MEANING'",
        free=True,
    )
    if said is None:
        return mapping
    words = dict(mapping.columns[name].words)
    for pair in filter(None, said.split("|")):
        word, equals, meaning = pair.rpartition("=")
        if not equals or (meaning and isinstance(reader.read(meaning.strip()), InvalidCell)):
            raise ConversionError(
                [Problem("answers", None, f"words {name}", pair, f"WORD={needed}, or WORD= for blank", "")]
            )
        words[word.strip()] = meaning.strip()
    return with_column(mapping, name, words=words)


def _skip(export: Export, layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Orders that do not stand."""
    skip = dict(mapping.rows.skip)
    for header, value in _answered(layout, draft, "skip").items():
        skip[header] = tuple(word.strip() for word in value.split("|") if word.strip())
    for fact in layout.facts:
        if (
            fact.header in skip
            or draft.kept
            or not values.STATUS.search(values.heading(fact.header).words)
            or mapping.table != "items"
        ):
            continue
        at = fact.index
        said = {cells[at] for cells in layout.all_cells(export)}
        void = sorted(text for text in said if values.VOID.search(text))
        if void:
            draft.decide(
                f"skip {fact.header}",
                f"{fact.header} says {', '.join(void)} of some rows: do they count as sales?",
                Candidate("|".join(void), "leave these rows out", typed=f"'{fact.header}={'|'.join(void)}'"),
                Candidate("", "they count like the others", typed=f"'{fact.header}='"),
                option="--skip",
            )
    return updated(mapping, rows=mapping.rows.model_copy(update={"skip": skip})) if skip else mapping


def _keep(layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Which lines of a bank list are what the table is for: the goods themselves are paid there too."""
    keep = dict(mapping.rows.keep)
    for header, value in _answered(layout, draft, "keep").items():
        keep[header] = tuple(word.strip().lower() for word in value.split("|") if word.strip())
    source = mapping.columns.get("what") or mapping.columns.get("supply")
    amount = mapping.columns.get("amount") or mapping.columns.get("cost")
    if mapping.table in ("overheads", "supplies") and not keep and not draft.kept and source and amount:
        header = source.headers[0] if source.headers else ""
        numbers = layout.fact(amount.headers[0]).numbers if amount.headers else None
        balance = any(values.BALANCE.search(values.heading(name).words) for name in layout.headers)
        if header and (balance or (numbers is not None and numbers.negatives and numbers.positives)):
            draft.ask(
                f"keep {header}",
                f"this looks like a bank list, which holds more than {mapping.table}: which words in {header} mark the "
                f"lines to take",
                f"--keep '{header}=WORD|WORD', or '{header}=*' for every line",
            )
    return updated(mapping, rows=mapping.rows.model_copy(update={"keep": keep})) if keep else mapping


def _answered(layout: Layout, draft: Draft, word: str) -> dict[str, str]:
    """Answers that name a header of the export."""
    found: dict[str, str] = {}
    for key, value in draft.answers.items():
        if key.startswith(f"{word} "):
            header = key.removeprefix(f"{word} ").strip()
            if header not in layout.headers:
                needed = f"one of {', '.join(layout.headers[:30])}"
                raise ConversionError([Problem("answers", None, key, header, needed, "")])
            found[header] = value
    return found


def _blanks(layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """A title that some rows lack is taken from another column of words."""
    source = mapping.columns.get("title")
    if mapping.table != "items" or source is None or len(source.headers) != 1 or source.blank:
        return mapping
    fact = layout.fact(source.headers[0])
    lacking = fact.rows - fact.filled
    if not lacking:
        return mapping
    used = {header for s in mapping.columns.values() for header in s.headers}
    fitting = [
        other
        for other in layout.facts
        if other.header not in used
        and other.filled == other.rows
        and not other.is_number
        and not other.is_date
        and other.letters >= 0.9 * min(other.distinct, 2_000)
        and other.distinct > 1
    ]
    if not fitting:
        return mapping
    best = max(fitting, key=lambda other: (len(" ".join(other.examples)), other.distinct))
    draft.guessed.append(f"{lacking:,} rows have no {fact.header}: their title is taken from {best.header}")
    return with_column(mapping, "title", blank=best.header)


def _repeats(layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    duplicates = _said(draft, "duplicates", mapping.rows.duplicates, ("separate", "once"))
    totals = _said(draft, "totals", mapping.rows.totals, ("leave-out", "keep"))
    if layout.duplicate_count and not duplicates:
        row, first = layout.duplicates[0]
        draft.decide(
            "duplicates",
            f"{layout.duplicate_count:,} rows are equal to an earlier one in every cell (row {row} to row {first})",
            Candidate("separate", "they are separate things and all count"),
            Candidate("once", "they are copies and count once; the copies are listed"),
        )
    sure = [total for total in layout.totals if total.certain]
    doubtful = [total for total in layout.totals if not total.certain]
    if sure and not totals:
        for total in sure:
            draft.certain.append(
                f"row {total.row} ({total.label}) is the sum of the rows above in {', '.join(total.sums)}: left out"
            )
        totals = totals or ("leave-out" if not doubtful else "")
    if doubtful and not totals:
        total = doubtful[0]
        if total.label:
            why = f"is called {total.label}, but its numbers are not the sums of the rows above"
        else:
            why = f"has no words, and is the sum of the rows above in {', '.join(total.sums)}"
        draft.decide(
            "totals",
            f"row {total.row} {why}",
            Candidate("leave-out", "it adds up others and is no record"),
            Candidate("keep", "it is a record like the others"),
        )
    rows = mapping.rows.model_copy(update={"duplicates": duplicates, "totals": totals})
    return updated(mapping, rows=rows)


def _missing(layout: Layout, mapping: Mapping, draft: Draft) -> None:
    """Columns that a record cannot be without."""
    needed = [name for name in import_match.required_of(mapping.table) if name not in ("item_id",)]
    if _sales_of_stock(layout, mapping, draft):
        by_title = {"title"} if "item_id" not in mapping.columns else set()
        needed = [name for name in needed if name in by_title | {"sold_price"}]
    if mapping.table == "comparables" and "item_id" not in mapping.columns:
        needed.append("category")
    if mapping.table == "items" and "sold_price" in mapping.columns:
        needed.append("sold_on")
    if mapping.table == "items" and "sold_on" in mapping.columns:
        needed.append("sold_price")
    if mapping.table in ("lots", "trips"):
        needed = [name for name in needed if name != f"{mapping.table[:-1]}_id"]
    for name in needed:
        if name in mapping.columns or (name == "cost" and "lot_id" in mapping.columns):
            continue
        asked = {question.key for question in draft.questions}
        if f"column {name}" not in asked:
            hint = _HINTS.get(name, "a header, or a value for all rows")
            draft.ask(
                f"column {name}",
                f"no column is {name} ({hint})",
                f"--column {name}=HEADER or --fixed {name}=VALUE",
            )


def _nothings(layout: Layout, mapping: Mapping, draft: Draft) -> None:
    """Words for "nothing" that are read as blank."""
    seen: dict[str, int] = {}
    for fact in facts_of(layout, mapping, (*NUMBERS, "date", "month")).values():
        for word, count in fact.nothings.items():
            seen[word] = seen.get(word, 0) + count
    if seen:
        told = ", ".join(f"{word} ({count})" for word, count in sorted(seen.items()))
        draft.guessed.append(f"in dates and numbers these are read as blank: {told}")


def _sales_of_stock(layout: Layout, mapping: Mapping, draft: Draft) -> bool:
    """Whether the rows are sales of items that the books hold, so that nothing is missing for new ones."""
    if mapping.table != "items" or not draft.stock.rows or "sold_on" not in mapping.columns:
        return False
    lacking = [name for name in ("bought_on", "cost", "category") if name not in mapping.columns]
    if not lacking:
        return False
    said = _said(draft, "unmatched", "", ("refuse", "new"))
    if said:
        return said == "refuse"
    ids, titles = draft.stock.ids, {plain(row["title"]) for row in draft.stock.rows}
    id_at, title_at = (_place(layout, mapping, name) for name in ("item_id", "title"))
    strange = [
        record.row
        for record in layout.kept
        if not (id_at >= 0 and record.cells[id_at] in ids)
        and not (title_at >= 0 and plain(record.cells[title_at]) in titles)
    ]
    if not strange:
        draft.guessed.append("every row is a sale of an item in the books, found by its number or its title")
        return True
    draft.decide(
        "unmatched",
        f"{rows_in_words(strange, most=5)} of {len(layout.kept):,} sell no item that the books hold",
        Candidate("refuse", "list them and take the others"),
        Candidate("new", f"make items of them; then {', '.join(lacking)} must be said"),
    )
    return True


def _place(layout: Layout, mapping: Mapping, name: str) -> int:
    source = mapping.columns.get(name)
    return layout.headers.index(source.headers[0]) if source is not None and source.headers else -1


def unit_for(unit: str, table: str, column: str) -> str:
    """The unit that a header names, where a column of that kind can have it."""
    kind = import_match.kind_of(table, column)
    fits = {
        "length": ("in", "cm", "mm", "ft"),
        "weight": ("lb", "oz", "kg", "g"),
        "minutes": ("min", "hour", "s"),
        "miles": ("mile", "km"),
    }
    return unit if unit in fits.get(kind, ()) else ""
