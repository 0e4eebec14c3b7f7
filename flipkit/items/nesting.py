"""Blanks nested on the sheets at hand: cheapest sheets first, then least sheet, with the cuts to make.

Up to eight blanks the answer is exact: no choice of sheets that takes them all costs less, or
costs the same and uses less sheet. Above that a handful of good orders is tried, and the answer
says how little sheet any answer would need, so that its waste is bounded.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from flipkit.errors import MeasureError
from flipkit.items.guillotine import PER_INCH, Box, Counts, Cut, Kind, Spot, free_spots, guillotine_boxes, sub_counts
from flipkit.items.guillotine_orders import best_orders
from flipkit.packing.at_hand import Sheet
from flipkit.packing.blanks import Blank
from flipkit.units import SNAP

Cutting = Literal["guillotine", "free"]
#: As many blanks as are nested exactly.
EXACT_UP_TO = 8
#: Grain in which sums of sheet areas are compared for the bound on waste.
_AREA_UNIT_IN2 = 0.25


@dataclass(frozen=True)
class Placement:
    """A blank in its place on a sheet.

    Attributes
    ----------
    blank : int
        Which of the blanks, counted from 0.
    x_in, y_in : float
        Its lower left corner. [in]
    length_in, width_in : float
        Its sides as it lies. [in]
    turned : bool
        Whether it lies turned by a quarter.
    """

    blank: int
    x_in: float
    y_in: float
    length_in: float
    width_in: float
    turned: bool


@dataclass(frozen=True)
class SheetUse:
    """One sheet with what is cut from it.

    Attributes
    ----------
    sheet : Sheet
        The sheet.
    placements : tuple of Placement
        Blanks on it.
    cuts : tuple of (float, float, float, float)
        Whole cuts in order, as x1, y1, x2, y2; empty for free cutting. [in]
    """

    sheet: Sheet
    placements: tuple[Placement, ...]
    cuts: tuple[tuple[float, float, float, float], ...]

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
    """Blanks on sheets.

    Attributes
    ----------
    uses : tuple of SheetUse
        Sheets used, with what is on them.
    cost_cents : int
        What the whole sheets cost. [cents]
    exact : bool
        Whether no other answer is better.
    least_cost_cents : int
        What any answer costs at least; the cost itself where the answer is exact. [cents]
    least_sheet_in2 : float
        Sheet that any answer uses at least; where the answer is exact, any of its cost. [sq in]
    cutting : str
        ``guillotine`` or ``free``.
    """

    uses: tuple[SheetUse, ...]
    cost_cents: int
    exact: bool
    least_cost_cents: int
    least_sheet_in2: float
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

    Parameters
    ----------
    blanks : sequence of Blank
        What is to be cut.
    sheets : sequence of Sheet
        Sheets at hand, each with its quantity.
    cutting : str
        ``guillotine``: every cut goes through from end to end; ``free``: a knife may stop.

    Returns
    -------
    Nest or None
        None where the blanks do not fit on the sheets; for more than eight blanks, where no
        pattern was found.

    Raises
    ------
    MeasureError
        If a side is not above zero, or the way of cutting is unknown.

    Examples
    --------
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


Pattern = tuple[list[Spot], list[Cut]]


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
