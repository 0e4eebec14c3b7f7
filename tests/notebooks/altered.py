"""A pytest plugin: would nbval notice a wrong digit in each kept text of each notebook? Before any cell runs.

Loaded with ``-p tests.notebooks.altered`` beside ``--nbval``. nbval's own comparison, with its own
settings, is asked of every text that it compares: once with the text as it was kept, and once with
one digit of it, drawn at random, another one. What it answered goes to the file that the
environment variable ``ALTERED_REPORT`` names.
"""

from __future__ import annotations

import copy
import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from nbval.plugin import IPyNbCell

from tests.notebooks.keeping import chance_of, kept_texts, with_another_digit


def pytest_collection_finish(session: Any) -> None:
    """Ask of every cell that nbval has collected."""
    answers = [answer for item in session.items if isinstance(item, IPyNbCell) for answer in _asked(item)]
    Path(os.environ["ALTERED_REPORT"]).write_text(json.dumps(answers), encoding="utf-8")


def _asked(item: Any) -> Iterator[dict[str, Any]]:
    """Each kept text of a cell: whether nbval takes it as it is, and whether with another digit."""
    if not item.options["check"] or item.options["skip"] or item.cell.execution_count is None:
        return
    kept = item.cell.outputs
    for output, kind in kept_texts(kept):
        name = f"{item.path.stem}, cell {item.cell_num}, output {output}, {kind}"
        wrong = copy.deepcopy(kept)
        holder = wrong[output].get("data", wrong[output])
        # Seeded by the place, so that a failure comes again.
        holder[kind] = with_another_digit("".join(holder[kind]), chance_of(name))
        yield {
            "name": name,
            "notebook": item.path.stem,
            "cell": item.cell_num,
            "same": bool(item.compare_outputs(copy.deepcopy(kept), kept)),
            "altered": bool(item.compare_outputs(copy.deepcopy(kept), wrong)),
        }
