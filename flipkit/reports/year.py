"""The year so far, tidied for a preparer."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from flipkit.analysis.returns import in_window
from flipkit.analysis.stock import goods_flow
from flipkit.books.read import books_as_of
from flipkit.economics.items import MONEY_LINES
from flipkit.money import show_cents
from flipkit.reports.elements import Element, caution, table
from flipkit.reports.partners import worked
from flipkit.reports.sentences import count_of
from flipkit.reports.study import Study, currency_unit, rows_within, within, year_window
from flipkit.reports.tables import words
from flipkit.rules.mileage import mileage_cents

#: Lines of the usual form for a business of one owner, part on the cost of goods, by number.
GOODS_LINES = {
    "35": "stock at the beginning of the year",
    "36": "purchases, less what you kept for yourself",
    "37": "cost of labor",
    "38": "materials and supplies that are part of the goods",
    "39": "other costs",
    "40": "together",
    "41": "stock at the end of the span",
    "42": "cost of goods sold",
}
#: Lines of the sales that follow the day of the sale.
_SALE_LINES = {line.name: line.year for line in MONEY_LINES if line.year}


def year_goods(study: Study) -> dict[str, int]:
    """Stock, purchases and cost of goods of the year so far, as ``goods_flow`` gives them."""
    items = study.items.assign(gone_how=books_as_of(study.books, study.as_of).items["gone_how"].to_numpy())
    return goods_flow(items, window=year_window(study))


def year_sentence(study: Study) -> tuple[str, str]:
    """What was taken in and what the goods sold had cost.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    tuple of (str, str)
        The sentence and the note below it.
    """
    first, last = year_window(study)
    sold = in_window(study.items, window=(first, last), basis="sold")
    goods = year_goods(study)

    def shown(cents: int) -> str:
        return show_cents(cents, currency=study.currency)

    span = f"From {first.isoformat()} to {last.isoformat()}"
    stock = f"Stock at cost: {shown(goods['opening'])} at the beginning, {shown(goods['closing'])} at the end."
    if sold.empty:
        return f"{span} nothing sold.", stock
    taken = int((sold["sold_price_cents"] + sold["shipping_charged_cents"]).sum())
    return (
        f"{span} {count_of(len(sold), 'sale')} took in {shown(taken)}; the goods that sold had cost "
        f"{shown(goods['sold'])}.",
        f"{stock} Each item counts at its own cost.",
    )


def goods_table(study: Study) -> Element:
    """Cost of goods sold by specific identification, line by line.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page.
    """
    goods = year_goods(study)
    bought = goods["purchases"] - goods["kept"]
    # What was donated or thrown away has left the stock: it is neither there nor sold, and so in line 42.
    amounts = {
        "35": goods["opening"],
        "36": bought,
        "37": 0,
        "38": 0,
        "39": 0,
        "40": goods["opening"] + bought,
        "41": goods["closing"],
        "42": goods["opening"] + bought - goods["closing"],
    }
    rows: list[tuple[str, str, int]] = [(line, name, amounts[line]) for line, name in GOODS_LINES.items()]
    rows += [
        ("", "of line 42: the items that sold, each at its own cost", goods["sold"]),
        ("", "of line 42: items donated or thrown away", goods["given"]),
    ]
    frame = pd.DataFrame(rows, columns=["line", "what", "amount_cents"])
    headings = {"line": "Line", "what": "What", "amount_cents": f"Amount ({currency_unit(study)})"}
    return table(frame, caption="Cost of goods", headings=headings, currency=study.currency)


def income_table(study: Study) -> Element:
    """What the sales took in and what they and the shop cost, beside the goods.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page.
    """
    window = year_window(study)
    sold = in_window(study.items, window=window, basis="sold")
    books = books_as_of(study.books, study.as_of)
    came_back = study.items["returned_on"].fillna(study.items["sold_on"])
    refunded = study.items.loc[within(came_back, window)]
    trips, supplies, overheads = (
        rows_within(getattr(books, name), day, window)
        for name, day in (("trips", "date"), ("supplies", "date"), ("overheads", "month"))
    )
    rows: list[tuple[str, int, float]] = [
        ("sold prices", int(sold["sold_price_cents"].sum()), 1.0),
        ("shipping charged to buyers", int(sold["shipping_charged_cents"].sum()), 1.0),
        ("refunds", -int(refunded["refund_cents"].sum()), _recorded(refunded, "refund")),
        *(
            (name, -int(sold[f"{line}_cents"].sum()), _recorded(sold, line))
            for line, name in _SALE_LINES.items()
            if sold[f"{line}_cents"].any()
        ),
        ("packing supplies bought", -_sum(supplies, "cost_cents"), 1.0),
        ("hired help, payroll taxes included", -int(worked(study, books, window)["paid_cents"].sum()), 1.0),
        (f"{_distances(study).lower()} driven to buy, at the dated rates", -int(_driven(study, trips).sum()), 0.0),
        ("parking, tolls and entry", -_sum(trips, "parking_cents") - _sum(trips, "entry_cents"), 1.0),
        ("overheads", -_sum(overheads, "amount_cents"), 1.0),
    ]
    frame = pd.DataFrame(rows, columns=["what", "amount_cents", "recorded"])
    headings = {
        "what": "What",
        "amount_cents": f"Amount ({currency_unit(study)})",
        "recorded": "Of it recorded in the books",
    }
    formats = {"recorded": lambda share: f"{share:.0%}"}
    return table(
        frame, caption="Money in and out beside the goods", headings=headings, formats=formats, currency=study.currency
    )


def mileage_table(study: Study) -> Element:
    """Miles driven to buy at each rate that was in force.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page; words where nothing was driven.
    """
    trips = rows_within(books_as_of(study.books, study.as_of).trips, "date", year_window(study))
    trips = trips[trips["miles"].fillna(0) > 0] if len(trips) else trips
    if trips.empty:
        return words(f"The books hold no {_distances(study).lower()} in this span.")
    rates = study.rules.mileage
    block = rates.index_at(trips["date"].to_numpy().astype("datetime64[D]"))
    frame = pd.DataFrame({"block": block, "miles": trips["miles"].to_numpy(), "cents": _driven(study, trips)})
    rows = [
        {
            "from": rates.blocks[at].starts.isoformat(),
            "rate": f"{rates.blocks[at].tenth_cents / 10:.1f}",
            "unit": rates.blocks[at].unit,
            "trips": len(group),
            "miles": float(study.measures.distances_of(group["miles"].sum())),
            "amount_cents": int(group["cents"].sum()),
            "seen": rates.blocks[at].seen,
        }
        for at, group in frame.groupby("block")
    ]
    headings = {
        "from": "Rate in force from",
        "rate": f"Cents a {' or '.join(sorted({row['unit'] for row in rows}))}",
        "trips": "Trips",
        "miles": _distances(study),
        "amount_cents": f"Amount ({currency_unit(study)})",
        "seen": "How the rate is known",
    }
    formats = {"miles": lambda miles: f"{miles:,.1f}"}
    caption = f"{_distances(study)} driven to buy"
    return table(pd.DataFrame(rows), caption=caption, headings=headings, formats=formats, currency=study.currency)


def preparer_caution() -> Element:
    """That the page is a summary and no advice.

    Returns
    -------
    Element
        For a page.

    Examples
    --------
    >>> "not tax advice" in preparer_caution().text
    True
    """
    return caution(
        "A tidy summary of the books for a licensed preparer, not tax advice. The numbers of the "
        "lines are those of the form for 2025 as this kit knows it: check them against the form of the year. "
        "Whether goods donated or thrown away belong in line 42 is for the preparer to say.",
        title="For a preparer",
    )


def _driven(study: Study, trips: pd.DataFrame) -> np.ndarray[Any, np.dtype[np.int64]]:
    if trips.empty:
        return np.zeros(0, dtype=np.int64)
    days = trips["date"].to_numpy().astype("datetime64[D]")
    return np.asarray(mileage_cents(study.rules.mileage, on=days, miles=trips["miles"].fillna(0).to_numpy()))


def _distances(study: Study) -> str:
    return "Kilometers" if study.measures.metric else "Miles"


def _recorded(items: pd.DataFrame, line: str) -> float:
    cents = items[f"{line}_cents"].abs()
    known = cents[items[f"{line}_origin"] == "recorded"].sum()
    return float(known / cents.sum()) if cents.sum() else 1.0


def _sum(frame: pd.DataFrame, column: str) -> int:
    return int(frame[column].fillna(0).sum()) if len(frame) else 0
