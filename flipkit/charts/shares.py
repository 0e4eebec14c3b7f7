"""Shares with their errors, against the share that they are meant to have."""

from __future__ import annotations

from typing import Any

import flipkit.charts.quick_start  # noqa: F401  # isort: skip  # before altair opens jsonschema
import altair as alt
import pandas as pd

from flipkit.charts import style, theme
from flipkit.charts.renderer import described, wordless

#: Height of a row, and of one more line of its name. [px]
_ROW, _LINE = 34, 14


def plot_shares(
    frame: pd.DataFrame, *, title: str, subtitle: str, meant: float | None = None
) -> alt.LayerChart | alt.Chart:
    """Shares as dots with bars of two standard errors, one row each.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a share, drawn from top to bottom: ``name``, ``share`` and ``error``, 0 to 1.
    title, subtitle : str
        What stands above the chart.
    meant : float, optional
        The share that all are meant to have, drawn as a line. [0 to 1]

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
    >>> rows = pd.DataFrame({"name": ["sold basis"], "share": [0.94], "error": [0.01]})
    >>> plot_shares(rows, title="Held", subtitle="", meant=0.95).to_dict()["description"]
    'Sold basis: 94% (give or take 2%).'
    """
    style.require_columns(frame, ["name", "share", "error"], chart="plot_shares")
    if frame.empty:
        return wordless("Nothing has been measured.")
    names = style.distinct_labels([str(name) for name in frame["name"]])
    rows: list[dict[str, Any]] = [
        {
            "name": name,
            "share": float(row["share"]),
            "low": max(float(row["share"] - 2 * row["error"]), 0.0),
            "high": min(float(row["share"] + 2 * row["error"]), 1.0),
            "text": f"{row['share']:.0%}",
        }
        for name, row in zip(names, frame.to_dict("records"), strict=True)
    ]
    tall = _ROW + _LINE * max(max(name.count("\n") for name in names) - 1, 0)
    floor = max(min(row["low"] for row in rows) - 0.05, 0.0)
    base = alt.Chart(alt.Data(values=rows)).encode(
        y=alt.Y("name:N", sort=[row["name"] for row in rows], title=None, axis=alt.Axis(**style.row_axis()))
    )
    scale = alt.Scale(domain=[min(floor, (meant or 1.0) - 0.05), 1.0], nice=True)
    axis = alt.Axis(format="%", title=None, tickCount=5)
    bars = base.mark_rule(strokeWidth=4, strokeOpacity=0.35, color=theme.color("above")).encode(
        x=alt.X("low:Q", scale=scale, axis=axis), x2="high:Q"
    )
    dots = base.mark_point(filled=True, size=70, opacity=1, color=theme.color("above")).encode(x="share:Q")
    words = base.mark_text(dy=-12, fontWeight="bold", color=theme.color("ink")).encode(x="share:Q", text="text:N")
    layers = [bars, dots, words]
    if meant is not None:
        line = alt.Chart(alt.Data(values=[{"meant": meant}])).mark_rule(color=theme.color("ink"))
        layers.insert(0, line.encode(x=alt.X("meant:Q", scale=scale, axis=axis)))
    chart = alt.layer(*layers).properties(
        width="container", height=tall * len(rows), title=alt.TitleParams(title, subtitle=subtitle)
    )
    reading = "; ".join(f"{row['name']}: {row['share']:.0%} ({_doubt(row)})" for row in _records(frame))
    numbers = [
        {"": row["name"], "share": f"{row['share']:.1%}", "standard error": f"{row['error']:.1%}"}
        for row in _records(frame)
    ]
    return described(chart, f"{reading[:1].upper()}{reading[1:]}.", numbers)


def _doubt(row: dict[str, Any]) -> str:
    """How far the share is known; a share of all has no error that could be measured."""
    return "no miss seen" if row["share"] == 1 and not row["error"] else f"give or take {2 * row['error']:.0%}"


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(key): value for key, value in row.items()} for row in frame.to_dict("records")]
