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


@pytest.mark.worked
def test_layers_for_a_fall():
    # bubble, delicate, 6 lb: 3.5 x 30 / 40 = 2.625 in, six layers of .5; foam 3 x 30 / 40 = 2.25, three of 1
    bubble = padding((12, 9, 9), 6, fragility="delicate", cushion=BUBBLE, rough=False, table=TABLE)
    assert (bubble.needed_in, bubble.layers, bubble.thickness_in, bubble.clearance_in) == (2.625, 6, 3.0, 3.0)
    assert bubble.needs_in == (18, 15, 15)
    foam = padding((12, 9, 9), 6, fragility="delicate", cushion=FOAM, rough=False, table=TABLE)
    assert (foam.needed_in, foam.layers, foam.needs_in) == (2.25, 3, (18, 15, 15))
    # rough handling: 3 x 38 / 40 = 2.85; heavier: 3 x 24 / 40 = 1.8, two layers, and the clearance is 2 anyway
    assert padding((12, 9, 9), 6, fragility="delicate", cushion=FOAM, rough=True, table=TABLE).needed_in == 2.85
    heavy = padding((12, 9, 9), 30, fragility="delicate", cushion=FOAM, rough=False, table=TABLE)
    assert (heavy.needed_in, heavy.layers, heavy.clearance_in) == (pytest.approx(1.8), 2, 2.0)


@pytest.mark.worked
def test_the_least_clearance_counts_where_the_cushion_is_thinner():
    # rugged, bubble: 3.5 x 30 / 115 = .913 in, two layers of .5 = 1.0; with 3/16 in: five layers = .9375, clearance 1
    thin = Cushion("thin", "bubble wrap", 0.1875, "wrap", 8.0)
    found = padding((10, 6, 4), 5, fragility="rugged", cushion=thin, rough=False, table=TABLE)
    assert (found.layers, found.thickness_in, found.clearance_in) == (5, 0.9375, 1.0)
    assert found.wrapped_in == (11.875, 7.875, 5.875)
    assert found.needs_in == (12, 8, 6)
    more = padding((10, 6, 4), 5, fragility="rugged", cushion=thin, rough=False, table=TABLE, least_layers=6)
    assert (more.layers, more.thickness_in, more.clearance_in) == (6, 1.125, 1.125)


def test_soft_things_need_nothing():
    found = padding((16, 12, 5), 4, fragility="soft", cushion=None, rough=False, table=TABLE)
    assert (found.layers, found.area_sqft, found.needs_in) == (0, 0.0, (16, 12, 5))


def test_words():
    with pytest.raises(MeasureError, match="cushion must be a cushioning for a delicate item, got None"):
        padding((1, 1, 1), 1, fragility="delicate", cushion=None, rough=False, table=TABLE)
    with pytest.raises(MeasureError, match=r"material must be one of bubble wrap, .* got 'straw'"):
        padding(
            (1, 1, 1), 1, fragility="delicate", cushion=Cushion("s", "straw", 1, "wrap", 1), rough=False, table=TABLE
        )
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
    found = padding((10, 8, 6), 60, fragility="moderately rugged", cushion=FOAM, rough=False, table=TABLE)
    assert found.layers == 1
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
def test_the_more_fragile_the_thicker(sides, weight, cushion, rough):
    common = {"cushion": cushion, "rough": rough, "table": TABLE}
    found = [padding(sides, weight, fragility=name, **common) for name in list(TABLE.fragility)[:-1]]
    assert all(one.thickness_in >= one.needed_in - 1e-6 for one in found)
    assert all(one.clearance_in >= one.thickness_in for one in found)
    for more, less in itertools.pairwise(found):
        assert more.layers >= less.layers
        assert more.area_sqft >= less.area_sqft
        assert more.clearance_in >= less.clearance_in
