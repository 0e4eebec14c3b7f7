"""The errors that flipkit raises, one tree.

* FlipkitError
  + MeasureError (ValueError)            a length, weight or time that cannot be read
  + MoneyError (ValueError)              an amount or a rate that cannot be read
  + BooksError (ValueError)              problems in the seller's books, all of them at once
  + ConversionError (ValueError)         an export that cannot be taken as it is, or not without an answer
  + RecordError (ValueError)             a thing that cannot be recorded as it was said
  + AssumptionError (ValueError)         an assumption that is unknown or out of range
  + RuleTableError (ValueError)          a rule table that is malformed
  + RuleNotInForceError (LookupError)    no block of a rule set covers the day asked for
  + NotEnoughDataError (ValueError)      an estimate asked of fewer observations than it needs
  + NotebookParameterError (TypeError)   a notebook given a parameter that it does not declare
  + NotebookFailedError (RuntimeError)   a notebook stopped before its end, or its page could not be made
  + ChartError (ValueError)              a frame that a chart cannot draw
  + PackError (ValueError)               a folder that a pack may not be written to, or pages that failed

Every message says what was given, what is needed and how to mend it. Every error keeps its
fields as attributes and can be pickled, so that it crosses a process boundary whole.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any


def count_of(number: int, noun: str, plural: str = "") -> str:
    """A number with its noun.

    >>> count_of(1, "sale"), count_of(1200, "category", "categories")
    ('1 sale', '1,200 categories')
    """
    return f"{number:,} {noun if number == 1 else plural or noun + 's'}"


class FlipkitError(Exception):
    """Anything that flipkit itself finds wrong; the command line prints it as one line."""

    def __init__(self, message: str, **fields: Any) -> None:
        super().__init__(message)
        self.message = message
        self.fields = fields

    def __str__(self) -> str:
        return self.message

    def __reduce__(self) -> tuple[Any, ...]:
        return (_rebuild, (type(self), self.message, self.fields))


def _rebuild(kind: type[FlipkitError], message: str, fields: dict[str, Any]) -> FlipkitError:
    error = kind.__new__(kind)
    FlipkitError.__init__(error, message, **fields)
    for name, value in fields.items():
        setattr(error, name, value)
    return error


class _FieldError(FlipkitError):
    """An error about one named value: what it is, what it needs, what it got, how to mend it."""

    def __init__(self, name: str, *, need: str, got: object, where: str = "", mend: str = "") -> None:
        text = f"{name} must be {need}, got {_brief(got)}"
        if where:
            text += f" ({where})"
        if mend:
            text += f": {mend}"
        super().__init__(text, name=name, need=need, got=got, where=where, mend=mend)
        self.name = name
        self.need = need
        self.got = got
        self.where = where
        self.mend = mend


def _brief(got: object, most: int = 200) -> str:
    """A value as a message repeats it; a cell can hold a whole pasted page, a number thousands of digits."""
    try:
        text = repr(got)
    except ValueError:  # Python writes no whole number of more than 4,300 digits
        return "a number of thousands of digits"
    return text if len(text) <= most else f"{text[: most - 1]}…"


class MeasureError(_FieldError, ValueError):
    """A length, a weight or a time that cannot be read or makes no sense."""


class MoneyError(_FieldError, ValueError):
    """An amount of money or a rate that cannot be read exactly."""


class AssumptionError(_FieldError, ValueError):
    """An assumption that the kit does not know, or a value that it cannot take."""


class RuleTableError(FlipkitError, ValueError):
    """A rule table that is malformed.

    Names the file, the block, the key, what was found and what is needed.
    """

    def __init__(self, file: str, *, block: str = "", key: str = "", found: object, needed: str) -> None:
        place = ", ".join(part for part in (f"block {block}" if block else "", f"key {key}" if key else "") if part)
        said = f"this is {found!r}" if key else str(found)
        said = "this is missing" if found in (None, "nothing") else said
        text = f"{file}{': ' + place if place else ''}: {said}. It needs {needed}"
        super().__init__(text, file=file, block=block, key=key, found=found, needed=needed)
        self.file = file
        self.block = block
        self.key = key
        self.found = found
        self.needed = needed


class RuleNotInForceError(FlipkitError, LookupError):
    """No block of a rule set covers the day asked for."""

    def __init__(self, rule_set: str, day: dt.date, dates: Sequence[str], *, mend: str = "") -> None:
        known = "; ".join(dates) if dates else "none"
        text = f"{rule_set} has no block in force on {day.isoformat()}; its blocks: {known}"
        text += f"; to mend it, {mend}" if mend else ""
        super().__init__(text, rule_set=rule_set, day=day, dates=tuple(dates), mend=mend)
        self.rule_set = rule_set
        self.day = day
        self.dates = tuple(dates)
        self.mend = mend


class BooksError(FlipkitError, ValueError):
    """The seller's books cannot be used as they are.

    ``problems`` holds every problem found, each with file, row, column, found, needed and mend.
    """

    def __init__(self, problems: Sequence[Any]) -> None:
        head = f"the books have {count_of(len(problems), 'problem')} to mend first"
        text = "\n".join([head, *(str(problem) for problem in problems)])
        super().__init__(text, problems=tuple(problems))
        self.problems = tuple(problems)


class ConversionError(FlipkitError, ValueError):
    """An export of another program cannot be taken as it is, or not before a question is settled.

    ``problems`` holds what is wrong, ``questions`` what only the seller can say, each naming the
    option that says it.
    """

    def __init__(self, problems: Sequence[Any] = (), questions: Sequence[Any] = ()) -> None:
        text = "\n".join([*(str(problem) for problem in problems), *(str(question) for question in questions)])
        super().__init__(text, problems=tuple(problems), questions=tuple(questions))
        self.problems = tuple(problems)
        self.questions = tuple(questions)


class RecordError(FlipkitError, ValueError):
    """A thing that happened cannot be recorded as it was said; nothing was written."""


class NotEnoughDataError(_FieldError, ValueError):
    """An estimate was asked of fewer observations than it needs."""


class NotebookParameterError(FlipkitError, TypeError):
    """A notebook was given a parameter that it does not declare, or lacks one that it needs."""

    def __init__(self, notebook: str, *, unknown: Sequence[str], declared: Sequence[str]) -> None:
        text = (
            f"{notebook} declares no parameter {', '.join(sorted(unknown))}; "
            f"it declares {', '.join(sorted(declared)) or 'none'}"
        )
        super().__init__(text, notebook=notebook, unknown=tuple(unknown), declared=tuple(declared))
        self.notebook = notebook
        self.unknown = tuple(unknown)
        self.declared = tuple(declared)


class NotebookFailedError(FlipkitError, RuntimeError):
    """A notebook stopped before its end, or its page could not be made.

    ``cell`` counts from 1 in the executed notebook; it is None where no cell is to blame.
    """

    def __init__(self, page: str, *, notebook: str, cause: str, cell: int | None = None, source: str = "") -> None:
        place = notebook if cell is None else f"{notebook} cell {cell}"
        text = f"the page {page} was not made: {place}: {cause}"
        lines = [line.strip() for line in source.splitlines() if line.strip()]
        if lines:
            text += f" (the cell begins: {lines[0][:80]})"
        super().__init__(text, page=page, notebook=notebook, cause=cause, cell=cell, source=source)
        self.page = page
        self.notebook = notebook
        self.cause = cause
        self.cell = cell
        self.source = source


class ChartError(_FieldError, ValueError):
    """A frame that a chart cannot draw: a column is missing, or holds what has no picture."""


class PackError(_FieldError, ValueError):
    """A pack of pages that cannot be put where it was asked for."""
