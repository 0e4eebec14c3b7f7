"""What only the seller can say about an export: a question, its answers, the option that gives one."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer to a question.

    Parameters
    ----------
    value : str
        The answer.
    meaning : str
        What it does, with an example from the export.
    typed : str
        What is typed behind the option, where it is not the answer alone.
    """

    value: str
    meaning: str
    typed: str = ""


@dataclass(frozen=True, slots=True)
class Question:
    """One thing that a guess could get silently wrong.

    Parameters
    ----------
    key : str
        Name of the answer in ``answers`` and in the mapping.
    option : str
        Option of the command line that settles it.
    text : str
        The question, with what was seen.
    choices : tuple of Choice
        The answers that are possible; empty where any text may be one.
    """

    key: str
    option: str
    text: str
    choices: tuple[Choice, ...] = ()

    def __str__(self) -> str:
        if not self.choices:
            return f"{self.text}: settle it with {self.option}"
        ways = []
        for choice in self.choices:
            way = f"{self.option} {choice.typed or choice.value}"
            ways.append(f"{way} ({choice.meaning})" if choice.meaning else way)
        return f"{self.text}: settle it with {' or '.join(ways)}"
