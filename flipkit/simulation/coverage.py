"""How often the kit's intervals hold the truth, over many simulated shops."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flipkit.analysis.bought import bought_returns
from flipkit.analysis.returns import category_returns
from flipkit.analysis.stock_value import Horizon
from flipkit.simulation.observed import observed
from flipkit.simulation.scenarios import FIRST_DAY, LAST_DAY, Scenario, shops_with
from flipkit.simulation.truth import true_returns

#: What the report's own settings are, here as arguments to every measurement.
BASES = ("sold", "bought")


def scenario_truth(scenario: Scenario, *, horizon: Horizon, items: int, seed: int) -> pd.DataFrame:
    """The truth that intervals of a scenario are held against.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    horizon : Horizon
        How far ahead unsold stock is looked at.
    items : int
        Size of the large sample.
    seed : int
        Its seed.

    Returns
    -------
    DataFrame
        As ``true_returns`` gives it, on the last day of buying and with that horizon.
    """
    return true_returns(scenario.shop, seed=seed, items=items, as_of=LAST_DAY, horizon_days=horizon.days)


def shop_intervals(
    scenario: Scenario,
    *,
    items_each: int,
    shops: int,
    seed: int,
    horizon: Horizon,
    confidence: float,
    resamples: int,
    too_few: int,
) -> pd.DataFrame:
    """The kit's intervals in many shops of a scenario, on both bases.

    Parameters
    ----------
    scenario : Scenario
        The scenario; only its focal categories are told.
    items_each : int
        Items bought of every category.
    shops : int
        How many shops.
    seed : int
        Seed of the shops.
    horizon : Horizon
        How far ahead unsold stock is looked at, and what it brings when cleared.
    confidence : float
        How often an interval is meant to hold the truth.
    resamples : int
        How many times the trips are drawn anew.
    too_few : int
        Below this many items no interval is claimed.

    Returns
    -------
    DataFrame
        One row a shop, focal category and basis: copy, category, basis, items, sold, hourly,
        low, high, bca_low, bca_high, claimed.
    """
    drawn = shops_with(scenario.shop, items_each=items_each, copies=shops, seed=seed)
    seen = observed(drawn, as_of=LAST_DAY)
    window = (FIRST_DAY, LAST_DAY)
    found = []
    for copy, shop in seen.groupby("copy", sort=True):
        shop = shop.reset_index(drop=True)
        shared = {"window": window, "confidence": confidence, "resamples": resamples, "seed": seed, "too_few": too_few}
        focal = shop[shop["category"].isin(scenario.focus)]
        sold = category_returns(focal, basis="sold", **shared)  # type: ignore[arg-type]
        bought = bought_returns(shop, horizon=horizon, **shared)  # type: ignore[arg-type]
        found += [sold.assign(copy=copy, basis="sold"), bought.assign(copy=copy, basis="bought")]
    table = pd.concat(found, ignore_index=True)
    names = ["copy", "category", "basis", "items", "sold", "hourly", "low", "high", "bca_low", "bca_high", "claimed"]
    return table.loc[table["category"].isin(scenario.focus), names].reset_index(drop=True)


def coverage(intervals: pd.DataFrame, truth: pd.DataFrame) -> pd.DataFrame:
    """How often intervals hold the truth.

    Parameters
    ----------
    intervals : DataFrame
        As ``shop_intervals`` gives it.
    truth : DataFrame
        As ``scenario_truth`` gives it.

    Returns
    -------
    DataFrame
        One row a basis: shops, claimed_share (of the shop's categories that an interval was
        claimed for), held (of the claimed), held_error (its standard error over shops),
        too_high (the whole interval above the truth), too_low, bca_held (the textbook
        bootstrap), width (median, in dollars an hour), bias (mean estimate less the truth).

    Examples
    --------
    >>> one = pd.DataFrame({"copy": [0, 1], "category": ["a", "a"], "basis": ["sold", "sold"],
    ...     "hourly": [9.0, 12.0], "low": [5.0, 11.0], "high": [15.0, 14.0],
    ...     "bca_low": [5.0, 11.0], "bca_high": [9.5, 14.0], "claimed": [True, True]})
    >>> truth = pd.DataFrame({"hourly_sold": [10.0]}, index=["a"])
    >>> coverage(one, truth).loc["sold", ["held", "too_high", "bca_held"]].tolist()
    [0.5, 0.5, 0.0]
    """
    rows = {}
    for basis, part in intervals.groupby("basis", sort=False):
        true = part["category"].astype(object).map(truth[f"hourly_{basis}"]).to_numpy(dtype=np.float64)
        claimed = part["claimed"].to_numpy(dtype=bool)
        low, high = part["low"].to_numpy()[claimed], part["high"].to_numpy()[claimed]
        held = (low <= true[claimed]) & (true[claimed] <= high)
        by_shop = pd.Series(held.astype(np.float64)).groupby(part["copy"].to_numpy()[claimed]).agg(["sum", "size"])
        gap = by_shop["sum"] - held.mean() * by_shop["size"]
        bca = (part["bca_low"].to_numpy()[claimed] <= true[claimed]) & (
            true[claimed] <= part["bca_high"].to_numpy()[claimed]
        )
        rows[basis] = {
            "shops": part["copy"].nunique(),
            "claimed_share": claimed.mean(),
            "held": held.mean(),
            "held_error": float(np.sqrt((gap**2).sum()) / max(by_shop["size"].sum(), 1)),
            "too_high": (low > true[claimed]).mean(),
            "too_low": (high < true[claimed]).mean(),
            "bca_held": bca.mean(),
            "width": float(np.median(high - low)) if claimed.any() else np.nan,
            "bias": float(np.nanmean(part["hourly"].to_numpy() - true)),
        }
    return pd.DataFrame(rows).T
