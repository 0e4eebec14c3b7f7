"""The books as they stood on a day: what happened later is not known yet."""

from __future__ import annotations

import dataclasses
import datetime as dt

import pandas as pd

from flipkit.books.read import Books

#: What an item's row says of each event, to be forgotten where the event lies ahead.
_EVENTS = {
    "listed_on": (),
    "sold_on": (
        "sold_price_cents",
        "shipping_charged_cents",
        "fees_paid_cents",
        "label_paid_cents",
        "label_adjustment_cents",
        "materials_paid_cents",
    ),
    "returned_on": ("refund_cents",),
    "gone_on": (),
}
_DATED = {
    "price_changes": "changed_on",
    "work": "date",
    "trips": "date",
    "lots": "date",
    "supplies": "date",
    "comparables": "sold_on",
    "overheads": "month",
}


def books_as_of(books: Books, as_of: dt.date) -> Books:
    """The books without anything that happened after a day.

    Parameters
    ----------
    books : Books
        The seller's books.
    as_of : date
        The last day that is known.

    Returns
    -------
    Books
        Items bought by that day, with later listings, sales, returns and departures blank, and
        the other tables up to that day. The books given are left as they are.
    """
    day = pd.Timestamp(as_of)
    items = books.items[books.items["bought_on"] <= day].reset_index(drop=True)
    for date, told in _EVENTS.items():
        later = items[date] > day
        if later.any():
            items.loc[later, date] = pd.NaT
            for column in told:
                items.loc[later, column] = pd.NA
            if date == "gone_on":
                items.loc[later, "gone_how"] = ""
    tables = {
        name: table[table[column] <= day].reset_index(drop=True)
        for name, column in _DATED.items()
        if not (table := getattr(books, name)).empty
    }
    return dataclasses.replace(books, items=items, **tables)


def last_recorded_day(books: Books) -> dt.date:
    """The latest day on which the books say that something happened.

    Parameters
    ----------
    books : Books
        The seller's books.

    Returns
    -------
    date
        The latest date in any table, planned months of overheads aside.
    """
    dates = [books.items[column].max() for column in ("bought_on", *_EVENTS)]
    dates += [getattr(books, name)[column].max() for name, column in _DATED.items() if name != "overheads"]
    return max(pd.Timestamp(date) for date in dates if not pd.isna(date)).date()
