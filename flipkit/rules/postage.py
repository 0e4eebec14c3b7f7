"""What a label costs: price by zone and billable weight, surcharges, fuel, signature and declared value."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from flipkit.errors import MeasureError
from flipkit.rules import columns as cols
from flipkit.rules.frames import as_category, as_frame
from flipkit.rules.labelling import BY_ZONE, Words, mixed, priced, zone_shares
from flipkit.rules.measuring import parcel_inputs
from flipkit.rules.parcel_rules import ParcelRules
from flipkit.rules.rate_cards import PICKUP, RateCard, zone_codes

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "BY_ZONE",
    "PICKUP",
    "RateCard",
    "choice_columns",
    "label_columns",
    "labels",
    "service_choices",
    "zone_shares",
]


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
        One row a parcel: ``service`` (a categorical), ``dimensional_lb``, ``billable_lb`` (the weight of the row
        of the table that is paid), ``base_cents``, ``surcharge_cents`` (residential included), ``fuel_cents``,
        ``signature_cents``, ``protection_cents``, ``total_cents`` (their sum) and ``refused`` (a categorical):
        empty, or why no service takes it, all amounts then being 0. With a mix of zones also ``low_cents`` and
        ``high_cents``, the cheapest and the dearest zone of the mix.

    Raises
    ------
    RuleNotInForceError
        If a day has no block.
    MeasureError
        If a side or a weight is not a finite number above zero, or a zone or the service is unknown.
    """
    found, words = _numbered_labels(
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
    return as_frame({**found, **{name: as_category(found[name], known) for name, known in words.items()}})


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
    found, words = _numbered_labels(
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
    return {**found, **{name: np.array(known, dtype=object)[found[name]] for name, known in words.items()}}


def _numbered_labels(
    card: RateCard,
    parcel_rules: ParcelRules,
    *,
    on: object,
    zone: object,
    length_in: npt.ArrayLike,
    width_in: npt.ArrayLike,
    height_in: npt.ArrayLike,
    weight_lb: npt.ArrayLike,
    declared_cents: npt.ArrayLike,
    signature: object,
    residential: object,
    service: str | None,
    packaging: object,
    nonrectangular: object,
    dimensions_entered: object,
    zone_mix: Mapping[str, float] | None,
    weight_only: bool,
) -> tuple[cols.Columns, Words]:
    """The columns of labels with numbers in place of ``service`` and ``refused``, and the words they stand for."""
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
    given["pair"] = cols.pairs(
        cols.blocks(card, on, rows), cols.blocks(parcel_rules, on, rows), len(parcel_rules.blocks)
    )
    given["declared"] = cols.amounts("declared_cents", declared_cents, rows)
    given["signature"] = cols.flags("signature", True if kind else signature, rows)
    given["residential"] = cols.flags("residential", residential, rows)
    if service is not None and service not in card.service_names:
        raise MeasureError("service", need=f"one of {', '.join(card.service_names)}", got=service)
    options: dict[str, Any] = {"kind": kind, "service": service, "weight_only": weight_only}
    if zone_mix is None:
        return priced(card, parcel_rules, given, options)
    return mixed(card, parcel_rules, given, zone_mix, options)


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
        found["refused"] = np.array([text.replace(prefix, "", 1) for text in found["refused"]], dtype=object)
        every.append({"parcel": np.arange(found["total_cents"].size), **found})
    joined = {name: np.concatenate([part[name] for part in every]) for name in every[0]}
    order = np.lexsort((joined["total_cents"], joined["refused"] != "", joined["parcel"]))
    return {name: values[order] for name, values in joined.items()}
