"""Aggregated frames in, drawings out: one theme, one renderer, a reading in words for each."""

from __future__ import annotations

from flipkit.workarounds import skip_address_grammar

# Before any module here opens altair, nbformat or papermill, all of which open jsonschema.
skip_address_grammar()
