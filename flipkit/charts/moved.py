"""The categories' returns of a study that is asked again and again: drawn once, then given other figures."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import flipkit.charts.quick_start  # noqa: F401  # isort: skip  # before altair opens jsonschema
import altair as alt
import pandas as pd

from flipkit.charts import style
from flipkit.charts.renderer import MIME_TYPE, TABLE_KEY, described, wordless
from flipkit.charts.returns import interval_words, returns_words
from flipkit.charts.sliders import ranked_dots

_NEEDED = ("category", "items", "hourly", "low", "high", "claimed", "verdict")


def plot_moved_returns(
    frame: pd.DataFrame, target: float, *, confidence: float, counted: str = "bought", currency: str = "USD"
) -> Any:
    """Categories as dots with intervals against the target, each with its name and figures above its line.

    Parameters
    ----------
    frame : DataFrame
        One row a category, drawn from top to bottom as it comes, as ``bought_returns`` gives it.
    target : float
        What an hour should bring. [dollars per hour]
    confidence : float
        How often an interval is meant to hold the truth.
    counted : str
        What ``items`` counts: ``sold`` or ``bought``.
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
    >>> rows = pd.DataFrame({"category": ["lamps"], "items": [40], "hourly": [21.4], "low": [17.0],
    ...     "high": [26.0], "claimed": [True], "verdict": ["above the target"]})
    >>> plot_moved_returns(rows, 15.0, confidence=0.95).to_dict()["description"]
    'Above the target of $15 an hour: lamps $21 ($17 to $26, 40 bought).'
    """
    style.require_columns(frame, list(_NEEDED), chart="plot_moved_returns")
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

    Parameters
    ----------
    bundle : mapping
        Outputs of the drawing, of as many rows and the same confidence.
    frame : DataFrame
        The figures, as ``plot_moved_returns`` takes them.
    target : float
        What an hour should bring. [dollars per hour]
    counted : str
        What ``items`` counts: ``sold`` or ``bought``.
    currency : str
        Code of the shop's currency.

    Returns
    -------
    dict
        Type to content.

    Examples
    --------
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
