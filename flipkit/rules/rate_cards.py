"""Prices by zone and weight as cards print them, with declared value and signature."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import PurePosixPath
from typing import Any

import numpy as np
import numpy.typing as npt

from flipkit.errors import MeasureError, MoneyError, RuleTableError
from flipkit.money import PPM, Cents, percentage, read_cents
from flipkit.rules import blocks as cols
from flipkit.rules.blocks import Block, Keys, RuleSet, read_blocks
from flipkit.rules.fees import stepped
from flipkit.units import SNAP

# Tables of prices by weight and zone, as published cards print them.

_PRICE = re.compile(r"\d{1,7}\.\d\d")
_WEIGHT = re.compile(r"(\d+(?:\.\d+)?)\s*(oz|lb|kg)?")


@dataclass(frozen=True, eq=False)
class PriceTable:
    """Prices by weight and zone."""

    zones: tuple[str, ...]
    weights: npt.NDArray[np.float64]
    cents: Cents
    oversized: Cents | None

    @cached_property
    def beyond(self) -> Cents:
        """The prices with a row and a column of -1 beyond them, flat. [cents]"""
        return np.pad(self.cents, ((0, 1), (0, 1)), constant_values=-1).reshape(-1)

    @cached_property
    def reach(self) -> npt.NDArray[np.float64]:
        """The weights with 0 beyond them. [units of weight]"""
        return np.append(self.weights, 0.0)

    def rows(self, weights: npt.NDArray[np.float64]) -> npt.NDArray[np.int64]:
        """The row that each weight pays, the row beyond where it is heavier than all."""
        return np.searchsorted(self.weights, weights - SNAP, side="left").astype(np.int64)


def read_price_table(text: str, *, file: str) -> PriceTable:
    r"""A table of prices from the text of its CSV file.

    >>> table = read_price_table("weight,1,2\n8 oz,4.10,4.20\n1,5.00,\n", file="light.csv")
    >>> table.weights.tolist(), table.cents.tolist()
    ([0.5, 1.0], [[410, 420], [500, -1]])
    """
    rows = list(csv.reader(io.StringIO(text.lstrip("\ufeff"))))
    if not rows or not rows[0] or rows[0][0].strip() != "weight" or len(rows[0]) < 2:
        found = ",".join(rows[0]) if rows else "nothing"
        raise RuleTableError(file, block="line 1", key="header", found=found, needed="weight, then a column a zone")
    zones = tuple(zone.strip() for zone in rows[0][1:])
    if len(set(zones)) != len(zones) or "" in zones:
        raise RuleTableError(file, block="line 1", key="header", found=", ".join(zones), needed="every zone once")
    weights: list[float] = []
    prices: list[list[int]] = []
    oversized: Cents | None = None
    for line, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        place = f"line {line}"
        if len(row) != len(zones) + 1:
            raise RuleTableError(file, block=place, found=f"{len(row)} cells", needed=f"{len(zones) + 1} cells")
        cells = [_cell(cell, file, place, zone) for cell, zone in zip(row[1:], zones, strict=True)]
        if row[0].strip() == "oversized":
            oversized = np.array(cells, dtype=np.int64)
            continue
        match = _WEIGHT.fullmatch(row[0].strip())
        if match is None or float(match[1]) <= 0:
            raise RuleTableError(file, block=place, key="weight", found=row[0], needed="a weight such as 3 or '4 oz'")
        weight = float(match[1]) / (16.0 if match[2] == "oz" else 1.0)
        if weights and weight <= weights[-1]:
            raise RuleTableError(file, block=place, key="weight", found=row[0], needed=f"more than {weights[-1]:g}")
        weights.append(weight)
        prices.append(cells)
    if not weights:
        raise RuleTableError(file, found="no row with a price", needed="at least one row")
    return PriceTable(
        zones=zones, weights=np.array(weights), cents=np.array(prices, dtype=np.int64), oversized=oversized
    )


def _cell(cell: str, file: str, place: str, zone: str) -> int:
    text = cell.strip()
    if _PRICE.fullmatch(text):
        return int(text[:-3]) * 100 + int(text[-2:])
    if text in ("", "-"):
        return -1
    try:
        cents = read_cents(text)
    except MoneyError as problem:
        raise RuleTableError(file, block=place, key=f"zone {zone}", found=cell, needed=str(problem.need)) from None
    if cents < 0:
        raise RuleTableError(file, block=place, key=f"zone {zone}", found=cell, needed="an amount of at least 0.00")
    return cents


# Declared value and signature: what they cost in steps, and when they are worth it.


@dataclass(frozen=True)
class DeclaredValue:
    """What a declared value costs: an amount up to each edge, then so much for every further step or part."""

    edges_cents: tuple[int, ...]
    amounts_cents: tuple[int, ...]
    then_each_cents: int
    then_amount_cents: int
    maximum_cents: int

    @property
    def free_cents(self) -> int:
        """The value that is covered without charge. [cents]"""
        free = 0
        for edge, amount in zip(self.edges_cents, self.amounts_cents, strict=True):
            free = edge if amount == 0 else free
        return free


def read_declared_value(keys: Keys) -> DeclaredValue:
    """Steps of declared value from a table with ``steps``, ``then_each``, ``then_amount`` and ``maximum``."""
    entries = keys.tables("steps")
    edges: list[int] = []
    amounts: list[int] = []
    if not entries:
        keys.fail("steps", "nothing", "at least one step with up_to and amount")
    for entry in entries:
        edge = entry.cents("up_to")
        if edges and edge <= edges[-1]:
            entry.fail("up_to", f"{edge / 100:.2f}", f"more than {edges[-1] / 100:.2f}, the entry before")
        edges.append(edge)
        amounts.append(entry.cents("amount"))
        if len(amounts) > 1 and amounts[-1] < amounts[-2]:
            entry.fail("amount", f"{amounts[-1] / 100:.2f}", f"at least {amounts[-2] / 100:.2f}, the entry before")
        entry.done()
    each = keys.cents("then_each", 0)
    if keys.has("then_each") and not each:
        keys.fail("then_each", "0.00", "an amount above 0.00")
    maximum = keys.cents("maximum") if each else keys.cents("maximum", edges[-1])
    if maximum < edges[-1] or (maximum > edges[-1] and not each):
        keys.fail("maximum", f"{maximum / 100:.2f}", f"the last edge {edges[-1] / 100:.2f}, or then_each above it")
    found = DeclaredValue(
        edges_cents=tuple(edges),
        amounts_cents=tuple(amounts),
        then_each_cents=each,
        then_amount_cents=keys.cents("then_amount") if each else 0,
        maximum_cents=maximum,
    )
    keys.done()
    return found


def declared_value_cents(rule: DeclaredValue, *, declared_cents: npt.ArrayLike) -> Cents:
    """What declaring a value costs."""
    declared = np.asarray(declared_cents, dtype=np.int64)
    amounts = np.array([*rule.amounts_cents, rule.amounts_cents[-1]], dtype=np.int64)
    cost = stepped(amounts, rule.edges_cents, declared)
    if rule.then_each_cents:
        over = np.maximum(declared - rule.edges_cents[-1], 0)
        cost = cost + -(-over // rule.then_each_cents) * rule.then_amount_cents
    cost = np.where(declared > 0, cost, 0)
    return np.where(declared > rule.maximum_cents, -1, cost)


def protection_choices(
    declared_value: DeclaredValue | None,
    signature_cents: Mapping[str, int],
    *,
    value_cents: int,
    damage_ppm: int,
    loss_ppm: int,
    signature_stops_ppm: int,
) -> list[dict[str, Any]]:
    """Ways to protect a parcel, with their cost and the loss still to be expected, the best first.

    A way costs its fee and what it leaves open: the chance of damage or loss times the value that is
    not covered. It is worth its fee when that is below the loss it takes away.

    >>> rule = DeclaredValue((100_00, 300_00), (0, 3_45), 100_00, 1_15, 50_000_00)
    >>> ways = protection_choices(
    ...     rule, {"plain": 3_10}, value_cents=400_00, damage_ppm=15_000, loss_ppm=5_000, signature_stops_ppm=500_000
    ... )
    >>> [(way["protection"], way["cost_cents"]) for way in ways]
    [('declared value', 460), ('none', 600), ('declared value and plain signature', 770), ('plain signature', 835)]
    """
    chances = {"damage_ppm": damage_ppm, "loss_ppm": loss_ppm, "signature_stops_ppm": signature_stops_ppm}
    for name, share in {**chances, "damage_ppm + loss_ppm": damage_ppm + loss_ppm}.items():
        if not 0 <= share <= PPM:
            raise MoneyError(name, need=f"from 0 to {PPM} parts per million", got=share)
    free = min(declared_value.free_cents, value_cents) if declared_value is not None else 0
    covers = [("", 0, free)]
    if declared_value is not None and value_cents > free:
        declared = min(value_cents, declared_value.maximum_cents)
        covers.append(("declared value", int(declared_value_cents(declared_value, declared_cents=declared)), declared))
    ways: list[dict[str, Any]] = []
    for cover, fee, covered in covers:
        for kind, price in (("", 0), *signature_cents.items()):
            stopped = int(percentage(loss_ppm, signature_stops_ppm)) if kind else 0
            loss = int(percentage(value_cents - covered, damage_ppm + loss_ppm - stopped))
            names = [name for name in (cover, f"{kind} signature" if kind else "") if name]
            # What a fee buys, were the chance a certainty: the cover that it adds, or the losses that it stops.
            bought = 0.0
            if cover and not kind:
                bought = float(covered - free)
            elif kind and not cover:
                bought = (value_cents - free) * signature_stops_ppm / PPM
            ways.append(
                {
                    "protection": " and ".join(names) or "none",
                    "fee_cents": fee + price,
                    "covered_cents": covered,
                    "expected_loss_cents": loss,
                    "cost_cents": fee + price + loss,
                    "break_even_chance": (fee + price) / bought if 0 < fee + price <= bought else None,
                }
            )
    bare = ways[0]["cost_cents"]
    for way in ways:
        way["saves_cents"] = bare - way["cost_cents"]
    return sorted(ways, key=lambda way: (way["cost_cents"], way["fee_cents"]))


# Rate cards: prices by weight and zone as published cards look, with what is charged on top, dated.
#
# A card is a TOML file whose services name CSV files beside it. A CSV has the weights in its first column
# (``weight``, in the carrier's unit; ``4 oz`` counts as a quarter of a pound) and a column a zone; an empty cell
# is not offered; a row ``oversized`` has one price a zone whatever the weight.

#: The zone of a thing that its buyer collects: no label.
PICKUP = "pickup"
#: What a fuel percentage can be taken of.
FUEL_ON = ("base", "surcharges", "residential")


@dataclass(frozen=True)
class Extras:
    """What is charged on top of the price in the table."""

    fuel_ppm: int = 0
    fuel_on: tuple[str, ...] = ("base",)
    residential_cents: int = 0
    surcharges: Mapping[str, int | tuple[int, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class Service:
    """One service of a card."""

    name: str
    table: PriceTable
    extras: Extras
    limits: Mapping[str, float] = field(default_factory=dict)
    oversized_over: float = float("inf")


@dataclass(frozen=True)
class CardBlock(Block):
    """One dated block of a rate card."""

    services: tuple[Service, ...]
    signature_cents: Mapping[str, int] = field(default_factory=dict)
    declared_value: DeclaredValue | None = None


@dataclass(frozen=True)
class RateCard(RuleSet[CardBlock]):
    """One carrier's prices, by date."""

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
    """A rate card from the content of its TOML file and the CSV files that it names."""
    held: dict[str, Any] = {}

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
    """Zones as numbers of the card's columns, ``COLLECTED`` or ``UNKNOWN``."""
    zones = card.zones
    need = f"one of {', '.join(zones)}, or {PICKUP}"
    codes, others = cols.codes(zone, rows, (*zones, PICKUP))
    codes = np.where(codes < 0, UNKNOWN, np.where(codes == len(zones), COLLECTED, codes))
    if others:
        raise MeasureError("zone", need=need, got=others[0], where=card.title)
    if not missing and (codes == UNKNOWN).any():
        row = int(np.argmax(codes == UNKNOWN))
        where = f"{card.title}, row {row + 1}"
        raise MeasureError("zone", need=need, got="nothing", where=where, mend="or give a mix of zones")
    return codes
