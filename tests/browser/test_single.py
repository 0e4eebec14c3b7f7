"""A whole pack in one file, opened from disk with the network off."""

from __future__ import annotations

import base64
import re

import pytest

from flipkit.pack.build import SINGLE, single_page

pytestmark = pytest.mark.browser

SHOWN = "return [...document.querySelectorAll('h1')].filter(h => h.getClientRects().length).map(h => h.textContent)"


@pytest.fixture(scope="module")
def single(small_pack):
    return small_pack.folder / SINGLE


def start(page, file):
    """Open the file anew: another place in the same file alone loads nothing."""
    page.driver.get("about:blank")
    page.messages()
    page.requests()
    page.driver.get(file.as_uri())


def test_there_is_a_way_through_all_pages_and_back(page, single):
    start(page, single)
    assert page.run(SHOWN) == ["October"]
    page.driver.find_element("link text", "One").click()
    assert page.run(SHOWN) == ["One"]
    assert page.driver.title == "One"
    page.driver.find_element("css selector", "#one a[rel=next]").click()
    assert page.run(SHOWN) == ["Two"]
    page.driver.back()
    assert page.run(SHOWN) == ["One"]
    page.driver.find_element("css selector", "#one a[rel=home]").click()
    assert page.run(SHOWN) == ["October"]
    assert page.driver.title == "October"
    assert page.messages() == []
    assert {url.split("#")[0] for url, _ in page.requests()} == {single.as_uri()}


def test_back_keeps_the_place(page, single):
    page.size(360, 780, phone=True)
    start(page, single)
    page.run("location.hash = '#one'; scrollTo(0, 300)")
    at = page.run("return scrollY")
    page.run("document.querySelector('#one > nav:last-child a[rel=next]').click()")
    assert page.run(SHOWN) == ["Two"]
    assert page.run("return scrollY") < at
    page.driver.back()
    assert page.run(SHOWN) == ["One"]
    page.run("return new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
    assert page.run("return scrollY") == at > 100


def test_what_was_moved_stands_behind_the_name_of_the_page(page, single):
    page.driver.get("about:blank")
    page.driver.get(f"{single.as_uri()}#two?wage=18")
    assert page.run(SHOWN) == ["Two"]


def test_paper_has_every_page_on_a_sheet_of_its_own(page, single):
    start(page, single)
    page.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        shown = page.run(SHOWN)
    finally:
        page.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    assert shown == ["October", "One", "Two"]
    pdf = base64.b64decode(page.driver.execute_cdp_cmd("Page.printToPDF", {})["data"])
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 3


def test_a_page_can_be_opened_straight_away(page, single):
    page.driver.get("about:blank")
    page.driver.get(f"{single.as_uri()}#two")
    assert page.run(SHOWN) == ["Two"]
    assert page.driver.title == "Two"


def test_without_scripts_the_way_through_is_there(page, single):
    page.driver.get("about:blank")
    page.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        page.driver.get(f"{single.as_uri()}#two")
        heads = [head.text for head in page.driver.find_elements("tag name", "h1") if head.is_displayed()]
    finally:
        page.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    assert heads == ["Two"]


@pytest.mark.parametrize("place", ["", "#one"])
def test_each_part_fits_a_phone_and_breaks_no_rule_of_accessibility(page, single, axe, place):
    page.size(360, 780, phone=True)
    start(page, single)
    page.run(f"location.hash = '{place}'")
    scroll, inner = page.run("return [document.documentElement.scrollWidth, window.innerWidth]")
    assert scroll <= inner
    assert page.broken(axe) == []


def test_a_page_with_things_side_by_side_widens_itself_alone(page, tmp_path):
    pages = [("one", '<main><h1>One</h1><div class="beside"></div></main>'), ("two", "<main><h1>Two</h1></main>")]
    file = tmp_path / "both.html"
    file.write_text(single_page("<main></main>", pages, title="October", home="index.html"), encoding="utf-8")
    page.size(1280)
    start(page, file)
    wide = "location.hash = arguments[0]; return document.body.clientWidth"
    page.run(wide, "#one")
    assert page.run(wide, "#one") > 1200
    page.run(wide, "#two")
    assert page.run(wide, "#two") <= 800


def test_the_way_to_the_other_pages_is_left_out_on_paper(page, tmp_path):
    links = '<a href="packing.html">Packing</a> <a href="money.html">Money</a>'
    index = f'<main><section id="way">{links}</section><section id="rest"><p>Rest</p></section></main>'
    pages = [(name, f"<main><h1>{name}</h1></main>") for name in ("packing", "money")]
    file = tmp_path / "both.html"
    file.write_text(single_page(index, pages, title="October", home="index.html"), encoding="utf-8")
    start(page, file)
    seen = "return ['way', 'rest'].filter(id => document.getElementById(id).getClientRects().length)"
    assert page.run(seen) == ["way", "rest"]
    page.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        assert page.run(seen) == ["rest"]
    finally:
        page.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
