"""The cheapest way to pack an item: container, materials, minutes, label and risk of damage."""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from flipkit.assumptions import Assumptions
from flipkit.errors import MeasureError
from flipkit.money import percentage
from flipkit.packing.at_hand import Sheet, Stock
from flipkit.packing.blanks import Nest, nest
from flipkit.packing.cushioning import M_PER_IN, Padding, Sides
from flipkit.packing.lifting import Hands, hands
from flipkit.packing.materials import (
    PackingRules,
    box_compression_lb,
    compression_scope,
    dense_burst,
    gross_limit_lb,
    stacking_load_lb,
)
from flipkit.packing.styles import (
    IN_PER_FT,
    MADE,
    STYLES,
    PackingContext,
    PackingOption,
    PackItem,
    Refusal,
    Sized,
    bag_options,
    boards,
    cut_down_options,
    helper_hour_cents,
    joined_options,
    made_draft,
    made_sizes,
    packer_hour_cents,
    paddings,
    pickup_options,
    stock_options,
    tube_options,
    turned,
    wrapped_options,
)
from flipkit.rules.parcels import ParcelRules
from flipkit.rules.postage import label_columns
from flipkit.rules.rate_cards import RateCard

# What the label of each draft would cost: one call for all of them, whatever prices the labels.

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class LabelPrices:
    """Labels of some parcels."""

    cents: npt.NDArray[np.int64]  # [cents]
    billable_lb: Floats
    service: Sequence[str]
    refused: Sequence[str]


class Labels(Protocol):
    """Anything that prices labels, arrays in and arrays out."""

    def __call__(
        self,
        length_in: Floats,
        width_in: Floats,
        height_in: Floats,
        weight_lb: Floats,
        packaging: Sequence[str],
        nonrectangular: Sequence[bool],
    ) -> LabelPrices:
        """Prices of the parcels' labels."""


def rate_card_labels(
    card: RateCard,
    rules: ParcelRules,
    *,
    on: dt.date,
    zone: str | int,
    declared_cents: int = 0,
    signature: bool | str = False,
    residential: bool = True,
    service: str | None = None,
) -> Labels:
    """Labels by a rate card: the cheapest service that takes the parcel, or one service."""

    def price(
        length_in: Floats,
        width_in: Floats,
        height_in: Floats,
        weight_lb: Floats,
        packaging: Sequence[str],
        nonrectangular: Sequence[bool],
    ) -> LabelPrices:
        found = label_columns(
            card,
            rules,
            on=on,
            zone=zone,
            length_in=length_in,
            width_in=width_in,
            height_in=height_in,
            weight_lb=weight_lb,
            declared_cents=declared_cents,
            signature=signature,
            residential=residential,
            service=service,
            packaging=np.array(packaging, dtype=object),
            nonrectangular=np.array(nonrectangular, dtype=bool),
        )
        refused = [str(reason) for reason in found["refused"]]
        return LabelPrices(found["total_cents"], found["billable_lb"], [str(s) for s in found["service"]], refused)

    return price


def mixed_labels(parts: Sequence[tuple[float, Labels]]) -> Labels:
    """Expected labels where the buyer's zone is not known yet: prices weighted by how likely each zone is.

    >>> near, far = simple_labels(lambda *_: 900), simple_labels(lambda *_: 1500)
    >>> one = np.array([12.0])
    >>> mixed_labels([(0.25, near), (0.75, far)])(one, one, one, one, ["box"], [False]).cents.tolist()
    [1350]
    """
    total = sum(share for share, _ in parts)
    if abs(total - 1.0) > 1e-9 or min(share for share, _ in parts) < 0:
        raise MeasureError("shares", need="at least 0 each and 1 together", got=total)
    known = [(share, labels) for share, labels in parts if share > 0]

    def price(
        length_in: Floats,
        width_in: Floats,
        height_in: Floats,
        weight_lb: Floats,
        packaging: Sequence[str],
        nonrectangular: Sequence[bool],
    ) -> LabelPrices:
        given = (length_in, width_in, height_in, weight_lb, packaging, nonrectangular)
        found = [(share, labels(*given)) for share, labels in known]
        mean = sum(share * one.cents for share, one in found)
        likeliest = max(found, key=lambda pair: pair[0])[1]
        refused = [
            next((one.refused[row] for _, one in found if one.refused[row]), "")
            for row in range(len(likeliest.refused))
        ]
        cents = np.floor(np.round(mean, 6) + 0.5).astype(np.int64)
        return LabelPrices(
            cents=np.where([bool(reason) for reason in refused], 0, cents),
            billable_lb=likeliest.billable_lb,
            service=likeliest.service,
            refused=refused,
        )

    return price


def cheapest_labels(cards: Mapping[str, Labels]) -> Labels:
    """Labels by several rate cards, each parcel by the one that takes it most cheaply.

    >>> near, far = simple_labels(lambda *_: 900), simple_labels(lambda *_: "too long")
    >>> one = np.array([12.0])
    >>> found = cheapest_labels({"a": far, "b": near})(one, one, one, one, ["box"], [False])
    >>> found.cents.tolist(), found.service
    ([900], ['b'])
    """

    def price(
        length_in: Floats,
        width_in: Floats,
        height_in: Floats,
        weight_lb: Floats,
        packaging: Sequence[str],
        nonrectangular: Sequence[bool],
    ) -> LabelPrices:
        given = (length_in, width_in, height_in, weight_lb, packaging, nonrectangular)
        found = {name: labels(*given) for name, labels in cards.items()}
        none = np.iinfo(np.int64).max
        prices = np.array(
            [np.where([bool(reason) for reason in one.refused], none, one.cents) for one in found.values()]
        )
        best = prices.argmin(axis=0)
        names = list(found)
        rows = range(best.size)
        taken = prices.min(axis=0) < none
        chosen = [found[names[best[row]]] for row in rows]
        return LabelPrices(
            cents=np.where(taken, prices.min(axis=0), 0),
            billable_lb=np.array([one.billable_lb[row] for row, one in enumerate(chosen)]),
            service=[f"{names[best[row]]} {chosen[row].service[row]}".strip() if taken[row] else "" for row in rows],
            refused=[
                "" if taken[row] else "; ".join(f"{name}: {one.refused[row]}" for name, one in found.items())
                for row in rows
            ],
        )

    return price


def simple_labels(price: Callable[[float, float, float, float], int | str]) -> Labels:
    """Labels by a plain function of one parcel, for a price list kept elsewhere.

    >>> labels = simple_labels(lambda length, width, height, weight: 950 if weight < 20 else "too heavy")
    >>> one = np.array([12.0, 12.0])
    >>> found = labels(one, one, one, np.array([5.0, 25.0]), ["box", "box"], [False, False])
    >>> found.cents.tolist(), found.refused
    ([950, 0], ['', 'too heavy'])
    """

    def every(
        length_in: Floats,
        width_in: Floats,
        height_in: Floats,
        weight_lb: Floats,
        packaging: Sequence[str],
        nonrectangular: Sequence[bool],
    ) -> LabelPrices:
        rows = zip(length_in.tolist(), width_in.tolist(), height_in.tolist(), weight_lb.tolist(), strict=True)
        found = [price(*row) for row in rows]
        return LabelPrices(
            cents=np.array([0 if isinstance(one, str) else int(one) for one in found], dtype=np.int64),
            billable_lb=np.full(len(found), np.nan),
            service=[""] * len(found),
            refused=[one if isinstance(one, str) else "" for one in found],
        )

    return every


# What each draft costs: container, materials, minutes, label, expected damage; the cheapest of all.


@dataclass(frozen=True)
class Line:
    """A material that a packing uses."""

    what: str
    quantity: float
    unit: str
    cents: int  # [cents]


@dataclass(frozen=True)
class Priced:
    """A draft with everything that it costs."""

    draft: PackingOption
    gross_lb: float
    container_cents: int
    materials: tuple[Line, ...]
    owner_min: float
    helper_min: float
    owner_cents: int
    helper_cents: int
    label_cents: int
    damage_cents: int
    billable_lb: float
    service: str
    hands: Hands
    chance: float
    nest: Nest | None = None
    edge_sheet: bool = False  # the edge protectors take a further sheet

    @property
    def materials_cents(self) -> int:
        """All materials but the container. [cents]"""
        return sum(line.cents for line in self.materials)

    @property
    def total_cents(self) -> int:
        """Everything that the plan makes as small as it can. [cents]"""
        return (
            self.container_cents
            + self.materials_cents
            + self.owner_cents
            + self.helper_cents
            + self.label_cents
            + self.damage_cents
        )


def whole_cents(amount: float) -> int:
    """An amount of cents rounded half up, conversion noise aside.

    >>> whole_cents(2.5), whole_cents(0.1 * 3 * 5)
    (3, 2)
    """
    return math.floor(round(amount, 6) + 0.5)


def priced_options(
    drafts: Iterable[PackingOption | Refusal], sized: Sequence[Sized], bench: PackingContext, labels: Labels
) -> tuple[list[Priced], list[Refusal]]:
    """Every style and container at its cheapest, and why the others are out.

    A made container is drawn only where it can still win: those of one style and board are taken in order of
    the least that they can cost, a few at a time, until that alone is more than the best found.
    """
    sound, refusals = _sound(drafts, bench)
    hour = bench.assumptions.cents("hour.target"), helper_hour_cents(bench.assumptions)
    best: dict[tuple[str, str], Priced] = {}
    sheets = boards(bench.stock)
    too_small: dict[tuple[str, str], list[PackingOption]] = {}

    def take(these: list[PackingOption]) -> None:
        _take_best(these, best, too_small, refusals, sheets, bench, labels, hour)

    take(sound)
    waiting = _least_costs(sized, bench, labels, refusals)
    while waiting:
        batch: list[PackingOption] = []
        for key, rows in list(waiting.items()):
            most = len(batch) + _AT_ONCE
            while rows and len(batch) < most:
                least, at = rows.pop(0)
                if key in best and least > best[key].total_cents:
                    rows.clear()
                elif not _larger(sized[at].inside_in, too_small.get(key, ())):
                    batch.append(made_draft(sized[at], bench))
            if not rows:
                del waiting[key]
        made, more = _sound(batch, bench)
        refusals += more
        take(made)
    for (style, what), drafts_out in too_small.items():
        blanks = min((draft.blanks for draft in drafts_out), key=lambda some: max(blank.area_in2 for blank in some))
        sizes = " and ".join(bench.said.span(blank.length_in, blank.width_in) for blank in blanks)
        refusals.append(Refusal(0.0, style, what, f"no sheet at hand takes a blank of {sizes}"))
    nearest: dict[tuple[str, str], Refusal] = {}
    for refusal in refusals:
        key = (refusal.style, refusal.what)
        if key not in best and (key not in nearest or refusal < nearest[key]):
            nearest[key] = refusal
    return (
        sorted(best.values(), key=_rank),
        sorted(nearest.values(), key=lambda one: (list(STYLES).index(one.style), one.what)),
    )


#: Made containers of one style and board that are drawn and priced together.
_AT_ONCE = 32


def _larger(inside_in: Sides, than: Sequence[PackingOption]) -> bool:
    """Whether one of these, no larger on any side, already found no sheet."""
    return any(all(small <= side for small, side in zip(one.inside_in, inside_in, strict=True)) for one in than)


def _least_costs(
    sized: Sequence[Sized], bench: PackingContext, labels: Labels, refusals: list[Refusal]
) -> dict[tuple[str, str], list[tuple[int, int]]]:
    """Least that each made container can cost, by style and board, the cheapest first: label without its board."""
    if not sized:
        return {}
    sides = np.array([one.outside_in for one in sized])
    weights = np.array([bench.item.weight_lb + one.way.weight_lb for one in sized])
    found = labels(sides[:, 0], sides[:, 1], sides[:, 2], weights, ["box"] * len(sized), [False] * len(sized))
    sheet = {board: min(s.cost_cents for some in ways for s in some) for board, ways in boards(bench.stock).items()}
    hour = packer_hour_cents(bench.assumptions)
    known: dict[tuple[int, str], int] = {}
    groups: dict[tuple[str, str], list[tuple[int, int]]] = {}
    for at, one in enumerate(sized):
        if found.refused[at]:
            refusals.append(Refusal(0.0, one.style, one.what, f"label refused: {found.refused[at]}"))
            continue
        key = (id(one.way), one.style)
        if key not in known:
            minutes = bench.assumptions.number(f"packing.minutes.{one.style}") + _cushion_min(one.way, bench)
            minutes += bench.work["handling"] if bench.assumptions.text("packing.packer") == "owner" else 0.0
            known[key] = (
                _damage_cents(one.style, one.way, bench) + math.floor(minutes / 60 * hour) + _cushion_cents(one.way)
            )
        least = known[key] + int(found.cents[at]) + sheet[one.board]
        groups.setdefault((one.style, one.what), []).append((least, at))
    return {key: sorted(rows) for key, rows in groups.items()}


def _take_best(
    sound: list[PackingOption],
    best: dict[tuple[str, str], Priced],
    too_small: dict[tuple[str, str], list[PackingOption]],
    refusals: list[Refusal],
    sheets: dict[tuple[str, str], list[list[Sheet]]],
    bench: PackingContext,
    labels: Labels,
    hour_cents: tuple[int, int],
) -> None:
    """Keep of each style and container the cheapest, the labels of all drafts asked for in one call."""
    prices = _labels_of(sound, bench, labels)
    order = []
    for place, draft in enumerate(sound):
        if prices.refused[place]:
            refusals.append(Refusal(0.0, draft.style, draft.what, f"label refused: {prices.refused[place]}"))
            continue
        damage = _damage_cents(draft.style, draft.padding, bench)
        least = draft.container_cents + int(prices.cents[place]) + damage + _cushion_cents(draft.padding)
        order.append((least, place, damage))
    for least, place, damage in sorted(order):
        draft = sound[place]
        key = (draft.style, draft.what)
        if key in best and least > best[key].total_cents:
            continue
        if draft.blanks and _larger(draft.inside_in, too_small.get(key, ())):
            continue
        one = _price(draft, place, prices, bench, damage, hour_cents)
        if key in best and one.total_cents > best[key].total_cents:
            continue
        ways = list(_nested(one, sheets, bench)) if draft.blanks else [one]
        if not ways:
            too_small.setdefault(key, []).append(draft)
        for whole in ways:
            if key not in best or _rank(whole) < _rank(best[key]):
                best[key] = whole


def _rank(one: Priced) -> tuple[int, int, str, tuple[float, ...]]:
    """Cheapest first; of equals the plainer style, then by name and size, so that the order is fixed."""
    return one.total_cents, list(STYLES).index(one.draft.style), one.draft.what, one.draft.outside_in


def _sound(
    drafts: Iterable[PackingOption | Refusal], bench: PackingContext
) -> tuple[list[PackingOption], list[Refusal]]:
    """Drafts that can be filled and that carry the weight."""
    sound, refusals = [], []
    for draft in drafts:
        if isinstance(draft, Refusal):
            refusals.append(draft)
            continue
        filled = bench.filled(draft)
        reason = filled if isinstance(filled, str) else bench.weak(filled)
        if reason or isinstance(filled, str):
            refusals.append(Refusal(0.0, draft.style, draft.what, reason))
        else:
            sound.append(filled)
    return sound, refusals


def _labels_of(drafts: list[PackingOption], bench: PackingContext, labels: Labels) -> LabelPrices:
    """Labels of all drafts in one call; a pick-up needs none."""
    at = [place for place, draft in enumerate(drafts) if draft.style != "pickup"]
    cents = np.zeros(len(drafts), dtype=np.int64)
    billable = np.full(len(drafts), np.nan)
    service, refused = [""] * len(drafts), [""] * len(drafts)
    if at:
        sides = np.array([drafts[place].outside_in for place in at])
        weights = np.array([drafts[place].gross_lb(bench.item, bench.stock) for place in at])
        found = labels(
            sides[:, 0],
            sides[:, 1],
            sides[:, 2],
            weights,
            [drafts[place].packaging for place in at],
            [drafts[place].nonrectangular for place in at],
        )
        cents[at] = found.cents
        billable[at] = found.billable_lb
        for place, name, reason in zip(at, found.service, found.refused, strict=True):
            service[place], refused[place] = name, reason
    return LabelPrices(cents, billable, service, refused)


def _damage_cents(style: str, way: Padding | None, bench: PackingContext) -> int:
    """Chance of damage x value. [cents]"""
    return int(percentage(bench.item.value_cents, bench.chance_ppm(style, way)))


def _cushion_cents(way: Padding | None) -> int:
    return 0 if way is None or way.cushion is None else whole_cents(way.area_sqft * way.cushion.cents_per_sqft)


def _cushion_min(way: Padding | None, bench: PackingContext) -> float:
    if way is None or way.cushion is None:
        return 0.0
    return way.area_sqft * bench.work["wrap_per_sqft" if way.cushion.form == "wrap" else "plate_per_sqft"]


def _price(
    draft: PackingOption,
    place: int,
    prices: LabelPrices,
    bench: PackingContext,
    damage_cents: int,
    hour_cents: tuple[int, int],
) -> Priced:
    gross = draft.gross_lb(bench.item, bench.stock)
    lift = hands(draft.outside_in, gross, equation=bench.rules.lifting, assumptions=bench.assumptions)
    owner, helper = _minutes(draft, lift, bench)
    return Priced(
        draft=draft,
        gross_lb=gross,
        container_cents=draft.container_cents,
        materials=_materials(draft, bench),
        owner_min=owner,
        helper_min=helper,
        owner_cents=whole_cents(owner / 60 * hour_cents[0]),
        helper_cents=whole_cents(helper / 60 * hour_cents[1]),
        label_cents=int(prices.cents[place]),
        damage_cents=damage_cents,
        billable_lb=float(prices.billable_lb[place]),
        service=prices.service[place],
        hands=lift,
        chance=bench.chance_ppm(draft.style, draft.padding) / 1e6,
    )


def _materials(draft: PackingOption, bench: PackingContext) -> tuple[Line, ...]:
    stock, lines = bench.stock, []
    way = draft.padding
    if way is not None and way.cushion is not None:
        lines.append(Line(way.cushion.name, way.area_sqft, "sq ft", _cushion_cents(way)))
    if stock.fill is not None and draft.fill_cuft > 0:
        cost = whole_cents(draft.fill_cuft * stock.fill.cents_per_cuft)
        lines.append(Line(stock.fill.name, draft.fill_cuft, "cu ft", cost))
    if stock.stretch is not None and draft.film_sqft > 0:
        cost = whole_cents(draft.film_sqft * stock.stretch.cents_per_sqft)
        lines.append(Line(stock.stretch.name, draft.film_sqft, "sq ft", cost))
    if stock.tape is not None and draft.strips_in:
        metres = sum(draft.strips_in) * M_PER_IN
        lines.append(Line(stock.tape.name, metres, "m", whole_cents(metres * stock.tape.cents_per_m)))
    return tuple(lines)


def _minutes(draft: PackingOption, lift: Hands, bench: PackingContext) -> tuple[float, float]:
    """Owner's and helper's minutes: one packs, and above the lifting limit both carry."""
    work = bench.work
    minutes = bench.assumptions.number(f"packing.minutes.{draft.style}") + _cushion_min(draft.padding, bench)
    minutes += draft.fill_cuft * work["fill_per_cuft"]
    minutes += draft.film_sqft * work["film_per_sqft"]
    minutes += len(draft.strips_in) * work["per_strip"]
    minutes += draft.knife_in / IN_PER_FT * work["cut_per_ft"] + draft.score_in / IN_PER_FT * work["score_per_ft"]
    handling = work["handling"]
    both = handling if lift.people == 2 else 0.0
    if bench.assumptions.text("packing.packer") == "owner":
        return minutes + handling, both
    return both, minutes + handling


def _nested(one: Priced, sheets: dict[tuple[str, str], list[list[Sheet]]], bench: PackingContext) -> Iterator[Priced]:
    """The draft with its blanks on sheets, each way to cut up what is at hand; none where none takes them."""
    cutting = bench.assumptions.text("packing.cutting")
    for choice in sheets[one.draft.board]:
        laid = nest(one.draft.blanks, choice, cutting=cutting)  # type: ignore[arg-type]
        if laid is None:
            continue
        further = 0
        if one.draft.edge_in2 * _EDGE_WASTE > laid.waste_in2:
            used = [use.sheet for use in laid.uses]
            left = [sheet for sheet in choice if sheet.quantity > used.count(sheet)]
            costs = [s.cost_cents for s in left if s.length_in * s.width_in >= one.draft.edge_in2 * _EDGE_WASTE]
            if not costs:
                continue
            further = min(costs)
        cents = one.container_cents + laid.cost_cents + further
        yield replace(one, container_cents=cents, nest=laid, edge_sheet=bool(further))


#: Board that edge protectors take, pieced together from what is left, over what they measure.
_EDGE_WASTE = 1.25


# What a packed carton's strength allows: the carton rule, compression, the stack above it.


@dataclass(frozen=True)
class StrengthCheck:
    """A carton against the rule and against its own kind stacked on it."""

    grade: str
    gross_limit_lb: float
    united_limit_in: float
    over_united: bool
    burst_wanted: int  # [lb/sq in]
    burst_enough: bool
    compression_lb: float
    out_of_scope: tuple[str, ...]
    left_lb: float
    load_lb: float
    bears: bool | None


def strength_check(one: Priced, *, rules: PackingRules, assumptions: Assumptions) -> StrengthCheck:
    """A way of packing against the carton rule and the stacking estimate."""
    draft, grade, nan = one.draft, one.draft.grade, float("nan")
    wanted = dense_burst(one.gross_lb, block=rules.cartons)
    above = max(int(assumptions.number("packing.stack_in") // draft.outside_in[2]) - 1, 0)
    load = above * one.gross_lb
    if grade is None:
        return StrengthCheck("", nan, nan, False, wanted, False, nan, (), nan, load, None)
    strength = assumptions.text("packing.strength")
    limit = gross_limit_lb(grade, strength=strength, block=rules.cartons)  # type: ignore[arg-type]
    over = sum(draft.outside_in) > grade.united_in
    if grade.ect is None or draft.caliper_in <= 0:
        return StrengthCheck(
            grade.text, limit, grade.united_in, over, wanted, grade.burst >= wanted, nan, (), nan, load, None
        )
    length, width, depth = draft.inside_in
    turned = one.nest is not None and any(place.turned for use in one.nest.uses for place in use.placements)
    scope = compression_scope(
        length,
        width,
        depth,
        slotted=draft.style in ("stock", "cut_down", "slotted"),
        flutes_upright=not turned,
        block=rules.cartons,
        measures=assumptions.measures,
    )
    compression = box_compression_lb(
        length, width, ect_lb_per_in=grade.ect, caliper_in=draft.caliper_in, block=rules.cartons
    )
    causes = [cause.strip() for cause in assumptions.text("packing.stack_losses").split(",") if cause.strip()]
    left = stacking_load_lb(compression, causes=causes, block=rules.cartons)
    return StrengthCheck(
        grade=grade.text,
        gross_limit_lb=limit,
        united_limit_in=grade.united_in,
        over_united=over,
        burst_wanted=wanted,
        burst_enough=grade.burst >= wanted,
        compression_lb=compression,
        out_of_scope=tuple(scope),
        left_lb=left,
        load_lb=load,
        bears=None if scope else left >= load,
    )


# A packing plan as plain values: units in the key names, ready for JSON or a template.


def plan_dict(
    item: PackItem,
    best: Priced | None,
    others: Sequence[Priced],
    refusals: Sequence[Refusal],
    *,
    rules: PackingRules,
    assumptions: Assumptions,
) -> dict[str, Any]:
    """Everything that a plan says."""
    check = None if best is None else strength_check(best, rules=rules, assumptions=assumptions)
    return {
        "item": {
            "item_id": item.item_id,
            "title": item.title,
            "length_in": item.length_in,
            "width_in": item.width_in,
            "height_in": item.height_in,
            "weight_lb": item.weight_lb,
            "fragility": item.fragility,
            "value_cents": item.value_cents,
            "upright": item.upright,
        },
        "best": None if best is None else priced_dict(best, item),
        "strength": None if check is None else strength_dict(check),
        "others": [priced_dict(one, item) for one in others],
        "not_possible": [
            {"style": one.style, "style_name": STYLES[one.style], "what": one.what, "reason": one.reason}
            for one in refusals
        ],
        "rules": {
            "own_files": list(rules.own),
            **{
                name: {"dates": block.described, "sources": list(block.sources), "seen": block.seen}
                for name, block in (
                    ("lifting", rules.lifting),
                    ("cartons", rules.cartons),
                    ("board", rules.board),
                    ("cushions", rules.cushions),
                )
            },
        },
        "assumed": {
            key: {"value": entry.text(), "unit": entry.unit, "layer": entry.layer}
            for key, entry in sorted(assumptions.entries.items())
            if key.startswith("packing.") or key in ("hour.target", "help.wage", "help.burden")
        },
    }


def strength_dict(check: StrengthCheck) -> dict[str, Any]:
    """A strength check as plain values."""
    return {
        "grade": check.grade,
        "gross_limit_lb": _known(check.gross_limit_lb),
        "united_limit_in": _known(check.united_limit_in),
        "over_united": check.over_united,
        "burst_wanted_psi": check.burst_wanted,
        "burst_enough": check.burst_enough,
        "compression_lb": _known(check.compression_lb),
        "out_of_scope": list(check.out_of_scope),
        "left_after_losses_lb": _known(check.left_lb),
        "stack_above_lb": _known(check.load_lb),
        "bears_the_stack": check.bears,
    }


def _known(value: float) -> float | None:
    return None if math.isnan(value) else _short(value)


def priced_dict(one: Priced, item: PackItem) -> dict[str, Any]:
    """One way to pack as plain values."""
    draft, lift = one.draft, one.hands
    return {
        "style": draft.style,
        "style_name": STYLES[draft.style],
        "code": next((blank.code for blank in draft.blanks), "0201" if draft.pieces else ""),
        "what": draft.what,
        "total_cents": one.total_cents,
        "container_cents": one.container_cents,
        "materials_cents": one.materials_cents,
        "owner_cents": one.owner_cents,
        "helper_cents": one.helper_cents,
        "label_cents": one.label_cents,
        "expected_damage_cents": one.damage_cents,
        "inside_in": [_short(side) for side in draft.inside_in],
        "outside_in": [_short(side) for side in draft.outside_in],
        "united_in": _short(sum(draft.outside_in)),
        "gross_lb": _short(one.gross_lb),
        "billable_lb": None if math.isnan(one.billable_lb) else one.billable_lb,
        "service": one.service,
        "packaging": draft.packaging,
        "item_lies_in": [_short(side) for side in turned(item.sides_in, draft.turn)],
        "owner_min": _short(one.owner_min),
        "helper_min": _short(one.helper_min),
        "people": lift.people,
        "lifting_limit_lb": _short(lift.limit_lb),
        "lifting_index": None if math.isinf(lift.lifting_index) else _short(lift.lifting_index),
        "people_enough": lift.enough,
        "damage_share": one.chance,
        "padding": _padding(draft.padding),
        "materials": [
            {"what": line.what, "quantity": _short(line.quantity), "unit": line.unit, "cost_cents": line.cents}
            for line in one.materials
        ],
        "cut_list": None if one.nest is None else nest_dict(one.nest, [blank.name for blank in draft.blanks]),
    }


def _padding(way: Padding | None) -> dict[str, Any] | None:
    if way is None:
        return None
    return {
        "cushion": way.cushion.name if way.cushion else "",
        "layers": way.faces,
        "edge_layers": way.edges,
        "pad_in": [_short(side) for side in way.pad_in],
        "falls_in": [_short(side) for side in way.falls_in],
        "area_sqft": _short(way.area_sqft),
    }


def nest_dict(nest: Nest, names: Sequence[str]) -> dict[str, Any]:
    """A nest as plain values."""
    return {
        "cutting": nest.cutting,
        "sheets_cents": nest.cost_cents,
        "sheet_in2": _short(nest.sheet_in2),
        "waste_in2": _short(nest.waste_in2),
        "waste_share": _short(nest.waste_share),
        "sheets": [
            {
                "sheet": use.sheet.name,
                "length_in": use.sheet.length_in,
                "width_in": use.sheet.width_in,
                "old_scores_in": list(use.sheet.scores_in),
                "offcut_in": [_short(side) for side in use.offcut_in],
                "blanks": [
                    {
                        "blank": names[place.blank],
                        "x_in": place.x_in,
                        "y_in": place.y_in,
                        "length_in": place.length_in,
                        "width_in": place.width_in,
                        "turned": place.turned,
                    }
                    for place in use.placements
                ],
                "cuts_in": [list(cut) for cut in use.cuts],
            }
            for use in nest.uses
        ],
    }


def _short(value: float) -> float:
    """Thousandths are finer than a tape measure; more digits are noise."""
    return round(float(value), 3)


# The packing plan: the cheapest safe way to send an item, what else was possible, and what was not.
#
# From inside to outside: layers of padding, the board's thickness, the outside, the label's billable weight;
# carton + materials + minutes + label + chance of damage x value as small as they get over every style, every
# container at hand, every thickness of every cushioning and every way to lay the item.

_MAKERS = (
    stock_options,
    cut_down_options,
    joined_options,
    tube_options,
    bag_options,
    wrapped_options,
    pickup_options,
)


@dataclass(frozen=True)
class Plan:
    """What to do with an item."""

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
    item: PackItem,
    stock: Stock,
    *,
    labels: Labels,
    rules: PackingRules,
    assumptions: Assumptions,
    ways: Sequence[Padding] | None = None,
) -> Plan:
    """The cheapest way to send an item, what is likely to break counted.

    Parameters
    ----------
    item : PackItem
        What is to be packed.
    stock : Stock
        What is at hand.
    labels : Labels
        What prices the labels, from :mod:`flipkit.packing.plan`.
    rules : PackingRules
        Rules in force on the day, from :func:`flipkit.packing.materials.packing_rules`.
    assumptions : Assumptions
        From :func:`flipkit.assumptions.load_assumptions`.
    ways : sequence of Padding, optional
        Only these ways to pad it, from :func:`flipkit.packing.cushioning.padding`.

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
    chosen = paddings(item, stock, rules, assumptions) if ways is None else ways
    bench = PackingContext(item, stock, rules, assumptions, tuple(chosen))
    drafts: Iterator[PackingOption | Refusal] = itertools.chain.from_iterable(make(bench) for make in _MAKERS)
    found, refusals = priced_options(drafts, list(made_sizes(bench)), bench, labels)
    refusals += _absent(bench, {one.draft.style for one in found} | {refusal.style for refusal in refusals})
    order = list(STYLES)
    refusals.sort(key=lambda refusal: (order.index(refusal.style), refusal.what))
    best = found[0] if found else None
    return Plan(item, best, tuple(found[1:]), tuple(refusals), rules, assumptions)


def require_item(item: PackItem) -> None:
    """Refuse an item whose measures make no sense."""
    where = f"item {item.item_id}"
    for name in ("length_in", "width_in", "height_in", "weight_lb"):
        value = getattr(item, name)
        if not (math.isfinite(value) and value > 0):
            raise MeasureError(name, need="a finite number above 0", got=value, where=where, mend="measure it again")
    if item.value_cents < 0:
        raise MeasureError("value_cents", need="at least 0", got=item.value_cents, where=where)


def _absent(bench: PackingContext, seen: set[str]) -> list[Refusal]:
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
