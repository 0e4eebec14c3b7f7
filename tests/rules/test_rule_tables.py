"""Loading the tables, the seller's own over the packaged ones, and blocks by date."""

from __future__ import annotations

import datetime as dt
import shutil
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from flipkit.errors import RuleNotInForceError, RuleTableError
from flipkit.rules.blocks import SEEN
from flipkit.rules.parcels import read_size_classes, size_class
from flipkit.rules.tables import DATA, _joined, load_rules

OWN = (
    'kind = "fees"\nname = "mine"\n'
    '[[block]]\nfrom = 2025-01-01\nends = 2025-06-30\nsource = "my-guide"\nseen = "found"\n'
    'commission = { rate = "5 %" }\n[[block]]\nfrom = 2025-09-01\nsource = "my-guide"\nseen = "found"\n'
)
SOURCE = '[my-guide]\ntitle = "The guide in front of me"\nwhere = "its page"\n'


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "mine.toml").write_text(OWN)
    (tmp_path / "sources.toml").write_text(SOURCE)
    return tmp_path


def every_table(rules):
    yield from rules.fee_schedules.values()
    yield from rules.parcels.values()
    yield from rules.rate_cards.values()
    yield from (rules.mileage, rules.size_classes)


def test_every_packaged_and_demo_block_has_a_known_source(packaged, demo):
    for table in [*every_table(packaged), *every_table(demo)]:
        for block in table.blocks:
            assert block.seen in SEEN
            assert set(block.sources) <= set(demo.sources), table.title


def test_no_packaged_table_has_a_price(packaged):
    assert not packaged.rate_cards
    assert not packaged.fee_schedules
    assert packaged.own == ()


def test_every_source_says_what_it_is_and_where(packaged):
    text = (DATA / "sources.toml").read_text(encoding="utf-8")
    for key, entry in tomllib.loads(text).items():
        assert set(entry) == {"title", "where"}, key
        assert packaged.sources[key].title == entry["title"]


def test_the_demo_is_invented_and_changes_inside_its_two_years(demo):
    assert set(demo.fee_schedules) == {"lantern", "quayside", "stall"}
    assert set(demo.rate_cards) == {"post", "network"}
    for table in [*demo.fee_schedules.values(), *demo.rate_cards.values()]:
        assert {block.seen for block in table.blocks} == {"invented for the demo"}
        assert table.blocks[0].starts == dt.date(2025, 1, 1)
        if table.name != "stall":
            assert dt.date(2025, 1, 1) < table.blocks[1].starts < dt.date(2026, 11, 1)
    assert not demo.fee_schedules["stall"].ships
    for card in demo.rate_cards.values():
        assert card.zones == tuple("12345678")
        assert len(card.service_names) >= 2
    assert len(demo.own) == 5
    assert demo.replaced == ()


def test_own_tables_add_to_the_packaged_ones(folder, packaged):
    rules = load_rules(folder)
    assert rules.own == ("rules/mine.toml",)
    assert set(rules.fee_schedules) == {"mine"}
    assert set(rules.parcels) == set(packaged.parcels)
    assert rules.sources["my-guide"].title == "The guide in front of me"


def test_an_own_table_stands_in_for_the_packaged_one_of_its_name(tmp_path, packaged):
    text = (DATA / "parcels" / "post.toml").read_text(encoding="utf-8").replace("divisor = 139", "divisor = 150")
    (tmp_path / "post.toml").write_text(text)
    (tmp_path / "miles.toml").write_text(
        'kind = "mileage"\nname = "mine"\n'
        '[[block]]\nfrom = 2027-01-01\nsource = "demo"\nseen = "found"\ncents_a_mile = 74\n'
    )
    rules = load_rules(tmp_path)
    assert rules.parcels["post"].at(dt.date(2026, 8, 1)).dimensional.divisor == 150
    assert rules.mileage.at(dt.date(2027, 1, 1)).tenth_cents == 740
    assert set(rules.replaced) == {"parcel rules 'post'", "mileage 'mileage'"}
    assert packaged.parcels["post"].at(dt.date(2026, 8, 1)).dimensional.divisor == 139


def test_size_classes_follow_the_own_parcel_rules(tmp_path):
    text = (DATA / "parcels" / "private-network.toml").read_text(encoding="utf-8")
    (tmp_path / "n.toml").write_text(text.replace("longest_over = 96", "longest_over = 60"))
    rules = load_rules(tmp_path)
    parcel = {"length_in": 61, "width_in": 6, "height_in": 6, "weight_lb": 5}
    assert size_class(rules.size_classes, on=dt.date(2026, 8, 1), **parcel).tolist() == ["oversize"]


def test_tables_of_other_modules_are_left_to_them(folder):
    (folder / "cartons").mkdir()
    (folder / "cartons" / "flutes.toml").write_text('kind = "board"\n')
    assert load_rules(folder).own == ("rules/mine.toml",)


def test_loading_twice_gives_the_same(demo):
    again = load_rules(Path(__file__).resolve().parents[2] / "data_demo" / "rules")
    assert again.fee_schedules == demo.fee_schedules
    assert again.parcels == demo.parcels


def test_size_classes_alone_ask_for_their_parcel_rules():
    data = tomllib.loads((DATA / "size_classes" / "size_classes.toml").read_text(encoding="utf-8"))
    table = read_size_classes(data, file="sizes.toml")
    with pytest.raises(RuleTableError, match=r"sizes.toml: key parcel_rules: this is .* load_rules joins the two"):
        size_class(table, on=dt.date(2026, 8, 1), length_in=9, width_in=6, height_in=4, weight_lb=1)


def test_a_source_without_a_title_is_a_mistake(folder):
    (folder / "sources.toml").write_text('[my-guide]\nwhere = "its page"\n')
    with pytest.raises(RuleTableError, match=r"sources.toml: key my-guide.title: this is missing. It needs a text"):
        load_rules(folder)


# --- blocks by date


@pytest.mark.parametrize(
    ("day", "number"), [("2025-01-01", 0), ("2025-06-30", 0), ("2025-09-01", 1), ("2099-01-01", 1)]
)
def test_the_block_in_force_on_each_side_of_its_dates(folder, day, number):
    schedule = load_rules(folder).fee_schedules["mine"]
    on = dt.date.fromisoformat(day)
    assert schedule.covers(on)
    assert schedule.at(on) is schedule.blocks[number]
    assert schedule.index_at(np.array([on], dtype="datetime64[D]")).tolist() == [number]


@pytest.mark.parametrize("day", ["2024-12-31", "2025-07-01", "2025-08-31"])
def test_a_day_outside_and_a_day_in_a_gap_name_the_dates(folder, day):
    schedule = load_rules(folder).fee_schedules["mine"]
    assert not schedule.covers(dt.date.fromisoformat(day))
    words = f"fees 'mine' has no block in force on {day}; its blocks: from 2025-01-01 to 2025-06-30; from 2025-09-01"
    with pytest.raises(RuleNotInForceError, match=words):
        schedule.at(dt.date.fromisoformat(day))
    days = pd.Series(pd.to_datetime(["2025-01-01", day]))
    with pytest.raises(RuleNotInForceError, match=day):
        schedule.index_at(days)


def test_days_of_any_kind_find_their_blocks(folder):
    schedule = load_rules(folder).fee_schedules["mine"]
    for days in (
        [dt.date(2025, 1, 1), dt.date(2025, 9, 1)],
        ["2025-01-01", "2025-09-01"],
        pd.Series(pd.to_datetime(["2025-01-01 00:00", "2025-09-01 23:59"])),
        np.array(["2025-01-01T12", "2025-09-01T00"], dtype="datetime64[h]"),
    ):
        assert schedule.index_at(days).tolist() == [0, 1]


def test_the_demo_loads_from_a_copy_elsewhere(tmp_path):
    shutil.copytree(Path(__file__).resolve().parents[2] / "data_demo" / "rules", tmp_path / "rules of mine")
    assert set(load_rules(tmp_path / "rules of mine").rate_cards) == {"post", "network"}


def test_tables_without_mileage_are_refused():
    with pytest.raises(RuleTableError, match=r"^data: key mileage: this is missing\. It needs a table of mileage$"):
        _joined(None, [], {}, own=False)


def test_an_own_mileage_rate_begins_where_the_packaged_one_is_cut_off(tmp_path, packaged):
    (tmp_path / "mileage.toml").write_text(
        'kind = "mileage"\nname = "business miles"\n[[block]]\nfrom = 2026-04-01\nsource = "demo"\n'
        'seen = "invented for the demo"\ncents_a_mile = 99\n'
    )
    mine = load_rules(tmp_path).mileage
    assert mine.blocks[-1].tenth_cents == 990
    assert (mine.blocks[-2].ends, mine.blocks[-1].starts) == (dt.date(2026, 3, 31), dt.date(2026, 4, 1))
    assert mine.at(dt.date(2026, 3, 31)).tenth_cents == packaged.mileage.at(dt.date(2026, 3, 31)).tenth_cents
    assert mine.lines_for(dt.date(2028, 1, 1)) == (
        "[[block]]",
        "from = 2028-01-01",
        'source = ["demo"]',
        'seen = "from memory"',
        "cents_a_mile = 99",
    )
