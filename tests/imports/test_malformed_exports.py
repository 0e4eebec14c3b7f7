"""Malformed exports: each ends in rows that add up or in a located message, never in a half-written folder."""

from __future__ import annotations

import csv
import time

import pytest

from flipkit.books.read import inspect_books
from flipkit.errors import ConversionError
from flipkit.imports.apply import apply
from flipkit.imports.detect import propose
from tests.helpers import malformed_exports

#: 15 kinds of damage, 8 files of each; `bench_malformed` tries 140 of each.
EACH = 8
#: Answers to everything that a script would have to say beforehand.
SAID = {
    "table": "items",
    "dates": "day-month-year",
    "decimal": "point",
    "duplicates": "separate",
    "totals": "leave-out",
    "cost-is": "row",
    "price-is": "row",
    "shipping-is": "line",
    "unmatched": "refuse",
    "header-row": "1",
}
FIXED = {"fixed category": "x", "fixed bought_on": "2026-01-01", "fixed cost": "1"}


def tried(path, into, *, unsaid=True):
    """Convert with what a script can say; the words of the refusal, or the conversion."""
    words = []
    ways = [{k: v for k, v in SAID.items() if k != "header-row"}, {**SAID, **FIXED, "fixed title": "t"}]
    for said in [{}, *ways] if unsaid else ways:
        try:
            proposal = propose(path, answers=said)
            if proposal.questions:
                words.append([str(question) for question in proposal.questions])
                continue
            return apply(proposal, into), words
        except ConversionError as error:
            words.append([str(problem) for problem in error.problems] + [str(q) for q in error.questions])
    return None, words


@pytest.mark.parametrize("kind", malformed_exports.KINDS)
def test_malformed_files_end_in_rows_or_in_words(kind, tmp_path):
    require_rows_or_words(kind, tmp_path, each=EACH)


def require_rows_or_words(kind, tmp_path, *, each):
    """Convert ``each`` seeded files of one kind of damage; what converts adds up, what does not says why."""
    slowest = 0.0
    converted = 0
    for seed in range(each):
        home = tmp_path / str(seed)
        home.mkdir()
        path = home / "export.csv"
        body = malformed_exports.malformed(kind, seed)
        path.write_bytes(body)
        begun = time.process_time()
        done, words = tried(path, home / "books", unsaid=seed % 5 == 0)
        slowest = max(slowest, time.process_time() - begun)
        assert path.read_bytes() == body
        if done is None:
            assert sorted(p.name for p in home.iterdir()) == ["export.csv"], (kind, seed)
            assert words
            for told in words:
                assert told, (kind, seed)
                for line in told:
                    assert "--" in line or "export.csv" in line or "answers" in line, (kind, seed, line)
                    assert len(line) < 3_000
        else:
            converted += 1
            assert done.rows_in == done.taken + len(done.refused), (kind, seed)
            assert all(left.reason and left.row > 0 for left in done.refused)
            assert len({left.row for left in done.refused}) == len(done.refused)
            books, problems = inspect_books(home / "books")
            assert books is not None, (kind, seed, [str(p) for p in problems][:3])
            assert len(books.items) == done.added
            with (home / "books" / "items.csv").open(encoding="utf-8", newline="") as handle:
                assert sum(1 for _ in csv.reader(handle)) == done.added + 1
            assert not [p for p in home.iterdir() if p.name.startswith(".flipkit")]
    assert slowest < 10, f"the slowest file took {slowest:.1f} s of processor time"
    if kind in ("values", "line_ends", "ragged", "quotes", "spoilt_bytes"):
        assert converted > 0, "the generator makes nothing that can be converted: the test would prove little"


def test_a_cell_of_fifty_million_letters(tmp_path):
    path = tmp_path / "export.csv"
    path.write_bytes(
        b'Item,Category,Bought,Cost\nlamp,x,2026-03-01,5\n"'
        + b"x" * 50_000_000
        + b'",x,2026-03-01,6\nvase,x,2026-03-01,7\n'
    )
    begun = time.process_time()
    done, _ = tried(path, tmp_path / "books")
    assert time.process_time() - begun < 10
    assert (done.taken, [(left.row, left.reason) for left in done.refused]) == (
        2,
        [(3, "a cell of more than 100,000 characters")],
    )


def test_ten_thousand_columns(tmp_path):
    path = tmp_path / "export.csv"
    path.write_bytes(b",".join(b"c%d" % n for n in range(10_000)) + b"\n" + b",".join([b"1"] * 10_000) + b"\n")
    _, words = tried(path, tmp_path / "books")
    assert words[0] == [
        "export.csv row 1: 10,000 cells. It needs at most 1,000 columns: is this one table, with that delimiter? "
        "name it with --delimiter"
    ]
