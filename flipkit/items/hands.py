"""How many people a parcel takes: pick-up and carry-out against the revised lifting equation."""

from __future__ import annotations

from dataclasses import dataclass

from flipkit.assumptions import Assumptions
from flipkit.packing.lifting import WeightLimit, weight_limit
from flipkit.rules.lifting_jobs import carton_coupling, reach_in, team_limit_lb
from flipkit.rules.lifting_tables import LiftingBlock


@dataclass(frozen=True)
class Hands:
    """Who lifts a parcel, and why.

    Attributes
    ----------
    people : int
        One or two.
    limit_lb : float
        Recommended weight limit of one person: the lower of pick-up and set-down. [lb]
    team_limit_lb : float
        What two may lift together. [lb]
    lifting_index : float
        Weight / limit of one person; infinite where the parcel cannot be held close enough.
    enough : bool
        Whether these people are enough.
    hardest : str
        What lowers the limit most: horizontal, vertical, distance, asymmetry, frequency or coupling.
    why : str
        Why two, in words; empty for one.
    """

    people: int
    limit_lb: float
    team_limit_lb: float
    lifting_index: float
    enough: bool
    hardest: str
    why: str


def hands(
    sides_in: tuple[float, float, float],
    weight_lb: float,
    *,
    equation: LiftingBlock,
    assumptions: Assumptions,
    worksheet: bool = False,
) -> Hands:
    """People that a packed parcel takes to pick up and carry out.

    The parcel is held with its shortest side pointing away from the body, its longest across, and
    lifted from the packing table, or the floor if it is long, to the place of hand-over. Two
    people stand at its ends and reach no farther than assumed for a team. The equation covers the
    two lifts, not the way between them.

    Parameters
    ----------
    sides_in : tuple of float
        Outside, in any order. [in]
    weight_lb : float
        Parcel as packed. [lb]
    equation : LiftingBlock
        The lifting equation in force.
    assumptions : Assumptions
        From :func:`flipkit.assumptions.load_assumptions`.
    worksheet : bool
        Whether to work as the manual's worksheets do.

    Returns
    -------
    Hands
        One person at or below the lifting limit, two above it or for a long parcel.

    References
    ----------
    ``niosh-94-110`` and ``team-handling`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> import datetime
    >>> from flipkit.assumptions import load_assumptions
    >>> from flipkit.rules.packing_rules import packing_rules
    >>> rules = packing_rules(on=datetime.date(2026, 11, 25))
    >>> found = hands((24, 20, 18), 45.0, equation=rules.lifting, assumptions=load_assumptions())
    >>> found.people, round(found.limit_lb, 1), round(found.lifting_index, 1)
    (2, 27.0, 1.7)
    """
    away, height, front = sorted(sides_in)
    start = 0.0 if front > assumptions.number("packing.floor_over_in") else assumptions.number("packing.table_in")
    end = assumptions.number("packing.hand_over_in")
    sides = (away, height, front)
    most_reach = assumptions.number("packing.team_reach_in")

    def lower(reach: float) -> WeightLimit:
        found = (_limit(at, abs(end - start), sides, reach, equation, assumptions, worksheet) for at in (start, end))
        return min(found, key=lambda one: one.limit_lb)

    limit = lower(float("inf"))
    index = weight_lb / limit.limit_lb if limit.limit_lb > 0 else float("inf")
    most = assumptions.number("packing.lifting_index")
    long = assumptions.number("packing.long_in")
    reasons = []
    if index > most:
        reasons.append(
            f"{weight_lb:.1f} lb against a recommended limit of {limit.limit_lb:.1f} lb for one person"
            if limit.limit_lb > 0
            else f"{away:.1f} in deep, too far from the body for one person to hold"
        )
    if front > long:
        reasons.append(f"{front:.1f} in long, more than the {long:g} in that one person handles")
    people = 2 if reasons else 1
    # Only a deep parcel is out of reach: for any other the team's limit follows from the one person's.
    deep = max(reach_in(away, at, equation=equation) for at in (start, end)) > most_reach
    together = team_limit_lb((lower(most_reach) if deep else limit).limit_lb, 2, equation=equation)
    enough = weight_lb <= most * (together if people == 2 else limit.limit_lb)
    return Hands(people, limit.limit_lb, together, index, enough, limit.hardest(), " and ".join(reasons))


def _limit(
    at_in: float,
    travel_in: float,
    sides: tuple[float, float, float],
    most_reach_in: float,
    equation: LiftingBlock,
    assumptions: Assumptions,
    worksheet: bool,
) -> WeightLimit:
    away, height, front = sides
    return weight_limit(
        equation=equation,
        horizontal_in=min(reach_in(away, at_in, equation=equation), most_reach_in),
        vertical_in=at_in,
        distance_in=travel_in,
        asymmetry_deg=0.0,
        lifts_per_min=assumptions.number("packing.lifts_per_min"),
        duration="short",
        coupling=carton_coupling(front, height, equation=equation),
        worksheet=worksheet,
    )
