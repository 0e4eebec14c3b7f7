"""Every page of the demo shop on paper, on a phone and on a desk's first screen: sheets, legible words, size."""

from __future__ import annotations

import base64
import re

import pytest

from flipkit.pack.page import MOST_BYTES
from tests.helpers.demo_pages import demo_pages

pytestmark = [pytest.mark.browser, pytest.mark.slow]

#: Width and height of a sheet. [in]
SHEETS = {"A4": (8.27, 11.69), "letter": (8.5, 11.0)}
#: What is left of a sheet's width between its margins. [CSS px]
PRINTED = {"A4": 8.27 * 96 - 2 * 13 / 25.4 * 96, "letter": 8.5 * 96 - 2 * 13 / 25.4 * 96}
SMALLEST_PT = 7.0
LAST_SCREEN = (
    "return Math.max(...[...document.querySelectorAll(arguments[0])].map(e => e.getBoundingClientRect().bottom))"
)
#: The smallest words that show: those of drawings at the size to which they are scaled.
WORDS = """
    const sizes = [];
    const walker = document.createTreeWalker(document.querySelector('main'), NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) {
        const text = walker.currentNode, parent = text.parentElement;
        if (!text.textContent.trim() || !parent.getClientRects().length) continue;
        if (parent.closest('script, style, select')) continue;
        const svg = parent.closest('svg');
        const scale = svg ? svg.getBoundingClientRect().width / svg.viewBox.baseVal.width : 1;
        sizes.push([parseFloat(getComputedStyle(parent).fontSize) * scale * 0.75, text.textContent.trim()]);
    }
    sizes.sort((a, b) => a[0] - b[0]);
    return sizes.slice(0, 3);
"""


@pytest.fixture(scope="module")
def pages(tmp_path_factory, demo_studies):
    """Every page of the demo, by name."""
    return {file.stem: file for file in demo_pages(tmp_path_factory.mktemp("demo pages"), demo_studies)}


def sheets(page, sheet):
    width, height = SHEETS[sheet]
    asked = {"paperWidth": width, "paperHeight": height}
    pdf = base64.b64decode(page.driver.execute_cdp_cmd("Page.printToPDF", asked)["data"])
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


@pytest.mark.parametrize("sheet", SHEETS)
def test_a_category_is_two_sheets_at_most(page, pages, sheet):
    """Every row of a table that shows on the screen is there on paper."""
    found = {}
    for name, file in pages.items():
        if name.startswith("category-"):
            page.open(file)
            found[name] = sheets(page, sheet)
    assert len(found) == 12
    assert {name: count for name, count in found.items() if count > 2} == {}


@pytest.mark.parametrize("sheet", SHEETS)
def test_the_first_page_is_one_sheet(page, pages, sheet):
    page.open(pages["index"])
    assert sheets(page, sheet) == 1


@pytest.mark.parametrize("sheet", SHEETS)
@pytest.mark.parametrize("name", ["what-if", "stock"])
def test_a_page_of_pictures_is_two_sheets_at_most(page, pages, name, sheet):
    page.open(pages[name])
    assert sheets(page, sheet) <= 2


@pytest.mark.parametrize("sheet", SHEETS)
@pytest.mark.parametrize("name", ["index", "what-if", "category-sewing-machines", "stock"])
def test_words_on_paper_are_legible_and_within_the_sheet(page, pages, name, sheet):
    """Laid out as wide as the sheet, as printing lays it out."""
    page.open(pages[name])
    page.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        page.size(int(PRINTED[sheet]))
        page.run("return new Promise(done => requestAnimationFrame(() => setTimeout(done, 200)))")
        smallest = page.run(WORDS)
        scroll, inner = page.run("return [document.documentElement.scrollWidth, window.innerWidth]")
    finally:
        page.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    assert smallest[0][0] >= SMALLEST_PT, smallest
    assert scroll <= inner


def test_what_is_folded_is_not_printed_and_that_is_said(page, pages):
    page.open(pages["category-stoneware"])
    page.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        shown = page.run(
            "return [...document.querySelectorAll('details')].filter(d => d.getClientRects().length).length"
        )
        said = page.run("return getComputedStyle(document.querySelector('main'), '::before').content")
    finally:
        page.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    assert shown == 0
    assert "is not printed" in said


def test_the_first_page_decides_on_a_desks_first_screen_and_a_phones_first_two(page, pages):
    for width, height in ((1280, 900), (360, 2 * 780)):
        page.size(width, height, phone=width < 500)
        page.open(pages["index"])
        for part in (".headline", ".to-do li", ".verdicts li"):
            assert page.run(LAST_SCREEN, part) <= height, (width, part)


def test_no_table_scrolls_on_a_desk(page, pages):
    """There is room beside the words: a table takes it before it hides a column."""
    found, tables = {}, 0
    for name, file in pages.items():
        page.open(file)
        page.run("document.querySelectorAll('details').forEach(d => d.open = true)")
        wide = page.run("return document.documentElement.scrollWidth")
        widths = page.run(
            "return [...document.querySelectorAll('div.scroll')].map(s => [s.scrollWidth, s.clientWidth])"
        )
        tables += len(widths)
        if wide > 1280 or any(inner > room for inner, room in widths):
            found[name] = (wide, [pair for pair in widths if pair[0] > pair[1]])
    assert tables > 60
    assert found == {}


def test_every_page_fits_a_phone_and_writes_nothing_to_the_console(page, pages):
    page.size(360, 780, phone=True)
    found = {}
    for name, file in pages.items():
        page.open(file)
        wide = page.run("return document.documentElement.scrollWidth")
        said = page.messages()
        if wide > 360 or said:
            found[name] = (wide, said)
    assert len(pages) == 20
    assert found == {}


def test_no_page_is_larger_than_a_phone_should_load(pages):
    sizes = {name: file.stat().st_size for name, file in pages.items()}
    assert {name: size for name, size in sizes.items() if size > MOST_BYTES} == {}
    assert sum(sizes.values()) / len(sizes) <= 60_000
