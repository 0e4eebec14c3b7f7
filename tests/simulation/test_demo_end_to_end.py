"""The kit reads the demo shop's gappy books and tells nearly what a perfect book-keeper knows."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd
import pytest

from flipkit.analysis.ratio_stats import IntervalSettings
from flipkit.analysis.stock_value import Horizon
from flipkit.assumptions import load_assumptions
from flipkit.books.read import read_books
from flipkit.economics.items import item_economics
from flipkit.simulation.demo import DEMO_FIRST_DAY, DEMO_LAST_DAY, DEMO_SEED, demo_rules, demo_shop
from flipkit.simulation.shops import histories
from tests.benchmarks.truth import observed
from tests.helpers.returns import both_bases, demo_truth

DEMO = Path(__file__).parents[2] / "data_demo"
SETTINGS = {"settings": IntervalSettings(0.95, 1000, 1, 10)}
WINDOW = (DEMO_FIRST_DAY, DEMO_LAST_DAY)


def told(items: pd.DataFrame) -> pd.DataFrame:
    found = both_bases(items, window=WINDOW, horizon=Horizon(days=180, salvage_ppm=0), **SETTINGS)
    return found.set_index("category").sort_index()


@pytest.fixture(scope="module")
def by_the_books() -> pd.DataFrame:
    books = read_books(DEMO)
    economics = item_economics(books, demo_rules(), load_assumptions(DEMO / "assumptions.toml"), DEMO_LAST_DAY)
    return told(economics.items)


@pytest.fixture(scope="module")
def by_the_perfect() -> pd.DataFrame:
    return told(observed(histories(demo_shop(demo_rules()), seed=DEMO_SEED), as_of=DEMO_LAST_DAY))


@pytest.mark.parametrize("basis", ["sold", "bought"])
def test_gaps_rules_and_assumptions_move_the_figures_little(
    by_the_books: pd.DataFrame, by_the_perfect: pd.DataFrame, basis: str
) -> None:
    # The books bear overheads too, near a dollar an hour, and share lots by their own keys.
    gap = by_the_books[f"{basis}_hourly"] - by_the_perfect[f"{basis}_hourly"]
    assert gap.abs().max() < 5
    assert gap.abs().mean() < 2.5
    ranks = by_the_books[f"{basis}_hourly"].corr(by_the_perfect[f"{basis}_hourly"], method="spearman")
    assert ranks > 0.9


def test_intervals_hold_the_demo_shops_truth(by_the_books: pd.DataFrame) -> None:
    truth = demo_truth(items=200_000)["hourly_bought"].sort_index()
    held = (by_the_books["bought_low"] <= truth) & (truth <= by_the_books["bought_high"])
    # Twelve intervals of 95 %: ten or more hold in 98 of 100 shops.
    assert held.sum() >= 10


def test_the_stories_show(by_the_books: pd.DataFrame) -> None:
    prints = by_the_books.loc["framed prints"]
    assert prints["sold_hourly"] > 18
    assert prints["bought_hourly"] < 6
    assert by_the_books["bought_hourly"].idxmin() in ("folding chairs", "framed prints")
    assert by_the_books.loc["folding chairs", "sold_hourly"] < 0
    assert by_the_books.loc["typewriters", "bought_hourly"] < by_the_books.loc["hand tools", "bought_hourly"]
    assert dt.date(2026, 11, 14) == DEMO_LAST_DAY
