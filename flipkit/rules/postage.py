"""What a label costs: price by zone and billable weight, surcharges, fuel, signature and declared value."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from flipkit.errors import MeasureError, RuleTableError
from flipkit.money import Cents, percentage
from flipkit.quantities import SNAP
from flipkit.rules import columns as cols
from flipkit.rules.parcel_rules import ParcelBlock, ParcelRules
from flipkit.rules.parcels import KG_PER_LB, block_measures, parcel_inputs
from flipkit.rules.protection import declared_value_cents
from flipkit.rules.rate_cards import CardBlock, RateCard, Service

if TYPE_CHECKING:
    import pandas as pd

#: The zone of a thing that its buyer collects: no label.
PICKUP = "pickup"
MONEY = ("base", "surcharge", "fuel", "signature", "protection", "total")
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


def labels(
    card: RateCard,
    parcel_rules: ParcelRules,
    *,
    on: object,
    zone: object,
    length_in: npt.ArrayLike,
    width_in: npt.ArrayLike,
    height_in: npt.ArrayLike,
    weight_lb: npt.ArrayLike,
    declared_cents: npt.ArrayLike = 0,
    signature: object = False,
    residential: object = True,
    service: str | None = None,
    packaging: object = "box",
    nonrectangular: object = False,
    dimensions_entered: object = True,
) -> pd.DataFrame:
    """What the labels of parcels cost.

    Parameters
    ----------
    card : RateCard
        The carrier's prices; every row meets the block in force on its day.
    parcel_rules : ParcelRules
        The rule set that the card goes with.
    on : date or array of dates, shape (n,)
        Days of posting.
    zone : str, int or array, shape (n,)
        Zones as the card's columns; ``pickup`` for what the buyer collects.
    length_in, width_in, height_in : float or array, shape (n,)
        Outside of the packed parcel, in any order. [in]
    weight_lb : float or array, shape (n,)
        What the scale says. [lb]
    declared_cents : int or array, shape (n,)
        Declared value. [cents]
    signature : bool, str or array of bool, shape (n,)
        Whether the receiver signs; a text is the kind of signature for all.
    residential : bool or array, shape (n,)
        Whether people live at the address.
    service : str, optional
        The service; without it the cheapest that takes the parcel.
    packaging, nonrectangular, dimensions_entered
        As in ``parcels.billable``.

    Returns
    -------
    pandas.DataFrame
        One row a parcel: ``service``, ``dimensional_lb``, ``billable_lb`` (the weight of the row of the table
        that is paid), ``base_cents``, ``surcharge_cents`` (residential included), ``fuel_cents``,
        ``signature_cents``, ``protection_cents``, ``total_cents`` (their sum) and ``refused``: empty, or why
        no service takes it, all amounts then being 0.

    Raises
    ------
    RuleNotInForceError
        If a day has no block.
    MeasureError
        If a side or a weight is not a finite number above zero, or a zone or the service is unknown.
    """
    found = label_columns(
        card,
        parcel_rules,
        on=on,
        zone=zone,
        length_in=length_in,
        width_in=width_in,
        height_in=height_in,
        weight_lb=weight_lb,
        declared_cents=declared_cents,
        signature=signature,
        residential=residential,
        service=service,
        packaging=packaging,
        nonrectangular=nonrectangular,
        dimensions_entered=dimensions_entered,
    )
    return cols.as_frame(found)


def label_columns(
    card: RateCard,
    parcel_rules: ParcelRules,
    *,
    on: object,
    zone: object,
    length_in: npt.ArrayLike,
    width_in: npt.ArrayLike,
    height_in: npt.ArrayLike,
    weight_lb: npt.ArrayLike,
    declared_cents: npt.ArrayLike = 0,
    signature: object = False,
    residential: object = True,
    service: str | None = None,
    packaging: object = "box",
    nonrectangular: object = False,
    dimensions_entered: object = True,
) -> cols.Columns:
    """The same as ``labels`` as a dict of arrays, for callers that need no frame.

    Parameters
    ----------
    card, parcel_rules, on, zone, length_in, width_in, height_in, weight_lb, declared_cents, signature
        As in ``labels``.
    residential, service, packaging, nonrectangular, dimensions_entered
        As in ``labels``.

    Returns
    -------
    dict of arrays, shape (n,)
        The columns of ``labels``.

    Raises
    ------
    RuleNotInForceError
        If a day has no block.
    MeasureError
        If a side or a weight is not a finite number above zero, or a zone or the service is unknown.
    """
    kind = signature if isinstance(signature, str) else ""
    given = parcel_inputs(
        on=on,
        length_in=length_in,
        width_in=width_in,
        height_in=height_in,
        weight_lb=weight_lb,
        zone=zone,
        packaging=packaging,
        nonrectangular=nonrectangular,
        dimensions_entered=dimensions_entered,
        declared_cents=declared_cents,
        signature=signature,
        residential=residential,
    )
    rows = given["length_in"].size
    zones = tuple(dict.fromkeys(zone for block in card.blocks for zone in block.services[0].table.zones))
    given["zone_code"] = zone_codes(card, zone, rows, zones)
    given["pair"] = cols.blocks(card, on, rows) * len(parcel_rules.blocks) + cols.blocks(parcel_rules, on, rows)
    given["declared"] = cols.amounts("declared_cents", declared_cents, rows)
    given["signature"] = cols.flags("signature", True if kind else signature, rows)
    given["residential"] = cols.flags("residential", residential, rows)
    if service is not None and service not in card.service_names:
        raise MeasureError("service", need=f"one of {', '.join(card.service_names)}", got=service)
    names = card.service_names
    held = {f"{line}_cents": np.zeros(rows, dtype=np.int64) for line in MONEY}
    weights = {name: np.zeros(rows) for name in ("dimensional_lb", "billable_lb")}
    chosen = np.full(rows, -1, dtype=np.int64)
    refused = np.full(rows, "", dtype=object)

    def step(chunk: cols.Columns, here: slice) -> None:
        for number, at in cols.groups(chunk["pair"]):
            part = chunk if at is None else {name: column[at] for name, column in chunk.items()}
            pair = divmod(number, len(parcel_rules.blocks))
            blocks = card.blocks[pair[0]], parcel_rules.blocks[pair[1]]
            where = slice(None) if at is None else at
            pick = _cheapest(card, parcel_rules, *blocks, part, zones, kind, service)
            for name, column in held.items():
                column[here][where] = pick[name]
            for name, column in weights.items():
                column[here][where] = pick[name]
            chosen[here][where] = pick["service"]
            refused[here][where] = pick["refused"]

    cols.in_chunks(rows, given, step)
    label = np.array([*names, ""], dtype=object)
    return {"service": label[chosen], **weights, **held, "refused": refused}


def zone_codes(card: RateCard, zone: object, rows: int, zones: tuple[str, ...]) -> npt.NDArray[np.int64]:
    """Zones as numbers of the card's columns, -1 for what the buyer collects.

    Parameters
    ----------
    card : RateCard
        The card, for errors.
    zone : str, int or array, shape (n,)
        The zones.
    rows : int
        How many rows are wanted.
    zones : tuple of str
        The card's columns.

    Returns
    -------
    array, shape (rows,)
        int64.

    Raises
    ------
    MeasureError
        If a zone is missing or is none of the card's.
    """
    need = f"one of {', '.join(zones)}, or {PICKUP}"
    given = np.asarray(getattr(zone, "array", zone))
    if given.dtype.kind in "iu" and all(name.isdigit() for name in zones):
        table = np.full(max(int(name) for name in zones) + 2, -2, dtype=np.int64)
        for code, name in enumerate(zones):
            table[int(name)] = code
        codes = table[np.clip(given, 0, table.size - 1)]
    else:
        if given.ndim == 0:
            codes = np.array((*zones, PICKUP).index(str(zone)) if str(zone) in (*zones, PICKUP) else -2)
        else:
            codes, unknown = cols.codes(zone, rows, (*zones, PICKUP))
            if unknown:
                raise MeasureError("zone", need=need, got=unknown[0], where=card.title)
            codes = np.where(codes < 0, -2, codes)
        codes = np.where(codes == len(zones), -1, codes)
    if (codes == -2).any():
        row = int(np.argmax(np.atleast_1d(codes) == -2))
        got = np.atleast_1d(given)[row] if given.ndim else zone
        raise MeasureError(
            "zone", need=need, got=got, where=f"{card.title}, row {row + 1}", mend="or give a mix of zones"
        )
    return codes if codes.shape == (rows,) else np.broadcast_to(codes, (rows,))


def _cheapest(
    card: RateCard,
    rules: ParcelRules,
    card_block: CardBlock,
    parcel_block: ParcelBlock,
    given: cols.Columns,
    zones: tuple[str, ...],
    kind: str,
    service: str | None,
) -> cols.Columns:
    """The columns of rows that meet one block of the card and one of the rules."""
    place = [zones.index(zone) for zone in card_block.services[0].table.zones]
    column = np.full(len(zones) + 1, -1, dtype=np.int64)
    column[place] = np.arange(len(place))
    given = {**given, "column": column[given["zone_code"]]}
    if any(extra.when.zones for extra in parcel_block.surcharges) or parcel_block.dimensional.zones:
        given["zone"] = np.array([*zones, PICKUP])[given["zone_code"]]
    measured = block_measures(rules, parcel_block, given, rates=card.rates)
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
        best = {f"{line}_cents": np.zeros(size, dtype=np.int64) for line in MONEY[:3]}
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
        for row in np.flatnonzero(stopped):
            text[row] = REASONS[6] if not untaken[row] else _why(reasons, int(row))
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


def _why(reasons: list[tuple[Service, npt.NDArray[np.int64]]], row: int) -> str:
    if not reasons:
        return REASONS[7]
    return "; ".join(f"{entry.name}: {REASONS[int(codes[row])]}" for entry, codes in reasons)


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
        large = measured["length_plus_girth"] > entry.oversized_over + SNAP
        base = np.where(large, table.oversized[column], base)
        reason = np.where(large, np.where(base < 0, 5, 0), reason)
    priced = entry.extras.surcharges
    for measure, code in (("weight", 4), ("length_plus_girth", 3), ("longest", 2)):
        if measure in entry.limits:
            value = measured["exact_scale"] if measure == "weight" else measured[measure]
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
