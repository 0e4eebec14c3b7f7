"""Girth, dimensional and billable weight, and what a carrier's rules say of a packed parcel."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from flipkit.errors import MeasureError
from flipkit.quantities import SNAP, rounded_nearest, rounded_up, snapped
from flipkit.rules import columns as cols
from flipkit.rules.parcel_rules import PACKAGING, Condition, ParcelBlock, ParcelRules

if TYPE_CHECKING:
    import pandas as pd

CM_PER_IN = 2.54
KG_PER_LB = 0.45359237
#: How many units of the rule set make the kit's own: of length and of weight, metric or not.
_OWN = {False: (1.0, 1.0), True: (CM_PER_IN, KG_PER_LB)}


def billable(
    rules: ParcelRules,
    *,
    on: object,
    length_in: npt.ArrayLike,
    width_in: npt.ArrayLike,
    height_in: npt.ArrayLike,
    weight_lb: npt.ArrayLike,
    zone: object = None,
    packaging: object = "box",
    nonrectangular: object = False,
    dimensions_entered: object = True,
    rates: str = "",
) -> pd.DataFrame:
    """What a parcel measures and weighs by a carrier's rules, and what it trips.

    Each side is rounded as the block in force says; the volume above the threshold is divided by
    the divisor; the larger of that and the scale weight is billed, or more where a surcharge that
    applies brings a minimum [1]_ [2]_.

    Parameters
    ----------
    rules : ParcelRules
        The carrier's rule set; every row meets the block in force on its day.
    on : date or array of dates, shape (n,)
        Days of posting.
    length_in, width_in, height_in : float or array, shape (n,)
        Outside of the packed parcel, in any order. [in]
    weight_lb : float or array, shape (n,)
        What the scale says. [lb]
    zone : str, int or array, shape (n,), optional
        Zones; needed only where the block's rules differ by zone.
    packaging : str or array of str, shape (n,)
        One of ``parcel_rules.PACKAGING``.
    nonrectangular : bool or array, shape (n,)
        Whether the thing is no box, so that it fills less than its box.
    dimensions_entered : bool or array, shape (n,)
        Whether the sender states the dimensions.
    rates : str
        Which kind of rates is paid, where the rule set has divisors for several; empty for the usual.

    Returns
    -------
    pandas.DataFrame
        One row a parcel: ``longest_in``, ``second_in``, ``shortest_in``, ``girth_in``,
        ``length_plus_girth_in``, ``united_in``, ``volume_cu_in`` (all of the rounded sides),
        ``dimensional_lb`` (0 where the threshold exempts the parcel), ``scale_lb`` (rounded up),
        ``billable_lb``, ``space_pays``, ``over_maximum``, and one bool column a surcharge that applies.
        A metric rule set adds ``dimensional_kg``, ``scale_kg`` and ``billable_kg``.

    Raises
    ------
    RuleNotInForceError
        If a day has no block.
    MeasureError
        If a side or a weight is not a finite number above zero.

    References
    ----------
    .. [1] ``postal-manual-123`` in ``rules/data/sources.toml``.
    .. [2] ``private-network-billable`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> import datetime as dt
    >>> from flipkit.rules.tables import load_rules
    >>> post = load_rules().parcels["post"]
    >>> flat = billable(post, on=dt.date(2026, 8, 1), length_in=18, width_in=14, height_in=12, weight_lb=9)
    >>> flat[["dimensional_lb", "billable_lb"]].iloc[0].tolist()
    [22.0, 22.0]
    """
    found = parcel_columns(
        rules,
        on=on,
        length_in=length_in,
        width_in=width_in,
        height_in=height_in,
        weight_lb=weight_lb,
        zone=zone,
        packaging=packaging,
        nonrectangular=nonrectangular,
        dimensions_entered=dimensions_entered,
        rates=rates,
    )
    return cols.as_frame(found)


def parcel_columns(
    rules: ParcelRules,
    *,
    on: object,
    length_in: npt.ArrayLike,
    width_in: npt.ArrayLike,
    height_in: npt.ArrayLike,
    weight_lb: npt.ArrayLike,
    zone: object = None,
    packaging: object = "box",
    nonrectangular: object = False,
    dimensions_entered: object = True,
    rates: str = "",
) -> cols.Columns:
    """The same as ``billable`` as a dict of arrays, for callers that need no frame.

    Parameters
    ----------
    rules, on, length_in, width_in, height_in, weight_lb, zone, packaging, nonrectangular
        As in ``billable``.
    dimensions_entered, rates
        As in ``billable``.

    Returns
    -------
    dict of arrays, shape (n,)
        The columns of ``billable``.

    Raises
    ------
    RuleNotInForceError
        If a day has no block.
    MeasureError
        If a side or a weight is not a finite number above zero.
    """
    given = parcel_inputs(
        on=on,
        length_in=length_in,
        width_in=width_in,
        height_in=height_in,
        weight_lb=weight_lb,
        zone=zone,
        packaging=packaging,
        nonrectangular=nonrectangular,
        dimensions_entered=dimensions_entered,
    )
    rows = given["length_in"].size
    given["block"] = cols.blocks(rules, on, rows)
    if zone is not None:
        given["zone"] = cols.words(zone, rows)
    length_unit, weight_unit = _OWN[rules.metric]
    found: cols.Columns = {}
    for name in ("longest", "second", "shortest", "girth", "length_plus_girth", "united"):
        found[f"{name}_in"] = np.empty(rows)
    found["volume_cu_in"] = np.empty(rows)
    for name in ("dimensional", "scale", "billable"):
        found[f"{name}_lb"] = np.empty(rows)
    for name in ("space_pays", "over_maximum", *rules.surcharge_names):
        found[name] = np.zeros(rows, dtype=np.bool_)
    if rules.metric:
        for name in ("dimensional", "scale", "billable"):
            found[f"{name}_kg"] = np.empty(rows)
    unit = {"in": length_unit, "cu_in": length_unit**3, "lb": weight_unit, "kg": 1.0}

    def step(chunk: cols.Columns, here: slice) -> None:
        for number, at in cols.groups(chunk["block"]):
            part = chunk if at is None else {name: column[at] for name, column in chunk.items()}
            measured = block_measures(rules, rules.blocks[number], part, rates=rates)
            for name, column in found.items():
                stem, _, end = name.rpartition("_")
                end, stem = ("cu_in", "volume") if name == "volume_cu_in" else (end, stem)
                values = measured.get(name)
                if values is None and stem in measured:
                    values = measured[stem] / unit[end] if unit[end] != 1.0 else measured[stem]
                if values is not None:
                    column[here][slice(None) if at is None else at] = values

    cols.in_chunks(rows, given, step)
    return found


def parcel_inputs(
    *,
    on: object,
    length_in: npt.ArrayLike,
    width_in: npt.ArrayLike,
    height_in: npt.ArrayLike,
    weight_lb: npt.ArrayLike,
    zone: object = None,
    packaging: object = "box",
    nonrectangular: object = False,
    dimensions_entered: object = True,
    **further: object,
) -> cols.Columns:
    """The arguments of ``billable`` as checked columns of one length.

    Parameters
    ----------
    on, length_in, width_in, height_in, weight_lb, zone, packaging, nonrectangular, dimensions_entered
        As in ``billable``.
    **further : scalar or array
        Further arguments that must have the same length.

    Returns
    -------
    dict of arrays, shape (n,)
        The sides, the weight, the number of the packaging and the flags.

    Raises
    ------
    MeasureError
        If a side or a weight is not a finite number above zero, or a packaging is unknown.
    """
    rows = cols.row_count(
        on=on,
        length_in=length_in,
        width_in=width_in,
        height_in=height_in,
        weight_lb=weight_lb,
        zone=zone,
        packaging=packaging,
        nonrectangular=nonrectangular,
        dimensions_entered=dimensions_entered,
        **further,
    )
    wrapped, unknown = cols.codes(packaging, rows, PACKAGING)
    if unknown or (wrapped.size and wrapped.min() < 0):
        raise MeasureError("packaging", need="one of " + ", ".join(PACKAGING), got=unknown[0] if unknown else None)
    return {
        "length_in": cols.measures("length_in", length_in, rows),
        "width_in": cols.measures("width_in", width_in, rows),
        "height_in": cols.measures("height_in", height_in, rows),
        "weight_lb": cols.measures("weight_lb", weight_lb, rows),
        "packaging": wrapped,
        "nonrectangular": cols.flags("nonrectangular", nonrectangular, rows),
        "dimensions_entered": cols.flags("dimensions_entered", dimensions_entered, rows),
    }


def block_measures(rules: ParcelRules, block: ParcelBlock, given: cols.Columns, *, rates: str = "") -> cols.Columns:
    """What parcels measure, weigh and trip under one block, in the rule set's own units.

    Parameters
    ----------
    rules : ParcelRules
        The rule set, for its units.
    block : ParcelBlock
        The block.
    given : dict of arrays, shape (n,)
        As ``parcel_inputs`` makes them, with ``zone`` (text) where zones matter.
    rates : str
        Which kind of rates is paid.

    Returns
    -------
    dict of arrays, shape (n,)
        ``longest`` to ``billable``, ``exact_scale`` (not rounded), ``least`` (the minimum that a surcharge
        brings), ``over_maximum``, ``space_pays`` and a flag for every surcharge.

    Raises
    ------
    MeasureError
        If zones matter and are missing, or the kind of rates is unknown.
    """
    space = block.dimensional
    own_length, own_weight = _OWN[rules.metric]
    a, b, c = (given[name] for name in ("length_in", "width_in", "height_in"))
    if own_length != 1.0:
        a, b, c = a * own_length, b * own_length, c * own_length
    sides = [_whole_side(side, space.sides) for side in (a, b, c)]
    found = _ordered(*sides)
    exact = given["weight_lb"] if own_weight == 1.0 else given["weight_lb"] * own_weight
    found["exact_scale"] = exact
    found["scale"] = rounded_up(exact, step=block.scale_step)
    found["dimensional"] = _dimensional(block, found["volume"], given, rates)
    seen = (
        found
        if block.trigger_sides == "as rounded" or space.sides == "as measured"
        else _ordered(*(snapped(side) for side in (a, b, c)))
    )
    seen = {**seen, "weight": snapped(exact)}
    found.update(_triggered(block, seen, given))
    found["over_maximum"] = _any_over(seen, block.limits, exact.shape)
    least = np.zeros(exact.shape)
    for extra in block.surcharges:
        if extra.minimum_billable:
            np.maximum(least, extra.minimum_billable, out=least, where=found[extra.name])
    found["least"] = least
    found["space_pays"] = found["dimensional"] > found["scale"]
    found["billable"] = np.maximum(np.maximum(found["dimensional"], found["scale"]), least)
    return found


def _whole_side(side: npt.NDArray[np.float64], how: str) -> npt.NDArray[np.float64]:
    if how == "up":
        return rounded_up(side)
    # A side under half a unit is still a side: no rule set bills a parcel for no space at all.
    return np.maximum(rounded_nearest(side), 1.0) if how == "nearest" else snapped(side)


def _ordered(a: npt.NDArray[np.float64], b: npt.NDArray[np.float64], c: npt.NDArray[np.float64]) -> cols.Columns:
    low, high = np.minimum(a, b), np.maximum(a, b)
    longest, shortest = np.maximum(high, c), np.minimum(low, c)
    second = np.maximum(low, np.minimum(high, c))
    girth = 2.0 * (second + shortest)
    return {
        "longest": longest,
        "second": second,
        "shortest": shortest,
        "girth": girth,
        "length_plus_girth": longest + girth,
        "united": longest + second + shortest,
        "volume": longest * second * shortest,
    }


def _dimensional(
    block: ParcelBlock, volume: npt.NDArray[np.float64], given: cols.Columns, rates: str
) -> npt.NDArray[np.float64]:
    space = block.dimensional
    if rates and rates not in space.divisor_for:
        known = ", ".join(space.divisor_for) or "none"
        raise MeasureError(
            "rates", need=f"a kind that the block {block.described} has a divisor for ({known})", got=rates
        )
    divisor = space.divisor_for.get(rates, space.divisor)
    if space.nonrectangular_factor != 1.0 and given["nonrectangular"].any():
        volume = np.where(given["nonrectangular"], volume * space.nonrectangular_factor, volume)
    weight = rounded_up(volume / divisor, step=space.weight_step)
    if space.cap < np.inf:
        weight = np.minimum(weight, space.cap)
    weighed = volume > space.volume_over + SNAP
    if space.zones:
        weighed &= _in_zones(given, space.zones, block)
    return np.where(weighed, weight, 0.0)


def _in_zones(given: cols.Columns, zones: tuple[str, ...], block: ParcelBlock) -> npt.NDArray[np.bool_]:
    held = given.get("zone")
    if held is None or (held == "").any():
        raise MeasureError("zone", need=f"given, since the block {block.described} tells zones apart", got=None)
    return np.isin(held, zones)


def _any_over(seen: cols.Columns, limits: object, shape: tuple[int, ...]) -> npt.NDArray[np.bool_]:
    over = np.zeros(shape, dtype=np.bool_)
    for measure, limit in limits.items():  # type: ignore[attr-defined]
        over |= seen[measure] > limit + SNAP
    return over


def _triggered(block: ParcelBlock, seen: cols.Columns, given: cols.Columns) -> cols.Columns:
    found = {extra.name: condition_holds(extra.when, seen, given, block) for extra in block.surcharges}
    for group, dropped in block.excludes.items():
        held = [found[extra.name] for extra in block.surcharges if extra.group == group]
        paid = np.logical_or.reduce(held)
        if paid.any():
            for extra in block.surcharges:
                if extra.group in dropped:
                    found[extra.name] = found[extra.name] & ~paid
    return found


def condition_holds(
    when: Condition, seen: cols.Columns, given: cols.Columns, block: ParcelBlock
) -> npt.NDArray[np.bool_]:
    """Where a condition holds.

    Parameters
    ----------
    when : Condition
        The condition.
    seen : dict of arrays, shape (n,)
        Measures by the names of ``parcel_rules.MEASURES``.
    given : dict of arrays, shape (n,)
        As ``parcel_inputs`` makes them.
    block : ParcelBlock
        The block, for errors.

    Returns
    -------
    array, shape (n,)
        bool.

    Raises
    ------
    MeasureError
        If zones matter and are missing.
    """
    holds = np.ones(seen["weight"].shape, dtype=np.bool_)
    for measure, limit in when.over.items():
        holds &= seen[measure] > limit + SNAP
    for measure, limit in when.at_most.items():
        holds &= seen[measure] <= limit + SNAP
    if when.any_over:
        sides = ("longest", "second", "shortest")
        holds &= np.logical_or.reduce([seen[s] > limit + SNAP for s, limit in zip(sides, when.any_over, strict=True)])
    if when.packaging:
        holds &= np.isin(given["packaging"], [PACKAGING.index(word) for word in when.packaging])
    if when.zones:
        holds &= _in_zones(given, when.zones, block)
    if when.dimensions_entered is not None:
        holds &= given["dimensions_entered"] == when.dimensions_entered
    return holds
