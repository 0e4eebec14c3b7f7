"""A million orders priced: the columns against one item at a time, duckdb and polars, on one core.

Run with ``python -m tests.benchmarks.bench_rules [--orders N]``; duckdb and polars are optional and
are left out where they are not installed. Every engine runs in a process of its own, bound to one
core, on the same orders; the prices of all are compared to the cent, and the ratios are those of
this one run.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

HERE = Path(__file__).resolve()
ENGINES = ("flipkit", "duckdb", "polars")
#: What every engine must agree on.
COLUMNS = (
    "commission_cents",
    "per_order_cents",
    "payment_cents",
    "fees_cents",
    "dimensional_lb",
    "billable_lb",
    "base_cents",
    "surcharge_cents",
    "fuel_cents",
    "protection_cents",
    "label_cents",
    "service",
    "refused",
)
OVER, HEAVY_WORDS = "ground: over the carrier's maximum", "ground: heavier than it takes"
UNDECLARED = "so much cannot be declared"
ZONES = range(1, 9)
HEAVIEST = 150
REPEATS = 5
FEES = """
kind = "fees"
name = "two tiers"
[[block]]
from = 2025-01-01
source = "demo"
seen = "invented for the demo"
[block.commission]
base = ["goods", "shipping", "tax"]
tier_kind = "marginal"
tiers = [{ up_to = "1800.00", rate = "11.9 %" }, { rate = "2.3 %" }]
[block.per_order]
base = ["goods", "shipping"]
steps = [{ up_to = "12.00", amount = "0.22" }, { amount = "0.52" }]
[block.payment]
base = ["goods", "shipping", "tax"]
rate = "2.7 %"
fixed = "0.27"
"""
HANDLING = [1500 + 100 * (zone - 1) for zone in ZONES]
HEAVY = [2100 + 128 * (zone - 1) for zone in ZONES]
LARGE = [9400 + 471 * (zone - 1) for zone in ZONES]
FUEL_PPM, RESIDENTIAL = 135_000, 405


def price(weight: int, zone: int) -> int:
    return round(860 + 36 * zone + weight * (33 + 8 * zone))


def card_text() -> str:
    def zones(cents: list[int]) -> str:
        return "[" + ", ".join(f'"{each / 100:.2f}"' for each in cents) + "]"

    names = {"handling_weight": HEAVY}
    for kind in ("longest", "second_side", "length_girth", "volume", "packaging", "soft_pack", "thin"):
        names[f"handling_{kind}"] = HANDLING
    names |= {f"large_{kind}": LARGE for kind in ("length", "length_girth", "volume", "weight")}
    lines = "\n".join(f"{name} = {zones(cents)}" for name, cents in names.items())
    return f"""
kind = "rate card"
name = "bench"
parcel_rules = "private-network"
[[block]]
from = 2026-01-26
source = "demo"
seen = "invented for the demo"
fuel = "13.5 %"
fuel_on = ["base", "surcharges", "residential"]
residential = "{RESIDENTIAL / 100:.2f}"
[block.surcharges]
{lines}
[block.declared_value]
steps = [{{ up_to = "100.00", amount = "0.00" }}, {{ up_to = "300.00", amount = "3.25" }}]
then_each = "100.00"
then_amount = "1.15"
maximum = "10000.00"
[[block.service]]
name = "ground"
table = "ground.csv"
"""


def orders(count: int, seed: int) -> dict[str, np.ndarray]:
    """Orders such as a shop of awkward things would have: two in five parcels trip something."""
    rng = np.random.default_rng(seed)
    goods = np.round(np.exp(rng.normal(8.2, 1.1, count))).astype(np.int64)
    return {
        "on": np.datetime64("2026-02-01") + rng.integers(0, 290, count).astype("timedelta64[D]"),
        "goods": goods,
        "shipping": rng.integers(0, 4_000, count),
        "tax": goods * 7 // 100,
        # Quarter inches and hundredths of a pound: no engine has rounding noise to snap.
        "length": rng.integers(16, 220, count) / 4,
        "width": rng.integers(12, 110, count) / 4,
        "height": rng.integers(5, 90, count) / 4,
        "weight": np.round(rng.gamma(1.6, 7.0, count) + 0.1, 2),
        "zone": rng.integers(1, 9, count),
        "declared": np.where(rng.random(count) < 0.15, goods, 0),
        "home": rng.random(count) < 0.7,
    }


def quickest(work: Callable[[], Any]) -> tuple[float, Any]:
    """The least processor time of a few runs, all threads counted, and what the work gives."""
    best = float("inf")
    for _ in range(REPEATS):
        start = time.process_time()
        found = work()
        best = min(best, time.process_time() - start)
    return best, found


def run_flipkit(given: dict[str, np.ndarray]) -> tuple[float, dict[str, np.ndarray], dict[str, float]]:
    import tomllib

    from flipkit.rules.fees import order_fee_lines, order_fees, read_fee_schedule
    from flipkit.rules.postage import label_columns, labels
    from flipkit.rules.rate_cards import read_rate_card
    from flipkit.rules.tables import load_rules

    schedule = read_fee_schedule(tomllib.loads(FEES), file="fees.toml")
    rows = [
        f"{weight}," + ",".join(f"{price(weight, z) / 100:.2f}" for z in ZONES) for weight in range(1, HEAVIEST + 1)
    ]
    table = "\n".join(["weight," + ",".join(map(str, ZONES)), *rows])
    card = read_rate_card(tomllib.loads(card_text()), file="card.toml", open_table=lambda name: table)
    rules = load_rules().parcels["private-network"]

    def order(part: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
        return {
            "on": part["on"],
            "goods_cents": part["goods"],
            "shipping_cents": part["shipping"],
            "tax_cents": part["tax"],
        }

    def parcel(part: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
        return {
            "on": part["on"],
            "zone": part["zone"],
            "length_in": part["length"],
            "width_in": part["width"],
            "height_in": part["height"],
            "weight_lb": part["weight"],
            "declared_cents": part["declared"],
            "residential": part["home"],
        }

    few = {name: column[:1000] for name, column in given.items()}
    order_fees(schedule, **order(few))
    labels(card, rules, **parcel(few))
    seconds, (fees, label) = quickest(
        lambda: (order_fees(schedule, **order(given)), labels(card, rules, **parcel(given)))
    )
    fees_alone, _ = quickest(lambda: order_fees(schedule, **order(given)))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024

    sample = 400
    start = time.process_time()
    for row in range(sample):
        one = {name: column[row].item() for name, column in given.items()}
        order_fee_lines(schedule, **order(one))
        label_columns(card, rules, **parcel(one))
    each = (time.process_time() - start) / sample
    found = {
        "commission_cents": fees["commission_cents"],
        "per_order_cents": fees["per_order_cents"],
        "payment_cents": fees["payment_cents"],
        "fees_cents": fees["total_cents"],
        "dimensional_lb": label["dimensional_lb"],
        "billable_lb": label["billable_lb"],
        "base_cents": label["base_cents"],
        "surcharge_cents": label["surcharge_cents"],
        "fuel_cents": label["fuel_cents"],
        "protection_cents": label["protection_cents"],
        "label_cents": label["total_cents"],
        "service": label["service"].to_numpy(),
        "refused": label["refused"],
    }
    return (
        seconds,
        {k: np.asarray(v) for k, v in found.items()},
        {"one_item_s": each, "peak_mb": peak, "fees_s": fees_alone},
    )


SQL = """
with sized as (
  select *,
    ceil(greatest(length, width, height)) as longest,
    ceil(least(length, width, height)) as shortest,
    ceil(length) + ceil(width) + ceil(height)
      - ceil(greatest(length, width, height)) - ceil(least(length, width, height)) as second,
    goods + shipping + tax as charged
  from orders
), measured as (
  select *, longest * second * shortest as volume, longest + 2 * (second + shortest) as length_girth,
    ceil(longest * second * shortest / 139) as dimensional
  from sized
), tripped as (
  select *,
    longest > 96 or length_girth > 130 or volume > 17280 or weight > 110 as large,
    longest > 48 or second > 30 or length_girth > 105 or volume > 10368 as sized_handling
  from measured
), weighed as (
  select *,
    greatest(dimensional, ceil(weight),
      case when large then 90 when sized_handling then 40 else 0 end) as billable,
    case when longest > 108 or length_girth > 165 or weight > 150 then '{over}'
      when greatest(dimensional, case when large then 90 when sized_handling then 40 else 0 end, weight) > {heaviest}
      then '{heavy}'
      when declared > 1000000 then '{undeclared}' else '' end as refused
  from tripped
), lines as (
  select w.*, r.cents as base,
    case when w.large then z.large
         when w.weight > 50 then z.heavy
         when w.sized_handling or w.shortest <= 1 then z.handling
         else 0 end + case when w.home then {residential} else 0 end as surcharge,
    case when w.declared <= 10000 then 0 when w.declared <= 30000 then 325
         else 325 + ((w.declared - 30000 + 9999) // 10000) * 115 end as protection
  from weighed w left join prices r on r.weight = w.billable and r.zone = w.zone
  join zone_prices z on z.zone = w.zone
), costs as (
  select *, ((base + surcharge) * {fuel} + 500000) // 1000000 as fuel,
    (least(charged, 180000) * 119000 + greatest(charged - 180000, 0) * 23000 + 500000) // 1000000 as commission,
    case when goods + shipping <= 1200 then 22 else 52 end as per_order,
    (charged * 27000 + 27 * 1000000 + 500000) // 1000000 as payment
  from lines
)
select commission as commission_cents, per_order as per_order_cents, payment as payment_cents,
  commission + per_order + payment as fees_cents,
  dimensional as dimensional_lb, billable as billable_lb,
  case when refused <> '' then 0 else base end as base_cents,
  case when refused <> '' then 0 else surcharge end as surcharge_cents,
  case when refused <> '' then 0 else fuel end as fuel_cents,
  case when refused <> '' then 0 else protection end as protection_cents,
  case when refused <> '' then 0 else base + surcharge + fuel + protection end as label_cents,
  case when refused <> '' then '' else 'ground' end as service, refused
from costs order by id
"""


FEES_SQL = """
with charged as (select goods, shipping, goods + shipping + tax as charged from orders),
lines as (
  select (least(charged, 180000) * 119000 + greatest(charged - 180000, 0) * 23000 + 500000) // 1000000
      as commission_cents,
    case when goods + shipping <= 1200 then 22 else 52 end as per_order_cents,
    (charged * 27000 + 27 * 1000000 + 500000) // 1000000 as payment_cents
  from charged
)
select *, commission_cents + per_order_cents + payment_cents as fees_cents from lines
"""


def run_duckdb(given: dict[str, np.ndarray]) -> tuple[float, dict[str, np.ndarray], dict[str, float]]:
    import duckdb
    import pandas as pd

    base = duckdb.connect()
    base.execute("set threads to 1")
    frame = pd.DataFrame({"id": np.arange(given["goods"].size), **given})
    base.execute("create table orders as select * from frame")
    frame = None  # noqa: F841  (the table holds the orders now)
    cells = pd.DataFrame(
        [(weight, zone, price(weight, zone)) for weight in range(1, HEAVIEST + 1) for zone in ZONES],
        columns=["weight", "zone", "cents"],
    )
    base.execute("create table prices as select weight::double as weight, zone, cents from cells")
    extra = pd.DataFrame({"zone": list(ZONES), "handling": HANDLING, "heavy": HEAVY, "large": LARGE})
    base.execute("create table zone_prices as select * from extra")
    del cells, extra
    words = {"over": OVER.replace("'", "''"), "heavy": HEAVY_WORDS, "undeclared": UNDECLARED}
    query = SQL.format(heaviest=HEAVIEST, residential=RESIDENTIAL, fuel=FUEL_PPM, **words)
    base.execute(query.replace("from orders", "from (select * from orders limit 1000)")).fetchnumpy()
    seconds, found = quickest(lambda: base.execute(query).fetchnumpy())
    fees_alone, _ = quickest(lambda: base.execute(FEES_SQL).fetchnumpy())
    return seconds, {name: np.asarray(found[name]) for name in COLUMNS}, {"fees_s": fees_alone}


def run_polars(given: dict[str, np.ndarray]) -> tuple[float, dict[str, np.ndarray], dict[str, float]]:
    import polars as pl

    frame = pl.DataFrame(dict(given))
    prices = pl.DataFrame(
        [(float(weight), zone, price(weight, zone)) for weight in range(1, HEAVIEST + 1) for zone in ZONES],
        schema=["billable", "zone", "base"],
        orient="row",
    )
    extra = pl.DataFrame({"zone": list(ZONES), "handling": HANDLING, "heavy": HEAVY, "large_cents": LARGE})
    c = pl.col
    fees = {
        "commission_cents": (
            pl.min_horizontal(c("charged"), 180_000) * 119_000
            + pl.max_horizontal(c("charged") - 180_000, 0) * 23_000
            + 500_000
        )
        // 1_000_000,
        "per_order_cents": pl.when(c("goods") + c("shipping") <= 1200).then(22).otherwise(52),
        "payment_cents": (c("charged") * 27_000 + 27_000_000 + 500_000) // 1_000_000,
    }

    def priced(lazy: pl.LazyFrame) -> pl.DataFrame:
        sides = [c(name).ceil() for name in ("length", "width", "height")]
        measured = lazy.with_columns(
            longest=pl.max_horizontal(sides),
            shortest=pl.min_horizontal(sides),
            total=sides[0] + sides[1] + sides[2],
            charged=c("goods") + c("shipping") + c("tax"),
        ).with_columns(second=c("total") - c("longest") - c("shortest"))
        tripped = measured.with_columns(
            volume=c("longest") * c("second") * c("shortest"),
            girth=c("longest") + 2 * (c("second") + c("shortest")),
        ).with_columns(
            dimensional=(c("volume") / 139).ceil(),
            large=(c("longest") > 96) | (c("girth") > 130) | (c("volume") > 17280) | (c("weight") > 110),
            sized=(c("longest") > 48) | (c("second") > 30) | (c("girth") > 105) | (c("volume") > 10368),
        )
        least = pl.when(c("large")).then(90.0).when(c("sized")).then(40.0).otherwise(0.0)
        weighed = tripped.with_columns(
            billable=pl.max_horizontal(c("dimensional"), c("weight").ceil(), least),
            refused=pl.when((c("longest") > 108) | (c("girth") > 165) | (c("weight") > 150))
            .then(pl.lit(OVER))
            .when(pl.max_horizontal(c("dimensional"), c("weight"), least) > HEAVIEST)
            .then(pl.lit(HEAVY_WORDS))
            .when(c("declared") > 1_000_000)
            .then(pl.lit(UNDECLARED))
            .otherwise(pl.lit("")),
        )
        declared = c("declared")
        lines = (
            weighed.join(prices.lazy(), on=["billable", "zone"], how="left", maintain_order="left")
            .join(extra.lazy(), on="zone", how="left", maintain_order="left")
            .with_columns(
                surcharge=pl.when(c("large"))
                .then(c("large_cents"))
                .when(c("weight") > 50)
                .then(c("heavy"))
                .when(c("sized") | (c("shortest") <= 1))
                .then(c("handling"))
                .otherwise(0)
                + pl.when(c("home")).then(RESIDENTIAL).otherwise(0),
                protection=pl.when(declared <= 10_000)
                .then(0)
                .when(declared <= 30_000)
                .then(325)
                .otherwise(325 + ((declared - 30_000 + 9_999) // 10_000) * 115),
            )
            .with_columns(
                fuel=((c("base") + c("surcharge")) * FUEL_PPM + 500_000) // 1_000_000,
                **fees,
            )
        )

        def kept(expression: pl.Expr) -> pl.Expr:
            return pl.when(c("refused") != "").then(0).otherwise(expression)

        return lines.select(
            "commission_cents",
            "per_order_cents",
            "payment_cents",
            (c("commission_cents") + c("per_order_cents") + c("payment_cents")).alias("fees_cents"),
            c("dimensional").alias("dimensional_lb"),
            c("billable").alias("billable_lb"),
            kept(c("base")).alias("base_cents"),
            kept(c("surcharge")).alias("surcharge_cents"),
            kept(c("fuel")).alias("fuel_cents"),
            kept(c("protection")).alias("protection_cents"),
            kept(c("base") + c("surcharge") + c("fuel") + c("protection")).alias("label_cents"),
            pl.when(c("refused") != "").then(pl.lit("")).otherwise(pl.lit("ground")).alias("service"),
            "refused",
        ).collect()

    priced(frame.head(1000).lazy())
    seconds, found = quickest(lambda: priced(frame.lazy()))
    fees_alone, _ = quickest(
        lambda: (
            frame.lazy()
            .with_columns(charged=c("goods") + c("shipping") + c("tax"))
            .select(**fees)
            .with_columns(fees_cents=c("commission_cents") + c("per_order_cents") + c("payment_cents"))
            .collect()
        )
    )
    return seconds, {name: found[name].to_numpy() for name in COLUMNS}, {"fees_s": fees_alone}


def run_one(engine: str, count: int, seed: int, out: Path) -> None:
    """One engine in this process: its columns to a file, its time to standard output."""
    run = {"flipkit": run_flipkit, "duckdb": run_duckdb, "polars": run_polars}[engine]
    seconds, found, more = run(orders(count, seed))
    words = ("service", "refused")
    np.savez(out, **{name: np.asarray(found[name], dtype=np.str_ if name in words else None) for name in COLUMNS})
    sys.stdout.write(json.dumps({"engine": engine, "seconds": seconds, **more}))


def main() -> None:
    """Every engine in turn, then the comparison."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--orders", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=20261125)
    parser.add_argument("--engine", choices=ENGINES)
    parser.add_argument("--out", type=Path)
    options = parser.parse_args()
    if options.engine:
        run_one(options.engine, options.orders, options.seed, options.out)
        return
    core = {min(os.sched_getaffinity(0))}
    environment = {**os.environ, "POLARS_MAX_THREADS": "1", "OMP_NUM_THREADS": "1"}
    said: dict[str, dict[str, float]] = {}
    with tempfile.TemporaryDirectory() as folder:
        for engine in ENGINES:
            if importlib.util.find_spec(engine) is None:
                sys.stdout.write(f"{engine}: not installed, left out\n")
                continue
            command = [sys.executable, str(HERE), "--engine", engine, "--orders", str(options.orders)]
            command += ["--seed", str(options.seed), "--out", f"{folder}/{engine}.npz"]
            done = subprocess.run(
                command,
                env=environment,
                stdout=subprocess.PIPE,
                check=True,
                preexec_fn=lambda: os.sched_setaffinity(0, core),
            )
            said[engine] = json.loads(done.stdout)
        own = np.load(f"{folder}/flipkit.npz")
        for engine in said:
            other = np.load(f"{folder}/{engine}.npz")
            for name in COLUMNS:
                differ = own[name] != other[name]
                if differ.any():
                    row = int(np.argmax(differ))
                    raise SystemExit(f"{engine} differs in {name}, row {row}: {own[name][row]} and {other[name][row]}")
        tripped = float(np.mean(own["surcharge_cents"] > RESIDENTIAL))
    seconds = said["flipkit"]["seconds"]
    lines = [
        f"{options.orders:,} orders on one core; {tripped:.0%} trip a surcharge; all engines equal to the cent",
        f"flipkit columns: {seconds:.3f} s (fees alone {said['flipkit']['fees_s']:.3f} s), "
        f"peak memory {said['flipkit']['peak_mb']:.0f} MB",
        f"one item at a time (400 measured, scaled): {said['flipkit']['one_item_s'] * options.orders:,.0f} s, "
        f"{said['flipkit']['one_item_s'] * options.orders / seconds:,.0f} times the columns",
    ]
    for engine in ENGINES[1:]:
        if engine in said:
            whole, fees = said[engine]["seconds"], said[engine]["fees_s"]
            lines.append(f"{engine}, the same rules by hand: {whole:.3f} s, {whole / seconds:.2f} times the columns;")
            lines.append(f"  the two-tier fees alone: {fees:.3f} s, {fees / said['flipkit']['fees_s']:.2f} times")
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
