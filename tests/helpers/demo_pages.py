"""Pages of the demo shop's month, made by the notebooks as a pack makes them, without the rest of the pack."""

from __future__ import annotations

import tempfile
from pathlib import Path

from flipkit.pack.month import month_plan
from flipkit.pack.run import run_notebooks
from flipkit.reports.study import STUDIES


def demo_pages(folder: Path) -> list[Path]:
    """Make every page, and give their files in the pack's order."""
    plan = month_plan()
    tasks = [page.task for page in plan.pages]
    with tempfile.TemporaryDirectory() as shared:
        plan.study.keep(Path(shared))
        around = {"cwd": plan.study.books.path.resolve().parent, "env": {STUDIES: shared}}
        results = run_notebooks(tasks, folder, jobs=2, home=("index.html", "Index"), **around)
    for result in results:
        if result.error is not None:
            raise result.error
    return [result.page for result in results]
