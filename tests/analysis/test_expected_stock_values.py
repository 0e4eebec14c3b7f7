"""What unsold stock may still bring: chances, money, work, and the uncertainty of all three."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from flipkit.analysis.ratio_stats import IntervalSettings
from flipkit.analysis.returns import bought_returns, category_returns, shop_bought_return
from flipkit.analysis.stock_value import (
    DAY_ITEMS,
    PACE_SALES,
    Horizon,
    expected_stock_values,
    expected_values_by_trip,
    pooled_hazards,
    sale_probabilities_by_day,
    shelf_counts,
    shop_hazards,
)
from flipkit.analysis.survival import survival_table
from flipkit.errors import AssumptionError
from tests.helpers.returns import both_bases

SETTINGS = {"settings": IntervalSettings(0.95, 500, 11, 10)}
HALF_YEAR = Horizon(days=180, salvage_ppm=100_000)


@pytest.mark.worked
def test_chances_of_a_coin_a_day():
    # three days ahead at 1/2 a day: 1 - 1/8; and with 1/4 given up a day, 1/2 + 1/8 + 1/32
    assert sale_probabilities_by_day(np.full(6, 0.5), np.zeros(6), horizon_days=3).tolist() == [0.875] * 4
    assert sale_probabilities_by_day(np.full(6, 0.5), np.full(6, 0.25), horizon_days=3)[0] == pytest.approx(0.65625)


def test_chances_agree_with_kaplan_meier_where_the_category_speaks_alone():
    random = np.random.default_rng(1)
    days, sold = random.integers(0, 200, 3000).astype(float), random.random(3000) < 0.7
    shelf = shelf_counts(days, sold, np.zeros(3000, dtype=bool), days=400)
    table = survival_table(days, sold, confidence=0.95)
    share = np.interp(np.arange(200), table["days"], table["unsold_share"])
    got = sale_probabilities_by_day(shelf.sold / np.maximum(shelf.at_risk, 1), np.zeros(400), horizon_days=30)
    # after getting through day 49 (50 days): 1 - S(79) / S(49)
    assert got[50] == pytest.approx(1 - share[79] / share[49], abs=1e-12)
    assert got[0] == pytest.approx(1 - share[29], abs=1e-12)


@pytest.mark.worked
def test_pooling_weights_are_the_stated_ones():
    own = shelf_counts([9] * 20, [False] * 20, [False] * 20, days=10)
    shop = np.full(10, 0.05)
    sale, _ = pooled_hazards(own, shop, np.zeros(10))
    # 20 items x 10 days x 0.05 = 10 expected, 0 sold: pace 5 / 15; then 5 items beside 20
    assert (PACE_SALES, DAY_ITEMS) == (5.0, 5.0)
    assert sale == pytest.approx(np.full(10, (5 / 15) * 0.05 * 5 / 25))


def test_nothing_on_sale_follows_the_shop():
    own = shelf_counts([], [], [], days=5)
    shop = np.array([0.1, 0.0, 0.2, 0.0, 0.1])
    assert pooled_hazards(own, shop, np.zeros(5))[0] == pytest.approx(shop)


def test_shop_curve_goes_on_where_few_are_left():
    shelf = shelf_counts([4] * 50 + [20] * 5, [True] * 55, [False] * 55, days=60)
    sale, _ = shop_hazards(shelf)
    # five items are too few: the mean of the days before goes on, 50 sales in 5 x 55 days at risk
    assert sale[4] == pytest.approx(50 / 55)
    assert sale[5:] == pytest.approx(np.full(55, 50 / 275))


def test_kept_chances_follow_the_waits_and_not_the_money(economics):
    frame = with_unsold(economics)
    first = expected_stock_values(frame, HALF_YEAR)
    dearer = frame.assign(net_cents=frame["net_cents"] + 500)
    moved = expected_stock_values(dearer, HALF_YEAR)
    assert moved["chance"].tolist() == first["chance"].tolist()
    assert moved["if_sold_cents"].iloc[-1] == pytest.approx(first["if_sold_cents"].iloc[-1] + 500)
    for changed in (
        frame.assign(days_listed=frame["days_listed"] + 10),
        frame.assign(trip_id=frame["trip_id"].replace("t3", "t4")),
        frame.assign(status=frame["status"].replace("for sale", "not listed")),
    ):
        inside = np.ones(len(frame), dtype=bool)
        found, before = (
            expected_values_by_trip(one, HALF_YEAR, inside=inside, by="category") for one in (changed, frame)
        )
        assert [part.tolist() for part in found[2:]] != [part.tolist() for part in before[2:]]
    assert expected_stock_values(frame, HALF_YEAR).equals(first)
    assert (
        expected_stock_values(frame, Horizon(days=60, salvage_ppm=100_000))["chance"].iloc[-1]
        < first["chance"].iloc[-1]
    )


def with_unsold(economics, *, waited=30.0, chance_days=100):
    """Thirty sold lamps and one that waits; the shop is the category."""
    rows = [
        {
            "trip_id": f"t{at % 10}",
            "days_listed": float(1 + 3 * at),
            "net_cents": 2000,
            "cost_cents": 800,
            "pack_min": 10.0,
            "messages_min": 5.0,
            "post_min": 5.0,
            "returns_min": 0.0,
        }
        for at in range(30)
    ]
    unsold = {"status": "for sale", "sold_on": None, "days_listed": waited, "cost_cents": 800, "sold_price_cents": 0}
    rows.append({**unsold, "trip_id": "t3", "messages_min": 0.0, "pack_min": 0.0, "post_min": 0.0, "returns_min": 0.0})
    return economics(rows)


@pytest.mark.worked
def test_value_is_chance_times_money_and_salvage_for_the_rest(economics):
    frame = with_unsold(economics)
    found = expected_stock_values(frame, HALF_YEAR)
    assert (found["value_cents"].iloc[:30] == 0).all()
    last = found.iloc[-1]
    # every sale left 28.00 beside its cost at the same list price, early or late
    assert last["if_sold_cents"] == pytest.approx(2800)
    assert last["salvage_cents"] == pytest.approx(80)
    assert last["value_cents"] == pytest.approx(last["chance"] * 2800 + (1 - last["chance"]) * 80)
    # messages 5, pack 10, post 5 by the chance
    assert last["work_min"] == pytest.approx(20 * last["chance"])
    assert last["expected_net_cents"] == pytest.approx(-800 + last["value_cents"])
    # all 30 sold within 88 days: the one that has waited 30 is all but sure to sell
    assert 0.85 < last["chance"] < 1


def test_longer_waits_and_shorter_horizons_lower_the_value(shop):
    frame = shop(8, items=400)
    long, short = (expected_stock_values(frame, Horizon(days=days, salvage_ppm=0)) for days in (180, 60))
    stock = frame["status"] == "for sale"
    assert (long.loc[stock, "chance"] > short.loc[stock, "chance"]).all()
    assert ((long["chance"] >= 0) & (long["chance"] <= 1)).all()


def test_a_slow_category_is_told_from_a_quick_one(economics):
    rows = []
    for at in range(60):
        slow = at % 2 == 0
        unsold = slow and at % 6 != 0
        row = {
            "category": "slow" if slow else "quick",
            "trip_id": f"t{at % 15}",
            "days_listed": 150.0 if slow else 15.0,
        }
        rows.append({**row, "status": "for sale" if unsold else "sold", "sold_on": None if unsold else "2026-06-01"})
    rows += [
        {"category": name, "status": "for sale", "sold_on": None, "days_listed": 5.0} for name in ("slow", "quick")
    ]
    found = expected_stock_values(economics(rows), Horizon(days=90, salvage_ppm=0))["chance"]
    assert found.iloc[-1] > 0.9
    assert found.iloc[-2] < 0.5


def test_late_sales_at_lower_prices_lower_what_waits(economics):
    rows = [
        {"trip_id": f"t{at % 10}", "days_listed": float(at), "net_cents": 4000 if at < 60 else 2000, "cost_cents": 0}
        for at in range(120)
    ]
    rows.append({"status": "for sale", "sold_on": None, "days_listed": 60.0, "net_cents": 0})
    rows.append({"status": "for sale", "sold_on": None, "days_listed": 0.0, "net_cents": 0})
    found = expected_stock_values(economics(rows), HALF_YEAR)["if_sold_cents"]
    assert found.iloc[-1] == pytest.approx(3000, rel=0.05)
    assert 2000 < found.iloc[-2] < 2300


def test_returned_gone_and_unlisted(economics):
    frame = with_unsold(economics)
    extra = economics(
        [
            {"status": "returned", "cost_cents": 500},
            {"status": "gone", "sold_on": None, "cost_cents": 500},
            {
                "status": "not listed",
                "sold_on": None,
                "days_listed": np.nan,
                "list_price_cents": np.nan,
                "cost_cents": 500,
            },
        ]
    )
    found = expected_stock_values(pd.concat([frame, extra], ignore_index=True), HALF_YEAR).iloc[-3:]
    assert found["value_cents"].iloc[0] == pytest.approx(50)
    assert (found.iloc[1, :5] == 0).all()
    unlisted = found.iloc[2]
    # clean, photograph, write and store come for certain: 3 minutes each
    assert unlisted["work_min"] > 12
    assert unlisted["chance"] > 0.5


def test_without_activities_the_stages_tell_the_work(shop):
    frame = shop(8, items=400)
    bare = frame.drop(
        columns=[name for name in frame if name.endswith("_min") and name not in ("owner_min", "hired_min")]
    )
    full, plain = (expected_stock_values(part, HALF_YEAR)["work_min"].sum() for part in (frame, bare))
    assert plain == pytest.approx(full, rel=0.05)


def test_pseudo_values_are_plain_sums_when_everything_is_sold(shop):
    frame = shop(4)
    sold = frame.loc[frame["sold_on"].notna()].reset_index(drop=True)
    found = expected_values_by_trip(sold, HALF_YEAR, inside=np.ones(len(sold), dtype=bool), by="category")
    for name, touched, net, minutes in zip(*found, strict=True):
        mine = sold.loc[sold["category"] == name].groupby("trip_id")[["net_cents", "owner_min"]].sum()
        assert net[touched] == pytest.approx(mine["net_cents"].to_numpy())
        assert minutes[touched] == pytest.approx(mine["owner_min"].to_numpy())


def test_pseudo_values_are_the_jackknife(shop):
    frame = shop(9, trips=12, items=80)
    inside = np.ones(len(frame), dtype=bool)
    names, touched, net, _ = expected_values_by_trip(frame, HALF_YEAR, inside=inside, by="category")
    prospects = expected_stock_values(frame, HALF_YEAR)["expected_net_cents"]
    at = names.index("games")
    net = net[at, touched[at]]
    total = prospects[frame["category"] == "games"].sum()
    assert net.sum() == pytest.approx(total)
    # By hand: leave a trip out of the games and value the rest anew; the shop's curve stays.
    games = frame["category"] == "games"
    own_trips = sorted(frame.loc[games, "trip_id"].unique())
    assert len(own_trips) == len(net)
    direct = []
    for trip in own_trips:
        left = frame.loc[~(games & (frame["trip_id"] == trip))].reset_index(drop=True)
        again = expected_stock_values(left, HALF_YEAR)["expected_net_cents"]
        direct.append(total - again[left["category"] == "games"].sum())
    direct = np.array(direct)
    direct += (total - direct.sum()) / len(direct)
    # The shop's own curve moves a little when a trip is left out by hand.
    assert np.corrcoef(direct, net)[0, 1] > 0.99


def test_bought_basis_holds_what_may_still_come(shop, window):
    frame = shop(10)
    table = bought_returns(frame, window=window, horizon=HALF_YEAR, **SETTINGS)
    assert table["unsold"].sum() == (frame["status"] == "for sale").sum()
    assert table["hourly"].is_monotonic_decreasing
    # With one more sale like the best.
    best = frame[frame["sold_on"].notna()].sort_values("net_cents").groupby("category").tail(1).set_index("category")
    best = best.loc[table["category"]]
    more = (table["expected_net_cents"] + best["net_cents"].to_numpy()) / (
        table["expected_min"] + best["owner_min"].to_numpy()
    )
    assert table["one_more"].to_numpy() == pytest.approx(0.6 * more.to_numpy(), abs=1e-3)
    prospects = expected_stock_values(frame, HALF_YEAR)["work_min"].groupby(frame["category"]).sum()
    assert table.set_index("category")["still_to_do_min"].to_dict() == pytest.approx(prospects.to_dict())
    assert (table["expected_min"] - table["owner_min"]).to_numpy() == pytest.approx(table["still_to_do_min"].to_numpy())
    assert (table["expected_net_cents"] - table["net_cents"] == table["may_bring_cents"]).all()
    hourly = 0.6 * table["expected_net_cents"] / table["expected_min"]
    assert table["hourly"].to_numpy() == pytest.approx(hourly.to_numpy(), abs=1e-3)
    assert (table["hourly"] > table["hourly_so_far"]).all()
    assert ((table["low"] < table["hourly"]) & (table["hourly"] < table["high"])).all()
    plain = category_returns(frame, window=window, basis="bought", **SETTINGS).set_index("category")
    assert table.set_index("category")["hourly_so_far"].to_dict() == pytest.approx(plain["hourly"].to_dict())


def test_forecasts_own_uncertainty_widens_the_interval(shop, window):
    # Four of five are unsold, so most of what they will bring is known from few sales.
    frame = shop(10, wait_days=400)
    assert (frame["status"] == "for sale").mean() > 0.7
    table = bought_returns(frame, window=window, horizon=HALF_YEAR, **SETTINGS).set_index("category")
    prospects = expected_stock_values(frame, HALF_YEAR)
    frozen = frame.assign(net_cents=prospects["expected_net_cents"], owner_min=prospects["expected_min"])
    sure = category_returns(frozen, window=window, basis="bought", **SETTINGS).set_index("category")
    assert (table["delta_se"] > 1.1 * sure["delta_se"]).all()
    assert table["hourly"].to_dict() == pytest.approx(sure["hourly"].to_dict())


def test_whole_shop_sums_its_categories(shop, window):
    frame = shop(10)
    parts = bought_returns(frame, window=window, horizon=HALF_YEAR, **SETTINGS)
    whole = shop_bought_return(frame, window=window, horizon=HALF_YEAR, **SETTINGS).iloc[0]
    assert whole["category"] == "whole shop"
    assert whole["items"] == parts["items"].sum()
    assert whole["expected_min"] == pytest.approx(parts["expected_min"].sum())
    assert whole["expected_net_cents"] == pytest.approx(parts["expected_net_cents"].sum(), abs=len(parts))


def test_a_category_whose_sales_look_fine_while_most_never_sell(economics, window):
    rows = []
    for at in range(90):
        sold = at % 3 == 0
        row = {"category": "prints", "trip_id": f"t{at % 18}", "cost_cents": 900, "owner_min": 40.0}
        row |= {"net_cents": 3000 + 20 * at if sold else -900, "days_listed": 20.0 + at if sold else 300.0}
        rows.append({**row, "status": "sold" if sold else "for sale", "sold_on": "2026-06-01" if sold else None})
        rows.append(
            {**row, "category": "lamps", "status": "sold", "sold_on": "2026-06-01", "net_cents": 1500 + 10 * at}
        )
    table = both_bases(economics(rows), window=window, horizon=Horizon(days=180, salvage_ppm=0), **SETTINGS)
    assert table["category"].tolist() == ["lamps", "prints"]
    prints, lamps = table.set_index("category").loc["prints"], table.set_index("category").loc["lamps"]
    assert prints["sold_hourly"] > lamps["sold_hourly"]
    assert prints["bought_hourly"] < lamps["bought_hourly"]
    assert prints["gap"] == pytest.approx(prints["sold_hourly"] - prints["bought_hourly"])


def test_books_without_listing_days_count_from_the_purchase(shop):
    frame = shop(8, items=300)
    bare = frame.assign(days_listed=np.nan, days_held=frame["days_listed"], listed_on=pd.NaT)
    bare["status"] = bare["status"].replace("for sale", "not listed")
    with_days, without = (expected_stock_values(part, HALF_YEAR)["chance"] for part in (frame, bare))
    assert without.to_numpy() == pytest.approx(with_days.to_numpy())


def test_a_sale_without_listing_day_still_teaches(shop):
    frame = shop(8, items=300)
    gaps = frame.assign(days_held=frame["days_listed"])
    lost = (gaps["status"] == "sold") & (gaps.index % 2 == 0)
    gaps.loc[lost, "days_listed"] = np.nan
    gaps.loc[lost, "listed_on"] = pd.NaT
    whole, mended = (expected_stock_values(part, HALF_YEAR)["chance"].sum() for part in (frame, gaps))
    assert mended == pytest.approx(whole, rel=1e-9)


def test_everything_unsold_is_still_a_table(economics, window):
    frame = economics([{"status": "not listed", "sold_on": None, "days_listed": np.nan, "listed_on": None}] * 12)
    table = bought_returns(frame, window=window, horizon=HALF_YEAR, **SETTINGS)
    assert table["unsold"].item() == 12
    assert table["verdict"].item() == "too few to tell"


def test_horizon_is_checked():
    with pytest.raises(AssumptionError, match=r"stock.horizon_days must be at least 1, got 0"):
        Horizon(days=0, salvage_ppm=0)
    with pytest.raises(AssumptionError, match=r"stock.salvage must be from 0 % to 100 %"):
        Horizon(days=10, salvage_ppm=2_000_000)


def test_no_price_known_yet_leaves_the_salvage(economics):
    row = {
        "status": "not listed",
        "sold_on": None,
        "listed_on": None,
        "days_listed": np.nan,
        "list_price_cents": np.nan,
    }
    found = expected_stock_values(economics([{**row, "sold_price_cents": 0, "cost_cents": 700}] * 3), HALF_YEAR)
    assert found["value_cents"].tolist() == pytest.approx([70.0] * 3)
    assert np.isfinite(found.to_numpy()).all()


def test_nothing_at_all_is_an_empty_table(economics, window):
    empty = economics([{}]).iloc[:0]
    assert expected_stock_values(empty, HALF_YEAR).empty
    assert both_bases(empty, window=window, horizon=HALF_YEAR, **SETTINGS).empty
    assert bought_returns(empty, window=window, horizon=HALF_YEAR, **SETTINGS).empty
