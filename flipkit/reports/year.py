"""The year so far, tidied for a preparer."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flipkit.analysis.results import BOOK_LINES, driven_cents, rows_within, span_money, within
from flipkit.analysis.returns import in_window
from flipkit.analysis.stock import goods_flow
from flipkit.books.read import books_as_of
from flipkit.economics.items import MONEY_LINES
from flipkit.money import show_cents
from flipkit.reports.elements import Element, caution, table
from flipkit.reports.sentences import count_of, month_name, year_name
from flipkit.reports.study import Study, currency_unit
from flipkit.reports.tables import words

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
    how = study.books.items.set_index("item_id")["gone_how"].reindex(study.items["item_id"]).to_numpy()
    return goods_flow(study.items.assign(gone_how=how), window=study.year_so_far())


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
    first, last = study.year_so_far()
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
    window = study.year_so_far()
    sold = in_window(study.items, window=window, basis="sold")
    books = books_as_of(study.books, study.as_of)
    came_back = study.items["returned_on"].fillna(study.items["sold_on"])
    refunded = study.items.loc[within(came_back, window)]
    money = span_money(study.economics, books, study.rules, study.assumptions, window=window)
    driven = int(driven_cents(rows_within(books.trips, "date", window), study.rules).sum())
    rows: list[tuple[str, int, float]] = [
        ("sold prices", money["sold_price"], 1.0),
        ("shipping charged to buyers", money["shipping_charged"], 1.0),
        ("refunds", -money["refund"], _recorded(refunded, "refund")),
        ("marketplace fees given back with them", money["refunded_fee"], _recorded(refunded, "refunded_fee")),
        ("listing fees, of unsold things too", -money["listing_fee"], 0.0),
        *((name, -money[line], _recorded(sold, line)) for line, name in _SALE_LINES.items() if money[line]),
        ("packing supplies bought", -money["materials"], 1.0),
        ("hired help, payroll taxes included", -money["hired"], 1.0),
        (f"{_distances(study).lower()} driven to buy, at the dated rates", -driven, 0.0),
        ("parking, tolls and entry", driven - money["trip"], 1.0),
        ("overheads", -money["overhead"], 1.0),
        ("cost of goods sold, line 42 above", -money["cost"], 1.0),
    ]
    rows.append((BOOK_LINES, sum(cents for _, cents, _ in rows), float("nan")))
    frame = pd.DataFrame(rows, columns=["what", "amount_cents", "recorded"])
    headings = {
        "what": "What",
        "amount_cents": f"Amount ({currency_unit(study)})",
        "recorded": "Of it recorded in the books",
    }
    formats = {"recorded": lambda share: f"{share:.0%}"}
    return table(
        frame,
        caption="Money in and out, goods included",
        headings=headings,
        formats=formats,
        currency=study.currency,
        figures=[study.figure(BOOK_LINES, year_name(study), rows[-1][1])],
    )


def bridge_table(study: Study) -> Element:
    """From the net of the sales to the result, and from there to the lines of the books, step by step.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page: the month and the year so far side by side.
    """
    parts = {span: frame.set_index("step")["amount_cents"] for span, frame in study.bridges.items()}
    steps = list(dict.fromkeys(step for part in parts.values() for step in part.index if step != BOOK_LINES))
    frame = pd.DataFrame({"step": [*steps, BOOK_LINES]})
    for span, part in parts.items():
        frame[f"{span}_cents"] = part.reindex(frame["step"]).fillna(0).astype(np.int64).to_numpy()
    headings = {"step": "What", "month_cents": month_name(study.month), "year_cents": "Since the first of January"}
    note = (
        "The result counts a thing on the day that it sold or was written off, with all that it ever cost. The lines "
        "in the books count money on its own day, so what was paid for things still in stock stands between the two."
    )
    return table(frame, caption="From the sales to the result", headings=headings, note=note, currency=study.currency)


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
    trips = rows_within(books_as_of(study.books, study.as_of).trips, "date", study.year_so_far())
    trips = trips[trips["miles"].fillna(0) > 0] if len(trips) else trips
    if trips.empty:
        return words(f"The books hold no {_distances(study).lower()} in this span.")
    rates = study.rules.mileage
    block = rates.index_at(trips["date"].to_numpy().astype("datetime64[D]"))
    driven = driven_cents(trips, study.rules)
    frame = pd.DataFrame({"block": block, "miles": trips["miles"].to_numpy(), "cents": driven})
    frame["past"] = rates.past(trips["date"].to_numpy().astype("datetime64[D]"))
    rows = [
        {
            "from": rates.blocks[at].starts.isoformat(),
            "rate": f"{rates.blocks[at].tenth_cents / 10:.1f}",
            "unit": rates.blocks[at].unit,
            "trips": len(group),
            "miles": float(study.measures.distances_of(group["miles"].sum())),
            "amount_cents": int(group["cents"].sum()),
            "seen": f"assumed: it ended {rates.blocks[at].ends}" if past else rates.blocks[at].seen,
        }
        for (at, past), group in frame.groupby(["block", "past"])
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


def _distances(study: Study) -> str:
    return "Kilometers" if study.measures.metric else "Miles"


def _recorded(items: pd.DataFrame, line: str) -> float:
    cents = items[f"{line}_cents"].abs()
    known = cents[items[f"{line}_origin"] == "recorded"].sum()
    return float(known / cents.sum()) if cents.sum() else 1.0
