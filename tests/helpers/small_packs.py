"""A pack of an opening page and two pages, as the runner makes it of fixture notebooks."""

from __future__ import annotations

from pathlib import Path

import nbformat
from nbformat.v4 import new_markdown_cell, new_notebook

from flipkit.pack.build import Manifest, Pack, make_pack
from flipkit.pack.run import NotebookTask
from tests.helpers.without_kernels import without_kernels

SMALL = Path(__file__).parents[1] / "pack" / "fixtures" / "small.ipynb"


def two_page_pack(folder: Path) -> Pack:
    """The pack, made below a folder."""
    opening = folder / "opening.ipynb"
    nbformat.write(new_notebook(cells=[new_markdown_cell("# October\n\n[One](one.html), [Two](two.html)")]), opening)
    tasks = [NotebookTask("index", opening, title="October")]
    tasks += [NotebookTask(name, SMALL, title=name.capitalize()) for name in ("one", "two")]
    manifest = Manifest("A shop", "USD", "2026-10", "2026-11-14", {})
    with without_kernels():
        return make_pack(tasks, folder / "pack", title="October", manifest=manifest)
