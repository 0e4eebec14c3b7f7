"""Does help pay: both bases named, the limit with its interval, one formula behind words and tables."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from flipkit.charts.style import hourly
from flipkit.economics.hiring import help_table, wage_limit
from flipkit.reports.sentences import money_per_hour
from flipkit.reports.sliders import Moves
from flipkit.reports.study import open_study
from flipkit.reports.what_if import WhatIf, help_sentence, wage_limits
from tests.helpers.small_books import write_books

HEAD = "item_id,title,category,bought_on,cost,listed_on,sold_on,sold_price\n"


@pytest.fixture(scope="module")
def demo(demo_study):
    return demo_study


def shown(dollars):
    return money_per_hour(dollars, currency="USD")


def test_both_bases_bought_first_with_the_interval_of_the_hour(demo):
    table = wage_limits(demo)
    assert table["basis"].tolist() == ["bought", "sold"]
    held = demo.assumptions
    sold = demo.sold_items()
    terms = {"pace": held.number("help.pace"), "guidance": held.share("help.guidance")}
    terms |= {"burden_ppm": held.ppm("help.burden")}
    packed = {"pack": float(sold["owner_min"].sum())}
    by_table = help_table(packed, net_cents=int(sold["net_cents"].sum()), wage_cents=0, **terms)
    assert table["limit"][1] == pytest.approx(by_table["wage_limit"][0])
    bought = demo.shop_bought.iloc[0]
    for name, end in (("limit", "hourly"), ("low", "low"), ("high", "high")):
        assert table[name][0] == pytest.approx(wage_limit(bought[end], **terms))
    assert (table["low"] < table["limit"]).all()
    assert (table["limit"] < table["high"]).all()


def page(study):
    """The page's part on help, without the rest."""
    none = pd.DataFrame()
    return WhatIf(Moves(study), 0, 0.25, math.nan, none, none, 0, None, (), 0.0)


def test_the_sentence_and_the_tables_say_the_same_limits(demo):
    sentence = help_sentence(demo)
    bought, sold = wage_limits(demo).to_dict("records")
    assert sentence.startswith(f"Hiring help pays only below {hourly(bought['limit'])} an hour")
    assert f"(probably between {hourly(bought['low'])} and {hourly(bought['high'])})" in sentence
    assert sentence.endswith("at $16.50, what you paid so far, it doesn't.")
    limits = page(demo).help_limits().text
    for row in (bought, sold):
        assert hourly(row["limit"]) in limits
        assert f"{hourly(row['low'])} to {hourly(row['high'])}" in limits
    assert page(demo).help_to_do().text == f"What to do\n- {sentence}"
    assert "cleaning" in page(demo).help_by_activity().text


def test_the_words_turn_where_the_wage_crosses_the_interval(demo_folder, demo):
    bought = wage_limits(demo).iloc[0]
    said = []
    for wage in (bought["low"] - 1, bought["high"] + 1, (bought["low"] + bought["limit"]) / 2):
        study = open_study(demo_folder, settings=f"help.wage={wage:.2f}")
        said.append(wage_limits(study)["verdict"][0])
    assert said == ["would raise it", "would not raise it", "would raise it by these figures, though that is not sure"]


def test_a_shop_whose_hour_earns_nothing_pays_no_wage(tmp_path):
    rows = "".join(f"A{k},Jug,stoneware,2026-01-0{k},40.00,2026-01-10,2026-01-20,9.00\n" for k in range(1, 8))
    study = open_study(write_books(tmp_path, items=HEAD + rows), month="2026-01", settings="report.too_few_items=5")
    assert help_sentence(study) == "Don't hire help: your own hour earned nothing in these months, so no wage pays."
    assert page(study).help_limits().text.count("no wage") == 4


def test_few_sales_and_none_claim_nothing(tmp_path):
    one = HEAD + "A,Jug,x,2026-01-03,4.00,2026-01-05,2026-01-20,90.00\n"
    few = open_study(write_books(tmp_path / "few", items=one), month="2026-01")
    assert set(wage_limits(few)["verdict"]) == {"too few to tell"}
    assert "too few to tell" in help_sentence(few)
    one = HEAD + "A,Jug,x,2026-01-03,4.00,,,\n"
    none = open_study(write_books(tmp_path / "none", items=one), month="2026-01")
    assert help_sentence(none).startswith("Nothing sold in these months")
    assert page(none).help_limits().html == page(none).help_by_activity().html == ""
