"""How the commands speak: arguments in the trade's own words, answers as text or as JSON."""

from __future__ import annotations

import datetime as dt
import json
import sys
import unicodedata
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

if TYPE_CHECKING:
    pass

BOOKS = click.Path(path_type=Path)
# Options that several commands take.
settings_option = click.option(
    "--set", "settings", multiple=True, metavar="KEY=VALUE", help="Change an assumption for this run; repeatable."
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON, with units in its keys.")


def say(text: str, *, err: bool = False, nl: bool = True) -> None:
    """Print text whose pieces may come from the books, with what would move the terminal's cursor made visible."""
    click.echo(visible(text), err=err, nl=nl)


def visible(text: str) -> str:
    r"""Control characters, escapes and marks that turn the direction of writing, as JSON writes them.

    >>> print(visible("lamp\x1b[2J \u202e12.50"))
    lamp\u001b[2J \u202e12.50
    """
    if text.isascii() and text.replace("\n", "").replace("\t", "").isprintable():
        return text
    return "".join(c if c.isprintable() or c in "\n\t" or unicodedata.category(c) == "Zs" else _shown(c) for c in text)


def _shown(character: str) -> str:
    return json.dumps(character)[1:-1] if character != "\x7f" else "\\u007f"


def refuse(text: str) -> NoReturn:
    """End the command with one line on standard error and status 2."""
    say(f"flipkit: {text}", err=True)
    sys.exit(2)


def day_of(text: str, option: str = "--on") -> dt.date:
    """The day that a command is about; the present day where nothing is said."""
    if not text:
        return dt.date.today()
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        refuse(f"{option} must be a day such as 2026-11-14, got {text!r}")


def settings_of(pairs: Sequence[str], file: Path | None = None, books: Path | None = None) -> dict[str, str]:
    """Assumptions given as ``--set KEY=VALUE``, laid over those of a saved file."""
    from flipkit.assumptions import parsed_settings, settings_in

    said = parsed_settings(";".join(pairs))
    saved = settings_in(file, books=books) if file else {}
    # What is said of a whole group of size classes replaces what the file says of one of them.
    return {key: value for key, value in saved.items() if not {key, key.rpartition(".")[0]} & set(said)} | said


def rules_folder(books: Path | None) -> Path | None:
    """The folder of the seller's own rule tables; the demo shop's where no books are named."""
    from flipkit.paths import demo_folder

    place = books or demo_folder()
    if not place.exists():
        refuse(f"--books must be a folder or a workbook that exists, got {place}")
    folder = (place.parent if place.is_file() else place) / "rules"
    return folder if folder.is_dir() else None


def told(answer: dict[str, Any], as_json: bool, words: Callable[[dict[str, Any]], Sequence[str]]) -> None:
    """Print an answer."""
    if as_json:
        say(json.dumps(answer, ensure_ascii=False, indent=2))
    else:
        for line in words(answer):
            say(line)
