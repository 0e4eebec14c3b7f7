"""The numbers of one report: the books read, every item costed, every category weighed, once.

A notebook opens a study and shows parts of it. A run of many notebooks computes the study once
and leaves it in the folder that the environment variable ``FLIPKIT_STUDIES`` names; each
notebook then finds it there by the digest of everything that it depends on.
"""

from __future__ import annotations

import datetime as dt
import functools
import hashlib
import json
import os
import pickle
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

import flipkit.reports.tallies as tallies
from flipkit.analysis import hourly, sizes, survival
from flipkit.analysis.break_even import BreakEven, break_even_price
from flipkit.analysis.groups import Window, in_window
from flipkit.assumptions import Assumptions, load_assumptions
from flipkit.books.past import last_recorded_day
from flipkit.books.problems import Problem
from flipkit.books.read import Books, read_books
from flipkit.errors import AssumptionError
from flipkit.items.costs import Economics, item_economics
from flipkit.money import show_cents
from flipkit.places import demo_folder
from flipkit.rules.tables import Rules, load_rules

#: Environment variable that names a folder of studies already computed.
STUDIES = "FLIPKIT_STUDIES"


@dataclass(frozen=True, eq=False)
class Study:
    """Everything that the pages of one report show.

    Attributes
    ----------
    books : Books
        The seller's books.
    rules : Rules
        The rule tables, the books' own laid over the packaged ones.
    assumptions : Assumptions
        The assumptions of this run with their provenance.
    as_of : date
        The last day that is known.
    month : str
        The report's month, such as ``2026-10``.
    economics : Economics
        Every line of every item.
    key : str
        Digest of everything that the numbers depend on.
    """

    books: Books
    rules: Rules
    assumptions: Assumptions
    as_of: dt.date
    month: str
    economics: Economics
    key: str

    @property
    def items(self) -> pd.DataFrame:
        """One row an item, with every line of its economics."""
        return self.economics.items

    @property
    def currency(self) -> str:
        """Code of the shop's currency."""
        return self.books.shop.currency

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
        later = int((self.books.items["bought_on"].dt.date > self.as_of).sum())
        if later:
            found.append(f"{later:,} items bought after {self.as_of.isoformat()} are not in these figures.")
        if self.economics.labor.unplaced_min:
            found.append(f"{self.economics.labor.unplaced_min:,.0f} logged minutes fit no item and are left out.")
        if self.economics.unborne_cents:
            amount = show_cents(self.economics.unborne_cents, currency=self.currency)
            found.append(f"{amount} of overheads fell in months in which nothing was held; no item bears them.")
        return found

    @property
    def notes(self) -> tuple[Problem, ...]:
        """What the books' check noticed and what no item bears."""
        return self.books.notes

    def window(self, month: str | None = None, *, months: int | None = None) -> Window:
        """First and last day of the months up to a month.

        Parameters
        ----------
        month : str, optional
            The last month; the report's own where not given.
        months : int, optional
            How many; as the assumption ``report.window_months`` says where not given.

        Returns
        -------
        tuple of date
            First and last day, both included.
        """
        last = pd.Period(month or self.month, "M")
        first = last - ((months or self.assumptions.whole("report.window_months")) - 1)
        return first.start_time.date(), last.end_time.date()

    @functools.cached_property
    def sold_returns(self) -> pd.DataFrame:
        """True hourly return of each category over the items sold in the window."""
        return self._returns("sold")

    @functools.cached_property
    def bought_returns(self) -> pd.DataFrame:
        """The same over the items bought in the window, unsold ones at what they cost so far."""
        return self._returns("bought")

    @functools.cached_property
    def shop_returns(self) -> pd.DataFrame:
        """The whole shop: this month, a month ago, a year ago and the window, on sold basis."""
        month = pd.Period(self.month, "M")
        spans = {
            "this month": self.window(months=1),
            "a month ago": self.window(str(month - 1), months=1),
            "a year ago": self.window(str(month - 12), months=1),
            "the window": self.window(),
        }
        rows = [
            hourly.shop_return(self.items, window=span, target=self.target, **self._settings).assign(span=name)
            for name, span in spans.items()
        ]
        return pd.concat(rows, ignore_index=True).set_index("span")

    @functools.cached_property
    def months(self) -> pd.DataFrame:
        """Sales, net, owner hours and hourly return of each month up to the report's."""
        return tallies.by_month(self.items, last=self.month)

    @functools.cached_property
    def size_returns(self) -> pd.DataFrame:
        """The size classes side by side over the window."""
        return sizes.by_size(self.items, window=self.window(), target=self.target, **self._settings)

    @functools.cached_property
    def price_bands(self) -> pd.DataFrame:
        """The size classes within equal price bands over the window."""
        edges = sizes.price_bands(
            self.sold_items()["sold_price_cents"], bands=self.assumptions.whole("report.price_bands")
        )
        return sizes.within_price_bands(
            self.items, window=self.window(), edges_cents=edges, target=self.target, **self._settings
        )

    @functools.cached_property
    def break_even(self) -> BreakEven:
        """The sold price from which an hour on bulky things earns more than one on small ones."""
        return break_even_price(self.items, window=self.window(), **self._settings)

    def sold_items(self, category: str | None = None, *, month: str | None = None) -> pd.DataFrame:
        """The items sold in the window, or in one month.

        Parameters
        ----------
        category : str, optional
            Only this category.
        month : str, optional
            Only this month, not the whole window.

        Returns
        -------
        DataFrame
            Their rows.
        """
        span = self.window(month, months=1) if month else self.window()
        found = in_window(self.items, window=span, basis="sold")
        return found if category is None else found[found["category"] == category]

    def unsold_items(self, category: str | None = None) -> pd.DataFrame:
        """What is still in stock on the report's day.

        Parameters
        ----------
        category : str, optional
            Only this category.

        Returns
        -------
        DataFrame
            Rows of items for sale, not listed yet, or back from a buyer.
        """
        found = self.items[self.items["status"].isin(["for sale", "not listed", "returned"])]
        return found if category is None else found[found["category"] == category]

    def waiting(self, category: str) -> pd.DataFrame:
        """Share of a category's listed items still unsold after each number of days.

        Parameters
        ----------
        category : str
            The category.

        Returns
        -------
        DataFrame
            As ``survival_table`` gives it; no row where nothing was ever listed.
        """
        listed = self._listed(category)
        return survival.survival_table(listed["days_listed"], listed["sold_on"].notna(), confidence=self.confidence)

    def median_days(self, category: str) -> float:
        """Days by which half of a category's listed items have sold.

        Parameters
        ----------
        category : str
            The category.

        Returns
        -------
        float
            The median; NaN where it is not reached. [days]
        """
        listed = self._listed(category)
        return survival.days_to_sale(listed["days_listed"], listed["sold_on"].notna()).days

    def prepare(self) -> Study:
        """Compute what notebooks share, so that it is computed once.

        Returns
        -------
        Study
            The study itself.
        """
        for name in (
            "sold_returns",
            "bought_returns",
            "shop_returns",
            "months",
            "size_returns",
            "price_bands",
            "break_even",
        ):
            getattr(self, name)
        return self

    def keep(self, folder: Path) -> None:
        """Leave the study where notebooks that open the same one find it.

        Parameters
        ----------
        folder : Path
            The folder that ``FLIPKIT_STUDIES`` will name.
        """
        Path(folder, f"{self.key}.pickle").write_bytes(pickle.dumps(self.prepare()))

    def _listed(self, category: str) -> pd.DataFrame:
        return self.items[(self.items["category"] == category) & self.items["days_listed"].notna()]

    @property
    def _settings(self) -> dict[str, Any]:
        return {
            "confidence": self.assumptions.share("report.confidence"),
            "resamples": self.assumptions.whole("report.resamples"),
            "seed": self.assumptions.whole("report.seed"),
            "too_few": self.assumptions.whole("report.too_few_items"),
        }

    def _returns(self, basis: str) -> pd.DataFrame:
        return hourly.category_returns(
            self.items, window=self.window(), basis=basis, target=self.target, **self._settings
        )


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
        This run's assumptions: ``help.wage=18; hour.target=25``.

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
    """
    path = Path(books) if str(books) else demo_folder()
    read = read_books(path)
    overrides = parsed_settings(settings) if isinstance(settings, str) else dict(settings)
    day = _day(as_of) if as_of else last_recorded_day(read)
    chosen = month or latest_full_month(day)
    _require_month(chosen, day)
    key = _digest(read, overrides, day, chosen)
    folder = os.environ.get(STUDIES)
    if folder and (kept := Path(folder, f"{key}.pickle")).is_file():
        with kept.open("rb") as file:
            found: Study = pickle.load(file)  # noqa: S301 - our own file, named by its digest
        return found
    rules = load_rules(read.rules_folder)
    assumptions = load_assumptions(read.assumptions_file, overrides=overrides, currency=read.shop.currency)
    return Study(read, rules, assumptions, day, chosen, item_economics(read, rules, assumptions, day), key)


def latest_full_month(day: dt.date) -> str:
    """The latest month that has ended by a day.

    Parameters
    ----------
    day : date
        The day, counted as over.

    Returns
    -------
    str
        Such as ``2026-10``.

    Examples
    --------
    >>> latest_full_month(dt.date(2026, 11, 14)), latest_full_month(dt.date(2026, 10, 31))
    ('2026-10', '2026-10')
    """
    tomorrow = day + dt.timedelta(days=1)
    return str(pd.Period(tomorrow, "M") - 1)


def parsed_settings(text: str) -> dict[str, str]:
    """Assumptions written as ``KEY=VALUE`` with semicolons between them.

    Parameters
    ----------
    text : str
        The settings.

    Returns
    -------
    dict of str to str
        Key to value.

    Raises
    ------
    AssumptionError
        If a part has no equals sign.

    Examples
    --------
    >>> parsed_settings("help.wage=18; hour.target = 25.00")
    {'help.wage': '18', 'hour.target': '25.00'}
    """
    found = {}
    for part in filter(None, (part.strip() for part in text.split(";"))):
        key, equals, value = part.partition("=")
        if not equals:
            raise AssumptionError("setting", need="KEY=VALUE", got=part)
        found[key.strip()] = value.strip()
    return found


def _day(text: str | dt.date) -> dt.date:
    if isinstance(text, dt.date):
        return text
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise AssumptionError("as_of", need="a day such as 2026-11-14", got=text) from None


def _require_month(month: str, day: dt.date) -> None:
    try:
        first = dt.date.fromisoformat(f"{month}-01")
    except ValueError:
        raise AssumptionError("month", need="a month such as 2026-10", got=month) from None
    if first > day:
        raise AssumptionError("month", need=f"a month that has begun by {day.isoformat()}", got=month)


def _digest(books: Books, overrides: Mapping[str, object], day: dt.date, month: str) -> str:
    """Names the study by everything that it depends on."""
    said = json.dumps([books.hashes, {k: str(v) for k, v in overrides.items()}, day.isoformat(), month], sort_keys=True)
    own = [path for path in (books.assumptions_file, *_rule_files(books)) if path is not None]
    return hashlib.sha256(b"".join([said.encode(), *(path.read_bytes() for path in own)])).hexdigest()


def _rule_files(books: Books) -> list[Path]:
    return sorted(path for path in books.rules_folder.rglob("*") if path.is_file()) if books.rules_folder else []
