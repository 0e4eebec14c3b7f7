"""Drafts without a carton: tube, padded bag, stretch wrap alone, and the buyer who comes to collect."""

from __future__ import annotations

import math
from collections.abc import Iterator

from flipkit.packing.at_hand import Tube
from flipkit.packing.cushioning import CUIN_PER_CUFT, Padding, stretch_wrap_sqft
from flipkit.packing.styles import Bench, Draft, Refusal, turned
from flipkit.units import SNAP


def tube_drafts(bench: Bench) -> Iterator[Draft | Refusal]:
    """Each tube as it is and cut to length, the item along its axis.

    A round or rolled item fills the circle of its thicker side; any other the circle around its
    cross-section.

    Parameters
    ----------
    bench : Bench
        Item, stock, rules.

    Returns
    -------
    iterator of Draft or Refusal
        What fits, and why the rest does not.
    """
    least = bench.assumptions.number("packing.least_cut_in")
    for tube in bench.stock.tubes:
        if tube.quantity < 1:
            yield Refusal(0.0, "tube", tube.name, "none left")
            continue
        if bench.item.upright:
            yield Refusal(0.0, "tube", tube.name, "the item must stay upright")
            continue
        for way in bench.paddings:
            for turn in bench.turns():
                long, one, two = turned(way.needs_in, turn)
                across = _circle_in(bench, (one, two), turn)
                short = max(long - tube.length_in, across - tube.inside_in)
                if short > SNAP:
                    reason = (
                        f"needs {across:.1f} in across and {long:.1f} in of length, "
                        f"has {tube.inside_in:g} and {tube.length_in:g} in"
                    )
                    yield Refusal(short, "tube", tube.name, reason)
                    continue
                yield _tube(bench, tube, way, turn, tube.length_in)
                if tube.length_in - long >= least - SNAP:
                    yield _tube(bench, tube, way, turn, long)


def _circle_in(bench: Bench, section: tuple[float, float], turn: tuple[int, int, int]) -> float:
    item = bench.item
    longest = max(item.sides_in)
    if item.round_section and item.sides_in[turn[0]] >= longest - SNAP:
        return max(section)
    return math.hypot(*section)


def _tube(bench: Bench, tube: Tube, way: Padding, turn: tuple[int, int, int], length: float) -> Draft:
    outside = tube.inside_in + 2 * tube.wall_in
    wrapped = turned(way.wrapped_in, turn)
    solid = math.prod(wrapped)
    if bench.item.round_section:
        solid *= math.pi / 4
    hollow = max(length * math.pi / 4 * tube.inside_in**2 - solid, 0.0) / CUIN_PER_CUFT
    more = 2 * bench.rules.cushions.tape_past_edge_in
    cap = math.pi * outside + more
    return Draft(
        style="tube",
        what=tube.name,
        inside_in=(length, tube.inside_in, tube.inside_in),
        outside_in=(length + 2 * tube.wall_in, outside, outside),
        padding=way,
        turn=turn,
        container_cents=tube.cost_cents,
        container_lb=length / 12 * tube.lb_per_ft,
        fill_cuft=hollow,
        strips_in=(cap, cap),
        knife_in=math.pi * outside if length < tube.length_in else 0.0,
        packaging="cylinder",
        nonrectangular=True,
        most_lb=tube.most_lb,
    )


def bag_drafts(bench: Bench) -> Iterator[Draft | Refusal]:
    """Each padded bag, for what does not break: width + height and length + height must go in.

    Filled, a bag is as much shorter and narrower than flat as it is thick.

    Parameters
    ----------
    bench : Bench
        Item, stock, rules.

    Returns
    -------
    iterator of Draft or Refusal
        What fits, and why the rest does not.

    References
    ----------
    ``wrap-sheets`` in ``rules/data/sources.toml``, for the flat size of a cover.
    """
    allowed = [word.strip() for word in bench.assumptions.text("packing.bag_for").split(",")]
    ease = bench.assumptions.number("packing.bag_ease_in")
    thickest = bench.assumptions.number("packing.bag_height_in")
    for bag in bench.stock.bags:
        if bag.quantity < 1:
            yield Refusal(0.0, "bag", bag.name, "none left")
            continue
        if bench.item.fragility not in allowed:
            yield Refusal(0.0, "bag", bag.name, f"a {bench.item.fragility} item is not sent in a padded bag")
            continue
        if bench.item.upright:
            yield Refusal(0.0, "bag", bag.name, "the item must stay upright")
            continue
        for way in bench.paddings:
            turn = tuple(sorted(range(3), key=lambda axis: -way.wrapped_in[axis]))
            long, wide, high = turned(way.wrapped_in, turn)  # type: ignore[arg-type]
            short = max(high - thickest, wide + high + ease - bag.width_in, long + high + ease - bag.length_in)
            if high > thickest + SNAP:
                yield Refusal(short, "bag", bag.name, f"{high:.1f} in thick, a bag takes up to {thickest:g} in")
            elif short > SNAP:
                reason = (
                    f"needs {wide + high + ease:.1f} x {long + high + ease:.1f} in flat, "
                    f"has {bag.width_in:g} x {bag.length_in:g} in"
                )
                yield Refusal(short, "bag", bag.name, reason)
            else:
                yield Draft(
                    style="bag",
                    what=bag.name,
                    inside_in=(long, wide, high),
                    outside_in=(
                        max(long + 2 * bag.pad_in, bag.length_in - high),
                        max(wide + 2 * bag.pad_in, bag.width_in - high),
                        high + 2 * bag.pad_in,
                    ),
                    padding=way,
                    turn=turn,  # type: ignore[arg-type]
                    container_cents=bag.cost_cents,
                    container_lb=bag.weight_lb,
                    strips_in=(bag.width_in,),
                    packaging="soft pack",
                    most_lb=bag.most_lb,
                )


def wrapped_drafts(bench: Bench) -> Iterator[Draft | Refusal]:
    """The padded item in stretch wrap alone, for what does not break; carriers charge extra for it.

    Parameters
    ----------
    bench : Bench
        Item, stock, rules.

    Returns
    -------
    iterator of Draft or Refusal
        One draft a way to pad, or why not.
    """
    film = bench.stock.stretch
    if film is None:
        yield Refusal(0.0, "wrapped", "stretch wrap", "no stretch wrap in stock")
        return
    allowed = [word.strip() for word in bench.assumptions.text("packing.film_for").split(",")]
    if bench.item.fragility not in allowed:
        yield Refusal(0.0, "wrapped", film.name, f"a {bench.item.fragility} item is not sent without a carton")
        return
    turns = bench.assumptions.number("packing.film_turns")
    for way in bench.paddings:
        sides = way.wrapped_in
        yield Draft(
            style="wrapped",
            what=film.name,
            inside_in=sides,
            outside_in=sides,
            padding=way,
            turn=(0, 1, 2),
            film_sqft=stretch_wrap_sqft(sides, turns=turns),
            packaging="shrink wrap",
        )


def pickup_drafts(bench: Bench) -> Iterator[Draft | Refusal]:
    """The buyer collects: no carton, no label.

    Parameters
    ----------
    bench : Bench
        Item, stock, rules.

    Returns
    -------
    iterator of Draft or Refusal
        One of either.
    """
    if bench.item.pickup:
        sides = bench.item.sides_in
        yield Draft("pickup", "the buyer collects", sides, sides, None, (0, 1, 2))
    else:
        yield Refusal(0.0, "pickup", "the buyer collects", "the buyer does not come")
