"""The page of waiting: what the demo shop's groups say, and what small or sold-out books may not."""

from __future__ import annotations

import pytest

from flipkit.analysis.survival import LATER, SELECTION, SOONER, days_to_sale, log_rank
from flipkit.errors import AssumptionError
from flipkit.reports.study import open_study
from flipkit.reports.waiting import waiting_page

HEAD = "item_id,title,category,bought_on,cost,listed_on,list_price,sold_on,sold_price\n"


@pytest.fixture(scope="module")
def demo(demo_study):
    return demo_study


def study_of(folder, rows):
    folder.mkdir(exist_ok=True)
    lines = [f"{k},thing {k},{kind},2026-01-02,5.00,2026-01-05,20.00,{sold}" for k, (kind, sold) in enumerate(rows)]
    (folder / "items.csv").write_text(HEAD + "\n".join(lines) + "\n", encoding="utf-8")
    return open_study(folder, as_of="2026-04-30")


def test_every_listed_thing_is_counted_once(demo):
    found = waiting_page(demo)
    listed = demo.items["days_listed"].notna()
    assert found.table["listed"].sum() == listed.sum() == len(found.groups)
    assert found.table["sold"].sum() == (listed & demo.items["sold_on"].notna()).sum()
    assert (found.table[["sold", "still", "given_up"]].sum(axis=1) == found.table["listed"]).all()


@pytest.mark.parametrize("by", ["category", "size", "source", "condition"])
def test_every_grouping_keeps_every_thing(demo, by):
    found = waiting_page(demo, by)
    assert len(found.groups) == demo.items["days_listed"].notna().sum()
    assert found.sentence().endswith(".")


def test_the_figures_are_those_of_the_analysis(demo):
    found = waiting_page(demo)
    own = found.groups[found.groups["group"] == "typewriters"]
    row = found.table.set_index("group").loc["typewriters"]
    assert row["half_days"] == days_to_sale(own["days"], own["sold"], trip=own["trip"]).days
    side = found.groups["group"].where(found.groups["group"] == "typewriters", "rest")
    each = found.found.each.set_index("group").loc["typewriters"]
    test = log_rank(found.groups["days"], found.groups["sold"], side, trip=found.groups["trip"])
    assert each["p_value"] == pytest.approx(test.p_value)
    assert each["corrected"] >= each["p_value"]


def test_the_demo_shops_quick_and_slow_kinds_are_told(demo):
    found = waiting_page(demo)
    verdicts = found.found.each.set_index("group")["verdict"]
    assert verdicts["typewriters"] == SOONER
    assert verdicts["framed prints"] == LATER
    assert found.table["group"].iloc[-1] == "framed prints"
    assert "framed prints" in found.sentence().split(";")[1]


def test_marked_down_things_are_shown_with_their_caution_and_never_tested(demo):
    found = waiting_page(demo, "markdown")
    assert found.found.overall is None
    assert found.found.each.empty
    assert SELECTION in found.cautions().text
    text = " ".join(str(part) for part in (found.sentence(), found.compared_table(), found.bounds()))
    assert not any(word in text for word in ("sooner", "later", "slower", "because", "longer than"))


def test_a_group_without_an_unsold_thing_draws_a_warning(tmp_path):
    sold = [("mugs", f"2026-02-{day:02d},18.00") for day in range(1, 13)]
    unsold = [("lamps", ",")] * 12
    found = waiting_page(study_of(tmp_path / "books", sold + unsold))
    assert "Mugs: no unsold item" in found.cautions().text
    assert "lamps" not in found.cautions().text.lower()
    assert "not reached" in found.days_table().text


def test_few_things_are_too_few_to_tell(tmp_path):
    rows = [("mugs", "2026-02-01,18.00")] * 3 + [("lamps", ",")] * 4
    found = waiting_page(study_of(tmp_path / "books", rows))
    assert found.sentence().startswith("Too few to tell")
    assert "too few to tell" in found.compared_table().text


def test_books_without_a_listing_have_nothing_to_show(tmp_path):
    folder = tmp_path / "books"
    folder.mkdir()
    (folder / "items.csv").write_text(
        "item_id,title,category,bought_on,cost\n1,thing,mugs,2026-01-02,5.00\n", encoding="utf-8"
    )
    found = waiting_page(open_study(folder, as_of="2026-04-30"))
    assert found.sentence() == "Nothing has been listed yet."
    for part in (found.cautions(), found.days_table(), found.shares_table(), found.compared_table(), found.bounds()):
        assert part.text


def test_an_unknown_grouping_is_refused(demo):
    with pytest.raises(AssumptionError, match="by must be one of category, size, source, condition, markdown"):
        waiting_page(demo, "colour")
