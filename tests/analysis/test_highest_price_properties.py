"""More freedom never lowers the ceiling, more work never raises it: 100 seeded askings, 1,000 in the bench."""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks.bench_highest_price import PROPERTIES, violations
from tests.helpers.known_shop import known_shop


@pytest.mark.parametrize("name", PROPERTIES)
def test_the_ceiling_moves_one_way_only(name):
    assert violations(known_shop(), name, askings=100, random=np.random.default_rng(7)) == []
