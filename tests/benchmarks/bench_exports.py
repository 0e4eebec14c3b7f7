"""How the import door does on exports as people write them: ``python -m tests.benchmarks.bench_exports [FAMILY]``.

Each export is converted with its owner at the keyboard, who answers what is asked and says nothing else; then the
books are laid beside the truth, cell by cell.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import pandas as pd

from flipkit.books.read import read_books
from flipkit.errors import FlipkitError
from flipkit.imports.apply import apply
from flipkit.imports.detect import propose
from tests.helpers import held_out_exports, later_exports, people_exports
from tests.helpers.people_exports import Made

CENTS = (
    "cost", "list_price", "sold_price", "shipping_charged", "label_paid", "fees_paid", "materials_paid", "refund",
    "amount",
)  # fmt: skip
DAYS = ("bought_on", "listed_on", "sold_on", "gone_on", "date")
MEASURES = ("length_in", "width_in", "height_in", "weight_lb", "minutes")
ITEM = "item_id,title,category,bought_on,cost\nA-1,lamp,lamps,2026-01-01,5\n"
COMPARED = {
    "items": ("title", "category", *DAYS[:3], *CENTS[:-1], *MEASURES[:4]),
    "overheads": ("month", "what", "amount"),
    "work": ("date", "activity", "minutes", "worker"),
}


def said(row, name):
    """A cell of the books, plain."""
    value = row[f"{name}_cents"] if name in CENTS else row[name]
    if value is pd.NA or value is None or (isinstance(value, float) and pd.isna(value)) or value is pd.NaT:
        return None
    if value == "":
        return None
    if name in DAYS:
        return value.date()
    if name == "month":
        return str(value)[:7]
    if name in CENTS:
        return int(value)
    return round(float(value), 2) if name in (*MEASURES, "quantity") else value


def plain(truth, name):
    """A cell of the truth, plain."""
    value = truth.get(name)
    return round(value, 2) if name in MEASURES and value is not None else value


def tried(made: Made, folder: Path) -> Counter[str]:
    """Convert one export with its owner at hand and count."""
    found: Counter[str] = Counter(exports=1, rows=len(made.truth))
    path = made.write(folder)
    answers: dict[str, str] = {}
    books = folder / "books"
    if made.table != "items":
        books.mkdir()
        (books / "items.csv").write_text(ITEM, encoding="utf-8")
        (books / "shop.csv").write_text(f"key,value\ncurrency,{made.say['currency']}\n", encoding="utf-8")
    try:
        proposal = propose(path, answers=answers)
        for _ in range(12):
            if not proposal.questions:
                break
            for question in proposal.questions:
                reply = made.answer(question)
                found["asked"] += question.key not in answers
                if reply is None or answers.get(question.key) == reply:
                    found["stuck"] = 1
                    made.trouble = f"no answer to: {question}"
                    return found
                answers[question.key] = reply
            proposal = propose(path, answers=answers)
        done = apply(proposal, books)
    except Exception as error:  # a crash is counted as what it is
        found["stuck"] = 1
        found["crashed"] = not isinstance(error, FlipkitError)
        made.trouble = f"{type(error).__name__}: {error}"
        return found
    read = read_books(books)
    compare(made, done, read.table(made.table), found)
    # Amounts without any sign are taken in the currency of new books, which the proposal says.
    if proposal.mapping.currency and read.shop.currency != made.say.get("currency", "USD"):
        found["wrong"] += 1
        made.trouble = made.trouble or f"amounts are taken for {read.shop.currency}"
    return found


def compare(made: Made, done, table: pd.DataFrame, found: Counter[str]) -> None:
    """Lay the books beside the truth."""
    names = COMPARED[made.table]
    if made.table == "items":
        names += tuple(
            name for name in ("quantity", "gone_how", "gone_on", "zone") if any(name in t for t in made.truth)
        )
    key = "title" if made.table == "items" else ""
    held: dict[object, list[dict]] = {}
    for row in table.to_dict("records"):
        cells = {name: said(row, name) for name in names}
        held.setdefault(cells[key] if key else tuple(cells.values()), []).append(cells)
    refused = {left.row for left in done.refused}
    noted = {(cell.row, cell.column) for cell in getattr(done, "cells", ())}
    for truth in made.truth:
        wanted = {name: plain(truth, name) for name in names}
        same = held.get(wanted[key] if key else tuple(wanted.values()), [])
        if truth["row"] in refused and not same:
            found["refused"] += 1
        elif not same:
            found["wrong"] += 1
            made.trouble = made.trouble or f"row {truth['row']} is not in the books: {wanted}"
        else:
            cells = min(same, key=lambda held: sum(held[n] != wanted[n] for n in names))
            same.remove(cells)
            apart = [n for n in names if cells[n] != wanted[n] and (truth["row"], n) not in noted]
            found["wrong" if apart else "taken"] += 1
            for name in apart[:1]:
                made.trouble = made.trouble or f"row {truth['row']} {name}: {cells[name]!r}, truth {wanted[name]!r}"
    extra = sum(map(len, held.values()))
    found["wrong"] += extra
    if extra:
        made.trouble = (
            made.trouble or f"{extra} rows in the books that are none: {next(r for s in held.values() for r in s)}"
        )


def main(only: str = "", show: str = "") -> None:
    """Print the table."""
    families: dict[str, Counter[str]] = {}
    begun = time.process_time()
    for made in [m for book in (people_exports, held_out_exports, later_exports) for m in book.all_exports()]:
        if only and only not in (made.family, made.name):
            continue
        made.trouble = ""
        with tempfile.TemporaryDirectory() as folder:
            found = tried(made, Path(folder))
        families.setdefault(made.family, Counter()).update(found)
        if made.trouble or show:
            print(f"  {made.name}: {dict(found)} {made.trouble[:400]}", file=sys.stderr)  # noqa: T201
    names = ("exports", "crashed", "stuck", "rows", "taken", "refused", "wrong", "asked")
    print(f"{'family':<14}" + "".join(f"{name:>9}" for name in names))  # noqa: T201
    whole: Counter[str] = Counter()
    for family, found in families.items():
        whole.update(found)
        print(f"{family:<14}" + "".join(f"{found[name]:>9,}" for name in names))  # noqa: T201
    print(f"{'all':<14}" + "".join(f"{whole[name]:>9,}" for name in names))  # noqa: T201
    print(f"wrong: silently wrong or lost; stuck: nothing came in; {time.process_time() - begun:.0f} s")  # noqa: T201


if __name__ == "__main__":
    main(*sys.argv[1:])
