"""Parcels under a carrier's rules: sides rounded, space weighed, surcharges tripped."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from flipkit.errors import MeasureError
from flipkit.rules import columns as cols
from flipkit.rules.parcel_rules import MEASURES, PACKAGING, Condition, Dimensional, ParcelBlock, ParcelRules
from flipkit.units import SNAP, rounded_down, rounded_nearest, rounded_up, snapped

CM_PER_IN = 2.54
KG_PER_LB = 0.45359237
#: How many units of the rule set make the kit's own: of length and of weight, metric or not.
OWN_UNITS = {False: (1.0, 1.0), True: (CM_PER_IN, KG_PER_LB)}


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
    """The same as ``parcels.billable`` as a dict of arrays, for callers that need no frame.

    Parameters
    ----------
    rules, on, length_in, width_in, height_in, weight_lb, zone, packaging, nonrectangular : see below
        As in ``parcels.billable``.
    dimensions_entered, rates : see below
        As in ``parcels.billable``.

    Returns
    -------
    dict of arrays, shape (n,)
        The columns of ``parcels.billable``.

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
    length_unit, weight_unit = OWN_UNITS[rules.metric]
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
            block = rules.blocks[number]
            measured = block_measures(rules, block, part, rates=rates)
            measured.update(whole_weights(block, measured))
            for name, column in found.items():
                if name == "united_in":
                    measured["united"] = measured["longest"] + measured["second"] + measured["shortest"]
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
    """The arguments of ``parcels.billable`` as checked columns of one length.

    Parameters
    ----------
    on, length_in, width_in, height_in, weight_lb, zone, packaging, nonrectangular, dimensions_entered : see below
        As in ``parcels.billable``.
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
        ``longest`` to ``volume``, ``dimensional``, ``exact_scale`` (not rounded), ``least`` (the minimum that a
        surcharge brings), ``seen_longest`` and so on (measures as triggers and limits meet them), ``over_maximum``
        and a flag for every surcharge.

    Raises
    ------
    MeasureError
        If zones matter and are missing, or the kind of rates is unknown.
    """
    space = block.dimensional
    own_length, own_weight = OWN_UNITS[rules.metric]
    a, b, c = (given[name] for name in ("length_in", "width_in", "height_in"))
    if own_length != 1.0:
        a, b, c = a * own_length, b * own_length, c * own_length
    sides = [_whole_side(side, space) for side in (a, b, c)]
    found = _ordered(*sides)
    exact = given["weight_lb"] if own_weight == 1.0 else given["weight_lb"] * own_weight
    found["exact_scale"] = exact
    found["dimensional"] = _dimensional(block, found["volume"], given, rates)
    seen = (
        found
        if block.trigger_sides == "as rounded" or space.sides == "as measured"
        else _ordered(*(snapped(side) for side in (a, b, c)))
    )
    # Every comparison below allows for the snap, so that the scale's noise needs none of its own.
    seen = {**seen, "weight": exact}
    found.update({f"seen_{measure}": seen[measure] for measure in MEASURES})
    found.update(_triggered(block, seen, given))
    found["over_maximum"] = _any_over(seen, block.limits, exact.shape)
    least = np.zeros(exact.shape)
    for extra in block.surcharges:
        if extra.minimum_billable:
            rows = found[extra.name].nonzero()[0]
            if rows.size:
                least[rows] = np.maximum(least[rows], extra.minimum_billable)
    found["least"] = least
    return found


def whole_weights(block: ParcelBlock, measured: cols.Columns) -> cols.Columns:
    """The scale weight rounded up, what is billed, and whether space pays.

    Parameters
    ----------
    block : ParcelBlock
        The block.
    measured : dict of arrays, shape (n,)
        From ``block_measures``.

    Returns
    -------
    dict of arrays, shape (n,)
        ``scale``, ``billable`` and ``space_pays``. [units of weight]
    """
    scale = rounded_up(measured["exact_scale"], step=block.scale_step)
    billed = np.maximum(np.maximum(measured["dimensional"], scale), measured["least"])
    return {"scale": scale, "billable": billed, "space_pays": measured["dimensional"] > scale}


def without_sides(block: ParcelBlock, measured: cols.Columns) -> cols.Columns:
    """Measures as they are for someone who knows a parcel's weight but not its sides.

    Parameters
    ----------
    block : ParcelBlock
        The block.
    measured : dict of arrays, shape (n,)
        From ``block_measures``.

    Returns
    -------
    dict of arrays, shape (n,)
        The same with no space to bill, and without what sides alone trip.
    """
    nothing = np.zeros(measured["exact_scale"].shape)
    found = {**measured, "dimensional": nothing, "least": nothing}
    found.update({f"seen_{measure}": nothing for measure in MEASURES if measure != "weight"})
    found["over_maximum"] = measured["seen_weight"] > block.limits.get("weight", np.inf) + SNAP
    for extra in block.surcharges:
        when = extra.when
        if when.any_over or {*when.over, *when.at_most} - {"weight"}:
            found[extra.name] = nothing > 0
    return found


def _whole_side(side: npt.NDArray[np.float64], space: Dimensional) -> npt.NDArray[np.float64]:
    if space.sides == "up":
        return rounded_up(side, step=space.side_step)
    # A side under half a unit is still a side: no rule set bills a parcel for no space at all.
    if space.sides == "nearest":
        return np.maximum(rounded_nearest(side, step=space.side_step), space.side_step)
    if space.sides == "down":
        return np.maximum(rounded_down(side, step=space.side_step), space.side_step)
    return snapped(side)


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
    if space.nonrectangular_factor != 1.0 and cols.some(given["nonrectangular"]):
        volume = np.where(given["nonrectangular"], volume * space.nonrectangular_factor, volume)
    if space.volume_step:
        volume = rounded_nearest(volume, step=space.volume_step)
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


def _any_over(seen: cols.Columns, limits: Mapping[str, float], shape: tuple[int, ...]) -> npt.NDArray[np.bool_]:
    over = np.zeros(shape, dtype=np.bool_)
    for measure, limit in limits.items():
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
    parts: list[npt.NDArray[np.bool_]] = []
    if when.packaging:
        kinds = [PACKAGING.index(word) for word in when.packaging]
        wrapped = given["packaging"]
        if wrapped.strides == (0,) and wrapped[0] not in kinds:
            return np.zeros(wrapped.shape, dtype=np.bool_)
        parts.append(np.logical_or.reduce([wrapped == kind for kind in kinds]))
    parts += [seen[measure] > limit + SNAP for measure, limit in when.over.items()]
    parts += [seen[measure] <= limit + SNAP for measure, limit in when.at_most.items()]
    if when.any_over:
        sides = ("longest", "second", "shortest")
        parts.append(
            np.logical_or.reduce([seen[s] > limit + SNAP for s, limit in zip(sides, when.any_over, strict=True)])
        )
    if when.zones:
        parts.append(_in_zones(given, when.zones, block))
    if when.dimensions_entered is not None:
        parts.append(given["dimensions_entered"] == when.dimensions_entered)
    holds = parts[0]
    for part in parts[1:]:
        holds = holds & part
    return holds
