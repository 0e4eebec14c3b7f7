"""Forecasts of simulated shops, made at each month's end and scored at the next."""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtri

from flipkit.analysis.forecasts import (
    category_forecasts,
    category_outcomes,
    forecast_table,
    item_outcomes,
    return_forecasts,
    scored,
    stock_forecasts,
)
from flipkit.analysis.sale_hazard import SellingModel, asking_prices
from flipkit.assumptions import load_assumptions
from flipkit.simulation.shops import EPOCH, Histories, Shop, asked_cents, by_kind, histories, weekly_rates
from tests.benchmarks.price_habits import learned_from
from tests.benchmarks.truth import observed

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


def foretold_stock(drawn: Histories, *, first: str, last: str, level: float) -> pd.DataFrame:
    """Forecasts of the things on sale of one shop, month after month, scored; ``asked``: the price on the day."""
    return pd.concat([one.stock_scored() for one in forecast_days(drawn, first=first, last=last, level=level)])


@dataclass(frozen=True)
class ForecastDay:
    """One shop's books on the last day of a month, what was forecast then, and its books a month later."""

    known: pd.DataFrame
    changes: pd.DataFrame
    later: pd.DataFrame
    told: pd.DataFrame
    model: SellingModel
    made: dt.date
    due: dt.date
    level: float

    def stock_scored(self) -> pd.DataFrame:
        """The forecasts of the things on sale, scored, with what was asked for each on the day."""
        done = scored(self.told, item_outcomes(self.later, self.told), as_of=self.due)
        asked = asking_prices(self.known, self.changes, on=self.made)
        return done.assign(asked=asked[done["subject"].astype(int)])

    def month(self) -> dict[str, object]:
        """The month's net: what was said from the things on sale, from the spread of months alone, and what came."""
        how = {"as_of": self.made, "due_on": self.due, "level": self.level, "months": 24, "seed": 1}
        told = return_forecasts(self.known, self.told, self.model, **how)  # type: ignore[arg-type]
        sold = self.later[self.later["sold_on"] > pd.Timestamp(self.made)]
        before = _spread_of_months(self.known, self.due, self.level)
        row: dict[str, object] = {"made": self.made, "due": self.due, "came": float(sold["net_cents"].sum())}
        row |= {"low_before": before[0], "high_before": before[1]}
        row["came_hourly"] = float(sold["net_cents"].sum() / sold["owner_min"].sum() * 0.6)
        for one, end in zip(told, ("", "_hourly"), strict=False):
            row |= {f"low{end}": one.low, f"middle{end}": one.middle, f"high{end}": one.high}
        return row


def forecast_days(drawn: Histories, *, first: str, last: str, level: float) -> Iterator[ForecastDay]:
    """Each month's end of one shop, with what it forecasts."""
    assumptions = load_assumptions()
    for made, due in itertools.pairwise(month_ends(first, last)):
        known, changes = books_on(drawn, as_of=made), price_changes(drawn, as_of=made)
        model, typical = learned_from(known, changes, NO_COMPARABLES, as_of=made, assumptions=assumptions)
        told = stock_forecasts(known, changes, model, typical, as_of=made, due_on=due, level=level)
        yield ForecastDay(known, changes, books_on(drawn, as_of=due), told, model, made, due, level)


def foretold_months(drawn: Histories, *, first: str, last: str, level: float) -> pd.DataFrame:
    """Forecasts of one shop's net, month after month, beside what came."""
    return pd.DataFrame([one.month() for one in forecast_days(drawn, first=first, last=last, level=level)])


def _spread_of_months(items: pd.DataFrame, due: dt.date, level: float) -> tuple[float, float]:
    """The interval that the months before alone give: their mean, its error, and how they differ."""
    when = items["sold_on"].dt.to_period("M")
    past = items[(when < pd.Period(due, "M")).to_numpy()].groupby(when)["net_cents"].sum().tail(24)
    reach = float(ndtri((1 + level) / 2)) * float(past.std()) * math.sqrt(1 + 1 / len(past))
    return float(past.mean()) - reach, float(past.mean()) + reach


def oracle_month(drawn: Histories, *, made: dt.date, due: dt.date, sales: SalesKnown) -> tuple[float, float]:
    """Mean and standard deviation of a month's net for one who knows every thing's true chance and all purchases.

    The hidden liking of each thing counts, and what will be listed in the month is known too. What is
    left is whether each sells, and what a single sale leaves.
    """
    items = drawn.items
    listed, sold, gone = (
        items[name].fillna(pd.Timestamp("2200-01-01")).to_numpy(dtype="datetime64[D]").astype(np.int64)
        for name in ("listed_on", "sold_on", "gone_on")
    )
    first, last = ((day - EPOCH).days for day in (made, due))
    row = np.flatnonzero((listed <= last) & (sold > first) & ((gone > first) | (sold < gone)))
    mine, listed = items.iloc[row], listed[row]
    code = by_kind(drawn.shop, mine["kind"].to_numpy())
    value, asked, appeal = (mine[name].to_numpy() for name in ("value_cents", "list_price_cents", "appeal"))
    weeks = np.arange(int(code["give_up_weeks"].max()) + 1)
    rate = np.stack(
        [
            weekly_rates(code, value / 100.0, asked, appeal, np.full(row.size, week)) * (week < code["give_up_weeks"])
            for week in weeks
        ],
        axis=1,
    )
    # Sold before each week begins; within a week every day is as likely.
    gone_by = -np.expm1(-np.concatenate((np.zeros((row.size, 1)), np.cumsum(rate, axis=1)), axis=1))

    def sold_by(day: int) -> np.ndarray:
        week, part = np.divmod(np.maximum(day - listed, 0), 7)
        at = np.minimum(week, weeks.size - 1)
        low, high = (gone_by[np.arange(row.size), at + step] for step in (0, 1))
        return np.where(day < listed, 0.0, low + (high - low) * (part + 1) / 7)

    before = sold_by(first)
    chance = (sold_by(last) - before) / np.maximum(1 - before, 1e-12)
    cuts = np.maximum((first + last) // 2 - listed, 0) // 7 // code["markdown_weeks"].astype(np.int64)
    price = asked_cents(asked, cuts, code["markdown_share"]) * (1 - code["offer_share"] * code["offer_discount"])
    kind = mine["kind"].to_numpy()
    left = sales.amount[kind] + sales.part * price - (mine["cost_cents"] + mine["trip_cents"]).to_numpy()
    spread = chance * (1 - chance) * left**2 + chance * sales.variance[kind]
    return float(chance @ left), float(np.sqrt(spread.sum()))


@dataclass(frozen=True)
class SalesKnown:
    """What a sale leaves of its price, known from endlessly many: a part, less an amount of the kind, and luck."""

    part: float
    amount: np.ndarray
    variance: np.ndarray


def sales_known(shop: Shop, *, seed: int, copies: int) -> SalesKnown:
    """What sales leave in a shop, from many copies of it."""
    items = histories(shop, seed=seed, copies=copies).items
    sold = items[items["outcome"] != "gone"]
    own = pd.DataFrame(
        {"paid": sold["sold_price_cents"], "left": sold[["net_cents", "cost_cents", "trip_cents"]].sum(axis=1)}
    )
    kinds = sold["kind"].to_numpy()
    mean = own.groupby(kinds).mean()
    inside = own - mean.loc[kinds].to_numpy()
    part = float(inside["paid"] @ inside["left"] / (inside["paid"] @ inside["paid"]))
    amount = (mean["left"] - part * mean["paid"]).to_numpy()
    luck = own["left"].to_numpy() - amount[kinds] - part * own["paid"].to_numpy()
    return SalesKnown(part, amount, (pd.Series(luck**2).groupby(kinds).mean()).to_numpy())
