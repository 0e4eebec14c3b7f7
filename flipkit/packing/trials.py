"""A packing plan tried under other conditions: an inch less, another cushioning, another wage."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from flipkit.assumptions import Assumptions
from flipkit.money import show_cents
from flipkit.packing.at_hand import Stock
from flipkit.packing.plan import Labels, Plan, packing_plan
from flipkit.packing.styles import STYLES, PackItem
from flipkit.units import CM_AN_INCH

SIDES = ("length_in", "width_in", "height_in")


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

    Each side of the item an inch less, or two centimeters (a shade, a foot or a handle taken off); each cushioning
    alone; the helper packing; the helper's wage; rougher handling.
    """
    base = plan.assumptions
    off = 2 / CM_AN_INCH if base.measures.metric else 1.0
    trials = []
    for side in SIDES:
        less = getattr(plan.item, side) - off
        if less > 0:
            item = replace(plan.item, **{side: less})
            words = f"{side.removesuffix('_in')} {base.measures.span(off, spec='g')} less"
            trials.append(_trial(words, plan, item, stock, labels, base))
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
            said.append(f"{_capital(trial.what)}: nothing at hand sends it safely.")
            continue
        if trial.change_cents is None:
            change = f"it can be sent, for {show_cents(best.total_cents, currency=currency)}"
        elif trial.change_cents == 0:
            change = "the same cost"
        else:
            word = "dearer" if trial.change_cents > 0 else "cheaper"
            change = f"{show_cents(abs(trial.change_cents), currency=currency)} {word}"
        way = f"; then {STYLES[best.draft.style]}, {best.draft.what}" if trial.other_way else ", packed the same way"
        said.append(f"{_capital(trial.what)}: {change}{way}.")
    return said


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
