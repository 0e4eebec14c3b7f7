"""A proposal of how to read an export: what is certain, what is guessed, what must be asked.

A guess is made only where a wrong one would be seen. Where it would pass silently, the order of
dates, decimal marks, equal rows, rows that add up others, what a price is for, there is a
question, and each question names the option that settles it.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping as Answers
from dataclasses import dataclass
from pathlib import Path

from flipkit.books import schema
from flipkit.books.destination import books_in
from flipkit.books.exports import decisions, words
from flipkit.books.exports.draft import Draft
from flipkit.books.exports.layout import Layout
from flipkit.books.exports.questions import Question
from flipkit.books.exports.survey import survey
from flipkit.books.problems import Problem
from flipkit.errors import ConversionError
from flipkit.imports import match as import_match
from flipkit.imports.join import Stock, stock_of
from flipkit.imports.mapping import File, Mapping, Source, mapping_text
from flipkit.imports.sheets import Export, open_export

#: Answers that a proposal understands, by key; ``column NAME``, ``skip HEADER`` and ``keep HEADER`` beside them.
ANSWERS = (
    "table",
    "sheet",
    "encoding",
    "delimiter",
    "quote",
    "header-row",
    "dates",
    "decimal",
    "currency",
    "duplicates",
    "totals",
    "cost-is",
    "price-is",
    "shipping-is",
    "fees-are",
    "unmatched",
)


@dataclass(frozen=True)
class Proposal:
    """How an export would be read.

    Parameters
    ----------
    export : Export
        The export, opened.
    layout : Layout or None
        Where its table lies; None while that is not settled.
    mapping : Mapping
        How its rows become rows of a table.
    certain : tuple of str
        What is sure, in words.
    guessed : tuple of str
        What was guessed, in words; each can be said otherwise in the mapping.
    questions : tuple of Question
        What only the seller can say.
    unused : tuple of str
        Headers that are not taken.
    """

    export: Export
    layout: Layout | None
    mapping: Mapping
    certain: tuple[str, ...]
    guessed: tuple[str, ...]
    questions: tuple[Question, ...]
    unused: tuple[str, ...]

    @property
    def mapping_toml(self) -> str:
        """The mapping as a small TOML file."""
        return mapping_text(self.mapping, export=self.export.path.name)

    def text(self) -> str:
        """The proposal in words.

        Returns
        -------
        str
            The mapping, what is certain, what is guessed, what is asked.
        """
        parts = [self.mapping_toml.rstrip()]
        if self.certain:
            parts.append("Certain:\n" + "\n".join(f"  {line}" for line in self.certain))
        if self.guessed:
            parts.append("Guessed (say otherwise in the mapping):\n" + "\n".join(f"  {line}" for line in self.guessed))
        if self.unused:
            parts.append(f"Not taken: {', '.join(self.unused)}")
        if self.questions:
            parts.append("To settle first:\n" + "\n".join(f"  {question}" for question in self.questions))
        return "\n\n".join(parts) + "\n"


def propose(
    export: Path | str,
    *,
    answers: Answers[str, str] | None = None,
    mapping: Mapping | None = None,
    into: Path | str | None = None,
) -> Proposal:
    """Propose how to read an export of another program.

    Parameters
    ----------
    export : Path or str
        The file: CSV, TSV, or a workbook.
    answers : mapping of str to str or None
        What the seller says, by the keys of `ANSWERS`, ``column NAME`` (a header, or ``=`` and a
        value for every row), ``skip HEADER`` and ``keep HEADER`` (words, parted by ``|``).
    mapping : Mapping or None
        A mapping that the seller kept from an earlier conversion.
    into : Path, str or None
        Folder of the books that the rows go to, so that sales of items in it need no cost.

    Returns
    -------
    Proposal
        The proposal; it can be applied when it has no questions.

    Raises
    ------
    ConversionError
        If the file is no table, or an answer cannot be.
    """
    said = _checked(answers or {})
    base = mapping or Mapping()
    draft = Draft(said, kept=bool(base.columns))
    file = _file(base.file, said)
    opened = open_export(
        Path(export),
        encoding_name=file.encoding,
        delimiter=file.delimiter,
        quote=file.quote,
        sheet=file.sheet,
    )
    _tell_file(opened, file, draft)
    base = base.model_copy(update={"file": file})
    books = books_in(Path(into)) if into is not None else None
    draft.stock = stock_of(books.items) if books is not None else Stock()
    if draft.questions:
        return _made(opened, None, base, draft, ())
    layout = survey(opened, header_row=file.header_row)
    if not _settle_header(opened, layout, file, draft):
        return _made(opened, layout, base, draft, ())
    base = base.model_copy(update={"file": _kept_file(opened, file)})
    table = _settle_table(opened, layout, base, draft)
    if not table:
        return _made(opened, layout, base, draft, ())
    columns = _columns(opened, layout, table, base, draft)
    settled = decisions.settle(opened, layout, base.model_copy(update={"table": table, "columns": columns}), draft)
    used = {h for source in settled.columns.values() for h in (*source.headers, source.blank)} | {
        *settled.rows.skip,
        *settled.rows.keep,
    }
    unused = tuple(fact.header for fact in layout.facts if fact.filled and fact.header not in used)
    return _made(opened, layout, settled, draft, unused)


def _made(export: Export, layout: Layout | None, mapping: Mapping, draft: Draft, unused: tuple[str, ...]) -> Proposal:
    return Proposal(export, layout, mapping, tuple(draft.certain), tuple(draft.guessed), tuple(draft.questions), unused)


def _checked(answers: Answers[str, str]) -> dict[str, str]:
    said: dict[str, str] = {}
    for key, value in answers.items():
        plain = key.strip()
        if plain.startswith("fixed "):
            plain, value = f"column {plain[6:]}", f"={value}"
        if plain not in ANSWERS and not plain.startswith(("column ", "skip ", "keep ")):
            near = difflib.get_close_matches(plain, ANSWERS, n=1)
            mend = f"did you mean {near[0]}?" if near else ""
            raise ConversionError([Problem("answers", None, plain, value, f"one of {', '.join(ANSWERS)}", mend)])
        said[plain] = value
    return said


def _file(given: File, said: dict[str, str]) -> File:
    changes: dict[str, object] = {}
    for key in ("sheet", "encoding", "delimiter"):
        if key in said:
            changes[key] = said[key]
    if "quote" in said:
        changes["quote"] = {"none": "", "single": "'", "double": '"'}.get(said["quote"], said["quote"])
    if "header-row" in said:
        if not said["header-row"].isdigit():
            needed = "a row number, or 0 for none"
            raise ConversionError([Problem("answers", None, "header-row", said["header-row"], needed, "")])
        changes["header_row"] = int(said["header-row"])
    return given.model_copy(update=changes)


def _tell_file(export: Export, file: File, draft: Draft) -> None:
    if export.sheet:
        if len(export.sheets) > 1 and not file.sheet:
            choices = [(name, "convert this sheet") for name in export.sheets]
            draft.ask("sheet", f"{export.path.name} has {len(export.sheets)} sheets with something in them", *choices)
        else:
            draft.certain.append(f"a workbook, sheet {export.sheet}")
        return
    if export.encoding is not None and export.dialect is not None:
        told = f"the letters are {export.encoding.name}: {export.encoding.why}"
        (draft.certain if export.encoding.certain else draft.guessed).append(told)


def _settle_header(export: Export, layout: Layout, file: File, draft: Draft) -> bool:
    if export.dialect is not None and len(layout.headers) > 1:
        even = all(len(record.cells) == len(layout.headers) for record in layout.kept[:200]) and not layout.short
        told = f"cells are separated by {export.dialect.word}"
        (draft.certain if even or file.delimiter else draft.guessed).append(told)
    if layout.header_row == 0 and file.header_row is None:
        first = next(record for record in export.records() if any(record.cells))
        shown = ", ".join(cell[:40] for cell in first.cells[:4] if cell)
        draft.ask(
            "header-row",
            f"no row of headers was found; the first row is {shown}",
            (str(first.row), "this row is the header"),
            ("0", "there is none: columns are called column 1, column 2 and so on"),
        )
        return False
    if layout.data_rows == 0:
        found = f"no row of a table below row {layout.last_before}"
        raise ConversionError([Problem(export.label, layout.header_row, "", found, "rows below the headers", "")])
    if layout.header_row:
        more = f", below {len(layout.before)} other lines" if layout.before else ""
        draft.certain.append(f"the headers stand in row {layout.header_row}{more}")
    draft.certain.append(f"{layout.rows_in:,} rows that are not blank")
    again = [header for header, given in zip(layout.headers, layout.given, strict=False) if given and header != given]
    doubled = [header for header in again if header.endswith(")")]
    if doubled:
        draft.guessed.append(f"headers that stand twice are told apart as {', '.join(doubled)}")
    return True


def _kept_file(export: Export, file: File) -> File:
    """What a later export of the same program has in common with this one."""
    changes: dict[str, object] = {}
    if export.dialect is not None and export.encoding is not None:
        changes["delimiter"] = export.dialect.word
        if not export.encoding.certain:
            changes["encoding"] = export.encoding.name
        if export.dialect.quote != '"':
            changes["quote"] = export.dialect.quote
    elif len(export.sheets) > 1:
        changes["sheet"] = export.sheet
    return file.model_copy(update=changes)


def _settle_table(export: Export, layout: Layout, base: Mapping, draft: Draft) -> str:
    said = draft.answers.get("table", base.table)
    if said:
        if said not in words.tables():
            needed = f"one of {', '.join(words.tables())}"
            raise ConversionError([Problem("answers", None, "table", said, needed, "")])
        return said
    likely = import_match.likely_tables(layout, known=draft.stock.ids)
    (best, score), (_, second) = likely[0], likely[1]
    if score >= 3.0 and score - second >= 0.75:
        told = f"each row becomes a row of {best}" if best != words.LABELS else "each row is a label of a sale"
        draft.guessed.append(told)
        return best
    what = {table.name: table.meaning for table in schema.TABLES} | {words.LABELS: "one shipping label of a sale"}
    choices = [(name, f"a row is {what[name]}") for name, _ in likely]
    draft.ask("table", "the headers do not say what the rows are", *choices)
    return ""


def _columns(export: Export, layout: Layout, table: str, base: Mapping, draft: Draft) -> dict[str, Source]:
    """The source of every column: as the seller says, as the mapping kept, as the headers say."""
    columns: dict[str, Source] = dict(base.columns)
    known = import_match.columns_of(table)
    for key, value in draft.answers.items():
        if not key.startswith("column "):
            continue
        name = key.removeprefix("column ").strip()
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            mend = f"did you mean {near[0]}?" if near else ""
            raise ConversionError([Problem("answers", None, name, value, f"one of {', '.join(known)}", mend)])
        columns[name] = _said_source(value, layout, export)
    for name, source in columns.items():
        for header in (*source.headers, *([source.blank] if source.blank else [])):
            if header not in layout.headers:
                raise _no_header(export, layout, header, name)
    taken = frozenset(columns)
    for match in [] if draft.kept else import_match.matches(layout, table, taken=taken):
        plain = words.heading(match.header)
        columns[match.column] = Source(headers=(match.header,), unit=_unit(plain.unit, table, match.column))
        told = f"{match.column} is {match.header}"
        if match.certain:
            draft.certain.append(told)
        else:
            rest = f" (it could be {', '.join(match.rivals)})" if match.rivals else ""
            draft.guessed.append(told + rest)
    order = {name: at for at, name in enumerate(known)}
    return dict(sorted(columns.items(), key=lambda pair: order[pair[0]]))


def _unit(unit: str, table: str, column: str) -> str:
    kind = import_match.kind_of(table, column)
    fits = {
        "length": ("in", "cm", "mm", "ft"),
        "weight": ("lb", "oz", "kg", "g"),
        "minutes": ("min", "hour"),
        "miles": ("mile", "km"),
    }
    return unit if unit in fits.get(kind, ()) else ""


def _said_source(value: str, layout: Layout, export: Export) -> Source:
    if value.startswith("="):
        return Source(value=value[1:].strip())
    headers = (value,) if value in layout.headers else tuple(part.strip() for part in value.split("+"))
    known = {words.heading(header).words: header for header in layout.headers}
    exact = tuple(header if header in layout.headers else known.get(header.lower(), header) for header in headers)
    return Source(headers=exact, unit=words.heading(exact[0]).unit if len(exact) == 1 else "")


def _no_header(export: Export, layout: Layout, header: str, column: str) -> ConversionError:
    near = difflib.get_close_matches(header, layout.headers, n=1)
    mend = f"did you mean {near[0]}?" if near else "for a value that holds for every row write = before it"
    needed = f"one of the headers {', '.join(layout.headers[:30])}"
    row = layout.header_row or None
    return ConversionError([Problem(export.label, row, column, f"no header {header}", needed, mend)])
