"""The most to pay for a thing, by its hourly return and its risk of a loss."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from flipkit.analysis.comparables import ComparableRules, TypicalPrice, more_comparables, typical_price
from flipkit.analysis.demand import LEAST_PULL, Demand, Possible, demand_from, possible_demand, wanting
from flipkit.analysis.pricing import (
    Outcomes,
    PriceGrid,
    PricePaths,
    PriceSettings,
    PriceTable,
    path_outcomes,
    price_table,
    weighed_paths,
)
from flipkit.errors import AssumptionError

# The most to pay for a thing: what it will bring, the hours that it takes, and the chance of losing money.
#
# The highest price is the lower of two: the cost at which the expected net per owner hour just meets the target,
# and the cost at which the chance of losing money reaches the stated limit.

Floats = npt.NDArray[np.float64]

#: Places at which the unsure price, pace of selling and pull, and the likings, are looked at.
_PRICE_NODES = 5
_PACE_NODES = 3
_PULL_NODES = 2
_LIKING_NODES = 5


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
    week_min: float
    volume_cuft: float  # [cu ft]

    def net_cents(self, price: Floats) -> Floats:
        """What a sale at prices leaves, before the thing's cost and the owner's time. [cents]"""
        fee = np.interp(price, self.fee_price_cents, self.fee_cents)
        # Beyond the last price the fee goes on as steeply as it came there.
        slope = (self.fee_cents[-1] - self.fee_cents[-2]) / (self.fee_price_cents[-1] - self.fee_price_cents[-2])
        fee = fee + slope * np.maximum(price - self.fee_price_cents[-1], 0.0)
        return np.asarray(price * (1 - self.refund_share) - fee - self.at_sale_cents)


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

    @property
    def possible(self) -> Possible:
        """What its demand may be: things differ, and price, pace and pull may be misjudged."""
        misjudged = float(self.demand.pull[0]) * self.price_error
        spread = float(np.sqrt(self.appeal_spread**2 + self.pace_error**2 + misjudged**2))
        return possible_demand(self.never_share, spread, pull_error=self.pull_error, together=self.pull_with_pace)


@dataclass(frozen=True)
class Answer:
    """The most to pay, and why."""

    highest_cents: int
    for_target_cents: int
    for_loss_cents: int
    low_cents: int
    high_cents: int
    price_error_cents: int
    pace_error_cents: int
    binding: str
    sold_share: float
    weeks: float
    owner_min: float
    list_cents: int
    sale_cents: int
    takings_cents: int
    week_prices: tuple[tuple[int, int], ...]  # [cents]
    first_offer_cents: int
    give_up_week: int
    _cost_factor: float = field(repr=False)
    _limits: tuple[Floats, Floats, float] = field(repr=False, compare=False)

    def hourly(self, cost_cents: float) -> float:
        """Expected net per owner hour at a cost. [dollars per hour]"""
        net = self.takings_cents - self._cost_factor * cost_cents
        return float(net / 100 / (self.owner_min / 60)) if self.owner_min > 0 else float("nan")

    def loss_chance(self, cost_cents: float) -> float:
        """Chance of losing money at a cost."""
        net, chance, unsold = self._limits
        return float(unsold + chance[net < cost_cents].sum())


def highest_price(asked: Question, sale: tuple[PricePaths, PriceTable] | None = None) -> Answer:
    """The most to pay for a thing.

    Parameters
    ----------
    asked : Question
        The thing and the seller's wishes.
    sale : tuple of (PricePaths, PriceTable), optional
        What ``best_sale`` says of it, where that is at hand.

    Returns
    -------
    Answer
        The price, its reasons, and how the thing is best sold.

    Examples
    --------
    See ``buying.answer``, which makes the question from what the shop knows.
    """
    paths, table = best_sale(asked) if sale is None else sale
    found, weight = _seen(asked, paths, table)
    terms = asked.terms
    wait = np.arange(found.still.shape[1])
    # Cash of each way it can end: sold in a week at a price, less what the weeks before took.
    spent = terms.before_cents + terms.week_cents * (wait + 1)
    net = found.net_cents + asked.target_cents / 60 * terms.sale_min - spent[None, :, None]
    chance = found.chance * weight[:, None, None]
    sold_rows = found.sold_share
    weeks_rows = found.weeks
    unsold_rows = 1 - sold_rows
    takings_rows = (found.chance * net).sum(axis=(1, 2)) - unsold_rows * (
        terms.before_cents + terms.week_cents * _life(found)
    )
    minutes_rows = (
        terms.before_min + terms.sale_min * sold_rows + terms.week_min * weeks_rows + asked.change_min * found.changes
    )
    factor_rows = 1 + asked.money_rate * weeks_rows / 52 - asked.salvage * unsold_rows
    limit_rows = (takings_rows - asked.target_cents / 60 * minutes_rows) / factor_rows
    sold, weeks, takings, minutes, factor = (
        float(weight @ rows) for rows in (sold_rows, weeks_rows, takings_rows, minutes_rows, factor_rows)
    )
    for_target = (takings - asked.target_cents / 60 * minutes) / factor
    unsold = 1 - sold
    for_loss = _loss_cost(net.ravel(), chance.ravel(), unsold, asked.loss_limit)
    for_target, for_loss = np.floor(for_target), np.floor(for_loss)
    highest = int(max(min(for_target, for_loss), 0.0))
    low, high, by_price, by_pace = _likely(limit_rows, weight)
    price = paths.price_cents[0]
    on = price > 0
    starts = [week for week in np.flatnonzero(on) if week == 0 or price[week] != price[week - 1]]
    mean_price = float((chance * found.price_cents).sum() / sold) if sold > 0 else 0.0
    return Answer(
        highest,
        int(for_target),
        int(for_loss),
        round(low),
        round(high),
        round(by_price),
        round(by_pace),
        "target" if for_target <= for_loss else "loss",
        sold,
        weeks,
        minutes,
        round(float(price[0])),
        round(mean_price),
        round(takings),
        tuple((int(week), round(float(price[week]))) for week in starts),
        round(float(paths.lowest_offer_cents[0, 0])),
        int(paths.weeks_to_give_up[0]),
        factor,
        (net.ravel(), chance.ravel(), unsold),
    )


def best_sale(asked: Question) -> tuple[PricePaths, PriceTable]:
    """How a thing is best sold, all that its demand may be weighed.

    See ``tests/analysis/test_buying.py``.
    """
    minute = asked.target_cents / 60
    settings = PriceSettings(
        asked.demand.weeks, keep=(1 + asked.money_rate) ** (-1 / 52), change_cents=asked.change_min * minute
    )
    terms = asked.terms
    table = price_table(
        np.array([asked.typical_cents]),
        # Work that comes only with a sale is weighed against the price that brings it.
        lambda price: terms.net_cents(price) - minute * terms.sale_min,
        asked.demand,
        grid=asked.grid,
        endings_cents=asked.endings_cents,
    )
    week = asked.storage_cents * terms.volume_cuft + minute * terms.week_min
    # One sweep is worth all but a two-thousandth of the best, and an aisle does not wait.
    paths = weighed_paths(asked.demand, asked.possible, table, settings, storage_cents=week, sweeps=1)
    return paths, table


def _seen(asked: Question, paths: PricePaths, table: PriceTable) -> tuple[Outcomes, Floats]:
    """What the path leads to at every price, pace, pull and liking that may be true, and their weights."""
    place, share = np.polynomial.hermite_e.hermegauss(_PRICE_NODES)
    pace, pace_share = np.polynomial.hermite_e.hermegauss(_PACE_NODES)
    steep, steep_share = np.polynomial.hermite_e.hermegauss(_PULL_NODES if asked.pull_error > 0 else 1)
    liking = wanting(asked.never_share, asked.appeal_spread, nodes=_LIKING_NODES)
    value, slope, tempo, level = (part.ravel() for part in np.meshgrid(place, steep, pace, liking.level, indexing="ij"))
    shares = (share / share.sum(), steep_share / steep_share.sum(), pace_share / pace_share.sum(), liking.share)
    weight = np.einsum("i,j,k,l->ijkl", *shares).ravel()
    pull = np.maximum(asked.demand.pull[0] + asked.pull_error * slope, LEAST_PULL)
    together = asked.pull_with_pace / asked.pull_error if asked.pull_error > 0 else 0.0
    rest = float(np.sqrt(max(asked.pace_error**2 - together**2, 0.0)))
    log_level = np.log(np.maximum(level, 1e-300))
    rate = asked.demand.log_rate[0] + pull * asked.price_error * value + together * slope + rest * tempo + log_level
    truth = Demand(rate, pull, asked.demand.weekly, asked.demand.offers)
    n = weight.size
    prices = (n, table.price_cents.shape[1])
    wide = PriceTable(
        np.broadcast_to(table.price_cents, prices),
        np.broadcast_to(table.log_ratio, prices),
        np.broadcast_to(table.net_cents, prices),
        table.offer_steps,
        table.asked,
    )
    weeks = (n, paths.place.shape[1])
    found = path_outcomes(
        np.broadcast_to(paths.place, weeks), np.broadcast_to(paths.lowest_offer_cents, weeks), truth, wide
    )
    return found, weight


def _life(found: Outcomes) -> Floats:
    """Weeks that what never sells is kept."""
    return np.asarray((found.still > 0).sum(axis=1), dtype=np.float64)


def _loss_cost(net: Floats, chance: Floats, unsold: float, limit: float) -> float:
    """Cost at which the chance of ending below it reaches the limit; 0 where it is passed already."""
    if unsold >= limit:
        return 0.0
    order = np.argsort(net)
    below = unsold + np.cumsum(chance[order])
    at = int(np.searchsorted(below, limit))
    return float(net[order][min(at, net.size - 1)])


def _likely(limit: Floats, weight: Floats) -> tuple[float, float, float, float]:
    """The tenth and the ninetieth hundredth of the cost for the target, and its errors by price and by pace.

    Whether this one thing is wanted is luck, not ignorance: it is averaged before.
    """
    # The last places are the likings, and the thing that nobody wants.
    cell = weight.reshape(_PRICE_NODES, -1, _LIKING_NODES + 1)
    total = cell.sum(axis=2)
    mean = (limit.reshape(cell.shape) * cell).sum(axis=2) / total
    order = np.argsort(mean.ravel())
    flat = total.ravel()[order]
    low, high = np.interp([0.1, 0.9], np.cumsum(flat) - flat / 2, mean.ravel()[order])
    errors = []
    for axis in (1, 0):
        share = total.sum(axis=axis)
        level = (mean * total).sum(axis=axis) / share
        errors.append(float(np.sqrt(share @ (level - share @ level) ** 2)))
    return float(low), float(high), errors[0], errors[1]


# What the highest price worth paying hangs on, and whether a thing is worth more in parts.


class Driver(NamedTuple):
    """One input moved down and up, and the highest price then. [cents]"""

    name: str
    moved: str
    low_cents: int
    high_cents: int


def drivers(asked: Question) -> list[Driver]:
    """What the highest price hangs on: each input moved down and up, the widest first.

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


# The question asked in a shop aisle: what is the most to pay for this, and will it sell?
#
# It is answered from a small file of what the shop's books know, left behind by a report (``shop_knowledge``),
# without waiting for tables of data.

_AGAIN = "run 'flipkit report' again"
#: Name under which the whole shop stands in the knowledge.
SHOP = "whole shop"


def answer(knowledge: Mapping[str, Any], category: str, **known: Any) -> Answer:
    """The most to pay for a thing, from what the shop knows.

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


# The answer in the shop aisle, whole: the highest price, what drives it, where to sell, this cost judged.

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
        "venues": _venues(knowledge, name, venue or kind["venue"], known),
    }
    if cost_cents is not None:
        answer["at_cost"] = _at_cost(asked, found, seen, cost_cents)
    if parts_cents:
        answer["parts"] = _parts(knowledge, name, asked, parts_cents, apart_min, venue, known)
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


def _venues(knowledge: Mapping[str, Any], name: str, own: str, known: Mapping[str, Any]) -> list[dict[str, Any]]:
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
