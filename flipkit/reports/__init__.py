"""Numbers to pages: notebooks run with parameters, pages without code, a pack with its manifest."""
