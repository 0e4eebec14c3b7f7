"""Notebooks run with parameters, several at a time, each becoming a page."""

from __future__ import annotations

import multiprocessing
import os
import re
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from jupyter_client.kernelspec import KernelSpecManager
from jupyter_client.manager import AsyncKernelManager
from papermill.engines import NBClientEngine, NotebookExecutionManager, papermill_engines

from flipkit.charts.style import DRAWN_LATER, MIME_TYPE, with_picture
from flipkit.errors import NotebookFailedError, NotebookParameterError
from flipkit.owned import temporary_folder
from flipkit.pack.kernel_preload import become_kernel
from flipkit.pack.page import MOST_BYTES, PageLinks, render_page
from flipkit.workarounds import (
    RUN_TRACES,
    close_thread_loop,
    kernel_process,
    notebook_client,
    papermill_path,
    start_by,
    start_fork_server,
    stop_fork_server,
)

if TYPE_CHECKING:
    from nbformat import NotebookNode


# Notebooks run with parameters, several at a time, each becoming a page.

_NAME = re.compile(r"[a-z0-9][a-z0-9_-]*")
_WIDGET = "application/vnd.jupyter.widget-view+json"
_INJECTED = "injected-parameters"
#: How long a kernel may take to start, and its output to come after its cell: a machine that does much else at the
#: time is slow and not broken. Jupyter's own limits, a minute and four seconds, failed good pages. [s]
_START_S, _OUTPUT_S = 300, 300


@dataclass(frozen=True)
class NotebookTask:
    """One page to make."""

    name: str
    notebook: Path
    parameters: Mapping[str, Any] = field(default_factory=dict)
    title: str = ""
    #: What the bar at the top and the foot of every page calls it; nothing for a page that has no place there.
    bar: str = ""


@dataclass(frozen=True)
class PageResult:
    """What became of one task."""

    name: str
    title: str
    page: Path | None
    notebook: Path | None
    error: NotebookFailedError | None = None
    warnings: tuple[str, ...] = ()


def run_notebooks(
    tasks: Sequence[NotebookTask],
    out: Path,
    *,
    jobs: int = 1,
    on_done: Callable[[PageResult], object] | None = None,
    cwd: Path | None = None,
    env: Mapping[str, str] | None = None,
    home: tuple[str, str] | None = None,
    warm: bool | None = None,
    cell_timeout_s: float | None = None,
) -> list[PageResult]:
    """Run each task's notebook and write its page to ``out`` and the executed notebook to ``out/notebooks``.

    A notebook that fails has an error in its result and leaves the others alone. Executed notebooks
    keep no times and no random names: the same inputs give the same bytes.
    """
    _require_tasks(tasks, jobs)
    if not tasks:
        return []

    papermill_engines.register(ENGINE, _Engine)
    folder = out / "notebooks"
    folder.mkdir(parents=True, exist_ok=True)
    results: dict[str, PageResult] = {}
    with kernels(warm=(can_fork() and len(tasks) > 1) if warm is None else warm, env=env) as source:
        run = _Run(out.resolve(), source, (cwd or out).resolve(), dict(env or {}), cell_timeout_s)
        pool = ThreadPoolExecutor(max_workers=min(jobs, len(tasks)), thread_name_prefix="notebook")
        try:
            waiting = [pool.submit(run.page, task, _links(tasks, k, home)) for k, task in enumerate(tasks)]
            for future in as_completed(waiting):
                result = future.result()
                results[result.name] = result
                if on_done is not None:
                    on_done(result)
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            source.kill()
            # A page may be waiting for the fork server, which imports for seconds before it hears anybody.
            stop_fork_server()
            raise
        finally:
            pool.shutdown(wait=True)
    return [results[task.name] for task in tasks]


@dataclass(frozen=True)
class _Run:
    """What the pages of one run share."""

    out: Path
    source: Kernels
    cwd: Path
    env: dict[str, str]
    cell_timeout_s: float | None

    def page(self, task: NotebookTask, links: PageLinks) -> PageResult:
        notebook, error = self._executed(task)
        if error is not None and error.cell is None and not self.source.ended:
            # No cell failed: the kernel gave no answer or was ended from outside. Once more, then.
            notebook, error = self._executed(task)
        kept = None
        if notebook is not None:
            import nbformat

            try:
                _draw(notebook)
            except ValueError as problem:
                error = error or NotebookFailedError(task.name, notebook=task.notebook.name, cause=str(problem))
            kept = self.out / "notebooks" / f"{task.name}.ipynb"
            kept.write_text(nbformat.writes(notebook) + "\n", encoding="utf-8", newline="\n")
        if notebook is None or error is not None:
            return PageResult(task.name, task.title, None, kept, error)
        from flipkit.pack.page import first_heading

        title = task.title or first_heading(notebook) or task.name
        try:
            html = render_page(notebook, title=title, links=links, name=task.name).encode()
        except ValueError as problem:
            failed = NotebookFailedError(task.name, notebook=task.notebook.name, cause=str(problem))
            return PageResult(task.name, title, None, kept, failed)
        file = self.out / f"{task.name}.html"
        file.write_bytes(html)
        return PageResult(task.name, title, file, kept, None, _warnings(notebook, len(html)))

    def _executed(self, task: NotebookTask) -> tuple[NotebookNode | None, NotebookFailedError | None]:
        import nbformat
        import papermill
        from nbclient.exceptions import CellTimeoutError, DeadKernelError
        from papermill.exceptions import PapermillExecutionError

        original = nbformat.read(task.notebook, as_version=4)
        known = {cell.get("id") for cell in original.cells}
        kept: dict[str, Any] = {}
        error: NotebookFailedError | None = None
        try:
            papermill.execute_notebook(
                original,
                None,
                parameters=dict(task.parameters),
                engine_name=ENGINE,
                kernel_name="python3",
                progress_bar=False,
                # papermill would write the notebook twice a cell; we write it once, at the end.
                request_save_on_cell_execute=False,
                autosave_cell_every=0,
                kernels=self.source,
                kept=kept,
                cwd=None,
                folder=self.cwd,
                env=self.env,
                cell_timeout=self.cell_timeout_s,
            )
        except PapermillExecutionError as problem:
            error = NotebookFailedError(
                task.name,
                notebook=task.notebook.name,
                cell=problem.cell_index + 1,
                source=problem.source,
                cause=f"{problem.ename}: {problem.evalue}",
            )
        except (DeadKernelError, CellTimeoutError, RuntimeError, TimeoutError) as problem:
            told = _tail(kept.get("log"))
            cause = f"{_why(problem)}{told}"
            error = NotebookFailedError(task.name, notebook=task.notebook.name, cause=cause)
        notebook = kept.get("notebook")
        return (None if notebook is None else _steadied(notebook, known)), error


def declared_parameters(notebook: Path) -> dict[str, str]:
    """Parameters that a notebook declares, with the comment behind each."""
    import papermill

    found = papermill.inspect_notebook(papermill_path(notebook))
    return {name: str(entry["help"]) for name, entry in found.items()}


def _require_tasks(tasks: Sequence[NotebookTask], jobs: int) -> None:
    if jobs < 1:
        raise ValueError(f"jobs must be at least 1, got {jobs}")
    names = [task.name for task in tasks]
    for name in names:
        if not _NAME.fullmatch(name):
            raise ValueError(f"the name of a page must be lower-case letters, digits, - and _, got {name!r}")
        if names.count(name) > 1:
            raise ValueError(f"the names of pages must differ, got {name!r} {names.count(name)} times")
    declared: dict[Path, dict[str, str]] = {}
    for task in tasks:
        if task.notebook not in declared:
            declared[task.notebook] = declared_parameters(task.notebook)
        unknown = [name for name in task.parameters if name not in declared[task.notebook]]
        if unknown:
            raise NotebookParameterError(task.notebook.name, unknown=unknown, declared=list(declared[task.notebook]))


def _links(tasks: Sequence[NotebookTask], k: int, home: tuple[str, str] | None) -> PageLinks:
    """The bar of every page, and before and after a page that is not in it its neighbours that are not either."""
    if home is None:
        return PageLinks()
    here = _address(tasks[k])
    bar = [(_address(task), task.bar) for task in tasks if task.bar]
    others = [] if tasks[k].bar else [task for task in tasks if not task.bar and _address(task) != home[0]]
    place = others.index(tasks[k]) if tasks[k] in others else -1
    around = [others[at] if place >= 0 and 0 <= at < len(others) else None for at in (place - 1, place + 1)]
    before, after = (None if task is None else (_address(task), task.title or task.name) for task in around)
    first = None if any(address == home[0] for address, _ in bar) else home
    return PageLinks(first, before, after, tuple(bar), here)


def _address(task: NotebookTask) -> str:
    return f"{task.name}.html"


def _draw(notebook: NotebookNode) -> None:
    """Put beside each chart its picture: here, in one process for all notebooks, and not in each kernel."""
    for cell in notebook.cells:
        for output in cell.get("outputs", []):
            if MIME_TYPE in output.get("data", {}):
                output.data = with_picture(output.data)


def _steadied(notebook: NotebookNode, known: set[str | None]) -> NotebookNode:
    """Take out of an executed notebook what differs from run to run: times, places, random names."""
    for key in (*RUN_TRACES, "widgets"):
        notebook.metadata.pop(key, None)
    for k, cell in enumerate(notebook.cells):
        for output in cell.get("outputs", []):
            # A widget lives as long as its kernel; what it says in words and tables stays.
            output.get("data", {}).pop(_WIDGET, None)
        for key in RUN_TRACES:
            cell.metadata.pop(key, None)
        if cell.get("id") not in known:
            cell.id = _INJECTED if _INJECTED in cell.metadata.get("tags", []) else f"cell-{k + 1}"
    return notebook


def _warnings(notebook: NotebookNode, size: int) -> tuple[str, ...]:
    told = [
        output.text.strip()
        for cell in notebook.cells
        for output in cell.get("outputs", [])
        if output.output_type == "stream" and output.name == "stderr"
    ]
    if size > MOST_BYTES:
        told.append(f"the page is {size:,} bytes, more than {MOST_BYTES:,}: show fewer rows or aggregate them")
    return tuple(told)


def _why(problem: Exception) -> str:
    """What became of a kernel that gave no answer, and what helps."""
    text = str(problem).strip()
    if isinstance(problem, RuntimeError) or "IOPub" in text:
        mend = "the computer may be short of memory or busy: close other programs, or give --jobs 1"
        return f"its kernel gave no answer, twice ({text.splitlines()[0] if text else type(problem).__name__}): {mend}"
    return text


def _tail(log: Path | None) -> str:
    """Last lines that a dead kernel wrote, for the error."""
    try:
        lines = [] if log is None else log.read_text(encoding="utf-8", errors="replace").strip().splitlines()
    except OSError:
        lines = []
    return "".join(f"\n  {line}" for line in lines[-5:])


# Kernels for the notebooks: plain ones everywhere, warm ones where the system can fork.
#
# A plain kernel is a new interpreter that imports pandas and altair again for each notebook. A warm one is forked
# from a process that has imported them once; the standard library's fork server does the forking, the reaping and
# the handing over of exit codes, and what stands here only lets Jupyter's kernel manager ask it. Notebooks see no
# difference: each still has a process of its own.

#: Name under which papermill finds the engine below.
ENGINE: Final = "flipkit"
#: What a warm process imports before the first fork.
WARM: Final = "flipkit.pack.kernel_preload"
#: The same in every kernel, so that the same books give the same bytes on any machine: the order of
#: sets of text, and sums that do not depend on how many cores shared them.
STEADY: Final[Mapping[str, str]] = {
    "PYTHONHASHSEED": "0",
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
    # Nobody debugs a kernel of ours: its debugger need not say what it would miss.
    "PYDEVD_DISABLE_FILE_VALIDATION": "1",
}
#: Longest address of a local socket that every system takes, less what Jupyter appends to it.
_LONGEST_ADDRESS = 90


def can_fork() -> bool:
    """Whether warm kernels are to be had: on Linux, where forking such a process is safe.

    >>> can_fork() == (sys.platform == "linux")
    True
    """
    return sys.platform == "linux"


class _ForkedProcess:
    """A forked kernel, with the methods of ``subprocess.Popen`` that a provisioner calls."""

    stdin = stdout = stderr = None

    def __init__(self, arguments: list[str], how: Mapping[str, Any], log: Path) -> None:
        context = multiprocessing.get_context("forkserver")
        told = (arguments, how.get("cwd"), dict(how["env"]), str(log))
        self._process = context.Process(target=become_kernel, args=told, daemon=True)
        self._process.start()
        self.pid = int(self._process.pid or 0)

    def poll(self) -> int | None:
        return self._process.exitcode

    def wait(self, timeout: float | None = None) -> int | None:
        self._process.join(timeout)
        return self._process.exitcode

    def send_signal(self, number: int) -> None:
        if self.poll() is None:
            os.kill(self.pid, number)

    def terminate(self) -> None:
        self.send_signal(signal.SIGTERM)

    def kill(self) -> None:
        self.send_signal(signal.SIGKILL)


#: What a plain kernel runs: its first act is to tie itself to the report, whose end of its input it may watch.
_PLAIN: Final = (
    "import sys; from flipkit.owned import end_with_parent; end_with_parent(int(sys.argv[1]), 0); "
    "from ipykernel.kernelapp import IPKernelApp; IPKernelApp.launch_instance(argv=sys.argv[2:])"
)


def _plain_process(arguments: list[str], how: Mapping[str, Any], log: Path) -> subprocess.Popen[bytes]:
    """A kernel in an interpreter of its own."""
    with log.open("ab") as messages:
        return subprocess.Popen(  # noqa: S603 - our own interpreter
            [sys.executable, "-P", "-c", _PLAIN, str(os.getpid()), *arguments],
            stdin=subprocess.DEVNULL if sys.platform == "linux" else subprocess.PIPE,
            stdout=messages,
            stderr=messages,
            cwd=how.get("cwd"),
            env=dict(how["env"]),
            start_new_session=True,
        )


class Kernels:
    """Where the kernels of one run come from; keeps count of those alive."""

    def __init__(self, folder: Path, *, warm: bool) -> None:
        self.folder = folder
        self.warm = warm
        self._lock = threading.Lock()
        self._count = 0
        self._managers: list[AsyncKernelManager] = []
        #: Set when the run is being ended, so that nothing is tried again.
        self.ended = False

    def manager(self) -> tuple[AsyncKernelManager, Path]:
        """A manager for one kernel, not started, and the file that the kernel's own messages go to."""
        with self._lock:
            self._count += 1
            name = f"k{self._count}"
        log = self.folder / f"{name}.log"
        manager = AsyncKernelManager(
            kernel_name="python3",
            # The interpreter that runs now and no other, whatever kernels the user has installed.
            kernel_spec_manager=KernelSpecManager(kernel_dirs=[]),
            connection_file=str(self.folder / f"{name}.json"),
            **_transport(self.folder),
        )
        manager.kernel_id = name
        if self.warm or sys.platform != "win32":  # where Jupyter's own way of starting ends a kernel with its parent
            start_by(manager, lambda arguments, how: self._started(arguments, how, log))
        with self._lock:
            self._managers.append(manager)
        return manager, log

    def _started(self, arguments: list[str], how: Mapping[str, Any], log: Path) -> Any:
        """A kernel's process, if the run has not been ended meanwhile."""
        if self.ended:
            raise RuntimeError("the run was ended")
        process = (_ForkedProcess if self.warm else _plain_process)(arguments, how, log)
        if self.ended:
            process.kill()
        return process

    def kill(self) -> None:
        """End every kernel that still runs, at once, and let none start any more."""
        self.ended = True
        with self._lock:
            managers = list(self._managers)
        for manager in managers:
            process = kernel_process(manager)
            if process is not None and process.poll() is None:
                with suppress(OSError):
                    process.kill()
            if process is not None and process.stdin is not None:
                process.stdin.close()


@contextmanager
def kernels(*, warm: bool | None = None, env: Mapping[str, str] | None = None) -> Iterator[Kernels]:
    """Kernels for one run, the warm ones with what these variables have them load; those alive at its end are ended."""
    forked = can_fork() if warm is None else warm
    with temporary_folder() as folder:
        source = Kernels(folder, warm=forked)
        try:
            if forked:
                start_fork_server([WARM], {**(env or {}), **STEADY})
            yield source
        finally:
            source.kill()


def _transport(folder: Path) -> dict[str, str]:
    """Local sockets where the system has them: no port is opened, and ipykernel has nothing to warn of."""
    if sys.platform != "win32" and len(str(folder)) < _LONGEST_ADDRESS:
        return {"transport": "ipc"}
    return {}


class _Engine(NBClientEngine):
    """papermill's engine, with a kernel of ours instead of one from the user's list."""

    @classmethod
    def execute_managed_notebook(
        cls, nb_man: NotebookExecutionManager, kernel_name: str, log_output: bool = False, **kwargs: Any
    ) -> Any:
        source: Kernels = kwargs["kernels"]
        kept: dict[str, Any] = kwargs["kept"]
        manager, log = source.manager()
        kept["log"] = log
        client = notebook_client(
            nb_man,
            manager,
            kernel_name=kernel_name,
            timeout=kwargs["cell_timeout"],
            startup_timeout=_START_S,
            iopub_timeout=_OUTPUT_S,
        )
        options: dict[str, Any] = {
            "cwd": str(kwargs["folder"]),
            "env": {**os.environ, **STEADY, DRAWN_LATER: "1", **kwargs["env"]},
        }
        try:
            if source.warm or sys.platform != "win32":
                return client.execute(cleanup_kc=True, **options)
            with log.open("ab") as messages:
                return client.execute(cleanup_kc=True, stdout=messages, stderr=messages, **options)
        finally:
            kept["notebook"] = nb_man.nb
            close_thread_loop()
