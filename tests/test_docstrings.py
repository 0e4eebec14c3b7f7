"""Public functions document the parameters that they have, no more and no fewer."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re

import pytest

import flipkit


def public_functions():
    for module_info in pkgutil.walk_packages(flipkit.__path__, "flipkit."):
        if any(part.startswith("_") for part in module_info.name.split(".")):
            continue
        module = importlib.import_module(module_info.name)
        for name, thing in vars(module).items():
            if inspect.isfunction(thing) and not name.startswith("_") and thing.__module__ == module.__name__:
                yield pytest.param(thing, id=f"{module.__name__}.{name}")


def documented(text: str) -> set[str]:
    """Names under 'Parameters' in a numpydoc text."""
    match = re.search(r"^Parameters\n-+\n(.*?)(?=^\w[\w ]*\n-+\n|\Z)", text, flags=re.M | re.S)
    names = re.findall(r"^(\*{0,2}\w+(?:, \*{0,2}\w+)*) ?:", match.group(1), flags=re.M) if match else []
    return {name.lstrip("*") for line in names for name in line.split(", ")}


@pytest.mark.parametrize("function", list(public_functions()))
def test_docstring_names_match_the_signature(function):
    text = inspect.getdoc(function)
    assert text, "no docstring"
    expected = {name for name in inspect.signature(function).parameters if name not in ("self", "cls")}
    assert documented(text) == expected


def test_the_check_sees_a_missing_name():
    assert documented("One line.\n\nParameters\n----------\na, b : int\n    Two.\n\nReturns\n-------\nint\n") == {
        "a",
        "b",
    }
