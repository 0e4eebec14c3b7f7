"""Drafts cut from sheets: slotted carton in one or two pieces, telescope, five-panel wrap, folded wrap."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from flipkit.items.drafts_stock import carton_outside_in
from flipkit.packing.blanks import (
    Blank,
    five_panel_blank,
    folded_wrap_blank,
    slotted_blank,
    slotted_half_blank,
    tray_blank,
)
from flipkit.packing.cushioning import SQIN_PER_SQFT, Sides, girth_strip_in, slotted_strips_in
from flipkit.packing.styles import Bench, Draft, boards, turned
from flipkit.rules.board import Flute, ScoreAllowance, score_allowance
from flipkit.units import SNAP

Made = tuple[Sides, tuple[Blank, ...], tuple[float, ...]]  # outside, blanks, strips
Maker = Callable[[Sides, Flute, ScoreAllowance, Bench], Made | None]


def made_drafts(bench: Bench) -> Iterator[Draft]:
    """Every style from every kind of board at hand, every way to pad and to lay the item.

    Parameters
    ----------
    bench : Bench
        Item, stock, rules.

    Returns
    -------
    iterator of Draft
        Whether the sheets are large enough is for the nesting to say.
    """
    for flute_name, grade in boards(bench.stock):
        flute = bench.rules.board.flute(flute_name)
        allowance = score_allowance(flute, block=bench.rules.board)
        what = f"{flute_name} flute board, {grade or 'strength unknown'}"
        for way in bench.paddings:
            for turn in bench.turns():
                inside = turned(way.needs_in, turn)
                for style, make in _MAKERS.items():
                    made = make(inside, flute, allowance, bench)
                    if made is None:
                        continue
                    outside, blanks, strips = made
                    yield Draft(
                        style=style,
                        what=what,
                        inside_in=inside,
                        outside_in=outside,
                        padding=way,
                        turn=turn,
                        container_lb=sum(b.area_in2 for b in blanks) / SQIN_PER_SQFT * flute.lb_per_sqft,
                        strips_in=strips,
                        blanks=blanks,
                        board=(flute_name, grade),
                        knife_in=sum(blank.knife_in for blank in blanks),
                        score_in=sum(blank.score_in for blank in blanks),
                        grade=bench.grade(grade),
                        caliper_in=flute.caliper_in,
                    )


def _slotted(inside: Sides, flute: Flute, allowance: ScoreAllowance, bench: Bench) -> Made:
    upright = bench.assumptions.text("packing.flutes_upright") == "yes"
    blank = slotted_blank(*inside, allowance=allowance, trim_in=0.0, may_turn=not upright)
    outside = carton_outside_in(inside, flute.caliper_in)
    strips = slotted_strips_in(outside, closure=bench.closure, own_joint=True, table=bench.rules.cushions)
    return outside, (blank,), tuple(strips)


def _slotted_two(inside: Sides, flute: Flute, allowance: ScoreAllowance, bench: Bench) -> Made:
    upright = bench.assumptions.text("packing.flutes_upright") == "yes"
    halves = tuple(
        slotted_half_blank(name, *inside, allowance=allowance, may_turn=not upright)
        for name in ("first half", "second half")
    )
    outside = carton_outside_in(inside, flute.caliper_in)
    strips = slotted_strips_in(outside, closure=bench.closure, own_joint=True, table=bench.rules.cushions)
    return outside, halves, (*strips, strips[-1])  # the second joint like the first


def _telescope(inside: Sides, flute: Flute, allowance: ScoreAllowance, bench: Bench) -> Made | None:
    length, width, height = inside
    if length < width - SNAP:
        return None  # the same trays, named the other way round
    caliper = flute.caliper_in
    lid_deep = min(height, bench.assumptions.number("packing.lid_in"))
    base = tray_blank("base tray", length, width, height, allowance=allowance)
    lid = tray_blank("lid tray", length + 2 * caliper, width + 2 * caliper, lid_deep, allowance=allowance)
    outside = (length + 4 * caliper, width + 4 * caliper, height + 2 * caliper)
    table = bench.rules.cushions
    more = 2 * table.tape_past_edge_in
    corners = [height + more] * 4 + [lid_deep + more] * 4
    # Two strips around, across the length, keep the lid on.
    around = [girth_strip_in(outside[1], outside[2], table=table)] * 2
    return outside, (base, lid), tuple(corners + around)


def _five_panel(inside: Sides, flute: Flute, allowance: ScoreAllowance, bench: Bench) -> Made | None:
    length, width, height = inside
    if height > width + SNAP:
        return None
    caliper = flute.caliper_in
    blank = five_panel_blank(length, width, height, allowance=allowance)
    # Each end: three layers of flaps inside the last one. One side is doubled by the fifth panel.
    outside = (length + 8 * caliper, width + 3 * caliper, height + 2 * caliper)
    more = 2 * bench.rules.cushions.tape_past_edge_in
    ends = [outside[1] + more, outside[2] + more, outside[2] + more] * 2
    return outside, (blank,), (outside[0] + more, *ends)


def _folded_wrap(inside: Sides, flute: Flute, allowance: ScoreAllowance, bench: Bench) -> Made:
    caliper = flute.caliper_in
    blank = folded_wrap_blank(*inside, allowance=allowance)
    outside = (inside[0] + 2 * caliper, inside[1] + 2 * caliper, inside[2] + 2 * caliper)
    more = 2 * bench.rules.cushions.tape_past_edge_in
    corners = [outside[2] + more] * 4
    return outside, (blank,), (outside[0] + more, outside[1] + more, outside[1] + more, *corners)


_MAKERS: dict[str, Maker] = {
    "slotted": _slotted,
    "slotted_two": _slotted_two,
    "telescope": _telescope,
    "five_panel": _five_panel,
    "folded_wrap": _folded_wrap,
}
#: Styles that are cut from sheets.
MADE = tuple(_MAKERS)
