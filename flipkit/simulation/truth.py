"""The truth behind a simulated shop: its hourly return per category with endlessly many items.

The true hourly return is a ratio of two expectations under the generator. Prices are rounded to
tags, fees to cents and patience runs out at a week, so no formula gives it; it is the same ratio
of sums in a very large sample drawn from the same shop, and its own error is stated beside it.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from flipkit.analysis.ratios import ratio_standard_error
from flipkit.errors import AssumptionError
from flipkit.simulation.histories import Histories, histories
from flipkit.simulation.kinds import Shop
from flipkit.simulation.observed import observed

#: Items drawn at a time, so that memory stays small.
_BATCH = 150_000


def true_returns(
    shop: Shop, *, seed: int, items: int, as_of: dt.date | None = None, horizon_days: int | None = None
) -> pd.DataFrame:
    """True hourly returns per category, on sold and on bought basis.

    *Bought basis*: every item bought, followed to its end. *Sold basis*: the items that sell.
    With ``as_of``, the sold basis is over the sales up to that day, as a shop of that age sees
    them: quick ones are over-represented in a young shop, and that is a property of the basis
    and no error of an estimate. With ``horizon_days`` too, the bought basis follows every item
    so many days beyond that day and no further, as a report does that looks so far ahead.

    Parameters
    ----------
    shop : Shop
        The shop.
    seed : int
        Seed of the large sample; another one than the shop's own.
    items : int
        How many items to draw, over all categories.
    as_of : datetime.date, optional
        Last day of the sales on sold basis; to the end where left out.
    horizon_days : int, optional
        How far beyond ``as_of`` an unsold item is followed; to its end where left out. [days]

    Returns
    -------
    DataFrame
        Indexed by category: items, sold_share (ever sold), hourly_sold and hourly_bought
        [dollars an hour] with hourly_sold_error and hourly_bought_error (their Monte-Carlo
        standard errors over trips), net_sold_cents (mean net of a sale), net_bought_cents and
        bought_min (means of an item bought).

    Examples
    --------
    >>> from flipkit.simulation.kinds import Kind
    >>> cups = Shop(kinds=(Kind(name="cups", price_usd=20, cost_usd=4, minutes={"pack": 8.0}),))
    >>> truth = true_returns(cups, seed=5, items=20_000)
    >>> bool(truth.loc["cups", "hourly_bought"] < truth.loc["cups", "hourly_sold"])
    True
    """
    sums: list[pd.DataFrame] = []
    weeks = (shop.last_day - shop.first_day).days / 7
    copies = max(1, int(np.ceil(_BATCH / max(weeks * shop.trips_per_week * shop.items_per_trip, 1))))
    drawn = 0
    while drawn < items:
        whole = histories(shop, seed=seed * 1_000_003 + len(sums), copies=copies)
        sums.append(_trip_sums(whole, as_of, horizon_days))
        drawn += len(whole.items)
    return pd.DataFrame({name: _category(part) for name, part in pd.concat(sums).groupby("category", observed=True)}).T


def _trip_sums(whole: Histories, as_of: dt.date | None, horizon_days: int | None) -> pd.DataFrame:
    """Sums of each trip and category: the trips are what is drawn independently."""
    table = whole.items
    sold = (table["outcome"] != "gone").to_numpy()
    frame = pd.DataFrame(
        {
            "trip": table["trip"],
            "category": table["category"],
            "items": 1,
            "sold": sold,
            "net": table["net_cents"],
            "min": table["owner_min"],
            "sales": sold,
            "sold_net": table["net_cents"] * sold,
            "sold_min": table["owner_min"] * sold,
        }
    )
    if as_of is not None:
        if (table["bought_on"] > pd.Timestamp(as_of)).any():
            raise AssumptionError("as_of", need="a day on or after the shop's last day of buying", got=as_of)
        seen = observed(whole, as_of=as_of)
        known = seen["status"].isin(["sold", "returned"]).to_numpy()
        frame["sales"] = known
        frame["sold_net"] = seen["net_cents"].to_numpy() * known
        frame["sold_min"] = seen["owner_min"].to_numpy() * known
        if horizon_days is not None:
            later = observed(whole, as_of=as_of + dt.timedelta(days=horizon_days))
            frame["net"], frame["min"] = later["net_cents"].to_numpy(), later["owner_min"].to_numpy()
    return frame.groupby(["trip", "category"], observed=True, sort=False).sum().reset_index()


def _category(part: pd.DataFrame) -> dict[str, float]:
    items, sold = float(part["items"].sum()), float(part["sold"].sum())
    per_hour = 60.0 / 100.0

    def hourly(kind: str) -> tuple[float, float]:
        net, minutes = part[f"{kind}net"].to_numpy(float), part[f"{kind}min"].to_numpy(float)
        if minutes.sum() <= 0:
            return np.nan, np.nan
        error = ratio_standard_error(net, minutes, clusters_correction=True)
        return net.sum() / minutes.sum() * per_hour, error * per_hour

    on_sold, on_sold_error = hourly("sold_")
    on_bought, on_bought_error = hourly("")
    return {
        "items": items,
        "sold_share": sold / items,
        "hourly_sold": on_sold,
        "hourly_sold_error": on_sold_error,
        "hourly_bought": on_bought,
        "hourly_bought_error": on_bought_error,
        "net_sold_cents": float(part["sold_net"].sum()) / max(float(part["sales"].sum()), 1.0),
        "net_bought_cents": float(part["net"].sum()) / items,
        "bought_min": float(part["min"].sum()) / items,
    }
