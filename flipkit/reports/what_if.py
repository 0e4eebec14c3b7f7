"""What if: what would help most, what the month hangs on, and below which wage hired help pays."""

from __future__ import annotations

import dataclasses
import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.returns import TOO_FEW, wage_verdict
from flipkit.analysis.what_if import Bar, Cloud, Spread, line_changes, monte_carlo, tornado, turning_point
from flipkit.assumptions import Assumptions
from flipkit.books.schema import ACTIVITIES, DOING
from flipkit.charts.returns import plot_minutes
from flipkit.charts.sliders import beside_target, plot_tornado
from flipkit.charts.style import hourly, money
from flipkit.economics.hiring import help_table, wage_limit
from flipkit.economics.items import net_parts
from flipkit.errors import count_of
from flipkit.money import PPM
from flipkit.reports import elements
from flipkit.reports.buy import helps_most
from flipkit.reports.elements import (
    EMPTY,
    NOTHING,
    Element,
    Said,
    activity_minutes,
    caution,
    figures_said,
    headline,
    to_do,
)
from flipkit.reports.sentences import money_per_hour, month_name, span_name
from flipkit.reports.sliders import Moves
from flipkit.reports.study import Study, help_paid
from flipkit.reports.tables import words

_ALLOWANCE = "allowance on minutes"
#: What is moved together, under the words that name it: every assumption whose key begins so.
_FAMILIES = {
    **{f"minutes of {DOING[activity]}": (f"minutes.{activity}.",) for activity in ACTIVITIES},
    _ALLOWANCE: ("minutes.allowance",),
    "trust in your logged minutes": ("minutes.logged_weight",),
    "postage not recorded": ("label.assumed.",),
    "materials not recorded": ("materials.assumed.",),
    "packed sizes not recorded": ("parcel.length_in.", "parcel.width_in.", "parcel.height_in."),
    "packed weights not recorded": ("parcel.weight_lb.",),
    "fees of venues without a schedule": ("fees.assumed_rate", "fees.assumed_per_order"),
    "chance of loss and damage": ("loss.chance.",),
    "burden on that wage": ("help.burden",),
    "packing that help does": ("help.share_of_packing",),
}
#: Recorded lines and minutes that are moved too: what could have come out otherwise.
_PRICES, _MINUTES, _WAGE = "sold prices", "your minutes", "wage of help"
_LINES = ("postage", "marketplace fees", "cost of the goods", "trips", "overheads")
#: Assumptions on minutes, in which the minutes are a straight line: one full look gives them all.
_STRAIGHT = {**{f"minutes of {DOING[activity]}": (activity,) for activity in ACTIVITIES}, _ALLOWANCE: ACTIVITIES}
#: By how much better a line is told, and what is told of it.
_BETTER: Final = 0.1
_LEVER: Final = ["name", "net_cents", "freed", "hourly", "worth"]
#: How the two ways of counting are named.
_COUNTED: Final = {"bought": "unsold items too", "sold": "sold items only: too high"}
#: What a line holds of the assumptions above it: drawn together, the one stands for all of them.
_HOLDS = {
    "postage": ("postage not recorded",),
    "marketplace fees": ("fees of venues without a schedule",),
    _MINUTES: (
        *(f"minutes of {doing}" for doing in DOING.values()),
        _ALLOWANCE,
        "trust in your logged minutes",
    ),
}
#: A part so near to the whole is the whole.
_SAME = 0.98
_DRAWS = 500
#: Drawn months that are computed in full, to see how far the short way is off.
_CHECKS = 4
#: Below so many dollars an hour an assumption does not move the month.
_STILL = 0.005
#: A narrower bar is not drawn: both its ends would be the same dollar. [dollars per hour]
_SEEN = 1.0


@dataclass(frozen=True)
class WhatIf:
    """The page on what would change the answer: what helps most, what hangs on what, and hired help."""

    moves: Moves
    sales: int
    part: float
    middle: float  # [dollars per hour]
    levers: pd.DataFrame
    bars: pd.DataFrame
    less: int
    cloud: Cloud | None
    turning: tuple[tuple[str, float], ...]
    gap: float  # [dollars per hour]

    @property
    def study(self) -> Study:
        """The numbers."""
        return self.moves.study

    def how_exact(self) -> Element:
        """How exactly the sliders follow the full model."""
        if not self.moves.sums["sold"]:
            return EMPTY
        off = self._hour(max(self.moves.gap, 0.01))
        return words(
            "Over what sold, and over the month, every slider gives what a report under it would give, but for cents "
            "lost in rounding. For unsold items the sliders move what they may still bring as a straight line: with "
            f"prices, postage or cost of goods at either end that is off by at most {off} an hour over everything. "
            "What to do follows the same rule as on Buy, with the price to pay moved by what an average thing of the "
            "kind gains."
        )

    def answer(self) -> Element:
        """The change that would bring most, in dollars a month."""
        month = month_name(self.study.month)
        if self.cloud is None:
            return headline(f"Nothing sold in {month}, so there is no hour that anything could change.")
        if self.levers.empty:
            return headline("Nothing that can be changed changes this month.")
        figures = [self.study.figure("result an hour", month, 100 * self.middle)]
        # What the seller can decide comes first; what a market or a carrier would have to grant comes after it.
        told = helps_most(self.study)
        figures += figures_said(told)
        return headline(Said(told or self.best(), figures), note=self._note(bool(told)))

    def best(self) -> str:
        """The change that would bring most, in one sentence; nothing where none would."""
        if self.levers.empty:
            return ""
        top = self.levers.iloc[0]
        if top["name"] == _MINUTES:
            worth = self._whole(100 * float(top["worth"]))
            hours = f"about {top['freed']:,.0f} hours a month"
            return f"If you needed 10% less time for everything, {hours} would be free, worth {worth} at your target."
        change = "10% higher" if top["name"] == _PRICES else "10% lower"
        brings = self._whole(top["net_cents"])
        lead = f"Of what you can't simply decide, {top['name']} matter most"
        return f"{lead}: {change}, they would bring about {brings} more a month."

    def picture(self) -> Any:
        """What moves the month's hour, each thing alone."""
        month = month_name(self.study.month)
        return plot_tornado(
            self.bars,
            middle=self.middle,
            title=self._finding() or f"An hour in {month}",
            subtitle=f"{month}: each alone, {self.part:.0%} down and up. Dashed line: your target. {self._others()}"
            "Your books.",
            target=self.study.target,
            currency=self.study.currency,
        )

    def helps(self) -> Element:
        """What a tenth better would bring, the most first."""
        if self.levers.empty:
            return EMPTY
        headings = {
            "change": "10% less or more",
            "net_cents": "More a month",
            "freed": "Hours freed a month",
            "hourly": "An hour then",
        }
        frame = self.levers.assign(
            change=[f"{name} {'up' if name == _PRICES else 'down'}" for name in self.levers["name"]]
        )
        formats = {
            "net_cents": lambda cents: self._whole(cents) if cents else NOTHING,
            "freed": lambda hours: f"{hours:,.0f}" if round(hours) else NOTHING,
            "hourly": self._hour,
        }
        caption = f"What 10% would have brought in {month_name(self.study.month)}; the other way it costs about as much"
        return elements.table(frame, caption=caption, headings=headings, formats=formats, currency=self.study.currency)

    def _others(self) -> str:
        """How many more were moved, of which no bar would be seen."""
        if not self.less:
            return ""
        least = hourly(1, currency=self.study.currency)
        return f"{count_of(self.less, 'more thing')} would move it by less than {least}. "

    def together(self) -> Element:
        """All of them moved at once, in words."""
        if self.cloud is None or self.bars.empty:
            return EMPTY
        cloud = self.cloud
        return words(
            f"If everything moves at once, each by up to {self.part:.0%}, you would earn between "
            f"{self._hour(cloud.low)} and {self._hour(cloud.high)} an hour in 8 of 10 such months, and beat the target "
            f"in {_share(cloud.above)} of them. "
            f"The luck of {count_of(self.sales, 'sale')} comes on top. We tried {_DRAWS} such months by a quick way. "
            f"In {_CHECKS} that we also computed in full, it was off by at most {self._hour(max(self.gap, 0.01))}."
        )

    def hangs_table(self) -> Element:
        """Which assumption the spread of the months comes from."""
        if self.cloud is None or self.bars.empty:
            return EMPTY
        rows = [{"name": name, "share": share} for name, share in self.cloud.hangs_on.items() if share >= 0.01]
        return elements.table(
            pd.DataFrame(rows, columns=["name", "share"]),
            caption="What the spread comes from",
            headings={"name": "Changed", "share": "Part of the spread"},
            formats={"share": lambda share: f"{share:.0%}"},
        )

    def help_to_do(self) -> Element:
        """Whether to hire help at the assumed wage."""
        return to_do([help_sentence(self.study)])

    def help_limits(self) -> Element:
        """The wage below which help raises the owner's hour, a row a way of counting."""
        study, frame = self.study, wage_limits(self.study)
        if frame.empty:
            return EMPTY
        wage = _shown_wage(study, float(frame["wage"].iloc[0]))
        frame["interval"] = [_range(study, row) for row in frame.to_dict("records")]
        frame["counted"] = frame["basis"].map(_COUNTED)
        headings = {
            "counted": "Counting",
            "hourly": "Your hour",
            "limit": "Help pays below",
            "interval": "Probably between",
            "verdict": f"Help at {wage}",
        }
        if frame["verdict"].nunique() == 1:
            # What is the same whichever way it is counted stands in the answer above.
            del headings["verdict"]
        # A missing limit is no unknown: no wage at all would do.
        frame["limit"] = frame["limit"].fillna(-math.inf)
        formats = {"hourly": self._hour, "limit": lambda dollars: _wage(study, float(dollars))}
        note = (
            "Decide by the first row: the second leaves out your hours on what never sold, so a wage that it allows "
            "can lose you money. The wage is the same whatever work help does."
        )
        caption = "The wage below which help pays, payroll taxes on top"
        return elements.table(frame, caption=caption, headings=headings, formats=formats, note=note)

    def help_by_activity(self) -> Element:
        """For each activity, what handing it to paid help would do to the owner's hour."""
        study, sold = self.study, self.study.sold_items()
        minutes = {activity: float(sold[f"{activity}_min"].sum()) for activity in ACTIVITIES}
        if not sum(minutes.values()):
            return EMPTY
        wage, burden, _ = wage_asked(study)
        frame = help_table(
            minutes,
            net_cents=int(sold["net_cents"].sum()),
            wage_cents=round(100 * wage),
            burden_ppm=burden,
            pace=study.assumptions.number("help.pace"),
            guidance=study.assumptions.share("help.guidance"),
        )
        must = self._hour(frame["must_earn"].iloc[0])
        headings = {
            "activity": "Activity",
            "owner_hours": "Your hours",
            "hours_freed": "Hours freed",
            "hired_cents": "Help would cost",
            "hourly_then": "Your hour then, counting sold items only",
        }
        formats: dict[str, Any] = dict.fromkeys(("owner_hours", "hours_freed"), lambda hours: f"{hours:,.0f}")
        return elements.table(
            frame,
            caption=f"If help did all of it, {span_name(study)}",
            headings=headings,
            formats=formats | {"hourly_then": self._hour, "activity": DOING.get},
            note=f"An hour that help frees costs you {must}: the wage of {_shown_wage(study, wage)}, "
            f"{burden / 10_000:.3g}% payroll taxes, help's slower pace and your own time to guide it. So it raises "
            "your income only if you earn more than that in each freed hour. At the wage below which help pays, a "
            "freed hour costs just what your own hour earns.",
            currency=study.currency,
        )

    def minutes_picture(self) -> Any:
        """Where your own minutes go."""
        return plot_minutes(activity_minutes(self.study.sold_items()), source=f"Your books, {span_name(self.study)}")

    def cautions(self) -> Element:
        """That hiring is a matter of law."""
        return caution(
            "Wages, payroll taxes and who counts as an employee are a matter of law: ask a licensed preparer or the "
            "labor authority.",
            title="Hiring",
        )

    def _finding(self) -> str:
        if self.bars.empty:
            return ""
        top = self.bars.iloc[0]
        low, high = sorted((float(top["at_low"]), float(top["at_high"])))
        low_text, high_text = (
            beside_target(value, self.study.target, currency=self.study.currency) for value in (low, high)
        )
        return f"{str(top['name']).capitalize()} matter most for an hour: from {low_text} to {high_text}"

    def _note(self, told: bool) -> str:
        """What else would help, how far the month is from the target, and whether one change alone reaches it."""
        target, made = (hourly(value, currency=self.study.currency) for value in (self.study.target, self.middle))
        apart = hourly(abs(self.study.target - self.middle), currency=self.study.currency)
        side = "over" if self.middle > self.study.target else "short of"
        text = f"{self.best()} " if told else ""
        text += f"{month_name(self.study.month)} made {made} an hour, {apart} {side} your {target} target."
        if self.sales < self.study.assumptions.whole("report.too_few_items"):
            text += f" {count_of(self.sales, 'sale').capitalize()}: {TOO_FEW}, and another month may differ a lot."
        if self.middle > self.study.target:
            return text
        if not self.turning:
            return f"{text} No single change of {self.part:.0%} reaches it."
        parts = [f"{name} at {factor:.0%} of today's" for name, factor in self.turning]
        return f"{text} What would reach it: {' or '.join(parts)}."

    def _whole(self, cents: float) -> str:
        return money(float(cents), currency=self.study.currency)

    def _hour(self, dollars: float) -> str:
        return money_per_hour(float(dollars), currency=self.study.currency)


def wage_limits(study: Study) -> pd.DataFrame:
    """The wage below which help raises the owner's hour, counted both ways, with its interval."""
    sold = study.shop_sales.loc["the window"]
    rows = []
    if sold["items"] and sold["owner_min"] > 0:
        held, (wage, burden, _) = study.assumptions, wage_asked(study)
        terms = {"pace": held.number("help.pace"), "guidance": held.share("help.guidance")}
        for basis, row in [*(("bought", row) for _, row in study.shop_bought.iterrows()), ("sold", sold)]:
            limit, low, high = (
                wage_limit(float(row[name]), burden_ppm=burden, **terms) for name in ("hourly", "low", "high")
            )
            claimed = bool(row["claimed"])
            verdict = wage_verdict(wage, limit, low, high, claimed=claimed)
            rows.append((basis, float(row["hourly"]), limit, low, high, claimed, wage, verdict))
    return pd.DataFrame(rows, columns=["basis", "hourly", "limit", "low", "high", "claimed", "wage", "verdict"])


def help_sentence(study: Study) -> str:
    """Below which wage help pays, and what the assumed wage does."""
    limits = wage_limits(study)
    if limits.empty:
        return "Nothing sold in these months, so there is no hour to compare a wage with."
    first = limits.iloc[0].to_dict()
    wage, _, paid = wage_asked(study)
    at = f"{_shown_wage(study, wage)}{', what you paid so far,' if paid else ''}"
    if math.isnan(first["limit"]):
        return "Don't hire help: your own hour earned nothing in these months, so no wage pays."
    sure = f" (probably between {_range(study, first, joint='and')})" if first["claimed"] else f" ({TOO_FEW})"
    does = {"would raise it": "it does", "would not raise it": "it doesn't"}.get(
        first["verdict"], "it is too close to call" if first["claimed"] else "nobody can say yet"
    )
    below = hourly(first["limit"], currency=study.currency)
    return f"Hiring help pays only below {below} an hour, for packing or any other work{sure}; at {at} {does}."


def wage_asked(study: Study) -> tuple[float, int, bool]:
    """The wage and payroll taxes that hiring is judged at, and whether help was paid that: what you set comes first."""
    held, (wage, burden) = study.assumptions, help_paid(study)
    if held.entries["help.burden"].layer != "packaged":
        burden = held.ppm("help.burden")
    assumed = held.cents("help.wage") / 100
    if held.entries["help.wage"].layer != "packaged":
        return assumed, burden, False
    return wage, burden, len(study.books.work) > 0 and wage != assumed


def _shown_wage(study: Study, dollars: float) -> str:
    return money_per_hour(dollars, currency=study.currency).removesuffix(".00")


def _wage(study: Study, dollars: float) -> str:
    return hourly(dollars, currency=study.currency) if math.isfinite(dollars) else "no wage"


def _range(study: Study, row: Mapping[Any, Any], joint: str = "to") -> str:
    low, high = (_wage(study, float(row[end])) for end in ("low", "high"))
    if not row["claimed"]:
        return TOO_FEW
    return low if low == high else f"{low} {joint} {high}"


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
    part, moves = study.assumptions.share("what_if.part"), Moves(study)
    sold = study.sold_items(month=study.month)
    told = (moves, len(sold), part)
    nothing = pd.DataFrame(columns=["name", "at_low", "at_high"])
    if sold.empty or float(sold["owner_min"].sum()) <= 0:
        return WhatIf(*told, np.nan, pd.DataFrame(columns=_LEVER), nothing, 0, None, (), 0.0)
    month = _Month(moves, part)
    spreads = [Spread(name, 1 - part, 1.0, 1 + part) for name in month.curves]
    bars = tornado(month.hourly, spreads)
    moving = _each_once([bar for bar in bars if bar.width >= _STILL])
    moved = {bar.key for bar in moving}
    doubled = {part for whole, parts in _HOLDS.items() if whole in moved for part in parts}
    chosen = [spread for spread in spreads if spread.key in moved - doubled]
    seed = study.assumptions.whole("report.seed")
    cloud = monte_carlo(month.hourly, chosen, bound=study.target, draws=_DRAWS, seed=seed)
    crossed = {
        bar.key: turning_point(month.hourly, Spread(bar.key, 1 - part, 1.0, 1 + part), bound=study.target)
        for bar in moving
    }
    frame = pd.DataFrame(
        [{"name": bar.key, "at_low": bar.at_low, "at_high": bar.at_high} for bar in moving if bar.width >= _SEEN],
        columns=nothing.columns,
    )
    gap = month.worst_gap([spread.key for spread in chosen]) if chosen else 0.0
    less = len(moving) - len(frame) + sum(bar.width < _STILL for bar in bars)
    turning = tuple((key, factor) for key, factor in crossed.items() if factor is not None)
    return WhatIf(*told, float(month.hourly({})), month.levers(study.target), frame, less, cloud, turning, gap)


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
    """Net and owner minutes of the month's sales and write-offs under factors on what is moved."""

    def __init__(self, moves: Moves, part: float) -> None:
        self._moves, self._part = moves, part
        study, self._inside = moves.study, moves.inside("settled")
        mine = study.items[self._inside]
        self.start = self._sums(study.items)
        changes = line_changes(mine)
        lines = {name: float(net_parts(changes[name]).sum()) for name in (_PRICES, *_LINES)}
        at_start = moves.start.wage * float(moves.parts[4]["hired_cents"][self._inside].sum())
        #: What a whole one more of each recorded line adds to net and minutes: lines of the sliders' own parts.
        self._lines = {
            **{name: np.array([net, 0.0]) for name, net in lines.items()},
            _WAGE: np.array([-at_start, 0.0]),
            _MINUTES: np.array([0.0, self.start[1]]),
        }
        #: Slope and bend of net and minutes in the factor of each thing, through three looks at the full model.
        self.curves = {name: self._curve(name) for name in (*_FAMILIES, *self._lines)}

    def hourly(self, factors: Mapping[str, Any]) -> npt.NDArray[np.float64]:
        """The month by curves through those computed with one thing moved: at once. [dollars per hour]"""
        net, minutes = self.start
        for name, factor in factors.items():
            step = np.asarray(factor, dtype=np.float64) - 1
            (slope, slower), (bend, bent) = self.curves[name]
            net, minutes = net + slope * step + bend * step**2, minutes + slower * step + bent * step**2
        return np.asarray(net / 100 / (minutes / 60))

    def levers(self, target: float) -> pd.DataFrame:
        """What each recorded line a tenth better would bring in the month, the most first."""
        net, minutes = self.start
        rows = []
        for name in (_PRICES, _MINUTES, *_LINES):
            more, longer = self._lines[name] * (_BETTER if name == _PRICES else -_BETTER)
            then = (net + more) / 100 / ((minutes + longer) / 60)
            rows.append((name, more, -longer / 60, then, more / 100 - longer / 60 * target))
        found = pd.DataFrame(rows, columns=_LEVER)
        found = found[(found["net_cents"].abs() >= 1) | (found["freed"] > 0)]
        return found.sort_values("worth", ascending=False, kind="stable", ignore_index=True)

    def worst_gap(self, names: list[str]) -> float:
        """How far the quick way is off where everything moves at once. [dollars per hour]"""
        random = np.random.default_rng(1)
        gaps = []
        for _ in range(_CHECKS):
            drawn = random.triangular(1 - self._part, 1.0, 1 + self._part, size=len(names))
            factors = {name: float(factor) for name, factor in zip(names, drawn, strict=True)}
            gaps.append(abs(float(self.hourly(factors)) - self._full(factors)))
        return max(gaps)

    def _full(self, factors: Mapping[str, float]) -> float:
        """The month computed in full: assumptions through the model, then the recorded lines. [dollars per hour]"""
        items = self._looked({name: factor for name, factor in factors.items() if name in _FAMILIES})
        changes = line_changes(items[self._inside])
        net, minutes = self._sums(items)
        for name, factor in factors.items():
            if name in changes:
                net += (factor - 1) * float(net_parts(changes[name]).sum())
            elif name == _WAGE:
                net += (factor - 1) * float(self._lines[_WAGE][0])
        return net / 100 / (minutes * factors.get(_MINUTES, 1.0) / 60)

    def _curve(self, name: str) -> npt.NDArray[np.float64]:
        """Slope and bend of net and minutes in one factor."""
        if name in self._lines:
            return np.stack([self._lines[name], np.zeros(2)])
        if name in _STRAIGHT:
            slope = sum((self._by_activity[activity] for activity in _STRAIGHT[name]), start=np.zeros(2))
            allowed = self._moves.study.assumptions.share("minutes.allowance")
            return np.stack([slope * (allowed / (1 + allowed) if name == _ALLOWANCE else 1.0), np.zeros(2)])
        low, high = (np.array(self._sums(self._looked({name: 1 + end}))) - self.start for end in self._ends)
        return np.stack([(high - low) / 2 / self._part, (high + low) / 2 / self._part**2])

    @property
    def _ends(self) -> tuple[float, float]:
        return -self._part, self._part

    @functools.cached_property
    def _by_activity(self) -> dict[str, npt.NDArray[np.float64]]:
        """What a whole one more of each activity's standard minutes adds to net and minutes."""
        names = [name for name in _STRAIGHT if name != _ALLOWANCE]
        more, now = self._looked(dict.fromkeys(names, 1 + self._part)), self._moves.study.items
        columns = [f"{activity}_min" for activity in ACTIVITIES]
        longer = (more[columns] - now[columns])[self._inside].sum() / self._part
        # Of the minutes that no log tells, help packs: what it costs follows those of packing alone.
        paid = {"pack": (self._sums(more)[0] - self.start[0]) / self._part}
        return {one: np.array([paid.get(one, 0.0), longer[f"{one}_min"]]) for one in ACTIVITIES}

    def _looked(self, factors: Mapping[str, float]) -> pd.DataFrame:
        """The items under factors on assumptions."""
        held = self._moves.study.assumptions
        return self._moves.asked.under(_moved(held, factors)).items if factors else self._moves.study.items

    def _sums(self, items: pd.DataFrame) -> tuple[float, float]:
        mine = items[self._inside]
        return float(mine["net_cents"].sum()), float(mine["owner_min"].sum())


def _moved(held: Assumptions, factors: Mapping[str, float]) -> Assumptions:
    """Assumptions with some groups multiplied, as far as their own limits allow."""
    entries = dict(held.entries)
    for name, factor in factors.items():
        for key, entry in held.entries.items():
            if any(key == head or (head.endswith(".") and key.startswith(head)) for head in _FAMILIES[name]):
                value = float(entry.value) * factor
                most = {"rate": min(round(value), PPM), "money": round(value), "whole": round(value)}.get(
                    entry.kind, value
                )
                entries[key] = dataclasses.replace(entry, value=most, layer="this run")
    return dataclasses.replace(held, entries=entries)
