"""Print what price paths and buying limits are worth: ``python tests/benchmarks/bench_pricing.py``.

First table: what a thing earns on average by each way of pricing, over what a seller earns who
knows the demand and sees the same comparables. Second table: what an hour earns in a year of
buying by the highest price worth paying, beside the target and the kit's stated error. Last,
the time of 10,000 paths on one core.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
import time

import numpy as np

from flipkit.analysis.demand import Demand, Offers
from flipkit.analysis.price_tables import PriceGrid, price_table
from flipkit.analysis.pricing import PriceSettings, best_paths
from flipkit.assumptions import load_assumptions
from flipkit.simulation.buying_year import buying_year, year_assumptions
from flipkit.simulation.price_earnings import price_earnings
from flipkit.simulation.scenarios import Scenario, scenarios

_TARGET = 15.0


def main() -> None:
    given = argparse.ArgumentParser()
    given.add_argument("--shops", type=int, default=8)
    given.add_argument("--things", type=int, default=6)
    given.add_argument("--finds", type=int, default=20)
    given.add_argument("--past", type=int, default=120)
    given.add_argument("--comparables", type=int, default=3)
    given.add_argument("--seed", type=int, default=5)
    given.add_argument("--pull", type=float, help="how strongly price moves demand in truth, in place of 2.5")
    given.add_argument("--scenario", nargs="+", default=[])
    given.add_argument("--skip", nargs="+", default=[], choices=["paths", "buying", "time"])
    options = given.parse_args()
    assumptions = load_assumptions(overrides=year_assumptions({"hour.target": f"{_TARGET:.2f}"}))
    settings = PriceSettings(
        assumptions.whole("pricing.weeks"),
        keep=(1 + assumptions.share("pricing.money")) ** (-1 / 52),
        change_cents=assumptions.number("pricing.change") / 60 * 100 * _TARGET,
    )
    chosen = [_pulled(one, options.pull) for one in scenarios() if not options.scenario or one.name in options.scenario]
    shared = {"shops": options.shops, "past_things": options.past, "comparables": options.comparables}
    if "paths" not in options.skip:
        heads = ("kit", "+-", "its worst shop", "knowing the thing", "fixed price", "10 %/4 weeks", "first offer")
        sys.stdout.write(f"{'scenario':22} {'cents':>6} " + " ".join(f"{head:>17}" for head in heads) + "\n")
        for scenario in chosen:
            found = price_earnings(
                scenario, things=options.things, settings=settings, assumptions=assumptions, seed=options.seed, **shared
            )
            part = found.div(found["knowing"], axis=0)
            mean = found.mean() / found["knowing"].mean()
            cells = (
                mean["kit"],
                part["kit"].std() / np.sqrt(len(part)),
                part["kit"].min(),
                mean["knowing the thing too"],
                mean["fixed price"],
                mean["10 % every four weeks"],
                mean["first offer"],
            )
            line = " ".join(f"{cell:17.3f}" for cell in cells)
            sys.stdout.write(f"{scenario.name:22} {found['knowing'].mean():6.0f} {line}\n")
            sys.stdout.flush()
    if "buying" not in options.skip:
        heads = ("bought", "hourly", "stated +-", "shops within", "at the tag", "everything")
        sys.stdout.write(f"{'scenario':22} " + " ".join(f"{head:>12}" for head in heads) + "\n")
        for scenario in chosen:
            year = buying_year(scenario, finds=options.finds, assumptions=assumptions, seed=options.seed, **shared)
            year = year[year["bought"] > 0]
            within = (year["hourly"] >= _TARGET - year["error"]).mean()
            cells = (
                year["bought"].mean(),
                year["hourly"].mean(),
                year["error"].mean(),
                within,
                year["tag_hourly"].mean(),
                year["all_hourly"].mean(),
            )
            sys.stdout.write(f"{scenario.name:22} " + " ".join(f"{cell:12.2f}" for cell in cells) + "\n")
            sys.stdout.flush()
    if "time" not in options.skip:
        sys.stdout.write(f"10,000 paths: {_seconds(10_000):.1f} s\n")


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
    begun = time.perf_counter()
    table = price_table(typical, lambda price: 0.87 * price - 800, demand, grid=PriceGrid(0.3, 1.5, 0.03))
    best_paths(demand, table, PriceSettings(52, keep=0.9973, change_cents=75), storage_cents=20.0)
    return time.perf_counter() - begun


if __name__ == "__main__":
    main()
