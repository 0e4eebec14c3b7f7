"""Rows of text made into one table of text, each with the number that a spreadsheet shows."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from flipkit.books import bulk, schema
from flipkit.books.problems import Findings, rows_in_words

#: Most columns that a table may have.
MOST_COLUMNS = 1_000
#: How the example rows of a new folder begin: comments that need not be told.
EXAMPLE = "# example"
#: A column whose first rows repeat fewer texts than this share is not searched for repeats.
_REPEATING = 0.5


@dataclass(slots=True)
class RawTable:
    """One table as text.

    Parameters
    ----------
    name : str
        Name of the table.
    file : str
        What messages call it: the file, with the sheet where it is a workbook.
    header : list of str
        Its headers as they stand there.
    columns : list of list of str
        The cells, column by column, trimmed.
    rows : list of int
        Row numbers as a spreadsheet shows them.
    """

    name: str
    file: str
    header: list[str]
    columns: list[list[str]]
    rows: list[int]


class TableMaker:
    """Makes a table of text out of rows that come block by block.

    Parameters
    ----------
    name : str
        Name of the table.
    file : str
        What messages call it.
    findings : Findings
        Where problems go.
    sharing : bool
        Whether a text that stands many times is kept once; needless where the rows share theirs.
    """

    def __init__(self, name: str, file: str, findings: Findings, *, sharing: bool = True) -> None:
        self.name = name
        self.file = file
        self.findings = findings
        self.count = 0
        self.usable = True
        self._sharing = sharing
        self._header: list[str] | None = None
        self._columns: list[list[str]] = []
        self._known: list[dict[str, str] | None] = []
        self._rows: list[int] = []
        self._comments: list[int] = []
        self._full_comments: list[int] = []
        self._short: list[int] = []

    def take(self, rows: Sequence[list[str]], *, trimmed: bool = False) -> None:
        """Take the next rows.

        Parameters
        ----------
        rows : sequence of list of str
            Their cells.
        trimmed : bool
            Whether no cell has spaces around it.
        """
        if not self.usable:
            return
        body = list(rows) if trimmed else [[cell.strip() for cell in row] for row in rows]
        first = self.count + 1
        self.count += len(body)
        if self._header is None:
            at = next((i for i, row in enumerate(body) if any(row) and row[0][:1] != "#"), None)
            if at is None:
                return
            self._begin(body[at], first + at)
            body, first = body[at + 1 :], first + at + 1
        if self.usable and body:
            self._keep(body, first)

    def _begin(self, header: list[str], row: int) -> None:
        while header and not header[-1]:
            header = header[:-1]
        width = len(header)
        self._header = header
        if width == 1 and self.name != "shop" and re.search(r"[;\t|]", header[0]):
            mark = next(m for m in ";\t|" if m in header[0])
            shown = "a tab" if mark == "\t" else f"'{mark}'"
            mend = "save it as CSV separated by commas, or run: flipkit convert"
            self.findings.stop(row, "", f"cells separated by {shown}", "cells separated by commas", mend)
            self.usable = False
        elif width > MOST_COLUMNS:
            self.findings.stop(row, "", f"{width:,} columns", f"at most {MOST_COLUMNS:,}", "is this one table?")
            self.usable = False
        self._columns = [[] for _ in header]
        self._known = [{} if self._sharing else None for _ in header]

    def _keep(self, body: list[list[str]], first: int) -> None:
        assert self._header is not None  # noqa: S101
        width = len(self._header)
        numbers: Sequence[int] = range(first, first + len(body))
        # Rows like their neighbours, none of them blank or a comment: nearly all blocks are.
        alike = set(map(len, body)) == {width}
        columns = list(zip(*body, strict=True)) if alike else []
        begun = bulk.first_letters(columns[0]) if alike else {""}
        if "#" in begun or ("" in begun and (not alike or any(row.count("") == width for row in body))):
            numbers, body = self._with_care(body, first)
            columns = list(zip(*body, strict=True))
        if not body:
            return
        self._rows.extend(numbers)
        for at, cells in enumerate(columns):
            known = self._known[at]
            if known is None:
                self._columns[at].extend(cells)
                continue
            # A text that stands many times is kept once.
            self._columns[at].extend(map(known.setdefault, cells, cells))
            if len(known) > _REPEATING * len(self._columns[at]) and len(self._columns[at]) > 1_000:
                self._known[at] = None

    def _with_care(self, body: list[list[str]], first: int) -> tuple[list[int], list[list[str]]]:
        assert self._header is not None  # noqa: S101
        width = len(self._header)
        numbers: list[int] = []
        kept: list[list[str]] = []
        for number, row in enumerate(body, start=first):
            if not any(row):
                continue
            if row[0][:1] == "#":
                if not row[0].startswith(EXAMPLE):
                    self._comments.append(number)
                    if re.match(r"#\w", row[0]) and sum(map(bool, row)) > 3:
                        self._full_comments.append(number)
                continue
            if len(row) > width:
                extra = [cell for cell in row[width:] if cell]
                if extra:
                    self.findings.stop(
                        number,
                        "",
                        f"{len(row)} cells, the last {extra[-1]}",
                        f"{width} cells as in the header",
                        "put a cell that holds a comma in quotes",
                    )
                row = row[:width]
            elif len(row) < width:
                self._short.append(number)
                row = row + [""] * (width - len(row))
            numbers.append(number)
            kept.append(row)
        return numbers, kept

    def made(self) -> RawTable | None:
        """The table.

        Returns
        -------
        RawTable or None
            The table; None where there is none to use.
        """
        if not self.usable:
            return None
        if self._header is None:
            if self.name == "items":
                needed = f"a header row with {', '.join(schema.ITEMS.required)}"
                self.findings.stop(None, "", "no header", needed, "")
            return None
        self._tell_comments()
        if self._short and self.file.lower().endswith(".csv"):
            found = f"{rows_in_words(self._short)} with fewer cells"
            needed = f"{len(self._header)} cells as in the header"
            self.findings.note(self._short[0], "", found, needed, "the rest was taken as blank")
        return RawTable(self.name, self.file, self._header, self._columns, self._rows)

    def _tell_comments(self) -> None:
        """Comment rows are listed, and where most rows look like one, an id beginning with # is likelier."""
        comments, full = self._comments, self._full_comments
        if not comments:
            return
        if len(full) > max(len(self._rows), 2):
            self.findings.stop(
                full[0],
                "",
                f"{len(full)} of {len(self._rows) + len(comments)} rows that begin with #",
                "ids that do not begin with # (such a row is a comment)",
                "leave the # out of the ids",
            )
            return
        mend = "they were left out; if one is a record, take the # away" if full else "they were left out as comments"
        self.findings.note(comments[0], "", f"{rows_in_words(comments)} beginning with #", "records or comments", mend)
