"""Small notebooks that tests run: quick, and each failing in one way."""

from __future__ import annotations

from pathlib import Path

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

FIXTURES = Path(__file__).parents[1] / "pack" / "fixtures"


@pytest.fixture
def small_notebook():
    """The fixture notebook with invented figures: a heading, a table, a chart, a caution."""
    return FIXTURES / "small.ipynb"


@pytest.fixture
def write_notebook(tmp_path):
    """Write a notebook from cells of code; a first cell of parameters comes by itself."""

    def write(*sources, name="made", parameters="who = 'x'  # whose page\n", heading="# A page"):
        cells = [new_markdown_cell(heading, id="heading")]
        if parameters:
            cells.append(new_code_cell(parameters, id="parameters", metadata={"tags": ["parameters"]}))
        cells += [new_code_cell(source, id=f"code-{k}") for k, source in enumerate(sources)]
        kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
        file = tmp_path / f"{name}.ipynb"
        nbformat.write(new_notebook(cells=cells, metadata={"kernelspec": kernel}), file)
        return file

    return write
