"""What unsold stock may still bring, and what work it still needs.

An unsold item is worth its chance of selling within the horizon, given the days it has waited,
times what such items bring at a sale, plus the salvage for the rest of the chance; and it will
take, by the same chance, the work of a sale. What it cost so far stays spent.

What such items bring is the category's money at a sale per dollar of list price, times the
item's own list price, times what the shop's late sales bring beside early ones: what still
waits will sell after markdowns, if at all.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.chances import Shelf, chances_by_day, pooled_hazards, shelf_counts, shop_hazards
from flipkit.errors import AssumptionError
from flipkit.money import PPM

Floats = npt.NDArray[np.float64]

#: How many sales the shop's figures weigh beside a category's own, for money and for minutes.
TYPICAL_SALES = 3.0
#: How many sales an unchanged price weighs beside the shop's late sales.
LATE_SALES = 10.0
#: Work that comes only with a sale, and work that a thing needs before it is listed.
SALE_WORK = ("messages_min", "pack_min", "post_min", "returns_min")
LISTING_WORK = ("clean_min", "photograph_min", "write_min", "store_min")
#: Trips left out at a time.
_BLOCK = 256


@dataclass(frozen=True)
class Horizon:
    """How far ahead unsold stock is looked at, and what it brings when it does not sell.

    Attributes
    ----------
    days : int
        Days from the report's day. [days]
    salvage_ppm : int
        Part of its cost that an unsold item brings when it is cleared. [parts per million]
    """

    days: int
    salvage_ppm: int

    def __post_init__(self) -> None:
        if self.days < 1:
            raise AssumptionError("stock.horizon_days", need="at least 1", got=self.days)
        if not 0 <= self.salvage_ppm <= PPM:
            raise AssumptionError("stock.salvage", need="from 0 % to 100 %", got=self.salvage_ppm)


def stock_prospects(economics: pd.DataFrame, horizon: Horizon) -> pd.DataFrame:
    """What each item will have brought and taken in the end, sold ones as they are.

    Parameters
    ----------
    economics : DataFrame
        One row an item, as ``item_economics`` gives it.
    horizon : Horizon
        How far ahead is looked, and the salvage.

    Returns
    -------
    DataFrame
        In the rows of ``economics``: ``chance`` of a sale within the horizon (0 for what is
        not for sale), ``if_sold_cents`` (money at a sale, before what is already spent),
        ``salvage_cents``, ``value_cents`` (what it may still bring: chance times money at a
        sale, and salvage for the rest), ``work_min`` (expected minutes still to do),
        ``expected_net_cents`` and ``expected_min`` (so far and still to come).

    Examples
    --------
    The function needs the frame of ``item_economics``; see ``tests/analysis``.
    """
    shelf = _Shelves(economics, horizon)
    found = pd.DataFrame(
        0.0, index=economics.index, columns=["chance", "if_sold_cents", "salvage_cents", "value_cents", "work_min"]
    )
    for part in shelf.parts:
        chance, if_sold, work = (value[0] for value in part.forecast(part.totals(), shelf))
        rows = found.index[part.stock]
        found.loc[rows, "chance"] = chance
        found.loc[rows, "if_sold_cents"] = if_sold
        found.loc[rows, "salvage_cents"] = part.salvage
        found.loc[rows, "value_cents"] = chance * if_sold + (1 - chance) * part.salvage
        found.loc[rows, "work_min"] = work
    found["expected_net_cents"] = economics["net_cents"].to_numpy(dtype=np.float64) + found["value_cents"]
    found["expected_min"] = economics["owner_min"].to_numpy(dtype=np.float64) + found["work_min"]
    return found


def prospect_sums(
    economics: pd.DataFrame, horizon: Horizon, *, inside: npt.NDArray[np.bool_], by: str
) -> tuple[list[Any], list[npt.NDArray[np.intp]], Floats, Floats]:
    """Expected net and minutes of each group, as one pair of pseudo-values a trip.

    A trip counts with its own items and with what it teaches about the others: its pseudo-value
    is the group's total less the total with that trip left out and every forecast made without
    it. So the interval over trips holds the forecasts' own uncertainty. Without unsold items
    the pseudo-values are the trips' plain sums.

    Parameters
    ----------
    economics : DataFrame
        One row an item, as ``item_economics`` gives it.
    horizon : Horizon
        How far ahead is looked, and the salvage.
    inside : array of bool, shape (n,)
        The items whose totals are wanted; all items teach.
    by : str
        Column that names the group.

    Returns
    -------
    tuple
        As ``trip_sums``: names of the groups, positions of each group's trips in the two arrays
        of pseudo-values, net [cents], minutes [min].

    Examples
    --------
    The function needs the frame of ``item_economics``; see ``tests/analysis``.
    """
    shelf = _Shelves(economics, horizon)
    trip, trip_names = pd.factorize(economics["trip_id"].astype(object), sort=True)
    group, names = pd.factorize(economics[by].astype(object).where(pd.Series(inside, index=economics.index)), sort=True)
    size, count = len(trip_names), len(names)
    cell = group * size + trip
    inside = group >= 0
    net = np.zeros((count, size))
    minutes = np.zeros((count, size))
    np.add.at(net.reshape(-1), cell[inside], economics["net_cents"].to_numpy(dtype=np.float64)[inside])
    np.add.at(minutes.reshape(-1), cell[inside], economics["owner_min"].to_numpy(dtype=np.float64)[inside])
    touched = np.zeros((count, size), dtype=bool)
    touched.reshape(-1)[cell[inside]] = True
    worths = [part.worth(part.totals(), shelf) for part in shelf.parts]
    for part, worth in zip(shelf.parts, worths, strict=True):
        kept = inside[part.stock]
        for target, value in zip((net, minutes), worth, strict=True):
            np.add.at(target.reshape(-1), cell[part.stock[kept]], value[0, kept])
    totals = net.sum(axis=1), minutes.sum(axis=1)
    for part, worth in zip(shelf.parts, worths, strict=True):
        concerned, member = _membership(group[part.stock])
        if not concerned.size:
            continue
        for start in range(0, part.trips.size, _BLOCK):
            rows = np.arange(start, min(start + _BLOCK, part.trips.size))
            without = part.worth(part.totals_without(rows), shelf)
            own = trip[part.stock][None, :] == part.trips[rows][:, None]
            for target, value, all_in in zip((net, minutes), without, worth, strict=True):
                value -= all_in
                value[own] = 0.0
                target[np.ix_(concerned, part.trips[rows])] -= (value @ member).T
            touched[np.ix_(concerned, part.trips[rows])] = True
    flat = touched.reshape(-1)
    place = np.cumsum(flat) - 1
    parts = []
    for at in range(count):
        mine = np.flatnonzero(touched[at])
        for target, total in zip((net, minutes), totals, strict=True):
            # The trips' lessons are counted to sum to nothing, so that the ratio stays the estimate.
            target[at, mine] += (total[at] - target[at, mine].sum()) / mine.size
        parts.append(place[at * size + mine])
    return list(names), parts, net.reshape(-1)[flat], minutes.reshape(-1)[flat]


def _membership(group: npt.NDArray[np.intp]) -> tuple[npt.NDArray[np.intp], Floats]:
    """Groups that items belong to, and a column of ones and zeros for each; below zero: none."""
    concerned = np.unique(group[group >= 0])
    return concerned, (group[:, None] == concerned[None, :]).astype(np.float64)


@dataclass(frozen=True)
class _Sums:
    """What a category's forecasts are computed from; leading axis: alternatives."""

    shelf: Shelf
    sales: Floats
    proceeds: Floats
    base: Floats
    sale_min: Floats
    listings: Floats
    listing_min: Floats


class _Category:
    """One category: its counts per trip, and its stock."""

    def __init__(self, rows: npt.NDArray[np.intp], columns: dict[str, Any], days: int) -> None:
        mine = {name: column[rows] for name, column in columns.items()}
        self.stock = rows[mine["stock"]]
        self.salvage = mine["salvage"][mine["stock"]]
        self.base = mine["base"][mine["stock"]]
        self.unlisted = mine["unlisted"][mine["stock"]]
        self.dead = mine["returned"][mine["stock"]]
        # Days got through without a sale: an item listed today has got through day 0.
        listed_days = mine["days"][mine["stock"]]
        self.through = np.where(self.unlisted | self.dead, 0, np.nan_to_num(listed_days) + 1).astype(np.int64)
        self.trips, code = np.unique(mine["trip"], return_inverse=True)
        self._counts = {
            name: self._per_trip_days(code, mine["days"], mask & mine["shown"], days)
            for name, mask in (("all", np.ones(rows.size, dtype=bool)), ("sold", mine["sold"]), ("gone", mine["gone"]))
        }
        self._sums = {
            name: np.bincount(code, weights=weights, minlength=self.trips.size)
            for name, weights in (
                ("sales", mine["sold"]),
                ("proceeds", np.where(mine["sold"], mine["proceeds"], 0.0)),
                ("base", np.where(mine["sold"], mine["base"], 0.0)),
                ("sale_min", np.where(mine["sold"], mine["sale_min"], 0.0)),
                ("listings", mine["shown"]),
                ("listing_min", np.where(mine["shown"], mine["listing_min"], 0.0)),
            )
        }
        self.mean_base = float(mine["base"].mean())

    def _per_trip_days(
        self, code: npt.NDArray[np.intp], listed: Floats, mask: npt.NDArray[np.bool_], days: int
    ) -> npt.NDArray[np.float32]:
        table = np.zeros((self.trips.size, days), dtype=np.float32)
        np.add.at(table, (code[mask], np.minimum(listed[mask], days - 1).astype(np.int64)), 1.0)
        return table

    def totals(self) -> _Sums:
        """Sums over all trips, with one alternative."""
        return self._made(
            {name: table.sum(axis=0, dtype=np.float64)[None, :] for name, table in self._counts.items()},
            {name: np.array([values.sum()]) for name, values in self._sums.items()},
        )

    def totals_without(self, trips: npt.NDArray[np.intp]) -> _Sums:
        """Sums with each of some trips left out."""
        return self._made(
            {name: table.sum(axis=0, dtype=np.float64) - table[trips] for name, table in self._counts.items()},
            {name: values.sum() - values[trips] for name, values in self._sums.items()},
        )

    def _made(self, counts: dict[str, Floats], sums: dict[str, Floats]) -> _Sums:
        at_risk = np.cumsum(counts["all"][:, ::-1], axis=1)[:, ::-1]
        return _Sums(Shelf(at_risk, counts["sold"], counts["gone"]), **sums)

    def forecast(self, sums: _Sums, shelf: _Shelves) -> tuple[Floats, Floats, Floats]:
        """Chance of a sale, money at it and minutes still to do of each item in stock."""
        sale, leave = pooled_hazards(sums.shelf, shelf.sale, shelf.leave)
        chance = chances_by_day(sale, leave, horizon_days=shelf.horizon.days)[:, self.through]
        chance = np.where(self.dead, 0.0, chance)
        prior = TYPICAL_SALES * self.mean_base
        rate = _price_rate(sums.proceeds + prior * shelf.rate, sums.base + prior)
        if_sold = rate[:, None] * self.base * shelf.late[self.through]
        sale_min = (sums.sale_min + TYPICAL_SALES * shelf.sale_min) / (sums.sales + TYPICAL_SALES)
        listing = (sums.listing_min + TYPICAL_SALES * shelf.listing_min) / (sums.listings + TYPICAL_SALES)
        work = chance * sale_min[:, None] + np.where(self.unlisted, listing[:, None], 0.0)
        return chance, if_sold, work

    def worth(self, sums: _Sums, shelf: _Shelves) -> tuple[Floats, Floats]:
        """What the stock may still bring, and the minutes still to do."""
        chance, if_sold, work = self.forecast(sums, shelf)
        return chance * if_sold + (1 - chance) * self.salvage, work


class _Shelves:
    """The whole shop's figures, and its categories."""

    def __init__(self, economics: pd.DataFrame, horizon: Horizon) -> None:
        self.horizon = horizon
        columns = _columns(economics, horizon)
        shown, sold = columns["shown"], columns["sold"]
        longest = int(np.max(columns["days"][shown], initial=0.0))
        days = longest + 2 + horizon.days
        self.sale, self.leave = shop_hazards(
            shelf_counts(columns["days"][shown], sold[shown], columns["gone"][shown], days=days)
        )
        base = float(columns["base"][sold].sum())
        self.rate = float(columns["proceeds"][sold].sum()) / base if base > 0 else 0.0
        self.sale_min = float(columns["sale_min"][sold].mean()) if sold.any() else 0.0
        self.listing_min = float(columns["listing_min"][shown].mean()) if shown.any() else 0.0
        code, names = pd.factorize(economics["category"].astype(object), sort=True)
        self.parts = [_Category(np.flatnonzero(code == at), columns, days) for at in range(len(names))]
        self.late = self._late_prices(columns, code, days)

    def _late_prices(self, columns: dict[str, Any], code: npt.NDArray[np.intp], days: int) -> Floats:
        """Money at sales later than each day over what the categories' means would expect of them."""
        expected = np.zeros(code.size)
        for at, part in enumerate(self.parts):
            sums = part.totals()
            prior = TYPICAL_SALES * part.mean_base
            own = _price_rate(sums.proceeds + prior * self.rate, sums.base + prior)
            expected[code == at] = own[0] * columns["base"][code == at]
        sold = columns["sold"] & columns["shown"]
        day = np.minimum(np.nan_to_num(columns["days"]), days - 1).astype(np.int64)[sold]
        got, due = (
            np.cumsum(np.bincount(day, weights=what[sold], minlength=days)[::-1])[::-1]
            for what in (columns["proceeds"], expected)
        )
        prior = LATE_SALES * (float(expected[sold].mean()) if sold.any() else 1.0)
        # A category that only loses at its sales has no price level to scale.
        return (got + prior) / (due + prior) if prior > 0 and (due + prior > 0).all() else np.ones(days)


def _price_rate(proceeds: Floats, base: Floats) -> Floats:
    """Money at a sale for each unit of the price level; zero where no price at all is known."""
    return np.divide(proceeds, base, out=np.zeros_like(proceeds), where=base > 0)


def _columns(economics: pd.DataFrame, horizon: Horizon) -> dict[str, Any]:
    """The plain arrays that the forecasts need."""
    status = economics["status"].to_numpy(dtype=object)
    cost = economics["cost_cents"].to_numpy(dtype=np.float64)
    spent = sum(
        economics[name].to_numpy(dtype=np.float64)
        for name in ("cost_cents", "trip_cents", "overhead_cents")
        if name in economics
    )
    sold = economics["sold_on"].notna().to_numpy()
    days, unlisted = _waits(economics, status, sold)
    sale_min, listing_min = _work(economics, status, sold)
    return {
        "trip": pd.factorize(economics["trip_id"].astype(object), sort=True)[0],
        "stock": np.isin(status, ["for sale", "not listed", "returned"]),
        "unlisted": unlisted,
        "returned": status == "returned",
        "sold": sold,
        "gone": (status == "gone") & ~sold,
        "shown": np.isfinite(days),
        "days": np.maximum(days, 0.0),
        "salvage": cost * horizon.salvage_ppm / PPM,
        "proceeds": economics["net_cents"].to_numpy(dtype=np.float64) + spent,
        "base": _price_level(economics, sold),
        "sale_min": sale_min,
        "listing_min": listing_min,
    }


def _waits(
    economics: pd.DataFrame, status: npt.NDArray[Any], sold: npt.NDArray[np.bool_]
) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """Days on sale, and which items are not yet on sale.

    Books may know few listing days or none. A sale without one is taken to have been listed
    after the usual time from purchase to listing; in books without any, the days since the
    purchase stand for the days on sale, and everything unsold is on sale.
    """
    days = economics["days_listed"].to_numpy(dtype=np.float64)
    unlisted = np.asarray(status == "not listed")
    if "days_held" not in economics or np.isfinite(days[sold | unlisted]).all():
        return days, unlisted
    held = economics["days_held"].to_numpy(dtype=np.float64)
    known = np.isfinite(days)
    if not known.any():
        return held, np.zeros(days.size, dtype=bool)
    lag = (economics["listed_on"] - economics["bought_on"]).dt.days.median()
    return np.where(sold & ~known, np.maximum(held - lag, 0.0), days), unlisted


def _price_level(economics: pd.DataFrame, sold: npt.NDArray[np.bool_]) -> Floats:
    """Each item's list price; the sold price, the category's or the shop's mean where it has none."""
    listed = economics["list_price_cents"].astype(np.float64)
    level = listed.where(listed > 0)
    level = level.fillna(economics["sold_price_cents"].astype(np.float64).where(sold))
    level = level.fillna(level.groupby(economics["category"].astype(object)).transform("mean"))
    return np.asarray(level.fillna(level.mean()).fillna(0.0).to_numpy(dtype=np.float64))


def _work(economics: pd.DataFrame, status: npt.NDArray[Any], sold: npt.NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Minutes that came with each item's sale, and minutes that went before its listing."""
    if all(name in economics for name in (*SALE_WORK, *LISTING_WORK)):
        at_sale, before = (economics[list(names)].to_numpy(dtype=np.float64) for names in (SALE_WORK, LISTING_WORK))
        return at_sale.sum(axis=1), before.sum(axis=1)
    # Without the activities, the stages' mean minutes tell the steps between them apart.
    minutes = economics["owner_min"].to_numpy(dtype=np.float64)
    stage = {
        name: float(minutes[mask].mean()) if mask.any() else np.nan
        for name, mask in (("sold", sold), ("for sale", status == "for sale"), ("not listed", status == "not listed"))
    }
    before = np.nan_to_num(stage["for sale"] - stage["not listed"])
    at_sale = stage["sold"] - (stage["for sale"] if np.isfinite(stage["for sale"]) else stage["not listed"])
    size = minutes.size
    return np.full(size, max(np.nan_to_num(at_sale), 0.0)), np.full(size, max(before, 0.0))
