"""The most to pay for a thing, by its hourly return and its risk of a loss."""

from __future__ import annotations

import datetime as dt
import difflib
import functools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import partial
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from flipkit.analysis.comparables import (
    ComparableRules,
    LikelyPrice,
    TypicalPrice,
    comparable_weights,
    likely_price,
    more_comparables,
    typical_price,
)
from flipkit.analysis.demand import LEAST_PULL, Demand, demand_from
from flipkit.analysis.pricing import Habit, PriceGrid, rounded_price
from flipkit.errors import AssumptionError

# The most to pay for a thing: what it will bring, the hours that it takes, and the chance of losing money.
#
# The highest price is the lower of two: the cost at which the expected net per owner hour just meets the target,
# and the cost at which the chance of a loss that counts reaches the stated limit. It is said twice: as the seller
# prices now, and as the best of many ways of pricing would have it. Ways are shapes over the typical price, the same
# for every thing, and each way's cost falls with work and charges and rises with the price: so does the best one's,
# and a further way, a higher price allowed or a further venue never lowers it.
#
# A seller who prices as now looks a thing over before listing it, so what is asked follows what the thing turns out to
# be worth, as far as the markups of the books vary. That is how the books are read too (``typical_prices``). A way of
# the plan is a price named today: where the typical price was misjudged, it is too dear or too cheap.

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Places at which the unsure price, pace of selling and pull, and the likings, are looked at.
_PRICE_NODES = 5
_PACE_NODES = 3
_PULL_NODES = 2
_LEVEL_NODES = 7
#: Step of the logarithm from one first price considered to the next, and the lowest of them over the typical price.
_START_STEP = 0.07
_LOWEST_START = -0.35
#: Cuts considered: the week of the first, weeks between them, and the share taken off each time.
_CUTS = (
    (999, 999, 0.0),
    (4, 4, 0.05),
    (4, 4, 0.10),
    (8, 8, 0.10),
    (8, 8, 0.20),
    (13, 13, 0.25),
    (26, 8, 0.20),
    (26, 13, 0.30),
    (39, 6, 0.30),
)
#: Lowest offers considered, as parts of what is asked.
_LEAST_OFFERS = (0.7, 0.85)
#: No seller is taken to wait longer.
_MOST_WEEKS = 156
#: A highest price below this is no price: leave it. [cents]
LEAST_CENTS = 100
#: Ways at a time whose chance of a loss is looked at, those first that pay most by the target.
_AT_A_TIME = 32


@dataclass(frozen=True)
class Terms:
    """What a thing takes besides what it costs."""

    fee_price_cents: tuple[float, ...]
    fee_cents: tuple[float, ...]
    refund_share: float
    at_sale_cents: float
    before_cents: float
    week_cents: float
    before_min: float
    sale_min: float
    volume_cuft: float  # [cu ft]

    def net_cents(self, price: Floats) -> Floats:
        """What a sale at prices leaves, before the thing's cost and the owner's time. [cents]"""
        fee = np.interp(price, self.fee_price_cents, self.fee_cents)
        # Beyond the last price the fee goes on as steeply as it came there.
        slope = (self.fee_cents[-1] - self.fee_cents[-2]) / (self.fee_price_cents[-1] - self.fee_price_cents[-2])
        fee = fee + slope * np.maximum(price - self.fee_price_cents[-1], 0.0)
        return np.asarray(price * (1 - self.refund_share) - fee - self.at_sale_cents)


#: What is taken for a seller of whom a file tells no habit: the assumed markup, a tenth off every eight weeks.
COMMON_HABIT = Habit(1.15, 0.10, 8.0, 8.0, 52.0, 0.85)


class Ways(NamedTuple):
    """Ways of pricing: what is asked each week over the typical price, when to give up, which offers are taken."""

    log_ratio: Floats
    weeks: Ints
    least_offer: Floats
    #: What is asked follows the thing's worth, with so much spread; without one it stays a multiple of today's guess.
    spread: float | None = None


def habit_way(habit: Habit, *, weeks: int) -> Ways:
    """The one way in which a seller prices now.

    >>> habit_way(Habit(1.2, 0.5, 2.0, 2.0, 3.0, 0.9), weeks=5).weeks.tolist()
    [3]
    """
    # Every offer that the demand counts was taken: they are learnt from sales.
    last = min(max(math.ceil(habit.patience_weeks), 1), _MOST_WEEKS)
    return Ways(np.log(habit.ratios(max(weeks, last)))[None], np.array([last]), np.zeros(1), habit.spread)


@functools.lru_cache(maxsize=64)
def considered_ways(high: float, weeks: int) -> Ways:
    """Every way considered that asks no more than ``high`` times the typical price; a higher one adds ways only.

    >>> few, many = considered_ways(1.2, 52), considered_ways(1.65, 52)
    >>> bool((np.exp(few.log_ratio) <= 1.2).all()), len(few.log_ratio) < len(many.log_ratio)
    (True, True)
    """
    starts = np.arange(_LOWEST_START, math.log(high) + 1e-9, _START_STEP)
    cuts = np.stack([_cut(weeks, *cut) for cut in _CUTS])
    lasts = sorted({max(weeks // 2, 1), weeks})
    start, cut, last, offer = (
        part.ravel()
        for part in np.meshgrid(np.arange(starts.size), np.arange(len(cuts)), lasts, _LEAST_OFFERS, indexing="ij")
    )
    return Ways(starts[start][:, None] + cuts[cut], last.astype(np.int64), offer.astype(np.float64))


def _cut(weeks: int, first: float, every: float, share: float) -> Floats:
    """Logarithm of what cuts have left of the first price, week by week."""
    week = np.arange(weeks)
    return np.where(week >= first, 1 + np.floor((week - first) / max(every, 1e-9)), 0.0) * math.log1p(-share)


@dataclass(frozen=True)
class Question:
    """What is known of a thing in the seller's hand, and what the seller wants."""

    typical_cents: float
    price_error: float
    demand: Demand
    pace_error: float
    never_share: float
    appeal_spread: float
    terms: Terms
    target_cents: float
    loss_limit: float
    salvage: float
    money_rate: float
    storage_cents: float
    change_min: float
    grid: PriceGrid
    endings_cents: tuple[int, ...] = ()
    pull_error: float = 0.0
    pull_with_pace: float = 0.0
    habit: Habit = COMMON_HABIT
    loss_from_cents: float = 0.0
    size: str = ""
    trust: float = 1.0
    seen: TypicalPrice | None = field(default=None, compare=False)

    @property
    def habits(self) -> Ways:
        """The way in which the seller prices now."""
        return habit_way(self.habit, weeks=self.demand.weeks)


class Likely(NamedTuple):
    """The cost for the target 80 times of 100, and its errors by price and by pace. [cents]"""

    low_cents: float
    high_cents: float
    price_error_cents: float
    pace_error_cents: float


@dataclass(frozen=True)
class Answer:
    """The most to pay, and why."""

    highest_cents: int
    for_target_cents: int
    for_loss_cents: int
    binding: str
    sold_share: float
    weeks: float
    owner_min: float
    list_cents: int
    sale_cents: int
    takings_cents: int
    week_prices: tuple[tuple[int, int], ...]  # [cents]
    least_offer: float
    give_up_week: int
    asked: Question = field(repr=False, compare=False)
    way: Ways = field(repr=False, compare=False)
    venue: str = ""
    _cost_factor: float = field(default=1.0, repr=False)
    _losses: tuple[Floats, Floats] = field(default=(np.zeros(0), np.zeros(0)), repr=False, compare=False)

    @functools.cached_property
    def likely(self) -> Likely:
        """How sure the cost for the target is."""
        return _likely(self.asked, self.way)

    def hourly(self, cost_cents: float) -> float:
        """Expected net per owner hour at a cost. [dollars per hour]"""
        net = self.takings_cents - self._cost_factor * cost_cents
        return float(net / 100 / (self.owner_min / 60)) if self.owner_min > 0 else float("nan")

    def loss_chance(self, cost_cents: float) -> float:
        """Chance of losing more than what counts as a loss, at a cost."""
        cost, chance = self._losses
        return float(chance[cost < cost_cents].sum())


def highest_price(asked: Question, ways: Ways | None = None) -> Answer:
    """The most to pay for a thing priced in the best of some ways; without any, as the seller prices now."""
    ways = asked.habits if ways is None else ways
    found = _Course(asked, ways)
    target = found.for_target
    best, most, loss = -1, -math.inf, -math.inf
    order = np.argsort(-target, kind="stable")
    for rows in (order[at : at + _AT_A_TIME] for at in range(0, order.size, _AT_A_TIME)):
        if target[rows[0]] <= most:
            break
        limits = found.for_loss(rows)
        lower = np.minimum(target[rows], limits)
        at = int(lower.argmax())
        if lower[at] > most:
            best, most, loss = int(rows[at]), float(lower[at]), float(limits[at])
    return found.answer(best, loss)


def for_target_cents(asked: Question) -> float:
    """The cost at which a thing meets the target as the seller prices now; below 0 where even a free one does not."""
    return float(_Course(asked, asked.habits).for_target[0])


def most_to_pay(asked: Question) -> int:
    """The highest price alone, as the seller prices now. [cents]"""
    found = _Course(asked, asked.habits)
    limits = (float(found.for_target[0]), float(found.for_loss(np.zeros(1, dtype=np.int64))[0]), asked.typical_cents)
    return max(math.floor(min(limits)), 0)


def best_price(asked: Question) -> Answer:
    """The most to pay for a thing priced in the best way that the books support, the seller's own among them."""
    return _most(map(partial(highest_price, asked), (None, considered_ways(asked.grid.high, asked.demand.weeks))))


def _most(found: Iterable[Answer]) -> Answer:
    """The answer that allows to pay most; of two that allow as much, the first."""
    return max(found, key=lambda one: (one.highest_cents, min(one.for_target_cents, one.for_loss_cents)))


def unsold_chances(asked: Question, ways: Ways) -> tuple[Floats, Floats]:
    """Chance of being unsold before each week and at the end, and how sales fall on the asking price and each offer.

    Neither hangs on what a thing brings or costs.
    """
    demand = asked.demand
    parts = np.array([1.0, *demand.offers.parts])
    often = np.array([1.0, *demand.offers.per_sale])
    taken = np.where((parts == 1.0) | (parts >= ways.least_offer[:, None] - 1e-9), often, 0.0)
    total = taken.sum(axis=1)
    week = np.arange(ways.log_ratio.shape[1])
    on = week < ways.weeks[:, None]
    # A seller who waits longer than the demand is known for meets its last week again.
    weekly = demand.weekly[np.minimum(week, demand.weeks - 1)]
    unsold = np.zeros(ways.log_ratio.shape)
    for share, pull, shift, rest in _pulls(asked):
        rate = np.exp(demand.log_rate[0] + shift - pull * ways.log_ratio + weekly)
        met = np.cumsum(np.where(on, rate * total[:, None], 0.0), axis=1)
        off = asked.price_error if ways.spread is None else ways.spread
        spread = math.sqrt(asked.appeal_spread**2 + rest**2 + (pull * off) ** 2)
        for place, likely in zip(*_normal(_LEVEL_NODES), strict=True):
            unsold += share * likely * np.exp(-math.exp(spread * place) * met)
    unsold = asked.never_share + (1 - asked.never_share) * unsold
    return np.concatenate((np.ones((len(unsold), 1)), unsold), axis=1), taken / total[:, None]


def _pulls(asked: Question) -> list[tuple[float, float, float, float]]:
    """Pulls that may be true: share, pull, what the pace's logarithm moves with it, and its spread that is left."""
    together = asked.pull_with_pace / asked.pull_error if asked.pull_error > 0 else 0.0
    rest = math.sqrt(max(asked.pace_error**2 - together**2, 0.0))
    own = float(asked.demand.pull[0])
    return [
        (float(part), max(own + asked.pull_error * float(at), LEAST_PULL), together * float(at), rest)
        for at, part in zip(*_normal(_PULL_NODES if asked.pull_error > 0 else 1), strict=True)
    ]


class _Course:
    """What each of some ways of pricing a thing leads to."""

    def __init__(self, asked: Question, ways: Ways) -> None:
        self.asked, self.ways, terms = asked, ways, asked.terms
        self.still, self.part = unsold_chances(asked, ways)
        weeks = ways.log_ratio.shape[1]
        self.on = np.arange(weeks) < ways.weeks[:, None]
        sold = (self.still[:, :-1] - self.still[:, 1:])[:, :, None, None] * self.part[:, None, :, None]
        # What the thing turns out to be worth, for who asks by that.
        place, likely = _normal(1 if ways.spread is None else _PRICE_NODES)
        worth = asked.typical_cents * np.exp(asked.price_error * place)
        self.chance = sold * likely
        parts = np.array([1.0, *asked.demand.offers.parts])
        self.price = np.exp(ways.log_ratio)[:, :, None, None] * parts[:, None] * worth
        spent = terms.before_cents + terms.week_cents * (np.arange(weeks) + 1)
        self.net = terms.net_cents(self.price) - spent[:, None, None]
        self.unsold = self.still[:, -1]
        # What never sells has cost its weeks on sale.
        self.spent = terms.before_cents + terms.week_cents * ways.weeks
        self.takings = (self.chance * self.net).sum(axis=(1, 2, 3)) - self.unsold * self.spent
        self.weeks = (self.still[:, :-1] * self.on).sum(axis=1)
        moved = (np.diff(ways.log_ratio, axis=1) != 0) & self.on[:, 1:]
        self.minutes = (
            terms.before_min
            + terms.sale_min * (1 - self.unsold)
            + asked.change_min * (self.still[:, 1:-1] * moved).sum(axis=1)
        )
        self.factor = 1 + asked.money_rate * self.weeks / 52 - asked.salvage * self.unsold

    @property
    def for_target(self) -> Floats:
        """The cost of each way at which its expected net an hour is the target."""
        return np.asarray((self.takings - self.asked.target_cents / 60 * self.minutes) / self.factor)

    def losses(self, rows: Ints) -> tuple[Floats, Floats]:
        """Costs above which each way of ending is a loss that counts, in order, and the chance of each."""
        counted, left = self.asked.loss_from_cents, 1 - self.asked.salvage
        never = (counted - self.spent[rows]) / max(left, 1e-9)
        cost = np.concatenate((self.net[rows].reshape(rows.size, -1) + counted, never[:, None]), axis=1)
        chance = np.concatenate((self.chance[rows].reshape(rows.size, -1), self.unsold[rows, None]), axis=1)
        order = np.argsort(cost, axis=1)
        return np.take_along_axis(cost, order, axis=1), np.take_along_axis(chance, order, axis=1)

    def for_loss(self, rows: Ints) -> Floats:
        """The highest cost of some ways at which the chance of a loss that counts is within the limit."""
        cost, chance = self.losses(rows)
        beyond = np.cumsum(chance, axis=1) > self.asked.loss_limit + 1e-12
        at = np.where(beyond.any(axis=1), beyond.argmax(axis=1), cost.shape[1] - 1)
        return np.asarray(np.take_along_axis(cost, at[:, None], axis=1)[:, 0])

    def answer(self, row: int, for_loss: float) -> Answer:
        """The answer of one way."""
        asked = self.asked
        here = slice(row, row + 1)
        ways = self.ways
        one = Ways(ways.log_ratio[here], ways.weeks[here], ways.least_offer[here], ways.spread)
        for_target, for_loss = math.floor(self.for_target[row]), math.floor(for_loss)
        # Nobody pays more than like things sell for, whatever they may bring.
        limits = {"target": for_target, "loss": for_loss, "price": math.floor(asked.typical_cents)}
        binding = min(limits, key=lambda name: limits[name])
        last, sold = int(one.weeks[0]), 1 - float(self.unsold[row])
        price = rounded_price(asked.typical_cents * np.exp(one.log_ratio[0, :last]), asked.endings_cents)
        starts = [week for week in range(last) if week == 0 or price[week] != price[week - 1]]
        mean_price = float((self.chance[row] * self.price[row]).sum() / sold) if sold > 0 else 0.0
        cost, chance = self.losses(np.array([row]))
        return Answer(
            limits[binding] if limits[binding] >= LEAST_CENTS else 0,
            for_target,
            for_loss,
            binding,
            sold,
            float(self.weeks[row]),
            float(self.minutes[row]),
            round(float(price[0])),
            round(mean_price),
            round(float(self.takings[row])),
            tuple((week, round(float(price[week]))) for week in starts),
            float(one.least_offer[0]),
            last,
            asked,
            one,
            _cost_factor=float(self.factor[row]),
            _losses=(cost[0], chance[0]),
        )


def _likely(asked: Question, way: Ways) -> Likely:
    """How sure the cost for the target is, by the prices, paces and pulls that may be true.

    Whether this one thing is wanted is luck, not ignorance: it is averaged within.
    """
    found, share = [], []
    for part, pull, shift, rest in _pulls(asked):
        for value, likely in zip(*_normal(_PRICE_NODES), strict=True):
            for tempo, often in zip(*_normal(_PACE_NODES), strict=True):
                off = asked.price_error * float(value)
                # Where what is asked follows the thing's worth, so does what it brings, and else how fast it sells.
                worth = asked.typical_cents * (1.0 if way.spread is None else math.exp(off))
                rate = asked.demand.log_rate + shift + (pull * off if way.spread is None else 0.0) + rest * tempo
                one = replace(asked.demand, log_rate=rate, pull=np.array([pull]))
                sure = replace(asked, typical_cents=worth, demand=one, price_error=0.0, pace_error=0.0, pull_error=0.0)
                found.append(float(_Course(sure, way).for_target[0]))
                share.append(part * likely * often)
    limit = np.array(found).reshape(-1, _PRICE_NODES, _PACE_NODES)
    weight = np.array(share).reshape(limit.shape)
    order = np.argsort(limit, axis=None)
    flat = weight.ravel()[order]
    low, high = np.interp([0.1, 0.9], np.cumsum(flat) - flat / 2, limit.ravel()[order])
    errors = []
    for over in ((0, 2), (1,)):
        mine = weight.sum(axis=over)
        level = (limit * weight).sum(axis=over) / mine
        errors.append(float(np.sqrt((mine * (level - (mine * level).sum()) ** 2).sum())))
    return Likely(float(low), float(high), errors[0], errors[1])


@functools.cache
def _normal(nodes: int) -> tuple[Floats, Floats]:
    """Places of a normal distribution and how likely each is."""
    place, weight = np.polynomial.hermite_e.hermegauss(nodes)
    return place, weight / weight.sum()


# What the highest price worth paying hangs on, and whether a thing is worth more in parts.


def drivers(asked: Question) -> list[dict[str, Any]]:
    """What the highest price hangs on: each input moved down and up, the widest first."""
    terms, demand = asked.terms, asked.demand
    price, pace = max(asked.price_error, 0.05), max(asked.pace_error, 0.2)
    label = max(200.0, 0.2 * terms.at_sale_cents)

    def taking(**change: Any) -> Question:
        return replace(asked, terms=replace(terms, **change))

    def priced(by: float) -> Question:
        return replace(asked, typical_cents=asked.typical_cents * np.exp(by), price_error=0.0)

    def paced(by: float) -> Question:
        return replace(asked, demand=replace(demand, log_rate=demand.log_rate + by), pace_error=0.0)

    def worked(by: float) -> Question:
        return taking(before_min=terms.before_min * by, sale_min=terms.sale_min * by)

    quarter = "+25 % and -25 %"
    prices = f"{np.expm1(-price):+.0%} and {np.expm1(price):+.0%}"
    paces = f"x {np.exp(-pace):.2f} and x {np.exp(pace):.2f}"
    labels = "+$2 and -$2" if terms.at_sale_cents < 1000 else "+20 % and -20 %"
    costs = [taking(at_sale_cents=terms.at_sale_cents + by) for by in (label, -label)]
    unwanted = [replace(asked, never_share=min(asked.never_share * by, 0.95)) for by in (2.0, 0.5)]
    targets = [replace(asked, target_cents=asked.target_cents * by) for by in (1.25, 0.75)]
    pairs = (
        ("what like things sell for", prices, [priced(-price), priced(price)]),
        ("how fast they sell", paces, [paced(-pace), paced(pace)]),
        ("minutes of work", quarter, [worked(1.25), worked(0.75)]),
        ("label, materials and hired packing", labels, costs),
        ("share that nobody wants", "twice and half", unwanted),
        ("what an hour should bring", quarter, targets),
    )
    names = ("input", "moved", "highest_at_first_cents", "highest_at_second_cents")
    found: list[tuple[Any, ...]] = [(name, how, *map(most_to_pay, pair)) for name, how, pair in pairs]
    return [dict(zip(names, one, strict=True)) for one in sorted(found, key=lambda one: one[2] - one[3])]


def part_out(whole: Question, parts: Sequence[Question], *, apart_min: float = 0.0) -> dict[str, Any]:
    """Whether a thing is worth more whole or in parts: which way allows to pay more for the target."""
    if not parts:
        raise AssumptionError("parts", need="at least one", got=0)
    kept = highest_price(whole).for_target_cents
    # Finding it, its trip and taking it apart count once for the parts together.
    found = (highest_price(replace(part, terms=replace(part.terms, before_cents=0.0))) for part in parts)
    total = sum(one.for_target_cents for one in found) - whole.terms.before_cents - whole.target_cents / 60 * apart_min
    return {
        "better": "parts" if total > kept else "whole",
        "whole_for_target_cents": kept,
        "parts_for_target_cents": round(total),
        "apart_min": apart_min,
    }


def turning_price(asked: Question, cost_cents: float, *, steps: int = 14) -> float | None:
    """What like things must sell for that a cost is just the highest price."""

    def worth(factor: float) -> bool:
        return most_to_pay(replace(asked, typical_cents=asked.typical_cents * factor)) >= cost_cents

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


# The question asked in a shop aisle: what is the most to pay for this, and will it sell?
#
# It is answered from a small file of what the shop's books know, left behind by a report (``shop_knowledge``),
# without waiting for tables of data.

_AGAIN = "run 'flipkit report' again"
#: Name under which the whole shop stands in the knowledge.
SHOP = "whole shop"
#: The size classes from the smallest up; a thing too heavy for one belongs to a later one.
_SIZES = ("small", "medium", "bulky", "oversize")
#: What the knowledge says by size class of the terms.
_TAKES = [one.name for one in fields(Terms) if not one.name.startswith("fee_")]


def answer(knowledge: Mapping[str, Any], category: str, **known: Any) -> Answer:
    """The most to pay for a thing by a seller who prices as now, from what the shop knows."""
    return highest_price(question(knowledge, category, **known))


def recommended(
    knowledge: Mapping[str, Any], category: str, *, venue: str = "", own_venues: bool = False, **known: Any
) -> Answer:
    """The most to pay by a seller who prices in the way and sells at the venue that allow most.

    With ``own_venues`` it is sold where such things are sold now, and priced otherwise alone.
    """
    kind = knowledge["categories"].get(category) or knowledge["categories"][SHOP]
    found = []
    # Without a wish, the venues as they are used now stand beside each alone.
    for place in [venue] if venue or own_venues else ["", *_places(knowledge, kind, known)]:
        asked = question(knowledge, category, venue=place, **known)
        found.append(replace(best_price(asked), venue=place))
    return _most(found)


def question(
    knowledge: Mapping[str, Any],
    category: str,
    *,
    price_cents: float | None = None,
    comparables_cents: Sequence[float] = (),
    weights: Sequence[float] | None = None,
    size: str = "",
    weight_lb: float | None = None,
    venue: str = "",
    at_sale_cents: float | None = None,
    target_cents: float | None = None,
    loss_limit: float | None = None,
) -> Question:
    """A question about a thing from what the shop knows; without a venue it sells as such things do now."""
    kind = knowledge["categories"].get(category) or knowledge["categories"][SHOP]
    wishes = knowledge["wishes"]
    if price_cents is not None and not price_cents > 0:
        raise AssumptionError("price", need="above 0", got=price_cents / 100)
    usual = kind["typical_cents"] and (float(kind["typical_cents"]), float(kind["typical_spread"]))
    seen = None
    if len(comparables_cents):
        seen = typical_price(comparables_cents, weights, rules=ComparableRules(**knowledge["comparable_rules"]))
    if seen is None and price_cents is None and not usual:
        mend = "say what like things sell for, or what one sold for"
        raise AssumptionError("price", need="known for the first sales", got="none", mend=mend)
    guess = None if price_cents is None else (float(price_cents), float(wishes["guess_error"]))
    likely = likely_price(seen, usual=usual or None, guess=guess)
    if guess is None and not (seen and likely.trust):
        # Nothing said that counts: asked as the decision asks, of one that sells for what the kind usually does.
        likely = LikelyPrice(float(kind["prices_cents"][1]), float(wishes["guess_error"]), likely.trust)
    target = float(wishes["target_cents"] if target_cents is None else target_cents)
    if not target >= 0:
        raise AssumptionError("target", need="at least 0", got=target / 100)
    limit = float(wishes["loss_limit"] if loss_limit is None else loss_limit)
    if not 0 <= limit <= 1:
        raise AssumptionError("chance of loss", need="between 0 % and 100 %", got=f"{limit:.0%}")
    if venue and venue not in kind["fees"]:
        raise AssumptionError("venue", need=f"one of {', '.join(kind['fees'])}", got=venue)
    chosen, terms = _terms(knowledge, kind, size, weight_lb, venue, at_sale_cents)
    demand = demand_from(kind["demand"])
    ratio = kind["venue_pace"].get(venue, 1.0)
    demand = replace(demand, log_rate=demand.log_rate + np.log(ratio))
    low, high, step = knowledge["grid"]
    return Question(
        likely.cents,
        likely.error,
        demand,
        float(kind["pace_error"]),
        float(kind["never_share"]),
        float(kind["appeal_spread"]),
        terms,
        target,
        limit,
        float(wishes["salvage"]),
        float(wishes["money_rate"]),
        float(wishes["storage_cents"]),
        float(wishes["change_min"]),
        PriceGrid(low, float(kind.get("highest_ratio", high)), step),
        tuple(knowledge["endings_cents"]),
        # A file of before these were written knows a sure pull, common habits and counts each cent lost.
        float(kind.get("pull_error", 0.0)),
        float(kind.get("pull_with_pace", 0.0)),
        Habit(**kind["habit"]) if "habit" in kind else COMMON_HABIT,
        float(wishes.get("loss_from_cents", 0.0)),
        chosen,
        likely.trust,
        seen,
    )


def _terms(
    knowledge: Mapping[str, Any],
    kind: Mapping[str, Any],
    size: str,
    weight_lb: float | None,
    venue: str,
    at_sale_cents: float | None,
) -> tuple[str, Terms]:
    """The size class of a thing, by what was said and what it weighs, and what it takes."""
    chosen = size or kind["size"]
    if chosen not in kind["sizes"]:
        raise AssumptionError("size", need=f"one of {', '.join(kind['sizes'])}", got=size)
    collected = float(venue in knowledge["collected"]) if venue else float(kind["sizes"][chosen].get("collected", 0.0))
    each = {chosen: dict(kind["sizes"][chosen])}
    if weight_lb is not None and collected < 1:
        if "pound_cents" not in each[chosen]:
            raise AssumptionError("weight", need="a pack that knows labels by weight", got="none", mend=_AGAIN)
        if not weight_lb > 0:
            raise AssumptionError("weight", need="above 0", got=weight_lb)
        most = knowledge.get("most_lb")
        if most and weight_lb > most and at_sale_cents is None:
            places = [name for name in kind["fees"] if name in knowledge["collected"]]
            mend = f"sell it where it is collected: --venue {places[0]}" if places else "sell it where it is collected"
            need = f"at most {most:g} lb, the most that your carriers take"
            raise AssumptionError("weight", need=need, got=f"{weight_lb:g} lb", mend=mend)
        heavy = [name for above, name in knowledge.get("weight_classes", ()) if weight_lb > above]
        last = max([chosen, *heavy], key=_SIZES.index)
        # A heavier thing is never cheaper to send than a lighter one, so the classes between are looked at too.
        between = _SIZES[_SIZES.index(chosen) : _SIZES.index(last) + 1]
        each = {name: dict(kind["sizes"][name]) for name in between if name in kind["sizes"]}
        for terms in each.values():
            terms["at_sale_cents"] += terms["pound_cents"] * (weight_lb - terms["weight_lb"])
        chosen = last
    most_of = {name: max(terms[name] for terms in each.values()) for name in _TAKES}
    if at_sale_cents is not None:
        most_of["at_sale_cents"] = float(at_sale_cents)
    # What is collected has no label and hardly any packing.
    most_of["at_sale_cents"] *= 1 - collected
    most_of["sale_min"] -= collected * max(terms["post_min"] for terms in each.values())
    return chosen, Terms(tuple(knowledge["fee_price_cents"]), _fees(knowledge, kind, venue, collected), **most_of)


def _fees(knowledge: Mapping[str, Any], kind: Mapping[str, Any], venue: str, collected: float) -> tuple[float, ...]:
    """Fees at a venue, or as such things are sold now: so often collected, the rest where they mostly go."""
    if venue:
        return tuple(kind["fees"][venue])
    posted = np.asarray(kind["fees"][kind["venue"]], dtype=np.float64)
    places = [
        np.asarray(kind["fees"][name], dtype=np.float64) for name in knowledge["collected"] if name in kind["fees"]
    ]
    local = np.mean(places, axis=0) if places else posted
    return tuple((1 - collected) * posted + collected * local)


def fee_step(knowledge: Mapping[str, Any], kind: Mapping[str, Any], venue: str = "") -> dict[str, Any] | None:
    """The first step of a fee schedule where the fee rises by more than the price, so that a ceiling may fall there.

    >>> kind = {"fees": {"fair": [10, 20, 30], "hall": [10, 150, 160]}}
    >>> fee_step({"fee_price_cents": [100, 200, 300]}, kind)
    {'venue': 'hall', 'price_cents': 100, 'fee_rise_cents': 140}
    """
    price = knowledge["fee_price_cents"]
    for place, fees in kind["fees"].items():
        for at in range(len(price) - 1):
            rise = fees[at + 1] - fees[at]
            if place in {venue or place} and rise > price[at + 1] - price[at]:
                return {"venue": place, "price_cents": price[at], "fee_rise_cents": rise}
    return None


def _places(knowledge: Mapping[str, Any], kind: Mapping[str, Any], known: Mapping[str, Any]) -> list[str]:
    """Venues at which a thing can be sold: what no carrier takes, only where it is collected."""
    most, weight = knowledge.get("most_lb"), known.get("weight_lb")
    heavy = bool(most and weight and weight > most and known.get("at_sale_cents") is None)
    return [name for name in kind["fees"] if not heavy or name in knowledge["collected"]]


def venue_answers(knowledge: Mapping[str, Any], category: str, **known: Any) -> dict[str, Answer]:
    """The same thing at each venue, local ones included: which allows to pay most for it."""
    kind = knowledge["categories"].get(category) or knowledge["categories"][SHOP]
    places = _places(knowledge, kind, known)
    found = {venue: answer(knowledge, category, venue=venue, **known) for venue in places}
    # Where no venue allows anything, the one that comes nearest to the target stands first.
    return dict(sorted(found.items(), key=lambda pair: (-pair[1].highest_cents, -pair[1].for_target_cents)))


def pocket_table(knowledge: Mapping[str, Any], *, categories: Sequence[str] | None = None) -> list[dict[str, Any]]:
    """The highest price by category, size class and each kind's own low, usual and high sale price."""
    rows = []
    for name in [name for name in knowledge["categories"] if name != SHOP] if categories is None else categories:
        kind = knowledge["categories"][name]
        for size in usual_sizes(kind):
            rule = aisle_rule(knowledge, name, size=size)
            for which, price in zip(PRICES, kind["prices_cents"], strict=True):
                rows.append(
                    {
                        "category": name,
                        "size_class": size,
                        "which": which,
                        "price_cents": int(price),
                        "highest_cents": most_to_pay(question(knowledge, name, price_cents=price, size=size)),
                        "rule": rule,
                    }
                )
    return rows


def usual_sizes(kind: Mapping[str, Any]) -> list[str]:
    """The size classes into which enough of a kind pack.

    >>> usual_sizes({"size_shares": {"medium": 0.93, "small": 0.07}, "size": "medium"})
    ['medium']
    """
    return [size for size, share in kind["size_shares"].items() if share >= _USUAL_SIZE] or [kind["size"]]


#: The share of a kind that packs into a usual size class of it.
_USUAL_SIZE = 0.1
#: A kind's own sale prices for the pocket sheet: one in ten sold for less than the low one, one in ten for more than
#: the high one.
PRICES = ("low", "usual", "high")
#: Prices at which a rule for the aisle is held beside the exact highest price.
_RULE_PRICES = 24
#: How much farther off a rule may be that gives the prices of the sheet to the dollar. [cents]
_LINE_CENTS = 200
#: Halvings of the range in which its first price is sought.
_RULE_TURNS = 12
#: A rule within so much of the exact price says no range, and a price of no more is none. [cents]
_WITHIN_CENTS = 100


class AisleRule(NamedTuple):
    """A rule that needs no table: a share of what it sells for, less an amount, and nothing under a price.

    It holds from ``nothing_under_cents`` to ``up_to_cents`` and is off by ``off_cents`` at the most; where ``share`` is
    0 nothing is paid in that span.
    """

    share: float
    less_cents: int
    nothing_under_cents: int
    up_to_cents: int
    off_cents: int

    def cents(self, price_cents: float) -> float:
        """The most to pay for one that sells at a price, by the rule."""
        if not self.share or price_cents < self.nothing_under_cents:
            return 0.0
        return max(self.share * price_cents - self.less_cents, 0.0)


def aisle_rule(knowledge: Mapping[str, Any], category: str, *, size: str = "") -> AisleRule:
    """The line nearest to the highest prices over the kind's own sale prices, in whole percents and dollars."""
    low, usual, high = knowledge["categories"][category]["prices_cents"]
    asked = question(knowledge, category, price_cents=max(high, 100), size=size)
    begins = turning_price(asked, _WITHIN_CENTS, steps=_RULE_TURNS)
    if begins is None or begins > high:
        return AisleRule(0.0, 0, high, high, 0)
    first = max(low, math.floor(begins / 100) * 100)
    price = np.unique(np.rint(np.linspace(first, high, _RULE_PRICES) / 100)) * 100
    exact = np.array([most_to_pay(replace(asked, typical_cents=float(one))) for one in price], dtype=np.float64)
    slope = np.polyfit(price, exact, 1)[0] if price.size > 1 else 0.0
    seen = [100 * math.floor(one / 100) for one in (usual, high) if one >= first]
    meant = [
        math.floor(most_to_pay(replace(asked, typical_cents=float(one))) / 100) for one in (usual, high) if one >= first
    ]
    lines = []
    for percent in range(max(math.floor(100 * slope) - 3, 1), min(math.ceil(100 * slope) + 3, 100) + 1):
        away = percent / 100 * price - exact
        middle = 100 * round((away.max() + away.min()) / 200)
        for less in range(middle - 200, middle + 300, 100):
            off = float(np.abs(np.maximum(percent / 100 * price - less, 0.0) - exact).max())
            told = [math.floor(max(percent * one - 100 * less, 0) / 10_000) for one in seen]
            lines.append((sum(one != other for one, other in zip(told, meant, strict=True)), off, percent / 100, less))
    # Of the lines that are about as near, the one that gives the very prices that stand beside it.
    nearest = min(off for _, off, _, _ in lines)
    _, off, share, less = min(line for line in lines if line[1] <= nearest + _LINE_CENTS)
    return AisleRule(share, less, first if first > low else 0, high, math.ceil(off))


# The answer in the shop aisle, whole: the highest price, what drives it, where to sell, this cost judged.

#: Halvings of the range in which the typical price is sought at which a cost is just right: within 2 %.
_TURNS = 8
#: Chance of changing the decision from which on more comparables are worth looking for.
_WORTH_LOOKING = 0.2
#: A guess so many of the kind's spreads from its usual price is asked about.
_FAR_GUESS = 3.0
#: No kind's things are so alike that a price within so much of its usual one is odd.
_LEAST_SPREAD = 0.2


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
    """The most to pay for a thing, with everything that the question in the aisle asks."""
    if not category.strip():
        raise AssumptionError("category", need="the kind of thing, such as lamps", got=category)
    if cost_cents is not None and cost_cents < 0:
        raise AssumptionError("cost", need="at least 0", got=cost_cents / 100)
    if not 0 <= apart_min < math.inf:
        raise AssumptionError("minutes to take it apart", need="at least 0", got=apart_min)
    name = known_category(knowledge, category)
    asked = question(knowledge, name, venue=venue, **known)
    found, best = highest_price(asked), recommended(knowledge, name, venue=venue, **known)
    kind, decision = knowledge["categories"][name], knowledge.get("decisions", {}).get(name, {})
    compared, guess = known.get("comparables_cents") or (), known.get("price_cents")
    sources = [("comparables", len(compared)), ("price", guess is not None)]
    answer: dict[str, Any] = {
        "category": category if name == SHOP else name,
        "judged_by": name,
        "known_categories": [each for each in knowledge["categories"] if each != SHOP],
        "items_in_books": kind["items"],
        "sales_in_books": kind["sold"],
        "too_few_to_tell": kind["sold"] < knowledge["too_few_items"],
        "verdict": decision.get("verdict", ""),
        "decision": decision.get("sentence", ""),
        # Asked of the kind and nothing else, the answer is the decision's own.
        "as_decided": name != SHOP and not venue and all(one in (None, "", [], ()) for one in known.values()),
        "by_sales": kind.get("by_sales", False),
        "knowledge_as_of": knowledge.get("as_of", ""),
        "currency": knowledge.get("currency", "USD"),
        "size_class": asked.size,
        "venue": venue or kind["venue"],
        "typical_cents": round(asked.typical_cents),
        "typical_from": " and ".join(word for word, given in sources if given) or "books",
        "typical_error_share": round(asked.price_error, 4),
        **({"usual_cents": round(kind["typical_cents"])} if kind["typical_cents"] else {}),
        **_comparables(asked, compared, known.get("weights")),
        "guess_is_far": _guess_is_far(kind, guess),
        "for_target_low_cents": round(found.likely.low_cents),
        "for_target_high_cents": round(found.likely.high_cents),
        "target_cents_per_hour": round(asked.target_cents),
        "loss_limit_share": asked.loss_limit,
        "loss_from_cents": round(asked.loss_from_cents),
        "at_sale_cents": round(asked.terms.at_sale_cents),
        **_course(found),
        "recommended": {
            "venue": best.venue,
            "collected": best.venue in knowledge["collected"],
            **_course(best),
        },
        "drivers": drivers(asked),
        "venues": _venues(knowledge, name, venue or kind["venue"], known),
        "fee_step": fee_step(knowledge, kind, venue),
    }
    if cost_cents is not None:
        answer["at_cost"] = _at_cost(asked, found, best, cost_cents)
    if parts_cents:
        wishes = {key: known[key] for key in ("size", "target_cents", "loss_limit") if known.get(key) is not None}
        pieces = [question(knowledge, name, price_cents=price, venue=venue, **wishes) for price in parts_cents]
        answer["parts"] = part_out(asked, pieces, apart_min=apart_min) | {"part_cents": list(parts_cents)}
    return answer


def known_category(knowledge: Mapping[str, Any], category: str) -> str:
    """The category as the books spell it, or the whole shop for one that they do not know.

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


def sales_compared(
    knowledge: Mapping[str, Any], sales: Sequence[tuple[int, dt.date | None, str]], condition: str = ""
) -> dict[str, Any]:
    """Comparables, each a price, perhaps a day and a condition, as ``question`` takes them.

    >>> rules = {"half_life_days": 180.0, "other_condition": 0.5, "unknown_condition": 0.75, "outlier_spreads": 3.0,
    ...     "spread": 0.3, "spread_weight": 4.0}
    >>> sales_compared({"comparable_rules": rules}, [(6000, None, ""), (5500, None, "")])
    {'comparables_cents': [6000, 5500], 'weights': None}
    """
    prices = [price for price, _, _ in sales]
    days = [day for _, day, _ in sales if day]
    if not days and not condition:
        return {"comparables_cents": prices, "weights": None}
    # Seen from the last day that anybody speaks of, so that the same words give the same answer.
    last = max([*days, *([dt.date.fromisoformat(knowledge["as_of"])] if knowledge.get("as_of") else [])], default=None)
    ago = [float((last - day).days) if last and day else math.nan if days else 0.0 for _, day, _ in sales]
    states = [state for _, _, state in sales]
    weights = comparable_weights(ago, states, condition, rules=ComparableRules(**knowledge["comparable_rules"]))
    return {"comparables_cents": prices, "weights": weights.tolist()}


def _course(found: Answer) -> dict[str, Any]:
    """The price, how a thing is listed and what comes of it."""
    return {
        "highest_cents": found.highest_cents,
        "for_target_cents": found.for_target_cents,
        "for_loss_cents": found.for_loss_cents,
        "binding": found.binding,
        "sold_share": round(found.sold_share, 4),
        "expected_weeks": round(found.weeks, 2),
        "owner_min": round(found.owner_min, 1),
        "list_cents": found.list_cents,
        "mean_sale_cents": found.sale_cents,
        "least_offer_share": found.least_offer,
        "give_up_after_weeks": found.give_up_week,
        "price_path": [{"week": week, "price_cents": price} for week, price in found.week_prices],
    }


def _comparables(asked: Question, compared: Sequence[float], weights: Sequence[float] | None) -> dict[str, Any]:
    seen = asked.seen
    if seen is None:
        return {}
    far = [round(price) for price, out in zip(compared, seen.outlier, strict=True) if out]
    return {
        "comparables": seen.sales,
        "comparables_worth": round(seen.effective, 2),
        "comparables_middle_cents": seen.cents,
        "comparables_spread_share": round(seen.spread, 4),
        "comparables_trust_share": round(asked.trust, 4),
        "groups_cents": list(seen.groups),
        "typed_again": len(set(zip(compared, weights or [1.0] * len(compared), strict=True))) < len(compared),
        "outliers_cents": far,
    }


def _guess_is_far(kind: Mapping[str, Any], guess: float | None) -> bool:
    """Whether the seller's guess is far from what the kind sells for."""
    if guess is None or not kind["typical_cents"]:
        return False
    away = abs(math.log(guess / kind["typical_cents"])) / max(float(kind["typical_spread"]), _LEAST_SPREAD)
    return away > _FAR_GUESS


def _venues(knowledge: Mapping[str, Any], name: str, own: str, known: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Each venue, the one that allows to pay most first."""
    kept = ("for_target_cents", "highest_cents", "sold_share", "expected_weeks", "list_cents")
    return [
        {
            "venue": place,
            "collected": place in knowledge["collected"],
            "asked": place == own,
            **{name: figure for name, figure in _course(one).items() if name in kept},
        }
        for place, one in venue_answers(knowledge, name, **known).items()
    ]


def _at_cost(asked: Question, found: Answer, best: Answer, cost_cents: int) -> dict[str, Any]:
    """What is asked for it, judged; where the judgement would turn, and whether more comparables could turn it."""
    hourly = found.hourly(cost_cents)
    turning = turning_price(asked, cost_cents, steps=_TURNS)
    judged: dict[str, Any] = {
        "cost_cents": cost_cents,
        "worth_it": cost_cents <= found.highest_cents > 0,
        "worth_it_if_recommended": cost_cents <= best.highest_cents > 0,
        "cents_per_hour": round(hourly * 100) if hourly == hourly else None,
        "loss_chance_share": round(found.loss_chance(cost_cents), 4),
        "turning_typical_cents": None if turning is None else round(turning),
    }
    if asked.seen is not None:
        leaning = (asked.typical_cents, asked.price_error)
        judged["more_comparables_to_turn"] = (
            None
            if turning is None
            else more_comparables(asked.seen, turning_cents=turning, chance=_WORTH_LOOKING, leaning=leaning)
        )
        judged["more_comparables_chance_share"] = _WORTH_LOOKING
    return judged
