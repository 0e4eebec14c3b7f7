"""The pages of a report without kernels: each notebook's cells run here, what they show collected."""

from __future__ import annotations

import ast
import functools
import json
import os
import tempfile
from collections.abc import Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import Any
from unittest import mock

from flipkit.books.read import read_books
from flipkit.charts import returns, sliders, stock, style
from flipkit.pack.month import month_plan
from flipkit.reports import study
from flipkit.reports.elements import Element
from flipkit.reports.study import STUDIES, Study


class Undrawn:
    """In altair's place where words and figures alone are looked at: draws nothing, keeps every text it is given."""

    def __init__(self) -> None:
        self.said: list[str] = []

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__"):
            raise AttributeError(name)
        return self

    def __call__(self, *given: Any, **named: Any) -> Undrawn:
        self.said += [one for one in (*given, *named.values()) if isinstance(one, str)]
        if "values" in named:
            # Rows of a drawing: a number that is none stops it, as it would stop the page.
            self.said.append(json.dumps(named["values"], allow_nan=False, ensure_ascii=False, default=str))
        return self

    def __add__(self, other: object) -> Undrawn:
        return self


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


def pages_shown(books: Path, *, undrawn: Undrawn | None = None, **how: Any) -> tuple[Study, dict[str, list[Element]]]:
    """The study and what every page of its month's pack shows, by page; the books are read once for all of them.

    With ``undrawn`` nothing is drawn and all pages share the study itself: the same words in half the time.
    """
    found = {}
    with ExitStack() as during:
        for module in (returns, sliders, stock, style) if undrawn else ():
            during.enter_context(mock.patch.object(module, "alt", undrawn))
        plan = month_plan(books, **how)
        kept = during.enter_context(tempfile.TemporaryDirectory())
        during.enter_context(mock.patch.dict(os.environ, {STUDIES: kept}))
        if undrawn:
            during.enter_context(mock.patch.object(study, "_kept", {plan.study.key: plan.study}.get))
        else:
            during.enter_context(mock.patch.object(study, "read_books", functools.cache(read_books)))
            plan.study.keep(Path(kept))
        for page in plan.pages:
            shown = shown_by(page.notebook, {**page.parameters, "books": str(books)})
            found[page.name] = [one for one in shown if isinstance(one, Element)]
    return plan.study, found
