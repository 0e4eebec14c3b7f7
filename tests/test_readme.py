"""The README shows what the kit says today of the demo shop, and its commands are one line each."""

from __future__ import annotations

import doctest
import re
from pathlib import Path

import flipkit
from flipkit.reports.sentences import month_sentence
from flipkit.reports.study import open_study
from flipkit.reports.tables import returns_table

README = Path(__file__).resolve().parents[1] / "README.md"


def block_below(mark: str) -> str:
    match = re.search(rf"<!-- {mark} -->\n```\w*\n(.*?)```", README.read_text(encoding="utf-8"), flags=re.S)
    assert match, f"README has no block below the mark {mark!r}"
    return match.group(1)


def demo_excerpt() -> str:
    study = open_study()
    sentence, note = month_sentence(study)
    return f"{sentence}\n{note}\n\n{returns_table(study)}\n"


def test_the_excerpt_is_what_the_kit_says():
    assert block_below("excerpt") == demo_excerpt()


def test_each_command_is_one_line():
    for mark in ("first command", "second command"):
        assert len(block_below(mark).strip().splitlines()) == 1


def test_the_first_paragraph_is_the_job():
    paragraphs = README.read_text(encoding="utf-8").split("\n\n")
    assert paragraphs[0] == "# flipkit"
    assert "which kind of thing was worth the hours" in paragraphs[1]


def table_below(mark: str) -> list[str]:
    """First cells of the table below a mark."""
    below = README.read_text(encoding="utf-8").split(f"<!-- {mark} -->\n")[1].split("\n\n")[0]
    return [row.split("|")[1] for row in below.splitlines()[2:]]


def test_the_python_says_what_it_says():
    example = doctest.DocTestParser().get_doctest(block_below("python"), {}, "README", str(README), 0)
    assert len(example.examples) == 10
    said: list[str] = []
    doctest.DocTestRunner().run(example, out=said.append)
    assert said == []


def test_the_names_are_the_face_and_every_question_is_there():
    named = [name for cell in table_below("names") for name in re.findall(r"`(\w+)`", cell)]
    assert len(named) == len(set(named))
    assert set(named) <= set(flipkit.__all__)
    own = {name for name in flipkit.__all__ if getattr(flipkit, name).__module__ == "flipkit.face"}
    drawn = {name for name in flipkit.__all__ if name.startswith("plot_")}
    assert own | drawn <= set(named)


def test_every_notebook_is_in_the_table():
    named = [name for cell in table_below("notebooks") for name in re.findall(r"`(\w+)`", cell)]
    assert named == sorted(path.stem for path in (README.parent / "notebooks").glob("*.ipynb"))
