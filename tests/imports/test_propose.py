"""A proposal says what is certain, guesses where a slip would be seen, and asks where it would not."""

from __future__ import annotations

import tomllib

import openpyxl
import pytest

from flipkit.errors import ConversionError
from flipkit.imports.apply import apply
from flipkit.imports.detect import propose
from flipkit.imports.mapping import Mapping, mapping_text, read_mapping

WIDE = (
    "SKU,Item,Type,Where bought,Purchase Date,Cost,List Price,Listed,Sold,Sold For,Shipping Charged,Platform,Fees,"
    "Shipping Cost,Profit,Notes\n"
    "1001,Stoneware crock,stoneware,estate sale,3/7/2026,$18.00,$85.00,3/14/2026,4/22/2026,$78.00,$24.00,riverside,"
    "$11.40,$22.15,26.45,nice\n"
    '1002,"Lamp, brass",lamps,flea market,3/8/2026,$5,$40,3/20/2026,,,,,,,,\n'
)


def items(**columns):
    """An export of items with these columns beside a title, a kind, a day and a cost."""
    given = {"Item": ["a", "b", "c"], "Category": ["x", "x", "y"], "Bought": ["2026-03-01"] * 3, "Cost": ["1.00"] * 3}
    given |= columns
    rows = zip(*given.values(), strict=True)
    return "\n".join([";".join(given), *(";".join(row) for row in rows)]) + "\n"


def asked(path, **how):
    return {question.key: question for question in propose(path, **how).questions}


def test_a_wide_spreadsheet_needs_no_question(export):
    proposal = propose(export(WIDE))
    assert proposal.questions == ()
    assert {name: source.headers[0] for name, source in proposal.mapping.columns.items()} == {
        "item_id": "SKU",
        "title": "Item",
        "category": "Type",
        "bought_on": "Purchase Date",
        "cost": "Cost",
        "source": "Where bought",
        "listed_on": "Listed",
        "list_price": "List Price",
        "sold_on": "Sold",
        "sold_price": "Sold For",
        "shipping_charged": "Shipping Charged",
        "venue": "Platform",
        "fees_paid": "Fees",
        "label_paid": "Shipping Cost",
        "note": "Notes",
    }
    assert [line.split(":")[0] for line in proposal.left_over] == ["Profit"]
    assert proposal.mapping.order == "month-day-year"
    text = proposal.text()
    assert "dates are month-day-year: Listed holds 3/14/2026" in text
    assert "the same order holds in Purchase Date" in text.split("Guessed")[1]
    assert "the decimal mark is a point: Cost holds $18.00" in text


def test_the_mapping_is_toml_that_comes_back(export, tmp_path):
    proposal = propose(export(WIDE))
    path = tmp_path / "mapping.toml"
    path.write_text(proposal.mapping_toml, encoding="utf-8")
    assert read_mapping(path) == proposal.mapping
    assert tomllib.loads(proposal.mapping_toml)["columns"]["title"] == {"from": "Item"}


def test_a_mapping_with_everything_comes_back():
    mapping = Mapping.model_validate(
        {
            "table": "items",
            "order": "day-month-year",
            "decimal": "comma",
            "currency": "EUR",
            "file": {"encoding": "cp1252", "delimiter": "semicolon", "quote": "", "sheet": 'a "b"', "header_row": 0},
            "rows": {
                "duplicates": "once",
                "totals": "keep",
                "skip": {"Order status": ["Void", "Open"]},
                "keep": {"What": "rent"},
            },
            "columns": {
                "title": {"from": ["Make", "Model"], "blank": "Kind"},
                "cost": {"from": "Cost é", "each": True, "turned": True, "decimal": "point"},
                "category": {"value": "unsorted \\ # ="},
                "weight_lb": {"from": "Weight", "unit": "oz"},
                "shipping_charged": {"from": "Post", "per_order": True},
            },
        }
    )
    assert Mapping.model_validate(tomllib.loads(mapping_text(mapping, export="x.csv"))) == mapping


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('table = "things"', 'table: "things" isn\'t one of items'),
        ("[columns]\ncolour = { from = 'a' }\n", '"colour" isn\'t one of item_id'),
        ("[columns]\ntitle = { form = 'a' }\n", 'columns.title.form: "a". It needs a key that a mapping has'),
        ("[rows]\nduplicates = 'drop'\n", 'rows.duplicates: "drop". It needs'),
        ("table = ", "It needs TOML"),
    ],
)
def test_a_wrong_mapping_says_where(tmp_path, text, words):
    path = tmp_path / "m.toml"
    path.write_text(f'table = "items"\n{text}' if text.startswith("[") else text, encoding="utf-8")
    with pytest.raises(ConversionError) as caught:
        read_mapping(path)
    assert words in str(caught.value)


def test_dates_that_read_both_ways_are_asked(export):
    path = export(items(Sold=["03/04/2026", "05/06/2026", ""], Price=["2.00", "3.00", ""]))
    question = asked(path)["dates"]
    assert question.option == "--dates"
    assert [choice.value for choice in question.choices] == ["day-month-year", "month-day-year"]
    assert "03/04/2026 is 3 April 2026" in str(question)
    assert "03/04/2026 is 4 March 2026" in str(question)
    assert propose(path, answers={"dates": "day-month-year"}).questions == ()


def test_dates_in_two_orders_are_asked_with_how_many_fit(export):
    question = asked(export(items(Bought=["25/04/2026", "26/04/2026", "04/27/2026"])))["dates"]
    assert "day-month-year (fits 2 of the dates" in str(question)
    assert "month-day-year (fits 1 of the dates" in str(question)


def test_columns_may_differ_in_their_order(export):
    proposal = propose(export(items(Bought=["25/04/2026"] * 3, Listed=["04/27/2026"] * 3)))
    assert proposal.questions == ()
    assert proposal.mapping.order == "day-month-year"
    assert proposal.mapping.columns["listed_on"].order == "month-day-year"


def test_decimal_marks_that_read_both_ways_are_asked(export):
    path = export(items(Cost=["1,234", "2,500", "3,750"]))
    question = asked(path)["decimal"]
    assert "1,234 is 1234" in str(question)
    assert "1,234 is 1.234" in str(question)
    assert propose(path, answers={"decimal": "point"}).questions == ()


def test_another_column_may_settle_the_mark(export):
    proposal = propose(export(items(Cost=["1.234", "2.500", "3.750"], Listed_price=["12,50", "1.000,00", "7,00"])))
    assert proposal.questions == ()
    assert proposal.mapping.decimal == "comma"
    assert any("the same mark holds in Cost" in line for line in proposal.guessed)


def test_one_column_in_two_ways_is_asked(export):
    assert "has numbers written in two ways" in str(asked(export(items(Cost=["1.234,50", "12.50", "3,00"])))["decimal"])


def test_equal_rows_are_asked_and_named(export):
    text = "Item,Category,Bought,Cost\nlamp,x,2026-03-01,5\nlamp,x,2026-03-01,5\nvase,y,2026-03-01,6\n"
    question = asked(export(text))["duplicates"]
    assert "1 row is equal to an earlier one in every cell (row 3 to row 2)" in str(question)
    assert "--duplicates separate" in str(question)
    assert "--duplicates once" in str(question)


def test_a_proved_total_is_left_out_and_a_doubtful_one_is_asked(export):
    rows = "Item,Category,Bought,Cost\nlamp,x,2026-03-01,5\nvase,y,2026-03-01,6\n"
    sure = propose(export(f"{rows}Total,,,11\n"))
    assert sure.questions == ()
    assert any("row 4 (Total) is the sum of the rows above in Cost: left out" in line for line in sure.certain)
    assert "--totals leave-out" in str(asked(export(f"{rows}Total,,,12\n"))["totals"])


def test_missing_columns_are_asked_with_both_ways_to_give_them(export):
    path = export("Item,Sale Date,Sold For\nlamp,2026-03-01,5.00\nvase,2026-03-02,6.00\n")
    questions = asked(path)
    assert set(questions) == {"column category", "column bought_on", "column cost"}
    assert "--column cost=HEADER or --fixed cost=VALUE" in str(questions["column cost"])
    answers = {"column category": "=unsorted", "fixed cost": "0", "column bought_on": "Sale Date"}
    (question,) = propose(path, answers=answers).questions
    assert question.key == "cost-zero"
    proposal = propose(path, answers={**answers, "cost-zero": "free"})
    assert proposal.questions == ()
    assert proposal.mapping.columns["category"].value == "unsorted"
    assert proposal.mapping.columns["bought_on"].headers == ("Sale Date",)
    assert proposal.mapping.columns["sold_on"].headers == ("Sale Date",)


def test_a_price_for_one_or_for_all_is_asked_when_there_are_several(export):
    path = export(items(Quantity=["1", "3", "1"]))
    question = asked(path)["cost-is"]
    assert "the quantity is above 1 in row 3" in str(question)
    assert propose(path, answers={"cost-is": "each"}).mapping.columns["cost"].each
    assert "cost-is" not in asked(export(items(Quantity=["1", "1", "1"])))
    each = propose(export(items(Quantity=["1", "3", "1"]).replace("Cost", "Cost each")))
    assert each.questions == ()
    assert each.mapping.columns["cost"].each


def test_a_total_that_is_the_unit_price_times_the_quantity_is_certain(export):
    columns = {
        "Quantity": ["1", "3", "2"],
        "Unit cost": ["1.00", "2.50", "4.00"],
        "Total cost": ["1.00", "7.50", "8.00"],
    }
    text = items(**columns).replace("Cost;", "Weight;", 1)
    assert set(asked(export(text))) == {"weight-unit"}
    proposal = propose(export(text), answers={"weight-unit": "lb"})
    assert proposal.questions == ()
    assert proposal.mapping.columns["cost"].headers == ("Total cost",)
    assert "Total cost is Unit cost times Quantity" in proposal.certain


def test_two_headers_for_one_column_are_asked(export):
    text = items(
        **{
            "Sold on": ["2026-04-01"] * 3,
            "Sold price": ["1.00", "2.00", "3.00"],
            "Sale price": ["1.00", "2.00", "9.00"],
        }
    )
    question = asked(export(text))["column sold_price"]
    assert "--column 'sold_price=Sold price'" in str(question)
    assert "--column 'sold_price=Sale price'" in str(question)


def test_cancelled_orders_are_asked(export):
    path = export(items(Status=["Completed", "Cancelled", "Completed"]))
    question = asked(path)["skip Status"]
    assert "Status says Cancelled of some rows" in str(question)
    assert "--skip 'Status=Cancelled'" in str(question)
    proposal = propose(path, answers={"skip Status": "Cancelled"})
    assert proposal.mapping.rows.skip == {"Status": ("Cancelled",)}


def test_amounts_that_repeat_within_an_order_are_asked(export):
    columns = {"Order number": ["7", "7", "8"], "Sold on": ["2026-04-01"] * 3, "Sold price": ["1.00", "2.00", "3.00"]}
    repeated = items(**columns, Shipping_charged=["9.00", "9.00", "4.00"])
    assert "shipping-is" in asked(export(repeated))
    assert propose(export(repeated), answers={"shipping-is": "order"}).mapping.columns["shipping_charged"].per_order
    once = propose(export(items(**columns, Shipping_charged=["9.00", "", "4.00"])))
    assert once.questions == ()
    assert once.mapping.columns["shipping_charged"].per_order


def test_a_number_that_repeats_is_no_name_of_an_item(export):
    proposal = propose(export(items(SKU=["7", "7", "8"], Note=["", "", ""])))
    assert "item_id" not in proposal.mapping.columns
    assert any("SKU repeats, so each row gets a name of its own" in line for line in proposal.guessed)


def test_costs_written_as_negative_are_turned(export):
    proposal = propose(
        export(items(Sold=["2026-04-01"] * 3, **{"Sold price": ["9.00"] * 3, "Fees": ["-1.00", "(2.00)", "0.00"]}))
    )
    assert proposal.questions == ()
    assert proposal.mapping.columns["fees_paid"].turned


def test_currencies(export):
    assert propose(export(items(Cost=["1,00 €", "2,00 €", "3,00 €"]))).mapping.currency == "EUR"
    assert propose(export(items().replace("Cost", "Cost (GBP)"))).mapping.currency == "GBP"
    assert propose(export(items(Cost=["$1.00", "$2.00", "$3.00"]))).mapping.currency == ""
    assert "currency" in asked(export(items(Cost=["1.00 EUR", "2.00 GBP", "3.00 EUR"])))


def test_units_in_headers(export):
    proposal = propose(export(items(**{"Weight (oz)": ["20", "30", "40"], "Length cm": ["30.48", "20", "10"]})))
    assert proposal.mapping.columns["weight_lb"].unit == "oz"
    assert proposal.mapping.columns["length_in"].unit == "cm"


def test_a_table_without_headers_is_asked(export):
    path = export("1,lamp,5.00,2026-03-01\n2,vase,6.00,2026-03-02\n")
    question = asked(path)["header-row"]
    assert [choice.value for choice in question.choices] == ["1", "0"]
    answers = {"header-row": "0", "table": "items", "column title": "column 2", "column cost": "column 3"}
    answers |= {"column bought_on": "column 4", "column category": "=x", "column item_id": "column 1"}
    assert propose(path, answers=answers).questions == ()


def test_sheets_are_asked(tmp_path):
    made = openpyxl.Workbook()
    made.active.title = "Empty"
    for name in ("Sales", "Stock"):
        sheet = made.create_sheet(name)
        for row in (["Item", "Category", "Bought", "Cost"], ["a", "x", "2026-03-01", 1]):
            sheet.append(row)
    path = tmp_path / "book.xlsx"
    made.save(path)
    assert [choice.value for choice in asked(path)["sheet"].choices] == ["Sales", "Stock"]
    assert propose(path, answers={"sheet": "Stock"}).questions == ()


def test_what_the_headers_do_not_tell_is_asked(export):
    assert "table" in asked(export("alpha,beta\nx,1\ny,2\n"))


@pytest.mark.parametrize(
    ("answers", "words"),
    [
        ({"date": "x"}, "did you mean dates?"),
        ({"dates": "yes"}, "one of day-month-year, month-day-year, year-month-day"),
        ({"table": "sales"}, "one of items"),
        ({"column titel": "Item"}, "did you mean title?"),
        ({"column title": "Itm"}, "did you mean Item?"),
        ({"header-row": "first"}, "a row number"),
        ({"header-row": "99"}, "no header there"),
        ({"skip State": "x"}, "one of SKU, Item"),
        ({"encoding": "klingon"}, "no encoding is called 'klingon'"),
        ({"delimiter": "comma and space"}, "one character"),
    ],
)
def test_an_answer_that_cannot_be_is_refused(export, answers, words):
    with pytest.raises(ConversionError) as caught:
        propose(export(WIDE), answers=answers)
    assert words in str(caught.value)


def test_an_open_question_stops_the_conversion_and_writes_nothing(export, tmp_path):
    proposal = propose(export(items(Cost=["1,234", "2,500", "3,750"])))
    with pytest.raises(ConversionError, match="--decimal point") as caught:
        apply(proposal, tmp_path / "books")
    assert [question.key for question in caught.value.questions] == ["decimal"]
    assert not (tmp_path / "books").exists()


def test_a_kept_mapping_asks_nothing_twice(export, tmp_path):
    answers = {"cost-is": "each", "decimal": "point", "duplicates": "separate"}
    first = propose(export(items(Quantity=["1", "3", "1"], Cost=["1,234", "2,500", "3,750"])), answers=answers)
    assert first.questions == ()
    later = propose(export(items(Quantity=["2", "3", "1"], Cost=["1,111", "2,222", "3,333"])), mapping=first.mapping)
    assert later.questions == ()
    assert later.mapping.columns == first.mapping.columns
    with pytest.raises(ConversionError, match="no header Quantity"):
        propose(export(items()), mapping=first.mapping)


LATE = [f"S{n};lamp {n};x;2026-03-01;1.00;{{}};{{}}" for n in range(7_000)]


def late(quantity, status):
    """An export in which only a row far down differs."""
    rows = [row.format(1, "Paid") for row in LATE]
    rows[6_500] = LATE[6_500].format(quantity, status)
    return "SKU;Item;Category;Bought;Cost;Quantity;Status\n" + "\n".join(rows) + "\n"


def test_a_row_far_down_asks_as_much_as_the_first(export):
    assert asked(export(late(1, "Paid"))) == {}
    assert set(asked(export(late(3, "Paid")))) == {"cost-is"}
    assert set(asked(export(late(1, "Cancelled")))) == {"skip Status"}


def test_a_formula_without_its_result_refuses_its_row(tmp_path):
    made = openpyxl.Workbook()
    sheet = made.active
    for row in (
        ["Item", "Category", "Bought", "Cost", "Profit"],
        ["lamp", "x", "2026-03-01", 5, "=D2*2"],
        ["vase", "x", "2026-03-01", "=2+3", None],
        ["=A2", "x", "2026-03-01", 5, None],
    ):
        sheet.append(row)
    path = tmp_path / "book.xlsx"
    made.save(path)
    done = apply(propose(path), tmp_path / "books")
    assert [(left.row, left.reason.split("; ")[0]) for left in done.refused] == [
        (3, 'cost: "⚠ a formula without its result" isn\'t an amount'),
        (4, 'title: "⚠ a formula without its result" isn\'t a value'),
    ]
    assert done.taken == 1


#: Titles of things one by one, and of several together.
ONE, SEVERAL = (
    ["jug", "oak box", "vase", "lamp", "clock", "mirror"],
    ["lot of cups", "pair of bookends", "set of 4 plates"],
)


@pytest.mark.parametrize(
    ("titles", "counts", "is_asked"),
    [
        ([*ONE, *SEVERAL], ["1"] * 6 + ["12", "2", "4"], True),
        ([*ONE, "bowl", "tray", "stool"], ["1"] * 6 + ["12", "2", "4"], False),  # a number of something else
        ([*ONE, *SEVERAL], ["1", "2", "1", "2", "1", "2", "1", "1", "1"], False),  # lots of one
    ],
)
def test_small_numbers_beside_titles_of_several_things_are_asked_about(export, titles, counts, is_asked):
    rows = [f"{t},home,2026-03-0{n},{n}.50,{c},{n}.25" for n, (t, c) in enumerate(zip(titles, counts, strict=True), 1)]
    path = export("\n".join(["Item,Category,Bought,Cost,Together,Profit", *rows, ""]))
    first = propose(path)
    assert [(q.key, [c.value for c in q.choices]) for q in first.questions] == [
        ("means Together", ["quantity", "ignore"])
    ] * is_asked
    if is_asked:
        # Taken, it opens the question what the cost is for.
        assert [*asked(path, answers={"means Together": "quantity"})] == ["cost-is"]
        assert "--ignore 'Together' (not for the books)" in str(first.questions[0])
    # What stays out is shown with values, money with its sum.
    left = propose(path, answers={"means Together": "ignore"}).text()
    assert f"Not taken:\n  Together: {', '.join(counts[:1])}" in left
    assert "  Profit: 1.25, 2.25, 3.25; they add up to 47.25\n" in left


def test_a_second_column_of_small_numbers_is_left_where_the_quantity_is_known(export):
    rows = [f"{title},home,2026-03-01,5,{n},{n}" for title, n in (("jug", 1), ("vase", 1), ("lot of cups", 4))]
    path = export("\n".join(["Item,Category,Bought,Cost,Qty,Together", *rows, ""]))
    assert [*asked(path)] == ["cost-is"]
