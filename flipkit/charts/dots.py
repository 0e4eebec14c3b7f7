"""Estimates as dots with their intervals, one a row: the drawing behind several charts."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import flipkit.charts.quick_start  # noqa: F401  # isort: skip  # before altair opens jsonschema
import altair as alt

from flipkit.analysis.words import TOO_FEW
from flipkit.charts import style, theme
from flipkit.errors import ChartError

#: What a verdict is drawn in. A verdict with no place here is an error, not a grey dot.
TONES: Final[dict[str, str]] = {
    "above the target": "above",
    "makes money": "above",
    "almost surely beats the target": "above",
    "probably beats the target": "above",
    "may be above or below the target": "ink",
    "may make or lose money": "ink",
    "could go either way": "ink",
    "below the target": "below",
    "loses money": "below",
    "almost surely misses the target": "below",
    "probably misses the target": "below",
    TOO_FEW: "unsure",
}
ROW_HEIGHT: Final = 40


@dataclass(frozen=True)
class Dot:
    """One row.

    Attributes
    ----------
    name : str
        What it stands for, in full.
    label : str
        What is written at its left, in lines; each row's differs.
    value, low, high : float or None
        The estimate and its interval; None where there is none.
    text : str
        What stands at the dot.
    count : str
        What stands at the row's right end.
    role : str
        Role of its colour in the theme.
    heading : bool
        Whether the row only names the rows below it.
    """

    name: str
    label: str
    value: float | None
    low: float | None
    high: float | None
    text: str
    count: str
    role: str
    heading: bool = False


def tone(verdict: str) -> str:
    """Role of the colour in which a verdict is drawn.

    Parameters
    ----------
    verdict : str
        Words of ``flipkit.analysis.words``.

    Returns
    -------
    str
        A role of the theme.

    Raises
    ------
    ChartError
        If the words are not known here.

    Examples
    --------
    >>> tone("above the target"), tone("too few to tell")
    ('above', 'unsure')
    """
    if verdict not in TONES:
        raise ChartError("verdict", need=f"one of {', '.join(TONES)}", got=verdict)
    return TONES[verdict]


def draw_dots(
    dots: Sequence[Dot], *, target: float | None, target_text: str, x_title: str, count_title: str, currency: str
) -> alt.LayerChart:
    """Rows of dots with their intervals, the target as a line that carries its own label.

    Parameters
    ----------
    dots : sequence of Dot
        The rows from top to bottom.
    target : float or None
        Where the line stands. [dollars per hour]
    target_text : str
        What is written at the line.
    x_title : str
        What the values are, with their unit.
    count_title : str
        Heading of the counts at the right.
    currency : str
        Code of the currency.

    Returns
    -------
    alt.LayerChart
        The drawing, without title and reading.
    """
    rows = [_record(dot) for dot in dots if not dot.heading]
    heads = {dot.label: "" if dot.heading else dot.count for dot in dots}
    bold = json.dumps([dot.label for dot in dots if dot.heading], ensure_ascii=False)
    order = [dot.label for dot in dots]
    scale = alt.Scale(domain=order, paddingOuter=0.15)

    def x(field: str, axis: alt.Axis | None = None) -> alt.X:
        return alt.X(
            f"{field}:Q", axis=axis, title=x_title if axis else None, scale=alt.Scale(zero=True, nice=True, padding=8)
        )

    def y(axis: alt.Axis | None = None) -> alt.Y:
        return alt.Y("row:N", sort=order, title=None, axis=axis, scale=scale)

    roles = sorted({dot.role for dot in dots})
    hue = alt.Color("role:N", legend=None, scale=alt.Scale(domain=roles, range=[theme.color(r) for r in roles]))
    base = alt.Chart(alt.Data(values=rows))
    known = [v for dot in dots for v in (dot.low, dot.high, dot.value) if v is not None]
    layers: list[Any] = []
    if any(v < 0 for v in known):
        zero = alt.Chart(alt.Data(values=[{"value": 0}]))
        layers.append(zero.mark_rule(color=theme.color("quiet"), strokeWidth=1).encode(x=x("value")))
    if target is not None:
        layers.append(_target(target, target_text))
    interval = base.mark_rule(strokeWidth=5, opacity=0.35, strokeCap="round")
    weight = {"condition": {"test": f"indexof({bold}, datum.value) >= 0", "value": "bold"}, "value": "normal"}
    names = alt.Axis(**style.row_axis(labelFontWeight=weight))
    # Without a single interval there is nothing to span, and a browser would say so.
    claimed = any(dot.low is not None for dot in dots)
    if claimed:
        layers.append(interval.encode(x=x("low"), x2="high:Q", y=y(names), color=hue))
    values = alt.Axis(labelExpr=style.axis_money(currency, unit=1), grid=True, tickCount=4)
    tooltip = [
        alt.Tooltip("name:N", title="Which"),
        alt.Tooltip("text:N", title="Estimate"),
        alt.Tooltip("count:N", title=count_title.capitalize()),
    ]
    dot_mark = base.mark_point(filled=True, opacity=1, size=110)
    layers.append(dot_mark.encode(x=x("value", values), y=y(None if claimed else names), color=hue, tooltip=tooltip))
    counts = alt.Axis(**style.end_axis(heads, count_title))
    layers.append(base.mark_point(opacity=0, size=1).encode(x=x("value"), y=y(counts)))
    layers += _words(rows, x, y, middle=(min([*known, 0.0]) + max([*known, target or 0.0])) / 2)
    chart = alt.layer(*layers).resolve_axis(x="independent", y="independent")
    return chart.properties(width="container", height=(36 if len(heads) > len(rows) else ROW_HEIGHT) * len(dots))


def _record(dot: Dot) -> dict[str, Any]:
    return {
        "row": dot.label,
        "name": dot.name,
        "value": dot.value,
        "low": dot.low,
        "high": dot.high,
        "text": dot.text,
        "count": dot.count,
        "role": dot.role,
        "few": int(dot.low is None),
    }


def _target(target: float, text: str) -> alt.Chart:
    axis = alt.Axis(
        orient="top",
        values=[target],
        labelExpr=f"'{text}'",
        labelColor=theme.color("ink"),
        labelFontWeight="bold",
        labelFlush=False,
        grid=False,
        title=None,
        labelPadding=4,
    )
    return (
        alt.Chart(alt.Data(values=[{"value": target}]))
        .mark_rule(color=theme.color("ink"), strokeWidth=1.5)
        .encode(x=alt.X("value:Q", axis=axis))
    )


def _words(
    rows: Sequence[dict[str, Any]], x: Callable[[str], alt.X], y: Callable[[], alt.Y], *, middle: float
) -> list[Any]:
    """Figures above their dots; where there is no interval, words beside the dot, on the side that has room."""
    sides: dict[str, list[dict[str, Any]]] = {"above": [], "left": [], "right": []}
    for row in rows:
        side = "above" if not row["few"] else "left" if (row["value"] or 0) > middle else "right"
        sides[side].append(row)
    looks: dict[str, dict[str, Any]] = {
        "above": {"dy": -14, "fontWeight": 600, "color": theme.color("ink")},
        "left": {"align": "right", "dx": -10, "baseline": "middle", "color": theme.color("quiet")},
        "right": {"align": "left", "dx": 10, "baseline": "middle", "color": theme.color("quiet")},
    }
    return [
        alt.Chart(alt.Data(values=chosen)).mark_text(**look).encode(x=x("value"), y=y(), text="text:N")
        for side, chosen in sides.items()
        if chosen
        # A halo keeps the words clear of the lines behind them.
        for look in ({**looks[side], **theme.HALO}, looks[side])
    ]
