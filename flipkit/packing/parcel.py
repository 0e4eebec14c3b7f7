"""The packing plan of one item, with everything that it asks for found in the books."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from functools import cached_property
from html import escape
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from flipkit.assumptions import Assumptions, load_assumptions, parsed_settings
from flipkit.books.read import read_books
from flipkit.books.record import units_of
from flipkit.books.schema import PICKUP
from flipkit.economics.costs import MEASURES, materials_like_plans, size_classes, unit_costs, usual_protection
from flipkit.errors import AssumptionError, RuleTableError
from flipkit.money import read_cents, show_cents
from flipkit.packing.at_hand import Stock, read_stock, starter_stock
from flipkit.packing.instructions import decision, plan_reading, trade_lines
from flipkit.packing.materials import packing_rules
from flipkit.packing.plan import (
    LabelPrices,
    Labels,
    Plan,
    Priced,
    cheapest_labels,
    packing_plan,
    priced_dict,
    rate_card_labels,
)
from flipkit.packing.styles import PackItem
from flipkit.packing.trials import PadStep, packing_trials, pad_step, padding_trade, trials_reading
from flipkit.paths import demo_folder
from flipkit.rules.fees import order_fee_lines
from flipkit.rules.net_price import fees_answer, price_answer
from flipkit.rules.parcel_advice import read_sides
from flipkit.rules.tables import Rules, load_rules
from flipkit.units import Measures, read_weight

#: Where the seller says what is at hand to pack with, in the folder of the books.
STOCK_FILE = "packing.toml"
#: What is said where an example stands in for the seller's stock, or for the carrier's prices.
EXAMPLE_STOCK = f"Your books have no {STOCK_FILE}, so this assumes an example stock of cartons and cushioning."
EXAMPLE_CARDS = "Your books have no rate card, so the demo's invented rate cards and fees stand in."


@dataclass(frozen=True)
class Postage:
    """What the label costs by zone, and what to charge for it."""

    nearest_cents: int
    usual_cents: int  # over the zones of the assumed mix
    farthest_cents: int
    venue: str = ""
    quote_cents: int | None = None
    free_price_cents: int | None = None


@dataclass(frozen=True)
class ParcelPlan:
    """A plan with what it was made from."""

    plan: Plan
    stock: Stock
    labels: Labels
    own_stock: bool = True
    own_cards: bool = True
    assumed_value: bool = False
    postage: Postage | None = None
    #: What is counted for packing a parcel of this size, as a report learned it or else as without any log: the plan's
    #: own minutes only choose a way. And for the materials of such a parcel, as bought supplies teach them.
    counted_min: float | None = None
    counted_cents: int | None = None
    size_class: str = ""
    learned: bool = False

    def reading(self) -> list[str]:
        """The plan in words, each caution after the step that it belongs to."""
        first, *steps = plan_reading(self.plan)
        notes = [text for own, text in ((self.own_stock, EXAMPLE_STOCK), (self.own_cards, EXAMPLE_CARDS)) if not own]
        if self.assumed_value:
            notes.append(
                f"You gave no value, so this assumes {self._money(self.plan.item.value_cents)} to weigh damage against."
            )
        return [first, *notes, *steps, *self._counted(), *self._step(), *self._postage()]

    @cached_property
    def trade(self) -> list[Priced]:
        """The cheapest plan at each thickness of the chosen cushioning."""
        return padding_trade(self.plan, self.stock, labels=self.labels)

    @cached_property
    def step(self) -> PadStep | None:
        """The label's step that a little less padding gets under."""
        return pad_step(self.plan, labels=self.labels)

    def _money(self, cents: int) -> str:
        return show_cents(cents, currency=self.plan.assumptions.currency)

    def _counted(self) -> list[str]:
        best = self.plan.best
        if best is None or self.counted_min is None or self.counted_cents is None:
            return []
        who = "Your last report" if self.learned else "Where no packing is logged yet, your report"
        return [
            f"{who} and 'flipkit buy' count {self.counted_min:.0f} minutes for a {self.size_class} parcel; this plan "
            f"reckons with {best.owner_min + best.helper_min:.0f}. Your report counts "
            f"{self._money(self.counted_cents)} of materials for a parcel like it; this plan takes "
            f"{self._money(best.container_cents + best.materials_cents)}."
        ]

    def _step(self) -> list[str]:
        step = self.step
        if step is None:
            return []
        side = ("long", "wide", "high")[step.axis]
        said = self.plan.assumptions.measures
        now, was = (said.mass(value, spec="g") for value in (step.billable_lb, step.was_lb))
        billed = f" is billed at {now}, not {was}, and" if step.billable_lb < step.was_lb else ""
        less, saves = (
            said.span(step.less_in, spec="g"),
            show_cents(step.saves_cents, currency=self.plan.assumptions.currency),
        )
        return [f"Pack it {less} less {side}, and it{billed} saves {saves}, damage included."]

    def _postage(self) -> list[str]:
        found = self.postage
        if found is None:
            return []
        near, usual, far = (
            self._money(cents) for cents in (found.nearest_cents, found.usual_cents, found.farthest_cents)
        )
        said = [f"Label: {near} to the nearest zone, {usual} on average, {far} to the farthest."]
        if found.quote_cents is not None and found.free_price_cents is not None:
            said.append(
                f"Ask the buyer for {self._money(found.quote_cents)} of postage, so that you pay none of it wherever "
                f"it goes. With free postage, ask {self._money(found.free_price_cents)} instead of "
                f"{self._money(self.plan.item.value_cents)} ({found.venue}, its fees included)."
            )
        return said

    def padding_table(self) -> list[str]:
        """What each thickness of the chosen padding costs and saves; a star marks the plan."""
        best = self.plan.best
        if best is None or not self.trade:
            return []
        held = self.plan.assumptions
        return trade_lines(self.trade, best, currency=held.currency, measures=held.measures)

    def answer(self) -> dict[str, Any]:
        """The plan as data, with units in its keys, whose stock it draws on and whose rate cards price it."""
        whose = {"stock": self.own_stock, "rate_cards": self.own_cards}
        post, why = decision(self.plan)
        return {
            "post": post,
            "decision": why,
            **self.plan.as_dict(),
            "value_assumed": self.assumed_value,
            "size_class": self.size_class,
            "counted_min": self.counted_min,
            "counted_cents": self.counted_cents,
            "padding_trade": [priced_dict(one, self.plan.item) for one in self.trade],
            "pad_step": None if self.step is None else asdict(self.step),
            "postage": None if self.postage is None else asdict(self.postage),
            **{key: "the shop's own" if own else "example" for key, own in whose.items()},
        }

    def trials(self) -> list[str]:
        """How the plan changes when one thing is otherwise, in words."""
        return trials_reading(packing_trials(self.plan, self.stock, labels=self.labels))

    def drawings(self) -> list[str]:
        """Scale drawings of the cuts, the folds and the layers, as SVG."""
        from flipkit.packing.drawing import plot_plan

        return plot_plan(self.plan)


def bare_item(
    title: str,
    sides: str,
    weight: str,
    *,
    fragility: str,
    value: str = "0",
    upright: bool = False,
    round_section: bool = False,
    pickup: bool = False,
    notch: str = "",
) -> PackItem:
    """What is to be packed, from texts as a seller writes them.

    Parameters
    ----------
    title : str
        What it is, for cautions.
    sides : str
        Such as ``20x14x10in``; the height as it stands last.
    weight : str
        Such as ``9 lb``.
    fragility : str
        Its class, as the cushioning table names it.
    value : str
        What is lost if it arrives broken.
    upright, round_section, pickup : bool
        Whether it must stay upright, is round along its longest side, can be collected.
    notch : str
        Of a thing shaped like an L, the empty corner of the box around it, its sides in the same order.

    Returns
    -------
    PackItem
        The item.

    Raises
    ------
    MeasureError
        If the sides or the weight cannot be read.
    MoneyError
        If the value cannot be read.

    Examples
    --------
    >>> bare_item("lamp", "20x14x10in", "9 lb", fragility="delicate").sides_in
    (20.0, 14.0, 10.0)
    """
    length, width, height = read_sides(sides)
    return PackItem(
        item_id="",
        title=title,
        length_in=length,
        width_in=width,
        height_in=height,
        weight_lb=read_weight(weight),
        fragility=fragility,
        value_cents=read_cents(value, name="value"),
        upright=upright,
        round_section=round_section,
        pickup=pickup,
        notch_in=read_sides(notch) if notch else (0.0, 0.0, 0.0),
    )


def plan_parcel(
    item: PackItem,
    *,
    books: Path | str = "",
    on: dt.date | str,
    zone: str = "",
    card: str = "",
    stock_file: Path | None = None,
    settings: Mapping[str, Any] | str = "",
    learned_min: Mapping[str, float] | None = None,
    materials_taught: float = 1.0,
) -> ParcelPlan:
    """Plan a parcel with the rules, rate cards, assumptions and stock of a shop.

    Parameters
    ----------
    item : PackItem
        The bare item.
    books : Path or str
        Folder of the books or a workbook; empty: the demo shop's.
    on : date or str
        Day of packing.
    zone : str
        Zone of the buyer; empty: the assumed mix of zones.
    card : str
        Rate card; empty: the cheapest of ``postage.rate_cards`` for each parcel, or of all that are there
        where that names none; the demo's invented ones where there are none.
    stock_file : Path, optional
        What is at hand; ``packing.toml`` of the books, or else a packing corner to start from.
    settings : mapping or str
        This run's assumptions; as text ``KEY=VALUE`` with semicolons between.
    learned_min : mapping, optional
        Minutes that a report learned for packing a parcel of each size class; else the assumed ones.
    materials_taught : float
        What a parcel takes of materials over what plans take, as bought supplies taught a report.

    Returns
    -------
    ParcelPlan
        The plan.

    Raises
    ------
    AssumptionError
        If no rate card is known, or a setting cannot be used.
    RuleTableError
        If the stock file does not exist or is malformed.
    MeasureError
        If a side or the weight makes no sense.
    """
    if zone == PICKUP:
        item = replace(item, pickup=True)
    assumed_value = not item.value_cents
    day = dt.date.fromisoformat(on) if isinstance(on, str) else on
    overrides = parsed_settings(settings) if isinstance(settings, str) else settings
    place = Path(books) if str(books) else demo_folder()
    home = place.parent if place.is_file() else place
    own_rules = home / "rules" if (home / "rules").is_dir() else None
    own = home / "assumptions.toml"
    shop = units_of(place)
    assumptions = load_assumptions(
        own if own.is_file() else None,
        overrides=overrides,
        currency=shop.currency,
        measures=Measures(shop.length, shop.weight),
    )
    if assumed_value:
        item = replace(item, value_cents=assumptions.cents("packing.value"))
    cards = load_rules(own_rules)
    own_cards = bool(cards.rate_cards or card or assumptions.text("postage.rate_cards"))
    if not own_cards:
        cards = load_rules(demo_folder() / "rules")
    labels_to = _zone_labels(cards, assumptions, on=day, card=card, item=item)
    labels = labels_to(zone if zone and zone != PICKUP else assumptions.zone_mix())
    file = stock_file or home / STOCK_FILE
    if stock_file is not None and not file.is_file():
        raise RuleTableError(file.name, found="no such file", needed="a TOML file of what is at hand to pack with")
    own_stock = file.is_file()
    stock = read_stock(file, supply_costs=_supply_costs(file, place, day)) if own_stock else starter_stock()
    rules = packing_rules(on=day, folder=own_rules)
    plan = packing_plan(item, stock, labels=labels, rules=rules, assumptions=assumptions)
    postage = _postage(plan, labels_to, cards, assumptions, on=day)
    size, counted, cents = _counted(plan, cards, assumptions, materials_taught, on=day)
    learned = size in (learned_min or {})
    if learned_min and learned:
        counted = learned_min[size]
    return ParcelPlan(plan, stock, labels, own_stock, own_cards, assumed_value, postage, counted, cents, size, learned)


def _counted(
    plan: Plan, rules: Rules, assumptions: Assumptions, taught: float, *, on: dt.date
) -> tuple[str, float | None, int | None]:
    """The planned parcel's size class, the minutes that the books count before any log, and the materials. [cents]"""
    best = plan.best
    if best is None or best.draft.style == "pickup":
        return "", None, None
    sides = dict(zip(MEASURES, [np.array([value]) for value in (*best.draft.outside_in, best.gross_lb)], strict=True))
    size = str(size_classes(rules, np.array([on], dtype="datetime64[D]"), sides)[0])
    minutes = assumptions.by_size("minutes.pack")[size] * (1 + assumptions.share("minutes.allowance"))
    parcel = pd.DataFrame(sides).assign(measures_origin="recorded")
    return size, minutes, round(materials_like_plans(parcel, [plan.item.value_cents], assumptions)[0] * taught)


def drawings_page(parcel: ParcelPlan) -> str:
    """A page of the drawings alone, to print and to work from."""
    words = "".join(f"<p>{escape(line)}</p>" for line in parcel.reading())
    title = escape(f"Packing plan: {parcel.plan.item.title}")
    return (
        f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>{title}</title></head>'
        f"<body><h1>{title}</h1>{words}{''.join(parcel.drawings())}</body></html>\n"
    )


#: Days over which the purchases of a supply say what a unit of it costs.
_PRICED_OVER_DAYS = 365


def _supply_costs(file: Path, books: Path, day: dt.date) -> dict[str, float]:
    """What a unit of each supply cost in the books, which are read only where the stock names a supply."""
    if not re.search(r"^\s*supply\s*=|[{,]\s*supply\s*=", file.read_text(encoding="utf-8-sig", errors="replace"), re.M):
        return {}
    return unit_costs(read_books(books).supplies, as_of=day, days=_PRICED_OVER_DAYS)


def _zone_labels(
    rules: Rules, assumptions: Assumptions, *, on: dt.date, card: str, item: PackItem
) -> Callable[[str | Mapping[str, float]], Labels]:
    """Labels by the cheapest of the rate cards, to a zone or a mix of zones."""
    named = [name.strip() for name in assumptions.text("postage.rate_cards").split(",") if name.strip()]
    names = [card] if card else named or sorted(rules.rate_cards)
    unknown = [name for name in names if name not in rules.rate_cards]
    if unknown or not names:
        known = ", ".join(sorted(rules.rate_cards)) or "none"
        raise AssumptionError(
            "postage.rate_cards",
            need=f"names of rate cards among {known}",
            got=", ".join(unknown),
            mend="put your carrier's card into the books' rules folder",
        )

    declared, signed = usual_protection(np.array([item.value_cents]), assumptions)

    def to(zone: str | Mapping[str, float]) -> Labels:
        found = {}
        for name in names:
            card = rules.rate_cards[name]
            block = card.at(on)
            # A card that covers less, or asks for no signature, is taken for what it offers.
            most = block.declared_value.maximum_cents if block.declared_value else 0
            given = {
                "declared_cents": min(int(declared[0]), most),
                "signature": bool(signed[0] and block.signature_cents),
            }
            found[name] = rate_card_labels(card, rules.rules_of(card), on=on, zone=zone, **given)  # type: ignore[arg-type]
        return cheapest_labels(found)

    return to


def _postage(
    plan: Plan,
    labels_to: Callable[[str | Mapping[str, float]], Labels],
    rules: Rules,
    assumptions: Assumptions,
    *,
    on: dt.date,
) -> Postage | None:
    """The planned parcel's label by zone, and the postage and the price that carry it after the venue's fees."""
    best, value = plan.best, plan.item.value_cents
    if best is None or best.draft.style == "pickup":
        return None
    sides = [np.array([side]) for side in best.draft.outside_in]
    weight = np.array([best.gross_lb])
    kind, odd = np.array([best.draft.packaging], dtype=object), np.array([best.draft.nonrectangular])

    def of_this(labels: Labels) -> LabelPrices:
        return labels(sides[0], sides[1], sides[2], weight, kind, odd)

    zones = [zone for zone, share in assumptions.zone_mix().items() if share > 0]
    each = [of_this(labels_to(zone)) for zone in zones]
    usual = of_this(labels_to(assumptions.zone_mix()))
    known = [int(one.cents[0]) for one in each if not one.refused[0]]
    if not known or usual.refused[0]:
        return None
    found = Postage(min(known), int(usual.cents[0]), max(known))
    left = [one for one in fees_answer(rules, on=on, goods_cents=value)["venues"] if one["ships"]]
    if not left:
        return found
    venue = max(left, key=lambda one: int(one["net_cents"]))

    at: dict[str, Any] = {"on": on, "venues": [venue["venue"]]}
    priced = price_answer(rules, net_cents=venue["net_cents"], label_cents=found.usual_cents, **at)["venues"]
    free = int(priced[0]["price_cents"]) if priced else None
    # A venue may take less of postage than of a price, so the postage is sought as such, up to twice the label.
    asked = np.arange(found.farthest_cents, 2 * found.farthest_cents + 1)
    schedule = rules.fee_schedules[venue["venue"]]
    fees = order_fee_lines(schedule, on=on, goods_cents=value, shipping_cents=asked)["total_cents"]
    enough = asked[value + asked - fees - found.farthest_cents >= venue["net_cents"]]
    quote = int(enough[0]) if len(enough) else None
    return replace(found, venue=venue["venue"], quote_cents=quote, free_price_cents=free)
