"""Blanks against printed sizes, and as drawings that fold."""

from __future__ import annotations

import datetime as dt
import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flipkit.packing.at_hand import Carton, flattened
from flipkit.packing.blanks import (
    five_panel_blank,
    folded_wrap_blank,
    slotted_blank,
    slotted_half_blank,
    tray_blank,
)
from flipkit.packing.materials import ScoreAllowance, packing_rules

MM = 25.4
BOARD = packing_rules(on=dt.date(2026, 11, 25)).board
EXACT = ScoreAllowance(panel_in=0, depth_in=0, flap_in=0, joint_in=0)
sides = st.floats(1, 100)


@pytest.mark.published(source="three-ply-blank", where="254 x 225 x 150 mm: blank 1,015 x 407 mm", seen="found")
def test_slotted_blank():
    allowance = ScoreAllowance(panel_in=3 / MM, depth_in=6 / MM, flap_in=3 / MM, joint_in=25 / MM)
    found = slotted_blank(254 / MM, 225 / MM, 150 / MM, allowance=allowance, trim_in=20 / MM, may_turn=False)
    assert found.length_in * MM == pytest.approx(1015, abs=1e-9)
    assert found.width_in * MM == pytest.approx(407, abs=1e-9)


@pytest.mark.published(source="three-ply-blank", where="board of 3.5 plies of 100 g/sq m: 144.59 g", seen="computed")
def test_slotted_blank_mass():
    allowance = ScoreAllowance(panel_in=3 / MM, depth_in=6 / MM, flap_in=3 / MM, joint_in=25 / MM)
    found = slotted_blank(254 / MM, 225 / MM, 150 / MM, allowance=allowance, trim_in=20 / MM, may_turn=False)
    assert found.area_in2 * (MM / 1000) ** 2 * 350 == pytest.approx(144.59, abs=0.01)


@pytest.mark.worked
def test_five_panel_and_folded_wrap():
    # around 2 x 10 + 3 x 3 = 29; along 60 + 2 x 3 = 66. Folded: 30 + 2 x 2 = 34; 2 x 20 + 2 x 2 = 44
    five = five_panel_blank(60, 10, 3, allowance=EXACT)
    assert (five.length_in, five.width_in) == (29, 66)
    folded = folded_wrap_blank(30, 20, 2, allowance=EXACT)
    assert (folded.length_in, folded.width_in) == (34, 44)


@pytest.mark.worked
def test_allowances_add_up():
    # C flute: t = .16. Slotted: 1.25 + 2 (16.16) + 2 (12.16) = 57.89; 2 (6.16) + 8.32 = 20.64
    allowance = ScoreAllowance(panel_in=0.16, depth_in=0.32, flap_in=0.16, joint_in=1.25)
    slotted = slotted_blank(16, 12, 8, allowance=allowance, trim_in=0, may_turn=False)
    assert (slotted.length_in, slotted.width_in) == pytest.approx((57.89, 20.64))
    # tray: 16.16 + 2 (3.16) = 22.48; 12.16 + 6.32 = 18.48
    tray = tray_blank("base", 16, 12, 3, allowance=allowance)
    assert (tray.length_in, tray.width_in) == pytest.approx((22.48, 18.48))
    # five panels: 2 (3.16) + 2 (10.16) + 3.32 = 29.96; 60 + 6 x .16 + 2 (3.16) = 67.28
    five = five_panel_blank(60, 10, 3, allowance=allowance)
    assert (five.length_in, five.width_in) == pytest.approx((29.96, 67.28))
    # folded: 30.16 + 2 (2.16) = 34.48; 20.16 + 2 (2.16) + 2 (10.16) = 44.8
    folded = folded_wrap_blank(30, 20, 2, allowance=allowance)
    assert (folded.length_in, folded.width_in) == pytest.approx((34.48, 44.8))


@given(length=sides, width=sides, height=sides, caliper=st.floats(0.03, 0.6))
def test_every_line_and_panel_lies_inside_and_panels_do_not_overlap(length, width, height, caliper):
    allowance = ScoreAllowance(panel_in=caliper, depth_in=2 * caliper, flap_in=caliper, joint_in=1.25)
    low, high = sorted((width, height))
    for found in (
        slotted_blank(length, width, height, allowance=allowance, trim_in=0, may_turn=True),
        tray_blank("tray", length, width, height, allowance=allowance),
        five_panel_blank(length, high, low, allowance=allowance),
        folded_wrap_blank(length, width, height, allowance=allowance),
    ):
        edge = 1e-9 * (found.length_in + found.width_in)
        for x1, y1, x2, y2 in (*found.folds, *found.cuts):
            assert -edge <= min(x1, x2) <= max(x1, x2) <= found.length_in + edge
            assert -edge <= min(y1, y2) <= max(y1, y2) <= found.width_in + edge
            assert x1 == x2 or y1 == y2
        for (_, x, y, long, wide), (_, u, v, across, tall) in itertools.combinations(found.panels, 2):
            apart = x + long <= u + edge or u + across <= x + edge or y + wide <= v + edge or v + tall <= y + edge
            assert apart
        assert sum(long * wide for _, _, _, long, wide in found.panels) <= found.area_in2 + edge * 10
        assert found.knife_in >= 2 * (found.length_in + found.width_in)


@given(length=sides, width=sides, height=sides)
def test_a_slotted_blank_folds_to_the_inside_asked_for(length, width, height):
    caliper = 0.16
    allowance = ScoreAllowance(panel_in=caliper, depth_in=2 * caliper, flap_in=caliper, joint_in=1.25)
    found = slotted_blank(length, width, height, allowance=allowance, trim_in=0, may_turn=False)
    panels = [panel for panel in found.panels if panel[0] in ("length", "width")]
    assert [panel[0] for panel in panels] == ["length", "width", "length", "width"]
    # A score eats half a thickness on either side of a panel, a flap its own thickness above and below.
    assert [panel[3] - caliper for panel in panels] == pytest.approx([length, width, length, width])
    assert {round(panel[4] - 2 * caliper, 6) for panel in panels} == {round(height, 6)}
    # Outer flaps meet in the middle within the gap allowed: 2 flaps cover the width and no more than 2 calipers over.
    flaps = [panel for panel in found.panels if panel[0] == "flap"]
    assert {round(2 * flap[4] - width, 6) for flap in flaps} == {round(2 * caliper, 6)}


@given(length=sides, width=sides, height=sides, caliper=st.floats(0.03, 0.6))
def test_two_halves_make_a_whole_with_one_joint_more(length, width, height, caliper):
    allowance = ScoreAllowance(panel_in=caliper, depth_in=2 * caliper, flap_in=caliper, joint_in=1.25)
    whole = slotted_blank(length, width, height, allowance=allowance, trim_in=0, may_turn=False)
    half = slotted_half_blank("half", length, width, height, allowance=allowance, may_turn=False)
    assert 2 * half.length_in == pytest.approx(whole.length_in + 1.25)
    assert half.width_in == whole.width_in
    flap, deep = width / 2 + caliper, height + 2 * caliper
    # One slot above and one below, the joint's four cuts; scores along both flaps, at the joint and between the walls.
    assert half.knife_in == pytest.approx(2 * (half.length_in + half.width_in) + 4 * flap + 2 * 1.25)
    assert half.score_in == pytest.approx(2 * (half.length_in - 1.25) + 2 * deep)
    assert [panel[0] for panel in half.panels if panel[0] != "flap"] == ["joint", "length", "width"]


@pytest.mark.worked
def test_a_flattened_carton():
    # 22 x 16 x 12: around 2 (22 + 16) = 76, scores at 22, 38, 60; panels 12 + 16 = 28 high with their flaps
    box = Carton("box", 22, 16, 12, "C", "32 ECT", 150, 3)
    body, long, short = flattened(box)
    assert (body.length_in, body.width_in, body.scores_in, body.quantity) == (76, 12, (22, 38, 60), 3)
    assert (long.length_in, long.width_in, long.quantity) == (22, 28, 6)
    assert (short.length_in, short.width_in, short.quantity) == (16, 28, 6)
    assert {body.cost_cents, long.cost_cents, short.cost_cents} == {150}
