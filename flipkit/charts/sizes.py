"""Bulky against small: what a parcel's size brings and takes, measure by measure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import flipkit.charts.quick_start  # noqa: F401  # isort: skip  # before altair opens jsonschema
import altair as alt
import pandas as pd

from flipkit.analysis.words import TOO_FEW
from flipkit.charts import style, theme
from flipkit.charts.dots import tone
from flipkit.charts.panels import panel_title, stacked
from flipkit.charts.renderer import described, wordless

_LEFT, _RIGHT = 66, 96


@dataclass(frozen=True)
class _Measure:
    """One panel: the column it draws, its interval if it has one, and how its figures read."""

    column: str
    heading: str
    unit: str
    low: str = ""
    high: str = ""


MEASURES: Final = (
    _Measure("hourly", "net per hour of your own work", "dollars", "low", "high"),
    _Measure("net_per_sale_cents", "net per sale", "cents"),
    _Measure("label_per_sale_cents", "label per sale", "cents"),
    _Measure("minutes_per_sale", "your own minutes per sale", "min"),
    _Measure("days_to_sale", "days until half have sold", "days", "days_low", "days_high"),
    _Measure("stock_cost_cents", "money tied up in stock", "cents"),
    _Measure("stock_cubic_ft", "space taken by stock", "cu ft"),
)


def plot_size_comparison(
    frame: pd.DataFrame, *, confidence: float | None = None, currency: str = "USD"
) -> alt.VConcatChart | alt.Chart:
    """Size classes side by side, one small panel a measure.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a size class from small to large: ``size_class``, ``items``, ``verdict`` and those of the
        measures that are there: ``hourly`` with ``low`` and ``high`` (dollars per hour),
        ``net_per_sale_cents``, ``label_per_sale_cents``, ``minutes_per_sale``, ``days_to_sale`` with
        ``days_low`` and ``days_high``, ``stock_cost_cents``, ``stock_cubic_ft``; as ``by_size`` gives it.
    confidence : float, optional
        How often the intervals are meant to hold the truth, to be said in words.
    currency : str
        Code of the shop's currency.

    Returns
    -------
    alt.VConcatChart or alt.Chart
        The chart; words alone where there is nothing to compare.

    Raises
    ------
    ChartError
        If a column is missing.

    Examples
    --------
    >>> rows = pd.DataFrame({"size_class": ["small", "bulky"], "items": [80, 30], "minutes_per_sale": [40.0, 95.0],
    ...     "verdict": ["above the target", "below the target"]})
    >>> plot_size_comparison(rows).to_dict()["description"]
    'Your own minutes per sale: small 40 min, bulky 95 min.'
    """
    style.require_columns(frame, ["size_class", "items", "verdict"], chart="plot_size_comparison")
    measures = [m for m in MEASURES if m.column in frame.columns and frame[m.column].notna().any()]
    if frame.empty or not measures:
        return wordless("Nothing sold yet, so there is no size to compare.")
    rows = frame.to_dict("records")
    panels = [_panel(measure, rows, currency) for measure in measures]
    said = "" if confidence is None else f" ({confidence * 100:g}% interval)"
    chart = stacked(panels, margin=_LEFT + _RIGHT).properties(
        title=alt.TitleParams(
            "What each size brings and takes",
            subtitle=f"By size of the packed parcel. A pale bar around a dot: where the true figure likely lies{said}.",
        )
    )
    reading = " ".join(_sentence(measure, rows, currency) for measure in measures)
    return described(chart, reading, [_numbers(row, measures, currency) for row in rows])


def _panel(measure: _Measure, rows: list[dict[Any, Any]], currency: str) -> alt.LayerChart:
    show = _shower(measure.unit, currency)
    values = [_record(measure, row) for row in rows]
    order = [value["size"] for value in values]
    texts = {value["size"]: _end(measure, row, show) for value, row in zip(values, rows, strict=True)}
    base = alt.Chart(alt.Data(values=values))
    scale = alt.Scale(domain=order, paddingInner=0.35)
    rule = alt.Chart(alt.Data(values=[{"value": 0}])).mark_rule(color=theme.color("quiet"), strokeWidth=1)

    def x(field: str) -> alt.X:
        return alt.X(f"{field}:Q", axis=None, title=None, scale=alt.Scale(zero=True, nice=False))

    def y(axis: dict[str, Any] | None) -> alt.Y:
        return alt.Y("size:N", sort=order, title=None, scale=scale, axis=None if axis is None else alt.Axis(**axis))

    roles = sorted({value["role"] for value in values})
    color = alt.Color("role:N", legend=None, scale=alt.Scale(domain=roles, range=[theme.color(r) for r in roles]))
    names = style.row_axis(minExtent=_LEFT, maxExtent=_LEFT)
    ends = style.end_axis(texts, "", labelColor=theme.color("ink"), minExtent=_RIGHT, maxExtent=_RIGHT)
    layers: list[Any] = [rule.encode(x=x("value"))]
    if measure.low and any(value["low"] is not None for value in values):
        bar = base.mark_rule(strokeWidth=5, opacity=0.35, strokeCap="round")
        dot = base.mark_point(filled=True, opacity=1, size=90)
        layers += [
            bar.encode(x=x("low"), x2="high:Q", y=y(names), color=color),
            dot.encode(x=x("value"), y=y(None), color=color),
        ]
    else:
        layers.append(base.mark_bar(height=9).encode(x=x("value"), y=y(names), color=color))
    layers.append(base.mark_point(opacity=0, size=1).encode(x=x("value"), y=y(ends)))
    chart = alt.layer(*layers).resolve_axis(y="independent").resolve_scale(color="independent")
    return chart.properties(height=24 * len(rows), title=panel_title(measure.heading))


def _record(measure: _Measure, row: dict[Any, Any]) -> dict[str, Any]:
    few = measure.column == "hourly" and row["verdict"] == TOO_FEW
    value = style.plain(row[measure.column])
    role = "quiet"
    if measure.column == "hourly":
        role = tone(str(row["verdict"]))
    elif measure.column == "net_per_sale_cents" and value is not None:
        role = "above" if float(value) >= 0 else "below"
    return {
        "role": role,
        "size": str(row["size_class"]),
        "value": value,
        "low": style.plain(row.get(measure.low)) if measure.low and not few else None,
        "high": style.plain(row.get(measure.high)) if measure.high and not few else None,
    }


def _end(measure: _Measure, row: dict[Any, Any], show: Callable[[float], str]) -> str:
    if measure.column == "hourly" and row["verdict"] == TOO_FEW:
        return TOO_FEW
    value = style.plain(row[measure.column])
    if value is None:
        return "not reached" if measure.unit == "days" and int(row["items"]) > 0 else "–"
    return show(float(value))


def _shower(unit: str, currency: str) -> Callable[[float], str]:
    if unit == "cents":
        return lambda value: style.money(value, currency=currency)
    if unit == "dollars":
        return lambda value: style.hourly(value, currency=currency)
    return lambda value: f"{value:,.0f} {unit}"


def _sentence(measure: _Measure, rows: list[dict[Any, Any]], currency: str) -> str:
    show = _shower(measure.unit, currency)
    parts = [f"{row['size_class']} {_end(measure, row, show)}" for row in rows]
    return f"{measure.heading[0].upper()}{measure.heading[1:]}: {', '.join(parts)}."


def _numbers(row: dict[Any, Any], measures: list[_Measure], currency: str) -> dict[str, str]:
    numbers = {"Size": str(row["size_class"]), "Items": f"{int(row['items']):,}"}
    for measure in measures:
        text = _end(measure, row, _shower(measure.unit, currency))
        low, high = (style.plain(row.get(name)) if name else None for name in (measure.low, measure.high))
        if low is not None and high is not None and text != TOO_FEW:
            show = _shower(measure.unit, currency)
            text += f" ({show(float(low))} to {show(float(high))})"
        numbers[measure.heading[0].upper() + measure.heading[1:]] = text
    return numbers
