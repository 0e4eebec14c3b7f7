"""Charts of returns whose assumptions a reader moves in the page."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Final, NamedTuple

import altair as alt
import pandas as pd

from flipkit.analysis.returns import TOO_FEW
from flipkit.analysis.sliders import AS_CHARGED, Settings, moved_returns
from flipkit.charts import style
from flipkit.charts.returns import interval_words, returns_words
from flipkit.charts.style import MIME_TYPE, TABLE_KEY, described, stacked, tone, wordless

# The categories' returns with assumptions that a reader moves in the page, without a kernel.
#
# Drawing and arithmetic travel together: the page recomputes what ``flipkit.analysis.sliders`` computes, and a
# browser test holds the one against the other.

#: Divisors that a reader can try.
DIVISORS: Final = (139, 166, 194)
#: What is written beside the choice of a divisor.
DIVISOR_LABEL: Final = "Divisor for dimensional weight"
#: A page reads the sentence aloud from the marks of this name.
SENTENCE: Final = "sentence"
_SLIDER_ROW: Final = 46
_ABOVE, _BELOW, _EITHER = "above the target", "below the target", "may be above or below the target"
_SQUARES = (
    "datum.nn + datum.a * datum.a * datum.hh + points * points * datum.pp + datum.q * datum.q * datum.mm"
    " - 2 * datum.a * datum.nh - 2 * points * datum.np - 2 * datum.q * datum.nm + 2 * datum.a * points * datum.hp"
    " + 2 * datum.a * datum.q * datum.hm + 2 * points * datum.q * datum.pm"
)


def plot_moving_returns(
    sums: pd.DataFrame, start: Settings, *, wage: float, confidence: float, currency: str = "USD"
) -> Any:
    """Categories as dots with intervals, best first, with sliders for five assumptions.

    >>> empty = pd.DataFrame({"category": []})
    >>> plot_moving_returns(empty, Settings(20, 16), wage=16, confidence=0.95).to_dict()["description"]
    'Nothing sold in these months, so there is no hour to move.'
    """
    if sums.empty:
        return wordless("Nothing sold in these months, so there is no hour to move.")
    rows = [
        {str(name): style.plain(value) if value is not None else None for name, value in row.items()}
        for row in sums.to_dict("records")
    ]
    mark = style.currency_mark(currency)
    ranked = _ranked(alt.Chart(), wage)
    chart = stacked(
        [
            _sentence_panel(ranked, mark),
            ranked_dots(ranked, sums["category"].nunique(), confidence=confidence, currency=currency),
        ],
        margin=34,
        spacing=8,
    )
    # The rows stand once, above the panels, and not in each layer again.
    chart.data = alt.Data(values=rows)
    chart = chart.add_params(*_sliders(start, currency)).properties(
        title=alt.TitleParams(
            "An hour's return, recomputed as you move",
            subtitle=f"Items sold in the window. Bar: {confidence * 100:g}% interval, stretched with the assumptions; "
            "line: your target.",
        )
    )
    moved = moved_returns(sums, start, wage=wage)
    return described(chart, " ".join(moved_words(moved, start.target, currency=currency)), _numbers(moved, mark))


class Slide(NamedTuple):
    """One assumption that a reader moves: its name in ``Settings``, the words beside it, how far it goes."""

    name: str
    label: str
    start: float
    low: float
    high: float
    step: float


def slides(start: Settings, *, currency: str = "USD") -> list[Slide]:
    """The assumptions that a reader moves by a slider.

    >>> wage = slides(Settings(target=18.0, wage=16.2))[1]
    >>> wage.label, wage.low, wage.high
    ('Hired wage an hour ($)', 0.2, 40)
    """
    unit = style.currency_mark(currency).strip()

    def slide(name: str, label: str, low: float, high: float, step: float) -> Slide:
        value = getattr(start, name)
        # A browser puts a slider on a step counted from its least value, so the first value must be one.
        low = round(value - step * int((value - min(low, value)) / step + 1e-9), 6)
        return Slide(name, label, value, low, max(high, value), step)

    return [
        slide("target", f"Your hour should bring ({unit})", 0, 60, 0.5),
        slide("wage", f"Hired wage an hour ({unit})", 0, 40, 0.5),
        slide("points", "Fees, percentage points more", -5, 10, 0.25),
        slide("factor", "Your minutes, times", 0.5, 2, 0.05),
    ]


def divisor_options() -> dict[str, int]:
    """The divisors that a reader can choose, by their words.

    >>> list(divisor_options().items())[:2]
    [('as it was charged', 0), ('139', 139)]
    """
    return {"as it was charged": AS_CHARGED, **{str(divisor): divisor for divisor in DIVISORS}}


def moved_words(moved: pd.DataFrame, target: float, *, currency: str = "USD") -> list[str]:
    """The sentences above the dots, as the page writes them.

    >>> rows = pd.DataFrame({"category": ["lamps", "games"], "items": [40, 9], "net": [400.0, 50.0],
    ...     "hours": [20.0, 10.0], "hourly": [20.0, 5.0], "verdict": ["above the target", "too few to tell"]})
    >>> moved_words(rows, 15.0)[:2]
    ['Your hour earned $15.00 over 49 sales.', '1 of 2 categories above $15.00, 0 below.']
    """
    mark = style.currency_mark(currency)
    verdicts = moved["verdict"]
    hourly = moved["net"].sum() / moved["hours"].sum()
    above, below = int((verdicts == _ABOVE).sum()), int((verdicts == _BELOW).sum())
    return [
        f"Your hour earned {_amount(hourly, mark)} over {int(moved['items'].sum()):,} sales.",
        f"{above} of {len(moved)} categories above {_amount(target, mark)}, {below} below.",
        f"Best: {moved['category'].iloc[0]}, {_amount(moved['hourly'].iloc[0], mark)}.",
        f"Last: {moved['category'].iloc[-1]}, {_amount(moved['hourly'].iloc[-1], mark)}.",
    ]


def _ranked(chart: alt.Chart, wage: float) -> alt.Chart:
    """The rows of the divisor chosen, with everything that moves."""
    help_more = f"wage / {wage!r} - 1" if wage else "0"
    verdict = (
        f"!datum.claimed ? '{TOO_FEW}' : datum.lower > target ? '{_ABOVE}' : "
        f"datum.upper < target ? '{_BELOW}' : '{_EITHER}'"
    )
    return (
        chart.transform_filter("datum.divisor == divisor")
        .transform_calculate(a=help_more)
        .transform_calculate(moved_net="datum.net - datum.a * datum.help - points * datum.point")
        .transform_calculate(moved_hours="datum.hours * factor", q="datum.moved_net / datum.hours")
        .transform_calculate(value="datum.moved_net / datum.moved_hours", se=f"sqrt(max({_SQUARES}, 0))")
        .transform_calculate(stretch="datum.error > 0 ? datum.se / datum.moved_hours / datum.error : 1")
        .transform_calculate(
            lower="datum.claimed ? datum.value + (datum.low - datum.hourly) * datum.stretch : null",
            upper="datum.claimed ? datum.value + (datum.high - datum.hourly) * datum.stretch : null",
        )
        .transform_calculate(verdict=verdict)
        .transform_window(
            place="row_number()",
            sort=[alt.SortField("value", order="descending"), alt.SortField("category", order="ascending")],
        )
    )


def _sentence_panel(ranked: alt.Chart, mark: str) -> alt.Chart:
    """The sentences, from sums over the categories."""
    lines = [
        f"'Your hour earned ' + {_written('datum.net_all / datum.hours_all', mark)} + ' over ' + "
        "format(datum.items_all, ',') + ' sales.'",
        "datum.above + ' of ' + datum.categories + ' categories above ' + "
        f"{_written('target', mark)} + ', ' + datum.below + ' below.'",
        f"'Best: ' + datum.best.category + ', ' + {_written('datum.best.value', mark)} + '.'",
        f"'Last: ' + datum.worst.category + ', ' + {_written('datum.worst.value', mark)} + '.'",
    ]
    ends: list[Any] = [
        alt.AggregatedFieldDef(op="argmin", field="place", **_called("best")),
        alt.AggregatedFieldDef(op="argmax", field="place", **_called("worst")),
    ]
    panel = (
        ranked.transform_calculate(
            is_above=f"datum.verdict == '{_ABOVE}' ? 1 : 0", is_below=f"datum.verdict == '{_BELOW}' ? 1 : 0"
        )
        .transform_aggregate(
            ends,
            net_all="sum(moved_net)",
            hours_all="sum(moved_hours)",
            items_all="sum(items)",
            categories="count()",
            above="sum(is_above)",
            below="sum(is_below)",
        )
        .transform_calculate(lines=f"[{', '.join(lines)}]")
        .mark_text(align="left", baseline="top", fontSize=13, fontWeight=600, lineHeight=20)
        .encode(x=alt.value(0), y=alt.value(0), text="lines:N")
    )
    named: alt.Chart = panel.properties(height=84, name=SENTENCE)
    return named


def ranked_dots(
    ranked: alt.Chart, rows: int, *, confidence: float, counted: str = "sold", currency: str = "USD"
) -> alt.LayerChart:
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
        f"datum.claimed ? {_written('datum.value', mark)} + ', ' + format(datum.items, ',') + ' {counted}' : "
        f"'{TOO_FEW}, ' + format(datum.items, ',') + ' {counted}'"
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


def _sliders(start: Settings, currency: str) -> list[alt.Parameter]:
    def bound(slide: Slide) -> alt.Parameter:
        bind = alt.binding_range(min=slide.low, max=slide.high, step=slide.step, name=slide.label)
        return alt.param(name=slide.name, value=slide.start, bind=bind)

    target, wage, points, factor = map(bound, slides(start, currency=currency))
    options = divisor_options()
    chosen = alt.binding_select(options=list(options.values()), labels=list(options), name=DIVISOR_LABEL)
    return [target, wage, points, alt.param(name="divisor", value=start.divisor, bind=chosen), factor]


def _numbers(moved: pd.DataFrame, mark: str) -> list[Mapping[str, str]]:
    unit = mark.strip()

    def two(value: float) -> str:
        return "–" if pd.isna(value) else f"{value:,.2f}".replace("-", "−")

    return [
        {
            "Category": str(row["category"]),
            "Sold": f"{row['items']:,}",
            f"Per hour ({unit})": two(row["hourly"]),
            "From": two(row["low"]),
            "To": two(row["high"]),
            "Verdict": str(row["verdict"]),
        }
        for row in moved.to_dict("records")
    ]


def _called(name: str) -> dict[str, Any]:
    return {"as": name}


def _amount(dollars: float, mark: str) -> str:
    text = f"{abs(dollars):,.2f}"
    return f"{'−' if dollars < 0 and float(text.replace(',', '')) else ''}{mark}{text}"


def _written(value: str, mark: str) -> str:
    """Expression that writes an amount as ``_amount`` does."""
    sign = f"({value} < 0 && format(abs({value}), '.2f') != '0.00' ? '−' : '')"
    return f"{sign} + {json.dumps(mark, ensure_ascii=False)} + format(abs({value}), ',.2f')"


# The categories' returns of a study that is asked again and again: drawn once, then given other figures.

_MOVED_NEEDED = ("category", "items", "hourly", "low", "high", "claimed", "verdict")


def plot_moved_returns(
    frame: pd.DataFrame, target: float, *, confidence: float, counted: str = "bought", currency: str = "USD"
) -> Any:
    """Categories as dots with intervals against the target, each with its name and figures above its line.

    >>> rows = pd.DataFrame({"category": ["lamps"], "items": [40], "hourly": [21.4], "low": [17.0],
    ...     "high": [26.0], "claimed": [True], "verdict": ["above the target"]})
    >>> plot_moved_returns(rows, 15.0, confidence=0.95).to_dict()["description"]
    'Above the target of $15 an hour: lamps $21 ($17 to $26, 40 bought).'
    """
    style.require_columns(frame, list(_MOVED_NEEDED), chart="plot_moved_returns")
    if frame.empty:
        return wordless(f"Nothing {counted} yet, so there is no hour to value.")
    chart = ranked_dots(alt.Chart(), len(frame), confidence=confidence, counted=counted, currency=currency)
    # The rows stand once, above the layers, where other figures can be put.
    chart.data = alt.Data(values=_rows(frame))
    chart = chart.add_params(alt.param(name="target", value=target)).properties(
        width="container",
        title=alt.TitleParams(
            "What an hour of your work earned", subtitle=f"Dot: the estimate. Bar: {interval_words(confidence)}."
        ),
    )
    return described(chart, *returns_words(frame, target, counted=counted, currency=currency))


def with_figures(
    bundle: Mapping[str, Any],
    frame: pd.DataFrame,
    target: float,
    *,
    counted: str = "bought",
    currency: str = "USD",
) -> dict[str, Any]:
    """The outputs of a drawing of ``plot_moved_returns`` with other figures: the same as drawn anew, at once.

    >>> rows = pd.DataFrame({"category": ["lamps"], "items": [40], "hourly": [21.4], "low": [17.0],
    ...     "high": [26.0], "claimed": [True], "verdict": ["above the target"]})
    >>> before = plot_moved_returns(rows, 15.0, confidence=0.95)._repr_mimebundle_()
    >>> with_figures(before, rows.assign(hourly=22.4), 15.0)["text/plain"]
    'Above the target of $15 an hour: lamps $22 ($17 to $26, 40 bought).'
    """
    spec = bundle[MIME_TYPE]
    reading, numbers = returns_words(frame, target, counted=counted, currency=currency)
    params = [{**param, "value": target} if param["name"] == "target" else param for param in spec["params"]]
    changed = {
        **spec,
        "data": {"values": _rows(frame)},
        "params": params,
        "description": reading,
        "usermeta": {**spec["usermeta"], TABLE_KEY: numbers},
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
                scale=alt.Scale(domain=["better", "worse"], range=[style.color("above"), style.color("below")]),
                legend=alt.Legend(orient="top", title=None),
            ),
            tooltip=[alt.Tooltip("name:N", title="Moved"), alt.Tooltip("end:N", title="At its")],
        )
    )
    marks: list[Any] = [bars, _line(middle, scale, axis, "ink", [1, 0])]
    if target is not None:
        marks.append(_line(target, scale, axis, "quiet", [4, 3]))
    chart = alt.layer(*marks).properties(
        width="container", height=_TORNADO_ROW * len(order), title=alt.TitleParams(title, subtitle=subtitle)
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
    return base.mark_rule(color=style.color(role), strokeDash=dash).encode(x=alt.X("at:Q", scale=scale, axis=axis))
