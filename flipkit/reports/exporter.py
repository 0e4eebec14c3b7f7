"""nbconvert told how a page of ours is made: its template, its filters, which output it prefers."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from html import escape
from typing import Any

import flipkit.charts.quick_start  # noqa: F401  # isort: skip  # before nbconvert opens jsonschema
import mistune
from nbconvert.exporters.templateexporter import TemplateExporter
from traitlets.config import Config

from flipkit.charts.renderer import MIME_TYPE

#: What is shown of an output that comes in several types, best first.
_PRIORITY = [MIME_TYPE, "text/html", "text/markdown", "image/svg+xml", "image/png", "image/jpeg", "text/plain"]
_PLUGINS = ["table", "strikethrough"]
_TABLE = re.compile(r"<table\b.*?</table>", re.DOTALL)
# nbconvert's own filter treats a text between two dollar signs as a formula, and our texts are full of amounts.
_OF_AUTHOR = mistune.create_markdown(escape=False, plugins=_PLUGINS)
_OF_DATA = mistune.create_markdown(escape=True, plugins=_PLUGINS)


def scrolling_tables(html: str) -> str:
    """Let each bare table scroll within itself.

    Parameters
    ----------
    html : str
        Any HTML.

    Returns
    -------
    str
        The same with each table in a box of its own, where it has none yet.

    Examples
    --------
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

    Parameters
    ----------
    text : str
        A text cell.

    Returns
    -------
    str
        HTML.

    Examples
    --------
    >>> author_html("$5 and **$6**")
    '<p>$5 and <strong>$6</strong></p>\n'
    """
    return scrolling_tables(str(_OF_AUTHOR(text)))


def shown_html(text: str) -> str:
    r"""Markdown that a cell shows, made from data: HTML in it is text.

    Parameters
    ----------
    text : str
        Markdown.

    Returns
    -------
    str
        HTML.

    Examples
    --------
    >>> shown_html("a <b>lamp</b>")
    '<p>a &lt;b&gt;lamp&lt;/b&gt;</p>\n'
    """
    return scrolling_tables(str(_OF_DATA(text)))


def page_exporter(figure: Callable[[Mapping[str, Any]], str]) -> TemplateExporter:
    """An exporter that writes pages.

    Parameters
    ----------
    figure : callable
        Turns one chart spec into HTML.

    Returns
    -------
    nbconvert.exporters.templateexporter.TemplateExporter
        The exporter.
    """
    from importlib.resources import files

    config = Config({"NbConvertBase": {"display_data_priority": _PRIORITY}})
    return TemplateExporter(
        config=config,
        file_extension=".html",
        template_name="page",
        extra_template_basedirs=[str(files("flipkit.reports") / "templates")],
        filters={
            "author_html": author_html,
            "shown_html": shown_html,
            "scrolling": scrolling_tables,
            "figure": figure,
            "plain": lambda text: escape(text if isinstance(text, str) else "".join(text)),
        },
    )
