"""Notebooks on a seller's own books: copied once, never written over."""

from __future__ import annotations

import json
import os
import sys
from contextlib import nullcontext
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import CliRunner

from flipkit.cli.main import main
from flipkit.lab import lab_folder
from flipkit.paths import notebooks_folder
from tests.helpers.without_kernels import without_kernels

ITEMS = "item_id,title,category,bought_on,cost\nA,Jug,stoneware,2026-01-03,10.00\n"


def run(*arguments: object):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture
def books(tmp_path):
    folder = tmp_path / 'my "books"'
    folder.mkdir()
    (folder / "items.csv").write_text(ITEMS, encoding="utf-8")
    return folder


@pytest.fixture
def started(monkeypatch):
    """What would have been started."""
    asked = []

    def record(command, **rest):
        asked.append((command, rest))
        return SimpleNamespace(returncode=0)

    monkeypatch.setattr("flipkit.lab.subprocess.run", record)
    return asked


def test_lab_copies_the_notebooks_beside_the_books_and_starts_there(books, started):
    result = run("lab", books)
    assert result.exit_code == 0, result.output
    place = books.with_name('my "books"-notebooks')
    assert {path.name for path in place.iterdir()} == {path.name for path in notebooks_folder().glob("*.ipynb")}
    [(command, rest)] = started
    assert command == [sys.executable, "-m", "jupyterlab", f"--ServerApp.root_dir={place}"]
    assert rest["cwd"] == place
    run("lab", books, "--port", 8900, "--no-browser", "--", "--ip=0.0.0.0")
    assert started[1][0][4:] == ["--port=8900", "--no-browser", "--ip=0.0.0.0"]


def test_each_copy_opens_the_books_and_shows_nothing_of_the_demo(books):
    place = lab_folder(books).folder
    asking = 0
    for path in place.glob("*.ipynb"):
        cells = [c for c in json.loads(path.read_text(encoding="utf-8"))["cells"] if c["cell_type"] == "code"]
        assert all(cell["outputs"] == [] and cell["execution_count"] is None for cell in cells)
        [parameters] = [cell for cell in cells if "parameters" in cell["metadata"].get("tags", [])]
        names: dict[str, object] = {}
        exec("".join(parameters["source"]), names)  # noqa: S102 - our own notebook's literals
        if "books" in names:
            assert (place / str(names["books"])).resolve() == books.resolve(), path.name
            asking += 1
    assert asking >= 6


def test_what_stands_there_is_never_written_over(books, started):
    place = lab_folder(books).folder
    mine = place / "stock.ipynb"
    mine.write_text("mine", encoding="utf-8")
    (place / "trust.ipynb").unlink()
    result = run("lab", books)
    assert mine.read_text(encoding="utf-8") == "mine"
    assert (place / "trust.ipynb").exists()
    assert "Copied 1 notebook into" in result.output
    assert "Kept" in result.output


def test_nothing_is_started_where_nobody_asks_for_it(books, started, tmp_path):
    result = run("lab", books, "--folder", tmp_path / "elsewhere", "--no-open")
    assert result.exit_code == 0
    assert (tmp_path / "elsewhere" / "stock.ipynb").exists()
    assert started == []


def test_its_status_is_passed_on(books, monkeypatch):
    monkeypatch.setattr("flipkit.lab.subprocess.run", lambda *_, **__: SimpleNamespace(returncode=3))
    assert run("lab", books).exit_code == 3


def test_books_that_are_not_there_are_one_line(tmp_path, started):
    result = run("lab", tmp_path / "none")
    assert result.exit_code == 2
    assert len(result.output.strip().splitlines()) == 1
    assert started == []


def test_jupyterlab_reads_amounts_as_amounts_and_asks_for_no_news(books, started, monkeypatch):
    monkeypatch.setenv("JUPYTER_CONFIG_PATH", "mine")
    run("lab", books)
    [(_, rest)] = started
    ours, mine = rest["env"]["JUPYTER_CONFIG_PATH"].split(os.pathsep)
    assert mine == "mine"
    found = json.loads((Path(ours) / "labconfig" / "page_config.json").read_text(encoding="utf-8"))
    assert found["disabledExtensions"] == {
        "@jupyterlab/mathjax-extension": True,
        "@jupyterlab/apputils-extension:announcements": True,
    }


FEW_SALES = """item_id,title,category,bought_on,cost,listed_on,sold_on,sold_price,shipping_charged
A,Jug,stoneware,2025-11-01,10.00,2025-11-05,2026-01-10,50.00,12.00
B,Jar,stoneware,2025-11-01,5.00,2025-11-05,,,
C,Lamp,lamps,2026-01-02,20.00,2026-01-05,2026-02-01,80.00,0
D,Bowl,stoneware,2026-01-02,4.00,,,,
"""


@pytest.mark.slow
@pytest.mark.parametrize(
    ("items", "running"),
    [(ITEMS, nullcontext), (FEW_SALES, without_kernels)],
    ids=["nothing sold, in kernels", "two sales, without"],
)
def test_each_copy_runs_by_itself_from_its_own_folder(books, items, running):
    from flipkit.pack.page import MOST_BYTES
    from flipkit.pack.run import NotebookTask, run_notebooks

    (books / "items.csv").write_text(items, encoding="utf-8")
    place = lab_folder(books).folder
    tasks = [NotebookTask(path.stem.replace("_", "-"), path) for path in sorted(place.glob("*.ipynb"))]
    with running():
        results = {result.name: result for result in run_notebooks(tasks, place / "out", jobs=2, cwd=place)}
    assert {name: str(result.error) for name, result in results.items() if result.error} == {}
    assert {name: result.warnings for name, result in results.items() if result.warnings} == {}
    assert len(results) == len(list(notebooks_folder().glob("*.ipynb"))) >= 12
    for result in results.values():
        assert result.page.stat().st_size <= MOST_BYTES
        notebook = result.notebook.read_text(encoding="utf-8")
        assert "widget-view" not in notebook, "a widget without its kernel is an error where it should stand"
    pages = {name: result.page.read_text(encoding="utf-8") for name, result in results.items()}
    assert ("You have 1 item in stock." in pages["stock"]) == (items == ITEMS)
    assert "Your books have no rate card" in pages["packing-plan"]
    assert "Nothing is moved: this is the report as it stands." in pages["move-assumptions"]
