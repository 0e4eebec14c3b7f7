"""Bulky against small: facts per size class, equal price bands, the break-even price."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from flipkit.analysis.ratio_stats import IntervalSettings
from flipkit.analysis.returns import in_window
from flipkit.analysis.sizes import (
    bought_price_bands,
    break_even_price,
    by_size,
    cubic_feet,
    in_stock,
    price_bands,
    within_price_bands,
)
from flipkit.analysis.stock_value import Horizon
from flipkit.errors import AssumptionError

SETTINGS = {"settings": IntervalSettings(0.95, 500, 11, 10)}


@pytest.mark.worked
def test_facts_of_a_size_class(economics, window):
    rows = [
        {"net_cents": 2000, "owner_min": 40.0, "pack_min": 8.0, "label_cents": 700},
        {"net_cents": -500, "owner_min": 60.0, "pack_min": 10.0, "label_cents": 900, "refund_cents": 3000},
        {"status": "for sale", "sold_on": None, "net_cents": -1200, "cost_cents": 1100, "days_listed": 50.0},
        {"status": "gone", "sold_on": None, "net_cents": -300, "cost_cents": 300, "days_listed": 90.0},
        {"size_class": "bulky", "height_in": 48.0},
    ]
    table = by_size(economics(rows), window=window, **SETTINGS)
    assert table["size_class"].tolist() == ["small", "bulky"]
    small = table.iloc[0]
    # two sales: (20.00 - 5.00) / 2, (7.00 + 9.00) / 2, (40 + 60) / 2, one of two came back
    assert small["net_per_sale_cents"] == 750
    assert small["label_per_sale_cents"] == 800
    assert (small["minutes_per_sale"], small["pack_min_per_sale"]) == (50, 9)
    assert (small["returned_share"], small["loss_per_sale_cents"]) == (0.5, 1500)
    assert (small["stock_items"], small["stock_cost_cents"], small["stock_cubic_ft"]) == (1, 1100, 1.0)
    assert small["hourly"] == pytest.approx(9.0)
    # days 20, 20 sold, 50 and 90 waited: half is unsold from day 20 on and nothing sells later
    assert small["days_to_sale"] == 20
    assert table.iloc[1]["cubic_ft"] == pytest.approx(4.0)


def test_a_class_without_sales_has_no_row_on_sold_basis(economics, window):
    frame = economics([{}, {"size_class": "oversize", "status": "for sale", "sold_on": None}])
    assert by_size(frame, window=window, **SETTINGS)["size_class"].tolist() == ["small"]
    both = by_size(frame, window=window, basis="bought", **SETTINGS)
    assert both["size_class"].tolist() == ["small", "oversize"]
    assert math.isnan(both.iloc[1]["net_per_sale_cents"])
    assert math.isnan(both.iloc[1]["days_to_sale"])


def test_space_and_stock():
    frame = pd.DataFrame({"length_in": [24.0, np.nan], "width_in": [12.0, 1.0], "height_in": [6.0, 1.0]})
    assert cubic_feet(frame).tolist()[0] == 1.0
    assert math.isnan(cubic_feet(frame).tolist()[1])
    status = pd.DataFrame({"status": ["sold", "for sale", "not listed", "returned", "gone"]})
    assert in_stock(status).tolist() == [False, True, True, True, False]


def test_bands_split_by_price_and_hold_every_sale(shop, window):
    frame = shop(2)
    edges = price_bands(frame.loc[frame["sold_on"].notna(), "sold_price_cents"], bands=3)
    table = within_price_bands(frame, window=window, edges_cents=edges, **SETTINGS)
    assert table["items"].sum() == frame["sold_on"].notna().sum()
    assert table["net_cents"].sum() == frame.loc[frame["sold_on"].notna(), "net_cents"].sum()
    assert table[["band", "size_class"]].to_numpy().tolist()[:3] == [[0, "small"], [0, "medium"], [0, "bulky"]]
    assert table["from_cents"].unique().tolist() == [0, *edges]
    assert table["below_cents"].isna().sum() == 3
    # dearer bands earn more an hour here, as minutes do not depend on the price
    assert table.groupby("band")["hourly"].mean().is_monotonic_increasing


@pytest.mark.worked
def test_a_price_on_the_edge_belongs_to_the_upper_band(economics, window):
    frame = economics([{"sold_price_cents": cents} for cents in (1999, 2000, 2001)])
    table = within_price_bands(frame, window=window, edges_cents=[2000], **SETTINGS)
    assert table["items"].tolist() == [1, 2]


def test_bands_compare_what_the_plain_table_mixes(economics, window):
    # Bulky things are dear: at every price they earn less an hour, and more overall.
    rows = []
    for at in range(60):
        dear = at % 2 == 1
        for size, share_of_dear in (("small", at % 10 == 9), ("bulky", dear or at % 4 == 0)):
            price = 9000 if share_of_dear else 2000
            minutes = 60.0 if size == "bulky" else 40.0
            row = {"size_class": size, "trip_id": f"t{at % 12}", "sold_price_cents": price}
            rows.append({**row, "net_cents": price - 1000 + 11 * at, "owner_min": minutes})
    frame = economics(rows)
    overall = by_size(frame, window=window, **SETTINGS).set_index("size_class")["hourly"]
    bands = within_price_bands(frame, window=window, edges_cents=[5000], **SETTINGS).pivot(
        index="band", columns="size_class", values="hourly"
    )
    assert overall["bulky"] > overall["small"]
    assert (bands["bulky"] < bands["small"]).all()


def test_bought_bands_hold_everything_bought_by_what_it_should_sell_for(shop, window):
    frame = shop(2)
    prices = frame["sold_price_cents"].where(frame["sold_on"].notna(), 2500)
    bands = bought_price_bands(frame, prices, window=window, edges_cents=[2500], horizon=Horizon(180, 0), **SETTINGS)
    inside = in_window(frame, window=window, basis="bought")
    assert bands["items"].sum() == len(inside)
    # A price on the edge belongs to the upper band, where all that is unsold stands.
    assert bands.loc[bands["band"] == 0, "unsold"].sum() == 0
    assert bands.loc[bands["band"] == 1, "items"].sum() == (prices[inside.index] >= 2500).sum()
    whole = by_size(frame, window=window, basis="bought", horizon=Horizon(180, 0), **SETTINGS).set_index("size_class")
    sums = bands.groupby("size_class")[["net_cents", "owner_min"]].sum()
    assert sums["net_cents"].to_dict() == whole["net_cents"].to_dict()
    assert sums["owner_min"].to_numpy() == pytest.approx(whole["owner_min"].reindex(sums.index).to_numpy())


def test_price_bands_are_whole_dollars_and_never_twice_the_same():
    assert price_bands(pd.Series([1000] * 9 + [5000]), bands=4) == [1000]
    assert price_bands(pd.Series([], dtype=int), bands=3) == []
    with pytest.raises(AssumptionError, match="bands must be at least 1"):
        price_bands(pd.Series([1000]), bands=0)
    with pytest.raises(AssumptionError, match="rising amounts above 0"):
        within_price_bands(pd.DataFrame(), window=(), edges_cents=[500, 500], **SETTINGS)


def two_lines(economics, *, noise, trips=30, each=4, seed=1, slope=1.0):
    """Small things earn 20.00 an hour; bulky ones net slope x (price - 30.00) in two hours."""
    random = np.random.default_rng(seed)
    rows = []
    for trip in range(trips):
        for _ in range(each):
            error = float(noise * random.standard_normal())
            rows.append({"trip_id": f"t{trip}", "net_cents": round(1000 + error), "owner_min": 30.0})
            price = int(random.integers(3000, 15000))
            net = round(slope * (price - 3000) + error)
            bulky = {"size_class": "bulky", "trip_id": f"t{trip}", "sold_price_cents": price}
            rows.append({**bulky, "net_cents": net, "owner_min": 120.0})
    return economics(rows)


@pytest.mark.worked
def test_break_even_of_two_straight_lines(economics, window):
    # price - 30.00 = 20.00 x 2 h at a price of 70.00
    found = break_even_price(two_lines(economics, noise=0.0), window=window, **SETTINGS)
    assert found.price_cents == pytest.approx(7000)
    assert (found.low_cents, found.high_cents) == pytest.approx((7000, 7000))
    assert found.hourly_small == pytest.approx(20.0)
    assert found.verdict == "bulky beats small above the price shown"


def test_break_even_interval_holds_the_truth(economics, window):
    held = 0
    for seed in range(60):
        frame = two_lines(economics, noise=1500.0, trips=20, each=2, seed=seed)
        found = break_even_price(frame, window=window, **SETTINGS)
        held += found.low_cents <= 7000 <= found.high_cents
    assert 52 <= held <= 60


def test_no_crossing_is_said_so(economics, window):
    falling = break_even_price(two_lines(economics, noise=0.0, slope=-0.2), window=window, **SETTINGS)
    assert falling.verdict == "not found: at no price does bulky beat small"
    assert math.isnan(falling.price_cents)


def test_large_that_wins_at_any_price_breaks_even_at_nothing(economics, window):
    frame = two_lines(economics, noise=0.0)
    frame.loc[frame["size_class"] == "bulky", "net_cents"] += 100_000
    found = break_even_price(frame, window=window, **SETTINGS)
    assert found.price_cents == 0
    assert found.verdict == "bulky beats small at every price"


def test_beyond_what_was_sold_is_said_so(economics, window):
    frame = two_lines(economics, noise=0.0)
    frame.loc[frame["size_class"] == "small", "net_cents"] *= 10
    found = break_even_price(frame, window=window, **SETTINGS)
    assert found.price_cents > found.seen_to_cents
    assert found.verdict == "bulky beats small above a price outside what was sold so far"


def test_too_few_to_tell(economics, window):
    found = break_even_price(two_lines(economics, noise=0.0, trips=4, each=2), window=window, **SETTINGS)
    assert not found.claimed
    assert found.verdict == "too few to tell"
    assert math.isnan(found.low_cents)
    none = break_even_price(economics([{}]), window=window, **SETTINGS)
    assert none.verdict == "too few to tell"
    with pytest.raises(AssumptionError, match="not in small as well"):
        break_even_price(economics([{}]), window=window, large=["small"], small=["small"], **SETTINGS)
