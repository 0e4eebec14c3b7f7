"""The ``flipkit`` command: read what was asked, call one function, print what it says."""
