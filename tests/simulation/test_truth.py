"""The demo shop's truth tells the stories that the demo is for."""

from __future__ import annotations

import pandas as pd
import pytest

from tests.helpers.returns import demo_truth


@pytest.fixture(scope="module")
def truth() -> pd.DataFrame:
    return demo_truth(items=300_000)


def test_its_error_is_small_beside_the_differences(truth: pd.DataFrame) -> None:
    assert truth["hourly_bought_error"].max() < 0.5
    assert truth["hourly_sold_error"].max() < 0.6


def test_one_category_loses_money(truth: pd.DataFrame) -> None:
    assert truth["hourly_bought"].idxmin() == "folding chairs"
    assert truth.loc["folding chairs", "hourly_sold"] < -1


def test_one_looks_fine_on_sold_items_and_mostly_never_sells(truth: pd.DataFrame) -> None:
    prints = truth.loc["framed prints"]
    assert prints["sold_share"] < 0.4
    assert prints["hourly_sold"] > truth["hourly_sold"].median()
    assert prints["hourly_bought"] < 3


def test_one_brings_much_a_sale_and_little_an_hour(truth: pd.DataFrame) -> None:
    profit = truth["net_sold_cents"].rank(ascending=False)
    hourly = truth["hourly_bought"].rank(ascending=False)
    assert profit["typewriters"] <= 3
    assert hourly["typewriters"] >= 8


def test_small_things_pay_best(truth: pd.DataFrame) -> None:
    best = truth["hourly_bought"].nlargest(4).index
    assert {"film cameras and lenses", "hand tools"} <= set(best)
