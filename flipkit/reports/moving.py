"""What a reader's sliders start from: the study's sums, labels at other divisors, the wage that was paid."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.moving import AS_CHARGED, Settings, moved_returns, moving_sums
from flipkit.charts.moving import DIVISORS, moved_words, plot_moving_returns
from flipkit.items.sale_costs import label_lines
from flipkit.reports.elements import Element, table
from flipkit.reports.reading import money_per_hour
from flipkit.reports.showing import words
from flipkit.reports.study import Study
from flipkit.rules.parcel_rules import ParcelRules
from flipkit.rules.tables import Rules


def study_sums(study: Study) -> pd.DataFrame:
    """The sums that the sliders work on, over the items sold in the window.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    DataFrame
        As ``moving_sums`` gives it.
    """
    sold = study.sold_items()
    dearer = {divisor: labels_dearer(study, sold, divisor) for divisor in DIVISORS}
    return moving_sums(sold, dearer, study.sold_returns)


def labels_dearer(study: Study, sold: pd.DataFrame, divisor: int) -> npt.NDArray[np.int64]:
    """What each label would have cost more had the divisor been another one on its day.

    A recorded label moves by what the rate cards say of the two divisors.

    Parameters
    ----------
    study : Study
        Rules and assumptions.
    sold : DataFrame, n rows
        Items sold.
    divisor : int
        Cubic inches a pound of every parcel rule set in inches and pounds.

    Returns
    -------
    array, shape (n,)
        The differences; zero where no rate card prices the parcel. [cents]
    """
    if sold.empty:
        return np.zeros(0, dtype=np.int64)
    asked = sold.assign(label_paid_cents=pd.array([pd.NA] * len(sold), dtype="Int64"))
    everything = np.ones(len(sold), dtype=bool)
    moved, now = (
        label_lines(asked, sold, everything, rules, study.assumptions)[0]
        for rules in (with_divisor(study.rules, divisor), study.rules)
    )
    # Where only one of them is for sale by a card, the other is a guess by size: nothing to compare.
    alike = moved[1] == now[1]
    return np.where(alike, moved[0] - now[0], 0)


def with_divisor(rules: Rules, divisor: int) -> Rules:
    """Rule tables in which every parcel rule set in inches and pounds has one divisor throughout.

    Parameters
    ----------
    rules : Rules
        The tables.
    divisor : int
        Cubic inches a pound.

    Returns
    -------
    Rules
        Changed copies.
    """

    def changed(parcels: ParcelRules) -> ParcelRules:
        if parcels.metric:
            return parcels
        blocks = tuple(
            dataclasses.replace(
                block,
                dimensional=dataclasses.replace(
                    block.dimensional,
                    divisor=float(divisor),
                    divisor_for=dict.fromkeys(block.dimensional.divisor_for, float(divisor)),
                ),
            )
            for block in parcels.blocks
        )
        return dataclasses.replace(parcels, blocks=blocks)

    return dataclasses.replace(rules, parcels={name: changed(found) for name, found in rules.parcels.items()})


def wage_paid(study: Study) -> float:
    """What an hour of logged help was paid, before payroll taxes; the assumed wage where none is logged.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    float
        Dollars per hour, to the cent.
    """
    assumed = study.assumptions.cents("help.wage")
    hired = study.books.people[study.books.people["role"] == "hired"].set_index("worker")["wage_cents"]
    logged = study.books.work[study.books.work["worker"].isin(hired.index)]
    minutes = logged.groupby("worker")["minutes"].sum()
    if not len(minutes) or minutes.sum() <= 0:
        return assumed / 100
    wages = hired.loc[minutes.index].fillna(assumed).to_numpy(dtype=np.float64)
    return round(float((wages * minutes.to_numpy()).sum() / minutes.sum())) / 100


def starting_settings(study: Study) -> Settings:
    """Where the sliders stand at first: as the report assumes.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Settings
        The settings.
    """
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
    note = "What sold in the window; unsold things are not in it, the page on the stock counts them."
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
