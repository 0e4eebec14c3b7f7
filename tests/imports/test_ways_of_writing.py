"""One truth written in many ways: whatever the dialect, the books that come out say the same to the cent."""

from __future__ import annotations

import csv
import datetime as dt
import io
import random

import openpyxl
import pytest

from flipkit.books.read import read_books
from flipkit.imports.apply import apply
from flipkit.imports.detect import propose

HEADERS = {
    "title": ["Item", "Description", "Product name", "What", "title"],
    "category": ["Category", "Kind", "Type", "Department"],
    "bought_on": ["Purchase date", "Date bought", "Acquired", "bought_on"],
    "cost": ["Cost", "Purchase price", "Paid", "Cost of goods"],
    "sold_on": ["Date sold", "Sale date", "Sold on", "sold_on"],
    "sold_price": ["Sold price", "Sale price", "Sold for", "Selling price"],
    "fees_paid": ["Fees", "Selling fees", "Commission"],
    "note": ["Notes", "Remarks", "Comment"],
}
TITLES = [
    "crock, brown",
    "lamp; brass",
    'vase 12"',
    "jug",
    "Größe M",
    "café set",
    "O'Neil print",
    "two\nlines",
    "tab\there",
]
DATES = {
    "%Y-%m-%d": "",
    "%d.%m.%Y": "day-month-year",
    "%d/%m/%Y": "day-month-year",
    "%m/%d/%Y": "month-day-year",
    "%d %b %Y": "",
    "%b %d, %Y": "",
    "%Y/%m/%d 10:15:00": "",
    "%m-%d-%y": "month-day-year",
}


def amount(cents, way, chance):
    """An amount as one spreadsheet writes it."""
    decimal, thousands, sign, brackets = way
    text = f"{abs(cents) / 100:,.2f}".translate(str.maketrans(",.", f"{thousands or '_'}{decimal}")).replace("_", "")
    text = {"": text, "$": f"${text}", "€": f"{text} €", "USD": f"USD {text}"}[sign]
    if cents < 0:
        return f"({text})" if brackets else f"-{text}"
    return text


def truth(chance, rows):
    found = []
    for n in range(rows):
        bought = dt.date(2025, chance.randint(1, 12), chance.randint(1, 28))
        sold = chance.random() < 0.6
        found.append(
            {
                "title": f"{chance.choice(TITLES)} {n}",
                "category": chance.choice(["pots", "lamps", "prints"]),
                "bought_on": bought,
                "cost": chance.randint(0, 300_000),
                "sold_on": bought + dt.timedelta(days=chance.randint(0, 200)) if sold else None,
                "sold_price": chance.randint(100, 900_000) if sold else None,
                "fees_paid": chance.randint(0, 5_000) if sold else None,
                "note": chance.choice(["", "chip", "-", "n/a", "=x"]),
            }
        )
    return found


def written(chance, rows):
    """The same truth as the bytes of an export, with what a script has to say about it."""
    names = [*HEADERS]
    chance.shuffle(names)
    headers = [chance.choice(HEADERS[name]) for name in names]
    form = chance.choice([*DATES])
    decimal = chance.choice(".,")
    thousands = chance.choice(["", ".", ",", " ", "'"]) if chance.random() < 0.7 else ""
    thousands = "" if thousands == decimal else thousands
    way = (decimal, thousands, chance.choice(["", "$", "USD"]), chance.random() < 0.5)
    negative_fees = chance.random() < 0.3
    table = []
    for row in rows:
        cells = []
        for name in names:
            value = row[name]
            if value is None:
                cells.append("")
            elif isinstance(value, dt.date):
                cells.append(value.strftime(form))
            elif isinstance(value, int):
                cells.append(amount(-value if name == "fees_paid" and negative_fees and value else value, way, chance))
            else:
                cells.append(value)
        table.append(cells)
    said = {"duplicates": "separate", "decimal": {".": "point", ",": "comma"}[decimal], "table": "items"}
    if DATES[form]:
        said["dates"] = DATES[form]
    lines = [["My list of 2025"], []] if chance.random() < 0.3 else []
    lines += [headers, *table]
    if chance.random() < 0.3:
        total = [""] * len(names)
        total[names.index("title")] = "Total"
        total[names.index("cost")] = amount(sum(row["cost"] for row in rows), way, chance)
        lines.append(total)
    if chance.random() < 0.3:
        lines.append(["Made by hand"])
    return lines, said


def as_text(chance, lines):
    mark = chance.choice([",", ";", "\t", "|"])
    encoding = chance.choice(["utf-8", "utf-8-sig", "utf-16", "cp1252"])
    out = io.StringIO()
    end = chance.choice(["\n", "\r\n", "\r"])
    # The writer quotes a line end in a cell for its own line end alone.
    quoting = csv.QUOTE_ALL if end == "\r" else chance.choice([csv.QUOTE_MINIMAL, csv.QUOTE_ALL])
    csv.writer(out, delimiter=mark, lineterminator=end, quoting=quoting).writerows(lines)
    return out.getvalue().encode(encoding), {"encoding": encoding} if encoding == "cp1252" else {}


def as_book(chance, lines):
    made = openpyxl.Workbook()
    for line in lines:
        made.active.append(line or [""])
        for cell in made.active[made.active.max_row]:
            cell.data_type = "s"
    out = io.BytesIO()
    made.save(out)
    return out.getvalue(), {}


def require_truth(folder, rows):
    """The books say what the rows say, to the cent and to the day."""
    items = read_books(folder).items.sort_values("row")
    assert items["title"].tolist() == [" ".join(row["title"].split()) for row in rows]
    assert items["category"].tolist() == [row["category"] for row in rows]
    assert items["note"].tolist() == [row["note"] for row in rows]
    for name in ("cost", "sold_price", "fees_paid"):
        cents = items[f"{name}_cents"].fillna(-1).tolist()
        assert cents == [-1 if row[name] is None else row[name] for row in rows], name
    for name in ("bought_on", "sold_on"):
        days = [None if day is None or day != day else day.date() for day in items[name]]
        assert days == [row[name] for row in rows], name


@pytest.mark.parametrize("seed", range(80))
def test_the_same_truth_comes_out_of_every_way_of_writing(tmp_path, seed):
    chance = random.Random(seed)  # noqa: S311 - a draw of exports, not a secret
    rows = truth(chance, chance.choice([5, 25]))
    lines, said = written(chance, rows)
    body, more = (as_book if seed % 8 == 0 else as_text)(chance, lines)
    path = tmp_path / "export.csv"
    path.write_bytes(body)
    proposal = propose(path, answers={**said, **more})
    assert proposal.questions == (), proposal.text()
    done = apply(proposal, tmp_path / "books")
    assert done.taken == len(rows), done.text()
    assert all(left.reason.startswith(("a row that adds", "one filled")) for left in done.refused), done.text()
    require_truth(tmp_path / "books", rows)
    again = apply(propose(path, answers={**said, **more}, into=tmp_path / "books"), tmp_path / "books")
    assert (again.added, again.written) == (0, ())


@pytest.mark.parametrize("seed", range(200, 260))
def test_nothing_is_guessed_silently(tmp_path, seed):
    """Told nothing about dates and marks, the kit asks, or it is right."""
    chance = random.Random(seed)  # noqa: S311 - a draw of exports, not a secret
    rows = truth(chance, chance.choice([1, 2, 3, 6]))
    lines, _ = written(chance, rows)
    body, more = as_text(chance, lines)
    path = tmp_path / "export.csv"
    path.write_bytes(body)
    proposal = propose(path, answers={"duplicates": "separate", "table": "items", **more})
    if proposal.questions:
        assert {q.key for q in proposal.questions} <= {"dates", "decimal", "totals", "header-row"}, proposal.text()
        return
    done = apply(proposal, tmp_path / "books")
    assert done.taken == len(rows), done.text()
    require_truth(tmp_path / "books", rows)
