"""A proposal under construction: what was said, what is certain, guessed and asked."""

from __future__ import annotations

from collections.abc import Mapping as Answers
from dataclasses import dataclass, field

from flipkit.books.exports.facts import ColumnFacts
from flipkit.books.exports.layout import Layout
from flipkit.books.exports.questions import Choice, Question
from flipkit.books.problems import Problem
from flipkit.errors import ConversionError
from flipkit.imports import match
from flipkit.imports.join import Stock
from flipkit.imports.mapping import Mapping

MONEY = ("money", "signed money")
NUMBERS = (*MONEY, "number", "count", "miles", "rate", "length", "weight", "minutes")


@dataclass
class Draft:
    """A proposal under construction.

    Parameters
    ----------
    answers : mapping of str to str
        What the seller has said.
    kept : bool
        Whether the columns come from a mapping that the seller kept, and are not questioned again.
    stock : Stock
        The items of the books that the export goes to.
    """

    answers: Answers[str, str]
    kept: bool = False
    stock: Stock = field(default_factory=Stock)
    certain: list[str] = field(default_factory=list)
    guessed: list[str] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)

    def ask(self, key: str, text: str, *choices: tuple[str, ...], option: str = "") -> None:
        """Add a question; a choice is an answer, its meaning and what is typed behind the option."""
        made = tuple(Choice(*choice) for choice in choices)
        self.questions.append(Question(key, option or f"--{key}", text, made))


def facts_of(layout: Layout, mapping: Mapping, kinds: tuple[str, ...]) -> dict[str, ColumnFacts]:
    """Facts of the columns of some kinds that come from one header, by column.

    Parameters
    ----------
    layout : Layout
        Where the table lies.
    mapping : Mapping
        Its columns.
    kinds : tuple of str
        Kinds of columns.

    Returns
    -------
    dict of str to ColumnFacts
        The facts.
    """
    return {
        name: layout.fact(source.headers[0])
        for name, source in mapping.columns.items()
        if len(source.headers) == 1 and match.kind_of(mapping.table, name) in kinds
    }


def updated(mapping: Mapping, **changes: object) -> Mapping:
    """A mapping with changes.

    Parameters
    ----------
    mapping : Mapping
        The mapping.
    **changes : object
        What is new.

    Returns
    -------
    Mapping
        The changed mapping.
    """
    return mapping.model_copy(update=changes)


def with_column(mapping: Mapping, name: str, **changes: object) -> Mapping:
    """A mapping with one column changed.

    Parameters
    ----------
    mapping : Mapping
        The mapping.
    name : str
        The column.
    **changes : object
        What is new.

    Returns
    -------
    Mapping
        The changed mapping.
    """
    source = mapping.columns[name].model_copy(update=changes)
    return updated(mapping, columns={**mapping.columns, name: source})


def said_of(draft: Draft, key: str, given: str, choices: tuple[str, ...]) -> str:
    """What the seller said to one question, here or in a kept mapping.

    Parameters
    ----------
    draft : Draft
        The proposal under construction.
    key : str
        The question.
    given : str
        What the mapping says.
    choices : tuple of str
        What may be said.

    Returns
    -------
    str
        The answer; empty where there is none.
    """
    said = draft.answers.get(key, given)
    if said and said not in choices:
        raise ConversionError([Problem("answers", None, key, said, f"one of {', '.join(choices)}", "")])
    return said
