"""The question in the shop aisle, from the file that a report left to the lines that it prints."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from flipkit.analysis.knowledge_file import knowledge_text, newest_knowledge, read_knowledge
from flipkit.analysis.max_bid import answer as highest_answer
from flipkit.analysis.max_bid import buying_answer, known_category, question, turning_price, venue_answers
from flipkit.cli.main import main
from flipkit.errors import AssumptionError, PackError
from flipkit.money import show_cents
from flipkit.paths import packs_folder
from tests.helpers.known_shop import known_shop


@pytest.fixture
def pack(tmp_path) -> Path:
    """A pack with what a small shop knows."""
    folder = tmp_path / "packs" / "2026-10"
    folder.mkdir(parents=True)
    (folder / "knowledge.json").write_text(knowledge_text(known_shop()), encoding="utf-8")
    return folder


def run(*arguments: object):
    return CliRunner().invoke(main, ["buy", *map(str, arguments)])


def test_the_answer_is_that_of_the_analysis(pack):
    found = run("lamps", "--price", "60", "--from", pack, "--json")
    assert found.exit_code == 0, found.output
    said = json.loads(found.output)
    own = highest_answer(known_shop(), "lamps", price_cents=6000)
    assert said["highest_cents"] == own.highest_cents
    assert said["highest_cents"] == max(min(said["for_target_cents"], said["for_loss_cents"]), 0)
    assert said["expected_weeks"] == pytest.approx(own.weeks, abs=0.01)
    assert {one["venue"] for one in said["venues"]} == {"posted", "dear", "stall"}
    assert [one["venue"] for one in said["venues"] if one["collected"]] == ["stall"]


def test_the_lower_of_the_two_limits_counts_and_is_named(pack):
    # Lamps stay unsold for a year in 10.01 %: with fewer that nobody wants, a chance of a loss of 10 % leaves a price.
    shop = known_shop()
    shop["categories"]["lamps"]["never_share"] = 0.07
    (pack / "knowledge.json").write_text(knowledge_text(shop), encoding="utf-8")
    by_target = json.loads(run("lamps", "--price", "60", "--from", pack, "--json").output)
    by_loss = json.loads(
        run("lamps", "--price", "60", "--loss", "10 %", "--target", "4", "--from", pack, "--json").output
    )
    assert (by_target["binding"], by_loss["binding"]) == ("target", "loss")
    assert 0 < by_loss["highest_cents"] == by_loss["for_loss_cents"] < by_loss["for_target_cents"]


def test_every_number_of_the_json_names_its_unit(pack):
    said = json.loads(
        run(
            "lamps", "--comparable", 55, "--comparable", 70, "--cost", 12, "--part", 30, "--from", pack, "--json"
        ).output
    )
    counts = {
        "items_in_books",
        "sales_in_books",
        "comparables",
        "comparables_worth",
        "week",
        "more_comparables_to_turn",
        "expected_weeks",
    }
    units = ("_cents", "_share", "_min", "_weeks", "_per_hour")

    def numbers(value, key=""):
        if isinstance(value, dict):
            for name, part in value.items():
                yield from numbers(part, name)
        elif isinstance(value, list):
            for part in value:
                yield from numbers(part, key)
        elif isinstance(value, int | float) and not isinstance(value, bool):
            yield key

    found = set(numbers(said))
    assert len(found) > 20
    assert {key for key in found if not key.endswith(units)} <= counts


def test_a_cost_is_judged_and_the_turning_price_turns_it(pack):
    dear = json.loads(run("lamps", "--price", 60, "--cost", 40, "--from", pack, "--json").output)
    cheap = json.loads(run("lamps", "--price", 60, "--cost", 5, "--from", pack, "--json").output)
    assert (dear["at_cost"]["worth_it"], cheap["at_cost"]["worth_it"]) == (False, True)
    assert cheap["at_cost"]["cents_per_hour"] > cheap["target_cents_per_hour"] > dear["at_cost"]["cents_per_hour"]
    assert cheap["at_cost"]["loss_chance_share"] < dear["at_cost"]["loss_chance_share"]
    turning = dear["at_cost"]["turning_typical_cents"]
    exact = turning_price(question(known_shop(), "lamps", price_cents=6000), 4000)
    assert turning == pytest.approx(exact, rel=0.02)
    above = run("lamps", "--price", f"{turning * 1.03 / 100:.2f}", "--cost", 40, "--from", pack, "--json")
    assert json.loads(above.output)["at_cost"]["worth_it"]


def test_comparables_are_damped_and_counted(pack):
    prices = [5000, 5400, 5800, 6200, 30_000]
    said = buying_answer(known_shop(), "lamps", comparables_cents=prices, cost_cents=2000)
    assert said["outliers_cents"] == [30_000]
    assert 5000 < said["comparables_middle_cents"] < 6500
    assert said["typical_from"] == "comparables"
    far = buying_answer(known_shop(), "lamps", comparables_cents=prices, cost_cents=50)
    near = buying_answer(known_shop(), "lamps", comparables_cents=prices, cost_cents=max(said["highest_cents"] - 20, 1))
    assert far["at_cost"]["more_comparables_to_turn"] is None
    assert near["at_cost"]["more_comparables_to_turn"] >= 1


def test_the_nearer_a_decision_the_fewer_more_comparables_turn_it():
    """One comparable far above the category: the price decided by lies between them, and so must the gap."""
    highest = buying_answer(known_shop(), "lamps", comparables_cents=[9000])["highest_cents"]
    asked = [
        buying_answer(known_shop(), "lamps", comparables_cents=[9000], cost_cents=highest + more)["at_cost"]
        for more in (50, 500, 1000, 3000)
    ]
    counts = [
        float("inf") if one["more_comparables_to_turn"] is None else one["more_comparables_to_turn"] for one in asked
    ]
    assert counts == sorted(counts)
    assert counts[0] == 1
    assert counts[-1] > 10


def test_parts_that_bring_more_than_the_whole_are_told(pack):
    two = run("lamps", "--price", 60, "--part", 80, "--part", 90, "--from", pack)
    assert "Better sold in parts" in two.output
    assert "Better kept whole" in run("lamps", "--price", 60, "--part", 20, "--from", pack).output


def test_the_words_state_the_numbers(pack):
    found = run("lamps", "--price", "60", "--from", pack)
    own = highest_answer(known_shop(), "lamps", price_cents=6000)
    lines = found.output.splitlines()
    assert lines[0].startswith(f"Pay {show_cents(own.highest_cents)} at most")
    assert f"{own.sold_share:.0%}" in found.output
    assert "This limit decides." in found.output
    assert "Where to sell it" in found.output
    assert "$16.00 an hour" in found.output


def test_a_heavy_thing_of_its_size_is_judged_by_its_own_label(pack):
    light, heavy = (
        json.loads(run("lamps", "--price", 60, *options, "--from", pack, "--json").output)
        for options in ([], ["--at-sale", "7.50"])
    )
    assert (light["at_sale_cents"], heavy["at_sale_cents"]) == (250, 750)
    # $5 more at each sale: nearly $5 less for what nearly always sells, less what it does not cost unsold.
    assert 0.5 * 500 < light["for_target_cents"] - heavy["for_target_cents"] < 500
    collected = [[one for one in said["venues"] if one["collected"]] for said in (light, heavy)]
    assert collected[0] == collected[1], "what is collected has no label"


def test_venues_stand_in_the_order_of_the_highest_price_that_they_allow(pack):
    """A slow sale at the stall costs little for the target and much for the chance of a loss."""
    shop = known_shop()
    shop["wishes"]["loss_limit"] = 0.13
    every = venue_answers(shop, "lamps", price_cents=12_000)
    assert list(every) == ["posted", "dear", "stall"]
    assert every["stall"].for_target_cents > every["dear"].for_target_cents
    assert every["stall"].highest_cents < every["dear"].highest_cents
    (pack / "knowledge.json").write_text(knowledge_text(shop), encoding="utf-8")
    lines = run("lamps", "--price", "120", "--from", pack).output.splitlines()
    rows = lines[lines.index("Where to sell it, the best first:") + 1 :][:3]
    for row, (venue, one) in zip(rows, every.items(), strict=True):
        assert row.split()[0] == venue
        most = show_cents(one.highest_cents) if one.highest_cents else "nothing"
        assert f"{most} at most" in row
    gap = every["posted"].highest_cents - every["stall"].highest_cents
    assert lines[-1] == f"Shipping it is better: you can pay {show_cents(gap)} more."
    assert "is better" not in run("lamps", "--price", "1", "--from", pack).output


def test_what_is_not_worth_any_price_is_to_be_left(pack):
    found = run("lamps", "--price", "4", "--size", "bulky", "--from", pack)
    assert found.output.startswith("Leave it")


def test_a_category_with_hardly_a_sale_is_too_few_to_tell(tmp_path):
    shop = known_shop()
    shop["categories"]["lamps"] |= {"items": 2, "sold": 1}
    file = tmp_path / "knowledge.json"
    file.write_text(knowledge_text(shop), encoding="utf-8")
    assert "Too few to tell: 1 sale of such things" in run("lamps", "--price", 60, "--from", file).output
    assert "Too few to tell" not in run("jugs", "--price", 60, "--from", file).output


def test_the_months_decision_on_a_category_is_said(pack):
    said = {"lamps": {"verdict": "leave", "sentence": "Leave it unless it sells for at least $80."}}
    assert "decision" not in run("lamps", "--price", 60, "--from", pack).output
    (pack / "knowledge.json").write_text(knowledge_text({**known_shop(), "decisions": said}), encoding="utf-8")
    found = run("lamps", "--price", 60, "--from", pack).output
    assert "This month's decision on lamps: Leave it unless it sells for at least $80." in found
    assert "decision" not in run("tin toys", "--price", 60, "--from", pack).output


def test_prices_that_come_from_sales_alone_are_marked_as_on_the_buy_page(pack):
    shop = known_shop()
    shop["categories"]["lamps"]["by_sales"] = True
    (pack / "knowledge.json").write_text(knowledge_text(shop), encoding="utf-8")
    said = "You gave no list price and no comparable for lamps: their prices are what they sold for, and how fast they"
    assert said in run("lamps", "--from", pack).output
    assert "You gave no list price" not in run("jugs", "--from", pack).output


def test_what_is_not_worth_a_price_is_not_bought_for_nothing(pack):
    said = json.loads(run("lamps", "--price", "4", "--size", "bulky", "--cost", "0", "--from", pack, "--json").output)
    assert (said["highest_cents"], said["at_cost"]["worth_it"]) == (0, False)


def test_books_without_a_sale_answer_a_stated_price_alone():
    shop = known_shop()
    shop["categories"]["lamps"] |= {"items": 2, "sold": 0, "typical_cents": None}
    with pytest.raises(AssumptionError, match="price must be known for the first sales"):
        question(shop, "lamps")
    assert question(shop, "lamps", price_cents=6000).typical_cents == 6000
    # Nothing to lean on: the comparables alone count.
    alone = buying_answer(shop, "lamps", comparables_cents=[5000, 5400, 5800])
    assert alone["typical_cents"] == pytest.approx(alone["comparables_middle_cents"], abs=1)
    assert alone["too_few_to_tell"]


def test_an_unknown_category_is_judged_by_the_shop_and_a_slip_is_asked_about(pack):
    assert "this goes by the whole shop" in run("tin toys", "--price", 60, "--from", pack).output
    assert known_category(known_shop(), " LAMPS ") == "lamps"
    with pytest.raises(AssumptionError, match="did you mean 'lamps'"):
        known_category(known_shop(), "lampss")


def test_the_newest_pack_is_taken_by_what_is_known_not_by_when_it_was_written(tmp_path, monkeypatch):
    for name, day in (("2026-09", "2026-11-14"), ("2026-10", "2026-11-14"), ("2026-11", "2026-10-31")):
        folder = tmp_path / "packs" / name
        folder.mkdir(parents=True)
        (folder / "knowledge.json").write_text(knowledge_text({**known_shop(), "as_of": day}), encoding="utf-8")
    (tmp_path / "packs" / "track-record").mkdir()
    monkeypatch.chdir(tmp_path)
    assert newest_knowledge(None).parent.name == "2026-10"
    assert run("lamps", "--price", 60).exit_code == 0


def test_two_shops_in_one_folder_never_answer_for_each_other(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for shop, sells in (("books", "lamps"), ("hers", "clocks")):
        place = packs_folder(Path(shop)) / "2026-10"
        place.mkdir(parents=True)
        text = knowledge_text(known_shop()).replace('"lamps"', f'"{sells}"')
        (place / "knowledge.json").write_text(text, encoding="utf-8")
    assert run("lamps", "--price", 60, "--books", "books").output.startswith("Pay ")
    assert "this goes by the" in run("lamps", "--price", 60, "--books", "hers").output
    doubtful = run("lamps", "--price", 60)
    assert doubtful.exit_code == 2
    assert "packs of books, hers" in doubtful.stderr
    monkeypatch.setenv("FLIPKIT_BOOKS", "books")
    assert "this goes by the" not in run("lamps", "--price", 60).output


def test_without_a_report_one_line_says_to_run_it(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    found = run("lamps", "--price", 60)
    assert found.exit_code == 2
    assert len(found.output.splitlines()) == 1
    assert "run 'flipkit report' first" in found.output


@pytest.mark.parametrize("text", ["", "[]", '{"version": 99, "categories": {}}', '{"version": 1}'])
def test_what_is_no_knowledge_is_refused_in_one_line(tmp_path, text):
    file = tmp_path / "knowledge.json"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(PackError, match="knowledge"):
        read_knowledge(file)
    with pytest.raises(PackError, match="--from"):
        read_knowledge(tmp_path / "nothing.json")


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--size", "huge"], "size must be one of"),
        (["--venue", "moon"], "venue must be one of"),
        (["--price", "sixty"], "--price"),
        (["--price", "0"], "price must be above 0"),
        (["--comparable", "0"], "at least one sale above 0"),
        (["--price", "-5"], "price must be above 0, got -5.0"),
        (["--cost", "-3"], "cost must be at least 0, got -3.0"),
        (["--target", "-5"], "target must be at least 0, got -5.0"),
        (["--loss", "120 %"], "chance of loss must be between 0 % and 100 %, got '120%'"),
        (["--part", "20", "--apart", "nan"], "minutes to take it apart must be at least 0"),
        (["--part", "20", "--apart", "inf"], "minutes to take it apart must be at least 0"),
    ],
)
def test_what_makes_no_sense_is_refused_in_words(pack, options, words):
    found = run("lamps", *options, "--from", pack)
    assert found.exit_code == 2
    assert words in found.output


def test_a_category_of_no_words_is_asked_for(pack):
    found = run("  ", "--price", "60", "--from", pack)
    assert found.exit_code == 2
    assert "category must be the kind of thing" in found.output


def test_the_file_is_the_same_for_numbers_that_differ_in_their_last_bit():
    shop = known_shop()
    text = knowledge_text(shop)
    shop["categories"]["lamps"]["pace_error"] += 1e-16
    assert knowledge_text(dict(reversed(shop.items()))) == text
    assert json.loads(text)["categories"]["lamps"]["sizes"]["bulky"]["before_min"] == 70.0


def test_a_joke_price_moves_nothing_and_is_asked_about(pack):
    plain, joke = (run("lamps", *options, "--from", pack, "--json") for options in ([], ["--comparable", 400_000]))
    plain, joke = json.loads(plain.output), json.loads(joke.output)
    assert joke["highest_cents"] == plain["highest_cents"]
    assert joke["comparables_trust_share"] == 0
    words = run("lamps", "--comparable", 400_000, "--from", pack).output
    assert "Caution: lamps sell for about $40.00 in your books" in words
    assert "they don't count" in words


def test_comparables_that_range_twofold_show_their_range(pack):
    asked = [part for price in (45, 60, 95) for part in ("--comparable", price)]
    wide = json.loads(run("lamps", *asked, "--from", pack, "--json").output)
    close = json.loads(
        run("lamps", "--comparable", 60, "--comparable", 61, "--comparable", 62, "--from", pack, "--json").output
    )
    width = [one["for_target_high_cents"] - one["for_target_low_cents"] for one in (wide, close)]
    assert width[0] > width[1] > 0
    assert wide["for_target_low_cents"] < wide["for_target_cents"] < wide["for_target_high_cents"]


def test_comparables_take_a_day_and_a_condition(pack):
    shop = {**known_shop(), "as_of": "2026-10-31"}
    (pack / "knowledge.json").write_text(knowledge_text(shop), encoding="utf-8")
    fresh, old = (
        json.loads(run("lamps", "--comparable", text, "--from", pack, "--json").output)
        for text in ("90 2026-10-30", "90 2024-10-30")
    )
    assert old["typical_cents"] < fresh["typical_cents"], "an old sale leans on the kind"
    same, other = (
        json.loads(run("lamps", "--comparable", f"90 {state}", "--condition", "good", "--from", pack, "--json").output)
        for state in ("good", "worn")
    )
    assert other["typical_cents"] < same["typical_cents"]
    assert run("lamps", "--comparable", "90 2026-13-45", "--from", pack).exit_code == 2


def test_a_price_beside_comparables_counts(pack):
    both, alone = (
        json.loads(run("lamps", "--comparable", 40, *options, "--from", pack, "--json").output)
        for options in (["--price", 80], [])
    )
    assert both["typical_from"] == "comparables and price"
    assert alone["typical_cents"] < both["typical_cents"] < 8000
    assert "count together" in run("lamps", "--comparable", 40, "--price", 80, "--from", pack).output


def test_one_never_pays_more_than_it_sells_for(pack):
    """Without work and with a free sale a thing may bring more than like things: it is not paid for all the same."""
    shop = known_shop()
    for terms in shop["categories"]["lamps"]["sizes"].values():
        terms |= {"at_sale_cents": -3000.0, "before_min": 0.0, "sale_min": 0.0, "before_cents": 0.0}
    said = buying_answer(shop, "lamps", price_cents=5000)
    assert (said["highest_cents"], said["binding"]) == (5000, "price")
    assert said["recommended"]["highest_cents"] == 5000


def test_what_is_said_at_a_cost_follows_the_ceiling(pack):
    for price in (50, 120):
        top = json.loads(run("lamps", "--price", price, "--from", pack, "--json").output)["highest_cents"]
        for cost, worth in ((top, True), (top + 1, False)):
            said = json.loads(
                run("lamps", "--price", price, "--cost", f"{cost / 100:.2f}", "--from", pack, "--json").output
            )
            assert said["at_cost"]["worth_it"] == worth


def test_what_no_carrier_takes_is_said_in_one_line(pack):
    shop = known_shop()
    for kind in shop["categories"].values():
        for terms in kind["sizes"].values():
            terms |= {"weight_lb": 5.0, "pound_cents": 40.0}
    shop |= {"weight_classes": [[50.0, "bulky"]], "most_lb": 150.0}
    (pack / "knowledge.json").write_text(knowledge_text(shop), encoding="utf-8")
    refused = run("lamps", "--price", 60, "--weight", "200 lb", "--from", pack)
    assert refused.exit_code == 2
    assert "at most 150 lb, the most that your carriers take" in refused.output
    assert "--venue stall" in refused.output
    assert len(refused.output.strip().splitlines()) == 1
    heavy = json.loads(run("lamps", "--price", 60, "--weight", "60 lb", "--from", pack, "--json").output)
    assert heavy["size_class"] == "bulky"
    assert run("lamps", "--price", 60, "--weight", "200 lb", "--venue", "stall", "--from", pack).exit_code == 0


def test_the_answer_waits_for_no_table_library(pack):
    """Cold, in a process of its own: what is slow to load is not loaded."""
    code = (
        "import sys; from flipkit.cli.main import main\n"
        "try: main(sys.argv[1:])\n"
        "except SystemExit: pass\n"
        "print(sorted({'pandas', 'scipy', 'altair', 'pint', 'pydantic', 'openpyxl'} & set(sys.modules)))"
    )
    arguments = ["buy", "lamps", "--comparable", "55", "--cost", "12", "--from", str(pack)]
    found = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=True, encoding="utf-8"
    )
    assert found.stdout.splitlines()[-1] == "[]"


def test_a_heavier_thing_of_its_size_pays_more_label(pack, tmp_path):
    knowledge = known_shop()
    usual = run("lamps", "--price", 60, "--weight", "9lb", "--from", pack)
    assert usual.exit_code == 2
    assert "weight must be a pack that knows labels by weight, got 'none': run 'flipkit report' again" in usual.output
    for kind in knowledge["categories"].values():
        for terms in kind["sizes"].values():
            terms |= {"weight_lb": 5.0, "pound_cents": 40.0}
    newer = tmp_path / "knowledge.json"
    newer.write_text(knowledge_text(knowledge), encoding="utf-8")
    plain, same, heavy = (
        json.loads(run("lamps", "--price", 60, *options, "--from", newer, "--json").output)
        for options in ([], ["--weight", "80 oz"], ["--weight", "15lb"])
    )
    assert same["at_sale_cents"] == plain["at_sale_cents"]
    # Ten pounds more at 40 cents.
    assert heavy["at_sale_cents"] == plain["at_sale_cents"] + 400
    assert heavy["for_target_cents"] < plain["for_target_cents"]
    refused = run("lamps", "--price", 60, "--weight", "0 lb", "--from", newer)
    assert refused.exit_code == 2
    assert "weight must be" in refused.output
