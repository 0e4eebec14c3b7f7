"""Encoding, separators and quotes of a stranger's export."""

from __future__ import annotations

import codecs
import csv
import re
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any

from flipkit.books.problems import Problem
from flipkit.errors import ConversionError

# The encoding of an export: what its bytes are, how sure that is, and what a wrong guess would show.

#: Encodings that programs write tables in, the likelier first where bytes cannot tell.
LIKELY = (
    "cp1252", "mac_roman", "cp1250", "iso8859_2", "cp1251", "shift_jis", "euc_jp", "gb18030", "big5", "euc_kr",
    "koi8_r", "cp850", "cp437",
)  # fmt: skip
#: How much messier than the best reading another may be and still be thought of: this, or a part
#: of a letter where there are few.
_CLOSE = 0.005
#: Bytes of lines with other than plain letters that are looked at.
_DECODED = 20_000
_CHUNK = 1 << 20

_MARKS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))


@dataclass(frozen=True, slots=True)
class Encoding:
    """How the bytes of an export become text."""

    name: str
    certain: bool
    why: str


def refusal(file: str, row: int | None, found: str, needed: str, mend: str) -> ConversionError:
    """The error that says why an export cannot be taken at all."""
    return ConversionError([Problem(file, row, "", found, needed, mend)])


class BytesError(ValueError):
    """Bytes that are no text: the row (counted in line ends) and what was found."""

    def __init__(self, row: int, found: str) -> None:
        super().__init__(found)
        self.row = row
        self.found = found


def encoding_of(path: Path, *, given: str = "") -> Encoding:
    """The encoding of a file of text."""
    if given:
        try:
            name = codecs.lookup(given).name
        except LookupError:
            raise BytesError(1, f"no encoding is called {given!r}") from None
        _require_text(path, name)
        return Encoding(name, True, "as you said")
    with path.open("rb") as handle:
        head = handle.read(4096)
    marked = next((name for mark, name in _MARKS if head.startswith(mark)), "")
    if name := marked or _wide(head):
        _require_text(path, name)
        why = "the mark at its beginning says so" if marked else "every second byte of its letters is zero"
        return Encoding(name, True, why)
    try:
        plain = _require_text(path, "utf-8")
        return Encoding("utf-8", True, "plain letters alone" if plain else "every byte fits")
    except BytesError as error:
        if "NUL" in error.found:
            raise
    return _guessed(path)


def _wide(head: bytes) -> str:
    """UTF-16 without its mark: zeros on one side of nearly every pair of bytes."""
    even, odd = head[0::2], head[1::2]
    if len(head) >= 8 and even and odd:
        if odd.count(0) > 0.8 * len(odd) and even.count(0) < 0.1 * len(even):
            return "utf-16-le"
        if even.count(0) > 0.8 * len(even) and odd.count(0) < 0.1 * len(odd):
            return "utf-16-be"
    return ""


def _require_text(path: Path, name: str) -> bool:
    """Decode the whole file once; True when it holds nothing but plain letters."""
    decoder = codecs.getincrementaldecoder(name)()
    plain = True
    line = 1
    with path.open("rb") as handle:
        while True:
            chunk = handle.read(_CHUNK)
            try:
                text = decoder.decode(chunk, final=not chunk)
            except UnicodeDecodeError as error:
                line += error.object[: error.start].count(b"\n")
                byte = error.object[error.start]
                raise BytesError(line, f"a byte {byte:#04x} that is no {name}") from None
            if "\0" in text:
                line += text[: text.index("\0")].count("\n")
                raise BytesError(line, "a NUL byte, so it is no text or it is damaged")
            plain = plain and text.isascii()
            line += text.count("\n")
            if not chunk:
                return plain


def _guessed(path: Path) -> Encoding:
    import charset_normalizer

    lines: list[bytes] = []
    size = 0
    with path.open("rb") as handle:
        while size < _DECODED:
            line = handle.readline(_DECODED)
            if not line:
                break
            if not line.isascii():
                lines.append(line)
                size += len(line)
    sample = b"".join(lines)
    if b"\0" in sample:
        raise BytesError(1, "a NUL byte, so it is no text or it is damaged")
    found = charset_normalizer.from_bytes(
        sample, cp_isolation=list(LIKELY), steps=1, chunk_size=len(sample) + 1, threshold=0.6, language_threshold=0.0
    )
    messy = {name: match.chaos for match in found for name in match.could_be_from_charset if name in LIKELY}
    best = min(messy.values(), default=0.0)
    slack = max(_CLOSE, 0.5 / max(sum(byte > 127 for byte in sample), 1) ** 2)
    close = [name for name in LIKELY if messy.get(name, 9.0) <= best + slack]
    for name in [*close, *(name for name in LIKELY if name in messy and name not in close), "cp1252", "latin-1"]:
        try:
            _require_text(path, name)
        except BytesError:
            continue
        why = f"it reads {_word(sample.decode(name, 'replace'))}"
        for other in close:
            words = _differing(sample, name, other)
            if words is not None:
                why = f"it reads {words[0]}, where {other} would read {words[1]}"
                break
        return Encoding(name, False, why)
    raise BytesError(1, "bytes that are no text in any encoding that tables come in")  # pragma: no cover


def _words(text: str) -> list[str]:
    return re.findall(r'[^,;"|\s]+', text)


def _word(text: str) -> str:
    """A word with an unplain letter."""
    return next((f"'{word[:24]}'" for word in _words(text) if not word.isascii()), "plain letters")


def _differing(sample: bytes, one: str, other: str) -> tuple[str, str] | None:
    """A word that two encodings read differently."""
    pairs = zip(_words(sample.decode(one, "replace")), _words(sample.decode(other, "replace")), strict=False)
    return next(((f"'{a[:24]}'", f"'{b[:24]}'") for a, b in pairs if a != b), None)


# How the cells of an export are separated and quoted, and its records one by one.
#
# A record whose quotes do not match is handed out as it stands and the reading goes on with the next line, so that
# one bad line never swallows its neighbours.

#: Marks that programs put between cells, by their words in options and mappings.
DELIMITER_WORDS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|", "caret": "^", "tilde": "~", "colon": ":"}
#: A first line by which some spreadsheets tell the delimiter.
_TOLD = re.compile(r'\ufeff?"?sep=(.)"?[\r\n]', re.IGNORECASE)
#: Characters looked at to find the delimiter; more makes the search slow and no surer.
_LOOKED_AT = 8_000
#: Longest cell and longest record that a table may hold.
LONGEST_CELL = 100_000
LONGEST_RECORD_LINES = 200
#: Records with unmatched quotes after which the quotes are plainly not what they seem.
MOST_BROKEN = 50


@dataclass(frozen=True, slots=True)
class Dialect:
    """How cells are separated and quoted."""

    delimiter: str
    quote: str = '"'
    escape: str = ""

    @property
    def word(self) -> str:
        """The delimiter in words."""
        return next((word for word, mark in DELIMITER_WORDS.items() if mark == self.delimiter), repr(self.delimiter))


@dataclass(frozen=True, slots=True)
class Record:
    """One record of an export."""

    row: int
    cells: list[str]
    broken: str = ""


@dataclass(slots=True)
class Block:
    """Records of an export that follow each other."""

    first: int
    rows: list[list[str]]
    broken: dict[int, str] = field(default_factory=dict)


def dialect_of(path: Path, encoding: Encoding) -> Dialect:
    """The dialect of a file of text."""
    with path.open(encoding=encoding.name, newline="") as handle:
        sample = handle.read(_LOOKED_AT)
        whole = not handle.read(1)
    told = _TOLD.match(sample)
    if told is not None:
        return Dialect(told.group(1))
    lines = sample.splitlines(keepends=True)
    if not whole and len(lines) > 1:
        lines = lines[:-1]
    lines = [line for line in lines if line.strip() and not line.startswith("#")]
    return _detected("".join(lines))


def _detected(sample: str) -> Dialect:
    # Where one mark alone cuts all lines into equally many cells, there is nothing to weigh.
    even = [
        mark
        for mark in DELIMITER_WORDS.values()
        if len({line.count(mark) for line in sample.splitlines()}) == 1 and mark in sample
    ]
    if len(even) == 1 and not any(character in sample for character in "'\"\\"):
        return Dialect(even[0])
    import clevercsv

    try:
        found = clevercsv.Detector().detect(sample, delimiters=list(DELIMITER_WORDS.values()))
    except (clevercsv.Error, ValueError):
        found = None
    if found is None or not found.delimiter:
        return Dialect(",")
    # A quote that is no double one, or an escape, is believed only where it is seen at work.
    quote = found.quotechar if found.quotechar == "'" and f"{found.delimiter}'" in sample else '"'
    escape = found.escapechar if found.escapechar and f"{found.escapechar}{quote}" in sample else ""
    return Dialect(found.delimiter, quote, escape)


def blocks_of(path: Path, encoding: Encoding, dialect: Dialect, *, size: int) -> Iterator[Block]:
    """The records of a file of text, block by block.

    Records are read at full speed until one does not match its quotes; from there on each is
    read with care.
    """
    limit = csv.field_size_limit(LONGEST_CELL)
    first = 1
    try:
        with path.open(encoding=encoding.name, newline="") as handle:
            reader = _reader(handle, dialect)
            while True:
                rows: list[list[str]] = []
                failed = False
                try:
                    rows.extend(islice(reader, size))
                except csv.Error:
                    failed = True
                if rows:
                    yield Block(first, trimmed(rows))
                    first += len(rows)
                if failed:
                    yield from _careful(path, encoding, dialect, skip=first - 1, size=size)
                    return
                if not rows:
                    return
    finally:
        csv.field_size_limit(limit)


#: Spaces other than the common one, which are rare enough to be looked for in all cells at once.
_RARE_SPACES = ("\t", "\x0b", "\x0c", "\u00a0", "\u1680", "\u2002", "\u2003", "\u2009", "\u202f", "\u3000", "\r")


def trimmed(rows: list[list[str]]) -> list[list[str]]:
    """Rows with the spaces around their cells taken away."""
    text = "\x1f".join(map("\x1f".join, rows))
    if "\x1f " in text or " \x1f" in text or text[:1] == " " or text[-1:] == " ":
        return [[cell.strip() for cell in row] for row in rows]
    if "\n" in text or any(space in text for space in _RARE_SPACES):
        return [[cell.strip() for cell in row] for row in rows]
    return rows


def _careful(path: Path, encoding: Encoding, dialect: Dialect, *, skip: int, size: int) -> Iterator[Block]:
    """The records after the first ones, those that do not match their quotes handed out as they stand."""
    row = 0
    broken: list[int] = []
    block = Block(skip + 1, [])
    with path.open(encoding=encoding.name, newline="") as handle:
        # No record runs over more lines than are looked at together.
        lines = deque(islice(handle, LONGEST_RECORD_LINES))
        while lines:
            row += 1
            reader, used, why = _reader(lines, dialect), 1, ""
            try:
                cells = [cell.strip() for cell in next(reader)]
                used = reader.line_num
            except csv.Error as error:
                cells, why = [lines[0].rstrip("\r\n")[:1000]], _why(error)
                broken.append(row)
                if len(broken) > MOST_BROKEN:
                    found = f"quotes that do not match in more than {MOST_BROKEN} rows"
                    mend = "if quotes are plain characters in this file: --quote none"
                    raise refusal(path.name, broken[0], found, "cells in matching quotes", mend) from None
            for _ in range(used):
                lines.popleft()
            lines.extend(islice(handle, used))
            if row <= skip:
                continue
            if why:
                block.broken[len(block.rows)] = why
            block.rows.append(cells)
            if len(block.rows) >= size:
                yield block
                block = Block(row + 1, [])
    if block.rows:
        yield block


def _reader(lines: Iterable[str], dialect: Dialect) -> Any:
    return csv.reader(
        lines,
        delimiter=dialect.delimiter,
        quotechar=dialect.quote or None,
        quoting=csv.QUOTE_MINIMAL if dialect.quote else csv.QUOTE_NONE,
        escapechar=dialect.escape or None,
        doublequote=not dialect.escape,
        strict=True,
    )


def _why(error: Exception) -> str:
    if "field larger" in str(error):
        return f"a cell of more than {LONGEST_CELL:,} characters"
    return "quotes that do not match"
