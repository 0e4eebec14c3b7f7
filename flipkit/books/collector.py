"""The garbage collector held while many rows are made: none of them is garbage yet."""

from __future__ import annotations

import contextlib
import gc
from collections.abc import Iterator


@contextlib.contextmanager
def collector_held() -> Iterator[None]:
    """Hold the cyclic collector inside a block; it would walk over every row again and again.

    Yields
    ------
    None
        The block runs with the collector held, which is released again even after an error.
    """
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()
