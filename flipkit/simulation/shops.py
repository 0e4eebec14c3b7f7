"""The lives of items: their value and cost, the weeks until somebody buys, the parcel, the work."""

from __future__ import annotations

import datetime as dt
from dataclasses import fields

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.books.schema import ACTIVITIES
from flipkit.simulation.draws import Draws, Floats, Ints
from flipkit.simulation.kinds import ZONE_WEIGHTS, ZONES, Kind, Shop

MINUTES = tuple(f"{activity}_min" for activity in ACTIVITIES)
EPOCH = dt.date(1970, 1, 1)
#: Days since 1970 plus this, modulo 7, is 0 on a Monday.
_MONDAY = 3


def asked_cents(list_cents: Ints, markdowns: Ints, share: Floats) -> Ints:
    """The asking price after some markdowns, in whole dollars (half dollars below twenty).

    Parameters
    ----------
    list_cents : array, shape (n,)
        First list price. [cents]
    markdowns : array, shape (n,)
        How many markdowns there were.
    share : array, shape (n,)
        The part of the price that each takes off.

    Returns
    -------
    array, shape (n,)
        The price, int64. [cents]

    Examples
    --------
    >>> asked_cents(np.array([4500]), np.array([2]), np.array([0.1])).tolist()
    [3600]
    """
    exact = list_cents * (1.0 - share) ** markdowns
    step = np.where(exact < 2000, 50, 100)
    return np.maximum(np.rint(exact / step) * step, 100).astype(np.int64)


def lives(shop: Shop, trips: pd.DataFrame, trip: Ints, kind: Ints, draws: Draws) -> pd.DataFrame:
    """The life of each item, given the trips and what each brought.

    Parameters
    ----------
    shop : Shop
        The distributions.
    trips : DataFrame
        As ``histories`` makes them.
    trip, kind : array, shape (n,)
        Place of each item's trip in ``trips``, and of its kind in ``shop.kinds``.
    draws : Draws
        Where the luck comes from.

    Returns
    -------
    DataFrame
        One row an item; see ``histories``.
    """
    n = trip.size
    code = {name: np.array([getattr(one, name) for one in shop.kinds], dtype=np.float64)[kind] for name in _NUMBERS}
    effect = {
        name: shop.trip_spread * draws.normal(f"trip {name}", len(trips))[trip]
        for name in ("value", "cost", "demand", "work")
    }
    value_log = code["price_spread"] * draws.normal("value", n) + effect["value"]
    value = code["price_usd"] * np.exp(value_log)
    cost = code["cost_usd"] * np.exp(
        code["cost_follows"] * value_log + code["cost_spread"] * draws.normal("cost", n) + effect["cost"]
    )
    # Whole half dollars, and quarters below three dollars, as on the tags.
    step = np.where(cost < 3, 25, 50)
    cost_cents = np.maximum(np.rint(100 * cost / step) * step, 25).astype(np.int64)
    bought = trips["day"].to_numpy()[trip]
    listed = bought + 1 + np.floor(code["lag_days"] * draws.waiting("lag", n)).astype(np.int64)
    listed += _days_to(shop.listing_weekdays)[(listed + _MONDAY) % 7]
    asked = value * code["markup"] * np.exp(code["markup_spread"] * draws.normal("markup", n))
    list_cents = asked_cents(np.rint(100 * asked).astype(np.int64), np.zeros(n, dtype=np.int64), np.zeros(n))
    week, sold = _weeks_to_sale(code, value, list_cents, effect["demand"], draws)
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
    in_week = draws.whole("day of sale", 0, 6, n)
    sold_day = listed + 7 * week + in_week
    days = {"bought_on": bought, "listed_on": listed, "sold_on": np.where(sold, sold_day, _NEVER)}
    _posting(frame, days, shop, code, sold, draws)
    _work(frame, shop, trips, code, effect["work"], days, draws)
    for name, day in days.items():
        frame[name] = _as_days(day)
    return frame


#: Fields of Kind that are one number, so that each item can have its kind's.
_NUMBERS = tuple(each.name for each in fields(Kind) if each.type in ("float", "int"))
_NEVER = np.iinfo(np.int64).min


def _days_to(weekdays: tuple[int, ...]) -> Ints:
    """Days from each weekday, Monday first, to the next of some weekdays; none if any day will do."""
    ahead = [min(((one - today) % 7 for one in weekdays), default=0) for today in range(7)]
    return np.array(ahead, dtype=np.int64)


def _as_days(day: Ints) -> npt.NDArray[np.datetime64]:
    """Days since 1970 as dates, with NaT for what never happens (the smallest integer is NaT)."""
    return day.astype("datetime64[D]").astype("datetime64[s]")


def _weeks_to_sale(
    code: dict[str, Floats], value: Floats, list_cents: Ints, demand: Floats, draws: Draws
) -> tuple[Ints, npt.NDArray[np.bool_]]:
    """Whole weeks listed before the sale, or before giving up; and whether it sold."""
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
        cut = np.full(open_.size, now) // code["markdown_weeks"][open_].astype(np.int64)
        price = asked_cents(list_cents[open_], cut, code["markdown_share"][open_]) / 100.0
        pull = (price / value[open_]) ** -code["price_pull"][open_]
        rate = code["weekly_rate"][open_] * appeal[open_] * pull * np.exp(-code["fading"][open_] * now)
        spent[open_] += rate
        hit = spent[open_] >= patience[open_]
        sold[open_[hit]] = True
        week[open_] = np.where(hit, now, now + 1)
    return week, sold


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
    back = on + draws.whole("days to return", 6, 24, n)
    end = days["listed_on"] + 7 * frame["weeks_listed"].to_numpy()
    gone_how = np.array(["donated", "scrapped", "kept"])[draws.choice("gone how", (70, 22, 8), n)]
    gone = returned | ~sold
    days["returned_on"] = np.where(returned, back, _NEVER)
    days["gone_on"] = np.where(returned, back + draws.whole("days to give away", 3, 40, n), np.where(sold, _NEVER, end))
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
        "refund_cents": refund.astype(np.int64),
        "gone_how": np.where(gone, gone_how, ""),
    }
    for name, column in new.items():
        frame[name] = column


def stored(weeks: npt.ArrayLike) -> Floats:
    """Part of a kind's storing minutes spent on an item after some weeks on the shelf.

    Parameters
    ----------
    weeks : array, shape (n,)
        Weeks listed.

    Returns
    -------
    array, shape (n,)
        The part.
    """
    return np.asarray(0.8 + 0.02 * np.asarray(weeks, dtype=np.float64))


def answered(weeks: npt.ArrayLike, sold: npt.ArrayLike) -> Floats:
    """Part of a kind's minutes for messages spent on an item: most with the sale, some each week.

    Parameters
    ----------
    weeks : array, shape (n,)
        Weeks listed.
    sold : array of bool, shape (n,)
        Whether it is sold.

    Returns
    -------
    array, shape (n,)
        The part.
    """
    return np.asarray(0.2 + 0.6 * np.asarray(sold, dtype=np.float64) + 0.03 * np.asarray(weeks, dtype=np.float64))


def _work(
    frame: pd.DataFrame,
    shop: Shop,
    trips: pd.DataFrame,
    code: dict[str, Floats],
    heavy: Floats,
    days: dict[str, Ints],
    draws: Draws,
) -> None:
    """Minutes by activity, the packer's pay, the trip's share and the net: adds the columns."""
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
    effort = np.exp(heavy + 0.6 * code["minutes_spread"] * draws.normal("effort", n))
    for activity, column in zip(ACTIVITIES, MINUTES, strict=True):
        if activity == "find":
            trip = frame["trip"].to_numpy()
            frame[column] = (trips["minutes"] / trips["items"]).to_numpy()[trip]
            continue
        median = np.array([one.minutes.get(activity, 0.0) for one in shop.kinds])[kind]
        noise = np.exp(0.8 * code["minutes_spread"] * draws.normal(f"minutes {activity}", n))
        frame[column] = np.round(median * effort * noise * extent.get(activity, 1.0), 1)
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
        frame["sold_price_cents"] + frame["shipping_charged_cents"] - frame["refund_cents"] - frame["fees_cents"]
    ) - frame[
        ["label_cents", "label_adjustment_cents", "materials_cents", "cost_cents", "trip_cents", "hired_cents"]
    ].sum(axis=1)
