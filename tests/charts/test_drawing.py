"""A chart as vector graphics: nothing that a page forbids, values on marks, letters that stay legible."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from xml.etree import ElementTree

import pytest
from nbformat.v4 import new_code_cell, new_notebook, new_output

from flipkit.charts.drawing import NARROW, WIDE, drawing
from flipkit.charts.style import DRAWN_LATER, MIME_TYPE, PICTURE_TYPE, with_picture, wordless
from tests.helpers import gallery

SVG = "{http://www.w3.org/2000/svg}"
NAMES = ("returns", "bands", "waterfall", "minutes", "sizes", "curve")


def parsed(svg):
    return ElementTree.fromstring(svg)  # noqa: S314 - our own text


@pytest.fixture(scope="module")
def specs():
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(DRAWN_LATER, "1")
        return dict(zip(NAMES, [chart._repr_mimebundle_()[MIME_TYPE] for chart in gallery.drawings()], strict=True))


@pytest.mark.parametrize("name", NAMES)
def test_a_drawing_has_nothing_inline_and_keeps_to_its_width(specs, name):
    width = WIDE
    root = parsed(drawing(specs[name], width))
    for part in root.iter():
        assert not {"style", "class", "role", "href"} & set(part.attrib)
        assert not any(key.startswith(("on", "aria")) for key in part.attrib)
    assert width - 20 <= float(root.get("width")) <= width


@pytest.mark.parametrize("name", NAMES)
def test_letters_are_11_pixels_on_a_phone_of_360(specs, name):
    # Such a phone leaves 328 px between the margins of a page.
    root = parsed(drawing(specs[name], NARROW))
    sizes = {float(part.get("font-size")) for part in root.iter() if part.get("font-size")}
    assert min(sizes) * 328 / NARROW >= 11


@pytest.mark.parametrize("name", NAMES)
def test_marks_say_their_value(specs, name):
    said = [title.text for title in parsed(drawing(specs[name], WIDE)).iter(f"{SVG}title")]
    assert len(said) >= 3
    for text in said:
        assert re.search(r": \S", text)
        assert not re.search("undefined|null|NaN", text)


def test_a_mark_says_the_figure_of_its_row(specs):
    said = [title.text for title in parsed(drawing(specs["returns"], WIDE)).iter(f"{SVG}title")]
    assert "Which: stoneware; Estimate: $41; Sold: 38" in said


def test_drawn_again_after_others_it_is_the_same(specs):
    """The library counts the names of its clips through all that a process draws."""
    code = (
        "import json, sys; from flipkit.charts.drawing import _drawn, drawing; specs = json.load(sys.stdin);"
        "first = drawing(specs[0], 340); drawing(specs[1], 340); _drawn.cache_clear();"
        "assert drawing(specs[0], 340) == first; print(first)"
    )
    two = json.dumps([specs["curve"], specs["minutes"]])
    told = subprocess.run([sys.executable, "-c", code], input=two, capture_output=True, text=True, check=True)
    assert told.stdout.strip() == drawing(specs["curve"], NARROW)


def test_a_picture_has_its_title_and_its_reading(specs):
    picture = with_picture({MIME_TYPE: specs["returns"]})[PICTURE_TYPE]
    assert "<strong>2 of 6 earned more than $25 an hour for sure</strong><br>Things sold. Dot: the estimate." in picture
    assert 'alt="Above the target of $25 an hour: stoneware $41' in picture
    assert "var(" not in picture


def test_words_have_no_picture():
    assert PICTURE_TYPE not in wordless("Nothing sold yet.")._repr_mimebundle_()


def test_where_another_process_draws_the_pictures_none_is_drawn_here(monkeypatch):
    monkeypatch.setenv(DRAWN_LATER, "1")
    assert PICTURE_TYPE not in gallery.drawings()[0]._repr_mimebundle_()


def test_nbconvert_shows_the_picture_with_its_alternative(specs):
    from nbconvert.exporters import HTMLExporter

    bundle = with_picture({MIME_TYPE: specs["returns"], "text/plain": "read"})
    notebook = new_notebook(cells=[new_code_cell("", outputs=[new_output("display_data", data=bundle)])])
    html, _ = HTMLExporter().from_notebook_node(notebook)
    (image,) = re.findall("<img[^>]*>", html)
    assert 'src="data:image/svg+xml;base64,' in image
    assert "film cameras and lenses $36" in image
