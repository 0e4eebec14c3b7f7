"""Cautions of a packing plan, each where it belongs: knives, lifting, restricted goods, strength, surcharges."""

from __future__ import annotations

import re

from flipkit.assumptions import Assumptions
from flipkit.items.strength import StrengthCheck
from flipkit.packing.plan import Priced
from flipkit.packing.styles import PackItem
from flipkit.rules.packaging import packaging_triggers
from flipkit.rules.packing_rules import PackingRules

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


def knife_caution(one: Priced) -> str:
    """A word on knives, where board is cut.

    Parameters
    ----------
    one : Priced
        The way to pack.

    Returns
    -------
    str
        The caution; empty where nothing is cut.
    """
    if not one.draft.knife_in:
        return ""
    return (
        f"Knife: {one.draft.knife_in / 12:.0f} ft to cut. Cut along a metal rule, away from the other hand, "
        "with a sharp blade on a board; retract it before you fold."
    )


def lifting_caution(one: Priced) -> str:
    """A word on lifting, above the limit of one person.

    Parameters
    ----------
    one : Priced
        The way to pack.

    Returns
    -------
    str
        The caution; empty where one person is enough.
    """
    lift = one.hands
    if lift.people == 1 and lift.enough:
        return ""
    text = f"Lifting: two people ({lift.why})."
    if not lift.enough:
        text += (
            f" Even two are above what they should lift together ({lift.team_limit_lb:.1f} lb): "
            "use a hand truck, slide it, or divide the load."
        )
    return text + " The equation covers lifting and setting down, not the way between."


def goods_caution(item: PackItem) -> str:
    """A word on restricted goods, from the words of the title.

    Parameters
    ----------
    item : PackItem
        The item.

    Returns
    -------
    str
        The caution; a general one where the title points at nothing.
    """
    found = [what for what, words in RESTRICTED.items() if re.search(rf"\b({words})\b", item.title, re.I)]
    if found:
        return (
            f"Restricted goods: the title points at {'; '.join(found)}. Check the carrier's and the authority's rules."
        )
    return (
        "Restricted goods: if it holds batteries, aerosols, perfume, fuel or other restricted goods, or was recalled, "
        "check the carrier's and the authority's rules first."
    )


def strength_cautions(one: Priced, check: StrengthCheck) -> list[str]:
    """Words on the carton's strength: an estimate, unknown, too large, dense contents, stacking.

    Parameters
    ----------
    one : Priced
        The way to pack.
    check : StrengthCheck
        Its strength.

    Returns
    -------
    list of str
        The cautions; always the first one where there is a carton.
    """
    if one.draft.caliper_in <= 0:
        return []
    said = ["Strength: an estimate from the board's grade, not a certificate; a used, damp or crushed carton has less."]
    if not check.grade:
        said.append("Strength: no grade can be read on this board; look for the maker's certificate or use another.")
    if one.draft.used:
        said.append("Strength: this carton has travelled before; check corners and flaps, take old labels off.")
    if check.over_united:
        said.append(
            f"Strength: {sum(one.draft.outside_in):.0f} united in are more than the {check.united_limit_in:g} in "
            f"that the carton rule covers for {check.grade}; stronger board or extra tape helps."
        )
    if check.burst_wanted and not check.burst_enough:
        said.append(
            f"Strength: if the contents are dense (metal, books), the post asks for {check.burst_wanted} lb burst."
        )
    if check.bears is False:
        said.append(
            f"Stacking: parcels like this stacked above it weigh {check.load_lb:.0f} lb; time and damp leave it about "
            f"{check.left_lb:.0f} of {check.compression_lb:.0f} lb; let the contents or corner posts carry."
        )
    elif check.out_of_scope:
        said.append(f"Stacking: no estimate, the formula does not hold ({'; '.join(check.out_of_scope)}).")
    return said


def packaging_caution(one: Priced, rules: PackingRules) -> str:
    """A word on what carriers charge extra for the outside.

    Parameters
    ----------
    one : Priced
        The way to pack.
    rules : PackingRules
        Rules in force.

    Returns
    -------
    str
        The caution; empty where nothing is triggered.
    """
    if one.draft.style == "pickup":
        return ""
    found = packaging_triggers(one.draft.packaging, one.draft.outside_in, block=rules.cartons)
    if not found:
        return ""
    return f"Packaging: private carriers charge extra handling for this outside ({'; '.join(found)})."


def board_cautions(one: Priced) -> list[str]:
    """Words on how the blanks lie: old scores across a panel, flutes that lie flat.

    Parameters
    ----------
    one : Priced
        The way to pack.

    Returns
    -------
    list of str
        The cautions.
    """
    said = []
    for use in one.nest.uses if one.nest else ():
        crossed = [
            score
            for score in use.sheet.scores_in
            if any(place.x_in < score < place.x_in + place.length_in for place in use.placements)
        ]
        if crossed:
            marks = ", ".join(f"{score:g} in" for score in crossed)
            said.append(
                f"Board: old scores of {use.sheet.name} at {marks} cross a blank; tape them flat on both sides."
            )
        if one.draft.style in ("slotted", "slotted_two") and any(place.turned for place in use.placements):
            said.append("Board: the flutes lie flat in these walls; the carton will not bear a stack.")
    return said


def cushion_caution(one: Priced, assumptions: Assumptions) -> str:
    """A word on how sure the cushioning is.

    Parameters
    ----------
    one : Priced
        The way to pack.
    assumptions : Assumptions
        Whether rough handling is reckoned with.

    Returns
    -------
    str
        The caution; empty where nothing is cushioned.
    """
    way = one.draft.padding
    if way is None or way.cushion is None:
        return ""
    rough = "rough handling" if assumptions.text("packing.rough") == "yes" else "usual handling"
    return (
        f"Cushioning: reckoned for one fall of {way.drop_in:g} in ({rough}) with a round cushion factor; "
        "a supplier's curve or a test drop says more."
    )
