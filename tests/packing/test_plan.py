"""What a packing plan answers, refuses and adds up."""

from __future__ import annotations

import dataclasses
import itertools
import json
from pathlib import Path

import numpy as np
import pytest

from flipkit.assumptions import load_assumptions
from flipkit.errors import MeasureError
from flipkit.packing.at_hand import Carton, Cushion, Sheet, Stock
from flipkit.packing.plan import cheapest_labels, packing_plan, rate_card_labels, strength_check
from flipkit.packing.styles import STYLES, PackItem, way_of
from flipkit.rules.postage import labels as postage_labels
from flipkit.rules.tables import load_rules
from flipkit.units import Measures
from tests.helpers.packing_stock import ASSUMED, DAY, LABELS, RULES, STOCK

JUG = PackItem("A-1", "stoneware jug", 12, 9, 9, 6, "delicate", 6500)
PRINT = PackItem("A-2", "framed print", 26, 20, 1.5, 6, "delicate", 9000)
BLANKET = PackItem("A-3", "wool blanket", 15, 11, 3, 3, "soft", 4000)
MACHINE = PackItem("A-4", "sewing machine", 18, 9, 13, 45, "moderately rugged", 12000, upright=True)
LAMP = PackItem("A-5", "floor lamp", 54, 10, 10, 14, "moderately rugged", 8000)


def plan_of(item, stock=STOCK, labels=LABELS, **changes):
    assumptions = load_assumptions(overrides=changes) if changes else ASSUMED
    return packing_plan(item, stock, labels=labels, rules=RULES, assumptions=assumptions)


def reasons(plan, style):
    return [refusal.reason for refusal in plan.refusals if refusal.style == style]


# --- what is minimised


def test_a_larger_free_carton_loses_to_a_cut_down_one_where_space_is_billed():
    large = Carton("large and free", 24, 18, 18, "C", "32 ECT", 0, 1)
    alone = dataclasses.replace(STOCK, cartons=(large,), sheets=(), tubes=(), bags=(), stretch=None, flatten=False)
    plan = plan_of(JUG, alone)
    assert plan.best.draft.style == "cut_down"
    whole = next(other for other in plan.others if other.draft.style == "stock")
    assert whole.container_cents == plan.best.container_cents == 0
    assert whole.label_cents > plan.best.label_cents
    assert plan.best.owner_min > whole.owner_min
    # With a flat price for labels the work of cutting is for nothing.
    flat = plan_of(JUG, alone, labels=_flat_labels())
    assert flat.best.draft.style == "stock"


def _flat_labels():
    from tests.helpers.packing_stock import simple_labels

    return simple_labels(lambda *_: 1000)


@pytest.mark.parametrize("item", [JUG, PRINT, BLANKET, MACHINE, LAMP], ids=lambda item: item.title)
def test_costs_add_up_and_come_cheapest_first(item):
    plan = plan_of(item)
    found = [plan.best, *plan.others]
    assert [one.total_cents for one in found] == sorted(one.total_cents for one in found)
    for one in found:
        parts = (one.container_cents, one.materials_cents, one.owner_cents, one.helper_cents, one.label_cents)
        assert one.total_cents == sum(parts) + one.damage_cents
        assert one.materials_cents == sum(line.cents for line in one.materials)
        assert min(*parts, one.damage_cents) >= 0
        assert one.nest is None or one.edge_sheet or one.container_cents == one.nest.cost_cents
        assert one.edge_sheet is False or one.container_cents > one.nest.cost_cents
        needs = [one.draft.padding.needs_in[axis] for axis in one.draft.turn]
        if one.draft.style not in ("tube", "bag", "wrapped"):
            assert all(need <= room + 1e-6 for need, room in zip(needs, one.draft.inside_in, strict=True))
            assert all(i < o for i, o in zip(one.draft.inside_in, one.draft.outside_in, strict=True))
    assert len({(one.draft.style, one.draft.what) for one in found}) == len(found)


@pytest.mark.worked
def test_minutes_of_both_count_above_the_limit():
    one, two = plan_of(MACHINE), plan_of(dataclasses.replace(MACHINE, weight_lb=20))
    assert (one.best.hands.people, two.best.hands.people) == (2, 1)
    # handling is 2 min a person: the helper's two are there with two people, and not with one
    assert (one.best.helper_min, two.best.helper_min) == (2.0, 0.0)
    # 2 / 60 x (16.00 + 7.65 %, that is 17.22) = .574
    assert one.best.helper_cents == 57
    helper = plan_of(MACHINE, **{"packing.packer": "helper"})
    assert helper.best.owner_min == 2.0
    assert helper.best.helper_min > helper.best.owner_min


@pytest.mark.worked
def test_expected_damage_is_chance_times_value():
    # Foam of 2 in in a carton: 2 / 3 + .16 / 5 = .6987, a fall of 30 in gives 42.94 g; (42.94 / 40) ^ 2 = 1.1523;
    # .025 x 1.1523 / (.975 + .025 x 1.1523) = .028697, with .001 lost .029668; of 65.00 that is 1.928, 1.93
    foam = STOCK.cushions[1]
    two = way_of(JUG, foam, 2, 2, rules=RULES, assumptions=ASSUMED)
    one = packing_plan(JUG, STOCK, labels=LABELS, rules=RULES, assumptions=ASSUMED, ways=[two]).best
    assert one.draft.style in ("stock", "cut_down", "slotted", "slotted_two", "five_panel")
    # Nothing rounded on the way: (42.9389 / 40) ^ 2 = 1.15234, .0286993 and with what is lost .0296706.
    assert (one.damage_cents, one.chance) == (193, 0.029671)
    assert plan_of(dataclasses.replace(JUG, value_cents=0)).best.damage_cents == 0


def test_pick_up_needs_no_label_and_no_carton():
    plan = plan_of(dataclasses.replace(LAMP, pickup=True))
    assert plan.best.draft.style == "pickup"
    assert (plan.best.label_cents, plan.best.container_cents, plan.best.materials_cents) == (0, 0, 0)
    assert reasons(plan_of(LAMP), "pickup") == ["the buyer does not come"]


def test_upright_stays_upright():
    plan = plan_of(MACHINE)
    for one in [plan.best, *plan.others]:
        assert one.draft.turn[2] == 2
    assert set(reasons(plan, "tube")) == {"the item must stay upright"}


def test_every_style_is_answered_for():
    for item in (JUG, PRINT, BLANKET, MACHINE, LAMP):
        plan = plan_of(item)
        told = {one.draft.style for one in [plan.best, *plan.others]} | {one.style for one in plan.refusals}
        assert told == set(STYLES)
    bare = plan_of(JUG, Stock())
    assert bare.best is None
    assert {one.style for one in bare.refusals} == set(STYLES)
    assert reasons(bare, "slotted") == ["no sheet in stock, and no carton to cut up"]


# --- reasons


def test_reasons_name_the_nearest_miss():
    plan = plan_of(LAMP)
    found = {refusal.what: refusal.reason for refusal in plan.refusals if refusal.style == "stock"}
    assert set(found) == {carton.name for carton in STOCK.cartons}
    assert found["48 x 12 x 12"].startswith("needs ")
    assert found["48 x 12 x 12"].endswith("has 48.0 x 12.0 x 12.0 in")


def test_reasons_of_weight_strength_stock_and_label():
    heavy = PackItem("H", "anvil", 8, 6, 6, 70, "rugged", 5000)
    assert any(
        "the carton rule allows 65 lb for single wall, 32 ECT" in why for why in reasons(plan_of(heavy), "stock")
    )
    guide = plan_of(dataclasses.replace(heavy, weight_lb=28), **{"packing.strength": "carriers' working guide"})
    assert any("the carriers' working guide allows 30 lb" in why for why in reasons(guide, "stock"))
    no_fill = dataclasses.replace(STOCK, fill=None)
    assert any("would rattle" in why for why in reasons(plan_of(JUG, no_fill), "stock"))
    little = dataclasses.replace(STOCK, cushions=(Cushion("bubble wrap", "bubble wrap", 0.5, "wrap", 14.0, 12.0),))
    assert plan_of(JUG, little).best.draft.padding.area_sqft <= 12
    assert plan_of(JUG, little).best.chance > plan_of(JUG).best.chance
    far = plan_of(PackItem("L", "ladder", 107, 12, 4, 20, "rugged", 5000))
    assert any(one.reason == "label refused: over the maximum" for one in far.refusals)
    small = dataclasses.replace(STOCK, cartons=(), sheets=(Sheet("offcut", 20, 10, "C", "32 ECT", 0, 1),))
    assert reasons(plan_of(JUG, small), "slotted")[0].startswith("no sheet at hand takes a blank of ")
    out = dataclasses.replace(STOCK, cartons=(dataclasses.replace(STOCK.cartons[0], quantity=0),))
    assert reasons(plan_of(JUG, out), "stock") == ["none left"]
    assert all("in thick, a bag takes up to 4 in" in why for why in reasons(plan_of(JUG), "bag"))
    refuse = plan_of(LAMP, **{"packing.over_united": "refuse"})
    assert any("united in, the carton rule allows 75" in one.reason for one in refuse.refusals)


@pytest.mark.worked
@pytest.mark.parametrize(("weight", "takes"), [(4.84, True), (4.85, True), (4.851, False)])
def test_exactly_the_maximum_weight_is_taken(weight, takes):
    # A bag of .15 lb that takes 5: 4.85 lb of wool, and a thousandth more is too much.
    bags = dataclasses.replace(STOCK, cartons=(), sheets=(), tubes=(), bags=(STOCK.bags[1],))
    plan = plan_of(PackItem("S", "scarf", 10, 8, 1, weight, "soft", 3000), bags)
    assert (plan.best.draft.style == "bag") is takes
    assert reasons(plan, "bag") == ([] if takes else ["just over 5 lb packed, it takes 5 lb"])


@pytest.mark.worked
@pytest.mark.parametrize(("more", "takes"), [(0.0, True), (0.001, False)])
def test_exactly_what_the_carton_rule_allows_is_taken(more, takes):
    # The rule allows 65 lb gross in board of 32 lb edge crush; padding and fill of a rugged thing do not know its
    # weight, so what they and the carton weigh at 60 lb they weigh at 65.
    cartons = dataclasses.replace(STOCK, sheets=(), tubes=(), bags=(), stretch=None, flatten=False)
    cartons = dataclasses.replace(cartons, cartons=(Carton("box", 14, 12, 12, "C", "32 ECT", 0, 1),))
    held = PackItem("V", "vise", 10, 8, 8, 60, "soft", 3000)
    (one,) = [one for one in stocked(plan_of(held, cartons)) if one.draft.padding.faces == 0][:1]
    full = dataclasses.replace(held, weight_lb=60 + 65 - one.gross_lb + more)
    plan = plan_of(full, cartons)
    assert bool(stocked(plan)) is takes
    assert reasons(plan, "stock") == (
        [] if takes else ["just over 65 lb packed, the carton rule allows 65 lb for single wall, 32 ECT"]
    )


def stocked(plan):
    return [one for one in (plan.best, *plan.others) if one is not None and one.draft.style == "stock"]


def test_bad_items_are_refused_in_words():
    with pytest.raises(MeasureError, match=r"height_in must be a finite number above 0, got -3 \(item A-1\)"):
        plan_of(dataclasses.replace(JUG, height_in=-3))
    with pytest.raises(MeasureError, match="fragility must be one of extremely fragile"):
        plan_of(dataclasses.replace(JUG, fragility="tough"))
    with pytest.raises(MeasureError, match="value_cents must be at least 0"):
        plan_of(dataclasses.replace(JUG, value_cents=-1))
    with pytest.raises(MeasureError, match=r"^notch_in must be three sides above 0"):
        plan_of(dataclasses.replace(JUG, notch_in=(1, 0, 1)))


# --- any size


@pytest.mark.parametrize("fragility", ["very delicate", "rugged", "soft"])
def test_anything_from_1_to_108_in_gets_an_answer_or_reasons(fragility):
    answered = 0
    for sides in itertools.combinations_with_replacement((1.0, 6.0, 20.5, 54.0, 108.0), 3):
        item = PackItem(
            "X", "thing", *sides, weight_lb=max(0.2, np.prod(sides) / 400), fragility=fragility, value_cents=3000
        )
        plan = plan_of(item)
        assert plan.best is not None or plan.refusals
        told = {one.draft.style for one in [plan.best, *plan.others] if one} | {one.style for one in plan.refusals}
        assert told == set(STYLES)
        assert all(refusal.reason for refusal in plan.refusals)
        answered += plan.best is not None
    assert 8 <= answered < 35


# --- as values


def test_as_dict_is_json_with_units_in_its_keys():
    values = plan_of(LAMP).as_dict()
    back = json.loads(json.dumps(values, allow_nan=False))
    assert back == values
    best = values["best"]
    parts = ("container", "materials", "owner", "helper", "label", "expected_damage")
    assert best["total_cents"] == sum(best[f"{part}_cents"] for part in parts)
    made = plan_of(LAMP, dataclasses.replace(STOCK, cartons=(), stretch=None)).as_dict()["best"]
    assert made["cut_list"]["sheets"]
    units = ("_in", "_lb", "_cents", "_min", "_sqft", "_in2", "_share")
    for key, value in best.items():
        numeric = isinstance(value, float) or (isinstance(value, int) and not isinstance(value, bool))
        assert not numeric or key.endswith(units) or key in ("people", "lifting_index"), key


@pytest.mark.worked
def test_materials_are_named_measured_and_paid():
    foam = STOCK.cushions[1]
    two = way_of(JUG, foam, 2, 2, rules=RULES, assumptions=ASSUMED)
    one = packing_plan(JUG, STOCK, labels=LABELS, rules=RULES, assumptions=ASSUMED, ways=[two]).best
    lines = {line.what: (line.unit, line.quantity, line.cents) for line in one.materials}
    tape_m = sum(one.draft.strips_in) * 0.0254
    # 55 cents a square foot, 5 a meter of tape, 60 a cubic foot of paper, half a cent up.
    assert lines["foam plates"] == ("sq ft", two.area_sqft, int(two.area_sqft * 55 + 0.5))
    assert lines["tape"] == ("m", pytest.approx(tape_m), int(tape_m * 5 + 0.5))
    filled = one.draft.fill_cuft
    assert lines.get("crumpled paper", ("cu ft", 0, 0)) == ("cu ft", pytest.approx(filled), int(filled * 60 + 0.5))
    assert lines["tape"][2] > 0


@pytest.mark.worked
def test_paper_that_does_not_fill_the_hollows_is_said():
    box = dataclasses.replace(
        STOCK, cartons=(STOCK.cartons[13],), sheets=(), tubes=(), bags=(), stretch=None, flatten=False
    )
    needs = packing_plan(JUG, box, labels=LABELS, rules=RULES, assumptions=ASSUMED)
    boxed = next(one.draft for one in [needs.best, *needs.others] if one.draft.style == "stock")
    wanted = boxed.fill_cuft
    for left, enough in ((wanted + 0.01, True), (wanted - 0.01, False), (0.01, False)):
        some = dataclasses.replace(box, fill=dataclasses.replace(STOCK.fill, volume_cuft=left))
        found = packing_plan(JUG, some, labels=LABELS, rules=RULES, assumptions=ASSUMED, ways=[boxed.padding])
        taken = [one for one in [found.best, *found.others] if one is not None and one.draft.style == "stock"]
        assert bool(taken) is enough
        assert any("of crumpled paper" in why for why in reasons(found, "stock")) is not enough


def test_no_rate_card_at_all_is_named():
    with pytest.raises(MeasureError, match=r"^cards must be at least one rate card, got 'none'"):
        cheapest_labels({})


KEYS = {
    "": "item best strength others not_possible rules assumed",
    "item": "item_id title length_in width_in height_in weight_lb fragility value_cents upright notch_in",
    "best": "style style_name code what total_cents container_cents materials_cents owner_cents helper_cents "
    "label_cents expected_damage_cents inside_in outside_in united_in gross_lb billable_lb service packaging "
    "item_lies_in owner_min helper_min people lifting_limit_lb lifting_index people_enough damage_share padding "
    "materials cut_list",
    "padding": "cushion layers edge_layers pad_in falls_in area_sqft",
    "material": "what quantity unit cost_cents",
    "strength": "grade gross_limit_lb united_limit_in over_united burst_wanted_psi burst_enough compression_lb "
    "out_of_scope left_after_losses_lb stack_above_lb bears_the_stack",
    "cut_list": "cutting sheets_cents sheet_in2 waste_in2 waste_share sheets",
    "sheet": "sheet length_in width_in old_scores_in offcut_in blanks cuts_in",
    "blank": "blank x_in y_in length_in width_in turned",
    "not_possible": "style style_name what reason",
    "rules": "own_files lifting cartons board cushions",
    "rule": "dates sources seen",
    "assumption": "value unit layer",
}


def test_values_are_the_plans_own_under_names_that_others_read():
    """Whoever reads the JSON of a plan relies on each name and on what stands under it."""
    made = dataclasses.replace(STOCK, cartons=(), tubes=(), bags=(), stretch=None)
    plan = plan_of(JUG, made)
    told, one = plan.as_dict(), plan.best
    best, nest = told["best"], one.nest
    sheet, use = best["cut_list"]["sheets"][0], nest.uses[0]
    blank, place = sheet["blanks"][0], use.placements[0]
    parts = {"": told, "item": told["item"], "best": best, "padding": best["padding"], "strength": told["strength"]}
    parts |= {"material": best["materials"][0], "cut_list": best["cut_list"], "sheet": sheet, "blank": blank}
    parts |= {"not_possible": told["not_possible"][0], "rules": told["rules"], "rule": told["rules"]["board"]}
    parts |= {"assumption": told["assumed"]["hour.target"]}
    assert {name: set(part) for name, part in parts.items()} == {name: set(keys.split()) for name, keys in KEYS.items()}
    assert [told["item"][name] for name in ("item_id", "length_in", "value_cents", "notch_in")] == [
        "A-1",
        12,
        6500,
        None,
    ]
    for key in ("total", "container", "materials", "owner", "helper", "label"):
        assert best[f"{key}_cents"] == getattr(one, f"{key}_cents")
    assert (best["style"], best["style_name"], best["what"]) == (
        one.draft.style,
        STYLES[one.draft.style],
        one.draft.what,
    )
    assert (best["code"], best["service"], best["packaging"]) == (
        one.draft.blanks[0].code,
        one.service,
        one.draft.packaging,
    )
    assert (best["damage_share"], best["people"], best["people_enough"]) == (one.chance, 1, True)
    for key in ("inside_in", "outside_in"):
        assert best[key] == pytest.approx(getattr(one.draft, key), abs=5e-4)
    assert best["united_in"] == pytest.approx(sum(one.draft.outside_in), abs=5e-4)
    assert sorted(best["item_lies_in"]) == [9, 9, 12]
    way = one.draft.padding
    assert best["padding"]["cushion"] == way.cushion.name
    assert (best["padding"]["layers"], best["padding"]["edge_layers"]) == (way.faces, way.edges)
    assert best["materials"] == [
        {"what": m.what, "quantity": round(m.quantity, 3), "unit": m.unit, "cost_cents": m.cents} for m in one.materials
    ]
    assert (sheet["sheet"], sheet["length_in"], sheet["width_in"]) == (
        use.sheet.name,
        use.sheet.length_in,
        use.sheet.width_in,
    )
    assert blank["blank"] in {part.name for part in one.draft.blanks}
    assert [blank[key] for key in ("x_in", "y_in", "length_in", "width_in", "turned")] == [
        place.x_in, place.y_in, place.length_in, place.width_in, place.turned,
    ]  # fmt: skip
    assert best["cut_list"]["sheets_cents"] == nest.cost_cents
    assert best["cut_list"]["waste_share"] == pytest.approx(nest.waste_share, abs=5e-4)
    assert told["not_possible"][0] == {
        "style": plan.refusals[0].style, "style_name": STYLES[plan.refusals[0].style],
        "what": plan.refusals[0].what, "reason": plan.refusals[0].reason,
    }  # fmt: skip
    assert {key.partition(".")[0] for key in told["assumed"]} == {"packing", "hour", "help"}
    assert told["rules"]["board"]["seen"] == RULES.board.seen
    json.dumps(told, allow_nan=False)
    notched = plan_of(dataclasses.replace(JUG, notch_in=(4, 4, 4))).as_dict()["item"]["notch_in"]
    assert notched == [4, 4, 4]


@pytest.mark.worked
def test_a_stack_is_as_many_of_its_own_kind_as_the_height_holds():
    made = dataclasses.replace(STOCK, cartons=(), tubes=(), bags=(), stretch=None)
    one = plan_of(JUG, made).best
    high = one.draft.outside_in[2]
    for stack, above in ((3 * high, 2), (3 * high - 0.01, 1), (high, 0), (high / 2, 0)):
        check = strength_check(one, rules=RULES, assumptions=load_assumptions(overrides={"packing.stack_in": stack}))
        assert check.stack_above_lb == pytest.approx(above * one.gross_lb)
        assert (check.grade, check.gross_limit_lb, check.united_limit_in) == (one.draft.grade.text, 65, 75)
        assert check.bears_the_stack is (True if not check.out_of_scope else None)
    # Board of no thickness has no compression to speak of.
    none = strength_check(
        dataclasses.replace(one, draft=dataclasses.replace(one.draft, caliper_in=0.0)), rules=RULES, assumptions=ASSUMED
    )
    assert (none.grade, none.out_of_scope, none.bears_the_stack) == (one.draft.grade.text, (), None)
    # Board that bursts at just what its load asks for is strong enough.
    for away, enough in ((0, True), (-1, False)):
        grade = dataclasses.replace(one.draft.grade, burst=none.burst_wanted_psi + away)
        bursts = dataclasses.replace(one, draft=dataclasses.replace(one.draft, grade=grade))
        assert strength_check(bursts, rules=RULES, assumptions=ASSUMED).burst_enough is enough
    # A bag has no strength to speak of.
    bags = dataclasses.replace(STOCK, cartons=(), sheets=(), tubes=(), bags=(STOCK.bags[1],))
    told = plan_of(PackItem("S", "scarf", 10, 8, 1, 2, "soft", 3000), bags).as_dict()
    assert told["best"]["cut_list"] is None
    unknown = ("gross_limit_lb", "united_limit_in", "compression_lb", "left_after_losses_lb", "bears_the_stack")
    assert [told["strength"][key] for key in unknown] == [None] * 5
    assert (told["strength"]["grade"], told["strength"]["over_united"], told["strength"]["burst_enough"]) == (
        "",
        False,
        False,
    )


@pytest.mark.worked
def test_edge_protectors_that_the_faces_leave_no_board_for_take_a_further_sheet():
    glass = PackItem("P", "print", 30, 24, 2, 8, "very delicate", 20000)
    bare = dataclasses.replace(STOCK, cartons=(), tubes=(), bags=(), stretch=None, flatten=False)
    found = {}
    for quantity in (1, 2):
        sheets = (Sheet("board", 72, 30, "C", "32 ECT", 100, quantity),)
        plan = plan_of(glass, dataclasses.replace(bare, sheets=sheets))
        found[quantity] = [one for one in (plan.best, *plan.others) if one.draft.style == "sandwich"]
    # Both faces lie on one sheet; of what they leave no edges can be cut, so that a single sheet is one too few.
    assert found[1] == []
    (one,) = found[2]
    assert (len(one.nest.uses), one.edge_sheet, one.container_cents) == (1, True, 200)
    assert one.nest.waste_in2 < 1.25 * one.draft.edge_in2 <= 72 * 30


def test_the_same_question_has_the_same_answer():
    one, two = plan_of(JUG).as_dict(), plan_of(JUG).as_dict()
    assert json.dumps(one) == json.dumps(two)


# --- labels by a rate card


@pytest.fixture(scope="module")
def demo():
    return load_rules(Path(__file__).resolve().parents[2] / "data_demo" / "rules")


@pytest.mark.parametrize("card_name", ["post", "network"])
def test_labels_are_those_of_the_rate_card(demo, card_name):
    card = demo.rate_cards[card_name]
    parcel = demo.rules_of(card)
    labels = rate_card_labels(card, parcel, on=DAY, zone=5, declared_cents=20000, signature=True)
    plan = plan_of(JUG, labels=labels)
    for one in [plan.best, *plan.others]:
        expected = postage_labels(
            card,
            parcel,
            on=DAY,
            zone=5,
            length_in=one.draft.outside_in[0],
            width_in=one.draft.outside_in[1],
            height_in=one.draft.outside_in[2],
            weight_lb=one.gross_lb,
            declared_cents=20000,
            signature=True,
            packaging=one.draft.packaging,
            nonrectangular=one.draft.nonrectangular,
        ).iloc[0]
        assert one.label_cents == expected["total_cents"]
        assert one.billable_lb == expected["billable_lb"]
        assert one.service == expected["service"]


def test_the_networks_packaging_surcharge_reaches_tubes_and_film(demo):
    card = demo.rate_cards["network"]
    labels = rate_card_labels(card, demo.rules_of(card), on=DAY, zone=5)
    sides, weight = np.array([30.0, 30.0]), np.array([4.0, 4.0])
    narrow = np.array([6.0, 6.0])
    for outside in ("cylinder", "shrink wrap"):
        found = labels(sides, narrow, narrow, weight, ["box", outside], [False, False])
        assert found.cents[1] > found.cents[0], outside


@pytest.mark.worked
def test_what_is_no_box_is_measured_as_none(demo):
    # 20 in a side: 8,000 / 139 = 57.6 -> 58 lb; of what is no box .785 of it, 6,280 / 139 = 45.2 -> 46 lb.
    card, side = demo.rate_cards["post"], np.array([20.0, 20.0])
    labels = rate_card_labels(card, demo.rules_of(card), on=DAY, zone=5)
    found = labels(side, side, side, np.array([5.0, 5.0]), ["box", "box"], np.array([False, True]))
    assert found.billable_lb.tolist() == [58, 46]
    assert found.cents[1] < found.cents[0]


@pytest.mark.worked
def test_reasons_of_a_shop_in_centimeters_are_in_centimeters():
    # 75 in of length and width and depth together are 190.5 cm.
    metric = dataclasses.replace(
        load_assumptions(overrides={"packing.over_united": "refuse"}), measures=Measures("cm", "kg")
    )
    plan = packing_plan(LAMP, STOCK, labels=LABELS, rules=RULES, assumptions=metric)
    allowed = "the carton rule allows 190.5 cm for single wall, 32 ECT"
    assert any(allowed in one.reason for one in plan.refusals)


def test_a_carton_from_the_shelf_has_its_code_and_what_has_no_pieces_has_none():
    codes = {}
    scarf = PackItem("S", "scarf", 10, 8, 1, 2, "soft", 3000)
    for item in (JUG, scarf, dataclasses.replace(LAMP, pickup=True)):
        plan = plan_of(item).as_dict()
        codes |= {one["style"]: one["code"] for one in (plan["best"], *plan["others"])}
    assert (codes["stock"], codes["bag"], codes["pickup"]) == ("0201", "", "")


@pytest.mark.worked
def test_film_is_paid_by_the_square_foot_and_the_service_is_the_labels():
    def labels(*given):
        found = _flat_labels()(*given)
        return dataclasses.replace(found, service=np.full(found.cents.size, "ground ", dtype=object))

    plan = plan_of(BLANKET, labels=labels)
    posted = [one for one in (plan.best, *plan.others) if one.draft.style != "pickup"]
    assert {one.service for one in posted} == {"ground"}
    wrapped = next(one for one in posted if one.draft.film_sqft > 0)
    film = next(line for line in wrapped.materials if line.what == "stretch film")
    # A cent and a half a square foot.
    assert (film.unit, film.quantity) == ("sq ft", wrapped.draft.film_sqft)
    assert film.cents == int(wrapped.draft.film_sqft * 1.5 + 0.5)


def test_what_has_play_and_nothing_to_fill_it_would_rattle():
    bare = dataclasses.replace(
        STOCK, cartons=(STOCK.cartons[13],), sheets=(), tubes=(), bags=(), stretch=None, fill=None, flatten=False
    )
    told = reasons(plan_of(JUG, bare), "stock")
    assert len(told) == 1
    assert told[0].startswith("would rattle: ")
    assert told[0].endswith(" in of play and no void fill in stock")
    # Play that is called snug is no rattling.
    assert reasons(plan_of(JUG, bare, **{"packing.snug_in": 30}), "stock") == []


def test_what_the_stock_has_nothing_for_is_said_with_what_lacks():
    bare = dataclasses.replace(STOCK, cartons=(), tubes=(), bags=(), stretch=None)
    lone = dataclasses.replace(bare, cartons=(Carton("lone", 24, 18, 18, "C", "32 ECT", 0, 1),))
    none = plan_of(JUG, bare)
    for style in ("stock", "cut_down", "joined"):
        assert reasons(none, style) == ["no carton in stock"]
    assert reasons(none, "tube") == ["no tube in stock"]
    assert {(refusal.short, refusal.what) for refusal in none.refusals if refusal.style == "tube"} == {(0.0, "none")}
    assert reasons(plan_of(JUG, lone), "joined") == ["no two cartons with like openings in stock"]
    with pytest.raises(MeasureError, match=r"at least 0.*item A-1"):
        plan_of(dataclasses.replace(JUG, value_cents=-1))
