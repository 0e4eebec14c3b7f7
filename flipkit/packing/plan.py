"""The cheapest way to pack an item: container, materials, minutes, label and risk of damage."""

from __future__ import annotations

import datetime as dt
import functools
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from flipkit.assumptions import Assumptions
from flipkit.errors import MeasureError
from flipkit.money import Cents, percentage
from flipkit.packing.at_hand import Sheet, Stock
from flipkit.packing.blanks import Nest, least_cents, nest
from flipkit.packing.cushioning import CUIN_PER_CUFT, M_PER_IN, Padding, fill_volume_cuft
from flipkit.packing.lifting import Hands, hands, two_needed
from flipkit.packing.materials import (
    PackingRules,
    Strength,
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
    Drafts,
    Floats,
    Index,
    Options,
    PackingContext,
    PackingOption,
    PackItem,
    Refusal,
    bag_options,
    boards,
    cut_down_options,
    helper_hour_cents,
    joined_options,
    made_options,
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
from flipkit.units import SNAP

# What the label of each draft would cost: one call for all of them, whatever prices the labels.

Words = npt.NDArray[np.object_]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class LabelPrices:
    """Labels of some parcels."""

    cents: npt.NDArray[np.int64]  # [cents]
    billable_lb: Floats
    service: Words
    refused: Words


#: Anything that prices labels: columns of length, width, height, weight, packaging, whether not rectangular.
Labels = Callable[[Floats, Floats, Floats, Floats, Words, Bools], LabelPrices]


def rate_card_labels(
    card: RateCard,
    rules: ParcelRules,
    *,
    on: dt.date,
    zone: str | int | Mapping[str, float],
    declared_cents: int = 0,
    signature: bool | str = False,
    residential: bool = True,
    service: str | None = None,
) -> Labels:
    """Labels by a rate card: the cheapest service that takes the parcel, or one service.

    Where the buyer's zone is not known yet, ``zone`` says how likely each is: the label is the mean over them, and
    weight and service are those of the likeliest.
    """
    mix = {zone: share for zone, share in zone.items() if share > 0} if isinstance(zone, Mapping) else {zone: 1.0}
    if abs(sum(mix.values()) - 1.0) > 1e-9:
        raise MeasureError("zone", need="shares of at least 0 each and 1 together", got=zone)
    likeliest = max(range(len(mix)), key=list(mix.values()).__getitem__)

    def price(*given: Any) -> LabelPrices:
        # One call for all zones: each asks for the same parcels.
        *sizes, packaging, odd = given
        zones, rows = len(mix), len(packaging)
        found = label_columns(
            card,
            rules,
            on=on,
            zone=np.repeat(np.array([str(one) for one in mix], dtype=object), rows),
            **dict(zip(_SIZES, (np.tile(size, zones) for size in sizes), strict=True)),  # type: ignore[arg-type]
            declared_cents=declared_cents,
            signature=signature,
            residential=residential,
            service=service,
            packaging=np.tile(packaging, zones),
            nonrectangular=np.tile(odd, zones),
        )
        refused = found["refused"].reshape(zones, rows)
        bad = refused != ""
        first = np.where(bad.any(axis=0), bad.argmax(axis=0), 0)
        mean = np.array(list(mix.values())) @ found["total_cents"].reshape(zones, rows)
        cents = np.where(bad.any(axis=0), 0, np.floor(np.round(mean, 6) + 0.5)).astype(np.int64)
        weight, name = (found[column].reshape(zones, rows)[likeliest] for column in ("billable_lb", "service"))
        return LabelPrices(cents, weight, name, refused[first, np.arange(rows)])

    return price


_SIZES = ("length_in", "width_in", "height_in", "weight_lb")


def cheapest_labels(cards: Mapping[str, Labels]) -> Labels:
    """Labels by several rate cards, each parcel by the one that takes it most cheaply."""
    if not cards:
        raise MeasureError("cards", need="at least one rate card", got="none")

    def price(*given: Any) -> LabelPrices:
        each = [(name, labels(*given)) for name, labels in cards.items()]
        cents = np.array([np.where(one.refused == "", one.cents, _NO_LABEL) for _, one in each])
        best, none = cents.argmin(axis=0), cents.min(axis=0) == _NO_LABEL
        row = np.arange(best.size)
        billed = np.array([one.billable_lb for _, one in each])[best, row]
        service = np.array([f"{name} " + one.service for name, one in each])[best, row]
        refused = functools.reduce(lambda one, two: one + "; " + two, [f"{name}: " + one.refused for name, one in each])
        return LabelPrices(
            np.where(none, 0, cents[best, row]), billed, np.where(none, "", service), np.where(none, refused, "")
        )

    return price


#: Stands for the label of a parcel that is refused.
_NO_LABEL = np.iinfo(np.int64).max


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


@dataclass(frozen=True)
class Costs:
    """What drafts cost, as columns: everything but the sheets that made ones are cut from."""

    drafts: Drafts
    gross_lb: Floats
    cushion_cents: Cents
    fill_cents: Cents
    film_cents: Cents
    tape_cents: Cents
    owner_min: Floats
    helper_min: Floats
    owner_cents: Cents
    helper_cents: Cents
    damage_ppm: Cents
    damage_cents: Cents
    fill_cuft: Floats
    #: Why drafts are out before any label: which, and the words for one of them.
    objections: tuple[tuple[Bools, Callable[[int], str]], ...]

    @property
    def before_label(self) -> Cents:
        """Costs without the label, and without sheets."""
        return np.asarray(
            self.drafts.of("container_cents").astype(np.int64)
            + self.cushion_cents
            + self.fill_cents
            + self.film_cents
            + self.tape_cents
            + self.owner_cents
            + self.helper_cents
            + self.damage_cents
        )

    @property
    def sound(self) -> Bools:
        """Drafts that can be filled and that carry the weight."""
        return ~np.any([mask for mask, _ in self.objections], axis=0) if self.objections else self.gross_lb > 0


def draft_costs(drafts: Drafts, bench: PackingContext) -> Costs:
    """Materials, minutes and risk of many drafts of one style, all of a plan but its label and its sheets."""
    stock, work, style, terms = bench.stock, bench.work, drafts.style, bench.assumptions
    size, way = drafts.container.size, drafts.way
    fill, hollow_misfits = _hollows(drafts, bench)
    film = drafts.of("film_sqft")
    tape_m = sum(drafts.strips_in, np.zeros(size)) * M_PER_IN

    def of_way(values: list[float]) -> Floats:
        return np.array([*values, 0.0])[way]  # what is collected has none

    area = of_way([one.area_sqft for one in bench.paddings])
    soft = of_way([one.cushion.cents_per_sqft if one.cushion else 0.0 for one in bench.paddings])
    pace = of_way([work[f"{one.cushion.form}_per_sqft"] if one.cushion else 0.0 for one in bench.paddings])
    gross = bench.item.weight_lb + of_way([one.weight_lb for one in bench.paddings])
    gross = gross + fill * (stock.fill.lb_per_cuft if stock.fill else 0.0) + drafts.of("container_lb")
    minutes: Floats = terms.number(f"packing.minutes.{style}") + area * pace + fill * work["fill_per_cuft"]
    minutes = minutes + film * work["film_per_sqft"] + len(drafts.strips_in) * work["per_strip"]
    minutes = minutes + drafts.of("knife_in") / IN_PER_FT * work["cut_per_ft"]
    minutes = minutes + drafts.of("score_in") / IN_PER_FT * work["score_per_ft"] + work["handling"]
    outside = drafts.of("outside_in")
    # One packs, and above the lifting limit both carry.
    two = two_needed(outside, gross, equation=bench.rules.lifting, assumptions=terms)
    both = np.where(two, work["handling"], 0.0)
    owner, helper = (minutes, both) if terms.text("packing.packer") == "owner" else (both, minutes)
    ppm = bench.chances_ppm(style)[way]
    return Costs(
        drafts=drafts,
        gross_lb=gross,
        cushion_cents=whole_cents(area * soft),
        fill_cents=whole_cents(fill * (stock.fill.cents_per_cuft if stock.fill else 0.0)),
        film_cents=whole_cents(film * (stock.stretch.cents_per_sqft if stock.stretch else 0.0)),
        tape_cents=whole_cents(tape_m * (stock.tape.cents_per_m if stock.tape else 0.0)),
        owner_min=owner,
        helper_min=helper,
        owner_cents=whole_cents(owner / 60 * terms.cents("hour.target")),
        helper_cents=whole_cents(helper / 60 * helper_hour_cents(terms)),
        damage_ppm=ppm,
        damage_cents=percentage(bench.item.value_cents, ppm),
        fill_cuft=fill,
        objections=(*hollow_misfits, *_weak(drafts, gross, outside, bench)),
    )


def whole_cents(amount: Floats) -> Cents:
    """Amounts of cents rounded half up, conversion noise aside.

    >>> whole_cents(np.array([2.5, 0.1 * 3 * 5])).tolist()
    [3, 2]
    """
    return np.floor(np.round(amount, 6) + 0.5).astype(np.int64)


Objections = list[tuple[Bools, Callable[[int], str]]]


def _hollows(drafts: Drafts, bench: PackingContext) -> tuple[Floats, Objections]:
    """What fills the hollows of drafts, and why some cannot be filled."""
    inside, wrapped, said = drafts.of("inside_in"), bench.lies(drafts), bench.said
    play = {"tube": inside[:, 0] - wrapped[:, 0]}.get(drafts.style)  # across, a tube's circle holds it
    play = (inside - wrapped).max(axis=1) if play is None else play
    volume = drafts.of("fill_cuft") if drafts.style == "tube" else fill_volume_cuft(tuple(inside.T), tuple(wrapped.T))
    volume = volume + math.prod(bench.item.notch_in) / CUIN_PER_CUFT * (drafts.style != "pickup")
    fill = bench.stock.fill
    if fill is None:
        most = np.maximum(play, min(bench.item.notch_in))
        loose = most > bench.assumptions.number("packing.snug_in") + SNAP
        return volume * 0.0, [
            (loose, lambda row: f"would rattle: {said.span(most[row].item())} of play and no void fill in stock")
        ]
    left = fill.volume_cuft
    if left is None:
        return volume, []
    short = volume > left + SNAP
    return volume, [
        (short, lambda row: f"needs {said.hollow(volume[row].item())} of {fill.name}, {said.hollow(left)} left")
    ]


def _weak(drafts: Drafts, gross: Floats, outside: Floats, bench: PackingContext) -> Objections:
    """Why containers must not carry this."""
    said, block = bench.said, bench.rules.cartons
    strength: Strength = bench.assumptions.text("packing.strength")  # type: ignore[assignment]
    grades = [one.grade for one in drafts.containers]
    allowed = [math.inf if one is None else gross_limit_lb(one, strength=strength, block=block) for one in grades]
    united = [math.inf if one is None else one.united_in for one in grades]
    limit, most, around = np.array(allowed)[drafts.container], drafts.of("most_lb"), outside.sum(axis=1)

    def text(row: int) -> str:
        grade = grades[drafts.container[row]]
        return grade.text if grade else ""

    def united_words(row: int) -> str:
        side = np.array(united)[drafts.container[row]].item()
        allows = said.side(side) if said.metric else f"{side:g}"
        return f"{said.united(around[row].item())}, the carton rule allows {allows} for {text(row)}"

    def over(row: int, at_most: Floats, who: str) -> str:
        packed, allowed = gross[row].item(), at_most[row].item()
        shown = said.mass(allowed, spec="g")
        # What is over by less than is shown would read as if it were not.
        near = said.mass(packed) == said.mass(allowed)
        return f"{f'just over {shown}' if near else said.mass(packed)} packed, {who} {shown}"

    found: Objections = [
        (gross > most + SNAP, lambda row: over(row, most, "it takes")),
        (gross > limit + SNAP, lambda row: f"{over(row, limit, f'the {strength} allows')} for {text(row)}"),
    ]
    if bench.assumptions.text("packing.over_united") == "refuse":
        found.append((around > np.array(united)[drafts.container] + SNAP, united_words))
    return found


def priced_options(
    options: Sequence[Options], bench: PackingContext, labels: Labels
) -> tuple[list[Priced], list[Refusal]]:
    """Every style and container at its cheapest, and why the others are out."""
    refusals = [refusal for _, some in options for refusal in some]
    sheets = boards(bench.stock)
    costs = [draft_costs(drafts, bench) for drafts, _ in options if drafts is not None and drafts.container.size]
    board = [_least_sheets(one.drafts, sheets) for one in costs]
    sound = [one.sound & (least < np.inf) for one, least in zip(costs, board, strict=True)]
    prices = _labels_of(costs, [_asked(one, will_do) for one, will_do in zip(costs, sound, strict=True)], labels)
    best: dict[tuple[str, str], Priced] = {}
    for one, price, cut, will_do in zip(costs, prices, board, sound, strict=True):
        drafts = one.drafts
        least = one.before_label + price.cents + cut
        # Of two that cost the same, the one with more work and less to buy.
        plain = least - one.owner_cents - one.helper_cents - one.fill_cents - one.film_cents - one.tape_cents
        fits = will_do & (price.refused == "")
        for number, container in enumerate(drafts.containers):
            own = drafts.container == number
            rows = np.flatnonzero(own & fits)
            key = (drafts.style, container.what)
            for row in rows[np.lexsort((plain[rows], least[rows]))].tolist():
                if key in best and least[row] > best[key].total_cents:
                    break
                for whole in _nested(_priced(one, price, row, bench), sheets, bench):
                    if key not in best or _rank(whole) < _rank(best[key]):
                        best[key] = whole
            if key not in best:
                refusals += _reasons(one, price, np.flatnonzero(own), bench)
    nearest: dict[tuple[str, str], Refusal] = {}
    for refusal in refusals:
        key = (refusal.style, refusal.what)
        if key not in best and (key not in nearest or refusal < nearest[key]):
            nearest[key] = refusal
    return (
        sorted(best.values(), key=_rank),
        sorted(nearest.values(), key=lambda one: (list(STYLES).index(one.style), one.what)),
    )


def _reasons(one: Costs, price: LabelPrices, rows: Index, bench: PackingContext) -> Iterator[Refusal]:
    """Why no draft of a container will do: too weak or loose, no label, or no sheet."""
    drafts = one.drafts
    against: list[tuple[Bools, Callable[[int], str]]] = [
        *one.objections,
        (price.refused != "", lambda row: f"label refused: {price.refused[row]}"),
    ]
    for bad, words in against:
        at = rows[bad[rows]]
        if at.size:
            yield Refusal(0.0, drafts.style, drafts.containers[drafts.container[at[0]]].what, words(int(at[0])))
    if drafts.blanks and rows.size:
        widest = np.maximum.reduce([blank.area_in2 for blank in drafts.blanks])
        smallest = drafts.one(int(rows[widest[rows].argmin()]), bench)
        sizes = " and ".join(bench.said.span(blank.length_in, blank.width_in) for blank in smallest.blanks)
        yield Refusal(0.0, drafts.style, smallest.what, f"no sheet at hand takes a blank of {sizes}")


def _rank(one: Priced) -> tuple[int, int, str, tuple[float, ...]]:
    """Cheapest first; of equals the plainer style, then by name and size, so that the order is fixed."""
    return one.total_cents, list(STYLES).index(one.draft.style), one.draft.what, one.draft.outside_in


def _asked(one: Costs, will_do: Bools) -> Bools:
    """Drafts whose labels are asked for: what will do, and of a container that no sheet gives the first one."""
    # That one says whether a larger sheet would help; what is collected has no label.
    asked = will_do & (one.drafts.style != "pickup")
    for number in range(len(one.drafts.containers)):
        own = one.drafts.container == number
        if not will_do[own].any():
            asked[np.flatnonzero(own & one.sound)[:1]] = True
    return asked


def _labels_of(costs: Sequence[Costs], asked: Sequence[Bools], labels: Labels) -> list[LabelPrices]:
    """Labels of the drafts asked for, in one call."""
    parts = [
        (one.drafts.of("outside_in")[rows], one.gross_lb[rows], one.drafts.of("packaging")[rows],
         one.drafts.of("nonrectangular")[rows])
        for one, rows in zip(costs, asked, strict=True)
    ]  # fmt: skip
    ends = np.cumsum([0, *(rows.sum() for rows in asked)])
    if ends[-1]:
        sides, weights, packaging, odd = (np.concatenate(some) for some in zip(*parts, strict=True))
        found = labels(sides[:, 0], sides[:, 1], sides[:, 2], weights, packaging.astype(object), odd)
    prices = []
    for rows, start, end in zip(asked, ends, ends[1:], strict=False):
        empty = np.full(rows.size, "", dtype=object)
        one = LabelPrices(np.zeros(rows.size, dtype=np.int64), np.full(rows.size, np.nan), empty, empty.copy())
        if end > start:
            for name in ("cents", "billable_lb", "service", "refused"):
                getattr(one, name)[rows] = getattr(found, name)[start:end]
        prices.append(one)
    return prices


def _least_sheets(drafts: Drafts, sheets: Mapping[tuple[str, str], list[list[Sheet]]]) -> Floats:
    """Least that the sheets of each draft can cost; nothing where it is not cut from any."""
    least = np.zeros(drafts.container.size)
    for number, container in enumerate(drafts.containers) if drafts.blanks else ():
        rows = drafts.container == number
        blanks = [replace(one, length_in=one.length_in[rows], width_in=one.width_in[rows]) for one in drafts.blanks]  # type: ignore[index]
        least[rows] = np.minimum.reduce([least_cents(blanks, choice) for choice in sheets[container.board]])
    return least


def _priced(one: Costs, price: LabelPrices, row: int, bench: PackingContext) -> Priced:
    """One draft with everything that it costs but its sheets."""
    draft = replace(one.drafts.one(row, bench), fill_cuft=float(one.fill_cuft[row]))
    gross, stock, way = float(one.gross_lb[row]), bench.stock, draft.padding
    lines = (
        (way.cushion if way else None, way.area_sqft if way else 0.0, "sq ft", one.cushion_cents),
        (stock.fill, draft.fill_cuft, "cu ft", one.fill_cents),
        (stock.stretch, draft.film_sqft, "sq ft", one.film_cents),
        (stock.tape, sum(draft.strips_in) * M_PER_IN, "m", one.tape_cents),
    )
    return Priced(
        draft=draft,
        gross_lb=gross,
        container_cents=draft.container_cents,
        materials=tuple(
            Line(what.name, amount, unit, int(cents[row]))
            for what, amount, unit, cents in lines
            if what is not None and amount > 0
        ),
        owner_min=float(one.owner_min[row]),
        helper_min=float(one.helper_min[row]),
        owner_cents=int(one.owner_cents[row]),
        helper_cents=int(one.helper_cents[row]),
        label_cents=int(price.cents[row]),
        damage_cents=int(one.damage_cents[row]),
        billable_lb=float(price.billable_lb[row]),
        service=str(price.service[row]).strip(),
        hands=hands(draft.outside_in, gross, equation=bench.rules.lifting, assumptions=bench.assumptions),
        chance=float(one.damage_ppm[row]) / 1e6,
    )


def _nested(
    one: Priced, sheets: Mapping[tuple[str, str], list[list[Sheet]]], bench: PackingContext
) -> Iterator[Priced]:
    """The draft with its blanks on sheets, each way to cut up what is at hand; none where none takes them."""
    if not one.draft.blanks:
        yield one
        return
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

    grade: str = ""
    gross_limit_lb: float = math.nan
    united_limit_in: float = math.nan
    over_united: bool = False
    burst_wanted_psi: int = 0  # [lb/sq in]
    burst_enough: bool = False
    compression_lb: float = math.nan
    out_of_scope: tuple[str, ...] = ()
    left_after_losses_lb: float = math.nan
    stack_above_lb: float = 0.0
    bears_the_stack: bool | None = None


def strength_check(one: Priced, *, rules: PackingRules, assumptions: Assumptions) -> StrengthCheck:
    """A way of packing against the carton rule and the stacking estimate."""
    draft, grade, wanted = one.draft, one.draft.grade, dense_burst(one.gross_lb, block=rules.cartons)
    above = max(int(assumptions.number("packing.stack_in") // draft.outside_in[2]) - 1, 0)
    load = above * one.gross_lb
    found = StrengthCheck(burst_wanted_psi=wanted, stack_above_lb=load)
    if grade is None:
        return found
    strength = assumptions.text("packing.strength")
    found = replace(
        found,
        grade=grade.text,
        gross_limit_lb=gross_limit_lb(grade, strength=strength, block=rules.cartons),  # type: ignore[arg-type]
        united_limit_in=grade.united_in,
        over_united=sum(draft.outside_in) > grade.united_in,
        burst_enough=grade.burst >= wanted,
    )
    if grade.ect is None or draft.caliper_in <= 0:
        return found
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
    return replace(
        found,
        compression_lb=compression,
        out_of_scope=tuple(scope),
        left_after_losses_lb=left,
        bears_the_stack=None if scope else left >= load,
    )


# A packing plan as plain values: units in the key names, ready for JSON or a template.


def _plain(value: Any) -> Any:
    """A figure to thousandths, finer than a tape measure; what is not known as None, several as a list."""
    if isinstance(value, float):
        return round(float(value), 3) if math.isfinite(value) else None
    return [_plain(one) for one in value] if isinstance(value, tuple) else value


#: What a priced way to pack says by the name that it has there.
_SAME = (
    "total_cents", "container_cents", "materials_cents", "owner_cents", "helper_cents", "label_cents", "owner_min",
    "helper_min", "gross_lb", "service",
)  # fmt: skip


def priced_dict(one: Priced, item: PackItem) -> dict[str, Any]:
    """One way to pack as plain values."""
    draft, lift = one.draft, one.hands
    return {
        "style": draft.style,
        "style_name": STYLES[draft.style],
        "code": next((blank.code for blank in draft.blanks), "0201" if draft.pieces else ""),
        "what": draft.what,
        **{name: _plain(getattr(one, name)) for name in _SAME},
        "expected_damage_cents": one.damage_cents,
        "inside_in": _plain(draft.inside_in),
        "outside_in": _plain(draft.outside_in),
        "united_in": _plain(sum(draft.outside_in)),
        "billable_lb": None if math.isnan(one.billable_lb) else one.billable_lb,
        "packaging": draft.packaging,
        "item_lies_in": _plain(turned(item.sides_in, draft.turn)),
        "people": lift.people,
        "lifting_limit_lb": _plain(lift.limit_lb),
        "lifting_index": _plain(lift.lifting_index),
        "people_enough": lift.enough,
        "damage_share": one.chance,
        "padding": _padding(draft.padding),
        "materials": [
            {"what": line.what, "quantity": _plain(line.quantity), "unit": line.unit, "cost_cents": line.cents}
            for line in one.materials
        ],
        "cut_list": None if one.nest is None else nest_dict(one.nest, [blank.name for blank in draft.blanks]),
    }


def _padding(way: Padding | None) -> dict[str, Any] | None:
    return (
        None
        if way is None
        else {
            "cushion": way.cushion.name if way.cushion else "",
            "layers": way.faces,
            "edge_layers": way.edges,
            "pad_in": _plain(way.pad_in),
            "falls_in": _plain(way.falls_in),
            "area_sqft": _plain(way.area_sqft),
        }
    )


def nest_dict(nest: Nest, names: Sequence[str]) -> dict[str, Any]:
    """A nest as plain values."""
    return {
        "cutting": nest.cutting,
        "sheets_cents": nest.cost_cents,
        "sheet_in2": _plain(nest.sheet_in2),
        "waste_in2": _plain(nest.waste_in2),
        "waste_share": _plain(nest.waste_share),
        "sheets": [
            {
                "sheet": use.sheet.name,
                "length_in": use.sheet.length_in,
                "width_in": use.sheet.width_in,
                "old_scores_in": list(use.sheet.scores_in),
                "offcut_in": _plain(use.offcut_in),
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
        item = self.item
        check = None if self.best is None else strength_check(self.best, rules=self.rules, assumptions=self.assumptions)
        return {
            "item": {
                **{name: getattr(item, name) for name in _ITEM},
                "notch_in": list(item.notch_in) if any(item.notch_in) else None,
            },
            "best": None if self.best is None else priced_dict(self.best, item),
            "strength": None if check is None else {name: _plain(value) for name, value in vars(check).items()},
            "others": [priced_dict(one, item) for one in self.others],
            "not_possible": [
                {"style": one.style, "style_name": STYLES[one.style], "what": one.what, "reason": one.reason}
                for one in self.refusals
            ],
            "rules": {
                "own_files": list(self.rules.own),
                **{
                    name: {"dates": block.described, "sources": list(block.sources), "seen": block.seen}
                    for name in ("lifting", "cartons", "board", "cushions")
                    for block in [getattr(self.rules, name)]
                },
            },
            "assumed": {
                key: {"value": entry.text(), "unit": entry.unit, "layer": entry.layer}
                for key, entry in sorted(self.assumptions.entries.items())
                if key.startswith("packing.") or key in ("hour.target", "help.wage", "help.burden")
            },
        }


_ITEM = ("item_id", "title", "length_in", "width_in", "height_in", "weight_lb", "fragility", "value_cents", "upright")


def packing_plan(
    item: PackItem,
    stock: Stock,
    *,
    labels: Labels,
    rules: PackingRules,
    assumptions: Assumptions,
    ways: Sequence[Padding] | None = None,
) -> Plan:
    """The cheapest way to send an item, what is likely to break counted; padded in all ways or only in these."""
    require_item(item)
    chosen = paddings(item, stock, rules, assumptions) if ways is None else ways
    bench = PackingContext(item, stock, rules, assumptions, tuple(chosen))
    options = [make(bench) for make in _MAKERS] + [made_options(style, bench) for style in MADE]
    found, refusals = priced_options(options, bench, labels)
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
    corner, sides = item.notch_in, item.sides_in
    if any(corner) and not (all(0 < one <= side for one, side in zip(corner, sides, strict=True)) and corner != sides):
        raise MeasureError(
            "notch_in", need="three sides above 0, none longer than the thing's own", got=corner, where=where
        )
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
