"""The pages of a report without kernels: each notebook's cells run here, what they show collected."""

from __future__ import annotations

import ast
import functools
import json
import os
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from unittest import mock

from flipkit.books.read import read_books
from flipkit.pack.month import month_plan
from flipkit.reports import study
from flipkit.reports.elements import Element
from flipkit.reports.study import STUDIES, Study


def shown_by(path: Path, parameters: Mapping[str, object]) -> list[object]:
    """What each cell of a notebook shows, with some parameters set."""
    names: dict[str, Any] = {}
    shown: list[object] = []
    for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
        if cell["cell_type"] != "code":
            continue
        tree = ast.parse("".join(cell["source"]))
        last = ast.Expression(tree.body.pop().value) if tree.body and isinstance(tree.body[-1], ast.Expr) else None
        exec(compile(tree, str(path), "exec"), names)  # noqa: S102 - our own notebooks
        if "parameters" in cell["metadata"].get("tags", []):
            names.update(parameters)
        if last is not None:
            shown.append(eval(compile(last, str(path), "eval"), names))  # noqa: S307
    return shown


def pages_shown(books: Path, **how: Any) -> tuple[Study, dict[str, list[Element]]]:
    """The study and what every page of its month's pack shows, by page; the books are read once for all of them."""
    plan = month_plan(books, **how)
    found = {}
    read = functools.cache(read_books)
    with (
        tempfile.TemporaryDirectory() as kept,
        mock.patch.dict(os.environ, {STUDIES: kept}),
        mock.patch.object(study, "read_books", read),
    ):
        plan.study.keep(Path(kept))
        for page in plan.pages:
            shown = shown_by(page.notebook, {**page.parameters, "books": str(books)})
            found[page.name] = [one for one in shown if isinstance(one, Element)]
    return plan.study, found
