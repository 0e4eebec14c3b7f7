"""How an export is read, as a small file that the seller can mend."""

from __future__ import annotations

import shlex
import tomllib
from collections.abc import Iterable
from collections.abc import Mapping as Answers
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from pydantic import AliasChoices, BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from flipkit.books.problems import Problem, meant, shortened
from flipkit.books.write import toml_text
from flipkit.errors import ConversionError
from flipkit.imports import ANSWERS, SAID, values
from flipkit.imports.join import Stock
from flipkit.rules.tables import Rules

Order = Literal["", "day-month-year", "month-day-year", "year-month-day"]
Decimal = Literal["", "point", "comma"]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    @field_validator("headers", "ignore", "named_by", mode="before", check_fields=False)
    @classmethod
    def _one_or_many(cls, given: object) -> object:
        return (given,) if isinstance(given, str) else given


class Source(_Strict):
    """Where the cells of one column come from."""

    # The file says "from", which Python keeps for itself.
    headers: tuple[str, ...] = Field(
        default=(), validation_alias=AliasChoices("from", "headers"), serialization_alias="from"
    )
    value: str = ""
    blank: str = ""
    otherwise: str = ""
    words: dict[str, str] = Field(default_factory=dict)
    unit: str = ""
    part: int = 0
    order: Order = ""
    decimal: Decimal = ""
    each: bool = False
    per_order: bool = False
    turned: bool = False

    @model_validator(mode="before")
    @classmethod
    def _headers_alone(cls, given: object) -> object:
        return given if not isinstance(given, str) else {"headers": given}


class File(_Strict):
    """How the file is opened."""

    encoding: str = ""
    delimiter: str = ""
    quote: str | None = None
    sheet: str = ""
    header_row: int | None = None


class Rows(_Strict):
    """Which rows are records."""

    duplicates: Literal["", "separate", "once"] = ""
    totals: Literal["", "leave-out", "keep"] = ""
    refunds: Literal["", "join", "refuse"] = ""
    ids: Literal["", "separate", "same", "note"] = ""
    names: Literal["", "match", "new"] = ""
    named_by: tuple[str, ...] = ()
    left: bool = False
    unsold: dict[str, tuple[str, ...]] = Field(default_factory=dict)
    gone: dict[str, dict[str, str]] = Field(default_factory=dict)
    skip: dict[str, tuple[str, ...]] = Field(default_factory=dict)
    keep: dict[str, tuple[str, ...]] = Field(default_factory=dict)

    @field_validator("skip", "keep", "unsold", mode="before")
    @classmethod
    def _each_one_or_many(cls, given: object) -> object:
        if not isinstance(given, dict):
            return given
        return {key: (value,) if isinstance(value, str) else value for key, value in given.items()}


class Mapping(_Strict):
    """How an export becomes rows of one table."""

    table: str = ""
    file: File = Field(default_factory=File)
    rows: Rows = Field(default_factory=Rows)
    order: Order = ""
    decimal: Decimal = ""
    currency: str = ""
    year: str = ""
    ignore: tuple[str, ...] = ()
    headers: tuple[str, ...] = ()
    columns: dict[str, Source] = Field(default_factory=dict)

    @field_validator("table")
    @classmethod
    def _known_table(cls, given: str) -> str:
        if given and given not in values.tables():
            raise ValueError(f"one of {', '.join(values.tables())}")
        return given


def read_mapping(path: Path) -> Mapping:
    """Read a mapping that the seller kept."""

    def wrong(column: str, found: str, needed: str, mend: str = "") -> Problem:
        return Problem(path.name, None, column, found, needed, mend)

    try:
        mapping = Mapping.model_validate(tomllib.loads(path.read_text(encoding="utf-8-sig")))
    except OSError as error:
        found = error.strerror or str(error)
        raise ConversionError([wrong("", found, "a mapping file", "look at its path")]) from None
    except ValidationError as error:
        raise ConversionError(
            [
                wrong(".".join(map(str, i["loc"])), shortened(str(i["input"])), _needed(i["type"], i["msg"]))
                for i in error.errors()
            ]
        ) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ConversionError([wrong("", str(error), "TOML")]) from None
    except RecursionError:
        raise ConversionError([wrong("", "tables nested too deeply", "TOML as a conversion writes it")]) from None
    known = values.columns_of(mapping.table) if mapping.table else {}
    unknown = next((name for name in mapping.columns if known and name not in known), "")
    if unknown:
        raise ConversionError([wrong(f"columns.{unknown}", unknown, f"one of {', '.join(known)}")])
    return mapping


def _needed(kind: str, message: str) -> str:
    if kind == "extra_forbidden":
        return "a key that a mapping has"
    return message.removeprefix("Value error, ").removeprefix("Input should be ")


def mapping_text(mapping: Mapping, *, export: str) -> str:
    """A mapping as a TOML file with a word beside each line."""
    lines = [
        f"# How flipkit reads {export}. Keep this file and give it again with --mapping for a later export.",
        f"table = {_value(mapping.table)}  # what the rows become",
        *(
            f"{key} = {_value(getattr(mapping, key))}  # {note}"
            for key, note in SAID["mapping"].items()
            if getattr(mapping, key)
        ),
    ]
    lines += _section("file", mapping.file)
    lines += _section("rows", mapping.rows)
    if mapping.columns:
        lines += ["", "[columns]  # a column of the table, and where its cells come from"]
        lines += [
            f"{name} = {_value(source.model_dump(exclude_defaults=True, by_alias=True))}"
            for name, source in mapping.columns.items()
        ]
    return "\n".join(lines) + "\n"


def _section(name: str, part: BaseModel) -> list[str]:
    said, notes = part.model_dump(exclude_defaults=True, exclude={"named_by"}), SAID["mapping_sections"]
    if not said:
        return []
    lines = ["", f"[{name}]"]
    for key, value in said.items():
        note = f"  # {notes[key]}" if key in notes else ""
        lines.append(f"{key} = {_value(value)}{note}")
    return lines


def _value(value: object) -> str:
    return toml_text(_bare(value))


def _bare(value: Any) -> Any:
    """A value with each list of one thing as that thing."""
    if isinstance(value, dict):
        return {key: _bare(held) for key, held in value.items()}
    return value[0] if isinstance(value, list | tuple) and len(value) == 1 else value


# What only the seller can say about an export: a question, its answers, the option that gives one.


@dataclass(frozen=True, slots=True)
class Candidate:
    """One reading of something that an export leaves open, with the evidence for it, from 0 to 1."""

    value: str
    meaning: str = ""
    evidence: float = 0.5
    told: str = ""
    typed: str = ""


@dataclass(frozen=True, slots=True)
class Question:
    """One thing that a guess could get silently wrong; a free one takes words of the seller's own as well."""

    key: str
    option: str
    text: str
    choices: tuple[Candidate, ...] = ()
    free: bool = False

    def __str__(self) -> str:
        if not self.choices:
            return f"{self.text} Say {self.option}"
        ways, name = [], self.key.partition(" ")[2]
        for choice in self.choices:
            plain = shlex.quote(choice.value) if " " in choice.value else choice.value
            typed = choice.typed or (f"'{name}={choice.value}'" if name else plain)
            way = typed if typed.startswith("--") else f"{self.option} {typed}"
            ways.append(f"{way} ({choice.meaning})" if choice.meaning else way)
        return f"{self.text} Say {' or '.join(ways)}"


def require_known(file: str, column: str, found: str, name: str, known: Iterable[str], row: int | None = None) -> None:
    """Refuse a name that is none of those known; the one that comes close is offered."""
    if name not in (names := list(known)):
        needed = f"one of {', '.join(names[:30])}"
        raise ConversionError([Problem(file, row, column, found, needed, meant(name, names))])


#: Evidence from which a reading is certain, from which it may be guessed, and how far it must stand above the next.
SURE, LIKELY, APART = 0.95, 0.7, 0.3


@dataclass
class Draft:
    """A proposal under construction: what was said, what is known of the books, what is certain, guessed and asked."""

    answers: Answers[str, str]
    kept: bool = False
    currency: str = ""
    stock: Stock = field(default_factory=Stock)
    rules: Rules | None = None
    naming: dict[str, tuple[str, ...]] = field(default_factory=dict)
    seen: frozenset[str] = frozenset()
    unsure: set[str] = field(default_factory=set)
    certain: list[str] = field(default_factory=list)
    guessed: list[str] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)

    def said(self, key: str, given: str, values: Iterable[str] = ()) -> str:
        """What the seller said, here or in a kept mapping; refused where it is none of the values."""
        said = self.answers.get(key, given)
        if said and said not in (known := list(values or ANSWERS[key][1])):
            raise ConversionError([Problem("answers", None, key, said, f"one of {', '.join(known)}", "")])
        return said

    def settle(
        self, key: str, text: str, sure: Answers[str, float] | None = None, *, given: str = "", told: str = ""
    ) -> str | None:
        """Decide among the usual words of an answer, by how sure each is; the surest is told."""
        ways = {word: (sure or {}).get(word, 0.5) for word in ANSWERS[key][1]}
        best = max(ways.values())
        said = (Candidate(w, ANSWERS[key][1][w], one, told if one == best else "") for w, one in ways.items())
        return self.decide(key, text, *said, given=given)

    def decide(
        self, key: str, text: str, *candidates: Candidate, given: str = "", option: str = "", free: bool = False
    ) -> str | None:
        """The one way in which a guess is made: the seller's word, else evidence that stands out, else a question."""
        if key in self.answers or given:
            return self.answers.get(key, given) if free else self.said(key, given, [c.value for c in candidates])
        best, after, *_ = [*sorted(candidates, key=lambda c: -c.evidence), *[Candidate("", evidence=0.0)] * 2]
        if best.evidence >= LIKELY and best.evidence - after.evidence >= APART:
            if best.told:
                (self.certain if best.evidence >= SURE else self.guessed).append(best.told)
            return best.value
        word = key.partition(" ")[0]
        self.questions.append(
            Question(key, option or f"--{word if word != 'means' else 'column'}", text, candidates, free)
        )
        return None
