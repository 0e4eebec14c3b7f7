"""Write the demo shop's books: ``python -m flipkit.simulation FOLDER [RULES]``."""

from __future__ import annotations

import sys
from pathlib import Path

from flipkit.rules.tables import load_rules
from flipkit.simulation.books import write_books
from flipkit.simulation.demo import demo_tables


def main(arguments: list[str]) -> int:
    """Write the books into the folder named, by the rule tables in its own ``rules`` or in RULES."""
    if len(arguments) not in (1, 2):
        sys.stderr.write("usage: python -m flipkit.simulation FOLDER [RULES]\n")
        return 2
    folder = Path(arguments[0])
    rules = load_rules(Path(arguments[1]) if arguments[1:] else folder / "rules")
    for path in write_books(demo_tables(rules), folder):
        sys.stdout.write(f"{path}\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
