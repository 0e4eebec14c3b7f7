"""The command reads what was asked, calls one function and prints what it says."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import CliRunner

from flipkit.cli import main

ITEMS = "item_id,title,category,bought_on,cost\nA,Jug,stoneware,2026-01-03,10.00\n"


@pytest.fixture
def books(tmp_path) -> Path:
    folder = tmp_path / "my books"
    folder.mkdir()
    (folder / "items.csv").write_text(ITEMS, encoding="utf-8")
    return folder


def run(*arguments: object):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def test_report_passes_on_what_was_asked(monkeypatch, books, tmp_path):
    asked = {}
    plan = SimpleNamespace(pages=(1, 2), study=SimpleNamespace(month="2026-09"))
    pack = SimpleNamespace(results=(), folder=tmp_path / "out", index=tmp_path / "out" / "index.html")
    monkeypatch.setattr("flipkit.reports.month.month_plan", lambda given, **rest: asked.update(rest, books=given) or plan)
    monkeypatch.setattr("flipkit.reports.month.make_month_pack", lambda _, **rest: asked.update(rest) or pack)
    result = run(
        "report", books, "--month", "2026-09", "--as-of", "2026-10-02", "--category", "lamps", "--category", "jugs",
        "--out", tmp_path / "out", "--set", "help.wage=18", "--set", "hour.target=25", "--jobs", 3,
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    del asked["on_done"]
    assert asked == {
        "books": books,
        "month": "2026-09",
        "as_of": "2026-10-02",
        "categories": ("lamps", "jugs"),
        "settings": {"help.wage": "18", "hour.target": "25"},
        "out": tmp_path / "out",
        "jobs": 3,
    }
    assert "The pack of 2026-09 is in" in result.output
    assert "index.html" in result.output.splitlines()[-1]


def test_an_error_of_the_kit_is_one_line_and_status_2(books):
    result = run("report", books, "--set", "help.wag=3")
    assert result.exit_code == 2
    assert result.stderr.strip() == (
        "flipkit: help.wag must be an assumption that the kit knows, got 'help.wag': did you mean help.wage?"
    )


def test_anything_else_keeps_its_traceback(monkeypatch, books):
    def broken(*_, **__):
        raise ZeroDivisionError("a bug")

    monkeypatch.setattr("flipkit.reports.month.month_plan", broken)
    assert isinstance(run("report", books).exception, ZeroDivisionError)


def test_check_says_that_books_can_be_used(books):
    result = run("check", books)
    assert result.exit_code == 0
    assert "1 items" in result.output


def test_check_names_every_problem_at_once(books):
    (books / "items.csv").write_text(ITEMS + "B,Jar,stoneware,someday,x\n", encoding="utf-8")
    result = run("check", books)
    assert result.exit_code == 2
    assert "items.csv row 3, column bought_on" in result.output
    assert "items.csv row 3, column cost" in result.output


def test_assumptions_are_listed_with_their_provenance(books):
    result = run("assumptions", "--set", "help.wage=18.00")
    assert "help.wage = $18.00 per hour (this run)" in result.output
    assert "hour.target = $20.00 per owner hour (packaged)" in result.output


def test_the_command_starts_without_its_heavy_modules():
    code = "import sys, flipkit.cli; print(sorted({'pandas', 'altair', 'scipy', 'pint'} & set(sys.modules)))"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"
