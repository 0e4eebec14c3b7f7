"""Where next month's hours go, and which stay free."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from flipkit.analysis.decisions import LEAVE, SharedHours
from flipkit.analysis.returns import TOO_FEW
from flipkit.charts.style import joined
from flipkit.money import show_cents
from flipkit.reports import elements
from flipkit.reports.elements import Element, Figure, Said
from flipkit.reports.sentences import count_of, money_per_hour
from flipkit.reports.study import Study
from flipkit.reports.tables import words
from flipkit.reports.verdicts import decision_figures

#: Categories that the sentence names.
_NAMED = 3


@dataclass(frozen=True)
class NextHours:
    """Next month's hours over categories."""

    shared: SharedHours
    unknown: tuple[str, ...]
    left: tuple[str, ...]
    target: float  # [dollars per hour]
    currency: str
    figures: tuple[Figure, ...]
    doubt: float = 0.0

    @property
    def frame(self) -> pd.DataFrame:
        """A row a category that is to be bought."""
        return self.shared.frame

    def sentence(self) -> str:
        """Where the hours go."""
        if self.shared.plan is None and not self.left:
            return f"{TOO_FEW.capitalize()}: no category has sales from trips enough to weigh its hours."
        given = self.frame[self.frame["hours"] >= 0.5]
        start = f"Of {self.shared.hours:,.0f} hours, as in an average month so far,"
        free = f"{count_of(round(self.shared.free_hours), 'hour')} free: find more of what pays, or keep them."
        if given.empty:
            return Said(f"{start} none has finds that reach your target. All of them are free.", self.figures)
        parts = [f"{row['category']} ({row['hours']:,.0f})" for row in given.head(_NAMED).to_dict("records")]
        more = f" and {count_of(len(given) - _NAMED, 'more', 'more')}" if len(given) > _NAMED else ""
        return Said(
            f"{start} {given['hours'].sum():,.0f} have finds that reach your target: {', '.join(parts)}{more}. {free}",
            self.figures,
        )

    def note(self) -> str:
        """What the hours bring, and how sure that is."""
        plan = self.shared.plan
        if plan is None or not plan.hours.sum():
            return ""
        return (
            f"They should bring {self._money(plan.expected)}, probably {self._money(plan.low)} to "
            f"{self._money(plan.high)} by how well the returns are known. The chance of a single month comes on top."
        )

    def table(self) -> Element:
        """Each category's hours, what an hour of them brings, and the price that goes with it."""
        if self.frame.empty:
            return words(
                "No category can be weighed yet." if self.unknown else "No category's finds reach your target."
            )
        headings = {
            "category": "Category",
            "hours": "Hours",
            "available_h": "Finds for",
            "hourly": "An hour brings",
            "highest_cents": "Pay at most",
        }
        hours = dict.fromkeys(
            ("hours", "available_h"), lambda number: "under 1 h" if number < 0.5 else f"{number:,.0f} h"
        )
        return elements.table(
            self.frame,
            caption="Next month's hours, in the order in which they are given out",
            headings=headings,
            formats={
                "hourly": lambda dollars: money_per_hour(float(dollars), currency=self.currency),
                "highest_cents": lambda cents: self._money(int(cents) // 100),
                **hours,
            },
            currency=self.currency,
            figures=self.figures,
        )

    def doubt_note(self) -> Element:
        """What settles the order, and what is counted."""
        text = "Only finds that cost no more than their price count, and they bring more an hour than all finds did."
        if self.doubt:
            errors = "its error" if self.doubt == 1 else f"{self.doubt:g} times its error"
            text += (
                f" The order goes by the return with {errors} on top: buying what is little known is how it becomes "
                "known. The assumption sourcing.doubt sets it."
            )
        return words(text)

    def left_out(self) -> Element:
        """Categories that get no hours, and why."""
        parts = []
        if self.left:
            parts.append(f"No hours for what is to be left: {joined(list(self.left))}.")
        if self.unknown:
            parts.append(f"{TOO_FEW.capitalize()}, so given no hours here: {', '.join(self.unknown)}.")
        return words(" ".join(parts) or "Every category that was bought in these months is given hours.")

    def _money(self, dollars: float) -> str:
        return show_cents(round(dollars) * 100, currency=self.currency).removesuffix(".00")


def next_hours(study: Study) -> NextHours:
    """Share the hours of an average month among the categories whose finds reach the target.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    NextHours
        The plan, and how to show it.
    """
    decisions = study.decisions
    free = study.figure("free hours next month", "shop", round(study.hours.free_hours))
    return NextHours(
        study.hours,
        tuple(one.category for one in decisions if one.verdict == TOO_FEW),
        tuple(one.category for one in decisions if one.verdict == LEAVE),
        study.target,
        study.currency,
        (free, *(figure for one in decisions if one.hours for figure in decision_figures(study, one))),
        study.assumptions.number("sourcing.doubt"),
    )
