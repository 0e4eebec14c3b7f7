"""Print what a year of buying by the kit earns: ``python -m tests.benchmarks.bench_usefulness``.

A row a scenario: the share of the knowing seller's earnings that each way of choosing reaches,
with its standard error over shops. Everybody has the same finds, hours and history.

With twelve kinds every trap is in every shop, so that "ordinary", "loses money" and "two thirds
never sell" are one shop under other seeds: three rows say how much the draws matter, not how the
kit does in three shops. With ``--six`` each is a shop of its own.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence

import numpy as np

from flipkit.analysis.stock_value import Horizon
from flipkit.assumptions import load_assumptions
from tests.benchmarks.coverage import season, shares_of_the_knowing
from tests.benchmarks.scenarios import Scenario, scenarios


def one_shop(told: Sequence[Scenario]) -> list[list[str]]:
    """Names of scenarios whose shops are the same, in groups of two or more."""
    groups = [[other.name for other in told if other.shop == one.shop] for one in told]
    return [names for at, names in enumerate(groups) if len(names) > 1 and names not in groups[:at]]


def main() -> None:
    given = argparse.ArgumentParser()
    given.add_argument("--shops", type=int, default=60)
    given.add_argument("--history", type=int, nargs="+", default=[12, 24])
    given.add_argument("--scenario", nargs="+", default=[])
    given.add_argument("--doubt", type=float, help="errors of benefit of the doubt, in place of the assumption's")
    given.add_argument("--window", type=int, help="months of purchases looked back on, in place of the assumption's")
    given.add_argument("--six", action="store_true", help="shops of six kinds instead of twelve")
    options = given.parse_args()
    assumptions = load_assumptions()
    horizon = Horizon(days=assumptions.whole("stock.horizon_days"), salvage_ppm=0)
    too_few = assumptions.whole("report.too_few_items")
    window = options.window or assumptions.whole("report.window_months")
    doubt = assumptions.number("sourcing.doubt") if options.doubt is None else options.doubt
    started = time.perf_counter()
    told = scenarios(whole_shop=not options.six)
    for history in options.history:
        sys.stdout.write(f"{history} months of history, then 12 of choosing\n")
        for alike in one_shop(told):
            sys.stdout.write(f"one shop under other seeds, each a row: {', '.join(alike)}\n")
        for at, scenario in enumerate(told):
            if options.scenario and scenario.name not in options.scenario:
                continue
            setting = season(scenario.shop, copies=options.shops, seed=7 + 2 * at, history_months=history)
            found = shares_of_the_knowing(setting, horizon=horizon, doubt=doubt, window_months=window, too_few=too_few)
            if at == 0 or options.scenario:
                sys.stdout.write(f"{'':22}" + "".join(f"{name:>34}" for name in found.index) + "\n")
            cells = [f"{row.share:.3f} +- {row.error:.3f}" for row in found.itertuples()]
            sys.stdout.write(f"{scenario.name:22}" + "".join(f"{cell:>34}" for cell in cells))
            sys.stdout.write(f"   knowing: {found.attrs['knowing']:,.0f} a year in {setting.hours:.0f} h a month\n")
            sys.stdout.flush()
    sys.stdout.write(f"{options.shops} shops a line, {np.rint(time.perf_counter() - started):.0f} s\n")


if __name__ == "__main__":
    main()
