"""Dates as other programs write them: each reading, what settles a column, and what is asked."""

from __future__ import annotations

import datetime as dt

import pytest
from babel.dates import format_date
from hypothesis import given
from hypothesis import strategies as st

from flipkit.imports.values import LOCALES, ORDERS, DateEvidence, day_of, read_date

DMY, MDY, YMD = ORDERS
DAY = dt.date(2026, 3, 7)


@pytest.mark.parametrize(
    ("text", "order", "day"),
    [
        ("2026-03-07", DMY, DAY),
        ("2026/3/7", MDY, DAY),
        ("2026.03.07", YMD, DAY),
        ("2026-03-07T23:59:59Z", MDY, DAY),
        ("2026-03-07 00:15:00+02:00", MDY, DAY),
        ("20260307", DMY, DAY),
        ("46088", DMY, DAY),
        ("46088.75", DMY, DAY),
        ("7.3.2026", DMY, DAY),
        ("07/03/2026", DMY, DAY),
        ("3/7/2026", MDY, DAY),
        ("3/7/26", MDY, DAY),
        ("26-03-07", YMD, DAY),
        ("3/7/2026 0:00:00", MDY, DAY),
        ("3/7/2026 11:05 PM", MDY, DAY),
        ("Mar 7, 2026", DMY, DAY),
        ("March 7th, 2026", DMY, DAY),
        ("Sat, 7 Mar 2026 10:15:00 PST", DMY, DAY),
        ("Mar 7, 2026, 10:15 AM", DMY, DAY),
        ("7. März 2026", MDY, DAY),
        ("7 mars 2026", MDY, DAY),
        ("7 de marzo de 2026", MDY, DAY),
        ("07-MAR-26", MDY, DAY),
        ("2026 March 7", DMY, DAY),
        ("3/7/99", MDY, dt.date(1999, 3, 7)),
        ("3/7/70", MDY, dt.date(1970, 3, 7)),
        ("3/7/69", MDY, dt.date(2069, 3, 7)),
    ],
)
def test_a_date_is_read(text, order, day):
    assert day_of(text, order) == day


@pytest.mark.parametrize(
    "text",
    [
        "",
        "soon",
        "13/13/2026",
        "30/02/2026",
        "2026-13-01",
        "0026-01-02",
        "1/2",
        "12:30",
        "March",
        "7 lamps 2026",
        "1/2/3",
        "99999",
        "1/2/20266",
        "2026-02-30",
        "in March 2026 or 2027",
        "5.1.1969 and more",
    ],
)
def test_what_is_no_date_is_not_made_one(text):
    assert all(day_of(text, order) is None for order in ORDERS)


def test_both_readings_of_a_doubtful_date():
    reading = read_date("03/04/2026")
    assert reading.days == {DMY: dt.date(2026, 4, 3), MDY: dt.date(2026, 3, 4)}
    assert not reading.plain


@pytest.mark.parametrize("locale", LOCALES)
@pytest.mark.parametrize("style", ["long", "full"])
def test_every_month_of_every_language_comes_back(locale, style):
    # Outside authority: the dates are written by babel's own locale data.
    for month in range(1, 13):
        day = dt.date(2025, month, 23)
        text = format_date(day, format=style, locale=locale)
        assert day_of(text, YMD) == day, text


def evidence(*texts):
    found = DateEvidence()
    found.add(texts)
    return found


def test_one_day_above_twelve_settles_the_column():
    found = evidence("03/04/2026", "25/04/2026")
    assert found.ways == (DMY,)
    assert found.decisive == {DMY: "25/04/2026"}


def test_dates_that_read_both_ways_leave_two_orders():
    found = evidence("03/04/2026", "05/06/2026")
    assert found.ways == (DMY, MDY)
    assert found.matters


def test_same_day_and_month_do_not_matter():
    found = evidence("05/05/2026", "06/06/2026")
    assert not found.matters


def test_contradictory_dates_leave_no_order():
    assert evidence("25/04/2026", "04/25/2026").ways == ()


def test_plain_dates_leave_every_order_open_and_do_not_matter():
    found = evidence("2026-03-04", "Mar 5, 2026")
    assert found.ways == ORDERS
    assert not found.matters


def test_two_digit_years_may_stand_first():
    assert set(evidence("10-11-12").ways) == set(ORDERS)
    assert evidence("10-11-12", "99-12-31").ways == (YMD,)


@given(st.dates(dt.date(1970, 1, 1), dt.date(2100, 12, 31)), st.sampled_from(["-", "/", "."]))
def test_every_day_comes_back_in_the_order_that_wrote_it(day, mark):
    written = {
        DMY: f"{day.day:02}{mark}{day.month:02}{mark}{day.year}",
        MDY: f"{day.month}{mark}{day.day}{mark}{day.year}",
        YMD: f"{day.year}{mark}{day.month:02}{mark}{day.day:02}",
    }
    for order, text in written.items():
        assert day_of(text, order) == day


@given(st.text(max_size=70))
def test_no_text_breaks_the_reader(text):
    reading = read_date(text)
    assert reading is None or all(1970 <= day.year <= 2100 for day in reading.days.values())
