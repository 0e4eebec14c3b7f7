"""Does help pay? The wage below which it raises the owner's hour, on both bases, in words and tables."""

from __future__ import annotations

import math

import pandas as pd

from flipkit.analysis.returns import TOO_FEW, wage_verdict
from flipkit.books.schema import ACTIVITIES
from flipkit.economics.hiring import help_table, wage_limit
from flipkit.money import show_cents
from flipkit.reports.elements import Element, table
from flipkit.reports.sentences import money_per_hour
from flipkit.reports.study import Study
from flipkit.reports.tables import words

_NO_HOURS = "Nothing sold in these months, so there is no hour to compare a wage with."


def wage_limits(study: Study) -> pd.DataFrame:
    """The wage below which help raises the owner's hour, on each basis, with its interval."""
    sold = study.shop_sales.loc["the window"]
    rows = []
    if sold["items"] and sold["owner_min"] > 0:
        held = study.assumptions
        terms = {"pace": held.number("help.pace"), "guidance": held.share("help.guidance")}
        for basis, row in [*(("bought", row) for _, row in study.shop_bought.iterrows()), ("sold", sold)]:
            limit, low, high = (
                wage_limit(float(row[name]), burden_ppm=held.ppm("help.burden"), **terms)
                for name in ("hourly", "low", "high")
            )
            claimed = bool(row["claimed"])
            verdict = wage_verdict(held.cents("help.wage") / 100, limit, low, high, claimed=claimed)
            rows.append((basis, float(row["hourly"]), limit, low, high, claimed, verdict))
    return pd.DataFrame(rows, columns=["basis", "hourly", "limit", "low", "high", "claimed", "verdict"])


def help_sentence(study: Study) -> tuple[str, str]:
    """Below which wage help raises the owner's hourly return, and what the assumed wage does.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    tuple of (str, str)
        The sentence, on bought basis where anything was bought; the note below it with the
        limit's interval and the other basis.
    """
    limits = wage_limits(study)
    if limits.empty:
        return _NO_HOURS, ""
    first, *others = limits.to_dict("records")
    wage = show_cents(study.assumptions.cents("help.wage"), currency=study.currency)
    if math.isnan(first["limit"]):
        sentence = f"On the {first['basis']} basis your own hour earned nothing in these months, so no wage pays."
    else:
        sentence = (
            f"On the {first['basis']} basis, help raises what your own hour earns below a wage of "
            f"{_wage(study, first['limit'])}; the assumed wage of {wage} {first['verdict']}."
        )
    note = [f"The limit's {_reach(study, first)}."] if first["claimed"] and not math.isnan(first["limit"]) else []
    note += [
        f"On the {other['basis']} basis the limit is {_wage(study, other['limit'])} "
        f"({_reach(study, other)}): the assumed wage {other['verdict']}."
        for other in others
    ]
    if first["basis"] == "bought":
        note.append("Decide by the bought basis: hours spent on what has not sold are your hours too.")
    return sentence, " ".join(note)


def limits_table(study: Study) -> Element:
    """The wage below which help raises the owner's hour, a row a basis.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page.
    """
    frame = wage_limits(study)
    if frame.empty:
        return words(_NO_HOURS)
    wage = show_cents(study.assumptions.cents("help.wage"), currency=study.currency)
    frame["interval"] = [_range(study, row) for row in frame.to_dict("records")]
    frame["counted"] = frame["basis"].map({"bought": "bought, unsold things too", "sold": "sold"})
    headings = {
        "counted": "Basis",
        "hourly": "Your hour",
        "limit": "Wage limit",
        "interval": f"{study.confidence:.0%} interval",
        "verdict": f"The assumed wage of {wage}",
    }
    formats = {
        "hourly": lambda dollars: money_per_hour(float(dollars), currency=study.currency),
        "limit": lambda dollars: _wage(study, float(dollars)),
    }
    # A missing limit is no unknown: no wage at all would do.
    frame["limit"] = frame["limit"].fillna(-math.inf)
    return table(
        frame, caption="Help pays below this wage", headings=headings, formats=formats, currency=study.currency
    )


def hiring_table(study: Study) -> Element:
    """For each activity, what handing it to paid help would do to the owner's hour.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page.
    """
    sold = study.sold_items()
    minutes = {activity: float(sold[f"{activity}_min"].sum()) for activity in ACTIVITIES}
    if not sum(minutes.values()):
        return words("Nothing sold in these months, so there are no hours to hand over.")
    frame = help_table(
        minutes,
        net_cents=int(sold["net_cents"].sum()),
        wage_cents=study.assumptions.cents("help.wage"),
        burden_ppm=study.assumptions.ppm("help.burden"),
        pace=study.assumptions.number("help.pace"),
        guidance=study.assumptions.share("help.guidance"),
    )
    headings = {
        "activity": "Activity",
        "owner_hours": "Your hours",
        "hours_freed": "freed",
        "hired_cents": "Help would cost",
        "must_earn": "A freed hour must earn",
        "hourly_then": "Your hour then, sold basis",
    }
    limits = wage_limits(study)
    for basis, limit in zip(limits["basis"], limits["limit"], strict=True):
        headings[f"limit_{basis}"] = f"Pays below, {basis} basis"
        frame[f"limit_{basis}"] = -math.inf if math.isnan(limit) else limit
    names = ("hourly_then", "must_earn")
    formats = dict.fromkeys(names, lambda dollars: money_per_hour(float(dollars), currency=study.currency))
    formats |= dict.fromkeys(("limit_bought", "limit_sold"), lambda dollars: _wage(study, float(dollars)))
    formats |= dict.fromkeys(("owner_hours", "hours_freed"), lambda hours: f"{hours:,.0f}")
    return table(
        frame,
        caption="Handing an activity over entirely, over the sales of the window",
        headings=headings,
        formats=formats,
        currency=study.currency,
    )


def _wage(study: Study, dollars: float) -> str:
    return money_per_hour(dollars, currency=study.currency) if math.isfinite(dollars) else "no wage"


def _range(study: Study, row: dict[str, object]) -> str:
    low, high = (_wage(study, float(str(row[end]))) for end in ("low", "high"))
    if not row["claimed"]:
        return TOO_FEW
    return low if low == high else f"{low} to {high}"


def _reach(study: Study, row: dict[str, object]) -> str:
    return f"{study.confidence:.0%} interval {_range(study, row)}" if row["claimed"] else TOO_FEW
