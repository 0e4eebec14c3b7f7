"""Doors of other packages that are not public, each with its reason; a test fails when one changes."""

from __future__ import annotations

import functools
import os
import shutil
import signal
import sys
import tempfile
from collections.abc import Callable, Mapping, Sequence
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any, Final

from flipkit.owned import TEMPORARY, make_folder, temporary_place

if TYPE_CHECKING:
    from collections.abc import Iterator

    from jupyter_client.manager import AsyncKernelManager

# Each use has its test in ``tests/test_workarounds.py``, and its package an upper bound in ``pyproject.toml``.

#: Tells a fork server which process it serves, to end with it.
SERVED: Final = "FLIPKIT_SERVED"
#: What papermill leaves in the metadata of a notebook and its cells; times, so they differ from run to run.
RUN_TRACES: Final = ("papermill", "execution")


def skip_address_grammar() -> None:
    """Let jsonschema start without the grammar for internationalised addresses, which takes 2 to 3 seconds.

    JupyterLab brings ``rfc3987_syntax``, and jsonschema imports it where it finds it; nothing of ours holds
    such an address. Marked as absent while jsonschema is imported, and no longer.
    """
    if "rfc3987_syntax" in sys.modules or "jsonschema" in sys.modules:
        return
    sys.modules["rfc3987_syntax"] = None  # type: ignore[assignment]  # None marks an import as absent
    try:
        import jsonschema  # noqa: F401
    finally:
        del sys.modules["rfc3987_syntax"]


def is_native_panic(error: BaseException) -> bool:
    """Whether a part written in Rust, such as calamine's, gave up: its error has no public class, only a name."""
    return type(error).__name__ == "PanicException"


def papermill_path(path: object) -> str:
    """A path as papermill wants it: it fills in what stands between braces, and a folder may be named so."""
    return str(path).replace("{", "{{").replace("}", "}}")


def start_fork_server(modules: Sequence[str], env: Mapping[str, str]) -> None:
    """Start the standard library's fork server at once, with modules imported and variables set.

    Left alone it starts at the first process, in whose thread the variables would have to be set. A hash seed
    must be there from the start. ``ensure_running`` is not documented. The server keeps its socket in a folder for
    as long as this process lives; it is one with our name on it, that a killed run leaves to the next to remove.
    """
    import multiprocessing
    from multiprocessing import forkserver

    multiprocessing.set_forkserver_preload(list(modules))
    with _environment({**env, SERVED: str(os.getpid())}), _temporary_files_in(_server_folder()):
        forkserver.ensure_running()


def stop_fork_server() -> None:
    """End the fork server at once, and with it all that it forked; the next start makes a new one.

    Its number is not public, and the way to stop it, which is not either, waits until it has finished importing.
    """
    from multiprocessing import forkserver

    number = getattr(forkserver, "_forkserver")._forkserver_pid  # noqa: B009 - a private door, as this module says
    if number is not None:
        with suppress(ProcessLookupError):
            os.kill(number, signal.SIGKILL)


@functools.cache
def _server_folder() -> str:
    from multiprocessing.util import Finalize

    folder = make_folder(temporary_place(), TEMPORARY)
    # After the library's own finalizer, which removes its folder inside ours at -100.
    Finalize(None, shutil.rmtree, args=(folder, True), exitpriority=-200)
    return str(folder)


@contextmanager
def _temporary_files_in(folder: str) -> Iterator[None]:
    before, tempfile.tempdir = tempfile.tempdir, folder
    try:
        yield
    finally:
        tempfile.tempdir = before


@contextmanager
def _environment(env: Mapping[str, str]) -> Iterator[None]:
    before = {name: os.environ.get(name) for name in env}
    os.environ.update(env)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def start_by(manager: AsyncKernelManager, launch: Callable[[list[str], Mapping[str, Any]], Any]) -> None:
    """Let a kernel manager start its kernel by ``launch``, which gives a process as ``subprocess.Popen`` does.

    A manager keeps the provisioner that it finds, and a local one asks only its ``process``, ``pid`` and
    ``pgid``; the documented way, an entry point, would offer ours to every Jupyter of the machine.
    """
    from jupyter_client.provisioning import LocalProvisioner

    class Provisioner(LocalProvisioner):
        async def launch_kernel(self, cmd: list[str], **kwargs: Any) -> Any:
            self.process = launch(cmd[cmd.index("-f") :], kwargs)
            self.pid = self.pgid = self.process.pid
            return self.connection_info

    manager.provisioner = Provisioner(kernel_id=manager.kernel_id, kernel_spec=manager.kernel_spec, parent=manager)


def kernel_process(manager: AsyncKernelManager) -> Any:
    """The process of a manager's kernel, None where it has none; the public ways to end it are coroutines."""
    return getattr(manager.provisioner, "process", None)


def notebook_client(notebook_manager: Any, manager: AsyncKernelManager, **options: Any) -> Any:
    """The client of papermill on a kernel manager of ours; its own engine takes a kernel's name alone."""
    from papermill.clientwrap import PapermillNotebookClient

    return PapermillNotebookClient(notebook_manager, km=manager, **options)


def close_thread_loop() -> None:
    """Close the event loop that Jupyter makes for each thread that asks, and leaves open."""
    import asyncio

    from jupyter_core.utils import ensure_event_loop

    ensure_event_loop().close()
    asyncio.set_event_loop(None)
