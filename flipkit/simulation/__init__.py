"""Shops with known truth: drawn item by item, written as books, and measured against the truth."""
