"""Exact cutting of up to eight rectangles from one sheet, by whole cuts or by free ones.

Everything is whole thousandths of an inch, so that comparing is exact. Pieces come as kinds with
counts, since equal blanks need not be told apart.

A guillotine pattern is a tree: a piece, two patterns side by side, or two one above the other.
So for a set of pieces the boxes that some pattern fills are those of a piece, or sums of boxes of
two smaller sets. Keeping for each set the boxes that no other undercuts is exhaustive.

A free pattern can always be laid piece by piece, each into a corner of the stairs that the
earlier ones make with the sheet's lower left (no rectangle of a plane pattern locks another in
both directions). So trying every piece in every corner is exhaustive as well.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

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
    """Every way to take some of the pieces, from none to all.

    Parameters
    ----------
    counts : tuple of int
        How many of each kind there are.

    Returns
    -------
    iterator of tuple
        Smaller sets before the sets that hold them.
    """
    return itertools.product(*(range(count + 1) for count in counts))


def guillotine_boxes(kinds: list[Kind], most_length: int, most_width: int) -> dict[Counts, list[Box]]:
    """For every set of pieces, the smallest boxes that a guillotine pattern of them fills.

    Parameters
    ----------
    kinds : list of Kind
        The pieces.
    most_length, most_width : int
        No box longer or wider than this is kept. [0.001 in]

    Returns
    -------
    dict
        Set to boxes of rising length and falling width; empty where nothing fits.
    """
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
    """Places for all the pieces on one sheet when cuts may stop anywhere, or None.

    Parameters
    ----------
    kinds : list of Kind
        The pieces.
    counts : tuple of int
        How many of each kind must be placed.
    length, width : int
        The sheet. [0.001 in]

    Returns
    -------
    list of Spot or None
        A pattern; None where none exists.
    """
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
