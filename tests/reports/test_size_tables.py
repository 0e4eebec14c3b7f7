"""Bulky against small: both bases beside each other, the difference by its own interval, losses with their unit."""

from __future__ import annotations

import dataclasses

import pytest

from flipkit.analysis.ratio_stats import IntervalSettings
from flipkit.analysis.sizes import by_size
from flipkit.money import show_cents
from flipkit.reports.sentences import money_per_hour
from flipkit.reports.sizes import size_facts_table, size_sentence, sizes_table
from flipkit.reports.study import open_study
from tests.helpers.small_books import write_books

HEAD = "item_id,title,category,bought_on,cost,listed_on,sold_on,sold_price,length_in,width_in,height_in,weight_lb\n"


@pytest.fixture(scope="module")
def demo(demo_folder):
    return open_study(demo_folder)


def shown(dollars):
    return money_per_hour(float(dollars), currency="USD")


def test_both_bases_stand_side_by_side_in_order_of_size(demo):
    table = sizes_table(demo)
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
    sentence, note = size_sentence(demo)
    bought, sold = demo.size_gaps["bought"], demo.size_gaps["sold"]
    assert sentence.startswith("On the bought basis")
    assert shown(bought.hourly_first) in sentence
    assert shown(bought.hourly_second) in sentence
    for gap in (bought, sold):
        assert f"{shown(gap.gap)} (95% interval {shown(gap.low)} to {shown(gap.high)})." in note
    assert sentence.endswith(f": {bought.verdict}.")
    assert f": {sold.verdict}. Bulky less small" in note
    assert "intervals" not in note
    # The figures of sentence and table are the same ones.
    hourly = demo.size_bought.set_index("size_class")["hourly"]
    assert (bought.hourly_first, bought.hourly_second) == pytest.approx((hourly["bulky"], hourly["small"]))


def test_a_difference_that_may_be_nothing_is_not_called_one(demo):
    words = "no difference shown between bulky and small"
    unsure = dataclasses.replace(demo.size_gaps["bought"], low=-1.0, high=1.0, verdict=words)
    other = dataclasses.replace(demo)
    other.__dict__["size_gaps"] = {**demo.size_gaps, "bought": unsure}
    sentence, note = size_sentence(other)
    assert sentence.endswith(f": {words}.")
    assert f"(95% interval {shown(-1)} to {shown(1)})." in note


def test_losses_of_a_sale_are_shown_in_dollars(demo):
    table = size_facts_table(demo).text
    for row in demo.size_returns.itertuples():
        line = next(line for line in table.splitlines() if line.startswith(row.size_class))
        assert show_cents(round(row.loss_per_sale_cents), currency="USD") in line
    assert "Lost per sale" in table.splitlines()[1]
    assert "damage, refunds and later carrier charges" in table.splitlines()[0]


def test_unsold_things_without_measures_are_classed_by_their_category_and_said(tmp_path):
    rows = "".join(f"A{k},Chair,chairs,2026-01-0{k},5.00,2026-01-10,2026-01-20,60.00,32,31,2,10\n" for k in range(1, 4))
    rows += "".join(f"B{k},Jug,jugs,2026-01-0{k},5.00,2026-01-10,2026-01-20,30.00,8,6,6,2\n" for k in range(1, 4))
    rows += "C1,Chair,chairs,2026-01-05,5.00,2026-01-11,,,,,,\n"
    study = open_study(write_books(tmp_path, items=HEAD + rows), month="2026-01")
    bought = study.size_bought.set_index("size_class")
    assert (bought["items"]["bulky"], bought["sold"]["bulky"]) == (4, 3)
    sentence, note = size_sentence(study)
    assert "1 of 7 things bought lack measures" in note
    assert sentence.endswith("the difference is too few to tell.")


def test_one_size_alone_is_not_compared(tmp_path):
    one = HEAD + "A,Jug,jugs,2026-01-03,4.00,2026-01-05,2026-01-20,90.00,8,6,6,2\n"
    study = open_study(write_books(tmp_path, items=one), month="2026-01")
    assert size_sentence(study) == ("Nothing bulky sold in these months, so there is nothing to compare.", "")
    assert "small" in sizes_table(study).text
