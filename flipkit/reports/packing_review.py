"""Packing lessons: what parcels were billed above what they had to be, and what to do next time."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from typing import Any

import pandas as pd

from flipkit.analysis.packing_review import lesson_totals, parcel_lessons
from flipkit.books.schema import PICKUP
from flipkit.money import show_cents
from flipkit.packing.parcel import ParcelPlan
from flipkit.reports import elements
from flipkit.reports.elements import Element, caution
from flipkit.reports.sentences import count_of
from flipkit.reports.study import Study
from flipkit.reports.tables import LIFT_LB, words
from flipkit.units import CM_AN_INCH, Measures, read_length

#: Parcels that the table of the most costly shows.
_MOST = 10


@dataclass(frozen=True)
class PackingLessons:
    """What the parcels of the window teach."""

    frame: pd.DataFrame
    totals: pd.DataFrame
    shipped: int
    reach_in: float
    unmeasured_cents: int
    currency: str
    measures: Measures

    def sentence(self) -> str:
        """What the lessons come to."""
        if self.frame.empty:
            return (
                "No parcel of these months can be weighed again: none was posted with its measures and zone in the "
                "books, or no rate card is named."
            )
        trims = self.frame[self.frame["trim_cents"] > 0]
        start = f"Of {count_of(len(self.frame), 'parcel')} with measures in the books"
        if trims.empty:
            return f"{start}, none stood so close above a step that {self._reach()} off one side would have paid."
        return (
            f"{start}, {len(trims):,} stood so close above a step that {self._reach()} or less off one side would have "
            f"paid: {self._money(trims['trim_cents'].sum())} together, {self._money(trims['trim_cents'].median())} at "
            f"the median."
        )

    def note(self) -> str:
        """What was billed and taken above what was entered, and what is left out."""
        if self.frame.empty:
            return ""
        above = self.frame[self.frame["above_cents"] > 0]
        later = self.frame[self.frame["adjustment_cents"] > 0]
        billed = (
            f"{count_of(len(above), 'label')} cost {self._money(above['above_cents'].sum())} more than the rules ask "
            f"for the measures entered."
            if len(above)
            else "No label cost more than the rules ask for the measures entered."
        )
        taken = (
            f"Carriers took {self._money(later['adjustment_cents'].sum())} later on {count_of(len(later), 'parcel')}."
            if len(later)
            else "No carrier took anything later."
        )
        missing = self.shipped - len(self.frame)
        left = ""
        if missing:
            more = f", with {self._money(self.unmeasured_cents)} taken later" if self.unmeasured_cents else ""
            left = (
                f" {count_of(missing, 'parcel')} without measures, zone or a card that takes them are left out{more}."
            )
        return f"{billed} {taken}{left}"

    def table(self) -> Element:
        """The most costly parcels, with what to do next time."""
        found = self.frame[self.frame["cost_cents"] > 0].sort_values(
            ["cost_cents", "item_id"], ascending=[False, True], kind="stable"
        )
        if found.empty:
            return words(
                "No parcel cost more than it had to." if len(self.frame) else "No parcel with measures to show."
            )
        shown = found.head(_MOST)
        shown = shown.assign(
            parcel=[self._parcel(row) for row in shown.to_dict("records")],
            advice=[self._advice(row) for row in shown.to_dict("records")],
        )
        headings = {
            "title": "Parcel",
            "advice": "Next time",
            "cost_cents": "It cost",
            "trim_cents": "A trim saves",
            "adjustment_cents": "Taken later",
            "above_cents": "Billed above",
            "rule_cents": "Label by the rules",
            "parcel": "Packed",
        }
        if not (self.frame["above_cents"] > 0).any():
            del headings["above_cents"]
        caption = f"The {len(shown)} most costly of {count_of(len(found), 'parcel')}"
        return elements.table(shown, caption=caption, headings=headings, currency=self.currency)

    def totals_table(self) -> Element:
        """Sums by category."""
        if self.totals.empty:
            return words("No category has a parcel with measures.")
        headings = {
            "category": "Category",
            "parcels": "Parcels",
            "trims": "Trims that pay",
            "trim_cents": "They save",
            "adjusted": "Adjusted",
            "adjustment_cents": "Taken later",
            "above": "Dearer labels",
            "above_cents": "Billed above",
            "cost_cents": "Together",
        }
        if not self.totals["above_cents"].any():
            del headings["above"], headings["above_cents"]
        return elements.table(
            self.totals, caption="By category, the dearest first", headings=headings, currency=self.currency
        )

    def cautions(self) -> Element:
        """What to beware of with knives, weights and strength."""
        boxes = [
            caution(
                "Cut a carton down with the blade away from the body and the other hand behind it, and keep the "
                "cushioning that the thing needs: a trim that breaks it has saved nothing.",
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
        return Element("".join(box.html for box in boxes), "\n".join(box.text for box in boxes))

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
        return show_cents(round(float(cents)), currency=self.currency)


def packing_lessons(study: Study, *, reach: str = "") -> PackingLessons:
    """What the parcels sold in the window teach.

    Parameters
    ----------
    study : Study
        The numbers.
    reach : str
        The most that may come off a side for a trim to count, such as ``1 in`` or ``2 cm``; by default
        an inch, or two centimeters where the shop measures in those.

    Returns
    -------
    PackingLessons
        The lessons, and how to show them.
    """
    sold = study.sold_items()
    metric = study.measures.metric
    reach_in = read_length(reach or ("2 cm" if metric else "1 in"), unit=study.measures.side_unit, name="reach")
    step_in = 1 / CM_AN_INCH if metric else 1.0
    frame = parcel_lessons(sold, study.rules, study.assumptions, reach_in=reach_in, step_in=step_in)
    posted = sold[sold["zone"] != PICKUP]
    left = posted[~posted["item_id"].isin(frame["item_id"])]
    return PackingLessons(
        frame,
        lesson_totals(frame),
        len(posted),
        reach_in,
        int(left["label_adjustment_cents"].clip(lower=0).sum()),
        study.currency,
        study.measures,
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
