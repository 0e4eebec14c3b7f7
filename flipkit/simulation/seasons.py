"""A year of buying in a simulated shop, by one way of choosing after another.

All sellers meet the same finds, have the same hours a month and the same months of history in
which everything was bought a little. They differ in one thing: which categories they buy first.
What they earn is what their purchases bring on average under the generator, so that luck after
the choice does not blur the comparison.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.groups import Window, in_window
from flipkit.analysis.hourly import FEW_TRIPS
from flipkit.analysis.prospects import Horizon, prospect_sums
from flipkit.analysis.ratios import ratio_of_sums, ratio_standard_error
from flipkit.analysis.shrinkage import pulled, steadied_errors
from flipkit.simulation.histories import Histories
from flipkit.simulation.kinds import Floats, Shop
from flipkit.simulation.observed import observed
from flipkit.simulation.scenarios import shops_with
from flipkit.simulation.truth import true_returns

Ints = npt.NDArray[np.int64]

#: What a way of choosing is given: the items seen so far (as ``observed``), the number of shops,
#: the names of the categories and the day. It returns for each shop and category the weight of
#: one of its finds in the month's hours; equal weights take everything alike.
Chooser = Callable[[pd.DataFrame, int, tuple[str, ...], dt.date], Floats]


@dataclass(frozen=True, kw_only=True)
class Season:
    """The setting that all sellers share.

    Parameters
    ----------
    shop : Shop
        The shop that is drawn.
    finds : Histories
        Everything that could be bought in each copy, in order of day.
    month : array, shape (n,)
        Month of each find, 0 the first of the history.
    truth : DataFrame
        True returns per category.
    history_months, months : int
        Months of history, and months of choosing after it.
    hours : float
        Owner hours of the things bought in a month. [h]
    """

    shop: Shop
    finds: Histories
    month: Ints
    truth: pd.DataFrame
    history_months: int
    months: int
    hours: float


def season(
    shop: Shop,
    *,
    copies: int,
    seed: int,
    history_months: int = 12,
    months: int = 12,
    bought_a_month: int = 5,
    finds_a_month: int = 10,
    truth_items: int = 400_000,
) -> Season:
    """Draw the finds of many shops for a year of choosing.

    Before it lie months of history, in which the seller bought some of everything. The hours
    stay what they were then; only what they are spent on is chosen.

    Parameters
    ----------
    shop : Shop
        The shop.
    copies : int
        How many shops.
    seed : int
        Seed.
    history_months, months : int
        Months of history, and months of choosing after it.
    bought_a_month : int
        Things of each category that the seller bought in each month of history.
    finds_a_month : int
        Finds of each category in a month of choosing, on average.
    truth_items : int
        Size of the sample behind the truth.

    Returns
    -------
    Season
        The setting.
    """
    length = history_months + months
    first = shop.first_day
    last = _months_later(first, length)
    longer = dataclasses.replace(shop, last_day=last - dt.timedelta(days=1))
    finds = shops_with(longer, items_each=finds_a_month * length, copies=copies, seed=seed)
    bought = pd.DatetimeIndex(finds.items["bought_on"])
    month = np.asarray((bought.year - first.year) * 12 + bought.month - first.month, dtype=np.int64)
    # In the months of history the seller buys a few of each: the first ones found.
    rank = finds.items.groupby([finds.items["copy"], finds.items["category"], month], observed=True).cumcount()
    keep = ((month >= history_months) | (rank < bought_a_month)).to_numpy()
    items = finds.items[keep].reset_index(drop=True)
    truth = true_returns(shop, seed=seed + 1, items=truth_items)
    hours = bought_a_month * float(truth["bought_min"].sum()) / 60.0
    return Season(
        shop=longer,
        finds=dataclasses.replace(finds, items=items),
        month=month[keep],
        truth=truth,
        history_months=history_months,
        months=months,
        hours=hours,
    )


def earnings(setting: Season, choose: Chooser) -> Floats:
    """What each copy of a seller earns in the months of choosing, by one way of choosing.

    Parameters
    ----------
    setting : Season
        The setting.
    choose : Chooser
        The way of choosing.

    Returns
    -------
    array, shape (copies,)
        What the purchases bring on average under the generator, before overheads. [dollars]
    """
    names = setting.shop.names
    items = setting.finds.items
    kind = items["kind"].to_numpy()
    copy = items["copy"].to_numpy()
    copies = int(copy.max()) + 1
    owned = setting.month < setting.history_months
    minutes = setting.truth.loc[list(names), "bought_min"].to_numpy(dtype=np.float64)
    worth = setting.truth.loc[list(names), "net_bought_cents"].to_numpy(dtype=np.float64) / 100.0
    total = np.zeros(copies)
    for month in range(setting.history_months, setting.history_months + setting.months):
        day = _months_later(setting.shop.first_day, month) - dt.timedelta(days=1)
        seen = observed(dataclasses.replace(setting.finds, items=items[owned].reset_index(drop=True)), as_of=day)
        wanted = choose(seen, copies, names, day)
        now = setting.month == month
        supply = np.zeros((copies, len(names)))
        np.add.at(supply, (copy[now], kind[now]), 1.0)
        count = np.floor(_filled(wanted, supply * minutes, 60.0 * setting.hours) / minutes + 1e-6)
        total += count @ worth
        here = np.flatnonzero(now)
        rank = items.iloc[here].groupby(["copy", "kind"]).cumcount().to_numpy()
        owned[here[rank < count[copy[here], kind[here]]]] = True
    return total


def _filled(wanted: Floats, most: Floats, budget: float) -> Floats:
    """Minutes for each category by the weight of each of its finds; what is left goes on to the rest.

    A category without weight gets nothing, even if minutes are left over.
    """
    taken = np.zeros_like(wanted)
    for _ in range(wanted.shape[1]):
        left = budget - taken.sum(axis=1)
        weight = np.where(taken < most - 1e-9, np.maximum(wanted, 0.0) * most, 0.0)
        # Weights that differ by many orders of magnitude are a plain order of preference.
        total = weight.sum(axis=1)
        part = np.divide(weight, total[:, None], out=np.zeros_like(weight), where=total[:, None] > 0)
        taken = np.minimum(taken + part * np.maximum(left, 0.0)[:, None], most)
    return taken


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


def _months_later(day: dt.date, months: int) -> dt.date:
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return dt.date(year, month + 1, 1)


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
                window=(_months_later(day + dt.timedelta(days=1), -window_months), day),
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
