"""How far the kit can be trusted: measured on simulated shops whose truth is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from flipkit.analysis.ratio_stats import IntervalSettings
from flipkit.analysis.stock_value import Horizon
from flipkit.assumptions import Assumptions, load_assumptions
from flipkit.simulation.coverage import coverage, scenario_truth, season, shares_of_the_knowing, shop_intervals
from flipkit.simulation.demo import scenarios

#: Items behind the truth of a scenario. Its Monte-Carlo error is far below a shop's interval.
_TRUTH_ITEMS = 200_000
_TRUTH_SEED = 11


@dataclass(frozen=True)
class Trust:
    """What was measured."""

    held: pd.DataFrame
    earned: pd.DataFrame
    shops: int
    items: int
    confidence: float
    seasons: int
    seed: int

    def sentence(self) -> str:
        """Both measurements in words."""
        low, high = self.held["share"].min(), self.held["share"].max()
        kit = self.earned.set_index("name").loc["the kit", "share"]
        thumb = self.earned[~self.earned["name"].str.startswith("the kit")].sort_values("share").iloc[-1]
        return (
            f"In {self.shops} simulated shops the {self.confidence:.0%} intervals held the truth in {low:.0%} to "
            f"{high:.0%} of cases. A seller who bought by the kit earned {kit:.0%} of what one who knows the truth "
            f"earned; the best rule of thumb, {thumb['name']}, earned {thumb['share']:.0%}."
        )

    def note(self) -> str:
        """How much was measured, and how rough that is."""
        return (
            f"Measured in this run: {self.shops} shops with {self.items} items bought of each category for the "
            f"intervals, {self.seasons} shops for a year of buying, draws from seed {self.seed}. With so many shops a "
            f"share of intervals is known to about {2 * self.held['error'].max():.0%} either way; more shops make it "
            f"surer and take longer."
        )


def measured_trust(
    *,
    shops: int,
    items: int = 40,
    seasons: int = 4,
    names: Sequence[str] = ("ordinary", "two thirds never sell"),
    seed: int = 5,
    assumptions: Assumptions | None = None,
) -> Trust:
    """Measure, here and now, how often intervals hold and what following the kit earns.

    Parameters
    ----------
    shops : int
        Simulated shops for the intervals.
    items : int
        Items bought of each category in each.
    seasons : int
        Simulated shops for the year of buying, in the first of the scenarios.
    names : sequence of str
        Scenarios; the full set stands in ``tests/benchmarks``.
    seed : int
        Start of the draws.
    assumptions : Assumptions, optional
        Horizon, confidence and the number below which nothing is claimed; packaged where not given.

    Returns
    -------
    Trust
        What was measured.
    """
    assumed = assumptions or load_assumptions()
    # Cleared stock brings nothing in a simulated shop, so the salvage is nothing here.
    horizon = Horizon(days=assumed.whole("stock.horizon_days"), salvage_ppm=0)
    known = {scenario.name: scenario for scenario in scenarios()}
    confidence = assumed.share("report.confidence")
    parts = []
    for name in names:
        truth = scenario_truth(known[name], horizon=horizon, items=_TRUTH_ITEMS, seed=_TRUTH_SEED)
        intervals = shop_intervals(
            known[name],
            items_each=items,
            shops=shops,
            seed=seed,
            horizon=horizon,
            settings=IntervalSettings(confidence, 500, seed, assumed.whole("report.too_few_items")),
        )
        found = coverage(intervals, truth).rename(columns={"held": "share", "held_error": "error"})
        parts.append(found.assign(name=[f"{name}, {basis} basis" for basis in found.index]))
    whole = {scenario.name: scenario for scenario in scenarios(whole_shop=True)}
    setting = season(whole[names[0]].shop, copies=seasons, seed=seed, truth_items=_TRUTH_ITEMS)
    earned = (
        shares_of_the_knowing(
            setting,
            horizon=horizon,
            doubt=assumed.number("sourcing.doubt"),
            window_months=assumed.whole("report.window_months"),
            too_few=assumed.whole("report.too_few_items"),
        )
        .rename_axis("name")
        .reset_index()
    )
    held = pd.concat(parts, ignore_index=True)
    return Trust(
        held[["name", "share", "error", "claimed_share", "bca_held"]], earned, shops, items, confidence, seasons, seed
    )
