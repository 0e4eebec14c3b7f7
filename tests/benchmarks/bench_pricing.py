"""Print what price paths and buying limits are worth: ``python -m tests.benchmarks.bench_pricing``.

First table: what a thing earns on average by each way of pricing, over what a seller earns who
knows the demand and sees the same comparables; ``+-`` is the standard error over the shops.
Second table: what an hour earns in a year of paying exactly the highest price, by a seller who lists and marks down as
before, beside the target and the kit's stated error (two standard errors): over all that is bought, and over what the
target and not the loss limit prices ("by target"). "lost" is the mean chance of a loss that counts. The same for who
pays what the recommended way allows and lists so, and for who pays the tag where it is no more. Each for buyers as the
fit assumes them, and for buyers who turn away faster beyond the usual price.
Both for shops with so many things of each kind in their past.
Last, the time of 10,000 paths on one core.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
import time
from typing import Any

import numpy as np

from flipkit.analysis.demand import Demand, Offers, possible_demand
from flipkit.analysis.pricing import PriceGrid, PriceSettings, price_table, weighed_paths
from flipkit.assumptions import Assumptions, load_assumptions
from tests.benchmarks.buying_year import HOUR_CENTS, buying_year, year_assumptions
from tests.benchmarks.price_earnings import HABITS, price_earnings
from tests.benchmarks.scenarios import Scenario, scenarios

_TARGET = HOUR_CENTS / 100
#: Pull that comes on top beyond the usual price, where buyers turn away faster than the fit assumes.
_FASTER = 2.5


def main() -> None:
    given = argparse.ArgumentParser()
    given.add_argument("--shops", type=int, default=8)
    given.add_argument("--things", type=int, default=6)
    given.add_argument("--finds", type=int, default=20)
    given.add_argument("--past", type=int, nargs="+", default=[120, 400], help="things of each kind in a shop's past")
    given.add_argument("--comparables", type=int, default=3)
    given.add_argument("--seed", type=int, default=5)
    given.add_argument("--pull", type=float, help="how strongly price moves demand in truth, in place of 2.5")
    given.add_argument("--high", help="highest price considered over the typical one, in place of the assumption")
    given.add_argument("--steep", type=float, default=0.0, help="how much faster buyers turn away beyond usual prices")
    given.add_argument("--scenario", nargs="+", default=[])
    given.add_argument("--skip", nargs="+", default=[], choices=["paths", "buying", "time"])
    options = given.parse_args()
    wished = {"hour.target": f"{_TARGET:.2f}"} | ({"pricing.high": options.high} if options.high else {})
    assumptions = load_assumptions(overrides=year_assumptions(wished))
    chosen = [_pulled(one, options.pull) for one in scenarios() if not options.scenario or one.name in options.scenario]
    for past in options.past:
        shared = {
            "shops": options.shops,
            "past_things": past,
            "comparables": options.comparables,
            "assumptions": assumptions,
            "seed": options.seed,
        }
        if "paths" not in options.skip:
            _say(f"Paths, {options.shops} shops a line, {past} things of each kind in the past of each")
            _paths(chosen, options.things, shared | {"steep": options.steep}, assumptions)
        if "buying" not in options.skip:
            _say(f"A year of buying, {options.shops} shops a line, {past} things of each kind in the past of each")
            _buying(chosen, options.finds, shared)
    if "time" not in options.skip:
        _say(f"10,000 paths: {_seconds(10_000):.1f} s of one core")


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def _paths(chosen: list[Scenario], things: int, shared: dict[str, Any], assumptions: Assumptions) -> None:
    settings = PriceSettings(
        assumptions.whole("pricing.weeks"),
        keep=(1 + assumptions.share("pricing.money")) ** (-1 / 52),
        change_cents=assumptions.number("pricing.change") / 60 * 100 * _TARGET,
    )
    heads = (
        "kit",
        "+-",
        "worst shop",
        "highest",
        "to the bound",
        "beats habits",
        "knows thing",
        "fixed price",
        "10 %/4 weeks",
        "first offer",
    )
    _say(f"{'scenario':22} {'cents':>6} " + " ".join(f"{head:>12}" for head in heads))
    for scenario in chosen:
        found = price_earnings(scenario, things=things, settings=settings, **shared)
        part = found["kit"] / found["knowing"]
        mean = found.mean() / found["knowing"].mean()
        cells = (
            mean["kit"],
            part.std() / np.sqrt(len(part)),
            part.min(),
            found["highest"].mean(),
            mean["up to the bound"],
            (found["kit"] > found[list(HABITS)].max(axis=1)).mean(),
            mean["knowing the thing too"],
            *(mean[habit] for habit in HABITS),
        )
        line = " ".join(f"{cell:12.3f}" for cell in cells)
        _say(f"{scenario.name:22} {found['knowing'].mean():6.0f} {line}")


def _buying(chosen: list[Scenario], finds: int, shared: dict[str, Any]) -> None:
    heads = (
        "bought",
        "hourly",
        "+-",
        "by target",
        "stated +-",
        "lost",
        "recommended",
        "its hourly",
        "its lost",
        "at tag",
    )
    _say(f"{'scenario':22} {'buyers':>8} " + " ".join(f"{head:>11}" for head in heads))
    every = []
    for scenario in chosen:
        for buyers, faster in (("as fit", 0.0), ("faster", _FASTER)):
            year = buying_year(scenario, finds=finds, faster=faster, **shared)
            year = year[year["bought"] > 0]
            cells = (
                year["bought"].mean(),
                year["hourly"].mean(),
                year["hourly"].std() / np.sqrt(len(year)),
                year["target_hourly"].mean(),
                year["error"].mean(),
                year["lost"].mean(),
                year["best_bought"].mean(),
                year["best_hourly"].mean(),
                year["best_lost"].mean(),
                year["tag_hourly"].mean(),
            )
            every.append((faster, year["target_hourly"].mean()))
            _say(f"{scenario.name:22} {buyers:>8} " + " ".join(f"{cell:11.2f}" for cell in cells))
    for buyers, faster in (("as fit", 0.0), ("faster", _FASTER)):
        mean = np.mean([hourly for kind, hourly in every if kind == faster])
        _say(f"Mean of the scenarios, buyers {buyers}: {mean:.2f} an hour for a target of {_TARGET:.2f}")


def _pulled(scenario: Scenario, pull: float | None) -> Scenario:
    """The scenario with another strength of price in the truth: far from what the kit holds before."""
    if pull is None:
        return scenario
    kinds = tuple(dataclasses.replace(kind, price_pull=pull) for kind in scenario.shop.kinds)
    return dataclasses.replace(scenario, shop=dataclasses.replace(scenario.shop, kinds=kinds))


def _seconds(things: int) -> float:
    random = np.random.default_rng(1)
    demand = Demand(
        np.log(0.07 * np.exp(0.3 * random.standard_normal(things))),
        np.full(things, 2.5),
        -0.02 * np.arange(52.0),
        Offers((0.95, 0.9, 0.85, 0.8, 0.7), (0.1,) * 5),
    )
    typical = 5000 * np.exp(0.5 * random.standard_normal(things))
    begun = time.process_time()
    table = price_table(typical, lambda price: 0.87 * price - 800, demand, grid=PriceGrid(0.3, 2.0, 0.03))
    possible = possible_demand(0.08, np.full(things, 0.6), pull_error=0.5, together=0.05)
    weighed_paths(demand, possible, table, PriceSettings(52, keep=0.9973, change_cents=75), storage_cents=20.0)
    return time.process_time() - begun


if __name__ == "__main__":
    main()
