"""The chance of a sale by price and week, fitted to the shop's listings."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import ndtr

from flipkit.analysis.comparables import (
    ComparableRules,
    TypicalPrice,
    comparable_weights,
    days_before,
    typical_price,
)
from flipkit.analysis.demand import LEAST_PULL, Demand, Offers, Possible, Wanting, possible_demand, wanting
from flipkit.analysis.pricing import Habit
from flipkit.analysis.survival import days_to_sale
from flipkit.assumptions import Assumptions
from flipkit.errors import NotEnoughDataError

# The fit behind ``selling``: weekly hazards among things that differ in ways that no column tells.

Floats = npt.NDArray[np.float64]
Counts = npt.NDArray[np.intp]
Bools = npt.NDArray[np.bool_]

_TINY = 1e-300


@dataclass(frozen=True)
class Design:
    """What each coefficient multiplies in the logarithm of each week's rate, and what the weeks' things belong to.

    The coefficients are the shared ones, then one a category for each of ``OWN``: a week is of one category.
    """

    shared: Floats
    pull: Floats
    code: npt.NDArray[np.int64]
    categories: int

    def log_rates(self, beta: Floats) -> Floats:
        """The logarithm of each week's rate."""
        level, pull, _ = self.own(beta)
        return np.asarray(self.shared @ beta[: len(SHARED)] + level[self.code] + pull[self.code] * self.pull)

    def slopes(self, by_week: Floats, by_thing: Floats, thing_code: npt.NDArray[np.int64]) -> Floats:
        """What each coefficient moves: by the logarithms of the rates, and by the odds of being never wanted."""
        shared = self.shared.T @ by_week
        shared[SHARED.index("never wanted")] += by_thing.sum()
        every = ((self.code, by_week), (self.code, by_week * self.pull), (thing_code, by_thing))
        own = [np.bincount(code, weight, self.categories + 1)[:-1] for code, weight in every]
        return np.concatenate((shared, *own))

    def own(self, beta: Floats) -> Floats:
        """The coefficients of the categories, a row for each of ``OWN``; the last is of those that have none."""
        return np.pad(beta[len(SHARED) :].reshape(len(OWN), self.categories), ((0, 0), (0, 1)))


def posterior_mode(
    design: Design,
    offset: Floats,
    first: Counts,
    sold: Bools,
    levels: Wanting,
    prior_mean: Floats,
    prior_spread: Floats,
) -> tuple[Floats, Floats]:
    """Most likely coefficients under a normal prior, and their covariance there.

    A thing that has met the sum h of weekly rates is unsold with chance
    never + (1 - never) * mean of exp(-level * h); a sale falls in its last week.
    """
    if not first.size:
        return prior_mean.copy(), np.diag(prior_spread**2)
    from scipy.optimize import minimize

    last = np.concatenate((first[1:], [design.code.size])) - 1
    thing = np.repeat(np.arange(first.size), last + 1 - first)
    going = np.ones(design.code.size)
    going[last] = 0.0
    thing_code = design.code[first]

    def loss(scaled: Floats) -> tuple[float, Floats]:
        beta = prior_mean + prior_spread * scaled
        rate = np.exp(np.clip(design.log_rates(beta) + offset, -700, 30))
        met = np.add.reduceat(rate, first)
        before = met - rate[last]
        never = 1 / (1 + np.exp(-beta[SHARED.index("never wanted")] - design.own(beta)[2][thing_code]))
        wait_all, wait_slope = _unsold(met, levels)
        pre_all, pre_slope = _unsold(before, levels)
        unsold = never + (1 - never) * wait_all
        chance = np.maximum(np.where(sold, (1 - never) * (pre_all - wait_all), unsold), _TINY)
        # Slopes of the logarithm of the chance by the rates met before the last week and in all.
        by_before = np.where(sold, (1 - never) * pre_slope, 0.0) / chance
        by_all = np.where(sold, -(1 - never) * wait_slope, (1 - never) * wait_slope) / chance
        by_never = np.where(sold, -(pre_all - wait_all), 1 - wait_all) / chance * never * (1 - never)
        gradient = design.slopes(rate * (by_all[thing] + going * by_before[thing]), by_never, thing_code)
        return (
            float(scaled @ scaled) / 2 - float(np.log(chance).sum()),
            scaled - prior_spread * gradient,
        )

    found = minimize(
        loss,
        np.zeros(prior_mean.size),
        jac=True,
        method="L-BFGS-B",
        options={"maxiter": 400, "gtol": 1e-3, "ftol": 1e-10},
    )
    at = np.asarray(found.x, dtype=np.float64)
    curve = _curvature(loss, at, design.categories)
    for _ in range(20):
        slope = loss(at)[1]
        if float(np.abs(slope).max()) < 1e-6:
            break
        at = at - np.linalg.solve(curve, slope)
        curve = _curvature(loss, at, design.categories)
    if not np.isfinite(at).all() or float(np.abs(loss(at)[1]).max()) > 1e-3:
        raise NotEnoughDataError("person-weeks", need="a fit that settles", got=float(np.abs(loss(at)[1]).max()))
    covariance = np.linalg.inv(curve) * np.outer(prior_spread, prior_spread)
    return prior_mean + prior_spread * at, np.asarray((covariance + covariance.T) / 2, dtype=np.float64)


def _unsold(met: Floats, levels: Wanting) -> tuple[Floats, Floats]:
    """Share of the wanted still unsold after the rates met, and its slope."""
    left = levels.share * np.exp(-levels.level * met[:, None])
    return left.sum(axis=1), -(left * levels.level).sum(axis=1)


def _curvature(loss: Callable[[Floats], tuple[float, Floats]], at: Floats, groups: int) -> Floats:
    """Second derivatives by differences of the slope; kept from falling below the prior's half.

    Things of one group say nothing of another's coefficients, so those of all groups are moved at once.
    """
    step = 1e-4
    shared = at.size - len(OWN) * groups
    own = [np.arange(shared + kind * groups, shared + (kind + 1) * groups) for kind in range(len(OWN))]
    curve = np.zeros((at.size, at.size))
    for place in range(shared):
        curve[place] = _bent(loss, at, [place], step)
    curve[shared:, :shared] = curve[:shared, shared:].T
    for places in own if groups else ():
        bent = _bent(loss, at, places, step)
        for others in own:
            curve[places, others] = bent[others]
    value, vector = np.linalg.eigh((curve + curve.T) / 2)
    return np.asarray((vector * np.maximum(value, 0.5)) @ vector.T, dtype=np.float64)


def _bent(
    loss: Callable[[Floats], tuple[float, Floats]], at: Floats, places: list[int] | Counts, step: float
) -> Floats:
    """How the slope changes with some coefficients."""
    moved = np.zeros(at.size)
    moved[places] = step
    return np.asarray((loss(at + moved)[1] - loss(at - moved)[1]) / (2 * step))


# The listings of a shop week by week: what was asked in each week, and whether it sold then.

Ints = npt.NDArray[np.int64]

#: A sale at less than this part of the asking price is a sale by an accepted offer.
AT_ASKING = 0.98
#: Days of a year, for the season.
_YEAR = 365.25
#: Things that the stated markup weighs beside those whose own was seen.
_HELD = 4.0


@dataclass(frozen=True)
class PersonWeeks:
    """One row for each week that each thing was listed."""

    item: Ints
    category: npt.NDArray[np.object_]
    week: Ints
    log_ratio: Floats
    exposure: Floats
    cut: Bools
    year_part: Floats
    sold: Bools
    offer_part: Floats

    def of(self, things: Ints) -> PersonWeeks:
        """The weeks of some things."""
        kept = np.isin(self.item, things)
        weekly = {
            one.name: getattr(self, one.name)[kept] for one in dataclasses.fields(self) if one.name != "offer_part"
        }
        return PersonWeeks(**weekly, offer_part=self.offer_part)


def person_weeks(
    items: pd.DataFrame, price_changes: pd.DataFrame, typical_cents: npt.ArrayLike, *, as_of: dt.date
) -> PersonWeeks:
    """Weeks on sale of every thing that was listed at a known price."""
    listed = items["listed_on"].to_numpy(dtype="datetime64[D]")
    asked = items["list_price_cents"].astype(np.float64).to_numpy()
    sold_on, gone_on = (items[name].to_numpy(dtype="datetime64[D]") for name in ("sold_on", "gone_on"))
    last = np.datetime64(as_of, "D")
    sold = ~np.isnat(sold_on) & (sold_on <= last)
    end = np.where(sold, sold_on, np.where(~np.isnat(gone_on) & (gone_on <= last), gone_on, last))
    typical = np.asarray(typical_cents, dtype=np.float64)
    known = ~np.isnat(listed) & (asked > 0) & (typical > 0) & (end >= listed)
    rows = np.flatnonzero(known)
    days = (end - listed).astype(np.int64)[rows]
    # Without a sale the last day has been seen to its end only if the next has begun: it counts as seen.
    count = days // 7 + 1
    item = np.repeat(rows, count)
    week = np.arange(item.size) - np.repeat(np.cumsum(count) - count, count)
    final = np.cumsum(count) - 1
    exposure = np.ones(item.size)
    exposure[final] = np.where(sold[rows], 1.0, (days % 7 + 1) / 7)
    start = listed.astype(np.int64)[item] + 7 * week
    moment = np.minimum(start + 3, end.astype(np.int64)[item])
    price = _asking(items, price_changes, asked, item, moment)
    before = np.concatenate(([0.0], price[:-1]))
    paid = items["sold_price_cents"].astype(np.float64).to_numpy()
    part = np.divide(paid[rows], price[final], out=np.ones(rows.size), where=sold[rows] & (paid[rows] > 0))
    by_offer = sold[rows] & (part < AT_ASKING)
    sale = np.zeros(item.size, dtype=bool)
    sale[final] = sold[rows]
    year = (start.astype("datetime64[D]") - start.astype("datetime64[D]").astype("datetime64[Y]")).astype(np.float64)
    return PersonWeeks(
        item,
        items["category"].astype(object).to_numpy()[item],
        week,
        np.log(price / typical[item]),
        exposure,
        (week > 0) & (price < before),
        year / _YEAR,
        sale,
        part[by_offer],
    )


def asking_prices(items: pd.DataFrame, price_changes: pd.DataFrame, *, on: dt.date) -> Floats:
    """What is asked for each thing on a day."""
    listed = items["list_price_cents"].astype(np.float64).to_numpy()
    day = np.full(len(items), np.datetime64(on, "D").astype(np.int64))
    return _asking(items, price_changes, listed, np.arange(len(items)), day)


def _asking(items: pd.DataFrame, changes: pd.DataFrame, listed: Floats, item: Ints, moment: Ints) -> Floats:
    """The price asked of each thing on each day: the latest change's, or the first."""
    place = {name: at for at, name in enumerate(items["item_id"])}
    at = np.array([place.get(name, -1) for name in changes["item_id"]], dtype=np.int64)
    good = (at >= 0) & changes["price_cents"].notna().to_numpy() & changes["changed_on"].notna().to_numpy()
    day = changes["changed_on"].to_numpy(dtype="datetime64[D]").astype(np.int64)[good]
    key = at[good] * 1_000_000 + day
    order = np.argsort(key, kind="stable")
    key = key[order]
    price = changes["price_cents"].fillna(0).to_numpy(dtype=np.float64)[good][order]
    found = np.searchsorted(key, item * 1_000_000 + moment, side="right") - 1
    changed = (found >= 0) & (key[np.maximum(found, 0)] // 1_000_000 == item) if key.size else np.zeros(item.size, bool)
    first = listed[item]
    return np.where(changed, price[np.maximum(found, 0)], first) if key.size else first


@dataclass(frozen=True)
class Typical:
    """Typical price of each thing of a shop, from its comparables and from what was asked for it.

    ``like`` is what comparables that name no thing, but a category, say of that category.
    """

    cents: Floats  # [cents]
    error: Floats
    markup: dict[str, float]
    markup_spread: float
    like: dict[str, TypicalPrice] = dataclasses.field(default_factory=dict)


def typical_prices(
    items: pd.DataFrame,
    comparables: pd.DataFrame,
    *,
    as_of: dt.date,
    rules: ComparableRules,
    markup: float,
    markup_spread: float,
) -> Typical:
    """Typical price of each thing: its own comparables, and its first list price less the usual markup."""
    n = len(items)
    listed = items["list_price_cents"].astype(np.float64).to_numpy()
    log_listed = np.log(np.where(listed > 0, listed, np.nan))
    known_by = comparables["sold_on"].isna() | (comparables["sold_on"] <= pd.Timestamp(as_of))
    comparables = comparables[known_by & (comparables["price_cents"] > 0)]
    comparables = comparables.assign(**{name: "" for name in ("category", "condition") if name not in comparables})
    own, general = (comparables[part] for part in (comparables["item_id"] != "", comparables["item_id"] == ""))
    state = items["condition"].to_numpy(dtype=object) if "condition" in items else np.full(n, "", dtype=object)
    place = {name: at for at, name in enumerate(items["item_id"])}
    shared = dataclasses.replace(rules, spread=shared_spread(own, rules))
    log, error = np.full(n, np.nan), np.full(n, np.nan)
    for name, part in own.groupby("item_id", sort=False):
        if name in place:
            weights = comparable_weights(
                days_before(part["sold_on"].to_numpy(), as_of),
                part["condition"].to_numpy(),
                str(state[place[name]]),
                rules=rules,
            )
            # Among one thing's own comparables only their order of age matters, not their age today.
            found = typical_price(part["price_cents"].to_numpy(), weights / weights.max(), rules=shared)
            log[place[name]], error[place[name]] = np.log(found.cents), found.error
    gap = log_listed - log
    known = np.isfinite(gap)
    category = items["category"].astype(object).to_numpy()
    spread = _markup_spread(gap[known], error[known], category[known], held=markup_spread)
    weight = np.where(known, 1 / (np.nan_to_num(error, nan=1.0) ** 2 + spread**2), 0.0)
    # The stated markup weighs as much as so many things whose own was seen.
    held = _HELD / spread**2
    whole = (held * np.log(markup) + float(np.nansum(weight * gap))) / (held + weight.sum())
    marks = {}
    for name in pd.unique(category):
        mine = category == name
        total = held + weight[mine].sum()
        marks[str(name)] = float((held * whole + np.nansum(weight[mine] * gap[mine])) / total)
    from_list = log_listed - np.array([marks[str(name)] for name in category])
    precise, rough = 1 / error**2, 1 / spread**2
    both = np.isfinite(log) & np.isfinite(from_list)
    mixed = np.where(both, (precise * log + rough * from_list) / (precise + rough), np.where(known, log, from_list))
    mixed = np.where(np.isfinite(mixed), mixed, log)
    unsure = np.where(both, 1 / np.sqrt(precise + rough), np.where(np.isfinite(log), error, spread))
    said = {name: float(np.exp(value)) for name, value in marks.items()}
    return Typical(np.exp(mixed), unsure, said, spread, _like(general, category, state, as_of, rules))


def _like(
    general: pd.DataFrame,
    category: npt.NDArray[np.object_],
    state: npt.NDArray[np.object_],
    as_of: dt.date,
    rules: ComparableRules,
) -> dict[str, TypicalPrice]:
    """What comparables by category say of each, weighed by age and by how its own things' conditions fall."""
    found = {}
    for name, part in general.groupby("category", sort=True):
        words, counts = np.unique(state[category == name].astype(str), return_counts=True)
        if not words.size:
            continue
        ago = days_before(part["sold_on"].to_numpy(), as_of)
        each = [comparable_weights(ago, part["condition"].to_numpy(), word, rules=rules) for word in words]
        weights = np.average(each, axis=0, weights=counts)
        found[str(name)] = typical_price(part["price_cents"].to_numpy(), weights, rules=rules)
    return found


def shared_spread(own: pd.DataFrame, rules: ComparableRules) -> float:
    """Spread from sale to sale of like things over the whole shop, the stated one counted as some things'."""
    log = np.log(own["price_cents"].astype(np.float64))
    grouped = log.groupby(own["item_id"].astype(object))
    squares = float(((log - grouped.transform("mean")) ** 2).clip(upper=1.0).sum())
    free = float((grouped.size() - 1).sum())
    weight = rules.spread_weight
    return float(np.sqrt((weight * rules.spread**2 + squares) / (weight + free)))


def _markup_spread(gap: Floats, error: Floats, category: npt.NDArray[np.object_], *, held: float) -> float:
    """Spread of the markup from thing to thing: what the gaps vary beyond their own errors."""
    if not gap.size:
        return held
    frame = pd.DataFrame({"gap": gap, "category": category})
    middle = frame.groupby("category")["gap"].transform("mean")
    free = max(gap.size - frame["category"].nunique(), 0)
    excess = float((np.minimum((gap - middle) ** 2, 1.0) - error**2).sum())
    variance = (4 * _HELD * held**2 + excess) / (4 * _HELD + free)
    # Nobody prices everything exactly alike: a twentieth is the least.
    return float(np.sqrt(max(variance, 0.05**2)))


# How the seller prices now, and how far up the books support a price.

#: An ending that fewer of the prices have is a slip, not a habit.
_ENDING_SHARE = 0.1


def highest_ratio(log_asked: npt.ArrayLike, *, enough: int, markup: float, spread: float, bound: float) -> float:
    """The highest price over the typical one that was asked by ``enough`` listings, or by one in ten where fewer ended.

    So many listings of common practice, spread about its markup, count beside the seller's own. Comparables are sales
    at the typical price, so it is 1 at least.
    """
    asked = np.sort(np.asarray(log_asked, dtype=np.float64))
    high = np.linspace(0.0, np.log(max(bound, 1.0)), 1001)
    own = asked.size - np.searchsorted(asked, high, side="left")
    common = enough * ndtr((np.log(markup) - high) / spread)
    supported = own + common >= min(enough, (asked.size + enough) / 10)
    return float(np.exp(high[supported].max(initial=0.0)))


def first_ratios(items: pd.DataFrame, typical_cents: npt.ArrayLike, *, finished: bool = False) -> Floats:
    """Logarithm of the first list price over the typical one, of all listings or of those that have ended."""
    listed = items["list_price_cents"].astype(np.float64).to_numpy()
    known = items["listed_on"].notna().to_numpy() & (listed > 0) & np.isfinite(np.asarray(typical_cents))
    if finished:
        known &= (items["sold_on"].notna() | items["gone_on"].notna()).to_numpy()
    return np.asarray(np.log(listed[known] / np.asarray(typical_cents, dtype=np.float64)[known]))


def seller_habit(
    items: pd.DataFrame, price_changes: pd.DataFrame, typical_cents: npt.ArrayLike, *, as_of: dt.date, held: Assumptions
) -> Habit:
    """How the seller prices, each part weighed by the cases seen beside a few of common practice."""
    asked = first_ratios(items, typical_cents)
    shown = items[items["listed_on"].notna()].set_index("item_id")
    last = pd.Timestamp(as_of)
    end = shown["sold_on"].fillna(shown["gone_on"]).clip(upper=last).fillna(last)
    days = (end - shown["listed_on"]).dt.days.clip(lower=0)
    cuts = _markdowns(shown, price_changes, last)
    first = cuts[~cuts["item_id"].duplicated()].set_index("item_id")["days"].reindex(shown.index)
    gone = (shown["gone_on"].notna() & shown["sold_on"].isna()).to_numpy()
    cut = first.notna().to_numpy()
    half_cut = days_to_sale(first.fillna(days), cut).days / 7 if len(shown) else np.nan
    half_gone = days_to_sale(days, gone).days / 7 if len(shown) else np.nan
    gaps = cuts["gap"].dropna().to_numpy(dtype=np.float64) / 7
    taken = (shown["sold_price_cents"].astype(np.float64) / _last_asked(shown, cuts)).to_numpy()
    taken = taken[np.isfinite(taken) & (taken > 0) & (taken < AT_ASKING)]
    weeks = held.number("selling.cut_weeks")
    share = cuts["share"].to_numpy(dtype=np.float64)
    longest = held.number("pricing.weeks")
    if not np.isfinite(half_gone):
        # Who gives hardly anything up keeps it for as long as a handful have waited.
        half_gone = max(longest, float(days.nlargest(round(_HELD)).min()) / 7) if len(shown) > _HELD else longest
    # What another would have given up by then tells as much as what was given up.
    told = gone | (days >= 7 * longest).to_numpy()
    patience = _pulled(np.full(int(told.sum()), half_gone), longest)
    waiting = days[shown["sold_on"].isna().to_numpy() & ~gone]
    if len(waiting):
        # Who still offers what has waited long is that patient at least.
        patience = max(patience, float(waiting.quantile(0.9)) / 7)
    # Who hardly ever marks down within the time seen has another habit than the common one.
    never = len(shown) > _HELD and np.isnan(half_cut)
    return Habit(
        float(np.exp(_pulled(asked, float(np.log(held.number("selling.markup")))))),
        0.0 if never else _pulled(share, held.share("selling.cut")),
        _pulled(np.full(int(cut.sum()), half_cut), weeks) if np.isfinite(half_cut) else weeks,
        max(_pulled(gaps, weeks), 1.0),
        patience,
        _pulled(taken, held.share("selling.least_offer"), at=0.1),
    )


def _pulled(values: Floats, common: float, *, at: float = 0.5) -> float:
    """A quantile of what was seen, the middle by default, weighed beside a few cases of common practice."""
    if not values.size:
        return common
    return float((values.size * np.quantile(values, at) + _HELD * common) / (values.size + _HELD))


def _markdowns(shown: pd.DataFrame, price_changes: pd.DataFrame, last: pd.Timestamp) -> pd.DataFrame:
    """Every lowering of a price: its share, days since the listing and since the one before."""
    known = price_changes["changed_on"].le(last) & price_changes["price_cents"].notna()
    found = price_changes[known & price_changes["item_id"].isin(shown.index)]
    found = found.sort_values(["item_id", "changed_on"], kind="stable")[["item_id", "changed_on", "price_cents"]]
    asked = found["price_cents"].astype(np.float64)
    thing = found["item_id"]
    first = shown.loc[thing, "list_price_cents"].astype(np.float64).to_numpy()
    before = asked.groupby(thing).shift().fillna(pd.Series(first, index=found.index))
    days = (found["changed_on"] - shown.loc[thing, "listed_on"].to_numpy()).dt.days
    found = found.assign(asked=asked, share=1 - asked / before, days=days)
    found = found[(found["share"] > 0) & (found["days"] >= 0)]
    return found.assign(gap=found["changed_on"].groupby(found["item_id"]).diff().dt.days)


def _last_asked(shown: pd.DataFrame, cuts: pd.DataFrame) -> pd.Series:
    """What was asked of each thing in the end."""
    latest = cuts.groupby("item_id")["asked"].last()
    return latest.reindex(shown.index).fillna(shown["list_price_cents"].astype(np.float64))


def price_endings(items: pd.DataFrame, price_changes: pd.DataFrame) -> list[int]:
    """Cents in which the seller's prices mostly end; whole units of the currency where few are known."""
    prices = pd.concat([items["list_price_cents"], price_changes["price_cents"]]).dropna().astype(np.int64)
    share = (prices % 100).value_counts(normalize=True)
    return sorted(int(cents) for cents in share.index[share >= _ENDING_SHARE]) if len(prices) > _HELD else [0]


# What is held about the chance of a sale before the books speak: the prior of ``selling``, from the assumptions.

#: Coefficients that all categories share, in this order; then the deviations of each.
SHARED = ("level", "pull", "weeks", "log weeks", "season sine", "season cosine", "just lowered", "never wanted")
#: What each category has of its own beside it.
OWN = ("level", "pull", "never wanted")
#: Offers as parts of the asking price.
OFFER_PARTS = (0.95, 0.90, 0.85, 0.80, 0.70)
#: How the offers of the prior fall on these.
OFFER_MIX = (0.3, 0.25, 0.2, 0.15, 0.1)


@dataclass(frozen=True)
class SellingPrior:
    """What is held about the chance of a sale before the books speak."""

    mean: tuple[float, ...]
    spread: tuple[float, ...]
    category: tuple[float, ...]
    appeal_spread: float
    offers_per_sale: tuple[float, ...]
    offers_weight: float


def selling_prior(assumptions: Assumptions) -> SellingPrior:
    """The prior as the assumptions say.

    >>> from flipkit.assumptions import load_assumptions
    >>> selling_prior(load_assumptions()).mean[1]
    2.6
    """
    number = assumptions.number
    never = assumptions.share("selling.never")
    return SellingPrior(
        (
            float(np.log(number("selling.weekly_rate"))),
            number("selling.pull"),
            number("selling.fading"),
            0.0,
            0.0,
            0.0,
            0.0,
            float(np.log(never / (1 - never))),
        ),
        (
            number("selling.weekly_rate_spread"),
            number("selling.pull_spread"),
            number("selling.fading_spread"),
            number("selling.early_spread"),
            number("selling.season_spread"),
            number("selling.season_spread"),
            number("selling.lowered_spread"),
            number("selling.never_spread"),
        ),
        (
            number("selling.category_spread"),
            number("selling.category_pull_spread"),
            number("selling.category_never_spread"),
        ),
        number("selling.appeal_spread"),
        tuple(number("selling.offers_per_sale") * part for part in OFFER_MIX),
        number("selling.offers_weight"),
    )


# Chance of a sale by price and week: a discrete-time hazard, pulled towards a stated prior.
#
# The logarithm of the sales a week is a sum: the category's own level, its pull of the price over the typical one,
# the weeks listed, a season, and whether the price was just lowered. Beside it stands that things of a category
# differ in ways that no column tells: some nobody wants at any price, the others are wanted more or less. Leaving
# that out makes buyers look as if they grew tired and as if prices hardly mattered, for what has waited long is
# mostly what few want. The prior is normal. How much of each coefficient is data and how much prior is told: one
# less the posterior variance over the prior one.


@dataclass(frozen=True)
class SellingModel:
    """The fitted chance of a sale."""

    categories: tuple[str, ...]
    mean: Floats
    covariance: Floats
    prior_mean: Floats
    prior_spread: Floats
    offers: Offers
    at_asking: float
    appeal_spread: float
    sales: int
    weeks: int

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the coefficients."""
        own = [f"{what} of {name}" for what in OWN for name in self.categories]
        return (*SHARED, *own)

    def level(self, category: str) -> tuple[float, float]:
        """Logarithm of the weekly sales, offers included, of a middling thing at the typical price; its error."""
        return self._of("level", category)

    def pull(self, category: str) -> tuple[float, float]:
        """How strongly price moves the rate, and its standard error."""
        return self._of("pull", category)

    def never(self, category: str) -> tuple[float, float]:
        """Share of the things that nobody wants, as the logarithm of its odds, and its standard error."""
        return self._of("never wanted", category)

    def pace(self, category: str, *, weeks: int) -> tuple[float, float]:
        """How unsure the rate is over the time on sale: fading misjudged is a pace misjudged."""
        pick = self._paces((category,), np.zeros(1), weeks)[0]
        own = self.level(category)[1] ** 2 - self._variance(self.pick("level", category))
        error = float(np.sqrt(self._variance(pick) + own))
        return error, float(pick @ self.covariance @ self.pick("pull", category))

    def wanted(self, category: str) -> Wanting:
        """How much things of a category are wanted."""
        return wanting(float(1 / (1 + np.exp(-self.never(category)[0]))), self.appeal_spread)

    def possible(self, category: str, typical_error: npt.ArrayLike, *, weeks: int) -> Possible:
        """What the demand of a thing of a category may be, as far as books and comparables leave it open."""
        pull, pull_error = self.pull(category)
        pace, with_pull = self.pace(category, weeks=weeks)
        # A typical price judged too low is a demand judged too low, by the pull.
        misjudged = max(pull, LEAST_PULL) * np.asarray(typical_error, dtype=np.float64)
        never = float(1 / (1 + np.exp(-self.never(category)[0])))
        spread = np.sqrt(self.appeal_spread**2 + pace**2 + misjudged**2)
        return possible_demand(never, spread, pull_error=pull_error, together=with_pull)

    def demand(self, category: str, *, weeks: int, start: dt.date | None = None) -> Demand:
        """How buyers come for one middling thing of a category."""
        week = np.arange(weeks, dtype=np.float64)
        part = None if start is None else (start.timetuple().tm_yday - 1 + 7 * week) / _YEAR
        weekly = self.weekly(week, part)
        pull = max(self.pull(category)[0], LEAST_PULL)
        level = self.level(category)[0] + np.log(self.at_asking)
        return Demand(np.array([level]), np.array([pull]), weekly, self.offers)

    def weekly(self, week: Floats, year_part: Floats | None = None) -> Floats:
        """What weeks on sale, and the season where it is named, add to the logarithm of the rate."""
        found = self.mean[2] * week + self.mean[3] * np.log1p(week)
        if year_part is None:
            return np.asarray(found)
        angle = 2 * np.pi * year_part
        return np.asarray(found + self.mean[4] * np.sin(angle) + self.mean[5] * np.cos(angle))

    def coefficients(self) -> dict[str, list[object]]:
        """Every coefficient with its error, the prior, and how much of it is data."""
        variance = np.diag(self.covariance)
        return {
            "name": list(self.names),
            "estimate": self.mean.tolist(),
            "error": np.sqrt(variance).tolist(),
            "prior": self.prior_mean.tolist(),
            "prior_spread": self.prior_spread.tolist(),
            "data_share": np.clip(1 - variance / self.prior_spread**2, 0.0, 1.0).tolist(),
        }

    def _paces(self, categories: tuple[str, ...], log_ratio: Floats, weeks: int) -> Floats:
        """What each coefficient adds to the logarithm of each category's rate at a price, in a middling week."""
        week = np.arange(weeks, dtype=np.float64)
        share = np.exp(self.mean[2] * week + self.mean[3] * np.log1p(week))
        share = share / share.sum()
        picks = []
        for category, ratio in zip(categories, log_ratio, strict=True):
            pick = self.pick("level", category) - ratio * self.pick("pull", category)
            pick[2], pick[3] = share @ week, share @ np.log1p(week)
            picks.append(pick)
        return np.stack(picks)

    def _variance(self, pick: Floats) -> float:
        return float(pick @ self.covariance @ pick)

    def pick(self, what: str, category: str) -> Floats:
        """Coefficients whose sum a category's is: the shared one, and its own where it has one."""
        pick = np.zeros(self.mean.size)
        pick[SHARED.index(what)] = 1.0
        if category in self.categories:
            pick[len(SHARED) + OWN.index(what) * len(self.categories) + self.categories.index(category)] = 1.0
        return pick

    def _of(self, what: str, category: str) -> tuple[float, float]:
        pick, extra = self.pick(what, category), 0.0
        if category not in self.categories and self.categories:
            extra = float(self.prior_spread[len(SHARED) + OWN.index(what) * len(self.categories)] ** 2)
        return float(pick @ self.mean), float(np.sqrt(pick @ self.covariance @ pick + extra))


def selling_model(weeks: PersonWeeks, categories: tuple[str, ...], *, prior: SellingPrior) -> SellingModel:
    """Fit the chance of a sale to person-weeks."""
    own = len(categories)
    prior_mean = np.concatenate((prior.mean, np.zeros(len(OWN) * own)))
    prior_spread = np.concatenate((prior.spread, np.repeat(prior.category, own)))
    item, first = np.unique(weeks.item, return_index=True)
    level = wanting(0.0, prior.appeal_spread)
    mean, covariance = posterior_mode(
        _design(weeks, categories),
        np.log(np.maximum(weeks.exposure, 1e-9)),
        first,
        np.logical_or.reduceat(weeks.sold, first) if item.size else np.zeros(0, dtype=bool),
        Wanting(level.level[1:], level.share[1:]),
        prior_mean,
        prior_spread,
    )
    offers, at_asking = _offers(weeks, prior)
    return SellingModel(
        tuple(categories),
        mean,
        covariance,
        prior_mean,
        prior_spread,
        offers,
        at_asking,
        prior.appeal_spread,
        int(weeks.sold.sum()),
        int(weeks.sold.size),
    )


def week_rates(model: SellingModel, weeks: PersonWeeks) -> Floats:
    """Sales expected in each week on sale of a thing of middling liking."""
    return np.asarray(weeks.exposure * np.exp(_design(weeks, model.categories).log_rates(model.mean)))


def expected_sales(model: SellingModel, weeks: PersonWeeks) -> Floats:
    """How the sales expected of each thing over its weeks move with each coefficient; with the first, as themselves."""
    design = _design(weeks, model.categories)
    first = np.flatnonzero(np.diff(weeks.item, prepend=-1))
    met = np.add.reduceat(design.shared * week_rates(model, weeks)[:, None], first)
    member = design.code[first][:, None] == np.arange(design.categories)
    # A category's own level and pull move what the shared ones do, of its own things.
    return np.concatenate((met, member * met[:, :1], member * met[:, 1:2], np.zeros(member.shape)), axis=1)


def _design(weeks: PersonWeeks, categories: tuple[str, ...]) -> Design:
    """What each coefficient multiplies in the logarithm of the rate; the never wanted have no place in it."""
    angle = 2 * np.pi * weeks.year_part
    shared = np.column_stack(
        (
            np.ones(weeks.week.size),
            -weeks.log_ratio,
            weeks.week,
            np.log1p(weeks.week),
            np.sin(angle),
            np.cos(angle),
            weeks.cut,
            np.zeros(weeks.week.size),
        )
    )
    code = pd.Index(categories).get_indexer(weeks.category)
    return Design(shared, -weeks.log_ratio, np.where(code < 0, len(categories), code), len(categories))


def _offers(weeks: PersonWeeks, prior: SellingPrior) -> tuple[Offers, float]:
    """Offers for every sale at the asking price, a little prior and the books' own; the sales' share at it."""
    edges = [-np.inf, *((high + low) / 2 for high, low in zip(OFFER_PARTS[::-1], OFFER_PARTS[-2::-1], strict=False))]
    counts = np.histogram(weeks.offer_part, bins=[*edges, np.inf])[0][::-1]
    sales = float(weeks.sold.sum()) - weeks.offer_part.size
    held = prior.offers_weight
    per_sale = (held * np.asarray(prior.offers_per_sale) + counts) / (held + sales)
    at_asking = (held + sales) / (held + sales + weeks.offer_part.size)
    return Offers(OFFER_PARTS, tuple(float(value) for value in per_sale)), float(at_asking)
