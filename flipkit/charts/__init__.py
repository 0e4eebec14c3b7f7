"""Aggregated frames in, drawings out: one theme, one renderer, a reading in words for each."""
