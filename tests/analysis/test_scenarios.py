"""Assumptions moved alone and together: against months whose answer is known."""

from __future__ import annotations

import numpy as np
import pytest

from flipkit.analysis.sensitivity import Spread, as_override, monte_carlo, tornado, turning_point
from flipkit.assumptions import load_assumptions
from flipkit.errors import AssumptionError


@pytest.fixture(scope="module")
def held():
    return load_assumptions()


def month(overrides):
    """1,000 less ten hours of wage, and less a part of 400 by the salvage rate: linear in both."""
    moved = load_assumptions(overrides=overrides)
    return 1000 - 10 * moved.cents("help.wage") / 100 + 400 * moved.share("stock.salvage")


@pytest.mark.worked
def test_each_alone_the_widest_first(held):
    spreads = [Spread("stock.salvage", 50_000, 100_000, 150_000), Spread("help.wage", 1200, 1600, 2000)]
    middle, bars = tornado(month, held, spreads)
    # wage 12, 16, 20: 880 + 40, 840 + 40, 800 + 40; salvage 5, 10, 15 %: 840 + 20, + 40, + 60
    assert middle == pytest.approx(880)
    assert [(bar.key, round(bar.at_low), round(bar.at_high)) for bar in bars] == [
        ("help.wage", 920, 840),
        ("stock.salvage", 860, 900),
    ]
    assert bars[0].width == pytest.approx(80)


def test_all_together_has_the_moments_of_a_sum_of_triangles(held):
    spreads = [Spread("help.wage", 1000, 1600, 2800), Spread("stock.salvage", 0, 100_000, 300_000)]
    cloud = monte_carlo(month, held, spreads, bound=880.0, draws=400, seed=4)
    # triangle: mean (a + b + c) / 3, variance (a2 + b2 + c2 - ab - ac - bc) / 18
    wage, salvage = (10 + 16 + 28) / 3, (0 + 0.1 + 0.3) / 3
    variance = 100 * (100 + 256 + 784 - 160 - 280 - 448) / 18 + 400**2 * (0.01 + 0.09 - 0.03) / 18
    assert cloud.values.mean() == pytest.approx(1000 - 10 * wage + 400 * salvage, rel=0.002)
    assert cloud.values.std() == pytest.approx(np.sqrt(variance), rel=0.06)
    assert list(cloud.hangs_on) == ["help.wage", "stock.salvage"]
    assert cloud.hangs_on["help.wage"] > 0.6
    assert cloud.low < cloud.middle < cloud.high
    assert cloud.above == pytest.approx((cloud.values > 880).mean())


def test_the_same_seed_gives_the_same_months(held):
    spreads = [Spread("help.wage", 1000, 1600, 2800)]
    one, two = (monte_carlo(month, held, spreads, bound=0.0, draws=20, seed=9).values for _ in range(2))
    assert (one == two).all()


def test_an_assumption_that_does_not_move_carries_nothing(held):
    spreads = [Spread("help.wage", 1600, 1600, 1600), Spread("stock.salvage", 0, 100_000, 300_000)]
    cloud = monte_carlo(month, held, spreads, bound=0.0, draws=50, seed=1)
    assert cloud.hangs_on["help.wage"] == 0.0
    assert cloud.hangs_on["stock.salvage"] == pytest.approx(1.0)


@pytest.mark.worked
def test_where_the_conclusion_turns(held):
    # 1000 - 10 w + 40 = 900 at a wage of 14
    found = turning_point(month, held, Spread("help.wage", 1000, 1600, 2800), bound=900.0)
    assert found == pytest.approx(1400, abs=1)
    assert turning_point(month, held, Spread("help.wage", 1000, 1600, 2800), bound=5000.0) is None


def test_values_are_written_as_the_assumptions_read_them(held):
    for key, value in (("help.wage", 1725.0), ("help.burden", 76_500.0), ("minutes.pack.bulky", 31.5)):
        moved = load_assumptions(overrides={key: as_override(held, key, value)})
        assert moved.entries[key].value == value


def test_spreads_out_of_order_and_too_few_draws_are_refused(held):
    with pytest.raises(AssumptionError, match="low <= middle <= high"):
        monte_carlo(month, held, [Spread("help.wage", 5, 4, 3)], bound=0.0, draws=20, seed=1)
    with pytest.raises(AssumptionError, match="at least 10"):
        monte_carlo(month, held, [], bound=0.0, draws=2, seed=1)
