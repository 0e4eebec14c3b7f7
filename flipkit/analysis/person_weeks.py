"""The listings of a shop week by week: what was asked in each week, and whether it sold then."""

from __future__ import annotations

import dataclasses
import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.comparables import ComparableRules, comparable_weights, days_before, typical_price

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

#: A sale at less than this part of the asking price is a sale by an accepted offer.
AT_ASKING = 0.98
#: Days of a year, for the season.
_YEAR = 365.25
#: Things that the stated markup weighs beside those whose own was seen.
_HELD = 4.0


@dataclass(frozen=True)
class PersonWeeks:
    """One row for each week that each thing was listed.

    Attributes
    ----------
    item : array of int, shape (rows,)
        Place of the thing in the frame that the weeks were made from.
    category : array of str, shape (rows,)
        Its category.
    week : array of int, shape (rows,)
        Weeks listed before this one.
    log_ratio : array, shape (rows,)
        Logarithm of the asking price over the typical price.
    exposure : array, shape (rows,)
        Part of the week that was seen.
    cut : array of bool, shape (rows,)
        Whether the price was lowered for this week.
    year_part : array, shape (rows,)
        Day of the year over its length, for the season.
    sold : array of bool, shape (rows,)
        Whether it sold in this week, at the asking price or by an accepted offer.
    offer_part : array, shape (sales by offer,)
        Sold price over asking price of what sold by an accepted offer.
    """

    item: Ints
    category: npt.NDArray[np.object_]
    week: Ints
    log_ratio: Floats
    exposure: Floats
    cut: Bools
    year_part: Floats
    sold: Bools
    offer_part: Floats


def person_weeks(
    items: pd.DataFrame, price_changes: pd.DataFrame, typical_cents: npt.ArrayLike, *, as_of: dt.date
) -> PersonWeeks:
    """Weeks on sale of every thing that was listed at a known price.

    Parameters
    ----------
    items : DataFrame, n rows
        ``item_id``, ``category``, ``listed_on``, ``list_price_cents``, ``sold_on``,
        ``sold_price_cents``, ``gone_on``.
    price_changes : DataFrame
        ``item_id``, ``changed_on``, ``price_cents``.
    typical_cents : array, shape (n,)
        Typical price of each thing. [cents]
    as_of : date
        The last day that is known.

    Returns
    -------
    PersonWeeks
        The weeks.

    Examples
    --------
    >>> items = pd.DataFrame({"item_id": ["a"], "category": ["mugs"], "list_price_cents": [2000],
    ...     "listed_on": pd.to_datetime(["2026-01-01"]), "sold_on": pd.to_datetime(["2026-01-20"]),
    ...     "sold_price_cents": [1800], "gone_on": pd.to_datetime([None])})
    >>> changes = pd.DataFrame({"item_id": ["a"], "changed_on": pd.to_datetime(["2026-01-09"]), "price_cents": [1800]})
    >>> weeks = person_weeks(items, changes, [2000], as_of=dt.date(2026, 2, 1))
    >>> weeks.sold.tolist(), weeks.log_ratio.round(3).tolist()
    ([False, False, True], [0.0, -0.105, -0.105])
    """
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
    """What is asked for each thing on a day.

    Parameters
    ----------
    items : DataFrame, n rows
        ``item_id``, ``list_price_cents``.
    price_changes : DataFrame
        ``item_id``, ``changed_on``, ``price_cents``.
    on : date
        The day.

    Returns
    -------
    array, shape (n,)
        The latest price by then; NaN where none is recorded. [cents]
    """
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

    Attributes
    ----------
    cents : array, shape (n,)
        Typical prices; NaN where neither is known. [cents]
    error : array, shape (n,)
        Standard error of the logarithm.
    markup : dict of str to float
        What is asked at first over the typical price, by category.
    markup_spread : float
        Spread of its logarithm from thing to thing.
    """

    cents: Floats
    error: Floats
    markup: dict[str, float]
    markup_spread: float


def typical_prices(
    items: pd.DataFrame,
    comparables: pd.DataFrame,
    *,
    as_of: dt.date,
    rules: ComparableRules,
    markup: float,
    markup_spread: float,
) -> Typical:
    """Typical price of each thing: its own comparables, and its first list price less the usual markup.

    Parameters
    ----------
    items : DataFrame, n rows
        ``item_id``, ``category``, ``list_price_cents``.
    comparables : DataFrame
        ``item_id``, ``sold_on``, ``price_cents``.
    as_of : date
        The day from which ages count.
    rules : ComparableRules
        How comparables are weighed.
    markup : float
        First list price over typical price, held before the books say.
    markup_spread : float
        Spread of its logarithm from thing to thing, likewise.

    Returns
    -------
    Typical
        Prices and errors.
    """
    n = len(items)
    listed = items["list_price_cents"].astype(np.float64).to_numpy()
    log_listed = np.log(np.where(listed > 0, listed, np.nan))
    own = comparables[(comparables["item_id"] != "") & (comparables["price_cents"] > 0)]
    place = {name: at for at, name in enumerate(items["item_id"])}
    shared = dataclasses.replace(rules, spread=_shared_spread(own, rules))
    log, error = np.full(n, np.nan), np.full(n, np.nan)
    for name, part in own.groupby("item_id", sort=False):
        if name in place:
            weights = comparable_weights(days_before(part["sold_on"].to_numpy(), as_of), None, "", rules=rules)
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
    return Typical(np.exp(mixed), unsure, {name: float(np.exp(value)) for name, value in marks.items()}, spread)


def _shared_spread(own: pd.DataFrame, rules: ComparableRules) -> float:
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
