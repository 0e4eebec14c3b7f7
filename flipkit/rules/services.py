"""The services of a rate card: what each asks for a parcel, which is the cheapest, why one takes it not."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from flipkit.errors import MeasureError, RuleTableError
from flipkit.money import Cents, percentage
from flipkit.quantities import SNAP
from flipkit.rules import columns as cols
from flipkit.rules.measuring import KG_PER_LB, block_measures, without_sides
from flipkit.rules.parcel_rules import ParcelBlock, ParcelRules
from flipkit.rules.protection import declared_value_cents
from flipkit.rules.rate_cards import PICKUP, CardBlock, RateCard, Service

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
) -> cols.Columns:
    """The cheapest label of parcels that meet one block of a card and one of the rules.

    Parameters
    ----------
    card : RateCard
        The card.
    rules : ParcelRules
        The rule set.
    card_block : CardBlock
        The card's block.
    parcel_block : ParcelBlock
        The rule set's block.
    given : dict of arrays, shape (n,)
        As ``measuring.parcel_inputs`` makes them, with ``zone_code``, ``declared``, ``signature`` and ``residential``.
    kind : str
        Kind of signature, empty for the first that the card prices.
    service : str, optional
        The only service that counts.
    weight_only : bool
        Whether the sides are ignored, as on a label bought by weight alone.

    Returns
    -------
    dict of arrays, shape (n,)
        The amounts, ``service`` as an index into ``card.service_names``, -1 for none, ``refused`` and the weights.

    Raises
    ------
    MeasureError
        If the kind of signature has no price.
    RuleTableError
        If a surcharge that applies has no price.
    """
    zones = card.zones
    place = [zones.index(zone) for zone in card_block.services[0].table.zones]
    column = np.full(len(zones) + 1, -1, dtype=np.int64)
    column[place] = np.arange(len(place))
    given = {**given, "column": column[given["zone_code"]]}
    if any(extra.when.zones for extra in parcel_block.surcharges) or parcel_block.dimensional.zones:
        given["zone"] = np.array([*zones, PICKUP])[given["zone_code"]]
    measured = block_measures(rules, parcel_block, given, rates=card.rates)
    if weight_only:
        measured = without_sides(parcel_block, measured)
    heavy = np.maximum(np.maximum(measured["dimensional"], measured["least"]), measured["exact_scale"])
    best: cols.Columns | None = None
    reasons: list[tuple[Service, npt.NDArray[np.int64]]] = []
    for entry in card_block.services:
        if service is not None and entry.name != service:
            continue
        found = service_lines(card, entry, parcel_block, measured, heavy, given)
        number = card.service_names.index(entry.name)
        reasons.append((entry, found["reason"]))
        taken = found["reason"] == 0
        cost = np.where(taken, found["base_cents"] + found["surcharge_cents"] + found["fuel_cents"], _DEAR)
        if best is None:
            best = {**found, "cost": cost, "service": np.where(taken, number, -1)}
            continue
        better = cost < best["cost"]
        if better.any():
            found = {**found, "cost": cost, "service": np.broadcast_to(np.int64(number), cost.shape)}
            best = {name: np.where(better, found[name], values) for name, values in best.items()}
    if best is None:
        size = given["zone_code"].size
        best = {f"{line}_cents": np.zeros(size, dtype=np.int64) for line in LINES[:3]}
        best.update(service=np.full(size, -1), billable=np.zeros(size), reason=np.full(size, 7))
    return _finished(rules, card_block, given, measured, best, reasons, kind)


def _finished(
    rules: ParcelRules,
    card_block: CardBlock,
    given: cols.Columns,
    measured: cols.Columns,
    best: cols.Columns,
    reasons: list[tuple[Service, npt.NDArray[np.int64]]],
    kind: str,
) -> cols.Columns:
    signed = given["signature"]
    price = _signature_price(card_block, kind) if signed.any() else 0
    protection = np.zeros(signed.size, dtype=np.int64)
    if given["declared"].any():
        if card_block.declared_value is None:
            protection -= 1
            protection[given["declared"] == 0] = 0
        else:
            protection = declared_value_cents(card_block.declared_value, declared_cents=given["declared"])
    collected = given["zone_code"] < 0
    untaken = best["service"] < 0
    text = np.full(signed.size, "", dtype=object)
    undeclared = protection < 0
    stopped = (untaken | undeclared) & ~collected
    if stopped.any():
        text[stopped & ~untaken] = REASONS[6]
        rows = np.flatnonzero(stopped & untaken)
        # Few combinations of reasons occur, however many rows: each is put into words once.
        coded = [codes[rows] for _, codes in reasons]
        mixed = sum((codes * len(REASONS) ** place for place, codes in enumerate(coded)), np.zeros_like(rows))
        _, first, back = np.unique(mixed, return_index=True, return_inverse=True)
        wording = [_why([(entry.name, int(codes[rows[at]])) for entry, codes in reasons]) for at in first]
        text[rows] = np.array([*wording, ""], dtype=object)[back.reshape(-1)]
    idle = stopped | collected
    found = {
        "base_cents": best["base_cents"],
        "surcharge_cents": best["surcharge_cents"],
        "fuel_cents": best["fuel_cents"],
        "signature_cents": np.where(signed, price, 0) if price else np.zeros(signed.size, dtype=np.int64),
        "protection_cents": protection,
    }
    if idle.any():
        found = {name: np.where(idle, 0, values) for name, values in found.items()}
    found["total_cents"] = sum(found.values())  # type: ignore[assignment]
    own = KG_PER_LB if rules.metric else 1.0
    weight = np.where(untaken, measured["billable"], best["billable"])
    return {
        **found,
        "service": np.where(idle, -1, best["service"]),
        "refused": text,
        "dimensional_lb": measured["dimensional"] / own,
        "billable_lb": weight / own,
    }


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
    """Price, surcharges, fuel and the reason for a refusal, for parcels under one service.

    Parameters
    ----------
    card : RateCard
        The card, for errors.
    entry : Service
        The service.
    block : ParcelBlock
        The block of the parcel rules.
    measured : dict of arrays, shape (n,)
        As ``parcels.block_measures`` makes them.
    heavy : array, shape (n,)
        What is looked up in the table. [units of weight]
    given : dict of arrays, shape (n,)
        With ``column`` (the table's column, -1 for none) and ``residential``.

    Returns
    -------
    dict of arrays, shape (n,)
        ``base_cents``, ``surcharge_cents``, ``fuel_cents``, ``billable`` and ``reason``, an index into ``REASONS``.

    Raises
    ------
    RuleTableError
        If the card has no price for a surcharge that applies.
    """
    table, column = entry.table, given["column"]
    row = np.searchsorted(table.weights, heavy - SNAP, side="left")
    last = table.weights.size - 1
    base = table.cents[np.minimum(row, last), column]
    paid_weight = np.where(row > last, measured["billable"], table.weights[np.minimum(row, last)])
    reason = np.where((base < 0) | (column < 0), 5, 0)
    reason[row > last] = 4
    if table.oversized is not None:
        large = measured["seen_length_plus_girth"] > entry.oversized_over + SNAP
        base = np.where(large, table.oversized[column], base)
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
    dearest: dict[str, Any] = {}
    names = [(extra.name, extra.group) for extra in block.surcharges]
    if "over_maximum" in entry.extras.surcharges:
        names.append(("over_maximum", "over_maximum"))
    for name, group in names:
        hit = measured[name]
        if not hit.any():
            continue
        if name not in entry.extras.surcharges:
            raise RuleTableError(
                card.file,
                key=f"surcharges.{name}",
                found="nothing",
                needed=f"a price, since {entry.name} has parcels that trip it",
            )
        price = entry.extras.surcharges[name]
        cents = np.where(hit, np.array(price, dtype=np.int64)[column] if isinstance(price, tuple) else price, 0)
        if group in block.one_of:
            dearest[group] = np.maximum(dearest[group], cents) if group in dearest else cents
        else:
            total += cents
    for cents in dearest.values():
        total += cents
    return total
