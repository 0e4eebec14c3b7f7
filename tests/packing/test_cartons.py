"""The carton rule, compression and packaging triggers against printed figures, and their bounds."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import flipkit.rules
from flipkit.errors import MeasureError, RuleTableError
from flipkit.packing.materials import (
    box_compression_lb,
    carton_grade,
    compression_scope,
    dense_burst,
    gross_limit_lb,
    packaging_triggers,
    packing_rules,
    read_board,
    read_cartons,
    score_allowance,
    stacking_load_lb,
)

DATA = Path(flipkit.rules.__file__).parent / "data" / "cartons"
RULES = packing_rules(on=dt.date(2026, 11, 25))
RULE, BOARD = RULES.cartons, RULES.board


# --- printed elsewhere

BURST = {
    "single": "20/40/125/52; 35/50/150/66; 50/60/175/75; 65/75/200/84; 80/85/250/111; 95/95/275/138; 120/105/350/180",
    "double": "80/85/200/92; 100/95/275/110; 120/105/350/126; 140/110/400/180; 160/115/500/222; 180/120/600/270",
    "triple": "240/110/700/168; 260/115/900/222; 280/120/1100/264; 300/125/1300/360",
    "solid": "20/40/125/114; 40/60/175/149; 65/75/200/190; 90/90/275/237; 120/100/350/283",
}


@pytest.mark.published(source="item-222", where="burst table", seen="found")
@pytest.mark.parametrize("wall", BURST)
def test_burst_table(wall):
    printed = [tuple(float(part) for part in row.split("/")) for row in BURST[wall].split(";")]
    found = [(g.gross_lb, g.united_in, float(g.burst), g.facings_lb) for g in RULE.grades if g.wall == wall]
    assert found == printed


@pytest.mark.published(source="item-222-ect", where="edge-crush column", seen="secondary")
@pytest.mark.parametrize(
    ("ect", "wall", "gross"),
    [
        (23, "single", 20),
        (26, "single", 35),
        (29, "single", 50),
        (32, "single", 65),
        (40, "single", 80),
        (44, "single", 95),
        (55, "single", 120),
        (42, "double", 80),
        (48, "double", 100),
        (51, "double", 120),
        (61, "double", 140),
        (71, "double", 160),
        (82, "double", 180),
    ],
)
def test_edge_crush_column(ect, wall, gross):
    grade = carton_grade(f"{ect} ECT", block=RULE)
    assert (grade.wall, gross_limit_lb(grade, strength="carton rule", block=RULE)) == (wall, gross)


@pytest.mark.published(source="carton-working-guide", where="gross weight by edge crush", seen="secondary")
@pytest.mark.parametrize(("ect", "gross"), [(32, 30), (40, 40), (44, 50), (55, 65)])
def test_carriers_working_guide(ect, gross):
    grade = carton_grade(f"{ect} ECT", block=RULE)
    assert gross_limit_lb(grade, strength="carriers' working guide", block=RULE) == gross


@pytest.mark.published(source="carton-working-guide", where="over 65 lb double wall from 48 ECT", seen="secondary")
def test_carriers_working_guide_above_its_rows():
    guide = {"strength": "carriers' working guide", "block": RULE}
    assert gross_limit_lb(carton_grade("48 ECT", block=RULE), **guide) == 100
    assert gross_limit_lb(carton_grade("42 ECT", block=RULE), **guide) == 40
    assert gross_limit_lb(carton_grade("26 ECT", block=RULE), **guide) == 0


@pytest.mark.published(source="usps-publication-2", where="6-3.3, 6-3.4", seen="found")
@pytest.mark.parametrize(("weight", "burst"), [(20, 0), (20.1, 200), (45, 200), (45.1, 275), (70, 275), (70.1, 0)])
def test_dense_contents(weight, burst):
    assert dense_burst(weight, block=RULE) == burst


@pytest.mark.published(
    source="mckee-1963", where="worked example, ECT 32, caliper .16 in, 16 x 12 in", seen="secondary"
)
def test_compression():
    found = box_compression_lb(16, 12, ect_lb_per_in=32, caliper_in=0.16, block=RULE)
    assert found == pytest.approx(562, abs=0.5)
    assert 0.75 * found == pytest.approx(421, abs=1)


@pytest.mark.published(
    source="mckee-1963", where="validity: depth of at least a seventh of the perimeter", seen="from memory"
)
def test_compression_scope_by_depth():
    inside = {"slotted": True, "flutes_upright": True, "block": RULE}
    assert compression_scope(16, 12, 8, **inside) == []
    assert compression_scope(16, 12, 7.99, **inside) == ["7.99 in deep, less than a seventh of its 56 in perimeter"]
    assert compression_scope(16, 12, 8, slotted=False, flutes_upright=False, block=RULE) == [
        "not a regular slotted carton",
        "its flutes do not stand upright",
    ]


@pytest.mark.published(source="compression-losses", where="table of multipliers", seen="secondary")
@pytest.mark.parametrize(
    ("cause", "keeps"), [("10 days under load", 0.63), ("30 days under load", 0.6), ("80 % humidity", 0.68)]
)
def test_losses(cause, keeps):
    assert stacking_load_lb(1000, causes=[cause], block=RULE) == pytest.approx(1000 * keeps)


@pytest.mark.published(source="flute-heights", where="medium heights, flutes per foot", seen="secondary")
@pytest.mark.parametrize(
    ("name", "medium", "per_foot"),
    [("A", 3 / 16, 33), ("B", 1 / 8, 47), ("C", 5 / 32, 39), ("E", 1 / 16, 90), ("F", 1 / 32, 128)],
)
def test_flutes(name, medium, per_foot):
    flute = BOARD.flute(name)
    assert (flute.medium_in, flute.per_foot) == (medium, per_foot)
    assert flute.caliper_in >= flute.medium_in


@pytest.mark.published(source="carrier-packaging-text", where="packaging triggers", seen="secondary")
@pytest.mark.parametrize(
    ("packaging", "sides", "found"),
    [
        ("box", (12, 12, 12), ()),
        ("box", (30, 20, 1.0), ("at most 1 in high",)),
        ("box", (30, 20, 1.01), ()),
        ("cylinder", (40, 4, 4), ("a cylinder",)),
        ("soft pack", (18, 14, 6), ()),
        ("soft pack", (6, 18, 14), ()),
        ("soft pack", (18.1, 14, 6), ("not fully in corrugated board",)),
        ("shrink wrap", (12, 12, 12), ("not fully in corrugated board", "covered in shrink or stretch wrap")),
        ("not in corrugated", (12, 12, 12), ("not fully in corrugated board",)),
    ],
)
def test_packaging_triggers(packaging, sides, found):
    assert packaging_triggers(packaging, sides, block=RULE) == found


# --- our own


@pytest.mark.parametrize(
    ("text", "grade"),
    [
        ("32 ECT", ("single", 32)),
        ("32", ("single", 32)),
        ("ECT 32", None),
        ("200 burst", ("single", 32)),
        ("200 test", ("single", 32)),
        ("200", ("single", 32)),
        ("double 200", ("double", 42)),
        ("double wall, 48 ECT", ("double", 48)),
        ("Double-wall 275 test", ("double", 48)),
        ("solid 125", ("solid", None)),
        ("33 ECT", None),
        ("strong", None),
        ("", None),
    ],
)
def test_a_certificate_is_read(text, grade):
    if grade is None:
        with pytest.raises(MeasureError, match="grade must be"):
            carton_grade(text, block=RULE)
    else:
        found = carton_grade(text, block=RULE)
        assert (found.wall, found.ect) == grade


@given(st.floats(4, 60), st.floats(4, 60), st.sampled_from([23, 32, 44, 55]), st.floats(0.05, 0.6))
def test_compression_grows_with_board_and_perimeter(length, width, ect, caliper):
    base = box_compression_lb(length, width, ect_lb_per_in=ect, caliper_in=caliper, block=RULE)
    assert box_compression_lb(length + 1, width, ect_lb_per_in=ect, caliper_in=caliper, block=RULE) > base
    assert box_compression_lb(length, width, ect_lb_per_in=ect + 1, caliper_in=caliper, block=RULE) > base
    assert box_compression_lb(width, length, ect_lb_per_in=ect, caliper_in=caliper, block=RULE) == pytest.approx(base)


def test_bad_measures_say_what_is_needed():
    with pytest.raises(MeasureError, match="width_in must be a finite number above 0, got 0"):
        box_compression_lb(16, 0, ect_lb_per_in=32, caliper_in=0.16, block=RULE)
    with pytest.raises(MeasureError, match="cause must be one of 10 days under load"):
        stacking_load_lb(500, causes=["rain"], block=RULE)
    with pytest.raises(MeasureError, match="flute must be one of A, B, C, E, F, BC, AC, AAC, got 'Z'"):
        BOARD.flute("Z")


@pytest.mark.worked
def test_allowances_are_in_calipers():
    # C flute, caliper .160 in: one a panel, two for the depth, one a flap
    found = score_allowance(BOARD.flute("C"), block=BOARD)
    assert (found.panel_in, found.depth_in, found.flap_in, found.joint_in) == (0.16, 0.32, 0.16, 1.25)


@pytest.mark.parametrize(
    ("file", "read", "old", "new", "words"),
    [
        ("carton_rule.toml", read_cartons, 'wall = "single"', 'wall = "thin"', "key grade[1].wall: this is 'thin'"),
        ("carton_rule.toml", read_cartons, "gross_lb = 20,", "gross_lb = 0,", "key grade[1].gross_lb: this is 0"),
        ("carton_rule.toml", read_cartons, "[block.compression]", "[block.strength]", "key compression"),
        (
            "carton_rule.toml",
            read_cartons,
            'when = ["cylinder"]',
            'when = ["pipe"]',
            "packaging[2].when: this is 'pipe'",
        ),
        ("flutes.toml", read_board, "caliper_in = 0.200", "caliper_in = 0", "key flute[1].caliper_in: this is 0"),
        ("flutes.toml", read_board, "panel = 1.0", "pannel = 1.0", "key allowance.panel: this is missing"),
        ("flutes.toml", read_board, 'kind = "board"', 'kind = "cartons"', "key kind"),
    ],
)
def test_a_malformed_table_is_one_located_line(tmp_path, file, read, old, new, words):
    text = (DATA / file).read_text(encoding="utf-8")
    assert old in text
    (tmp_path / file).write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(RuleTableError) as caught:
        read(tmp_path / file)
    assert words in str(caught.value)
    assert file in str(caught.value)


def test_the_books_own_table_takes_the_packaged_ones_place(tmp_path):
    (tmp_path / "cartons").mkdir()
    text = (DATA / "flutes.toml").read_text(encoding="utf-8").replace("caliper_in = 0.160", "caliper_in = 0.155")
    (tmp_path / "cartons" / "flutes.toml").write_text(text, encoding="utf-8")
    found = packing_rules(on=dt.date(2026, 11, 25), folder=tmp_path)
    assert found.own == ("cartons/flutes.toml",)
    assert found.board.flute("C").caliper_in == 0.155
    assert found.cartons is RULE
