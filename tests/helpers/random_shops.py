"""Random shops, written as books: any mix of columns, sales, blanks and dates, and what a study makes of them."""

from __future__ import annotations

import datetime as dt
import random
import re
from pathlib import Path

import numpy as np

from flipkit.analysis.max_bid import LEAST_CENTS, PRICES, answer, buying_answer, pocket_table
from flipkit.analysis.returns import TOO_FEW
from flipkit.economics.items import COSTS, GAINS
from flipkit.errors import AssumptionError, FlipkitError
from flipkit.pack.month import month_plan
from flipkit.reports.answers import buying_words
from flipkit.reports.buy import Buy
from flipkit.reports.sentences import month_sentence
from flipkit.reports.study import Study
from tests.helpers.small_books import write_books

_NAN = re.compile(r"\b(nan|NaN|NaT|inf|None|<NA>)\b")
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
    """What is wrong with a random shop's study and with what its pages say: nothing, it is hoped."""
    try:
        plan = month_plan(random_shop(place / "shop", seed), out=place / "pack")
        notes = month_sentence(plan.study)
    except FlipkitError as error:
        return [f"refused: {error}"]
    except Exception as error:
        return [f"{type(error).__name__}: {str(error)[:200]}"]
    faults = []
    items = plan.study.items
    said = notes
    faults += [f"said {text!r}" for text in said if _NAN.search(text)]
    net = items[[f"{name}_cents" for name in GAINS]].sum(axis=1) - items[[f"{name}_cents" for name in COSTS]].sum(
        axis=1
    )
    if (net != items["net_cents"]).any():
        faults.append("the lines of an item do not sum to its net")
    if items.groupby("category")["net_cents"].sum().sum() != items["net_cents"].sum():
        faults.append("the categories do not sum to the whole")
    figures = [figure for text in said for figure in getattr(text, "figures", ())]
    faults += [
        f"figure {figure}" for figure in figures if isinstance(figure.value, float) and not np.isfinite(figure.value)
    ]
    values: dict[tuple[str, str, str], object] = {}
    for figure in figures:
        if values.setdefault((figure.name, figure.scope, figure.day), figure.value) != figure.value:
            faults.append(f"two values of {figure.name} ({figure.scope})")
    return faults
