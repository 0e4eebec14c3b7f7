"""The long form of the test of malformed exports: ``python -m tests.benchmarks.bench_malformed [FILES A KIND]``."""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from tests.helpers import malformed_exports
from tests.imports.test_malformed_exports import require_rows_or_words


def main(each: int = 140) -> None:
    for kind in malformed_exports.KINDS:
        begun = time.process_time()
        with tempfile.TemporaryDirectory() as folder:
            require_rows_or_words(kind, Path(folder), each=each)
        spent = time.process_time() - begun
        print(f"{kind}: {each} files, each ended in rows or in words; {spent:.0f} s of processor")  # noqa: T201


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
