"""One parcel's answer: what it measures, weighs and trips, what it costs and what would save, as a plain dict."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from typing import Any

from flipkit.errors import MeasureError
from flipkit.rules import dimensions
from flipkit.rules.adjustments import adjustment_columns
from flipkit.rules.measuring import parcel_columns
from flipkit.rules.parcel_rules import ParcelRules
from flipkit.rules.postage import choice_columns
from flipkit.rules.protection import protection_choices
from flipkit.rules.rate_cards import RateCard
from flipkit.rules.size_classes import size_class
from flipkit.rules.tables import Rules
from flipkit.rules.triggers import Trigger, parcel_triggers
from flipkit.rules.trim import Trim, trim_advice
from flipkit.units import read_length

_BETWEEN = re.compile(r"\s*(?:[x×*]|\bby\b)\s*", re.IGNORECASE)
_UNIT_AT_END = re.compile(r"[^\d\s.,/-]+\.?$")


def read_sides(text: str, *, unit: str = "in") -> tuple[float, float, float]:
    """Three sides from a text such as ``24x18x12in``, ``61 x 46 x 30 cm`` or ``2 ft x 18 in x 1 ft``.

    Parameters
    ----------
    text : str
        The sides; a unit at the end goes for those that have none.
    unit : str
        Unit of bare numbers.

    Returns
    -------
    tuple of float
        The sides, as written. [in]

    Raises
    ------
    MeasureError
        If there are not three, or one is not a length above zero.

    Examples
    --------
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
    """Everything the rules say of one parcel, with the unit at the end of every key.

    Parameters
    ----------
    rules : Rules
        All tables.
    on : datetime.date
        Day of posting.
    sides_in : sequence of float, shape (3,)
        Outside of the packed parcel, in any order. [in]
    weight_lb : float
        What the scale says. [lb]
    carriers : sequence of str
        Parcel rule sets to ask; where empty, those of the rate cards, and where there is no card, all.
    cards : sequence of str
        Rate cards to ask; all of those carriers' where empty.
    zone : str, optional
        Zone; without it the mix of zones, and without that no price.
    zone_mix : mapping, optional
        Weight of each zone.
    reach_in, reach_lb : float
        How much could be trimmed; 0 for no advice. [in], [lb]
    declared_cents : int
        Declared value. [cents]
    signature, residential : bool
        Whether the receiver signs, and whether people live there.
    packaging : str
        One of ``parcel_rules.PACKAGING``.
    nonrectangular : bool
        Whether the thing is no box.

    Returns
    -------
    dict
        ``carriers``: for each rule set its weights, triggers and cards; and the parcel's own measures.

    Raises
    ------
    RuleNotInForceError
        If a carrier that was asked for has no block on the day.
    MeasureError
        If a measure is not a finite number above zero, or a name is unknown.
    """
    for name in carriers:
        _require_name("carrier", name, rules.parcels)
    for name in cards:
        _require_name("rate card", name, rules.rate_cards)
    priced = [card.parcel_rules for card in rules.rate_cards.values() if card.name in cards or not cards]
    names = list(carriers) or sorted(priced) or sorted(rules.parcels)
    sides: dict[str, Any] = dict(zip(("length_in", "width_in", "height_in"), map(float, sides_in), strict=True))
    parcel: dict[str, Any] = {**sides, "weight_lb": float(weight_lb), "packaging": packaging}
    answer: dict[str, Any] = {
        "on": on.isoformat(),
        **sides,
        "weight_lb": float(weight_lb),
        "girth_in": _plain(dimensions.girth_in(**sides)[0]),
        "length_plus_girth_in": _plain(dimensions.length_plus_girth_in(**sides)[0]),
        "united_in": _plain(dimensions.united_in(**sides)[0]),
        "volume_cu_in": _plain(dimensions.volume_cu_in(**sides)[0]),
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
            found["cards"] = [
                _card(
                    card,
                    carrier,
                    {"on": on, "zone": zone, **parcel, "residential": residential},
                    {"declared_cents": declared_cents, "signature": signature, "nonrectangular": nonrectangular},
                    zone_mix,
                    reach_in,
                    reach_lb,
                )
                for card in own
                if cards or card.covers(on)
            ]
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
        raise MeasureError(what, need="one of " + ", ".join(sorted(known)), got=name)


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
    zone_mix: Mapping[str, float] | None,
    reach_in: float,
    reach_lb: float,
) -> dict[str, Any]:
    choices = choice_columns(card, carrier, **parcel, **further, zone_mix=zone_mix)
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
    if parcel["zone"] is not None or zone_mix:
        found["entered_by_weight_alone"] = _later(card, carrier, parcel, best["service"], zone_mix or {})
    if reach_in or reach_lb:
        advice = trim_advice(
            card,
            carrier,
            **parcel,
            nonrectangular=further["nonrectangular"],
            zone_mix=zone_mix,
            reach_in=reach_in,
            reach_lb=reach_lb,
        )
        found["trims"] = [_trim(one) for one in advice]
    return found


def _later(
    card: RateCard, carrier: ParcelRules, parcel: dict[str, Any], service: str, zone_mix: Mapping[str, float]
) -> dict[str, Any]:
    """What a label entered by its scale weight alone costs now and later; over the zones where none is known."""
    zones = {parcel["zone"]: 1.0} if parcel["zone"] is not None else {z: s for z, s in zone_mix.items() if s > 0}
    each = {}
    for zone in zones:
        later = adjustment_columns(card, carrier, **{**parcel, "zone": zone}, service=service)
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
    """Whether to declare a value or ask for a signature, by each rate card.

    Parameters
    ----------
    rules : Rules
        All tables.
    on : datetime.date
        Day of posting.
    value_cents : int
        What the contents would cost the seller. [cents]
    damage_ppm, loss_ppm, signature_stops_ppm : int
        As in ``protection.protection_choices``. [parts per million]
    cards : sequence of str
        Rate cards to ask; all that have a block in force where empty.

    Returns
    -------
    dict
        ``cards``: for each card its ways, the best first, with the break-even chance.

    Raises
    ------
    RuleNotInForceError
        If a card that was asked for has no block on the day.
    MeasureError
        If a card is unknown.
    """
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
