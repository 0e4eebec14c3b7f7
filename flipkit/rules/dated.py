"""Rule sets as blocks in force from one day to another, each with its source."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import cached_property
from typing import Generic, TypeVar

import numpy as np
import numpy.typing as npt

from flipkit.errors import RuleNotInForceError

#: How the maker of a table came by its figures.
SEEN = ("found", "secondary", "from memory", "common practice", "invented for the demo")

Days = npt.NDArray[np.datetime64]
Index = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Source:
    """Where a figure stands printed.

    Parameters
    ----------
    key : str
        Name by which tables, docstrings and tests call it.
    title : str
        What it is.
    where : str
        Where it can be read: an address, a page, a section.
    """

    key: str
    title: str
    where: str


@dataclass(frozen=True)
class Block:
    """What every block of every rule set carries.

    Parameters
    ----------
    starts : datetime.date
        First day in force.
    ends : datetime.date or None
        Last day in force; None until the next block starts, or for ever.
    sources : tuple of str
        Keys of the sources.
    seen : str
        One of ``SEEN``.
    note : str
        What a reader should know about the block, for instance which of its figures is from memory.
    """

    starts: dt.date
    ends: dt.date | None
    sources: tuple[str, ...]
    seen: str
    note: str

    @property
    def described(self) -> str:
        """The block's dates in words, as errors and reports print them."""
        return f"from {self.starts.isoformat()}" + (f" to {self.ends.isoformat()}" if self.ends else "")


B = TypeVar("B", bound=Block)


@dataclass(frozen=True)
class RuleSet(Generic[B]):
    """A named rule with its blocks in order of date.

    Parameters
    ----------
    kind : str
        What it is a table of, for instance ``fees``.
    name : str
        Its name among its kind.
    file : str
        The file it was read from.
    blocks : tuple
        The blocks, earliest first, none overlapping another.
    """

    kind: str
    name: str
    file: str
    blocks: tuple[B, ...]

    @property
    def title(self) -> str:
        """Kind and name, as errors print them."""
        return f"{self.kind} {self.name!r}"

    @property
    def dates(self) -> tuple[str, ...]:
        """The dates of every block in words."""
        return tuple(block.described for block in self.blocks)

    def at(self, day: dt.date) -> B:
        """The block in force on a day.

        Parameters
        ----------
        day : datetime.date
            Day of the event.

        Returns
        -------
        Block
            The block.

        Raises
        ------
        RuleNotInForceError
            If no block covers the day; the message names the dates that exist.
        """
        return self.blocks[int(self.index_at(np.array([day], dtype="datetime64[D]"))[0])]

    def covers(self, day: dt.date) -> bool:
        """Whether some block is in force on a day.

        Parameters
        ----------
        day : datetime.date
            The day.

        Returns
        -------
        bool
            Whether ``at`` would find one.
        """
        return any(block.starts <= day and (block.ends is None or day <= block.ends) for block in self.blocks)

    def index_at(self, days: npt.ArrayLike) -> Index:
        """Which block is in force, for each of many days.

        Parameters
        ----------
        days : array of dates, shape (n,)
            Days of the events.

        Returns
        -------
        array, shape (n,)
            Index into ``blocks``, int64.

        Raises
        ------
        RuleNotInForceError
            If some day has no block; the message names the first such day and the dates that exist.
        """
        given: Days = np.asarray(days, dtype="datetime64[D]")
        numbers = given.view(np.int64)
        if not numbers.size:
            return np.zeros(numbers.shape, dtype=np.int64)
        # NaT is the smallest int64, hence before every block.
        low, high = (
            int(np.searchsorted(self._starts, day, side="right")) - 1 for day in (numbers.min(), numbers.max())
        )
        if low == high >= 0 and numbers.max() <= self._ends[high]:
            return np.broadcast_to(np.int64(low), numbers.shape)
        # A table has few blocks: comparing with each start is quicker than a search a row.
        index = np.full(numbers.shape, low, dtype=np.int64)
        for start in self._starts[max(low + 1, 0) : high + 1]:
            index += numbers >= start
        bad = (index < 0) | (numbers > self._ends[index])
        if bad.any():
            day = given[int(np.argmax(bad))]
            if np.isnat(day):
                raise RuleNotInForceError(self.title, dt.date.min, ("(the day asked for is missing)", *self.dates))
            raise RuleNotInForceError(self.title, day.item(), self.dates)
        return index

    @cached_property
    def _starts(self) -> Index:
        return np.array([block.starts for block in self.blocks], dtype="datetime64[D]").view(np.int64)

    @cached_property
    def _ends(self) -> Index:
        far = dt.date.max
        return np.array([block.ends or far for block in self.blocks], dtype="datetime64[D]").view(np.int64)
