"""Bulky against small: both bases beside each other, the difference by its own interval, losses with their unit."""

from __future__ import annotations

import dataclasses

import pytest

from flipkit.analysis.ratio_stats import IntervalSettings
from flipkit.analysis.sizes import by_size
from flipkit.charts.style import hourly, money
from flipkit.money import show_cents
from flipkit.reports.bulky import Bulky
from flipkit.reports.sentences import money_per_hour
from flipkit.reports.study import open_study
from tests.helpers.small_books import write_books

HEAD = "item_id,title,category,bought_on,cost,listed_on,sold_on,sold_price,length_in,width_in,height_in,weight_lb\n"


@pytest.fixture(scope="module")
def demo(demo_study):
    return demo_study


def shown(dollars):
    return money_per_hour(float(dollars), currency="USD")


def test_both_bases_stand_side_by_side_in_order_of_size(demo):
    table = Bulky(demo).both_counts()
    lines = table.text.splitlines()[3:]  # a caption, the thresholds, a head
    sold = demo.size_returns.set_index("size_class")
    bought = demo.size_bought.set_index("size_class")
    assert [line.split()[0] for line in lines] == bought.index.tolist()
    for line in lines:
        size = line.split()[0]
        if size in sold.index and sold["claimed"][size] and bought["claimed"][size]:
            for frame in (bought, sold):
                assert shown(frame["hourly"][size]) in line
                assert f"{shown(frame['low'][size])} to {shown(frame['high'][size])}" in line
            assert f"{bought['sold'][size]} of {bought['items'][size]}" in line


def test_the_bought_basis_is_of_the_report_horizon(demo):
    settings = {"settings": IntervalSettings(0.95, 200, 1, 10)}
    direct = by_size(demo.planned_items, window=demo.window(), basis="bought", horizon=demo.horizon, **settings)
    assert demo.size_bought["hourly"].tolist() == pytest.approx(direct["hourly"].tolist(), nan_ok=True)
    assert (demo.size_bought["may_bring_cents"] > 0).any()


def test_the_comparison_rests_on_the_interval_of_the_difference(demo):
    text = Bulky(demo).answer().text
    bought = demo.size_gaps["bought"]
    small, bulky = hourly(bought.hourly_second), hourly(bought.hourly_first)
    said = f"counting unsold items, an hour earned {bulky} on bulky items and {small} on small ones."
    assert text.startswith("At the same price, an hour on small items earned more than one on bulky items. ")
    assert f"Bulky items don't pay at what you usually pay for them: {said} Buy says below which price some do." in text
    assert demo.size_bought.set_index("size_class").loc["bulky", "high"] < demo.target
    assert said in Bulky(demo).in_one_line().text
    low, high = sorted((abs(bought.low), abs(bought.high)))
    assert f"The difference is probably between {hourly(low)} and {hourly(high)} an hour." in text
    # The figures of sentence and table are the same ones.
    figures = demo.size_bought.set_index("size_class")["hourly"]
    assert (bought.hourly_first, bought.hourly_second) == pytest.approx((figures["bulky"], figures["small"]))
    last = Bulky(demo).by_price().text.splitlines()[-1]
    assert last.startswith("any price")
    assert f"{small} (" in last
    assert f"{bulky} (" in last


def test_equal_prices_lead_and_say_who_won_where(demo):
    bands = demo.bought_bands
    hours = bands.pivot(index="band", columns="size_class", values="hourly")
    assert (hours["small"] > hours["bulky"]).all()
    reading = Bulky(demo).picture().to_dict()["description"]
    assert f"any price: bulky {hourly(demo.size_gaps['bought'].hourly_first)} (" in reading, "the answer's figures"
    best = bands["band"] == bands["band"].max()
    turned = dataclasses.replace(demo)
    turned.__dict__["bought_bands"] = bands.assign(
        hourly=bands["hourly"].where(~(best & (bands["size_class"] == "bulky")), 500.0)
    )
    said = Bulky(turned).answer().text
    assert "bulky items earned more at $93 and over, and on small items elsewhere" in said


def test_equal_prices_count_what_did_not_sell(demo):
    bands, bought = demo.bought_bands, demo.size_bought.set_index("size_class")
    assert bands.groupby("size_class")["items"].sum().to_dict() == bought["items"].to_dict()
    assert bands.groupby("size_class")["sold"].sum().to_dict() == bought["sold"].to_dict()
    worth = bands.assign(net=bands["expected_net_cents"]).groupby("size_class")["net"].sum()
    assert worth.to_numpy() == pytest.approx(bought["expected_net_cents"].reindex(worth.index).to_numpy(), abs=4)
    # What the sales alone say of dear bulky things stands folded, and is rosier.
    sold = demo.price_bands.set_index(["band", "size_class"])["hourly"]
    counted = bands.set_index(["band", "size_class"])["hourly"]
    assert (counted.xs("bulky", level=1).iloc[2:] < sold.xs("bulky", level=1).iloc[2:]).all()
    assert "It sold for" in Bulky(demo).by_sold_price().text


def test_a_difference_that_may_be_nothing_is_not_called_one(demo):
    unsure = dataclasses.replace(demo.size_gaps["bought"], low=-1.0, high=1.0, verdict="no difference shown")
    other = dataclasses.replace(demo)
    other.__dict__["size_gaps"] = {**demo.size_gaps, "bought": unsure}
    assert "The difference is too close to call." in Bulky(other).answer().text


def test_what_is_bulky_before_it_is_packed_is_named(demo):
    bought = demo.items[demo.items["bought_on"] <= "2026-10-31"]
    share = bought["size_class"].isin(["bulky", "oversize"]).groupby(bought["category"]).mean()
    kinds = Bulky(demo).to_do().text.splitlines()[1]
    for category, part in share.items():
        assert (category in kinds) == (part >= 0.3), category
    assert f"had to sell for about {money(demo.break_even.price_cents)} (" in Bulky(demo).break_even()


def test_losses_of_a_sale_are_shown_in_dollars(demo):
    table = Bulky(demo).facts().text
    for row in demo.size_returns.itertuples():
        line = next(line for line in table.splitlines() if line.startswith(row.size_class))
        assert show_cents(round(row.loss_per_sale_cents), currency="USD") in line
    assert "Lost per sale" in table.splitlines()[2]
    unsold = demo.unsold_items()
    left = unsold[~unsold["size_class"].isin(demo.size_returns["size_class"])]
    assert f"Not in this table: {len(left)} item" in table.splitlines()[1]
    assert demo.size_returns["stock_items"].sum() + len(left) == len(unsold)
    assert "damage, refunds and later carrier charges" in table.splitlines()[0]


def test_unsold_things_without_measures_are_classed_by_their_category_and_said(tmp_path):
    rows = "".join(f"A{k},Chair,chairs,2026-01-0{k},5.00,2026-01-10,2026-01-20,60.00,32,31,2,10\n" for k in range(1, 4))
    rows += "".join(f"B{k},Jug,jugs,2026-01-0{k},5.00,2026-01-10,2026-01-20,30.00,8,6,6,2\n" for k in range(1, 4))
    rows += "C1,Chair,chairs,2026-01-05,5.00,2026-01-11,,,,,,\n"
    study = open_study(write_books(tmp_path, items=HEAD + rows), month="2026-01")
    bought = study.size_bought.set_index("size_class")
    assert (bought["items"]["bulky"], bought["sold"]["bulky"]) == (4, 3)
    text = Bulky(study).answer().text
    assert "1 of 7 items bought have no measures" in text
    assert "How large the difference is: too few to tell." in text


def test_one_size_alone_is_not_compared(tmp_path):
    one = HEAD + "A,Jug,jugs,2026-01-03,4.00,2026-01-05,2026-01-20,90.00,8,6,6,2\n"
    study = open_study(write_books(tmp_path, items=one), month="2026-01")
    page = Bulky(study)
    assert page.answer().text == "Nothing bulky sold in these months, so there is nothing to compare."
    assert "small" in page.both_counts().text
