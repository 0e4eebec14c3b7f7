"""Print how forecasts come out: ``python -m tests.benchmarks.bench_forecasts``.

First each category's hour in simulated shops, forecast at each month's end and scored at the
next: the share of the outcomes inside their intervals, with its standard error over shops. Then a
month's net, from the things on sale and from the spread of months alone, beside one who knows every
thing's true chance and all purchases; and the prices of what sold. At last every kind of forecast on
the demo shop, month after month, as its own track record would show it.
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
from flipkit.simulation.demo import demo_rules, demo_shop
from flipkit.simulation.shops import histories
from tests.benchmarks.coverage import FAMILIES
from tests.benchmarks.forecast_coverage import forecast_days, foretold_returns, oracle_month, sales_known
from tests.benchmarks.scenarios import scenarios


def main() -> None:
    given = argparse.ArgumentParser()
    given.add_argument("--shops", type=int, default=16)
    given.add_argument("--seed", type=int, default=78)
    given.add_argument("--scenario", nargs="+", default=[])
    given.add_argument("--part", nargs="+", choices=["hours", "months", "demo"], default=["hours", "months", "demo"])
    options = given.parse_args()
    started = time.perf_counter()
    if "hours" in options.part:
        hours(options)
    if "months" in options.part:
        months(options)
    sys.stdout.write(f"{options.shops} shops each, {time.perf_counter() - started:.0f} s\n")
    if "demo" in options.part:
        sys.stdout.write("\nThe demo shop's own months\n")
        scores = demo_scores()
        sys.stdout.write(score_table(scores).round(3).to_string(index=False) + "\n")
        for one in faults(scores, too_few=10):
            said = f"said {one.said:.2f}, happened {one.happened:.2f}, {one.scored}"
            sys.stdout.write(f"{one.what}: {one.fault}, {said}\n")


def hours(options: argparse.Namespace) -> None:
    """Each category's hour of the next month."""
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
            below, above = (done["outcome"] < done["low"]).mean(), (done["outcome"] > done["high"]).mean()
            sys.stdout.write(
                f"{name:22} {level:5.2f} {len(done):6d} {done['inside'].mean():6.3f} "
                f"{over_shops(done['inside'], done['copy']):5.3f} {below:5.3f} {above:5.3f} "
                f"{done['error'].mean():6.2f}\n"
            )
            sys.stdout.flush()


def over_shops(hit: pd.Series, shop: pd.Series) -> float:
    """Standard error of a share, over shops."""
    each = hit.astype(np.float64).groupby(shop.to_numpy()).mean()
    return float(each.std() / np.sqrt(len(each)))


def months(options: argparse.Namespace) -> None:
    """The next month's net, and the prices of what sold in it; every second month of the second year."""
    said = ("", "_before", "_oracle")
    sys.stdout.write(
        f"\n{'shop':20} {'months':>6}" + "".join(f" {'held' + one:>12} {'+-':>5} {'half':>6}" for one in said)
    )
    sys.stdout.write(f" {'bias':>6} {'+-':>5} | {'sold':>5} {'below':>6} {'+-':>5} {'above':>6} {'+-':>5}\n")
    for family, made in FAMILIES.items():
        for scenario in made():
            if options.scenario and scenario.name not in options.scenario:
                continue
            sales = sales_known(scenario.shop, seed=options.seed, copies=6) if family == "weekly buyers" else None
            rows, prices = [], []
            for shop in range(options.shops):
                drawn = histories(scenario.shop, seed=options.seed + shop)
                for month in ("2026-02", "2026-04", "2026-06", "2026-08", "2026-10"):
                    for day in forecast_days(drawn, first=month, last=month, level=0.95):
                        row = {"shop": shop, **day.month()}
                        if sales is not None:
                            mean, spread = oracle_month(drawn, made=day.made, due=day.due, sales=sales)
                            row |= {"low_oracle": mean - 1.96 * spread, "high_oracle": mean + 1.96 * spread}
                        rows.append(row)
                        prices.append(day.stock_scored().assign(shop=shop))
            table, done = pd.DataFrame(rows), pd.concat(prices, ignore_index=True)
            sys.stdout.write(f"{scenario.name:20} {len(table):6d}")
            for one in said:
                if f"low{one}" not in table:
                    sys.stdout.write(f" {'':12} {'':5} {'':6}")
                    continue
                low, high = table[f"low{one}"], table[f"high{one}"]
                held = (low <= table["came"]) & (table["came"] <= high)
                half = (high - low).median() / 200
                sys.stdout.write(f" {held.mean():12.3f} {over_shops(held, table['shop']):5.3f} {half:6.0f}")
            gap = (table["middle"] - table["came"]) / 100
            sys.stdout.write(f" {gap.mean():6.0f} {gap.std() / np.sqrt(len(gap)):5.0f} |")
            sold = done[(done["what"] == "sold price") & done["outcome"].notna()]
            sys.stdout.write(f" {len(sold):5d}")
            for beyond in (sold["outcome"] < sold["low"], sold["outcome"] > sold["high"]):
                sys.stdout.write(f" {beyond.mean():6.3f} {over_shops(beyond, sold['shop']):5.3f}")
            sys.stdout.write("\n")
            sys.stdout.flush()


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
