"""What an hour earned: per category, and per size class among sales of about the same price."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import flipkit.charts.quick_start  # noqa: F401  # isort: skip  # before altair opens jsonschema
import altair as alt
import pandas as pd

from flipkit.analysis.words import TOO_FEW
from flipkit.charts import style
from flipkit.charts.dots import TONES, Dot, draw_dots, tone
from flipkit.charts.renderer import described, wordless

_NEEDED = ("items", "hourly", "low", "high", "verdict")
#: Verdicts in the order in which a reading takes them.
_ORDER = list(TONES)


def plot_category_returns(
    frame: pd.DataFrame,
    target: float | None,
    *,
    group: str = "category",
    counted: str = "sold",
    confidence: float | None = None,
    currency: str = "USD",
) -> alt.LayerChart | alt.Chart:
    """True hourly return of each group as a dot with its interval, against the seller's target.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a group, drawn from top to bottom as it comes: ``items``, ``hourly``, ``low``, ``high``
        (dollars per hour; the interval missing where none is claimed), ``verdict`` (words of
        ``flipkit.analysis.words``) and the column named by ``group``; as ``category_returns`` gives it.
    target : float or None
        What an hour should bring. [dollars per hour]
    group : str
        Column that names the groups.
    counted : str
        What ``items`` counts: ``sold`` or ``bought``.
    confidence : float, optional
        How often the intervals are meant to hold the truth, to be said in words.
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
    style.require_columns(frame, [group, *_NEEDED], chart="plot_category_returns")
    if frame.empty:
        return wordless(f"Nothing {counted} yet, so there is no hour to value.")
    names = [str(name) for name in frame[group]]
    rows = frame.to_dict("records")
    shown = style.distinct_labels(names)
    dots = [_dot(name, label, row, currency) for name, label, row in zip(names, shown, rows, strict=True)]
    title = alt.TitleParams(
        "What an hour of your work earned", subtitle=f"Dot: the estimate. Bar: {interval_words(confidence)}."
    )
    return _described(
        dots, names, rows, title=title, target=target, head=_head(group), counted=counted, currency=currency
    )


def plot_price_bands(
    frame: pd.DataFrame, target: float | None, *, confidence: float | None = None, currency: str = "USD"
) -> alt.LayerChart | alt.Chart:
    """True hourly return of each size class among sales of about the same price.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a band and size class: ``from_cents``, ``below_cents`` (missing for the open band),
        ``size_class`` and the columns of :func:`plot_category_returns`; as ``within_price_bands`` gives it.
    target : float or None
        What an hour should bring. [dollars per hour]
    confidence : float, optional
        How often the intervals are meant to hold the truth, to be said in words.
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
    style.require_columns(frame, ["from_cents", "below_cents", "size_class", *_NEEDED], chart="plot_price_bands")
    if frame.empty:
        return wordless("Nothing sold yet, so there is no hour to value.")
    rows = frame.to_dict("records")
    bands = [_band(row["from_cents"], row["below_cents"], currency) for row in rows]
    names = [f"{band}: {row['size_class']}" for band, row in zip(bands, rows, strict=True)]
    dots: list[Dot] = []
    for k, band in enumerate(dict.fromkeys(bands)):
        dots.append(Dot("", style.wrapped(band), None, None, None, "", "", "ink", heading=True))
        own = [(name, row) for name, row, of in zip(names, rows, bands, strict=True) if of == band]
        # The same size stands in every band: marks without width keep the rows apart.
        dots += [_dot(name, str(row["size_class"]) + "\u200b" * k, row, currency) for name, row in own]
    title = alt.TitleParams(
        "An hour's return at about the same price",
        subtitle=f"Sales of each price band, by size of the parcel. Bar: {interval_words(confidence)}.",
    )
    return _described(dots, names, rows, title=title, target=target, head="Sales", counted="sold", currency=currency)


def returns_words(
    frame: pd.DataFrame,
    target: float | None,
    *,
    group: str = "category",
    counted: str = "sold",
    currency: str = "USD",
) -> tuple[str, list[dict[str, str]]]:
    """What a chart of returns says in words, and the table of its numbers.

    Parameters
    ----------
    frame : pandas.DataFrame
        As :func:`plot_category_returns` takes it.
    target : float or None
        What an hour should bring. [dollars per hour]
    group : str
        Column that names the groups.
    counted : str
        What ``items`` counts: ``sold`` or ``bought``.
    currency : str
        Code of the shop's currency.

    Returns
    -------
    tuple of (str, list of dict)
        Sentences; rows of heading to text.

    Examples
    --------
    >>> rows = pd.DataFrame({"category": ["lamps"], "items": [40], "hourly": [21.4], "low": [17.0],
    ...     "high": [26.0], "verdict": ["above the target"]})
    >>> returns_words(rows, 15.0, counted="bought")[0]
    'Above the target of $15 an hour: lamps $21 ($17 to $26, 40 bought).'
    """
    names, rows = [str(name) for name in frame[group]], frame.to_dict("records")
    reading = _reading(names, rows, target=target, counted=counted, currency=currency)
    numbers = [_numbers(name, row, _head(group), counted, currency) for name, row in zip(names, rows, strict=True)]
    return reading, numbers


def interval_words(confidence: float | None) -> str:
    """What a bar around a dot is, in words.

    Parameters
    ----------
    confidence : float or None
        How often it is meant to hold the truth.

    Returns
    -------
    str
        The words.

    Examples
    --------
    >>> interval_words(0.95)
    'where the true figure likely lies (95% interval)'
    """
    said = "" if confidence is None else f" ({confidence * 100:g}% interval)"
    return f"where the true figure likely lies{said}"


def _described(
    dots: list[Dot],
    names: list[str],
    rows: list[dict[Any, Any]],
    *,
    title: alt.TitleParams,
    target: float | None,
    head: str,
    counted: str,
    currency: str,
) -> alt.LayerChart:
    """The drawing with its title, its reading and its numbers."""
    chart = draw_dots(
        dots,
        target=target,
        target_text="" if target is None else f"target {style.hourly(target, currency=currency)}",
        x_title="net per hour of your own work",
        count_title=counted,
        currency=currency,
    )
    reading = _reading(names, rows, target=target, counted=counted, currency=currency)
    numbers = [_numbers(name, row, head, counted, currency) for name, row in zip(names, rows, strict=True)]
    drawn: alt.LayerChart = described(chart.properties(title=title), reading, numbers)
    return drawn


def _head(group: str) -> str:
    return group.replace("_", " ").capitalize()


def _dot(name: str, label: str, row: Mapping[Any, Any], currency: str) -> Dot:
    role = tone(str(row["verdict"]))
    value = _number(row["hourly"])
    claimed = role != TONES[TOO_FEW]
    text = TOO_FEW if value is None or not claimed else style.hourly(value, currency=currency)
    low, high = (_number(row["low"]), _number(row["high"])) if claimed else (None, None)
    return Dot(name, label, value, low, high, text, f"{int(row['items']):,}", role)


def _band(start: Any, end: Any, currency: str) -> str:
    if pd.isna(end):
        return f"{style.money(int(start), currency=currency)} and over"
    if int(start) == 0:
        return f"under {style.money(int(end), currency=currency)}"
    return f"{style.money(int(start), currency=currency)} to {style.money(int(end), currency=currency)}"


def _number(value: Any) -> float | None:
    found = style.plain(value)
    return None if found is None else float(found)


def _reading(names: list[str], rows: list[dict[Any, Any]], *, target: float | None, counted: str, currency: str) -> str:
    aim = "" if target is None else f" of {style.hourly(target, currency=currency)} an hour"
    sentences = []
    for verdict in _ORDER:
        parts = [
            _phrase(n, row, counted, currency) for n, row in zip(names, rows, strict=True) if row["verdict"] == verdict
        ]
        if parts:
            head = verdict.replace("the target", f"the target{aim}")
            sentences.append(f"{head[0].upper()}{head[1:]}: {style.joined(parts)}.")
    return " ".join(sentences)


def _phrase(name: str, row: Mapping[Any, Any], counted: str, currency: str) -> str:
    count = f"{int(row['items']):,} {counted}"
    value, low, high = (_number(row[key]) for key in ("hourly", "low", "high"))
    if value is None:
        return f"{name} (no hours recorded, {count})"
    if low is None or high is None or tone(str(row["verdict"])) == TONES[TOO_FEW]:
        return f"{name} ({count})"
    between = f"{style.hourly(low, currency=currency)} to {style.hourly(high, currency=currency)}"
    return f"{name} {style.hourly(value, currency=currency)} ({between}, {count})"


def _numbers(name: str, row: Mapping[Any, Any], head: str, counted: str, currency: str) -> dict[str, str]:
    mark = style.currency_mark(currency).strip()
    value, low, high = (_number(row[key]) for key in ("hourly", "low", "high"))
    return {
        head: name,
        counted.capitalize(): f"{int(row['items']):,}",
        f"Per hour ({mark})": _two(value),
        "From": _two(low),
        "To": _two(high),
        "Verdict": str(row["verdict"]),
    }


def _two(value: float | None) -> str:
    return "–" if value is None else f"{value:,.2f}".replace("-", "−")
