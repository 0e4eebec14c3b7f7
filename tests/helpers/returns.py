"""Returns as several tests look at them: both bases beside each other, and the demo shop's truth."""

from __future__ import annotations

from typing import Any

import pandas as pd

from flipkit.analysis.returns import bought_returns, category_returns, side_by_side
from flipkit.simulation.demo import DEMO_SEED, demo_rules, demo_shop
from tests.benchmarks.truth import true_returns


def both_bases(economics: pd.DataFrame, *, horizon: Any, **settings: Any) -> pd.DataFrame:
    """Sold basis and bought basis of each category."""
    sold = category_returns(economics, basis="sold", **settings)
    return side_by_side(sold, bought_returns(economics, horizon=horizon, **settings))


def demo_truth(*, items: int) -> pd.DataFrame:
    """True hourly returns of the demo shop's categories, before overheads, by a large sample of shops like it."""
    return true_returns(demo_shop(demo_rules()), seed=DEMO_SEED + 2, items=items)
