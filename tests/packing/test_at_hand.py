"""The packing stock read from a file, and what supplies cost by the books."""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest

from flipkit.economics.costs import unit_costs
from flipkit.errors import MeasureError, RuleTableError
from flipkit.packing.at_hand import Bag, Carton, Cushion, Fill, Sheet, StretchWrap, Tape, Tube, read_stock

FILE = """
[[carton]]
name = "tall"
inside = "12 x 12 x 24 in"
flute = "C"
grade = "32 ECT"
cost = "1.20"
quantity = 5

[[carton]]
name = "metric, used"
inside = "30.48 x 20.32 x 10.16 cm"
flute = "B"
cost = "0"
used = true

[[sheet]]
name = "full sheet"
size = "4 ft x 8 ft"
flute = "BC"
grade = "48 ECT"
supply = "double sheets"

[[tube]]
name = "tube"
inside = "4 in"
length = "36 in"
wall = "1/8 in"
cost = "3.50"
most = "20 lb"
lb_per_ft = 0.5

[[bag]]
name = "bag"
size = "10 x 14 in"
pad = "0.1 in"
cost = "0.45"
most = "3 lb"
weight = "1.6 oz"
quantity = 40

[[cushion]]
name = "bubble wrap"
material = "bubble wrap"
thickness = "0.5 in"
form = "wrap"
supply = "bubble wrap, 12 in wide"
covers_sqft = 1.0
left_sqft = 120

[fill]
name = "crumpled paper"
cost = "12.00"
fills_cuft = 20
lb_per_cuft = 1.2

[tape]
name = "tape"
cost = "2.50"
metres = 50

[stretch]
name = "film"
cost = "13.00"
covers_sqft = 1000
"""
COSTS = {"double sheets": 1399.6, "bubble wrap, 12 in wide": 13.714}


def read(tmp_path, text=FILE, costs=COSTS):
    file = tmp_path / "stock.toml"
    file.write_text(text, encoding="utf-8")
    return read_stock(file, supply_costs=costs)


def test_everything_is_read_with_its_units(tmp_path):
    stock = read(tmp_path)
    assert stock.cartons[0] == Carton("tall", 12, 12, 24, "C", "32 ECT", 120, 5)
    metric = stock.cartons[1]
    assert (metric.length_in, metric.width_in, metric.height_in) == pytest.approx((12, 8, 4))
    assert (metric.grade, metric.cost_cents, metric.quantity, metric.used) == ("", 0, 1, True)
    assert stock.sheets == (Sheet("full sheet", 48, 96, "BC", "48 ECT", 1400, 1),)
    assert stock.tubes == (Tube("tube", 4, 36, 0.125, 350, 20, 0.5, 1),)
    assert stock.bags == (Bag("bag", 10, 14, 0.1, 45, 3, pytest.approx(0.1), 40),)
    assert stock.cushions == (Cushion("bubble wrap", "bubble wrap", 0.5, "wrap", 13.714, 120),)
    assert stock.fill == Fill("crumpled paper", 60.0, 1.2, None)
    assert stock.tape == Tape("tape", 5.0)
    assert stock.stretch == StretchWrap("film", 1.3)
    assert stock.flatten


def test_an_empty_file_is_an_empty_corner(tmp_path):
    stock = read(tmp_path, "flatten = false\n")
    assert (stock.cartons, stock.fill, stock.flatten) == ((), None, False)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (
            'inside = "12 x 12 x 24 in"',
            'inside = "12 x 12 in"',
            "key carton[1].inside: this is '12 x 12 in'. It needs 3 sides",
        ),
        ('inside = "12 x 12 x 24 in"', 'inside = "12 x -2 x 24 in"', "key carton[1].inside"),
        ('inside = "12 x 12 x 24 in"', 'inside = "12 x 0 x 24 in"', "It needs sides above 0"),
        ('cost = "1.20"', 'cost = "1.205"', "key carton[1].cost"),
        ('cost = "1.20"', 'price = "1.20"', "key carton[1].cost: this is missing"),
        ("quantity = 5", "quantity = -5", "key carton[1].quantity: this is -5"),
        ("quantity = 5", "quantitty = 5", "key carton[1].quantitty"),
        (
            'supply = "double sheets"',
            'supply = "single sheets"',
            "key sheet[1].supply: this is 'single sheets'. It needs a supply",
        ),
        ('wall = "1/8 in"', 'wall = "thin"', "key tube[1].wall: this is 'thin'"),
        ('most = "20 lb"', 'most = "20 in"', "key tube[1].most"),
        ('form = "wrap"', 'form = "roll"', "key cushion[1].form: this is 'roll'. It needs one of 'wrap', 'plate'"),
        ("fills_cuft = 20", "fills_cuft = 0", "key fill.fills_cuft: this is 0"),
        ("metres = 50", "meters = 50", "key tape.metres: this is missing"),
        ("[stretch]", "[strech]", "key strech"),
        ("[fill]", "[fill", "It needs valid TOML"),
    ],
)
def test_a_mistake_is_one_located_line(tmp_path, old, new, words):
    assert old in FILE
    with pytest.raises(RuleTableError) as caught:
        read(tmp_path, FILE.replace(old, new, 1))
    assert words in str(caught.value)
    assert str(caught.value).startswith("stock.toml")
    assert "\n" not in str(caught.value)


@pytest.mark.worked
def test_supplies_cost_their_recent_mean():
    bought = pd.DataFrame(
        {
            "date": pd.to_datetime(["2026-01-05", "2026-09-01", "2026-11-01", "2026-12-01", "2025-02-01"]),
            "supply": ["tape", "tape", "tape", "tape", "film"],
            "unit": "roll",
            "quantity": [6, 6, 2, 1, 2],
            "cost_cents": [600, 1440, 560, 9999, 2600],
        }
    )
    found = unit_costs(bought, as_of=dt.date(2026, 11, 25), days=120)
    # tape: (1440 + 560) / 8 = 250, January too old, December not yet; film: only one old purchase, 1300 a roll
    assert found == {"tape": 250.0, "film": 1300.0}
    bought.loc[0, "unit"] = "box"
    with pytest.raises(MeasureError, match="tape must be one unit, got 'box, roll'"):
        unit_costs(bought, as_of=dt.date(2026, 11, 25), days=120)
