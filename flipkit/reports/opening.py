"""A study opened: from books, month, day and settings to the numbers, or to those already computed.

A run of many notebooks computes the study once and leaves it in the folder that the environment
variable ``FLIPKIT_STUDIES`` names; each notebook then finds it there by the digest of everything
that it depends on.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
import pickle
from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from flipkit.assumptions import load_assumptions, parsed_settings, settings_in
from flipkit.books.past import last_recorded_day
from flipkit.books.read import Books, read_books
from flipkit.economics.items import item_economics
from flipkit.errors import AssumptionError
from flipkit.paths import demo_folder
from flipkit.reports.study import Study
from flipkit.rules.tables import load_rules

#: Environment variable that names a folder of studies already computed.
STUDIES = "FLIPKIT_STUDIES"


def open_study(
    books: str | Path = "",
    *,
    month: str = "",
    as_of: str | dt.date = "",
    settings: str | Mapping[str, object] = "",
) -> Study:
    """The study of a shop's books, computed or found ready.

    Parameters
    ----------
    books : str or Path
        Folder of CSV files or a workbook; empty: the demo shop.
    month : str
        Month of the report, such as ``2026-10``; empty: the latest full month.
    as_of : str or date
        The last day that is known; empty: the last day that the books record.
    settings : str or mapping
        This run's assumptions: ``help.wage=18; hour.target=25``, or the name of a saved file such as
        ``assumptions-2026-11-25.toml``, which lies beside the books.

    Returns
    -------
    Study
        The numbers.

    Raises
    ------
    BooksError
        If the books have problems that must be mended first.
    AssumptionError
        If a setting, the month or the day cannot be used.
    """
    path = Path(books) if str(books) else demo_folder()
    read = read_books(path)
    overrides = _overrides(settings, path) if isinstance(settings, str) else dict(settings)
    day = _day(as_of) if as_of else last_recorded_day(read)
    chosen = month or latest_full_month(day)
    _require_month(chosen, day)
    key = _digest(read, overrides, day, chosen)
    folder = os.environ.get(STUDIES)
    if folder and (kept := Path(folder, f"{key}.pickle")).is_file():
        with kept.open("rb") as file:
            found: Study = pickle.load(file)  # noqa: S301 - our own file, named by its digest
        return found
    rules = load_rules(read.rules_folder)
    assumptions = load_assumptions(read.assumptions_file, overrides=overrides, currency=read.shop.currency)
    return Study(read, rules, assumptions, day, chosen, item_economics(read, rules, assumptions, day), key)


def latest_full_month(day: dt.date) -> str:
    """The latest month that has ended by a day.

    Parameters
    ----------
    day : date
        The day, counted as over.

    Returns
    -------
    str
        Such as ``2026-10``.

    Examples
    --------
    >>> latest_full_month(dt.date(2026, 11, 14)), latest_full_month(dt.date(2026, 10, 31))
    ('2026-10', '2026-10')
    """
    tomorrow = day + dt.timedelta(days=1)
    return str(pd.Period(tomorrow, "M") - 1)


def _overrides(settings: str, books: Path) -> dict[str, str]:
    """Settings as written, or those of a file in the working folder or beside the books."""
    if not settings.strip().endswith(".toml"):
        return parsed_settings(settings)
    return settings_in(Path(settings.strip()), books=books)


def _day(text: str | dt.date) -> dt.date:
    if isinstance(text, dt.date):
        return text
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise AssumptionError("as_of", need="a day such as 2026-11-14", got=text) from None


def _require_month(month: str, day: dt.date) -> None:
    try:
        first = dt.date.fromisoformat(f"{month}-01")
    except ValueError:
        raise AssumptionError("month", need="a month such as 2026-10", got=month) from None
    if first > day:
        raise AssumptionError("month", need=f"a month that has begun by {day.isoformat()}", got=month)


def _digest(books: Books, overrides: Mapping[str, object], day: dt.date, month: str) -> str:
    """Names the study by everything that it depends on; the books' hashes hold their rules and assumptions too."""
    settings = {key: str(value) for key, value in overrides.items()}
    said = json.dumps([books.hashes, settings, day.isoformat(), month], sort_keys=True)
    return hashlib.sha256(said.encode()).hexdigest()
