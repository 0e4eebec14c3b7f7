"""What if a recorded line were otherwise: another wage, fee, divisor or pace in place of what happened.

A supposition is the seller's question, not a record and not an assumption that stands in for a missing
one. It is laid over the finished lines, so that everything behind them stays as the books have it, and
each line that it moves counts as assumed.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.assumptions import Assumptions
from flipkit.books.schema import ACTIVITIES, PICKUP
from flipkit.economics.costs import label_lines, orders_of, posted_parcels
from flipkit.economics.labor import EVERYBODY
from flipkit.money import Cents, percentage
from flipkit.rules.parcels import ParcelRules
from flipkit.rules.tables import Rules

#: Values that suppose nothing.
NOTHING_SUPPOSED: dict[str, object] = {
    "suppose.wage_for": "those without a wage",
    "suppose.fee_points": 0,
    "suppose.divisor": 0,
    "suppose.minutes": 1,
}

Origins = npt.NDArray[np.object_]


def suppositions(assumptions: Assumptions) -> list[str]:
    """Keys of the suppositions in force.

    >>> from flipkit.assumptions import load_assumptions
    >>> suppositions(load_assumptions(overrides={"suppose.minutes": 1.25}))
    ['suppose.minutes']
    """
    return [key for key, nothing in NOTHING_SUPPOSED.items() if assumptions.entries[key].value != nothing]


def overridden_hired(cents: Cents, origin: Origins, assumptions: Assumptions) -> Origins:
    """Origin of hired lines that were paid at a supposed wage."""
    moved = assumptions.text("suppose.wage_for") == EVERYBODY
    return np.where((cents != 0) & moved, "assumed", origin).astype(object)


def overridden_fee(items: pd.DataFrame, assumptions: Assumptions) -> tuple[Cents, Origins]:
    """Marketplace fees with percentage points on top, where a fee was paid.

    >>> from flipkit.assumptions import load_assumptions
    >>> items = pd.DataFrame({"marketplace_fee_cents": [800, 0], "marketplace_fee_origin": ["recorded", "none"],
    ...     "sold_price_cents": [6000, 5000], "shipping_charged_cents": [400, 0]})
    >>> overridden_fee(items, load_assumptions(overrides={"suppose.fee_points": 1.5}))[0].tolist()
    [896, 0]
    """
    fee, origin = _line(items, "marketplace_fee")
    points = assumptions.number("suppose.fee_points")
    price = items["sold_price_cents"].to_numpy(dtype=np.int64) + items["shipping_charged_cents"].to_numpy(
        dtype=np.int64
    )
    more = percentage(np.where(fee > 0, price, 0), round(abs(points) * 10_000)) * (1 if points > 0 else -1)
    return np.maximum(fee + more, 0), np.where(more != 0, "assumed", origin).astype(object)


def overridden_label(items: pd.DataFrame, dearer: Cents) -> tuple[Cents, Origins]:
    """Labels at another divisor."""
    label, origin = _line(items, "label")
    return np.maximum(label + dearer, 0), np.where(dearer != 0, "assumed", origin).astype(object)


def overridden_minutes(items: pd.DataFrame, factor: float) -> dict[str, pd.Series]:
    """The owner's minutes in proportion to those in the books."""
    moved = {f"{name}_min": items[f"{name}_min"] * factor for name in (*ACTIVITIES, "owner")}
    origins = {
        f"{name}_origin": items[f"{name}_origin"].where(moved[f"{name}_min"] == 0, "assumed") for name in ACTIVITIES
    }
    return moved | origins


def labels_dearer(items: pd.DataFrame, divisor: int, *, rules: Rules, assumptions: Assumptions) -> Cents:
    """What each label would have cost more had the divisor been another one on its day.

    A recorded label moves by what the rate cards say of the two divisors.
    """
    more = np.zeros(len(items), dtype=np.int64)
    posted = np.flatnonzero((items["sold_on"].notna() & (items["zone"] != PICKUP)).to_numpy())
    if not posted.size:
        return more
    asked = items.iloc[posted].assign(label_paid_cents=pd.array([pd.NA] * posted.size, dtype="Int64"))
    orders = orders_of(asked)
    parcels = posted_parcels(asked, asked, orders, rules)
    everything = np.ones(posted.size, dtype=bool)
    moved, now = (
        label_lines(asked, asked, everything, known, assumptions, orders=orders, posted=parcels, protected=False)[0]
        for known in (with_divisor(rules, divisor), rules)
    )
    # Where only one of them is for sale by a card, the other is a guess by size: nothing to compare.
    more[posted] = np.where(moved[1] == now[1], moved[0] - now[0], 0)
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


def _line(items: pd.DataFrame, name: str) -> tuple[Cents, Origins]:
    return items[f"{name}_cents"].to_numpy(dtype=np.int64), items[f"{name}_origin"].to_numpy(dtype=object)
