"""Cushion thickness and drop heights against printed figures."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import pytest

import flipkit.rules
from flipkit.errors import MeasureError, RuleTableError
from flipkit.packing.at_hand import Cushion
from flipkit.packing.cushioning import padding
from flipkit.packing.materials import drop_height_in, packing_rules, read_cushions

FILE = Path(flipkit.rules.__file__).parent / "data" / "cushions" / "cushions.toml"
TABLE = packing_rules(on=dt.date(2026, 11, 25)).cushions


@pytest.mark.published(source="cushion-formula", where="T = C h / G with C 3, h 30 in, G 50", seen="from memory")
def test_a_cushion_so_thick_lets_through_just_so_much():
    table = replace(TABLE, materials={name: replace(one, factor=3.0) for name, one in TABLE.materials.items()})
    foam = Cushion("foam", next(iter(table.materials)), 1.8, "plate", 55.0)
    found = padding((12.0, 12.0, 12.0), 1.0, cushion=foam, faces=1, edges=1, rough=False, table=table)
    assert found.falls_in == (30.0, 30.0, 30.0)
    assert found.shocks_g(0, table) == pytest.approx((50.0, 50.0, 50.0))


@pytest.mark.published(source="drop-heights", where="1A and 2A by weight", seen="secondary")
@pytest.mark.parametrize(
    ("weight", "usual", "rough"),
    [
        (0, 30, 38),
        (20.99, 30, 38),
        (21, 24, 32),
        (40.99, 24, 32),
        (41, 18, 26),
        (61, 12, 20),
        (100, 8, 12),
        (149, 8, 12),
    ],
)
def test_drop_heights(weight, usual, rough):
    assert drop_height_in(weight, rough=False, block=TABLE) == usual
    assert drop_height_in(weight, rough=True, block=TABLE) == rough


def test_heavier_than_the_table_takes_its_last_height():
    assert drop_height_in(400, rough=False, block=TABLE) == TABLE.drop_above_in


@pytest.mark.published(source="insurer-clearance", where="at least 2 in to every wall", seen="secondary")
@pytest.mark.parametrize("name", ["extremely fragile", "very delicate", "delicate", "moderately delicate"])
def test_clearance_of_what_breaks(name):
    assert TABLE.fragility_class(name).clearance_in >= 2


def test_classes_run_from_fragile_to_soft():
    shocks = [found.g for found in TABLE.fragility.values()]
    assert shocks[-1] is None
    assert shocks[:-1] == sorted(shocks[:-1])


def test_words():
    with pytest.raises(MeasureError, match=r"fragility must be one of extremely fragile, .* got 'tough'"):
        TABLE.fragility_class("tough")
    with pytest.raises(MeasureError, match="weight_lb must be"):
        drop_height_in(float("nan"), rough=False, block=TABLE)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("below_lb = 41", "below_lb = 19", "key drop: this is [21.0, 19.0"),
        ("factor = 3.5", "factor = -3.5", "key material[1].factor: this is -3.5"),
        ("[block.tape]", "[block.straps]", "key tape"),
        ("clearance_in = 0.0", "clearence_in = 0.0", "key fragility[7].clearance_in: this is missing"),
    ],
)
def test_a_malformed_table_is_one_located_line(tmp_path, old, new, words):
    text = FILE.read_text(encoding="utf-8")
    assert old in text
    (tmp_path / "cushions.toml").write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(RuleTableError) as caught:
        read_cushions(tmp_path / "cushions.toml")
    assert words in str(caught.value)
