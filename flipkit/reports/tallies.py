"""Sums that pages show: lines of the economics, minutes, months, stock, where the figures come from."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from flipkit.assumptions import SIZES
from flipkit.books.schema import ACTIVITIES
from flipkit.economics.items import COSTS, GAINS, LINES

#: What each line is called on a page.
LINE_NAMES = {
    "sold_price": "sold price",
    "shipping_charged": "shipping charged",
    "refund": "refunds",
    "marketplace_fee": "marketplace fees",
    "label": "labels",
    "label_adjustment": "label adjustments",
    "protection": "protection",
    "materials": "packing materials",
    "cost": "cost of goods",
    "trip": "sourcing trips",
    "hired": "hired help",
    "overhead": "overheads",
    "expected_loss": "losses still expected",
}
ORIGINS = ("recorded", "rule", "assumed")


def line_sums(items: pd.DataFrame) -> pd.DataFrame:
    """The waterfall from the sold price to the net, with where each line comes from.

    Parameters
    ----------
    items : DataFrame, n rows
        Items with their lines.

    Returns
    -------
    DataFrame
        One row a line and a last one ``net``: ``line``, ``amount_cents`` (costs negative),
        ``per_item_cents`` (float), and the share of its money that is ``recorded``, follows
        from a ``rule`` or is ``assumed`` (NaN where the line is zero).
    """
    rows = []
    for line in LINES:
        cents = items[f"{line}_cents"].to_numpy(dtype=np.int64)
        origin = items[f"{line}_origin"].to_numpy(dtype=object)
        size = int(np.abs(cents).sum())
        shares = [np.abs(cents[origin == name]).sum() / size if size else np.nan for name in ORIGINS]
        rows.append((LINE_NAMES[line], int(cents.sum()) * (1 if line in GAINS else -1), *shares))
    table = pd.DataFrame(rows, columns=["line", "amount_cents", *ORIGINS])
    net = pd.DataFrame({"line": ["net"], "amount_cents": [int(items["net_cents"].sum())]})
    table = pd.concat([table, net], ignore_index=True)
    table["per_item_cents"] = table["amount_cents"] / len(items) if len(items) else np.nan
    return table[["line", "amount_cents", "per_item_cents", *ORIGINS]]


def origin_mix(items: pd.DataFrame) -> dict[str, float]:
    """How much of the money that moved is recorded, by rule, or assumed.

    Parameters
    ----------
    items : DataFrame, n rows
        Items with their lines.

    Returns
    -------
    dict of str to float
        Shares by origin, summing to one; all NaN where no money moved.
    """
    money = dict.fromkeys(ORIGINS, 0)
    for line in LINES:
        cents = np.abs(items[f"{line}_cents"].to_numpy(dtype=np.int64))
        origin = items[f"{line}_origin"].to_numpy(dtype=object)
        for name in ORIGINS:
            money[name] += int(cents[origin == name].sum())
    total = sum(money.values())
    return {name: amount / total if total else float("nan") for name, amount in money.items()}


def activity_minutes(items: pd.DataFrame, *, by: str | None = None) -> pd.DataFrame:
    """Owner minutes per activity and item.

    Parameters
    ----------
    items : DataFrame, n rows
        Items with their minutes.
    by : str, optional
        Column that names groups to show apart.

    Returns
    -------
    DataFrame
        ``activity``, the group's column if any, ``minutes_per_item``, ``items`` and the share
        of the minutes that was ``logged``.
    """
    rows = []
    groups = [("", items)] if by is None else sorted(items.groupby(by), key=lambda pair: _order(pair[0]))
    for name, group in groups:
        for activity in ACTIVITIES:
            minutes = group[f"{activity}_min"]
            logged = minutes[group[f"{activity}_origin"] == "recorded"].sum()
            total = minutes.sum()
            rows.append(
                (
                    name,
                    activity,
                    minutes.mean() if len(group) else np.nan,
                    len(group),
                    logged / total if total else np.nan,
                )
            )
    table = pd.DataFrame(rows, columns=[by or "group", "activity", "minutes_per_item", "items", "logged"])
    return table if by else table.drop(columns="group")


def _order(name: Any) -> tuple[int, str]:
    """Size classes from small to large, anything else by name."""
    return (SIZES.index(name) if name in SIZES else len(SIZES), str(name))


def by_month(items: pd.DataFrame, *, last: str) -> pd.DataFrame:
    """Sales, net, owner hours and hourly return of each month.

    Parameters
    ----------
    items : DataFrame, n rows
        Items with their economics.
    last : str
        The last month to show.

    Returns
    -------
    DataFrame
        ``month`` (its first day), ``sold``, ``net_cents``, ``owner_min``, ``hourly`` [dollars
        per hour, NaN where nothing sold]; every month from the first sale to the last asked for.
    """
    sold = items[items["sold_on"].notna()]
    months = sold["sold_on"].dt.to_period("M")
    table = sold.groupby(months).agg(
        sold=("item_id", "size"), net_cents=("net_cents", "sum"), owner_min=("owner_min", "sum")
    )
    first = months.min() if len(sold) else pd.Period(last, "M")
    span = pd.period_range(min(first, pd.Period(last, "M")), last, freq="M")
    table = table.reindex(span).fillna({"sold": 0, "net_cents": 0, "owner_min": 0.0})
    table = table.astype({"sold": np.int64, "net_cents": np.int64, "owner_min": np.float64})
    hours = table["owner_min"].to_numpy() / 60
    table["hourly"] = np.divide(
        table["net_cents"].to_numpy() / 100, hours, out=np.full(len(table), np.nan), where=hours > 0
    )
    return table.rename_axis("month").reset_index().assign(month=lambda frame: frame["month"].dt.start_time)


def oldest_stock(unsold: pd.DataFrame, *, rows: int = 12) -> pd.DataFrame:
    """The unsold items that have waited longest.

    Parameters
    ----------
    unsold : DataFrame, n rows
        The unsold items.
    rows : int
        How many at most.

    Returns
    -------
    DataFrame
        ``item_id``, ``title``, ``status``, ``days_held``, ``first_list_price_cents``, ``cost_cents``.
    """
    columns = ["item_id", "title", "status", "days_held", "list_price_cents", "cost_cents"]
    found = unsold.sort_values(["days_held", "item_id"], ascending=[False, True])[columns].head(rows)
    return found.rename(columns={"list_price_cents": "first_list_price_cents"}).reset_index(drop=True)


def item_rows(sold: pd.DataFrame) -> pd.DataFrame:
    """Each sold item in a row, latest sale first.

    Parameters
    ----------
    sold : DataFrame, n rows
        Items sold.

    Returns
    -------
    DataFrame
        ``item_id``, ``title``, ``sold_on``, ``sold_price_cents``, ``costs_cents`` (all costs),
        ``net_cents``, ``owner_min``, ``days_listed``.
    """
    costs = sold[[f"{line}_cents" for line in COSTS]].sum(axis=1)
    columns = [
        "item_id",
        "title",
        "sold_on",
        "sold_price_cents",
        "costs_cents",
        "net_cents",
        "owner_min",
        "days_listed",
    ]
    table = sold.assign(costs_cents=costs).sort_values(["sold_on", "item_id"], ascending=[False, True])
    return table[columns].reset_index(drop=True)
