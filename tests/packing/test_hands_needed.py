"""One or two people, on both sides of the lifting limit."""

from __future__ import annotations

import datetime as dt

import pytest

from flipkit.assumptions import load_assumptions
from flipkit.packing.lifting import hands
from flipkit.packing.materials import packing_rules

EQUATION = packing_rules(on=dt.date(2026, 11, 25)).lifting
ASSUMED = load_assumptions()


def lift(sides, weight, **changes):
    assumptions = load_assumptions(overrides=changes) if changes else ASSUMED
    return hands(sides, weight, equation=EQUATION, assumptions=assumptions)


@pytest.mark.worked
def test_both_sides_of_the_limit():
    # 16 x 12 x 12 from a 30 in table to a 30 in counter: H = 8 + 6 = 14, 51 x 10/14 x 1 x 1 x 1 x 1 x fair 1 = 36.43
    at = lift((16, 12, 12), 36.42)
    above = lift((16, 12, 12), 36.44)
    assert at.limit_lb == pytest.approx(51 * 10 / 14)
    assert (at.people, at.why, at.enough) == (1, "", True)
    assert above.people == 2
    assert above.why == "36.4 lb against a recommended limit of 36.4 lb for one person"


@pytest.mark.worked
def test_a_longer_front_is_a_poor_grip():
    # 16.5 in front: poor, .9: 51 x 10/14 x .9 = 32.79
    assert lift((16.5, 12, 12), 10).limit_lb == pytest.approx(51 * 10 / 14 * 0.9)


@pytest.mark.worked
def test_a_long_parcel_comes_from_the_floor():
    # 50 x 12 x 12 from the floor, V 0: H = 10 + 6 = 16, VM .775, D 30: .82 + 1.8/30 = .88, poor .9
    found = lift((50, 12, 12), 10)
    assert found.limit_lb == pytest.approx(51 * 10 / 16 * 0.775 * 0.88 * 0.9)
    assert found.hardest == "horizontal"


def test_length_alone_takes_two():
    assert lift((72, 4, 4), 3).people == 1
    found = lift((72.1, 4, 4), 3)
    assert (found.people, found.why) == (2, "72.1 in long, more than the 72 in that one person handles")


@pytest.mark.worked
def test_two_may_lift_four_thirds_of_one_and_more_is_said():
    # 36.43 x 2 x 2/3 = 48.57
    assert lift((16, 12, 12), 48.5).enough
    found = lift((16, 12, 12), 48.6)
    assert (found.people, found.enough) == (2, False)
    assert found.team_limit_lb == pytest.approx(51 * 10 / 14 * 4 / 3)


@pytest.mark.worked
def test_what_one_cannot_hold_close_enough_two_may():
    # 36 in deep: H = 8 + 18 = 26 > 25, no limit left for one; two reach 15 in: 51 x 10/15 x .9 x 4/3 = 40.8
    found = lift((40, 36, 36), 5)
    assert (found.limit_lb, found.people, found.enough) == (0.0, 2, True)
    assert found.lifting_index == float("inf")
    assert found.team_limit_lb == pytest.approx(40.8)
    assert found.why == "36.0 in deep, too far from the body for one person to hold"
    assert not lift((40, 36, 36), 41).enough


def test_assumptions_move_it():
    assert lift((16, 12, 12), 36.44, **{"packing.lifting_index": 1.5}).people == 1
    assert lift((16, 12, 12), 30, **{"packing.table_in": 0}).people == 2
    assert lift((60, 4, 4), 3, **{"packing.long_in": 48}).people == 2


def test_worksheet_mode_stands_beside_full_precision():
    full = hands((23, 12, 12), 20, equation=EQUATION, assumptions=ASSUMED)
    sheet = hands((23, 12, 12), 20, equation=EQUATION, assumptions=ASSUMED, worksheet=True)
    assert sheet.limit_lb == round(sheet.limit_lb, 1)
    assert sheet.limit_lb == pytest.approx(full.limit_lb, abs=0.3)
