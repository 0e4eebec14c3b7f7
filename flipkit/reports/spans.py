"""Spans of days that statements of the year are about."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pandas as pd

from flipkit.analysis.groups import Window
from flipkit.money import show_cents
from flipkit.reports.study import Study


def year_window(study: Study) -> Window:
    """From the first of January to the end of the report's month, or to the last day known.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    tuple of date
        First and last day.
    """
    last = min(study.window(months=1)[1], study.as_of)
    return dt.date(last.year, 1, 1), last


def within(days: pd.Series, window: Window) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Which days lie in a window.

    Parameters
    ----------
    days : Series of dates
        The days.
    window : tuple of date
        First and last day, both included.

    Returns
    -------
    array of bool
        False for a missing day.
    """
    first, last = (pd.Timestamp(day) for day in window)
    return ((days >= first) & (days <= last)).to_numpy(dtype=bool)


def rows_within(frame: pd.DataFrame, day: str, window: Window) -> pd.DataFrame:
    """The rows of a table whose day lies in a window.

    Parameters
    ----------
    frame : DataFrame
        The table.
    day : str
        Its column of days.
    window : tuple of date
        First and last day, both included.

    Returns
    -------
    DataFrame
        The rows.
    """
    return frame if frame.empty else frame[within(frame[day], window)]


def currency_unit(study: Study) -> str:
    """What stands for money in a heading.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    str
        Such as ``$``.
    """
    return show_cents(0, currency=study.currency).rstrip("0. ").strip()
