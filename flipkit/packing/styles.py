"""Ways to box an item, from what is at hand or cut from sheets, before any price: columns of drafts."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from typing import Any

import numpy as np
import numpy.typing as npt

from flipkit.assumptions import Assumptions
from flipkit.errors import MeasureError
from flipkit.money import percentage
from flipkit.packing.at_hand import Carton, Cushion, Sheet, Stock, flattened
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
    carton_grade,
    score_allowance,
)
from flipkit.units import SNAP, Measures

# Ways to pack an item, as drafts: what goes where and how large it gets, before any price.

Floats = npt.NDArray[np.float64]
Index = npt.NDArray[np.int64]

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
    #: Of a thing shaped like an L, the empty corner of the box around it; nothing of any other.
    notch_in: Sides = (0.0, 0.0, 0.0)

    @property
    def sides_in(self) -> Sides:
        """Length, width, height. [in]"""
        return (self.length_in, self.width_in, self.height_in)


@dataclass(frozen=True)
class PackingOption:
    """One way to pack the item."""

    style: str
    what: str
    inside_in: Sides = (0.0, 0.0, 0.0)
    outside_in: Sides = (0.0, 0.0, 0.0)
    padding: Padding | None = None
    turn: tuple[int, int, int] = (0, 1, 2)
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

    @cached_property
    def work(self) -> dict[str, float]:
        """Minutes of each kind of work."""
        start = "packing.work."
        return {
            key.removeprefix(start): self.assumptions.number(key)
            for key in self.assumptions.entries
            if key.startswith(start)
        }

    def taped(self, outside_in: Sides, *, own_joint: bool = False) -> list[Any]:
        """Strips of tape that close a slotted carton."""
        closure: Closure = self.assumptions.text("packing.closure")  # type: ignore[assignment]
        return slotted_strips_in(outside_in, closure=closure, own_joint=own_joint, table=self.rules.cushions)

    def chances_ppm(self, style: str) -> npt.NDArray[np.int64]:
        """Chance that a parcel of this style arrives damaged or not at all, of each way to pad; last, of none. [ppm]"""
        if style == "pickup":
            return np.zeros(len(self.paddings) + 1, dtype=np.int64)
        columns = {name: tuple(self.of_ways(name).T) for name in ("falls_in", "give_in")}
        every = replace(self.paddings[0], **columns)  # type: ignore[arg-type]
        found = chance_ppm(style, every, self.item, self.rules, self.assumptions)
        return np.append(np.broadcast_to(found, len(self.paddings)), 0)

    def of_ways(self, name: str) -> Floats:
        """A measure of each way to pad: a row a way."""
        return np.array([getattr(way, name) for way in self.paddings])

    @cached_property
    def _layers(self) -> list[tuple[int, int, float]]:
        """Each way to pad, the same with a layer less, and what that layer costs at least. [cents]"""
        at = {(one.cushion, one.faces, one.edges): number for number, one in enumerate(self.paddings)}
        found = []
        for (cushion, faces, edges), number in at.items():
            thinner = (cushion, faces, edges - 1) if edges > faces else (cushion, faces - 1, edges - 1)
            before = at.get(thinner if thinner[2] else (None, 0, 0))
            if cushion is not None and before is not None:
                more = self.paddings[number].area_sqft - self.paddings[before].area_sqft
                found.append((number, before, more * _layer_cents(cushion, self.stock, self.assumptions)))
        return found

    def pays(self, style: str) -> npt.NDArray[np.bool_]:
        """Ways to pad whose every layer can pay in this style, as :func:`paddings` judges the worst one."""
        lost = self.assumptions.ppm("packing.damage.soft") * self.assumptions.ppm(f"packing.damage_by_style.{style}")
        left = self.item.value_cents * (self.chances_ppm(style) - min(lost / 1e6, 1e6)) / 1e6
        found = np.ones(len(self.paddings), dtype=bool)
        for number, before, cents in self._layers:
            found[number] = found[before] and cents < left[before] + 2  # each amount is rounded
        return found

    @cached_property
    def needs_in(self) -> Floats:
        """Room that the padded item needs: by way, by turn, along length, width and height."""
        return self.of_ways("needs_in")[:, list(self.turns)]

    @cached_property
    def wrapped_in(self) -> Floats:
        """Sides of the padded item: by way, by turn, along length, width and height."""
        return self.of_ways("wrapped_in")[:, list(self.turns)]

    def lies(self, drafts: Drafts) -> Floats:
        """Sides of the padded item as it lies in each draft; without a carton nothing is around it but that."""
        if drafts.style in ("bag", "wrapped", "pickup"):
            return drafts.of("inside_in")
        return self.wrapped_in[drafts.way, drafts.turn]

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
        return carton_grade(text, block=self.rules.cartons) if text.strip() else None


@dataclass(frozen=True)
class Drafts:
    """Drafts of one style as columns, a row a container, way to pad and way to lie; of equals the first row counts."""

    style: str
    #: What all drafts of a container share.
    containers: Sequence[PackingOption]
    container: Index
    way: Index
    turn: Index
    #: What differs from draft to draft, by the name of its field in ``PackingOption``.
    columns: Mapping[str, Floats]
    strips_in: Sequence[Floats]
    blanks: Sequence[Blank] = ()

    def of(self, name: str) -> Floats:
        """A field of every draft."""
        if name in self.columns:
            return self.columns[name]
        return np.array([getattr(one, name) for one in self.containers])[self.container]

    def one(self, row: int, bench: PackingContext) -> PackingOption:
        """One draft as it is."""
        columns = {
            name: tuple(values[row].tolist()) if values.ndim == 2 else values[row].item()
            for name, values in self.columns.items()
        }
        one = replace(
            self.containers[self.container[row]],
            padding=(*bench.paddings, None)[self.way[row]],
            turn=bench.turns[self.turn[row]],
            strips_in=tuple(values[row].item() for values in self.strips_in),
            **columns,
        )
        if not self.blanks:
            return one
        flute = bench.rules.board.flute(one.board[0])
        return replace(one, blanks=_cut(self.style, one.inside_in, one.outside_in, flute, bench)[0])


#: Drafts of a style, and why other containers of it are out; of equally near misses the first is told.
Options = tuple[Drafts | None, list[Refusal]]

IN_PER_FT = 12.0


def turned(sides_in: Sides, turn: tuple[int, int, int]) -> Sides:
    """Sides laid along length, width and height.

    >>> turned((30.0, 20.0, 10.0), (2, 0, 1))
    (10.0, 30.0, 20.0)
    """
    return (sides_in[turn[0]], sides_in[turn[1]], sides_in[turn[2]])


def paddings(item: PackItem, stock: Stock, rules: PackingRules, assumptions: Assumptions) -> list[Padding]:
    """Ways to pad an item with the cushioning at hand: none, and layer upon layer while one can still pay."""
    # A layer is left out once it costs more than all the damage left to prevent; so is every later one, none smaller.
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
            at_stake = item.value_cents * (_chance_ppm(less, worst, 0, item, rules, assumptions) - stays) / 1e6
            return bool((one.area_sqft - less.area_sqft) * price < at_stake + 2)  # each amount is rounded

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
        empty_in3=math.prod(item.notch_in),
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
    style: str, way: Padding, item: PackItem, rules: PackingRules, assumptions: Assumptions
) -> npt.NDArray[np.int64]:
    """Chance that a parcel of this style arrives damaged or not at all, of one way to pad or columns of them. [ppm]"""
    factor = assumptions.ppm(f"packing.damage_by_style.{style}")
    return _chance_ppm(way, factor, WALLS.get(style, 1), item, rules, assumptions)


def _chance_ppm(
    way: Padding, factor_ppm: int, walls: int, item: PackItem, rules: PackingRules, assumptions: Assumptions
) -> npt.NDArray[np.int64]:
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
    return np.rint(np.minimum(chance, 1.0) * 1e6).astype(np.int64)


def boards(stock: Stock) -> dict[tuple[str, str], list[list[Sheet]]]:
    """Sheets at hand by flute and grade; a flattened carton gives its body or its panels, so each is an alternative."""
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

#: What a slotted carton adds to its inside, in boards: one on each wall, two flaps below and two above.
_SLOTTED = np.array([2.0, 2.0, 4.0])


def _carton_lb(carton: Carton, height_in: Any, bench: PackingContext) -> Any:
    """Weight of a slotted carton's board, from its blank."""
    flute = bench.rules.board.flute(carton.flute)
    blank = slotted_blank(
        carton.length_in,
        carton.width_in,
        height_in,
        allowance=score_allowance(flute, block=bench.rules.board),
        trim_in=0.0,
        may_turn=False,
    )
    return blank.area_in2 / SQIN_PER_SQFT * flute.lb_per_sqft


def _misses(
    needs: Floats, rooms: Floats, containers: Sequence[PackingOption], bench: PackingContext, start: str = ""
) -> list[Refusal]:
    """Of each container too small for the first way to pad, the nearest miss; the first needs least room."""
    short = (needs[None, 0] - rooms[:, None]).max(axis=2)
    short[short <= SNAP] = np.inf
    found = []
    for at, one in enumerate(containers):
        turn = int(short[at].argmin())
        if short[at, turn] < np.inf:
            wanted, has = (bench.said.span(*sides.tolist()) for sides in (needs[0, turn], rooms[at]))
            reason = f"{start and f'{one.what}: '}needs {wanted} inside, has {has}"
            found.append(Refusal(float(short[at, turn]), one.style, start or one.what, reason))
    return found


def _fits(needs: Floats, rooms: Floats) -> npt.NDArray[np.bool_]:
    """Which rooms take what needs so much: by room, way and turn."""
    return np.asarray((needs[None] <= rooms[:, None, None] + SNAP).all(axis=3))


def _cartons(style: str, bench: PackingContext) -> tuple[list[PackingOption], Floats, list[Refusal]]:
    """Each carton at hand as a container, and its inside."""
    found, rooms, gone = [], [], []
    for carton in bench.stock.cartons:
        if carton.quantity < 1:
            gone.append(Refusal(0.0, style, carton.name, "none left"))
            continue
        inside = (carton.length_in, carton.width_in, carton.height_in)
        walls = 2 * (carton.length_in + carton.width_in)
        rooms.append(inside)
        found.append(
            PackingOption(
                style=style,
                what=carton.name,
                inside_in=inside,
                container_cents=carton.cost_cents,
                # New scores around, where it is cut down.
                score_in=walls if style == "cut_down" else 0.0,
                grade=bench.grade(carton.grade),
                caliper_in=bench.rules.board.flute(carton.flute).caliper_in,
                used=carton.used,
                pieces=(carton,),
            )
        )
    return found, np.array(rooms, dtype=np.float64).reshape(-1, 3), gone


def _carton_drafts(
    style: str,
    containers: list[PackingOption],
    at: Index,
    way: Index,
    turn: Index,
    inside: Floats,
    bench: PackingContext,
) -> Drafts:
    caliper = np.array([one.caliper_in for one in containers])[at]
    outside = inside + caliper[:, None] * _SLOTTED
    weight, taken = np.zeros(at.size), np.zeros(at.size)
    for number, one in enumerate(containers):
        rows = at == number
        if rows.any():
            weight[rows] = _carton_lb(one.pieces[0], inside[rows, 2], bench)
            taken[rows] = one.pieces[0].height_in - inside[rows, 2]
    columns = {"inside_in": inside, "outside_in": outside, "container_lb": weight}
    if style == "cut_down":
        # Four corners slit down, new scores around, and the old flaps trimmed to half the width.
        columns["knife_in"] = 4 * taken + np.array([one.score_in for one in containers])[at]
    strips = bench.taped(tuple(outside.T))
    return Drafts(style, containers, at, way, turn, columns, strips)


def stock_options(bench: PackingContext) -> Options:
    """Each carton as it is, with each way to pad; how the item lies changes nothing, so it lies as it fits first."""
    containers, rooms, refusals = _cartons("stock", bench)
    fits = _fits(bench.needs_in, rooms) & bench.pays("stock")[:, None]
    at, way = np.nonzero(fits.any(axis=2))
    refusals += _misses(bench.needs_in, rooms, containers, bench)
    return _carton_drafts("stock", containers, at, way, fits.argmax(axis=2)[at, way], rooms[at], bench), refusals


def cut_down_options(bench: PackingContext) -> Options:
    """Each carton cut down to the height that the item needs, flaps scored anew."""
    containers, rooms, refusals = _cartons("cut_down", bench)
    needs, least = bench.needs_in, bench.assumptions.number("packing.least_cut_in") - SNAP
    fits = _fits(needs, rooms)
    spare = rooms[:, None, None, 2] - needs[None, ..., 2]
    gains = fits & bench.pays("cut_down")[:, None] & (spare >= least)
    # Of turns of one height the first is enough.
    same = np.tril(needs[:, :, None, 2] == needs[:, None, :, 2], -1)
    at, way, turn = np.nonzero(gains & ~(same[None] & gains[:, :, None]).any(axis=3))
    for number, one in enumerate(containers):
        idle = spare[number][fits[number] & (spare[number] < least)]
        if idle.size:
            reason = f"nothing to gain: {bench.said.span(idle[0].item())} to take off its height"
            refusals.append(Refusal(0.0, "cut_down", one.what, reason))
    refusals += _misses(needs, rooms, containers, bench)
    inside = rooms[at]
    inside[:, 2] = needs[way, turn, 2]
    return _carton_drafts("cut_down", containers, at, way, turn, inside, bench), refusals


def joined_options(bench: PackingContext) -> Options:
    """Two cartons mouth to mouth for what is too long for one: as high as both, or pushed together, corners slit."""
    tolerance = bench.assumptions.number("packing.join_tolerance_in")
    containers, rooms, walls, refusals = [], [], [], []
    for one, two in itertools.combinations_with_replacement(bench.stock.cartons, 2):
        if min(one.quantity, two.quantity) < (2 if one is two else 1):
            continue
        what = f"{one.name} and {two.name}" if one is not two else f"two of {one.name}"
        apart = max(abs(one.length_in - two.length_in), abs(one.width_in - two.width_in))
        if apart > tolerance + SNAP:
            reason = f"the openings of {what} differ by {bench.said.span(apart)}"
            refusals.append(Refusal(apart, "joined", "any two", reason))
            continue
        containers.append(_joined(one, two, what, bench))
        rooms.append(containers[-1].inside_in)
        walls.append(containers[-1].outside_in)
    if not containers:
        return None, refusals
    needs, room = bench.needs_in, np.array(rooms, dtype=np.float64)
    fits = _fits(needs, room)
    alone = np.array([max(carton.height_in for carton in one.pieces) for one in containers])
    long = fits & (needs[None, ..., 2] > alone[:, None, None] + SNAP)
    for number in np.flatnonzero((fits & ~long).any(axis=(1, 2))):
        reason = f"one of {containers[number].what} alone is high enough"
        refusals.append(Refusal(0.0, "joined", "any two", reason))
    refusals += _misses(needs, room, containers, bench, "any two")
    whole = np.stack(np.nonzero(long))
    least = bench.assumptions.number("packing.least_cut_in")
    pushed = whole[:, room[whole[0], 2] - needs[whole[1], whole[2], 2] >= least - SNAP]
    at, way, turn = np.concatenate([whole, pushed], axis=1)
    inside, outside = room[at], np.array(walls, dtype=np.float64)[at]
    height = inside[:, 2].copy()
    inside[whole.shape[1] :, 2] = needs[pushed[1], pushed[2], 2]
    taken = height - inside[:, 2]
    calipers = np.array([sum(bench.rules.board.flute(c.flute).caliper_in for c in one.pieces) for one in containers])
    outside[:, 2] = inside[:, 2] + 2 * calipers[at]
    strips = bench.taped(tuple(outside.T))
    strips += [girth_strip_in(outside[:, 0], outside[:, 1], table=bench.rules.cushions)] * 2
    columns = {"inside_in": inside, "outside_in": outside, "knife_in": 4 * taken}
    return Drafts("joined", containers, at, way, turn, columns, strips), refusals


def _joined(one: Carton, two: Carton, what: str, bench: PackingContext) -> PackingOption:
    """Two cartons as one container, as high as both together."""
    calipers = [bench.rules.board.flute(carton.flute).caliper_in for carton in (one, two)]
    thick = max(calipers)
    # The lapped flaps lie outside the walls; two flaps close each end.
    across = [
        max(getattr(carton, side) + 2 * caliper for carton, caliper in zip((one, two), calipers, strict=True))
        for side in ("length_in", "width_in")
    ]
    high = one.height_in + two.height_in
    known = [grade for grade in (bench.grade(carton.grade) for carton in (one, two)) if grade is not None]
    return PackingOption(
        style="joined",
        what=what,
        inside_in=(min(one.length_in, two.length_in), min(one.width_in, two.width_in), high),
        outside_in=(across[0] + 2 * thick, across[1] + 2 * thick, high),
        container_cents=one.cost_cents + two.cost_cents,
        container_lb=sum(_carton_lb(carton, carton.height_in, bench) for carton in (one, two)),
        grade=min(known, key=lambda grade: grade.gross_lb) if len(known) == 2 else None,
        caliper_in=thick,
        used=one.used or two.used,
        pieces=(one, two),
    )


# Drafts cut from sheets: slotted carton in one or two pieces, telescope, five-panel wrap, folded wrap, sandwich.

Made = tuple[tuple[Blank, ...], tuple[Any, ...]]  # blanks, strips
Maker = Callable[[Sides, Sides, Flute, ScoreAllowance, PackingContext], Made]


def made_options(style: str, bench: PackingContext) -> Options:
    """A style from every kind of board at hand, every way to pad and to lie."""
    more, made_so, _ = _MAKERS[style]
    kinds = list(boards(bench.stock))
    if not kinds:
        return None, []
    needs = bench.needs_in
    rows = [made_so(needs[..., 0], needs[..., 1], needs[..., 2]) & bench.pays(style)[:, None]] * len(kinds)
    at, way, turn = np.nonzero(np.broadcast_to(rows, (len(kinds), *needs.shape[:2])))
    flutes = [bench.rules.board.flute(name) for name, _ in kinds]
    containers = [
        PackingOption(
            style=style,
            what=f"{flute.name} flute board, {grade or 'strength unknown'}",
            board=(flute.name, grade),
            grade=bench.grade(grade),
            caliper_in=flute.caliper_in,
        )
        for flute, (_, grade) in zip(flutes, kinds, strict=True)
    ]
    calipers, weights = (np.array([getattr(one, name) for one in flutes])[at] for name in ("caliper_in", "lb_per_sqft"))
    inside = needs[way, turn]
    outside = inside + calipers[:, None] * np.array(more, dtype=np.float64)
    board = replace(flutes[0], caliper_in=calipers, lb_per_sqft=weights)  # type: ignore[arg-type]
    blanks, strips = _cut(style, tuple(inside.T), tuple(outside.T), board, bench)
    # Edge protectors: a strip folded around all four edges, its laps on both faces.
    around = 2 * (outside[:, 0] + outside[:, 1]) * (style == "sandwich")
    edge_in2 = around * (outside[:, 2] + 2 * bench.assumptions.number("packing.edge_lap_in"))
    columns = {
        "inside_in": inside,
        "outside_in": outside,
        "container_lb": (sum(blank.area_in2 for blank in blanks) + edge_in2) / SQIN_PER_SQFT * weights,
        "knife_in": sum(blank.knife_in for blank in blanks) + 2 * around,
        "score_in": sum(blank.score_in for blank in blanks) + 2 * around,
        "edge_in2": edge_in2,
    }
    return Drafts(style, containers, at, way, turn, columns, strips, blanks), []


def _cut(style: str, inside: Sides, outside: Sides, flute: Flute, bench: PackingContext) -> Made:
    """Blanks and strips of a made container, or of columns of them."""
    allowance = score_allowance(flute, block=bench.rules.board)
    return _MAKERS[style][2](inside, outside, flute, allowance, bench)


def _slotted(
    inside: Sides, outside: Sides, flute: Flute, allowance: ScoreAllowance, bench: PackingContext, *, two: bool = False
) -> Made:
    terms: dict[str, Any] = {
        "allowance": allowance,
        "may_turn": bench.assumptions.text("packing.flutes_upright") != "yes",
    }
    strips = bench.taped(outside, own_joint=True)
    if not two:
        return (slotted_blank(*inside, trim_in=0.0, **terms),), tuple(strips)
    halves = tuple(slotted_half_blank(name, *inside, **terms) for name in ("first half", "second half"))
    return halves, (*strips, strips[-1])  # the second joint like the first


def _telescope(inside: Sides, outside: Sides, flute: Flute, allowance: ScoreAllowance, bench: PackingContext) -> Made:
    length, width, height = inside
    caliper = flute.caliper_in
    lid_deep: Any = np.minimum(height, bench.assumptions.number("packing.lid_in"))
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


def _any(length: Floats, width: Floats, height: Floats) -> npt.NDArray[np.bool_]:
    return np.ones(length.shape, dtype=bool)


#: What a style adds to the inside, in boards along length, width and height; which way round it is made (trays are
#: the same named the other way round); and its blanks and tape.
_MAKERS: dict[str, tuple[Sides, Callable[[Floats, Floats, Floats], npt.NDArray[np.bool_]], Maker]] = {
    "slotted": ((2, 2, 4), _any, _slotted),
    "slotted_two": ((2, 2, 4), _any, partial(_slotted, two=True)),
    "telescope": ((4, 4, 2), lambda length, width, _: length >= width - SNAP, _telescope),
    # Each end: three layers of flaps inside the last one. One side is doubled by the fifth panel.
    "five_panel": ((8, 3, 2), lambda _, width, height: height <= width + SNAP, _five_panel),
    "folded_wrap": ((2, 2, 2), _any, _folded_wrap),
    # A face and the lap of the edge protectors on each side, the protectors alone along the edges.
    "sandwich": (
        (2, 2, 4),
        lambda length, width, height: (
            is_flat((length, width, height)) & (height <= width + SNAP) & (width <= length + SNAP)
        ),
        _sandwich,
    ),
}
#: Styles that are cut from sheets.
MADE = tuple(_MAKERS)


# Drafts without a carton: tube, padded bag, stretch wrap alone, and the buyer who comes to collect.


def _takers(style: str, some: Sequence[Any], bench: PackingContext) -> tuple[list[Any], list[Refusal]]:
    """Tubes or bags that are left, for what need not stay upright."""
    left = [one for one in some if one.quantity > 0 and not bench.item.upright]
    why = {True: "the item must stay upright", False: "none left"}
    return left, [Refusal(0.0, style, one.name, why[one.quantity > 0]) for one in some if one not in left]


def tube_options(bench: PackingContext) -> Options:
    """Each tube as it is and cut to length; what is not round along it needs the circle around its cross-section."""
    tubes, refusals = _takers("tube", bench.stock.tubes, bench)
    if not tubes:
        return None, refusals
    item, said = bench.item, bench.said
    long, section = bench.needs_in[..., 0], bench.needs_in[..., 1:]
    along = [item.round_section and item.sides_in[turn[0]] >= max(item.sides_in) - SNAP for turn in bench.turns]
    across = np.where(along, section.max(axis=2), np.hypot(section[..., 0], section[..., 1]))
    bore, length, wall = (
        np.array([getattr(one, name) for one in tubes]) for name in ("inside_in", "length_in", "wall_in")
    )
    short = np.maximum(long - length[:, None, None], across - bore[:, None, None])
    containers = []
    for number, tube in enumerate(tubes):
        turn = int(short[number, 0].argmin())
        if short[number, 0, turn] > SNAP:
            reason = (
                f"needs {said.span(across[0, turn].item())} across and {said.span(long[0, turn].item())} of length, "
                f"has {said.span(tube.inside_in, spec='g')} and {said.span(tube.length_in, spec='g')}"
            )
            refusals.append(Refusal(float(short[number, 0, turn]), "tube", tube.name, reason))
        containers.append(
            PackingOption(
                style="tube",
                what=tube.name,
                container_cents=tube.cost_cents,
                packaging="cylinder",
                nonrectangular=True,
                most_lb=tube.most_lb,
            )
        )
    whole = np.stack(np.nonzero(short <= SNAP))
    spare = length[whole[0]] - long[whole[1], whole[2]]
    cut = whole[:, spare >= bench.assumptions.number("packing.least_cut_in") - SNAP]
    at, way, turn = np.concatenate([whole, cut], axis=1)
    lengths = np.concatenate([length[whole[0]], long[cut[1], cut[2]]])
    outer = bore[at] + 2 * wall[at]
    solid = bench.wrapped_in[way, turn].prod(axis=1) * (math.pi / 4 if item.round_section else 1.0)
    solid -= math.prod(item.notch_in)
    cap = math.pi * outer + 2 * bench.rules.cushions.tape_past_edge_in
    columns = {
        "inside_in": np.column_stack([lengths, bore[at], bore[at]]),
        "outside_in": np.column_stack([lengths + 2 * wall[at], outer, outer]),
        "container_lb": lengths / IN_PER_FT * np.array([one.lb_per_ft for one in tubes])[at],
        "fill_cuft": np.maximum(lengths * math.pi / 4 * bore[at] ** 2 - solid, 0.0) / CUIN_PER_CUFT,
        "knife_in": np.where(lengths < length[at], math.pi * outer, 0.0),
    }
    return Drafts("tube", containers, at, way, turn, columns, (cap, cap)), refusals


def bag_options(bench: PackingContext) -> Options:
    """Each padded bag; filled, it is as much shorter and narrower than flat as it is thick."""
    bags, refusals = _takers("bag", bench.stock.bags, bench)
    if not bags:
        return None, refusals
    ease, thickest = (bench.assumptions.number(f"packing.bag_{name}_in") for name in ("ease", "height"))
    wrapped, said = bench.of_ways("wrapped_in"), bench.said
    order = np.argsort(-wrapped, axis=1, kind="stable")
    lies = np.take_along_axis(wrapped, order, axis=1)
    long, wide, high = lies.T
    turns = np.array([bench.turns.index(tuple(turn)) for turn in order.tolist()])
    containers, rows, outside = [], [], []
    for number, bag in enumerate(bags):
        short = np.maximum(high - thickest, np.maximum(wide - bag.width_in, long - bag.length_in) + high + ease)
        fits = short <= SNAP
        if not fits.all():
            way = int(np.where(fits, np.inf, short).argmin())
            flat = wide[way] + high[way] + ease, long[way] + high[way] + ease
            thick = f"{said.span(high[way].item())} thick, a bag takes up to {said.span(thickest, spec='g')}"
            small = f"needs {said.span(*flat)} flat, has {said.span(bag.width_in, bag.length_in, spec='g')}"
            reason = thick if high[way] > thickest + SNAP else small
            refusals.append(Refusal(float(short[way]), "bag", bag.name, reason))
        rows.append(np.stack([np.full(fits.sum(), number), np.flatnonzero(fits)]))
        full = (
            np.maximum(long + 2 * bag.pad_in, bag.length_in - high),
            np.maximum(wide + 2 * bag.pad_in, bag.width_in - high),
        )
        outside.append(np.column_stack([*full, high + 2 * bag.pad_in])[fits])
        containers.append(
            PackingOption(
                style="bag",
                what=bag.name,
                container_cents=bag.cost_cents,
                container_lb=bag.weight_lb,
                packaging="soft pack",
                most_lb=bag.most_lb,
            )
        )
    at, way = np.concatenate(rows, axis=1)
    columns = {"inside_in": lies[way], "outside_in": np.concatenate(outside)}
    strip = np.array([bag.width_in for bag in bags])[at]
    return Drafts("bag", containers, at, way, turns[way], columns, (strip,)), refusals


def wrapped_options(bench: PackingContext) -> Options:
    """The padded item in stretch wrap alone; carriers charge extra for it."""
    film = bench.stock.stretch
    if film is None:
        return None, [Refusal(0.0, "wrapped", "stretch wrap", "no stretch wrap in stock")]
    if bench.paddings[0].needs_in != bench.item.sides_in:
        return None, [Refusal(0.0, "wrapped", film.name, "too small for the label")]
    sides = bench.of_ways("wrapped_in")
    area = stretch_wrap_sqft(tuple(sides.T), turns=bench.assumptions.number("packing.film_turns"))
    one = PackingOption("wrapped", film.name, packaging="shrink wrap")
    columns = {"inside_in": sides, "outside_in": sides, "film_sqft": area}
    none = np.zeros(len(sides), dtype=np.int64)
    return Drafts("wrapped", [one], none, np.arange(len(sides)), none, columns, ()), []


def pickup_options(bench: PackingContext) -> Options:
    """The buyer collects: no carton, no label, no padding."""
    if not bench.item.pickup:
        return None, [Refusal(0.0, "pickup", "the buyer collects", "the buyer does not come")]
    sides, none = bench.item.sides_in, np.zeros(1, dtype=np.int64)
    one = PackingOption("pickup", "the buyer collects", sides, sides)
    return Drafts("pickup", [one], none, none + len(bench.paddings), none, {}, ()), []
