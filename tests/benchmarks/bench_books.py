"""How long a million rows take to convert and check, and the check of a shop of ten thousand items.

Run it by hand, on one core: ``taskset -c 0 python -m tests.benchmarks.bench_books [rows]``. The
export is a semicolon list of twelve columns with decimal commas, thousands marks, euro signs and
day-first dates, as a European spreadsheet writes it. Times are of the processor, imports aside;
the memory is the largest that the process ever held.
"""

from __future__ import annotations

import csv
import random
import resource
import sys
import tempfile
import time
from pathlib import Path

KINDS = ("stoneware", "lamps", "cameras", "board games", "hand tools", "blankets")
WORDS = [
    "old",
    "blue",
    "green",
    "brass",
    "oak",
    "large",
    "small",
    "painted",
    "signed",
    "pair",
    "crock",
    "lamp",
    "vase",
    "box",
]
HEADER = "SKU;Item;Type;Purchase Date;Cost;Listed;List Price;Sold;Sold For;Shipping Charged;Fees;Platform"


def euros(amount: float) -> str:
    """An amount as a European spreadsheet shows it."""
    return f"{amount:,.2f}".translate(str.maketrans(",.", ".,")) + " €"


def write_export(path: Path, rows: int, seed: int = 7) -> None:
    """An export of stock and sales, the same for the same seed."""
    draw = random.Random(seed)  # noqa: S311 - an export, not a secret

    def day(first: int, last: int) -> str:
        return f"{draw.randint(1, 28):02}.{draw.randint(first, last):02}.2025"

    with path.open("w", encoding="cp1252", newline="") as handle:
        writer = csv.writer(handle, delimiter=";")
        writer.writerow(HEADER.split(";"))
        for n in range(rows):
            title = " ".join(draw.choices(WORDS, k=4)) + (", café" if n % 1000 == 0 else "")
            bought = [f"S{n:07}", title, draw.choice(KINDS), day(1, 5), euros(draw.random() * 1500)]
            listed = [day(6, 8), euros(draw.random() * 3000)]
            sold = ["", "", "", ""]
            if draw.random() < 0.6:
                sold = [day(9, 12), *(euros(draw.random() * most) for most in (3000, 30, 100))]
            writer.writerow([*bought, *listed, *sold, "riverside"])


def main() -> None:
    """Print one line a measure."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    import babel.numbers  # noqa: F401
    import charset_normalizer  # noqa: F401
    import clevercsv  # noqa: F401
    import pandas as pd  # noqa: F401

    from flipkit.books.read import inspect_books
    from flipkit.imports.apply import apply
    from flipkit.imports.detect import propose

    with tempfile.TemporaryDirectory() as place:
        home = Path(place)
        for count in (10_000, rows):
            path = home / f"export-{count}.csv"
            write_export(path, count)
            begun = time.process_time()
            proposal = propose(path)
            proposed = time.process_time()
            done = apply(proposal, home / f"books-{count}")
            applied = time.process_time()
            assert (done.rows_in, done.taken) == (count, count)
            books, problems = inspect_books(home / f"books-{count}")
            checked = time.process_time()
            assert books is not None
            assert not problems, problems[:3]
            largest = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            print(  # noqa: T201
                f"{count:>9,} rows: proposed {proposed - begun:.2f} s, applied and checked {applied - proposed:.2f} s, "
                f"together {applied - begun:.2f} s; checked again from the files {checked - applied:.2f} s; "
                f"{largest:,.0f} MB"
            )


if __name__ == "__main__":
    main()
