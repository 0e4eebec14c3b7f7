"""Buy: what to look for, what to pay for it, and where next month's hours go."""

from __future__ import annotations

import math
from dataclasses import dataclass
from html import escape
from typing import Any, Final

import pandas as pd

from flipkit.analysis.decisions import (
    BUY,
    FEW_FINDS,
    LEAVE,
    PACK_SMALLER,
    STOP_BUYING,
    UNDER_A_PRICE,
    VERDICTS,
    Change,
    Decision,
)
from flipkit.analysis.max_bid import PRICES, AisleRule, pocket_table
from flipkit.analysis.returns import LIKELY, TOO_FEW, UNLIKELY
from flipkit.charts.returns import plot_category_returns
from flipkit.charts.style import hourly, joined, money
from flipkit.money import show_cents
from flipkit.reports.elements import EMPTY, Element, Figure, Said, headline, table, to_do, together
from flipkit.reports.sentences import (
    count_of,
    day_words,
    doubts,
    few_sales_sentence,
    money_per_hour,
    of_category,
    past_words,
    span_name,
)
from flipkit.reports.study import Study
from flipkit.reports.tables import cautions, methods_table, ranking_table, returns_table, words

#: Kinds that a line on a change names.
_MOST_KINDS: Final = 2
#: Categories that a sentence names; the rest are counted.
_NAMED: Final = 4


@dataclass(frozen=True, eq=False)
class Buy:
    """The page on buying: a verdict and a threshold a category."""

    study: Study

    def answer(self) -> Element:
        """What to buy, what only below a price, what to leave."""
        decisions = self.study.decisions
        if not decisions:
            return headline("No category is in the books yet.")
        if all(one.verdict == TOO_FEW for one in decisions):
            told = few_sales_sentence(self.study) or f"{TOO_FEW.capitalize()} what to buy."
            return headline(told, note=" ".join(doubts(self.study)))
        parts = [self._named(verdict) for verdict in VERDICTS[:3]]
        figures = [figure for one in decisions for figure in decision_figures(self.study, one)]
        return headline(
            Said(" ".join(filter(None, parts)), figures), note=" ".join([self._promise(), *doubts(self.study)])
        )

    def to_do(self) -> Element:
        """Where next month's hours go, and what is left free."""
        shared = self.study.hours
        if shared.plan is None:
            return EMPTY
        given = shared.frame[shared.frame["hours"] >= 0.5]
        free = self.study.figure("free hours next month", "shop", round(shared.free_hours))
        lines = [
            f"Give {row['category']} about {count_of(round(row['hours']), 'hour')} next month: pay up to "
            f"{_whole(row['highest_cents'], self.study)} for one that sells at its usual price."
            for row in given.to_dict("records")
        ]
        spare = count_of(round(shared.free_hours), "hour")
        if round(shared.free_hours) > 0:
            lines.append(f"{spare} free: find more of what pays, or keep them.")
        return to_do([Said(line, [free]) for line in lines])

    def picture(self) -> Any:
        """What an hour of each category earned, over all that was bought."""
        study = self.study
        frame = study.bought_returns
        chart = plot_category_returns(
            frame, study.target, counted="bought", confidence=study.confidence, currency=study.currency
        )
        if frame.empty:
            return chart
        sure = int((frame["verdict"] == "above the target").sum())
        target = hourly(study.target, currency=study.currency)
        title = (
            f"{count_of(sure, 'category', 'categories')} of {len(frame):,} earned more than {target} an hour for sure"
        )
        subtitle = f"Everything bought, {span_name(study)}, unsold items too. Bar: where the true figure probably lies."
        return chart.properties(title={"text": title, "subtitle": subtitle})

    def sheet(self) -> Element:
        """The most to pay for each kind to buy, at its own low, usual and high price, and a rule for any other."""
        study = self.study
        if few_sales_sentence(study):
            return EMPTY
        needed = study.assumptions.whole("report.too_few_items")
        kinds = study.knowledge["categories"]
        order = [one.category for one in study.decisions if one.verdict != LEAVE or one.sells_from_cents is not None]
        rows = []
        for (category, size), part in pd.DataFrame(pocket_table(study.knowledge, categories=order)).groupby(
            ["category", "size_class"], sort=False
        ):
            mark = " *" if kinds[str(category)]["sold"] < needed else ""
            pays = {
                str(row["which"]): f"{_whole(row['price_cents'], study)}: {_most(row['highest_cents'], study)}"
                for row in part.to_dict("records")
            }
            rule = rule_words(study, part["rule"].iloc[0])
            rows.append({"thing": f"{category}, {size}{mark}", **pays, "rule": rule})
        if not rows:
            return words("Nothing is worth buying at its usual prices.")
        headings = {
            "thing": "Sells for: pay at most",
            **{which: which.capitalize() for which in PRICES},
            "rule": "Any other price",
        }
        figures = [figure for one in _bought(study) for figure in decision_figures(study, one)]
        shown = table(pd.DataFrame(rows), caption="What to pay, kinds to buy first", headings=headings, figures=figures)
        # A phone is too narrow for the width that long names are given elsewhere: here they wrap.
        return Element(shown.html.replace('class="long"', 'class="medium"'), shown.text, shown.figures)

    def sheet_note(self) -> Element:
        """What to leave, how to read the sheet, and which rows lean on the rest of the shop."""
        study = self.study
        if few_sales_sentence(study):
            return EMPTY
        few = [one.category for one in study.decisions if one.verdict == TOO_FEW]
        parts = [f"As of {day_words(study.as_of)}. A dash: leave it at that price. One in ten sold for less than low."]
        if few:
            needed = study.assumptions.whole("report.too_few_items")
            parts.append(f"* {TOO_FEW}: fewer than {needed} sales of its own, so the whole shop's count beside them.")
        parts.append(
            "A sheet knows the kind and not the item: a flaw, a missing part or a slow season are for you to see."
        )
        return words(" ".join(parts))

    def verdicts(self) -> Element:
        """Every category under what to do about it, with the reason."""
        study, parts, lines = self.study, [], []
        figures = tuple(figure for one in study.decisions for figure in decision_figures(study, one))
        for verdict in VERDICTS:
            mine = [one for one in study.decisions if one.verdict == verdict]
            if mine:
                reasons = [(one.category, self._reason(one)) for one in mine]
                items = "".join(f"<li><strong>{escape(name)}</strong>: {escape(why)}</li>" for name, why in reasons)
                parts.append(f"<h3>{escape(verdict.capitalize())} ({len(mine)})</h3><ul>{items}</ul>")
                lines += [f"{verdict.capitalize()} ({len(mine)})", *(f"  {name}: {why}" for name, why in reasons)]
        if not parts:
            return EMPTY
        html = f'<div class="verdicts">{"".join(parts)}</div>'
        return together(Element(html, "\n".join(lines), figures), words(self._bounds()))

    def hours(self) -> Element:
        """Each category's hours, what an hour of them brings, and the price that goes with it."""
        study, shared = self.study, self.study.hours
        if shared.frame.empty:
            return EMPTY
        headings = {
            "category": "Category",
            "hours": "Hours next month",
            "available_h": "Finds for",
            "hourly": "An hour brings",
            "highest_cents": "Pay at most",
        }
        spans = dict.fromkeys(
            ("hours", "available_h"), lambda number: "under 1 h" if number < 0.5 else f"{number:,.0f} h"
        )
        return table(
            shared.frame,
            caption="Next month's hours, in the order in which they are given out",
            headings=headings,
            formats={
                "hourly": lambda dollars: money_per_hour(float(dollars), currency=study.currency),
                "highest_cents": lambda cents: _whole(cents, study),
                **spans,
            },
            note=self._hours_note(),
            currency=study.currency,
            figures=[figure for one in study.decisions if one.hours for figure in decision_figures(study, one)],
        )

    def ranking(self) -> Element:
        """Categories by their chance of beating the target, with the figure adjusted for small samples."""
        return ranking_table(self.study)

    def both_counts(self) -> Element:
        """What an hour of each category earned, counted over what was bought and over what sold."""
        return returns_table(self.study)

    def methods(self) -> Element:
        """The same intervals by other methods."""
        return methods_table(self.study)

    def cautions(self) -> Element:
        """What to beware of."""
        return cautions(self.study.items)

    def _named(self, verdict: str) -> str:
        """The categories of one verdict in a sentence."""
        mine = [one.category for one in self.study.decisions if one.verdict == verdict]
        if not mine:
            return ""
        more = [f"{len(mine) - _NAMED} more"] if len(mine) > _NAMED else []
        names = joined([*mine[:_NAMED], *more])
        if verdict == LEAVE:
            return f"Leave {names}."
        return f"Buy {names}." if verdict == BUY else f"Buy {names} only below a price."

    def _promise(self) -> str:
        """What the prices promise."""
        wishes = self.study.knowledge["wishes"]
        target = _whole(int(wishes["target_cents"]), self.study)
        lost = _whole(int(wishes.get("loss_from_cents", 0)), self.study)
        return (
            f"Pay no more than the prices below, list and mark down as you do now, and an hour should bring {target}. "
            f"At most {wishes['loss_limit']:.0%} of them lose {lost} or more."
        )

    def _reason(self, one: Decision) -> str:
        """Why a category is to be bought or not, in words made from its figures."""
        if one.verdict == TOO_FEW:
            return one.sentence
        return f"{one.sentence} {chance_words(self.study, one)} {one.note}".rstrip()

    def _bounds(self) -> str:
        """The bounds of the verdicts."""
        return (
            f"{BUY.capitalize()}: a chance of {LIKELY:.0%} or more to make your target, and {FEW_FINDS:.0%} or more of "
            f"your finds cheap enough. {LEAVE.capitalize()}: fewer cheap enough, and no price or a chance of "
            f"{UNLIKELY:.0%} or less. Prices are for the usual size, listed and marked down as you do now. The figures "
            f"are of {past_words(self.study)}."
        )

    def _hours_note(self) -> str:
        """What the hours bring and how sure that is, what settles the order, and who gets none."""
        shared, plan, doubt = self.study.hours, self.study.hours.plan, self.study.assumptions.number("sourcing.doubt")
        text = ""
        if plan is not None and plan.hours.sum():
            low, middle, high = (_whole(100 * part, self.study) for part in (plan.low, plan.expected, plan.high))
            text = (
                f"Of {shared.hours:,.0f} hours, as in an average month so far. They should bring {middle}, probably "
                f"{low} to {high} by how well the returns are known; the luck of a single month comes on top. "
            )
        text += "Only finds that cost no more than their price count."
        if doubt:
            errors = "its error" if doubt == 1 else f"{doubt:g} times its error"
            text += (
                f" The order goes by the return with {errors} on top: buying what is little known is how it becomes "
                "known."
            )
        return text


def decision_figures(study: Study, one: Decision) -> tuple[Figure, ...]:
    """The quantities of a decision; every page that says one of them hands these on."""
    scope = of_category(one.category)
    figures = [study.figure("verdict", scope, one.verdict)]
    if one.verdict == TOO_FEW:
        return tuple(figures)
    figures += [
        study.figure("pay at most", scope, one.highest_cents or None),
        study.figure("leave unless it sells for", scope, one.sells_from_cents),
        study.figure("chance to beat the target", scope, chance(one.chance)),
        study.figure("hours next month", scope, round(one.hours)),
    ]
    return tuple(figures)


def chance_words(study: Study, one: Decision) -> str:
    """The chance behind a verdict, and where the hour probably lies."""
    low, high = (hourly(end, currency=study.currency) for end in (one.low, one.high))
    target = hourly(study.target, currency=study.currency)
    return f"Chance to make {target} an hour: {chance(one.chance)}; probably {low} to {high}."


def change_words(change: Change, *, currency: str) -> str:
    """One of the changes that would bring most, in words and dollars a month.

    >>> change_words(Change("pack an inch smaller", 3323, (("lamps", 3323),)), currency="USD")
    'Pack lamps in boxes just small enough: about $33 a month.'
    """
    kinds = [kind for kind, _ in change.parts]
    most = kinds if len(kinds) <= _MOST_KINDS + 1 else [*kinds[:_MOST_KINDS], f"{len(kinds) - _MOST_KINDS} more kinds"]
    worth = f"about {money(change.cents_a_month, currency=currency)} a month"
    if change.name == STOP_BUYING:
        return f"Stop buying {joined(most)} at what you usually pay: worth {worth} at your target."
    if change.name == PACK_SMALLER:
        return f"Pack {joined(most)} in boxes just small enough: {worth}."
    return f"Price {joined(most)} as recommended: {worth}."


def rule_words(study: Study, rule: AisleRule) -> str:
    """A kind's rule for the aisle, and how far it may be off where that is more than a dollar."""
    if not rule.share:
        return f"nothing under {_whole(rule.nothing_under_cents, study)}"
    less = f", less {_whole(rule.less_cents, study)}" if rule.less_cents > 0 else ""
    more = f", plus {_whole(-rule.less_cents, study)}" if rule.less_cents < 0 else ""
    under = f"; nothing under {_whole(rule.nothing_under_cents, study)}" if rule.nothing_under_cents else ""
    off = f" (within {_whole(rule.off_cents + 50, study)})" if rule.off_cents > 100 else ""
    return f"{rule.share:.0%} of what it sells for{less}{more}{under}{off}"


def chance(share: float) -> str:
    """A share as a percentage that never claims certainty."""
    if math.isnan(share):
        return "not known"
    return "under 1%" if share < 0.01 else "over 99%" if share > 0.99 else f"{share:.0%}"


def _bought(study: Study) -> list[Decision]:
    """The decisions on what is to be bought."""
    return [one for one in study.decisions if one.verdict in (BUY, UNDER_A_PRICE)]


def _most(cents: int, study: Study) -> str:
    return "–" if cents < 100 else _whole(cents, study)


def whole_down(cents: float, *, currency: str) -> str:
    """Whole units of the currency, rounded down: a price not to be passed.

    >>> whole_down(2899, currency="USD")
    '$28'
    """
    return show_cents(int(cents) // 100 * 100, currency=currency).removesuffix(".00")


def _whole(cents: float, study: Study) -> str:
    return whole_down(cents, currency=study.currency)
