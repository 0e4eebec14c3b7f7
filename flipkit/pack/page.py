"""An executed notebook as one HTML file that needs no network."""

from __future__ import annotations

import base64
import copy
import hashlib
import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from html import escape, unescape
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final

import mistune
from nbconvert.exporters.templateexporter import TemplateExporter
from traitlets.config import Config

from flipkit.charts import style
from flipkit.charts.drawing import DRAWN_FONTS, NARROW, WIDE, drawing, inlined, joined_lines
from flipkit.charts.style import MIME_TYPE, TABLE_KEY, WORDLESS_KEY  # before nbconvert: it opens jsonschema
from flipkit.reports.elements import FIGURES_TYPE, Figure, table_html

if TYPE_CHECKING:
    from nbformat import NotebookNode


# An executed notebook as one HTML file that opens anywhere and asks the network for nothing.

TEMPLATES: Final = files("flipkit.pack") / "templates"
#: Largest page that goes out; a page is mailed, and read over a phone's connection.
MOST_BYTES: Final = 150_000
#: What a style sheet says to whoever changes it, and room that it needs no less.
_REMARK, _SPACE = re.compile(r"/\*.*?\*/", re.DOTALL), re.compile(r"\s*([{};\n])\s*")
#: A part of a template that is only for pages with one of some classes.
_PART: Final = re.compile(r"(?:/\*|//) only ([\w -]+?)(?: \*/)?\n(.*?)(?:/\*|//) end(?: \*/)?\n", re.DOTALL)
_CLASSES: Final = re.compile(r'\bclass="([^"]*)"')
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
    """Ways from a page to the others of its pack: (address, words) pairs."""

    home: tuple[str, str] | None = None
    before: tuple[str, str] | None = None
    after: tuple[str, str] | None = None
    #: The main pages, the same on every page; the address of the page itself is marked there.
    bar: tuple[tuple[str, str], ...] = ()
    here: str = ""

    def html(self, label: str) -> str:
        """The links as a bar with a name of its own; nothing where there are none."""
        found = [("home", self.home), *(("", way) for way in self.bar), ("prev", self.before), ("next", self.after)]
        ways = "".join(_way(relation, *way, here=way[0] == self.here) for relation, way in found if way is not None)
        return f'<nav aria-label="{label}">\n{ways}</nav>\n' if ways else ""


def _way(relation: str, address: str, words: str, *, here: bool) -> str:
    related = f' rel="{relation}"' if relation else ""
    marked = ' aria-current="page"' if here else ""
    return f'<a{related} href="{escape(address)}"{marked}>{escape(words)}</a>\n'


@dataclass
class _Charts:
    """Turns chart specs into figures and counts them; their names begin with the page's."""

    page: str
    count: int = 0

    def figure(self, spec: Mapping[str, Any]) -> str:
        kept = spec.get("usermeta") or {}
        reading = escape(str(spec.get("description", "") or ""))
        if kept.get(WORDLESS_KEY):
            return f'<p class="wordless">{reading}</p>'
        title = spec.get("title") or ""
        told = title if isinstance(title, Mapping) else {"text": title}
        heading, below = (escape(joined_lines(told.get(part, ""))) for part in ("text", "subtitle"))
        self.count += 1
        name = f"{self.page}chart-{self.count}"
        named = {"role": "img", "aria_label": heading or "Chart", "aria_describedby": f"{name}-reading"}
        drawn = "".join(
            inlined(drawing(spec, width), f"{name}-{kind}", style.VARIABLES, **{"class": kind}, **named)
            for kind, width in (("wide", WIDE), ("narrow", NARROW))
        )
        caption = f'<p class="chart-title">{heading}</p>' if heading else ""
        caption += f'<p class="chart-below">{below}</p>' if below else ""
        numbers = kept.get(TABLE_KEY) or []
        heads = list(numbers[0]) if numbers else []
        rows = [[str(row[head]) for head in heads] for row in numbers]
        table = table_html(heads, rows) if numbers else ""
        return (
            f'<figure class="chart" id="{name}"><figcaption>{caption}</figcaption><div class="drawing">{drawn}</div>'
            f"<details><summary>The chart in words{' and numbers' if numbers else ''}</summary>"
            f'<p id="{name}-reading">{reading}</p>{table}</details></figure>'
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


def render_page(notebook: NotebookNode, *, title: str = "", links: PageLinks | None = None, name: str = "") -> str:
    """One HTML document from an executed notebook: words, tables and charts, no code; a pack tells it its name."""
    import nbformat

    exporter = page_exporter(_Charts(f"{name}-" if name else "").figure)
    cells = notebook.cells if not title else _under_title(notebook.cells, title)
    shown = nbformat.from_dict({**notebook, "cells": _with_neighbours(cells)})
    body, _ = exporter.from_notebook_node(shown)
    figures = embedded_json([list(figure) for figure in notebook_figures(notebook)])
    said = f'<script type="application/json" id="figures">{figures}</script>\n' if figures != "[]" else ""
    ways = links or PageLinks()
    main = f"{ways.html('Pages')}<main>\n{prepared_tables(body)}</main>\n{ways.html('Pages, at the foot')}"
    return document(title or first_heading(notebook) or "Report", main + said)


def document(title: str, body: str) -> str:
    """A page of ours around its body: the style sheet, the script, and a policy that allows those two alone.

    >>> document("A & B", "<main></main>").count("A &amp; B")
    1
    """
    sheet, script = style_sheet(body), page_script(body)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy(sheet, script)}">\n'
        '<meta name="color-scheme" content="light dark">\n<link rel="icon" href="data:,">\n'
        f"<title>{escape(title)}</title>\n<style>{sheet}</style>\n</head>\n<body>\n"
        f"{body}<script>{script}</script>\n</body>\n</html>\n"
    )


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


def policy(sheet: str, script: str) -> str:
    """What a page may do, told to the browser: its own style sheet and script, and nothing from outside.

    >>> policy("", "").split("; ")[-1]
    "form-action 'none'"
    """
    own, ran = (
        f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'" for text in (sheet, script)
    )
    return f"default-src 'none'; script-src {ran}; style-src {own}; img-src data:; base-uri 'none'; form-action 'none'"


def page_script(body: str) -> str:
    """The script of a page: it sorts tables, moves sliders and follows the address, where there are any."""
    lines = (line.strip() for line in _needed(_text("page.js"), body).splitlines())
    return "\n".join(line for line in lines if line and not line.startswith("//"))


def style_sheet(body: str) -> str:
    """The style sheet of a page, colours included, without what styles nothing in its body.

    >>> "--ink" in style_sheet("")
    True
    """
    sheet = _needed(_text("style.css"), body)
    sheet = sheet.replace("/* light */", style.style_variables(dark=False))
    sheet = sheet.replace("/* dark */", style.style_variables(dark=True)).replace("/* fonts */", style.FONTS)
    sheet = sheet.replace("/* drawn fonts */", DRAWN_FONTS)
    classes = _classes(body)
    for kind in "fsm":
        looks = [f".{kind}{k}>tbody>tr>:nth-child({k})" for k in range(1, _COLUMNS + 1) if f"{kind}{k}" in classes]
        sheet = sheet.replace(f"/* {kind} */", f"tbody :where({','.join(looks)})")
    return _SPACE.sub(r"\1", _REMARK.sub("", sheet)).strip()


def _needed(text: str, body: str) -> str:
    """A template without the parts that are only for classes which a page's body has nowhere."""
    classes = _classes(body)
    return _PART.sub(lambda part: part[2] if classes & set(part[1].split()) else "", text)


def _classes(body: str) -> set[str]:
    return {name for names in _CLASSES.findall(body) for name in names.split()}


def _text(name: str) -> str:
    return (TEMPLATES / name).read_text(encoding="utf-8")


# nbconvert told how a page of ours is made: its template, its filters, which output it prefers.

#: What is shown of an output that comes in several types, best first.
_PRIORITY = [MIME_TYPE, "text/html", "text/markdown", "image/svg+xml", "image/png", "image/jpeg", "text/plain"]
_PLUGINS = ["table", "strikethrough"]
_TABLE = re.compile(r"<table\b.*?</table>", re.DOTALL)
_FOLDS_AND_TABLES = re.compile(r"(<details\b|</details\b|<table>.*?</table>)", re.DOTALL)
_HEAD_CELL = re.compile(r'<th\b(?: scope="col")?(?: class="(figure|short|medium|long)")?>(.*?)</th>', re.DOTALL)
_CELL_CLASS = re.compile(r'<(td|th scope="row") class="(?:figure|short|medium|long)"')
_TAG = re.compile(r"<[^>]+>")
#: Columns that a style sheet knows by number.
_COLUMNS: Final = 16
#: More columns than a phone has room for, and more rows than a screen.
_PHONE_COLUMNS, _SCREEN_ROWS = 3, 12
#: Data in a script element is nothing that runs.
_STOPPED = re.compile(r'<(style|script)\b(?! type="application/json").*?</\1>', re.DOTALL | re.IGNORECASE)
_INLINE = re.compile(r"<\w[^>]*\s(?:style|on\w+)=[^>]*>", re.IGNORECASE)
_INLINE_PART = re.compile(r"""\s(?:style|on\w+)=(?:"[^"]*"|'[^']*'|[^\s>]*)""", re.IGNORECASE)
# nbconvert's own filter treats a text between two dollar signs as a formula, and our texts are full of amounts.
_OF_AUTHOR = mistune.create_markdown(escape=False, plugins=_PLUGINS)
_OF_DATA = mistune.create_markdown(escape=True, plugins=_PLUGINS)


def scrolling_tables(html: str) -> str:
    """Let each bare table scroll within itself.

    >>> scrolling_tables("<table></table>")
    '<div class="scroll" role="group" tabindex="0" aria-label="Table"><table></table></div>'
    """
    html = allowed_html(html)
    if 'class="scroll"' in html:
        return html
    return _TABLE.sub(
        lambda found: f'<div class="scroll" role="group" tabindex="0" aria-label="Table">{found[0]}</div>', html
    )


def prepared_tables(body: str) -> str:
    """The tables of a page made ready for a phone and for sorting, and lighter.

    What a cell's class says of its whole column is said once, by the table. On a phone a row of many cells becomes
    a card, in which each cell says its heading; in what is folded the page's script sees to that.

    >>> cells = '<th class="long">a</th><th class="figure">b</th>'
    >>> prepared_tables(f"<table><thead><tr>{cells}</tr></thead><tbody></tbody></table>")[:22]
    '<table class="l1 f2"><'
    """
    folds = 0
    parts = _FOLDS_AND_TABLES.split(body)
    for at, part in enumerate(parts):
        folds += {"<details": 1, "</details": -1}.get(part, 0)
        if part.startswith("<table>"):
            parts[at] = _prepared(part, folded=folds > 0)
    return "".join(parts)


def _prepared(table: str, *, folded: bool) -> str:
    head, _, body = table.removeprefix("<table>").partition("</thead>")
    cells = _HEAD_CELL.findall(head)
    kinds = [kind[:1] for kind, _ in cells]
    looks = [f"{kind}{k}" for k, kind in enumerate(kinds, start=1) if kind and k <= _COLUMNS]
    rows = _CELL_CLASS.sub(r"<\1", body).split("</tr>") if len(looks) == len(kinds) else body.split("</tr>")
    many = len(cells) > _PHONE_COLUMNS
    looks += ["many" if folded else "cards"] * many + ["sortable"] * (len(rows) > _SCREEN_ROWS + 1)
    if not looks:
        return table
    if many and not folded:
        heads = [escape(unescape(_TAG.sub("", text)).strip(), quote=True) for _, text in cells]
        for at, row in enumerate(rows):
            shown = row.split("</td>")
            # The cells before the last headings are the row's own head, which a card begins with.
            names = [*heads[len(heads) - len(shown) + 1 :], ""]
            labelled = (cell.replace("<td", f'<td data-h="{name}"', 1) for cell, name in zip(shown, names, strict=True))
            rows[at] = "</td>".join(labelled)
    return f'<table class="{" ".join(looks)}">{head}</thead>{"</tr>".join(rows)}'


def allowed_html(html: str) -> str:
    """HTML of a cell without what the page's policy would stop, and a browser complain of: styles and scripts inline.

    >>> allowed_html('<p style="color: red" onclick="x()">a</p><style>p {}</style>')
    '<p>a</p>'
    """
    return _INLINE.sub(lambda tag: _INLINE_PART.sub("", tag[0]), _STOPPED.sub("", html))


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
