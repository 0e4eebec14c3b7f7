"""Which surcharges a parcel trips, by which measure, over which threshold and by how much."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy.typing as npt

from flipkit.rules import columns as cols
from flipkit.rules.measuring import block_measures, condition_holds, parcel_inputs
from flipkit.rules.parcel_rules import PACKAGING, ParcelBlock, ParcelRules, Surcharge
from flipkit.units import SNAP

if TYPE_CHECKING:
    import pandas as pd

_UNITS = {"volume": "cu_{length}", "weight": "{weight}"}


@dataclass(frozen=True)
class Trigger:
    """One threshold that one parcel exceeds.

    Parameters
    ----------
    row : int
        Which parcel, from 0.
    surcharge, group : str
        What it trips, and what that belongs to; ``over_maximum`` for the carrier's limits.
    measure : str
        What is measured: a name of ``parcel_rules.MEASURES``, ``packaging`` or ``dimensions_entered``.
    unit : str
        Unit of the next three, empty for a packaging.
    value, threshold, over_by : float
        What it measures, what it may measure, and the difference.
    word : str
        The packaging, where that is the trigger.
    applies : bool
        Whether the surcharge is due; not where another group drops it.
    minimum_billable : float
        Weight that is then billed at least, 0 for none. [units of weight]
    """

    row: int
    surcharge: str
    group: str
    measure: str
    unit: str
    value: float
    threshold: float
    over_by: float
    word: str
    applies: bool
    minimum_billable: float


def parcel_triggers(
    rules: ParcelRules,
    *,
    on: object,
    length_in: npt.ArrayLike,
    width_in: npt.ArrayLike,
    height_in: npt.ArrayLike,
    weight_lb: npt.ArrayLike,
    zone: object = None,
    packaging: object = "box",
    dimensions_entered: object = True,
) -> list[Trigger]:
    """Everything that parcels trip, in the rule set's own units.

    Parameters
    ----------
    rules : ParcelRules
        The carrier's rule set.
    on : date or array of dates, shape (n,)
        Days of posting.
    length_in, width_in, height_in : float or array, shape (n,)
        Outside of the packed parcels, in any order. [in]
    weight_lb : float or array, shape (n,)
        What the scale says. [lb]
    zone : str, int or array, shape (n,), optional
        Zones; needed only where the block's rules differ by zone.
    packaging : str or array of str, shape (n,)
        One of ``parcel_rules.PACKAGING``.
    dimensions_entered : bool or array, shape (n,)
        Whether the sender states the dimensions.

    Returns
    -------
    list of Trigger
        By parcel, then in the order of the rule set.

    Raises
    ------
    RuleNotInForceError
        If a day has no block.
    MeasureError
        If a side or a weight is not a finite number above zero.

    Examples
    --------
    >>> import datetime as dt
    >>> from flipkit.rules.tables import load_rules
    >>> network = load_rules().parcels["private-network"]
    >>> flat = {"length_in": 58, "width_in": 26, "height_in": 6, "weight_lb": 14}
    >>> for found in parcel_triggers(network, on=dt.date(2026, 10, 1), **flat):
    ...     print(found.surcharge, found.value, found.threshold, found.over_by)
    handling_longest 58.0 48.0 10.0
    handling_length_girth 122.0 105.0 17.0
    """
    given = parcel_inputs(
        on=on,
        length_in=length_in,
        width_in=width_in,
        height_in=height_in,
        weight_lb=weight_lb,
        zone=zone,
        packaging=packaging,
        dimensions_entered=dimensions_entered,
    )
    rows = given["length_in"].size
    if zone is not None:
        given["zone"] = cols.words(zone, rows)
    index = cols.blocks(rules, on, rows)
    found: list[Trigger] = []
    for number in sorted(set(index.tolist())):
        at = index == number
        part = {name: column[at] for name, column in given.items()}
        places = [place for place, held in enumerate(at.tolist()) if held]
        found += _of_block(rules, rules.blocks[number], part, places)
    return sorted(found, key=lambda trigger: trigger.row)


def _of_block(rules: ParcelRules, block: ParcelBlock, given: cols.Columns, places: list[int]) -> list[Trigger]:
    measured = block_measures(rules, block, given)
    seen = {name.removeprefix("seen_"): values for name, values in measured.items() if name.startswith("seen_")}
    found: list[Trigger] = []
    for extra in block.surcharges:
        holds = condition_holds(extra.when, seen, given, block)
        for at in holds.nonzero()[0].tolist():
            found += _of_surcharge(rules, extra, seen, given, at, places[at], applies=bool(measured[extra.name][at]))
    for measure, limit in block.limits.items():
        for at in (seen[measure] > limit + SNAP).nonzero()[0].tolist():
            over = _over(rules, measure, float(seen[measure][at]), limit)
            common: dict[str, Any] = {"row": places[at], "surcharge": "over_maximum", "group": "over maximum"}
            found.append(Trigger(**common, **over, word="", applies=True, minimum_billable=0.0))
    return found


def _of_surcharge(
    rules: ParcelRules, extra: Surcharge, seen: cols.Columns, given: cols.Columns, at: int, row: int, *, applies: bool
) -> list[Trigger]:
    common: dict[str, Any] = {
        "row": row,
        "surcharge": extra.name,
        "group": extra.group,
        "applies": applies,
        "minimum_billable": extra.minimum_billable,
    }
    nothing: Mapping[str, Any] = {"unit": "", "value": 0.0, "threshold": 0.0, "over_by": 0.0}
    when = extra.when
    found = [
        Trigger(**common, word="", **_over(rules, measure, float(seen[measure][at]), limit))
        for measure, limit in when.over.items()
    ]
    for side, limit in zip(("longest", "second", "shortest"), when.any_over, strict=False):
        if seen[side][at] > limit + SNAP:
            found.append(Trigger(**common, word="", **_over(rules, side, float(seen[side][at]), limit)))
    if when.packaging:
        found.append(Trigger(**common, measure="packaging", word=PACKAGING[int(given["packaging"][at])], **nothing))
    if when.dimensions_entered is False:
        found.append(Trigger(**common, measure="dimensions_entered", word="not entered", **nothing))
    if not found:
        # What trips by being small enough, such as a thin parcel, is under its bound, not over it.
        found = [
            Trigger(**common, word="", **_over(rules, measure, float(seen[measure][at]), limit))
            for measure, limit in when.at_most.items()
        ]
    return found


def _over(rules: ParcelRules, measure: str, value: float, limit: float) -> dict[str, Any]:
    unit = _UNITS.get(measure, "{length}").format(length=rules.length_unit, weight=rules.weight_unit)
    return {"measure": measure, "unit": unit, "value": value, "threshold": limit, "over_by": round(value - limit, 6)}


def trigger_frame(triggers: list[Trigger]) -> pd.DataFrame:
    """Triggers as a frame, one row each.

    Parameters
    ----------
    triggers : list of Trigger
        From ``parcel_triggers``.

    Returns
    -------
    pandas.DataFrame
        A column for every field of ``Trigger``.
    """
    import dataclasses

    import pandas as pd

    names = [field.name for field in dataclasses.fields(Trigger)]
    return pd.DataFrame([dataclasses.asdict(trigger) for trigger in triggers], columns=names)
