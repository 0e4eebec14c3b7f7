"""Start jsonschema without its slowest part; imported before altair, nbformat, papermill and nbconvert.

JupyterLab brings the package ``rfc3987_syntax``, and jsonschema imports it where it finds it. That
import builds a grammar for internationalised addresses, which takes 2 to 3 seconds in every process
that so much as opens a notebook. Nothing of ours holds such an address to be checked, and jsonschema
is made to work without the package, so the import is told beforehand that it is not there.

pytest takes this module with ``-p flipkit.charts.quick_start``, before any plugin opens jsonschema.
"""

from __future__ import annotations

import sys

sys.modules.setdefault("rfc3987_syntax", None)  # type: ignore[arg-type]  # None marks an import as absent
