"""A notebook asks one question, calls the package and shows what it says; it holds no logic."""

from __future__ import annotations

import ast
import json
from pathlib import Path

import pytest

NOTEBOOKS = sorted((Path(__file__).resolve().parents[2] / "notebooks").glob("*.ipynb"))


def cells(path: Path, kind: str) -> list[dict]:
    return [cell for cell in json.loads(path.read_text(encoding="utf-8"))["cells"] if cell["cell_type"] == kind]


def code(path: Path) -> str:
    return "\n".join("".join(cell["source"]) for cell in cells(path, "code"))


def by_name(path: Path) -> str:
    return path.stem


@pytest.mark.parametrize("path", NOTEBOOKS, ids=by_name)
def test_few_lines_of_code_and_no_definition(path):
    # The recipes for a question of one's own are eight notebooks in one.
    most = 80 if path.stem == "own_questions" else 40
    assert sum(bool(line.strip()) for line in code(path).splitlines()) <= most
    nodes = list(ast.walk(ast.parse(code(path))))
    assert not [node for node in nodes if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef)]
    opened = [node for node in nodes if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "open"]
    assert not opened, "a notebook writes no files"


@pytest.mark.parametrize("path", NOTEBOOKS, ids=by_name)
def test_one_parameters_cell_with_one_explained_literal_a_line(path):
    tagged = [cell for cell in cells(path, "code") if "parameters" in cell["metadata"].get("tags", [])]
    assert len(tagged) == 1
    for line in "".join(tagged[0]["source"]).splitlines():
        value, _, comment = line.partition("#")
        assert comment.strip(), f"no help beside {line!r}"
        assert "=" not in comment, "papermill does not read a line with a second equals sign"
        assert isinstance(ast.parse(value.strip()).body[0].value, ast.Constant)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=by_name)
def test_it_opens_with_its_question(path):
    first = "".join(cells(path, "markdown")[0]["source"])
    assert first.startswith("# ")
    assert "?" in first


@pytest.mark.parametrize("path", NOTEBOOKS, ids=by_name)
def test_headline_outputs_are_kept(path):
    """nbval compares nothing in a cell that was never executed, so each cell must have been."""
    for cell in cells(path, "code"):
        assert cell["execution_count"] is not None, "run the notebook and keep its outputs"
    compared = [cell for cell in cells(path, "code") if "nbval-ignore-output" not in cell["metadata"].get("tags", [])]
    assert sum(bool(cell["outputs"]) for cell in compared) >= 2
