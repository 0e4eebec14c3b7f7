"""What each category's sales of the coming month may earn an hour, the luck of so few sales included.

A category's return has an error of its own; a single month of it has more, for it is a handful
of sales. Past sales are weighed trip by trip at random (the estimate's error), as many are drawn
as one of the past months had (the month's luck), and the ratio of their sums is a possible
month. The interval is read off many such months.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.groups import in_window
from flipkit.analysis.resamples import generator
from flipkit.analysis.returns import FEW_TRIPS
from flipkit.analysis.track_record import Forecast

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: The kind of forecast.
WHAT = "category hourly"
#: Months that are imagined for each category.
_DRAWS = 2000


def month_draws(
    net_cents: npt.ArrayLike,
    owner_min: npt.ArrayLike,
    trip: npt.ArrayLike,
    sales_a_month: npt.ArrayLike,
    *,
    known: tuple[float, float] = (0.0, 0.0),
    left: float = 1.0,
    draws: int = _DRAWS,
    random: np.random.Generator,
) -> Floats:
    """Hourly returns that one month's sales of a group may come to.

    Parameters
    ----------
    net_cents, owner_min : array, shape (n,)
        Net and owner minutes of past sales. [cents], [min]
    trip : array, shape (n,)
        Trip of each; items of a trip are alike, so the trips are weighed.
    sales_a_month : array of int, shape (months,)
        How many such sales past months had; those without one say nothing of a return.
    known : tuple of float
        Net and minutes of the month's sales so far. [cents], [min]
    left : float
        Part of the month still to come.
    draws : int
        How many months are imagined.
    random : Generator
        Source of the draws.

    Returns
    -------
    array, shape (draws,)
        Dollars per hour, each of a month with at least one sale.

    References
    ----------
    The random weights are those of ``rubin-1981`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> random = np.random.default_rng(1)
    >>> found = month_draws([900, 2500, 400, 3100], [30, 50, 20, 60], list("aabc"), [2, 0, 3], random=random)
    >>> bool(8 < found.min() < 24 < found.max() < 40)
    True
    """
    net, minutes = np.asarray(net_cents, dtype=np.float64), np.asarray(owner_min, dtype=np.float64)
    code, _ = pd.factorize(np.asarray(trip, dtype=object))
    weight = random.exponential(size=(draws, code.max() + 1))[:, code]
    edge = np.cumsum(weight, axis=1)
    edge /= edge[:, -1:]
    past = np.asarray(sales_a_month, dtype=np.int64)
    whole = random.choice(past[past > 0], draws)
    count = random.binomial(whole, left) if left < 1 else whole
    if known[1] <= 0:
        count = np.maximum(count, 1)
    month = np.repeat(np.arange(draws), count)
    # One search for all months: each month's edges lie one above those of the month before.
    place = np.searchsorted((edge + np.arange(draws)[:, None]).ravel(), month + random.random(month.size), side="right")
    pick = np.minimum(place - month * net.size, net.size - 1)
    sums = [known[k] + np.bincount(month, weights=one[pick], minlength=draws) for k, one in enumerate((net, minutes))]
    found = 0.6 * sums[0] / np.maximum(sums[1], 1e-9)
    # Past sales differ less among themselves than sales in general do, by about this factor.
    wider = np.sqrt((net.size + 1) / (net.size - 1)) if net.size > 1 else 1.0
    return np.asarray(found.mean() + wider * (found - found.mean()))


def category_forecasts(
    items: pd.DataFrame,
    *,
    as_of: dt.date,
    due_on: dt.date,
    months: int,
    level: float,
    too_few: int,
    seed: int,
) -> list[Forecast]:
    """Forecast of what an hour earns on each category's sales in the month that ends on a day.

    Parameters
    ----------
    items : DataFrame
        As ``item_economics`` gives them, as of the forecast's day.
    as_of : date
        The last day that is known; what the month has sold by then counts as it is.
    due_on : date
        Last day of the month.
    months : int
        Months before it whose sales are learned from.
    level : float
        How often the return is meant to lie in its interval.
    too_few : int
        Below so many past sales, or of ``hourly.FEW_TRIPS`` trips, nothing is forecast.
    seed : int
        Start of the draws.

    Returns
    -------
    list of Forecast
        One a category that is known well enough, sorted by name. ``middle`` is the mean of the
        months imagined, so that the gaps of good forecasts come to nothing in the long run.

    Examples
    --------
    >>> day = pd.date_range("2026-01-05", periods=12, freq="10D")
    >>> items = pd.DataFrame({"category": "mugs", "trip_id": list("abcdefabcdef"), "sold_on": day,
    ...     "bought_on": day, "net_cents": [900, 1500] * 6, "owner_min": 30.0})
    >>> made, due = dt.date(2026, 4, 30), dt.date(2026, 5, 31)
    >>> one, = category_forecasts(items, as_of=made, due_on=due, months=12, level=0.8, too_few=10, seed=1)
    >>> one.subject, round(one.low), round(one.high)
    ('mugs', 17, 31)
    """
    month = pd.Period(due_on, "M")
    sold = items["sold_on"].dropna()
    first = max(month - months, pd.Period(sold.min(), "M")) if len(sold) else month
    if first >= month:
        return []
    past = in_window(items, window=(first.start_time.date(), as_of), basis="sold")
    whole = pd.period_range(first, month - 1, freq="M")
    left = min(max((due_on - as_of).days, 0) / month.days_in_month, 1.0)
    told = []
    for name, own in sorted(past.groupby(past["category"].astype(object)), key=lambda pair: str(pair[0])):
        when = own["sold_on"].dt.to_period("M")
        before = own[(when < month).to_numpy()]
        if len(before) < too_few or before["trip_id"].nunique() < FEW_TRIPS or not float(before["owner_min"].sum()) > 0:
            continue
        so_far = own[(when == month).to_numpy()]
        drawn = month_draws(
            before["net_cents"],
            before["owner_min"],
            before["trip_id"],
            [int((when == one).sum()) for one in whole],
            known=(float(so_far["net_cents"].sum()), float(so_far["owner_min"].sum())),
            left=left,
            random=generator(seed, f"{name} {month}"),
        )
        low, high = (float(end) for end in np.quantile(drawn, [(1 - level) / 2, (1 + level) / 2]))
        middle = min(max(float(drawn.mean()), low), high)
        told.append(Forecast(as_of, due_on, WHAT, str(name), str(name), low=low, middle=middle, high=high, level=level))
    return told


def category_outcomes(items: pd.DataFrame, forecasts: pd.DataFrame) -> dict[tuple[str, str, dt.date], float]:
    """What an hour earned on each forecast category's sales of the month, from the books.

    Parameters
    ----------
    items : DataFrame
        As ``item_economics`` gives them, later than the forecasts.
    forecasts : DataFrame
        As ``kept_forecasts`` gives them.

    Returns
    -------
    dict
        For ``track_record.scored``; a category without a sale in the month has no outcome.

    Examples
    --------
    >>> from flipkit.analysis.track_record import forecast_table
    >>> made, due = dt.date(2026, 4, 30), dt.date(2026, 5, 31)
    >>> told = forecast_table([Forecast(made, due, WHAT, "mugs", "mugs", low=9, middle=20, high=31, level=0.8)])
    >>> items = pd.DataFrame({"category": ["mugs"], "sold_on": pd.to_datetime(["2026-05-02"]),
    ...     "net_cents": [1500], "owner_min": [60.0]})
    >>> list(category_outcomes(items, told).values())
    [15.0]
    """
    asked = forecasts[forecasts["what"] == WHAT]
    month = items["sold_on"].dt.to_period("M")
    found: dict[tuple[str, str, dt.date], float] = {}
    for subject, day in sorted(set(zip(asked["subject"], asked["due_on"], strict=True)), key=str):
        own = items[((items["category"].astype(str) == subject) & (month == pd.Period(day, "M"))).to_numpy()]
        if float(own["owner_min"].sum()) > 0:
            found[WHAT, str(subject), day.date()] = float(own["net_cents"].sum() / own["owner_min"].sum() * 0.6)
    return found
