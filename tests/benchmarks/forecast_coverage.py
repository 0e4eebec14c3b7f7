"""Forecasts of simulated shops, made at each month's end and scored at the next."""

from __future__ import annotations

import itertools

import pandas as pd

from flipkit.analysis.forecasts import category_forecasts, category_outcomes, forecast_table, scored
from flipkit.simulation.shops import Histories, observed


def foretold_returns(
    drawn: Histories, *, first: str, last: str, months: int, level: float, too_few: int, seed: int
) -> pd.DataFrame:
    """Forecasts of the categories' hourly returns of every shop, month after month, scored.

    See ``tests/simulation/test_foretold.py``.
    """
    rows = []
    ends = [month.end_time.date() for month in pd.period_range(first, pd.Period(last, "M") + 1, freq="M")]
    seen = {day: observed(drawn, as_of=day) for day in ends}
    for made, due in itertools.pairwise(ends):
        later = dict(list(seen[due].groupby("copy")))
        for copy, known in seen[made].groupby("copy"):
            told = category_forecasts(
                known, as_of=made, due_on=due, months=months, level=level, too_few=too_few, seed=seed
            )
            table = forecast_table(told)
            rows.append(scored(table, category_outcomes(later[copy], table), as_of=due).assign(copy=copy))
    return pd.concat(rows, ignore_index=True)
