"""What a reader's sliders start from: the study's sums, labels at other divisors, the wage that was paid."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pandas as pd

from flipkit.analysis.sliders import AS_CHARGED, Settings, moved_returns, moving_sums
from flipkit.charts.sliders import DIVISORS, moved_words, plot_moving_returns
from flipkit.economics.labor import EVERYBODY
from flipkit.economics.overrides import labels_dearer, with_divisor
from flipkit.reports.elements import Element, table
from flipkit.reports.sentences import money_per_hour
from flipkit.reports.study import Study
from flipkit.reports.tables import words


def study_sums(study: Study) -> pd.DataFrame:
    """The sums that the sliders work on, over the items sold in the window."""
    sold = study.sold_items()
    supposed = study.assumptions.whole("suppose.divisor")
    charged = {"rules": with_divisor(study.rules, supposed) if supposed else study.rules}
    dearer = {divisor: labels_dearer(sold, divisor, assumptions=study.assumptions, **charged) for divisor in DIVISORS}
    return moving_sums(sold, dearer, study.sold_returns)


def wage_paid(study: Study) -> float:
    """What an hour of help was paid, before payroll taxes: by the log, or the assumed wage where that stands in."""
    assumed = study.assumptions.cents("help.wage")
    if study.assumptions.text("suppose.wage_for") == EVERYBODY:
        return assumed / 100
    hired = study.books.people[study.books.people["role"] == "hired"].set_index("worker")["wage_cents"]
    logged = study.books.work[study.books.work["worker"].isin(hired.index)]
    minutes = logged.groupby("worker")["minutes"].sum()
    if not len(minutes) or minutes.sum() <= 0:
        return assumed / 100
    wages = hired.loc[minutes.index].fillna(assumed).to_numpy(dtype=np.float64)
    return round(float((wages * minutes.to_numpy()).sum() / minutes.sum())) / 100


def starting_settings(study: Study) -> Settings:
    """Where the sliders stand at first: as the report assumes."""
    return Settings(target=study.target, wage=wage_paid(study))


def plot_sliders(study: Study) -> Any:
    """The categories with the sliders that move them.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    alt.VConcatChart or alt.Chart
        For a page or JupyterLab.
    """
    return plot_moving_returns(
        study_sums(study),
        starting_settings(study),
        wage=wage_paid(study),
        confidence=study.confidence,
        currency=study.currency,
    )


def sliders_sentence(study: Study) -> tuple[str, str]:
    """Where the sliders start, and what they do not reach.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    tuple of (str, str)
        The sentence and the note below it.
    """
    sums = study_sums(study)
    if sums.empty:
        return "Nothing sold in these months, so there is no hour to move.", ""
    start = starting_settings(study)
    moved = moved_returns(sums, start, wage=start.wage)
    lines = moved_words(moved, start.target, currency=study.currency)
    note = (
        "As the books stand, before a slider moves. What sold in the window; unsold things are not in it, the page on "
        "the stock counts them."
    )
    if not sums["help"].sum():
        note += " No help was paid in these sales, so the wage moves nothing."
    return " ".join(lines[:2]), note


def divisors_table(study: Study) -> Element:
    """What an hour of each category would have earned at each divisor.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page; words where nothing sold.
    """
    sums = study_sums(study)
    if sums.empty:
        return words("Nothing sold in these months, so no label was needed.")
    start = starting_settings(study)
    columns = {}
    for divisor in (AS_CHARGED, *DIVISORS):
        settings = dataclasses.replace(start, divisor=divisor)
        moved = moved_returns(sums, settings, wage=start.wage).set_index("category")
        columns[str(divisor) if divisor else "as charged"] = moved["hourly"]
    frame = pd.DataFrame(columns).sort_values("as charged", ascending=False, kind="stable").reset_index()
    formats = dict.fromkeys(columns, lambda dollars: money_per_hour(float(dollars), currency=study.currency))
    headings = {"category": "Category", "as charged": "As charged", **{str(d): f"Divisor {d}" for d in DIVISORS}}
    return table(frame, caption="Per hour at each divisor", headings=headings, formats=formats, currency=study.currency)
