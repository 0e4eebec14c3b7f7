"""From gross to net: every line that was added or taken, one under another."""

from __future__ import annotations

from typing import Any

import flipkit.charts.quick_start  # noqa: F401  # isort: skip  # before altair opens jsonschema
import altair as alt
import pandas as pd

from flipkit.charts import style, theme
from flipkit.charts.renderer import described, wordless
from flipkit.errors import ChartError
from flipkit.money import show_cents

_ROW = 27


def plot_waterfall(
    frame: pd.DataFrame,
    *,
    title: str = "From the price to what is left",
    per_item: bool = False,
    nothing: str = "No money has moved.",
    currency: str = "USD",
) -> alt.LayerChart | alt.Chart:
    """The lines from gross to net as bars, each beginning where the line above it ends.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a line in order, the last one the net: ``line``, ``amount_cents`` (costs negative) and,
        if ``per_item``, ``per_item_cents``. The lines must add up to the net. Lines of zero are not
        drawn; the table of numbers has them.
    title : str
        What stands above the chart.
    per_item : bool
        Whether the figures at the right are per item instead of in all.
    nothing : str
        What is said where every line is zero.
    currency : str
        Code of the shop's currency.

    Returns
    -------
    alt.LayerChart or alt.Chart
        The chart; words alone where every line is zero.

    Raises
    ------
    ChartError
        If a column is missing or the lines do not add up to the net, cent for cent.

    Examples
    --------
    >>> rows = pd.DataFrame({"line": ["sold price", "labels", "net"], "amount_cents": [5000, -1250, 3750]})
    >>> plot_waterfall(rows).to_dict()["description"]
    'Of $50.00 sold price, labels took $12.50; $37.50 is left.'
    """
    style.require_columns(
        frame, ["line", "amount_cents", *(["per_item_cents"] if per_item else [])], chart="plot_waterfall"
    )
    rows = _placed(frame)
    drawn = [row for row in rows if row["amount"] != 0 or row["kind"] == "net"]
    if len(drawn) < 2:
        return wordless(nothing)
    figures = dict(zip(frame["line"], frame["per_item_cents"], strict=True)) if per_item else {}
    for row, label in zip(drawn, style.distinct_labels([row["line"] for row in drawn], 21), strict=True):
        row["row"] = label
    order = [row["row"] for row in drawn]
    texts = {row["row"]: _figure(row, figures, currency) for row in drawn}
    base = alt.Chart(alt.Data(values=drawn))
    scale = alt.Scale(domain=order, paddingInner=0.3)

    def y(axis: dict[str, Any] | None) -> alt.Y:
        return alt.Y("row:N", sort=order, title=None, scale=scale, axis=None if axis is None else alt.Axis(**axis))

    x = alt.X(
        "start:Q",
        # The figures at the right are of one item, the bars of all.
        title="all sales together" if per_item else None,
        axis=alt.Axis(labelExpr=style.axis_money(currency, unit=100), tickCount=4, grid=True),
        scale=alt.Scale(zero=True),
    )
    color = alt.Color(
        "role:N",
        legend=None,
        scale=alt.Scale(domain=["above", "below"], range=[theme.color("above"), theme.color("below")]),
    )
    tooltip = [alt.Tooltip("line:N", title="Line"), alt.Tooltip("shown:N", title="Amount")]
    bars = base.mark_bar().encode(x=x, x2="end:Q", y=y(style.row_axis()), color=color, tooltip=tooltip)
    zero = alt.Chart(alt.Data(values=[{"start": 0}])).mark_rule(color=theme.color("ink"), strokeWidth=1)
    heading = "per item" if per_item else "in all"
    ends = base.mark_point(opacity=0, size=1).encode(
        x=alt.X("start:Q", axis=None), y=y(style.end_axis(texts, heading, labelColor=theme.color("ink")))
    )
    chart = alt.layer(bars, zero.encode(x=alt.X("start:Q", axis=None)), ends)
    chart = chart.resolve_axis(x="independent", y="independent")
    chart = chart.properties(width="container", height=_ROW * len(drawn), title=title[:1].upper() + title[1:])
    return described(chart, _reading(rows, currency), [_numbers(row, figures, currency) for row in rows])


def _placed(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Where each bar begins and ends; the net's bar begins at nothing."""
    rows: list[dict[str, Any]] = []
    reached = 0
    last = len(frame) - 1
    for k, (line, amount) in enumerate(zip(frame["line"], frame["amount_cents"], strict=True)):
        cents = int(amount)
        net = k == last
        if net and cents != reached:
            raise ChartError(
                "the net of plot_waterfall",
                need="the sum of the lines above it",
                got=cents,
                where=f"the lines add up to {reached} cents",
            )
        start = 0 if net else reached
        reached = cents if net else reached + cents
        rows.append(
            {
                "line": str(line),
                "amount": cents,
                "start": start,
                "end": reached,
                "kind": "net" if net else "line",
                "role": "above" if cents >= 0 else "below",
                "shown": show_cents(cents),
            }
        )
    return rows


def _figure(row: dict[str, Any], figures: dict[str, float], currency: str) -> str:
    """What stands at a row's end: small amounts per item to the cent, sums in whole units."""
    if not figures:
        return style.money(row["amount"], currency=currency)
    each = style.plain(figures[row["line"]])
    return "–" if each is None else show_cents(round(float(each)), currency=currency)


def _reading(rows: list[dict[str, Any]], currency: str) -> str:
    def shown(cents: int) -> str:
        return show_cents(abs(cents), currency=currency)

    gains = [f"{shown(row['amount'])} {row['line']}" for row in rows[:-1] if row["amount"] > 0]
    costs = sorted((row for row in rows[:-1] if row["amount"] < 0), key=lambda row: row["amount"])
    taken = [f"{row['line']} took {shown(row['amount'])}" for row in costs]
    net = rows[-1]["amount"]
    left = f"{shown(net)} is left" if net >= 0 else f"the loss is {shown(net)}"
    head = f"Of {style.joined(gains)}, " if gains else ""
    text = f"{head}{style.joined(taken) or 'nothing was taken'}; {left}."
    return text[0].upper() + text[1:]


def _numbers(row: dict[str, Any], figures: dict[str, float], currency: str) -> dict[str, str]:
    mark = style.currency_mark(currency)
    numbers = {
        "Line": row["line"].capitalize(),
        f"In all ({mark.strip()})": show_cents(row["amount"], currency=currency).replace(mark, ""),
    }
    if figures:
        numbers[f"Per item ({mark.strip()})"] = _figure(row, figures, currency).replace(mark, "")
    return numbers
