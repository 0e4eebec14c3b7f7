"""A shop in euros, centimeters and kilograms, with its own carrier, venue and mileage, works from check to pack."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from flipkit.assumptions import load_assumptions
from flipkit.books.read import read_books
from flipkit.cli.main import main
from flipkit.pack.month import make_month_pack, month_plan
from flipkit.reports.money import Money
from flipkit.reports.sentences import size_words
from flipkit.reports.study import open_study
from flipkit.units import KM_A_MILE, Measures
from tests.helpers.metric_shop import LAST, make
from tests.helpers.random_shops import aisle_faults
from tests.helpers.without_kernels import without_kernels

#: What a page of such a shop must not show: dollars, inches, pounds, feet, ounces, miles.
FOREIGN = re.compile(
    r"\$|\bUSD\b|\bdollars?\b|\d\s?in\b(?! (the|all|a|stock|each|Oct\w*|Sep\w*|your|which)\b)|\binch\w*|\blbs?\b|"
    r"\bpounds?\b|\b(cu|sq) ft\b|\b[Cc]ubic[ -](foot|feet|inch\w*)|\b[Ss]quare (foot|feet)|\b(ft|foot|feet)\b|"
    r"\b[Mm]iles?\b|\boz\b|\bounces?\b"
)


def shown(page: str) -> str:
    """All that a page shows, what its charts draw included."""
    page = re.sub(r"<style.*?</style>", "", page, flags=re.S)
    drawn = " ".join(re.findall(r'<script type="application/json">(.*?)</script>', page, flags=re.S))
    text = re.sub(r"<[^>]+>", " ", re.sub(r"<script.*?</script>", "", page, flags=re.S))
    return html.unescape(text) + "\n" + drawn.replace('"$schema"', '"schema"')


def foreign(text: str) -> list[str]:
    return [" ".join(text[max(0, m.start() - 40) : m.end() + 20].split()) for m in FOREIGN.finditer(text)]


@pytest.fixture(scope="module")
def books(tmp_path_factory) -> Path:
    return make(tmp_path_factory.mktemp("harbor") / "books")


@pytest.fixture(scope="module")
def study(books):
    return open_study(books, month="2026-10")


def test_the_search_finds_what_it_is_for():
    assert len(foreign("24 x 18 in, 9 lb, $12, 3 cu ft, an inch, a cubic foot, 12 miles, Net ($)")) == 8
    assert foreign("60 x 40 cm, 4.1 kg, €12, 0.1 m³, 3 in stock, 5 in all, 12 in October") == []
    assert foreign(shown('<p>a</p><script type="application/json">{"shown": "$4"}</script>'))


def test_measures_are_read_in_its_units(books):
    found = read_books(books)
    assert len(found.items) == 60
    assert found.shop.measures == Measures("cm", "kg")
    first = found.items.iloc[0]
    # 24 cm x 0.95 is 23 cm; 1.6 kg x (1 - 0.24 - 0.15) is 0.98 kg.
    assert first["length_in"] * 2.54 == pytest.approx(23)
    assert first["weight_lb"] * 0.45359237 == pytest.approx(0.98)
    assert found.trips["miles"].iloc[0] * KM_A_MILE == pytest.approx(38)


@pytest.mark.worked
def test_driving_is_paid_by_the_kilometer(study):
    """Ten trips of 38, 45, 52, 59 km in turn: 38 x 3 + 45 x 3 + 52 x 2 + 59 x 2 = 471 km at 30 cents."""
    text = Money(study).mileage_table().text
    assert "Kilometers driven to buy" in text
    assert "Cents a km" in text
    assert "471.0" in text
    assert "141.30" in text
    trips = study.items["trip_cents"].sum()
    assert trips == 14_130 + 10 * 300  # and 3.00 of parking for each


def test_labels_follow_its_own_carrier_in_half_kilograms(study):
    label = study.items[study.items["label_origin"] == "rule"].iloc[0]
    sides = sorted((label[f"{side}_in"] * 2.54 for side in ("length", "width", "height")), reverse=True)
    volume = sides[0] * sides[1] * sides[2] / 6000
    kilos = max(volume, label["weight_lb"] * 0.45359237)
    billed = -(-round(kilos * 2, 6) // 1) / 2
    step = {"1": (5.2, 0.55), "2": (6.9, 0.8), "3": (11.5, 1.6)}[label["zone"]]
    whole = min(w for w in (*range(1, 21), 25, 30, 40, 50) if w >= billed)
    assert label["label_cents"] == round(100 * (step[0] + step[1] * whole))


def test_size_classes_are_said_in_its_units(study):
    said = size_words(study)
    assert "longest side at most 56 cm" in said
    assert "weight over 22.68 kg" in said
    assert foreign(said) == []


def test_assumptions_are_shown_and_taken_in_its_units():
    there = Measures("cm", "kg")
    entries = load_assumptions(
        {"parcel": {"length_in": {"small": "25.4 cm"}, "weight_lb": {"small": "2 kg"}},
         "pricing": {"storage": "14.13 per m3"}},
        currency="EUR",
    ).entries  # fmt: skip
    assert entries["parcel.length_in.small"].value == pytest.approx(10)
    assert entries["parcel.length_in.small"].shown(there, currency="EUR") == ("25.4", "cm")
    assert entries["parcel.weight_lb.small"].shown(there, currency="EUR") == ("2", "kg")
    assert entries["pricing.storage"].value == 40
    assert entries["pricing.storage"].shown(there, currency="EUR") == ("€14.13", "per cubic meter and month")
    for entry in entries.values():
        assert foreign(" ".join(entry.shown(there, currency="EUR")) + " " + entry.meaning) == [], entry.key
        assert entry.shown(Measures(), currency="USD") == (entry.text(currency="USD"), entry.unit)


@pytest.mark.slow
def test_its_pack_shows_no_inch_no_pound_and_no_dollar(books, tmp_path):
    plan = month_plan(books, month="2026-10", out=tmp_path / "pack")
    with without_kernels(plan.study):
        pack = make_month_pack(plan)
    pages = sorted(pack.folder.glob("*.html"))
    assert len(pages) > 8
    found = {page.name: foreign(shown(page.read_text(encoding="utf-8"))) for page in pages}
    assert {name: texts[:5] for name, texts in found.items() if texts} == {}
    everything = " ".join(shown(page.read_text(encoding="utf-8")) for page in pages)
    for own in ("€", " cm", " kg", "m³", "Cubic meters", "Kilometers"):
        assert own in everything, own


def test_the_aisle_says_what_its_page_says(study):
    assert aisle_faults(study) == []


def test_its_commands_speak_its_units(books):
    run = CliRunner().invoke
    assert run(main, ["check", str(books)]).exit_code == 0
    listed = run(main, ["assumptions", str(books)])
    assert listed.exit_code == 0
    assert "pricing.storage = €14.13 per cubic meter and month" in listed.output
    assert foreign(listed.output) == []
    sold = run(main, ["sold", "H-010", "30", "--books", str(books), "--on", LAST.isoformat()])
    assert "€30.00" in sold.output, sold.output
    assert run(main, ["sold", "--undo", "--books", str(books)]).exit_code == 0


def test_parcel_fees_and_packing_speak_its_units(books):
    on = ("--books", str(books), "--on", LAST.isoformat())

    def said(*words: str) -> str:
        result = CliRunner().invoke(main, [*words, *on])
        assert result.exit_code == 0, result.output
        assert foreign(result.output) == []
        return result.output

    # A bare number is a centimeter or a kilogram here: 60 x 40 x 35 / 6000 is 14 kg; 14 kg in zone 2 is 6.90 + 11.20.
    parcel = said("parcel", "60x40x35", "6.5", "--zone", "2", "--trim", "4cm")
    assert "60 x 40 x 35 cm, 6.5 kg on the scale" in parcel
    assert "billed at 14 kg because of its space (it weighs 6.5 kg)" in parcel
    assert "€18.10" in parcel
    assert "billed at 13 kg, not 14" in parcel
    assert "€56.79" in said("fees", "64")
    packed = said("packing", "30x20x15cm", "2kg", "--fragility", "delicate", "--zone", "1", "--trials")
    assert re.search(r"[\d.]+ x [\d.]+ x [\d.]+ cm outside, [\d.]+ kg packed, billed as [\d.]+ kg", packed)
    # The table of pads is in the shop's unit too.
    assert re.search(r"[\d.]+ cm/[\d.]+ cm", packed)


def test_drawings_are_measured_in_centimeters(books, tmp_path):
    page = tmp_path / "cut.html"
    words = ["packing", "30x20x15cm", "2kg", "--fragility", "delicate", "--zone", "1", "--drawing", str(page)]
    result = CliRunner().invoke(main, [*words, "--books", str(books), "--on", LAST.isoformat()])
    assert result.exit_code == 0, result.output
    drawn = shown(page.read_text(encoding="utf-8"))
    assert "measures in centimeters to the millimeter" in drawn
    assert foreign(drawn) == []
    assert " 30.0 " in drawn


def test_check_names_what_the_kit_has_for_the_united_states_alone(books, tmp_path):
    whole = CliRunner().invoke(main, ["check", str(books)])
    assert "Time these jobs next" in whole.output
    assert "set for US dollars" not in whole.output
    bare = make(tmp_path / "bare")
    (bare / "assumptions.toml").unlink()
    (bare / "rules" / "mileage" / "kilometers.toml").unlink()
    found = CliRunner().invoke(main, ["check", str(bare)]).output
    assert "hour.target, help.wage, label.assumed" in found
    assert "the kit's rate a mile is that of the United States" in found
