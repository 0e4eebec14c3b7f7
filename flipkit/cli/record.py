"""Commands that write down what just happened, one row at a time, and take it back."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from flipkit.cli.answers import BOOKS, books_option, day_of, refuse, say


def _recording(command: Callable[..., None]) -> Callable[..., None]:
    """What every recording command takes: the books, the day, and taking back."""
    command = click.option("--undo", is_flag=True, help="Undo the last thing that this command wrote.")(command)
    command = click.option("--on", default="", metavar="DATE", help="The day, such as 2026-11-14; by default today.")(
        command
    )
    return books_option()(command)


def _record(
    write: Callable[..., list[str]],
    name: str,
    said: Sequence[str | None],
    undo: bool,
    books: Path | None,
    on: str,
    **more: Any,
) -> None:
    """Write, or take back, and say what was done."""
    from flipkit.books.record import find_books
    from flipkit.books.record import undo as take_back

    place = find_books(books)
    if undo:
        if any(said):
            refuse(f"--undo stands alone: it takes back the last thing that flipkit {name} wrote")
        lines = take_back(place, name)
    else:
        if not all(said):
            refuse(f"something is missing: flipkit {name} --help shows how to say it")
        day = day_of(on)
        if day > dt.date.today():
            refuse(f"--on must be today or earlier, got {day.isoformat()}")
        lines = write(place, *said, on=day, **more)
    for line in lines:
        say(line)
    if not undo:
        say(f"Wrong? flipkit {name} --undo")


@click.command()
@click.argument("target", required=False)
@click.argument("activity", required=False)
@click.argument("minutes", required=False)
@click.option(
    "--who", multiple=True, metavar="WORKER", help="Who worked; repeat it if two people each worked this long."
)
@click.option("--count", default="", metavar="NUMBER", help="How many items the work covered.")
@_recording
def log(
    target: str | None,
    activity: str | None,
    minutes: str | None,
    who: Sequence[str],
    count: str,
    books: Path | None,
    on: str,
    undo: bool,
) -> None:
    """Log work: the item, trip or category it was for (or the word day), the activity, and how long it took.

    Activities: find, research, clean, photograph, write, store, messages, pack, post, returns.

    Example: flipkit log A-0042 pack 31min --who wren
    """
    from flipkit.books.record import record_work

    _record(record_work, "log", (target, activity, minutes), undo, books, on, who=who, count=count)


@click.command()
@click.argument("item", required=False)
@click.argument("price", required=False)
@click.option("--shipping", "shipping_charged", default="", metavar="AMOUNT", help="What the buyer paid for shipping.")
@click.option("--venue", default="", metavar="NAME", help="Where it sold.")
@click.option("--zone", default="", metavar="ZONE", help="Postal zone of the buyer, or pickup.")
@click.option("--order", "order_id", default="", metavar="NUMBER", help="The order; its items share a parcel.")
@click.option("--fees", "fees_paid", default="", metavar="AMOUNT", help="All fees of the venue for this sale.")
@click.option("--label", "label_paid", default="", metavar="AMOUNT", help="What the label cost.")
@click.option("--materials", "materials_paid", default="", metavar="AMOUNT", help="What carton and padding cost.")
@click.option("--whole", is_flag=True, help="All items of the row sold together for this price.")
@_recording
def sold(
    item: str | None, price: str | None, books: Path | None, on: str, undo: bool, whole: bool, **more: Any
) -> None:
    """Record a sale: the item and what the buyer paid for the goods alone.

    Example: flipkit sold A-0042 64 --shipping 12.50 --venue riverside
    """
    from flipkit.books.record import record_sale

    _record(record_sale, "sold", (item, price), undo, books, on, whole=whole, **more)


@click.command()
@click.argument("item", required=False)
@click.argument("price", required=False)
@click.option("--venue", default="", metavar="NAME", help="Where you listed it.")
@_recording
def listed(item: str | None, price: str | None, venue: str, books: Path | None, on: str, undo: bool) -> None:
    """Record that you listed an item, and at what price.

    Example: flipkit listed A-0042 85
    """
    from flipkit.books.record import record_listing

    _record(record_listing, "listed", (item, price), undo, books, on, venue=venue)


@click.command()
@click.argument("item", required=False)
@click.argument("price", required=False)
@_recording
def price(item: str | None, price: str | None, books: Path | None, on: str, undo: bool) -> None:
    """Record a new asking price of an item that is for sale.

    Example: flipkit price A-0042 79
    """
    from flipkit.books.record import record_price

    _record(record_price, "price", (item, price), undo, books, on)


@click.command()
@click.argument("item", required=False)
@click.argument("how", required=False)
@_recording
def gone(item: str | None, how: str | None, books: Path | None, on: str, undo: bool) -> None:
    """Record that an item left without a sale: donated, scrapped or kept.

    Example: flipkit gone A-0042 donated
    """
    from flipkit.books.record import record_leaving

    _record(record_leaving, "gone", (item, how), undo, books, on)


@click.command()
@books_option()
@click.option(
    "--out", type=BOOKS, default=Path("timing-sheet.html"), show_default=True, help="File to write the sheet to."
)
def timesheet(books: Path | None, out: Path) -> None:
    """Make a sheet to print, for writing down working times by hand.

    Example: flipkit timesheet --books my-books
    """
    from flipkit.books.record import find_books, timing_sheet
    from flipkit.books.write import staged

    page = timing_sheet(find_books(books), on=dt.date.today())
    if not out.resolve().parent.is_dir():
        refuse(f"--out must lie in a folder that exists, got {out}")
    with staged(out.resolve().parent) as stage:
        stage.write(out.name, page)
    say(f"Made {out}: print it and write your times on it as you work")
