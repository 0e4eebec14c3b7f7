"""Random shops through the study and all pages: ``python -m tests.benchmarks.bench_whole_shops``."""

from __future__ import annotations

import argparse
import tempfile
import time
from collections import Counter
from pathlib import Path

from flipkit.errors import FlipkitError
from flipkit.reports.study import open_study
from tests.helpers.pages_in_process import pages_shown
from tests.helpers.random_books import SIZES_OF_MANY, write_random_books
from tests.reports.test_whole_shops import require_exact_sums, require_one_voice


def main() -> None:
    """Take shops one by one and count what held."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shops", type=int, default=200)
    parser.add_argument("--first", type=int, default=1_000, help="the first shop's number")
    parser.add_argument("--study-alone", action="store_true", help="the study's sums without the pages")
    options = parser.parse_args()
    counts: Counter[str] = Counter()
    start = time.perf_counter()
    for seed in range(options.first, options.first + options.shops):
        with tempfile.TemporaryDirectory() as folder:
            books = write_random_books(Path(folder) / "books", seed, sizes=SIZES_OF_MANY)
            try:
                if options.study_alone:
                    require_exact_sums(open_study(books))
                else:
                    study, shown = pages_shown(books)
                    require_exact_sums(study)
                    require_one_voice(shown)
                    counts["figures"] += sum(len(one.figures) for page in shown.values() for one in page)
                    counts["elements"] += sum(len(page) for page in shown.values())
                counts["held"] += 1
            except FlipkitError as refused:
                counts[f"refused: {refused}"[:100]] += 1
            except Exception as problem:
                print(f"shop {seed}: {type(problem).__name__}: {str(problem)[:300]}")  # noqa: T201
                counts["not held"] += 1
    print(f"{options.shops} shops in {time.perf_counter() - start:,.0f} s")  # noqa: T201
    for what, number in counts.most_common():
        print(f"{number:8,}  {what}")  # noqa: T201


if __name__ == "__main__":
    main()
