"""What packing lessons would have saved: by category, one bar made of its three parts."""

from __future__ import annotations

from typing import Any

import flipkit.charts.quick_start  # noqa: F401  # isort: skip  # before altair opens jsonschema
import altair as alt
import pandas as pd

from flipkit.charts import style, theme
from flipkit.charts.renderer import described, wordless
from flipkit.money import show_cents

_ROW = 32
#: The parts in their order, with the colour of each.
PARTS = {
    "trim_cents": ("a trim of one side", "series_1"),
    "adjustment_cents": ("taken later", "series_3"),
    "above_cents": ("billed above the measures entered", "series_2"),
}


def plot_packing_lessons(frame: pd.DataFrame, *, currency: str = "USD") -> alt.LayerChart | alt.Chart:
    """What each category's parcels cost more than they had to, as stacked bars.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a category, drawn from top to bottom: ``category``, ``parcels``, ``trim_cents``,
        ``adjustment_cents``, ``above_cents`` and ``cost_cents``; as ``lesson_totals`` gives it.
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
    style.require_columns(frame, ["category", "parcels", *PARTS, "cost_cents"], chart="plot_packing_lessons")
    costly = frame[frame["cost_cents"] > 0]
    if costly.empty:
        known = "No parcel cost more than it had to, as far as the books can tell."
        return wordless(known if len(frame) else "No parcel with measures to look at.")
    names = style.distinct_labels([str(name) for name in costly["category"]])
    records = [dict(row) for row in costly.to_dict("records")]
    values = [
        {"row": name, "part": words, "place": place, "cents": int(row[part]), "shown": show_cents(int(row[part]))}
        for name, row in zip(names, records, strict=True)
        for place, (part, (words, _)) in enumerate(PARTS.items())
        if int(row[part]) > 0
    ]
    seen = [words for words, _ in PARTS.values() if any(value["part"] == words for value in values)]
    colors = [theme.color(role) for words, role in PARTS.values() if words in seen]
    base = alt.Chart(alt.Data(values=values))
    scale = alt.Scale(domain=names, paddingInner=0.3)

    def y(axis: dict[str, Any]) -> alt.Y:
        return alt.Y("row:N", sort=names, title=None, scale=scale, axis=alt.Axis(**axis))

    axis = alt.Axis(labelExpr=style.axis_money(currency, unit=100), tickCount=4, grid=True)
    bars = base.mark_bar().encode(
        x=alt.X("cents:Q", title="could have been saved", stack="zero", axis=axis),
        y=y(style.row_axis()),
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
        name: style.money(int(row["cost_cents"]), currency=currency) for name, row in zip(names, records, strict=True)
    }
    ends = base.mark_point(opacity=0, size=1).encode(
        x=alt.X("cents:Q", axis=None), y=y(style.end_axis(texts, "in all", labelColor=theme.color("ink")))
    )
    chart = alt.layer(bars, ends).resolve_axis(x="independent", y="independent")
    chart = chart.properties(
        width="container", height=_ROW * len(names), title="What parcels cost more than they had to"
    )
    amounts = [show_cents(int(row["cost_cents"]), currency=currency) for row in records]
    said = [
        f"{row['category']} {amount} over {int(row['parcels']):,} {'parcel' if row['parcels'] == 1 else 'parcels'}"
        for row, amount in zip(records, amounts, strict=True)
    ]
    reading = f"{style.joined(said)}."
    numbers = [_numbers(row, currency) for row in [dict(one) for one in frame.to_dict("records")]]
    return described(chart, reading[0].upper() + reading[1:], numbers)


def _numbers(row: dict[Any, Any], currency: str) -> dict[str, str]:
    parts = {words.capitalize(): show_cents(int(row[part]), currency=currency) for part, (words, _) in PARTS.items()}
    return {"Category": str(row["category"]), "Parcels": f"{int(row['parcels']):,}", **parts}
