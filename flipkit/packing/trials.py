"""A packing plan tried under other conditions: other padding, a step of the label, another cushioning, another wage."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from flipkit.assumptions import Assumptions
from flipkit.money import percentage, show_cents
from flipkit.packing.at_hand import Stock
from flipkit.packing.plan import Labels, Plan, Priced, packing_plan
from flipkit.packing.styles import STYLES, PackItem, chance_ppm, way_of
from flipkit.units import SNAP


@dataclass(frozen=True)
class PadStep:
    """A step of the label that a little less padding or room gets under."""

    axis: int  # of the parcel as it is packed: length, width, height
    less_in: float
    billable_lb: float
    was_lb: float
    saves_cents: int  # damage that it adds taken off


def padding_trade(plan: Plan, stock: Stock, *, labels: Labels) -> list[Priced]:
    """The cheapest plan at each thickness of the chosen cushioning, from none to two layers more."""
    best = plan.best
    if best is None or best.draft.padding is None or best.draft.padding.cushion is None:
        return []
    chosen = best.draft.padding
    more = chosen.edges - chosen.faces
    found = []
    for faces in range(-more, chosen.faces + 3):
        way = way_of(
            plan.item, chosen.cushion, max(faces, 0), faces + more, rules=plan.rules, assumptions=plan.assumptions
        )
        made = packing_plan(
            plan.item, stock, labels=labels, rules=plan.rules, assumptions=plan.assumptions, ways=[way]
        ).best
        if made is not None:
            found.append(made)
    return found


def pad_step(plan: Plan, *, labels: Labels) -> PadStep | None:
    """The step that pays most, looked for in the padding and the carton's room; never in the item."""
    best = plan.best
    if best is None or best.draft.padding is None or best.draft.style in ("pickup", "bag", "tube"):
        return None
    draft, way = best.draft, best.draft.padding
    spare = [draft.inside_in[axis] - plan.item.sides_in[draft.turn[axis]] for axis in range(3)]
    tried = [
        (axis, round(step * _TENTH, 6))
        for axis in range(3)
        for step in range(1, math.floor(min(spare[axis], _MOST_OFF_IN) / _TENTH + SNAP) + 1)
    ]
    if not tried:
        return None
    sides = np.array([draft.outside_in] * len(tried))
    for row, (axis, less) in enumerate(tried):
        sides[row, axis] -= less
    weights = np.full(len(tried), best.gross_lb)
    kinds = np.full(len(tried), draft.packaging, dtype=object), np.full(len(tried), draft.nonrectangular)
    found = labels(sides[:, 0], sides[:, 1], sides[:, 2], weights, *kinds)
    steps = []
    for row, (axis, less) in enumerate(tried):
        if found.refused[row]:
            continue
        at = draft.turn[axis]
        room = spare[axis] - 2 * way.pad_in[at]
        thin = max(less - max(room, 0.0), 0.0)
        share = 1 - thin / spare[axis]
        give = tuple(one * share if other == at else one for other, one in enumerate(way.give_in))
        less_pad = replace(way, give_in=give)  # type: ignore[arg-type]
        thinner = chance_ppm(draft.style, less_pad, plan.item, plan.rules, plan.assumptions)
        damage = int(percentage(plan.item.value_cents, thinner)) - best.damage_cents
        saves = best.label_cents - int(found.cents[row]) - damage
        steps.append(PadStep(axis, less, float(found.billable_lb[row]), best.billable_lb, saves))
    worth = [step for step in steps if step.saves_cents >= _WORTH_CENTS]
    return max(worth, key=lambda step: (step.saves_cents, -step.less_in), default=None)


_TENTH = 0.1
#: Most that is looked for off one side, and least that is worth telling. [in, cents]
_MOST_OFF_IN = 2.0
_WORTH_CENTS = 100


@dataclass(frozen=True)
class Trial:
    """The plan under one other condition."""

    what: str
    plan: Plan
    total_cents: int | None
    change_cents: int | None
    other_way: bool

    def as_dict(self) -> dict[str, Any]:
        """The trial as plain values with units in the key names."""
        best = self.plan.best
        cushion = best.draft.padding.cushion if best and best.draft.padding else None
        return {
            "what": self.what,
            "total_cents": self.total_cents,
            "change_cents": self.change_cents,
            "other_way": self.other_way,
            "style_name": STYLES[best.draft.style] if best else "",
            "container": best.draft.what if best else "",
            "cushion": cushion.name if cushion else "",
        }


def packing_trials(
    plan: Plan,
    stock: Stock,
    *,
    labels: Labels,
    wages: Mapping[str, str] | None = None,
) -> list[Trial]:
    """How a plan changes when one thing is otherwise, each thing alone.

    Each cushioning alone; the helper packing; the helper's wage; rougher handling.
    """
    base = plan.assumptions
    trials = []
    if len(stock.cushions) > 1:
        for cushion in stock.cushions:
            only = replace(stock, cushions=(cushion,))
            trials.append(_trial(f"only {cushion.name}", plan, plan.item, only, labels, base))
    other = "helper" if base.text("packing.packer") == "owner" else "owner"
    changes: dict[str, dict[str, Any]] = {f"the {other} packs": {"packing.packer": other}}
    now = base.cents("help.wage")
    for name, wage in (wages or _near(now, base.currency)).items():
        changes[name] = {"help.wage": wage}
    if base.text("packing.rough") == "no":
        changes["rough handling"] = {"packing.rough": "yes"}
    for name, change in changes.items():
        assumptions = base.changed(change, currency=base.currency)
        trials.append(_trial(name, plan, plan.item, stock, labels, assumptions))
    return trials


def _near(now_cents: int, currency: str) -> dict[str, str]:
    wages = (now_cents * 3 // 4, now_cents * 3 // 2)
    return {
        f"helper at {show_cents(wage, currency=currency)} an hour": f"{wage // 100}.{wage % 100:02d}" for wage in wages
    }


def _trial(what: str, plan: Plan, item: PackItem, stock: Stock, labels: Labels, assumptions: Assumptions) -> Trial:
    found = packing_plan(item, stock, labels=labels, rules=plan.rules, assumptions=assumptions)
    was, now = plan.best, found.best
    total = now.total_cents if now else None
    change = now.total_cents - was.total_cents if now and was else None
    return Trial(what, found, total, change, _way(found) != _way(plan))


def _way(plan: Plan) -> tuple[str, str, str]:
    if plan.best is None:
        return ("", "", "")
    draft = plan.best.draft
    cushion = draft.padding.cushion if draft.padding else None
    return (draft.style, draft.what, cushion.name if cushion else "")


def trials_reading(trials: list[Trial]) -> list[str]:
    """The trials in plain words."""
    currency = trials[0].plan.assumptions.currency if trials else ""
    said = []
    for trial in trials:
        best = trial.plan.best
        if best is None:
            said.append(f"{_capital(trial.what)}: nothing you have sends it safely.")
            continue
        if trial.change_cents is None:
            change = f"it can be sent, for {show_cents(best.total_cents, currency=currency)}"
        elif trial.change_cents == 0:
            change = "the same cost"
        else:
            word = "more" if trial.change_cents > 0 else "less"
            change = f"{show_cents(abs(trial.change_cents), currency=currency)} {word}"
        way = f"; then {STYLES[best.draft.style]}, {best.draft.what}" if trial.other_way else ", packed the same way"
        said.append(f"{_capital(trial.what)}: {change}{way}.")
    return said


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
