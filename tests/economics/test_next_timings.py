"""The jobs to time next are those whose timing narrows the doubt about a month's minutes most."""

from __future__ import annotations

import datetime as dt
import math
import re

import pytest
from click.testing import CliRunner

from flipkit.assumptions import load_assumptions
from flipkit.books.read import read_books
from flipkit.cli.main import main
from flipkit.economics.items import item_economics, timings_wanted
from flipkit.economics.labor import next_timings
from flipkit.rules.tables import load_rules

LAST = dt.date(2026, 12, 31)
HEAD = (
    "item_id,title,category,bought_on,cost,length_in,width_in,height_in,weight_lb,listed_on,sold_on,sold_price,zone\n"
)


def books_of(tmp_path, rows: str, work: str = ""):
    (tmp_path / "items.csv").write_text(HEAD + rows)
    if work:
        (tmp_path / "work.csv").write_text("date,activity,minutes,worker,item_id\n" + work)
    return read_books(tmp_path)


def jobs_of(books):
    assumptions = load_assumptions()
    found = item_economics(books, load_rules(), assumptions, LAST)
    return next_timings(found.items, found.labor, assumptions, as_of=LAST).set_index(["activity", "size_class"])


def item(number: int, size: int = 10) -> str:
    day = f"2026-{number % 12 + 1:02d}-15"
    return f"I-{number},Thing,things,2025-12-31,5,{size},8,6,3,{day},{day},40,4\n"


@pytest.mark.worked
def test_the_gain_is_the_fall_of_the_standard_error(tmp_path):
    """24 small parcels in 12 months: 2 a month; nobody timed one, so the spread is half of the minutes."""
    jobs = jobs_of(books_of(tmp_path, "".join(map(item, range(24)))))
    pack = jobs.loc[("pack", "small")]
    minutes = load_assumptions().number("minutes.pack.small")
    # 365 days are 11.99 months of 30.4375 days; 24 / 11.99 = 2.0014 a month.
    assert pack["monthly"] == pytest.approx(24 / (365 / 30.4375))
    # The standard weighs 8 timings: monthly x minutes / 2 x (1 / sqrt(8) - 1 / sqrt(13)).
    assert pack["gain_min"] == pytest.approx(pack["monthly"] * minutes / 2 * (8**-0.5 - 13**-0.5))
    assert jobs["gain_min"].is_monotonic_decreasing


def test_what_is_timed_is_asked_for_less_and_what_is_longer_more(tmp_path):
    rows = "".join(map(item, range(24))) + "".join(item(number, 50) for number in range(24, 48))
    plain = jobs_of(books_of(tmp_path, rows))
    assert plain.loc[("pack", "bulky"), "gain_min"] > plain.loc[("pack", "small"), "gain_min"]
    work = "".join(f"2026-06-15,pack,{20 + number % 3},me,I-{number}\n" for number in range(24, 42))
    timed = jobs_of(books_of(tmp_path, rows, work))
    # Six timings each of 20, 21 and 22 minutes: a spread of the root of 12 / 17 around 21, beside the weight of 8.
    bulky = timed.loc[("pack", "bulky")]
    spread = bulky["used_min"] * math.sqrt(12 / 17) / 21
    assert bulky["doubt_min"] == pytest.approx(bulky["monthly"] * spread / math.sqrt(8 + 18))
    assert timed.loc[("pack", "bulky"), "logged_items"] == 18
    assert timed.loc[("pack", "bulky"), "gain_min"] < plain.loc[("pack", "bulky"), "gain_min"] / 5
    assert timed.loc[("pack", "small"), "gain_min"] == plain.loc[("pack", "small"), "gain_min"]


def test_check_names_five_jobs_and_the_rule(tmp_path):
    books = books_of(tmp_path, "".join(map(item, range(48))))
    said = timings_wanted(books, LAST)
    assert len(said) == 6
    assert "count as 8 timings" in said[-1]
    out = CliRunner().invoke(main, ["check", str(tmp_path)]).output
    assert "Time these jobs next" in out
    assert "\n  5. " in out
    assert "\n  6. " not in out


def test_where_all_is_logged_nothing_is_asked_for(tmp_path):
    activities = ("find", "research", "clean", "photograph", "write", "store", "messages", "pack", "post")
    work = "".join(f"2026-01-15,{activity},9,me,I-0\n" for activity in activities)
    books = books_of(tmp_path, item(0), work)
    assert timings_wanted(books, LAST) == []
    assert "would change little" in CliRunner().invoke(main, ["check", str(tmp_path)]).output


def test_no_job_is_asked_for_whose_timing_narrows_nothing(tmp_path):
    books = books_of(tmp_path, "".join(map(item, range(48))))
    for told in timings_wanted(books, LAST)[:-1]:
        before, then = re.search(r"from ±(\d+) to ±(\d+) minutes", told).groups()
        assert int(then) < int(before)
    assert timings_wanted(books_of(tmp_path, item(0)), LAST) == []


@pytest.mark.worked
def test_the_jobs_are_said_by_the_month_and_the_rule_by_the_own_weight(tmp_path):
    # 24 in 12 months are 2 a month, 12 are 1.0; the seller's own file says what a standard weighs.
    (tmp_path / "assumptions.toml").write_text("[minutes]\nlogged_weight = 5\n")
    said = timings_wanted(books_of(tmp_path, "".join(map(item, range(24)))), LAST)
    assert " things: some 2 a month without a log" in said[0]
    assert "count as 5 timings" in said[-1]
    said = timings_wanted(books_of(tmp_path, "".join(map(item, range(12)))), LAST)
    assert " things: some 1.0 a month without a log" in said[0]
