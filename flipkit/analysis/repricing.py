"""What to ask now for the stock, which offer to take, when to mark down and give up; patience in figures."""

from __future__ import annotations

import collections
import datetime as dt
import functools
import itertools
import json
from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.demand import Demand, Possible
from flipkit.analysis.max_bid import SHOP, Question, question
from flipkit.analysis.pricing import (
    GIVE_UP,
    SWEEPS,
    Habit,
    Outcomes,
    PricePaths,
    PriceSettings,
    PriceTable,
    habit_paths,
    path_outcomes,
    price_table,
    price_worth,
    weighed_paths,
    whole_offer,
    worth_by_week,
)
from flipkit.analysis.sale_hazard import PersonWeeks, SellingModel, Typical, asking_prices, person_weeks, week_rates
from flipkit.analysis.stock_value import LISTING_WORK

# What to ask now for everything on the shelf, which offer to take, when to mark down and when to give up.
#
# A plan is made on the day of a thing's last event, its listing or its last change of price, and read on the day
# asked. Its weeks count from the first listing and it ends with the longest time on sale. So the same fitted model
# says the same dates every week until something happens, and what was due and not done stays due. A plan ends sooner
# where what is unsold by then would bring hardly anything more: money and room come free.

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Within so many weeks a seller may want a thing sold.
PATIENCE_WEEKS = (4, 8, 13, 26, 52)
#: What a row of patience is: hurried, the plan itself, or what comes of pricing on as before.
WITHIN, PLANNED, AS_NOW = "within", "planned", "as now"
#: After its last event a thing stays on sale for so long at least: a price needs time to work.
_LEAST_WEEKS = 8
#: Beyond the longest time on sale, plans end by the half year; a habit that passes one by a week or so counts to it.
_HALF_YEAR, _NEARLY = 26, 0.05
#: No plan looks further than this.
_MOST_WEEKS = 156

#: What a plan says of each thing, also where there is none to plan.
_COLUMNS: Final = (
    "item_id", "title", "category", "size_class", "weeks_listed", "typical_cents", "typical_error", "asked_cents",
    "price_cents", "at_edge", "lowest_offer_cents", "floor_cents", "markdown_weeks", "markdown_cents", "markdown_on",
    "give_up_weeks", "give_up_on", "act_on", "sold_share", "work_min", "net_cents", "worth_cents", "action", "steps",
)  # fmt: skip


@dataclass(frozen=True)
class StockPlans:
    """The stock in parts, which are planned together: each once for all that is asked of it."""

    parts: tuple[_Part, ...]

    @functools.cached_property
    def courses(self) -> list[_Course]:
        """What to do with the things of each part from today on, planned on the day of their last event."""
        every = [(part, part.dates.event_week, part.longest, part.then) for part in self.parts]
        whole = _planned(every)
        ends = [part.worth_waiting(course) for part, course in zip(self.parts, whole, strict=True)]
        early = [np.flatnonzero(end < part.longest) for part, end in zip(self.parts, ends, strict=True)]
        sooner = [(part.some(at), end[at]) for part, at, end in zip(self.parts, early, ends, strict=True) if at.size]
        again = iter(_planned([(part, part.dates.event_week, end, part.then) for part, end in sooner]))
        found = []
        for part, course, end, at in zip(self.parts, whole, ends, early, strict=True):
            since, paths = part.dates.week - part.dates.event_week, course.paths
            if at.size:
                cut = _from_week(next(again).paths, np.zeros(at.size, np.int64), paths.place.shape[1])
                paths = _with_rows(paths, at, cut)
            now = _from_week(paths, since)
            # A step is due since the first week of the price at which it stands.
            due = np.argmax(paths.place == now.place[:, :1], axis=1) - since
            found.append(_Course(now, end - since, part.longest - since, np.minimum(due, 0)))
        return found

    @functools.cached_property
    def _plans(self) -> list[dict[str, Any]]:
        return [part.told(course) for part, course in zip(self.parts, self.courses, strict=True)]

    def plan(self) -> pd.DataFrame:
        """What to do with each thing in stock, listed or not, with the dates."""
        if not self.parts:
            return pd.DataFrame(columns=list(_COLUMNS))
        planned = zip(self.parts, self.courses, self._plans, strict=True)
        steps = (part.steps(course, told) for part, course, told in planned)
        found = _one_frame(self._plans).assign(steps=list(itertools.chain.from_iterable(steps)))
        return found.sort_values("row").drop(columns="row").reset_index(drop=True)

    def patience(self) -> pd.DataFrame:
        """For each thing, a row for each number of weeks within which it may be wanted sold, and one as before."""
        if not self.parts:
            return pd.DataFrame(columns=[*_COLUMNS[:-1], "within_weeks", "way", "week_cents"])
        wanted, rows = [], []
        for part, course, told in zip(self.parts, self.courses, self._plans, strict=True):
            left = course.paths.weeks_to_give_up
            own = np.where(left > 0, left, course.ends)
            longest = course.longest
            for weeks in (*(np.full(own.size, each) for each in PATIENCE_WEEKS), longest):
                # Beside the plan's own weeks: shorter ones, and where the plan ends early, those left at most.
                early = (own < longest) & (longest > 0) if weeks is longest else weeks < longest
                at = np.flatnonzero(early & (weeks != own))
                if at.size:
                    some = part.some(at)
                    wanted.append((some, some.dates.week, weeks[at], some.now))
            rows.append(part.priced(told, own, PLANNED))
            if part.habit is not None:
                rows.append(part.priced(part.told(part.as_now(part.habit, course)), own, AS_NOW))
        for (part, _, weeks, _), course in zip(wanted, _planned(wanted, sweeps=1), strict=True):
            rows.append(part.priced(part.told(course), weeks, WITHIN))
        found = _one_frame(rows)
        found = found.assign(last=found["way"] == AS_NOW).sort_values(["row", "last", "within_weeks"], kind="stable")
        return found.drop(columns=["row", "last"]).reset_index(drop=True)


def _one_frame(parts: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """Columns of many parts under one another; a frame for each would take longer than planning it."""
    return pd.DataFrame({name: np.concatenate([part[name] for part in parts]) for name in parts[0]})


def stock_plans(
    items: pd.DataFrame,
    price_changes: pd.DataFrame,
    model: SellingModel,
    typical: Typical,
    knowledge: Mapping[str, Any],
    *,
    as_of: dt.date,
) -> StockPlans:
    """The stock as it is to be priced from here."""
    return StockPlans(tuple(_parts(items, price_changes, model, typical, knowledge, as_of)))


@dataclass(frozen=True)
class _Dates:
    """Where things stand: listed or not, the first day, the weeks until the last event and until today, the price."""

    listed: npt.NDArray[np.bool_]
    first_on: npt.NDArray[np.datetime64]
    event_week: Ints
    week: Ints
    asked: Floats

    def some(self, at: Ints) -> _Dates:
        """The dates of some of the things."""
        return _Dates(self.listed[at], self.first_on[at], self.event_week[at], self.week[at], self.asked[at])


def _dates(items: pd.DataFrame, price_changes: pd.DataFrame, as_of: dt.date) -> _Dates:
    today = np.datetime64(as_of, "D")
    listed = (items["status"] == "for sale").to_numpy() & items["listed_on"].notna().to_numpy()
    first = np.where(listed, items["listed_on"].to_numpy(dtype="datetime64[D]"), today)
    known = price_changes[price_changes["changed_on"].le(pd.Timestamp(as_of)) & price_changes["price_cents"].notna()]
    latest = known.groupby("item_id")["changed_on"].max().reindex(items["item_id"])
    changed = latest.to_numpy(dtype="datetime64[D]")
    event = np.where(listed & ~np.isnat(changed) & (changed > first), changed, first)
    until_event, until_today = ((day - first).astype(np.int64) // 7 for day in (event, today))
    asked = np.where(listed, asking_prices(items, price_changes, on=as_of), np.nan)
    return _Dates(listed, first, until_event, until_today, asked)


def _parts(
    items: pd.DataFrame,
    price_changes: pd.DataFrame,
    model: SellingModel,
    typical: Typical,
    knowledge: Mapping[str, Any],
    as_of: dt.date,
) -> Iterator[_Part]:
    """The stock by category and size class, which share what a sale takes, and by whether it is on sale."""
    here = items["status"].isin(["for sale", "not listed", "returned"]).to_numpy() & np.isfinite(typical.cents)
    cents, error, stock = typical.cents[here], typical.error[here], items[here]
    weeks = person_weeks(stock, price_changes, cents, as_of=as_of)
    rates = week_rates(model, weeks)
    dates = _dates(stock, price_changes, as_of)
    listing = _listing_min(items)
    told = stock[[name for name in ("item_id", "title", "size_class") if name in stock]]
    on_sale = dates.listed & (dates.asked > 0)
    for (category, size), rows in stock.groupby(["category", "size_class"], sort=False).indices.items():
        known = str(category) if str(category) in knowledge["categories"] else SHOP
        one = question(knowledge, known, size=str(size))
        new = model.possible(str(category), error[rows], weeks=one.demand.weeks)
        # What a thing's silence says until its last event and until today; a week that still runs says nothing yet.
        then, now = (
            _left(new, weeks, rates, rows, dates.listed, dates.event_week if until == "event" else dates.week)
            for until in ("event", "today")
        )
        bound = float(knowledge.get("grid_bound", one.grid.high))
        habit = knowledge["categories"][known].get("habit")
        least = float(knowledge["wishes"].get("wait_worth_cents", 0.0))
        plain = model.demand(str(category), weeks=1)
        for listed in (True, False):
            # Those on sale and those to be listed have different prices to choose from.
            at = np.flatnonzero(on_sale[rows] == listed)
            if not at.size:
                continue
            mine = rows[at]
            terms = one.terms
            table = price_table(
                cents[mine],
                lambda price, terms=terms, cost=one.target_cents / 60 * terms.sale_min: terms.net_cents(price) - cost,
                plain,
                # What is on sale may stand higher than anything newly listed.
                grid=replace(one.grid, high=max(bound, one.grid.high)) if listed else one.grid,
                endings_cents=one.endings_cents,
            )
            yield _Part(
                told.iloc[mine],
                mine,
                str(category),
                one,
                model,
                cents[mine],
                error[mine],
                dates.some(mine),
                then.rows(at),
                now.rows(at),
                table,
                listed,
                0.0 if listed else float(listing.get((category, size), one.terms.before_min)),
                least,
                Habit(**habit) if habit else None,
            )


def _listing_min(items: pd.DataFrame) -> Mapping[Any, float]:
    """Minutes from the shelf to the listing, as things of each category and size took."""
    columns = list(LISTING_WORK)
    if not set(columns) <= set(items):
        return collections.defaultdict(float)
    listed = items[items["listed_on"].notna()]
    minutes = listed[columns].sum(axis=1)
    found: dict[Any, float] = minutes.groupby([listed["category"], listed["size_class"]]).mean().to_dict()
    return found


@dataclass(frozen=True)
class _Part:
    """Things of one category and size in stock, on sale or to be listed, and how they are best sold from here."""

    items: pd.DataFrame
    rows: Ints
    category: str
    one: Question
    model: SellingModel
    cents: Floats
    error: Floats
    dates: _Dates
    then: Possible
    now: Possible
    table: PriceTable
    listed: bool
    listing_min: float
    least_cents: float
    habit: Habit | None

    def some(self, at: Ints) -> _Part:
        """Some of the things."""
        return replace(
            self,
            items=self.items.iloc[at],
            rows=self.rows[at],
            cents=self.cents[at],
            error=self.error[at],
            dates=self.dates.some(at),
            then=self.then.rows(at),
            now=self.now.rows(at),
            table=self.table.part(at),
        )

    def worth_waiting(self, course: _Course) -> Ints:
        """The fewest weeks after which what is still unsold would bring less than what a longer wait is to bring."""
        ends = self.longest.copy()
        found = self._outcomes(self.dates.event_week, self.then, course)
        settings = self.settings(course.paths.place.shape[1])
        # Whatever the path's end, its weeks until then are the same.
        worth = self._weighed(self.then, worth_by_week(found, settings, storage_cents=self.storage).cumsum(axis=-1))
        sold = self._weighed(self.then, found.chance.sum(axis=-1).cumsum(axis=-1))
        last = worth.shape[1] - 1
        for weeks in PATIENCE_WEEKS[::-1]:
            some, at = (weeks < self.longest) & (weeks >= _LEAST_WEEKS), min(weeks - 1, last)
            more = (worth[:, last] - worth[:, at]) / np.maximum(1 - sold[:, at], 1e-9)
            ends = np.where(some & (more < self.least_cents), weeks, ends)
        return ends

    def as_now(self, habit: Habit, course: _Course) -> _Course:
        """What comes of pricing on as before: each thing from its last price and the weeks since."""
        longest, event, week = course.paths.place.shape[1], self.dates.event_week, self.dates.week
        found = []
        for row in range(self.rows.size):
            alone = habit
            if self.listed:
                wait = habit.first_cut_weeks if event[row] == 0 else habit.cut_weeks
                alone = replace(
                    habit,
                    ratio=self.dates.asked[row] / self.cents[row],
                    first_cut_weeks=max(wait - (week[row] - event[row]), 0.0),
                    patience_weeks=max(habit.patience_weeks - week[row], 1.0),
                )
            found.append(habit_paths(alone, self.table.part(slice(row, row + 1)), longest))
        paths = PricePaths(*(np.concatenate(parts) for parts in zip(*map(_arrays, found), strict=True)))
        return replace(course, paths=paths, due=np.zeros(self.rows.size, dtype=np.int64))

    def told(self, course: _Course) -> dict[str, Any]:
        """What a course means for each thing, in dates and dollars."""
        paths, table = course.paths, self.table
        sold, minutes, net, worth = self._expected(course)
        if not self.listed:
            # What would not pay for its photographs and words is not worth listing.
            paths = _dropped(paths, worth <= 0)
            sold, minutes, net, worth = (np.where(worth > 0, part, 0.0) for part in (sold, minutes, net, worth))
        place, price, row = paths.place, paths.price_cents, np.arange(self.rows.size)
        asked, week, first = self.dates.asked, self.dates.week, self.dates.first_on
        # A last week in which nothing changes, since a course of one week has none to compare.
        ahead = np.column_stack([place[:, 1:], place[:, -1]])
        later = (ahead != place) & (ahead != GIVE_UP)
        step = np.where(later.any(axis=1), later.argmax(axis=1) + 1, 0)
        # What is asked above every price considered is to be lowered to the highest of them.
        held = np.zeros(row.size, dtype=bool)
        if self.start is not None:
            held = (place[:, 0] == self.start) & (asked <= table.price_cents[:, -1] * (1 + self.one.grid.step))
        ask = np.where(held, asked, price[:, 0])
        gone = price[:, 0] <= 0
        action = np.select([gone, ~np.isfinite(asked), held], ["give up", "list", "hold"], "lower")
        left = paths.weeks_to_give_up
        due = np.where(held, np.where(step > 0, step, left), course.due)
        return {
            "row": self.rows,
            "item_id": self.items["item_id"].to_numpy(),
            "title": self.items["title"].to_numpy() if "title" in self.items else np.full(row.size, "", dtype=object),
            "category": np.full(row.size, self.category, dtype=object),
            "size_class": self.items["size_class"].to_numpy(),
            "weeks_listed": week,
            "typical_cents": self.cents,
            "typical_error": self.error,
            "asked_cents": asked,
            "price_cents": ask,
            "at_edge": (place[:, 0] == table.price_cents.shape[1] - 1) & (not self.listed),
            "lowest_offer_cents": np.minimum(paths.lowest_offer_cents[:, 0], ask),
            "floor_cents": _floor(table, ask),
            "markdown_weeks": np.where(step > 0, step.astype(np.float64), np.nan),
            "markdown_cents": np.where(step > 0, price[row, step], np.nan),
            "markdown_on": _day(first, np.where(step > 0, week + step, -1)),
            "give_up_weeks": left,
            "give_up_on": _day(first, week + left),
            "act_on": _day(first, week + due),
            "sold_share": sold,
            "work_min": minutes,
            "net_cents": net,
            "worth_cents": worth,
            "action": action.astype(object),
        }

    def steps(self, course: _Course, told: Mapping[str, Any]) -> list[tuple[tuple[str, int, int], ...]]:
        """From which day on what is asked and what is taken at least, a step a change; giving up is a price of 0."""
        paths = course.paths if self.listed else _dropped(course.paths, told["worth_cents"] <= 0)
        found = []
        for at, ask in enumerate(told["price_cents"]):
            price, offer = paths.price_cents[at], np.minimum(paths.lowest_offer_cents[at], ask)
            # Past its last week a plan has nothing more to ask.
            asked = np.append(np.where(paths.place[at] == paths.place[at, 0], ask, price), 0.0)
            offer = np.append(offer, 0.0)
            new = np.r_[True, (np.diff(asked) != 0) | (np.diff(offer) != 0)]
            days = self.dates.first_on[at] + 7 * (self.dates.week[at] + np.flatnonzero(new))
            found.append(
                tuple(
                    (str(day), round(float(one)), round(float(least)))
                    for day, one, least in zip(days, asked[new], offer[new], strict=True)
                )
            )
        return found

    def priced(self, told: dict[str, Any], weeks: Ints, way: str) -> dict[str, Any]:
        """A way to sell in so many weeks: with the room of a week more, and what the money would earn elsewhere."""
        week = self.storage + (1 - self.settings(1).keep) * np.maximum(told["worth_cents"], 0.0)
        return {**told, "within_weeks": weeks, "way": np.full(weeks.size, way, dtype=object), "week_cents": week}

    def _expected(self, course: _Course) -> tuple[Floats, Floats, Floats, Floats]:
        """Chance of a sale, minutes, money before hours, and worth of a course from today on."""
        found = self._outcomes(self.dates.week, self.now, course)
        value = worth_by_week(found, self.settings(course.paths.place.shape[1]), storage_cents=self.storage)
        sold, changes, takings, worth = (
            self._weighed(self.now, part)
            for part in (found.sold_share, found.changes, found.takings_cents, value.sum(axis=-1))
        )
        terms, before = self.one.terms, self.listing_min
        minutes = terms.sale_min * sold + self.one.change_min * changes + before
        return sold, minutes, takings + self._minute * terms.sale_min * sold, worth - self._minute * before

    def _outcomes(self, week: Ints, possible: Possible, course: _Course) -> Outcomes:
        """What a course from a week on leads to, by possibility."""
        # The demand of the course itself ends with the longest wait; its path may end before.
        demand = possible.moved(self.demand(week, course.longest, course.paths.place.shape[1]))
        return path_outcomes(course.paths.place, course.paths.lowest_offer_cents, demand, self.table)

    @staticmethod
    def _weighed(possible: Possible, by_possibility: Floats) -> Floats:
        return np.asarray(np.einsum("np,pn...->n...", possible.share, by_possibility))

    @property
    def _minute(self) -> float:
        """What a minute of the owner's is to bring. [cents]"""
        return self.one.target_cents / 60

    @property
    def storage(self) -> float:
        """What a week on the shelf costs a thing. [cents]"""
        return self.one.storage_cents * self.one.terms.volume_cuft

    def settings(self, weeks: int) -> PriceSettings:
        """What waiting and a change of price cost."""
        keep = (1 + self.one.money_rate) ** (-1 / 52)
        return PriceSettings(weeks, keep=keep, change_cents=self.one.change_min * self._minute)

    @property
    def longest(self) -> Ints:
        """Weeks on sale that are left to things at their last event."""
        week, longest = self.dates.event_week, self.one.demand.weeks
        if self.habit is not None:
            # Who keeps things for longer than the longest time has plans as long, in half years.
            kept = _HALF_YEAR * int(np.ceil(self.habit.patience_weeks / _HALF_YEAR - _NEARLY))
            longest = max(longest, min(kept, _MOST_WEEKS))
        least = min(_LEAST_WEEKS, longest)
        over = _HALF_YEAR * -(-(week + least) // _HALF_YEAR)
        end = np.where(week + least <= longest, longest, np.maximum(over, longest))
        return np.asarray(np.minimum(end - week, longest), dtype=np.int64)

    def demand(self, week: Ints, last: Ints, weeks: int) -> Demand:
        """Demand of the things from a week after their listing on; nobody comes after the last."""
        ahead = np.arange(weeks)
        day = self.dates.first_on[:, None] + 7 * (week[:, None] + ahead)
        part = (day - day.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.float64) / 365.25
        weekly = self.model.weekly((week[:, None] + ahead).astype(np.float64), part)
        plain = self.model.demand(self.category, weeks=1)
        rate, pull = (np.full(self.rows.size, float(value[0])) for value in (plain.log_rate, plain.pull))
        return Demand(rate, pull, np.where(ahead < last[:, None], weekly, -np.inf), plain.offers)

    @property
    def start(self) -> Ints | None:
        """The considered price nearest to what is asked; the highest for what is asked more."""
        if not self.listed:
            return None
        below = np.minimum(np.log(self.dates.asked / self.cents), self.table.log_ratio[:, -1])
        return np.asarray(np.abs(self.table.log_ratio - below[:, None]).argmin(axis=1), dtype=np.int64)


@dataclass(frozen=True)
class _Course:
    """Paths from today, the weeks left in them and at most, and the week of the first step due."""

    paths: PricePaths
    ends: Ints
    longest: Ints
    due: Ints


#: Some things, the week of theirs from which on they are to be planned, within how many weeks, and their demand.
_Wanted = tuple[_Part, Ints, Ints, Possible]


def _planned(wanted: Sequence[_Wanted], sweeps: int = SWEEPS) -> list[_Course]:
    """The best paths of things: those with like tables at once, since few take hardly less than many."""
    alike: dict[Hashable, list[int]] = {}
    for at, (part, _, last, possible) in enumerate(wanted):
        # Weeks in which nobody comes change no path: the table of a shorter wait grows to its quarter of a year.
        shape = part.listed, part.table.price_cents.shape[1], part.table.offer_steps, possible.pull.size
        alike.setdefault((*shape, -(-int(last.max()) // 13)), []).append(at)
    found: dict[int, _Course] = {}
    for places in alike.values():
        some = [wanted[at] for at in places]
        weeks = max(int(last.max()) for _, _, last, _ in some)
        demands = [part.demand(week, last, weeks) for part, week, last, _ in some]
        starts = [start for part, *_ in some if (start := part.start) is not None]
        paths = weighed_paths(
            Demand.joined(demands),
            Possible.joined([possible for *_, possible in some]),
            PriceTable.joined([part.table for part, *_ in some]),
            some[0][0].settings(weeks),
            storage_cents=np.repeat([part.storage for part, *_ in some], [part.rows.size for part, *_ in some]),
            start=np.concatenate(starts) if starts else None,
            sweeps=sweeps,
        )
        first = 0
        for at, (part, _, last, _) in zip(places, some, strict=True):
            own = slice(first, first := first + part.rows.size), slice(int(last.max()))
            place, price, offer = paths.place[own], paths.price_cents[own], paths.lowest_offer_cents[own]
            own_paths = PricePaths(place, price, offer, paths.value_cents[own[0]])
            found[at] = _Course(own_paths, last, last, np.zeros(part.rows.size, dtype=np.int64))
    return [found[at] for at in range(len(wanted))]


def _left(
    fresh: Possible, weeks: PersonWeeks, rates: Floats, rows: Ints, listed: npt.NDArray[np.bool_], until: Ints
) -> Possible:
    """What the demand of things still is likely to be, after the full weeks in which they did not sell."""
    # The weeks stand in the order of their things.
    begin, end = (np.searchsorted(weeks.item, rows, side=side) for side in ("left", "right"))
    item = np.repeat(np.arange(rows.size), end - begin)
    own = np.arange(item.size) + (begin - np.cumsum(end - begin) + (end - begin))[item]
    past = weeks.week[own] < until[rows][item]
    item, own = item[past], own[past]
    # A steeper pull means fewer chances met at dear prices, and more at cheap ones.
    met = {
        pull: np.bincount(item, weights=rates[own] * np.exp(-pull * weeks.log_ratio[own]), minlength=rows.size)
        * listed[rows]
        for pull in np.unique(fresh.pull)
    }
    level = np.broadcast_to(fresh.level, (rows.size, fresh.pull.size))
    share = fresh.share * np.exp(-level * np.stack([met[pull] for pull in fresh.pull], axis=1))
    return Possible(level, fresh.pull, share / share.sum(axis=1, keepdims=True))


def _arrays(paths: PricePaths) -> tuple[Ints, Floats, Floats, Floats]:
    return paths.place, paths.price_cents, paths.lowest_offer_cents, paths.value_cents


def _from_week(paths: PricePaths, week: Ints, weeks: int | None = None) -> PricePaths:
    """So many weeks of paths read from a week on; beyond their end things are given up."""
    last = paths.place.shape[1]
    at = week[:, None] + np.arange(last if weeks is None else weeks)
    inside, at = at < last, np.minimum(at, last - 1)
    place = np.where(inside, np.take_along_axis(paths.place, at, axis=1), GIVE_UP)
    price, offer = (
        np.where(inside, np.take_along_axis(part, at, axis=1), 0.0)
        for part in (paths.price_cents, paths.lowest_offer_cents)
    )
    return PricePaths(place, price, offer, paths.value_cents)


def _with_rows(paths: PricePaths, rows: Ints, others: PricePaths) -> PricePaths:
    """The same paths with some rows of others."""
    order = np.arange(len(paths.place))
    order[rows] = order.size + np.arange(rows.size)
    return PricePaths(*(np.concatenate(parts)[order] for parts in zip(_arrays(paths), _arrays(others), strict=True)))


def _dropped(paths: PricePaths, gone: npt.NDArray[np.bool_]) -> PricePaths:
    """The same paths, some things given up at once."""
    off = gone[:, None]
    return PricePaths(
        np.where(off, GIVE_UP, paths.place),
        np.where(off, 0.0, paths.price_cents),
        np.where(off, 0.0, paths.lowest_offer_cents),
        np.where(gone, 0.0, paths.value_cents),
    )


def _floor(table: PriceTable, ask: Floats) -> Floats:
    """The lowest offer that pays for its fees, its label and the work of its sale; none where no price does."""
    needed = price_worth(table, np.zeros((len(ask), 1)))[:, 0]
    # Rounded as offers to take are, so that none of them falls below it.
    least = whole_offer(needed, np.where(ask >= needed, ask, np.inf))
    return np.where((table.net_cents >= 0).any(axis=1), least, np.nan)


def _day(first: npt.NDArray[np.datetime64], week: Ints) -> npt.NDArray[np.datetime64]:
    """The day on which a week after the first listing begins; none for a week below zero."""
    return np.where(week < 0, np.datetime64("NaT", "D"), first + 7 * week).astype("datetime64[s]")


def came_of(plan: pd.DataFrame, before: pd.DataFrame, now: pd.DataFrame) -> pd.DataFrame:
    """What came of things by what a plan made of them then: sold and kept by the buyer, net and minutes since.

    >>> plan = pd.DataFrame({"item_id": ["a", "b"], "action": ["give up", "hold"]})
    >>> then = pd.DataFrame({"item_id": ["a", "b"], "net_cents": [-500, -500], "owner_min": [30.0, 30.0]})
    >>> since = then.assign(status=["sold", "for sale"], net_cents=[100, -520], owner_min=[60.0, 30.0])
    >>> came_of(plan, then, since).to_dict("list")
    {'given_up': [False, True], 'things': [1, 1], 'sold': [0, 1], 'net_cents': [-20, 600], 'owner_min': [0.0, 30.0]}
    """
    rows = plan[["item_id"]].assign(given_up=plan["action"] == "give up").set_index("item_id")
    first, last = (frame.set_index("item_id").loc[rows.index] for frame in (before, now))
    rows = rows.assign(
        things=1,
        sold=(last["status"] == "sold").astype(np.int64),
        net_cents=last["net_cents"] - first["net_cents"],
        owner_min=last["owner_min"] - first["owner_min"],
    )
    return rows.groupby("given_up").sum().reindex([False, True], fill_value=0).reset_index()


def plans_text(
    plan: pd.DataFrame, patience: pd.DataFrame, *, as_of: dt.date, currency: str, sales: int, too_few: int
) -> str:
    """The plans as JSON, a line a thing, for ``flipkit offer``, which reads them without tables of data."""
    rows: dict[str, list[list[Any]]] = {}
    for row in patience.to_dict("records"):
        rows.setdefault(row["item_id"], []).append(
            [
                row["way"],
                int(row["within_weeks"]),
                round(row["price_cents"]),
                _whole(row["markdown_cents"]),
                None if pd.isna(row["markdown_on"]) else row["markdown_on"].date().isoformat(),
                round(row["lowest_offer_cents"]),
                round(row["sold_share"], 4),
                round(row["net_cents"]),
                round(row["work_min"], 1),
                round(row["worth_cents"]),
            ]
        )
    planned = patience[patience["way"] == PLANNED]
    week_cents = dict(zip(planned["item_id"], planned["week_cents"].round(1), strict=True))
    things = [
        (
            row["item_id"],
            {
                "title": row["title"],
                "action": row["action"],
                "asked_cents": _whole(row["asked_cents"]),
                "floor_cents": _whole(row["floor_cents"]),
                "sold_share": round(row["sold_share"], 4),
                "worth_cents": round(row["worth_cents"]),
                "week_cents": week_cents.get(row["item_id"]),
                "steps": row["steps"],
                "patience": rows.get(row["item_id"], []),
            },
        )
        for row in plan.sort_values("item_id").to_dict("records")
    ]
    lines = [f"{json.dumps(name)}: {json.dumps(thing, ensure_ascii=False)}" for name, thing in things]
    known = {"as_of": as_of.isoformat(), "currency": currency, "sales": sales, "too_few": too_few, "version": 1}
    head = json.dumps(known)[1:-1]
    return "{" + head + ', "things": {\n' + ",\n".join(lines) + "\n}}\n"


def _whole(cents: float) -> int | None:
    return None if np.isnan(cents) else round(cents)
