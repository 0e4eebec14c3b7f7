"""Groups of things whose trips are alike in their waits, for measuring the test of waiting and its bands."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.survival import LATER, SOONER, compared, log_rank, share_sold, survival_table

#: How things fall on groups: each by itself, each trip with favoured groups, or whole trips in one group.
MIXED, FAVOURED, NESTED = "mixed", "favoured", "nested"
#: Things that are never wanted.
NEVER = 0.15
#: Median days to the sale of the rest, and the spread of a single thing's logarithm.
MEDIAN, SPREAD = 33.0, 1.0


class Waits(NamedTuple):
    """Things of one shop."""

    days: npt.NDArray[np.float64]
    sold: npt.NDArray[np.bool_]
    group: npt.NDArray[np.int64]
    trip: npt.NDArray[np.int64]


def waits(
    random: np.random.Generator, *, how: str, groups: int, trips: int, spread: float, slower: float = 0.0
) -> Waits:
    """Some eight things a trip; trips differ by ``spread`` in log days, the first group by ``slower``."""
    trip = np.repeat(np.arange(trips), 1 + random.poisson(7, trips))
    if how == NESTED:
        of_trip = np.concatenate((np.tile(np.arange(groups), 5), random.integers(groups, size=trips)))[:trips]
        group = of_trip[trip]
    else:
        favour = (
            random.dirichlet(np.full(groups, 0.5), trips) if how == FAVOURED else np.full((trips, groups), 1 / groups)
        )
        group = (random.random(trip.size)[:, None] > np.cumsum(favour, axis=1)[trip]).sum(axis=1).clip(0, groups - 1)
    log = np.log(MEDIAN) + SPREAD * random.standard_normal(trip.size) + spread * random.standard_normal(trips)[trip]
    due = np.exp(log + slower * (group == 0))
    due[random.random(trip.size) < NEVER] = np.inf
    age = random.uniform(20, 400, trips)[trip]
    return Waits(np.ceil(np.minimum(due, age)), due <= age, group, trip)


def rejections(seed: int, shops: int, **how: object) -> pd.Series:
    """Shares of shops in which a difference is called: by trip, as if things stood alone, and of one with the rest."""
    random = np.random.default_rng(seed)
    found = []
    for _ in range(shops):
        one = waits(random, **how)  # type: ignore[arg-type]
        frame = pd.DataFrame(
            {"group": one.group, "days": one.days, "sold": one.sold, "trip": one.trip, "given_up": False}
        )
        each = compared(frame, confidence=0.95, too_few=10)
        found.append(
            {
                "by_trip": each.overall is not None and each.overall.p_value < 0.05,
                "alone": log_rank(one.days, one.sold, one.group).p_value < 0.05,
                "called": each.each["verdict"].isin([SOONER, LATER]).any(),
            }
        )
    return pd.DataFrame(found).mean()


def bands_held(seed: int, shops: int, *, trips: int, spread: float, day: int = 60) -> pd.Series:
    """How often the bands of a curve and of a share hold the truth at a day, by trip and as if things stood alone."""
    random = np.random.default_rng(seed)
    wide = np.hypot(SPREAD, spread)
    drawn = np.log(MEDIAN) + wide * np.random.default_rng(1).standard_normal(400_000)
    truth = NEVER + (1 - NEVER) * float((np.exp(drawn) > day).mean())
    found = []
    for _ in range(shops):
        one = waits(random, how=NESTED, groups=1, trips=trips, spread=spread)
        row = {}
        for name, trip in (("trip", one.trip), ("alone", None)):
            curve = survival_table(one.days, one.sold, confidence=0.95, trip=trip)
            at = curve[curve["days"] <= day].iloc[-1]
            row[f"curve_{name}"] = at["low"] <= truth <= at["high"]
            share = share_sold(one.days, one.sold, by_days=day, confidence=0.95, trip=trip)
            row[f"share_{name}"] = share.low <= 1 - truth <= share.high
        found.append(row)
    return pd.DataFrame(found).mean()
