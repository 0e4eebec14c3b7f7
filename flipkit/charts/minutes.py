"""Where the owner's minutes go, from finding to returns."""

from __future__ import annotations

from typing import Any, Final

import flipkit.charts.quick_start  # noqa: F401  # isort: skip  # before altair opens jsonschema
import altair as alt
import pandas as pd

from flipkit.charts import style, theme
from flipkit.charts.renderer import described, wordless
from flipkit.errors import ChartError

#: Activities in the order in which they happen, by what they are for. Ten colours cannot be told
#: apart; four can, and within one the order and the words tell.
PHASES: Final[dict[str, tuple[str, ...]]] = {
    "buying": ("find", "research"),
    "preparing": ("clean", "photograph", "write"),
    "keeping": ("store", "messages"),
    "sending": ("pack", "post", "returns"),
}
_PHASE_OF = {activity: phase for phase, activities in PHASES.items() for activity in activities}
_ORDER = list(_PHASE_OF)
#: Colour of words on each phase's bar.
_ON = [theme.color(role) for role in ("on_deep", "on_bright", "on_deep", "on_bright")]
_ROW = 38


def plot_minutes(frame: pd.DataFrame, *, group: str = "category") -> alt.LayerChart | alt.Chart:
    """The owner's minutes per item as one bar a group, activity after activity.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a group and activity: ``activity``, ``minutes_per_item`` and, unless there is only one
        group, the column named by ``group``. Groups are drawn in the order of their first row.
    group : str
        Column that names the groups.

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
    'All items: 32 minutes each, most of them for pack (20) and find (12).'
    """
    style.require_columns(frame, ["activity", "minutes_per_item"], chart="plot_minutes")
    known = frame[frame["minutes_per_item"].notna()]
    names = known[group].astype(str) if group in known else pd.Series("all items", index=known.index, dtype=object)
    rows = _rows(names.tolist(), known["activity"].tolist(), known["minutes_per_item"].tolist())
    if not any(row["minutes"] for row in rows):
        return wordless("No minutes are known yet.")
    groups = list(dict.fromkeys(row["group"] for row in rows))
    labelled = dict(zip(groups, style.distinct_labels(groups), strict=True))
    for row in rows:
        row["row"] = labelled[row["group"]]
    totals = {name: sum(row["minutes"] for row in rows if row["group"] == name) for name in groups}
    chart = _drawing(rows, [labelled[name] for name in groups], {labelled[n]: f"{t:,.0f}" for n, t in totals.items()})
    chart = chart.properties(
        title=alt.TitleParams("Your own minutes per item", subtitle="Activities in the order in which they happen.")
    )
    return described(chart, _reading(rows, totals), _numbers(rows, totals, group))


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
        scale=alt.Scale(domain=phases, range=[theme.color(f"series_{k + 1}") for k in range(len(phases))]),
        legend=alt.Legend(orient="top", columnPadding=14, columns=alt.ExprRef("width < 480 ? 2 : 4")),
    )
    sequence = alt.Order("place:Q")
    bars = base.mark_bar(stroke=theme.color("paper"), strokeWidth=1).encode(
        x=x,
        y=y(style.row_axis()),
        color=color,
        order=sequence,
        detail="activity:N",
        tooltip=[
            alt.Tooltip("group:N", title="Which"),
            alt.Tooltip("activity:N", title="Activity"),
            alt.Tooltip("minutes:Q", title="Minutes per item", format=",.1f"),
        ],
    )
    # An activity is named inside its bar wherever the bar is wide enough for the word, however wide the screen.
    fits = "scale('x', datum.minutes) - scale('x', 0) > 7.5 * length(datum.activity) + 8 ? 1 : 0"
    ink = alt.Color("phase:N", legend=None, scale=alt.Scale(domain=phases, range=_ON))
    words = base.mark_text(fontSize=12, opacity=alt.ExprRef(fits)).encode(
        color=ink,
        x=alt.X("minutes:Q", stack="zero", bandPosition=0.5, axis=None),
        y=y(None),
        order=sequence,
        detail="activity:N",
        text="activity:N",
    )
    ends = base.mark_point(opacity=0, size=1).encode(
        x=alt.X("minutes:Q", axis=None), y=y(style.end_axis(totals, "min", labelColor=theme.color("ink")))
    )
    chart = alt.layer(bars, words, ends).resolve_axis(x="independent", y="independent")
    chart = chart.resolve_scale(color="independent")
    return chart.properties(width="container", height=_ROW * len(order))


def _rows(names: list[str], activities: list[str], minutes: list[float]) -> list[dict[str, Any]]:
    unknown = sorted(set(activities) - set(_ORDER))
    if unknown:
        raise ChartError("activity", need=f"one of {', '.join(_ORDER)}", got=unknown)
    rows = []
    for name, activity, value in zip(names, activities, minutes, strict=True):
        if value < 0:
            raise ChartError("minutes_per_item", need="at least 0", got=float(value), where=f"{name}, {activity}")
        rows.append(
            {
                "group": name,
                "activity": activity,
                "minutes": float(value),
                "phase": _PHASE_OF[activity],
                "place": _ORDER.index(activity),
            }
        )
    return rows


def _reading(rows: list[dict[str, Any]], totals: dict[str, float]) -> str:
    sentences = []
    for name, total in totals.items():
        own = sorted((row for row in rows if row["group"] == name), key=lambda row: -row["minutes"])
        most = [f"{row['activity']} ({row['minutes']:,.0f})" for row in own[:3] if row["minutes"] >= 0.5]
        tail = f", most of them for {style.joined(most)}" if most else ""
        text = f"{name}: {total:,.0f} minutes each{tail}."
        sentences.append(text[0].upper() + text[1:])
    return " ".join(sentences)


def _numbers(rows: list[dict[str, Any]], totals: dict[str, float], group: str) -> list[dict[str, str]]:
    head = group.replace("_", " ").capitalize()
    found = {(row["group"], row["activity"]): row["minutes"] for row in rows}
    used = [activity for activity in _ORDER if any(activity == row["activity"] for row in rows)]
    return [
        {
            head: name,
            **{a.capitalize(): f"{found[name, a]:,.1f}" if (name, a) in found else "–" for a in used},
            "Total (min)": f"{total:,.1f}",
        }
        for name, total in totals.items()
    ]
