"""What to ask now for everything on the shelf, which offer to take, when to mark down and when to give up."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.buying import SHOP, Question, question
from flipkit.analysis.demand import Demand, Wanting
from flipkit.analysis.person_weeks import Typical, asking_prices, person_weeks
from flipkit.analysis.price_outcomes import ended_in_time, path_outcomes
from flipkit.analysis.price_tables import price_table
from flipkit.analysis.pricing import PricePaths, PriceSettings, best_paths
from flipkit.analysis.selling import SellingModel, week_rates

Floats = npt.NDArray[np.float64]

#: Levels of liking kept apart when what has waited is judged.
_FRESH = 8.0


def price_plan(
    items: pd.DataFrame,
    price_changes: pd.DataFrame,
    model: SellingModel,
    typical: Typical,
    knowledge: Mapping[str, Any],
    *,
    as_of: dt.date,
) -> pd.DataFrame:
    """The best path from today for each thing in stock, listed or not.

    Parameters
    ----------
    items : DataFrame
        As ``item_economics`` gives them.
    price_changes : DataFrame
        As the books hold them.
    model : SellingModel
        The chance of a sale.
    typical : Typical
        Typical price of each thing.
    knowledge : mapping
        As ``shop_knowledge`` gives it: fees, work and costs.
    as_of : date
        Today.

    Returns
    -------
    DataFrame
        One row a thing in stock whose typical price is known: ``item_id``, ``title``,
        ``category``, ``size_class``, ``weeks_listed``, ``typical_cents``, ``typical_error``,
        ``asked_cents`` (NaN where not listed), ``price_cents`` (to ask now), ``fresh_cents`` (what
        it would be listed at if it were new on sale), ``lowest_offer_cents``,
        ``markdown_weeks`` (weeks from today to the next markdown; NaN: none), ``markdown_cents``,
        ``give_up_weeks`` (weeks from today), ``sold_share``, ``weeks`` (expected further weeks),
        ``worth_cents`` (what it still brings, further work and room taken off) and ``action``:
        ``list``, ``hold``, ``lower`` or ``give up``.

    Examples
    --------
    See ``tests/analysis/test_stock_prices.py``.
    """
    stock = items["status"].isin(["for sale", "not listed", "returned"]).to_numpy() & np.isfinite(typical.cents)
    weeks = person_weeks(items, price_changes, typical.cents, as_of=as_of)
    met = np.bincount(weeks.item, weights=week_rates(model, weeks), minlength=len(items))
    listed = items["status"].to_numpy() == "for sale"
    waited = np.where(listed, np.nan_to_num(items["days_listed"].to_numpy(dtype=np.float64)) // 7, 0).astype(np.int64)
    met = np.where(listed, met, 0.0)
    asked = np.where(listed, asking_prices(items, price_changes, on=as_of), np.nan)
    parts = []
    groups = items[stock].groupby(["category", "size_class"], sort=False).indices
    rows_of_stock = np.flatnonzero(stock)
    for (category, size), where in groups.items():
        rows = rows_of_stock[where]
        known = str(category) if str(category) in knowledge["categories"] else SHOP
        one = question(knowledge, known, size=str(size))
        parts.append(
            _plans(items, rows, model, str(category), one, typical, met[rows], waited[rows], asked[rows], as_of)
        )
    if not parts:
        return pd.DataFrame(columns=["item_id", "action"])
    return pd.concat(parts).sort_index().reset_index(drop=True)


def _plans(
    items: pd.DataFrame,
    rows: npt.NDArray[np.int64],
    model: SellingModel,
    category: str,
    one: Question,
    typical: Typical,
    met: Floats,
    waited: npt.NDArray[np.int64],
    asked: Floats,
    as_of: dt.date,
) -> pd.DataFrame:
    """Plans of the things of one category and size."""
    n, horizon = rows.size, one.demand.weeks
    minute = one.target_cents / 60
    settings = PriceSettings(horizon, keep=(1 + one.money_rate) ** (-1 / 52), change_cents=one.change_min * minute)
    demand = _from_today(model, category, waited, horizon, as_of)
    table = price_table(
        typical.cents[rows],
        lambda price: one.terms.net_cents(price) - minute * one.terms.sale_min,
        demand,
        grid=one.grid,
        endings_cents=one.endings_cents,
    )
    storage = one.storage_cents * one.terms.volume_cuft + minute * one.terms.week_min
    liking = model.wanted(category)
    fresh = best_paths(demand, table, settings, storage_cents=storage)
    # A thing on sale goes on from what is asked for it: raising a price that many have seen is
    # another decision, so what it would be listed at afresh stands beside.
    ratio = np.log(np.where(asked > 0, asked, np.inf) / typical.cents[rows])
    now = np.abs(table.log_ratio - np.minimum(ratio, table.log_ratio[:, -1])[:, None]).argmin(axis=1)
    on = np.flatnonzero(asked > 0)
    paths = _replaced(
        fresh, on, best_paths(demand.rows(on), table.part(on), settings, storage_cents=storage, start=now[on])
    )
    # Things that have met about as many chances are judged together: what is left of each level.
    ended = _ended(paths, demand, liking, met, table, settings, storage)
    found = path_outcomes(ended.place, ended.lowest_offer_cents, demand, table)
    price = ended.price_cents
    later = (price[:, 1:] != price[:, :-1]) & (price[:, 1:] > 0)
    next_week = np.where(later.any(axis=1), later.argmax(axis=1) + 1, -1)
    marked = price[np.arange(n), np.maximum(next_week, 0)]
    # What is asked above every price considered is to be lowered to the highest of them.
    held = (ended.place[:, 0] == now) & (asked <= table.price_cents[:, -1] * (1 + one.grid.step))
    left = liking.share * np.exp(-liking.level * met[:, None])
    left = left / left.sum(axis=1, keepdims=True)
    total = -np.log(np.maximum(1 - found.sold_share, 1e-12))
    sold = 1 - (left * np.exp(-liking.level * total[:, None])).sum(axis=1)
    frame = items.iloc[rows]
    return pd.DataFrame(
        {
            "item_id": frame["item_id"].to_numpy(),
            "title": frame["title"].to_numpy() if "title" in frame else "",
            "category": category,
            "size_class": frame["size_class"].to_numpy(),
            "weeks_listed": waited,
            "typical_cents": typical.cents[rows],
            "typical_error": typical.error[rows],
            "asked_cents": asked,
            "price_cents": np.where(held, asked, price[:, 0]),
            "fresh_cents": fresh.price_cents[:, 0],
            "lowest_offer_cents": ended.lowest_offer_cents[:, 0],
            "markdown_weeks": np.where(next_week > 0, next_week.astype(np.float64), np.nan),
            "markdown_cents": np.where(next_week > 0, marked, np.nan),
            "give_up_weeks": ended.weeks_to_give_up,
            "sold_share": sold,
            "weeks": found.weeks,
            "worth_cents": ended.value_cents,
            "action": _actions(price[:, 0], asked, held),
        },
        index=rows,
    )


def _from_today(
    model: SellingModel, category: str, waited: npt.NDArray[np.int64], horizon: int, as_of: dt.date
) -> Demand:
    """Demand from today on: fading goes on from the weeks waited, the season from today."""
    longest = int(waited.max(initial=0)) + horizon
    plain = model.demand(category, weeks=longest)
    season = model.demand(category, weeks=horizon, start=as_of).weekly - model.demand(category, weeks=horizon).weekly
    weekly = plain.weekly[waited[:, None] + np.arange(horizon)] + season
    n = waited.size
    return Demand(np.full(n, plain.log_rate[0]), np.full(n, plain.pull[0]), weekly, plain.offers)


def _ended(
    paths: PricePaths,
    demand: Demand,
    liking: Wanting,
    met: Floats,
    table: Any,
    settings: PriceSettings,
    storage: float,
) -> PricePaths:
    """Paths ended in time, things with about as many chances behind them taken together."""
    band = np.rint(np.sqrt(met) * _FRESH).astype(np.int64)
    done = paths
    for one in np.unique(band):
        rows = np.flatnonzero(band == one)
        share = liking.share * np.exp(-liking.level * float(met[rows].mean()))
        part = PricePaths(
            paths.place[rows], paths.price_cents[rows], paths.lowest_offer_cents[rows], paths.value_cents[rows]
        )
        found = ended_in_time(
            part,
            demand.rows(rows),
            Wanting(liking.level, share / share.sum()),
            table.part(rows),
            settings,
            storage_cents=storage,
        )
        done = _replaced(done, rows, found)
    return done


def _replaced(paths: PricePaths, rows: npt.NDArray[np.int64], other: PricePaths) -> PricePaths:
    """Paths with those of some rows put in place of their own."""
    place, price, offer, value = (
        paths.place.copy(),
        paths.price_cents.copy(),
        paths.lowest_offer_cents.copy(),
        paths.value_cents.copy(),
    )
    place[rows], price[rows] = other.place, other.price_cents
    offer[rows], value[rows] = other.lowest_offer_cents, other.value_cents
    return PricePaths(place, price, offer, value)


def _actions(price: Floats, asked: Floats, held: npt.NDArray[np.bool_]) -> npt.NDArray[np.object_]:
    """What to do today, in one word."""
    return np.select([price <= 0, np.isnan(asked), held], ["give up", "list", "hold"], default="lower").astype(object)
