"""What an export leaves open once its columns are known: settled where the whole file settles it.

Every decision follows one rule: where all rows speak for one reading it is certain, where a
wrong reading would be seen it is guessed and told, and otherwise it is asked.
"""

from __future__ import annotations

from flipkit.books.exports import words
from flipkit.books.exports.amounts import settle_each, settle_of_order, settle_rivals, settle_signs
from flipkit.books.exports.draft import NUMBERS, Draft, facts_of, said_of, updated, with_column
from flipkit.books.exports.layout import Layout
from flipkit.books.exports.marks import settle_currency, settle_decimal, settle_order
from flipkit.books.problems import Problem, rows_in_words
from flipkit.errors import ConversionError
from flipkit.imports import match
from flipkit.imports.join import plain
from flipkit.imports.mapping import Mapping
from flipkit.imports.sheets import Export

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
    """Settle what an export leaves open.

    Parameters
    ----------
    export : Export
        The export.
    layout : Layout
        Where its table lies.
    mapping : Mapping
        Its table and columns.
    draft : Draft
        Where statements and questions go.

    Returns
    -------
    Mapping
        The mapping with what could be settled.
    """
    mapping = settle_decimal(layout, mapping, draft)
    mapping = settle_order(layout, mapping, draft)
    mapping = settle_currency(layout, mapping, draft)
    if not draft.kept:
        mapping = _identity(layout, mapping, draft)
        mapping = settle_rivals(export, layout, mapping, draft)
        mapping = settle_each(export, layout, mapping, draft)
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
            or not words.STATUS.search(words.heading(fact.header).words)
            or mapping.table != "items"
        ):
            continue
        at = fact.index
        said = {cells[at] for cells in layout.all_cells(export)}
        void = sorted(text for text in said if words.VOID.search(text))
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
        balance = any(words.BALANCE.search(words.heading(name).words) for name in layout.headers)
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
    needed = [name for name in match.required_of(mapping.table) if name not in ("item_id",)]
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
