"""How long things wait: the share still unsold after so many days."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import flipkit.charts.quick_start  # noqa: F401  # isort: skip  # before altair opens jsonschema
import altair as alt
import pandas as pd

from flipkit.charts import style as chart_style
from flipkit.charts import theme
from flipkit.charts.renderer import described, wordless
from flipkit.errors import ChartError

_MOST_GROUPS = 4
#: Days at which words and tables say how things stood.
_MARKS = (7, 14, 30, 60, 90, 120, 180, 270, 365, 540, 730)
_SAID = (30, 90, 180, 365)


def plot_days_listed(
    frame: pd.DataFrame, *, group: str | None = None, medians: Mapping[str, float] | None = None
) -> alt.LayerChart | alt.Chart:
    """Share still unsold by days listed, unsold items counted, with the band in which it likely lies.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a number of days: ``days``, ``unsold_share``, ``low``, ``high`` (shares, the band missing
        where it is not known), ``at_risk`` (items that had waited so long), as ``survival_table`` gives it;
        and the column named by ``group``.
    group : str, optional
        Column that names up to four groups to be drawn together.
    medians : mapping of str to float, optional
        Days by which half have sold, by group (or by ``""`` without groups); missing or NaN where that
        is not reached.

    Returns
    -------
    alt.LayerChart or alt.Chart
        The chart; words alone where the frame has no row.

    Raises
    ------
    ChartError
        If a column is missing or there are more than four groups.

    Examples
    --------
    >>> rows = pd.DataFrame({"days": [5, 8, 12], "unsold_share": [0.75, 0.5, 0.5], "low": [0.4, 0.2, 0.2],
    ...     "high": [1.0, 1.0, 1.0], "at_risk": [4, 3, 1]})
    >>> plot_days_listed(rows, medians={"": 8.0}).to_dict()["description"]
    'Of 4 items listed, half had sold after 8 days. Still unsold: 75% after 7 days.'
    """
    needed = ["days", "unsold_share", "low", "high", "at_risk", *([group] if group else [])]
    chart_style.require_columns(frame, needed, chart="plot_days_listed")
    if frame.empty:
        return wordless("Nothing has been listed yet.")
    names = list(dict.fromkeys(frame[group].astype(str))) if group else [""]
    if len(names) > _MOST_GROUPS:
        raise ChartError(group or "group", need=f"at most {_MOST_GROUPS} groups in one picture", got=len(names))
    rows = [
        row
        for name in names
        for row in _steps(frame if group is None else frame[frame[group].astype(str) == name], name)
    ]
    chart = _drawing(rows, names, {name: _median(medians, name) for name in names})
    chart = chart.properties(
        width="container",
        height=280,
        title=alt.TitleParams(
            "How long things wait", subtitle="Share still unsold. Pale: where the true share likely lies."
        ),
    )
    reading = " ".join(_sentence(rows, name, _median(medians, name)) for name in names)
    marked = [row for name in names for row in _at_marks([row for row in rows if row["group"] == name])]
    return described(chart, reading, [_numbers(row, group) for row in marked])


def _steps(part: pd.DataFrame, name: str) -> list[dict[str, Any]]:
    """The rows of one group, begun at day 0, when nothing has sold."""
    first = {
        "group": name,
        "days": 0.0,
        "unsold": 1.0,
        "low": 1.0,
        "high": 1.0,
        "at_risk": int(part["at_risk"].iloc[0]),
    }
    rest: list[dict[str, Any]] = [
        {
            "group": name,
            "days": float(row["days"]),
            "unsold": float(row["unsold_share"]),
            "low": chart_style.plain(row["low"]),
            "high": chart_style.plain(row["high"]),
            "at_risk": int(row["at_risk"]),
        }
        for row in part.to_dict("records")
    ]
    return [first, *(row for row in rest if row["days"] > 0)]


def _drawing(rows: list[dict[str, Any]], names: list[str], medians: dict[str, float | None]) -> alt.LayerChart:
    several = len(names) > 1
    colors = [theme.color(f"series_{k + 1}") for k in range(len(names))] if several else [theme.color("above")]
    legend = alt.Legend(orient="top", title=None, symbolOpacity=1) if several else None
    color = alt.Color("group:N", scale=alt.Scale(domain=names, range=colors), legend=legend)
    x = alt.X("days:Q", title="days since first listed", axis=alt.Axis(grid=False, tickCount=6))
    shares = alt.Axis(labelExpr="format(datum.value * 100, '.0f') + '%'", values=[0, 0.25, 0.5, 0.75, 1], grid=True)
    y = alt.Y("unsold:Q", title=None, axis=shares, scale=alt.Scale(domain=[0, 1]))
    base = alt.Chart(alt.Data(values=rows))
    band = base.mark_area(interpolate="step-after", opacity=0.15, line=False).encode(
        x=x, y=alt.Y("low:Q", axis=shares, title=None), y2="high:Q", color=color
    )
    line = base.mark_line(interpolate="step-after").encode(
        x=x,
        y=y,
        color=color,
        tooltip=[
            alt.Tooltip("days:Q", title="Days", format=",.0f"),
            alt.Tooltip("unsold:Q", title="Unsold", format=".0%"),
            alt.Tooltip("at_risk:Q", title="Items that waited so long"),
        ],
    )
    known = [
        {"group": name, "days": days, "unsold": 0.5, "text": f"half sold after {days:,.0f} days"}
        for name, days in medians.items()
        if days is not None
    ]
    layers: list[Any] = [band, line]
    if known:
        marks = alt.Chart(alt.Data(values=known))
        layers.append(marks.mark_point(filled=True, opacity=1, size=90).encode(x=x, y=y, color=color))
        if not several:
            # The curve falls: there is room above it to the right, or below it to the left.
            early = known[0]["days"] < 0.45 * max(row["days"] for row in rows)
            place = {"align": "left", "dx": 9, "dy": -9} if early else {"align": "right", "dx": -9, "dy": 14}
            look: dict[str, Any] = {**place, "fontWeight": 600}
            # A halo keeps the words clear of the lines behind them.
            styles = [{**look, **theme.HALO}, look]
            layers += [marks.mark_text(**style).encode(x=x, y=y, text="text:N") for style in styles]
    return alt.LayerChart(layer=layers)


def _at_marks(own: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """How one group stood at the marks that its days reach, for words and tables."""
    reached = [mark for mark in _MARKS if mark <= own[-1]["days"]]
    if not reached:
        return [own[-1]]
    return [{**[row for row in own if row["days"] <= mark][-1], "days": float(mark)} for mark in reached]


def _median(medians: Mapping[str, float] | None, name: str) -> float | None:
    found = chart_style.plain((medians or {}).get(name, float("nan")))
    return None if found is None else float(found)


def _sentence(rows: list[dict[str, Any]], name: str, median: float | None) -> str:
    own = [row for row in rows if row["group"] == name]
    told = [row for row in _at_marks(own) if row["days"] in _SAID] or _at_marks(own)[-1:]
    parts = [f"{row['unsold'] * 100:.0f}% after {row['days']:,.0f} days" for row in told]
    half = f"half had sold after {median:,.0f} days" if median is not None else "half have not sold yet"
    what = f"{own[0]['at_risk']:,} {name} items".replace("  ", " ")
    return f"Of {what} listed, {half}. Still unsold: {chart_style.joined(parts)}."


def _numbers(row: dict[str, Any], group: str | None) -> dict[str, str]:
    def share(value: float | None) -> str:
        return "–" if value is None else f"{value * 100:.0f}%"

    head = {} if group is None else {group.replace("_", " ").capitalize(): row["group"]}
    return head | {
        "Days": f"{row['days']:,.0f}",
        "Still unsold": share(row["unsold"]),
        "From": share(row["low"]),
        "To": share(row["high"]),
        "Items that waited so long": f"{row['at_risk']:,}",
    }
