"""The pocket sheet: what to pay for each kind at its own low, usual and high price, on one small page."""

from __future__ import annotations

import pandas as pd

from flipkit.analysis.decisions import BUY, LEAVE, UNDER_A_PRICE, Decision
from flipkit.analysis.max_bid import PRICES, AisleRule, pocket_table
from flipkit.analysis.returns import TOO_FEW
from flipkit.charts.style import joined
from flipkit.money import show_cents
from flipkit.reports.elements import Element, Said, table
from flipkit.reports.sentences import count_of
from flipkit.reports.study import Study
from flipkit.reports.tables import words
from flipkit.reports.verdicts import decision_figures


def sales_known(study: Study) -> int:
    """Sales that the books hold, whenever they were."""
    return int(study.items["sold_on"].notna().sum())


def few_sales_sentence(study: Study) -> str:
    """Why the books cannot say what to pay or to ask; empty where they can."""
    sales, needed = sales_known(study), study.assumptions.whole("report.too_few_items")
    if sales >= needed:
        return ""
    return (
        f"{TOO_FEW.capitalize()}: {count_of(sales, 'sale')} in the books, and a price without at least {needed} of "
        f"them would be assumptions alone."
    )


def pocket_sentence(study: Study) -> str:
    """What the sheet is and what it promises.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    str
        One or two sentences.
    """
    few = few_sales_sentence(study)
    if few:
        return few
    wishes = study.knowledge["wishes"]
    target = show_cents(int(wishes["target_cents"]), currency=study.currency).removesuffix(".00")
    lost = show_cents(int(wishes.get("loss_from_cents", 0)), currency=study.currency).removesuffix(".00")
    return Said(
        f"Pay no more than this, list and mark down as you do now, and an hour should bring {target}. At most "
        f"{wishes['loss_limit']:.0%} of them lose {lost} or more.",
        (figure for one in _bought(study) for figure in decision_figures(study, one)),
    )


def pocket_sheet(study: Study) -> Element:
    """The highest price for each kind to buy, at its own low, usual and high price, and a rule for any other.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        A table that a phone shows whole.
    """
    if few_sales_sentence(study):
        return words("No sheet yet: it is made from sales.")
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
        rows.append({"thing": f"{category}, {size}{mark}", **pays, "rule": rule_words(study, part["rule"].iloc[0])})
    if not rows:
        return words("Nothing is worth buying at its usual prices.")
    headings = {
        "thing": "Sells for: pay at most",
        **{which: which.capitalize() for which in PRICES},
        "rule": "Any other",
    }
    figures = [figure for one in _bought(study) for figure in decision_figures(study, one)]
    shown = table(pd.DataFrame(rows), caption="Kinds to buy first", headings=headings, figures=figures)
    # A phone is too narrow for the width that long names are given elsewhere: here they wrap.
    return Element(shown.html.replace('class="long"', 'class="medium"'), shown.text, shown.figures)


def rule_words(study: Study, rule: AisleRule) -> str:
    """A kind's rule for the aisle, and how far it may be off where that is more than a dollar."""
    if not rule.share:
        return f"nothing under {_whole(rule.nothing_under_cents, study)}"
    less = f", less {_whole(rule.less_cents, study)}" if rule.less_cents > 0 else ""
    more = f", plus {_whole(-rule.less_cents, study)}" if rule.less_cents < 0 else ""
    under = f"; nothing under {_whole(rule.nothing_under_cents, study)}" if rule.nothing_under_cents else ""
    off = f" (within {_whole(rule.off_cents + 50, study)})" if rule.off_cents > 100 else ""
    return f"{rule.share:.0%} of what it sells for{less}{more}{under}{off}"


def pocket_note(study: Study) -> Element:
    """What to leave, how to read the sheet, and which rows lean on the rest of the shop.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        A paragraph.
    """
    if few_sales_sentence(study):
        return words(few_sales_sentence(study))
    leave = [one for one in study.decisions if one.verdict == LEAVE]
    never = [one.category for one in leave if one.sells_from_cents is None]
    dear = [
        f"{one.category} under {_whole(one.sells_from_cents, study)}"
        for one in leave
        if one.sells_from_cents is not None
    ]
    few = [one.category for one in study.decisions if one.verdict == TOO_FEW]
    parts = []
    if never or dear:
        parts.append(f"At what you usually pay, leave {joined([*never, *dear])}.")
    parts.append(f"As of {study.as_of.isoformat()}. A dash: leave it at that price. One in ten sold for less than low.")
    if few:
        needed = study.assumptions.whole("report.too_few_items")
        parts.append(f"* {TOO_FEW}: fewer than {needed} sales of its own, so the whole shop's count beside them.")
    figures = tuple(figure for one in leave for figure in decision_figures(study, one))
    shown = words(" ".join(parts))
    return Element(shown.html, shown.text, figures)


def _bought(study: Study) -> list[Decision]:
    """The decisions on what is to be bought."""
    return [one for one in study.decisions if one.verdict in (BUY, UNDER_A_PRICE)]


def _most(cents: int, study: Study) -> str:
    return "–" if cents < 100 else _whole(cents, study)


def _whole(cents: float, study: Study) -> str:
    """Whole units of the currency, rounded down: a price not to be passed."""
    return show_cents(int(cents) // 100 * 100, currency=study.currency).removesuffix(".00")
