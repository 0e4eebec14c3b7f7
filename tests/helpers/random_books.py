"""Books of random small shops, with whatever real books hold: returns, orders, refunds, give-ups, leap days, zeros."""

from __future__ import annotations

import csv
import datetime as dt
import io
import random
from collections.abc import Sequence
from pathlib import Path

from flipkit.books.schema import ACTIVITIES

KINDS = ("jars", "lamps", "hand tools", "chairs, folding", "books & maps")
ITEMS = (
    "item_id",
    "title",
    "category",
    "bought_on",
    "cost",
    "lot_id",
    "trip_id",
    "source",
    "condition",
    "length_in",
    "width_in",
    "height_in",
    "weight_lb",
    "listed_on",
    "list_price",
    "sold_on",
    "sold_price",
    "shipping_charged",
    "venue",
    "zone",
    "order_id",
    "fees_paid",
    "label_paid",
    "label_adjustment",
    "materials_paid",
    "refund",
    "returned_on",
    "gone_on",
    "gone_how",
)
FIRST = dt.date(2023, 11, 20)
#: How many things a shop may have; in the long run one shop of thirty has none, since it is refused at once.
SIZES = (0, 1, 1, 2, 5, 12, 30, 60)
SIZES_OF_MANY = (0, *(1, 2, 5, 12, 20, 30, 60) * 4, 150)


def random_books(seed: int, sizes: Sequence[int] = SIZES) -> dict[str, str]:
    """The tables of a shop as CSV texts, by name; every shop is allowed by the check."""
    r = random.Random(seed)  # noqa: S311 - shops, not secrets
    count = r.choice(sizes)
    days = r.choice([40, 200, 500])
    sells = r.choice([0.0, 0.3, 0.7, 1.0])
    trips = [f"T{at}" for at in range(r.randint(1, 8))]
    trip_day = {trip: FIRST + dt.timedelta(days=r.randrange(days)) for trip in trips}
    lots = [f"L{at}" for at in range(r.randint(0, 3))]
    rows = [_item(r, at, trips, trip_day, lots, sells) for at in range(count)]
    tables = {"items": _text(ITEMS, rows)}
    if r.random() < 0.8:
        tables["trips"] = _text(
            ["trip_id", "date", "miles", "parking", "entry"],
            [
                {"trip_id": trip, "date": day, "miles": r.choice(["", "0", "12.4", "31"]), "parking": _money(r, 0.3)}
                for trip, day in trip_day.items()
            ],
        )
    else:
        for row in rows:
            row["trip_id"] = ""
        tables["items"] = _text(ITEMS, rows)
    if lots:
        shares = ("equal", "weight", "expected value")
        tables["lots"] = _text(
            ["lot_id", "date", "cost", "share_by"],
            [{"lot_id": lot, "date": FIRST, "cost": _money(r, 1), "share_by": r.choice(shares)} for lot in lots],
        )
    work = [_work(r, rows, days) for _ in range(r.choice([0, 0, 8, 40]))]
    if work:
        tables["work"] = _text(["date", "activity", "minutes", "worker", "item_id", "category"], work)
        tables["people"] = (
            "worker,role,wage,payroll_burden,share_of_profit\n"
            "ana,owner,,,60 %\nben,owner,,,40 %\ncyd,hired,17.00,8 %,\n"
        )
    month = FIRST.replace(day=1)
    if r.random() < 0.6:
        months = [_month(month, at) for at in range(days // 30 + 2)]
        tables["overheads"] = _text(
            ["month", "what", "amount"],
            [{"month": f"{m:%Y-%m}", "what": "room", "amount": _money(r, 1)} for m in months],
        )
    if r.random() < 0.5:
        bought = [{"date": FIRST + dt.timedelta(days=9 * at), "supply": "tape", "quantity": 6} for at in range(5)]
        tables["supplies"] = _text(
            ["date", "supply", "quantity", "unit", "cost"],
            [{**b, "unit": "roll", "cost": _money(r, 1)} for b in bought],
        )
    if r.random() < 0.5:
        tables["comparables"] = _text(
            ["item_id", "category", "sold_on", "price", "condition"],
            [
                {
                    "category": r.choice(KINDS),
                    "sold_on": FIRST,
                    "price": _money(r, 1),
                    "condition": r.choice(["", "good"]),
                }
                for _ in range(12)
            ],
        )
    return tables


def write_random_books(folder: Path, seed: int, *, shuffled: int | None = None, sizes: Sequence[int] = SIZES) -> Path:
    """The books in a folder; with ``shuffled`` the rows of every table in another order."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in random_books(seed, sizes).items():
        if shuffled is not None:
            head, *lines = text.splitlines(keepends=True)
            random.Random(shuffled).shuffle(lines)  # noqa: S311
            text = "".join([head, *lines])
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def _item(
    r: random.Random, at: int, trips: list[str], trip_day: dict[str, dt.date], lots: list[str], sells: float
) -> dict[str, object]:
    trip = r.choice(trips)
    bought = dt.date(2024, 2, 29) if r.random() < 0.05 else trip_day[trip]
    row: dict[str, object] = {"item_id": f"A{at:03d}", "title": f"thing {at}", "category": r.choice(KINDS)}
    row |= {"bought_on": bought, "trip_id": trip if bought == trip_day[trip] else "", "cost": _money(r, 1)}
    row |= {"source": r.choice(["", "estate", "shop"]), "condition": r.choice(["", "good", "fair"])}
    if lots and r.random() < 0.3:
        row |= {"lot_id": r.choice(lots), "cost": ""}
    if r.random() < 0.7:
        sides = sorted((r.randint(3, 40) for _ in range(3)), reverse=True)
        row |= dict(zip(("length_in", "width_in", "height_in"), sides, strict=True)) | {"weight_lb": r.randint(1, 45)}
    if r.random() < 0.15:
        return row
    listed = bought + dt.timedelta(days=r.randint(0, 20))
    price = r.choice([0, 5, 12.5, 40, 130]) if r.random() < 0.9 else 0.01
    row |= {"listed_on": listed, "list_price": f"{price * 1.2:.2f}"}
    if r.random() < sells:
        sold = listed + dt.timedelta(days=r.randint(0, 150))
        row |= {"sold_on": sold, "sold_price": f"{price:.2f}", "shipping_charged": _money(r, 0.7)}
        row |= {"venue": r.choice(["", "lantern", "the fair"]), "zone": r.choice(["", "2", "8", "pickup"])}
        if r.random() < 0.5:
            row |= {"fees_paid": f"{price * 0.13:.2f}"}
        if row["zone"] != "pickup" and r.random() < 0.5:
            row |= {"label_paid": _money(r, 1), "materials_paid": _money(r, 0.5)}
            row |= {"label_adjustment": r.choice(["", "1.10", "-0.40"])}
        if r.random() < 0.2:
            row |= {"returned_on": sold + dt.timedelta(days=r.randint(1, 30))}
            row |= {"refund": r.choice(["", f"{price:.2f}", f"{price / 2:.2f}"])}
            if r.random() < 0.5:
                row |= {"gone_on": sold + dt.timedelta(days=60), "gone_how": r.choice(["donated", "kept"])}
    elif r.random() < 0.4:
        row |= {"gone_on": listed + dt.timedelta(days=r.randint(1, 200))}
        row |= {"gone_how": r.choice(["donated", "scrapped", "kept"])}
    return row


def _work(r: random.Random, rows: list[dict[str, object]], days: int) -> dict[str, object]:
    day = FIRST + dt.timedelta(days=r.randrange(days))
    entry: dict[str, object] = {"date": day, "activity": r.choice(ACTIVITIES), "minutes": r.randint(1, 90)}
    entry |= {"worker": r.choice(["ana", "ben", "cyd", "ana"])}
    if rows and r.random() < 0.6:
        row = r.choice(rows)
        entry |= {"item_id": row["item_id"], "date": row["bought_on"]}
    elif r.random() < 0.5:
        entry |= {"category": r.choice(KINDS)}
    return entry


def _money(r: random.Random, chance: float) -> str:
    return f"{r.choice([0, 0.01, 0.99, 3, 7.35, 21.5, 68]):.2f}" if r.random() < chance else ""


def _month(first: dt.date, more: int) -> dt.date:
    year, month = divmod(first.year * 12 + first.month - 1 + more, 12)
    return dt.date(year, month + 1, 1)


def _text(head: list[str], rows: list[dict[str, object]]) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, head, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()
