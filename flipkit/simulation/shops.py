"""Shops whose truth is known, drawn the same after every upgrade."""

from __future__ import annotations

import datetime as dt
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from functools import singledispatch
from typing import Protocol

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.books.schema import ACTIVITIES
from flipkit.money import Cents, percentage

# Random draws that stay the same: a stream for each purpose, made from raw bits alone.
#
# The library that supplies the bits promises the raw bits of a generator for ever, but not the values of its
# ready-made distributions. A shop drawn today must be the same shop after an upgrade, so every draw here starts
# from raw bits. A stream has a name, so a new draw somewhere never moves the draws elsewhere.

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


class Draws:
    """Named streams of random draws from one seed.

    >>> one = Draws(7).uniform("price", 2)
    >>> bool((one == Draws(7).uniform("price", 2)).all()), bool((one == Draws(7).uniform("cost", 2)).any())
    (True, False)
    """

    def __init__(self, seed: int) -> None:
        self.seed = seed
        self._streams: dict[str, np.random.PCG64] = {}

    def uniform(self, name: str, size: int) -> Floats:
        """Numbers above 0 and below 1."""
        stream = self._streams.get(name)
        if stream is None:
            stream = np.random.PCG64(np.random.SeedSequence([self.seed, zlib.crc32(name.encode())]))
            self._streams[name] = stream
        raw = np.atleast_1d(stream.random_raw(size))
        # The half keeps the number off 0, where the logarithm and the normal quantile are infinite.
        return ((raw >> np.uint64(12)).astype(np.float64) + 0.5) / 2.0**52

    def normal(self, name: str, size: int) -> Floats:
        """Standard normal numbers."""
        from scipy.special import ndtri

        return np.asarray(ndtri(self.uniform(name, size)), dtype=np.float64)

    def waiting(self, name: str, size: int) -> Floats:
        """Exponential waiting times of mean 1."""
        return -np.log(self.uniform(name, size))

    def whole(self, name: str, low: int, high: int, size: int) -> Ints:
        """Whole numbers from low to high, both included, all as likely."""
        return low + np.floor(self.uniform(name, size) * (high - low + 1)).astype(np.int64)

    def choice(self, name: str, weights: npt.ArrayLike, size: int) -> Ints:
        """Places 0 to k - 1, each as likely as its weight."""
        edges = np.cumsum(np.asarray(weights, dtype=np.float64))
        place = np.searchsorted(edges, self.uniform(name, size) * edges[-1], side="right")
        return np.minimum(place, len(edges) - 1).astype(np.int64)

    def counts(self, name: str, mean: npt.ArrayLike) -> Ints:
        """Poisson counts, one for each mean, by adding up the chances (means below about 50)."""
        given = np.asarray(mean, dtype=np.float64)
        target = self.uniform(name, given.size)
        count = np.zeros(given.size, dtype=np.int64)
        chance = np.exp(-given)
        total = chance.copy()
        while (below := (total < target) & (chance > 1e-18)).any():
            count += below
            chance = np.where(below, chance * given / np.maximum(count, 1), chance)
            total = np.where(below, total + chance, total)
        return count


# What a simulated shop is made of: kinds of things, the shop that buys them, and its charges.

#: Zones of a label and how often a buyer lives there; "pickup" is drawn apart.
ZONES = ("2", "3", "4", "5", "6", "7", "8")
ZONE_WEIGHTS = (6.0, 12.0, 22.0, 25.0, 14.0, 11.0, 10.0)


@dataclass(frozen=True, kw_only=True)
class Kind:
    """One kind of thing and the distributions of its items.

    Amounts are medians in dollars, since a median and a spread of logarithms say what a seller
    can picture; everything drawn from them becomes whole cents at once.

    >>> mug = Kind(name="mugs", price_usd=20, cost_usd=4, minutes={"pack": 8.0})
    >>> mug.name, mug.markup
    ('mugs', 1.15)
    """

    name: str
    share: float = 1.0
    price_usd: float
    price_spread: float = 0.45
    cost_usd: float
    cost_spread: float = 0.40
    cost_follows: float = 0.6
    sides_in: tuple[float, float, float] = (12.0, 10.0, 8.0)
    sides_spread: float = 0.12
    weight_lb: float = 4.0
    weekly_rate: float = 0.10
    price_pull: float = 2.5
    fading: float = 0.02
    never_share: float = 0.05
    appeal_spread: float = 0.35
    markup: float = 1.15
    markup_spread: float = 0.12
    lag_days: float = 9.0
    markdown_weeks: int = 7
    markdown_share: float = 0.10
    relist_weeks: int = 13
    give_up_weeks: int = 52
    offer_share: float = 0.30
    offer_discount: float = 0.10
    local_share: float = 0.05
    shipping_share: float = 0.90
    return_share: float = 0.03
    damage_share: float = 0.02
    materials_usd: float = 1.50
    helper_share: float = 0.0
    minutes: Mapping[str, float]
    minutes_spread: float = 0.30


class Charges(Protocol):
    """What others take: fees and labels, at the day of the event."""

    def fees_cents(
        self, day: npt.ArrayLike, venue: npt.ArrayLike, category: npt.ArrayLike, goods: Cents, shipping: Cents
    ) -> Cents:
        """Marketplace fees of sales, in cents."""

    def fees_back_cents(
        self,
        day: npt.ArrayLike,
        venue: npt.ArrayLike,
        category: npt.ArrayLike,
        goods: Cents,
        shipping: Cents,
        refund: Cents,
    ) -> Cents:
        """What comes back of them with a refund, in cents."""

    def labels_cents(self, day: npt.ArrayLike, zone: npt.ArrayLike, sides_in: Floats, weight_lb: Floats) -> Cents:
        """Labels of parcels, in cents."""

    def mileage_cents(self, day: npt.ArrayLike, miles: Floats) -> Cents:
        """Driving at the dated rate, in cents."""


@dataclass(frozen=True, kw_only=True)
class PlainCharges:
    """Charges in four numbers, for shops whose truth is to be computed fast.

    >>> plain = PlainCharges()
    >>> plain.fees_cents([0], ["any"], ["mugs"], np.array([5000]), np.array([1000])).tolist()
    [940]
    """

    fee_ppm: int = 150_000
    per_order_cents: int = 40
    label_base_cents: int = 520
    label_lb_cents: int = 72
    divisor: float = 166.0
    mile_cents: int = 70

    def fees_cents(
        self, day: npt.ArrayLike, venue: npt.ArrayLike, category: npt.ArrayLike, goods: Cents, shipping: Cents
    ) -> Cents:
        """Marketplace fees of sales; a collected sale is none here."""
        return percentage(goods + shipping, self.fee_ppm) + self.per_order_cents

    def fees_back_cents(
        self,
        day: npt.ArrayLike,
        venue: npt.ArrayLike,
        category: npt.ArrayLike,
        goods: Cents,
        shipping: Cents,
        refund: Cents,
    ) -> Cents:
        """What comes back of them with a refund: nothing here."""
        return np.zeros(refund.size, dtype=np.int64)

    def labels_cents(self, day: npt.ArrayLike, zone: npt.ArrayLike, sides_in: Floats, weight_lb: Floats) -> Cents:
        """Labels of parcels; "pickup" has none."""
        volume = np.ceil(sides_in).prod(axis=1)
        billable = np.ceil(np.maximum(weight_lb, np.where(volume > 1728, volume / self.divisor, 0.0)))
        where = np.asarray(zone)
        far = np.array([0.55 + 0.1125 * int(name) for name in ZONES])
        place = np.searchsorted(ZONES, np.where(where == "pickup", "2", where))
        cents = self.label_base_cents + np.rint(billable * self.label_lb_cents * far[place]).astype(np.int64)
        return np.where(where == "pickup", 0, cents)

    def mileage_cents(self, day: npt.ArrayLike, miles: Floats) -> Cents:
        """Driving at the one rate."""
        return np.rint(np.asarray(miles) * self.mile_cents).astype(np.int64)


@dataclass(frozen=True, kw_only=True)
class Shop:
    """A shop and how it buys."""

    kinds: tuple[Kind, ...]
    first_day: dt.date = dt.date(2025, 1, 4)
    last_day: dt.date = dt.date(2026, 11, 14)
    trips_per_week: float = 1.4
    items_per_trip: float = 11.0
    favour: float = 2.0
    trip_spread: float = 0.15
    miles: float = 22.0
    parking_share: float = 0.3
    entry_share: float = 0.15
    trip_minutes: float = 95.0
    find_minutes: float = 4.0
    listing_weekdays: tuple[int, ...] = ()
    helper_from: dt.date | None = None
    wage_cents: int = 1600
    burden_ppm: int = 90_000
    venues: tuple[str, ...] = ("posted",)
    venue_weights: tuple[float, ...] = (1.0,)
    local_venue: str = "local"
    charges: Charges = field(default_factory=PlainCharges)

    @property
    def names(self) -> tuple[str, ...]:
        """The names of the kinds, in order."""
        return tuple(kind.name for kind in self.kinds)


# The lives of items: their value and cost, the weeks until somebody buys, the parcel, the work.

MINUTES = tuple(f"{activity}_min" for activity in ACTIVITIES)
EPOCH = dt.date(1970, 1, 1)
#: Days since 1970 plus this, modulo 7, is 0 on a Monday.
_MONDAY = 3


def asked_cents(list_cents: Ints, markdowns: Ints, share: Floats) -> Ints:
    """The asking price after some markdowns, in whole dollars (half dollars below twenty).

    >>> asked_cents(np.array([4500]), np.array([2]), np.array([0.1])).tolist()
    [3600]
    """
    exact = list_cents * (1.0 - share) ** markdowns
    step = np.where(exact < 2000, 50, 100)
    return np.maximum(np.rint(exact / step) * step, 100).astype(np.int64)


@singledispatch
def lives(shop: Shop, trips: pd.DataFrame, trip: Ints, kind: Ints, draws: Draws) -> pd.DataFrame:
    """The life of each item, given the trips and what each brought; another family of shops has its own."""
    n = trip.size
    code = by_kind(shop, kind)
    effect = {
        name: shop.trip_spread * draws.normal(f"trip {name}", len(trips))[trip]
        for name in ("value", "cost", "demand", "work")
    }
    value_log = code["price_spread"] * draws.normal("value", n) + effect["value"]
    value = code["price_usd"] * np.exp(value_log)
    cost = code["cost_usd"] * np.exp(
        code["cost_follows"] * value_log + code["cost_spread"] * draws.normal("cost", n) + effect["cost"]
    )
    bought = trips["day"].to_numpy()[trip]
    listed = bought + 1 + np.floor(code["lag_days"] * draws.waiting("lag", n)).astype(np.int64)
    listed += _days_to(shop.listing_weekdays)[(listed + _MONDAY) % 7]
    asked = value * code["markup"] * np.exp(code["markup_spread"] * draws.normal("markup", n))
    list_cents = asked_cents(np.rint(100 * asked).astype(np.int64), np.zeros(n, dtype=np.int64), np.zeros(n))
    week, sold, appeal = _weeks_to_sale(code, value, list_cents, effect["demand"], draws)
    sold_day = listed + 7 * week + draws.whole("day of sale", 0, 6, n)
    days = {"bought_on": bought, "listed_on": listed, "sold_on": np.where(sold, sold_day, NEVER)}
    frame = sales(shop, trips, trip, kind, code, value, tags(cost), list_cents, week, days, draws)
    frame["appeal"] = appeal
    effort = np.exp(effect["work"] + 0.6 * code["minutes_spread"] * draws.normal("effort", n))
    noise = {
        activity: np.exp(0.8 * code["minutes_spread"] * draws.normal(f"minutes {activity}", n))
        for activity in ACTIVITIES
        if activity != "find"
    }
    return worked(frame, shop, trips, code, {name: effort * one for name, one in noise.items()}, days, draws)


def by_kind(shop: Shop, kind: Ints) -> dict[str, Floats]:
    """Each number of the kinds, as every item has it of its own."""
    return {name: np.array([getattr(one, name) for one in shop.kinds], dtype=np.float64)[kind] for name in _NUMBERS}


def tags(cost: Floats) -> Ints:
    """Costs in cents as on the tags: whole half dollars, and quarters below three dollars."""
    step = np.where(cost < 3, 25, 50)
    return np.maximum(np.rint(100 * cost / step) * step, 25).astype(np.int64)


def sales(
    shop: Shop,
    trips: pd.DataFrame,
    trip: Ints,
    kind: Ints,
    code: dict[str, Floats],
    value: Floats,
    cost_cents: Ints,
    list_cents: Ints,
    week: Ints,
    days: dict[str, Ints],
    draws: Draws,
) -> pd.DataFrame:
    """What each item sold for after its markdowns, how it went out, and what that cost."""
    n = trip.size
    sold = days["sold_on"] != NEVER
    markdowns = np.minimum(week, code["give_up_weeks"].astype(np.int64) - 1) // code["markdown_weeks"].astype(np.int64)
    price = asked_cents(list_cents, markdowns, code["markdown_share"])
    offer = sold & (draws.uniform("offer", n) < code["offer_share"])
    discount = np.minimum(code["offer_discount"] * 2 * draws.uniform("discount", n), 0.5)
    price = np.where(offer, np.maximum(np.rint(price * (1 - discount) / 100) * 100, 100), price).astype(np.int64)
    frame = pd.DataFrame(
        {
            "copy": trips["copy"].to_numpy()[trip],
            "trip": trip,
            "kind": kind,
            "value_cents": np.rint(100 * value).astype(np.int64),
            "cost_cents": cost_cents,
            "list_price_cents": list_cents,
            "weeks_listed": week,
            "markdowns": markdowns,
            "relists": week // code["relist_weeks"].astype(np.int64),
            "offer": offer,
            "sold_price_cents": np.where(sold, price, 0),
        }
    )
    frame["category"] = pd.Categorical.from_codes(kind.astype(np.int16), categories=list(dict.fromkeys(shop.names)))
    _posting(frame, days, shop, code, sold, draws)
    return frame


#: Fields of Kind that are one number, so that each item can have its kind's.
_NUMBERS = tuple(each.name for each in fields(Kind) if each.type in ("float", "int"))
#: The day of what never happens: the smallest integer, which as a date is no date.
NEVER = np.iinfo(np.int64).min


def _days_to(weekdays: tuple[int, ...]) -> Ints:
    """Days from each weekday, Monday first, to the next of some weekdays; none if any day will do."""
    ahead = [min(((one - today) % 7 for one in weekdays), default=0) for today in range(7)]
    return np.array(ahead, dtype=np.int64)


def _as_days(day: Ints) -> npt.NDArray[np.datetime64]:
    """Days since 1970 as dates, with NaT for what never happens."""
    return day.astype("datetime64[D]").astype("datetime64[s]")


def _weeks_to_sale(
    code: dict[str, Floats], value: Floats, list_cents: Ints, demand: Floats, draws: Draws
) -> tuple[Ints, npt.NDArray[np.bool_], Floats]:
    """Whole weeks listed before the sale, or before giving up; whether it sold; how much it was wanted."""
    n = value.size
    patience = draws.waiting("patience", n)
    wanted = draws.uniform("wanted", n) >= code["never_share"]
    appeal = np.exp(code["appeal_spread"] * draws.normal("appeal", n) + 2.0 * demand) * wanted
    spent = np.zeros(n)
    week = np.zeros(n, dtype=np.int64)
    sold = np.zeros(n, dtype=bool)
    for now in range(int(code["give_up_weeks"].max(initial=0))):
        open_ = np.flatnonzero(~sold & (now < code["give_up_weeks"]))
        if not open_.size:
            break
        own = {name: code[name][open_] for name in _DEMAND}
        spent[open_] += weekly_rates(own, value[open_], list_cents[open_], appeal[open_], np.full(open_.size, now))
        hit = spent[open_] >= patience[open_]
        sold[open_[hit]] = True
        week[open_] = np.where(hit, now, now + 1)
    return week, sold, appeal


#: Numbers of a kind that say how buyers come.
_DEMAND = ("weekly_rate", "price_pull", "fading", "markdown_weeks", "markdown_share")


def weekly_rates(code: Mapping[str, Floats], value: Floats, list_cents: Ints, appeal: Floats, week: Ints) -> Floats:
    """Sales expected of each item in a week on sale, at the price asked in it."""
    cut = week // code["markdown_weeks"].astype(np.int64)
    price = asked_cents(list_cents, cut, code["markdown_share"]) / 100.0
    pull = (price / value) ** -code["price_pull"]
    return np.asarray(code["weekly_rate"] * appeal * pull * np.exp(-code["fading"] * week))


def _posting(
    frame: pd.DataFrame,
    days: dict[str, Ints],
    shop: Shop,
    code: dict[str, Floats],
    sold: npt.NDArray[np.bool_],
    draws: Draws,
) -> None:
    """Venue, parcel, fees, label, refunds and what becomes of the rest: adds the columns."""
    n = len(frame)
    local = sold & (draws.uniform("local", n) < code["local_share"])
    at = np.where(local, len(shop.venues), draws.choice("venue", shop.venue_weights, n))
    venue = np.array([*shop.venues, shop.local_venue])[at]
    at = np.where(local, len(ZONES), np.where(sold, draws.choice("zone", ZONE_WEIGHTS, n), len(ZONES) + 1))
    zone = np.array([*ZONES, "pickup", ""])[at]
    kind = frame["kind"].to_numpy()
    # Held within two spreads: nobody packs a carton that no carrier takes.
    size = np.exp(code["sides_spread"] * np.clip(draws.normal("size", n), -2.0, 2.0))
    sides = np.array([one.sides_in for one in shop.kinds])[kind] * size[:, None]
    sides *= np.exp(0.05 * draws.normal("shape", 3 * n).reshape(n, 3))
    sides = np.maximum(np.ceil(sides * 2) / 2, 2.0)
    # A thing twice as large in each side would weigh eight times as much, were it not mostly air.
    weight = np.round(np.maximum(code["weight_lb"] * size**2 * np.exp(0.10 * draws.normal("weight", n)), 0.2), 1)
    posted = sold & ~local
    on = days["sold_on"]
    label = np.zeros(n, dtype=np.int64)
    label[posted] = shop.charges.labels_cents(on[posted], zone[posted], sides[posted], weight[posted])
    charged = np.where(posted, np.rint(label * code["shipping_share"] / 50) * 50, 0).astype(np.int64)
    goods = frame["sold_price_cents"].to_numpy()
    fees = np.zeros(n, dtype=np.int64)
    category = np.array(shop.names, dtype=object)[kind]
    fees[sold] = shop.charges.fees_cents(on[sold], venue[sold], category[sold], goods[sold], charged[sold])
    adjusted = posted & (draws.uniform("adjusted", n) < 0.04)
    adjustment = np.where(adjusted, np.rint(label * 0.3 * draws.uniform("adjustment", n)), 0).astype(np.int64)
    materials = np.rint(100 * code["materials_usd"] * np.exp(0.25 * draws.normal("materials", n)))
    materials = np.where(posted, materials, np.where(local, np.rint(materials * 0.15), 0)).astype(np.int64)
    luck = draws.uniform("after the sale", n)
    returned = posted & (luck < code["return_share"])
    damaged = posted & ~returned & (luck < code["return_share"] + code["damage_share"])
    part = np.where(draws.uniform("refund part", n) < 0.5, 1.0, 0.4)
    refund = np.where(returned, goods + charged, np.where(damaged, np.rint(part * goods / 100) * 100, 0))
    refund = refund.astype(np.int64)
    given, fees_back = np.flatnonzero(refund > 0), np.zeros(n, dtype=np.int64)
    fees_back[given] = shop.charges.fees_back_cents(
        on[given], venue[given], category[given], goods[given], charged[given], refund[given]
    )
    back = on + draws.whole("days to return", 6, 24, n)
    end = days["listed_on"] + 7 * frame["weeks_listed"].to_numpy()
    gone_how = np.array(["donated", "scrapped", "kept"])[draws.choice("gone how", (70, 22, 8), n)]
    gone = returned | ~sold
    days["returned_on"] = np.where(returned, back, NEVER)
    days["gone_on"] = np.where(returned, back + draws.whole("days to give away", 3, 40, n), np.where(sold, NEVER, end))
    outcome = np.array(["sold", "returned", "gone"])[np.where(returned, 1, np.where(sold, 0, 2))]
    new = {
        "outcome": outcome,
        "local": local,
        "venue": venue,
        "zone": zone,
        "length_in": np.sort(sides, axis=1)[:, 2],
        "width_in": np.sort(sides, axis=1)[:, 1],
        "height_in": np.sort(sides, axis=1)[:, 0],
        "weight_lb": weight,
        "shipping_charged_cents": charged,
        "fees_cents": fees,
        "label_cents": label,
        "label_adjustment_cents": adjustment,
        "materials_cents": materials,
        "refund_cents": refund,
        "fees_back_cents": fees_back,
        "gone_how": np.where(gone, gone_how, ""),
    }
    for name, column in new.items():
        frame[name] = column


def stored(weeks: npt.ArrayLike) -> Floats:
    """Part of a kind's storing minutes spent on an item after some weeks on the shelf."""
    return np.asarray(0.8 + 0.02 * np.asarray(weeks, dtype=np.float64))


def answered(weeks: npt.ArrayLike, sold: npt.ArrayLike) -> Floats:
    """Part of a kind's minutes for messages spent on an item: most with the sale, some each week."""
    return np.asarray(0.2 + 0.6 * np.asarray(sold, dtype=np.float64) + 0.03 * np.asarray(weeks, dtype=np.float64))


def worked(
    frame: pd.DataFrame,
    shop: Shop,
    trips: pd.DataFrame,
    code: dict[str, Floats],
    effort: Mapping[str, Floats],
    days: dict[str, Ints],
    draws: Draws,
) -> pd.DataFrame:
    """Adds minutes by activity (a kind's, times each item's effort), pay, the trip's share, the net and the days."""
    n = len(frame)
    kind = frame["kind"].to_numpy()
    weeks = frame["weeks_listed"].to_numpy()
    sold = (frame["outcome"] != "gone").to_numpy()
    posted = sold & ~frame["local"].to_numpy()
    trouble = frame["refund_cents"].to_numpy() > 0
    # How far each activity went: a thing that never sells is never packed, but it is stored.
    extent = {
        "store": stored(weeks),
        "messages": answered(weeks, sold),
        "pack": np.where(posted, 1.0, 0.2 * sold),
        "post": np.where(posted, 1.0, 0.5 * sold),
        "returns": trouble.astype(np.float64),
    }
    for activity, column in zip(ACTIVITIES, MINUTES, strict=True):
        if activity == "find":
            trip = frame["trip"].to_numpy()
            frame[column] = (trips["minutes"] / trips["items"]).to_numpy()[trip]
            continue
        median = np.array([one.minutes.get(activity, 0.0) for one in shop.kinds])[kind]
        frame[column] = np.round(median * effort[activity] * extent.get(activity, 1.0), 1)
    helped = posted & (draws.uniform("packed by the helper", n) < code["helper_share"])
    helped &= False if shop.helper_from is None else days["sold_on"] >= (shop.helper_from - EPOCH).days
    frame["hired_min"] = np.where(helped, frame["pack_min"], 0.0)
    wage = shop.wage_cents * (1.0 + shop.burden_ppm / 1e6)
    frame["hired_cents"] = np.rint(frame["hired_min"].to_numpy() * wage / 60.0).astype(np.int64)
    trip_cost = shop.charges.mileage_cents(trips["day"].to_numpy(), trips["miles"].to_numpy())
    trip_cost = trip_cost + trips["parking_cents"].to_numpy() + trips["entry_cents"].to_numpy()
    share = np.rint(trip_cost / trips["items"].to_numpy()).astype(np.int64)
    frame["trip_cents"] = share[frame["trip"].to_numpy()]
    frame["owner_min"] = frame[list(MINUTES)].sum(axis=1) - frame["hired_min"]
    frame["net_cents"] = (
        frame["sold_price_cents"]
        + frame["shipping_charged_cents"]
        + frame["fees_back_cents"]
        - frame["refund_cents"]
        - frame["fees_cents"]
    ) - frame[
        ["label_cents", "label_adjustment_cents", "materials_cents", "cost_cents", "trip_cents", "hired_cents"]
    ].sum(axis=1)
    for name, day in days.items():
        frame[name] = _as_days(day)
    return frame


# Histories of items, drawn to the very end: bought, listed, marked down, sold or given away.
#
# Nothing is hidden here: a history holds what a real seller's books never do, the true minutes of every item and
# the end of those that still wait today. ``flipkit.simulation.shops`` cuts it off at a day.


@dataclass(frozen=True)
class Histories:
    """Everything that happened in one shop, or in many copies of it."""

    shop: Shop
    items: pd.DataFrame
    trips: pd.DataFrame


def histories(shop: Shop, *, seed: int, copies: int = 1) -> Histories:
    """Histories of all items of a shop, or of several shops drawn alike."""
    draws = Draws(seed)
    trips = _trips(shop, draws, copies)
    trip = np.repeat(np.arange(len(trips)), trips["items"])
    kind = _kinds_bought(shop, draws, trip, len(trips))
    items = lives(shop, trips, trip, kind, draws)
    return Histories(shop=shop, items=items, trips=trips)


def _trips(shop: Shop, draws: Draws, copies: int) -> pd.DataFrame:
    """The trips of every copy, each with a day, its costs and the number of things it brings."""
    span = (shop.last_day - shop.first_day).days
    weeks = np.arange(copies * (span // 7 + 1))
    count = draws.counts("trips a week", np.full(weeks.size, shop.trips_per_week))
    week = np.repeat(weeks, count)
    copy, week = np.divmod(week, span // 7 + 1)
    # Mostly on the first day of the week that the shop counts from, else on some later day.
    late = draws.uniform("trip on another day", week.size) < 0.45
    offset = np.where(late, draws.whole("day of the week", 1, 6, week.size), 0)
    day = np.minimum(7 * week + offset, span)
    # One trip a day: two on the same day become one.
    copy, day = np.divmod(np.unique(copy * (span + 1) + day), span + 1)
    size = copy.size
    items = 1 + draws.counts("items of a trip", np.full(size, shop.items_per_trip - 1.0))
    miles = np.rint(shop.miles * np.exp(0.5 * draws.normal("miles", size)))
    parking = np.where(
        draws.uniform("parking", size) < shop.parking_share, 100 * draws.whole("parking paid", 2, 8, size), 0
    )
    entry = np.where(draws.uniform("entry", size) < shop.entry_share, 100 * draws.whole("entry paid", 1, 6, size), 0)
    minutes = shop.trip_minutes * np.exp(0.25 * draws.normal("trip minutes", size)) + shop.find_minutes * items
    return pd.DataFrame(
        {
            "copy": copy,
            "trip": np.arange(size),
            "day": day + (shop.first_day - EPOCH).days,
            "miles": miles,
            "parking_cents": parking,
            "entry_cents": entry,
            "minutes": np.rint(minutes),
            "items": items,
        }
    )


def _kinds_bought(shop: Shop, draws: Draws, trip: Ints, trips: int) -> Ints:
    """Kind of each item; a trip favours some kinds, as a house or a stall does."""
    share = np.array([kind.share for kind in shop.kinds])
    favour = shop.favour * share / share.sum() * len(share)
    weight = _gamma_like(draws, favour, trips)
    edges = np.cumsum(weight, axis=1)
    target = draws.uniform("kind", trip.size) * edges[trip, -1]
    return (edges[trip] < target[:, None]).sum(axis=1).astype(np.int64)


def _gamma_like(draws: Draws, shape: Floats, rows: int) -> Floats:
    """Positive weights with the mean of ``shape`` and its variance, as a gamma draw would have.

    A logarithmic normal with the same two moments, so that it comes from raw bits in one step.
    """
    spread = np.sqrt(np.log1p(1.0 / shape))
    z = draws.normal("trip favours", rows * shape.size).reshape(rows, shape.size)
    return np.asarray(shape * np.exp(spread * z - spread**2 / 2.0))
