"""Pages as a reader meets them: drawn, quiet, asking for nothing, fitting a phone, readable in the dark."""

from __future__ import annotations

import base64
import re

import pytest

pytestmark = pytest.mark.browser

MARKS = "svg .mark-symbol path, svg .mark-rect path, svg .mark-line path, svg .mark-area path, svg .mark-rule line"


@pytest.fixture(scope="module")
def pack(tmp_path_factory):
    """A pack of the fixture notebook, as the runner makes it."""
    from pathlib import Path

    from flipkit.pack.build import Manifest, PackPage, make_pack
    from flipkit.pack.run import NotebookTask

    notebook = Path(__file__).parents[1] / "pack" / "fixtures" / "small.ipynb"
    pages = [PackPage(NotebookTask(name, notebook, title=name.capitalize()), "So it went.") for name in ("one", "two")]
    manifest = Manifest("A shop", "USD", "2026-10", "2026-11-14", {})
    return make_pack(pages, tmp_path_factory.mktemp("packs") / "pack", title="October", manifest=manifest, jobs=2)


def widths(page):
    return page.run("return [document.documentElement.scrollWidth, window.innerWidth]")


def test_every_chart_is_drawn(desk):
    states = desk.run("return [...document.querySelectorAll('figure.chart')].map(f => f.dataset.state)")
    assert states == ["drawn"] * 8
    script = f"return [...document.querySelectorAll('figure.chart')].map(f => f.querySelectorAll('{MARKS}').length)"
    assert min(desk.run(script)) >= 4


def test_marks_are_where_the_figures_put_them(desk):
    # A dot a category, six in all, and further right the higher the hourly return.
    script = """
        const dots = [...document.querySelectorAll('#chart-1 svg .mark-symbol path')];
        return dots.filter(d => +getComputedStyle(d).opacity > 0 && d.__data__.datum.value !== undefined)
                   .map(d => [d.__data__.datum.value, d.getBoundingClientRect().left]);
    """
    dots = sorted(set(map(tuple, desk.run(script))))
    assert [value for value, _ in dots] == [-4.2, 18.7, 28.4, 36.0, 41.3, 61.0]
    lefts = [left for _, left in dots]
    assert lefts == sorted(lefts)
    assert len(set(lefts)) == 6


def test_nothing_is_said_and_nothing_is_asked_for_but_the_page_itself(page, gallery):
    page.open(gallery)
    assert page.messages() == []
    assert page.requests() == [(gallery.as_uri(), "")]


def test_the_policy_stops_what_would_ask_the_network(page, gallery):
    page.open(gallery)
    page.run("document.body.append(Object.assign(new Image(), {src: 'https://example.org/a.png'}))")
    page.run("fetch('https://example.org/b').catch(() => 0)")
    assert " ".join(page.messages()).count("Content Security Policy") >= 2
    others = [(url, why) for url, why in page.requests() if url != gallery.as_uri()]
    assert others
    assert {why for _, why in others} == {"csp"}


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_the_page_does_not_scroll_sideways(page, gallery, width):
    page.size(width, phone=width < 600)
    page.open(gallery)
    page.run("document.querySelectorAll('details').forEach(d => d.open = true)")
    scroll, inner = widths(page)
    assert scroll <= inner


def test_no_drawing_is_wider_than_its_place_on_a_phone(phone):
    script = """
        return [...document.querySelectorAll('.drawing')].map(
            d => [d.querySelector('svg').getBoundingClientRect().width, d.clientWidth]);
    """
    for svg, place in phone.run(script):
        assert place * 0.8 < svg <= place + 1


def test_labels_keep_their_size_on_a_phone(phone):
    # A drawing shrunk as a picture would have unreadable words.
    script = """
        return [...document.querySelectorAll('.drawing svg')].map(s => {
            const box = s.viewBox.baseVal; return s.getBoundingClientRect().width / box.width; });
    """
    assert min(phone.run(script)) > 0.97


def test_panels_are_drawn_anew_when_the_phone_is_turned(page, gallery):
    page.size(360, 800, phone=True)
    page.open(gallery)
    script = "return document.querySelector('figure.chart[data-margin] svg').getBoundingClientRect().width"
    narrow = page.run(script)
    page.size(800, 360, phone=True)
    from selenium.webdriver.support.ui import WebDriverWait

    WebDriverWait(page.driver, 10).until(lambda _: page.run(script) > narrow + 200)
    assert page.messages() == []


def test_a_wide_table_scrolls_within_itself_and_by_keyboard(phone):
    script = """
        const box = document.querySelector('[aria-label="A wide table"]'); box.focus();
        return [box.scrollWidth > box.clientWidth, document.activeElement === box, getComputedStyle(box).overflowX];
    """
    assert phone.run(script) == [True, True, "auto"]


def test_words_on_paper_and_in_the_dark(page, gallery):
    page.open(gallery)
    script = """
        const label = document.querySelector('#chart-1 svg .role-axis-label text');
        return [getComputedStyle(document.body).backgroundColor, getComputedStyle(document.body).color,
                getComputedStyle(label).fill];
    """
    light = page.run(script)
    page.dark(True)
    dark = page.run(script)
    assert light[0] == "rgb(255, 255, 255)"
    for before, after in zip(light, dark, strict=True):
        assert before != after, "the drawing follows the reader's mode without being drawn anew"


def test_paper_is_white_whatever_the_screen(page, gallery):
    page.dark(True)
    page.open(gallery)
    page.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    paper = page.run("return getComputedStyle(document.documentElement).getPropertyValue('--paper')")
    page.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    assert paper.strip() == "#ffffff"


def test_the_page_prints(page, gallery):
    page.open(gallery)
    pdf = base64.b64decode(page.driver.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})["data"])
    assert pdf.startswith(b"%PDF")
    assert 2 <= len(re.findall(rb"/Type\s*/Page\b", pdf)) <= 12


def test_readings_and_numbers_stand_by_every_chart(desk):
    script = """
        return [...document.querySelectorAll('figure.chart')].map(f => [
            f.querySelector('figcaption').textContent.length, f.querySelectorAll('details td').length,
            f.querySelector('svg').getAttribute('aria-hidden')]);
    """
    for reading, cells, hidden in desk.run(script):
        assert reading > 20
        assert cells >= 4
        assert hidden == "true"


def test_data_that_looks_like_markup_stays_text(desk):
    said = desk.run("return document.querySelector('#chart-1 figcaption').textContent")
    assert 'sewing machines </script> <!-- & "parts"' in said


def test_without_scripts_the_words_are_there(page, gallery):
    page.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        page.driver.get(gallery.as_uri())
        body = page.driver.find_element("tag name", "body").text
    finally:
        page.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    assert "Above the target of $25 an hour: stoneware $41" in body
    assert "the chart is not drawn" in body


def test_the_first_chart_comes_soon(desk):
    script = """
        const [entry] = performance.getEntriesByType('navigation'); return entry.domContentLoadedEventEnd;
    """
    # A bound against drawing that blocks, not a stopwatch: the page parses its library and starts to draw.
    assert desk.run(script) < 10_000


def test_a_pack_can_be_walked_through(page, pack):
    page.open(pack.index)
    links = page.run("return [...document.querySelectorAll('ol.pages a')].map(a => a.getAttribute('href'))")
    assert links == ["one.html", "two.html"]
    page.driver.find_element("link text", "One").click()
    page.driver.find_element("css selector", "a[rel=next]").click()
    assert page.driver.title == "Two"
    page.driver.find_element("css selector", "a[rel=home]").click()
    assert page.driver.title == "October"
    assert page.messages() == []
    assert {url.rsplit("/", 1)[-1] for url, _ in page.requests()} == {"index.html", "one.html", "two.html"}


@pytest.mark.parametrize("name", ["index.html", "one.html"])
def test_pages_of_a_pack_fit_a_phone(page, pack, name):
    page.size(360, phone=True)
    page.open(pack.folder / name)
    scroll, inner = widths(page)
    assert scroll <= inner
    assert page.messages() == []


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("name", ["gallery", "index", "one"])
def test_no_rule_of_accessibility_is_broken(page, gallery, pack, axe, name, dark):
    page.dark(dark)
    page.open(gallery if name == "gallery" else pack.folder / f"{name}.html")
    page.run("document.querySelectorAll('details').forEach(d => d.open = true)")
    page.driver.execute_cdp_cmd("Runtime.evaluate", {"expression": axe})
    broken = page.driver.execute_async_script(
        "const done = arguments[0];"
        "axe.run(document).then(r => done(r.violations.map(v => `${v.id}: ${v.nodes[0].html}`)), e => done([`${e}`]));"
    )
    assert broken == []
