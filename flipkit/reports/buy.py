"""Buy: what to look for, what to pay for it, and where next month's hours go."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from html import escape
from typing import Any

import pandas as pd

from flipkit.analysis.decisions import (
    BUY,
    FEW_FINDS,
    LEAVE,
    PACK_SMALLER,
    PRICE_AS_RECOMMENDED,
    STOP_BUYING,
    UNDER_A_PRICE,
    VERDICTS,
    Change,
    Decision,
)
from flipkit.analysis.max_bid import LEAST_CENTS, PRICES, AisleRule, pocket_table
from flipkit.analysis.repricing import PLANNED
from flipkit.analysis.returns import LIKELY, TOO_FEW, UNLIKELY
from flipkit.charts.returns import BARS, plot_category_returns
from flipkit.charts.style import hourly, joined, money
from flipkit.errors import count_of
from flipkit.money import show_cents
from flipkit.reports.answers import by_sales_sentence
from flipkit.reports.elements import EMPTY, Element, Figure, Said, headline, table, to_do, together
from flipkit.reports.sentences import (
    day_words,
    doubts,
    few_sales_sentence,
    money_per_hour,
    of_category,
    past_words,
    size_words,
    span_name,
)
from flipkit.reports.study import Study, stock_gain
from flipkit.reports.tables import cautions, ranking_table, returns_table, words

#: Categories that a sentence names, and kinds to stop buying; the rest are counted.
_NAMED, _STOPPED = 4, 2
#: A change that brings less a month is left to its own page. [cents]
_LEAST_CHANGE = 1_000


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
        parts = [part for part in (self._named(verdict) for verdict in VERDICTS[:3]) if part]
        said = f"{', '.join(parts[:-1])}, and {parts[-1]}" if len(parts) > 1 else "".join(parts)
        figures = [figure for one in decisions for figure in decision_figures(self.study, one)]
        note = " ".join([self._promise(), *doubts(self.study)])
        return headline(Said(f"{said[:1].upper()}{said[1:]}.", figures), note=note)

    def to_do(self) -> Element:
        """Where next month's hours go, and what is left free."""
        shared = self.study.hours
        if shared.plan is None:
            return EMPTY
        given = shared.frame[shared.frame["hours"] >= 0.5]
        # From the hours as they are shown, so that what is given out and what is free add up.
        used = int(given["hours"].round().sum())
        free = max(round(shared.hours) - used, 0)
        figures = [
            self.study.figure("free hours next month", "shop", free),
            self.study.figure("next month's hours bring", "shop", self._brings()),
        ]
        pay = {name: threshold(self.study, self.study.decision(name))[1:] for name in given["category"]}
        lines = [
            f"Give {row['category']} about {count_of(round(row['hours']), 'hour')} next month, which should bring "
            f"{_whole(100 * row['brings'], self.study)}: pay{pay[row['category']]}"
            for row in given.assign(brings=_dollars_brought(given)).to_dict("records")
        ]
        if lines:
            lines.append(
                f"{'That hour' if used == 1 else f'These {used:,} hours'} should bring about "
                f"{_whole(self._brings(), self.study)} once what you find has sold. Skip buying for a month and you "
                f"lose that. {self._hours_in_all(used)}"
            )
        if free > 0:
            left = sum(round(change.hours) for change in self.study.biggest_changes if change.name == STOP_BUYING)
            whose = f" ({left:,} that the kinds to leave took, and {free - left:,} of finds above their price)"
            returns = self.study.bought_returns
            leave = {one.category for one in self.study.decisions if one.verdict == LEAVE}
            losing = returns.loc[returns["category"].isin(leave) & (returns["hourly"] < 0), "category"]
            at_once = f" Stop buying {_kinds(list(losing))} at those prices now: unsold counted, they lost money."
            lines.append(
                f"{count_of(free, 'hour')} of the {shared.hours:,.0f} that a month's purchases take now stay free"
                f"{whose if 0 < left < free else ''}. Find other work or new kinds for them first: left idle they "
                f"bring nothing.{at_once if len(losing) else ''}"
            )
        lines += [
            f"List new {_kinds([kind for kind, _ in one.parts])} at {one.asked:.1f} times what such items sell for: "
            f"about {money(one.cents_a_month, currency=self.study.currency)} a month."
            for one in self.study.biggest_changes
            if one.name == PRICE_AS_RECOMMENDED
        ]
        return to_do([Said(line, figures) for line in lines])

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
        of = count_of(len(frame), "category", "categories")
        title = f"{sure or 'None'} of {of} almost surely earned more than {target} an hour"
        subtitle = f"Everything bought, {span_name(study)}, unsold items too. {BARS}"
        return chart.properties(title={"text": title, "subtitle": subtitle})

    def sheet(self, category: str = "") -> Element:
        """The most to pay for each kind to buy, at its own low, usual and high price, and a rule for any other."""
        study = self.study
        kinds = study.knowledge["categories"]
        # What a kind brings nobody knows before enough like things have sold.
        known = [one for one in study.decisions if kinds[one.category]["typical_cents"] is not None]
        if few_sales_sentence(study) or not known:
            return EMPTY
        needed = study.assumptions.whole("report.too_few_items")
        order = [one.category for one in known if one.verdict != LEAVE or one.sells_from_cents is not None]
        order = [name for name in order if category in ("", name)]
        if not order:
            return EMPTY if category else words("Nothing is worth buying at its usual prices.")
        rows = []
        for (kind, size), part in pd.DataFrame(pocket_table(study.knowledge, categories=order)).groupby(
            ["category", "size_class"], sort=False
        ):
            mark = " *" if kinds[str(kind)]["sold"] < needed else ""
            pays = {
                str(row["which"]): f"{_whole(row['price_cents'], study)}: {self._most(row['highest_cents'])}"
                for row in part.to_dict("records")
            }
            rule, from_cents = rule_words(study, part["rule"].iloc[0]), study.decision(str(kind)).sells_from_cents
            if not part["rule"].iloc[0].share and from_cents is not None:
                rule = f"leave it, unless it sells for {_whole(from_cents, study)} or more"
            rows.append({"thing": f"{size}{mark}" if category else f"{kind}, {size}{mark}", **pays, "rule": rule})
        headings = {
            "thing": "Size" if category else "Kind and size",
            **{which: which.capitalize() for which in PRICES},
            "rule": "Any other price",
        }
        figures = [figure for one in _bought(study) for figure in decision_figures(study, one)]
        caption = "Price it sells for: the most to pay" + ("" if category else "; kinds to buy first")
        shown = table(pd.DataFrame(rows), caption=caption, headings=headings, figures=figures)
        # Neither a phone nor a desk has the width that long words are given elsewhere: here they wrap.
        return Element(shown.html.replace(' class="long"', ""), shown.text, shown.figures)

    def sheet_note(self) -> Element:
        """What to leave, how to read the sheet, and which rows lean on the rest of the shop."""
        study = self.study
        if few_sales_sentence(study):
            return EMPTY
        few = [one.category for one in study.decisions if one.verdict == TOO_FEW]
        parts = [
            f"As of {day_words(study.as_of)}. One in ten sold for less than low. Under the last price leave it, even "
            "if it's free; at what you usually pay it must sell for more, as the reasons below say. "
            f"Sizes are those of the packed parcel. {size_words(study)}"
        ]
        if few:
            needed = study.assumptions.whole("report.too_few_items")
            parts.append(f"* {TOO_FEW}: fewer than {needed} sales of its own, so the whole shop's count beside them.")
        by_sales = [one.category for one in study.decisions if study.knowledge["categories"][one.category]["by_sales"]]
        if by_sales:
            parts.append(by_sales_sentence(joined(by_sales)))
        parts.append(
            "These prices know the kind and not the item: a flaw, a missing part or a slow season are for you to see."
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
            "hourly": "An hour on finds within the price",
            "brings": "In all",
            "highest_cents": "Pay at most",
        }
        return table(
            shared.frame.assign(brings=_dollars_brought(shared.frame)),
            caption="Next month's hours, in the order in which they are given out",
            headings=headings,
            formats={
                "hourly": lambda dollars: money_per_hour(float(dollars), currency=study.currency),
                "highest_cents": lambda cents: _whole(cents, study),
                "hours": lambda hours: f"{hours:,.1f} h",
                "brings": lambda dollars: _whole(100 * dollars, study),
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

    def cautions(self) -> Element:
        """What to beware of."""
        return cautions(self.study.items)

    def _named(self, verdict: str) -> str:
        """The categories of one verdict in a sentence."""
        mine = [one.category for one in self.study.decisions if one.verdict == verdict]
        if not mine:
            return ""
        if verdict == LEAVE:
            # In the order of the change on the first page, so that both name the same kinds.
            most = [kind for one in self.study.biggest_changes if one.name == STOP_BUYING for kind, _ in one.parts]
            mine.sort(key=lambda kind: most.index(kind) if kind in most else len(most))
            return f"leave {_kinds(mine, _STOPPED)} at what you usually pay"
        return f"buy {_kinds(mine)}{'' if verdict == BUY else ' only below a price'}"

    def _promise(self) -> str:
        """What the prices promise."""
        wishes = self.study.knowledge["wishes"]
        target = _whole(int(wishes["target_cents"]), self.study)
        lost = _whole(int(wishes.get("loss_from_cents", 0)), self.study)
        return (
            f"Pay no more than the prices below, and an hour should bring {target} at least, even if you list and "
            f"mark down as you do now. The prices also keep to your limit on losses: at most "
            f"{wishes['loss_limit']:.0%} of what you buy may lose you {lost} or more apiece."
        )

    def _reason(self, one: Decision) -> str:
        """Why a category is to be bought or not, in words made from its figures."""
        if one.verdict == TOO_FEW:
            return one.sentence
        return f"{one.sentence} {chance_words(self.study, one)} {one.note}".rstrip()

    def _bounds(self) -> str:
        """The bounds of the verdicts."""
        return (
            f"{BUY.capitalize()}: a chance of {LIKELY:.0%} or more to make your target, and at least {FEW_FINDS:.0%} "
            f"of your finds cheap enough at their usual price. {LEAVE.capitalize()}: none cheap enough; or fewer than "
            f"{FEW_FINDS:.0%}, and a chance of {UNLIKELY:.0%} or less. {UNDER_A_PRICE.capitalize()}: everything "
            "between. Prices are for the usual size, listed and marked down as you do now. The figures are of "
            f"{past_words(self.study)}."
        )

    def _hours_note(self) -> str:
        """What the hours bring and how sure that is, what settles the order, and who gets none."""
        shared, plan, doubt = self.study.hours, self.study.hours.plan, self.study.assumptions.number("sourcing.doubt")
        text = ""
        if plan is not None and plan.hours.sum():
            low, high = (_whole(100 * part, self.study) for part in (plan.low, plan.high))
            text = (
                f"A month's purchases took you {shared.hours:,.0f} hours on average, from finding to shipping. Those "
                "given out should bring "
                f"{_whole(self._brings(), self.study)}, probably {low} to {high} by how well the returns are known; "
                "the luck of a single month comes on top. "
            )
        text += "Only finds that cost no more than their price count, and nothing gets more hours than its finds take."
        if doubt:
            errors = "its error" if doubt == 1 else f"{doubt:g} times its error"
            text += (
                f" Kinds that you know little about come earlier (each is ranked by its return plus {errors}), because "
                "buying them is how you learn."
            )
        return text

    def _hours_in_all(self, used: int) -> str:
        """How many hours next month can take in all: those for what is to be bought, and those of the stock."""
        plans = self.study.patience
        hours = round(plans.loc[plans["way"] == PLANNED, "work_min"].sum() / 60) if len(plans) else 0
        if not hours:
            return "What you have in stock brings its money besides."
        return (
            f"Next month takes {count_of(used + hours, 'hour')} at the very most: these, and the {hours:,} that your "
            "stock takes until all of it has sold, which brings its money besides."
        )

    def _brings(self) -> int:
        """What next month's hours bring, as the table's rows add up. [cents]"""
        return int(100 * _dollars_brought(self.study.hours.frame).sum())

    def _most(self, cents: int) -> str:
        return LEAVE if cents < LEAST_CENTS else _whole(cents, self.study)


def decision_figures(study: Study, one: Decision) -> tuple[Figure, ...]:
    """The quantities of a decision; every page that says one of them hands these on."""
    scope = of_category(one.category)
    figures = [study.figure("verdict", scope, one.verdict)]
    if one.verdict == TOO_FEW:
        return tuple(figures)
    figures += [
        study.figure("usual price", scope, one.typical_cents),
        study.figure("usual cost", scope, one.usual_cost_cents),
        study.figure("pay at most", scope, one.highest_cents or None),
        study.figure("leave unless it sells for", scope, one.sells_from_cents),
        study.figure("chance to beat the target", scope, chance(one.chance)),
        study.figure("hours next month", scope, round(one.hours)),
    ]
    return tuple(figures)


def threshold(study: Study, one: Decision) -> str:
    """A verdict's threshold in a few words."""
    if one.verdict == TOO_FEW:
        return f": {one.sentence.removeprefix(f'{TOO_FEW.capitalize()}: ')}"
    show = functools.partial(whole_down, currency=study.currency)
    # Of the usual size: Buy gives the others.
    usual = one.size.partition(",")[0]
    if one.verdict != LEAVE:
        size = f"a {usual} one" if usual else "one"
        return f": up to {show(one.highest_cents)} for {size} that sells at {show(one.typical_cents)}."
    if one.sells_from_cents is not None:
        return f"{f' ({usual})' if usual else ''} {show(one.sells_from_cents)}"
    return f" (worth {show(one.highest_cents)} at most)" if one.highest_cents else " (even if it's free)"


def chance_words(study: Study, one: Decision) -> str:
    """The chance behind a verdict, and why it is left where the chance alone would not say so."""
    price = f"none cost you {whole_down(one.highest_cents, currency=study.currency)} or less"
    why = f", but {price if one.highest_cents else 'at usual prices none pays'}"
    aside = why if one.verdict == LEAVE and one.chance > UNLIKELY else ""
    return f"Chance to make {hourly(study.target, currency=study.currency)} an hour: {chance(one.chance)}{aside}."


def helps_most(study: Study) -> str:
    """All changes that the seller can decide, ranked by what they bring in a year; nothing where there is none."""
    show = functools.partial(money, currency=study.currency)
    ranked: list[tuple[float, str]] = []
    for change in study.biggest_changes:
        if change.cents_a_month < _LEAST_CHANGE:
            continue
        does = _stopping(study, change) if change.name == STOP_BUYING else _doing(study, change)
        ranked.append((12 * change.cents_a_month, does))
    # Before enough has sold, prices rest on assumptions alone: Stock shows no plan then.
    gain = 0.0 if few_sales_sentence(study) else stock_gain(study)
    if gain >= 100:
        worth = f"about {show(gain)} in all, clearing out included"
        ranked.append((gain, f"follow the price plan for your stock ({worth})"))
    if not ranked:
        return ""
    first, *rest = [text for _, text in sorted(ranked, key=lambda pair: -pair[0])]
    then = f" Next: {joined(rest)}." if rest else ""
    figures = [study.figure("the plan for the stock is worth", "shop", round(gain / 100))]
    return Said(f"What helps most is to {first}.{then}", figures)


def next_finds(study: Study) -> str:
    """What to do otherwise with what is bought from now on, each with what it brings; nothing where there is none."""
    found = [_doing(study, change) for change in study.biggest_changes if change.cents_a_month >= 100]
    return f"From now on {joined(found)}." if found else ""


def _doing(study: Study, change: Change) -> str:
    """One thing to do otherwise, and what it brings a month."""
    worth = f"about {money(change.cents_a_month, currency=study.currency)} a month"
    kinds = _kinds([kind for kind, _ in change.parts], _STOPPED)
    target = hourly(study.target, currency=study.currency)
    return {
        STOP_BUYING: f"stop buying {kinds} at what you usually pay once there is other work for the hours ({worth} "
        f"more if they make {target})",
        PACK_SMALLER: f"pack what you still buy in slightly smaller boxes ({worth})",
        PRICE_AS_RECOMMENDED: f"list new finds at {change.asked:.1f} times the going price ({worth})",
    }[change.name]


def _stopping(study: Study, change: Change) -> str:
    """What to stop buying, what its hours make there, and how much more they would make at the target."""
    show, hours = functools.partial(money, currency=study.currency), max(round(change.hours), 1)
    # From the hours as they are shown, so that the figures of the sentence add up.
    made = 100 * study.target * hours - change.cents_a_month
    rate, target = (hourly(value, currency=study.currency) for value in (made / 100 / hours, study.target))
    kinds, spent = _kinds([kind for kind, _ in change.parts], _STOPPED), count_of(hours, "hour")
    more = f"at {target} they would make {show(change.cents_a_month)} more"
    if made < 0:
        return f"stop buying {kinds} at what you usually pay (their {spent} a month lose {show(-made)}; {more})"
    return (
        f"find better use for the {spent} a month that {kinds} take at what you usually pay (they make {show(made)} "
        f"there, {rate} an hour; {more}; left idle, nothing)"
    )


def _kinds(names: list[str], most: int = _NAMED) -> str:
    """Kinds in a sentence: the first few by name, the rest counted."""
    more = len(names) - most
    return joined([*names[:most], f"{more} more kinds"] if more > 1 else names)


def rule_words(study: Study, rule: AisleRule) -> str:
    """A kind's rule for the aisle, and how far it may be off where that is more than a dollar."""
    if not rule.share:
        return f"leave it up to {_whole(rule.nothing_under_cents, study)}"
    less = f", less {_whole(rule.less_cents, study)}" if rule.less_cents > 0 else ""
    more = f", plus {_whole(-rule.less_cents, study)}" if rule.less_cents < 0 else ""
    under = f"; leave it under {_whole(rule.nothing_under_cents, study)}" if rule.nothing_under_cents else ""
    off = f" (give or take {_whole(rule.off_cents + 99, study)})" if rule.off_cents > 100 else ""
    return f"{rule.share:.0%} of what it sells for{less}{more}{under}{off}"


def chance(share: float) -> str:
    """A share as a percentage that never claims certainty."""
    if math.isnan(share):
        return "not known"
    return "under 1%" if share < 0.01 else "over 99%" if share > 0.99 else f"{share:.0%}"


def _bought(study: Study) -> list[Decision]:
    """The decisions on what is to be bought."""
    return [one for one in study.decisions if one.verdict in (BUY, UNDER_A_PRICE)]


def _dollars_brought(frame: pd.DataFrame) -> pd.Series:
    """What each category's hours bring, in whole units from the hours and the return that the table shows."""
    return (frame["hours"].round(1) * frame["hourly"].round(2)).round()


def whole_down(cents: float, *, currency: str) -> str:
    """Whole units of the currency, rounded down: a price not to be passed.

    >>> whole_down(2899, currency="USD")
    '$28'
    """
    return show_cents(int(cents) // 100 * 100, currency=currency).removesuffix(".00")


def _whole(cents: float, study: Study) -> str:
    return whole_down(cents, currency=study.currency)
