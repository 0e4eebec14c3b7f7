"""Groups of things waiting: curves of the share still unsold, and beneath them how many wait that long."""

from __future__ import annotations

import json
from typing import Any, Final

import flipkit.charts.quick_start  # noqa: F401  # isort: skip  # before altair opens jsonschema
import altair as alt
import pandas as pd

from flipkit.charts import style, theme
from flipkit.charts.panels import panel_title, stacked
from flipkit.charts.renderer import described, wordless

#: Curves that one panel holds apart.
_MOST: Final = 4
#: Width of the names at the left, of the last count at the right. [px]
_LEFT: Final = 132
_RIGHT: Final = 22
_ROW: Final = 22
_WRAPPED: Final = 28
_KNOWN: Final = "isValid(datum.low) && isValid(datum.high)"
_SHARES: Final = "format(datum.value * 100, '.0f') + '%'"


def plot_waiting(
    curves: pd.DataFrame, counts: pd.DataFrame, *, title: str, subtitle: str
) -> alt.VConcatChart | alt.Chart:
    """Share of each group still unsold by days, a few groups a panel, with the numbers waiting beneath.

    Parameters
    ----------
    curves : pandas.DataFrame
        As ``analysis.waiting_curves.waiting_curves`` gives it: ``group``, ``days``,
        ``unsold_share``, ``low``, ``high`` (missing where not known), groups in the order drawn.
    counts : pandas.DataFrame
        As ``at_risk_counts`` gives it for the same groups: ``group``, ``days``, ``at_risk``.
    title, subtitle : str
        What stands above the first panel.

    Returns
    -------
    alt.VConcatChart or alt.Chart
        The chart; words alone where there is no curve.

    Raises
    ------
    ChartError
        If a column is missing.

    Examples
    --------
    >>> curves = pd.DataFrame({"group": "mugs", "days": [0.0, 5.0, 40.0], "unsold_share": [1.0, 0.5, 0.5],
    ...     "low": [1.0, 0.2, 0.2], "high": [1.0, 1.0, 1.0]})
    >>> counts = pd.DataFrame({"group": "mugs", "days": [0.0, 40.0], "at_risk": [2, 1]})
    >>> plot_waiting(curves, counts, title="How long things wait", subtitle="").to_dict()["description"]
    'Still unsold: mugs 50% after 40 days.'
    """
    style.require_columns(curves, ["group", "days", "unsold_share", "low", "high"], chart="plot_waiting")
    style.require_columns(counts, ["group", "days", "at_risk"], chart="plot_waiting")
    if curves.empty:
        return wordless("Nothing has been listed yet.")
    names = [str(name) for name in dict.fromkeys(curves["group"])]
    shown = dict(zip(names, style.distinct_labels(names), strict=True))
    lines = [
        {"group": shown[str(row["group"])], "days": float(row["days"])}
        | {key: _share(row[key]) for key in ("unsold_share", "low", "high")}
        for row in curves.to_dict("records")
    ]
    waiting = [
        {"group": shown[str(row["group"])], "days": float(row["days"]), "at_risk": int(row["at_risk"])}
        for row in counts.to_dict("records")
    ]
    marks = sorted({float(day) for day in counts["days"]})
    keys = list(shown.values())
    panels: list[Any] = []
    # Panels of about equally many, so that none is left with a single curve.
    size = -(-len(keys) // -(-len(keys) // _MOST))
    for start in range(0, len(keys), size):
        own = keys[start : start + size]
        few = [row for row in waiting if row["group"] in own]
        panels += [_curves([row for row in lines if row["group"] in own], own, marks), _counts(few, own, marks)]
    chart = stacked(panels, margin=_LEFT + _RIGHT, spacing=44)
    # Each panel's curves have colours of their own: one scale over all would be asked for as many domains.
    chart = chart.resolve_scale(color="independent").properties(title=alt.TitleParams(title, subtitle=subtitle))
    told = {name: _standing(lines, waiting, key, marks) for name, key in shown.items()}
    reading = f"Still unsold: {'; '.join(_phrase(name, rows) for name, rows in told.items())}."
    return described(chart, reading, [_numbers(name, row) for name, rows in told.items() for row in rows])


def _share(value: Any) -> float | None:
    """A share to a hundredth of a percent: a page holds a thousand of them."""
    known = style.plain(value)
    return None if known is None else round(float(known), 4)


def _colors(own: list[str]) -> list[str]:
    return [theme.color(f"series_{k + 1}") for k in range(len(own))]


def _across(marks: list[float], *, named: bool) -> alt.X:
    axis = alt.Axis(values=marks, labels=named, grid=False, title=None, labelFlush=False)
    return alt.X("days:Q", scale=alt.Scale(domain=[0, marks[-1]], nice=False), axis=axis, title=None)


def _curves(rows: list[dict[str, Any]], own: list[str], marks: list[float]) -> alt.LayerChart:
    axis = alt.Axis(labelExpr=_SHARES, values=[0, 0.25, 0.5, 0.75, 1], grid=True, minExtent=_LEFT, maxExtent=_LEFT)
    scale = alt.Scale(domain=[0, 1])
    color = alt.Color("group:N", scale=alt.Scale(domain=own, range=_colors(own)), legend=None)
    base = alt.Chart()
    x = _across(marks, named=True)
    band = (
        base.transform_filter(_KNOWN)
        .mark_area(interpolate="step-after", opacity=0.13, line=False, clip=True)
        .encode(x=x, y=alt.Y("low:Q", axis=axis, scale=scale, title=None), y2="high:Q", color=color)
    )
    tooltip = [
        alt.Tooltip("group:N", title="Group"),
        alt.Tooltip("days:Q", title="Days", format=",.0f"),
        alt.Tooltip("unsold_share:Q", title="Unsold", format=".0%"),
    ]
    line = base.mark_line(interpolate="step-after", clip=True).encode(
        x=x, y=alt.Y("unsold_share:Q", axis=axis, scale=scale, title=None), color=color, tooltip=tooltip
    )
    title = panel_title("share still unsold, by days since first listed")
    return alt.LayerChart(data=alt.Data(values=rows), layer=[band, line]).properties(height=170, title=title)


def _counts(rows: list[dict[str, Any]], own: list[str], marks: list[float]) -> alt.Chart:
    """How many waited so long; the names, in the colours of their curves, are the panel's legend."""
    tests = [
        {"test": f"datum.value === {json.dumps(name, ensure_ascii=False)}", "value": color}
        for name, color in zip(own, _colors(own), strict=True)
    ]
    look = {"labelColor": {"condition": tests, "value": theme.color("ink")}, "labelFontWeight": 600, "labelPadding": 18}
    axis = alt.Axis(**style.row_axis(**look, minExtent=_LEFT, maxExtent=_LEFT))
    height = (_WRAPPED if any("\n" in name for name in own) else _ROW) * len(own)
    base = alt.Chart(alt.Data(values=rows)).mark_text(fontSize=12)
    return base.encode(
        x=_across(marks, named=False),
        y=alt.Y("group:N", sort=own, title=None, axis=axis),
        text=alt.Text("at_risk:Q", format=",d"),
        color=alt.Color("group:N", scale=alt.Scale(domain=own, range=_colors(own)), legend=None),
    ).properties(height=height, title=panel_title("how many waited so long"))


def _standing(
    lines: list[dict[str, Any]], waiting: list[dict[str, Any]], key: str, marks: list[float]
) -> list[dict[str, Any]]:
    """How one group stood at the days of its counts, as far as anything of it waited."""
    counts = {row["days"]: row["at_risk"] for row in waiting if row["group"] == key}
    found = []
    for mark in marks:
        if counts.get(mark, 0) or mark == marks[0]:
            last = [row for row in lines if row["group"] == key and row["days"] <= mark][-1]
            found.append({**last, "days": mark, "at_risk": counts.get(mark, 0)})
    return found


def _phrase(name: str, rows: list[dict[str, Any]]) -> str:
    told = [rows[k] for k in dict.fromkeys((min(1, len(rows) - 1), len(rows) - 1))]
    parts = [f"{row['unsold_share'] * 100:.0f}% after {row['days']:,.0f} days" for row in told]
    return f"{name} {style.joined(parts)}"


def _numbers(name: str, row: dict[str, Any]) -> dict[str, str]:
    def share(value: float | None) -> str:
        return "–" if value is None else f"{value * 100:.0f}%"

    return {
        "Group": name,
        "Days": f"{row['days']:,.0f}",
        "Still unsold": share(row["unsold_share"]),
        "From": share(row["low"]),
        "To": share(row["high"]),
        "Waited so long": f"{row['at_risk']:,}",
    }
