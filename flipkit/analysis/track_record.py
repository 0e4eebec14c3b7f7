"""The track record: each run's forecasts kept beside the books, and scored once the month is over.

A forecast says of one thing what will happen by a day: a chance (of a sale), or an amount with
an interval (a price, a net, an hourly return). The file only grows; what was said stays said.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import bdtr, bdtrc, ndtri

from flipkit.errors import AssumptionError, NotEnoughDataError

Floats = npt.NDArray[np.float64]

#: Name of the file beside the books.
FILE = "forecasts.csv"
COLUMNS = ("made_on", "due_on", "what", "subject", "category", "chance", "low", "middle", "high", "level")
#: What can be forecast: a chance of a sale, or an amount with an interval.
CHANCES = ("sale",)
AMOUNTS = ("sold price", "days to sale", "month net", "month hourly", "category hourly")


class Forecast(NamedTuple):
    """One forecast.

    ``chance`` is given for what may happen, ``low``, ``middle`` and ``high`` for an amount that
    is meant to lie between them with the chance ``level``; the others are NaN.
    """

    made_on: dt.date
    due_on: dt.date
    what: str
    subject: str
    category: str
    chance: float = math.nan
    low: float = math.nan
    middle: float = math.nan
    high: float = math.nan
    level: float = math.nan


def forecast_table(forecasts: Iterable[Forecast]) -> pd.DataFrame:
    """Forecasts as a table.

    Parameters
    ----------
    forecasts : iterable of Forecast
        The forecasts.

    Returns
    -------
    DataFrame
        One row a forecast, columns ``COLUMNS``.

    Raises
    ------
    AssumptionError
        If one is of no known kind, or its figures make no sense.

    Examples
    --------
    >>> day, due = dt.date(2026, 10, 31), dt.date(2026, 11, 30)
    >>> forecast_table([Forecast(day, due, "sale", "R-1", "mugs", chance=0.3)])["chance"].tolist()
    [0.3]
    """
    rows = list(forecasts)
    for one in rows:
        _require_sensible(one)
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    for name in ("made_on", "due_on"):
        frame[name] = pd.to_datetime(frame[name])
    for name in ("chance", "low", "middle", "high", "level"):
        frame[name] = frame[name].astype(np.float64)
    return frame


def kept_forecasts(folder: Path) -> pd.DataFrame:
    """Forecasts kept so far beside the books.

    Parameters
    ----------
    folder : Path
        Where the books are.

    Returns
    -------
    DataFrame
        As ``forecast_table``; empty where none was kept.

    Raises
    ------
    AssumptionError
        If the file lacks a column.
    """
    path = Path(folder, FILE)
    if not path.is_file():
        return forecast_table([])
    frame = pd.read_csv(
        path, dtype={"what": str, "subject": str, "category": str}, keep_default_na=False, na_values=[""]
    )
    missing = [name for name in COLUMNS if name not in frame]
    if missing:
        raise AssumptionError(FILE, need=f"the columns {', '.join(COLUMNS)}", got=f"no {', '.join(missing)}")
    for name in ("made_on", "due_on"):
        frame[name] = pd.to_datetime(frame[name])
    for name in ("what", "subject", "category"):
        frame[name] = frame[name].fillna("")
    return frame[list(COLUMNS)]


def keep_forecasts(folder: Path, forecasts: pd.DataFrame) -> int:
    """Add forecasts to those kept; one made on the same day of the same thing is not said twice.

    Parameters
    ----------
    folder : Path
        Where the books are.
    forecasts : DataFrame
        As ``forecast_table`` gives it.

    Returns
    -------
    int
        How many were new.
    """
    kept = kept_forecasts(folder)
    key = ["made_on", "due_on", "what", "subject"]
    both = pd.concat([kept, forecasts[list(COLUMNS)]], ignore_index=True) if len(kept) else forecasts[list(COLUMNS)]
    # The first word stands: a run made again does not improve what was said.
    whole = both.drop_duplicates(key, keep="first").reset_index(drop=True)
    text = whole.copy()
    for name in ("made_on", "due_on"):
        text[name] = text[name].dt.strftime("%Y-%m-%d")
    temporary = Path(folder, f"{FILE}.new")
    text.to_csv(temporary, index=False, lineterminator="\n")
    temporary.replace(Path(folder, FILE))
    return len(whole) - len(kept)


def scored(
    forecasts: pd.DataFrame, outcomes: Mapping[tuple[str, str, dt.date], float], *, as_of: dt.date
) -> pd.DataFrame:
    """Forecasts whose day has come, beside what happened.

    Parameters
    ----------
    forecasts : DataFrame
        As ``kept_forecasts`` gives it.
    outcomes : mapping
        By what, subject and due day: 1 or 0 for what happened or not, else the amount. A
        forecast without an outcome (a price of what did not sell) is left unscored.
    as_of : date
        The last day that is known.

    Returns
    -------
    DataFrame
        The due forecasts with ``outcome``, ``inside`` (interval holds it; NaN for chances),
        ``brier`` (chances), ``pinball`` (amounts: mean of the pinball losses of low, middle and
        high at their levels) and ``error`` (middle or chance less outcome).

    Examples
    --------
    >>> day, due = dt.date(2026, 10, 31), dt.date(2026, 11, 30)
    >>> told = forecast_table([Forecast(day, due, "sale", "R-1", "mugs", chance=0.3)])
    >>> scored(told, {("sale", "R-1", due): 1.0}, as_of=due)["brier"].round(2).tolist()
    [0.49]
    """
    due = forecasts[forecasts["due_on"] <= pd.Timestamp(as_of)].reset_index(drop=True)
    found = [
        outcomes.get((what, subject, day.date()), math.nan)
        for what, subject, day in zip(due["what"], due["subject"], due["due_on"], strict=True)
    ]
    due = due.assign(outcome=np.array(found, dtype=np.float64))
    happened = due["outcome"].to_numpy()
    low, middle, high = (due[name].to_numpy() for name in ("low", "middle", "high"))
    chance = due["chance"].to_numpy()
    is_chance = due["what"].isin(CHANCES).to_numpy()
    inside = np.where(is_chance | np.isnan(happened), np.nan, (low <= happened) & (happened <= high))
    tail = (1 - due["level"].to_numpy()) / 2
    losses = (_pinball(low, happened, tail), _pinball(middle, happened, 0.5), _pinball(high, happened, 1 - tail))
    return due.assign(
        inside=inside,
        brier=np.where(is_chance, (chance - happened) ** 2, np.nan),
        pinball=np.where(is_chance, np.nan, sum(losses) / 3),
        error=np.where(is_chance, chance, middle) - happened,
    )


def score_table(scores: pd.DataFrame, *, by: str = "what") -> pd.DataFrame:
    """How good the forecasts were.

    Parameters
    ----------
    scores : DataFrame
        As ``scored`` gives it.
    by : str
        ``what`` or ``category``.

    Returns
    -------
    DataFrame
        One row a kind (and category): ``forecasts``, ``scored``, ``said`` (mean chance or
        middle), ``happened`` (mean outcome), ``bias`` and its standard error, ``coverage`` and
        the ``level`` meant, ``brier`` and ``brier_of_base`` (saying the mean of what happened
        every time), ``pinball``.

    Raises
    ------
    NotEnoughDataError
        If nothing has come due.

    Examples
    --------
    See ``tests/analysis/test_track_record.py``.
    """
    if not len(scores):
        raise NotEnoughDataError("forecasts", need="at least one whose day has come", got=0)
    keys = ["what"] if by == "what" else ["what", by]
    rows = []
    for name, part in scores.groupby(keys, sort=True):
        done = part[part["outcome"].notna()]
        base = float(done["outcome"].mean()) if len(done) else math.nan
        said = done["chance"].where(done["what"].isin(CHANCES), done["middle"])
        rows.append(
            {
                **dict(zip(keys, name, strict=True)),
                "forecasts": len(part),
                "scored": len(done),
                "said": float(said.mean()) if len(done) else math.nan,
                "happened": base,
                "bias": float(done["error"].mean()) if len(done) else math.nan,
                "bias_error": float(done["error"].std() / math.sqrt(len(done))) if len(done) > 1 else math.nan,
                "coverage": float(done["inside"].mean()) if done["inside"].notna().any() else math.nan,
                "level": float(done["level"].mean()) if done["level"].notna().any() else math.nan,
                "brier": float(done["brier"].mean()) if done["brier"].notna().any() else math.nan,
                "brier_of_base": base * (1 - base) if done["brier"].notna().any() else math.nan,
                "pinball": float(done["pinball"].mean()) if done["pinball"].notna().any() else math.nan,
            }
        )
    return pd.DataFrame(rows)


class Fault(NamedTuple):
    """What is wrong with a kind of forecast beyond luck.

    ``fault`` is ``too high``, ``too low``, ``too narrow`` or ``too wide``; ``said`` and
    ``happened`` are the means, or the share meant to lie inside and the one that did.
    """

    what: str
    fault: str
    said: float
    happened: float
    scored: int


def faults(scores: pd.DataFrame, *, too_few: int, chance: float = 0.01) -> list[Fault]:
    """Kinds of forecasts that are off by more than luck explains.

    Parameters
    ----------
    scores : DataFrame
        As ``scored`` gives it.
    too_few : int
        Below so many scored forecasts of a kind nothing is said of it.
    chance : float
        How seldom luck alone may do it to a kind that is right, for its bias and again for its
        intervals, were its forecasts independent.

    Returns
    -------
    list of Fault
        By kind; empty where none is found.

    Examples
    --------
    >>> day, due = dt.date(2026, 10, 31), dt.date(2026, 11, 30)
    >>> told = forecast_table([Forecast(day, due, "sale", str(k), "mugs", chance=0.9) for k in range(20)])
    >>> lost = {("sale", str(k), due): float(k % 2) for k in range(20)}
    >>> [(one.what, one.fault) for one in faults(scored(told, lost, as_of=due), too_few=10)]
    [('sale', 'too high')]
    """
    if not len(scores):
        return []
    found = []
    reach = float(ndtri(1 - chance / 2))
    for row in score_table(scores).to_dict("records"):
        what, count = str(row["what"]), int(row["scored"])
        if count < too_few:
            continue
        if abs(row["bias"]) > reach * row["bias_error"]:
            word = "too high" if row["bias"] > 0 else "too low"
            found.append(Fault(what, word, float(row["said"]), float(row["happened"]), count))
        if not math.isnan(row["coverage"]):
            inside, level = round(row["coverage"] * count), float(row["level"])
            narrow, wide = float(bdtr(inside, count, level)), float(bdtrc(inside - 1, count, level))
            if min(narrow, wide) < chance / 2:
                word = "too narrow" if narrow < wide else "too wide"
                found.append(Fault(what, word, level, float(row["coverage"]), count))
    return found


def item_outcomes(items: pd.DataFrame, forecasts: pd.DataFrame) -> dict[tuple[str, str, dt.date], float]:
    """What became of things that forecasts are about, from the books.

    Parameters
    ----------
    items : DataFrame
        As ``item_economics`` gives them, later than the forecasts.
    forecasts : DataFrame
        As ``kept_forecasts`` gives them.

    Returns
    -------
    dict
        For ``scored``: a sale by the due day is 1, none is 0; price and days of what sold.
    """
    sold = dict(zip(items["item_id"], items["sold_on"], strict=True))
    price = dict(zip(items["item_id"], items["sold_price_cents"], strict=True))
    days = dict(zip(items["item_id"], items["days_listed"], strict=True))
    found: dict[tuple[str, str, dt.date], float] = {}
    for what, subject, due in zip(forecasts["what"], forecasts["subject"], forecasts["due_on"], strict=True):
        if subject not in sold:
            continue
        by_then = bool(pd.notna(sold[subject]) and sold[subject] <= due)
        key = (str(what), str(subject), due.date())
        if what == "sale":
            found[key] = float(by_then)
        elif what == "sold price" and by_then:
            found[key] = float(price[subject])
        elif what == "days to sale" and by_then:
            found[key] = float(days[subject])
    return found


def _pinball(said: Floats, happened: Floats, level: Any) -> Floats:
    gap = happened - said
    return np.asarray(np.where(gap >= 0, level * gap, (level - 1) * gap))


def _require_sensible(one: Forecast) -> None:
    if one.what not in CHANCES + AMOUNTS:
        raise AssumptionError("what", need=f"one of {', '.join(CHANCES + AMOUNTS)}", got=one.what)
    if one.due_on < one.made_on:
        raise AssumptionError("due_on", need=f"on or after {one.made_on.isoformat()}", got=one.due_on.isoformat())
    if one.what in CHANCES and not 0 <= one.chance <= 1:
        raise AssumptionError("chance", need="from 0 to 1", got=one.chance, where=one.subject)
    if one.what in AMOUNTS and not (one.low <= one.middle <= one.high and 0 < one.level < 1):
        got = (one.low, one.middle, one.high, one.level)
        raise AssumptionError("forecast", need="low <= middle <= high with a level below 1", got=got, where=one.subject)
