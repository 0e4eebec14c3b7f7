"""The manifest from which a pack is made again; the packs themselves are compared in test_month_pack."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from flipkit.cli.main import main
from flipkit.errors import PackError
from flipkit.pack.build import read_run

RUN = {
    "month": "2026-02",
    "as_of": "2026-03-14",
    "inputs": {"items.csv": "ab", "trips.csv": "cd"},
    "options": {"categories": ["lamps"], "settings": "hour.target=30; help.wage=17"},
    "versions": {"pandas": "3.0"},
}


def run(*arguments: object):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture
def manifest(tmp_path):
    file = tmp_path / "run.json"
    file.write_text(json.dumps(RUN), encoding="utf-8")
    return file


def test_a_manifest_says_what_the_run_was_asked(manifest):
    found = read_run(manifest)
    assert (found.month, found.as_of, found.categories) == ("2026-02", "2026-03-14", ("lamps",))
    assert found.settings == {"hour.target": "30", "help.wage": "17"}
    assert read_run(manifest.parent) == found


@pytest.mark.parametrize(
    ("hashes", "words"),
    [
        ({"items.csv": "ab"}, "trips.csv is missing"),
        ({"items.csv": "ab", "trips.csv": "xx"}, "trips.csv is changed"),
        ({"items.csv": "ab", "trips.csv": "cd", "lots.csv": "e"}, "lots.csv is new"),
    ],
)
def test_books_that_differ_are_named(manifest, hashes, words):
    found = read_run(manifest)
    found.require_same_books({"items.csv": "ab", "trips.csv": "cd"})
    with pytest.raises(PackError, match=words):
        found.require_same_books(hashes)


def test_what_differs_is_said(manifest):
    found = read_run(manifest)
    assert found.differences(json.dumps(RUN)) == []
    assert found.differences(json.dumps(RUN | {"versions": {"pandas": "3.1"}})) == ["versions differ: pandas"]


@pytest.mark.parametrize("text", ["{not json", "{}", "[1]", '{"options": {}}'])
def test_what_is_no_manifest_is_one_line(tmp_path, text):
    file = tmp_path / "run.json"
    file.write_text(text, encoding="utf-8")
    result = run("report", "--again", file)
    assert result.exit_code == 2
    assert "--again must be the run.json of a pack" in result.output
    assert len(result.output.strip().splitlines()) == 1


def test_other_options_beside_it_are_refused(manifest):
    result = run("report", "--again", manifest, "--month", "2026-01")
    assert result.exit_code == 2
    assert "leave those options out" in result.output
