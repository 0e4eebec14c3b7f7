"""What the amounts of an export are for: one thing or several, a line or its order, spent or earned."""

from __future__ import annotations

from decimal import Decimal

from flipkit.books.exports import words
from flipkit.books.exports.draft import MONEY, Draft, facts_of, said_of, with_column
from flipkit.books.exports.layout import Layout
from flipkit.books.problems import rows_in_words
from flipkit.imports import match as import_match
from flipkit.imports.mapping import Mapping
from flipkit.imports.sheets import Export
from flipkit.imports.values import number_of


def settle_rivals(export: Export, layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Ask where two headers both say what a column of money or dates holds, and differ.

    Parameters
    ----------
    export : Export
        The export.
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
    if mapping.table != "items" and mapping.table != words.LABELS:
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


def settle_each(export: Export, layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Settle whether an amount is for one of several like things or for all of them.

    Parameters
    ----------
    export : Export
        The export.
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
        plain = words.heading(source.headers[0]).words
        if said:
            mapping = with_column(mapping, column, each=said == "each")
        elif words.EACH.search(plain):
            mapping = with_column(mapping, column, each=True)
            draft.guessed.append(f"{source.headers[0]} is for one; the row's {column} is that times the quantity")
        elif words.WHOLE.search(plain) or any(
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
    """Settle whether an amount that repeats within an order belongs to the order or to each line.

    Parameters
    ----------
    export : Export
        The export.
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
            if words.OF_ORDER.search(words.heading(source.headers[0]).words):
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
    """Turn costs that a list writes as negative.

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
    kinds = MONEY if mapping.table == words.LABELS else ("money",)
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
