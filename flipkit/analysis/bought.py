"""True hourly return on bought basis, unsold stock entering with what it may still bring."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from flipkit.analysis.groups import Window, group_counts, in_window
from flipkit.analysis.ratio_stats import parent_normals, ratio_interval, require_interval_settings
from flipkit.analysis.returns import SHOP, category_returns, returns_table, true_hourly_return
from flipkit.analysis.stock_value import Horizon, Shelves, prospect_sums, stock_prospects


def bought_returns(
    economics: pd.DataFrame,
    *,
    window: Window,
    horizon: Horizon,
    by: str = "category",
    confidence: float,
    resamples: int,
    seed: int,
    too_few: int,
    target: float | None = None,
) -> pd.DataFrame:
    """Hourly return of what was bought in a window, per group, best first.

    Sold items count as they are; unsold ones with what they cost and took so far, what they may
    still bring and the work that they still need. The interval holds the uncertainty of those
    forecasts too.

    Parameters
    ----------
    economics : DataFrame
        One row an item, as ``item_economics`` gives it; items outside the window teach the
        forecasts.
    window : tuple of date
        First and last day of the purchases, both included.
    horizon : Horizon
        How far ahead is looked, and the salvage.
    by : str
        Column that names the group.
    confidence : float
        How often an interval is meant to hold the truth.
    resamples : int
        How many times the trips are drawn anew.
    seed : int
        Start of the draws; a group's draws do not depend on the other groups.
    too_few : int
        Below this many items no interval is claimed.
    target : float, optional
        What an hour should bring, for the words. [dollars per hour]

    Returns
    -------
    DataFrame
        The columns of ``category_returns`` (``net_cents`` and ``owner_min`` are so far), and
        ``unsold`` (in stock), ``may_bring_cents``, ``still_to_do_min``, ``expected_net_cents``,
        ``expected_min`` and ``hourly_so_far`` (unsold stock at what it cost so far).

    Raises
    ------
    AssumptionError
        If the interval's settings make no interval.

    Examples
    --------
    The function needs the frame of ``item_economics``; see ``tests/analysis``.
    """
    require_interval_settings(confidence, resamples)
    rows = in_window(economics, window=window, basis="bought")
    shelves = Shelves(economics, horizon)
    inside = economics.index.isin(rows.index)
    names, trips, net, minutes = prospect_sums(economics, horizon, inside=inside, by=by, shelves=shelves)
    largest = max((len(part) for part in trips), default=0)
    normals = parent_normals(largest, resamples=resamples, seed=seed)
    intervals = [
        ratio_interval(
            net[part], minutes[part], confidence=confidence, resamples=resamples, seed=seed, name=name, normals=normals
        )
        for name, part in zip(names, trips, strict=True)
    ]
    table = returns_table(group_counts(rows, by=by, names=names), intervals, too_few=too_few, target=target)
    prospects = (
        stock_prospects(economics, horizon, shelves=shelves).loc[rows.index].assign(group=rows[by].astype(object))
    )
    prospects["unsold"] = rows["status"].isin(["for sale", "not listed", "returned"])
    sums = prospects.groupby("group").sum(numeric_only=True).reindex(names)
    table["unsold"] = sums["unsold"].to_numpy(dtype=np.int64)
    table["may_bring_cents"] = np.rint(sums["value_cents"].to_numpy()).astype(np.int64)
    table["still_to_do_min"] = sums["work_min"].to_numpy()
    table["expected_net_cents"] = table["net_cents"] + table["may_bring_cents"]
    table["expected_min"] = table["owner_min"] + table["still_to_do_min"]
    table["hourly_so_far"] = [
        true_hourly_return([net], [spent]) for net, spent in zip(table["net_cents"], table["owner_min"], strict=True)
    ]
    order = np.lexsort((table[by].astype(str), -table["hourly"].fillna(-math.inf)))
    return table.iloc[order].reset_index(drop=True)


def shop_bought_return(
    economics: pd.DataFrame,
    *,
    window: Window,
    horizon: Horizon,
    confidence: float,
    resamples: int,
    seed: int,
    too_few: int,
    target: float | None = None,
) -> pd.DataFrame:
    """Hourly return of all that was bought in a window: one row shaped like ``bought_returns``.

    Parameters
    ----------
    economics : DataFrame
        One row an item, as ``item_economics`` gives it.
    window : tuple of date
        First and last day of the purchases, both included.
    horizon : Horizon
        How far ahead is looked, and the salvage.
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
        One row, its ``category`` "whole shop"; none where nothing was bought in the window.

    Raises
    ------
    AssumptionError
        If the interval's settings make no interval.

    Examples
    --------
    The function needs the frame of ``item_economics``; see ``tests/analysis``.
    """
    found = bought_returns(
        economics.assign(shop=SHOP),
        window=window,
        horizon=horizon,
        by="shop",
        confidence=confidence,
        resamples=resamples,
        seed=seed,
        too_few=too_few,
        target=target,
    )
    return found.rename(columns={"shop": "category"})


def both_bases(
    economics: pd.DataFrame,
    *,
    window: Window,
    horizon: Horizon,
    by: str = "category",
    confidence: float,
    resamples: int,
    seed: int,
    too_few: int,
    target: float | None = None,
) -> pd.DataFrame:
    """Sold basis and bought basis side by side, best on bought basis first.

    Parameters
    ----------
    economics : DataFrame
        One row an item, as ``item_economics`` gives it.
    window : tuple of date
        First and last day, of the sales on one basis and of the purchases on the other.
    horizon : Horizon
        How far ahead is looked, and the salvage.
    by : str
        Column that names the group.
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
        One row a group on either basis; the columns of both tables with ``sold_`` and
        ``bought_`` before their names, and ``gap`` (sold basis less bought basis: what
        forgetting the unsold ones makes a category look better by). [dollars per hour]

    Raises
    ------
    AssumptionError
        If the interval's settings make no interval.

    Examples
    --------
    The function needs the frame of ``item_economics``; see ``tests/analysis``.
    """
    shared = {"by": by, "confidence": confidence, "resamples": resamples, "seed": seed}
    settings = {**shared, "window": window, "too_few": too_few, "target": target}
    sold = category_returns(economics, basis="sold", **settings)  # type: ignore[arg-type]
    bought = bought_returns(economics, horizon=horizon, **settings)  # type: ignore[arg-type]
    return side_by_side(sold, bought, by=by)


def side_by_side(sold: pd.DataFrame, bought: pd.DataFrame, *, by: str = "category") -> pd.DataFrame:
    """Two tables of returns joined, as ``both_bases`` gives them.

    Parameters
    ----------
    sold : DataFrame
        As ``category_returns`` gives it on sold basis.
    bought : DataFrame
        As ``bought_returns`` gives it.
    by : str
        Column that names the group.

    Returns
    -------
    DataFrame
        One row a group on either basis, best on bought basis first.

    Examples
    --------
    >>> sold = pd.DataFrame({"category": ["lamps"], "hourly": [20.0]})
    >>> bought = pd.DataFrame({"category": ["games", "lamps"], "hourly": [6.0, 15.0]})
    >>> side_by_side(sold, bought)[["category", "gap"]].values.tolist()
    [['lamps', 5.0], ['games', nan]]
    """
    joined = pd.merge(
        sold.rename(columns={name: f"sold_{name}" for name in sold if name != by}),
        bought.rename(columns={name: f"bought_{name}" for name in bought if name != by}),
        on=by,
        how="outer",
    )
    joined["gap"] = joined["sold_hourly"] - joined["bought_hourly"]
    order = np.lexsort((joined[by].astype(str), -joined["bought_hourly"].fillna(-math.inf)))
    return joined.iloc[order].reset_index(drop=True)
