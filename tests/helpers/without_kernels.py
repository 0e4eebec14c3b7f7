"""Notebooks run in this process, one after another, where the kernels themselves are not what is looked at.

The runner, the pages and the pack are the kit's own; only the cells run here. ``tests/pack/test_month_pack.py`` holds a
pack made so against one from kernels, byte by byte.
"""

from __future__ import annotations

import ast
import contextlib
import io
import os
import threading
from collections.abc import Iterator
from typing import Any
from unittest import mock

import nbformat
from IPython.core.formatters import DisplayFormatter
from nbformat.v4 import new_output
from papermill.iorw import load_notebook_node
from papermill.parameterize import parameterize_notebook

from flipkit.charts.style import DRAWN_LATER
from flipkit.errors import NotebookFailedError
from flipkit.pack import run
from flipkit.reports import study
from flipkit.workarounds import papermill_path

#: The folder and the environment are the process's own.
ONE_AT_A_TIME = threading.Lock()


def _executed(self: Any, task: run.NotebookTask) -> tuple[nbformat.NotebookNode | None, NotebookFailedError | None]:
    """What the runner's own method of this name gives, of cells that ran here."""
    with ONE_AT_A_TIME:
        # Reading goes into the folder that it finds and back to it, so none of ours may stand there meanwhile.
        notebook = load_notebook_node(papermill_path(task.notebook))
    known = {cell.get("id") for cell in notebook.cells}
    if task.parameters:
        notebook = parameterize_notebook(notebook, dict(task.parameters))
    names: dict[str, Any] = {}
    error = None
    with ONE_AT_A_TIME, contextlib.chdir(self.cwd), mock.patch.dict(os.environ, {DRAWN_LATER: "1", **self.env}):
        for place, cell in enumerate(one for one in notebook.cells if one.cell_type == "code"):
            try:
                cell.outputs, cell.execution_count = list(shown_here(cell.source, names, place + 1)), place + 1
            except Exception as problem:
                cause = f"{type(problem).__name__}: {problem}"
                cells = notebook.cells.index(cell) + 1
                error = NotebookFailedError(
                    task.name, notebook=task.notebook.name, cell=cells, source=cell.source, cause=cause
                )
                break
    return run._steadied(notebook, known), error


def shown_here(source: str, names: dict[str, Any], count: int) -> Iterator[nbformat.NotebookNode]:
    """Outputs of one cell: what it prints, and what its last expression shows."""
    tree = ast.parse(source)
    last = ast.Expression(tree.body.pop().value) if tree.body and isinstance(tree.body[-1], ast.Expr) else None
    with contextlib.redirect_stdout(io.StringIO()) as said:
        exec(compile(tree, "a cell", "exec"), names)  # noqa: S102 - our own notebooks
        value = None if last is None else eval(compile(last, "a cell", "eval"), names)  # noqa: S307
    if said.getvalue():
        yield new_output("stream", name="stdout", text=said.getvalue())
    if value is not None:
        data, metadata = DisplayFormatter().format(value)
        if data:
            yield new_output("execute_result", data=data, metadata=metadata, execution_count=count)


@contextlib.contextmanager
def without_kernels(*studies: study.Study) -> Iterator[None]:
    """While it lasts the runner's notebooks run here, and find these studies ready."""
    ready = {one.key: one for one in studies}
    with (
        mock.patch.object(run._Run, "_executed", _executed),
        mock.patch.object(study, "_kept", ready.get),
        mock.patch.object(run, "can_fork", return_value=False),
    ):
        yield
