"""Whether a pack stands as it would be made now: then nothing is to be done."""

from __future__ import annotations

import hashlib
import json
import platform
import zipfile
from collections.abc import Mapping, Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Final

import pandas as pd

from flipkit.analysis.forecasts import kept_forecasts, record_folder
from flipkit.paths import demo_folder, notebooks_folder, packs_folder
from flipkit.reports.study import AskedStudy, Study, asked_study

#: Name of the manifest's file in a pack, and of the pack as an archive.
FILE: Final = "run.json"
ARCHIVE: Final = "pack.zip"
#: Libraries whose version can move a figure, a drawing or a page.
LIBRARIES: Final = ("altair", "nbconvert", "numpy", "pandas", "papermill", "pint", "scipy", "vl-convert-python")


def standing_pack(
    books: Path | None,
    *,
    month: str,
    as_of: str,
    categories: Sequence[str],
    settings: Mapping[str, str],
    out: Path | None,
) -> Path | None:
    """The pack that is asked for, where it is whole and would come out the same."""
    asked = asked_study((books or demo_folder()).resolve(), month=month, as_of=as_of, settings=settings)
    folder = out or packs_folder(books) / asked.month
    try:
        told = json.loads((folder / FILE).read_text(encoding="utf-8"))
        same = told["made_from"] == made_from(asked, categories, folder) and told["versions"] == versions()
        whole = same and told["files"].items() <= file_hashes(folder).items() and zipfile.is_zipfile(folder / ARCHIVE)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
    return folder if whole else None


def made_from(study: AskedStudy | Study, categories: Sequence[str], out: Path) -> str:
    """Digest of all that a pack's pages depend on: the study, the notebooks, and what earlier reports forecast."""
    notebooks = [hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(notebooks_folder().glob("*.ipynb"))]
    kept = kept_forecasts(record_folder(out.resolve().parent, study.books))
    earlier = kept[kept["made_on"] < pd.Timestamp(study.as_of)].to_csv(index=False)
    said = [study.key, study.books.path.resolve().name, list(categories), notebooks, earlier]
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()


def versions() -> dict[str, str]:
    """Versions of the kit, of Python and of what draws and writes the pages.

    >>> sorted(versions())[:2]
    ['altair', 'flipkit']
    """
    return {name: version(name) for name in ("flipkit", *LIBRARIES)} | {"python": platform.python_version()}


def file_hashes(folder: Path) -> dict[str, str]:
    """SHA-256 of every file below a folder, the manifest itself left out."""
    found = sorted(path for path in folder.rglob("*") if path.is_file() and path != folder / FILE)
    return {path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest() for path in found}
