"""Stock: turnover, GMROI, sell-through, capital, space and age."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flipkit.analysis.stock import ageing_table, days_on_hand, margin_return, sell_through, stock_table, turnover
from flipkit.errors import AssumptionError

AS_OF = dt.date(2026, 12, 31)


@pytest.mark.published(source="exam-stock-turnover", where="4,380,000 over 870,000", seen="found")
def test_turnover_and_days():
    turns = turnover(4_380_000, 870_000)
    assert turns == pytest.approx(5.03, abs=0.005)
    assert days_on_hand(turns) == pytest.approx(72.5, abs=0.005)


@pytest.mark.published(source="campus-stock-turnover", where="1,300,000; mean of 180,000 and 197,000", seen="found")
def test_turnover_of_a_mean_inventory():
    turns = turnover(1_300_000, (180_000 + 197_000) / 2)
    assert turns == pytest.approx(6.896, abs=0.001)
    # the page prints 50.97 days, which is not 365 over its own 6.896
    assert days_on_hand(turns) == pytest.approx(52.93, abs=0.005)


@pytest.mark.published(source="stock-turnover-page", where="turnover 4.32; 600,000 over 120,000", seen="secondary")
def test_days_and_turns():
    assert days_on_hand(4.32) == pytest.approx(84.49, abs=0.005)
    assert turnover(600_000, 120_000) == 5


@pytest.mark.published(source="gmrii-definition", where="identity m / (1 - m) x turnover", seen="computed")
@pytest.mark.parametrize(("margin", "turns", "expected"), [(0.60, 2.5, 3.75), (0.40, 7, 14 / 3)])
def test_gmroi_identity(margin, turns, expected):
    inventory = 1000.0
    cost = turns * inventory
    gross = cost * margin / (1 - margin)
    assert margin_return(gross, inventory) == pytest.approx(expected, abs=1e-9)


@given(st.floats(1, 1e6), st.floats(1, 1e6), st.floats(1, 1e6))
def test_gmroi_is_margin_on_cost_times_turnover(cost, inventory, sales):
    gross = sales - cost
    assert margin_return(gross, inventory) == pytest.approx(
        gross / cost * turnover(cost, inventory), rel=1e-9, abs=1e-9
    )


@pytest.mark.published(source="sell-through-calculators", where="300 of 500 received", seen="secondary")
def test_sell_through():
    assert sell_through(300, 500) == pytest.approx(0.60)
    assert math.isnan(sell_through(0, 0))


def test_nothing_in_stock_is_no_number():
    assert math.isnan(turnover(100.0, 0.0))
    assert math.isnan(margin_return(100.0, 0.0))
    assert days_on_hand(0.0) == math.inf


@pytest.mark.worked
def test_stock_of_a_month(economics):
    june = (dt.date(2026, 6, 1), dt.date(2026, 6, 30))
    base = {"bought_on": "2026-05-22", "listed_on": "2026-05-25", "cost_cents": 1000}
    came = {**base, "bought_on": "2026-06-16", "listed_on": None, "sold_on": None, "status": "not listed"}
    rows = [
        # held 2 Jun - 11 Jun in June: 10 days of 30 before its sale on the 11th
        {**base, "sold_on": "2026-06-11", "sold_price_cents": 4000, "net_cents": 2500},
        {**base, "sold_on": None, "status": "for sale", "sold_price_cents": 0},
        came,
        {
            **base,
            "category": "games",
            "sold_on": None,
            "gone_on": "2026-06-06",
            "status": "gone",
            "sold_price_cents": 0,
            "net_cents": -1200,
        },
    ]
    table = stock_table(economics(rows), window=june, as_of=dt.date(2026, 6, 30)).set_index("category")
    lamps, games = table.loc["lamps"], table.loc["games"]
    assert (lamps["sold"], lamps["written_off"], lamps["stock_items"]) == (1, 0, 2)
    # One came in June and has not sold.
    assert (lamps["bought"], lamps["sell_through"]) == (1, 0.0)
    assert (lamps["stock_cost_cents"], lamps["stock_cubic_ft"]) == (2000, 2.0)
    assert (lamps["goods_sold_cents"], lamps["gross_margin_cents"]) == (1000, 3000)
    # days in hand in June: 10 + 30 + 15 = 55, at 10.00 each over 30 days
    assert lamps["average_stock_cents"] == pytest.approx(1000 * 55 / 30)
    assert lamps["turnover"] == pytest.approx(30 / 55 * 365 / 30)
    assert lamps["days_on_hand"] == pytest.approx(55)
    assert lamps["gmroi"] == pytest.approx(3 * 30 / 55 * 365 / 30)
    # 25.00 on 10.00 tied up for 55 days in June, the unsold ones' 45 included
    assert lamps["capital_days"] == pytest.approx(550)
    assert lamps["net_per_capital_day"] == pytest.approx(25 / 550)
    assert lamps["capital_return"] == pytest.approx(25 / 550 * 365)
    # 55 cubic-foot days are 55 / (365 / 12) months
    assert lamps["net_per_cubic_ft_month"] == pytest.approx(25 / (55 * 12 / 365))
    # the games left on the sixth: five days, nothing sold
    assert games["average_stock_cents"] == pytest.approx(1000 * 5 / 30)
    assert (games["sold"], games["written_off"]) == (0, 1)
    assert math.isnan(games["sell_through"])
    # What was written off is a cost of goods: 10.00 over 10.00 x 5 / 30 held, and a margin of -10.00.
    assert games["turnover"] == pytest.approx(6 * 365 / 30)
    assert games["gmroi"] == pytest.approx(-6 * 365 / 30)
    # what was given up lost its 12.00 on 10.00 and on a cubic foot, five days each
    assert (games["net_cents"], games["capital_days"]) == (-1200, pytest.approx(50))
    assert games["capital_return"] == pytest.approx(-12 / 50 * 365)
    assert games["net_per_cubic_ft_month"] == pytest.approx(-12 / (5 * 12 / 365))


def test_capital_and_space_do_not_forget_what_never_sells(economics):
    # Both sell one thing for 30.00 net; of one category two more wait all year and one was given up.
    fine = {"category": "fine", "cost_cents": 1000, "net_cents": 3000, "bought_on": "2026-01-05"}
    rows = [fine, {**fine, "category": "mostly unsold"}]
    left = {"category": "mostly unsold", "cost_cents": 1000, "sold_on": None, "sold_price_cents": 0, "net_cents": -1000}
    rows += [{**left, "status": "for sale"}] * 2 + [{**left, "status": "gone", "gone_on": "2026-12-01"}]
    table = stock_table(economics(rows), window=(dt.date(2026, 1, 1), AS_OF), as_of=AS_OF).set_index("category")
    assert table.loc["mostly unsold", "net_cents"] == 2000
    for column in ("capital_return", "net_per_cubic_ft_month"):
        assert table.loc["mostly unsold", column] < 0.1 * table.loc["fine", column]


def test_a_return_that_was_given_away_counts_once(economics):
    row = {"status": "gone", "gone_on": "2026-03-01", "cost_cents": 500, "sold_price_cents": 2000}
    row |= {"returned_on": "2026-02-10", "refund_cents": 2000, "net_cents": -900}
    table = stock_table(economics([row]), window=(dt.date(2026, 1, 1), AS_OF), as_of=AS_OF).iloc[0]
    assert table["net_cents"] == -900
    assert (table["sold"], table["written_off"], table["goods_sold_cents"], table["sell_through"]) == (0, 0, 500, 0.0)


def test_giving_things_away_raises_no_ratio(economics):
    row = {"cost_cents": 500, "sold_price_cents": 2000, "net_cents": 900}
    left = {**row, "status": "for sale", "sold_on": None, "sold_price_cents": 0, "net_cents": -500}
    span = {"window": (dt.date(2026, 1, 1), AS_OF), "as_of": AS_OF}
    kept, given = (
        stock_table(economics([row, left, last]), **span).iloc[0]
        for last in (left, {**left, "status": "gone", "gone_on": "2026-06-01"})
    )
    assert given["sell_through"] == kept["sell_through"] == pytest.approx(1 / 3)
    assert given["gross_margin_cents"] == kept["gross_margin_cents"] - 500


@pytest.mark.worked
def test_a_return_is_stock_again(economics):
    rows = [
        {
            "status": "returned",
            "returned_on": "2026-02-10",
            "cost_cents": 500,
            "sold_price_cents": 2000,
            "refund_cents": 2000,
            "net_cents": -900,
        }
    ]
    table = stock_table(economics(rows), window=(dt.date(2026, 1, 1), AS_OF), as_of=AS_OF).iloc[0]
    assert (table["sold"], table["written_off"], table["stock_items"], table["goods_sold_cents"]) == (0, 0, 1, 0)
    assert table["gross_margin_cents"] == 0
    assert table["net_cents"] == -900


def test_groups_sum_to_the_shop(shop):
    frame = shop(4)
    span = (dt.date(2026, 3, 1), dt.date(2026, 7, 31))
    parts = stock_table(frame, window=span, as_of=dt.date(2026, 8, 1))
    whole = stock_table(frame.assign(all="shop"), window=span, as_of=dt.date(2026, 8, 1), by="all").iloc[0]
    for column in ("sold", "bought", "stock_cost_cents", "average_stock_cents", "net_cents", "cubic_ft_months"):
        assert parts[column].sum() == pytest.approx(whole[column])


def test_the_window_stops_at_what_is_known(shop):
    frame = shop(4)
    day = dt.date(2026, 8, 1)
    cut = stock_table(frame, window=(dt.date(2026, 3, 1), day), as_of=day)
    assert stock_table(frame, window=(dt.date(2026, 3, 1), AS_OF), as_of=day).equals(cut)
    with pytest.raises(AssumptionError, match="first day no later than 2026-08-01"):
        stock_table(frame, window=(AS_OF, AS_OF), as_of=day)


@pytest.mark.worked
def test_ages(economics):
    bought = ["2026-12-01", "2026-11-30", "2026-07-01", "2024-01-01"]
    rows = [{"bought_on": day, "status": "for sale", "sold_on": None, "cost_cents": 1000} for day in bought]
    rows += [{}, {"status": "not listed", "sold_on": None, "bought_on": "2026-12-31", "list_price_cents": np.nan}]
    frame = economics(rows)
    value = pd.Series(100.4, index=frame.index)
    table = ageing_table(frame, as_of=AS_OF, value_cents=value)
    # 30 days old is still in the first band, 31 in the second; 1 July is 183 days back
    assert table["items"].tolist() == [2, 1, 0, 0, 1, 1]
    assert table["from_days"].tolist() == [0, 31, 61, 91, 181, 366]
    assert table["to_days"].tolist()[:5] == [30, 60, 90, 180, 365]
    assert pd.isna(table["to_days"].iloc[5])
    assert table["cost_cents"].sum() == 4000
    assert table["cost_share"].sum() == pytest.approx(1.0)
    assert table["list_price_cents"].sum() == 16_000
    assert table["may_bring_cents"].tolist() == [201, 100, 0, 0, 100, 100]


def test_no_stock_has_no_age(economics):
    table = ageing_table(economics([{}]), as_of=AS_OF)
    assert table["items"].sum() == 0
    assert (table["cost_share"] == 0).all()
    with pytest.raises(AssumptionError, match="rising days"):
        ageing_table(economics([{}]), as_of=AS_OF, edges_days=[60, 30])
