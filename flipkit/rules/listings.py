"""What it costs to put things up for sale and to keep them up: listing fees, free ones, relisting."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from flipkit.errors import MeasureError
from flipkit.money import Cents
from flipkit.rules import columns as cols
from flipkit.rules.schedules import FeeSchedule


def listing_periods(schedule: FeeSchedule, *, listed_on: object, ended_on: object) -> npt.NDArray[np.int64]:
    """How many listing periods each thing has had, the first one and every relisting.

    Parameters
    ----------
    schedule : FeeSchedule
        The marketplace's schedule; the length of a period is that of the block in force at the first listing.
    listed_on : date or array of dates, shape (n,)
        First listing.
    ended_on : date or array of dates, shape (n,)
        Sale or last day up.

    Returns
    -------
    array, shape (n,)
        Periods, int64, at least 1.

    Raises
    ------
    RuleNotInForceError
        If a day of listing has no block.
    MeasureError
        If a thing ended before it was listed.
    """
    rows = cols.row_count(listed_on=listed_on, ended_on=ended_on)
    first = cols.days("listed_on", listed_on, rows)
    last = cols.days("ended_on", ended_on, rows)
    block = cols.blocks(schedule, first, rows)
    length = np.array([b.listing.relist_every_days if b.listing else 0 for b in schedule.blocks], dtype=np.int64)[block]
    days = (last - first).astype(np.int64)
    if (days < 0).any():
        row = int(np.argmax(days < 0))
        raise MeasureError("ended_on", need=f"not before {first[row]}", got=str(last[row]), where=f"row {row + 1}")
    # A period of N days that starts on day 0 is over on day N: the thing is put up again that day.
    return np.where(length > 0, 1 + days // np.maximum(length, 1), 1)


def listing_fees(
    schedule: FeeSchedule, *, listed_on: object, ended_on: object, free_a_month: int | None = None
) -> Cents:
    """What listing each thing cost, each period at the fee of its own day, the free ones of a month first.

    Give the shop's things all together: the free listings of a calendar month go to the earliest
    listings of the month, relistings counted, the earlier row first on one day.

    Parameters
    ----------
    schedule : FeeSchedule
        The marketplace's schedule.
    listed_on : date or array of dates, shape (n,)
        First listing.
    ended_on : date or array of dates, shape (n,)
        Sale or last day up.
    free_a_month : int, optional
        Free listings a month in place of the schedule's, for instance 0 for one thing of a busy shop.

    Returns
    -------
    array, shape (n,)
        The fees, int64. [cents]

    Raises
    ------
    RuleNotInForceError
        If a day of listing or relisting has no block.
    MeasureError
        If a thing ended before it was listed.
    """
    periods = listing_periods(schedule, listed_on=listed_on, ended_on=ended_on)
    rows = periods.size
    first = cols.days("listed_on", listed_on, rows)
    length = np.array([b.listing.relist_every_days if b.listing else 0 for b in schedule.blocks], dtype=np.int64)
    length = length[cols.blocks(schedule, first, rows)]
    thing = np.repeat(np.arange(rows), periods)
    number = np.arange(thing.size) - np.repeat(np.cumsum(periods) - periods, periods)
    day = first[thing] + (number * length[thing]).astype("timedelta64[D]")
    block = cols.blocks(schedule, day, day.size)
    fee = np.array([b.listing.fee_cents if b.listing else 0 for b in schedule.blocks], dtype=np.int64)[block]
    free = np.array([b.listing.free_a_month if b.listing else 0 for b in schedule.blocks], dtype=np.int64)[block]
    if free_a_month is not None:
        free = np.full(day.size, free_a_month, dtype=np.int64)
    order = np.lexsort((thing, day))
    month = day[order].astype("datetime64[M]").view(np.int64)
    starts = np.flatnonzero(np.concatenate(([True], month[1:] != month[:-1]))) if day.size else np.zeros(0, dtype=int)
    rank = np.arange(day.size) - np.repeat(starts, np.diff(np.append(starts, day.size)))
    paid = np.zeros(day.size, dtype=np.int64)
    paid[order] = np.where(rank < free[order], 0, fee[order])
    found = np.zeros(rows, dtype=np.int64)
    np.add.at(found, thing, paid)
    return found
