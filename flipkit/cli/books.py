"""Commands about the books: a first folder, exports, the check, the month's pack."""

from __future__ import annotations

import datetime as dt
import json
import os
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from flipkit.cli.answers import (
    BOOKS,
    books_argument,
    books_option,
    json_option,
    quiet,
    refuse,
    say,
    settings_of,
    settings_option,
    told,
)
from flipkit.errors import ConversionError, count_of
from flipkit.imports import ANSWERS

if TYPE_CHECKING:
    from flipkit.books.check import Check
    from flipkit.imports.detect import Proposal
    from flipkit.imports.mapping import Question
    from flipkit.pack.run import PageResult

#: The bar while pages are made: how far, how long still, and the page made last.
PROGRESS = "{n_fmt} of {total_fmt} pages |{bar:20}| {remaining} left, {desc}"


# Commands about the books: a folder to begin with, an export converted, the check.


@click.command()
@click.argument("folder", type=BOOKS)
@click.option("--workbook", is_flag=True, help="Make one workbook with drop-down lists, not CSV files.")
@click.option("--metric", is_flag=True, help="Measure in centimeters, kilograms and kilometers.")
@click.option("--currency", default="USD", show_default=True, metavar="CODE", help="Your currency, in three letters.")
def start(folder: Path, workbook: bool, metric: bool, currency: str) -> None:
    """Make a FOLDER of empty books, and overwrite nothing that is there.

    Example: flipkit start my-books --workbook
    """
    from flipkit.books.check import WORKBOOK, make_folder

    started = make_folder(folder, workbook=workbook, metric=metric, currency=currency)
    for word, names in (("Made", started.made), ("Kept, since they were there:", started.kept)):
        files = [name for name in names if "/" not in name]
        folders = Counter(name.split("/")[0] for name in names if "/" in name)
        parts = [
            *files,
            *(f"{count_of(count, 'file')} in {name}/" for name, count in folders.items()),
        ]
        if parts:
            say(f"{word} {', '.join(parts)}")
    if (metric or currency != "USD") and {"shop.csv", WORKBOOK} & set(started.kept):
        say("Your units and currency stay as they were: change them in the table shop")
    if workbook:
        say(f"Fill in the sheet items of {WORKBOOK}, then: flipkit check {folder / WORKBOOK}")
    else:
        say(f"Fill in items.csv, then: flipkit check {folder}")


@click.command()
@books_argument(needed=True)
@click.option("--as-of", default="", metavar="DATE", help="Day of the report; later dates are then pointed out.")
@json_option
def check(books: Path, as_of: str, as_json: bool) -> None:
    """List what is wrong with BOOKS, what a report can say from them, and what to record next.

    Example: flipkit check my-books
    """
    from flipkit.books.check import check as checked
    from flipkit.books.read import last_recorded_day
    from flipkit.cli.answers import day_of
    from flipkit.economics.items import timings_wanted

    found = checked(books, as_of=day_of(as_of, "--as-of") if as_of else None)
    wanted = None
    if not found.stops and found.books is not None and not found.books.items.empty:
        last = day_of(as_of, "--as-of") if as_of else last_recorded_day(found.books, until=dt.date.today())
        wanted = timings_wanted(found.books, last)
    told({**found.as_dict(), "time_next": wanted or []}, as_json, lambda _: _check_words(found, wanted))
    if found.stops or found.books is None:
        if quiet():
            say(found.text(), err=True, nl=False)
        sys.exit(2)


def _check_words(found: Check, wanted: Sequence[str] | None) -> list[str]:
    """The check in words, then the jobs whose timing would teach most."""
    said = [found.text().removesuffix("\n")]
    if wanted is None:
        return said
    if not wanted:
        return [*said, "\nYour logs cover nearly all of your work: timing more of it would change little."]
    *jobs, rule = wanted
    head = f"\nTime {'these jobs' if len(jobs) > 1 else 'this job'} next, to be surer of your hours:"
    return [*said, head, *(f"  {number}. {job}" for number, job in enumerate(jobs, start=1)), f"  {rule}"]


def _answer_options(command: Callable[..., None]) -> Callable[..., None]:
    for key, (text, words) in reversed(ANSWERS.items()):
        taken: dict[str, Any] = {"type": click.Choice(list(words))} if words else {"metavar": "VALUE"}
        command = click.option(f"--{key}", help=text, **taken)(command)
    return command


@click.command()
@click.argument("export", type=BOOKS)
@click.option("--into", type=BOOKS, required=True, help="Folder of your books; made if it is missing.")
@click.option("--mapping", "mapping_file", type=BOOKS, help="A mapping file from an earlier conversion.")
@click.option(
    "--column", "columns", multiple=True, metavar="NAME=HEADER", help="Fill the column NAME from this header."
)
@click.option("--fixed", multiple=True, metavar="NAME=VALUE", help="Put the same value in every row.")
@click.option("--ignore", multiple=True, metavar="HEADER", help="Leave this column out.")
@click.option("--blank", multiple=True, metavar="NAME=VALUE", help="Value for a blank cell; 'refuse' lists the rows.")
@click.option("--words", multiple=True, metavar="NAME=WORD=MEANING|…", help="Say what words in a column mean.")
@click.option(
    "--skip", multiple=True, metavar="HEADER=WORDS", help="Leave out rows with one of these words; put | between them."
)
@click.option("--keep", multiple=True, metavar="HEADER=WORDS", help="Take only rows with one of these words.")
@click.option(
    "--changes",
    type=click.Choice(["leave", "take"]),
    default="leave",
    help="Leave cells of the books that the export now gives another value, or take the new value.",
)
@click.option(
    "--most-refused",
    type=click.FloatRange(0, 100),
    default=2.0,
    show_default=True,
    metavar="PERCENT",
    help="If more rows than this are refused, the command ends with status 3.",
)
@click.option("--yes", is_flag=True, help="Ask no questions: an open question is an error.")
@click.option("--dry-run", is_flag=True, help="Show how the export would be read, and write nothing.")
@_answer_options
def convert(
    export: Path,
    into: Path,
    mapping_file: Path | None,
    columns: Sequence[str],
    fixed: Sequence[str],
    ignore: Sequence[str],
    blank: Sequence[str],
    words: Sequence[str],
    skip: Sequence[str],
    keep: Sequence[str],
    changes: str,
    most_refused: float,
    yes: bool,
    dry_run: bool,
    **said: Any,
) -> None:
    """Add the rows of another program's EXPORT (CSV, TSV or workbook) to your books.

    Example: flipkit convert sales.csv --into my-books --dry-run
    """
    from flipkit.books.problems import collector_held
    from flipkit.books.write import finish_moves
    from flipkit.imports.apply import Conversion, apply
    from flipkit.imports.detect import propose
    from flipkit.imports.mapping import read_mapping

    # Hundreds of thousands of rows live until the end: none of them is garbage to look for.
    click.get_current_context().with_resource(collector_held())
    answers = {key.replace("_", "-"): value for key, value in said.items() if value is not None}
    named = {"column": columns, "fixed": fixed, "blank": blank, "words": words, "skip": skip, "keep": keep}
    for word, pairs in named.items():
        for pair in pairs:
            name, equals, value = pair.partition("=")
            if not equals:
                refuse(f"--{word} must be NAME=VALUE, got {pair!r}")
            answers[f"{word} {name.strip()}"] = value.strip()
    answers |= {f"ignore {header}": "" for header in ignore}
    mapping = read_mapping(mapping_file) if mapping_file else None
    if not dry_run:
        finish_moves(into)  # of a conversion that was killed, before anything is read

    def proposed(given: dict[str, str]) -> Proposal:
        return propose(export, answers=given, mapping=mapping, into=into if into.exists() else None)

    may_ask = not (yes or quiet()) and sys.stdin.isatty()
    session = Session(export, into, answers) if may_ask else None
    proposal = session.settled(proposed) if session else proposed(answers)
    say(proposal.text(), err=quiet() and bool(proposal.questions), nl=False)
    if proposal.questions:
        refuse(f"{len(proposal.questions)} to settle first, see above")
    if dry_run:
        return

    def agreed(conversion: Conversion) -> bool:
        say(f"\n{conversion.summary()}", nl=False)
        return not may_ask or click.confirm(f"Write this into {into}?", default=True)

    done = apply(proposal, into, changes=changes, agreed=agreed)
    say(done.written_text(), nl=False)
    if session and done.written:
        session.end()
    if done.lost > most_refused / 100 * done.rows_in:
        if quiet():
            say(done.summary(), err=True, nl=False)
        click.echo(f"flipkit: {done.lost:,} of {done.rows_in:,} rows were refused, see above", err=True)
        sys.exit(3)


class Session:
    """Questions answered at the terminal; each answer is kept at once, so that a break loses none."""

    def __init__(self, export: Path, into: Path, answers: dict[str, str]) -> None:
        from flipkit.imports.apply import answers_file

        self._kept = answers_file(export, into)
        self._said = set(answers)
        self.answers = dict(answers)
        if self._kept.is_file():
            earlier = json.loads(self._kept.read_text(encoding="utf-8"))
            say(f"Continuing with {count_of(len(earlier), 'answer')} that you gave before ({self._kept})")
            self.answers = {**answers, **{key: earlier[key] for key in earlier if key not in answers}}

    def settled(self, proposed: Callable[[dict[str, str]], Proposal]) -> Proposal:
        """The proposal once every question is answered; an answer that does not fit is asked for again."""
        asked: tuple[Question, ...] = ()
        told = False
        while True:
            try:
                proposal = proposed(self.answers)
                asked = proposal.questions
            except ConversionError as error:
                wrong = {key for p in error.problems for key in (p.column, f"column {p.column}")}
                asked = tuple(q for q in asked if q.key in wrong) or asked
                unfit = ({q.key for q in asked} or wrong) & set(self.answers) - self._said
                if not unfit:
                    raise
                say(str(error))
                self._forget(*unfit)
                if not asked:
                    continue
            if not asked:
                return proposal
            if not told:
                say("Type back to answer the last question again. After Ctrl-C your answers are kept.")
                told = True
            for question in asked:
                answer = _asked(question, proposal)
                if answer == "back":
                    self._forget(*[key for key in self.answers if key not in self._said][-1:])
                    break
                self.answers[question.key] = answer
                self._keep()

    def _forget(self, *keys: str) -> None:
        for key in keys:
            del self.answers[key]
        self._keep()

    def _keep(self) -> None:
        self._kept.parent.mkdir(parents=True, exist_ok=True)
        self._kept.write_text(json.dumps(self.answers, ensure_ascii=False, indent=1), encoding="utf-8")

    def end(self) -> None:
        """Forget the answers: the mapping holds them now."""
        self._kept.unlink(missing_ok=True)


def _asked(question: Question, proposal: Proposal) -> str:
    """Ask one question at the terminal until the answer can be one: a number, a header or a value."""
    say(f"\n{question.text}")
    headers = [fact.header for fact in proposal.layout.facts] if proposal.layout else []
    column = question.key.startswith("column ") and not question.choices
    if column and proposal.layout:
        for number, fact in enumerate(proposal.layout.facts, start=1):
            say(f"  {number:>2}. {fact.header[:30]:<30}  {', '.join(text[:24] for text in fact.examples[:3])}")
        say("Type a number or a header to take that column. Anything else is the value for every row (= for blank).")
    for number, choice in enumerate(question.choices, start=1):
        say(f"  {number}. {choice.value}" + (f": {choice.meaning}" if choice.meaning else ""))
    if question.key == "header-row":
        for record in islice(proposal.export.records(), 12):
            say(f"  row {record.row}: {', '.join(cell[:20] for cell in record.cells[:8])}")
    while True:
        text = str(click.prompt("Answer" if question.free else "Which", default="" if column else None)).strip()
        if text == "back":
            return text
        number = int(text) if text.isdigit() else 0
        known = {header.casefold(): header for header in headers}
        if column:
            if 0 < number <= len(headers):
                return headers[number - 1]
            return known.get(text.casefold()) or (text if text.startswith("=") or " + " in text else f"={text}")
        if 0 < number <= len(question.choices) and question.key != "header-row":
            return question.choices[number - 1].value
        values = {choice.value.casefold(): choice.value for choice in question.choices}
        if text.casefold() in values:
            return values[text.casefold()]
        if question.free and text:
            return text
        say(f"Type a number from 1 to {len(question.choices)}, or one of the words")


# The command that opens the notebooks on a seller's books.


@click.command()
@books_argument(needed=True)
@click.argument("options", nargs=-1, type=click.UNPROCESSED, metavar="[-- OPTIONS]")
@click.option("--folder", type=BOOKS, help="Folder for the notebooks; by default beside the books.")
@click.option("--no-open", is_flag=True, help="Copy the notebooks, but do not start JupyterLab.")
@click.option("--port", type=click.IntRange(1, 65_535), help="Port of JupyterLab; by default the first free one.")
@click.option("--no-browser", is_flag=True, help="Print the address and open no browser.")
def lab(
    books: Path, options: tuple[str, ...], folder: Path | None, no_open: bool, port: int | None, no_browser: bool
) -> None:
    """Open the notebooks for BOOKS in JupyterLab, as your own copies to change; it takes what follows -- itself.

    Example: flipkit lab my-books --port 8900 --no-browser -- --ip=0.0.0.0
    """
    from flipkit.lab import lab_folder, open_lab

    found = lab_folder(books, folder)
    if found.made:
        say(f"Copied {count_of(len(found.made), 'notebook')} into {found.folder}")
    if found.kept:
        say(f"Kept {len(found.kept)} that were already there")
    if not no_open:
        own = [*([f"--port={port}"] if port else []), *(["--no-browser"] if no_browser else [])]
        sys.exit(open_lab(found.folder, [*own, *options]))


# Commands about a month: its pack, and the assumptions behind it.


@click.command()
@books_argument()
@click.option("--month", default="", metavar="MONTH", help="Month such as 2026-10; by default the latest full one.")
@click.option(
    "--as-of", default="", metavar="DATE", help="The last day to count; by default the last one in the books."
)
@click.option(
    "--category", "categories", multiple=True, metavar="NAME", help="Make only this category's page; repeatable."
)
@click.option("--out", type=BOOKS, help="Folder for the pack; by default BOOKS-packs/MONTH beside your books.")
@settings_option
@click.option(
    "--assumptions", "file", type=BOOKS, metavar="FILE", help="A file of assumptions that you saved in the lab."
)
@click.option("--again", type=BOOKS, metavar="RUN.JSON", help="Make an earlier pack again, from its run.json.")
@click.option("--anew", is_flag=True, help="Make every page again, even if nothing has changed.")
@click.option("--jobs", type=click.IntRange(min=1), help="How many notebooks to run at a time.")
def report(
    books: Path | None,
    month: str,
    as_of: str,
    categories: Sequence[str],
    out: Path | None,
    settings: Sequence[str],
    file: Path | None,
    again: Path | None,
    anew: bool,
    jobs: int | None,
) -> None:
    """Make the month's pages from BOOKS, a folder or a workbook; by default the demo shop's.

    Example: flipkit report my-books --month 2026-10
    """
    # Many threads on small matrices wait for each other; the notebooks' kernels run on one each.
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")
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
            refuse("--again takes month, day, categories and assumptions from run.json: leave those options out")
        earlier = read_run(again)
        earlier.require_same_books(read_books(books or demo_folder()).hashes)
        asked = {name: getattr(earlier, name) for name in asked}
    elif not anew:
        from flipkit.pack.standing import standing_pack

        if (stands := standing_pack(books, **asked, out=out)) is not None:
            say("Nothing has changed since this pack was made, so it stays as it is. To make it again, add --anew.")
            say(f"Open {(stands / 'index.html').resolve().as_uri()}")
            return
    from tqdm import tqdm

    from flipkit.pack.month import default_jobs, make_month_pack, month_plan

    plan = month_plan(books, **asked, out=out)
    with tqdm(
        total=len(plan.pages), desc="starting", bar_format=PROGRESS, disable=quiet() or None, file=sys.stderr
    ) as bar:

        def on_done(result: PageResult) -> None:
            bar.set_description_str(f"made: {result.title}", refresh=False)
            bar.update()

        pack = make_month_pack(plan, jobs=jobs or default_jobs(), on_done=on_done)
    for result in pack.results:
        for warning in result.warnings:
            say(f"flipkit: {result.name}: {warning}", err=True)
    if earlier is not None:
        told = earlier.differences((pack.folder / "run.json").read_text(encoding="utf-8"))
        for line in told:
            say(f"flipkit: this differs: {line}", err=True)
        if not told:
            say("Every byte is the same as before.")
    say(f"The pack of {plan.study.month} is in {pack.folder}")
    say(f"Open {pack.index.resolve().as_uri()}")


@click.command()
@click.argument("item_id")
@books_option("the demo shop's")
@click.option(
    "--as-of", default="", metavar="DATE", help="The last day to count; by default the last one in the books."
)
@settings_option
@json_option
def item(item_id: str, books: Path | None, as_of: str, settings: Sequence[str], as_json: bool) -> None:
    """Show every line of money and work of one item, and where each comes from.

    Example: flipkit item A-0042 --books my-books
    """
    from flipkit.reports.study import open_study

    if books is None:
        say("flipkit: no books are named, so this looks in the demo shop's", err=True)
    trace = open_study(books or "", as_of=as_of, settings=settings_of(settings)).item(item_id)
    told(trace.as_dict(), as_json, lambda _: [repr(trace)])


@click.command()
@books_argument()
@settings_option
@click.option(
    "--assumptions", "file", type=BOOKS, metavar="FILE", help="A file of assumptions that you saved in the lab."
)
@json_option
def assumptions(books: Path | None, settings: Sequence[str], file: Path | None, as_json: bool) -> None:
    """List every assumption with its value, its meaning and where it was set.

    Example: flipkit assumptions my-books --set help.wage=18
    """
    from flipkit.assumptions import load_assumptions
    from flipkit.books.cells import Units
    from flipkit.books.record import units_of
    from flipkit.units import Measures

    # Beside a workbook as in a folder of books.
    own = (books.parent if books.is_file() else books) / "assumptions.toml" if books else None
    found = load_assumptions(own if own and own.is_file() else None, overrides=settings_of(settings, file, books))
    units = units_of(books) if books else Units()
    measures = Measures(units.length, units.weight)
    answer = {}
    for key, entry in found.entries.items():
        value, unit = entry.shown(measures, currency=units.currency)
        answer[key] = {
            "value": value,
            "unit": unit,
            "set_by": entry.layer,
            "meaning": entry.meaning,
            "source": entry.source,
        }
    told(
        answer,
        as_json,
        lambda _: [
            f"{key} = {one['value']} {one['unit']} ({one['set_by']}): {one['meaning']}" for key, one in answer.items()
        ],
    )
