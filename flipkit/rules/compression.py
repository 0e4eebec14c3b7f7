"""What a slotted carton bears from above, by the simplified McKee formula, and when that holds.

An estimate of the load under which a new, dry, empty carton fails in a laboratory. It is no safe
load and no certificate: time, damp air, a crushed corner and every earlier trip take from it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from flipkit.errors import MeasureError
from flipkit.packing.materials import CartonBlock


def box_compression_lb(
    length_in: float, width_in: float, *, ect_lb_per_in: float, caliper_in: float, block: CartonBlock
) -> float:
    """Load under which a slotted carton fails in a laboratory, by the simplified McKee formula.

    Constant x edge crush x square root of (caliper x perimeter) [1]_. It holds for a regular
    slotted carton with its flutes upright, new and dry; the height does not enter. See
    :func:`compression_scope` for what takes a carton out of it.

    Parameters
    ----------
    length_in, width_in : float
        Of the carton's top. [in]
    ect_lb_per_in : float
        Edge crush of the board. [lb/in]
    caliper_in : float
        Thickness of the board. [in]
    block : CartonBlock
        The rule in force.

    Returns
    -------
    float
        Compression strength; an estimate, no safe load. [lb]

    Raises
    ------
    MeasureError
        If a measure is not above zero.

    References
    ----------
    .. [1] ``mckee-1963`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> import datetime
    >>> from flipkit.rules.packing_rules import packing_rules
    >>> rule = packing_rules(on=datetime.date(2026, 11, 25)).cartons
    >>> round(box_compression_lb(16, 12, ect_lb_per_in=32, caliper_in=0.16, block=rule), 2)
    562.27
    """
    for name, value in (
        ("length_in", length_in),
        ("width_in", width_in),
        ("ect_lb_per_in", ect_lb_per_in),
        ("caliper_in", caliper_in),
    ):
        if not (math.isfinite(value) and value > 0):
            raise MeasureError(name, need="a finite number above 0", got=value)
    perimeter = 2.0 * (length_in + width_in)
    return block.compression_constant * ect_lb_per_in * math.sqrt(caliper_in * perimeter)


def compression_scope(
    length_in: float, width_in: float, depth_in: float, *, slotted: bool, flutes_upright: bool, block: CartonBlock
) -> list[str]:
    """Why the compression formula does not hold for a carton; nothing where it does.

    Parameters
    ----------
    length_in, width_in, depth_in : float
        Of the carton. [in]
    slotted : bool
        Whether it is a regular slotted carton.
    flutes_upright : bool
        Whether the flutes run up and down its walls.
    block : CartonBlock
        The rule in force.

    Returns
    -------
    list of str
        Reasons in words.

    Examples
    --------
    >>> import datetime
    >>> from flipkit.rules.packing_rules import packing_rules
    >>> rule = packing_rules(on=datetime.date(2026, 11, 25)).cartons
    >>> compression_scope(40, 20, 6, slotted=True, flutes_upright=True, block=rule)
    ['6 in deep, less than a seventh of its 120 in perimeter']
    """
    reasons = []
    if not slotted:
        reasons.append("not a regular slotted carton")
    if not flutes_upright:
        reasons.append("its flutes do not stand upright")
    perimeter = 2.0 * (length_in + width_in)
    if depth_in * block.perimeters_per_depth < perimeter:
        reasons.append(f"{depth_in:g} in deep, less than a seventh of its {perimeter:g} in perimeter")
    return reasons


def stacking_load_lb(compression_lb: float, *, causes: Sequence[str], block: CartonBlock) -> float:
    """What is left of a carton's compression strength after time and damp have taken their share.

    Parameters
    ----------
    compression_lb : float
        From :func:`box_compression_lb`. [lb]
    causes : sequence of str
        Rows of the table of losses, such as ``30 days under load`` and ``80 % humidity``.
    block : CartonBlock
        The rule in force.

    Returns
    -------
    float
        Strength left; still an estimate. [lb]

    Raises
    ------
    MeasureError
        If the table has no such row.

    References
    ----------
    ``compression-losses`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> import datetime
    >>> from flipkit.rules.packing_rules import packing_rules
    >>> rule = packing_rules(on=datetime.date(2026, 11, 25)).cartons
    >>> round(stacking_load_lb(562.27, causes=["10 days under load", "80 % humidity"], block=rule), 1)
    240.9
    """
    left = compression_lb
    for cause in causes:
        if cause not in block.losses:
            raise MeasureError("cause", need=f"one of {', '.join(block.losses)}", got=cause)
        left *= block.losses[cause]
    return left
