"""The sliders in JupyterLab itself: cells run, a key moves one, the figures follow, a button saves them."""

from __future__ import annotations

import dataclasses
import datetime as dt
import shutil
import socket
import subprocess
import sys
import time
import urllib.request

import pytest

from flipkit.analysis.what_if import Settings
from flipkit.lab import lab_environment, lab_folder
from flipkit.reports.panel import moved_sentence, saved_text
from flipkit.reports.sliders import Moves
from flipkit.reports.study import open_study
from flipkit.reports.tables import ranking_table
from tests.helpers.browser import window
from tests.helpers.without_kernels import without_kernels

pytestmark = [pytest.mark.browser, pytest.mark.slow]

HOST = "127.0.0.1"
READY = """
    const [shown] = window.jupyterapp ? [...window.jupyterapp.shell.widgets('main')] : [];
    const session = shown && shown.sessionContext && shown.sessionContext.isReady && shown.sessionContext.session;
    return !!session && !!session.kernel && session.kernel.connectionStatus === 'connected'
        && document.querySelectorAll('.jp-Notebook .jp-CodeCell').length >= 4;
"""
SHOWN = """
    const panel = document.querySelector('.jupyter-widgets.widget-vbox');
    const drawing = panel && panel.querySelector('.vega-embed canvas');
    if (!drawing || !panel.querySelector('table')) return null;
    const text = e => e.textContent.trim();
    return {
        words: [...panel.querySelectorAll('.headline p')].map(text),
        rows: [...panel.querySelector('table').querySelectorAll('tbody tr')].map(
            row => [...row.children].map(text)),
        drawn: drawing.toDataURL(),
        status: [...panel.querySelectorAll('[role=status]')].map(text).join(''),
    };
"""


@pytest.fixture(scope="module")
def books(demo_folder, tmp_path_factory):
    folder = tmp_path_factory.mktemp("a shop") / "books"
    return shutil.copytree(demo_folder, folder)


@pytest.fixture(scope="module")
def server(books, tmp_path_factory):
    """JupyterLab on the notebooks of these books, as ``flipkit lab`` starts it, but for the window and the token."""
    place = lab_folder(books).folder
    own = tmp_path_factory.mktemp("jupyter")
    with socket.socket() as free:
        free.bind((HOST, 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "jupyterlab", f"--ServerApp.root_dir={place}", "--no-browser", "--allow-root"]
    command += ["--IdentityProvider.token=", f"--ServerApp.ip={HOST}", f"--ServerApp.port={port}"]
    command += ["--ServerApp.port_retries=0", "--LabApp.expose_app_in_browser=True"]
    around = {name: value for name, value in lab_environment().items() if not name.startswith("PYTEST_")}
    around |= {f"JUPYTER_{name}_DIR": str(own / name.lower()) for name in ("CONFIG", "DATA", "RUNTIME")}
    around |= {"IPYTHONDIR": str(own / "ipython"), "JUPYTERLAB_SETTINGS_DIR": str(own / "lab")}
    with (own / "log").open("w") as log:
        lab = subprocess.Popen(command, cwd=place, env=around, stdout=log, stderr=log)
    try:
        address = f"http://{HOST}:{port}"
        waited(lambda: answers(f"{address}/api/status") or lab.poll() is not None, 60)
        assert lab.poll() is None, (own / "log").read_text()
        yield address
    finally:
        lab.terminate()
        try:
            lab.wait(20)
        except subprocess.TimeoutExpired:
            lab.kill()


def answers(address):
    try:
        with urllib.request.urlopen(address, timeout=2) as answer:  # noqa: S310 - our own server
            return answer.status == 200
    except OSError:
        return False


def waited(met, seconds):
    """What a condition gives once it gives something."""
    end = time.monotonic() + seconds
    while True:
        found = met()
        if found or time.monotonic() > end:
            return found
        time.sleep(0.05)


def shown_once(page, study, start):
    """The panel once it shows a study: its words and the rows of its ranking are those of the package."""
    words = list(moved_sentence(study, start))
    rows = [line.split() for line in ranking_table(study).text.splitlines()[2:]]

    def found():
        now = page.run(SHOWN)
        return now if now and now["words"] == words and [" ".join(row).split() for row in now["rows"]] == rows else None

    panel = waited(found, 60)
    assert panel, f"waited for {words} and {rows}, got {page.run(SHOWN)}"
    return panel


def test_a_key_moves_the_full_model_and_a_button_saves_it(server, books, tmp_path):
    from selenium.webdriver.common.by import By
    from selenium.webdriver.common.keys import Keys

    study = open_study(books)
    studies = Moves(study)
    start = studies.supposed
    with window(tmp_path, host=HOST) as page:
        page.size(1280, 1400)
        page.driver.get(f"{server}/doc/tree/move_assumptions.ipynb")
        assert waited(lambda: page.run(READY), 60)
        page.run("window.jupyterapp.commands.execute('notebook:run-all-cells')")
        first = shown_once(page, study, study)
        sliders = page.driver.find_elements(By.CSS_SELECTOR, ".widget-slider")
        by_name = {
            slider.text.split("\n")[0]: slider.find_element(By.CSS_SELECTOR, ".noUi-handle") for slider in sliders
        }
        by_name["Your target, an hour ($)"].send_keys(Keys.ARROW_RIGHT * 4)
        target = Settings(start.target + 2, start.wage)
        second = shown_once(page, studies.under(target), study)
        by_name["Your minutes, times"].send_keys(Keys.ARROW_RIGHT * 3)
        moved = studies.under(Settings(start.target + 2, start.wage, factor=1.15))
        third = shown_once(page, moved, study)
        for now, then in ((first, second), (second, third)):
            assert now["rows"] != then["rows"]
        assert waited(lambda: page.run(SHOWN)["drawn"] != first["drawn"], 20), "the dots move too"
        page.driver.find_element(By.XPATH, "//button[normalize-space()='Save as my assumptions']").click()
        assert waited(lambda: page.run(SHOWN)["status"].startswith("Saved in"), 30)
        said = page.driver.get_log("browser")
        assert [entry["message"] for entry in said if entry["level"] in ("SEVERE", "WARNING")] == []
        asked = [url for url, _ in page.requests() if url.startswith(("http", "ws"))]
        assert len(asked) > 20
        assert [url for url in asked if f"//{server.split('//')[1]}" not in url] == []
    [file] = books.glob("assumptions-*.toml")
    on = dt.date.fromisoformat(file.stem.removeprefix("assumptions-"))
    assert dt.date.today() - on <= dt.timedelta(days=1)
    assert file.read_text(encoding="utf-8") == saved_text(moved, on=on)
    # The sliders leave the stock as it was planned; a report under the file would plan it anew.
    again = dataclasses.replace(open_study(books, settings=file.name), giving=study.given_up)
    assert again.ranking.equals(moved.ranking)


def test_as_a_page_the_sliders_are_words_and_tables_and_ask_for_nothing(page, books, tmp_path):
    from flipkit.pack.page import MOST_BYTES
    from flipkit.pack.run import NotebookTask, run_notebooks

    place = lab_folder(books, tmp_path / "lab").folder
    with without_kernels():
        [result] = run_notebooks([NotebookTask("move", place / "move_assumptions.ipynb")], tmp_path / "out", cwd=place)
    assert result.error is None
    assert result.warnings == ()
    assert result.page.stat().st_size < MOST_BYTES
    page.size(360, 780, phone=True)
    page.open(result.page)
    assert page.messages() == []
    assert page.requests() == [(result.page.as_uri(), "")]
    script = "return [document.querySelectorAll('table').length, document.body.textContent.includes('VBox')]"
    assert page.run(script) == [4, False]
    scroll, inner = page.run("return [document.documentElement.scrollWidth, window.innerWidth]")
    assert scroll <= inner
