"""The notebooks on a seller's own books: copies to play with, never written over."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from flipkit.errors import PackError
from flipkit.paths import beside, notebooks_folder

#: Where JupyterLab finds what we switch off: the folder ``labconfig`` in it.
_SETTINGS: Final = Path(__file__).parent / "lab_settings"
_DEFAULT = re.compile(r'^books = ""', re.MULTILINE)


@dataclass(frozen=True)
class LabFolder:
    """A working folder of notebooks."""

    folder: Path
    made: tuple[str, ...]
    kept: tuple[str, ...]


def lab_folder(books: Path, folder: Path | None = None) -> LabFolder:
    """Copy the notebooks into a working folder, each opening the seller's books by default."""
    if not books.exists():
        raise PackError("BOOKS", need="a folder of books or a workbook", got=str(books))
    place = folder or beside(books, "-notebooks")
    if place.exists() and not place.is_dir():
        raise PackError("the working folder", need="a folder", got=str(place), mend="name another with --folder")
    place.mkdir(parents=True, exist_ok=True)
    made, kept = [], []
    for source in sorted(notebooks_folder().glob("*.ipynb")):
        target = place / source.name
        text = opened_on(json.loads(source.read_text(encoding="utf-8")), _from(books, place))
        try:
            # Made only where there is none, even if another program makes it at the same moment.
            with target.open("x", encoding="utf-8", newline="\n") as file:
                file.write(text)
        except FileExistsError:
            kept.append(target.name)
        else:
            made.append(target.name)
    return LabFolder(place, tuple(made), tuple(kept))


def opened_on(notebook: dict[str, Any], books: str) -> str:
    """A notebook whose parameters name the books, without the outputs of other books.

    >>> cell = {"cell_type": "code", "metadata": {"tags": ["parameters"]}, "source": ['books = ""  # which books']}
    >>> print(json.loads(opened_on({"cells": [cell]}, "../my books"))["cells"][0]["source"][0])
    books = "../my books"  # which books
    """
    named = f"books = {json.dumps(books, ensure_ascii=False)}"
    for cell in notebook["cells"]:
        if cell["cell_type"] != "code":
            continue
        cell["outputs"], cell["execution_count"] = [], None
        if "parameters" in cell["metadata"].get("tags", []):
            source = _DEFAULT.sub(lambda _: named, "".join(cell["source"]))
            cell["source"] = source.splitlines(keepends=True)
    return json.dumps(notebook, indent=1, ensure_ascii=False) + "\n"


def open_lab(folder: Path, options: Sequence[str] = ()) -> int:
    """Start JupyterLab in a folder, with options of its own, and wait until it ends; amounts are read as amounts."""
    command = [sys.executable, "-m", "jupyterlab", f"--ServerApp.root_dir={folder.resolve()}", *options]
    return subprocess.run(command, cwd=folder, env=lab_environment(), check=False).returncode  # noqa: S603


def lab_environment() -> dict[str, str]:
    """The environment in which JupyterLab is started: this one, with settings of our own.

    Between two dollar signs JupyterLab sees a formula, and what a seller reads is full of amounts: formulas
    are switched off, and so is the question about news, which would ask the network.
    """
    others = os.environ.get("JUPYTER_CONFIG_PATH", "")
    found = {"JUPYTER_CONFIG_PATH": os.pathsep.join(filter(None, [str(_SETTINGS), others]))}
    # Many threads on small matrices wait for each other.
    return {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", **os.environ, **found}


def _from(books: Path, folder: Path) -> str:
    """The books as a notebook in the folder names them; whole where they are on another drive."""
    try:
        return Path(os.path.relpath(books.resolve(), folder.resolve())).as_posix()
    except ValueError:
        return books.resolve().as_posix()
