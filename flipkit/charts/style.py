"""One look for every chart and page: colours, type and readings in words."""

from __future__ import annotations

import json
import math
import os
import re
import textwrap
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

import altair as alt
import pandas as pd

from flipkit.analysis.returns import TOO_FEW
from flipkit.charts.drawing import DRAWN_FONTS, FIT_KEY, MARGIN_KEY, picture
from flipkit.errors import ChartError
from flipkit.money import show_cents

# One look for every chart and page: roles, their colours in light and dark, the typeface stack.
#
# A colour means one thing on every chart: ``above`` is better than the mark or money that comes in, ``below`` worse
# or money that goes out, ``unsure`` too little to tell, ``ink`` an estimate that is neither, ``quiet`` what surrounds
# it, and each ``series`` a group or part that is named beside it.
#
# A chart names colours by their light value. A page puts a variable of its style sheet before each such value
# (:data:`VARIABLES`), so that the same drawing follows the reader's dark mode and the printer. The colours are our
# own; ``tests/charts/test_theme.py`` measures them as colour-blind readers see them.


class Shade(NamedTuple):
    """One role's colour on white paper and on a dark screen."""

    light: str
    dark: str


#: Typefaces that some system of every reader has; nothing is fetched.
FONTS: Final = "system-ui, -apple-system, 'Segoe UI', 'Noto Sans', 'Liberation Sans', Arial, sans-serif"


#: Every colour of the kit by what it is for. Light values are distinct: a page finds the role by them.
#: ``above``, ``below`` and ``unsure`` are verdicts; ``series_1`` to ``series_4`` tell groups apart, and
#: words on them are ``on_deep`` (series 1 and 3) or ``on_bright`` (series 2 and 4).
SHADES: Final[dict[str, Shade]] = {
    "paper": Shade("#ffffff", "#15181c"),
    "ink": Shade("#1c2126", "#e9e7e2"),
    "quiet": Shade("#596169", "#a9b0b7"),
    "line": Shade("#d9dde1", "#353b42"),
    "above": Shade("#0b5fa5", "#6db3f2"),
    "below": Shade("#b8480c", "#f39a5b"),
    "unsure": Shade("#7c848c", "#868f98"),
    "series_1": Shade("#483c8e", "#857fd7"),
    "series_2": Shade("#009eb9", "#59e1ff"),
    "series_3": Shade("#7e2016", "#c6664a"),
    "series_4": Shade("#a67c00", "#ecbc57"),
    "on_deep": Shade("#fffffe", "#15181d"),
    "on_bright": Shade("#111418", "#111419"),
}


def variable(role: str) -> str:
    """Name of the style-sheet variable that holds a role's colour.

    >>> variable("ink")
    'var(--ink)'
    """
    return f"var(--{role.replace('_', '-')})"


def color(role: str) -> str:
    """Colour of a role on white paper, as charts name it.

    >>> color("paper")
    '#ffffff'
    """
    return SHADES[role].light


#: Look of a copy of a text drawn beneath it, so that it stays clear of the lines behind.
HALO: Final[dict[str, Any]] = {
    "stroke": SHADES["paper"].light,
    "strokeWidth": 4,
    "strokeJoin": "round",
    "aria": False,
}

#: Light value to style-sheet variable, for pages.
VARIABLES: Final[dict[str, str]] = {shade.light: variable(role) for role, shade in SHADES.items()}


def style_variables(dark: bool) -> str:
    """Declarations of every role's colour for a style sheet.

    >>> style_variables(False).split("; ")[0]
    '--paper: #ffffff'
    """
    return " ".join(
        f"--{role.replace('_', '-')}: {shade.dark if dark else shade.light};" for role, shade in SHADES.items()
    )


def chart_config() -> dict[str, Any]:
    """What every chart has in common: type, axes, grid, colours.

    >>> chart_config()["view"]["stroke"] is None
    True
    """
    ink, quiet, line = color("ink"), color("quiet"), color("line")
    label = {"labelFont": DRAWN_FONTS, "labelFontSize": 13, "labelColor": quiet}
    title = {"titleFont": DRAWN_FONTS, "titleFontSize": 13, "titleFontWeight": "normal", "titleColor": quiet}
    return {
        "background": color("paper"),
        "font": DRAWN_FONTS,
        "padding": 4,
        "view": {"stroke": None, "continuousHeight": 280},
        "axis": {**label, **title, "domain": False, "ticks": False, "gridColor": line, "labelPadding": 6},
        "axisX": {"titleAnchor": "start", "titlePadding": 8, "labelFlush": False},
        "axisY": {"titleAnchor": "end", "titleAngle": 0, "titleAlign": "left"},
        "axisQuantitative": {"tickCount": 5},
        "legend": {**label, **title, "orient": "top", "symbolType": "square", "symbolSize": 110, "title": None},
        "header": {**label, **title},
        "title": {"font": DRAWN_FONTS, "fontSize": 15, "color": ink, "anchor": "start", "subtitleColor": quiet},
        "text": {"font": DRAWN_FONTS, "fontSize": 13, "color": ink},
        "rule": {"color": ink},
        "point": {"filled": True, "size": 90},
        "bar": {"color": ink},
        "line": {"color": ink, "strokeWidth": 2.5},
    }


# Words and figures as charts write them, and the checks of the frames they are given.

#: Longest line of a row's label: with it, a phone's screen keeps most of its width for the drawing.
LABEL_WIDTH = 17


#: Where a chart's figures come from, unless its caller names the period too.
YOUR_BOOKS: Final = "Your books"


def headed(finding: str, drawn: str, source: str) -> alt.TitleParams:
    """A chart's two titles: what it found, then what is drawn and from where.

    >>> headed("Half sold after 8 days", "Share still unsold.", "Your books, May 2026").subtitle
    'Share still unsold. Your books, May 2026.'
    """
    return alt.TitleParams(finding, subtitle=f"{drawn} {source}.")


def require_columns(frame: pd.DataFrame, columns: Sequence[str], *, chart: str) -> None:
    """Refuse a frame that lacks what a chart draws.

    >>> require_columns(pd.DataFrame({"a": [1]}), ["a"], chart="plot_none")
    """
    missing = [name for name in columns if name not in frame.columns]
    if missing:
        raise ChartError(
            f"the frame of {chart}",
            need=f"one with the columns {', '.join(columns)}",
            got=list(frame.columns),
            where=f"it lacks {', '.join(missing)}",
        )


def currency_mark(currency: str) -> str:
    """What stands before an amount.

    >>> currency_mark("USD"), currency_mark("CHF")
    ('$', 'CHF ')
    """
    return show_cents(0, currency=currency).removesuffix("0.00")


def money(cents: float, *, currency: str = "USD", plus: bool = False) -> str:
    """An amount in whole units of the currency, as a label has room for.

    >>> money(123456), money(-320), money(45), money(0)
    ('$1,235', '−$3', '$0.45', '$0')
    """
    if 0 < abs(cents) < 100:
        return show_cents(round(cents), currency=currency, plus=plus)
    whole = math.floor(abs(cents) / 100 + 0.5) * 100
    return show_cents(whole if cents >= 0 else -whole, currency=currency, plus=plus).removesuffix(".00")


def hourly(dollars: float, *, currency: str = "USD") -> str:
    """An hourly return as a label has room for.

    >>> hourly(21.4), hourly(-0.5)
    ('$21', '−$0.50')
    """
    return money(dollars * 100, currency=currency)


def wrapped(text: str, width: int = LABEL_WIDTH) -> str:
    """A row's label in lines that a narrow screen has room for.

    >>> wrapped("film cameras and lenses").split(chr(10))
    ['film cameras and', 'lenses']
    """
    return "\n".join(textwrap.wrap(text, width, max_lines=3, placeholder="…") or [text])


def distinct_labels(texts: Sequence[str], width: int = LABEL_WIDTH) -> list[str]:
    """Wrapped labels of rows; two rows whose labels were cut to the same text stay two rows.

    >>> distinct_labels(["lamps", "films"])
    ['lamps', 'films']
    """
    if len(set(texts)) < len(texts):
        twice = sorted({text for text in texts if list(texts).count(text) > 1})
        raise ChartError("the rows of a chart", need="of different names", got=twice)
    labels: list[str] = []
    for text in texts:
        label = wrapped(str(text), width)
        while label in labels:
            label += "\u200b"
        labels.append(label)
    return labels


def axis_money(currency: str, *, unit: int) -> str:
    """Expression that writes an axis value as money.

    >>> axis_money("USD", unit=100)
    "(datum.value < 0 ? '−' : '') + '$' + format(abs(datum.value) / 100, ',~f')"
    """
    mark = json.dumps(currency_mark(currency), ensure_ascii=False)[1:-1].replace("'", r"\'")
    return f"(datum.value < 0 ? '−' : '') + '{mark}' + format(abs(datum.value) / {unit}, ',~f')"


def axis_lookup(texts: Mapping[str, str]) -> str:
    r"""Expression that writes for each row's label another text, in the lines it is given.

    >>> axis_lookup({"lamps": "12 sold"})
    'split({"lamps": "12 sold"}[datum.value], "\\n")'
    """
    return f'split({json.dumps(dict(texts), ensure_ascii=False)}[datum.value], "\\n")'


#: Expression that writes a row's own label in its lines.
ROW_LABEL: Final = 'split(datum.value, "\\n")'
#: Height of a line of such a label. [px]
LINE_HEIGHT: Final = 15
#: Expressions true of a label in three lines and of one in more than one.
_LINES: Final = (('length(split(datum.value, "\\n")) > 2', 2), ('length(split(datum.value, "\\n")) > 1', 1))


def row_axis(**changes: Any) -> dict[str, Any]:
    """Axis at the left that names the rows, each label centred on its row however many lines it has.

    >>> row_axis()["labelLineHeight"]
    15
    """
    lifts = [{"test": test, "value": -lines * LINE_HEIGHT / 2} for test, lines in _LINES]
    return {
        "labelExpr": ROW_LABEL,
        "labelColor": color("ink"),
        "labelLimit": 170,
        "labelLineHeight": LINE_HEIGHT,
        "labelOffset": {"condition": lifts, "value": 0},
        "grid": False,
        **changes,
    }


def end_axis(texts: Mapping[str, str], title: str, **changes: Any) -> dict[str, Any]:
    """Axis at the right that writes one figure a row, under a heading.

    >>> end_axis({"lamps": "12"}, "sold")["orient"]
    'right'
    """
    heading = {"titleAlign": "left", "titleAnchor": "end", "titleY": -10, "titleX": 6}
    return {
        "orient": "right",
        "labelExpr": axis_lookup(texts),
        "title": title or None,
        "grid": False,
        **heading,
        **changes,
    }


def plain(value: Any) -> float | int | str | None:
    """A cell as JSON writes it: no missing marks, no library's own number types.

    >>> plain(float("nan")), plain(3)
    (None, 3)
    """
    if isinstance(value, str):
        return value
    if pd.isna(value):
        return None
    if isinstance(value, bool):
        return int(value)
    number = value.item() if hasattr(value, "item") else value
    if isinstance(number, float) and math.isinf(number):
        raise ChartError("a value of a chart", need="finite or missing", got=number)
    return number if isinstance(number, float | int) else str(number)


#: Names that a sentence lists; a large shop has seventy.
MOST_NAMED = 12


def joined(parts: Sequence[str], most: int = 0) -> str:
    """Parts of a sentence with commas and a last "and"; past the most asked for, if any, they are counted.

    >>> joined(["a"]), joined(["a", "b"]), joined(["a", "b", "c"]), joined(["a", "b", "c"], most=1)
    ('a', 'a and b', 'a, b and c', 'a and 2 more')
    """
    if most and len(parts) > most:
        parts = [*parts[:most], f"{len(parts) - most} more"]
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}" if parts else ""


# The renderer: what a chart hands to JupyterLab, to nbconvert and to our pages.
#
# JupyterLab draws ``application/vnd.vegalite.v5+json`` with a library of its own, without the network. altair
# writes a later schema's address into its specs, and its own renderer gives a type that lacks ``+json``, on which
# papermill stops; so this one names the type and the schema that JupyterLab knows. The specs must therefore hold
# nothing that only the later grammar has. A chart that fits its container makes JupyterLab lay itself out for
# ever, so there it is given a width; a page, which takes the same output, fits it again. Beside the spec stands
# the chart as a picture, for whatever does not draw by itself.
#
# Importing this module makes the theme and the renderer current for the process.

MIME_TYPE: Final = "application/vnd.vegalite.v5+json"
SCHEMA: Final = "https://vega.github.io/schema/vega-lite/v5.json"
#: Under which type the picture stands: nbconvert prefers it to vector graphics, and JupyterLab does not to the spec.
PICTURE_TYPE: Final = "text/markdown"
#: Set where one process draws the pictures of many notebooks: the first drawing of each would take it a second.
DRAWN_LATER: Final = "FLIPKIT_DRAWN_LATER"
#: Where a chart keeps the table of its numbers, beside the drawing, for the page to unfold.
TABLE_KEY: Final = "numbers"
#: Width in JupyterLab of a chart that fits its place in a page. [px]
LAB_WIDTH: Final = 540
#: Marks a chart that is words alone; a page shows them as text.
WORDLESS_KEY: Final = "wordless"


def render_bundle(spec: Mapping[str, Any], **_: Any) -> dict[str, Any]:
    """Outputs of one chart, its picture among them where this process draws it."""
    bundle = spec_bundle(spec)
    return bundle if DRAWN_LATER in os.environ else with_picture(bundle)


#: In a spec as JSON, what no drawing can hold: separators of lines end an axis's expression, and characters that XML
#: forbids end the process that draws them. A backslash that stands for itself is passed over.
_UNDRAWABLE: Final = re.compile(r"(\\\\)|\\u00[01][0-9a-f]|\\[bf]|[\u2028\u2029\ufffe\uffff]")


def spec_bundle(spec: Mapping[str, Any]) -> dict[str, Any]:
    """Outputs of one chart without a picture: the spec under the type that JupyterLab draws, and its text reading."""
    try:
        text = json.dumps(spec, allow_nan=False, ensure_ascii=False)
    except ValueError as error:
        raise ChartError(
            "the numbers of a chart",
            need="finite or missing",
            got="NaN or infinity",
            where=str(spec.get("description", "")),
            mend="leave the row out or give the cell no value",
        ) from error
    plain = {**json.loads(_UNDRAWABLE.sub(lambda found: found[1] or "\ufffd", text)), "$schema": SCHEMA}
    if plain.get("width") == "container":
        plain |= {"width": LAB_WIDTH, "usermeta": {**plain.get("usermeta", {}), FIT_KEY: True}}
    return {MIME_TYPE: plain, "text/plain": str(spec.get("description") or "A chart without a reading.")}


def with_picture(bundle: Mapping[str, Any]) -> dict[str, Any]:
    """Outputs of a chart with its picture, where it has not got one."""
    spec = bundle[MIME_TYPE]
    drawn = not (spec.get("usermeta") or {}).get(WORDLESS_KEY) and PICTURE_TYPE not in bundle
    return {**bundle, PICTURE_TYPE: picture(spec)} if drawn else dict(bundle)


@alt.theme.register("flipkit", enable=True)
def _theme() -> alt.theme.ThemeConfig:
    return {"config": chart_config()}  # type: ignore[typeddict-item]


alt.renderers.register("flipkit", render_bundle)
alt.renderers.enable("flipkit")


def described(chart: Any, reading: str, numbers: Sequence[Mapping[str, Any]] = ()) -> Any:
    """Attach to a chart its reading and, where neither that nor its page says them, the table of its numbers."""
    kept = dict(chart.usermeta) if isinstance(chart.usermeta, dict) else {}
    table = {TABLE_KEY: [dict(row) for row in numbers]} if numbers else {}
    return chart.properties(description=reading, usermeta=kept | table)


def wordless(text: str) -> alt.Chart:
    """What stands in a chart's place where there is nothing to draw: the reason, in words.

    >>> wordless("Nothing sold yet.").to_dict()["description"]
    'Nothing sold yet.'
    """
    words = alt.Chart(alt.Data(values=[{"text": text}])).mark_text(
        align="left", x=0, baseline="middle", color=color("quiet"), fontSize=14
    )
    return words.encode(text="text:N").properties(
        description=text, width="container", height=40, usermeta={WORDLESS_KEY: True}
    )


# Several small drawings one under another that share their rows or their months.

#: Width of a panel's drawing where nothing fits it. [px]
WIDTH: Final = 460


def stacked(panels: Sequence[Any], *, margin: int, spacing: int = 36) -> alt.VConcatChart:
    """Panels under one another, of the same width."""
    chart = alt.vconcat(*[panel.properties(width=WIDTH) for panel in panels], spacing=spacing, bounds="flush")
    return chart.properties(usermeta={MARGIN_KEY: margin})


def panel_title(text: str) -> alt.TitleParams:
    """A panel's heading: smaller than a chart's, over the drawing's left edge."""
    return alt.TitleParams(text, fontSize=13, fontWeight=600, color=color("ink"), anchor="start", offset=8)


# Estimates as dots with their intervals, one a row: the drawing behind several charts.

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
    """One row."""

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

    >>> tone("above the target"), tone("too few to tell")
    ('above', 'unsure')
    """
    if verdict not in TONES:
        raise ChartError("verdict", need=f"one of {', '.join(TONES)}", got=verdict)
    return TONES[verdict]


def draw_dots(
    dots: Sequence[Dot], *, target: float | None, target_text: str, x_title: str, count_title: str, currency: str
) -> alt.LayerChart:
    """Rows of dots with their intervals, the target as a line that carries its own label."""
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
    hue = alt.Color("role:N", legend=None, scale=alt.Scale(domain=roles, range=[color(r) for r in roles]))
    base = alt.Chart(alt.Data(values=rows))
    known = [v for dot in dots for v in (dot.low, dot.high, dot.value) if v is not None]
    layers: list[Any] = []
    if any(v < 0 for v in known):
        zero = alt.Chart(alt.Data(values=[{"value": 0}]))
        layers.append(zero.mark_rule(color=color("quiet"), strokeWidth=1).encode(x=x("value")))
    if target is not None:
        layers.append(_target(target, target_text))
    interval = base.mark_rule(strokeWidth=5, opacity=0.35, strokeCap="round")
    weight = {"condition": {"test": f"indexof({bold}, datum.value) >= 0", "value": "bold"}, "value": "normal"}
    names = alt.Axis(**row_axis(labelFontWeight=weight))
    # Without a single interval there is nothing to span, and a browser would say so.
    claimed = any(dot.low is not None for dot in dots)
    if claimed:
        layers.append(interval.encode(x=x("low"), x2="high:Q", y=y(names), color=hue))
    values = alt.Axis(labelExpr=axis_money(currency, unit=1), grid=True, tickCount=4)
    tooltip = [
        alt.Tooltip("name:N", title="Which"),
        alt.Tooltip("text:N", title="Estimate"),
        alt.Tooltip("count:N", title=count_title.capitalize()),
    ]
    dot_mark = base.mark_point(filled=True, opacity=1, size=110)
    layers.append(dot_mark.encode(x=x("value", values), y=y(None if claimed else names), color=hue, tooltip=tooltip))
    counts = alt.Axis(**end_axis(heads, count_title))
    layers.append(base.mark_point(opacity=0, size=1).encode(x=x("value"), y=y(counts)))
    layers += _words(rows, x, y, middle=(min([*known, 0.0]) + max([*known, target or 0.0])) / 2)
    chart = alt.layer(*layers).resolve_axis(x="independent", y="independent")
    return chart.properties(width="container", height=(30 if len(heads) > len(rows) else ROW_HEIGHT) * len(dots))


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
        labelColor=color("ink"),
        labelFontWeight="bold",
        labelFlush=False,
        grid=False,
        title=None,
        labelPadding=4,
    )
    return (
        alt.Chart(alt.Data(values=[{"value": target}]))
        .mark_rule(color=color("ink"), strokeWidth=1.5)
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
        "above": {"dy": -13, "fontWeight": 600, "color": color("ink")},
        "left": {"align": "right", "dx": -10, "baseline": "middle", "color": color("quiet")},
        "right": {"align": "left", "dx": 10, "baseline": "middle", "color": color("quiet")},
    }
    return [
        alt.Chart(alt.Data(values=chosen)).mark_text(**look).encode(x=x("value"), y=y(), text="text:N")
        for side, chosen in sides.items()
        if chosen
        # A halo keeps the words clear of the lines behind them.
        for look in ({**looks[side], **HALO}, looks[side])
    ]
