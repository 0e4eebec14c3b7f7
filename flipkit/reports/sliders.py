"""What if, on one study: the machine that sliders, panel and tornado ask, and the sliders of a page."""

from __future__ import annotations

import dataclasses
import functools
import hashlib
import json
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.decisions import BUY, LEAVE, UNDER_A_PRICE
from flipkit.analysis.max_bid import LEAST_CENTS
from flipkit.analysis.returns import TOO_FEW, in_window
from flipkit.analysis.what_if import (
    AS_CHARGED,
    DIVISORS,
    RULE,
    Changes,
    MovingSums,
    Settings,
    bought_gap,
    bought_sums,
    line_sums,
    moved_returns,
    moved_verdicts,
    part_changes,
)
from flipkit.charts import style
from flipkit.charts.sliders import DIVISOR_LABEL, Slide, divisor_options, slides
from flipkit.economics.items import Supposing
from flipkit.economics.labor import EVERYBODY
from flipkit.economics.overrides import NOTHING_SUPPOSED
from flipkit.errors import AssumptionError
from flipkit.reports.elements import Element, table
from flipkit.reports.sentences import money_per_hour, month_name, span_name
from flipkit.reports.study import Study, help_paid
from flipkit.reports.tables import words

#: The ways to count, the first of which is how to buy; the last is the month that the page is about.
BASES: Final = {"bought": "Counting unsold items", "sold": "Sold items only", "settled": "{}, with write-offs"}
_NOTHING: Final = "Nothing sold in these months, so there is no hour to move."
#: How the sliders are used; where no script runs it is not shown, as they are not.
_HOW: Final = (
    "Try it yourself. Move a slider by hand or with the arrow keys: the sentence, the order and the marks follow. The "
    "address keeps what you moved, so you can send it."
)
#: Verdicts that the headline counts.
_COUNTED: Final = (BUY, UNDER_A_PRICE, LEAVE)
TARGET: Final = "hour.target"
#: Assumptions that the settings stand for.
MOVED_KEYS: Final = (TARGET, "help.wage", *NOTHING_SUPPOSED)
#: The suppositions that a setting of that name is.
_SUPPOSED: Final = {
    "points": "suppose.fee_points",
    "divisor": "suppose.divisor",
    "factor": "suppose.minutes",
    "price": "suppose.prices",
    "postage": "suppose.postage",
    "cost": "suppose.goods",
}


class Moves:
    """A study and everything that it answers with assumptions moved: by sums, or as a study of its own."""

    def __init__(self, study: Study) -> None:
        self.study = study
        self.start = Settings(target=study.target, wage=help_paid(study)[0])
        held = study.assumptions
        #: Where the panel starts: what the study supposes already.
        self.supposed = dataclasses.replace(
            self.start,
            **{name: held.entries[key].value for name, key in _SUPPOSED.items()},  # type: ignore[arg-type]
        )

    @functools.cached_property
    def asked(self) -> Supposing:
        """The study's lines, ready to be asked under other assumptions."""
        study = self.study
        return Supposing(study.books, study.rules, study.assumptions, study.as_of)

    @functools.cached_property
    def parts(self) -> list[Changes]:
        """What a whole one more of each part changes of every item's lines."""
        study = self.study
        everybody = {"help.wage": "100.00", "suppose.wage_for": EVERYBODY}
        at_a_hundred = study.economics.labor.hired.cents(study.assumptions.changed(everybody, currency=study.currency))
        supposed = study.assumptions.whole("suppose.divisor")
        self.asked.dearer(*DIVISORS)
        now = self.asked.dearer(supposed) if supposed else 0
        dearer = {divisor: self.asked.dearer(divisor) - now for divisor in DIVISORS}
        return part_changes(study.items, dearer, at_a_hundred / 100)

    def inside(self, basis: str) -> npt.NDArray[np.bool_]:
        """The items that a way of counting counts."""
        study = self.study
        window = study.window(months=1) if basis == "settled" else study.window()
        return study.items.index.isin(in_window(study.items, window=window, basis=basis).index)

    @functools.cached_property
    def sums(self) -> dict[str, list[MovingSums]]:
        """The sums that the sliders work on, for each way of counting."""
        study = self.study
        found = {
            "bought": bought_sums(
                study.planned_items, self.parts, study.bought_returns, study.horizon, inside=self.inside("bought")
            )
        }
        for basis, known in (("sold", study.sold_returns), ("settled", None)):
            rows = self.inside(basis)
            parts = [{name: values[rows] for name, values in part.items()} for part in self.parts]
            found[basis] = line_sums(study.items[rows], parts, known)
        return found

    def returns(self, basis: str, settings: Settings) -> pd.DataFrame:
        """Every category's return and decision with the assumptions moved, best first."""
        bounds = {one.category: one.bounds for one in self.study.verdicts if one.bounds}
        verdicts = moved_verdicts(self.sums["bought"], bounds, settings, start=self.start)
        return moved_returns(self.sums[basis], settings, wage=self.start.wage, verdicts=verdicts)

    @functools.cached_property
    def gap(self) -> float:
        """How far the hour counting unsold items may be off, one slider at its end. [dollars per hour]"""
        study, start = self.study, self.start
        found = {slide.name: slide for slide in slides(start)}
        ends = [
            dataclasses.replace(start, **{name: end})  # type: ignore[arg-type]
            for name in ("price", "postage", "cost")
            for end in (found[name].low, found[name].high)
        ]
        return bought_gap(
            self.sums["bought"],
            study.planned_items,
            self.parts,
            study.horizon,
            ends,
            inside=self.inside("bought"),
            wage=start.wage,
        )

    def under(self, settings: Settings, others: Mapping[str, str] | None = None) -> Study:
        """The study under moved assumptions: what these do not touch is not computed anew."""
        taken = [key for key in others or {} if key in MOVED_KEYS]
        if taken:
            raise AssumptionError(taken[0], need="to be moved where it stands by itself", got=(others or {})[taken[0]])
        study, moved = self.study, {**(others or {}), **self.overrides(settings)}
        if not moved:
            return study
        assumptions = study.assumptions.changed(moved, currency=study.currency)
        said = json.dumps([study.key, {key: str(value) for key, value in moved.items()}], sort_keys=True)
        key = hashlib.sha256(said.encode()).hexdigest()
        economics = self.asked.under(assumptions)
        return dataclasses.replace(study, assumptions=assumptions, economics=economics, key=key, giving=study.given_up)

    def overrides(self, settings: Settings) -> dict[str, object]:
        """The moved settings as assumptions."""
        start = self.supposed
        found: dict[str, object] = {}
        if settings.target != start.target:
            found[TARGET] = f"{settings.target:.2f}"
        if settings.wage != start.wage:
            found |= {"help.wage": f"{settings.wage:.2f}", "suppose.wage_for": EVERYBODY}
        for name, key in _SUPPOSED.items():
            if getattr(settings, name) != getattr(start, name):
                found[key] = getattr(settings, name)
        return found


def plot_sliders(moves: Moves) -> Element:
    """What an hour earns in each category, with sliders that a page moves without anything but its own script.

    Parameters
    ----------
    moves : Moves
        What a study answers with assumptions moved, as ``what_if(study).moves``.

    Returns
    -------
    Element
        For a page; elsewhere it shows where everything stands.
    """
    study, sums, start = moves.study, moves.sums, moves.start
    if not sums["sold"]:
        return words(_NOTHING)
    basis = next(name for name in BASES if sums[name])
    moved = moves.returns(basis, start)
    mark = style.currency_mark(study.currency)
    said = " ".join([*moved_words(moved, moved, currency=study.currency), counted_words(study, basis)])
    reach = _reach(moves)
    told = {
        "counted": {name: counted_words(study, name) for name in BASES},
        "bases": {name: [_told(row) for row in rows] for name, rows in sums.items()},
        "bounds": {one.category: list(one.bounds) for one in study.verdicts if one.bounds},
        "divisors": DIVISORS,
        "least": LEAST_CENTS,
        "mark": mark,
        "reach": reach,
        "rule": RULE,
        "few": TOO_FEW,
        "counts": _COUNTED,
    }
    data = json.dumps(told, allow_nan=False, ensure_ascii=False, separators=(",", ":")).replace("<", r"\u003c")
    rows = "".join(_row(row, start.target, reach, study.currency) for row in moved.to_dict("records"))
    heads = ("Kind", "An hour of your work", "Probably between", "What to do")
    head = "".join(f'<th scope="col">{text}</th>' for text in heads)
    html = (
        f'<section class="moves" aria-label="Sliders"><p class="moved" aria-live="polite">{escape(said)}</p>'
        f'<div class="controls"><p>{_HOW}</p>{_controls(moves, basis)}</div>'
        "<p>The dotted line is your target.</p>"
        '<div class="scroll" role="group" tabindex="0" aria-label="Each kind"><table class="kinds">'
        f"<thead><tr>{head}</tr></thead>"
        f"<tbody>{rows}</tbody></table></div>"
        f'<script type="application/json" class="sums">{data}</script></section>'
    )
    shown = [f"{row['category']}  {_between(row, study.currency)}" for row in moved.to_dict("records")]
    return Element(html, "\n".join([said, *shown]))


def moved_words(moved: pd.DataFrame, still: pd.DataFrame, *, currency: str = "USD") -> list[str]:
    """The headline of the sliders, as the page's script writes it.

    >>> rows = pd.DataFrame({"net": [400.0, 50.0], "hours": [20.0, 10.0], "verdict": ["buy", "leave"]})
    >>> moved_words(rows, rows.assign(net=[300.0, 50.0]))
    ['An hour of your work would bring about $15, $3.33 more than as things stand.', \
'Buy 1 of 2 kinds, buy 0 only below a price, and leave 1.']
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
    buy, below, leave = (int((moved["verdict"] == verdict).sum()) for verdict in _COUNTED)
    if not buy + below + leave:
        return [first, "Too few to tell which kinds to buy."]
    return [first, f"Buy {buy} of {len(moved)} kinds, buy {below} only below a price, and leave {leave}."]


def counted_words(study: Study, basis: str) -> str:
    """What the headline of the sliders is about: how it counts, and over which months."""
    if basis == "settled":
        return f"This is for {BASES[basis].format(month_name(study.month))}."
    return f"This is for {span_name(study)}, {BASES[basis].lower()}."


def divisors_table(moves: Moves) -> Element:
    """What an hour of each category would have earned at each divisor.

    Parameters
    ----------
    moves : Moves
        What a study answers with assumptions moved, as ``what_if(study).moves``.

    Returns
    -------
    Element
        For a page; words where nothing sold.
    """
    study, start = moves.study, moves.start
    if not moves.sums["sold"]:
        return words("Nothing sold in these months, so no label was needed.")
    columns = {}
    for divisor in (AS_CHARGED, *DIVISORS):
        moved = moves.returns("sold", dataclasses.replace(start, divisor=divisor)).set_index("category")
        columns[str(divisor) if divisor else "as charged"] = moved["hourly"]
    frame = pd.DataFrame(columns).sort_values("as charged", ascending=False, kind="stable").reset_index()
    formats = dict.fromkeys(columns, lambda dollars: money_per_hour(float(dollars), currency=study.currency))
    headings = {"category": "Category", "as charged": "As charged", **{str(d): f"Divisor {d}" for d in DIVISORS}}
    return table(
        frame,
        caption="Per hour at each divisor, sold items only",
        headings=headings,
        formats=formats,
        currency=study.currency,
    )


def _controls(moves: Moves, basis: str) -> str:
    """The switch, the sliders in the order of what they mostly change, and the way back."""
    study = moves.study
    radios = "".join(
        f'<label><input type="radio" name="basis" value="{name}"{" checked" if name == basis else ""}>'
        f"{text.format(month_name(study.month))}</label>"
        for name, text in BASES.items()
        if moves.sums[name]
    )
    *others, target = (_slider(slide) for slide in slides(moves.start, currency=study.currency))
    options = "".join(f'<option value="{value}">{text}</option>' for text, value in divisor_options().items())
    divisor = f'<label class="control"><span>{DIVISOR_LABEL}</span><select name="divisor">{options}</select></label>'
    return (
        f'<fieldset><legend class="hidden">What counts</legend>{radios}</fieldset>{"".join(others)}{divisor}{target}'
        '<button type="button">Back to how things stand</button>'
    )


def _slider(slide: Slide) -> str:
    least, most, step, start = (
        round(number * 100) if slide.unit == "%" else number
        for number in (slide.low, slide.high, slide.step, slide.start)
    )
    numbers = f'min="{least:g}" max="{most:g}" step="{step:g}" value="{start:g}"'
    return (
        f'<label class="control"><span>{slide.label} <output>{_written(start, slide.unit)}</output></span>'
        f'<input type="range" name="{slide.name}" {numbers} data-unit="{escape(slide.unit)}"></label>'
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


def _reach(moves: Moves) -> list[float]:
    """From where to where the pictures go: what the rows span as things stand, and half as much again."""
    ends = [moves.start.target, 0.0]
    for rows in moves.sums.values():
        moved = moved_returns(rows, moves.start, wage=moves.start.wage)
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
