"""Properties of the plan over random things, and the figures of the awkward ones, by seed and by rule."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
import random

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from flipkit.analysis.knowledge_file import knowledge_text
from flipkit.analysis.max_bid import SHOP
from flipkit.assumptions import load_assumptions
from flipkit.cli.main import main
from flipkit.economics.costs import MEASURES, materials_like_plans
from flipkit.economics.items import item_economics
from flipkit.errors import MeasureError
from flipkit.packing.instructions import decision, plan_reading
from flipkit.packing.parcel import bare_item, plan_parcel
from flipkit.packing.plan import packing_plan
from flipkit.packing.styles import PackItem, way_of
from flipkit.packing.trials import pad_step, padding_trade
from flipkit.paths import demo_folder
from flipkit.rules.parcel_advice import parcel_answer
from flipkit.rules.tables import load_rules
from tests.helpers.known_shop import known_shop
from tests.helpers.packing_stock import ASSUMED, LABELS, LONG_AND_FLAT, RULES, STOCK, packed_things
from tests.helpers.small_books import small_books

#: Enough for each run of the tests; ``tests/benchmarks/bench_packing.py`` draws 2,000.
THINGS = 40
CLASSES = list(RULES.cushions.fragility)[::-1]  # the sturdiest first
SMALL = dataclasses.replace(STOCK, cartons=STOCK.cartons[:8])


def total(item, ways=None, stock=SMALL):
    best = packing_plan(item, stock, labels=LABELS, rules=RULES, assumptions=ASSUMED, ways=ways).best
    return None if best is None else best.total_cents


def thing(draw):
    sides = [round(60 ** draw.random(), 2) for _ in range(3)]
    # No heavier than iron: a stick of 38 lb wants thicker pads than packing.most_pad_in looks at.
    weight = min(0.1 + 40 * draw.random() ** 3, 0.28 * math.prod(sides))
    return PackItem("x", "thing", *sides, weight, draw.choice(CLASSES), draw.choice((0, 2000, 8000, 32500)))


@pytest.mark.parametrize("seed", range(THINGS))
def test_the_plan_of_a_random_thing(seed):
    broken = wrong(random.Random(seed))  # noqa: S311 - cases, not secrets
    assert broken == []


def test_an_l_shaped_thing_is_asked_about_and_its_corner_filled():
    asked = bare_item("corner shelf", "40x30x3in", "9 lb", fragility="moderately delicate", value="120")
    told = bare_item(
        "corner shelf", "40x30x3in", "9 lb", fragility="moderately delicate", value="120", notch="28x20x3in"
    )
    one, two = (plan_parcel(item, on="2026-11-27") for item in (asked, told))
    question = "Is it shaped like an L? Then say how large the empty corner of its box is, such as --notch "
    assert sum(line.startswith(question) for line in one.reading()) == 1
    assert not any(line.startswith(question) for line in two.reading())
    assert any(line.startswith("Fill the empty corner, 28 x 20 x 3 in, before ") for line in two.reading())
    # 28 x 20 x 3 in of hollow, 0.972 cu ft, are filled as well, whatever else is.
    assert two.plan.best.draft.fill_cuft >= 28 * 20 * 3 / 1728
    assert two.plan.best.total_cents > one.plan.best.total_cents
    small = bare_item("mug", "5x4x4in", "0.2 lb", fragility="delicate", value="20")
    assert not any(line.startswith(question) for line in plan_parcel(small, on="2026-11-27").reading())
    with pytest.raises(MeasureError, match="none longer than the thing's own"):
        plan_parcel(dataclasses.replace(told, notch_in=(41.0, 20.0, 3.0)), on="2026-11-27")
    with pytest.raises(MeasureError, match="none longer than the thing's own"):
        plan_parcel(dataclasses.replace(told, notch_in=told.sides_in), on="2026-11-27")


@pytest.mark.parametrize(("seed", "spans", "off"), [(0, {}, 0.1), (4, LONG_AND_FLAT, 0.2)])
def test_economics_reckons_with_the_materials_that_plans_take(seed, spans, off):
    *known, worth, spent = packed_things(np.random.default_rng(seed).random((60, 6)), **spans).T
    parcels = pd.DataFrame(dict(zip(MEASURES, known, strict=True))).assign(measures_origin="recorded")
    reckoned = materials_like_plans(parcels, worth * 100, ASSUMED) / 100
    assert np.median(np.abs(reckoned / spent - 1)) < off
    # One dear parcel moves the sum of so few; the bench measures more of them.
    assert reckoned.sum() == pytest.approx(spent.sum(), rel=0.2)


def wrong(draw):
    """What does not hold of one random thing."""
    item = thing(draw)
    at = CLASSES.index(item.fragility)
    now = total(item)
    if now is None:
        return []
    found = []
    if at and total(dataclasses.replace(item, fragility=CLASSES[at - 1])) > now:
        found.append("a sturdier thing costs more")
    if total(dataclasses.replace(item, value_cents=item.value_cents * 2 + 500)) < now:
        found.append("a dearer thing costs less")
    for cushion in SMALL.cushions:
        for layers in (0, 1, 2, 4, 7):
            given = way_of(item, cushion if layers else None, layers, layers, rules=RULES, assumptions=ASSUMED)
            stated = total(item, [given])
            if stated is not None and stated < now:
                found.append(f"{layers} layers of {cushion.name} cost less than the plan")
    bare = way_of(item, None, 0, 0, rules=RULES, assumptions=ASSUMED)
    for_nothing = total(dataclasses.replace(item, value_cents=0), [bare])
    if for_nothing is not None and for_nothing + item.value_cents < now:
        found.append("losing the thing for certain costs less")
    return found


def test_metric_and_imperial_are_equal():
    one = plan_parcel(bare_item("x", "20x14x10in", "9 lb", fragility="delicate", value="60"), on="2026-11-25")
    two = plan_parcel(
        bare_item("x", "50.8 x 35.56 x 25.4 cm", "4.08233133 kg", fragility="delicate", value="60"), on="2026-11-25"
    )
    assert one.plan.best.total_cents == two.plan.best.total_cents
    assert one.plan.best.draft.what == two.plan.best.draft.what


def panel(value, fragility="moderately delicate"):
    return plan_parcel(bare_item("panel", "56x20x3in", "9 lb", fragility=fragility, value=value), on="2026-11-27")


def test_a_panel_of_80_dollars_is_not_packed_for_more_than_it_is_worth_without_a_word():
    found = panel("80", "delicate")
    assert not decision(found.plan)[0]
    assert found.reading()[0].startswith("No: packing and shipping it takes $")
    assert found.plan.best.total_cents < 10000
    assert found.answer()["post"] is False


def test_a_dear_panel_goes_between_two_boards():
    found = panel("325")
    best = found.plan.best
    assert best.draft.style == "sandwich"
    text = "\n".join(found.reading())
    assert "Post it: $" in text
    assert "edge protectors" in text
    assert "Pad all four edges with" in text
    assert "Caution. Knife: " in text
    assert "Caution. Clearance: " in text
    assert len(found.drawings()) == 5


def test_the_trade_holds_the_plan_and_nothing_cheaper():
    found = panel("325")
    totals = [one.total_cents for one in padding_trade(found.plan, found.stock, labels=found.labels)]
    assert len(totals) > 3
    assert min(totals) == found.plan.best.total_cents
    rows = found.answer()["padding_trade"]
    assert [row["damage_share"] for row in rows] == sorted((row["damage_share"] for row in rows), reverse=True)


def test_a_step_is_looked_for_in_the_padding_never_in_the_item():
    found = panel("325")
    step = pad_step(found.plan, labels=found.labels)
    assert step is not None
    draft = found.plan.best.draft
    assert step.less_in <= draft.inside_in[step.axis] - found.plan.item.sides_in[draft.turn[step.axis]]
    assert step.billable_lb < step.was_lb
    assert any(line.startswith(f"Pack it {step.less_in:g} in less ") for line in found.reading())
    bare = found.plan.item
    tight = packing_plan(
        bare, found.stock, labels=found.labels, rules=found.plan.rules, assumptions=found.plan.assumptions,
        ways=[way_of(bare, None, 0, 0, rules=found.plan.rules, assumptions=found.plan.assumptions)],
    )  # fmt: skip
    assert pad_step(tight, labels=found.labels) is None


def test_what_to_charge_leaves_what_the_price_leaves_without_postage():
    from flipkit.rules.net_price import fees_answer

    found = panel("325")
    asked = found.postage
    assert asked.nearest_cents < asked.usual_cents < asked.farthest_cents < asked.quote_cents
    rules = load_rules(demo_folder() / "rules")
    at = {"on": dt.date(2026, 11, 27), "venues": [asked.venue]}

    def left(goods, *, shipping=0, label=0):
        told = fees_answer(rules, goods_cents=goods, shipping_cents=shipping, label_cents=label, **at)
        return told["venues"][0]["net_cents"]

    # A cent less of either would leave less than the price alone does.
    without, quote, free = left(32500), asked.quote_cents, asked.free_price_cents
    far, usual = asked.farthest_cents, asked.usual_cents
    assert left(32500, shipping=quote - 1, label=far) < without <= left(32500, shipping=quote, label=far)
    assert left(free - 1, label=usual) < without <= left(free, label=usual)


def test_a_cube_of_an_inch_gets_room_for_its_label_and_no_more():
    found = plan_parcel(bare_item("cube", "1x1x1in", "2 oz", fragility="rugged", value="20"), on="2026-11-27")
    best = found.plan.best
    assert best.draft.style in ("bag", "stock", "cut_down")
    assert best.total_cents < 1500
    assert any("too small for the label" in one.reason for one in found.plan.refusals)


def test_two_people_are_asked_for_what_is_too_heavy_for_one():
    found = plan_parcel(bare_item("anvil", "12x8x8in", "52 lb", fragility="rugged", value="400"), on="2026-11-27")
    assert any("Lifting: two people" in line for line in plan_reading(found.plan))


@pytest.mark.parametrize("settings", [{}, {"protection.declare_from": "100.00", "protection.signature_from": "200.00"}])
def test_parcel_packing_and_economics_have_one_label_and_count_the_same_minutes_and_materials(tmp_path, settings):
    rules = load_rules(demo_folder() / "rules")
    item = bare_item("panel", "56x20x3in", "9 lb", fragility="moderately delicate", value="325")
    found = plan_parcel(item, on="2026-11-27", zone="5", settings=settings)
    best = found.plan.best
    answer = parcel_answer(
        rules,
        on=dt.date(2026, 11, 27),
        sides_in=best.draft.outside_in,
        weight_lb=best.gross_lb,
        zone="5",
        declared_cents=item.value_cents if settings else 0,
        signature=bool(settings),
        packaging=best.draft.packaging,
    )
    services = [one for carrier in answer["carriers"] for card in carrier["cards"] for one in card["services"]]
    assert min(one["total_cents"] for one in services if not one["refused"]) == best.label_cents
    sides = ",".join(f"{side:.6f}" for side in (*best.draft.outside_in, best.gross_lb))
    head = "item_id,title,category,bought_on,cost,sold_on,sold_price,zone,length_in,width_in,height_in,weight_lb"
    books = small_books(tmp_path, items=f"{head}\nA,panel,panels,2026-11-01,20,2026-11-27,325,5,{sides}")
    # A kind that is no longer new takes the minutes that the plan says the books count.
    practised = {"postage.rate_cards": "post, network", "minutes.practised_after": "1"}
    held = load_assumptions(overrides={**practised, **settings})
    row = item_economics(books, rules, held, dt.date(2026, 11, 27)).items.iloc[0]
    assert row["label_cents"] + row["protection_cents"] == best.label_cents
    assert (row["protection_cents"] > 0) == bool(settings)
    assert row["pack_min"] == pytest.approx(found.counted_min)
    assert row["materials_cents"] == found.counted_cents
    assert row["size_class"] == found.size_class
    counted = f"count {found.counted_min:.0f} minutes for a {found.size_class} parcel; this plan reckons with "
    assert any(counted in line for line in found.reading())


def test_packing_counts_the_minutes_that_the_last_report_learned(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def asked():
        found = CliRunner().invoke(main, ["packing", "20x14x10in", "9lb", "--on", "2026-11-27"])
        return next(line for line in found.output.splitlines() if "this plan reckons with" in line)

    size = plan_parcel(bare_item("x", "20x14x10in", "9 lb", fragility="rugged"), on="2026-11-27").size_class
    assert asked().startswith("Where no packing is logged yet, your report and 'flipkit buy' count ")
    shop = known_shop()
    shop["categories"][SHOP]["sizes"][size] = {"pack_min": 71.4}
    materials = asked().partition("Your report counts ")[2]
    shop["materials_taught"] = 0.5
    (tmp_path / "packs" / "2026-10").mkdir(parents=True)
    (tmp_path / "packs" / "2026-10" / "knowledge.json").write_text(knowledge_text(shop), encoding="utf-8")
    assert asked().startswith(f"Your last report and 'flipkit buy' count 71 minutes for a {size} parcel; ")
    before, after = (
        float(text.partition("$")[2].split()[0]) for text in (materials, asked().partition("Your report counts ")[2])
    )
    assert after == pytest.approx(before / 2, abs=0.01)
