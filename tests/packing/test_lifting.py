"""The revised lifting equation against the manual's own worksheets, and its bounds."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import flipkit.rules
from flipkit.errors import MeasureError, RuleNotInForceError, RuleTableError
from flipkit.packing.lifting import (
    carton_coupling,
    frequency_multiplier,
    half_up,
    lifting_index,
    reach_in,
    read_lifting,
    team_limit_lb,
    weight_limit,
)
from flipkit.packing.materials import packing_rules

LIFTING_FOLDER = Path(flipkit.rules.__file__).parent / "data" / "lifting"
EQUATION = packing_rules(on=dt.date(2026, 11, 25)).lifting


def limit(horizontal, vertical, distance, *, rate=3, coupling="fair", worksheet=True, duration="short", asymmetry=0):
    return weight_limit(
        equation=EQUATION,
        horizontal_in=horizontal,
        vertical_in=vertical,
        distance_in=distance,
        asymmetry_deg=asymmetry,
        lifts_per_min=rate,
        duration=duration,
        coupling=coupling,
        worksheet=worksheet,
    )


# --- printed elsewhere


@pytest.mark.published(source="niosh-94-110", where="Example 4, Fig. 14, p. 46, origin", seen="found")
def test_example_4_origin():
    found = limit(10, 22, 37)
    assert (found.frequency, found.coupling) == (0.88, 0.95)
    assert found.limit_lb == 34.9
    # full precision: 51 x 1 x .94 x .868649 x 1 x .88 x .95 = 34.81 (worked)
    assert limit(10, 22, 37, worksheet=False).limit_lb == pytest.approx(34.8, abs=0.05)


@pytest.mark.published(source="niosh-94-110", where="Example 4, Fig. 14, p. 46, destination", seen="found")
def test_example_4_destination():
    found = limit(20, 59, 37)
    assert found.coupling == 1.0
    assert found.limit_lb == 15.2
    assert limit(20, 59, 37, worksheet=False).limit_lb == pytest.approx(15.3, abs=0.05)


@pytest.mark.published(source="niosh-94-110", where="Example 4, lifting index, 26 lb", seen="from memory")
def test_example_4_index():
    assert lifting_index(26, limit(10, 22, 37)) == 0.7
    assert lifting_index(26, limit(20, 59, 37)) == 1.7


@pytest.mark.published(source="niosh-94-110", where="Example 1, punch press", seen="from memory")
def test_example_1():
    # L 44, H 23, V 15 to 64, D 49, FM 1, fair grip
    origin, destination = limit(23, 15, 49, rate=0.2), limit(23, 64, 49, rate=0.2)
    assert origin.horizontal == 0.44
    assert origin.limit_lb == pytest.approx(16.3, abs=0.05)
    assert destination.limit_lb == pytest.approx(14.5, abs=0.05)
    assert lifting_index(44, origin) == pytest.approx(2.7, abs=0.05)
    assert lifting_index(44, destination) == pytest.approx(3.0, abs=0.05)
    assert limit(23, 15, 49, rate=0.2, worksheet=False).limit_lb == pytest.approx(16.0, abs=0.05)
    assert limit(23, 64, 49, rate=0.2, worksheet=False).limit_lb == pytest.approx(14.2, abs=0.05)


@pytest.mark.published(source="niosh-94-110", where="Example 2, supply rolls", seen="from memory")
def test_example_2():
    # L 35, H 15 and 20, V 27 and 10, D 17, FM 1, poor grip .9
    origin = limit(15, 27, 17, rate=0.2, coupling="poor")
    destination = limit(20, 10, 17, rate=0.2, coupling="poor")
    assert origin.limit_lb == pytest.approx(28.0, abs=0.06)
    assert destination.limit_lb == pytest.approx(18.1, abs=0.06)
    assert lifting_index(35, origin) == pytest.approx(1.3, abs=0.06)
    assert lifting_index(35, destination) == pytest.approx(1.9, abs=0.06)


@pytest.mark.published(source="niosh-94-110", where="vertical table, 20 in: .925 printed as .93", seen="found")
def test_tables_round_half_up():
    assert limit(10, 20, 10).vertical == 0.93
    assert half_up(1 - 0.0075 * 10, 2) == 0.93


@pytest.mark.published(source="ergonomics-tools-46", where="Table 46.1", seen="found")
@pytest.mark.parametrize(("reach", "printed"), [(10, 1.0), (12, 0.83), (16, 0.63), (22, 0.46), (23, 0.44), (25, 0.40)])
def test_horizontal_table(reach, printed):
    assert limit(reach, 30, 10).horizontal == printed


@pytest.mark.published(source="ergonomics-tools-46", where="Table 46.4", seen="found")
@pytest.mark.parametrize(("angle", "printed"), [(0, 1.0), (15, 0.95), (45, 0.86), (90, 0.71), (135, 0.57), (136, 0.0)])
def test_asymmetry_table(angle, printed):
    assert limit(10, 30, 10, asymmetry=angle).asymmetry == printed


@pytest.mark.published(source="niosh-94-110", where="frequency table, up to one hour", seen="secondary")
@pytest.mark.parametrize(
    ("rate", "printed"),
    [(0.2, 1.0), (0.5, 0.97), (1, 0.94), (4, 0.84), (6, 0.75), (9, 0.52), (12, 0.37), (13, 0.34), (15, 0.28)],
)
def test_frequency_table(rate, printed):
    assert frequency_multiplier(equation=EQUATION, lifts_per_min=rate, duration="short", vertical_in=30) == printed


@pytest.mark.published(source="niosh-94-110", where="frequency table, low hands", seen="from memory")
def test_no_fast_lifting_with_low_hands():
    for duration, last in (("short", 12), ("moderate", 10), ("long", 8)):
        low = {"equation": EQUATION, "duration": duration, "vertical_in": 29.9}
        assert frequency_multiplier(lifts_per_min=last, **low) > 0
        assert frequency_multiplier(lifts_per_min=last + 0.5, **low) == 0
        assert frequency_multiplier(lifts_per_min=last + 1, **low) == 0


# --- the two modes beside each other


def test_printed_tables_are_the_formula_rounded_but_for_two_rows():
    odd = []
    for name, table in EQUATION.tables.items():
        for argument, printed in table.items():
            task = {"horizontal": 10.0, "vertical": 30.0, "distance": 10.0, "asymmetry": 0.0} | {name: argument}
            full = limit(
                task["horizontal"], task["vertical"], task["distance"], asymmetry=task["asymmetry"], worksheet=False
            )
            if half_up(getattr(full, name), 2) != printed:
                odd.append((name, argument))
    assert odd == [("horizontal", 22.0), ("horizontal", 23.0)]


@given(
    horizontal=st.floats(0, 30),
    vertical=st.floats(0, 80),
    distance=st.floats(0, 80),
    asymmetry=st.floats(0, 150),
    rate=st.floats(0, 16),
    duration=st.sampled_from(["short", "moderate", "long"]),
    coupling=st.sampled_from(["good", "fair", "poor"]),
)
def test_worksheet_stays_near_full_precision_and_under_the_constant(
    horizontal, vertical, distance, asymmetry, rate, duration, coupling
):
    given_ = {"rate": rate, "duration": duration, "coupling": coupling, "asymmetry": asymmetry}
    full = limit(horizontal, vertical, distance, worksheet=False, **given_)
    sheet = limit(horizontal, vertical, distance, worksheet=True, **given_)
    assert 0 <= full.limit_lb <= 51
    for name in ("horizontal", "vertical", "distance", "asymmetry", "frequency", "coupling"):
        assert getattr(sheet, name) == pytest.approx(getattr(full, name), abs=0.0101)


# --- bounds and words


def test_bounds_of_the_equation_give_zero():
    assert limit(25, 30, 10).limit_lb > 0
    assert limit(25.1, 30, 10).limit_lb == 0
    assert limit(10, 70, 10).limit_lb > 0
    assert limit(10, 70.1, 10).limit_lb == 0
    assert limit(10, 30, 70).limit_lb > 0
    assert limit(10, 30, 70.1).limit_lb == 0
    assert limit(10, 30, 10, rate=15).limit_lb > 0
    assert limit(10, 30, 10, rate=15.1).limit_lb == 0
    assert lifting_index(1, limit(26, 30, 10)) == float("inf")


@pytest.mark.worked
def test_between_two_rows_of_the_frequency_table_a_straight_line():
    # 5.33 between 5 (.80) and 6 (.75): .80 - .33 x .05 = .7835
    assert frequency_multiplier(
        equation=EQUATION, lifts_per_min=5.33, duration="short", vertical_in=36
    ) == pytest.approx(0.7835)


@pytest.mark.worked
def test_reach_and_grip_of_a_carton():
    # 8 + 20/2 = 18 with hands at 30 in; 10 + 20/2 = 20 with hands at 9 in
    assert reach_in(20, 30, equation=EQUATION) == 18
    assert reach_in(20, 10, equation=EQUATION) == 18
    assert reach_in(20, 9.9, equation=EQUATION) == 20
    assert carton_coupling(16, 12, equation=EQUATION) == "fair"
    assert carton_coupling(16.1, 12, equation=EQUATION) == "poor"
    assert carton_coupling(16, 12.1, equation=EQUATION) == "poor"


@pytest.mark.published(source="team-handling", where="two thirds of the sum for two, half for three", seen="secondary")
def test_teams():
    # the source: two men of 25 kg each, together 33 kg; three, 37.5 kg
    assert team_limit_lb(25, 2, equation=EQUATION) == pytest.approx(33, abs=0.5)
    assert team_limit_lb(25, 3, equation=EQUATION) == pytest.approx(37.5)
    with pytest.raises(MeasureError, match="people must be 1, 2 or 3, got 4"):
        team_limit_lb(25, 4, equation=EQUATION)


def test_the_hardest_multiplier_is_named():
    assert limit(20, 59, 37).hardest() == "horizontal"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"horizontal": -1}, "horizontal_in must be a finite number of at least 0, got -1"),
        ({"vertical": float("nan")}, "vertical_in must be a finite number"),
        ({"coupling": "great"}, "coupling must be one of good, fair, poor, got 'great'"),
        ({"duration": "brief"}, "duration must be one of short, moderate, long, got 'brief'"),
    ],
)
def test_bad_input_says_what_is_needed(change, words):
    task = {"horizontal": 10, "vertical": 30, "distance": 10} | change
    with pytest.raises(MeasureError, match=words):
        limit(**task)


def test_before_the_first_block_the_dates_are_named():
    with pytest.raises(RuleNotInForceError, match=r"revised lifting equation.* from 1994-01-01"):
        packing_rules(on=dt.date(1993, 12, 31))
    assert packing_rules(on=dt.date(1994, 1, 1)).lifting is EQUATION


@pytest.mark.parametrize(
    ("file", "old", "new", "words"),
    [
        ("horizontal.csv", "10,1.00", "10,1.01", "horizontal.csv: block row 2, key multiplier: this is '1.01'"),
        ("horizontal.csv", "horizontal_in", "reach_in", "horizontal.csv: key header"),
        ("coupling.csv", "fair,", "fine,", "coupling.csv: key coupling"),
        ("frequency.csv", "0.5,short", "0.2,short", "frequency.csv: block short, key lifts_per_min"),
        ("lifting.toml", "load_constant_lb = 51.0", "load_constant_lb = -1", "key load_constant_lb: this is -1"),
        ("lifting.toml", "[block.grip]", "[block.grasp]", "key grip: this is missing"),
    ],
)
def test_a_malformed_table_is_one_located_line(tmp_path, file, old, new, words):
    for source in LIFTING_FOLDER.iterdir():
        text = source.read_text(encoding="utf-8")
        if source.name == file:
            assert old in text
            text = text.replace(old, new, 1)
        (tmp_path / source.name).write_text(text, encoding="utf-8")
    with pytest.raises(RuleTableError) as caught:
        read_lifting(tmp_path)
    assert words in str(caught.value)
