"""The command reads what was asked, calls one function and prints what it says."""

from __future__ import annotations

import inspect
import io
import json
import os
import re
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import openpyxl
import pytest
from click.testing import CliRunner

from flipkit.cli.main import main
from flipkit.money import show_cents

ITEMS = "item_id,title,category,bought_on,cost\nA,Jug,stoneware,2026-01-03,10.00\n"


@pytest.fixture
def books(tmp_path) -> Path:
    folder = tmp_path / "my books"
    folder.mkdir()
    (folder / "items.csv").write_text(ITEMS, encoding="utf-8")
    return folder


def run(*arguments: object):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def test_report_passes_on_what_was_asked(monkeypatch, books, tmp_path):
    asked = {}
    plan = SimpleNamespace(pages=(1, 2), study=SimpleNamespace(month="2026-09"))
    pack = SimpleNamespace(results=(), folder=tmp_path / "out", index=tmp_path / "out" / "index.html")
    monkeypatch.setattr("flipkit.pack.month.month_plan", lambda given, **rest: asked.update(rest, books=given) or plan)
    monkeypatch.setattr("flipkit.pack.month.make_month_pack", lambda _, **rest: asked.update(rest) or pack)
    result = run(
        "report", books, "--month", "2026-09", "--as-of", "2026-10-02", "--category", "lamps", "--category", "jugs",
        "--out", tmp_path / "out", "--set", "help.wage=18", "--set", "hour.target=25", "--jobs", 3,
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    del asked["on_done"]
    assert asked == {
        "books": books,
        "month": "2026-09",
        "as_of": "2026-10-02",
        "categories": ("lamps", "jugs"),
        "settings": {"help.wage": "18", "hour.target": "25"},
        "out": tmp_path / "out",
        "jobs": 3,
    }
    assert "The pack of 2026-09 is in" in result.output
    assert "index.html" in result.output.splitlines()[-1]


def test_an_error_of_the_kit_is_one_line_and_status_2(books):
    result = run("report", books, "--set", "help.wag=3")
    assert result.exit_code == 2
    found = "flipkit: help.wag must be an assumption that the kit knows, got 'help.wag': did you mean help.wage"
    assert result.stderr.startswith(found)
    assert len(result.stderr.strip().splitlines()) == 1


def test_anything_else_keeps_its_traceback(monkeypatch, books):
    def broken(*_, **__):
        raise ZeroDivisionError("a bug")

    monkeypatch.setattr("flipkit.pack.month.month_plan", broken)
    assert isinstance(run("report", books).exception, ZeroDivisionError)


def test_check_says_that_books_can_be_used(books):
    result = run("check", books)
    assert result.exit_code == 0
    assert "1 item" in result.output


def test_check_names_every_problem_at_once(books):
    (books / "items.csv").write_text(ITEMS + "B,Jar,stoneware,someday,x\n", encoding="utf-8")
    result = run("check", books)
    assert result.exit_code == 2
    assert "items.csv row 3, column bought_on" in result.output
    assert "items.csv row 3, column cost" in result.output


def test_assumptions_are_listed_with_their_provenance(books):
    result = run("assumptions", "--set", "help.wage=18.00")
    assert "help.wage = $18.00 per hour (this run)" in result.output
    assert "hour.target = $20.00 per owner hour (packaged)" in result.output


def test_the_command_starts_without_its_heavy_modules():
    code = (
        "import sys, flipkit.cli.main; print(sorted({'numpy', 'pandas', 'altair', 'scipy', 'pint'} & set(sys.modules)))"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"


def answered(*arguments: object) -> dict:
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


@pytest.mark.worked
def test_a_long_flat_parcel_pays_for_its_space():
    # 58 x 26 x 6 = 9,048 cu in: / 139 = 65.09 so 66 lb, / 166 = 54.5 so 55 lb; 58 + 2 x (26 + 6) = 122 in.
    now = answered("parcel", "58x26x6in", "14lb", "--zone", "5", "--on", "2026-11-25")
    before = answered("parcel", "58x26x6in", "14lb", "--zone", "5", "--on", "2026-07-11")
    post = {day: next(c for c in a["carriers"] if c["carrier"] == "post") for day, a in (("now", now), ("old", before))}
    assert (post["now"]["billable_lb"], post["old"]["billable_lb"]) == (66, 55)
    assert now["length_plus_girth_in"] == 122
    network = next(c for c in now["carriers"] if c["carrier"] == "private-network")
    assert {trigger["measure"] for trigger in network["triggers"]} >= {"longest", "length_plus_girth"}


def test_words_and_json_of_a_parcel_say_the_same():
    answer = answered("parcel", "24x18x12in", "9lb", "--zone", "5", "--on", "2026-11-25")
    text = run("parcel", "24x18x12in", "9lb", "--zone", "5", "--on", "2026-11-25").stdout
    for carrier in answer["carriers"]:
        assert f"{carrier['carrier']}: billed at {carrier['billable_lb']:g} lb" in text
        for card in carrier["cards"]:
            for service in card["services"]:
                assert service["refused"] or show_cents(service["total_cents"]) in text


def test_fees_and_the_price_for_a_net_are_each_others_inverse():
    wanted = answered("net-price", "40", "--label", "11.30", "--on", "2026-11-25", "--venue", "quayside")["venues"][0]
    price = show_cents(wanted["price_cents"])
    back = answered("fees", price, "--label", "11.30", "--on", "2026-11-25", "--venue", "quayside")["venues"][0]
    assert back["net_cents"] == wanted["net_cents"] >= 4000
    assert "quayside: leaves" in run("fees", price, "--on", "2026-11-25").stdout


def test_protection_lists_the_cheapest_way_first():
    for card in answered("protect", "180", "--on", "2026-11-25")["cards"]:
        costs = [way["cost_cents"] for way in card["ways"]]
        assert costs == sorted(costs)
    assert "declared value" in run("protect", "180", "--on", "2026-11-25").stdout


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("parcel", "24x18", "9lb"), "three sides such as 24x18x12in"),
        (("parcel", "24x18x12in", "9 in"), "weight must be a measure"),
        (("fees", "64", "--venue", "nowhere"), "one that has a fee schedule"),
        (("fees", "64", "--on", "yesterday"), "--on must be a day"),
        (("fees", "64", "--on", "1999-01-01", "--venue", "lantern"), "no block in force on 1999-01-01"),
        (("net-price", "forty"), "net must be an amount"),
    ],
)
def test_what_cannot_be_read_is_one_line_that_names_it(arguments, words):
    result = run(*arguments)
    assert result.exit_code == 2
    assert words in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1


def test_packing_plans_a_bare_item_and_draws_it(tmp_path):
    drawing = tmp_path / "plan.html"
    asked = ("packing", "20x14x10in", "9lb", "--fragility", "delicate", "--zone", "5", "--on", "2026-11-25")
    result = run(*asked, "--trials", "--drawing", drawing)
    assert result.exit_code == 0, result.output
    assert "Only foam plates:" in result.stdout
    assert result.stdout.startswith(("Post it: ", "No: "))
    assert "Caution." in result.stdout
    assert "<svg" in drawing.read_text(encoding="utf-8")
    answer = answered(*asked)
    assert answer["best"]["total_cents"] <= min(way["total_cents"] for way in answer["others"])
    wrong = run("packing", "20x14x10in", "9lb", "--fragility", "glass", "--on", "2026-11-25")
    assert wrong.exit_code == 2
    assert "fragility" in wrong.stderr


def test_packing_takes_the_cheapest_of_the_assumed_cards():
    asked = ("packing", "20x14x10in", "9lb", "--on", "2026-11-25", "--zone", "5")
    each = [answered(*asked, "--card", card)["best"]["total_cents"] for card in ("post", "network")]
    assert answered(*asked)["best"]["total_cents"] == min(each)
    assert answered(*asked, "--zone", "pickup")["best"]["style"] == "pickup"


def test_packing_says_whose_stock_it_draws_on(tmp_path):
    asked = ("packing", "10x8x6in", "3lb", "--on", "2026-11-25")
    assert answered(*asked)["stock"] == "example"
    assert "an example stock" in run(*asked).stdout
    missing = run(*asked, "--stock", tmp_path / "nofile.toml")
    assert missing.exit_code == 2
    assert "nofile.toml: no such file" in missing.stderr
    nowhere = run(*asked, "--drawing", tmp_path / "none" / "d.html")
    assert nowhere.exit_code == 2
    assert "--drawing must be" in nowhere.stderr


def test_a_parcel_entered_by_weight_is_warned_about_without_a_zone():
    text = run("parcel", "24x18x12in", "9lb", "--on", "2026-11-25").stdout
    assert "if you enter only its scale weight, you pay" in text
    later = answered("parcel", "24x18x12in", "9lb", "--on", "2026-11-25")["carriers"][0]["cards"][0]
    told = later["entered_by_weight_alone"]
    assert told["adjustment_low_cents"] < told["adjustment_cents"] < told["adjustment_high_cents"]


def test_books_that_do_not_exist_are_refused(tmp_path):
    result = run("fees", "64", "--books", tmp_path / "none")
    assert result.exit_code == 2
    assert "--books must be a folder or a workbook that exists" in result.stderr


def test_books_are_found_alike_by_every_command(books, monkeypatch):
    monkeypatch.chdir(books.parent)
    assert "got 'A'" in run("item", "A").stderr
    monkeypatch.setenv("FLIPKIT_BOOKS", str(books))
    assert run("item", "A").stdout.startswith("A, Jug")
    assert run("check").stdout == run("check", books).stdout
    monkeypatch.delenv("FLIPKIT_BOOKS")
    assert run("check").exit_code == 2
    monkeypatch.chdir(books)
    assert run("item", "A").stdout.startswith("A, Jug")


def test_without_rules_of_its_own_a_shop_hears_where_they_go(books):
    for command, kind in (("fees", "fees"), ("net-price", "fees"), ("protect", "rate_cards")):
        result = run(command, "64", "--books", books)
        assert (result.exit_code, result.stdout) == (2, "")
        assert f"{books}/rules/{kind}/" in result.stderr.replace("\\", "/")
    assert "rules/rate_cards" in run("parcel", "9x9x9in", "2lb", "--books", books).stderr.replace("\\", "/")


def test_the_check_and_the_assumptions_can_be_read_by_a_program(books):
    told, text = answered("check", books), run("check", books).stdout
    assert {*told["can_say"], *told["cannot_say"]} <= {line.strip() for line in text.splitlines()}
    assert told["problems"] == [] != told["record_next"]
    assert answered("assumptions", "--set", "help.wage=18")["help.wage"]["value"] == "$18.00"


def test_quiet_says_only_what_is_wrong(books):
    assert run("check", books, "--quiet").output == ""
    (books / "items.csv").write_text("item_id,title\n", encoding="utf-8")
    assert run("check", books, "--quiet").stderr == run("check", books).stdout != ""
    assert run("report", books, "--quiet").stderr.startswith("flipkit: the books have")


def test_quiet_conversions_say_only_what_is_wrong(tmp_path):
    export, into = tmp_path / "stock.csv", tmp_path / "books"
    export.write_text("Item,Category,Bought,Cost\nlamp,lamps,2026-03-07,5\n")
    assert run("convert", export, "--into", into, "--quiet").output == ""
    assert "lamp" in (into / "items.csv").read_text()
    export.write_text("Item,Category,Bought,Cost\njug,jars,03/04/2026,5\n")
    asked = run("convert", export, "--into", into, "--quiet")
    assert (asked.exit_code, asked.stdout) == (2, "")
    assert "to settle first" in asked.stderr


def test_a_workbook_of_another_program_is_sent_to_convert(tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["Item", "Price"])
    book.save(tmp_path / "sales.xlsx")
    result = run("check", tmp_path / "sales.xlsx")
    assert result.exit_code == 2
    assert "run: flipkit convert" in result.stdout


def test_without_books_an_item_is_said_to_be_the_demo_shops(tmp_path, monkeypatch):
    monkeypatch.delenv("FLIPKIT_BOOKS", raising=False)
    monkeypatch.chdir(tmp_path)
    assert "looks in the demo shop's" in run("item", "3").stderr


def test_a_report_that_is_stopped_says_that_the_earlier_pack_stands(monkeypatch, books):
    def stopped(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr("flipkit.pack.month.month_plan", stopped)
    result = run("report", books)
    assert (result.exit_code, result.stdout) == (130, "")
    assert "An earlier pack stands as it was." in result.stderr


def test_every_command_says_in_one_sentence_what_it_does_with_an_example_and_what_each_option_takes():
    for name, command in main.commands.items():
        said, *_, example = inspect.cleandoc(command.help).split("\n\n")
        sentence = " ".join(said.split())
        assert sentence.endswith("."), (name, sentence)
        assert ". " not in sentence, (name, sentence)
        assert example.startswith(f"Example: flipkit {name} "), (name, example)
        for option in (one for one in command.params if one.param_type_name == "option"):
            assert option.help.endswith("."), (name, option.name)
            assert ". " not in option.help, (name, option.name)
            taken = option.metavar or option.is_flag or option.type.name != "text"
            assert taken, (name, option.name)


def test_no_command_says_a_word_that_a_friend_would_not():
    coined = re.compile(
        r"\b(foretold|pulled|taken later|dearer|damped|reckon\w*|drawn anew|give up|given up|"
        r"bought basis|sold basis|at hand|which counts)\b"
    )
    said = {name: CliRunner().invoke(main, [name, "--help"]).output for name in main.commands}
    assert all("Usage:" in text for text in said.values())
    assert {name: found for name, text in said.items() if (found := coined.findall(text))} == {}


def test_the_bar_names_the_page_made_last_and_the_time_left(monkeypatch, books, tmp_path):
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    def make(plan, *, jobs, on_done):
        for page in plan.pages:
            time.sleep(0.15)
            on_done(page)
        return SimpleNamespace(results=(), folder=tmp_path / "out", index=tmp_path / "out" / "index.html")

    pages = [SimpleNamespace(title=title) for title in ("Buy", "Stock and prices")]
    plan = SimpleNamespace(pages=pages, study=SimpleNamespace(month="2026-09"))
    monkeypatch.setattr("flipkit.pack.month.month_plan", lambda *_, **_asked: plan)
    monkeypatch.setattr("flipkit.pack.month.make_month_pack", make)
    monkeypatch.setattr("sys.stderr", seen := Terminal())
    main(["report", str(books), "--anew"], standalone_mode=False)
    shown = [part.strip() for part in seen.getvalue().split("\r")]
    assert any(re.fullmatch(r"1 of 2 pages \|.*\| 00:0\d left, made: Buy", part) for part in shown)
    assert any(re.fullmatch(r"2 of 2 pages \|.*\| 00:00 left, made: Stock and prices", part) for part in shown)


@pytest.mark.parametrize("encoding", ["cp1252", "cp437"])
def test_an_old_code_page_gets_plainer_marks_and_no_traceback(tmp_path, encoding):
    # As Windows redirects: the command must not stop at a letter, and no amount may lose its minus.
    row = 'A,"Jug 水",stoneware,2026-01-03,30,2026-03-01,5\n'
    (tmp_path / "items.csv").write_text(ITEMS.split("\n")[0] + ",sold_on,sold_price\n" + row, encoding="utf-8")
    ended = subprocess.run(
        [sys.executable, "-m", "flipkit", "item", "A", "--books", str(tmp_path)],
        env={**os.environ, "PYTHONIOENCODING": encoding},
        capture_output=True,
        check=True,
    )
    told = ended.stdout.decode(encoding)
    assert told.startswith("A, Jug ? (stoneware)")
    assert re.search(r"cost of goods +-\$30\.00", told)
