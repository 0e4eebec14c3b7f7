"""What a running command owns: its folders, its place, its children. However it ends, nothing of it stays for good."""

from __future__ import annotations

import ctypes
import hashlib
import os
import platform
import re
import shutil
import signal
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import cache
from pathlib import Path
from typing import Any, Final

from flipkit.errors import PackError

#: How the names of temporary folders begin: short, since local sockets lie in them.
TEMPORARY: Final = "fk-"
#: Longest folder in which a local socket can lie on every system, less what Jupyter appends. [characters]
LONGEST_FOLDER: Final = 75
#: A mark: the computer, the process, when it began.
_MARK = r"([0-9a-f]{4})-(\d+)-(\d+)-\w+"
#: From the headers of Linux: the signal that a child gets when its parent ends; two names swapped in one step.
_PARENT_DEATH_SIGNAL, _EXCHANGE, _FROM_HERE = 1, 2, -100


# Folders with their owner in the name. A process number comes round again, so the time of its beginning stands
# beside it; another computer's folders, on a shared disk, are nobody's to judge from here.


def owner_mark() -> str:
    """Names this process among all that ever ran on this computer."""
    return f"{_computer()}-{os.getpid()}-{_begun(os.getpid())}"


@cache
def _computer() -> str:
    return hashlib.sha256(platform.node().encode()).hexdigest()[:4]


def _begun(process: int) -> int:
    """When a process began, 0 where it has ended. The unit is the system's own."""
    if sys.platform == "linux":
        # Counted from the start of the machine, so that setting the clock moves nothing.
        try:
            fields = Path(f"/proc/{process}/stat").read_text(encoding="utf-8", errors="replace").rpartition(")")[2]
        except OSError:
            return 0
        state, *numbers = fields.split()
        return 0 if state in "ZX" else int(numbers[18])
    import psutil

    try:
        return int(psutil.Process(process).create_time() * 100)
    except psutil.Error:
        return 0


def make_folder(place: Path, prefix: str) -> Path:
    """A new folder for this process alone, which a later run removes if this one cannot."""
    return Path(tempfile.mkdtemp(prefix=f"{prefix}{owner_mark()}-", dir=place))


def left_folders(place: Path, prefix: str) -> list[Path]:
    """Folders and files that processes of this computer made in a place and did not live to remove."""
    pattern = re.compile(re.escape(prefix) + _MARK + r"(\.part)?")
    found = []
    for entry in sorted(place.iterdir()) if place.is_dir() else []:
        named = pattern.fullmatch(entry.name)
        if named and named[1] == _computer() and _begun(int(named[2])) != int(named[3]):
            found.append(entry)
    return found


def sweep(place: Path, prefix: str) -> None:
    """Remove what earlier processes left in a place."""
    with suppress(OSError):  # a place that cannot be read cannot be swept, which is no fault of this run
        for entry in left_folders(place, prefix):
            if entry.is_dir() and not entry.is_symlink():
                shutil.rmtree(entry, ignore_errors=True)
            else:
                entry.unlink(missing_ok=True)


def temporary_place() -> Path:
    """The folder for temporary files; a shorter one where a local socket would not fit into its own."""
    own = Path(tempfile.gettempdir())
    if sys.platform == "win32" or len(str(own)) < LONGEST_FOLDER - 40:
        return own
    return next((place for place in (Path("/tmp"), Path("/var/tmp")) if os.access(place, os.W_OK)), own)  # noqa: S108


@contextmanager
def temporary_folder() -> Iterator[Path]:
    """A folder that only this user may enter, for the time of a block."""
    place = temporary_place()
    sweep(place, TEMPORARY)
    folder = make_folder(place, TEMPORARY)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


# One run at a time in a place.


@contextmanager
def only_one(place: Path, what: str) -> Iterator[None]:
    """Hold a place for the time of a block; refuse in words where another run holds it."""
    file = place.with_name(f".{place.name}.lock")
    handle = _held(file)
    if handle is None:
        raise PackError(
            what,
            need="written by one run at a time",
            got=place.name,
            where="another run is writing it now",
            mend="wait until that one is done, or name another folder with --out",
        )
    try:
        yield
    finally:
        if sys.platform == "win32":  # a file that is open cannot be removed there
            os.close(handle)
            with suppress(PermissionError):  # another run has opened it meanwhile, and removes it in its turn
                file.unlink(missing_ok=True)
        else:
            file.unlink(missing_ok=True)
            os.close(handle)


def _held(file: Path) -> int | None:
    """An open lock file that this process holds, None where another one does."""
    while True:
        handle = os.open(file, os.O_RDWR | os.O_CREAT, 0o600)
        try:
            if sys.platform == "win32":
                import msvcrt

                msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
            else:
                import fcntl

                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except (BlockingIOError, PermissionError):  # the second one on Windows
            os.close(handle)
            return None
        except OSError:
            # A disk without locks: two runs there are the seller's own affair, as before.
            return handle
        # Another run may have removed the file between our opening and our holding it: then it is no lock.
        with suppress(FileNotFoundError):
            if os.path.samestat(os.fstat(handle), file.stat()):
                return handle
        os.close(handle)


def swap(new: Path, old: Path) -> bool:
    """Let two folders change their names in one step; False where the system cannot."""
    if sys.platform != "linux":
        return False
    try:
        rename = ctypes.CDLL(None, use_errno=True).renameat2
    except AttributeError:
        return False
    return bool(rename(_FROM_HERE, os.fsencode(new), _FROM_HERE, os.fsencode(old), _EXCHANGE) == 0)


# Ends: of this process by a signal, and of a child with its parent.


def end_on_signals() -> None:
    """Let the signals that ask a program to end unwind it, as ctrl-C does, so that it cleans up."""

    def end(number: int, frame: Any) -> None:
        signal.signal(number, signal.SIG_IGN)
        sys.exit(128 + number)

    if threading.current_thread() is threading.main_thread():
        for name in ("SIGTERM", "SIGHUP"):
            number = getattr(signal, name, None)
            if number is not None and signal.getsignal(number) is signal.SIG_DFL:
                signal.signal(number, end)


def end_with_parent(parent: int, pipe: int = -1) -> None:
    """End this process at once when its parent is gone, however that ended; called in the child, first thing.

    Linux sends a signal, which needs no thread of ours to run. Elsewhere a thread waits for the end of a pipe
    whose other end the parent alone holds. (Linux means the parent's thread that started the child.)
    """
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(_PARENT_DEATH_SIGNAL, ctypes.c_ulong(signal.SIGKILL))
        if os.getppid() != parent:  # it ended before the signal was asked for
            os._exit(1)
        return

    def wait() -> None:
        while os.read(pipe, 1):
            pass
        os._exit(1)

    if pipe < 0:
        return
    threading.Thread(target=wait, name="parent", daemon=True).start()
