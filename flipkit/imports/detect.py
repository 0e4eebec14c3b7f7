"""What an export leaves open: settled where the file settles it, asked otherwise."""

from __future__ import annotations

import difflib
from collections.abc import Mapping as Answers
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from flipkit.books import schema
from flipkit.books.problems import Problem, rows_in_words
from flipkit.errors import ConversionError
from flipkit.imports import match as import_match
from flipkit.imports import values
from flipkit.imports.join import Stock, plain, stock_of
from flipkit.imports.mapping import File, Mapping, Question, Source, mapping_text
from flipkit.imports.match import MONEY, NUMBERS, Draft, facts_of, said_of, survey, updated, with_column
from flipkit.imports.merge import books_in
from flipkit.imports.sheets import ColumnFacts, Export, Layout, open_export
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
        draft.ask(
            f"column {match.column}",
            f"{match.header} and {rival} could both be {match.column}, and they differ",
            *((header, "", f"'{match.column}={header}'") for header in (match.header, *match.rivals)),
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
    for column, key in (("cost", "cost-is"), ("sold_price", "price-is"), ("list_price", "")):
        source = mapping.columns.get(column)
        if source is None or len(source.headers) != 1 or source.each:
            continue
        said = said_of(draft, key, "", ("each", "row")) if key else ""
        plain = values.heading(source.headers[0]).words
        if said:
            mapping = with_column(mapping, column, each=said == "each")
        elif values.EACH.search(plain):
            mapping = with_column(mapping, column, each=True)
            draft.guessed.append(f"{source.headers[0]} is for one; the row's {column} is that times the quantity")
        elif values.WHOLE.search(plain) or any(
            source.headers[0] in line and " times " in line for line in draft.certain
        ):
            continue
        elif key:
            draft.ask(
                key,
                f"{rows_in_words(several, most=5) if several else 'some rows'} have a quantity above 1, and "
                f"{source.headers[0]} does not say what it is for",
                ("each", "for one, so the row costs that times the quantity"),
                ("row", "for all of the row"),
            )
    return mapping


def settle_of_order(export: Export, layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Settle whether an amount that repeats within an order belongs to the order or to each line."""
    order = mapping.columns.get("order_id")
    if mapping.table != "items" or order is None or not order.headers:
        return mapping
    at = layout.headers.index(order.headers[0])
    groups: dict[str, list[list[str]]] = {}
    for cells in layout.all_cells(export) if not layout.facts[at].unique else ():
        if cells[at]:
            groups.setdefault(cells[at], []).append(cells)
    several = [lines for lines in groups.values() if len(lines) > 1]
    if not several:
        return mapping
    for column, key in (("shipping_charged", "shipping-is"), ("fees_paid", "fees-are"), ("label_paid", "shipping-is")):
        source = mapping.columns.get(column)
        if source is None or len(source.headers) != 1 or source.per_order:
            continue
        said = said_of(draft, key, "", ("order", "line"))
        place = layout.headers.index(source.headers[0])
        equal = all(len({cells[place] for cells in lines}) == 1 for lines in several)
        first = all(sum(bool(cells[place]) for cells in lines) <= 1 for lines in several)
        some = any(cells[place] and _number(layout, cells, place) for lines in several for cells in lines)
        if said:
            mapping = with_column(mapping, column, per_order=said == "order")
        elif first and some:
            mapping = with_column(mapping, column, per_order=True)
            draft.certain.append(f"{source.headers[0]} stands once an order and is shared among its items")
        elif equal and some:
            if values.OF_ORDER.search(values.heading(source.headers[0]).words):
                mapping = with_column(mapping, column, per_order=True)
                draft.guessed.append(f"{source.headers[0]} repeats on the lines of an order and is shared among them")
            else:
                draft.ask(
                    key,
                    f"{source.headers[0]} is the same on all lines of each order",
                    ("order", "it was paid once for the order and is shared among its items"),
                    ("line", "it was paid for each line"),
                )
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
    said = said_of(draft, "decimal", mapping.decimal, tuple(DECIMALS))
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
            draft.ask(
                "decimal",
                f"{fact.header} writes numbers in two ways, {shown}; the others would be refused",
                ("point", f"{fact.numbers.decisive['.']} is meant"),
                ("comma", f"{fact.numbers.decisive[',']} is meant"),
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
        draft.ask(
            "decimal",
            f"{fact.header} holds {text}, and nothing says what the mark is",
            ("point", f"{plain} is {_shown(number_of(text, '.'))}"),
            ("comma", f"{plain} is {_shown(number_of(text, ','))}"),
        )
        return mapping
    return updated(mapping, decimal=mapping.decimal or "point") if len(marks) < 2 else mapping


def _shown(value: Decimal | None) -> str:
    return "no number" if value is None else f"{abs(value):f}"


def settle_order(layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Settle the order of day, month and year, from the whole file where a column does not say."""
    said = said_of(draft, "dates", mapping.order, ORDERS)
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
            (order, f"{evidence.fits[order]} texts fit, the others are refused")
            for order in ORDERS
            if evidence.fits[order]
        ]
        draft.ask("dates", f"{fact.header} holds dates in more than one order, such as {shown}", *choices)
        return
    text = evidence.differing
    choices = []
    for order in evidence.orders:
        day = values.day_of(text, order)
        if day is not None:
            choices.append((order, f"{text} is {day.day} {day:%B} {day.year}"))
    draft.ask("dates", f"every date in {fact.header} reads in more than one way, such as {text}", *choices)


def settle_currency(layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Settle the currency of the amounts."""
    said = draft.answers.get("currency", mapping.currency)
    if said:
        return updated(mapping, currency=said.upper())
    found: dict[str, str] = {}
    for fact in facts_of(layout, mapping, MONEY).values():
        for code in (*fact.numbers.currencies, values.heading(fact.header).currency):
            if code:
                found.setdefault(code, fact.header)
    if len(found) == 1:
        code, header = next(iter(found.items()))
        draft.certain.append(f"amounts are in {code}: {header} says so")
        return updated(mapping, currency=code)
    if len(found) > 1:
        choices = [(code, f"as in {header}; rows in another currency are refused") for code, header in found.items()]
        draft.ask("currency", "the amounts are in more than one currency, and a shop has one", *choices)
    return mapping


# What an export leaves open once its columns are known: settled where the whole file settles it.
#
# Every decision follows one rule: where all rows speak for one reading it is certain, where a wrong reading would
# be seen it is guessed and told, and otherwise it is asked.

#: Columns that an export of sales or stock may lack and that only the seller can give.
_HINTS = {
    "cost": "0 if nothing was paid, or the column of another export later",
    "bought_on": "a header that comes close, such as the day of listing, or one day for all rows",
    "category": "one word for all rows, such as unsorted; mend it in the books later",
    "title": "a header; two joined by + become one text",
    "worker": "a name, such as me",
    "sold_on": "a header, or one day for all rows",
    "sold_price": "what the buyer paid for the goods alone",
}


def settle(export: Export, layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Settle what an export leaves open."""
    mapping = settle_decimal(layout, mapping, draft)
    mapping = settle_order(layout, mapping, draft)
    mapping = settle_currency(layout, mapping, draft)
    if not draft.kept:
        mapping = _identity(layout, mapping, draft)
        mapping = settle_rivals(export, layout, mapping, draft)
        mapping = settle_each(layout, mapping, draft)
        mapping = settle_of_order(export, layout, mapping, draft)
        mapping = settle_signs(layout, mapping, draft)
        mapping = _blanks(layout, mapping, draft)
    mapping = _skip(export, layout, mapping, draft)
    mapping = _keep(layout, mapping, draft)
    mapping = _repeats(layout, mapping, draft)
    _missing(layout, mapping, draft)
    _nothings(layout, mapping, draft)
    return mapping


def _identity(layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """A number that several rows share is no name of an item."""
    source = mapping.columns.get("item_id")
    if mapping.table != "items" or source is None or len(source.headers) != 1:
        return mapping
    fact = layout.fact(source.headers[0])
    if fact.unique and fact.filled == fact.rows:
        return mapping
    why = "repeats" if not fact.unique else f"is blank in {fact.rows - fact.filled:,} rows"
    columns = {name: given for name, given in mapping.columns.items() if name != "item_id"}
    told = f"{fact.header} {why}, so each row gets a name of its own"
    if "note" not in columns:
        columns["note"] = source
        told += f", and {fact.header} goes to note"
    draft.guessed[:] = [line for line in draft.guessed if not line.startswith("item_id is ")]
    draft.certain[:] = [line for line in draft.certain if not line.startswith("item_id is ")]
    draft.guessed.append(told)
    return updated(mapping, columns=columns)


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
            draft.ask(
                f"skip {fact.header}",
                f"{fact.header} says {', '.join(void)} of some rows: do they count as sales?",
                ("|".join(void), "leave these rows out", f"'{fact.header}={'|'.join(void)}'"),
                ("", "they count like the others", f"'{fact.header}='"),
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
                option=f"--keep '{header}=WORD|WORD', or '{header}=*' for every line",
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
    duplicates = said_of(draft, "duplicates", mapping.rows.duplicates, ("separate", "once"))
    totals = said_of(draft, "totals", mapping.rows.totals, ("leave-out", "keep"))
    if layout.duplicate_count and not duplicates:
        row, first = layout.duplicates[0]
        draft.ask(
            "duplicates",
            f"{layout.duplicate_count:,} rows are equal to an earlier one in every cell (row {row} to row {first})",
            ("separate", "they are separate things and all count"),
            ("once", "they are copies and count once; the copies are listed"),
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
        draft.ask(
            "totals",
            f"row {total.row} {why}",
            ("leave-out", "it adds up others and is no record"),
            ("keep", "it is a record like the others"),
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
                option=f"--column {name}=HEADER or --fixed {name}=VALUE",
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
    said = said_of(draft, "unmatched", "", ("refuse", "new"))
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
    draft.ask(
        "unmatched",
        f"{rows_in_words(strange, most=5)} of {len(layout.kept):,} sell no item that the books hold",
        ("refuse", "list them and take the others"),
        ("new", f"make items of them; then {', '.join(lacking)} must be said"),
    )
    return True


def _place(layout: Layout, mapping: Mapping, name: str) -> int:
    source = mapping.columns.get(name)
    return layout.headers.index(source.headers[0]) if source is not None and source.headers else -1


# A proposal of how to read an export: what is certain, what is guessed, what must be asked.
#
# A guess is made only where a wrong one would be seen. Where it would pass silently, the order of dates, decimal
# marks, equal rows, rows that add up others, what a price is for, there is a question, and each question names the
# option that settles it.

#: Answers that a proposal understands, by key; ``column NAME``, ``skip HEADER`` and ``keep HEADER`` beside them.
ANSWERS = (
    "table",
    "sheet",
    "encoding",
    "delimiter",
    "quote",
    "header-row",
    "dates",
    "decimal",
    "currency",
    "duplicates",
    "totals",
    "cost-is",
    "price-is",
    "shipping-is",
    "fees-are",
    "unmatched",
)


@dataclass(frozen=True)
class Proposal:
    """How an export would be read."""

    export: Export
    layout: Layout | None
    mapping: Mapping
    certain: tuple[str, ...]
    guessed: tuple[str, ...]
    questions: tuple[Question, ...]
    unused: tuple[str, ...]

    @property
    def mapping_toml(self) -> str:
        """The mapping as a small TOML file."""
        return mapping_text(self.mapping, export=self.export.path.name)

    def text(self) -> str:
        """The proposal in words."""
        parts = [self.mapping_toml.rstrip()]
        if self.certain:
            parts.append("Certain:\n" + "\n".join(f"  {line}" for line in self.certain))
        if self.guessed:
            parts.append("Guessed (say otherwise in the mapping):\n" + "\n".join(f"  {line}" for line in self.guessed))
        if self.unused:
            parts.append(f"Not taken: {', '.join(self.unused)}")
        if self.questions:
            parts.append("To settle first:\n" + "\n".join(f"  {question}" for question in self.questions))
        return "\n\n".join(parts) + "\n"


def propose(
    export: Path | str,
    *,
    answers: Answers[str, str] | None = None,
    mapping: Mapping | None = None,
    into: Path | str | None = None,
) -> Proposal:
    """Propose how to read an export of another program."""
    said = _checked(answers or {})
    base = mapping or Mapping()
    draft = Draft(said, kept=bool(base.columns))
    file = _file(base.file, said)
    opened = open_export(
        Path(export),
        encoding_name=file.encoding,
        delimiter=file.delimiter,
        quote=file.quote,
        sheet=file.sheet,
    )
    _tell_file(opened, file, draft)
    base = base.model_copy(update={"file": file})
    books = books_in(Path(into)) if into is not None else None
    draft.stock = stock_of(books.items) if books is not None else Stock()
    if draft.questions:
        return _made(opened, None, base, draft, ())
    layout = survey(opened, header_row=file.header_row)
    if not _settle_header(opened, layout, file, draft):
        return _made(opened, layout, base, draft, ())
    base = base.model_copy(update={"file": _kept_file(opened, file)})
    table = _settle_table(layout, base, draft)
    if not table:
        return _made(opened, layout, base, draft, ())
    columns = _columns(opened, layout, table, base, draft)
    settled = settle(opened, layout, base.model_copy(update={"table": table, "columns": columns}), draft)
    used = {h for source in settled.columns.values() for h in (*source.headers, source.blank)} | {
        *settled.rows.skip,
        *settled.rows.keep,
    }
    unused = tuple(fact.header for fact in layout.facts if fact.filled and fact.header not in used)
    return _made(opened, layout, settled, draft, unused)


def _made(export: Export, layout: Layout | None, mapping: Mapping, draft: Draft, unused: tuple[str, ...]) -> Proposal:
    return Proposal(export, layout, mapping, tuple(draft.certain), tuple(draft.guessed), tuple(draft.questions), unused)


def _checked(answers: Answers[str, str]) -> dict[str, str]:
    said: dict[str, str] = {}
    for key, value in answers.items():
        plain = key.strip()
        if plain.startswith("fixed "):
            plain, value = f"column {plain[6:]}", f"={value}"
        if plain not in ANSWERS and not plain.startswith(("column ", "skip ", "keep ")):
            near = difflib.get_close_matches(plain, ANSWERS, n=1)
            mend = f"did you mean {near[0]}?" if near else ""
            raise ConversionError([Problem("answers", None, plain, value, f"one of {', '.join(ANSWERS)}", mend)])
        said[plain] = value
    return said


def _file(given: File, said: dict[str, str]) -> File:
    changes: dict[str, object] = {}
    for key in ("sheet", "encoding", "delimiter"):
        if key in said:
            changes[key] = said[key]
    if "quote" in said:
        changes["quote"] = {"none": "", "single": "'", "double": '"'}.get(said["quote"], said["quote"])
    if "header-row" in said:
        if not said["header-row"].isdigit():
            needed = "a row number, or 0 for none"
            raise ConversionError([Problem("answers", None, "header-row", said["header-row"], needed, "")])
        changes["header_row"] = int(said["header-row"])
    return given.model_copy(update=changes)


def _tell_file(export: Export, file: File, draft: Draft) -> None:
    if export.sheet:
        if len(export.sheets) > 1 and not file.sheet:
            choices = [(name, "convert this sheet") for name in export.sheets]
            draft.ask("sheet", f"{export.path.name} has {len(export.sheets)} sheets with something in them", *choices)
        else:
            draft.certain.append(f"a workbook, sheet {export.sheet}")
        return
    if export.encoding is not None and export.dialect is not None:
        told = f"the letters are {export.encoding.name}: {export.encoding.why}"
        (draft.certain if export.encoding.certain else draft.guessed).append(told)


def _settle_header(export: Export, layout: Layout, file: File, draft: Draft) -> bool:
    if export.dialect is not None and len(layout.headers) > 1:
        even = all(len(record.cells) == len(layout.headers) for record in layout.kept[:200]) and not layout.short
        told = f"cells are separated by {export.dialect.word}"
        (draft.certain if even or file.delimiter else draft.guessed).append(told)
    if layout.header_row == 0 and file.header_row is None:
        first = next(record for record in export.records() if any(record.cells))
        shown = ", ".join(cell[:40] for cell in first.cells[:4] if cell)
        draft.ask(
            "header-row",
            f"no row of headers was found; the first row is {shown}",
            (str(first.row), "this row is the header"),
            ("0", "there is none: columns are called column 1, column 2 and so on"),
        )
        return False
    if layout.data_rows == 0:
        found = f"no row of a table below row {layout.last_before}"
        raise ConversionError([Problem(export.label, layout.header_row, "", found, "rows below the headers", "")])
    if layout.header_row:
        more = f", below {len(layout.before)} other lines" if layout.before else ""
        draft.certain.append(f"the headers stand in row {layout.header_row}{more}")
    draft.certain.append(f"{layout.rows_in:,} rows that are not blank")
    again = [header for header, given in zip(layout.headers, layout.given, strict=False) if given and header != given]
    doubled = [header for header in again if header.endswith(")")]
    if doubled:
        draft.guessed.append(f"headers that stand twice are told apart as {', '.join(doubled)}")
    return True


def _kept_file(export: Export, file: File) -> File:
    """What a later export of the same program has in common with this one."""
    changes: dict[str, object] = {}
    if export.dialect is not None and export.encoding is not None:
        changes["delimiter"] = export.dialect.word
        if not export.encoding.certain:
            changes["encoding"] = export.encoding.name
        if export.dialect.quote != '"':
            changes["quote"] = export.dialect.quote
    elif len(export.sheets) > 1:
        changes["sheet"] = export.sheet
    return file.model_copy(update=changes)


def _settle_table(layout: Layout, base: Mapping, draft: Draft) -> str:
    said = draft.answers.get("table", base.table)
    if said:
        if said not in values.tables():
            needed = f"one of {', '.join(values.tables())}"
            raise ConversionError([Problem("answers", None, "table", said, needed, "")])
        return said
    likely = import_match.likely_tables(layout, known=draft.stock.ids)
    (best, score), (_, second) = likely[0], likely[1]
    if score >= 3.0 and score - second >= 0.75:
        told = f"each row becomes a row of {best}" if best != values.LABELS else "each row is a label of a sale"
        draft.guessed.append(told)
        return best
    what = {table.name: table.meaning for table in schema.TABLES} | {values.LABELS: "one shipping label of a sale"}
    choices = [(name, f"a row is {what[name]}") for name, _ in likely]
    draft.ask("table", "the headers do not say what the rows are", *choices)
    return ""


def _columns(export: Export, layout: Layout, table: str, base: Mapping, draft: Draft) -> dict[str, Source]:
    """The source of every column: as the seller says, as the mapping kept, as the headers say."""
    columns: dict[str, Source] = dict(base.columns)
    known = import_match.columns_of(table)
    for key, value in draft.answers.items():
        if not key.startswith("column "):
            continue
        name = key.removeprefix("column ").strip()
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            mend = f"did you mean {near[0]}?" if near else ""
            raise ConversionError([Problem("answers", None, name, value, f"one of {', '.join(known)}", mend)])
        columns[name] = _said_source(value, layout)
    for name, source in columns.items():
        for header in (*source.headers, *([source.blank] if source.blank else [])):
            if header not in layout.headers:
                raise _no_header(export, layout, header, name)
    taken = frozenset(columns)
    for match in [] if draft.kept else import_match.matches(layout, table, taken=taken):
        plain = values.heading(match.header)
        columns[match.column] = Source(headers=(match.header,), unit=_unit(plain.unit, table, match.column))
        told = f"{match.column} is {match.header}"
        if match.certain:
            draft.certain.append(told)
        else:
            rest = f" (it could be {', '.join(match.rivals)})" if match.rivals else ""
            draft.guessed.append(told + rest)
    order = {name: at for at, name in enumerate(known)}
    return dict(sorted(columns.items(), key=lambda pair: order[pair[0]]))


def _unit(unit: str, table: str, column: str) -> str:
    kind = import_match.kind_of(table, column)
    fits = {
        "length": ("in", "cm", "mm", "ft"),
        "weight": ("lb", "oz", "kg", "g"),
        "minutes": ("min", "hour"),
        "miles": ("mile", "km"),
    }
    return unit if unit in fits.get(kind, ()) else ""


def _said_source(value: str, layout: Layout) -> Source:
    if value.startswith("="):
        return Source(value=value[1:].strip())
    headers = (value,) if value in layout.headers else tuple(part.strip() for part in value.split("+"))
    known = {values.heading(header).words: header for header in layout.headers}
    exact = tuple(header if header in layout.headers else known.get(header.lower(), header) for header in headers)
    return Source(headers=exact, unit=values.heading(exact[0]).unit if len(exact) == 1 else "")


def _no_header(export: Export, layout: Layout, header: str, column: str) -> ConversionError:
    near = difflib.get_close_matches(header, layout.headers, n=1)
    mend = f"did you mean {near[0]}?" if near else "for a value that holds for every row write = before it"
    needed = f"one of the headers {', '.join(layout.headers[:30])}"
    row = layout.header_row or None
    return ConversionError([Problem(export.label, row, column, f"no header {header}", needed, mend)])
