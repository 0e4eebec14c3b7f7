"""Charts of what an hour earned, by category, size and month."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import altair as alt
import pandas as pd

from flipkit.analysis.returns import TOO_FEW
from flipkit.books.schema import DOING
from flipkit.charts import style as chart_style
from flipkit.charts.style import (
    TONES,
    YOUR_BOOKS,
    Dot,
    described,
    draw_dots,
    headed,
    panel_title,
    stacked,
    tone,
    wordless,
)
from flipkit.errors import ChartError, count_of
from flipkit.money import show_cents
from flipkit.units import Measures

# What an hour earned: per category, and per size class among sales of about the same price.

_RETURN_NEEDED = ("items", "hourly", "low", "high", "verdict")
#: What the bars and their colors say, below the title of a page's chart.
BARS: Final = "Bar: where the true figure probably lies, blue above the target, orange below, gray unsure."
#: Verdicts in the order in which a reading takes them.
_RETURN_ORDER = list(TONES)
#: Those that leave no doubt worth a word.
_FOR_SURE = ("above the target", "makes money", "almost surely beats the target")


def plot_category_returns(
    frame: pd.DataFrame,
    target: float | None,
    *,
    group: str = "category",
    counted: str = "sold",
    confidence: float | None = None,
    source: str = YOUR_BOOKS,
    currency: str = "USD",
) -> alt.LayerChart | alt.Chart:
    """True hourly return of each group as a dot with its interval, against the seller's target.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a group, drawn from top to bottom as it comes: ``items``, ``hourly``, ``low``, ``high``
        (dollars per hour; the interval missing where none is claimed), ``verdict`` (words of
        ``flipkit.analysis.returns``) and the column named by ``group``; as ``category_returns`` gives it.
    target : float or None
        What an hour should bring. [dollars per hour]
    group : str
        Column that names the groups.
    counted : str
        What ``items`` counts: ``sold`` or ``bought``.
    confidence : float, optional
        How often the intervals are meant to hold the truth, to be said in words.
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
        If a column is missing or a verdict unknown.

    Examples
    --------
    >>> rows = pd.DataFrame({"category": ["lamps"], "items": [40], "hourly": [21.4], "low": [17.0],
    ...     "high": [26.0], "verdict": ["above the target"]})
    >>> plot_category_returns(rows, 15.0).to_dict()["description"]
    'Above the target of $15 an hour: lamps $21 ($17 to $26, 40 sold).'
    """
    chart_style.require_columns(frame, [group, *_RETURN_NEEDED], chart="plot_category_returns")
    if frame.empty:
        return wordless(f"Nothing {counted} yet, so there is no hour to value.")
    names = [str(name) for name in frame[group]]
    rows = frame.to_dict("records")
    shown = chart_style.distinct_labels(names)
    dots = [_return_dot(name, label, row, currency) for name, label, row in zip(names, shown, rows, strict=True)]
    drawn = "What you bought so far, unsold things too." if counted == "bought" else f"Things {counted}."
    title = headed(returns_finding(frame, target, currency=currency), f"{drawn} {marks_words(confidence)}", source)
    return _described(dots, names, rows, title=title, target=target, counted=counted, currency=currency)


def plot_price_bands(
    frame: pd.DataFrame,
    target: float | None,
    *,
    counted: str = "sold",
    confidence: float | None = None,
    source: str = YOUR_BOOKS,
    currency: str = "USD",
) -> alt.LayerChart | alt.Chart:
    """True hourly return of each size class among things of about the same price.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a band and size class: ``from_cents``, ``below_cents`` (missing for the open band),
        ``size_class`` and the columns of :func:`plot_category_returns`; as ``within_price_bands`` gives it.
    target : float or None
        What an hour should bring. [dollars per hour]
    counted : str
        What the items of a row are: ``sold`` or ``bought``.
    confidence : float, optional
        How often the intervals are meant to hold the truth, to be said in words.
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
        If a column is missing or a verdict unknown.

    Examples
    --------
    >>> rows = pd.DataFrame({"from_cents": [0], "below_cents": [5000], "size_class": ["small"], "items": [40],
    ...     "hourly": [21.4], "low": [17.0], "high": [26.0], "verdict": ["above the target"]})
    >>> plot_price_bands(rows, 15.0).to_dict()["description"]
    'Above the target of $15 an hour: under $50: small $21 ($17 to $26, 40 sold).'
    """
    chart_style.require_columns(
        frame, ["from_cents", "below_cents", "size_class", *_RETURN_NEEDED], chart="plot_price_bands"
    )
    if frame.empty:
        return wordless("Nothing sold yet, so there is no hour to value.")
    rows = frame.to_dict("records")
    bands = [_band(row["from_cents"], row["below_cents"], currency) for row in rows]
    names = [f"{band}: {row['size_class']}" for band, row in zip(bands, rows, strict=True)]
    dots: list[Dot] = []
    for k, band in enumerate(dict.fromkeys(bands)):
        dots.append(Dot("", chart_style.wrapped(band), None, None, None, "", "", "ink", heading=True))
        own = [(name, row) for name, row, of in zip(names, rows, bands, strict=True) if of == band]
        # The same size stands in every band: marks without width keep the rows apart.
        dots += [_return_dot(name, str(row["size_class"]) + "\u200b" * k, row, currency) for name, row in own]
    drawn = f"Items of about the same price, by size of the parcel. {marks_words(confidence)}"
    title = headed(returns_finding(frame, target, currency=currency), drawn, source)
    return _described(dots, names, rows, title=title, target=target, counted=counted, currency=currency)


def returns_words(frame: pd.DataFrame, target: float | None, *, currency: str = "USD") -> str:
    """What a chart of the returns of what was bought says in words.

    >>> rows = pd.DataFrame({"category": ["lamps"], "items": [40], "hourly": [21.4], "low": [17.0],
    ...     "high": [26.0], "verdict": ["above the target"]})
    >>> returns_words(rows, 15.0)
    'Above the target of $15 an hour: lamps $21 ($17 to $26, 40 bought).'
    """
    names, rows = frame["category"].astype(str).tolist(), frame.to_dict("records")
    return _return_reading(names, rows, target=target, counted="bought", currency=currency)


def returns_finding(frame: pd.DataFrame, target: float | None, *, currency: str = "USD") -> str:
    """How many rows of a chart of returns leave no doubt, as its title.

    >>> returns_finding(pd.DataFrame({"verdict": ["above the target", "below the target"]}), 15.0)
    '1 of 2 earned more than $15 an hour for sure'
    """
    sure = int(frame["verdict"].isin(_FOR_SURE).sum())
    did = (
        "made money" if target is None else f"earned more than {chart_style.hourly(target, currency=currency)} an hour"
    )
    return f"{sure or 'None'} of {len(frame):,} {did} for sure"


def marks_words(confidence: float | None) -> str:
    """What a dot and the bar around it are, in words.

    >>> marks_words(0.95)
    'Dot: the estimate. Bar: where the true figure probably lies (95% interval).'
    """
    said = "" if confidence is None else f" ({confidence * 100:g}% interval)"
    return f"Dot: the estimate. Bar: where the true figure probably lies{said}."


def _described(
    dots: list[Dot],
    names: list[str],
    rows: list[dict[Any, Any]],
    *,
    title: alt.TitleParams,
    target: float | None,
    counted: str,
    currency: str,
) -> alt.LayerChart:
    """The drawing with its title and its reading."""
    chart = draw_dots(
        dots,
        target=target,
        target_text="" if target is None else f"target {chart_style.hourly(target, currency=currency)}",
        x_title="net per hour of your own work",
        count_title=counted,
        currency=currency,
    )
    reading = _return_reading(names, rows, target=target, counted=counted, currency=currency)
    drawn: alt.LayerChart = described(chart.properties(title=title), reading)
    return drawn


def _return_dot(name: str, label: str, row: Mapping[Any, Any], currency: str) -> Dot:
    role = tone(str(row["verdict"]))
    value = _number(row["hourly"])
    claimed = role != TONES[TOO_FEW]
    text = TOO_FEW if value is None or not claimed else chart_style.hourly(value, currency=currency)
    low, high = (_number(row["low"]), _number(row["high"])) if claimed else (None, None)
    return Dot(name, label, value, low, high, text, f"{int(row['items']):,}", role)


def _band(start: Any, end: Any, currency: str) -> str:
    if pd.isna(end) and not int(start):
        return "any price"
    if pd.isna(end):
        return f"{chart_style.money(int(start), currency=currency)} and over"
    if int(start) == 0:
        return f"under {chart_style.money(int(end), currency=currency)}"
    return f"{chart_style.money(int(start), currency=currency)} to {chart_style.money(int(end), currency=currency)}"


def _number(value: Any) -> float | None:
    found = chart_style.plain(value)
    return None if found is None else float(found)


def _return_reading(
    names: list[str], rows: list[dict[Any, Any]], *, target: float | None, counted: str, currency: str
) -> str:
    aim = "" if target is None else f" of {chart_style.hourly(target, currency=currency)} an hour"
    sentences = []
    for verdict in _RETURN_ORDER:
        parts = [
            _return_phrase(n, row, counted, currency)
            for n, row in zip(names, rows, strict=True)
            if row["verdict"] == verdict
        ]
        if parts:
            head = verdict.replace("the target", f"the target{aim}")
            sentences.append(f"{head[0].upper()}{head[1:]}: {chart_style.joined(parts, chart_style.MOST_NAMED)}.")
    return " ".join(sentences)


def _return_phrase(name: str, row: Mapping[Any, Any], counted: str, currency: str) -> str:
    number = int(row["items"])
    count = count_of(number, "item") if counted == "items" else f"{number:,} {counted}"
    value, low, high = (_number(row[key]) for key in ("hourly", "low", "high"))
    if value is None and number:
        return f"{name} (no hours recorded, {count})"
    if value is None or low is None or high is None or tone(str(row["verdict"])) == TONES[TOO_FEW]:
        return f"{name} ({count})"
    between = f"{chart_style.hourly(low, currency=currency)} to {chart_style.hourly(high, currency=currency)}"
    return f"{name} {chart_style.hourly(value, currency=currency)} ({between}, {count})"


# Bulky against small: what a parcel's size brings and takes, measure by measure.

_SIZE_LEFT, _SIZE_RIGHT = 66, 96


@dataclass(frozen=True)
class _Measure:
    """One panel: the column it draws, its interval if it has one, and how its figures read."""

    column: str
    heading: str
    unit: str
    low: str = ""
    high: str = ""


#: Writes one figure of a measure.
Show = Callable[[float], str]

MEASURES: Final = (
    _Measure("hourly", "net per hour of your own work", "dollars", "low", "high"),
    _Measure("net_per_sale_cents", "net per sale", "cents"),
    _Measure("label_per_sale_cents", "postage per sale", "cents"),
    _Measure("minutes_per_sale", "your own minutes per sale", "min"),
    _Measure("days_to_sale", "days until half have sold", "days", "days_low", "days_high"),
    _Measure("stock_cost_cents", "money tied up in stock", "cents"),
    _Measure("stock_cubic_ft", "space taken by stock", "cu ft"),
)


def plot_size_comparison(
    frame: pd.DataFrame,
    *,
    confidence: float | None = None,
    source: str = YOUR_BOOKS,
    currency: str = "USD",
    measures: Measures = Measures(),  # noqa: B008 - it is frozen
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
    source : str
        Where the figures come from and of which period, for the line below the title.
    currency : str
        Code of the shop's currency.
    measures : Measures
        How the shop writes room.

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
    chart_style.require_columns(frame, ["size_class", "items", "verdict"], chart="plot_size_comparison")
    drawn = [m for m in MEASURES if m.column in frame.columns and frame[m.column].notna().any()]
    if frame.empty or not drawn:
        return wordless("Nothing sold yet, so there is no size to compare.")
    rows = frame.to_dict("records")
    show = {measure.column: _shower(measure.unit, currency, measures) for measure in drawn}
    panels = [_panel(measure, rows, show[measure.column]) for measure in drawn]
    drawn_words = f"By size of the packed parcel. {marks_words(confidence)}"
    chart = stacked(panels, margin=_SIZE_LEFT + _SIZE_RIGHT).properties(
        title=headed(_size_finding(drawn, rows, show), drawn_words, source)
    )
    reading = " ".join(_sentence(measure, rows, show[measure.column]) for measure in drawn)
    return described(chart, reading)


def _size_finding(drawn: list[_Measure], rows: list[dict[Any, Any]], show: Mapping[str, Show]) -> str:
    """The first measure that two sizes have: the size with most of it, and the one with least."""
    for measure in drawn:
        known = [
            row
            for row in rows
            if chart_style.plain(row[measure.column]) is not None
            and not (measure.column == "hourly" and row["verdict"] == TOO_FEW)
        ]
        if len(known) > 1:
            least, most = (pick(known, key=lambda row: float(row[measure.column])) for pick in (min, max))
            said = [
                f"{show[measure.column](float(row[measure.column]))} for {row['size_class']}" for row in (most, least)
            ]
            return f"Sold items only: {measure.heading}, {said[0]} things, {said[1]}"
    return "Too few sales to compare the sizes"


def _panel(measure: _Measure, rows: list[dict[Any, Any]], show: Show) -> alt.LayerChart:
    values = [_size_record(measure, row) | {"said": _end(measure, row, show)} for row in rows]
    order = [value["size"] for value in values]
    texts = {value["size"]: value["said"] for value in values}
    base = alt.Chart(alt.Data(values=values))
    scale = alt.Scale(domain=order, paddingInner=0.35)
    rule = alt.Chart(alt.Data(values=[{"value": 0}])).mark_rule(color=chart_style.color("quiet"), strokeWidth=1)

    def x(field: str) -> alt.X:
        return alt.X(f"{field}:Q", axis=None, title=None, scale=alt.Scale(zero=True, nice=False))

    def y(axis: dict[str, Any] | None) -> alt.Y:
        return alt.Y("size:N", sort=order, title=None, scale=scale, axis=None if axis is None else alt.Axis(**axis))

    roles = sorted({value["role"] for value in values})
    color = alt.Color("role:N", legend=None, scale=alt.Scale(domain=roles, range=[chart_style.color(r) for r in roles]))
    names = chart_style.row_axis(minExtent=_SIZE_LEFT, maxExtent=_SIZE_LEFT)
    ends = chart_style.end_axis(
        texts, "", labelColor=chart_style.color("ink"), minExtent=_SIZE_RIGHT, maxExtent=_SIZE_RIGHT
    )
    tooltip = [alt.Tooltip("size:N", title="Size"), alt.Tooltip("said:N", title=measure.heading.capitalize())]
    layers: list[Any] = [rule.encode(x=x("value"))]
    if measure.low and any(value["low"] is not None for value in values):
        bar = base.mark_rule(strokeWidth=5, opacity=0.35, strokeCap="round")
        dot = base.mark_point(filled=True, opacity=1, size=90)
        layers += [
            bar.encode(x=x("low"), x2="high:Q", y=y(names), color=color),
            dot.encode(x=x("value"), y=y(None), color=color, tooltip=tooltip),
        ]
    else:
        layers.append(base.mark_bar(height=9).encode(x=x("value"), y=y(names), color=color, tooltip=tooltip))
    layers.append(base.mark_point(opacity=0, size=1).encode(x=x("value"), y=y(ends)))
    chart = alt.layer(*layers).resolve_axis(y="independent").resolve_scale(color="independent")
    return chart.properties(height=24 * len(rows), title=panel_title(measure.heading))


def _size_record(measure: _Measure, row: dict[Any, Any]) -> dict[str, Any]:
    few = measure.column == "hourly" and row["verdict"] == TOO_FEW
    value = chart_style.plain(row[measure.column])
    role = "quiet"
    if measure.column == "hourly":
        role = tone(str(row["verdict"]))
    elif measure.column == "net_per_sale_cents" and value is not None:
        role = "above" if float(value) >= 0 else "below"
    return {
        "role": role,
        "size": str(row["size_class"]),
        "value": value,
        "low": chart_style.plain(row.get(measure.low)) if measure.low and not few else None,
        "high": chart_style.plain(row.get(measure.high)) if measure.high and not few else None,
    }


def _end(measure: _Measure, row: dict[Any, Any], show: Show) -> str:
    if measure.column == "hourly" and row["verdict"] == TOO_FEW:
        return TOO_FEW
    value = chart_style.plain(row[measure.column])
    if value is None:
        return "not reached" if measure.unit == "days" and int(row["items"]) > 0 else "–"
    return show(float(value))


def _shower(unit: str, currency: str, measures: Measures) -> Show:
    if unit == "cents":
        return lambda value: chart_style.money(value, currency=currency)
    if unit == "dollars":
        return lambda value: chart_style.hourly(value, currency=currency)
    if unit == "cu ft":
        return measures.room
    return lambda value: f"{value:,.0f} {unit}"


def _between(measure: _Measure, row: dict[Any, Any], show: Show) -> str:
    """The interval of a figure that has one."""
    low, high = (chart_style.plain(row.get(name)) if name else None for name in (measure.low, measure.high))
    if low is None or high is None or _end(measure, row, show) == TOO_FEW:
        return ""
    return f" ({show(float(low))} to {show(float(high))})"


def _sentence(measure: _Measure, rows: list[dict[Any, Any]], show: Show) -> str:
    parts = [f"{row['size_class']} {_end(measure, row, show)}{_between(measure, row, show)}" for row in rows]
    return f"{measure.heading[0].upper()}{measure.heading[1:]}: {', '.join(parts)}."


# Where the owner's minutes go, from finding to returns.

#: Activities in the order in which they happen, by what they are for. Ten colours cannot be told
#: apart; four can, and within one the order and the words tell.
PHASES: Final[dict[str, tuple[str, ...]]] = {
    "buying": ("find", "research"),
    "preparing": ("clean", "photograph", "write"),
    "keeping": ("store", "messages"),
    "sending": ("pack", "post", "returns"),
}
_PHASE_OF = {activity: phase for phase, activities in PHASES.items() for activity in activities}
_MINUTE_ORDER = list(_PHASE_OF)
#: Colour of words on each phase's bar.
_ON = [chart_style.color(role) for role in ("on_deep", "on_bright", "on_deep", "on_bright")]
_MINUTE_ROW = 38


def plot_minutes(
    frame: pd.DataFrame, *, group: str = "category", source: str = YOUR_BOOKS
) -> alt.LayerChart | alt.Chart:
    """The owner's minutes per item as one bar a group, activity after activity.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a group and activity: ``activity``, ``minutes_per_item`` and, unless there is only one
        group, the column named by ``group``. Groups are drawn in the order of their first row.
    group : str
        Column that names the groups.
    source : str
        Where the figures come from and of which period, for the line below the title.

    Returns
    -------
    alt.LayerChart or alt.Chart
        The chart; words alone where no minutes are known.

    Raises
    ------
    ChartError
        If a column is missing, an activity unknown, or minutes are negative.

    Examples
    --------
    >>> rows = pd.DataFrame({"activity": ["find", "pack"], "minutes_per_item": [12.0, 20.0]})
    >>> plot_minutes(rows).to_dict()["description"]
    'All items: 32 minutes each, mostly packing (20) and finding (12).'
    """
    chart_style.require_columns(frame, ["activity", "minutes_per_item"], chart="plot_minutes")
    known = frame[frame["minutes_per_item"].notna()]
    names = known[group].astype(str) if group in known else pd.Series("all items", index=known.index, dtype=object)
    rows = _rows(names.tolist(), known["activity"].tolist(), known["minutes_per_item"].tolist())
    if not any(row["minutes"] for row in rows):
        return wordless("No minutes are known yet.")
    groups = list(dict.fromkeys(row["group"] for row in rows))
    labelled = dict(zip(groups, chart_style.distinct_labels(groups), strict=True))
    for row in rows:
        row["row"] = labelled[row["group"]]
    totals = {name: sum(row["minutes"] for row in rows if row["group"] == name) for name in groups}
    chart = _drawing(rows, [labelled[name] for name in groups], {labelled[n]: f"{t:,.0f}" for n, t in totals.items()})
    drawn = "Your own minutes per item sold, in the order of the work."
    chart = chart.properties(title=headed(_minute_finding(rows, totals, group), drawn, source))
    return described(chart, _minute_reading(rows, totals), _minute_numbers(rows, totals, group))


def _drawing(rows: list[dict[str, Any]], order: list[str], totals: dict[str, str]) -> alt.LayerChart:
    base = alt.Chart(alt.Data(values=rows))
    scale = alt.Scale(domain=order, paddingInner=0.35)

    def y(axis: dict[str, Any] | None) -> alt.Y:
        return alt.Y("row:N", sort=order, title=None, scale=scale, axis=None if axis is None else alt.Axis(**axis))

    x = alt.X("minutes:Q", title="minutes per item", stack="zero", axis=alt.Axis(grid=True, tickCount=5))
    phases = list(PHASES)
    color = alt.Color(
        "phase:N",
        title=None,
        scale=alt.Scale(domain=phases, range=[chart_style.color(f"series_{k + 1}") for k in range(len(phases))]),
        legend=alt.Legend(orient="top", columnPadding=14, columns=alt.ExprRef("width < 480 ? 2 : 4")),
    )
    sequence = alt.Order("place:Q")
    bars = base.mark_bar(stroke=chart_style.color("paper"), strokeWidth=1).encode(
        x=x,
        y=y(chart_style.row_axis()),
        color=color,
        order=sequence,
        detail="activity:N",
        tooltip=[
            alt.Tooltip("group:N", title="Which"),
            alt.Tooltip("doing:N", title="Activity"),
            alt.Tooltip("minutes:Q", title="Minutes per item", format=",.1f"),
        ],
    )
    # An activity is named inside its bar wherever the bar is wide enough for the word, however wide the screen.
    fits = "scale('x', datum.minutes) - scale('x', 0) > 7.5 * length(datum.doing) + 8 ? 1 : 0"
    ink = alt.Color("phase:N", legend=None, scale=alt.Scale(domain=phases, range=_ON))
    words = base.mark_text(fontSize=12, opacity=alt.ExprRef(fits)).encode(
        color=ink,
        x=alt.X("minutes:Q", stack="zero", bandPosition=0.5, axis=None),
        y=y(None),
        order=sequence,
        detail="activity:N",
        text="doing:N",
    )
    ends = base.mark_point(opacity=0, size=1).encode(
        x=alt.X("minutes:Q", axis=None), y=y(chart_style.end_axis(totals, "min", labelColor=chart_style.color("ink")))
    )
    chart = alt.layer(bars, words, ends).resolve_axis(x="independent", y="independent")
    chart = chart.resolve_scale(color="independent")
    return chart.properties(width="container", height=_MINUTE_ROW * len(order))


def _rows(names: list[str], activities: list[str], minutes: list[float]) -> list[dict[str, Any]]:
    unknown = sorted(set(activities) - set(_MINUTE_ORDER))
    if unknown:
        raise ChartError("activity", need=f"one of {', '.join(_MINUTE_ORDER)}", got=unknown)
    rows = []
    for name, activity, value in zip(names, activities, minutes, strict=True):
        if value < 0:
            raise ChartError("minutes_per_item", need="at least 0", got=float(value), where=f"{name}, {activity}")
        rows.append(
            {
                "group": name,
                "activity": activity,
                "doing": DOING[activity],
                "minutes": float(value),
                "phase": _PHASE_OF[activity],
                "place": _MINUTE_ORDER.index(activity),
            }
        )
    return rows


def _minute_finding(rows: list[dict[str, Any]], totals: dict[str, float], group: str) -> str:
    """What one group's minutes go to; of several groups, which takes most and which least."""
    if len(totals) == 1:
        ((name, total),) = totals.items()
        return f"Each takes {total:,.0f} minutes of your work{_largest(rows, name, total, 2)}"
    least, most = (pick(totals, key=lambda name: totals[name]) for pick in (min, max))
    if round(totals[least]) == round(totals[most]):
        return f"Each takes {totals[most]:,.0f} minutes of your work, whatever the {group.replace('_', ' ')}"
    return (
        f"{most[0].upper()}{most[1:]} takes the most minutes each ({totals[most]:,.0f}), "
        f"{least} the fewest ({totals[least]:,.0f})"
    )


def _largest(rows: list[dict[str, Any]], name: str, total: float, count: int) -> str:
    """The largest parts of a group's minutes; "mostly" only where they are more than half."""
    own = sorted((row for row in rows if row["group"] == name), key=lambda row: -row["minutes"])
    most = [row for row in own[:count] if row["minutes"] >= 0.5]
    head = ", mostly" if 2 * sum(row["minutes"] for row in most) > total else ": the largest parts are"
    told = chart_style.joined([f"{row['doing']} ({row['minutes']:,.0f})" for row in most])
    return f"{head} {told}" if told else ""


def _minute_reading(rows: list[dict[str, Any]], totals: dict[str, float]) -> str:
    sentences = []
    for name, total in totals.items():
        text = f"{name}: {total:,.0f} minutes each{_largest(rows, name, total, 3)}."
        sentences.append(text[0].upper() + text[1:])
    return " ".join(sentences)


def _minute_numbers(rows: list[dict[str, Any]], totals: dict[str, float], group: str) -> list[dict[str, str]]:
    head = group.replace("_", " ").capitalize()
    found = {(row["group"], row["activity"]): row["minutes"] for row in rows}
    used = [activity for activity in _MINUTE_ORDER if any(activity == row["activity"] for row in rows)]
    return [
        {
            head: name,
            **{DOING[a].capitalize(): f"{found[name, a]:,.1f}" if (name, a) in found else "–" for a in used},
            "Total (min)": f"{total:,.1f}",
        }
        for name, total in totals.items()
    ]


# From gross to net: every line that was added or taken, one under another.

_WATERFALL_ROW = 27


def plot_waterfall(
    frame: pd.DataFrame,
    *,
    nothing: str = "No money has moved.",
    ends: str = "total",
    source: str = YOUR_BOOKS,
    currency: str = "USD",
) -> alt.LayerChart | alt.Chart:
    """The lines from gross to net as bars, each beginning where the line above it ends.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a line in order, the last one the net: ``line`` and ``amount_cents`` (costs negative). The lines
        must add up to the net. Lines of zero are not drawn.
    nothing : str
        What is said where every line is zero.
    ends : str
        What the figures at the right are of.
    source : str
        Where the figures come from and of which period, for the line below the title.
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
    'Of $50.00 sold price, labels took $12.50. $37.50 is left.'
    """
    chart_style.require_columns(frame, ["line", "amount_cents"], chart="plot_waterfall")
    rows = _placed(frame, currency)
    drawn = [row for row in rows if row["amount"] != 0 or row["kind"] == "net"]
    if len(drawn) < 2:
        return wordless(nothing)
    for row, label in zip(drawn, chart_style.distinct_labels([row["line"] for row in drawn], 21), strict=True):
        row["row"] = label
    order = [row["row"] for row in drawn]
    texts = {row["row"]: chart_style.money(row["amount"], currency=currency) for row in drawn}
    base = alt.Chart(alt.Data(values=drawn))
    scale = alt.Scale(domain=order, paddingInner=0.3)

    def y(axis: dict[str, Any] | None) -> alt.Y:
        return alt.Y("row:N", sort=order, title=None, scale=scale, axis=None if axis is None else alt.Axis(**axis))

    x = alt.X(
        "start:Q",
        title=None,
        axis=alt.Axis(labelExpr=chart_style.axis_money(currency, unit=100), tickCount=4, grid=True),
        scale=alt.Scale(zero=True),
    )
    color = alt.Color(
        "role:N",
        legend=None,
        scale=alt.Scale(domain=["above", "below"], range=[chart_style.color("above"), chart_style.color("below")]),
    )
    tooltip = [alt.Tooltip("line:N", title="Line"), alt.Tooltip("shown:N", title="Amount")]
    bars = base.mark_bar().encode(x=x, x2="end:Q", y=y(chart_style.row_axis()), color=color, tooltip=tooltip)
    zero = alt.Chart(alt.Data(values=[{"start": 0}])).mark_rule(color=chart_style.color("ink"), strokeWidth=1)
    marks = base.mark_point(opacity=0, size=1).encode(
        x=alt.X("start:Q", axis=None), y=y(chart_style.end_axis(texts, ends, labelColor=chart_style.color("ink")))
    )
    chart = alt.layer(bars, zero.encode(x=alt.X("start:Q", axis=None)), marks)
    chart = chart.resolve_axis(x="independent", y="independent")
    chart = chart.properties(width="container", height=_WATERFALL_ROW * len(drawn))
    chart = chart.properties(
        title=headed(_waterfall_finding(rows, currency), "Each line begins where the one above it ends.", source)
    )
    return described(chart, _waterfall_reading(rows, currency))


def _placed(frame: pd.DataFrame, currency: str) -> list[dict[str, Any]]:
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
                "shown": show_cents(cents, currency=currency),
            }
        )
    return rows


def _waterfall_finding(rows: list[dict[str, Any]], currency: str) -> str:
    """What is left of what came in, and the largest cost; "most" only where it is more than half of the costs."""
    came = sum(row["amount"] for row in rows[:-1] if row["amount"] > 0)
    costs = sorted((row for row in rows[:-1] if row["amount"] < 0), key=lambda row: row["amount"])
    net = rows[-1]["amount"]
    left = f"{chart_style.money(abs(net), currency=currency)} {'is left' if net >= 0 else 'is lost'}"
    told = f"Of {chart_style.money(came, currency=currency)} that came in, {left}" if came and net >= 0 else left
    if not costs:
        return told
    largest = costs[0]
    part = "most" if 2 * largest["amount"] < sum(row["amount"] for row in costs) else "the largest part"
    return f"{told}: {largest['line']} took {part}{' of the rest' if net >= 0 else ''}"


def _waterfall_reading(rows: list[dict[str, Any]], currency: str) -> str:
    def shown(cents: int) -> str:
        return show_cents(abs(cents), currency=currency)

    gains = [f"{shown(row['amount'])} {row['line']}" for row in rows[:-1] if row["amount"] > 0]
    costs = sorted((row for row in rows[:-1] if row["amount"] < 0), key=lambda row: row["amount"])
    taken = [f"{row['line']} took {shown(row['amount'])}" for row in costs]
    net = rows[-1]["amount"]
    left = f"{shown(net)} is left" if net >= 0 else f"the loss is {shown(net)}"
    head = f"Of {chart_style.joined(gains)}, " if gains else ""
    text = f"{head}{chart_style.joined(taken) or 'nothing was taken'}. {left[0].upper()}{left[1:]}."
    return text[0].upper() + text[1:]


# The price from which bulky wins, under one supposition after another.

_BREAK_EVEN_NEEDED: Final = ("moved", "wage", "divisor", "price_cents", "low_cents", "high_cents", "claimed")
_NOW: Final = "as the books have it"
_HEADINGS: Final = {"wage": "Hired wage", "divisor": "Divisor"}


def plot_break_even_moves(
    frame: pd.DataFrame, *, confidence: float | None = None, source: str = YOUR_BOOKS, currency: str = "USD"
) -> alt.LayerChart | alt.Chart:
    """The break-even price as a dot with its interval, for the books and for each supposition.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a setting: ``moved`` ("wage", "divisor", or "" for the books as they are), ``wage``
        (dollars per hour), ``divisor`` (cubic inches a pound), ``price_cents``, ``low_cents``, ``high_cents``
        (infinity where bulky never wins), ``claimed``.
    confidence : float, optional
        How often the intervals are meant to hold the truth, to be said in words.
    source : str
        Where the figures come from and of which period, for the line below the title.
    currency : str
        Code of the shop's currency.

    Returns
    -------
    alt.LayerChart or alt.Chart
        The chart; words alone where no setting has a price.

    Raises
    ------
    ChartError
        If a column is missing.

    Examples
    --------
    >>> rows = pd.DataFrame({"moved": ["", "wage"], "wage": [16.0, 32.0], "divisor": 0, "claimed": True,
    ...     "price_cents": [15900.0, 16900.0], "low_cents": [13300.0, 14000.0], "high_cents": [21600.0, math.inf]})
    >>> plot_break_even_moves(rows).to_dict()["description"]
    'As the books have it: $159 ($133 to $216). Hired wage $32: $169 ($140 to no price).'
    """
    chart_style.require_columns(frame, list(_BREAK_EVEN_NEEDED), chart="plot_break_even_moves")
    rows = [row for row in frame.to_dict("records") if row["claimed"]]
    if not any(math.isfinite(row["price_cents"]) for row in rows):
        return wordless("There are too few sales to find a price from which bulky wins.")
    ends = [row[end] for row in rows for end in ("price_cents", "high_cents") if math.isfinite(row[end])]
    dots: list[Dot] = []
    for row in rows:
        heading = _HEADINGS.get(row["moved"])
        if heading and heading not in [dot.name for dot in dots]:
            dots.append(Dot(heading, heading, None, None, None, "", "", "ink", heading=True))
        if math.isfinite(row["price_cents"]):
            dots.append(_break_even_dot(row, max(ends), currency))
    now = next(row["price_cents"] for row in rows if not row["moved"])
    chart = draw_dots(
        dots,
        target=now / 100 if math.isfinite(now) else None,
        target_text="now",
        x_title="sold price",
        count_title="",
        currency=currency,
    )
    drawn_words = f"The sold price from which an hour on bulky things earns more. {marks_words(confidence)}"
    chart = chart.properties(title=headed(_break_even_finding(rows, now, currency), drawn_words, source))
    reading = " ".join(f"{_name(row, currency).capitalize()}: {_shown(row, currency)}." for row in rows)
    drawn: alt.LayerChart = described(chart, reading)
    return drawn


def _break_even_finding(rows: list[dict[Any, Any]], now: float, currency: str) -> str:
    """From which price bulky earns more now, and how far one change moves that."""
    known = [row["price_cents"] for row in rows if math.isfinite(row["price_cents"])]
    low, high = (chart_style.money(pick(known), currency=currency) for pick in (min, max))
    head = (
        f"Sold items only: bulky beats small from {chart_style.money(now, currency=currency)}"
        if math.isfinite(now)
        else "Bulky earns more at no price"
    )
    return head if len(rows) == 1 else f"{head}; with one change, from {low}{'' if low == high else f' to {high}'}"


def _name(row: Mapping[Any, Any], currency: str) -> str:
    if row["moved"] == "wage":
        return f"hired wage {chart_style.hourly(row['wage'], currency=currency)}"
    return f"divisor {row['divisor']}" if row["moved"] == "divisor" else _NOW


def _break_even_dot(row: Mapping[Any, Any], reach: float, currency: str) -> Dot:
    name = _name(row, currency)
    label = name.removeprefix("hired wage ").removeprefix("divisor ") + (" an hour" if row["moved"] == "wage" else "")
    # An interval without an upper end is drawn as far as the others go; the reading says that it has none.
    low, high = row["low_cents"] / 100, min(row["high_cents"], reach) / 100
    text = chart_style.money(row["price_cents"], currency=currency)
    return Dot(name, label, row["price_cents"] / 100, low, high, text, "", "ink")


def _price(cents: float, currency: str) -> str:
    return chart_style.money(cents, currency=currency) if math.isfinite(cents) else "no price"


def _shown(row: Mapping[Any, Any], currency: str) -> str:
    price, low, high = (_price(row[f"{part}_cents"], currency) for part in ("price", "low", "high"))
    return f"{price} ({low} to {high})"
