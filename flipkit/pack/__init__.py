"""The month's pack: notebooks run, pages written, one folder made whole."""

from __future__ import annotations

from flipkit.workarounds import skip_address_grammar

# Before any module here opens altair, nbformat or papermill, all of which open jsonschema.
skip_address_grammar()
