"""Doors of other packages that are not public, each with its reason; a test fails when one changes."""

from __future__ import annotations

import sys


def skip_address_grammar() -> None:
    """Let jsonschema start without the grammar for internationalised addresses, which takes 2 to 3 seconds.

    JupyterLab brings ``rfc3987_syntax``, and jsonschema imports it where it finds it; nothing of ours holds
    such an address. Marked as absent while jsonschema is imported, and no longer.
    """
    if "rfc3987_syntax" in sys.modules or "jsonschema" in sys.modules:
        return
    sys.modules["rfc3987_syntax"] = None  # type: ignore[assignment]  # None marks an import as absent
    try:
        import jsonschema  # noqa: F401
    finally:
        del sys.modules["rfc3987_syntax"]
