"""Ways to box an item, from what is at hand or cut from sheets, before any price."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from flipkit.assumptions import Assumptions
from flipkit.errors import MeasureError
from flipkit.money import percentage
from flipkit.packing.at_hand import Carton, Cushion, Sheet, Stock, Tube, flattened
from flipkit.packing.blanks import (
    Blank,
    five_panel_blank,
    folded_wrap_blank,
    slotted_blank,
    slotted_half_blank,
    tray_blank,
)
from flipkit.packing.cushioning import (
    CUIN_PER_CUFT,
    SQIN_PER_SQFT,
    Closure,
    Padding,
    Sides,
    damage_chance,
    fill_volume_cuft,
    girth_strip_in,
    is_flat,
    padding,
    slotted_strips_in,
    stretch_wrap_sqft,
    thick_sides,
)
from flipkit.packing.materials import (
    Flute,
    Grade,
    Packaging,
    PackingRules,
    ScoreAllowance,
    Strength,
    carton_grade,
    gross_limit_lb,
    score_allowance,
)
from flipkit.units import SNAP, Measures

# Ways to pack an item, as drafts: what goes where and how large it gets, before any price.

#: Styles in the order in which equal costs are decided, with their names in words.
STYLES = {
    "stock": "carton as it is",
    "cut_down": "carton cut down",
    "bag": "padded bag",
    "tube": "tube",
    "slotted": "slotted carton made to size",
    "slotted_two": "slotted carton made of two pieces",
    "folded_wrap": "folded wrap",
    "five_panel": "five-panel wrap",
    "telescope": "telescope of two trays",
    "joined": "two cartons joined",
    "sandwich": "sandwich of two boards with edge protectors",
    "wrapped": "stretch wrap without a carton",
    "pickup": "local pick-up",
}
#: Walls of board between the padding and the floor, where it is not one.
WALLS = {"wrapped": 0, "sandwich": 2, "pickup": 0}


@dataclass(frozen=True)
class PackItem:
    """What is to be packed."""

    item_id: str
    title: str
    length_in: float
    width_in: float
    height_in: float
    weight_lb: float
    fragility: str
    value_cents: int = 0
    upright: bool = False
    round_section: bool = False
    pickup: bool = False

    @property
    def sides_in(self) -> Sides:
        """Length, width, height. [in]"""
        return (self.length_in, self.width_in, self.height_in)


@dataclass(frozen=True)
class PackingOption:
    """One way to pack the item."""

    style: str
    what: str
    inside_in: Sides
    outside_in: Sides
    padding: Padding | None
    turn: tuple[int, int, int]
    container_cents: int = 0
    container_lb: float = 0.0
    fill_cuft: float = 0.0  # [cu ft]
    film_sqft: float = 0.0  # [sq ft]
    strips_in: tuple[float, ...] = ()
    blanks: tuple[Blank, ...] = ()
    board: tuple[str, str] = ("", "")
    knife_in: float = 0.0
    score_in: float = 0.0
    packaging: Packaging = "box"
    nonrectangular: bool = False
    grade: Grade | None = None
    caliper_in: float = 0.0
    most_lb: float = float("inf")
    used: bool = False
    pieces: tuple[Carton, ...] = ()
    edge_in2: float = 0.0  # edge protectors, cut from what the faces leave of their sheets

    def gross_lb(self, item: PackItem, stock: Stock) -> float:
        """Parcel as packed: item, padding, fill, container. [lb]"""
        soft = self.padding.weight_lb if self.padding else 0.0
        fill = self.fill_cuft * stock.fill.lb_per_cuft if stock.fill else 0.0
        return item.weight_lb + soft + fill + self.container_lb


@dataclass(frozen=True, order=True)
class Refusal:
    """Why a way to pack the item is out."""

    short: float
    style: str = field(compare=False)
    what: str = field(compare=False)
    reason: str = field(compare=False)


@dataclass(frozen=True)
class PackingContext:
    """Everything that the makers of drafts share."""

    item: PackItem
    stock: Stock
    rules: PackingRules
    assumptions: Assumptions
    paddings: tuple[Padding, ...]

    @property
    def said(self) -> Measures:
        """How the shop writes measures."""
        return self.assumptions.measures

    @property
    def closure(self) -> Closure:
        """Which seams are taped."""
        return self.assumptions.text("packing.closure")  # type: ignore[return-value]

    @cached_property
    def work(self) -> dict[str, float]:
        """Minutes of each kind of work."""
        start = "packing.work."
        return {
            key.removeprefix(start): self.assumptions.number(key)
            for key in self.assumptions.entries
            if key.startswith(start)
        }

    def chance_ppm(self, style: str, way: Padding | None) -> int:
        """Chance that a parcel of this style arrives damaged or not at all. [ppm]"""
        key = (style, id(way))
        if key not in self._chances:
            factor = self.assumptions.ppm(f"packing.damage_by_style.{style}")
            self._chances[key] = chance_ppm(way, factor, WALLS.get(style, 1), self.item, self.rules, self.assumptions)
        return self._chances[key]

    @cached_property
    def _chances(self) -> dict[tuple[str, int], int]:
        return {}

    @cached_property
    def turns(self) -> tuple[tuple[int, int, int], ...]:
        """Ways to lay the item's sides along length, width and height, each set of sides once."""
        found: dict[tuple[Sides, Sides], tuple[int, int, int]] = {}
        for turn in itertools.permutations(range(3)):
            if not (self.item.upright and turn[2] != 2):
                # Of two equal sides one may be the one that the label has made longer.
                key = turned(self.item.sides_in, turn), turned(self.paddings[0].needs_in, turn)  # type: ignore[arg-type]
                found.setdefault(key, turn)  # type: ignore[arg-type]
        return tuple(found.values())

    def grade(self, text: str) -> Grade | None:
        """The carton rule's row for a certificate; None where it cannot be read."""
        if text not in self._grades:
            self._grades[text] = carton_grade(text, block=self.rules.cartons) if text.strip() else None
        return self._grades[text]

    @cached_property
    def _grades(self) -> dict[str, Grade | None]:
        return {}

    def filled(self, draft: PackingOption) -> PackingOption | str:
        """The draft with its hollows filled, or why they cannot be."""
        if draft.padding is None:
            return draft
        if draft.style in ("bag", "wrapped"):
            return draft
        wrapped = turned(draft.padding.wrapped_in, draft.turn)
        play = max(room - side for room, side in zip(draft.inside_in, wrapped, strict=True))
        if draft.style == "tube":
            play = draft.inside_in[0] - wrapped[0]  # across, the circle holds it
        if self.stock.fill is None:
            if play > self.assumptions.number("packing.snug_in") + SNAP:
                return f"would rattle: {self.said.span(play)} of play and no void fill in stock"
            return replace(draft, fill_cuft=0.0)
        volume = draft.fill_cuft if draft.style == "tube" else fill_volume_cuft(draft.inside_in, wrapped)
        if self.stock.fill.volume_cuft is not None and volume > self.stock.fill.volume_cuft + SNAP:
            return (
                f"needs {self.said.hollow(volume)} of {self.stock.fill.name}, "
                f"{self.said.hollow(self.stock.fill.volume_cuft)} left"
            )
        return replace(draft, fill_cuft=volume)

    def weak(self, draft: PackingOption) -> str:
        """Why the container must not carry this, or empty."""
        gross = draft.gross_lb(self.item, self.stock)
        if gross > draft.most_lb + SNAP:
            return f"{self.said.mass(gross)} packed, it takes {self.said.mass(draft.most_lb, spec='g')}"
        if draft.grade is None:
            return ""
        strength: Strength = self.assumptions.text("packing.strength")  # type: ignore[assignment]
        limit = gross_limit_lb(draft.grade, strength=strength, block=self.rules.cartons)
        if gross > limit + SNAP:
            return (
                f"{self.said.mass(gross)} packed, the {strength} allows {self.said.mass(limit, spec='g')} "
                f"for {draft.grade.text}"
            )
        united = sum(draft.outside_in)
        if united > draft.grade.united_in + SNAP and self.assumptions.text("packing.over_united") == "refuse":
            return (
                f"{self.said.united(united)}, the carton rule allows "
                f"{self.said.side(draft.grade.united_in) if self.said.metric else f'{draft.grade.united_in:g}'} "
                f"for {draft.grade.text}"
            )
        return ""


IN_PER_FT = 12.0


def turned(sides_in: Sides, turn: tuple[int, int, int]) -> Sides:
    """Sides laid along length, width and height.

    >>> turned((30.0, 20.0, 10.0), (2, 0, 1))
    (10.0, 30.0, 20.0)
    """
    return (sides_in[turn[0]], sides_in[turn[1]], sides_in[turn[2]])


def paddings(item: PackItem, stock: Stock, rules: PackingRules, assumptions: Assumptions) -> list[Padding]:
    """Ways to pad an item with the cushioning at hand: none, and layer upon layer while one can still pay.

    A further layer is left out once what it costs is more than all the damage that is left to prevent; that
    holds for every layer after it, since none is smaller.
    """
    given: dict[str, Any] = {"rules": rules, "assumptions": assumptions}
    found = [way_of(item, None, 0, 0, **given)]
    worst = max(assumptions.ppm(f"packing.damage_by_style.{style}") for style in STYLES)
    slender = not all(thick_sides(item.sides_in))
    for cushion in stock.cushions:
        if cushion.form not in ("wrap", "plate"):
            raise MeasureError("form", need="wrap or plate", got=cushion.form, where=cushion.name)
        most = math.ceil(assumptions.number("packing.most_pad_in") / cushion.thickness_in - SNAP)
        layer_cents = _layer_cents(cushion, stock, assumptions)

        def worth(one: Padding, less: Padding, price: float = layer_cents) -> bool:
            """Whether what this has more than the other can still pay."""
            stays = min(assumptions.ppm("packing.damage.soft") * worst / 1e6, 1e6)
            at_stake = item.value_cents * (chance_ppm(less, worst, 0, item, rules, assumptions) - stays) / 1e6
            return (one.area_sqft - less.area_sqft) * price < at_stake + 2  # each amount is rounded

        def way(faces: int, edges: int, one: Cushion = cushion) -> Padding:
            return way_of(item, one, faces, edges, **given)

        row = found[0]
        for faces in range(most + 1):
            if faces:
                before, row = row, way(faces, faces)
                if not worth(row, before):
                    break
                if not _enough(cushion, row):
                    break
                found.append(row)
            last = row
            for edges in range(faces + 1, most + 1) if slender else ():
                one = way(faces, edges)
                if not worth(one, last) or not _enough(cushion, one):
                    break
                found.append(one)
                last = one
    return found


def way_of(
    item: PackItem, cushion: Cushion | None, faces: int, edges: int, *, rules: PackingRules, assumptions: Assumptions
) -> Padding:
    """So many layers on an item's faces, and on its edges or ends where it is flat or long."""
    return padding(
        item.sides_in,
        item.weight_lb,
        cushion=cushion,
        faces=faces,
        edges=edges,
        rough=assumptions.text("packing.rough") == "yes",
        table=rules.cushions,
        label_in=(assumptions.number("packing.label_in.length"), assumptions.number("packing.label_in.width")),
    )


def _layer_cents(cushion: Cushion, stock: Stock, assumptions: Assumptions) -> float:
    """What a square foot of cushioning costs at least, work counted and the fill that it replaces taken off."""
    work = "wrap_per_sqft" if cushion.form == "wrap" else "plate_per_sqft"
    hour = packer_hour_cents(assumptions)
    cents = cushion.cents_per_sqft + assumptions.number(f"packing.work.{work}") / 60 * hour
    fill = stock.fill
    if fill is None or fill.volume_cuft is not None:
        return 0.0  # what cannot be filled must be padded, whatever that costs
    saved = fill.cents_per_cuft + assumptions.number("packing.work.fill_per_cuft") / 60 * hour
    saved += fill.lb_per_cuft * _LABEL_CENTS_PER_LB
    return max(cents - saved * cushion.thickness_in / IN_PER_FT, 0.0)


#: More than any label rises with a pound of fill.
_LABEL_CENTS_PER_LB = 300.0


def _enough(cushion: Cushion, one: Padding) -> bool:
    return cushion.area_sqft is None or one.area_sqft <= cushion.area_sqft + SNAP


def packer_hour_cents(assumptions: Assumptions) -> int:
    """An hour of whoever packs. [cents]"""
    owner = assumptions.text("packing.packer") == "owner"
    return assumptions.cents("hour.target") if owner else helper_hour_cents(assumptions)


def helper_hour_cents(assumptions: Assumptions) -> int:
    """Wage and payroll burden of an hour. [cents]"""
    wage = assumptions.cents("help.wage")
    return wage + int(percentage(wage, assumptions.ppm("help.burden")))


def chance_ppm(
    way: Padding | None, factor_ppm: int, walls: int, item: PackItem, rules: PackingRules, assumptions: Assumptions
) -> int:
    """Chance that a parcel arrives damaged or not at all, for a style's factor and walls. [ppm]"""
    if way is None:
        return 0
    kind = rules.cushions.fragility_class(item.fragility)
    factor = factor_ppm / 1e6
    chance = damage_chance(
        way,
        kind.g,
        walls=walls,
        usual=assumptions.share(f"packing.damage.{item.fragility}") * factor if kind.g else 0.0,
        lost=min(assumptions.share("packing.damage.soft") * factor, 1.0),
        power=assumptions.number("packing.damage_power"),
        table=rules.cushions,
    )
    return round(min(chance, 1.0) * 1e6)


def boards(stock: Stock) -> dict[tuple[str, str], list[list[Sheet]]]:
    """Sheets at hand by flute and grade, flattened cartons among them.

    A flattened carton gives its body or its panels, not both: each comes as an alternative.
    """
    plain: dict[tuple[str, str], list[Sheet]] = {}
    bodies: dict[tuple[str, str], list[Sheet]] = {}
    panels: dict[tuple[str, str], list[Sheet]] = {}
    for sheet in stock.sheets:
        if sheet.quantity > 0:
            plain.setdefault((sheet.flute, sheet.grade), []).append(sheet)
    for carton in stock.cartons if stock.flatten else ():
        if carton.quantity > 0:
            body, *rest = flattened(carton)
            bodies.setdefault((carton.flute, carton.grade), []).append(body)
            panels.setdefault((carton.flute, carton.grade), []).extend(rest)
    found = {}
    for key in {**plain, **bodies}:
        own = plain.get(key, [])
        found[key] = [own + bodies[key], own + panels[key]] if key in bodies else [own]
    return found


# Drafts from cartons at hand: as they are, cut down in height, two joined mouth to mouth.


def carton_outside_in(inside_in: Sides, caliper_in: float) -> Sides:
    """Outside of a slotted carton: one board on each wall, two flaps below and two above.

    >>> carton_outside_in((20.0, 12.0, 10.0), 0.25)
    (20.5, 12.5, 11.0)
    """
    length, width, height = inside_in
    return (length + 2 * caliper_in, width + 2 * caliper_in, height + 4 * caliper_in)


def carton_lb(carton: Carton, bench: PackingContext, *, height_in: float | None = None) -> float:
    """Weight of a slotted carton's board, from its blank."""
    flute = bench.rules.board.flute(carton.flute)
    blank = slotted_blank(
        carton.length_in,
        carton.width_in,
        carton.height_in if height_in is None else height_in,
        allowance=score_allowance(flute, block=bench.rules.board),
        trim_in=0.0,
        may_turn=False,
    )
    return blank.area_in2 / SQIN_PER_SQFT * flute.lb_per_sqft


def _misfit(needs: Sides, inside: Sides) -> float:
    return max(need - room for need, room in zip(needs, inside, strict=True))


def _does_not_fit(needs: Sides, inside: Sides, said: Measures) -> str:
    return f"needs {said.span(*needs)} inside, has {said.span(*inside)}"


def stock_options(bench: PackingContext) -> Iterator[PackingOption | Refusal]:
    """Each carton as it is, with each way to pad, the item laid as it fits first.

    How the item lies changes neither the outside nor what is filled, so one way is enough.
    """
    for carton in bench.stock.cartons:
        if carton.quantity < 1:
            yield Refusal(0.0, "stock", carton.name, "none left")
            continue
        inside = (carton.length_in, carton.width_in, carton.height_in)
        for way in bench.paddings:
            turns = bench.turns
            turn = next((turn for turn in turns if _misfit(turned(way.needs_in, turn), inside) <= SNAP), None)
            if turn is None:
                if way is not bench.paddings[0]:
                    continue  # the first needs least room, so its miss is the nearest
                nearest = min((turned(way.needs_in, turn) for turn in turns), key=lambda needs: _misfit(needs, inside))
                yield Refusal(
                    _misfit(nearest, inside), "stock", carton.name, _does_not_fit(nearest, inside, bench.said)
                )
            else:
                yield _carton_draft("stock", carton, inside, way, turn, bench)


def cut_down_options(bench: PackingContext) -> Iterator[PackingOption | Refusal]:
    """Each carton cut down to the height that the item needs, flaps scored anew."""
    least = bench.assumptions.number("packing.least_cut_in")
    for carton in bench.stock.cartons:
        if carton.quantity < 1:
            yield Refusal(0.0, "cut_down", carton.name, "none left")
            continue
        inside = (carton.length_in, carton.width_in, carton.height_in)
        for way in bench.paddings:
            heights: dict[float, tuple[int, int, int]] = {}
            for turn in bench.turns:
                needs = turned(way.needs_in, turn)
                if _misfit(needs, inside) > SNAP:
                    if way is bench.paddings[0]:
                        reason = _does_not_fit(needs, inside, bench.said)
                        yield Refusal(_misfit(needs, inside), "cut_down", carton.name, reason)
                elif carton.height_in - needs[2] < least - SNAP:
                    reason = f"nothing to gain: {bench.said.span(carton.height_in - needs[2])} to take off its height"
                    yield Refusal(0.0, "cut_down", carton.name, reason)
                else:
                    heights.setdefault(needs[2], turn)
            for height, turn in heights.items():
                lower = (carton.length_in, carton.width_in, height)
                yield _carton_draft("cut_down", carton, lower, way, turn, bench)


def _carton_draft(
    style: str, carton: Carton, inside: Sides, way: Padding, turn: tuple[int, int, int], bench: PackingContext
) -> PackingOption:
    caliper = bench.rules.board.flute(carton.flute).caliper_in
    outside = carton_outside_in(inside, caliper)
    strips = slotted_strips_in(
        outside,
        closure=bench.closure,
        own_joint=False,
        table=bench.rules.cushions,
    )
    walls = 2 * (carton.length_in + carton.width_in)
    cut = style == "cut_down"
    return PackingOption(
        style=style,
        what=carton.name,
        inside_in=inside,
        outside_in=outside,
        padding=way,
        turn=turn,
        container_cents=carton.cost_cents,
        container_lb=carton_lb(carton, bench, height_in=inside[2]),
        strips_in=tuple(strips),
        # Four corners slit down, new scores around, and the old flaps trimmed to half the width.
        knife_in=4 * (carton.height_in - inside[2]) + walls if cut else 0.0,
        score_in=walls if cut else 0.0,
        grade=bench.grade(carton.grade),
        caliper_in=caliper,
        used=carton.used,
        pieces=(carton,),
    )


def joined_options(bench: PackingContext) -> Iterator[PackingOption | Refusal]:
    """Two cartons mouth to mouth, flaps lapped over each other's walls, for what is too long for one.

    They are as high together as their two heights, or pushed into each other (their walls slit at
    the corners) down to what the item needs.
    """
    tolerance = bench.assumptions.number("packing.join_tolerance_in")
    least = bench.assumptions.number("packing.least_cut_in")
    for one, two in itertools.combinations_with_replacement(bench.stock.cartons, 2):
        if min(one.quantity, two.quantity) < (2 if one is two else 1):
            continue
        what = f"{one.name} and {two.name}" if one is not two else f"two of {one.name}"
        apart = max(abs(one.length_in - two.length_in), abs(one.width_in - two.width_in))
        if apart > tolerance + SNAP:
            yield Refusal(apart, "joined", "any two", f"the openings of {what} differ by {bench.said.span(apart)}")
            continue
        across = (min(one.length_in, two.length_in), min(one.width_in, two.width_in))
        most = one.height_in + two.height_in
        inside = (*across, most)
        room = sorted(inside)
        for way in bench.paddings:
            if way is not bench.paddings[0] and _misfit(tuple(sorted(way.needs_in)), tuple(room)) > SNAP:  # type: ignore[arg-type]
                continue  # lies in it no way round
            for turn in bench.turns:
                needs = turned(way.needs_in, turn)
                if _misfit(needs, inside) > SNAP:
                    if way is bench.paddings[0]:
                        short = _misfit(needs, inside)
                        reason = f"{what}: {_does_not_fit(needs, inside, bench.said)}"
                        yield Refusal(short, "joined", "any two", reason)
                elif needs[2] <= max(one.height_in, two.height_in) + SNAP:
                    yield Refusal(0.0, "joined", "any two", f"one of {what} alone is high enough")
                else:
                    yield _joined(one, two, what, inside, way, turn, bench)
                    if most - needs[2] >= least - SNAP:
                        yield _joined(one, two, what, (*across, needs[2]), way, turn, bench)


def _joined(
    one: Carton, two: Carton, what: str, inside: Sides, way: Padding, turn: tuple[int, int, int], bench: PackingContext
) -> PackingOption:
    table = bench.rules.cushions
    calipers = [bench.rules.board.flute(carton.flute).caliper_in for carton in (one, two)]
    outer = [carton_outside_in((c.length_in, c.width_in, 0.0), t) for c, t in zip((one, two), calipers, strict=True)]
    thick = max(calipers)
    # The lapped flaps lie outside the walls; two flaps close each end.
    length, width = (max(outer[0][axis], outer[1][axis]) + 2 * thick for axis in (0, 1))
    outside = (length, width, inside[2] + 2 * sum(calipers))
    strips = slotted_strips_in(outside, closure=bench.closure, own_joint=False, table=table)
    strips += [girth_strip_in(length, width, table=table)] * 2
    grades = [bench.grade(carton.grade) for carton in (one, two)]
    known = [grade for grade in grades if grade is not None]
    taken = one.height_in + two.height_in - inside[2]
    return PackingOption(
        style="joined",
        what=what,
        inside_in=inside,
        outside_in=outside,
        padding=way,
        turn=turn,
        container_cents=one.cost_cents + two.cost_cents,
        container_lb=carton_lb(one, bench) + carton_lb(two, bench),
        strips_in=tuple(strips),
        knife_in=4 * taken,
        grade=min(known, key=lambda grade: grade.gross_lb) if len(known) == 2 else None,
        caliper_in=thick,
        used=one.used or two.used,
        pieces=(one, two),
    )


# Drafts cut from sheets: slotted carton in one or two pieces, telescope, five-panel wrap, folded wrap.

Made = tuple[tuple[Blank, ...], tuple[float, ...]]  # blanks, strips
Maker = Callable[[Sides, Sides, Flute, ScoreAllowance, PackingContext], Made]


@dataclass(frozen=True)
class Sized:
    """A made container by its sizes alone, before any blank is drawn."""

    style: str
    what: str
    board: tuple[str, str]
    way: Padding
    turn: tuple[int, int, int]
    inside_in: Sides
    outside_in: Sides


def made_sizes(bench: PackingContext) -> Iterator[Sized]:
    """Every style from every kind of board at hand, every way to pad and to lay the item."""
    turns = bench.turns
    for flute_name, grade in boards(bench.stock):
        caliper = bench.rules.board.flute(flute_name).caliper_in
        what = f"{flute_name} flute board, {grade or 'strength unknown'}"
        for way in bench.paddings:
            for turn in turns:
                inside = turned(way.needs_in, turn)
                for style, (more, fits, _) in _MAKERS.items():
                    if fits(inside):
                        outside = tuple(side + add * caliper for side, add in zip(inside, more, strict=True))
                        yield Sized(style, what, (flute_name, grade), way, turn, inside, outside)  # type: ignore[arg-type]


def made_draft(sized: Sized, bench: PackingContext) -> PackingOption:
    """The draft of a made container, its blanks drawn."""
    flute = bench.rules.board.flute(sized.board[0])
    allowance = score_allowance(flute, block=bench.rules.board)
    outside = sized.outside_in
    blanks, strips = _MAKERS[sized.style][2](sized.inside_in, outside, flute, allowance, bench)
    # Edge protectors: a strip folded around all four edges, its laps on both faces.
    around = 2 * (outside[0] + outside[1]) if sized.style == "sandwich" else 0.0
    edge_in2 = around * (outside[2] + 2 * bench.assumptions.number("packing.edge_lap_in"))
    return PackingOption(
        style=sized.style,
        what=sized.what,
        inside_in=sized.inside_in,
        outside_in=outside,
        padding=sized.way,
        turn=sized.turn,
        container_lb=(sum(b.area_in2 for b in blanks) + edge_in2) / SQIN_PER_SQFT * flute.lb_per_sqft,
        strips_in=strips,
        blanks=blanks,
        board=sized.board,
        knife_in=sum(blank.knife_in for blank in blanks) + 2 * around,
        score_in=sum(blank.score_in for blank in blanks) + 2 * around,
        grade=bench.grade(sized.board[1]),
        caliper_in=flute.caliper_in,
        edge_in2=edge_in2,
    )


def _slotted(inside: Sides, outside: Sides, flute: Flute, allowance: ScoreAllowance, bench: PackingContext) -> Made:
    upright = bench.assumptions.text("packing.flutes_upright") == "yes"
    blank = slotted_blank(*inside, allowance=allowance, trim_in=0.0, may_turn=not upright)
    strips = slotted_strips_in(outside, closure=bench.closure, own_joint=True, table=bench.rules.cushions)
    return (blank,), tuple(strips)


def _slotted_two(inside: Sides, outside: Sides, flute: Flute, allowance: ScoreAllowance, bench: PackingContext) -> Made:
    upright = bench.assumptions.text("packing.flutes_upright") == "yes"
    halves = tuple(
        slotted_half_blank(name, *inside, allowance=allowance, may_turn=not upright)
        for name in ("first half", "second half")
    )
    strips = slotted_strips_in(outside, closure=bench.closure, own_joint=True, table=bench.rules.cushions)
    return halves, (*strips, strips[-1])  # the second joint like the first


def _telescope(inside: Sides, outside: Sides, flute: Flute, allowance: ScoreAllowance, bench: PackingContext) -> Made:
    length, width, height = inside
    caliper = flute.caliper_in
    lid_deep = min(height, bench.assumptions.number("packing.lid_in"))
    base = tray_blank("base tray", length, width, height, allowance=allowance)
    lid = tray_blank("lid tray", length + 2 * caliper, width + 2 * caliper, lid_deep, allowance=allowance)
    table = bench.rules.cushions
    more = 2 * table.tape_past_edge_in
    corners = [height + more] * 4 + [lid_deep + more] * 4
    # Two strips around, across the length, keep the lid on.
    around = [girth_strip_in(outside[1], outside[2], table=table)] * 2
    return (base, lid), tuple(corners + around)


def _five_panel(inside: Sides, outside: Sides, flute: Flute, allowance: ScoreAllowance, bench: PackingContext) -> Made:
    blank = five_panel_blank(*inside, allowance=allowance)
    more = 2 * bench.rules.cushions.tape_past_edge_in
    ends = [outside[1] + more, outside[2] + more, outside[2] + more] * 2
    return (blank,), (outside[0] + more, *ends)


def _folded_wrap(inside: Sides, outside: Sides, flute: Flute, allowance: ScoreAllowance, bench: PackingContext) -> Made:
    blank = folded_wrap_blank(*inside, allowance=allowance)
    more = 2 * bench.rules.cushions.tape_past_edge_in
    corners = [outside[2] + more] * 4
    return (blank,), (outside[0] + more, outside[1] + more, outside[1] + more, *corners)


def _sandwich(inside: Sides, outside: Sides, flute: Flute, allowance: ScoreAllowance, bench: PackingContext) -> Made:
    faces = tuple(Blank(name, "", inside[0], inside[1]) for name in ("first face", "second face"))
    table = bench.rules.cushions
    around = [girth_strip_in(outside[1], outside[2], table=table)] * 3
    return faces, (*around, girth_strip_in(outside[0], outside[2], table=table))


def _any(inside: Sides) -> bool:
    return True


#: What a style adds to the inside, in boards along length, width and height; which way round it is made (trays are
#: the same named the other way round); and its blanks and tape.
_MAKERS: dict[str, tuple[Sides, Callable[[Sides], bool], Maker]] = {
    "slotted": ((2, 2, 4), _any, _slotted),
    "slotted_two": ((2, 2, 4), _any, _slotted_two),
    "telescope": ((4, 4, 2), lambda inside: inside[0] >= inside[1] - SNAP, _telescope),
    # Each end: three layers of flaps inside the last one. One side is doubled by the fifth panel.
    "five_panel": ((8, 3, 2), lambda inside: inside[2] <= inside[1] + SNAP, _five_panel),
    "folded_wrap": ((2, 2, 2), _any, _folded_wrap),
    # A face and the lap of the edge protectors on each side, the protectors alone along the edges.
    "sandwich": (
        (2, 2, 4),
        lambda inside: is_flat(inside) and inside[2] <= inside[1] <= inside[0] + SNAP,
        _sandwich,
    ),
}
#: Styles that are cut from sheets.
MADE = tuple(_MAKERS)


# Drafts without a carton: tube, padded bag, stretch wrap alone, and the buyer who comes to collect.


def tube_options(bench: PackingContext) -> Iterator[PackingOption | Refusal]:
    """Each tube as it is and cut to length, the item along its axis.

    A round or rolled item fills the circle of its thicker side; any other the circle around its
    cross-section.
    """
    least = bench.assumptions.number("packing.least_cut_in")
    for tube in bench.stock.tubes:
        if tube.quantity < 1:
            yield Refusal(0.0, "tube", tube.name, "none left")
            continue
        if bench.item.upright:
            yield Refusal(0.0, "tube", tube.name, "the item must stay upright")
            continue
        for way in bench.paddings:
            for turn in bench.turns:
                long, one, two = turned(way.needs_in, turn)
                across = _circle_in(bench, (one, two), turn)
                short = max(long - tube.length_in, across - tube.inside_in)
                if short > SNAP:
                    if way is not bench.paddings[0]:
                        continue
                    reason = (
                        f"needs {bench.said.span(across)} across and {bench.said.span(long)} of length, has "
                        f"{bench.said.span(tube.inside_in, spec='g')} and {bench.said.span(tube.length_in, spec='g')}"
                    )
                    yield Refusal(short, "tube", tube.name, reason)
                    continue
                yield _tube(bench, tube, way, turn, tube.length_in)
                if tube.length_in - long >= least - SNAP:
                    yield _tube(bench, tube, way, turn, long)


def _circle_in(bench: PackingContext, section: tuple[float, float], turn: tuple[int, int, int]) -> float:
    item = bench.item
    longest = max(item.sides_in)
    if item.round_section and item.sides_in[turn[0]] >= longest - SNAP:
        return max(section)
    return math.hypot(*section)


def _tube(bench: PackingContext, tube: Tube, way: Padding, turn: tuple[int, int, int], length: float) -> PackingOption:
    outside = tube.inside_in + 2 * tube.wall_in
    wrapped = turned(way.wrapped_in, turn)
    solid = math.prod(wrapped)
    if bench.item.round_section:
        solid *= math.pi / 4
    hollow = max(length * math.pi / 4 * tube.inside_in**2 - solid, 0.0) / CUIN_PER_CUFT
    more = 2 * bench.rules.cushions.tape_past_edge_in
    cap = math.pi * outside + more
    return PackingOption(
        style="tube",
        what=tube.name,
        inside_in=(length, tube.inside_in, tube.inside_in),
        outside_in=(length + 2 * tube.wall_in, outside, outside),
        padding=way,
        turn=turn,
        container_cents=tube.cost_cents,
        container_lb=length / 12 * tube.lb_per_ft,
        fill_cuft=hollow,
        strips_in=(cap, cap),
        knife_in=math.pi * outside if length < tube.length_in else 0.0,
        packaging="cylinder",
        nonrectangular=True,
        most_lb=tube.most_lb,
    )


def bag_options(bench: PackingContext) -> Iterator[PackingOption | Refusal]:
    """Each padded bag: width + height and length + height must go in.

    Filled, a bag is as much shorter and narrower than flat as it is thick.
    """
    ease = bench.assumptions.number("packing.bag_ease_in")
    thickest = bench.assumptions.number("packing.bag_height_in")
    for bag in bench.stock.bags:
        if bag.quantity < 1:
            yield Refusal(0.0, "bag", bag.name, "none left")
            continue
        if bench.item.upright:
            yield Refusal(0.0, "bag", bag.name, "the item must stay upright")
            continue
        for way in bench.paddings:
            turn = tuple(sorted(range(3), key=lambda axis: -way.wrapped_in[axis]))
            long, wide, high = turned(way.wrapped_in, turn)  # type: ignore[arg-type]
            short = max(high - thickest, wide + high + ease - bag.width_in, long + high + ease - bag.length_in)
            if high > thickest + SNAP:
                yield Refusal(
                    short,
                    "bag",
                    bag.name,
                    f"{bench.said.span(high)} thick, a bag takes up to {bench.said.span(thickest, spec='g')}",
                )
            elif short > SNAP:
                reason = (
                    f"needs {bench.said.span(wide + high + ease, long + high + ease)} flat, "
                    f"has {bench.said.span(bag.width_in, bag.length_in, spec='g')}"
                )
                yield Refusal(short, "bag", bag.name, reason)
            else:
                yield PackingOption(
                    style="bag",
                    what=bag.name,
                    inside_in=(long, wide, high),
                    outside_in=(
                        max(long + 2 * bag.pad_in, bag.length_in - high),
                        max(wide + 2 * bag.pad_in, bag.width_in - high),
                        high + 2 * bag.pad_in,
                    ),
                    padding=way,
                    turn=turn,  # type: ignore[arg-type]
                    container_cents=bag.cost_cents,
                    container_lb=bag.weight_lb,
                    strips_in=(bag.width_in,),
                    packaging="soft pack",
                    most_lb=bag.most_lb,
                )


def wrapped_options(bench: PackingContext) -> Iterator[PackingOption | Refusal]:
    """The padded item in stretch wrap alone; carriers charge extra for it."""
    film = bench.stock.stretch
    if film is None:
        yield Refusal(0.0, "wrapped", "stretch wrap", "no stretch wrap in stock")
        return
    turns = bench.assumptions.number("packing.film_turns")
    for way in bench.paddings:
        sides = way.wrapped_in
        if bench.paddings[0].needs_in != bench.item.sides_in:
            yield Refusal(0.0, "wrapped", film.name, "too small for the label")
            continue
        yield PackingOption(
            style="wrapped",
            what=film.name,
            inside_in=sides,
            outside_in=sides,
            padding=way,
            turn=(0, 1, 2),
            film_sqft=stretch_wrap_sqft(sides, turns=turns),
            packaging="shrink wrap",
        )


def pickup_options(bench: PackingContext) -> Iterator[PackingOption | Refusal]:
    """The buyer collects: no carton, no label."""
    if bench.item.pickup:
        sides = bench.item.sides_in
        yield PackingOption("pickup", "the buyer collects", sides, sides, None, (0, 1, 2))
    else:
        yield Refusal(0.0, "pickup", "the buyer collects", "the buyer does not come")
