"""Where the notebooks and the demo shop's books lie: in a checkout, or inside an installed package."""

from __future__ import annotations

from pathlib import Path
from typing import Final

#: Added to the name of the books for the folder of their packs.
PACKS: Final = "-packs"
_PACKAGE = Path(__file__).resolve().parent


def notebooks_folder() -> Path:
    """Folder of the report notebooks."""
    return _shipped("notebooks")


def demo_folder() -> Path:
    """Folder of the demo shop's books."""
    return _shipped("data_demo")


def beside(books: Path, ending: str) -> Path:
    """A folder beside some books, of their name and an ending: what is made of one shop's books is never another's.

    >>> beside(Path("/shops/lamps"), "-packs").as_posix().endswith("/shops/lamps-packs")
    True
    """
    place = books.resolve()
    return place.parent / f"{place.stem if place.is_file() else place.name}{ending}"


def packs_folder(books: Path | None) -> Path:
    """Where the packs of some books go; those of the demo shop lie in the current folder."""
    return beside(books, PACKS) if books else Path(PACKS.strip("-"))


def _shipped(name: str) -> Path:
    inside = _PACKAGE / "shipped" / name
    return inside if inside.is_dir() else _PACKAGE.parent / name
