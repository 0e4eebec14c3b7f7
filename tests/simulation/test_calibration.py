"""Intervals hold the truth as often as they say, in few shops; the benchmark measures thousands.

``tests/benchmarks/bench_calibration.py`` prints the full table.
"""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest

from flipkit.analysis.ratio_stats import IntervalSettings
from flipkit.analysis.returns import hourly_difference
from flipkit.analysis.stock_value import Horizon
from flipkit.assumptions import load_assumptions
from flipkit.simulation.coverage import calibration
from tests.benchmarks.coverage import FAMILIES, coverage, scenario_truth, shop_intervals
from tests.benchmarks.scenarios import FIRST_DAY, LAST_DAY, scenarios, shops_with
from tests.benchmarks.truth import observed

SCENARIOS = {scenario.name: scenario for scenario in scenarios()}
# The kit's own horizon, so that what is tested is what is claimed.
HORIZON = Horizon(days=load_assumptions().whole("stock.horizon_days"), salvage_ppm=0)


CALIBRATION = calibration()
#: A part of the kept tables that is measured again: a scenario of each family, with few things of each category.
AGAIN = ("ordinary", "plain mixtures")


@pytest.fixture(scope="module", params=AGAIN)
def measured(request: pytest.FixtureRequest) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Coverage in fresh shops, and the rows of the file that it must agree with."""
    scenario = next(one for made in FAMILIES.values() for one in made() if one.name == request.param)
    truth = CALIBRATION["truth"].table
    truth = truth[truth["scenario"] == scenario.name].set_index("category")
    intervals = shop_intervals(
        scenario, items_each=20, shops=50, seed=5, horizon=HORIZON, settings=IntervalSettings(0.95, 500, 5, 10)
    )
    kept = CALIBRATION["returns"].table
    kept = kept[(kept["scenario"] == scenario.name) & (kept["items"] == 20)].set_index("basis")
    return coverage(intervals, truth), kept


@pytest.mark.parametrize("basis", ["sold", "bought"])
def test_twenty_items_of_each_hold_the_truth(measured: tuple[pd.DataFrame, pd.DataFrame], basis: str) -> None:
    # 300 intervals of 50 shops: a standard error near .013 about .95.
    row = measured[0].loc[basis]
    assert row["shops"] == 50
    assert row["claimed_share"] > 0.85
    assert 0.91 <= row["held"] <= 0.99


@pytest.mark.parametrize("basis", ["sold", "bought"])
def test_the_kept_table_agrees_within_its_error(measured: tuple[pd.DataFrame, pd.DataFrame], basis: str) -> None:
    now, kept = (table.loc[basis] for table in measured)
    for share in ("held", "too_high", "too_low", "bca_held", "claimed_share"):
        error = sum(binomial_error(row[share], row["shops"]) ** 2 for row in (now, kept)) ** 0.5
        assert abs(now[share] - kept[share]) < 4 * error, share


def binomial_error(share: float, shops: float) -> float:
    """Error of a share of six categories' cases in some shops, two cases of doubt added."""
    cases = 6 * shops
    middle = (share * cases + 2) / (cases + 4)
    # Cases of one shop are alike: counted as if half of them were there.
    return float((middle * (1 - middle) / (cases / 2)) ** 0.5)


@pytest.mark.parametrize("basis", ["sold", "bought"])
def test_the_measure_sees_the_textbook_bootstrap_fall_short(
    measured: tuple[pd.DataFrame, pd.DataFrame], basis: str
) -> None:
    assert measured[0].loc[basis, "bca_held"] < 0.92


def test_errors_on_both_sides(measured: tuple[pd.DataFrame, pd.DataFrame]) -> None:
    row = measured[0].loc["bought"]
    assert row["too_high"] + row["too_low"] == pytest.approx(1 - row["held"])
    assert abs(row["bias"]) < 2


def test_the_file_says_when_and_how_it_was_measured() -> None:
    for name in ("returns", "truth", "earned"):
        assert CALIBRATION[name].version
        assert CALIBRATION[name].seed
        assert dt.date(2026, 1, 1) < CALIBRATION[name].made_on
    table = CALIBRATION["returns"].table
    named = {one.name for made in FAMILIES.values() for one in made()}
    assert set(table["scenario"]) == named
    assert set(table["items"]) == {20, 40, 80}
    assert len(table) == 2 * 3 * len(named)


def test_shops_have_just_so_many_items_of_each() -> None:
    drawn = shops_with(SCENARIOS["two equal"].shop, items_each=30, copies=20, seed=9)
    sizes = drawn.items.groupby(["copy", "category"], observed=True).size()
    assert (sizes == 30).all()
    assert len(sizes) == 20 * 6


def test_two_equal_categories_have_one_truth() -> None:
    truth = scenario_truth(SCENARIOS["two equal"], horizon=HORIZON, items=300_000, seed=11)
    gap = truth.loc["hand tools", "hourly_bought"] - truth.loc["garden tools", "hourly_bought"]
    error = (truth.loc[["hand tools", "garden tools"], "hourly_bought_error"] ** 2).sum() ** 0.5
    assert abs(gap) < 4 * error
    assert error < 0.3


def test_equal_categories_are_called_equal_on_bought_basis() -> None:
    scenario = SCENARIOS["two equal"]
    seen = observed(shops_with(scenario.shop, items_each=20, copies=80, seed=5), as_of=LAST_DAY)
    settings = {"by": "category", "first": ["hand tools"], "second": ["garden tools"], "basis": "bought"}
    settings |= {"window": (FIRST_DAY, LAST_DAY), "horizon": HORIZON}
    settings |= {"settings": IntervalSettings(0.95, 500, 1, 10)}
    gaps = [hourly_difference(shop.reset_index(drop=True), **settings) for _, shop in seen.groupby("copy", sort=True)]
    claimed = [gap for gap in gaps if gap.claimed]
    assert len(claimed) >= 70
    # The difference is nothing: 95 % of 80 are 76, four standard errors below are 68.
    assert sum(gap.low <= 0 <= gap.high for gap in claimed) >= 0.85 * len(claimed)
    assert sum(gap.low > 0 for gap in claimed) < 0.1 * len(claimed)
