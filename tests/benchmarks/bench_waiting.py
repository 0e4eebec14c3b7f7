"""Print how the test of waiting and its bands keep their word: ``python -m tests.benchmarks.bench_waiting``.

False alarms: shares of shops without a difference in which one is called, of 5 % meant. Power: the same where
one group takes twice as long. ``alone`` takes every thing for itself, as the textbook test does. ``called``: a
group is said to sell sooner or later than the rest, after Holm. Then how often 95 % bands hold the truth.
"""

from __future__ import annotations

import argparse
import sys
import time

import numpy as np

from tests.benchmarks.waiting_groups import FAVOURED, MIXED, NESTED, bands_held, rejections


def main() -> None:
    given = argparse.ArgumentParser()
    given.add_argument("--shops", type=int, default=1000)
    given.add_argument("--seed", type=int, default=14)
    options = given.parse_args()
    started = time.perf_counter()
    error = np.sqrt(0.05 * 0.95 / options.shops)
    sys.stdout.write(f"false alarms and power; {options.shops} shops a cell, +- {error:.3f} at 5 %\n")
    head = "by trip  power  called   alone  power"
    sys.stdout.write(f"{'groups':16} {'trips':>5} {'spread':>6}  {head}\n")
    for how in (MIXED, FAVOURED, NESTED):
        for groups, trips in ((3, 30), (5, 50), (8, 64)):
            for spread in (0.0, 0.4, 0.8):
                shape = {"how": how, "groups": groups, "trips": trips, "spread": spread}
                same = rejections(options.seed, options.shops, **shape)
                power = rejections(options.seed + 1, options.shops // 2, slower=np.log(2), **shape)
                name = f"{how}, {groups}"
                sys.stdout.write(
                    f"{name:16} {trips:5d} {spread:6.1f}  {same['by_trip']:7.3f} {power['by_trip']:6.2f} "
                    f"{same['called']:7.3f} {same['alone']:7.3f} {power['alone']:6.2f}\n"
                )
                sys.stdout.flush()
    sys.stdout.write("\n95 % bands at day 60 that held the truth\n")
    sys.stdout.write(f"{'trips':>5} {'spread':>6}  curve by trip, alone; share by trip, alone\n")
    for trips in (6, 12, 30):
        for spread in (0.0, 0.4, 0.8):
            held = bands_held(options.seed, options.shops, trips=trips, spread=spread)
            names = ("curve_trip", "curve_alone", "share_trip", "share_alone")
            sys.stdout.write(f"{trips:5d} {spread:6.1f}  " + "  ".join(f"{held[name]:.3f}" for name in names) + "\n")
            sys.stdout.flush()
    sys.stdout.write(f"{time.perf_counter() - started:.0f} s\n")


if __name__ == "__main__":
    main()
