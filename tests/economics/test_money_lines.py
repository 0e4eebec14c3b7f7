"""One table of money lines: each recorded line stands in the schema, each line in the frame, each family moves."""

from __future__ import annotations

import datetime as dt

from flipkit.assumptions import load_assumptions
from flipkit.books.schema import BY_NAME
from flipkit.economics.items import COSTS, GAINS, MONEY_LINES, item_economics
from flipkit.rules.tables import load_rules
from tests.helpers.small_books import small_books

ITEMS = (
    "item_id,title,category,bought_on,cost,sold_on,sold_price,shipping_charged,fees_paid,label_paid\n"
    "A-1,Brass lamp,table lamps,2026-01-03,4.00,2026-02-01,41.00,9.00,5.33,11.20\n"
    "A-2,Quilt,wool blankets,2026-01-03,6.50,,,,,\n"
)


def test_each_recorded_line_is_a_column_of_the_items():
    columns = {column.name for column in BY_NAME["items"].columns}
    assert {line.recorded for line in MONEY_LINES if line.recorded} <= columns


def test_names_and_labels_stand_once():
    assert len({line.name for line in MONEY_LINES}) == len({line.label for line in MONEY_LINES}) == len(MONEY_LINES)
    assert set(GAINS).isdisjoint(COSTS)


def test_every_line_is_placed_and_sums_to_the_net(tmp_path):
    books = small_books(tmp_path, items=ITEMS)
    items = item_economics(books, load_rules(), load_assumptions(), dt.date(2026, 3, 1)).items
    with_origin = {name.removesuffix("_origin") for name in items if name.endswith("_origin")}
    in_cents = {name.removesuffix("_cents") for name in items if name.endswith("_cents")}
    assert with_origin & in_cents == {line.name for line in MONEY_LINES}
    net = sum((1 if line.gain else -1) * items[f"{line.name}_cents"].sum() for line in MONEY_LINES)
    assert net == items["net_cents"].sum()
