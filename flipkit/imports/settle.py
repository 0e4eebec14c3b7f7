"""What an export leaves open: settled where the file settles it, asked otherwise."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import islice

import numpy as np

from flipkit.books.cells import InvalidCell
from flipkit.books.problems import Problem, rows_in_words
from flipkit.errors import ConversionError, count_of
from flipkit.imports import SAID, values
from flipkit.imports import match as import_match
from flipkit.imports.cells import ColumnReader
from flipkit.imports.join import plain
from flipkit.imports.mapping import Candidate, Draft, Mapping, require_known
from flipkit.imports.match import MONEY, NUMBERS, kind_of, sources_of
from flipkit.imports.sheets import ColumnFacts, Export, Layout
from flipkit.imports.values import MARK_WORDS, ORDERS, Evidence, heading, number_of

# Every decision goes through `Draft.decide`: candidates with their evidence, one that stands out is taken and told,
# and otherwise the seller is asked. Each step below gathers the evidence of one kind of decision.

_DATES = ("date", "month")
#: Bare measures: the option that says their unit, and the columns.
_UNITS = {"length-unit": import_match.SIDES, "weight-unit": ("weight_lb",), "time-unit": ("minutes",)}
_UNIT_KINDS = dict.fromkeys(("in", "cm", "mm", "ft"), "length") | dict.fromkeys(("lb", "oz", "kg", "g"), "weight")
#: Columns whose blanks may be filled with one value, with what is offered.
_FILLED = {"category": "unsorted", "bought_on": "", "sold_on": ""}
#: Unreadable texts that stand so often in a column are asked about; a lone one is left blank and told.
_OFTEN = 3
#: A number of things in a row is hardly larger.
_LARGEST_COUNT = 24
_DOUBTED = re.compile(r"(?:(?:~|ca\.?|circa|about|approx\.?|env\.?)\s*)?([\d.,]+)\s*\??")
#: A column of postage is what labels cost where so many amounts are prices of the seller's rate card for the weights,
#: and what buyers paid where so many are far below the least that a label costs.
_MOST, _HALF, _FAR = 0.8, 0.5, 0.8
_POUNDS = {"lb": 1.0, "oz": 1 / 16, "kg": 1 / 0.45359237, "g": 1 / 453.59237}


def settle(export: Export, layout: Layout, mapping: Mapping, draft: Draft) -> Mapping:
    """Settle what an export leaves open."""
    w, new = Settler(export, layout, mapping, draft), not draft.kept
    amounts = (w.rivals, w.each, w.of_order, w.kinds, w.refunds, w.signs, w.titles, w.states, w.units) if new else ()
    rows = (
        w.skip,
        w.keep,
        w.repeats,
        w.missing,
        w.meanings,
        w.free_or_unknown,
        w.otherwise,
        w.nothings,
        w.spellings,
        w.words,
    )
    for step in (w.ways, w.currency, w.readable, w.identity, *amounts, *rows):
        step()
    return w.mapping


@dataclass
class Settler:
    """A mapping on its way."""

    export: Export
    layout: Layout
    mapping: Mapping
    draft: Draft
    #: Headers that are another times the quantity.
    products: dict[str, str] = field(default_factory=dict)

    def set(self, **changes: object) -> None:
        """Change the mapping."""
        self.mapping = self.mapping.model_copy(update=changes)

    def set_rows(self, **changes: object) -> None:
        """Change which rows are records."""
        self.set(rows=self.mapping.rows.model_copy(update=changes))

    def settle_rows(self, key: str, text: str, sure: dict[str, float] | None = None, told: str = "") -> str:
        """Settle which rows are records in one way, with the words of its key."""
        said = self.draft.settle(key, text, sure, given=getattr(self.mapping.rows, key), told=told) or ""
        self.set_rows(**{key: said})
        return said

    def set_column(self, name: str, **changes: object) -> None:
        """Change one column."""
        self.set(columns={**self.mapping.columns, name: self.mapping.columns[name].model_copy(update=changes)})

    def drop(self, name: str, header: str = "\0") -> None:
        """Take a column, or all that come from a header, from nowhere."""
        columns = self.mapping.columns
        self.set(columns={n: columns[n] for n in columns if n != name and self.header(n) != header})

    @property
    def items(self) -> bool:
        """Whether the rows are items."""
        return self.mapping.table == "items"

    def header(self, name: str) -> str:
        """The one header that a column comes from; empty where there is none, or several."""
        source = self.mapping.columns.get(name)
        return source.headers[0] if source is not None and len(source.headers) == 1 else ""

    def at(self, name: str) -> int:
        """The place of that header; -1 where there is none."""
        return self.layout.headers.index(self.header(name)) if self.header(name) else -1

    def facts(self, kinds: tuple[str, ...]) -> dict[str, ColumnFacts]:
        """Facts of the columns of some kinds that come from one header, by column."""
        table, layout = self.mapping.table, self.layout
        return {
            n: layout.fact(self.header(n))
            for n in self.mapping.columns
            if self.header(n) and kind_of(table, n) in kinds
        }

    def cells(self) -> Iterator[list[str]]:
        """The cells of every row."""
        return self.layout.all_cells(self.export)

    def texts(self, fact: ColumnFacts) -> list[str]:
        """The different texts of a column, in order."""
        return sorted({cells[fact.index] for cells in self.cells()} - {""})

    def number(self, cells: list[str], at: int) -> Decimal:
        """The number in a cell; 0 for none."""
        return (
            number_of(cells[at], self.layout.facts[at].likely_decimal) if at >= 0 and cells[at] else None
        ) or Decimal(0)

    # Marks that one file settles or the seller must: decimals, dates, currency.

    def ways(self) -> None:
        """The decimal mark and the order of dates: from the whole file where a column does not say."""
        for fact in self.facts(_DATES).values():
            if fact.dates.serials:
                seen = f"numbers in {fact.header} such as {fact.examples[0]}"
                self.draft.guessed.append(f"{seen} are a spreadsheet's day numbers")
            if fact.dates.short_years:
                self.draft.guessed.append(f"two-digit years in {fact.header} are 1970 to 2069")
            if fact.dates.clocks:
                self.draft.certain.append(f"the time of day in {fact.header} is left out")
        self._way("decimal", "decimal", {n: f.numbers for n, f in self.facts(NUMBERS).items()}, _as_number)
        self._way("dates", "order", {n: f.dates for n, f in self.facts(_DATES).items()}, _as_day)
        if not self.mapping.decimal and all(question.key != "decimal" for question in self.draft.questions):
            self.set(decimal="point")

    def _way(self, key: str, name: str, facts: dict[str, Evidence], shown: Callable[[str, str], str]) -> None:
        """One way of writing: what a column shows holds in the others, where none of them speaks against it."""
        draft, said, given = self.draft, SAID["ways"][key], getattr(self.mapping, name)
        if key in draft.answers or given:
            self.set(**{name: draft.said(key, given)})
            return
        held = {n: of for n, of in facts.items() if of.matters and not getattr(self.mapping.columns[n], name)}
        settled = {n: of.ways[0] for n, of in held.items() if len(of.ways) == 1}
        found, doubts = list(dict.fromkeys(settled.values())), [n for n in held if n not in settled]
        for column, way in settled.items():
            header, word = self.header(column), MARK_WORDS.get(way, way)
            if way != found[0]:
                self.set_column(column, **{name: word})
                draft.certain.append(said["other"].format(header=header, way=word))
            elif not getattr(self.mapping, name):
                self.set(**{name: word})
                seen = held[column].decisive.get(way, held[column].differing)
                draft.certain.append(said["told"].format(header=header, way=word, seen=seen))
        if not doubts:
            return
        odd = min(doubts, key=lambda n: len(held[n].ways))
        of, told = held[odd], said["same"].format(headers=", ".join(map(self.header, doubts)))
        why = said["doubt" if of.ways else "contrary"]
        both = " and ".join(of.decisive.values())
        candidates = []
        for way, count in of.fits.items():
            meaning = said["fits"].format(count=count) if not of.ways else shown(of.differing, way)
            sure = (0.9 if way in found else 0.1) if len(found) == 1 and of.ways else 0.5
            if way in of.ways or (count and not of.ways):
                candidates.append(Candidate(MARK_WORDS.get(way, way), meaning, sure, told))
        draft.decide(key, why.format(header=self.header(odd), text=of.differing, both=both), *candidates)

    def currency(self) -> None:
        """The currency of the amounts: two signs, or two codes in a column, are never one currency."""
        draft, facts = self.draft, self.layout.facts
        column = next((f for f in facts if 0 < f.distinct <= 12 and all(map(values.currency_of, f.examples))), None)
        texts, header = (self.texts(column), column.header) if column is not None else ([], "")
        named = {text: values.currency_of(text) or text for text in texts}
        found = dict.fromkeys(named.values(), header)
        for fact in self.facts(MONEY).values():
            for mark in filter(None, (*fact.numbers.currencies, heading(fact.header).currency)):
                found.setdefault(mark, fact.header)
        # A sign that several share is the one that is named beside it, the shop's own, or any of them.
        known = {draft.currency, *found}
        fits = {mark: values.SIGNS.get(mark, (mark,)) for mark in found}
        fits = {mark: tuple(c for c in codes if c in known) or codes for mark, codes in fits.items()}
        head = {code: found[mark] for mark, codes in fits.items() for code in codes}
        several = "the amounts are in more than one currency, and a shop has one: which is yours?"
        one = f"{next(iter(found), '')} can mean more than one currency: which is it?"
        dollars = values.fits_currency("$", draft.currency or "USD") and set(found) <= {"$"}
        given = self.mapping.currency
        if not (given or "currency" in draft.answers) and (not found or dollars):
            if self.facts(MONEY):
                draft.guessed.append("amounts are in the currency of the books, USD where they are new")
            return
        sure = 1.0 if len(head) == 1 else 0.5
        note = "rows in another currency are refused"
        codes = [
            Candidate(c, f"as in {at}; {note}", sure, f"amounts are in {c}: {at} says so") for c, at in head.items()
        ]
        text = several if len(set(fits.values())) > 1 else one
        said = (draft.decide("currency", text, *codes, given=given, free=True) or "").upper()
        if said and len(named) > 1 and header not in self.mapping.rows.keep:
            own = tuple(text.lower() for text, mark in named.items() if values.fits_currency(mark, said))
            self.set_rows(keep={**self.mapping.rows.keep, header: own})
        self.set(currency=said)

    def readable(self) -> None:
        """Refuse a value for every row, or for every blank, that its column cannot take."""
        for name, source in self.mapping.columns.items():
            for word, text in (("column", source.value), ("blank", source.otherwise)):
                read = ColumnReader(name, source, self.mapping, self.layout).read(text) if text else ""
                if isinstance(read, InvalidCell):
                    raise ConversionError([Problem("answers", None, f"{word} {name}", text, read.needed, read.mend)])

    # What names the rows.

    def identity(self) -> None:
        """What the books' table is named by already, else a number that no two things share."""
        if self.mapping.table not in ("items", "trips", "lots"):
            return
        draft, key = self.draft, f"{self.mapping.table[:-1]}_id"
        named, own = draft.naming.get(self.mapping.table, ()), self.header(key)
        if named[:1] == ("",) and own not in named[1:] and all(name in self.mapping.columns for name in named[1:]):
            # The rows in the books were named by what they say: the later file's are, too.
            if own:
                self.drop(key)
            self.set_rows(named_by=named[1:])
            return
        if not own and named[:1] > ("",) and self.items:
            self._names(named[0])
        fact = self.layout.fact(own) if own and self.items else None
        if fact is None or (fact.unique and (fact.filled == fact.rows or own in named)):
            return
        price, totals = self.at("sold_price"), {tuple(total.cells) for total in self.layout.totals}
        rows: dict[str, set[int]] = {}
        blank = 0
        for cells in self.cells():
            if cells[fact.index] and self.number(cells, price) >= 0:
                rows.setdefault(cells[fact.index], set()).add(hash(tuple(cells)))
            blank += not cells[fact.index] and tuple(cells) not in totals
        repeats = [name for name, seen in rows.items() if len(seen) > 1]
        if own in named or (not repeats and blank < 0.3 * fact.rows):
            if blank and own not in named:
                which = count_of(blank, "row, which gets a name", "rows, which get names")
                draft.guessed.append(f"{own} is blank in {which} of {'its' if blank == 1 else 'their'} own")
            count = self.layout.duplicate_count
            if count and not (repeats or "duplicates" in draft.answers or self.mapping.rows.duplicates):
                copies = count_of(count, "row is a copy", "rows are copies")
                draft.certain.append(f"{copies} of an earlier one, {own} and all: each thing counts once")
                self.set_rows(duplicates="once")
            return
        why = "repeats" if repeats else f"is blank in {count_of(blank, 'row')}"
        told = f"{own} {why}, so each row gets a name of its own"
        told += "" if "note" in self.mapping.columns else f", and {own} goes to note"
        few = 0.5 if 0 < len(repeats) <= 0.2 * len(rows) else 0.0
        sure = {"separate": few, "same": few, "note": 0.8 - 0.8 * few}
        text = f"{own} repeats in rows that differ ({', '.join(repeats[:3])}): are they the same thing?"
        if self.settle_rows("ids", text, sure, told) == "note":
            self.set(columns={"note": self.mapping.columns[key], **self.mapping.columns})
            for lines in (draft.guessed, draft.certain):
                lines[:] = [line for line in lines if not line.startswith("item_id is ")]
            self.drop(key)

    def _names(self, by: str) -> None:
        """Rows without the number that the books name their items by: things that are there, or new ones."""
        at, held = self.at("title"), {plain(row["title"]) for row in self.draft.stock.rows}
        there = sum(plain(record.cells[at]) in held for record in self.layout.kept) if at >= 0 else 0
        if there and self.at("cost") >= 0:
            alike = count_of(there, "title is", "titles are")
            text = f"the books name their items by {by}, which this file lacks; {alike} like theirs: the same things?"
            self.settle_rows("names", text)

    # What the amounts are for: one thing or several, a line or its order, spent or earned.

    def rivals(self) -> None:
        """Two headers that both say what a column of money or dates holds, and differ."""
        layout, table = self.layout, self.mapping.table
        for match in import_match.matches(layout, table) if self.items or table == values.LABELS else ():
            name, said = match.column, f"column {match.column}" in self.draft.answers
            if (
                said
                or not match.rivals
                or self.header(name) != match.header
                or kind_of(table, name) not in (*MONEY, "date")
            ):
                continue
            one, other = layout.headers.index(match.header), layout.headers.index(match.rivals[0])
            if all(cells[one] == cells[other] for cells in self.cells()):
                continue
            pairs = ((one, other), (other, one)) if name in ("cost", "sold_price") else ()
            if pair := next((pair for pair in pairs if self._product(*pair)), None):
                whole, each = (layout.headers[at] for at in pair)
                self.draft.certain.append(f"{whole} is {each} times {self.header('quantity')}")
                self.products[whole] = each
                continue
            self.draft.decide(
                f"column {name}",
                f"{match.header} and {match.rivals[0]} could both be {name}, and they differ: which is it?",
                *map(Candidate, (match.header, *match.rivals)),
            )

    def _product(self, one: int, other: int) -> bool:
        """Whether one amount is the other times the quantity, in every row."""
        at, several = self.at("quantity"), 0
        for cells in self.cells() if at >= 0 else ():
            if cells[one] and cells[other] and cells[at]:
                whole, each, count = (self.number(cells, place) for place in (one, other, at))
                if abs(each * count - whole) > Decimal("0.01") * max(count / 2, Decimal(1)):
                    return False
                several += count > 1
        return several > 0

    def each(self) -> None:
        """Whether an amount is for one of several like things or for all of them; how many are left or were."""
        at, sold = self.at("quantity"), self.at("quantity_sold")
        if not self.items or at < 0:
            return
        several = [record.row for record in self.layout.kept if self.number(record.cells, at) > 1]
        if sold >= 0 and not self.mapping.rows.left:
            words = heading(self.header("quantity")).words
            more = any(self.number(cells, sold) > self.number(cells, at) for cells in self.cells())
            left = 0.9 if values.says("left", words) else 0.5 if more or values.says("stock", words) else 0.1
            here, beside = self.header("quantity"), self.header("quantity_sold")
            text, told = f"{here} stands beside {beside}: what does it count?", f"{here} counts what is left unsold"
            told = told if left > 0.5 else ""
            said = self.draft.settle("quantity-is", text, {"bought": 1 - left, "left": left}, told=told)
            self.set_rows(left=said == "left")
        # The examples are the first different texts of the whole column: where all say one, every row does.
        if not several and all(self.number([text], 0) <= 1 for text in self.layout.facts[at].examples) and sold < 0:
            return
        for column, key in (("cost", "cost-is"), ("sold_price", "price-is"), ("list_price", "list-is")):
            header = self.header(column)
            if not header or self.mapping.columns[column].each:
                continue
            words = heading(header).words
            whole = values.says("whole", words) or header in self.products
            one = 0.9 if values.says("each", words) else 0.5
            where = rows_in_words(several, most=5) if several else "some rows"
            text = f"the quantity is above 1 in {where}: is {header} for one of them or for the row?"
            told = "" if whole else f"{header} is for one; the row's {column} is that times the quantity"
            sure = {"each": 0.0, "row": 0.9} if whole else {"each": one, "row": 1 - one}
            said = self.draft.settle(key, text, sure, told=told)
            if said == "each":
                self.set_column(column, each=True)

    def of_order(self) -> None:
        """Whether an amount that repeats within an order belongs to the order or to each line."""
        at, price = self.at("order_id"), self.at("sold_price")
        lines_of = Counter(cells[at] for cells in self.cells()) if self.items and at >= 0 else Counter()
        groups: dict[str, list[list[str]]] = {}
        for cells in self.cells() if max(lines_of.values(), default=0) > 1 else ():
            # Money given back says nothing about how the sale's own lines are written.
            if cells[at] and lines_of[cells[at]] > 1 and self.number(cells, price) >= 0:
                groups.setdefault(cells[at], []).append(cells)
        several = [lines for lines in groups.values() if len(lines) > 1]
        for column, key in (
            ("shipping_charged", "shipping-is"),
            ("fees_paid", "fees-are"),
            ("label_paid", "shipping-is"),
        ):
            place, header = self.at(column), self.header(column)
            if not several or place < 0 or self.mapping.columns[column].per_order:
                continue
            alike = sum(len({cells[place] for cells in lines}) == 1 and bool(lines[0][place]) for lines in several)
            first = all(sum(bool(cells[place]) for cells in lines) <= 1 for lines in several)
            some = any(self.number(cells, place) for lines in several for cells in lines)
            if key not in self.draft.answers and not (some and (first or alike >= 0.5 * len(several))):
                continue
            way = "stands once an order and is" if first else "repeats on the lines of an order and is"
            named = 0.9 if re.search(r"\border\b", heading(header).words) else 0.5
            told = f"{header} {way} shared among {'its items' if first else 'them'}"
            sure = {"order": 1.0, "line": 0.0} if first else {"order": named, "line": 0.3}
            said = self.draft.settle(
                key,
                f"{header} is the same on all lines of an order: was it paid once or for each line?",
                sure,
                told=told,
            )
            self.set_column(column, per_order=said == "order")

    def kinds(self) -> None:
        """A column that says of each row what moved the money: no word of it stands at amounts of both signs."""
        price = self.layout.fact(self.header("sold_price")) if self.items and self.header("sold_price") else None
        if price is None or price.numbers.negatives < _OFTEN or not price.numbers.positives:
            return
        own = {self.at(name) for name in ("title", "order_id", "item_id")}
        for fact in self.layout.facts:
            if not 1 < fact.distinct <= len(fact.examples) or fact.filled < fact.rows or fact.is_number or fact.is_date:
                continue
            ways: dict[bool, set[str]] = {True: set(), False: set()}
            for cells in self.cells():
                if value := self.number(cells, price.index):
                    ways[value < 0].add(cells[fact.index])
            if fact.index in own or ways[True] & ways[False] or not all(ways.values()):
                continue
            back = [text for text in sorted(ways[True]) if values.says("void", text)]
            rest = "|".join(text for text in sorted(ways[True]) if text not in back)
            self.drop("", fact.header)
            if rest:
                self.draft.decide(
                    f"skip {fact.header}",
                    f"{price.header} is negative where {fact.header} says {', '.join(sorted(ways[True]))}: what are "
                    "these rows?",
                    Candidate(rest, "these are no sales: leave them out"),
                    Candidate("", "all of them are money given back to buyers"),
                    free=True,
                )
            self.draft.guessed.append(f"{fact.header} says what kind of row each is; it is no column of the books")

    def refunds(self) -> None:
        """Rows with a negative price beside sales of the same order: money given back."""
        header, linked = self.header("sold_price"), {"order_id", "item_id", "title"} & set(self.mapping.columns)
        numbers = self.layout.fact(header).numbers if header and self.items and linked else None
        if numbers is not None and numbers.negatives and numbers.positives:
            told = f"rows with a negative {header} are money given back; it goes to the sale of the same order"
            sure = 0.9 if linked != {"title"} else 0.6
            text = f"{header} is negative in some rows: what are they?"
            self.settle_rows("refunds", text, {"join": sure, "refuse": 0.4}, told)

    def signs(self) -> None:
        """Costs that a list writes as negative are turned."""
        for name, fact in self.facts(MONEY if self.mapping.table == values.LABELS else ("money",)).items():
            numbers = fact.numbers
            if not numbers.negatives or name in ("adjustment", "label_adjustment") or self.mapping.columns[name].turned:
                continue
            if not numbers.positives:
                self.draft.guessed.append(f"{fact.header} has negative amounts alone; they are taken as positive")
            elif (self.mapping.table, name) == ("overheads", "amount"):
                told = f"negative amounts in {fact.header} are spent, positive ones came in and are refused"
                self.draft.guessed.append(told)
            else:
                continue
            self.set_column(name, turned=True)

    def titles(self) -> None:
        """A title that some rows lack is taken from another column of words."""
        header, facts = self.header("title"), self.layout.facts
        fact = self.layout.fact(header) if header and self.items else None
        if fact is None or fact.filled == fact.rows or self.mapping.columns["title"].blank:
            return
        used = {header for source in self.mapping.columns.values() for header in source.headers}
        words = [f for f in facts if f.letters >= 0.9 * min(f.distinct, 2_000) and not (f.is_number or f.is_date)]
        fitting = [f for f in words if f.header not in used and f.filled == f.rows and f.distinct > 1]
        if fitting:
            best = max(fitting, key=lambda other: (len(" ".join(other.examples[:3])), other.distinct))
            lacking = count_of(fact.rows - fact.filled, "row has", "rows have")
            told = f"{lacking} no {header}: the title is taken from {best.header}"
            self.draft.guessed.append(told)
            self.set_column("title", blank=best.header)

    def states(self) -> None:
        """A column that says of each thing whether it is sold, unsold, or gone in another way."""
        for fact in self.layout.facts if self.items else ():
            said = import_match.states_of(fact)
            if not said or (said <= {"yes", "no"} and not values.says("sold", heading(fact.header).words.rstrip("? "))):
                continue
            states = {text: values.state_of(text) for text in self.texts(fact)}
            no = tuple(text for text, state in states.items() if state in ("no", "unsold"))
            gone = {text: state for text, state in states.items() if state in values.GONE}
            if other := [text for text, state in states.items() if not state]:
                self.draft.guessed.append(f"nothing is taken from {fact.header} where it says {', '.join(other)}")
            if no:
                self.draft.guessed.append(f"where {fact.header} says {no[0]} the thing is not sold")
                self.set_rows(unsold={fact.header: no})
            if gone:
                self.draft.guessed.append(f"where {fact.header} says {', '.join(gone)} the thing left the stock unsold")
                self.set_rows(gone={fact.header: gone})
            self.drop("", fact.header)

    def units(self) -> None:
        """The unit of bare numbers in sides, weights and times: as other headers say, or asked."""
        for key, names in _UNITS.items():
            named = [name for name in names if self.header(name)]
            bare = [n for n in named if not self.mapping.columns[n].unit and self.layout.fact(self.header(n)).is_bare]
            said = {self.mapping.columns[name].unit for name in named} - {""}
            heads = ", ".join(dict.fromkeys(map(self.header, bare)))
            said |= {unit for name in bare for unit in self.layout.fact(self.header(name)).units} - {""}
            # A time that is called minutes or hours has its unit; what is called time has none.
            sure = dict.fromkeys(said, 0.9) if len(said) == 1 else {}
            told = f"{heads} is in {', '.join(said)}, like what stands beside it"
            text = f"{heads} has plain numbers: in which unit?"
            unit = self.draft.settle(key, text, sure, told=told) if bare else None
            for name in bare if unit else ():
                self.set_column(name, unit=unit)

    # Which rows are records.

    def _answered(self, word: str) -> dict[str, tuple[str, ...]]:
        """Answers that name a header of the export, their words apart."""
        found: dict[str, tuple[str, ...]] = {}
        for key, value in self.draft.answers.items():
            if key.startswith(f"{word} "):
                header = key.removeprefix(f"{word} ").strip()
                require_known("answers", key, header, header, self.layout.headers)
                found[header] = tuple(word.strip() for word in value.split("|") if word.strip())
        return found

    def skip(self) -> None:
        """Orders that do not stand."""
        skip = {**self.mapping.rows.skip, **self._answered("skip")}
        for fact in self.layout.facts if self.items and not self.draft.kept else ():
            if fact.header in skip or not values.says("status", heading(fact.header).words):
                continue
            void = "|".join(text for text in self.texts(fact) if values.says("void", text))
            if void:
                self.draft.decide(
                    f"skip {fact.header}",
                    f"{fact.header} says {void.replace('|', ', ')} of some rows: do they count as sales?",
                    Candidate(void, "leave these rows out"),
                    Candidate("", "they count like the others"),
                )
        self.set_rows(skip=skip)

    def keep(self) -> None:
        """Which lines of a bank list are what the table is for: the goods themselves are paid there too."""
        said = {header: tuple(map(str.lower, words)) for header, words in self._answered("keep").items()}
        self.set_rows(keep={**self.mapping.rows.keep, **said})
        header = self.header("what") or self.header("supply")
        amount = self.header("amount") or self.header("cost")
        if self.mapping.table not in ("overheads", "supplies") or self.draft.kept or not (header and amount):
            return
        numbers = self.layout.fact(amount).numbers
        bank = any(values.says("balance", heading(name).words) for name in self.layout.headers)
        for fact in self.layout.facts:
            ways = {values.direction_of(text) for text in fact.examples} if 0 < fact.distinct <= 4 else {""}
            if ways == {"out", "in"} and fact.header not in self.mapping.rows.keep:
                out = tuple(t.lower() for t in fact.examples if values.direction_of(t) == "out")
                self.draft.guessed.append(
                    f"where {fact.header} says {', '.join(out)} money was spent; the other rows came in"
                )
                self.set_rows(keep={fact.header: out, **self.mapping.rows.keep})
                bank = True
        if (bank or (numbers.negatives and numbers.positives)) and header not in self.mapping.rows.keep and not said:
            self.draft.decide(
                f"keep {header}",
                f"this looks like a bank list, which has more than {self.mapping.table}: which words in {header} "
                f"mark the lines to take?",
                option=f"--keep '{header}=WORD|WORD', or '{header}=*' for every line",
                free=True,
            )

    def repeats(self) -> None:
        """Rows that are equal, and rows that add up others."""
        layout, said = self.layout, self.draft.answers
        if layout.duplicate_count or "duplicates" in said:
            equal = f"{count_of(layout.duplicate_count, 'row is', 'rows are')} equal to an earlier one in every cell"
            which = "".join(f" (row {row} to row {first})" for row, first in layout.duplicates[:1])
            self.settle_rows("duplicates", f"{equal}{which}: do they all count?")
        sums = {total.row: f"the sum of the rows above in {', '.join(total.sums)}" for total in layout.totals}
        doubtful = next((total for total in layout.totals if not total.certain), None)
        told = "; ".join(f"row {total.row} ({total.label}) is {sums[total.row]}: left out" for total in layout.totals)
        if doubtful is not None:
            why = f"has no words, and is {sums[doubtful.row]}"
            if doubtful.label:
                why = f"is called {doubtful.label}, but its numbers are not the sums of the rows above"
            self.settle_rows("totals", f"row {doubtful.row} {why}: is it a total?")
        elif told or "totals" in said:
            self.settle_rows("totals", "", {"leave-out": 1.0, "keep": 0.0}, told)

    # Columns that lack, and columns that no header tells.

    def missing(self) -> None:
        """Columns that a record cannot be without."""
        table, columns = self.mapping.table, self.mapping.columns
        needed = [name for name in import_match.required_of(table) if name != "item_id"]
        if self._sales_of_stock():
            needed = ["sold_price"] if "item_id" in columns else ["title", "sold_price"]
        if table == "comparables" and "item_id" not in columns:
            needed.append("category")
        if self.items and {"sold_price", "sold_on"} & set(columns):
            needed += ["sold_on", "sold_price"]
        if values.SOLD_OF in columns:
            needed.append("quantity")
        if table in ("lots", "trips"):
            needed = [name for name in needed if name != f"{table[:-1]}_id"]
        asked = {question.key for question in self.draft.questions}
        for name in dict.fromkeys(needed):
            if name in columns or (name == "cost" and "lot_id" in columns) or f"column {name}" in asked:
                continue
            hint = SAID["hints"].get(name, "a header, or a value for all rows")
            option = f"--column {name}=HEADER or --fixed {name}=VALUE"
            self.draft.decide(
                f"column {name}", f"no column is {name} ({hint}): where does it come from?", option=option, free=True
            )

    def _sales_of_stock(self) -> bool:
        """Whether the rows are sales of items that the books hold, so that nothing is missing for new ones."""
        lacking = [name for name in ("bought_on", "cost", "category") if name not in self.mapping.columns]
        if not self.items or not self.draft.stock.rows or "sold_on" not in self.mapping.columns or not lacking:
            return False
        ids, titles = self.draft.stock.ids, {plain(row["title"]) for row in self.draft.stock.rows}
        id_at, title_at = self.at("item_id"), self.at("title")
        strange = [
            record.row
            for record in self.layout.kept
            if not (id_at >= 0 and record.cells[id_at] in ids)
            and not (title_at >= 0 and plain(record.cells[title_at]) in titles)
        ]
        told, sell = "every row is a sale of an item in the books, found by its number or its title", "sell"
        sell += "s" if len(strange) == 1 else ""
        text = f"{rows_in_words(strange, most=5)} of {len(self.layout.kept):,} {sell} no item of the books: what then?"
        sure = {} if strange else {"refuse": 0.9, "new": 0.0}
        said = self.draft.settle("unmatched", text, sure, told="" if strange else told)
        return said != "new"

    def meanings(self) -> None:
        """Columns of money, days or measures that no header tells, or that may be income or cost."""
        draft, ignored = self.draft, list(self.mapping.ignore)
        for fact in self.layout.facts if self.items else ():
            key, header = f"means {fact.header}", fact.header
            taken = next(
                (n for n, source in self.mapping.columns.items() if header in (*source.headers, source.blank)), ""
            )
            if draft.answers.get(key) == "ignore" or header in ignored:
                ignored.append(header)
                self.drop("", header)
                continue
            # What a record cannot be without is asked first: it may be this header.
            first = any(question.key.startswith("column ") for question in draft.questions)
            candidates = self._meaning_of(fact, taken) if key in draft.answers or not first else []
            seen = ", ".join(fact.examples[:3])
            said = candidates and draft.decide(key, f"what is {header} ({seen})?", *candidates)
            if not said or said == taken:
                continue
            if taken:
                self.drop(taken)
            if said != "ignore":
                self.set(columns={**self.mapping.columns, **sources_of(self.layout, "items", said, header)})
        self.set(ignore=tuple(dict.fromkeys(ignored)))

    def _meaning_of(self, fact: ColumnFacts, taken: str) -> list[Candidate]:
        """What a header may be: nothing where that is settled."""
        draft, head, columns = self.draft, heading(fact.header), self.mapping.columns
        if fact.header in draft.seen:
            return []
        likely = {column: score for (table, column), score in values.likenesses(head.words).items() if table == "items"}
        doubtful = [n for n in ("shipping_charged", "label_paid") if likely.get(n) == values.WEAK]
        either = (
            len(doubtful) == 2
            and taken in ("", *doubtful)
            and not (taken and (draft.kept or f"column {taken}" in draft.answers))
        )
        if not taken and (
            fact.header in {*self.products, *self.products.values()}
            # The seller took that column from elsewhere.
            or any(score > 90 and n in columns and f"column {n}" in draft.answers for n, score in likely.items())
        ):
            return []
        kind = "" if taken or not fact.filled or values.says("computed", head.words) else self._kind(fact)
        if taken == "cost" and "column cost" not in draft.answers and not draft.kept and self._above_price(fact):
            kind = "money"
        if not either and not kind:
            return []
        free = [n for n in SAID["may_be"].get(kind, ()) if n not in columns or n in (taken, *draft.unsure)]
        names = doubtful if either else free
        proof = self._postage(fact, taken) if either else {}
        found = []
        for name in names:
            sure, why = proof.get(name, (0.5, ""))
            typed = f"'{name}={fact.header}'"
            now = f" (now {', '.join(columns[name].headers)})" if name in columns and name != taken else ""
            meaning = f"{values.columns_of('items')[name].meaning}{now}"
            found.append(Candidate(name, meaning, sure, f"{name} is {fact.header}: {why}", typed))
        return [*found, Candidate("ignore", "not for the books", 0.3, typed=f"--ignore '{fact.header}'")]

    def _above_price(self, fact: ColumnFacts) -> bool:
        """Whether nothing was sold for more than this, so that it is hardly what the things cost."""
        price = self.at("sold_price")
        pairs = ((self.number(r.cells, fact.index), self.number(r.cells, price)) for r in self.layout.kept)
        both = list(islice((cost >= sold for cost, sold in pairs if cost > 0 and sold > 0), 200))
        return len(both) > _OFTEN and all(both)

    def _kind(self, fact: ColumnFacts) -> str:
        """What a header that no words tell holds: small whole numbers, mostly 1, count things if the titles say so."""
        numbers, at, title = fact.numbers, fact.index, self.at("title")
        whole = fact.is_number and not (numbers.with_part or numbers.negatives or numbers.currencies)
        counts = (
            [self.number(record.cells, at) for record in self.layout.kept]
            if whole and fact.distinct > 1
            else [Decimal(0)]
        )
        lone = [title >= 0 and values.says_several(r.cells[title]) for r in self.layout.kept if r.cells[at] == "1"]
        if (
            max(counts) > _LARGEST_COUNT
            or len(lone) < _HALF * min(fact.filled, len(counts))
            or values.says("priced", heading(fact.header).words)
        ):
            return content_of(fact)
        pairs = zip(counts, self.layout.kept, strict=False)
        many = [title >= 0 and values.says_several(record.cells[title]) for count, record in pairs if count > 1]
        said = sum(many) >= _HALF * len(many) > 0 and sum(lone) < _HALF * len(lone)
        return (
            "count"
            if said and self.at("quantity") < 0 and not values.says("ignored", heading(fact.header).words)
            else ""
        )

    def _postage(self, fact: ColumnFacts, taken: str) -> dict[str, tuple[float, str]]:
        """Whether a column of postage is income or cost: by its sign, by what stands beside it, by a rate card."""
        income, cost = names = ("shipping_charged", "label_paid")
        if fact.numbers.negatives and not fact.numbers.positives:
            return {cost: (0.9, "it is negative throughout"), income: (0.1, "")}
        other = next((name for name in names if name != taken and name in self.mapping.columns), "")
        if other:
            return {
                other: (0.0, ""),
                (income if other == cost else cost): (0.85, f"{self.header(other)} is the other one"),
            }
        at, heavy = fact.index, self.at("weight_lb")
        rules, pounds = self.draft.rules, 0.0
        tables = []
        if rules is not None and heavy >= 0:
            pounds = _POUNDS[self.mapping.columns["weight_lb"].unit or "lb"]
            for card in rules.rate_cards.values():
                unit = _POUNDS[rules.rules_of(card).weight_unit]
                tables += [(service.table, unit) for block in card.blocks for service in block.services]
        exact = far = count = 0
        for record in self.layout.kept if tables else ():
            weight, amount = float(self.number(record.cells, heavy)) * pounds, record.cells[at]
            own = [(table, weight / each) for table, each in tables if 0 < weight / each <= table.weights[-1]]
            fits = [table.cents[table.rows(np.array([held]))[0]] for table, held in own]
            fitting = np.concatenate(fits) if fits else np.array([-1])
            if amount and (fitting > 0).any():
                cents = int(self.number(record.cells, at) * 100)
                count += 1
                exact += cents in fitting
                far += cents < _FAR * fitting[fitting > 0].min()
        if count >= 8 and exact >= _MOST * count:
            return {
                cost: (0.85, f"{exact} of {count} amounts are prices of your rate card for these weights"),
                income: (0.3, ""),
            }
        if count >= 8 and far >= _HALF * count:
            return {income: (0.85, f"{far} of {count} amounts are less than any label costs"), cost: (0.3, "")}
        return {}

    def free_or_unknown(self) -> None:
        """A cost of 0 for every row is asked about once: free finds, or costs that nobody knows."""
        cost = self.mapping.columns.get("cost")
        if self.items and cost is not None and not cost.headers and number_of(cost.value or "-", ".") == 0:
            text = "a cost of 0 for every row: was all of it free, or is the cost not known?"
            said = self.draft.settle("cost-zero", text)
            if said == "unknown":
                self.set_column("cost", value="")

    def otherwise(self) -> None:
        """What stands for a blank that a row cannot be without."""
        rows, unsold = self.layout.kept, self.mapping.rows.unsold | self.mapping.rows.gone
        unsold_at = {self.layout.headers.index(header): set(words) for header, words in unsold.items()}
        price = self.at("sold_price")
        for name, offered in _FILLED.items() if self.items and not self.draft.questions else ():
            at, header = self.at(name), self.header(name)
            known = name == "bought_on" and self.draft.stock.rows and "sold_on" in self.mapping.columns
            if at < 0 or self.mapping.columns[name].otherwise or known:
                continue
            fact, place = self.layout.facts[at], self.at("title") if self.at("title") >= 0 else at
            # A line of words below a small table has no category, and no record lacks only that.
            bare = sum(not (record.cells[at] or record.cells[place]) for record in rows)
            lacking = fact.rows - fact.filled - bare * (place != at)
            if name == "sold_on":
                lacking = sum(
                    not r.cells[at]
                    and self.number(r.cells, price) > 0
                    and not any(r.cells[place] in words for place, words in unsold_at.items())
                    for r in rows
                )
            if lacking < (1 if name == "category" else _OFTEN):
                continue
            offers = [Candidate(offered, "for these rows", typed=f"{name}={offered}")] if offered else []
            said = self.draft.decide(
                f"blank {name}",
                f"{count_of(lacking, 'row has', 'rows have')} no {header}: what should stand there?",
                *offers,
                Candidate("refuse", "list these rows and take the others", typed=f"{name}=refuse"),
                free=True,
            )
            if said and said != "refuse":
                self.set_column(name, otherwise=said)
        self.readable()

    def spellings(self) -> None:
        """A category or a venue that differs in capitals alone is one, spelled as in the books or as most often."""
        for name in ("category", "venue") if self.items and not self.draft.questions else ():
            at, held = self.at(name), [row.get(name, "") for row in self.draft.stock.rows]
            seen = Counter(record.cells[at] for record in self.layout.kept) if at >= 0 else Counter()
            usual: dict[str, str] = {}
            for text in [*held, *(text for text, _ in seen.most_common())]:
                usual.setdefault(text.casefold(), text)
            words = {text: usual[text.casefold()] for text in sorted(seen) if text != usual[text.casefold()]}
            if words:
                told = ", ".join(f"{text} is {meant}" for text, meant in words.items())
                self.draft.guessed.append(f"in {self.header(name)}, {told}")
                self.set_column(name, words={**words, **self.mapping.columns[name].words})

    # Words where a number, a day or a choice should stand.

    def nothings(self) -> None:
        """Words for "nothing" that are read as blank."""
        seen: Counter[str] = Counter()
        for fact in self.facts((*NUMBERS, *_DATES)).values():
            seen.update(fact.nothings)
        if seen:
            told = ", ".join(f"{word} ({count})" for word, count in sorted(seen.items()))
            self.draft.guessed.append(f"in dates and numbers these are read as blank: {told}")

    def words(self) -> None:
        """Words in the place of amounts, days or choices: what they mean is asked once a column and kept."""
        yearless: Counter[str] = Counter()
        self.set(year=self.draft.answers.get("year", self.mapping.year))
        for name, fact in self.facts((*NUMBERS, "date", "choice")).items() if not self.draft.questions else ():
            source, kind, at = self.mapping.columns[name], kind_of(self.mapping.table, name), fact.index
            unread = fact.dates.unread + fact.dates.yearless if kind == "date" else fact.numbers.unread
            if not unread and kind not in ("choice", "length", "weight", "minutes"):
                continue
            reader = ColumnReader(name, source, self.mapping, self.layout)
            texts = Counter(cells[at] for cells in self.cells())
            odd = {t: count for t, count in texts.items() if t and isinstance(reader.read_worded(t), InvalidCell)}
            if kind == "date" and not self.mapping.year:
                order = source.order or self.mapping.order or ORDERS[0]
                yearless.update({t: c for t, c in odd.items() if values.day_of(t, order, "2024") is not None})
                odd = {t: c for t, c in odd.items() if t not in yearless}
            self._worded(name, odd, reader)
        order = self.mapping.order or ORDERS[0]
        days = (values.day_of(text, order) for fact in self.layout.facts if fact.is_date for text in fact.examples)
        years = sorted({day.year for day in days if day is not None}, reverse=True) if yearless else []
        if yearless:
            count = count_of(yearless.total(), "day")
            said = self.draft.decide(
                "year",
                f"{next(iter(yearless), '')} is written without a year, as {count} are: of which year?",
                *(Candidate(str(year)) for year in years),
                free=True,
            )
            self.set(year=said or "")

    def _worded(self, name: str, odd: dict[str, int], reader: ColumnReader) -> None:
        """Settle the words of one column."""
        header, column = self.header(name), values.columns_of(self.mapping.table)[name]
        meant: dict[str, str] = {}
        for text in odd:
            doubted = _DOUBTED.fullmatch(text.casefold())
            guess = values.with_gone("cells").get(values.plain_words(text), doubted[1] if doubted else None)
            if guess is not None and not isinstance(reader.meant(guess), InvalidCell):
                meant[text] = guess
        asked = [text for text, count in odd.items() if text in meant or count >= _OFTEN]
        if name == "sold_price" and (no := tuple(t for t in odd if values.state_of(t) == "unsold")):
            self.set_rows(unsold={**self.mapping.rows.unsold, header: no})
        if not asked and f"words {name}" not in self.draft.answers:
            return
        shown = ", ".join(f"{text} ({odd[text]:,})" for text in asked[:8])
        proposed = "|".join(f"{text}={meant.get(text, '')}" for text in asked)
        needed = "a date" if column.kind == "date" else "a number"
        needed = f"one of {', '.join(column.choices)}" if column.choices else needed
        reading = "; ".join(f"{text} is {meant.get(text) or 'blank'}" for text in asked[:8])
        offers = [Candidate(proposed, reading)] if not column.choices else []
        said = self.draft.decide(
            f"words {name}",
            f"{header} has {shown}, and {name} needs {needed}: what do they mean? (WORD=MEANING|WORD=MEANING)",
            *offers,
            option="" if offers else f"--words '{name}=WORD=MEANING|WORD=MEANING'",
            free=True,
        )
        words = dict(self.mapping.columns[name].words)
        for pair in filter(None, (said or "").split("|")):
            word, equals, meaning = pair.rpartition("=")
            if not equals or isinstance(reader.meant(meaning.strip()), InvalidCell):
                needs = f"WORD={needed}, or WORD= for blank"
                raise ConversionError([Problem("answers", None, f"words {name}", pair, needs, "")])
            words[word.strip()] = meaning.strip()
        self.set_column(name, words=words)


def _as_number(text: str, mark: str) -> str:
    """What a number is under a decimal mark."""
    return f"{re.sub(r'[^0-9.,]', '', text)} is {abs(number_of(text, mark) or 0):f}"


def _as_day(text: str, order: str) -> str:
    """What a day is in an order."""
    day = values.day_of(text, order)
    return f"{text} is {day.day} {day:%B} {day.year}" if day is not None else ""


def content_of(fact: ColumnFacts) -> str:
    """What a column that no header tells holds by its content: money, days, measures, or none of these."""
    head = heading(fact.header)
    if fact.is_date:
        return "date" if fact.dates.serials < fact.dates.read else ""
    if said := {_UNIT_KINDS.get(unit, "") for unit in fact.units - {""}}:
        return said.pop() if len(said) == 1 else ""
    if not fact.is_number or values.says("status", head.words) or values.says("ignored", head.words):
        return "money" if fact.is_number and head.currency else ""
    if head.unit:
        return _UNIT_KINDS.get(head.unit, "")
    # Prices have cents, or are mostly above ten and have no more than cents; they are neither years nor a number a row.
    texts = fact.examples[:3]
    given = [abs(number_of(text, fact.likely_decimal) or Decimal(0)) for text in texts]
    numbers = fact.numbers
    cents = all(value.as_tuple().exponent == -2 for value in given)
    priced = cents or (any(value >= 10 for value in given) and all(round(value, 2) == value for value in given))
    # Whole numbers of one length are codes or years, and one a row is a number of the row.
    codes = not numbers.with_part and (len(set(map(len, texts))) == 1 or (fact.unique and fact.filled > 20))
    money = head.currency or numbers.currencies or (priced and not codes) or values.says("priced", head.words)
    return "money" if money else ""
