"""A packing plan on a seller's own books, whatever they hold of stock and rate cards."""

from __future__ import annotations

import shutil

import pytest

from flipkit.errors import AssumptionError
from flipkit.packing.parcel import EXAMPLE_CARDS, EXAMPLE_STOCK, bare_item, plan_parcel


@pytest.fixture
def books(tmp_path):
    (tmp_path / "items.csv").write_text("item_id,title,category,bought_on,cost\nA,Jug,stoneware,2026-01-03,10.00\n")
    return tmp_path


@pytest.fixture
def lamp():
    return bare_item("lamp", "14x9x8in", "6 lb", fragility="delicate", value="40")


def test_without_a_rate_card_the_demo_prices_the_labels_and_that_is_said(books, lamp):
    parcel = plan_parcel(lamp, books=books, on="2026-10-31", zone="5")
    assert parcel.reading()[1:3] == [EXAMPLE_STOCK, EXAMPLE_CARDS]
    assert (parcel.answer()["stock"], parcel.answer()["rate_cards"]) == ("example", "example")
    demo = plan_parcel(lamp, on="2026-10-31", zone="5")
    assert EXAMPLE_CARDS not in demo.reading()
    assert demo.answer()["rate_cards"] == "the shop's own"


def test_a_rate_card_that_is_named_and_not_there_is_an_error(books, lamp):
    with pytest.raises(
        AssumptionError, match=r"postage\.rate_cards must be names of rate cards among none, got 'mine'"
    ):
        plan_parcel(lamp, books=books, on="2026-10-31", zone="5", settings={"postage.rate_cards": "mine"})
    with pytest.raises(AssumptionError, match="got 'yours'"):
        plan_parcel(lamp, books=books, on="2026-10-31", zone="5", card="yours")


def test_own_rate_cards_are_taken_though_no_assumption_names_them(books, lamp, demo_folder):
    shutil.copytree(demo_folder / "rules", books / "rules")
    parcel = plan_parcel(lamp, books=books, on="2026-10-31", zone="5")
    assert parcel.answer()["rate_cards"] == "the shop's own"
    named = plan_parcel(lamp, books=books, on="2026-10-31", zone="5", settings={"postage.rate_cards": "post, network"})
    assert parcel.plan.as_dict() == named.plan.as_dict()
