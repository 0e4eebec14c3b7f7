"""What each of the people did and is due: shares of the profit, hours, wages."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from flipkit.analysis.returns import Window, in_window
from flipkit.books.read import Books, books_as_of
from flipkit.economics.hiring import hired_costs
from flipkit.money import share_out, show_cents
from flipkit.reports.elements import Element, table
from flipkit.reports.sentences import month_name
from flipkit.reports.study import Study, currency_unit, rows_within, year_window
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
    month, year = (_net(study, window) for window in _spans(study))
    sentence = (
        f"What sold in {month_name(study.month)} left {show_cents(month, currency=study.currency)} to share; "
        f"since the first of January it is {show_cents(year, currency=study.currency)}."
    )
    owners = study.books.people[study.books.people["role"] == "owner"]
    if owners.empty:
        return sentence, "The books name no owner in people.csv, so there is nobody to share it among."
    given = owners["share_of_profit_ppm"].fillna(0).sum() / 1_000_000
    note = (
        ""
        if given == 1
        else f"The shares in people.csv come to {given:.0%}, not to 100%: they are taken in proportion. "
    )
    return sentence, note + "Net of every cost but the owners' own time; unsold things are not in it."


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
    for name, window in zip(("month", "year"), _spans(study), strict=True):
        logged = worked(study, books, window)
        owners = (logged["role"] == "owner").to_numpy()
        due = np.zeros(len(logged), dtype=np.int64)
        if owners.any():
            due[owners] = share_out(_net(study, window), logged["share"].to_numpy()[owners])
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
        "share": "Share of profit",
        "month_hours": "Hours, month",
        "month_cents": f"Due, month ({unit})",
        "year_hours": "Hours, year",
        "year_cents": f"Due, year ({unit})",
    }
    formats = dict.fromkeys(("month_hours", "year_hours"), lambda hours: f"{hours:,.1f}")
    caption = "Logged hours; owners' shares of the net, wages with payroll taxes of hired help"
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
    window = _spans(study)[0]
    logged = worked(study, books_as_of(study.books, study.as_of), window)
    hours = logged.loc[logged["role"] == "owner", "minutes"].sum() / 60
    behind = in_window(study.items, window=window, basis="sold")["owner_min"].sum() / 60
    return (
        f"The log of {month_name(study.month)} holds {hours:,.1f} hours of the owners on all goods. Behind what "
        f"sold in it stand {behind:,.1f} hours, whenever worked, standard minutes in the place of what nobody logged."
    )


def worked(study: Study, books: Books, window: Window) -> pd.DataFrame:
    """Each worker with role, share, minutes logged in the window, and what hired minutes cost."""
    work = rows_within(books.work, "date", window)
    people = books.people.set_index("worker")
    names = [*people.index, *sorted(set(work["worker"]) - set(people.index))] if len(work) else list(people.index)
    minutes = work.groupby("worker")["minutes"].sum() if len(work) else pd.Series(dtype=np.float64)
    known = people.reindex(names)
    # As in the items' economics: whom people.csv does not name is an owner, blank pay is the assumed one.
    role = known["role"].fillna("owner").replace("", "owner")
    wage = known["wage_cents"].fillna(study.assumptions.cents("help.wage")).astype(np.int64)
    burden = known["payroll_burden_ppm"].fillna(study.assumptions.ppm("help.burden")).astype(np.int64)
    paid = pd.Series(0, index=names, dtype=np.int64)
    if len(work):
        at = work["worker"]
        each = hired_costs(
            work["minutes"].to_numpy(), wage_cents=wage.loc[at].to_numpy(), burden_ppm=burden.loc[at].to_numpy()
        )
        hired = (role.loc[at] == "hired").to_numpy()
        paid = (
            pd.Series(np.where(hired, each, 0)).groupby(at.to_numpy()).sum().reindex(names).fillna(0).astype(np.int64)
        )
    return pd.DataFrame(
        {
            "worker": names,
            "role": role.to_numpy(),
            "share": known["share_of_profit_ppm"].fillna(0).to_numpy(dtype=np.int64),
            "minutes": minutes.reindex(names).fillna(0.0).to_numpy(dtype=np.float64),
            "paid_cents": paid.to_numpy(),
        }
    )


def _spans(study: Study) -> tuple[Window, Window]:
    """The report's month and the year up to its end."""
    first, last = study.window(months=1)
    return (first, min(last, study.as_of)), year_window(study)


def _net(study: Study, window: Window) -> int:
    return int(in_window(study.items, window=window, basis="sold")["net_cents"].sum())
