"""The packing plan: the cheapest safe way to send an item, what else was possible, and what was not.

From inside to outside: layers and clearance by fragility, the board's thickness, the outside, the
label's billable weight; carton + materials + minutes + label + expected damage as small as they
get over every style, every container at hand, every cushioning and every way to lay the item.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from flipkit.assumptions import Assumptions
from flipkit.errors import MeasureError
from flipkit.items.drafts_made import MADE, made_drafts
from flipkit.items.drafts_other import bag_drafts, pickup_drafts, tube_drafts, wrapped_drafts
from flipkit.items.drafts_stock import cut_down_drafts, joined_drafts, stock_drafts
from flipkit.items.labels import Labels
from flipkit.items.packing_sheet import plan_dict
from flipkit.packing.at_hand import Stock
from flipkit.packing.plan import Priced, priced_drafts
from flipkit.packing.styles import STYLES, Bench, Draft, PackItem, Refusal, paddings
from flipkit.rules.packing_rules import PackingRules

__all__ = ["PackItem", "Plan", "packing_plan"]

_MAKERS = (
    stock_drafts,
    cut_down_drafts,
    joined_drafts,
    tube_drafts,
    bag_drafts,
    wrapped_drafts,
    pickup_drafts,
)


@dataclass(frozen=True)
class Plan:
    """What to do with an item.

    Attributes
    ----------
    item : PackItem
        The item.
    best : Priced or None
        The cheapest safe way; None where nothing is possible.
    others : tuple of Priced
        The cheapest of every other style and container, cheapest first.
    refusals : tuple of Refusal
        What is not possible, and why.
    rules : PackingRules
        Rules that were in force.
    assumptions : Assumptions
        What was assumed.
    """

    item: PackItem
    best: Priced | None
    others: tuple[Priced, ...]
    refusals: tuple[Refusal, ...]
    rules: PackingRules
    assumptions: Assumptions

    def as_dict(self) -> dict[str, Any]:
        """The plan as plain values with units in the key names, ready for JSON."""
        return plan_dict(
            self.item, self.best, self.others, self.refusals, rules=self.rules, assumptions=self.assumptions
        )


def packing_plan(
    item: PackItem, stock: Stock, *, labels: Labels, rules: PackingRules, assumptions: Assumptions
) -> Plan:
    """The cheapest safe way to send an item.

    Parameters
    ----------
    item : PackItem
        What is to be packed.
    stock : Stock
        What is at hand.
    labels : Labels
        What prices the labels, from :mod:`flipkit.items.labels`.
    rules : PackingRules
        Rules in force on the day, from :func:`flipkit.rules.packing_rules.packing_rules`.
    assumptions : Assumptions
        From :func:`flipkit.assumptions.load_assumptions`.

    Returns
    -------
    Plan
        The cheapest way, the others, and the reasons against the rest.

    Raises
    ------
    MeasureError
        If a side or the weight is not above zero, or a name is unknown.
    """
    require_item(item)
    ways, reasons = paddings(item, stock, rules, assumptions)
    bench = Bench(item, stock, rules, assumptions, tuple(ways))
    drafts: Iterator[Draft | Refusal] = itertools.chain.from_iterable(make(bench) for make in _MAKERS)
    found, refusals = priced_drafts(itertools.chain(drafts, made_drafts(bench)), bench, labels)
    if not ways:
        refusals = [*refusals, *_unpadded(bench, reasons)]
    refusals += _absent(bench, {one.draft.style for one in found} | {refusal.style for refusal in refusals})
    order = list(STYLES)
    refusals.sort(key=lambda refusal: (order.index(refusal.style), refusal.what))
    best = found[0] if found else None
    return Plan(item, best, tuple(found[1:]), tuple(refusals), rules, assumptions)


def require_item(item: PackItem) -> None:
    """Refuse an item whose measures make no sense.

    Parameters
    ----------
    item : PackItem
        The item.

    Raises
    ------
    MeasureError
        If a side or the weight is not a finite number above zero, or the value is negative.
    """
    where = f"item {item.item_id}"
    for name in ("length_in", "width_in", "height_in", "weight_lb"):
        value = getattr(item, name)
        if not (math.isfinite(value) and value > 0):
            raise MeasureError(name, need="a finite number above 0", got=value, where=where, mend="measure it again")
    if item.value_cents < 0:
        raise MeasureError("value_cents", need="at least 0", got=item.value_cents, where=where)


def _unpadded(bench: Bench, reasons: list[str]) -> list[Refusal]:
    """Without a way to pad, every container is out for the same reason."""
    stock = bench.stock
    why = "; ".join(reasons)
    names = [("stock", carton.name) for carton in stock.cartons] + [("cut_down", c.name) for c in stock.cartons]
    names += [("tube", tube.name) for tube in stock.tubes] + [("bag", bag.name) for bag in stock.bags]
    names += [(style, "any board") for style in MADE]
    return [Refusal(0.0, style, what, why) for style, what in names]


def _absent(bench: Bench, seen: set[str]) -> list[Refusal]:
    """A word on every style that the stock has nothing for."""
    stock = bench.stock
    lacking = {
        "stock": "no carton in stock",
        "cut_down": "no carton in stock",
        "joined": "no two cartons with like openings in stock" if stock.cartons else "no carton in stock",
        "tube": "no tube in stock",
        "bag": "no padded bag in stock",
    }
    for style in MADE:
        lacking[style] = "no sheet in stock, and no carton to cut up"
    return [Refusal(0.0, style, "none", reason) for style, reason in lacking.items() if style not in seen]
