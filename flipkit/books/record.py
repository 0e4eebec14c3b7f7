"""What happens in the shop, written down as it happens: work, listings, prices, sales, things that leave.

Each function checks what was said against the books, writes one row whole or not at all, and says back what it
wrote. No pandas here: a seller with a parcel in hand should not wait.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import difflib
import json
import os
import time
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from html import escape
from pathlib import Path
from typing import Any

from flipkit.books import schema
from flipkit.books.cells import InvalidCell, Units, reader_of
from flipkit.books.edit import TableFile, open_table, table_path
from flipkit.books.problems import near
from flipkit.books.schema import Table
from flipkit.books.write import staged
from flipkit.errors import RecordError
from flipkit.money import show_cents

#: How many of the last things recorded can be taken back.
KEPT = 50
#: How long to wait for another command that is writing, and when its lock counts as left behind. [s]
_WAIT, _STALE = 5.0, 60.0

Row = dict[str, str]


def record_work(
    books: Path, target: str, activity: str, minutes: str, *, who: Sequence[str], on: dt.date, count: str = ""
) -> list[str]:
    """Write a stretch of work for an item, a trip, a category or the whole ``day``; a row for each worker."""
    items = _records(open_table(books, schema.ITEMS))
    work = open_table(books, schema.WORK)
    said = _read(schema.WORK, {"activity": activity, "minutes": minutes, "count": count}, units_of(books))
    place, name = _target(books, target, items)
    if place == "item_id":
        row = next(row for row in items if row["item_id"] == name)
        # What is done on the way to a purchase may lie before it: finding, finding out what it is worth.
        if said["activity"] not in ("find", "research"):
            _require_order(row, on, "bought_on", "the day you bought it")
    cells = {"date": on.isoformat(), **said, **({place: name} if place else {})}
    workers = _workers(books, who, _records(work))
    what = {"item_id": _titled(items, name), "trip_id": f"trip {name}", "category": name}.get(place, "all of the day")
    words = f"{_minutes(said['minutes'])} of {schema.DOING[said['activity']]} for {what}"
    rows = {f"{words}, {worker}, {_day(on)}": {**cells, "worker": worker} for worker in workers}
    return _write(books, "log", work, None, rows)


def record_sale(books: Path, item: str, price: str, *, on: dt.date, whole: bool = False, **more: str) -> list[str]:
    """Write that an item sold; ``more`` are other columns of the sale, such as ``shipping_charged`` and ``venue``."""
    table, number, row = _item(books, item)
    _require_here(row)
    _require_order(row, on, "bought_on", "the day you bought it")
    _require_order(row, on, "listed_on", "the day you listed it")
    if row.get("quantity", "") not in ("", "1") and not whole:
        raise RecordError(
            f"{row['item_id']} stands for {row['quantity']} things: say --whole if all of them sold for {price} "
            "together, or give the one that sold a row of its own first"
        )
    units = units_of(books)
    cells = _read(schema.ITEMS, {"sold_price": price, **more}, units)
    said = [f"sold {_day(on)} for {_money(cells['sold_price'], units)}"]
    for name, value in cells.items():
        if name != "sold_price":
            kind = schema.ITEMS.column(name).kind
            said.append(f"{name.replace('_', ' ')} {_money(value, units) if 'money' in kind else value}")
    words = f"{_titled([row], row['item_id'])}: {', '.join(said)}"
    return [
        *_write(books, "sold", table, number, {words: {"sold_on": on.isoformat(), **cells}}),
        *_new_venue(books, table, cells.get("venue", "")),
    ]


def record_listing(books: Path, item: str, price: str, *, on: dt.date, venue: str = "") -> list[str]:
    """Write that an item was put up for sale."""
    table, number, row = _item(books, item)
    _require_here(row)
    _require_order(row, on, "bought_on", "the day you bought it")
    if row.get("listed_on"):
        raise RecordError(
            f"you listed {row['item_id']} on {_plain_day(row['listed_on'])}: for a new price use flipkit price"
        )
    units = units_of(books)
    cells = _read(schema.ITEMS, {"list_price": price, "venue": venue}, units)
    words = f"{_titled([row], row['item_id'])}: listed {_day(on)} at {_money(cells['list_price'], units)}"
    words += f" on {venue}" if venue else ""
    return [
        *_write(books, "listed", table, number, {words: {"listed_on": on.isoformat(), **cells}}),
        *_new_venue(books, table, venue),
    ]


def record_price(books: Path, item: str, price: str, *, on: dt.date) -> list[str]:
    """Write a new asking price of an item that is for sale."""
    _, _, row = _item(books, item)
    _require_here(row)
    if not row.get("listed_on"):
        raise RecordError(f"{row['item_id']} is not listed yet: use flipkit listed first")
    _require_order(row, on, "listed_on", "the day you listed it")
    units = units_of(books)
    cells = {"item_id": row["item_id"], "changed_on": on.isoformat()}
    cells |= _read(schema.PRICE_CHANGES, {"price": price}, units)
    changes = open_table(books, schema.PRICE_CHANGES)
    earlier = [one for one in _records(changes) if one["item_id"] == row["item_id"]]
    was = max(earlier, key=lambda one: one["changed_on"])["price"] if earlier else row.get("list_price", "")
    words = f"{_titled([row], row['item_id'])}: {_money(cells['price'], units)} from {_day(on)}"
    words += f", {_money(was, units)} before" if was else ""
    return _write(books, "price", changes, None, {words: cells})


def record_leaving(books: Path, item: str, how: str, *, on: dt.date) -> list[str]:
    """Write that an item left the stock without a sale: donated, scrapped or kept."""
    table, number, row = _item(books, item)
    _require_here(row, or_returned=True)
    _require_order(row, on, "bought_on", "the day you bought it")
    cells = {"gone_on": on.isoformat(), **_read(schema.ITEMS, {"gone_how": how}, units_of(books))}
    words = f"{_titled([row], row['item_id'])}: {cells['gone_how']} {_day(on)}"
    return _write(books, "gone", table, number, {words: cells})


def undo(books: Path, command: str) -> list[str]:
    """Take back the last thing that a command recorded, if nobody has changed it since."""
    with _locked(books):
        kept = _journal(books)
        of_command = [entry for entry in reversed(kept) if entry["command"] == command]
        if not of_command:
            raise RecordError(f"there is nothing left to undo for flipkit {command}")
        table = open_table(books, schema.BY_NAME[of_command[0]["table"]])
        said = []
        for last in of_command[: of_command[0]["together"]]:
            number = _found_again(table, last)
            if number is None:
                raise RecordError(
                    f"{table.label} row {last['row']} was changed after it was recorded ({last['said']}): "
                    "correct it by hand"
                )
            if last["new"]:
                table.remove(number)
            else:
                table.change(number, {name: was for name, (was, _) in last["cells"].items()})
            kept.remove(last)
            said.append(f"Took back from {table.label} row {number}: {last['said']}")
        _commit(books, table, kept)
    return said


def find_books(place: Path | None) -> Path:
    """The books that a command writes to: as named, or the one workbook in the current folder."""
    if place is not None:
        if not place.exists():
            raise RecordError(f"there are no books at {place}")
        return place
    workbooks = [path for path in Path.cwd().glob("*.xlsx") if not path.name.startswith(("~", "."))]
    if len(workbooks) == 1:
        return workbooks[0]
    raise RecordError(
        "say where your books are: --books FOLDER or WORKBOOK, or set FLIPKIT_BOOKS, or go to the folder with items.csv"
    )


# What is known, and what was said against it.


def _records(table: TableFile) -> list[Row]:
    return [row for _, row in table.records()]


def _item(books: Path, name: str) -> tuple[TableFile, int, Row]:
    """The table of items, the row of one, and its cells."""
    table = open_table(books, schema.ITEMS)
    known = list(table.records())
    found = [(number, row) for number, row in known if row["item_id"] == name]
    found = found or [(number, row) for number, row in known if row["item_id"].lower() == name.lower()]
    # Numbers of converted books are long: what the seller calls it does as well, where only one is called so.
    titled = [(number, row) for number, row in known if row.get("title", "").casefold() == name.casefold()]
    found = found or titled
    if not found:
        names = [row[key] for key in ("item_id", "title") for _, row in known if row.get(key)]
        raise RecordError(f"no item {name} in {table.label}{_near(name, names)}")
    if len(found) > 1:
        rows = " and ".join(str(number) for number, _ in found)
        mend = "name the one by its item_id" if found is titled else "give each item an id of its own first"
        raise RecordError(f"{name} stands in rows {rows} of {table.label}: {mend}")
    return table, *found[0]


def _near(name: str, known: Iterable[str]) -> str:
    """The names that are nearest to one that is not known, or a few that are."""
    names = [one for one in dict.fromkeys(known) if one]
    close = difflib.get_close_matches(name, names, n=3, cutoff=0.6)
    if close:
        return f": did you mean {' or '.join(close)}?"
    return f"; known: {', '.join(names[:8])}{' …' if len(names) > 8 else ''}" if names else "; none is there yet"


def _target(books: Path, target: str, items: list[Row]) -> tuple[str, str]:
    """The column that a stretch of work is for, and what stands in it."""
    trips = [row["trip_id"] for row in (*_records(open_table(books, schema.TRIPS)), *items) if row.get("trip_id")]
    known = {
        "item_id": [row["item_id"] for row in items],
        "trip_id": list(dict.fromkeys(trips)),
        "category": list(dict.fromkeys(row["category"] for row in items)),
    }
    if target.lower() == "day":
        return "", ""
    for same in (str, str.lower):
        for column, names in known.items():
            found = [name for name in names if same(name) == same(target)]
            if found:
                return column, found[0]
    if any(row.get("title", "").casefold() == target.casefold() for row in items):
        return "item_id", _item(books, target)[2]["item_id"]
    names = [name for column in known.values() for name in column]
    if near(target, names):
        raise RecordError(f"no item, trip or category {target}{_near(target, names)}")
    categories = ", ".join(known["category"][:12])
    raise RecordError(
        f"no item, trip or category {target}; categories: {categories}; or say day for work that no one thing caused"
    )


def _workers(books: Path, who: Sequence[str], logged: list[Row]) -> list[str]:
    """Who worked: as said, or the only one who can have."""
    table = _records(open_table(books, schema.PEOPLE))
    people = [row["worker"] for row in table]
    owners = [row["worker"] for row in table if row.get("role", "") in ("", "owner")]
    known = people or list(dict.fromkeys(row["worker"] for row in logged if row["worker"]))
    if not who:
        if len(known) > 1:
            raise RecordError(f"say who worked: --who {' or --who '.join(known[:6])}")
        return known or ["me"]
    if not people:
        return list(who)
    workers = []
    for name in who:
        found = [one for one in people if one.lower() == name.lower()]
        if not found and name.lower() in ("two", "both"):
            found = next((two for two in (people, owners) if len(two) == 2), [])
        if not found:
            raise RecordError(f"nobody in people is called {name}{_near(name, people)}")
        workers += found
    return list(dict.fromkeys(workers))


def _require_here(row: Row, *, or_returned: bool = False) -> None:
    """An item that has not sold and not left."""
    if row.get("gone_on"):
        how = f" ({row['gone_how']})" if row.get("gone_how") else ""
        raise RecordError(f"{row['item_id']} has been gone since {_plain_day(row['gone_on'])}{how}")
    if row.get("sold_on") and not (or_returned and row.get("returned_on")):
        back = (
            f" and came back on {_plain_day(row['returned_on'])}: give it a new row" if row.get("returned_on") else ""
        )
        raise RecordError(f"{row['item_id']} sold on {_plain_day(row['sold_on'])} already{back}")


def _require_order(row: Row, on: dt.date, column: str, what: str) -> None:
    if row.get(column, "")[:10] > on.isoformat():
        raise RecordError(f"{_day(on)} is before {what}, {_plain_day(row[column])}: give the right day with --on")


def _read(table: Table, said: Mapping[str, str], units: Units) -> Row:
    """Cells as they will be written, each read as the books will read it; blank ones are left out."""
    cells = {}
    for name, text in said.items():
        if not text:
            continue
        column = table.column(name)
        value = reader_of(column, unit=column.unit, units=units)(text)
        if isinstance(value, InvalidCell):
            mend = f": {value.mend}" if value.mend else ""
            raise RecordError(f"{_ASKED.get(name, name.replace('_', ' '))} must be {value.needed}, got {text!r}{mend}")
        plain = column.kind in ("money", "signed money", "minutes", "choice")
        cells[name] = _plain(column.kind, value) if plain else text
    return cells


#: What a person calls a column whose name is no plain word.
_ASKED = {"gone_how": "how it left", "minutes": "the time"}


def _plain(kind: str, value: object) -> str:
    if kind in ("money", "signed money"):
        cents = int(value)  # type: ignore[call-overload]
        return f"{'-' if cents < 0 else ''}{abs(cents) // 100}.{abs(cents) % 100:02d}"
    return f"{value:g}" if isinstance(value, float) else str(value)


def units_of(books: Path) -> Units:
    """What a bare number means in these books."""
    shop = Table("shop", "", (schema.Column("key", "text", ""), schema.Column("value", "text", "")))
    rows = {} if books.is_dir() and not (books / shop.file).is_file() else _shop(open_table(books, shop))
    return Units(rows.get("currency", "USD"), rows.get("length_unit", "in"), rows.get("weight_unit", "lb"))


def _shop(table: TableFile) -> dict[str, str]:
    return {plain["key"]: plain["value"] for _, plain in table.records() if plain.get("value")}


def _new_venue(books: Path, items: TableFile, venue: str) -> list[str]:
    """A word on a venue that neither the items nor the fee schedules know."""
    if not venue:
        return []
    home = books if books.is_dir() else books.parent
    known = [row.get("venue", "") for row in _records(items)]
    for file in (home / "rules" / "fees").glob("*.toml"):
        with contextlib.suppress(tomllib.TOMLDecodeError, UnicodeDecodeError, OSError):
            known.append(str(tomllib.loads(file.read_text(encoding="utf-8-sig")).get("name", "")))
    if any(venue.lower() == one.lower() for one in known):
        return []
    return [f"The venue {venue} is new in your books{_near(venue, known)}"]


# Writing, and taking back.


def _write(books: Path, command: str, table: TableFile, number: int | None, rows: Mapping[str, Row]) -> list[str]:
    """Write cells into a row of the items, or new rows where it has no number, and keep how to take them back.

    ``rows`` are the cells by what is said of them; those of one command are taken back together.
    """
    with _locked(books):
        # Read again inside the lock: another command may have written meanwhile.
        now = open_table(books, table.table)
        wanted = dict(table.records()).get(number, {}) if number is not None else {}
        if number is not None and dict(now.records()).get(number) != wanted:
            raise RecordError(f"{table.label} was changed just now by somebody else: run this again")
        journal, said = _journal(books), []
        for words, cells in rows.items():
            if number is None:
                at = now.append(cells)
            else:
                at = number
                now.change(at, cells)
            journal.append(
                {
                    "command": command,
                    "said": words,
                    "table": table.table.name,
                    "row": at,
                    "new": number is None,
                    "together": len(rows),
                    "key": wanted.get("item_id", ""),
                    "cells": {name: [wanted.get(name, ""), text] for name, text in cells.items()},
                }
            )
            said.append(f"Wrote {now.label} row {at}: {words}")
        _commit(books, now, journal[-KEPT:])
    return said


def _commit(books: Path, table: TableFile, journal: list[dict[str, Any]]) -> None:
    """Both files moved to their places at once, after looking whether a spreadsheet has the table open."""
    path = table_path(books, table.table)
    for lock in (path.with_name(f".~lock.{path.name}#"), path.with_name(f"~${path.name}")):
        if lock.exists():
            raise RecordError(f"{path.name} is open in a spreadsheet: save and close it there first")
    kept = _journal_path(books)
    with staged(path.parent) as stage, staged(kept.parent) as beside:
        stage.put(path.name, table.body())
        beside.put(kept.name, json.dumps(journal, ensure_ascii=False, indent=1).encode("utf-8"))


def _found_again(table: TableFile, entry: dict[str, Any]) -> int | None:
    """The row that an entry of the journal wrote, if it still says what was written."""
    cells: dict[str, list[str]] = entry["cells"]
    for number, row in sorted(table.records(), key=lambda pair: pair[0] != entry["row"]):
        here = entry["new"] or row.get("item_id") == entry["key"]
        if here and all(_same(row.get(name, ""), after) for name, (_, after) in cells.items()):
            filled = {name for name, text in row.items() if text}
            if not entry["new"] or filled <= set(cells):
                return number
    return None


def _same(found: str, written: str) -> bool:
    """Whether a cell still says what was written; a workbook shows 64.00 as 64."""
    try:
        return found == written or float(found) == float(written)
    except ValueError:
        return False


def _journal_path(books: Path) -> Path:
    name = ".flipkit-recorded.json" if books.is_dir() else f".{books.stem}-recorded.json"
    return (books if books.is_dir() else books.parent) / name


def _journal(books: Path) -> list[dict[str, Any]]:
    path = _journal_path(books)
    if not path.is_file():
        return []
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except ValueError:
        return []
    return found if isinstance(found, list) else []


@contextlib.contextmanager
def _locked(books: Path) -> Iterator[None]:
    """One command writes at a time."""
    lock = _journal_path(books).with_suffix(".lock")
    until = time.monotonic() + _WAIT
    while True:
        try:
            os.close(os.open(lock, os.O_CREAT | os.O_EXCL))
            break
        except FileExistsError:
            with contextlib.suppress(FileNotFoundError):
                if time.time() - lock.stat().st_mtime > _STALE:
                    lock.unlink()
                    continue
            if time.monotonic() > until:
                raise RecordError(f"another command is writing to {books.name}: try again") from None
            time.sleep(0.05)
    try:
        yield
    finally:
        with contextlib.suppress(FileNotFoundError):
            lock.unlink()


# How things are said back.


def _titled(items: list[Row], item: str) -> str:
    title = next((row.get("title", "") for row in items if row["item_id"] == item), "")
    return f"{item} ({title})" if title else item


def _day(on: dt.date) -> str:
    return f"{on.day} {on:%b %Y}"


def _plain_day(text: str) -> str:
    """A day of the books in words; as it stands where it is none."""
    try:
        return _day(dt.date.fromisoformat(text[:10]))
    except ValueError:
        return text


def _money(text: str, units: Units) -> str:
    value = reader_of(schema.ITEMS.column("label_adjustment"), unit="", units=units)(text)
    return text if isinstance(value, InvalidCell) else show_cents(value, currency=units.currency)


def _minutes(text: str) -> str:
    return f"{text} {'minute' if text == '1' else 'minutes'}"


# A sheet of paper to write on where no keyboard is at hand.

_SHEET_STYLE = """
@page { margin: 10mm }
body { font: 10pt/1.3 sans-serif; margin: 0 auto; max-width: 190mm }
h1 { font-size: 14pt; margin: 0 } p { margin: 1.5mm 0 }
table { border-collapse: collapse; width: 100% } th, td { border: 0.3mm solid #555; padding: 0 1mm; text-align: left }
th { font-weight: normal; font-size: 8.5pt } td { height: 7.6mm }
"""
#: Rows that leave room for the words on a page of Letter paper, the shorter one.
SHEET_ROWS = 24


def timing_sheet(books: Path, *, on: dt.date) -> str:
    """A page of HTML that prints on one sheet: who did what, for which thing, from when to when."""
    people = [row["worker"] for row in _records(open_table(books, schema.PEOPLE))]
    columns = {"day": 10, "item, trip or category": 27, "activity": 17, "from": 10, "to": 10, "minutes": 10}
    columns |= {"who": 10, "how many": 6}
    heads = "".join(f'<th style="width:{width}%">{name}</th>' for name, width in columns.items())
    blank = "<tr>" + "<td></td>" * len(columns) + "</tr>\n"
    who = f"Who: {', '.join(people)}. " if people else ""
    example = _records(open_table(books, schema.ITEMS))
    item = escape(example[-1]["item_id"]) if example else "A-0042"
    worker = f" --who {escape(people[0])}" if len(people) > 1 else ""
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width"><title>Timing sheet</title>'
        f"<style>{_SHEET_STYLE}</style></head><body>\n<h1>Timing sheet</h1>\n"
        f"<p>Printed {_day(on)}. Activities: {', '.join(schema.ACTIVITIES)}. {escape(who)}"
        "Two people at once take two lines.</p>\n"
        f"<table><thead><tr>{heads}</tr></thead><tbody>\n{blank * SHEET_ROWS}</tbody></table>\n"
        f"<p>Type each line in with: flipkit log {item} pack 31min{worker} --on {on.isoformat()}</p>\n</body></html>\n"
    )
