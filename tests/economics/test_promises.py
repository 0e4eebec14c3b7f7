"""What the columns, rules and assumptions promise acts: each is changed, and the lines move, not a cent lost."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from flipkit.assumptions import load_assumptions
from flipkit.economics.costs import MEASURES, Orders, posted_parcels
from flipkit.economics.items import COSTS, GAINS, item_economics
from flipkit.packing import at_hand
from flipkit.packing.parcel import bare_item, plan_parcel
from flipkit.reports.money import Money
from flipkit.reports.study import open_study
from flipkit.rules.tables import load_rules
from tests.helpers.small_books import small_books, write_books

AS_OF = dt.date(2026, 6, 30)
HEAD = "item_id,title,category,bought_on,cost,listed_on,sold_on,sold_price,shipping_charged,venue,zone,order_id"
SHORE = """
kind = "fees"
name = "shore"
[[block]]
from = 2026-01-01
source = "demo"
seen = "invented for the demo"
commission = { base = ["goods"], rate = "10 %" }
per_order = { amount = "0.41" }
payment = { base = ["goods", "shipping", "tax"], rate = "3 %", fixed = "0.31", per = "order" }
listing = { fee = "0.20", free_a_month = 1, relist_every_days = 30 }
refund = { commission = "100 %", payment = "50 %", fee = "0.15" }
"""


def shop(folder, rows, *, head=HEAD, fees=SHORE, settings=None, as_of=AS_OF, **tables):
    """The economics of a few items, by item id."""
    (folder / "rules" / "fees").mkdir(parents=True, exist_ok=True)
    (folder / "rules" / "fees" / "shore.toml").write_text(fees, encoding="utf-8")
    books = small_books(folder, items=f"{head}\n{rows}", **tables)
    found = item_economics(books, load_rules(books.rules_folder), load_assumptions(overrides=settings or {}), as_of)
    items = found.items.set_index("item_id")
    net = items[[f"{line}_cents" for line in GAINS]].sum(axis=1)
    assert (net - items[[f"{line}_cents" for line in COSTS]].sum(axis=1) == items["net_cents"]).all()
    return items, found


PAIR = """A,Jug,stoneware,2026-01-02,5.00,2026-01-05,2026-02-10,30.00,12.01,shore,4,{a}
B,Jar,stoneware,2026-01-02,4.00,2026-01-05,2026-02-10,20.00,,shore,4,{b}"""


# --- items of one order


@pytest.mark.worked
def test_an_order_pays_its_fee_label_carton_and_packing_once(tmp_path):
    one, _ = shop(tmp_path / "one", PAIR.format(a="7", b="7"))
    two, _ = shop(tmp_path / "two", PAIR.format(a="7", b="8"))
    # Alone: 10 % + .41 + 3 % of 42.01 + .31 = 3.00 + .41 + 1.57; 2.00 + .41 + .91. Together: 5.00 + .41 + 2.17 (62.01).
    assert two["marketplace_fee_cents"].tolist() == [498, 332]
    assert one["marketplace_fee_cents"].sum() == 500 + 41 + 217
    # Two medium parcels of unknown size, and one of both on one another: 16 x 12 x 20 is over 2 cu ft, so bulky.
    assert two["label_cents"].sum() == 2 * 1600
    assert (one["label_cents"].sum(), one["materials_cents"].sum()) == (4500, 650)
    assert (one["pack_min"].sum(), one["post_min"].sum()) == (30, 10)
    assert (two["pack_min"].sum(), two["post_min"].sum()) == (28, 12)
    # The 12.01 of shipping stands on one item and is the whole order's.
    assert sorted(one["shipping_charged_cents"]) == [600, 601]
    assert two["shipping_charged_cents"].tolist() == [1201, 0]


def test_what_is_recorded_on_one_item_of_an_order_is_shared_among_all(tmp_path):
    rows = PAIR.format(a="7,21.01,3.33,0.05,7.77", b="7,,,,")
    head = f"{HEAD},label_paid,materials_paid,label_adjustment,fees_paid"
    items, _ = shop(tmp_path, rows, head=head)
    for line, cents in {"label": 2101, "materials": 333, "label_adjustment": 5, "marketplace_fee": 777}.items():
        assert items[f"{line}_cents"].sum() == cents
        assert (items[f"{line}_cents"] > 0).all(), line
        assert set(items[f"{line}_origin"]) == {"recorded"}
    # A share of 30 to 20 for the fee; equal parcels share the label, the odd cent going to the first item id.
    assert items["marketplace_fee_cents"].tolist() == [466, 311]
    assert items["label_cents"].tolist() == [1051, 1050]


def test_a_blank_venue_or_zone_is_the_orders(tmp_path):
    whole, _ = shop(tmp_path / "whole", PAIR.format(a="7", b="7"))
    half, _ = shop(tmp_path / "half", PAIR.format(a="7", b="7").replace("20.00,,shore,4", "20.00,,,"))
    assert half[["venue", "zone"]].equals(whole[["venue", "zone"]])
    assert half["net_cents"].equals(whole["net_cents"])


def test_orders_that_look_mistaken_are_noted(tmp_path):
    rows = PAIR.format(a="7,9.00", b="7,9.00").replace("02-10,20.00", "02-11,20.00")
    books = small_books(tmp_path, items=f"{HEAD},label_paid\n{rows}")
    told = " ".join(str(note) for note in books.notes)
    assert "order 7 has several" in told
    assert "9.00 on each of the 2 items of order 7" in told


def test_the_order_of_rows_moves_no_cent(tmp_path):
    rows = PAIR.format(a="7,21.01", b="7,").splitlines()
    head = f"{HEAD},label_paid"
    one, _ = shop(tmp_path / "one", "\n".join(rows), head=head)
    two, _ = shop(tmp_path / "two", "\n".join(rows[::-1]), head=head)
    lines = [f"{line}_cents" for line in (*GAINS, *COSTS)]
    assert one[lines].equals(two.loc[one.index, lines])


def test_minutes_logged_for_one_item_are_the_parcels(tmp_path):
    work = "date,activity,minutes,worker,item_id\n2026-02-10,pack,21,me,B"
    items, _ = shop(tmp_path, PAIR.format(a="7", b="7"), work=work)
    assert items["pack_min"].tolist() == [10.5, 10.5]
    assert set(items["pack_origin"]) == {"recorded"}


def test_a_measured_parcel_is_the_orders_and_different_days_are_two_parcels(tmp_path):
    head = f"{HEAD},length_in,width_in,height_in,weight_lb"
    one, _ = shop(tmp_path / "one", PAIR.format(a="7,10,8,6,3", b="7,,,,"), head=head)
    assert one["label_cents"].sum() == 700  # a small parcel
    two, _ = shop(
        tmp_path / "two", PAIR.format(a="7,10,8,6,3", b="7,10,8,6,3").replace("02-10,20.00", "02-11,20.00"), head=head
    )
    assert two["label_cents"].tolist() == [700, 700]


@pytest.mark.worked
@pytest.mark.parametrize(
    ("second", "measured", "parcel", "origin"),
    [
        # Each on its largest side, one on the other: 12 x 8 in, 6 and 4 high, 3 and 2 lb.
        ((5, 12, 4, 2), (False, False), (12, 8, 10, 5), "assumed"),
        ((5, 12, 4, 2), (True, True), (12, 8, 10, 5), "assumed"),
        # One that is measured stands for all, and so do measures that all give alike.
        ((5, 12, 4, 2), (True, False), (10, 8, 6, 3), "recorded"),
        ((10, 8, 6, 3), (True, True), (10, 8, 6, 3), "recorded"),
        ((10, 8, 6, 3), (False, False), (10, 8, 12, 6), "assumed"),
    ],
)
def test_the_parcel_of_an_order_by_what_is_measured(second, measured, parcel, origin):
    items = pd.DataFrame({"sold_on": pd.to_datetime(["2026-02-10"] * 2)}, index=[5, 3])
    own = pd.DataFrame([(10, 8, 6, 3), second], columns=MEASURES, index=items.index, dtype=float)
    own["measures_origin"] = np.where(measured, "recorded", "assumed")
    own = own.assign(size_class="none", volume_cuft=0.0)
    both = np.ones(2, dtype=bool)
    found = posted_parcels(items, own, Orders(np.zeros(2, int), np.arange(2), both, ~both), load_rules())
    for _, row in found.iterrows():
        assert tuple(row[list(MEASURES)]) == parcel
        assert (row["measures_origin"], row["size_class"]) == (origin, "small")
        assert row["volume_cuft"] == parcel[0] * parcel[1] * parcel[2] / 1728


@pytest.mark.parametrize("seed", range(12))
def test_sums_of_orders_are_exact_in_random_shops(tmp_path, seed):
    random = np.random.default_rng(seed)
    count, orders = 60, [str(n) if n % 4 else "" for n in random.integers(0, 25, 60)]
    rows, total = [], 0
    for at in range(count):
        label = "" if random.random() < 0.5 else f"{random.integers(0, 4000) / 100:.2f}"
        total += round(float(label or 0) * 100)
        day = dt.date(2026, 2, 1) + dt.timedelta(days=int(random.integers(0, 3)))
        back = f"{random.integers(1, 900) / 100:.2f}" if random.random() < 0.2 else ""
        price, zone = f"{random.integers(0, 9000) / 100:.2f}", random.choice(["", "4", "pickup"])
        label = "" if zone == "pickup" else label
        total -= 0 if zone != "pickup" else round(float(label or 0) * 100)
        rows.append(
            f"I{at:03},x,c{at % 3},2026-01-02,1.00,2026-01-05,{day},{price},,shore,{zone},{orders[at]},{label},{back}"
        )
    items, _ = shop(tmp_path, "\n".join(rows), head=f"{HEAD},label_paid,refund")
    paid = sum(round(float(row.split(",")[12] or 0) * 100) for row in rows)
    by_origin = items.groupby("label_origin")["label_cents"].sum()
    assert by_origin.get("recorded", 0) == paid
    # Each order pays its amount once: as many times 41 cents as there are orders on a day, posted or collected.
    key = items.assign(order=[o or f"-{i}" for i, o in enumerate(orders)], up=items["zone"] == "pickup")
    parcels = key.groupby(["order", "sold_on", "up"])
    bill = sum(41 + int(group["sold_price_cents"].sum() * 3 + 50) // 100 + 31 for _, group in parcels) + sum(
        (cents * 10 + 50) // 100 for cents in items["sold_price_cents"]
    )
    assert items["marketplace_fee_cents"].sum() == bill
    mixed, _ = shop(tmp_path / "mixed", "\n".join(random.permutation(rows)), head=f"{HEAD},label_paid,refund")
    lines = ("shipping_charged", "marketplace_fee", "refunded_fee", "listing_fee", "label", "materials", "refund")
    names = [*(f"{line}_cents" for line in lines), *(f"{line}_origin" for line in lines), "pack_min", "post_min"]
    pd.testing.assert_frame_equal(items[names], mixed.loc[items.index, names])


@pytest.mark.worked
def test_what_only_some_of_an_order_have_is_shared_among_these():
    code = np.array([7, 7, 7, 8])
    orders = Orders(code, np.arange(4), code == 7, np.array([True, False, False, True]))
    cents = np.array([10, 5, 1, 4])
    # All three of the order share 16 by 2 to 1 to 1; the first two alone share 15 by 2 to 1; 4 stays alone.
    assert orders.pooled(cents, [2, 1, 1, 1]).tolist() == [8, 4, 4, 4]
    assert orders.pooled(cents, [2, 1, 1, 1], among=np.array([True, True, False, True])).tolist() == [10, 5, 1, 4]
    assert orders.pooled(cents, [1, 2, 1, 1], among=np.array([True, True, False, True])).tolist() == [5, 10, 1, 4]
    assert orders.part([2, 1, 1, 9]).tolist() == [0.5, 0.25, 0.25, 1]
    # Where none takes room each is an equal part.
    assert orders.part([0, 0, 0, 0]).tolist() == [1 / 3, 1 / 3, 1 / 3, 1]


# --- fees that come back, and listing fees


@pytest.mark.worked
def test_fees_come_back_with_a_refund_as_the_schedule_says(tmp_path):
    rows = "A,Jug,c,2026-01-02,5.00,2026-01-05,2026-02-10,40.00,10.00,shore,4,,{},{},{}"
    head = f"{HEAD},refund,fees_paid,fees_refunded"
    whole, found = shop(tmp_path / "1", rows.format("50.00", "", ""), head=head)
    # Commission 4.00 in full, half of the payment's 1.50, nothing of .31 and .41; the refund itself costs .15.
    assert whole["refunded_fee_cents"].tolist() == [400 + 75 - 15]
    assert whole["refunded_fee_origin"].tolist() == ["rule"]
    part, _ = shop(tmp_path / "2", rows.format("10.00", "", ""), head=head)
    assert part["refunded_fee_cents"].tolist() == [80 + 15 - 15]
    # Of a recorded fee the same part comes back: 4.75 of 6.22, so 3.82 of 5.00.
    paid, _ = shop(tmp_path / "3", rows.format("50.00", "5.00", ""), head=head)
    assert paid["refunded_fee_cents"].tolist() == [382 - 15]
    # Of .02 recorded for what the schedule says is 6.22, .01527 comes back: .02 by rounding, less .15; of .03 it is
    # .0229, also .02. Of .01 it is .0076, so .01.
    for fee, back in (("0.01", 1), ("0.02", 2), ("0.03", 2)):
        little, _ = shop(tmp_path / f"little {fee}", rows.format("50.00", fee, ""), head=head)
        assert little["refunded_fee_cents"].tolist() == [back - 15]
    told, _ = shop(tmp_path / "4", rows.format("50.00", "5.00", "1.23"), head=head)
    assert (told["refunded_fee_cents"].tolist(), told["refunded_fee_origin"].tolist()) == ([123], ["recorded"])
    kept, _ = shop(tmp_path / "5", rows.format("50.00", "", ""), head=head, fees=SHORE.split("refund =")[0])
    assert kept["refunded_fee_cents"].tolist() == [0]
    assert kept["net_cents"]["A"] == whole["net_cents"]["A"] - 460
    assert found.items["refunded_fee_cents"].sum() == 460


UNSOLD = """A,Jug,c,2026-01-02,5.00,2026-01-05,,,,shore,,
B,Jar,c,2026-01-02,4.00,2026-01-06,2026-02-10,20.00,,shore,pickup,
C,Cup,c,2026-01-02,4.00,2026-01-06,,,,,,"""


@pytest.mark.worked
def test_listing_and_relisting_cost_the_unsold_too(tmp_path):
    items, found = shop(tmp_path / "1", UNSOLD)
    # A: 5 Jan (the free one of January), 4 Feb (the free one of February), 6 Mar free, 5 Apr free, 5 May free,
    # 4 June free. B: 6 Jan, 5 Feb. C has no venue.
    assert items["listing_fee_cents"].tolist() == [0, 40, 0]
    paid, found = shop(tmp_path / "2", UNSOLD, fees=SHORE.replace("free_a_month = 1, ", ""))
    assert paid["listing_fee_cents"].tolist() == [120, 40, 0]
    assert paid["net_cents"]["A"] == items["net_cents"]["A"] - 120
    assert found.listings["cents"].sum() == paid["listing_fee_cents"].sum()
    early, _ = shop(tmp_path / "3", UNSOLD, fees=SHORE.replace("free_a_month = 1, ", ""), as_of=dt.date(2026, 2, 3))
    assert early["listing_fee_cents"].tolist() == [20, 20, 0]
    # What stood there before the schedule began is charged from its first relisting under it.
    late = (
        UNSOLD.replace("2026-01-05", "2025-11-20")
        .replace("bought", "")
        .replace("A,Jug,c,2026-01-02", "A,Jug,c,2025-11-02")
    )
    old, _ = shop(tmp_path / "4", late, fees=SHORE.replace("free_a_month = 1, ", ""))
    # 20 Nov, 20 Dec; then 19 Jan, 18 Feb, 20 Mar, 19 Apr, 19 May, 18 June.
    assert old["listing_fee_cents"].tolist() == [120, 40, 0]


def test_the_year_shows_listing_fees_and_fees_given_back(tmp_path):
    rows = f"{UNSOLD}\nD,Mug,c,2026-01-02,5.00,,2026-02-10,40.00,10.00,shore,4,"
    rows = "\n".join(f"{row},{'50.00' if row[0] == 'D' else ''}" for row in rows.splitlines())
    shop(tmp_path, rows, head=f"{HEAD},refund", fees=SHORE.replace("free_a_month = 1, ", ""))
    text = Money(open_study(tmp_path, month="2026-02", as_of="2026-06-30")).income_table().text
    told = {line.split("  ")[0]: line.split()[-2] for line in text.splitlines() if "  " in line}
    assert told["marketplace fees given back with them"] == "4.60"
    assert told["listing fees, of unsold items too"] == "−0.80"


# --- protection


def with_card(folder, demo_folder, rows, rules=None, **settings):
    """The same with the demo's invented rate cards."""
    head = f"{HEAD},length_in,width_in,height_in,weight_lb,declared_value,protection_paid,label_paid"
    books = small_books(folder, items=f"{head}\n{rows}")
    rules = rules or load_rules(demo_folder / "rules")
    assumptions = load_assumptions(overrides={"postage.rate_cards": "post", **settings})
    return item_economics(books, rules, assumptions, AS_OF).items.set_index("item_id")


def test_protection_is_recorded_or_chosen(tmp_path, demo_folder):
    row = "A,Jug,c,2026-01-02,5.00,2026-01-05,2026-02-10,400.00,10.00,any,4,,12,10,8,6,{},{},{}"
    card = load_rules(demo_folder / "rules").rate_cards["post"].at(dt.date(2026, 2, 10))
    bare = with_card(tmp_path / "1", demo_folder, row.format("", "", ""))
    assert bare["protection_cents"].tolist() == [0]
    declared = with_card(tmp_path / "2", demo_folder, row.format("400.00", "", ""))
    assert declared["protection_cents"]["A"] > 0
    assert declared["protection_origin"].tolist() == ["rule"]
    assert declared["label_cents"].tolist() == bare["label_cents"].tolist()
    assert declared["net_cents"]["A"] == bare["net_cents"]["A"] - declared["protection_cents"]["A"]
    chosen = with_card(tmp_path / "3", demo_folder, row.format("", "", ""), **{"protection.declare_from": "300.00"})
    assert chosen["protection_cents"].tolist() == declared["protection_cents"].tolist()
    assert chosen["protection_origin"].tolist() == ["assumed"]
    below = with_card(tmp_path / "4", demo_folder, row.format("", "", ""), **{"protection.declare_from": "400.01"})
    assert below["protection_cents"].tolist() == [0]
    signed = with_card(tmp_path / "5", demo_folder, row.format("", "", ""), **{"protection.signature_from": "300.00"})
    assert signed["protection_cents"].tolist() == [next(iter(card.signature_cents.values()))]
    # A card that has run out says what it said last, which is assumed; so it is where the carrier's rules have.
    for kind in ("rate_cards", "parcels"):
        rules = load_rules(demo_folder / "rules").lasts()
        table = getattr(rules, kind)["post"]
        known = [block for block in table.blocks if block.starts <= dt.date(2026, 2, 10)]
        over = replace(table, blocks=(*known[:-1], replace(known[-1], ends=dt.date(2026, 2, 9))))
        past = replace(rules, **{kind: {**getattr(rules, kind), "post": over}})
        assert over.past([dt.date(2026, 2, 10)]).all()
        run_out = with_card(tmp_path / kind, demo_folder, row.format("", "", ""), rules=past)
        assert (run_out["label_cents"]["A"], run_out["label_origin"]["A"]) == (bare["label_cents"]["A"], "assumed")
    assert bare["label_origin"].tolist() == ["rule"]
    paid = with_card(tmp_path / "6", demo_folder, row.format("400.00", "9.99", "20.00"))
    assert (paid["protection_cents"]["A"], paid["protection_origin"]["A"]) == (999, "recorded")
    # A label that is recorded without it holds its protection.
    within = with_card(tmp_path / "7", demo_folder, row.format("400.00", "", "20.00"))
    assert within["protection_cents"].tolist() == [0]


# --- bought supplies


def parcels_sold(count):
    """Rows of medium parcels sold on one day after another."""
    days = [dt.date(2026, 1, 10) + dt.timedelta(days=at) for at in range(count)]
    return "\n".join(f"I{at:03},x,c,2026-01-02,1.00,2026-01-05,{day},20.00,,shore,4," for at, day in enumerate(days))


@pytest.mark.worked
def test_bought_supplies_teach_the_materials_once_there_are_enough(tmp_path):
    supplies = "date,supply,quantity,unit,cost\n2026-01-10,cartons,50,carton,{}\n2026-02-19,cartons,50,carton,99.00"
    few, found = shop(tmp_path / "1", parcels_sold(29), supplies=supplies.format("200.00"))
    assert (set(few["materials_cents"]), found.supplies.used) == ({250}, 1.0)
    many, found = shop(tmp_path / "2", parcels_sold(60), supplies=supplies.format("200.00"))
    # 40 parcels were posted from the first to the last purchase, at 2.50 assumed: 200.00 for 100.00, twice as much.
    # 60 parcels beside the 8 that the assumption weighs: (8 + 60 x 2) / 68 = 1.88235; of 2.50 it is 4.71.
    assert found.supplies.seen == 2.0
    assert set(many["materials_cents"]) == {471}
    assert set(many["materials_origin"]) == {"assumed"}
    assert (found.supplies.bought_cents, found.supplies.charged_cents) == (29_900, 60 * 471)
    dearer, _ = shop(tmp_path / "3", parcels_sold(60), supplies=supplies.format("400.00"))
    assert dearer["net_cents"].sum() < many["net_cents"].sum()
    # Supplies for far more than these parcels teach four times at most: (8 + 60 x 4) / 68 of 2.50 is 9.12.
    far, found = shop(tmp_path / "4", parcels_sold(60), supplies=supplies.format("9000.00"))
    assert (found.supplies.seen, set(far["materials_cents"])) == (90.0, {912})
    told = " ".join(open_study(tmp_path / "4", as_of="2026-06-30").left_out)
    assert "90.00 times the assumed materials. Look whether all parcels and all purchases are in the books" in told


def test_the_report_reconciles_bought_supplies(tmp_path):
    supplies = "date,supply,quantity,unit,cost\n2026-01-10,cartons,50,carton,200.00\n2026-02-19,cartons,50,carton,99.00"
    shop(tmp_path, parcels_sold(60), supplies=supplies)
    told = " ".join(open_study(tmp_path, as_of="2026-06-30").left_out)
    assert "you bought packing supplies for $299.00" in told
    assert "were charged $282.60. The other $16.40 is still on the shelf" in told
    assert "1.88 times the assumed amount" in told


def test_packing_stock_takes_the_cost_of_a_supply_from_the_books(tmp_path):
    starter = Path(at_hand.__file__).with_name("starter_stock.toml").read_text(encoding="utf-8")
    film = starter.index("[stretch]")
    stock = starter[:film] + re.sub(r'cost = ".*"', 'supply = "film"', starter[film:], count=1)
    assert stock != starter
    plans = []
    for name, paid in (("cheap", "5.00"), ("dear", "900.00")):
        folder = write_books(
            tmp_path / name,
            items="item_id,title,category,bought_on,cost\nA,Jug,c,2026-01-02,1.00",
            supplies=f"date,supply,quantity,unit,cost\n2026-01-10,film,10,roll,{paid}",
        )
        (folder / "packing.toml").write_text(stock, encoding="utf-8")
        item = bare_item("jug", "12x10x8in", "4 lb", fragility="rugged")
        plans.append(plan_parcel(item, books=folder, on="2026-02-01"))
    cheap, dear = (plan.stock.stretch.cents_per_sqft for plan in plans)
    assert dear == pytest.approx(180 * cheap)
    assert plans[0].plan.best.total_cents < plans[1].plan.best.total_cents


# --- the buyer's tax


@pytest.mark.worked
def test_fees_on_a_base_with_tax_are_computed_with_it(tmp_path):
    row = "A,Jug,c,2026-01-02,5.00,,2026-02-10,40.00,10.00,shore,4,,{}"
    bare, found = shop(tmp_path / "1", row.format(""), head=f"{HEAD},tax_paid")
    # 10 % of 40.00, .41, 3 % of 50.00 and .31; with 4.00 of tax the payment is taken of 54.00.
    assert bare["marketplace_fee_cents"].tolist() == [400 + 41 + 150 + 31]
    assert (found.untaxed, found.untaxed_venues) == (1, ("shore",))
    taxed, found = shop(tmp_path / "2", row.format("4.00"), head=f"{HEAD},tax_paid")
    assert taxed["marketplace_fee_cents"].tolist() == [400 + 41 + 162 + 31]
    assert found.untaxed == 0
    assumed, found = shop(tmp_path / "3", row.format(""), head=f"{HEAD},tax_paid", settings={"fees.buyer_tax": "8 %"})
    assert assumed["marketplace_fee_cents"].tolist() == taxed["marketplace_fee_cents"].tolist()
    assert found.untaxed == 0
    told = " ".join(open_study(tmp_path / "1", as_of="2026-06-30").left_out)
    assert "The books give no tax for 1 of these sales" in told
    assert not any("no tax" in line for line in open_study(tmp_path / "2", as_of="2026-06-30").left_out)


def test_lines_of_the_demo_shop_are_whole_cents_of_whole_orders(demo_study):
    study = demo_study
    listings = study.economics.listings
    assert listings["cents"].sum() == study.items["listing_fee_cents"].sum() > 0
    used = study.economics.supplies
    assert used.bought_cents == study.books.supplies["cost_cents"].sum()
    # The demo buys three quarters of what plans would take: what its parcels are charged is what it bought.
    assert 0.7 < used.used < 0.8
    assert used.charged_cents == pytest.approx(used.bought_cents, rel=0.01)
    unsold = study.items[study.items["sold_on"].isna()]
    assert unsold["listing_fee_cents"].sum() > 0
