"""How often the kit's intervals hold the truth, over many simulated shops."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.ratio_stats import (
    IntervalSettings,
    jackknife_error,
    median_lean,
    ratio_of_sums,
    ratios_without_each,
)
from flipkit.analysis.returns import (
    FEW_TRIPS,
    Window,
    bought_returns,
    category_returns,
    in_window,
    pulled_medians,
    shared_luck,
)
from flipkit.analysis.stock_value import Horizon, expected_values_by_trip
from flipkit.simulation.shops import Floats, Histories, Shop
from tests.benchmarks.mixtures import mixture_scenarios
from tests.benchmarks.scenarios import FIRST_DAY, LAST_DAY, Scenario, scenarios, shops_with
from tests.benchmarks.truth import observed, true_returns

# How often the kit's intervals hold the truth, over many simulated shops of two families.
#
# The kit was made with the shops of the first family in view, and nothing was tuned on those of the second. The
# tables are measured over hundreds of shops by ``tests/benchmarks/bench_calibration.py`` and kept in one file, with
# seed, day and version, so that a page that shows them costs nothing; the tests measure a part of it again.

#: The families of shops, by what they are called in the tables.
FAMILIES: dict[str, Callable[[], tuple[Scenario, ...]]] = {"weekly buyers": scenarios, "mixtures": mixture_scenarios}


def scenario_truth(scenario: Scenario, *, horizon: Horizon, items: int, seed: int) -> pd.DataFrame:
    """The truth that intervals of a scenario are held against."""
    return true_returns(scenario.shop, seed=seed, items=items, as_of=LAST_DAY, horizon_days=horizon.days)


def shop_intervals(
    scenario: Scenario,
    *,
    items_each: int,
    shops: int,
    seed: int,
    horizon: Horizon,
    settings: IntervalSettings,
) -> pd.DataFrame:
    """The kit's intervals in many shops of a scenario, on both bases."""
    drawn = shops_with(scenario.shop, items_each=items_each, copies=shops, seed=seed)
    seen = observed(drawn, as_of=LAST_DAY)
    window = (FIRST_DAY, LAST_DAY)
    found = []
    for copy, shop in seen.groupby("copy", sort=True):
        shop = shop.reset_index(drop=True)
        focal = shop[shop["category"].isin(scenario.focus)]
        sold = category_returns(focal, basis="sold", window=window, settings=settings)
        bought = bought_returns(shop, horizon=horizon, window=window, settings=settings)
        found += [sold.assign(copy=copy, basis="sold"), bought.assign(copy=copy, basis="bought")]
    table = pd.concat(found, ignore_index=True)
    names = ["copy", "category", "basis", "items", "sold", "hourly", "low", "high", "bca_low", "bca_high", "claimed"]
    return table.loc[table["category"].isin(scenario.focus), names].reset_index(drop=True)


def coverage(intervals: pd.DataFrame, truth: pd.DataFrame) -> pd.DataFrame:
    """How often intervals hold the truth.

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


# Which categories a simulated seller buys first: by the kit, by rules of thumb, by the truth.

#: What a way of choosing is given: the items seen so far (as ``observed``), the number of shops,
#: the names of the categories and the day. It returns for each shop and category the weight of
#: one of its finds in the month's hours; equal weights take everything alike.
Chooser = Callable[[pd.DataFrame, int, tuple[str, ...], dt.date], Floats]


def in_order(score: Floats) -> Floats:
    """Weights that stand for an order of preference: the best first, nothing for what loses money."""
    known = np.where(np.isnan(score), -np.inf, score)
    rank = np.argsort(np.argsort(-known, axis=1, kind="stable"), axis=1)
    return np.where(known > 0, 1e12 ** -rank.astype(np.float64), 0.0)


def grouped_ratio(seen: pd.DataFrame, above: str, below: str | None, copies: int, names: tuple[str, ...]) -> Floats:
    """Sum over sum (or over the count) of each shop and category."""
    cell = seen["copy"].to_numpy() * len(names) + pd.Index(names).get_indexer(seen["category"].astype(str))
    size = copies * len(names)
    top = np.bincount(cell, weights=seen[above].to_numpy(dtype=np.float64), minlength=size)
    under = np.bincount(cell, weights=None if below is None else seen[below].to_numpy(dtype=np.float64), minlength=size)
    ratio = np.divide(top, under, out=np.full(size, np.nan), where=under > 0)
    return ratio.reshape(copies, len(names))


def by_profit_per_sale(seen: pd.DataFrame, copies: int, names: tuple[str, ...], day: dt.date) -> Floats:
    """Buy first what brings most a sale: price minus cost and charges, no hours, nothing unsold."""
    return in_order(grouped_ratio(_sales(seen), "net_cents", None, copies, names))


def by_sold_hourly(seen: pd.DataFrame, copies: int, names: tuple[str, ...], day: dt.date) -> Floats:
    """Buy first what earned most an hour on the things that sold."""
    return in_order(grouped_ratio(_sales(seen), "net_cents", "owner_min", copies, names))


def by_everything(seen: pd.DataFrame, copies: int, names: tuple[str, ...], day: dt.date) -> Floats:
    """Buy everything as it comes."""
    return np.ones((copies, len(names)))


def by_the_kit(*, horizon: Horizon, doubt: float, window_months: int, too_few: int) -> Chooser:
    """Buy by the kit: hourly returns on bought basis, pulled towards the whole, the best first."""

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

    The figures of ``shrunken_returns(bought_returns(...))`` in a fraction of the time, of those
    categories that are not too few to tell; where one dear find decides only an interval shows.
    """
    rows = in_window(shop, window=window, basis="bought")
    inside = shop.index.isin(rows.index)
    names, touched, net, minutes = expected_values_by_trip(shop, horizon, inside=inside, by="category")
    sums = [(net[at, mine], minutes[at, mine]) for at, mine in enumerate(touched)]
    bought = rows.groupby(rows["category"].astype(str))
    known = [str(name) for name in names]
    items, trips = (count.reindex(known).to_numpy() for count in (bought.size(), bought["trip_id"].nunique()))
    hourly, own = (0.6 * np.array([of(*one) for one in sums]) for of in (ratio_of_sums, _left_out_error))
    lean = np.array([median_lean(*one) for one in sums])
    hours = minutes.sum(axis=1) / 60
    found = pulled_medians(hourly, own, lean, trips, hours, shared_luck(net, minutes))
    if found is None:
        return [], np.array([]), np.array([])
    claimed = (items >= too_few) & (trips >= FEW_TRIPS)
    kept = [name for name, sure in zip(known, claimed, strict=True) if sure]
    return kept, found.value[claimed], found.error[claimed]


def _left_out_error(above: Floats, below: Floats) -> float:
    return jackknife_error(ratios_without_each(above, below))


def knowing(truth: pd.DataFrame) -> Chooser:
    """Buy first what truly earns most an hour."""

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


# A year of buying in a simulated shop, by one way of choosing after another.
#
# All sellers meet the same finds, have the same hours a month and the same months of history in which everything
# was bought a little. They differ in one thing: which categories they buy first. What they earn is what their
# purchases bring on average under the generator, so that luck after the choice does not blur the comparison.

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Season:
    """The setting that all sellers share."""

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
    """What each copy of a seller earns in the months of choosing, by one way of choosing."""
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


# What buying by the kit earns beside the seller who knows the truth, and beside rules of thumb.

#: The rules of thumb, by what they are called in tables.
THUMBS: dict[str, Chooser] = {
    "highest profit a sale": by_profit_per_sale,
    "hourly of sold things": by_sold_hourly,
    "buy everything": by_everything,
}


def shares_of_the_knowing(
    setting: Season, *, horizon: Horizon, doubt: float, window_months: int, too_few: int
) -> pd.DataFrame:
    """The share of the knowing seller's earnings that each way of choosing reaches."""
    best = earnings(setting, knowing(setting.truth))
    rows = {}
    kit = {
        name: by_the_kit(horizon=horizon, doubt=errors, window_months=window_months, too_few=too_few)
        for name, errors in (("the kit", doubt), ("the kit, no benefit of the doubt", 0.0))
    }
    for name, choose in {**kit, **THUMBS}.items():
        got = earnings(setting, choose)
        share = float(got.sum() / best.sum())
        # Of a ratio of sums over shops: both are measured in the same ones.
        error = float(np.sqrt(((got - share * best) ** 2).sum() / max(got.size - 1, 1) / got.size) / best.mean())
        rows[name] = {"share": share, "error": error, "dollars": float(got.mean())}
    table = pd.DataFrame(rows).T
    table.attrs["knowing"] = float(best.mean())
    return table
