"""Money against weeks for one thing: what hurrying its sale costs."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flipkit.analysis.max_bid import Question
from flipkit.analysis.price_outcomes import FrontierPoint, price_frontier
from flipkit.analysis.price_tables import price_table
from flipkit.analysis.pricing import PriceSettings


def thing_frontier(asked: Question, *, week_cents: Sequence[float]) -> list[FrontierPoint]:
    """Expected money against expected weeks of a thing newly on sale, from patient to hurried.

    Parameters
    ----------
    asked : Question
        The thing and the seller's wishes.
    week_cents : sequence of float
        What a week sooner is worth beyond room and tied-up money; 0 is the proposed path. [cents]

    Returns
    -------
    list of FrontierPoint
        One a value; the work of the sale is taken off at the target.

    Examples
    --------
    See ``tests/reports/test_decisions.py``.
    """
    minute = asked.target_cents / 60
    settings = PriceSettings(
        asked.demand.weeks, keep=(1 + asked.money_rate) ** (-1 / 52), change_cents=asked.change_min * minute
    )
    table = price_table(
        np.array([asked.typical_cents]),
        lambda price: asked.terms.net_cents(price) - minute * asked.terms.sale_min,
        asked.demand,
        grid=asked.grid,
        endings_cents=asked.endings_cents,
    )
    return price_frontier(
        asked.demand,
        table,
        settings,
        storage_cents=asked.storage_cents * asked.terms.volume_cuft + minute * asked.terms.week_min,
        end_cents=0.0,
        week_cents=np.asarray(week_cents, dtype=np.float64),
        possible=asked.possible,
    )
