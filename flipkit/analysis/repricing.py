"""What to ask now for the stock, which offer to take, when to give up."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.demand import Demand, Possible
from flipkit.analysis.max_bid import SHOP, Question, question
from flipkit.analysis.pricing import (
    FrontierPoint,
    PricePaths,
    PriceSettings,
    PriceTable,
    path_outcomes,
    price_frontier,
    price_table,
    weighed_paths,
)
from flipkit.analysis.sale_hazard import PersonWeeks, SellingModel, Typical, asking_prices, person_weeks, week_rates

# What to ask now for everything on the shelf, which offer to take, when to mark down and when to give up.

Floats = npt.NDArray[np.float64]


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

    See ``tests/analysis/test_stock_prices.py``.
    """
    stock = items["status"].isin(["for sale", "not listed", "returned"]).to_numpy() & np.isfinite(typical.cents)
    weeks = person_weeks(items, price_changes, typical.cents, as_of=as_of)
    rates = week_rates(model, weeks)
    listed = items["status"].to_numpy() == "for sale"
    waited = np.where(listed, np.nan_to_num(items["days_listed"].to_numpy(dtype=np.float64)) // 7, 0).astype(np.int64)
    asked = np.where(listed, asking_prices(items, price_changes, on=as_of), np.nan)
    parts = []
    groups = items[stock].groupby(["category", "size_class"], sort=False).indices
    rows_of_stock = np.flatnonzero(stock)
    for (category, size), where in groups.items():
        rows = rows_of_stock[where]
        known = str(category) if str(category) in knowledge["categories"] else SHOP
        one = question(knowledge, known, size=str(size))
        fresh = model.possible(str(category), typical.error[rows], weeks=one.demand.weeks)
        left = _left(fresh, weeks, rates, rows, listed[rows])
        parts.append(
            _plans(items, rows, model, str(category), one, typical, fresh, left, waited[rows], asked[rows], as_of)
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
    new: Possible,
    left: Possible,
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
    fresh = weighed_paths(demand, new, table, settings, storage_cents=storage)
    # A thing on sale goes on from what is asked for it: raising a price that many have seen is
    # another decision, so what it would be listed at afresh stands beside.
    ratio = np.log(np.where(asked > 0, asked, np.inf) / typical.cents[rows])
    now = np.abs(table.log_ratio - np.minimum(ratio, table.log_ratio[:, -1])[:, None]).argmin(axis=1)
    on = np.flatnonzero(asked > 0)
    paths = fresh
    # Where none of them is on sale yet, nothing goes on.
    if on.size:
        part, ahead = table.part(on), left.rows(on)
        asking = weighed_paths(demand.rows(on), ahead, part, settings, storage_cents=storage, start=now[on])
        paths = _replaced(fresh, on, asking)
    sold, further = _expected(paths, demand, left, table)
    price = paths.price_cents
    later = (price[:, 1:] != price[:, :-1]) & (price[:, 1:] > 0)
    next_week = np.where(later.any(axis=1), later.argmax(axis=1) + 1, -1)
    marked = price[np.arange(n), np.maximum(next_week, 0)]
    # What is asked above every price considered is to be lowered to the highest of them.
    held = (paths.place[:, 0] == now) & (asked <= table.price_cents[:, -1] * (1 + one.grid.step))
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
            "lowest_offer_cents": paths.lowest_offer_cents[:, 0],
            "markdown_weeks": np.where(next_week > 0, next_week.astype(np.float64), np.nan),
            "markdown_cents": np.where(next_week > 0, marked, np.nan),
            "give_up_weeks": paths.weeks_to_give_up,
            "sold_share": sold,
            "weeks": further,
            "worth_cents": paths.value_cents,
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


def _left(
    fresh: Possible, weeks: PersonWeeks, rates: Floats, rows: npt.NDArray[np.int64], listed: npt.NDArray[np.bool_]
) -> Possible:
    """What the demand of things still is likely to be, after the weeks in which they did not sell."""
    n = int(max(weeks.item.max(initial=-1), rows.max())) + 1
    # A steeper pull means fewer chances met at dear prices, and more at cheap ones.
    met = {
        pull: np.bincount(weeks.item, weights=rates * np.exp(-pull * weeks.log_ratio), minlength=n)[rows] * listed
        for pull in np.unique(fresh.pull)
    }
    level = np.broadcast_to(fresh.level, (rows.size, fresh.pull.size))
    share = fresh.share * np.exp(-level * np.stack([met[pull] for pull in fresh.pull], axis=1))
    return Possible(level, fresh.pull, share / share.sum(axis=1, keepdims=True))


def _expected(paths: PricePaths, demand: Demand, possible: Possible, table: PriceTable) -> tuple[Floats, Floats]:
    """Chance of a sale and expected weeks on sale along paths, all possibilities weighed."""
    found = [path_outcomes(paths.place, paths.lowest_offer_cents, one, table) for one in possible.moved(demand)]
    sold, weeks = (np.stack([getattr(one, name) for one in found], axis=1) for name in ("sold_share", "weeks"))
    return (possible.share * sold).sum(axis=1), (possible.share * weeks).sum(axis=1)


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


# Money against weeks for one thing: what hurrying its sale costs.


def thing_frontier(asked: Question, *, week_cents: Sequence[float]) -> list[FrontierPoint]:
    """Expected money against expected weeks of a thing newly on sale, from patient to hurried.

    See ``tests/reports/test_decisions.py``.
    """
    minute = asked.target_cents / 60
    settings = PriceSettings(
        asked.demand.weeks, keep=(1 + asked.money_rate) ** (-1 / 52), change_cents=asked.change_min * minute
    )
    table = price_table(
        np.array([asked.typical_cents]),
        lambda price: asked.terms.net_cents(price) - minute * asked.terms.sale_min,
        asked.demand,
        grid=asked.grid,
        endings_cents=asked.endings_cents,
    )
    return price_frontier(
        asked.demand,
        table,
        settings,
        storage_cents=asked.storage_cents * asked.terms.volume_cuft + minute * asked.terms.week_min,
        end_cents=0.0,
        week_cents=np.asarray(week_cents, dtype=np.float64),
        possible=asked.possible,
    )
