"""Shops that are hard to judge, each in its own way, for measuring what the kit's figures are worth."""

from __future__ import annotations

import dataclasses
import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd

from flipkit.simulation.demo_kinds import DEMO_KINDS
from flipkit.simulation.draws import Draws
from flipkit.simulation.histories import Histories, histories
from flipkit.simulation.kinds import Kind, Shop

#: The period of buying of every scenario, and the day on which its seller looks back.
FIRST_DAY = dt.date(2025, 1, 1)
LAST_DAY = dt.date(2026, 12, 31)


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """A shop and what is hard about it.

    Parameters
    ----------
    name : str
        Its name in tables.
    what : str
        What is hard, in a seller's words.
    shop : Shop
        The shop.
    focus : tuple of str
        The categories that the difficulty is about.
    """

    name: str
    what: str
    shop: Shop
    focus: tuple[str, ...]


def _demo(name: str, **changes: object) -> Kind:
    kind = next(kind for kind in DEMO_KINDS if kind.name == name)
    return dataclasses.replace(kind, **{"share": 1.0, **changes})  # type: ignore[arg-type]


def _shop(*kinds: Kind) -> Shop:
    return Shop(kinds=kinds, first_day=FIRST_DAY, last_day=LAST_DAY, trips_per_week=1.2, items_per_trip=9.0, favour=1.1)


_STEADY = ("stoneware", "hand tools", "wool blankets", "cookware", "board games", "film cameras and lenses")


def _all(**changes: object) -> Shop:
    return _shop(*(_demo(name, **changes) for name in _STEADY))


def _with(*focal: Kind) -> Shop:
    rest = [name for name in _STEADY if name not in {kind.name for kind in focal}]
    return _shop(*focal, *(_demo(name) for name in rest[: 6 - len(focal)]))


def scenarios() -> tuple[Scenario, ...]:
    """The scenarios, in the order of their tables.

    Returns
    -------
    tuple of Scenario
        Each with six categories bought in about equal numbers over two years.

    Examples
    --------
    >>> [scenario.name for scenario in scenarios()]
    ['ordinary', 'few sales', 'heavy tails', 'slow sellers', 'loses money', 'two thirds never sell', 'two equal']
    """
    tools = _demo("hand tools")
    return (
        Scenario(name="ordinary", what="six kinds of things that mostly sell", shop=_all(), focus=_STEADY),
        Scenario(
            name="few sales",
            what="a thin market: a third is never wanted, the rest waits",
            shop=_all(weekly_rate=0.035, never_share=0.33),
            focus=_STEADY,
        ),
        Scenario(
            name="heavy tails",
            what="a few dear finds carry the rest",
            shop=_all(price_spread=1.0, cost_follows=0.5),
            focus=_STEADY,
        ),
        Scenario(
            name="slow sellers",
            what="half of what will sell waits half a year or more",
            shop=_all(weekly_rate=0.025, fading=0.0, give_up_weeks=104, markdown_weeks=13),
            focus=_STEADY,
        ),
        Scenario(
            name="loses money",
            what="one category costs more to send than it brings",
            shop=_with(_demo("folding chairs")),
            focus=("folding chairs",),
        ),
        Scenario(
            name="two thirds never sell",
            what="what sells of one category looks best of all, and most of it never does",
            shop=_with(_demo("framed prints")),
            focus=("framed prints",),
        ),
        Scenario(
            name="two equal",
            what="two categories that are alike in everything but the name",
            shop=_with(tools, dataclasses.replace(tools, name="garden tools")),
            focus=("hand tools", "garden tools"),
        ),
    )


def shops_with(shop: Shop, *, items_each: int, copies: int, seed: int) -> Histories:
    """Many shops alike, each with exactly so many items bought of every category.

    Trips are drawn over the shop's whole period and kept in an order of chance until a category
    has its number, so that neither quick sellers nor early days are favoured.

    Parameters
    ----------
    shop : Shop
        The shop; only its number of trips is changed.
    items_each : int
        Items of each category.
    copies : int
        How many shops.
    seed : int
        Seed.

    Returns
    -------
    Histories
        The kept items; copies that by chance found fewer than ``items_each`` of a category have
        what they found.

    Examples
    --------
    >>> drawn = shops_with(scenarios()[0].shop, items_each=20, copies=3, seed=1)
    >>> int(drawn.items.groupby(["copy", "category"], observed=True).size().min())
    20
    """
    weeks = (shop.last_day - shop.first_day).days / 7 + 1
    share = np.array([kind.share for kind in shop.kinds])
    rarest = shop.items_per_trip * share.min() / share.sum()
    # Half as many again as needed, and a few more where few are needed: chance falls short less.
    needed = (1.5 * items_each + 6 * np.sqrt(items_each)) / rarest
    whole = histories(dataclasses.replace(shop, trips_per_week=needed / weeks), seed=seed, copies=copies)
    items = whole.items
    place = Draws(seed).uniform("order of the trips", len(whole.trips))[items["trip"].to_numpy()]
    order = np.lexsort((np.arange(len(items)), place))
    rank = pd.Series(0, index=items.index)
    shuffled = items.iloc[order]
    rank.iloc[order] = shuffled.groupby(["copy", "category"], observed=True).cumcount().to_numpy()
    kept = items[(rank < items_each).to_numpy()].reset_index(drop=True)
    return dataclasses.replace(whole, items=kept)
