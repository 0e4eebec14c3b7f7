"""Rows of an export on their way into the books."""

from __future__ import annotations

from dataclasses import dataclass, field

from flipkit.books.exports.layout import Left


@dataclass(slots=True)
class Taken:
    """The rows of an export, turned into text as the books write it.

    Parameters
    ----------
    columns : list of str
        Columns of the table.
    rows : list of list of str
        Cells of the rows taken.
    origins : list of int
        Their row numbers in the export.
    refused : list of Left
        Rows refused, with reasons; their cells are left blank where the row had been taken before.
    joined : list of Left
        Rows whose amounts went to other rows of the same order.
    named : bool
        Whether the export itself names each item.
    """

    columns: list[str]
    rows: list[list[str]] = field(default_factory=list)
    origins: list[int] = field(default_factory=list)
    refused: list[Left] = field(default_factory=list)
    joined: list[Left] = field(default_factory=list)
    named: bool = False

    def drop(self, bad: dict[int, str], *, silently: set[int] = frozenset()) -> None:  # type: ignore[assignment]
        """Refuse rows that were taken.

        Parameters
        ----------
        bad : dict of int to str
            Reason by place among the rows.
        silently : set of int
            Places that are taken away without being refused.
        """
        for place, reason in sorted(bad.items()):
            self.refused.append(Left(self.origins[place], reason, []))
        kept = [place for place in range(len(self.rows)) if place not in bad and place not in silently]
        self.rows = [self.rows[place] for place in kept]
        self.origins = [self.origins[place] for place in kept]
