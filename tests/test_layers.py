"""Imports point downward only: no module imports one of its own layer's superiors."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1] / "flipkit"

#: From the ground up. A module may import from its own layer and from those below.
LAYERS = (
    ("errors",),
    ("money", "units", "paths", "owned", "workarounds"),
    ("assumptions", "lab"),
    ("rules",),
    ("books",),
    ("imports",),
    ("packing", "economics"),
    ("analysis",),
    ("simulation", "charts"),
    ("reports",),
    ("pack",),
    ("cli", "face", "__main__", "__init__"),
)
LEVEL = {name: level for level, names in enumerate(LAYERS) for name in names}
MODULES = sorted(path for path in ROOT.rglob("*.py"))


def imported(path: Path) -> set[str]:
    """First names below flipkit that a module imports, at any depth of its code; the package's own is ``__init__``."""
    names = set()
    tree = ast.parse(path.read_text(encoding="utf-8"))
    # What only a type checker reads imports nothing when the program runs.
    tree.body = [node for node in tree.body if getattr(getattr(node, "test", None), "id", "") != "TYPE_CHECKING"]
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "flipkit":
            parts = (node.module or "").split(".")
            names |= {parts[1]} if len(parts) > 1 else {home(alias.name) for alias in node.names}
        elif isinstance(node, ast.Import):
            whole = [name.name for name in node.names if name.name.split(".")[0] == "flipkit"]
            names |= {home(name.partition(".")[2].split(".")[0]) for name in whole}
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "flipkit":
            # ``import flipkit.errors`` gives the whole package a name, and that every lazy export.
            names.add(home(node.attr))
        elif isinstance(node, ast.Call) and getattr(node.func, "attr", getattr(node.func, "id", "")) == "import_module":
            names |= {home(text.split(".")[1]) for text in constants(node) if text.startswith("flipkit.")}
            names |= {"__init__" for text in constants(node) if text == "flipkit"}
        assert not (isinstance(node, ast.ImportFrom) and node.level), f"{path.name}: relative import"
    return names


def home(name: str) -> str:
    """Where ``flipkit.name`` comes from: a part of the package, or an export, found through ``__init__``."""
    return name if name in LEVEL else "__init__"


def constants(call: ast.Call) -> list[str]:
    """Texts among the arguments of a call."""
    return [one.value for one in call.args if isinstance(one, ast.Constant) and isinstance(one.value, str)]


def layer(path: Path) -> str:
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_imports_point_downward(path):
    own = layer(path)
    assert own in LEVEL, f"{own} has no place in the layers"
    upward = sorted(name for name in imported(path) if LEVEL.get(name, -1) > LEVEL[own])
    assert not upward, f"{own} imports {upward}, which lie above it"


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_the_map_names_every_module(path):
    guide = (ROOT.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    name = path.parent.name if path.stem == "__init__" else path.stem
    assert re.search(rf"\b{re.escape(name)}\b", guide), f"say in the map of DEVELOPERS.md what {name} is for"


@pytest.mark.parametrize(
    ("code", "seen"),
    [
        ("from flipkit.pack.page import x\nimport flipkit.cli.main\n", {"pack", "cli"}),
        ("import flipkit\n", {"__init__"}),
        ("import flipkit as fk\n", {"__init__"}),
        ("from flipkit import what_if\n", {"__init__"}),
        ("from flipkit import errors, open_study\n", {"errors", "__init__"}),
        ("def f():\n    import flipkit.errors\n    return flipkit.open_study\n", {"errors", "__init__"}),
        ("import importlib\nimportlib.import_module('flipkit.pack.page')\n", {"pack"}),
        ("from importlib import import_module\nimport_module('flipkit')\n", {"__init__"}),
        ("import numpy\nfrom pathlib import Path\nfrom flipkit.errors import FlipkitError\n", {"errors"}),
    ],
)
def test_the_check_sees_an_upward_import_in_every_spelling(tmp_path, code, seen):
    module = tmp_path / "money.py"
    module.write_text(code)
    assert imported(module) == seen
    upward = seen - {"errors"}
    assert all(LEVEL[name] > LEVEL["money"] for name in upward)


@pytest.mark.parametrize("line", ["import flipkit", "from flipkit import what_if", "import flipkit.pack.page"])
def test_a_low_module_with_an_upward_import_fails(tmp_path, monkeypatch, line):
    """The very check above, on a copy of a real module with one line more."""
    monkeypatch.setattr(f"{__name__}.ROOT", tmp_path)
    module = tmp_path / "money.py"
    module.write_text(
        next(path for path in MODULES if path.name == "money.py").read_text(encoding="utf-8"), encoding="utf-8"
    )
    test_imports_point_downward(module)
    module.write_text(f"{module.read_text(encoding='utf-8')}\n{line}\n", encoding="utf-8")
    with pytest.raises(AssertionError, match="which lie above it"):
        test_imports_point_downward(module)
