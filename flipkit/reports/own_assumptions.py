"""Assumptions that a seller moved and wants to keep: a dated file beside the books, never written over."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

from flipkit.assumptions import Assumption, load_assumptions
from flipkit.errors import AssumptionError
from flipkit.paths import demo_folder
from flipkit.reports.study import Study


def save_assumptions(study: Study, *, on: dt.date, folder: Path | None = None) -> Path:
    """Write what this run assumes otherwise than the books do into a dated file.

    The file is taken up where it is asked for, by ``flipkit report BOOKS --assumptions FILE`` or as the
    ``settings`` of a notebook. Nothing takes it up by itself: what stands in it may replace records.

    Parameters
    ----------
    study : Study
        The numbers, under the assumptions to be saved.
    on : date
        The day of saving.
    folder : Path, optional
        Where the file goes; the folder of the books, or that of the workbook, where not given.

    Returns
    -------
    Path
        The file: ``assumptions-2026-11-25.toml``, with a number where that day has one that says otherwise.

    Raises
    ------
    AssumptionError
        If nothing is assumed otherwise than by the books, or the folder cannot be written to.
    """
    text = saved_text(study, on=on)
    home = folder or books_home(study)
    stem = f"assumptions-{on.isoformat()}"
    number = 1
    while True:
        file = home / f"{stem}{'' if number == 1 else f'-{number}'}.toml"
        try:
            # Made only where there is none, even if another program makes it at the same moment.
            with file.open("x", encoding="utf-8", newline="\n") as new:
                new.write(text)
        except FileExistsError:
            if file.is_file() and file.read_bytes() == text.encode():
                return file
            number += 1
        except OSError as error:
            raise AssumptionError(
                "the folder of the books", need="a folder that can be written to", got=str(home), where=str(error)
            ) from error
        else:
            return file


def saved_text(study: Study, *, on: dt.date) -> str:
    """What the dated file says: the day, each value that was moved, and what it was.

    Parameters
    ----------
    study : Study
        The numbers, under the assumptions to be saved.
    on : date
        The day of saving.

    Returns
    -------
    str
        A TOML file.

    Raises
    ------
    AssumptionError
        If nothing is assumed otherwise than by the books.
    """
    before = load_assumptions(study.books.assumptions_file, currency=study.currency).entries
    moved = [entry for key, entry in study.assumptions.entries.items() if entry.value != before[key].value]
    if not moved:
        raise AssumptionError(
            "assumptions to save", need="one that differs from the books' own", got="none", mend="move one first"
        )
    lines = [
        f"# Assumptions saved on {on.isoformat()}, moved over the books as they stood on {study.as_of.isoformat()}.",
        "# Whatever is not named here stays as the books and the kit have it. A report on them:",
        "#   flipkit report BOOKS --assumptions FILE",
        "",
    ]
    for entry in moved:
        was = before[entry.key].text(currency=study.currency)
        lines.append(f"{_key(entry.key)} = {_written(entry)}  # was {was}")
    return "\n".join(lines) + "\n"


def books_home(study: Study) -> Path:
    """The folder in which a shop's own assumptions and rules lie.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Path
        The folder of the books, or of the workbook; the present one for the demo shop, which is only read.
    """
    path = study.books.path.resolve()
    if path == demo_folder().resolve():
        return Path.cwd()
    return path if path.is_dir() else path.parent


def _written(entry: Assumption) -> str:
    """The value as ``load_assumptions`` reads it, exactly."""
    if entry.kind == "money":
        cents = int(entry.value)
        return f'"{cents // 100}.{cents % 100:02d}"'
    if entry.kind == "rate":
        whole, part = divmod(int(entry.value), 10_000)
        return f'"{f"{whole}.{part:04d}".rstrip("0").rstrip(".")} %"'
    return json.dumps(entry.value, ensure_ascii=False)


def _key(key: str) -> str:
    """A dotted key, each part between quotes where TOML asks for them."""
    return ".".join(
        part if part.isascii() and part.replace("_", "").replace("-", "").isalnum() else json.dumps(part)
        for part in key.split(".")
    )
