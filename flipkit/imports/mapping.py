"""How an export is read, as a small file that the seller can mend."""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from flipkit.books import schema
from flipkit.books.problems import Problem, shortened
from flipkit.errors import ConversionError
from flipkit.imports import values
from flipkit.imports.values import ORDERS

# How an export is read, as a small TOML file that the seller can read, mend and keep.

Order = Literal["", "day-month-year", "month-day-year", "year-month-day"]
Decimal = Literal["", "point", "comma"]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Source(_Strict):
    """Where the cells of one column come from."""

    headers: tuple[str, ...] = ()
    value: str = ""
    blank: str = ""
    otherwise: str = ""
    words: dict[str, str] = Field(default_factory=dict)
    unit: str = ""
    order: Order = ""
    decimal: Decimal = ""
    each: bool = False
    per_order: bool = False
    turned: bool = False

    @model_validator(mode="before")
    @classmethod
    def _from_is_headers(cls, given: object) -> object:
        # The file says "from", which Python keeps for itself.
        if isinstance(given, dict) and "from" in given:
            return {"headers": given["from"], **{key: value for key, value in given.items() if key != "from"}}
        return given if not isinstance(given, str) else {"headers": given}

    @field_validator("headers", mode="before")
    @classmethod
    def _one_or_many(cls, given: object) -> object:
        return (given,) if isinstance(given, str) else given


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
    unsold: dict[str, tuple[str, ...]] = Field(default_factory=dict)
    skip: dict[str, tuple[str, ...]] = Field(default_factory=dict)
    keep: dict[str, tuple[str, ...]] = Field(default_factory=dict)

    @field_validator("named_by", mode="before")
    @classmethod
    def _names(cls, given: object) -> object:
        return (given,) if isinstance(given, str) else given

    @field_validator("skip", "keep", "unsold", mode="before")
    @classmethod
    def _one_or_many(cls, given: object) -> object:
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

    @field_validator("ignore", "headers", mode="before")
    @classmethod
    def _one_or_many(cls, given: object) -> object:
        return (given,) if isinstance(given, str) else given

    @field_validator("table")
    @classmethod
    def _known_table(cls, given: str) -> str:
        if given and given not in values.tables():
            raise ValueError(f"one of {', '.join(values.tables())}")
        return given


def read_mapping(path: Path) -> Mapping:
    """Read a mapping that the seller kept."""
    try:
        given = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise _wrong(path, "", error.strerror or str(error), "a mapping file", "look at its path") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise _wrong(path, "", str(error), "TOML", "") from None
    except RecursionError:
        raise _wrong(path, "", "tables nested too deeply", "TOML as a conversion writes it", "") from None
    try:
        mapping = Mapping.model_validate(given)
    except ValidationError as error:
        problems = [
            Problem(
                path.name,
                None,
                ".".join(str(part) for part in issue["loc"]),
                shortened(str(issue["input"])),
                _needed(issue["type"], issue["msg"]),
                "",
            )
            for issue in error.errors()
        ]
        raise ConversionError(problems) from None
    known = _columns(mapping.table)
    unknown = [name for name in mapping.columns if mapping.table and name not in known]
    if unknown:
        raise _wrong(path, f"columns.{unknown[0]}", unknown[0], f"one of {', '.join(known)}", "")
    return mapping


def _columns(table: str) -> list[str]:
    if table in schema.BY_NAME:
        return [column.name for column in schema.BY_NAME[table].columns]
    return list(values.known_words().get(table, {}))


def _needed(kind: str, message: str) -> str:
    if kind == "extra_forbidden":
        return "a key that a mapping has"
    return message.removeprefix("Value error, ").removeprefix("Input should be ")


def _wrong(path: Path, column: str, found: str, needed: str, mend: str) -> ConversionError:
    return ConversionError([Problem(path.name, None, column, found, needed, mend)])


def mapping_text(mapping: Mapping, *, export: str) -> str:
    """A mapping as a TOML file with a word beside each line."""
    lines = [
        f"# How flipkit reads {export}. Keep this file and give it again with --mapping for a later export.",
        f"table = {_quoted(mapping.table)}  # what the rows become",
    ]
    if mapping.order:
        lines.append(f"order = {_quoted(mapping.order)}  # of dates: {', '.join(ORDERS)}")
    if mapping.decimal:
        lines.append(f"decimal = {_quoted(mapping.decimal)}  # mark before the part of a number: point or comma")
    if mapping.currency:
        lines.append(f"currency = {_quoted(mapping.currency)}")
    if mapping.year:
        lines.append(f"year = {_quoted(mapping.year)}  # of days that are written without one")
    if mapping.ignore:
        lines.append(f"ignore = {_value(mapping.ignore)}  # headers that are not for the books")
    if mapping.headers:
        lines.append(f"headers = {_value(mapping.headers)}  # a file with just these is read this way")
    lines += _section("file", mapping.file, {"header_row": "row of the headers, 0 for none"})
    rows = {
        "duplicates": "equal rows are separate things, or count once",
        "totals": "rows that add up others",
        "refunds": "rows with a negative price are refunds of their order",
        "ids": "rows that share a number",
        "names": "rows without the number that the books go by",
        "unsold": "words that say a row is not sold",
    }
    lines += _section("rows", mapping.rows, rows)
    if mapping.columns:
        lines += ["", "[columns]  # a column of the table, and where its cells come from"]
        lines += [f"{name} = {_source(source)}" for name, source in mapping.columns.items()]
    return "\n".join(lines) + "\n"


def _section(name: str, part: BaseModel, comments: dict[str, str]) -> list[str]:
    said = part.model_dump(exclude_defaults=True, exclude={"named_by"})
    if not said:
        return []
    lines = ["", f"[{name}]"]
    for key, value in said.items():
        note = f"  # {comments[key]}" if key in comments else ""
        lines.append(f"{key} = {_value(value)}{note}")
    return lines


def _source(source: Source) -> str:
    said: dict[str, Any] = source.model_dump(exclude_defaults=True)
    return _value({"from" if key == "headers" else key: value for key, value in said.items()})


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, list | tuple):
        return _value(value[0]) if len(value) == 1 else f"[{', '.join(map(_value, value))}]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + " }"
    return _quoted(str(value))


def _key(key: str) -> str:
    return key if key.replace("_", "").replace("-", "").isalnum() and key.isascii() else _quoted(key)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


# What only the seller can say about an export: a question, its answers, the option that gives one.


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer to a question."""

    value: str
    meaning: str
    typed: str = ""


@dataclass(frozen=True, slots=True)
class Question:
    """One thing that a guess could get silently wrong; a free one takes words of the seller's own as well."""

    key: str
    option: str
    text: str
    choices: tuple[Choice, ...] = ()
    free: bool = False

    def __str__(self) -> str:
        if not self.choices:
            return f"{self.text}: settle it with {self.option}"
        ways = []
        for choice in self.choices:
            way = f"{self.option} {choice.typed or choice.value}"
            ways.append(f"{way} ({choice.meaning})" if choice.meaning else way)
        return f"{self.text}: settle it with {' or '.join(ways)}"
