"""The renderer: what a chart hands to JupyterLab and to our pages.

JupyterLab draws ``application/vnd.vegalite.v5+json`` with a library of its own, without the network.
altair writes a later schema's address into its specs, and its own renderer gives a type that lacks
``+json``, on which papermill stops; so this one names the type and the schema that JupyterLab knows.
The specs must therefore hold nothing that only the later grammar has. A chart that fits its container
makes JupyterLab lay itself out for ever, so there it is given a width; a page, which takes the same
output, fits it again.

Importing this module makes the theme and the renderer current for the process.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any, Final

import flipkit.charts.quick_start  # noqa: F401  # isort: skip  # before altair opens jsonschema
import altair as alt

from flipkit.charts import theme
from flipkit.errors import ChartError

MIME_TYPE: Final = "application/vnd.vegalite.v5+json"
SCHEMA: Final = "https://vega.github.io/schema/vega-lite/v5.json"
#: Where a chart keeps the table of its numbers, beside the drawing, for the page to unfold.
TABLE_KEY: Final = "numbers"
#: Marks a chart that fits its place in a page, and the width that it has in JupyterLab. [px]
FIT_KEY: Final = "fit"
LAB_WIDTH: Final = 540
#: Marks a chart that is words alone; a page shows them as text.
WORDLESS_KEY: Final = "wordless"


def render_bundle(spec: Mapping[str, Any], **_: Any) -> dict[str, Any]:
    """Outputs of one chart: the spec under the type that JupyterLab draws, and its text reading.

    Parameters
    ----------
    spec : mapping
        The chart as altair wrote it.
    **_ : object
        Options that other renderers take; none applies here.

    Returns
    -------
    dict
        Type to content.

    Raises
    ------
    ChartError
        If the chart holds a number that is not finite, which JSON cannot write.

    Examples
    --------
    >>> bundle = render_bundle({"mark": "point", "description": "One dot."})
    >>> bundle["text/plain"]
    'One dot.'
    """
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
    plain = {**json.loads(text), "$schema": SCHEMA}
    if plain.get("width") == "container":
        plain |= {"width": LAB_WIDTH, "usermeta": {**plain.get("usermeta", {}), FIT_KEY: True}}
    return {MIME_TYPE: plain, "text/plain": str(spec.get("description") or "A chart without a reading.")}


@alt.theme.register("flipkit", enable=True)
def _theme() -> alt.theme.ThemeConfig:
    return {"config": theme.chart_config()}  # type: ignore[typeddict-item]


alt.renderers.register("flipkit", render_bundle)
alt.renderers.enable("flipkit")


def described(chart: Any, reading: str, numbers: Sequence[Mapping[str, Any]]) -> Any:
    """Attach to a chart its reading in words and the table of its numbers.

    Parameters
    ----------
    chart : alt.Chart, alt.LayerChart or alt.VConcatChart
        The drawing.
    reading : str
        What the picture says, in sentences, from its numbers.
    numbers : sequence of mapping
        Rows of the table that a page unfolds below the picture: heading to text.

    Returns
    -------
    alt.Chart, alt.LayerChart or alt.VConcatChart
        The same drawing with ``description`` and ``usermeta``.

    Examples
    --------
    >>> chart = alt.Chart(alt.Data(values=[])).mark_point()
    >>> described(chart, "Nothing yet.", []).to_dict()["description"]
    'Nothing yet.'
    """
    kept = dict(chart.usermeta) if isinstance(chart.usermeta, dict) else {}
    return chart.properties(description=reading, usermeta=kept | {TABLE_KEY: [dict(row) for row in numbers]})


def wordless(text: str) -> alt.Chart:
    """What stands in a chart's place where there is nothing to draw: the reason, in words.

    Parameters
    ----------
    text : str
        The reason.

    Returns
    -------
    alt.Chart
        A chart of words alone.

    Examples
    --------
    >>> wordless("Nothing sold yet.").to_dict()["description"]
    'Nothing sold yet.'
    """
    words = alt.Chart(alt.Data(values=[{"text": text}])).mark_text(
        align="left", x=0, baseline="middle", color=theme.color("quiet"), fontSize=14
    )
    return words.encode(text="text:N").properties(
        description=text, width="container", height=40, usermeta={WORDLESS_KEY: True}
    )
