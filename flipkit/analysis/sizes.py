"""Bulky against small: what each size class earns an hour, and what it takes to earn it.

Bulky things often sell dear, so a plain comparison mixes size with price. The comparison within
equal price bands takes the price out of it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from flipkit.analysis.bought import bought_returns
from flipkit.analysis.groups import Window, in_window
from flipkit.analysis.returns import category_returns
from flipkit.analysis.stock_value import Horizon
from flipkit.analysis.survival import days_to_sale
from flipkit.errors import AssumptionError

#: Size classes, small to large.
SIZE_ORDER = ("small", "medium", "bulky", "oversize")
CUBIC_INCHES = 1728.0


def by_size(
    economics: pd.DataFrame,
    *,
    window: Window,
    basis: str = "sold",
    confidence: float,
    resamples: int,
    seed: int,
    too_few: int,
    target: float | None = None,
    horizon: Horizon | None = None,
) -> pd.DataFrame:
    """What each size class earns, ties up and takes, small to large.

    Parameters
    ----------
    economics : DataFrame
        One row an item, as ``item_economics`` gives it.
    window : tuple of date
        First and last day, both included.
    basis : "sold" or "bought"
        Whether the sale or the purchase must lie in the window.
    confidence : float
        How often an interval is meant to hold the truth.
    resamples : int
        How many times the trips are drawn anew.
    seed : int
        Start of the draws.
    too_few : int
        Below this many items no interval is claimed.
    target : float, optional
        What an hour should bring, for the words. [dollars per hour]
    horizon : Horizon, optional
        On bought basis: how far ahead unsold stock is valued, as in ``bought_returns``; left
        out, it counts with what it cost so far.

    Returns
    -------
    DataFrame
        The columns of ``category_returns`` (or ``bought_returns``) by ``size_class``, and beside them: per sale
        ``net_per_sale_cents``, ``label_per_sale_cents``, ``minutes_per_sale``,
        ``pack_min_per_sale``, ``returned_share`` (sales that came back or were refunded),
        ``loss_per_sale_cents`` (refunds, later label adjustments and expected loss);
        ``cubic_ft`` of the mean packed parcel; of all stock now in hand, whenever bought:
        ``stock_items``, ``stock_cost_cents`` (capital tied up), ``stock_cubic_ft``; of all items
        ever listed: ``days_to_sale`` (median, unsold ones counted) with ``days_low`` and
        ``days_high``, NaN where the median is not reached.

    Raises
    ------
    AssumptionError
        If the basis is unknown or the interval's settings make no interval.

    Examples
    --------
    The function needs the whole frame of ``item_economics``; see ``tests/analysis``.
    """
    settings: dict[str, Any] = {"confidence": confidence, "resamples": resamples, "seed": seed}
    settings |= {"window": window, "by": "size_class", "too_few": too_few, "target": target}
    if basis == "bought" and horizon is not None:
        table = bought_returns(economics, horizon=horizon, **settings)
    else:
        table = category_returns(economics, basis=basis, **settings)
    inside = in_window(economics, window=window, basis=basis)
    sizes = [size for size in SIZE_ORDER if (economics["size_class"] == size).any()]
    rows = [_size_facts(size, inside, economics, confidence) for size in sizes]
    facts = pd.DataFrame(rows, columns=_FACTS)
    known = table.set_index("size_class").reindex([size for size in sizes if size in set(table["size_class"])])
    return known.reset_index().merge(facts, on="size_class", how="left")


_FACTS = [
    "size_class",
    "net_per_sale_cents",
    "label_per_sale_cents",
    "minutes_per_sale",
    "pack_min_per_sale",
    "returned_share",
    "loss_per_sale_cents",
    "cubic_ft",
    "stock_items",
    "stock_cost_cents",
    "stock_cubic_ft",
    "days_to_sale",
    "days_low",
    "days_high",
]


def cubic_feet(items: pd.DataFrame) -> pd.Series:
    """Space of each packed parcel.

    Parameters
    ----------
    items : DataFrame
        With ``length_in``, ``width_in`` and ``height_in``.

    Returns
    -------
    Series
        The volume. [cu ft]

    Examples
    --------
    >>> cubic_feet(pd.DataFrame({"length_in": [12.0], "width_in": [12.0], "height_in": [24.0]})).tolist()
    [2.0]
    """
    return items["length_in"] * items["width_in"] * items["height_in"] / CUBIC_INCHES


def in_stock(items: pd.DataFrame) -> pd.Series:
    """Whether each item is still in the seller's hands: never sold or come back, and not gone.

    Parameters
    ----------
    items : DataFrame
        With ``status``.

    Returns
    -------
    Series of bool
        Whether it is in stock.

    Examples
    --------
    >>> in_stock(pd.DataFrame({"status": ["sold", "for sale", "returned", "gone"]})).tolist()
    [False, True, True, False]
    """
    return items["status"].isin(["for sale", "not listed", "returned"])


def within_price_bands(
    economics: pd.DataFrame,
    *,
    window: Window,
    edges_cents: Sequence[int],
    confidence: float,
    resamples: int,
    seed: int,
    too_few: int,
    target: float | None = None,
) -> pd.DataFrame:
    """Hourly return of each size class among sales of about the same price.

    Parameters
    ----------
    economics : DataFrame
        One row an item, as ``item_economics`` gives it.
    window : tuple of date
        First and last day of the sales, both included.
    edges_cents : sequence of int
        Where one band ends and the next begins, rising; the first band reaches down to nothing
        and the last one has no upper end. ``price_bands`` proposes some. [cents]
    confidence : float
        How often an interval is meant to hold the truth.
    resamples : int
        How many times the trips are drawn anew.
    seed : int
        Start of the draws.
    too_few : int
        Below this many items no interval is claimed.
    target : float, optional
        What an hour should bring, for the words. [dollars per hour]

    Returns
    -------
    DataFrame
        One row a band and size class that has sales: ``band`` (0 the cheapest),
        ``from_cents``, ``below_cents`` (missing for the open one), ``size_class`` and the
        columns of ``category_returns``.

    Raises
    ------
    AssumptionError
        If the edges do not rise.

    Examples
    --------
    The function needs the frame of ``item_economics``; see ``tests/analysis``.
    """
    edges = np.asarray(edges_cents, dtype=np.int64)
    if edges.size and ((np.diff(edges) <= 0).any() or edges[0] <= 0):
        raise AssumptionError("edges_cents", need="rising amounts above 0", got=list(edges_cents))
    sold = in_window(economics, window=window, basis="sold")
    band = np.searchsorted(edges, sold["sold_price_cents"].to_numpy(dtype=np.int64), side="right")
    parts = []
    for at in range(edges.size + 1):
        part = sold.loc[band == at]
        # With no sale at all the one empty band still gives the table its columns.
        if part.empty and len(sold):
            continue
        # Each band has draws of its own, as each group within it does.
        table = category_returns(
            part.assign(size_class=part["size_class"].astype(object)),
            window=window,
            by="size_class",
            confidence=confidence,
            resamples=resamples,
            seed=seed + 1 + at,
            too_few=too_few,
            target=target,
        )
        table.insert(0, "band", at)
        table.insert(1, "from_cents", int(edges[at - 1]) if at else 0)
        table.insert(2, "below_cents", int(edges[at]) if at < edges.size else pd.NA)
        parts.append(table)
    joined = pd.concat(parts, ignore_index=True)
    joined["below_cents"] = joined["below_cents"].astype("Int64")
    rank = joined["size_class"].map({size: at for at, size in enumerate(SIZE_ORDER)})
    return joined.iloc[np.lexsort((rank, joined["band"]))].reset_index(drop=True)


def price_bands(sold_price_cents: pd.Series, *, bands: int) -> list[int]:
    """Edges of price bands that hold about equally many sales, in whole dollars.

    Parameters
    ----------
    sold_price_cents : Series
        Sold prices. [cents]
    bands : int
        How many bands.

    Returns
    -------
    list of int
        Rising edges, fewer than asked for where prices repeat. [cents]

    Raises
    ------
    AssumptionError
        If there is not at least one band.

    Examples
    --------
    >>> price_bands(pd.Series([1000, 2000, 3000, 4000]), bands=2)
    [2500]
    """
    if bands < 1:
        raise AssumptionError("bands", need="at least 1", got=bands)
    prices = sold_price_cents.to_numpy(dtype=np.float64)
    if not prices.size:
        return []
    cuts = np.quantile(prices, np.arange(1, bands) / bands)
    edges = np.unique(np.round(cuts / 100).astype(np.int64) * 100)
    return [int(edge) for edge in edges if edge > 0]


def _size_facts(size: str, inside: pd.DataFrame, economics: pd.DataFrame, confidence: float) -> list[object]:
    mine = economics.loc[economics["size_class"] == size]
    sold = inside.loc[(inside["size_class"] == size) & inside["sold_on"].notna()]
    stock = mine.loc[in_stock(mine)]
    listed = mine.loc[mine["days_listed"].notna()]
    days = days_to_sale(listed["days_listed"], listed["sold_on"].notna(), confidence=confidence)
    back = sold["refund_cents"] > 0
    loss = sold["refund_cents"] + sold["label_adjustment_cents"] + sold["expected_loss_cents"]
    return [
        size,
        _mean(sold["net_cents"]),
        _mean(sold["label_cents"]),
        _mean(sold["owner_min"]),
        _mean(sold["pack_min"]),
        _mean(back),
        _mean(loss),
        _mean(cubic_feet(mine)),
        len(stock),
        int(stock["cost_cents"].sum()),
        float(cubic_feet(stock).sum()),
        *days,
    ]


def _mean(values: pd.Series) -> float:
    return float(values.mean()) if len(values) else math.nan
