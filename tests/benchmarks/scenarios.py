"""Shops that are hard to judge, each in its own way, for measuring what the kit's figures are worth."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from flipkit.simulation.demo import DEMO_KINDS
from flipkit.simulation.shops import Draws, Histories, Kind, Shop, histories

#: The period of buying of every scenario, and the day on which its seller looks back.
FIRST_DAY = dt.date(2025, 1, 1)
LAST_DAY = dt.date(2026, 12, 31)


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """A shop and what is hard about it."""

    name: str
    what: str
    shop: Shop
    focus: tuple[str, ...]


def _demo(name: str) -> Kind:
    return replace(next(kind for kind in DEMO_KINDS if kind.name == name), share=1.0)


_STEADY = ("stoneware", "hand tools", "wool blankets", "cookware", "board games", "film cameras and lenses")


def _shop(kinds: tuple[Kind, ...], *, whole: bool) -> Shop:
    """A small shop of six kinds, or one as large as the demo shop."""
    trips, items = (1.95, 10.8) if whole else (1.2, 9.0)
    return Shop(
        kinds=kinds,
        first_day=FIRST_DAY,
        last_day=LAST_DAY,
        trips_per_week=trips,
        items_per_trip=items,
        favour=1.1,
    )


def _kinds(*focal: str, whole: bool) -> tuple[Kind, ...]:
    """The focal kinds of the demo shop with steady ones beside them, or all twelve."""
    if whole:
        return tuple(_demo(kind.name) for kind in DEMO_KINDS)
    names = [*focal, *(name for name in _STEADY if name not in focal)]
    return tuple(_demo(name) for name in names[:6])


def scenarios(*, whole_shop: bool = False) -> tuple[Scenario, ...]:
    """The scenarios, in the order of their tables.

    >>> [scenario.name for scenario in scenarios()]
    ['ordinary', 'few sales', 'heavy tails', 'slow sellers', 'loses money', 'two thirds never sell', 'two equal']
    >>> {len(scenario.shop.kinds) for scenario in scenarios(whole_shop=True)}
    {12}
    """
    steady = _kinds(whole=whole_shop)
    thin = tuple(
        replace(kind, weekly_rate=min(kind.weekly_rate, 0.035), never_share=max(kind.never_share, 0.33))
        for kind in steady
    )
    dear = tuple(replace(kind, price_spread=1.0, cost_follows=0.5) for kind in steady)
    slow = tuple(
        replace(kind, weekly_rate=min(kind.weekly_rate, 0.025), fading=0.0, give_up_weeks=104, markdown_weeks=13)
        for kind in steady
    )
    garden = replace(_demo("hand tools"), name="garden tools")
    twins = tuple(garden if kind.name == "folding chairs" else kind for kind in steady)
    if not whole_shop:
        twins = (_demo("hand tools"), garden, *[kind for kind in steady if kind.name != "hand tools"][:4])
    told = (
        ("ordinary", "things that mostly sell", steady, _STEADY),
        ("few sales", "a thin market: a third is never wanted, the rest waits", thin, _STEADY),
        ("heavy tails", "a few dear finds carry the rest", dear, _STEADY),
        ("slow sellers", "half of what will sell waits half a year or more", slow, _STEADY),
        (
            "loses money",
            "one category costs more to send than it brings",
            _kinds("folding chairs", whole=whole_shop),
            ("folding chairs",),
        ),
        (
            "two thirds never sell",
            "what sells of one category looks best of all, and most of it never does",
            _kinds("framed prints", whole=whole_shop),
            ("framed prints",),
        ),
        ("two equal", "two categories alike in everything but the name", twins, ("hand tools", "garden tools")),
    )
    return tuple(
        Scenario(name=name, what=what, shop=_shop(kinds, whole=whole_shop), focus=focus)
        for name, what, kinds, focus in told
    )


def shops_with(shop: Shop, *, items_each: int, copies: int, seed: int) -> Histories:
    """Many shops alike, each with exactly so many items bought of every category.

    Trips are drawn over the shop's whole period and kept in an order of chance until a category
    has its number, so that neither quick sellers nor early days are favoured.

    >>> drawn = shops_with(scenarios()[0].shop, items_each=20, copies=3, seed=1)
    >>> int(drawn.items.groupby(["copy", "category"], observed=True).size().min())
    20
    """
    weeks = (shop.last_day - shop.first_day).days / 7 + 1
    share = np.array([kind.share for kind in shop.kinds])
    rarest = shop.items_per_trip * share.min() / share.sum()
    # Half as many again as needed, and a few more where few are needed: chance falls short less.
    needed = (1.5 * items_each + 6 * np.sqrt(items_each)) / rarest
    whole = histories(replace(shop, trips_per_week=needed / weeks), seed=seed, copies=copies)
    items = whole.items
    place = Draws(seed).uniform("order of the trips", len(whole.trips))[items["trip"].to_numpy()]
    order = np.lexsort((np.arange(len(items)), place))
    rank = pd.Series(0, index=items.index)
    shuffled = items.iloc[order]
    rank.iloc[order] = shuffled.groupby(["copy", "category"], observed=True).cumcount().to_numpy()
    kept = items[(rank < items_each).to_numpy()].reset_index(drop=True)
    return replace(whole, items=kept)
