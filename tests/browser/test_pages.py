"""Pages as a reader meets them: drawn, quiet, asking for nothing, fitting a phone, readable in the dark."""

from __future__ import annotations

import base64
import re
import time

import pytest

from flipkit.charts.style import SHADES
from tests.charts.test_theme import contrast
from tests.helpers.browser import SHIFTS

pytestmark = pytest.mark.browser


def widths(page):
    return page.run("return [document.documentElement.scrollWidth, window.innerWidth]")


def test_marks_are_where_the_figures_put_them(desk):
    # A dot a category, six in all, and further right the higher the hourly return; what it says is its own figure.
    script = """
        return [...document.querySelectorAll('#chart-1 .wide circle > title')].map(
            t => [t.textContent, t.parentElement.getBoundingClientRect().left]);
    """
    dots = desk.run(script)
    said = ["Which: stoneware; Estimate: $41; Sold: 38", "Which: film cameras and lenses; Estimate: $36; Sold: 52"]
    assert [text for text, _ in dots][:2] == said
    lefts = dict(zip(("stone", "film", "lamps", "games", "sewing", "wool"), (left for _, left in dots), strict=True))
    assert sorted(lefts, key=lefts.get) == ["sewing", "games", "lamps", "film", "stone", "wool"]


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


#: What a text of the books that became markup could bring, and the part of the policy that stops it.
_PUT_IN = {
    "script-src-elem": "put('script', {textContent: 'window.ran = 1'}); put('script', {src: `${far}/s.js`})",
    "script-src-attr": "put('p', {}).outerHTML = '<p id=p onclick=\"window.ran = 1\">x</p>'; p.click()",
    "style-src-elem": "put('style', {textContent: 'body { color: red !important }'})",
    "style-src-attr": "put('p', {}).outerHTML = '<p style=\"position: fixed\">x</p>'",
    "frame-src": "put('iframe', {src: `${far}/f`}); put('iframe', {srcdoc: '<script>top.ran = 1</script>'})",
    "object-src": "put('object', {data: `${far}/o`}); put('embed', {src: `${far}/e`})",
    "base-uri": "put('base', {href: far})",
    "form-action": "const form = put('form', {action: far, method: 'post'}); form.submit()",
    "media-src": "put('video', {src: `${far}/v`})",
    "connect-src": "fetch(far).catch(() => 0); new WebSocket('wss://example.org'); navigator.sendBeacon(far, 'x')",
}


@pytest.mark.parametrize("part", _PUT_IN)
def test_what_is_put_into_a_page_neither_runs_nor_asks(page, gallery, part):
    page.open(gallery)
    page.run(
        "window.stopped = []; window.far = 'https://example.org/';"
        "document.addEventListener('securitypolicyviolation', e => stopped.push(e.effectiveDirective));"
        "window.put = (name, more) => document.body.appendChild(Object.assign(document.createElement(name), more))"
    )
    page.run(f"try {{ {_PUT_IN[part]} }} catch {{}}")
    for _ in range(50):
        if part in page.run("return stopped"):
            break
        time.sleep(0.05)
    assert part in page.run("return stopped")
    assert page.run("return [window.ran, document.baseURI, location.href]") == [
        None,
        gallery.as_uri(),
        gallery.as_uri(),
    ]
    assert {why for url, why in page.requests() if url != gallery.as_uri()} <= {"csp"}


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_the_page_does_not_scroll_sideways(page, gallery, width):
    page.size(width, phone=width < 600)
    page.open(gallery)
    page.run("document.querySelectorAll('details').forEach(d => d.open = true)")
    scroll, inner = widths(page)
    assert scroll <= inner


@pytest.mark.parametrize(("width", "least"), [(320, 10), (360, 11), (768, 11), (1280, 11)])
def test_drawings_fit_their_place_and_keep_their_letters(page, gallery, width, least):
    page.size(width, phone=width < 600)
    page.open(gallery)
    script = """
        return [...document.querySelectorAll('.drawing')].map(d => {
            const svg = [...d.children].filter(s => s.getClientRects().length);
            const box = svg[0].getBoundingClientRect(), scale = box.width / svg[0].viewBox.baseVal.width;
            const sizes = [...svg[0].querySelectorAll('text')].map(t => parseFloat(getComputedStyle(t).fontSize));
            return [svg.length, box.width / d.clientWidth, Math.min(...sizes) * scale]; });
    """
    for count, share, letters in page.run(script):
        assert count == 1
        assert 0.8 < share <= 1.001
        assert letters >= least


def test_nothing_moves_after_it_was_shown(page, gallery):
    page.size(360, 780, phone=True)
    page.open(gallery)
    assert sum(page.driver.execute_async_script(SHIFTS)) == 0


@pytest.mark.parametrize("width", [360, 1280])
def test_a_long_table_is_sorted_by_a_press_on_a_heading(page, gallery, width):
    page.size(width, phone=width < 600)
    page.open(gallery)
    rows = """document.querySelectorAll('[aria-label="A long table"] tbody tr')"""
    read = f"return [...{rows}].map(r => r.cells[1].textContent)"
    first = page.run(read)
    heights = """return [...document.querySelectorAll('[aria-label="A long table"] button')].map(b => b.offsetHeight)"""
    shown = page.run(heights)
    assert min(shown) >= 44
    seen = []
    for _ in range(3):
        page.run("""document.querySelectorAll('[aria-label="A long table"] button')[1].click()""")
        order = page.run("""return document.querySelectorAll('[aria-label="A long table"] th')[1].ariaSort""")
        seen.append((order, page.run(read)))
    up = ["−$12", "$3", "$20", "$110", "$1,004"]
    assert [order for order, _ in seen] == ["ascending", "descending", None]
    assert [text for text in seen[0][1] if text != "$5"] == [*up, "–"]
    assert [text for text in seen[1][1] if text != "$5"] == [*up[::-1], "–"], "what is not known stays last"
    assert seen[2][1] == first


def test_on_a_phone_a_row_of_many_cells_is_a_card(phone):
    script = """
        const row = document.querySelector('[aria-label="A wide table"] tbody tr'), cell = row.cells[1];
        return [getComputedStyle(row).display, getComputedStyle(cell, '::before').content,
                document.querySelector('[aria-label="A wide table"]').scrollWidth];
    """
    display, heading, wide = phone.run(script)
    assert display == "block"
    assert "Column 1 ($)" in heading
    assert wide <= 328


def test_a_wide_table_scrolls_within_itself_and_by_keyboard(desk):
    script = """
        const box = document.querySelector('[aria-label="A wide table"]'); box.focus();
        return [box.scrollWidth > box.clientWidth, document.activeElement === box, getComputedStyle(box).overflowX];
    """
    assert desk.run(script) == [True, True, "auto"]


def test_words_on_paper_and_in_the_dark(page, gallery):
    page.open(gallery)
    script = """
        const label = document.querySelector('#chart-1 .wide text');
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
            document.getElementById(f.querySelector('svg').getAttribute('aria-describedby')).textContent.length,
            f.querySelectorAll('details td').length, f.querySelector('svg').getAttribute('aria-label')]);
    """
    found = desk.run(script)
    assert len(found) == 6
    for reading, cells, name in found:
        # Where the reading says every figure there is no table.
        assert reading > 40 or cells >= 4
        assert name


def test_data_that_looks_like_markup_stays_text(desk):
    said = desk.run("return document.getElementById('chart-1-reading').textContent")
    assert 'sewing machines </script> <!-- & "parts"' in said
    assert "</script>" in desk.run("return document.querySelector('#chart-1 .wide').textContent")


def test_without_scripts_everything_is_there(page, gallery):
    page.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        page.driver.get(gallery.as_uri())
        body = page.driver.find_element("tag name", "body").text
        wide = page.driver.find_element("css selector", "#chart-1 .wide").size["width"]
    finally:
        page.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    assert "film cameras and" in body
    assert wide > 500


def test_a_pack_can_be_walked_through(page, small_pack):
    page.open(small_pack.index)
    links = page.run("return [...document.querySelectorAll('main a')].map(a => a.getAttribute('href'))")
    assert links == ["one.html", "two.html"]
    page.driver.find_element("link text", "One").click()
    page.driver.find_element("css selector", "a[rel=next]").click()
    assert page.driver.title == "Two"
    page.driver.find_element("css selector", "a[rel=home]").click()
    assert page.driver.title == "October"
    assert page.messages() == []
    assert {url.rsplit("/", 1)[-1] for url, _ in page.requests()} == {"index.html", "one.html", "two.html"}


@pytest.mark.parametrize("name", ["index.html", "one.html"])
def test_pages_of_a_pack_fit_a_phone(page, small_pack, name):
    page.size(360, phone=True)
    page.open(small_pack.folder / name)
    scroll, inner = widths(page)
    assert scroll <= inner
    assert page.messages() == []


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("name", ["gallery", "index", "one"])
def test_no_rule_of_accessibility_is_broken(page, gallery, small_pack, axe, name, dark):
    page.dark(dark)
    page.open(gallery if name == "gallery" else small_pack.folder / f"{name}.html")
    page.run("document.querySelectorAll('details').forEach(d => d.open = true)")
    assert page.broken(axe) == []


COLORS = """
    const found = {};
    for (const e of document.querySelectorAll('body *')) {
        const said = [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
        if (!said || !e.getClientRects().length || e.closest('script, style, title')) continue;
        const drawn = e.closest('svg'), look = getComputedStyle(e);
        const place = drawn ? 'drawing' : e.closest('.scroll') ? 'table' : 'page';
        (found[place] ??= {})[drawn ? look.fill : look.color] = e.textContent.trim().slice(0, 30);
    }
    return found;
"""


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_every_text_has_a_colour_whose_contrast_is_known(page, gallery, dark):
    """What axe leaves open: tables stand on a shade at their sides, drawings on nothing that it can see."""
    page.dark(dark)
    page.open(gallery)
    page.run("document.querySelectorAll('details').forEach(d => d.open = true)")
    assert contrasts_known(page, dark=dark) == {"drawing", "table", "page"}


def contrasts_known(page, *, dark):
    """The places whose words were found to stand out from what is behind them."""
    shade = {role: pair.dark if dark else pair.light for role, pair in SHADES.items()}
    roles = {f"rgb({', '.join(str(int(hue[k : k + 2], 16)) for k in (1, 3, 5))})": role for role, hue in shade.items()}
    found = page.run(COLORS)
    for place, colours in found.items():
        for colour, text in colours.items():
            role = roles[colour]
            # Words on deep and bright marks are measured on those marks, with the other colours.
            if role in ("on_deep", "on_bright"):
                continue
            assert contrast(shade[role], shade["paper"]) >= 4.5, (place, role, text)
            assert place != "table" or contrast(shade[role], shade["line"]) >= 4.5, (role, text)
    return set(found)


def test_twice_as_large_letters_fit_a_phone(page, gallery):
    page.size(360, 780, phone=True)
    page.open(gallery)
    page.run("document.documentElement.style.fontSize = '200%'")
    scroll, inner = widths(page)
    assert scroll <= inner
