"""Words and figures as charts write them, and the checks of the frames they are given."""

from __future__ import annotations

import json
import math
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any, Final

import pandas as pd

from flipkit.charts import theme
from flipkit.errors import ChartError
from flipkit.money import show_cents

#: Longest line of a row's label: with it, a phone's screen keeps most of its width for the drawing.
LABEL_WIDTH = 17


def require_columns(frame: pd.DataFrame, columns: Sequence[str], *, chart: str) -> None:
    """Refuse a frame that lacks what a chart draws.

    Parameters
    ----------
    frame : pandas.DataFrame
        The frame.
    columns : sequence of str
        What it needs.
    chart : str
        The chart's function, for the message.

    Raises
    ------
    ChartError
        If a column is missing.

    Examples
    --------
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

    Parameters
    ----------
    currency : str
        Code of the currency.

    Returns
    -------
    str
        Its sign, or its code and a space.

    Examples
    --------
    >>> currency_mark("USD"), currency_mark("CHF")
    ('$', 'CHF ')
    """
    return show_cents(0, currency=currency).removesuffix("0.00")


def money(cents: float, *, currency: str = "USD", plus: bool = False) -> str:
    """An amount in whole units of the currency, as a label has room for.

    Parameters
    ----------
    cents : float
        The amount. [cents]
    currency : str
        Code of the currency.
    plus : bool
        Whether a gain carries a plus sign.

    Returns
    -------
    str
        Such as ``$1,235``; the amount to the cent where it is under one unit.

    Examples
    --------
    >>> money(123456), money(-320), money(45), money(0)
    ('$1,235', '−$3', '$0.45', '$0')
    """
    if 0 < abs(cents) < 100:
        return show_cents(round(cents), currency=currency, plus=plus)
    whole = math.floor(abs(cents) / 100 + 0.5) * 100
    return show_cents(whole if cents >= 0 else -whole, currency=currency, plus=plus).removesuffix(".00")


def hourly(dollars: float, *, currency: str = "USD") -> str:
    """An hourly return as a label has room for.

    Parameters
    ----------
    dollars : float
        Dollars per hour, or the shop's currency.
    currency : str
        Code of the currency.

    Returns
    -------
    str
        Such as ``$21``.

    Examples
    --------
    >>> hourly(21.4), hourly(-0.5)
    ('$21', '−$0.50')
    """
    return money(dollars * 100, currency=currency)


def wrapped(text: str, width: int = LABEL_WIDTH) -> str:
    """A row's label in lines that a narrow screen has room for.

    Parameters
    ----------
    text : str
        The label.
    width : int
        Longest line, in characters.

    Returns
    -------
    str
        At most three lines; a longer text ends in an ellipsis.

    Examples
    --------
    >>> wrapped("film cameras and lenses").split(chr(10))
    ['film cameras and', 'lenses']
    """
    return "\n".join(textwrap.wrap(text, width, max_lines=3, placeholder="…") or [text])


def distinct_labels(texts: Sequence[str], width: int = LABEL_WIDTH) -> list[str]:
    """Wrapped labels of rows; two rows whose labels were cut to the same text stay two rows.

    Parameters
    ----------
    texts : sequence of str
        The rows' names, each different.
    width : int
        Longest line, in characters.

    Returns
    -------
    list of str
        The labels in the same order, each different.

    Raises
    ------
    ChartError
        If two rows have the same name.

    Examples
    --------
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

    Parameters
    ----------
    currency : str
        Code of the currency.
    unit : int
        How many of the axis's units make one of the currency: 100 for cents, 1 for dollars.

    Returns
    -------
    str
        A Vega expression.

    Examples
    --------
    >>> axis_money("USD", unit=100)
    "(datum.value < 0 ? '−' : '') + '$' + format(abs(datum.value) / 100, ',~f')"
    """
    mark = json.dumps(currency_mark(currency), ensure_ascii=False)[1:-1].replace("'", r"\'")
    return f"(datum.value < 0 ? '−' : '') + '{mark}' + format(abs(datum.value) / {unit}, ',~f')"


def axis_lookup(texts: Mapping[str, str]) -> str:
    r"""Expression that writes for each row's label another text, in the lines it is given.

    Parameters
    ----------
    texts : mapping of str to str
        Label to text.

    Returns
    -------
    str
        A Vega expression.

    Examples
    --------
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

    Parameters
    ----------
    **changes : object
        Further properties of the axis.

    Returns
    -------
    dict
        Properties of a Vega-Lite axis.

    Examples
    --------
    >>> row_axis()["labelLineHeight"]
    15
    """
    lifts = [{"test": test, "value": -lines * LINE_HEIGHT / 2} for test, lines in _LINES]
    return {
        "labelExpr": ROW_LABEL,
        "labelColor": theme.color("ink"),
        "labelLimit": 170,
        "labelLineHeight": LINE_HEIGHT,
        "labelOffset": {"condition": lifts, "value": 0},
        "grid": False,
        **changes,
    }


def end_axis(texts: Mapping[str, str], title: str, **changes: Any) -> dict[str, Any]:
    """Axis at the right that writes one figure a row, under a heading.

    Parameters
    ----------
    texts : mapping of str to str
        Label of a row to its figure.
    title : str
        The heading.
    **changes : object
        Further properties of the axis.

    Returns
    -------
    dict
        Properties of a Vega-Lite axis.

    Examples
    --------
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

    Parameters
    ----------
    value : object
        A cell.

    Returns
    -------
    float, int, str or None
        The value; None where it is missing.

    Raises
    ------
    ChartError
        If it is infinite.

    Examples
    --------
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


def joined(parts: Sequence[str]) -> str:
    """Parts of a sentence with commas and a last "and".

    Parameters
    ----------
    parts : sequence of str
        The parts.

    Returns
    -------
    str
        The list in words.

    Examples
    --------
    >>> joined(["a"]), joined(["a", "b"]), joined(["a", "b", "c"])
    ('a', 'a and b', 'a, b and c')
    """
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}" if parts else ""
