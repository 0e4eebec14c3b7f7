"""A packing plan in plain words, each caution at the step that needs it."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from flipkit.assumptions import Assumptions
from flipkit.errors import count_of
from flipkit.money import show_cents
from flipkit.packing.cushioning import CUIN_PER_CUFT, M_PER_IN, is_flat
from flipkit.packing.materials import PackingRules, packaging_triggers
from flipkit.packing.plan import Plan, Priced, StrengthCheck, strength_check
from flipkit.packing.styles import STYLES, PackItem, turned
from flipkit.units import SNAP, Measures

# Cautions of a packing plan, each where it belongs: knives, lifting, restricted goods, strength, surcharges.

#: Words in a title that point at goods which carriers restrict or authorities regulate.
RESTRICTED = {
    "batteries": r"batter(y|ies)|lithium|power bank|cordless|rechargeable|laptop",
    "aerosols and gas": r"aerosols?|spray can|propane|butane|lighters?|gas cylinder|camp(ing)? stove",
    "perfume, alcohol and other flammables": r"perfume|cologne|alcohol|lamp oil|kerosene|paraffin|paint|varnish",
    "magnets and radioactive dials": r"magnets?|radium|geiger",
    "mercury": r"mercury|barometer|thermometer",
    "ivory, fur and other protected species": r"ivory|tortoise ?shell|fur|coral|feathers?|taxidermy",
    "weapons and blades": r"knife|knives|sword|dagger|bayonet|ammunition|blade",
    "food": r"food|candy|preserves|tea|spices",
    "child-safety and recalled goods": r"crib|car seat|high ?chair|pram|stroller|baby|toy|toys|helmet",
}


def knife_caution(one: Priced, said: Measures) -> str:
    """A word on knives, where board is cut."""
    if not one.draft.knife_in:
        return ""
    return (
        f"Knife: {_cut_length(one.draft.knife_in, said)} to cut. Cut along a metal rule, away from the other hand, "
        "with a sharp blade on a board; retract it before you fold."
    )


def _cut_length(value_in: float, said: Measures) -> str:
    return f"{value_in * M_PER_IN:.1f} m" if said.metric else f"{value_in / 12:.0f} ft"


def lifting_caution(one: Priced, said: Measures) -> str:
    """A word on lifting, above the limit of one person."""
    lift = one.hands
    if lift.people == 1 and lift.enough:
        return ""
    text = f"Lifting: two people ({lift.why})."
    if not lift.enough:
        text += (
            f" Even two people should not lift this together (their limit is {said.mass(lift.team_limit_lb)}): "
            "use a hand truck, slide it, or divide the load."
        )
    return text + " This covers lifting and setting down, not carrying."


def goods_caution(item: PackItem) -> str:
    """A word on restricted goods, from the words of the title."""
    found = [what for what, words in RESTRICTED.items() if re.search(rf"\b({words})\b", item.title, re.I)]
    if found:
        named = " and ".join(found)
        return f"Restricted goods: the title suggests {named}. Check the carrier's and the authority's rules."
    return (
        "Restricted goods: if it holds batteries, aerosols, perfume, fuel or other restricted goods, or was recalled, "
        "check the carrier's and the authority's rules first."
    )


def strength_cautions(one: Priced, check: StrengthCheck, measures: Measures) -> list[str]:
    """Words on the carton's strength: an estimate, unknown, too large, dense contents, stacking."""
    if one.draft.caliper_in <= 0:
        return []
    said = [
        "Strength: an estimate from the board's grade, not a certificate. A used, damp or crushed carton is weaker."
    ]
    if not check.grade:
        said.append(
            "Strength: no grade can be read on this board. Look for the maker's certificate, or use another carton."
        )
    if one.draft.used:
        said.append("Strength: this carton has travelled before. Check its corners and flaps, and take old labels off.")
    if check.over_united:
        said.append(
            f"Strength: {measures.united(sum(one.draft.outside_in), spec='.0f')} are more than the "
            f"{measures.span(check.united_limit_in or 0, spec='g')} that the carton rule covers for {check.grade}. "
            "Stronger board or extra tape helps."
        )
    if check.burst_wanted_psi and not check.burst_enough:
        said.append(
            f"Strength: if the contents are dense (metal, books), the post asks for "
            f"{_burst(check.burst_wanted_psi, measures)} burst."
        )
    if check.bears_the_stack is False:
        said.append(
            f"Stacking: parcels like this on top of it weigh {measures.mass(check.stack_above_lb, spec='.0f')}. Time "
            f"and damp leave it about {measures.mass(check.left_after_losses_lb, spec='.0f')} of "
            f"{measures.mass(check.compression_lb, spec='.0f')}, so let the contents or corner posts carry the load."
        )
    elif check.out_of_scope:
        said.append(f"Stacking: no estimate, because the formula does not fit ({'; '.join(check.out_of_scope)}).")
    return said


def _burst(value_lb: float, said: Measures) -> str:
    """A burst strength: pounds a square inch, or kilopascals."""
    return f"{value_lb * 6.894757:,.0f} kPa" if said.metric else f"{value_lb} lb"


def packaging_caution(one: Priced, rules: PackingRules) -> str:
    """A word on what carriers charge extra for the outside."""
    if one.draft.style == "pickup":
        return ""
    found = packaging_triggers(one.draft.packaging, one.draft.outside_in, block=rules.cartons)
    if not found:
        return ""
    return f"Packaging: private carriers charge extra handling for this outside ({'; '.join(found)})."


def board_cautions(one: Priced, measures: Measures) -> list[str]:
    """Words on how the blanks lie: old scores across a panel, flutes that lie flat."""
    said = []
    for use in one.nest.uses if one.nest else ():
        crossed = [
            score
            for score in use.sheet.scores_in
            if any(place.x_in < score < place.x_in + place.length_in for place in use.placements)
        ]
        if crossed:
            marks = ", ".join(measures.span(score, spec="g") for score in crossed)
            said.append(
                f"Board: old scores of {use.sheet.name} at {marks} cross a blank. Tape them flat on both sides."
            )
        if one.draft.style in ("slotted", "slotted_two") and any(place.turned for place in use.placements):
            said.append("Board: the flutes lie flat in these walls, so the carton will not bear a stack.")
    return said


def chance_words(one: Priced) -> str:
    """The chance of damage as a seller counts it."""
    return f"{one.chance:.0%} of" if one.chance >= 0.01 else f"1 in {1 / one.chance:.0f}" if one.chance else "none of"


def cushion_caution(one: Priced, assumptions: Assumptions) -> str:
    """A word on how sure the cushioning is."""
    way = one.draft.padding
    if way is None or way.cushion is None:
        return ""
    rough = "rough handling" if assumptions.text("packing.rough") == "yes" else "usual handling"
    return (
        f"Cushioning: calculated for one fall of {assumptions.measures.span(max(way.falls_in), spec='g')} ({rough}) "
        f"with a rounded cushion factor. About {chance_words(one)} such parcels would break. A supplier's curve or a "
        "test drop tells more."
    )


# A packing plan in plain words, step by step, with each caution where it belongs.

CAUTION = "Caution. "
#: How a container is set up, by style.
_SET_UP = {
    "stock": "Set it up and tape the bottom.",
    "cut_down": "Fold the new flaps along the new scores, and tape the bottom before you fill it.",
    "slotted": "Fold it, tape the joint from end to end, then the bottom.",
    "slotted_two": "Fold both halves, tape their two joints from end to end, then the bottom.",
    "telescope": "Fold up both trays, tape their corner tabs, and slide the lid over the base.",
    "five_panel": "Fold it around, the fifth panel over the first, then the end flaps inward, the widest last.",
    "folded_wrap": "Fold the ends up, then the sides over them until they meet on top.",
    "joined": "Open both mouths, lap the flaps of one over the walls of the other, and tape twice around.",
    "tube": "Cap both ends and tape around the caps.",
    "bag": "Slide it in and close the flap.",
    "sandwich": "Lay it between the two faces, put the edge protectors over all four edges, and tape around them.",
    "wrapped": "Wind the film around every side, and put the label where it holds.",
}


def plan_reading(plan: Plan) -> list[str]:
    """What to do, why, and what to look out for."""
    currency = plan.assumptions.currency
    best = plan.best
    if best is None:
        return [
            decision(plan, currency=currency)[1],
            *_nearest(plan),
            CAUTION + goods_caution(plan.item),
        ]
    said = [decision(plan, currency=currency)[1], _headline(plan, best, currency)]
    said.append(_shape_question(plan))
    said += _steps(plan, best)
    said.append(_costs(best, currency))
    if plan.others:
        said.append(_next_best(best, plan.others[0], currency))
    said.append(_cautioned(goods_caution(plan.item)))
    return [line for line in said if line]


#: What to do with a thing that is not worth shipping; taking apart with its caution.
_INSTEAD = (
    "Let the buyer collect it, ask a licensed freight carrier, sell it locally, take it apart if it was made to come "
    "apart (keep the screws in a bag tied to it, and photograph each step), or do not buy it."
)


def decision(plan: Plan, *, currency: str = "USD") -> tuple[bool, str]:
    """Whether to ship it, and the answer in one line."""
    best = plan.best
    if best is None:
        return False, f"No: nothing you have packs it so that a carrier takes it. {_INSTEAD}"
    if best.draft.style == "pickup":
        return True, "Let the buyer collect it."
    spent, value = best.total_cents - best.damage_cents, plan.item.value_cents
    costs, worth = show_cents(spent, currency=currency), show_cents(value, currency=currency)
    most = plan.assumptions.share("packing.most_share")
    if spent > most * value:
        return False, f"No: packing and shipping it takes {costs}, and it is worth {worth}. {_INSTEAD}"
    if best.chance > plan.assumptions.share("packing.most_chance"):
        return False, f"No: even packed the best way, {best.chance:.0%} of such parcels would break. {_INSTEAD}"
    return True, f"Post it: {costs} to pack and post, {spent / value:.0%} of the {worth} that it is worth."


#: A long or flat thing lighter than this for the box around it may be an L, most of that box empty. [lb/cu ft, in]
_LIGHT_LB_PER_CUFT = 6.0
_LONG_ENOUGH_IN = 24.0


def _shape_question(plan: Plan) -> str:
    """Asks whether a thing is shaped like an L, where it is light for its size."""
    item, measures = plan.item, plan.assumptions.measures
    light = item.weight_lb < _LIGHT_LB_PER_CUFT * math.prod(item.sides_in) / CUIN_PER_CUFT
    if any(item.notch_in) or item.round_section or not light or max(item.sides_in) < _LONG_ENOUGH_IN:
        return ""
    half = measures.span(*(side / 2 for side in item.sides_in[:2]), item.height_in, spec="g").replace(" ", "")
    return f"Is it shaped like an L? Then say how large the empty corner of its box is, such as --notch {half}."


def _nearest(plan: Plan) -> list[str]:
    """The nearest miss of each style, with how many more there are."""
    said = []
    for style, name in STYLES.items():
        found = sorted(refusal for refusal in plan.refusals if refusal.style == style)
        if found:
            more = f" ({len(found) - 1} more are no nearer)" if len(found) > 1 else ""
            said.append(f"{name.capitalize()}, {found[0].what}: {found[0].reason}{more}.")
    return said


def _cautioned(text: str) -> str:
    return CAUTION + text if text else ""


def _headline(plan: Plan, best: Priced, currency: str) -> str:
    item, measures = plan.item, plan.assumptions.measures
    if best.draft.style == "pickup":
        return f"{item.title}: let the buyer collect it, {show_cents(best.total_cents, currency=currency)} of work."
    billed = "" if best.billable_lb != best.billable_lb else f", billed as {measures.mass(best.billable_lb, spec='g')}"
    service = f" by {best.service}" if best.service else ""
    money = show_cents(best.total_cents, currency=currency)
    return (
        f"{item.title}: {STYLES[best.draft.style]}, {best.draft.what}; {measures.span(*best.draft.outside_in)} "
        f"outside, {measures.mass(best.gross_lb)} packed{billed}{service}. It costs {money} in all."
    )


def _steps(plan: Plan, best: Priced) -> list[str]:
    draft, way, measures = best.draft, best.draft.padding, plan.assumptions.measures
    check = strength_check(best, rules=plan.rules, assumptions=plan.assumptions)
    said = []
    if best.nest is not None:
        said += _cutting(best, measures)
        said.append(_cautioned(knife_caution(best, measures)))
        said += [_cautioned(text) for text in board_cautions(best, measures)]
    elif draft.style == "cut_down":
        was = draft.pieces[0].height_in
        said.append(
            f"Slit its corners down, score it anew and trim the flaps: inside height from "
            f"{measures.span(was, spec='g') if measures.metric else f'{was:g}'} to {measures.span(draft.inside_in[2])}."
        )
        said.append(_cautioned(knife_caution(best, measures)))
    elif draft.knife_in:
        said.append(f"Cut it to {measures.span(draft.inside_in[2 if draft.style == 'joined' else 0])} inside.")
        said.append(_cautioned(knife_caution(best, measures)))
    if way is not None and way.cushion is not None:
        said.append(_padded(plan, best))
        said.append(_cautioned(cushion_caution(best, plan.assumptions)))
        said.append(_cautioned(clearance_caution(plan, best)))
    if any(plan.item.notch_in) and draft.style != "pickup":
        said.append(
            f"Fill the empty corner, {measures.span(*plan.item.notch_in, spec='g')}, before anything else: both arms "
            "rest on it, and an arm that hangs free breaks where they meet."
        )
    if way is not None and draft.style not in ("bag", "wrapped", "sandwich"):
        lies = turned(plan.item.sides_in, draft.turn)
        fill = _filled(draft.fill_cuft, measures)
        said.append(f"Lay it {measures.span(*lies)} as length, width and height{fill}.")
    if draft.style in _SET_UP:
        metres = sum(draft.strips_in) * M_PER_IN
        tape = f" Tape: {len(draft.strips_in)} strips, {metres:.1f} m." if draft.strips_in else ""
        said.append(_SET_UP[draft.style] + tape)
    said += [_cautioned(text) for text in strength_cautions(best, check, measures)]
    said.append(_cautioned(packaging_caution(best, plan.rules)))
    said.append(_cautioned(lifting_caution(best, measures)))
    return said


def _padded(plan: Plan, best: Priced) -> str:
    """What goes where on the thing."""
    way = best.draft.padding
    if way is None or way.cushion is None:
        return ""
    name, one = way.cushion.name, way.cushion.thickness_in

    def some(layers: int) -> str:
        thick = plan.assumptions.measures.span(layers * one, spec="g")
        return f"{count_of(layers, 'layer')} of {name} ({thick})"

    if way.edges == way.faces:
        return f"Pad every side with {some(way.faces)}."
    where, other = ("all four edges", "both faces") if is_flat(plan.item.sides_in) else ("both ends", "the long sides")
    start = f"Pad {where} with {some(way.edges)}"
    if not way.faces:
        return f"{start}. {other[0].upper()}{other[1:]} touch the board."
    return f"{start} and {other} with {some(way.faces)}."


def clearance_caution(plan: Plan, best: Priced) -> str:
    """A word where an insurer's least clearance is not kept."""
    way = best.draft.padding
    least = plan.rules.cushions.fragility_class(plan.item.fragility).clearance_in
    lies = turned(plan.item.sides_in, best.draft.turn)
    room = min((inside - side) / 2 for inside, side in zip(best.draft.inside_in, lies, strict=True))
    if way is None or room >= least - SNAP:
        return ""
    measures = plan.assumptions.measures
    return (
        f"Clearance: {measures.span(room)} to the nearest wall. An insurer's rules ask for "
        f"{measures.span(least, spec='g')} for such a thing, and may refuse a claim. Declare less, or pad more."
    )


def _filled(value_cuft: float, measures: Measures) -> str:
    room = measures.hollow(value_cuft) if measures.metric else f"{value_cuft * CUIN_PER_CUFT:.0f} cu in"
    return f", fill {room} around it" if value_cuft > 0 else ""


def _cutting(best: Priced, measures: Measures) -> list[str]:
    if best.nest is None:
        return []
    blanks = " and ".join(
        f"a blank of {measures.span(blank.length_in, blank.width_in, spec='.2f')}"
        + (f" ({blank.code})" if blank.code else "")
        for blank in best.draft.blanks
    )
    sheets = ", ".join(use.sheet.name for use in best.nest.uses)
    offcut = max((use.offcut_in for use in best.nest.uses), key=lambda sides: sides[0] * sides[1])
    protectors = ""
    if best.draft.edge_in2:
        outside = best.draft.outside_in
        protectors = (
            f" Cut strips for {_cut_length(2 * (outside[0] + outside[1]), measures)} of edge protectors from "
            f"{'a further sheet' if best.edge_sheet else 'the rest'} and fold them around the edges."
        )
    return [
        f"Cut {blanks} from {sheets}; {best.nest.waste_share:.0%} of the board is left, the largest piece "
        f"{measures.span(*offcut)}.{protectors}"
    ]


def _costs(best: Priced, currency: str) -> str:
    parts = {
        "container": best.container_cents,
        "materials": best.materials_cents,
        "label": best.label_cents,
        "average damage": best.damage_cents,
        f"{best.owner_min:.0f} min of yours": best.owner_cents,
        f"{best.helper_min:.0f} min of help": best.helper_cents,
    }
    listed = ", ".join(f"{name} {show_cents(cents, currency=currency)}" for name, cents in parts.items() if cents)
    return f"Of that: {listed}." if listed else ""


def _next_best(best: Priced, other: Priced, currency: str) -> str:
    more = show_cents(other.total_cents - best.total_cents, currency=currency)
    return f"Next best: {STYLES[other.draft.style]}, {other.draft.what}, {more} more expensive."


def trade_lines(ways: Sequence[Priced], best: Priced, *, currency: str, measures: Measures) -> list[str]:
    """A table of what each thickness of padding costs and saves."""
    rows = [["pad, faces/edges", "outside", "billed", "label", "materials", "minutes", "damage", "its cost", "in all"]]
    for one in ways:
        way = one.draft.padding
        if way is None or way.cushion is None:
            continue
        pad = "/".join(measures.span(layers * way.cushion.thickness_in, spec="g") for layers in (way.faces, way.edges))
        money = [one.label_cents, one.container_cents + one.materials_cents]
        rows.append(
            [
                pad + (" *" if one.total_cents == best.total_cents else ""),
                measures.span(*one.draft.outside_in),
                "–" if one.billable_lb != one.billable_lb else measures.mass(one.billable_lb, spec="g"),
                *(show_cents(cents, currency=currency) for cents in money),
                f"{one.owner_min + one.helper_min:.0f}",
                f"{one.chance:.1%}",
                show_cents(one.damage_cents, currency=currency),
                show_cents(one.total_cents, currency=currency),
            ]
        )
    wide = [max(len(row[at]) for row in rows) for at in range(len(rows[0]))]
    return ["  ".join(text.ljust(room) for text, room in zip(row, wide, strict=True)).rstrip() for row in rows]
