"""Histories of items, drawn to the very end: bought, listed, marked down, sold or given away.

Nothing is hidden here: a history holds what a real seller's books never do, the true minutes of
every item and the end of those that still wait today. ``flipkit.simulation.observed`` cuts it
off at a day.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.simulation.draws import Draws
from flipkit.simulation.kinds import Floats, Shop
from flipkit.simulation.shops import EPOCH, lives

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Histories:
    """Everything that happened in one shop, or in many copies of it.

    Parameters
    ----------
    shop : Shop
        What was drawn from.
    items : DataFrame
        One row an item, in the order of buying: see ``histories``.
    trips : DataFrame
        One row a trip: copy, trip, day, miles, parking_cents, entry_cents, minutes, items.
    """

    shop: Shop
    items: pd.DataFrame
    trips: pd.DataFrame


def histories(shop: Shop, *, seed: int, copies: int = 1) -> Histories:
    """Histories of all items of a shop, or of several shops drawn alike.

    Parameters
    ----------
    shop : Shop
        How it buys and what becomes of its items.
    seed : int
        The same seed gives the same histories.
    copies : int
        How many shops, told apart by the column ``copy``.

    Returns
    -------
    Histories
        Its ``items`` have the columns copy, trip, category, kind (its place in ``shop.kinds``),
        value_cents (what such a thing typically brings), the days bought_on, listed_on, sold_on,
        returned_on and gone_on (NaT where it never happens), weeks_listed, markdowns, outcome
        ("sold", "returned", "gone"), offer, venue, zone, sides, weight_lb, amounts in cents, one
        column of minutes an activity (all workers), hired_min, owner_min and net_cents.

    Examples
    --------
    >>> from flipkit.simulation.kinds import Kind
    >>> cup = Kind(name="cups", price_usd=20, cost_usd=4, minutes={"pack": 8.0})
    >>> drawn = histories(Shop(kinds=(cup,)), seed=1)
    >>> sorted(drawn.items.outcome.unique())
    ['gone', 'returned', 'sold']
    """
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
