"""One look for every chart and page: roles, their colours in light and dark, the typeface stack.

A chart names colours by their light value. A page replaces each such value by a variable of its style
sheet (:data:`VARIABLES`), so that the same drawing follows the reader's dark mode and the printer.
The colours are our own; ``tests/charts/test_theme.py`` measures them as colour-blind readers see them.
"""

from __future__ import annotations

from typing import Any, Final, NamedTuple


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

    Parameters
    ----------
    role : str
        A key of :data:`SHADES`.

    Returns
    -------
    str
        The reference as a style sheet writes it.

    Examples
    --------
    >>> variable("ink")
    'var(--ink)'
    """
    return f"var(--{role.replace('_', '-')})"


def color(role: str) -> str:
    """Colour of a role on white paper, as charts name it.

    Parameters
    ----------
    role : str
        A key of :data:`SHADES`.

    Returns
    -------
    str
        Six hexadecimal digits after ``#``.

    Examples
    --------
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

    Parameters
    ----------
    dark : bool
        Whether the values for a dark screen are asked for.

    Returns
    -------
    str
        ``--role: #rrggbb;`` for each role, in the order of :data:`SHADES`.

    Examples
    --------
    >>> style_variables(False).split("; ")[0]
    '--paper: #ffffff'
    """
    return " ".join(
        f"--{role.replace('_', '-')}: {shade.dark if dark else shade.light};" for role, shade in SHADES.items()
    )


def chart_config() -> dict[str, Any]:
    """What every chart has in common: type, axes, grid, colours.

    Returns
    -------
    dict
        A Vega-Lite ``config`` object.

    Examples
    --------
    >>> chart_config()["view"]["stroke"] is None
    True
    """
    ink, quiet, line = color("ink"), color("quiet"), color("line")
    label = {"labelFont": FONTS, "labelFontSize": 13, "labelColor": quiet}
    title = {"titleFont": FONTS, "titleFontSize": 13, "titleFontWeight": "normal", "titleColor": quiet}
    return {
        "background": color("paper"),
        "font": FONTS,
        "padding": 4,
        "view": {"stroke": None, "continuousHeight": 280},
        "axis": {**label, **title, "domain": False, "ticks": False, "gridColor": line, "labelPadding": 6},
        "axisX": {"titleAnchor": "start", "titlePadding": 8, "labelFlush": False},
        "axisY": {"titleAnchor": "end", "titleAngle": 0, "titleAlign": "left"},
        "axisQuantitative": {"tickCount": 5},
        "legend": {**label, **title, "orient": "top", "symbolType": "square", "symbolSize": 110, "title": None},
        "header": {**label, **title},
        "title": {"font": FONTS, "fontSize": 15, "color": ink, "anchor": "start", "subtitleColor": quiet},
        "text": {"font": FONTS, "fontSize": 13, "color": ink},
        "rule": {"color": ink},
        "point": {"filled": True, "size": 90},
        "bar": {"color": color("above")},
        "line": {"color": color("above"), "strokeWidth": 2.5},
    }
