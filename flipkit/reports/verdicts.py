"""Buy, buy only below a price, leave: each category with its threshold in words, in one compact list."""

from __future__ import annotations

import math
from html import escape

from flipkit.analysis.decisions import BUY, FEW_FINDS, LEAVE, VERDICTS, Decision
from flipkit.analysis.returns import LIKELY, TOO_FEW, UNLIKELY
from flipkit.charts.style import hourly
from flipkit.reports.elements import Element, Figure, caution
from flipkit.reports.sentences import doubts, money_per_hour, of_category, past_words
from flipkit.reports.study import Study

#: Categories too few to tell that are named; the rest are counted.
_NAMED = 12


def decision_figures(study: Study, one: Decision) -> tuple[Figure, ...]:
    """The quantities of a decision; every page that says one of them hands these on."""
    scope = of_category(one.category)
    figures = [study.figure("verdict", scope, one.verdict)]
    if one.verdict == TOO_FEW:
        return tuple(figures)
    figures += [
        study.figure("pay at most", scope, one.highest_cents or None),
        study.figure("leave unless it sells for", scope, one.sells_from_cents),
        study.figure("chance to beat the target", scope, _chance(one.chance)),
        study.figure("hours next month", scope, round(one.hours)),
    ]
    return tuple(figures)


def verdict_reason(study: Study, one: Decision) -> str:
    """Why a category is to be bought or not, in words made from its figures."""
    if one.verdict == TOO_FEW:
        return one.sentence
    low, high = (hourly(end, currency=study.currency) for end in (one.low, one.high))
    target = hourly(study.target, currency=study.currency)
    text = f"{one.sentence} Chance to make {target} an hour: {_chance(one.chance)}; probably {low} to {high}."
    return f"{text} {one.note}".rstrip()


def verdict_list(study: Study) -> Element:
    """Every category under what to do about it, with the reason.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        A compact list, grouped by the verdicts.
    """
    decisions = study.decisions
    if not decisions:
        return Element('<p class="wordless">No category is in the books yet.</p>', "No category is in the books yet.")
    figures = tuple(figure for one in decisions for figure in decision_figures(study, one))
    parts, lines = [], []
    for verdict in VERDICTS:
        mine = [one for one in decisions if one.verdict == verdict]
        if not mine:
            continue
        head = f"{verdict.capitalize()} ({len(mine)})"
        if verdict == TOO_FEW:
            named = [f"{one.category} ({_bought(one)})" for one in mine[:_NAMED]]
            more = [f"{len(mine) - _NAMED:,} more"] if len(mine) > _NAMED else []
            text = ", ".join([*named, *more]) + "."
            parts.append(f"<h3>{escape(head)}</h3><p>{escape(text)}</p>")
            lines += [head, f"  {text}"]
            continue
        reasons = [(one.category, verdict_reason(study, one)) for one in mine]
        items = "".join(f"<li><strong>{escape(name)}</strong>: {escape(why)}</li>" for name, why in reasons)
        parts.append(f"<h3>{escape(head)}</h3><ul>{items}</ul>")
        lines += [head, *(f"  {name}: {why}" for name, why in reasons)]
    told = ""
    if any(one.verdict != TOO_FEW for one in decisions):
        told = " ".join(doubts(study))
        lead, bounds = _lead(study), _bounds(study)
        parts = [f"<p>{escape(lead)}</p>", *parts, f'<p class="note">{escape(bounds)}</p>']
        lines = [lead, *lines, bounds]
    if told:
        box = caution(told)
        parts, lines = [box.html, *parts], [box.text, *lines]
    return Element(f'<div class="verdicts">{"".join(parts)}</div>', "\n".join(lines), figures)


def _lead(study: Study) -> str:
    """What the figures of each line are, said once."""
    return (
        f"What each is worth paying for as you price now. What an hour likely earned, adjusted for small samples, is "
        f"that of {past_words(study)}."
    )


def _bounds(study: Study) -> str:
    """The bounds of the verdicts."""
    target = money_per_hour(study.target, currency=study.currency).removesuffix(".00")
    return (
        f"{BUY.capitalize()}: a chance of {LIKELY:.0%} or more to make {target} an hour, and {FEW_FINDS:.0%} or more "
        f"of your finds cheap enough. {LEAVE.capitalize()}: fewer cheap enough, and no price or a chance of "
        f"{UNLIKELY:.0%} or less. Prices are for the usual size, listed and marked down as you do now."
    )


def _bought(one: Decision) -> str:
    return one.sentence.removeprefix(f"{TOO_FEW.capitalize()}: ").removesuffix(".")


def _chance(share: float) -> str:
    """A share as a percentage that never claims certainty."""
    if math.isnan(share):
        return "not known"
    return "under 1%" if share < 0.01 else "over 99%" if share > 0.99 else f"{share:.0%}"
