"""What parcels taught: billed above entered, later adjustments, and trims that would have paid.

Three things are told of each parcel that was shipped with its measures known. What was billed for its
label above what the rules ask for the measures entered. What the carrier took later. And whether one
side, a little shorter, would have made the label by the rules cheaper: the parcels just above a step.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.assumptions import Assumptions
from flipkit.books.schema import PICKUP
from flipkit.economics.costs import MEASURES, own_rate_cards
from flipkit.rules.postage import label_columns
from flipkit.rules.tables import Rules
from flipkit.units import SNAP

Cents = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

SIDES = MEASURES[:3]
#: The most that may come off a side for a trim to count as one. [in]
REACH_IN = 1.0
#: Stands for a label that no service sells.
_REFUSED = np.iinfo(np.int64).max

COLUMNS = [
    "item_id",
    "title",
    "category",
    "size_class",
    *MEASURES,
    "zone",
    "sold_on",
    "paid_cents",
    "rule_cents",
    "above_cents",
    "adjustment_cents",
    "trim_cents",
    "trim_side",
    "trim_in",
    "cost_cents",
]


def parcel_lessons(
    sold: pd.DataFrame, rules: Rules, assumptions: Assumptions, *, reach_in: float = REACH_IN, step_in: float = 1.0
) -> pd.DataFrame:
    """What each shipped and measured parcel cost above its measures, and what a trim would have saved.

    A trim cuts a side to the next whole ``step_in`` below: an inch, or a centimeter where the shop measures in those.
    """
    posted = (sold["zone"] != PICKUP) & (sold["zone"] != "") & (sold["measures_origin"] == "recorded")
    rows = sold[posted].reset_index(drop=True)
    cards = own_rate_cards(rules, assumptions)
    if rows.empty or not cards:
        return pd.DataFrame(columns=COLUMNS)
    sides = rows[list(SIDES)].to_numpy(dtype=np.float64)
    now = _cheapest(rows, sides, rules, assumptions)
    taken = now != _REFUSED
    rows, sides, now = rows[taken].reset_index(drop=True), sides[taken], now[taken]
    saved, side, cut = _best_trim(rows, sides, now, rules, assumptions, reach_in, step_in)
    recorded = (rows["label_origin"] == "recorded").to_numpy()
    paid = np.where(recorded, rows["label_cents"].to_numpy(dtype=np.float64), np.nan)
    adjusted = rows["label_adjustment_cents"].to_numpy(dtype=np.int64)
    found = rows.assign(
        paid_cents=paid,
        rule_cents=now,
        above_cents=np.where(recorded, np.maximum(np.nan_to_num(paid) - now, 0), 0).astype(np.int64),
        adjustment_cents=adjusted,
        trim_cents=saved,
        trim_side=side,
        trim_in=cut,
    )
    found["cost_cents"] = found["above_cents"] + found["adjustment_cents"].clip(lower=0) + found["trim_cents"]
    return found[COLUMNS]


def lesson_totals(lessons: pd.DataFrame, *, by: str = "category") -> pd.DataFrame:
    """Lessons summed by category, the dearest first."""
    marked = lessons.assign(
        parcels=1,
        above=(lessons["above_cents"] > 0).astype(np.int64),
        adjusted=(lessons["adjustment_cents"] != 0).astype(np.int64),
        trims=(lessons["trim_cents"] > 0).astype(np.int64),
    )
    names = ["parcels", "above", "above_cents", "adjusted", "adjustment_cents", "trims", "trim_cents", "cost_cents"]
    table = marked.groupby(by, as_index=False)[names].sum() if len(marked) else pd.DataFrame(columns=[by, *names])
    return table.sort_values(["cost_cents", by], ascending=[False, True], kind="stable").reset_index(drop=True)


def _best_trim(
    rows: pd.DataFrame,
    sides: Floats,
    now: Cents,
    rules: Rules,
    assumptions: Assumptions,
    reach_in: float,
    step_in: float,
) -> tuple[Cents, npt.NDArray[np.object_], Floats]:
    """The saving of each parcel's best trim, the side, and what comes off it."""
    # The next whole step below each side, where it is within reach.
    shorter = (np.ceil(np.round(sides / step_in, 6)) - 1) * step_in
    cuts = sides - shorter
    within = (shorter > 0) & (cuts <= reach_in + SNAP)
    best = np.zeros(len(rows), dtype=np.int64)
    which = np.full(len(rows), "", dtype=object)
    off = np.zeros(len(rows))
    for place, side in enumerate(SIDES):
        at = np.flatnonzero(within[:, place])
        if not at.size:
            continue
        tried = sides[at].copy()
        tried[:, place] = shorter[at, place]
        price = _cheapest(rows.iloc[at], tried, rules, assumptions)
        saving = np.where(price == _REFUSED, 0, now[at] - price)
        # Of sides that save as much, the one that loses least.
        better = (saving > best[at]) | ((saving == best[at]) & (saving > 0) & (cuts[at, place] < off[at] - SNAP))
        best[at[better]], which[at[better]] = saving[better], side.removesuffix("_in")
        off[at[better]] = cuts[at[better], place]
    return best, which, off


def _cheapest(rows: pd.DataFrame, sides: Floats, rules: Rules, assumptions: Assumptions) -> Cents:
    """The cheapest label of the shop's cards for each parcel with these sides."""
    best = np.full(len(rows), _REFUSED, dtype=np.int64)
    for card in own_rate_cards(rules, assumptions):
        found = label_columns(
            card,
            rules.rules_of(card),
            on=rows["sold_on"].to_numpy().astype("datetime64[D]"),
            zone=rows["zone"].to_numpy(),
            weight_lb=rows["weight_lb"].to_numpy(dtype=np.float64),
            length_in=sides[:, 0],
            width_in=sides[:, 1],
            height_in=sides[:, 2],
        )
        price = np.where(found["refused"] == "", found["total_cents"], _REFUSED)
        best = np.minimum(best, price)
    return best
