"""Small books for tests, written as a seller would write them and read by the kit's own reader."""

from __future__ import annotations

from pathlib import Path

from flipkit.books.read import Books, read_books

ITEMS_HEAD = "item_id,title,category,bought_on,cost"


def write_books(folder: Path, **tables: str) -> Path:
    """A folder with one CSV file a table, each given as text; blanks around lines are dropped."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in tables.items():
        lines = [line.strip() for line in text.strip().splitlines()]
        (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


def small_books(folder: Path, **tables: str) -> Books:
    """The same, read."""
    return read_books(write_books(folder, **tables))
