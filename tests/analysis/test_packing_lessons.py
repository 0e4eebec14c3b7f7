"""What parcels taught: steps missed by an inch, each held to the label of the same parcel weighed again."""

from __future__ import annotations

import pytest

from flipkit import open_study
from flipkit.analysis.packing_review import COLUMNS, SIDES, lesson_totals, parcel_lessons
from flipkit.rules.parcel_advice import trim_advice
from flipkit.rules.postage import labels
from tests.helpers.small_books import write_books


@pytest.fixture(scope="module")
def study(demo_study):
    return demo_study


@pytest.fixture(scope="module")
def lessons(study):
    return parcel_lessons(study.sold_items(), study.rules, study.assumptions)


def test_each_parcel_that_can_be_weighed_again_stands_in_one_row(study, lessons):
    sold = study.sold_items().set_index("item_id")
    posted = sold[(sold["zone"] != "pickup") & (sold["zone"] != "") & (sold["measures_origin"] == "recorded")]
    assert lessons["item_id"].is_unique
    assert set(lessons["item_id"]) <= set(posted.index)
    assert len(lessons) > 0.9 * len(posted)
    assert lessons["adjustment_cents"].tolist() == posted.loc[lessons["item_id"], "label_adjustment_cents"].tolist()


def test_a_label_by_the_rules_is_the_one_that_the_economics_show(study, lessons):
    sold = study.sold_items().set_index("item_id")
    ruled = lessons[sold.loc[lessons["item_id"], "label_origin"].to_numpy() == "rule"]
    assert len(ruled) > 20
    assert ruled["rule_cents"].tolist() == sold.loc[ruled["item_id"], "label_cents"].tolist()
    assert ruled["paid_cents"].isna().all()
    assert (ruled["above_cents"] == 0).all()


def test_a_label_billed_above_the_measures_entered_is_told_to_the_cent(study):
    sold = study.sold_items()
    plain = parcel_lessons(sold, study.rules, study.assumptions).set_index("item_id")
    name = plain.index[plain["paid_cents"].notna()][0]
    dearer = sold.assign(label_cents=sold["label_cents"] + 250 * (sold["item_id"] == name))
    found = parcel_lessons(dearer, study.rules, study.assumptions).set_index("item_id")
    before = max(int(plain.loc[name, "paid_cents"]) - int(plain.loc[name, "rule_cents"]), 0)
    assert int(found.loc[name, "above_cents"]) == before + 250
    assert int(found.loc[name, "cost_cents"]) - int(plain.loc[name, "cost_cents"]) == 250
    cheaper = sold.assign(label_cents=sold["label_cents"] - 250 * (sold["item_id"] == name))
    found = parcel_lessons(cheaper, study.rules, study.assumptions)
    assert int(found.set_index("item_id").loc[name, "above_cents"]) == max(before - 250, 0)


def test_no_trim_saves_more_than_the_advice_for_one_parcel(study, lessons):
    """The fold looks at whole inches of one side; the advice for one parcel at every breakpoint within reach."""
    seen = lessons[lessons["trim_cents"] > 0].sort_values(["trim_cents", "item_id"]).iloc[::12]
    assert len(seen) >= 10
    for row in seen.to_dict("records"):
        given = {name: float(row[name]) for name in (*SIDES, "weight_lb")}
        given |= {"on": row["sold_on"].date(), "zone": row["zone"]}
        totals = []
        for name in ("post", "network"):
            card = study.rules.rate_cards[name]
            rules = study.rules.rules_of(card)
            if labels(card, rules, **given)["refused"][0] == "":
                trims = trim_advice(card, rules, reach_in=1.0, reach_lb=0.01, **given)
                totals += [trim.total_cents for trim in trims if trim.what == row["trim_side"]]
        assert min(totals) <= row["rule_cents"] - row["trim_cents"]


def test_no_cut_goes_beyond_the_reach_and_less_reach_saves_no_more(study, lessons):
    cut = lessons[lessons["trim_cents"] > 0]
    assert ((cut["trim_in"] > 0) & (cut["trim_in"] <= 1.0)).all()
    assert set(cut["trim_side"]) <= {"length", "width", "height"}
    half = parcel_lessons(study.sold_items(), study.rules, study.assumptions, reach_in=0.5)
    assert (half["trim_in"] <= 0.5).all()
    assert (half["trim_cents"].to_numpy() <= lessons["trim_cents"].to_numpy()).all()
    assert half["trim_cents"].sum() < lessons["trim_cents"].sum()


def test_a_trimmed_parcel_weighed_again_costs_what_was_said(study, lessons):
    sold = study.sold_items()
    cut = lessons[lessons["trim_cents"] > 0].set_index("item_id")
    trimmed = sold[sold["item_id"].isin(cut.index)].copy()
    for side in SIDES:
        off = cut["trim_in"].where(cut["trim_side"] == side.removesuffix("_in"), 0.0)
        trimmed[side] = trimmed[side] - off.loc[trimmed["item_id"]].to_numpy()
    again = parcel_lessons(trimmed, study.rules, study.assumptions).set_index("item_id")
    assert (again["rule_cents"] == cut["rule_cents"] - cut["trim_cents"]).all()


def test_categories_sum_to_the_parcels(lessons):
    totals = lesson_totals(lessons)
    for name in ("above_cents", "adjustment_cents", "trim_cents", "cost_cents"):
        assert int(totals[name].sum()) == int(lessons[name].sum())
    assert int(totals["parcels"].sum()) == len(lessons)
    assert totals["cost_cents"].is_monotonic_decreasing
    assert int(totals["trims"].sum()) == int((lessons["trim_cents"] > 0).sum())


def test_a_shop_without_a_sale_or_a_card_has_no_lesson(tmp_path, study):
    empty = open_study(
        write_books(tmp_path / "books", items="item_id,title,category,bought_on,cost\nA,Jug,x,2026-01-03,1")
    )
    found = parcel_lessons(empty.sold_items(), empty.rules, empty.assumptions)
    assert found.empty
    assert found.columns.tolist() == COLUMNS
    assert lesson_totals(found).empty
    assert parcel_lessons(study.sold_items(), study.rules, empty.assumptions).empty
