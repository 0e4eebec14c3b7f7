"""Padding around an item: layers, clearance, the material that they take, fill, tape and stretch wrap."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from flipkit.errors import MeasureError
from flipkit.packing.at_hand import Cushion
from flipkit.packing.materials import CushionBlock, cushion_thickness_in, drop_height_in
from flipkit.units import SNAP

Closure = Literal["centre", "H", "full seam"]
Sides = tuple[float, float, float]

SQIN_PER_SQFT = 144.0
CUIN_PER_CUFT = 1728.0
M_PER_IN = 0.0254


@dataclass(frozen=True)
class Padding:
    """What goes around an item before it meets a wall."""

    cushion: Cushion | None
    needed_in: float
    layers: int
    thickness_in: float
    clearance_in: float
    drop_in: float
    area_sqft: float  # [sq ft]
    weight_lb: float
    wrapped_in: Sides
    needs_in: Sides


def padding(
    sides_in: Sides,
    weight_lb: float,
    *,
    fragility: str,
    cushion: Cushion | None,
    rough: bool,
    table: CushionBlock,
    least_layers: int = 1,
) -> Padding:
    """Layers of one cushioning that an item of this fragility needs on every side.

    The fall is the one for the bare item's weight: the packed parcel is heavier and would be
    reckoned to fall less far, so this errs on the safe side.

    >>> import datetime
    >>> from flipkit.packing.materials import packing_rules
    >>> table = packing_rules(on=datetime.date(2026, 11, 25)).cushions
    >>> foam = Cushion("foam", "polyethylene foam", 1.0, "plate", 55.0)
    >>> found = padding((12.0, 8.0, 6.0), 5.0, fragility="delicate", cushion=foam, rough=False, table=table)
    >>> found.needed_in, found.layers, found.needs_in
    (2.25, 3, (18.0, 14.0, 12.0))
    """
    kind = table.fragility_class(fragility)
    drop = drop_height_in(weight_lb, rough=rough, block=table)
    if kind.g is None:
        clearance = kind.clearance_in
        needs = (sides_in[0] + 2 * clearance, sides_in[1] + 2 * clearance, sides_in[2] + 2 * clearance)
        return Padding(None, 0.0, 0, 0.0, clearance, drop, 0.0, 0.0, sides_in, needs)
    if cushion is None:
        raise MeasureError(
            "cushion", need=f"a cushioning for a {fragility} item", got=None, mend="add one to the stock"
        )
    if cushion.material not in table.materials:
        raise MeasureError("material", need=f"one of {', '.join(table.materials)}", got=cushion.material)
    material = table.materials[cushion.material]
    needed = cushion_thickness_in(material.factor, drop, kind.g)
    layers = max(least_layers, math.ceil(needed / cushion.thickness_in - SNAP))
    thickness = layers * cushion.thickness_in
    clearance = max(kind.clearance_in, thickness)
    area = cushion_area_sqft(sides_in, cushion, layers, table=table)
    weight = area * SQIN_PER_SQFT * cushion.thickness_in / CUIN_PER_CUFT * material.lb_per_cuft
    wrapped = tuple(side + 2 * thickness for side in sides_in)
    needs = tuple(side + 2 * clearance for side in sides_in)  # type: ignore[assignment]
    return Padding(cushion, needed, layers, thickness, clearance, drop, area, weight, wrapped, needs)  # type: ignore[arg-type]


def cushion_area_sqft(sides_in: Sides, cushion: Cushion, layers: int, *, table: CushionBlock) -> float:
    """Material for some layers of cushioning around an item.

    Plates cover the six faces of each layer, the larger ones over the edges of the smaller. A
    wrap goes around once a layer with an overlap and is folded over both ends, around whichever
    side takes least; each layer is larger than the last by its thickness on every side.

    >>> import datetime
    >>> from flipkit.packing.materials import packing_rules
    >>> table = packing_rules(on=datetime.date(2026, 11, 25)).cushions
    >>> plate = Cushion("foam", "polyethylene foam", 1.0, "plate", 55.0)
    >>> cushion_area_sqft((10.0, 10.0, 10.0), plate, 1, table=table) * 144  # 12 x 12 x 12 less 10 x 10 x 10
    728.0
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


def fill_volume_cuft(inside_in: Sides, wrapped_in: Sides) -> float:
    """Hollow between a wrapped item and the walls around it.

    >>> fill_volume_cuft((12.0, 12.0, 24.0), (12.0, 12.0, 12.0))
    1.0
    """
    return max(math.prod(inside_in) - math.prod(wrapped_in), 0.0) / CUIN_PER_CUFT


def face_strips_in(length_in: float, width_in: float, *, closure: Closure, table: CushionBlock) -> list[float]:
    """Strips of tape that close one face of a slotted carton.

    >>> import datetime
    >>> from flipkit.packing.materials import packing_rules
    >>> table = packing_rules(on=datetime.date(2026, 11, 25)).cushions
    >>> face_strips_in(20, 12, closure="H", table=table)
    [25.0, 17.0, 17.0]
    """
    if closure not in ("centre", "H", "full seam"):
        raise MeasureError("closure", need="centre, H or full seam", got=closure)
    more = 2 * table.tape_past_edge_in
    seam = [length_in + more]
    return seam if closure == "centre" else seam + [width_in + more] * (table.tape_strips - 1)


def slotted_strips_in(sides_in: Sides, *, closure: Closure, own_joint: bool, table: CushionBlock) -> list[float]:
    """Strips of tape for both faces of a slotted carton, and its joint where it needs it.

    >>> import datetime
    >>> from flipkit.packing.materials import packing_rules
    >>> table = packing_rules(on=datetime.date(2026, 11, 25)).cushions
    >>> sum(slotted_strips_in((20, 12, 10), closure="H", own_joint=True, table=table))
    133.0
    """
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


def stretch_wrap_sqft(sides_in: Sequence[float], *, turns: float) -> float:
    """Stretch film wound around the four long walls of a thing, turns counted with their overlap.

    >>> stretch_wrap_sqft([36, 12, 12], turns=2)
    24.0
    """
    long, middle, short = sorted(sides_in, reverse=True)
    return 2 * (middle + short) * long * turns / SQIN_PER_SQFT
