"""The long forms of tests, which are asked for: ``FLIPKIT_EVERYTHING=1 pytest``."""

from __future__ import annotations

import os

import pytest

EVERYTHING = bool(os.environ.get("FLIPKIT_EVERYTHING"))
every = pytest.mark.skipif(not EVERYTHING, reason="asked for with FLIPKIT_EVERYTHING=1")
