"""The services of a rate card: what each asks for a parcel, which is the cheapest, why one takes it not."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from flipkit.errors import MeasureError, RuleTableError
from flipkit.money import Cents, percentage
from flipkit.rules import columns as cols
from flipkit.rules.measuring import KG_PER_LB, block_measures, whole_weights, without_sides
from flipkit.rules.parcel_rules import ParcelBlock, ParcelRules
from flipkit.rules.protection import declared_value_cents
from flipkit.rules.rate_cards import PICKUP, CardBlock, RateCard, Service
from flipkit.units import SNAP

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
    columns : dict of arrays, shape (n,)
        The amounts, ``service`` as an index into ``card.service_names``, -1 for none, and the weights.
    refusals : list of (str, array)
        Each reason why no service takes a parcel, with the rows that it goes for.

    Raises
    ------
    MeasureError
        If the kind of signature has no price.
    RuleTableError
        If a surcharge that applies has no price.
    """
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
    price = _signature_price(card_block, kind) if cols.some(signed) else 0
    protection = np.zeros(signed.size, dtype=np.int64)
    # One amount for all rows, mostly nothing, is looked at once.
    alike = given["declared"].strides == (0,) and given["declared"].size > 0 and not given["declared"][0]
    declared = np.zeros(0, dtype=np.int64) if alike else given["declared"].nonzero()[0]
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
