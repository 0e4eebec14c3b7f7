"""How long things wait, group beside group: shares sold by a day, mean days, and which groups differ.

Relisting and expiry are not sales, so they do not appear here: a thing waits from its first
listing to its sale. What still waits, and what was given up, counts for as long as it was on
sale. A group is compared with all the rest by the log-rank test; with many groups some would
stand out by luck, so the p-values are corrected by Holm's method.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import ndtri

from flipkit.analysis.survival import (
    ALL_SOLD,
    LogRank,
    days_to_sale,
    log_rank,
    restricted_mean,
    restricted_mean_error,
    survival_table,
)
from flipkit.analysis.words import TOO_FEW
from flipkit.errors import AssumptionError

Floats = npt.NDArray[np.float64]

#: What things can be grouped by.
GROUPINGS = ("category", "size", "source", "condition", "markdown")
#: Days by which the shares sold are told.
MARKS = (30, 60, 90, 180)
#: What stands for a source or a condition that the books do not name.
UNKNOWN = "not recorded"
MARKED, NEVER_MARKED = "marked down", "never marked down"
#: Said wherever things are grouped by their markdowns.
SELECTION = (
    "What sells at once is never marked down, and what waits is: so the marked-down things waited longer because of "
    "how they were picked. This compares two kinds of things; it does not say what marking down does to either."
)
#: Below so many sales expected of a group at one pace the log-rank test's bound is not to be trusted.
FEWEST_EXPECTED = 5.0
SOONER, LATER, ALIKE = "sooner than the rest", "later than the rest", "no telling difference"


class ShareSold(NamedTuple):
    """Share of a group that has sold by a day, with its interval; NaN where nothing has waited so long."""

    share: float
    low: float
    high: float


def share_sold(days: npt.ArrayLike, sold: npt.ArrayLike, *, by_days: float, confidence: float) -> ShareSold:
    """Share sold by a day, unsold items counted, with an interval that also serves few items and no sale.

    The interval is Wilson's for as many items as would give a plain share the error that
    Greenwood's formula gives this one.

    Parameters
    ----------
    days : array, shape (n,)
        Days on sale, to the sale or so far. [days]
    sold : array of bool, shape (n,)
        Whether the item sold.
    by_days : float
        The day. [days]
    confidence : float
        How often the interval is meant to hold the true share.

    Returns
    -------
    ShareSold
        The share and its limits.

    References
    ----------
    ``rothman-1978`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> found = share_sold([5, 8, 20, 20], [True, True, False, False], by_days=10, confidence=0.95)
    >>> [round(value, 3) for value in found]
    [0.5, 0.15, 0.85]
    >>> share_sold([5, 8], [True, False], by_days=30, confidence=0.95).share
    nan
    """
    time, event = np.asarray(days, dtype=np.float64), np.asarray(sold, dtype=bool)
    table = survival_table(time, event, confidence=confidence)
    early = table[table["days"] <= by_days]
    unsold = float(early["unsold_share"].iloc[-1]) if len(early) else 1.0
    if not time.size or (time.max() < by_days and unsold > 0):
        return ShareSold(math.nan, math.nan, math.nan)
    gone = 1 - unsold
    if 0 < gone < 1:
        count = gone * unsold / float(early["standard_error"].iloc[-1]) ** 2
    else:
        count = float(event.sum() if gone else (time >= by_days).sum())
    reach = float(ndtri((1 + confidence) / 2)) ** 2
    middle = (gone + reach / (2 * count)) / (1 + reach / count)
    half = math.sqrt(reach * (gone * unsold / count + reach / (4 * count**2))) / (1 + reach / count)
    return ShareSold(gone, max(middle - half, 0.0), min(middle + half, 1.0))


def waiting_groups(
    economics: pd.DataFrame, recorded: pd.DataFrame, price_changes: pd.DataFrame, *, by: str
) -> pd.DataFrame:
    """Every item that was ever listed, with the group that it belongs to.

    Parameters
    ----------
    economics : DataFrame
        As ``item_economics`` gives it.
    recorded : DataFrame
        The books' items: ``item_id``, and ``source`` or ``condition`` where they are asked for.
    price_changes : DataFrame
        The books' price changes.
    by : str
        One of ``GROUPINGS``.

    Returns
    -------
    DataFrame
        ``item_id``, ``group``, ``days``, ``sold``, ``given_up``: one row a listed item.

    Raises
    ------
    AssumptionError
        If things cannot be grouped so.

    Examples
    --------
    >>> rows = pd.DataFrame({"item_id": ["a", "b"], "category": ["mugs", "mugs"], "days_listed": [5.0, None],
    ...     "sold_on": pd.to_datetime(["2026-01-06", None]), "status": ["sold", "not listed"]})
    >>> waiting_groups(rows, rows, pd.DataFrame(), by="category")[["group", "days", "sold"]].values.tolist()
    [['mugs', 5.0, True]]
    """
    if by not in GROUPINGS:
        raise AssumptionError("by", need=f"one of {', '.join(GROUPINGS)}", got=by)
    if by == "markdown":
        lowered = economics["item_id"].isin(_lowered(economics, price_changes))
        group = pd.Series(np.where(lowered, MARKED, NEVER_MARKED), index=economics.index)
    elif by in ("source", "condition"):
        said = recorded.drop_duplicates("item_id").set_index("item_id")[by] if by in recorded else pd.Series(dtype=str)
        group = economics["item_id"].map(said).astype("string").str.strip().str.casefold()
        group = group.where(group.notna() & (group != ""), UNKNOWN)
    else:
        group = economics["category" if by == "category" else "size_class"]
    found = pd.DataFrame(
        {
            "item_id": economics["item_id"],
            "group": group.astype(object).map(str),
            "days": economics["days_listed"],
            "sold": economics["sold_on"].notna(),
            "given_up": (economics["status"] == "gone") & economics["sold_on"].isna(),
        }
    )
    return found[found["days"].notna()].reset_index(drop=True)


def waiting_table(groups: pd.DataFrame, *, within_days: float, confidence: float) -> pd.DataFrame:
    """Time to sale of each group.

    Parameters
    ----------
    groups : DataFrame
        As ``waiting_groups`` gives it.
    within_days : float
        The day up to which the mean counts. [days]
    confidence : float
        How often an interval is meant to hold the truth.

    Returns
    -------
    DataFrame
        One row a group, the soonest first: ``group``, ``listed``, ``sold``, ``still`` (for sale),
        ``given_up``, ``mean_days`` (restricted) and ``mean_error`` (both NaN where nothing has
        waited so long), ``half_days`` with ``half_low`` and ``half_high`` (NaN where not
        reached), and for each of ``MARKS`` ``sold_30``, ``low_30``, ``high_30``; ``all_sold``.

    Examples
    --------
    >>> rows = pd.DataFrame({"group": "mugs", "days": [5.0, 8.0, 40.0, 90.0], "sold": [True, True, False, False],
    ...     "given_up": False})
    >>> table = waiting_table(rows, within_days=60, confidence=0.95)
    >>> table[["listed", "sold", "mean_days", "sold_30"]].values.tolist()
    [[4.0, 2.0, 33.25, 0.5]]
    """
    rows = []
    for name, part in groups.groupby("group", sort=True):
        days, sold = part["days"].to_numpy(dtype=np.float64), part["sold"].to_numpy(dtype=bool)
        half = days_to_sale(days, sold, confidence=confidence)
        known = days.max() >= within_days or bool(sold[days == days.max()].all())
        row = {
            "group": name,
            "listed": days.size,
            "sold": int(sold.sum()),
            "still": int((~sold & ~part["given_up"]).sum()),
            "given_up": int(part["given_up"].sum()),
            "mean_days": restricted_mean(days, sold, within_days=within_days) if known else math.nan,
            "mean_error": restricted_mean_error(days, sold, within_days=within_days)
            if known and sold.any()
            else math.nan,
            "half_days": half.days,
            "half_low": half.low,
            "half_high": half.high,
            "all_sold": bool(sold.all()),
        }
        for mark in MARKS:
            share = share_sold(days, sold, by_days=mark, confidence=confidence)
            row |= {f"sold_{mark}": share.share, f"low_{mark}": share.low, f"high_{mark}": share.high}
        rows.append(row)
    table = pd.DataFrame(rows)
    return table.sort_values(["mean_days", "group"], ignore_index=True) if rows else table


def common_days(groups: pd.DataFrame, *, too_few: int) -> int:
    """The longest of ``MARKS`` up to which the means of all larger groups are known, so that they compare.

    Parameters
    ----------
    groups : DataFrame
        As ``waiting_groups`` gives it.
    too_few : int
        Groups of fewer listed things do not shorten it.

    Returns
    -------
    int
        Days; the longest mark where no group is so large, the shortest where none is known.

    Examples
    --------
    >>> rows = pd.DataFrame({"group": list("aabb"), "days": [9.0, 200.0, 9.0, 70.0], "sold": [True, False] * 2})
    >>> common_days(rows, too_few=2), common_days(rows, too_few=5)
    (60, 180)
    """
    reach = []
    for _, part in groups.groupby("group"):
        longest = float(part["days"].max())
        if len(part) >= too_few and not bool(part.loc[part["days"] == longest, "sold"].all()):
            reach.append(longest)
    return max((mark for mark in MARKS if mark <= min(reach, default=math.inf)), default=MARKS[0])


def holm(p_values: npt.ArrayLike) -> Floats:
    """P-values corrected for there being many, by Holm's method.

    The smallest counts as many times as there are, the next one time less, and so on; none is
    smaller than one before it.

    Parameters
    ----------
    p_values : array, shape (n,)
        P-values of single tests.

    Returns
    -------
    array, shape (n,)
        Corrected, at most 1, in the same order.

    References
    ----------
    ``holm-1979`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> holm([0.01, 0.04, 0.03]).round(3).tolist()
    [0.03, 0.06, 0.06]
    """
    value = np.asarray(p_values, dtype=np.float64)
    order = np.argsort(value, kind="stable")
    steps = np.maximum.accumulate(value[order] * (value.size - np.arange(value.size)))
    found = np.empty(value.size)
    found[order] = np.minimum(steps, 1.0)
    return found


class Compared(NamedTuple):
    """Groups compared: all at once (none where fewer than two can be), and each against the rest."""

    overall: LogRank | None
    each: pd.DataFrame


def compared(groups: pd.DataFrame, *, confidence: float, too_few: int) -> Compared:
    """Which groups sell at another pace than the rest.

    Parameters
    ----------
    groups : DataFrame
        As ``waiting_groups`` gives it.
    confidence : float
        1 less the chance that all groups at one pace would have any called different.
    too_few : int
        Below so many listed items a group is not tested, only part of the rest.

    Returns
    -------
    Compared
        The log-rank test over the groups that are tested, and a row a group: ``group``,
        ``listed``, ``sold``, ``expected`` (sales, had it and the rest one pace), ``p_value``,
        ``corrected`` (Holm; both NaN where not tested), ``verdict``: ``SOONER``, ``LATER``,
        ``ALIKE`` or too few to tell.

    Examples
    --------
    >>> rows = pd.DataFrame({"group": ["quick"] * 12 + ["slow"] * 12, "days": [*range(1, 25, 2), *range(9, 45, 3)],
    ...     "sold": True, "given_up": False})
    >>> compared(rows, confidence=0.95, too_few=10).each["verdict"].tolist()
    ['sooner than the rest', 'later than the rest']
    """
    time, event = groups["days"].to_numpy(dtype=np.float64), groups["sold"].to_numpy(dtype=bool)
    label = groups["group"].to_numpy(dtype=object)
    names = sorted(set(label))
    large = [name for name in names if (label == name).sum() >= too_few]
    inside = np.isin(label, large)
    overall = log_rank(time[inside], event[inside], label[inside]) if len(large) > 1 and event[inside].any() else None
    rows = []
    for name in names:
        mine = label == name
        row = {"group": name, "listed": int(mine.sum()), "sold": int(event[mine].sum())}
        row |= {"expected": math.nan, "p_value": math.nan}
        if name in large and not mine.all() and event.any():
            test = log_rank(time, event, np.where(mine, "a", "b"))
            row["expected"] = test.expected[0]
            # With so few sales expected in either part the chi-square is not to be trusted.
            row["p_value"] = test.p_value if min(test.expected) >= FEWEST_EXPECTED else math.nan
        rows.append(row)
    each = pd.DataFrame(rows, columns=["group", "listed", "sold", "expected", "p_value"])
    tested = each["p_value"].notna()
    each["corrected"] = np.nan
    each.loc[tested, "corrected"] = holm(each.loc[tested, "p_value"])
    each["verdict"] = [
        TOO_FEW
        if math.isnan(row["corrected"])
        else ALIKE
        if row["corrected"] >= 1 - confidence
        else SOONER
        if row["sold"] > row["expected"]
        else LATER
        for row in each.to_dict("records")
    ]
    return Compared(overall, each)


def unsold_missing(table: pd.DataFrame) -> str:
    """The warning for groups without one unsold item; empty where there is none.

    Parameters
    ----------
    table : DataFrame
        As ``waiting_table`` gives it.

    Returns
    -------
    str
        One sentence.

    Examples
    --------
    >>> unsold_missing(pd.DataFrame({"group": ["mugs", "jugs"], "all_sold": [True, False]}))[:25]
    'Mugs: no unsold item: if '
    """
    whole = [str(name) for name in table.loc[table["all_sold"], "group"]] if len(table) else []
    text = f"{', '.join(whole)}: {ALL_SOLD}."
    return f"{text[:1].upper()}{text[1:]}" if whole else ""


def _lowered(economics: pd.DataFrame, changes: pd.DataFrame) -> set[str]:
    """Things whose price was lowered at least once after they were listed."""
    if not len(changes):
        return set()
    first = economics[["item_id", "listed_on", "list_price_cents"]].set_axis(["item_id", "on", "cents"], axis=1)
    later = changes[["item_id", "changed_on", "price_cents"]].set_axis(["item_id", "on", "cents"], axis=1)
    prices = pd.concat([first.assign(place=0), later.assign(place=1)], ignore_index=True).dropna(subset=["on", "cents"])
    prices = prices.sort_values(["item_id", "on", "place"], kind="stable")
    prices["cents"] = prices["cents"].astype(np.float64)
    drop = prices.groupby("item_id")["cents"].diff() < 0
    return set(prices.loc[drop, "item_id"])
