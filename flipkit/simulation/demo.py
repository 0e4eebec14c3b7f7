"""The demo shop: its kinds of things, its rules, every table of its books."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pandas as pd

from flipkit.books.schema import ACTIVITIES
from flipkit.paths import demo_folder
from flipkit.rules.tables import Rules, load_rules
from flipkit.simulation.books import Gaps, Logging, RuleCharges, books_tables, with_mistakes
from flipkit.simulation.shops import Kind, Shop, histories

# The twelve kinds of things that the demo shop buys. Small things that pay: cameras, tools, stoneware. Typewriters
# bring much and eat the hours. Framed prints look fine where they sell, and mostly never do. Folding chairs cost more
# to send than they bring.


def _demo_kind(row: dict[str, Any]) -> Kind:
    """A kind from its row of the table, in which a blank cell leaves what is usual."""
    said = {name: value for name, value in row.items() if not pd.isna(value)}
    minutes = {activity: said.pop(f"{activity}_min") for activity in ACTIVITIES if f"{activity}_min" in said}
    sides = said.pop("length_in"), said.pop("width_in"), said.pop("height_in")
    return Kind(sides_in=sides, minutes=minutes, **said)


_TABLE = pd.read_csv(Path(__file__).with_name("kinds.csv"))
DEMO_KINDS = tuple(_demo_kind({str(name): value for name, value in row.items()}) for row in _TABLE.to_dict("records"))


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
