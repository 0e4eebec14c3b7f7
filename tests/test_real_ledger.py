"""A stranger's real ledger, from its export to a pack that says honestly that nothing sold yet.

The ledger is ``ks_1033_data.csv``, surplus goods that a government gave away, which the source
distribution of csvkit 2.2.0 (MIT licence) carries among its examples. It is fetched here through
pip, never kept in the project.
"""

from __future__ import annotations

import subprocess
import sys
import tarfile
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner

from flipkit.books.read import read_books
from flipkit.cli.main import main
from flipkit.pack.month import make_month_pack, month_plan
from tests.helpers.without_kernels import without_kernels

ROWS, QUANTITY, COST_CENTS, EQUAL_ROWS = 1_575, 1_988, 4_126_824_62, 1_187

SOURCE = pytest.mark.published(source="csvkit-examples", where="examples/realdata/ks_1033_data.csv", seen="found")


@pytest.fixture(scope="module")
def ledger(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("ledger")
    download = [sys.executable, "-m", "pip", "download", "-q", "--no-deps"]
    subprocess.run([*download, "--no-binary", "csvkit", "-d", folder, "csvkit==2.2.0"], check=True)
    with tarfile.open(next(folder.glob("csvkit-*.tar.gz"))) as archive:
        member = archive.extractfile("csvkit-2.2.0/examples/realdata/ks_1033_data.csv")
        assert member is not None
        path = folder / "ks_1033_data.csv"
        path.write_bytes(member.read())
    return path


@pytest.fixture(scope="module")
def books(ledger) -> Path:
    folder = ledger.parent / "books"
    asked = ["convert", str(ledger), "--into", str(folder), "--yes", "--duplicates", "separate"]
    result = CliRunner().invoke(main, asked)
    assert result.exit_code == 0, result.output
    assert "1,575 rows in = 1,575 taken + 0 refused" in result.output
    return folder


@SOURCE
def test_equal_rows_are_asked_about_and_not_dropped(ledger, tmp_path):
    result = CliRunner().invoke(main, ["convert", str(ledger), "--into", str(tmp_path / "books"), "--yes"])
    assert result.exit_code == 2
    assert f"{EQUAL_ROWS:,} rows are equal to an earlier one in every cell" in result.output
    assert "--duplicates separate" in result.output
    assert not (tmp_path / "books").exists()


@SOURCE
def test_every_row_and_cent_is_in_the_books(ledger, books):
    items = read_books(books).items
    exported = pd.read_csv(ledger, dtype=str)
    assert items["row"].nunique() == len(exported) == ROWS
    assert len(items) == QUANTITY
    assert int(exported.duplicated().sum()) == EQUAL_ROWS
    assert int(items["quantity"].sum()) == QUANTITY
    assert int(items["cost_cents"].sum()) == COST_CENTS
    assert items["item_id"].is_unique
    assert items["sold_on"].isna().all()


@pytest.mark.slow
@SOURCE
def test_its_pack_says_that_nothing_sold_yet(books, tmp_path):
    category = "WEAPONS"
    plan = month_plan(books, categories=[category], out=tmp_path / "pack")
    assert int(plan.study.items["cost_cents"].sum()) == COST_CENTS
    assert len(plan.study.unsold_items()) == QUANTITY
    with without_kernels(plan.study):
        pack = make_month_pack(plan)
    overview = (pack.folder / "index.html").read_text(encoding="utf-8")
    assert "Nothing sold yet." in overview
    assert "1,988 items that cost $4,126,824.62" in overview
    page = (pack.folder / "category-weapons.html").read_text(encoding="utf-8")
    assert "too few to tell" in page
