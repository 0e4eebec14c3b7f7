"""Two hundred seeded command lines with the files that they read, some right and some wrong: for ``same_answers.py``.

``{tree}`` stands for the tree of the kit, ``{pack}`` for a pack of its demo shop. Days are always said, so that the
answers do not depend on the day on which they are asked.
"""

from __future__ import annotations

import datetime as dt
import io
import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import openpyxl

SEED = 12
COUNT = 200
FIRST, LAST = dt.date(2025, 1, 1), dt.date(2026, 12, 20)
KINDS = ["hand tools", "table lamps", "film cameras and lenses", "sewing machines", "folding chairs", "cookware"]
CELLS = ["someday", "-3", "x", "1,5", "2026-13-01", "", "2031-01-01", "12 stone", "EUR 5"]
HEAD = (
    "item_id,title,category,bought_on,cost,listed_on,list_price,sold_on,sold_price,shipping_charged,venue,zone,"
    "length_in,width_in,height_in,weight_lb"
)


@dataclass(frozen=True)
class Case:
    """Command lines run one after the other in a folder that holds the files."""

    steps: list[list[str]]
    files: Mapping[str, str | bytes] = field(default_factory=dict)


def money(r: random.Random) -> str:
    return r.choice(["{:.2f}", "{:.2f}", "{:.0f}", "${:,.2f}", "{:.2f} USD"]).format(10 ** r.uniform(0.3, 3.2))


def rate(r: random.Random) -> str:
    return f"{r.uniform(0, 12):.1f} %"


def day(r: random.Random, first: dt.date = FIRST) -> str:
    return str(first + dt.timedelta(days=r.randrange((LAST - first).days)))


def sides(r: random.Random) -> str:
    long = r.choice([8, 16, 24, 40, 62])
    a, b, c = (round(r.uniform(long / 4, long), 1) for _ in range(3))
    return r.choice(
        [f"{a}x{b}x{c}in", f"{a}x{b}x{c}in", f"{a}x{b}x{c}", f"{a * 2.54:.1f}x{b * 2.54:.1f}x{c * 2.54:.1f}cm"]
    )


def weight(r: random.Random) -> str:
    lb = 10 ** r.uniform(-0.3, 1.8)
    return r.choice([f"{lb:.1f}lb", f"{lb:.0f}", f"{lb * 0.4536:.2f}kg", f"{lb:.0f} lb {r.randrange(16)} oz"])


SALE = {
    "--shipping": money, "--label": money, "--costs": money, "--category": KINDS, "--tax": rate, "--days": ["0", "45"],
    "--venue": ["lantern", "quayside", "stall"], "--level": ["trusted", "watched"], "--advertised": None,
    "--international": None, "--json": None,
}  # fmt: skip
BAD_SALE = [["--venue", "nowhere"], ["--on", "2019-01-01"], ["--tax", "seven"], ["--level", "royal"], ["--label", "x"]]
AISLE = {
    "--size": ["small", "medium", "bulky"], "--weight": weight, "--cost": money, "--venue": ["lantern", "stall"],
    "--target": money, "--loss": rate, "--at-sale": money, "--part": money, "--apart": ["15"], "--json": None,
}  # fmt: skip
BAD_AISLE = [["--size", "huge"], ["--price", "x"], ["--from", "nowhere"], ["--loss", "200 %"], ["--venue", "fair"]]
SETTINGS = ["hour.target=25", "help.wage=18.00", "minutes.find.small=4", "help.wag=3", "help.wage=abc", "hour.target"]
#: Command, how often, what is always said, what sometimes, and what is wrong with one in five.
ASKED: list[tuple[str, int, list[Any], dict[str, Any], list[list[str]]]] = [
    ("fees", 25, [money, "--on", day], SALE, BAD_SALE),
    ("net-price", 20, [money, "--on", day], SALE, [*BAD_SALE, ["--tax", "-4 %"]]),
    ("parcel", 24, [sides, weight, "--on", day], {
        "--zone": ["2", "5", "8"], "--card": ["post", "network"], "--trim": ["0", "1", "4.5"], "--declared": money,
        "--packaging": ["cylinder", "soft pack", "shrink wrap"], "--signature": None, "--json": None,
    }, [["--zone", "44"], ["--card", "pigeon"], ["--trim", "90"], ["--on", "2020-02-02"], ["--packaging", "hat"]]),
    ("protect", 15, [money, "--on", day], {
        "--damage": rate, "--loss": rate, "--signature-stops": rate, "--card": ["post", "network"], "--json": None,
    }, [["--damage", "often"], ["--loss", "101 %"], ["--card", "pigeon"]]),
    ("packing", 27, [sides, weight, "--on", day], {
        "--fragility": ["extremely fragile", "delicate", "rugged", "soft"], "--value": money, "--upright": None,
        "--title": ["kitchen knives", "floor lamp"], "--round": None, "--pickup": None, "--zone": ["3", "7"],
        "--card": ["post", "network"], "--trials": None, "--set": SETTINGS[:3], "--json": None,
        "--drawing": ["cuts.html"], "--stock": ["packing.toml"],
    }, [["--fragility", "glassy"], ["--zone", "x"], ["--stock", "none.toml"], ["--value", "x"]]),
    ("buy", 14, [KINDS, "--from", "{pack}", "--price", money], AISLE, BAD_AISLE),
    ("buy", 9, [KINDS, "--from", "{pack}", "--comparable", money, "--comparable", money], AISLE, BAD_AISLE),
    ("assumptions", 6, [], {
        "{tree}/data_demo": None, "--set": SETTINGS, "--assumptions": ["mine.toml"],
    }, [["nowhere"]]),
]  # fmt: skip
BESIDE = {
    "mine.toml": '[hour]\ntarget = "31.00"\n[help]\nwage = "19.00"\n',
    "packing.toml": """flatten = true
[[carton]]\nname = "old box"\ninside = "18 x 12 x 10 in"\nflute = "C"\ngrade = "32 ECT"\ncost = "1.10"\nquantity = 2
[[carton]]\nname = "great box"\ninside = "30 x 20 x 20 in"\nflute = "C"\ngrade = "32 ECT"\ncost = "4"\nquantity = 2
[[sheet]]\nname = "sheet"\nsize = "60 x 48 in"\nflute = "C"\ngrade = "32 ECT"\ncost = "4.50"\nquantity = 3
[[cushion]]\nname = "wrap"\nmaterial = "bubble wrap"\nthickness = "1/2 in"\nform = "wrap"\ncost = "20"
covers_sqft = 100
[fill]\nname = "paper"\ncost = "20"\nfills_cuft = 30\nlb_per_cuft = 1\n[tape]\nname = "tape"\ncost = "2"\nmetres = 50
""",
}
COMMANDS = [
    "report", "lab", "start", "convert", "check", "assumptions",
    "parcel", "fees", "net-price", "protect", "packing", "buy",
]  # fmt: skip


def picked(r: random.Random, value: Any) -> str:
    if callable(value):
        return value(r)
    return r.choice(value) if isinstance(value, list) else value


def items(r: random.Random, rows: int, wrong: float) -> str:
    """A table of items, some of whose rows have one cell that cannot be right."""
    lines = [HEAD]
    for number in range(rows):
        bought = dt.date(2026, 1, 1) + dt.timedelta(days=r.randrange(200))
        listed = bought + dt.timedelta(days=r.randrange(30))
        price = r.randrange(12, 220)
        sold = [listed + dt.timedelta(days=r.randrange(90)), price - 3, "9.50"] if r.random() < 0.6 else ["", "", ""]
        size = [r.randrange(6, 40) for _ in range(4)] if r.random() < 0.5 else [""] * 4
        row = [f"A-{number:03}", f"Thing {number}", r.choice(KINDS), bought, price // 5, listed, price]
        row += [*sold, r.choice(["lantern", "stall"]), r.choice(["", 4]), *size]
        if r.random() < wrong:
            row[r.randrange(len(row))] = r.choice(CELLS)
        lines.append(",".join(map(str, row)))
    return "\n".join(lines) + "\n"


def books(r: random.Random, rows: int = 12, wrong: float = 0.0) -> dict[str, str | bytes]:
    """A folder of books; with something wrong in it, some come without further tables or with odd ones."""
    further: dict[str, str | bytes] = {
        "books/work.csv": f"date,activity,minutes,worker,item_id\n2026-05-02,clean,{r.randrange(60)},me,A-003\n",
        "books/trips.csv": f"trip_id,date,miles\nT-1,2026-03-07,{r.randrange(60)}\n",
        "books/comparables.csv": f"category,sold_on,price\nhand tools,2026-04-01,{money(r)}\n",
        "books/people.csv": "worker,role,wage\nme,owner,\nAnn,hired,16\n",
        "books/overheads.csv": "month,what,amount\n2026-04,storage,4o\n",
        "books/assumptions.toml": '[help]\nwage = "17.50"\n',
    }
    kept = {name: text for name, text in further.items() if r.random() < 0.5 and (wrong or "over" not in name)}
    return {"books/items.csv": items(r, rows, wrong)} | kept


def workbook(table: str) -> bytes:
    book, out = openpyxl.Workbook(), io.BytesIO()
    book.active.title = "items"
    for line in table.splitlines():
        book.active.append(line.split(","))
    book.save(out)
    return out.getvalue()


def export(r: random.Random) -> str:
    """Another program's list of things, in one of three ways of writing."""
    mark, form, comma = r.choice([(",", "%Y-%m-%d", False), (";", "%d.%m.%Y", True), ("\t", "%m/%d/%y", False)])
    lines = [["SKU", "Item", "Category", "Bought", "Cost", "Sold", "Price"]]
    for number in range(r.randrange(3, 9)):
        bought = dt.date(2026, 1, 1) + dt.timedelta(days=r.randrange(200))
        amounts = [f"{r.uniform(1, 1500):.2f}" for _ in range(2)]
        sold = (bought + dt.timedelta(days=40)).strftime(form) if r.random() < 0.5 else ""
        lines.append([f"S{number}", "=1+1" if r.random() < 0.1 else f"Jug {number}", r.choice(KINDS)])
        lines[-1] += [bought.strftime(form), *amounts[:1], sold, amounts[1] if sold else ""]
    lines += r.choice(
        [[], [], [lines[1]], [["Total", "", "", "", "99.00", "", ""]], [["S9", "Vase", "x", "soon", "1", "", ""]]]
    )
    return "\n".join(
        mark.join(cell.replace(".", ",") if comma and n in (4, 6) else cell for n, cell in enumerate(line))
        for line in lines
    )


def converted(r: random.Random) -> Case:
    more = r.choice([
        [], ["--totals", "leave-out"], ["--duplicates", "separate"], ["--dry-run"], ["--table", "items"],
        ["--changes", "take"], ["--column", "note=SKU"], ["--dates", "soon"], ["--keep", "Category=cookware"],
    ])  # fmt: skip
    step = ["convert", "export.csv", "--into", "books", "--yes", *more, *r.choice([[], ["--currency", "USD"]])]
    first = export(r)
    again = [["convert", "later.csv", *step[2:]], ["check", "books"]] if r.random() < 0.4 else []
    return Case(
        [step, *again], {"export.csv": first, "later.csv": first.replace("Jug", "Mug") + "\n" + first.split("\n")[1]}
    )


def cases() -> Iterator[Case]:
    """The seeded cases, always the same."""
    r = random.Random(SEED)  # noqa: S311 - inputs to be drawn again, nothing secret
    yield from (Case([line]) for line in (["--help"], ["--version"], *([name, "--help"] for name in COMMANDS)))
    for command, times, always, sometimes, wrong in ASKED:
        for _ in range(times):
            argv = [command, *(picked(r, one) for one in always)]
            for name, value in sometimes.items():
                if r.random() < 0.3:
                    argv += [name] if value is None else [name, picked(r, value)]
            yield Case([argv + (r.choice(wrong) if r.random() < 0.2 else [])], BESIDE)
    for number in range(14):
        dated = ["--as-of", r.choice([day(r), "2026-10-31", "soon"])] if number % 3 == 0 else []
        yield Case([["check", "books", *dated]], books(r, wrong=(number % 4) / 10))
    yield from (Case([["check", place]]) for place in ("{tree}/data_demo", "nowhere"))
    yield Case([["check", "books.xlsx"]], {"books.xlsx": workbook(items(r, 9, 0.3))})
    yield from (converted(r) for _ in range(15))
    yield Case([["convert", "x.xlsx", "--into", "books"]], {"x.xlsx": workbook(items(r, 5, 0))})
    yield Case([["convert", "none.csv", "--into", "books", "--keep", "Category"]])
    yield Case([["start", "mine"], ["start", "mine"], ["check", "mine"]])
    yield Case([["start", "books"]], books(r))
    yield from (Case([["start", place]], {"file": ""}) for place in ("file", "no/such/place"))
    for bad in (["--month", "June"], ["--month", "2031-01"], ["--as-of", "soon"], ["--set", "help.wag=3"],
                ["--category", "yachts"], ["--again", "none.json"]):  # fmt: skip
        yield Case([["report", *bad, "--out", "pack"]])
    yield Case([["report", "books", "--out", "pack"]], books(r, wrong=0.9))
    yield Case([["report", "nowhere", "--out", "pack"]])
