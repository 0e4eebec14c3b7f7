"""How quick the demo's pack is beside stock tools over the same notebooks, and commands beside Python's own start.

Run it by hand: ``python -m tests.benchmarks.bench_speed [TIMES]``; 0 times measures the starts alone. Each time the
three ways follow one another, so that a busy machine slows them alike: a shell's loop of ``papermill`` and
``nbconvert``, one Python process that calls both, and ``flipkit report``. A ratio is the median over the times, by the
clock and by processor time, which other work on the machine hardly moves. The figures go to ``speed.json`` with day and
versions.
"""

from __future__ import annotations

import datetime as dt
import json
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from flipkit.pack.month import month_plan
from flipkit.pack.run import NotebookTask
from flipkit.pack.standing import versions
from flipkit.paths import demo_folder

RESULTS = Path(__file__).with_name("speed.json")
STARTS = 7
#: One process, nothing of ours: each notebook executed and written as a page.
ONE_PROCESS = """
import json, sys, papermill, nbconvert
for notebook, parameters, name in json.load(sys.stdin):
    papermill.execute_notebook(notebook, name + ".ipynb", parameters, kernel_name="python3", progress_bar=False)
    open(name + ".html", "w").write(nbconvert.HTMLExporter().from_filename(name + ".ipynb")[0])
"""


def line(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def run(command: Sequence[str], folder: Path, told: str | None = None) -> None:
    subprocess.run(command, cwd=folder, check=True, input=told, text=True, capture_output=True)


def stock_loop(tasks: Sequence[NotebookTask], folder: Path) -> None:
    for task in tasks:
        named = [part for name, value in task.parameters.items() for part in ("-r", name, str(value))]
        made = f"{task.name}.ipynb"
        run([sys.executable, "-m", "papermill", str(task.notebook), made, "-k", "python3", *named], folder)
        run([sys.executable, "-m", "nbconvert", "--to", "html", made], folder)


def one_process(tasks: Sequence[NotebookTask], folder: Path) -> None:
    told = [(str(task.notebook), dict(task.parameters), task.name) for task in tasks]
    run([sys.executable, "-c", ONE_PROCESS], folder, json.dumps(told))


def report(books: Path, folder: Path) -> None:
    run([sys.executable, "-m", "flipkit", "report", str(books), "--out", str(folder / "pack"), "--anew"], folder)


def taken(way: Callable[..., None], *asked: object) -> tuple[float, float]:
    """Seconds by the clock and of processor."""
    with tempfile.TemporaryDirectory() as folder:
        start, before = time.perf_counter(), _processor()
        way(*asked, Path(folder))
        return round(time.perf_counter() - start, 1), round(_processor() - before, 1)


def _processor() -> float:
    """Seconds of processor of all that was started and has ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def packs(times: int) -> dict[str, list[tuple[float, float]]]:
    """Seconds of each way, each time, by the clock and of processor."""
    books = demo_folder().resolve()
    with tempfile.TemporaryDirectory() as folder:
        plan = month_plan(books, out=Path(folder, "pack"))
    tasks = [NotebookTask(page.name, page.notebook, {**page.parameters, "books": str(books)}) for page in plan.pages]
    found: dict[str, list[tuple[float, float]]] = {"papermill and nbconvert, a loop": [], "one Python process": []}
    found["report"] = []
    for _ in range(times):
        seconds = (taken(stock_loop, tasks), taken(one_process, tasks), taken(report, books))
        for (way, each), one in zip(found.items(), seconds, strict=True):
            each.append(one)
            line(f"{way:40} {one[0]:7.1f} s, {one[1]:7.1f} s of processor")
    return found


def starts() -> dict[str, float]:
    """Median seconds of processor of Python, of pandas and of the commands that answer at once, in turn."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        books = Path(shutil.copytree(demo_folder(), folder / "books"))
        report(books, folder)
        item = next(iter(json.loads((folder / "pack" / "stock.json").read_text(encoding="utf-8"))["things"]))
        kit = [sys.executable, "-m", "flipkit"]
        commands = {
            "python -c pass": [sys.executable, "-c", "pass"],
            "import pandas": [sys.executable, "-c", "import pandas"],
            "--help": [*kit, "--help"],
            "buy": [*kit, "buy", "cookware", "--price", "60", "--size", "small", "--from", "pack"],
            "offer": [*kit, "offer", item, "45", "--from", "pack", "--on", "2026-11-26"],
            "log": [*kit, "log", "day", "clean", "5min", "--who", "wren", "--books", "books", "--on", "2026-11-20"],
        }
        spent: dict[str, list[float]] = {name: [] for name in commands}
        for _ in range(STARTS):
            for name, command in commands.items():
                before = _processor()
                run(command, folder)
                spent[name].append(_processor() - before)
    return {name: round(statistics.median(values), 3) for name, values in spent.items()}


def main() -> None:
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    found = starts()
    for name, seconds in found.items():
        beside = ", ".join(f"{seconds / found[base]:.1f} times {base}" for base in ("python -c pass", "import pandas"))
        line(f"{name:20} {seconds:6.3f} s of processor, {beside}")
    keep(RESULTS, starts_s=found)
    if times:
        made = packs(times)
        ratios = {
            way: [
                round(statistics.median(a[by] / b[by] for a, b in zip(each, made["report"], strict=True)), 1)
                for by in (0, 1)
            ]
            for way, each in made.items()
        }
        for way, (clock, processor) in ratios.items():
            line(f"{way}: {clock} times the report by the clock, {processor} by processor time")
        keep(RESULTS, packs_s=made, ratios=ratios)


def keep(results: Path, **found: object) -> None:
    """Write what was measured beside what stands in a file, with day and versions."""
    before = json.loads(results.read_text(encoding="utf-8")) if results.exists() else {}
    now = {
        name: {"day": dt.date.today().isoformat(), "versions": versions(), "found": one} for name, one in found.items()
    }
    results.write_text(json.dumps(before | now, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
