"""A proposal of how to read an export: what is certain, what is guessed, what must be asked."""

from __future__ import annotations

from collections.abc import Mapping as Answers
from dataclasses import dataclass
from pathlib import Path

from flipkit.books import schema
from flipkit.books.problems import Problem
from flipkit.books.write import CONVERTED
from flipkit.errors import ConversionError, count_of
from flipkit.imports import ANSWERS, values
from flipkit.imports import match as import_match
from flipkit.imports.dialect import refusal
from flipkit.imports.join import stock_of
from flipkit.imports.mapping import (
    Candidate,
    Draft,
    File,
    Mapping,
    Question,
    Source,
    mapping_text,
    read_mapping,
    require_known,
)
from flipkit.imports.match import survey
from flipkit.imports.merge import books_in, read_ledger
from flipkit.imports.settle import content_of, settle
from flipkit.imports.sheets import Export, Layout, open_export
from flipkit.rules.tables import load_rules

# A guess is made only where a wrong one would be seen. Where it would pass silently, the order of dates, decimal
# marks, equal rows, rows that add up others, what a price is for, there is a question, and each question names the
# option that settles it.

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
    left_over: tuple[str, ...] = ()

    @property
    def table(self) -> Layout:
        """The table found in the export, which every proposal without a question has."""
        assert self.layout is not None  # noqa: S101
        return self.layout

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
        if self.left_over:
            parts.append("Not taken:\n" + "\n".join(f"  {line}" for line in self.left_over))
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
    if books is not None:
        draft.stock, draft.currency = stock_of(books.items), books.shop.currency
    if into is not None and (Path(into) / "rules").is_dir():
        draft.rules = load_rules(Path(into) / "rules")
    if draft.questions:
        return _made(opened, None, base, draft)
    layout = survey(opened, header_row=file.header_row)
    if not _settle_header(opened, layout, file, draft):
        return _made(opened, layout, base, draft)
    if into is not None:
        named = read_ledger(Path(into) / CONVERTED / "named.csv")
        draft.naming = {row["table"]: tuple(row["by"].split("|")) for row in named}
        if mapping is None:
            base = _remembered(Path(into), layout, base, draft)
    draft.seen = frozenset(base.headers)
    base = base.model_copy(update={"headers": tuple(layout.headers), "file": _kept_file(opened, file)})
    table = _settle_table(layout, base, draft)
    if not table:
        return _made(opened, layout, base, draft)
    columns = _columns(opened, layout, table, base, draft)
    settled = settle(opened, layout, base.model_copy(update={"table": table, "columns": columns}), draft)
    return _made(opened, layout, settled, draft, settled=True)


def _made(export: Export, layout: Layout | None, mapping: Mapping, draft: Draft, *, settled: bool = False) -> Proposal:
    rows = mapping.rows
    used = {h for source in mapping.columns.values() for h in (*source.headers, source.blank)}
    used |= {*rows.skip, *rows.keep, *rows.unsold, *rows.gone}
    facts = layout.facts if settled and layout is not None else []
    unused = [fact for fact in facts if fact.filled and fact.header not in used]
    sums = layout.sums(export, [fact for fact in unused if content_of(fact) == "money"]) if layout and settled else {}
    lines = []
    for fact in unused:
        total = f"; they add up to {sums[fact.header]:,}" if fact.header in sums else ""
        lines.append(f"{fact.header}: {', '.join(text[:24] for text in fact.examples[:3])}{total}")
    return Proposal(
        export,
        layout,
        mapping,
        tuple(draft.certain),
        tuple(draft.guessed),
        tuple(draft.questions),
        tuple(lines),
    )


def _checked(answers: Answers[str, str]) -> dict[str, str]:
    said: dict[str, str] = {}
    for key, value in answers.items():
        plain = key.strip()
        if plain.startswith("fixed "):
            plain, value = f"column {plain[6:]}", f"={value}"
        if plain.startswith("ignore "):
            plain, value = f"means {plain[7:]}", "ignore"
        if not plain.startswith(_NAMED):
            require_known("answers", plain, value, plain, ANSWERS)
        said[plain] = value
    return said


def _file(given: File, said: dict[str, str]) -> File:
    changes: dict[str, object] = {key: said[key] for key in ("sheet", "encoding", "delimiter") if key in said}
    if "quote" in said:
        changes["quote"] = {"none": "", "single": "'", "double": '"'}.get(said["quote"], said["quote"])
    row = said.get("header-row", "0")
    if not row.isdigit():
        needed = "a row number, or 0 for none"
        raise ConversionError([Problem("answers", None, "header-row", row, needed, "")])
    if "header-row" in said:
        changes["header_row"] = int(row)
    return given.model_copy(update=changes)


def _tell_file(export: Export, file: File, draft: Draft) -> None:
    if len(export.sheets) > 1 and not file.sheet:
        choices = [Candidate(name, "convert this one") for name in export.sheets]
        what = "sheets with something in them" if export.encoding is None else "tables"
        draft.decide("sheet", f"{export.path.name} has {len(export.sheets)} {what}: which one is it?", *choices)
    elif export.encoding is None:
        draft.certain.append(f"a workbook, sheet {export.sheet}")
    if export.encoding is not None:
        told = f"the text is read as {export.encoding.name}: {export.encoding.why}"
        (draft.certain if export.encoding.certain else draft.guessed).append(told)


def _settle_header(export: Export, layout: Layout, file: File, draft: Draft) -> bool:
    if export.dialect is not None and len(layout.headers) > 1:
        draft.certain.append(f"cells are separated by {export.dialect.word}")
    if layout.header_row == 0 and file.header_row is None:
        first = next(record for record in export.records() if any(record.cells))
        shown = ", ".join(cell[:40] for cell in first.cells[:4] if cell)
        draft.decide(
            "header-row",
            f"no row of headers was found, and the first row is {shown}: is that the header?",
            Candidate(str(first.row), "this row is the header"),
            Candidate("0", "there is none: columns are called column 1, column 2 and so on"),
            free=True,
        )
        return False
    if layout.data_rows == 0:
        found = f"no row of a table below row {layout.last_before}"
        raise refusal(export.label, layout.header_row, found, "rows below the headers", "")
    if layout.header_row:
        more = f", below {len(layout.before)} other lines" if layout.before else ""
        draft.certain.append(f"the headers are in row {layout.header_row}{more}")
    draft.certain.append(f"{count_of(layout.rows_in, 'row that is', 'rows that are')} not blank")
    again = [header for header, given in zip(layout.headers, layout.given, strict=False) if given and header != given]
    doubled = [header for header in again if header.endswith(")")]
    if doubled:
        draft.guessed.append(f"headers that are there twice are now called {', '.join(doubled)}")
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
    if len(export.sheets) > 1:
        changes["sheet"] = export.sheet
    return file.model_copy(update=changes)


def _settle_table(layout: Layout, base: Mapping, draft: Draft) -> str:
    said = draft.answers.get("table", base.table)
    if said:
        return draft.said("table", base.table)
    likely = import_match.likely_tables(layout, known=draft.stock.ids)
    (best, score), (_, second) = likely[0], likely[1]
    if score >= 3.0 and score - second >= 0.75:
        told = f"each row becomes a row of {best}" if best != values.LABELS else "each row is a label of a sale"
        draft.guessed.append(told)
        return best
    what = {table.name: table.meaning for table in schema.TABLES} | {values.LABELS: "one shipping label of a sale"}
    # Where the headers say nothing, things bought and sold are what most lists are of.
    choices = [Candidate(name, f"a row is {what[name]}") for name, _ in sorted(likely, key=lambda p: p[0] != "items")]
    draft.decide("table", "the headers do not say what the rows are: what is one?", *choices)
    return ""


def _columns(export: Export, layout: Layout, table: str, base: Mapping, draft: Draft) -> dict[str, Source]:
    """The source of every column: as the seller says, as the mapping kept, as the headers say."""
    columns: dict[str, Source] = dict(base.columns)
    known = values.columns_of(table)
    spoken: set[str] = set()
    for key, value in draft.answers.items():
        word, _, name = key.partition(" ")
        if word == "column":
            require_known("answers", name.strip(), value, name.strip(), known)
            columns |= _said_sources(value, layout, table, name.strip())
        elif word == "means":
            spoken.add(name)
            if value in known and name in layout.headers:
                columns |= import_match.sources_of(layout, table, value, name)
    for name, source in columns.items():
        for header in filter(None, (*source.headers, source.blank)):
            spoken.add(header)
            require_known(export.label, name, f"no header {header}", header, layout.headers, layout.header_row or None)
    named = draft.naming.get(table, ("",))[0]
    if named in layout.headers and named not in spoken and "item_id" in known and "item_id" not in columns:
        columns["item_id"] = Source(headers=(named,))
        spoken.add(named)
        draft.certain.append(f"item_id is {named}, by which the books name their items")
    taken, used = frozenset(columns), frozenset(spoken)
    for match in [] if draft.kept else import_match.matches(layout, table, taken=taken, used=used):
        columns |= import_match.sources_of(layout, table, match.column, match.header)
        rest = f"; it could be {', '.join(match.rivals)}" if match.rivals else ""
        sure = "" if match.certain else f" ({min(match.likeness, 99):.0f} % sure{rest})"
        (draft.certain if match.certain else draft.guessed).append(f"{match.column} is {match.header}{sure}")
        draft.unsure |= set() if match.certain else {match.column}
    return {name: columns[name] for name in known if name in columns}


def _said_sources(value: str, layout: Layout, table: str, name: str) -> dict[str, Source]:
    """What the seller says a column comes from: a header, headers joined by +, with a unit, or = and a value."""
    if value.startswith("="):
        return {name: Source(value=value[1:].strip())}
    known = {values.heading(header).words: header for header in layout.headers}
    plain, _, unit = value.rpartition(":")
    if value not in layout.headers and plain in layout.headers:
        return import_match.sources_of(layout, table, name, plain, unit.strip())
    headers = (value,) if value in layout.headers else tuple(part.strip() for part in value.split("+"))
    exact = tuple(header if header in layout.headers else known.get(header.lower(), header) for header in headers)
    if len(exact) == 1 and exact[0] in layout.headers:
        return import_match.sources_of(layout, table, name, exact[0])
    return {name: Source(headers=exact)}


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
