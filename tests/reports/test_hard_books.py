"""Books that leave little to say: each gets an answer in words, through the commands and in process."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from flipkit.analysis.knowledge_file import knowledge_text
from flipkit.analysis.returns import TOO_FEW
from flipkit.cli.main import main
from flipkit.errors import BooksError, NotEnoughDataError
from flipkit.pack.month import month_plan
from flipkit.reports.bulky import Bulky
from flipkit.reports.buy import Buy
from flipkit.reports.category import Category
from flipkit.reports.money import Money
from flipkit.reports.packing import packing_page
from flipkit.reports.sliders import Moves, plot_sliders
from flipkit.reports.stock import Stock
from flipkit.reports.study import open_study
from flipkit.reports.this_month import ThisMonth
from flipkit.reports.trust import CanWeTrustIt
from tests.helpers.small_books import write_books

HEAD = "item_id,title,category,bought_on,cost,listed_on,list_price,sold_on,sold_price,venue,zone"


def rows(price, count=12):
    return [
        f"Z-{n},Jug,jugs,2026-0{1 + n % 6}-05,2.00,2026-0{1 + n % 6}-06,9.00,2026-0{2 + n % 6}-10,{price},,5"
        for n in range(count)
    ]


@pytest.fixture
def shop(tmp_path):
    def made(lines):
        return write_books(tmp_path / "shop", items="\n".join([HEAD, *lines]))

    return made


def command(*arguments):
    """A command run in process, which may end in words and in no traceback."""
    found = CliRunner().invoke(main, [str(argument) for argument in arguments])
    assert found.exception is None or isinstance(found.exception, SystemExit), found.exception
    return found


def sentences(plan):
    pages = (ThisMonth, Buy, Stock, Bulky, Money, CanWeTrustIt)
    shown = [page(plan.study).answer() for page in pages] + [packing_page(plan.study).answer()]
    found = [one.text for one in [*shown, *(Category(plan.study, name).answer() for name in plan.study.categories)]]
    assert not any("nan" in sentence.lower().split() for sentence in found)
    assert all(found)
    return found


def bought(plan, tmp_path, *arguments):
    """What the aisle's command says from what the plan knows."""
    file = tmp_path / "knowledge.json"
    file.write_text(knowledge_text(plan.study.aisle_knowledge), encoding="utf-8")
    return command("buy", *arguments, "--from", file)


def test_a_category_that_sold_for_nothing(shop, tmp_path):
    books = shop(rows("0.00"))
    assert command("check", books).exit_code == 0
    plan = month_plan(books, month="2026-06")
    assert sentences(plan)
    study = plan.study
    assert int(study.items["sold_price_cents"].sum()) == 0
    assert int(study.items["net_cents"].sum()) < 0
    said = bought(plan, tmp_path, "jugs")
    assert said.exit_code in (0, 2)
    assert "Leave it" in said.output or "--price" in said.output


def test_a_category_that_sold_for_nothing_beside_one_that_pays(shop, tmp_path):
    paid = [line.replace("Z-", "P-").replace("Jug,jugs", "Lamp,lamps") for line in rows("40.00")]
    plan = month_plan(shop([*rows("0.00"), *paid]), month="2026-06")
    assert sentences(plan)
    assert bought(plan, tmp_path, "lamps", "--price", "40").exit_code == 0


@pytest.mark.parametrize("doing", ["report", "check"])
def test_books_with_headers_only(shop, doing):
    found = command(doing, shop([]))
    if doing == "check":
        assert "no items yet" in found.output
    else:
        assert found.exit_code == 2
        assert "no row yet" in found.output
        assert "fill in the first thing" in found.output


def test_books_with_headers_only_and_a_day_named(shop):
    with pytest.raises(NotEnoughDataError, match="the number of things in items must be at least 1"):
        open_study(shop([]), as_of="2026-10-31")


def test_buying_without_any_report_says_what_to_run(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    found = command("buy", "jugs", "--price", "20")
    assert found.exit_code == 2
    assert "flipkit report" in found.output


def test_a_month_before_the_books_begin(shop):
    books = shop(rows("20.00"))
    found = command("report", books, "--month", "2020-01")
    assert found.exit_code == 2
    assert "month must be 2026-01 or later, since the books begin then" in found.output
    found = command("report", books, "--as-of", "2025-12-31")
    assert found.exit_code == 2
    assert "2026-01-05, when the books begin" in found.output


def test_books_that_began_this_month_get_the_month_that_runs(shop):
    books = shop(["A-1,Jug,jugs,2026-08-10,2.00,2026-08-11,9.00,2026-08-15,9.00,,5"])
    assert open_study(books).month == "2026-08"


LATE = "Y-1,Jug,jugs,2026-03-01,2.00,2026-03-02,9.00,2062-05-01,20.00,,5"


def test_a_year_mistyped_into_2062_moves_no_report(shop):
    plain = open_study(shop(rows("20.00")))
    books = shop([*rows("20.00"), LATE])
    study = open_study(books)
    assert (study.as_of, study.month) == (plain.as_of, plain.month)
    assert any("1 sale dated after" in line for line in study.left_out)
    assert any("2062-05-01" in str(note) for note in study.notes)
    assert sentences(month_plan(books))


def test_the_check_names_the_mistyped_year(shop):
    found = command("check", shop([*rows("20.00"), LATE]))
    assert found.exit_code == 0
    assert 'items.csv row 14, column sold_on: "2062-05-01"' in found.output
    assert "if the year is mistyped, mend it" in found.output


def test_books_wholly_in_the_future(shop):
    with pytest.raises(BooksError, match="no date up to"):
        open_study(shop(["Y-1,Jug,jugs,2062-03-01,2.00,,,,,,"]))


def test_the_clock_is_only_the_default(shop):
    books = shop([*rows("20.00"), LATE])
    assert open_study(books, as_of="2062-05-31").month == "2062-05"


def test_json_of_the_aisle_for_things_sold_for_nothing(shop, tmp_path):
    plan = month_plan(shop(rows("0.00")), month="2026-06")
    said = bought(plan, tmp_path, "jugs", "--price", "20", "--json")
    assert said.exit_code == 0, said.output
    assert json.loads(said.output)["highest_cents"] >= 0


def test_the_months_title_counts_only_what_can_be_told(shop):
    study = open_study(shop(rows(40)))
    seen = ThisMonth(study).picture().to_dict()
    assert seen["title"]["text"].startswith("Too few sales in any of the last")
    assert "(1 items)" not in seen["description"]
    frame = study.month_results.iloc[:3].assign(
        verdict=["above the target", "may be above or below the target", TOO_FEW], hourly=[90.0, 80.0, 99.0]
    )
    study.__dict__["month_results"] = frame
    told = ThisMonth(study).picture().to_dict()["title"]["text"]
    assert told == "2 of the last 3 months can be told: 2 of them reached $20 an hour, 1 almost surely"
    study.__dict__["month_results"] = frame.iloc[:2]
    told = ThisMonth(study).picture().to_dict()["title"]["text"]
    assert told == "2 of the last 2 months reached $20 an hour, 1 almost surely"


def test_where_nothing_sold_no_slider_moves_an_hour(shop):
    held = [row.rsplit(",", 4)[0] + ",,,," for row in rows(40)]
    shown = plot_sliders(Moves(open_study(shop(held), as_of="2026-07-31")))
    assert shown.text == "Nothing sold in these months, so there is no hour to move."


def test_what_things_sold_for_is_a_price_where_nothing_was_listed_or_compared(shop):
    def bare(line):
        return ",".join("" if at == 6 else cell for at, cell in enumerate(line.split(",")))

    study = open_study(shop([bare(row) for row in [*rows(40), *rows(44, 23)[12:]]]), as_of="2026-07-31")
    kind = study.knowledge["categories"]["jugs"]
    # Twelve at 40 and eleven at 44: the middling one brought 40.
    assert (round(kind["typical_cents"]), kind["by_sales"]) == (4000, True)
    assert "their prices are what they sold for" in Buy(study).sheet_note().text
    few = open_study(shop([bare(row) for row in rows(40, 9)]), as_of="2026-07-31").knowledge["categories"]["jugs"]
    assert (few["typical_cents"], few["by_sales"]) == (None, False)
    known = open_study(shop(rows(40)), as_of="2026-07-31").knowledge["categories"]["jugs"]
    # A list price of 9.00 counts before sales, less the usual markup of 15 %.
    assert (round(known["typical_cents"]), known["by_sales"]) == (783, False)
