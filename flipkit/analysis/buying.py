"""The question asked in a shop aisle: what is the most to pay for this, and will it sell?

It is answered from a small file of what the shop's books know, left behind by a report
(``shop_knowledge``), without waiting for tables of data.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from flipkit.analysis.buying_reasons import Driver, PartOut, drivers, part_out, turning_price
from flipkit.analysis.comparables import ComparableRules, typical_price
from flipkit.analysis.demand import Demand, demand_from
from flipkit.analysis.max_bid import Answer, Question, Terms, highest_price
from flipkit.analysis.price_tables import PriceGrid
from flipkit.errors import AssumptionError

__all__ = [
    "SHOP",
    "Answer",
    "Driver",
    "PartOut",
    "Question",
    "Terms",
    "answer",
    "drivers",
    "highest_price",
    "part_out",
    "pocket_table",
    "question",
    "turning_price",
    "venue_answers",
]

_AGAIN = "run 'flipkit report' again"
#: Name under which the whole shop stands in the knowledge.
SHOP = "whole shop"


def answer(knowledge: Mapping[str, Any], category: str, **known: Any) -> Answer:
    """The most to pay for a thing, from what the shop knows.

    Parameters
    ----------
    knowledge : mapping
        As ``shop_knowledge`` gives it, or read back from its file.
    category : str
        The category.
    **known : see below
        What is known of the thing, as in ``question``.

    Returns
    -------
    Answer
        The price and its reasons.

    Raises
    ------
    AssumptionError
        If the venue, the size or the price makes no sense.

    Examples
    --------
    See ``tests/analysis/test_buying.py``.
    """
    return highest_price(question(knowledge, category, **known))


def question(
    knowledge: Mapping[str, Any],
    category: str,
    *,
    price_cents: float | None = None,
    comparables_cents: Sequence[float] = (),
    size: str = "",
    weight_lb: float | None = None,
    venue: str = "",
    at_sale_cents: float | None = None,
    target_cents: float | None = None,
    loss_limit: float | None = None,
) -> Question:
    """A question about a thing from what the shop knows.

    Parameters
    ----------
    knowledge : mapping
        As ``shop_knowledge`` gives it, or read back from its file.
    category : str
        The category; one that the shop does not know is judged by the whole shop.
    price_cents : float, optional
        What like things sell for, as the seller thinks. [cents]
    comparables_cents : sequence of float
        Recorded sales of like things, better than a thought. [cents]
    size : str
        Size class of the packed parcel; empty: the category's most common one.
    weight_lb : float, optional
        Packed weight; without it such things' usual one. The label moves by what a pound more of
        the shop's parcels of that size cost. [lb]
    venue : str
        Where it is to be sold; empty: where the shop mostly sells.
    at_sale_cents : float, optional
        Label, materials and hired packing less shipping charged, where known better. [cents]
    target_cents, loss_limit : float, optional
        The seller's wishes, where not those of the knowledge.

    Returns
    -------
    Question
        For ``highest_price``.

    Raises
    ------
    AssumptionError
        If the venue or the size is unknown, or the price or a wish makes no sense.

    Examples
    --------
    See ``tests/analysis/test_buying.py``.
    """
    kind = knowledge["categories"].get(category) or knowledge["categories"][SHOP]
    wishes = knowledge["wishes"]
    if comparables_cents:
        found = typical_price(comparables_cents, rules=ComparableRules(**knowledge["comparable_rules"]))
        # Few comparables lean on what the category's things sell for: who buys what looks cheap
        # beside its comparables would else mostly buy what these overrate.
        own, usual = found.error**-2, float(kind["typical_spread"]) ** -2
        if kind["typical_cents"] is None:
            usual = 0.0
        middle = (own * np.log(found.cents) + usual * np.log(float(kind["typical_cents"] or 1.0))) / (own + usual)
        typical, error = float(np.exp(middle)), float((own + usual) ** -0.5)
    elif price_cents is not None:
        if not price_cents > 0:
            raise AssumptionError("price", need="above 0", got=price_cents / 100)
        typical, error = float(price_cents), float(wishes["guess_error"])
    elif kind["typical_cents"] is None:
        mend = "say what like things sell for, or what one sold for"
        raise AssumptionError("price", need="known for the first sales", got="none", mend=mend)
    else:
        typical, error = float(kind["typical_cents"]), float(kind["typical_spread"])
    chosen = size or kind["size"]
    if chosen not in kind["sizes"]:
        raise AssumptionError("size", need=f"one of {', '.join(kind['sizes'])}", got=size)
    place = venue or kind["venue"]
    if place not in kind["fees"]:
        raise AssumptionError("venue", need=f"one of {', '.join(kind['fees'])}", got=venue)
    target = float(wishes["target_cents"] if target_cents is None else target_cents)
    if not target >= 0:
        raise AssumptionError("target", need="at least 0", got=target / 100)
    limit = float(wishes["loss_limit"] if loss_limit is None else loss_limit)
    if not 0 <= limit <= 1:
        raise AssumptionError("chance of loss", need="between 0 % and 100 %", got=f"{limit:.0%}")
    terms = dict(kind["sizes"][chosen])
    posted = place not in knowledge["collected"]
    if not posted:
        # What is collected has no label and hardly any packing.
        terms["at_sale_cents"] = 0.0
        terms["sale_min"] = terms["sale_min"] - terms["post_min"]
    if at_sale_cents is not None and posted:
        terms["at_sale_cents"] = float(at_sale_cents)
    terms.pop("post_min")
    usual_lb, pound_cents = (terms.pop(name, None) for name in ("weight_lb", "pound_cents"))
    if weight_lb is not None and at_sale_cents is None and posted:
        if usual_lb is None or pound_cents is None:
            raise AssumptionError("weight", need="a pack that knows labels by weight", got="none", mend=_AGAIN)
        if not weight_lb > 0:
            raise AssumptionError("weight", need="above 0", got=weight_lb)
        terms["at_sale_cents"] += pound_cents * (weight_lb - usual_lb)
    demand = demand_from(kind["demand"])
    ratio = kind["venue_pace"].get(place, 1.0)
    demand = Demand(demand.log_rate + np.log(ratio), demand.pull, demand.weekly, demand.offers)
    return Question(
        typical,
        error,
        demand,
        float(kind["pace_error"]),
        float(kind["never_share"]),
        float(kind["appeal_spread"]),
        Terms(tuple(knowledge["fee_price_cents"]), tuple(kind["fees"][place]), **terms),
        target,
        limit,
        float(wishes["salvage"]),
        float(wishes["money_rate"]),
        float(wishes["storage_cents"]),
        float(wishes["change_min"]),
        PriceGrid(*knowledge["grid"]),
        tuple(knowledge["endings_cents"]),
        # A file of before these were written knows a sure pull.
        float(kind.get("pull_error", 0.0)),
        float(kind.get("pull_with_pace", 0.0)),
    )


def venue_answers(knowledge: Mapping[str, Any], category: str, **known: Any) -> dict[str, Answer]:
    """The same thing at each venue, local ones included: which allows to pay most for it.

    Parameters
    ----------
    knowledge : mapping
        As ``shop_knowledge`` gives it.
    category : str
        The category.
    **known : see below
        What is known of the thing, as in ``question`` without ``venue``.

    Returns
    -------
    dict of str to Answer
        By venue, the best first.

    Raises
    ------
    AssumptionError
        If what is known makes no sense.

    Examples
    --------
    See ``tests/analysis/test_buying.py``.
    """
    kind = knowledge["categories"].get(category) or knowledge["categories"][SHOP]
    found = {venue: answer(knowledge, category, venue=venue, **known) for venue in kind["fees"]}
    # Where no venue allows anything, the one that comes nearest to the target stands first.
    return dict(sorted(found.items(), key=lambda pair: (-pair[1].highest_cents, -pair[1].for_target_cents)))


def pocket_table(
    knowledge: Mapping[str, Any],
    *,
    prices_cents: Sequence[int],
    categories: Sequence[str] | None = None,
    least_share: float = 0.1,
) -> list[dict[str, Any]]:
    """The highest price by category, size class and expected sale price, for a sheet in the pocket.

    Parameters
    ----------
    knowledge : mapping
        As ``shop_knowledge`` gives it.
    prices_cents : sequence of int
        What like things sell for. [cents]
    categories : sequence of str, optional
        Which; all that the shop knows where not given.
    least_share : float
        Size classes that fewer of a category's things have are left out.

    Returns
    -------
    list of dict
        One a category, size and price: ``category``, ``size_class``, ``price_cents``,
        ``highest_cents``, ``binding``, ``sold_share``, ``weeks``, ``list_cents``.

    Examples
    --------
    See ``tests/analysis/test_buying.py``.
    """
    names = [name for name in knowledge["categories"] if name != SHOP] if categories is None else list(categories)
    rows = []
    for name in names:
        kind = knowledge["categories"][name]
        sizes = [size for size, share in kind["size_shares"].items() if share >= least_share] or [kind["size"]]
        for size in sizes:
            for price in prices_cents:
                found = answer(knowledge, name, price_cents=price, size=size)
                rows.append(
                    {
                        "category": name,
                        "size_class": size,
                        "price_cents": int(price),
                        "highest_cents": found.highest_cents,
                        "binding": found.binding,
                        "sold_share": found.sold_share,
                        "weeks": found.weeks,
                        "list_cents": found.list_cents,
                    }
                )
    return rows
