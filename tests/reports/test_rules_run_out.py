"""Rule tables that end: the check warns, a report goes on and says so, a single answer refuses."""

from __future__ import annotations

import dataclasses
import datetime as dt

import numpy as np
import pytest
from click.testing import CliRunner

from flipkit.assumptions import load_assumptions
from flipkit.books.check import check, rules_run_out
from flipkit.cli.main import main
from flipkit.economics.items import item_economics
from flipkit.errors import RuleNotInForceError
from flipkit.pack.month import month_plan
from flipkit.paths import demo_folder
from flipkit.reports.money import Money
from flipkit.reports.sentences import month_sentence
from flipkit.reports.study import open_study
from flipkit.rules.mileage import mileage_cents
from flipkit.rules.tables import load_rules
from tests.helpers.small_books import write_books

NEW_YEAR = "2027-01-31"
ITEMS = """
    item_id,title,category,bought_on,cost,trip_id,listed_on,list_price,sold_on,sold_price,fees_paid,venue,zone,label_paid
    A-1,Jug,jugs,2026-12-12,4.00,T-1,2026-12-13,30.00,2026-12-20,30.00,3.00,,4,7.00
    A-2,Jug,jugs,2027-01-09,4.00,T-2,2027-01-10,40.00,2027-01-20,40.00,4.00,,4,7.00
"""
TRIPS = "trip_id,date,miles\nT-1,2026-12-12,10\nT-2,2027-01-09,10"
FEES = """
kind = "fees"
name = "barn"
[[block]]
from = 2026-01-01
ends = {ends}
source = "own"
seen = "from memory"
[block.commission]
base = ["goods"]
rate = "10 %"
"""
SOURCES = '[own]\ntitle = "My own reading"\nwhere = "their page of fees"\n'


@pytest.fixture
def shop(tmp_path):
    return write_books(tmp_path / "shop", items=ITEMS, trips=TRIPS)


def own_table(shop, kind, text):
    folder = shop / "rules" / kind
    folder.mkdir(parents=True)
    (shop / "rules" / "sources.toml").write_text(SOURCES, encoding="utf-8")
    (folder / "own.toml").write_text(text, encoding="utf-8")


@pytest.mark.worked
def test_a_trip_after_the_last_rate_costs_the_last_rate_and_is_assumed(shop):
    # 10 miles at 72.5 cents, the rate of 2026, carried on: 725 cents, never 0.
    items = open_study(shop, month="2027-01", as_of=NEW_YEAR).items.set_index("item_id")
    assert items["trip_cents"].tolist() == [725, 725]
    assert items["trip_origin"].tolist() == ["rule", "assumed"]


def test_the_headline_and_the_line_of_the_year_say_that_a_rate_is_assumed(shop):
    study = open_study(shop, month="2027-01", as_of=NEW_YEAR)
    said = "ends on 2026-12-31. Its last value stands in for 1 row of the books from 2027-01-09 on (trips.csv row 3"
    assert said in month_sentence(study)[1]
    assert "assumed: it ended 2026-12-31" in Money(study).mileage_table().text
    before = open_study(shop, month="2026-12", as_of="2026-12-31")
    assert before.rules_run_out == ()
    assert "ran out" not in month_sentence(before)[1]


def test_every_page_of_the_month_is_laid_out(shop):
    plan = month_plan(shop, month="2027-01", as_of=NEW_YEAR)
    assert len(plan.pages) == 9


def test_a_single_answer_still_refuses_and_names_file_and_lines(demo_rules):
    with pytest.raises(RuleNotInForceError) as refused:
        mileage_cents(demo_rules.mileage, on="2027-01-09", miles=1)
    text = str(refused.value)
    assert "rules/mileage/mileage.toml" in text
    assert "from = 2027-01-01" in text
    assert "cents_a_mile = 72.5" in text
    assert "\n" not in text


def test_economics_without_a_report_refuse_too(shop):
    study = open_study(shop, month="2027-01", as_of=NEW_YEAR)
    with pytest.raises(RuleNotInForceError):
        item_economics(study.books, load_rules(), study.assumptions, dt.date(2027, 1, 31))


@pytest.mark.parametrize(("day", "warned"), [("2026-11-01", False), ("2026-11-02", True)])
def test_the_check_warns_sixty_days_ahead_and_not_earlier(tmp_path, day, warned):
    # 2026-11-01 and 60 days is 2026-12-31, the last day of the rate.
    shop = write_books(
        tmp_path / "young", items="\n".join(ITEMS.strip().splitlines()[:2]), trips="\n".join(TRIPS.splitlines()[:2])
    )
    found = check(shop, as_of=dt.date.fromisoformat(day))
    assert bool(found.running_out) is warned
    assert ("A rule table runs out" in found.text()) is warned


def test_the_printed_lines_mend_it_as_they_stand(shop):
    shown = CliRunner().invoke(main, ["check", str(shop), "--as-of", NEW_YEAR])
    assert shown.exit_code == 0, shown.output
    lines = shown.output.partition("in place of the last ones:\n")[2].partition("\n\n")[0]
    file = shop / "rules" / "mileage" / "mileage.toml"
    file.parent.mkdir(parents=True)
    file.write_text("\n".join(line.strip() for line in lines.splitlines()).replace("72.5", "80"), encoding="utf-8")
    assert check(shop, as_of=dt.date(2027, 1, 31)).running_out == ()
    study = open_study(shop, month="2027-01", as_of=NEW_YEAR)
    items = study.items.set_index("item_id")
    # The packaged rates stand before the seller's own block: 725 cents in December, 800 in January.
    assert items["trip_cents"].tolist() == [725, 800]
    assert items["trip_origin"].tolist() == ["rule", "rule"]
    assert study.rules_run_out == ()


@pytest.mark.worked
def test_a_fee_schedule_that_ended_goes_on_assumed(shop):
    items = ITEMS.replace(",3.00,,4", ",,barn,4").replace(",4.00,,4", ",,barn,4")
    write_books(shop, items=items)
    own_table(shop, "fees", FEES.format(ends="2026-12-31"))
    study = open_study(shop, month="2027-01", as_of=NEW_YEAR)
    found = study.items.set_index("item_id")
    assert found["marketplace_fee_cents"].tolist() == [300, 400]
    assert found["marketplace_fee_origin"].tolist() == ["rule", "assumed"]
    fees = next(one for one in study.rules_run_out if "fees" in one.table)
    assert (fees.rows, fees.own_file) == (1, "rules/fees/own.toml")
    assert "copy the [[block]] from 2026-01-01 to 2026-12-31" in fees.lines[0]


def test_a_sale_before_the_first_block_is_named_by_the_check_and_stops_the_report(shop):
    items = ITEMS.replace(",3.00,,4", ",,barn,4").replace(",4.00,,4", ",,barn,4")
    write_books(shop, items=items)
    own_table(shop, "fees", FEES.format(ends="2027-12-31").replace("from = 2026-01-01", "from = 2027-01-01"))
    shown = CliRunner().invoke(main, ["check", str(shop), "--as-of", NEW_YEAR])
    assert shown.exit_code == 2
    assert "fees 'barn' has nothing for 2026-12-20 (items.csv row 2, column sold_on)" in shown.output
    with pytest.raises(RuleNotInForceError, match="2026-12-20"):
        open_study(shop, month="2027-01", as_of=NEW_YEAR)


def test_the_check_names_a_rule_table_that_cannot_be_read(shop):
    own_table(shop, "fees", FEES.format(ends="2026-12-31").replace("10 %", "ten"))
    shown = CliRunner().invoke(main, ["check", str(shop), "--as-of", NEW_YEAR])
    assert shown.exit_code == 2
    assert "rules/fees/own.toml" in shown.output
    assert "'ten'" in shown.output


def ended(table):
    """A copy of a rule set whose last block ends with 2026."""
    last = dataclasses.replace(table.blocks[-1], ends=dt.date(2026, 12, 31))
    return dataclasses.replace(table, blocks=(*table.blocks[:-1], last))


@pytest.mark.parametrize("kind", ["fee_schedules", "rate_cards", "parcels", "mileage", "size_classes"])
def test_every_kind_of_table_refuses_alone_and_lasts_in_a_report(demo_rules, kind):
    held = getattr(demo_rules, kind)
    for table in held.values() if hasattr(held, "values") else [held]:
        short = ended(table)
        with pytest.raises(RuleNotInForceError, match="2027-01-01"):
            short.at(dt.date(2027, 1, 1))
        assert short.lasts().at(dt.date(2027, 1, 1)) is short.blocks[-1]
        assert short.past(["2026-12-31", "2027-01-01"]).tolist() == [False, True]
        with pytest.raises(RuleNotInForceError):
            short.lasts().at(table.blocks[0].starts - dt.timedelta(days=1))


def test_a_day_after_an_end_never_costs_nothing(demo_rules):
    lasting = demo_rules.lasts().mileage
    days = np.array(["2026-12-31", "2027-01-01", "2031-06-30"], dtype="datetime64[D]")
    assert mileage_cents(lasting, on=days, miles=10).tolist() == [725, 725, 725]


def test_labels_of_a_card_that_ended_are_assumed(demo_rules, tmp_path):
    measured = """
        item_id,title,category,bought_on,cost,sold_on,sold_price,fees_paid,zone,length_in,width_in,height_in,weight_lb
        A-1,Jug,jugs,2026-12-12,4.00,2026-12-20,30.00,3.00,4,9,6,4,2
        A-2,Jug,jugs,2026-12-12,4.00,2027-01-20,30.00,3.00,4,9,6,4,2
    """
    shop = write_books(tmp_path / "posted", items=measured)
    study = open_study(shop, month="2027-01", as_of=NEW_YEAR, settings={"postage.rate_cards": ""})
    name = sorted(demo_rules.rate_cards)[0]
    cards = {name: ended(demo_rules.rate_cards[name])}
    rules = dataclasses.replace(demo_rules, rate_cards=cards)
    held = load_assumptions(None, overrides={"postage.rate_cards": name})
    found = item_economics(study.books, rules.lasts(), held, dt.date(2027, 1, 31)).items
    assert found["label_origin"].tolist() == ["rule", "assumed"]
    assert found["label_cents"].nunique() == 1
    assert found["label_cents"].min() > 0
    out = rules_run_out(study.books, rules.lasts(), held, day=dt.date(2027, 1, 31))
    assert any(one.rows == 1 and "rate card" in one.table for one in out)


@pytest.fixture(scope="module")
def demo_rules():
    return load_rules(demo_folder() / "rules")


@pytest.mark.worked
def test_listing_fees_after_the_end_go_on_assumed(shop):
    # Listed on 2026-12-13 and 2027-01-10, sold within the month: one fee of 35 cents each.
    write_books(shop, items=ITEMS.replace(",3.00,,4", ",,barn,4").replace(",4.00,,4", ",,barn,4"))
    own_table(shop, "fees", FEES.format(ends="2026-12-31") + '[block.listing]\nfee = "0.35"\n')
    found = open_study(shop, month="2027-01", as_of=NEW_YEAR).items.set_index("item_id")
    assert found["listing_fee_cents"].tolist() == [35, 35]
    assert found["listing_fee_origin"].tolist() == ["rule", "assumed"]
