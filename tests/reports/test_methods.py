"""The claimed interval beside the textbook ones, each figure the study's own."""

from __future__ import annotations

from flipkit.reports.sentences import money_per_hour
from flipkit.reports.study import open_study
from flipkit.reports.tables import methods_table
from tests.helpers.small_books import write_books


def shown(dollars):
    return money_per_hour(float(dollars), currency="USD")


def test_every_category_and_the_shop_by_all_methods(demo_study):
    demo = demo_study
    table = methods_table(demo)
    assert (
        '<p class="table-title">The same interval by other methods, counting unsold items</p><p>The interval'
        in table.html
    )
    lines = table.text.splitlines()
    claimed = 0
    for frame in (demo.bought_returns, demo.shop_bought):
        for row in frame.itertuples():
            line = next(line for line in lines if line.startswith(row.category))
            begins = [f"{row.items:,}", f"{row.trips:,}", shown(row.hourly)]
            assert line.removeprefix(row.category).split()[:3] == begins
            if row.claimed:
                claimed += 1
                assert f"{shown(row.low)} to {shown(row.high)}" in line
                assert f"{shown(row.bca_low)} to {shown(row.bca_high)}" in line
                assert line.endswith(shown(row.delta_se))
    assert claimed > 1
    # The sentence above the table says so much of the check; it is to be true of what stands below it.
    whole = demo.shop_bought.iloc[0]
    for end in (whole["high"] - whole["hourly"], whole["hourly"] - whole["low"]):
        assert 1.5 < end / whole["delta_se"] < 3


def test_where_nothing_is_claimed_no_method_shows_an_interval(tmp_path):
    one = "item_id,title,category,bought_on,cost,listed_on,sold_on,sold_price\nA,Jug,x,2026-01-03,4.00,2026-01-05,,\n"
    text = methods_table(open_study(write_books(tmp_path, items=one), month="2026-01")).text
    assert text.count("too few to tell") == 4
    assert " to $" not in text
