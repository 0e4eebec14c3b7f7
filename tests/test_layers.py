"""Imports point downward only: no module imports one of its own layer's superiors."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1] / "flipkit"

#: From the ground up. A module may import from its own layer and from those below.
LAYERS = (
    ("errors",),
    ("quantities", "money", "places"),
    ("rules",),
    ("books",),
    ("assumptions",),
    ("items",),
    ("analysis",),
    ("simulation",),
    ("charts",),
    ("reports",),
    ("cli", "__main__", "__init__"),
)
LEVEL = {name: level for level, names in enumerate(LAYERS) for name in names}
MODULES = sorted(path for path in ROOT.rglob("*.py"))


def imported(path: Path) -> set[str]:
    """First names below flipkit that a module imports, at any depth of its code."""
    names = set()
    tree = ast.parse(path.read_text(encoding="utf-8"))
    # What only a type checker reads imports nothing when the program runs.
    tree.body = [node for node in tree.body if getattr(getattr(node, "test", None), "id", "") != "TYPE_CHECKING"]
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "flipkit":
            parts = (node.module or "").split(".")
            names |= {parts[1]} if len(parts) > 1 else {alias.name for alias in node.names}
        elif isinstance(node, ast.Import):
            names |= {name.name.split(".")[1] for name in node.names if name.name.startswith("flipkit.")}
        assert not (isinstance(node, ast.ImportFrom) and node.level), f"{path.name}: relative import"
    return names


def layer(path: Path) -> str:
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_imports_point_downward(path):
    own = layer(path)
    assert own in LEVEL, f"{own} has no place in the layers"
    upward = sorted(name for name in imported(path) if LEVEL.get(name, -1) > LEVEL[own])
    assert not upward, f"{own} imports {upward}, which lie above it"


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_modules_stay_short(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400, "split before 400 lines"


def test_the_check_sees_an_upward_import(tmp_path):
    module = tmp_path / "money.py"
    module.write_text("from flipkit.reports.page import x\nimport flipkit.cli\n")
    assert imported(module) == {"reports", "cli"}
