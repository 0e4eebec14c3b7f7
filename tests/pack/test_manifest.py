"""The manifest: sorted, whole, and free of what belongs to one machine or moment."""

from __future__ import annotations

import hashlib
import json

import pytest

from flipkit.errors import PackError
from flipkit.pack.build import AssumptionUsed, Manifest, manifest_text
from flipkit.pack.standing import FILE, LIBRARIES, file_hashes
from flipkit.reports.tables import RuleUsed

BASE = Manifest(
    shop="A shop",
    currency="USD",
    month="2026-10",
    as_of="2026-11-14",
    inputs={"items.csv": "ab", "work.csv": "cd"},
    assumptions=[
        AssumptionUsed("minutes.pack.small", "9", "min", "packaged", "estimate"),
        AssumptionUsed("help.wage", "$16.00", "$/h", "shop"),
    ],
    rules=[
        RuleUsed("parcels", "b", "2026-01-01", "", "s", "found"),
        RuleUsed("parcels", "a", "2026-07-01", "", "s", "found"),
        RuleUsed("parcels", "a", "2026-01-01", "2026-06-30", "s", "found", own=True),
    ],
    left_out=["3 rows without a date"],
    options={"categories": ["lamps"], "seed": 7},
)


def read(manifest=BASE, **files):
    return json.loads(manifest_text(manifest, files))


def with_(**changes):
    from dataclasses import replace

    return replace(BASE, **changes)


def test_it_holds_everything_it_was_given():
    body = read(index="ef")
    assert body["inputs"] == {"items.csv": "ab", "work.csv": "cd"}
    assert body["files"] == {"index": "ef"}
    assert body["left_out"] == ["3 rows without a date"]
    assert body["options"] == {"categories": ["lamps"], "seed": 7}
    assert body["as_of"] == "2026-11-14"
    assert body["assumptions"][0] == {
        "key": "help.wage",
        "value": "$16.00",
        "unit": "$/h",
        "layer": "shop",
        "source": "",
    }


def test_assumptions_and_rules_are_in_order():
    body = read()
    assert [entry["key"] for entry in body["assumptions"]] == ["help.wage", "minutes.pack.small"]
    assert [(rule["name"], rule["begins"]) for rule in body["rules"]] == [
        ("a", "2026-01-01"),
        ("a", "2026-07-01"),
        ("b", "2026-01-01"),
    ]


def test_keys_are_sorted_at_every_level():
    def check(value):
        if isinstance(value, dict):
            assert list(value) == sorted(value)
            for part in value.values():
                check(part)
        if isinstance(value, list):
            for part in value:
                check(part)

    check(json.loads(manifest_text(BASE, {"z": "1", "a": "2"}), object_pairs_hook=dict))


def test_versions_name_the_kit_python_and_the_libraries():
    assert set(read()["versions"]) == {"flipkit", "python", *LIBRARIES}


@pytest.mark.parametrize(
    "changes",
    [
        {"inputs": {"/home/someone/books/items.csv": "ab"}},
        {"notes": ["read from /home/someone/books"]},
        {"options": {"books": "~/books"}},
        {"options": {"books": "C:\\Users\\someone"}},
        {"left_out": ["'/srv/x/items.csv' row 3"]},
    ],
)
def test_a_path_of_this_machine_is_refused(changes):
    with pytest.raises(PackError, match="free of paths of this machine"):
        manifest_text(with_(**changes), {})


@pytest.mark.parametrize(
    "text", ["$/h", "and/or", "items.csv row 3, column cost", "1/2 in", "https://example.org/a/b", "3 / 4"]
)
def test_what_only_looks_like_a_path_is_not_one(text):
    assert read(with_(notes=[text]))["notes"] == [text]


def test_a_number_that_is_not_finite_is_refused():
    with pytest.raises(ValueError, match="not JSON compliant"):
        manifest_text(with_(options={"x": float("nan")}), {})


def test_file_hashes_leave_the_manifest_out(tmp_path):
    (tmp_path / "notebooks").mkdir()
    (tmp_path / "notebooks" / "a.ipynb").write_bytes(b"x")
    (tmp_path / FILE).write_bytes(b"{}")
    assert file_hashes(tmp_path) == {"notebooks/a.ipynb": hashlib.sha256(b"x").hexdigest()}
