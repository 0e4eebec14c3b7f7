"""What to ask now for the stock, which offer to take, when to mark down and give up; patience in figures."""

from __future__ import annotations

import datetime as dt
import functools
import json
from collections.abc import Iterator, Mapping
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
    PricePaths,
    PriceSettings,
    PriceTable,
    expected_value_cents,
    habit_paths,
    path_outcomes,
    price_table,
    weighed_paths,
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
    """The stock in groups, of which each is planned once for all that is asked of it."""

    groups: tuple[_Group, ...]

    def plan(self) -> pd.DataFrame:
        """What to do with each thing in stock, listed or not, with the dates.

        See ``tests/analysis/test_stock_prices.py``.
        """
        parts = [rows for group in self.groups for _, _, _, rows in group.courses]
        if not parts:
            return pd.DataFrame(columns=list(_COLUMNS))
        return pd.concat(parts).sort_index().reset_index(drop=True)

    def patience(self) -> pd.DataFrame:
        """For each thing, a row for each number of weeks within which it may be wanted sold, and one as before.

        See ``tests/analysis/test_stock_prices.py``.
        """
        parts = [group.patience() for group in self.groups]
        if not parts:
            return pd.DataFrame(columns=[*_COLUMNS, "within_weeks", "way", "week_cents"])
        found = pd.concat(parts)
        found = found.assign(last=found["way"] == AS_NOW).sort_values(["row", "last", "within_weeks"], kind="stable")
        return found.drop(columns=["row", "last"]).reset_index(drop=True)


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
    return StockPlans(tuple(_groups(items, price_changes, model, typical, knowledge, as_of)))


@dataclass(frozen=True)
class _Dates:
    """Where each thing of the books stands: listed or not, its last event, the weeks until then and until today."""

    listed: npt.NDArray[np.bool_]
    first_on: npt.NDArray[np.datetime64]
    event_week: Ints
    week: Ints
    asked: Floats


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


def _groups(
    items: pd.DataFrame,
    price_changes: pd.DataFrame,
    model: SellingModel,
    typical: Typical,
    knowledge: Mapping[str, Any],
    as_of: dt.date,
) -> Iterator[_Group]:
    """The stock by category and size class, which share what a sale takes."""
    stock = items["status"].isin(["for sale", "not listed", "returned"]).to_numpy() & np.isfinite(typical.cents)
    weeks = person_weeks(items, price_changes, typical.cents, as_of=as_of)
    rates = week_rates(model, weeks)
    dates = _dates(items, price_changes, as_of)
    rows_of_stock = np.flatnonzero(stock)
    for (category, size), where in items[stock].groupby(["category", "size_class"], sort=False).indices.items():
        rows = rows_of_stock[where]
        known = str(category) if str(category) in knowledge["categories"] else SHOP
        one = question(knowledge, known, size=str(size))
        new = model.possible(str(category), typical.error[rows], weeks=one.demand.weeks)
        # What a thing's silence says until its last event and until today; a week that still runs says nothing yet.
        then, now = (
            _left(new, weeks, rates, rows, dates.listed, dates.event_week if until == "event" else dates.week)
            for until in ("event", "today")
        )
        listing = _listing_min(items, category, size, one)
        bound = float(knowledge.get("grid_bound", one.grid.high))
        habit = knowledge["categories"][known].get("habit")
        before = Habit(**habit) if habit else None
        least = float(knowledge["wishes"].get("wait_worth_cents", 0.0))
        yield _Group(items, rows, str(category), one, model, typical, dates, then, now, listing, bound, least, before)


def _listing_min(items: pd.DataFrame, category: object, size: object, one: Question) -> float:
    """Minutes from the shelf to the listing, as such things took."""
    columns = list(LISTING_WORK)
    if not set(columns) <= set(items):
        return 0.0
    alike = items[(items["category"] == category) & (items["size_class"] == size) & items["listed_on"].notna()]
    return float(alike[columns].sum(axis=1).mean()) if len(alike) else one.terms.before_min


@dataclass(frozen=True)
class _Group:
    """The things of one category and size in stock, and how they are best sold from here."""

    items: pd.DataFrame
    rows: Ints
    category: str
    one: Question
    model: SellingModel
    typical: Typical
    dates: _Dates
    then: Possible
    now: Possible
    listing_min: float
    bound: float
    least_cents: float
    habit: Habit | None

    def parts(self) -> Iterator[tuple[Ints, bool]]:
        """The things on sale, and those to be listed: they have different prices to choose from."""
        listed = self.dates.listed[self.rows] & (self.dates.asked[self.rows] > 0)
        for at, on in ((np.flatnonzero(listed), True), (np.flatnonzero(~listed), False)):
            if at.size:
                yield at, on

    @functools.cached_property
    def courses(self) -> list[tuple[Ints, bool, _Course, pd.DataFrame]]:
        """What to do with the things on sale and those to be listed, made on the day of their last event."""
        planned = [(at, listed, self._course(at, listed)) for at, listed in self.parts()]
        return [(at, listed, course, self._rows(at, listed, course)) for at, listed, course in planned]

    def patience(self) -> pd.DataFrame:
        """The best way to sell each thing within so many weeks from today, the plan's own among them."""
        found = []
        for at, listed, course, rows in self.courses:
            left = course.paths.weeks_to_give_up
            own = np.where(left > 0, left, course.ends)
            longest = course.longest
            for weeks in (*(np.full(at.size, each) for each in PATIENCE_WEEKS), longest):
                # Beside the plan's own weeks: shorter ones, and where the plan ends early, those left at most.
                some = (weeks < longest if weeks is not longest else own < longest) & (weeks != own)
                if some.any():
                    hurried = self._rows(at[some], listed, self._hurried(at[some], listed, weeks[some]))
                    found.append(self._told(at[some], hurried, weeks[some], WITHIN))
            found.append(self._told(at, rows, own, PLANNED))
            if self.habit is not None:
                now = self._rows(at, listed, self._as_now(at, listed, self.habit, course))
                found.append(self._told(at, now, own, AS_NOW))
        return pd.concat(found)

    def _told(self, at: Ints, rows: pd.DataFrame, weeks: Ints, way: str) -> pd.DataFrame:
        told = rows.assign(row=self.rows[at], within_weeks=weeks, way=way)
        # The room of a week more, and what the money would earn elsewhere.
        return told.assign(week_cents=self._storage + (1 - self._settings(1).keep) * told["worth_cents"].clip(lower=0))

    def _course(self, at: Ints, listed: bool) -> _Course:
        """The path of each thing from today on, as it was planned on the day of its last event."""
        rows, dates = self.rows[at], self.dates
        event, since = dates.event_week[rows], dates.week[rows] - dates.event_week[rows]
        longest = self._remaining(event)
        course = self._planned(at, listed, event, longest, self.then)
        ends = self._worth_waiting(at, event, course)
        early = np.flatnonzero(ends < longest)
        paths = course.paths
        if early.size:
            again = self._planned(at[early], listed, event[early], ends[early], self.then).paths
            paths = _with_rows(paths, early, _from_week(again, np.zeros(early.size, np.int64), paths.place.shape[1]))
        now = _from_week(paths, since)
        # A step is due since the first week of the price at which it stands.
        due = np.argmax(paths.place == now.place[:, :1], axis=1) - since
        return _Course(now, course.table, course.start, ends - since, longest - since, np.minimum(due, 0))

    def _hurried(self, at: Ints, listed: bool, weeks: Ints) -> _Course:
        """The best path from today for things that are wanted sold within some weeks."""
        return self._planned(at, listed, self.dates.week[self.rows[at]], weeks, self.now, sweeps=1)

    def _planned(
        self, at: Ints, listed: bool, week: Ints, last: Ints, possible: Possible, sweeps: int = SWEEPS
    ) -> _Course:
        """The best path of things from a week of theirs on, within some weeks."""
        weeks = int(last.max())
        demand = self._demand(at, week, last, weeks)
        table = self._table(at, demand, listed=listed)
        start = self._place(at, table) if listed else None
        settings, storage = self._settings(weeks), self._storage
        paths = weighed_paths(
            demand, possible.rows(at), table, settings, storage_cents=storage, start=start, sweeps=sweeps
        )
        return _Course(paths, table, start, last, last, np.zeros(at.size, dtype=np.int64))

    def _worth_waiting(self, at: Ints, event: Ints, course: _Course) -> Ints:
        """The fewest weeks after which what is still unsold would bring less than what a longer wait is to bring."""
        ends, paths = course.longest.copy(), course.paths
        worth = self._outcome(at, event, self.then, course)[3]
        for weeks in PATIENCE_WEEKS[::-1]:
            some = (weeks < course.longest) & (weeks >= _LEAST_WEEKS)
            stopped = _cut_off(paths, weeks)
            sold, _, _, less = self._outcome(at, event, self.then, replace(course, paths=stopped))
            more = (worth - less) / np.maximum(1 - sold, 1e-9)
            ends = np.where(some & (more < self.least_cents), weeks, ends)
        return ends

    def _as_now(self, at: Ints, listed: bool, habit: Habit, course: _Course) -> _Course:
        """What comes of pricing on as before: each thing from its last price and the weeks since."""
        rows, table, longest = self.rows[at], course.table, course.paths.place.shape[1]
        event, week = self.dates.event_week[rows], self.dates.week[rows]
        found = []
        for row in range(rows.size):
            alone = habit
            if listed:
                wait = habit.first_cut_weeks if event[row] == 0 else habit.cut_weeks
                alone = replace(
                    habit,
                    ratio=self.dates.asked[rows[row]] / self.typical.cents[rows[row]],
                    first_cut_weeks=max(wait - (week[row] - event[row]), 0.0),
                    patience_weeks=max(habit.patience_weeks - week[row], 1.0),
                )
            found.append(habit_paths(alone, table.part(slice(row, row + 1)), longest))
        paths = PricePaths(*(np.concatenate(parts) for parts in zip(*map(_arrays, found), strict=True)))
        return replace(course, paths=paths, due=np.zeros(at.size, dtype=np.int64))

    def _rows(self, at: Ints, listed: bool, course: _Course) -> pd.DataFrame:
        """What a course means for each thing, in dates and dollars."""
        rows, paths, table = self.rows[at], course.paths, course.table
        sold, minutes, net, worth = self._expected(at, listed, course)
        if not listed:
            # What would not pay for its photographs and words is not worth listing.
            paths = _dropped(paths, worth <= 0)
            sold, minutes, net, worth = (np.where(worth > 0, part, 0.0) for part in (sold, minutes, net, worth))
        place, price, row = paths.place, paths.price_cents, np.arange(rows.size)
        asked, week, first = self.dates.asked[rows], self.dates.week[rows], self.dates.first_on[rows]
        # A last week in which nothing changes, since a course of one week has none to compare.
        ahead = np.column_stack([place[:, 1:], place[:, -1]])
        later = (ahead != place) & (ahead != GIVE_UP)
        step = np.where(later.any(axis=1), later.argmax(axis=1) + 1, 0)
        # What is asked above every price considered is to be lowered to the highest of them.
        held = np.zeros(rows.size, dtype=bool)
        if course.start is not None:
            held = (place[:, 0] == course.start) & (asked <= table.price_cents[:, -1] * (1 + self.one.grid.step))
        ask = np.where(held, asked, price[:, 0])
        gone = price[:, 0] <= 0
        action = np.select([gone, ~np.isfinite(asked), held], ["give up", "list", "hold"], "lower")
        left = paths.weeks_to_give_up
        due = np.where(held, np.where(step > 0, step, left), course.due)
        frame = self.items.iloc[rows]
        return pd.DataFrame(
            {
                "item_id": frame["item_id"].to_numpy(),
                "title": frame["title"].to_numpy() if "title" in frame else "",
                "category": self.category,
                "size_class": frame["size_class"].to_numpy(),
                "weeks_listed": week,
                "typical_cents": self.typical.cents[rows],
                "typical_error": self.typical.error[rows],
                "asked_cents": asked,
                "price_cents": ask,
                "at_edge": (place[:, 0] == table.price_cents.shape[1] - 1) & (course.start is None),
                "lowest_offer_cents": np.minimum(paths.lowest_offer_cents[:, 0], ask),
                "floor_cents": _floor(table),
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
                "steps": _steps(paths, first, week, ask),
            },
            index=rows,
        )

    def _expected(self, at: Ints, listed: bool, course: _Course) -> tuple[Floats, Floats, Floats, Floats]:
        """Chance of a sale, minutes, money before hours, and worth of a course from today on."""
        sold, changes, takings, worth = self._outcome(at, self.dates.week[self.rows[at]], self.now, course)
        terms, before = self.one.terms, 0.0 if listed else self.listing_min
        minutes = terms.sale_min * sold + self.one.change_min * changes + before
        return sold, minutes, takings + self._minute * terms.sale_min * sold, worth - self._minute * before

    def _outcome(self, at: Ints, week: Ints, possible: Possible, course: _Course) -> Floats:
        """Chance of a sale, changes, takings and worth of a course from a week on, all possibilities weighed."""
        weeks, possible = course.paths.place.shape[1], possible.rows(at)
        # The demand of the course itself ends with the longest wait; its path may end before.
        demand = self._demand(at, week, course.longest, weeks)
        found = []
        for one in possible.moved(demand):
            seen = path_outcomes(course.paths.place, course.paths.lowest_offer_cents, one, course.table)
            worth = expected_value_cents(seen, self._settings(weeks), storage_cents=self._storage, end_cents=0.0)
            found.append((seen.sold_share, seen.changes, seen.takings_cents, worth))
        return np.asarray(np.einsum("np,pkn->kn", possible.share, np.array(found)))

    @property
    def _minute(self) -> float:
        """What a minute of the owner's is to bring. [cents]"""
        return self.one.target_cents / 60

    @property
    def _storage(self) -> float:
        """What a week on the shelf costs a thing. [cents]"""
        return self.one.storage_cents * self.one.terms.volume_cuft

    def _settings(self, weeks: int) -> PriceSettings:
        keep = (1 + self.one.money_rate) ** (-1 / 52)
        return PriceSettings(weeks, keep=keep, change_cents=self.one.change_min * self._minute)

    def _remaining(self, week: Ints) -> Ints:
        """Weeks on sale that are left to things after so many."""
        longest = self.one.demand.weeks
        if self.habit is not None:
            # Who keeps things for longer than the longest time has plans as long, in half years.
            kept = _HALF_YEAR * int(np.ceil(self.habit.patience_weeks / _HALF_YEAR - _NEARLY))
            longest = max(longest, min(kept, _MOST_WEEKS))
        least = min(_LEAST_WEEKS, longest)
        over = _HALF_YEAR * -(-(week + least) // _HALF_YEAR)
        end = np.where(week + least <= longest, longest, np.maximum(over, longest))
        return np.asarray(np.minimum(end - week, longest), dtype=np.int64)

    def _demand(self, at: Ints, week: Ints, last: Ints, weeks: int) -> Demand:
        """Demand of some of the things from a week after their listing on; nobody comes after the last."""
        rows, ahead = self.rows[at], np.arange(weeks)
        day = self.dates.first_on[rows][:, None] + 7 * (week[:, None] + ahead)
        part = (day - day.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.float64) / 365.25
        weekly = self.model.weekly((week[:, None] + ahead).astype(np.float64), part)
        plain = self.model.demand(self.category, weeks=1)
        rate, pull = (np.full(rows.size, float(value[0])) for value in (plain.log_rate, plain.pull))
        return Demand(rate, pull, np.where(ahead < last[:, None], weekly, -np.inf), plain.offers)

    def _table(self, at: Ints, demand: Demand, *, listed: bool) -> PriceTable:
        """Prices that can be asked: what is on sale may stand higher than anything newly listed."""
        terms, grid = self.one.terms, self.one.grid
        return price_table(
            self.typical.cents[self.rows[at]],
            lambda price: terms.net_cents(price) - self._minute * terms.sale_min,
            demand,
            grid=replace(grid, high=max(self.bound, grid.high)) if listed else grid,
            endings_cents=self.one.endings_cents,
        )

    def _place(self, at: Ints, table: PriceTable) -> Ints:
        """The considered price nearest to what is asked; the highest for what is asked more."""
        ratio = np.log(self.dates.asked[self.rows[at]] / self.typical.cents[self.rows[at]])
        below = np.minimum(ratio, table.log_ratio[:, -1])
        return np.asarray(np.abs(table.log_ratio - below[:, None]).argmin(axis=1), dtype=np.int64)


@dataclass(frozen=True)
class _Course:
    """Paths from today, their prices, the weeks left in them and at most, and the week of the first step due."""

    paths: PricePaths
    table: PriceTable
    start: Ints | None
    ends: Ints
    longest: Ints
    due: Ints


def _left(
    fresh: Possible, weeks: PersonWeeks, rates: Floats, rows: Ints, listed: npt.NDArray[np.bool_], until: Ints
) -> Possible:
    """What the demand of things still is likely to be, after the full weeks in which they did not sell."""
    n = listed.size
    past = weeks.week < until[weeks.item]
    # A steeper pull means fewer chances met at dear prices, and more at cheap ones.
    met = {
        pull: np.bincount(weeks.item[past], weights=(rates * np.exp(-pull * weeks.log_ratio))[past], minlength=n)[rows]
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


def _cut_off(paths: PricePaths, weeks: int) -> PricePaths:
    """The same paths, everything unsold given up after so many weeks."""
    return replace(paths, place=np.where(np.arange(paths.place.shape[1]) < weeks, paths.place, GIVE_UP))


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


def _floor(table: PriceTable) -> Floats:
    """The lowest price considered that pays for its fees, its label and the work of its sale; none where none does."""
    pays = table.net_cents >= 0
    first = np.take_along_axis(table.price_cents, pays.argmax(axis=1)[:, None], axis=1)[:, 0]
    return np.where(pays.any(axis=1), first, np.nan)


def _day(first: npt.NDArray[np.datetime64], week: Ints) -> npt.NDArray[np.datetime64]:
    """The day on which a week after the first listing begins; none for a week below zero."""
    return np.where(week < 0, np.datetime64("NaT"), first + 7 * week).astype("datetime64[s]")


def _steps(
    paths: PricePaths, first: npt.NDArray[np.datetime64], week: Ints, ask: Floats
) -> list[tuple[tuple[str, int, int], ...]]:
    """From which day on what is asked and what is taken at least, a step for each change; giving up is a price of 0."""
    found = []
    for at in range(len(paths.place)):
        price, offer = paths.price_cents[at], np.minimum(paths.lowest_offer_cents[at], ask[at])
        asked = np.where(paths.place[at] == paths.place[at, 0], ask[at], price)
        new = np.r_[True, (np.diff(asked) != 0) | (np.diff(offer) != 0)]
        days = first[at] + 7 * (week[at] + np.flatnonzero(new))
        found.append(
            tuple(
                (str(day), round(float(one)), round(float(least)))
                for day, one, least in zip(days, asked[new], offer[new], strict=True)
            )
        )
    return found


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
    rows = {
        name: [
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
            for row in part.to_dict("records")
        ]
        for name, part in patience.groupby("item_id", sort=False)
    }
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
