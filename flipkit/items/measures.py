"""The packed parcel of each item: recorded where measured, else like its category, else assumed."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from flipkit.assumptions import Assumptions
from flipkit.rules import parcels
from flipkit.rules.tables import Rules

MEASURES = ("length_in", "width_in", "height_in", "weight_lb")


def packed_parcels(items: pd.DataFrame, rules: Rules, assumptions: Assumptions, *, as_of: dt.date) -> pd.DataFrame:
    """Sides, weight and size class of each item's parcel, with where they come from.

    A parcel with all four measures is taken as recorded. One with some or none takes what it
    lacks from the median of the measured items of its category, and where there is none from
    the assumed parcel.

    Parameters
    ----------
    items : DataFrame, n rows
        The items with ``category`` and the four measures, NaN where not recorded.
    rules : Rules
        Holds the table of size classes.
    assumptions : Assumptions
        The parcel of an item of which nothing is known.
    as_of : date
        Day of the report: an unsold item is classed by the thresholds of that day, a sold one by
        those of its sale, and one older than the table by the table's first block.

    Returns
    -------
    DataFrame, n rows
        ``length_in``, ``width_in``, ``height_in``, ``weight_lb``, ``size_class``,
        ``volume_cuft`` and ``measures_origin`` (``recorded`` or ``assumed``).
    """
    given = items[list(MEASURES)].astype(np.float64)
    typical = given.groupby(items["category"]).transform("median")
    filled = given.fillna(typical)
    size = assumptions.text("parcel.size_when_unknown")
    for name in MEASURES:
        filled[name] = filled[name].fillna(assumptions.number(f"parcel.{name}.{size}"))
    on = items["sold_on"].fillna(pd.Timestamp(as_of)).to_numpy().astype("datetime64[D]")
    # The classes are a yardstick, not a charge: books older than the table are measured by its first block.
    on = np.maximum(on, np.datetime64(rules.size_classes.blocks[0].starts, "D"))
    sides = {name: filled[name].to_numpy() for name in MEASURES}
    filled["size_class"] = parcels.size_class(rules.size_classes, on=on, **sides)
    filled["volume_cuft"] = filled[["length_in", "width_in", "height_in"]].prod(axis=1) / 1_728
    filled["measures_origin"] = np.where(given.notna().all(axis=1), "recorded", "assumed")
    return filled
