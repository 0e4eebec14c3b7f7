"""The demo shop, and shops that are hard to judge."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from flipkit.paths import demo_folder
from flipkit.rules.tables import Rules, load_rules
from flipkit.simulation.books import Gaps, Logging, RuleCharges, books_tables, with_mistakes
from flipkit.simulation.shops import Draws, Histories, Kind, Shop, histories

# The twelve kinds of things that the demo shop buys.

_ORDER = ("research", "clean", "photograph", "write", "store", "messages", "pack", "post", "returns")


def _minutes(*median: float) -> dict[str, float]:
    return dict(zip(_ORDER, median, strict=True))


#: The twelve kinds. Small things that pay: cameras, tools, stoneware. Typewriters bring much and
#: eat the hours. Framed prints look fine where they sell, and mostly never do. Folding chairs
#: cost more to send than they bring.
DEMO_KINDS = (
    Kind(
        name="stoneware",
        share=1.5,
        price_usd=34,
        cost_usd=5,
        sides_in=(11, 10, 8),
        weight_lb=5.0,
        weekly_rate=0.068,
        never_share=0.08,
        damage_share=0.04,
        materials_usd=1.9,
        minutes=_minutes(6, 7, 9, 7, 2, 5, 13, 5, 15),
    ),
    Kind(
        name="table lamps",
        share=1.0,
        price_usd=74,
        cost_usd=11,
        sides_in=(26, 16, 16),
        weight_lb=11.0,
        weekly_rate=0.042,
        never_share=0.12,
        markup=1.2,
        local_share=0.22,
        shipping_share=0.72,
        return_share=0.03,
        damage_share=0.07,
        materials_usd=7.5,
        helper_share=0.7,
        give_up_weeks=46,
        minutes=_minutes(7, 22, 14, 9, 6, 8, 38, 9, 32),
    ),
    Kind(
        name="film cameras and lenses",
        share=1.1,
        price_usd=78,
        price_spread=0.6,
        cost_usd=17,
        sides_in=(10, 8, 6),
        weight_lb=2.6,
        weekly_rate=0.11,
        never_share=0.05,
        return_share=0.07,
        damage_share=0.01,
        local_share=0.02,
        materials_usd=1.4,
        minutes=_minutes(11, 14, 14, 12, 1, 8, 9, 5, 20),
    ),
    Kind(
        name="board games",
        share=1.3,
        price_usd=31,
        cost_usd=4,
        sides_in=(15, 12, 5),
        weight_lb=3.4,
        weekly_rate=0.07,
        never_share=0.06,
        materials_usd=1.6,
        give_up_weeks=44,
        minutes=_minutes(6, 16, 8, 8, 2, 4, 9, 5, 15),
    ),
    Kind(
        name="hand tools",
        share=1.5,
        price_usd=37,
        price_spread=0.5,
        cost_usd=6,
        sides_in=(13, 8, 5),
        weight_lb=4.6,
        weekly_rate=0.09,
        never_share=0.05,
        return_share=0.015,
        damage_share=0.005,
        materials_usd=1.2,
        minutes=_minutes(5, 9, 7, 6, 2, 4, 7, 4, 14),
    ),
    Kind(
        name="wool blankets",
        share=0.9,
        price_usd=62,
        cost_usd=11,
        sides_in=(16, 13, 7),
        weight_lb=5.2,
        weekly_rate=0.045,
        never_share=0.08,
        damage_share=0.0,
        materials_usd=1.1,
        minutes=_minutes(6, 18, 10, 8, 3, 5, 8, 5, 15),
    ),
    Kind(
        name="framed prints",
        share=1.2,
        price_usd=88,
        price_spread=0.5,
        cost_usd=16,
        sides_in=(31, 25, 5),
        weight_lb=10.0,
        weekly_rate=0.075,
        never_share=0.66,
        markup=1.25,
        give_up_weeks=52,
        local_share=0.30,
        shipping_share=0.75,
        damage_share=0.06,
        materials_usd=8.5,
        helper_share=0.6,
        minutes=_minutes(9, 9, 12, 9, 6, 6, 34, 9, 35),
    ),
    Kind(
        name="sewing machines",
        share=0.7,
        price_usd=158,
        price_spread=0.4,
        cost_usd=28,
        sides_in=(23, 16, 18),
        weight_lb=29.0,
        weekly_rate=0.052,
        never_share=0.08,
        local_share=0.28,
        shipping_share=0.75,
        return_share=0.05,
        damage_share=0.08,
        materials_usd=10.5,
        helper_share=0.75,
        give_up_weeks=60,
        minutes=_minutes(10, 55, 16, 11, 7, 12, 46, 12, 40),
    ),
    Kind(
        name="vintage audio",
        share=0.9,
        price_usd=142,
        price_spread=0.75,
        cost_usd=30,
        cost_spread=0.55,
        sides_in=(19, 15, 9),
        weight_lb=19.0,
        weekly_rate=0.07,
        never_share=0.06,
        local_share=0.12,
        return_share=0.09,
        damage_share=0.04,
        materials_usd=5.5,
        helper_share=0.5,
        minutes=_minutes(10, 38, 14, 12, 5, 12, 26, 8, 30),
    ),
    Kind(
        name="cookware",
        share=1.1,
        price_usd=46,
        cost_usd=8,
        sides_in=(15, 12, 9),
        weight_lb=9.5,
        weekly_rate=0.07,
        never_share=0.05,
        damage_share=0.01,
        materials_usd=2.2,
        give_up_weeks=44,
        minutes=_minutes(5, 21, 8, 7, 3, 5, 13, 6, 16),
    ),
    Kind(
        name="typewriters",
        share=0.8,
        price_usd=136,
        price_spread=0.35,
        cost_usd=34,
        sides_in=(18, 18, 12),
        weight_lb=25.0,
        weekly_rate=0.16,
        never_share=0.03,
        local_share=0.08,
        shipping_share=0.85,
        return_share=0.06,
        damage_share=0.06,
        materials_usd=8.0,
        helper_share=0.4,
        minutes=_minutes(12, 155, 22, 16, 5, 24, 52, 11, 45),
    ),
    Kind(
        name="folding chairs",
        share=0.8,
        price_usd=52,
        price_spread=0.3,
        cost_usd=12,
        sides_in=(36, 21, 9),
        weight_lb=19.0,
        weekly_rate=0.045,
        never_share=0.18,
        markup=1.2,
        local_share=0.30,
        shipping_share=0.35,
        damage_share=0.03,
        materials_usd=9.5,
        helper_share=0.6,
        give_up_weeks=36,
        minutes=_minutes(6, 19, 11, 8, 9, 8, 40, 12, 38),
    ),
)


# The demo shop: invented, two people in a river town, a garage, since January 2025.

#: The seed of the books in ``data_demo``.
DEMO_SEED = 20250104
DEMO_FIRST_DAY = dt.date(2025, 1, 4)
DEMO_LAST_DAY = dt.date(2026, 11, 14)
#: The packer starts after the first summer.
HELPER_FROM = dt.date(2025, 9, 8)

#: The shop buys each label by the cheaper of its two carriers' cards.
DEMO_CARDS = ("post", "network")


def demo_rules() -> Rules:
    """The rule tables that lie beside the demo shop's books: its marketplaces and rate cards."""
    return load_rules(demo_folder() / "rules")


def demo_shop(rules: Rules) -> Shop:
    """The demo shop, with the charges of its own rule tables.

    >>> len(demo_shop(demo_rules()).kinds)
    12
    """
    return Shop(
        kinds=DEMO_KINDS,
        first_day=DEMO_FIRST_DAY,
        last_day=DEMO_LAST_DAY,
        trips_per_week=1.95,
        items_per_trip=10.8,
        favour=1.1,
        trip_spread=0.15,
        helper_from=HELPER_FROM,
        wage_cents=1650,
        burden_ppm=90_000,
        listing_weekdays=(1, 3, 6),
        venues=("lantern", "quayside"),
        venue_weights=(62.0, 38.0),
        local_venue="stall",
        charges=RuleCharges(rules, DEMO_CARDS),
    )


def demo_tables(rules: Rules) -> dict[str, pd.DataFrame]:
    """Every table of the demo shop's books, as text.

    >>> demo_tables(demo_rules())["shop"].value.iloc[0]
    'Rivertown Garage (demo)'
    """
    drawn = histories(demo_shop(rules), seed=DEMO_SEED)
    tables = books_tables(drawn, as_of=DEMO_LAST_DAY, gaps=Gaps(), logging=Logging(), seed=DEMO_SEED + 1)
    tables = with_mistakes(tables, seed=DEMO_SEED + 3)
    shop = [
        ("name", "Rivertown Garage (demo)"),
        ("currency", "USD"),
        ("length_unit", "in"),
        ("weight_unit", "lb"),
    ]
    people = [
        ("wren", "owner", "", "", "50 %"),
        ("tobias", "owner", "", "", "50 %"),
        ("juno", "hired", "16.50", "9 %", ""),
    ]
    return {
        "shop": pd.DataFrame(shop, columns=["key", "value"]),
        **tables,
        "supplies": _supplies(),
        "overheads": _overheads(),
        "people": pd.DataFrame(people, columns=["worker", "role", "wage", "payroll_burden", "share_of_profit"]),
    }


def _months() -> list[str]:
    return [f"{year}-{month:02d}" for year in (2025, 2026) for month in range(1, 13) if (year, month) <= (2026, 11)]


def _supplies() -> pd.DataFrame:
    """A purchase of something each month, and the roll that is always running out."""
    wanted = (
        ("cartons, single wall, small", 25, "carton", 21.50, 1),
        ("bubble wrap, 12 in wide", 175, "ft", 24.00, 1),
        ("packing tape, 2 in", 6, "roll", 14.40, 2),
        ("cartons, single wall, large", 15, "carton", 41.25, 2),
        ("foam sheets, 24 x 24 x 2 in", 12, "sheet", 46.80, 3),
        ("kraft paper, 24 in wide", 600, "ft", 27.90, 4),
        ("cartons, double wall, 24 x 18 x 18 in", 10, "carton", 58.00, 4),
        ("stretch wrap, 18 in", 2, "roll", 26.00, 5),
    )
    rows = []
    for at, month in enumerate(_months()):
        for place, (supply, quantity, unit, cost, every) in enumerate(wanted):
            if at % every == place % every:
                dearer = cost * (1.06 if month >= "2026-01" else 1.0)
                rows.append((f"{month}-{3 + 2 * place:02d}", supply, str(quantity), unit, f"{dearer:.2f}"))
    columns = ["date", "supply", "quantity", "unit", "cost"]
    return pd.DataFrame(sorted(row for row in rows if row[0] <= DEMO_LAST_DAY.isoformat()), columns=columns)


def _overheads() -> pd.DataFrame:
    rows = []
    for month in _months():
        rows.append((month, "shelf space in the garage", "35.00" if month < "2026-04" else "42.00"))
        rows.append((month, "phone and internet, the shop's part", "18.00"))
        if month >= "2025-03":
            rows.append((month, "insurance", "21.50"))
        if month in ("2025-02", "2026-02"):
            rows.append((month, "photo lamp and backdrop", "64.00" if month < "2026" else "29.00"))
    return pd.DataFrame(rows, columns=["month", "what", "amount"])


# Shops that are hard to judge, each in its own way, for measuring what the kit's figures are worth.

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
