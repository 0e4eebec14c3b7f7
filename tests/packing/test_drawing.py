"""Drawings to cut by: complete SVG, to scale, every cut and fold in its place."""

from __future__ import annotations

import dataclasses
import datetime as dt
import xml.etree.ElementTree as ET

import pytest

from flipkit.assumptions import load_assumptions
from flipkit.packing.at_hand import Carton, Cushion, Fill, Sheet, Stock, Tape
from flipkit.packing.blanks import Blank, nest, slotted_blank
from flipkit.packing.drawing import PAGE_MM, SCALES, Pen, fitting_scale, inch_text, plot_blank, plot_plan, plot_sheet
from flipkit.packing.materials import packing_rules, score_allowance
from flipkit.packing.plan import packing_plan
from flipkit.packing.styles import PackItem
from tests.helpers.packing_stock import simple_labels

RULES = packing_rules(on=dt.date(2026, 11, 25))
NS = "{http://www.w3.org/2000/svg}"
ALLOWANCE = score_allowance(RULES.board.flute("C"), block=RULES.board)
BLANK = slotted_blank(16, 12, 8, allowance=ALLOWANCE, trim_in=0, may_turn=False)


def lines(svg, kind):
    root = ET.fromstring(svg)  # noqa: S314 - our own text
    marks = [mark for mark in root.iter(f"{NS}line") if mark.get("class") == kind]
    return [tuple(float(mark.get(end)) for end in ("x1", "y1", "x2", "y2")) for mark in marks]


def words(svg):
    return [mark.text for mark in ET.fromstring(svg).iter(f"{NS}text")]  # noqa: S314 - our own text


def test_every_fold_and_cut_is_drawn_to_scale():
    svg = plot_blank(BLANK)
    scale = fitting_scale(BLANK.length_in, BLANK.width_in)
    legend = 1
    assert len(lines(svg, "fold")) == len(BLANK.folds) + legend
    assert len(lines(svg, "cut")) == len(BLANK.cuts) + legend
    drawn = sorted(abs(x2 - x1) + abs(y2 - y1) for x1, y1, x2, y2 in lines(svg, "fold")[:-1])
    meant = sorted((abs(x2 - x1) + abs(y2 - y1)) * 25.4 / scale for x1, y1, x2, y2 in BLANK.folds)
    assert drawn == pytest.approx(meant, abs=0.02)
    assert f"scale 1 : {scale}" in " ".join(words(svg))
    assert "Slotted carton (0201), blank 57 7/8 x 20 5/8 in" in words(svg)


def test_measures_stand_at_the_edges():
    said = words(plot_blank(BLANK))
    for length in (16.16, 12.16, 8.32, 6.16, BLANK.length_in, BLANK.width_in):
        assert inch_text(length) in said


def test_a_drawing_fits_the_page_and_says_its_size_in_millimetres():
    for length, width in ((4, 4), (57.9, 20.6), (96, 48), (144, 96)):
        root = ET.fromstring(plot_blank(Blank("pad", "", length, width)))  # noqa: S314 - our own text
        wide, tall = (float(root.get(key).removesuffix("mm")) for key in ("width", "height"))
        assert wide <= PAGE_MM[0] + 40
        assert tall <= PAGE_MM[1] + 45
        assert root.get("viewBox") == f"0 0 {wide:.1f} {tall:.1f}"


@pytest.mark.parametrize(("value", "text"), [(12.38, "12 3/8"), (0.5, "1/2"), (7.99, "8"), (0.04, "1/16"), (0.02, "0")])
def test_inches_as_a_tape_measure_shows_them(value, text):
    assert inch_text(value) == text


def test_scales_are_as_large_as_the_page_allows():
    for length, width in ((3, 3), (20, 30), (96, 48)):
        scale = fitting_scale(length, width)
        assert length * 25.4 / scale <= PAGE_MM[0]
        assert width * 25.4 / scale <= PAGE_MM[1]
        if scale != SCALES[0]:
            larger = SCALES[SCALES.index(scale) - 1]
            assert length * 25.4 / larger > PAGE_MM[0] or width * 25.4 / larger > PAGE_MM[1]


def test_a_sheet_shows_numbered_cuts_old_scores_and_a_turned_blank():
    sheet = Sheet("body", 30, 60, "C", "32 ECT", 0, 1, scores_in=(10.0, 22.5))
    turnable = dataclasses.replace(BLANK, may_turn=True)
    found = nest([turnable], [sheet])
    svg = plot_sheet(found.uses[0], (turnable,))
    assert found.uses[0].placements[0].turned
    assert len(lines(svg, "old")) == 2 + 1
    assert [word for word in words(svg) if word in ("1", "2")] == ["1", "2"]
    # Turned, the blank's folds still lie inside its place.
    place = found.uses[0].placements[0]
    pen = Pen(30, 60, title="")
    xs = [x for line in lines(svg, "fold")[:-1] for x in (line[0], line[2])]
    ys = [y for line in lines(svg, "fold")[:-1] for y in (line[1], line[3])]
    assert pen.x(place.x_in) - 0.01 <= min(xs) <= max(xs) <= pen.x(place.x_in + place.length_in) + 0.01
    assert pen.y(place.y_in + place.width_in) - 0.01 <= min(ys) <= max(ys) <= pen.y(place.y_in) + 0.01


def test_titles_are_escaped_and_drawings_repeat():
    odd = Blank('<pad> & "more"', "", 10, 10)
    assert '<Pad> & "more"' in " ".join(words(plot_blank(odd))).replace("<pad>", "<Pad>")
    assert plot_blank(BLANK) == plot_blank(BLANK)


STOCK = Stock(
    cartons=(Carton("deep", 18, 16, 30, "C", "32 ECT", 0, 2),),
    sheets=(Sheet("full sheet", 96, 48, "C", "32 ECT", 650, 2),),
    cushions=(Cushion("bubble wrap", "bubble wrap", 0.5, "wrap", 14.0),),
    fill=Fill("paper", 60.0, 1.2),
    tape=Tape("tape", 5.0),
    flatten=False,
)


@pytest.mark.parametrize(("parts", "style", "drawings"), [("cartons", "cut_down", 3), ("sheets", None, 4)])
def test_a_plan_has_the_drawings_that_its_work_needs(parts, style, drawings):
    stock = dataclasses.replace(STOCK, **{name: () for name in ("cartons", "sheets") if name != parts})
    item = PackItem("A", "stoneware jug", 12, 9, 9, 6, "delicate", 6500)
    labels = simple_labels(lambda length, width, height, _: 800 + int(length * width * height / 2))
    plan = packing_plan(item, stock, labels=labels, rules=RULES, assumptions=load_assumptions())
    found = plot_plan(plan)
    assert style is None or plan.best.draft.style == style
    assert len(found) == drawings
    for svg in found:
        ET.fromstring(svg)  # noqa: S314 - our own text
    assert any("packed, from above" in word for word in words(found[-2]))
    if style == "cut_down":
        high = 9 + 2 * plan.best.draft.padding.faces * 0.5  # one of its sides of 9 in, padded
        assert f"deep, cut down from 30 to {inch_text(high)} in inside" in words(found[0])
        assert "new flap" in words(found[0])
    pickup = packing_plan(
        dataclasses.replace(item, pickup=True), stock, labels=labels, rules=RULES, assumptions=load_assumptions()
    )
    assert plot_plan(pickup) == []
