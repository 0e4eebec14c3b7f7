"""The long form of the test of malformed exports: ``python -m tests.benchmarks.bench_malformed [FILES OF EACH KIND]``."""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from tests.helpers import malformed_exports
from tests.imports.test_malformed_exports import test_malformed_files_end_in_rows_or_in_words as check


def main(each: int = 140) -> None:
    for kind in malformed_exports.KINDS:
        begun = time.process_time()
        with tempfile.TemporaryDirectory() as folder:
            check(kind, Path(folder), each=each)
        print(f"{kind}: {each} files, each ended in rows or in words; {time.process_time() - begun:.0f} s of processor")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
