from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from flipkit.assumptions import load_assumptions
from flipkit.economics.hiring import help_table, wage_limit
from flipkit.economics.items import item_economics
from flipkit.economics.labor import _Places
from flipkit.errors import AssumptionError
from flipkit.rules.tables import load_rules
from tests.helpers.small_books import small_books

AS_OF = dt.date(2026, 3, 31)
ITEMS = """
item_id,title,category,bought_on,cost,trip_id,listed_on,sold_on,sold_price,zone,length_in,width_in,height_in,weight_lb
A,Jug,stoneware,2026-01-03,10.00,T1,2026-01-05,2026-02-10,50.00,4,12,10,8,5
B,Jar,stoneware,2026-01-03,10.00,T1,2026-01-05,,,,12,10,8,5
C,Lamp,lamps,2026-01-04,10.00,,2026-01-05,2026-02-10,90.00,4,30,18,16,25
D,Cup,stoneware,2026-02-01,10.00,,2026-02-20,,,,12,10,8,5
"""
PEOPLE = """
worker,role,wage,payroll_burden
wren,owner,,
juno,hired,15.00,10 %
"""


def labor_of(folder, work, **settings):
    books = small_books(folder, items=ITEMS, people=PEOPLE, work=work, trips="trip_id,date,miles\nT1,2026-01-03,")
    found = item_economics(books, load_rules(), load_assumptions(overrides=settings), AS_OF)
    return found.items.set_index("item_id"), found.labor


def test_a_logged_minute_beats_a_standard_one(tmp_path):
    items, _ = labor_of(tmp_path, "date,activity,minutes,worker,item_id\n2026-01-05,clean,33,wren,A")
    assert (items.loc["A", "clean_min"], items.loc["A", "clean_origin"]) == (33, "recorded")
    assert items.loc["B", "clean_origin"] == "assumed"
    assert items.loc["A", "owner_min"] == pytest.approx(sum(items.loc["A", f"{name}_min"] for name in NAMES))


@pytest.mark.worked
def test_logs_move_the_standard_of_the_unlogged(tmp_path):
    items, labor = labor_of(tmp_path, "date,activity,minutes,worker,item_id\n2026-01-05,clean,33,wren,A")
    # Standard 8, weight 8, one log of 33: (8 x 8 + 33) / 9. The category's own log counts once.
    assert items.loc["B", "clean_min"] == pytest.approx((8 * 8 + 33) / 9)
    assert items["corrected_min"].tolist() == [0, *[(8 * 8 + 33) / 9] * 1, 0, (8 * 8 + 33) / 9]
    assert items.loc["C", "clean_min"] == 15, "bulky things have a standard of their own"
    row = labor.learned.query("activity == 'clean' and category == 'all'").iloc[0]
    assert (row["before_min"], row["logged_items"], row["logged_mean_min"]) == (8, 1, 33)


@pytest.mark.worked
def test_each_log_counts_once_whatever_its_category(tmp_path):
    two = "{},Pan,cookware,2026-01-03,10.00,,2026-01-05,,,,12,10,8,5\n"
    books = small_books(
        tmp_path,
        items=ITEMS + two.format("E") + two.format("F"),
        people=PEOPLE,
        work="date,activity,minutes,worker,item_id\n2026-01-05,clean,33,wren,A\n2026-01-05,clean,17,wren,E",
    )
    items = item_economics(books, load_rules(), load_assumptions(), AS_OF).items.set_index("item_id")
    # Of the others first, then its own: stoneware from 17 and then 33, cookware from 33 and then 17.
    assert items.loc["B", "clean_min"] == pytest.approx((8 * (8 * 8 + 17) / 9 + 33) / 9)
    assert items.loc["F", "clean_min"] == pytest.approx((8 * (8 * 8 + 33) / 9 + 17) / 9)


def test_a_trip_is_shared_over_what_it_brought(tmp_path):
    items, _ = labor_of(tmp_path, "date,activity,minutes,worker,trip_id\n2026-01-03,find,60,wren,T1")
    assert items.loc[["A", "B"], "find_min"].tolist() == [30, 30]
    assert items.loc["C", "find_origin"] == "assumed"


@pytest.mark.worked
def test_a_day_of_photographing_is_shared_by_standard_minutes(tmp_path):
    items, _ = labor_of(tmp_path, "date,activity,minutes,worker\n2026-01-05,photograph,70,wren")
    # Standard 10, 10 and 15 minutes for the three listed that day: 70 minutes make 20, 20 and 30.
    assert items.loc[["A", "B", "C"], "photograph_min"].tolist() == pytest.approx([20, 20, 30])
    assert items.loc["D", "photograph_origin"] == "assumed"


def test_a_category_entry_stays_in_its_category(tmp_path):
    items, _ = labor_of(tmp_path, "date,activity,minutes,worker,category\n2026-01-05,photograph,70,wren,lamps")
    assert items.loc["C", "photograph_min"] == 70
    assert items.loc["A", "photograph_origin"] == "assumed"


@pytest.mark.worked
def test_hired_hands_are_a_cost_and_not_hours(tmp_path):
    items, _ = labor_of(tmp_path, "date,activity,minutes,worker,item_id\n2026-02-11,pack,40,juno,C")
    row = items.loc["C"]
    # 40 minutes at 15.00 with 10 % on top: 11.00.
    assert (row["hired_cents"], row["hired_origin"], row["hired_min"]) == (1100, "recorded", 40)
    assert (row["pack_min"], row["pack_origin"]) == (0, "recorded")


def test_two_at_once_are_two_times_the_minutes(tmp_path):
    log = "date,activity,minutes,worker,item_id\n2026-02-10,pack,30,wren,C\n2026-02-10,pack,30,juno,C"
    items, _ = labor_of(tmp_path, log)
    assert (items.loc["C", "pack_min"], items.loc["C", "hired_min"]) == (30, 30)


@pytest.mark.worked
def test_two_owners_at_once_are_two_rows_of_person_minutes(tmp_path):
    log = "date,activity,minutes,worker,item_id\n2026-02-10,pack,30,wren,C\n2026-02-10,pack,30,lark,C"
    people = PEOPLE + "lark,owner,,\n"
    books = small_books(tmp_path, items=ITEMS, people=people, work=log, trips="trip_id,date,miles\nT1,2026-01-03,")
    found = item_economics(books, load_rules(), load_assumptions(), AS_OF)
    row = found.items.set_index("item_id").loc["C"]
    # Two people for half an hour are one person's hour, and all of it the owners'.
    assert (row["pack_min"], row["hired_min"], row["pack_origin"]) == (60, 0, "recorded")
    learned = found.labor.learned.query("activity == 'pack'").iloc[0]
    assert (learned["logged_items"], learned["logged_mean_min"]) == (1, 60)


@pytest.mark.worked
def test_assumed_help_packs_its_share(tmp_path):
    items, _ = labor_of(
        tmp_path, "date,activity,minutes,worker", **{"help.share_of_packing": "50 %", "help.wage": "20.00"}
    )
    row = items.loc["C"]
    # Bulky packing is 30 minutes: 15 hired ones at 20.00 with 7.65 % on top cost 5.3825.
    assert (row["pack_min"], row["hired_min"]) == (15, 15)
    assert (row["hired_cents"], row["hired_origin"]) == (538, "assumed")


@pytest.mark.worked
def test_a_new_category_takes_longer_by_the_learning_curve(tmp_path):
    settings = {"minutes.learning": "80 %", "minutes.practised_after": 2}
    items, _ = labor_of(tmp_path, "date,activity,minutes,worker", **settings)
    # Practised after two items: the first takes 1 / 0.8 of the standard, later ones the standard itself.
    assert items.loc[["A", "B", "D"], "clean_min"].tolist() == pytest.approx([8 / 0.8, 8, 8])
    assert items.loc["C", "clean_min"] == pytest.approx(15 / 0.8)


@pytest.mark.worked
def test_a_personal_allowance_comes_on_top_of_the_standard(tmp_path):
    items, _ = labor_of(tmp_path, "date,activity,minutes,worker", **{"minutes.allowance": "20 %"})
    assert items.loc["A", "clean_min"] == pytest.approx(8 * 1.2)


@pytest.mark.worked
def test_a_log_from_the_learning_days_teaches_the_practised_minutes(tmp_path):
    settings = {"minutes.learning": "80 %", "minutes.practised_after": 2}
    items, labor = labor_of(tmp_path, "date,activity,minutes,worker,item_id\n2026-01-05,clean,33,wren,A", **settings)
    # 33 minutes for the first item are 33 x 0.8 = 26.4 practised ones.
    assert labor.learned["logged_mean_min"].iloc[0] == pytest.approx(26.4)
    assert items.loc["A", "clean_min"] == 33


def test_minutes_that_fit_no_item_are_said_and_not_dropped(tmp_path):
    _, labor = labor_of(tmp_path, "date,activity,minutes,worker\n2025-12-01,clean,25,wren")
    assert labor.unplaced_min == 25


def test_no_minute_is_lost_or_invented(tmp_path):
    log = """
    date,activity,minutes,worker,item_id,trip_id,category
    2026-01-05,photograph,70,wren,,,
    2026-01-03,find,61,wren,,T1,
    2026-01-05,write,17,juno,,,stoneware
    2026-02-12,pack,45,wren,,,
    """
    items, labor = labor_of(tmp_path, log)
    logged = sum(items.loc[items[f"{name}_origin"] == "recorded", f"{name}_min"].sum() for name in NAMES)
    assert logged + items["hired_min"].sum() + labor.unplaced_min == pytest.approx(70 + 61 + 17 + 45)


def days(*told):
    return pd.to_datetime(list(told))


#: What each activity belongs to, and on how many days before and after that a log entry may lie.
SPANS = [
    ("find", "bought_on", 0, 0),
    ("research", "bought_on", 3, 1),
    ("clean", "listed_on", 0, 14),
    ("photograph", "listed_on", 0, 7),
    ("write", "listed_on", 1, 3),
    ("store", "listed_on", 3, 3),
    ("messages", "sold_on", 7, 7),
    ("pack", "sold_on", 5, 0),
    ("post", "sold_on", 7, 0),
    ("returns", "returned_on", 7, 3),
]


@pytest.mark.parametrize(("activity", "event", "after", "before"), SPANS, ids=[span[0] for span in SPANS])
def test_an_entry_of_a_day_reaches_as_far_as_its_activity_says(activity, event, after, before):
    """Within the days the entry is for the thing of that event; one day beyond, for all that is there."""
    columns = ("bought_on", "listed_on", "sold_on", "returned_on", "gone_on")
    items = pd.DataFrame({name: days("2020-01-01" if name == "bought_on" else None, None) for name in columns})
    items[event] = days("2020-01-01" if event == "bought_on" else None, "2026-05-20")
    items["bought_on"] = items["bought_on"].fillna(pd.Timestamp("2026-01-01"))
    items = items.assign(item_id=["other", "mine"], trip_id="", category="lamps")
    places = _Places(items, np.arange(2))
    found = {
        away: places.rows(activity, "", "", "", np.datetime64("2026-05-20") + np.timedelta64(away, "D")).tolist()
        for away in (-before - 1, -before, 0, after, after + 1)
    }
    assert found.pop(after + 1)[0] == 0, "a day too late"
    assert found.pop(-before - 1)[0] == 0, "a day too early"
    assert set(map(tuple, found.values())) == {(1,)}


@pytest.mark.parametrize(
    ("day", "there"),
    [
        ("2026-03-01", []),
        ("2026-03-02", [0]),
        ("2026-03-09", [0]),
        ("2026-03-10", [0, 1]),
        ("2026-03-20", [0, 1]),
        ("2026-03-21", [1]),
        ("2026-03-25", [1]),
        ("2026-03-26", []),
    ],
)
def test_work_of_a_day_is_for_what_was_there_the_days_of_coming_and_leaving_included(day, there):
    items = pd.DataFrame({"bought_on": days("2026-03-02", "2026-03-10"), "gone_on": days(None, "2026-03-25")})
    items = items.assign(sold_on=days("2026-03-20", None), listed_on=pd.NaT, returned_on=pd.NaT)
    items = items.assign(item_id=["a", "b"], trip_id="", category="lamps")
    assert _Places(items, np.arange(2)).rows("returns", "", "", "", np.datetime64(day)).tolist() == there
    assert _Places(items, np.arange(2)).rows("returns", "", "", "jugs", np.datetime64(day)).tolist() == []


NAMES = ("find", "research", "clean", "photograph", "write", "store", "messages", "pack", "post", "returns")


@pytest.mark.worked
def test_help_for_half_of_an_hour_step_by_step():
    # 40.00 in one hour; half of it at 16.00 and 7.65 %: 8.612 -> 8.61. Left: 31.39 in half an hour, 62.78 an hour.
    # 8.61 is to be made up for in the half hour freed: 17.22 an hour. Pays below 40 / 1.0765 = 37.157.
    table = help_table({"write": 30.0, "pack": 30.0}, net_cents=4000, wage_cents=1600, burden_ppm=76_500)
    assert table["activity"].tolist() == ["pack", "write"]
    first = table.iloc[0].to_dict()
    assert first == {
        "activity": "pack",
        "owner_hours": 0.5,
        "hours_freed": 0.5,
        "hired_hours": 0.5,
        "hired_cents": 861,
        "hourly_now": 40.0,
        "hourly_then": pytest.approx(62.78),
        "wage_limit": pytest.approx(40 / 1.0765),
        "must_earn": pytest.approx(17.22),
        "pays": True,
    }
    # A slow hand with a quarter to explain: paid for an hour, 17.22, and .375 hours freed; 22.78 in .625 hours.
    slow = help_table(
        {"write": 30.0, "pack": 30.0}, net_cents=4000, wage_cents=1600, burden_ppm=76_500, pace=2.0, guidance=0.25
    ).iloc[0]
    assert (slow["hired_hours"], slow["hired_cents"], slow["hours_freed"]) == (1.0, 1722, 0.375)
    assert (slow["hourly_then"], slow["pays"]) == (pytest.approx(22.78 / 0.625), False)
    assert slow["wage_limit"] == pytest.approx(40 * 0.75 / (2 * 1.0765))
    # Who does nothing else has no hour left: it pays where the cost is below the net.
    for net, pays in ((1723, True), (1722, False)):
        alone = help_table({"pack": 60.0, "post": 0.0}, net_cents=net, wage_cents=1600, burden_ppm=76_500)
        assert (alone["activity"].tolist(), alone["pays"].tolist()) == (["pack"], [pays])
        assert alone["hourly_then"].isna().all()


@pytest.mark.parametrize(
    ("terms", "words"),
    [
        ({"burden_ppm": -1}, r"^help\.burden must be at least 0, got -1"),
        ({"burden_ppm": 0, "pace": 0}, r"^help\.pace must be above 0, got 0"),
        ({"burden_ppm": 0, "guidance": 1}, r"^help\.guidance must be at least 0 and below 1, got 1"),
        ({"burden_ppm": 0, "guidance": -0.1}, r"^help\.guidance must be at least 0 and below 1, got -0\.1"),
    ],
)
def test_terms_of_help_that_cannot_be_are_named(terms, words):
    with pytest.raises(AssumptionError, match=words):
        wage_limit(20.0, **terms)
    with pytest.raises(AssumptionError, match=r"^help\.wage must be at least 0, got -1"):
        help_table({"pack": 60.0}, net_cents=4000, wage_cents=-1, burden_ppm=0)
