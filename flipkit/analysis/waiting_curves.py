"""The curves behind a picture of waiting: share still unsold of each group, and how many wait that long."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from flipkit.analysis.survival import survival_table

#: Days that a picture reaches at most.
LONGEST = 360
#: Counts beneath a curve, that of day 0 among them.
_COUNTS = 5


def last_day(groups: pd.DataFrame) -> int:
    """Day up to which a picture of the groups is drawn: the longest wait in round steps, a year at most.

    Parameters
    ----------
    groups : DataFrame
        As ``waiting.waiting_groups`` gives it.

    Returns
    -------
    int
        The day. [days]

    Examples
    --------
    >>> last_day(pd.DataFrame({"days": [3.0, 130.0]})), last_day(pd.DataFrame({"days": [800.0]}))
    (160, 360)
    """
    longest = float(groups["days"].max()) if len(groups) else 0.0
    return int(min(max(40 * np.ceil(longest / 40), 40), LONGEST))


def waiting_curves(groups: pd.DataFrame, order: Sequence[str], *, until_days: int, confidence: float) -> pd.DataFrame:
    """Share of each group still unsold after each number of days, up to a day.

    Parameters
    ----------
    groups : DataFrame
        As ``waiting.waiting_groups`` gives it.
    order : sequence of str
        Names of the groups, in the order of the rows.
    until_days : int
        The last day shown. [days]
    confidence : float
        How often a band is meant to hold the truth.

    Returns
    -------
    DataFrame
        ``group``, ``days``, ``unsold_share``, ``low``, ``high``: a row at day 0 and at each day on
        which the share changes, the last at ``until_days`` or at the group's longest wait.

    Examples
    --------
    >>> rows = pd.DataFrame({"group": "mugs", "days": [5.0, 90.0], "sold": [True, False]})
    >>> waiting_curves(rows, ["mugs"], until_days=40, confidence=0.95)[["days", "unsold_share"]].values.tolist()
    [[0.0, 1.0], [5.0, 0.5], [40.0, 0.5]]
    """
    columns = ["group", "days", "unsold_share", "low", "high"]
    parts = []
    for name in order:
        own = groups[groups["group"] == name]
        table = survival_table(own["days"], own["sold"], confidence=confidence)
        drops = table[(table["sold"] > 0) & (table["days"] <= until_days)]
        start = pd.DataFrame({"days": [0.0], "unsold_share": [1.0], "low": [1.0], "high": [1.0]})
        rows = pd.concat([start, drops], ignore_index=True) if len(drops) else start
        end = min(float(own["days"].max()), float(until_days)) if len(own) else 0.0
        if end > rows["days"].iloc[-1]:
            rows = pd.concat([rows, rows.tail(1).assign(days=end)], ignore_index=True)
        parts.append(rows.assign(group=name)[columns])
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)


def at_risk_counts(groups: pd.DataFrame, order: Sequence[str], *, until_days: int) -> pd.DataFrame:
    """How many of each group were on sale and unsold for at least so many days.

    Parameters
    ----------
    groups : DataFrame
        As ``waiting.waiting_groups`` gives it.
    order : sequence of str
        Names of the groups, in the order of the rows.
    until_days : int
        The last day shown; the counts stand at even steps up to it. [days]

    Returns
    -------
    DataFrame
        ``group``, ``days``, ``at_risk``.

    Examples
    --------
    >>> rows = pd.DataFrame({"group": "mugs", "days": [5.0, 20.0, 90.0], "sold": [True, True, False]})
    >>> at_risk_counts(rows, ["mugs"], until_days=40)["at_risk"].tolist()
    [3, 2, 2, 1, 1]
    """
    marks = np.linspace(0, until_days, _COUNTS)
    rows = [
        (name, float(mark), int((groups.loc[groups["group"] == name, "days"] >= mark).sum()))
        for name in order
        for mark in marks
    ]
    return pd.DataFrame(rows, columns=["group", "days", "at_risk"])
