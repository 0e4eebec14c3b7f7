"""The answer in the shop aisle, whole: the highest price, what drives it, where to sell, this cost judged."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping, Sequence
from typing import Any

from flipkit.analysis.buying import SHOP, question, venue_answers
from flipkit.analysis.buying_reasons import drivers, part_out, turning_price
from flipkit.analysis.comparables import ComparableRules, TypicalPrice, more_comparables, typical_price
from flipkit.analysis.max_bid import Answer, Question, highest_price
from flipkit.errors import AssumptionError

#: Halvings of the range in which the typical price is sought at which a cost is just right: within 2 %.
_TURNS = 8
#: Chance of changing the decision from which on more comparables are worth looking for.
_WORTH_LOOKING = 0.2


def buying_answer(
    knowledge: Mapping[str, Any],
    category: str,
    *,
    cost_cents: int | None = None,
    parts_cents: Sequence[int] = (),
    apart_min: float = 0.0,
    venue: str = "",
    **known: Any,
) -> dict[str, Any]:
    """The most to pay for a thing, with everything that the question in the aisle asks.

    Parameters
    ----------
    knowledge : mapping
        As ``knowledge_file.read_knowledge`` gives it.
    category : str
        The category, in whatever case; one that the books do not know is judged by the whole shop.
    cost_cents : int, optional
        What is asked for it. [cents]
    parts_cents : sequence of int
        What its parts would sell for one by one. [cents]
    apart_min : float
        Work of taking it apart. [min]
    venue : str
        Where it is to be sold; empty: where such things mostly sold.
    **known : see below
        What else is known of the thing, as in ``buying.question``.

    Returns
    -------
    dict
        Plain numbers, texts and lists with units in the keys; ``binding`` says which of the two
        costs is lower, ``drivers`` what moves it, ``venues`` each venue, the best first.

    Raises
    ------
    AssumptionError
        If the category is empty, or the venue, the size, a price, the cost or a wish makes no sense.

    Examples
    --------
    See ``tests/test_cli_buying.py``.
    """
    if not category.strip():
        raise AssumptionError("category", need="the kind of thing, such as lamps", got=category)
    if cost_cents is not None and cost_cents < 0:
        raise AssumptionError("cost", need="at least 0", got=cost_cents / 100)
    if not 0 <= apart_min < math.inf:
        raise AssumptionError("minutes to take it apart", need="at least 0", got=apart_min)
    name = known_category(knowledge, category)
    asked = question(knowledge, name, venue=venue, **known)
    found = highest_price(asked)
    kind = knowledge["categories"][name]
    compared = known.get("comparables_cents") or ()
    seen = typical_price(compared, rules=ComparableRules(**knowledge["comparable_rules"])) if compared else None
    size = known.get("size") or kind["size"]
    answer: dict[str, Any] = {
        "category": category if name == SHOP else name,
        "judged_by": name,
        "items_in_books": kind["items"],
        "sales_in_books": kind["sold"],
        "too_few_to_tell": kind["sold"] < knowledge["too_few_items"],
        # A file of before these were written names none.
        "overview_says_stop": name in knowledge.get("stop", ()),
        "knowledge_as_of": knowledge.get("as_of", ""),
        "currency": knowledge.get("currency", "USD"),
        "size_class": size,
        "venue": venue or kind["venue"],
        "typical_cents": round(asked.typical_cents),
        "typical_from": "comparables" if compared else "price" if known.get("price_cents") is not None else "books",
        "typical_error_share": round(asked.price_error, 4),
        **_comparables(seen, compared),
        **_figures(found, asked),
        "drivers": [
            {
                "input": one.name,
                "moved": one.moved,
                "highest_at_first_cents": one.low_cents,
                "highest_at_second_cents": one.high_cents,
            }
            for one in drivers(asked)
        ],
        "venues": _venues(knowledge, name, venue or kind["venue"], found, known),
    }
    if cost_cents is not None:
        answer["at_cost"] = _at_cost(asked, found, seen, cost_cents)
    if parts_cents:
        answer["parts"] = _parts(knowledge, name, asked, parts_cents, apart_min, venue, known)
    return answer


def known_category(knowledge: Mapping[str, Any], category: str) -> str:
    """The category as the books spell it, or the whole shop for one that they do not know.

    Parameters
    ----------
    knowledge : mapping
        As ``shop_knowledge`` gives it.
    category : str
        As it was asked.

    Returns
    -------
    str
        A key of the knowledge's categories.

    Raises
    ------
    AssumptionError
        If it looks like a slip of one that they know.

    Examples
    --------
    >>> known_category({"categories": {"Table lamps": {}, "whole shop": {}}}, "table LAMPS")
    'Table lamps'
    """
    names = list(knowledge["categories"])
    same = {name.casefold(): name for name in names}
    wanted = " ".join(category.split()).casefold()
    if wanted in same:
        return same[wanted]
    near = difflib.get_close_matches(wanted, same, n=1, cutoff=0.8)
    if near:
        mend = f"did you mean {same[near[0]]!r}?"
        raise AssumptionError("category", need="one that the books know, or a new one", got=category, mend=mend)
    return SHOP


def _figures(found: Answer, asked: Question) -> dict[str, Any]:
    """The price and its reasons."""
    return {
        "highest_cents": found.highest_cents,
        "for_target_cents": found.for_target_cents,
        "for_target_low_cents": found.low_cents,
        "for_target_high_cents": found.high_cents,
        "for_loss_cents": found.for_loss_cents,
        "binding": found.binding,
        "target_cents_per_hour": round(asked.target_cents),
        "loss_limit_share": asked.loss_limit,
        "at_sale_cents": round(asked.terms.at_sale_cents),
        "sold_share": round(found.sold_share, 4),
        "expected_weeks": round(found.weeks, 2),
        "owner_min": round(found.owner_min, 1),
        "list_cents": found.list_cents,
        "mean_sale_cents": found.sale_cents,
        "first_week_lowest_offer_cents": found.first_offer_cents,
        "give_up_after_weeks": found.give_up_week,
        "price_path": [{"week": week, "price_cents": price} for week, price in found.week_prices],
    }


def _comparables(seen: TypicalPrice | None, compared: Sequence[float]) -> dict[str, Any]:
    if seen is None:
        return {}
    far = [round(price) for price, out in zip(compared, seen.outlier, strict=True) if out]
    return {
        "comparables": seen.sales,
        "comparables_middle_cents": seen.cents,
        "comparables_spread_share": round(seen.spread, 4),
        "outliers_cents": far,
    }


def _venues(
    knowledge: Mapping[str, Any], name: str, own: str, found: Answer, known: Mapping[str, Any]
) -> list[dict[str, Any]]:
    """Each venue, the one that allows to pay most first."""
    every = venue_answers(knowledge, name, **known)
    return [
        {
            "venue": place,
            "collected": place in knowledge["collected"],
            "asked": place == own,
            "for_target_cents": one.for_target_cents,
            "highest_cents": one.highest_cents,
            "sold_share": round(one.sold_share, 4),
            "expected_weeks": round(one.weeks, 2),
            "list_cents": one.list_cents,
        }
        for place, one in every.items()
    ]


def _at_cost(asked: Question, found: Answer, seen: TypicalPrice | None, cost_cents: int) -> dict[str, Any]:
    """What is asked for it, judged; where the judgement would turn, and whether more comparables could turn it."""
    hourly = found.hourly(cost_cents)
    turning = turning_price(asked, cost_cents, steps=_TURNS)
    judged: dict[str, Any] = {
        "cost_cents": cost_cents,
        "worth_it": cost_cents <= found.highest_cents,
        "cents_per_hour": round(hourly * 100) if hourly == hourly else None,
        "loss_chance_share": round(found.loss_chance(cost_cents), 4),
        "turning_typical_cents": None if turning is None else round(turning),
    }
    if seen is not None:
        leaning = (asked.typical_cents, asked.price_error)
        judged["more_comparables_to_turn"] = (
            None
            if turning is None
            else more_comparables(seen, turning_cents=turning, chance=_WORTH_LOOKING, leaning=leaning)
        )
        judged["more_comparables_chance_share"] = _WORTH_LOOKING
    return judged


def _parts(
    knowledge: Mapping[str, Any],
    name: str,
    asked: Question,
    parts_cents: Sequence[int],
    apart_min: float,
    venue: str,
    known: Mapping[str, Any],
) -> dict[str, Any]:
    """Kept whole or sold in parts."""
    wishes = {key: known[key] for key in ("size", "target_cents", "loss_limit") if known.get(key) is not None}
    pieces = [question(knowledge, name, price_cents=price, venue=venue, **wishes) for price in parts_cents]
    both = part_out(asked, pieces, apart_min=apart_min)
    return {
        "better": both.better,
        "whole_for_target_cents": both.whole_cents,
        "parts_for_target_cents": both.parts_cents,
        "apart_min": apart_min,
        "part_cents": list(parts_cents),
    }
