"""Rule tables for the tests: the packaged ones, the demo's, and small ones written in the test itself."""

from __future__ import annotations

import datetime as dt
import tomllib
from pathlib import Path

import pytest

from flipkit.rules.fees import read_fee_schedule
from flipkit.rules.parcels import read_parcel_rules
from flipkit.rules.rate_cards import read_rate_card
from flipkit.rules.tables import load_rules

DEMO = Path(__file__).resolve().parents[2] / "data_demo" / "rules"
BLOCK = '[[block]]\nfrom = 2000-01-01\nsource = "demo"\nseen = "invented for the demo"\n'


@pytest.fixture(scope="session")
def packaged():
    return load_rules()


@pytest.fixture(scope="session")
def demo():
    return load_rules(DEMO)


@pytest.fixture(scope="session")
def post(packaged):
    return packaged.parcels["post"]


@pytest.fixture(scope="session")
def network(packaged):
    return packaged.parcels["private-network"]


@pytest.fixture(scope="session")
def schedule():
    """Makes a fee schedule with one block of the given body."""

    def make(body, *, file="test.toml"):
        return read_fee_schedule(tomllib.loads(f'kind = "fees"\nname = "test"\n{BLOCK}{body}'), file=file)

    return make


@pytest.fixture(scope="session")
def carrier():
    """Makes a parcel rule set with one block of the given body."""

    def make(body, *, units="in, lb"):
        text = f'kind = "parcel rules"\nname = "test"\nunits = "{units}"\n{BLOCK}{body}'
        return read_parcel_rules(tomllib.loads(text), file="test.toml")

    return make


@pytest.fixture(scope="session")
def rate_card():
    """Makes a rate card with one block of the given body and the CSV tables by their names."""

    def make(body, tables):
        text = f'kind = "rate card"\nname = "test"\nparcel_rules = "test"\n{BLOCK}{body}'
        return read_rate_card(tomllib.loads(text), file="test.toml", open_table=tables.__getitem__)

    return make


@pytest.fixture(scope="session")
def day():
    """Any day on which every packaged rule set is in force."""
    return dt.date(2026, 10, 1)
