"""Commands about the books: a folder to begin with, an export converted, the check."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from flipkit.cli.answers import BOOKS, refuse

if TYPE_CHECKING:
    from flipkit.books.exports.questions import Question
    from flipkit.imports.detect import Proposal

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
def start(folder: Path) -> None:
    """Make a FOLDER of books to begin with; nothing that is there is overwritten."""
    from flipkit.books.start import make_folder

    started = make_folder(folder)
    for name in started.made:
        click.echo(f"made {name}")
    for name in started.kept:
        click.echo(f"kept {name}, which was there")
    click.echo(f"Fill in items.csv, then: flipkit check {folder}")


@click.command()
@click.argument("books", type=BOOKS)
@click.option("--as-of", default="", help="Day of the report, so that later dates are told.")
def check(books: Path, as_of: str) -> None:
    """Say everything that is wrong with BOOKS, what a report can tell from them, what to record next."""
    from flipkit.books.check import check as checked
    from flipkit.cli.answers import day_of

    found = checked(books, as_of=day_of(as_of) if as_of else None)
    click.echo(found.text(), nl=False)
    if found.stops or found.books is None:
        sys.exit(2)


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

    def proposed() -> Proposal:
        return propose(export, answers=answers, mapping=mapping, into=into if into.exists() else None)

    proposal = proposed()
    may_ask = not yes and sys.stdin.isatty()
    while proposal.questions and may_ask:
        for question in proposal.questions:
            answers[question.key] = _asked(question)
        proposal = proposed()
    click.echo(proposal.text(), nl=False)
    if proposal.questions:
        refuse(f"{len(proposal.questions)} to settle first, see above")
    if not dry_run:
        click.echo("")
        click.echo(apply(proposal, into, changes=changes).text(), nl=False)


def _asked(question: Question) -> str:
    """Ask the seller at the terminal."""
    click.echo(question.text)
    if not question.choices:
        return str(click.prompt("Answer"))
    for number, choice in enumerate(question.choices, start=1):
        click.echo(f"  {number}. {choice.value}" + (f": {choice.meaning}" if choice.meaning else ""))
    picked = click.prompt("Which", type=click.IntRange(1, len(question.choices)))
    return question.choices[picked - 1].value
