"""Flat sizes of covers: bags, liners and wraps, by suppliers' rules of thumb."""

from __future__ import annotations

from flipkit.packing.materials import CushionBlock


def overwrap_sheet_in(
    length_in: float, width_in: float, height_in: float, *, block: CushionBlock
) -> tuple[float, float]:
    """Flat size of the bag or folded sheet that covers a thing on both sides.

    >>> import datetime
    >>> from flipkit.packing.materials import packing_rules
    >>> table = packing_rules(on=datetime.date(2026, 11, 25)).cushions
    >>> overwrap_sheet_in(11, 8.5, 2, block=table)
    (12.5, 15.0)
    """
    more = block.sheets["overwrap_in"]
    return width_in + height_in + more, length_in + height_in + more


def carton_liner_in(length_in: float, width_in: float, height_in: float, *, block: CushionBlock) -> tuple[float, float]:
    """Flat size of an ungusseted liner for a carton.

    >>> import datetime
    >>> from flipkit.packing.materials import packing_rules
    >>> carton_liner_in(24, 12, 12, block=packing_rules(on=datetime.date(2026, 11, 25)).cushions)
    (38.0, 28.0)
    """
    sheets = block.sheets
    return length_in + width_in + sheets["liner_width_in"], height_in + width_in + sheets["liner_length_in"]


def pallet_cover_in(length_in: float, width_in: float, height_in: float, *, block: CushionBlock) -> tuple[float, float]:
    """Flat size of a cover drawn over a large block from above.

    >>> import datetime
    >>> from flipkit.packing.materials import packing_rules
    >>> pallet_cover_in(50, 48, 48, block=packing_rules(on=datetime.date(2026, 11, 25)).cushions)
    (102.0, 78.0)
    """
    sheets = block.sheets
    return length_in + width_in + sheets["pallet_width_in"], height_in + width_in / 2 + sheets["pallet_length_in"]


def drum_liner_in(diameter_in: float, height_in: float, *, block: CushionBlock) -> tuple[float, float]:
    """Flat size of a liner for a round tub or drum.

    >>> import datetime
    >>> from flipkit.packing.materials import packing_rules
    >>> drum_liner_in(24, 36, block=packing_rules(on=datetime.date(2026, 11, 25)).cushions)
    (37.68, 52.0)
    """
    sheets = block.sheets
    return diameter_in * sheets["drum_pi"] / 2, height_in + diameter_in / 2 + sheets["drum_length_in"]


def poly_bags_lb(length_in: float, width_in: float, mil: float, *, block: CushionBlock) -> float:
    """Weight of a thousand flat polyethylene bags.

    >>> import datetime
    >>> from flipkit.packing.materials import packing_rules
    >>> poly_bags_lb(15, 12, 2, block=packing_rules(on=datetime.date(2026, 11, 25)).cushions)
    24.0
    """
    return length_in * width_in * mil / block.sheets["bag_mil_divisor"]
