"""Blanks of folded cartons, and the cheapest sheets at hand that one or two of them are cut from."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
import numpy.typing as npt

from flipkit.errors import MeasureError
from flipkit.packing.at_hand import Sheet
from flipkit.packing.materials import ScoreAllowance
from flipkit.units import SNAP

# Blanks of folded cartons from their inside sizes: outline, folds, cuts and panels, by style.
#
# Sides may be columns too: the lines of many blanks of one style are then drawn at once.
# Lengths run across the flutes, widths along them, so that the flutes of a slotted carton stand upright in its
# walls. Styles carry the numbers of the international case code. Only the slotted blank has a published worked
# example; the others are common practice and say so in their docs.

Line = tuple[float, float, float, float]
Panel = tuple[str, float, float, float, float]


@dataclass(frozen=True)
class Blank:
    """A flat piece to cut."""

    name: str
    code: str
    length_in: float
    width_in: float
    folds: tuple[Line, ...] = ()  # [in]
    cuts: tuple[Line, ...] = ()  # [in]
    panels: tuple[Panel, ...] = ()  # [in]
    may_turn: bool = True

    @property
    def area_in2(self) -> float:
        """Area of the outline. [sq in]"""
        return self.length_in * self.width_in

    @property
    def knife_in(self) -> float:
        """Length of all the lines to cut, outline included. [in]"""
        inner = sum(abs(x2 - x1) + abs(y2 - y1) for x1, y1, x2, y2 in self.cuts)
        return 2 * (self.length_in + self.width_in) + inner

    @property
    def score_in(self) -> float:
        """Length of all the scores. [in]"""
        return sum(abs(x2 - x1) + abs(y2 - y1) for x1, y1, x2, y2 in self.folds)


def slotted_blank(
    length_in: float, width_in: float, depth_in: float, *, allowance: ScoreAllowance, trim_in: float, may_turn: bool
) -> Blank:
    """Blank of a regular slotted carton (code 0201) that measures these sides inside.

    Joint, then length, width, length, width across the flutes; flap, depth, flap along them. Each
    panel, the depth and each flap get their allowance for the scores.
    """
    joint, flap = allowance.joint_in, width_in / 2 + allowance.flap_in
    deep = depth_in + allowance.depth_in
    sides = [length_in + allowance.panel_in, width_in + allowance.panel_in] * 2
    edges = [joint]
    for side in sides:
        edges.append(edges[-1] + side)
    low, high, top = flap, flap + deep, 2 * flap + deep
    across = edges[-1]
    folds = [(joint, low, across, low), (joint, high, across, high)]
    folds += [(x, low, x, high) for x in edges[:-1]]
    slots = [line for x in edges[1:-1] for line in ((x, 0.0, x, low), (x, high, x, top))]
    # The joint is a tab beside the first panel: the corners above and below it are cut away.
    slots += [(joint, 0.0, joint, low), (0.0, low, joint, low), (0.0, high, joint, high), (joint, high, joint, top)]
    names = ("length", "width", "length", "width")
    panels: list[Panel] = [("joint", 0.0, low, joint, deep)]
    for name, x, side in zip(names, edges, sides, strict=False):
        panels += [(name, x, low, side, deep), ("flap", x, 0.0, side, flap), ("flap", x, high, side, flap)]
    return Blank(
        "slotted carton",
        "0201",
        across + trim_in,
        top + trim_in,
        tuple(folds),
        tuple(slots),
        tuple(panels),
        may_turn,
    )


def slotted_half_blank(
    name: str, length_in: float, width_in: float, depth_in: float, *, allowance: ScoreAllowance, may_turn: bool
) -> Blank:
    """Half the blank of a slotted carton: one length and one width with their flaps, and a joint.

    Two of them, joined at two corners, make a carton that is too large for one sheet.

    >>> exact = ScoreAllowance(panel_in=0, depth_in=0, flap_in=0, joint_in=2)
    >>> blank = slotted_half_blank("first half", 16, 12, 8, allowance=exact, may_turn=False)
    >>> blank.length_in, blank.width_in
    (30, 20.0)
    """
    whole = slotted_blank(length_in, width_in, depth_in, allowance=allowance, trim_in=0.0, may_turn=may_turn)
    # The joint and the first two walls, up to where the third begins; the joint's own cuts stand last.
    end = whole.panels[7][1]
    folds = tuple((x1, y1, end, y2) for x1, y1, _, y2 in whole.folds[:2])
    cuts = whole.cuts[:2] + whole.cuts[6:]
    return Blank(name, "0201", end, whole.width_in, folds + whole.folds[2:4], cuts, whole.panels[:7], may_turn)


def tray_blank(name: str, length_in: float, width_in: float, depth_in: float, *, allowance: ScoreAllowance) -> Blank:
    """Blank of a tray with four sides folded up and taped at the corners; two make a telescope (0300).

    Length + 2 depths by width + 2 depths, as the rule of thumb says, with a panel's allowance for
    the bottom and a flap's for each side.
    """
    side = depth_in + allowance.flap_in
    long, wide = length_in + allowance.panel_in, width_in + allowance.panel_in
    across, along = long + 2 * side, wide + 2 * side
    x1, x2, y1, y2 = side, side + long, side, side + wide
    folds: list[Line] = [(0.0, y1, across, y1), (0.0, y2, across, y2), (x1, y1, x1, y2), (x2, y1, x2, y2)]
    cuts: list[Line] = [(x1, 0.0, x1, y1), (x2, 0.0, x2, y1), (x1, y2, x1, along), (x2, y2, x2, along)]
    panels: tuple[Panel, ...] = (
        ("bottom", x1, y1, long, wide),
        ("side", x1, 0.0, long, side),
        ("side", x1, y2, long, side),
        ("end", 0.0, y1, side, wide),
        ("end", x2, y1, side, wide),
        *(("tab", x, y, side, side) for x in (0.0, x2) for y in (0.0, y2)),
    )
    return Blank(name, "0300", across, along, tuple(folds), tuple(cuts), panels)


def five_panel_blank(length_in: float, width_in: float, height_in: float, *, allowance: ScoreAllowance) -> Blank:
    """Blank of a five-panel wrap (code 0410): four walls around, the fifth panel covering the first.

    For long flat things. Height, width, height, width, height around; a flap as deep as the box is
    high beyond each end of every panel, so that the ends close in several layers.
    """
    panel, flap = allowance.panel_in, height_in + allowance.flap_in
    sides = [height_in + panel, width_in + panel, height_in + panel, width_in + panel, height_in + 2 * panel]
    # Three layers of folded flaps stand inside each end before the last one closes it.
    body = length_in + 6 * panel
    edges = [0.0]
    for side in sides:
        edges.append(edges[-1] + side)
    low, high, top = flap, flap + body, 2 * flap + body
    folds: list[Line] = [(0.0, low, edges[-1], low), (0.0, high, edges[-1], high)]
    folds += [(x, low, x, high) for x in edges[1:-1]]
    cuts = [line for x in edges[1:-1] for line in ((x, 0.0, x, low), (x, high, x, top))]
    names = ("side", "bottom", "side", "top", "fifth panel")
    panels: list[Panel] = []
    for name, x, side in zip(names, edges, sides, strict=False):
        panels += [(name, x, low, side, body), ("flap", x, 0.0, side, flap), ("flap", x, high, side, flap)]
    return Blank("five-panel wrap", "0410", edges[-1], top, tuple(folds), tuple(cuts), tuple(panels))


def folded_wrap_blank(length_in: float, width_in: float, height_in: float, *, allowance: ScoreAllowance) -> Blank:
    """Blank of a one-piece folded wrap (code 0401): bottom, sides that meet on top, ends folded up."""
    panel, flap = allowance.panel_in, allowance.flap_in
    long, wide = length_in + panel, width_in + panel
    end, side, half = height_in + flap, height_in + panel, width_in / 2 + flap
    x1, x2 = end, end + long
    y1, y2, y3, y4 = half, half + side, half + side + wide, half + 2 * side + wide
    across, along = x2 + end, y4 + half
    folds: list[Line] = [(x1, y, x2, y) for y in (y1, y2, y3, y4)] + [(x1, y2, x1, y3), (x2, y2, x2, y3)]
    corners: list[Line] = []
    for x, out in ((x1, 0.0), (x2, across)):
        corners += [(x, 0.0, x, y2), (out, y2, x, y2), (x, y3, x, along), (out, y3, x, y3)]
    panels: tuple[Panel, ...] = (
        ("bottom", x1, y2, long, wide),
        ("side", x1, y1, long, side),
        ("side", x1, y3, long, side),
        ("top half", x1, 0.0, long, half),
        ("top half", x1, y4, long, half),
        ("end", 0.0, y2, end, wide),
        ("end", x2, y2, end, wide),
    )
    return Blank("folded wrap", "0401", across, along, tuple(folds), tuple(corners), panels)


# Nesting: a carton is cut as one blank or as two (halves, or base and lid).
#
# Two rectangles on one sheet lie beside or above each other, since some whole cut parts them. So trying each
# either way round in both arrangements, on one sheet and on every two, is exhaustive. Everything is whole
# thousandths of an inch, finer than any knife, so that comparing is exact.

PER_INCH = 1000
Cutting = Literal["guillotine", "free"]


class Spot(NamedTuple):
    """A blank in its place: which, its lower left corner, its size as it lies. [0.001 in]"""

    blank: int
    x: int
    y: int
    length: int
    width: int
    turned: bool


class Layout(NamedTuple):
    """The smallest box around one or two blanks. [0.001 in]"""

    length: int
    width: int
    spots: tuple[Spot, ...]


@dataclass(frozen=True)
class Placement:
    """A blank in its place on a sheet."""

    blank: int
    x_in: float
    y_in: float
    length_in: float
    width_in: float
    turned: bool


@dataclass(frozen=True)
class SheetUse:
    """One sheet with what is cut from it."""

    sheet: Sheet
    placements: tuple[Placement, ...]
    cuts: tuple[Line, ...]  # [in]

    @property
    def area_in2(self) -> float:
        """Area of the sheet. [sq in]"""
        return self.sheet.length_in * self.sheet.width_in

    @property
    def waste_in2(self) -> float:
        """Area of the sheet that is in no blank. [sq in]"""
        return self.area_in2 - sum(place.length_in * place.width_in for place in self.placements)

    @property
    def offcut_in(self) -> tuple[float, float]:
        """Largest piece left beyond all the blanks, by one cut across or along. [in]"""
        right = max(place.x_in + place.length_in for place in self.placements)
        top = max(place.y_in + place.width_in for place in self.placements)
        beside = (self.sheet.length_in - right, self.sheet.width_in)
        above = (self.sheet.length_in, self.sheet.width_in - top)
        return max(beside, above, key=lambda piece: piece[0] * piece[1])


@dataclass(frozen=True)
class Nest:
    """Blanks on the cheapest sheets that take them; of equally cheap ones, on the least sheet."""

    uses: tuple[SheetUse, ...]
    cost_cents: int
    cutting: Cutting

    @property
    def sheet_in2(self) -> float:
        """Area of the sheets used. [sq in]"""
        return sum(use.area_in2 for use in self.uses)

    @property
    def waste_in2(self) -> float:
        """Area of the sheets used that is in no blank. [sq in]"""
        return sum(use.waste_in2 for use in self.uses)

    @property
    def waste_share(self) -> float:
        """Waste as a share of the sheets used."""
        return self.waste_in2 / self.sheet_in2


def nest(blanks: Sequence[Blank], sheets: Sequence[Sheet], *, cutting: Cutting = "guillotine") -> Nest | None:
    """The cheapest, then smallest, sheets to cut one or two blanks from, and how; None where none take them."""
    if cutting not in ("guillotine", "free"):
        raise MeasureError("cutting", need="guillotine or free", got=cutting)
    if len(blanks) not in (1, 2):
        raise MeasureError("blanks", need="one or two", got=len(blanks))
    named = [(one.name, one.length_in, one.width_in) for one in blanks]
    for name, *sides in named + [(one.name, one.length_in, one.width_in) for one in sheets]:
        if min(sides) <= 0:
            raise MeasureError(name, need="sides above 0 in", got=tuple(sides))
    pieces = [one for one in sheets for _ in range(min(one.quantity, len(blanks)))]
    sizes = [(_down(one.length_in), _down(one.width_in)) for one in pieces]
    ways = [_ways(place, blank) for place, blank in enumerate(blanks)]
    best: tuple[tuple[int, int, int], dict[int, Layout]] | None = None
    for dealt in _deals(ways, sizes):
        cost = sum(pieces[at].cost_cents for at in dealt)
        area = sum(sizes[at][0] * sizes[at][1] for at in dealt)
        if best is None or (cost, area, max(dealt)) < best[0]:
            best = (cost, area, max(dealt)), dealt
    if best is None:
        return None
    uses = []
    for at, layout in sorted(best[1].items()):
        cuts = _cuts(layout, *sizes[at]) if cutting == "guillotine" else ()
        placements = (
            Placement(
                blank=one.blank,
                x_in=one.x / PER_INCH,
                y_in=one.y / PER_INCH,
                length_in=one.length / PER_INCH,
                width_in=one.width / PER_INCH,
                turned=one.turned,
            )
            for one in layout.spots
        )
        uses.append(SheetUse(pieces[at], tuple(placements), tuple(cuts)))
    return Nest(tuple(uses), best[0][0], cutting)


def least_cents(blanks: Sequence[Blank], sheets: Sequence[Sheet]) -> npt.NDArray[np.float64]:
    """Least that sheets for blanks with columns as sides can cost: what the dearer blank asks for alone."""
    sizes = {(_down(one.length_in), _down(one.width_in), one.cost_cents) for one in sheets}
    length, width, cents = np.array(sorted(sizes), dtype=np.float64).reshape(-1, 3).T
    dearest: list[npt.NDArray[np.float64]] = []
    for blank in blanks:
        long, wide = (
            np.ceil(np.asarray(side) * PER_INCH - SNAP)[:, None] for side in (blank.length_in, blank.width_in)
        )
        fits = (long <= length) & (wide <= width)
        if blank.may_turn:
            fits |= (wide <= length) & (long <= width)
        dearest.append(np.where(fits, cents, np.inf).min(axis=1, initial=np.inf))
    return np.maximum.reduce(dearest)


def _up(value: float) -> int:
    return math.ceil(value * PER_INCH - SNAP)


def _down(value: float) -> int:
    return math.floor(value * PER_INCH + SNAP)


def _ways(place: int, blank: Blank) -> list[Layout]:
    """A blank as it is and, where it may, turned by a quarter."""
    long, wide = _up(blank.length_in), _up(blank.width_in)
    ways = [Layout(long, wide, (Spot(place, 0, 0, long, wide, False),))]
    if blank.may_turn and long != wide:
        ways.append(Layout(wide, long, (Spot(place, 0, 0, wide, long, True),)))
    return ways


def _deals(ways: list[list[Layout]], sizes: list[tuple[int, int]]) -> Iterator[dict[int, Layout]]:
    """Every way to put the blanks on one sheet or on two."""
    together = ways[0] if len(ways) == 1 else _pairs(*ways)
    for at, size in enumerate(sizes):
        layout = _smallest(together, size)
        if layout is not None:
            yield {at: layout}
    if len(ways) == 2:
        alone = [[_smallest(way, size) for size in sizes] for way in ways]
        alike = [way[:2] for way in ways[0]] == [way[:2] for way in ways[1]]
        taking = [at for at in range(len(sizes)) if alone[0][at] or alone[1][at]]
        for pair in itertools.combinations(taking, 2):
            # Of two deals that cost the same the first stands: the second of unlike blanks on the earlier sheet.
            for first, second in (pair,) if alike else (pair[::-1], pair):
                one, two = alone[0][first], alone[1][second]
                if one is not None and two is not None:
                    yield {first: one, second: two}


def _pairs(firsts: list[Layout], seconds: list[Layout]) -> list[Layout]:
    """Two blanks beside and above each other, each either way round."""
    pairs = []
    for one, two in itertools.product(firsts, seconds):
        spots = (*one.spots, two.spots[0]._replace(x=one.length))
        pairs.append(Layout(one.length + two.length, max(one.width, two.width), spots))
    for one, two in itertools.product(firsts, seconds):
        spots = (*one.spots, two.spots[0]._replace(y=one.width))
        pairs.append(Layout(max(one.length, two.length), one.width + two.width, spots))
    return pairs


def _smallest(layouts: list[Layout], size: tuple[int, int]) -> Layout | None:
    """The shortest layout that a sheet takes, then the narrowest."""
    fitting = [one for one in layouts if one[0] <= size[0] and one[1] <= size[1]]
    return min(fitting, key=lambda one: one[:2]) if fitting else None


def _cuts(layout: Layout, length: int, width: int) -> Iterator[Line]:
    """Whole cuts that free the blanks from a sheet, in order: trim the sheet, part the two, trim each."""
    lines = []
    if layout.length < length:
        lines.append((layout.length, 0, layout.length, width))
    if layout.width < width:
        lines.append((0, layout.width, layout.length, layout.width))
    if len(layout.spots) == 2:
        second = layout.spots[1]
        lines.append((second.x, 0, second.x, layout.width) if second.x else (0, second.y, layout.length, second.y))
        for one in layout.spots:
            right, top = one.x + one.length, one.y + one.width
            if second.x and top < layout.width:
                lines.append((one.x, top, right, top))
            elif second.y and right < layout.length:
                lines.append((right, one.y, right, top))
    for x1, y1, x2, y2 in lines:
        yield x1 / PER_INCH, y1 / PER_INCH, x2 / PER_INCH, y2 / PER_INCH
