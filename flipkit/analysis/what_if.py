"""What if an assumption moved: one machine for the sliders of a page, those of the lab and the bars of a month.

Sums stand for things: their net and hours, and what a whole one more of each part adds to the net: the prices, the
labels, what the goods cost, the help, a point of fee, the labels at another divisor (priced beforehand, parcel by
parcel). Over what sold that is the full model but for cents lost in rounding. What waiting stock may bring follows
by its slope, measured by one small step of the full model. Products of the sums over the trips stretch the interval
as the delta-method error is, and the bounds of a decision move along. A page recomputes the same lines without the
kit; this module is what it is held against.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.decisions import FEW_FINDS, Bounds, buying_verdict
from flipkit.analysis.max_bid import LEAST_CENTS
from flipkit.analysis.returns import TOO_FEW, coded_sums
from flipkit.analysis.stock_value import Horizon, Shelves, expected_stock_values, expected_values_by_trip
from flipkit.economics.items import MONEY_LINES, net_parts
from flipkit.economics.overrides import SCALED
from flipkit.errors import AssumptionError

Floats = npt.NDArray[np.float64]
#: What a part changes of each thing's lines: column to cents.
Changes = Mapping[str, Floats]

#: The divisor of the books: every label as it was bought.
AS_CHARGED: Final = 0
#: Divisors that a reader can try.
DIVISORS: Final = (139, 166, 194)
#: How far a part is moved to measure its slope.
_STEP: Final = 0.05
#: Digits of the sums of products, and decimals of the sums, that a page is given.
_DIGITS, _DECIMALS = 8, 6
#: The decision's rule by steps: how likely the target is beaten, and how many of the finds are cheap enough.
RULE: Final = tuple(
    tuple(buying_verdict(chance, cheap, claimed=True) for cheap in (0.0, FEW_FINDS / 2, 1.0))
    for chance in (0.0, 0.5, 1.0)
)


@dataclass(frozen=True)
class Settings:
    """Where the assumptions are moved to."""

    target: float  # [dollars per hour]
    wage: float  # [dollars per hour]
    points: float = 0.0
    divisor: int = AS_CHARGED
    factor: float = 1.0
    price: float = 1.0
    postage: float = 1.0
    cost: float = 1.0


@dataclass(frozen=True)
class MovingSums:
    """One category: the net, its parts and last the hours, and their products over the trips."""

    category: str
    items: int
    claimed: bool
    low: float  # [dollars per hour]
    high: float  # [dollars per hour]
    sums: Floats
    products: Floats


def weights(settings: Settings, *, wage: float) -> Floats:
    """How much of each part is added to the net, which comes first and whole.

    >>> weights(Settings(target=20, wage=20, points=2, price=1.5, divisor=139, postage=1.5), wage=10).tolist()
    [1.0, 0.5, 0.5, 0.0, 1.0, 20.0, 3.0, 2.0, 1.5, 0.0, 0.0]
    """
    points, paid_anew = settings.points, float(settings.wage != wage)
    of_parts = [settings.price - 1, settings.postage - 1, settings.cost - 1, paid_anew, paid_anew * settings.wage]
    at_divisor = [settings.postage if settings.divisor == divisor else 0.0 for divisor in DIVISORS]
    return np.array([1.0, *of_parts, points * settings.price, points, *at_divisor])


def line_changes(items: pd.DataFrame) -> dict[str, dict[str, Floats]]:
    """What a whole one more of each thing that a seller names changes of the lines.

    >>> sold = pd.DataFrame({"sold_price_cents": [4000], "marketplace_fee_cents": [400]})
    >>> line_changes(sold)["sold prices"]
    {'sold_price_cents': array([4000.]), 'marketplace_fee_cents': array([400.])}
    """
    families = {"sold prices": SCALED["suppose.prices"]}
    for line in MONEY_LINES:
        if line.moved_with:
            families[line.moved_with] = (*families.get(line.moved_with, ()), line.name)
    return {
        family: {
            f"{name}_cents": items[f"{name}_cents"].to_numpy(dtype=np.float64)
            for name in names
            if f"{name}_cents" in items
        }
        for family, names in families.items()
    }


def part_changes(
    items: pd.DataFrame, dearer: Mapping[int, npt.NDArray[np.int64]], at_a_dollar: npt.ArrayLike
) -> list[Changes]:
    """What a whole one more of each part changes of each thing's lines, in the order of their weights."""
    named = line_changes(items)
    fee, price, shipping, hired = (
        items[f"{name}_cents"].to_numpy(dtype=np.float64)
        for name in ("marketplace_fee", "sold_price", "shipping_charged", "hired")
    )
    return [
        *(named[family] for family in ("sold prices", "postage", "cost of the goods")),
        # Whoever helped is paid anew: not what they had, but the same wage each.
        {"hired_cents": -hired},
        {"hired_cents": np.asarray(at_a_dollar, dtype=np.float64)},
        {"marketplace_fee_cents": np.where(fee > 0, price, 0.0) / 100},
        {"marketplace_fee_cents": np.where(fee > 0, shipping, 0.0) / 100},
        *({"label_cents": dearer[divisor].astype(np.float64)} for divisor in DIVISORS),
    ]


def line_sums(items: pd.DataFrame, parts: Sequence[Changes], known: pd.DataFrame | None = None) -> list[MovingSums]:
    """The sums of each category over the lines of what sold; intervals as a table of returns has them.

    >>> sold = pd.DataFrame({"category": ["lamps"], "trip_id": ["t"], "net_cents": [3000], "owner_min": [60.0]})
    >>> line_sums(sold, [{"sold_price_cents": np.array([4000.0])}, {"cost_cents": np.array([600.0])}])[0].sums.tolist()
    [30.0, 40.0, -6.0, 1.0]
    """
    nets = [items["net_cents"].to_numpy(dtype=np.float64), *(net_parts(part) for part in parts)]
    columns = [*(net / 100 for net in nets), items["owner_min"].to_numpy(dtype=np.float64) / 60]
    found = {}
    for category, at in items.groupby("category").indices.items():
        trip, _ = pd.factorize(items["trip_id"].to_numpy()[at])
        found[str(category)] = np.array([coded_sums(column[at], trip) for column in columns])
    return _by_category(found, known)


def bought_sums(
    items: pd.DataFrame,
    parts: Sequence[Changes],
    returns: pd.DataFrame,
    horizon: Horizon,
    *,
    inside: npt.NDArray[np.bool_],
) -> list[MovingSums]:
    """The sums of each category over what was bought, with what the stock of it may still bring."""

    def by_trip(part: Changes) -> tuple[list[str], Floats, Floats]:
        moved = _moved(items, part, _STEP)
        names, _, net, minutes = expected_values_by_trip(
            moved, horizon, inside=inside, by="category", shelves=Shelves(moved, horizon)
        )
        return [str(name) for name in names], net / 100, minutes / 60

    names, net, hours = by_trip({})
    slopes = [
        (by_trip(part)[1] - net) / _STEP if any(values.any() for values in part.values()) else np.zeros_like(net)
        for part in parts
    ]
    stacked = np.stack([net, *slopes, hours], axis=1)
    return _by_category(dict(zip(names, stacked, strict=True)), returns)


def bought_gap(
    sums: Sequence[MovingSums],
    items: pd.DataFrame,
    parts: Sequence[Changes],
    horizon: Horizon,
    ends: Sequence[Settings],
    *,
    inside: npt.NDArray[np.bool_],
    wage: float,
) -> float:
    """How far the hour over everything bought is off by slopes at the worst of some settings. [dollars per hour]"""
    gaps = [0.0]
    for settings in ends if sums else ():  # where nothing was bought there is no hour to be off
        of_parts, economics = weights(settings, wage=wage), items
        for part, weight in zip(parts, of_parts[1:], strict=True):
            economics = _moved(economics, part, weight) if weight else economics
        full = expected_stock_values(economics, horizon)[inside]
        hourly = float(full["expected_net_cents"].sum()) / 100 / (float(full["expected_min"].sum()) / 60)
        gaps.append(abs(headline(sums, settings, wage=wage) - hourly / settings.factor))
    return max(gaps)


def headline(sums: Sequence[MovingSums], settings: Settings, *, wage: float) -> float:
    """What an hour over all categories brings. [dollars per hour]"""
    total = np.sum([row.sums for row in sums], axis=0)
    return float(weights(settings, wage=wage) @ total[:-1] / (total[-1] * settings.factor))


def _moved(items: pd.DataFrame, part: Changes, weight: float) -> pd.DataFrame:
    """The items with so much more of a part."""
    if not part:
        return items
    changed = {name: items[name].astype(float) + weight * values for name, values in part.items()}
    return items.assign(**changed, net_cents=items["net_cents"].astype(float) + weight * net_parts(part))


def _by_category(by_trip: Mapping[str, Floats], returns: pd.DataFrame | None) -> list[MovingSums]:
    known = {} if returns is None else returns.set_index("category").to_dict("index")
    nothing = {"items": 0, "claimed": False, "low": math.nan, "high": math.nan}
    found = []
    for category, parts in sorted(by_trip.items()):
        sums, row = parts.sum(axis=1).round(_DECIMALS), known.get(category, nothing)
        if sums[-1] <= 0:
            continue
        ends = float(row["low"]), float(row["high"])
        found.append(
            MovingSums(category, int(row["items"]), bool(row["claimed"]), *ends, sums + 0.0, _rounded(parts @ parts.T))
        )
    return found


def _rounded(products: Floats) -> Floats:
    """Each number at some digits, however large it is."""
    return np.array([[float(f"{value:.{_DIGITS}g}") for value in row] for row in products])


def moved_returns(
    sums: Sequence[MovingSums], settings: Settings, *, wage: float, verdicts: Mapping[str, str] | None = None
) -> pd.DataFrame:
    """Every category's return with the assumptions moved, best first."""
    rows = []
    for row in sums:
        net, hours, hourly, before, stretch = _moved_row(row, settings, wage)
        low, high = (hourly + (end - before) * stretch for end in (row.low, row.high))
        verdict = (verdicts or {}).get(row.category, TOO_FEW)
        rows.append((row.category, row.items, row.claimed, net, hours, hourly, low, high, verdict))
    table = pd.DataFrame(
        rows, columns=["category", "items", "claimed", "net", "hours", "hourly", "low", "high", "verdict"]
    ).sort_values(["hourly", "category"], ascending=[False, True], kind="stable")
    return table.reset_index(drop=True)


def moved_verdicts(
    bought: Sequence[MovingSums], bounds: Mapping[str, Bounds], settings: Settings, *, start: Settings
) -> dict[str, str]:
    """What to do about each category by the decision's rule, its bounds moved along with an average thing of it."""
    found = {}
    for row in bought:
        at = bounds.get(row.category)
        if at is None or not row.items:
            continue
        net, hours, hourly, before, stretch = _moved_row(row, settings, start.wage)
        goods = (settings.cost - 1) * float(row.sums[3])
        gain = 100 * (net - goods - float(row.sums[0])) / row.items
        work = 100 * (settings.target * hours - start.target * float(row.sums[-1])) / row.items
        most = min(at.for_target + gain - work, at.for_loss + gain, at.price * settings.price)
        sure, hopeful = (hourly + (bound - before) * stretch for bound in (at.sure, at.hopeful))
        likely = 2 if settings.target <= sure else 1 if settings.target < hopeful else 0
        enough = 2 if most >= at.few_cost * settings.cost else 1 if most >= at.least_cost * settings.cost else 0
        found[row.category] = RULE[likely][enough if most >= LEAST_CENTS else 0]
    return found


def _moved_row(row: MovingSums, settings: Settings, wage: float) -> tuple[float, float, float, float, float]:
    """Net, hours and hourly return moved, the return before, and how much wider its interval becomes."""
    moved, still = weights(settings, wage=wage), weights(Settings(settings.target, wage), wage=wage)
    net, hours = float(moved @ row.sums[:-1]), float(row.sums[-1]) * settings.factor
    error, known = _error(row, moved) / settings.factor, _error(row, still)
    return net, hours, net / hours, float(row.sums[0] / row.sums[-1]), error / known if known > 0 else 1.0


def _error(row: MovingSums, of_parts: Floats) -> float:
    """Delta-method error of the hourly return: root of the trips' squared residuals, over the hours."""
    hours = float(row.sums[-1])
    residual = np.append(of_parts, -float(of_parts @ row.sums[:-1]) / hours)
    return math.sqrt(max(float(residual @ row.products @ residual), 0.0)) / hours


# Everything moved by the same part of itself, alone and together: what a month hangs on.

#: Orders tried for each assumption's draws, so that none goes by chance with another.
_ORDERS = 25

#: What a month comes to under factors on what is moved; one each, or a column of them.
Month = Callable[[Mapping[str, Floats]], Floats]


class Spread(NamedTuple):
    """How far a factor may be off."""

    key: str
    low: float
    middle: float
    high: float


class Bar(NamedTuple):
    """One thing moved alone, and what the month comes to at its low and its high."""

    key: str
    at_low: float
    at_high: float

    @property
    def width(self) -> float:
        """How far the month moves."""
        return abs(self.at_high - self.at_low)


def tornado(month: Month, spreads: Sequence[Spread]) -> list[Bar]:
    """The month with each thing moved alone, the widest first.

    >>> tornado(lambda at: 2 * at.get("a", 1) + at.get("b", 1), [Spread(key, 0.5, 1, 1.5) for key in "ba"])
    [Bar(key='a', at_low=2.0, at_high=4.0), Bar(key='b', at_low=2.5, at_high=3.5)]
    """
    ends = [(one.key, month({one.key: np.array([one.low, one.high])})) for one in spreads]
    return sorted((Bar(key, float(at[0]), float(at[1])) for key, at in ends), key=lambda bar: -bar.width)


class Cloud(NamedTuple):
    """The month with everything moved together.

    ``values`` is one a draw; ``low``, ``middle`` and ``high`` are its 10, 50 and 90 % quantiles;
    ``above`` is the share of the draws above the bound asked for. ``hangs_on`` gives for each
    thing the part of the month's variance that moves with its rank, falling.
    """

    values: Floats
    low: float
    middle: float
    high: float
    above: float
    hangs_on: dict[str, float]


def monte_carlo(month: Month, spreads: Sequence[Spread], *, bound: float, draws: int, seed: int) -> Cloud:
    """The month with everything drawn from its spread at once.

    Each is triangular: certain to lie between its low and its high, likeliest in its middle.
    The draws are spread evenly over each range (a Latin hypercube), so that few do.
    """
    if draws < 10:
        raise AssumptionError("draws", need="at least 10", got=draws)
    for spread in spreads:
        if not spread.low <= spread.middle <= spread.high:
            raise AssumptionError(spread.key, need="low <= middle <= high", got=tuple(spread[1:]))
    random = np.random.default_rng(seed)
    places = _places(len(spreads), draws, random)
    drawn = {one.key: _triangular(one, place) for one, place in zip(spreads, places, strict=True)}
    values = np.broadcast_to(month(drawn), draws)
    low, middle, high = np.quantile(values, [0.1, 0.5, 0.9])
    share = {key: _shared(row, values) for key, row in drawn.items()}
    hangs = dict(sorted(share.items(), key=lambda pair: -pair[1]))
    return Cloud(values, float(low), float(middle), float(high), float((values > bound).mean()), hangs)


def turning_point(month: Month, spread: Spread, *, bound: float) -> float | None:
    """Factor at which the month crosses a bound, between its low and its high.

    >>> round(turning_point(lambda at: 5 * at["a"], Spread("a", 0, 1, 2), bound=8.0), 6)
    1.6
    """

    def above(value: float) -> bool:
        return bool(month({spread.key: np.array(value)}) > bound)

    low, high = spread.low, spread.high
    first = above(low)
    if above(high) == first:
        return None
    for _ in range(30):
        middle = (low + high) / 2
        low, high = (middle, high) if above(middle) == first else (low, middle)
    return (low + high) / 2


def _places(count: int, draws: int, random: np.random.Generator) -> list[Floats]:
    """Places spread evenly over 0 to 1, each thing's in the least correlated of some orders."""
    found: list[Floats] = []
    for _ in range(count):
        orders = [(random.permutation(draws) + random.random(draws)) / draws for _ in range(_ORDERS)]
        alike = [max((abs(float(np.corrcoef(order, one)[0, 1])) for one in found), default=0.0) for order in orders]
        found.append(orders[int(np.argmin(alike))])
    return found


def _triangular(spread: Spread, place: Floats) -> Floats:
    """Quantiles of the triangular distribution."""
    reach = spread.high - spread.low
    if reach == 0:
        return np.full(place.size, spread.middle)
    top = (spread.middle - spread.low) / reach
    up = spread.low + np.sqrt(place * reach * (spread.middle - spread.low))
    down = spread.high - np.sqrt((1 - place) * reach * (spread.high - spread.middle))
    return np.asarray(np.where(place < top, up, down))


def _shared(drawn: Floats, values: Floats) -> float:
    """Squared rank correlation."""
    ranks = [np.argsort(np.argsort(part, kind="stable"), kind="stable").astype(np.float64) for part in (drawn, values)]
    if np.ptp(drawn) == 0 or np.ptp(values) == 0:
        return 0.0
    return float(np.corrcoef(ranks[0], ranks[1])[0, 1] ** 2)
