"""Exports of other programs: opened, surveyed, understood, and turned into rows of the books."""
