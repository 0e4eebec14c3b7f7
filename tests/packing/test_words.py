"""The reading of a plan, its cautions in their places, and its trials."""

from __future__ import annotations

import dataclasses

import pytest

from flipkit.assumptions import load_assumptions
from flipkit.errors import AssumptionError
from flipkit.packing.at_hand import Carton, Stock
from flipkit.packing.instructions import CAUTION, goods_caution, plan_reading
from flipkit.packing.plan import packing_plan, strength_check
from flipkit.packing.styles import PackItem
from flipkit.packing.trials import packing_trials, trials_reading
from tests.helpers.packing_stock import ASSUMED, LABELS, RULES, STOCK

JUG = PackItem("A-1", "stoneware jug", 12, 9, 9, 6, "delicate", 6500)
MACHINE = PackItem("A-4", "sewing machine", 18, 9, 13, 45, "moderately rugged", 12000, upright=True)
LAMP = PackItem("A-5", "floor lamp", 54, 10, 10, 14, "moderately rugged", 8000)


def plan_of(item, stock=STOCK, labels=LABELS, **changes):
    assumptions = load_assumptions(overrides=changes) if changes else ASSUMED
    return packing_plan(item, stock, labels=labels, rules=RULES, assumptions=assumptions)


def only(style, **parts):
    """A stock that leaves one style to choose."""
    empty = dataclasses.replace(STOCK, cartons=(), sheets=(), tubes=(), bags=(), stretch=None, flatten=False)
    return dataclasses.replace(empty, **parts)


def in_style(plan, style):
    """The plan as if its best way of one style were the best of all."""
    return dataclasses.replace(plan, best=next(one for one in [plan.best, *plan.others] if one.draft.style == style))


def plan_cautions(plan):
    return [line.removeprefix(CAUTION) for line in plan_reading(plan) if line.startswith(CAUTION)]


def test_the_reading_gives_the_figures_of_the_plan():
    plan = plan_of(JUG)
    best = plan.best
    text = "\n".join(plan_reading(plan))
    assert f"${best.total_cents // 100}.{best.total_cents % 100:02d} in all" in text
    assert f"{best.gross_lb:.1f} lb packed" in text
    layers = best.draft.padding.faces
    assert f"{layers} {'layer' if layers == 1 else 'layers'} of {best.draft.padding.cushion.name}" in text
    assert plan_reading(plan)[0].startswith(("Post it: $", "No: "))
    assert "Next best: " in text
    assert "nan" not in text


def test_knife_and_board_cautions_follow_the_cutting():
    lines = plan_reading(plan_of(LAMP, only("made", sheets=STOCK.sheets)))
    cut = next(place for place, line in enumerate(lines) if line.startswith("Cut a blank"))
    assert lines[cut + 1].startswith("Caution. Knife: ")
    down = only("cut_down", cartons=(Carton("deep", 18, 16, 30, "C", "32 ECT", 0, 1),))
    lines = plan_reading(plan_of(JUG, down))
    slit = next(place for place, line in enumerate(lines) if line.startswith("Slit its corners down"))
    assert f"from 30 to {plan_of(JUG, down).best.draft.inside_in[2]:.1f} in" in lines[slit]
    assert lines[slit + 1].startswith("Caution. Knife: ")
    as_is = only("stock", cartons=(Carton("fits", 18, 15, 15, "C", "32 ECT", 0, 1),))
    whole = in_style(plan_of(JUG, as_is), "stock")
    assert not any("Knife" in line for line in plan_reading(whole))


def test_an_old_score_across_a_blank_is_told():
    # Trays of some 40 x 18 and 39 x 17 in side by side on the body of 140 x 24 in, scored at 40, 70 and 110 in.
    flat = only("made", cartons=(Carton("long box", 40, 30, 24, "C", "32 ECT", 0, 1),), flatten=True)
    plan = plan_of(PackItem("S", "shelf", 30, 8, 2, 6, "rugged", 3000), flat)
    made = next(one for one in [plan.best, *plan.others] if one.draft.style == "telescope")
    assert [use.sheet.name for use in made.nest.uses] == ["body of long box"]
    found = plan_cautions(dataclasses.replace(plan, best=made))
    assert any("old scores of body of long box at 40 in, 70 in cross a blank" in line for line in found)
    plain = plan_of(LAMP, only("made", sheets=STOCK.sheets))
    assert not any("old scores" in line for line in plan_cautions(plain))


def test_lifting_is_cautioned_above_the_limit_only():
    lines = plan_reading(plan_of(MACHINE))
    told = [line for line in lines if line.startswith("Caution. Lifting: two people (")]
    assert len(told) == 1
    assert "recommended limit of" in told[0]
    assert not any("Lifting" in line for line in plan_reading(plan_of(JUG)))
    heavy = PackItem("H", "anvil", 10, 8, 8, 55, "rugged", 5000)
    assert any("Even two people should not lift this together" in line for line in plan_reading(plan_of(heavy)))


@pytest.mark.parametrize(
    ("title", "words"),
    [
        ("cordless drill", "batteries"),
        ("lot of perfume bottles", "perfume"),
        ("camping stove", "aerosols and gas"),
        ("banjo barometer", "mercury"),
        ("kitchen knives, set of 6", "weapons and blades"),
        ("baby crib", "child-safety"),
        ("tin of tea", "food"),
    ],
)
def test_restricted_goods_by_the_title(title, words):
    found = goods_caution(dataclasses.replace(JUG, title=title))
    assert "the title suggests" in found
    assert words in found
    assert "Check the carrier's and the authority's rules" in found


@pytest.mark.parametrize(
    "title", ["steamer trunk", "stoneware jug", "further reading", "toyshop sign in enamel, further"]
)
def test_other_titles_get_the_general_word(title):
    assert goods_caution(dataclasses.replace(JUG, title=title)).startswith("Restricted goods: if it holds batteries")


def test_every_carton_is_an_estimate_not_a_certificate():
    assert any("not a certificate" in line for line in plan_cautions(plan_of(JUG)))
    unread = only("stock", cartons=(Carton("old", 18, 15, 15, "C", "", 0, 1, used=True),))
    found = plan_cautions(plan_of(JUG, unread))
    assert any("no grade can be read" in line for line in found)
    assert any("has travelled before" in line for line in found)


def test_united_inches_above_the_rule_are_told_not_refused():
    wide = only("stock", cartons=(Carton("wide", 60, 14, 14, "C", "32 ECT", 0, 1),))
    found = plan_cautions(plan_of(LAMP, wide))
    assert any("united in are more than the 75 in" in line for line in found)


def test_packaging_surcharges_are_told_for_outsides_that_are_no_carton():
    rods = PackItem("R", "curtain rods", 40, 2, 2, 4, "soft", 2000)
    tube = plan_of(rods, only("tube", tubes=STOCK.tubes))
    assert any("extra handling for this outside (a cylinder)" in line for line in plan_cautions(tube))
    film = plan_of(rods, only("film", stretch=STOCK.stretch))
    assert any("covered in shrink or stretch wrap" in line for line in plan_cautions(film))
    assert not any(
        "extra handling" in line for line in plan_cautions(plan_of(JUG, only("stock", cartons=STOCK.cartons)))
    )


def test_nothing_possible_says_why():
    lines = plan_reading(plan_of(JUG, Stock()))
    assert lines[0].startswith("No: nothing you have packs it")
    assert "licensed freight carrier" in lines[0]
    assert any("no carton in stock" in line for line in lines)


@pytest.mark.worked
def test_strength_against_the_stack():
    box = only("stock", cartons=(Carton("box", 18, 15, 15, "C", "32 ECT", 0, 1),))
    plan = in_style(plan_of(JUG, box), "stock")
    check = strength_check(plan.best, rules=RULES, assumptions=ASSUMED)
    # 5.87 x 32 x sqrt(.16 x 66) = 610.4; x .63 x .68 = 261.5; 15.64 in high: 6 in 96, so 5 above
    assert check.compression_lb == pytest.approx(610.4, abs=0.05)
    assert check.left_after_losses_lb == pytest.approx(261.5, abs=0.05)
    assert check.stack_above_lb == pytest.approx(5 * plan.best.gross_lb)
    assert check.bears_the_stack
    assert check.out_of_scope == ()
    shallow = only("stock", cartons=(Carton("tray", 40, 30, 7, "C", "32 ECT", 0, 1),))
    flat = in_style(plan_of(PackItem("F", "sign", 30, 20, 1, 5, "delicate", 0), shallow), "stock")
    check = strength_check(flat.best, rules=RULES, assumptions=ASSUMED)
    assert check.bears_the_stack is None
    assert "less than a seventh" in check.out_of_scope[0]


# --- trials


def test_another_cushion_another_wage():
    plan = plan_of(JUG)
    trials = packing_trials(plan, STOCK, labels=LABELS, wages={"helper at 30.00": "30.00"})
    names = [trial.what for trial in trials]
    assert names == [
        "only bubble wrap",
        "only foam plates",
        "the helper packs",
        "helper at 30.00",
        "rough handling",
    ]
    by_name = {trial.what: trial for trial in trials}
    # Each trial is the plan of that condition, asked for on its own.
    foam = dataclasses.replace(STOCK, cushions=STOCK.cushions[1:])
    assert by_name["only foam plates"].total_cents == plan_of(JUG, foam).best.total_cents
    assert by_name["only foam plates"].change_cents >= 0
    assert by_name["rough handling"].change_cents > 0
    words = trials_reading(trials)
    assert len(words) == len(trials)
    assert words[0].startswith("Only bubble wrap: ")
    assert trials[1].as_dict()["change_cents"] == by_name["only foam plates"].change_cents


def test_a_dearer_helper_moves_a_parcel_that_takes_two_or_is_packed_by_one():
    by_owner = plan_of(MACHINE)
    trials = {trial.what: trial for trial in packing_trials(by_owner, STOCK, labels=LABELS)}
    assert trials["helper at $12.00 an hour"].change_cents < 0 < trials["helper at $24.00 an hour"].change_cents
    # A dear packer makes the plan give up work: never more minutes than a cheap one takes.
    cheap = plan_of(JUG, **{"packing.packer": "helper", "help.wage": "1.00"})
    dear = plan_of(JUG, **{"packing.packer": "helper", "help.wage": "200.00"})
    assert dear.best.helper_min < cheap.best.helper_min
    assert dear.best.draft.style != cheap.best.draft.style


def test_nothing_prints(capsys):
    plan = plan_of(LAMP)
    plan_reading(plan)
    plan.as_dict()
    packing_trials(plan, STOCK, labels=LABELS)
    assert capsys.readouterr() == ("", "")


# --- assumptions


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("packing.lid", 3, "packing.lid must be an assumption that the kit knows"),
        ("packing.lid_in", "deep", "packing.lid_in must be a number, got 'deep'"),
        ("packing.lid_in", 0, "packing.lid_in must be above 0, got 0"),
        ("packing.packer", "robot", "packing.packer must be one of owner, helper, got 'robot'"),
        ("packing.damage.delicate", "many", "packing.damage.delicate must be a rate"),
        ("packing.minutes.stock", "soon", "packing.minutes.stock must be a measure"),
        ("packing.snug_in", -1, "packing.snug_in must be at least 0, got -1"),
    ],
)
def test_assumptions_out_of_bounds_are_refused_in_words(key, value, words):
    with pytest.raises(AssumptionError) as caught:
        load_assumptions(overrides={key: value})
    assert words in str(caught.value)


def test_assumptions_keep_their_provenance():
    base = load_assumptions(overrides={"packing.lid_in": 4})
    again = base.changed({"help.wage": "18.00"})
    assert again.number("packing.lid_in") == 4
    assert again.entries["packing.lid_in"].layer == "this run"
    assert again.entries["packing.closure"].layer == "packaged"
    assert again.cents("help.wage") == 1800
