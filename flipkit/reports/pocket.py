"""The pocket sheet: the highest price by category, size class and expected sale price, on one small page."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flipkit.analysis.decisions import STOP
from flipkit.analysis.max_bid import SHOP, pocket_table
from flipkit.analysis.returns import TOO_FEW
from flipkit.charts.style import joined
from flipkit.money import show_cents
from flipkit.reports.elements import Element, table
from flipkit.reports.sentences import count_of
from flipkit.reports.study import Study
from flipkit.reports.tables import words

#: Where the sale prices of the sheet's columns stand among the shop's own.
_PLACES = (0.2, 0.4, 0.6, 0.8, 0.95)
#: Columns that a phone has room for.
_MOST_COLUMNS = 4
#: Steps to which they are rounded, from which price on. [cents]
_STEPS = ((0, 500), (5_000, 1_000), (20_000, 5_000))


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


def pocket_prices(study: Study) -> list[int]:
    """Sale prices for the sheet's columns: round ones, spread as the shop's own sales are."""
    sold = study.items.loc[study.items["sold_on"].notna(), "sold_price_cents"].to_numpy(dtype=np.float64)
    found = set()
    for price in np.quantile(sold, _PLACES) if sold.size else ():
        step = [step for begin, step in _STEPS if price >= begin][-1]
        found.add(max(round(price / step), 1) * step)
    return sorted(found)


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
    target = show_cents(int(wishes["target_cents"]), currency=study.currency)
    return (
        f"Pay no more than this, and an hour is expected to bring {target}, with a chance of loss of "
        f"{wishes['loss_limit']:.0%} at most."
    )


def pocket_sheet(study: Study) -> Element:
    """The highest price for each category and size class, by what like things sell for.

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
    found = _shown(study)
    prices = list(found["price_cents"].unique())
    needed = study.assumptions.whole("report.too_few_items")
    kinds = study.knowledge["categories"]
    rows = []
    for (category, size), part in found.groupby(["category", "size_class"], sort=False):
        mark = " *" if kinds[str(category)]["sold"] < needed else ""
        most = dict(zip(part["price_cents"], part["highest_cents"], strict=True))
        rows.append(
            {"thing": f"{category}, {size}{mark}"} | {str(price): _whole(most[price], study) for price in prices}
        )
    headings = {"thing": "Sells for"} | {str(price): _whole(price, study) for price in prices}
    shown = table(pd.DataFrame(rows), caption="Pay at most", headings=headings)
    # A phone is too narrow for the width that long names are given elsewhere: here they wrap.
    return Element(shown.html.replace('class="long"', 'class="medium"'), shown.text)


def pocket_note(study: Study) -> Element:
    """How to read the sheet, and which rows lean on the rest of the shop.

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
    needed = study.assumptions.whole("report.too_few_items")
    kinds = study.knowledge["categories"]
    few = [name for name, kind in kinds.items() if name != SHOP and kind["sold"] < needed]
    text = f"As of {study.as_of.isoformat()}. A dash: leave it."
    found = _shown(study)
    priced = found.loc[found["highest_cents"] >= 100, "category"].unique()
    verdicts = study.buying_verdicts
    stopped = [str(name) for name in verdicts.loc[verdicts["verdict"] == STOP, "category"] if name in priced]
    if stopped:
        text += (
            f" Of {joined(stopped)} the overview says stop: what you bought of them so far most likely missed your "
            f"target. A price here counts on the one find selling for what its column says."
        )
    if few:
        text += f" * {TOO_FEW}: fewer than {needed} sales of its own, so the whole shop's count beside them."
    return words(text)


def _shown(study: Study) -> pd.DataFrame:
    """The highest prices of the columns that the sheet shows."""
    prices = pocket_prices(study)
    found = pd.DataFrame(pocket_table(study.knowledge, prices_cents=prices))
    # A price at which nothing is worth buying needs no column; a phone has room for the dearest few.
    paying = [price for price in prices if (found.loc[found["price_cents"] == price, "highest_cents"] >= 100).any()]
    return found[found["price_cents"].isin((paying or prices)[-_MOST_COLUMNS:])]


def _whole(cents: int, study: Study) -> str:
    """Whole units of the currency, rounded down: a price not to be passed."""
    return "–" if cents < 100 else show_cents(int(cents) // 100 * 100, currency=study.currency)[: -len(".00")]
