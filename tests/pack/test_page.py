"""An executed notebook as a page: what is in it, what is not, and nothing that differs from run to run."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from flipkit.charts import style as chart_style
from flipkit.charts.style import MIME_TYPE, render_bundle
from flipkit.pack.page import PageLinks, document, embedded_json, first_heading, render_page


def cell_with(*outputs):
    return new_code_cell("secret_source = 1", outputs=list(outputs))


def shown(data, **metadata):
    return new_output("display_data", data=data, metadata=metadata)


def chart_output(**changes):
    spec = {
        "$schema": "https://vega.github.io/schema/vega-lite/v6.json",
        "description": "Lamps earned most.",
        "title": {"text": "What an hour earned", "subtitle": ["Dots", "and bars"]},
        "usermeta": {"numbers": [{"Category": "lamps", "Net": "$1.00"}]},
        "width": "container",
        "data": {"values": [{"a": "</script><script>alert(1)</script><!-- x", "b": 1}]},
        "mark": {"type": "point", "color": chart_style.color("above")},
        "encoding": {"x": {"field": "b", "type": "quantitative"}},
    }
    return shown(render_bundle(spec | changes))


def page(*cells, **options):
    return render_page(new_notebook(cells=list(cells)), **options)


def body(html):
    """The page without its style sheet and its script."""
    html = re.sub(r"<style>.*?</style>", "", html, flags=re.DOTALL)
    return re.sub(r"<script>.*?</script>", "", html, flags=re.DOTALL)


def drawings(html):
    return re.findall(r"<svg.*?</svg>", html, re.DOTALL)


def test_code_and_prompts_are_not_in_the_page():
    text = body(page(new_markdown_cell("# Stock"), cell_with(new_output("stream", name="stdout", text="hello"))))
    assert "secret_source" not in text
    assert "In [" not in text
    assert "In&nbsp;[" not in text
    assert "hello" in text


def test_the_title_is_the_first_heading():
    assert "<title>Which kinds pay?</title>" in page(new_markdown_cell("Intro\n\n## Which *kinds* pay?"))


def test_a_heading_that_a_cell_shows_counts_as_one():
    notebook = new_notebook(cells=[cell_with(shown({"text/markdown": "# Table lamps"}))])
    assert first_heading(notebook) == "Table lamps"


def test_a_given_title_takes_the_place_of_the_top_heading():
    html = page(new_markdown_cell("# One category\n\nDoes it pay?"), title="Lamps *and* <b>more</b> & so on")
    assert "One category" not in html
    assert "<h1>Lamps *and* &lt;b&gt;more&lt;/b&gt; &amp; so on</h1>" in html
    assert "<title>Lamps *and* &lt;b&gt;more&lt;/b&gt; &amp; so on</title>" in html
    assert "Does it pay?" in html


def test_a_given_title_stands_where_there_was_no_heading():
    assert "<h1>Stock</h1>" in page(cell_with(new_output("stream", name="stdout", text="x")), title="Stock")


def test_rendering_does_not_change_the_notebook():
    notebook = new_notebook(cells=[new_markdown_cell("# One", id="m"), cell_with(chart_output())])
    before = json.dumps(notebook, sort_keys=True)
    render_page(notebook, title="Two")
    assert json.dumps(notebook, sort_keys=True) == before


def test_two_renders_are_the_same_bytes():
    cells = [new_markdown_cell("# A"), cell_with(chart_output(), shown({"text/html": "<table></table>"}))]
    assert page(*cells) == page(*cells)


def test_cell_names_are_not_in_the_page():
    assert page(new_markdown_cell("# A", id="abc123")) == page(new_markdown_cell("# A", id="xyz789"))


def test_amounts_are_not_formulas():
    text = body(page(new_markdown_cell("From $5 to **$6** an hour, $7")))
    assert "From $5 to <strong>$6</strong> an hour, $7" in text


def test_html_in_text_made_from_data_is_text():
    text = body(page(cell_with(shown({"text/markdown": "a <img src=x onerror=alert(1)> lamp"}))))
    assert "<img" not in text
    assert "&lt;img" in text


def test_plain_text_is_escaped():
    text = body(page(cell_with(shown({"text/plain": "<script>alert(1)</script>"}))))
    assert "&lt;script&gt;alert(1)" in text


def test_what_warns_is_not_shown():
    assert "careful" not in page(cell_with(new_output("stream", name="stderr", text="careful")))


def test_the_best_of_several_types_is_shown_once():
    text = body(page(cell_with(shown({"text/html": "<p>rich</p>", "text/plain": "poor"}))))
    assert "rich" in text
    assert "poor" not in text


def test_a_table_scrolls_within_itself():
    text = body(page(cell_with(shown({"text/html": "<table><tr><td>1</td></tr></table>"}))))
    assert '<div class="scroll" role="group" tabindex="0" aria-label="Table"><table>' in text


def test_a_page_carries_no_drawing_library():
    html = page(cell_with(chart_output(), chart_output()), cell_with(chart_output()))
    assert len(html.encode()) < 60_000
    assert not re.search("vega|d3-", html, re.IGNORECASE)
    assert html.count("<script") == 1


def test_a_chart_is_a_figure_with_title_reading_and_numbers():
    text = body(page(cell_with(chart_output())))
    assert '<p class="chart-title">What an hour earned</p>' in text
    assert '<p class="chart-below">Dots and bars</p>' in text
    assert "<details><summary>The chart in words and numbers</summary>" in text
    folded = text.split("<details>")[1]
    assert '<p id="chart-1-reading">Lamps earned most.</p>' in folded
    assert "<td" in folded


def test_a_chart_has_a_name_and_a_description():
    for svg in drawings(page(cell_with(chart_output()))):
        assert 'role="img" aria-label="What an hour earned" aria-describedby="chart-1-reading"' in svg


def test_data_is_text_in_a_drawing():
    html = page(cell_with(chart_output(encoding={"text": {"field": "a"}}, mark="text")))
    assert "&lt;/script&gt;&lt;script&gt;alert(1)&lt;/script&gt;&lt;!-- x" in drawings(html)[0]
    assert "<script>alert(1)" not in html


def test_colours_become_variables_of_the_style_sheet_and_fall_back_on_light():
    html = page(cell_with(chart_output()))
    light = chart_style.SHADES["above"].light
    for svg in drawings(html):
        assert f"var(--above,{light})" in svg
        assert not re.search('"#[0-9a-f]{6}"', svg)
    assert f"--above: {light};" in html
    assert f"--above: {chart_style.SHADES['above'].dark};" in html


def test_every_variable_that_is_used_is_declared():
    html = page(cell_with(chart_output()))
    declared = set(re.findall(r"(--[a-z0-9-]+): (?:#|calc)", html))
    used = set(re.findall(r"var\((--[a-z0-9-]+)[,)]", html))
    assert used <= declared
    assert used


def test_names_are_of_the_page_and_the_chart():
    clipped = chart_output(mark={"type": "point", "clip": True})
    html = page(cell_with(clipped, clipped), name="stock")
    names = re.findall(r'\bid="([^"]+)"', html)
    assert len(names) == len(set(names))
    assert {"stock-chart-1", "stock-chart-2-wide-clip0", "stock-chart-2-narrow-clip0"} <= set(names)
    pointed = set(re.findall(r'url\(#([^)]+)\)|aria-describedby="([^"]+)"', html))
    assert {one or other for one, other in pointed} <= set(names)


def test_nan_is_refused():
    bad = shown({MIME_TYPE: {"data": {"values": [{"a": float("nan")}]}}})
    with pytest.raises(ValueError, match="Out of range float values"):
        page(cell_with(bad))


def test_a_chart_of_words_is_a_paragraph():
    text = body(page(cell_with(chart_output(usermeta={"wordless": True}))))
    assert '<p class="wordless">Lamps earned most.</p>' in text
    assert "<figure" not in text


def test_a_chart_is_drawn_for_a_phone_and_for_a_desk():
    assert [
        re.search(r'class="(\w+)".* viewBox="0 0 (\d+)', svg).groups()
        for svg in drawings(page(cell_with(chart_output())))
    ] == [("wide", "640"), ("narrow", "340")]


def test_links_lead_to_the_neighbours():
    html = page(new_markdown_cell("# A"), links=PageLinks(("index.html", "October & all"), None, ("b.html", "B <3")))
    assert html.count('<a rel="home" href="index.html">October &amp; all</a>') == 2, "at the top and at the foot"
    assert html.count('<a rel="next" href="b.html">B &lt;3</a>') == 2
    assert 'rel="prev"' not in body(html)


def test_the_bar_marks_the_page_itself():
    html = page(new_markdown_cell("# A"), links=PageLinks(bar=(("a.html", "A"), ("b.html", "B")), here="b.html"))
    assert '<a href="a.html">A</a>' in html
    assert '<a href="b.html" aria-current="page">B</a>' in html
    assert re.findall('<nav aria-label="([^"]+)"', html) == ["Pages", "Pages, at the foot"]


def test_a_page_allows_its_own_style_sheet_and_script_alone():
    html = page(
        cell_with(chart_output(), shown({"text/html": '<p style="color:red" onclick="a()">x</p><style>p{}</style>'}))
    )
    (told,) = re.findall('Content-Security-Policy" content="([^"]+)"', html)
    assert "unsafe" not in told
    assert "base-uri 'none'; form-action 'none'" in told
    for element in ("style", "script"):
        (text,) = re.findall(f"<{element}>(.*?)</{element}>", html, re.DOTALL)
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"{element}-src 'sha256-{digest}'" in told
    assert not re.search(r"<[^>]*\s(style|on\w+)=", body(html))


@pytest.mark.parametrize(
    ("name", "words"),
    [("moves", (".control ", "sliders")), ("sortable", ("aria-sort", "sortable")), ("page", ("scrollY", "arrive"))],
)
def test_a_page_brings_the_style_and_script_of_what_it_shows(name, words):
    with_it, without = document("A", f'<p class="{name}">a</p>'), document("A", "<p>a</p>")
    assert all(word in with_it and word not in without for word in words)
    assert "only" not in without.replace("read-only", "")


class Addresses(HTMLParser):
    """Every address in a page that a browser would fetch by itself."""

    def __init__(self):
        super().__init__()
        self.found = []

    def handle_starttag(self, tag, attrs):
        for name, value in attrs:
            if name in ("src", "srcset", "data", "poster") or (name == "href" and tag != "a"):
                self.found.append(value)


def test_a_page_names_nothing_to_fetch():
    html = page(new_markdown_cell("# A"), cell_with(chart_output()))
    parser = Addresses()
    parser.feed(body(html))
    assert [address for address in parser.found if not address.startswith("data:")] == []
    style = re.search(r"<style>(.*?)</style>", html, re.DOTALL)[1]
    assert "url(" not in style
    assert "@import" not in style


def test_the_reader_may_zoom_and_the_language_is_told():
    html = page(new_markdown_cell("# A"))
    assert '<html lang="en">' in html
    assert "maximum-scale" not in html
    assert "user-scalable" not in html


@pytest.mark.parametrize("text", ["</script>", "<!--", "a\u2028b"])
def test_embedded_json_reads_back(text):
    embedded = embedded_json({"text": text})
    assert json.loads(embedded) == {"text": text}
    assert text not in embedded


def test_the_template_is_shipped_with_the_package():
    import flipkit.reports

    folder = Path(flipkit.pack.__file__).parent / "templates"
    assert {"page", "style.css", "page.js"} <= {path.name for path in folder.iterdir()}
