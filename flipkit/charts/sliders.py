"""Charts of returns whose assumptions somebody moves, and how far each can be moved."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Final, NamedTuple

import altair as alt
import pandas as pd

from flipkit.analysis.returns import TOO_FEW
from flipkit.analysis.what_if import AS_CHARGED, DIVISORS, Settings
from flipkit.charts import style
from flipkit.charts.returns import marks_words, returns_finding, returns_words
from flipkit.charts.style import MIME_TYPE, YOUR_BOOKS, described, headed, tone, wordless

#: What is written beside the choice of a divisor.
DIVISOR_LABEL: Final = "Divisor for dimensional weight"
_SLIDER_ROW: Final = 46
_ABOVE, _BELOW, _EITHER = "above the target", "below the target", "may be above or below the target"


class Slide(NamedTuple):
    """One assumption that a reader moves: its name in ``Settings``, the words beside it, how far it goes, its unit."""

    name: str
    label: str
    start: float
    low: float
    high: float
    step: float
    unit: str


def slides(start: Settings, *, currency: str = "USD") -> list[Slide]:
    """The assumptions that a reader moves by a slider, in the order of what they mostly change.

    >>> wage = slides(Settings(target=18.0, wage=16.2))[5]
    >>> wage.label, wage.low, wage.high, wage.unit
    ('Hired wage, an hour', 0.2, 40, '$')
    """
    unit = style.currency_mark(currency).strip()

    def slide(name: str, label: str, low: float, high: float, step: float, unit: str = "%") -> Slide:
        value = getattr(start, name)
        # A browser puts a slider on a step counted from its least value, so the first value must be one.
        low = round(value - step * int((value - min(low, value)) / step + 1e-9), 6)
        return Slide(name, label, value, low, max(high, value), step, unit)

    return [
        slide("price", "Sold prices", 0.5, 1.5, 0.01),
        slide("factor", "Your minutes", 0.5, 2, 0.05),
        slide("postage", "Postage", 0.5, 2, 0.05),
        slide("cost", "Cost of goods", 0, 2, 0.05),
        slide("points", "Extra fees", -5, 10, 0.25, "points"),
        slide("wage", "Hired wage, an hour", 0, 40, 0.5, unit),
        slide("target", "Your target, an hour", 0, 60, 0.5, unit),
    ]


def divisor_options() -> dict[str, int]:
    """The divisors that a reader can choose, by their words.

    >>> list(divisor_options().items())[:2]
    [('as it was charged', 0), ('139', 139)]
    """
    return {"as it was charged": AS_CHARGED, **{str(divisor): divisor for divisor in DIVISORS}}


def ranked_dots(ranked: alt.Chart, rows: int, *, confidence: float, currency: str = "USD") -> alt.LayerChart:
    """A dot a category, its name and figures written above its line; everything from the rows and ``target``."""
    mark = style.currency_mark(currency)
    roles = {verdict: tone(verdict) for verdict in (_ABOVE, _BELOW, _EITHER, TOO_FEW)}
    color = alt.Color(
        "verdict:N",
        legend=None,
        scale=alt.Scale(domain=list(roles), range=[style.color(role) for role in roles.values()]),
    )
    axis = alt.Axis(labelExpr=style.axis_money(currency, unit=1), grid=True, tickCount=4, labelFlush=True)
    scale = alt.Scale(zero=True, nice=True)
    y = alt.Y("place:O", axis=None, scale=alt.Scale(paddingOuter=0.3))

    def x(field: str) -> alt.X:
        return alt.X(f"{field}:Q", axis=axis, title="net per hour of your own work", scale=scale)

    figures = (
        f"datum.claimed ? {_written('datum.value', mark)} + ', ' + format(datum.items, ',') + ' bought' : "
        f"'{TOO_FEW}, ' + format(datum.items, ',') + ' bought'"
    )
    between = (
        f"datum.claimed ? {_written('datum.lower', mark)} + ' to ' + {_written('datum.upper', mark)} : 'none claimed'"
    )
    told = ranked.transform_calculate(figures=figures, between=between, shown=_written("datum.value", mark))
    line = alt.Chart(alt.Data(values=[{}])).transform_calculate(aim="target")
    tooltip = [
        alt.Tooltip("category:N", title="Which"),
        alt.Tooltip("shown:N", title="Per hour"),
        alt.Tooltip("between:N", title=f"{confidence * 100:g}% interval"),
        alt.Tooltip("verdict:N", title="In words"),
    ]
    words: dict[str, Any] = {"baseline": "bottom", "dy": -9, "fontSize": 13, "clip": False}
    layers = [
        line.mark_rule(strokeWidth=1.5, strokeDash=[4, 3], color=style.color("ink")).encode(x=x("aim")),
        told.mark_rule(strokeWidth=5, opacity=0.35, strokeCap="round").encode(
            x=x("lower"), x2="upper:Q", y=y, color=color
        ),
        told.mark_point(filled=True, opacity=1, size=110).encode(x=x("value"), y=y, color=color, tooltip=tooltip),
    ]
    sides: list[tuple[str, Any, Any]] = [("category", "left", 0), ("figures", "right", "width")]
    for field, align, place in sides:
        for look in ({**style.HALO}, {"color": style.color("ink" if align == "left" else "quiet")}):
            text = told.mark_text(align=align, **words, **look)
            layers.append(text.encode(x=alt.value(place), y=y, text=f"{field}:N"))
    panel: Any = alt.layer(*layers).properties(height=_SLIDER_ROW * rows, name="dots")
    drawn: alt.LayerChart = panel
    return drawn


def _written(value: str, mark: str) -> str:
    """Expression that writes an amount with its cents."""
    sign = f"({value} < 0 && format(abs({value}), '.2f') != '0.00' ? '−' : '')"
    return f"{sign} + {json.dumps(mark, ensure_ascii=False)} + format(abs({value}), ',.2f')"


# The categories' returns of a study that is asked again and again: drawn once, then given other figures.

_MOVED_NEEDED = ("category", "items", "hourly", "low", "high", "claimed", "verdict")


def plot_moved_returns(
    frame: pd.DataFrame,
    target: float,
    *,
    confidence: float,
    currency: str = "USD",
) -> Any:
    """Categories as dots with intervals against the target, each with its name and figures above its line.

    >>> rows = pd.DataFrame({"category": ["lamps"], "items": [40], "hourly": [21.4], "low": [17.0],
    ...     "high": [26.0], "claimed": [True], "verdict": ["above the target"]})
    >>> plot_moved_returns(rows, 15.0, confidence=0.95).to_dict()["description"]
    'Above the target of $15 an hour: lamps $21 ($17 to $26, 40 bought).'
    """
    style.require_columns(frame, list(_MOVED_NEEDED), chart="plot_moved_returns")
    if frame.empty:
        return wordless("Nothing bought yet, so there is no hour to value.")
    chart = ranked_dots(alt.Chart(), len(frame), confidence=confidence, currency=currency)
    # The rows stand once, above the layers, where other figures can be put.
    chart.data = alt.Data(values=_rows(frame))
    chart = chart.add_params(alt.param(name="target", value=target)).properties(
        width="container",
        title=headed(
            returns_finding(frame, target, currency=currency), f"Things bought. {marks_words(confidence)}", YOUR_BOOKS
        ),
    )
    return described(chart, returns_words(frame, target, currency=currency))


def with_figures(
    bundle: Mapping[str, Any],
    frame: pd.DataFrame,
    target: float,
    *,
    currency: str = "USD",
) -> dict[str, Any]:
    """The outputs of a drawing of ``plot_moved_returns`` with other figures: the same as drawn anew, at once.

    >>> rows = pd.DataFrame({"category": ["lamps"], "items": [40], "hourly": [21.4], "low": [17.0],
    ...     "high": [26.0], "claimed": [True], "verdict": ["above the target"]})
    >>> before = style.spec_bundle(plot_moved_returns(rows, 15.0, confidence=0.95).to_dict())
    >>> with_figures(before, rows.assign(hourly=22.4), 15.0)["text/plain"]
    'Above the target of $15 an hour: lamps $22 ($17 to $26, 40 bought).'
    """
    spec = bundle[MIME_TYPE]
    reading = returns_words(frame, target, currency=currency)
    params = [{**param, "value": target} if param["name"] == "target" else param for param in spec["params"]]
    changed = {
        **spec,
        "data": {"values": _rows(frame)},
        "params": params,
        "description": reading,
        "title": {**spec["title"], "text": returns_finding(frame, target, currency=currency)},
    }
    return {**bundle, MIME_TYPE: changed, "text/plain": reading}


def _rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """What the layers read: a category's place, figures and words."""
    rows = []
    for place, row in enumerate(frame.to_dict("records"), start=1):
        low, high = (style.plain(row[end]) if row["claimed"] else None for end in ("low", "high"))
        rows.append(
            {
                "place": place,
                "category": str(row["category"]),
                "value": style.plain(row["hourly"]),
                "lower": low,
                "upper": high,
                "claimed": bool(row["claimed"]),
                "verdict": str(row["verdict"]),
                "items": int(row["items"]),
            }
        )
    return rows


# Which assumption a figure hangs on: one bar an assumption, from its low to its high.

_TORNADO_NEEDED = ("name", "at_low", "at_high")
_TORNADO_ROW = 40


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
    style.require_columns(frame, list(_TORNADO_NEEDED), chart="plot_tornado")
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
                    "end": f"{word}: {beside_target(float(row[end]), target, currency=currency)}",
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
                scale=alt.Scale(domain=["better", "worse"], range=[style.color("above"), style.color("below")]),
                legend=alt.Legend(orient="top", title=None),
            ),
            tooltip=[alt.Tooltip("name:N", title="Changed"), alt.Tooltip("end:N", title="At its")],
        )
    )
    marks: list[Any] = [bars, _line(middle, scale, axis, "ink", [1, 0])]
    if target is not None:
        marks.append(_line(target, scale, axis, "quiet", [4, 3]))
    chart = alt.layer(*marks).properties(
        width="container", height=_TORNADO_ROW * len(order), title=alt.TitleParams(title, subtitle=subtitle)
    )
    parts = [
        f"{row['name']}: {beside_target(float(row['at_low']), target, currency=currency)} at the low, "
        f"{beside_target(float(row['at_high']), target, currency=currency)} at the high"
        for row in records
    ]
    reading = f"With nothing moved {style.hourly(middle, currency=currency)}. " + " ".join(
        f"{part[:1].upper()}{part[1:]}." for part in parts
    )
    return described(chart, reading)


def beside_target(value: float, target: float | None, *, currency: str) -> str:
    """An hour in words, which never claims a target that it falls just short of.

    >>> beside_target(17.95, 18.0, currency="USD"), beside_target(17.2, 18.0, currency="USD")
    ('just under $18', '$17')
    """
    said = style.hourly(value, currency=currency)
    short = target is not None and value < target and said == style.hourly(target, currency=currency)
    return f"just under {said}" if short else said


def _line(at: float, scale: alt.Scale, axis: alt.Axis, role: str, dash: list[int]) -> alt.Chart:
    base = alt.Chart(alt.Data(values=[{"at": at}]))
    return base.mark_rule(color=style.color(role), strokeDash=dash).encode(x=alt.X("at:Q", scale=scale, axis=axis))
