"""What trimming a parcel would save, and the whole answer about one parcel."""

from __future__ import annotations

import datetime as dt
import itertools
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Unpack

import numpy as np

from flipkit.errors import MeasureError
from flipkit.rules import parcels
from flipkit.rules.parcels import (
    LONGEST_FIRST,
    OWN_UNITS,
    ParcelBlock,
    ParcelRules,
    Trigger,
    parcel_columns,
    parcel_triggers,
    size_class,
)
from flipkit.rules.postage import GivenLabels, adjustment_columns, choice_columns, label_columns
from flipkit.rules.rate_cards import RateCard, protection_choices
from flipkit.rules.tables import Rules
from flipkit.units import KG_A_POUND, SNAP, read_length

# What trimming a parcel would save: every breakpoint within reach, the dearest inch first.

SIDES = ("length", "width", "height")
MEASURES = (*(f"{side}_in" for side in SIDES), "weight_lb")
#: How far under a bound that must not be reached a side is cut: what a tape measure can still tell.
_UNDER = 0.01


@dataclass(frozen=True)
class Trim:
    """One way to make a parcel smaller or lighter, and what it saves."""

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
    card: RateCard, parcel_rules: ParcelRules, *, reach_in: float, reach_lb: float, **parcel: Unpack[GivenLabels]
) -> list[Trim]:
    """Every breakpoint within reach of one parcel, and what crossing it saves."""
    start: dict[str, Any] = {name: parcel[name] for name in MEASURES}  # type: ignore[literal-required]
    priced: dict[str, Any] = {name: said for name, said in parcel.items() if name not in start}
    at = {name: said for name, said in priced.items() if name in ("on", "zone", "packaging", "nonrectangular")}
    on, weight_lb = priced["on"], float(start["weight_lb"])
    now = label_columns(card, parcel_rules, **start, **priced)
    if now["refused"][0]:
        raise MeasureError("parcel", need="one that the card takes", got=str(now["refused"][0]), where=card.title)
    block = parcel_rules.at(on)
    sides = tuple(float(start[name]) for name in MEASURES[:3])
    bounds = _bounds(block, card, on)
    cuts = [_side_cuts(parcel_rules, block, sides, place, reach_in, bounds) for place in range(3)]
    kept_or_cut = ([side, *shorter] for side, shorter in zip(sides, cuts, strict=True))
    tried = [(*shape, weight_lb) for shape in itertools.product(*kept_or_cut)]
    tried += [(*sides, weight) for weight in _weight_cuts(card, parcel_rules, block, on, weight_lb, reach_lb)]
    shapes = np.array(tried)
    measures = dict(zip(MEASURES, shapes.T, strict=True))
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
            **dict(zip(MEASURES, shapes[row].tolist(), strict=True)),
            by_in=float(off_in[row]),
            by_lb=float(off_lb[row]),
            saves_cents=int(saved[row]),
            total_cents=int(labels["total_cents"][row]),
            cents_per_in=float(saved[row] / off_in[row]) if off_in[row] else 0.0,
            cents_per_lb=float(saved[row] / off_lb[row]) if off_lb[row] else 0.0,
            service=str(labels["service"][row]),
            why=_why(now, labels, row, before, after, parcel_rules),
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
        found += zip(LONGEST_FIRST, extra.when.any_over, strict=False)
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
            if measure in LONGEST_FIRST:
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


def _why(now: Any, labels: Any, row: int, before: set[str], after: set[str], rules: ParcelRules) -> str:
    parts = []
    own = KG_A_POUND if rules.metric else 1.0
    if labels["billable_lb"][row] != now["billable_lb"][0]:
        parts.append(
            f"billed at {labels['billable_lb'][row] * own:g} {rules.weight_unit}, not {now['billable_lb'][0] * own:g}"
        )
    gone = sorted(before - after)
    if gone:
        parts.append("no more " + ", ".join(name.replace("_", " ") for name in gone))
    new = sorted(after - before)
    if new:
        parts.append("now " + ", ".join(name.replace("_", " ") for name in new))
    if labels["service"][row] != now["service"][0]:
        parts.append(f"{labels['service'][row]} takes it")
    return "; ".join(parts) or "a lower price"


# One parcel's answer: what it measures, weighs and trips, what it costs and what would save, as a plain dict.

_BETWEEN = re.compile(r"\s*(?:[x×*]|\bby\b)\s*", re.IGNORECASE)
_UNIT_AT_END = re.compile(r"[^\d\s.,/-]+\.?$")


def read_sides(text: str, *, unit: str = "in") -> tuple[float, float, float]:
    """Three sides from a text such as ``24x18x12in``, ``61 x 46 x 30 cm`` or ``2 ft x 18 in x 1 ft``.

    >>> read_sides("24x18x12in")
    (24.0, 18.0, 12.0)
    """
    parts = _BETWEEN.split(text.strip())
    if len(parts) != 3 or not all(parts):
        raise MeasureError("sides", need="three sides such as 24x18x12in", got=text)
    last = _UNIT_AT_END.search(parts[2].strip())
    common = last.group().rstrip(".") if last else unit
    found = [read_length(part, unit=common, name=f"side {number}") for number, part in enumerate(parts, start=1)]
    for number, side in enumerate(found, start=1):
        if side <= 0:
            raise MeasureError(f"side {number}", need="above 0 in", got=text)
    return found[0], found[1], found[2]


def parcel_answer(
    rules: Rules,
    *,
    on: dt.date,
    sides_in: Sequence[float],
    weight_lb: float,
    carriers: Sequence[str] = (),
    cards: Sequence[str] = (),
    zone: str | None = None,
    zone_mix: Mapping[str, float] | None = None,
    reach_in: float = 0.0,
    reach_lb: float = 0.0,
    declared_cents: int = 0,
    signature: bool = False,
    residential: bool = True,
    packaging: str = "box",
    nonrectangular: bool = False,
) -> dict[str, Any]:
    """Everything the rules say of one parcel, with the unit at the end of every key."""
    for name in carriers:
        _require_name("carrier", name, rules.parcels)
    for name in cards:
        _require_name("rate card", name, rules.rate_cards)
    priced = [card.parcel_rules for card in rules.rate_cards.values() if card.name in cards or not cards]
    names = list(carriers) or sorted(priced) or sorted(rules.parcels)
    sides: dict[str, Any] = dict(zip(MEASURES[:3], map(float, sides_in), strict=True))
    parcel: dict[str, Any] = {**sides, "weight_lb": float(weight_lb), "packaging": packaging}
    answer: dict[str, Any] = {
        "on": on.isoformat(),
        **sides,
        "weight_lb": float(weight_lb),
        "girth_in": _plain(parcels.girth_in(**sides)[0]),
        "length_plus_girth_in": _plain(parcels.length_plus_girth_in(**sides)[0]),
        "united_in": _plain(parcels.united_in(**sides)[0]),
        "volume_cu_in": _plain(parcels.volume_cu_in(**sides)[0]),
        "size_class": _size_class(rules, on, sides, weight_lb),
        "carriers": [],
    }
    for name in dict.fromkeys(names):
        carrier = rules.parcels[name]
        if not carriers and not carrier.covers(on):
            continue
        own = [
            card
            for card in rules.rate_cards.values()
            if card.parcel_rules == name and (card.name in cards or not cards)
        ]
        rates = dict.fromkeys([card.rates for card in own] or [""])
        found = _carrier(carrier, on, parcel, zone, nonrectangular, rates=next(iter(rates)))
        if zone is not None or zone_mix is not None:
            asked = {"on": on, "zone": zone, **parcel, "residential": residential, "nonrectangular": nonrectangular}
            asked["zone_mix"] = zone_mix
            further = {"declared_cents": declared_cents, "signature": signature}
            offered = (card for card in own if cards or card.covers(on))
            found["cards"] = [_card(card, carrier, asked, further, reach_in, reach_lb) for card in offered]
        answer["carriers"].append(found)
    return answer


def _size_class(rules: Rules, on: dt.date, sides: dict[str, Any], weight_lb: float) -> str | None:
    table = rules.size_classes
    # A parcel of long ago has weights by the rules of its day, though nobody sorted it into classes then.
    if not table.covers(on) or table.rules is None or not table.rules.covers(on):
        return None
    return str(size_class(table, on=on, **sides, weight_lb=weight_lb)[0])


def _require_name(what: str, name: str, known: Mapping[str, object]) -> None:
    if name not in known:
        need = f"one of {', '.join(sorted(known))}" if known else "left out, since your books have none"
        raise MeasureError(what, need=need, got=name)


def _plain(value: Any) -> float:
    return round(float(value), 4)


def _carrier(
    carrier: ParcelRules, on: dt.date, parcel: dict[str, Any], zone: str | None, nonrectangular: bool, *, rates: str
) -> dict[str, Any]:
    block = carrier.at(on)
    found = parcel_columns(carrier, on=on, zone=zone, nonrectangular=nonrectangular, rates=rates, **parcel)
    unit = carrier.weight_unit
    weights = {f"{name}_{unit}": _plain(found[f"{name}_{unit}"][0]) for name in ("dimensional", "scale", "billable")}
    return {
        "carrier": carrier.name,
        "block": block.described,
        "seen": block.seen,
        "sources": list(block.sources),
        "rates": rates,
        **weights,
        "space_pays": bool(found["space_pays"][0]),
        "over_maximum": bool(found["over_maximum"][0]),
        "dimensions_required": block.dimensions_required,
        "triggers": [_trigger(carrier, one) for one in parcel_triggers(carrier, on=on, zone=zone, **parcel)],
    }


def _trigger(carrier: ParcelRules, one: Trigger) -> dict[str, Any]:
    entry: dict[str, Any] = {"surcharge": one.surcharge, "group": one.group, "measure": one.measure}
    if one.unit:
        entry.update(
            {
                f"value_{one.unit}": _plain(one.value),
                f"threshold_{one.unit}": _plain(one.threshold),
                f"over_by_{one.unit}": _plain(one.over_by),
            }
        )
    else:
        entry["word"] = one.word
    entry["applies"] = one.applies
    entry[f"minimum_billable_{carrier.weight_unit}"] = one.minimum_billable
    return entry


def _card(
    card: RateCard,
    carrier: ParcelRules,
    parcel: dict[str, Any],
    further: dict[str, Any],
    reach_in: float,
    reach_lb: float,
) -> dict[str, Any]:
    choices = choice_columns(card, carrier, **parcel, **further)
    services = [
        {name: _entry(values[row]) for name, values in choices.items() if name != "parcel"}
        for row in range(choices["total_cents"].size)
    ]
    best = services[0]
    found: dict[str, Any] = {
        "card": card.name,
        "block": card.at(parcel["on"]).described,
        "zone": parcel["zone"] or "mix",
        "services": services,
    }
    if best["refused"]:
        return found
    if parcel["zone"] is not None or parcel["zone_mix"]:
        found["entered_by_weight_alone"] = _later(card, carrier, parcel, best["service"])
    if reach_in or reach_lb:
        advice = trim_advice(card, carrier, reach_in=reach_in, reach_lb=reach_lb, **parcel)
        found["trims"] = [_trim(one) for one in advice]
    return found


def _later(card: RateCard, carrier: ParcelRules, parcel: dict[str, Any], service: str) -> dict[str, Any]:
    """What a label entered by its scale weight alone costs now and later; over the zones where none is known."""
    asked = {name: said for name, said in parcel.items() if name not in ("zone", "zone_mix", "nonrectangular")}
    mix = {parcel["zone"]: 1.0} if parcel["zone"] is not None else parcel["zone_mix"]
    zones = {zone: share for zone, share in mix.items() if share > 0}
    each = {}
    for zone in zones:
        later = adjustment_columns(card, carrier, **asked, zone=zone, service=service)
        each[zone] = {name: _entry(values[0]) for name, values in later.items()}
    found = dict(each[max(zones, key=lambda zone: zones[zone])])
    total = sum(zones.values())
    for name in ("bought_cents", "due_cents", "adjustment_cents"):
        found[name] = round(sum(share * each[zone][name] for zone, share in zones.items()) / total)
    if len(zones) > 1:
        found["adjustment_low_cents"] = min(one["adjustment_cents"] for one in each.values())
        found["adjustment_high_cents"] = max(one["adjustment_cents"] for one in each.values())
    return found


def _entry(value: Any) -> Any:
    held = value.item() if hasattr(value, "item") else value
    return round(held, 4) if isinstance(held, float) else held


def _trim(one: Trim) -> dict[str, Any]:
    entry: dict[str, Any] = {"trim": one.what}
    if one.by_in:
        entry.update(
            length_in=_plain(one.length_in),
            width_in=_plain(one.width_in),
            height_in=_plain(one.height_in),
            by_in=_plain(one.by_in),
            cents_per_in=round(one.cents_per_in, 1),
        )
    else:
        entry.update(weight_lb=_plain(one.weight_lb), by_lb=_plain(one.by_lb), cents_per_lb=round(one.cents_per_lb, 1))
    return {
        **entry,
        "saves_cents": one.saves_cents,
        "total_cents": one.total_cents,
        "service": one.service,
        "why": one.why,
    }


def protection_answer(
    rules: Rules,
    *,
    on: dt.date,
    value_cents: int,
    damage_ppm: int,
    loss_ppm: int,
    signature_stops_ppm: int,
    cards: Sequence[str] = (),
) -> dict[str, Any]:
    """Whether to declare a value or ask for a signature, by each rate card."""
    for name in cards:
        _require_name("rate card", name, rules.rate_cards)
    asked = [card for card in rules.rate_cards.values() if card.name in cards or (not cards and card.covers(on))]
    return {
        "on": on.isoformat(),
        "value_cents": value_cents,
        "damage_ppm": damage_ppm,
        "loss_ppm": loss_ppm,
        "signature_stops_ppm": signature_stops_ppm,
        "cards": [
            {
                "card": card.name,
                "ways": protection_choices(
                    card.at(on).declared_value,
                    card.at(on).signature_cents,
                    value_cents=value_cents,
                    damage_ppm=damage_ppm,
                    loss_ppm=loss_ppm,
                    signature_stops_ppm=signature_stops_ppm,
                ),
            }
            for card in asked
        ],
    }
