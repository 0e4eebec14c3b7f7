"""Orders with several items, and labels matched with what they posted; nothing matched by an address."""

from __future__ import annotations

import pytest

from flipkit.books.read import read_books
from flipkit.errors import ConversionError
from flipkit.imports.apply import apply
from flipkit.imports.detect import propose

STOCK = (
    "SKU,Item,Category,Bought,Cost,Zone\nA1,Crock,pots,2026-03-07,18,4\nA2,Blue vase,vases,2026-03-07,5,5\n"
    "A3,Green vase,vases,2026-03-07,6,5\nA4,Red vase,vases,2026-03-07,6,7\nA5,Twin,cups,2026-03-07,1,\n"
    "A6,Twin,cups,2026-03-07,1,\n"
)
ORDERS = (
    "Order number,Order date,Item,Sold price,Order shipping\n1042,2026-04-02,Crock,78.00,24.00\n"
    "1043,2026-04-05,blue Vase,20.00,15.01\n1043,2026-04-05,Green vase,30.00,15.01\n"
    "1044,2026-04-20,Red vase,12.00,7.00\n"
)
LABELS = (
    "Ship date,Tracking number,Zone,Weight (oz),Postage,Order number\n2026-04-03,T1,4,280,22.15,#1042\n"
    "2026-04-06,T2,5,100,14.01,1043\n2026-04-21,T3,7,50,9.00,\n2026-04-22,T4,3,50,8.00,\n2026-04-23,T5,5,5,4.00,9999\n"
)


@pytest.fixture
def run(tmp_path):
    def convert(text, name, **answers):
        path = tmp_path / f"{name}.csv"
        path.write_text(text, encoding="utf-8")
        folder = tmp_path / "books"
        said = {key if " " in key else key.replace("_", "-"): value for key, value in answers.items()}
        return apply(propose(path, answers=said, into=folder if folder.exists() else None), folder)

    return convert


@pytest.fixture
def shop(run):
    run(STOCK, "stock", duplicates="separate")
    return run


def labels(done):
    items = read_books(done.folder).items.sort_values("row")
    return dict(zip(items["item_id"], items["label_paid_cents"].fillna(-1).tolist(), strict=True))


@pytest.mark.worked
def test_sales_join_the_stock_by_title_and_share_the_order(shop):
    done = shop(ORDERS, "orders")
    assert (done.taken, done.added, done.there) == (4, 0, 4)
    assert "row 3: blue Vase is A2, by its title" in done.matched
    items = read_books(done.folder).items.set_index("item_id")
    assert items.loc[["A1", "A2", "A3", "A4"], "sold_price_cents"].tolist() == [7800, 2000, 3000, 1200]
    # 15.01 shared 20 : 30 is 6.004 and 9.006; the cent goes to the larger remainder: 6.00 and 9.01
    assert items.loc[["A2", "A3"], "shipping_charged_cents"].tolist() == [600, 901]
    assert items.loc["A2", "title"] == "Blue vase"
    assert shop(ORDERS, "orders").written == ()


def test_titles_that_fit_two_items_are_not_guessed(shop):
    done = shop(ORDERS + "1045,2026-04-21,Twin,9.00,1.00\n", "orders", unmatched="refuse")
    assert len(done.refused) == 1
    assert done.refused[0].row == 6
    assert "no item in the books is this one" in done.refused[0].reason


def test_sales_that_fit_nothing_are_asked_about(shop, tmp_path):
    path = tmp_path / "more.csv"
    path.write_text(ORDERS + "1045,2026-04-21,Lamp,9.00,1.00\n")
    (question,) = propose(path, into=tmp_path / "books").questions
    assert "--unmatched refuse" in str(question)
    new = {"unmatched": "new", "column cost": "=2", "column category": "=lamps", "column bought_on": "Order date"}
    done = apply(propose(path, into=tmp_path / "books", answers=new), tmp_path / "books")
    assert done.added == 1
    assert read_books(done.folder).items.sort_values("row")["item_id"].tolist()[-1] == "1045-1"


def test_sales_join_the_stock_by_its_numbers(shop):
    done = shop("SKU,Date sold,Sold for\nA2,2026-04-05,20\nA1,2026-04-06,70\n", "numbers")
    items = read_books(done.folder).items.set_index("item_id")
    assert items.loc[["A1", "A2"], "sold_price_cents"].tolist() == [7000, 2000]


def test_labels_are_matched_by_order_then_by_the_only_sale_that_fits(shop):
    shop(ORDERS, "orders")
    done = shop(LABELS, "labels")
    assert (done.rows_in, done.taken) == (5, 3)
    assert done.matched == (
        "row 2: A1, by order #1042",
        "row 3: A2, A3, by order 1043",
        "row 4: A4, by the only sale that fits its day",
    )
    assert [(gone.row, gone.reason) for gone in done.refused] == [
        (5, "no sale without a label in the 10 days before it"),
        (6, "no sale in the books has the order number 9999"),
    ]
    # 14.01 shared 20 : 30 is 5.604 and 8.406, so 5.60 and 8.41
    assert labels(done) == {"A1": 2215, "A2": 560, "A3": 841, "A4": 900, "A5": -1, "A6": -1}


def test_labels_converted_twice_count_once_and_later_ones_add_up(shop):
    shop(ORDERS, "orders")
    shop(LABELS, "labels")
    assert shop(LABELS, "labels").written == ()
    more = LABELS + "2026-04-04,T6,4,20,3.00,1042\n2026-04-09,T2,5,100,-14.01,1043\n"
    done = shop(more, "labels-may")
    assert labels(done) == {"A1": 2515, "A2": 0, "A3": 0, "A4": 900, "A5": -1, "A6": -1}
    assert shop(more, "labels-may").written == ()


def test_a_label_that_was_written_by_hand_is_left(shop):
    done = shop(ORDERS, "orders")
    path = done.folder / "items.csv"
    lines = path.read_text().splitlines()
    lines[0] += ",label_paid"
    path.write_text("\n".join([lines[0], lines[1] + ",20.00", *(line + "," for line in lines[2:])]) + "\n")
    done = shop(LABELS, "labels")
    assert labels(done)["A1"] == 2000
    assert [(c.key, c.done) for c in done.changes if c.column == "label_paid" and c.books] == [
        ("A1", "left: you wrote this cell by hand")
    ]


def test_two_sales_that_fit_one_label_are_listed_and_not_guessed(run):
    run(STOCK.replace(",7\n", ",5\n"), "stock", duplicates="separate")
    run(ORDERS.replace("1043,2026-04-05,Green", "1046,2026-04-05,Green").replace("2026-04-20", "2026-04-06"), "orders")
    done = run("Ship date,Tracking number,Zone,Postage\n2026-04-07,T9,5,9.00\n2026-04-03,T8,4,5.00\n", "labels")
    (gone,) = done.refused
    assert gone.reason == "3 sales fit: A2, A3, A4"
    assert labels(done)["A1"] == 500


def test_labels_need_sales(shop):
    with pytest.raises(ConversionError, match="convert the sales first"):
        shop(LABELS, "labels")


def test_the_head_of_an_order_gives_its_amounts_to_the_lines(run):
    text = (
        "Order number,Date,Item,Sold price,Shipping charged,Category,Bought,Cost\n7,2026-04-02,,,9.99,x,2026-03-01,1\n"
        "7,2026-04-02,vase,10.00,,x,2026-03-01,1\n7,2026-04-02,jug,10.00,,x,2026-03-01,1\n8,2026-04-03,cup,5.00,2.00,x,2026-03-01,1\n"
    )
    done = run(text, "orders", **{"column sold_on": "Date"})
    assert (done.rows_in, done.taken, len(done.refused)) == (4, 4, 0)
    items = read_books(done.folder).items.sort_values("row")
    assert items["title"].tolist() == ["vase", "jug", "cup"]
    assert items["shipping_charged_cents"].tolist() == [500, 499, 200]
    assert items["item_id"].tolist() == ["7-1", "7-2", "8-1"]
