"""Print how often the kit's 95 % intervals hold the truth: ``python -m tests.benchmarks.bench_calibration``.

A row a family, scenario, number of items bought of each category, and basis. ``held`` is the share of
the claimed intervals that hold the truth, with its standard error over shops; ``claimed`` the
share of the cases in which the kit claims an interval at all. With ``--write`` the tables go into the
file that the trust page reads; ``--part`` remakes some of its tables and leaves the others as they are.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import sys
import time
from collections.abc import Callable
from importlib.metadata import version
from typing import Any

import numpy as np
import pandas as pd

from flipkit.analysis.ratio_stats import IntervalSettings
from flipkit.analysis.stock_value import Horizon
from flipkit.assumptions import load_assumptions
from flipkit.simulation.coverage import CALIBRATION
from tests.benchmarks.bench_intervals import mixed_shops, tenths, told
from tests.benchmarks.coverage import FAMILIES, coverage, scenario_truth, season, shares_of_the_knowing, shop_intervals
from tests.benchmarks.scenarios import Scenario, scenarios

SEED = 20260101
#: Items behind the truth of a scenario: its error is far below that of a shop's interval.
TRUTH_ITEMS = 1_000_000
TRUTH_SEED = 11
#: Shops by seed in which chances are held against what came: those of ``bench_intervals``, and others.
CHANCES = {20260101: 1000, 777: 900, 55001: 1000, 55002: 1000, 55003: 1000}


def measured_returns(
    scenario: Scenario, truth: pd.DataFrame, *, items_each: int, shops: int, resamples: int
) -> pd.DataFrame:
    """How often intervals of one scenario hold the truth, a row a basis."""
    assumed = load_assumptions()
    settings = IntervalSettings(
        assumed.share("report.confidence"), resamples, SEED + items_each, assumed.whole("report.too_few_items")
    )
    intervals = shop_intervals(
        scenario, items_each=items_each, shops=shops, seed=SEED + items_each, horizon=horizon(), settings=settings
    )
    return coverage(intervals, truth)


def horizon() -> Horizon:
    """The kit's own horizon; cleared stock brings nothing in a simulated shop, so the salvage is nothing here."""
    return Horizon(days=load_assumptions().whole("stock.horizon_days"), salvage_ppm=0)


def returns_tables(options: argparse.Namespace) -> dict[str, pd.DataFrame]:
    """Coverage of the returns' intervals, and the truth that they were held against."""
    rows, truths = [], []
    head = f"{'scenario':22} {'things':>6} {'basis':7} {'claimed':>7} {'held':>6} {'+-':>5} {'too high':>8}"
    sys.stdout.write(f"{head} {'too low':>7} {'BCa':>6} {'width':>6} {'bias':>6} {'truth':>6}\n")
    for family, made in FAMILIES.items():
        for scenario in made():
            if options.scenario and scenario.name not in options.scenario:
                continue
            truth = scenario_truth(scenario, horizon=horizon(), items=options.truth_items, seed=TRUTH_SEED)
            kept = truth.loc[list(scenario.focus)].rename_axis("category").reset_index()
            truths.append(kept.assign(scenario=scenario.name))
            for items_each in options.items:
                found = measured_returns(
                    scenario, truth, items_each=items_each, shops=options.shops, resamples=options.resamples
                )
                found["truth"] = [truth.loc[list(scenario.focus), f"hourly_{basis}"].mean() for basis in found.index]
                for basis, row in found.iterrows():
                    sys.stdout.write(
                        f"{scenario.name:22} {items_each:6d} {basis:7} {row.claimed_share:7.3f} {row.held:6.3f} "
                        f"{row.held_error:5.3f} {row.too_high:8.3f} {row.too_low:7.3f} {row.bca_held:6.3f} "
                        f"{row.width:6.1f} {row.bias:6.2f} {row.truth:6.2f}\n"
                    )
                sys.stdout.flush()
                found = found.rename_axis("basis").reset_index()
                said = {"family": family, "scenario": scenario.name, "items": items_each}
                rows.append(found.assign(**said, meant=load_assumptions().share("report.confidence")))
    names = ["scenario", "category", "hourly_sold", "hourly_sold_error", "hourly_bought", "hourly_bought_error"]
    return {
        "returns": pd.concat(rows, ignore_index=True).set_index(["family", "scenario", "items", "basis"]).reset_index(),
        "truth": pd.concat(truths, ignore_index=True)[names],
    }


def earned_tables(options: argparse.Namespace) -> dict[str, pd.DataFrame]:
    """What a year of buying by the kit and by rules of thumb earns beside the seller who knows the truth."""
    assumed = load_assumptions()
    setting = season(scenarios(whole_shop=True)[0].shop, copies=options.seasons, seed=SEED, truth_items=400_000)
    found = shares_of_the_knowing(
        setting,
        horizon=horizon(),
        doubt=assumed.number("sourcing.doubt"),
        window_months=assumed.whole("report.window_months"),
        too_few=assumed.whole("report.too_few_items"),
    )
    sys.stdout.write(found.round(4).to_string() + "\n")
    return {"earned": found.assign(shops=options.seasons).rename_axis("name").reset_index()}


def chances_tables(options: argparse.Namespace) -> dict[str, pd.DataFrame]:
    """The chance to beat the target by tenths, said and come, in shops that nothing was tuned on; all of them last."""
    return {"chances": by_tenths({seed: told(mixed_shops(shops, seed)) for seed, shops in CHANCES.items()})}


def by_tenths(found: dict[int, pd.DataFrame]) -> pd.DataFrame:
    """The tenths of each seed's shops and of all; ``beyond``: how far a tenth is off beyond its error."""
    shops = {str(seed): one.assign(shop=[f"{seed} {at}" for at in one["shop"]]) for seed, one in found.items()}
    rows = []
    for seeds, told_ones in (*shops.items(), (", ".join(shops), pd.concat(shops.values(), ignore_index=True))):
        table = tenths(told_ones[told_ones["claimed"]], "beats_target")
        table.insert(0, "seeds", seeds)
        table.insert(1, "shops", told_ones["shop"].nunique())
        table.insert(2, "from", np.arange(10) / 10)
        rows.append(table.assign(beyond=np.maximum(table["off"].abs() - table["error"], 0.0)))
    whole = pd.concat(rows, ignore_index=True)
    sys.stdout.write(whole.round(3).to_string(index=False) + "\n")
    return whole


#: The parts of the file, each with what makes its tables.
PARTS: dict[str, Callable[[argparse.Namespace], dict[str, pd.DataFrame]]] = {
    "returns": returns_tables,
    "earned": earned_tables,
    "chances": chances_tables,
}


def write(tables: dict[str, pd.DataFrame]) -> None:
    """Put tables into the file, each with its day, version and seed; the others stay."""
    kept: dict[str, Any] = json.loads(CALIBRATION.read_text(encoding="utf-8")) if CALIBRATION.is_file() else {}
    made = {"made_on": dt.date.today().isoformat(), "version": version("flipkit"), "seed": SEED}
    for name, table in tables.items():
        number = table.select_dtypes(np.floating).columns
        whole = table.assign(**{column: table[column].round(5) for column in number})
        rows = json.loads(whole.to_json(orient="records", double_precision=5))
        kept[name] = {**made, "rows": rows}
    text = json.dumps(dict(sorted(kept.items())))
    # A row a line, so that a change of the file can be read.
    CALIBRATION.write_text(text.replace("[{", "[\n{").replace("}, {", "},\n{") + "\n", encoding="utf-8")


def main() -> None:
    given = argparse.ArgumentParser()
    given.add_argument("--shops", type=int, default=250)
    given.add_argument("--items", type=int, nargs="+", default=[20, 40, 80])
    given.add_argument("--scenario", nargs="+", default=[])
    given.add_argument("--resamples", type=int, default=500)
    given.add_argument("--truth-items", type=int, default=TRUTH_ITEMS)
    given.add_argument("--seasons", type=int, default=16)
    given.add_argument("--part", nargs="+", choices=list(PARTS), default=list(PARTS))
    given.add_argument("--write", action="store_true")
    options = given.parse_args()
    started = time.perf_counter()
    tables: dict[str, pd.DataFrame] = {}
    for name in options.part:
        tables |= PARTS[name](options)
    if options.write:
        write(tables)
    sys.stdout.write(f"{options.shops} shops a line, {time.perf_counter() - started:.0f} s\n")


if __name__ == "__main__":
    main()
