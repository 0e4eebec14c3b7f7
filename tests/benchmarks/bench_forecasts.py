"""Print how forecasts come out: ``python -m tests.benchmarks.bench_forecasts``.

First each category's hour in simulated shops, forecast at each month's end and scored at the
next: the share of the outcomes inside their intervals, with its standard error over shops. Then
every kind of forecast on the demo shop, month after month, as its own track record would show it.
"""

from __future__ import annotations

import argparse
import itertools
import sys
import time

import numpy as np
import pandas as pd

from flipkit.analysis.forecasts import faults, score_table, scored
from flipkit.reports.forecasts import month_forecasts, outcomes
from flipkit.reports.study import open_study
from flipkit.simulation.demo import demo_rules, demo_shop, scenarios
from flipkit.simulation.shops import histories
from tests.benchmarks.forecast_coverage import foretold_returns


def main() -> None:
    given = argparse.ArgumentParser()
    given.add_argument("--shops", type=int, default=16)
    given.add_argument("--seed", type=int, default=78)
    options = given.parse_args()
    started = time.perf_counter()
    shops = {"the demo shop's kind": (demo_shop(demo_rules()), "2026-09")}
    shops |= {one.name: (one.shop, "2026-11") for one in scenarios()}
    sys.stdout.write(
        f"{'shop':22} {'meant':>5} {'scored':>6} {'inside':>6} {'+-':>5} {'below':>5} {'above':>5} {'bias':>6}\n"
    )
    for name, (shop, last) in shops.items():
        drawn = histories(shop, seed=options.seed, copies=options.shops)
        for level in (0.8, 0.95):
            told = foretold_returns(drawn, first="2025-09", last=last, months=12, level=level, too_few=10, seed=1)
            done = told[told["outcome"].notna()]
            by_shop = done.groupby("copy")["inside"].mean()
            below, above = (done["outcome"] < done["low"]).mean(), (done["outcome"] > done["high"]).mean()
            sys.stdout.write(
                f"{name:22} {level:5.2f} {len(done):6d} {done['inside'].mean():6.3f} "
                f"{by_shop.std() / np.sqrt(len(by_shop)):5.3f} {below:5.3f} {above:5.3f} {done['error'].mean():6.2f}\n"
            )
            sys.stdout.flush()
    sys.stdout.write(
        f"{options.shops} shops each, {time.perf_counter() - started:.0f} s\n\nThe demo shop's own months\n"
    )
    scores = demo_scores()
    sys.stdout.write(score_table(scores).round(3).to_string(index=False) + "\n")
    for one in faults(scores, too_few=10):
        sys.stdout.write(f"{one.what}: {one.fault}, said {one.said:.2f}, happened {one.happened:.2f}, {one.scored}\n")


def demo_scores() -> pd.DataFrame:
    """Every forecast of the demo shop from April 2025 to September 2026, scored a month later."""
    ends = [month.end_time.date() for month in pd.period_range("2025-04", "2026-10", freq="M")]
    rows, told = [], month_forecasts(open_study(as_of=ends[0]))
    for _, due in itertools.pairwise(ends):
        study = open_study(as_of=due)
        rows.append(scored(told, outcomes(study, told), as_of=due))
        told = month_forecasts(study)
    return pd.concat(rows, ignore_index=True)


if __name__ == "__main__":
    main()
