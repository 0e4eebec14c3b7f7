"""What will sell and at what price, kept and scored once the month is over."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import bdtr, bdtrc, ndtri

from flipkit.analysis.ratio_stats import generator
from flipkit.analysis.returns import FEW_TRIPS, in_window
from flipkit.analysis.sale_hazard import PersonWeeks, SellingModel, Typical, asking_prices, expected_sales, person_weeks
from flipkit.analysis.stock_value import item_facts
from flipkit.books.read import Books
from flipkit.errors import AssumptionError, NotEnoughDataError

# The track record: each run's forecasts kept beside the books, and scored once the month is over.
#
# A forecast says of one thing what will happen by a day: a chance (of a sale), or an amount with an interval (a
# price, a net, an hourly return). The file only grows; what was said stays said.

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Folder beside the packs in which the forecasts of every run are kept.
FOLDER = "track-record"
#: Name of the file beside the books.
FILE = "forecasts.csv"
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


COLUMNS = Forecast._fields


def forecast_table(forecasts: Iterable[Forecast]) -> pd.DataFrame:
    """Forecasts as a table."""
    rows = list(forecasts)
    for one in rows:
        _require_sensible(one)
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    for name in ("made_on", "due_on"):
        frame[name] = pd.to_datetime(frame[name])
    for name in ("chance", "low", "middle", "high", "level"):
        frame[name] = frame[name].astype(np.float64)
    return frame


def record_folder(packs: Path, books: Books) -> Path:
    """Where a shop's forecasts are kept: beside its packs, never in its books."""
    text = f"{books.shop.name} {books.path.resolve().stem}".lower()
    return packs / FOLDER / (re.sub(r"[^a-z0-9]+", "-", text).strip("-") or "shop")


def kept_forecasts(folder: Path) -> pd.DataFrame:
    """Forecasts kept so far beside the books."""
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
    """Add forecasts to those kept; one made on the same day of the same thing is not said twice."""
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
    """Forecasts whose day has come, beside what happened."""
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
    """How good the forecasts were."""
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
    """Kinds of forecasts that are off by more than luck explains."""
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
    """What became of things that forecasts are about, from the books."""
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


# Forecasts of what is for sale: the chance of a sale by a day, and the price that it would bring.

#: Sales that the offers held before weigh beside the books' own.
_HELD = 10.0
#: Weeks since a price was set from which on all count alike.
_LONGEST_SINCE = 13
#: Sales of all kinds that weigh beside those of things whose price had stood as long.
_ALIKE = 2.0
#: No thing's price lies above its interval with a greater chance than this.
_MOST_ABOVE = 0.3
#: How much of a middling price a whole chance of lying above its interval may be worth.
_EXCHANGE = np.geomspace(0.01, 1000.0, 231)
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
) -> tuple[pd.DataFrame, Floats]:
    """For each thing on sale: the chance that it sells by a day, and its price then; and how unsure its pace is.

    Prices are taken to fall on as they usually did. What has waited long is more likely one of the
    things that few want; the chances that it has already had are counted. The middle of a price is
    the mean of what sales brought of the price asked up to as long before, of things whose price
    had stood as long. The pace is unsure in many directions together, a row a thing in the books' order.
    """
    weeks = person_weeks(items, price_changes, typical.cents, as_of=as_of)
    ahead, freshly = _ahead(items, weeks, as_of=as_of, due_on=due_on)
    on_sale = np.unique(ahead.item)
    chance, doubt = _chances(items["category"].iloc[on_sale], weeks, ahead, freshly, model)
    asked = asking_prices(items, price_changes, on=as_of)
    told = []
    since = _weeks_since(weeks)
    last = np.flatnonzero(np.diff(weeks.item, append=-1) != 0)
    now = since[last[np.searchsorted(weeks.item[last], on_sale)]]
    parts = _parts_paid(items, weeks, typical, model, since, days=max((due_on - as_of).days, 0))
    ends = _price_ends(parts, now, chance, asked[on_sale], level=level) if on_sale.size else np.zeros((0, 3))
    for at, sale, reach in zip(on_sale, chance, ends, strict=True):
        name, category = str(items["item_id"].iloc[at]), str(items["category"].iloc[at])
        told.append(Forecast(as_of, due_on, "sale", name, category, chance=float(sale)))
        told.append(
            Forecast(
                as_of,
                due_on,
                "sold price",
                name,
                category,
                # A part of one is what is asked, to the cent.
                low=float(np.floor(asked[at] * reach[0] + 1e-6)),
                middle=float(np.rint(asked[at] * reach[1])),
                high=float(np.ceil(asked[at] * reach[2] - 1e-6)),
                level=level,
            )
        )
    return forecast_table(told), doubt


def _chances(
    category: pd.Series, weeks: PersonWeeks, ahead: PersonWeeks, freshly: float, model: SellingModel
) -> tuple[Floats, Floats]:
    """The chance of a sale of each thing on sale, and how unsure the logarithm of its pace is in each direction."""
    met = expected_sales(model, weeks.of(ahead.item))
    cut = dataclasses.replace(ahead, cut=np.ones(ahead.item.size, dtype=bool))
    coming = (1 - freshly) * expected_sales(model, ahead) + freshly * expected_sales(model, cut)
    pace, slope = np.zeros(len(category)), np.zeros_like(met)
    for at, name in enumerate(category.astype(str)):
        liking = model.wanted(name)
        now = liking.share * np.exp(-liking.level * met[at, 0])
        then = now * np.exp(-liking.level * coming[at, 0])
        pace[at] = np.log(now.sum() / then.sum())
        now, then = now / now.sum(), then / then.sum()
        # Where all sells faster than was thought, those that are left are wanted less: the two nearly cancel.
        slope[at] = (liking.level @ then) * (met[at] + coming[at]) - (liking.level @ now) * met[at]
        slope[at] += (now[0] - then[0]) * model.pick("never wanted", name)
    value, vector = np.linalg.eigh(model.covariance)
    return -np.expm1(-pace), slope / np.maximum(pace, 1e-9)[:, None] @ (vector * np.sqrt(np.maximum(value, 0.0)))


def _weeks_since(weeks: PersonWeeks) -> Ints:
    """Weeks since each week's price was set, by the listing or by a lower price; many count alike."""
    row = np.arange(weeks.item.size)
    start = np.maximum.accumulate(np.where(weeks.cut | (weeks.week == 0), row, 0))
    return np.minimum(row - start, _LONGEST_SINCE)


# What a month may come to: its sales so far, those of the things on sale, and those of things still to be listed.
#
# Each thing on sale sells with its chance at the price that is forecast for it; the chances are unsure together, as
# far as the pace of the shop is. What a month's own listings bring is told by the months before, by what was sold in
# each of things that were not on sale when it began: how many, and for each one of those sales. So a month may hold
# one dear find or two, and it brings little rather than less than nothing. The spread of whole months alone knows
# nothing of what stands on the shelf.

#: Months that are imagined.
_IMAGINED = 2000
#: Sales of the whole shop that weigh beside a category's own, in what a sale leaves of its price.
_SHOP_SALES = 3.0


def imagined_months(
    items: pd.DataFrame,
    stock: pd.DataFrame,
    doubt: Floats,
    *,
    as_of: dt.date,
    due_on: dt.date,
    months: int,
    seed: int,
) -> pd.DataFrame:
    """Months that the one which ends on a day may come to: ``net_cents`` and ``owner_min`` of its sales.

    ``stock`` are the forecasts of the things on sale, ``doubt`` how unsure their
    paces are. Empty where too few months are known.
    """
    random = generator(seed, f"month {due_on}")
    sold_on, listed_on = items["sold_on"], items["listed_on"]
    columns = ["net_cents", "owner_min"]
    month = pd.Period(due_on, "M")
    so_far = items.loc[(sold_on >= month.start_time) & (sold_on <= pd.Timestamp(as_of)), columns].sum()
    # Of a month that has begun the days after today's are still to come, as they were in the months before.
    passed = as_of.day if pd.Period(as_of, "M") == month else 0
    first = listed_on.min() if listed_on.notna().any() else sold_on.min()
    fresh = []
    for back in range(1, months + 1):
        end = (month - back).end_time.normalize()
        start = min((month - back).start_time + pd.Timedelta(days=passed - 1), end)
        if not start >= first.to_period("M").start_time - pd.Timedelta(days=1):
            break
        inside = (sold_on > start) & (sold_on <= end) & ~(listed_on <= start)
        fresh.append(items.loc[inside, columns].to_numpy(dtype=np.float64))
    if len(fresh) < _FEWEST_MONTHS:
        return pd.DataFrame(columns=columns, dtype=np.float64)
    sums = so_far.to_numpy(dtype=np.float64) + _fresh_sales(fresh, random) + _stock_sales(items, stock, doubt, random)
    return pd.DataFrame(sums, columns=columns)


def _fresh_sales(past: list[Floats], random: np.random.Generator) -> Floats:
    """Net and minutes of what months list and sell themselves, from the sales of past ones, in each of many months."""
    sales, count = np.concatenate(past), np.array([len(one) for one in past])
    months = count.size
    if not len(sales):
        return np.zeros((_IMAGINED, 2))
    # As many as a normal draw with the months' own spread says, as wide as the next one of so few is unsure.
    wide = np.sqrt((1 + 1 / months) / random.chisquare(months - 1, _IMAGINED))
    number = count.mean() + wide * (random.standard_normal((_IMAGINED, months)) @ (count - count.mean()))
    # The months are weighed at random, since others could have come as well.
    weight = random.standard_exponential((_IMAGINED, months)) * count
    taken = random.multinomial(np.rint(np.maximum(number, 0.0)).astype(np.int64), weight / weight.sum(axis=1)[:, None])
    month, back = np.divmod(np.repeat(np.arange(taken.size), taken.ravel()), months)
    pick = (np.cumsum(count) - count)[back] + (random.random(back.size) * count[back]).astype(np.int64)
    return np.column_stack([np.bincount(month, weights=one, minlength=_IMAGINED) for one in sales[pick].T])


def _stock_sales(items: pd.DataFrame, stock: pd.DataFrame, doubt: Floats, random: np.random.Generator) -> Floats:
    """Net and minutes of the things on sale that sell, in each of many months."""
    said = {what: stock[stock["what"] == what].set_index("subject") for what in ("sale", "sold price")}
    at = np.flatnonzero(items["item_id"].isin(said["sale"].index))
    if not at.size:
        return np.zeros((_IMAGINED, 2))
    name = items["item_id"].iloc[at]
    chance = said["sale"]["chance"].reindex(name).to_numpy(dtype=np.float64)
    price = said["sold price"]["middle"].reindex(name).to_numpy(dtype=np.float64)
    category, names = pd.factorize(items["category"].astype(str), sort=True)
    facts = item_facts(items, salvage_ppm=0)
    paid = items["sold_price_cents"].to_numpy(dtype=np.float64)
    sold = facts["sold"] & (paid > 0)
    # A sale leaves a part of its price, less an amount that each category has: postage, boards, what is given back.
    own = pd.DataFrame({"left": facts["proceeds"], "paid": paid, "min": facts["sale_min"]})[sold]
    mean = own.groupby(category[sold]).mean().reindex(range(len(names)))
    inside = own - mean.loc[category[sold]].to_numpy()
    apart = float(inside["paid"] @ inside["paid"])
    kept = float(inside["paid"] @ inside["left"]) / apart if apart > 0 else 0.0
    sales = np.bincount(category[sold], minlength=len(names))
    extra = {"left": mean["left"] - kept * mean["paid"], "min": mean["min"]}
    whole = {"left": float((own["left"] - kept * own["paid"]).mean()) if len(own) else 0.0, "min": own["min"].mean()}
    # A category of few sales leans on the whole shop.
    amount, work = (
        (sales * one.fillna(0.0).to_numpy() + _SHOP_SALES * np.nan_to_num(whole[what])) / (sales + _SHOP_SALES)
        for what, one in extra.items()
    )
    luck = own["left"].to_numpy() - amount[category[sold]] - kept * own["paid"].to_numpy() if len(own) else np.zeros(1)
    moved = np.exp(random.standard_normal((_IMAGINED, doubt.shape[1])) @ doubt.T)
    none = np.log1p(-np.minimum(chance, 1 - 1e-9)) * moved
    month, place = np.nonzero(random.random(none.shape) < -np.expm1(none))
    left = amount[category[at]][place] + kept * price[place] + random.choice(luck, place.size)
    before = items[["net_cents", "owner_min"]].to_numpy(dtype=np.float64)[at][place]
    return np.column_stack(
        [
            np.bincount(month, weights=own + before[:, k], minlength=_IMAGINED)
            for k, own in enumerate((left, work[category[at]][place]))
        ]
    )


def return_forecasts(
    items: pd.DataFrame,
    stock: pd.DataFrame,
    doubt: Floats,
    *,
    as_of: dt.date,
    due_on: dt.date,
    months: int,
    level: float,
    seed: int,
) -> list[Forecast]:
    """Forecasts of the net and the hourly return of the sales of the month that ends on a day."""
    like = imagined_months(items, stock, doubt, as_of=as_of, due_on=due_on, months=months, seed=seed)
    month, told = str(pd.Period(due_on, "M")), []
    hours = like["owner_min"] / 60
    for what, drawn in (("month net", like["net_cents"]), ("month hourly", like["net_cents"] / 100 / hours)):
        known = drawn[hours > 0]
        if len(known):
            low, high = (float(end) for end in np.quantile(known, [(1 - level) / 2, (1 + level) / 2]))
            middle = float(drawn.mean() if what == "month net" else like["net_cents"].sum() / 100 / hours.sum())
            middle = min(max(middle, low), high)
            told.append(Forecast(as_of, due_on, what, month, "", low=low, middle=middle, high=high, level=level))
    return told


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


class _Paid(NamedTuple):
    """What sales brought as parts of a price asked before, for things as long after their last price as some."""

    part: Floats
    chance: Floats
    mean: float


def _parts_paid(
    items: pd.DataFrame, weeks: PersonWeeks, typical: Typical, model: SellingModel, since: Ints, *, days: int
) -> list[_Paid]:
    """What sales brought of the price asked up to so many days before, by the weeks since that price was set."""
    final = np.flatnonzero(weeks.sold)
    paid = items["sold_price_cents"].to_numpy(dtype=np.float64)[weeks.item[final]]
    lag = np.arange(max(math.ceil(days / 7 + 0.5), 1))
    # The day that a forecast is made on may be any day up to the sale: as often in each week before it.
    often = np.where(lag > 0, np.clip(days / 7 - lag + 0.5, 0.0, 1.0), 0.5)
    row = (final[:, None] - lag).ravel()
    paid, weight = np.repeat(paid, lag.size), np.tile(often / often.sum(), final.size)
    there = (weeks.week[final][:, None] >= lag).ravel()
    row, paid, weight = row[there], paid[there], weight[there]
    asked = np.asarray(typical.cents, dtype=np.float64)[weeks.item[row]] * np.exp(weeks.log_ratio[row])
    known = (asked > 0) & (paid > 0)
    row, paid, asked, weight = row[known], paid[known], asked[known], weight[known]
    # A few sales lean on the offers that the model holds: they have the weight of ``_HELD`` sales.
    offers, often = np.array([1.0, *model.offers.parts]), np.array([1.0, *model.offers.per_sale])
    usual = float(weight @ asked) / float(weight.sum()) if row.size else 1.0
    part = np.concatenate((paid / asked, offers))
    asked, paid = np.concatenate((asked, np.full(offers.size, usual))), np.concatenate((paid, usual * offers))
    pooled = np.concatenate((weight * lag.size, _HELD * often / often.sum()))
    # Parts alike to a ten-thousandth count as one, so that the books of a large shop take no more room.
    shown, place = np.unique(np.round(part, 4), return_inverse=True)
    found = []
    for count in range(_LONGEST_SINCE + 1):
        # So do few sales of things so long after their last price, on those of all the others.
        own = np.concatenate((weight * lag.size * (since[row] == count), np.zeros(offers.size)))
        whole = own + _ALIKE * pooled / pooled.sum()
        share = np.bincount(place, weights=whole) / whole.sum()
        # The middle is a ratio of sums, so that dear things and cheap ones come out right together.
        found.append(_Paid(shown, share, float(whole @ paid / (whole @ asked))))
    return found


def _price_ends(paid: list[_Paid], kind: Ints, chance: Floats, asked: Floats, *, level: float) -> Floats:
    """Low, mean and high of what each thing may bring, as parts of what is asked; ``kind``: its place in ``paid``.

    Nothing sells above what is asked, and much sells at just that, so no upper end leaves a small
    share beyond it for each thing. It is left for all of them together, where that narrows the
    intervals most: for dear things that are soon due for a lower price.
    """
    beyond = (1 - level) / 2
    lows = [one.part[min(int((np.cumsum(one.chance) < beyond).sum()), one.part.size - 1)] for one in paid]
    found = np.column_stack([lows, [one.mean for one in paid], [one.part[-1] for one in paid]])[kind]
    # What a part of the price is worth against a chance of lying above: for each, the end that costs least.
    parts, tails = [one.part for one in paid], [np.maximum(1 - np.cumsum(one.chance), 0.0) for one in paid]
    ends = [
        np.argmin(
            np.where(tail <= max(beyond, _MOST_ABOVE), one.part, np.inf)[:, None] + tail[:, None] * _EXCHANGE, axis=0
        )
        for one, tail in zip(paid, tails, strict=True)
    ]
    above, high = (np.stack([own[at] for own, at in zip(each, ends, strict=True)]) for each in (tails, parts))
    step = np.log(_EXCHANGE[1] / _EXCHANGE[0])
    dearer = np.rint(np.log(np.maximum(asked, 1.0) / max(float(np.median(asked)), 1.0)) / step).astype(np.int64)
    place = np.clip(np.arange(_EXCHANGE.size)[:, None] - dearer, 0, _EXCHANGE.size - 1)
    enough = np.flatnonzero(above[kind, place] @ chance <= beyond * chance.sum())
    if enough.size:
        found[:, 2] = np.maximum(high[kind, place[enough[0]]], found[:, 0])
    found[:, 1] = np.clip(found[:, 1], found[:, 0], found[:, 2])
    return found


# What each category's sales of the coming month may earn an hour, the luck of so few sales included.
#
# A category's return has an error of its own; a single month of it has more, for it is a handful of sales. Past
# sales are weighed trip by trip at random (the estimate's error), as many are drawn as one of the past months had
# (the month's luck), and the ratio of their sums is a possible month. The interval is read off many such months.


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
    """Hourly returns that one month's sales of a group may come to."""
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
    """Forecast of what an hour earns on each category's sales in the month that ends on a day."""
    month = pd.Period(due_on, "M")
    sold = items["sold_on"].dropna()
    first = max(month - months, pd.Period(sold.min(), "M")) if len(sold) else month
    if first >= month:
        return []
    # Taken apart by category: the columns read, alone.
    read = ["category", "sold_on", "trip_id", "net_cents", "owner_min"]
    past = in_window(items, window=(first.start_time.date(), as_of), basis="sold")[read]
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
            when.value_counts().reindex(whole, fill_value=0),
            known=(float(so_far["net_cents"].sum()), float(so_far["owner_min"].sum())),
            left=left,
            random=generator(seed, f"{name} {month}"),
        )
        low, high = (float(end) for end in np.quantile(drawn, [(1 - level) / 2, (1 + level) / 2]))
        middle = min(max(float(drawn.mean()), low), high)
        told.append(Forecast(as_of, due_on, WHAT, str(name), str(name), low=low, middle=middle, high=high, level=level))
    return told


def category_outcomes(items: pd.DataFrame, forecasts: pd.DataFrame) -> dict[tuple[str, str, dt.date], float]:
    """What an hour earned on each forecast category's sales of the month, from the books."""
    asked = forecasts[forecasts["what"] == WHAT]
    month = items["sold_on"].dt.to_period("M")
    found: dict[tuple[str, str, dt.date], float] = {}
    for subject, day in sorted(set(zip(asked["subject"], asked["due_on"], strict=True)), key=str):
        own = items[((items["category"].astype(str) == subject) & (month == pd.Period(day, "M"))).to_numpy()]
        if float(own["owner_min"].sum()) > 0:
            found[WHAT, str(subject), day.date()] = float(own["net_cents"].sum() / own["owner_min"].sum() * 0.6)
    return found
