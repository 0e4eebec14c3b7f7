"""A second family of shops with known truth, made of other distributions, on which nothing was tuned."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import gammaincinv

from flipkit.books.schema import ACTIVITIES
from flipkit.simulation.shops import (
    EPOCH,
    NEVER,
    Draws,
    Floats,
    Ints,
    Kind,
    Shop,
    asked_cents,
    by_kind,
    lives,
    sales,
    tags,
    worked,
)
from tests.benchmarks.scenarios import FIRST_DAY, LAST_DAY, Scenario

# Prices, costs, minutes and waits are mixtures of gammas and point masses. What a trip brings and the minutes that
# it takes go together, prices and paces drift, some sales lose money, a share never sells, and on wish a few rare
# finds bring many times the rest. The waits know nothing of price and week: there is no weekly hazard here.


@dataclass(frozen=True)
class Part:
    """One part of a mixture: a gamma of a mean and a shape, or with an endless shape the mean itself."""

    weight: float
    mean: float
    shape: float = math.inf


def mixed(draws: Draws, name: str, parts: Sequence[Part], size: int) -> Floats:
    """Draws from a mixture.

    >>> tags = mixed(Draws(1), "tags", (Part(0.5, 5.0), Part(0.5, 20.0)), 400)
    >>> sorted(set(tags.tolist())), bool(10 < mixed(Draws(1), "gamma", (Part(1.0, 12.0, 2.0),), 400).mean() < 14)
    ([5.0, 20.0], True)
    """
    at = draws.choice(f"part of {name}", [part.weight for part in parts], size)
    mean, shape = (np.array([getattr(part, what) for part in parts])[at] for what in ("mean", "shape"))
    place = draws.uniform(name, size)
    spread = np.isfinite(shape)
    found = mean.copy()
    found[spread] *= gammaincinv(shape[spread], place[spread]) / shape[spread]
    return found


@dataclass(frozen=True, kw_only=True)
class MixtureKind(Kind):
    """A kind whose items are drawn from mixtures: prices and costs in dollars, waits in days, minutes as a factor."""

    prices: tuple[Part, ...]
    costs: tuple[Part, ...]
    waits: tuple[Part, ...]
    work: tuple[Part, ...] = (Part(0.3, 0.7), Part(0.55, 0.85, 3.0), Part(0.15, 2.2, 2.0))


@dataclass(frozen=True, kw_only=True)
class MixtureShop(Shop):
    """A shop of such kinds. Trips differ by a skewed luck in prices, by minutes and by waits, all in logarithms."""

    kinds: tuple[MixtureKind, ...]
    trip_minutes_spread: float = 0.15
    minutes_with_luck: float = 0.0
    trip_wait_spread: float = 0.3
    price_drift: float = 0.0
    wait_drift: float = 0.0


@lives.register
def mixture_lives(shop: MixtureShop, trips: pd.DataFrame, trip: Ints, kind: Ints, draws: Draws) -> pd.DataFrame:
    """The life of each item of a shop of mixtures."""
    n, code = trip.size, by_kind(shop, kind)
    luck = (mixed(draws, "luck of the trip", (Part(1.0, 2.0, 2.0),), len(trips)) - 2.0) / math.sqrt(2.0)
    slow = shop.trip_minutes_spread * draws.normal("minutes of the trip", len(trips)) + shop.minutes_with_luck * luck
    late = shop.trip_wait_spread * draws.normal("wait of the trip", len(trips))
    bought = trips["day"].to_numpy()[trip]
    years = (bought - (shop.first_day - EPOCH).days) / 365.25
    value = _of_kinds(shop, kind, "prices", draws) * np.exp(shop.trip_spread * luck[trip] + shop.price_drift * years)
    cost_cents = tags(_of_kinds(shop, kind, "costs", draws))
    listed = (
        bought + 1 + np.rint(mixed(draws, "days to listing", (Part(0.4, 1.0), Part(0.6, 12.0, 1.5)), n)).astype(int)
    )
    wait = np.floor(_of_kinds(shop, kind, "waits", draws) * np.exp(late[trip] + shop.wait_drift * years)).astype(int)
    patience = 7 * code["give_up_weeks"].astype(np.int64)
    sold = (draws.uniform("wanted", n) >= code["never_share"]) & (wait < patience)
    week = np.where(sold, wait, patience) // 7
    days = {"bought_on": bought, "listed_on": listed, "sold_on": np.where(sold, listed + wait, NEVER)}
    list_cents = asked_cents(np.rint(100 * code["markup"] * value).astype(np.int64), np.zeros(n, int), np.zeros(n))
    frame = sales(shop, trips, trip, kind, code, value, cost_cents, list_cents, week, days, draws)
    each = np.exp(slow)[trip] * _of_kinds(shop, kind, "work", draws)
    effort = {
        activity: each * mixed(draws, f"minutes {activity}", (Part(0.5, 1.0), Part(0.5, 1.0, 4.0)), n)
        for activity in ACTIVITIES
        if activity != "find"
    }
    return worked(frame, shop, trips, code, effort, days, draws)


def _of_kinds(shop: MixtureShop, kind: Ints, what: str, draws: Draws) -> Floats:
    """A draw for each item from its own kind's mixture."""
    found = np.zeros(kind.size)
    for at, one in enumerate(shop.kinds):
        mine = kind == at
        found[mine] = mixed(draws, f"{what} of {one.name}", getattr(one, what), int(mine.sum()))
    return found


def _kind(name: str, price: float, cost: float, wait: float, minutes: float, *, never: float = 0.12) -> MixtureKind:
    """A kind of middling traits: a third of its prices on round tags, some free finds, some sold at once."""
    return MixtureKind(
        name=name,
        price_usd=price,
        cost_usd=cost,
        prices=(Part(0.2, 0.5 * price), Part(0.15, price), Part(0.45, 0.9 * price, 1.6), Part(0.2, 1.9 * price, 6.0)),
        costs=(Part(0.15, 0.25), Part(0.25, 0.6 * cost), Part(0.6, 1.4 * cost, 1.2)),
        waits=(Part(0.12, 0.5), Part(0.53, 0.6 * wait, 1.3), Part(0.35, 1.9 * wait, 0.8)),
        never_share=never,
        give_up_weeks=52,
        return_share=0.06,
        damage_share=0.04,
        minutes=dict(zip([one for one in ACTIVITIES if one != "find"], np.array(_WORK) * minutes, strict=True)),
    )


#: How an hour of work on a thing falls on the activities after finding it.
_WORK = (6.0, 8.0, 9.0, 7.0, 2.0, 5.0, 11.0, 5.0, 16.0)


def mixture_scenarios() -> tuple[Scenario, ...]:
    """Shops of this family, each with a trait that intervals may stumble over.

    >>> [one.name for one in mixture_scenarios()]
    ['plain mixtures', 'minutes follow luck', 'drift', 'many losses', 'half never sells', 'rare dear finds']
    """
    kinds = (
        _kind("teapots", 30, 5, 50, 0.8),
        _kind("wall clocks", 64, 14, 80, 1.5),
        _kind("radios", 85, 18, 45, 1.8),
        _kind("quilts", 70, 12, 110, 1.1),
        _kind("picture books", 22, 3, 60, 0.5),
        _kind("desk lamps", 48, 8, 70, 1.3, never=0.2),
    )
    plain = MixtureShop(
        kinds=kinds, first_day=FIRST_DAY, last_day=LAST_DAY, trips_per_week=1.2, items_per_trip=9.0, favour=1.1
    )
    losing = [replace(one, costs=(Part(0.5, 0.6 * one.price_usd), *one.costs), return_share=0.12) for one in kinds]
    unsold = [replace(one, never_share=0.5, give_up_weeks=40) for one in kinds]
    dear = [
        replace(one, prices=(Part(0.96, 0.8 * one.price_usd, 2.0), Part(0.04, 8.0 * one.price_usd, 4.0)))
        for one in kinds
    ]
    told = (
        ("plain mixtures", "gammas and round prices", plain),
        (
            "minutes follow luck",
            "a trip that brings more takes longer",
            replace(plain, trip_spread=0.3, minutes_with_luck=0.35),
        ),
        ("drift", "prices fall and waits grow from year to year", replace(plain, price_drift=-0.2, wait_drift=0.4)),
        ("many losses", "a third costs most of what it brings, many come back", replace(plain, kinds=tuple(losing))),
        ("half never sells", "half is never wanted", replace(plain, kinds=tuple(unsold))),
        ("rare dear finds", "4 % of the things bring ten times the rest", replace(plain, kinds=tuple(dear))),
    )
    names = tuple(one.name for one in kinds)
    return tuple(Scenario(name=name, what=what, shop=shop, focus=names) for name, what, shop in told)
