"""What unsold stock may bring within a horizon, given how long it has waited."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.economics.items import HELD
from flipkit.errors import AssumptionError
from flipkit.money import PPM

# The chance that an unsold item sells within a horizon, given the days it has already waited.
#
# Kaplan-Meier by category says too little where few sold, so each category's daily chance of a sale is pulled
# towards the shop's in two steps: first the shop's curve is moved to the category's own pace (its sales over the
# sales that the shop's curve would expect, counted beside ``PACE_SALES`` expected ones), then each day's figure is
# the category's own counted beside ``DAY_ITEMS`` items that follow that curve. A category with a hundred items at
# risk speaks for itself; one with three speaks mostly through the shop.

Floats = npt.NDArray[np.float64]

#: How many expected sales the shop's pace weighs beside a category's own sales.
PACE_SALES = 5.0
#: How many items at risk the moved shop curve weighs beside a category's own on each day.
DAY_ITEMS = 5.0
#: The shop's curve is trusted while so many items are at risk; beyond, the mean of the last
#: ``TAIL_DAYS`` days goes on.
LEAST_AT_RISK = 10
TAIL_DAYS = 90


@dataclass(frozen=True)
class AtRisk:
    """Counts by day on sale: items at risk, sales, and items given up.

    Each has shape (..., days): leading axes hold alternatives, such as one trip left out.
    """

    at_risk: Floats
    sold: Floats
    given_up: Floats


def shelf_counts(days_listed: npt.ArrayLike, sold: npt.ArrayLike, given_up: npt.ArrayLike, *, days: int) -> AtRisk:
    """How many items were on sale at each day of their listing, and how many sold or left on it.

    >>> shelf_counts([0, 2, 2], [True, True, False], [False] * 3, days=4).at_risk.tolist()
    [3.0, 2.0, 2.0, 0.0]
    """
    day = np.minimum(np.asarray(days_listed, dtype=np.float64), days - 1).astype(np.int64)

    def count(mask: npt.ArrayLike) -> Floats:
        return np.bincount(day[np.asarray(mask, dtype=bool)], minlength=days).astype(np.float64)

    leaving = count(np.ones(day.size, dtype=bool))
    at_risk = np.cumsum(leaving[::-1])[::-1]
    return AtRisk(at_risk, count(sold), count(given_up))


def shop_hazards(shelf: AtRisk) -> tuple[Floats, Floats]:
    """The shop's daily chance of a sale and of giving up, carried on where too few items are left.

    >>> rates, _ = shop_hazards(shelf_counts([1] * 50 + [9] * 50, [True] * 50 + [False] * 50, [False] * 100, days=12))
    >>> rates.round(2).tolist()
    [0.0, 0.5, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.08, 0.08]
    """
    risk = np.maximum(shelf.at_risk, 1.0)
    sale, leave = shelf.sold / risk, shelf.given_up / risk
    thin = np.flatnonzero(shelf.at_risk < LEAST_AT_RISK)
    if thin.size:
        start = thin[0]
        first = max(0, start - TAIL_DAYS)
        seen = shelf.at_risk[first:start].sum()
        sale[start:] = shelf.sold[first:start].sum() / seen if seen else 0.0
        leave[start:] = shelf.given_up[first:start].sum() / seen if seen else 0.0
    return sale, leave


def pooled_hazards(own: AtRisk, shop_sale: Floats, shop_leave: Floats) -> tuple[Floats, Floats]:
    """A category's daily chances of a sale and of giving up, pulled towards the shop's."""
    expected = own.at_risk @ shop_sale
    pace = (own.sold.sum(axis=-1) + PACE_SALES) / (expected + PACE_SALES)
    moved = np.minimum(pace[..., None] * shop_sale, 1.0)
    weight = own.at_risk + DAY_ITEMS
    sale = np.minimum((own.sold + DAY_ITEMS * moved) / weight, 1.0)
    # Giving up is the seller's habit rather than the category's nature: no pace of its own.
    leave = np.minimum((own.given_up + DAY_ITEMS * shop_leave) / weight, 1.0 - sale)
    return sale, leave


def sale_probabilities_by_day(sale: Floats, leave: Floats, *, horizon_days: int) -> Floats:
    """Chance of a sale within the horizon for an item that has got through each number of days.

    >>> sale_probabilities_by_day(np.array([0.5, 0.5, 0.5]), np.zeros(3), horizon_days=2).tolist()
    [0.75, 0.75]
    """
    still = np.cumprod(1.0 - sale - leave, axis=-1)
    before = np.concatenate((np.ones((*still.shape[:-1], 1)), still[..., :-1]), axis=-1)
    sold = np.concatenate((np.zeros((*still.shape[:-1], 1)), np.cumsum(before * sale, axis=-1)), axis=-1)
    gain = sold[..., horizon_days:] - sold[..., : sold.shape[-1] - horizon_days]
    base = before[..., : gain.shape[-1]]
    return np.asarray(np.divide(gain, base, out=np.zeros_like(gain), where=base > 1e-12))


# What the forecasts of unsold stock need to know of each item: where it stands, its money, its minutes.

#: Work that comes only with a sale, and work that a thing needs before it is listed.
SALE_WORK = ("messages_min", "pack_min", "post_min", "returns_min")
LISTING_WORK = ("clean_min", "photograph_min", "write_min", "store_min")


def item_facts(economics: pd.DataFrame, *, salvage_ppm: int) -> dict[str, Any]:
    """The plain arrays that the forecasts need."""
    status = economics["status"].to_numpy(dtype=object)
    cost = economics["cost_cents"].to_numpy(dtype=np.float64)
    spent = sum(economics[f"{name}_cents"].to_numpy(dtype=np.float64) for name in HELD if f"{name}_cents" in economics)
    sold = economics["sold_on"].notna().to_numpy()
    days, unlisted = _waits(economics, status, sold)
    # What is to be given up brings its salvage, like what came back, and is worked on no more.
    given = economics["given_up"].to_numpy(dtype=bool) if "given_up" in economics else np.zeros(len(economics), bool)
    sale_min, listing_min = _work(economics, status, sold)
    return {
        "trip": pd.factorize(economics["trip_id"].astype(object), sort=True)[0],
        "stock": np.isin(status, ["for sale", "not listed", "returned"]),
        "unlisted": unlisted & ~given,
        "dead": (status == "returned") | given,
        "sold": sold,
        "gone": (status == "gone") & ~sold,
        "shown": np.isfinite(days),
        "days": np.maximum(days, 0.0),
        "salvage": cost * salvage_ppm / PPM,
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


# What unsold stock may still bring, and what work it still needs.
#
# An unsold item is worth its chance of selling within the horizon, given the days it has waited, times what such
# items bring at a sale, plus the salvage for the rest of the chance; and it will take, by the same chance, the
# work of a sale. What it cost so far stays spent.
#
# What such items bring is the category's money at a sale per dollar of list price, times the item's own list
# price, times what the shop's late sales bring beside early ones: what still waits will sell after markdowns, if
# at all.

#: How many sales the shop's figures weigh beside a category's own, for money and for minutes.
TYPICAL_SALES = 3.0
#: How many sales an unchanged price weighs beside the shop's late sales.
LATE_SALES = 10.0
#: Trips left out at a time.
_BLOCK = 256
#: The chances of a sale of up to so many items, times trips left out, are kept: at most 32 MB a shop.
_KEPT_CHANCES = 4_000_000


@dataclass(frozen=True)
class Horizon:
    """How far ahead unsold stock is looked at, and what it brings when it does not sell."""

    days: int  # [days]
    salvage_ppm: int

    def __post_init__(self) -> None:
        if self.days < 1:
            raise AssumptionError("stock.horizon_days", need="at least 1", got=self.days)
        if not 0 <= self.salvage_ppm <= PPM:
            raise AssumptionError("stock.salvage", need="from 0 % to 100 %", got=self.salvage_ppm)


def expected_stock_values(economics: pd.DataFrame, horizon: Horizon, *, shelves: Shelves | None = None) -> pd.DataFrame:
    """What each item will have brought and taken in the end, sold ones as they are."""
    shelf = shelves or Shelves(economics, horizon)
    columns = {
        name: np.zeros(len(economics))
        for name in ("chance", "if_sold_cents", "salvage_cents", "value_cents", "work_min")
    }
    for part in shelf.parts:
        chance, if_sold, work = (value[0] for value in part.forecast(shelf))
        value = chance * if_sold + (1 - chance) * part.salvage
        for column, values in zip(columns.values(), (chance, if_sold, part.salvage, value, work), strict=True):
            column[part.stock] = values
    found = pd.DataFrame(columns, index=economics.index)
    found["expected_net_cents"] = economics["net_cents"].to_numpy(dtype=np.float64) + found["value_cents"]
    found["expected_min"] = economics["owner_min"].to_numpy(dtype=np.float64) + found["work_min"]
    return found


def expected_values_by_trip(
    economics: pd.DataFrame,
    horizon: Horizon,
    *,
    inside: npt.NDArray[np.bool_],
    by: str,
    shelves: Shelves | None = None,
) -> tuple[list[Any], npt.NDArray[np.bool_], Floats, Floats]:
    """Expected net and minutes of each group, as one pair of pseudo-values a trip that concerns it.

    A trip counts with its own items and with what it teaches about the others: its pseudo-value
    is the group's total less the total with that trip left out and every forecast made without
    it. So the interval over trips holds the forecasts' own uncertainty. Without unsold items
    the pseudo-values are the trips' plain sums. Groups stand side by side, to be drawn together.
    """
    shelf = shelves or Shelves(economics, horizon)
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
    worths = [part.worth(shelf) for part in shelf.parts]
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
            without = part.worth(shelf, without=rows)
            own = trip[part.stock][None, :] == part.trips[rows][:, None]
            for target, value, all_in in zip((net, minutes), without, worth, strict=True):
                value -= all_in
                value[own] = 0.0
                target[np.ix_(concerned, part.trips[rows])] -= (value @ member).T
            touched[np.ix_(concerned, part.trips[rows])] = True
    for at in range(count):
        mine = np.flatnonzero(touched[at])
        for target, total in zip((net, minutes), totals, strict=True):
            # The trips' lessons are counted to sum to nothing, so that the ratio stays the estimate.
            target[at, mine] += (total[at] - target[at, mine].sum()) / mine.size
    return list(names), touched, net, minutes


@lru_cache(maxsize=4)
def _chances(_waited: bytes) -> dict[tuple[int, int], Floats]:
    """A place for the chances of one shop, kept by what they depend on."""
    return {}


def _membership(group: npt.NDArray[np.intp]) -> tuple[npt.NDArray[np.intp], Floats]:
    """Groups that items belong to, and a column of ones and zeros for each; below zero: none."""
    concerned = np.unique(group[group >= 0])
    return concerned, (group[:, None] == concerned[None, :]).astype(np.float64)


@dataclass(frozen=True)
class _Sums:
    """What a category's money and minutes are forecast from; leading axis: alternatives."""

    sales: Floats
    proceeds: Floats
    base: Floats
    sale_min: Floats
    listings: Floats
    listing_min: Floats


class _Category:
    """One category: its sums and counts per trip, and its stock."""

    def __init__(self, at: int, rows: npt.NDArray[np.intp], columns: dict[str, Any], days: int) -> None:
        self._at, self._days = at, days
        mine = {name: column[rows] for name, column in columns.items()}
        self._listed = {name: mine[name] for name in ("days", "shown", "sold", "gone")}
        self.stock = rows[mine["stock"]]
        self.salvage = mine["salvage"][mine["stock"]]
        self.base = mine["base"][mine["stock"]]
        self.unlisted = mine["unlisted"][mine["stock"]]
        self.dead = mine["dead"][mine["stock"]]
        # Days got through without a sale: an item listed today has got through day 0.
        listed_days = mine["days"][mine["stock"]]
        self.through = np.where(self.unlisted | self.dead, 0, np.nan_to_num(listed_days) + 1).astype(np.int64)
        self.trips, self._code = np.unique(mine["trip"], return_inverse=True)
        self._sums = {
            name: np.bincount(self._code, weights=weights, minlength=self.trips.size)
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

    @cached_property
    def _counts(self) -> dict[str, npt.NDArray[np.float32]]:
        """Items that were shown, sold and given up, a row a trip and a column a day on sale."""
        found = {}
        for name in ("shown", "sold", "gone"):
            mask = self._listed[name] & self._listed["shown"]
            day = np.minimum(self._listed["days"][mask], self._days - 1).astype(np.int64)
            found[name] = np.zeros((self.trips.size, self._days), dtype=np.float32)
            np.add.at(found[name], (self._code[mask], day), 1.0)
        return found

    def sums(self, without: npt.NDArray[np.intp] | None = None) -> _Sums:
        """Sums over all trips, one alternative, or with each of some trips left out."""
        return _Sums(**{name: _left(values, without) for name, values in self._sums.items()})

    def chance(self, shelf: Shelves, without: npt.NDArray[np.intp] | None = None) -> Floats:
        """Chance of a sale of each item in stock: of days and trips alone, whatever money and minutes are."""
        key = (self._at, -1 if without is None else int(without[0]))
        if key in shelf.chances:
            return shelf.chances[key]
        counts = {name: _left(table.astype(np.float64), without) for name, table in self._counts.items()}
        at_risk = np.cumsum(counts["shown"][:, ::-1], axis=1)[:, ::-1]
        sale, leave = pooled_hazards(AtRisk(at_risk, counts["sold"], counts["gone"]), *shelf.hazards)
        found = sale_probabilities_by_day(sale, leave, horizon_days=shelf.horizon.days)[:, self.through]
        found = np.where(self.dead, 0.0, found)
        # Kept for whoever asks again, so nobody may write into it.
        found.flags.writeable = False
        shelf.chances[key] = found
        return found

    def forecast(self, shelf: Shelves, without: npt.NDArray[np.intp] | None = None) -> tuple[Floats, Floats, Floats]:
        """Chance of a sale, money at it and minutes still to do of each item in stock."""
        chance, sums = self.chance(shelf, without), self.sums(without)
        prior = TYPICAL_SALES * self.mean_base
        rate = _price_rate(sums.proceeds + prior * shelf.rate, sums.base + prior)
        if_sold = rate[:, None] * self.base * shelf.late[self.through]
        sale_min = (sums.sale_min + TYPICAL_SALES * shelf.sale_min) / (sums.sales + TYPICAL_SALES)
        listing = (sums.listing_min + TYPICAL_SALES * shelf.listing_min) / (sums.listings + TYPICAL_SALES)
        work = chance * sale_min[:, None] + np.where(self.unlisted, listing[:, None], 0.0)
        return chance, if_sold, work

    def worth(self, shelf: Shelves, without: npt.NDArray[np.intp] | None = None) -> tuple[Floats, Floats]:
        """What the stock may still bring, and the minutes still to do."""
        chance, if_sold, work = self.forecast(shelf, without)
        return chance * if_sold + (1 - chance) * self.salvage, work


def _left(values: npt.NDArray[Any], without: npt.NDArray[np.intp] | None) -> Floats:
    """Sums over the trips as one alternative, or one with each of some trips left out."""
    total = values.sum(axis=0)
    return np.asarray(total[None] if without is None else total - values[without])


class Shelves:
    """What the forecasts are made from: the whole shop's figures, and its categories."""

    def __init__(self, economics: pd.DataFrame, horizon: Horizon) -> None:
        self.horizon = horizon
        columns = self._columns = item_facts(economics, salvage_ppm=horizon.salvage_ppm)
        shown, sold = columns["shown"], columns["sold"]
        longest = int(np.max(columns["days"][shown], initial=0.0))
        self._days = days = longest + 2 + horizon.days
        base = float(columns["base"][sold].sum())
        self.rate = float(columns["proceeds"][sold].sum()) / base if base > 0 else 0.0
        self.sale_min = float(columns["sale_min"][sold].mean()) if sold.any() else 0.0
        self.listing_min = float(columns["listing_min"][shown].mean()) if shown.any() else 0.0
        code, names = pd.factorize(economics["category"].astype(object), sort=True)
        self.parts = [_Category(at, np.flatnonzero(code == at), columns, days) for at in range(len(names))]
        self.chances = self._kept(code)
        self.late = self._late_prices(columns, code, days)

    @cached_property
    def hazards(self) -> tuple[Floats, Floats]:
        """The whole shop's daily chance of a sale and of giving up."""
        days, sold, gone = (self._columns[name][self._columns["shown"]] for name in ("days", "sold", "gone"))
        return shop_hazards(shelf_counts(days, sold, gone, days=self._days))

    def _kept(self, code: npt.NDArray[np.intp]) -> dict[tuple[int, int], Floats]:
        """Chances that were computed before for items that have waited just as these have."""
        if sum(part.trips.size * part.stock.size for part in self.parts) > _KEPT_CHANCES:
            return {}
        waited = hashlib.blake2b(f"{self.horizon.days} {self._days}".encode())
        for name in ("trip", "stock", "unlisted", "dead", "shown", "days", "sold", "gone"):
            waited.update(np.ascontiguousarray(self._columns[name]).tobytes())
        waited.update(code.tobytes())
        return _chances(waited.digest())

    def _late_prices(self, columns: dict[str, Any], code: npt.NDArray[np.intp], days: int) -> Floats:
        """Money at sales later than each day over what the categories' means would expect of them."""
        expected = np.zeros(code.size)
        for at, part in enumerate(self.parts):
            sums = part.sums()
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
