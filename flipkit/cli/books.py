"""Commands about the books: a first folder, exports, the check, the month's pack."""

from __future__ import annotations

import datetime as dt
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from flipkit.cli.answers import BOOKS, refuse, say, settings_of, told

if TYPE_CHECKING:
    from flipkit.imports.detect import Proposal
    from flipkit.imports.mapping import Question


# Commands about the books: a folder to begin with, an export converted, the check.

#: What each answer is about; the keys are those of ``flipkit.imports.detect.ANSWERS``.
ANSWER_HELP = {
    "table": "Table of the books that the rows belong to.",
    "sheet": "Sheet of a workbook.",
    "encoding": "Encoding of the text.",
    "delimiter": "What stands between the cells.",
    "quote": "What stands around a cell: double, single or none.",
    "header-row": "Row of the headers, 0 for none.",
    "dates": "Order of day and month.",
    "decimal": "Mark before the cents.",
    "currency": "Currency of the amounts.",
    "duplicates": "What rows that are exactly equal are.",
    "totals": "What rows that look like totals are.",
    "cost-is": "What the cost is of.",
    "price-is": "What the price is of.",
    "shipping-is": "What the shipping is of.",
    "fees-are": "What the fees are of.",
    "unmatched": "What becomes of sales that match no item of the books.",
}


@click.command()
@click.argument("folder", type=BOOKS)
@click.option("--workbook", is_flag=True, help="One workbook with drop-down words, in place of CSV files.")
@click.option("--metric", is_flag=True, help="Centimeters, kilograms and kilometers.")
@click.option("--currency", default="USD", show_default=True, help="Three letters.")
def start(folder: Path, workbook: bool, metric: bool, currency: str) -> None:
    """Make a FOLDER of books to begin with; nothing that is there is overwritten."""
    from flipkit.books.check import WORKBOOK, make_folder

    started = make_folder(folder, workbook=workbook, metric=metric, currency=currency)
    for name in started.made:
        say(f"made {name}")
    for name in started.kept:
        say(f"kept {name}, which was there")
    if workbook:
        say(f"Fill in the sheet items of {WORKBOOK}, then: flipkit check {folder / WORKBOOK}")
    else:
        say(f"Fill in items.csv, then: flipkit check {folder}")


@click.command()
@click.argument("books", type=BOOKS)
@click.option("--as-of", default="", help="Day of the report, so that later dates are told.")
def check(books: Path, as_of: str) -> None:
    """Say everything that is wrong with BOOKS, what a report can tell from them, what to record and time next."""
    from flipkit.books.check import check as checked
    from flipkit.books.read import last_recorded_day
    from flipkit.cli.answers import day_of
    from flipkit.economics.items import timings_wanted

    found = checked(books, as_of=day_of(as_of) if as_of else None)
    say(found.text(), nl=False)
    if found.stops or found.books is None:
        sys.exit(2)
    if found.books.items.empty:
        return
    last = day_of(as_of) if as_of else last_recorded_day(found.books, until=dt.date.today())
    wanted = timings_wanted(found.books, last)
    if not wanted:
        say("\nYour logs cover nearly all of your work: timing more of it would change little.")
        return
    *jobs, rule = wanted
    say(f"\nTime {'these jobs' if len(jobs) > 1 else 'this job'} next (narrows the doubt about your hours most):")
    for number, job in enumerate(jobs, start=1):
        say(f"  {number}. {job}")
    say(f"  {rule}")


def _answer_options(command: Callable[..., None]) -> Callable[..., None]:
    for key, text in reversed(ANSWER_HELP.items()):
        command = click.option(f"--{key}", help=text)(command)
    return command


@click.command()
@click.argument("export", type=BOOKS)
@click.option("--into", type=BOOKS, required=True, help="Folder of the books; made where missing.")
@click.option("--mapping", "mapping_file", type=BOOKS, help="A mapping kept from an earlier conversion.")
@click.option("--column", "columns", multiple=True, metavar="NAME=HEADER", help="Take a column from this header.")
@click.option("--fixed", multiple=True, metavar="NAME=VALUE", help="The same value in every row.")
@click.option("--skip", multiple=True, metavar="HEADER=WORDS", help="Leave out rows with these words, parted by |.")
@click.option("--keep", multiple=True, metavar="HEADER=WORDS", help="Take only rows with one of these words in it.")
@click.option("--changes", type=click.Choice(["leave", "take"]), default="leave", help="Cells said otherwise now.")
@click.option("--yes", is_flag=True, help="Ask nothing: a question that is open is an error.")
@click.option("--dry-run", is_flag=True, help="Only show how the export would be read.")
@_answer_options
def convert(
    export: Path,
    into: Path,
    mapping_file: Path | None,
    columns: Sequence[str],
    fixed: Sequence[str],
    skip: Sequence[str],
    keep: Sequence[str],
    changes: str,
    yes: bool,
    dry_run: bool,
    **said: Any,
) -> None:
    """Put the rows of another program's EXPORT (CSV, TSV, workbook) into a folder of books."""
    from flipkit.books.write import finish_moves
    from flipkit.imports.apply import apply
    from flipkit.imports.detect import propose
    from flipkit.imports.mapping import read_mapping

    answers = {key.replace("_", "-"): value for key, value in said.items() if value is not None}
    for word, pairs in (("column", columns), ("fixed", fixed), ("skip", skip), ("keep", keep)):
        for pair in pairs:
            name, equals, value = pair.partition("=")
            if not equals:
                refuse(f"--{word} must be NAME=VALUE, got {pair!r}")
            answers[f"{word} {name.strip()}"] = value.strip()
    mapping = read_mapping(mapping_file) if mapping_file else None
    if not dry_run:
        finish_moves(into)  # of a conversion that was killed, before anything is read

    def proposed() -> Proposal:
        return propose(export, answers=answers, mapping=mapping, into=into if into.exists() else None)

    proposal = proposed()
    may_ask = not yes and sys.stdin.isatty()
    while proposal.questions and may_ask:
        for question in proposal.questions:
            answers[question.key] = _asked(question)
        proposal = proposed()
    say(proposal.text(), nl=False)
    if proposal.questions:
        refuse(f"{len(proposal.questions)} to settle first, see above")
    if not dry_run:
        say("")
        say(apply(proposal, into, changes=changes).text(), nl=False)


def _asked(question: Question) -> str:
    """Ask the seller at the terminal."""
    say(question.text)
    if not question.choices:
        return str(click.prompt("Answer"))
    for number, choice in enumerate(question.choices, start=1):
        say(f"  {number}. {choice.value}" + (f": {choice.meaning}" if choice.meaning else ""))
    picked = click.prompt("Which", type=click.IntRange(1, len(question.choices)))
    return question.choices[picked - 1].value


# The command that opens the notebooks on a seller's books.


@click.command()
@click.argument("books", type=BOOKS)
@click.option("--folder", type=BOOKS, help="Working folder of the notebooks; by default beside the books.")
@click.option("--no-open", is_flag=True, help="Copy the notebooks and do not start JupyterLab.")
def lab(books: Path, folder: Path | None, no_open: bool) -> None:
    """Open the notebooks on BOOKS in JupyterLab, as copies of your own to change."""
    from flipkit.lab import lab_folder, open_lab
    from flipkit.reports.sentences import count_of

    found = lab_folder(books, folder)
    if found.made:
        say(f"Copied {count_of(len(found.made), 'notebook')} into {found.folder}")
    if found.kept:
        say(f"Kept {len(found.kept)} that were there, as they stand")
    if not no_open:
        sys.exit(open_lab(found.folder))


# Commands about a month: its pack, and the assumptions behind it.


@click.command()
@click.argument("books", type=BOOKS, required=False)
@click.option("--month", default="", help="Month of the report, such as 2026-10; by default the latest full one.")
@click.option("--as-of", default="", help="The last day that is known; by default the last day in the books.")
@click.option("--category", "categories", multiple=True, help="Only this category's page; may be repeated.")
@click.option("--out", type=BOOKS, help="Folder of the pack; by default packs/MONTH.")
@click.option("--set", "settings", multiple=True, metavar="KEY=VALUE", help="An assumption for this run alone.")
@click.option("--assumptions", "file", type=BOOKS, metavar="FILE", help="Assumptions saved in the lab, for this run.")
@click.option("--again", type=BOOKS, metavar="RUN.JSON", help="Make an earlier pack again, from its manifest.")
@click.option("--jobs", type=click.IntRange(min=1), help="How many notebooks run at a time.")
def report(
    books: Path | None,
    month: str,
    as_of: str,
    categories: Sequence[str],
    out: Path | None,
    settings: Sequence[str],
    file: Path | None,
    again: Path | None,
    jobs: int | None,
) -> None:
    """Make the month's pack of pages from BOOKS (a folder or a workbook; the demo shop's by default)."""
    # Many threads on small matrices wait for each other; the notebooks' kernels run on one each.
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    from tqdm import tqdm

    from flipkit.pack.month import default_jobs, make_month_pack, month_plan

    asked: dict[str, Any] = {
        "month": month,
        "as_of": as_of,
        "categories": categories,
        "settings": settings_of(settings, file, books),
    }
    earlier = None
    if again is not None:
        from flipkit.books.read import read_books
        from flipkit.pack.build import read_run
        from flipkit.paths import demo_folder

        if any(asked.values()):
            refuse("--again takes month, day, categories and assumptions from the manifest: leave the others out")
        earlier = read_run(again)
        earlier.require_same_books(read_books(books or demo_folder()).hashes)
        asked = {name: getattr(earlier, name) for name in asked}
    plan = month_plan(books, **asked, out=out)
    with tqdm(total=len(plan.pages), unit="page", desc="pages", disable=None, file=sys.stderr) as bar:
        pack = make_month_pack(plan, jobs=jobs or default_jobs(), on_done=lambda _: bar.update())
    for result in pack.results:
        for warning in result.warnings:
            say(f"flipkit: {result.name}: {warning}", err=True)
    if earlier is not None:
        told = earlier.differences((pack.folder / "run.json").read_text(encoding="utf-8"))
        for line in told:
            say(f"flipkit: not as before: {line}", err=True)
        if not told:
            say("The same bytes as before.")
    say(f"The pack of {plan.study.month} is in {pack.folder}")
    say(f"Open {pack.index.resolve().as_uri()}")


@click.command()
@click.argument("item_id")
@click.option("--books", type=BOOKS, help="Folder of the books or a workbook; by default the demo shop's.")
@click.option("--as-of", default="", help="The last day that is known; by default the last day in the books.")
@click.option("--set", "settings", multiple=True, metavar="KEY=VALUE", help="An assumption for this run alone.")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON, with units in its keys.")
def item(item_id: str, books: Path | None, as_of: str, settings: Sequence[str], as_json: bool) -> None:
    """Why one thing's net is what it is: every line of money and work of ITEM_ID, with where it comes from."""
    from flipkit.reports.study import open_study

    trace = open_study(books or "", as_of=as_of, settings=settings_of(settings)).item(item_id)
    told(trace.as_dict(), as_json, lambda _: [repr(trace)])


@click.command()
@click.argument("books", type=BOOKS, required=False)
@click.option("--set", "settings", multiple=True, metavar="KEY=VALUE", help="An assumption for this run alone.")
@click.option("--assumptions", "file", type=BOOKS, metavar="FILE", help="Assumptions saved in the lab, for this run.")
def assumptions(books: Path | None, settings: Sequence[str], file: Path | None) -> None:
    """List every assumption with its value, its meaning and who says so."""
    from flipkit.assumptions import load_assumptions
    from flipkit.books.cells import Units
    from flipkit.books.record import units_of
    from flipkit.units import Measures

    # Beside a workbook as in a folder of books.
    own = (books.parent if books.is_file() else books) / "assumptions.toml" if books else None
    found = load_assumptions(own if own and own.is_file() else None, overrides=settings_of(settings, file, books))
    units = units_of(books) if books else Units()
    measures = Measures(units.length, units.weight)
    for key, entry in found.entries.items():
        value, unit = entry.shown(measures, currency=units.currency)
        say(f"{key} = {value} {unit} ({entry.layer}): {entry.meaning}")
