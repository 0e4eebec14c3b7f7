"""Scalars and columns brought to one length, checked, before the rules meet them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from flipkit.errors import MeasureError, MoneyError
from flipkit.money import LARGEST_CENTS, Cents
from flipkit.rules.dated import RuleSet

Columns = dict[str, npt.NDArray[Any]]

#: Rows worked at a time: few enough for the arrays of a step to stay in a core's cache.
CHUNK = 32_768


def row_count(**given: object) -> int:
    """The common length of some arguments, where a scalar fits any.

    Parameters
    ----------
    **given : scalar or array
        The arguments by name.

    Returns
    -------
    int
        The number of rows; 1 where all are scalars.

    Raises
    ------
    MeasureError
        If two columns differ in length.
    """
    rows, first = 1, ""
    for name, value in given.items():
        if value is None or isinstance(value, str | int | float | dt.date | np.generic):
            continue
        shape = np.asarray(value).shape
        if len(shape) == 1 and not first:
            rows, first = shape[0], name
        elif shape not in ((), (rows,)) or len(shape) > 1:
            raise MeasureError(name, need=f"one value or {rows} of them, as {first}", got=f"shape {shape}")
    return rows


def _spread(values: npt.NDArray[Any], rows: int) -> npt.NDArray[Any]:
    return values if values.shape == (rows,) else np.broadcast_to(values, (rows,))


def measures(name: str, value: npt.ArrayLike, rows: int, *, zero: bool = False) -> npt.NDArray[np.float64]:
    """A column of lengths or weights, each a finite number above zero.

    Parameters
    ----------
    name : str
        What it is called in an error.
    value : float or array, shape (n,)
        The measures.
    rows : int
        How many rows are wanted.
    zero : bool
        Whether nothing is a measure too.

    Returns
    -------
    array, shape (rows,)
        float64.

    Raises
    ------
    MeasureError
        If one is not a finite number above zero.
    """
    try:
        given = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError):
        raise MeasureError(name, need="numbers", got=_shown(value)) from None
    if given.size:
        low, high = given.min(), given.max()
        if not (low > 0 or (zero and low == 0)) or not high < np.inf:
            flat = np.atleast_1d(given)
            bad = ~(np.isfinite(flat) & ((flat >= 0) if zero else (flat > 0)))
            row = int(np.argmax(bad))
            need = "a finite number of at least 0" if zero else "a finite number above 0"
            raise MeasureError(name, need=need, got=float(flat[row]), where=f"row {row + 1} of {flat.size}")
    return _spread(given, rows)


def amounts(name: str, value: npt.ArrayLike, rows: int, *, negative: bool = False) -> Cents:
    """A column of amounts in whole cents.

    Parameters
    ----------
    name : str
        What it is called in an error.
    value : int or array, shape (n,)
        The amounts. [cents]
    rows : int
        How many rows are wanted.
    negative : bool
        Whether an amount may be below nothing.

    Returns
    -------
    array, shape (rows,)
        int64. [cents]

    Raises
    ------
    MoneyError
        If one is not whole, is missing, is too large or is negative where it may not be.
    """
    given = np.asarray(value)
    if given.dtype.kind not in "iu":
        flat = np.atleast_1d(given)
        bad = np.array([not _is_whole(item) for item in flat.tolist()], dtype=np.bool_)
        if bad.any():
            row = int(np.argmax(bad))
            where = f"row {row + 1} of {flat.size}"
            raise MoneyError(name, need="whole cents without gaps", got=flat.tolist()[row], where=where)
    whole = given.astype(np.int64, copy=False)
    if whole.size and (whole.max() > LARGEST_CENTS or whole.min() < (-LARGEST_CENTS if negative else 0)):
        flat = np.atleast_1d(whole)
        bad = (flat > LARGEST_CENTS) | (flat < (-LARGEST_CENTS if negative else 0))
        row = int(np.argmax(bad))
        need = f"whole cents within {LARGEST_CENTS}" + ("" if negative else " and not below 0")
        raise MoneyError(name, need=need, got=int(flat[row]), where=f"row {row + 1} of {flat.size}")
    return _spread(whole, rows)


def _shown(value: object) -> object:
    """What an error shows of a column: not a million rows."""
    return list(value)[:3] if isinstance(value, list | tuple | np.ndarray) else value


def _is_whole(item: object) -> bool:
    if isinstance(item, bool):
        return False
    return isinstance(item, int) or (isinstance(item, float) and item.is_integer())


def days(name: str, value: object, rows: int) -> npt.NDArray[np.datetime64]:
    """A column of dates.

    Parameters
    ----------
    name : str
        What it is called in an error.
    value : date, text such as 2026-07-12, or array of dates, shape (n,)
        The dates.
    rows : int
        How many rows are wanted.

    Returns
    -------
    array, shape (rows,)
        datetime64[D].

    Raises
    ------
    MeasureError
        If one is not a date.
    """
    try:
        given = np.asarray(value).astype("datetime64[D]", copy=False)
    except (TypeError, ValueError):
        raise MeasureError(name, need="dates", got=_shown(value)) from None
    return _spread(given, rows)


def blocks(rules: RuleSet[Any], on: object, rows: int) -> npt.NDArray[np.int64]:
    """Which block of a rule set each row meets.

    Parameters
    ----------
    rules : RuleSet
        The rule set.
    on : date or array of dates, shape (n,)
        Days of the events.
    rows : int
        How many rows are wanted.

    Returns
    -------
    array, shape (rows,)
        Index into the rule set's blocks.

    Raises
    ------
    RuleNotInForceError
        If a day has no block.
    """
    index = rules.index_at(np.atleast_1d(days("on", on, 1 if np.ndim(on) == 0 else rows)))  # type: ignore[arg-type]
    return _spread(index if index.size != 1 else index[0], rows)


def pairs(first: npt.NDArray[np.int64], second: npt.NDArray[np.int64], count: int) -> npt.NDArray[np.int64]:
    """Two numbers a row as one, which ``divmod`` by ``count`` takes apart again.

    Parameters
    ----------
    first, second : array, shape (n,)
        Numbers of at least zero.
    count : int
        More than any of the second.

    Returns
    -------
    array, shape (n,)
        int64.
    """
    if first.size and first.strides == second.strides == (0,):
        # One pair for all rows: no need to write it a million times.
        return np.broadcast_to(first[0] * count + second[0], first.shape)
    return first * count + second


def flags(name: str, value: object, rows: int) -> npt.NDArray[np.bool_]:
    """A column of yes and no.

    Parameters
    ----------
    name : str
        What it is called in an error.
    value : bool or array of bool, shape (n,)
        The flags.
    rows : int
        How many rows are wanted.

    Returns
    -------
    array, shape (rows,)
        bool.

    Raises
    ------
    MeasureError
        If one is neither true nor false.
    """
    given = np.asarray(value)
    if given.dtype != np.bool_:
        if given.dtype != object or not all(isinstance(item, bool | np.bool_) for item in np.atleast_1d(given)):
            raise MeasureError(name, need="true or false", got=_shown(value))
        given = given.astype(np.bool_)
    return _spread(given, rows)


def codes(value: object, rows: int, known: Sequence[str]) -> tuple[npt.NDArray[np.int64], tuple[str, ...]]:
    """A column of words as numbers: the place of each among the known ones, -1 where it is none of them.

    Parameters
    ----------
    value : str, None or array of str, shape (n,)
        The words; a pandas categorical column is quickest.
    rows : int
        How many rows are wanted.
    known : sequence of str
        The words that have a number.

    Returns
    -------
    array, shape (rows,)
        int64.
    others : tuple of str
        The words found that are not known, the missing one (None, NaN, empty) aside.
    """
    place = {word: number for number, word in enumerate(known)}
    held: Any = getattr(value, "array", value)
    if hasattr(held, "categories"):
        found, index = [_word(word) for word in held.categories], np.asarray(held.codes, dtype=np.int64)
    elif isinstance(held, str) or np.ndim(held) == 0:
        found, index = [_word(held)], np.zeros((), dtype=np.int64)
    else:
        found, index = _factorised(held)
    used = np.flatnonzero(np.bincount(np.atleast_1d(index) + 1, minlength=1)) - 1
    others = tuple(found[number] for number in used if number >= 0 and found[number] and found[number] not in place)
    table = np.array([*(place.get(word, -1) for word in found), -1], dtype=np.int64)
    return _spread(table[index], rows), others


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
    held: Any = getattr(value, "array", value)
    given = np.asarray(held, dtype=object) if hasattr(held, "categories") else np.asarray(held)
    if given.dtype.kind in "iu":
        return _spread(np.where(given == 0, "", given.astype(np.str_)), rows)
    if given.dtype.kind == "U":
        return _spread(given, rows)
    flat = np.atleast_1d(given)
    text = [_word(item) for item in flat.tolist()]
    return _spread(np.array(text, dtype=np.str_).reshape(given.shape), rows)


def _word(item: object) -> str:
    # Of all words only a missing one differs from itself, or cannot tell whether it does.
    if item is None or (item == item) is not True or item == 0:
        return ""
    if isinstance(item, float) and item.is_integer():
        return str(int(item))
    return str(item).strip()


def _factorised(held: Any) -> tuple[list[str], npt.NDArray[np.int64]]:
    if len(held) < 64:
        # A handful of rows is not worth the wait for pandas.
        every = [_word(item) for item in held]
        unique = list(dict.fromkeys(every))
        return unique, np.array([unique.index(word) for word in every], dtype=np.int64)
    import pandas as pd

    index, found = pd.factorize(np.asarray(held) if isinstance(held, list | tuple) else held)
    return [_word(word) for word in found], np.asarray(index, dtype=np.int64)


def in_chunks(rows: int, columns: Mapping[str, npt.NDArray[Any]], step: Callable[[Columns, slice], None]) -> None:
    """Work through columns a cache's worth at a time.

    Parameters
    ----------
    rows : int
        How many rows there are.
    columns : mapping
        Columns of that length.
    step : callable
        Takes the columns of one chunk and where it lies.
    """
    for start in range(0, rows, CHUNK):
        here = slice(start, min(start + CHUNK, rows))
        step({name: column[here] for name, column in columns.items()}, here)


def some(flags: npt.NDArray[np.bool_]) -> bool:
    """Whether any flag is set; one flag that stands for all rows is looked at once.

    Parameters
    ----------
    flags : array of bool, shape (n,)
        The flags.

    Returns
    -------
    bool
        Whether one is true.
    """
    return bool(flags[0] if flags.size and flags.strides == (0,) else flags.any())


def groups(index: npt.NDArray[np.int64]) -> Iterator[tuple[int, npt.NDArray[np.int64] | None]]:
    """The numbers that occur and the rows of each; None for the rows where one number has them all.

    Parameters
    ----------
    index : array, shape (n,)
        A number a row, at least zero.

    Yields
    ------
    number : int
        A number that occurs.
    rows : array or None
        Where.
    """
    if not index.size:
        return
    if index.strides == (0,):
        yield int(index[0]), None
        return
    low, high = int(index.min()), int(index.max())
    if low == high:
        yield low, None
        return
    for number in range(low, high + 1):
        rows = np.flatnonzero(index == number)
        if rows.size:
            yield number, rows
