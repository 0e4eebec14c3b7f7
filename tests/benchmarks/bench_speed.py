"""How quick the demo's pack is beside stock tools over the same notebooks, and commands beside Python's own start.

Run it by hand: ``python -m tests.benchmarks.bench_speed [TIMES]``; 0 times measures the starts alone. Each time the
three ways follow one another, so that a busy machine slows them alike: a shell's loop of ``papermill`` and
``nbconvert``, one Python process that calls both, and ``flipkit report``. A ratio is the median over the times. The
figures go to ``speed.json`` with day and versions.
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


def clocked(way: Callable[..., None], *asked: object) -> float:
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        way(*asked, Path(folder))
        return time.perf_counter() - start


def packs(times: int) -> dict[str, list[float]]:
    """Seconds of each way, each time."""
    books = demo_folder().resolve()
    with tempfile.TemporaryDirectory() as folder:
        plan = month_plan(books, out=Path(folder, "pack"))
    tasks = [NotebookTask(page.name, page.notebook, {**page.parameters, "books": str(books)}) for page in plan.pages]
    found: dict[str, list[float]] = {"papermill and nbconvert, a loop": [], "one Python process": [], "report": []}
    for _ in range(times):
        seconds = (clocked(stock_loop, tasks), clocked(one_process, tasks), clocked(report, books))
        for (way, taken), one in zip(found.items(), seconds, strict=True):
            taken.append(round(one, 1))
            line(f"{way:40} {one:7.1f} s")
    return found


def spent(command: Sequence[str], folder: Path) -> float:
    """Seconds of processor of one command."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    run(command, folder)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


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
        taken: dict[str, list[float]] = {name: [] for name in commands}
        for _ in range(STARTS):
            for name, command in commands.items():
                taken[name].append(spent(command, folder))
    return {name: round(statistics.median(values), 3) for name, values in taken.items()}


def main() -> None:
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    found = starts()
    for name, seconds in found.items():
        beside = ", ".join(f"{seconds / found[base]:.1f} times {base}" for base in ("python -c pass", "import pandas"))
        line(f"{name:20} {seconds:6.3f} s of processor, {beside}")
    keep(starts_s=found)
    if times:
        made = packs(times)
        beside_ours = {way: (a / b for a, b in zip(made[way], made["report"], strict=True)) for way in made}
        ratios = {way: round(statistics.median(each), 1) for way, each in beside_ours.items()}
        for way, ratio in ratios.items():
            line(f"{way}: {ratio} times the report")
        keep(packs_s=made, ratios=ratios)


def keep(**found: object) -> None:
    """Write what was measured beside what stands in the file, with day and versions."""
    before = json.loads(RESULTS.read_text(encoding="utf-8")) if RESULTS.exists() else {}
    now = {
        name: {"day": dt.date.today().isoformat(), "versions": versions(), "found": one} for name, one in found.items()
    }
    RESULTS.write_text(json.dumps(before | now, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
