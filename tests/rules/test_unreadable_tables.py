"""Tables that a spreadsheet saved its own way, and figures that no rule ever had."""

from __future__ import annotations

import datetime as dt
import shutil

import pytest

from flipkit.errors import RuleTableError
from flipkit.packing.materials import packing_rules
from flipkit.rules.tables import DATA, load_rules


@pytest.fixture
def own_rules(demo_folder, tmp_path):
    return shutil.copytree(demo_folder / "rules", tmp_path / "rules")


def test_a_rate_card_that_is_no_utf_8_is_named(own_rules):
    card = own_rules / "rate_cards" / "network-ground-2026-01.csv"
    card.write_bytes(card.read_text(encoding="utf-8").encode("utf-16"))
    with pytest.raises(RuleTableError, match=r"network-ground-2026-01\.csv: bytes .* It needs a CSV file saved"):
        load_rules(own_rules)


def test_a_rate_card_that_is_missing_is_named(own_rules):
    (own_rules / "rate_cards" / "network-ground-2026-01.csv").unlink()
    with pytest.raises(RuleTableError, match=r"network-ground-2026-01\.csv.*It needs a CSV file beside the card"):
        load_rules(own_rules)


def test_a_lifting_table_that_is_no_utf_8_is_named(own_rules):
    shutil.copytree(DATA / "lifting", own_rules / "lifting")
    with (own_rules / "lifting" / "coupling.csv").open("ab") as file:
        file.write(b"\xe9")
    with pytest.raises(RuleTableError, match=r"coupling\.csv: bytes .*UTF-8"):
        packing_rules(on=dt.date(2026, 11, 1), folder=own_rules)


def test_a_mileage_rate_beyond_sense_is_refused(own_rules):
    (own_rules / "mileage.toml").write_text(
        'kind = "mileage"\nname = "business miles"\n[[block]]\nfrom = 2025-01-01\nsource = "demo"\n'
        'seen = "invented for the demo"\ncents_a_mile = 1e308\n',
        encoding="utf-8",
    )
    with pytest.raises(RuleTableError, match=r"cents_a_mile: this is 1e\+308. It needs at most 10000"):
        load_rules(own_rules)


def test_a_table_with_the_mark_that_old_editors_put_first_is_read(own_rules):
    plain = load_rules(own_rules)
    for file in own_rules.rglob("*.toml"):
        file.write_bytes(b"\xef\xbb\xbf" + file.read_bytes().replace(b"\n", b"\r\n"))
    assert load_rules(own_rules).fee_schedules == plain.fee_schedules
