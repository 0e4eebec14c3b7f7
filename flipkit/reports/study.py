"""The numbers of one report: books read, items costed, categories weighed, once."""

from __future__ import annotations

import datetime as dt
import functools
import hashlib
import json
import math
import os
import pickle
import stat
import sys
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from flipkit.analysis import results, returns, sizes, survival
from flipkit.analysis.decisions import (
    Change,
    Decision,
    SharedHours,
    biggest_changes,
    decide,
    shared_hours,
    with_hours,
)
from flipkit.analysis.packing_review import parcel_lessons
from flipkit.analysis.ratio_stats import IntervalSettings, interval_settings
from flipkit.analysis.repricing import AS_NOW, PLANNED, StockPlans, stock_plans
from flipkit.analysis.returns import Window, in_window, shrunken_returns
from flipkit.analysis.sale_hazard import SellingModel, Typical
from flipkit.analysis.shop_knowledge import known_prices, shop_knowledge, shop_model
from flipkit.analysis.sizes import BreakEven, break_even_price
from flipkit.analysis.stock_value import Horizon, expected_stock_values
from flipkit.assumptions import Assumptions, load_assumptions, parsed_settings, settings_in
from flipkit.books.check import RunOut, not_taken, rules_run_out
from flipkit.books.problems import Problem
from flipkit.books.read import Books, book_hashes, books_as_of, last_recorded_day, read_books
from flipkit.economics.costs import MOST_TAUGHT, SuppliesUsed
from flipkit.economics.items import Economics, item_economics
from flipkit.economics.labor import EVERYBODY
from flipkit.economics.trace import ItemTrace, item_trace
from flipkit.errors import AssumptionError, NotEnoughDataError, PackError, count_of
from flipkit.money import nearest_cent, show_cents
from flipkit.paths import demo_folder
from flipkit.reports.elements import Figure
from flipkit.rules.tables import Rules, load_rules
from flipkit.units import Measures

# The numbers of one report: the books read, every item costed, every category weighed, once.


@dataclass(frozen=True, eq=False, repr=False)
class Study:
    """Everything that the pages of one report show."""

    books: Books
    rules: Rules
    assumptions: Assumptions
    as_of: dt.date
    month: str
    economics: Economics
    key: str
    #: What is given up, where that is not to be decided anew: moving an assumption plans no stock.
    giving: frozenset[str] | None = None

    def __repr__(self) -> str:
        """What the study is of, on a few lines."""
        sold = int(self.items["sold_on"].notna().sum())
        return (
            f"Study of {self.books.shop.name}, {self.month}, as known on {self.as_of.isoformat()}\n"
            f"{len(self.items):,} items, {sold:,} sold, {len(self.categories)} categories, in {self.currency}\n"
            "study.items: a row an item; fk.columns('items') says what its columns mean"
        )

    @property
    def items(self) -> pd.DataFrame:
        """One row an item, with every line of its economics."""
        return self.economics.items

    @property
    def currency(self) -> str:
        """Code of the shop's currency."""
        return self.books.shop.currency

    @property
    def measures(self) -> Measures:
        """How the shop writes lengths, weights and room."""
        return self.books.shop.measures

    @property
    def target(self) -> float:
        """What an hour of the owner's work should bring. [dollars per hour]"""
        return self.assumptions.cents("hour.target") / 100

    @property
    def categories(self) -> list[str]:
        """Every category of the books, sorted."""
        return sorted(self.items["category"].unique())

    @property
    def confidence(self) -> float:
        """How often an interval is meant to hold the truth."""
        return self.assumptions.share("report.confidence")

    @property
    def left_out(self) -> list[str]:
        """What no figure includes, and why, a sentence each."""
        found = []
        later = int((self.books.items["bought_on"] > pd.Timestamp(self.as_of)).sum())
        if later:
            found.append(f"Not in these figures: {count_of(later, 'item')} bought after {self.as_of.isoformat()}.")
        sold = int((self.books.items["sold_on"] > pd.Timestamp(self.as_of)).sum())
        if sold:
            found.append(f"Not in these figures: {count_of(sold, 'sale')} dated after {self.as_of.isoformat()}.")
        if self.economics.labor.unplaced_min:
            found.append(f"{self.economics.labor.unplaced_min:,.0f} logged minutes fit no item and are left out.")
        if self.economics.unborne_cents:
            amount = show_cents(self.economics.unborne_cents, currency=self.currency)
            found.append(f"{amount} of overheads fell in months in which nothing was held; no item bears them.")
        unknown = int((self.sold_items()["cost_origin"] == "none").sum())
        if unknown:
            found.append(
                f"What {unknown:,} things cost that sold in these months is not known; their cost counts as 0."
            )
        found += not_taken(self.books.path)
        return [*found, *_supplies_told(self.economics.supplies, self.currency), *_untaxed_told(self.economics)]

    @functools.cached_property
    def rules_run_out(self) -> tuple[RunOut, ...]:
        """Rule tables that have ended, whose last known values stand in the figures as assumed."""
        known = books_as_of(self.books, self.as_of)
        return rules_run_out(known, self.rules, self.assumptions, day=self.as_of)

    @property
    def notes(self) -> tuple[Problem, ...]:
        """What the books' check noticed and what no item bears."""
        return self.books.notes

    def window(self, month: str | None = None, *, months: int | None = None) -> Window:
        """First and last day of the months up to a month."""
        last = pd.Period(month or self.month, "M")
        first = (last - ((months or self.assumptions.whole("report.window_months")) - 1)).start_time
        began = self.items["bought_on"].min()
        if pd.notna(began) and first < began <= last.end_time:
            first = began
        return first.date(), last.end_time.date()

    @functools.cached_property
    def sold_returns(self) -> pd.DataFrame:
        """True hourly return of each category over the items sold in the window."""
        return returns.category_returns(
            self.items, window=self.window(), basis="sold", target=self.target, settings=self._settings
        )

    @functools.cached_property
    def bought_returns(self) -> pd.DataFrame:
        """The same over the items bought in the window, unsold ones with what they may still bring."""
        return returns.bought_returns(
            self.planned_items, window=self.window(), horizon=self.horizon, target=self.target, settings=self._settings
        )

    @functools.cached_property
    def both_bases(self) -> pd.DataFrame:
        """Sold and bought basis side by side, best on the bought basis first."""
        return returns.side_by_side(self.sold_returns, self.bought_returns)

    @functools.cached_property
    def shop_bought(self) -> pd.DataFrame:
        """The whole shop on bought basis: one row, none where nothing was bought in the window."""
        return returns.shop_bought_return(
            self.planned_items, window=self.window(), horizon=self.horizon, target=self.target, settings=self._settings
        )

    @functools.cached_property
    def ranking(self) -> pd.DataFrame:
        """Categories on bought basis pulled towards the whole, likeliest to beat the target first."""
        seed = self.assumptions.whole("report.seed")
        return shrunken_returns(
            self.bought_returns, target=self.target, seed=seed, confidence=self.confidence, minutes="expected_min"
        )

    @functools.cached_property
    def verdicts(self) -> tuple[Decision, ...]:
        """What to do about each category, before its hours are known: read ``decisions``."""
        enough = self.assumptions.whole("report.too_few_items")
        typical = self.items.assign(typical_cents=known_prices(self.items, self.selling[1], enough=enough)[0])
        purchases = in_window(typical, window=self.window(), basis="bought")
        return decide(
            self.ranking, self.bought_returns, purchases, self.knowledge, target=self.target, plan=self.price_plan
        )

    @functools.cached_property
    def hours(self) -> SharedHours:
        """Where the hours go that a month's purchases take, from finding to shipping, and which stay free."""
        return shared_hours(
            self.verdicts,
            self.ranking,
            self.bought_returns,
            hours=float(self.bought_returns["expected_min"].sum() / 60 / self.months_looked_back),
            months=self.months_looked_back,
            target=self.target,
            stretch=self.assumptions.number("sourcing.stretch"),
            doubt=self.assumptions.number("sourcing.doubt"),
        )

    @functools.cached_property
    def decisions(self) -> tuple[Decision, ...]:
        """The one decision on each category, best first: what every page and command says of it."""
        return with_hours(self.verdicts, self.hours)

    def decision(self, category: str) -> Decision:
        """The decision on a category."""
        return next(one for one in self.decisions if one.category == category)

    @functools.cached_property
    def biggest_changes(self) -> tuple[Change, ...]:
        """What would bring most a month, the largest first: buying, pricing, packing."""
        lessons = parcel_lessons(self.sold_items(), self.rules, self.assumptions)
        return biggest_changes(
            self.decisions,
            self.bought_returns,
            lessons,
            self.knowledge,
            target=self.target,
            months=self.months_looked_back,
        )

    @functools.cached_property
    def aisle_knowledge(self) -> dict[str, Any]:
        """What ``flipkit buy`` answers from: what the books know, and the decision on each category."""
        said = {one.category: {"verdict": one.verdict, "sentence": one.sentence} for one in self.decisions}
        bought = self.economics.supplies
        return {**self.knowledge, "decisions": said, "materials_taught": bought.used if bought else 1.0}

    @property
    def months_looked_back(self) -> int:
        """Months of purchases that the returns count."""
        first, last = (pd.Period(day, "M") for day in self.window())
        return (last - first).n + 1

    @functools.cached_property
    def prospects(self) -> pd.DataFrame:
        """What each unsold item may still bring and the work it still needs, in the items' rows."""
        return expected_stock_values(self.planned_items, self.horizon)

    @property
    def horizon(self) -> Horizon:
        """How far ahead unsold stock is looked at, and its salvage."""
        return Horizon(self.assumptions.whole("stock.horizon_days"), self.assumptions.ppm("stock.salvage"))

    @functools.cached_property
    def shop_results(self) -> pd.DataFrame:
        """The whole shop, sales and write-offs: this month, a month ago, a year ago and the window."""
        return self._shop_spans("settled")

    @functools.cached_property
    def shop_sales(self) -> pd.DataFrame:
        """The same over the sales alone."""
        return self._shop_spans("sold")

    @functools.cached_property
    def months(self) -> pd.DataFrame:
        """What each month up to the report's came to, sales and write-offs, with the sales alone beside it."""
        return results.by_month(self.items, last=self.month)

    @functools.cached_property
    def bridges(self) -> dict[str, pd.DataFrame]:
        """From the net of the sales to the result and to the year's lines, of the month and of the year so far."""
        books = books_as_of(self.books, self.as_of)
        spans = {"month": self.month_so_far(), "year": self.year_so_far()}
        return {
            name: results.result_bridge(
                self.items,
                results.span_money(self.economics, books, self.rules, self.assumptions, window=window),
                window=window,
            )
            for name, window in spans.items()
        }

    def result_cents(self, span: str) -> int:
        """What the ``month`` or the ``year`` so far came to, sales and write-offs."""
        steps = self.bridges[span].set_index("step")["amount_cents"]
        return int(steps[results.RESULT])

    def figure(self, name: str, scope: str, value: float | str | None) -> Figure:
        """A quantity of the study for a page's list of figures; dollars an hour are handed over in cents."""
        whole = value if isinstance(value, str) or value is None else None if math.isnan(value) else nearest_cent(value)
        return Figure(name, scope, self.as_of.isoformat(), whole)

    def month_so_far(self) -> Window:
        """The report's month, up to the last day known."""
        first, last = self.window(months=1)
        return first, min(last, self.as_of)

    def year_so_far(self) -> Window:
        """From the first of January to the end of the report's month, or to the last day known."""
        last = self.month_so_far()[1]
        return dt.date(last.year, 1, 1), last

    def _shop_spans(self, basis: str) -> pd.DataFrame:
        month = pd.Period(self.month, "M")
        spans = {
            "this month": self.window(months=1),
            "a month ago": self.window(str(month - 1), months=1),
            "a year ago": self.window(str(month - 12), months=1),
            "the window": self.window(),
        }
        asked: dict[str, Any] = {"basis": basis, "target": self.target, "settings": self._settings}
        rows = [returns.shop_return(self.items, window=span, **asked).assign(span=name) for name, span in spans.items()]
        return pd.concat(rows, ignore_index=True).set_index("span")

    @functools.cached_property
    def month_results(self) -> pd.DataFrame:
        """The latest thirteen months, sales and write-offs, a row each with its interval and its name."""
        last = pd.Period(self.month, "M")
        began = self.items["bought_on"].min().to_period("M")
        asked: dict[str, Any] = {"basis": "settled", "target": self.target, "settings": self._settings}
        rows = [
            returns.shop_return(self.items, window=self.window(str(month), months=1), **asked).assign(
                month=month.strftime("%B %Y")
            )
            for month in pd.period_range(max(last - 12, min(began, last)), last, freq="M")
        ]
        return pd.concat(rows, ignore_index=True)

    @functools.cached_property
    def year_gap(self) -> returns.HourlyGap:
        """What an hour of this year so far made more than one of the same months of last year."""
        return self._year_against_last("settled")

    @functools.cached_property
    def year_gap_of_sales(self) -> returns.HourlyGap:
        """The same of the sales alone: what is written off can begin late in the life of a shop."""
        return self._year_against_last("sold")

    def _year_against_last(self, basis: str) -> returns.HourlyGap:
        first, last = self.year_so_far()
        day = returns.settled_on(self.items) if basis == "settled" else self.items["sold_on"]
        same = (day.dt.month < last.month) | ((day.dt.month == last.month) & (day.dt.day <= last.day))
        year = day.dt.year.where(same & day.notna()).astype("Int64").astype("string").fillna("").astype(object)
        return returns.hourly_difference(
            self.items.assign(year=year),
            window=(first.replace(year=first.year - 1), last),
            basis=basis,
            by="year",
            first=[str(last.year)],
            second=[str(last.year - 1)],
            settings=self._settings,
        )

    @functools.cached_property
    def size_returns(self) -> pd.DataFrame:
        """The size classes side by side over the window."""
        return sizes.by_size(self.items, window=self.window(), target=self.target, settings=self._settings)

    @functools.cached_property
    def size_bought(self) -> pd.DataFrame:
        """The same over what was bought in the window, unsold things with what they may still bring."""
        return sizes.by_size(
            self.planned_items,
            window=self.window(),
            basis="bought",
            horizon=self.horizon,
            target=self.target,
            settings=self._settings,
        )

    @functools.cached_property
    def size_gaps(self) -> dict[str, returns.HourlyGap]:
        """What an hour on bulky things earns more than one on small ones, on each basis."""
        pair: dict[str, Any] = {"by": "size_class", "first": ["bulky"], "second": ["small"], "horizon": self.horizon}
        return {
            basis: returns.hourly_difference(
                self.planned_items, window=self.window(), basis=basis, **pair, settings=self._settings
            )
            for basis in ("bought", "sold")
        }

    @functools.cached_property
    def price_bands(self) -> pd.DataFrame:
        """The size classes within equal price bands over the window's sales, by the price that each brought."""
        return sizes.within_price_bands(
            self.items, window=self.window(), edges_cents=self._edges, target=self.target, settings=self._settings
        )

    @functools.cached_property
    def bought_bands(self) -> pd.DataFrame:
        """The same over what was bought in the window, unsold things too, by what like things sell for."""
        typical = pd.Series(self.selling[1].cents, index=self.items.index).fillna(self.items["sold_price_cents"])
        of_kind = typical.groupby(self.items["category"]).transform("median")
        return sizes.bought_price_bands(
            self.planned_items,
            typical.fillna(of_kind).fillna(0),
            window=self.window(),
            edges_cents=self._edges,
            settings=self._settings,
            horizon=self.horizon,
            target=self.target,
        )

    @property
    def _edges(self) -> list[int]:
        """Edges of price bands that hold about equally many sales."""
        return sizes.price_bands(
            self.sold_items()["sold_price_cents"], bands=self.assumptions.whole("report.price_bands")
        )

    @functools.cached_property
    def break_even(self) -> BreakEven:
        """The sold price from which an hour on bulky things earns more than one on small ones."""
        return break_even_price(self.items, window=self.window(), settings=self._settings)

    @functools.cached_property
    def selling(self) -> tuple[SellingModel, Typical]:
        """The chance of a sale by price and week, and each item's typical price, as the books teach them."""
        return shop_model(self)

    @functools.cached_property
    def knowledge(self) -> dict[str, Any]:
        """What the books know about buying, as ``flipkit buy`` reads it."""
        return shop_knowledge(self, self.selling)

    @functools.cached_property
    def stock_plans(self) -> StockPlans:
        """The stock as it is to be priced from here, for the plan and for what haste costs."""
        return stock_plans(self.items, self.books.price_changes, *self.selling, self.knowledge, as_of=self.as_of)

    @functools.cached_property
    def price_plan(self) -> pd.DataFrame:
        """For each thing in stock: what to ask, which offer to take, when to mark down and to give up."""
        return self.stock_plans.plan()

    @functools.cached_property
    def given_up(self) -> frozenset[str]:
        """What the plan gives up now; nothing where the sales are too few for a plan."""
        if self.giving is not None:
            return self.giving
        if int(self.items["sold_on"].notna().sum()) < self.assumptions.whole("report.too_few_items"):
            return frozenset()
        plan = self.price_plan
        return frozenset(plan.loc[plan["action"] == "give up", "item_id"])

    @functools.cached_property
    def planned_items(self) -> pd.DataFrame:
        """The items, with what the plan gives up: that brings its salvage and takes no more work."""
        return self.items.assign(given_up=self.items["item_id"].isin(self.given_up))

    @functools.cached_property
    def patience(self) -> pd.DataFrame:
        """What each thing in stock brings if it is to be sold within so many weeks, and priced as before."""
        return self.stock_plans.patience()

    def sold_items(self, category: str | None = None, *, month: str | None = None) -> pd.DataFrame:
        """The items sold in the window, or in one month."""
        span = self.window(month, months=1) if month else self.window()
        found = in_window(self.items, window=span, basis="sold")
        return found if category is None else found[found["category"] == category]

    def month_items(self) -> pd.DataFrame:
        """What sold and what was written off in the report's month."""
        return in_window(self.items, window=self.window(months=1), basis="settled")

    def unsold_items(self, category: str | None = None) -> pd.DataFrame:
        """What is still in stock on the report's day."""
        found = self.items[self.items["status"].isin(["for sale", "not listed", "returned"])]
        return found if category is None else found[found["category"] == category]

    def item(self, item_id: str) -> ItemTrace:
        """One item traced: each line of its money and its work, with where it comes from."""
        return item_trace(self.economics, self.books, self.rules, self.assumptions, item_id)

    def waiting(self, category: str) -> pd.DataFrame:
        """Share of a category's listed items still unsold after each number of days."""
        listed = self._listed(category)
        return survival.survival_table(
            listed["days_listed"], listed["sold_on"].notna(), confidence=self.confidence, trip=listed["trip_id"]
        )

    def median_days(self, category: str) -> float:
        """Days by which half of a category's listed items have sold."""
        listed = self._listed(category)
        return survival.days_to_sale(listed["days_listed"], listed["sold_on"].notna()).days

    def prepare(self) -> Study:
        """Compute what notebooks share, so that it is computed once."""
        for name in (
            "sold_returns",
            "bought_returns",
            "shop_bought",
            "shop_results",
            "shop_sales",
            "months",
            "month_results",
            "year_gap",
            "size_returns",
            "size_bought",
            "size_gaps",
            "price_bands",
            "bought_bands",
            "break_even",
            "selling",
            "knowledge",
            "price_plan",
            "patience",
            "decisions",
            "biggest_changes",
        ):
            getattr(self, name)
        # Plan and patience are known now; what they were computed from is large.
        self.__dict__.pop("stock_plans", None)
        return self

    def keep(self, folder: Path) -> None:
        """Leave the study where notebooks that open the same one find it."""
        _require_private(folder)
        Path(folder, f"{self.key}.pickle").write_bytes(pickle.dumps(self.prepare()))

    def _listed(self, category: str) -> pd.DataFrame:
        return self.items[(self.items["category"] == category) & self.items["days_listed"].notna()]

    @property
    def _settings(self) -> IntervalSettings:
        return interval_settings(self.assumptions)


def _supplies_told(used: SuppliesUsed | None, currency: str) -> list[str]:
    """What was paid for supplies beside what the parcels were charged for materials."""
    if used is None or used.since is None:
        return []

    def shown(cents: int) -> str:
        return show_cents(cents, currency=currency)

    told = (
        f"Since {used.since.day} {used.since:%b %Y} you bought packing supplies for {shown(used.bought_cents)}. "
        f"The parcels that you shipped since then were charged {shown(used.charged_cents)}."
    )
    apart = used.bought_cents - used.charged_cents
    if apart > 0:
        told += f" The other {shown(apart)} is still on the shelf, or no parcel was charged for it."
    elif apart < 0:
        told += f" That is {shown(-apart)} more than you bought."
    if np.isfinite(used.seen) and not 1 / MOST_TAUGHT <= used.seen <= MOST_TAUGHT:
        told += (
            f" Your purchases came to {used.seen:.2f} times the assumed materials. Look whether all parcels and all "
            "purchases are in the books."
        )
    if np.isfinite(used.seen):
        told += (
            f" Materials that you did not record count {used.used:.2f} times the assumed amount, as far as your "
            "purchases teach."
        )
    return [told]


def _untaxed_told(economics: Economics) -> list[str]:
    """That fees were computed on a base without the buyer's tax."""
    if not economics.untaxed:
        return []
    return [
        f"Marketplace fees of {' and '.join(economics.untaxed_venues)} are also taken of the sales tax that the buyer "
        f"pays. The books give no tax for {economics.untaxed:,} of these sales, so their fees are computed without it "
        "and are a little too low. Write the tax in the column tax_paid of items.csv, or the usual rate as "
        "fees.buyer_tax in assumptions.toml."
    ]


# A study opened: from books, month, day and settings to the numbers, or to those already computed.
#
# A run of many notebooks computes the study once and leaves it in the folder that the environment variable
# ``FLIPKIT_STUDIES`` names; each notebook then finds it there by the digest of everything that it depends on. What
# is unpickled can run as a program, so the folder must be one that nobody else can write.

#: Environment variable that names a folder of studies already computed.
STUDIES = "FLIPKIT_STUDIES"


def open_study(
    books: str | Path = "",
    *,
    month: str = "",
    as_of: str | dt.date = "",
    settings: str | Mapping[str, object] = "",
) -> Study:
    """The study of a shop's books, computed or found ready.

    Parameters
    ----------
    books : str or Path
        Folder of CSV files or a workbook; empty: the demo shop.
    month : str
        Month of the report, such as ``2026-10``; empty: the latest full month.
    as_of : str or date
        The last day that is known; empty: the last day that the books record.
    settings : str or mapping
        This run's assumptions: ``help.wage=18; hour.target=25``, or the name of a saved file such as
        ``assumptions-2026-11-25.toml``, which lies beside the books.

    Returns
    -------
    Study
        The numbers.

    Raises
    ------
    BooksError
        If the books have problems that must be mended first.
    AssumptionError
        If a setting, the month or the day cannot be used.
    PackError
        If the folder of studies already computed is open to others.
    """
    if os.environ.get(STUDIES) and month and as_of:
        # What is asked for in full is named by the files alone: the books need not be read to find it.
        path = Path(books) if str(books) else demo_folder()
        with suppress(OSError):
            if kept := _kept(_digest(book_hashes(path), _overrides(settings, path), _day(as_of), month)):
                return kept
    asked = asked_study(books, month=month, as_of=as_of, settings=settings)
    if kept := _kept(asked.key):
        return kept
    read, day = asked.books, asked.as_of
    rules = load_rules(read.rules_folder).lasts()
    assumptions = load_assumptions(read.assumptions_file, overrides=asked.overrides, currency=read.shop.currency)
    economics = item_economics(read, rules, assumptions, day)
    return Study(read, rules, assumptions, day, asked.month, economics, asked.key)


def _kept(key: str) -> Study | None:
    """The study of a key, where a run left it: loaded already for the first who asks."""
    folder = os.environ.get(STUDIES)
    if not folder or not (file := Path(folder, f"{key}.pickle")).is_file():
        return None
    return _LOADED.pop(file, None) or _loaded(file)


def _loaded(file: Path) -> Study:
    _require_private(file.parent)
    found: Study = pickle.loads(file.read_bytes())  # noqa: S301 - our own file, in a folder of our own
    return found


#: Studies that a process has loaded for those forked from it.
_LOADED: dict[Path, Study] = {}


def load_kept() -> None:
    """Load what a run has kept, once for all the processes that are forked from this one."""
    folder = os.environ.get(STUDIES)
    _LOADED.update({file: _loaded(file) for file in Path(folder).glob("*.pickle")} if folder else {})


@dataclass(frozen=True, eq=False)
class AskedStudy:
    """What a study is to be of, before anything is computed."""

    books: Books
    as_of: dt.date
    month: str
    overrides: Mapping[str, object]
    #: Names the study by everything that it depends on.
    key: str


def asked_study(
    books: str | Path = "", *, month: str = "", as_of: str | dt.date = "", settings: str | Mapping[str, object] = ""
) -> AskedStudy:
    """The books read, and the day, the month and the settings of the study that is asked for."""
    path = Path(books) if str(books) else demo_folder()
    today = dt.date.today()
    read = read_books(path, as_of=today)
    overrides = _overrides(settings, path)
    day = _day(as_of) if as_of else last_recorded_day(read, until=today)
    first = read.items["bought_on"].min()
    if pd.isna(first) or first.date() > day:
        if pd.isna(first):
            raise NotEnoughDataError(
                "the number of things in items", need="at least 1", got=0, mend="write down what you bought first"
            )
        raise AssumptionError(
            "as_of", need=f"a day on or after {first.date().isoformat()}, when the books begin", got=day.isoformat()
        )
    # Books that began this month have no full one yet: the month that runs is reported.
    chosen = month or max(latest_full_month(day), f"{first:%Y-%m}")
    _require_month(chosen, first.date(), day, asked=bool(month))
    return AskedStudy(read, day, chosen, overrides, _digest(read.hashes, overrides, day, chosen))


def latest_full_month(day: dt.date) -> str:
    """The latest month that has ended by a day.

    >>> latest_full_month(dt.date(2026, 11, 14)), latest_full_month(dt.date(2026, 10, 31))
    ('2026-10', '2026-10')
    """
    tomorrow = day + dt.timedelta(days=1)
    return str(pd.Period(tomorrow, "M") - 1)


def _overrides(settings: str | Mapping[str, object], books: Path) -> Mapping[str, object]:
    """Settings as written, or those of a file in the working folder or beside the books."""
    if not isinstance(settings, str):
        return dict(settings)
    if not settings.strip().endswith(".toml"):
        return parsed_settings(settings)
    return settings_in(Path(settings.strip()), books=books)


def _day(text: str | dt.date) -> dt.date:
    if isinstance(text, dt.date):
        return text
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise AssumptionError("as_of", need="a day such as 2026-11-14", got=text) from None


def _require_month(month: str, begun: dt.date, day: dt.date, *, asked: bool) -> None:
    try:
        first = dt.date.fromisoformat(f"{month}-01")
    except ValueError:
        raise AssumptionError("month", need="a month such as 2026-10", got=month) from None
    if first > day:
        raise AssumptionError("month", need=f"a month that has begun by {day.isoformat()}", got=month)
    if asked and month < f"{begun:%Y-%m}":
        raise AssumptionError("month", need=f"{begun:%Y-%m} or later, since the books begin then", got=month)


def _require_private(folder: Path) -> None:
    """Refuse a folder of studies that is not the user's own or that others may enter."""
    if os.name == "nt":  # modes say nothing there, and temporary folders are each user's own
        return
    seen = folder.stat()
    mode = stat.S_IMODE(seen.st_mode)
    if seen.st_uid != os.getuid() or mode & 0o077:
        raise PackError(
            STUDIES,
            need="a folder of your own that nobody else may enter (mode 0700)",
            got=f"{folder}, mode {mode:04o}, owner {seen.st_uid}",
        )


def _digest(hashes: Mapping[str, str], overrides: Mapping[str, object], day: dt.date, month: str) -> str:
    """Names the study by everything that it depends on: books with their rules and assumptions, settings, the kit."""
    settings = {key: str(value) for key, value in overrides.items()}
    said = json.dumps([_code_digest(), hashes, settings, day.isoformat(), month], sort_keys=True)
    return hashlib.sha256(said.encode()).hexdigest()


@functools.cache
def _code_digest() -> str:
    """Digest of the package's code, templates, packaged rules and assumptions, and of the libraries that pickle."""
    root = Path(__file__).resolve().parents[1]
    known = hashlib.sha256(f"{sys.version} {np.__version__} {pd.__version__}".encode())
    for path in sorted(root.rglob("*")):
        if (
            path.suffix in (".py", ".toml", ".csv", ".json", ".js", ".css", ".j2")
            and "shipped" not in path.relative_to(root).parts
        ):
            body = path.read_bytes()
            known.update(f"{path.relative_to(root).as_posix()} {len(body)}\n".encode() + body)
    return known.hexdigest()


def stock_gain(study: Study) -> float:
    """What the plan for the stock is worth beside going on as now, work, room and money counted. [cents]"""
    if study.patience.empty:
        return 0.0
    worth = study.patience.groupby("way")["worth_cents"].sum()
    return float(worth[PLANNED] - worth[AS_NOW]) if {PLANNED, AS_NOW} <= set(worth.index) else 0.0


def help_paid(study: Study) -> tuple[float, int]:
    """What an hour of help was paid and the payroll taxes on it, by the log, or as assumed where that stands in."""
    assumed = study.assumptions.cents("help.wage"), study.assumptions.ppm("help.burden")
    hired = study.books.people[study.books.people["role"] == "hired"].set_index("worker")
    logged = study.books.work[study.books.work["worker"].isin(hired.index)]
    minutes = logged.groupby("worker")["minutes"].sum()
    if not minutes.sum() > 0:
        return assumed[0] / 100, assumed[1]
    alike = study.assumptions.text("suppose.wage_for") == EVERYBODY
    wages, taxes = (
        hired.loc[minutes.index, name].fillna(default).to_numpy(dtype=np.float64)
        for name, default in zip(("wage_cents", "payroll_burden_ppm"), assumed, strict=True)
    )
    paid = minutes.to_numpy() * (np.full(wages.size, assumed[0]) if alike else wages)
    burden = float(np.average(taxes, weights=paid)) if paid.any() else assumed[1]
    return round(float(paid.sum() / minutes.sum())) / 100, round(burden)


def currency_unit(study: Study) -> str:
    """What stands for money in a heading."""
    return show_cents(0, currency=study.currency).rstrip("0. ").strip()
