"""Tables of the ranking and the stock, as pages show them."""

from __future__ import annotations

import pandas as pd

from flipkit.analysis.stock import ageing_table, stock_table
from flipkit.money import show_cents
from flipkit.reports.elements import Element, table
from flipkit.reports.sentences import money_per_hour
from flipkit.reports.study import Study
from flipkit.reports.tables import words

#: Most items that a table of single items shows.
_MOST_ITEMS = 15


def ranking_table(study: Study) -> Element:
    """Categories by their chance of beating the target, raw and pulled towards the whole.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page.
    """
    headings = {
        "category": "Category",
        "beats_target": "Chance to beat the target",
        "verdict": "In words",
        "pulled": "Per hour, pulled",
        "raw": "raw",
        "weight": "Weight of the raw figure",
        "items": "Bought",
    }
    hourly = dict.fromkeys(("pulled", "raw"), lambda dollars: money_per_hour(float(dollars), currency=study.currency))
    formats = hourly | {"beats_target": _chance, "weight": lambda share: f"{share:.0%}"}
    frame = study.ranking.copy()
    # What is too few to tell gets no chance and no pulled figure that could be read as one.
    frame[["beats_target", "pulled"]] = frame[["beats_target", "pulled"]].where(frame["claimed"].astype(bool))
    return table(
        frame,
        caption="Bought basis, small groups pulled towards the whole",
        headings=headings,
        formats=formats,
        currency=study.currency,
    )


def turnover_table(study: Study) -> Element:
    """How each category's stock turned, and what its capital and its space earned.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page.
    """
    headings = {
        "category": "Category",
        "stock_items": "In stock",
        "stock_cost_cents": "At cost",
        "stock_cubic_ft": "Cubic feet",
        "sell_through": "Sell-through",
        "turnover": "Turns a year",
        "days_on_hand": "Days on hand",
        "gmroi": "GMROI",
        "capital_return": "Return on capital, a year",
        "net_per_cubic_ft_month": "Net per cubic-foot-month",
    }
    formats = {
        "stock_cubic_ft": lambda feet: f"{feet:,.0f}",
        "sell_through": lambda share: f"{share:.0%}",
        "turnover": lambda turns: f"{turns:.1f}",
        "days_on_hand": lambda days: "–" if days == float("inf") else f"{days:,.0f}",
        "gmroi": lambda ratio: f"{ratio:.2f}",
        "capital_return": lambda rate: f"{rate:,.0%}".replace("-", "−"),
        "net_per_cubic_ft_month": lambda dollars: show_cents(round(dollars * 100), currency=study.currency),
    }
    frame = stock_table(study.items, window=study.window(), as_of=study.as_of)
    return table(
        frame.sort_values("stock_cost_cents", ascending=False, kind="stable"),
        caption=f"Stock by category on {study.window()[1].isoformat()}, the most money first",
        headings=headings,
        formats=formats,
        currency=study.currency,
    )


def ages_table(study: Study) -> Element:
    """The stock by how long it has been held.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page.
    """
    frame = ageing_table(study.items, as_of=study.as_of, value_cents=study.prospects["value_cents"])
    frame["held"] = [
        f"over {int(begin) - 1} days" if pd.isna(end) else f"{int(begin)} to {int(end)} days"
        for begin, end in zip(frame["from_days"], frame["to_days"], strict=True)
    ]
    headings = {
        "held": "Held",
        "items": "Items",
        "cost_cents": "At cost",
        "cost_share": "of all",
        "cubic_ft": "Cubic feet",
        "list_price_cents": "At first list price",
        "may_bring_cents": "May still bring",
    }
    formats = {"cost_share": lambda share: f"{share:.0%}", "cubic_ft": lambda feet: f"{feet:,.0f}"}
    caption = f"Stock by age on {study.as_of.isoformat()}"
    return table(frame, caption=caption, headings=headings, formats=formats, currency=study.currency)


def waiting_table(study: Study) -> Element:
    """The unsold items with the most money in them, with their chance of selling.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page.
    """
    unsold = study.unsold_items()
    if unsold.empty:
        return words("Nothing is in stock.")
    columns = ["chance", "value_cents", "work_min"]
    frame = unsold.join(study.prospects.loc[unsold.index, columns])
    frame = frame.sort_values(["cost_cents", "item_id"], ascending=[False, True]).head(_MOST_ITEMS)
    headings = {
        "item_id": "Item",
        "title": "Title",
        "days_held": "Days held",
        "cost_cents": "Cost",
        "chance": f"Chance to sell in {study.horizon.days} days",
        "value_cents": "May still bring",
        "work_min": "Work still to do (min)",
    }
    formats = {"chance": _chance}
    caption = f"The {len(frame)} unsold items with the most money in them"
    return table(frame, caption=caption, headings=headings, formats=formats, currency=study.currency)


def _chance(chance: float) -> str:
    """A chance as a percentage that never claims certainty."""
    return "under 1%" if chance < 0.01 else "over 99%" if chance > 0.99 else f"{chance:.0%}"
