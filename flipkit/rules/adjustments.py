"""What a carrier is likely to charge later, when a label was bought on the scale weight alone."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from flipkit.rules import columns as cols
from flipkit.rules.frames import as_frame
from flipkit.rules.parcel_rules import ParcelRules
from flipkit.rules.postage import label_columns
from flipkit.rules.rate_cards import RateCard

if TYPE_CHECKING:
    import pandas as pd


def likely_adjustment(
    card: RateCard,
    parcel_rules: ParcelRules,
    *,
    on: object,
    zone: object,
    length_in: npt.ArrayLike,
    width_in: npt.ArrayLike,
    height_in: npt.ArrayLike,
    weight_lb: npt.ArrayLike,
    entered_lb: npt.ArrayLike | None = None,
    residential: object = True,
    service: str | None = None,
    packaging: object = "box",
) -> pd.DataFrame:
    """The label a seller buys who types in a weight and no sides, and what is added once the carrier measures.

    Parameters
    ----------
    card : RateCard
        The carrier's prices.
    parcel_rules : ParcelRules
        The rule set that the card goes with.
    on : date or array of dates, shape (n,)
        Days of posting.
    zone : str, int or array, shape (n,)
        Zones as the card's columns.
    length_in, width_in, height_in : float or array, shape (n,)
        Outside of the packed parcel, in any order. [in]
    weight_lb : float or array, shape (n,)
        What the scale says. [lb]
    entered_lb : float or array, shape (n,), optional
        What is typed in; by default what the scale says. [lb]
    residential : bool or array, shape (n,)
        Whether people live at the address.
    service : str, optional
        The service; without it the one that is cheapest by what was typed in.
    packaging : str or array of str, shape (n,)
        One of ``parcel_rules.PACKAGING``.

    Returns
    -------
    pandas.DataFrame
        One row a parcel: ``service``, ``entered_lb`` (the weight that the label is bought for), ``billable_lb``,
        ``below_billable`` (whether less is entered than will be billed), ``bought_cents``, ``due_cents``,
        ``adjustment_cents`` (what is still to come, 0 where nothing is) and ``refused`` (why the carrier may hand the
        parcel back, else empty).

    Raises
    ------
    RuleNotInForceError
        If a day has no block.
    MeasureError
        If a measure is not a finite number above zero, or a zone or the service is unknown.
    """
    return as_frame(
        adjustment_columns(
            card,
            parcel_rules,
            on=on,
            zone=zone,
            length_in=length_in,
            width_in=width_in,
            height_in=height_in,
            weight_lb=weight_lb,
            entered_lb=entered_lb,
            residential=residential,
            service=service,
            packaging=packaging,
        )
    )


def adjustment_columns(
    card: RateCard,
    parcel_rules: ParcelRules,
    *,
    on: object,
    zone: object,
    length_in: npt.ArrayLike,
    width_in: npt.ArrayLike,
    height_in: npt.ArrayLike,
    weight_lb: npt.ArrayLike,
    entered_lb: npt.ArrayLike | None = None,
    residential: object = True,
    service: str | None = None,
    packaging: object = "box",
) -> cols.Columns:
    """The same as ``likely_adjustment`` as a dict of arrays, for callers that need no frame.

    Parameters
    ----------
    card, parcel_rules, on, zone, length_in, width_in, height_in, weight_lb, entered_lb, residential : see below
        As in ``likely_adjustment``.
    service, packaging : see below
        As in ``likely_adjustment``.

    Returns
    -------
    dict of arrays, shape (n,)
        The columns of ``likely_adjustment``.

    Raises
    ------
    RuleNotInForceError
        If a day has no block.
    MeasureError
        If a measure is not a finite number above zero, or a zone or the service is unknown.
    """
    sides = {"length_in": length_in, "width_in": width_in, "height_in": height_in}
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
