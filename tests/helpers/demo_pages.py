"""Pages of the demo shop's month, made by the notebooks as a pack makes them, without the rest of the pack."""

from __future__ import annotations

import os
from pathlib import Path
from unittest import mock

from flipkit.pack.month import month_plan
from flipkit.pack.run import run_notebooks
from flipkit.reports.study import STUDIES


def demo_pages(folder: Path, studies: Path) -> list[Path]:
    """Make every page from the study kept in a folder, and give their files in the pack's order."""
    with mock.patch.dict(os.environ, {STUDIES: str(studies)}):
        plan = month_plan()
    tasks = list(plan.pages)
    around = {"cwd": plan.study.books.path.resolve().parent, "env": {STUDIES: str(studies)}}
    results = run_notebooks(tasks, folder, jobs=2, home=("index.html", "Index"), **around)
    for result in results:
        if result.error is not None:
            raise result.error
    return [result.page for result in results]
