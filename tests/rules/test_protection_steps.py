"""Declared value and signature: steps printed elsewhere, and when they are worth it."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flipkit.errors import MoneyError
from flipkit.rules.blocks import Keys
from flipkit.rules.postage import labels
from flipkit.rules.rate_cards import DeclaredValue, declared_value_cents, protection_choices, read_declared_value

NOTICE_59 = [(50, "0.75"), (100, "1.60"), (200, "2.40"), (300, "3.50"), (400, "4.60"), (500, "5.40"), (600, "6.20")]


def steps(entries, **more):
    table = {"steps": [{"up_to": f"{edge}.00", "amount": amount} for edge, amount in entries], **more}
    return read_declared_value(Keys(table, file="test.toml"))


def cost(rule, dollars):
    return int(declared_value_cents(rule, declared_cents=round(dollars * 100)))


@pytest.mark.published(source="almanac-1993", where="insurance after notice 59, January 1991", seen="found")
def test_postal_insurance_of_1991():
    rule = steps(NOTICE_59)
    assert [cost(rule, edge) for edge, _ in NOTICE_59] == [75, 160, 240, 350, 460, 540, 620]
    # Both sides of every edge, and nothing above the last.
    assert [cost(rule, edge + 0.01) for edge, _ in NOTICE_59] == [160, 240, 350, 460, 540, 620, -1]


@pytest.mark.published(source="extra-services-2007", where="insurance of May 2007", seen="secondary")
def test_postal_insurance_of_2007_goes_on_by_hundreds():
    entries = [(50, "1.65"), (100, "2.05"), (200, "2.45"), (300, "4.60")]
    rule = steps(entries, then_each="100.00", then_amount="0.90", maximum="5000.00")
    assert [cost(rule, edge) for edge, _ in entries] == [165, 205, 245, 460]
    # 4.60 + 4 x .90
    assert cost(rule, 650) == 820
    assert [cost(rule, dollars) for dollars in (300.01, 400, 400.01, 700, 700.01)] == [550, 550, 640, 820, 910]
    assert cost(rule, 5000.01) == -1


@pytest.mark.published(source="postal-bulletin-22218", where="signature confirmation, retail, May 2007", seen="found")
def test_signature_of_2007_is_added_to_the_label(post, rate_card):
    body = 'signature = { plain = "2.10" }\n[[block.service]]\nname = "ground"\ntable = "t.csv"\n'
    card = rate_card(body, {"t.csv": "weight,4\n70,5.00\n"})
    box = {"length_in": 9, "width_in": 6, "height_in": 4, "weight_lb": 2}
    found = labels(card, post, on=dt.date(2008, 1, 2), zone=4, signature=[True, False], **box)
    assert found["signature_cents"].tolist() == [210, 0]
    assert found["total_cents"].tolist() == [710, 500]


@pytest.mark.published(
    source="declared-value-2020", where="first 100 free, 3.45 to 300, 1.15 a hundred", seen="secondary"
)
def test_declared_value_of_2020_has_a_minimum():
    rule = steps([(100, "0.00"), (300, "3.45")], then_each="100.00", then_amount="1.15", maximum="50000.00")
    assert rule.free_cents == 100_00
    assert [cost(rule, dollars) for dollars in (0, 100, 100.01, 300, 301, 400, 400.01)] == [
        0,
        0,
        345,
        345,
        460,
        460,
        575,
    ]
    # The page prints $4 for $301; by its own rule it is 4 x 1.15 = 4.60.
    assert cost(rule, 301) == 4 * 115 != 400


@pytest.mark.published(source="accessorials-2002", where=".35 a hundred above the first; signatures", seen="found")
def test_declared_value_and_signatures_of_2002(rate_card):
    rule = steps([(100, "0.00")], then_each="100.00", then_amount="0.35", maximum="50000.00")
    # 450: 350 above the first hundred are four hundreds begun, 4 x .35
    assert cost(rule, 450) == 140
    body = 'signature = { plain = "1.00", adult = "1.75" }\n[[block.service]]\nname = "ground"\ntable = "t.csv"\n'
    block = rate_card(body, {"t.csv": "weight,4\n70,5.00\n"}).blocks[0]
    assert dict(block.signature_cents) == {"plain": 100, "adult": 175}


RULE = DeclaredValue((100_00, 300_00), (0, 3_45), 100_00, 1_15, 5_000_00)


def ways(value, damage=15_000, loss=5_000, stops=500_000, signature=None, rule=RULE):
    found = protection_choices(
        rule,
        {"plain": 3_10} if signature is None else signature,
        value_cents=value,
        damage_ppm=damage,
        loss_ppm=loss,
        signature_stops_ppm=stops,
    )
    return {way["protection"]: way for way in found}


@pytest.mark.worked
def test_expected_loss_is_chance_times_value_not_covered():
    found = ways(400_00)
    # Free to 100: 300 open at 2 % = 6.00. Declared: 3.45 + 1.15 = 4.60, nothing open.
    # Signed: 3.10 + 300 at 1.75 % = 5.25 -> 8.35. Both: 4.60 + 3.10 = 7.70.
    assert {name: way["cost_cents"] for name, way in found.items()} == {
        "none": 600,
        "declared value": 460,
        "plain signature": 835,
        "declared value and plain signature": 770,
    }
    assert next(iter(found)) == "declared value"


@pytest.mark.worked
def test_break_even_chance_is_fee_over_what_it_covers():
    found = ways(400_00)
    # 4.60 / 300 covered in addition; 3.10 / (300 open x half of the losses)
    assert found["declared value"]["break_even_chance"] == pytest.approx(4.60 / 300)
    assert found["plain signature"]["break_even_chance"] == pytest.approx(3.10 / 150)
    assert found["none"]["break_even_chance"] is None


def test_at_the_break_even_chance_it_makes_no_difference():
    # 4.60 / 300 = 0.015333...: one part per million to either side decides.
    even = 4_60 * 1_000_000 // 300_00
    below, above = ways(400_00, damage=even - 60, loss=0), ways(400_00, damage=even + 60, loss=0)
    assert next(iter(below)) == "none"
    assert next(iter(above)) == "declared value"


def test_value_under_the_free_amount_needs_no_protection():
    found = ways(80_00)
    assert set(found) == {"none", "plain signature"}
    assert found["none"]["expected_loss_cents"] == 0
    assert found["plain signature"]["break_even_chance"] is None


def test_without_declared_value_everything_is_open():
    found = ways(400_00, rule=None)
    assert found["none"]["expected_loss_cents"] == 800
    assert set(found) == {"none", "plain signature"}


def test_value_above_the_maximum_stays_open_above_it():
    found = ways(6_000_00)["declared value"]
    assert found["covered_cents"] == 5_000_00
    assert found["expected_loss_cents"] == 20_00


@pytest.mark.parametrize(
    ("chances", "words"),
    [
        ((1_000_001, 0, 0), "damage_ppm must be"),
        ((600_000, 500_000, 0), "damage_ppm + loss_ppm"),
        ((0, 0, -1), "stops"),
    ],
)
def test_chances_lie_between_nothing_and_certainty(chances, words):
    damage, loss, stops = chances
    with pytest.raises(MoneyError, match=words.replace("+", r"\+")):
        ways(400_00, damage=damage, loss=loss, stops=stops)


@settings(deadline=None)
@given(first=st.integers(0, 6_000_00), more=st.integers(0, 1_000_00))
def test_a_larger_value_never_costs_less(first, more):
    low, high = declared_value_cents(RULE, declared_cents=[first, first + more])
    assert high == -1 or low <= high


@settings(deadline=None)
@given(
    value=st.integers(1, 10_000_00),
    damage=st.integers(0, 500_000),
    loss=st.integers(0, 500_000),
    stops=st.integers(0, 1_000_000),
)
def test_declared_value_is_worth_it_just_when_its_fee_is_below_the_loss_it_takes_away(value, damage, loss, stops):
    found = ways(value, damage, loss, stops)
    if "declared value" not in found:
        return
    bare, declared = found["none"], found["declared value"]
    taken = bare["expected_loss_cents"] - declared["expected_loss_cents"]
    assert (declared["cost_cents"] < bare["cost_cents"]) == (declared["fee_cents"] < taken)
    assert declared["saves_cents"] == taken - declared["fee_cents"]
