"""Does help pay? What hiring out an activity does to the owner's hourly return."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.errors import AssumptionError
from flipkit.money import PPM, Cents


def hired_costs(minutes: npt.ArrayLike, *, wage_cents: npt.ArrayLike, burden_ppm: npt.ArrayLike) -> Cents:
    """Cost of stretches of hired work: wage and payroll burden, each rounded half up once.

    >>> hired_costs([60.0, 15.0], wage_cents=1600, burden_ppm=76_500).tolist()
    [1722, 431]
    """
    hundredths = np.round(np.asarray(minutes, dtype=np.float64) * 100).astype(np.int64)
    exact = hundredths * np.asarray(wage_cents, dtype=np.int64) * (PPM + np.asarray(burden_ppm, dtype=np.int64))
    whole = 6_000 * PPM
    return np.asarray((exact + whole // 2) // whole, dtype=np.int64)


def wage_limit(hourly: float, *, burden_ppm: int, pace: float = 1.0, guidance: float = 0.0) -> float:
    """The wage below which handing work to help raises the owner's hourly return.

    With net N and owner hours H, an activity of h hours handed to somebody who needs ``pace``
    times as long costs W x pace x h and the burden on it, and frees h x (1 - guidance) of the
    owner's hours. The hourly return rises just when W x (1 + burden) is below
    N / H x (1 - guidance) / pace: help that costs less than the owner's own hour earns. The
    bar is the same for every activity.
    """
    if burden_ppm < 0:
        raise AssumptionError("help.burden", need="at least 0", got=burden_ppm)
    if pace <= 0:
        raise AssumptionError("help.pace", need="above 0", got=pace)
    if not 0 <= guidance < 1:
        raise AssumptionError("help.guidance", need="at least 0 and below 1", got=guidance)
    return hourly * (1 - guidance) / (pace * (1 + burden_ppm / PPM)) if hourly > 0 else np.nan


def help_table(
    owner_min: Mapping[str, float],
    *,
    net_cents: int,
    wage_cents: int,
    burden_ppm: int,
    pace: float = 1.0,
    guidance: float = 0.0,
) -> pd.DataFrame:
    """For each activity, what hiring it out entirely would do to the owner's hour.

    It pays below the wage that ``wage_limit`` gives, whatever the activity; what differs is how
    much each frees and what the freed hours must earn.
    """
    if wage_cents < 0:
        raise AssumptionError("help.wage", need="at least 0", got=wage_cents)
    hours = sum(owner_min.values()) / 60
    now = net_cents / 100 / hours if hours > 0 else np.nan
    limit = wage_limit(now, burden_ppm=burden_ppm, pace=pace, guidance=guidance)
    rows = []
    for activity, minutes in owner_min.items():
        if minutes <= 0:
            continue
        freed = minutes / 60 * (1 - guidance)
        cost = int(hired_costs(minutes * pace, wage_cents=wage_cents, burden_ppm=burden_ppm))
        left = hours - freed
        # An owner who does nothing else has no hour left to earn by.
        then = (net_cents - cost) / 100 / left if left > 1e-9 else np.nan
        must = cost / 100 / freed
        pays = bool(then > now) if np.isfinite(then) else net_cents > cost
        rows.append((activity, minutes / 60, freed, minutes * pace / 60, cost, now, then, limit, must, pays))
    columns = ["activity", "owner_hours", "hours_freed", "hired_hours", "hired_cents", "hourly_now", "hourly_then"]
    table = pd.DataFrame(rows, columns=[*columns, "wage_limit", "must_earn", "pays"])
    order = np.lexsort((table["activity"].astype(str), -table["hours_freed"]))
    return table.iloc[order].reset_index(drop=True)
