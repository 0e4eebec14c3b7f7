"""Buy more, buy only under a price, stop: each category with its reason in words, in one compact list."""

from __future__ import annotations

from collections.abc import Hashable
from html import escape
from typing import Any

import pandas as pd

from flipkit.analysis.decisions import BUY_MORE, FEW_FINDS, STOP, UNDER_A_PRICE, VERDICTS
from flipkit.analysis.returns import LIKELY, ONE_DECIDES, TOO_FEW, UNLIKELY
from flipkit.charts.style import hourly
from flipkit.money import show_cents
from flipkit.reports.elements import Element, caution
from flipkit.reports.sentences import count_of, doubts, money_per_hour, past_words
from flipkit.reports.study import Study

#: Categories too few to tell that are named; the rest are counted.
_NAMED = 12


def verdict_reason(study: Study, row: dict[Hashable, Any]) -> str:
    """Why a category is to be bought or not, in words made from its figures."""
    if row["verdict"] == TOO_FEW:
        bought = int(row["items"])
        trips = f" on {count_of(int(row['trips']), 'trip')}" if row["trips"] else ""
        seen = f"{bought:,} bought{trips}" if bought else "none bought in these months"
        return f"{seen}: {ONE_DECIDES}" if row.get("one_decides") else seen
    between = " to ".join(hourly(float(row[end]), currency=study.currency) for end in ("low", "high"))
    start = f"{_chance(float(row['beats_target']))}, likely {between}"
    sells, usual = _round(row["typical_cents"], study), _round(row["usual_cost_cents"], study)
    most = _whole(row["highest_cents"], study)
    if row["verdict"] == BUY_MORE:
        return f"{start}. Pay up to {most} for one that sells at {sells}."
    if row["verdict"] == UNDER_A_PRICE:
        if row["highest_cents"]:
            return f"{start}. At most {most} for one that sells at {sells}; you usually paid {usual}."
        if not pd.isna(row["sells_from_cents"]):
            dear = _round(row["sells_from_cents"], study)
            return f"{start}. Only what sells at {dear} or more bears the usual cost of {usual}."
        return f"{start}. No price was found low enough for one that sells at {sells}: only a rare exception."
    if row["highest_cents"]:
        share = "none" if not row["cheap_share"] else _chance(float(row["cheap_share"]))
        return f"{start}. Worth {most} at most if it sells at {sells}, and {share} of yours cost so little."
    if row["binding"] == "loss":
        return f"{start}. At any cost, the chance of a loss is over {study.knowledge['wishes']['loss_limit']:.0%}."
    if row["binding"] == "record":
        return f"{start}. By its record, not even free."
    return f"{start}. Not even free, if it sells at {sells}."


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
    frame = study.buying_verdicts
    parts, lines = [], []
    for verdict in VERDICTS:
        rows = frame[frame["verdict"] == verdict].to_dict("records")
        if not rows:
            continue
        head = f"{verdict.capitalize()} ({len(rows)})"
        if verdict == TOO_FEW:
            named = [f"{row['category']} ({verdict_reason(study, row)})" for row in rows[:_NAMED]]
            more = [f"{len(rows) - _NAMED:,} more"] if len(rows) > _NAMED else []
            text = ", ".join([*named, *more]) + "."
            parts.append(f"<h3>{escape(head)}</h3><p>{escape(text)}</p>")
            lines += [head, f"  {text}"]
            continue
        reasons = [(str(row["category"]), verdict_reason(study, row)) for row in rows]
        items = "".join(f"<li><strong>{escape(name)}</strong>: {escape(why)}</li>" for name, why in reasons)
        parts.append(f"<h3>{escape(head)}</h3><ul>{items}</ul>")
        lines += [head, *(f"  {name}: {why}" for name, why in reasons)]
    if not parts:
        return Element('<p class="wordless">No category is in the books yet.</p>', "No category is in the books yet.")
    told = ""
    if (frame["verdict"] != TOO_FEW).any():
        told = " ".join(doubts(study))
        lead, bounds = _lead(study), _bounds()
        parts = [f"<p>{escape(lead)}</p>", *parts, f'<p class="note">{escape(bounds)}</p>']
        lines = [lead, *lines, bounds]
    if told:
        box = caution(told)
        parts, lines = [box.html, *parts], [box.text, *lines]
    return Element(f'<div class="verdicts">{"".join(parts)}</div>', "\n".join(lines))


def _lead(study: Study) -> str:
    """What the figures of each line are, said once."""
    target = money_per_hour(study.target, currency=study.currency).removesuffix(".00")
    return (
        f"Each with its chance to beat {target} an hour, and what an hour likely earned, adjusted for small samples: "
        f"{past_words(study)}."
    )


def _bounds() -> str:
    """The bounds of the verdicts."""
    return (
        f"{BUY_MORE.capitalize()}: a chance of {LIKELY:.0%} or more, and {FEW_FINDS:.0%} of the finds or more cheap "
        f"enough. {STOP.capitalize()}: {UNLIKELY:.0%} or less, and fewer cheap enough. Prices are for the usual size "
        f"and venue; the pocket sheet has the others."
    )


def _chance(share: float) -> str:
    """A share as a percentage that never claims certainty."""
    return "under 1%" if share < 0.01 else "over 99%" if share > 0.99 else f"{share:.0%}"


def _whole(cents: float, study: Study) -> str:
    """Whole units of the currency, rounded down: a price not to be passed."""
    return show_cents(int(cents) // 100 * 100, currency=study.currency).removesuffix(".00")


def _round(cents: float, study: Study) -> str:
    return show_cents(round(float(cents) / 100) * 100, currency=study.currency).removesuffix(".00")
