"""One item traced: its lines add up to its net, and each says where it comes from."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json

import numpy as np
import openpyxl
import pytest
from click.testing import CliRunner

from flipkit.assumptions import load_assumptions
from flipkit.books.read import read_books
from flipkit.books.schema import ACTIVITIES
from flipkit.cli.main import main
from flipkit.economics.items import LINES, MONEY_LINES, column_meanings, item_economics
from flipkit.economics.trace import item_trace
from flipkit.errors import AssumptionError
from flipkit.reports.study import open_study
from flipkit.rules.postage import labels
from flipkit.rules.tables import load_rules
from tests.helpers.small_books import small_books, write_books

ITEMS = """
    item_id,title,category,bought_on,cost,lot_id,trip_id,listed_on,list_price,sold_on,sold_price,shipping_charged,fees_paid,label_paid,zone,refund,returned_on,gone_on,gone_how
    A-0041,Jug,jugs,2026-03-07,4.00,,T-1,2026-03-08,30.00,2026-03-20,30.00,8.00,3.00,7.25,4,,,,
    A-0042,Jug,jugs,2026-03-07,,L-1,T-1,2026-03-08,20.00,,,,,,,,,,
    A-0043,Jug,jugs,2026-03-07,,L-1,T-1,2026-03-08,10.00,2026-03-20,12.00,5.00,,,4,,2026-03-28,,
    A-0044,Jug,jugs,2026-03-07,3.00,,,2026-03-08,10.00,,,,,,,,,2026-04-02,donated
"""
TABLES = {
    "trips": "trip_id,date,miles,parking\nT-1,2026-03-07,10,1.00",
    "lots": "lot_id,date,cost,share_by\nL-1,2026-03-07,9.00,expected value",
    "work": "date,activity,minutes,worker,item_id,trip_id\n2026-03-20,pack,20,Ann,A-0041,\n"
    "2026-03-07,find,60,me,,T-1\n2026-03-08,clean,12,me,A-0042,",
    "people": "worker,role,wage\nme,owner,\nAnn,hired,15.00",
    "overheads": "month,what,amount\n2026-03,shelf,10.00\n2026-05,shelf,4.00",
}


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = write_books(tmp_path_factory.mktemp("traced") / "shop", items=ITEMS, **TABLES)
    return open_study(folder, month="2026-04", as_of="2026-04-30")


@pytest.fixture(scope="module")
def demo(demo_study):
    return demo_study


def from_of(trace, line):
    return trace.lines.set_index("line").loc[line, "where_from"]


@pytest.mark.parametrize("name", ["A-0041", "A-0042", "A-0043", "A-0044"])
def test_the_lines_of_a_sold_unsold_returned_and_donated_thing_add_up(study, name):
    trace = study.item(name)
    assert trace.lines["amount_cents"].sum() == trace.net_cents
    assert trace.net_cents == study.items.set_index("item_id").loc[name, "net_cents"]
    assert trace.minutes["owner_min"].sum() == pytest.approx(trace.owner_min, abs=1e-9)
    told = trace.lines[trace.lines["origin"] != "none"]
    assert told["where_from"].str.len().min() > 0
    assert trace.minutes["where_from"].str.len().min() > 0


def test_the_lines_are_those_of_the_one_table(study):
    trace = study.item("A-0041")
    assert tuple(trace.lines["line"]) == tuple(line.name for line in MONEY_LINES)
    assert set(trace.minutes["activity"]) <= set(ACTIVITIES)


def test_recorded_lines_name_file_row_and_column(study):
    trace = study.item("A-0041")
    assert from_of(trace, "label") == "items.csv row 2, column label_paid"
    assert from_of(trace, "cost") == "items.csv row 2, column cost"
    assert from_of(trace, "overhead") == "its share of overheads.csv row 2, by the days you held it"
    assert from_of(trace, "hired") == "work.csv row 2 at the wage of people.csv"


def test_shares_name_the_lot_the_trip_and_the_rate_with_its_source(study):
    trace = study.item("A-0042")
    assert from_of(trace, "cost") == "its share of lot L-1 by expected value, lots.csv row 2"
    assert from_of(trace, "trip").startswith(
        "its share of trip T-1, trips.csv row 2; mileage 'business miles' from 2026"
    )
    assert "source mileage-2025-2026" in from_of(trace, "trip")
    find = trace.minutes.set_index("activity").loc["find"]
    assert (find["origin"], find["where_from"]) == ("recorded", "work.csv row 3")


def test_assumed_lines_name_the_assumption_its_value_and_who_says_so(study):
    trace = study.item("A-0043")
    assert from_of(trace, "refund") == "no refund is recorded, so the whole price counts as given back"
    fee = from_of(trace, "marketplace_fee")
    assert "fees.assumed_rate = " in fee
    assert "(packaged)" in fee
    size = study.items.set_index("item_id").loc["A-0043", "size_class"]
    assert from_of(trace, "label").startswith(f"label.assumed.{size} = $")
    assert from_of(trace, "materials").startswith(f"materials.assumed.{size} = $")


def test_a_moved_assumption_is_said_to_be_this_runs(study):
    moved = open_study(study.books.path, month="2026-04", as_of="2026-04-30", settings="fees.assumed_rate=9 %")
    assert "fees.assumed_rate = 9 % (run)" in from_of(moved.item("A-0043"), "marketplace_fee").replace(
        "this run", "run"
    )


def test_a_supposed_wage_is_named(study):
    said = "suppose.wage_for=everybody; help.wage=20"
    trace = open_study(study.books.path, month="2026-04", as_of="2026-04-30", settings=said).item("A-0041")
    assert from_of(trace, "hired").startswith("suppose.wage_for = everybody")


@pytest.mark.worked
def test_the_hour_is_net_by_minutes(study):
    trace = study.item("A-0041")
    assert trace.cents_per_hour == round(trace.net_cents * 60 / trace.owner_min)
    assert dataclasses.replace(trace, owner_min=0.0).cents_per_hour is None
    assert "no figure per hour" in repr(dataclasses.replace(trace, owner_min=0.0))


def test_an_unknown_id_names_the_nearest(study):
    with pytest.raises(AssumptionError, match="did you mean A-0042, A-004"):
        study.item("a-0042")
    found = CliRunner().invoke(main, ["item", "A-42", "--books", str(study.books.path)])
    assert found.exit_code == 2
    assert found.output.count("\n") == 1


def test_the_command_prints_the_same_as_text_and_as_json(study):
    place = ["--books", str(study.books.path), "--as-of", "2026-04-30"]
    shown = CliRunner().invoke(main, ["item", "A-0041", *place])
    assert shown.exit_code == 0, shown.output
    assert shown.output == repr(study.item("A-0041")) + "\n"
    said = json.loads(CliRunner().invoke(main, ["item", "A-0041", *place, "--json"]).output)
    assert sum(line["amount_cents"] for line in said["lines"]) == said["net_cents"]
    assert [line["line"] for line in said["lines"]] == [line.name for line in MONEY_LINES]


def test_things_of_every_kind_in_the_demo_add_up_and_say_where_from(demo):
    items = demo.items
    drawn = np.random.default_rng(5).permutation(len(items))
    kinds = items["status"] + items["label_origin"] + items["marketplace_fee_origin"] + items["cost_origin"]
    named = items.iloc[drawn].groupby(kinds.iloc[drawn])["item_id"].first()
    assert len(named) > 5
    for name in named:
        trace = demo.item(name)
        assert trace.lines["amount_cents"].sum() == trace.net_cents
        told = trace.lines[trace.lines["origin"] != "none"]
        silent = told[told["where_from"] == ""]
        assert silent.empty, (name, silent["line"].tolist())
    assert set(LINES) == set(trace.lines["line"])


def test_things_of_one_order_say_that_they_share(tmp_path):
    items = """
        item_id,title,category,bought_on,cost,sold_on,sold_price,fees_paid,label_paid,zone,order_id
        B-1,Jug,jugs,2026-03-07,4.00,2026-03-20,30.00,,7.25,4,77
        B-2,Jug,jugs,2026-03-07,4.00,2026-03-20,10.00,,,4,77
    """
    work = "date,activity,minutes,worker,item_id\n2026-03-20,pack,20,me,B-1"
    study = open_study(write_books(tmp_path / "shop", items=items, work=work), month="2026-03", as_of="2026-03-31")
    first, second = study.item("B-1"), study.item("B-2")
    assert from_of(second, "label") == "items.csv row 2, column label_paid; shared within order 77"
    assert from_of(second, "marketplace_fee").endswith("shared within order 77")
    assert second.minutes.set_index("activity").loc["pack", "where_from"] == "work.csv row 2"
    labels = [trace.lines.set_index("line").loc["label", "amount_cents"] for trace in (first, second)]
    assert sum(labels) == -725
    assert all(trace.lines["amount_cents"].sum() == trace.net_cents for trace in (first, second))


PRICED = (
    "item_id,title,category,bought_on,cost,listed_on,sold_on,sold_price,shipping_charged,venue,"
    "zone,order_id,length_in,width_in,height_in,weight_lb,declared_value\n"
    "A,Jug,c,2026-01-02,5.00,2026-01-05,2026-02-10,400.00,10.00,lantern,"
)


def priced(folder, demo_folder, rest, settings=None):
    """The trace of one thing whose label the demo's invented card prices, and what it is made of."""
    books, rules = small_books(folder, items=PRICED + rest), load_rules(demo_folder / "rules")
    held = load_assumptions(overrides={"postage.rate_cards": "post", **(settings or {})})
    economics = item_economics(books, rules, held, dt.date(2026, 6, 30))
    return item_trace(economics, books, rules, held, "A"), rules, economics.items.iloc[0]


@pytest.mark.parametrize(
    ("zone", "sides", "assumed"),
    [
        ("4", "12,10,8,6", ""),
        ("4", ",,,", ", with assumed measures"),
        ("", "12,10,8,6", ", with assumed zone"),
        ("", ",,,", ", with assumed zone and measures"),
    ],
)
def test_a_label_by_a_card_names_the_service_the_card_the_rules_and_what_is_assumed(
    tmp_path, demo_folder, zone, sides, assumed
):
    trace, rules, item = priced(tmp_path, demo_folder, f"{zone},,{sides},")
    day, card = dt.date(2026, 2, 10), rules.rate_cards["post"]
    blocks = [
        f"{table.title} {table.at(day).described} (source {', '.join(table.at(day).sources)}, {table.at(day).seen})"
        for table in (card, rules.rules_of(card))
    ]
    parcel = {name: float(item[name]) for name in ("length_in", "width_in", "height_in", "weight_lb")}
    where = {"zone": zone} if zone else {"zone": None, "zone_mix": load_assumptions().zone_mix()}
    service = labels(card, rules.rules_of(card), on=day, **where, **parcel).iloc[0]["service"]
    assert from_of(trace, "label") == f"service {service} of {blocks[0]} and {blocks[1]}{assumed}"


def test_protection_and_a_label_of_several_say_where_they_come_from(tmp_path, demo_folder):
    declared, _, _ = priced(tmp_path / "1", demo_folder, "4,,12,10,8,6,400.00")
    label = from_of(declared, "label")
    # The protection that the label carries stands in a line of its own and does not hide the card.
    assert label.startswith("service ")
    assert from_of(declared, "protection") == f"declared in items.csv row 2, column declared_value; {label}"
    # Postage supposed half as dear again is no card's any more, and nothing is said of one.
    moved, _, _ = priced(tmp_path / "1b", demo_folder, "4,,12,10,8,6,400.00", {"suppose.postage": 1.5})
    assert from_of(moved, "protection") == "declared in items.csv row 2, column declared_value"
    chosen, _, _ = priced(tmp_path / "2", demo_folder, "4,,12,10,8,6,", {"protection.declare_from": "300.00"})
    assert from_of(chosen, "protection").startswith("protection.declare_from = $300.00 (this run), protection.sign")
    assert from_of(chosen, "protection").endswith(f"; {label}")
    again = PRICED.partition("\n")[2].replace("A,", "B,", 1)
    shared, _, _ = priced(tmp_path / "3", demo_folder, f"4,7,12,10,8,6,\n{again}4,7,12,10,8,6,")
    assert from_of(shared, "label") == "the cheapest label of post; shared within order 7"
    own, _, _ = priced(tmp_path / "4", demo_folder, f"4,7,12,10,8,6,400.00\n{again}4,7,12,10,8,6,")
    assert from_of(own, "protection").startswith("declared in items.csv row 2, column declared_value; ")


def test_rows_of_a_workbook_and_work_of_a_day_are_named(tmp_path):
    book = openpyxl.Workbook()
    book.active.title = "items"
    work = book.create_sheet("work")
    for sheet, rows in (
        (book.active, ("item_id,title,category,bought_on,cost,listed_on", "A,Jug,c,2026-01-02,5.00,2026-01-05")),
        (work, ("date,activity,minutes,worker", "2026-01-05,clean,7,me")),
    ):
        for row in rows:
            sheet.append(row.split(","))
    book.save(tmp_path / "shop.xlsx")
    books, rules, held = read_books(tmp_path / "shop.xlsx"), load_rules(), load_assumptions()
    trace = item_trace(item_economics(books, rules, held, dt.date(2026, 6, 30)), books, rules, held, "A")
    assert from_of(trace, "cost") == "shop.xlsx sheet items row 2, column cost"
    assert trace.minutes.set_index("activity").loc["clean", "where_from"] == "shop.xlsx sheet work row 2"


def test_listings_are_counted_with_their_schedule(tmp_path):
    # Put up on 5 January and for another 30 days on 4 February, before it sold on 10 February.
    fees = (
        'kind = "fees"\nname = "lantern"\n[[block]]\nfrom = 2026-01-01\nsource = "demo"\n'
        'seen = "invented for the demo"\nlisting = { fee = "0.20", relist_every_days = 30 }\n'
    )
    (tmp_path / "rules" / "fees").mkdir(parents=True)
    (tmp_path / "rules" / "fees" / "lantern.toml").write_text(fees)
    books, held = small_books(tmp_path, items=f"{PRICED}4,,12,10,8,6,"), load_assumptions()
    rules = load_rules(books.rules_folder)
    economics = item_economics(books, rules, held, dt.date(2026, 6, 30))
    told = from_of(item_trace(economics, books, rules, held, "A"), "listing_fee")
    assert told == "2 listings: fees 'lantern' from 2026-01-01 (source demo, invented for the demo)"


def test_where_figures_come_from_has_no_unit():
    told = {name: unit for name, unit, _ in column_meanings()}
    assert {unit for name, unit in told.items() if name.endswith("_origin")} == {""}
    assert {told[f"{activity}_min"] for activity in ACTIVITIES} == {"min"}
