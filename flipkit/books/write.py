"""Files that the kit writes: whole or not at all, and safe to open in a spreadsheet."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import os
import re
import shutil
import sys
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

from flipkit.owned import left_folders, make_folder, sweep

#: Folder inside the books for what a conversion tells.
CONVERTED = "converted"
#: File there that counts the rows and cells of each export which the books lack.
NOT_TAKEN = "not-taken.csv"
#: What a spreadsheet would take for a formula, with any shield that already stands before it.
_FORMULA = re.compile(r"'*[=+\-@\t\r＝＋－＠]")
_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?")
_SHIELDED = re.compile(r"'+[=+\-@\t\r＝＋－＠]")
#: The same inside a cell, where a spreadsheet that takes another mark for the separator begins a cell.
_INNER = re.compile(r"([;\t|\n\r][\s\"]*)('*[=+\-@＝＋－＠])")
_INNER_SHIELDED = re.compile(r"([;\t|\n\r][\s\"]*)'('*[=+\-@＝＋－＠])")
#: Rows that are written together.
_TOGETHER = 5_000
#: First characters that may need a shield: a quick look before the pattern.
_FIRST = frozenset("'=+-@\t\r＝＋－＠")


def escape_formula(text: str) -> str:
    """A cell that no spreadsheet takes for a formula.

    Text that begins with ``=``, ``+``, ``-`` or ``@`` gets an apostrophe before it, which a
    spreadsheet reads as "this is text"; a plain number stays as it is. `unescape_formula` takes the
    apostrophe away again. So it is behind a semicolon, a tab, a bar or a line end, at each of which a
    spreadsheet may begin a new cell.
    """
    text = _INNER.sub(r"\1'\2", text)
    if not _FORMULA.match(text) or _NUMBER.fullmatch(text):
        return text
    return "'" + text


def unescape_formula(text: str) -> str:
    """The cell as it was before `escape_formula`.

    >>> unescape_formula("'=SUM(A1:A9)"), unescape_formula("'90s lamp")
    ('=SUM(A1:A9)', "'90s lamp")
    """
    text = text[1:] if _SHIELDED.match(text) else text
    return _INNER_SHIELDED.sub(r"\1\2", text) if "'" in text else text


def csv_text(header: Sequence[str], rows: Iterable[Sequence[str]], *, words: Sequence[int] | None = None) -> str:
    r"""A CSV file as text: UTF-8 as written later, commas, one line end, formulas shielded.

    >>> csv_text(["title", "cost"], [["lamp, brass", "3.20"]])
    'title,cost\n"lamp, brass",3.20\n'
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([escape_formula(cell) for cell in header])
    body = rows if isinstance(rows, list) else list(rows)
    places = range(max(map(len, body), default=0)) if words is None else words
    begun = [at for at in places if not _FIRST.isdisjoint(row[at][:1] for row in body if at < len(row))]
    marked = {i for at in begun for i, row in enumerate(body) if at < len(row) and row[at][:1] in _FIRST}
    # Nearly no file has one inside a cell, which one look over all of it tells.
    if _INNER.search("\0".join("\0".join(row) for row in body)):
        marked |= {i for i, row in enumerate(body) if any(map(_INNER.search, row))}
    if marked:
        body = [[escape_formula(cell) for cell in row] if i in marked else row for i, row in enumerate(body)]
    for first in range(0, len(body), _TOGETHER):
        _write_rows(out, writer, body[first : first + _TOGETHER])
    return out.getvalue()


def toml_text(value: object) -> str:
    """A value as TOML has it, a table on one line.

    >>> print(toml_text({"length in": [True, "a"]}))
    { "length in" = [true, "a"] }
    """
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{toml_key(key)} = {toml_text(item)}" for key, item in value.items()) + " }"
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def toml_key(key: str) -> str:
    """A key as TOML has it."""
    return key if key.isascii() and key.replace("_", "").replace("-", "").isalnum() else toml_text(key)


def _write_rows(out: io.StringIO, writer: Any, rows: list[Sequence[str]]) -> None:
    """Write rows; those that need no quotes, which their marks tell, all at once."""
    text = "\n".join(map(",".join, rows))
    marks = sum(map(len, rows)) - len(rows)
    plain = '"' not in text and "\r" not in text
    if plain and text.count(",") == marks and text.count("\n") == len(rows) - 1 and all(map(any, rows)):
        out.write(text)
        out.write("\n")
    elif "\r" in text:
        # The writer quotes a cell for its own line end alone; a carriage return would end the row too.
        csv.writer(out, lineterminator="\n", quoting=csv.QUOTE_ALL).writerows(rows)
    else:
        writer.writerows(rows)


#: How the hidden folder of files made ready begins, and the list in it of those to move.
_HIDDEN, _MOVES = ".flipkit-", "moves.json"


class Stage:
    """Files made ready in a hidden folder beside their places, then moved there all together."""

    def __init__(self, home: Path) -> None:
        self.home = home
        self._made: list[str] = []
        finish_moves(home)
        self.hidden = make_folder(home if home.is_dir() else home.parent, _HIDDEN)

    def write(self, name: str, text: str) -> None:
        """Make one text file ready."""
        self.put(name, text.encode("utf-8"))

    def put(self, name: str, body: bytes) -> None:
        """Make the bytes of one file ready, with the rights of the file that they replace."""
        target = self.hidden / name
        target.parent.mkdir(parents=True, exist_ok=True)
        try:
            _write_down(target, body)
        except OSError as error:  # named by its place, not by the folder where it is made ready
            raise OSError(error.errno, error.strerror, str(self.home / name)) from None
        if (self.home / name).is_file():
            shutil.copymode(self.home / name, target)
        self._made.append(name)

    def copy(self, source: Path, name: str) -> None:
        """Make a copy of a file ready."""
        target = self.hidden / name
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(source, target)
        self._made.append(name)

    def commit(self) -> None:
        """Move every file to its place; a new folder appears whole, in one step."""
        if not self.home.exists():
            os.chmod(self.hidden, 0o777 & ~_umask())
            os.rename(self.hidden, self.home)
            return
        if sys.platform == "win32":  # what a spreadsheet holds open cannot be replaced there: none is, then
            for target in (self.home / name for name in self._made):
                if target.is_file():
                    target.open("r+b").close()
        # From here on the files count as written: a run that is killed is finished by the next.
        _write_down(self.hidden / f"{_MOVES}.new", json.dumps(self._made).encode())
        os.replace(self.hidden / f"{_MOVES}.new", self.hidden / _MOVES)
        _move(self.hidden, self.home, self._made)

    def discard(self) -> None:
        """Remove what was made ready and not moved."""
        shutil.rmtree(self.hidden, ignore_errors=True)


def finish_moves(home: Path) -> None:
    """Finish what a killed run had begun to move into a folder, and remove what others left half made."""
    with contextlib.suppress(OSError):  # a folder that cannot be written to holds nothing of ours to finish
        for left in left_folders(home, _HIDDEN):
            if (left / _MOVES).is_file():
                _move(left, home, json.loads((left / _MOVES).read_text(encoding="utf-8")))
    for place in (home, home.parent):
        sweep(place, _HIDDEN)


def _move(hidden: Path, home: Path, names: Sequence[str]) -> None:
    for name in names:
        if (hidden / name).exists():
            (home / name).parent.mkdir(parents=True, exist_ok=True)
            os.replace(hidden / name, home / name)


def _write_down(target: Path, body: bytes) -> None:
    """Write a file and wait until it is on the disk."""
    with target.open("wb") as handle:
        handle.write(body)
        handle.flush()
        os.fsync(handle.fileno())


@contextlib.contextmanager
def staged(home: Path) -> Iterator[Stage]:
    """Files written together: all of them when the block ends well, none when it fails."""
    stage = Stage(home)
    try:
        yield stage
        stage.commit()
    finally:
        stage.discard()


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
