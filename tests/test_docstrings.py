"""Every name of the public face says what it is, with the parameters that it has, no more and no fewer."""

from __future__ import annotations

import inspect
import re

import pytest

import flipkit


def documented(text: str) -> list[str]:
    """Names under 'Parameters' in a numpydoc text."""
    match = re.search(r"^Parameters\n-+\n(.*?)(?=^\w[\w ]*\n-+\n|\Z)", text, flags=re.M | re.S)
    names = re.findall(r"^(\*{0,2}\w+(?:, \*{0,2}\w+)*) ?:", match.group(1), flags=re.M) if match else []
    return [name.lstrip("*") for line in names for name in line.split(", ")]


def faults(thing) -> list[str]:
    """What is wrong with the docstring of one name; a class that lists no parameters may be a plain record."""
    own = vars(thing).get("__doc__") if inspect.isclass(thing) else inspect.getdoc(thing)
    if not own or not own.strip():
        return ["no docstring"]
    said = documented(inspect.cleandoc(own))
    if not callable(thing) or (inspect.isclass(thing) and not said):
        return []
    needed = list(inspect.signature(thing).parameters)
    return [] if sorted(said) == sorted(needed) else [f"documented {said}, needed {needed}"]


@pytest.mark.parametrize("name", flipkit.__all__)
def test_a_docstring_stands_and_names_what_the_signature_has(name):
    assert faults(getattr(flipkit, name)) == []


def test_the_check_sees_each_fault():
    def bare(a):
        pass

    def short(a, b):
        """One line.

        Parameters
        ----------
        a : int
            One.

        Returns
        -------
        int
        """

    class Silent(flipkit.FlipkitError):
        pass

    assert faults(bare) == faults(Silent) == ["no docstring"]
    assert faults(short) == ["documented ['a'], needed ['a', 'b']"]
    assert documented("One.\n\nParameters\n----------\na, *b : int\n    Two.\n\nReturns\n-------\nint\n") == ["a", "b"]
