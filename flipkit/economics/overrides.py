"""What if a recorded line were otherwise: another wage, fee, divisor or pace in place of what happened.

A supposition is the seller's question, not a record and not an assumption that stands in for a missing
one. It is laid over the finished lines, so that everything behind them stays as the books have it, and
each line that it moves counts as assumed.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.assumptions import Assumptions
from flipkit.books.schema import ACTIVITIES, PICKUP
from flipkit.economics.costs import label_lines, orders_of, posted_parcels
from flipkit.money import Cents, percentage
from flipkit.rules.parcels import ParcelRules
from flipkit.rules.tables import Rules

#: Values that suppose nothing.
NOTHING_SUPPOSED: dict[str, object] = {
    "suppose.wage_for": "those without a wage",
    "suppose.fee_points": 0,
    "suppose.divisor": 0,
    "suppose.minutes": 1,
    "suppose.prices": 1,
    "suppose.postage": 1,
    "suppose.goods": 1,
}
#: Lines that a supposition multiplies.
SCALED = {
    "suppose.prices": ("sold_price", "marketplace_fee"),
    "suppose.postage": ("label", "label_adjustment"),
    "suppose.goods": ("cost",),
}

Origins = npt.NDArray[np.object_]


def suppositions(assumptions: Assumptions) -> list[str]:
    """Keys of the suppositions in force."""
    return [key for key, nothing in NOTHING_SUPPOSED.items() if assumptions.entries[key].value != nothing]


def supposed_lines(items: pd.DataFrame, assumptions: Assumptions, dearer: Callable[[int], Cents]) -> dict[str, Any]:
    """The columns that the suppositions on prices, fees, labels, costs and minutes move; help is paid beforehand.

    >>> from flipkit.assumptions import load_assumptions
    >>> items = pd.DataFrame({"marketplace_fee_cents": [800, 0], "marketplace_fee_origin": ["recorded", "none"],
    ...     "sold_price_cents": [6000, 5000], "shipping_charged_cents": [400, 0]})
    >>> held = load_assumptions(overrides={"suppose.fee_points": 1.5})
    >>> supposed_lines(items, held, lambda _: 0)["marketplace_fee_cents"].tolist()
    [896, 0]
    """
    supposed, found = suppositions(assumptions), dict[str, Any]()

    def line(name: str) -> Cents:
        return np.asarray(found.get(f"{name}_cents", items[f"{name}_cents"]), dtype=np.int64)

    def move(name: str, more: Cents) -> None:
        found[f"{name}_cents"] = np.maximum(line(name) + more, 0) if name != "label_adjustment" else line(name) + more
        origin = found.get(f"{name}_origin", items[f"{name}_origin"].to_numpy(dtype=object))
        found[f"{name}_origin"] = np.where(more != 0, "assumed", origin).astype(object)

    if "suppose.divisor" in supposed:
        move("label", dearer(assumptions.whole("suppose.divisor")))
    for key, names in SCALED.items():
        for name in names if key in supposed else ():
            move(name, np.rint(line(name) * (assumptions.number(key) - 1)).astype(np.int64))
    if "suppose.fee_points" in supposed:
        points, fee = assumptions.number("suppose.fee_points"), line("marketplace_fee")
        price = np.where(fee > 0, line("sold_price") + line("shipping_charged"), 0)
        move("marketplace_fee", percentage(price, round(abs(points) * 10_000)) * (1 if points > 0 else -1))
    if "suppose.minutes" in supposed:
        for name in (*ACTIVITIES, "owner"):
            found[f"{name}_min"] = items[f"{name}_min"] * assumptions.number("suppose.minutes")
        for name in ACTIVITIES:
            found[f"{name}_origin"] = items[f"{name}_origin"].where(found[f"{name}_min"] == 0, "assumed")
    return found


def labels_dearer(
    items: pd.DataFrame, divisors: Sequence[int], *, rules: Rules, assumptions: Assumptions
) -> dict[int, Cents]:
    """What each label would have cost more had the divisor been another one on its day, by divisor.

    A recorded label moves by what the rate cards say of the two divisors.
    """
    more = {divisor: np.zeros(len(items), dtype=np.int64) for divisor in divisors}
    posted = np.flatnonzero((items["sold_on"].notna() & (items["zone"] != PICKUP)).to_numpy())
    if not posted.size:
        return more
    asked = items.iloc[posted].assign(label_paid_cents=pd.array([pd.NA] * posted.size, dtype="Int64"))
    orders = orders_of(asked)
    parcels = posted_parcels(asked, asked, orders, rules)
    everything = np.ones(posted.size, dtype=bool)

    def labels(known: Rules) -> tuple[Cents, Origins]:
        told = {"orders": orders, "posted": parcels, "protected": False}
        return label_lines(asked, asked, everything, known, assumptions, **told)[0]

    now = labels(rules)
    for divisor in divisors:
        moved = labels(with_divisor(rules, divisor))
        # Where only one of them is for sale by a card, the other is a guess by size: nothing to compare.
        more[divisor][posted] = np.where(moved[1] == now[1], moved[0] - now[0], 0)
    return more


def with_divisor(rules: Rules, divisor: int) -> Rules:
    """Rule tables in which every parcel rule set in inches and pounds has one divisor throughout."""

    def changed(parcels: ParcelRules) -> ParcelRules:
        if parcels.metric:
            return parcels
        blocks = tuple(
            dataclasses.replace(
                block,
                dimensional=dataclasses.replace(
                    block.dimensional,
                    divisor=float(divisor),
                    divisor_for=dict.fromkeys(block.dimensional.divisor_for, float(divisor)),
                ),
            )
            for block in parcels.blocks
        )
        return dataclasses.replace(parcels, blocks=blocks)

    return dataclasses.replace(rules, parcels={name: changed(found) for name, found in rules.parcels.items()})
