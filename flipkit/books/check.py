"""What a report can and cannot say from these books, and what to record next."""

from __future__ import annotations

import contextlib
import csv
import datetime as dt
import importlib.resources
import io
import tomllib
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from flipkit.assumptions import Assumptions, load_assumptions
from flipkit.books import schema
from flipkit.books.problems import Problem, folded
from flipkit.books.read import Books, inspect_books
from flipkit.books.schema import Table
from flipkit.books.tabular import EXAMPLE
from flipkit.books.write import CONVERTED, NOT_TAKEN, csv_text, staged, toml_text
from flipkit.errors import BooksError, FlipkitError, count_of
from flipkit.rules.blocks import RuleSet
from flipkit.rules.tables import Rules, load_rules

# Rule tables that the dates of the books, or of the weeks to come, leave.

#: How far ahead the check looks for the end of a rule table. [days]
AHEAD_DAYS = 60


@dataclass(frozen=True, slots=True)
class RunOut:
    """A rule table that some day leaves: its last block has ended, or its first has not begun."""

    table: str
    day: dt.date
    #: The last day of the block that ended; None where the day lies before the first block.
    ended: dt.date | None
    #: Rows of the books that leave the table, and where the first stands; none where only days to come do.
    rows: int
    where: str
    own_file: str
    lines: tuple[str, ...]

    @property
    def text(self) -> str:
        """What runs out, when, and what a report does then."""
        if self.ended is None:
            return f"{self.table} has nothing for {self.day.isoformat()} ({self.where}); no report is made without it."
        end = f"{self.table} ends on {self.ended.isoformat()}"
        if not self.rows:
            return f"{end}. From then on a report goes on with its last value and calls it assumed."
        rows = count_of(self.rows, "row")
        return f"{end}. Its last value stands in for {rows} of the books from {self.day.isoformat()} on ({self.where})."


def rule_days(books: Books, rules: Rules, assumptions: Assumptions, day: dt.date) -> Iterator[tuple[Any, pd.DataFrame]]:
    """Each rule table that a report asks, with the days that it is asked for and the rows that they stand in."""
    items = books.items
    sold = items[items["sold_on"].notna()]
    venue = sold["venue"].where(sold["venue"] != "", assumptions.text("venue.default"))
    unpaid = sold["fees_paid_cents"].isna()
    for name, schedule in sorted(rules.fee_schedules.items()):
        if (venue == name).any():
            yield schedule, _rows_asked(sold[unpaid & (venue == name)], "sold_on", "items")
    posted = sold[sold["label_paid_cents"].isna() & (sold["zone"] != schema.PICKUP)]
    names = [name.strip() for name in assumptions.text("postage.rate_cards").split(",")]
    cards = [rules.rate_cards[name] for name in names if name in rules.rate_cards]
    for table in [*cards, *{card.parcel_rules: rules.rules_of(card) for card in cards}.values()]:
        yield table, _rows_asked(posted, "sold_on", "items")
    driven = books.trips[books.trips["miles"].fillna(0) > 0]
    if len(driven):
        yield rules.mileage, _rows_asked(driven, "date", "trips")
    # The classes are a yardstick: what is older than the table is measured by its first block.
    first = rules.size_classes.blocks[0].starts
    classed = _rows_asked(sold.assign(sold_on=sold["sold_on"].clip(lower=pd.Timestamp(first))), "sold_on", "items")
    yield rules.size_classes, classed
    if rules.size_classes.rules is not None:
        yield rules.size_classes.rules, classed


def _rows_asked(frame: pd.DataFrame, column: str, table: str) -> pd.DataFrame:
    return pd.DataFrame({"day": frame[column], "row": frame["row"], "table": table, "column": column})


def rules_run_out(
    books: Books, rules: Rules, assumptions: Assumptions, *, day: dt.date, ahead: int = 0
) -> tuple[RunOut, ...]:
    """The rule tables that dates of the books leave, or that the days up to some days after a day will."""
    found: dict[str, RunOut] = {}
    for table, asked in rule_days(books, rules, assumptions, day):
        begun = np.datetime64(table.blocks[0].starts, "D")
        days = asked["day"].to_numpy().astype("datetime64[D]")
        for gone in (days < begun, table.past(days)):
            if gone.any():
                first = asked[gone].sort_values("day", kind="stable").iloc[0]
                where = f"{schema.BY_NAME[first['table']].file} row {first['row']}, column {first['column']}"
                told = _run_out(table, first["day"].date(), int(gone.sum()), where)
                found.setdefault(f"{table.title} {told.ended}", told)
        for later in (day, day + dt.timedelta(days=ahead)):
            if table.past([later])[0]:
                told = _run_out(table, later, 0, "")
                found.setdefault(f"{table.title} {told.ended}", told)
    return tuple(found.values())


def _run_out(table: RuleSet[Any], day: dt.date, rows: int, where: str) -> RunOut:
    ended = max((block.ends for block in table.blocks if block.ends and block.ends < day), default=None)
    return RunOut(table.title, day, ended, rows, where, table.own_file, table.lines_for(day))


# What a report can and cannot say from these books, in the seller's words, and what to record next.


@dataclass(frozen=True, slots=True)
class Statement:
    """One thing that a report can say, or cannot, and what would change that."""

    able: bool
    text: str
    record: str = ""
    gain: float = 0.0


#: What a row of a table is called, and several, where the table's name is not just its plural.
_NOUNS = {
    "work": ("stretch of work", "stretches of work"),
    "price_changes": ("price change",),
    "supplies": ("supply", "supplies"),
    "people": ("person", "people"),
}


@dataclass(frozen=True)
class Check:
    """What is wrong with books, and what a report can say from them."""

    path: Path
    books: Books | None
    problems: tuple[Problem, ...]
    statements: tuple[Statement, ...]
    running_out: tuple[RunOut, ...] = ()

    @property
    def stops(self) -> tuple[Problem, ...]:
        """The problems that must be mended first."""
        return tuple(problem for problem in self.problems if problem.severity == "stop")

    @property
    def next_to_record(self) -> tuple[str, ...]:
        """What to record next, the greatest gain first."""
        lacking = sorted((s for s in self.statements if s.record), key=lambda s: -s.gain)
        return tuple(dict.fromkeys(s.record for s in lacking))

    def as_dict(self) -> dict[str, Any]:
        """The check for a program to read."""
        return {
            "problems": [asdict(problem) for problem in self.problems],
            "running_out": [one.text for one in self.running_out],
            "not_in_the_books": not_taken(self.path),
            "can_say": [statement.text for statement in self.statements if statement.able],
            "cannot_say": [statement.text for statement in self.statements if not statement.able],
            "record_next": list(self.next_to_record),
        }

    def text(self) -> str:
        """The check in words."""
        parts: list[str] = []
        stops = self.stops
        if stops:
            head = f"{count_of(len(stops), 'problem')} to mend before a report can be made:"
            parts.append("\n".join([head, *(f"  {line}" for line in folded(stops))]))
        notes = [problem for problem in self.problems if problem.severity == "note"]
        if notes:
            parts.append("\n".join(["Worth knowing:", *(f"  {line}" for line in folded(notes))]))
        for one in self.running_out:
            head = f"A rule table runs out: {one.text}"
            tail = f"Add to {one.own_file} beside the books, with the new figures in place of the last ones:"
            parts.append("\n".join([head, tail, *(f"  {line}" for line in one.lines)]))
        if self.books is None:
            return "\n\n".join(parts) + "\n"
        missing = not_taken(self.path)
        if missing:
            parts.append("\n".join(["Not in the books:", *(f"  {line}" for line in missing)]))
        counts = {name: len(self.books.table(name)) for name in schema.BY_NAME}
        there = ", ".join(count_of(count, *_NOUNS.get(name, (name[:-1],))) for name, count in counts.items() if count)
        parts.append(f"{self.path.name} holds {there or 'no items yet'}.")
        for able, head in ((True, "The report can say:"), (False, "The report cannot say, or only assume:")):
            lines = [f"  {statement.text}" for statement in self.statements if statement.able == able]
            if lines:
                parts.append("\n".join([head, *lines]))
        if self.next_to_record:
            lines = [f"  {n}. {what}" for n, what in enumerate(self.next_to_record[:4], start=1)]
            parts.append("\n".join(["To gain most, record next:", *lines]))
        return "\n\n".join(parts) + "\n"


def not_taken(path: Path) -> list[str]:
    """What conversions refused or left blank, a sentence a file: the books lack it."""
    place = path / CONVERTED / NOT_TAKEN
    if not place.is_file():
        return []
    found = []
    with place.open(encoding="utf-8", newline="") as handle:
        for row in csv.DictReader(handle):
            for key, noun, what in (("rows", "row", "taken"), ("cells", "cell", "read")):
                if count := int(row[key]):
                    lacks = "missing here" if key == "rows" else "blank"
                    be = "is" if count == 1 else "are"
                    found.append(f"{count_of(count, noun)} of {row['file']} could not be {what} and {be} {lacks}.")
    return found


def check(path: Path | str, *, as_of: dt.date | None = None, too_few: int | None = None) -> Check:
    """Check books and say what a report can tell from them."""
    day = as_of or dt.date.today()
    books, problems = inspect_books(path, as_of=day)
    enough = too_few if too_few is not None else _packaged_too_few()
    if books is None:
        return Check(Path(path), books, tuple(problems), ())
    statements = tuple(statements_of(books, enough))
    try:
        rules = load_rules(books.rules_folder)
        held = load_assumptions(books.assumptions_file, currency=books.shop.currency)
    except FlipkitError as error:
        problem = Problem("rules and assumptions", None, "", str(error), "tables that can be read", "mend that file")
        return Check(Path(path), books, (*problems, problem), statements)
    running_out = rules_run_out(books, rules, held, day=day, ahead=AHEAD_DAYS)
    problems += [
        Problem(one.own_file, None, "from", one.text, "a block for that day", "its lines stand below")
        for one in running_out
        if one.ended is None
    ]
    return Check(Path(path), books, tuple(problems), statements, running_out)


def _packaged_too_few() -> int:
    text = importlib.resources.files("flipkit").joinpath("assumptions.toml").read_text(encoding="utf-8")
    return int(tomllib.loads(text)["report"]["too_few_items"]["value"])


class _Of(NamedTuple):
    """A part of a whole, shown with the noun that a format names.

    >>> f"{_Of(2, 3):item}, {_Of(3, 3):item}, {_Of(1, 1):item}"
    '2 of 3 items, all 3 items, 1 item'
    """

    part: int
    whole: int

    def __format__(self, noun: str) -> str:
        told = count_of(self.whole, noun)
        return f"{self.part:,} of {told}" if self.part < self.whole else f"all {told}" if self.whole != 1 else told


def statements_of(books: Books, enough: int) -> list[Statement]:
    """What the books can tell and what they cannot, with what would have to be recorded."""
    items = books.items
    if items.empty:
        return [
            Statement(False, "anything: no items yet", "items, with item_id, title, category, bought_on, cost", 9.0)
        ]
    sold = items[items["sold_on"].notna()]
    posted = sold[sold["zone"].str.lower() != schema.PICKUP]
    return [
        *_sales(items, sold, enough),
        *_hours(books, sold),
        *_fees(books, sold),
        *_labels(posted),
        *_sizes(items),
        *_waiting(books),
        *_comparables(books),
        *_buying(books),
        *_prices(books),
        *_abroad(books),
    ]


def _sales(items: pd.DataFrame, sold: pd.DataFrame, enough: int) -> list[Statement]:
    """What was earned, per category, and on how many sales that rests."""
    total = len(items)
    kinds = items["category"].nunique()
    paid = f"what {count_of(total, 'item')} in {count_of(kinds, 'category', 'categories')} cost"
    if sold.empty:
        record = "each sale: sold_on and sold_price"
        return [
            Statement(True, f"{paid}; all of it is still tied up"),
            Statement(False, "what an hour earned: nothing sold yet", record, 8.0),
        ]
    counts = sold["category"].value_counts()
    many, few = counts[counts >= enough], counts[counts < enough]
    found = [Statement(True, f"{paid}, and what {count_of(len(sold), 'sale')} brought")]
    if len(many):
        found.append(Statement(True, f"an hourly return with its interval for {', '.join(sorted(many.index)[:12])}"))
    if len(few):
        names = ", ".join(f"{name} ({count})" for name, count in sorted(few.items())[:12])
        text = f"which of these is worth its hours, with fewer than {enough} sales each: {names}: too few to tell"
        found.append(Statement(False, text))
    return found


def _hours(books: Books, sold: pd.DataFrame) -> list[Statement]:
    work, record = books.work, "work.csv: minutes for the items that you handle, even a few of each kind"
    if work.empty:
        return [Statement(False, "your own hours: no work table, so hours are standard minutes", record, 5.0)]
    logged = set(work.loc[work["item_id"] != "", "item_id"]) & set(sold["item_id"])
    share = len(logged) / max(len(sold), 1)
    stretches = count_of(len(work), "logged stretch", "logged stretches") + " of work"
    kinds = [activity for activity in schema.ACTIVITIES if activity not in set(work["activity"])]
    found = [Statement(True, f"hours from {stretches}, {_Of(len(logged), len(sold)):sold item}")]
    if kinds:
        text = f"hours of {', '.join(kinds)}: none logged, so standard minutes stand in"
        found.append(Statement(False, text, f"work.csv: minutes of {', '.join(kinds[:3])}", 2.5 * (1 - share)))
    return found


def _fees(books: Books, sold: pd.DataFrame) -> list[Statement]:
    if sold.empty:
        return []
    known = sold["fees_paid_cents"].notna()
    lacking = sold[~known]
    if lacking.empty:
        return [Statement(True, "fees as they were paid")]
    scheduled = _scheduled(books)
    by_rule = lacking["venue"].str.lower().isin(scheduled)
    found = []
    if known.any() or by_rule.any():
        ways = [f"as paid for {count_of(int(known.sum()), 'sale')}" if known.any() else ""]
        ways.append(f"by a schedule of yours for {by_rule.sum():,}" if by_rule.any() else "")
        found.append(Statement(True, f"fees {' and '.join(way for way in ways if way)}"))
    assumed = int((~by_rule).sum())
    if assumed:
        venues = sorted(set(lacking.loc[~by_rule, "venue"]) - {""})
        record = f"the fee schedule of {', '.join(venues[:3])} in rules/fees/" if venues else "venue, or fees_paid"
        text = f"fees of {_Of(assumed, len(sold)):sale}: neither fees_paid nor a schedule, so an assumed rate"
        found.append(Statement(False, text, record, 4.0 * assumed / len(sold)))
    return found


def _scheduled(books: Books) -> set[str]:
    """Names of venues that the seller's own rules hold a schedule of."""
    if books.rules_folder is None:
        return set()
    names = set()
    for file in books.rules_folder.rglob("*.toml"):
        try:
            data = tomllib.loads(file.read_text(encoding="utf-8-sig"))
        except (tomllib.TOMLDecodeError, UnicodeDecodeError, OSError, RecursionError):
            continue
        if data.get("kind") == "fees":
            names.add(str(data.get("name", "")).lower())
    return names


def _shared(part: int, whole: int, can: str, cannot: str, record: str, gain: float) -> list[Statement]:
    """What a part tells, and what the rest of the whole cannot; the words name the count as {of:item}."""
    told, lacking = can.format(of=_Of(part, whole)), whole - part
    found = [Statement(True, told)] if part else []
    if lacking:
        found.append(Statement(False, cannot.format(of=_Of(lacking, whole)), record, gain * lacking / whole))
    return found


def _labels(posted: pd.DataFrame) -> list[Statement]:
    known = posted["label_paid_cents"].notna()
    zones = int((~known & (posted["zone"] != "")).sum())
    cannot = "postage of {of:posted sale}: no label_paid"
    cannot += f", computed for {zones:,} with a zone where a rate card is there" if zones else ", so an assumed label"
    record = "label_paid: convert your postage history with flipkit convert"
    return _shared(int(known.sum()), len(posted), "postage as paid for {of:posted sale}", cannot, record, 4.5)


def _sizes(items: pd.DataFrame) -> list[Statement]:
    full = int(items[["length_in", "width_in", "height_in", "weight_lb"]].notna().all(axis=1).sum())
    can = "size class and billable weight of {of:item} as measured"
    cannot = "size of {of:item}: not measured, so taken from like items or assumed"
    record = "length_in, width_in, height_in and weight_lb of packed parcels, at least some of each category"
    return _shared(full, len(items), can, cannot, record, 3.5)


def _comparables(books: Books) -> list[Statement]:
    """How many comparables count, and for what."""
    found = books.comparables
    if found.empty:
        return []
    known = found["price_cents"] > 0
    own = known & found["item_id"].isin(books.items["item_id"])
    kind = known & (found["item_id"] == "") & found["category"].isin(books.items["category"])
    text = f"what like things sell for, from {_Of(int((own | kind).sum()), len(found)):comparable}"
    parts = [f"{int(own.sum()):,} of single things" if own.any() else "", f"{int(kind.sum()):,} of a category"]
    said = " and ".join(part for part in parts if part and not part.startswith("0 "))
    return [Statement(bool((own | kind).any()), f"{text}: {said}" if said else text)]


def _waiting(books: Books) -> list[Statement]:
    items = books.items
    listed = int(items["listed_on"].notna().sum())
    waiting = items["sold_on"].isna() & items["gone_on"].isna()
    can, cannot = (
        "how long things wait, from {of:listing date}",
        "how long {of:item} waited for a buyer: no listed_on",
    )
    found = _shared(listed, len(items), can, cannot, "listed_on and list_price of everything that you list", 3.0)
    if items["list_price_cents"].isna().all() and books.comparables.empty:
        text = "what to ask and mark down, and what to pay for kinds of few sales: no list_price and no comparables"
        found.append(Statement(False, text, "list_price, what you first ask for each thing", 5.0))
    if listed and not waiting.any() and len(items) > 5:
        text = "whether things sell at all: no unsold item is in the books"
        found.append(Statement(False, text, "unsold items too, or every figure looks too good", 6.0))
    return found


def _buying(books: Books) -> list[Statement]:
    items, found = books.items, []
    tripped = items["trip_id"] != ""
    if tripped.any() and len(books.trips):
        found.append(Statement(True, f"what sourcing trips cost, for {_Of(int(tripped.sum()), len(items)):item}"))
    else:
        text = "what sourcing trips cost, and how alike things of one trip are: no trips"
        found.append(Statement(False, text, "trips.csv and trip_id", 2.0 * float((~tripped).mean())))
    if books.overheads.empty:
        text = "what storage and subscriptions cost: no overheads table"
        found.append(Statement(False, text, "overheads.csv: one row a month and cost", 1.5))
    return found


def _prices(books: Books) -> list[Statement]:
    if books.comparables.empty:
        text = "whether prices are right: no comparables"
        return [Statement(False, text, "comparables.csv: what like things sold for, when you look it up anyway", 2.2)]
    count = (
        books.comparables["category"].replace("", pd.NA).nunique()
        + books.comparables["item_id"].replace("", pd.NA).nunique()
    )
    sales = count_of(len(books.comparables), "recorded sale")
    return [Statement(True, f"prices beside {sales} of like things ({count_of(count, 'kind')})")]


#: Assumed amounts that stand in wherever the books say nothing, set for US dollars.
_DOLLARS = (
    "hour.target",
    "help.wage",
    "label.assumed",
    "materials.assumed",
    "fees.assumed_per_order",
    "pricing.storage",
)


def _abroad(books: Books) -> list[Statement]:
    """What the kit brings along for the United States alone, and a shop elsewhere must say itself."""
    if books.shop.currency == "USD":
        return []
    own = {}
    if books.assumptions_file is not None:
        with contextlib.suppress(tomllib.TOMLDecodeError, UnicodeDecodeError):
            own = tomllib.loads(books.assumptions_file.read_text(encoding="utf-8-sig"))
    lacking = [key for key in _DOLLARS if key.partition(".")[2] not in own.get(key.partition(".")[0], {})]
    found = []
    if lacking:
        text = f"amounts that fit {books.shop.currency}: {', '.join(lacking)} are the kit's own, set for US dollars"
        found.append(Statement(False, text, f"assumptions.toml: your own {', '.join(lacking[:3])}", 5.5))
    folder = books.rules_folder / "mileage" if books.rules_folder is not None else None
    driven = not books.trips.empty and bool(books.trips["miles"].fillna(0).gt(0).any())
    if driven and not (folder is not None and any(folder.glob("*.toml"))):
        text = "what driving costs you: the kit's rate a mile is that of the United States, in cents of its dollar"
        found.append(Statement(False, text, "rules/mileage/: a table of yours with cents_a_km or cents_a_mile", 3.0))
    return found


# A folder to begin with: every table with its headers, examples that are not read, and a word on each.

_TEMPLATES = {
    "README.md": "README.md",
    "rules/fees/my-venue.toml.template": "fees.template",
    "rules/rate_cards/my-post.toml.template": "rate_card.template",
    "rules/rate_cards/my-post-ground-2026-01.csv.template": "rate_card_table.template",
    "rules/mileage/my-rate.toml.template": "mileage.template",
    "rules/sources.toml.template": "sources.template",
}


@dataclass(frozen=True)
class Started:
    """What was made in a new folder of books."""

    folder: Path
    made: tuple[str, ...]
    kept: tuple[str, ...]


#: Headers of a shop that measures in centimeters, kilograms and kilometers, with examples in those.
_METRIC = {
    "length_in": ("length_cm", "36"),
    "width_in": ("width_cm", "30"),
    "height_in": ("height_cm", "41"),
    "weight_lb": ("weight_kg", "7.9"),
    "miles": ("km", "50"),
}
#: The workbook of a folder that keeps its books in one.
WORKBOOK = "books.xlsx"
#: Rows of a workbook that drop-down lists reach to.
_LISTED_ROWS = 5_000


def make_folder(folder: Path | str, *, workbook: bool = False, metric: bool = False, currency: str = "USD") -> Started:
    """Make a folder of books to begin with, as CSV files or as one workbook. A file that exists is never overwritten.

    ``metric`` gives it centimeters, kilograms and kilometers; ``currency`` is three letters.
    """
    if needed := schema.setting_needs("currency", currency):
        raise BooksError([Problem("shop", None, "currency", currency, needed, "write the code of your currency")])
    home = Path(folder)
    if home.exists() and not home.is_dir():
        raise BooksError([Problem(home.name, None, "", "a file", "a folder, or a name that is free", "choose another")])
    if not home.exists() and not home.parent.is_dir():
        needed = "a folder that it can be made in"
        raise BooksError([Problem(home.name, None, "", f"no folder {home.parent}", needed, "make that one first")])
    shop = [(key, meaning, _shop_default(key, default, metric, currency)) for key, meaning, default in schema.SHOP]
    texts = _texts(currency)
    if workbook:
        bodies = {WORKBOOK: workbook_body(shop, metric=metric)}
    else:
        tables = {table.file: table_text(table, metric=metric) for table in schema.TABLES}
        tables["shop.csv"] = csv_text(["key", "value"], [[key, value] for key, _, value in shop])
        bodies = {name: text.encode("utf-8") for name, text in tables.items()}
    bodies |= {name: text.encode("utf-8") for name, text in texts.items()}
    made = tuple(name for name in bodies if not (home / name).exists())
    if made:
        with staged(home) as stage:
            for name in made:
                stage.put(name, bodies[name])
    return Started(home, made, tuple(name for name in bodies if name not in made))


def _shop_default(key: str, default: str, metric: bool, currency: str) -> str:
    if key == "currency":
        return currency
    return {"length_unit": "cm", "weight_unit": "kg"}.get(key, default) if metric else default


def _texts(currency: str) -> dict[str, str]:
    """The files beside the tables."""
    texts = {"assumptions.toml": assumptions_text(currency=currency)}
    for name, template in _TEMPLATES.items():
        texts[name] = (_templates() / template).read_text(encoding="utf-8")
    return texts


def _templates() -> Traversable:
    return importlib.resources.files("flipkit.books") / "template"


def _rows(table: Table, *, metric: bool) -> list[list[str]]:
    """The headers of a table and two example rows that are not read."""
    others = _METRIC if metric else {}
    names = [column.name for column in table.columns]
    first = [others[column.name][1] if column.name in others else column.example for column in table.columns]
    more = tomllib.loads((_templates() / "examples.toml").read_text(encoding="utf-8"))[table.name]
    second = [more.get(name, "") for name in names]
    heads = [others[name][0] if name in others else name for name in names]
    return [heads, *([f"{EXAMPLE} {row[0]}".rstrip(), *row[1:]] for row in (first, second))]


def workbook_body(shop: list[tuple[str, str, str]], *, metric: bool = False) -> bytes:
    """A workbook with a sheet a table: notes on the headers, drop-down words, example rows that are not read."""
    import openpyxl
    from openpyxl.comments import Comment
    from openpyxl.styles import Font, PatternFill
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    bold, fill, gray = Font(bold=True), PatternFill("solid", fgColor="DDE8F0"), Font(italic=True, color="707070")

    def listed(sheet: Any, letter: str, formula: str, *, strict: bool) -> None:
        choice = DataValidation(type="list", formula1=formula, allow_blank=True)
        choice.errorStyle = "stop" if strict else "warning"
        choice.error = "Take a word from the list." if strict else "This is not in the list yet. Keep it?"
        choice.showErrorMessage = True
        choice.add(f"{letter}2:{letter}{_LISTED_ROWS}")
        sheet.add_data_validation(choice)

    letters = {
        (table.name, column.name): get_column_letter(at)
        for table in schema.TABLES
        for at, column in enumerate(table.columns, start=1)
    }
    formats = {"id": "@", "date": "yyyy-mm-dd", "month": "yyyy-mm", "money": "0.00", "signed money": "0.00"}
    for table in schema.TABLES:
        sheet = book.create_sheet(table.name)
        rows = _rows(table, metric=metric)
        for number, row in enumerate(rows, start=1):
            for at, (text, column) in enumerate(zip(row, table.columns, strict=True), start=1):
                cell = sheet.cell(number, at, _typed(text, column.kind) if number > 1 and text else text or None)
                cell.number_format = formats.get(column.kind, "General")
                cell.font = bold if number == 1 else gray
                if number == 1:
                    cell.fill = fill
        for column in table.columns:
            letter = letters[table.name, column.name]
            sheet.column_dimensions[letter].number_format = formats.get(column.kind, "General")
            sheet.column_dimensions[letter].width = max(
                12, len(column.name) + 3, len(rows[1][0]) if letter == "A" else 0
            )
            need = "Needed" if column.required and column.name != "cost" else "May stay blank"
            words = f" One of: {', '.join(column.choices)}." if column.choices else ""
            note = Comment(f"{column.meaning}. {need}.{words} For example {column.example or '(blank)'}.", "flipkit")
            note.width, note.height = 320, 110
            sheet[f"{letter}1"].comment = note
            source = next((one for one in schema.TABLES if one.key == column.name and one is not table), None)
            if column.choices:
                listed(sheet, letter, f'"{",".join(column.choices)}"', strict=True)
            elif source:
                held = letters[source.name, column.name]
                listed(sheet, letter, f"{source.name}!${held}$2:${held}${_LISTED_ROWS}", strict=False)
            elif column.name in ("category", "venue"):
                held = letters["items", column.name]
                listed(sheet, letter, f"items!${held}$2:${held}${_LISTED_ROWS}", strict=False)
        sheet.freeze_panes = "B2" if table.name == "items" else "A2"
    sheet = book.create_sheet("shop")
    sheet.append(("key", "value", "meaning"))
    for key, meaning, value in shop:
        sheet.append((key, value, meaning))
    for letter, width in zip("ABC", (16, 24, 80), strict=True):
        sheet.column_dimensions[letter].width = width
        sheet[f"{letter}1"].font, sheet[f"{letter}1"].fill = bold, fill
    places = {key: at for at, (key, _, _) in enumerate(shop, start=2)}
    for key, own in schema.SHOP_UNITS.items():
        choice = DataValidation(type="list", formula1=f'"{",".join(own)}"', showErrorMessage=True)
        choice.add(f"B{places[key]}")
        sheet.add_data_validation(choice)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _typed(text: str, kind: str) -> Any:
    """An example as a spreadsheet holds it: days and numbers, where they are plain ones."""
    if kind == "date" and not text.startswith(EXAMPLE):
        return dt.date.fromisoformat(text)
    if kind in ("id", "text", "choice", "month", "rate") or text.startswith(EXAMPLE):
        return text
    try:
        return float(text)
    except ValueError:
        return text


def table_text(table: Table, *, metric: bool = False) -> str:
    """A table file with its headers and two example rows that are not read.

    >>> print(table_text(schema.LOTS), end="")
    lot_id,date,cost,share_by
    # example L-07,2026-03-07,60.00,equal
    # example L-08,2026-03-14,25.00,expected value
    """
    heads, *rows = _rows(table, metric=metric)
    return csv_text(heads, rows)


def assumptions_text(*, currency: str = "USD") -> str:
    """The packaged assumptions as a file of comments, each line explained, ready to be changed."""
    groups: dict[str, dict[str, dict[str, Any]]] = {}
    packaged = (f for f in importlib.resources.files("flipkit").iterdir() if f.name.startswith("assumptions"))
    for file in sorted((f for f in packaged if f.name.endswith(".toml")), key=lambda f: f.name):
        for head, entries in tomllib.loads(file.read_text(encoding="utf-8")).items():
            groups.setdefault(head, {}).update(entries)
    lines = [
        "# What the kit assumes where your books do not say. Every line below holds the kit's own value:",
        "# take the # away from a line that you want otherwise and write your figure.",
        *([f"# Amounts of money below were set for US dollars: write your own in {currency}."] * (currency != "USD")),
        "# Lengths and weights may carry a unit, such as 36 cm or 2 kg.",
    ]
    for head, entries in groups.items():
        lines += ["", f"[{head}]"]
        for name, entry in entries.items():
            lines.append(f"# {entry['meaning']}")
            unit = f"{entry['unit']}; " if entry["unit"] else ""
            lines.append(f"#   [{unit}from: {entry['source']}]")
            lines.append(f"# {name} = {toml_text(entry['value'])}")
    return "\n".join(lines) + "\n"
