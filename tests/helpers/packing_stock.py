"""A well-stocked packing corner, shared by the tests of packing plans."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from flipkit.assumptions import load_assumptions
from flipkit.cli.packing import packing
from flipkit.packing.at_hand import Bag, Carton, Cushion, Fill, Sheet, Stock, StretchWrap, Tape, Tube, starter_stock
from flipkit.packing.materials import packing_rules
from flipkit.packing.plan import LabelPrices, Labels, cheapest_labels, packing_plan, rate_card_labels
from flipkit.packing.styles import PackItem
from flipkit.rules.tables import load_rules

DAY = dt.date(2026, 11, 25)
RULES = packing_rules(on=DAY)
ASSUMED = load_assumptions()

SIZES = (
    (8, 8, 8), (10, 8, 6), (12, 12, 12), (14, 14, 14), (16, 12, 8), (16, 16, 16), (18, 14, 12), (18, 18, 16),
    (20, 16, 12), (20, 20, 20), (22, 16, 12), (24, 12, 12), (24, 18, 18), (24, 24, 24), (30, 20, 10), (36, 12, 12),
    (36, 24, 12), (40, 20, 8), (48, 12, 12), (28, 6, 30),
)  # fmt: skip

STOCK = Stock(
    cartons=tuple(Carton(f"{a} x {b} x {c}", a, b, c, "C", "32 ECT", 40 + a * b * c // 50, 2) for a, b, c in SIZES),
    sheets=(
        Sheet("full sheet", 96, 48, "C", "32 ECT", 650, 4),
        Sheet("half sheet", 48, 48, "C", "32 ECT", 350, 4),
        Sheet("double sheet", 96, 60, "BC", "48 ECT", 1400, 2),
    ),
    tubes=(Tube("small tube", 4, 36, 0.125, 350, 20, 0.5), Tube("large tube", 6, 48, 0.15, 600, 30, 0.8)),
    bags=(Bag("small bag", 10, 14, 0.1, 45, 3, 0.1), Bag("large bag", 14, 20, 0.1, 75, 5, 0.15)),
    cushions=(
        Cushion("bubble wrap", "bubble wrap", 0.5, "wrap", 14.0),
        Cushion("foam plates", "polyethylene foam", 1.0, "plate", 55.0),
    ),
    fill=Fill("crumpled paper", 60.0, 1.2),
    tape=Tape("tape", 5.0),
    stretch=StretchWrap("stretch film", 1.5),
)


def simple_labels(price: Callable[[float, float, float, float], int | str]) -> Labels:
    """Labels by a plain function of one parcel: its price, or why it is refused."""

    def every(*given: Any) -> LabelPrices:
        found = [price(*row) for row in zip(*(column.tolist() for column in given[:4]), strict=True)]
        return LabelPrices(
            cents=np.array([0 if isinstance(one, str) else int(one) for one in found], dtype=np.int64),
            billable_lb=np.full(len(found), np.nan),
            service=np.full(len(found), "", dtype=object),
            refused=np.array([one if isinstance(one, str) else "" for one in found], dtype=object),
        )

    return every


def price(length: float, width: float, height: float, weight: float) -> int | str:
    """An invented price list: space at 139, long and large parcels dearer, a maximum."""
    sides = sorted((length, width, height), reverse=True)
    if sides[0] > 108 or sides[0] + 2 * (sides[1] + sides[2]) > 165:
        return "over the maximum"
    if weight > 150:
        return "heavier than it takes"
    volume = math.prod(math.ceil(side - 1e-6) for side in sides)
    billed = max(math.ceil(weight - 1e-6), math.ceil(volume / 139 - 1e-6))
    return 800 + 75 * billed + 600 * (sides[0] > 30) + 2500 * (sides[0] > 48 or sides[1] > 30)


LABELS = simple_labels(price)


def by_cards(zone: str | Mapping[str, float]) -> Labels:
    """Labels by the demo's two cards, to a zone or a mix of zones."""
    demo = load_rules(Path(__file__).resolve().parents[2] / "data_demo" / "rules")
    cards = {name: demo.rate_cards[name] for name in ("post", "network")}
    return cheapest_labels(
        {name: rate_card_labels(card, demo.rules_of(card), on=DAY, zone=zone) for name, card in cards.items()}
    )


#: Long, flat and large things are few and hollow, and packed in other ways.
LONG_AND_FLAT: dict[str, Any] = {"long_in": (30, 96), "wide": 0.08, "high": 0.04, "dense": 0.004}


def packed_things(
    points: npt.NDArray[np.float64],
    *,
    long_in: tuple[float, float] = (3, 42),
    wide: float = 0.3,
    high: float = 0.15,
    dense: float = 0.012,
) -> npt.NDArray[np.float64]:
    """Outside [in], weight [lb], worth and materials [dollars] of things as a seller of second-hand goods packs them.

    Each thing is a point of five shares: its length between two, its width and height at least so much of the next
    longer side, its weight [lb/cu in] and worth around the usual ones. It is as fragile as ``packing`` takes by itself.
    """
    labels, stock = by_cards(ASSUMED.zone_mix()), starter_stock()
    (usual,) = (one.default for one in packing.params if one.name == "fragility")
    rows = []
    for at in points:
        long = long_in[0] * (long_in[1] / long_in[0]) ** at[0]
        across = long * (wide + (1 - wide) * at[1])
        sides = (long, across, across * (high + (1 - high) * at[2]))
        weight, value = (around * math.exp(0.7 * ndtri(place)) for around, place in ((dense, at[3]), (5500, at[4])))
        weight = min(max(math.prod(sides) * weight, 0.1), 100)
        item = PackItem("x", "thing", *sides, weight, usual, int(value))
        best = packing_plan(item, stock, labels=labels, rules=RULES, assumptions=ASSUMED).best
        if best is not None and best.draft.style != "pickup":
            spent = best.container_cents + best.materials_cents
            rows.append((*best.draft.outside_in, best.gross_lb, item.value_cents / 100, spent / 100))
    return np.array(rows)
