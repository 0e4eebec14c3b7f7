"""Shops with known truth: drawn item by item, written as books, and measured against the truth."""

from __future__ import annotations

from flipkit.simulation.histories import Histories, histories
from flipkit.simulation.kinds import Kind, PlainCharges, Shop

__all__ = ["Histories", "Kind", "PlainCharges", "Shop", "histories"]
