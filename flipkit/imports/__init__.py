"""A stranger's export, read, asked about and merged into the books."""
