"""Where next month's hours go, and what more records would be worth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from flipkit.analysis.hours import HourPlan, available_hours, expected_value_of_items, hour_plan
from flipkit.analysis.returns import TOO_FEW
from flipkit.money import show_cents
from flipkit.reports import elements
from flipkit.reports.elements import Element
from flipkit.reports.sentences import count_of, money_per_hour
from flipkit.reports.study import Study
from flipkit.reports.tables import words

#: Sets of true returns that are imagined.
_DRAWS = 4000
#: Further items whose worth is told.
_MORE = 10
#: Categories that the sentence names.
_NAMED = 3


@dataclass(frozen=True)
class NextHours:
    """Next month's hours over categories."""

    frame: pd.DataFrame
    plan: HourPlan | None
    hours: float  # [h]
    unknown: tuple[str, ...]
    target: float  # [dollars per hour]
    currency: str
    doubt: float = 0.0

    def sentence(self) -> str:
        """Where the hours go."""
        if self.plan is None:
            return f"{TOO_FEW.capitalize()}: no category has sales from trips enough to weigh its hours."
        given = self.frame[self.frame["hours"] >= 0.5]
        if given.empty:
            return "No category is expected to earn anything an hour, so no hour is given to any."
        good = given[given["pulled"] >= self.target]
        start = f"Of {self.hours:,.0f} hours, as in a middling month so far,"
        if good.empty:
            best = given.iloc[0]
            return f"{start} none has finds expected to reach your target; the best are {best['category']}."
        parts = [f"{row['category']} ({row['hours']:,.0f})" for row in good.head(_NAMED).to_dict("records")]
        more = f" and {count_of(len(good) - _NAMED, 'more', 'more')}" if len(good) > _NAMED else ""
        return (
            f"{start} {good['hours'].sum():,.0f} have finds expected to reach your target: {', '.join(parts)}{more}. "
            f"All {given['hours'].sum():,.0f} hours given out: {self._money(self.plan.expected)}."
        )

    def note(self) -> str:
        """How sure that is, what knowing would be worth, and hours that earn less than the target."""
        if self.plan is None or not self.hours:
            return ""
        plan = self.plan
        left = self.hours - float(plan.hours.sum())
        below = float(plan.hours[self.frame["pulled"].to_numpy() < self.target].sum())
        few = (self.frame["pulled"] >= self.target) & (self.frame["hours"] >= 0.5)
        start = "" if few.any() else f"Expected of the hours given out: {self._money(plan.expected)}. "
        text = (
            f"{start}80% interval {self._money(plan.low)} to {self._money(plan.high)} by how sure the returns are; the "
            f"luck of a single month comes on top. Knowing every return beforehand would be worth "
            f"{self._money(plan.knowing - plan.expected)} more."
        )
        if below >= 0.5:
            text += f" {count_of(round(below), 'hour')} go to what is expected below your target."
        if left >= 0.5:
            text += f" {count_of(round(left), 'hour')} find nothing worth them."
        return text

    def table(self) -> Element:
        """Each category's hours and what more knowledge of it would be worth."""
        if self.frame.empty:
            return words("No category can be weighed yet.")
        mark = show_cents(0, currency=self.currency).removesuffix("0.00").strip()
        headings = {
            "category": "Category",
            "hours": "Hours",
            "available_h": "Room for",
            "pulled": "Per hour, pulled",
            "error": "give or take",
            "counted": "Counted as",
            "first_share": "Chance to be the best",
            "knowing_cents": f"Knowing it ({mark})",
            "more_cents": f"{_MORE} more items ({mark})",
            "items": "Bought",
            "verdict": "In words",
        }
        hourly = dict.fromkeys(
            ("pulled", "error", "counted"), lambda dollars: money_per_hour(float(dollars), currency=self.currency)
        )
        shares = {"first_share": lambda share: "under 1%" if share < 0.01 else f"{share:.0%}"}
        hours = dict.fromkeys(("hours", "available_h"), lambda number: f"{number:,.0f}")
        return elements.table(
            self.frame,
            caption="Next month's hours, in the order in which they are given out",
            headings=headings,
            formats=hourly | shares | hours,
            currency=self.currency,
        )

    def doubt_note(self) -> Element:
        """What each return was counted as, and why."""
        if self.plan is None or not self.doubt:
            return words("Hours go to the best returns as they are estimated.")
        errors = "its error" if self.doubt == 1 else f"{self.doubt:g} times its error"
        return words(
            f"Each return is counted with {errors} on top: what is little known gets the benefit of the doubt, "
            "since buying it is how it becomes known. In simulated shops that sell slowly that earned more over a "
            "year than following the figures as they are; the assumption sourcing.doubt sets it."
        )

    def left_out(self) -> Element:
        """Categories that cannot be weighed yet."""
        if not self.unknown:
            return words("Every category that was bought in these months is weighed.")
        return words(f"{TOO_FEW.capitalize()}, so given no hours here: {', '.join(self.unknown)}.")

    def _money(self, dollars: float) -> str:
        return show_cents(round(dollars) * 100, currency=self.currency)[: -len(".00")]


def next_hours(study: Study) -> NextHours:
    """Share the hours of a middling month among categories whose returns are only estimated.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    NextHours
        The plan, and how to show it.
    """
    ranking = study.ranking.merge(study.bought_returns[["category", "expected_min"]], on="category", how="left")
    minutes = ranking["expected_min"] / ranking["items"].where(ranking["items"] > 0)
    # Where nothing is claimed, nothing is to be acted on.
    claimed = ranking["claimed"].astype(bool)
    known = claimed & np.isfinite(ranking["pulled"]) & np.isfinite(ranking["error"]) & np.isfinite(minutes)
    unknown = tuple(sorted(str(name) for name in ranking.loc[~known, "category"]))
    recorded = study.months.tail(study.assumptions.whole("report.window_months"))
    hours = float(recorded["owner_min"].mean() / 60) if recorded["owner_min"].sum() > 0 else 0.0
    frame, each = ranking[known].reset_index(drop=True), minutes[known].to_numpy(dtype=np.float64)
    if frame.empty or not hours:
        return NextHours(frame.iloc[:0], None, hours, unknown, study.target, study.currency)
    first, last = (pd.Period(day, "M") for day in study.window())
    months = (last - first).n + 1
    most = available_hours(frame["items"] / months, each, stretch=study.assumptions.number("sourcing.stretch"))
    value, error = frame["pulled"].to_numpy(dtype=np.float64), frame["error"].to_numpy(dtype=np.float64)
    seed = study.assumptions.whole("report.seed")
    doubt = study.assumptions.number("sourcing.doubt")
    plan = hour_plan(value, error, most, hours=hours, doubt=doubt, draws=_DRAWS, seed=seed)
    more = expected_value_of_items(value, error, frame["items"], most, more=_MORE, hours=hours, draws=_DRAWS, seed=seed)
    shown = pd.DataFrame(
        {
            "category": frame["category"],
            "hours": plan.hours,
            "available_h": most,
            "pulled": value,
            "error": error,
            "counted": plan.counted,
            "first_share": plan.first_share,
            "knowing_cents": np.rint(100 * plan.worth_of_knowing),
            "more_cents": np.rint(100 * more),
            "items": frame["items"],
            "verdict": frame["verdict"],
        }
    )
    order = np.argsort(-plan.counted, kind="stable")
    plan = plan._replace(
        hours=plan.hours[order],
        counted=plan.counted[order],
        first_share=plan.first_share[order],
        worth_of_knowing=plan.worth_of_knowing[order],
    )
    rows = shown.iloc[order].reset_index(drop=True)
    return NextHours(rows, plan, hours, unknown, study.target, study.currency, doubt)
