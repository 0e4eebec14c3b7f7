"""Two categories alike in everything but the name are seldom told apart, though things of one trip are alike."""

from __future__ import annotations

import numpy as np

from flipkit.analysis.survival import log_rank
from flipkit.simulation.demo import scenarios
from flipkit.simulation.shops import histories, observed


def test_the_log_rank_test_keeps_its_level_in_shops_with_trips():
    shop = next(one.shop for one in scenarios() if one.name == "two equal")
    seen = observed(histories(shop, seed=5, copies=150), as_of=shop.last_day)
    twins = seen[seen["category"].isin(["hand tools", "garden tools"]) & seen["days_listed"].notna()]
    chance = np.array(
        [
            log_rank(own["days_listed"], own["sold_on"].notna(), own["category"].astype(str)).p_value
            for _, own in twins.groupby("copy")
        ]
    )
    assert chance.size == 150
    # 5 % meant; a standard error of .018. And the chances lie evenly, so that none is flattered.
    assert (chance < 0.05).mean() <= 0.11
    assert 0.4 < np.median(chance) < 0.6
