"""The difference between two groups, and times to sale per group."""

from __future__ import annotations

import math

import numpy as np
import pytest

from flipkit.analysis.ratio_stats import IntervalSettings
from flipkit.analysis.returns import bought_returns, category_returns, hourly_difference
from flipkit.analysis.sizes import by_size
from flipkit.analysis.stock_value import Horizon
from flipkit.errors import AssumptionError

SETTINGS = {"settings": IntervalSettings(0.95, 500, 11, 10)}
FEWER = {"settings": IntervalSettings(0.95, 300, 11, 10)}
PAIR = {"by": "size_class", "first": ["bulky"], "second": ["small"], **SETTINGS}


def two_sizes(economics, random, *, trips=16, shift=0.0, shared=800.0):
    """Small and bulky things of shared trips; bulky ones earn ``shift`` dollars an hour more."""
    rows = []
    for trip in range(trips):
        luck = shared * random.standard_normal()
        for at in range(4):
            size, minutes = ("bulky", 120.0) if at % 2 else ("small", 60.0)
            net = minutes / 60 * (2000 + luck + (100 * shift if at % 2 else 0)) + 400 * random.standard_normal()
            rows.append({"trip_id": f"t{trip}", "size_class": size, "net_cents": round(net), "owner_min": minutes})
    return economics(rows)


def test_gap_is_the_difference_of_the_returns(shop, window):
    frame = shop(3)
    settings = {**PAIR, "settings": IntervalSettings(0.95, 8000, 11, 10)}
    found = hourly_difference(frame, window=window, **settings)
    hourly = category_returns(frame, window=window, by="size_class", **SETTINGS).set_index("size_class")["hourly"]
    assert found.gap == pytest.approx(hourly["bulky"] - hourly["small"])
    assert found.low < found.gap < found.high
    turned = hourly_difference(frame, window=window, **{**settings, "first": ["small"], "second": ["bulky"]})
    assert turned.gap == pytest.approx(-found.gap)
    # Other draws, the same interval seen from the other side, up to a twentieth of its width.
    noise = 0.05 * (found.high - found.low)
    assert (turned.low, turned.high) == pytest.approx((-found.high, -found.low), abs=noise)


def test_shared_trips_cancel(economics, window):
    frame = two_sizes(economics, np.random.default_rng(1), shift=4.0)
    found = hourly_difference(frame, window=window, **PAIR)
    each = category_returns(frame, window=window, by="size_class", **SETTINGS)
    # Each return swings with the trips' luck by far more than the difference does.
    assert found.high - found.low < 0.7 * (each["high"] - each["low"]).min()
    assert found.verdict == "bulky earns more an hour than small"


def test_equal_groups_are_called_different_as_often_as_claimed(economics, window):
    random = np.random.default_rng(5)
    held = sum(
        found.low <= 0 <= found.high
        for found in (
            hourly_difference(
                two_sizes(economics, random), window=window, **{**PAIR, "settings": IntervalSettings(0.95, 300, 11, 10)}
            )
            for _ in range(120)
        )
    )
    # 95 % of 120 is 114; four standard errors below are 104
    assert 104 <= held <= 120


def test_too_few_on_one_side(economics, window):
    frame = two_sizes(economics, np.random.default_rng(1), trips=4)
    found = hourly_difference(frame, window=window, **PAIR)
    assert (found.claimed, found.verdict) == (False, "too few to tell")
    assert math.isnan(found.low)
    none = hourly_difference(economics([{}]), window=window, **PAIR)
    assert math.isnan(none.gap)
    with pytest.raises(AssumptionError, match="not in second as well, got \\['small'\\]"):
        hourly_difference(frame, window=window, **{**PAIR, "first": ["small"]})


def test_sizes_on_bought_basis_take_the_horizon(shop, window):
    frame = shop(3)
    horizon = Horizon(days=180, salvage_ppm=0)
    table = by_size(frame, window=window, basis="bought", horizon=horizon, **SETTINGS).set_index("size_class")
    direct = bought_returns(frame, window=window, by="size_class", horizon=horizon, **SETTINGS).set_index("size_class")
    assert table["hourly"].to_dict() == pytest.approx(direct["hourly"].to_dict())
    assert (table["may_bring_cents"] > 0).all()
    so_far = by_size(frame, window=window, basis="bought", **SETTINGS).set_index("size_class")
    assert (so_far["hourly"] < table["hourly"]).all()


def test_gap_on_bought_basis_counts_what_unsold_things_may_bring(shop, window):
    frame = shop(3)
    horizon = Horizon(days=364, salvage_ppm=100_000)
    settings = {"window": window, "basis": "bought", **PAIR}
    found = hourly_difference(frame, horizon=horizon, **settings)
    table = bought_returns(frame, window=window, by="size_class", horizon=horizon, **SETTINGS).set_index("size_class")
    hourly = table["hourly"]
    assert (found.hourly_first, found.hourly_second) == pytest.approx((hourly["bulky"], hourly["small"]))
    assert found.gap == pytest.approx(hourly["bulky"] - hourly["small"])
    assert found.low < found.gap < found.high
    so_far = hourly_difference(frame, **settings)
    early = table["hourly_so_far"]
    assert so_far.gap == pytest.approx(early["bulky"] - early["small"])
    # Nothing is unsold on sold basis, so a horizon has nothing to say there.
    sold = {"window": window, "basis": "sold", **PAIR}
    assert hourly_difference(frame, horizon=horizon, **sold) == hourly_difference(frame, **sold)
    none = hourly_difference(frame, horizon=horizon, **{**settings, "first": ["no such"], "second": ["nor such"]})
    assert (none.claimed, math.isnan(none.gap)) == (False, True)
