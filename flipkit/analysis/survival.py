"""Time to sale with unsold items counted, and groups compared."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import chdtrc, ndtri, stdtrit

from flipkit.analysis.returns import FEW_TRIPS, TOO_FEW, UNKNOWN, blanks_named, unsold_group
from flipkit.errors import AssumptionError, NotEnoughDataError
from flipkit.units import read_flags

# Time to sale with the unsold items counted for as long as they have waited (Kaplan-Meier).
#
# An item still for sale is *censored*: it says only that it took longer than its days so far. Leaving such items
# out makes everything look quick to sell. Sources: ``kaplan-meier-1958``, ``greenwood-1926`` (errors),
# ``brookmeyer-crowley-1982`` (the median's interval), ``mantel-1966`` (log-rank), ``holm-1979`` (many groups) and
# ``rothman-1978`` (shares sold).
#
# Things of one trip are alike: in their waits too. Where trips are told, what each item adds to a curve or to a test
# is summed over its trip first, and the variance is that of the trips' sums. It is the usual one plus what items of
# a trip have in common, so that where every item is a trip of its own each figure is that of the textbooks. Over
# groups of whole trips the usual test calls a difference in up to half of the cases where there is none; this one
# keeps its 5 % (``tests/benchmarks/bench_waiting.py``). One spread of trips for all groups would see more, but with
# eight groups it was wrong in 10 % of the cases.

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Said of a group without one unsold item, for times without the unsold look quicker than they are.
ALL_SOLD = "no unsold item: if unsold ones were left out of the books, these times are too short"


def survival_table(
    days: npt.ArrayLike, sold: npt.ArrayLike, *, confidence: float, trip: npt.ArrayLike | None = None
) -> pd.DataFrame:
    """Share of items still unsold after each number of days, by Kaplan and Meier; its bands by trip where told."""
    time, event = _checked(days, sold)
    moments, at_risk, events = _at_risk(time, event)
    share = np.cumprod(1 - events / np.maximum(at_risk, 1))
    left = at_risk - events
    # The last item at risk, sold, leaves a share of nothing, of which no error is known.
    terms = np.divide(events, at_risk * left, out=np.where(events > 0, np.inf, 0.0), where=left > 0)
    variance, reach = np.cumsum(terms), np.full(moments.size, float(ndtri((1 + confidence) / 2)))
    known = np.isfinite(variance)
    if trip is not None and known.any():
        summed = np.cumsum(_trip_steps(time, event, trip, moments, at_risk, events)[:, known], axis=1)
        variance[known], reach[known] = _alike(variance[known], (summed**2).sum(axis=0), len(summed), confidence)
    spread = np.sqrt(np.where(known, variance, 0.0))
    factor = np.exp(reach * spread)
    return pd.DataFrame(
        {
            "days": moments,
            "at_risk": at_risk,
            "sold": events,
            "unsold_share": share,
            "standard_error": np.where(known, share * spread, np.nan),
            "low": np.where(known, share / factor, np.nan),
            "high": np.where(known, np.minimum(share * factor, 1.0), np.nan),
            "hazard_sum": np.cumsum(events / np.maximum(at_risk, 1)),
        }
    )


def _at_risk(time: Floats, event: npt.NDArray[np.bool_]) -> tuple[Floats, Ints, Ints]:
    """The days on which anything sold or was last seen, the items at risk on each, and the sales."""
    moments, where = np.unique(time, return_inverse=True)
    leaving = np.bincount(where, minlength=moments.size)
    events = np.bincount(where, weights=event, minlength=moments.size).astype(np.int64)
    return moments, np.cumsum(leaving[::-1])[::-1], events


def _trip_steps(
    time: Floats, event: npt.NDArray[np.bool_], trip: npt.ArrayLike, moments: Floats, at_risk: Ints, events: Ints
) -> Floats:
    """What the items of each trip add to the logarithm of the unsold share on each day, beyond what was expected."""
    code, names = pd.factorize(np.asarray(trip, dtype=object), use_na_sentinel=False)
    cell = code * moments.size + np.searchsorted(moments, time)
    shape, size = (len(names), moments.size), len(names) * moments.size
    seen, gone = (np.bincount(cell, weights=one, minlength=size).reshape(shape) for one in (None, event))
    own_risk = np.cumsum(seen[:, ::-1], axis=1)[:, ::-1]
    left = at_risk - events
    return np.divide(own_risk * events / at_risk - gone, left, out=np.zeros(shape), where=left > 0)


def _alike(usual: Floats, by_trip: Floats, trips: int, confidence: float) -> tuple[Floats, Floats]:
    """Variance with what items of a trip have in common, never below the usual one, and the errors to reach out."""
    excess = np.maximum(by_trip - usual, 0.0) * trips / max(trips - 1, 1)
    variance = usual + excess
    # By Satterthwaite: the more of the variance is told by few trips, the fewer degrees of freedom.
    share = np.divide(excess, variance, out=np.zeros_like(variance), where=variance > 0)
    freedom = max(trips - 1, 1) / np.maximum(share, 1e-6) ** 2
    return variance, np.asarray(stdtrit(freedom, (1 + confidence) / 2), dtype=np.float64)


class DaysToSale(NamedTuple):
    """Days by which a stated share of the items has sold, with its interval.

    Each is NaN where the share is never reached, which is a finding and not a gap: more than
    that share of the items still waits.
    """

    days: float
    low: float
    high: float


def days_to_sale(
    days: npt.ArrayLike,
    sold: npt.ArrayLike,
    *,
    share: float = 0.5,
    confidence: float = 0.95,
    trip: npt.ArrayLike | None = None,
) -> DaysToSale:
    """Days by which a share of the items has sold (the median by default), unsold ones counted.

    >>> days_to_sale([5, 8, 8, 12], [True, True, False, False]).days
    8.0
    """
    table = survival_table(days, sold, confidence=confidence, trip=trip)
    level = 1 - share

    def first(column: str) -> float:
        # A share that stands exactly at the level from one sale to the next is crossed midway,
        # as the usual packages report it.
        values = table[column].to_numpy(dtype=np.float64)
        reached = np.flatnonzero(values <= level + 1e-9)
        if not reached.size:
            return math.nan
        at = reached[0]
        moments = table["days"].to_numpy(dtype=np.float64)
        if column == "unsold_share" and abs(values[at] - level) < 1e-9:
            later = np.flatnonzero(values < level - 1e-9)
            return float((moments[at] + moments[later[0]]) / 2) if later.size else float(moments[at])
        return float(moments[at])

    return DaysToSale(first("unsold_share"), first("low"), first("high"))


def restricted_mean(
    days: npt.ArrayLike, sold: npt.ArrayLike, *, within_days: float, trip: npt.ArrayLike | None = None
) -> tuple[float, float]:
    """Mean days on sale up to a stated day, the area under the unsold share, and its standard error.

    The error takes Greenwood's terms, each weighed by the area still ahead.
    """
    time, event = _checked(days, sold)
    moments, at_risk, events = _at_risk(time, event)
    inside = moments < within_days
    share = np.cumprod(1 - events / np.maximum(at_risk, 1))[inside]
    widths = np.diff(np.concatenate(([0.0], moments[inside], [within_days])))
    ahead = np.cumsum((widths[1:] * share)[::-1])[::-1]
    left = at_risk - events
    # Where the last item sells, nothing lies ahead, and nothing of it is unsure.
    terms = np.divide(events, at_risk * left, out=np.zeros(events.size), where=left > 0)[inside]
    variance = np.array([(ahead**2 * terms).sum()])
    if trip is not None:
        by_trip = _trip_steps(time, event, trip, moments, at_risk, events)[:, inside] @ ahead
        variance, _ = _alike(variance, np.array([(by_trip**2).sum()]), by_trip.size, 0.5)
    return float(widths @ np.concatenate(([1.0], share))), float(np.sqrt(variance[0]))


class LogRank(NamedTuple):
    """Log-rank test of equal times to sale.

    ``observed`` and ``expected`` sales are per group, in the order of ``groups``.
    """

    groups: tuple[str, ...]
    observed: tuple[float, ...]
    expected: tuple[float, ...]
    chi_square: float
    p_value: float


def log_rank(
    days: npt.ArrayLike, sold: npt.ArrayLike, group: npt.ArrayLike, *, trip: npt.ArrayLike | None = None
) -> LogRank:
    """Test whether groups sell at the same pace, unsold items counted; by trip where trips are told."""
    time, event = _checked(days, sold)
    code, names = pd.factorize(blanks_named(group), sort=True)
    if len(names) < 2:
        raise NotEnoughDataError("group", need="at least two groups", got=len(names))
    if not event.any():
        raise NotEnoughDataError("sold", need="at least one sale", got=0)
    moments, where = np.unique(time[event], return_inverse=True)
    size = len(names)
    # Items whose last day is at least each moment, and the sales on it, a column a group.
    at_risk = np.stack(
        [own.size - np.searchsorted(own, moments) for own in (np.sort(time[code == at]) for at in range(size))], axis=1
    ).astype(np.float64)
    events = np.zeros((moments.size, size))
    np.add.at(events, (where, code[event]), 1.0)
    all_risk, all_events = at_risk.sum(axis=1), events.sum(axis=1)
    part = at_risk / all_risk[:, None]
    expected = (part * all_events[:, None]).sum(axis=0)
    scale = np.where(all_risk > 1, all_events * (all_risk - all_events) / np.maximum(all_risk - 1, 1), 0.0)
    covariance = np.einsum("t,ti,tj->ij", -scale, part, part) + np.diag((scale[:, None] * part).sum(axis=0))
    gap = events.sum(axis=0) - expected
    alike = np.zeros_like(covariance)
    if trip is not None:
        own = np.eye(size)[code]
        hazard = all_events / all_risk
        met = np.concatenate(
            (np.zeros((1, size + 1)), np.cumsum(hazard[:, None] * np.c_[part, np.ones(moments.size)], 0))
        )
        met = met[np.searchsorted(moments, time, side="right")]
        # What each item adds to its group's sales beyond those expected: the sums over the items are the gap.
        each = met[:, :-1] - met[:, -1:] * own
        each[event] += own[event] - part[where]
        trips, labels = pd.factorize(np.asarray(trip, dtype=object), use_na_sentinel=False)
        summed = np.zeros((len(labels), size))
        np.add.at(summed, trips, each)
        alike = summed.T @ summed - each.T @ each
    chi_square = _square(gap[:-1], covariance[:-1, :-1], alike[:-1, :-1])
    return LogRank(
        tuple(str(name) for name in names),
        tuple(float(value) for value in events.sum(axis=0)),
        tuple(float(value) for value in expected),
        chi_square,
        float(chdtrc(size - 1, chi_square)),
    )


#: Least part of the usual variance that is left where items of a trip seem to balance each other.
_LEAST_LEFT = 0.5


def _square(gap: Floats, usual: Floats, alike: Floats) -> float:
    """The gap squared, measured by its covariance: the usual one and what items of a trip have in common."""
    value, vector = np.linalg.eigh(usual)
    told = value > 1e-9 * value.max(initial=0.0)
    scaled = vector[:, told] / np.sqrt(value[told])
    more, turn = np.linalg.eigh(scaled.T @ alike @ scaled)
    return float(((gap @ scaled @ turn) ** 2 / np.maximum(1 + more, _LEAST_LEFT)).sum())


def _checked(days: npt.ArrayLike, sold: npt.ArrayLike) -> tuple[Floats, npt.NDArray[np.bool_]]:
    # A tenth of a second apart is the noise of units turned into each other, and no order of events.
    time: Floats = np.asarray(days, dtype=np.float64).round(6)
    event = read_flags(sold, name="sold")
    if time.size and (not np.isfinite(time).all() or time.min() < 0):
        raise NotEnoughDataError("days", need="known and at least 0 for every item", got=float(np.min(time)))
    return time, event


# How long things wait, group beside group: shares sold by a day, mean days, and which groups differ.
#
# Relisting and expiry are not sales, so they do not appear here: a thing waits from its first listing to its sale.
# What still waits, and what was given up, counts for as long as it was on sale. A group is compared with all the
# rest by the log-rank test; with many groups some would stand out by luck, so the p-values are corrected by Holm's
# method.

#: What things can be grouped by.
GROUPINGS = ("category", "size", "source", "condition", "markdown")
#: Days by which the shares sold are told.
MARKS = (30, 60, 90, 180)
MARKED, NEVER_MARKED = "marked down", "never marked down"
#: Said wherever things are grouped by their markdowns.
SELECTION = (
    "What sells at once is never marked down, and what waits is: so the marked-down things waited longer because of "
    "how they were picked. This compares two kinds of things; it does not say what marking down does to either."
)
#: Below so many sales expected of a group at one pace the log-rank test's bound is not to be trusted.
FEWEST_EXPECTED = 5.0
SOONER, LATER, ALIKE = "sooner than the rest", "later than the rest", "no telling difference"


class ShareSold(NamedTuple):
    """Share of a group that has sold by a day, with its interval; NaN where nothing has waited so long."""

    share: float
    low: float
    high: float


def share_sold(
    days: npt.ArrayLike, sold: npt.ArrayLike, *, by_days: float, confidence: float, trip: npt.ArrayLike | None = None
) -> ShareSold:
    """Share sold by a day, unsold items counted, with an interval that also serves few items and no sale.

    The interval is Wilson's for as many items as would give a plain share the error that the
    curve has. Where none or all sold, each trip counts as one item.
    """
    time, event = np.asarray(days, dtype=np.float64), np.asarray(sold, dtype=bool)
    table = survival_table(time, event, confidence=confidence, trip=trip)
    early = table[table["days"] <= by_days]
    unsold = float(early["unsold_share"].iloc[-1]) if len(early) else 1.0
    if not time.size or (time.max() < by_days and unsold > 0):
        return ShareSold(math.nan, math.nan, math.nan)
    gone = 1 - unsold
    reach = float(ndtri((1 + confidence) / 2)) ** 2
    if 0 < gone < 1:
        last = early.iloc[-1]
        count = gone * unsold / float(last["standard_error"]) ** 2
        # As many errors as the curve's own band reaches out.
        reach = float(np.log(unsold / last["low"]) * unsold / last["standard_error"]) ** 2
    else:
        counted = event if gone else time >= by_days
        count = float(counted.sum() if trip is None else pd.Series(np.asarray(trip, dtype=object)[counted]).nunique())
    middle = (gone + reach / (2 * count)) / (1 + reach / count)
    half = math.sqrt(reach * (gone * unsold / count + reach / (4 * count**2))) / (1 + reach / count)
    return ShareSold(gone, max(middle - half, 0.0), min(middle + half, 1.0))


def waiting_groups(
    economics: pd.DataFrame, recorded: pd.DataFrame, price_changes: pd.DataFrame, *, by: str
) -> pd.DataFrame:
    """Every item that was ever listed, with the group that it belongs to."""
    if by not in GROUPINGS:
        raise AssumptionError("by", need=f"one of {', '.join(GROUPINGS)}", got=by)
    if by == "markdown":
        lowered = economics["item_id"].isin(_lowered(economics, price_changes))
        group = pd.Series(np.where(lowered, MARKED, NEVER_MARKED), index=economics.index)
    elif by in ("source", "condition"):
        said = recorded.drop_duplicates("item_id").set_index("item_id")[by] if by in recorded else pd.Series(dtype=str)
        group = economics["item_id"].map(said).astype("string").str.strip().str.casefold()
        group = group.where(group.notna() & (group != ""), UNKNOWN)
    else:
        group = economics["category" if by == "category" else "size_class"]
    found = pd.DataFrame(
        {
            "item_id": economics["item_id"],
            "trip": economics["trip_id"] if "trip_id" in economics else economics["item_id"],
            "group": group.astype(object).map(str),
            "days": economics["days_listed"],
            "sold": economics["sold_on"].notna(),
            "given_up": (economics["status"] == "gone") & economics["sold_on"].isna(),
        }
    )
    return found[found["days"].notna()].reset_index(drop=True)


def waiting_table(groups: pd.DataFrame, *, within_days: float, confidence: float) -> pd.DataFrame:
    """Time to sale of each group.

    The soonest first. Means are restricted to ``within_days``; what is not reached, or has not waited so long, is NaN.
    """
    rows = []
    for name, part in groups.groupby("group", sort=True):
        days, sold = part["days"].to_numpy(dtype=np.float64), part["sold"].to_numpy(dtype=bool)
        trip = part.get("trip")
        half = days_to_sale(days, sold, confidence=confidence, trip=trip)
        mean, error = restricted_mean(days, sold, within_days=within_days, trip=trip)
        known = days.max() >= within_days or bool(sold[days == days.max()].all())
        row = {
            "group": name,
            "listed": days.size,
            "sold": int(sold.sum()),
            "still": int((~sold & ~part["given_up"]).sum()),
            "given_up": int(part["given_up"].sum()),
            "mean_days": mean if known else math.nan,
            "mean_error": error if known and sold.any() else math.nan,
            "half_days": half.days,
            "half_low": half.low,
            "half_high": half.high,
            "all_sold": bool(sold.all()),
        }
        for mark in MARKS:
            share = share_sold(days, sold, by_days=mark, confidence=confidence, trip=trip)
            row |= {f"sold_{mark}": share.share, f"low_{mark}": share.low, f"high_{mark}": share.high}
        rows.append(row)
    table = pd.DataFrame(rows)
    return table.sort_values(["mean_days", "group"], ignore_index=True) if rows else table


def common_days(groups: pd.DataFrame, *, too_few: int) -> int:
    """The longest of ``MARKS`` up to which the means of all larger groups are known, so that they compare."""
    reach = []
    for _, part in groups.groupby("group"):
        longest = float(part["days"].max())
        if len(part) >= too_few and not bool(part.loc[part["days"] == longest, "sold"].all()):
            reach.append(longest)
    return max((mark for mark in MARKS if mark <= min(reach, default=math.inf)), default=MARKS[0])


def holm(p_values: npt.ArrayLike) -> Floats:
    """P-values corrected for there being many, by Holm's method.

    The smallest counts as many times as there are, the next one time less, and so on; none is
    smaller than one before it.
    """
    value = np.asarray(p_values, dtype=np.float64)
    order = np.argsort(value, kind="stable")
    steps = np.maximum.accumulate(value[order] * (value.size - np.arange(value.size)))
    found = np.empty(value.size)
    found[order] = np.minimum(steps, 1.0)
    return found


class Compared(NamedTuple):
    """Groups compared: all at once (none where fewer than two can be), and each against the rest."""

    overall: LogRank | None
    each: pd.DataFrame


def compared(groups: pd.DataFrame, *, confidence: float, too_few: int) -> Compared:
    """Which groups sell at another pace than the rest."""
    time, event = groups["days"].to_numpy(dtype=np.float64), groups["sold"].to_numpy(dtype=bool)
    label = blanks_named(groups["group"])
    # Where no trips are told, each thing stands for itself.
    trip = groups["trip"].to_numpy(dtype=object) if "trip" in groups else np.arange(len(groups))
    names = sorted(set(label))
    trips = pd.Series(trip).groupby(label).nunique()
    # Where a group is all that is unsold, its name came from that: it would be last whatever the pace.
    alone = unsold_group(label, event)
    large = [
        name
        for name in names
        if (label == name).sum() >= too_few and trips[name] >= min(FEW_TRIPS, too_few) and name != alone
    ]
    inside = np.isin(label, large)
    overall = None
    if len(large) > 1 and event[inside].any():
        overall = log_rank(time[inside], event[inside], label[inside], trip=trip[inside])
    rows = []
    for name in names:
        mine = label == name
        row = {"group": name, "listed": int(mine.sum()), "sold": int(event[mine].sum())}
        row |= {"expected": math.nan, "p_value": math.nan}
        if name in large and len(set(names) - {name, alone}) and event.any():
            others = label != alone
            test = log_rank(time[others], event[others], np.where(mine, "a", "b")[others], trip=trip[others])
            row["expected"] = test.expected[0]
            # With so few sales expected in either part the chi-square is not to be trusted.
            row["p_value"] = test.p_value if min(test.expected) >= FEWEST_EXPECTED else math.nan
        rows.append(row)
    each = pd.DataFrame(rows, columns=["group", "listed", "sold", "expected", "p_value"])
    tested = each["p_value"].notna()
    each["corrected"] = np.nan
    each.loc[tested, "corrected"] = holm(each.loc[tested, "p_value"])
    each["verdict"] = [
        TOO_FEW
        if math.isnan(row["corrected"])
        else ALIKE
        if row["corrected"] >= 1 - confidence
        else SOONER
        if row["sold"] > row["expected"]
        else LATER
        for row in each.to_dict("records")
    ]
    return Compared(overall, each)


def unsold_missing(table: pd.DataFrame) -> str:
    """The warning for groups without one unsold item; empty where there is none.

    >>> unsold_missing(pd.DataFrame({"group": ["mugs", "jugs"], "all_sold": [True, False]}))[:25]
    'Mugs: no unsold item: if '
    """
    whole = [str(name) for name in table.loc[table["all_sold"], "group"]] if len(table) else []
    text = f"{', '.join(whole)}: {ALL_SOLD}."
    return f"{text[:1].upper()}{text[1:]}" if whole else ""


def _lowered(economics: pd.DataFrame, changes: pd.DataFrame) -> set[str]:
    """Things whose price was lowered at least once after they were listed."""
    if not len(changes):
        return set()
    first = economics[["item_id", "listed_on", "list_price_cents"]].set_axis(["item_id", "on", "cents"], axis=1)
    later = changes[["item_id", "changed_on", "price_cents"]].set_axis(["item_id", "on", "cents"], axis=1)
    prices = pd.concat([first.assign(place=0), later.assign(place=1)], ignore_index=True).dropna(subset=["on", "cents"])
    prices = prices.sort_values(["item_id", "on", "place"], kind="stable")
    prices["cents"] = prices["cents"].astype(np.float64)
    drop = prices.groupby("item_id")["cents"].diff() < 0
    return set(prices.loc[drop, "item_id"])
