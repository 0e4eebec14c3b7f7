from __future__ import annotations

import ast
import json
from pathlib import Path

import pytest

import flipkit

NOTEBOOKS = Path(__file__).resolve().parents[1] / "notebooks"


def test_exported_names_are_sorted_and_there():
    assert flipkit.__all__ == sorted(flipkit.__all__)
    for name in flipkit.__all__:
        thing = getattr(flipkit, name)
        assert getattr(thing, "__name__", name) == name


def test_the_stub_is_what_a_type_checker_and_the_lazy_loader_both_read():
    assert (Path(flipkit.__file__).parent / "py.typed").is_file()
    stub = ast.parse(Path(flipkit.__file__).with_suffix(".pyi").read_text(encoding="utf-8"))
    aliases = [alias for node in stub.body if isinstance(node, ast.ImportFrom) for alias in node.names]
    assert sorted(alias.name for alias in aliases) == flipkit.__all__
    # Without "as" a name of a stub is not exported to who checks types.
    assert all(alias.asname == alias.name for alias in aliases)


def test_an_unknown_name_is_refused_with_the_known_ones():
    with pytest.raises(AttributeError, match="open_study"):
        flipkit.no_such_name  # noqa: B018 - the access is the test


def test_every_name_is_used_by_a_notebook_or_is_for_the_reader_to_start_from():
    used = set()
    for notebook in NOTEBOOKS.glob("*.ipynb"):
        for cell in json.loads(notebook.read_text(encoding="utf-8"))["cells"]:
            if cell["cell_type"] == "code":
                for node in ast.walk(ast.parse("".join(cell["source"]))):
                    if isinstance(node, ast.Attribute) and getattr(node.value, "id", "") == "fk":
                        used.add(node.attr)
    starters = {"FlipkitError", "caution", "item_economics", "load_assumptions", "load_rules", "read_books"}
    starters |= {name for name in flipkit.__all__ if getattr(flipkit, name).__module__ == "flipkit.face"}
    # The drawings of the pages, for frames of one's own.
    starters |= {name for name in flipkit.__all__ if name.startswith("plot_")}
    assert set(flipkit.__all__) - used - starters == set()
    assert used <= set(flipkit.__all__)
