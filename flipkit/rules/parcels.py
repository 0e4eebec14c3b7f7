"""What a carrier's rules say of a packed parcel: billable weight, surcharges, size class."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy.typing as npt

from flipkit.rules.frames import as_frame
from flipkit.rules.measuring import parcel_columns
from flipkit.rules.parcel_rules import ParcelRules
from flipkit.rules.size_classes import SIZE_CLASSES, size_class

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["SIZE_CLASSES", "billable", "size_class"]


def billable(
    rules: ParcelRules,
    *,
    on: object,
    length_in: npt.ArrayLike,
    width_in: npt.ArrayLike,
    height_in: npt.ArrayLike,
    weight_lb: npt.ArrayLike,
    zone: object = None,
    packaging: object = "box",
    nonrectangular: object = False,
    dimensions_entered: object = True,
    rates: str = "",
) -> pd.DataFrame:
    """What a parcel measures and weighs by a carrier's rules, and what it trips.

    Each side is rounded as the block in force says; the volume above the threshold is divided by
    the divisor; the larger of that and the scale weight is billed, or more where a surcharge that
    applies brings a minimum [1]_ [2]_.

    Parameters
    ----------
    rules : ParcelRules
        The carrier's rule set; every row meets the block in force on its day.
    on : date or array of dates, shape (n,)
        Days of posting.
    length_in, width_in, height_in : float or array, shape (n,)
        Outside of the packed parcel, in any order. [in]
    weight_lb : float or array, shape (n,)
        What the scale says. [lb]
    zone : str, int or array, shape (n,), optional
        Zones; needed only where the block's rules differ by zone.
    packaging : str or array of str, shape (n,)
        One of ``parcel_rules.PACKAGING``.
    nonrectangular : bool or array, shape (n,)
        Whether the thing is no box, so that it fills less than its box.
    dimensions_entered : bool or array, shape (n,)
        Whether the sender states the dimensions.
    rates : str
        Which kind of rates is paid, where the rule set has divisors for several; empty for the usual.

    Returns
    -------
    pandas.DataFrame
        One row a parcel: ``longest_in``, ``second_in``, ``shortest_in``, ``girth_in``,
        ``length_plus_girth_in``, ``united_in``, ``volume_cu_in`` (all of the rounded sides),
        ``dimensional_lb`` (0 where the threshold exempts the parcel), ``scale_lb`` (rounded up),
        ``billable_lb``, ``space_pays``, ``over_maximum``, and one bool column a surcharge that applies.
        A metric rule set adds ``dimensional_kg``, ``scale_kg`` and ``billable_kg``.

    Raises
    ------
    RuleNotInForceError
        If a day has no block.
    MeasureError
        If a side or a weight is not a finite number above zero.

    References
    ----------
    .. [1] ``postal-manual-123`` in ``rules/data/sources.toml``.
    .. [2] ``private-network-billable`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> import datetime as dt
    >>> from flipkit.rules.tables import load_rules
    >>> post = load_rules().parcels["post"]
    >>> flat = billable(post, on=dt.date(2026, 8, 1), length_in=18, width_in=14, height_in=12, weight_lb=9)
    >>> flat[["dimensional_lb", "billable_lb"]].iloc[0].tolist()
    [22.0, 22.0]
    """
    found = parcel_columns(
        rules,
        on=on,
        length_in=length_in,
        width_in=width_in,
        height_in=height_in,
        weight_lb=weight_lb,
        zone=zone,
        packaging=packaging,
        nonrectangular=nonrectangular,
        dimensions_entered=dimensions_entered,
        rates=rates,
    )
    return as_frame(found)
