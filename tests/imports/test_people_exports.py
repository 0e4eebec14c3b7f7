"""Exports as people write them, laid beside their truth: nothing is silently wrong, few questions are asked."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from flipkit.books.check import check
from flipkit.books.read import inspect_books, read_books
from flipkit.cli.main import main
from flipkit.errors import ConversionError
from flipkit.imports.apply import apply
from flipkit.imports.detect import propose
from tests.benchmarks.bench_exports import tried
from tests.helpers import held_out_exports, later_exports, metric_shop, people_exports

SAMPLE = [*people_exports.all_exports()[::6], *held_out_exports.all_exports(), *later_exports.all_exports()]


@pytest.mark.parametrize("made", SAMPLE, ids=[made.name for made in SAMPLE])
def test_nothing_comes_in_silently_wrong(made, tmp_path):
    made.trouble = ""
    found = tried(made, tmp_path)
    assert (found["stuck"], found["wrong"]) == (0, 0), made.trouble
    assert found["taken"] + found["refused"] == found["rows"] == len(made.truth)


@pytest.mark.parametrize("seed", range(3))
def test_the_messy_sheet_comes_in_with_few_questions(seed, tmp_path):
    made = people_exports.wide(seed)
    made.trouble = ""
    found = tried(made, tmp_path)
    assert found["rows"] == 121
    assert found["taken"] >= 115, made.trouble
    assert found["asked"] <= 6


def test_the_bench_sees_what_is_wrong(tmp_path):
    """A truth that is otherwise in one cell, and a row that is not there, are found."""
    made = people_exports.stock(1)
    made.truth[3]["cost"] += 1
    made.truth[7]["title"] += " x"
    made.trouble = ""
    assert tried(made, tmp_path)["wrong"] == 3  # the cell, the row that lacks, and the row that is none


HEAD = "SKU,Item,Category,Bought,Cost,Sold on,Sold for\n"
LAMPS = f"{HEAD}L1,brass lamp,lamps,2026-03-01,10,,\nL2,brass lamp,lamps,2026-03-01,10,2026-04-01,30\n"
LAMPS += "C1,clock,clocks,2026-03-02,8,,\n"


@pytest.fixture
def put(tmp_path):
    """Convert a text into the books."""

    def convert(text, name="export.csv", changes="leave", **said):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        answers = {key.replace("_", "-"): value for key, value in said.items() if key != "more"} | said.get("more", {})
        return apply(propose(path, answers=answers, into=tmp_path / "books"), tmp_path / "books", changes=changes)

    return convert


def names(folder):
    return read_books(folder).items.sort_values("row")["item_id"].tolist()


def test_a_copied_row_in_a_later_file_renames_nothing(put):
    done = put(LAMPS)
    again = put(LAMPS + "C1,clock,clocks,2026-03-02,8,,\nV1,vase,glass,2026-05-01,4,,\n", "may.csv")
    assert (again.added, again.there) == (1, 3)
    assert names(done.folder) == ["L1", "L2", "C1", "V1"]


def test_a_copied_row_in_the_first_file_counts_once(put):
    done = put(LAMPS + "C1,clock,clocks,2026-03-02,8,,\n")
    assert done.added == 3
    assert put(LAMPS, "later.csv").added == 0
    assert names(done.folder) == ["L1", "L2", "C1"]


def test_two_things_of_one_title_and_two_numbers_stay_two(put):
    """The second list says no cost: its second lamp is not the first one of the books."""
    done = put(HEAD + "L1,brass lamp,lamps,2026-03-01,10,,\n")
    text = "SKU,Item,Category,Bought,Sold on,Sold for\nL2,brass lamp,lamps,2026-03-01,2026-04-01,30\n"
    text += "L1,brass lamp,lamps,2026-03-01,,\n"
    put(text, "sales.csv", unmatched="new", more={"column cost": "="})
    items = read_books(done.folder).items.set_index("item_id")
    assert items["sold_price_cents"].fillna(0).to_dict() == {"L1": 0, "L2": 3000}
    assert items["sold_on"].isna().to_dict() == {"L1": True, "L2": False}


def test_a_number_that_stands_for_two_things_is_asked_about(put, tmp_path):
    rows = "".join(f"K{n},jug {n},jugs,2026-03-01,5,,\n" for n in range(10))
    text = HEAD + rows + "K3,big jug,jugs,2026-03-05,9,,\n"
    with pytest.raises(ConversionError, match="SKU repeats in rows that differ"):
        put(text)
    done = put(text, ids="separate")
    assert names(done.folder)[-1] == "K3-2"
    assert put(text + "K11,mug,jugs,2026-03-06,2,,\n", "next.csv", ids="separate").added == 1


def test_rows_named_by_what_they_say_keep_their_names(put):
    plain = "Item,Category,Bought,Cost\nlamp,lamps,2026-03-01,10\nclock,clocks,2026-03-02,8\n"
    done = put(plain)
    before = names(done.folder)
    more = "Item,Category,Bought,Cost,Tag\nlamp,lamps,2026-03-01,10,a1\n"
    more += "clock,clocks,2026-03-02,8,a2\nvase,glass,2026-03-03,2,a3\n"
    again = put(more, "tagged.csv")
    assert (again.added, again.there) == (1, 2)
    assert names(done.folder)[:2] == before


def test_money_given_back_goes_to_its_sale(put):
    text = (
        "Order number,Order date,Item,Category,Bought,Cost,Sold price\n7,2026-04-02,vase,glass,2026-03-01,1,20.00\n"
        "8,2026-04-03,jug,glass,2026-03-01,1,10.00\n7,2026-04-09,vase,glass,2026-03-01,1,-5.00\n"
        "9,2026-04-09,cup,glass,2026-03-01,1,-3.00\n"
    )
    done = put(text)
    assert (done.rows_in, done.taken, done.lost) == (4, 3, 1)
    assert "no one sale in this file is of the same order" in done.refused[0].reason
    items = read_books(done.folder).items.set_index("title")
    assert items["refund_cents"].fillna(0).to_dict() == {"vase": 500, "jug": 0}


@pytest.mark.parametrize(
    ("cells", "key"),
    [
        (["$5.00", "5.00 €"], "currency"),
        (["5.00", "6.00"], ""),
    ],
)
def test_two_signs_are_a_question(tmp_path, cells, key):
    path = tmp_path / "export.csv"
    path.write_text(
        "Item;Category;Bought;Cost\n" + "".join(f"a{c};x;2026-03-01;{c}\n" for c in cells), encoding="utf-8"
    )
    assert [question.key for question in propose(path).questions] == ([key] if key else [])


def test_a_column_of_two_currencies_is_a_question_and_the_other_is_refused(put):
    text = "Item,Category,Bought,Cost,Currency\na,x,2026-03-01,5,USD\nb,x,2026-03-01,6,CAD\n"
    with pytest.raises(ConversionError, match="more than one currency"):
        put(text)
    done = put(text, currency="USD")
    assert (done.taken, len(done.refused)) == (1, 1)


@pytest.mark.parametrize(("side", "inches"), [("cm", 70 / 2.54), ("in", 70.0)])
def test_bare_sides_are_asked_in_any_words(put, side, inches):
    text = "Item,Category,Bought,Cost,Depth,Width,Height\nlamp,x,2026-03-01,5,70,60,50\n"
    with pytest.raises(ConversionError, match="in which unit"):
        put(text)
    done = put(text, length_unit=side)
    item = read_books(done.folder).items.iloc[0]
    assert (item["length_in"], item["width_in"], item["height_in"]) == pytest.approx(
        (inches, inches * 6 / 7, inches * 5 / 7)
    )


def test_a_unit_may_be_said_behind_the_header_and_a_huge_side_is_remarked(put):
    text = "Item,Category,Bought,Cost,Deep\nlamp,x,2026-03-01,5,700\nclock,x,2026-03-01,5,70\n"
    done = put(text, more={"column length_in": "Deep:in"})
    assert done.remarks == ("row 2: length_in of 700 is more than 120 in: the right unit?",)
    assert read_books(done.folder).items["length_in"].max() == 700


def test_a_price_a_thousand_times_its_kind_is_remarked(put):
    rows = "".join(f"lamp {n},lamps,2026-03-01,{n + 5}.00\n" for n in range(5)) + "lamp 9,lamps,2026-03-01,90000.00\n"
    done = put("Item,Category,Bought,Cost\n" + rows)
    assert "row 7: cost 90,000.00 is" in done.remarks[0]


def test_a_day_without_a_year_is_asked_once(put):
    text = "Item,Category,Bought,Cost\nlamp,x,Jan 25,5\nclock,x,Feb 3,5\nvase,x,2026-03-01,5\n"
    with pytest.raises(ConversionError, match="without a year"):
        put(text)
    done = put(text, year="2026")
    assert sorted(str(day.date()) for day in read_books(done.folder).items["bought_on"]) == [
        "2026-01-25", "2026-02-03", "2026-03-01",
    ]  # fmt: skip


def test_every_money_column_is_summed(put):
    text = "Item,Category,Bought,Cost,Ask,Sold on,Sold for,Fees\n"
    text += "lamp,x,2026-03-01,5,9,2026-03-05,8,1\njug,x,2026-03-01,5,9,,,\n"
    done = put(text)
    assert done.sums == {"cost": "10.00", "list_price": "18.00", "sold_price": "8.00", "fees_paid": "1.00"}


def test_a_header_may_be_ignored_and_one_that_is_placed_is_not_guessed_again(tmp_path):
    path = tmp_path / "export.csv"
    path.write_text(
        "Item,Category,Bought,Cost,Sold on,Sold for,Postage\nlamp,x,2026-03-01,5,2026-03-05,8,4.50\n", encoding="utf-8"
    )
    (question,) = propose(path).questions
    assert [choice.value for choice in question.choices] == ["shipping_charged", "label_paid", "ignore"]
    assert any(line.startswith("Postage: ") for line in propose(path, answers={"ignore Postage": ""}).left_over)
    placed = propose(path, answers={"column label_paid": "Postage"})
    assert placed.questions == ()
    assert "shipping_charged" not in placed.mapping.columns


def test_refused_rows_are_remembered_until_they_come_in(put):
    done = put(LAMPS + "X,,,,,,\nB1,bowl,bowls,soon,3,,\n")
    said = check(done.folder).text()
    assert "of export.csv could not be taken and" in said
    mended = put(LAMPS + "B1,bowl,bowls,2026-03-09,3,,\n")
    assert mended.added == 1
    assert "could not be taken" not in check(mended.folder).text()


def test_rows_that_say_the_same_are_noted_by_the_check(tmp_path):
    (tmp_path / "items.csv").write_text(
        "item_id,title,category,bought_on,cost\nA,lamp,x,2026-03-01,5\nB,lamp,x,2026-03-01,5\nC,jug,x,2026-03-01,5\n"
    )
    _, problems = inspect_books(tmp_path)
    assert any("rows 2, 3 equal to another in title, purchase, cost and sale" in p.found for p in problems)


HEADS = "Item,Category,Bought,Cost"


@pytest.mark.parametrize(
    ("lamps", "counts", "problem"),
    [
        ("4,3,2026-04-01,60", {"M-1": 3, "M-1-left": 1}, ""),
        ("4,4,2026-04-01,60", {"M-1": 4}, ""),
        ("4,0,,", {"M-1": 4}, ""),
        ("4,5,2026-04-01,60", {}, "5 sold of 4"),
    ],
)
def test_rows_of_which_some_sold_are_split(put, lamps, counts, problem):
    """60.00 for what sold; a cost of 40.00 for all four."""
    text = f"SKU,{HEADS},List price,Qty,Qty sold,Sold on,Sold for\nM-1,mug,x,2026-03-01,40,88,{lamps}\n"
    text += "K-1,jug,x,2026-03-01,5,9,1,0,,\n"
    done = put(text, cost_is="row", price_is="row", list_is="row", quantity_is="bought")
    items = read_books(done.folder).items
    held = items[items["title"] == "mug"]
    assert (len(held), held["cost_cents"].sum()) == (sum(counts.values()), 1000 * sum(counts.values()))
    assert held["sold_price_cents"].sum() == (6000 if counts and lamps[2] != "0" else 0)
    assert [left.reason for left in done.refused] == ([problem] if problem else [])
    assert done.rows_in == done.taken + len(done.refused)


def test_what_is_left_counts_beside_what_sold(put):
    text = (
        f"{HEADS},In stock,Qty sold,Sold on,Sold for\nmug,x,2026-03-01,40,1,3,2026-04-01,60\njug,x,2026-03-01,5,2,0,,\n"
    )
    with pytest.raises(ConversionError, match="In stock stands beside Qty sold: what does it count"):
        put(text)
    done = put(text, cost_is="row", price_is="each", quantity_is="left")
    items = read_books(done.folder).items
    assert items.groupby("title")["sold_on"].agg(["size", "count"]).to_dict("index") == {
        "jug": {"size": 2, "count": 0}, "mug": {"size": 4, "count": 3},
    }  # fmt: skip
    assert items["sold_price_cents"].sum() == 18000  # three at 60.00 each


def test_a_status_with_a_place_among_its_words_still_says_what_is_gone(put):
    text = f"{HEADS},Status,Sold on,Sold for,Shipping they paid,Postage\nlamp,x,2026-03-01,5,Sold!,2026-04-01,30,9,7\n"
    text += "jug,x,2026-03-01,5,listed,,,,\nvase,x,2026-03-01,5,donated,,,,\nbowl,x,2026-03-01,5,in garage,,,,\n"
    done = put(text)
    assert done.remarks[0].startswith("row 4: gone, and no day says when")
    lamp = read_books(done.folder).items.set_index("title").loc["lamp"]
    assert (lamp["shipping_charged_cents"], lamp["label_paid_cents"]) == (900, 700)


def test_a_category_in_other_capitals_is_the_same_one(put):
    done = put(
        f"{HEADS}\nlamp,Lamps,2026-03-01,5\njug,jugs,2026-03-01,5\nother,lamps,2026-03-02,5\nthird,Lamps,2026-03-02,6\n"
    )
    assert read_books(done.folder).items["category"].tolist().count("Lamps") == 3


def test_words_say_what_became_of_a_thing(put):
    text = f"{HEADS},Sold on,Sold for,Shipping charged,Label cost\n"
    text += "lamp,x,2026-03-01,5,2026-04-01,30,9,7\njug,x,2026-03-01,5,2026-04-02,20,pickup,pickup\n"
    text += "vase,x,2026-03-01,5,2026-04-03,kept,,\nbowl,x,2026-03-01,5,,kept,,\n"
    said = {"words shipping_charged": "pickup=collected", "words label_paid": "pickup=collected"}
    done = put(text, more={**said, "words sold_price": "kept=kept"})
    items = read_books(done.folder).items.set_index("title")
    assert items["zone"].to_dict() == {"lamp": "", "jug": "pickup", "vase": "", "bowl": ""}
    assert items["gone_how"].to_dict() == {"lamp": "", "jug": "", "vase": "kept", "bowl": ""}
    assert items["gone_on"].notna().to_dict() == {"lamp": False, "jug": False, "vase": True, "bowl": False}
    assert items["sold_on"].notna().to_dict() == {"lamp": True, "jug": True, "vase": False, "bowl": False}
    assert done.remarks[0].startswith("row 5: gone, and no day says when")


@pytest.mark.parametrize(
    ("size", "unit", "sides"),
    [
        ("30x20x10", "in", (30, 20, 10)),
        ("30 x 20,5 x 10 cm", "", (30 / 2.54, 20.5 / 2.54, 10 / 2.54)),
        ("30x20", "", None),
    ],
)
def test_three_sides_in_one_cell(put, size, unit, sides):
    text = f"{HEADS.replace(',', ';')};Box\nlamp;x;2026-03-01;5,00;{size}\n"
    if unit:
        with pytest.raises(ConversionError, match="Box has plain numbers: in which unit"):
            put(text)
    item = read_books(put(text, decimal="comma", **({"length_unit": unit} if unit else {})).folder).items.iloc[0]
    held = item[["length_in", "width_in", "height_in"]]
    assert held.isna().all() if sides is None else held.tolist() == pytest.approx(list(sides))


def test_two_tables_of_one_sheet_are_taken_one_by_one(put, tmp_path):
    text = LAMPS + "\nExpenses,,\nMonth,What,Amount\n2026-03,storage,45.00\n2026-04,tape,5.00\n"
    with pytest.raises(
        ConversionError, match=r"2 tables: which one is it\? Say --sheet 'SKU, Item, Category' .* --sheet 'Month"
    ):
        put(text)
    assert put(text, sheet="SKU, Item, Category").added == 3
    assert put(text, sheet="Month, What, Amount", table="overheads").added == 2


@pytest.mark.parametrize(
    ("postage", "column"), [(0, "label_paid"), (-300, "shipping_charged"), (11, "")], ids=["card", "less", "neither"]
)
def test_postage_is_laid_beside_the_rate_card(put, tmp_path, postage, column):
    """The metric shop's card: 5.20 and 0.55 a kilogram in zone 1; a label is never cheaper."""
    metric_shop.make(tmp_path / "books")
    rows = "".join(
        f"lamp {kilos},x,2026-03-01,5,2026-04-01,30,{(520 + 55 * kilos + postage) / 100:.2f},{kilos}\n"
        for kilos in range(1, 13)
    )
    path = tmp_path / "sales.csv"
    path.write_text(f"{HEADS},Sold on,Sold for,Postage,Weight (kg)\n{rows}", encoding="utf-8")
    proposal = propose(path, into=tmp_path / "books")
    assert [q.key for q in proposal.questions] == ([] if column else ["means Postage"])
    assert not column or proposal.mapping.columns[column].headers == ("Postage",)


@pytest.mark.parametrize(
    ("sign", "codes"), [("kr", ["SEK", "NOK", "DKK", "ISK"]), ("¥", ["JPY", "CNY"]), ("zł", []), ("R$", [])]
)
def test_a_sign_that_several_currencies_share_is_asked(tmp_path, sign, codes):
    path = tmp_path / "export.csv"
    path.write_text(f"{HEADS}\nlamp,x,2026-03-01,{sign} 50.00\n", encoding="utf-8")
    proposal = propose(path)
    assert [choice.value for q in proposal.questions for choice in q.choices] == codes
    assert proposal.mapping.currency == {"zł": "PLN", "R$": "BRL"}.get(sign, "")


@pytest.mark.parametrize(
    ("head", "cells", "column"),
    [
        (
            "Purchase timestamp,Order id,Price", "2026-03-01 10:15,{n},20.00",
            {"sold_on": "Purchase timestamp", "sold_price": "Price"},
        ),
        ("Weight (g),Custom label", "{n}00,C-{n}", {"weight_lb": "Weight (g)", "item_id": "Custom label"}),
        ("Category name,Product name", "lamps,lamp {n}", {"category": "Category name", "title": "Product name"}),
    ],
    ids=["orders", "weight and label", "category name"],
)  # fmt: skip
def test_headers_are_told_by_what_stands_below_them(tmp_path, head, cells, column):
    rows = "".join(f"{cells.format(n=n)},thing {n},2026-02-01,5.00\n" for n in range(10, 30))
    path = tmp_path / "export.csv"
    path.write_text(f"{head},Item title,Bought on,Cost\n{rows}", encoding="utf-8")
    taken = propose(path, answers={"table": "items"}).mapping.columns
    assert {name: taken[name].headers[0] for name in column} == column | (
        {"title": "Item title"} if "title" in column else {}
    )


def test_many_refused_rows_end_the_command_with_a_status_of_their_own(tmp_path):
    path = tmp_path / "export.csv"
    path.write_text(LAMPS + "V1,vase,glass,soon,4,,\n", encoding="utf-8")
    words = ["convert", str(path), "--into", str(tmp_path / "books"), "--yes"]
    assert CliRunner().invoke(main, [*words, "--most-refused", "25"]).exit_code == 0
    done = CliRunner().invoke(main, words)
    assert (done.exit_code, "1 of 4 rows were refused" in done.stderr) == (3, True)
