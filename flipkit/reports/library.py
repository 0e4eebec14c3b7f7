"""The drawing library that each page carries within itself, kept in a file between runs."""

from __future__ import annotations

import hashlib
import os
import sys
import tempfile
from contextlib import suppress
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Final

#: Grammar version of the library in the pages; the specs are written for the one before it as well.
VEGA_LITE: Final = "6.4"


def cache_folder() -> Path:
    """Where this user's programs keep what they can make again.

    Returns
    -------
    Path
        The kit's own folder there; it may not exist yet.

    Examples
    --------
    >>> cache_folder().name
    'flipkit'
    """
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA", "") or str(Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = str(Path.home() / "Library" / "Caches")
    else:
        base = os.environ.get("XDG_CACHE_HOME", "") or str(Path.home() / ".cache")
    return Path(base) / "flipkit"


@cache
def drawing_library() -> str:
    """The script that draws charts in a page, whole, needing nothing from outside.

    Making it takes a second or more, so it is kept in :func:`cache_folder` under a name that holds
    its version. The file begins with a digest of the rest; one that does not fit is made again. A
    folder that cannot be written costs the second at each run and nothing else. (A shared temporary
    folder would be no better place: what another user puts there would run in the pages.)

    Returns
    -------
    str
        JavaScript, safe inside a script element.

    Examples
    --------
    >>> "vegaEmbed" in drawing_library()
    True
    """
    made_by = version("vl-convert-python")
    file = cache_folder() / f"drawing-{made_by}-{VEGA_LITE}.js"
    kept = _read_checked(file)
    if kept is not None:
        return kept
    import vl_convert

    script = vl_convert.javascript_bundle(vl_version=VEGA_LITE)  # type: ignore[call-arg]  # the snippet is optional
    script = script.replace("</script", r"<\/script").replace("<!--", r"<\!--")
    with suppress(OSError):
        _write_checked(file, script)
    return script


def _digest(script: str) -> str:
    return hashlib.sha256(script.encode()).hexdigest()


def _read_checked(file: Path) -> str | None:
    try:
        head, _, script = file.read_text(encoding="utf-8", errors="strict").partition("\n")
    except (OSError, UnicodeDecodeError):
        return None
    return script if head == f"// {_digest(script)}" else None


def _write_checked(file: Path, script: str) -> None:
    file.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=file.parent, prefix=file.name, suffix=".part")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as part:
            part.write(f"// {_digest(script)}\n{script}")
        Path(name).replace(file)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
