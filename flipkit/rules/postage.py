"""What a label costs by service, and what is charged later."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Unpack

import numpy as np
import numpy.typing as npt

from flipkit.errors import MeasureError, RuleTableError
from flipkit.money import PPM, Cents, percentage, share_out
from flipkit.rules import blocks as cols
from flipkit.rules.blocks import as_category, as_frame
from flipkit.rules.fees import shared_rounding
from flipkit.rules.parcels import (
    KG_PER_LB,
    GivenParcels,
    ParcelBlock,
    ParcelRules,
    block_measures,
    parcel_inputs,
    whole_weights,
    without_sides,
)
from flipkit.rules.rate_cards import PICKUP, UNKNOWN, CardBlock, RateCard, Service, declared_value_cents, zone_codes
from flipkit.units import SNAP

if TYPE_CHECKING:
    import pandas as pd


# The services of a rate card: what each asks for a parcel, which is the cheapest, why one takes it not.

#: The lines of a label, in the order of its columns.
LINES = ("base", "surcharge", "fuel", "signature", "protection")
#: Why a service does not take a parcel, by number; 0 is no reason.
REASONS = (
    "",
    "over the carrier's maximum",
    "longer than it takes",
    "length plus girth is more than it takes",
    "heavier than it takes",
    "not offered to this zone at this weight",
    "so much cannot be declared",
    "no such service on this day",
)
#: Wordings, each with the rows that it goes for.
Refusals = list[tuple[str, npt.NDArray[np.int64]]]
_DEAR = np.iinfo(np.int64).max


def cheapest(
    card: RateCard,
    rules: ParcelRules,
    card_block: CardBlock,
    parcel_block: ParcelBlock,
    given: cols.Columns,
    *,
    kind: str = "",
    service: str | None = None,
    weight_only: bool = False,
) -> tuple[cols.Columns, Refusals]:
    """The cheapest label of parcels that meet one block of a card and one of the rules."""
    zones = card.zones
    place = [zones.index(zone) for zone in card_block.services[0].table.zones]
    # Zones that this block lacks, and what is collected, find the column beyond its table.
    column = np.full(len(zones) + 1, len(place), dtype=np.int64)
    column[place] = np.arange(len(place))
    given = {**given, "column": column.take(given["zone_code"], mode="wrap")}
    if any(extra.when.zones for extra in parcel_block.surcharges) or parcel_block.dimensional.zones:
        given["zone"] = np.array([*zones, PICKUP])[given["zone_code"]]
    measured = block_measures(rules, parcel_block, given, rates=card.rates)
    if weight_only:
        measured = without_sides(parcel_block, measured)
    heavy = np.maximum(np.maximum(measured["dimensional"], measured["least"]), measured["exact_scale"])
    best: cols.Columns | None = None
    reasons: list[tuple[Service, npt.NDArray[np.int64]]] = []
    wanted = [entry for entry in card_block.services if service is None or entry.name == service]
    for entry in wanted:
        found = service_lines(card, entry, parcel_block, measured, heavy, given)
        number = card.service_names.index(entry.name)
        reasons.append((entry, found["reason"]))
        taken = found["reason"] == 0
        if best is None:
            best = {**found, "service": np.where(taken, number, -1)}
        if len(wanted) == 1:
            continue
        cost = np.where(taken, found["base_cents"] + found["surcharge_cents"] + found["fuel_cents"], _DEAR)
        if "cost" not in best:
            best["cost"] = cost
            continue
        better = cost < best["cost"]
        if better.any():
            found = {**found, "cost": cost, "service": np.broadcast_to(np.int64(number), cost.shape)}
            best = {name: np.where(better, found[name], values) for name, values in best.items()}
    if best is None:
        size = given["zone_code"].size
        best = {f"{line}_cents": np.zeros(size, dtype=np.int64) for line in LINES[:3]}
        best.update(service=np.full(size, -1), billable=np.zeros(size), reason=np.full(size, 7))
    return _finished(rules, card_block, parcel_block, given, measured, best, reasons, kind)


def _finished(
    rules: ParcelRules,
    card_block: CardBlock,
    parcel_block: ParcelBlock,
    given: cols.Columns,
    measured: cols.Columns,
    best: cols.Columns,
    reasons: list[tuple[Service, npt.NDArray[np.int64]]],
    kind: str,
) -> tuple[cols.Columns, Refusals]:
    signed = given["signature"]
    price = _signature_price(card_block, kind) if signed.any() else 0
    protection = np.zeros(signed.size, dtype=np.int64)
    declared = given["declared"].nonzero()[0]
    if declared.size:
        rule, values = card_block.declared_value, given["declared"][declared]
        protection[declared] = -1 if rule is None else declared_value_cents(rule, declared_cents=values)
    collected = given["zone_code"] < 0
    untaken = best["service"] < 0
    undeclared = protection < 0
    stopped = (untaken | undeclared) & ~collected
    idle = stopped | collected
    found = {
        "base_cents": best["base_cents"],
        "surcharge_cents": best["surcharge_cents"],
        "fuel_cents": best["fuel_cents"],
        "signature_cents": np.where(signed, price, 0) if price else np.zeros(signed.size, dtype=np.int64),
        "protection_cents": protection,
    }
    chosen, weight = best["service"], best["billable"]
    rows = idle.nonzero()[0]
    if rows.size:
        # The arrays are this call's own: what is not posted costs nothing, and weighs what would be billed.
        for values in found.values():
            values[rows] = 0
        chosen[rows] = -1
        rows = untaken.nonzero()[0]
        weight[rows] = _billed(parcel_block, measured, rows)
    found["total_cents"] = sum(found.values())  # type: ignore[assignment]
    own = KG_PER_LB if rules.metric else 1.0
    columns = {
        **found,
        "service": chosen,
        "dimensional_lb": measured["dimensional"] / own if rules.metric else measured["dimensional"],
        "billable_lb": weight / own if rules.metric else weight,
    }
    return columns, _refusals(stopped, untaken, reasons)


def _refusals(
    stopped: npt.NDArray[np.bool_],
    untaken: npt.NDArray[np.bool_],
    reasons: list[tuple[Service, npt.NDArray[np.int64]]],
) -> Refusals:
    """Why rows are stopped: each wording once, with the rows that it goes for."""
    rows = stopped.nonzero()[0]
    if not rows.size:
        return []
    # Few combinations of reasons occur, however many rows: a number says which, and is put into words once.
    mixed = np.zeros(rows.size, dtype=np.int64)
    for place, (_, codes) in enumerate(reasons):
        mixed += codes[rows] * len(REASONS) ** place
    mixed[~untaken[rows]] = -1
    found: Refusals = []
    for code in np.unique(mixed):
        at = rows[mixed == code]
        words = [(entry.name, int(codes[at[0]])) for entry, codes in reasons]
        found.append((REASONS[6] if code < 0 else _why(words), at))
    return found


def _billed(block: ParcelBlock, measured: cols.Columns, rows: npt.NDArray[np.int64]) -> npt.NDArray[np.float64]:
    """What would be billed for some rows that no row of a table is for."""
    part = {name: measured[name][rows] for name in ("exact_scale", "dimensional", "least")}
    return whole_weights(block, part)["billable"]


def _why(reasons: list[tuple[str, int]]) -> str:
    return "; ".join(f"{name}: {REASONS[code]}" for name, code in reasons) if reasons else REASONS[7]


def _signature_price(block: CardBlock, kind: str) -> int:
    wanted = kind or next(iter(block.signature_cents), "")
    if wanted not in block.signature_cents:
        known = ", ".join(block.signature_cents) or "none"
        raise MeasureError(
            "signature", need=f"a kind that the block {block.described} prices ({known})", got=wanted or True
        )
    return block.signature_cents[wanted]


def service_lines(
    card: RateCard,
    entry: Service,
    block: ParcelBlock,
    measured: cols.Columns,
    heavy: npt.NDArray[np.float64],
    given: cols.Columns,
) -> cols.Columns:
    """Price, surcharges, fuel and the reason for a refusal, for parcels under one service."""
    table, column = entry.table, given["column"]
    row = table.rows(heavy)
    # One row and one column beyond the table hold what is not offered: too heavy, or no such zone.
    base = table.beyond.take(row * (len(table.zones) + 1) + column, mode="clip")
    over = row > table.weights.size - 1
    reason = np.zeros(base.shape, dtype=np.int64)
    missing = (base < 0).nonzero()[0]
    reason[missing] = np.where(over[missing], 4, 5)
    paid_weight = table.reach.take(row, mode="clip")
    heavier = over.nonzero()[0]
    paid_weight[heavier] = _billed(block, measured, heavier)
    if table.oversized is not None:
        large = measured["seen_length_plus_girth"] > entry.oversized_over + SNAP
        base = np.where(large, np.append(table.oversized, -1)[column], base)
        reason = np.where(large, np.where(base < 0, 5, 0), reason)
    priced = entry.extras.surcharges
    for measure, code in (("weight", 4), ("length_plus_girth", 3), ("longest", 2)):
        if measure in entry.limits:
            value = measured["exact_scale"] if measure == "weight" else measured[f"seen_{measure}"]
            reason[value > entry.limits[measure] + SNAP] = code
    if "over_maximum" not in priced:
        reason[measured["over_maximum"]] = 1
    surcharge = _surcharges(card, entry, block, measured, column)
    home = np.where(given["residential"], entry.extras.residential_cents, 0)
    fuel = np.zeros(base.shape, dtype=np.int64)
    if entry.extras.fuel_ppm:
        on = {"base": base, "surcharges": surcharge, "residential": home}
        parts = [on[name] for name in entry.extras.fuel_on]
        fuel = percentage(sum(parts[1:], parts[0]), entry.extras.fuel_ppm)
    return {
        "base_cents": base,
        "surcharge_cents": surcharge + home,
        "fuel_cents": fuel,
        "billable": paid_weight,
        "reason": reason,
    }


def _surcharges(
    card: RateCard, entry: Service, block: ParcelBlock, measured: cols.Columns, column: npt.NDArray[np.int64]
) -> Cents:
    total = np.zeros(column.shape, dtype=np.int64)
    dearest: dict[str, Cents] = {}
    names = [(extra.name, extra.group) for extra in block.surcharges]
    if "over_maximum" in entry.extras.surcharges:
        names.append(("over_maximum", "over_maximum"))
    for name, group in names:
        # Few parcels trip a thing: only their rows are touched.
        rows = measured[name].nonzero()[0]
        if not rows.size:
            continue
        if name not in entry.extras.surcharges:
            raise RuleTableError(
                card.file,
                key=f"surcharges.{name}",
                found="nothing",
                needed=f"a price, since {entry.name} has parcels that trip it",
            )
        price = entry.extras.surcharges[name]
        cents: Any = np.array([*price, 0], dtype=np.int64)[column[rows]] if isinstance(price, tuple) else price
        if group in block.one_of:
            paid = dearest.setdefault(group, np.zeros(column.shape, dtype=np.int64))
            paid[rows] = np.maximum(paid[rows], cents)
        else:
            total[rows] += cents
    for paid in dearest.values():
        total += paid
    return total


# Labels of many parcels: each row under the blocks of its day, and a missing zone over a mix of zones.

#: Words of a column, by the number that its rows carry.
Words = dict[str, list[str]]
#: The service of a label over a mix of zones that the services share among them.
BY_ZONE = "by zone"


def priced(
    card: RateCard, rules: ParcelRules, given: cols.Columns, options: dict[str, Any]
) -> tuple[cols.Columns, Words]:
    """Labels of rows whose zones are all known."""
    rows = given["zone_code"].size
    held = {f"{line}_cents": np.zeros(rows, dtype=np.int64) for line in (*LINES, "total")}
    heavy = {name: np.zeros(rows) for name in ("dimensional_lb", "billable_lb")}
    # Words are few: rows carry their numbers until the end.
    chosen = np.zeros(rows, dtype=np.int16)
    refused = np.zeros(rows, dtype=np.int16)
    wordings = [""]

    for number, part, at in cols.by_number(given, "pair"):
        first, second = divmod(number, len(rules.blocks))
        pick, stopped = cheapest(card, rules, card.blocks[first], rules.blocks[second], part, **options)
        for name, column in {**held, **heavy}.items():
            column[at] = pick[name]
        chosen[at] = pick["service"]
        for text, rows_stopped in stopped:
            refused[at[rows_stopped]] = _number(wordings, text)
    chosen[chosen < 0] = len(card.service_names)
    words = {"service": [*card.service_names, ""], "refused": wordings}
    return {"service": chosen, **heavy, **held, "refused": refused}, words


def _number(wordings: list[str], text: str) -> int:
    if text not in wordings:
        wordings.append(text)
    return wordings.index(text)


def mixed(
    card: RateCard, rules: ParcelRules, given: cols.Columns, zone_mix: Mapping[str, float], options: dict[str, Any]
) -> tuple[cols.Columns, Words]:
    """Labels of rows of which some have no zone: the mean over a mix of zones, with the cheapest and the dearest."""
    shares = zone_shares(card, zone_mix)
    blank = np.flatnonzero(given["zone_code"] == UNKNOWN)
    known = np.flatnonzero(given["zone_code"] != UNKNOWN)
    found, words = priced(card, rules, {name: column[known] for name, column in given.items()}, options)
    rows = given["zone_code"].size
    result: cols.Columns = {}
    for name, values in found.items():
        result[name] = np.zeros(rows, dtype=values.dtype)
        result[name][known] = values
    for name in ("low_cents", "high_cents"):
        result[name] = result["total_cents"].copy()
    words["service"].append(BY_ZONE)
    if not blank.size:
        return result, words
    part = {name: column[blank] for name, column in given.items()}
    each = {}
    for zone in shares:
        part["zone_code"] = np.full(blank.size, card.zones.index(zone), dtype=np.int64)
        each[zone] = priced(card, rules, part, options)
    lines: dict[str, Cents] = {}
    for line in (f"{line}_cents" for line in LINES):
        lines[line] = np.stack([each[zone][0][line] * share for zone, share in shares.items()]).sum(axis=0)
    mean = shared_rounding(lines)
    totals = np.stack([label["total_cents"] for label, _ in each.values()])
    likeliest = each[max(shares, key=lambda zone: shares[zone])][0]
    service = likeliest["service"].copy()
    refused = np.zeros(blank.size, dtype=np.int16)
    reasons = np.stack(
        [
            np.array([_number(words["refused"], text) for text in own["refused"]], dtype=np.int16)[label["refused"]]
            for label, own in each.values()
        ]
    )
    # Refused alike to every zone of the mix, it is not the zone's doing.
    alike = (reasons == reasons[0]).all(axis=0)
    refused[alike] = reasons[0][alike]
    for place, (zone, (label, _)) in enumerate(each.items()):
        service[label["service"] != service] = words["service"].index(BY_ZONE)
        for code in np.unique(reasons[place][~alike]):
            if code:
                stopped = (reasons[place] == code) & (refused == 0) & ~alike
                refused[stopped] = _number(words["refused"], f"zone {zone}: {words['refused'][code]}")
    idle = refused > 0
    service[idle] = words["service"].index("")
    for name, values in mean.items():
        result[name][blank] = np.where(idle, 0, values)
    result["total_cents"][blank] = np.where(idle, 0, sum(mean.values()))
    result["low_cents"][blank] = np.where(idle, 0, totals.min(axis=0))
    result["high_cents"][blank] = np.where(idle, 0, totals.max(axis=0))
    for name in ("dimensional_lb", "billable_lb"):
        result[name][blank] = likeliest[name]
    result["service"][blank], result["refused"][blank] = service, refused
    return result, words


def zone_shares(card: RateCard, zone_mix: Mapping[str, float]) -> dict[str, int]:
    """A mix of zones as whole parts per million that sum to a million, zones without a share left out."""
    for zone in zone_mix:
        if zone not in card.zones:
            raise MeasureError("zone_mix", need=f"zones of {card.title} ({', '.join(card.zones)})", got=zone)
    weights = [float(weight) for weight in zone_mix.values()]
    if not any(weight > 0 for weight in weights):
        raise MeasureError("zone_mix", need="a weight above 0 for some zone", got=dict(zone_mix))
    shares = share_out(PPM, weights).tolist()
    return {zone: share for zone, share in zip(zone_mix, shares, strict=True) if share}


# What a label costs: price by zone and billable weight, surcharges, fuel, signature and declared value.


class GivenLabels(GivenParcels, total=False):
    """What is known of parcels that need labels."""

    declared_cents: npt.ArrayLike
    signature: object
    residential: object
    service: str | None
    zone_mix: Mapping[str, float] | None
    weight_only: bool


def labels(card: RateCard, parcel_rules: ParcelRules, **parcels: Unpack[GivenLabels]) -> pd.DataFrame:
    """What the labels of parcels cost."""
    found, words = _numbered_labels(card, parcel_rules, **parcels)
    return as_frame({**found, **{name: as_category(found[name], known) for name, known in words.items()}}, parcels)


def label_columns(card: RateCard, parcel_rules: ParcelRules, **parcels: Unpack[GivenLabels]) -> cols.Columns:
    """The same as ``labels`` as a dict of arrays, for callers that need no frame."""
    found, words = _numbered_labels(card, parcel_rules, **parcels)
    return {**found, **{name: np.array(known, dtype=object)[found[name]] for name, known in words.items()}}


def _numbered_labels(
    card: RateCard,
    parcel_rules: ParcelRules,
    *,
    on: object,
    zone: object,
    declared_cents: npt.ArrayLike = 0,
    signature: object = False,
    residential: object = True,
    service: str | None = None,
    zone_mix: Mapping[str, float] | None = None,
    weight_only: bool = False,
    **parcels: Any,
) -> tuple[cols.Columns, Words]:
    """The columns of labels with numbers in place of ``service`` and ``refused``, and the words they stand for."""
    kind = signature if isinstance(signature, str) else ""
    further = {"declared_cents": declared_cents, "signature": signature, "residential": residential}
    given = parcel_inputs(on=on, zone=zone, further=further, **parcels)
    rows = given["length_in"].size
    given["zone_code"] = zone_codes(card, zone, rows, missing=zone_mix is not None)
    # Two numbers a row as one, which divmod takes apart again.
    given["pair"] = cols.blocks(card, on, rows) * len(parcel_rules.blocks) + cols.blocks(parcel_rules, on, rows)
    given["declared"] = cols.amounts("declared_cents", declared_cents, rows)
    given["signature"] = cols.flags("signature", True if kind else signature, rows)
    given["residential"] = cols.flags("residential", residential, rows)
    if service is not None and service not in card.service_names:
        raise MeasureError("service", need=f"one of {', '.join(card.service_names)}", got=service)
    options: dict[str, Any] = {"kind": kind, "service": service, "weight_only": weight_only}
    if zone_mix is None:
        return priced(card, parcel_rules, given, options)
    return mixed(card, parcel_rules, given, zone_mix, options)


def choice_columns(card: RateCard, parcel_rules: ParcelRules, **parcels: Any) -> cols.Columns:
    """Every service of a card for every parcel, with its price or the reason why it does not take it."""
    every = []
    for name in card.service_names:
        found = label_columns(card, parcel_rules, service=name, **parcels)
        found["service"] = np.full(found["total_cents"].size, name, dtype=object)
        prefix = f"{name}: "
        found["refused"] = np.array([text.replace(prefix, "", 1) for text in found["refused"]], dtype=object)
        every.append({"parcel": np.arange(found["total_cents"].size), **found})
    joined = {name: np.concatenate([part[name] for part in every]) for name in every[0]}
    order = np.lexsort((joined["total_cents"], joined["refused"] != "", joined["parcel"]))
    return {name: values[order] for name, values in joined.items()}


# What a carrier is likely to charge later, when a label was bought on the scale weight alone.


def adjustment_columns(
    card: RateCard,
    parcel_rules: ParcelRules,
    *,
    on: object,
    zone: object,
    weight_lb: npt.ArrayLike,
    entered_lb: npt.ArrayLike | None = None,
    residential: object = True,
    service: str | None = None,
    packaging: object = "box",
    **sides: npt.ArrayLike,
) -> cols.Columns:
    """The label a seller buys who types in a weight and no sides, and what is added once the carrier measures."""
    others = {"entered_lb": entered_lb, "residential": residential, "packaging": packaging}
    rows = cols.row_count(on=on, zone=zone, weight_lb=weight_lb, **others, **sides)
    typed = weight_lb if entered_lb is None else entered_lb
    given: dict[str, Any] = {
        "on": cols.days("on", on, rows),
        "zone": cols.words(zone, rows),
        "residential": cols.flags("residential", residential, rows),
        "packaging": cols.words(packaging, rows),
        **{name: cols.measures(name, side, rows) for name, side in sides.items()},
    }
    scale = cols.measures("weight_lb", weight_lb, rows)
    bought = label_columns(
        card,
        parcel_rules,
        **given,
        weight_lb=cols.measures("entered_lb", typed, rows),
        service=service,
        weight_only=True,
    )
    names = np.where(bought["service"] == "", service or "", bought["service"])
    found = {
        "service": bought["service"],
        "entered_lb": bought["billable_lb"],
        "billable_lb": np.zeros(rows),
        "below_billable": np.zeros(rows, dtype=np.bool_),
        "bought_cents": bought["total_cents"],
        "due_cents": np.zeros(rows, dtype=np.int64),
        "adjustment_cents": np.zeros(rows, dtype=np.int64),
        "refused": bought["refused"].copy(),
    }
    # The carrier measures what was bought: the same service, with the sides that nobody entered.
    for name in sorted({*names.tolist()} - {""}):
        at = np.flatnonzero(names == name)
        part: dict[str, Any] = {key: values[at] for key, values in given.items()}
        due = label_columns(card, parcel_rules, **part, weight_lb=scale[at], service=name, dimensions_entered=False)
        found["billable_lb"][at] = due["billable_lb"]
        found["due_cents"][at] = due["total_cents"]
        taken = due["refused"] == ""
        found["refused"][at] = np.where(taken, found["refused"][at], due["refused"])
        found["below_billable"][at] = bought["billable_lb"][at] < due["billable_lb"]
        later = np.maximum(due["total_cents"] - bought["total_cents"][at], 0)
        found["adjustment_cents"][at] = np.where(taken, later, 0)
    return found
