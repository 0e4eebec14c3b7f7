"""Forecasts of simulated shops, made at each month's end and scored at the next."""

from __future__ import annotations

import datetime as dt
import itertools

import numpy as np
import pandas as pd

from flipkit.analysis.forecasts import (
    category_forecasts,
    category_outcomes,
    forecast_table,
    item_outcomes,
    scored,
    stock_forecasts,
)
from flipkit.analysis.sale_hazard import asking_prices
from flipkit.assumptions import Assumptions
from flipkit.simulation.shops import Histories, asked_cents, observed
from tests.benchmarks.price_habits import learned_from

#: No sales of like things: what a thing typically brings is told by its own first price.
NO_COMPARABLES = pd.DataFrame({"item_id": [], "category": [], "condition": [], "sold_on": [], "price_cents": []})
NO_COMPARABLES = NO_COMPARABLES.astype({"item_id": object, "sold_on": "datetime64[s]"})


def foretold_returns(
    drawn: Histories, *, first: str, last: str, months: int, level: float, too_few: int, seed: int
) -> pd.DataFrame:
    """Forecasts of the categories' hourly returns of every shop, month after month, scored.

    See ``tests/simulation/test_forecast_coverage.py``.
    """
    rows = []
    for made, due in itertools.pairwise(month_ends(first, last)):
        seen, after = observed(drawn, as_of=made), observed(drawn, as_of=due)
        later = dict(list(after.groupby("copy")))
        for copy, known in seen.groupby("copy"):
            told = category_forecasts(
                known, as_of=made, due_on=due, months=months, level=level, too_few=too_few, seed=seed
            )
            table = forecast_table(told)
            rows.append(scored(table, category_outcomes(later[copy], table), as_of=due).assign(copy=copy))
    return pd.concat(rows, ignore_index=True)


def month_ends(first: str, last: str) -> list[dt.date]:
    """The last days of some months and of the one after."""
    return [month.end_time.date() for month in pd.period_range(first, pd.Period(last, "M") + 1, freq="M")]


def price_changes(drawn: Histories, *, as_of: dt.date) -> pd.DataFrame:
    """The lower prices that a perfect book-keeper of one shop wrote down."""
    items, kind = drawn.items, drawn.items["kind"].to_numpy()
    every, share = (
        np.array([getattr(one, name) for one in drawn.shop.kinds])[kind]
        for name in ("markdown_weeks", "markdown_share")
    )
    count = items["markdowns"].to_numpy()
    row = np.repeat(np.arange(len(items)), count)
    step = np.arange(row.size) - np.repeat(np.cumsum(count) - count, count) + 1
    on = items["listed_on"].to_numpy()[row].astype("datetime64[D]") + (7 * step * every[row]).astype("timedelta64[D]")
    price = asked_cents(items["list_price_cents"].to_numpy()[row], step, share[row])
    keep = on <= np.datetime64(as_of)
    return pd.DataFrame(
        {"item_id": row[keep].astype(str), "changed_on": on[keep].astype("datetime64[s]"), "price_cents": price[keep]}
    )


def books_on(drawn: Histories, *, as_of: dt.date) -> pd.DataFrame:
    """The items of one shop as they stood on a day, each under a name that stays."""
    seen = observed(drawn, as_of=as_of)
    return seen.assign(item_id=seen["item_id"].astype(str))


def foretold_stock(drawn: Histories, *, first: str, last: str, level: float, assumptions: Assumptions) -> pd.DataFrame:
    """Forecasts of the things on sale of one shop, month after month, scored; ``asked``: the price on the day."""
    rows = []
    for made, due in itertools.pairwise(month_ends(first, last)):
        known, changes = books_on(drawn, as_of=made), price_changes(drawn, as_of=made)
        model, typical = learned_from(known, changes, NO_COMPARABLES, as_of=made, assumptions=assumptions)
        told = stock_forecasts(known, changes, model, typical, as_of=made, due_on=due, level=level)
        done = scored(told, item_outcomes(books_on(drawn, as_of=due), told), as_of=due)
        asked = asking_prices(known, changes, on=made)
        rows.append(done.assign(asked=asked[done["subject"].astype(int)]))
    return pd.concat(rows, ignore_index=True)
