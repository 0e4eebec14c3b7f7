"""Money against weeks: what hurrying a sale costs."""

from __future__ import annotations

from typing import Any

import flipkit.charts.quick_start  # noqa: F401  # isort: skip  # before altair opens jsonschema
import altair as alt
import pandas as pd

from flipkit.charts import style, theme
from flipkit.charts.renderer import described, wordless

_NEEDED = ("weeks", "money_cents", "list_price_cents", "sold_share", "chosen")


def plot_frontier(frame: pd.DataFrame, *, title: str, currency: str = "USD") -> alt.LayerChart | alt.Chart:
    """Expected money against expected weeks, the proposed path marked.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a path, from patient to hurried: ``weeks``, ``money_cents``, ``list_price_cents``,
        ``sold_share`` and ``chosen`` (true for the proposed one).
    title : str
        What stands above the chart.
    currency : str
        Code of the shop's currency.

    Returns
    -------
    alt.LayerChart or alt.Chart
        The chart; words alone where the frame has no row.

    Raises
    ------
    ChartError
        If a column is missing.

    Examples
    --------
    >>> rows = pd.DataFrame({"weeks": [20.0, 6.0], "money_cents": [4000.0, 3100.0],
    ...     "list_price_cents": [7500.0, 5200.0], "sold_share": [0.7, 0.9], "chosen": [True, False]})
    >>> plot_frontier(rows, title="Hurry").to_dict()["description"]
    'Proposed: listed at $75, $40 after 20 weeks. Most hurried: listed at $52, $31 after 6 weeks.'
    """
    style.require_columns(frame, list(_NEEDED), chart="plot_frontier")
    if frame.empty:
        return wordless("Nothing is held, so there is nothing to hurry.")
    rows: list[dict[str, Any]] = [
        {
            "weeks": float(row["weeks"]),
            "money": float(row["money_cents"]) / 100,
            "shown": style.money(float(row["list_price_cents"]), currency=currency),
            "sold": float(row["sold_share"]),
            "chosen": bool(row["chosen"]),
        }
        for row in frame.to_dict("records")
    ]
    base = alt.Chart(alt.Data(values=rows)).encode(
        x=alt.X("weeks:Q", title="expected weeks on sale", scale=alt.Scale(zero=True), axis=alt.Axis(grid=False)),
        y=alt.Y(
            "money:Q",
            title=None,
            scale=alt.Scale(zero=True),
            axis=alt.Axis(labelExpr=style.axis_money(currency, unit=1), tickCount=5),
        ),
        tooltip=[
            alt.Tooltip("weeks:Q", title="Weeks", format=",.1f"),
            alt.Tooltip("money:Q", title="Money", format=",.2f"),
            alt.Tooltip("shown:N", title="Listed at"),
            alt.Tooltip("sold:Q", title="Sells", format=".0%"),
        ],
    )
    line = base.mark_line(color=theme.color("unsure"))
    dots = base.mark_point(filled=True, size=50, opacity=1, color=theme.color("unsure"))
    chosen = base.transform_filter("datum.chosen").mark_point(
        filled=True, size=130, opacity=1, color=theme.color("above")
    )
    words = base.transform_filter("datum.chosen").mark_text(
        align="right", dx=-10, dy=-10, fontWeight="bold", color=theme.color("ink")
    )
    chart = alt.layer(line, dots, chosen, words.encode(text=alt.value("proposed"))).properties(
        width="container",
        height=240,
        title=alt.TitleParams(
            title,
            subtitle=["Expected money, the work of the sale taken off.", "Each dot: the best path of one patience."],
        ),
    )
    records = frame.to_dict("records")
    proposed = next((row for row in records if row["chosen"]), records[0])
    hurried = min(records, key=lambda row: float(row["weeks"]))
    reading = f"Proposed: {_words(proposed, currency)}. Most hurried: {_words(hurried, currency)}."
    numbers = [
        {
            "listed at": style.money(float(row["list_price_cents"]), currency=currency),
            "weeks": f"{float(row['weeks']):.1f}",
            "money": style.money(float(row["money_cents"]), currency=currency),
            "sells": f"{float(row['sold_share']):.0%}",
        }
        for row in records
    ]
    return described(chart, reading, numbers)


def _words(row: Any, currency: str) -> str:
    listed = style.money(float(row["list_price_cents"]), currency=currency)
    money = style.money(float(row["money_cents"]), currency=currency)
    return f"listed at {listed}, {money} after {float(row['weeks']):.0f} weeks"
