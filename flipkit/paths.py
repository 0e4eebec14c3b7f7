"""Where the notebooks and the demo shop's books lie: in a checkout, or inside an installed package."""

from __future__ import annotations

from pathlib import Path

#: Where packs go, below the folder that the command is started in.
PACKS = Path("packs")
_PACKAGE = Path(__file__).resolve().parent


def notebooks_folder() -> Path:
    """Folder of the report notebooks."""
    return _shipped("notebooks")


def demo_folder() -> Path:
    """Folder of the demo shop's books."""
    return _shipped("data_demo")


def _shipped(name: str) -> Path:
    inside = _PACKAGE / "shipped" / name
    return inside if inside.is_dir() else _PACKAGE.parent / name
