"""The most to pay for a thing: what it will bring, the hours that it takes, and the chance of losing money.

The highest price is the lower of
two: the cost at which the expected net per owner hour just meets the target, and the cost at
which the chance of losing money reaches the stated limit.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from flipkit.analysis.demand import LEAST_PULL, Demand, Possible, possible_demand, wanting
from flipkit.analysis.price_outcomes import Outcomes, path_outcomes
from flipkit.analysis.price_tables import PriceGrid, PriceTable, price_table
from flipkit.analysis.pricing import PricePaths, PriceSettings
from flipkit.analysis.weighed_prices import weighed_paths

Floats = npt.NDArray[np.float64]

#: Places at which the unsure price, pace of selling and pull, and the likings, are looked at.
_PRICE_NODES = 5
_PACE_NODES = 3
_PULL_NODES = 2
_LIKING_NODES = 5


@dataclass(frozen=True)
class Terms:
    """What a thing takes besides what it costs.

    Attributes
    ----------
    fee_price_cents, fee_cents : tuple of float
        Marketplace fees at rising prices; straight lines between them. [cents]
    refund_share : float
        Part of the price that refunds and damage take on average.
    at_sale_cents : float
        Label, materials and hired packing of a sale, less the shipping charged. [cents]
    before_cents : float
        Share of the trip. [cents]
    week_cents : float
        Share of the overheads for each week. [cents]
    before_min, sale_min, week_min : float
        Owner minutes until it is listed, at a sale, and for each week. [min]
    volume_cuft : float
        Room that it takes. [cu ft]
    """

    fee_price_cents: tuple[float, ...]
    fee_cents: tuple[float, ...]
    refund_share: float
    at_sale_cents: float
    before_cents: float
    week_cents: float
    before_min: float
    sale_min: float
    week_min: float
    volume_cuft: float

    def net_cents(self, price: Floats) -> Floats:
        """What a sale at prices leaves, before the thing's cost and the owner's time. [cents]"""
        fee = np.interp(price, self.fee_price_cents, self.fee_cents)
        # Beyond the last price the fee goes on as steeply as it came there.
        slope = (self.fee_cents[-1] - self.fee_cents[-2]) / (self.fee_price_cents[-1] - self.fee_price_cents[-2])
        fee = fee + slope * np.maximum(price - self.fee_price_cents[-1], 0.0)
        return np.asarray(price * (1 - self.refund_share) - fee - self.at_sale_cents)


@dataclass(frozen=True)
class Question:
    """What is known of a thing in the seller's hand, and what the seller wants.

    Attributes
    ----------
    typical_cents, price_error : float
        What like things sell for, and the standard error of its logarithm.
    demand : Demand
        How buyers come for a middling thing.
    pace_error : float
        Standard error of the logarithm of the rate.
    never_share, appeal_spread : float
        Share that nobody wants, and how far the others differ.
    terms : Terms
        What it takes.
    target_cents : float
        What an owner hour should bring. [cents]
    loss_limit : float
        Chance of losing money that is not to be passed.
    salvage : float
        Part of its cost that a thing brings which never sells.
    money_rate : float
        What money not tied up would earn in a year.
    storage_cents : float
        Worth of a cubic foot of room for a week. [cents]
    change_min : float
        Work of changing a price. [min]
    grid : PriceGrid
        Prices considered.
    endings_cents : tuple of int
        Endings that prices may have.
    pull_error : float
        Standard error of the pull of the price.
    pull_with_pace : float
        Covariance of the pull and the logarithm of the rate.
    """

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
    """The most to pay, and why.

    Attributes
    ----------
    highest_cents : int
        The most to pay; 0: leave it. [cents]
    for_target_cents, for_loss_cents : int
        Cost at which the target is just met (may be negative), and at which the chance of losing
        money reaches the limit. [cents]
    low_cents, high_cents : int
        Where the cost for the target lies with a chance of 80 %, price and pace being unsure. [cents]
    price_error_cents, pace_error_cents : int
        Standard errors of the cost for the target from what like things sell for, which is each
        thing's own, and from the pace of selling, which things of a category share. [cents]
    binding : str
        ``target`` or ``loss``: which of the two is lower.
    sold_share : float
        Chance that it sells while it is listed.
    weeks : float
        Expected weeks on sale.
    owner_min : float
        Expected owner minutes. [min]
    list_cents : int
        What to ask at first. [cents]
    sale_cents : int
        Mean price of the sale if it sells. [cents]
    takings_cents : int
        What it brings on average before its cost, the share of trip and overheads taken off. [cents]
    week_prices : tuple of (int, int)
        Week and price of the listing and of each markdown. [cents]
    first_offer_cents : int
        Lowest offer to take in the first week. [cents]
    give_up_week : int
        Weeks after which it is given up.
    """

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
    week_prices: tuple[tuple[int, int], ...]
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

    Parameters
    ----------
    asked : Question
        The thing.

    Returns
    -------
    paths : PricePaths
        Prices, lowest offers, and the week to give up.
    table : PriceTable
        The prices considered; what a sale leaves has its work taken off at the target.

    Examples
    --------
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
