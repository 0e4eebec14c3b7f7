"""What a unit of each supply costs, from the books."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from flipkit.errors import MeasureError

if TYPE_CHECKING:
    import pandas as pd


def unit_costs(supplies: pd.DataFrame, *, as_of: dt.date, days: int) -> dict[str, float]:
    """Mean cost of a unit of each supply over its recent purchases, weighted by quantity.

    Where nothing was bought within the days asked for, the last purchase before them counts.

    Parameters
    ----------
    supplies : DataFrame
        The books' table: ``date``, ``supply``, ``quantity``, ``unit``, ``cost_cents``.
    as_of : datetime.date
        Day of packing; later purchases are not known yet.
    days : int
        How far back purchases count.

    Returns
    -------
    dict
        Supply to its cost a unit. [cents]

    Raises
    ------
    MeasureError
        If one supply was bought in different units.

    Examples
    --------
    >>> import pandas as pd
    >>> bought = pd.DataFrame({
    ...     "date": pd.to_datetime(["2026-01-05", "2026-10-01", "2026-11-01"]),
    ...     "supply": "tape", "unit": "roll", "quantity": [6, 6, 2], "cost_cents": [1200, 1440, 560]})
    >>> unit_costs(bought, as_of=dt.date(2026, 11, 25), days=180)
    {'tape': 250.0}
    """
    import pandas as pd

    day = pd.Timestamp(as_of)
    known = supplies[(supplies["date"] <= day) & (supplies["quantity"] > 0)]
    found = {}
    for supply, rows in known.groupby("supply", sort=True):
        units = sorted(set(rows["unit"]))
        if len(units) > 1:
            raise MeasureError(str(supply), need="one unit", got=", ".join(units), where="supplies")
        recent = rows[rows["date"] > day - pd.Timedelta(days=days)]
        if recent.empty:
            recent = rows[rows["date"] == rows["date"].max()]
        found[str(supply)] = float(recent["cost_cents"].sum() / recent["quantity"].sum())
    return found
