"""What buying by the kit earns beside the seller who knows the truth, and beside rules of thumb."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flipkit.analysis.stock_value import Horizon
from flipkit.simulation.choosers import Chooser, by_everything, by_profit_per_sale, by_sold_hourly, by_the_kit, knowing
from flipkit.simulation.seasons import Season, earnings

#: The rules of thumb, by what they are called in tables.
THUMBS: dict[str, Chooser] = {
    "highest profit a sale": by_profit_per_sale,
    "hourly of sold things": by_sold_hourly,
    "buy everything": by_everything,
}


def shares_of_the_knowing(
    setting: Season, *, horizon: Horizon, doubt: float, window_months: int, too_few: int
) -> pd.DataFrame:
    """The share of the knowing seller's earnings that each way of choosing reaches.

    Parameters
    ----------
    setting : Season
        The shops and their finds.
    horizon : Horizon
        How far ahead the kit looks at unsold stock.
    doubt : float
        How many of its errors each return counts for more when the kit shares out hours.
    window_months : int
        Months of purchases that the report looks back on.
    too_few : int
        Below this many items bought in them the kit gives a category no hours.

    Returns
    -------
    DataFrame
        Indexed by way of choosing, "the kit" first (the plan that the report prints), then the same
        without benefit of the doubt and the rules of thumb: ``share``, ``error`` (its standard error
        over shops) and ``dollars`` (a shop's mean earnings in the months of choosing);
        ``attrs["knowing"]`` holds the knowing seller's.
    """
    best = earnings(setting, knowing(setting.truth))
    rows = {}
    kit = {
        name: by_the_kit(horizon=horizon, doubt=errors, window_months=window_months, too_few=too_few)
        for name, errors in (("the kit", doubt), ("the kit, no benefit of the doubt", 0.0))
    }
    for name, choose in {**kit, **THUMBS}.items():
        got = earnings(setting, choose)
        share = float(got.sum() / best.sum())
        # Of a ratio of sums over shops: both are measured in the same ones.
        error = float(np.sqrt(((got - share * best) ** 2).sum() / max(got.size - 1, 1) / got.size) / best.mean())
        rows[name] = {"share": share, "error": error, "dollars": float(got.mean())}
    table = pd.DataFrame(rows).T
    table.attrs["knowing"] = float(best.mean())
    return table
