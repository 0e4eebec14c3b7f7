"""``python -m flipkit``, where the ``flipkit`` command is not on the path."""

from flipkit.cli.main import main

if __name__ == "__main__":
    main()
