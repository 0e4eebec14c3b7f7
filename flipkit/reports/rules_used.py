"""Which blocks of which rule sets the figures of a study depend on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.economics.costs import own_rate_cards
from flipkit.reports.study import Study
from flipkit.rules.dated import RuleSet

Days = npt.NDArray[np.datetime64]


@dataclass(frozen=True)
class RuleUsed:
    """One block of a rule set that some figure of the pack depends on.

    Attributes
    ----------
    kind, name, begins, ends : str
        The rule set, and the days its block is in force; ``ends`` is empty while it is.
    source, seen : str
        Where the block comes from, and how well that is known.
    own : bool
        Whether the block is the seller's own and not packaged.
    """

    kind: str
    name: str
    begins: str
    ends: str
    source: str
    seen: str
    own: bool = False


def rules_used(study: Study) -> list[RuleUsed]:
    """Every rule block in force on a day for which some figure was computed by it.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    list of RuleUsed
        One a block, with its dates and its source.
    """
    found: dict[RuleUsed, None] = {}
    for rule_set, days in _asked(study):
        for at in sorted(set(rule_set.index_at(days).tolist())) if days.size else []:
            block = rule_set.blocks[at]
            used = RuleUsed(
                kind=rule_set.kind,
                name=rule_set.name,
                begins=block.starts.isoformat(),
                ends=block.ends.isoformat() if block.ends else "",
                source=", ".join(block.sources),
                seen=block.seen,
                own=rule_set.file in study.rules.own,
            )
            found[used] = None
    return list(found)


def _asked(study: Study) -> Iterator[tuple[RuleSet, Days]]:
    """Each rule set that was asked, with the days that it was asked for."""
    items = study.items
    rules = study.rules
    venue = items["venue"].where(items["venue"] != "", study.assumptions.text("venue.default"))
    by_rule = items["marketplace_fee_origin"] == "rule"
    for name in sorted(venue[by_rule].unique()):
        yield rules.fee_schedules[name], _days(items["sold_on"][by_rule & (venue == name)])
    labelled = items["label_origin"].isin(["rule", "assumed"])
    cards = own_rate_cards(rules, study.assumptions)
    for card in cards:
        yield card, _days(items["sold_on"][labelled])
    for name in sorted({card.parcel_rules for card in cards}):
        yield rules.parcels[name], _days(items["sold_on"][labelled])
    driven = study.books.trips[study.books.trips["trip_id"].isin(items["trip_id"])]
    yield rules.mileage, _days(driven["date"][driven["miles"].fillna(0) > 0])
    classed = items["sold_on"].fillna(pd.Timestamp(study.as_of))
    classed = classed.clip(lower=pd.Timestamp(rules.size_classes.blocks[0].starts))
    yield rules.size_classes, _days(classed)
    if rules.size_classes.rules is not None:
        yield rules.size_classes.rules, _days(classed)


def _days(dates: pd.Series) -> Days:
    return dates.dropna().to_numpy().astype("datetime64[D]")
