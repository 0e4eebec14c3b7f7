"""flipkit: which kinds of second-hand items really pay per hour of work.

The names that a notebook uses, as ``__init__.pyi`` lists them. Each is imported when it is first
asked for, so that a command which needs one of them does not wait for the rest.
"""

from __future__ import annotations

from typing import Any

import lazy_loader

_found, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"flipkit has no {name!r}; it has {', '.join(__all__)}")
    return _found(name)
