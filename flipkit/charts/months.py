"""Month by month: what an hour earned, what was left, how long it took."""

from __future__ import annotations

from typing import Any

import flipkit.charts.quick_start  # noqa: F401  # isort: skip  # before altair opens jsonschema
import altair as alt
import pandas as pd

from flipkit.charts import style as chart_style
from flipkit.charts import theme
from flipkit.charts.panels import panel_title, stacked
from flipkit.charts.renderer import described, wordless
from flipkit.money import show_cents

_LEFT, _RIGHT = 52, 16
#: Above so many months only the first of each quarter is named.
_ALL_NAMED = 9


def plot_months(
    frame: pd.DataFrame, target: float | None = None, *, currency: str = "USD"
) -> alt.VConcatChart | alt.Chart:
    """Hourly return, net and owner hours by month of sale, in three panels over the same months.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a month in order: ``month`` (its first day), ``sold``, ``net_cents``, ``owner_min`` and
        ``hourly`` (dollars per hour, missing where nothing sold).
    target : float, optional
        What an hour should bring. [dollars per hour]
    currency : str
        Code of the shop's currency.

    Returns
    -------
    alt.VConcatChart or alt.Chart
        The chart; words alone where nothing sold in any month.

    Raises
    ------
    ChartError
        If a column is missing.

    Examples
    --------
    >>> rows = pd.DataFrame({"month": pd.to_datetime(["2026-09-01", "2026-10-01"]), "sold": [20, 31],
    ...     "net_cents": [61500, 88000], "owner_min": [1800.0, 2400.0], "hourly": [20.5, 22.0]})
    >>> plot_months(rows).to_dict()["description"]
    'October 2026: $22 an hour, $880.00 net in 40 hours, 31 sold. The month before: $21 an hour.'
    """
    chart_style.require_columns(frame, ["month", "sold", "net_cents", "owner_min", "hourly"], chart="plot_months")
    if frame.empty or not frame["sold"].any():
        return wordless("Nothing sold yet, so no month has a figure.")
    rows = _in_runs([_record(row, currency) for row in frame.to_dict("records")])
    months = [row["month"] for row in rows]
    panels = [
        _hourly_panel(rows, months, target, currency),
        _bar_panel(rows, months, "net_cents", "net", chart_style.axis_money(currency, unit=100), last=False),
        _bar_panel(rows, months, "hours", "hours of your own work", "format(datum.value, ',~f')", last=True),
    ]
    chart = stacked(panels, margin=_LEFT + _RIGHT, spacing=36).properties(title="Month by month")
    return described(chart, _reading(rows, currency), [_numbers(row, currency) for row in rows])


def _record(row: dict[Any, Any], currency: str) -> dict[str, Any]:
    month = pd.Timestamp(row["month"])
    return {
        "month": month.strftime("%Y-%m"),
        "named": month.strftime("%B %Y"),
        "sold": int(row["sold"]),
        "net_cents": int(row["net_cents"]),
        "net_cents_text": show_cents(int(row["net_cents"]), currency=currency),
        "hours": float(row["owner_min"]) / 60,
        "hours_text": f"{float(row['owner_min']) / 60:,.1f}",
        "hourly": chart_style.plain(row["hourly"]),
        "role": "above" if int(row["net_cents"]) >= 0 else "below",
    }


def _in_runs(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Number the runs of months with a figure: a month without one is a gap in the line, not a bridge."""
    run = 0
    for row in rows:
        run += row["hourly"] is None
        row["run"] = run
    return rows


def _month_axis(months: list[str], *, named: bool) -> alt.Axis:
    stamps = [pd.Timestamp(f"{month}-01") for month in months]
    shown = [m for m, s in zip(months, stamps, strict=True) if len(months) <= _ALL_NAMED or s.month % 3 == 1]
    texts = {
        month: stamp.strftime("%b") + (stamp.strftime("\n%Y") if stamp.month == 1 or month == shown[0] else "")
        for month, stamp in zip(months, stamps, strict=True)
        if month in shown
    }
    return alt.Axis(
        values=shown or months,
        labels=named,
        labelExpr=chart_style.axis_lookup(texts or {month: month for month in months}),
        labelAngle=0,
        labelLineHeight=chart_style.LINE_HEIGHT,
        labelOverlap=True,
        title=None,
    )


def _hourly_panel(rows: list[dict[str, Any]], months: list[str], target: float | None, currency: str) -> alt.LayerChart:
    known = [row for row in rows if row["hourly"] is not None]
    last = {**known[-1], "text": chart_style.hourly(known[-1]["hourly"], currency=currency)} if known else None
    x = alt.X("month:O", sort=months, scale=alt.Scale(domain=months), axis=_month_axis(months, named=False))
    y = alt.Y(
        "hourly:Q",
        title=None,
        scale=alt.Scale(zero=True),
        axis=alt.Axis(
            labelExpr=chart_style.axis_money(currency, unit=1), tickCount=4, grid=True, minExtent=_LEFT, maxExtent=_LEFT
        ),
    )
    tooltip = [
        alt.Tooltip("named:N", title="Month"),
        alt.Tooltip("hourly:Q", title="Per hour", format=",.2f"),
        alt.Tooltip("sold:Q", title="Sold"),
    ]
    base = alt.Chart(alt.Data(values=rows))
    layers: list[Any] = [
        base.mark_line(color=theme.color("above")).encode(x=x, y=y, detail="run:N"),
        base.mark_point(filled=True, opacity=1, size=36, color=theme.color("above")).encode(x=x, y=y, tooltip=tooltip),
    ]
    if target is not None:
        goal = alt.Chart(
            alt.Data(values=[{"hourly": target, "text": f"target {chart_style.hourly(target, currency=currency)}"}])
        )
        layers.append(goal.mark_rule(color=theme.color("ink"), strokeWidth=1.5).encode(y=y))
        look: dict[str, Any] = {"align": "left", "x": 2, "dy": -8, "fontWeight": 600}
        layers += [goal.mark_text(**style).encode(y=y, text="text:N") for style in ({**look, **theme.HALO}, look)]
    if last is not None:
        words = alt.Chart(alt.Data(values=[last])).mark_text(dy=-13, fontWeight=600, color=theme.color("above"))
        layers.append(words.encode(x=x, y=y, text="text:N"))
    return alt.LayerChart(layer=layers).properties(height=150, title=panel_title("net per hour of your own work"))


def _bar_panel(
    rows: list[dict[str, Any]], months: list[str], column: str, heading: str, expression: str, *, last: bool
) -> alt.Chart:
    roles = alt.Scale(domain=["above", "below"], range=[theme.color("above"), theme.color("below")])
    quiet = alt.value(theme.color("quiet"))
    chart = alt.Chart(alt.Data(values=rows)).mark_bar()
    return chart.encode(
        x=alt.X(
            "month:O",
            sort=months,
            scale=alt.Scale(domain=months, paddingInner=0.25),
            axis=_month_axis(months, named=last),
        ),
        y=alt.Y(
            f"{column}:Q",
            title=None,
            axis=alt.Axis(labelExpr=expression, tickCount=3, grid=True, minExtent=_LEFT, maxExtent=_LEFT),
        ),
        color=alt.Color("role:N", legend=None, scale=roles) if column == "net_cents" else quiet,
        tooltip=[alt.Tooltip("named:N", title="Month"), alt.Tooltip(f"{column}_text:N", title=heading.capitalize())],
    ).properties(height=80, title=panel_title(heading))


def _reading(rows: list[dict[str, Any]], currency: str) -> str:
    last = rows[-1]
    sentences = [f"{last['named']}: {_phrase(last, currency)}."]
    if len(rows) > 1:
        before = rows[-2]["hourly"]
        said = "no sale" if before is None else f"{chart_style.hourly(before, currency=currency)} an hour"
        sentences.append(f"The month before: {said}.")
    known = [row for row in rows if row["hourly"] is not None]
    if len(known) > 2:
        best = max(known, key=lambda row: float(row["hourly"]))
        sentences.append(
            f"Best month: {best['named']}, {chart_style.hourly(best['hourly'], currency=currency)} an hour."
        )
    return " ".join(sentences)


def _phrase(row: dict[str, Any], currency: str) -> str:
    net = show_cents(row["net_cents"], currency=currency)
    if row["hourly"] is None:
        return "no sale" if row["sold"] == 0 else f"{row['sold']:,} sold, {net} net, no hours recorded"
    per_hour = chart_style.hourly(row["hourly"], currency=currency)
    return f"{per_hour} an hour, {net} net in {row['hours']:,.0f} hours, {row['sold']:,} sold"


def _numbers(row: dict[str, Any], currency: str) -> dict[str, str]:
    mark = chart_style.currency_mark(currency)
    return {
        "Month": row["named"],
        "Sold": f"{row['sold']:,}",
        f"Net ({mark.strip()})": show_cents(row["net_cents"], currency=currency).replace(mark, ""),
        "Hours": f"{row['hours']:,.1f}",
        f"Per hour ({mark.strip()})": "–" if row["hourly"] is None else f"{row['hourly']:,.2f}".replace("-", "−"),
    }
