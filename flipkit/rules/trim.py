"""What trimming a parcel would save: every breakpoint within reach, the dearest inch first."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from flipkit.errors import MeasureError
from flipkit.rules.measuring import OWN_UNITS, parcel_columns
from flipkit.rules.parcel_rules import ParcelBlock, ParcelRules
from flipkit.rules.postage import label_columns
from flipkit.rules.rate_cards import RateCard
from flipkit.units import SNAP

if TYPE_CHECKING:
    import pandas as pd

SIDES = ("length", "width", "height")
#: How far under a bound that must not be reached a side is cut: what a tape measure can still tell.
_UNDER = 0.01


@dataclass(frozen=True)
class Trim:
    """One way to make a parcel smaller or lighter, and what it saves.

    Parameters
    ----------
    what : str
        ``length``, ``width``, ``height``, several of them, or ``weight``.
    length_in, width_in, height_in, weight_lb : float
        The parcel afterwards. [in], [lb]
    by_in : float
        How much comes off, all sides together; 0 for a weight. [in]
    by_lb : float
        How much comes off; 0 for a side. [lb]
    saves_cents : int
        What the label then costs less. [cents]
    total_cents : int
        What it then costs. [cents]
    cents_per_in : float
        Saving by inch; 0 for a weight. [cents per inch]
    cents_per_lb : float
        Saving by pound; 0 for a side. [cents per pound]
    service : str
        The service that is then the cheapest.
    why : str
        What is crossed, in words.
    """

    what: str
    length_in: float
    width_in: float
    height_in: float
    weight_lb: float
    by_in: float
    by_lb: float
    saves_cents: int
    total_cents: int
    cents_per_in: float
    cents_per_lb: float
    service: str
    why: str


def trim_advice(
    card: RateCard,
    parcel_rules: ParcelRules,
    *,
    on: dt.date,
    zone: str | int | None,
    length_in: float,
    width_in: float,
    height_in: float,
    weight_lb: float,
    reach_in: float,
    reach_lb: float,
    residential: bool = True,
    service: str | None = None,
    packaging: str = "box",
    nonrectangular: bool = False,
    zone_mix: Mapping[str, float] | None = None,
) -> list[Trim]:
    """Every breakpoint within reach of one parcel, and what crossing it saves.

    Parameters
    ----------
    card : RateCard
        The carrier's prices.
    parcel_rules : ParcelRules
        The rule set that the card goes with.
    on : datetime.date
        Day of posting.
    zone : str, int or None
        Zone as the card's columns; None for a mix of zones.
    length_in, width_in, height_in : float
        Outside of the packed parcel, in any order. [in]
    weight_lb : float
        What the scale says. [lb]
    reach_in : float
        The most that may come off a side. [in]
    reach_lb : float
        The most that may come off the weight. [lb]
    residential : bool
        Whether people live at the address.
    service : str, optional
        The service; without it the cheapest, before and after.
    packaging, nonrectangular : see below
        As in ``parcels.billable``.
    zone_mix : mapping, optional
        Weight of each zone, where the zone is not known.

    Returns
    -------
    list of Trim
        Sides first, by money per inch; then weights, by money per pound. Every breakpoint of each side by itself,
        and of several sides together those that save more than any way that takes off as much or less.

    Raises
    ------
    RuleNotInForceError
        If the day has no block.
    MeasureError
        If the parcel is refused as it is, or a measure is not a finite number above zero.
    """
    at: dict[str, Any] = {"on": on, "zone": zone, "packaging": packaging, "nonrectangular": nonrectangular}
    priced: dict[str, Any] = {**at, "residential": residential, "service": service, "zone_mix": zone_mix}
    start: dict[str, Any] = {
        "length_in": length_in,
        "width_in": width_in,
        "height_in": height_in,
        "weight_lb": weight_lb,
    }
    now = label_columns(card, parcel_rules, **start, **priced)
    if now["refused"][0]:
        raise MeasureError("parcel", need="one that the card takes", got=str(now["refused"][0]), where=card.title)
    block = parcel_rules.at(on)
    sides = (float(length_in), float(width_in), float(height_in))
    bounds = _bounds(block, card, on)
    cuts = [_side_cuts(parcel_rules, block, sides, place, reach_in, bounds) for place in range(3)]
    kept_or_cut = ([side, *shorter] for side, shorter in zip(sides, cuts, strict=True))
    tried = [(*shape, float(weight_lb)) for shape in itertools.product(*kept_or_cut)]
    tried += [(*sides, weight) for weight in _weight_cuts(card, parcel_rules, block, on, weight_lb, reach_lb)]
    shapes = np.array(tried)
    measures = dict(zip(("length_in", "width_in", "height_in", "weight_lb"), shapes.T, strict=True))
    labels = label_columns(card, parcel_rules, **measures, **priced)
    saved = int(now["total_cents"][0]) - labels["total_cents"]
    saved[labels["refused"] != ""] = 0
    off_in = np.round(sum(sides) - shapes[:, :3].sum(axis=1), 6)
    off_lb = np.round(weight_lb - shapes[:, 3], 6)
    cut = shapes[:, :3] != np.array(sides)
    kept = _best(saved, off_lb, shapes[:, 3:], (weight_lb,)) + _best(saved, off_in, shapes[:, :3], sides)
    for place in range(3):
        # Each side by itself too: the seller may have only one that gives.
        alone = np.where(cut[:, place] & (cut.sum(axis=1) == 1), saved, 0)
        kept += _best(alone, off_in, shapes[:, :3], sides)
    kept = list(dict.fromkeys(kept))
    flags = _flags(parcel_rules, measures, at, kept)
    before = _flags(parcel_rules, {name: np.array([value]) for name, value in start.items()}, at, [0])[0]
    found = [
        Trim(
            what="weight" if off_lb[row] else " and ".join(itertools.compress(SIDES, cut[row])),
            length_in=float(shapes[row, 0]),
            width_in=float(shapes[row, 1]),
            height_in=float(shapes[row, 2]),
            weight_lb=float(shapes[row, 3]),
            by_in=float(off_in[row]),
            by_lb=float(off_lb[row]),
            saves_cents=int(saved[row]),
            total_cents=int(labels["total_cents"][row]),
            cents_per_in=float(saved[row] / off_in[row]) if off_in[row] else 0.0,
            cents_per_lb=float(saved[row] / off_lb[row]) if off_lb[row] else 0.0,
            service=str(labels["service"][row]),
            why=_why(now, labels, row, before, after),
        )
        for row, after in zip(kept, flags, strict=True)
    ]
    return sorted(found, key=_rank)


def _rank(trim: Trim) -> tuple[bool, float, float, float, list[bool]]:
    """Sides before weights, the dearest inch or pound first, the smaller cut first, sides in their order."""
    untouched = [side not in trim.what for side in SIDES]
    return trim.by_in == 0, -trim.cents_per_in, -trim.cents_per_lb, trim.by_in, untouched


def _bounds(block: ParcelBlock, card: RateCard, on: dt.date) -> list[tuple[str, float]]:
    """Every measure that must not be exceeded: triggers, limits of the carrier and of each service, oversized."""
    found = [bound for extra in block.surcharges for bound in extra.when.over.items()]
    for extra in block.surcharges:
        found += zip(("longest", "second", "shortest"), extra.when.any_over, strict=False)
    found += block.limits.items()
    for service in card.at(on).services:
        found += service.limits.items()
        found.append(("length_plus_girth", service.oversized_over))
    return list(dict.fromkeys(found))


def _side_cuts(
    rules: ParcelRules,
    block: ParcelBlock,
    sides: tuple[float, ...],
    place: int,
    reach_in: float,
    thresholds: list[tuple[str, float]],
) -> list[float]:
    """Shorter lengths of one side at which a rule changes, the other sides as they are. [in]"""
    own = OWN_UNITS[rules.metric][0]
    side = sides[place] * own
    others = [other * own for number, other in enumerate(sides) if number != place]
    bounds: set[float] = set()
    space = block.dimensional
    step = space.side_step
    if space.sides != "as measured":
        for whole in np.arange(np.floor((side - reach_in * own) / step) * step, side + step, step):
            bound = {"up": whole, "nearest": whole + step / 2 - _UNDER, "down": whole - _UNDER}[space.sides]
            bounds.add(float(np.round(bound, 6)))
    if space.sides == "as measured" or block.trigger_sides == "as measured":
        area = others[0] * others[1]
        for measure, limit in thresholds:
            if measure in ("longest", "second", "shortest"):
                bounds.add(limit)
            elif measure == "volume":
                bounds.add(np.floor(limit / area / _UNDER + SNAP) * _UNDER)
            elif measure == "length_plus_girth":
                bounds |= {limit - 2 * sum(others), (limit - max(others) - 2 * min(others)) / 2}
        if space.sides == "as measured":
            volume = side * area
            weights = np.arange(1, np.ceil(volume / space.divisor) + 1) * space.weight_step
            bounds |= set((np.floor(weights * space.divisor / area / _UNDER) * _UNDER).tolist())
            bounds.add(np.floor(space.volume_over / area / _UNDER + SNAP) * _UNDER)
    low = max(side - reach_in * own, step if space.sides != "as measured" else _UNDER)
    return sorted((bound / own for bound in bounds if low - SNAP <= bound < side - SNAP), reverse=True)


def _weight_cuts(
    card: RateCard, rules: ParcelRules, block: ParcelBlock, on: dt.date, weight_lb: float, reach_lb: float
) -> list[float]:
    """Lighter weights at which a row of the card, a whole step or a threshold changes. [lb]"""
    own = OWN_UNITS[rules.metric][1]
    weight = weight_lb * own
    bounds = {float(row) for service in card.at(on).services for row in service.table.weights}
    bounds |= {extra.when.over["weight"] for extra in block.surcharges if "weight" in extra.when.over}
    low = max(weight - reach_lb * own, SNAP)
    return sorted((bound / own for bound in bounds if low - SNAP <= bound < weight - SNAP), reverse=True)


def _best(saved: Any, off: Any, shapes: Any, now: tuple[float, ...]) -> list[int]:
    """Rows that save more than any that takes off as much or less, fewer sides first on a tie."""
    touched = (np.abs(shapes - np.array(now)) > 0).sum(axis=1)
    kept: list[int] = []
    best = 0
    for row in np.lexsort((-shapes.max(axis=1), touched, -saved, off)):
        if off[row] > 0 and saved[row] > best:
            best = int(saved[row])
            kept.append(int(row))
    return kept


def _flags(rules: ParcelRules, measures: dict[str, Any], at: dict[str, Any], rows: list[int]) -> list[set[str]]:
    if not rows:
        return []
    part = {name: values[rows] for name, values in measures.items()}
    found = parcel_columns(rules, **at, **part)
    return [{name for name in rules.surcharge_names if found[name][row]} for row in range(len(rows))]


def _why(now: Any, labels: Any, row: int, before: set[str], after: set[str]) -> str:
    parts = []
    if labels["billable_lb"][row] != now["billable_lb"][0]:
        parts.append(f"billed at {labels['billable_lb'][row]:g} lb, not {now['billable_lb'][0]:g}")
    gone = sorted(before - after)
    if gone:
        parts.append("no more " + ", ".join(name.replace("_", " ") for name in gone))
    new = sorted(after - before)
    if new:
        parts.append("now " + ", ".join(name.replace("_", " ") for name in new))
    if labels["service"][row] != now["service"][0]:
        parts.append(f"{labels['service'][row]} takes it")
    return "; ".join(parts) or "a lower price"


def trim_frame(trims: list[Trim]) -> pd.DataFrame:
    """Trims as a frame, one row each.

    Parameters
    ----------
    trims : list of Trim
        From ``trim_advice``.

    Returns
    -------
    pandas.DataFrame
        A column for every field of ``Trim``.
    """
    import dataclasses

    import pandas as pd

    names = [field.name for field in dataclasses.fields(Trim)]
    return pd.DataFrame([dataclasses.asdict(trim) for trim in trims], columns=names)
