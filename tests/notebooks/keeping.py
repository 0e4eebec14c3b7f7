"""Kept outputs of the notebooks: how they are made, what is compared, and how to change one number in them.

Run as a program, it runs every notebook with its own parameters and keeps what it shows::

    python -m tests.notebooks.keeping [NOTEBOOK ...]

Tags of cells:

``parameters``            the one cell that papermill replaces values in
``nbval-ignore-output``   run, not compared: charts (their figures stand in tables beside them)
``beside``                stands beside its neighbours of the same tag where there is room, and on paper
``columns``               stands in one of two columns on paper
``folded``                folded in the page, behind the heading of the text cell that comes first
``nbval-skip``            not run at all; no notebook of ours needs it
"""

from __future__ import annotations

import json
import os
import random
import re
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from flipkit.reports.elements import FIGURES_TYPE

ROOT = Path(__file__).resolve().parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
TAGS = {"parameters", "beside", "columns", "folded", "nbval-ignore-output", "nbval-skip"}
NOT_COMPARED = {"nbval-ignore-output", "nbval-skip"}
_DIGIT = re.compile(r"\d")


@dataclass(frozen=True)
class Kept:
    """One kept text that nbval compares: where it stands in its notebook."""

    cell: int
    output: int
    kind: str


@dataclass(frozen=True)
class Verdict:
    """What nbval said of one notebook: cells that passed, and the words of those that did not."""

    passed: int
    failures: tuple[str, ...]


def kept_numbers(notebook: dict[str, Any]) -> list[Kept]:
    """Kept texts with a number in them that are compared, in the order in which they stand."""
    found = []
    for c, cell in enumerate(notebook["cells"]):
        if cell["cell_type"] != "code" or NOT_COMPARED & set(cell["metadata"].get("tags", [])):
            continue
        found += [Kept(c, o, kind) for o, kind in kept_texts(cell["outputs"])]
    return found


def kept_texts(outputs: Sequence[Mapping[str, Any]]) -> list[tuple[int, str]]:
    """Place and kind of each text with a number in it among the outputs of a cell."""
    found = []
    for o, output in enumerate(outputs):
        kinds = output["data"] if "data" in output else {"text": output.get("text", "")}
        texts = {kind: "".join(text) for kind, text in kinds.items() if kind != FIGURES_TYPE}
        found += [(o, kind) for kind, text in texts.items() if _DIGIT.search(text)]
    return found


def chance_of(name: object) -> random.Random:
    """Draws that are the same again for the same name."""
    return random.Random(str(name))  # noqa: S311 - choices, not secrets


def with_another_digit(text: str, chance: random.Random) -> str:
    """The text with one of its digits, drawn at random, another one."""
    at = chance.choice([match.start() for match in _DIGIT.finditer(text)])
    return f"{text[:at]}{(int(text[at]) + chance.randint(1, 9)) % 10}{text[at + 1 :]}"


def with_a_wrong_copy(notebook: dict[str, Any], place: Kept, chance: random.Random) -> dict[str, Any]:
    """The notebook with one cell a second time at its end, a digit of a kept text there another one.

    So one kernel answers both questions: are the kept outputs right, and would a wrong one be noticed?
    """
    copy = json.loads(json.dumps(notebook))
    wrong = json.loads(json.dumps(copy["cells"][place.cell]))
    wrong["id"] = f"{wrong['id']}-wrong"
    output = wrong["outputs"][place.output]
    holder = output.get("data", output)
    holder[place.kind] = with_another_digit("".join(holder[place.kind]), chance)
    copy["cells"].append(wrong)
    return copy


def noticed(folder: Path) -> list[dict[str, Any]]:
    """What nbval's comparison said of every kept text as it was ``compared`` in a folder: as kept, and another digit.

    One a kept text: ``name``, ``notebook``, ``cell``, ``same`` and ``altered`` (whether the comparison holds).
    """
    found: list[dict[str, Any]] = json.loads((folder / "altered.json").read_text(encoding="utf-8"))
    return found


def compared(
    files: Sequence[Path], folder: Path, env: Mapping[str, str] | None = None, *, kernels: bool = True
) -> dict[str, Verdict]:
    """Run nbval, strict, over notebooks with different names, in a process of its own; verdicts by their names.

    It runs in ``folder``, away from the project's own settings. Without kernels the cells run in that process.
    """
    settings, report = folder / "pytest.ini", folder / "report.xml"
    settings.write_text("[pytest]\njunit_family = xunit1\n", encoding="utf-8")
    plugins = ["flipkit.charts", "tests.notebooks.altered", "no:cacheprovider", "no:xdist"]
    plugins += [] if kernels else ["tests.notebooks.here"]
    command = [sys.executable, "-m", "pytest", *(word for plugin in plugins for word in ("-p", plugin))]
    command += ["-c", str(settings), "--rootdir", str(folder), "--color=no", "--nbval", "--nbval-current-env"]
    command += [f"--junitxml={report}", *map(str, files)]
    from flipkit.charts.style import DRAWN_LATER
    from flipkit.pack.run import STEADY

    outer = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")}
    told = {"PYTHONPATH": str(ROOT), "ALTERED_REPORT": str(folder / "altered.json"), DRAWN_LATER: "1"}
    around = {**outer, **STEADY, **told, **(env or {})}
    ran = subprocess.run(command, cwd=folder, env=around, capture_output=True, text=True, check=False)
    if ran.returncode not in (0, 1):
        raise RuntimeError(f"nbval did not run:\n{ran.stdout}\n{ran.stderr}")
    passed: dict[str, int] = {file.stem: 0 for file in files}
    failures: dict[str, list[str]] = {file.stem: [] for file in files}
    for case in ET.parse(report).iter("testcase"):  # noqa: S314 - a file that pytest has just written
        name = Path(case.get("file") or "").stem
        faults = [*case.findall("failure"), *case.findall("error")]
        if faults:
            failures[name] += [f"{case.get('name')}: {fault.text}" for fault in faults]
        else:
            passed[name] += 1
    return {name: Verdict(passed[name], tuple(failures[name])) for name in passed}


def keep(notebooks: Sequence[Path]) -> None:
    """Run notebooks with their own parameters and write back what they show."""
    from flipkit.pack.run import NotebookTask, run_notebooks

    with tempfile.TemporaryDirectory() as made:
        tasks = [NotebookTask(path.stem.replace(" ", "-").lower(), path) for path in notebooks]
        results = run_notebooks(tasks, Path(made), jobs=os.cpu_count() or 1)
        for path, result in zip(notebooks, results, strict=True):
            if result.error is not None:
                raise result.error
            path.write_bytes(result.notebook.read_bytes())


if __name__ == "__main__":
    keep([Path(name).resolve() for name in sys.argv[1:]] or NOTEBOOKS)
