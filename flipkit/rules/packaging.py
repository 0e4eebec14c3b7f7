"""What carriers charge extra for because of the outer packaging, whatever is inside."""

from __future__ import annotations

from collections.abc import Sequence

from flipkit.packing.materials import CartonBlock, Packaging


def packaging_triggers(packaging: Packaging, sides_in: Sequence[float], *, block: CartonBlock) -> tuple[str, ...]:
    """What about the outer packaging makes carriers charge extra handling, in words.

    Parameters
    ----------
    packaging : str
        ``box``, ``not in corrugated``, ``cylinder``, ``soft pack`` or ``shrink wrap``.
    sides_in : sequence of float, shape (3,)
        Outside, in any order. [in]
    block : CartonBlock
        The rule in force.

    Returns
    -------
    tuple of str
        The triggers; empty where there is none.

    References
    ----------
    ``carrier-packaging-text`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> import datetime
    >>> from flipkit.rules.packing_rules import packing_rules
    >>> rule = packing_rules(on=datetime.date(2026, 11, 25)).cartons
    >>> packaging_triggers("cylinder", [30, 4, 4], block=rule), packaging_triggers("box", [9, 9, 9], block=rule)
    (('a cylinder',), ())
    """
    sides = sorted(sides_in, reverse=True)
    found = []
    for rule in block.packaging:
        if packaging not in rule.when:
            continue
        if rule.at_most_in is not None and sides[-1] > rule.at_most_in:
            continue
        if packaging == "soft pack" and rule.soft_over_in is not None:
            large = sorted(rule.soft_over_in, reverse=True)
            if all(side <= most for side, most in zip(sides, large, strict=True)):
                continue
        found.append(rule.trigger)
    return tuple(found)
