"""Rows of an export turned into rows of the books' tables: every one taken or refused with its reasons."""

from __future__ import annotations

import hashlib
from base64 import b32encode
from collections import Counter, defaultdict
from typing import TYPE_CHECKING

from flipkit.books.cells import InvalidCell, Units
from flipkit.books.schema import PICKUP
from flipkit.imports import match as import_match
from flipkit.imports.cells import ColumnReader
from flipkit.imports.join import AcceptedRow, Cell, as_text, cents_in
from flipkit.imports.mapping import Mapping
from flipkit.imports.sheets import SkippedRow, SortedBlock
from flipkit.imports.values import COLLECTED, GONE, SOLD_OF, UNSOLD
from flipkit.money import share_out

if TYPE_CHECKING:
    from flipkit.imports.detect import Proposal

#: What a row of items is known by when nothing in the export names it.
_IDENTITY = ("order_id", "title", "bought_on", "cost", "quantity", "sold_on", "sold_price")
#: What a row of items that is not sold has none of.
_SALE = (
    "sold_on", "sold_price", "shipping_charged", "fees_paid", "label_paid", "label_adjustment", "refund", "order_id",
)  # fmt: skip


#: The place of a column, and its words with what became of a thing.
_Became = tuple[int, dict[str, str]]


def taken_rows(proposal: Proposal, *, units: Units) -> AcceptedRow:
    """Turn the rows of an export into rows of its table."""
    layout, mapping = proposal.table, proposal.mapping
    rows, place = mapping.rows, layout.headers.index
    readers = [ColumnReader(name, source, mapping, layout, units) for name, source in mapping.columns.items()]
    # Words that say what became of a thing, by the column that they stand in.
    became = [(place(header), words) for header, words in rows.gone.items()]
    became += [(reader.places[0], reader.source.words) for reader in readers if reader.source.words]
    hows = {how for _, words in became for how in words.values()}
    extra = ["zone"] * (COLLECTED in hows) + ["gone_on", "gone_how"] * (not hows.isdisjoint(GONE))
    taken = AcceptedRow([*mapping.columns, *(name for name in extra if name not in mapping.columns)])
    became += [(place(header), dict.fromkeys(words, UNSOLD)) for header, words in rows.unsold.items()]
    totals = {total.row for total in layout.totals} if rows.totals != "keep" else set()
    skip = [(place(header), set(texts)) for header, texts in rows.skip.items() if texts]
    keep = [(place(h), h, texts) for h, texts in rows.keep.items() if texts and "*" not in texts]
    seen: dict[int, int] | None = {} if rows.duplicates == "once" else None

    def why(number: int, cells: list[str]) -> str:
        """Why a row does not count."""
        if number in totals:
            return "a row that adds up others"
        for at, texts in skip:
            if cells[at] in texts:
                return f"left out as you said: {cells[at]}"
        for at, header, words in reversed(keep):
            if not any(word in cells[at].lower() for word in words):
                return f"none of the words to keep stands in {header}"
        first = seen.setdefault(hash(tuple(cells)), number) if seen is not None else number
        return f"equal to row {first} in every cell" if first != number else ""

    for block in layout.sorted_blocks(proposal.export, once=True):
        taken.refused += block.left
        if totals or skip or keep or seen is not None:
            block = block.sifted(why)
            taken.refused += block.left
        if block.rows:
            _take(block, readers, mapping, taken, became)
    if rows.refunds == "join":
        join_refunds(taken)
    share_orders(taken, mapping)
    if mapping.table in ("items", "trips", "lots"):
        name_rows(taken, mapping)
    if mapping.table == "items":
        part_sold(taken, left=rows.left)
        name_orders(taken)
    return taken


def share_orders(taken: AcceptedRow, mapping: Mapping) -> None:
    """Share the amounts of an order among its items, so that not a cent is lost or invented."""
    shared = [name for name, source in mapping.columns.items() if source.per_order]
    order_at, title_at, price_at = map(taken.at, ("order_id", "title", "sold_price"))
    if not shared or order_at < 0:
        return
    groups: dict[str, list[int]] = defaultdict(list)
    for place, row in enumerate(taken.rows):
        groups[row[order_at] or f"\0{place}"].append(place)
    bad: dict[int, str] = {}
    heads: set[int] = set()
    for order, places in groups.items():
        lines = [place for place in places if title_at < 0 or taken.rows[place][title_at]]
        if not lines:
            bad.update(dict.fromkeys(places, "no title"))
            continue
        amounts: dict[str, str] = {}
        for name in shared:
            said = {taken.rows[place][taken.at(name)] for place in places} - {""}
            if len(said) > 1:
                shown = " and ".join(sorted(said)[:3])
                reason = f"{name} differs between the lines of order {order}: {shown}"
                bad.update(dict.fromkeys(places, reason))
            amounts[name] = said.pop() if len(said) == 1 else ""
        if places[0] in bad:
            continue
        for place in set(places).difference(lines):
            heads.add(place)
            why = f"its amounts went to the items of order {order}"
            taken.joined.append(SkippedRow(taken.origins[place], why, []))
        if len(places) > 1:
            prices = [cents_in(taken.rows[place][price_at]) if price_at >= 0 else 0 for place in lines]
            for name, text in amounts.items():
                shares = (
                    [as_text(one) for one in share_out(cents_in(text), prices).tolist()] if text else [""] * len(lines)
                )
                for place, share in zip(lines, shares, strict=True):
                    taken.rows[place][taken.at(name)] = share
    taken.drop(bad, silently=heads)


def join_refunds(taken: AcceptedRow) -> None:
    """Money given back, a row with a negative price, put to the sale of the same order."""
    price = taken.at("sold_price")
    back = [place for place, row in enumerate(taken.rows) if row[price].startswith("-")]
    if not back:
        return
    refund, fees = taken.add("refund"), taken.at("fees_paid")

    def ways(row: list[str]) -> list[tuple[str, ...]]:
        """What a sale is known by, the surest first; its title alone where it has no number."""
        order, item, title = (taken.cell(row, name) for name in ("order_id", "item_id", "title"))
        return [("line", order, title), ("order", order), ("item", item), *[("title", title)] * (not (order or item))]

    sales: dict[tuple[str, ...], list[int]] = defaultdict(list)
    for place, row in enumerate(taken.rows):
        for way in [*ways(row), ("title", taken.cell(row, "title"))] if not row[price].startswith("-") else ():
            if way[1]:
                sales[way].append(place)
    bad: dict[int, str] = {}
    joined: set[int] = set()
    for place in back:
        row = taken.rows[place]
        fits = next((set(sales[way]) for way in ways(row) if len(set(sales.get(way, ()))) == 1), None)
        if fits is None:
            bad[place] = "money given back, and no one sale in this file is of the same order"
            continue
        sale = taken.rows[fits.pop()]
        given = -sum(cents_in(taken.cell(row, name)) for name in ("sold_price", "shipping_charged"))
        sale[refund] = as_text(cents_in(sale[refund]) + given)
        if fees >= 0 and sale[fees] and row[fees].startswith("-"):
            sale[fees] = as_text(cents_in(sale[fees]) + cents_in(row[fees]))
        joined.add(place)
        to = taken.origins[taken.rows.index(sale)]
        taken.joined.append(SkippedRow(taken.origins[place], f"money given back: to row {to}", []))
    taken.drop(bad, silently=joined)


def name_rows(taken: AcceptedRow, mapping: Mapping) -> None:
    """Give every row a name: its own, its place in its order, or one made from what it says.

    A made name depends on the row alone, so that the same row has it in every later export; rows
    that say the same are counted, so that separate things keep separate names.
    """
    key = f"{mapping.table[:-1]}_id"
    named = key in taken.columns
    at = taken.add(key)
    for row in taken.rows:
        # A line of the books that begins with # is a comment.
        row[at] = row[at].lstrip("# ")
    if named and mapping.rows.ids == "separate":
        again: Counter[str] = Counter()
        for row in taken.rows:
            again[row[at]] += 1
            row[at] += f"-{again[row[at]]}" if again[row[at]] > 1 and row[at] else ""
    if named and all(row[at] for row in taken.rows):
        return
    order_at = taken.at("order_id")
    fixed = {name for name, source in mapping.columns.items() if source.value}
    names = [name for name in _IDENTITY if name in taken.columns and name not in fixed]
    if mapping.table != "items":
        names = [name for name in taken.columns if name != key]
    elif "bought_on" in mapping.columns and "bought_on" not in fixed:
        names = [name for name in names if name not in ("sold_on", "sold_price")]
    if mapping.rows.left:
        names = [name for name in names if name != "quantity"]
    taken.named_by = mapping.rows.named_by or tuple(names)
    parts = [taken.at(name) for name in taken.named_by]
    seen: Counter[str] = Counter()
    for row in taken.rows:
        if row[at]:
            continue
        if order_at >= 0 and row[order_at]:
            stem = row[order_at].lstrip("# ")
        else:
            said = "\x1f".join(row[place] for place in parts)
            stem = b32encode(hashlib.blake2b(said.encode(), digest_size=7).digest()).decode().lower().rstrip("=")[:11]
        seen[stem] += 1
        row[at] = f"{stem}-{seen[stem]}"


def part_sold(taken: AcceptedRow, *, left: bool) -> None:
    """Split rows of several like things of which some sold: the sold ones, and those that are left."""
    sold_at = taken.at(SOLD_OF)
    if sold_at < 0:
        return
    count_at, id_at = taken.add("quantity"), taken.at("item_id")
    rows, origins, bad = list(zip(taken.rows, taken.origins, strict=True)), [], {}
    taken.rows = []
    for row, origin in rows:
        whole, sold = _counts_of(row[count_at], row[sold_at], left=left)
        if sold > whole:
            bad[len(taken.rows)] = f"{sold} sold of {whole}"
        rest, parts = list(row), [sold, whole - sold]
        row[count_at], rest[count_at] = str(sold or whole), str(whole - sold)
        for name in _SALE:
            if taken.at(name) >= 0:
                rest[taken.at(name)] = ""
        if 0 < sold < whole:
            rest[id_at] += "-left"
            for name in ("cost", "list_price"):
                if taken.cell(row, name):
                    shares = share_out(cents_in(row[taken.at(name)]), parts).tolist()
                    row[taken.at(name)], rest[taken.at(name)] = map(as_text, shares)
        held = [rest] if not sold and row[sold_at] else [row, rest] if 0 < sold < whole else [row]
        taken.rows += held
        origins += [origin] * len(held)
    taken.origins = origins
    taken.columns.pop(sold_at)
    for row in taken.rows:
        row.pop(sold_at)
    taken.drop(bad)


def _counts_of(count: str, sold: str, *, left: bool) -> tuple[int, int]:
    """How many things a row stands for, and how many of them sold."""
    some = int(sold or 0)
    return (int(count or 0) + some if left else int(count or max(some, 1))), some


def name_orders(taken: AcceptedRow) -> None:
    """Say that a line of several like things sold them together, where the export names no order.

    The books split such a row into items, and ask about a sale that does not say how many it sold.
    """
    count_at, sold_at, id_at = map(taken.at, ("quantity", "sold_on", "item_id"))
    if min(count_at, sold_at, id_at) >= 0:
        several = [row for row in taken.rows if row[sold_at] and row[count_at] not in ("", "1")]
        order_at = taken.add("order_id") if several else -1
        for row in several:
            row[order_at] = row[order_at] or row[id_at]


def _take(
    block: SortedBlock, readers: list[ColumnReader], mapping: Mapping, taken: AcceptedRow, became: list[_Became]
) -> None:
    numbers, rows = block.numbers, block.rows
    cells = list(zip(*rows, strict=True))
    columns = [reader.column(cells, len(rows)) for reader in readers]
    columns += [[""] * len(rows) for _ in taken.columns[len(readers) :]]
    bad: dict[int, list[str]] = {}
    for reader, values in zip(readers, columns, strict=False):
        if reader.sure:
            continue
        needed = not _may_be_blank(reader.name, mapping) or reader.name == "title"
        for place, value in enumerate(values):
            if isinstance(value, InvalidCell) and (needed or "currency" in value.needed or "calculate" in value.mend):
                bad.setdefault(place, []).append(reader.complaint(value, rows[place]))
            elif isinstance(value, InvalidCell):
                # One odd cell costs the cell, not the row.
                taken.cells.append(Cell(numbers[place], reader.name, reader.complaint(value, rows[place])))
                values[place] = ""
    if mapping.table == "items":
        named = dict(zip(taken.columns, columns, strict=True))
        _times_quantity(readers, named, bad, left=mapping.rows.left)
        _without_sale(block, named, taken, became)
    for reader, values in zip(readers, columns, strict=False):
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
            taken.refused.append(SkippedRow(numbers[place], "; ".join(bad[place]), rows[place]))
        else:
            taken.rows.append([str(value) for value in values_of])
            taken.origins.append(numbers[place])


def _without_sale(
    block: SortedBlock, named: dict[str, list[str | InvalidCell]], taken: AcceptedRow, became: list[_Became]
) -> None:
    """Empty the sale of rows that a word calls unsold or gone, and a sale of 0.00 that has no day."""
    blank = [""] * len(block.rows)
    price, day = named.get("sold_price", blank), named.get("sold_on", blank)
    if not became and "0.00" not in price:
        return
    for place, (number, cells) in enumerate(zip(block.numbers, block.rows, strict=True)):
        said = [words.get(cells[at]) for at, words in became]
        how = next((way for way in said if way in (COLLECTED, *GONE)), "")
        zero = "sold_on" in named and price[place] == "0.00" and not day[place]
        if how == COLLECTED:
            named["zone"][place] = PICKUP
        elif how:
            named["gone_on"][place] = named["gone_on"][place] or day[place]
            if named["gone_on"][place]:
                named["gone_how"][place] = how
            else:
                taken.undated.append(number)
        if zero or how in GONE or UNSOLD in said:
            taken.unsold += zero
            for name in _SALE:
                named.get(name, blank)[place] = ""


def _may_be_blank(name: str, mapping: Mapping) -> bool:
    """Whether a row can do without a column: it is not required, or another stands in for it."""
    if name not in import_match.required_of(mapping.table):
        return True
    if name == "cost" and mapping.table == "items":
        # Not known, or its share of a lot.
        return True
    # The head of an order has no title: its amounts go to the lines of the order.
    shared = "order_id" in mapping.columns and any(source.per_order for source in mapping.columns.values())
    return name == "title" and shared


def _times_quantity(
    readers: list[ColumnReader], named: dict[str, list[str | InvalidCell]], bad: dict[int, list[str]], *, left: bool
) -> None:
    """What is said for one becomes what holds for the row: for all of its things, a sale's for those that sold."""
    each = [reader.name for reader in readers if reader.source.each]
    if not each or "quantity" not in named:
        return
    counts, sold = named["quantity"], named.get(SOLD_OF, [""] * len(named["quantity"]))
    for place in range(len(counts)):
        whole, some = _counts_of(str(counts[place]), str(sold[place]), left=left)
        for name in each if place not in bad else ():
            value, count = named[name][place], some if name == "sold_price" and some else whole
            if value and count > 1:
                named[name][place] = as_text(cents_in(str(value)) * count)
