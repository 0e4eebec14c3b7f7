"""A year of buying in a simulated shop, by one way of choosing after another.

All sellers meet the same finds, have the same hours a month and the same months of history in
which everything was bought a little. They differ in one thing: which categories they buy first.
What they earn is what their purchases bring on average under the generator, so that luck after
the choice does not blur the comparison.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.simulation.choosers import Chooser
from flipkit.simulation.histories import Histories
from flipkit.simulation.kinds import Floats, Shop
from flipkit.simulation.observed import observed
from flipkit.simulation.scenarios import shops_with
from flipkit.simulation.truth import true_returns

Ints = npt.NDArray[np.int64]


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


def _months_later(day: dt.date, months: int) -> dt.date:
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return dt.date(year, month + 1, 1)
