"""More freedom never lowers the ceiling, more work never raises it: 100 seeded askings, 1,000 in the bench."""

from __future__ import annotations

import numpy as np
import pytest

from flipkit.analysis.max_bid import answer, buying_answer
from flipkit.analysis.shop_knowledge import FEE_PRICES
from flipkit.reports.answers import buying_words
from tests.benchmarks.bench_highest_price import PROPERTIES, violations
from tests.helpers.known_shop import known_shop


@pytest.mark.parametrize("name", PROPERTIES)
def test_the_ceiling_moves_one_way_only(name):
    assert violations(known_shop(), name, askings=100, random=np.random.default_rng(7)) == []


def test_where_the_ceiling_falls_as_the_price_rises_the_step_of_the_fee_schedule_is_named():
    plain = {**known_shop(), "fee_price_cents": list(FEE_PRICES), "collected": []}
    kind = {**plain["categories"]["lamps"], "venue_pace": {"posted": 1.0}}

    def stepped(rise):
        fees = {"posted": [round(0.08 * price) + rise * (price > 15_000) for price in FEE_PRICES]}
        return {**plain, "categories": {**plain["categories"], "lamps": {**kind, "fees": fees}}}

    def falls(knowledge):
        ceilings = [answer(knowledge, "lamps", price_cents=price).highest_cents for price in range(12_000, 16_000, 500)]
        return bool((np.diff(ceilings) < 0).any())

    level, steep = (buying_answer(stepped(rise), "lamps", price_cents=14_000) for rise in (0, 8000))
    assert (falls(stepped(0)), falls(stepped(8000))) == (False, True)
    assert level["fee_step"] is None
    assert steep["fee_step"]["price_cents"] <= 15_000 < steep["fee_step"]["price_cents"] * 1.3
    assert any("At posted the fee jumps by $8" in line for line in buying_words(steep))
    assert not any("the fee jumps" in line for line in buying_words(level))
