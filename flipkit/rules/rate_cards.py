"""Rate cards: prices by weight and zone as published cards look, with what is charged on top, dated.

A card is a TOML file whose services name CSV files beside it. A CSV has the weights in its first
column (``weight``, in the carrier's unit; ``4 oz`` counts as a quarter of a pound) and a column a
zone; an empty cell is not offered; a row ``oversized`` has one price a zone whatever the weight.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import PurePosixPath
from typing import Any

import numpy as np
import numpy.typing as npt

from flipkit.errors import MeasureError
from flipkit.rules import columns as cols
from flipkit.rules.blocks import Keys, read_blocks
from flipkit.rules.dated import Block, RuleSet
from flipkit.rules.price_tables import PriceTable, read_price_table
from flipkit.rules.protection import DeclaredValue, read_declared_value

#: The zone of a thing that its buyer collects: no label.
PICKUP = "pickup"
#: What a fuel percentage can be taken of.
FUEL_ON = ("base", "surcharges", "residential")


@dataclass(frozen=True)
class Extras:
    """What is charged on top of the price in the table.

    Parameters
    ----------
    fuel_ppm : int
        Fuel percentage. [parts per million]
    fuel_on : tuple of str
        Which of ``FUEL_ON`` it is taken of.
    residential_cents : int
        For an address where people live. [cents]
    surcharges : mapping
        Price of each surcharge, one or one a zone. [cents]
    """

    fuel_ppm: int = 0
    fuel_on: tuple[str, ...] = ("base",)
    residential_cents: int = 0
    surcharges: Mapping[str, int | tuple[int, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class Service:
    """One service of a card.

    Parameters
    ----------
    name : str
        Its name.
    table : PriceTable
        Its prices.
    extras : Extras
        What it charges on top.
    limits : mapping
        Measures that it does not take more of: ``longest``, ``length_plus_girth``, ``weight``.
    oversized_over : float
        Length plus girth above which the oversized price holds. [units of length]
    """

    name: str
    table: PriceTable
    extras: Extras
    limits: Mapping[str, float] = field(default_factory=dict)
    oversized_over: float = float("inf")


@dataclass(frozen=True)
class CardBlock(Block):
    """One dated block of a rate card.

    Parameters
    ----------
    services : tuple of Service
        What is offered.
    signature_cents : mapping
        Price of each kind of signature. [cents]
    declared_value : DeclaredValue or None
        What declaring a value costs; None where it cannot be declared.
    """

    services: tuple[Service, ...]
    signature_cents: Mapping[str, int] = field(default_factory=dict)
    declared_value: DeclaredValue | None = None


@dataclass(frozen=True)
class RateCard(RuleSet[CardBlock]):
    """One carrier's prices, by date.

    Parameters
    ----------
    parcel_rules : str
        Name of the parcel rule set that it goes with.
    rates : str
        Which kind of rates it holds, where the rule set has divisors for several.
    """

    parcel_rules: str = ""
    rates: str = ""

    @cached_property
    def zones(self) -> tuple[str, ...]:
        """Every zone of every block, in order of appearance."""
        return tuple(dict.fromkeys(zone for block in self.blocks for zone in block.services[0].table.zones))

    @cached_property
    def service_names(self) -> tuple[str, ...]:
        """Every service of every block, in order of appearance."""
        return tuple(dict.fromkeys(service.name for block in self.blocks for service in block.services))


def read_rate_card(data: Mapping[str, Any], *, file: str, open_table: Callable[[str], str]) -> RateCard:
    """A rate card from the content of its TOML file and the CSV files that it names.

    Parameters
    ----------
    data : mapping
        What ``tomllib`` made of the file.
    file : str
        The file's name in errors.
    open_table : callable
        Gives the text of a CSV file by its name, or raises OSError.

    Returns
    -------
    RateCard
        The card.

    Raises
    ------
    RuleTableError
        If anything in it is missing, unknown, out of range or contradicts itself.
    """
    held: dict[str, str] = {}

    def header(top: Keys) -> None:
        held["parcel_rules"] = top.text("parcel_rules")
        held["rates"] = top.text("rates", "")

    def make(keys: Keys, common: dict[str, Any]) -> CardBlock:
        return _block(keys, common, open_table)

    name, blocks = read_blocks(data, file=file, kind="rate card", make=make, header=header)
    return RateCard(kind="rate card", name=name, file=file, blocks=blocks, **held)


def _block(keys: Keys, common: dict[str, Any], open_table: Callable[[str], str]) -> CardBlock:
    extras_table = (keys.ppm("fuel", 0), keys.texts("fuel_on", ("base",), among=FUEL_ON), keys.cents("residential", 0))
    priced = keys.table("surcharges")
    entries = keys.tables("service")
    if not entries:
        keys.fail("service", "nothing", "at least one [[block.service]] with name and table")
    services: list[Service] = []
    for entry in entries:
        name = entry.text("name")
        if name in (service.name for service in services):
            entry.fail("name", name, "a name that no other service of the block has")
        table = _table(entry, open_table)
        if services and table.zones != services[0].table.zones:
            entry.fail(
                "table",
                ", ".join(table.zones),
                f"the zones of the other services ({', '.join(services[0].table.zones)})",
            )
        surcharges = dict(_prices(priced, table.zones))
        surcharges.update(_prices(entry.table("surcharges"), table.zones))
        extras = Extras(
            fuel_ppm=entry.ppm("fuel", extras_table[0]),
            fuel_on=entry.texts("fuel_on", extras_table[1], among=FUEL_ON),
            residential_cents=entry.cents("residential", extras_table[2]),
            surcharges=surcharges,
        )
        limits = {
            measure: entry.number(f"max_{measure}", above=0)
            for measure in ("longest", "length_plus_girth", "weight")
            if entry.has(f"max_{measure}")
        }
        oversized = entry.number("oversized_over_length_plus_girth", float("inf"), above=0)
        if (oversized < float("inf")) != (table.oversized is not None):
            entry.fail(
                "oversized_over_length_plus_girth",
                "one of the two",
                "both the key and a row 'oversized' in the table, or neither",
            )
        entry.done()
        services.append(Service(name=name, table=table, extras=extras, limits=limits, oversized_over=oversized))
    signature = keys.table("signature")
    kinds = {name: signature.cents(name) for name in signature.names()} if signature else {}
    declared = keys.table("declared_value")
    return CardBlock(
        **common,
        services=tuple(services),
        signature_cents=kinds,
        declared_value=read_declared_value(declared) if declared else None,
    )


def _prices(keys: Keys | None, zones: tuple[str, ...]) -> dict[str, int | tuple[int, ...]]:
    found: dict[str, int | tuple[int, ...]] = {}
    if keys is None:
        return found
    for name in keys.all_names():
        value = keys.value(name)
        if isinstance(value, list):
            if len(value) != len(zones):
                keys.fail(name, value, f"one price, or {len(zones)} of them, one a zone")
            found[name] = tuple(keys.as_cents(name, item) for item in value)
        else:
            found[name] = keys.as_cents(name, value)
    return found


def _table(keys: Keys, open_table: Callable[[str], str]) -> PriceTable:
    name = keys.text("table")
    try:
        text = open_table(name)
    except OSError:
        keys.fail("table", name, "a CSV file beside the card")
    return read_price_table(text, file=str(PurePosixPath(keys.file).parent / name))


#: Numbers of a zone that is no column of the card: what the buyer collects, and a zone that is not known.
COLLECTED, UNKNOWN = -1, -2


def zone_codes(card: RateCard, zone: object, rows: int, *, missing: bool = False) -> npt.NDArray[np.int64]:
    """Zones as numbers of the card's columns, ``COLLECTED`` or ``UNKNOWN``.

    Parameters
    ----------
    card : RateCard
        The card, for errors.
    zone : str, int or array, shape (n,)
        The zones.
    rows : int
        How many rows are wanted.
    missing : bool
        Whether a zone may be missing.

    Returns
    -------
    array, shape (rows,)
        Index into ``card.zones``, int64.

    Raises
    ------
    MeasureError
        If a zone is none of the card's, or is missing where it may not be.
    """
    zones = card.zones
    need = f"one of {', '.join(zones)}, or {PICKUP}"
    given = zone if hasattr(getattr(zone, "array", zone), "categories") else np.asarray(zone)
    strange: object = None
    if isinstance(given, np.ndarray) and given.dtype.kind in "iu" and all(name.isdigit() for name in zones):
        # Whole numbers need no look-up of words: a table by the number itself, its ends for what is no zone.
        table = np.full(max(int(name) for name in zones) + 3, UNKNOWN - 1, dtype=np.int64)
        table[1] = UNKNOWN
        for code, name in enumerate(zones):
            table[int(name) + 1] = code
        codes = table[np.clip(given + 1, 0, table.size - 1)]
        if (codes == UNKNOWN - 1).any():
            strange = np.atleast_1d(given)[int(np.argmax(np.atleast_1d(codes) == UNKNOWN - 1))]
    else:
        codes, others = cols.codes(zone, rows, (*zones, PICKUP))
        codes = np.where(codes < 0, UNKNOWN, np.where(codes == len(zones), COLLECTED, codes))
        strange = others[0] if others else None
    if strange is not None:
        raise MeasureError("zone", need=need, got=str(strange), where=card.title)
    if not missing and (codes == UNKNOWN).any():
        row = int(np.argmax(np.atleast_1d(codes) == UNKNOWN))
        where = f"{card.title}, row {row + 1}"
        raise MeasureError("zone", need=need, got="nothing", where=where, mend="or give a mix of zones")
    return codes if codes.shape == (rows,) else np.broadcast_to(codes, (rows,))
