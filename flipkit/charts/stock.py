"""Charts of how long things wait and what hurrying a sale costs."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from flipkit.charts import style as chart_style
from flipkit.charts.style import YOUR_BOOKS, described, headed, wordless
from flipkit.errors import count_of
from flipkit.money import show_cents

# How long things wait: the share still unsold after so many days.

#: Days at which words and tables say how things stood.
_MARKS = (7, 14, 30, 60, 90, 120, 180, 270, 365, 540, 730)
_SAID = (30, 90, 180, 365)


def plot_days_listed(
    frame: pd.DataFrame, *, median: float = float("nan"), source: str = YOUR_BOOKS
) -> alt.LayerChart | alt.Chart:
    """Share still unsold by days listed, unsold items counted, with the band in which it likely lies.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a number of days: ``days``, ``unsold_share``, ``low``, ``high`` (shares, the band missing
        where it is not known), ``at_risk`` (items that had waited so long), as ``survival_table`` gives it.
    median : float
        Days by which half have sold; NaN where that is not reached.
    source : str
        Where the figures come from and of which period, for the line below the title.

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
    >>> rows = pd.DataFrame({"days": [5, 8, 12], "unsold_share": [0.75, 0.5, 0.5], "low": [0.4, 0.2, 0.2],
    ...     "high": [1.0, 1.0, 1.0], "at_risk": [4, 3, 1]})
    >>> plot_days_listed(rows, median=8.0).to_dict()["description"]
    'Of 4 items listed, half had sold after 8 days. Still unsold: 75% after 7 days.'
    """
    chart_style.require_columns(frame, ["days", "unsold_share", "low", "high", "at_risk"], chart="plot_days_listed")
    if frame.empty:
        return wordless("Nothing has been listed yet.")
    rows, half = _steps(frame), chart_style.plain(median)
    days = None if half is None else float(half)
    finding = "Half have not sold yet" if days is None else f"Half had sold after {days:,.0f} days"
    drawn = "Share still unsold by days since listed. Pale: where the true share probably lies."
    chart = _drawing(rows, days).properties(width="container", height=280, title=headed(finding, drawn, source))
    return described(chart, _sentence(rows, days), [_days_listed_numbers(row) for row in _at_marks(rows)])


def _steps(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """The rows of the curve, begun at day 0, when nothing has sold."""
    first = {"days": 0.0, "unsold": 1.0, "low": 1.0, "high": 1.0, "at_risk": int(frame["at_risk"].iloc[0])}
    rest: list[dict[str, Any]] = [
        {
            "days": float(row["days"]),
            "unsold": float(row["unsold_share"]),
            "low": chart_style.plain(row["low"]),
            "high": chart_style.plain(row["high"]),
            "at_risk": int(row["at_risk"]),
        }
        for row in frame.to_dict("records")
    ]
    return [first, *(row for row in rest if row["days"] > 0)]


def _drawing(rows: list[dict[str, Any]], median: float | None) -> alt.LayerChart:
    ink = chart_style.color("ink")
    x = alt.X("days:Q", title="days since first listed", axis=alt.Axis(grid=False, tickCount=6))
    shares = alt.Axis(labelExpr="format(datum.value * 100, '.0f') + '%'", values=[0, 0.25, 0.5, 0.75, 1], grid=True)
    y = alt.Y("unsold:Q", title=None, axis=shares, scale=alt.Scale(domain=[0, 1]))
    base = alt.Chart(alt.Data(values=rows))
    band = base.mark_area(interpolate="step-after", opacity=0.15, line=False, color=ink).encode(
        x=x, y=alt.Y("low:Q", axis=shares, title=None), y2="high:Q"
    )
    line = base.mark_line(interpolate="step-after", color=ink).encode(
        x=x,
        y=y,
        tooltip=[
            alt.Tooltip("days:Q", title="Days", format=",.0f"),
            alt.Tooltip("unsold:Q", title="Unsold", format=".0%"),
            alt.Tooltip("at_risk:Q", title="Items that waited so long"),
        ],
    )
    layers: list[Any] = [band, line]
    if median is not None:
        marks = alt.Chart(
            alt.Data(values=[{"days": median, "unsold": 0.5, "text": f"half sold after {median:,.0f} days"}])
        )
        layers.append(marks.mark_point(filled=True, opacity=1, size=90, color=ink).encode(x=x, y=y))
        # The curve falls: there is room above it to the right, or below it to the left.
        early = median < 0.45 * max(row["days"] for row in rows)
        place = {"align": "left", "dx": 9, "dy": -9} if early else {"align": "right", "dx": -9, "dy": 14}
        look: dict[str, Any] = {**place, "fontWeight": 600, "color": ink}
        # A halo keeps the words clear of the lines behind them.
        layers += [
            marks.mark_text(**style).encode(x=x, y=y, text="text:N") for style in ({**look, **chart_style.HALO}, look)
        ]
    return alt.LayerChart(layer=layers)


def _at_marks(own: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """How it stood at the marks that the days reach, for words and tables."""
    reached = [mark for mark in _MARKS if mark <= own[-1]["days"]]
    if not reached:
        return [own[-1]]
    return [{**[row for row in own if row["days"] <= mark][-1], "days": float(mark)} for mark in reached]


def _sentence(own: list[dict[str, Any]], median: float | None) -> str:
    told = [row for row in _at_marks(own) if row["days"] in _SAID] or _at_marks(own)[-1:]
    parts = [f"{row['unsold'] * 100:.0f}% after {row['days']:,.0f} days" for row in told]
    half = f"half had sold after {median:,.0f} days" if median is not None else "half have not sold yet"
    return f"Of {own[0]['at_risk']:,} items listed, {half}. Still unsold: {chart_style.joined(parts)}."


def _days_listed_numbers(row: dict[str, Any]) -> dict[str, str]:
    def share(value: float | None) -> str:
        return "–" if value is None else f"{value * 100:.0f}%"

    return {
        "Days": f"{row['days']:,.0f}",
        "Still unsold": share(row["unsold"]),
        "From": share(row["low"]),
        "To": share(row["high"]),
        "Items that waited so long": f"{row['at_risk']:,}",
    }


# Money against patience: what hurrying a sale costs.

_NEEDED = ("way", "within_weeks", "net_cents", "price_cents", "sold_share", "chosen")


def plot_patience(
    frame: pd.DataFrame, *, title: str, source: str = YOUR_BOOKS, currency: str = "USD"
) -> alt.LayerChart | alt.Chart:
    """What a thing brings by the weeks within which it is to sell, the recommended wait marked.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a wait, shortest first: ``way``, ``within_weeks``, ``net_cents``, ``price_cents``, ``sold_share`` and
        ``chosen`` (true for the recommended one). Rows whose ``way`` is ``as now`` are not drawn.
    title : str
        What stands above the chart.
    source : str
        Where the figures come from and of which period, for the line below the title.
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
    >>> rows = pd.DataFrame({"way": ["within", "planned"], "within_weeks": [8, 26], "net_cents": [3100.0, 4000.0],
    ...     "price_cents": [5200.0, 7500.0], "sold_share": [0.7, 0.9], "chosen": [False, True]})
    >>> plot_patience(rows, title="Hurry").to_dict()["description"]
    'Recommended: ask $75, $40 within 26 weeks. Most hurried: ask $52, $31 within 8 weeks.'
    """
    chart_style.require_columns(frame, list(_NEEDED), chart="plot_patience")
    records = frame[frame["way"] != "as now"].to_dict("records")
    if not records:
        return wordless("Nothing is held, so there is nothing to hurry.")
    rows: list[dict[str, Any]] = [
        {
            "weeks": float(row["within_weeks"]),
            "money": float(row["net_cents"]) / 100,
            "shown": chart_style.money(float(row["price_cents"]), currency=currency),
            "sold": float(row["sold_share"]),
            "chosen": bool(row["chosen"]),
        }
        for row in records
    ]
    base = alt.Chart(alt.Data(values=rows)).encode(
        x=alt.X("weeks:Q", title="weeks to sell within", scale=alt.Scale(zero=True), axis=alt.Axis(grid=False)),
        y=alt.Y(
            "money:Q",
            title=None,
            scale=alt.Scale(zero=True),
            axis=alt.Axis(labelExpr=chart_style.axis_money(currency, unit=1), tickCount=5),
        ),
        tooltip=[
            alt.Tooltip("weeks:Q", title="Within weeks", format=",.0f"),
            alt.Tooltip("money:Q", title="Brings", format=",.2f"),
            alt.Tooltip("shown:N", title="Ask"),
            alt.Tooltip("sold:Q", title="Sells", format=".0%"),
        ],
    )
    line = base.mark_line(color=chart_style.color("quiet"))
    dots = base.mark_point(filled=True, size=50, opacity=1, color=chart_style.color("quiet"))
    chosen = base.transform_filter("datum.chosen").mark_point(
        filled=True, size=130, opacity=1, color=chart_style.color("ink")
    )
    words = base.transform_filter("datum.chosen").mark_text(
        align="right", dx=-10, dy=-10, fontWeight="bold", color=chart_style.color("ink")
    )
    chart = alt.layer(line, dots, chosen, words.encode(text=alt.value("recommended"))).properties(
        width="container",
        height=240,
        title=headed(
            title, "Money left after fees, postage and packing. Each dot: the best prices for that wait.", source
        ),
    )
    best = next((row for row in records if row["chosen"]), records[-1])
    reading = f"Recommended: {_words(best, currency)}. Most hurried: {_words(records[0], currency)}."
    return described(chart, reading)


def _words(row: Any, currency: str) -> str:
    asked = chart_style.money(float(row["price_cents"]), currency=currency)
    money = chart_style.money(float(row["net_cents"]), currency=currency)
    return f"ask {asked}, {money} within {int(row['within_weeks'])} weeks"


# Shares with their errors, against the share that they are meant to have.

#: Height of a row, and of one more line of its name. [px]
_SHARE_ROW, _LINE = 34, 14


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
    chart_style.require_columns(frame, ["name", "share", "error"], chart="plot_shares")
    if frame.empty:
        return wordless("Nothing has been measured.")
    names = chart_style.distinct_labels([str(name) for name in frame["name"]])
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
    tall = _SHARE_ROW + _LINE * max(max(name.count("\n") for name in names) - 1, 0)
    floor = max(min(row["low"] for row in rows) - 0.05, 0.0)
    base = alt.Chart(alt.Data(values=rows)).encode(
        y=alt.Y("name:N", sort=[row["name"] for row in rows], title=None, axis=alt.Axis(**chart_style.row_axis()))
    )
    scale = alt.Scale(domain=[min(floor, (meant or 1.0) - 0.05), 1.0], nice=True)
    axis = alt.Axis(format="%", title=None, tickCount=5)
    bars = base.mark_rule(strokeWidth=4, strokeOpacity=0.35, color=chart_style.color("ink")).encode(
        x=alt.X("low:Q", scale=scale, axis=axis), x2="high:Q"
    )
    dots = base.mark_point(filled=True, size=70, opacity=1, color=chart_style.color("ink")).encode(
        x="share:Q", tooltip=[alt.Tooltip("name:N", title="Of"), alt.Tooltip("text:N", title="Share")]
    )
    words = base.mark_text(dy=-12, fontWeight="bold", color=chart_style.color("ink")).encode(x="share:Q", text="text:N")
    layers = [bars, dots, words]
    if meant is not None:
        line = alt.Chart(alt.Data(values=[{"meant": meant}])).mark_rule(color=chart_style.color("ink"))
        layers.insert(0, line.encode(x=alt.X("meant:Q", scale=scale, axis=axis)))
    chart = alt.layer(*layers).properties(
        width="container", height=tall * len(rows), title=alt.TitleParams(title, subtitle=subtitle)
    )
    reading = "; ".join(f"{row['name']}: {row['share']:.0%} ({_doubt(row)})" for row in _records(frame))
    return described(chart, f"{reading[:1].upper()}{reading[1:]}.")


def _doubt(row: dict[str, Any]) -> str:
    """How far the share is known; a share of all has no error that could be measured."""
    return "no miss seen" if row["share"] == 1 and not row["error"] else f"give or take {2 * row['error']:.0%}"


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(key): value for key, value in row.items()} for row in frame.to_dict("records")]


# What packing lessons would have saved: by category, one bar made of its three parts.

_LESSON_ROW = 32
#: The parts in their order, with the colour of each.
PARTS = {
    "trim_cents": ("box too big", "series_1"),
    "adjustment_cents": ("carrier's later charge", "series_3"),
    "above_cents": ("label above the rules", "series_2"),
}


def plot_packing_lessons(
    frame: pd.DataFrame, *, source: str = YOUR_BOOKS, currency: str = "USD"
) -> alt.LayerChart | alt.Chart:
    """What each category's parcels cost more than they had to, as stacked bars.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a category, drawn from top to bottom: ``category``, ``parcels``, ``trim_cents``,
        ``adjustment_cents``, ``above_cents`` and ``cost_cents``; as ``lesson_totals`` gives it.
    source : str
        Where the figures come from and of which period, for the line below the title.
    currency : str
        Code of the shop's currency.

    Returns
    -------
    alt.LayerChart or alt.Chart
        The chart; words alone where no category has anything to draw.

    Raises
    ------
    ChartError
        If a column is missing.

    Examples
    --------
    >>> rows = pd.DataFrame({"category": ["lamps"], "parcels": [9], "trim_cents": [1200], "adjustment_cents": [300],
    ...     "above_cents": [0], "cost_cents": [1500]})
    >>> plot_packing_lessons(rows).to_dict()["description"]
    'Lamps $15.00 over 9 parcels.'
    """
    chart_style.require_columns(frame, ["category", "parcels", *PARTS, "cost_cents"], chart="plot_packing_lessons")
    costly = frame[frame["cost_cents"] > 0]
    if costly.empty:
        known = "No parcel cost more than it had to, as far as the books can tell."
        return wordless(known if len(frame) else "No parcel with measures to look at.")
    names = chart_style.distinct_labels([str(name) for name in costly["category"]])
    records = [dict(row) for row in costly.to_dict("records")]
    values = [
        {
            "row": name,
            "part": words,
            "place": place,
            "cents": int(row[part]),
            "shown": show_cents(int(row[part]), currency=currency),
        }
        for name, row in zip(names, records, strict=True)
        for place, (part, (words, _)) in enumerate(PARTS.items())
        if int(row[part]) > 0
    ]
    seen = [words for words, _ in PARTS.values() if any(value["part"] == words for value in values)]
    colors = [chart_style.color(role) for words, role in PARTS.values() if words in seen]
    base = alt.Chart(alt.Data(values=values))
    scale = alt.Scale(domain=names, paddingInner=0.3)

    def y(axis: dict[str, Any]) -> alt.Y:
        return alt.Y("row:N", sort=names, title=None, scale=scale, axis=alt.Axis(**axis))

    axis = alt.Axis(labelExpr=chart_style.axis_money(currency, unit=100), tickCount=4, grid=True)
    bars = base.mark_bar().encode(
        x=alt.X("cents:Q", title="cost more than it had to", stack="zero", axis=axis),
        y=y(chart_style.row_axis()),
        order=alt.Order("place:Q"),
        color=alt.Color(
            "part:N",
            title=None,
            scale=alt.Scale(domain=seen, range=colors),
            legend=alt.Legend(orient="top", columns=alt.ExprRef("width < 480 ? 1 : 3")),
        ),
        tooltip=[
            alt.Tooltip("row:N", title="Category"),
            alt.Tooltip("part:N", title="What"),
            alt.Tooltip("shown:N", title="Amount"),
        ],
    )
    texts = {
        name: chart_style.money(int(row["cost_cents"]), currency=currency)
        for name, row in zip(names, records, strict=True)
    }
    ends = base.mark_point(opacity=0, size=1).encode(
        x=alt.X("cents:Q", axis=None), y=y(chart_style.end_axis(texts, "total", labelColor=chart_style.color("ink")))
    )
    chart = alt.layer(bars, ends).resolve_axis(x="independent", y="independent")
    every = chart_style.money(int(costly["cost_cents"].sum()), currency=currency)
    top = max(records, key=lambda row: int(row["cost_cents"]))
    finding = (
        f"Parcels cost {every} more than they had to, {top['category']} the most ({texts[names[records.index(top)]]})"
    )
    chart = chart.properties(
        width="container",
        height=_LESSON_ROW * len(names),
        title=headed(finding, "What could have been saved, by category.", source),
    )
    amounts = [show_cents(int(row["cost_cents"]), currency=currency) for row in records]
    said = [
        f"{row['category']} {amount} over {count_of(int(row['parcels']), 'parcel')}"
        for row, amount in zip(records, amounts, strict=True)
    ]
    reading = f"{chart_style.joined(said, chart_style.MOST_NAMED)}."
    return described(chart, reading[0].upper() + reading[1:])
