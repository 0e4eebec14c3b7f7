"""What an export is and where its table lies: encodings, delimiters, quotes, headers, notes, totals."""

from __future__ import annotations

import gzip
import json
from pathlib import Path

import openpyxl
import pytest

from flipkit.errors import ConversionError
from flipkit.imports import values
from flipkit.imports.dialect import blocks_of
from flipkit.imports.match import survey
from flipkit.imports.sheets import open_export

SPECTRUM = Path(__file__).parent / "data" / "csv_spectrum"


def table(path, **how):
    """The rows of the table in an export, by header."""
    opened = open_export(path, **how)
    layout = survey(opened)
    return [dict(zip(layout.headers, row, strict=True)) for block in layout.sorted_blocks(opened) for row in block.rows]


def left(path):
    opened = open_export(path)
    return [(gone.row, gone.reason) for block in survey(opened).sorted_blocks(opened) for gone in block.left]


@pytest.mark.published(source="csv-spectrum", where="json/*.json", seen="found")
@pytest.mark.parametrize("name", sorted(path.stem for path in SPECTRUM.glob("*.csv")))
def test_csv_spectrum(name):
    opened = open_export(SPECTRUM / f"{name}.csv")
    (block,) = list(opened.blocks())
    header, *rows = block.rows
    found = [dict(zip(header, row, strict=True)) for row in rows]
    expected = json.loads((SPECTRUM / f"{name}.json").read_text(encoding="utf-8"))
    if name == "location_coordinates":
        # The package's own JSON is one object and names another telephone number than its CSV.
        expected = [{**expected, "Contact Phone Number": "2095257564"}]
    if name.endswith("newlines") or name == "newlines_crlf":
        expected = [{key: value.strip() for key, value in row.items()} for row in expected]
    assert found == expected


@pytest.mark.parametrize(
    ("encoding", "word"),
    [
        ("utf-8", "crème"),
        ("utf-8-sig", "crème"),
        ("utf-16", "crème"),
        ("utf-16-le", "crème"),
        ("utf-16-be", "crème"),
        ("cp1252", "crème €12 “blue”"),
        ("latin-1", "£5 señal año"),
        ("mac_roman", "Café crème fiancée"),
        ("cp1251", "настольная лампа, латунь, часы, старый комод"),
        ("shift_jis", "真鍮のランプ、古い時計"),
    ],
)
def test_encodings(export, encoding, word):
    text = "title,price\n" + "plain thing,12.50\n" * 5 + f'"{word}",3.00\n'
    assert table(export(text, encoding=encoding))[-1] == {"title": word, "price": "3.00"}


def test_a_guessed_encoding_shows_what_it_makes_of_the_letters(export):
    opened = open_export(export("title,price\nseñal de tráfico,1.00\n", encoding="cp1252"))
    assert not opened.encoding.certain
    assert "'señal'" in opened.encoding.why
    assert "where mac_roman would read 'seÒal'" in opened.encoding.why
    named = open_export(export("title,price\nseńal,1.00\n", encoding="cp1250"), encoding_name="cp1250")
    assert named.encoding.certain


@pytest.mark.parametrize("mark", [",", ";", "\t", "|", "^", "~"])
@pytest.mark.parametrize("decimal", [".", ","])
def test_delimiters(export, mark, decimal):
    rows = [["Title", "Sold date", "Price"]]
    for n in range(30):
        rows.append(
            [
                ["Lamp, brass", "Crock; blue", "a | b", "Box 12:30"][n % 4],
                f"{n % 28 + 1}.3.2026 12:{n:02}",
                f"{n}{decimal}50",
            ]
        )
    text = "\n".join(mark.join(f'"{c}"' if mark in c else c for c in row) for row in rows)
    assert [list(row.values()) for row in table(export(text))] == rows[1:]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends(export, end):
    assert table(export(end.join(["a,b", "1,x", '2,"two lines"', ""]))) == [
        {"a": "1", "b": "x"},
        {"a": "2", "b": "two lines"},
    ]


def test_one_bad_quote_costs_one_row(export):
    text = 'title,price\nlamp,1\n"crock,2\nvase,3\n"jug" x,4\nbowl,5\n'
    path = export(text)
    assert [row["title"] for row in table(path)] == ["lamp", "vase", "bowl"]
    assert left(path) == [(3, "quotes that do not match"), (5, "quotes that do not match")]


def test_quotes_that_match_nowhere_name_the_option(export):
    path = export("title,size\n" + 'lamp,"12" x 3\n' * 80)
    with pytest.raises(ConversionError, match=r"export.csv row 2: .*--quote none"):
        survey(open_export(path, delimiter="comma"))
    assert table(path, delimiter="comma", quote="")[0] == {"title": "lamp", "size": '"12" x 3'}


def test_careful_reading_after_a_bad_quote_keeps_every_row(export):
    text = (
        "title,price\n"
        + "".join(f"lamp {n},1\n" for n in range(45))
        + '"open,2\n'
        + "".join(f"vase {n},1\n" for n in range(45))
    )
    opened = open_export(export(text))
    for size in (1, 7, 1000):
        blocks = list(blocks_of(opened.path, opened.encoding, opened.dialect, size=size))
        rows = [row for block in blocks for row in block.rows]
        assert len(rows) == 92
        assert [block.first for block in blocks] == [
            1 + sum(len(b.rows) for b in blocks[:n]) for n in range(len(blocks))
        ]
        assert sum(len(block.broken) for block in blocks) == 1


def test_title_lines_footnotes_comments_and_repeated_headers(export):
    text = (
        "My sales\n\nfor the year 2026,,\n# made by hand\nItem,Price,Sold\nlamp,5,2026-03-01\n# note\n,,\n"
        "Item,Price,Sold\n"
        'vase,6,2026-03-02\nMarch was good,,\n"a footnote\nover two lines",,\n'
    )
    opened = open_export(export(text))
    layout = survey(opened)
    assert layout.header_row == 5
    assert [gone.row for gone in layout.before] == [1, 3, 4]
    assert [row["Item"] for row in table(opened.path)] == ["lamp", "vase"]
    assert left(opened.path) == [
        (7, "a comment"),
        (9, "the header again"),
        (11, "one filled cell alone: a note or a heading"),
        (12, "one filled cell alone: a note or a heading"),
    ]
    assert layout.rows_in == 6


def test_ids_that_begin_with_a_hash_are_rows(export):
    assert len(table(export("Number,Item,Price\n#1,lamp,5\n#2,vase,6\n#3,jug,7\n"))) == 3


def test_blank_and_double_headers(export):
    text = "Item,Price,,Price,\nlamp,5,note,6,\nvase,7,,8,\n"
    layout = survey(open_export(export(text)))
    assert layout.headers == ["Item", "Price", "column 3", "Price (2)"]


def test_ragged_rows(export):
    path = export("a,b,c\n1,2,3\n1,2\n1,2,3,4\n1,2,3,\n4,5,6\n5,6,7\n")
    assert len(table(path)) == 5
    assert left(path) == [(4, "4 cells where the header has 3")]


def test_a_table_without_headers_is_not_given_one(export):
    layout = survey(open_export(export("1,lamp,5.00,2026-03-01\n2,vase,6.00,2026-03-02\n")))
    assert layout.header_row == 0
    assert layout.headers == ["column 1", "column 2", "column 3", "column 4"]
    assert layout.data_rows == 2


@pytest.mark.parametrize(
    ("row", "sure"),
    [
        ("Total,,15", True),
        ("TOTAL:,,15", True),
        (",Grand total,15", True),
        ("Summe,,15", True),
        ("Total,,16", False),
        ("Totally different,x,15", None),
        ("Total Station,x,15", None),
    ],
)
def test_total_rows_are_proved_by_their_sums(export, row, sure):
    layout = survey(open_export(export(f"Item,Kind,Price\nlamp,a,5\nvase,b,7\njug,c,3\n{row}\n")))
    assert [total.certain for total in layout.totals] == ([] if sure is None else [sure])


def test_subtotals_and_grand_total(export):
    text = "Item,Kind,Price\nlamp,a,5\nvase,b,7\nSubtotal,,12\njug,c,3\nSubtotal,,3\nTotal,,15\n"
    layout = survey(open_export(export(text)))
    assert [(total.row, total.certain) for total in layout.totals] == [(4, True), (6, True), (7, True)]


def test_a_last_row_without_words_that_adds_up_the_others_is_suspected(export):
    layout = survey(open_export(export("Item,Price,Fee\nlamp,5,1\nvase,7,2\njug,3,3\n,15,6\n")))
    assert [(total.row, total.label, total.sums) for total in layout.totals] == [(5, "", ["Price", "Fee"])]


def test_equal_rows_are_counted(export):
    layout = survey(open_export(export("Item,Price\nlamp,5\nvase,6\nlamp,5\nlamp,5\n")))
    assert layout.duplicate_count == 2
    assert layout.duplicates == [(4, 2), (5, 2)]


def test_equal_rows_are_found_after_a_column_that_named_all_rows_stops_doing_so(export):
    rows = [f"{n},lamp,5" for n in range(45_000)] + ["7,lamp,5", "44999,lamp,5"]
    layout = survey(open_export(export("Id,Item,Price\n" + "\n".join(rows) + "\n")))
    assert layout.duplicate_count == 2
    assert layout.duplicates == [(45_002, 9), (45_003, 45_001)]


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b"", "an empty file"),
        (b" \n\n", "an empty file"),
        (b"\n" * 600, "an empty file"),
        (b"%PDF-1.7 ...", "a PDF document"),
        (gzip.compress(b"a,b\n1,2\n", mtime=0), "a compressed file"),
        (b"<html><table><tr><td>1</td></tr></table></html>", "a web page or XML"),
        (b'{"a": 1}', "JSON"),
        (b"a,b\n\x00,2\n", "a NUL byte"),
        (b"PK\x03\x04 rest", "a workbook that opens"),
        (b"\xd0\xcf\x11\xe0 rest", "a workbook that opens"),
        (b"\x89PNG....", "a picture"),
        (b",".join([b"x"] * 1001) + b"\n", "1,001 cells"),
    ],
)
def test_what_is_no_table_says_what_it_is(export, body, words):
    with pytest.raises(ConversionError) as caught:
        survey(open_export(export(body)))
    assert words in str(caught.value)
    assert "export.csv" in str(caught.value)


def test_a_folder_and_a_missing_file(tmp_path):
    with pytest.raises(ConversionError, match="convert its files one by one"):
        open_export(tmp_path)
    with pytest.raises(ConversionError, match="look at its path"):
        open_export(tmp_path / "nothing.csv")


def test_an_enormous_cell_is_refused_with_its_row(export):
    path = export("a,b\n1,2\n3," + "x" * 200_000 + "\n4,5\n")
    assert left(path) == [(3, "a cell of more than 100,000 characters")]
    assert len(table(path)) == 2


def test_a_workbook_of_several_sheets(tmp_path):
    made = openpyxl.Workbook()
    made.active.title = "Empty"
    for name in ("Sales", "Stock"):
        sheet = made.create_sheet(name)
        sheet.append(["Item", "Price"])
        sheet.append([name, 1234.5])
    path = tmp_path / "book.xlsx"
    made.save(path)
    opened = open_export(path)
    assert opened.sheets == ("Sales", "Stock")
    assert table(path, sheet="Stock") == [{"Item": "Stock", "Price": "1234.5"}]
    with pytest.raises(ConversionError, match="one of Sales, Stock"):
        open_export(path, sheet="Other")


def test_a_first_line_that_tells_the_delimiter(export):
    opened = open_export(export("sep=;\nItem;Price, net\nlamp;1,50\n"))
    assert opened.dialect.delimiter == ";"
    assert table(opened.path) == [{"Item": "lamp", "Price, net": "1,50"}]


def test_headers_in_two_lines(export):
    text = "Purchase,,Sale,,\nDate,Price,Date,Price,Item\n2026-01-02,5,2026-02-03,9,lamp\n2026-01-03,6,,,vase\n"
    layout = survey(open_export(export(text)))
    assert layout.header_row == 2
    assert layout.headers == ["Purchase Date", "Purchase Price", "Sale Date", "Sale Price", "Item"]
    assert layout.data_rows == 2


def test_the_height_of_a_box_is_no_hour():
    assert values.heading("box H") == values.Heading("box h", "", "")
    assert values.heading("packing time h") == values.Heading("packing time", "hour", "")
