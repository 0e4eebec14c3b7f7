"""Commands about a month: its pack, and the assumptions behind it."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from flipkit.cli.answers import BOOKS, refuse, settings_of


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
        from flipkit.paths import demo_folder
        from flipkit.reports.again import read_run

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
            click.echo(f"flipkit: {result.name}: {warning}", err=True)
    if earlier is not None:
        told = earlier.differences((pack.folder / "run.json").read_text(encoding="utf-8"))
        for line in told:
            click.echo(f"flipkit: not as before: {line}", err=True)
        if not told:
            click.echo("The same bytes as before.")
    click.echo(f"The pack of {plan.study.month} is in {pack.folder}")
    click.echo(f"Open {pack.index.resolve().as_uri()}")


@click.command()
@click.argument("books", type=BOOKS, required=False)
@click.option("--set", "settings", multiple=True, metavar="KEY=VALUE", help="An assumption for this run alone.")
@click.option("--assumptions", "file", type=BOOKS, metavar="FILE", help="Assumptions saved in the lab, for this run.")
def assumptions(books: Path | None, settings: Sequence[str], file: Path | None) -> None:
    """List every assumption with its value, its meaning and who says so."""
    from flipkit.assumptions import load_assumptions

    # Beside a workbook as in a folder of books.
    own = (books.parent if books.is_file() else books) / "assumptions.toml" if books else None
    found = load_assumptions(own if own and own.is_file() else None, overrides=settings_of(settings, file, books))
    for key, entry in found.entries.items():
        click.echo(f"{key} = {entry.text()} {entry.unit} ({entry.layer}): {entry.meaning}")
