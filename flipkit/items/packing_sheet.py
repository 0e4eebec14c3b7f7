"""A packing plan as plain values: units in the key names, ready for JSON or a template."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from flipkit.assumptions import Assumptions
from flipkit.items.nesting import Nest
from flipkit.items.strength import StrengthCheck, strength_check
from flipkit.packing.cushioning import Padding
from flipkit.packing.plan import Priced
from flipkit.packing.styles import STYLES, PackItem, Refusal, turned
from flipkit.rules.packing_rules import PackingRules


def plan_dict(
    item: PackItem,
    best: Priced | None,
    others: Sequence[Priced],
    refusals: Sequence[Refusal],
    *,
    rules: PackingRules,
    assumptions: Assumptions,
) -> dict[str, Any]:
    """Everything that a plan says.

    Parameters
    ----------
    item : PackItem
        The item.
    best : Priced or None
        The cheapest way.
    others : sequence of Priced
        The other ways.
    refusals : sequence of Refusal
        What is not possible.
    rules : PackingRules
        Rules that were in force.
    assumptions : Assumptions
        What was assumed.

    Returns
    -------
    dict
        ``item``, ``best``, ``strength`` of the best, ``others``, ``not_possible``, ``rules`` and
        ``assumed``.
    """
    check = None if best is None else strength_check(best, rules=rules, assumptions=assumptions)
    return {
        "item": {
            "item_id": item.item_id,
            "title": item.title,
            "length_in": item.length_in,
            "width_in": item.width_in,
            "height_in": item.height_in,
            "weight_lb": item.weight_lb,
            "fragility": item.fragility,
            "value_cents": item.value_cents,
            "upright": item.upright,
        },
        "best": None if best is None else priced_dict(best, item),
        "strength": None if check is None else strength_dict(check),
        "others": [priced_dict(one, item) for one in others],
        "not_possible": [
            {"style": one.style, "style_name": STYLES[one.style], "what": one.what, "reason": one.reason}
            for one in refusals
        ],
        "rules": {
            "own_files": list(rules.own),
            **{
                name: {"dates": block.described, "sources": list(block.sources), "seen": block.seen}
                for name, block in (
                    ("lifting", rules.lifting),
                    ("cartons", rules.cartons),
                    ("board", rules.board),
                    ("cushions", rules.cushions),
                )
            },
        },
        "assumed": {
            key: {"value": entry.text(), "unit": entry.unit, "layer": entry.layer}
            for key, entry in sorted(assumptions.entries.items())
            if key.startswith("packing.") or key in ("hour.target", "help.wage", "help.burden")
        },
    }


def strength_dict(check: StrengthCheck) -> dict[str, Any]:
    """A strength check as plain values.

    Parameters
    ----------
    check : StrengthCheck
        From :func:`flipkit.items.strength.strength_check`.

    Returns
    -------
    dict
        None where something is unknown; an estimate, not a certificate.
    """
    return {
        "grade": check.grade,
        "gross_limit_lb": _known(check.gross_limit_lb),
        "united_limit_in": _known(check.united_limit_in),
        "over_united": check.over_united,
        "burst_wanted_psi": check.burst_wanted,
        "burst_enough": check.burst_enough,
        "compression_lb": _known(check.compression_lb),
        "out_of_scope": list(check.out_of_scope),
        "left_after_losses_lb": _known(check.left_lb),
        "stack_above_lb": _known(check.load_lb),
        "bears_the_stack": check.bears,
    }


def _known(value: float) -> float | None:
    return None if math.isnan(value) else _short(value)


def priced_dict(one: Priced, item: PackItem) -> dict[str, Any]:
    """One way to pack as plain values.

    Parameters
    ----------
    one : Priced
        The way.
    item : PackItem
        The item.

    Returns
    -------
    dict
        Sizes, weights, costs, minutes, hands, padding and the cut list.
    """
    draft, lift = one.draft, one.hands
    return {
        "style": draft.style,
        "style_name": STYLES[draft.style],
        "code": next((blank.code for blank in draft.blanks), "0201" if draft.pieces else ""),
        "what": draft.what,
        "total_cents": one.total_cents,
        "container_cents": one.container_cents,
        "materials_cents": one.materials_cents,
        "owner_cents": one.owner_cents,
        "helper_cents": one.helper_cents,
        "label_cents": one.label_cents,
        "expected_damage_cents": one.damage_cents,
        "inside_in": [_short(side) for side in draft.inside_in],
        "outside_in": [_short(side) for side in draft.outside_in],
        "united_in": _short(sum(draft.outside_in)),
        "gross_lb": _short(one.gross_lb),
        "billable_lb": None if math.isnan(one.billable_lb) else one.billable_lb,
        "service": one.service,
        "packaging": draft.packaging,
        "item_lies_in": [_short(side) for side in turned(item.sides_in, draft.turn)],
        "owner_min": _short(one.owner_min),
        "helper_min": _short(one.helper_min),
        "people": lift.people,
        "lifting_limit_lb": _short(lift.limit_lb),
        "lifting_index": None if math.isinf(lift.lifting_index) else _short(lift.lifting_index),
        "people_enough": lift.enough,
        "padding": _padding(draft.padding),
        "materials": [
            {"what": line.what, "quantity": _short(line.quantity), "unit": line.unit, "cost_cents": line.cents}
            for line in one.materials
        ],
        "cut_list": None if one.nest is None else nest_dict(one.nest, [blank.name for blank in draft.blanks]),
    }


def _padding(way: Padding | None) -> dict[str, Any] | None:
    if way is None:
        return None
    return {
        "cushion": way.cushion.name if way.cushion else "",
        "needed_in": _short(way.needed_in),
        "layers": way.layers,
        "thickness_in": _short(way.thickness_in),
        "clearance_in": _short(way.clearance_in),
        "fall_in": way.drop_in,
        "area_sqft": _short(way.area_sqft),
    }


def nest_dict(nest: Nest, names: Sequence[str]) -> dict[str, Any]:
    """A nest as plain values.

    Parameters
    ----------
    nest : Nest
        Blanks on sheets.
    names : sequence of str
        What the blanks become.

    Returns
    -------
    dict
        Sheets with their blanks, cuts, waste and offcut.
    """
    return {
        "cutting": nest.cutting,
        "exact": nest.exact,
        "sheets_cents": nest.cost_cents,
        "sheet_in2": _short(nest.sheet_in2),
        "waste_in2": _short(nest.waste_in2),
        "waste_share": _short(nest.waste_share),
        "least_sheet_in2": _short(nest.least_sheet_in2),
        "sheets": [
            {
                "sheet": use.sheet.name,
                "length_in": use.sheet.length_in,
                "width_in": use.sheet.width_in,
                "old_scores_in": list(use.sheet.scores_in),
                "offcut_in": [_short(side) for side in use.offcut_in],
                "blanks": [
                    {
                        "blank": names[place.blank],
                        "x_in": place.x_in,
                        "y_in": place.y_in,
                        "length_in": place.length_in,
                        "width_in": place.width_in,
                        "turned": place.turned,
                    }
                    for place in use.placements
                ],
                "cuts_in": [list(cut) for cut in use.cuts],
            }
            for use in nest.uses
        ],
    }


def _short(value: float) -> float:
    """Thousandths are finer than a tape measure; more digits are noise."""
    return round(float(value), 3)
