"""Time of the intervals of 12 categories over 10,000 items with 10,000 resamples, beside a plain loop.

Run it by hand: ``python -m tests.benchmarks.bench_hourly``. The goal is under two seconds on two
cores. Times of one machine mean little; the ratio to a plain loop says more. Both are processor
seconds, which other work on the machine does not stretch; the clock's stand beside them. The loop draws the
trips of a category anew and adds up their items one resample at a time; it is timed on a few
resamples of one category and scaled.
"""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable

import numpy as np
import pandas as pd

from flipkit.analysis.ratio_stats import IntervalSettings
from flipkit.analysis.returns import bought_returns, category_returns
from flipkit.analysis.stock_value import Horizon

ITEMS, CATEGORIES, RESAMPLES, TRIPS = 10_000, 12, 10_000, 833
LOOPED = 100
AS_OF = dt.date(2026, 12, 31)
WINDOW = (dt.date(2025, 1, 1), AS_OF)


def shop(*, unsold_share: float) -> pd.DataFrame:
    """Items of many trips over two years, some of them still for sale."""
    random = np.random.default_rng(20261125)
    trip = random.integers(0, TRIPS, ITEMS)
    bought = pd.Timestamp(WINDOW[0]) + pd.to_timedelta(trip * 700 // TRIPS, unit="D")
    seen = (pd.Timestamp(AS_OF) - bought).days.to_numpy()
    sold = random.random(ITEMS) >= unsold_share
    wait = np.where(sold, np.minimum(random.exponential(60, ITEMS), seen), seen)
    price = np.round(4000 * np.exp(0.5 * random.standard_normal(ITEMS))).astype(np.int64)
    return pd.DataFrame(
        {
            "category": random.integers(0, CATEGORIES, ITEMS).astype(str),
            "trip_id": trip.astype(str),
            "status": np.where(sold, "sold", "for sale"),
            "bought_on": bought,
            "sold_on": (bought + pd.to_timedelta(wait.astype(int), unit="D")).where(sold),
            "days_listed": np.floor(wait),
            "list_price_cents": price,
            "sold_price_cents": price * sold,
            "cost_cents": 900,
            "net_cents": np.where(sold, price * 8 // 10, 0) - 900,
            "owner_min": np.where(sold, 60.0, 40.0) * np.exp(0.2 * random.standard_normal(ITEMS)),
        }
    )


def seconds_of(work: Callable[[], object], *, repeats: int = 3) -> tuple[float, float]:
    """Least processor time and least time on the clock of a few runs."""
    times = []
    for _ in range(repeats):
        start = time.process_time(), time.perf_counter()
        work()
        times.append((time.process_time() - start[0], time.perf_counter() - start[1]))
    return min(one for one, _ in times), min(other for _, other in times)


def loop_seconds(frame: pd.DataFrame) -> float:
    """Time that a plain loop would take, from a few resamples of one category."""
    part = frame.loc[frame["category"] == "0"]
    by_trip = [(rows["net_cents"].tolist(), rows["owner_min"].tolist()) for _, rows in part.groupby("trip_id")]
    random = np.random.default_rng(1)
    start = time.process_time()
    for _ in range(LOOPED):
        net = minutes = 0.0
        for at in random.integers(0, len(by_trip), len(by_trip)):
            nets, spent = by_trip[at]
            for one, other in zip(nets, spent, strict=True):
                net += one
                minutes += other
        assert minutes > 0
        _ = net / minutes
    return (time.process_time() - start) / LOOPED * RESAMPLES * CATEGORIES


def main() -> None:
    """Print the times and their ratios."""
    settings = {"window": WINDOW, "settings": IntervalSettings(0.95, RESAMPLES, 1, 10)}
    sold, mixed = shop(unsold_share=0.0), shop(unsold_share=0.35)
    loop = loop_seconds(sold)
    lines = (
        ("sold basis", seconds_of(lambda: category_returns(sold, **settings))),
        (
            "sold basis, every item a trip of its own",
            seconds_of(lambda: category_returns(sold.assign(trip_id=np.arange(ITEMS).astype(str)), **settings)),
        ),
        (
            "bought basis, a third unsold and valued",
            seconds_of(lambda: bought_returns(mixed, horizon=Horizon(days=180, salvage_ppm=0), **settings)),
        ),
    )
    print(f"{CATEGORIES} categories, {ITEMS:,} items, {RESAMPLES:,} resamples")  # noqa: T201
    print(f"{'plain loop (scaled from a sample)':45s} {loop:8.2f} s")  # noqa: T201
    for name, (seconds, clock) in lines:
        print(f"{name:45s} {seconds:8.2f} s ({clock:.2f} on the clock), {loop / seconds:.0f} times as fast")  # noqa: T201


if __name__ == "__main__":
    main()
