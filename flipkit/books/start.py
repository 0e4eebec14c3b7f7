"""A folder to begin with: every table with its headers, examples that are not read, and a word on each."""

from __future__ import annotations

import importlib.resources
import json
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from flipkit.books import schema
from flipkit.books.problems import Problem
from flipkit.books.schema import Table
from flipkit.books.tabling import EXAMPLE
from flipkit.books.write import csv_text, staged
from flipkit.errors import BooksError
from flipkit.paths import notebooks_folder

_TEMPLATES = {
    "README.md": "README.md",
    "rules/fees/my-venue.toml.template": "fees.template",
    "rules/rate_cards/my-post.toml.template": "rate_card.template",
    "rules/rate_cards/my-post-ground-2026-01.csv.template": "rate_card_table.template",
    "rules/sources.toml.template": "sources.template",
}

#: Second example rows, where the first is made of the examples of the schema.
_SECOND = {
    "items": {
        "item_id": "A-0002",
        "title": "Table lamp, brass",
        "category": "table lamps",
        "bought_on": "2026-03-07",
        "lot_id": "L-07",
        "quantity": "1",
    },
    "price_changes": {"item_id": "A-0001", "changed_on": "2026-04-11", "price": "72.00"},
    "work": {
        "date": "2026-03-07",
        "activity": "find",
        "minutes": "2 h 10 min",
        "worker": "me",
        "trip_id": "T-2026-03-07",
    },
    "trips": {"trip_id": "T-2026-03-14", "date": "2026-03-14", "miles": "12"},
    "lots": {"lot_id": "L-08", "date": "2026-03-14", "cost": "25.00", "share_by": "expected value"},
    "supplies": {"date": "2026-02-20", "supply": "tape", "quantity": "6", "unit": "roll", "cost": "14.20"},
    "comparables": {"category": "table lamps", "sold_on": "2026-02-12", "price": "31.00", "condition": "worn"},
    "overheads": {"month": "2026-03", "what": "website", "amount": "12.00"},
    "people": {"worker": "Ann", "role": "hired", "wage": "16.00", "payroll_burden": "7.65 %"},
}


@dataclass(frozen=True)
class Started:
    """What was made in a new folder of books.

    Parameters
    ----------
    folder : Path
        The folder.
    made : tuple of str
        Files made, relative to the folder.
    kept : tuple of str
        Files that were there already and were left as they are.
    """

    folder: Path
    made: tuple[str, ...]
    kept: tuple[str, ...]


def make_folder(folder: Path | str) -> Started:
    """Make a folder of books to begin with. A file that exists is never overwritten.

    Parameters
    ----------
    folder : Path or str
        The folder; it may exist.

    Returns
    -------
    Started
        What was made and what was kept.

    Raises
    ------
    BooksError
        If it is a file, or cannot be made.
    """
    home = Path(folder)
    if home.exists() and not home.is_dir():
        raise BooksError([Problem(home.name, None, "", "a file", "a folder, or a name that is free", "choose another")])
    if not home.exists() and not home.parent.is_dir():
        needed = "a folder that it can be made in"
        raise BooksError([Problem(home.name, None, "", f"no folder {home.parent}", needed, "make that one first")])
    texts = _texts()
    made = tuple(name for name in texts if not (home / name).exists())
    if made:
        with staged(home) as stage:
            for name in made:
                stage.write(name, texts[name])
    return Started(home, made, tuple(name for name in texts if name not in made))


def _texts() -> dict[str, str]:
    texts = {table.file: table_text(table) for table in schema.TABLES}
    texts["shop.csv"] = csv_text(["key", "value"], [[key, default] for key, _, default in schema.SHOP])
    texts["assumptions.toml"] = assumptions_text()
    templates = importlib.resources.files("flipkit.books") / "template"
    for name, template in _TEMPLATES.items():
        texts[name] = (templates / template).read_text(encoding="utf-8")
    for notebook in sorted(notebooks_folder().glob("*.ipynb")):
        texts[f"notebooks/{notebook.name}"] = notebook.read_text(encoding="utf-8")
    return texts


def table_text(table: Table) -> str:
    """A table file with its headers and two example rows that are not read.

    Parameters
    ----------
    table : Table
        The table.

    Returns
    -------
    str
        The text of the file.

    Examples
    --------
    >>> print(table_text(schema.LOTS), end="")
    lot_id,date,cost,share_by
    # example L-07,2026-03-07,60.00,equal
    # example L-08,2026-03-14,25.00,expected value
    """
    names = [column.name for column in table.columns]
    first = [column.example for column in table.columns]
    second = [_SECOND[table.name].get(name, "") for name in names]
    rows = [[f"{EXAMPLE} {row[0]}".rstrip(), *row[1:]] for row in (first, second)]
    return csv_text(names, rows)


def assumptions_text() -> str:
    """The packaged assumptions as a file of comments, each line explained, ready to be changed.

    Returns
    -------
    str
        The text of ``assumptions.toml``; read as it is it changes nothing.
    """
    groups: dict[str, dict[str, dict[str, Any]]] = {}
    packaged = (f for f in importlib.resources.files("flipkit").iterdir() if f.name.startswith("assumptions"))
    for file in sorted((f for f in packaged if f.name.endswith(".toml")), key=lambda f: f.name):
        for head, entries in tomllib.loads(file.read_text(encoding="utf-8")).items():
            groups.setdefault(head, {}).update(entries)
    lines = [
        "# What the kit assumes where your books do not say. Every line below holds the kit's own value:",
        "# take the # away from a line that you want otherwise and write your figure.",
    ]
    for head, entries in groups.items():
        lines += ["", f"[{head}]"]
        for name, entry in entries.items():
            lines.append(f"# {entry['meaning']}")
            unit = f"{entry['unit']}; " if entry["unit"] else ""
            lines.append(f"#   [{unit}from: {entry['source']}]")
            lines.append(f"# {name} = {_toml(entry['value'])}")
    return "\n".join(lines) + "\n"


def _toml(value: object) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(key)} = {_toml(item)}" for key, item in value.items()) + " }"
    return json.dumps(value, ensure_ascii=False)


def _key(key: str) -> str:
    return key if key.isascii() and key.replace("_", "").replace("-", "").isalnum() else json.dumps(key)
