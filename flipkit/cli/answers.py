"""How the commands speak: arguments in the trade's own words, answers as text or as JSON."""

from __future__ import annotations

import codecs
import datetime as dt
import functools
import io
import json
import os
import sys
import unicodedata
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

if TYPE_CHECKING:
    pass

BOOKS = click.Path(path_type=Path)


def _found(context: click.Context, param: click.Parameter, books: Path | None, *, needed: bool = False) -> Path | None:
    """Which books a command is about: as named, as FLIPKIT_BOOKS says, or those in the current folder."""
    found = books or (Path.cwd() if Path("items.csv").is_file() else None)
    if found is None and needed:
        raise click.MissingParameter(ctx=context, param=param)
    return found


def books_option(otherwise: str = "") -> Callable[[Callable[..., None]], Callable[..., None]]:
    """The books as an option, and what stands in for them where there are none."""
    which = f"FLIPKIT_BOOKS, {'' if otherwise else 'or '}those in the current folder{otherwise and ', or '}{otherwise}"
    return click.option(
        "--books", type=BOOKS, envvar="FLIPKIT_BOOKS", callback=_found, help=f"Your books; by default {which}."
    )


def books_argument(*, needed: bool = False) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """The books as an argument, found in the same way."""
    found = functools.partial(_found, needed=needed)
    return click.argument("books", type=BOOKS, required=False, envvar="FLIPKIT_BOOKS", callback=found)


# Options that several commands take.
settings_option = click.option(
    "--set", "settings", multiple=True, metavar="KEY=VALUE", help="Change an assumption for this run; repeatable."
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON, with units in its keys.")


quiet_option = click.Option(
    ["--quiet"],
    is_flag=True,
    expose_value=False,
    callback=lambda context, _, said: context.meta.update({"quiet": said}),
    help="Print nothing unless something is wrong.",
)


def quiet() -> bool:
    """Whether this command was asked to print nothing unless something is wrong."""
    context = click.get_current_context(silent=True)
    return context is not None and context.meta.get("quiet", False)


def say(text: str, *, err: bool = False, nl: bool = True) -> None:
    """Print text whose pieces may come from the books, with what would move the terminal's cursor made visible."""
    if err or not quiet():
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


#: Nearest plain marks for those of ours that an old code page lacks; a minus must not get lost.
_PLAINER = str.maketrans(
    {
        "−": "-",
        "–": "-",
        "≥": ">=",
        "≤": "<=",
        "×": "x",
        "“": '"',
        "”": '"',
        "’": "'",
        "…": "...",
        "″": '"',
        "€": "EUR ",
    }
)


def speak_to_any_console() -> None:
    """Let text that a console or a file cannot hold be said in plainer marks: Windows redirects in an old code page."""

    def plainer(error: UnicodeError) -> tuple[str, int]:
        if not isinstance(error, UnicodeEncodeError):
            raise error
        text = error.object[error.start : error.end].translate(_PLAINER)
        return "".join(character if character.isascii() else "?" for character in text), error.end

    codecs.register_error("plainer", plainer)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="plainer")


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


def own_table(books: Path | None, kind: str) -> str:
    """Where a rule table of the seller's own goes, and how to get its form."""
    folder = None if books is None else books.parent if books.is_file() else books
    place, form = (folder or Path("BOOKS")) / "rules" / kind, "FOLDER" if folder is None or folder != books else folder
    return f"put yours into {place}{os.sep} ('flipkit start {form}' adds a form to fill in, and keeps what is there)"


def told(answer: dict[str, Any], as_json: bool, words: Callable[[dict[str, Any]], Sequence[str]]) -> None:
    """Print an answer."""
    if as_json:
        say(json.dumps(answer, ensure_ascii=False, indent=2))
    else:
        for line in words(answer):
            say(line)
