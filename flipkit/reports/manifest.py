"""What a pack was made from, written beside it: enough to make it again and to see what changed."""

from __future__ import annotations

import hashlib
import json
import platform
import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final

from flipkit.errors import PackError
from flipkit.reports.rules_used import RuleUsed

#: Name of the manifest's file in a pack.
FILE: Final = "run.json"
#: Libraries whose version can move a figure, a drawing or a page.
LIBRARIES: Final = ("altair", "nbconvert", "numpy", "pandas", "papermill", "pint", "scipy", "vl-convert-python")
_MACHINE_PATH = re.compile(r"(?:^|[\s'\"=(])(?:/(?!/)[^/\s]+/|~/|[A-Za-z]:[\\/]|\\\\)")


@dataclass(frozen=True)
class AssumptionUsed:
    """One assumption as the run used it.

    Attributes
    ----------
    key, value, unit : str
        What is assumed, as a reader writes it.
    layer : str
        Who said so: ``packaged``, ``shop`` or ``this run``.
    source : str
        Where a packaged value comes from.
    """

    key: str
    value: str
    unit: str
    layer: str
    source: str = ""


@dataclass(frozen=True)
class Manifest:
    """What a pack was made from.

    Attributes
    ----------
    shop, currency, month, as_of : str
        The shop's name and currency, the month (``2026-10``) and the day that counted as today.
    inputs : mapping of str to str
        Each file of the books, named from the books' folder, to its SHA-256.
    assumptions : sequence of AssumptionUsed
        Every assumption of the run.
    rules : sequence of RuleUsed
        Every rule block that was used.
    left_out : sequence of str
        What no figure includes, and why.
    notes : sequence of str
        What else a reader of the figures should know.
    options : mapping
        What the command was asked beyond that, such as the categories and the seed.
    """

    shop: str
    currency: str
    month: str
    as_of: str
    inputs: Mapping[str, str]
    assumptions: Sequence[AssumptionUsed] = ()
    rules: Sequence[RuleUsed] = ()
    left_out: Sequence[str] = ()
    notes: Sequence[str] = ()
    options: Mapping[str, Any] = field(default_factory=dict)


def versions() -> dict[str, str]:
    """Versions of the kit, of Python and of what draws and writes the pages.

    Returns
    -------
    dict of str to str
        Name to version.

    Examples
    --------
    >>> sorted(versions())[:2]
    ['altair', 'flipkit']
    """
    return {name: version(name) for name in ("flipkit", *LIBRARIES)} | {"python": platform.python_version()}


def file_hashes(folder: Path) -> dict[str, str]:
    """SHA-256 of every file below a folder, the manifest itself left out.

    Parameters
    ----------
    folder : Path
        A pack.

    Returns
    -------
    dict of str to str
        Path from the folder, with ``/``, to the digest.
    """
    found = sorted(path for path in folder.rglob("*") if path.is_file() and path != folder / FILE)
    return {path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest() for path in found}


def manifest_text(manifest: Manifest, files: Mapping[str, str]) -> str:
    """The manifest as JSON: keys sorted, no time of day, no place on this machine.

    Parameters
    ----------
    manifest : Manifest
        What the pack was made from.
    files : mapping of str to str
        The pack's files and their digests.

    Returns
    -------
    str
        JSON, ending in a line end.

    Raises
    ------
    PackError
        If a text holds a path of this machine, which would differ elsewhere and tell whose it is.
    ValueError
        If a number is not finite.

    Examples
    --------
    >>> text = manifest_text(Manifest("Shop", "USD", "2026-10", "2026-11-01", {"items.csv": "ab"}), {})
    >>> json.loads(text)["inputs"]
    {'items.csv': 'ab'}
    """
    body = asdict(manifest)
    body["assumptions"] = sorted(body["assumptions"], key=lambda entry: entry["key"])
    body["rules"] = sorted(body["rules"], key=lambda entry: (entry["kind"], entry["name"], entry["begins"]))
    for name in ("inputs", "assumptions", "left_out", "notes", "options"):
        for text in _texts(body[name]):
            if _MACHINE_PATH.search(text):
                raise PackError(
                    name, need="free of paths of this machine", got=text, mend="name files from the books' folder"
                )
    body |= {"files": dict(files), "versions": versions()}
    return json.dumps(body, sort_keys=True, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _texts(value: object) -> list[str]:
    if isinstance(value, str):
        return [value]
    if isinstance(value, Mapping):
        return [text for pair in value.items() for part in pair for text in _texts(part)]
    if isinstance(value, list | tuple):
        return [text for part in value for text in _texts(part)]
    return []
