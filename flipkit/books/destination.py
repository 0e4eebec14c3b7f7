"""The folder of books that an export goes to, as it stands before the conversion."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from flipkit.books.problems import Problem
from flipkit.books.read import Books, inspect_books
from flipkit.books.write import unshielded
from flipkit.errors import ConversionError


def books_in(folder: Path) -> Books | None:
    """The books in a folder.

    Parameters
    ----------
    folder : Path
        The folder; it need not exist.

    Returns
    -------
    Books or None
        The books; None where there are none yet.

    Raises
    ------
    ConversionError
        If it is no folder, cannot be made, or holds books with problems of their own.
    """
    if folder.exists() and not folder.is_dir():
        raise ConversionError([Problem(folder.name, None, "", "a file", "a folder", "name a folder with --into")])
    if not folder.exists() or not any(folder.glob("*.csv")):
        parent = folder if folder.exists() else folder.parent
        if not parent.is_dir():
            found = f"no folder {parent}"
            raise ConversionError([Problem(folder.name, None, "", found, "a folder that it can be made in", "")])
        return None
    books, problems = inspect_books(folder)
    if books is None:
        stops = [problem for problem in problems if problem.severity == "stop"]
        if all(stop.file == "items.csv" and "no items in" in stop.found for stop in stops):
            return None
        raise ConversionError(stops)
    return books


def read_ledger(path: Path) -> list[dict[str, str]]:
    """What earlier conversions took, as they wrote it down.

    Parameters
    ----------
    path : Path
        The file; it need not exist.

    Returns
    -------
    list of dict of str to str
        Its rows by header.
    """
    if not path.is_file():
        return []
    rows = csv.reader(io.StringIO(path.read_text(encoding="utf-8"), newline=""))
    header = [unshielded(cell) for cell in next(rows, [])]
    return [dict(zip(header, (unshielded(cell) for cell in row), strict=False)) for row in rows]
