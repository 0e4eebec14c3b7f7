"""Hostile texts and files, the same for the same seed, and every reader of the kit that meets a stranger's bytes."""

from __future__ import annotations

import random
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from flipkit.assumptions import load_assumptions
from flipkit.books import schema
from flipkit.books.cells import Units, reader_of
from flipkit.books.read import inspect_books
from flipkit.books.write import csv_text, escape_formula, unescape_formula
from flipkit.errors import FlipkitError
from flipkit.imports.detect import propose
from flipkit.imports.mapping import read_mapping
from flipkit.money import read_cents, read_ppm
from flipkit.pack.build import read_run
from flipkit.rules.tables import load_rules
from flipkit.units import read_length, read_minutes, read_weight

#: Pieces that have broken a reader somewhere, and those that sane cells are made of.
PIECES = (
    *("1", "12", "0", "-3", "9" * 12, "1e9", "1e999999999", "1e-999999999", ".", ",", "..", "-", "--", "+", "−", "/"),
    *("in", "ft", "cm", "lb", "oz", "kg", "min", "h", "%", "percent", "$", "€", "USD", "CAD", "'", '"', "″", "#"),
    *("(", ")", "[", "]", "{", "}", "((", "**", "^", "*", "%s", "{0}", "\\", "`", "|", ";", "\t", "\n", "\r", "=", "@"),
    *("2026-03-07", "2026-13-40", "03/07/2026", "46088", "nan", "inf", "-inf", "None", "NaN", "true", "1/0", "1/2"),
    *("<script>", "</script>", "=1+1", "\x1b[2J", "\u202e", "\u200b", "\ufeff", "\x00", "\ud800", "٣", "½", "é", "ß"),
    *(" ", "  ", "\u00a0", "\u3000", "approx", "small", "bulky", "sold", "lamp", "a" * 300, "(" * 50, "\U0001f9f8"),
)
TABLES = ("items", "work", "lots", "trips", "comparables", "price_changes", "overheads", "supplies", "people")


def text(rng: random.Random) -> str:
    """A short text out of pieces and characters of any kind."""
    parts = [rng.choice(PIECES) for _ in range(rng.randint(0, 5))]
    if rng.random() < 0.2:
        parts.insert(rng.randint(0, len(parts)), chr(rng.choice((rng.randint(0, 255), rng.randint(0, 0x10FFFF)))))
    return "".join(parts)


def cell_readers() -> list[Callable[[str], Any]]:
    """Everything that reads one cell."""
    units = Units()
    of_columns = {
        (column.kind, column.name): reader_of(column, unit=column.unit, units=units)
        for table in schema.TABLES
        for column in table.columns
    }
    by_hand = [read_cents, read_ppm, read_length, read_weight, read_minutes, escape_formula]
    return [*by_hand, *of_columns.values(), lambda cell: load_assumptions(overrides={"report.confidence": cell})]


def _table(rng: random.Random) -> str:
    table = schema.BY_NAME[rng.choice(TABLES)]
    names = [column.name for column in table.columns]
    rows = [[column.example for column in table.columns] for _ in range(rng.randint(0, 6))]
    for _ in range(rng.randint(0, 5)):
        if rows:
            rows[rng.randrange(len(rows))][rng.randrange(len(names))] = text(rng)
    body = csv_text(names, rows)
    return _mutated(body, rng) if rng.random() < 0.5 else body


def _mutated(body: str, rng: random.Random) -> str:
    for _ in range(rng.randint(1, 4)):
        at, until = sorted((rng.randint(0, len(body)), rng.randint(0, len(body))))
        body = rng.choice((body[:at] + text(rng) + body[at:], body[:at] + body[until:], body[:until] + body[at:]))[
            :20_000
        ]
    return body


def _toml(rng: random.Random) -> str:
    head = rng.choice(('kind = "fees"\nname = "x"\n[[block]]\nfrom = 2026-01-01\n', "[report]\n", "[columns]\n", ""))
    lines = [f"{rng.choice(('resamples', 'confidence', 'source', 'item_id', 'table', 'a'))} = " for _ in range(4)]
    values = ('"x"', "1", "1e999", "[]", "{}", "[" * 2_000, "nan", "2026-01-01", "true", '{ from = "x" }')
    return _mutated(head + "\n".join(line + rng.choice(values) for line in lines), rng)


def _json(rng: random.Random) -> str:
    body = '{"month":"2026-09","as_of":"2026-10-28","inputs":{},"options":{"categories":[],"settings":"a=1"}}'
    return rng.choice((_mutated(body, rng), body.replace('"a=1"', rng.choice(("[]", "1", "null", "{}")))))


def _bytes(body: str, rng: random.Random) -> bytes:
    found = body.encode(rng.choice(("utf-8", "utf-8", "utf-8", "utf-16", "cp1252", "utf-8-sig")), "replace")
    if rng.random() < 0.1:
        found = bytes(rng.randrange(256) for _ in range(rng.randint(0, 300)))
    return found


def file_readers(place: Path) -> list[tuple[Callable[[random.Random], None], float]]:
    """Everything that reads a file, each with its share of the files."""
    books, rules = place / "books", place / "books" / "rules" / "fees"
    rules.mkdir(parents=True)

    def read_table(rng: random.Random) -> None:
        for old in books.glob("*.csv"):
            old.unlink()
        (books / "items.csv").write_bytes(_bytes(_table(rng), rng))
        (books / f"{rng.choice(TABLES)}.csv").write_bytes(_bytes(_table(rng), rng))
        inspect_books(books)

    def read_export(rng: random.Random) -> None:
        file = place / f"export.{rng.choice(('csv', 'tsv', 'txt', 'xlsx'))}"
        file.write_bytes(_bytes(_table(rng), rng))
        propose(file)
        file.unlink()

    def of(name: str, made: Callable[[random.Random], str], read: Callable[[Path], Any]) -> Callable[..., None]:
        def one(rng: random.Random) -> None:
            (place / name).write_bytes(_bytes(made(rng), rng))
            read(place / name)

        return one

    return [
        (read_table, 0.3),
        (read_export, 0.1),
        (of("assumptions.toml", _toml, load_assumptions), 0.2),
        (of("mapping.toml", _toml, read_mapping), 0.15),
        (of("run.json", _json, read_run), 0.15),
        (of("books/rules/fees/x.toml", _toml, lambda _: load_rules(books / "rules")), 0.1),
    ]


def failures(count: int, place: Path, *, seed: int, files: float = 0.02) -> Iterator[str]:
    """What readers did other than to take a text or to refuse it in words, over many inputs."""
    rng = random.Random(seed)  # noqa: S311
    cells, readers = cell_readers(), file_readers(place)
    shares = [share for _, share in readers]
    warnings.simplefilter("error")
    for number in range(count):
        if rng.random() < files:
            read = rng.choices(readers, shares)[0][0]
            given: Any = random.Random(seed * 10_000_019 + number)  # noqa: S311
        else:
            read, given = rng.choice(cells), text(rng)
        try:
            found = read(given)
            if read is escape_formula and ((found[:1] in "=+-@" and found[:1]) or unescape_formula(found) != given):
                plain = found[1:].replace(".", "", 1).isdigit() or unescape_formula(given) != given
                if not plain:
                    yield f"input {number}: {given!r} shielded as {found!r}"
        except FlipkitError:
            continue
        except Exception as error:
            name = getattr(read, "__qualname__", repr(read))
            yield f"input {number}, {name}: {given!r}: {type(error).__name__}: {str(error)[:200]}"
