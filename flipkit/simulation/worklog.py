"""The work log that a shop would keep: some weeks written down, others not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.simulation.draws import Draws

#: When an activity is done, and how a seller writes it down: for each thing apart, for the things
#: of one category together, or for the day. Work above the stated minutes is always written apart.
_HABITS = {
    "research": ("bought_on", "category", 45.0),
    "clean": ("listed_on", "category", 30.0),
    "photograph": ("listed_on", "category", 60.0),
    "write": ("listed_on", "day", 60.0),
    "store": ("listed_on", "day", 60.0),
    "messages": ("sold_on", "day", 30.0),
    "pack": ("sold_on", "day", 20.0),
    "post": ("sold_on", "day", 60.0),
    "returns": ("returned_on", "item", 0.0),
}
COLUMNS = ("date", "activity", "minutes", "worker", "item_id", "trip_id", "category", "count")


@dataclass(frozen=True, kw_only=True)
class Logging:
    """Who works, and how faithfully they write it down.

    Parameters
    ----------
    owners : tuple of str
        The owners; each trip, parcel run and batch is one owner's, or both share it.
    helper : str
        The hired packer, whose paid time is written down more often.
    logged_weeks : float
        Share of the weeks in which the log is kept at all; they come in runs.
    kept : float
        Share of the entries of a logged week that are really written.
    helper_kept : float
        The same for the helper's entries, in any week.
    both : float
        Share of the batches and trips that two owners do together.
    """

    owners: tuple[str, ...] = ("wren", "tobias")
    helper: str = "juno"
    logged_weeks: float = 0.55
    kept: float = 0.92
    helper_kept: float = 0.97
    both: float = 0.25


def work_log(
    items: pd.DataFrame, trips: pd.DataFrame, as_of: np.datetime64, logging: Logging, draws: Draws
) -> pd.DataFrame:
    """Rows of the table ``work``, in order of date.

    Parameters
    ----------
    items : DataFrame
        Histories of one shop, with ``item_id`` and ``trip_id``.
    trips : DataFrame
        Its trips, with ``trip_id`` and ``date``.
    as_of : datetime64
        Last day that is known.
    logging : Logging
        Who works and what they write down.
    draws : Draws
        Where the luck comes from.

    Returns
    -------
    DataFrame
        The columns of the table; blank text where an entry names no item, trip or category.
    """
    parts = [_finding(trips)]
    for activity, (event, by, apart) in _HABITS.items():
        parts.append(_activity(items, activity, event, by, apart, logging))
    rows = pd.concat(parts, ignore_index=True)
    rows = rows[(rows["date"].to_numpy() <= as_of) & (rows["minutes"] >= 0.5)].reset_index(drop=True)
    rows = _kept(rows, logging, draws)
    rows = _shared(rows, logging, draws)
    rows["minutes"] = np.maximum(np.rint(rows["minutes"]), 1).astype(np.int64)
    order = np.lexsort((np.arange(len(rows)), rows["date"].to_numpy()))
    return rows.iloc[order].reset_index(drop=True)[list(COLUMNS)]


def _finding(trips: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "date": trips["date"],
            "activity": "find",
            "minutes": trips["minutes"].astype(np.float64),
            "worker": "",
            "item_id": "",
            "trip_id": trips["trip_id"],
            "category": "",
            "count": trips["items"],
        }
    )


def _activity(items: pd.DataFrame, activity: str, event: str, by: str, apart: float, logging: Logging) -> pd.DataFrame:
    column = f"{activity}_min"
    done = items[items[event].notna() & (items[column] > 0)]
    if activity in ("messages", "pack", "post"):
        done = done[done["outcome"] != "gone"]
    hired = (done["hired_min"] > 0) if activity == "pack" else pd.Series(False, index=done.index)
    single = (done[column] >= apart) | hired
    lone = done[single]
    parts = [
        pd.DataFrame(
            {
                "date": lone[event],
                "minutes": lone[column],
                "worker": np.where(hired[single], logging.helper, ""),
                "item_id": lone["item_id"],
                "category": "",
                "count": 1,
            }
        )
    ]
    rest = done[~single]
    if len(rest):
        keys = [event, "category"] if by == "category" else [event]
        grouped = rest.groupby(keys, observed=True)[column].agg(["sum", "size"]).reset_index()
        parts.append(
            pd.DataFrame(
                {
                    "date": grouped[event],
                    "minutes": grouped["sum"],
                    "worker": "",
                    "item_id": "",
                    "category": grouped["category"].astype(str) if by == "category" else "",
                    "count": grouped["size"],
                }
            )
        )
    frame = pd.concat(parts, ignore_index=True)
    frame["activity"] = activity
    frame["trip_id"] = ""
    return frame


def _kept(rows: pd.DataFrame, logging: Logging, draws: Draws) -> pd.DataFrame:
    """The entries that were written down: whole weeks are missing, in runs."""
    week = (rows["date"].to_numpy().astype("datetime64[D]").astype(np.int64) // 7).astype(np.int64)
    first = int(week.min(initial=0))
    weeks = int(week.max(initial=0)) - first + 1
    # A week is logged like the one before it, mostly; the chance to switch keeps the share.
    switch = draws.uniform("log goes on", weeks) < 0.28
    fresh = draws.uniform("log kept", weeks) < logging.logged_weeks
    logged = np.empty(weeks, dtype=bool)
    for at in range(weeks):
        logged[at] = fresh[at] if at == 0 or switch[at] else logged[at - 1]
    luck = draws.uniform("entry kept", len(rows))
    helper = (rows["worker"] == logging.helper).to_numpy()
    keep = np.where(helper, luck < logging.helper_kept, logged[week - first] & (luck < logging.kept))
    return rows[keep].reset_index(drop=True)


def _shared(rows: pd.DataFrame, logging: Logging, draws: Draws) -> pd.DataFrame:
    """Names on the owners' entries; work done by two together stands on two rows, half each."""
    mine = (rows["worker"] == "").to_numpy()
    who = draws.choice("owner", np.ones(len(logging.owners)), len(rows))
    rows = rows.assign(worker=np.where(mine, np.array(logging.owners, dtype=object)[who], rows["worker"]))
    long: npt.NDArray[np.bool_] = (rows["minutes"] >= 40).to_numpy()
    both = mine & long & (draws.uniform("both", len(rows)) < logging.both)
    other = np.array(logging.owners, dtype=object)[(who + 1) % len(logging.owners)]
    rows["minutes"] = np.where(both, rows["minutes"] / 2, rows["minutes"])
    second = rows[both].assign(worker=other[both])
    return pd.concat([rows, second], ignore_index=True)
