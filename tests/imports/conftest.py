"""The small books and exports that the tests of the books use, for those of the import door as well."""

from tests.books.conftest import book, examples, export, folder, shop  # noqa: F401
