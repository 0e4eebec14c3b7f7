"""The seller's packing stock from a TOML file: sizes with units, money as written, nothing unknown let pass."""

from __future__ import annotations

import importlib.resources
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TypeVar

from flipkit.errors import MeasureError
from flipkit.packing.at_hand import Bag, Carton, Cushion, Fill, Sheet, Stock, StretchWrap, Tape, Tube
from flipkit.rules.blocks import Keys, read_toml
from flipkit.units import read_length, read_weight

T = TypeVar("T")
_BY = re.compile(r"\s*[x×*]\s*", re.I)


def read_stock(file: Path, *, supply_costs: Mapping[str, float] | None = None) -> Stock:
    """Read what is at hand to pack with.

    Every entry has a ``name``. Sizes are texts such as ``22 x 16 x 12 in``. What a thing costs is
    its ``cost``, or the cost a unit of the ``supply`` that the books name. Cushioning, fill, tape
    and film say beside it how much that buys: ``covers_sqft``, ``fills_cuft`` or ``metres``.

    Parameters
    ----------
    file : Path
        The TOML file, with ``[[carton]]``, ``[[sheet]]``, ``[[tube]]``, ``[[bag]]``,
        ``[[cushion]]``, ``[fill]``, ``[tape]``, ``[stretch]`` and ``flatten``.
    supply_costs : mapping, optional
        Supply to its cost a unit, from :func:`flipkit.items.supplies.unit_costs`. [cents]

    Returns
    -------
    Stock
        Everything at hand.

    Raises
    ------
    RuleTableError
        If a key is missing, unknown or unreadable; the message names the file, the entry, the key,
        what was found and what is needed.
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

    Returns
    -------
    Stock
        From ``starter_stock.toml`` in the package; sizes and prices are nobody's.

    Examples
    --------
    >>> [carton.name for carton in starter_stock().cartons][:3]
    ['small cube', 'medium', 'cube']
    """
    with importlib.resources.as_file(importlib.resources.files("flipkit.items") / "starter_stock.toml") as file:
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
