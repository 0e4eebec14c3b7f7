"""The price from which bulky wins, under one supposition after another."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

import flipkit.charts.quick_start  # noqa: F401  # isort: skip  # before altair opens jsonschema
import altair as alt
import pandas as pd

from flipkit.charts import style
from flipkit.charts.dots import Dot, draw_dots
from flipkit.charts.renderer import described, wordless

_NEEDED: Final = ("moved", "wage", "divisor", "price_cents", "low_cents", "high_cents", "claimed")
_NOW: Final = "as the books have it"
_HEADINGS: Final = {"wage": "Hired wage", "divisor": "Divisor"}


def plot_break_even_moves(
    frame: pd.DataFrame, *, confidence: float | None = None, currency: str = "USD"
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
    style.require_columns(frame, list(_NEEDED), chart="plot_break_even_moves")
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
            dots.append(_dot(row, max(ends), currency))
    now = next(row["price_cents"] for row in rows if not row["moved"])
    chart = draw_dots(
        dots,
        target=now / 100 if math.isfinite(now) else None,
        target_text="now",
        x_title="sold price",
        count_title="",
        currency=currency,
    )
    said = "" if confidence is None else f" ({confidence * 100:g}% interval)"
    chart = chart.properties(
        title=alt.TitleParams(
            "The sold price from which an hour on bulky things wins",
            subtitle=f"One thing moved at a time. A pale bar around a dot: where the true figure likely lies{said}.",
        )
    )
    reading = " ".join(f"{_name(row, currency).capitalize()}: {_shown(row, currency)}." for row in rows)
    drawn: alt.LayerChart = described(chart, reading, [_numbers(row, currency) for row in rows])
    return drawn


def _name(row: Mapping[Any, Any], currency: str) -> str:
    if row["moved"] == "wage":
        return f"hired wage {style.hourly(row['wage'], currency=currency)}"
    return f"divisor {row['divisor']}" if row["moved"] == "divisor" else _NOW


def _dot(row: Mapping[Any, Any], reach: float, currency: str) -> Dot:
    name = _name(row, currency)
    label = name.removeprefix("hired wage ").removeprefix("divisor ") + (" an hour" if row["moved"] == "wage" else "")
    # An interval without an upper end is drawn as far as the others go; the reading says that it has none.
    low, high = row["low_cents"] / 100, min(row["high_cents"], reach) / 100
    text = style.money(row["price_cents"], currency=currency)
    return Dot(name, label, row["price_cents"] / 100, low, high, text, "", "ink")


def _price(cents: float, currency: str) -> str:
    return style.money(cents, currency=currency) if math.isfinite(cents) else "no price"


def _shown(row: Mapping[Any, Any], currency: str) -> str:
    price, low, high = (_price(row[f"{part}_cents"], currency) for part in ("price", "low", "high"))
    return f"{price} ({low} to {high})"


def _numbers(row: Mapping[Any, Any], currency: str) -> dict[str, str]:
    price, low, high = (_price(row[f"{part}_cents"], currency) for part in ("price", "low", "high"))
    return {"Supposed": _name(row, currency), "Bulky wins from": price, "From": low, "To": high}
