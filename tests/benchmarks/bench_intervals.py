"""How often intervals hold the truth and chances come true, in shops that the kit's methods were not tuned on.

Run it by hand: ``python -m tests.benchmarks.bench_intervals [trips | dear | chances] [shops]``. *trips*: single
categories by number of trips and weight of the tail. *dear*: shops in which four in a hundred things bring ten times
the rest. *chances*: the chance to beat the target by tenths, over three families of shops (gamma prices with point
masses, log-normal prices, prices that drift), each with trip effects, a share that never sells and losses; the truth
of each category is known exactly. ``bench_calibration.py`` does the same with whole simulated shops.
"""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Callable, Iterator

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import stdtr, stdtrit

from flipkit.analysis.ratio_stats import IntervalSettings, ratio_interval
from flipkit.analysis.returns import category_returns, pulled, shrunken_returns

Floats = npt.NDArray[np.float64]

#: Trips, and mean items of a trip beyond the first.
SIZES = ((5, 3.5), (8, 2.0), (12, 1.0), (20, 0.3), (20, 2.0), (40, 1.0), (100, 1.0))
#: Log standard deviation of the prices.
SPREADS = (0.4, 0.7, 1.0)
ALIKE = 0.2

FAMILIES = ("gamma", "log-normal", "drift")
TARGET = 18.0
DAY = pd.Timestamp("2026-01-02")
WINDOW = (dt.date(2026, 1, 1), dt.date(2026, 12, 31))


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


def items(trip: npt.NDArray[np.intp], net: Floats, minutes: Floats, sold: npt.NDArray[np.bool_], name: str) -> dict:
    """One category's things as columns."""
    return {
        "category": name,
        "trip_id": trip,
        "net_cents": np.rint(100 * net).astype(np.int64),
        "owner_min": minutes,
        "bought_on": DAY,
        "sold_on": np.where(sold, DAY.to_datetime64(), np.datetime64("NaT", "s")),
    }


def mixed_shop(family: str, random: np.random.Generator) -> tuple[pd.DataFrame, dict[str, float]]:
    """A shop of one family: its things, and what an hour on each category truly earns."""
    count, size = int(random.choice([6, 8, 12, 20, 40, 80])), random.choice([15, 25, 40, 80, 160])
    centre, apart = random.normal(TARGET, 4), random.choice([3, 6, 10])
    level = np.exp(0.15 * random.standard_normal(count) - 0.15**2 / 2)
    pace = np.exp(0.2 * random.standard_normal(count) - 0.2**2 / 2)
    when = np.linspace(-0.5, 0.5, count)
    parts, truth = [], {}
    for at in range(int(random.integers(4, 13))):
        z = random.standard_normal()
        hourly = centre + apart * ((np.exp(0.6 * z) - np.exp(0.18)) / 0.7 if family == "log-normal" else z)
        number = max(6, random.poisson(size * np.exp(0.5 * random.standard_normal() - 0.125)))
        trip = random.integers(0, count, number)
        each, never, cost = random.uniform(25, 70), random.uniform(0, 0.4), random.uniform(3, 15)
        price = max((hourly * each / 60 + cost) / (1 - never), 2.0)
        spread = random.uniform(0.4, 1.1 if family == "log-normal" else 0.9)
        relative = np.exp(spread * random.standard_normal(number) - spread**2 / 2)
        if family == "gamma":
            shape, fixed = random.uniform(0.5, 2.5), random.uniform(0, 0.3)
            mass = random.random(number) < fixed
            relative = np.where(mass, 0.5, random.gamma(shape, 1 / shape, number)) / (1 - fixed / 2)
        if family == "drift":
            relative *= 1 + 0.5 * random.standard_normal() * when[trip]
        # Where a trip took longer it also brought more, to a degree of the category's own.
        tied = 0.0 if family == "log-normal" else random.uniform(0, 1)
        sold = random.random(number) >= never
        brought = price * relative * level[trip] * (1 + tied * (pace[trip] - 1))
        net = np.where(sold, brought, 0.0) - cost * random.gamma(3, 1 / 3, number)
        minutes = each * random.gamma(6, 1 / 6, number) * pace[trip]
        parts.append(pd.DataFrame(items(trip, net, minutes, sold, f"c{at:02}")))
        truth[f"c{at:02}"] = ((1 - never) * price - cost) / each * 60
    return pd.concat(parts, ignore_index=True), truth


def dear_shop(
    number: int, count: int, dear: float, spread: float, random: np.random.Generator
) -> tuple[pd.DataFrame, dict[str, float]]:
    """Eight categories in which a share of the things brings ten times the rest."""
    level = np.exp(0.15 * random.standard_normal(count) - 0.15**2 / 2)
    parts, truth = [], {}
    for at in range(8):
        trip, price = random.integers(0, count, number), random.uniform(20, 60)
        sold = random.random(number) >= 0.15
        rare = np.where(random.random(number) < dear, 10.0, 1.0)
        brought = price * np.exp(spread * random.standard_normal(number) - spread**2 / 2) * rare * level[trip]
        net = np.where(sold, 0.8 * brought, 0.0) - 8 * random.gamma(3, 1 / 3, number)
        parts.append(pd.DataFrame(items(trip, net, 45 * random.gamma(6, 1 / 6, number), sold, f"c{at}")))
        truth[f"c{at}"] = (0.85 * 0.8 * price * (1 + 9 * dear) - 8) / 45 * 60
    return pd.concat(parts, ignore_index=True), truth


def told(shops: Iterator[tuple[pd.DataFrame, dict[str, float]]], *, resamples: int = 1000) -> pd.DataFrame:
    """What the kit says of each category of each shop, beside the truth."""
    settings, found = IntervalSettings(0.95, resamples, 1, 10), []
    for at, (frame, truth) in enumerate(shops):
        returns = category_returns(frame, window=WINDOW, basis="bought", settings=settings)
        ranking = shrunken_returns(returns, target=TARGET, seed=1)
        both = returns.merge(ranking, on="category", suffixes=("", "_pulled"))
        found.append(both.assign(shop=at, truth=both["category"].map(truth), former=former_chance(returns, both)))
    return pd.concat(found, ignore_index=True)


def former_chance(returns: pd.DataFrame, rows: pd.DataFrame) -> Floats:
    """The chance as it was: Student's t around the estimate pulled, without any skewness."""
    one = returns.set_index("category").loc[rows["category"]]
    weight = np.maximum(one["trips"].to_numpy() - 1, 0)
    own, hours = one["delta_se"].to_numpy() ** 2, one["owner_min"].to_numpy() / 60
    hour = (weight * own * hours).sum() / weight.sum()
    found = pulled(one["hourly"], np.sqrt((weight * own + 4.0 * hour / hours) / (weight + 4.0)))
    return 1 - stdtr(weight + 4.0, (TARGET - found.value) / found.error)


def by_shop(hit: npt.ArrayLike, shop: npt.ArrayLike) -> tuple[float, float]:
    """A share and its standard error over shops."""
    values = np.asarray(hit, dtype=np.float64)
    if not values.size:
        return np.nan, np.nan
    _, code = np.unique(np.asarray(shop), return_inverse=True)
    sums = np.bincount(code, values - values.mean())
    return float(values.mean()), float(np.sqrt((sums**2).sum()) / values.size)


def tenths(found: pd.DataFrame, chance: str) -> pd.DataFrame:
    """What was said and what came, by tenths of the chance said."""
    said, came = found[chance].to_numpy(), (found["truth"] > TARGET).to_numpy()
    place = np.minimum((10 * said).astype(int), 9)
    rows = []
    for at in range(10):
        mine = place == at
        share, error = by_shop(came[mine] - said[mine], found["shop"].to_numpy()[mine])
        rows.append((mine.sum(), said[mine].mean(), came[mine].mean(), share, error))
    return pd.DataFrame(rows, columns=["cases", "said", "came", "off", "error"])


def surprise(found: pd.DataFrame, chance: str) -> Floats:
    """Minus the logarithm of the chance that was given to what came; smaller is better."""
    said = np.clip(found[chance].to_numpy(), 0.002, 0.998)
    return np.asarray(-np.log(np.where(found["truth"] > TARGET, said, 1 - said)), dtype=np.float64)


def mixed_shops(count: int, seed: int) -> Iterator[tuple[pd.DataFrame, dict[str, float]]]:
    """Shops of the three families by turns."""
    for at in range(count):
        yield mixed_shop(FAMILIES[at % 3], np.random.default_rng([seed, at]))


def print_chances(shops: int, out: Callable[[str], object]) -> None:
    """The chance to beat the target by tenths: as it was, and as it is."""
    found = told(mixed_shops(shops, 20260101))
    raw, error = by_shop(*_held(found[found["claimed"]], ""))
    out(
        f"{shops} shops of {', '.join(FAMILIES)}; target {TARGET:g}; raw 95 % intervals held {raw:.3f} +- {error:.3f}\n"
    )
    claimed = found[found["claimed"]]
    held, error = by_shop(*_held(claimed, "_pulled"))
    out(f"pulled 95 % intervals held {held:.3f} +- {error:.3f}, median width of raw and pulled ")
    out(" ".join(f"{(claimed[f'high{of}'] - claimed[f'low{of}']).median():.1f}" for of in ("", "_pulled")) + "\n")
    for name, chance in (("before", "former"), ("now", "beats_target")):
        out(f"{name}: log score {surprise(claimed, chance).mean():.4f}\n cases  said  came   off  +-\n")
        for row in tenths(claimed, chance).itertuples():
            out(f"{row.cases:6d} {row.said:5.3f} {row.came:5.3f} {100 * row.off:+5.1f} {100 * row.error:4.1f}\n")
    gained, error = by_shop(surprise(claimed, "former") - surprise(claimed, "beats_target"), claimed["shop"])
    out(f"log score better by {gained:.4f} +- {error:.4f}\n")
    sure = claimed[claimed["beats_target"] < 0.01]
    crossing = int((sure["high_pulled"] > TARGET).sum())
    out(f"under 1 %: true in {(sure['truth'] > TARGET).mean():.3f} of {len(sure)}; intervals reach it: {crossing}\n")


def print_dear(shops: int, out: Callable[[str], object]) -> None:
    """Where four in a hundred things bring ten times the rest, and in ordinary shops beside them."""
    out(f"{shops} shops a cell\n dear spread things trips  claimed  held    +-    width\n")
    for dear, spread in ((0.04, 0.5), (0.0, 0.5), (0.0, 0.8)):
        for number in (20, 40, 80):
            for count in (5, 15, 60):
                drawn = (
                    dear_shop(number, count, dear, spread, np.random.default_rng([number, count, at]))
                    for at in range(shops)
                )
                settings = IntervalSettings(0.95, 1000, 1, 10)
                rows = []
                for at, (frame, truth) in enumerate(drawn):
                    one = category_returns(frame, window=WINDOW, basis="bought", settings=settings)
                    rows.append(one.assign(shop=at, truth=one["category"].map(truth)))
                found = pd.concat(rows, ignore_index=True)
                able = found[found["claimed"] | found["one_decides"]]
                said = found[found["claimed"]]
                held, error = by_shop(*_held(said, ""))
                share, width = len(said) / len(able), (said["high"] - said["low"]).median()
                cell = f"{dear:5.2f} {spread:6.1f} {number:6d} {count:5d}"
                out(f"{cell} {share:8.2f} {held:6.3f} {error:.3f} {width:7.1f}\n")


def _held(found: pd.DataFrame, of: str) -> tuple[Floats, Floats]:
    low, high, truth = (found[name].to_numpy(dtype=np.float64) for name in (f"low{of}", f"high{of}", "truth"))
    return ((low <= truth) & (truth <= high)).astype(np.float64), found["shop"].to_numpy()


def print_trips(shops: int, out: Callable[[str], object]) -> None:
    """One line a case."""
    out(f"{'tail':>5s} {'trips':>5s} {'items':>5s} {'shops':>5s}  claimed   BCa  Student  median width of each\n")
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
                plain = found.estimate + found.delta_se * stdtrit(count - 1, [0.025, 0.975])
                limits.append(((found.low, found.high), (found.bca_low, found.bca_high), plain))
                items.append(size)
            table = np.array(limits)
            held = ((table[:, :, 0] <= truth) & (truth <= table[:, :, 1])).mean(axis=0)
            width = np.median(table[:, :, 1] - table[:, :, 0], axis=0)
            widths = " ".join(f"{value:5.1f}" for value in width)
            out(
                f"{spread:5.1f} {count:5d} {np.mean(items):5.0f} {shops:5d}    "
                f"{held[0]:.3f} {held[1]:.3f}    {held[2]:.3f}  {widths}\n"
            )


def main() -> None:
    """Print what is asked."""
    kinds = {"trips": print_trips, "dear": print_dear, "chances": print_chances}
    asked = [one for one in sys.argv[1:] if one in kinds] or list(kinds)
    shops = int(sys.argv[-1]) if sys.argv[-1].isdigit() else 1000
    for one in asked:
        kinds[one](shops, sys.stdout.write)


if __name__ == "__main__":
    main()
