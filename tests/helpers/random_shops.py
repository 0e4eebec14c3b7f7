"""Random shops, written as books: any mix of columns, sales, blanks and dates, and what a study makes of them."""

from __future__ import annotations

import datetime as dt
import math
import random
import re
from pathlib import Path

import pandas as pd

from flipkit.analysis.max_bid import LEAST_CENTS, PRICES, answer, buying_answer, pocket_table
from flipkit.analysis.results import BOOK_LINES, RESULT, SALES, WRITTEN_OFF, by_month
from flipkit.analysis.returns import TOO_FEW
from flipkit.economics.items import COSTS, GAINS
from flipkit.errors import AssumptionError, NotEnoughDataError
from flipkit.money import share_out
from flipkit.pack.build import require_agreement
from flipkit.reports.answers import buying_words
from flipkit.reports.buy import Buy
from flipkit.reports.study import Study
from tests.helpers.pages_in_process import Undrawn, pages_shown
from tests.helpers.random_books import SIZES_OF_MANY, write_random_books
from tests.helpers.small_books import write_books

#: Columns that a shop may have, with what stands in a cell of them.
_MORE = {
    "listed_on": lambda rng, day: (day + dt.timedelta(rng.randint(0, 30))).isoformat(),
    "list_price": lambda rng, day: f"{rng.choice((0.5, 5, 20, 80, 400, 3000)) * rng.uniform(0.5, 2):.2f}",
    "fees_paid": lambda rng, day: f"{rng.uniform(0, 20):.2f}",
    "label_paid": lambda rng, day: f"{rng.uniform(3, 60):.2f}",
    "materials_paid": lambda rng, day: f"{rng.uniform(0, 9):.2f}",
    "shipping_charged": lambda rng, day: f"{rng.choice((0, 5, 25)):.2f}",
    "length_in": lambda rng, day: f"{rng.uniform(1, 70):.1f}",
    "width_in": lambda rng, day: f"{rng.uniform(1, 40):.1f}",
    "height_in": lambda rng, day: f"{rng.uniform(1, 30):.1f}",
    "weight_lb": lambda rng, day: f"{rng.uniform(0.1, 90):.2f}",
    "source": lambda rng, day: rng.choice(("estate sale", "thrift shop", "")),
    "trip_id": lambda rng, day: f"T-{day.isoformat()}",
    "venue": lambda rng, day: rng.choice(("riverside", "", "barn")),
}


def random_shop(folder: Path, seed: int) -> Path:
    """The books of a shop of 1 to 60 items."""
    rng = random.Random(seed)  # noqa: S311
    more = [name for name in _MORE if rng.random() < 0.6]
    kinds = [f"kind {k}" for k in range(rng.randint(1, 5))]
    sells, dear, filled = rng.random(), rng.random() < 0.2, rng.choice((0.3, 0.9, 1.0))
    lines, trips, work = [], set(), []
    for k in range(rng.choice((1, 2, 5, 20, 60))):
        day = dt.date(2024, 6, 1) + dt.timedelta(rng.randint(0, 840))
        cells = {"cost": f"{rng.choice((0, 1, 4, 30)) * rng.uniform(0.5, 2):.2f}"}
        cells |= {name: _MORE[name](rng, day) if rng.random() < filled else "" for name in more}
        price, days = rng.uniform(1, 120) * (200 if dear and rng.random() < 0.04 else 1), rng.randint(31, 400)
        sold = rng.random() < sells
        cells["sold_on"] = (day + dt.timedelta(days)).isoformat() if sold else ""
        cells["sold_price"] = f"{price:.2f}" if sold else ""
        back = sold and rng.random() < 0.05
        cells["returned_on"] = (day + dt.timedelta(days + 5)).isoformat() if back else ""
        cells["refund"] = f"{price:.2f}" if back else ""
        gone = not sold and rng.random() < 0.1
        cells["gone_on"] = (day + dt.timedelta(days)).isoformat() if gone else ""
        cells["gone_how"] = "donated" if gone else ""
        if cells.get("trip_id"):
            trips.add((cells["trip_id"], day.isoformat()))
        lines.append(f"I-{k},thing {k},{rng.choice(kinds)},{day.isoformat()}," + ",".join(cells.values()))
        if rng.random() < 0.4:
            work.append(
                f"{day.isoformat()},{rng.choice(('clean', 'photograph', 'pack'))},{rng.randint(1, 90)},me,I-{k}"
            )
    tables = {"items": "\n".join(["item_id,title,category,bought_on," + ",".join(cells), *lines])}
    if trips:
        tables["trips"] = "\n".join(
            ["trip_id,date,miles", *(f"{name},{day},{rng.randint(0, 80)}" for name, day in trips)]
        )
    if work:
        tables["work"] = "\n".join(["date,activity,minutes,worker,item_id", *work])
    return write_books(folder, **tables)


#: What stands where a number is missing and nobody saw to it.
_NO_NUMBER = re.compile(r"\b([Nn]a[Nn]|inf|NaT|None(?! of))\b|<NA>")


def require_exact_sums(study: Study) -> None:
    """Lines add up to items, items to categories, months, years and shares, to the cent."""
    items = study.items
    lines = sum(items[f"{name}_cents"] for name in GAINS) - sum(items[f"{name}_cents"] for name in COSTS)
    assert (items["net_cents"] == lines).all()
    settled = items["sold_on"].fillna(items["gone_on"])
    assert int(items.groupby("category")["net_cents"].sum().sum()) == int(items["net_cents"].sum())
    last = str(pd.Period(study.as_of, "M"))
    months = by_month(items, last=last)
    assert int(months["net_cents"].sum()) == int(items.loc[settled.notna(), "net_cents"].sum())
    for span, frame in study.bridges.items():
        steps = frame.set_index("step")["amount_cents"]
        result = int(steps[RESULT])
        assert int(steps[SALES]) + int(steps.get(WRITTEN_OFF, 0)) == result
        between = steps.drop([SALES, RESULT, BOOK_LINES]).drop(WRITTEN_OFF, errors="ignore")
        assert result + int(between.sum()) == int(steps[BOOK_LINES])
        assert result == study.result_cents(span)
        if len(study.books.people):
            shares = study.books.people["share_of_profit_ppm"].fillna(0).to_numpy()
            assert int(share_out(result, shares).sum()) == result


def require_one_voice(shown: dict[str, list]) -> None:
    """No page at odds with another, no NaN in sight."""
    require_agreement([(name, [f for one in elements for f in one.figures]) for name, elements in shown.items()])
    for name, elements in shown.items():
        for one in elements:
            assert not _NO_NUMBER.search(one.text), (name, one.text)
            assert all(math.isfinite(f.value) for f in one.figures if isinstance(f.value, float)), (name, one.figures)


def aisle_faults(study: Study) -> list[str]:
    """Where ``flipkit buy KIND`` and the Buy page answer one question in two ways: nowhere, it is hoped."""
    known, page, faults = study.aisle_knowledge, Buy(study).verdicts().text.splitlines(), []
    for one in study.decisions:
        name = one.category
        try:
            said = buying_answer(known, name)
        except AssumptionError:
            if one.verdict != TOO_FEW:
                faults.append(f"{name}: refused, and the page says {one.verdict}")
            continue
        first, second = buying_words(said)[:2]
        row = next(line for line in page if line.startswith(f"  {name}: "))
        if not (first == one.sentence and first in row and said["verdict"] == one.verdict):
            faults.append(f"{name}: {first} on {row}")
        if second.startswith("Leave it (") != (said["highest_cents"] == 0):
            faults.append(f"{name}: {second}")
        figures = ("highest_cents", "typical_cents", "binding")
        if one.verdict != TOO_FEW and [said[key] for key in figures] != [getattr(one, key) for key in figures]:
            faults.append(f"{name}: {[said[key] for key in figures]} in the aisle, {one} on the page")
        for row in pocket_table(known, categories=[name]):
            asked = {} if row["which"] == PRICES[1] else {"price_cents": row["price_cents"]}
            found = answer(known, name, size=row["size_class"], **asked).highest_cents
            if found != (row["highest_cents"] if row["highest_cents"] >= LEAST_CENTS else 0):
                faults.append(f"{found} in the aisle for {row}")
    return faults


def faults_of_shop(place: Path, seed: int) -> list[str]:
    """What is wrong with a random shop, of this kind or of ``random_books`` in turn: its study and all its pages.

    Words, tables and figures are looked at, and the titles, readings and rows of charts; nothing is drawn.
    """
    books = place / "shop"
    many = seed % 2 == 0
    books = write_random_books(books, seed, sizes=SIZES_OF_MANY) if many else random_shop(books, seed)
    undrawn = Undrawn()
    try:
        study, shown = pages_shown(books, undrawn=undrawn)
        require_exact_sums(study)
        require_one_voice(shown)
    except NotEnoughDataError as refused:
        # Whoever has nothing is told to write something down.
        return [f"refused: {refused}"] * (len((books / "items.csv").read_text(encoding="utf-8").splitlines()) > 1)
    except Exception as problem:
        return [f"{type(problem).__name__}: {str(problem)[:300]}"]
    return [f"a chart says {text[:200]!r}" for text in undrawn.said if _NO_NUMBER.search(text)]
