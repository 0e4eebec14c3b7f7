"""Which assumption a figure hangs on: one bar an assumption, from its low to its high."""

from __future__ import annotations

from typing import Any

import flipkit.charts.quick_start  # noqa: F401  # isort: skip  # before altair opens jsonschema
import altair as alt
import pandas as pd

from flipkit.charts import style, theme
from flipkit.charts.renderer import described, wordless

_NEEDED = ("name", "at_low", "at_high")
_ROW = 40


def plot_tornado(
    frame: pd.DataFrame, *, middle: float, title: str, subtitle: str, target: float | None = None, currency: str = "USD"
) -> alt.LayerChart | alt.Chart:
    """An hourly return with each assumption moved alone, the widest bar first.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row an assumption, drawn from top to bottom: ``name``, ``at_low`` and ``at_high``, the
        return with it at its low and at its high. [dollars per hour]
    middle : float
        The return with nothing moved. [dollars per hour]
    title, subtitle : str
        What stands above the chart.
    target : float, optional
        What an hour should bring, drawn as a line. [dollars per hour]
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
    >>> rows = pd.DataFrame({"name": ["minutes of packing"], "at_low": [18.0], "at_high": [15.5]})
    >>> plot_tornado(rows, middle=16.8, title="What if", subtitle="").to_dict()["description"]
    'With nothing moved $17. Minutes of packing: $18 at the low, $16 at the high.'
    """
    style.require_columns(frame, list(_NEEDED), chart="plot_tornado")
    if frame.empty:
        return wordless("No assumption moves the figure.")
    records = [{str(key): value for key, value in row.items()} for row in frame.to_dict("records")]
    order = style.distinct_labels([str(row["name"]) for row in records])
    rows: list[dict[str, Any]] = []
    for label, row in zip(order, records, strict=True):
        for end, word in (("at_low", "low"), ("at_high", "high")):
            better = float(row[end]) >= middle
            rows.append(
                {
                    "name": label,
                    "from": middle,
                    "to": float(row[end]),
                    "end": f"{word}: {style.hourly(float(row[end]), currency=currency)}",
                    "tone": "better" if better else "worse",
                }
            )
    ends = [row["to"] for row in rows] + [middle] + ([target] if target is not None else [])
    reach = (max(ends) - min(ends)) * 0.08 or 1.0
    scale = alt.Scale(domain=[min(ends) - reach, max(ends) + reach], nice=False)
    axis = alt.Axis(labelExpr=style.axis_money(currency, unit=1), title="an hour", tickCount=5)
    bars = (
        alt.Chart(alt.Data(values=rows))
        .mark_bar(height=14)
        .encode(
            x=alt.X("from:Q", scale=scale, axis=axis),
            x2="to:Q",
            y=alt.Y("name:N", sort=order, title=None, axis=alt.Axis(**style.row_axis())),
            color=alt.Color(
                "tone:N",
                scale=alt.Scale(domain=["better", "worse"], range=[theme.color("above"), theme.color("below")]),
                legend=alt.Legend(orient="top", title=None),
            ),
            tooltip=[alt.Tooltip("name:N", title="Moved"), alt.Tooltip("end:N", title="At its")],
        )
    )
    marks: list[Any] = [bars, _line(middle, scale, axis, "ink", [1, 0])]
    if target is not None:
        marks.append(_line(target, scale, axis, "quiet", [4, 3]))
    chart = alt.layer(*marks).properties(
        width="container", height=_ROW * len(order), title=alt.TitleParams(title, subtitle=subtitle)
    )
    parts = [
        f"{row['name']}: {style.hourly(float(row['at_low']), currency=currency)} at the low, "
        f"{style.hourly(float(row['at_high']), currency=currency)} at the high"
        for row in records
    ]
    reading = f"With nothing moved {style.hourly(middle, currency=currency)}. " + " ".join(
        f"{part[:1].upper()}{part[1:]}." for part in parts
    )
    numbers = [
        {
            "moved": str(row["name"]),
            "at its low": f"{float(row['at_low']):.2f}".replace("-", "−"),
            "at its high": f"{float(row['at_high']):.2f}".replace("-", "−"),
        }
        for row in records
    ]
    return described(chart, reading, numbers)


def _line(at: float, scale: alt.Scale, axis: alt.Axis, role: str, dash: list[int]) -> alt.Chart:
    base = alt.Chart(alt.Data(values=[{"at": at}]))
    return base.mark_rule(color=theme.color(role), strokeDash=dash).encode(x=alt.X("at:Q", scale=scale, axis=axis))
