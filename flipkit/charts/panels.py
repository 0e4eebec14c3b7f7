"""Several small drawings one under another that share their rows or their months."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import flipkit.charts.quick_start  # noqa: F401  # isort: skip  # before altair opens jsonschema
import altair as alt

from flipkit.charts import theme

#: Where a chart of panels says how much of its width is not drawing: a page gives every panel the rest.
#: (The grammar can fit one view to its container, and not several.)
MARGIN_KEY: Final = "margin"
#: Width of a panel's drawing where nothing fits it. [px]
WIDTH: Final = 460


def stacked(panels: Sequence[Any], *, margin: int, spacing: int = 36) -> alt.VConcatChart:
    """Panels under one another, of the same width.

    Parameters
    ----------
    panels : sequence of alt.Chart or alt.LayerChart
        The panels from top to bottom, each with axes of a fixed extent.
    margin : int
        Width of the axes at the left and the right together. [px]
    spacing : int
        Gap between panels. [px]

    Returns
    -------
    alt.VConcatChart
        The panels.
    """
    chart = alt.vconcat(*[panel.properties(width=WIDTH) for panel in panels], spacing=spacing, bounds="flush")
    return chart.properties(usermeta={MARGIN_KEY: margin})


def panel_title(text: str) -> alt.TitleParams:
    """A panel's heading: smaller than a chart's, over the drawing's left edge.

    Parameters
    ----------
    text : str
        What the panel shows, with its unit.

    Returns
    -------
    alt.TitleParams
        The heading.
    """
    return alt.TitleParams(text, fontSize=13, fontWeight=600, color=theme.color("ink"), anchor="start", offset=8)
