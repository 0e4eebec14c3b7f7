"""The notebooks still show what they kept, and a kept number that is wrong does not pass.

nbval runs in a process of its own, once, over every notebook followed by a copy of one of its cells, drawn
at random, in which one digit of the kept output, drawn at random, is another. Its comparison alone is asked the same of
every kept text of every cell. The cells run in nbval's own process; a small example has a kernel, and all notebooks
have kernels in ``tests/reports/test_lab.py``.
"""

from __future__ import annotations

import json

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_notebook

from flipkit.reports.study import STUDIES
from tests.notebooks.keeping import (
    NOTEBOOKS,
    TAGS,
    chance_of,
    compared,
    keep,
    kept_numbers,
    noticed,
    with_a_wrong_copy,
    with_another_digit,
)

pytestmark = pytest.mark.slow


def read(path):
    return json.loads(path.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    return tmp_path_factory.mktemp("kept")


@pytest.fixture(scope="module")
def verdicts(place, demo_studies):
    """What nbval says of each notebook and of the wrong cell at its end."""
    folder = place
    files = []
    for path in NOTEBOOKS:
        notebook = read(path)
        files.append(folder / path.name)
        chance = chance_of(path.stem)
        notebook = with_a_wrong_copy(notebook, chance.choice(kept_numbers(notebook)), chance)
        files[-1].write_text(json.dumps(notebook), encoding="utf-8")
    return compared(files, folder, {STUDIES: str(demo_studies)}, kernels=False)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_the_notebook_shows_what_it_kept(path, verdicts):
    cells = sum(cell["cell_type"] == "code" for cell in read(path)["cells"])
    wrong = f"Cell {cells}: "
    assert [said for said in verdicts[path.stem].failures if not said.startswith(wrong)] == []
    assert verdicts[path.stem].passed == cells


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_changed_number_is_noticed(path, verdicts):
    cells = sum(cell["cell_type"] == "code" for cell in read(path)["cells"])
    assert verdicts[path.stem].failures
    assert verdicts[path.stem].failures[-1].startswith(f"Cell {cells}: ")
    assert "Cell outputs differ" in verdicts[path.stem].failures[-1]


@pytest.fixture(scope="module")
def answers(place, verdicts):
    """What nbval's comparison says of each kept text of each notebook, as it is and with another digit."""
    return noticed(place)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_digit_in_any_kept_text_of_any_cell_counts(path, answers):
    cells = sum(cell["cell_type"] == "code" for cell in read(path)["cells"])
    own = [answer for answer in answers if answer["notebook"] == path.stem and answer["cell"] < cells]
    assert len(own) == len(kept_numbers(read(path)))
    assert [answer["name"] for answer in own if not answer["same"]] == []
    assert [answer["name"] for answer in own if answer["altered"]] == []


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_tags_are_known_and_charts_and_sliders_alone_are_not_compared(path):
    for cell in read(path)["cells"]:
        tags = set(cell["metadata"].get("tags", []))
        assert tags <= TAGS, "a tag with a slip in it does nothing, silently"
        if "nbval-ignore-output" in tags:
            kinds = {kind for output in cell["outputs"] for kind in output.get("data", {})}
            sliders = "".join(cell["source"]) == "panel"
            assert sliders or "application/vnd.vegalite.v5+json" in kinds, "a table or a sentence is to be compared"


@pytest.fixture
def example(tmp_path):
    """A notebook of one text and one table, run and kept."""
    table = "from IPython.display import HTML\nHTML('<td>12</td>')"
    kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
    cells = [
        new_code_cell("a = 1  # a number", id="p", metadata={"tags": ["parameters"]}),
        new_code_cell("print('sum', a + 41)", id="a"),
        new_code_cell(table, id="b"),
        new_code_cell("a + 6", id="c", metadata={"tags": ["nbval-ignore-output"]}),
    ]
    path = tmp_path / "example.ipynb"
    nbformat.write(new_notebook(cells=cells, metadata={"kernelspec": kernel}), path)
    keep([path])
    return path


def test_every_kept_number_counts_and_no_other(example, tmp_path):
    """Each way in which a number can be kept: printed, shown as text, shown as HTML."""
    notebook = read(example)
    places = kept_numbers(notebook)
    assert [(place.cell, place.kind) for place in places] == [(1, "text"), (2, "text/html")]
    copies = {"same": notebook}
    copies |= {f"changed-{k}": with_a_wrong_copy(notebook, place, chance_of(k)) for k, place in enumerate(places)}
    ignored = json.loads(json.dumps(notebook))
    ignored["cells"][3]["outputs"][0]["data"]["text/plain"] = "8"
    unrun = json.loads(json.dumps(notebook))
    for cell in unrun["cells"]:
        cell["execution_count"], cell["outputs"] = None, []
    files = []
    for name, body in (copies | {"ignored": ignored, "unrun": unrun}).items():
        files.append(tmp_path / f"{name}.ipynb")
        files[-1].write_text(json.dumps(body), encoding="utf-8")
    said = compared(files, tmp_path)
    assert said["same"].failures == ()
    assert said["same"].passed == 4
    for k in range(2):
        assert said[f"changed-{k}"].passed == 4
        assert len(said[f"changed-{k}"].failures) == 1
        assert "Cell outputs differ" in said[f"changed-{k}"].failures[0]
    # Why the notebooks are kept executed: what was never run is never compared.
    assert said["ignored"].failures == said["unrun"].failures == ()


def test_keeping_twice_changes_nothing(example):
    before = example.read_bytes()
    keep([example])
    assert example.read_bytes() == before


def test_one_digit_is_changed_and_nothing_else(example):
    notebook = read(example)
    place = kept_numbers(notebook)[0]
    changed = with_a_wrong_copy(notebook, place, chance_of(1))
    assert "".join(notebook["cells"][1]["outputs"][0]["text"]) == "sum 42\n"
    wrong = changed["cells"][-1]["outputs"][0]["text"]
    assert wrong != "sum 42\n"
    assert sum(a != b for a, b in zip(wrong, "sum 42\n", strict=True)) == 1
    assert changed["cells"][:-1] == notebook["cells"]


def test_every_digit_of_a_text_has_its_turn():
    seen = {with_another_digit("a 123 b", chance_of(k)) for k in range(200)}
    places = {next(k for k, (a, b) in enumerate(zip(text, "a 123 b", strict=True)) if a != b) for text in seen}
    assert places == {2, 3, 4}
    assert "a 123 b" not in seen


def test_a_text_that_is_not_compared_would_be_found_out(example, tmp_path):
    """The question can be answered with no: nbval leaves widgets out, so a wrong digit in it passes."""
    notebook = read(example)
    notebook["cells"][2]["outputs"][0]["data"]["application/vnd.jupyter.widget-view+json"] = "12"
    file = tmp_path / "widget.ipynb"
    file.write_text(json.dumps(notebook), encoding="utf-8")
    compared([file], tmp_path, kernels=False)
    assert [answer["name"] for answer in noticed(tmp_path) if answer["altered"]] == [
        "widget, cell 2, output 0, application/vnd.jupyter.widget-view+json"
    ]
