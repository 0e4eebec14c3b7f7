"""The face: each kind of input gives the like, the wrong ones are refused, and the figures are those of the rules."""

from __future__ import annotations

import copy
import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest

import flipkit as fk
from flipkit.economics.hiring import hired_costs
from flipkit.paths import demo_folder
from flipkit.rules.fees import order_fees
from flipkit.rules.net_price import fees_answer, price_answer
from flipkit.rules.parcel_advice import parcel_answer, protection_answer
from flipkit.rules.parcels import billable, girth_in
from flipkit.rules.postage import labels
from flipkit.rules.tables import load_rules
from flipkit.units import unit_registry
from tests.analysis.test_ratios import CITY_1920, CITY_1930
from tests.analysis.test_survival import PLACEBO, RELAPSED, TREATED
from tests.helpers.metric_shop import make

ON = dt.date(2026, 9, 3)
INDEX = ["c", "a", "b"]
RULES = load_rules(demo_folder() / "rules")


def quantity(value, unit):
    return unit_registry().Quantity(value, unit)


def series(values):
    return pd.Series(values, index=INDEX)


# Dimensional weight.


@pytest.mark.worked  # 3,024 cu in: / 166 = 18.22, so 19 lb; / 139 = 21.76, so 22 lb
@pytest.mark.parametrize(("on", "pounds"), [("2026-07-11", 19), ("2026-07-12", 22)])
def test_one_box_before_and_after_the_change_of_the_divisor(on, pounds):
    assert fk.dimensional_weight("18x14x12 in", on=on) == pounds


BOX = [
    ("24x18x12 in",),
    ("60.96 x 45.72 x 30.48 cm",),
    (24, 18, 12),
    ("24 in", "1 ft 6 in", 12.0),
    ((24, 18, 12),),
    (quantity(60.96, "cm"), 18, quantity(1, "ft")),
]


@pytest.mark.parametrize("sides", BOX)
def test_a_box_in_any_words_weighs_the_same(sides):
    found = fk.dimensional_weight(*sides, on=ON)
    below = billable(RULES.parcels["post"], on=ON, length_in=24, width_in=18, height_in=12, weight_lb=1)
    held = found.to("pound").magnitude if hasattr(found, "magnitude") else found
    assert float(held) == below["dimensional_lb"].item() == 38


def test_a_quantity_comes_back_as_a_quantity_and_its_array_as_an_array():
    found = fk.dimensional_weight(quantity(np.array([60.96, 30.48]), "cm"), 18, 12, on=ON)
    assert found.to("lb").magnitude.tolist() == fk.dimensional_weight([24, 12], 18, 12, on=ON)
    assert fk.dimensional_weight(quantity(np.array([60.96, 45.72, 30.48]), "cm"), on=ON).magnitude == 38


@pytest.mark.parametrize("make", [list, np.array, series])
def test_many_boxes_come_back_in_the_form_that_they_had(make):
    sides = make([24, 12, 18]), make(["18 in", "12 in", "14 in"]), 12
    texts = make(["24x18x12 in", "12x12x12in", "18 x 14 x 12 in"])
    for found in (fk.dimensional_weight(*sides, on=ON), fk.dimensional_weight(texts, on=ON)):
        assert type(found) is type(make([1]) if make is not series else texts)
        assert list(found) == [38, 0, 22]
        if make is series:
            assert list(found.index) == INDEX
            assert found.name == "dimensional_lb"


WRONG_SIDES = [
    ("24x18 in",), ("a box",), (24, 18), (24, 18, 0), (24, 18, -1), (24, 18, math.nan), (24, 18, None), (True, 18, 12),
    (24, 18, "9 lb"), (24, quantity(9, "lb"), 12), ([24, 18], [1, 2, 3], 4), (5,), (["24x18x12", 5],),
    (np.ones((2, 2)), 1, 1), (series([1, 2, 3]), pd.Series([1, 2, 3]), 1), ((1, 2),),
]  # fmt: skip


@pytest.mark.parametrize("sides", WRONG_SIDES)
def test_what_is_no_box_is_refused_by_name_need_and_got(sides):
    with pytest.raises(fk.FlipkitError, match=r"must be .*, got"):
        fk.dimensional_weight(*sides, on=ON)


def test_series_in_another_order_are_matched_by_their_index():
    found = fk.dimensional_weight(series([24, 12, 18]), series([18, 12, 14])[["a", "b", "c"]], 12, on=ON)
    assert found.to_dict() == {"c": 38, "a": 0, "b": 22}


def test_other_carriers_and_days_are_refused_by_name():
    with pytest.raises(fk.FlipkitError, match="carrier must be one of"):
        fk.dimensional_weight(1, 1, 1, carrier="nobody")
    with pytest.raises(fk.FlipkitError, match="on must be a day"):
        fk.dimensional_weight(1, 1, 1, on="yesterday")
    with pytest.raises(fk.FlipkitError, match="books must be"):
        fk.dimensional_weight(1, 1, 1, books="no/such/place")


# The rules themselves convert quantities and keep an index.


def test_the_rules_convert_a_quantity_and_never_strip_it():
    post = RULES.parcels["post"]
    sides = {"width_in": quantity(1, "ft"), "height_in": 12, "weight_lb": quantity(2, "kg")}
    found = billable(post, on=ON, length_in=quantity(60, "cm"), **sides)
    assert found["longest_in"].item() == 24  # 60 cm are 23.622 in, and any part of an inch counts
    assert found["scale_lb"].item() == 5  # 2 kg are 4.41 lb
    assert girth_in(length_in=[quantity(60, "cm")], width_in=1, height_in=1).tolist() == [4]
    with pytest.raises(fk.FlipkitError, match="length_in must be a quantity that inch can measure"):
        billable(post, on=ON, length_in=quantity(60, "kg"), **sides)


def test_fees_parcels_and_labels_of_a_series_keep_its_index():
    cents, side = series([1000, 2000, 3000]), series([10.0, 12.0, 14.0])
    assert list(order_fees(RULES.fee_schedules["lantern"], on=ON, goods_cents=cents).index) == INDEX
    parcel = {"on": ON, "length_in": side, "width_in": 8, "height_in": 6, "weight_lb": 2}
    assert list(billable(RULES.parcels["post"], **parcel).index) == INDEX
    assert list(labels(RULES.rate_cards["post"], RULES.parcels["post"], zone="4", **parcel).index) == INDEX


# Money.

PRICES = [64, 64.0, "64", "$64.00", np.float64(64), np.int64(64)]


@pytest.mark.parametrize("price", PRICES)
def test_fees_of_one_price_in_any_words_are_those_of_the_rules(price):
    found = fk.fees(price, shipping=12.5, label="8.00", tax="7 %", on=ON)
    below = fees_answer(RULES, on=ON, goods_cents=6400, shipping_cents=1250, label_cents=800, tax_ppm=70_000)
    for venue in below["venues"]:
        row = found.frame[found.frame["venue"] == venue["venue"]].iloc[0]
        assert {name: row[name] for name in venue if name in row} == {n: v for n, v in venue.items() if n in row}
        assert {"total_cents", "net_cents", "commission_cents"} <= set(row.index)
    assert len(found.frame) == len(below["venues"]) == 3
    assert f"leaves ${below['venues'][0]['net_cents'] / 100:.2f}" in repr(found)


@pytest.mark.parametrize("make", [list, np.array, series])
def test_fees_of_many_prices(make):
    prices = [10.0, 20.5, 300.0]
    found = fk.fees(make(prices), venue="lantern", on=ON).frame
    each = [fk.fees(price, venue="lantern", on=ON).frame["total_cents"].item() for price in prices]
    assert found["total_cents"].tolist() == each
    assert list(found.index) == (INDEX if make is series else [0, 1, 2])
    assert len(fk.fees(make(prices), on=ON).frame) == 9


WRONG_MONEY = ["", "free", None, True, math.nan, 12.345, "€5", -1, quantity(5, "lb"), [5, None], np.ones((2, 2))]


@pytest.mark.parametrize("price", WRONG_MONEY)
def test_what_is_no_price_is_refused(price):
    for ask in (lambda: fk.fees(price), lambda: fk.labor_cost(45, wage=price), lambda: fk.protection(price)):
        with pytest.raises(fk.FlipkitError, match=r"must be .*, got"):
            ask()


def test_an_unknown_venue_is_refused():
    with pytest.raises(fk.FlipkitError, match="venue must be"):
        fk.fees(64, venue="nowhere")


@pytest.mark.parametrize("net", [40, "40.00", "$40"])
def test_net_price_is_that_of_the_rules(net):
    found = fk.net_price(net, label=11.30, on=ON).frame.set_index("venue")["price_cents"].to_dict()
    below = price_answer(RULES, on=ON, net_cents=4000, label_cents=1130)
    assert found == {venue["venue"]: venue["price_cents"] for venue in below["venues"]}


@pytest.mark.parametrize("make", [list, np.array, series])
def test_net_prices_leave_what_was_wanted(make):
    found = fk.net_price(make([5.0, 40.0, 400.0]), label="11.30", venue="lantern", on=ON).frame
    left = fk.fees(found["price_cents"] / 100, label="11.30", venue="lantern", on=ON).frame
    assert (left["net_cents"] >= found["wanted_net_cents"]).all()
    assert list(found.index) == list(left.index) == (INDEX if make is series else [0, 1, 2])


@pytest.mark.parametrize("net", [None, "much", [1, "x"], math.inf])
def test_what_is_no_net_is_refused(net):
    with pytest.raises(fk.FlipkitError, match=r"net must be .*, got"):
        fk.net_price(net)


# Parcels.


@pytest.mark.parametrize("weight", [9, "9 lb", "9 lb 0 oz", quantity(9, "lb"), quantity(144, "oz")])
@pytest.mark.parametrize("sides", ["24x18x12 in", (24, 18, 12), quantity(np.array([24, 18, 12]), "in")])
def test_a_parcel_is_that_of_the_rules(sides, weight):
    found = fk.parcel(sides, weight, zone="4", on=ON)
    asked = {"on": ON, "sides_in": [24, 18, 12], "weight_lb": 9, "zone": "4", "reach_in": 2.0, "reach_lb": 1.0}
    below = parcel_answer(RULES, **asked)
    assert found.figures == below
    assert set(found.frame["billable_lb"]) == {one["billable_lb"] for one in below["carriers"]}
    assert len(repr(found).splitlines()) <= 9 < len(found.lines)
    price = {one["cards"][0]["card"]: one["cards"][0]["services"][0]["total_cents"] for one in below["carriers"]}
    stamps = fk.postage(sides, weight, zone="4", on=ON).frame
    assert dict(zip(stamps["card"], stamps["total_cents"], strict=True)) == price


@pytest.mark.parametrize("make", [list, np.array, series])
def test_many_parcels(make):
    sides, weight = make(["24x18x12 in", "12x9x6 in", "10x8x6 in"]), make([9, 3, 2])
    index = INDEX if make is series else [0, 1, 2]
    found = fk.parcel(sides, weight, carrier="post", on=ON).frame
    assert list(found.index) == index
    assert found["billable_lb"].tolist() == [38, 3, 2]
    priced = fk.postage(sides, weight, zone=make([4, 5, 8]), card="post", on=ON).frame
    each = [("24x18x12 in", 9, "4"), ("12x9x6 in", 3, "5"), ("10x8x6 in", 2, "8")]
    alone = [fk.postage(a, b, zone=c, card="post", on=ON).frame["total_cents"].item() for a, b, c in each]
    assert priced["total_cents"].tolist() == alone
    assert list(priced.index) == index


WRONG_WEIGHTS = [0, -1, None, "", "heavy", math.nan, True, "9 in", quantity(9, "in")]


@pytest.mark.parametrize("weight", WRONG_WEIGHTS)
def test_what_is_no_weight_is_refused(weight):
    for ask in (fk.parcel, fk.postage, fk.packing_plan):
        with pytest.raises(fk.FlipkitError, match=r"weight.* must be .*, got"):
            ask("12x9x6 in", weight, on=ON)


@pytest.mark.parametrize("option", [{"zone": "nowhere"}, {"card": "none"}, {"declared": "much"}])
def test_postage_refuses_what_it_does_not_know(option):
    with pytest.raises(fk.FlipkitError, match=r"must be .*, got"):
        fk.postage("12x9x6 in", 3, on=ON, **option)


def test_protection_is_that_of_the_rules():
    chances = {"damage_ppm": 20_000, "loss_ppm": 10_000, "signature_stops_ppm": 500_000}
    below = protection_answer(RULES, on=ON, value_cents=18000, **chances)["cards"]
    found = fk.protection("$180", on=ON).frame
    assert found["cost_cents"].tolist() == [way["cost_cents"] for card in below for way in card["ways"]]
    many = fk.protection(series([180.0, 20.0, 500.0]), card="post", on=ON).frame
    assert list(dict.fromkeys(many.index)) == INDEX
    assert many.loc["c", "cost_cents"].tolist() == found.loc[found["card"] == "post", "cost_cents"].tolist()


def test_a_packing_plan_is_that_of_the_packing_rooms():
    found = fk.packing_plan((quantity(50.8, "cm"), 14, "10 in"), "9 lb", fragility="delicate", on=ON)
    below = fk.plan_parcel(fk.bare_item("the item", "20x14x10in", "9 lb", fragility="delicate"), on=ON)
    assert list(found.lines) == below.reading()
    assert found["best"] == below.answer()["best"]
    assert any(line.startswith("Caution.") for line in found.lines)
    assert found.frame.iloc[0]["total_cents"] == found["best"]["total_cents"]
    with pytest.raises(fk.FlipkitError, match="one item"):
        fk.packing_plan(["12x9x6 in"] * 2, [3, 4])


# Work.


@pytest.mark.parametrize("minutes", [45, "45 min", "0.75 h", quantity(45, "min"), quantity(0.75, "hour")])
def test_labor_cost_of_one_task(minutes):
    found = fk.labor_cost(minutes, wage=16)
    assert (float(found), repr(found), f"{found + 1:.2f}") == (12.0, "$12.00", "13.00")
    assert "$12.00" in found._repr_html_()
    assert repr(copy.deepcopy(found)) == "$12.00"


@pytest.mark.parametrize("make", [list, np.array, series])
def test_labor_cost_of_many(make):
    found = fk.labor_cost(make([45, 30, 7.5]), wage=make([16, "18.50", 20]), burden="7.65 %")
    below = hired_costs([45, 30, 7.5], wage_cents=[1600, 1850, 2000], burden_ppm=76_500) / 100
    assert list(found) == below.tolist()
    if make is series:
        assert list(found.index) == INDEX


@pytest.mark.parametrize("minutes", [None, "long", -5, math.nan, True, "5 lb", quantity(5, "lb"), [1, "x"]])
def test_what_is_no_time_is_refused(minutes):
    with pytest.raises(fk.FlipkitError, match=r"minutes must be .*, got"):
        fk.labor_cost(minutes, wage=16)


def test_labor_minutes_are_the_assumed_ones_with_their_allowance():
    held = fk.load_assumptions(demo_folder() / "assumptions.toml")
    pace = 1 + held.share("minutes.allowance")
    sizes = ["small", "bulky", "oversize"]
    expected = [held.number(f"minutes.pack.{size}") * pace for size in sizes]
    assert fk.labor_minutes("pack", sizes) == expected
    assert fk.labor_minutes("pack", series(sizes)).to_dict() == dict(zip(INDEX, expected, strict=True))
    assert float(fk.labor_minutes("pack", "bulky")) == expected[1]
    for wrong in (("juggle", "small"), ("pack", "tiny"), ("pack", None), (5, "small")):
        with pytest.raises(fk.FlipkitError, match="must be one of"):
            fk.labor_minutes(*wrong)


# Buying.


@pytest.fixture(scope="module")
def study(demo_study):
    return demo_study


def test_highest_price_is_that_of_the_aisle(study):
    from flipkit.analysis.max_bid import buying_answer

    below = buying_answer(study.knowledge, "hand tools", price_cents=6000)
    found = fk.highest_price("hand tools", "$60", books=study)
    assert found.figures == below
    assert found.frame["highest_cents"].item() == below["highest_cents"]
    many = fk.highest_price("hand tools", series([60.0, 20.0, 100.0]), books=study).frame
    assert list(many.index) == INDEX
    assert many.loc["c", "highest_cents"] == below["highest_cents"]
    assert many["highest_cents"].tolist()[1] < many["highest_cents"].tolist()[2]


@pytest.mark.parametrize("asked", [("", 60), (None, 60), ("hand tools", "much"), ("hand tools", -5)])
def test_highest_price_refuses_what_it_cannot_understand(study, asked):
    with pytest.raises(fk.FlipkitError, match=r"must be .*, got"):
        fk.highest_price(*asked, books=study)


# Waiting.


@pytest.mark.published(source="freireich-gehan", where="6-MP against placebo, medians, log-rank", seen="from memory")
def test_waiting_of_freireich_and_gehan():
    assert fk.waiting(TREATED, RELAPSED)["median_days"] == 23
    assert fk.waiting(PLACEBO, [1] * 21)["median_days"] == 8
    groups = ["6-MP"] * 21 + ["placebo"] * 21
    found = fk.compare_waiting(pd.Series(TREATED + PLACEBO), RELAPSED + [1] * 21, groups)
    assert found["chi_square"] == pytest.approx(16.793, abs=5e-4)
    assert found.frame.set_index("group")["half_days"].to_dict() == {"6-MP": 23, "placebo": 8}


DAY = "2026-03-01"
WAYS = [
    ([1, 0]), ([1.0, 0.0]), ([True, False]), (["yes", "no"]), (["Yes", "NO"]), (["1", "0"]), (["true", "False"]),
    ([DAY, ""]), ([DAY, None]), ([DAY, math.nan]), ([f"{DAY} 10:30:00", " "]), ([dt.date(2026, 3, 1), None]),
    ([pd.Timestamp(DAY), pd.NaT]), ([1, None]), ([True, pd.NA]),
    np.array([True, False]), np.array([1, 0]), np.array([1.0, np.nan]), np.array([DAY, "NaT"], dtype="datetime64[D]"),
    pd.Series([DAY, None], dtype="datetime64[s]"), pd.Series([True, None], dtype="boolean"),
    pd.Series([1, None], dtype="Int64"), pd.Series([DAY, None], dtype="str"),
    pd.Series(["yes", "no"], dtype="category"),
]  # fmt: skip


@pytest.mark.parametrize("way", WAYS, ids=str)
def test_sold_is_understood_in_every_way_to_write_it(way):
    made = type(way)
    many = (
        pd.concat([way.iloc[:1]] * 9 + [way.iloc[1:]] * 12, ignore_index=True)
        if made is pd.Series
        else np.concatenate([np.repeat(way[:1], 9), np.repeat(way[1:], 12)])
        if made is np.ndarray
        else way[:1] * 9 + way[1:] * 12
    )
    flags = [1] * 9 + [0] * 12
    days = sorted(TREATED)
    found, plain = fk.waiting(days, many), fk.waiting(days, flags)
    assert found["sold"] == 9
    pd.testing.assert_frame_equal(found.frame, plain.frame)


@pytest.mark.parametrize("wrong", [2, -1, 0.5, "maybe", "2026-13-01", "5 March", 20260301, [1], DAY[:7]])
def test_what_may_or_may_not_be_sold_is_refused(wrong):
    with pytest.raises(fk.FlipkitError, match=r"sold must be .*, got"):
        fk.waiting([5, 8], [1, wrong])


@pytest.mark.parametrize("wrong", [None, -1, math.nan, "soon", True, quantity(5, "lb"), dt.date(2026, 1, 1)])
def test_what_is_no_wait_is_refused(wrong):
    with pytest.raises(fk.FlipkitError, match=r"days must be .*, got"):
        fk.waiting([5, wrong], [1, 1])


@pytest.mark.parametrize(
    "days",
    [
        [5, 8, 12],
        ["5", "8 days", 12.0],
        np.array([5, 8, 12]),
        series([5, 8, 12]),
        pd.Series(pd.to_timedelta([5, 8, 12], unit="D")),
        quantity(np.array([5, 8, 12]), "day"),
        quantity(np.array([120, 192, 288]), "hour"),
    ],
    ids=lambda days: type(days).__name__,
)
def test_days_in_any_form(days):
    assert fk.waiting(days, [1, 1, 1])["median_days"] == 8


def test_days_that_differ_by_float_noise_alone_are_one_day():
    noisy = [0.1 + 0.2, 0.3, 1.1 + 2.2, 3.3, 1e-9]
    pd.testing.assert_frame_equal(fk.waiting(noisy, [1] * 5).frame, fk.waiting([0.3, 0.3, 3.3, 3.3, 0], [1] * 5).frame)
    groups, days = ["a"] * 12 + ["b"] * 12, [n * 0.1 for n in range(1, 13)] * 2
    plain = fk.compare_waiting([round(day, 1) for day in days], [1] * 24, groups)
    assert fk.compare_waiting(days, [1] * 24, groups)["chi_square"] == plain["chi_square"]


def test_waiting_refuses_lengths_that_differ_and_odd_confidence():
    with pytest.raises(fk.FlipkitError, match="sold must be one value or 3"):
        fk.waiting([5, 8, 12], [1, 1])
    with pytest.raises(fk.FlipkitError, match="confidence must be between"):
        fk.waiting([5, 8], [1, 1], confidence=95)
    with pytest.raises(fk.FlipkitError, match=r"groups? must be one value or 2"):
        fk.compare_waiting([5, 8], [1, 1], ["a"])


# What an hour earns.


@pytest.mark.published(source="davison-hinkley-1997", where="example 2.19, ten cities", seen="from memory")
@pytest.mark.parametrize("make", [list, np.array, pd.Series])
def test_hourly_return_is_a_ratio_of_sums(make):
    found = fk.true_hourly_return(make(CITY_1930), make(CITY_1920)).frame
    assert found["hourly_dollars"].item() == pytest.approx(1.5203125, abs=1e-6)


def test_hourly_return_takes_words_groups_and_trips(study):
    whole = fk.true_hourly_return(["$30", "(5.00)"], ["60 min", quantity(0.25, "hour")])
    assert whole.frame["hourly_dollars"].item() == 20
    items = study.sold_items()
    net, hours = items["net_cents"] / 100, items["owner_min"] / 60
    found = fk.true_hourly_return(net, hours, groups=items["category"], trips=items["trip_id"]).frame
    below = study.sold_returns.set_index("category")
    for row in found.set_index("group").itertuples():
        same = below.loc[row.Index]
        assert (row.items, row.net_cents, row.trips) == (same["items"], same["net_cents"], same["trips"])
        assert (row.hourly_dollars, row.low_dollars, row.high_dollars) == pytest.approx(
            (same["hourly"], same["low"], same["high"]), rel=1e-9, nan_ok=True
        )


@pytest.mark.parametrize(("net", "hours"), [([1, "x"], [1, 1]), ([1, 1], [1, -1]), ([1, 1], [1, None]), ([1], [1, 2])])
def test_hourly_return_refuses_what_it_cannot_understand(net, hours):
    with pytest.raises(fk.FlipkitError, match=r"must be .*, got"):
        fk.true_hourly_return(net, hours)


# Books, columns and how answers show.


def test_check_books_lists_what_is_wrong(tmp_path):
    (tmp_path / "items.csv").write_text("item_id,title,category,bought_on,cost\nA-1,Jug,jugs,2026-03-07,x\n")
    found = fk.check_books(tmp_path)
    assert found["stops"] == len(found.frame[found.frame["severity"] == "stop"]) > 0
    assert found.frame.iloc[0]["column"] == "cost"
    with pytest.raises(fk.FlipkitError):
        fk.read_books(tmp_path)


def test_every_column_of_a_study_is_documented(study):
    table = fk.columns("items").frame
    assert sorted(table["name"]) == sorted(study.items.columns)
    assert {"source", "condition"} <= set(table["name"])
    assert (table["meaning"] != "").all()
    units = {"cents": "cents", "min": "min", "in": "in", "lb": "lb", "cuft": "cu ft", "on": "day"}
    for row in table.itertuples():
        if (end := row.name.rpartition("_")[2]) in units:
            assert row.unit == units[end], row.name


@pytest.mark.parametrize("name", ["price_changes", "work", "trips", "lots", "comparables", "overheads", "people"])
def test_the_columns_of_the_books_are_documented(study, name):
    assert set(study.books.table(name).columns) - {"row"} <= set(fk.columns(name).frame["name"])


def test_an_unknown_table_is_refused():
    with pytest.raises(fk.FlipkitError, match="table must be one of"):
        fk.columns("furniture")


def test_a_study_shows_on_a_screen(study):
    text = repr(study)
    assert len(text.splitlines()) <= 5
    assert max(map(len, text.splitlines())) <= 100
    assert "2026-10" in text


ANSWERS = {
    "fees": lambda: fk.fees(64, on=ON),
    "fees of a Series": lambda: fk.fees(series([1, 2, 3]), on=ON),
    "net_price": lambda: fk.net_price(40, on=ON),
    "parcel": lambda: fk.parcel("24x18x12 in", 9, on=ON),
    "postage": lambda: fk.postage("12x9x6 in", 3, on=ON),
    "protection": lambda: fk.protection(180, on=ON),
    "packing_plan": lambda: fk.packing_plan("12x9x6 in", 3, on=ON),
    "waiting": lambda: fk.waiting([5, 8], [1, 0]),
    "compare_waiting": lambda: fk.compare_waiting([5, 8], [1, 0], ["a", "b"]),
    "true_hourly_return": lambda: fk.true_hourly_return([5, 8], [1, 1]),
    "check_books": lambda: fk.check_books(demo_folder()),
    "columns": lambda: fk.columns(),
}
#: Columns that carry neither money nor a measure: names, words, counts, shares, flags and days of a curve.
PLAIN = {
    "venue", "carrier", "card", "service", "refused", "protection", "style", "style_name", "code", "what", "packaging",
    "group", "verdict", "claimed", "days", "at_risk", "sold", "listed", "still", "items", "trips", "unsold_share",
    "standard_error", "hazard_sum", "expected", "p_value", "corrected", "one_decides",
    "space_pays", "over_maximum", "people", "people_enough", "lifting_index", "break_even_chance",
    "file", "row", "column", "found", "needed", "mend", "severity", "name", "unit", "meaning",

}  # fmt: skip
ENDS = ("_cents", "_dollars", "_lb", "_kg", "_in", "_min", "_days", "_share")


@pytest.mark.parametrize("name", ANSWERS)
def test_an_answer_is_short_and_has_its_units(name):
    found = ANSWERS[name]()
    assert 1 <= len(repr(found).splitlines()) <= 9
    assert "<table" in found._repr_html_()
    surcharges = {extra for rules in RULES.parcels.values() for extra in rules.surcharge_names}
    unnamed = [
        column for column in found.frame.columns if not column.endswith(ENDS) and column not in PLAIN | surcharges
    ]
    assert unnamed == []
    with pytest.raises(fk.FlipkitError, match="figure must be"):
        found["no such figure"]


def test_nothing_gives_nothing_back():
    assert fk.dimensional_weight([], 1, 1) == [] == fk.labor_cost([], wage=16)
    none = pd.Series([], dtype="float64")
    answers = [fk.fees(none), fk.net_price(none), fk.waiting([], []), fk.compare_waiting([], [], [])]
    answers.append(fk.true_hourly_return(none, none, groups=none, trips=none))
    assert [len(answer.frame) for answer in answers] == [0] * 5
    assert all("<table" in answer._repr_html_() for answer in answers)


def test_answers_about_a_shop_are_in_its_money_and_measures(tmp_path):
    """5.20 and 0.55 a kilogram in zone 1: 2 kg cost 6.30 euros."""
    shop = {"books": make(tmp_path / "books"), "on": "2026-06-01"}
    assert repr(fk.postage("30x20x10 cm", "2 kg", zone="1", **shop)) == "harbor-post: €6.30 by parcel, billed at 2 kg"
    assert "30 x 20 x 10 cm, 2 kg on the scale" in fk.parcel("30x20x10 cm", "2 kg", zone="1", **shop).lines[0]
    for answer in (fk.fees(64, **shop), fk.net_price(40, **shop), fk.protection(180, **shop)):
        assert all("€" in line and "$" not in line for line in answer.lines)


def test_durations_and_nullable_columns_are_read_and_what_is_not_known_is_said():
    assert fk.labor_cost(pd.Timedelta(minutes=45), wage=16) == 12
    assert fk.labor_cost(dt.timedelta(hours=1), wage=16) == 16
    known = pd.array([True, False, None], dtype="boolean")
    assert repr(fk.waiting(range(5, 8), known)) == "half not sold yet (interval 5 to not reached); 1 of 3 sold"
    assert repr(fk.waiting([], [])) == "none listed"
    assert repr(fk.true_hourly_return([10, 20], [0, 0])) == "whole: no hours over 2 things; too few to tell"
