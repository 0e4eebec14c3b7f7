"""Every page of the demo shop on paper, on a phone and on a desk's first screen: sheets, legible words, size."""

from __future__ import annotations

import base64
import re

import pytest

from flipkit.pack.page import MOST_BYTES
from tests.browser.test_pages import contrasts_known
from tests.helpers.browser import SHIFTS
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


#: What a finger presses, apart from links within sentences, that is lower than 44 pixels.
LOW = """
    const boxes = 'summary, nav a, button, select, input[type=range], label:has([type=radio])';
    return [...document.querySelectorAll(boxes)].filter(e => e.getClientRects().length)
        .map(e => [e.textContent.trim().slice(0, 30), e.getBoundingClientRect().height])
        .filter(([, height]) => height < 43.99);
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
    folds = "return [...document.querySelectorAll('details')].filter(d => d.getClientRects().length).length"
    try:
        shown = page.run(folds)
        page.run("document.querySelector('details').open = true")
        unfolded = page.run(folds)
        said = page.run("return getComputedStyle(document.querySelector('main'), '::before').content")
    finally:
        page.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    assert shown == 0
    assert unfolded == 1, "what a reader unfolds is printed"
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


def test_every_page_fits_a_phone_writes_nothing_to_the_console_and_asks_for_nothing(page, pages):
    """At 360 and 320 pixels, with letters twice as large too; and what a finger meets is 44 pixels high."""
    found = {}
    for name, file in pages.items():
        page.size(360, 780, phone=True)
        page.open(file)
        wide = [page.run("return document.documentElement.scrollWidth")]
        low = page.run(LOW)
        page.size(320, 780, phone=True)
        wide.append(page.run("return document.documentElement.scrollWidth + 40"))
        page.size(360, 780, phone=True)
        page.run("document.documentElement.style.fontSize = '200%'")
        wide.append(page.run("return document.documentElement.scrollWidth"))
        said, asked = page.messages(), [url for url, _ in page.requests() if url != file.as_uri()]
        if max(wide) > 360 or low or said or asked:
            found[name] = (wide, low, said, asked)
    assert len(pages) == 20
    assert found == {}


@pytest.mark.parametrize(("name", "dark"), [("index", False), ("stock", True), ("what-if", True)])
def test_no_page_breaks_a_rule_of_accessibility_or_leaves_one_open(page, pages, axe, name, dark):
    page.size(360, 780, phone=True)
    page.dark(dark)
    page.open(pages[name])
    page.run("document.querySelectorAll('details').forEach(d => d.open = true)")
    assert page.broken(axe) == []
    assert "drawing" in contrasts_known(page, dark=dark)


def test_no_page_moves_after_it_was_shown(page, pages):
    """What a script shows, such as sliders, is there before the reader sees the page."""
    for name in ("index", "what-if"):
        for width in (1280, 360):
            page.size(width, 900, phone=width < 500)
            page.open(pages[name])
            assert sum(page.driver.execute_async_script(SHIFTS)) == 0, (name, width)


def test_no_page_is_larger_than_a_phone_should_load(pages):
    sizes = {name: file.stat().st_size for name, file in pages.items()}
    assert {name: size for name, size in sizes.items() if size > MOST_BYTES} == {}
    assert sum(sizes.values()) / len(sizes) <= 60_000
