"""The small notebooks that the tests of the pages use, for those of faults as well."""

from tests.reports.conftest import small_notebook, write_notebook  # noqa: F401
