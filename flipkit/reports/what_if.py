"""What if an assumption is wrong: the month's hourly return with each moved, alone and together."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from flipkit.analysis.returns import TOO_FEW, in_window
from flipkit.analysis.sensitivity import Bar, Cloud, Spread, as_override, monte_carlo, tornado, turning_point
from flipkit.assumptions import Assumptions, load_assumptions
from flipkit.books.schema import ACTIVITIES
from flipkit.economics.items import MONEY_LINES, item_economics
from flipkit.reports import elements
from flipkit.reports.elements import Element, Figure, Said
from flipkit.reports.sentences import count_of, money_per_hour, month_name
from flipkit.reports.study import Study
from flipkit.reports.tables import words

#: What is moved together, under the words that name it: every assumption whose key begins so.
_FAMILIES = {
    **{f"minutes of {activity}": (f"minutes.{activity}.",) for activity in ACTIVITIES},
    "allowance on minutes": ("minutes.allowance",),
    "weight of the logged minutes": ("minutes.logged_weight",),
    "labels not recorded": ("label.assumed.",),
    "materials not recorded": ("materials.assumed.",),
    "packed sizes not recorded": ("parcel.length_in.", "parcel.width_in.", "parcel.height_in."),
    "packed weights not recorded": ("parcel.weight_lb.",),
    "fees of venues without a schedule": ("fees.assumed_rate", "fees.assumed_per_order"),
    "chance of loss and damage": ("loss.chance.",),
    "wage of help": ("help.wage",),
    "burden on that wage": ("help.burden",),
    "packing that help does": ("help.share_of_packing",),
}
#: Recorded lines and minutes that are moved too: what could have come out otherwise.
_PRICES, _MINUTES = "sold prices", "all owner minutes"
_LINES = {
    family: tuple((f"{line.name}_cents", 1 if line.gain else -1) for line in MONEY_LINES if line.moved_with == family)
    for family in ("all labels", "marketplace fees", "cost of the goods", "trips", "overheads")
}
#: What a line holds of the assumptions above it: drawn together, the one stands for all of them.
_HOLDS = {
    "all labels": ("labels not recorded",),
    "marketplace fees": ("fees of venues without a schedule",),
    _MINUTES: (
        *(f"minutes of {activity}" for activity in ACTIVITIES),
        "allowance on minutes",
        "weight of the logged minutes",
    ),
}
#: A part so near to the whole is the whole.
_SAME = 0.98
_DRAWS = 500
#: Drawn months that are computed in full, to see how far the short way is off.
_CHECKS = 4
#: Below so many dollars an hour an assumption does not move the month.
_STILL = 0.005
#: Bars drawn.
_MOST_BARS = 12


@dataclass(frozen=True)
class WhatIf:
    """The month's hourly return with assumptions moved."""

    month: str
    sales: int
    part: float
    middle: float  # [dollars per hour]
    bars: pd.DataFrame
    still: tuple[str, ...]
    less: int
    cloud: Cloud | None
    turning: tuple[tuple[str, float], ...]
    gap: float  # [dollars per hour]
    target: float  # [dollars per hour]
    too_few: int
    currency: str
    figures: tuple[Figure, ...] = ()

    def sentence(self) -> str:
        """What the month hangs on."""
        if self.cloud is None:
            return f"Nothing sold in {month_name(self.month)}, so there is no hour for an assumption to move."
        if self.bars.empty:
            return "Nothing that can be moved moves this month."
        top = self.bars.iloc[0]
        low, high = sorted((float(top["at_low"]), float(top["at_high"])))
        return (
            f"{month_name(self.month)} hangs most on {top['name']}: {self.part:.0%} more or less of it alone moves an "
            f"hour from {self._hour(low)} to {self._hour(high)}."
        )

    def note(self) -> str:
        """Whether any one of them turns the conclusion."""
        if self.cloud is None:
            return ""
        side = "above" if self.middle > self.target else "below"
        text = f"With nothing moved: {self._hour(self.middle)}, {side} the target of {self._hour(self.target)}. "
        if self.sales < self.too_few:
            text += (
                f"From {count_of(self.sales, 'sale')} that is {TOO_FEW}: another month may come out quite otherwise. "
            )
        if not self.turning:
            return Said(f"{text}Nothing moved alone carries it across.", self.figures)
        parts = [f"{name} at {factor:.2f} times its value" for name, factor in self.turning]
        return Said(f"{text}Carried across by {'; or '.join(parts)}.", self.figures)

    def title(self) -> str:
        """Title of the chart."""
        return f"An hour in {month_name(self.month)}, one thing moved"

    def subtitle(self) -> str:
        """What the bars are."""
        return f"Each {self.part:.0%} down and up. Dashed: the target."

    def bars_table(self) -> Element:
        """The bars in figures, and what does not move the month."""
        if self.bars.empty:
            return words("No assumption moves the month.")
        hourly = dict.fromkeys(("at_low", "at_high"), self._hour)
        headings = {
            "name": "Moved alone",
            "at_low": f"{self.part:.0%} less of it",
            "at_high": f"{self.part:.0%} more of it",
        }
        caption = f"An hour then; {count_of(self.less, 'other')} move it less or not at all"
        return elements.table(self.bars, caption=caption, headings=headings, formats=hourly, fold=True)

    def together(self) -> Element:
        """All of them moved at once, in words."""
        if self.cloud is None or self.bars.empty:
            return words("There is nothing to move together.")
        cloud = self.cloud
        return words(
            f"With all of them drawn at once, each likeliest in its middle and never beyond {self.part:.0%} off, eight "
            f"months of ten lie between {self._hour(cloud.low)} and {self._hour(cloud.high)} an hour, and "
            f"{_share(cloud.above)} lie above the target. The luck of {count_of(self.sales, 'sale')} comes on top: the "
            f"page of the month has its interval. Drawn {_DRAWS} times by a curve through the computed months, which "
            f"is off by {max(self.gap, 0.01):.2f} an hour at most in {_CHECKS} months computed in full."
        )

    def hangs_table(self) -> Element:
        """Which assumption the spread of the months comes from."""
        if self.cloud is None or self.bars.empty:
            return words("There is nothing to share out.")
        rows = [{"name": name, "share": share} for name, share in self.cloud.hangs_on.items() if share >= 0.01]
        return elements.table(
            pd.DataFrame(rows),
            caption="What the spread comes from",
            headings={"name": "Moved", "share": "Part of the spread"},
            formats={"share": lambda share: f"{share:.0%}"},
        )

    def _hour(self, dollars: float) -> str:
        return money_per_hour(float(dollars), currency=self.currency)


def _share(share: float) -> str:
    return "under 1%" if share < 0.01 else "over 99%" if share > 0.99 else f"{share:.0%}"


def what_if(study: Study) -> WhatIf:
    """The report's month with every assumption moved, alone and together.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    WhatIf
        What moves, and how to show it.
    """
    part = study.assumptions.share("what_if.part")
    month = _Month(study)
    sold = study.sold_items(month=study.month)
    told = (study.month, len(sold), part)
    few = study.assumptions.whole("report.too_few_items")
    nothing = pd.DataFrame(columns=["name", "at_low", "at_high"])
    if sold.empty or float(sold["owner_min"].sum()) <= 0:
        return WhatIf(*told, np.nan, nothing, (), 0, None, (), 0.0, study.target, few, study.currency)
    spreads = [Spread(name, 1 - part, 1.0, 1 + part) for name in (*_FAMILIES, *_LINES, _PRICES, _MINUTES)]
    middle, bars = tornado(month.hourly, study.assumptions, spreads)
    moving = _each_once([bar for bar in bars if bar.width >= _STILL])
    moved = {bar.key for bar in moving}
    doubled = {part for whole, parts in _HOLDS.items() if whole in moved for part in parts}
    chosen = [spread for spread in spreads if spread.key in moved - doubled]
    short = functools.partial(month.near, part=part)
    cloud = monte_carlo(
        short, study.assumptions, chosen, bound=study.target, draws=_DRAWS, seed=study.assumptions.whole("report.seed")
    )
    turning = [
        (bar.key, found)
        for bar in moving
        if (
            found := turning_point(
                short, study.assumptions, Spread(bar.key, 1 - part, 1.0, 1 + part), bound=study.target
            )
        )
        is not None
    ]
    frame = pd.DataFrame(
        [{"name": bar.key, "at_low": bar.at_low, "at_high": bar.at_high} for bar in moving[:_MOST_BARS]],
        columns=nothing.columns,
    )
    still = tuple(sorted(bar.key for bar in bars if bar.width < _STILL))
    gap = month.worst_gap([spread.key for spread in chosen], part) if chosen else 0.0
    less = len(moving) - len(frame) + len(still)
    figures = (study.figure("result an hour", month_name(study.month), 100 * middle),)
    shown = WhatIf(*told, middle, frame, still, less, cloud, tuple(turning), gap, study.target, few, study.currency)
    return dataclasses.replace(shown, figures=figures)


def _each_once(bars: list[Bar]) -> list[Bar]:
    """The bars without a line that is all assumption: the assumption's own bar says the same."""
    width = {bar.key: bar.width for bar in bars}
    whole = {
        line
        for line, parts in _HOLDS.items()
        if len(parts) == 1 and line in width and width.get(parts[0], 0.0) >= _SAME * width[line]
    }
    return [bar for bar in bars if bar.key not in whole]


class _Month:
    """Net and owner minutes of the month's sales under factors on groups of assumptions."""

    def __init__(self, study: Study) -> None:
        self._study = study
        self._window = study.window(months=1)
        self._seen: dict[tuple[tuple[str, float], ...], tuple[float, float]] = {}

    def hourly(self, factors: Mapping[str, Any]) -> float:
        """The month computed in full. [dollars per hour]"""
        net, minutes = self._sums(factors)
        return net / 100 / (minutes / 60)

    def near(self, factors: Mapping[str, Any], *, part: float) -> float:
        """The month by curves through those computed with one assumption moved: quick. [dollars per hour]"""
        base = np.array(self._sums({}))
        total = base.copy()
        for name, factor in factors.items():
            low, high = (np.array(self._sums({name: end})) - base for end in (1 - part, 1 + part))
            step = (float(factor) - 1) / part
            total = total + (high - low) / 2 * step + (high + low) / 2 * step**2
        return float(total[0] / 100 / (total[1] / 60))

    def worst_gap(self, names: list[str], part: float) -> float:
        """How far the quick way is off where everything moves at once. [dollars per hour]"""
        random = np.random.default_rng(1)
        gaps = []
        for _ in range(_CHECKS):
            factors = {name: float(factor) for name, factor in zip(names, _drawn(random, names, part), strict=True)}
            gaps.append(abs(self.near(factors, part=part) - self.hourly(factors)))
        return max(gaps)

    def _sums(self, factors: Mapping[str, Any]) -> tuple[float, float]:
        key = tuple(sorted((name, float(factor)) for name, factor in factors.items()))
        if key not in self._seen:
            study = self._study
            items = study.items
            assumed = {name: factor for name, factor in key if name in _FAMILIES}
            if assumed:
                held = _moved(study, assumed)
                items = item_economics(study.books, study.rules, held, study.as_of).items
            settled = in_window(items, window=self._window, basis="settled")
            self._seen[key] = _sums_of(settled, dict(key))
        return self._seen[key]


def _sums_of(sold: pd.DataFrame, factors: Mapping[str, float]) -> tuple[float, float]:
    """Net and owner minutes with recorded lines and minutes moved."""
    net = float(sold["net_cents"].sum())
    for name, lines in _LINES.items():
        net += (factors.get(name, 1.0) - 1) * float(sum(sign * sold[line].sum() for line, sign in lines))
    gained = float(sold["sold_price_cents"].sum() - sold["marketplace_fee_cents"].sum())
    net += (factors.get(_PRICES, 1.0) - 1) * gained
    return net, float(sold["owner_min"].sum()) * factors.get(_MINUTES, 1.0)


def _drawn(random: np.random.Generator, names: list[str], part: float) -> Any:
    return random.triangular(1 - part, 1.0, 1 + part, size=len(names))


def _moved(study: Study, factors: Mapping[str, float]) -> Assumptions:
    """The study's assumptions with some groups multiplied, as far as their own limits allow."""
    held = study.assumptions
    values: dict[str, object] = {
        key: as_override(held, key, entry.value)  # type: ignore[arg-type]
        for key, entry in held.entries.items()
        if entry.layer == "this run"
    }
    for name, factor in factors.items():
        for key, entry in held.entries.items():
            if any(key == head or (head.endswith(".") and key.startswith(head)) for head in _FAMILIES[name]):
                value = float(entry.value) * factor
                values[key] = as_override(held, key, min(value, 1e6) if entry.kind == "rate" else value)
    return load_assumptions(study.books.assumptions_file, overrides=values, currency=study.currency)
