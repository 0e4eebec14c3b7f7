"""Can we trust it? The track record, what was measured on simulated shops, what is assumed and what is missing."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from flipkit.books.schema import DOING
from flipkit.charts.stock import plot_shares
from flipkit.errors import AssumptionError, count_of
from flipkit.reports import elements
from flipkit.reports.elements import EMPTY, Element, caution, headline, to_do, together
from flipkit.reports.forecasts import TrackRecord, track_record
from flipkit.reports.sentences import (
    doubts,
    minutes_sentence,
    month_name,
    overrides_sentence,
    run_out_sentence,
    trace_sentence,
)
from flipkit.reports.stock import ClearOutRecord, clear_out_record
from flipkit.reports.study import Study
from flipkit.reports.tables import methods_table
from flipkit.simulation.coverage import Measured, calibration

#: What the bases are called on a page.
_BASES = {"bought": "counting unsold items", "sold": "sold items only"}
#: Simulated shops, and ways to choose what to buy, in a reader's words.
_PLAIN: Final = {
    "heavy tails": "a few sales bring most",
    "two equal": "two kinds alike",
    "plain mixtures": "other patterns of prices",
    "minutes follow luck": "better trips take longer",
    "drift": "prices fall over the years",
    "rare dear finds": "rare expensive finds",
    "the kit": "this report's advice",
    "the kit, no benefit of the doubt": "the same, with no extra try of kinds we know little about",
    "hourly of sold things": "the hour of sold items",
    "highest profit a sale": "the highest profit a sale",
    "buy everything": "no rule, everything",
}


@dataclass(frozen=True, eq=False)
class CanWeTrustIt:
    """The page on how sure the figures are, how well earlier forecasts did, and what is assumed."""

    study: Study
    kept: str = ""
    items: int = 40

    def answer(self) -> Element:
        """What the figures rest on, how earlier forecasts came out, and how often the ranges hold the truth."""
        return headline(
            " ".join(
                filter(
                    None,
                    [trace_sentence(self.study.sold_items()), self.record.sentence(), self.cleared.in_short()],
                )
            ),
            note=" ".join(
                dict.fromkeys(filter(None, [self.measured.sentence(), self._minutes(), *doubts(self.study)]))
            ),
        )

    def to_do(self) -> Element:
        """What to fill in so that the figures become surer."""
        study = self.study
        lines = [run_out_sentence(study), overrides_sentence(study), *study.left_out]
        if study.notes:
            noticed = count_of(len(study.notes), "note")
            lines.append(f"The check of the books made {noticed}: see What the check of the books noticed, below.")
        return to_do([line for line in lines if line], title="What is missing")

    def picture(self) -> Any:
        """How often this shop's own forecasts held what happened, or the ranges the truth in simulated shops."""
        shares, meant = self.record.coverage(), self.study.confidence
        if len(shares):
            title, source = "This shop's forecasts", "Forecasts that have come due, scored by your books"
        else:
            shares, meant = self.measured.held, self.measured.confidence
            title = f"With {self.items} items of a kind, ranges in simulated shops"
            source = "Everything bought, unsold items counted"
        low, high = shares["share"].min(), shares["share"].max()
        held = f"{low:.0%}" if round(low, 2) == round(high, 2) else f"{low:.0%} to {high:.0%}"
        return plot_shares(
            shares,
            title=f"{title} held {held} of the time, where {meant:.0%} is meant",
            subtitle=f"{source}. Dot: measured. Bar: how far that may be off. Line: what is meant.",
            meant=meant,
        )

    def _minutes(self) -> str:
        """How much of the month's hours was logged, and that the ranges leave out the doubt in the rest."""
        said = minutes_sentence(self.study.month_items())
        return said.replace("Hours:", f"Hours behind the result of {month_name(self.study.month)}:")

    def methods(self) -> Element:
        """The same ranges by other methods."""
        return methods_table(self.study)

    def learned(self) -> Element:
        """Standard minutes, and what they become with the shop's own log."""
        frame = self.study.economics.labor.learned
        frame = frame[frame["category"] == "all"] if len(frame) else frame
        if frame.empty:
            return EMPTY
        headings = {
            "activity": "Activity",
            "size_class": "Size",
            "before_min": "Standard",
            "logged_items": "Logged items",
            "used_min": "Used",
        }
        formats: dict[str, Any] = {"activity": lambda name: DOING.get(name, name)}
        caption = "Standard minutes, and what they become with your own log; each category moves on from there"
        note = (
            "Used: for an item whose work nobody logged, all hands counted. Bulky or small shows another figure: your "
            "own minutes a sale, as logged where they were, help's left out and pickups counted with none to pack."
        )
        return elements.table(frame, caption=caption, headings=headings, formats=formats, note=note)

    def cautions(self) -> Element:
        """That simulated shops are simple, and which forecasts are off."""
        simple = caution(
            "Simulated shops are simpler than real ones, and figures from few sales are estimates. If a kind of item "
            "brings a rare expensive find that neither it nor most of your other kinds have brought yet, it may earn "
            "more than its range says. Your own track record, month after month, says more.",
            title="Estimates",
        )
        return together(self.record.faults(), simple)

    @functools.cached_property
    def record(self) -> TrackRecord:
        """How earlier forecasts came out, and what is forecast now."""
        return track_record(self.study, self.kept)

    @functools.cached_property
    def cleared(self) -> ClearOutRecord:
        """What came of the items that earlier plans would have cleared out."""
        return clear_out_record(self.study)

    @functools.cached_property
    def measured(self) -> Trust:
        """What was measured in simulated shops."""
        return measured_trust(self.items)


@dataclass(frozen=True)
class Trust:
    """What was measured."""

    returns: Measured
    earned: pd.DataFrame
    confidence: float
    items: int

    @property
    def held(self) -> pd.DataFrame:
        """How often the intervals held the truth, unsold items counted: ``name``, ``share``, ``error``."""
        table = self.returns.table
        found = table[(table["basis"] == "bought") & (table["items"] == self.items)].sort_values("held", kind="stable")
        found = found.rename(columns={"scenario": "name", "held": "share", "held_error": "error"}).reset_index(
            drop=True
        )
        return _said_plainly(found)

    def sentence(self) -> str:
        """Both measurements in words."""
        table, thumb = self.returns.table, self.earned[~self.earned["name"].str.startswith("the kit")]
        best = thumb.sort_values("share").iloc[-1]
        kit = self.earned.set_index("name").loc["the kit", "share"]
        weakest = table.loc[table["held"].idxmin()]
        shops = int(table.loc[table["basis"] == weakest["basis"], "shops"].sum())
        case = _PLAIN.get(weakest["scenario"], weakest["scenario"])
        return (
            f"In {shops:,} simulated shops, {self.confidence:.0%} intervals held the truth {weakest['held']:.1%} to "
            f"{table['held'].max():.0%} of the time, over all sizes of shop. The weakest case: {case}, "
            f"{weakest['items']} items bought, "
            f"{_BASES[weakest['basis']]}. A seller who bought by this report's advice earned {kit:.0%} of what one "
            "who knows the truth earned. The "
            f"best rule of thumb, buying by {_PLAIN.get(best['name'], best['name'])}, earned {best['share']:.0%}."
        )

    def note(self) -> str:
        """How much was measured, and how rough that is."""
        held, made = self.held, self.returns
        day = f"{made.made_on.day} {made.made_on:%B %Y}"
        return (
            f"Measured on {day} with version {made.version} from seed {made.seed}: {held['shops'].min():.0f} shops of "
            f"each of {len(held)} kinds. The picture shows {self.items} items bought of each category. Each share is "
            f"known to {2 * made.table['held_error'].max():.0%} or better either way."
        )

    def held_table(self) -> Element:
        """How often the intervals held the truth, by kind of shop and number of things."""
        table = self.returns.table
        said = [
            f"{share:.1%} ± {2 * error:.1%}" for share, error in zip(table["held"], table["held_error"], strict=True)
        ]
        wide = table.assign(said=said).pivot_table(
            index=["family", "scenario", "basis"], columns="items", values="said", aggfunc="first", sort=False
        )
        counts = [int(count) for count in wide.columns]
        wide = wide.set_axis([f"with_{count}" for count in counts], axis=1).reset_index()
        wide["shop"] = wide["scenario"].replace(_PLAIN) + ", " + wide["basis"].map(_BASES)
        headings = {"shop": "Kind of shop", "family": "Family"}
        headings |= {f"with_{count}": f"{count} items" for count in counts}
        return elements.table(
            wide,
            caption=f"How often {self.confidence:.0%} intervals held the truth",
            headings=headings,
            note="Items: bought of each category. After ±: two standard errors.",
        )

    def earned_table(self) -> Element:
        """What each way of choosing earned."""
        shops = int(self.earned["shops"].iloc[0])
        headings = {"name": "Bought by", "share": "Share", "dollars": "Earned, simulated"}
        formats = {"dollars": "{:,.0f}".format, "share": "{:.1%}".format}
        caption = f"What each way of choosing earned in twelve months, in {shops} shops"
        return elements.table(_said_plainly(self.earned), caption=caption, headings=headings, formats=formats)


def _said_plainly(measured: pd.DataFrame) -> pd.DataFrame:
    """The names of simulated shops and of ways to buy in a reader's words."""
    return measured.assign(name=measured["name"].replace(_PLAIN))


def measured_trust(items: int = 40) -> Trust:
    """How often intervals held the truth in simulated shops, and what following the kit earned.

    The figures were measured once, over hundreds of shops, with the packaged assumptions;
    ``tests/benchmarks/bench_calibration.py`` measures them again.
    """
    found = calibration()
    table = found["returns"].table
    if items not in set(table["items"]):
        known = ", ".join(str(count) for count in sorted(set(table["items"])))
        raise AssumptionError("items", need=f"one of {known}", got=items)
    return Trust(found["returns"], found["earned"].table, float(table["meant"].iloc[0]), items)
