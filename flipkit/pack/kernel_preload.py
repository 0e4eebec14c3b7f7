"""Imported once by the process that warm kernels are forked from: what every notebook imports.

Nothing may start a thread here, and nothing may hold a seed: the children share this module's state.
"""

from __future__ import annotations

import gc
import importlib
import os
import signal

from flipkit.owned import end_with_parent
from flipkit.workarounds import SERVED

#: The process that forks the kernels: each is to end with it.
SERVER = os.getpid()
# Ctrl-C reaches this process too: the report says what became of it, and a traceback from here would say nothing.
signal.signal(signal.SIGINT, signal.SIG_IGN)
# First of all: the kernels hold the pipe that the fork server watches, so it would never see its end.
if SERVED in os.environ:
    end_with_parent(int(os.environ[SERVED]))

_KERNEL = ("ipykernel.ipkernel", "ipykernel.kernelapp", "ipykernel.zmqshell", "IPython.core.completer")
#: The kit itself, the names that are loaded when asked for included.
_KIT = ("flipkit", "flipkit.charts", "flipkit.reports")

for _name in ("flipkit.charts", *_KERNEL, "pandas", "altair", *_KIT):
    _module = importlib.import_module(_name)
    for _export in getattr(_module, "__all__", ()) if _name in _KIT else ():
        getattr(_module, _export)

# What is imported stays for good: without this, a child's first collection would copy all of it.
gc.freeze()
