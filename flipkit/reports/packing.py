"""Packing and postage: what boxes cost more than they had to, and how to pack them next time."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from typing import Any

import pandas as pd

from flipkit.analysis.decisions import LEAVE
from flipkit.analysis.packing_review import lesson_totals, parcel_lessons
from flipkit.books.schema import PICKUP
from flipkit.charts.stock import plot_packing_lessons
from flipkit.charts.style import joined, money
from flipkit.errors import count_of
from flipkit.packing.parcel import ParcelPlan
from flipkit.reports.elements import EMPTY, NOTHING, Element, caution, headline, table, to_do, together
from flipkit.reports.sentences import span_name
from flipkit.reports.study import Study
from flipkit.reports.tables import LIFT_LB
from flipkit.units import CM_AN_INCH, Measures, read_length

#: Boxes that the table of the most costly shows, and categories that are named.
_MOST, _NAMED = 10, 3


@dataclass(frozen=True)
class Packing:
    """The page on packing: what the boxes of the window teach."""

    frame: pd.DataFrame
    totals: pd.DataFrame
    sold: int
    shipped: int
    reach_in: float
    unmeasured_cents: int
    span: str
    currency: str
    measures: Measures
    #: Kinds that the Buy page says to leave.
    to_leave: frozenset[str] = frozenset()

    def answer(self) -> Element:
        """What boxes cost more than they had to."""
        if self.frame.empty:
            return headline(
                "No box can be judged: none was shipped with its size and zone in the books, or no rate card is named."
            )
        trims = self.frame.loc[self.frame["trim_cents"] > 0, "trim_cents"]
        boxes = count_of(len(self.frame), "box", "boxes")
        if trims.empty:
            return headline(f"Of {boxes}, none was just too big.", note=self._note())
        said = f"{len(trims):,} of {boxes} were {self._reach()} or less too big."
        usual = f", about {self._money(trims.median())} or less for half of them" if len(trims) > 1 else ""
        return headline(f"{said} That cost {self._money(trims.sum())}{usual}.", note=self._note())

    def to_do(self) -> Element:
        """How to pack next time: what you still buy first, then the dearest lessons."""
        lines = []
        for leave, found in self._by_trims().groupby("leave"):
            rows = found.head(_NAMED).to_dict("records")
            held = ", if you still ship what you hold" if leave else ""
            cost = [
                f"{self._money(row['trim_cents'])} ({row['trims']:,} of {count_of(row['parcels'], 'box', 'boxes')})"
                for row in rows
            ]
            lines.append(
                f"For {joined([str(row['category']) for row in rows])}{held}, use a box {self._reach()} smaller where "
                f"the item allows it: those just too big cost {joined(cost)}."
            )
        later = self.frame[self.frame["adjustment_cents"] > 0]
        if len(later):
            lines.append(
                "Measure and weigh each box closed and taped, and round up: carriers charged "
                f"{self._money(later['adjustment_cents'].sum())} more on {count_of(len(later), 'box', 'boxes')}."
            )
        above = self.frame[self.frame["above_cents"] > 0]
        if len(above):
            lines.append(
                f"Compare the rate cards before you buy a label: {count_of(len(above), 'label')} cost "
                f"{self._money(above['above_cents'].sum())} more than the rules ask."
            )
        return to_do(lines)

    def picture(self) -> Any:
        """Which kinds of items cost most for the space of their boxes."""
        costly = self.totals[self.totals["cost_cents"] > 0]
        most, every = costly.head(_NAMED), int(costly["cost_cents"].sum())
        title = f"{joined([str(name) for name in most['category']])} cost {self._money(most['cost_cents'].sum())}"
        title += f" of {self._money(every)}" if len(costly) > _NAMED else ""
        trims, later = (self._money(costly[name].sum()) for name in ("trim_cents", "adjustment_cents"))
        parts = f"{trims} for boxes too big, {later} that carriers charged later"
        above = costly["above_cents"].sum()
        parts += f", {self._money(above)} above the rules" if above else ""
        chart = plot_packing_lessons(self.totals, currency=self.currency)
        if costly.empty:
            return chart
        subtitle = f"What boxes cost more than they had to: {parts}. {self.span}. Your books and rate cards."
        return chart.properties(title={"text": title[0].upper() + title[1:], "subtitle": subtitle})

    def by_category(self) -> Element:
        """Sums by category."""
        if self.totals.empty:
            return EMPTY
        overbilled = bool(self.totals["above_cents"].any())
        headings = {
            "category": "Category",
            "parcels": "Boxes",
            "trims": "Just too big",
            "trim_cents": "That cost",
            "other_cents": "Charged later or overbilled" if overbilled else "Charged later",
        }
        frame = self.totals.assign(other_cents=self.totals["adjustment_cents"] + self.totals["above_cents"])
        whole = dict.fromkeys(("trim_cents", "other_cents"), self._whole)
        return table(frame, caption="What boxes cost more than they had to, by kind", headings=headings, formats=whole)

    def dearest(self) -> Element:
        """The boxes that cost most, each with what to do next time."""
        found = self.frame[self.frame["cost_cents"] > 0].sort_values(
            ["cost_cents", "item_id"], ascending=[False, True], kind="stable"
        )
        if found.empty:
            return EMPTY
        shown = found.head(_MOST)
        shown = shown.assign(
            parcel=[self._parcel(row) for row in shown.to_dict("records")],
            advice=[self._advice(row) for row in shown.to_dict("records")],
        )
        headings = {
            "title": "What",
            "advice": "Next time",
            "cost_cents": "It cost",
            "rule_cents": "Label by the rules",
            "parcel": "Packed",
        }
        caption = (
            f"The {len(shown)} most costly of {count_of(len(found), 'box', 'boxes')}, too big or charged more later"
        )
        whole = dict.fromkeys(("cost_cents", "rule_cents"), self._whole)
        return table(shown, caption=caption, headings=headings, formats=whole)

    def cautions(self) -> Element:
        """What to beware of with knives, weights and strength."""
        boxes = [
            caution(
                "Cut a carton down with the blade away from the body and the other hand behind it, and keep the "
                "cushioning that the item needs: a trim that breaks it has saved nothing.",
                title="Knives",
            )
        ]
        if len(self.frame) and (self.frame["weight_lb"] >= LIFT_LB).any():
            boxes.append(
                caution(
                    "Some of these parcels are heavy: lift them with two people, and heed the lifting limits of the "
                    "authority for work safety where you live.",
                    title="Lifting",
                )
            )
        boxes.append(
            caution(
                "Savings are by the rate cards in force on each day of sale, for one side at a time. A carton cut "
                "down is weaker by an unknown amount; its strength is an estimate, not a certificate.",
                title="Estimates",
            )
        )
        return together(*boxes)

    def _note(self) -> str:
        """The months, and the boxes that cannot be judged."""
        missing, here = self.shipped - len(self.frame), self.sold - self.shipped
        whole = f"{self.span}: {count_of(self.sold, 'sale')}"
        whole += f", {here:,} of them picked up without a box." if here else "."
        if not missing:
            return whole
        more = (
            f"; carriers charged {self._money(self.unmeasured_cents)} more on those later"
            if self.unmeasured_cents
            else ""
        )
        boxes = count_of(missing, "more box", "more boxes")
        return f"{whole} {boxes} can't be judged: their size or zone is not in the books{more}."

    def _by_trims(self) -> pd.DataFrame:
        found = self.totals[self.totals["trim_cents"] > 0]
        found = found.assign(leave=found["category"].isin(self.to_leave))
        return found.sort_values(["leave", "trim_cents", "category"], ascending=[True, False, True])

    def _advice(self, row: dict[Hashable, Any]) -> str:
        """What to do next time, the dearest first."""
        parts: list[tuple[int, str]] = []
        if row["trim_cents"] > 0:
            now = float(row[f"{row['trim_side']}_in"])
            less, more = (self.measures.sides_of(side) for side in (now - row["trim_in"], now))
            said = f"{row['trim_side']} {round(less, 2):g} {self.measures.side_unit}, not {round(more, 2):g}"
            parts.append((int(row["trim_cents"]), said))
        if row["adjustment_cents"] > 0:
            parts.append((int(row["adjustment_cents"]), "measure and weigh it closed and taped, rounding up"))
        if row["above_cents"] > 0:
            parts.append((int(row["above_cents"]), "compare the cards before buying the label"))
        return "; ".join(text for _, text in sorted(parts, key=lambda pair: -pair[0]))

    def _reach(self) -> str:
        return "an inch" if self.reach_in == 1 else self.measures.side(self.reach_in, places=2)

    def _parcel(self, row: dict[Hashable, Any]) -> str:
        sides = (float(row[f"{side}_in"]) for side in ("length", "width", "height"))
        return f"{self.measures.sides(*sides, places=2)}, {self.measures.weight(float(row['weight_lb']), places=2)}"

    def _money(self, cents: float) -> str:
        return money(cents, currency=self.currency)

    def _whole(self, cents: float) -> str:
        """An amount of a table: nothing where there is none, and no cents."""
        return NOTHING if not cents else f"under {self._money(100)}" if cents < 100 else self._money(cents)


def packing_page(study: Study, *, reach: str = "") -> Packing:
    """The page on packing and postage.

    Parameters
    ----------
    study : Study
        The numbers.
    reach : str
        The most that may come off a side for a trim to count, such as ``1 in`` or ``2 cm``; by default
        an inch, or two centimeters where the shop measures in those.

    Returns
    -------
    Packing
        The page.
    """
    sold = study.sold_items()
    metric = study.measures.metric
    reach_in = read_length(reach or ("2 cm" if metric else "1 in"), unit=study.measures.side_unit, name="reach")
    step_in = 1 / CM_AN_INCH if metric else 1.0
    frame = parcel_lessons(sold, study.rules, study.assumptions, reach_in=reach_in, step_in=step_in)
    posted = sold[sold["zone"] != PICKUP]
    left = posted[~posted["item_id"].isin(frame["item_id"])]
    return Packing(
        frame,
        lesson_totals(frame),
        len(sold),
        len(posted),
        reach_in,
        int(left["label_adjustment_cents"].clip(lower=0).sum()),
        span_name(study),
        study.currency,
        study.measures,
        frozenset(one.category for one in study.decisions if one.verdict == LEAVE),
    )


def drawn(parcel: ParcelPlan) -> Element:
    """The drawings of a plan as a page shows them.

    Parameters
    ----------
    parcel : ParcelPlan
        The plan.

    Returns
    -------
    Element
        For a page; words alone where there is nothing to cut.
    """
    drawings = parcel.drawings()
    if not drawings:
        return Element("<p>There is nothing to cut or to fold.</p>", "There is nothing to cut or to fold.")
    html = "".join(
        f'<div class="scroll" role="region" tabindex="0" aria-label="Drawing">{svg}</div>' for svg in drawings
    )
    return Element(html, f"{len(drawings)} drawings, to scale")
