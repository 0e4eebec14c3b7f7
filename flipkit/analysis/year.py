"""The goods of a span of days: what was there, what came, what left, each item at its own cost."""

from __future__ import annotations

import datetime as dt

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.groups import Window

#: Where an item can be at the end of a day.
NOT_YET, HELD, SOLD, GONE = "not yet bought", "held", "sold", "gone"


def whereabouts(items: pd.DataFrame, *, on: dt.date) -> npt.NDArray[np.object_]:
    """Where each item was at the end of a day.

    Parameters
    ----------
    items : DataFrame, n rows
        ``bought_on``, ``sold_on``, ``returned_on`` and ``gone_on``.
    on : date
        The day.

    Returns
    -------
    array of str, shape (n,)
        ``not yet bought``, ``held``, ``sold`` (and not given back by then) or ``gone`` otherwise.

    Examples
    --------
    >>> days = {"bought_on": ["2026-01-05"], "sold_on": ["2026-02-01"], "returned_on": ["2026-02-20"]}
    >>> rows = pd.DataFrame({name: pd.to_datetime(day) for name, day in days.items()}).assign(gone_on=pd.NaT)
    >>> [str(whereabouts(rows, on=dt.date(2026, m, 10))[0]) for m in (1, 2, 3)]
    ['held', 'sold', 'held']
    """
    day = pd.Timestamp(on)
    bought, sold, back, gone = (
        (items[name] <= day).to_numpy(dtype=bool) for name in ("bought_on", "sold_on", "returned_on", "gone_on")
    )
    return np.select([~bought, gone, sold & ~back], [NOT_YET, GONE, SOLD], HELD).astype(object)


def goods_flow(items: pd.DataFrame, *, window: Window) -> dict[str, int]:
    """Cost of goods sold by specific identification: the cost of the very items that left.

    Parameters
    ----------
    items : DataFrame, n rows
        The days of each item, its ``cost_cents``, and ``gone_how`` of what left unsold.
    window : tuple of date
        First and last day, both included.

    Returns
    -------
    dict of str to int
        ``opening``, ``purchases``, ``kept`` (withdrawn for the owner's own use), ``given`` (donated
        or thrown away), ``sold`` and ``closing``, at cost. [cents]
        Opening and purchases are together exactly the other four.

    References
    ----------
    ``accounting-periods-538`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> days = {"bought_on": ["2025-12-01", "2026-01-05"], "sold_on": ["2026-02-01", None],
    ...     "returned_on": [None, None], "gone_on": [None, None]}
    >>> rows = pd.DataFrame({name: pd.to_datetime(day) for name, day in days.items()})
    >>> rows["cost_cents"], rows["gone_how"] = [1000, 250], ""
    >>> goods_flow(rows, window=(dt.date(2026, 1, 1), dt.date(2026, 12, 31)))
    {'opening': 1000, 'purchases': 250, 'kept': 0, 'given': 0, 'sold': 1000, 'closing': 250}
    """
    first, last = window
    before = whereabouts(items, on=first - dt.timedelta(days=1))
    after = whereabouts(items, on=last)
    cost = items["cost_cents"].to_numpy(dtype=np.int64)
    kept = (items["gone_how"] == "kept").to_numpy(dtype=bool)

    def at_cost(which: npt.NDArray[np.bool_]) -> int:
        return int(cost[which].sum())

    def left(state: str, of: npt.NDArray[np.bool_]) -> int:
        # What came back from a sale of an earlier year is taken off again.
        return at_cost((after == state) & of) - at_cost((before == state) & of)

    every = np.ones(len(items), dtype=bool)
    return {
        "opening": at_cost(before == HELD),
        "purchases": at_cost((before == NOT_YET) & (after != NOT_YET)),
        "kept": left(GONE, kept),
        "given": left(GONE, ~kept),
        "sold": left(SOLD, every),
        "closing": at_cost(after == HELD),
    }
