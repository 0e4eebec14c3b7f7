"""The interval claimed beside the same interval by textbook methods."""

from __future__ import annotations

import pandas as pd

from flipkit.analysis.words import TOO_FEW
from flipkit.reports.elements import Element, table
from flipkit.reports.sentences import money_per_hour
from flipkit.reports.study import Study

_WHY = (
    "The interval claimed comes from a bootstrap that allows for few trips and long tails. The textbook one (BCa) "
    "holds the truth less often than it says where trips are few, as the page on trust measures; the delta-method "
    "error is a check: about two of them lie between the figure and either end."
)


def methods_table(study: Study) -> Element:
    """Each category's claimed interval, the BCa bootstrap's and the delta-method error, on bought basis.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page, folded; the whole shop's row comes last.
    """
    frame = pd.concat([study.bought_returns, study.shop_bought], ignore_index=True)
    headings = {
        "category": "Category",
        "items": "Bought",
        "trips": "Trips",
        "hourly": "Per hour",
        "claimed_interval": f"Claimed {study.confidence:.0%} interval",
        "bca_interval": "BCa bootstrap",
        "delta_se": "Delta-method error",
    }
    for name, before in (("claimed_interval", ""), ("bca_interval", "bca_")):
        rows = frame[["claimed", f"{before}low", f"{before}high"]].itertuples(index=False)
        frame[name] = [
            f"{_dollars(study, low)} to {_dollars(study, high)}" if claimed else TOO_FEW for claimed, low, high in rows
        ]
    formats = dict.fromkeys(("hourly", "delta_se"), lambda dollars: _dollars(study, dollars))
    return table(
        frame,
        caption="The same interval by other methods, bought basis",
        headings=headings,
        formats=formats,
        fold=True,
        note=_WHY,
        currency=study.currency,
    )


def _dollars(study: Study, dollars: float) -> str:
    return money_per_hour(float(dollars), currency=study.currency)
