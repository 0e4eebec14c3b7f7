"""The month's pack: notebooks run, pages written, one folder made whole."""
