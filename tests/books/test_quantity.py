"""A row of n like things is n items: its money is shared to the cent, and an unclear sale is asked about."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from flipkit.assumptions import load_assumptions
from flipkit.books.read import inspect_books, read_books
from flipkit.economics.items import item_economics
from flipkit.imports.apply import apply
from flipkit.imports.detect import propose
from flipkit.rules.tables import load_rules
from tests.helpers.small_books import small_books, write_books

HEAD = "item_id,title,category,bought_on,cost,quantity,listed_on,list_price,sold_on,sold_price,order_id,label_paid"


def stops(folder, row, *, head=HEAD):
    """What must be mended first in books of one row."""
    _, problems = inspect_books(write_books(folder, items=f"{head}\n{row}"))
    return [str(problem) for problem in problems if problem.severity == "stop"]


@pytest.mark.worked
def test_n_like_things_are_n_items_that_share_the_rows_money(tmp_path):
    books = small_books(
        tmp_path,
        items=f"{HEAD}\nA,Mug,mugs,2026-01-02,10.00,3,2026-01-05,20.00,2026-02-01,25.00,77,7.01\nB,Jug,mugs,2026-01-02,4,,,,,,,",
        work="date,activity,minutes,worker,item_id\n2026-01-05,photograph,12,me,A",
        price_changes="item_id,changed_on,price\nA,2026-01-20,16.01",
        comparables="item_id,sold_on,price\nA,2026-01-02,9.00",
    )
    items = books.items
    assert items["item_id"].tolist() == ["A/1", "A/2", "A/3", "B"]
    assert items["cost_cents"].tolist() == [334, 333, 333, 400]
    assert items["sold_price_cents"].fillna(-1).tolist() == [834, 833, 833, -1]
    assert items["label_paid_cents"].fillna(-1).tolist() == [234, 234, 233, -1]
    assert items["quantity"].tolist() == [1, 1, 1, 1]
    assert books.work["minutes"].tolist() == [4, 4, 4]
    assert books.price_changes["price_cents"].tolist() == [534, 534, 533]
    assert books.comparables["item_id"].tolist() == ["A/1", "A/2", "A/3"]
    found = item_economics(books, load_rules(), load_assumptions(), dt.date(2026, 3, 31)).items
    assert (found["cost_cents"].sum(), found["sold_price_cents"].sum()) == (1400, 2500)
    assert (found["status"] == "sold").sum() == 3
    assert found["photograph_min"].tolist()[:3] == [4, 4, 4]


@pytest.mark.parametrize("seed", range(5))
def test_no_cent_is_lost_in_random_quantities(tmp_path, seed):
    random = np.random.default_rng(seed)
    count, cents = random.integers(1, 40, 80), random.integers(0, 50_000, 80)
    rows = [f"I{at},x,c,2026-01-02,{c / 100:.2f},{n}" for at, (n, c) in enumerate(zip(count, cents, strict=True))]
    books = small_books(tmp_path, items="item_id,title,category,bought_on,cost,quantity\n" + "\n".join(rows))
    assert len(books.items) == count.sum()
    assert books.items["item_id"].is_unique
    assert books.items.groupby("row")["cost_cents"].sum().tolist() == cents.tolist()
    spread = books.items.groupby("row")["cost_cents"].agg(["min", "max"])
    assert (spread["max"] - spread["min"] <= 1).all()


def test_a_lot_is_shared_over_all_the_things_of_its_rows(tmp_path):
    head = "item_id,title,category,bought_on,cost,quantity,lot_id"
    books = small_books(
        tmp_path,
        items=f"{head}\nA,Mug,mugs,2026-01-02,,3,L\nB,Jug,mugs,2026-01-02,,1,L",
        lots="lot_id,date,cost,share_by\nL,2026-01-02,10.00,equal",
    )
    found = item_economics(books, load_rules(), load_assumptions(), dt.date(2026, 3, 31)).items
    assert found["cost_cents"].tolist() == [250, 250, 250, 250]


def test_a_sale_of_unknown_parts_is_asked_about(tmp_path):
    (told,) = stops(tmp_path / "1", "A,Mug,mugs,2026-01-02,10.00,3,2026-01-05,20.00,2026-02-01,25.00,,7.00")
    assert "3 like things and one sale" in told
    assert "did all of them sell together? give an order_id" in told
    assert stops(tmp_path / "2", "A,Mug,mugs,2026-01-02,10.00,3,2026-01-05,20.00,2026-02-01,25.00,77,7.00") == []
    assert stops(tmp_path / "3", "A,Mug,mugs,2026-01-02,10.00,3,2026-01-05,20.00,,,,") == []


def test_a_return_of_unknown_parts_and_a_slip_of_the_pen_are_asked_about(tmp_path):
    row = "A,Mug,mugs,2026-01-02,10.00,3,2026-01-05,20.00,2026-02-01,25.00,77,7.00,2026-02-09"
    (told,) = stops(tmp_path / "1", row, head=f"{HEAD},returned_on")
    assert "3 like things and one return" in told
    (told,) = stops(tmp_path / "2", "A,Mug,mugs,2026-01-02,10.00,20260,,,,,,")
    assert "20,260 like things in one row" in told
    (told,) = stops(tmp_path / "3", "A,Mug,mugs,2026-01-02,10.00,2,,,,,,\nA/2,Jug,mugs,2026-01-02,1.00,1,,,,,,")
    assert "A/2, which is another row" in told


def test_an_export_of_several_sold_together_becomes_that_many_sales(tmp_path):
    export = tmp_path / "sales.csv"
    export.write_text(
        "Item,Category,Bought on,Total cost,Quantity,Sold on,Item total\n"
        "Stoneware mug,mugs,2026-01-02,9.00,3,2026-02-01,25.00\nJug,jugs,2026-01-03,4.00,1,2026-02-02,11.00\n",
        encoding="utf-8",
    )
    proposal = propose(export)
    assert proposal.questions == ()
    done = apply(proposal, tmp_path / "books")
    assert done.refused == ()
    items = read_books(tmp_path / "books").items
    assert (len(items), items["sold_price_cents"].sum(), items["cost_cents"].sum()) == (4, 3600, 1300)
    assert items["order_id"].nunique() == 2  # the three mugs went in one order; the jug has none
    again = apply(propose(export, into=tmp_path / "books"), tmp_path / "books")
    assert (again.added, again.written) == (0, ())
