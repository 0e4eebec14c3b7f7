"""What a label costs: price by zone and billable weight, surcharges, fuel, signature and declared value."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from flipkit.errors import MeasureError
from flipkit.money import PPM, share_out
from flipkit.rules import columns as cols
from flipkit.rules.charging import shared_rounding
from flipkit.rules.frames import as_frame, stacked
from flipkit.rules.measuring import parcel_inputs
from flipkit.rules.parcel_rules import ParcelRules
from flipkit.rules.rate_cards import PICKUP, UNKNOWN, RateCard, zone_codes
from flipkit.rules.services import LINES, cheapest

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["PICKUP", "RateCard", "choice_columns", "label_columns", "labels", "service_choices", "zone_shares"]

#: The service of a label over a mix of zones that the services share among them.
BY_ZONE = "by zone"


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
    zone_mix: Mapping[str, float] | None = None,
    weight_only: bool = False,
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
    packaging, nonrectangular, dimensions_entered : see below
        As in ``parcels.billable``.
    zone_mix : mapping, optional
        Weight of each zone, for rows whose zone is missing: such a label is the mean over the mix.
    weight_only : bool
        Whether the sides are ignored, as on a label bought by weight alone.

    Returns
    -------
    pandas.DataFrame
        One row a parcel: ``service``, ``dimensional_lb``, ``billable_lb`` (the weight of the row of the table
        that is paid), ``base_cents``, ``surcharge_cents`` (residential included), ``fuel_cents``,
        ``signature_cents``, ``protection_cents``, ``total_cents`` (their sum) and ``refused``: empty, or why
        no service takes it, all amounts then being 0. With a mix of zones also ``low_cents`` and ``high_cents``,
        the cheapest and the dearest zone of the mix.

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
        zone_mix=zone_mix,
        weight_only=weight_only,
    )
    return as_frame(found)


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
    zone_mix: Mapping[str, float] | None = None,
    weight_only: bool = False,
) -> cols.Columns:
    """The same as ``labels`` as a dict of arrays, for callers that need no frame.

    Parameters
    ----------
    card, parcel_rules, on, zone, length_in, width_in, height_in, weight_lb, declared_cents, signature : see below
        As in ``labels``.
    residential, service, packaging, nonrectangular, dimensions_entered, zone_mix, weight_only : see below
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
    given["zone_code"] = zone_codes(card, zone, rows, missing=zone_mix is not None)
    given["pair"] = cols.blocks(card, on, rows) * len(parcel_rules.blocks) + cols.blocks(parcel_rules, on, rows)
    given["declared"] = cols.amounts("declared_cents", declared_cents, rows)
    given["signature"] = cols.flags("signature", True if kind else signature, rows)
    given["residential"] = cols.flags("residential", residential, rows)
    if service is not None and service not in card.service_names:
        raise MeasureError("service", need=f"one of {', '.join(card.service_names)}", got=service)
    options: dict[str, Any] = {"kind": kind, "service": service, "weight_only": weight_only}
    if zone_mix is None:
        return _priced(card, parcel_rules, given, options)
    return _mixed(card, parcel_rules, given, zone_mix, options)


def _priced(card: RateCard, rules: ParcelRules, given: cols.Columns, options: dict[str, Any]) -> cols.Columns:
    """Labels of rows whose zones are all known."""
    rows = given["zone_code"].size
    held = stacked([f"{line}_cents" for line in (*LINES, "total")], rows, np.int64)
    heavy = stacked(["dimensional_lb", "billable_lb"], rows, np.float64)
    # Words are few: rows carry their numbers until the end.
    chosen = np.zeros(rows, dtype=np.int16)
    refused = np.zeros(rows, dtype=np.int16)
    wordings = [""]

    def step(chunk: cols.Columns, here: slice) -> None:
        for number, at in cols.groups(chunk["pair"]):
            part = chunk if at is None else {name: column[at] for name, column in chunk.items()}
            first, second = divmod(number, len(rules.blocks))
            where = slice(None) if at is None else at
            pick, stopped = cheapest(card, rules, card.blocks[first], rules.blocks[second], part, **options)
            for name, column in held.items():
                column[here][where] = pick[name]
            for name, weight in heavy.items():
                weight[here][where] = pick[name]
            chosen[here][where] = pick["service"]
            for text, at_rows in stopped:
                refused[here][at_rows if at is None else at[at_rows]] = _number(wordings, text)

    cols.in_chunks(rows, given, step)
    names = np.array([*card.service_names, ""], dtype=object)
    return {
        "service": names.take(chosen, mode="wrap"),
        **heavy,
        **held,
        "refused": np.array(wordings, dtype=object).take(refused),
    }


def _number(wordings: list[str], text: str) -> int:
    if text not in wordings:
        wordings.append(text)
    return wordings.index(text)


def _mixed(
    card: RateCard, rules: ParcelRules, given: cols.Columns, zone_mix: Mapping[str, float], options: dict[str, Any]
) -> cols.Columns:
    """Labels of rows of which some have no zone: the mean over a mix of zones, with the cheapest and the dearest."""
    shares = zone_shares(card, zone_mix)
    blank = np.flatnonzero(given["zone_code"] == UNKNOWN)
    known = np.flatnonzero(given["zone_code"] != UNKNOWN)
    found = _priced(card, rules, {name: column[known] for name, column in given.items()}, options)
    rows = given["zone_code"].size
    result: cols.Columns = {}
    for name, values in found.items():
        result[name] = np.zeros(rows, dtype=values.dtype)
        result[name][known] = values
    for name in ("low_cents", "high_cents"):
        result[name] = result["total_cents"].copy()
    if not blank.size:
        return result
    part = {name: column[blank] for name, column in given.items()}
    each = {}
    for zone in shares:
        part["zone_code"] = np.full(blank.size, card.zones.index(zone), dtype=np.int64)
        each[zone] = _priced(card, rules, part, options)
    mean = shared_rounding(
        {
            f"{line}_cents": np.stack([each[zone][f"{line}_cents"] * share for zone, share in shares.items()]).sum(
                axis=0
            )
            for line in LINES
        }
    )
    totals = np.stack([label["total_cents"] for label in each.values()])
    likeliest = each[max(shares, key=lambda zone: shares[zone])]
    service = likeliest["service"].copy()
    refused = np.full(blank.size, "", dtype=object)
    for zone, label in each.items():
        service[label["service"] != service] = BY_ZONE
        stopped = (label["refused"] != "") & (refused == "")
        refused[stopped] = [f"zone {zone}: {reason}" for reason in label["refused"][stopped]]
    idle = refused != ""
    service[idle] = ""
    for name, values in mean.items():
        result[name][blank] = np.where(idle, 0, values)
    result["total_cents"][blank] = np.where(idle, 0, sum(mean.values()))
    result["low_cents"][blank] = np.where(idle, 0, totals.min(axis=0))
    result["high_cents"][blank] = np.where(idle, 0, totals.max(axis=0))
    for name in ("dimensional_lb", "billable_lb"):
        result[name][blank] = likeliest[name]
    result["service"][blank], result["refused"][blank] = service, refused
    return result


def zone_shares(card: RateCard, zone_mix: Mapping[str, float]) -> dict[str, int]:
    """A mix of zones as whole parts per million that sum to a million, zones without a share left out.

    Parameters
    ----------
    card : RateCard
        The card whose zones they are.
    zone_mix : mapping
        Weight of each zone, in any unit.

    Returns
    -------
    dict
        Share of each zone. [parts per million]

    Raises
    ------
    MeasureError
        If a zone is none of the card's, or nothing has a weight.
    """
    for zone in zone_mix:
        if zone not in card.zones:
            raise MeasureError("zone_mix", need=f"zones of {card.title} ({', '.join(card.zones)})", got=zone)
    weights = [float(weight) for weight in zone_mix.values()]
    if not any(weight > 0 for weight in weights):
        raise MeasureError("zone_mix", need="a weight above 0 for some zone", got=dict(zone_mix))
    shares = share_out(PPM, weights).tolist()
    return {zone: share for zone, share in zip(zone_mix, shares, strict=True) if share}


def service_choices(
    card: RateCard,
    parcel_rules: ParcelRules,
    **parcels: Any,
) -> pd.DataFrame:
    """Every service of a card for every parcel, with its price or the reason why it does not take it.

    Parameters
    ----------
    card : RateCard
        The carrier's prices.
    parcel_rules : ParcelRules
        The rule set that the card goes with.
    **parcels : see below
        The arguments of ``labels``, ``service`` aside.

    Returns
    -------
    pandas.DataFrame
        One row a parcel and service: ``parcel`` (from 0), then the columns of ``labels``, the cheapest first.

    Raises
    ------
    RuleNotInForceError
        If a day has no block.
    MeasureError
        If a side or a weight is not a finite number above zero, or a zone is unknown.
    """
    return as_frame(choice_columns(card, parcel_rules, **parcels))


def choice_columns(card: RateCard, parcel_rules: ParcelRules, **parcels: Any) -> cols.Columns:
    """The same as ``service_choices`` as a dict of arrays, for callers that need no frame.

    Parameters
    ----------
    card, parcel_rules, **parcels : see below
        As in ``service_choices``.

    Returns
    -------
    dict of arrays, shape (n,)
        The columns of ``service_choices``.

    Raises
    ------
    RuleNotInForceError
        If a day has no block.
    MeasureError
        If a side or a weight is not a finite number above zero, or a zone is unknown.
    """
    every = []
    for name in card.service_names:
        found = label_columns(card, parcel_rules, service=name, **parcels)
        found["service"] = np.full(found["total_cents"].size, name, dtype=object)
        prefix = f"{name}: "
        found["refused"] = np.array([text.removeprefix(prefix) for text in found["refused"]], dtype=object)
        every.append({"parcel": np.arange(found["total_cents"].size), **found})
    joined = {name: np.concatenate([part[name] for part in every]) for name in every[0]}
    order = np.lexsort((joined["total_cents"], joined["refused"] != "", joined["parcel"]))
    return {name: values[order] for name, values in joined.items()}
