"""Cartons, sheets, cushioning and tape that the seller has, read from a file."""

from __future__ import annotations

import importlib.resources
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from flipkit.errors import MeasureError
from flipkit.rules.blocks import Keys, read_toml
from flipkit.units import read_length, read_weight

# What the seller has at hand to pack with: cartons, sheets, tubes, bags, cushioning, fill, tape, wrap.


@dataclass(frozen=True)
class Carton:
    """A regular slotted carton, new or used."""

    name: str
    length_in: float
    width_in: float
    height_in: float
    flute: str
    grade: str
    cost_cents: int
    quantity: int = 1
    used: bool = False


@dataclass(frozen=True)
class Sheet:
    """A flat sheet of board; flutes run along its width, the second measure, as the trade writes them."""

    name: str
    length_in: float
    width_in: float
    flute: str
    grade: str
    cost_cents: int
    quantity: int = 1
    scores_in: tuple[float, ...] = ()


@dataclass(frozen=True)
class Tube:
    """A round mailing tube."""

    name: str
    inside_in: float
    length_in: float
    wall_in: float
    cost_cents: int
    most_lb: float
    lb_per_ft: float
    quantity: int = 1


@dataclass(frozen=True)
class Bag:
    """A padded bag."""

    name: str
    width_in: float
    length_in: float
    pad_in: float
    cost_cents: int
    most_lb: float
    weight_lb: float
    quantity: int = 1


@dataclass(frozen=True)
class Cushion:
    """Cushioning on a roll or in plates."""

    name: str
    material: str
    thickness_in: float
    form: str
    cents_per_sqft: float  # [cents/sq ft]
    area_sqft: float | None = None  # [sq ft]


@dataclass(frozen=True)
class Fill:
    """What fills the hollows: crumpled paper, loose fill."""

    name: str
    cents_per_cuft: float  # [cents/cu ft]
    lb_per_cuft: float  # [lb/cu ft]
    volume_cuft: float | None = None  # [cu ft]


@dataclass(frozen=True)
class Tape:
    """Closing tape."""

    name: str
    cents_per_m: float  # [cents/m]


@dataclass(frozen=True)
class StretchWrap:
    """Stretch film that holds things together."""

    name: str
    cents_per_sqft: float  # [cents/sq ft]


@dataclass(frozen=True)
class Stock:
    """Everything at hand."""

    cartons: tuple[Carton, ...] = ()
    sheets: tuple[Sheet, ...] = ()
    tubes: tuple[Tube, ...] = ()
    bags: tuple[Bag, ...] = ()
    cushions: tuple[Cushion, ...] = ()
    fill: Fill | None = None
    tape: Tape | None = None
    stretch: StretchWrap | None = None
    flatten: bool = True

    def only(self, keep: Callable[[Cushion], bool]) -> Stock:
        """The same stock with only some of its cushioning."""
        return replace(self, cushions=tuple(cushion for cushion in self.cushions if keep(cushion)))


def flattened(carton: Carton) -> tuple[Sheet, ...]:
    """What a carton gives when it is opened at its joint and laid flat.

    The slots between the flaps cut a blank in two there, so two ways to cut it up are offered, of
    which only one can be used: its body, all four panels in one with three old scores; or its
    panels one by one, each with its own two flaps. Whichever is cut, the whole carton is paid for.

    >>> box = Carton("22 x 16 x 12", 22, 16, 12, flute="C", grade="32 ECT", cost_cents=0)
    >>> [(one.length_in, one.width_in, one.scores_in) for one in flattened(box)]
    [(76, 12, (22, 38, 60)), (22, 28, ()), (16, 28, ())]
    """
    long, wide, deep = carton.length_in, carton.width_in, carton.height_in

    def piece(word: str, length_in: float, width_in: float, pieces: int, scores: tuple[float, ...] = ()) -> Sheet:
        return Sheet(
            f"{word} of {carton.name}",
            length_in,
            width_in,
            carton.flute,
            carton.grade,
            carton.cost_cents,
            pieces * carton.quantity,
            scores,
        )

    tall = deep + wide  # two flaps of half the width each
    return (
        piece("body", 2 * (long + wide), deep, 1, (long, long + wide, 2 * long + wide)),
        piece("side panel", long, tall, 2),
        piece("end panel", wide, tall, 2),
    )


# The seller's packing stock from a TOML file: sizes with units, money as written, nothing unknown let pass.

T = TypeVar("T")
_BY = re.compile(r"\s*[x×*]\s*", re.I)


def read_stock(file: Path, *, supply_costs: Mapping[str, float] | None = None) -> Stock:
    """Read what is at hand to pack with.

    Every entry has a ``name``. Sizes are texts such as ``22 x 16 x 12 in``. What a thing costs is
    its ``cost``, or the cost a unit of the ``supply`` that the books name. Cushioning, fill, tape
    and film say beside it how much that buys: ``covers_sqft``, ``fills_cuft`` or ``metres``.
    """
    top = Keys(read_toml(file, shown=file.name), file=file.name)
    costs = supply_costs or {}
    stock = Stock(
        cartons=_each(top, "carton", lambda keys: _carton(keys, costs)),
        sheets=_each(top, "sheet", lambda keys: _sheet(keys, costs)),
        tubes=_each(top, "tube", lambda keys: _tube(keys, costs)),
        bags=_each(top, "bag", lambda keys: _bag(keys, costs)),
        cushions=_each(top, "cushion", lambda keys: _cushion(keys, costs)),
        fill=_one(top, "fill", lambda keys: _fill(keys, costs)),
        tape=_one(top, "tape", lambda keys: Tape(keys.text("name"), _per(keys, "metres", costs))),
        stretch=_one(top, "stretch", lambda keys: StretchWrap(keys.text("name"), _per(keys, "covers_sqft", costs))),
        flatten=top.flag("flatten", True),
    )
    top.done()
    return stock


def starter_stock() -> Stock:
    """An invented packing corner to start from, where the seller has written none.

    >>> [carton.name for carton in starter_stock().cartons][:3]
    ['small cube', 'medium', 'cube']
    """
    with importlib.resources.as_file(importlib.resources.files("flipkit.packing") / "starter_stock.toml") as file:
        return read_stock(file)


def _each(top: Keys, name: str, make: Callable[[Keys], T]) -> tuple[T, ...]:
    found = []
    for keys in top.tables(name):
        found.append(make(keys))
        keys.done()
    return tuple(found)


def _one(top: Keys, name: str, make: Callable[[Keys], T]) -> T | None:
    keys = top.table(name)
    if keys is None:
        return None
    found = make(keys)
    keys.done()
    return found


def _length(keys: Keys, key: str) -> float:
    text = keys.text(key)
    try:
        value = read_length(text, name=key)
    except MeasureError as problem:
        keys.fail(key, text, problem.need)
    if value <= 0:
        keys.fail(key, text, "a length above 0")
    return value


def _weight(keys: Keys, key: str) -> float:
    text = keys.text(key)
    try:
        return read_weight(text, name=key)
    except MeasureError as problem:
        keys.fail(key, text, problem.need)


def _size(keys: Keys, key: str, sides: int) -> tuple[float, ...]:
    text = keys.text(key)
    parts = _BY.split(text.strip())
    unit = re.sub(r"^[\d.\s/-]+", "", parts[-1]).strip() or "in"
    needed = " x ".join(["22", "16", "12"][:sides]) + " in"
    if len(parts) != sides:
        keys.fail(key, text, f"{sides} sides such as {needed!r}")
    try:
        found = tuple(read_length(part, unit=unit, name=key) for part in parts)
    except MeasureError:
        keys.fail(key, text, f"{sides} sides such as {needed!r}")
    if min(found) <= 0:
        keys.fail(key, text, "sides above 0")
    return found


def _price(keys: Keys, costs: Mapping[str, float]) -> float:
    """Cost of a unit, as written or from the books' supplies. [cents]"""
    if keys.has("supply"):
        supply = keys.text("supply")
        if supply not in costs:
            keys.fail("supply", supply, f"a supply in the books ({', '.join(costs) or 'none is there'})")
        return float(costs[supply])
    return float(keys.cents("cost"))


def _per(keys: Keys, amount: str, costs: Mapping[str, float]) -> float:
    return _price(keys, costs) / float(keys.number(amount, above=0.0))


def _whole(keys: Keys, costs: Mapping[str, float]) -> int:
    return int(_price(keys, costs) + 0.5)


def _carton(keys: Keys, costs: Mapping[str, float]) -> Carton:
    length, width, height = _size(keys, "inside", 3)
    return Carton(
        keys.text("name"),
        length,
        width,
        height,
        flute=keys.text("flute"),
        grade=keys.text("grade") if keys.has("grade") else "",
        cost_cents=_whole(keys, costs),
        quantity=keys.whole("quantity", 1),
        used=keys.flag("used", False),
    )


def _sheet(keys: Keys, costs: Mapping[str, float]) -> Sheet:
    length, width = _size(keys, "size", 2)
    return Sheet(
        keys.text("name"),
        length,
        width,
        flute=keys.text("flute"),
        grade=keys.text("grade") if keys.has("grade") else "",
        cost_cents=_whole(keys, costs),
        quantity=keys.whole("quantity", 1),
    )


def _tube(keys: Keys, costs: Mapping[str, float]) -> Tube:
    return Tube(
        keys.text("name"),
        inside_in=_length(keys, "inside"),
        length_in=_length(keys, "length"),
        wall_in=_length(keys, "wall"),
        cost_cents=_whole(keys, costs),
        most_lb=_weight(keys, "most"),
        lb_per_ft=keys.number("lb_per_ft"),
        quantity=keys.whole("quantity", 1),
    )


def _bag(keys: Keys, costs: Mapping[str, float]) -> Bag:
    width, length = _size(keys, "size", 2)
    return Bag(
        keys.text("name"),
        width,
        length,
        pad_in=_length(keys, "pad"),
        cost_cents=_whole(keys, costs),
        most_lb=_weight(keys, "most"),
        weight_lb=_weight(keys, "weight"),
        quantity=keys.whole("quantity", 1),
    )


def _cushion(keys: Keys, costs: Mapping[str, float]) -> Cushion:
    return Cushion(
        keys.text("name"),
        material=keys.text("material"),
        thickness_in=_length(keys, "thickness"),
        form=keys.text("form", among=("wrap", "plate")),
        cents_per_sqft=_per(keys, "covers_sqft", costs),
        area_sqft=keys.number("left_sqft", None),
    )


def _fill(keys: Keys, costs: Mapping[str, float]) -> Fill:
    return Fill(
        keys.text("name"),
        cents_per_cuft=_per(keys, "fills_cuft", costs),
        lb_per_cuft=keys.number("lb_per_cuft"),
        volume_cuft=keys.number("left_cuft", None),
    )
