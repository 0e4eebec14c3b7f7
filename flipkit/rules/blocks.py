"""Dated blocks of rules: read strictly, looked up by day, brought to columns."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, NoReturn, Self, TypeVar

import numpy as np
import numpy.typing as npt

from flipkit.errors import MeasureError, MoneyError, RuleNotInForceError, RuleTableError
from flipkit.money import LARGEST_CENTS, Cents, read_cents, read_ppm
from flipkit.units import in_unit, is_quantity

if TYPE_CHECKING:
    import pandas as pd


# Rule sets as blocks in force from one day to another, each with its source.

#: How the maker of a table came by its figures.
SEEN = ("found", "secondary", "from memory", "common practice", "invented for the demo")

Days = npt.NDArray[np.datetime64]
Index = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Source:
    """Where a figure stands printed."""

    key: str
    title: str
    where: str


@dataclass(frozen=True)
class Block:
    """What every block of every rule set carries."""

    starts: dt.date
    ends: dt.date | None
    sources: tuple[str, ...]
    seen: str
    note: str
    #: The keys of its kind as TOML lines, which a seller copies for the next block; empty where they take tables.
    lines: tuple[str, ...]

    @property
    def described(self) -> str:
        """The block's dates in words, as errors and reports print them."""
        return f"from {self.starts.isoformat()}" + (f" to {self.ends.isoformat()}" if self.ends else "")


B = TypeVar("B", bound=Block)


@dataclass(frozen=True)
class RuleSet(Generic[B]):
    """A named rule with its blocks in order of date."""

    kind: str
    name: str
    file: str
    blocks: tuple[B, ...]
    #: Whether a day after the end of a block is answered with that block: a report goes on with the last known
    #: value and marks it assumed, a single answer refuses.
    lasting: bool = False

    @property
    def title(self) -> str:
        """Kind and name, as errors print them."""
        return f"{self.kind} {self.name!r}"

    @property
    def dates(self) -> tuple[str, ...]:
        """The dates of every block in words."""
        return tuple(block.described for block in self.blocks)

    def at(self, day: dt.date) -> B:
        """The block in force on a day."""
        return self.blocks[int(self.index_at(np.array([day], dtype="datetime64[D]"))[0])]

    def covers(self, day: dt.date) -> bool:
        """Whether some block is in force on a day."""
        return any(block.starts <= day and (block.ends is None or day <= block.ends) for block in self.blocks)

    def lasts(self) -> Self:
        """The same rule set, whose last known values go on after their end."""
        return dataclasses.replace(self, lasting=True)

    def begun_by(self, earlier: RuleSet[B]) -> Self:
        """The same rule set with the blocks of another one before its own first day."""
        first = self.blocks[0].starts
        before = [block for block in earlier.blocks if block.starts < first]
        if before and (before[-1].ends is None or before[-1].ends >= first):
            before[-1] = dataclasses.replace(before[-1], ends=first - dt.timedelta(days=1))
        return dataclasses.replace(self, blocks=(*before, *self.blocks))

    def past(self, days: Any) -> npt.NDArray[np.bool_]:
        """Which days lie after the end of a block and before the next one, if there is one."""
        numbers = np.asarray(days, dtype="datetime64[D]").view(np.int64)
        index = np.searchsorted(self._starts, numbers, side="right") - 1
        return np.asarray((index >= 0) & (numbers > self._ends[index]))

    def lines_for(self, day: dt.date) -> tuple[str, ...]:
        """Lines to add to the seller's own table, with the last values known before a day to be replaced."""
        known = [block for block in self.blocks if block.starts <= day] or [self.blocks[0]]
        last = known[-1]
        begins = last.ends + dt.timedelta(days=1) if last.ends and last.ends < day else day
        named = () if self.file.startswith("rules/") else (f'kind = "{self.kind}"', f"name = {json.dumps(self.name)}")
        head = (*named, "[[block]]", f"from = {begins.isoformat()}", f"source = {json.dumps(list(last.sources))}")
        if not last.lines:
            return (f"# copy the [[block]] {last.described} without its ends, with from = {begins.isoformat()}",)
        return (*head, 'seen = "from memory"', *last.lines)

    @property
    def own_file(self) -> str:
        """The file beside the books to which a block is added."""
        return self.file if self.file.startswith("rules/") else "rules/" + self.file.removeprefix("data/")

    def mend(self, day: dt.date) -> str:
        """What to add where, so that a day has a block."""
        return f"add the block of that day to {self.own_file} beside your books: {' / '.join(self.lines_for(day))}"

    def index_at(self, days: npt.ArrayLike) -> Index:
        """Which block is in force, for each of many days."""
        given: Days = np.asarray(days, dtype="datetime64[D]")
        # NaT is the smallest int64, hence before every block.
        numbers = given.view(np.int64)
        index = np.searchsorted(self._starts, numbers, side="right") - 1
        bad = (index < 0) | ((numbers > self._ends[index]) & (not self.lasting))
        if bad.any():
            day = given[int(np.argmax(bad))]
            if np.isnat(day):
                raise RuleNotInForceError(self.title, dt.date.min, ("(the day asked for is missing)", *self.dates))
            raise RuleNotInForceError(self.title, day.item(), self.dates, mend=self.mend(day.item()))
        return index

    @cached_property
    def _starts(self) -> Index:
        return np.array([block.starts for block in self.blocks], dtype="datetime64[D]").view(np.int64)

    @cached_property
    def _ends(self) -> Index:
        far = dt.date.max
        return np.array([block.ends or far for block in self.blocks], dtype="datetime64[D]").view(np.int64)


# Rule files read strictly: every key is asked for once, and what nobody asked for is a mistake.

_NEEDED: Any = object()


class Keys:
    """One table of a rule file, whose keys are asked for by name and type."""

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

    def _fitting(self, key: str, default: Any, needed: str, fits: Callable[[Any], bool]) -> Any:
        """A value that fits, or the default where there is none."""
        value = self._get(key, default, needed)
        if value is None:
            return default
        if not fits(value):
            self.fail(key, value, needed)
        return value

    def text(self, key: str, default: Any = _NEEDED, *, among: Sequence[str] = ()) -> Any:
        """A text, one of a few where ``among`` says so."""
        needed = "one of " + ", ".join(repr(word) for word in among) if among else "a text in quotes"
        return self._fitting(
            key, default, needed, lambda it: isinstance(it, str) and it.strip() != "" and (not among or it in among)
        )

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

    def number(self, key: str, default: Any = _NEEDED, *, above: float | None = None) -> Any:
        """A number of at least 0, or above ``above`` where given."""
        needed = f"a number above {above:g}" if above is not None else "a number of at least 0"

        def fits(value: Any) -> bool:
            plain = isinstance(value, int | float) and not isinstance(value, bool)
            return plain and (value > above if above is not None else value >= 0) and value != float("inf")

        value = self._fitting(key, default, needed, fits)
        return value if value is default else float(value)

    def whole(self, key: str, default: Any = _NEEDED, *, least: int = 0) -> Any:
        """A whole number of at least ``least``."""
        needed = f"a whole number of at least {least}"
        return self._fitting(
            key, default, needed, lambda it: isinstance(it, int) and not isinstance(it, bool) and it >= least
        )

    def flag(self, key: str, default: Any = _NEEDED) -> Any:
        """True or false."""
        return self._fitting(key, default, "true or false", lambda it: isinstance(it, bool))

    def cents(self, key: str, default: Any = _NEEDED) -> Any:
        """An amount of money of at least nothing, as whole cents."""
        value = self._get(key, default, "an amount such as '4.50'")
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
        return self._fitting(
            key, default, needed, lambda it: isinstance(it, dt.date) and not isinstance(it, dt.datetime)
        )

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

    def lines(self, *, without: Sequence[str]) -> tuple[str, ...]:
        """The keys as TOML lines; empty where one of them takes a table, which does not fit on a line."""
        kept = {key: value for key, value in self._data.items() if key not in without}
        plain = all(isinstance(value, str | int | float) for value in kept.values())
        return tuple(f"{key} = {json.dumps(value)}" for key, value in kept.items()) if plain else ()

    def done(self) -> None:
        """Say that every key has been asked for; one that was not is a mistake in the file."""
        for key in self._data:
            if key not in self._asked:
                known = ", ".join(sorted(self._asked))
                self.fail(key, key, f"a key that is known here ({known})")


def read_table_text(file: Path, *, shown: str) -> str:
    """The text of a table's CSV file."""
    try:
        return file.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise RuleTableError(shown, found="bytes that are no UTF-8 text", needed="a CSV file saved as UTF-8") from None


def read_toml(file: Path, *, shown: str) -> dict[str, Any]:
    """A TOML file as a dict."""
    try:
        return tomllib.loads(file.read_text(encoding="utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
        raise RuleTableError(shown, found=str(problem), needed="valid TOML in UTF-8") from None
    except RecursionError:
        raise RuleTableError(shown, found="tables nested too deeply", needed="the tables of a rule set") from None


def read_blocks(
    data: Mapping[str, Any],
    *,
    file: str,
    kind: str,
    make: Callable[[Keys, dict[str, Any]], B],
    header: Callable[[Keys], None] | None = None,
) -> tuple[str, tuple[B, ...]]:
    """The name and the blocks of a rule file, in order, none overlapping."""
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
            "lines": keys.lines(without=("from", "ends", "source", "seen", "note")),
        }
        block = make(keys, common)
        keys.done()
        blocks.append(block)
    return name, tuple(blocks)


# Scalars and columns brought to one length, checked, before the rules meet them.

Columns = dict[str, npt.NDArray[Any]]

#: What the end of a column's name says it is measured in.
UNITS = {"in": "inch", "lb": "pound", "miles": "mile"}


def row_count(**given: Any) -> int:
    """The common length of some arguments, where a scalar fits any."""
    rows, first = 1, ""
    for name, value in given.items():
        if value is None or isinstance(value, str | int | float | dt.date | np.generic):
            continue
        # The shape of a list of quantities cannot be asked of numpy, which would take their numbers.
        many = isinstance(value, list | tuple) and any(is_quantity(one) for one in value)
        shape = (len(value),) if many else np.shape(getattr(value, "magnitude", value))
        if len(shape) == 1 and not first:
            rows, first = shape[0], name
        elif shape not in ((), (rows,)) or len(shape) > 1:
            raise MeasureError(name, need=f"one value or {rows} of them, as {first}", got=f"shape {shape}")
    return rows


def _spread(values: npt.NDArray[Any], rows: int) -> npt.NDArray[Any]:
    return values if values.shape == (rows,) else np.broadcast_to(values, (rows,))


def measures(name: str, value: npt.ArrayLike, rows: int, *, zero: bool = False) -> npt.NDArray[np.float64]:
    """A column of lengths or weights, each a finite number above zero."""
    plain = in_unit(value, UNITS[name.rpartition("_")[2]], name=name)
    try:
        given = np.asarray(plain, dtype=np.float64)
    except (TypeError, ValueError):
        raise MeasureError(name, need="numbers", got=_shown(value)) from None
    if given.size:
        low, high = given.min(), given.max()
        if not (low > 0 or (zero and low == 0)) or not high < np.inf:
            bad = ~(np.isfinite(given) & ((given >= 0) if zero else (given > 0)))
            _refuse(
                MeasureError, name, "a finite number of at least 0" if zero else "a finite number above 0", given, bad
            )
    return _spread(given, rows)


def amounts(name: str, value: npt.ArrayLike, rows: int) -> Cents:
    """A column of amounts in whole cents, none below nothing."""
    given = np.asarray(value)
    if given.dtype.kind not in "iu":
        bad = np.array([not _is_whole(item) for item in np.atleast_1d(given).tolist()], dtype=np.bool_)
        if bad.any():
            _refuse(MoneyError, name, "whole cents without gaps", given, bad)
    whole = given.astype(np.int64, copy=False)
    if whole.size and (whole.max() > LARGEST_CENTS or whole.min() < 0):
        need = f"whole cents within {LARGEST_CENTS} and not below 0"
        _refuse(MoneyError, name, need, whole, (whole > LARGEST_CENTS) | (whole < 0))
    return _spread(whole, rows)


def _refuse(error: type[MeasureError | MoneyError], name: str, need: str, given: Any, bad: Any) -> NoReturn:
    """Name the first of the rows that will not do."""
    flat, row = np.atleast_1d(given), int(np.argmax(np.atleast_1d(bad)))
    raise error(name, need=need, got=flat.tolist()[row], where=f"row {row + 1} of {flat.size}")


def _shown(value: object) -> object:
    """What an error shows of a column: not a million rows."""
    return list(value)[:3] if isinstance(value, list | tuple | np.ndarray) else value


def _is_whole(item: object) -> bool:
    if isinstance(item, bool):
        return False
    return isinstance(item, int) or (isinstance(item, float) and item.is_integer())


def days(name: str, value: object, rows: int) -> npt.NDArray[np.datetime64]:
    """A column of dates."""
    try:
        given = np.asarray(value).astype("datetime64[D]", copy=False)
    except (TypeError, ValueError):
        raise MeasureError(name, need="dates", got=_shown(value)) from None
    return _spread(given, rows)


def blocks(rules: RuleSet[Any], on: object, rows: int) -> npt.NDArray[np.int64]:
    """Which block of a rule set each row meets."""
    index = rules.index_at(np.atleast_1d(days("on", on, 1 if np.ndim(on) == 0 else rows)))  # type: ignore[arg-type]
    return _spread(index if index.size != 1 else index[0], rows)


def flags(name: str, value: object, rows: int) -> npt.NDArray[np.bool_]:
    """A column of yes and no."""
    given = np.asarray(value)
    if given.dtype != np.bool_:
        if given.dtype != object or not all(isinstance(item, bool | np.bool_) for item in np.atleast_1d(given)):
            raise MeasureError(name, need="true or false", got=_shown(value))
        given = given.astype(np.bool_)
    return _spread(given, rows)


def codes(value: object, rows: int, known: Sequence[str]) -> tuple[npt.NDArray[np.int64], tuple[str, ...]]:
    """A column of words as numbers: the place of each among the known ones, -1 where it is none of them."""
    given, word = _words(value)
    place = {name: number for number, name in enumerate(known)}
    number = {item: place.get(name, -1) for item, name in word.items()}
    others = tuple(name for item, name in word.items() if name and number[item] < 0)
    found = np.array([number[item] for item in given.flat], dtype=np.int64)
    return _spread(found.reshape(given.shape), rows), others


def words(value: object, rows: int) -> npt.NDArray[np.str_]:
    """A column of short words such as zones, missing ones empty, a whole number as its digits.

    Parameters
    ----------
    value : str, int, None or array, shape (n,)
        The words.
    rows : int
        How many rows are wanted.

    Returns
    -------
    array, shape (rows,)
        Text.
    """
    given, word = _words(value)
    return _spread(np.array([word[item] for item in given.flat], dtype=np.str_).reshape(given.shape), rows)


def _words(value: object) -> tuple[npt.NDArray[np.object_], dict[object, str]]:
    """What a column holds, and each distinct cell of it as a word."""
    given = np.asarray(getattr(value, "array", value), dtype=object)
    return given, {item: _word(item) for item in dict.fromkeys(given.flat)}


def _word(item: object) -> str:
    item = item.item() if isinstance(item, np.generic) else item
    # Of all words only a missing one differs from itself, or cannot tell whether it does.
    if item is None or (item == item) is not True or item == 0:
        return ""
    if isinstance(item, float) and item.is_integer():
        return str(int(item))
    return str(item).strip()


def by_number(columns: Columns, key: str) -> Iterator[tuple[int, Columns, npt.NDArray[np.int64]]]:
    """The rows of each number of ``key``: number, their columns, where they stand."""
    for number in np.unique(columns[key]).tolist():
        rows = np.flatnonzero(columns[key] == number)
        yield number, {name: column[rows] for name, column in columns.items()}, rows


def as_category(codes: npt.NDArray[Any], words: Sequence[str]) -> pd.Categorical:
    """A column of few words as a categorical, which a million rows carry as numbers."""
    import pandas as pd

    return pd.Categorical.from_codes(codes, categories=list(words))


def shared_index(given: Mapping[str, Any]) -> Any:
    """The index of the Series among some arguments, None without one; two that differ are refused."""
    found = [(name, value.index) for name, value in given.items() if hasattr(value, "iloc")]
    for name, index in found[1:]:
        if not index.equals(found[0][1]):
            raise MeasureError(name, need=f"the same index as {found[0][0]}", got=_shown(list(index)))
    return found[0][1] if found else None


def as_frame(columns: Mapping[str, Any], given: Mapping[str, Any] | None = None) -> pd.DataFrame:
    """Columns as a frame, with the index of what was given; pandas is slow to import, so it is imported here."""
    import pandas as pd

    return pd.DataFrame(dict(columns), index=shared_index(given or {}))
