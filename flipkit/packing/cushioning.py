"""Padding around an item: layers, clearance, the material that they take, fill, tape and stretch wrap."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from flipkit.errors import MeasureError
from flipkit.packing.at_hand import Cushion
from flipkit.packing.materials import CushionBlock, CushionMaterial, drop_height_in

Closure = Literal["centre", "H", "full seam"]
Sides = tuple[float, float, float]

SQIN_PER_SQFT = 144.0
CUIN_PER_CUFT = 1728.0
M_PER_IN = 0.0254


@dataclass(frozen=True)
class Padding:
    """What goes around an item before it meets a wall.

    ``faces`` layers lie on every side; a flat thing's four edges, a long one's two ends, may have more.
    """

    cushion: Cushion | None
    faces: int
    edges: int
    pad_in: Sides  # on one side, along the item's length, width and height
    falls_in: Sides  # on a face across each of them
    give_in: Sides  # thickness / cushion factor, less where the face bears more than the cushion's best stress
    area_sqft: float  # [sq ft]
    weight_lb: float
    wrapped_in: Sides
    needs_in: Sides

    def shocks_g(self, walls: int, table: CushionBlock) -> Sides:
        """The shock of the usual fall on each pair of faces, with some walls of board around. [g]"""
        material, thickness = table.wall
        board = walls * thickness / table.materials[material].factor
        return tuple(
            fall / np.maximum(give + board, _LEAST_GIVE_IN)
            for fall, give in zip(self.falls_in, self.give_in, strict=True)
        )


#: The floor and the thing itself give a little; without it nothing at all would mean an endless shock.
_LEAST_GIVE_IN = 0.01
#: A thing is flat, or long, where one side is so many times the next.
_SLENDER = 4.0


def thick_sides(sides_in: Sides) -> tuple[bool, bool, bool]:
    """Sides along which a slender thing may be padded more: a flat one's edges, a long one's ends; others all.

    >>> thick_sides((56.0, 20.0, 3.0)), thick_sides((50.0, 4.0, 4.0)), thick_sides((9.0, 12.0, 9.0))
    ((True, True, False), (True, False, False), (True, True, True))
    """
    short, middle, long = sorted(sides_in)
    if middle >= _SLENDER * short:
        least = middle
    elif long >= _SLENDER * middle:
        least = long
    else:
        least = short
    return tuple(side >= least for side in sides_in)  # type: ignore[return-value]


def is_flat(sides_in: Sequence[Any]) -> Any:
    """Whether a thing is a panel: its second side many times its thickness."""
    short, middle, _ = np.sort(sides_in, axis=0)
    return middle >= _SLENDER * short


def padding(
    sides_in: Sides,
    weight_lb: float,
    *,
    cushion: Cushion | None,
    faces: int = 0,
    edges: int = 0,
    rough: bool,
    table: CushionBlock,
    label_in: tuple[float, float] = (0.0, 0.0),
    empty_in3: float = 0.0,
) -> Padding:
    """Some layers of one cushioning around an item, and what a fall does through them.

    The fall is the one for the bare item's weight: the packed parcel is heavier and would be reckoned to
    fall less far, so this errs on the safe side. A panel falls on its edges from there; onto its face it
    topples, its middle from half its shorter side. A face that is wider than the weight asks for gets
    smaller pads, so that the cushion works at its best point; on one too narrow it bottoms out. What is
    empty of the box around a thing bears nothing.
    """
    drop = drop_height_in(weight_lb, rough=rough, block=table)
    flat, thickest = is_flat(sides_in), min(sides_in)
    falls = tuple(min(drop, sorted(sides_in)[1] / 2) if flat and side == thickest else drop for side in sides_in)
    if cushion is None:
        pad: Sides = (0.0, 0.0, 0.0)
        give, area, weight = pad, 0.0, 0.0
    else:
        if cushion.material not in table.materials:
            raise MeasureError("material", need=f"one of {', '.join(table.materials)}", got=cushion.material)
        material = table.materials[cushion.material]
        thick = thick_sides(sides_in)
        pad = tuple((edges if more else faces) * cushion.thickness_in for more in thick)  # type: ignore[assignment]
        give = tuple(  # type: ignore[assignment]
            _give_in(layer, fall, weight_lb * side / (math.prod(sides_in) - empty_in3), material)
            for layer, fall, side in zip(pad, falls, sides_in, strict=True)
        )
        area = cushion_area_sqft(sides_in, cushion, faces, table=table) + _edges_sqft(
            sides_in, cushion, faces, edges, thick
        )
        weight = area * SQIN_PER_SQFT * cushion.thickness_in / CUIN_PER_CUFT * material.lb_per_cuft
    wrapped = tuple(side + 2 * layer for side, layer in zip(sides_in, pad, strict=True))
    # The label lies on one face, or folds over one edge of a narrow one.
    long, middle, short = sorted(range(3), key=lambda axis: -wrapped[axis])
    needs = list(wrapped)
    needs[long] = max(needs[long], label_in[0])
    needs[middle] = max(needs[middle], label_in[1] - needs[short])
    return Padding(cushion, faces, edges, pad, falls, give, area, weight, wrapped, tuple(needs))  # type: ignore[arg-type]


def _give_in(thickness_in: float, fall_in: float, stress_psi: float, material: CushionMaterial) -> float:
    """Thickness / cushion factor, less by the stress-energy curve where the face bears too much. [in]"""
    if not thickness_in:
        return 0.0
    over = stress_psi / (material.best_psi * thickness_in / fall_in)
    # G s = a exp(b s h / T) over its least value is exp(x - 1) / x, with x the stress over the best one.
    worse = math.exp(min(over, 20.0) - 1) / over if over > 1 else 1.0
    return thickness_in / (material.factor * worse)


def damage_chance(
    way: Padding, survives_g: float | None, *, walls: int, usual: float, lost: float, power: float, table: CushionBlock
) -> float:
    """Chance that a parcel arrives damaged or not at all.

    ``usual`` holds where the shock is just what the thing survives; its odds go with a power of the shock
    over that, the mean of the three pairs of faces. ``lost`` is there however well it is padded.

    >>> import datetime
    >>> from flipkit.packing.materials import packing_rules
    >>> table = packing_rules(on=datetime.date(2026, 11, 25)).cushions
    >>> foam = Cushion("foam", "polyethylene foam", 1.0, "plate", 55.0)
    >>> two = padding((12.0, 8.0, 6.0), 5.0, cushion=foam, faces=2, edges=2, rough=False, table=table)
    >>> at = {"walls": 0, "usual": 0.02, "lost": 0.0, "power": 2.0, "table": table}
    >>> [round(float(damage_chance(two, g, **at)), 4) for g in (45, 90, 22.5)]
    [0.02, 0.0051, 0.0755]
    """
    if survives_g is None:
        return lost
    worse = sum((shock / survives_g) ** power for shock in way.shocks_g(walls, table)) / 3
    usual = min(usual, 0.99)
    return lost + (1 - lost) * usual * worse / (1 - usual + usual * worse)


def _edges_sqft(sides_in: Sides, cushion: Cushion, faces: int, edges: int, thick: tuple[bool, bool, bool]) -> float:
    """Strips along a flat thing's edges, or caps on a long one's ends, beyond the layers all around."""
    if all(thick):
        return 0.0
    total = 0.0
    grown = [side + 2 * faces * cushion.thickness_in for side in sides_in]
    for _ in range(edges - faces):
        for axis in range(3):
            if thick[axis]:
                total += 2 * math.prod(grown) / grown[axis]
                grown[axis] += 2 * cushion.thickness_in
    return total / SQIN_PER_SQFT


def cushion_area_sqft(sides_in: Sides, cushion: Cushion, layers: int, *, table: CushionBlock) -> float:
    """Material for some layers of cushioning around an item.

    Plates cover the six faces of each layer, the larger ones over the edges of the smaller. A
    wrap goes around once a layer with an overlap and is folded over both ends, around whichever
    side takes least; each layer is larger than the last by its thickness on every side.
    """
    total = 0.0
    overlap = table.sheets["overwrap_in"]
    for layer in range(layers):
        grown = [side + 2 * layer * cushion.thickness_in for side in sides_in]
        if cushion.form == "plate":
            outer = [side + 2 * cushion.thickness_in for side in grown]
            total += (math.prod(outer) - math.prod(grown)) / cushion.thickness_in
        else:
            total += min(_wrap_in2(grown[axis], grown[axis - 1], grown[axis - 2], overlap) for axis in range(3))
    return total / SQIN_PER_SQFT


def _wrap_in2(along: float, one: float, two: float, overlap: float) -> float:
    """A sheet around two sides, folded over the ends of the third by half the smaller side each."""
    return (2 * (one + two) + overlap) * (along + min(one, two) + overlap)


def fill_volume_cuft(inside_in: Sequence[Any], wrapped_in: Sequence[Any]) -> Any:
    """Hollow between a wrapped item and the walls around it.

    >>> float(fill_volume_cuft((12.0, 12.0, 24.0), (12.0, 12.0, 12.0)))
    1.0
    """
    return np.maximum(math.prod(inside_in) - math.prod(wrapped_in), 0.0) / CUIN_PER_CUFT


def face_strips_in(length_in: float, width_in: float, *, closure: Closure, table: CushionBlock) -> list[float]:
    """Strips of tape that close one face of a slotted carton."""
    if closure not in ("centre", "H", "full seam"):
        raise MeasureError("closure", need="centre, H or full seam", got=closure)
    more = 2 * table.tape_past_edge_in
    seam = [length_in + more]
    return seam if closure == "centre" else seam + [width_in + more] * (table.tape_strips - 1)


def slotted_strips_in(sides_in: Sides, *, closure: Closure, own_joint: bool, table: CushionBlock) -> list[Any]:
    """Strips of tape for both faces of a slotted carton, and its joint where it needs it."""
    length, width, height = sides_in
    strips = face_strips_in(length, width, closure=closure, table=table) * 2
    if own_joint or closure == "full seam":
        strips.append(height + 2 * table.tape_past_edge_in)
    return strips


def girth_strip_in(one_in: float, two_in: float, *, table: CushionBlock) -> float:
    """A strip of tape once around.

    >>> import datetime
    >>> from flipkit.packing.materials import packing_rules
    >>> girth_strip_in(12, 8, table=packing_rules(on=datetime.date(2026, 11, 25)).cushions)
    45.0
    """
    return 2 * (one_in + two_in) + 2 * table.tape_past_edge_in


def stretch_wrap_sqft(sides_in: Sequence[Any], *, turns: float) -> Any:
    """Stretch film wound around the four long walls of a thing, turns counted with their overlap.

    >>> float(stretch_wrap_sqft([36, 12, 12], turns=2))
    24.0
    """
    short, middle, long = np.sort(sides_in, axis=0)
    return 2 * (middle + short) * long * turns / SQIN_PER_SQFT
