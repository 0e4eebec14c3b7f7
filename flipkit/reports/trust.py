"""How far the kit can be trusted: measured on simulated shops whose truth is known, and kept in a file."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from flipkit.errors import AssumptionError
from flipkit.reports import elements
from flipkit.reports.elements import Element
from flipkit.simulation.coverage import Measured, calibration

#: What the bases are called on a page.
_BASES = {"bought": "counting unsold things", "sold": "sold things only"}


@dataclass(frozen=True)
class Trust:
    """What was measured."""

    returns: Measured
    earned: pd.DataFrame
    confidence: float
    items: int

    @property
    def held(self) -> pd.DataFrame:
        """How often the intervals held the truth, unsold things counted: ``name``, ``share``, ``error``."""
        table = self.returns.table
        found = table[(table["basis"] == "bought") & (table["items"] == self.items)].sort_values("held", kind="stable")
        return found.rename(columns={"scenario": "name", "held": "share", "held_error": "error"}).reset_index(drop=True)

    def sentence(self) -> str:
        """Both measurements in words."""
        held, thumb = self.held, self.earned[~self.earned["name"].str.startswith("the kit")]
        best = thumb.sort_values("share").iloc[-1]
        kit = self.earned.set_index("name").loc["the kit", "share"]
        weakest = held.iloc[0]
        return (
            f"In {int(held['shops'].sum()):,} simulated shops, {self.confidence:.0%} intervals held the truth "
            f"{weakest['share']:.0%} to {held['share'].max():.0%} of the time. Their hardest case: {weakest['name']}. "
            f"A seller who bought by the kit earned {kit:.0%} of what one who knows the truth earned. The best rule of "
            f"thumb, {best['name']}, earned {best['share']:.0%}."
        )

    def note(self) -> str:
        """How much was measured, and how rough that is."""
        held, made = self.held, self.returns
        day = f"{made.made_on.day} {made.made_on:%B %Y}"
        return (
            f"Measured on {day} with version {made.version} from seed {made.seed}: {held['shops'].min():.0f} shops of "
            f"each of {len(held)} kinds, shown here with {self.items} things bought of each category. Each share is "
            f"known to about {2 * held['error'].max():.0%} either way. We tuned nothing on the shops of the second "
            "family, the mixtures."
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
        wide["shop"] = wide["scenario"] + ", " + wide["basis"].map(_BASES)
        headings = {"shop": "Kind of shop", "family": "Family"}
        headings |= {f"with_{count}": f"{count} things" for count in counts}
        return elements.table(
            wide,
            caption=f"How often {self.confidence:.0%} intervals held the truth",
            headings=headings,
            fold=True,
            note="Things: bought of each category. After ±: two standard errors.",
        )

    def earned_table(self) -> Element:
        """What each way of choosing earned."""
        shops = int(self.earned["shops"].iloc[0])
        headings = {"name": "Bought by", "share": "Share", "dollars": "In a year"}
        formats = {"dollars": "${:,.0f}".format, "share": "{:.1%}".format}
        caption = f"What each way of choosing earned in twelve months, in {shops} shops"
        return elements.table(self.earned, caption=caption, headings=headings, formats=formats, fold=True)


def measured_trust(items: int = 40) -> Trust:
    """How often intervals held the truth in simulated shops, and what following the kit earned.

    The figures were measured once, over hundreds of shops, with the packaged assumptions;
    ``tests/benchmarks/bench_calibration.py`` measures them again.

    Parameters
    ----------
    items : int
        Things bought of each category in the shops that the picture and the sentence speak of.

    Returns
    -------
    Trust
        What was measured.

    Raises
    ------
    AssumptionError
        If no shops with so many things were measured.

    Examples
    --------
    >>> bool(measured_trust().held["share"].between(0.5, 1).all())
    True
    """
    found = calibration()
    table = found["returns"].table
    if items not in set(table["items"]):
        known = ", ".join(str(count) for count in sorted(set(table["items"])))
        raise AssumptionError("items", need=f"one of {known}", got=items)
    return Trust(found["returns"], found["earned"].table, float(table["meant"].iloc[0]), items)
