"""What the highest price worth paying hangs on, and whether a thing is worth more in parts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np

from flipkit.analysis.demand import Demand
from flipkit.analysis.max_bid import Answer, Question, highest_price
from flipkit.errors import AssumptionError


class Driver(NamedTuple):
    """One input moved down and up, and the highest price then. [cents]"""

    name: str
    moved: str
    low_cents: int
    high_cents: int


def drivers(asked: Question) -> list[Driver]:
    """What the highest price hangs on: each input moved down and up, the widest first.

    Parameters
    ----------
    asked : Question
        The thing.

    Returns
    -------
    list of Driver
        One an input.

    Examples
    --------
    See ``tests/analysis/test_buying.py``.
    """
    terms = asked.terms
    price = max(asked.price_error, 0.05)
    pace = max(asked.pace_error, 0.2)

    def moved(name: str, **change: Any) -> Question:
        return replace(asked, **change) if name == "question" else replace(asked, terms=replace(terms, **change))

    def paced(factor: float) -> Question:
        demand = asked.demand
        faster = Demand(demand.log_rate + np.log(factor), demand.pull, demand.weekly, demand.offers)
        return moved("question", demand=faster, pace_error=0.0)

    def worked(factor: float) -> Question:
        return moved("terms", before_min=terms.before_min * factor, sale_min=terms.sale_min * factor)

    pairs = (
        (
            "what like things sell for",
            f"{np.expm1(-price):+.0%} and {np.expm1(price):+.0%}",
            moved("question", typical_cents=asked.typical_cents * np.exp(-price), price_error=0.0),
            moved("question", typical_cents=asked.typical_cents * np.exp(price), price_error=0.0),
        ),
        (
            "how fast they sell",
            f"x {np.exp(-pace):.2f} and x {np.exp(pace):.2f}",
            paced(np.exp(-pace)),
            paced(np.exp(pace)),
        ),
        ("minutes of work", "+25 % and -25 %", worked(1.25), worked(0.75)),
        (
            "label, materials and hired packing",
            "+$2 and -$2" if terms.at_sale_cents < 1000 else "+20 % and -20 %",
            moved("terms", at_sale_cents=terms.at_sale_cents + max(200.0, 0.2 * terms.at_sale_cents)),
            moved("terms", at_sale_cents=terms.at_sale_cents - max(200.0, 0.2 * terms.at_sale_cents)),
        ),
        (
            "share that nobody wants",
            "twice and half",
            moved("question", never_share=min(2 * asked.never_share, 0.95)),
            moved("question", never_share=asked.never_share / 2),
        ),
        (
            "what an hour should bring",
            "+25 % and -25 %",
            moved("question", target_cents=asked.target_cents * 1.25),
            moved("question", target_cents=asked.target_cents * 0.75),
        ),
    )
    found = [
        Driver(name, how, highest_price(low).highest_cents, highest_price(high).highest_cents)
        for name, how, low, high in pairs
    ]
    return sorted(found, key=lambda one: one.low_cents - one.high_cents)


class PartOut(NamedTuple):
    """Keeping a thing whole against selling its parts."""

    whole: Answer
    parts: tuple[Answer, ...]
    whole_cents: int
    parts_cents: int
    better: str


def part_out(whole: Question, parts: Sequence[Question], *, apart_min: float = 0.0) -> PartOut:
    """Whether a thing is worth more whole or in parts: which way allows to pay more for the target.

    Finding it, its trip and taking it apart count once for the parts together.

    Parameters
    ----------
    whole : Question
        The thing as it is.
    parts : sequence of Question
        Its parts; what their terms say of the trip is left out.
    apart_min : float
        Work of taking it apart. [min]

    Returns
    -------
    PartOut
        Both costs for the target, and the better way.

    Raises
    ------
    AssumptionError
        If there is no part.

    Examples
    --------
    See ``tests/analysis/test_buying.py``.
    """
    if not parts:
        raise AssumptionError("parts", need="at least one", got=0)
    kept = highest_price(whole)
    found = tuple(highest_price(replace(part, terms=replace(part.terms, before_cents=0.0))) for part in parts)
    total = sum(one.for_target_cents for one in found) - whole.terms.before_cents - whole.target_cents / 60 * apart_min
    return PartOut(
        kept, found, kept.for_target_cents, round(total), "parts" if total > kept.for_target_cents else "whole"
    )


def turning_price(asked: Question, cost_cents: float, *, steps: int = 14) -> float | None:
    """What like things must sell for that a cost is just the highest price.

    With ``comparables.more_comparables`` it says how many more comparables would change the
    decision.

    Parameters
    ----------
    asked : Question
        The thing.
    cost_cents : float
        What is asked for it. [cents]
    steps : int
        How often the range is halved.

    Returns
    -------
    float or None
        The typical price; None where neither a tenth nor ten times of what is held turns it. [cents]

    Examples
    --------
    See ``tests/analysis/test_buying.py``.
    """

    def worth(factor: float) -> bool:
        return highest_price(replace(asked, typical_cents=asked.typical_cents * factor)).highest_cents >= cost_cents

    low, high = -np.log(10.0), np.log(10.0)
    if worth(float(np.exp(low))) or not worth(float(np.exp(high))):
        return None
    for _ in range(steps):
        middle = (low + high) / 2
        if worth(float(np.exp(middle))):
            high = middle
        else:
            low = middle
    return float(asked.typical_cents * np.exp((low + high) / 2))
