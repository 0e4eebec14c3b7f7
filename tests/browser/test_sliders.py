"""The sliders in a page against the same lines computed by the package."""

from __future__ import annotations

import re

import numpy as np
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from flipkit.analysis.what_if import AS_CHARGED, DIVISORS, Settings
from flipkit.pack.build import single_page
from flipkit.pack.page import render_page
from flipkit.reports.sliders import BASES, Moves, counted_words, moved_words, plot_sliders

pytestmark = pytest.mark.browser

#: What a page's slider of a setting holds: hundredths of what it is, or its own unit.
SHARES = ("price", "factor", "postage", "cost")

SET = """
    const section = document.querySelector('.moves');
    for (const [name, value] of Object.entries(arguments[0])) {
        const inputs = [...section.querySelectorAll(`[name="${name}"]`)];
        if (inputs.length > 1) inputs.find(i => i.value === value).checked = true; else inputs[0].value = value;
    }
    section.querySelector('input').dispatchEvent(new Event('input', {bubbles: true}));
"""
SHOWN = """
    return [document.querySelector('.moved').textContent, [...document.querySelectorAll('.moves tbody tr')].map(r => [
        r.cells[0].textContent, r.dataset.moved, r.cells[3].textContent, r.cells[1].textContent,
        ...[...r.querySelectorAll('line')].map(l => Number(l.getAttribute('x1')))])]
"""


@pytest.fixture(scope="module")
def study(demo_study):
    return demo_study


@pytest.fixture(scope="module")
def moves(study):
    return Moves(study)


@pytest.fixture(scope="module")
def html(moves):
    outputs = [new_output("display_data", data=plot_sliders(moves)._repr_mimebundle_())]
    cells = [new_markdown_cell("# What if?"), new_code_cell("", outputs=outputs)]
    return render_page(new_notebook(cells=cells), name="what-if")


@pytest.fixture(scope="module")
def sliders(html, tmp_path_factory):
    file = tmp_path_factory.mktemp("sliders") / "what-if.html"
    file.write_text(html, encoding="utf-8")
    return file


def put(page, settings, basis):
    asked = {name: f"{100 * getattr(settings, name):g}" for name in SHARES}
    asked |= {name: f"{getattr(settings, name):g}" for name in ("points", "wage", "divisor", "target")}
    page.run(SET, {**asked, "basis": basis})
    return page.run(SHOWN)


def chance_settings(start, count, seed):
    """Settings on the sliders' own steps, each other than before, on either basis."""
    draw = np.random.default_rng(seed)
    for _ in range(count):
        yield (
            str(draw.choice(list(BASES))),
            Settings(
                target=start.target % 0.5 + 0.5 * int(draw.integers(0, 100)),
                wage=round(start.wage % 0.5 + 0.5 * int(draw.integers(1, 78)), 2),
                points=-5 + 0.25 * int(draw.integers(0, 61)),
                divisor=int(draw.choice([AS_CHARGED, *DIVISORS])),
                factor=int(draw.integers(10, 41)) * 5 / 100,
                price=int(draw.integers(50, 151)) / 100,
                postage=int(draw.integers(10, 41)) * 5 / 100,
                cost=int(draw.integers(0, 41)) * 5 / 100,
            ),
        )


def test_fifty_settings_agree_with_the_package_to_the_cent(page, study, moves, sliders):
    page.open(sliders)
    start = moves.start
    seen = set()
    for basis, settings in chance_settings(start, 50, seed=8):
        headline, rows = put(page, settings, basis)
        moved = moves.returns(basis, settings)
        still = moves.returns(basis, start)
        assert [row[0] for row in rows] == moved["category"].tolist(), "the order from top to bottom"
        assert [row[2] for row in rows] == moved["verdict"].tolist()
        for (_, told, *_), row in zip(rows, moved.to_dict("records"), strict=True):
            ours = [row["hourly"], row["low"], row["high"]] if row["claimed"] else [row["hourly"]]
            theirs = [float(text) for text in told.split()[: len(ours)]]
            assert theirs == [round(value, 2) for value in ours], (basis, settings)
        said = moved_words(moved, still, currency=study.currency)
        assert headline == " ".join([*said, counted_words(study, basis)])
        dots = [row[-1] for row in rows]
        assert dots == sorted(dots, reverse=True), "further right the higher"
        seen.add((tuple(moved["category"]), headline))
    assert len(seen) == 50, "each setting shows something else"
    assert page.messages() == []


def test_the_sliders_start_where_the_report_stands(page, study, sliders):
    page.open(sliders)
    bought = study.bought_returns.set_index("category")
    headline, rows = page.run(SHOWN)
    assert f"about ${study.shop_bought['hourly'].iloc[0]:.0f} as things stand" in headline
    for category, told, verdict, *_ in rows:
        row = bought.loc[category]
        ends = [row["hourly"], row["low"], row["high"]] if row["claimed"] else [row["hourly"]]
        assert [float(text) for text in told.split()[: len(ends)]] == pytest.approx(ends, abs=0.0051)
        assert verdict == study.decision(category).verdict


def test_before_the_script_runs_the_page_says_the_same(page, html, sliders, tmp_path):
    page.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        page.driver.get(sliders.as_uri())
        rows = [row.text for row in page.driver.find_elements("css selector", ".moves tr")]
        headline = page.driver.find_element("css selector", ".moved").text
        shown = page.driver.find_element("css selector", ".controls").is_displayed()
    finally:
        page.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    page.open(sliders)
    assert headline == page.driver.find_element("css selector", ".moved").text
    assert rows == [row.text for row in page.driver.find_elements("css selector", ".moves tr")]
    assert not shown, "what cannot be moved is not offered"
    mailed = tmp_path / "mailed.html"
    mailed.write_text(re.sub("<script.*?</script>", "", html, flags=re.DOTALL), encoding="utf-8")
    page.open(mailed)
    assert headline == page.driver.find_element("css selector", ".moved").text
    dead = page.driver.find_elements("css selector", "input, select, button, .controls p")
    assert dead
    assert not any(one.is_displayed() for one in dead), "nor in a mail preview, which takes scripts out"


def test_an_arrow_key_moves_the_words_and_the_address_which_brings_them_back(page, study, sliders):
    from selenium.webdriver.common.keys import Keys
    from selenium.webdriver.support.ui import WebDriverWait

    page.open(sliders)
    before = page.run(SHOWN)
    page.driver.find_element("css selector", ".moves [name=price]").send_keys(Keys.ARROW_RIGHT * 4)
    moved = page.run(SHOWN)
    assert moved[0] != before[0]
    assert page.run("return document.querySelector('.moves output').textContent") == "104%"
    WebDriverWait(page.driver, 5).until(lambda _: page.run("return location.hash") == "#?price=104")
    again = page.run("return location.href")
    page.driver.get("about:blank")
    page.driver.get(again)
    assert page.run(SHOWN) == moved
    page.driver.find_element("css selector", ".moves button").click()
    assert page.run(SHOWN) == before
    assert page.run("return location.hash") == ""
    assert page.messages() == []


def test_in_one_file_with_others_the_address_names_the_page_too(page, html, tmp_path):
    file = tmp_path / "pack.html"
    other = "<main><h1>Index</h1><a href='what-if.html'>What if</a></main>"
    file.write_text(single_page(other, [("what-if", html)], title="Pack", home="index.html"), encoding="utf-8")
    page.driver.get("about:blank")
    page.driver.get(f"{file.as_uri()}#what-if?cost=150&basis=sold")
    assert page.driver.find_element("css selector", ".moves").is_displayed()
    assert page.run("return document.querySelector('[name=cost]').value") == "150"
    assert page.run("return document.querySelector('[name=basis]:checked').value") == "sold"
    page.driver.find_element("css selector", ".moves button").click()
    assert page.run("return location.hash") == "#what-if"
    assert page.driver.find_element("css selector", ".moves").is_displayed()


def test_every_slider_has_a_name_a_unit_and_room_on_a_phone(page, sliders):
    page.size(360, 780, phone=True)
    page.open(sliders)
    script = """
        const inputs = [...document.querySelectorAll('.moves input, .moves select, .moves button')];
        return [document.documentElement.scrollWidth, window.innerWidth, inputs.map(i => {
            const box = (i.type === 'radio' ? i.closest('label') : i).getBoundingClientRect();
            return [(i.closest('label') || i).textContent, box.width, box.height]; })];
    """
    scroll, inner, inputs = page.run(script)
    assert scroll <= inner
    assert len(inputs) == 12
    for label, width, height in inputs:
        assert len(label) > 8
        assert width >= 120
        assert height >= 44


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_no_rule_of_accessibility_is_broken_by_the_sliders(page, sliders, axe, dark):
    page.dark(dark)
    page.size(360, 780, phone=True)
    page.open(sliders)
    assert page.broken(axe) == []
