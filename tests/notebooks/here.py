"""A pytest plugin: nbval with cells that run in this process, where no kernel is what is looked at.

Loaded with ``-p tests.notebooks.here`` beside ``--nbval``. Collecting, comparing and telling are nbval's own; only the
messages that a kernel would send come from here.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import Any

from nbval.plugin import IPyNbFile

from tests.helpers.without_kernels import shown_here


class Here:
    """In the place of nbval's kernel, with the methods that it calls."""

    def __init__(self, folder: str) -> None:
        self.folder, self.names, self.count = folder, {}, 0
        self._messages: Iterator[dict[str, Any]] = iter(())

    def is_alive(self) -> bool:
        return True

    def execute_cell_input(self, source: str, allow_stdin: bool | None = None) -> str:
        self.count += 1
        with contextlib.chdir(self.folder):
            try:
                shown = [dict(output) for output in shown_here(source, self.names, self.count)]
            except Exception as problem:
                shown = [{"output_type": "error", "ename": type(problem).__name__, "evalue": str(problem)}]
                shown[0]["traceback"] = [f"{type(problem).__name__}: {problem}"]
        told = [(one.pop("output_type"), one) for one in shown] + [("status", {"execution_state": "idle"})]
        parent = {"msg_id": str(self.count)}
        self._messages = iter([{"msg_type": kind, "content": one, "parent_header": parent} for kind, one in told])
        return parent["msg_id"]

    def get_message(self, stream: str, timeout: float | None = None) -> dict[str, Any]:
        return next(self._messages)

    def await_reply(self, msg_id: str, timeout: float | None = None) -> None:
        """A cell has run once it was taken."""

    def await_idle(self, msg_id: str, timeout: float | None = None) -> None:
        """The same."""

    def stop(self) -> None:
        """There is nothing to end."""


def _setup(self: Any) -> None:
    self.kernel = Here(str(self.fspath.dirname))
    self.setup_sanitize_files()


IPyNbFile.setup = _setup
