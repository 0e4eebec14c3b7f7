"""Pages of the demo shop's month, as its pack makes them but for the kernels, without the rest of the pack."""

from __future__ import annotations

import os
from pathlib import Path
from unittest import mock

from flipkit.pack.month import month_plan
from flipkit.pack.run import run_notebooks
from flipkit.reports.study import STUDIES
from tests.helpers.without_kernels import without_kernels


def demo_pages(folder: Path, studies: Path) -> list[Path]:
    """Make every page from the study kept in a folder, and give their files in the pack's order."""
    with mock.patch.dict(os.environ, {STUDIES: str(studies)}):
        plan = month_plan()
    around = plan.study.books.path.resolve().parent
    with without_kernels(plan.study):
        results = run_notebooks(plan.pages, folder, home=("index.html", "Index"), cwd=around)
    for result in results:
        if result.error is not None:
            raise result.error
    return [result.page for result in results]
