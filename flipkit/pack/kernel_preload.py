"""What warm kernels are forked from: a process that has imported, once, what every notebook imports.

Nothing may start a thread here, and nothing may hold a seed: the children share this module's state.
"""

from __future__ import annotations

import gc
import importlib
import multiprocessing
import os
import signal

from flipkit.owned import end_with_parent
from flipkit.workarounds import SERVED

#: The process that forks the kernels: each is to end with it.
SERVER = os.getpid()

#: The debugger is a kernel's own import, and the dearest of them.
_KERNEL = (
    *("ipykernel.ipkernel", "ipykernel.kernelapp", "ipykernel.zmqshell", "ipykernel.debugger"),
    "IPython.core.completer",
)
#: The kit itself, the names that are loaded when asked for included.
_KIT = ("flipkit", "flipkit.charts", "flipkit.reports")


def become_kernel(arguments: list[str], cwd: str | None, env: dict[str, str], log: str) -> None:
    """Turn the forked child into a kernel; runs in the child, which imports this module and nothing else for it."""
    # The fork server ends with the report, and the kernel with the fork server.
    end_with_parent(SERVER)
    report = multiprocessing.parent_process()
    if report is None or not report.is_alive():
        os._exit(1)
    os.setsid()
    if cwd is not None:
        os.chdir(cwd)
    os.environ.clear()
    os.environ.update(env)
    handle = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    for standard in (1, 2):
        os.dup2(handle, standard)
    os.close(handle)
    from ipykernel.kernelapp import IPKernelApp

    IPKernelApp.launch_instance(argv=arguments)


if SERVED in os.environ:
    # Ctrl-C reaches this process too: the report says what became of it, and a traceback from here would say nothing.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # First of all: the kernels hold the pipe that the fork server watches, so it would never see its end.
    end_with_parent(int(os.environ[SERVED]))
    for _name in ("flipkit.charts", *_KERNEL, "pandas", "altair", *_KIT):
        _module = importlib.import_module(_name)
        for _export in getattr(_module, "__all__", ()) if _name in _KIT else ():
            getattr(_module, _export)
    # Each part of a chart is checked when it is made; all of it once more, with every row, would take half its time.
    importlib.import_module("altair").TopLevelMixin.validate = classmethod(lambda *_: None)
    importlib.import_module("flipkit.reports.study").load_kept()
    # What is loaded stays for good: without this, a child's first collection would copy all of it.
    gc.freeze()
