"""Drafts from cartons at hand: as they are, cut down in height, two joined mouth to mouth."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

from flipkit.packing.at_hand import Carton
from flipkit.packing.blanks import slotted_blank
from flipkit.packing.cushioning import SQIN_PER_SQFT, Padding, Sides, girth_strip_in, slotted_strips_in
from flipkit.packing.styles import Bench, Draft, Refusal, turned
from flipkit.rules.board import score_allowance
from flipkit.units import SNAP


def carton_outside_in(inside_in: Sides, caliper_in: float) -> Sides:
    """Outside of a slotted carton: one board on each wall, two flaps below and two above.

    Parameters
    ----------
    inside_in : tuple of float
        Length, width, height. [in]
    caliper_in : float
        Thickness of the board. [in]

    Returns
    -------
    tuple of float
        Length, width, height. [in]

    Examples
    --------
    >>> carton_outside_in((20.0, 12.0, 10.0), 0.25)
    (20.5, 12.5, 11.0)
    """
    length, width, height = inside_in
    return (length + 2 * caliper_in, width + 2 * caliper_in, height + 4 * caliper_in)


def carton_lb(carton: Carton, bench: Bench, *, height_in: float | None = None) -> float:
    """Weight of a slotted carton's board, from its blank.

    Parameters
    ----------
    carton : Carton
        The carton.
    bench : Bench
        For the board table.
    height_in : float, optional
        Inside height, where it is cut down. [in]

    Returns
    -------
    float
        Weight. [lb]
    """
    flute = bench.rules.board.flute(carton.flute)
    blank = slotted_blank(
        carton.length_in,
        carton.width_in,
        carton.height_in if height_in is None else height_in,
        allowance=score_allowance(flute, block=bench.rules.board),
        trim_in=0.0,
        may_turn=False,
    )
    return blank.area_in2 / SQIN_PER_SQFT * flute.lb_per_sqft


def _misfit(needs: Sides, inside: Sides) -> float:
    return max(need - room for need, room in zip(needs, inside, strict=True))


def _does_not_fit(needs: Sides, inside: Sides) -> str:
    asked = " x ".join(f"{side:.1f}" for side in needs)
    has = " x ".join(f"{side:.1f}" for side in inside)
    return f"needs {asked} in inside, has {has} in"


def stock_drafts(bench: Bench) -> Iterator[Draft | Refusal]:
    """Each carton as it is, with each way to pad, the item laid as it fits first.

    How the item lies changes neither the outside nor what is filled, so one way is enough.

    Parameters
    ----------
    bench : Bench
        Item, stock, rules.

    Returns
    -------
    iterator of Draft or Refusal
        What fits, and why the rest does not.
    """
    for carton in bench.stock.cartons:
        if carton.quantity < 1:
            yield Refusal(0.0, "stock", carton.name, "none left")
            continue
        inside = (carton.length_in, carton.width_in, carton.height_in)
        for way in bench.paddings:
            turns = list(bench.turns())
            turn = next((turn for turn in turns if _misfit(turned(way.needs_in, turn), inside) <= SNAP), None)
            if turn is None:
                nearest = min((turned(way.needs_in, turn) for turn in turns), key=lambda needs: _misfit(needs, inside))
                yield Refusal(_misfit(nearest, inside), "stock", carton.name, _does_not_fit(nearest, inside))
            else:
                yield _carton_draft("stock", carton, inside, way, turn, bench)


def cut_down_drafts(bench: Bench) -> Iterator[Draft | Refusal]:
    """Each carton cut down to the height that the item needs, flaps scored anew.

    Parameters
    ----------
    bench : Bench
        Item, stock, rules.

    Returns
    -------
    iterator of Draft or Refusal
        One draft a height that some way of laying the item asks for.
    """
    least = bench.assumptions.number("packing.least_cut_in")
    for carton in bench.stock.cartons:
        if carton.quantity < 1:
            yield Refusal(0.0, "cut_down", carton.name, "none left")
            continue
        inside = (carton.length_in, carton.width_in, carton.height_in)
        for way in bench.paddings:
            heights: dict[float, tuple[int, int, int]] = {}
            for turn in bench.turns():
                needs = turned(way.needs_in, turn)
                if _misfit(needs, inside) > SNAP:
                    yield Refusal(_misfit(needs, inside), "cut_down", carton.name, _does_not_fit(needs, inside))
                elif carton.height_in - needs[2] < least - SNAP:
                    reason = f"nothing to gain: {carton.height_in - needs[2]:.1f} in to take off its height"
                    yield Refusal(0.0, "cut_down", carton.name, reason)
                else:
                    heights.setdefault(needs[2], turn)
            for height, turn in heights.items():
                lower = (carton.length_in, carton.width_in, height)
                yield _carton_draft("cut_down", carton, lower, way, turn, bench)


def _carton_draft(
    style: str, carton: Carton, inside: Sides, way: Padding, turn: tuple[int, int, int], bench: Bench
) -> Draft:
    caliper = bench.rules.board.flute(carton.flute).caliper_in
    outside = carton_outside_in(inside, caliper)
    strips = slotted_strips_in(
        outside,
        closure=bench.closure,
        own_joint=False,
        table=bench.rules.cushions,
    )
    walls = 2 * (carton.length_in + carton.width_in)
    cut = style == "cut_down"
    return Draft(
        style=style,
        what=carton.name,
        inside_in=inside,
        outside_in=outside,
        padding=way,
        turn=turn,
        container_cents=carton.cost_cents,
        container_lb=carton_lb(carton, bench, height_in=inside[2]),
        strips_in=tuple(strips),
        # Four corners slit down, new scores around, and the old flaps trimmed to half the width.
        knife_in=4 * (carton.height_in - inside[2]) + walls if cut else 0.0,
        score_in=walls if cut else 0.0,
        grade=bench.grade(carton.grade),
        caliper_in=caliper,
        used=carton.used,
        pieces=(carton,),
    )


def joined_drafts(bench: Bench) -> Iterator[Draft | Refusal]:
    """Two cartons mouth to mouth, flaps lapped over each other's walls, for what is too long for one.

    They are as high together as their two heights, or pushed into each other (their walls slit at
    the corners) down to what the item needs.

    Parameters
    ----------
    bench : Bench
        Item, stock, rules.

    Returns
    -------
    iterator of Draft or Refusal
        Pairs whose openings agree within the tolerance.
    """
    tolerance = bench.assumptions.number("packing.join_tolerance_in")
    least = bench.assumptions.number("packing.least_cut_in")
    for one, two in itertools.combinations_with_replacement(bench.stock.cartons, 2):
        if min(one.quantity, two.quantity) < (2 if one is two else 1):
            continue
        what = f"{one.name} and {two.name}" if one is not two else f"two of {one.name}"
        apart = max(abs(one.length_in - two.length_in), abs(one.width_in - two.width_in))
        if apart > tolerance + SNAP:
            yield Refusal(apart, "joined", "any two", f"the openings of {what} differ by {apart:.1f} in")
            continue
        across = (min(one.length_in, two.length_in), min(one.width_in, two.width_in))
        most = one.height_in + two.height_in
        inside = (*across, most)
        for way in bench.paddings:
            for turn in bench.turns():
                needs = turned(way.needs_in, turn)
                if _misfit(needs, inside) > SNAP:
                    yield Refusal(
                        _misfit(needs, inside), "joined", "any two", f"{what}: {_does_not_fit(needs, inside)}"
                    )
                elif needs[2] <= max(one.height_in, two.height_in) + SNAP:
                    yield Refusal(0.0, "joined", "any two", f"one of {what} alone is high enough")
                else:
                    yield _joined(one, two, what, inside, way, turn, bench)
                    if most - needs[2] >= least - SNAP:
                        yield _joined(one, two, what, (*across, needs[2]), way, turn, bench)


def _joined(
    one: Carton, two: Carton, what: str, inside: Sides, way: Padding, turn: tuple[int, int, int], bench: Bench
) -> Draft:
    table = bench.rules.cushions
    calipers = [bench.rules.board.flute(carton.flute).caliper_in for carton in (one, two)]
    outer = [carton_outside_in((c.length_in, c.width_in, 0.0), t) for c, t in zip((one, two), calipers, strict=True)]
    thick = max(calipers)
    # The lapped flaps lie outside the walls; two flaps close each end.
    length, width = (max(outer[0][axis], outer[1][axis]) + 2 * thick for axis in (0, 1))
    outside = (length, width, inside[2] + 2 * sum(calipers))
    strips = slotted_strips_in(outside, closure=bench.closure, own_joint=False, table=table)
    strips += [girth_strip_in(length, width, table=table)] * 2
    grades = [bench.grade(carton.grade) for carton in (one, two)]
    known = [grade for grade in grades if grade is not None]
    taken = one.height_in + two.height_in - inside[2]
    return Draft(
        style="joined",
        what=what,
        inside_in=inside,
        outside_in=outside,
        padding=way,
        turn=turn,
        container_cents=one.cost_cents + two.cost_cents,
        container_lb=carton_lb(one, bench) + carton_lb(two, bench),
        strips_in=tuple(strips),
        knife_in=4 * taken,
        grade=min(known, key=lambda grade: grade.gross_lb) if len(known) == 2 else None,
        caliper_in=thick,
        used=one.used or two.used,
        pieces=(one, two),
    )
