"""TODO"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from flipkit.errors import MeasureError
from flipkit.packing.at_hand import Sheet
from flipkit.packing.materials import ScoreAllowance
from flipkit.units import SNAP

# Blanks of folded cartons from their inside sizes: outline, folds, cuts and panels, by style.
#
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


def pad_blank(name: str, length_in: float, width_in: float) -> Blank:
    """A plain rectangle: a pad, a divider, a stiffener.

    >>> pad_blank("pad", 12, 10).area_in2
    120
    """
    return Blank(name, "", length_in, width_in, panels=((name, 0.0, 0.0, length_in, width_in),))


def slotted_blank(
    length_in: float, width_in: float, depth_in: float, *, allowance: ScoreAllowance, trim_in: float, may_turn: bool
) -> Blank:
    """Blank of a regular slotted carton (code 0201) that measures these sides inside.

    Joint, then length, width, length, width across the flutes; flap, depth, flap along them. Each
    panel, the depth and each flap get their allowance for the scores [1]_.

    >>> millimetres = ScoreAllowance(panel_in=3, depth_in=6, flap_in=3, joint_in=25)
    >>> blank = slotted_blank(254, 225, 150, allowance=millimetres, trim_in=20, may_turn=False)
    >>> blank.length_in, blank.width_in
    (1015, 407.0)
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
    # Where the third wall begins in the whole blank; its own sum would miss that by a bit of noise.
    end = [panel for panel in whole.panels if panel[0] in ("length", "width")][2][1]
    inside = [line for line in whole.cuts if max(line[0], line[2]) < end]
    folds = [(x1, y1, min(x2, end), y2) for x1, y1, x2, y2 in whole.folds if x1 < end]
    panels = tuple(panel for panel in whole.panels if panel[1] < end)
    return Blank(name, "0201", end, whole.width_in, tuple(folds), tuple(inside), panels, may_turn)


def tray_blank(name: str, length_in: float, width_in: float, depth_in: float, *, allowance: ScoreAllowance) -> Blank:
    """Blank of a tray with four sides folded up and taped at the corners; two make a telescope (0300).

    Length + 2 depths by width + 2 depths, as the rule of thumb says, with a panel's allowance for
    the bottom and a flap's for each side.

    >>> exact = ScoreAllowance(panel_in=0, depth_in=0, flap_in=0, joint_in=0)
    >>> blank = tray_blank("base", 20, 12, 3, allowance=exact)
    >>> blank.length_in, blank.width_in
    (26, 18)
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

    >>> exact = ScoreAllowance(panel_in=0, depth_in=0, flap_in=0, joint_in=0)
    >>> blank = five_panel_blank(60, 10, 3, allowance=exact)
    >>> blank.length_in, blank.width_in
    (29.0, 66)
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
    """Blank of a one-piece folded wrap (code 0401): bottom, sides that meet on top, ends folded up.

    >>> exact = ScoreAllowance(panel_in=0, depth_in=0, flap_in=0, joint_in=0)
    >>> blank = folded_wrap_blank(30, 20, 2, allowance=exact)
    >>> blank.length_in, blank.width_in
    (34, 44.0)
    """
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


# Exact cutting of up to eight rectangles from one sheet, by whole cuts or by free ones.
#
# Everything is whole thousandths of an inch, so that comparing is exact. Pieces come as kinds with counts, since
# equal blanks need not be told apart.
#
# A guillotine pattern is a tree: a piece, two patterns side by side, or two one above the other. So for a set of
# pieces the boxes that some pattern fills are those of a piece, or sums of boxes of two smaller sets. Keeping for
# each set the boxes that no other undercuts is exhaustive.
#
# A free pattern can always be laid piece by piece, each into a corner of the stairs that the earlier ones make
# with the sheet's lower left (no rectangle of a plane pattern locks another in both directions). So trying every
# piece in every corner is exhaustive as well.

#: Thousandths of an inch: finer than any knife, coarse enough for whole numbers.
PER_INCH = 1000

Counts = tuple[int, ...]


class Kind(NamedTuple):
    """Equal pieces: length, width, whether they may be turned, how many."""

    length: int
    width: int
    turns: bool
    number: int


class Spot(NamedTuple):
    """A piece in its place: which kind, its lower left corner, its size as it lies, whether it is turned."""

    kind: int
    x: int
    y: int
    length: int
    width: int
    turned: bool


class Cut(NamedTuple):
    """A whole cut through a part of a sheet, from end to end of that part."""

    x1: int
    y1: int
    x2: int
    y2: int


@dataclass(frozen=True)
class Box:
    """A box that a guillotine pattern of some pieces fills, and how."""

    length: int
    width: int
    kind: int = -1
    turned: bool = False
    beside: bool = False
    first: Box | None = None
    second: Box | None = None

    def spots(self, x: int = 0, y: int = 0) -> Iterator[Spot]:
        """The pieces in their places."""
        if self.first is None or self.second is None:
            yield Spot(self.kind, x, y, self.length, self.width, self.turned)
            return
        yield from self.first.spots(x, y)
        if self.beside:
            yield from self.second.spots(x + self.first.length, y)
        else:
            yield from self.second.spots(x, y + self.first.width)

    def cuts(self, x: int, y: int, length: int, width: int) -> Iterator[Cut]:
        """The cuts that free the pieces from a part of this size, in the order of cutting."""
        if self.length < length:
            yield Cut(x + self.length, y, x + self.length, y + width)
        if self.width < width:
            yield Cut(x, y + self.width, x + self.length, y + self.width)
        if self.first is None or self.second is None:
            return
        if self.beside:
            at = x + self.first.length
            yield Cut(at, y, at, y + self.width)
            yield from self.first.cuts(x, y, self.first.length, self.width)
            yield from self.second.cuts(at, y, self.length - self.first.length, self.width)
        else:
            at = y + self.first.width
            yield Cut(x, at, x + self.length, at)
            yield from self.first.cuts(x, y, self.length, self.first.width)
            yield from self.second.cuts(x, at, self.length, self.width - self.first.width)


def sub_counts(counts: Counts) -> Iterator[Counts]:
    """Every way to take some of the pieces, from none to all."""
    return itertools.product(*(range(count + 1) for count in counts))


def guillotine_boxes(kinds: list[Kind], most_length: int, most_width: int) -> dict[Counts, list[Box]]:
    """For every set of pieces, the smallest boxes that a guillotine pattern of them fills."""
    found: dict[Counts, list[Box]] = {}
    for counts in sub_counts(tuple(kind.number for kind in kinds)):
        total = sum(counts)
        if total == 0:
            continue
        boxes: list[Box] = []
        if total == 1:
            place = counts.index(1)
            kind = kinds[place]
            boxes.append(Box(kind.length, kind.width, place, False))
            if kind.turns and kind.length != kind.width:
                boxes.append(Box(kind.width, kind.length, place, True))
        else:
            for part in sub_counts(counts):
                rest = tuple(have - take for have, take in zip(counts, part, strict=True))
                # Each split comes twice, once from either side: one of them is enough.
                if sum(part) and sum(rest) and part >= rest:
                    boxes += _together(found[part], found[rest])
        found[counts] = _smallest(boxes, most_length, most_width)
    return found


def _together(first: list[Box], second: list[Box]) -> Iterator[Box]:
    """Boxes of two patterns, beside and above each other, without those that are larger in vain."""
    if not first or not second:
        return
    for level in sorted({box.width for box in first} | {box.width for box in second}):
        one = next((box for box in first if box.width <= level), None)
        two = next((box for box in second if box.width <= level), None)
        if one is not None and two is not None:
            yield Box(one.length + two.length, max(one.width, two.width), beside=True, first=one, second=two)
    for level in sorted({box.length for box in first} | {box.length for box in second}):
        one = next((box for box in reversed(first) if box.length <= level), None)
        two = next((box for box in reversed(second) if box.length <= level), None)
        if one is not None and two is not None:
            yield Box(max(one.length, two.length), one.width + two.width, first=one, second=two)


def _smallest(boxes: list[Box], most_length: int, most_width: int) -> list[Box]:
    kept: list[Box] = []
    for box in sorted(boxes, key=lambda box: (box.length, box.width)):
        if box.length > most_length or box.width > most_width:
            continue
        if not kept or box.width < kept[-1].width:
            kept.append(box)
    return kept


def free_spots(kinds: list[Kind], counts: Counts, length: int, width: int) -> list[Spot] | None:
    """Places for all the pieces on one sheet when cuts may stop anywhere, or None."""
    ways = [_ways(kind) for kind in kinds]
    shortest = [min(min(long, wide) for long, wide, _ in way) for way in ways]
    areas = [kind.length * kind.width for kind in kinds]
    tried: set[tuple[tuple[tuple[int, int], ...], Counts]] = set()
    placed: list[Spot] = []

    def lay(corners: tuple[tuple[int, int], ...], left: Counts, area_left: int) -> bool:
        if not any(left):
            return True
        if (corners, left) in tried or _area_beyond(corners, length, width) < area_left:
            return False
        tried.add((corners, left))
        waiting = [place for place, count in enumerate(left) if count]
        choices = []
        open_corners = set()
        for place in waiting:
            fitting = [
                (-areas[place], x, y, place, long, wide, turned)
                for long, wide, turned in ways[place]
                for x, y in corners
                if x + long <= length and y + wide <= width
            ]
            if not fitting:
                return False  # corners only move up and right: what fits nowhere now never will
            choices += fitting
            open_corners |= {(x, y) for _, x, y, *_ in fitting}
        # A corner that takes nothing is as good as filled, and the area behind it is lost.
        if len(open_corners) < len(corners):
            corners = tuple(corner for corner in corners if corner in open_corners)
            if (corners, left) in tried or _area_beyond(corners, length, width) < area_left:
                return False
            tried.add((corners, left))
        sides = [side for side, count in zip(shortest, left, strict=True) for _ in range(count)]
        if not _stackable(sides, length - corners[0][0], width - corners[-1][1]):
            return False
        # Large pieces first: they fail early.
        for _, x, y, place, long, wide, turned in sorted(choices):
            placed.append(Spot(place, x, y, long, wide, turned))
            fewer = tuple(count - (at == place) for at, count in enumerate(left))
            if lay(_raised(corners, x + long, y + wide), fewer, area_left - areas[place]):
                return True
            placed.pop()
        return False

    area = sum(count * size for count, size in zip(counts, areas, strict=True))
    return placed if lay(((0, 0),), counts, area) else None


def _ways(kind: Kind) -> list[tuple[int, int, bool]]:
    ways = [(kind.length, kind.width, False)]
    if kind.turns and kind.length != kind.width:
        ways.append((kind.width, kind.length, True))
    return ways


def _stackable(sides: list[int], length: int, width: int) -> bool:
    """Whether squares of these sides pass a test that every packing passes.

    Squares of which no two stand side by side must all stand above each other, and the reverse.
    """
    sides = sorted(sides, reverse=True)
    for across, up in ((length, width), (width, length)):
        total = 0
        for place, side in enumerate(sides):
            if place and side + sides[place - 1] <= across:
                break
            total += side
        if total > up and total > sides[0]:
            return False
    return True


def _raised(corners: tuple[tuple[int, int], ...], x: int, y: int) -> tuple[tuple[int, int], ...]:
    """Corners left when everything below and left of a point is taken, from upper left to lower right."""
    left = [(a, b) for a, b in corners if a < x and b < y]  # those that the point swallows
    kept = [(a, b) for a, b in corners if not (a < x and b < y)]
    if left:
        kept += [(min(a for a, _ in left), y), (x, min(b for _, b in left))]
    # Of two corners, one above and right of the other opens nothing more.
    return tuple(sorted(c for c in set(kept) if not any(o != c and o[0] <= c[0] and o[1] <= c[1] for o in kept)))


def _area_beyond(corners: tuple[tuple[int, int], ...], length: int, width: int) -> int:
    """Area above and right of at least one corner."""
    total, top = 0, width
    for x, y in corners:
        total += (length - x) * (top - y)
        top = y
    return total


# Many blanks on many sheets by whole cuts: a set of sound orders tried, the best kept.
#
# No claim that the answer is the best one: :mod:`flipkit.packing.blanks` states what any answer would need beside
# it.

Rect = tuple[int, int, int, int]  # x, y, length, width
Pattern = tuple[list[Spot], list[Cut]]
Fit = Callable[[Rect, int, int], int]
Split = Callable[[Rect, int, int], bool]

_ORDERS: tuple[Callable[[Kind], tuple[int, int]], ...] = (
    lambda kind: (-kind.length * kind.width, -max(kind.length, kind.width)),
    lambda kind: (-max(kind.length, kind.width), -min(kind.length, kind.width)),
    lambda kind: (-min(kind.length, kind.width), -max(kind.length, kind.width)),
    lambda kind: (-kind.length - kind.width, -max(kind.length, kind.width)),
    lambda kind: (-kind.width, -kind.length),
    lambda kind: (-kind.length, -kind.width),
)
#: How to choose a free part: least area left, least short side left, least long side left.
_FITS: tuple[Fit, ...] = (
    lambda part, long, wide: part[2] * part[3] - long * wide,
    lambda part, long, wide: min(part[2] - long, part[3] - wide),
    lambda part, long, wide: max(part[2] - long, part[3] - wide),
)
#: Whether the first cut runs across the part: shorter rest, longer rest, larger part kept whole, always, never.
_SPLITS: tuple[Split, ...] = (
    lambda part, long, wide: part[2] - long < part[3] - wide,
    lambda part, long, wide: part[2] - long >= part[3] - wide,
    lambda part, long, wide: (part[2] - long) * part[3] > part[2] * (part[3] - wide),
    lambda part, long, wide: True,
    lambda part, long, wide: False,
)


def best_orders(
    kinds: Sequence[Kind], costs_cents: Sequence[int], sizes: Sequence[tuple[int, int]]
) -> dict[int, Pattern] | None:
    """The cheapest, then smallest, set of sheets that any of the orders fills."""
    areas = [length * width for length, width in sizes]
    every = range(len(sizes))
    sheet_orders = {
        tuple(sorted(every, key=lambda at: (costs_cents[at] / areas[at], areas[at], at))),
        tuple(sorted(every, key=lambda at: (costs_cents[at], areas[at], at))),
        tuple(sorted(every, key=lambda at: (-areas[at], costs_cents[at], at))),
    }
    best: tuple[int, int, dict[int, Pattern]] | None = None
    for sheets in sorted(sheet_orders):
        while True:
            found = _best_of(kinds, costs_cents, sizes, sheets)
            if found is None:
                break
            if best is None or found[:2] < best[:2]:
                best = found
            # The same again without the emptiest of its sheets, as long as that still holds everything.
            used = found[2]
            emptiest = min(used, key=lambda at: sum(s.length * s.width for s in used[at][0]) / areas[at])
            sheets = tuple(at for at in sheets if at in used and at != emptiest)
    return None if best is None else best[2]


def _best_of(
    kinds: Sequence[Kind], costs_cents: Sequence[int], sizes: Sequence[tuple[int, int]], sheets: Sequence[int]
) -> tuple[int, int, dict[int, Pattern]] | None:
    best: tuple[int, int, dict[int, Pattern]] | None = None
    for order, fit, split in itertools.product(_ORDERS, _FITS, _SPLITS):
        places = sorted(range(len(kinds)), key=lambda place: order(kinds[place]))
        queue = [place for place in places for _ in range(kinds[place].number)]
        found = _fill(kinds, queue, sizes, sheets, fit, split)
        if found is None:
            continue
        price = (sum(costs_cents[at] for at in found), sum(sizes[at][0] * sizes[at][1] for at in found))
        if best is None or price < best[:2]:
            best = (*price, found)
    return best


def _fill(
    kinds: Sequence[Kind],
    queue: Sequence[int],
    sizes: Sequence[tuple[int, int]],
    sheets: Sequence[int],
    fit: Fit,
    split: Split,
) -> dict[int, Pattern] | None:
    """One order: each piece into the best free part of the open sheets, else the next sheet is opened."""
    waiting = list(sheets)
    free: list[tuple[int, Rect]] = []
    found: dict[int, Pattern] = {}
    for place in queue:
        kind = kinds[place]
        ways = [(kind.length, kind.width, False)]
        if kind.turns and kind.length != kind.width:
            ways.append((kind.width, kind.length, True))
        while True:
            options = [
                (fit(part, long, wide), at, part, long, wide, turned)
                for at, part in free
                for long, wide, turned in ways
                if long <= part[2] and wide <= part[3]
            ]
            if options:
                break
            opened = next(
                (at for at in waiting if any(lo <= sizes[at][0] and w <= sizes[at][1] for lo, w, _ in ways)), None
            )
            if opened is None:
                return None
            waiting.remove(opened)
            free.append((opened, (0, 0, *sizes[opened])))
            found[opened] = ([], [])
        _, at, part, long, wide, turned = min(options)
        free.remove((at, part))
        x, y, length, width = part
        spots, cuts = found[at]
        spots.append(Spot(place, x, y, long, wide, turned))
        right, above = length - long, width - wide
        across = split(part, long, wide)
        if right:
            free.append((at, (x + long, y, right, width if across else wide)))
        if above:
            free.append((at, (x, y + wide, long if across else length, above)))
        first = Cut(x + long, y, x + long, y + width) if across else Cut(x, y + wide, x + length, y + wide)
        then = Cut(x, y + wide, x + long, y + wide) if across else Cut(x + long, y, x + long, y + wide)
        for cut, needed in ((first, right if across else above), (then, above if across else right)):
            if needed:
                cuts.append(cut)
    return {at: pattern for at, pattern in found.items() if pattern[0]}


# Blanks nested on the sheets at hand: cheapest sheets first, then least sheet, with the cuts to make.
#
# Up to eight blanks the answer is exact: no choice of sheets that takes them all costs less, or costs the same and
# uses less sheet. Above that a handful of good orders is tried, and the answer says how little sheet any answer
# would need, so that its waste is bounded.

Cutting = Literal["guillotine", "free"]
#: As many blanks as are nested exactly.
EXACT_UP_TO = 8
#: Grain in which sums of sheet areas are compared for the bound on waste.
_AREA_UNIT_IN2 = 0.25


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
    cuts: tuple[tuple[float, float, float, float], ...]  # [in]

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
        right = max((place.x_in + place.length_in for place in self.placements), default=0.0)
        top = max((place.y_in + place.width_in for place in self.placements), default=0.0)
        beside = (self.sheet.length_in - right, self.sheet.width_in)
        above = (self.sheet.length_in, self.sheet.width_in - top)
        return max(beside, above, key=lambda piece: piece[0] * piece[1])


@dataclass(frozen=True)
class Nest:
    """Blanks on sheets."""

    uses: tuple[SheetUse, ...]
    cost_cents: int
    exact: bool
    least_cost_cents: int
    least_sheet_in2: float  # [sq in]
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
        return self.waste_in2 / self.sheet_in2 if self.uses else 0.0


def nest(blanks: Sequence[Blank], sheets: Sequence[Sheet], *, cutting: Cutting = "guillotine") -> Nest | None:
    """The cheapest choice of sheets that all the blanks can be cut from, and how.

    >>> from flipkit.packing.blanks import pad_blank
    >>> tray = pad_blank("tray", 20, 16)
    >>> sheet = Sheet("sheet", length_in=40, width_in=24, flute="C", grade="32 ECT", cost_cents=300, quantity=2)
    >>> found = nest([tray, tray], [sheet])
    >>> len(found.uses), found.cost_cents, round(found.waste_share, 3), found.exact
    (1, 300, 0.333, True)
    """
    if cutting not in ("guillotine", "free"):
        raise MeasureError("cutting", need="guillotine or free", got=cutting)
    named = [(one.name, one.length_in, one.width_in) for one in blanks]
    for name, *sides in named + [(one.name, one.length_in, one.width_in) for one in sheets]:
        if min(sides) <= 0:
            raise MeasureError(name, need="sides above 0 in", got=tuple(sides))
    kinds, members = _kinds(blanks)
    pieces = [one for one in sheets for _ in range(min(one.quantity, len(blanks)))]
    sizes = [(_down(one.length_in), _down(one.width_in)) for one in pieces]
    if not blanks:
        return Nest((), 0, True, 0, 0.0, cutting)
    if len(blanks) <= EXACT_UP_TO:
        chosen = _exact(kinds, pieces, sizes, cutting)
    else:
        chosen = best_orders(kinds, [piece.cost_cents for piece in pieces], sizes)
    if chosen is None:
        return None
    uses = []
    for at in sorted(chosen):
        spots, cuts = chosen[at]
        uses.append(_use(pieces[at], spots, cuts if cutting == "guillotine" else [], members))
    cost = sum(pieces[at].cost_cents for at in chosen)
    exact = len(blanks) <= EXACT_UP_TO
    if exact:
        least = cost, sum(use.area_in2 for use in uses)
    else:
        least = _least(sum(blank.length_in * blank.width_in for blank in blanks), pieces)
    return Nest(tuple(uses), cost, exact, *least, cutting)


def _kinds(blanks: Sequence[Blank]) -> tuple[list[Kind], list[list[int]]]:
    """Equal blanks counted together, and which blanks each kind stands for."""
    members: dict[tuple[int, int, bool], list[int]] = {}
    for place, blank in enumerate(blanks):
        size = (_up(blank.length_in), _up(blank.width_in), blank.may_turn)
        members.setdefault(size, []).append(place)
    return [Kind(*size, len(places)) for size, places in members.items()], list(members.values())


def _up(value: float) -> int:
    return int(np.ceil(value * PER_INCH - SNAP))


def _down(value: float) -> int:
    return int(np.floor(value * PER_INCH + SNAP))


def _exact(
    kinds: list[Kind], pieces: Sequence[Sheet], sizes: list[tuple[int, int]], cutting: Cutting
) -> dict[int, Pattern] | None:
    """Cheapest sheets, then least area, over every way to deal the blanks out to them."""
    everything = tuple(kind.number for kind in kinds)
    subsets = [counts for counts in sub_counts(everything) if any(counts)]
    boxes = guillotine_boxes(kinds, max((s[0] for s in sizes), default=0), max((s[1] for s in sizes), default=0))
    fitting = {size: _fitting(kinds, subsets, boxes, size, cutting) for size in set(sizes)}
    none = (0,) * len(kinds)
    best: dict[Counts, tuple[int, int, tuple[tuple[int, Counts], ...]]] = {none: (0, 0, ())}
    for at, size in enumerate(sizes):
        grown = dict(best)
        for counts, (cost, area, how) in best.items():
            for part in fitting[size]:
                total = tuple(a + b for a, b in zip(counts, part, strict=True))
                if any(have > most for have, most in zip(total, everything, strict=True)):
                    continue
                price = (cost + pieces[at].cost_cents, area + size[0] * size[1])
                if total not in grown or price < grown[total][:2]:
                    grown[total] = (*price, (*how, (at, part)))
        best = grown
    if everything not in best:
        return None
    found: dict[int, Pattern] = {}
    for at, part in best[everything][2]:
        pattern = fitting[sizes[at]][part]
        if isinstance(pattern, Box):
            found[at] = (list(pattern.spots()), list(pattern.cuts(0, 0, *sizes[at])))
        else:
            found[at] = (pattern, [])
    return found


def _fitting(
    kinds: list[Kind], subsets: list[Counts], boxes: dict[Counts, list[Box]], size: tuple[int, int], cutting: Cutting
) -> dict[Counts, Box | list[Spot]]:
    """Sets of blanks that one sheet takes, each with a pattern."""
    found: dict[Counts, Box | list[Spot]] = {}
    refused: list[Counts] = []
    for counts in subsets:
        box = next((box for box in boxes[counts] if box.length <= size[0] and box.width <= size[1]), None)
        if box is not None:
            found[counts] = box
        elif cutting == "free" and sum(counts) >= 5:  # four rectangles or fewer always part by whole cuts
            if any(all(a <= b for a, b in zip(less, counts, strict=True)) for less in refused):
                continue
            spots = free_spots(kinds, counts, *size)
            if spots is None:
                refused.append(counts)
            else:
                found[counts] = spots
    return found


def _use(sheet: Sheet, spots: list[Spot], cuts: list[Cut], members: list[list[int]]) -> SheetUse:
    placements = tuple(
        Placement(
            blank=members[spot.kind].pop(0),
            x_in=spot.x / PER_INCH,
            y_in=spot.y / PER_INCH,
            length_in=spot.length / PER_INCH,
            width_in=spot.width / PER_INCH,
            turned=spot.turned,
        )
        for spot in spots
    )
    return SheetUse(sheet, placements, tuple(tuple(end / PER_INCH for end in cut) for cut in cuts))  # type: ignore[misc]


def _least(need_in2: float, pieces: Sequence[Sheet]) -> tuple[int, float]:
    """What any sheets with enough area cost at least, and the least area of any that have enough."""
    bought: list[tuple[int, float]] = [(0, 0.0)]  # rising cost with the most area that it buys
    for piece in pieces:
        area = piece.length_in * piece.width_in
        kept: list[tuple[int, float]] = []
        for cost, has in sorted(
            bought + [(cost + piece.cost_cents, min(has + area, need_in2)) for cost, has in bought]
        ):
            if not kept or has > kept[-1][1] + SNAP:
                kept.append((cost, has))
        bought = kept
    least_cost = next((cost for cost, has in bought if has >= need_in2 - SNAP), 0)
    # Sums of areas as bits of one number; each area rounded down, so a sum may be short by one unit a sheet.
    sums = 1
    for piece in pieces:
        sums |= sums << int(piece.length_in * piece.width_in / _AREA_UNIT_IN2)
    start = max(int(need_in2 / _AREA_UNIT_IN2) - len(pieces), 0)
    enough = sums >> start
    least = (start + (enough & -enough).bit_length() - 1) * _AREA_UNIT_IN2 if enough else 0.0
    return least_cost, max(least, need_in2)
