"""An export for each table of the books, as a stranger would write it."""

from __future__ import annotations

import pandas as pd
import pytest

from flipkit.books.read import read_books
from flipkit.imports.apply import apply
from flipkit.imports.detect import propose

STOCK = "SKU,Item,Category,Bought,Cost,Lot\nA1,Crock,pots,2026-03-07,18,\nA2,Vase,pots,2026-03-07,,L7\n"

TABLES = {
    "price_changes": (
        "Item number;New price;Date changed\nA1;79,00;28.03.2026\nA1;72,00;11.04.2026\nA9;1,00;11.04.2026\n",
        {},
        1,
        lambda t: t["price_cents"].tolist() == [7900, 7200],
    ),
    "work": (
        "Date,Task,Time spent,Who,SKU,Distance\n03/25/2026,Packing,1 h 20 min,me,A1,\n03/26/2026,photos,35,Ann,,\n"
        "03/26/2026,juggling,35,Ann,,\n",
        {},
        1,
        lambda t: (t["minutes"].tolist(), t["activity"].tolist()) == ([80.0, 35.0], ["pack", "photograph"]),
    ),
    "trips": (
        "Trip,Date,Distance (km),Parking\nT1,2026-03-07,50,$4.00\nT2,2026-03-08,n/a,\n",
        {},
        0,
        lambda t: t["miles"].round(4).fillna(0).tolist() == [31.0686, 0.0],
    ),
    "lots": (
        "Lot number,Date bought,Total cost,Shared by\nL7,2026-03-07,60.00,evenly\nL8,2026-03-07,10.00,weight\n",
        {},
        0,
        lambda t: (t["cost_cents"].tolist(), t["share_by"].tolist()) == ([6000, 1000], ["equal", "weight"]),
    ),
    "supplies": (
        "Purchase date,Material,Qty,Unit,Total\n2026-02-20,bubble wrap,175,ft,38.50\n2026-02-20,tape,6,roll,14.20\n",
        {},
        0,
        lambda t: t["quantity"].tolist() == [175.0, 6.0],
    ),
    "comparables": (
        "Category,Date sold,Sold price,Condition\npots,2026-02-11,82.00,good\npots,2026-02-12,31.00,\n",
        {},
        0,
        lambda t: t["condition"].tolist() == ["good", ""],
    ),
    "overheads": (
        "Month,Expense,Amount\nMarch 2026,storage,45.00\n2026-04,storage,45.00\n05/2026,storage,45.00\n",
        {"dates": "month-day-year"},
        0,
        lambda t: t["month"].tolist() == [pd.Timestamp(2026, month, 1) for month in (3, 4, 5)],
    ),
    "people": (
        "Person,Role,Hourly wage,Payroll taxes,Share\nme,owner,,,100%\nAnn,helper,16.00,7.65%,\n",
        {},
        0,
        lambda t: (t["role"].tolist(), t["payroll_burden_ppm"].fillna(0).tolist()) == (["owner", "hired"], [0, 76_500]),
    ),
}


@pytest.fixture
def shop(tmp_path):
    (tmp_path / "stock.csv").write_text(STOCK)
    lots = "Lot number,Date bought,Total cost\nL7,2026-03-07,60.00\n"
    (tmp_path / "lots.csv").write_text(lots)
    folder = tmp_path / "books"
    folder.mkdir()
    (folder / "items.csv").write_text("item_id,title,category,bought_on,cost\n")
    apply(propose(tmp_path / "lots.csv", answers={"table": "lots"}, into=folder), folder)
    apply(propose(tmp_path / "stock.csv", into=folder), folder)
    return folder


@pytest.mark.parametrize("name", TABLES)
def test_a_table(shop, tmp_path, name):
    text, said, refused, right = TABLES[name]
    path = tmp_path / f"{name}.csv"
    path.write_text(text, encoding="utf-8")
    proposal = propose(path, answers={"table": name, **said}, into=shop)
    assert proposal.questions == (), proposal.text()
    done = apply(proposal, shop)
    assert len(done.refused) == refused, done.text()
    assert done.rows_in == done.taken + refused
    table = read_books(shop).table(name)
    assert right(table), table
    assert apply(propose(path, answers={"table": name, **said}, into=shop), shop).written == ()


@pytest.mark.parametrize("name", ["price_changes", "trips", "lots", "supplies", "comparables", "people"])
def test_a_table_is_known_by_its_headers(shop, tmp_path, name):
    path = tmp_path / f"{name}.csv"
    path.write_text(TABLES[name][0], encoding="utf-8")
    assert propose(path).mapping.table == name
