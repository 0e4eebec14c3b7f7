"""Which items count, and what they sum to by group and sourcing trip."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.errors import AssumptionError

#: Date column that places an item in a window, by basis.
BASES = {"sold": "sold_on", "bought": "bought_on"}

Window = tuple[dt.date, dt.date]


def in_window(economics: pd.DataFrame, *, window: Window, basis: str) -> pd.DataFrame:
    """The items of a window, by the day of their sale or of their purchase.

    Parameters
    ----------
    economics : DataFrame
        One row an item.
    window : tuple of date
        First and last day, both included.
    basis : "sold" or "bought"
        Which day counts. A sale that came back was a sale: its refund and its hours count.

    Returns
    -------
    DataFrame
        The rows inside, in their order.

    Raises
    ------
    AssumptionError
        If the basis is unknown, or the window ends before it begins.

    Examples
    --------
    >>> rows = pd.DataFrame({"sold_on": pd.to_datetime(["2026-01-31", "2026-02-01", None])})
    >>> len(in_window(rows, window=(dt.date(2026, 1, 1), dt.date(2026, 1, 31)), basis="sold"))
    1
    """
    if basis not in BASES:
        raise AssumptionError("basis", need="'sold' or 'bought'", got=basis)
    first, last = (pd.Timestamp(day) for day in window)
    if last < first:
        raise AssumptionError("window", need="a first day no later than its last", got=f"{first:%F} to {last:%F}")
    day = economics[BASES[basis]]
    return economics.loc[((day >= first) & (day <= last)).to_numpy(dtype=bool)]


def trip_sums(
    items: pd.DataFrame, *, by: str
) -> tuple[list[Any], list[npt.NDArray[np.intp]], npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Net and owner minutes summed over the items of each group and trip.

    Parameters
    ----------
    items : DataFrame
        One row an item, with ``trip_id``, ``net_cents`` and ``owner_min``.
    by : str
        Column that names the group.

    Returns
    -------
    tuple
        Names of the groups, sorted; for each the positions of its trips in the two arrays of
        sums; the net sums [cents]; the minutes [min].

    Examples
    --------
    >>> rows = pd.DataFrame({"category": ["a", "a", "b"], "trip_id": ["t", "t", "t"],
    ...     "net_cents": [1, 2, 5], "owner_min": [1.0, 1.0, 4.0]})
    >>> names, trips, net, minutes = trip_sums(rows, by="category")
    >>> names, [part.tolist() for part in trips], net.tolist()
    (['a', 'b'], [[0], [1]], [3.0, 5.0])
    """
    group, labels = pd.factorize(items[by].astype(object), sort=True)
    trip, trip_labels = pd.factorize(items["trip_id"].astype(object), sort=True)
    cell, where = np.unique(group * max(len(trip_labels), 1) + trip, return_inverse=True)
    net, minutes = coded_sums(items["net_cents"], where), coded_sums(items["owner_min"], where)
    owner = cell // max(len(trip_labels), 1)
    return list(labels), [np.flatnonzero(owner == at) for at in range(len(labels))], net, minutes


def group_counts(items: pd.DataFrame, *, by: str, names: Sequence[Any]) -> pd.DataFrame:
    """Items, trips, sales, exact net and owner minutes of each group.

    Parameters
    ----------
    items : DataFrame
        One row an item.
    by : str
        Column that names the group.
    names : sequence
        The groups, in the order of the rows.

    Returns
    -------
    DataFrame
        The group's column, ``items``, ``trips``, ``sold``, ``net_cents`` (int64), ``owner_min``.

    Examples
    --------
    >>> rows = pd.DataFrame({"category": ["a"], "trip_id": ["t"], "sold_on": pd.to_datetime(["2026-01-02"]),
    ...     "net_cents": [7], "owner_min": [3.0]})
    >>> group_counts(rows, by="category", names=["a", "b"])["items"].tolist()
    [1, 0]
    """
    grouped = items.groupby(by, sort=False)
    counts = pd.DataFrame(
        {
            "items": grouped.size(),
            "trips": grouped["trip_id"].nunique(),
            "sold": grouped["sold_on"].count(),
            "net_cents": grouped["net_cents"].sum(),
            "owner_min": grouped["owner_min"].sum(),
        }
    ).reindex(pd.Index(names, dtype=object, name=by))
    whole = ["items", "trips", "sold", "net_cents"]
    counts[whole] = counts[whole].fillna(0).astype(np.int64)
    counts["owner_min"] = counts["owner_min"].fillna(0.0).astype(np.float64)
    return counts.reset_index()


def coded_sums(values: npt.ArrayLike, code: npt.NDArray[np.intp]) -> npt.NDArray[np.float64]:
    """Sums of values that carry the same code.

    Parameters
    ----------
    values : array, shape (n,)
        Values; whole cents stay exact up to ninety trillion dollars.
    code : array of int, shape (n,)
        Code of each value, from 0.

    Returns
    -------
    array, shape (largest code + 1,)
        The sums.

    Examples
    --------
    >>> coded_sums([5, 7, 1], np.array([0, 1, 0])).tolist()
    [6.0, 7.0]
    """
    return np.bincount(code, weights=np.asarray(values, dtype=np.float64)).astype(np.float64)
