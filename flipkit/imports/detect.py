"""What an export leaves open: settled where the file settles it, asked otherwise."""

from __future__ import annotations

import difflib
from collections.abc import Mapping as Answers
from dataclasses import dataclass
from pathlib import Path

from flipkit.books import schema
from flipkit.books.problems import Problem
from flipkit.books.write import CONVERTED
from flipkit.errors import ConversionError
from flipkit.imports import match as import_match
from flipkit.imports import values
from flipkit.imports.join import Stock, stock_of
from flipkit.imports.mapping import File, Mapping, Question, Source, mapping_text, read_mapping
from flipkit.imports.match import Candidate, Draft, survey
from flipkit.imports.merge import books_in, read_ledger
from flipkit.imports.settle import settle, unit_for
from flipkit.imports.sheets import Export, Layout, open_export

# A proposal of how to read an export: what is certain, what is guessed, what must be asked.
#
# A guess is made only where a wrong one would be seen. Where it would pass silently, the order of dates, decimal
# marks, equal rows, rows that add up others, what a price is for, there is a question, and each question names the
# option that settles it.

#: Answers that a proposal understands, by key, beside those that name a column or a header.
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
    "list-is",
    "refunds",
    "ids",
    "names",
    "length-unit",
    "weight-unit",
    "time-unit",
    "cost-zero",
    "year",
)
#: Answers that name a column or a header behind their word.
_NAMED = ("column ", "skip ", "keep ", "means ", "blank ", "words ")


@dataclass(frozen=True)
class Proposal:
    """How an export would be read."""

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
        """The proposal in words."""
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
    """Propose how to read an export of another program."""
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
    if into is not None:
        named = read_ledger(Path(into) / CONVERTED / "named.csv")
        draft.naming = {row["table"]: tuple(row["by"].split("|")) for row in named}
        if mapping is None:
            base = _remembered(Path(into), layout, base, draft)
    draft.seen = frozenset(base.headers)
    base = base.model_copy(update={"headers": tuple(layout.headers)})
    base = base.model_copy(update={"file": _kept_file(opened, file)})
    table = _settle_table(layout, base, draft)
    if not table:
        return _made(opened, layout, base, draft, ())
    columns = _columns(opened, layout, table, base, draft)
    settled = settle(opened, layout, base.model_copy(update={"table": table, "columns": columns}), draft)
    used = {h for source in settled.columns.values() for h in (*source.headers, source.blank)} | {
        *settled.rows.skip,
        *settled.rows.keep,
        *settled.rows.unsold,
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
        if plain.startswith("ignore "):
            plain, value = f"means {plain[7:]}", "ignore"
        if plain not in ANSWERS and not plain.startswith(_NAMED):
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
            choices = [Candidate(name, "convert this sheet") for name in export.sheets]
            draft.decide(
                "sheet", f"{export.path.name} has {len(export.sheets)} sheets with something in them", *choices
            )
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
        draft.decide(
            "header-row",
            f"no row of headers was found; the first row is {shown}",
            Candidate(str(first.row), "this row is the header"),
            Candidate("0", "there is none: columns are called column 1, column 2 and so on"),
            free=True,
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


def _settle_table(layout: Layout, base: Mapping, draft: Draft) -> str:
    said = draft.answers.get("table", base.table)
    if said:
        if said not in values.tables():
            needed = f"one of {', '.join(values.tables())}"
            raise ConversionError([Problem("answers", None, "table", said, needed, "")])
        return said
    likely = import_match.likely_tables(layout, known=draft.stock.ids)
    (best, score), (_, second) = likely[0], likely[1]
    if score >= 3.0 and score - second >= 0.75:
        told = f"each row becomes a row of {best}" if best != values.LABELS else "each row is a label of a sale"
        draft.guessed.append(told)
        return best
    what = {table.name: table.meaning for table in schema.TABLES} | {values.LABELS: "one shipping label of a sale"}
    choices = [Candidate(name, f"a row is {what[name]}") for name, _ in likely]
    draft.decide("table", "the headers do not say what the rows are", *choices)
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
        columns[name] = _said_source(value, layout)
    for name, source in columns.items():
        for header in (*source.headers, *([source.blank] if source.blank else [])):
            if header not in layout.headers:
                raise _no_header(export, layout, header, name)
    spoken = {header for source in columns.values() for header in (*source.headers, source.blank)}
    spoken |= {key.removeprefix("means ") for key, value in draft.answers.items() if key.startswith("means ")}
    for key, name in [(k, v) for k, v in draft.answers.items() if k.startswith("means ") and v in known]:
        header = key.removeprefix("means ")
        if header in layout.headers:
            columns[name] = Source(headers=(header,), unit=unit_for(values.heading(header).unit, table, name))
    named = draft.naming.get(table, ("",))[0]
    if named in layout.headers and named not in spoken and "item_id" in known and "item_id" not in columns:
        columns["item_id"] = Source(headers=(named,))
        spoken.add(named)
        draft.certain.append(f"item_id is {named}, by which the books name their items")
    taken, used = frozenset(columns), frozenset(spoken)
    for match in [] if draft.kept else import_match.matches(layout, table, taken=taken, used=used):
        plain = values.heading(match.header)
        columns[match.column] = Source(headers=(match.header,), unit=unit_for(plain.unit, table, match.column))
        told = f"{match.column} is {match.header}"
        if match.certain:
            draft.certain.append(told)
        else:
            rest = f"; it could be {', '.join(match.rivals)}" if match.rivals else ""
            draft.guessed.append(f"{told} ({min(match.likeness, 99):.0f} % sure{rest})")
    order = {name: at for at, name in enumerate(known)}
    return dict(sorted(columns.items(), key=lambda pair: order[pair[0]]))


def _said_source(value: str, layout: Layout) -> Source:
    """What the seller says a column comes from: a header, its number, headers joined by +, or = and a value."""
    if value.startswith("="):
        return Source(value=value[1:].strip())
    known = {values.heading(header).words: header for header in layout.headers}
    plain, _, unit = value.rpartition(":")
    if value not in layout.headers and plain in layout.headers:
        return Source(headers=(plain,), unit=unit.strip())
    headers = (value,) if value in layout.headers else tuple(part.strip() for part in value.split("+"))
    exact = tuple(header if header in layout.headers else known.get(header.lower(), header) for header in headers)
    return Source(headers=exact, unit=values.heading(exact[0]).unit if len(exact) == 1 else "")


def _remembered(into: Path, layout: Layout, base: Mapping, draft: Draft) -> Mapping:
    """How a file with just these headers was read before, where one was."""
    for path in sorted((into / CONVERTED).glob("*-mapping.toml")):
        try:
            mapping = read_mapping(path)
        except ConversionError:
            continue
        if mapping.headers == tuple(layout.headers) and draft.answers.get("table", mapping.table) == mapping.table:
            draft.kept = True
            draft.certain.append(f"read like the file with the same headers before it: {CONVERTED}/{path.name}")
            return mapping.model_copy(update={"file": base.file})
    return base


def _no_header(export: Export, layout: Layout, header: str, column: str) -> ConversionError:
    near = difflib.get_close_matches(header, layout.headers, n=1)
    mend = f"did you mean {near[0]}?" if near else "for a value that holds for every row write = before it"
    needed = f"one of the headers {', '.join(layout.headers[:30])}"
    row = layout.header_row or None
    return ConversionError([Problem(export.label, row, column, f"no header {header}", needed, mend)])
