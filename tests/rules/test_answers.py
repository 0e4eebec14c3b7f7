"""Answers for one parcel and one sale: plain dicts with units in their keys, and light to import."""

from __future__ import annotations

import datetime as dt
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from flipkit.errors import MeasureError, MoneyError, RuleNotInForceError
from flipkit.rules.fees import order_fees
from flipkit.rules.net_price import fees_answer, price_answer
from flipkit.rules.parcel_advice import parcel_answer, protection_answer, read_sides
from flipkit.rules.postage import labels

DAY = dt.date(2026, 10, 1)
FLAT = {"on": DAY, "sides_in": (58, 26, 6), "weight_lb": 14}


@pytest.mark.parametrize(
    ("text", "sides"),
    [
        ("24x18x12in", (24, 18, 12)),
        ("24 x 18 x 12 in", (24, 18, 12)),
        ("24×18×12", (24, 18, 12)),
        ('24" x 18" x 12"', (24, 18, 12)),
        ("24in*18in*12in", (24, 18, 12)),
        ("2 ft x 18 in x 1 ft", (24, 18, 12)),
        ("60.96x45.72x30.48cm", (24, 18, 12)),
        ("20 1/4 x 10 1/2 x 5", (20.25, 10.5, 5)),
        ("24 by 18 by 12", (24, 18, 12)),
        ("4 ft 2 in x 18 in x 1 ft", (50, 18, 12)),
    ],
)
def test_sides_are_read_as_people_write_them(text, sides):
    assert read_sides(text) == pytest.approx(sides)


def test_bare_sides_take_the_declared_unit():
    assert read_sides("61x46x30.48", unit="cm")[2] == pytest.approx(12)


@pytest.mark.parametrize("text", ["24x18", "24x18x12x3", "", "24xx12", "axbxc", "24x18x0", "24x18x-1", "24x18x12kg"])
def test_what_is_not_three_sides_is_refused(text):
    with pytest.raises(MeasureError, match="side"):
        read_sides(text)


@pytest.mark.worked
def test_the_flat_parcel_in_one_answer(packaged):
    found = parcel_answer(packaged, **FLAT, carriers=["private-network", "post"])
    assert (found["girth_in"], found["length_plus_girth_in"], found["united_in"]) == (64, 122, 90)
    assert (found["volume_cu_in"], found["size_class"]) == (9048, "bulky")
    network, post = found["carriers"]
    assert (network["dimensional_lb"], network["scale_lb"], network["billable_lb"]) == (66, 14, 66)
    assert network["triggers"][0] == {
        "surcharge": "handling_longest",
        "group": "additional handling",
        "measure": "longest",
        "value_in": 58,
        "threshold_in": 48,
        "over_by_in": 10,
        "applies": True,
        "minimum_billable_lb": 40,
    }
    assert (post["block"], post["seen"]) == ("from 2026-07-12", "secondary")
    assert "cards" not in post


def test_prices_of_an_answer_are_those_of_the_columns(demo):
    found = parcel_answer(demo, **FLAT, zone="5", reach_in=4, reach_lb=1, declared_cents=20_000, signature=True)
    assert [carrier["carrier"] for carrier in found["carriers"]] == ["post", "private-network"]
    for carrier in found["carriers"]:
        answer = carrier["cards"][0]
        card = demo.rate_cards[answer["card"]]
        parcel = {"length_in": 58, "width_in": 26, "height_in": 6, "weight_lb": 14}
        best = labels(card, demo.rules_of(card), on=DAY, zone=5, declared_cents=20_000, signature=True, **parcel).iloc[
            0
        ]
        first = answer["services"][0]
        assert first["service"] == best["service"]
        assert first["total_cents"] == best["total_cents"]
        assert answer["entered_by_weight_alone"]["below_billable"]
        assert answer["trims"][0]["cents_per_in"] == max(
            trim["cents_per_in"] for trim in answer["trims"] if "by_in" in trim
        )


def test_without_a_zone_there_is_no_price_and_with_a_mix_a_mean(demo):
    assert all("cards" not in carrier for carrier in parcel_answer(demo, **FLAT)["carriers"])
    mixed = parcel_answer(demo, **FLAT, zone_mix={"4": 1, "6": 1}, cards=["network"], reach_in=1)
    answer = mixed["carriers"][0]["cards"][0]
    assert (answer["zone"], answer["block"]) == ("mix", demo.rate_cards["network"].at(DAY).described)
    first = answer["services"][0]
    assert first["low_cents"] < first["total_cents"] < first["high_cents"]
    assert answer["trims"]


def test_a_refused_parcel_names_the_reason_of_every_service(demo):
    found = parcel_answer(demo, on=DAY, sides_in=(110, 5, 5), weight_lb=9, zone="5", cards=["network"], reach_in=1)
    services = found["carriers"][0]["cards"][0]["services"]
    assert {entry["refused"] for entry in services} == {"over the carrier's maximum"}
    assert "trims" not in found["carriers"][0]["cards"][0]


def test_an_air_answer_is_in_kilograms(packaged):
    found = parcel_answer(packaged, on=DAY, sides_in=(27.56, 19.69, 23.62), weight_lb=20, carriers=["air-6000"])
    assert found["carriers"][0]["billable_kg"] == 35.0


def test_an_answer_about_long_ago_has_no_size_class(packaged):
    found = parcel_answer(
        packaged, on=dt.date(2018, 1, 1), sides_in=(12, 12, 14), weight_lb=2, carriers=["post"], zone="5"
    )
    assert found["size_class"] is None
    assert found["carriers"][0]["dimensional_lb"] == 11
    with pytest.raises(RuleNotInForceError, match="private-network"):
        parcel_answer(packaged, on=dt.date(2018, 1, 1), sides_in=(9, 9, 9), weight_lb=2, carriers=["private-network"])


def test_unknown_names_are_refused_with_the_known_ones(demo):
    with pytest.raises(
        MeasureError, match="carrier must be one of air-5000, air-6000, post, private-network, got 'rail'"
    ):
        parcel_answer(demo, **FLAT, carriers=["rail"])
    with pytest.raises(MeasureError, match="rate card must be one of network, post, got 'x'"):
        parcel_answer(demo, **FLAT, cards=["x"])
    with pytest.raises(
        MoneyError, match=r"venue must be one that has a fee schedule \(lantern, quayside, stall\), got 'x'"
    ):
        fees_answer(demo, on=DAY, goods_cents=6400, venues=["x"])


def test_fees_line_by_line_at_every_venue(demo):
    found = fees_answer(demo, on=DAY, goods_cents=6400, shipping_cents=1250, label_cents=1000, days_listed=40)
    assert {venue["venue"] for venue in found["venues"]} == {"lantern", "quayside", "stall"}
    assert found["left_out"] == []
    lantern = next(venue for venue in found["venues"] if venue["venue"] == "lantern")
    own = order_fees(demo.fee_schedules["lantern"], on=DAY, goods_cents=6400, shipping_cents=1250, listing_cents=62)
    assert {name: lantern[name] for name in own.columns} == own.iloc[0].to_dict()
    assert lantern["net_cents"] == 6400 + 1250 - 1000 - lantern["total_cents"]
    assert lantern["block"] == "from 2025-10-01"


def test_a_venue_that_cannot_answer_is_left_out_unless_it_was_asked_for(demo):
    found = fees_answer(demo, on=DAY, goods_cents=6400, seller_level="trusted")
    assert [venue["venue"] for venue in found["venues"]] == ["lantern"]
    assert {left["venue"] for left in found["left_out"]} == {"quayside", "stall"}
    with pytest.raises(MoneyError, match="seller_level must be one that fees 'quayside' names"):
        fees_answer(demo, on=DAY, goods_cents=6400, seller_level="trusted", venues=["quayside"])


def test_the_price_for_a_net_is_checked_by_its_own_fees(demo):
    found = price_answer(demo, on=DAY, net_cents=4000, shipping_cents=1250, label_cents=1100, tax_ppm=70_000)
    assert (found["on"], found["wanted_net_cents"], found["left_out"]) == ("2026-10-01", 4000, [])
    assert [venue["price_cents"] for venue in found["venues"]] == sorted(
        venue["price_cents"] for venue in found["venues"]
    )
    for venue in found["venues"]:
        assert venue["net_cents"] >= 4000
        below = fees_answer(
            demo,
            on=DAY,
            goods_cents=venue["price_cents"] - 1,
            shipping_cents=1250,
            label_cents=1100,
            tax_ppm=70_000,
            venues=[venue["venue"]],
        )
        assert below["venues"][0]["net_cents"] < 4000


def test_protection_by_each_card(demo):
    found = protection_answer(
        demo, on=DAY, value_cents=40_000, damage_ppm=15_000, loss_ppm=5_000, signature_stops_ppm=500_000
    )
    assert [card["card"] for card in found["cards"]] == ["network", "post"]
    asked = ("on", "value_cents", "damage_ppm", "loss_ppm", "signature_stops_ppm")
    assert [found[name] for name in asked] == ["2026-10-01", 40_000, 15_000, 5_000, 500_000]
    for card in found["cards"]:
        costs = [way["cost_cents"] for way in card["ways"]]
        assert costs == sorted(costs)
        assert {"none", "declared value", "plain signature"} <= {way["protection"] for way in card["ways"]}


def test_answers_survive_json_and_every_measure_names_its_unit(demo):
    answers = [
        parcel_answer(demo, **FLAT, zone="5", reach_in=2, reach_lb=1),
        fees_answer(demo, on=DAY, goods_cents=6400),
        price_answer(demo, on=DAY, net_cents=4000),
        protection_answer(demo, on=DAY, value_cents=4000, damage_ppm=1, loss_ppm=1, signature_stops_ppm=1),
    ]
    without_unit = {"break_even_chance"}

    def numbers(value, key=""):
        if isinstance(value, dict):
            for name, held in value.items():
                yield from numbers(held, name)
        elif isinstance(value, list):
            for held in value:
                yield from numbers(held, key)
        elif isinstance(value, int | float) and not isinstance(value, bool):
            yield key

    for answer in answers:
        assert json.loads(json.dumps(answer)) == answer
        for key in set(numbers(answer)) - without_unit:
            assert re.search(r"_(in|lb|kg|cents|ppm|cu_in|cents_per_in|cents_per_lb)$", key), key


def test_an_answer_loads_neither_pandas_nor_pint_nor_scipy():
    rules = Path(__file__).resolve().parents[2] / "data_demo" / "rules"
    code = f"""
import datetime as dt, sys
from pathlib import Path
from flipkit.units import read_weight
from flipkit.rules.net_price import fees_answer, price_answer
from flipkit.rules.parcel_advice import parcel_answer, protection_answer, read_sides
from flipkit.rules.tables import load_rules
rules, day = load_rules(Path({str(rules)!r})), dt.date(2026, 10, 1)
sides, weight = read_sides("147 x 66 x 15 cm"), read_weight("14 lb 3 oz")
parcel_answer(rules, on=day, sides_in=sides, weight_lb=weight, zone="5", reach_in=2, reach_lb=1)
fees_answer(rules, on=day, goods_cents=6400, category="stoneware")
price_answer(rules, on=day, net_cents=6400)
protection_answer(rules, on=day, value_cents=4000, damage_ppm=1, loss_ppm=1, signature_stops_ppm=1)
print(sorted({{"pandas", "pint", "scipy", "altair", "openpyxl", "pydantic"}} & set(sys.modules)))
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
