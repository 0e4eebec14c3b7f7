"""The sliders in a page against the same lines computed by the package."""

from __future__ import annotations

import numpy as np
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from flipkit.analysis.sliders import AS_CHARGED, Settings, moved_returns
from flipkit.charts.sliders import DIVISORS, moved_words
from flipkit.pack.page import render_page
from flipkit.reports.sliders import plot_sliders, starting_settings, study_sums, wage_paid
from flipkit.reports.study import open_study

pytestmark = pytest.mark.browser

#: The inputs in the order in which they stand.
NAMES = ("target", "wage", "points", "divisor", "factor")

SET = """
    const inputs = [...document.querySelectorAll('.vega-bindings input, .vega-bindings select')];
    arguments[0].forEach((value, k) => {
        if (inputs[k].tagName === 'SELECT') inputs[k].selectedIndex = value; else inputs[k].value = value;
        for (const name of ['input', 'change']) inputs[k].dispatchEvent(new Event(name, {bubbles: true}));
    });
    const done = arguments[arguments.length - 1];
    document.querySelector('figure[data-moves]').view.runAsync().then(() => done(inputs.map(i => i.value)));
"""
DRAWN = """
    const lines = e => [...e.querySelectorAll('tspan')].map(t => t.textContent);
    return {
        dots: [...document.querySelectorAll('svg .mark-symbol path')].map(d => {
            const row = d.__data__.datum; const box = d.getBoundingClientRect();
            return [row.category, row.value, row.lower, row.upper, row.verdict, box.top + box.height / 2,
                    box.left + box.width / 2]; }),
        lines: lines(document.querySelector('svg .sentence_marks text')),
    };
"""


@pytest.fixture(scope="module")
def study(demo_folder):
    return open_study(demo_folder)


@pytest.fixture(scope="module")
def sliders(study, tmp_path_factory):
    """A page with the demo shop's sliders, on disk."""
    outputs = [new_output("display_data", data=plot_sliders(study)._repr_mimebundle_())]
    cells = [new_markdown_cell("# Move"), new_code_cell("", outputs=outputs)]
    file = tmp_path_factory.mktemp("sliders") / "sliders.html"
    file.write_text(render_page(new_notebook(cells=cells)), encoding="utf-8")
    return file


def chance_settings(start, count, seed):
    """Settings on the sliders' own steps, each other than before."""
    draw = np.random.default_rng(seed)
    for _ in range(count):
        yield Settings(
            target=start.target % 0.5 + 0.5 * int(draw.integers(0, 100)),
            wage=start.wage % 0.5 + 0.5 * int(draw.integers(0, 80)),
            points=-5 + 0.25 * int(draw.integers(0, 61)),
            divisor=int(draw.choice([AS_CHARGED, *DIVISORS])),
            factor=round(0.5 + 0.05 * int(draw.integers(0, 31)), 2),
        )


def put(page, settings):
    options = [AS_CHARGED, *DIVISORS]
    values = [getattr(settings, name) for name in NAMES]
    values[3] = options.index(settings.divisor)
    said = page.driver.execute_async_script(SET, values)
    assert [float(said[k]) for k in (0, 1, 2, 4)] == pytest.approx([values[k] for k in (0, 1, 2, 4)])
    return page.run(DRAWN)


def test_twenty_settings_agree_with_the_package_to_the_cent(page, study, sliders):
    page.open(sliders)
    sums, start, wage = study_sums(study), starting_settings(study), wage_paid(study)
    seen = set()
    for settings in chance_settings(start, 20, seed=8):
        drawn = put(page, settings)
        moved = moved_returns(sums, settings, wage=wage)
        dots = sorted(drawn["dots"], key=lambda dot: dot[5])
        assert [dot[0] for dot in dots] == moved["category"].tolist(), "the order from top to bottom"
        assert [dot[4] for dot in dots] == moved["verdict"].tolist()
        for at, name in ((1, "hourly"), (2, "low"), (3, "high")):
            ours = [None if np.isnan(value) else round(value, 2) for value in moved[name]]
            assert [None if dot[at] is None else round(dot[at], 2) for dot in dots] == ours, (settings, name)
        lefts = [dot[6] for dot in dots]
        assert lefts == sorted(lefts, reverse=True), "further right the higher"
        assert drawn["lines"] == moved_words(moved, settings.target, currency=study.currency)
        seen.add((tuple(moved["category"]), tuple(drawn["lines"])))
    assert len(seen) == 20, "each setting shows something else"
    assert page.messages() == []


def test_the_sliders_start_where_the_report_stands(page, study, sliders):
    page.open(sliders)
    sold = study.sold_returns.set_index("category")
    for category, value, low, high, verdict, *_ in page.run(DRAWN)["dots"]:
        row = sold.loc[category]
        assert round(value, 2) == round(row["hourly"], 2)
        if row["claimed"]:
            assert (round(low, 2), round(high, 2)) == (round(row["low"], 2), round(row["high"], 2))
        assert verdict == row["verdict"]


def test_an_arrow_key_moves_the_marks_and_the_words(page, study, sliders):
    from selenium.webdriver.common.keys import Keys
    from selenium.webdriver.support.ui import WebDriverWait

    page.open(sliders)
    before = page.run("return document.querySelector('figcaption').textContent")
    first = page.driver.find_element("css selector", ".vega-bindings input")
    first.send_keys(Keys.ARROW_RIGHT * 4)
    there = f"${study.target + 2:.2f}"
    caption = "return document.querySelector('figcaption').textContent"
    WebDriverWait(page.driver, 10).until(lambda _: there in page.run(caption))
    assert there not in before
    assert page.run("return document.querySelector('figcaption').getAttribute('aria-live')") == "polite"


def test_every_slider_has_a_name_and_room_on_a_phone(page, sliders):
    page.size(360, 780, phone=True)
    page.open(sliders)
    script = """
        const inputs = [...document.querySelectorAll('.vega-bindings input, .vega-bindings select')];
        return [document.documentElement.scrollWidth, window.innerWidth, inputs.map(i =>
            [i.closest('label') ? i.closest('label').textContent : '', i.getBoundingClientRect().width,
             i.closest('label').getBoundingClientRect().height])];
    """
    scroll, inner, inputs = page.run(script)
    assert scroll <= inner
    assert len(inputs) == 5
    for label, width, height in inputs:
        assert len(label) > 8
        assert width >= 120
        assert height >= 44


def test_turning_the_phone_keeps_the_settings(page, study, sliders):
    from selenium.webdriver.support.ui import WebDriverWait

    page.size(360, 800, phone=True)
    page.open(sliders)
    moved = Settings(target=study.target + 5, wage=wage_paid(study), factor=1.5)
    lines = put(page, moved)["lines"]
    width = "return document.querySelector('figure svg').getBoundingClientRect().width"
    narrow = page.run(width)
    page.size(800, 360, phone=True)
    WebDriverWait(page.driver, 10).until(lambda _: page.run(width) > narrow + 200)
    assert page.run(DRAWN)["lines"] == lines
    assert page.messages() == []


def test_no_rule_of_accessibility_is_broken_by_the_sliders(page, sliders, axe):
    page.open(sliders)
    page.driver.execute_cdp_cmd("Runtime.evaluate", {"expression": axe})
    broken = page.driver.execute_async_script(
        "const done = arguments[0];"
        "axe.run(document).then(r => done(r.violations.map(v => `${v.id}: ${v.nodes[0].html}`)), e => done([`${e}`]));"
    )
    assert broken == []
