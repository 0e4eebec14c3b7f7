"""Forecasts of what is for sale: the chance of a sale by a day, and the price that it would bring."""

from __future__ import annotations

import dataclasses
import datetime as dt
from statistics import NormalDist

import numpy as np
import pandas as pd

from flipkit.analysis.person_weeks import PersonWeeks, Typical, asking_prices, person_weeks
from flipkit.analysis.sale_hazard import SellingModel, week_rates
from flipkit.analysis.track_record import Forecast, forecast_table

#: Sales that the offers held before weigh beside the books' own.
_HELD = 10.0
#: Months with sales before a month is forecast.
_FEWEST_MONTHS = 6


def stock_forecasts(
    items: pd.DataFrame,
    price_changes: pd.DataFrame,
    model: SellingModel,
    typical: Typical,
    *,
    as_of: dt.date,
    due_on: dt.date,
    level: float,
) -> pd.DataFrame:
    """For each thing on sale: the chance that it sells by a day, and its price then.

    Prices are taken to fall on as they usually did. What has waited long is more likely one of the
    things that few want; the chances that it has already had are counted. The middle of a price is
    the mean of what such sales brought of the price asked some weeks before.

    Parameters
    ----------
    items : DataFrame
        As ``item_economics`` gives them.
    price_changes : DataFrame
        As the books hold them.
    model : SellingModel
        The chance of a sale.
    typical : Typical
        Typical price of each thing.
    as_of : date
        The last day that is known.
    due_on : date
        The day by which.
    level : float
        How often the price is meant to lie in its interval.

    Returns
    -------
    DataFrame
        As ``track_record.forecast_table``: a ``sale`` and a ``sold price`` for each thing.

    Examples
    --------
    See ``tests/analysis/test_forecasts.py``.
    """
    weeks = person_weeks(items, price_changes, typical.cents, as_of=as_of)
    rates = week_rates(model, weeks)
    met = np.bincount(weeks.item, weights=rates, minlength=len(items))
    ahead, freshly = _ahead(items, weeks, as_of=as_of, due_on=due_on)
    coming_rates = (1 - freshly) * week_rates(model, ahead)
    coming_rates += freshly * week_rates(model, dataclasses.replace(ahead, cut=np.ones(ahead.item.size, dtype=bool)))
    coming = np.bincount(ahead.item, weights=coming_rates, minlength=len(items))
    asked = asking_prices(items, price_changes, on=as_of)
    told = []
    # The price asked today is not yet that of the day of the sale, which lies half way on the average.
    reach = _parts_paid(items, weeks, typical, model, before=max((due_on - as_of).days // 14, 0), level=level)
    for at in np.unique(ahead.item):
        liking = model.wanted(str(items["category"].iloc[at]))
        left = liking.share * np.exp(-liking.level * met[at])
        chance = 1 - float(left @ np.exp(-liking.level * coming[at])) / float(left.sum())
        name, category = str(items["item_id"].iloc[at]), str(items["category"].iloc[at])
        told.append(Forecast(as_of, due_on, "sale", name, category, chance=chance))
        told.append(
            Forecast(
                as_of,
                due_on,
                "sold price",
                name,
                category,
                low=float(np.floor(asked[at] * reach[0])),
                middle=float(np.rint(asked[at] * reach[1])),
                high=float(np.ceil(asked[at] * reach[2])),
                level=level,
            )
        )
    return forecast_table(told)


def return_forecast(
    what: str,
    subject: str,
    estimate: float,
    low: float,
    high: float,
    *,
    made_on: dt.date,
    due_on: dt.date,
    level: float,
) -> Forecast:
    """A forecast of a return or a net from an estimate and its interval.

    Parameters
    ----------
    what : str
        ``month net``, ``month hourly`` or ``category hourly``.
    subject : str
        The month or the category.
    estimate, low, high : float
        The estimate and its interval.
    made_on, due_on : date
        The day of the forecast, and the day on which it is known.
    level : float
        How often the interval is meant to hold it.

    Returns
    -------
    Forecast
        The forecast.

    Examples
    --------
    >>> day = dt.date(2026, 10, 31)
    >>> return_forecast("month hourly", "2026-11", 14.0, 11.0, 19.0, made_on=day, due_on=day, level=0.8).high
    19.0
    """
    return Forecast(made_on, due_on, what, subject, "", low=low, middle=estimate, high=high, level=level)


def imagined_months(items: pd.DataFrame, month: pd.Period, *, as_of: dt.date, months: int) -> pd.DataFrame:
    """What a month may come to: its days so far as they were, the days to come as those of a month before.

    Parameters
    ----------
    items : DataFrame
        As ``item_economics`` gives them.
    month : Period
        The month.
    as_of : date
        The last day that is known; before the month's first day all of it is to come.
    months : int
        Months before it that are looked at; those without owner minutes on sales say nothing.

    Returns
    -------
    DataFrame
        One row for each of them, the earliest first: ``net_cents`` [cents], ``owner_min`` [min],
        ``hourly`` [dollars per hour].

    Examples
    --------
    By the 10th of March 5.00 came in for an hour; after a 10th, January brought 20.00 and February 30.00:

    >>> day = pd.to_datetime(["2026-01-04", "2026-01-20", "2026-02-11", "2026-03-05"])
    >>> items = pd.DataFrame({"sold_on": day, "net_cents": [900, 2000, 3000, 500], "owner_min": 60.0})
    >>> imagined_months(items, pd.Period("2026-03"), as_of=dt.date(2026, 3, 10), months=12)["hourly"].tolist()
    [12.5, 17.5]
    """
    sold = items[items["sold_on"].notna()]
    when = sold["sold_on"].dt.to_period("M")
    passed = as_of.day if pd.Period(as_of, "M") == month else 0
    columns = ["net_cents", "owner_min"]
    so_far = sold.loc[(when == month) & (sold["sold_on"].dt.day <= passed), columns].sum()
    before = (when < month) & (when >= month - months)
    whole = sold[before].groupby(when[before])[columns].sum()
    to_come = before & (sold["sold_on"].dt.day > passed)
    rest = sold[to_come].groupby(when[to_come])[columns].sum()
    found = rest.reindex(whole.index[whole["owner_min"] > 0]).fillna(0.0) + so_far
    return found.assign(hourly=found["net_cents"] / 100 / (found["owner_min"].where(found["owner_min"] > 0) / 60))


def return_forecasts(
    items: pd.DataFrame, *, as_of: dt.date, due_on: dt.date, months: int, level: float
) -> list[Forecast]:
    """Forecasts of a month's net and hourly return, from its days so far and how the months before it differ.

    Parameters
    ----------
    items : DataFrame
        As ``item_economics`` gives them.
    as_of : date
        The last day that is known.
    due_on : date
        Last day of the month.
    months : int
        Months before it that are learned from.
    level : float
        How often the figure is meant to lie in its interval.

    Returns
    -------
    list of Forecast
        ``month net`` [cents] and ``month hourly`` [dollars per hour]; none where fewer than six months say anything.

    Examples
    --------
    >>> day = pd.date_range("2026-01-01", periods=8, freq="MS")
    >>> items = pd.DataFrame({"sold_on": day, "net_cents": [1200, 1400] * 4, "owner_min": 60.0})
    >>> told = return_forecasts(items, as_of=dt.date(2026, 9, 30), due_on=dt.date(2026, 10, 31), months=12, level=0.8)
    >>> [(one.what, one.middle) for one in told]
    [('month net', 1300.0), ('month hourly', 13.0)]
    """
    month = pd.Period(due_on, "M")
    like = imagined_months(items, month, as_of=as_of, months=months).dropna(subset="hourly")
    if len(like) < _FEWEST_MONTHS:
        return []
    told = []
    for what, column in (("month net", "net_cents"), ("month hourly", "hourly")):
        seen = like[column].to_numpy(dtype=np.float64)
        spread, middle = float(seen.std(ddof=1)), float(seen.mean())
        low, high = month_interval(middle, spread / np.sqrt(seen.size), spread, level=level)
        told.append(return_forecast(what, str(month), middle, low, high, made_on=as_of, due_on=due_on, level=level))
    return told


def month_interval(estimate: float, error: float, next_error: float, *, level: float) -> tuple[float, float]:
    """Interval for next month's figure: the estimate's own error and the luck of a single month.

    Parameters
    ----------
    estimate : float
        The figure expected.
    error : float
        Standard error of that estimate.
    next_error : float
        Standard deviation of a single month around the truth.
    level : float
        How often the interval is meant to hold.

    Returns
    -------
    tuple of float
        Low and high.

    Examples
    --------
    >>> [round(end, 2) for end in month_interval(10.0, 3.0, 4.0, level=0.9)]
    [1.78, 18.22]
    """
    reach = NormalDist().inv_cdf((1 + level) / 2) * float(np.hypot(error, next_error))
    return estimate - reach, estimate + reach


def _ahead(items: pd.DataFrame, weeks: PersonWeeks, *, as_of: dt.date, due_on: dt.date) -> tuple[PersonWeeks, float]:
    """The weeks to come of what is for sale, its price falling as prices did, and how often a week has a cut."""
    on_sale = (items["status"] == "for sale").to_numpy()
    last = np.flatnonzero(np.diff(weeks.item, append=-1) != 0)
    last = last[on_sale[weeks.item[last]]]
    days = max((due_on - as_of).days, 0)
    count = -(-days // 7)
    row = np.repeat(last, count)
    step = np.tile(np.arange(count), last.size)
    further = np.flatnonzero(np.diff(weeks.item) == 0)
    fall = float(np.mean(weeks.log_ratio[further + 1] - weeks.log_ratio[further])) if further.size else 0.0
    freshly = float(np.mean(weeks.cut[further + 1])) if further.size else 0.0
    ahead = PersonWeeks(
        weeks.item[row],
        weeks.category[row],
        weeks.week[row] + 1 + step,
        weeks.log_ratio[row] + min(fall, 0.0) * (1 + step),
        np.minimum(7, days - 7 * step) / 7.0,
        np.zeros(row.size, dtype=bool),
        (weeks.year_part[row] + 7 * (1 + step) / 365.25) % 1.0,
        np.zeros(row.size, dtype=bool),
        np.zeros(0),
    )
    return ahead, freshly


def _parts_paid(
    items: pd.DataFrame, weeks: PersonWeeks, typical: Typical, model: SellingModel, *, before: int, level: float
) -> tuple[float, float, float]:
    """Low, mean and high of what sales brought, as parts of the price asked some weeks before."""
    final = np.flatnonzero(weeks.sold)
    row = np.maximum(final - before, final - weeks.week[final])
    asked = np.asarray(typical.cents, dtype=np.float64)[weeks.item[final]] * np.exp(weeks.log_ratio[row])
    paid = items["sold_price_cents"].to_numpy(dtype=np.float64)[weeks.item[final]]
    known = (asked > 0) & (paid > 0)
    # A few sales lean on the offers that the model holds: they have the weight of ``_HELD`` sales.
    often = np.array([1.0, *model.offers.per_sale])
    part = np.concatenate((paid[known] / asked[known], [1.0, *model.offers.parts]))
    weight = np.concatenate((np.ones(int(known.sum())), _HELD * often / often.sum()))
    order = np.argsort(part, kind="stable")
    share = np.cumsum(weight[order]) / weight.sum()
    low, high = (
        float(part[order][min(int(np.searchsorted(share, place)), part.size - 1)])
        for place in ((1 - level) / 2, (1 + level) / 2)
    )
    # The middle is a ratio of sums, so that dear things and cheap ones come out right together.
    held = _HELD * float(asked[known].mean()) if known.any() else _HELD
    offered = float(np.average([1.0, *model.offers.parts], weights=often))
    middle = float(paid[known].sum() + held * offered) / float(asked[known].sum() + held)
    return low, min(max(middle, low), high), high
