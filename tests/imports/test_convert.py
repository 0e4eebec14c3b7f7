"""Exports brought into the books: every row taken or listed, twice adds nothing, later adds what is new."""

from __future__ import annotations

import csv
import datetime as dt
import os
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flipkit.books.read import inspect_books, read_books
from flipkit.errors import ConversionError
from flipkit.imports.apply import apply
from flipkit.imports.detect import propose
from flipkit.reports.study import open_study
from tests.helpers.asked import EVERYTHING

STOCK = "SKU,Item,Category,Bought,Cost,Note\nA1,Crock,pots,2026-03-07,18,\nA2,Blue vase,vases,2026-03-07,5,nice\n"
UNNAMED = "Item,Category,Bought,Cost\nlamp,x,2026-03-01,5\nlamp,x,2026-03-01,5\nvase,y,2026-03-01,6\n"


@pytest.fixture
def run(tmp_path):
    """Convert a text into the folder ``books``, with answers as keywords."""

    def convert(text: str, name: str = "export.csv", changes: str = "leave", into: str = "books", mapping=None, **said):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        folder = tmp_path / into
        answers = {key.replace("_", "-"): value for key, value in said.items() if key != "more"} | said.get("more", {})
        proposal = propose(path, answers=answers, into=folder if folder.exists() else None, mapping=mapping)
        return apply(proposal, folder, changes=changes)

    return convert


def tree(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def refused(folder: Path, stem: str = "export") -> list[dict[str, str]]:
    with (folder / "converted" / f"{stem}-refused.csv").open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def test_rows_in_are_rows_taken_and_rows_refused(run):
    text = (
        "Item,Category,Bought,Cost,Sold,Price\nlamp,x,2026-03-01,5.00,,\nvase,x,2026-13-01,5.00,,\njug,x,2026-03-01,abc,,\n"
        "bowl,x,2026-03-01,-2,,\n,x,2026-03-01,1,,\n# note,,,,,\ncup,x,2026-03-01,1,2026-02-01,3\n"
        "plate,x,2026-03-01,1,,4\n"
        "fork,x,2026-03-01,n/a,,\nTotal,,,13.00,,\n"
    )
    done = run(text, totals="leave-out")
    assert (done.rows_in, done.taken, len(done.refused), done.lost) == (10, 4, 6, 4)
    assert [(cell.row, cell.why) for cell in done.cells] == [
        (4, 'cost: "abc" isn\'t an amount'),
        (5, 'cost: "-2" isn\'t an amount of at least 0'),
    ]
    assert read_books(done.folder).items.sort_values("row")["cost_cents"].isna().tolist() == [False, True, True, True]
    assert [(row["row"], row["reason"]) for row in refused(done.folder)] == [
        ("3", 'bought_on: "2026-13-01" isn\'t a date'),
        ("6", "no title"),
        ("7", "a comment"),
        (
            "8",
            "sold_on: sold_on 2026-02-01 before bought_on 2026-03-01. It needs sold_on on or after bought_on "
            "(a thing is sold after it was bought): mend the date that is wrong",
        ),
        (
            "9",
            "sold_on: sold for 4.00 without a day. It needs the day of the sale: fill in sold_on, or empty sold_price",
        ),
        ("11", "a row that adds up others"),
    ]
    assert refused(done.folder)[4]["Item"] == "plate"
    assert [p.severity for p in inspect_books(done.folder)[1]].count("stop") == 0


@pytest.mark.parametrize("blank", ["unsorted", "refuse"])
def test_every_row_of_a_ledger_with_blank_categories_is_in_a_group_or_refused_with_its_reason(run, blank):
    random = np.random.default_rng(2807)
    rows, expected = ["Item,Category,Bought,Cost,Sold,Price"], Counter()
    for at in range(281):
        bought = dt.date(2026, 1, 5) + dt.timedelta(days=int(random.integers(240)))
        sold, price = (bought + dt.timedelta(days=30), 9 + at % 50) if random.random() < 0.6 else ("", "")
        name, category = f"thing {at}", str(random.choice(["pots", "vases", "", " "], p=[0.3, 0.2, 0.3, 0.2]))
        wrong = str(random.choice(["", "no title", "a date", "order"], p=[0.85, 0.05, 0.05, 0.05]))
        name, category = "" if wrong == "no title" else name, "pots" if wrong else category
        sold = bought - dt.timedelta(days=9) if wrong == "order" else sold
        price = 5 if wrong == "order" else price
        day = f"2026-{13 + at % 80}-{at % 28 + 1:02}" if wrong == "a date" else bought
        expected[wrong or category.strip() or blank] += 1
        rows.append(f"{name},{category},{day},{at % 20},{sold},{price}")
    done = run("\n".join(rows) + "\n", more={"blank category": blank})
    short = {"no title": "no title", "bought_on": "a date", "sold_on": "order", "no category": "refuse"}
    why = Counter(short[row["reason"].split(":")[0]] for row in refused(done.folder))
    table = open_study(done.folder, month="2026-10", as_of="2026-10-31").bought_returns.set_index("category")
    assert done.rows_in == 281 == table["items"].sum() + why.total()
    assert expected == Counter(table["items"].to_dict()) + why
    assert min(expected.values()) > 5


def test_converting_twice_adds_nothing_and_touches_nothing(run):
    for text, said in ((STOCK, {}), (UNNAMED, {"duplicates": "separate"})):
        first = run(text, into="shop" + text[0], **said)
        before = tree(first.folder)
        times = {p: os.stat(first.folder / p).st_mtime_ns for p in before}
        again = run(text, into="shop" + text[0], **said)
        assert (again.added, again.there, again.written) == (0, first.added, ())
        assert tree(first.folder) == before
        assert {p: os.stat(first.folder / p).st_mtime_ns for p in before} == times


def test_equal_rows_stay_separate_things(run):
    done = run(UNNAMED, duplicates="separate")
    books = read_books(done.folder)
    assert books.items.sort_values("row")["title"].tolist() == ["lamp", "lamp", "vase"]
    assert books.items["item_id"].is_unique
    once = run(UNNAMED, into="once", duplicates="once")
    assert (once.taken, once.refused[0].reason) == (2, "equal to row 2 in every cell")


def test_a_later_export_adds_only_what_is_new(run):
    run(UNNAMED, duplicates="separate")
    later = "Item,Category,Bought,Cost\nfork,z,2026-05-01,1\n" + UNNAMED.split("\n", 1)[1] + "lamp,x,2026-03-01,5\n"
    done = run(later, name="later.csv", duplicates="separate")
    assert (done.rows_in, done.added, done.there) == (5, 2, 3)
    items = read_books(done.folder).items.sort_values("row")
    assert items["title"].tolist() == ["lamp", "lamp", "vase", "fork", "lamp"]
    assert items["item_id"].is_unique


def test_two_things_of_one_title_stay_two(run):
    run(STOCK)
    assert run(STOCK.replace("A2", "A3")).added == 1


def test_names_do_not_depend_on_the_file_or_its_way_of_writing(run):
    one = run(UNNAMED, duplicates="separate")
    other = run(
        "Bought;Item;Category;Cost\n1.3.2026;lamp;x;5,00\n1.3.2026;lamp;x;5,00\n1.3.2026;vase;y;6,00\n",
        name="other.csv",
        into="books",
        duplicates="separate",
        dates="day-month-year",
    )
    assert (other.added, other.there) == (0, 3)
    assert len(read_books(one.folder).items) == 3


def test_blank_cells_are_filled_and_changes_shown_but_left(run):
    run(STOCK)
    later = (
        STOCK.replace("Note", "Note,Sold,Price").replace("18,", "18,chip,2026-04-01,70").replace("5,nice", "6,good,,")
    )
    done = run(later)
    assert [(c.key, c.column, c.books, c.export, c.done) for c in done.changes] == [
        ("A1", "sold_on", "", "2026-04-01", "filled"),
        ("A1", "sold_price", "", "70.00", "filled"),
        ("A1", "note", "", "chip", "filled"),
        ("A2", "cost", "5.00", "6.00", "left: take changes with --changes take"),
        ("A2", "note", "nice", "good", "left: take changes with --changes take"),
    ]
    items = read_books(done.folder).items.sort_values("row")
    assert items["cost_cents"].tolist() == [1800, 500]
    assert items["sold_price_cents"].fillna(0).tolist() == [7000, 0]
    taken = run(later, changes="take")
    assert {c.done for c in taken.changes} == {"taken"}
    assert read_books(done.folder).items.sort_values("row")["cost_cents"].tolist() == [1800, 600]
    assert run(later, changes="take").changes == ()


def test_cells_written_by_hand_are_never_overwritten(run):
    folder = run(STOCK).folder
    text = (folder / "items.csv").read_text()
    (folder / "items.csv").write_text(text.replace("18.00", "17.50").replace("nice", ""))
    done = run(STOCK.replace("18", "19"), changes="take")
    assert [(c.key, c.column, c.done) for c in done.changes] == [
        ("A1", "cost", "left: you wrote this cell by hand"),
        ("A2", "note", "left: you emptied this cell"),
    ]
    assert read_books(folder).items.sort_values("row")["cost_cents"].tolist() == [1750, 500]


def test_a_file_written_by_hand_is_kept_before_it_is_replaced(run, tmp_path):
    folder = tmp_path / "books"
    folder.mkdir()
    hand = "# my stock\nitem_id,title,category,bought_on,cost,length\nB1,Old jug,pots,2026-01-02,$3.00,12 cm\n\n"
    (folder / "items.csv").write_text(hand)
    done = run(STOCK)
    assert done.added == 2
    (kept,) = (folder / "converted" / "before").glob("items-*.csv")
    assert kept.read_text() == hand
    lines = (folder / "items.csv").read_text().splitlines()
    assert lines[:3] == [
        "# my stock",
        "item_id,title,category,bought_on,cost,length,note",
        "B1,Old jug,pots,2026-01-02,$3.00,12 cm,",
    ]
    assert read_books(folder).items.sort_values("row")["item_id"].tolist() == ["B1", "A1", "A2"]
    run(STOCK.replace("A2", "A3"))
    assert len(list((folder / "converted" / "before").glob("*"))) == 1


def test_the_export_is_never_written_to(run, tmp_path):
    run(STOCK)
    path = tmp_path / "export.csv"
    assert path.read_text() == STOCK


def test_books_with_problems_of_their_own_are_left_alone(run, tmp_path):
    folder = tmp_path / "books"
    folder.mkdir()
    (folder / "items.csv").write_text("item_id,title,category,bought_on,cost\nB1,Old jug,pots,2/1/26,3.00\n")
    before = tree(folder)
    with pytest.raises(ConversionError, match=r"items.csv row 2, column bought_on: \"2/1/26\""):
        run(STOCK)
    assert tree(folder) == before


def test_another_currency_is_refused(run, tmp_path):
    run(STOCK)
    with pytest.raises(ConversionError, match="amounts in EUR"):
        run(STOCK.replace("18", "18 EUR").replace(",5,", ",5 EUR,"))
    euro = run(STOCK.replace("18", "18 EUR").replace(",5,", ",5 EUR,"), into="euro")
    assert read_books(euro.folder).shop.currency == "EUR"
    mixed = run(STOCK.replace("18", "18 EUR"), into="mixed", currency="USD")
    assert mixed.refused[0].reason == 'cost: "18 EUR" isn\'t in USD, the currency of the shop'


def test_a_file_in_place_of_a_folder(run, tmp_path):
    (tmp_path / "books").write_text("x")
    with pytest.raises(ConversionError, match="name a folder with --into"):
        run(STOCK)
    with pytest.raises(ConversionError, match="a folder that it can be made in"):
        run(STOCK, into="no/such/place")


def test_a_failure_while_writing_leaves_nothing_half_done(run, tmp_path, monkeypatch):
    folder = run(STOCK).folder
    before = tree(folder)
    real = os.fsync
    count = 0

    def full(handle):
        nonlocal count
        count += 1
        if count > 2:
            raise OSError(28, "No space left on device")
        real(handle)

    monkeypatch.setattr(os, "fsync", full)
    for into in ("books", "fresh"):
        count = 0
        with pytest.raises(OSError, match="No space left"):
            run(STOCK.replace("A2", "A3"), into=into)
    assert tree(folder) == before
    assert sorted(p.name for p in tmp_path.iterdir()) == ["books", "export.csv"]


def test_titles_that_look_like_formulas_stay_text(run):
    titles = ["=HYPERLINK(1)", "+1 lamp", "-vase", "@jug", "'=quoted", "'90s radio", "plain", '=1+"a,b"']
    rows = [f'S{n},"{title.replace(chr(34), chr(34) * 2)}",x,2026-03-01,{n}' for n, title in enumerate(titles)]
    done = run("SKU,Item,Category,Bought,Cost\n" + "\n".join(rows) + "\n")
    assert read_books(done.folder).items.sort_values("row")["title"].tolist() == titles
    for path in done.folder.rglob("*.csv"):
        with path.open(encoding="utf-8", newline="") as handle:
            for row in csv.reader(handle):
                for cell in row:
                    assert cell[:1] not in tuple("=+@\t\r") or not cell, (path, cell)
                    assert not cell.startswith("-") or cell[1:].replace(".", "").isdigit()
    again = run("SKU,Item,Category,Bought,Cost\n" + "\n".join(rows) + "\n")
    assert (again.added, again.changes, again.written) == (0, (), ())


def test_tables_without_names_count_equal_rows(run):
    text = (
        "Date;Description;Amount\n01.03.2026;Storage;-45,00\n15.03.2026;Website;-12,50\n31.03.2026;Storage;-45,00\n"
        "20.03.2026;Payout;99,00\n"
    )
    run(STOCK)
    every = {"keep Description": "*"}
    with pytest.raises(ConversionError, match="this looks like a bank list, which has more than overheads"):
        run(text, name="bank.csv", table="overheads")
    done = run(text, name="bank.csv", table="overheads", more=every)
    assert (done.rows_in, done.added, len(done.refused)) == (4, 3, 1)
    assert "it came in instead of going out" in done.refused[0].reason
    overheads = read_books(done.folder).overheads.sort_values("row")
    assert overheads["amount_cents"].tolist() == [4500, 1250, 4500]
    assert run(text, name="bank.csv", table="overheads", more=every).added == 0
    text += "31.03.2026;Storage;-45,00\n"
    more = run(text, name="bank.csv", table="overheads", duplicates="separate", more=every)
    assert (more.added, more.there) == (1, 3)


def test_units_and_measures(run):
    done = run(
        "SKU;Item;Category;Bought;Cost;Weight (oz);Length cm;Width\n"
        "A1;a;x;2026-03-01;1,50;20;30,48;4 ft 11 in\nA2;b;x;2026-03-01;1,50;0;-;31,5 cm\n"
    )
    items = read_books(done.folder).items.sort_values("row")
    assert items["weight_lb"].fillna(0).tolist() == [1.25, 0]
    assert items["length_in"].round(6).fillna(0).tolist() == [12, 0]
    assert items["width_in"].round(4).tolist() == [59, 12.4016]


def test_joined_and_fixed_columns(run):
    more = {"column title": "Make + Model", "column category": "=cameras", "column bought_on": "=2026-01-02"}
    done = run("Make,Model,Cost\nAcme,One,5.00\nAcme,,6.00\n", table="items", more=more)
    items = read_books(done.folder).items.sort_values("row")
    assert items["title"].tolist() == ["Acme One", "Acme"]
    assert set(items["category"]) == {"cameras"}


def test_text_says_what_was_done(run):
    text = run(STOCK + "A3,Jug,pots,2026-03-07,x,\n").text()
    assert "export.csv: 3 rows in = 3 taken + 0 refused" in text
    assert "sum of cost over the rows taken: 23.00" in text
    assert 'left blank, and their rows are taken (1):\n  row 4: cost: "x" isn\'t an amount' in text
    text = run(STOCK + "A3,Jug,pots,soon,1,\n", name="other.csv").text()
    assert 'refused, row 4: bought_on: "soon" isn\'t a date' in text
    assert "not in the books: 1 of the rows. converted/other-refused.csv has them, with reasons" in text
    assert "nothing new: nothing written" in run(STOCK + "A3,Jug,pots,2026-03-07,x,\n").text()


CELLS = st.text(alphabet=st.characters(exclude_categories=["Cs", "Cc"]), max_size=12)


@settings(max_examples=600 if EVERYTHING else 20, deadline=None)
@given(st.lists(st.tuples(CELLS, st.sampled_from(["x", "y"]), st.integers(0, 99_999)), min_size=1, max_size=8))
def test_any_titles_survive_the_round_trip(tmp_path_factory, rows):
    home = tmp_path_factory.mktemp("any")
    with (home / "e.csv").open("w", encoding="utf-8", newline="") as handle:
        writer = csv.writer(handle)
        writer.writerow(["Item", "Category", "Bought", "Cost"])
        writer.writerows([title, kind, "2026-03-01", f"{cents / 100:.2f}"] for title, kind, cents in rows)
    answers = {"duplicates": "separate", "totals": "keep", "table": "items", "header-row": "1", "delimiter": "comma"}
    try:
        done = apply(propose(home / "e.csv", answers=answers), home / "books")
    except ConversionError:
        return
    assert done.rows_in == done.taken + len(done.refused) == len(rows)
    kept = sorted(" ".join(title.split()) if not title.strip().isprintable() else title.strip() for title, _, _ in rows)
    gone = {left.row for left in done.refused}
    kept = sorted(
        " ".join(t.split()) if not t.strip().isprintable() else t.strip()
        for n, (t, _, _) in enumerate(rows, start=2)
        if n not in gone
    )
    assert sorted(read_books(home / "books").items.sort_values("row")["title"]) == kept


def test_the_same_unreadable_text_is_refused_in_every_block(run):
    rows = [f"S{n},lamp,x,{'oops' if n % 15_000 == 7 else '2026-03-01'},1.00" for n in range(45_000)]
    text = "SKU,Item,Category,Bought,Cost\n" + "\n".join(rows) + "\n"
    with pytest.raises(ConversionError, match="what do they mean"):
        run(text)
    done = run(text, more={"words bought_on": ""})
    assert [left.row for left in done.refused] == [9, 15_009, 30_009]
    assert done.taken == 44_997


def test_lines_of_a_bank_list_are_taken_by_their_words(run):
    text = "Date,Details,Amount,Balance\n2026-03-01,STORAGE UNIT 7,-45.00,100\n2026-03-02,Estate sale,-60.00,40\n"
    run(STOCK)
    done = run(text, name="bank.csv", table="overheads", more={"keep Details": "storage | website"})
    assert (done.taken, done.refused[0].reason) == (1, "none of the words to keep stands in Details")
    kept = propose(done.export, answers={"table": "overheads", "keep Details": "storage"}).mapping
    assert propose(done.export, mapping=kept).questions == ()
