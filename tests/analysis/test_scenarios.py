"""Assumptions moved alone and together: against months whose answer is known."""

from __future__ import annotations

import numpy as np
import pytest

from flipkit.analysis.what_if import Spread, monte_carlo, tornado, turning_point
from flipkit.errors import AssumptionError


def month(at):
    """1,000 less ten hours of wage, and 400 by a share: linear in both, which stand at 16 and a tenth."""
    return 1000 - 10 * at.get("wage", 16) + 400 * at.get("share", 0.1)


@pytest.mark.worked
def test_each_alone_the_widest_first():
    spreads = [Spread("share", 0.05, 0.1, 0.15), Spread("wage", 12, 16, 20)]
    bars = tornado(month, spreads)
    # wage 12, 16, 20: 880 + 40, 840 + 40, 800 + 40; salvage 5, 10, 15 %: 840 + 20, + 40, + 60
    assert [(bar.key, round(bar.at_low), round(bar.at_high)) for bar in bars] == [
        ("wage", 920, 840),
        ("share", 860, 900),
    ]
    assert bars[0].width == pytest.approx(80)


def test_all_together_has_the_moments_of_a_sum_of_triangles():
    spreads = [Spread("wage", 10, 16, 28), Spread("share", 0, 0.1, 0.3)]
    cloud = monte_carlo(month, spreads, bound=880.0, draws=400, seed=4)
    # triangle: mean (a + b + c) / 3, variance (a2 + b2 + c2 - ab - ac - bc) / 18
    wage, salvage = (10 + 16 + 28) / 3, (0 + 0.1 + 0.3) / 3
    variance = 100 * (100 + 256 + 784 - 160 - 280 - 448) / 18 + 400**2 * (0.01 + 0.09 - 0.03) / 18
    assert cloud.values.mean() == pytest.approx(1000 - 10 * wage + 400 * salvage, rel=0.002)
    assert cloud.values.std() == pytest.approx(np.sqrt(variance), rel=0.06)
    assert list(cloud.hangs_on) == ["wage", "share"]
    assert cloud.hangs_on["wage"] > 0.6
    assert cloud.low < cloud.middle < cloud.high
    assert cloud.above == pytest.approx((cloud.values > 880).mean())


def test_the_same_seed_gives_the_same_months():
    spreads = [Spread("wage", 10, 16, 28)]
    one, two = (monte_carlo(month, spreads, bound=0.0, draws=20, seed=9).values for _ in range(2))
    assert (one == two).all()


def test_an_assumption_that_does_not_move_carries_nothing():
    spreads = [Spread("wage", 16, 16, 16), Spread("share", 0, 0.1, 0.3)]
    cloud = monte_carlo(month, spreads, bound=0.0, draws=50, seed=1)
    assert cloud.hangs_on["wage"] == 0.0
    assert cloud.hangs_on["share"] == pytest.approx(1.0)


@pytest.mark.worked
def test_where_the_conclusion_turns():
    # 1000 - 10 w + 40 = 900 at a wage of 14
    found = turning_point(month, Spread("wage", 10, 16, 28), bound=900.0)
    assert found == pytest.approx(14)
    assert turning_point(month, Spread("wage", 10, 16, 28), bound=5000.0) is None


def test_spreads_out_of_order_and_too_few_draws_are_refused():
    with pytest.raises(AssumptionError, match="low <= middle <= high"):
        monte_carlo(month, [Spread("wage", 5, 4, 3)], bound=0.0, draws=20, seed=1)
    with pytest.raises(AssumptionError, match="at least 10"):
        monte_carlo(month, [], bound=0.0, draws=2, seed=1)
