"""How long things wait: the groups of a shop beside each other, and which of them truly differ."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from flipkit.analysis.returns import FEW_TRIPS, TOO_FEW, unsold_group
from flipkit.analysis.survival import (
    LATER,
    MARKS,
    SELECTION,
    SOONER,
    Compared,
    common_days,
    compared,
    unsold_missing,
    waiting_groups,
    waiting_table,
)
from flipkit.errors import count_of
from flipkit.reports import elements
from flipkit.reports.elements import Element
from flipkit.reports.study import Study
from flipkit.reports.tables import words

#: Groups that the picture shows: those with the most things.
_MOST_DRAWN = 12
#: What a thing is grouped by, in words, one and several.
_KINDS = {
    "category": ("category", "categories"),
    "size": ("size class", "size classes"),
    "source": ("source", "sources"),
    "condition": ("condition", "conditions"),
    "markdown": ("kind", "kinds"),
}


@dataclass(frozen=True)
class Waiting:
    """Times to sale of the groups."""

    by: str
    groups: pd.DataFrame
    table: pd.DataFrame
    found: Compared
    within_days: int
    confidence: float
    too_few: int

    def sentence(self) -> str:
        """Who sells soonest and who waits longest, as far as that can be told."""
        if self.table.empty:
            return "Nothing has been listed yet."
        if self.by == "markdown":
            return f"{count_of(len(self.groups), 'item')} listed, apart by whether the price was ever lowered."
        one, many = _KINDS[self.by]
        verdicts = self.found.each.set_index("group")["verdict"]
        order = [str(name) for name in self.table["group"]]
        soon = [self._called(name) for name in order if verdicts[name] == SOONER]
        late = [self._called(name) for name in reversed(order) if verdicts[name] == LATER]
        if not soon and not late:
            if (verdicts == TOO_FEW).all():
                return f"{TOO_FEW.capitalize()}: no {one} has items enough to be compared with the rest."
            return f"No {one} sells at a pace that is clearly not that of the rest."
        parts = [f"{_joined(soon)} sell sooner than the rest"] if soon else []
        parts += [f"{_joined(late)} {'wait longer' if soon else 'wait longer than the rest'}"] if late else []
        text = "; ".join(parts)
        alike = int((~verdicts.isin([SOONER, LATER])).sum())
        rest = f" {count_of(alike, 'other ' + one, 'other ' + many).capitalize()}: too close to call." if alike else ""
        return f"{text[:1].upper()}{text[1:]}.{rest}"

    def cautions(self) -> Element:
        """What to beware of in this comparison."""
        told = [SELECTION] if self.by == "markdown" else []
        told += [text] if (text := unsold_missing(self.table)) and self.by != "markdown" else []
        if unsold_group(self.groups["group"], self.groups["sold"]) is not None:
            told.append("Everything unsold is in one group, and nothing else is in it: its pace is not tested.")
        if self.table.empty:
            return words("Nothing has been listed yet.")
        if not told:
            return words("Each of these groups has items that did not sell, and they are counted.")
        return elements.caution(" ".join(told))

    def days_table(self) -> Element:
        """Days that each group waits."""
        if self.table.empty:
            return words("Nothing has been listed yet.")
        shown = self.table.copy()
        shown["mean"] = [self._mean(row) for row in shown.to_dict("records")]
        shown["half"] = [self._half(row) for row in shown.to_dict("records")]
        headings = {
            "group": _KINDS[self.by][0].capitalize(),
            "listed": "Listed",
            "sold": "Sold",
            "still": "Still wait",
            "given_up": "Cleared out",
            "mean": "Mean days",
            "half": "Half sold by day",
        }
        caption = f"Days on sale, the soonest first (the mean counts the first {self.within_days} days)"
        note = "Only items whose listing day is in the books: fewer sold here than on Buy."
        return elements.table(shown, caption=caption, headings=headings, note=note)

    def shares_table(self) -> Element:
        """Share of each group that had sold by the marks, with its interval."""
        if self.table.empty:
            return words("Nothing has been listed yet.")
        shown = self.table[["group"]].copy()
        for mark in MARKS:
            shown[f"by_{mark}"] = [
                elements.NOTHING if np.isnan(share) else f"{share:.0%} ({low:.0%} to {high:.0%})"
                for share, low, high in zip(
                    *(self.table[f"{name}_{mark}"] for name in ("sold", "low", "high")), strict=True
                )
            ]
        headings = {"group": _KINDS[self.by][0].capitalize()} | {f"by_{mark}": f"By day {mark}" for mark in MARKS}
        caption = f"Sold by then, of all listed ({self.confidence:.0%} interval)"
        return elements.table(shown, caption=caption, headings=headings)

    def compared_table(self) -> Element:
        """Each group against all the rest."""
        each = self.found.each
        if self.by == "markdown":
            return words("Not compared: the one kind is picked by having waited.")
        if each.empty:
            return words("There is nothing to compare.")
        order = {name: place for place, name in enumerate(self.table["group"])}
        shown = each.sort_values("group", key=lambda names: names.map(order), kind="stable")
        headings = {
            "group": _KINDS[self.by][0].capitalize(),
            "verdict": "Sells",
            "sold": "Sold",
            "expected": "at one pace",
            "corrected": "Chance of luck",
        }
        formats = {"expected": lambda sales: f"{sales:,.0f}", "corrected": _chance}
        return elements.table(shown, caption="Each against all the rest", headings=headings, formats=formats)

    def bounds(self) -> Element:
        """By which bounds the words of the comparison are chosen."""
        if self.by == "markdown" or self.found.each["corrected"].notna().sum() == 0:
            return words(f"Nothing is compared below {self.too_few} listed items.")
        tests = int(self.found.each["corrected"].notna().sum())
        return words(
            f"At one pace: sales that the group would have had, if it and the rest sold alike. Chance of luck: of a "
            f"gap so large if they do, corrected for {count_of(tests, 'comparison')} at once; below "
            f"{1 - self.confidence:.0%} the gap is called one. Items of one trip are alike, so trips count: "
            f"groups of fewer than {self.too_few} listed items or {FEW_TRIPS} trips are {TOO_FEW}. A gap says that "
            "these items sell at another pace, and not why."
        )

    def _called(self, name: str) -> str:
        """A group's name within a sentence about its things."""
        return {"size": f"{name} items", "source": f"{name} finds", "condition": f"items {name}"}.get(self.by, name)

    def _mean(self, row: dict[object, object]) -> str:
        mean, error = float(str(row["mean_days"])), float(str(row["mean_error"]))
        if np.isnan(mean):
            return elements.NOTHING
        return f"{mean:.0f}" if np.isnan(error) else f"{mean:.0f} ± {error:.0f}"

    def _half(self, row: dict[object, object]) -> str:
        half, low, high = (float(str(row[name])) for name in ("half_days", "half_low", "half_high"))
        if np.isnan(half):
            return "not reached"
        # A single sale has no spread, so no range stands beside it.
        if np.isnan(low):
            return f"{half:,.0f}"
        upper = "?" if np.isnan(high) else f"{high:,.0f}"
        return f"{half:,.0f} ({low:,.0f} to {upper})"


def waiting_page(study: Study, by: str = "category") -> Waiting:
    """How long things wait, by one of their properties."""
    groups = waiting_groups(study.items, study.books.items, study.books.price_changes, by=by)
    too_few, confidence = study.assumptions.whole("report.too_few_items"), study.confidence
    within = common_days(groups, too_few=too_few)
    # What is picked by having waited is not tested for having waited.
    tested = groups.head(0) if by == "markdown" else groups
    return Waiting(
        by,
        groups,
        waiting_table(groups, within_days=within, confidence=confidence),
        compared(tested, confidence=confidence, too_few=too_few),
        within,
        confidence,
        too_few,
    )


def _joined(names: list[str], most: int = 4) -> str:
    told = names if len(names) <= most else [*names[: most - 1], f"{len(names) - most + 1} more"]
    return told[0] if len(told) == 1 else f"{', '.join(told[:-1])} and {told[-1]}"


def _chance(value: float) -> str:
    return "under 0.1%" if value < 0.001 else "over 99%" if value > 0.99 else f"{value:.1%}"
