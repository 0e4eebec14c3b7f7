"""How many to buy: published answers."""

from __future__ import annotations

import math

import pytest
from scipy.stats import lognorm, norm, poisson

from flipkit.analysis.newsvendor import best_order, expected_profit
from flipkit.errors import AssumptionError


@pytest.mark.published(source="snyder-shen", where="Example 4.3, in docstrings", seen="found")
def test_normal_demand():
    demand = norm(50, 8)
    best = best_order(demand, over=0.18, under=0.70)
    assert best.quantity == pytest.approx(56.60395592743389, abs=1e-8)
    assert best.cost == pytest.approx(1.9976051931766445, abs=1e-8)
    assert best_order(demand, over=0.18, under=0.70, quantity=60).cost == pytest.approx(2.156131552870387, abs=1e-8)


@pytest.mark.published(source="newsvendor-article", where="docs/src/index.md, the article's example", seen="found")
def test_normal_demand_by_profit():
    demand = norm(50, 20)
    best = best_order(demand, over=5, under=2)
    assert pytest.approx(0.2857, abs=5e-5) == 2 / 7
    assert round(best.quantity) == 39
    # The article buys whole units: what it prints is for 39.
    whole = best_order(demand, over=5, under=2, quantity=39)
    assert whole.missed == pytest.approx(14.66, abs=0.005)
    assert whole.left == pytest.approx(3.656120545715868, abs=1e-8)
    assert expected_profit(whole, demand, price=7, cost=5) == pytest.approx(52.40715617998893, abs=1e-8)
    assert expected_profit(best, demand, price=7, cost=5) > 52.40715617998893


@pytest.mark.published(source="snyder-shen", where="Example 4.7, in docstrings", seen="found")
@pytest.mark.parametrize(
    ("over", "under", "mean", "quantity", "cost"),
    [(1, 4, 6, 8, 3.5701069457709416), (0.18, 0.70, 50, 56, 1.797235211809178)],
)
def test_poisson_demand(over, under, mean, quantity, cost):
    best = best_order(poisson(mean), over=over, under=under)
    assert best.quantity == quantity
    assert best.cost == pytest.approx(cost, abs=1e-8)


@pytest.mark.published(source="snyder-shen", where="Problem 4.8b, in docstrings", seen="found")
def test_log_normal_demand():
    best = best_order(lognorm(0.3, scale=math.exp(6)), over=1, under=0.1765)
    assert best.quantity == pytest.approx(295.6266448071368, abs=1e-6)


def test_a_cost_of_nothing_is_refused():
    with pytest.raises(AssumptionError, match="over must be above 0"):
        best_order(norm(50, 8), over=0, under=1)
