"""The track record: what this run forecasts, and how earlier forecasts came out."""

from __future__ import annotations

import datetime as dt
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from flipkit.analysis.forecasts import (
    CHANCES,
    Fault,
    category_forecasts,
    category_outcomes,
    faults,
    forecast_table,
    item_outcomes,
    kept_forecasts,
    return_forecasts,
    score_table,
    scored,
    stock_forecasts,
)
from flipkit.analysis.forecasts import WHAT as CATEGORY_HOURLY
from flipkit.analysis.results import by_month
from flipkit.analysis.returns import ONE_DECIDES, TOO_FEW
from flipkit.errors import count_of
from flipkit.money import show_cents
from flipkit.reports import elements
from flipkit.reports.elements import EMPTY, Element
from flipkit.reports.sentences import day_words, few_sales_sentence, money_per_hour, month_name
from flipkit.reports.study import STUDIES, Study
from flipkit.reports.tables import words

_MONEY = ("sold price", "month net")
#: What is forecast, in a reader's words.
_SAID: Final = {
    "category hourly": "an hour on each category's sales",
    "month hourly": "an hour on the month's sales",
    "month net": "net of the month's sales",
    "sale": "items selling",
    "sold price": "price if it sells",
}
#: What the forecasts of a month's net and hour leave out.
_SALES_ALONE: Final = (
    "An hour and a net are of what sells in that month alone: what stays unsold or is written off is not counted. So "
    "they are higher than a month's result, and a category to leave can stand high."
)


@dataclass(frozen=True)
class TrackRecord:
    """Forecasts and what became of them."""

    scores: pd.DataFrame
    waiting: int
    new: pd.DataFrame
    why_none: str
    too_few: int
    currency: str
    lately: str = ""
    one_decides: tuple[str, ...] = ()

    def sentence(self) -> str:
        """How the earlier forecasts came out."""
        known = self.scores[self.scores["outcome"].notna()] if len(self.scores) else self.scores
        if known.empty:
            waits = f" ({self.waiting:,} wait for their day)" if self.waiting else ""
            return f"No forecast is old enough to score yet{waits}."
        parts = []
        sales = known[known["what"].isin(CHANCES)]
        if len(sales):
            parts.append(
                f"of {count_of(len(sales), 'item')} on sale {sales['chance'].sum():,.0f} were forecast to sell and "
                f"{sales['outcome'].sum():,.0f} did"
            )
        inside = known[known["inside"].notna()]
        if len(inside) >= self.too_few:
            parts.append(f"{inside['inside'].mean():.0%} of {len(inside):,} ranges held what happened")
        text = ", and ".join(parts) or f"{count_of(len(known), 'forecast')} scored, {TOO_FEW}"
        return f"{text[:1].upper()}{text[1:]}."

    def note(self) -> str:
        """What this run forecasts."""
        if self.new.empty:
            return self.why_none
        due = day_words(self.new["due_on"].max())
        chances = self.new[self.new["what"].isin(CHANCES)]
        text = f"Said today: {count_of(len(self.new), 'forecast')} for {due}"
        if len(chances):
            text += f", {chances['chance'].sum():,.0f} of {len(chances):,} items selling by then"
        return f"{text}."

    def coverage(self) -> pd.DataFrame:
        """Share of the intervals of each kind that held what happened: ``name``, ``share``, ``error``."""
        rows = []
        held = self.scores[self.scores["inside"].notna()] if len(self.scores) else self.scores
        for what, part in held.groupby("what", sort=True) if len(held) else ():
            share, count = float(part["inside"].mean()), len(part)
            if count >= self.too_few:
                # Agresti and Coull's two more of each, so that none or all of a few is not called sure.
                middle = (share * count + 2) / (count + 4)
                rows.append(
                    {"name": str(what), "share": share, "error": float(np.sqrt(middle * (1 - middle) / (count + 4)))}
                )
        return pd.DataFrame(rows, columns=["name", "share", "error"])

    def table(self) -> Element:
        """The scores of each kind of forecast."""
        if not len(self.scores):
            return EMPTY
        return self._table(score_table(self.scores), {"what": "Forecast"}, "Scores")

    def faults(self) -> Element:
        """Which kinds of forecasts are off by more than luck explains."""
        found = faults(self.scores, too_few=self.too_few)
        if not found:
            scored_ones = int(self.scores["outcome"].notna().sum()) if len(self.scores) else 0
            if not scored_ones:
                return EMPTY
            if scored_ones < self.too_few:
                return words(f"{TOO_FEW.capitalize()}, so far: no kind of forecast is judged by so few.")
            return words("No kind of forecast is off by more than luck explains.")
        return elements.caution(" ".join(self._fault(one) for one in found), title="Off by more than luck")

    def _fault(self, one: Fault) -> str:
        if one.fault in ("too narrow", "too wide"):
            return (
                f"The intervals of {one.what} are {one.fault}: {one.happened:.0%} of {one.scored:,} held what "
                f"happened, where {one.said:.0%} are meant to."
            )
        said, happened = self._amount(one.what, one.said), self._amount(one.what, one.happened)
        if one.what in CHANCES:
            said, happened = f"{one.said:.1%}", f"{one.happened:.1%}"
        return f"Forecasts of {one.what} are {one.fault}: {said} said on average, {happened} came, of {one.scored:,}."

    def category_table(self) -> Element:
        """The bias of the forecasts of sales in each category."""
        known = self.scores[self.scores["category"] != ""] if len(self.scores) else self.scores
        if not len(known):
            return EMPTY
        table = score_table(known, by="category")
        return self._table(table, {"what": "Forecast", "category": "Category"}, "Bias by category")

    def new_table(self) -> Element:
        """What this run forecasts, counted."""
        if self.new.empty:
            return words(self.why_none)
        rows = [
            {
                "what": _SAID.get(str(what), str(what)),
                "count": len(part),
                "said": self._said(str(what), part),
            }
            for what, part in self.new.groupby("what", sort=True)
        ]
        headings = {"what": "Forecast", "count": "How many", "said": "Said"}
        caption = f"Forecasts of this run, known on {day_words(self.new['due_on'].max())}{self._so_far()}"
        note = " ".join(filter(None, (_SALES_ALONE, self._one_find(), self.lately)))
        return elements.table(pd.DataFrame(rows), caption=caption, headings=headings, note=note)

    def _one_find(self) -> str:
        """Where one dear find carries what is forecast, by the rule of the returns."""
        if not self.one_decides:
            return ""
        return (
            f"{ONE_DECIDES.capitalize()} in {', '.join(self.one_decides)}: a single expensive sale there can carry the "
            "hour and the month, and a month without one brings less than expected."
        )

    def _so_far(self) -> str:
        """Where the month has begun: that the returns of what it sold by now are known."""
        due = self.new["due_on"].max().date()
        return (
            f", using its sales to {day_words(self.new['made_on'].max())}"
            if self.new["made_on"].max().date() >= due.replace(day=1)
            else ""
        )

    def hourly_table(self) -> Element:
        """What this run forecasts of each category's hour."""
        new = self.new[self.new["what"] == CATEGORY_HOURLY] if len(self.new) else self.new
        if new.empty:
            return EMPTY
        shown = pd.DataFrame(
            {
                "category": new["subject"],
                "expected": [self._amount(CATEGORY_HOURLY, float(one)) for one in new["middle"]],
                "between": [
                    f"{self._amount(CATEGORY_HOURLY, low)} to {self._amount(CATEGORY_HOURLY, high)}"
                    + (f", {ONE_DECIDES}" if name in self.one_decides else "")
                    for name, low, high in zip(new["subject"], new["low"], new["high"], strict=True)
                ],
            }
        )
        due = new["due_on"].max().date()
        caption = f"An hour on sold items alone, of the month that ends on {day_words(due)}{self._so_far()}"
        headings = {"category": "Category", "expected": "Expected", "between": f"{new['level'].mean():.0%} interval"}
        note = "No verdict rests on these: the verdicts count unsold items too."
        return elements.table(shown, caption=caption, headings=headings, note=note)

    def last_table(self) -> Element:
        """What was said of each category's hour the last time that such a forecast came due, and what came."""
        old = self.scores[self.scores["what"] == CATEGORY_HOURLY] if len(self.scores) else self.scores
        old = old[old["outcome"].notna()] if len(old) else old
        if not len(old):
            return EMPTY
        old = old[old["due_on"] == old["due_on"].max()].drop_duplicates("subject", keep="last")
        shown = pd.DataFrame(
            {
                "category": old["subject"],
                "said": [self._amount(CATEGORY_HOURLY, float(one)) for one in old["middle"]],
                "between": [
                    f"{self._amount(CATEGORY_HOURLY, low)} to {self._amount(CATEGORY_HOURLY, high)}"
                    for low, high in zip(old["low"], old["high"], strict=True)
                ],
                "came": [self._amount(CATEGORY_HOURLY, float(one)) for one in old["outcome"]],
                "held": np.where(old["inside"] == 1, "yes", "no"),
            }
        )
        caption = f"Each category's hour in the month that ended on {day_words(old['due_on'].max())}"
        headings = {"category": "Category", "said": "Said", "between": "Interval", "came": "Came", "held": "Held"}
        return elements.table(shown, caption=caption, headings=headings)

    def _said(self, what: str, part: pd.DataFrame) -> str:
        if what in CHANCES:
            return f"{part['chance'].sum():,.1f} sell"
        if len(part) > 1:
            return f"{part['level'].mean():.0%} intervals"
        row = part.iloc[0]
        low, middle, high = (self._amount(what, float(row[name])) for name in ("low", "middle", "high"))
        return f"{middle} ({low} to {high})"

    def _amount(self, what: str, amount: float) -> str:
        if np.isnan(amount):
            return elements.NOTHING
        if what in CHANCES:
            return f"{amount:.2f}".replace("-", "−")
        cents = amount if what in _MONEY else 100 * amount
        return show_cents(round(cents), currency=self.currency)

    def _table(self, frame: pd.DataFrame, first: dict[str, str], caption: str) -> Element:
        shown = frame.copy()
        few = shown["scored"] < self.too_few
        for name in ("said", "happened", "bias", "bias_error", "pinball"):
            shown[name] = [
                self._amount(what, float(value)) for what, value in zip(shown["what"], shown[name], strict=True)
            ]
        shown["verdict"] = np.where(few, TOO_FEW, "")
        for name in ("coverage", "brier", "brier_of_base"):
            shown[name] = shown[name].where(~few)
        headings = {
            **first,
            "forecasts": "Due",
            "scored": "Scored",
            "said": "Said",
            "happened": "Happened",
            "bias": "Bias",
            "bias_error": "its error",
            "coverage": "Inside",
            "level": "meant",
            "brier": "Brier",
            "brier_of_base": "of the mean",
            "pinball": "Pinball",
            "verdict": "",
        }
        formats = dict.fromkeys(("coverage", "level"), lambda share: f"{share:.0%}")
        formats |= dict.fromkeys(("brier", "brier_of_base"), lambda score: f"{score:.3f}")
        return elements.table(shown, caption=caption, headings=headings, formats=formats)


def month_forecasts(study: Study) -> pd.DataFrame:
    """What this run forecasts for the end of the month that the day after its last day falls in."""
    if few_sales_sentence(study):
        return forecast_table([])
    month = pd.Period(study.as_of + dt.timedelta(days=1), "M")
    due = month.end_time.date()
    model, typical = study.selling
    things, doubt = stock_forecasts(
        study.items, study.books.price_changes, model, typical, as_of=study.as_of, due_on=due, level=study.confidence
    )
    months = study.assumptions.whole("report.window_months")
    seed = study.assumptions.whole("report.seed")
    returns = return_forecasts(
        study.items,
        things,
        doubt,
        as_of=study.as_of,
        due_on=due,
        months=months,
        level=study.confidence,
        seed=seed,
    )
    categories = category_forecasts(
        study.items,
        as_of=study.as_of,
        due_on=due,
        months=months,
        level=study.confidence,
        too_few=study.assumptions.whole("report.too_few_items"),
        seed=seed,
    )
    told = forecast_table([*returns, *categories])
    parts = [part for part in (things, told) if len(part)]
    return pd.concat(parts, ignore_index=True) if parts else forecast_table([])


def track_record(study: Study, kept: str = "") -> TrackRecord:
    """Score what was forecast before this run's last day, and say what it forecasts itself."""
    folder = kept or os.environ.get(STUDIES, "")
    told = kept_forecasts(Path(folder)) if folder else forecast_table([])
    # A run made again on the same day knows no more than the first one did.
    earlier = told[told["made_on"] < pd.Timestamp(study.as_of)].reset_index(drop=True)
    due = earlier["due_on"] <= pd.Timestamp(study.as_of)
    few = few_sales_sentence(study)
    return TrackRecord(
        scored(earlier, outcomes(study, earlier[due]), as_of=study.as_of),
        int((~due).sum()),
        month_forecasts(study),
        few or "Nothing is on sale and too few months are known, so nothing is forecast.",
        study.assumptions.whole("report.too_few_items"),
        study.currency,
        _lately(study),
        tuple(study.sold_returns.loc[study.sold_returns["one_decides"], "category"].astype(str)),
    )


def _lately(study: Study) -> str:
    """What the report's month made of its sales alone, beside its result."""
    made = by_month(study.items, last=study.month).set_index("month")
    month = pd.Period(study.month, "M").start_time
    if month not in made.index or np.isnan(float(made.at[month, "sales_hourly"])):
        return ""
    sales, result = (
        money_per_hour(float(made.at[month, name]), currency=study.currency) for name in ("sales_hourly", "hourly")
    )
    return f"{month_name(study.month)} made {sales} an hour so counted, and {result} with what was written off."


def outcomes(study: Study, forecasts: pd.DataFrame) -> dict[tuple[str, str, dt.date], float]:
    """What came of forecasts, from the books as they stand now."""
    items = study.items
    found = item_outcomes(items, forecasts) | category_outcomes(items, forecasts)
    return found | _month_outcomes(study, forecasts)


def _month_outcomes(study: Study, due: pd.DataFrame) -> dict[tuple[str, str, dt.date], float]:
    """What the months that were forecast came to."""
    columns = {"month net": "sales_net_cents", "month hourly": "sales_hourly"}
    asked = due[due["what"].isin(list(columns))]
    found: dict[tuple[str, str, dt.date], float] = {}
    for what, subject, day in zip(asked["what"], asked["subject"], asked["due_on"], strict=True):
        months = by_month(study.items, last=str(subject)).set_index("month")
        value = float(months[columns[str(what)]].get(pd.Period(subject, "M").start_time, np.nan))
        if not np.isnan(value):
            found[(str(what), str(subject), day.date())] = value
    return found
