"""Print how often the kit's 95 % intervals hold the truth: ``python -m tests.benchmarks.bench_calibration``.

A row a scenario, number of items bought of each category, and basis. ``held`` is the share of
the claimed intervals that hold the truth, with its standard error over shops; ``claimed`` the
share of the cases in which the kit claims an interval at all.
"""

from __future__ import annotations

import argparse
import sys
import time

from flipkit.analysis.ratio_stats import IntervalSettings
from flipkit.analysis.stock_value import Horizon
from flipkit.assumptions import load_assumptions
from flipkit.simulation.coverage import coverage, scenario_truth, shop_intervals
from flipkit.simulation.demo import scenarios


def main() -> None:
    given = argparse.ArgumentParser()
    given.add_argument("--shops", type=int, default=1000)
    given.add_argument("--items", type=int, nargs="+", default=[20, 40, 80])
    given.add_argument("--scenario", nargs="+", default=[])
    given.add_argument("--resamples", type=int, default=1000)
    given.add_argument("--truth-items", type=int, default=2_000_000)
    options = given.parse_args()
    assumptions = load_assumptions()
    # Cleared stock brings nothing in a simulated shop, so the salvage is nothing here.
    horizon = Horizon(days=int(assumptions.number("stock.horizon_days")), salvage_ppm=0)
    too_few = int(assumptions.number("report.too_few_items"))
    head = (
        f"{'scenario':22} {'items':>5} {'basis':7} {'claimed':>7} {'held':>6} {'+-':>5} {'too high':>8} {'too low':>7}"
    )
    sys.stdout.write(f"{head} {'BCa':>6} {'width':>6} {'bias':>6} {'truth':>6}\n")
    started = time.perf_counter()
    for scenario in scenarios():
        if options.scenario and scenario.name not in options.scenario:
            continue
        truth = scenario_truth(scenario, horizon=horizon, items=options.truth_items, seed=11)
        for items_each in options.items:
            intervals = shop_intervals(
                scenario,
                items_each=items_each,
                shops=options.shops,
                seed=20260101 + items_each,
                horizon=horizon,
                settings=IntervalSettings(0.95, options.resamples, 20260101 + items_each, too_few),
            )
            for basis, row in coverage(intervals, truth).iterrows():
                true = truth.loc[list(scenario.focus), f"hourly_{basis}"].mean()
                sys.stdout.write(
                    f"{scenario.name:22} {items_each:5d} {basis:7} {row.claimed_share:7.3f} {row.held:6.3f} "
                    f"{row.held_error:5.3f} {row.too_high:8.3f} {row.too_low:7.3f} {row.bca_held:6.3f} "
                    f"{row.width:6.1f} {row.bias:6.2f} {true:6.2f}\n"
                )
            sys.stdout.flush()
    sys.stdout.write(f"{options.shops} shops a line, {time.perf_counter() - started:.0f} s\n")


if __name__ == "__main__":
    main()
