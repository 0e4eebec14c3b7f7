"""What each of the people did and is due: shares of the result, hours, wages."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from flipkit.analysis.results import RESULT, SALES, WRITTEN_OFF, people_worked
from flipkit.books.read import books_as_of
from flipkit.money import share_out, show_cents
from flipkit.reports.elements import Element, Said, table
from flipkit.reports.sentences import month_name, year_name
from flipkit.reports.study import Study, currency_unit
from flipkit.reports.tables import words


def partners_sentence(study: Study) -> tuple[str, str]:
    """What the month and the year left to share, and among whom.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    tuple of (str, str)
        The sentence and the note below it.
    """
    sentence = (
        f"{month_name(study.month)} came to {_shown(study, 'month')}{_of(study, 'month')}; since the first of January "
        f"it is {_shown(study, 'year')}{_of(study, 'year')}."
    )
    scopes = {"month": month_name(study.month), "year": year_name(study)}
    sentence = Said(sentence, [study.figure(RESULT, scope, study.result_cents(span)) for span, scope in scopes.items()])
    owners = study.books.people[study.books.people["role"] == "owner"]
    if owners.empty:
        return sentence, "The books name no owner in people.csv, so there is nobody to share it among."
    given = owners["share_of_profit_ppm"].fillna(0).sum() / 1_000_000
    note = (
        ""
        if given == 1
        else f"The shares in people.csv come to {given:.0%}, not to 100%: they are taken in proportion. "
    )
    return sentence, note + (
        "A share is a share of this result, not cash to pay out: what was paid for things still in stock is spent, and "
        "they count only when they sell or are written off. Net of every cost but the owners' own time."
    )


def partners_table(study: Study) -> Element:
    """Each worker's logged hours, and each owner's share of the profit.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page; words where nobody works.
    """
    books = books_as_of(study.books, study.as_of)
    columns: dict[str, Any] = {}
    for name, window in (("month", study.month_so_far()), ("year", study.year_so_far())):
        logged = people_worked(books, study.assumptions, window)
        owners = (logged["role"] == "owner").to_numpy()
        due = np.zeros(len(logged), dtype=np.int64)
        if owners.any():
            due[owners] = share_out(study.result_cents(name), logged["share"].to_numpy()[owners])
        columns |= {
            "worker": logged["worker"],
            "role": logged["role"],
            "share": [f"{s / 1_000_000:.0%}" if o else "–" for s, o in zip(logged["share"], owners, strict=True)],
            f"{name}_hours": logged["minutes"] / 60,
            f"{name}_cents": np.where(owners, due, logged["paid_cents"]),
        }
    frame = pd.DataFrame(columns)
    if frame.empty:
        return words("The books name nobody and log no work.")
    unit = currency_unit(study)
    headings = {
        "worker": "Who",
        "role": "Role",
        "share": "Share of the result",
        "month_hours": "Hours, month",
        "month_cents": f"Share or pay, month ({unit})",
        "year_hours": "Hours, year",
        "year_cents": f"Share or pay, year ({unit})",
    }
    formats = dict.fromkeys(("month_hours", "year_hours"), lambda hours: f"{hours:,.1f}")
    caption = "Logged hours; owners' shares of the result, wages with payroll taxes of hired help"
    return table(frame, caption=caption, headings=headings, formats=formats, currency=study.currency)


def log_sentence(study: Study) -> str:
    """How far the log of hours reaches.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    str
        One sentence or two.
    """
    books = books_as_of(study.books, study.as_of)
    logged = people_worked(books, study.assumptions, study.month_so_far())
    hours = logged.loc[logged["role"] == "owner", "minutes"].sum() / 60
    behind = study.month_items()["owner_min"].sum() / 60
    return (
        f"Hours worked: the log of {month_name(study.month)} holds {hours:,.1f} hours of the owners on all goods. "
        f"Hours behind the result: {behind:,.1f} for what sold or was written off in it, whenever worked, with "
        "standard minutes where nobody logged."
    )


def _shown(study: Study, span: str) -> str:
    return show_cents(study.result_cents(span), currency=study.currency)


def _of(study: Study, span: str) -> str:
    """What the sales left and the write-offs took of a result, where anything was written off."""
    steps = study.bridges[span].set_index("step")["amount_cents"]
    if WRITTEN_OFF not in steps:
        return ""
    sales, lost = (show_cents(int(steps[name]), currency=study.currency) for name in (SALES, WRITTEN_OFF))
    return f" (sales {sales}, written off {lost})"
