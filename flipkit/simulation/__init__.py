"""Shops with known truth: drawn item by item, written as books, and measured against the truth.

* draws          random draws that stay the same
* kinds          what a shop is made of; histories, lives: what becomes of its items
* observed       what is known on a day; truth: what is true with endlessly many items
* books          histories as the seller's tables; worklog, titles, mistakes, rule_charges
* demo           the demo shop; ``python -m flipkit.simulation FOLDER`` writes its books
* scenarios      shops that are hard to judge
* calibration    how often intervals hold the truth; foretold: how often forecasts hold the next month
* seasons        a year of buying; usefulness: what the kit's choice earns beside others

A function that bears its module's name (``histories.histories``, ``observed.observed``,
``scenarios.scenarios``) is imported from there, so that neither hides the other.
"""

from __future__ import annotations

from flipkit.simulation.calibration import coverage, scenario_truth, shop_intervals
from flipkit.simulation.demo import demo_rules, demo_shop, demo_tables, demo_truth
from flipkit.simulation.histories import Histories
from flipkit.simulation.kinds import Kind, PlainCharges, Shop
from flipkit.simulation.scenarios import Scenario, shops_with
from flipkit.simulation.seasons import Season, season
from flipkit.simulation.truth import true_returns
from flipkit.simulation.usefulness import shares_of_the_knowing

__all__ = [
    "Histories",
    "Kind",
    "PlainCharges",
    "Scenario",
    "Season",
    "Shop",
    "coverage",
    "demo_rules",
    "demo_shop",
    "demo_tables",
    "demo_truth",
    "scenario_truth",
    "season",
    "shares_of_the_knowing",
    "shop_intervals",
    "shops_with",
    "true_returns",
]
