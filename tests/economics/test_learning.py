"""Learning curves against the textbooks' tables."""

from __future__ import annotations
