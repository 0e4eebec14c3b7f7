"""Commands killed at chosen moments, and what they leave: processes, folders, changed files."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import psutil

ROOT = Path(__file__).resolve().parents[2]
SIGNALS = ("SIGKILL", "SIGTERM", "SIGHUP", "SIGINT")
#: Names each process of one command in its environment, that of its children's children included.
_TAG = "FLIPKIT_TEST_TAG"
_HEAD = "item_id,title,category,bought_on,cost,listed_on,list_price,sold_on,sold_price,fees_paid,label_paid\n"


def small_shop(folder: Path, *, seed: int = 1) -> Path:
    """Books of 40 items in two categories, sold and unsold."""
    rng = random.Random(seed)  # noqa: S311
    lines = []
    for k in range(40):
        day, price = 1 + k % 28, rng.randint(15, 90)
        sold = f"2026-10-{day:02d},{price}.00,{price // 8}.00,9.00" if k % 4 else ",,,"
        row = f"A-{k},thing {k},{('lamps', 'mugs')[k % 2]},2026-09-{day:02d},{rng.randint(1, 9)}.00"
        lines.append(f"{row},2026-09-{day:02d},{price + 5}.00,{sold}\n")
    folder.mkdir(parents=True)
    (folder / "items.csv").write_text(_HEAD + "".join(lines), encoding="utf-8")
    return folder


def small_export(file: Path) -> Path:
    """An export of another program: 30 sales."""
    rows = [
        f"S{k},vase {k},vases,2026-08-{1 + k % 28:02d},{k + 2}.00,2026-09-{1 + k % 28:02d},{k + 20}.00"
        for k in range(30)
    ]
    head = "SKU,Title,Category,Purchase date,Cost,Sale date,Sale price"
    file.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return file


def files_of(folder: Path) -> dict[str, bytes]:
    """Every file below a folder, hidden ones included."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@dataclass(frozen=True)
class Killed:
    """How a command ended that was sent a signal."""

    status: int
    said: str
    alive: int
    sooner: bool


def tagged(tag: str) -> list[psutil.Process]:
    """Processes that a tagged command started, at whatever remove."""
    found = []
    for process in psutil.process_iter():
        try:
            if process.environ().get(_TAG) == tag and process.status() != psutil.STATUS_ZOMBIE:
                found.append(process)
        except psutil.Error:
            continue
    return found


def environment(temporary: Path, tag: str = "") -> dict[str, str]:
    """Variables for a command that keeps its temporary files in a folder of the test's own."""
    return {**os.environ, "PYTHONPATH": str(ROOT), "TMPDIR": str(temporary), _TAG: tag}


def run(words: list[str], *, cwd: Path, temporary: Path, timeout: float = 300) -> subprocess.CompletedProcess[str]:
    """A command run to its end."""
    command = [sys.executable, "-m", "flipkit", *words]
    return subprocess.run(
        command, cwd=cwd, env=environment(temporary), capture_output=True, text=True, timeout=timeout, check=False
    )


def _heard() -> None:
    """Let a command hear the signals that its caller may have been started to ignore, as in the background."""
    for name in SIGNALS[1:]:
        signal.signal(getattr(signal, name), signal.SIG_DFL)


def killed(words: list[str], name: str, after_s: float, *, cwd: Path, temporary: Path, wait_s: float = 5.0) -> Killed:
    """A command sent a signal after some seconds; counts its processes that live some seconds later."""
    tag = f"{os.getpid()}-{time.monotonic_ns()}"
    process = subprocess.Popen(
        [sys.executable, "-m", "flipkit", *words],
        cwd=cwd,
        env=environment(temporary, tag),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=_heard,
    )
    try:
        process.wait(after_s)
        sooner = True
    except subprocess.TimeoutExpired:
        sooner = False
        process.send_signal(getattr(signal, name))
    # A second after the signal it may still be cleaning up; the wait is over as soon as nothing lives.
    end = time.monotonic() + wait_s
    while (alive := len(tagged(tag))) and time.monotonic() < end:
        time.sleep(0.1)
    for left in tagged(tag):
        left.kill()
    said = process.stderr.read() if process.stderr is not None else ""
    if process.stderr is not None:
        process.stderr.close()
    return Killed(process.wait(10), said, alive, sooner)
