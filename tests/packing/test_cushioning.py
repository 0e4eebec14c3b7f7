"""Layers, wrap, plates, fill and tape."""

from __future__ import annotations

import datetime as dt
import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flipkit.errors import MeasureError
from flipkit.packing.at_hand import Cushion
from flipkit.packing.cushioning import (
    cushion_area_sqft,
    damage_chance,
    face_strips_in,
    fill_volume_cuft,
    girth_strip_in,
    padding,
    slotted_strips_in,
    stretch_wrap_sqft,
)
from flipkit.packing.materials import packing_rules

TABLE = packing_rules(on=dt.date(2026, 11, 25)).cushions
BUBBLE = Cushion("bubble", "bubble wrap", 0.5, "wrap", 14.0)
FOAM = Cushion("foam", "polyethylene foam", 1.0, "plate", 55.0)


def padded(sides, weight, cushion, faces, edges=None, rough=False):
    more = faces if edges is None else edges
    return padding(sides, weight, cushion=cushion, faces=faces, edges=more, rough=rough, table=TABLE)


@pytest.mark.worked
def test_the_shock_through_some_layers():
    # G = C h / T: bubble 3.5 x 30 / 3 = 35, foam 3 x 30 / 3 = 30; rougher 3 x 38 / 3; 30 lb fall 24 in: 3 x 24 / 2
    assert padded((12, 9, 9), 6, BUBBLE, 6).shocks_g(0, TABLE) == pytest.approx((35, 35, 35))
    assert padded((12, 9, 9), 6, FOAM, 3).shocks_g(0, TABLE) == pytest.approx((30, 30, 30))
    assert padded((12, 9, 9), 6, FOAM, 3, rough=True).shocks_g(0, TABLE) == pytest.approx((38, 38, 38))
    assert padded((12, 9, 9), 30, FOAM, 2).shocks_g(0, TABLE) == pytest.approx((36, 36, 36))
    # a wall of .16 in of board, C 5: 30 / (3 / 3 + .032)
    assert padded((12, 9, 9), 6, FOAM, 3).shocks_g(1, TABLE) == pytest.approx((29.0698,) * 3, abs=1e-4)
    assert padded((12, 9, 9), 6, FOAM, 3).needs_in == (18, 15, 15)


@pytest.mark.published(source="cushion-formula", where="T = C h / G with C 3, h 30 in, G 50", seen="from memory")
def test_the_shock_is_the_formula_turned_around():
    thick = Cushion("foam", "polyethylene foam", 1.8, "plate", 55.0)
    assert padded((12, 9, 9), 6, thick, 1).shocks_g(0, TABLE) == pytest.approx((50, 50, 50))


@pytest.mark.worked
def test_what_bears_too_much_bottoms_out():
    # 60 lb on 4 x 4 in is 3.75 psi; the fall is 18 in, so 1 in of foam is best at 12 / 18 = .667 psi: x = 5.625,
    # exp(4.625) / 5.625 = 18.13 times 3 x 18 / 1 = 54
    found = padded((4, 4, 4), 60, FOAM, 1).shocks_g(0, TABLE)
    assert found == pytest.approx((979.2,) * 3, rel=1e-3)


@pytest.mark.worked
def test_faces_and_edges_of_a_panel_are_padded_apart():
    found = padded((56, 20, 3), 9, BUBBLE, 1, 3)
    assert found.pad_in == (1.5, 1.5, 0.5)
    assert found.wrapped_in == (59, 23, 4)
    # it falls 30 in on its edges and topples onto its face, half of 20 in: 3.5 x 30 / 1.5, 3.5 x 10 / .5; its ends
    # bear 9 / 60 = .15 psi where 2 x 1.5 / 30 = .1 is best: exp(.5) / 1.5 = 1.09915 times as much
    assert found.shocks_g(0, TABLE) == pytest.approx((76.9403, 70, 70), abs=1e-4)
    # strips beyond the first layer, on 57 x 21 x 4: 2 x 21 x 4, then 2 x 58 x 4; on 58 x 22: 2 x 22 x 4, 2 x 59 x 4
    strips = padded((56, 20, 3), 9, BUBBLE, 1, 3).area_sqft - padded((56, 20, 3), 9, BUBBLE, 1).area_sqft
    assert strips * 144 == pytest.approx(168 + 464 + 176 + 472)
    rod = padded((50, 3, 3), 4, BUBBLE, 1, 4)
    assert rod.pad_in == (2.0, 0.5, 0.5)


def test_the_label_needs_a_face():
    small = padding((1, 1, 1), 0.1, cushion=None, rough=False, table=TABLE, label_in=(6, 4))
    assert small.wrapped_in == (1, 1, 1)
    assert sorted(small.needs_in) == [1, 3, 6]  # 3 + 1 in around an edge


def test_words():
    with pytest.raises(MeasureError, match=r"material must be one of bubble wrap, .* got 'straw'"):
        padded((1, 1, 1), 1, Cushion("s", "straw", 1, "wrap", 1), 1)
    with pytest.raises(MeasureError, match="closure must be centre, H or full seam, got 'X'"):
        face_strips_in(10, 10, closure="X", table=TABLE)


@pytest.mark.worked
def test_material_for_wrap_and_plates():
    # wrap around 10 x 8 x 6, overlap 2. Around 8 and 6: (28 + 2)(10 + 6 + 2) = 540; around 10 and 6:
    # (32 + 2)(8 + 6 + 2) = 544; around 10 and 8: (36 + 2)(6 + 8 + 2) = 608. Least 540.
    assert cushion_area_sqft((10, 8, 6), BUBBLE, 1, table=TABLE) * 144 == pytest.approx(540)
    # the second layer goes around 11 x 9 x 7: (32 + 2)(11 + 7 + 2) = 680
    assert cushion_area_sqft((10, 8, 6), BUBBLE, 2, table=TABLE) * 144 == pytest.approx(540 + 680)
    # plates of 1 in around 10 x 8 x 6: 12 x 10 x 8 - 480 = 480
    assert cushion_area_sqft((10, 8, 6), FOAM, 1, table=TABLE) * 144 == pytest.approx(480)
    # weight: 480 sq in x 1 in = 480 cu in of 2 lb/cu ft foam
    found = padded((10, 8, 6), 60, FOAM, 1)
    assert found.weight_lb == pytest.approx(480 / 1728 * 2)


@pytest.mark.published(
    source="tape-guide", where="H closure: (L + 2k) + 2 (W + 2k) a face, k 2.5 in", seen="from memory"
)
def test_h_closure():
    assert sum(face_strips_in(20, 12, closure="H", table=TABLE)) == (20 + 5) + 2 * (12 + 5)


@pytest.mark.published(source="tape-guide", where="three strips a face", seen="secondary")
def test_three_strips():
    assert len(face_strips_in(20, 12, closure="H", table=TABLE)) == 3


@pytest.mark.worked
def test_other_closures():
    # centre: 25 a face; full seam: the H on both faces and the joint, 2 x 59 + 15
    assert slotted_strips_in((20, 12, 10), closure="centre", own_joint=False, table=TABLE) == [25, 25]
    assert sum(slotted_strips_in((20, 12, 10), closure="H", own_joint=False, table=TABLE)) == 118
    assert sum(slotted_strips_in((20, 12, 10), closure="full seam", own_joint=False, table=TABLE)) == 133
    assert sum(slotted_strips_in((20, 12, 10), closure="centre", own_joint=True, table=TABLE)) == 65
    assert girth_strip_in(12, 8, table=TABLE) == 2 * 20 + 5
    # film: 2 (12 + 10) x 36 x 3 / 144 = 33
    assert stretch_wrap_sqft((36, 12, 10), turns=3) == pytest.approx(33)
    assert fill_volume_cuft((12, 12, 12), (12, 12, 6)) == 0.5
    assert fill_volume_cuft((12, 12, 12), (12, 12, 12)) == 0


@given(
    st.tuples(st.floats(1, 60), st.floats(1, 60), st.floats(1, 60)),
    st.floats(0.1, 120),
    st.sampled_from([BUBBLE, FOAM]),
    st.booleans(),
)
def test_more_padding_and_a_sturdier_thing_break_less(sides, weight, cushion, rough):
    ways = [padded(sides, weight, cushion, layers, rough=rough) for layers in range(5)]
    for walls in (0, 1):
        rows = [
            [
                damage_chance(way, kind.g, walls=walls, usual=0.02, lost=0.001, power=2, table=TABLE)
                for kind in TABLE.fragility.values()
            ]
            for way in ways
        ]
        for thin, thick in itertools.pairwise(rows):
            assert all(less <= more + 1e-12 for less, more in zip(thick, thin, strict=True))
        for row in rows:
            assert row == sorted(row, reverse=True)
            assert 0.001 <= row[-1] <= row[0] <= 1
