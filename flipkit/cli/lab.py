"""The command that opens the notebooks on a seller's books."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from flipkit.cli.answers import BOOKS


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
        click.echo(f"Copied {count_of(len(found.made), 'notebook')} into {found.folder}")
    if found.kept:
        click.echo(f"Kept {len(found.kept)} that were there, as they stand")
    if not no_open:
        sys.exit(open_lab(found.folder))
