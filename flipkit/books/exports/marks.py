"""Marks of an export that one file settles or the seller must: decimals, dates, currency."""

from __future__ import annotations

from decimal import Decimal

from flipkit.books.exports import dates, words
from flipkit.books.exports.dates import ORDERS
from flipkit.books.exports.draft import MONEY, NUMBERS, Draft, facts_of, said_of, updated, with_column
from flipkit.books.exports.facts import ColumnFacts
from flipkit.books.exports.layout import Layout
from flipkit.imports.mapping import Mapping
from flipkit.imports.values import DECIMALS, number_of

_WORD_OF = {mark: word for word, mark in DECIMALS.items()}


def settle_decimal(layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Settle the decimal mark, from the whole file where a column does not say.

    Parameters
    ----------
    layout : Layout
        Where the table lies.
    mapping : Mapping
        Its table and columns.
    draft : Draft
        Where statements and questions go.

    Returns
    -------
    Mapping
        The mapping with what could be settled.
    """
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
    """Settle the order of day, month and year, from the whole file where a column does not say.

    Parameters
    ----------
    layout : Layout
        Where the table lies.
    mapping : Mapping
        Its table and columns.
    draft : Draft
        Where statements and questions go.

    Returns
    -------
    Mapping
        The mapping with what could be settled.
    """
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
        day = dates.day_of(text, order)
        if day is not None:
            choices.append((order, f"{text} is {day.day} {day:%B} {day.year}"))
    draft.ask("dates", f"every date in {fact.header} reads in more than one way, such as {text}", *choices)


def settle_currency(layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Settle the currency of the amounts.

    Parameters
    ----------
    layout : Layout
        Where the table lies.
    mapping : Mapping
        Its table and columns.
    draft : Draft
        Where statements and questions go.

    Returns
    -------
    Mapping
        The mapping with what could be settled.
    """
    said = draft.answers.get("currency", mapping.currency)
    if said:
        return updated(mapping, currency=said.upper())
    found: dict[str, str] = {}
    for fact in facts_of(layout, mapping, MONEY).values():
        for code in (*fact.numbers.currencies, words.heading(fact.header).currency):
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
