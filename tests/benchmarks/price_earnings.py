"""What price paths earn in simulated shops: the kit's, a knowing seller's, and three habits.

What a path earns is its mean under the truth, so that no luck blurs the comparison.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import ndtri

from flipkit.analysis.comparables import ComparableRules, comparable_rules, typical_price
from flipkit.analysis.demand import Demand, Possible
from flipkit.analysis.pricing import (
    PriceGrid,
    PriceSettings,
    PriceTable,
    path_outcomes,
    price_table,
    weighed_paths,
)
from flipkit.analysis.sale_hazard import SellingModel
from flipkit.assumptions import Assumptions
from flipkit.simulation.shops import Draws
from tests.benchmarks.price_habits import LIKE_SPREAD, MARKUP, World, learned, world
from tests.benchmarks.scenarios import Scenario
from tests.helpers.path_worth import expected_value_cents

Floats = npt.NDArray[np.float64]

#: Ways of pricing by habit.
HABITS = ("fixed price", "10 % every four weeks", "first offer")
#: Prices that a knowing seller and the habits consider, so wide that no bound of it holds a
#: knowing seller back; the kit has prices up to what its past supports, and up to the bound.
GRID = PriceGrid(0.3, 4.0, 0.03)
#: Price over the typical one beyond which buyers may turn away faster.
USUAL = 1.2


def price_earnings(
    scenario: Scenario,
    *,
    shops: int,
    things: int,
    past_things: int,
    comparables: int,
    settings: PriceSettings,
    assumptions: Assumptions,
    seed: int,
    steep: float = 0.0,
) -> pd.DataFrame:
    """What sellers earn a thing, by their way of pricing, in a scenario.

    With ``steep`` above 0 buyers turn away faster beyond ``USUAL`` times the typical price than any past shows.
    """
    hour = float(assumptions.cents("hour.target"))
    storage = float(assumptions.cents("pricing.storage"))
    shop = scenario.shop
    worlds = [
        world(kind, hour_cents=hour, storage_cuft_month_cents=storage, trip_spread=shop.trip_spread)
        for kind in shop.kinds
    ]
    rules = comparable_rules(assumptions)
    low, bound, step = (assumptions.number(f"pricing.{name}") for name in ("low", "high", "step"))
    scenes = [_scene(each, things, settings, steep) for each in worlds]
    rows = []
    for copy in range(shops):
        draws = Draws(seed + 7919 * copy)
        model, highest = learned(worlds, things=past_things, assumptions=assumptions, draws=draws)
        grids = {"kit": PriceGrid(low, highest, step), "up to the bound": PriceGrid(low, bound, step)}
        sums: dict[str, float] = {"highest": highest}
        for scene in scenes:
            for name, worth in _kind_earnings(scene, model, comparables, rules, grids, draws).items():
                sums[name] = sums.get(name, 0.0) + worth / len(scenes)
        rows.append(sums)
    return pd.DataFrame(rows)


@dataclass(frozen=True)
class _Scene:
    """Things of a kind that every shop prices, and what they bring the seller who knows."""

    world: World
    value: Floats
    settings: PriceSettings
    known_worth: float
    steep: float

    def _bent(self, table: PriceTable, typical: Floats) -> PriceTable:
        """The prices as buyers feel them: beyond the usual ones each step counts so much more."""
        apart = np.log(typical / self.value)[:, None]
        felt = table.log_ratio + self.steep * np.maximum(table.log_ratio + apart - np.log(USUAL), 0.0)
        return replace(table, log_ratio=felt)

    def known(self, held: Floats) -> float:
        """Mean worth of the paths of a seller who knows the demand, by the typical prices held."""
        demand = self.world.demand(np.ones(held.size), weeks=self.settings.weeks)
        table = price_table(held, self.world.net, demand, grid=GRID)
        wanted = self.world.wanted
        truth = Possible(wanted.level, np.zeros(wanted.level.size), wanted.share)
        # As good as ``knowing_paths``, the backward induction with the chances given as a state
        # (``tests/simulation/test_price_earnings.py``), and twenty times as fast.
        felt = self._bent(table, held)
        paths = weighed_paths(demand, truth, felt, self.settings, storage_cents=self.world.storage_cents, sweeps=3)
        return self.worth(paths.place, paths.lowest_offer_cents, table, held)

    def worth(self, place: npt.NDArray[np.int64], lowest: Floats, table: PriceTable, typical: Floats) -> float:
        """Mean worth of paths under the truth, hidden levels of demand included. [cents]"""
        truth = self.world.demand(self.value / typical, weeks=self.settings.weeks)
        table = self._bent(table, typical)
        total = np.zeros(self.value.size)
        for level, share in zip(self.world.wanted.level, self.world.wanted.share, strict=True):
            with np.errstate(divide="ignore"):
                moved = Demand(truth.log_rate + np.log(level), truth.pull, truth.weekly, truth.offers)
            found = path_outcomes(place, lowest, moved, table)
            total += share * expected_value_cents(
                found, self.settings, storage_cents=self.world.storage_cents, end_cents=0.0
            )
        return float(total.mean())


def _scene(each: World, things: int, settings: PriceSettings, steep: float) -> _Scene:
    kind = each.kind
    # Values evenly over their distribution, so that few things stand for many.
    value = 100 * kind.price_usd * np.exp(kind.price_spread * ndtri((np.arange(things) + 0.5) / things))
    blank = _Scene(each, value, settings, 0.0, steep)
    return replace(blank, known_worth=blank.known(value))


def _kind_earnings(
    scene: _Scene,
    model: SellingModel,
    comparables: int,
    rules: ComparableRules,
    grids: dict[str, PriceGrid],
    draws: Draws,
) -> dict[str, float]:
    """Mean worth a thing of one kind, by way of pricing."""
    value, settings, things = scene.value, scene.settings, scene.value.size
    weeks = settings.weeks
    like = value[:, None] * np.exp(LIKE_SPREAD * draws.normal("like now", things * comparables).reshape(things, -1))
    seen = [typical_price(prices, rules=rules) for prices in like]
    held, unsure = (np.array([getattr(one, name) for one in seen], dtype=np.float64) for name in ("cents", "error"))
    one = model.demand(scene.world.kind.name, weeks=weeks)
    guess = Demand(np.full(things, one.log_rate[0]), np.full(things, one.pull[0]), one.weekly, one.offers)
    table = price_table(held, scene.world.net, guess, grid=GRID)
    storage = scene.world.storage_cents
    possible = model.possible(scene.world.kind.name, unsure, weeks=weeks)
    earned = {}
    for name, grid in grids.items():
        own = price_table(held, scene.world.net, guess, grid=grid)
        paths = weighed_paths(guess, possible, own, settings, storage_cents=storage)
        earned[name] = scene.worth(paths.place, paths.lowest_offer_cents, own, held)
    first = np.abs(np.exp(table.log_ratio) - MARKUP).argmin(axis=1)
    fixed = np.repeat(first[:, None], weeks, axis=1)
    cuts = np.rint(-np.log(0.9) / GRID.step * (np.arange(weeks) // 4)).astype(np.int64)
    falling = np.maximum(fixed - cuts, table.asked)
    asked = np.take_along_axis(table.price_cents, falling, axis=1)
    return {
        **earned,
        "knowing": scene.known(held),
        "knowing the thing too": scene.known_worth,
        "fixed price": scene.worth(fixed, np.full((things, weeks), np.inf), table, held),
        "10 % every four weeks": scene.worth(falling, 0.9 * asked, table, held),
        "first offer": scene.worth(fixed, np.zeros((things, weeks)), table, held),
    }
