"""One decision a category: buy, buy only below a price, leave; what to pay, which hours, what to do with its stock.

Two things are weighed: the chance that the category's true hourly return beats the target, by its record, and how
much of what the seller usually finds costs no more than the highest price worth paying, as the seller prices now. More
of either never makes a verdict worse. Every page and command that speaks of a category reads the decision made here.
"""

from __future__ import annotations

import functools
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.hours import HourPlan, available_hours, hour_plan
from flipkit.analysis.max_bid import (
    LEAST_CENTS,
    SHOP,
    AisleRule,
    aisle_rule,
    for_target_cents,
    highest_price,
    question,
    recommended,
    turning_price,
    usual_sizes,
)
from flipkit.analysis.returns import LIKELY, ONE_DECIDES, TOO_FEW, UNLIKELY
from flipkit.errors import count_of
from flipkit.money import show_cents

BUY = "buy"
UNDER_A_PRICE = "buy only below a price"
LEAVE = "leave"
#: Every verdict, in the order in which a page shows them.
VERDICTS = (BUY, UNDER_A_PRICE, LEAVE, TOO_FEW)
#: Fewer than this share of the purchases cheap enough: such finds are not to be counted on.
FEW_FINDS = 0.10
#: Halvings of the range in which the sale price is sought that bears the usual cost: within half a per cent.
_TURNS = 10
#: So many standard errors between the record and the prices as such things are priced now are a disagreement.
_DISAGREE = 2.0
#: Sale prices at which the record's purchases are weighed.
_PLACES = 9
#: A size class into which fewer of a kind pack is not named. [share]
_NAMED_SIZE = 0.15

Floats = npt.NDArray[np.float64]


class PricePoint(NamedTuple):
    """The most to pay for a thing that sells at a price. [cents]"""

    price_cents: int
    highest_cents: int


class Bounds(NamedTuple):
    """Between what a verdict turns: targets that are likely and perhaps beaten, limits of the price, and the finds."""

    sure: float  # [dollars per hour]
    hopeful: float  # [dollars per hour]
    for_target: float  # [cents]
    for_loss: float  # [cents]
    price: float  # [cents]
    #: The cost that just enough of the finds keep within, and the least cost of them. [cents]
    few_cost: float
    least_cost: float


@dataclass(frozen=True)
class Decision:
    """What to do about a category, with the figures that are its reason.

    ``chance`` is that of beating the target, ``hourly`` the return with ``low`` and ``high`` its interval, in dollars
    an hour. ``highest_cents`` is the most to pay for one that sells at ``typical_cents`` by a seller who prices as now,
    0 where nothing is; ``recommended_cents`` the same for one who prices as recommended. Where it is to be left,
    ``sells_from_cents`` is the sale price from which it bears its usual cost, if any does, and ``cheap_sizes`` the
    sizes of which a cheap one can pay, with the most to pay at ``typical_cents``. ``binding`` is the limit
    that decides: ``target``, ``loss`` or ``price``. ``cheap_share`` of the purchases cost no more than
    ``highest_cents``; ``find_share`` of them no more than the highest price of their own sale price, and those bring
    ``find_hourly``. ``hours`` are those planned for next month,
    ``bounds`` what a what-if moves. What is too few to tell has no figure that could be
    read as one.
    """

    category: str
    verdict: str
    sentence: str
    note: str = ""
    items: int = 0
    trips: int = 0
    chance: float = math.nan
    hourly: float = math.nan
    low: float = math.nan
    high: float = math.nan
    typical_cents: int = 0
    usual_cost_cents: int = 0
    highest_cents: int = 0
    recommended_cents: int = 0
    sells_from_cents: int | None = None
    cheap_sizes: tuple[tuple[str, int], ...] = ()
    binding: str = ""
    cheap_share: float = math.nan
    find_share: float = math.nan
    find_hourly: float = math.nan
    prices: tuple[PricePoint, ...] = ()
    rule: AisleRule | None = None
    size: str = ""
    hours: float = 0.0
    #: How many things in stock to list, mark down, keep and clear out.
    stock: tuple[tuple[str, int], ...] = ()
    bounds: Bounds | None = None


def buying_verdict(chance: float, cheap_share: float, *, claimed: bool) -> str:
    """What to do about a category."""
    if not claimed or math.isnan(chance) or math.isnan(cheap_share):
        return TOO_FEW
    if cheap_share < FEW_FINDS:
        # A price that hardly any find meets is one to go by only where the record speaks for the category.
        return UNDER_A_PRICE if chance > UNLIKELY and cheap_share > 0 else LEAVE
    return BUY if chance >= LIKELY else UNDER_A_PRICE


def decide(
    ranking: pd.DataFrame,
    returns: pd.DataFrame,
    purchases: pd.DataFrame,
    knowledge: Mapping[str, Any],
    *,
    target: float,
    plan: pd.DataFrame,
) -> tuple[Decision, ...]:
    """The decision on each category that the books know, best verdict first, then by chance.

    ``purchases`` has ``category``, ``size_class``, ``cost_cents`` and ``typical_cents``, ``plan`` the category and the
    ``action`` of each thing in stock.

    The function needs a study's frames; see ``tests/analysis/test_decisions.py``.
    """
    table = ranking.merge(returns[["category", "expected_min"]], on="category", how="left")
    known = {str(row["category"]): row for row in table.to_dict("records")}
    found = []
    for name in knowledge["categories"]:
        if name == SHOP:
            continue
        mine = purchases[purchases["category"] == name]
        made = _decided(name, known.get(name), mine, knowledge, target)
        counts = Counter(plan.loc[plan["category"] == name, "action"]) if len(plan) else Counter[str]()
        found.append(replace(made, stock=tuple(counts.items())))
    return tuple(sorted(found, key=_rank))


def _rank(made: Decision) -> tuple[int, float, float, str]:
    """By verdict, then by chance in the whole percents that pages show, then by what an hour brings."""
    known = not math.isnan(made.chance)
    chance = round(min(max(made.chance, 0.0), 1.0), 2) if known else -1.0
    return VERDICTS.index(made.verdict), -chance, -made.hourly if known else 0.0, made.category


def _decided(
    name: str, known: Mapping[Any, Any] | None, mine: pd.DataFrame, knowledge: Mapping[str, Any], target: float
) -> Decision:
    """The decision on one category."""
    kind = knowledge["categories"][name]
    items, trips = (0, 0) if known is None else (int(known["items"]), int(known["trips"]))
    size = size_words(kind)
    costs = mine["cost_cents"].to_numpy(dtype=np.float64)
    usable = kind["typical_cents"] is not None and knowledge["categories"][SHOP]["sold"] >= knowledge["too_few_items"]
    if known is None or not (usable and bool(known["claimed"]) and costs.size) or math.isnan(known["beats_target"]):
        bought = f"{items:,} bought on {count_of(trips, 'trip')}" if items else "none bought lately"
        if known is not None and known["one_decides"]:
            bought += f", and {ONE_DECIDES}"
        return Decision(name, TOO_FEW, f"{TOO_FEW.capitalize()}: {bought}.", items=items, trips=trips, size=size)
    # Asked as in the aisle: the same answer in both places.
    asked = question(knowledge, name)
    now, best = highest_price(asked), recommended(knowledge, name)
    highest = now.highest_cents
    cheap = costs[costs <= highest] if highest else costs[:0]
    # In whole units from here on, so that no two pages round it in two ways.
    usual = 100 * math.floor(float(np.median(costs)) / 100 + 0.5)
    chance = float(known["beats_target"])
    verdict = buying_verdict(chance, cheap.size / costs.size, claimed=True)
    sells_from = turning_price(asked, max(usual, LEAST_CENTS), steps=_TURNS)
    # A price that none of its kind ever brings is no price to wait for.
    reached = sells_from is not None and sells_from <= _most_seen(mine, kind)
    worth = _worth(name, mine, knowledge)
    gain, minutes = worth - costs, float(known["expected_min"]) / items
    good = (gain >= 0) & (worth >= LEAST_CENTS)
    # What the finds within their price leave more than all finds do.
    saved = float(np.mean(gain[good]) - np.nanmean(gain)) if good.any() else 0.0
    made = Decision(
        name,
        verdict,
        "",
        items=items,
        trips=trips,
        chance=chance,
        hourly=float(known["pulled"]),
        low=float(known["low"]),
        high=float(known["high"]),
        typical_cents=round(asked.typical_cents),
        usual_cost_cents=usual,
        highest_cents=highest,
        recommended_cents=best.highest_cents,
        sells_from_cents=math.ceil(sells_from / 100) * 100 if sells_from is not None and reached else None,
        cheap_sizes=_cheap_sizes(knowledge, name) if verdict == LEAVE else (),
        binding=now.binding,
        cheap_share=cheap.size / costs.size,
        find_share=float(good.mean()),
        find_hourly=float(known["pulled"]) + (saved / 100 / (minutes / 60) if good.any() else 0.0),
        prices=tuple(
            PricePoint(price, highest_price(replace(asked, typical_cents=float(price))).highest_cents)
            for price in kind["prices_cents"]
        ),
        rule=aisle_rule(knowledge, name),
        size=size,
        bounds=Bounds(
            float(known["sure"]),
            float(known["hopeful"]),
            now.for_target_cents,
            now.for_loss_cents,
            math.floor(asked.typical_cents),
            float(np.sort(costs)[math.ceil(round(FEW_FINDS * costs.size, 9)) - 1]),
            float(costs.min()),
        ),
    )
    show = functools.partial(_whole, currency=knowledge.get("currency", "USD"))
    made = replace(made, sentence=_sentence(made, knowledge["wishes"]["loss_limit"], show))
    promised = target + float(np.nanmean(gain)) / 100 / (minutes / 60) if np.isfinite(gain).any() else made.hourly
    error = math.hypot(float(known["error"]), now.likely.pace_error_cents / 100 / (minutes / 60))
    return replace(made, note=_disagreement(made.hourly, promised, error, show))


def _sentence(made: Decision, loss_limit: float, show: Any) -> str:
    """The threshold in one sentence, of the usual size."""
    usual = made.size.partition(",")[0]
    if made.verdict != LEAVE:
        return (
            f"Pay up to {show(made.highest_cents, pay=True)} for {f'a {usual} one' if usual else 'one'} that sells at "
            f"{show(made.typical_cents)}; you usually paid {show(made.usual_cost_cents)}."
        )
    cheap = [f"{show(cents, pay=True)} for a {size} one" for size, cents in made.cheap_sizes]
    can_pay = f"up to {' or '.join(cheap)} that sells at {show(made.typical_cents)}."
    if made.sells_from_cents is not None:
        leave = (
            f"Leave it at what you usually pay ({show(made.usual_cost_cents)}), unless "
            f"{f'a {usual} one' if usual else 'it'} sells for {show(made.sells_from_cents)} or more."
        )
        return f"{leave} A cheap one can pay: {can_pay}" if cheap else leave
    if made.highest_cents:
        return (
            f"Leave it: it's worth {show(made.highest_cents, pay=True)} if it sells at {show(made.typical_cents)}, and "
            f"you usually paid {show(made.usual_cost_cents)}."
        )
    if cheap:
        return f"Leave it, unless it's cheap: {can_pay}"
    if made.binding == "loss":
        return f"Leave it, even if it's free: at usual prices more than {loss_limit:.0%} of them lose money."
    return "Leave it, even if it's free: at usual prices it doesn't pay for your time."


def _cheap_sizes(knowledge: Mapping[str, Any], name: str) -> tuple[tuple[str, int], ...]:
    """The sizes of a kind of which a cheap one can pay, each with the most to pay for it. [cents]"""
    most = {
        size: highest_price(question(knowledge, name, size=size)).highest_cents
        for size in usual_sizes(knowledge["categories"][name])
    }
    return tuple((size, cents) for size, cents in most.items() if cents)


def _disagreement(record: float, promised: float, error: float, show: Any) -> str:
    """Where the record and what the prices promise disagree by more than both are unsure; empty where they agree."""
    if abs(promised - record) <= max(_DISAGREE * error, 1.0):
        return ""
    return (
        f"Your record and today's prices disagree: what you bought brought {show(100 * record)} an hour, and by the "
        f"prices and the pace of sales it should bring {show(100 * promised)}. Go by "
        f"{'your record' if record < promised else 'the prices'}, the lower of the two, until more sales settle it."
    )


def _worth(name: str, mine: pd.DataFrame, knowledge: Mapping[str, Any]) -> Floats:
    """The cost at which each purchase would meet the target as the seller prices now."""
    worth = np.full(len(mine), np.nan)
    price = mine["typical_cents"].to_numpy(dtype=np.float64)
    for size in mine["size_class"].unique():
        at = np.flatnonzero((mine["size_class"] == size).to_numpy() & np.isfinite(price))
        if at.size and size in knowledge["categories"][name]["sizes"]:
            asked = question(knowledge, name, size=str(size), price_cents=float(price[at].max()))
            places = np.unique(np.linspace(price[at].min(), price[at].max(), _PLACES))
            line = [for_target_cents(replace(asked, typical_cents=float(place))) for place in places]
            worth[at] = np.interp(price[at], places, line)
    return worth


def _most_seen(mine: pd.DataFrame, kind: Mapping[str, Any]) -> float:
    """The dearest of a kind that the books know."""
    dearest = mine["typical_cents"].max()
    return float(max(kind["prices_cents"][-1], 0.0 if pd.isna(dearest) else dearest))


def size_words(kind: Mapping[str, Any]) -> str:
    """Into which size classes a kind mostly packs.

    >>> size_words({"items": 20, "size_shares": {"bulky": 0.95, "medium": 0.05}, "size": "bulky"})
    'bulky'
    >>> size_words({"items": 20, "size_shares": {"small": 0.6, "medium": 0.4}, "size": "small"})
    'small, 40% medium'
    """
    shares = sorted(kind["size_shares"].items(), key=lambda pair: -pair[1])
    named = [f"{share:.0%} {size}" for size, share in shares[1:] if share >= _NAMED_SIZE]
    return ", ".join([shares[0][0] if shares else kind["size"], *named])


def _whole(cents: float, *, currency: str, pay: bool = False) -> str:
    """Whole units of the currency; a price to pay is rounded down, for it is not to be passed."""
    return show_cents((math.floor(cents / 100) if pay else round(cents / 100)) * 100, currency=currency).removesuffix(
        ".00"
    )


# Which hours next month they are worth.


class SharedHours(NamedTuple):
    """Next month's hours: a row a category that is to be bought, and the hours that a month's purchases take."""

    frame: pd.DataFrame
    plan: HourPlan | None
    hours: float  # [h]


def shared_hours(
    decisions: Sequence[Decision],
    ranking: pd.DataFrame,
    returns: pd.DataFrame,
    *,
    hours: float,
    months: int,
    target: float,
    stretch: float,
    doubt: float,
) -> SharedHours:
    """Share next month's hours among what is to be bought, its finds cheap enough counted alone."""
    error = ranking.set_index("category")["error"]
    minutes = returns.set_index("category")["expected_min"]
    rows = []
    for one in decisions:
        if one.verdict not in (BUY, UNDER_A_PRICE) or not one.items:
            continue
        each = float(minutes[one.category]) / one.items
        rows.append(
            {
                "category": one.category,
                "hourly": one.find_hourly,
                "error": float(error[one.category]),
                "available_h": float(available_hours(one.items * one.find_share / months, each, stretch=stretch)),
                "highest_cents": one.highest_cents,
            }
        )
    frame = pd.DataFrame(rows, columns=["category", "hourly", "error", "available_h", "highest_cents"])
    if frame.empty or not hours:
        return SharedHours(frame.assign(hours=0.0, counted=0.0), None, hours)
    plan = hour_plan(frame["hourly"], frame["error"], frame["available_h"], hours=hours, least=target, doubt=doubt)
    frame = frame.assign(hours=plan.hours, counted=plan.counted)
    order = frame.sort_values(["counted", "category"], ascending=[False, True], kind="stable")
    return SharedHours(order.reset_index(drop=True), plan, hours)


def with_hours(decisions: Sequence[Decision], shared: SharedHours) -> tuple[Decision, ...]:
    """The decisions with the hours that each category is given."""
    hours = dict(zip(shared.frame["category"], shared.frame["hours"], strict=True))
    return tuple(replace(one, hours=float(hours.get(one.category, 0.0))) for one in decisions)


# What would help most, in money a month.


class Change(NamedTuple):
    """One thing to do otherwise, what it is worth a month in whole and by category, and what it frees or asks."""

    name: str
    cents_a_month: int
    parts: tuple[tuple[str, int], ...]
    hours: float = 0.0  # [h]
    #: First price to ask over the typical one.
    asked: float = 0.0


STOP_BUYING, PRICE_AS_RECOMMENDED, PACK_SMALLER = "stop buying", "price as recommended", "pack an inch smaller"


def biggest_changes(
    decisions: Sequence[Decision],
    returns: pd.DataFrame,
    lessons: pd.DataFrame,
    knowledge: Mapping[str, Any],
    *,
    target: float,
    months: int,
) -> tuple[Change, ...]:
    """What each change would bring a month, the largest first.

    What is left gives back its hours, each worth the target; what is bought brings more by the recommended prices;
    parcels of what is still bought that stood just above a step would have cost less.
    """
    spent = returns.set_index("category")
    stop, price, freed, asked = {}, {}, {}, {}
    for one in decisions:
        if one.verdict == TOO_FEW or one.category not in spent.index:
            continue
        if one.verdict == LEAVE:
            freed[one.category] = float(spent.loc[one.category, "expected_min"]) / 60 / months
            stop[one.category] = 100 * freed[one.category] * (target - one.hourly)
            continue
        best = recommended(knowledge, one.category, own_venues=True)
        now = for_target_cents(question(knowledge, one.category))
        asked[one.category] = best.list_cents / one.typical_cents
        price[one.category] = (best.for_target_cents - now) * one.items * one.find_share / months
    # What is not bought any more is not packed either.
    kept = lessons[~lessons["category"].isin(list(stop))] if len(lessons) else lessons
    pack = kept.groupby("category")["trim_cents"].sum() / months if len(kept) else {}
    found = []
    for name, each in ((STOP_BUYING, stop), (PRICE_AS_RECOMMENDED, price), (PACK_SMALLER, dict(pack))):
        parts = sorted(((str(key), round(float(cents))) for key, cents in each.items()), key=lambda pair: -pair[1])
        parts = [(key, cents) for key, cents in parts if cents > 0]
        if parts:
            hours = sum(freed[key] for key, _ in parts) if name == STOP_BUYING else 0.0
            ratio = sum(asked[key] for key, _ in parts) / len(parts) if name == PRICE_AS_RECOMMENDED else 0.0
            found.append(Change(name, sum(cents for _, cents in parts), tuple(parts), hours, ratio))
    return tuple(sorted(found, key=lambda one: -one.cents_a_month))
