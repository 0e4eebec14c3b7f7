"""An executed notebook as one HTML file that needs no network."""

from __future__ import annotations

import copy
import hashlib
import json
import os
import re
import sys
import tempfile
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from html import escape
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import mistune
from nbconvert.exporters.templateexporter import TemplateExporter
from traitlets.config import Config

from flipkit.charts import style
from flipkit.charts.style import (  # before nbconvert: it opens jsonschema
    FIT_KEY,
    MARGIN_KEY,
    MIME_TYPE,
    TABLE_KEY,
    WORDLESS_KEY,
)
from flipkit.reports.elements import FIGURES_TYPE, Figure, table_html

if TYPE_CHECKING:
    from nbformat import NotebookNode


# The drawing library that each page carries within itself, kept in a file between runs.

#: Grammar version of the library in the pages; the specs are written for the one before it as well.
VEGA_LITE: Final = "6.4"


def cache_folder() -> Path:
    """Where this user's programs keep what they can make again.

    >>> cache_folder().name
    'flipkit'
    """
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA", "") or str(Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = str(Path.home() / "Library" / "Caches")
    else:
        base = os.environ.get("XDG_CACHE_HOME", "") or str(Path.home() / ".cache")
    return Path(base) / "flipkit"


@cache
def drawing_library() -> str:
    """The script that draws charts in a page, whole, needing nothing from outside.

    Making it takes a second or more, so it is kept in :func:`cache_folder` under a name that holds
    its version. The file begins with a digest of the rest; one that does not fit is made again. A
    folder that cannot be written costs the second at each run and nothing else. (A shared temporary
    folder would be no better place: what another user puts there would run in the pages.)

    >>> "vegaEmbed" in drawing_library()
    True
    """
    made_by = version("vl-convert-python")
    file = cache_folder() / f"drawing-{made_by}-{VEGA_LITE}.js"
    kept = _read_checked(file)
    if kept is not None:
        return kept
    import vl_convert

    script = vl_convert.javascript_bundle(vl_version=VEGA_LITE)  # type: ignore[call-arg]  # the snippet is optional
    script = script.replace("</script", r"<\/script").replace("<!--", r"<\!--")
    with suppress(OSError):
        _write_checked(file, script)
    return script


def _digest(script: str) -> str:
    return hashlib.sha256(script.encode()).hexdigest()


def _read_checked(file: Path) -> str | None:
    try:
        head, _, script = file.read_text(encoding="utf-8", errors="strict").partition("\n")
    except (OSError, UnicodeDecodeError):
        return None
    return script if head == f"// {_digest(script)}" else None


def _write_checked(file: Path, script: str) -> None:
    file.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=file.parent, prefix=file.name, suffix=".part")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as part:
            part.write(f"// {_digest(script)}\n{script}")
        Path(name).replace(file)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


# An executed notebook as one HTML file that opens anywhere and asks the network for nothing.

TEMPLATES: Final = files("flipkit.pack") / "templates"
#: Largest page that goes out; a page is mailed, and read over a phone's connection.
MOST_BYTES: Final = 1_600_000
_HEADING = re.compile(r"^#{1,6}\s+(.+?)\s*#*$", re.MULTILINE)
_TOP_HEADING = re.compile(r"^#\s+.+$", re.MULTILINE)
_PUNCTUATION = re.compile(r"([!-/:-@\[-`{-~])")
#: Tags of cells that stand together: beside one another where there is room and on paper, in two
#: columns on paper alone, or folded behind the heading that the first of them begins with.
GROUPED: Final = ("beside", "columns", "folded")
_FIGURES = re.compile(r'<script type="application/json" id="figures">(.*?)</script>', re.DOTALL)
_MARKS = re.compile(r"[*_`]|\[|\]\([^)]*\)")


@dataclass(frozen=True)
class PageLinks:
    """Ways from a page to its neighbours in the pack: (address, title) pairs."""

    home: tuple[str, str] | None = None
    before: tuple[str, str] | None = None
    after: tuple[str, str] | None = None

    def items(self) -> list[tuple[str, str, str]]:
        """The links that exist, as (relation, address, title)."""
        pairs = (("home", self.home), ("prev", self.before), ("next", self.after))
        return [(relation, *pair) for relation, pair in pairs if pair is not None]


@dataclass
class _Charts:
    """Turns chart specs into figures and counts them."""

    count: int = 0

    def figure(self, spec: Mapping[str, Any]) -> str:
        drawn = copy.deepcopy(dict(spec))
        drawn.pop("$schema", None)
        heading, below = _lift_title(drawn)
        reading = str(drawn.pop("description", "") or "")
        kept = drawn.pop("usermeta", None) or {}
        if kept.get(WORDLESS_KEY):
            return f'<p class="wordless">{escape(reading)}</p>'
        if kept.get(FIT_KEY):
            drawn["width"] = "container"
        numbers = kept.get(TABLE_KEY) or []
        self.count += 1
        name = f"chart-{self.count}"
        title = f'<p class="chart-title">{escape(heading)}</p>' if heading else ""
        title += f'<p class="chart-below">{escape(below)}</p>' if below else ""
        moves = any("bind" in param for param in drawn.get("params", []))
        follows, spoken = (" data-moves", ' aria-live="polite"') if moves else ("", "")
        caption = f'<figcaption id="{name}-reading"{spoken}>{escape(reading)}</figcaption>' if reading else ""
        margin = f' data-margin="{int(kept[MARGIN_KEY])}"' if MARGIN_KEY in kept else ""
        folded = ""
        if numbers:
            heads = list(numbers[0])
            rows = [[str(row[head]) for head in heads] for row in numbers]
            folded = table_html(
                heads, rows, caption="The numbers before any move" if moves else "The numbers", fold=True
            )
        return (
            f'<figure class="chart" id="{name}"{margin}{follows}>{title}<div class="drawing"></div>'
            f'<script type="application/json">{embedded_json(_themed(drawn))}</script>'
            f"<noscript><p>This browser runs no scripts, so the chart is not drawn.</p></noscript>"
            f"{caption}{folded}</figure>"
        )


def embedded_json(value: object) -> str:
    r"""A value as JSON that can stand inside a script element of a page.

    >>> embedded_json({"a": "</script>"})
    '{"a":"\\u003c/script>"}'
    """
    text = json.dumps(value, allow_nan=False, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    # With no "<" at all, nothing in the data can end the element or open a comment.
    text = text.replace("<", r"\u003c")
    return text.replace("\u2028", r"\u2028").replace("\u2029", r"\u2029")


def first_heading(notebook: NotebookNode) -> str:
    """Words of a notebook's first heading, in a text cell or in what a cell shows.

    >>> from nbformat.v4 import new_notebook, new_markdown_cell
    >>> first_heading(new_notebook(cells=[new_markdown_cell("# Which *kinds* pay?")]))
    'Which kinds pay?'
    """
    for cell in notebook.cells:
        texts = [cell.source] if cell.cell_type == "markdown" else []
        for output in cell.get("outputs", []):
            text = output.get("data", {}).get("text/markdown", "")
            texts.append("".join(text) if isinstance(text, list) else text)
        for text in texts:
            match = _HEADING.search(text)
            if match:
                return _MARKS.sub("", match[1])
    return ""


def render_page(notebook: NotebookNode, *, title: str = "", links: PageLinks | None = None) -> str:
    """One HTML document from an executed notebook: words, tables and charts, no code.

    >>> from nbformat.v4 import new_notebook, new_markdown_cell
    >>> page = render_page(new_notebook(cells=[new_markdown_cell("# Stock")]))
    >>> "<title>Stock</title>" in page
    True
    """
    import nbformat

    charts = _Charts()
    exporter = page_exporter(charts.figure)

    def scripts() -> list[str]:
        # Asked for after the body is written, when it is known whether there is anything to draw.
        return [drawing_library(), _text("draw.js")] if charts.count else []

    resources = {
        "title": title or first_heading(notebook) or "Report",
        "style": style_sheet(),
        "links": (links or PageLinks()).items(),
        "policy": policy(),
        "scripts": scripts,
        "figures": embedded_json([list(figure) for figure in notebook_figures(notebook)]),
    }
    cells = notebook.cells if not title else _under_title(notebook.cells, title)
    shown = nbformat.from_dict({**notebook, "cells": _with_neighbours(cells)})
    body, _ = exporter.from_notebook_node(shown, resources={"flipkit": resources})
    return str(body)


def notebook_figures(notebook: NotebookNode) -> list[Figure]:
    """The figures that the outputs of a notebook carry, each once."""
    found = [
        Figure(*figure)
        for cell in notebook.cells
        for output in cell.get("outputs", [])
        for figure in output.get("data", {}).get(FIGURES_TYPE, [])
    ]
    return list(dict.fromkeys(found))


def page_figures(page: str) -> list[Figure]:
    """The figures that a page carries.

    >>> page_figures('<script type="application/json" id="figures">[["sales","shop","2026-10-31",2]]</script>')
    [Figure(name='sales', scope='shop', day='2026-10-31', value=2)]
    """
    found = _FIGURES.search(page)
    return [Figure(*figure) for figure in json.loads(found[1])] if found else []


def _under_title(cells: list[NotebookNode], title: str) -> list[NotebookNode]:
    """The cells with the title as their top heading, in the place of the one that is there."""
    heading = "# " + _PUNCTUATION.sub(r"\\\1", title)
    for k, cell in enumerate(cells):
        if cell.cell_type == "markdown" and _TOP_HEADING.search(cell.source):
            changed = copy.copy(cell)
            changed.source = _TOP_HEADING.sub(lambda _: heading, cell.source, count=1)
            return [*cells[:k], changed, *cells[k + 1 :]]
    from nbformat.v4 import new_markdown_cell

    return [new_markdown_cell(heading, id="title"), *cells]


def _with_neighbours(cells: list[NotebookNode]) -> list[NotebookNode]:
    """The cells, each run of those tagged to stand together marked where it begins and ends."""
    kinds = [next((tag for tag in GROUPED if tag in cell.metadata.get("tags", [])), "") for cell in cells]
    # Of what is folded, each text begins a fold of its own: its heading is what a reader unfolds.
    first = [
        k == 0 or kinds[k - 1] != kind or (kind == "folded" and cells[k].cell_type == "markdown")
        for k, kind in enumerate(kinds)
    ]
    starts = [k for k, begins in enumerate(first) if begins]
    marked = []
    for start, end in zip(starts, [*starts[1:], len(cells)], strict=True):
        kind = kinds[start]
        if kind == "folded" and not any(_shows(cell) for cell in cells[start:end]):
            continue
        for k, cell in enumerate(cells[start:end], start):
            one = copy.copy(cell)
            one.metadata = {**cell.metadata, "begins": kind if k == start else "", "ends": kind if k == end - 1 else ""}
            if kind == "folded" and k == start:
                heading = _HEADING.search(cell.source)
                one.metadata["summary"] = heading[1] if heading else "More"
                one.source = _HEADING.sub("", cell.source, count=1)
            marked.append(one)
    return marked


def _shows(cell: NotebookNode) -> bool:
    """Whether a code cell shows anything: what is empty is not folded but absent."""
    return any("".join(output.get("data", {}).get("text/html", "text")).strip() for output in cell.get("outputs", []))


def policy() -> str:
    """What a page may do, told to the browser: nothing from outside itself.

    >>> policy().split(";")[0]
    "default-src 'none'"
    """
    return "default-src 'none'; script-src 'unsafe-inline' 'unsafe-eval'; style-src 'unsafe-inline'; img-src data:"


def style_sheet() -> str:
    """The style sheet of every page, colours included.

    >>> "--ink" in style_sheet()
    True
    """
    sheet = _text("style.css").replace("/* light */", style.style_variables(dark=False))
    return sheet.replace("/* dark */", style.style_variables(dark=True)).replace("/* fonts */", style.FONTS)


def _text(name: str) -> str:
    return (TEMPLATES / name).read_text(encoding="utf-8")


def _lift_title(spec: dict[str, Any]) -> tuple[str, str]:
    """Take the title out of the drawing: in the page it is text, which wraps on a narrow screen."""
    title = spec.pop("title", None)
    if title is None:
        return "", ""
    if isinstance(title, dict):
        return _joined(title.get("text", "")), _joined(title.get("subtitle", ""))
    return _joined(title), ""


def _joined(text: str | list[str]) -> str:
    return text if isinstance(text, str) else " ".join(text)


def _themed(value: Any) -> Any:
    """A spec with each of our colours replaced by its style-sheet variable."""
    if isinstance(value, dict):
        return {key: _themed(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_themed(item) for item in value]
    return style.VARIABLES.get(value, value) if isinstance(value, str) else value


# nbconvert told how a page of ours is made: its template, its filters, which output it prefers.

#: What is shown of an output that comes in several types, best first.
_PRIORITY = [MIME_TYPE, "text/html", "text/markdown", "image/svg+xml", "image/png", "image/jpeg", "text/plain"]
_PLUGINS = ["table", "strikethrough"]
_TABLE = re.compile(r"<table\b.*?</table>", re.DOTALL)
# nbconvert's own filter treats a text between two dollar signs as a formula, and our texts are full of amounts.
_OF_AUTHOR = mistune.create_markdown(escape=False, plugins=_PLUGINS)
_OF_DATA = mistune.create_markdown(escape=True, plugins=_PLUGINS)


def scrolling_tables(html: str) -> str:
    """Let each bare table scroll within itself.

    >>> scrolling_tables("<table></table>")
    '<div class="scroll" role="group" tabindex="0" aria-label="Table"><table></table></div>'
    """
    if 'class="scroll"' in html:
        return html
    return _TABLE.sub(
        lambda found: f'<div class="scroll" role="group" tabindex="0" aria-label="Table">{found[0]}</div>', html
    )


def author_html(text: str) -> str:
    r"""Markdown of a notebook's author, in which HTML is allowed.

    >>> author_html("$5 and **$6**")
    '<p>$5 and <strong>$6</strong></p>\n'
    """
    return scrolling_tables(str(_OF_AUTHOR(text)))


def shown_html(text: str) -> str:
    r"""Markdown that a cell shows, made from data: HTML in it is text.

    >>> shown_html("a <b>lamp</b>")
    '<p>a &lt;b&gt;lamp&lt;/b&gt;</p>\n'
    """
    return scrolling_tables(str(_OF_DATA(text)))


def page_exporter(figure: Callable[[Mapping[str, Any]], str]) -> TemplateExporter:
    """An exporter that writes pages."""
    from importlib.resources import files

    config = Config({"NbConvertBase": {"display_data_priority": _PRIORITY}})
    return TemplateExporter(
        config=config,
        file_extension=".html",
        template_name="page",
        extra_template_basedirs=[str(files("flipkit.pack") / "templates")],
        filters={
            "author_html": author_html,
            "shown_html": shown_html,
            "scrolling": scrolling_tables,
            "figure": figure,
            "plain": lambda text: escape(text if isinstance(text, str) else "".join(text)),
        },
    )
