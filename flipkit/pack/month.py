"""The pack of a month: which notebooks run with which parameters, and what the index says of each."""

from __future__ import annotations

import datetime as dt
import json
import os
import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from flipkit.analysis import knowledge_file
from flipkit.analysis.forecasts import FILE as FORECASTS
from flipkit.analysis.forecasts import keep_forecasts, record_folder
from flipkit.analysis.repricing import plans_text
from flipkit.errors import AssumptionError
from flipkit.owned import temporary_folder
from flipkit.pack.build import (
    AssumptionUsed,
    Manifest,
    Pack,
    make_pack,
    require_replaceable,
    require_writable,
)
from flipkit.pack.run import NotebookTask, PageResult
from flipkit.pack.standing import made_from
from flipkit.paths import demo_folder, notebooks_folder, packs_folder
from flipkit.reports.category import page_names, sold_csv
from flipkit.reports.forecasts import month_forecasts
from flipkit.reports.sentences import (
    month_name,
)
from flipkit.reports.stock import Stock
from flipkit.reports.study import STUDIES, Study, open_study
from flipkit.reports.tables import rules_used

#: Every item in stock with what to do, for a spreadsheet.
TO_DO = "to-do.csv"
#: Every sale of the months looked back on, likewise.
SOLD = "sold.csv"


@dataclass(frozen=True)
class MonthPlan:
    """What a month's pack is to hold, before any notebook has run."""

    study: Study
    pages: tuple[NotebookTask, ...]
    out: Path
    settings: str = ""
    categories: tuple[str, ...] = ()


def month_plan(
    books: Path | None = None,
    *,
    month: str = "",
    as_of: str | dt.date = "",
    categories: Sequence[str] = (),
    settings: Mapping[str, str] | None = None,
    out: Path | None = None,
) -> MonthPlan:
    """Compute the month's numbers and lay out its pages."""
    place = (books or demo_folder()).resolve()
    study = open_study(place, month=month, as_of=as_of, settings=settings or {})
    target = out or packs_folder(books) / study.month
    require_writable(target)  # before minutes of work
    require_replaceable(target)
    study.prepare()
    unknown = [name for name in categories if name not in study.categories]
    if unknown:
        raise AssumptionError("category", need=f"one of {', '.join(study.categories)}", got=unknown[0])
    said = {
        "books": place.name,
        "month": study.month,
        "as_of": study.as_of.isoformat(),
        "settings": "; ".join(f"{key}={value}" for key, value in sorted((settings or {}).items())),
    }
    first = {**said, "categories": "; ".join(categories)}
    pages = [_page("index", "this_month", first, month_name(study.month), bar="This month")]
    pages += [_page(name, notebook, said, title, bar=bar) for name, notebook, title, bar in _after_the_first()]
    names = page_names(study.categories)
    for one in study.decisions:
        if one.category in categories or not categories:
            parameters = {**said, "category": one.category}
            pages.append(_page(names[one.category], "category", parameters, one.category.capitalize()))
    return MonthPlan(study, tuple(pages), target, said["settings"], tuple(categories))


def make_month_pack(plan: MonthPlan, *, jobs: int = 2, on_done: Callable[[PageResult], object] | None = None) -> Pack:
    """Run the notebooks of a plan and put the pack in place."""
    study = plan.study
    record = record_folder(plan.out.resolve().parent, study.books)
    with temporary_folder() as shared:
        study.keep(shared)
        if (record / FORECASTS).is_file():
            shutil.copyfile(record / FORECASTS, shared / FORECASTS)
        pack = make_pack(
            plan.pages,
            plan.out,
            title=f"{study.books.shop.name}, {month_name(study.month)}",
            manifest=month_manifest(plan),
            jobs=jobs,
            on_done=on_done,
            before=lambda folder: _leave_knowledge(study, folder),
            ways=_ways(plan),
            cwd=study.books.path.resolve().parent,
            env={STUDIES: str(shared)},
        )
    # Kept once the pack stands: a report that failed has said nothing.
    forecasts = month_forecasts(study)
    if len(forecasts):
        record.mkdir(parents=True, exist_ok=True)
        keep_forecasts(record, forecasts)
    return pack


def month_manifest(plan: MonthPlan) -> Manifest:
    """What the pack is made from: books, assumptions, rule blocks, what was left out."""
    study = plan.study
    currency = study.currency
    return Manifest(
        shop=study.books.shop.name,
        currency=currency,
        month=study.month,
        as_of=study.as_of.isoformat(),
        inputs=study.books.hashes,
        assumptions=[
            AssumptionUsed(key, entry.text(currency=currency), entry.unit, entry.layer, entry.source)
            for key, entry in study.assumptions.entries.items()
        ],
        rules=rules_used(study),
        left_out=study.left_out,
        notes=[str(note) for note in study.notes],
        options={
            "pages": [page.name for page in plan.pages],
            "categories": list(plan.categories),
            "settings": plan.settings,
        },
        made_from=made_from(study, plan.categories, plan.out),
    )


def default_jobs() -> int:
    """How many notebooks run at a time where nobody says: one a processor, four at most."""
    return max(1, min(4, os.cpu_count() or 1))


def _leave_knowledge(study: Study, folder: Path) -> None:
    """What ``flipkit buy`` and ``flipkit offer`` answer from, and the list of things to do."""
    text = knowledge_file.knowledge_text(study.aisle_knowledge)
    Path(folder, knowledge_file.FILE).write_text(text, encoding="utf-8", newline="\n")
    plans = plans_text(
        study.price_plan,
        study.patience,
        as_of=study.as_of,
        currency=study.currency,
        sales=int(study.items["sold_on"].notna().sum()),
        too_few=study.assumptions.whole("report.too_few_items"),
    )
    Path(folder, knowledge_file.PLANS).write_text(plans, encoding="utf-8", newline="\n")
    Path(folder, TO_DO).write_text(Stock(study).csv(), encoding="utf-8", newline="\n")
    Path(folder, SOLD).write_text(sold_csv(study), encoding="utf-8", newline="\n")


def _ways(plan: MonthPlan) -> dict[str, str]:
    """From each category, and each of its items, to the category's page."""
    made, names = {page.name for page in plan.pages}, page_names(plan.study.categories)
    found = {category: f"{name}.html" for category, name in names.items() if name in made}
    items = plan.study.items
    of_items = zip(items["item_id"], items["category"], strict=True)
    return {**{str(item): found[kind] for item, kind in of_items if kind in found}, **found}


def _after_the_first() -> list[tuple[str, str, str, str]]:
    """Each page's file, notebook, title and words in the bar, as the notebooks' own metadata say, in their order."""
    found = []
    for file in notebooks_folder().glob("*.ipynb"):
        told = json.loads(file.read_text(encoding="utf-8"))
        if page := told["metadata"].get("page"):
            title = "".join(told["cells"][0]["source"]).partition("\n")[0].removeprefix("# ")
            found.append((page["place"], page["file"], file.stem, title, page["bar"]))
    return [(name, notebook, title, bar) for _, name, notebook, title, bar in sorted(found)]


def _page(name: str, notebook: str, parameters: Mapping[str, object], title: str, *, bar: str = "") -> NotebookTask:
    return NotebookTask(name, notebooks_folder() / f"{notebook}.ipynb", dict(parameters), title, bar)
