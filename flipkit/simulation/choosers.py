"""Which categories a simulated seller buys first: by the kit, by rules of thumb, by the truth."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

import numpy as np
import pandas as pd

from flipkit.analysis.groups import Window, in_window
from flipkit.analysis.ratios import ratio_of_sums, ratio_standard_error
from flipkit.analysis.returns import FEW_TRIPS
from flipkit.analysis.shrinkage import pulled, steadied_errors
from flipkit.analysis.stock_value import Horizon, prospect_sums
from flipkit.simulation.kinds import Floats

#: What a way of choosing is given: the items seen so far (as ``observed``), the number of shops,
#: the names of the categories and the day. It returns for each shop and category the weight of
#: one of its finds in the month's hours; equal weights take everything alike.
Chooser = Callable[[pd.DataFrame, int, tuple[str, ...], dt.date], Floats]


def in_order(score: Floats) -> Floats:
    """Weights that stand for an order of preference: the best first, nothing for what loses money.

    Parameters
    ----------
    score : array, shape (copies, k)
        What each category is thought to be worth; NaN where nothing is known.

    Returns
    -------
    array, shape (copies, k)
        Weights, each a million million times the next.
    """
    known = np.where(np.isnan(score), -np.inf, score)
    rank = np.argsort(np.argsort(-known, axis=1, kind="stable"), axis=1)
    return np.where(known > 0, 1e12 ** -rank.astype(np.float64), 0.0)


def grouped_ratio(seen: pd.DataFrame, above: str, below: str | None, copies: int, names: tuple[str, ...]) -> Floats:
    """Sum over sum (or over the count) of each shop and category.

    Parameters
    ----------
    seen : DataFrame
        Items with copy, category and the columns named.
    above, below : str
        The columns; without ``below`` the count of the items stands below the line.
    copies : int
        How many shops.
    names : tuple of str
        The categories.

    Returns
    -------
    array, shape (copies, k)
        The ratios; NaN where nothing stands below the line.
    """
    cell = seen["copy"].to_numpy() * len(names) + pd.Index(names).get_indexer(seen["category"].astype(str))
    size = copies * len(names)
    top = np.bincount(cell, weights=seen[above].to_numpy(dtype=np.float64), minlength=size)
    under = np.bincount(cell, weights=None if below is None else seen[below].to_numpy(dtype=np.float64), minlength=size)
    ratio = np.divide(top, under, out=np.full(size, np.nan), where=under > 0)
    return ratio.reshape(copies, len(names))


def by_profit_per_sale(seen: pd.DataFrame, copies: int, names: tuple[str, ...], day: dt.date) -> Floats:
    """Buy first what brings most a sale: price minus cost and charges, no hours, nothing unsold.

    Parameters
    ----------
    seen : DataFrame
        The items known so far.
    copies : int
        How many shops.
    names : tuple of str
        The categories.
    day : date
        The last day that is known.

    Returns
    -------
    array, shape (copies, k)
        Weight of a find of each category.
    """
    return in_order(grouped_ratio(_sales(seen), "net_cents", None, copies, names))


def by_sold_hourly(seen: pd.DataFrame, copies: int, names: tuple[str, ...], day: dt.date) -> Floats:
    """Buy first what earned most an hour on the things that sold.

    Parameters
    ----------
    seen : DataFrame
        The items known so far.
    copies : int
        How many shops.
    names : tuple of str
        The categories.
    day : date
        The last day that is known.

    Returns
    -------
    array, shape (copies, k)
        Weight of a find of each category.
    """
    return in_order(grouped_ratio(_sales(seen), "net_cents", "owner_min", copies, names))


def by_everything(seen: pd.DataFrame, copies: int, names: tuple[str, ...], day: dt.date) -> Floats:
    """Buy everything as it comes.

    Parameters
    ----------
    seen : DataFrame
        The items known so far.
    copies : int
        How many shops.
    names : tuple of str
        The categories.
    day : date
        The last day that is known.

    Returns
    -------
    array, shape (copies, k)
        Weight of a find of each category.
    """
    return np.ones((copies, len(names)))


def by_the_kit(*, horizon: Horizon, doubt: float, window_months: int, too_few: int) -> Chooser:
    """Buy by the kit: hourly returns on bought basis, pulled towards the whole, the best first.

    Parameters
    ----------
    horizon : Horizon
        How far ahead unsold stock is looked at.
    doubt : float
        How many of its standard errors each figure is raised by: 0 buys what is best by the
        figures as they are; more gives what is little known the benefit of the doubt, as buying
        it is how more becomes known.
    window_months : int
        Months of purchases that the report looks back on.
    too_few : int
        Below this many items bought in them a category is given no hours.

    Returns
    -------
    Chooser
        The way of choosing of a seller who follows the report.
    """

    def choose(seen: pd.DataFrame, copies: int, names: tuple[str, ...], day: dt.date) -> Floats:
        score = np.full((copies, len(names)), np.nan)
        for copy, shop in seen.groupby("copy", sort=True):
            known, value, error = kit_figures(
                shop.reset_index(drop=True),
                horizon=horizon,
                window=(_looked_back(day, window_months), day),
                too_few=too_few,
            )
            score[int(str(copy)), pd.Index(names).get_indexer(pd.Index(known))] = value + doubt * error
        return in_order(score)

    return choose


def kit_figures(
    shop: pd.DataFrame, *, horizon: Horizon, window: Window, too_few: int
) -> tuple[list[str], Floats, Floats]:
    """The kit's hourly returns on bought basis, pulled towards the whole, without their intervals.

    The figures of ``pulled_returns(bought_returns(...))`` in a fraction of the time, of those
    categories of which the report claims anything.

    Parameters
    ----------
    shop : DataFrame
        The items of one shop, as ``observed`` gives them.
    horizon : Horizon
        How far ahead unsold stock is looked at.
    window : tuple of date
        First and last day of the purchases; earlier ones teach the forecasts only.
    too_few : int
        Below this many items nothing is claimed, as below ``FEW_TRIPS`` trips.

    Returns
    -------
    names : list of str
        The categories.
    value, error : array, shape (k,)
        Pulled figures and their errors. [dollars per hour]
    """
    rows = in_window(shop, window=window, basis="bought")
    names, parts, net, minutes = prospect_sums(shop, horizon, inside=shop.index.isin(rows.index), by="category")
    bought = rows.groupby(rows["category"].astype(str))
    known = [str(name) for name in names]
    items, trips = (count.reindex(known).to_numpy() for count in (bought.size(), bought["trip_id"].nunique()))
    hourly = np.array([ratio_of_sums(net[part], minutes[part]) for part in parts]) * 0.6
    own = [ratio_standard_error(net[part], minutes[part], clusters_correction=True) * 0.6 for part in parts]
    hours = np.array([minutes[part].sum() / 60 for part in parts])
    found = pulled(hourly, steadied_errors(own, trips, hours))
    claimed = (items >= too_few) & (trips >= FEW_TRIPS)
    kept = [name for name, sure in zip(known, claimed, strict=True) if sure]
    return kept, found.value[claimed], found.error[claimed]


def knowing(truth: pd.DataFrame) -> Chooser:
    """Buy first what truly earns most an hour.

    Parameters
    ----------
    truth : DataFrame
        As ``true_returns`` gives it.

    Returns
    -------
    Chooser
        The way of choosing of the seller who knows.
    """

    def choose(seen: pd.DataFrame, copies: int, names: tuple[str, ...], day: dt.date) -> Floats:
        best = in_order(truth.loc[list(names), "hourly_bought"].to_numpy(dtype=np.float64)[None, :])
        return np.repeat(best, copies, axis=0)

    return choose


def _sales(seen: pd.DataFrame) -> pd.DataFrame:
    return seen[seen["status"].isin(["sold", "returned"])]


def _looked_back(day: dt.date, months: int) -> dt.date:
    """First day of the months that end with a day."""
    start: pd.Timestamp = pd.Timestamp(day) + pd.Timedelta(days=1) - pd.DateOffset(months=months)
    return start.date()
