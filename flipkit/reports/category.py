"""One category: does it pay, what to pay for it, and what to do with its stock."""

from __future__ import annotations

import functools
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from flipkit.analysis.decisions import LEAVE, Decision
from flipkit.analysis.returns import TOO_FEW
from flipkit.books.write import csv_text
from flipkit.charts.returns import plot_minutes, plot_waterfall
from flipkit.charts.stock import plot_days_listed
from flipkit.charts.style import hourly, money
from flipkit.errors import AssumptionError, count_of
from flipkit.reports.buy import Buy, chance_words, decision_figures
from flipkit.reports.elements import (
    EMPTY,
    Element,
    Said,
    activity_minutes,
    headline,
    item_rows,
    line_sums,
    table,
    to_do,
)
from flipkit.reports.sentences import (
    day_words,
    doubts,
    money_per_hour,
    of_category,
    past_words,
    span_name,
    stock_figures,
    trace_sentence,
)
from flipkit.reports.stock import Stock
from flipkit.reports.study import Study
from flipkit.reports.tables import cautions

#: Sales that the page shows; a table of all weighed more than the rest of the page.
_LATEST: Final = 12


@dataclass(frozen=True, eq=False)
class Category:
    """The page of one category."""

    study: Study
    name: str

    def answer(self) -> Element:
        """The verdict with its threshold, and the chance behind it."""
        one = self.decision
        unsold = self.study.unsold_items(self.name)
        figures = [*decision_figures(self.study, one), *stock_figures(self.study, of_category(self.name), unsold)]
        known = [chance_words(self.study, one), self._sure(), self._usual()] if one.verdict != TOO_FEW else []
        note = " ".join(filter(None, [*known, one.note, self._half_sold(), *doubts(self.study)]))
        return headline(Said(self.verdict(), figures), note=note)

    def verdict(self) -> str:
        """The verdict in one sentence."""
        one, name = self.decision, self.name[:1].upper() + self.name[1:]
        if one.verdict in (LEAVE, TOO_FEW):
            return f"{name}: {one.sentence[:1].lower()}{one.sentence[1:]}"
        return f"{name}: {one.verdict}. {one.sentence}"

    def to_do(self) -> Element:
        """What to give it next month, and what to do with its stock."""
        one = self.decision
        lines = [f"Give it about {count_of(round(one.hours), 'hour')} next month."] if one.hours >= 0.5 else []
        lines += [Stock(self.study).counted(self.name)] if len(self.study.unsold_items(self.name)) else []
        return to_do(lines)

    def picture(self) -> Any:
        """From the price of a sale to what is left of it."""
        sold = self.study.sold_items(self.name)
        lines = line_sums(sold)
        lines = lines.assign(amount_cents=lines["per_item_cents"].fillna(0).astype(np.int64))
        first, last = (f"{day:%B %Y}" for day in self.study.window())
        nothing = f"No {self.name} sold from {first} to {last}: there is no price to follow."
        chart = plot_waterfall(lines, currency=self.study.currency, nothing=nothing, ends="per sale")
        if sold.empty:
            return chart
        paid = (sold["sold_price_cents"] + sold["shipping_charged_cents"]).mean()
        paid, left = (money(cents, currency=self.study.currency) for cents in (paid, lines["amount_cents"].iloc[-1]))
        most = lines.iloc[:-1].sort_values("amount_cents")["line"].iloc[0]
        end = f"{left} is left" if lines["amount_cents"].iloc[-1] >= 0 else f"{left.removeprefix('−')} is lost"
        title = f"Of the {paid} that a buyer pays, {end}: the largest part goes to {most}"
        subtitle = f"An average sale, shipping included: {count_of(len(sold), 'sale')}, {span_name(self.study)}."
        return chart.properties(title={"text": title, "subtitle": subtitle})

    def prices(self) -> Element:
        """The most to pay for each size, and a rule for any price."""
        return Buy(self.study).sheet(self.name)

    def stock(self) -> Element:
        """Everything in stock, with what to do."""
        return Stock(self.study).actions(self.name)

    def minutes_picture(self) -> Any:
        """Where the minutes go."""
        return plot_minutes(
            activity_minutes(self.study.sold_items(self.name)), source=f"Your books, {span_name(self.study)}"
        )

    def waiting_picture(self) -> Any:
        """How long they wait."""
        return plot_days_listed(self.study.waiting(self.name), median=self.study.median_days(self.name))

    def lines(self) -> Element:
        """Every line from the price to the net, and where it comes from."""
        sold = self.study.sold_items(self.name)
        if sold.empty:
            return EMPTY
        shares = dict.fromkeys(("recorded", "rule", "assumed"), lambda share: f"{share:.0%}")
        headings = {"line": "Line", "amount_cents": "In all", "per_item_cents": "Per sale", "recorded": "Recorded"}
        headings |= {"rule": "By a rule", "assumed": "Assumed"}
        return table(
            line_sums(sold),
            caption="From the price to what is left",
            headings=headings,
            formats=shares,
            note=trace_sentence(sold),
            currency=self.study.currency,
        )

    def sold(self) -> Element:
        """The latest sales; all of them stand in a CSV beside the pack."""
        rows = item_rows(self.study.sold_items(self.name))
        if rows.empty:
            return EMPTY
        caption = f"The latest sales, of {count_of(len(rows), 'sale')}, {span_name(self.study)}"
        back = np.where(rows["item_id"].isin(self.study.unsold_items()["item_id"]), ", came back", "")
        rows = rows.assign(item=rows["title"] + " (" + rows["item_id"] + back + ")").head(_LATEST)
        headings = {"item": "Item", "sold_on": "Sold on", "taken_cents": "Taken in", "costs_cents": "Costs"}
        headings |= {"net_cents": "Left"}
        note = "Taken in: the price, shipping charged and fees given back. Every sale stands in sold.csv of the pack."
        return table(rows, caption=caption, headings=headings, note=note, currency=self.study.currency)

    def cautions(self) -> Element:
        """What to beware of with these items."""
        return cautions(self.study.items[self.study.items["category"] == self.name])

    @functools.cached_property
    def decision(self) -> Decision:
        """The one decision on the category."""
        return self.study.decision(self.name)

    def _sure(self) -> str:
        """Which months the figures are of, and what one item contributes to them."""
        row = self.study.bought_returns.set_index("category").loc[self.name]
        said = {
            name: hourly(float(row[name]), currency=self.study.currency)
            for name in ("hourly", "without_best", "one_more")
            if np.isfinite(row[name])
        }
        # Rounded to the target, a figure beside it would contradict the verdict.
        if said.get("hourly") == hourly(self.study.target, currency=self.study.currency):
            said["hourly"] = money_per_hour(float(row["hourly"]), currency=self.study.currency)
        best = [f"without its best sale it would have made {said['without_best']}"] if "without_best" in said else []
        best += [f"with a second sale like that, {said['one_more']}"] if "one_more" in said else []
        told = "; ".join(best)
        known = (
            f"Unsold items counted, an hour made {said['hourly']} ({past_words(self.study)})."
            if "hourly" in said
            else ""
        )
        return " ".join(filter(None, [known, f"{told[:1].upper()}{told[1:]}." if told else ""]))

    def _usual(self) -> str:
        """How many of the bought sold, and what it usually sells for where the verdict does not say it."""
        sells = money(self.decision.typical_cents, currency=self.study.currency)
        bought = self.study.bought_returns.set_index("category").loc[self.name]
        sold = f"{int(bought['sold']):,} of {int(bought['items']):,} bought had sold by {day_words(self.study.as_of)}."
        return sold if sells in self.decision.sentence else f"They usually sell at {sells}. {sold}"

    def _half_sold(self) -> str:
        half = self.study.median_days(self.name)
        return (
            "Less than half of them have sold so far."
            if np.isnan(half)
            else f"Half of them sell within {half:,.0f} days."
        )


def page_names(categories: Sequence[str]) -> dict[str, str]:
    """A file name for each category, different for each however alike they are spelt."""
    names: dict[str, str] = {}
    for category in categories:
        stem = "category-" + (re.sub(r"[^a-z0-9]+", "-", category.lower()).strip("-")[:60] or "unnamed")
        name, again = stem, 2
        while name in names.values():
            name, again = f"{stem}-{again}", again + 1
        names[category] = name
    return names


def category_page(study: Study, name: str = "") -> Category:
    """The page of a category.

    Parameters
    ----------
    study : Study
        The numbers.
    name : str
        The category; empty: the first one in the books.

    Returns
    -------
    Category
        The page.
    """
    if name and name not in study.categories:
        raise AssumptionError("category", need=f"one of {', '.join(study.categories)}", got=name)
    return Category(study, name or study.categories[0])


def sold_csv(study: Study) -> str:
    """Every sale of the months looked back on, as a table for a spreadsheet."""
    sold = study.sold_items()
    rows = item_rows(sold).merge(sold[["item_id", "category"]], on="item_id", how="left")
    amounts = ("sold_price_cents", "taken_cents", "costs_cents", "net_cents")
    header = ["item_id", "title", "category", "sold_on", *(name.removesuffix("_cents") for name in amounts), "minutes"]
    columns = [rows["item_id"], rows["title"], rows["category"], rows["sold_on"].dt.strftime("%Y-%m-%d")]
    columns += [(rows[name] / 100).map("{:.2f}".format) for name in amounts]
    columns.append(rows["owner_min"].map("{:.0f}".format))
    return csv_text(header, list(zip(*columns, strict=True)))
