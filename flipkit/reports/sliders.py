"""Sliders in a page: what they start from, how they look, and the sums that the page's script works on."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Sequence
from html import escape
from typing import Any, Final

import numpy as np
import pandas as pd

from flipkit.analysis.returns import TOO_FEW, in_window
from flipkit.analysis.sliders import (
    AS_CHARGED,
    DIVISORS,
    MovingSums,
    PageSettings,
    bought_sums,
    moved_returns,
    sold_sums,
)
from flipkit.charts import style
from flipkit.charts.sliders import DIVISOR_LABEL, divisor_options, slides
from flipkit.economics.labor import EVERYBODY
from flipkit.economics.overrides import labels_dearer, with_divisor
from flipkit.reports.elements import Element, table
from flipkit.reports.sentences import money_per_hour, span_name
from flipkit.reports.study import Study
from flipkit.reports.tables import words

#: The two ways to count, the first of which is how to buy.
BASES: Final = {"bought": "Counting unsold items", "sold": "Sold items only"}
#: What is moved in hundredths of what it is: name, words, least, most and step.
_SHARES: Final = (
    ("price", "Sold prices", 50, 150, 1),
    ("factor", "Your minutes", 50, 200, 5),
    ("postage", "Postage", 50, 200, 5),
    ("cost", "Cost of goods", 0, 200, 5),
)
_NOTHING: Final = "Nothing sold or bought in these months, so there is no hour to move."
#: Verdicts as the page's script gives them: too few, above, below, either.
_VERDICTS: Final = (TOO_FEW, "above the target", "below the target", "may be above or below the target")


def study_sums(study: Study) -> dict[str, list[MovingSums]]:
    """The sums that the sliders work on, over what was bought in the window and over what sold in it."""
    supposed = study.assumptions.whole("suppose.divisor")
    charged = {"rules": with_divisor(study.rules, supposed) if supposed else study.rules}
    items = study.items
    dearer = {divisor: labels_dearer(items, divisor, assumptions=study.assumptions, **charged) for divisor in DIVISORS}
    bought, sold = (
        items.index.isin(in_window(items, window=study.window(), basis=basis).index) for basis in ("bought", "sold")
    )
    return {
        "bought": bought_sums(study.planned_items, dearer, study.bought_returns, study.horizon, inside=bought),
        "sold": sold_sums(items[sold], {key: more[sold] for key, more in dearer.items()}, study.sold_returns),
    }


def help_paid(study: Study) -> tuple[float, int]:
    """What an hour of help was paid and the payroll taxes on it, by the log, or as assumed where that stands in."""
    assumed = study.assumptions.cents("help.wage"), study.assumptions.ppm("help.burden")
    hired = study.books.people[study.books.people["role"] == "hired"].set_index("worker")
    logged = study.books.work[study.books.work["worker"].isin(hired.index)]
    minutes = logged.groupby("worker")["minutes"].sum()
    if not minutes.sum() > 0:
        return assumed[0] / 100, assumed[1]
    alike = study.assumptions.text("suppose.wage_for") == EVERYBODY
    wages, taxes = (
        hired.loc[minutes.index, name].fillna(default).to_numpy(dtype=np.float64)
        for name, default in zip(("wage_cents", "payroll_burden_ppm"), assumed, strict=True)
    )
    paid = minutes.to_numpy() * (np.full(wages.size, assumed[0]) if alike else wages)
    burden = float(np.average(taxes, weights=paid)) if paid.any() else assumed[1]
    return round(float(paid.sum() / minutes.sum())) / 100, round(burden)


def starting_settings(study: Study) -> PageSettings:
    """Where the sliders stand at first: as the report assumes."""
    return PageSettings(target=study.target, wage=help_paid(study)[0])


def plot_sliders(study: Study) -> Element:
    """What an hour earns in each category, with sliders that a page moves without anything but its own script.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page; elsewhere it shows where everything stands.
    """
    sums, start = study_sums(study), starting_settings(study)
    if not any(sums.values()):
        return words(_NOTHING)
    basis = next(name for name in BASES if sums[name])
    moved = moved_returns(sums[basis], start, wage=start.wage)
    mark = style.currency_mark(study.currency)
    said = " ".join([*moved_words(moved, moved, start.target, currency=study.currency), counted_words(study, basis)])
    reach = _reach(sums, start)
    told = {
        "counted": {name: counted_words(study, name) for name in BASES},
        "bases": {name: [_told(row) for row in rows] for name, rows in sums.items()},
        "divisors": DIVISORS,
        "mark": mark,
        "reach": reach,
        "verdicts": _VERDICTS,
        "wage": start.wage,
    }
    data = json.dumps(told, allow_nan=False, ensure_ascii=False, separators=(",", ":")).replace("<", r"\u003c")
    rows = "".join(_row(row, start.target, reach, study.currency) for row in moved.to_dict("records"))
    heads = ("Kind", "An hour of your work", "Probably between", "Against your target")
    head = "".join(f'<th scope="col">{text}</th>' for text in heads)
    html = (
        f'<section class="moves" aria-label="Sliders"><p class="moved" aria-live="polite">{escape(said)}</p>'
        f'<div class="controls">{_controls(start, sums, basis, study)}</div>'
        '<div class="scroll" role="group" tabindex="0" aria-label="Each kind"><table class="kinds">'
        f"<thead><tr>{head}</tr></thead>"
        f"<tbody>{rows}</tbody></table></div>"
        f'<script type="application/json" class="sums">{data}</script></section>'
    )
    shown = [f"{row['category']}  {_between(row, study.currency)}" for row in moved.to_dict("records")]
    return Element(html, "\n".join([said, *shown]))


def moved_words(moved: pd.DataFrame, still: pd.DataFrame, target: float, *, currency: str = "USD") -> list[str]:
    """The headline of the sliders, as the page's script writes it.

    >>> rows = pd.DataFrame({"net": [400.0, 50.0], "hours": [20.0, 10.0],
    ...     "verdict": ["above the target", "too few to tell"]})
    >>> moved_words(rows, rows.assign(net=[300.0, 50.0]), 15.0)[0]
    'An hour of your work would bring about $15, $3.33 more than as things stand.'
    """
    now, before = (float(frame["net"].sum() / frame["hours"].sum()) for frame in (moved, still))
    mark = style.currency_mark(currency)
    more = _amount(abs(now - before), mark)
    about = f"about {_whole(now, mark)}"
    first = (
        f"An hour of your work brings {about} as things stand."
        if float(f"{abs(now - before):.2f}") == 0
        else f"An hour of your work would bring {about}, {more} {'more' if now > before else 'less'} than as things "
        "stand."
    )
    above, below = (int((moved["verdict"] == verdict).sum()) for verdict in _VERDICTS[1:3])
    aim = _amount(target, mark).removesuffix(".00")
    return [first, f"{above} of {len(moved)} kinds are above {aim} an hour, {below} are below."]


def counted_words(study: Study, basis: str) -> str:
    """What the headline of the sliders is about: how it counts, and over which months."""
    return f"This is for {span_name(study)}, {BASES[basis].lower()}."


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
    sums = study_sums(study)["sold"]
    if not sums:
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


def _controls(start: PageSettings, sums: dict[str, list[MovingSums]], basis: str, study: Study) -> str:
    """The switch, the sliders in the order of what they mostly change, and the way back."""
    radios = "".join(
        f'<label><input type="radio" name="basis" value="{name}"{" checked" if name == basis else ""}>{text}</label>'
        for name, text in BASES.items()
        if sums[name]
    )
    shares = [_slider(name, text, 100, least, most, step, "%") for name, text, least, most, step in _SHARES]
    unit = style.currency_mark(study.currency).strip()
    others = {
        slide.name: _slider(slide.name, text, slide.start, slide.low, slide.high, slide.step, sign)
        for slide in slides(start, currency=study.currency)
        for text, sign in [_OTHERS.get(slide.name, ("", ""))]
        if text
        for sign in [sign or unit]
    }
    options = "".join(f'<option value="{value}">{text}</option>' for text, value in divisor_options().items())
    divisor = f'<label class="control"><span>{DIVISOR_LABEL}</span><select name="divisor">{options}</select></label>'
    return (
        f'<fieldset><legend class="hidden">What counts</legend>{radios}</fieldset>{"".join(shares)}'
        f"{others['points']}{others['wage']}{divisor}{others['target']}"
        '<button type="button">Back to how things stand</button>'
    )


#: What is moved in its own unit: the words beside the slider, and the unit where it is not money.
_OTHERS: Final = {
    "points": ("Fees, percentage points more", "points"),
    "wage": ("Hired wage, an hour", ""),
    "target": ("Your target, an hour", ""),
}


def _slider(name: str, text: str, start: float, least: float, most: float, step: float, unit: str) -> str:
    numbers = f'min="{least:g}" max="{most:g}" step="{step:g}" value="{start:g}"'
    return (
        f'<label class="control"><span>{text} <output>{_written(start, unit)}</output></span>'
        f'<input type="range" name="{name}" {numbers} data-unit="{escape(unit)}"></label>'
    )


def _written(value: float, unit: str) -> str:
    """A setting with its unit, as the page's script writes it."""
    if unit == "%":
        return f"{value:g}%"
    return f"{value:g} {unit}".replace("-", "−") if unit == "points" else f"{unit}{value:.2f}"


def _row(row: dict[Any, Any], target: float, reach: Sequence[float], currency: str) -> str:
    low, high = (row[end] if row["claimed"] else row["hourly"] for end in ("low", "high"))
    hourly = _whole(row["hourly"], style.currency_mark(currency))
    places = [_place(value, reach) for value in (low, high, row["hourly"], target)]
    return (
        f'<tr><th scope="row">{escape(str(row["category"]))}</th>'
        f'<td><span class="figure">{hourly}</span>{_picture(*places)}</td>'
        f"<td>{_between(row, currency)}</td><td>{escape(str(row['verdict']))}</td></tr>"
    )


def _picture(low: str, high: str, at: str, aim: str) -> str:
    """The interval, the estimate and the target of one row; its shape follows its place."""
    return (
        '<svg viewBox="0 0 100 12" preserveAspectRatio="none" aria-hidden="true">'
        f'<line class="span" x1="{low}" x2="{high}" y1="6" y2="6"/><line class="aim" x1="{aim}" x2="{aim}" y2="12"/>'
        f'<line class="dot" x1="{at}" x2="{at}" y1="6" y2="6"/></svg>'
    )


def _place(value: float, reach: Sequence[float]) -> str:
    share = (value - reach[0]) / (reach[1] - reach[0])
    return f"{100 * min(max(share, 0.0), 1.0):.1f}"


def _reach(sums: dict[str, list[MovingSums]], start: PageSettings) -> list[float]:
    """From where to where the pictures go: what the rows span as things stand, and half as much again."""
    ends = [start.target, 0.0]
    for rows in sums.values():
        moved = moved_returns(rows, start, wage=start.wage)
        ends += [float(value) for name in ("hourly", "low", "high") for value in moved[name] if np.isfinite(value)]
    room = (max(ends) - min(ends)) / 4
    return [round(min(ends) - room, 2), round(max(ends) + room, 2)]


def _between(row: dict[Any, Any], currency: str) -> str:
    mark = style.currency_mark(currency)
    return f"{_whole(row['low'], mark)} to {_whole(row['high'], mark)}" if row["claimed"] else "–"


def _told(row: MovingSums) -> list[Any]:
    """One category as the page's script reads it; of the products, those on and above the diagonal."""
    size = len(row.sums)
    pairs = [row.products[one, two] for one in range(size) for two in range(one, size)]
    ends = [row.low, row.high] if row.claimed else [0, 0]
    numbers = [_plain(value) for value in (*ends, *row.sums.tolist(), *pairs)]
    return [row.category, row.items, int(row.claimed), *numbers]


def _plain(value: float) -> float | int:
    """A number as short as it can be written."""
    return int(value) if float(value).is_integer() else float(value)


def _amount(dollars: float, mark: str) -> str:
    text = f"{abs(dollars):,.2f}"
    return f"{'−' if dollars < 0 and float(text.replace(',', '')) else ''}{mark}{text}"


def _whole(dollars: float, mark: str) -> str:
    text = f"{np.floor(abs(dollars) + 0.5):,.0f}"
    return f"{'−' if dollars < 0 and text != '0' else ''}{mark}{text}"
