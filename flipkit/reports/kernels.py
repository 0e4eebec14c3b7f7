"""Kernels for the notebooks: plain ones everywhere, warm ones where the system can fork.

A plain kernel is a new interpreter that imports pandas and altair again for each notebook. A warm one
is forked from a process that has imported them once; the standard library's fork server does the
forking, the reaping and the handing over of exit codes, and what stands here only lets Jupyter's
kernel manager ask it. Notebooks see no difference: each still has a process of its own.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import shutil
import signal
import sys
import tempfile
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final

import flipkit.charts.quick_start  # noqa: F401  # isort: skip  # before papermill opens jsonschema
from jupyter_client.kernelspec import KernelSpecManager
from jupyter_client.manager import AsyncKernelManager
from jupyter_client.provisioning import LocalProvisioner
from jupyter_core.utils import ensure_event_loop
from papermill.clientwrap import PapermillNotebookClient
from papermill.engines import NBClientEngine, NotebookExecutionManager, papermill_engines

#: Name under which papermill finds the engine below.
ENGINE: Final = "flipkit"
#: What a warm process imports before the first fork.
WARM: Final = "flipkit.pack.kernel_preload"
#: The same in every kernel, so that the same books give the same bytes on any machine: the order of
#: sets of text, and sums that do not depend on how many cores shared them.
STEADY: Final[Mapping[str, str]] = {"PYTHONHASHSEED": "0", "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
#: Longest address of a local socket that every system takes, less what Jupyter appends to it.
_LONGEST_ADDRESS = 90


def can_fork() -> bool:
    """Whether warm kernels are to be had: on Linux, where forking such a process is safe.

    Returns
    -------
    bool
        True on Linux.

    Examples
    --------
    >>> can_fork() == (sys.platform == "linux")
    True
    """
    return sys.platform == "linux"


class _OwnKernelSpecs(KernelSpecManager):
    """Knows the interpreter that runs now and no other, whatever kernels the user has installed."""

    def _kernel_dirs_default(self) -> list[str]:
        return []


class _ForkedProcess:
    """A forked kernel, with the methods of ``subprocess.Popen`` that a provisioner calls."""

    stdin = stdout = stderr = None

    def __init__(self, arguments: list[str], *, cwd: str | None, env: dict[str, str], log: Path) -> None:
        context = multiprocessing.get_context("forkserver")
        self._process = context.Process(target=_become_kernel, args=(arguments, cwd, env, str(log)), daemon=True)
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


def _become_kernel(arguments: list[str], cwd: str | None, env: dict[str, str], log: str) -> None:
    """Turn the forked child into a kernel; runs in the child."""
    os.setsid()
    if cwd is not None:
        os.chdir(cwd)
    os.environ.clear()
    os.environ.update(env)
    # The kernel watches the process that forked it, and ends with it: a report that is killed leaves none behind.
    os.environ["JPY_PARENT_PID"] = str(os.getppid())
    handle = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    for standard in (1, 2):
        os.dup2(handle, standard)
    os.close(handle)
    from ipykernel.kernelapp import IPKernelApp

    IPKernelApp.launch_instance(argv=arguments)


class _WarmProvisioner(LocalProvisioner):
    """Starts kernels by asking the fork server."""

    log_file: Path

    async def launch_kernel(self, cmd: list[str], **kwargs: Any) -> Any:
        arguments = cmd[cmd.index("-f") :]
        process = _ForkedProcess(arguments, cwd=kwargs.get("cwd"), env=dict(kwargs["env"]), log=self.log_file)
        self.process = process  # type: ignore[assignment]  # what is used of Popen, it has
        self.pid = self.pgid = process.pid
        return self.connection_info


class Kernels:
    """Where the kernels of one run come from; keeps count of those alive.

    Parameters
    ----------
    folder : Path
        For sockets and logs; short, the run's own.
    warm : bool
        Whether kernels are forked.
    """

    def __init__(self, folder: Path, *, warm: bool) -> None:
        self.folder = folder
        self.warm = warm
        self._lock = threading.Lock()
        self._count = 0
        self._managers: list[AsyncKernelManager] = []

    def manager(self) -> tuple[AsyncKernelManager, Path]:
        """A manager for one kernel, not started, and the file that the kernel's own messages go to.

        Returns
        -------
        tuple of (AsyncKernelManager, Path)
            The manager and the log file.
        """
        with self._lock:
            self._count += 1
            name = f"k{self._count}"
        log = self.folder / f"{name}.log"
        manager = AsyncKernelManager(
            kernel_name="python3",
            kernel_spec_manager=_OwnKernelSpecs(),
            connection_file=str(self.folder / f"{name}.json"),
            **_transport(self.folder),
        )
        manager.kernel_id = name
        if self.warm:
            manager.provisioner = _WarmProvisioner(kernel_id=name, kernel_spec=manager.kernel_spec, parent=manager)
            manager.provisioner.log_file = log
        with self._lock:
            self._managers.append(manager)
        return manager, log

    def kill(self) -> None:
        """End every kernel that still runs, at once."""
        with self._lock:
            managers = list(self._managers)
        for manager in managers:
            process = getattr(manager.provisioner, "process", None)
            if process is not None and process.poll() is None:
                with suppress(OSError):
                    process.kill()


@contextmanager
def kernels(*, warm: bool | None = None) -> Iterator[Kernels]:
    """Kernels for one run; those still alive at its end are ended.

    Parameters
    ----------
    warm : bool, optional
        Whether kernels are forked from a warm process; by default where :func:`can_fork`.

    Yields
    ------
    Kernels
        The source of kernels.
    """
    forked = can_fork() if warm is None else warm
    folder = Path(tempfile.mkdtemp(prefix="fk-"))
    source = Kernels(folder, warm=forked)
    try:
        if forked:
            _start_fork_server()
        yield source
    finally:
        source.kill()
        shutil.rmtree(folder, ignore_errors=True)


def _start_fork_server() -> None:
    from multiprocessing import forkserver

    multiprocessing.set_forkserver_preload([WARM])
    # The server inherits these at its start: a hash seed cannot be set any later.
    before = {name: os.environ.get(name) for name in STEADY}
    os.environ.update(STEADY)
    try:
        forkserver.ensure_running()
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


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
        client = PapermillNotebookClient(
            nb_man, km=manager, kernel_name=kernel_name, timeout=kwargs["cell_timeout"], startup_timeout=60
        )
        options: dict[str, Any] = {"cwd": str(kwargs["folder"]), "env": {**os.environ, **STEADY, **kwargs["env"]}}
        try:
            if source.warm:
                return client.execute(cleanup_kc=True, **options)
            with log.open("ab") as messages:
                return client.execute(cleanup_kc=True, stdout=messages, stderr=messages, **options)
        finally:
            kept["notebook"] = nb_man.nb
            # Jupyter makes an event loop for each thread that asks and leaves it open.
            ensure_event_loop().close()
            asyncio.set_event_loop(None)


papermill_engines.register(ENGINE, _Engine)
