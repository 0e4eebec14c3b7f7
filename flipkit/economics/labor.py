"""Minutes of work and what they cost, standard and learned from the log."""

from __future__ import annotations

import dataclasses
import datetime as dt
import functools
import hashlib
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.assumptions import SIZES, Assumptions
from flipkit.books.schema import ACTIVITIES, PICKUP
from flipkit.economics.hiring import hired_costs
from flipkit.errors import AssumptionError
from flipkit.money import Cents, share_out_groups

Floats = npt.NDArray[np.float64]

# Working time: standard minutes, logged minutes that correct them, and what a time depends on.


def shrunk_minutes(prior: npt.ArrayLike, n: npt.ArrayLike, mean: npt.ArrayLike, *, weight: float) -> Floats:
    """Standard minutes pulled towards what was logged, the more the more was logged.

    >>> shrunk_minutes([10.0, 10.0, 10.0], [0, 2, 30], [float("nan"), 20.0, 20.0], weight=8).round(2).tolist()
    [10.0, 12.0, 17.89]
    """
    standard, count, logged = (np.asarray(value, dtype=np.float64) for value in (prior, n, mean))
    if weight < 0:
        raise AssumptionError("minutes.logged_weight", need="at least 0", got=weight)
    if count.size and count.min() < 0:
        raise AssumptionError("n", need="at least 0", got=float(count.min()))
    if weight == 0 and (count == 0).any():
        raise AssumptionError("minutes.logged_weight", need="above 0 where nothing is logged", got=weight)
    return np.asarray((weight * standard + count * np.where(count > 0, logged, 0.0)) / (weight + count))


# What hired hands cost, item by item, kept so that they can be paid at any wage.

#: Whom ``help.wage`` is for, as ``suppose.wage_for`` says it.
EVERYBODY = "everybody"

Places = npt.NDArray[np.int64]


@dataclass(frozen=True)
class HiredWork:
    """Hired minutes of the work log with the items that they were for, and those that no log tells."""

    worker: tuple[str, ...]
    minutes: Floats  # [min]
    stretch: Places
    row: Places
    weight: Floats
    unlogged_min: Floats
    people: pd.DataFrame

    def cents(self, assumptions: Assumptions) -> Cents:
        """What hired work on each item costs."""
        assumed = assumptions.cents("help.wage"), assumptions.ppm("help.burden")
        cents = hired_costs(self.unlogged_min, wage_cents=assumed[0], burden_ppm=assumed[1])
        if self.worker:
            pay = self._pay(assumptions)
            wage, burden = (np.array([pay[name][at] for name in self.worker], dtype=np.int64) for at in (0, 1))
            paid = hired_costs(self.minutes, wage_cents=wage, burden_ppm=burden)
            np.add.at(cents, self.row, share_out_groups(paid, self.stretch, self.weight))
        return cents

    def _pay(self, assumptions: Assumptions) -> dict[str, tuple[int, int]]:
        """Wage and burden of each worker: the people table's, and the assumed ones where it is silent."""
        wage, burden = assumptions.cents("help.wage"), assumptions.ppm("help.burden")
        alike = assumptions.text("suppose.wage_for") == EVERYBODY
        return {
            person.worker: (
                wage if alike or pd.isna(person.wage_cents) else int(person.wage_cents),
                burden if pd.isna(person.payroll_burden_ppm) else int(person.payroll_burden_ppm),
            )
            for person in self.people.itertuples(index=False)
        }


# Working minutes of each item by activity, owners' and hired ones apart.
#
# A logged minute beats a standard one. A log entry names an item, a trip, a category or nothing but a day; what it
# does not say is shared over the items that it can have been for, in proportion to their standard minutes. The
# logs also correct the standard minutes of the items that nobody logged.

#: The date column that says when an activity was done, and how many days a log entry may lie
#: before and after that date: photographs are taken before the listing, parcels packed after
#: the sale.
_EVENTS = {
    "find": ("bought_on", 0, 0),
    "research": ("bought_on", 1, 3),
    "clean": ("listed_on", 14, 0),
    "photograph": ("listed_on", 7, 0),
    "write": ("listed_on", 3, 1),
    "store": ("listed_on", 3, 3),
    "messages": ("sold_on", 7, 7),
    "pack": ("sold_on", 0, 5),
    "post": ("sold_on", 0, 7),
    "returns": ("returned_on", 3, 7),
}

#: What decides for which items a log entry was: columns of the items and of the log.
_PLACED_BY = ("item_id", "trip_id", "category", "bought_on", "listed_on", "sold_on", "returned_on", "gone_on")
_PLACED = ("date", "activity", "item_id", "trip_id", "category")
#: Of a larger shop the places are found anew: few ask it twice, and telling it from another takes as long.
_MOST_KEPT = 20_000

Bools = npt.NDArray[np.bool_]

#: What is done once for a parcel, however many items lie in it.
_PER_PARCEL = ("pack", "post")


@dataclass(frozen=True)
class Parcels:
    """The parcel that each item went in."""

    size_class: npt.NDArray[np.object_]
    #: What part of the parcel each item is.
    part: Floats
    #: Number of each item's order, and the first item of each.
    order: Places
    lead: Bools


@dataclass(frozen=True)
class Labor:
    """What the work of a shop comes to, item by item."""

    minutes: pd.DataFrame
    learned: pd.DataFrame
    unplaced_min: float
    hired: HiredWork


def item_labor(
    items: pd.DataFrame,
    work: pd.DataFrame,
    people: pd.DataFrame,
    size_class: npt.ArrayLike,
    assumptions: Assumptions,
    *,
    parcel: Parcels,
) -> Labor:
    """Minutes of each item by activity, recorded where logged and standard elsewhere."""
    sizes = np.asarray(size_class, dtype=object)
    standard = standard_minutes(items, sizes, assumptions, parcel)
    owner_log, hired_log, hired, unplaced = _logged(items, work, people, standard, parcel.order)
    logged = (owner_log + hired_log) > 0
    kinds = items["category"].to_numpy(dtype=object)
    learned, corrected, taught = _corrected(standard, owner_log + hired_log, logged, sizes, kinds, assumptions, parcel)
    owner = np.where(logged, owner_log, corrected)
    hired_share = assumptions.share("help.share_of_packing")
    pack = ACTIVITIES.index("pack")
    hired_unlogged = np.where(logged[:, pack], 0.0, corrected[:, pack] * hired_share)
    owner[:, pack] -= hired_unlogged
    hired = dataclasses.replace(hired, unlogged_min=hired_unlogged)
    frame = pd.DataFrame(index=items.index)
    for at, activity in enumerate(ACTIVITIES):
        frame[f"{activity}_min"] = owner[:, at]
        none = (standard[:, at] == 0) & ~logged[:, at]
        frame[f"{activity}_origin"] = np.where(logged[:, at], "recorded", np.where(none, "none", "assumed"))
    frame["owner_min"] = owner.sum(axis=1)
    frame["logged_min"] = owner_log.sum(axis=1)
    frame["corrected_min"] = np.where(taught & ~logged, owner, 0.0).sum(axis=1)
    frame["hired_min"] = hired_log.sum(axis=1) + hired_unlogged
    frame["hired_cents"] = hired.cents(assumptions)
    frame["hired_origin"] = np.where(
        hired_log.sum(axis=1) > 0, "recorded", np.where(hired_unlogged > 0, "assumed", "none")
    )
    return Labor(frame, learned, unplaced, hired)


def standard_minutes(
    items: pd.DataFrame, size_class: npt.ArrayLike, assumptions: Assumptions, parcel: Parcels
) -> Floats:
    """Standard minutes of what has been done to each item so far; items of one order share one packing."""
    code, packed = (
        np.array([SIZES.index(size) for size in np.asarray(sizes, dtype=object)], dtype=np.int64)
        for sizes in (size_class, parcel.size_class)
    )
    listed = (items["listed_on"].notna() | items["sold_on"].notna()).to_numpy()
    sold = items["sold_on"].notna().to_numpy()
    shipped = sold & (items["zone"] != PICKUP).to_numpy()
    done = {
        "find": np.ones(len(items), dtype=bool),
        "research": np.ones(len(items), dtype=bool),
        "clean": listed,
        "photograph": listed,
        "write": listed,
        "store": listed,
        "messages": sold,
        "pack": shipped,
        "post": shipped,
        "returns": items["returned_on"].notna().to_numpy(),
    }
    table = np.array([list(assumptions.by_size(f"minutes.{activity}").values()) for activity in ACTIVITIES])
    pace = (1 + assumptions.share("minutes.allowance")) * practice(items, assumptions)
    return np.column_stack(
        [
            (table[at][packed] * parcel.part if activity in _PER_PARCEL else table[at][code]) * done[activity] * pace
            for at, activity in enumerate(ACTIVITIES)
        ]
    )


def practice(items: pd.DataFrame, assumptions: Assumptions) -> Floats:
    """How much longer each item takes while its category is new to the seller.

    The unit learning curve (Crawford), read backwards: the standard minutes are those of the item by which the
    seller is practised, and an earlier one of its category takes longer by the curve. The time of the item itself
    falls by the rate with each doubling; in Wright's model the average of all so far would.
    """
    practised = assumptions.whole("minutes.practised_after")
    order = items["bought_on"].argsort(kind="stable")
    number = items["category"].iloc[order].groupby(items["category"].iloc[order]).cumcount() + 1
    unit = np.minimum(number.reindex(items.index).to_numpy(dtype=np.float64), practised)
    return np.asarray((unit / practised) ** math.log2(assumptions.share("minutes.learning")))


def _logged(
    items: pd.DataFrame, work: pd.DataFrame, people: pd.DataFrame, standard: Floats, order: Places
) -> tuple[Floats, Floats, HiredWork, float]:
    """Logged minutes of owners and of hired hands per item and activity, who was hired, and what fits nowhere."""
    owner, hired = np.zeros_like(standard), np.zeros_like(standard)
    role = dict(zip(people["worker"], people["role"], strict=True))
    work = _gathered(work, np.array([role.get(worker) == "hired" for worker in work["worker"].tolist()], dtype=bool))
    by_hired = work["hired"].to_numpy() >= 0
    entry, row = _entry_places(items, work, order)
    minutes = work["minutes"].to_numpy(dtype=np.float64)
    column = np.array(
        [ACTIVITIES.index(name) if name in ACTIVITIES else -1 for name in work["activity"].tolist()], dtype=np.int64
    )
    count = np.bincount(entry, minlength=len(work))
    weight = standard[row, column[entry]]
    total = np.bincount(entry, weights=weight, minlength=len(work))[entry]
    weight = np.where(total > 0, weight / np.where(total > 0, total, 1.0), 1 / np.maximum(count[entry], 1))
    paid = by_hired[entry]
    for target, mine in ((hired, paid), (owner, ~paid)):
        np.add.at(target, (row[mine], column[entry[mine]]), minutes[entry[mine]] * weight[mine])
    stretches = np.flatnonzero(by_hired & (count > 0))
    told = HiredWork(
        worker=tuple(work["worker"].iloc[stretches]),
        minutes=minutes[stretches],
        stretch=np.searchsorted(stretches, entry[paid]),
        row=row[paid],
        weight=weight[paid],
        unlogged_min=np.zeros(len(items)),
        people=people,
    )
    return owner, hired, told, float(minutes[count == 0].sum())


def _gathered(work: pd.DataFrame, by_hired: Bools) -> pd.DataFrame:
    """The log with owners' entries of the same things and day added up; hired ones keep the cents of each.

    A shop that does more in a day writes more entries for more things: each for itself would grow by the square.
    """
    work = work.assign(hired=np.where(by_hired, np.arange(len(work)), -1))
    same = work.groupby([*_PLACED, "hired"], sort=False, dropna=False)
    return same.agg(minutes=("minutes", "sum"), worker=("worker", "first")).reset_index()


def _entry_places(items: pd.DataFrame, work: pd.DataFrame, order: Places) -> tuple[Places, Places]:
    """Each item of each log entry, by their positions: entries of the log and rows of the items."""
    if len(items) <= _MOST_KEPT:
        said = hashlib.blake2b(np.ascontiguousarray(order).tobytes())
        for frame, names in ((items, _PLACED_BY), (work, _PLACED)):
            said.update(pd.util.hash_pandas_object(frame[list(names)], index=False).to_numpy().tobytes())
        kept = _kept_places(said.digest())
    else:
        kept = {}
    if not kept:
        nowhere = np.zeros(0, dtype=np.int64)
        finder = _Places(items, order)
        found = [finder.rows(*entry) if entry[0] in ACTIVITIES else nowhere for entry in _entries(work)]
        kept["entry"] = np.repeat(np.arange(len(found)), [len(rows) for rows in found]).astype(np.int64)
        kept["row"] = np.concatenate([nowhere, *found])
    return kept["entry"], kept["row"]


@functools.lru_cache(maxsize=4)
def _kept_places(_of: bytes) -> dict[str, Places]:
    """A place for what the same log and the same items give again, whatever is assumed."""
    return {}


def entries_for(items: pd.DataFrame, work: pd.DataFrame, item_id: str, order: Places) -> pd.DataFrame:
    """The log entries whose minutes one item has, alone or shared with others."""
    at = int(np.flatnonzero((items["item_id"] == item_id).to_numpy())[0])
    finder = _Places(items, order)
    mates = items["item_id"].to_numpy()[order == order[at]]
    of_its = work["item_id"].isin(mates) | ((work["item_id"] == "") & (work["trip_id"] == items["trip_id"].iloc[at]))
    of_day = (work["item_id"] == "") & (work["trip_id"] == "")
    of_day &= work["category"].isin(["", items["category"].iloc[at]])
    asked = work[(of_its | of_day) & work["activity"].isin(ACTIVITIES)]
    return asked[[at in finder.rows(*entry) for entry in _entries(asked)]]


def _entries(work: pd.DataFrame) -> Iterator[tuple[str, str, str, str, np.datetime64]]:
    """What each entry of the log is of: activity, item, trip, category, day."""
    days = work["date"].to_numpy().astype("datetime64[D]")
    return zip(*(work[name].tolist() for name in ("activity", "item_id", "trip_id", "category")), days, strict=True)


class _Places:
    """Which items a log entry can have been for."""

    def __init__(self, items: pd.DataFrame, order: Places) -> None:
        self._position = {item: at for at, item in enumerate(items["item_id"])}
        self._order = order
        self._trips = items.groupby("trip_id").indices if len(items) else {}
        # The items of each category; "" is all of them.
        self._of = {"": np.arange(len(items)), **(items.groupby("category").indices if len(items) else {})}
        self._items = items
        self._by_day: dict[tuple[str, str], tuple[npt.NDArray[np.datetime64], Places]] = {}
        self._mates = pd.Series(order).groupby(order).indices
        bought = items["bought_on"].to_numpy().astype("datetime64[D]")
        left = items[["sold_on", "gone_on"]].min(axis=1).to_numpy().astype("datetime64[D]")
        self._held = bought, left

    def rows(self, activity: str, item_id: str, trip_id: str, category: str, day: np.datetime64) -> Places:
        """Positions of the items of one log entry; empty if there is none."""
        if item_id:
            at = self._position.get(item_id)
            if at is None:
                return np.zeros(0, dtype=np.int64)
            return self._mates[self._order[at]] if activity in _PER_PARCEL else np.array([at], dtype=np.int64)
        if trip_id:
            return np.asarray(self._trips.get(trip_id, []), dtype=np.int64)
        return self._of_day(activity, category, day)

    def _of_day(self, activity: str, category: str, day: np.datetime64) -> Places:
        """Items that an entry of a day and perhaps a category can have been for."""
        column, before, after = _EVENTS[activity]
        days, places = self._sorted(column, category)
        for first, last in ((day, day), (day - np.timedelta64(after, "D"), day + np.timedelta64(before, "D"))):
            rows = places[days.searchsorted(first) : days.searchsorted(last, side="right")]
            if rows.size:
                return np.sort(rows)
        mine = self._of.get(category, np.zeros(0, dtype=np.int64))
        bought, left = (days[mine] for days in self._held)
        return np.asarray(mine[(bought <= day) & (np.isnat(left) | (left >= day))])

    def _sorted(self, column: str, category: str) -> tuple[npt.NDArray[np.datetime64], Places]:
        """The days of an event in a category, in order, and the items that they are of."""
        if (column, category) not in self._by_day:
            mine = self._of.get(category, np.zeros(0, dtype=np.int64))
            days = self._items[column].to_numpy()[mine].astype("datetime64[D]")
            order = np.argsort(days, kind="stable")[: np.count_nonzero(~np.isnat(days))]
            self._by_day[column, category] = days[order], mine[order]
        return self._by_day[column, category]


def _corrected(
    standard: Floats,
    logged: Floats,
    has_log: Bools,
    sizes: npt.NDArray[np.object_],
    category: npt.NDArray[np.object_],
    assumptions: Assumptions,
    parcel: Parcels,
) -> tuple[pd.DataFrame, Floats, Bools]:
    """Standard minutes pulled towards what was logged: first in other categories, then in the item's own.

    What other categories logged of an activity and size class moves the standard; a category's own
    logs then move it on from there, so that each log counts once. Each time ``minutes.logged_weight``
    observations weigh as much as what was held before. Said beside it: which minutes any log moved.
    """
    weight = assumptions.number("minutes.logged_weight")
    corrected = standard.copy()
    taught = np.zeros(standard.shape, dtype=bool)
    kind, names = pd.factorize(category, sort=True)
    codes = {shared: pd.Index(SIZES).get_indexer(parcel.size_class if shared else sizes) for shared in (False, True)}
    rows = []
    for at, activity in enumerate(ACTIVITIES):
        shared = activity in _PER_PARCEL
        cell = codes[shared] * len(names) + kind
        # A parcel of several items is one observation.
        seen = has_log[:, at] & (standard[:, at] > 0) & (parcel.lead if shared else True)
        if not seen.any():
            continue
        allowed = 1 + assumptions.share("minutes.allowance")
        prior = np.array(list(assumptions.by_size(f"minutes.{activity}").values()), dtype=np.float64)[:, None] * allowed
        # A log from when the category was new counts as what it would be with practice.
        practised = logged[seen, at] * prior[codes[shared][seen], 0] / standard[seen, at]
        count, total = (
            np.bincount(cell[seen], weights, len(SIZES) * len(names)).reshape(len(SIZES), -1).astype(np.float64)
            for weights in (np.ones(practised.size), practised)
        )
        every, sums = count.sum(axis=1, keepdims=True), total.sum(axis=1, keepdims=True)
        whole = _pulled(prior, every, sums, weight)
        others = _pulled(prior, every - count, sums - total, weight)
        own = _pulled(others, count, total, weight)
        taught[:, at] = every[codes[shared], 0] > 0
        change = np.divide(own, prior, out=np.zeros_like(own), where=prior > 0).reshape(-1)[cell]
        corrected[:, at] *= np.where(taught[:, at], change, 1.0)
        for size in np.flatnonzero(every[:, 0]):
            told = (activity, SIZES[size])
            logs = int(every[size, 0])
            rows.append((*told, "all", prior[size, 0], logs, sums[size, 0] / logs, whole[size, 0]))
            for own_at in np.flatnonzero(count[size]):
                place, logs = (size, own_at), int(count[size, own_at])
                rows.append((*told, names[own_at], others[place], logs, total[place] / logs, own[place]))
    columns = ["activity", "size_class", "category", "before_min", "logged_items", "logged_mean_min", "used_min"]
    return pd.DataFrame(rows, columns=columns), corrected, taught


def _pulled(prior: Floats, count: Floats, total: Floats, weight: float) -> Floats:
    """Minutes held so far, pulled towards the mean of what was logged."""
    found = (weight * prior + total) / np.maximum(weight + count, 1e-300)
    return np.asarray(np.where(count > 0, found, prior))


# What to time next: where standard minutes still stand in for most work, and are least known.

#: How far one job's minutes lie from the next of its kind, as a share of their mean, where the logs are too few to say.
_SPREAD = 0.5
#: Logged jobs of one kind from which their own spread is taken.
_ENOUGH = 10
#: How many jobs one is asked to time.
TIMINGS = 5


def next_timings(items: pd.DataFrame, labor: Labor, assumptions: Assumptions, *, as_of: dt.date) -> pd.DataFrame:
    """Kinds of jobs by how much five more timings narrow the doubt about a month's minutes.

    Of ``n`` logged jobs and standard minutes that weigh ``w`` jobs, the mean is unsure by
    ``spread / sqrt(w + n)``; with five more by ``spread / sqrt(w + n + 5)``. The difference, times the
    minutes and times the jobs a month that nobody logs, is what timing five of them gains.
    """
    sizes = items["size_class"].to_numpy(dtype=object)
    weight = assumptions.number("minutes.logged_weight")
    whole = labor.learned[labor.learned["category"] == "all"].set_index(["activity", "size_class"])
    last = pd.Timestamp(as_of)
    first = max(last - pd.DateOffset(years=1), items["bought_on"].min())
    months = max((last - first).days / 30.4375, 1.0)
    rows = []
    for activity in ACTIVITIES:
        day = items[_EVENTS[activity][0]]
        # A thing that sold was listed, whether or not its day is written down.
        day = day.fillna(items["sold_on"]) if _EVENTS[activity][0] == "listed_on" else day
        origin = labor.minutes[f"{activity}_origin"]
        recent = ((day > first) & (day <= last)).to_numpy()
        for size in SIZES:
            mine = sizes == size
            monthly = float((mine & recent & (origin == "assumed").to_numpy()).sum()) / months
            if not monthly:
                continue
            seen = whole.loc[(activity, size)] if (activity, size) in whole.index else None
            logged = int(seen["logged_items"]) if seen is not None else 0
            used = float(seen["used_min"]) if seen is not None else assumptions.number(f"minutes.{activity}.{size}")
            logs = labor.minutes.loc[mine & (origin == "recorded").to_numpy(), f"{activity}_min"]
            known = len(logs) >= _ENOUGH and logs.mean() > 0
            spread = used * (float(logs.std() / logs.mean()) if known else _SPREAD)
            now, then = (monthly * spread / math.sqrt(weight + n) for n in (logged, logged + TIMINGS))
            rows.append((activity, size, monthly, used, logged, now, then, now - then))
    columns = ["activity", "size_class", "monthly", "used_min", "logged_items", "doubt_min", "then_min", "gain_min"]
    return pd.DataFrame(rows, columns=columns).sort_values(
        "gain_min", ascending=False, kind="stable", ignore_index=True
    )
