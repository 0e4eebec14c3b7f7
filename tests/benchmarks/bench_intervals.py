"""How often each kind of interval holds the truth, by number of trips and weight of the tail.

Run it by hand: ``python -m tests.benchmarks.bench_intervals [shops]``. Trips bring one to many
items of log-normal prices, alike within a trip; hours vary from trip to trip. Only samples of at
least twenty items count. ``bench_calibration.py`` does the same with whole simulated shops.
"""

from __future__ import annotations

import sys

import numpy as np

from flipkit.analysis.ratio_stats import ratio_interval, student_limits

#: Trips, and mean items of a trip beyond the first.
SIZES = ((5, 3.5), (8, 2.0), (12, 1.0), (20, 0.3), (20, 2.0), (40, 1.0), (100, 1.0))
#: Log standard deviation of the prices.
SPREADS = (0.4, 0.7, 1.0)
ALIKE = 0.2


def trips(count: int, more: float, spread: float, random: np.random.Generator) -> tuple[np.ndarray, np.ndarray, int]:
    """Net and hours of each trip, and how many items there are."""
    size = 1 + random.poisson(more, count)
    trip = np.repeat(np.arange(count), size)
    within = spread * np.sqrt(1 - ALIKE) * random.standard_normal(trip.size)
    level = within + (spread * np.sqrt(ALIKE) * random.standard_normal(count))[trip]
    luck = 0.15 * random.standard_normal(count)[trip]
    cost = 10 * np.exp(0.5 * random.standard_normal(trip.size) + luck + 0.3 * level)
    net = 0.85 * 40 * np.exp(level) - cost - 9
    driving = 90 * np.exp(0.2 * random.standard_normal(count)) / (size + 3)
    minutes = 45 * np.exp(0.35 * random.standard_normal(trip.size)) + driving[trip]
    return np.bincount(trip, net, count), np.bincount(trip, minutes, count) / 60, trip.size


def main() -> None:
    """Print one line a case."""
    shops = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    print(f"{'tail':>5s} {'trips':>5s} {'items':>5s} {'shops':>5s}  claimed   BCa  Student  median width of each")  # noqa: T201
    for spread in SPREADS:
        for count, more in SIZES:
            net, hours, _ = trips(400_000, more, spread, np.random.default_rng(99))
            truth = net.sum() / hours.sum()
            random = np.random.default_rng([7, count, int(10 * spread), int(10 * more)])
            limits, items = [], []
            while len(limits) < shops:
                net, hours, size = trips(count, more, spread, random)
                if size < 20:
                    continue
                found = ratio_interval(net, hours, confidence=0.95, resamples=1000, seed=len(limits))
                plain = student_limits(found.estimate, found.delta_se, count, confidence=0.95)
                limits.append(((found.low, found.high), (found.bca_low, found.bca_high), plain))
                items.append(size)
            table = np.array(limits)
            held = ((table[:, :, 0] <= truth) & (truth <= table[:, :, 1])).mean(axis=0)
            width = np.median(table[:, :, 1] - table[:, :, 0], axis=0)
            widths = " ".join(f"{value:5.1f}" for value in width)
            print(  # noqa: T201
                f"{spread:5.1f} {count:5d} {np.mean(items):5.0f} {shops:5d}    "
                f"{held[0]:.3f} {held[1]:.3f}    {held[2]:.3f}  {widths}",
                flush=True,
            )


if __name__ == "__main__":
    main()
