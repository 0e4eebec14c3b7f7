"""Parcel rules: how a carrier measures, weighs and surcharges, as dated blocks read from TOML.

A block has these tables::

    [block.dimensional]   sides, side_step, volume_over, volume_step, divisor, divisor_for,
                          weight_step, nonrectangular_factor, cap, zones
    [block.scale]         weight_step
    [block.limits]        longest, length_plus_girth, weight: more is over the maximum
    [block.entry]         dimensions_required
    [[block.surcharge]]   name, group, when, minimum_billable, one_of_group, excludes
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from flipkit.rules.blocks import Keys, read_blocks
from flipkit.rules.dated import Block, RuleSet

#: How a side becomes a whole unit.
SIDES = ("nearest", "up", "down", "as measured")
#: Words for how a thing is wrapped, beside a plain carton.
PACKAGING = ("box", "not in corrugated", "cylinder", "soft pack", "shrink wrap", "wheels or straps")
#: What a surcharge can be triggered by: over a threshold, in the units of the rule set.
MEASURES = ("longest", "second", "shortest", "length_plus_girth", "volume", "weight")


@dataclass(frozen=True)
class Dimensional:
    """How the space of a parcel becomes a weight.

    Parameters
    ----------
    sides : str
        One of ``SIDES``.
    side_step : float
        What sides are rounded to, usually the whole unit. [units of length]
    volume_step : float
        What the volume is rounded to, to the nearest; 0 for not at all. [cubic units of length]
    volume_over : float
        Volume up to which, itself included, space weighs nothing. [cubic units of length]
    divisor : float
        Volume per unit of weight. [cubic units of length per unit of weight]
    divisor_for : mapping
        Divisors that go with other kinds of rates, by the name of the kind.
    weight_step : float
        Any part of a step counts as a whole one. [units of weight]
    nonrectangular_factor : float
        Share of its box that a thing which is no box fills.
    cap : float
        Most that a dimensional weight comes to. [units of weight]
    zones : tuple of str
        Zones in which space is weighed; empty for all.
    """

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
    """What must hold for a surcharge, all of it.

    Parameters
    ----------
    over : mapping
        Measures of ``MEASURES`` that must exceed a threshold.
    at_most : mapping
        Measures that must not exceed a threshold.
    packaging : tuple of str
        Words of ``PACKAGING`` of which one must fit; empty for any.
    zones : tuple of str
        Zones of which one must fit; empty for any.
    dimensions_entered : bool or None
        Whether the sender must have entered the dimensions or not; None where it does not matter.
    any_over : tuple of float
        Longest, second and shortest side, of which one must be exceeded; empty where it does not matter.
    """

    over: Mapping[str, float]
    at_most: Mapping[str, float]
    packaging: tuple[str, ...] = ()
    zones: tuple[str, ...] = ()
    dimensions_entered: bool | None = None
    any_over: tuple[float, ...] = ()


@dataclass(frozen=True)
class Surcharge:
    """One thing that costs extra.

    Parameters
    ----------
    name : str
        Its name, by which rate cards price it.
    group : str
        What it belongs to.
    when : Condition
        What triggers it.
    minimum_billable : float
        Weight that is billed at least. [units of weight]
    sources : tuple of str
        Keys of the sources, where they differ from the block's.
    seen : str
        How its figure was come by, where that differs from the block's.
    """

    name: str
    group: str
    when: Condition
    minimum_billable: float
    sources: tuple[str, ...]
    seen: str


@dataclass(frozen=True)
class ParcelBlock(Block):
    """One dated block of a parcel rule set.

    Parameters
    ----------
    dimensional : Dimensional
        How space becomes weight.
    scale_step : float
        Any part of a step on the scale counts as a whole one. [units of weight]
    trigger_sides : str
        Whether triggers meet the sides "as rounded" or "as measured".
    limits : mapping
        Measures that nothing may exceed.
    dimensions_required : str
        Of which parcels the sender must state the dimensions, in words.
    surcharges : tuple of Surcharge
        What costs extra.
    one_of : tuple of str
        Groups of which a parcel pays for one at most, the dearest.
    excludes : mapping
        Groups that drop other groups.
    """

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
    """How one carrier measures, weighs and surcharges, by date.

    Parameters
    ----------
    metric : bool
        Whether its units are centimetres and kilograms; else inches and pounds.
    """

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
    """A parcel rule set from the content of its TOML file.

    Parameters
    ----------
    data : mapping
        What ``tomllib`` made of the file.
    file : str
        The file's name in errors.

    Returns
    -------
    ParcelRules
        The rule set.

    Raises
    ------
    RuleTableError
        If anything in it is missing, unknown, out of range or contradicts itself.
    """
    metric = [False]

    def header(top: Keys) -> None:
        metric[0] = top.text("units", among=("in, lb", "cm, kg")) == "cm, kg"

    name, blocks = read_blocks(data, file=file, kind="parcel rules", make=_block, header=header)
    return ParcelRules(kind="parcel rules", name=name, file=file, blocks=blocks, metric=metric[0])


def _block(keys: Keys, common: dict[str, Any]) -> ParcelBlock:
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
    return ParcelBlock(
        **common,
        dimensional=_dimensional(keys),
        scale_step=step,
        trigger_sides=keys.text("trigger_sides", among=("as rounded", "as measured")),
        limits=_measures(keys.table("limits")),
        dimensions_required=required,
        surcharges=surcharges,
        one_of=keys.texts("one_of", (), among=known),
        excludes=dropped,
    )


def _dimensional(keys: Keys) -> Dimensional:
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


def _measures(table: Keys | None) -> dict[str, float]:
    if table is None:
        return {}
    found = {name: table.number(name, above=0) for name in MEASURES if table.has(name)}
    table.done()
    return found


def _surcharge(keys: Keys, common: dict[str, Any]) -> Surcharge:
    name = keys.text("name")
    if not name.isidentifier():
        keys.fail("name", name, "a name of letters, digits and _ that can head a column")
    when = keys.table("when") or keys.fail("when", "nothing", "a table with at least one condition")
    over = {measure: when.number(f"{measure}_over") for measure in MEASURES if when.has(f"{measure}_over")}
    at_most = {measure: when.number(f"{measure}_at_most") for measure in MEASURES if when.has(f"{measure}_at_most")}
    any_over: tuple[float, ...] = ()
    if when.has("any_side_over"):
        table = when.table("any_side_over")
        if table is not None:
            any_over = tuple(table.number(side, above=0) for side in ("longest", "second", "shortest"))
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
