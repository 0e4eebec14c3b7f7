"""The pack of a month: which notebooks run with which parameters, and what the index says of each."""

from __future__ import annotations

import datetime as dt
import os
import re
import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from flipkit.analysis import knowledge_file
from flipkit.analysis.forecasts import FILE as FORECASTS
from flipkit.analysis.forecasts import keep_forecasts
from flipkit.analysis.repricing import plans_text
from flipkit.errors import AssumptionError
from flipkit.owned import temporary_folder
from flipkit.pack.build import (
    AssumptionUsed,
    Manifest,
    Pack,
    PackPage,
    make_pack,
    require_replaceable,
    require_writable,
)
from flipkit.pack.run import NotebookTask, PageResult
from flipkit.paths import demo_folder, notebooks_folder
from flipkit.reports.forecasts import month_forecasts, record_folder
from flipkit.reports.hiring import help_sentence
from flipkit.reports.hours import next_hours
from flipkit.reports.packing_review import packing_lessons
from flipkit.reports.partners import partners_sentence
from flipkit.reports.pocket import pocket_sentence
from flipkit.reports.prices import prices_sentence
from flipkit.reports.sentences import (
    category_sentence,
    doubts,
    month_name,
    month_sentence,
    overrides_sentence,
    run_out_sentence,
    stock_sentence,
    trace_sentence,
)
from flipkit.reports.sizes import size_sentence
from flipkit.reports.sliders import sliders_sentence
from flipkit.reports.study import STUDIES, Study, open_study
from flipkit.reports.tables import rules_used
from flipkit.reports.waiting import waiting_page
from flipkit.reports.year import year_sentence

#: Where packs go, below the folder that the command was started in.
PACKS = "packs"
#: What the index says of pages whose numbers the notebook itself computes.
_WHAT_IF = "What the month's hour hangs on: each assumption and each recorded line moved, alone and together."
_TRUST = "How often the intervals hold the truth, and what following the kit earns, in simulated shops."
_TRACK_RECORD = "What earlier reports forecast, and what came of it."


@dataclass(frozen=True)
class MonthPlan:
    """What a month's pack is to hold, before any notebook has run."""

    study: Study
    pages: tuple[PackPage, ...]
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
    target = out or Path(PACKS, study.month)
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
    pages = [
        _page(
            "month-overview", "month_overview", said, f"{month_name(study.month)} at a glance", month_sentence(study)[0]
        ),
        _page("bulky-against-small", "bulky_against_small", said, "Bulky against small", size_sentence(study)[0]),
        _page("stock", "stock", said, "What is in stock", stock_sentence(study)),
        _page("waiting", "waiting", said, "How long things wait", waiting_page(study).sentence()),
        _page("prices", "prices", said, "Prices to change, offers to take", prices_sentence(study)),
        _page("pocket-sheet", "pocket_sheet", said, "Pocket sheet", pocket_sentence(study)),
        _page("packing-lessons", "packing_lessons", said, "Packing lessons", packing_lessons(study).sentence()),
        _page("next-hours", "next_hours", said, "Where next month's hours go", next_hours(study).sentence()),
        _page("what-if", "what_if", said, "What if?", _WHAT_IF),
        _page("hired-help", "hired_help", said, "Does help pay?", help_sentence(study)[0]),
        _page("what-if-sliders", "what_if_sliders", said, "Move the assumptions", sliders_sentence(study)[0]),
        _page("track-record", "track_record", said, "Track record", _TRACK_RECORD),
        _page("trust", "trust", {}, "How far can the figures be trusted?", _TRUST),
        _page("year-summary", "year_summary", said, "The year for a preparer", year_sentence(study)[0]),
        _page("partner-statement", "partner_statement", said, "What each partner did", partners_sentence(study)[0]),
        _page("assumptions", "assumptions", said, "Assumptions and gaps", trace_sentence(study.sold_items())),
    ]
    names = _page_names(study.categories)
    for category in study.categories:
        if category in categories or not categories:
            sentence = category_sentence(study, category)[0]
            parameters = {**said, "category": category}
            pages.append(
                _page(
                    names[category], "category_report", parameters, category.capitalize(), sentence, group="Categories"
                )
            )
    return MonthPlan(study, tuple(pages), target, said["settings"], tuple(categories))


def make_month_pack(plan: MonthPlan, *, jobs: int = 2, on_done: Callable[[PageResult], object] | None = None) -> Pack:
    """Run the notebooks of a plan and put the pack in place."""
    study = plan.study
    record = record_folder(plan.out.resolve().parent, study)
    with temporary_folder() as shared:
        study.keep(shared)
        if (record / FORECASTS).is_file():
            shutil.copyfile(record / FORECASTS, shared / FORECASTS)
        pack = make_pack(
            plan.pages,
            plan.out,
            title=f"{study.books.shop.name}, {month_name(study.month)}",
            lead=" ".join([month_sentence(study)[0], *doubts(study)]),
            notes=pack_notes(study),
            manifest=month_manifest(plan),
            jobs=jobs,
            on_done=on_done,
            before=lambda folder: _leave_knowledge(study, folder),
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
            "pages": [page.task.name for page in plan.pages],
            "categories": list(plan.categories),
            "settings": plan.settings,
        },
    )


def pack_notes(study: Study) -> list[str]:
    """What a reader of the pack should know beside its pages."""
    notes = [f"The books as they stood on {study.as_of.isoformat()}.", trace_sentence(study.sold_items())]
    notes += filter(None, [overrides_sentence(study), run_out_sentence(study)])
    if study.rules.own:
        notes.append(f"Rule tables of the shop's own: {', '.join(sorted(study.rules.own))}.")
    if study.notes:
        notes.append(f"The check of the books noticed {len(study.notes)} things; the page on assumptions lists them.")
    return notes + study.left_out


def default_jobs() -> int:
    """How many notebooks run at a time where nobody says: one a processor, four at most."""
    return max(1, min(4, os.cpu_count() or 1))


def _leave_knowledge(study: Study, folder: Path) -> None:
    """What ``flipkit buy`` and ``flipkit offer`` answer from."""
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


def _page(
    name: str, notebook: str, parameters: Mapping[str, object], title: str, sentence: str, *, group: str = ""
) -> PackPage:
    task = NotebookTask(name, notebooks_folder() / f"{notebook}.ipynb", dict(parameters), title)
    return PackPage(task, sentence, group)


def _page_names(categories: Sequence[str]) -> dict[str, str]:
    """A file name for each category, different for each however alike they are spelt."""
    names: dict[str, str] = {}
    for category in categories:
        stem = "category-" + (re.sub(r"[^a-z0-9]+", "-", category.lower()).strip("-")[:60] or "unnamed")
        name, again = stem, 2
        while name in names.values():
            name, again = f"{stem}-{again}", again + 1
        names[category] = name
    return names
