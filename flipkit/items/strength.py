"""What a packed carton's strength allows: the carton rule, compression, the stack above it."""

from __future__ import annotations

from dataclasses import dataclass

from flipkit.assumptions import Assumptions
from flipkit.packing.materials import dense_burst, gross_limit_lb
from flipkit.packing.plan import Priced
from flipkit.rules.compression import box_compression_lb, compression_scope, stacking_load_lb
from flipkit.rules.packing_rules import PackingRules


@dataclass(frozen=True)
class StrengthCheck:
    """A carton against the rule and against its own kind stacked on it.

    Attributes
    ----------
    grade : str
        Its strength in words; empty where unknown or where it is no carton.
    gross_limit_lb, united_limit_in : float
        Most by the carton rule; NaN where unknown. [lb, in]
    over_united : bool
        Whether it is larger than the rule covers.
    burst_wanted : int
        Burst strength that the post asks for if the contents are dense; 0 for none. [lb/sq in]
    burst_enough : bool
        Whether it has that.
    compression_lb : float
        By the simplified McKee formula; NaN where unknown. [lb]
    out_of_scope : tuple of str
        Why that formula does not hold for this carton; empty where it does.
    left_lb : float
        What time and damp leave of it. [lb]
    load_lb : float
        Parcels of its own kind stacked above it to the assumed height. [lb]
    bears : bool or None
        Whether what is left bears that load; None where unknown.
    """

    grade: str
    gross_limit_lb: float
    united_limit_in: float
    over_united: bool
    burst_wanted: int
    burst_enough: bool
    compression_lb: float
    out_of_scope: tuple[str, ...]
    left_lb: float
    load_lb: float
    bears: bool | None


def strength_check(one: Priced, *, rules: PackingRules, assumptions: Assumptions) -> StrengthCheck:
    """A way of packing against the carton rule and the stacking estimate.

    Parameters
    ----------
    one : Priced
        The way.
    rules : PackingRules
        Rules in force.
    assumptions : Assumptions
        Which rule counts, how high parcels are stacked and what weakens a carton.

    Returns
    -------
    StrengthCheck
        An estimate, never a certificate.

    References
    ----------
    ``item-222``, ``usps-publication-2``, ``mckee-1963`` and ``compression-losses`` in
    ``rules/data/sources.toml``.
    """
    draft, grade, nan = one.draft, one.draft.grade, float("nan")
    wanted = dense_burst(one.gross_lb, block=rules.cartons)
    above = max(int(assumptions.number("packing.stack_in") // draft.outside_in[2]) - 1, 0)
    load = above * one.gross_lb
    if grade is None:
        return StrengthCheck("", nan, nan, False, wanted, False, nan, (), nan, load, None)
    strength = assumptions.text("packing.strength")
    limit = gross_limit_lb(grade, strength=strength, block=rules.cartons)  # type: ignore[arg-type]
    over = sum(draft.outside_in) > grade.united_in
    if grade.ect is None or draft.caliper_in <= 0:
        return StrengthCheck(
            grade.text, limit, grade.united_in, over, wanted, grade.burst >= wanted, nan, (), nan, load, None
        )
    length, width, depth = draft.inside_in
    turned = one.nest is not None and any(place.turned for use in one.nest.uses for place in use.placements)
    scope = compression_scope(
        length,
        width,
        depth,
        slotted=draft.style in ("stock", "cut_down", "slotted"),
        flutes_upright=not turned,
        block=rules.cartons,
    )
    compression = box_compression_lb(
        length, width, ect_lb_per_in=grade.ect, caliper_in=draft.caliper_in, block=rules.cartons
    )
    causes = [cause.strip() for cause in assumptions.text("packing.stack_losses").split(",") if cause.strip()]
    left = stacking_load_lb(compression, causes=causes, block=rules.cartons)
    return StrengthCheck(
        grade=grade.text,
        gross_limit_lb=limit,
        united_limit_in=grade.united_in,
        over_united=over,
        burst_wanted=wanted,
        burst_enough=grade.burst >= wanted,
        compression_lb=compression,
        out_of_scope=tuple(scope),
        left_lb=left,
        load_lb=load,
        bears=None if scope else left >= load,
    )
