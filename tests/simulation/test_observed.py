"""What is known on a day holds nothing of the future, and all of the past."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from flipkit.simulation.demo import DEMO_LAST_DAY, DEMO_SEED, demo_rules, demo_shop
from flipkit.simulation.shops import Histories, histories
from tests.benchmarks.truth import observed


@pytest.fixture(scope="module")
def drawn() -> Histories:
    return histories(demo_shop(demo_rules()), seed=DEMO_SEED)


def test_in_the_end_everything_is_known(drawn: Histories) -> None:
    seen = observed(drawn, as_of=dt.date(2032, 1, 1))
    assert (seen["net_cents"] == drawn.items["net_cents"]).all()
    np.testing.assert_allclose(seen["owner_min"], drawn.items["owner_min"])
    assert set(seen["status"]) == {"sold", "returned", "gone"}


def test_nothing_of_the_future_is_known(drawn: Histories) -> None:
    seen = observed(drawn, as_of=dt.date(2026, 6, 30))
    day = pd.Timestamp(2026, 6, 30)
    for column in ("bought_on", "listed_on", "sold_on", "gone_on"):
        assert (seen[column].dropna() <= day).all(), column
    assert set(seen["status"]) == {"sold", "returned", "gone", "for sale", "not listed"}
    waiting = seen[seen["status"].isin(["for sale", "not listed"])]
    assert (waiting["net_cents"] == -waiting["cost_cents"] - waiting["trip_cents"]).all()


def test_minutes_only_grow(drawn: Histories) -> None:
    days = [dt.date(2025, 6, 1), dt.date(2025, 9, 1), dt.date(2026, 3, 1), DEMO_LAST_DAY]
    earlier = None
    for day in days:
        minutes = observed(drawn, as_of=day).set_index("item_id")["owner_min"]
        if earlier is not None:
            assert (minutes.loc[earlier.index] >= earlier - 1e-9).all()
        earlier = minutes
    assert (earlier <= drawn.items["owner_min"].iloc[: len(earlier)] + 1e-9).all()


def test_an_unlisted_item_has_no_days_listed(drawn: Histories) -> None:
    seen = observed(drawn, as_of=DEMO_LAST_DAY)
    assert seen.loc[seen["status"] == "not listed", "days_listed"].isna().all()
    for_sale = seen[seen["status"] == "for sale"]
    assert (for_sale["days_listed"] == (pd.Timestamp(DEMO_LAST_DAY) - for_sale["listed_on"]).dt.days).all()
