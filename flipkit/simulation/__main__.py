"""Write the demo shop's books: ``python -m flipkit.simulation FOLDER``."""

from __future__ import annotations

import sys
from pathlib import Path

from flipkit.simulation.books import write_books
from flipkit.simulation.demo import demo_tables


def main(arguments: list[str]) -> int:
    """Write the books into the folder named.

    Parameters
    ----------
    arguments : list of str
        One folder.

    Returns
    -------
    int
        Exit status.
    """
    if len(arguments) != 1:
        sys.stderr.write("usage: python -m flipkit.simulation FOLDER\n")
        return 2
    for path in write_books(demo_tables(), Path(arguments[0])):
        sys.stdout.write(f"{path}\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
