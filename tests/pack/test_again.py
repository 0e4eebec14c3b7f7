"""A pack made again from its manifest."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from flipkit.cli.main import main
from flipkit.errors import PackError
from flipkit.pack.build import read_run
from flipkit.pack.standing import standing_pack
from tests.helpers.small_books import write_books

ITEMS = """
item_id,title,category,bought_on,cost,listed_on,sold_on,sold_price,length_in,width_in,height_in,weight_lb
A,Jug,stoneware,2026-01-03,10.00,2026-01-05,2026-02-20,50.00,10,8,6,3
B,Lamp,lamps,2026-02-04,12.50,2026-02-05,2026-03-28,40.00,30,18,16,20
"""
RUN = {
    "month": "2026-02",
    "as_of": "2026-03-14",
    "inputs": {"items.csv": "ab", "trips.csv": "cd"},
    "options": {"categories": ["lamps"], "settings": "hour.target=30; help.wage=17"},
    "versions": {"pandas": "3.0"},
}


def run(*arguments: object):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


@pytest.fixture
def manifest(tmp_path):
    file = tmp_path / "run.json"
    file.write_text(json.dumps(RUN), encoding="utf-8")
    return file


@pytest.mark.slow
def test_the_same_books_give_the_same_bytes_and_others_are_refused(tmp_path):
    books = write_books(tmp_path / "books", items=ITEMS)
    options = ["--month", "2026-02", "--as-of", "2026-03-14", "--set", "hour.target=30", "--category", "lamps"]
    made = run("report", books, *options, "--out", tmp_path / "first")
    assert made.exit_code == 0, made.output
    again = run("report", books, "--again", tmp_path / "first" / "run.json", "--out", tmp_path / "second")
    assert again.exit_code == 0, again.output
    assert "Every byte is the same as before." in again.output
    first, second = contents(tmp_path / "first"), contents(tmp_path / "second")
    assert first == second
    assert {"pack.html", "pack.zip", "category-lamps.html"} <= set(first)
    assert "category-stoneware.html" not in first
    made = {path: path.stat().st_mtime_ns for path in (tmp_path / "first").rglob("*")}
    stays = run("report", books, *options, "--out", tmp_path / "first")
    assert stays.exit_code == 0, stays.output
    assert stays.output.startswith("Nothing has changed since this pack was made")
    assert {path: path.stat().st_mtime_ns for path in made} == made
    asked = {"month": "2026-02", "as_of": "2026-03-14", "settings": {"hour.target": "30"}, "categories": ("lamps",)}
    assert standing_pack(books, **asked, out=tmp_path / "second") == tmp_path / "second"
    for other in ({"categories": ()}, {"settings": {"hour.target": "31"}}, {"as_of": "2026-03-15"}):
        assert standing_pack(books, **(asked | other), out=tmp_path / "second") is None
    (tmp_path / "second" / "category-lamps.html").write_text("cut")
    assert standing_pack(books, **asked, out=tmp_path / "second") is None
    file = books / "items.csv"
    file.write_text(file.read_text(encoding="utf-8").replace("40.00", "41.00"), encoding="utf-8")
    assert standing_pack(books, **asked, out=tmp_path / "first") is None
    refused = run("report", books, "--again", tmp_path / "first", "--out", tmp_path / "third")
    assert refused.exit_code == 2
    assert "items.csv is changed" in refused.output
    assert len(refused.output.strip().splitlines()) == 1
    assert not (tmp_path / "third").exists()


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
