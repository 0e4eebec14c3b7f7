"""Rule files read strictly: every key is asked for once, and what nobody asked for is a mistake."""

from __future__ import annotations

import datetime as dt
import tomllib
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, NoReturn, TypeVar

from flipkit.errors import MoneyError, RuleTableError
from flipkit.money import read_cents, read_ppm
from flipkit.rules.dated import SEEN, Block

B = TypeVar("B", bound=Block)
_NEEDED: Any = object()


class Keys:
    """One table of a rule file, whose keys are asked for by name and type.

    Parameters
    ----------
    data : mapping
        The table as the file holds it.
    file : str
        Name of the file, for errors.
    block : str
        Which block of the file, for errors.
    path : str
        Dotted name of the table inside the block, for errors.
    """

    def __init__(self, data: Mapping[str, Any], *, file: str, block: str = "", path: str = "") -> None:
        self._data = data
        self.file = file
        self.block = block
        self.path = path
        self._asked: set[str] = set()

    def fail(self, key: str, found: object, needed: str) -> NoReturn:
        """Raise the one error of this module, naming file, block, key, found and needed."""
        raise RuleTableError(self.file, block=self.block, key=self._name(key), found=found, needed=needed)

    def _name(self, key: str) -> str:
        return ".".join(part for part in (self.path, key) if part)

    def _get(self, key: str, default: Any, needed: str) -> Any:
        self._asked.add(key)
        if key in self._data:
            return self._data[key]
        if default is _NEEDED:
            self.fail(key, "nothing", needed)
        return None

    def has(self, key: str) -> bool:
        """Whether the table has a key."""
        return key in self._data

    def value(self, key: str) -> object:
        """Whatever stands under a key, for a key of several kinds."""
        return self._get(key, _NEEDED, "a value")

    def text(self, key: str, default: Any = _NEEDED, *, among: Sequence[str] = ()) -> Any:
        """A text, one of a few where ``among`` says so."""
        needed = "one of " + ", ".join(repr(word) for word in among) if among else "a text in quotes"
        value = self._get(key, default, needed)
        if value is None:
            return default
        if not isinstance(value, str) or not value.strip() or (among and value not in among):
            self.fail(key, value, needed)
        return value

    def texts(self, key: str, default: Any = _NEEDED, *, among: Sequence[str] = ()) -> Any:
        """A text or a list of texts, as a tuple."""
        needed = "a list of " + (", ".join(repr(word) for word in among) if among else "texts")
        value = self._get(key, default, needed)
        if value is None:
            return default
        items = [value] if isinstance(value, str) else value
        if not isinstance(items, list) or not all(isinstance(item, str) and item.strip() for item in items):
            self.fail(key, value, needed)
        for item in items:
            if among and item not in among:
                self.fail(key, item, needed)
        if len(set(items)) != len(items) or not items:
            self.fail(key, value, needed + ", each once")
        return tuple(items)

    def number(self, key: str, default: Any = _NEEDED, *, above: float | None = None, least: float = 0.0) -> Any:
        """A number of at least ``least``, or above ``above`` where given."""
        needed = f"a number above {above:g}" if above is not None else f"a number of at least {least:g}"
        value = self._get(key, default, needed)
        if value is None:
            return default
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.fail(key, value, needed)
        if not (value > above if above is not None else value >= least) or value == float("inf"):
            self.fail(key, value, needed)
        return float(value)

    def whole(self, key: str, default: Any = _NEEDED, *, least: int = 0) -> Any:
        """A whole number of at least ``least``."""
        needed = f"a whole number of at least {least}"
        value = self._get(key, default, needed)
        if value is None:
            return default
        if isinstance(value, bool) or not isinstance(value, int) or value < least:
            self.fail(key, value, needed)
        return value

    def flag(self, key: str, default: Any = _NEEDED) -> Any:
        """True or false."""
        value = self._get(key, default, "true or false")
        if value is None:
            return default
        if not isinstance(value, bool):
            self.fail(key, value, "true or false")
        return value

    def cents(self, key: str, default: Any = _NEEDED) -> Any:
        """An amount of money of at least nothing, as whole cents."""
        needed = "an amount such as '4.50'"
        value = self._get(key, default, needed)
        return default if value is None else self.as_cents(key, value)

    def as_cents(self, key: str, value: object) -> int:
        """A value of this table read as an amount of at least nothing, in whole cents."""
        try:
            cents = read_cents(value)
        except MoneyError as problem:
            self.fail(key, value, str(problem.need))
        if cents < 0:
            self.fail(key, value, "an amount of at least 0.00")
        return cents

    def ppm(self, key: str, default: Any = _NEEDED) -> Any:
        """A rate, as whole parts per million."""
        needed = "a rate such as '13.25 %'"
        value = self._get(key, default, needed)
        if value is None:
            return default
        if not isinstance(value, str) or not value.rstrip().endswith(("%", "percent")):
            self.fail(key, value, needed + ", in quotes and with the sign")
        try:
            return read_ppm(value)
        except MoneyError as problem:
            self.fail(key, value, str(problem.need))

    def day(self, key: str, default: Any = _NEEDED) -> Any:
        """A date."""
        needed = "a date such as 2026-07-12, without quotes"
        value = self._get(key, default, needed)
        if value is None:
            return default
        if not isinstance(value, dt.date) or isinstance(value, dt.datetime):
            self.fail(key, value, needed)
        return value

    def table(self, key: str) -> Keys | None:
        """A table inside this one, None where there is none."""
        value = self._get(key, None, "a table")
        if value is None:
            return None
        if not isinstance(value, dict):
            self.fail(key, value, f"a table [{key}]")
        return Keys(value, file=self.file, block=self.block, path=self._name(key))

    def tables(self, key: str) -> list[Keys]:
        """A list of tables inside this one, empty where there is none."""
        value = self._get(key, None, "a list of tables")
        if value is None:
            return []
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            self.fail(key, value, f"tables [[{key}]]")
        return [
            Keys(item, file=self.file, block=self.block, path=f"{self._name(key)}[{number}]")
            for number, item in enumerate(value, start=1)
        ]

    def names(self) -> tuple[str, ...]:
        """The keys that nobody has asked for yet, for a table whose keys are names of the seller's choice."""
        return tuple(key for key in self._data if key not in self._asked)

    def all_names(self) -> tuple[str, ...]:
        """Every key of the table."""
        return tuple(self._data)

    def done(self) -> None:
        """Say that every key has been asked for; one that was not is a mistake in the file."""
        for key in self._data:
            if key not in self._asked:
                known = ", ".join(sorted(self._asked))
                self.fail(key, key, f"a key that is known here ({known})")


def read_table_text(file: Path, *, shown: str) -> str:
    """The text of a table's CSV file.

    Parameters
    ----------
    file : Path
        The file.
    shown : str
        Its name in errors.

    Returns
    -------
    str
        The text.

    Raises
    ------
    RuleTableError
        If it is not UTF-8 text.
    """
    try:
        return file.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise RuleTableError(shown, found="bytes that are no UTF-8 text", needed="a CSV file saved as UTF-8") from None


def read_toml(file: Path, *, shown: str) -> dict[str, Any]:
    """A TOML file as a dict.

    Parameters
    ----------
    file : Path
        The file.
    shown : str
        Its name in errors.

    Returns
    -------
    dict
        What it holds.

    Raises
    ------
    RuleTableError
        If it is not valid TOML or not UTF-8 text.
    """
    try:
        return tomllib.loads(file.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
        raise RuleTableError(shown, found=str(problem), needed="valid TOML in UTF-8") from None


def read_blocks(
    data: Mapping[str, Any],
    *,
    file: str,
    kind: str,
    make: Callable[[Keys, dict[str, Any]], B],
    header: Callable[[Keys], None] | None = None,
) -> tuple[str, tuple[B, ...]]:
    """The name and the blocks of a rule file, in order, none overlapping.

    Parameters
    ----------
    data : mapping
        The file's content.
    file : str
        Its name in errors.
    kind : str
        The kind that the file must say it is.
    make : callable
        Makes one block from its keys and the fields that every block has.
    header : callable, optional
        Reads further keys above the blocks.

    Returns
    -------
    name : str
        The rule set's name.
    blocks : tuple
        Its blocks.

    Raises
    ------
    RuleTableError
        If a key is missing, unknown or of the wrong kind, or the dates overlap.
    """
    top = Keys(data, file=file)
    top.text("kind", among=(kind,))
    name = top.text("name")
    if header is not None:
        header(top)
    entries = top.tables("block")
    top.done()
    if not entries:
        top.fail("block", "nothing", "at least one [[block]] with from, source and seen")
    blocks: list[B] = []
    for number, keys in enumerate(entries, start=1):
        keys.block, keys.path = f"{number}", ""
        starts = keys.day("from")
        keys.block = f"from {starts.isoformat()}"
        ends = keys.day("ends", None)
        if ends is not None and ends < starts:
            keys.fail("ends", ends.isoformat(), f"a day not before {starts.isoformat()}")
        if blocks:
            last = blocks[-1].ends or blocks[-1].starts
            if starts <= last:
                keys.fail("from", starts.isoformat(), f"a day after {last.isoformat()}, where the block before stands")
        common = {
            "starts": starts,
            "ends": ends,
            "sources": keys.texts("source"),
            "seen": keys.text("seen", among=SEEN),
            "note": keys.text("note", ""),
        }
        block = make(keys, common)
        keys.done()
        blocks.append(block)
    return name, tuple(blocks)
