"""Pages for decisions: what to pay, what to ask, where the hours go, what if, and how forecasts came out."""

from __future__ import annotations

import dataclasses
import datetime as dt
import io
import json
import re
from statistics import NormalDist

import numpy as np
import pandas as pd
import pytest

from flipkit.analysis.decisions import BUY, LEAVE, UNDER_A_PRICE
from flipkit.analysis.forecasts import keep_forecasts, record_folder
from flipkit.analysis.max_bid import aisle_rule, answer
from flipkit.analysis.offers import offer_answer
from flipkit.analysis.repricing import AS_NOW, PLANNED, WITHIN, plans_text, stock_plans
from flipkit.analysis.sale_hazard import first_ratios
from flipkit.books.check import check
from flipkit.charts.sliders import plot_tornado
from flipkit.charts.stock import plot_patience
from flipkit.charts.style import money
from flipkit.economics.items import item_economics
from flipkit.reports import forecasts
from flipkit.reports import stock as report_stock
from flipkit.reports.buy import Buy
from flipkit.reports.stock import Stock
from flipkit.reports.study import open_study
from flipkit.reports.what_if import _FAMILIES, what_if
from tests.helpers.kills import small_shop
from tests.helpers.small_books import write_books

UNSOLD = """
item_id,title,category,bought_on,cost
A,Jug,stoneware,2026-01-03,10.00
B,Lamp,lamps,2026-02-04,12.50
"""
SOLD = """
item_id,title,category,bought_on,cost,listed_on,sold_on,sold_price,length_in,width_in,height_in,weight_lb
A,Jug,stoneware,2026-01-03,10.00,2026-01-05,2026-01-20,50.00,10,8,6,3
B,Lamp,lamps,2026-02-04,12.50,2026-02-05,2026-03-31,40.00,30,18,16,20
C,Jar,stoneware,2026-03-04,2.00,2026-03-05,,,10,8,6,3
"""

#: The same with a sale in the last month that pays.
PAID = SOLD.replace("40.00", "140.00")


@pytest.fixture(scope="module")
def demo(demo_study):
    return demo_study


@pytest.fixture(params=[UNSOLD, SOLD], ids=["unsold", "two sales"])
def few(request, tmp_path):
    return open_study(write_books(tmp_path / "books", items=request.param))


@pytest.fixture(scope="module")
def moved(tmp_path_factory):
    """What if on a small shop, quick to compute."""
    return what_if(open_study(write_books(tmp_path_factory.mktemp("shop"), items=PAID)))


def test_the_sheet_says_what_the_aisle_answers_rounded_down(demo):
    shown = Buy(demo).sheet()
    row = next(line for line in shown.text.splitlines() if line.startswith("hand tools, small"))
    for price in demo.knowledge["categories"]["hand tools"]["prices_cents"]:
        cents = answer(demo.knowledge, "hand tools", price_cents=price, size="small").highest_cents
        assert f"${price // 100}: {LEAVE if cents < 100 else f'${cents // 100:,}'}" in row
    assert 'class="long"' not in shown.html


def test_books_without_a_list_price_stop_no_page(tmp_path):
    books = small_shop(tmp_path / "shop")
    file = books / "items.csv"
    pd.read_csv(file, dtype=str).drop(columns="list_price").to_csv(file, index=False)
    assert "list_price, what you first ask for each thing" in check(books).next_to_record
    # Thirty sales, twenty of them mugs: enough of the shop and of no category.
    study = open_study(books, settings="report.too_few_items=25")
    assert study.knowledge["categories"]["mugs"]["typical_cents"] is None
    assert Buy(study).sheet().text == ""
    assert Stock(study).answer().text.startswith("You have 10 items in stock. For 10 we don't know")


def test_the_rule_for_the_aisle_is_as_near_as_it_says(demo):
    known = demo.knowledge
    for name in demo.categories:
        for size, share in known["categories"][name]["size_shares"].items():
            if share < 0.1:
                continue
            rule = aisle_rule(known, name, size=size)
            for price in np.linspace(known["categories"][name]["prices_cents"][0], rule.up_to_cents, 7):
                exact = answer(known, name, price_cents=float(price), size=size).highest_cents
                assert abs(rule.cents(price) - max(exact, 0)) <= max(rule.off_cents, 100) + 2


def test_kinds_to_buy_stand_first_and_what_is_left_stands_in_one_line(demo):
    sheet, verdicts = Buy(demo).sheet().text, Buy(demo).verdicts().text
    shown = list(dict.fromkeys(line.split(",")[0] for line in sheet.splitlines()[2:]))
    bought = [one.category for one in demo.decisions if one.verdict in (BUY, UNDER_A_PRICE)]
    assert shown[: len(bought)] == bought
    left = verdicts.partition("Leave (")[2]
    assert all(f"  {one.category}: Leave it" in left for one in demo.decisions if one.verdict == LEAVE)
    assert not any(f"  {name}: " in left for name in bought)


def test_every_thing_in_stock_has_one_action_and_the_sentence_counts_them(demo):
    plan = demo.price_plan
    counts = plan["action"].value_counts()
    page = Stock(demo)
    sentence = page.answer().text
    assert f"Of {len(demo.unsold_items())} items in stock" in sentence
    assert f"keep {counts['hold']} for now" in sentence
    assert f"clear out {counts['give up']}." in sentence
    assert counts.sum() == len(plan) == plan["item_id"].nunique()
    assert set(plan["item_id"]) <= set(demo.unsold_items()["item_id"])
    rest = len(demo.unsold_items()) - len(plan)
    assert rest > 0
    assert f"For {rest} we don't know" in sentence
    shown = {"hold": page.kept().text, "give up": page.cleared().text, "list": page.actions().text}
    shown["lower"] = shown["list"]
    shown["hold"] += shown["list"]
    for row in plan.to_dict("records"):
        assert f"({row['item_id']})" in shown[row["action"]]
    # Whatever is due within four weeks stands beside what is due now.
    due = plan["markdown_on"].fillna(plan["give_up_on"]) <= pd.Timestamp(demo.as_of) + pd.Timedelta(days=28)
    soon = plan[due & (plan["action"] == "hold")]
    assert len(soon)
    assert all(f"({name})" in shown["list"] for name in soon["item_id"])
    assert not any(f"({name})" in page.kept().text for name in soon["item_id"]), "what goes soon is not kept"
    sheet = pd.read_csv(io.StringIO(page.csv()))
    # Everything in stock is on the sheet, what has no typical price too; nothing is asked for what is cleared out.
    assert sheet["item_id"].tolist() == sorted(demo.unsold_items()["item_id"])
    asked = plan.loc[plan["action"] != "give up", "price_cents"]
    assert sheet["ask"].sum() == pytest.approx(asked.sum() / 100, abs=1)
    assert sheet.loc[sheet["do"] == "clear out", "ask"].isna().all()


def test_the_tables_of_prices_do_not_raise_what_is_asked(demo):
    plan = demo.price_plan
    listed = plan[plan["asked_cents"].notna() & (plan["action"] != "give up")]
    assert (listed["price_cents"] <= listed["asked_cents"]).all()
    assert (listed["lowest_offer_cents"] <= listed["price_cents"]).all()
    assert "data" in Stock(demo).habits().text


def test_more_patience_never_earns_less_and_the_plan_ends_where_more_of_it_hardly_brings_anything(demo):
    found = demo.patience
    ways = found[found["way"] != AS_NOW]
    worth = ways.groupby("item_id", sort=False)["worth_cents"]
    # One sweep finds the hurried paths within a thousandth; giving up is worth nothing.
    assert (worth.diff().dropna() > -0.002 * ways["worth_cents"].max()).all()
    planned = ways[ways["way"] == PLANNED].set_index("item_id").loc[demo.price_plan["item_id"]]
    assert planned["worth_cents"].to_numpy() == pytest.approx(demo.price_plan["worth_cents"].to_numpy())
    # A longer wait than the plan's brings less than the stated dollar more.
    longer = ways.merge(planned[["within_weeks", "worth_cents"]], left_on="item_id", right_index=True)
    longer = longer[longer["within_weeks_x"] > longer["within_weeks_y"]]
    assert len(longer) > 10
    assert (longer["worth_cents_x"] - longer["worth_cents_y"] < 100).all()
    before = found[found["way"] == AS_NOW].set_index("item_id")["worth_cents"]
    assert (planned["worth_cents"] >= before[planned.index] - 1).mean() > 0.95


def test_the_recommended_wait_says_why_and_stands_in_chart_and_table(demo):
    page = Stock(demo)
    frame, shown = page.patience(), page.patience_table()
    title = page.patience_picture().to_dict()["title"]["text"]
    best, shorter = frame[frame["chosen"]].iloc[0], frame[frame["way"] == WITHIN].iloc[-1]
    gain = (best["net_cents"] - shorter["net_cents"]) / 100
    assert (
        title
        == f"Waiting up to {best['within_weeks']} weeks brings ${gain:.0f} more than {shorter['within_weeks']} weeks"
    )
    assert "money tied up" in shown.text
    assert shown.text.count("(recommended)") == 1
    assert "as you price now" in shown.text
    spec = plot_patience(frame, title=title).to_dict()
    assert spec["description"].startswith("Recommended: ask $")
    assert len(shown.text.splitlines()) == len(frame) + 3


def test_the_file_for_offers_says_what_the_page_says(demo):
    plan = demo.price_plan
    text = plans_text(plan, demo.patience, as_of=demo.as_of, currency=demo.currency, sales=1030, too_few=10)
    plans = json.loads(text)
    assert set(plans["things"]) == set(plan["item_id"])
    asked_for = pd.read_csv(io.StringIO(Stock(demo).csv())).set_index("item_id")
    for row in plan.to_dict("records"):
        said = offer_answer(plans, row["item_id"], None, on=demo.as_of)
        listed = asked_for.loc[row["item_id"]]
        assert said["given_up"] == (row["action"] == "give up")
        # No offer is to be taken that its fees, its label and the work of its sale would eat up.
        needed = row["floor_cents"]
        assert np.isnan(needed) or needed == round(100 * listed["shipping_pays_from"])
        if said["given_up"]:
            assert said["lowest_offer_cents"] == (None if np.isnan(needed) else needed)
            continue
        for one in (said, *(row for row in said["patience"] if row["way"] != AS_NOW), *said["next"]):
            assert not one["ask_cents"] or one["lowest_offer_cents"] >= min(needed, one["ask_cents"])
        assert said["lowest_offer_cents"] == round(100 * listed["take_at_least"])
        assert [one["on"] for one in said["next"] if not one["ask_cents"]] == [listed["clear_out_on"]]
        assert said["lowest_offer_cents"] == row["lowest_offer_cents"]
        assert said["ask_cents"] == row["price_cents"]
        [planned] = [one for one in said["patience"] if one["way"] == PLANNED]
        assert planned["lowest_offer_cents"] == said["lowest_offer_cents"]


def test_what_was_to_be_given_up_is_followed_to_today(demo, monkeypatch):
    monkeypatch.setattr(report_stock, "_MONTHS_BACK", (3,))
    record = report_stock.clear_out_record(demo)
    given, kept = record.frame.set_index("given_up").loc[True], record.frame.set_index("given_up").loc[False]
    assert given["things"] > 20
    assert given["sold"] / given["things"] < kept["sold"] / kept["things"]
    # Of what was kept, the net since is that of the sales less what the rest cost to hold.
    now = demo.items.set_index("item_id")
    assert kept["sold"] <= (now["sold_on"] > pd.Timestamp("2026-08-14")).sum()
    assert kept["net_cents"] / kept["owner_min"] > given["net_cents"] / given["owner_min"]
    assert f"{money(60 * given['net_cents'] / given['owner_min'])} for each extra hour" in record.sentence()
    assert f"{given['sold']} of {given['things']}" in record.table().text


def test_no_price_is_recommended_where_few_listings_stood(demo):
    asked = np.sort(np.exp(first_ratios(demo.items, demo.selling[1].cents, finished=True)))
    high = demo.knowledge["grid"][1]
    enough = demo.assumptions.whole("pricing.enough")

    def stood(ratio):
        return (asked >= ratio).sum() + enough * (1 - NormalDist(np.log(1.15), 0.2).cdf(np.log(ratio)))

    assert stood(high) >= enough > stood(1.001 * high)
    fresh = demo.price_plan[demo.price_plan["action"] == "list"]
    # Prices are whole dollars, so the last one can lie a dollar beyond.
    assert (fresh["price_cents"] <= high * fresh["typical_cents"] + 100).all()
    assert f"{high:.2f} times" in Stock(demo).habits().text


def test_a_plan_stands_still_for_half_a_year(demo):
    """Read again each week with nothing new, every date stays and every countdown falls by one."""
    stock = demo.items["status"].isin(["for sale", "not listed", "returned"]).to_numpy()
    some = np.flatnonzero(stock & np.isfinite(demo.selling[1].cents))[::9]
    model, typical = demo.selling
    cut = dataclasses.replace(typical, cents=typical.cents[some], error=typical.error[some])

    def plan(weeks):
        day = demo.as_of + dt.timedelta(days=7 * weeks)
        items = demo.items.iloc[some]
        found = stock_plans(items, demo.books.price_changes, model, cut, demo.knowledge, as_of=day).plan()
        return found[found["item_id"].isin(items.loc[items["listed_on"].notna(), "item_id"])].set_index("item_id")

    first = plan(0)
    assert len(first) > 20
    for weeks in (1, 2, 3, 5, 8, 13, 20, 26):
        now = plan(weeks)
        left = first["give_up_weeks"] - weeks
        assert (now["give_up_weeks"] == left.clip(lower=0)).all()
        assert (now.loc[left > 0, "give_up_on"] == first.loc[left > 0, "give_up_on"]).all()
        ahead = first["markdown_weeks"] > weeks
        for name in ("markdown_on", "markdown_cents"):
            assert (now.loc[ahead, name] == first.loc[ahead, name]).all()
        # What is due stays due at the price planned, until it is done.
        due = (first["markdown_weeks"] <= weeks) & (left > 0)
        assert (now.loc[due, "price_cents"] <= first.loc[due, "markdown_cents"]).all()
        assert (now.loc[due, "action"] == "lower").all()
        assert (now.loc[left <= 0, "action"] == "give up").all()


def test_hours_are_shared_within_what_can_be_found(demo):
    page, shared = Buy(demo), demo.hours
    frame = shared.frame
    assert (frame["hours"] <= frame["available_h"] + 1e-9).all()
    assert 0 < frame["hours"].sum() <= shared.hours
    assert frame["counted"].is_monotonic_decreasing
    doubt = demo.assumptions.number("sourcing.doubt")
    assert frame["counted"].to_list() == pytest.approx((frame["hourly"] + doubt * frame["error"]).to_list())
    # The best come first: what has hours after one that is not full would break it.
    full = frame["hours"] >= frame["available_h"] - 1e-9
    assert (frame.loc[(~full).cumsum() > 1, "hours"] == 0).all()
    # Hours go only to what is to be bought and reaches the target; the rest are free and said so.
    assert (frame.loc[frame["hours"] > 0, "hourly"] >= demo.target).all()
    left = {one.category: one.hours for one in demo.decisions if one.verdict == LEAVE}
    assert set(left.values()) == {0.0}
    assert not set(left) & set(frame["category"])
    for row in frame[frame["hours"] >= 0.5].to_dict("records"):
        assert f"Give {row['category']} about {row['hours']:.0f} hours next month" in page.to_do().text
    assert f"{round(shared.hours) - round(float(shared.plan.hours.sum())):,} hours of the" in page.to_do().text
    # What the hours bring is the sum of the rows as they show, within the rounding of each to a tenth of an hour.
    shown = [
        [float(part) for part in row] for row in re.findall(r"([\d.]+) h +\$([\d.]+) +\$(\d+) ", page.hours().text)
    ]
    assert len(shown) == len(frame)
    assert all(abs(hours * each - brings) <= 0.51 for hours, each, brings in shown)
    assert f"should bring about ${sum(row[2] for row in shown):,.0f} " in page.to_do().text
    assert sum(row[2] for row in shown) == pytest.approx(shared.plan.expected, abs=3 * len(shown))
    told = shared.plan
    assert told.low < told.expected < told.high
    assert "the luck of a single month comes on top" in page.hours().text


def test_moving_one_thing_moves_the_month_as_computing_it_anew_does(moved, tmp_path):
    study = open_study(write_books(tmp_path / "books", items=PAID))
    bars = moved.bars.set_index("name")
    # Labor minutes all stand on assumptions here: nothing is logged.
    changed = {
        key: entry.value * 1.25
        for key, entry in study.assumptions.entries.items()
        if key.startswith(_FAMILIES["minutes of packing"])
    }
    again = open_study(study.books.path, settings=changed)
    economics = item_economics(again.books, again.rules, again.assumptions, again.as_of).items
    settled = economics[economics["sold_on"].fillna(economics["gone_on"]).dt.to_period("M") == study.month]
    hourly = settled["net_cents"].sum() / 100 / (settled["owner_min"].sum() / 60)
    assert bars.loc["minutes of packing", "at_high"] == pytest.approx(hourly, rel=1e-9)
    assert moved.middle == pytest.approx(float(study.shop_results.loc["this month", "hourly"]), rel=1e-12)
    assert bars.loc["minutes of packing", "at_high"] < moved.middle < bars.loc["minutes of packing", "at_low"]


def test_the_widest_bar_comes_first_and_the_words_name_it(moved):
    width = (moved.bars["at_high"] - moved.bars["at_low"]).abs()
    assert width.is_monotonic_decreasing
    assert moved.picture().to_dict()["title"]["text"].lower().startswith(moved.bars["name"].iloc[0])
    assert moved.cloud.low < moved.middle < moved.cloud.high
    assert moved.gap < 0.05 * (moved.cloud.high - moved.cloud.low)
    assert next(iter(moved.cloud.hangs_on)) == moved.bars["name"].iloc[0]
    for name, factor in moved.turning:
        assert 1 - moved.part <= factor <= 1 + moved.part, name
    assert "everything moves at once" in moved.together().text
    assert moved.hangs_table().text


def test_what_is_all_assumption_is_moved_and_counted_once(moved):
    names = moved.bars["name"].tolist()
    # No label and no fee is recorded here: the line and its assumption would be one bar twice.
    assert "postage not recorded" in names
    assert "postage" not in names
    assert "your minutes" in moved.cloud.hangs_on
    assert not [name for name in moved.cloud.hangs_on if name.startswith("minutes of")]
    assert f"{moved.less} more things would move it by less than $1." in str(moved.picture().to_dict()["title"])
    assert moved.less + len(moved.bars) < len(_FAMILIES) + 8


def test_a_month_of_few_sales_is_said_to_tell_little(moved, demo):
    assert moved.sales == 1
    assert "1 sale: too few to tell" in moved.answer().text
    assert len(demo.sold_items(month=demo.month)) >= demo.assumptions.whole("report.too_few_items")


def test_what_would_help_most_is_told_in_dollars_a_month(moved):
    """A tenth more for every sale: a tenth of the price and of the fees on it."""
    study = moved.study
    sold = study.month_items()
    gained = (sold["sold_price_cents"] - sold["marketplace_fee_cents"]).sum() / 10
    levers = moved.levers.set_index("name")
    assert levers.loc["sold prices", "net_cents"] == pytest.approx(gained)
    assert levers.loc["your minutes", "freed"] == pytest.approx(sold["owner_min"].sum() / 600)
    assert levers["worth"].is_monotonic_decreasing
    assert moved.best() in moved.answer().text
    assert f"about {money(levers.loc['sold prices', 'net_cents'])} more a month" in moved.best()
    assert len(moved.helps().text.splitlines()) == len(levers) + 2


def test_a_tornado_reads_its_numbers(moved):
    spec = plot_tornado(moved.bars, middle=moved.middle, title="", subtitle="", target=18.0).to_dict()
    assert spec["description"].startswith("With nothing moved ")
    places = [spec["description"].lower().index(f"{name}: ") for name in moved.bars["name"]]
    assert places == sorted(places)
    assert plot_tornado(moved.bars.iloc[:0], middle=1.0, title="", subtitle="").to_dict()["description"]


@pytest.fixture(scope="module")
def scored_demo(demo, demo_folder, tmp_path_factory):
    """The demo shop in November, scoring what it said at the end of September."""
    folder = tmp_path_factory.mktemp("kept")
    keep_forecasts(folder, forecasts.month_forecasts(open_study(demo_folder, as_of="2026-09-30")))
    return folder, forecasts.track_record(demo, str(folder))


def test_forecasts_of_a_month_ago_are_scored_by_what_the_books_say_now(demo, scored_demo):
    _, found = scored_demo
    assert set(found.scores["due_on"].dt.date) == {dt.date(2026, 10, 31)}
    chances = found.scores[found.scores["what"] == "sale"].set_index("subject")
    sold = demo.items.set_index("item_id")["sold_on"].reindex(chances.index)
    happened = (sold <= pd.Timestamp("2026-10-31")).astype(float)
    assert (chances["outcome"] == happened).all()
    assert f"Of {len(chances)} items on sale" in found.sentence()
    month = found.scores[found.scores["what"] == "month net"].iloc[0]
    assert month["outcome"] == demo.shop_sales.loc["this month", "net_cents"]
    # The lone month is no track record yet.
    assert "month net" not in found.coverage()["name"].tolist()
    assert "too few to tell" in found.table().text
    assert "hand tools" in found.category_table().text


def test_the_demo_shops_forecasts_of_sales_were_about_right(scored_demo):
    """Two standard errors of a sum of independent chances."""
    _, found = scored_demo
    chances = found.scores[found.scores["what"] == "sale"]
    spread = float(np.sqrt((chances["chance"] * (1 - chances["chance"])).sum()))
    assert abs(chances["chance"].sum() - chances["outcome"].sum()) < 2 * spread
    assert chances["brier"].mean() < chances["outcome"].mean() * (1 - chances["outcome"].mean())


def test_a_month_that_has_begun_is_forecast_from_what_it_sold_so_far(demo):
    sold = demo.items[demo.items["sold_on"].notna()]
    months, days = sold["sold_on"].dt.to_period("M"), sold["sold_on"].dt.day
    so_far = sold.loc[months == pd.Period("2026-11"), "net_cents"].sum()
    before = pd.period_range(months.min(), "2026-10", freq="M")
    rest = [sold.loc[(months == month) & (days > demo.as_of.day), "net_cents"].sum() for month in before]
    told = forecasts.month_forecasts(demo).set_index("what").loc["month net"]
    assert so_far > 0
    # The rest comes from what stands on the shelf; that is surer than the spread of other months' later days.
    spread = np.std(rest, ddof=1) * np.sqrt(1 + 1 / len(rest))
    assert abs(told["middle"] - so_far - np.mean(rest)) < 1.96 * spread
    assert 0.3 * 2 * 1.96 * spread < told["high"] - told["low"] < 2 * 1.96 * spread


def test_what_was_said_on_the_same_day_is_not_counted(demo, scored_demo, tmp_path):
    alone = forecasts.track_record(demo, str(tmp_path))
    for table in (alone.new_table(), alone.hourly_table()):
        assert "using its sales to 14 Nov 2026" in table.text, "the demo's last day lies within a month"
    keep_forecasts(tmp_path, forecasts.month_forecasts(demo))
    again = forecasts.track_record(demo, str(tmp_path))
    assert alone.sentence() == again.sentence() == "No forecast is old enough to score yet."
    assert again.waiting == 0
    assert alone.new.equals(again.new)


def test_where_one_find_decides_the_forecast_says_so(demo, scored_demo):
    _, found = scored_demo
    by_rule = demo.sold_returns.set_index("category")["one_decides"]
    assert list(found.one_decides) == by_rule.index[by_rule].tolist()
    told, plain = (dataclasses.replace(found, one_decides=names) for names in (("hand tools",), ()))
    for table in (told.new_table(), told.hourly_table()):
        assert "one find decides" in table.text.lower()
    assert "One find decides in hand tools: a single expensive sale" in told.new_table().text
    for table in (plain.new_table(), plain.hourly_table()):
        assert "find decides" not in table.text.lower()


def test_a_shops_forecasts_are_kept_apart_from_anothers(demo, few, tmp_path):
    own, other = record_folder(tmp_path, demo.books), record_folder(tmp_path, few.books)
    assert own != other
    assert own.parent == other.parent == tmp_path / "track-record"


def test_books_with_hardly_a_sale_say_so_everywhere(few):
    count = "0 sales" if few.items["sold_on"].isna().all() else "2 sales"
    buy, page = Buy(few), Stock(few)
    assert buy.answer().text.startswith(f"Too few to tell: {count} in the books")
    assert f"Too few to tell: {count} in the books" in page.answer().text
    for shown in (
        buy.sheet(),
        buy.sheet_note(),
        buy.to_do(),
        page.to_do(),
        page.actions(),
        page.kept(),
        page.cleared(),
        page.habits(),
        page.patience_table(),
    ):
        assert shown.html == ""
    assert page.patience_picture().to_dict()["description"].startswith("Nothing is held")
    told = forecasts.track_record(few)
    assert told.new.empty
    assert told.note().startswith("Too few to tell")
    assert told.coverage().empty


def test_a_month_without_a_sale_has_nothing_to_move(tmp_path):
    found = what_if(open_study(write_books(tmp_path / "books", items=UNSOLD)))
    assert found.answer().text.startswith("Nothing sold in January 2026")
    assert found.best() == ""
    assert found.together().html == found.helps().html == found.hangs_table().html == ""


def test_finds_of_a_month_are_counted_over_the_months_that_were_bought_in(demo):
    # The demo's books begin in January 2025: 22 months up to October 2026, fewer than the window's 24.
    assert demo.assumptions.whole("report.window_months") > 22
    returns = demo.bought_returns.set_index("category")
    stretch = demo.assumptions.number("sourcing.stretch")
    for row in demo.hours.frame.to_dict("records"):
        minutes = returns.loc[row["category"], "expected_min"] * demo.decision(row["category"]).find_share
        assert row["available_h"] == pytest.approx(stretch * minutes / 60 / 22)
