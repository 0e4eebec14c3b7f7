"""One malformed file for each mistake: the message names the place and says how to mend it."""

from __future__ import annotations

import openpyxl
import pytest

from flipkit.books.read import inspect_books

HEAD = "item_id,title,category,bought_on,cost"
GOOD = f"{HEAD}\nA-1,crock,stoneware,2026-03-07,18.00\n"
SALE = f"{HEAD},listed_on,sold_on,sold_price,returned_on,gone_on,gone_how,refund,label_paid,zone\n"


def item(cells: str) -> dict[str, str]:
    return {"items": f"{HEAD}\n{cells}\n"}


def sale(cells: str) -> dict[str, str]:
    return {"items": f"{SALE}A-1,crock,stoneware,2026-03-07,18.00,{cells}\n"}


def beside(**tables: str) -> dict[str, str]:
    return {"items": GOOD, **tables}


STOPS = [
    # cells of items
    (item("A-1,,stoneware,2026-03-07,18"), "items.csv row 2, column title: this is blank", "what it is"),
    (item(",crock,stoneware,2026-03-07,18"), "row 2, column item_id: this is blank", "your own name"),
    (item("A-1,crock,stoneware,,18"), "row 2, column bought_on: this is blank", "such as 2026-03-07"),
    (item("A-1,crock,stoneware,2026-03-07,-5"), 'column cost: "-5"', "at least 0; leave the sign out"),
    (item("A-1,crock,stoneware,2026-03-07,abc"), 'column cost: "abc"', "an amount such as 64.00"),
    (item('A-1,crock,stoneware,2026-03-07,"1.234,50"'), '"1.234,50"', "decimals after a point"),
    (item("A-1,crock,stoneware,2026-03-07,1.005"), '"1.005"', "whole cent"),
    (item("A-1,crock,stoneware,2026-03-07,€5"), '"€5"', "isn't in USD"),
    (item("A-1,crock,stoneware,2026-03-07,5 CAD"), '"5 CAD"', "isn't in USD"),
    (item("A-1,crock,stoneware,2026-03-07,99999999999999"), "column cost", "at most"),
    (item("A-1,crock,stoneware,3/4/2026,18"), '"3/4/2026"', "write 2026-03-04 or 2026-04-03, whichever it is"),
    (item("A-1,crock,stoneware,25.3.26,18"), '"25.3.26"', "write 2026-03-25"),
    (item("A-1,crock,stoneware,2026-02-30,18"), '"2026-02-30"', "no such day"),
    (item("A-1,crock,stoneware,0206-02-03,18"), '"0206-02-03"', "look at the year"),
    (item("A-1,crock,stoneware,46088,18"), '"46088"', "day number for 2026-03-07"),
    (item("A-1,crock,stoneware,yesterday,18"), '"yesterday"', "flipkit convert"),
    (
        item("A-1,crock,stoneware,2026-03-07,18\nA-1,jug,stoneware,2026-03-07,9"),
        "row 3, column item_id",
        "row 2 has it",
    ),
    ({"items": f"{HEAD},quantity\nA-1,a,b,2026-03-07,1,0"}, 'column quantity: "0"', "whole number from 1"),
    ({"items": f"{HEAD},quantity\nA-1,a,b,2026-03-07,1,2.5"}, '"2.5"', "whole number from 1"),
    ({"items": f"{HEAD},length\nA-1,a,b,2026-03-07,1,3 foo"}, 'column length: "3 foo"', "a measure such as"),
    ({"items": f"{HEAD},length_in\nA-1,a,b,2026-03-07,1,0"}, 'column length_in: "0"', "leave the cell blank"),
    ({"items": f"{HEAD},width_cm\nA-1,a,b,2026-03-07,1,-4"}, 'column width_cm: "-4"', "at least 0"),
    ({"items": f"{HEAD},weight\nA-1,a,b,2026-03-07,1,4 in"}, 'column weight: "4 in"', "a measure such as"),
    (
        {"items": f"{HEAD},weight_lb,weight_oz\nA-1,a,b,2026-03-07,1,2,4"},
        "weight_lb 2 and weight_oz 4",
        "such as 2 lb 4 oz",
    ),
    (
        {"items": f"{HEAD},length_in,length_cm\nA-1,a,b,2026-03-07,1,10,20"},
        "length_in 10 and length_cm 20",
        "one measure",
    ),
    # a sale and an end
    (sale(",2026-03-01,5,,,,,,"), "column sold_on: sold_on 2026-03-01 before bought_on 2026-03-07", "mend"),
    (sale("2026-03-20,2026-03-10,5,,,,,,"), "sold_on 2026-03-10 before listed_on 2026-03-20", "on or after listed_on"),
    (sale(",2026-03-10,5,2026-03-09,,,,,"), "returned_on 2026-03-09 before sold_on 2026-03-10", "on or after sold_on"),
    (sale(",,,,2026-03-01,,,,"), "gone_on 2026-03-01 before bought_on 2026-03-07", "on or after bought_on"),
    (sale(",2026-03-10,,,,,,,"), "column sold_price: this is blank", "write 0 if nothing"),
    (sale(",,5,,,,,,"), "column sold_on: sold for 5.00 without a day", "the day of the sale"),
    (sale(",,,2026-04-01,,,,,"), "column returned_on: a return without a sale", "sold_on and sold_price"),
    (sale(",2026-03-10,5,,2026-04-01,,,,"), "sold 2026-03-10 and gone 2026-04-01", "one end for each item"),
    (sale(",,,,2026-04-01,eaten,,,"), 'column gone_how: "eaten"', "one of donated, scrapped, kept"),
    (sale(",,,,2026-04-01,donatd,,,"), '"donatd"', "did you mean donated?"),
    (sale(",,,,,kept,,,"), 'column gone_on: "kept"', "the day it left"),
    # headers and the shape of the file
    ({"items": "title,category,bought_on,cost\na,b,2026-03-07,1"}, "item_id: this is missing", "a column item_id"),
    ({"items": f"{HEAD.replace('cost', 'costs')}\n1,a,b,2026-03-07,1"}, "column cost", "is it the column costs?"),
    ({"items": f"{HEAD},cost\n1,a,b,2026-03-07,1,1"}, "the header cost twice", "each header once"),
    ({"items": HEAD.replace(",", ";") + "\n1;a;b;2026-03-07;1"}, "cells separated by ';'", "separated by commas"),
    ({"items": HEAD.replace(",", "\t") + "\n"}, "cells separated by a tab", "flipkit convert"),
    (
        {"items": f"{HEAD}\n1,Lamp, brass,b,2026-03-07,1"},
        "row 2: 6 cells",
        "put a cell that holds a comma in quotes",
    ),
    (
        {"items": f"{HEAD},\nA-1,a,b,2026-03-07,1,red"},
        "row 2: 6 cells, the last red.",
        "5 cells as in the header",
    ),
    ({"items": f'{HEAD}\n1,"Lamp,b,2026-03-07,1\n2,a,b,2026-03-07,1\n'}, "items.csv row 2", "never closed"),
    ({"items": f"{HEAD}\n1,{'x' * 100_001},b,2026-03-07,1"}, "items.csv row 2", "at most 100,000 characters"),
    ({"items": ",".join(f"c{i}" for i in range(1001))}, "items.csv row 1: 1,001 columns", "is this one table?"),
    ({"items": ""}, "items.csv: no header", "item_id, title, category, bought_on, cost"),
    ({"items": f"{HEAD}\n" + "\n".join(f"#{i},a,b,2026-03-07,1" for i in range(4))}, "4 of 4 rows", "leave the #"),
    ({"trips": "trip_id,date\nT-1,2026-03-07\n"}, "no items in books", "a file items.csv"),
    # the other tables
    (
        beside(price_changes="item_id,changed_on,price\nA-11,2026-03-08,5"),
        "price_changes.csv row 2",
        "did you mean A-1?",
    ),
    (beside(price_changes="item_id,changed_on,price\nA-1,2026-03-08,-5"), 'column price: "-5"', "at least 0"),
    (beside(price_changes="item_id,changed_on\nA-1,2026-03-08"), "price_changes.csv, column price", "a column price"),
    (beside(work="date,activity,minutes,worker\n2026-03-08,photo,5,me"), '"photo"', "did you mean photograph?"),
    (beside(work="date,activity,minutes,worker\n2026-03-08,packing,5,me"), '"packing"', "did you mean pack?"),
    (beside(work="date,activity,minutes,worker\n2026-03-08,pack,soon,me"), 'column minutes: "soon"', "45 min"),
    (beside(work="date,activity,minutes,worker\n2026-03-08,pack,,me"), "column minutes: this is blank", "how long"),
    (
        beside(work="date,activity,minutes,worker,item_id\n2026-03-08,pack,5,me,A-9"),
        'work.csv row 2, column item_id: "A-9"',
        "a row of items",
    ),
    (
        beside(work="date,activity,minutes,worker,item_id,trip_id\n2026-03-08,pack,5,me,A-1,T-1"),
        "A-1, T-1",
        "at most one of item_id, trip_id and category",
    ),
    (
        beside(
            work="date,activity,minutes,worker,trip_id\n2026-03-08,find,5,me,T-11",
            trips="trip_id,date\nT-1,2026-03-08",
        ),
        'column trip_id: "T-11"',
        "did you mean T-1?",
    ),
    (
        beside(work="date,activity,minutes,worker\n2026-03-08,pack,5,An", people="worker\nAnn\n"),
        'work.csv row 2, column worker: "An"',
        "did you mean Ann?",
    ),
    (beside(trips="trip_id,date,miles\nT-1,2026-03-07,far"), "trips.csv row 2, column miles", "a number of at least 0"),
    (
        beside(trips="trip_id,date\nT-1,2026-03-07\nT-1,2026-03-08"),
        "trips.csv row 3, column trip_id",
        "row 2 has it too",
    ),
    (
        {"items": f"{HEAD},lot_id\nA-1,a,b,2026-03-07,,L-2", "lots": "lot_id,date,cost\nL-1,2026-03-07,9"},
        'items.csv row 2, column lot_id: "L-2"',
        "did you mean L-1?",
    ),
    (
        {
            "items": f"{HEAD},lot_id\nA-1,a,b,2026-03-07,10,L-1\nA-2,a,b,2026-03-07,,L-1",
            "lots": "lot_id,date,cost\nL-1,2026-03-07,9",
        },
        "lots.csv row 2, column cost: 9.00, while its items already cost 10.00",
        "at least what its items cost",
    ),
    (
        beside(lots="lot_id,date,cost,share_by\nL-1,2026-03-07,9,size"),
        'column share_by: "size"',
        "expected value",
    ),
    (
        beside(supplies="date,supply,quantity,unit,cost\n2026-03-07,tape,six,roll,9"),
        'column quantity: "six"',
        "number",
    ),
    (beside(supplies="date,supply,quantity,unit,cost\n2026-03-07,tape,6,,9"), "column unit: this is blank", "its unit"),
    (
        beside(comparables="category,sold_on,price\n,2026-03-07,9"),
        "column item_id: this is blank",
        "an item_id or a category",
    ),
    (beside(comparables="item_id,sold_on,price\nA-71,2026-03-07,9"), "comparables.csv row 2", "did you mean A-1?"),
    (
        beside(overheads="month,what,amount\nMarch,rent,9"),
        'overheads.csv row 2, column month: "March"',
        "2026-03",
    ),
    (beside(people="worker,role\nAnn,boss"), 'people.csv row 2, column role: "boss"', "one of owner, hired"),
    (
        beside(people="worker,payroll_burden\nAnn,7.65"),
        'column payroll_burden: "7.65"',
        "write 7.65 % if per cent",
    ),
    (beside(people="worker,share_of_profit\nAnn,60 %\nBo,50 %"), "110 % together", "at most 100 %"),
    (
        beside(shop="key,value\ncurrency,dollars"),
        'shop.csv row 2, column value: "dollars"',
        "three capital letters",
    ),
    (beside(shop="key,value\nlength_unit,furlong"), 'column value: "furlong"', "one of in, ft, cm, mm, m"),
    (beside(shop="key,value\nname,a\nname,b"), "shop.csv row 3, column key", "each key once"),
    (beside(shop="a,b\nname,a"), "shop.csv: a, b", "the headers key, value"),
]


@pytest.mark.parametrize(("tables", "place", "words"), STOPS, ids=range(len(STOPS)))
def test_a_mistake_stops_the_books(folder, tables, place, words):
    books, problems = inspect_books(folder(tables))
    assert books is None
    told = [str(problem) for problem in problems if problem.severity == "stop"]
    assert any(place in line and words in line for line in told), "\n".join(told)


@pytest.mark.parametrize(("tables", "place", "words"), STOPS, ids=range(len(STOPS)))
def test_one_mistake_draws_one_stop(folder, tables, place, words):
    _, problems = inspect_books(folder(tables))
    stops = [p for p in problems if p.severity == "stop"]
    cells = {(p.file, p.row, p.column) for p in stops}
    assert len(cells) == len(stops)


NOTES = [
    ({"items": f"{HEAD},colour\nA-1,a,b,2026-03-07,1,red"}, "a column colour", "it was not read"),
    ({"items": f"{HEAD},titel\nA-1,a,b,2026-03-07,1,red"}, "a column titel", "it was not read"),
    ({"items": f"{HEAD},sold_price_,sold_no\nA-1,a,b,2026-03-07,1,,"}, "a column sold_no", "if it is sold_on"),
    ({"items": f"{HEAD},,note\nA-1,a,b,2026-03-07,1,red,x"}, "column 6 without a header", "were not read"),
    ({"items": f"{HEAD},note\nA-1,a,b,2026-03-07,1"}, "row 2 with fewer cells", "taken as blank"),
    (
        {"items": f"{HEAD},length\nA-1,a,b,2026-03-07,1,30 cm\nA-2,a,b,2026-03-07,1,12"},
        "1 bare number beside 1 with a unit",
        "(row 3) were taken as in",
    ),
    (
        item("A-1,a,Lamps,2026-03-07,1\nA-2,b,lamps,2026-03-07,1\nA-3,b,lamps,2026-03-07,1"),
        "row 2, column category: lamps (2), Lamps (1)",
        "count as two categories",
    ),
    (
        item("A-1,a,b,2026-03-07,1\nA-2,a,,2026-03-07,1\nA-3,a,,2026-03-07,1"),
        "row 3, column category: blank in 2 of 3 rows",
        "they count as unsorted",
    ),
    (item("a-1,a,b,2026-03-07,1\nA-1,b,b,2026-03-07,1"), "A-1 (1), a-1 (1)", "count as two items"),
    (sale("2026-03-01,,,,,,,,"), "listed_on 2026-03-01 before bought_on", "listed after they were bought"),
    (sale(",2026-03-10,5,,,,9,,"), "refund 9.00 of 5.00", "a mark or a digit slipped"),
    (sale(",2026-03-10,5,2026-03-12,,,,,"), "column refund: this is blank", "counts as fully paid"),
    (sale(",2026-03-10,5,,,,,4,pickup"), "a label of 4.00 for a pickup", "mend zone or label_paid"),
    (sale(",,,,,,9,,"), "refund 9.00 on an unsold item", "fill in sold_on"),
    (
        {"items": f"{HEAD},lot_id\nA-1,a,b,2026-03-07,4,L-2"},
        "row 2 with a lot that lots does not hold",
        "their own cost counts",
    ),
    (beside(lots="lot_id,date,cost\nL-1,2026-03-07,9"), 'lots.csv row 2, column lot_id: "L-1"', "no item yet"),
    (
        {"items": f"{HEAD},lot_id\nA-1,a,b,2026-03-07,4,L-1", "lots": "lot_id,date,cost\nL-1,2026-03-07,9"},
        "9.00, while its items cost 4.00 together",
        "own costs count",
    ),
    (
        {"items": f"{HEAD},trip_id\nA-1,a,b,2026-03-07,4,T-2", "trips": "trip_id,date\nT-1,2026-03-07"},
        'column trip_id: "T-2"',
        "without it the trip costs nothing",
    ),
    (
        {"items": f"{HEAD},trip_id\nA-1,a,b,2026-03-07,4,T-1", "trips": "trip_id,date\nT-1,2025-03-07"},
        "bought 2026-03-07 on a trip of 2025-03-07",
        "days that agree",
    ),
    (
        beside(price_changes="item_id,changed_on,price\nA-1,2026-04-01,5\nA-1,2026-04-01,6"),
        "a second price for A-1 on 2026-04-01",
        "the lower row counts",
    ),
    (
        beside(overheads="month,what,amount\n2026-03,rent,9\n2026-04,rent,9\n2026-03,rent,9"),
        "overheads.csv row 2: rows 2, 4 equal to another",
        "all count; if one is a copy, delete it",
    ),
    (
        beside(work="date,activity,minutes,worker\n2026-03-08,pack,5,me"),
        'column worker: "me"',
        "counts as an owner",
    ),
    (
        beside(work="date,activity,minutes,worker,category\n2026-03-08,pack,5,me,stonware"),
        '"stonware"',
        "mean stoneware?",
    ),
    (beside(work="date,activity,minutes,worker\n2026-03-08,pack,2000,me"), "2000 minutes in one day", "seconds"),
    (beside(people="worker,role\nAnn,hired"), "people.csv row 2, column wage: this is blank", "assumed wage"),
    (beside(shop="key,value\ncurency,USD"), 'shop.csv row 2, column key: "curency"', "did you mean currency?"),
    (beside(item="a\n1"), "a file item.csv", "if it is items, rename it items.csv"),
]


@pytest.mark.parametrize(("tables", "place", "words"), NOTES, ids=range(len(NOTES)))
def test_a_doubt_is_told(folder, tables, place, words):
    _, problems = inspect_books(folder(tables))
    told = [str(problem) for problem in problems]
    assert any(place in line and words in line for line in told), "\n".join(told)


@pytest.mark.parametrize("activity", ["flying", "rest", "wash", "paint"])
def test_a_word_that_is_near_no_choice_is_not_taken_for_one(folder, activity):
    tables = beside(work=f"date,activity,minutes,worker\n2026-03-08,{activity},5,me")
    _, problems = inspect_books(folder(tables))
    told = [str(problem) for problem in problems if activity in str(problem)]
    assert len(told) == 1
    assert "isn't one of find, research" in told[0]
    assert "did you mean" not in told[0]


def test_bytes_that_are_no_text(tmp_path):
    for number, (body, place, words) in enumerate(
        [
            (f"{HEAD}\nA-1,caf\xe9,b,2026-03-07,1".encode("latin-1"), "row 2: a byte 0xe9", "CSV UTF-8"),
            (GOOD.encode("utf-16"), "UTF-16 text.", "CSV UTF-8"),
            (f"{HEAD}\nA-1,a\0b,b,2026-03-07,1".encode(), "row 2: a NUL byte", "export it anew"),
        ]
    ):
        home = tmp_path / str(number)
        home.mkdir()
        (home / "items.csv").write_bytes(body)
        books, problems = inspect_books(home)
        assert books is None
        assert place in str(problems[0])
        assert words in str(problems[0])
        assert len(problems) == 1


def test_places_that_are_no_books(tmp_path):
    (tmp_path / "notes.docx").write_text("x")
    (tmp_path / "bad.xlsx").write_bytes(b"PK\x03\x04 not really")
    (tmp_path / "sub").mkdir()
    for name, words in [
        ("nowhere", "look at the spelling"),
        ("notes.docx", "a folder of CSV files"),
        ("bad.xlsx", "open it in a spreadsheet and save it again"),
        ("sub", "flipkit start makes a template"),
        (".", "the folder holds bad.xlsx: give the path of that file"),
    ]:
        books, problems = inspect_books(tmp_path / name)
        assert books is None
        assert any(words in str(problem) for problem in problems), [str(p) for p in problems]


def test_lost_cells_of_a_workbook(tmp_path):
    made = openpyxl.Workbook()
    sheet = made.active
    sheet.title = "items"
    sheet.append([*HEAD.split(","), "list_price"])
    sheet.append(["A-1", "a", "b", "2026-03-07", "=2+3", None])
    made.create_sheet("itmes").append(["x"])
    path = tmp_path / "books.xlsx"
    made.save(path)
    _, problems = inspect_books(path)
    told = [str(problem) for problem in problems]
    assert any("books.xlsx sheet items row 2, column E: a formula without its result" in t for t in told)
    assert any("sheet itmes: a sheet itmes" in t and "if it is items" in t for t in told)


def test_two_files_for_one_table(folder):
    home = folder({"items": GOOD})
    (home / "ITEMS.csv").write_text(GOOD)
    _, problems = inspect_books(home)
    assert any("a second file for items" in str(p) and "keep one" in str(p) for p in problems)


def test_an_unreadable_measure_says_how_to_mend_it(folder):
    tables = {
        "items": "item_id,title,category,bought_on,cost\nA,Jug,stoneware,2026-01-03,1\n",
        "work": "date,activity,minutes,worker\n2026-01-03,find,x,me\n",
    }
    _, problems = inspect_books(folder(tables))
    told = [problem for problem in problems if problem.column == "minutes"]
    assert [problem.mend for problem in told] == ["write a number with its unit"]
