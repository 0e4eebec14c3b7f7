"""How a carrier measures, weighs and surcharges a parcel, as dated rules."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Required, TypedDict, Unpack

import numpy as np
import numpy.typing as npt

from flipkit.errors import MeasureError, RuleTableError
from flipkit.rules import blocks as cols
from flipkit.rules.blocks import Block, Keys, RuleSet, as_frame, read_blocks
from flipkit.units import SNAP, rounded_down, rounded_nearest, rounded_up, snapped

if TYPE_CHECKING:
    import pandas as pd


# Parcel rules: how a carrier measures, weighs and surcharges, as dated blocks read from TOML.
#
# A block has these tables::
#
#     [block.dimensional]   sides, side_step, volume_over, volume_step, divisor, divisor_for,
#                           weight_step, nonrectangular_factor, cap, zones
#     [block.scale]         weight_step
#     [block.limits]        longest, length_plus_girth, weight: more is over the maximum
#     [block.entry]         dimensions_required
#     [[block.surcharge]]   name, group, when, minimum_billable, one_of_group, excludes

#: How a side becomes a whole unit.
SIDES = ("nearest", "up", "down", "as measured")
#: Words for how a thing is wrapped, beside a plain carton.
PACKAGING = ("box", "not in corrugated", "cylinder", "soft pack", "shrink wrap", "wheels or straps")
#: What a surcharge can be triggered by: over a threshold, in the units of the rule set.
LONGEST_FIRST = ("longest", "second", "shortest")
MEASURES = (*LONGEST_FIRST, "length_plus_girth", "volume", "weight")


@dataclass(frozen=True)
class Dimensional:
    """How the space of a parcel becomes a weight."""

    sides: str
    side_step: float
    volume_step: float
    volume_over: float
    divisor: float
    divisor_for: Mapping[str, float]
    weight_step: float
    nonrectangular_factor: float
    cap: float
    zones: tuple[str, ...]


@dataclass(frozen=True)
class Condition:
    """What must hold for a surcharge, all of it."""

    over: Mapping[str, float]
    at_most: Mapping[str, float]
    packaging: tuple[str, ...] = ()
    zones: tuple[str, ...] = ()
    dimensions_entered: bool | None = None
    any_over: tuple[float, ...] = ()


@dataclass(frozen=True)
class Surcharge:
    """One thing that costs extra."""

    name: str
    group: str
    when: Condition
    minimum_billable: float
    sources: tuple[str, ...]
    seen: str


@dataclass(frozen=True)
class ParcelBlock(Block):
    """One dated block of a parcel rule set."""

    dimensional: Dimensional
    scale_step: float
    trigger_sides: str
    limits: Mapping[str, float] = field(default_factory=dict)
    dimensions_required: str = ""
    surcharges: tuple[Surcharge, ...] = ()
    one_of: tuple[str, ...] = ()
    excludes: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class ParcelRules(RuleSet[ParcelBlock]):
    """How one carrier measures, weighs and surcharges, by date."""

    metric: bool = False

    @property
    def length_unit(self) -> str:
        """The unit that sides are rounded to: ``in`` or ``cm``."""
        return "cm" if self.metric else "in"

    @property
    def weight_unit(self) -> str:
        """The unit that weights are rounded in: ``lb`` or ``kg``."""
        return "kg" if self.metric else "lb"

    @property
    def surcharge_names(self) -> tuple[str, ...]:
        """Every surcharge of every block, in order of appearance."""
        return tuple(dict.fromkeys(extra.name for block in self.blocks for extra in block.surcharges))


def read_parcel_rules(data: Mapping[str, Any], *, file: str) -> ParcelRules:
    """A parcel rule set from the content of its TOML file."""
    metric = [False]

    def header(top: Keys) -> None:
        metric[0] = top.text("units", among=("in, lb", "cm, kg")) == "cm, kg"

    name, blocks = read_blocks(data, file=file, kind="parcel rules", make=_parcel_block, header=header)
    return ParcelRules(kind="parcel rules", name=name, file=file, blocks=blocks, metric=metric[0])


def _parcel_block(keys: Keys, common: dict[str, Any]) -> ParcelBlock:
    entry = keys.table("entry")
    required = entry.text("dimensions_required") if entry else ""
    if entry:
        entry.done()
    scale = keys.table("scale") or keys.fail("scale", "nothing", "a table [block.scale] with weight_step")
    step = scale.number("weight_step", above=0)
    scale.done()
    surcharges = tuple(_surcharge(table, common) for table in keys.tables("surcharge"))
    names = [extra.name for extra in surcharges]
    for name in names:
        if names.count(name) > 1:
            keys.fail("surcharge.name", name, "a name that no other surcharge of the block has")
    known = tuple(dict.fromkeys(extra.group for extra in surcharges))
    excludes = keys.table("excludes")
    dropped: dict[str, tuple[str, ...]] = {}
    if excludes is not None:
        for group in excludes.names():
            if group not in known:
                excludes.fail(group, group, "a group that a surcharge of the block has")
            dropped[group] = excludes.texts(group, among=known)
    limits = keys.table("limits")
    bounds = _bounds(limits) if limits else {}
    if limits:
        limits.done()
    return ParcelBlock(
        **common,
        dimensional=_dimensional_rule(keys),
        scale_step=step,
        trigger_sides=keys.text("trigger_sides", among=("as rounded", "as measured")),
        limits=bounds,
        dimensions_required=required,
        surcharges=surcharges,
        one_of=keys.texts("one_of", (), among=known),
        excludes=dropped,
    )


def _dimensional_rule(keys: Keys) -> Dimensional:
    table = keys.table("dimensional") or keys.fail("dimensional", "nothing", "a table [block.dimensional]")
    kinds = table.table("divisor_for")
    found = Dimensional(
        sides=table.text("sides", among=SIDES),
        side_step=table.number("side_step", 1.0, above=0),
        volume_step=table.number("volume_step", 0.0, above=0),
        volume_over=table.number("volume_over"),
        divisor=table.number("divisor", above=0),
        divisor_for={name: kinds.number(name, above=0) for name in kinds.names()} if kinds else {},
        weight_step=table.number("weight_step", above=0),
        nonrectangular_factor=table.number("nonrectangular_factor", 1.0, above=0),
        cap=table.number("cap", float("inf"), above=0),
        zones=table.texts("zones", ()),
    )
    if found.nonrectangular_factor > 1:
        table.fail("nonrectangular_factor", found.nonrectangular_factor, "a share of at most 1")
    table.done()
    return found


def _bounds(table: Keys, end: str = "", *, above: float | None = 0) -> dict[str, float]:
    """Bounds of measures, whose keys have an end of their own."""
    return {name: table.number(name + end, above=above) for name in MEASURES if table.has(name + end)}


def _surcharge(keys: Keys, common: dict[str, Any]) -> Surcharge:
    name = keys.text("name")
    if not name.isidentifier():
        keys.fail("name", name, "a name of letters, digits and _ that can head a column")
    when = keys.table("when") or keys.fail("when", "nothing", "a table with at least one condition")
    over, at_most = _bounds(when, "_over", above=None), _bounds(when, "_at_most", above=None)
    any_over: tuple[float, ...] = ()
    if when.has("any_side_over"):
        table = when.table("any_side_over")
        if table is not None:
            any_over = tuple(table.number(side, above=0) for side in LONGEST_FIRST)
            table.done()
    condition = Condition(
        over=over,
        at_most=at_most,
        packaging=when.texts("packaging", (), among=PACKAGING),
        zones=when.texts("zones", ()),
        dimensions_entered=when.flag("dimensions_entered", None),
        any_over=any_over,
    )
    if condition == Condition(over={}, at_most={}):
        keys.fail("when", "no condition", "at least one condition")
    when.done()
    found = Surcharge(
        name=name,
        group=keys.text("group"),
        when=condition,
        minimum_billable=keys.number("minimum_billable", 0.0, above=0),
        sources=keys.texts("source", common["sources"]),
        seen=keys.text("seen", common["seen"]),
    )
    keys.done()
    return found


# Parcels under a carrier's rules: sides rounded, space weighed, surcharges tripped.

CM_PER_IN = 2.54
KG_PER_LB = 0.45359237
#: How many units of the rule set make the kit's own: of length and of weight, metric or not.
OWN_UNITS = {False: (1.0, 1.0), True: (CM_PER_IN, KG_PER_LB)}


class GivenSides(TypedDict):
    """Sides of parcels in any order, and what they weigh."""

    length_in: npt.ArrayLike
    width_in: npt.ArrayLike
    height_in: npt.ArrayLike
    weight_lb: npt.ArrayLike


class GivenParcels(GivenSides, total=False):
    """What is known of packed parcels, one value for all or one each."""

    on: Required[object]
    zone: object
    packaging: object
    nonrectangular: object
    dimensions_entered: object


def parcel_columns(rules: ParcelRules, *, rates: str = "", **parcels: Unpack[GivenParcels]) -> cols.Columns:
    """The same as ``parcels.billable`` as a dict of arrays, for callers that need no frame."""
    given = parcel_inputs(**parcels)
    rows = given["length_in"].size
    given["block"] = cols.blocks(rules, parcels["on"], rows)
    if parcels.get("zone") is not None:
        given["zone"] = cols.words(parcels["zone"], rows)
    own_length, own_weight = OWN_UNITS[rules.metric]
    # Each column with its measure and how many of the rule set's units make one of its own.
    sources = {f"{name}_in": (name, own_length) for name in _LENGTHS}
    sources["volume_cu_in"] = "volume", own_length**3
    sources |= {f"{name}_lb": (name, own_weight) for name in _WEIGHTS}
    sources |= {name: (name, 1.0) for name in ("space_pays", "over_maximum", *rules.surcharge_names)}
    sources |= {f"{name}_kg": (name, 1.0) for name in _WEIGHTS if rules.metric}
    found: cols.Columns = {
        name: np.empty(rows) if source in _NUMBERS else np.zeros(rows, dtype=np.bool_)
        for name, (source, _) in sources.items()
    }

    for number, part, at in cols.by_number(given, "block"):
        block = rules.blocks[number]
        measured = block_measures(rules, block, part, rates=rates)
        measured |= whole_weights(block, measured)
        measured["united"] = measured["longest"] + measured["second"] + measured["shortest"]
        for name, column in found.items():
            source, unit = sources[name]
            if source in measured:  # a surcharge of another block is not
                column[at] = measured[source] if unit == 1.0 else measured[source] / unit
    return found


#: What a parcel measures and weighs, in the order of its columns.
_LENGTHS = ("longest", "second", "shortest", "girth", "length_plus_girth", "united")
_WEIGHTS = ("dimensional", "scale", "billable")
_NUMBERS = (*_LENGTHS, "volume", *_WEIGHTS)


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
    further: Mapping[str, object] | None = None,
) -> cols.Columns:
    """What is known of parcels as checked columns of one length, which ``further`` columns have too."""
    sides = {"length_in": length_in, "width_in": width_in, "height_in": height_in, "weight_lb": weight_lb}
    said = {"nonrectangular": nonrectangular, "dimensions_entered": dimensions_entered}
    rows = cols.row_count(on=on, **sides, zone=zone, packaging=packaging, **said, **(further or {}))
    wrapped, unknown = cols.codes(packaging, rows, PACKAGING)
    if unknown or (wrapped.size and wrapped.min() < 0):
        raise MeasureError("packaging", need="one of " + ", ".join(PACKAGING), got=unknown[0] if unknown else None)
    measured = {name: cols.measures(name, value, rows) for name, value in sides.items()}
    return {**measured, "packaging": wrapped, **{name: cols.flags(name, value, rows) for name, value in said.items()}}


def block_measures(rules: ParcelRules, block: ParcelBlock, given: cols.Columns, *, rates: str = "") -> cols.Columns:
    """What parcels measure, weigh and trip under one block, in the rule set's own units."""
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
    """The scale weight rounded up, what is billed, and whether space pays."""
    scale = rounded_up(measured["exact_scale"], step=block.scale_step)
    billed = np.maximum(np.maximum(measured["dimensional"], scale), measured["least"])
    return {"scale": scale, "billable": billed, "space_pays": measured["dimensional"] > scale}


def without_sides(block: ParcelBlock, measured: cols.Columns) -> cols.Columns:
    """Measures as they are for someone who knows a parcel's weight but not its sides."""
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
    if space.nonrectangular_factor != 1.0 and given["nonrectangular"].any():
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
    """Where a condition holds."""
    parts: list[npt.NDArray[np.bool_]] = []
    if when.packaging:
        kinds = [PACKAGING.index(word) for word in when.packaging]
        wrapped = given["packaging"]
        parts.append(np.isin(wrapped, kinds))
    parts += [seen[measure] > limit + SNAP for measure, limit in when.over.items()]
    parts += [seen[measure] <= limit + SNAP for measure, limit in when.at_most.items()]
    if when.any_over:
        sides = zip(LONGEST_FIRST, when.any_over, strict=True)
        parts.append(np.logical_or.reduce([seen[side] > limit + SNAP for side, limit in sides]))
    if when.zones:
        parts.append(_in_zones(given, when.zones, block))
    if when.dimensions_entered is not None:
        parts.append(given["dimensions_entered"] == when.dimensions_entered)
    holds = parts[0]
    for part in parts[1:]:
        holds = holds & part
    return holds


# Girth, length plus girth, united inches and volume of a thing as it is measured.

Lengths = npt.NDArray[np.float64]


def girth_in(*, length_in: npt.ArrayLike, width_in: npt.ArrayLike, height_in: npt.ArrayLike) -> Lengths:
    """Twice the sum of the two shorter sides.

    >>> float(girth_in(length_in=10, width_in=8, height_in=5)[0])
    26.0
    """
    sides = _sides(length_in, width_in, height_in)
    return 2.0 * (sides.sum(axis=0) - sides.max(axis=0))


def length_plus_girth_in(*, length_in: npt.ArrayLike, width_in: npt.ArrayLike, height_in: npt.ArrayLike) -> Lengths:
    """The longest side and the girth together.

    >>> float(length_plus_girth_in(length_in=58, width_in=26, height_in=6)[0])
    122.0
    """
    sides = _sides(length_in, width_in, height_in)
    return 2.0 * sides.sum(axis=0) - sides.max(axis=0)


def united_in(*, length_in: npt.ArrayLike, width_in: npt.ArrayLike, height_in: npt.ArrayLike) -> Lengths:
    """The three outside measures together, as the carton rule adds them.

    >>> float(united_in(length_in=12, width_in=10, height_in=8)[0])
    30.0
    """
    return _sides(length_in, width_in, height_in).sum(axis=0)


def volume_cu_in(
    *,
    length_in: npt.ArrayLike,
    width_in: npt.ArrayLike,
    height_in: npt.ArrayLike,
    nonrectangular_factor: float | None = None,
) -> Lengths:
    """The space that a thing fills, its box or the share of its box that a rule grants.

    >>> float(volume_cu_in(length_in=16, width_in=6, height_in=12)[0])
    1152.0
    """
    volume = _sides(length_in, width_in, height_in).prod(axis=0)
    return volume if nonrectangular_factor is None else volume * nonrectangular_factor


def _sides(length_in: npt.ArrayLike, width_in: npt.ArrayLike, height_in: npt.ArrayLike) -> Lengths:
    rows = cols.row_count(length_in=length_in, width_in=width_in, height_in=height_in)
    named = (("length_in", length_in), ("width_in", width_in), ("height_in", height_in))
    return np.stack([cols.measures(name, value, rows) for name, value in named])


# Size classes of a packed parcel, by dated thresholds: small, medium, bulky, oversize.


@dataclass(frozen=True)
class SizeBlock(Block):
    """One dated block of thresholds."""

    small_at_most: Mapping[str, float]
    bulky_over: Mapping[str, float]
    bulky_space_over: float
    oversize_group: str


@dataclass(frozen=True)
class SizeClasses(RuleSet[SizeBlock]):
    """Thresholds of the size classes, by date."""

    parcel_rules: str = ""
    rules: ParcelRules | None = None


def read_size_classes(data: Mapping[str, Any], *, file: str) -> SizeClasses:
    """Size classes from the content of their TOML file."""
    named: list[str] = []

    def header(top: Keys) -> None:
        named.append(top.text("parcel_rules"))

    name, blocks = read_blocks(data, file=file, kind="size classes", make=_size_block, header=header)
    return SizeClasses(kind="size classes", name=name, file=file, blocks=blocks, parcel_rules=named[0])


def _size_block(keys: Keys, common: dict[str, Any]) -> SizeBlock:
    return SizeBlock(
        **common,
        small_at_most=_thresholds(keys, "small", "at_most"),
        bulky_over=_thresholds(keys, "bulky", "over"),
        bulky_space_over=keys.number("bulky_space_over_volume", above=0),
        oversize_group=keys.text("oversize_group"),
    )


def _thresholds(keys: Keys, name: str, end: str) -> dict[str, float]:
    table = keys.table(name) or keys.fail(name, "nothing", f"a table with thresholds such as longest_{end}")
    found = _bounds(table, f"_{end}")
    table.done()
    if not found:
        keys.fail(name, "no threshold", f"at least one, such as longest_{end}")
    return found


def size_class(
    table: SizeClasses, *, on: object, parcel_rules: ParcelRules | None = None, **sides: Unpack[GivenSides]
) -> npt.NDArray[np.object_]:
    """The size class of packed parcels."""
    rules = parcel_rules or table.rules
    if rules is None:
        needed = "the rule set itself: load_rules joins the two, or give parcel_rules"
        raise RuleTableError(
            table.file, key="parcel_rules", found=f"only its name, {table.parcel_rules!r}", needed=needed
        )
    rows = cols.row_count(on=on, **sides)
    found = parcel_columns(rules, on=on, **sides)
    exact = {name: cols.measures(name, value, rows) for name, value in sides.items()}  # type: ignore[arg-type]
    measured = {**_ordered(exact["length_in"], exact["width_in"], exact["height_in"]), "weight": exact["weight_lb"]}
    measured["block"] = cols.blocks(table, on, rows)
    classes = np.full(rows, "medium", dtype=object)
    for number, part, at in cols.by_number(measured, "block"):
        block = table.blocks[number]
        small = np.logical_and.reduce([part[name] <= limit + SNAP for name, limit in block.small_at_most.items()])
        bulky = np.logical_or.reduce([part[name] > limit + SNAP for name, limit in block.bulky_over.items()])
        bulky |= (part["volume"] > block.bulky_space_over + SNAP) & found["space_pays"][at]
        names = dict.fromkeys(e.name for b in rules.blocks for e in b.surcharges if e.group == block.oversize_group)
        large = found["over_maximum"][at].copy()
        for name in names:
            large |= found[name][at]
        classes[at] = np.select([large, bulky, small], ["oversize", "bulky", "small"], default="medium")
    return classes


# What a carrier's rules say of a packed parcel: billable weight, surcharges, size class.


def billable(rules: ParcelRules, *, rates: str = "", **parcels: Unpack[GivenParcels]) -> pd.DataFrame:
    """What a parcel measures and weighs by a carrier's rules, and what it trips.

    Each side is rounded as the block in force says; the volume above the threshold is divided by
    the divisor; the larger of that and the scale weight is billed, or more where a surcharge that
    applies brings a minimum.
    """
    return as_frame(parcel_columns(rules, rates=rates, **parcels), parcels)


# Which surcharges a parcel trips, by which measure, over which threshold and by how much.

_UNITS = {"volume": "cu_{length}", "weight": "{weight}"}


@dataclass(frozen=True)
class Trigger:
    """One threshold that one parcel exceeds."""

    row: int
    surcharge: str
    group: str
    measure: str
    unit: str
    value: float
    threshold: float
    over_by: float
    word: str
    applies: bool
    minimum_billable: float


def parcel_triggers(rules: ParcelRules, **parcels: Unpack[GivenParcels]) -> list[Trigger]:
    """Everything that parcels trip, in the rule set's own units."""
    given = parcel_inputs(**parcels)
    rows = given["length_in"].size
    if parcels.get("zone") is not None:
        given["zone"] = cols.words(parcels["zone"], rows)
    index = cols.blocks(rules, parcels["on"], rows)
    found: list[Trigger] = []
    for number in sorted(set(index.tolist())):
        at = index == number
        part = {name: column[at] for name, column in given.items()}
        places = [place for place, held in enumerate(at.tolist()) if held]
        found += _of_block(rules, rules.blocks[number], part, places)
    return sorted(found, key=lambda trigger: trigger.row)


def _of_block(rules: ParcelRules, block: ParcelBlock, given: cols.Columns, places: list[int]) -> list[Trigger]:
    measured = block_measures(rules, block, given)
    seen = {name.removeprefix("seen_"): values for name, values in measured.items() if name.startswith("seen_")}
    found: list[Trigger] = []
    for extra in block.surcharges:
        holds = condition_holds(extra.when, seen, given, block)
        for at in holds.nonzero()[0].tolist():
            found += _of_surcharge(rules, extra, seen, given, at, places[at], applies=bool(measured[extra.name][at]))
    for measure, limit in block.limits.items():
        for at in (seen[measure] > limit + SNAP).nonzero()[0].tolist():
            over = _over(rules, measure, float(seen[measure][at]), limit)
            common: dict[str, Any] = {"row": places[at], "surcharge": "over_maximum", "group": "over maximum"}
            found.append(Trigger(**common, **over, word="", applies=True, minimum_billable=0.0))
    return found


def _of_surcharge(
    rules: ParcelRules, extra: Surcharge, seen: cols.Columns, given: cols.Columns, at: int, row: int, *, applies: bool
) -> list[Trigger]:
    common: dict[str, Any] = {
        "row": row,
        "surcharge": extra.name,
        "group": extra.group,
        "applies": applies,
        "minimum_billable": extra.minimum_billable,
    }

    def over(bounds: Iterable[tuple[str, float]]) -> list[Trigger]:
        values = ((measure, float(seen[measure][at]), limit) for measure, limit in bounds)
        return [Trigger(**common, word="", **_over(rules, *one)) for one in values]

    nothing: Mapping[str, Any] = {"unit": "", "value": 0.0, "threshold": 0.0, "over_by": 0.0}
    when = extra.when
    sides = zip(LONGEST_FIRST, when.any_over, strict=False)
    found = over([*when.over.items(), *((side, limit) for side, limit in sides if seen[side][at] > limit + SNAP)])
    if when.packaging:
        found.append(Trigger(**common, measure="packaging", word=PACKAGING[int(given["packaging"][at])], **nothing))
    if when.dimensions_entered is False:
        found.append(Trigger(**common, measure="dimensions_entered", word="not entered", **nothing))
    # What trips by being small enough, such as a thin parcel, is under its bound, not over it.
    return found or over(when.at_most.items())


def _over(rules: ParcelRules, measure: str, value: float, limit: float) -> dict[str, Any]:
    unit = _UNITS.get(measure, "{length}").format(length=rules.length_unit, weight=rules.weight_unit)
    return {"measure": measure, "unit": unit, "value": value, "threshold": limit, "over_by": round(value - limit, 6)}
