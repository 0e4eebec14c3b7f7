"""Buy more, buy only under a price, stop: one verdict a category, each by stated bounds.

Two things are weighed: the chance that the category's true hourly return beats the target, and how
much of what the seller usually finds is cheap enough. Cheap enough is what costs no more than the
lower of two prices: the highest one worth paying by the category's prospects, as in the shop aisle,
and the one at which its purchases so far would have met the target. More of either never makes a
verdict worse.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.max_bid import SHOP, answer, question, turning_price
from flipkit.analysis.returns import LIKELY, TOO_FEW, UNLIKELY

BUY_MORE = "buy more"
UNDER_A_PRICE = "buy only under a price"
STOP = "stop"
#: Every verdict, in the order in which a page shows them.
VERDICTS = (BUY_MORE, UNDER_A_PRICE, STOP, TOO_FEW)
#: Fewer than this share of the purchases cheap enough: such finds are not to be counted on.
FEW_FINDS = 0.10
#: A highest price below this is no price: leave it. [cents]
LEAST_CENTS = 100
#: Halvings of the range in which the sale price is sought that bears the usual cost: within 2 %.
_TURNS = 8

COLUMNS = [
    "category",
    "verdict",
    "beats_target",
    "pulled",
    "low",
    "high",
    "items",
    "trips",
    "one_decides",
    "highest_cents",
    "binding",
    "typical_cents",
    "sells_from_cents",
    "usual_cost_cents",
    "cheap_share",
]


def buying_verdict(chance: float, cheap_share: float, *, claimed: bool) -> str:
    """What to do about a category.

    >>> buying_verdict(0.9, 0.7, claimed=True), buying_verdict(0.1, 0.02, claimed=True)
    ('buy more', 'stop')
    >>> buying_verdict(0.1, 0.3, claimed=True), buying_verdict(0.9, 0.7, claimed=False)
    ('buy only under a price', 'too few to tell')
    """
    if not claimed or math.isnan(chance) or math.isnan(cheap_share):
        return TOO_FEW
    if chance >= LIKELY and cheap_share >= FEW_FINDS:
        return BUY_MORE
    if chance <= UNLIKELY and cheap_share < FEW_FINDS:
        return STOP
    return UNDER_A_PRICE


def record_price(mean_cost_cents: float, *, pulled: float, target: float, minutes: float) -> float:
    """The mean cost at which a category's purchases would have met the target.

    Half an hour each at $4 too little asks for $2 off a cost of $6:

    >>> record_price(600.0, pulled=14.0, target=18.0, minutes=30.0)
    400.0
    """
    return mean_cost_cents + 100 * (pulled - target) * minutes / 60


def buying_verdicts(
    ranking: pd.DataFrame,
    returns: pd.DataFrame,
    purchases: pd.DataFrame,
    knowledge: Mapping[str, Any],
    *,
    target: float,
) -> pd.DataFrame:
    """A verdict for each category that the books know, with the figures that are its reason.

    The function needs a study's frames; see ``tests/analysis/test_buying_verdicts.py``.
    """
    table = ranking.merge(returns[["category", "expected_min"]], on="category", how="left").set_index("category")
    costs = {str(name): part.to_numpy(dtype=np.float64) for name, part in purchases.groupby("category")["cost_cents"]}
    rows = [
        _row(name, table.loc[name] if name in table.index else None, costs.get(name, np.array([])), knowledge, target)
        for name in knowledge["categories"]
        if name != SHOP
    ]
    found = pd.DataFrame(rows, columns=COLUMNS)
    order = np.lexsort(
        (
            found["category"].astype(str),
            -found["beats_target"].astype(np.float64).fillna(-1.0),
            found["verdict"].map({name: place for place, name in enumerate(VERDICTS)}),
        )
    )
    return found.iloc[order].reset_index(drop=True)


def _row(
    name: str, known: pd.Series | None, costs: npt.NDArray[np.float64], knowledge: Mapping[str, Any], target: float
) -> dict[str, Any]:
    """One category's verdict; what is too few to tell gets no figure that could be read as one."""
    none = {"category": name, "verdict": TOO_FEW, "items": 0 if known is None else int(known["items"]), "trips": 0}
    none["one_decides"] = False
    if known is None:
        return none
    none |= {"trips": int(known["trips"]), "one_decides": bool(known["one_decides"])}
    kind, chance = knowledge["categories"][name], float(known["beats_target"])
    usable = bool(known["claimed"]) and kind["typical_cents"] is not None and _sold(knowledge)
    if not usable or math.isnan(chance) or not costs.size:
        return none
    # Asked as in the aisle, of a thing that is thought to sell at this price: the same answer in both places.
    found = answer(knowledge, name, price_cents=kind["typical_cents"])
    record = record_price(
        costs.mean(), pulled=float(known["pulled"]), target=target, minutes=known["expected_min"] / known["items"]
    )
    most = int(min(found.highest_cents, max(np.floor(record), 0)))
    highest = most if most >= LEAST_CENTS else 0
    cheap = float((costs <= highest).mean()) if highest else 0.0
    usual = float(np.median(costs))
    verdict = buying_verdict(chance, cheap, claimed=True)
    binding = "record" if record < found.highest_cents else found.binding
    sells_from = None
    if verdict == UNDER_A_PRICE and not highest and binding != "record":
        sells_from = turning_price(question(knowledge, name), max(usual, LEAST_CENTS), steps=_TURNS)
    return none | {
        "verdict": verdict,
        "beats_target": chance,
        "pulled": float(known["pulled"]),
        "low": float(known["low"]),
        "high": float(known["high"]),
        "highest_cents": highest,
        "binding": binding,
        "typical_cents": float(kind["typical_cents"]),
        "sells_from_cents": math.nan if sells_from is None else sells_from,
        "usual_cost_cents": usual,
        "cheap_share": cheap,
    }


def _sold(knowledge: Mapping[str, Any]) -> bool:
    """Whether the shop has sales enough that a price is more than assumptions."""
    return bool(knowledge["categories"][SHOP]["sold"] >= knowledge["too_few_items"])
